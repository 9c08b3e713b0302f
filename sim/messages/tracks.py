"""What is wrong with a recorded track, or with what is asked of it."""

from collections.abc import Sequence
from pathlib import Path

from sim.messages._parts import shortened

AGAIN = "Export the track anew as GPX 1.1."

# ---------------------------------------------------------------- the file


def empty(*, where: Path) -> str:
    """Said when there is nothing in the file of a track."""
    return f"{shortened(where)}: is empty; name a GPX or CSV file with a track in it"


def neither_kind(*, where: Path) -> str:
    """Said when a file is neither of the two kinds of track."""
    return (
        f"{shortened(where)}: is neither a GPX track nor a table of distance and elevation. Give a .gpx file, or a .csv file whose"
        " first line is distance_m,elevation_m."
    )


def unknown_encoding(*, where: Path, encoding: str) -> str:
    """Said when a track declares an encoding that is not read."""
    return f'{shortened(where)}: declares the encoding "{shortened(encoding)}"; save the track as GPX in UTF-8'


# ---------------------------------------------------------------- GPX


def declaration(*, where: Path, line: int, kind: str) -> str:
    """Said when a track declares a document type or an entity."""
    return (
        f"{shortened(where)} line {line}: declares a {shortened(kind)}, which a GPX track never needs and which can hide a trap."
        " Remove the declaration, or export the track anew."
    )


def too_many_points(*, where: Path, points: int, most: int) -> str:
    """Said when a track has more points than are read."""
    return f"{shortened(where)}: {points} points; a track may have {most} at most. Cut it or thin it out."


def too_many_namespaces(*, where: Path, most: int) -> str:
    """Said when a track declares more namespaces than any program writes."""
    return f"{shortened(where)}: declares more than {most} namespaces. {AGAIN}"


def not_xml(*, where: Path) -> str:
    """Said when a file that should be GPX holds no element."""
    return f"{shortened(where)}: is not XML; a GPX track begins with <gpx. Export the track as GPX."


def other_root(*, where: Path, tag: str) -> str:
    """Said when a file is XML of another kind."""
    return f"{shortened(where)}: its outermost element is <{shortened(tag)}>, not <gpx>. Export the track as GPX."


def broken_xml(*, where: Path, line: str) -> str:
    """Said when the XML of a track cannot be read; the line may be unknown and then empty."""
    return (
        f"{shortened(where)}{' line ' + shortened(line) if line else ''}: the XML is cut off or broken there."
        " Export the track anew, or repair that line."
    )


def elevation_no_number(*, where: Path, text: str) -> str:
    """Said when the height of a point is no number."""
    return f'{shortened(where)}: an elevation is "{shortened(text)}"; it must be a number in metres. Correct or remove the point.'


def position_no_number(*, where: Path, text: str) -> str:
    """Said when a latitude or longitude is no number."""
    return f'{shortened(where)}: a latitude or longitude is "{shortened(text)}"; it must be a number. Correct or remove the point.'


def element_no_number(*, where: Path, element: str, text: str) -> str:
    """Said when another number of a point is none."""
    return f'{shortened(where)}: <{shortened(element)}> is "{shortened(text)}"; it must be a number. Correct or remove the point.'


def no_position(*, where: Path) -> str:
    """Said when a point has no position."""
    return f"{shortened(where)}: a point has no latitude or longitude; every point needs both. Correct or remove the point."


def not_understood(*, where: Path) -> str:
    """Said when the reader gives up on a track."""
    return f"{shortened(where)}: the GPX in it cannot be understood. {AGAIN}"


def no_track_point(*, where: Path) -> str:
    """Said when a GPX file holds no track and no route."""
    return (
        f"{shortened(where)}: holds no track point; a road is made from <trk> or <rte>. Export the track, not places."
    )


def impossible_position(*, where: Path, point: int, name: str, value: float, most: float) -> str:
    """Said when a point is not on the earth."""
    return (
        f"{shortened(where)}: point {point}: {shortened(name)} is {value:g}; allowed is {-most:g} to {most:g} degrees."
        " Correct or remove the point."
    )


# ---------------------------------------------------------------- distance and elevation


def no_such_column(*, where: Path, name: str, columns: Sequence[str]) -> str:
    """Said when a table has a column that no track has."""
    return f'{shortened(where)} line 1: no column of a track is called "{shortened(name)}"; columns are {", ".join(columns)}'


def column_twice(*, where: Path) -> str:
    """Said when a column of a table stands twice."""
    return f"{shortened(where)} line 1: a column stands twice; name each once"


def columns_missing(*, where: Path) -> str:
    """Said when a table lacks distance or height, or has two columns of distance."""
    return f"{shortened(where)} line 1: elevation_m and one of distance_m, distance_km are needed"


def impossible_distance(*, where: Path, line: int, column: str, value: float, most_km: float) -> str:
    """Said when a distance of a table is out of range."""
    return (
        f"{shortened(where)} line {line}: {shortened(column)} is {value:g}; allowed is 0 to {most_km:g} km."
        " Correct the distance."
    )


def repeated_distance(*, where: Path, line: int, here_m: float, before_m: float) -> str:
    """Said when a distance of a table is not beyond the one before it."""
    return (
        f"{shortened(where)} line {line}: the distance {here_m:g} m is not after {before_m:g} m. Sort the rows or"
        " remove the repeat."
    )


def too_many_rows(*, where: Path, most: int) -> str:
    """Said when a table has more rows than are read."""
    return f"{shortened(where)}: more than {most} rows; cut the table or thin it out"


# ---------------------------------------------------------------- the track as a road


def too_few_points(*, where: Path | str, points: int, used: int) -> str:
    """Said when a track has no length."""
    return (
        f"{shortened(where)}: {points} point(s), of which {used} can be used; a road needs at least two that are"
        " more than 10 m apart"
    )


def too_short(*, where: Path | str, length_m: float, least_m: float) -> str:
    """Said when a track is too short for a road."""
    return f"{shortened(where)}: the track is {length_m:.0f} m long; a road must have {least_m:g} m at least"


def too_long(*, where: Path | str, length_km: float, most_km: float) -> str:
    """Said when a track is too long for a road."""
    return f"{shortened(where)}: the track is {length_km:.0f} km long; allowed is {most_km:g} km at most"


def wide_gap(*, where: Path | str, gap_km: float, at_km: float, most_km: float) -> str:
    """Said when nobody knows how the road runs between two points."""
    return (
        f"{shortened(where)}: a gap of {gap_km:.1f} km at {at_km:.2f} km; a gap may have {most_km:g} km at most."
        " Split the track there, or fill the gap."
    )


def no_heights(*, where: Path | str, zeros: bool, used: int, points: int) -> str:
    """Said when a track has no heights, or zeros in their place."""
    why = "all heights are 0, so there are none" if zeros else "there are no heights from -450 to 6000 m"
    return (
        f"{shortened(where)}: {why} ({used} of {points} points can be used). A road needs them: export the track with elevation,"
        " or add it."
    )


def heights_missing(*, where: Path | str, over_km: float, most_km: float) -> str:
    """Said when a long part of a track has no heights."""
    return (
        f"{shortened(where)}: no usable height over {over_km:.1f} km; allowed is {most_km:g} km at most."
        " Export the track with elevation, or cut that part off."
    )


# ---------------------------------------------------------------- what is asked for


def flag_number(*, flag: str, text: str, problem: str, example: str) -> str:
    """Said when the length or speed behind a flag cannot be read."""
    return f"{shortened(flag)} {shortened(text)}: {problem}; write for example {shortened(flag)} {shortened(example)}"


def length_out_of_range(*, name: str, value_m: float, low_m: float, high_m: float) -> str:
    """Said when the distance of rows or the smoothing is out of range."""
    return f"{shortened(name)} is {value_m:g} m; allowed is {low_m:g} to {high_m:g} m"


def every_too_long(*, every_m: float, most_m: float) -> str:
    """Said when rows are too far apart for the smoothing."""
    return f"every is {every_m:g} m; at most a quarter of smooth, here {most_m:g} m, or rows miss bends of the profile"


def limit_out_of_range(*, limit_km_h: float, low_km_h: float, high_km_h: float) -> str:
    """Said when the posted limit is out of range."""
    return f"limit is {limit_km_h:g} km/h; allowed is {low_km_h:g} to {high_km_h:g} km/h"
