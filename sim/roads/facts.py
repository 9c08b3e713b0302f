"""What a road is like, told from its own profile: grades by length, climbs and descents, steepest stretches, limits, curves.

Nothing is smoothed or sampled: lengths are exact for the grade as the trip drives it, straight from row to row.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.errors import RouteError
from sim.messages import roads
from sim.roads.route import Place, Route

CLASS_WIDTH = 0.01  # of the histogram
LEAST_GRADE = 0.01  # from which a piece of road counts as part of a climb or a descent
WINDOWS = (100.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0)  # m: lengths over which the steepest stretch is looked for


@dataclass(frozen=True)
class GradeClass:
    """How much of a road has a grade between two bounds.

    Parameters
    ----------
    low : float
        Lower bound, itself inside.
    high : float
        Upper bound, itself in the next class.
    length : float
        Of road. [m]
    """

    low: float
    high: float
    length: float

    @property
    def middle(self) -> float:
        """Middle of the class. [-]"""
        return 0.5 * (self.low + self.high)


@dataclass(frozen=True)
class Slope:
    """A climb or a descent.

    Parameters
    ----------
    begin : float
        Where it starts. [m]
    length : float
        [m]
    rise : float
        Height at its end over that at its start, negative for a descent. [m]
    steepest : float
        Steepest mean grade between two neighbouring rows of the road.
    steepest_at : float
        Where that piece starts. [m]
    """

    begin: float
    length: float
    rise: float
    steepest: float
    steepest_at: float

    @property
    def grade(self) -> float:
        """Mean grade. [-]"""
        return grade_of_rise(self.rise, self.length)


@dataclass(frozen=True)
class Steepest:
    """The steepest stretch of a given length.

    Parameters
    ----------
    length : float
        [m]
    begin : float
        [m]
    grade : float
        Mean; negative downhill.
    """

    length: float
    begin: float
    grade: float


@dataclass(frozen=True)
class Span:
    """A part of the road on which something holds: a posted limit, or a curve.

    Parameters
    ----------
    begin : float
        [m]
    end : float
        [m]
    value : float
        The limit, or the radius. [m/s or m]
    speed : float
        What it allows. [m/s]
    """

    begin: float
    end: float
    value: float
    speed: float


def grade_of_rise(rise: float, length: float) -> float:
    """Rise over run of a rise over a length along the slope.

    Parameters
    ----------
    rise : float
        [m]
    length : float
        Along the road. [m]

    Examples
    --------
    >>> round(grade_of_rise(5.0, 13.0), 4)
    0.4167
    """
    sine = rise / length
    return sine / math.sqrt(1.0 - sine * sine)


def grade_histogram(route: Route, width: float = CLASS_WIDTH) -> tuple[GradeClass, ...]:
    """Length of road by grade.

    Parameters
    ----------
    width : float
        Of a class; the middle one is centred on the level, so that a road of 6 % stands in the middle of its class.

    Returns
    -------
    classes : tuple of GradeClass
        From the steepest descent to the steepest climb, those between them that have no length included.

    Notes
    -----
    Between two rows the grade runs straight from one value to the next, so each class gets the share of the piece that lies
    within its bounds; a piece of one grade belongs to one class.
    """
    pieces = np.diff(route.distance)
    first = route.grade[:-1]
    last = first + route.slope[:-1] * pieces
    low, high = np.minimum(first, last), np.maximum(first, last)
    flat = high - low < 1e-9
    bottom = math.floor(float(low.min()) / width + 0.5)
    top = math.floor(float(high.max()) / width + 0.5)
    classes = []
    for number in range(bottom, top + 1):
        begin, end = (number - 0.5) * width, (number + 0.5) * width
        inside = np.clip(np.minimum(high, end) - np.maximum(low, begin), 0.0, None)
        share = np.where(flat, (low >= begin) & (low < end), inside / np.where(flat, 1.0, high - low))
        classes.append(GradeClass(begin, end, float(np.sum(share * pieces))))
    return tuple(classes)


def slopes(route: Route, least: float = LEAST_GRADE) -> tuple[Slope, ...]:
    """Climbs and descents of a road.

    Parameters
    ----------
    least : float
        Mean grade, up or down, a piece between two rows needs to belong to one.

    Returns
    -------
    slopes : tuple of Slope
        In the order of the road; an easier piece ends one.
    """
    lengths, rises = np.diff(route.distance), np.diff(route.elevation)
    sines = rises / lengths
    grades = sines / np.sqrt(1.0 - sines * sines)
    signs = np.where(grades >= least * (1.0 - 1e-9), 1, np.where(grades <= -least * (1.0 - 1e-9), -1, 0))
    edges = [0, *(np.flatnonzero(np.diff(signs)) + 1).tolist(), len(signs)]
    found = []
    for first, past in itertools.pairwise(edges):
        if not signs[first]:
            continue
        begin, end = float(route.distance[first]), float(route.distance[past])
        worst = first + int(np.argmax(np.abs(grades[first:past])))
        rise = float(route.elevation[past] - route.elevation[first])
        found.append(Slope(begin, end - begin, rise, float(grades[worst]), float(route.distance[worst])))
    return tuple(found)


def longest(route: Route, downhill: bool, count: int = 3) -> tuple[Slope, ...]:
    """The longest climbs, or the longest descents.

    Parameters
    ----------
    count : int
        How many at most.

    Returns
    -------
    slopes : tuple of Slope
        Longest first.
    """
    mine = [slope for slope in slopes(route) if (slope.rise < 0.0) == downhill]
    return tuple(sorted(mine, key=lambda slope: (-slope.length, slope.begin))[:count])


def steepest(route: Route, downhill: bool, windows: Sequence[float] = WINDOWS) -> tuple[Steepest, ...]:
    """The steepest stretch of each length.

    Parameters
    ----------
    windows : sequence of float
        Lengths; those longer than the road are left out. [m]

    Returns
    -------
    stretches : tuple of Steepest
        In the order of the lengths; none where the road nowhere goes that way over a length.

    Notes
    -----
    Looked for from every row of the road onwards and from every row backwards.
    """
    found = []
    for length in windows:
        if length > route.length:
            continue
        starts = np.unique(np.concatenate([route.distance, route.distance - length]))
        starts = starts[(starts >= 0.0) & (starts <= route.length - length)]
        rises = np.array([route.elevation_at(float(at) + length) - route.elevation_at(float(at)) for at in starts])
        place = int(np.argmin(rises) if downhill else np.argmax(rises))
        rise = float(rises[place])
        if rise < 0.0 if downhill else rise > 0.0:
            found.append(Steepest(length, float(starts[place]), grade_of_rise(rise, length)))
    return tuple(found)


def limit_spans(route: Route) -> tuple[Span, ...]:
    """Posted limits, each from where it begins to hold.

    Returns
    -------
    spans : tuple of Span
        In the order of the road; neighbours with the same limit are one. Empty where nothing is posted. [m/s]
    """
    spans: list[Span] = []
    ends = [place.distance for place in route.limits[1:]] + [route.length] * bool(route.limits)
    for place, end in zip(route.limits, ends, strict=True):
        if spans and spans[-1].value == place.value:
            spans[-1] = Span(spans[-1].begin, end, place.value, place.value)
        elif end > place.distance:
            spans.append(Span(place.distance, end, place.value, place.value))
    return tuple(spans)


def curve_spans(route: Route) -> tuple[Span, ...]:
    """Curves that are not straight, with the speed a loaded combination is taken through them with.

    Returns
    -------
    spans : tuple of Span
        In the order of the road. [m]
    """
    ends = [place.distance for place in route.curves[1:]] + [route.length] * bool(route.curves)
    return tuple(
        Span(place.distance, end, place.value, route.curve_at(place.distance))
        for place, end in zip(route.curves, ends, strict=True)
        if place.value > 0.0 and end > place.distance
    )


def part_of(route: Route, begin: float, end: float) -> Route:
    """A part of a road as a road of its own, its distances from 0.

    Parameters
    ----------
    begin : float
        [m]
    end : float
        [m]

    Returns
    -------
    part : Route
        Grade, height, wind, and what stands on that part; the limit and the curve that hold at its begin are kept.

    Raises
    ------
    RouteError
        The part does not lie on the road.
    """
    if not 0.0 <= begin < end <= route.length:
        raise RouteError(roads.no_part(where=route.name, begin_m=begin, end_m=end, length_m=route.length))
    inside = np.flatnonzero((route.distance > begin) & (route.distance < end))
    first = int(np.searchsorted(route.distance, begin, side="right")) - 1
    last = int(inside[-1]) if len(inside) else first
    distance = np.concatenate([[begin], route.distance[inside], [end]])
    grade = np.concatenate([[route.grade_at(begin)], route.grade[inside], [0.0]])
    slope = np.concatenate([[route.slope[first]], route.slope[inside], [0.0]])
    grade[-1] = grade[-2] + slope[-2] * (distance[-1] - distance[-2])
    wind = np.concatenate([[route.wind[first]], route.wind[inside], [route.wind[last]]])

    def moved(places: tuple[Place, ...], holds: bool) -> tuple[Place, ...]:
        """What stands on the part, and what still holds at its begin. [m]"""
        mine = [
            Place(place.distance - begin, place.value, place.text) for place in places if begin <= place.distance < end
        ]
        before = [place for place in places if place.distance < begin]
        if holds and before and not (mine and mine[0].distance == 0.0):
            mine.insert(0, Place(0.0, before[-1].value, before[-1].text))
        return tuple(mine)

    return Route(
        name=f"{route.name}, {begin / 1000.0:.2f} to {end / 1000.0:.2f} km",
        title=route.title,
        distance=distance - begin,
        grade=grade,
        slope=slope,
        start_elevation=route.elevation_at(begin),
        wind=wind,
        limits=moved(route.limits, holds=True),
        stops=moved(route.stops, holds=False),
        signs=moved(route.signs, holds=False),
        curves=moved(route.curves, holds=True),
        source=route.source,
        marks=route.marks,
    )
