"""Reads a recorded track, GPX or CSV, into bare arrays; what it says is believed only after `sim.roads.track` has cleaned it."""

import codecs
import contextlib
import csv
import io
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.errors import RouteError
from sim.messages import files, tracks
from sim.reading import TRACK, read_bytes
from sim.roads.route import LONGEST
from sim.units import number_in, to_si

if TYPE_CHECKING:
    from gpxpy.gpx import GPX

MOST_POINTS = 200_000
MOST_NAMESPACES = 1000
CSV_COLUMNS = ("distance_m", "distance_km", "elevation_m", "sign")
ENCODINGS = re.compile(r"utf-8|ascii|iso8859-\d+|cp125\d|utf-16(-le|-be)?")
# a height or a position in digits no one means as a number: 1_0, or those of another script
ODD_NUMBER = re.compile(r"""(?:<(ele)>|\b(?:lat|lon)\s*=\s*["'])([^"'<]*(?:_|[^\x00-\x7f])[^"'<]*)""")
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
    (b"<\0", "utf-16-le"),
    (b"\0<", "utf-16-be"),
)


@dataclass(frozen=True)
class RawTrack:
    """A track as its file has it; either positions or distances are there.

    Parameters
    ----------
    file : str
        Name of the file without its folder.
    kind : str
        What it is: "GPX track", "GPX route" or "distance table".
    name : str
        Name of the track inside the file, "" when it has none.
    latitude : array
        WGS 84, shape (points,); empty for a distance table. [deg]
    longitude : array
        WGS 84, shape (points,); empty for a distance table. [deg]
    distance : array
        Along the road, shape (points,); empty for positions. [m]
    elevation : array
        Not a number where there is none, shape (points,). [m]
    pieces : int
        Into how many the recording is cut.
    waypoints : tuple of (float, float, str)
        Latitude, longitude and name. [deg, deg, -]
    signs : tuple of (float, str)
        Distance and text, of a distance table. [m, -]
    """

    file: str
    kind: str
    name: str
    latitude: np.ndarray
    longitude: np.ndarray
    distance: np.ndarray
    elevation: np.ndarray
    pieces: int
    waypoints: tuple[tuple[float, float, str], ...] = ()
    signs: tuple[tuple[float, str], ...] = ()


def read_track(path: Path, content: bytes | None = None) -> RawTrack:
    """Reads a track from a GPX file or a table of distance and elevation.

    Parameters
    ----------
    path : Path
        Ends in .gpx or .csv; of any other file the first bytes decide.
    content : bytes or None
        What is in the file, when it is at hand; None to read it.

    Returns
    -------
    track : RawTrack
        As recorded: only what no position or height can be is refused.

    Raises
    ------
    RouteError
        The file cannot be read or holds no track; the message names the place in it.

    Notes
    -----
    A GPX file that declares a document type or an entity is refused before any parser sees it: a track needs neither, and
    both can make a small file grow without bound or read other files. Times are taken out unread, for nothing here needs
    them and a wrong one shall not spoil a track.
    """
    content = _checked_bytes(path, read_bytes(path, TRACK, RouteError) if content is None else content)
    ending = path.suffix.lower()
    if ending not in (".gpx", ".csv"):
        start = content[:400].lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n")
        first_line = start.splitlines()[0] if start else b""
        if start.startswith(b"<"):
            ending = ".gpx"
        elif b"distance" in first_line and b"," in first_line:
            ending = ".csv"
        else:
            raise RouteError(tracks.neither_kind(where=path))
    return _read_gpx(path, content) if ending == ".gpx" else _read_table(path, content)


def plain_text(text: str | None, most: int) -> str:
    r"""A text from somebody's file on one line, without control characters, cut to a length.

    Parameters
    ----------
    most : int
        Characters kept.

    Examples
    --------
    >>> plain_text("  Tovrin\n 760 m\x07 ", 40)
    'Tovrin 760 m'
    """
    spaced = re.sub(r"\s+", " ", text or "")
    return "".join(letter for letter in spaced if unicodedata.category(letter)[0] != "C").strip()[:most]


def _checked_bytes(path: Path, content: bytes) -> bytes:
    """The same bytes, if they are neither too many nor none."""
    if len(content) > TRACK.most_bytes:
        raise RouteError(
            files.too_many_bytes(where=str(path), size=len(content), wanted=TRACK.wanted, most=TRACK.most_bytes)
        )
    if not content.strip():
        raise RouteError(tracks.empty(where=path))
    return content


# ---------------------------------------------------------------- GPX


def _decoded(path: Path, content: bytes) -> str:
    """The text of an XML file in the encoding it declares."""
    encoding = next((name for mark, name in _MARKS if content.startswith(mark)), "")
    if not encoding:
        declared = re.match(rb"""\s*<\?xml[^>]{0,200}?encoding\s*=\s*["']([\w.:-]{1,40})["']""", content[:400])
        named = declared.group(1).decode("ascii", "replace") if declared else "utf-8"
        with contextlib.suppress(LookupError):
            encoding = codecs.lookup(named).name
        if not ENCODINGS.fullmatch(encoding):
            raise RouteError(tracks.unknown_encoding(where=path, encoding=named))
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        raise RouteError(files.not_text(where=path, encoding=encoding.upper(), save_as=files.TRACK_AS_GPX)) from None
    if "\0" in text:
        raise RouteError(files.zero_bytes(where=path, save_as=files.TRACK_AS_GPX))
    return text


def _parsed(path: Path, text: str) -> "GPX":
    """The GPX document, after everything that could harm the parser is ruled out."""
    trick = re.search(r"<!\s*(DOCTYPE|ENTITY)", text, re.IGNORECASE)
    if trick:
        line = text.count("\n", 0, trick.start()) + 1
        raise RouteError(tracks.declaration(where=path, line=line, kind=trick.group(1).upper()))
    points = len(re.findall(r"<(?:[\w.-]+:)?(?:trkpt|rtept|wpt)\b", text))
    if points > MOST_POINTS:
        raise RouteError(tracks.too_many_points(where=path, points=points, most=MOST_POINTS))
    if text.count("xmlns") > MOST_NAMESPACES:
        raise RouteError(tracks.too_many_namespaces(where=path, most=MOST_NAMESPACES))
    body = re.sub(r"^\s*<\?xml.*?\?>", lambda found: "\n" * found.group().count("\n"), text, count=1, flags=re.DOTALL)
    root = re.search(r"<([A-Za-z_][\w.:-]*)", re.sub(r"<!--.*?-->", "", body[:20_000], flags=re.DOTALL))
    if root is None:
        raise RouteError(tracks.not_xml(where=path))
    prefix, _, tag = root.group(1).rpartition(":")
    if tag != "gpx":
        raise RouteError(tracks.other_root(where=path, tag=root.group(1)))
    if prefix:
        body = re.sub(rf"(</?){re.escape(prefix)}:", r"\1", body)
    body = re.sub(r"<time>[^<]*</time>", "", body)
    odd = ODD_NUMBER.search(body)
    if odd:
        text = plain_text(odd.group(2), 40)
        if odd.group(1):
            raise RouteError(tracks.elevation_no_number(where=path, text=text))
        raise RouteError(tracks.position_no_number(where=path, text=text))
    import gpxpy
    from gpxpy.gpx import GPXException, GPXXMLSyntaxException

    try:
        return gpxpy.parse(body)
    except GPXXMLSyntaxException as problem:
        where = re.search(r"line (\d+)", str(problem))
        raise RouteError(tracks.broken_xml(where=path, line=where.group(1) if where else "")) from None
    except GPXException as problem:
        raise RouteError(_point_without_number(path, str(problem))) from None
    except (RecursionError, ValueError, TypeError, AttributeError):
        raise RouteError(tracks.not_understood(where=path)) from None


def _point_without_number(path: Path, problem: str) -> str:
    """What the reader of GPX says about a point, in words for people."""
    found = re.match(r"Invalid value for <(\w+)>\.\.\. (.*?) \(", problem, re.DOTALL)
    if not found:
        return tracks.no_position(where=path)
    element, text = found.group(1), plain_text(found.group(2), 40)
    if element == "ele":
        return tracks.elevation_no_number(where=path, text=text)
    if element == "None":
        return tracks.position_no_number(where=path, text=text)
    return tracks.element_no_number(where=path, element=element, text=text)


def _read_gpx(path: Path, content: bytes) -> RawTrack:
    """Tracks of a GPX file, all pieces in their order; its routes when it has no track."""
    gpx = _parsed(path, _decoded(path, content))
    pieces: list[list[Any]] = [piece.points for track in gpx.tracks for piece in track.segments if piece.points]
    kind = "GPX track"
    holders: list[Any] = list(gpx.tracks)
    if not pieces:
        kind = "GPX route"
        holders = list(gpx.routes)
        pieces = [route.points for route in gpx.routes if route.points]
    if not pieces:
        raise RouteError(tracks.no_track_point(where=path))
    points = [point for piece in pieces for point in piece]
    latitude = np.array([point.latitude for point in points], dtype=float)
    longitude = np.array([point.longitude for point in points], dtype=float)
    for name, values, most in (("latitude", latitude, 90.0), ("longitude", longitude, 180.0)):
        outside = np.flatnonzero(~(np.abs(values) <= most))
        if len(outside):
            raise RouteError(
                tracks.impossible_position(
                    where=path, point=int(outside[0]) + 1, name=name, value=values[outside[0]], most=most
                )
            )
    heights = [np.nan if point.elevation is None else float(point.elevation) for point in points]
    waypoints = [
        (float(point.latitude), float(point.longitude), plain_text(point.name, 80))
        for point in gpx.waypoints
        if plain_text(point.name, 80) and abs(point.latitude) <= 90.0 and abs(point.longitude) <= 180.0
    ]
    names = (plain_text(holder.name, 80) for holder in holders)
    return RawTrack(
        file=path.name,
        kind=kind,
        name=next((name for name in names if name), ""),
        latitude=latitude,
        longitude=longitude,
        distance=np.empty(0),
        elevation=np.array(heights, dtype=float),
        pieces=len(pieces),
        waypoints=tuple(waypoints),
    )


# ---------------------------------------------------------------- distance and elevation


def _read_table(path: Path, content: bytes) -> RawTrack:
    """A table of distance and elevation; a height may be left out."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RouteError(files.not_text(where=path, encoding="UTF-8", save_as=files.TABLE_AS_CSV)) from None
    if "\0" in text:
        raise RouteError(files.zero_bytes(where=path, save_as=files.TABLE_AS_CSV))
    reader = csv.reader(io.StringIO(text, newline=""))
    distance: list[float] = []
    elevation: list[float] = []
    signs: list[tuple[float, str]] = []
    try:
        header = [name.strip() for name in next(reader, [])]
        _check_header(path, header)
        last = reader.line_num
        for cells in reader:
            line, last = last + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(header):
                raise RouteError(files.uneven_row(where=path, line=line, cells=len(cells), columns=len(header)))
            row = dict(zip(header, (cell.strip() for cell in cells), strict=True))
            here, height = _read_row(path, line, row)
            if distance and here <= distance[-1]:
                raise RouteError(tracks.repeated_distance(where=path, line=line, here_m=here, before_m=distance[-1]))
            distance.append(here)
            elevation.append(height)
            if len(distance) > MOST_POINTS:
                raise RouteError(tracks.too_many_rows(where=path, most=MOST_POINTS))
            if plain_text(row.get("sign"), 80):
                signs.append((here - distance[0], plain_text(row["sign"], 80)))
    except csv.Error as problem:
        raise RouteError(files.not_csv(where=path, problem=str(problem))) from None
    return RawTrack(
        file=path.name,
        kind="distance table",
        name="",
        latitude=np.empty(0),
        longitude=np.empty(0),
        distance=np.array(distance) - (distance[0] if distance else 0.0),
        elevation=np.array(elevation),
        pieces=1,
        signs=tuple(signs),
    )


def _check_header(path: Path, header: list[str]) -> None:
    """Refuses unknown, repeated or missing columns."""
    unknown = [name for name in header if name not in CSV_COLUMNS]
    if unknown:
        raise RouteError(tracks.no_such_column(where=path, name=plain_text(unknown[0], 40), columns=CSV_COLUMNS))
    if len(set(header)) != len(header):
        raise RouteError(tracks.column_twice(where=path))
    if ("distance_m" in header) == ("distance_km" in header) or "elevation_m" not in header:
        raise RouteError(tracks.columns_missing(where=path))


def _read_row(path: Path, line: int, row: dict[str, str]) -> tuple[float, float]:
    """Distance and height of one row; a height that is left out is not a number."""
    column = "distance_m" if "distance_m" in row else "distance_km"
    numbers = []
    for name in (column, "elevation_m"):
        if name == "elevation_m" and row[name].lower() in ("", "nan"):
            numbers.append(np.nan)
            continue
        try:
            numbers.append(number_in(row[name]))
        except ValueError:
            raise RouteError(
                files.not_a_number(where=path, line=line, column=name, text=plain_text(row[name], 40))
            ) from None
    here = to_si(numbers[0], column.removeprefix("distance_"))
    if not 0.0 <= here <= LONGEST:
        raise RouteError(
            tracks.impossible_distance(where=path, line=line, column=column, value=numbers[0], most_km=LONGEST / 1000)
        )
    return here, numbers[1]
