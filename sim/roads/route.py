"""Roads: reads and checks a profile, and knows height, grade, limits, stops and signs along it.

A profile is a CSV with `distance_m` and one of `elevation_m`, `grade_percent`. Grade is interpolated linearly between rows
when it is given, and constant between rows when heights are given. Distance is measured along the road.
"""

import csv
import io
import math
import os
import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import RouteError
from sim.messages import files, roads
from sim.reading import ROAD, is_there, read_text, read_toml
from sim.units import STANDARD_GRAVITY, number_in, quantity_in, spellings, to_si

COLUMNS = (
    "distance_m",
    "elevation_m",
    "grade_percent",
    "speed_limit_km_h",
    "stop_s",
    "wind_m_s",
    "sign",
    "curve_radius_m",
)
STEEPEST = 0.35  # rise over run; steeper is taken for a mistake
LIMIT_UNITS = tuple(spellings("km_h"))  # what tells the limit of a constant grade from its altitude
FACTS = ("title", "source", "marks", "start_elevation_m")  # in the TOML beside a road
LOWEST = -450.0  # m
HIGHEST = 6000.0  # m
LONGEST = 3.0e6  # m
SIDE_ACCELERATION = 0.14 * STANDARD_GRAVITY  # m/s2, assumed: what a loaded combination is taken through a curve with


@dataclass(frozen=True)
class Place:
    """Something at one point of the road: a limit, a stop, a sign or a curve."""

    distance: float
    value: float
    text: str = ""


@dataclass(frozen=True)
class Route:
    """A road as the simulation drives it.

    Parameters
    ----------
    name : str
        Catalogue name or file name.
    title : str
        One line for people.
    distance : array
        Points of the profile from 0, rising, shape (points,). [m]
    grade : array
        Rise over run just after each point, shape (points,).
    slope : array
        Change of grade per metre up to the next point, shape (points,). [1/m]
    start_elevation : float
        Above sea level. [m]
    wind : array
        From ahead, from each point to the next, shape (points,). [m/s]
    limits : tuple of Place
        Posted limits, each holds until the next; none where nothing is posted. [m/s]
    stops : tuple of Place
        Where and how long the truck stands. [s]
    signs : tuple of Place
        What is written where.
    curves : tuple of Place
        Radius from here on; 0 is straight. [m]
    source : str
        Where the profile comes from.
    marks : dict
        Mark of each kind of number in it.
    """

    name: str
    title: str
    distance: np.ndarray
    grade: np.ndarray
    slope: np.ndarray
    start_elevation: float
    wind: np.ndarray
    limits: tuple[Place, ...]
    stops: tuple[Place, ...] = ()
    signs: tuple[Place, ...] = ()
    curves: tuple[Place, ...] = ()
    source: str = "not stated"
    marks: dict[str, str] = field(default_factory=dict)

    @property
    def length(self) -> float:
        """Length along the road. [m]"""
        return float(self.distance[-1])

    @cached_property
    def _points(self) -> list[float]:
        """Distances of the points as plain numbers."""
        points: list[float] = self.distance.tolist()
        return points

    @cached_property
    def _shape(self) -> list[tuple[float, float]]:
        """Grade and its change at each point as plain numbers."""
        return list(zip(self.grade.tolist(), self.slope.tolist(), strict=True))

    @cached_property
    def _rises(self) -> list[float]:
        """Height at each point as plain numbers."""
        heights: list[float] = self.elevation.tolist()
        return heights

    @cached_property
    def _limit_places(self) -> list[float]:
        """Where the limits stand, in the order of the road."""
        return [place.distance for place in self.limits]

    @cached_property
    def _curve_places(self) -> list[float]:
        """Where the curves begin and end, in the order of the road."""
        return [place.distance for place in self.curves]

    def _place_at(self, distance: float) -> int:
        """The last point at or before a distance; the first one before the start."""
        return max(bisect_right(self._points, distance) - 1, 0)

    @cached_property
    def elevation(self) -> np.ndarray:
        """Height at each point, shape (points,). [m]"""
        rise = [0.0]
        for place in range(len(self.distance) - 1):
            rise.append(rise[-1] + self._rise(place, float(self.distance[place + 1] - self.distance[place])))
        return self.start_elevation + np.array(rise)

    def _rise(self, place: int, into: float) -> float:
        """Height gained from a point over a length: the integral of sin(atan(grade))."""
        grade, slope = self._shape[place]
        after = grade + slope * into
        if abs(slope * into) < 1e-9:
            mean = 0.5 * (grade + after)
            return into * mean / math.sqrt(1.0 + mean * mean)
        return (math.sqrt(1.0 + after * after) - math.sqrt(1.0 + grade * grade)) / slope

    def elevation_at(self, distance: float) -> float:
        """Height at a distance, by the exact integral of the profile.

        Parameters
        ----------
        distance : float
            Along the road. [m]

        Returns
        -------
        elevation : float
            [m]
        """
        place = self._place_at(distance)
        return self._rises[place] + self._rise(place, distance - self._points[place])

    def grade_at(self, distance: float) -> float:
        """Grade at a distance.

        Parameters
        ----------
        distance : float
            Along the road. [m]
        """
        place = self._place_at(distance)
        return float(self.grade[place] + self.slope[place] * (distance - self._points[place]))

    def grades_at(self, distances: np.ndarray) -> np.ndarray:
        """Grade at many distances.

        Parameters
        ----------
        distances : array
            Along the road, shape (places,). [m]

        Returns
        -------
        grades : array
            Shape (places,).
        """
        places = np.clip(np.searchsorted(self.distance, distances, side="right") - 1, 0, len(self.distance) - 1)
        grades: np.ndarray = self.grade[places] + self.slope[places] * (distances - self.distance[places])
        return grades

    def limit_at(self, distance: float) -> float:
        """Posted limit at a distance.

        Parameters
        ----------
        distance : float
            Along the road. [m]

        Returns
        -------
        limit : float
            Infinite where none is posted. [m/s]
        """
        place = bisect_right(self._limit_places, distance) - 1
        return self.limits[max(place, 0)].value if self.limits else math.inf

    def curve_at(self, distance: float) -> float:
        """Speed at which a loaded combination is taken through the curve at a distance.

        Parameters
        ----------
        distance : float
            Along the road. [m]

        Returns
        -------
        speed : float
            Infinite where the road is straight. [m/s]
        """
        place = bisect_right(self._curve_places, distance) - 1
        radius = self.curves[place].value if place >= 0 else 0.0
        return math.sqrt(SIDE_ACCELERATION * radius) if radius > 0.0 else math.inf

    @property
    def climb(self) -> float:
        """Sum of all rises. [m]"""
        return float(np.sum(np.maximum(np.diff(self.elevation), 0.0)))

    @property
    def descent(self) -> float:
        """Sum of all falls, positive. [m]"""
        return float(np.sum(np.maximum(-np.diff(self.elevation), 0.0)))

    @property
    def net_height(self) -> float:
        """Height of the end above the start. [m]"""
        return float(self.elevation[-1] - self.elevation[0])

    @property
    def steepest_descent(self) -> float:
        """Steepest downhill grade, 0 or negative. [-]"""
        ends = self.grade[:-1] + self.slope[:-1] * np.diff(self.distance)
        return float(min(self.grade[:-1].min(), ends.min(), 0.0))

    def road_array(self, wind: float) -> np.ndarray:
        """The profile as the kernel reads it.

        Parameters
        ----------
        wind : float
            Added to the road's own wind, from ahead. [m/s]

        Returns
        -------
        road : array
            Shape (points, 4): distance, grade, grade per metre, wind. [m, -, 1/m, m/s]
        """
        return np.ascontiguousarray(np.column_stack([self.distance, self.grade, self.slope, self.wind + wind]))


def catalogue_folder() -> Path:
    """The folder of the shipped roads: inside the installed package, or beside the checkout."""
    installed = Path(str(resources.files("sim"))) / "_routes"
    return installed if installed.is_dir() else Path(__file__).resolve().parents[2] / "routes"


def list_routes() -> list[str]:
    """Names of the shipped roads, sorted."""
    return sorted(path.stem for path in catalogue_folder().glob("*.csv"))


@lru_cache(maxsize=64)
def known_road(name: str) -> Route:
    """A road of the catalogue, or a constant grade: what a name that came over the network may be, and never a file; read once.

    Raises
    ------
    RouteError
        There is no such road.
    """
    if name.startswith("grade:"):
        return constant_grade(name)
    known = list_routes()
    if name not in known:
        raise RouteError(roads.not_a_known_road(name=name, known=known))
    return read_route(catalogue_folder() / f"{name}.csv")


def load_route(name: str) -> Route:
    """A road from the catalogue, from a CSV file, or a constant grade.

    Parameters
    ----------
    name : str
        Catalogue name, path of a CSV file, or `grade:-6%,10km,1100m,80km/h` (grade, length, altitude at the start, posted
        limit; the last two may be left out).

    Raises
    ------
    RouteError
        Not found, not readable or not a road.
    """
    path, known = Path(name), list_routes()
    if name in known or name.startswith("grade:"):
        return known_road(name)
    if path.suffix.lower() == ".csv" or is_there(path):
        return read_route(path)
    from difflib import get_close_matches

    near = get_close_matches(name, known, n=3, cutoff=0.4)
    raise RouteError(roads.no_such_road(name=name, near=near, known=known))


def constant_grade(text: str) -> Route:
    """A road of one grade from start to end.

    Parameters
    ----------
    text : str
        `grade:GRADE,LENGTH[,ALTITUDE][,LIMIT]`, for example `grade:-6%,10km,1100m,80km/h`; nothing is posted where no limit
        is given.

    Raises
    ------
    RouteError
        Not of that form or out of range.
    """
    parts = [part.strip() for part in text.removeprefix("grade:").split(",")]
    posted = [parts.pop()] if len(parts) > 2 and parts[-1].endswith(LIMIT_UNITS) else []
    if len(parts) not in (2, 3) or not all(parts):
        raise RouteError(roads.no_constant_grade(text=text))
    try:
        percent = quantity_in(parts[0], "percent")
        length = quantity_in(parts[1], "m")
        altitude = quantity_in(parts[2], "m") if len(parts) == 3 else 0.0
        limits = [quantity_in(limit, "km_h") for limit in posted]
    except ValueError as problem:
        raise RouteError(roads.grade_number(text=text, problem=str(problem))) from None
    grade = percent / 100.0
    _within(text, "grade", percent, -100 * STEEPEST, 100 * STEEPEST, "%")
    _within(text, "length", length, 10.0, LONGEST, "m")
    _within(text, "altitude", altitude, LOWEST, HIGHEST, "m")
    _within(text, "altitude at the end", altitude + grade * length, LOWEST, HIGHEST, "m")
    for limit in limits:
        _within(text, "limit", limit, *_RANGES["speed_limit_km_h"], "km/h")
    return Route(
        name=text,
        title=f"constant grade {percent:g} %",
        distance=np.array([0.0, length]),
        grade=np.array([grade, grade]),
        slope=np.zeros(2),
        start_elevation=altitude,
        wind=np.zeros(2),
        limits=tuple(Place(0.0, to_si(limit, "km_h")) for limit in limits),
        source="constant grade, asked for",
    )


def _check_heights(path: Path, distance: np.ndarray, grade: np.ndarray, start: float) -> None:
    """A road given by grades must not leave the earth's roads either."""
    height = start + np.concatenate([[0.0], np.cumsum(np.diff(distance) * 0.5 * (grade[1:] + grade[:-1]))])
    for value in (float(height.max()), float(height.min())):
        if not LOWEST <= value <= HIGHEST:
            raise RouteError(
                roads.grades_lead_out(
                    where=path, height_m=value, low_m=LOWEST, high_m=HIGHEST, beside=path.with_suffix(".toml").name
                )
            )


def _within(text: str, part: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuses a value outside its range."""
    if not low <= value <= high:
        raise RouteError(roads.grade_out_of_range(text=text, part=part, value=value, low=low, high=high, unit=unit))


def read_route(path: Path) -> Route:
    """Reads a road file and the TOML beside it.

    Parameters
    ----------
    path : Path
        CSV with a header, `distance_m` and one of `elevation_m`, `grade_percent`.

    Raises
    ------
    RouteError
        The file cannot be read, or a row cannot be used; the message names the line.
    """
    return _route_of(path, _rows_of(path, read_text(path, ROAD, RouteError)), _read_facts(path.with_suffix(".toml")))


def route_from_texts(name: str, table: str, facts: str) -> Route:
    """A road from the texts of its two files, which need not be on any disk.

    Parameters
    ----------
    name : str
        Of the road, and of the file in messages.
    table : str
        As in the CSV file.
    facts : str
        As in the TOML file beside it.

    Returns
    -------
    route : Route
        The same road as `read_route` would read from the two files.

    Raises
    ------
    RouteError
        A text cannot be used; the message names the line.
    """
    path = Path(f"{name}.csv")
    beside = path.with_suffix(".toml")
    try:
        values = tomllib.loads(facts)
    except tomllib.TOMLDecodeError as problem:
        raise RouteError(files.not_toml(where=beside, problem=str(problem))) from None
    return _route_of(path, _rows_of(path, table), _checked_facts(beside, values))


def _route_of(path: Path, rows: list[dict[str, Any]], facts: dict[str, Any]) -> Route:
    """The road of rows and facts that are read."""
    distance = np.array([row["distance_m"] for row in rows])
    has_height = "elevation_m" in rows[0]
    if has_height:
        height = np.array([row["elevation_m"] for row in rows])
        sine = np.diff(height) / np.diff(distance)
        for row, value in zip(rows[1:], sine, strict=True):
            if abs(value) > STEEPEST:
                raise RouteError(
                    roads.too_steep(
                        where=path, line=row["line"], rise_percent=100 * value, steepest_percent=100 * STEEPEST
                    )
                )
        grade = np.append(sine / np.sqrt(1.0 - sine * sine), 0.0)
        grade[-1] = grade[-2]
        slope = np.zeros(len(rows))
        start = float(height[0])
    else:
        grade = np.array([row["grade_percent"] for row in rows]) / 100.0
        slope = np.append(np.diff(grade) / np.diff(distance), 0.0)
        start = float(facts.get("start_elevation_m", 0.0))
        _check_heights(path, distance, grade, start)
    limits = [
        Place(row["distance_m"], to_si(row["speed_limit_km_h"], "km_h")) for row in rows if "speed_limit_km_h" in row
    ]
    if limits and limits[0].distance > 0.0:
        limits.insert(0, Place(0.0, limits[0].value))
    wind = 0.0
    winds = []
    for row in rows:
        wind = row.get("wind_m_s", wind)
        winds.append(wind)
    return Route(
        name=path.stem,
        title=str(facts.get("title", path.stem)),
        distance=distance,
        grade=grade,
        slope=slope,
        start_elevation=start,
        wind=np.array(winds),
        limits=tuple(limits),
        stops=tuple(Place(row["distance_m"], row["stop_s"]) for row in rows if row.get("stop_s", 0.0) > 0.0),
        signs=tuple(Place(row["distance_m"], 0.0, row["sign"]) for row in rows if row.get("sign")),
        curves=tuple(Place(row["distance_m"], row["curve_radius_m"]) for row in rows if "curve_radius_m" in row),
        source=str(facts.get("source", "not stated")),
        marks={key: str(value) for key, value in facts.get("marks", {}).items()},
    )


_RANGES = {
    "distance_m": (0.0, LONGEST),
    "elevation_m": (LOWEST, HIGHEST),
    "grade_percent": (-100 * STEEPEST, 100 * STEEPEST),
    "speed_limit_km_h": (5.0, 130.0),
    "stop_s": (0.0, 7200.0),
    "wind_m_s": (-40.0, 40.0),
    "curve_radius_m": (0.0, 1e5),
}


def _rows_of(path: Path, text: str) -> list[dict[str, Any]]:
    """Rows of a road file with numbers checked; distances rise and start at 0."""
    if "\0" in text:
        raise RouteError(files.zero_bytes(where=path, save_as=files.ROAD_AS_CSV))
    reader = csv.reader(io.StringIO(text, newline=""))
    rows: list[dict[str, Any]] = []
    try:
        header = [name.strip() for name in next(reader, [])]
        if not any(header):
            raise RouteError(roads.no_header(where=path, columns=COLUMNS, blank=bool(text.strip())))
        _check_header(path, header)
        last = reader.line_num
        for cells in reader:
            line, last = last + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(header):
                raise RouteError(files.uneven_row(where=path, line=line, cells=len(cells), columns=len(header)))
            rows.append(_read_row(path, line, header, cells))
            if len(rows) > 1:
                before, here = rows[-2]["distance_m"], rows[-1]["distance_m"]
                if here <= before:
                    raise RouteError(roads.repeated_distance(where=path, line=line, here_m=here, before_m=before))
    except csv.Error as problem:
        raise RouteError(files.not_csv(where=path, problem=str(problem))) from None
    if len(rows) < 2:
        raise RouteError(roads.too_few_rows(where=path, rows=len(rows)))
    if rows[0]["distance_m"] != 0.0:
        raise RouteError(roads.does_not_start_at_zero(where=path, start_m=rows[0]["distance_m"]))
    return rows


def _check_header(path: Path, header: list[str]) -> None:
    """Refuses unknown, repeated or missing columns."""
    unknown = [name for name in header if name not in COLUMNS]
    if unknown:
        raise RouteError(roads.no_such_column(where=path, name=unknown[0], columns=COLUMNS))
    twice = [name for name in COLUMNS if header.count(name) > 1]
    if twice:
        raise RouteError(roads.column_twice(where=path, name=twice[0]))
    if "distance_m" not in header:
        raise RouteError(roads.no_distance(where=path))
    if ("elevation_m" in header) == ("grade_percent" in header):
        raise RouteError(roads.height_or_grade(where=path, both="elevation_m" in header))


def _read_row(path: Path, line: int, header: list[str], cells: list[str]) -> dict[str, Any]:
    """One row: the numbers that are there, each within its range."""
    row: dict[str, Any] = {"line": line}
    for name, cell in zip(header, cells, strict=True):
        text = cell.strip()
        if name == "sign":
            row[name] = re.sub(r"\s+", " ", text)[:200]
            continue
        if not text:
            if name in ("distance_m", "elevation_m", "grade_percent"):
                raise RouteError(roads.empty_cell(where=path, line=line, column=name))
            continue
        try:
            value = number_in(text)
        except ValueError:
            raise RouteError(files.not_a_number(where=path, line=line, column=name, text=text)) from None
        low, high = _RANGES[name]
        if not low <= value <= high:
            raise RouteError(roads.out_of_range(where=path, line=line, column=name, value=value, low=low, high=high))
        row[name] = value
    return row


def _read_facts(path: Path) -> dict[str, Any]:
    """Title, source and start height from the TOML beside a road; nothing when there is none."""
    return _checked_facts(path, read_toml(path, RouteError)) if os.path.lexists(path) else {}


def _checked_facts(path: Path, facts: dict[str, Any]) -> dict[str, Any]:
    """Facts of which every key is known and the start height is one."""
    unknown = set(facts) - set(FACTS)
    if unknown:
        raise RouteError(roads.no_such_fact(where=path, key=sorted(unknown)[0], keys=FACTS))
    start = facts.get("start_elevation_m", 0.0)
    if isinstance(start, bool) or not isinstance(start, int | float) or not LOWEST <= start <= HIGHEST:
        raise RouteError(roads.start_height(where=path, given=start, low_m=LOWEST, high_m=HIGHEST))
    if not isinstance(facts.get("marks", {}), dict):
        raise RouteError(roads.marks(where=path, given=facts["marks"]))
    return facts
