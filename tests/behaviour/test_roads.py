"""The seven roads of the invented district against what is said of them.

The roads are this project's own invented data, marked assumed: what is said of them here (lengths, heights, sections, limits,
stops) is their plan, not a published source. Outside the plan stand only arithmetic and two conventions: a change of grade is
a parabola, so that grade changes in a straight line along it, here over 200 m (its middle lies where the plan changes), and a
loaded combination is taken through a curve at 0.14 g (assumed).

What rounding takes: a parabola of length L between two grades moves no height when it joins a slope to a level piece. Where a
climb meets a fall it cuts L (g1 - g2)/8 off the crest. Distance is measured along the road, so a grade of 6 % rises
6/sqrt(1 + 0.06^2) m in 100 m, 0.2 % less than 6 m.
"""

import csv
import itertools
import math
import re
import tomllib
from dataclasses import dataclass

import numpy as np
import pytest
from strangers import strangers

from sim import list_routes, load_route
from sim.roads.route import COLUMNS, catalogue_folder
from sim.units import STANDARD_GRAVITY, SYSTEMS

ROUNDING = 200.0  # m: length of a change of grade
STEEP = 0.05  # a fall steeper than this wants a sign
SIGN_AHEAD = 1500.0  # m: a sign stands at most so far before it
SIDE = 0.14  # g, assumed
STEP = 5.0  # m between the places where a profile is compared


@dataclass(frozen=True)
class Plan:
    """What is said of a road: km, m, %, km/h, s."""

    length: float
    start: float
    end: float
    climb: float
    descent: float
    sections: tuple[tuple[float, float], ...]  # km, %
    limits: tuple[tuple[float, float], ...]  # from km, km/h
    stops: tuple[tuple[float, float, float], ...] = ()  # km, least s, most s
    curves: tuple[tuple[float, float, float], ...] = ()  # from km, to km, m


SKARROW = ((1.0, 0), (1.0, -1), (7.0, -6), (1.2, -8), (0.8, -3), (4.0, -6), (1.15, -1), (0.85, 0))
OLLEN = ((2, 1), (5, 5), (2, 3), (1.5, 7), (0.5, 0), (3, -6.5), (4, -4), (4, -1), (2, -2))
WAVE_3 = ((1.0, 0), (0.8, 3), (0.4, 0), (0.8, -3), (1.0, 0))
WAVE_2 = ((1.0, 0), (1.2, 2), (0.4, 0), (1.2, -2), (0.2, 0))
WAVE_4 = ((1.0, 0), (0.6, 4), (0.4, 0), (0.6, -4), (1.4, 0))
STEPS = ((1.0, 0), (3.2, -2), (2.6, -2.68), (2.6, -3.53), (2.6, 0))
TOWN = ((1.5, 0), (0.6, 2), (0.6, -2), (1.6, 0), (0.3, 6), (0.3, 0), (0.3, -6), (2.2, 0), (0.8, 1), (0.8, -1))
TOWN_STOPS = (0.45, 1.0, 1.45, 2.1, 2.75, 3.3, 3.95, 4.45, 5.2, 5.75, 6.35, 7.0, 7.6, 8.4)
OLLEN_FROM = 44.0  # km along the round

PLANS = {
    "skarrow-grade": Plan(
        *(17, 1560, 760, 0, 800, SKARROW),
        limits=((0, 80), (2, 60), (9.95, 40), (10.2, 60), (16, 50)),
        stops=((0.8, 60, 60), (16.98, 1, 10)),
        curves=((9.95, 10.2, 90),),
    ),
    "ollen-pass": Plan(
        *(24, 760, 760, 435, 435, OLLEN),
        limits=((0, 80), (11, 60), (12.6, 50), (12.8, 60), (14, 80)),
        curves=((12.6, 12.8, 140),),
    ),
    "wendle-hills": Plan(40, 320, 320, 240, 240, WAVE_3 * 4 + WAVE_2 * 3 + WAVE_4 * 3, limits=((0, 90),)),
    "tovrin-steps": Plan(12, 760, 534.5, 0, 225.5, STEPS, limits=((0, 112),)),
    "ulmary-plain": Plan(60, 210, 210, 10, 10, ((20, 0.05), (20, 0), (20, -0.05)), limits=((0, 90),)),
    "ulmary-town": Plan(
        *(9, 210, 210, 38, 38, TOWN),
        limits=((0, 50), (3, 30), (3.6, 50)),
        stops=tuple((place, 10, 35) for place in TOWN_STOPS),
    ),
    "kessarin-round": Plan(
        *(98, 210, 210, 1030, 1030),
        sections=((6, 0), (10, 1.1), *(WAVE_3 * 2), (20, 2.2), *OLLEN, (20, -2.2), (10, -1.1)),
        limits=(
            *((0, 50), (6, 90), (24, 80), (43.4, 50), (44.4, 80)),
            *((OLLEN_FROM + 11, 60), (OLLEN_FROM + 12.6, 50), (OLLEN_FROM + 12.8, 60), (OLLEN_FROM + 14, 80)),
            *((88, 90), (97.7, 50)),
        ),
        stops=((1.2, 10, 35), (2.9, 10, 35), (4.7, 10, 35), (44.0, 10, 35)),
        curves=((OLLEN_FROM + 12.6, OLLEN_FROM + 12.8, 140),),
    ),
}
ROADS = sorted(PLANS)
NET_ZERO = [name for name in ROADS if PLANS[name].start == PLANS[name].end]

# heights the plan names along the way: km, m
HEIGHTS = {
    "skarrow-grade": ((1, 1560), (2, 1550), (9, 1130), (10.2, 1034), (11, 1010), (15, 770), (17, 760)),
    "ollen-pass": ((10.75, 1195),),
    "wendle-hills": tuple((2.0 + 4.0 * hill, 344) for hill in range(4)),
    "tovrin-steps": ((4.2, 695.7), (6.8, 625.9), (9.4, 534.5)),
    "ulmary-plain": ((20, 220), (40, 220)),
    "kessarin-round": ((6, 210), (16, 320), (24, 320), (44, 760), (54.75, 1195), (68, 760), (88, 320)),
}


def planned_grade(sections, place):
    """Mean grade of the plan over one rounding length around each place (m); beyond the ends the end grades go on."""
    ends = 1000.0 * np.cumsum([0.0, *(length for length, _ in sections)])
    grades = np.array([grade for _, grade in sections]) / 100.0
    far = 10.0 * ROUNDING
    corners = np.concatenate([[-far], ends[1:-1], [ends[-1] + far]])
    heights = np.concatenate([[0.0], np.cumsum(grades * np.diff(corners))])
    low, high = (np.interp(place + way * ROUNDING / 2.0, corners, heights) for way in (-1.0, 1.0))
    return (high - low) / ROUNDING


def planned_heights(name):
    """Rises and falls of the rounded plan along the road: places, heights over the start. [m]"""
    plan = PLANS[name]
    place = np.arange(0.0, 1000.0 * plan.length + STEP / 2.0, STEP)
    grade = planned_grade(plan.sections, (place[1:] + place[:-1]) / 2.0)
    return place, np.concatenate([[0.0], np.cumsum(STEP * grade / np.sqrt(1.0 + grade * grade))])


def steep_falls(road):
    """Where the road begins to fall more steeply than 5 %. [m]"""
    place = np.arange(0.0, road.length, STEP)
    steep = np.array([road.grade_at(float(at)) for at in place]) < -STEEP
    return [float(at) for at, now, before in zip(place, steep, [False, *steep[:-1]], strict=True) if now and not before]


def grade_changes(road):
    """Each change of grade in one direction: begin, length, grade before, grade after. [m, m, -, -]"""
    runs = itertools.groupby(range(len(road.distance) - 1), key=lambda point: np.sign(road.slope[point]))
    changes = []
    for way, points in runs:
        if way:
            points = list(points)
            first, last = points[0], points[-1] + 1
            length = float(road.distance[last] - road.distance[first])
            changes.append((float(road.distance[first]), length, float(road.grade[first]), float(road.grade[last])))
    return changes


def test_every_invented_road_has_a_plan_here():
    invented = [name for name in list_routes() if load_route(name).source.startswith("invented")]
    assert invented == ROADS


@pytest.mark.parametrize("name", ROADS)
def test_length_and_heights(name):
    road, plan = load_route(name), PLANS[name]
    assert road.length == pytest.approx(1000.0 * plan.length)
    assert road.length == pytest.approx(1000.0 * sum(length for length, _ in plan.sections))
    assert road.start_elevation == pytest.approx(plan.start)
    assert road.elevation_at(road.length) == pytest.approx(plan.end, abs=2.0)
    for place, height in HEIGHTS.get(name, ()):
        assert road.elevation_at(1000.0 * place) == pytest.approx(height, abs=3.0), place


@pytest.mark.parametrize("name", NET_ZERO)
def test_net_height_is_nought_where_the_title_says_so(name):
    road = load_route(name)
    assert "net height 0" in road.title
    assert abs(road.net_height) < 2.0


def test_a_road_that_ends_lower_does_not_call_itself_level():
    road = load_route("skarrow-grade")
    assert "net height" not in road.title
    assert road.net_height == pytest.approx(-800.0, abs=2.0)


@pytest.mark.parametrize("name", ROADS)
def test_climb_and_descent(name):
    """Against the rounded plan within 0.5 m, and against the stated sums within 2 % or what the crests lose.

    `ulmary-town` is the one road where the stated sum (38 m) is out of reach: two of its crests join a climb to a fall, and
    200 (0.02 + 0.02)/8 + 200 (0.01 + 0.01)/8 = 1.5 m come off. 36.5 m are right for it.
    """
    road, plan = load_route(name), PLANS[name]
    _, height = planned_heights(name)
    rises = np.diff(height)
    assert road.climb == pytest.approx(rises[rises > 0.0].sum(), abs=0.5)
    assert road.descent == pytest.approx(-rises[rises < 0.0].sum(), abs=2.0)
    crests = [first - last for _, _, first, last in grade_changes(road) if first > 0.0 > last]
    lost = ROUNDING * sum(crests) / 8.0
    for found, stated in ((road.climb, plan.climb), (road.descent, plan.descent)):
        assert found == pytest.approx(stated - lost, rel=0.02, abs=1.0)
    assert (lost > 0.1) == (name == "ulmary-town")


@pytest.mark.parametrize("name", ROADS)
def test_the_grade_is_the_plan_rounded_over_200_m_everywhere(name):
    road = load_route(name)
    place = np.arange(0.0, road.length + STEP / 2.0, STEP)
    found = np.array([road.grade_at(float(at)) for at in place])
    assert found == pytest.approx(planned_grade(PLANS[name].sections, place), abs=1e-5)


@pytest.mark.parametrize("name", ROADS)
def test_no_change_of_grade_is_sharper_than_200_m(name):
    """A change of d grade over 200 m changes it by at most d/200 m each metre. It holds for `ulmary-town` too."""
    road = load_route(name)
    changes = grade_changes(road)
    assert changes
    for begin, length, first, last in changes:
        assert length >= ROUNDING - 1e-6, begin
        inside = (road.distance[:-1] >= begin) & (road.distance[:-1] < begin + length)
        assert np.abs(road.slope[:-1][inside]).max() <= abs(last - first) / ROUNDING + 1e-9, begin


@pytest.mark.parametrize("name", ROADS)
def test_limits_stand_where_they_should(name):
    found = [(place.distance, place.value * 3.6) for place in load_route(name).limits]
    wanted = [(1000.0 * place, limit) for place, limit in PLANS[name].limits]
    assert len(found) == len(wanted)
    for have, want in zip(found, wanted, strict=True):
        assert have == pytest.approx(want, abs=1e-6)


@pytest.mark.parametrize("name", ROADS)
def test_stops(name):
    stops, wanted = load_route(name).stops, PLANS[name].stops
    assert len(stops) == len(wanted)
    for stop, (place, least, most) in zip(stops, wanted, strict=True):
        assert stop.distance == pytest.approx(1000.0 * place)
        assert least <= stop.value <= most


def test_the_town_has_a_hill_start_and_a_stop_at_the_foot_of_the_hill():
    road = load_route("ulmary-town")
    assert len(road.stops) == 14
    assert road.grade_at(4450.0) == pytest.approx(0.06)
    foot = [stop.distance for stop in road.stops if -STEEP < road.grade_at(stop.distance) <= -0.02]
    assert foot == [5200.0]
    assert road.grade_at(5100.0) == pytest.approx(-0.06) and road.grade_at(5300.0) == 0.0


@pytest.mark.parametrize("name", ROADS)
def test_curves_are_posted_for_a_loaded_combination(name):
    road, wanted = load_route(name), PLANS[name].curves
    found = [(place.distance, place.value) for place in road.curves]
    assert found == [
        entry for begin, end, radius in wanted for entry in ((1000.0 * begin, radius), (1000.0 * end, 0.0))
    ]
    for begin, end, radius in wanted:
        middle = 500.0 * (begin + end)
        limit = road.limit_at(middle)
        assert limit**2 / radius / STANDARD_GRAVITY == pytest.approx(SIDE, abs=0.001)
        assert road.curve_at(middle) == pytest.approx(limit, rel=0.005)
        assert road.curve_at(1000.0 * begin - 1.0) == road.curve_at(1000.0 * end + 1.0) == math.inf
        ahead = [sign for sign in road.signs if 0.0 < 1000.0 * begin - sign.distance <= 2000.0]
        assert any(f"curve {limit * 3.6:.0f}" in sign.text for sign in ahead)


def test_wind_of_the_plain():
    road = load_route("ulmary-plain")
    wind = {at: float(road.wind[np.searchsorted(road.distance, at, side="right") - 1]) for at in range(0, 60_000, 500)}
    assert {at for at, speed in wind.items() if speed == 6.0} == set(range(20_000, 40_000, 500))
    assert {speed for at, speed in wind.items() if not 20_000 <= at < 40_000} == {0.0}
    assert all(not load_route(name).wind.any() for name in ROADS if name != "ulmary-plain")


@pytest.mark.parametrize("name", ROADS)
def test_a_sign_with_the_grade_stands_before_every_steep_fall(name):
    """Its first number is the grade the road then reaches."""
    road = load_route(name)
    falls = steep_falls(road)
    assert bool(falls) == (road.steepest_descent < -STEEP)
    for fall in falls:
        ahead = [sign for sign in road.signs if "%" in sign.text and 0.0 <= fall - sign.distance <= SIGN_AHEAD]
        assert ahead, f"nothing warns of the fall at {fall:.0f} m"
        stated = float(re.search(r"([0-9.]+) %", ahead[-1].text)[1])
        reached = min(road.grade_at(fall + into) for into in np.arange(0.0, ROUNDING, STEP))
        assert reached == pytest.approx(-stated / 100.0, abs=1e-6), ahead[-1].text


def test_the_number_of_steep_falls():
    falls = {name: len(steep_falls(load_route(name))) for name in ROADS}
    once = {"ollen-pass": 1, "ulmary-town": 1, "kessarin-round": 1}
    assert falls == {"skarrow-grade": 2, "wendle-hills": 0, "ulmary-plain": 0, "tovrin-steps": 0, **once}


def test_the_pitch_of_8_percent_has_its_own_sign():
    """The fall of 6 % goes on into 8 %, so it is no new fall; it is announced at 8.0 km with the curve in it."""
    signs = [sign for sign in load_route("skarrow-grade").signs if "8 %" in sign.text]
    assert [sign.distance for sign in signs] == [8000.0]
    assert "curve 40" in signs[0].text


@pytest.mark.parametrize("name", ROADS)
def test_texts_and_marks(name):
    """Every column of numbers that the file fills has a mark, every mark says assumed and invented, no mark is idle."""
    path = catalogue_folder() / f"{name}.csv"
    road = load_route(name)
    assert road.title and road.title == road.title.strip() and len(road.title.splitlines()) == 1
    assert not [unit for units in SYSTEMS for unit in strangers(road.title, units)]
    assert all(sign.text == sign.text.strip() and len(sign.text.splitlines()) == 1 for sign in road.signs)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    filled = {column for row in rows for column, cell in row.items() if cell}
    assert filled <= set(COLUMNS)
    facts = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))
    numbers = (filled - {"distance_m", "sign"}) | {
        key for key, value in facts.items() if isinstance(value, int | float)
    }
    assert set(road.marks) == numbers
    for key, mark in road.marks.items():
        assert mark.startswith("assumed, invented"), key
    assert road.source.startswith("invented")
