"""Cruise at 60 mi/h down Tovrin Steps: one, two, three pairs of cylinders, each on the grade that asks for it.

What is expected comes from sums by hand (`quasi_static`), not from a trip: a stage holds where weight and resistances balance
between the speed at which it goes out and the one at which the next comes in.
"""

import re

import numpy as np
import pytest
from quasi_static import Sums
from scipy.optimize import brentq

from sim import load_route, load_settings_file
from sim.inputs.one_trip import read_inputs
from sim.roads.route import catalogue_folder
from sim.seat.stalk import FREE_ROLLING
from sim.trips.pool import drive
from sim.units import KILOMETRE_PER_HOUR

SIXTY = 60.0 * 1.609344  # km/h
TOP_GEAR = 10
STEPS = {1: (1100.0, 4100.0), 2: (4300.0, 6700.0), 3: (6900.0, 9300.0)}  # m, where each grade is whole
LONG_ENOUGH = 30.0  # s to see a stage hold, between the one below and the end of its step


@pytest.fixture(scope="module")
def trip():
    return drive(read_inputs(settings="cruise-at-sixty"))


def changes_of(trip):
    """Stage changes: place and new stage."""
    return [(event["distance_m"], event["value"]) for event in trip.events if event["event"] == "stage_changed"]


def bounds(stage):
    """Speeds between which a stage holds alone, from the settings as shipped. [km/h]"""
    cruise, driver = load_settings_file("cruise-at-sixty").settings.cruise, load_settings_file().settings.driver
    comes_in = (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h)
    goes_out = max(comes_in[stage - 1] - cruise.stage_drop_km_h, cruise.none_above_km_h)
    patience = comes_in[2] + driver.overspeed_km_h + FREE_ROLLING / KILOMETRE_PER_HOUR
    return SIXTY + goes_out, SIXTY + (comes_in[stage] if stage < 3 else patience)


def balanced_grade(stage, speed, height):
    """The fall on which a stage neither gains nor loses, by the sums. [-]"""
    sums = Sums("long-haul-manual", 760.0)
    return brentq(lambda fall: sums.push(speed * KILOMETRE_PER_HOUR, TOP_GEAR, stage, height, -fall), 0.0, 0.2)


@pytest.mark.parametrize("stage", STEPS)
def test_the_grade_of_each_step_is_held_by_its_stage_and_by_no_other(stage):
    road = load_route("tovrin-steps")
    middle = sum(STEPS[stage]) / 2.0
    height, fall = road.elevation_at(middle), -road.grade_at(middle)
    low, high = (balanced_grade(stage, speed, height) for speed in bounds(stage))
    assert low < fall < high
    if stage < 3:
        assert balanced_grade(stage + 1, bounds(stage + 1)[0], height) > high + 0.003, "the next stage would lose speed"
    assert balanced_grade(stage - 1, bounds(stage)[0], height) < low - 0.003, "the stage below would gain speed"


def test_the_sums_beside_the_road_are_right():
    """The table in the head of the road's file against the sums, term by term."""
    text = (catalogue_folder() / "tovrin-steps.toml").read_text(encoding="utf-8")
    rows = [[float(cell) for cell in line.split()] for line in re.findall(r"^# ([123](?: +[0-9.]+){6})$", text, re.M)]
    assert len(rows) == 6
    sums = Sums("long-haul-manual", 760.0)
    edges = (edge for stage in STEPS for edge in bounds(stage))
    for (stage, height, speed, rolling, air, engine, grade), edge in zip(rows, edges, strict=True):
        road_speed = speed * KILOMETRE_PER_HOUR
        assert speed == pytest.approx(edge, abs=0.06)
        without_air = sums.resistance(road_speed, height, 0.0, wind=-road_speed)
        assert rolling == pytest.approx(without_air / 1000.0, abs=0.006)
        assert air == pytest.approx((sums.resistance(road_speed, height, 0.0) - without_air) / 1000.0, abs=0.006)
        held = sums.held_by_engine(road_speed, TOP_GEAR, int(stage), height)
        assert engine == pytest.approx(held / 1000.0, abs=0.006)
        assert grade == pytest.approx(100.0 * balanced_grade(int(stage), speed, height), abs=0.006)


def test_one_two_three_pairs_in_turn_and_let_go_in_order(trip):
    places, stages = zip(*changes_of(trip), strict=True)
    assert stages == (1, 2, 3, 2, 1, 0)
    for (begin, end), place in zip(STEPS.values(), places[:3], strict=True):
        assert begin - 100.0 < place < end, "each comes in on its own step"
    assert min(places[3:]) > STEPS[3][1], "all are let go beyond the last step"


@pytest.mark.parametrize("stage", STEPS)
def test_each_stage_holds_the_truck_long_enough_to_be_seen(trip, stage):
    """From where the stage is on to the end of its step: the speed stays between the bounds, cruise still holds."""
    trace, (_, end) = trip.trace, STEPS[stage]
    came_in = dict(reversed([(value, place) for place, value in changes_of(trip)]))[stage]
    there = (trace["distance_m"] > came_in + 10.0) & (trace["distance_m"] < end)
    assert np.ptp(trace["time_s"][there]) > LONG_ENOUGH
    assert set(trace["brake_stage"][there]) == {stage} and set(trace["active_cylinders"][there]) == {2 * stage}
    low, high = bounds(stage)
    speed = trace["speed_m_s"][there] / KILOMETRE_PER_HOUR
    assert low < speed.min() and speed.max() < high
    assert abs(speed[-1] - speed[-40]) < 0.5, "settled"


def test_a_stage_comes_in_at_the_speed_that_is_programmed(trip, at):
    cruise = load_settings_file("cruise-at-sixty").settings.cruise
    for (place, _), over in zip(
        changes_of(trip)[:3],
        (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h),
        strict=True,
    ):
        speed = at(trip, "distance_m", place, "speed_m_s") / KILOMETRE_PER_HOUR
        assert speed == pytest.approx(SIXTY + over, abs=0.2)


def test_cruise_is_set_at_sixty_to_a_tenth_and_ends_there(trip):
    sets = [event for event in trip.events if event["event"].startswith("cruise")]
    assert [event["event"] for event in sets] == ["cruise_set"]
    assert sets[0]["value"] / KILOMETRE_PER_HOUR == pytest.approx(SIXTY, abs=0.1)
    assert trip.trace["speed_m_s"][-1] / KILOMETRE_PER_HOUR == pytest.approx(SIXTY, abs=0.5)


def test_nothing_is_amiss(trip):
    summary = trip.summary
    assert (summary["ended"], summary["warnings"], summary["explanations"], summary["foreseen"]) == (
        "arrived", [], [], []
    )  # fmt: skip
    assert summary["service_brake_applications"] == 0 and summary["gear_shifts"] == 0
    assert 6.0 < summary["time_s"] / 60.0 < 10.0
    assert summary["time_over_limit_s"] == 0.0 and trip.route.limits[0].value / KILOMETRE_PER_HOUR == pytest.approx(112)
