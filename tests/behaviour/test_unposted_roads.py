"""Roads that post no limit: what the driver goes by, and that what looks for a limit copes without one."""

import math
from pathlib import Path

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.actors.brake_log import purpose
from sim.charts.descent_speed import descent_speeds
from sim.charts.safe_speed import safe_descent_speed
from sim.errors import RouteError
from sim.roads.facts import limit_spans, part_of
from sim.trips.cost import expected_time
from sim.units import KILOMETRE_PER_HOUR, MILE_PER_HOUR
from sim.wording import kinds_in

T1 = "long-haul-manual"
AT_65 = "cruise.set_speed_km_h=65mph"


@pytest.mark.parametrize(
    ("road", "changes", "speed"),
    [
        ("grade:0%,10km", (AT_65,), 65.0 * MILE_PER_HOUR),
        ("grade:0%,10km", (), 90.0 * KILOMETRE_PER_HOUR),
        ("grade:0%,10km", ("driver.desired_speed_km_h=70", "driver.speed_limit_share=0.5"), 70.0 * KILOMETRE_PER_HOUR),
        ("grade:0%,10km,100m,80km/h", (AT_65,), 80.0 * KILOMETRE_PER_HOUR),
        ("grade:0%,10km,50mph", ("driver.desired_speed_km_h=70",), 50.0 * MILE_PER_HOUR),
    ],
)
def test_the_driver_goes_by_a_posted_limit_or_the_set_speed_or_his_own(trip, road, changes, speed):
    summary = trip(T1, road, *changes).summary
    assert summary["mean_speed_m_s"] == pytest.approx(speed, rel=2e-3)
    assert summary["time_s"] == pytest.approx(
        expected_time(load_truck(T1).truck, load_route(road), load_settings(None, list(changes))), rel=0.05
    )


def test_nothing_is_over_a_limit_that_is_not_there(trip):
    result = trip(T1, "grade:0%,4km", AT_65)
    assert result.summary["time_over_limit_s"] == 0.0
    assert np.all(result.trace["speed_limit_m_s"] == 0.0)
    assert result.route.limit_at(1000.0) == math.inf
    assert limit_spans(result.route) == () and part_of(result.route, 100.0, 900.0).limits == ()
    assert "foreseen.above_posted_limit" not in kinds_in(result.summary["foreseen"])


def test_a_csv_without_limits_posts_none_and_one_limit_holds_from_the_start(in_an_empty_folder):
    Path("bare.csv").write_text("distance_m,grade_percent\n0,0\n2000,0\n", encoding="utf-8")
    Path("later.csv").write_text(
        "distance_m,grade_percent,speed_limit_km_h\n0,0,\n500,0,60\n2000,0,\n", encoding="utf-8"
    )
    assert load_route("bare.csv").limits == ()
    assert load_route("later.csv").limit_at(0.0) == pytest.approx(60.0 / 3.6)


def test_a_start_in_a_bend_is_no_faster_than_the_bend(in_an_empty_folder):
    Path("bend.csv").write_text("distance_m,grade_percent,curve_radius_m\n0,0,80\n200,0,0\n900,0,\n", encoding="utf-8")
    road = load_route("bend.csv")
    result = run_trip(load_truck(T1).truck, road, load_settings())
    assert result.trace["speed_m_s"][0] == pytest.approx(road.curve_at(0.0), abs=0.1)


@pytest.mark.parametrize("limit", ["4km/h", "140km/h"])
def test_a_limit_out_of_range_is_refused(limit):
    with pytest.raises(RouteError, match=r"limit is .* km/h; allowed is 5 to 130 km/h"):
        load_route(f"grade:0%,10km,{limit}")


def test_descents_are_advised_where_nothing_is_posted():
    road = load_route("grade:-6%,6km,1100m")
    (down,) = descent_speeds(load_truck(T1).truck, load_settings(None, ["driver.desired_speed_km_h=70"]), road)
    assert (down.cap, down.cap_name) == (pytest.approx(70.0 / 3.6), "the driver's own speed")
    assert safe_descent_speed(load_truck(T1).truck, load_route("grade:-6%,1km,1500m")).cap == "end of the model's range"


def test_brakes_before_a_bend_are_for_the_bend(in_an_empty_folder):
    """A radius is no speed: 60 m are taken at 9 m/s, so at 15 m/s the brakes are for the bend, and past it for a descent."""
    Path("bend.csv").write_text(
        "distance_m,grade_percent,curve_radius_m\n0,0,0\n500,0,60\n600,0,0\n900,0,\n", encoding="utf-8"
    )
    road = load_route("bend.csv")
    assert purpose(road, 450.0, 15.0) == "limit_or_curve"
    assert purpose(road, 550.0, 9.0) == "descent"


def test_a_bend_before_a_crest_holds_until_its_end(in_an_empty_folder):
    """The speed at which the gear for the descent goes in is higher than the bend allows."""
    Path("crest.csv").write_text(
        "distance_m,grade_percent,curve_radius_m\n0,8,0\n1500,8,0\n1600,4,60\n1700,0,\n1900,-2,\n2000,-6,0\n3500,-7,\n",
        encoding="utf-8",
    )
    road = load_route("crest.csv")
    result = run_trip(load_truck(T1).truck, road, load_settings())
    distance, speed = result.trace["distance_m"], result.trace["speed_m_s"]
    assert speed[(distance > 1610.0) & (distance < 1990.0)].max() < road.curve_at(1800.0) + 0.5
