"""Where a road falls, and how steep its parts are: its shape alone, no truck and no driver."""

import itertools
import math
from functools import lru_cache

import numpy as np

from sim.roads.route import Route

SPACING = 25.0  # m: between the points at which the road is looked at
PITCH = 250.0  # m, assumed: a grade must last this long to count; shorter ones are met with the brakes
FALLING = -0.025  # assumed: a road that falls this much counts as a descent
BREAK = 1000.0  # m, assumed: less of an easier road between two descents makes them one
LEAST_DROP = 40.0  # m, assumed: a lower descent is not worth a lower gear
DESCENT = -0.015  # assumed: a road that falls this much pushes a loaded truck


def falling_parts(route: Route) -> list[tuple[float, float]]:
    """Where a road falls, parts that lie close together taken as one.

    Returns
    -------
    parts : list of (float, float)
        Begin and end of each that falls `LEAST_DROP` or more. [m]
    """
    places = np.arange(0.0, route.length, SPACING)
    grades = route.grades_at(places)
    parts: list[list[float]] = []
    for place in places[grades <= FALLING]:
        if parts and place - parts[-1][1] <= BREAK:
            parts[-1][1] = float(place) + SPACING
        else:
            parts.append([float(place), float(place) + SPACING])
    return [
        (begin, min(end, route.length))
        for begin, end in parts
        if route.elevation_at(begin) - route.elevation_at(min(end, route.length)) >= LEAST_DROP
    ]


def pitches(route: Route, begin: float, end: float) -> list[tuple[float, float, float]]:
    """A descent in parts of one limit, split where the road gets easier for good.

    Parameters
    ----------
    begin : float
        [m]
    end : float
        [m]

    Returns
    -------
    parts : list of (float, float, float)
        Begin, posted limit and steepest grade over `PITCH` of each part. [m, m/s, -]
    """
    return list(_pitches(_Shape(route), begin, end))


class _Shape:
    """A road as a key: two of equal shape and limits are the same, whoever has read them."""

    def __init__(self, route: Route) -> None:
        self.route = route
        self._content = (
            route.distance.tobytes(),
            route.grade.tobytes(),
            route.slope.tobytes(),
            route.limits,
            route.length,
        )

    def __hash__(self) -> int:
        return hash(self._content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Shape) and self._content == other._content


@lru_cache(maxsize=256)
def _pitches(shape: _Shape, begin: float, end: float) -> tuple[tuple[float, float, float], ...]:
    """The parts of a descent: a fleet of trips drives the same road again and again."""
    route = shape.route
    edges = [begin, *(place.distance for place in route.limits if begin < place.distance < end), end]
    for place in np.arange(begin, end, SPACING):
        before = _mean_grade(route, float(place) - PITCH, float(place))
        after = _mean_grade(route, float(place), float(place) + PITCH)
        if after - before > 0.01 and all(abs(float(place) - edge) > 2.0 * PITCH for edge in edges):
            edges.append(float(place) + 0.5 * PITCH)
    edges.sort()
    parts = []
    for first, last in itertools.pairwise(edges):
        places = np.arange(first, max(last - PITCH, first) + 1.0, SPACING)
        steepest = min(_mean_grade(route, float(place), min(float(place) + PITCH, last)) for place in places)
        parts.append((first, route.limit_at(first), steepest))
    return tuple(parts)


def _mean_grade(route: Route, first: float, last: float) -> float:
    """Mean grade between two places."""
    first, last = max(first, 0.0), min(last, route.length)
    if last - first < 1.0:
        return route.grade_at(first)
    sine = (route.elevation_at(last) - route.elevation_at(first)) / (last - first)
    return sine / math.sqrt(1.0 - sine * sine)
