"""Facts of a road against its own rows, sums by hand, and the published road."""

import csv
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from sim import list_routes, load_route
from sim.errors import RouteError
from sim.roads.facts import (
    curve_spans,
    grade_histogram,
    grade_of_rise,
    limit_spans,
    longest,
    part_of,
    slopes,
    steepest,
)
from sim.roads.route import catalogue_folder

EVERY_ROAD = list_routes()
OFFICIAL = "grade-profile-1037"


def sharp_road(tmp_path: Path, text: str, start: float = 500.0) -> str:
    path = tmp_path / "road.csv"
    path.write_text(text, encoding="utf-8")
    path.with_suffix(".toml").write_text(f"start_elevation_m = {start}\n", encoding="utf-8")
    return str(path)


# ---------------------------------------------------------------- grades by length


@pytest.mark.parametrize("road", EVERY_ROAD)
def test_the_histogram_sums_to_the_length(road):
    route = load_route(road)
    classes = grade_histogram(route)
    assert math.fsum(each.length for each in classes) == pytest.approx(route.length, rel=1e-12)
    assert all(each.length >= 0.0 for each in classes)
    for before, after in itertools.pairwise(classes):
        assert before.high == pytest.approx(after.low)


@pytest.mark.parametrize("road", EVERY_ROAD)
def test_the_histogram_is_what_a_fine_walk_along_the_road_counts(road):
    route = load_route(road)
    walked = route.grades_at((np.arange(200_000) + 0.5) * route.length / 200_000)
    for each in grade_histogram(route):
        counted = np.mean((walked >= each.low) & (walked < each.high)) * route.length
        assert each.length == pytest.approx(counted, abs=2e-3 * route.length)


def test_a_road_of_one_grade_stands_in_one_class():
    (only,) = grade_histogram(load_route("grade:-6%,10km,1100m"))
    assert (only.low, only.high) == pytest.approx((-0.065, -0.055))
    assert only.middle == pytest.approx(-0.06)
    assert only.length == 10_000.0


def test_the_published_profile_spends_as_much_length_uphill_as_downhill():
    """40 CFR part 1037, Appendix D: its second half mirrors the first, so climbs and descents have the same lengths."""
    classes = grade_histogram(load_route(OFFICIAL))
    assert [each.length for each in classes] == pytest.approx([each.length for each in classes][::-1], abs=1.0)


def published_rows() -> list[tuple[float, float]]:
    """Distance and grade in percent as printed."""
    with (catalogue_folder() / f"{OFFICIAL}.csv").open(encoding="utf-8", newline="") as file:
        return [(float(row["distance_m"]), float(row["grade_percent"])) for row in csv.DictReader(file)]


def test_steepest_and_totals_of_the_published_profile():
    """40 CFR part 1037, Appendix D (published): about 21.6 km between -5 and +5 %, level in sum."""
    route, rows = load_route(OFFICIAL), published_rows()
    printed = [grade for _, grade in rows]
    shortest = min(b[0] - a[0] for a, b in itertools.pairwise(rows))
    for downhill, extreme in ((True, min(printed)), (False, max(printed))):
        best = steepest(route, downhill, (0.01 * shortest, 1000.0))
        assert len(best) == 2
        assert 100.0 * best[0].grade == pytest.approx(extreme, rel=0.01)
        assert abs(best[1].grade) < abs(best[0].grade)
        assert abs(extreme) == pytest.approx(5.0, abs=0.02)
    # rise of each printed piece by the mean of its ends, small angle: an independent sum
    rises = [(b[0] - a[0]) * (a[1] + b[1]) / 200.0 for a, b in itertools.pairwise(rows)]
    assert route.climb == pytest.approx(sum(rise for rise in rises if rise > 0.0), rel=0.002)
    assert route.descent == pytest.approx(-sum(rise for rise in rises if rise < 0.0), rel=0.002)
    assert route.net_height == pytest.approx(0.0, abs=1.0)


# ---------------------------------------------------------------- climbs and descents


def test_climbs_and_descents_by_hand(tmp_path):
    """300 m at +5 %, level, 400 m at -3 % with a pitch of -8 %: rises by the sine of the heights given."""
    road = sharp_road(
        tmp_path, "distance_m,elevation_m\n0,500\n300,515\n500,515\n700,509\n800,501\n1000,495\n1200,495\n"
    )
    up, down = slopes(load_route(road))
    assert (up.begin, up.length, up.rise) == pytest.approx((0.0, 300.0, 15.0))
    assert (down.begin, down.length, down.rise) == pytest.approx((500.0, 500.0, -20.0))
    assert down.steepest == pytest.approx(-8.0 / math.sqrt(100.0**2 - 8.0**2))
    assert down.steepest_at == 700.0
    assert up.grade == pytest.approx(15.0 / math.sqrt(300.0**2 - 15.0**2))
    assert longest(load_route(road), downhill=True) == (down,)
    assert longest(load_route(road), downhill=False, count=1) == (up,)


def test_the_mountain_road_in_facts():
    """Sections of the road file: -6 % from 2 to 9 km, -8 % to 10.2 km, 800 m lost (its TOML says so)."""
    route = load_route("skarrow-grade")
    (down,) = longest(route, downhill=True)
    assert down.rise == pytest.approx(-798.0, abs=3.0)
    assert down.length == pytest.approx(15_000.0, abs=150.0)
    assert longest(route, downhill=False) == ()
    kilometre = next(each for each in steepest(route, downhill=True) if each.length == 1000.0)
    assert kilometre.grade == pytest.approx(-0.08, abs=1e-4)
    assert 9_000.0 <= kilometre.begin <= 9_200.0
    assert steepest(route, downhill=False) == ()


def test_the_steepest_stretch_is_found_wherever_it_ends(tmp_path):
    road = sharp_road(tmp_path, "distance_m,elevation_m\n0,500\n650,500\n710,494\n2000,494\n")
    (found,) = steepest(load_route(road), downhill=True, windows=(250.0, 5000.0))
    assert found.grade == pytest.approx(grade_of_rise(-6.0, 250.0))
    assert found.begin <= 650.0 and found.begin + 250.0 >= 710.0


def test_longer_stretches_are_never_steeper_than_the_whole_of_shorter_ones():
    for name in EVERY_ROAD:
        route = load_route(name)
        for downhill in (True, False):
            grades = [abs(each.grade) for each in steepest(route, downhill, (100.0, 200.0, 400.0, 800.0))]
            assert all(later <= earlier + 1e-6 for earlier, later in itertools.pairwise(grades)), name


# ---------------------------------------------------------------- limits, curves, parts


def test_limits_and_curves_cover_what_the_road_posts():
    route = load_route("skarrow-grade")
    spans = limit_spans(route)
    assert spans[0].begin == 0.0 and spans[-1].end == route.length
    for before, after in itertools.pairwise(spans):
        assert before.end == after.begin and before.value != after.value
    for span in spans:
        assert route.limit_at(0.5 * (span.begin + span.end)) == span.value
    (curve,) = curve_spans(route)
    assert (curve.begin, curve.end, curve.value) == (9950.0, 10200.0, 90.0)
    assert curve.speed == pytest.approx(math.sqrt(0.14 * 9.80665 * 90.0))  # v2 = a r
    assert curve_spans(load_route("ulmary-plain")) == ()


@pytest.mark.parametrize(
    ("begin", "end"), [(0.0, 17_000.0), (1975.0, 15_050.0), (9_960.0, 10_100.0), (3_333.3, 3_340.0)]
)
def test_a_part_of_a_road_is_that_part(begin, end):
    route = load_route("skarrow-grade")
    part = part_of(route, begin, end)
    assert part.length == pytest.approx(end - begin)
    for share in (0.0, 0.13, 0.5, 0.99):
        at = share * part.length
        assert part.elevation_at(at) == pytest.approx(route.elevation_at(begin + at), abs=1e-6)
        assert part.grade_at(at) == pytest.approx(route.grade_at(begin + at), abs=1e-9)
        assert part.limit_at(at) == route.limit_at(begin + at)
        assert part.curve_at(at) == route.curve_at(begin + at)


def test_a_part_that_is_not_on_the_road_is_refused():
    with pytest.raises(RouteError, match="no part from 5000 to 4000 m; give one within 0 to 17000 m"):
        part_of(load_route("skarrow-grade"), 5000.0, 4000.0)
