"""What is foreseen is driven: where it is foreseen it must be seen, where it is not it must not.

Every trip of every shipped setting is driven, and a few more for what no shipped setting does.
"""

from functools import cache
from itertools import groupby

import numpy as np
import pytest

from sim import compare_trips
from sim.actors.cruise import highest_set_speed
from sim.inputs.files import list_settings, load_settings_file
from sim.inputs.one_trip import read_inputs
from sim.roads.falls import FALLING
from sim.trips.compare import read_vary
from sim.trips.pool import drive
from sim.trips.warnings_before import MUCH_OF_THE_ROAD
from sim.units import KILOMETRE_PER_HOUR
from sim.wording import kinds_in

NOTICED = 5.0 * KILOMETRE_PER_HOUR  # so much faster than said, or a snub, is a truck that was not held
NOTED = 1.0 * KILOMETRE_PER_HOUR  # a speed that differs by less is the same
SLIPPED_S = 0.3
SEVENTH = ("start.speed_km_h=44", "drill.hold_gear=7", "drill.service_brakes=false")
OTHERS = {
    "too slow for set": ("grade:0%,2km", "long-haul-manual", ("cruise.set_speed_km_h=75", "drill.hold_gear=10")),
    "one gear lower": ("grade:0%,2km", "long-haul-manual", ("cruise.set_speed_km_h=75", "drill.hold_gear=9")),
    "49": ("grade:-6%,7km,1550m", "long-haul-manual", (*SEVENTH, "cruise.set_speed_km_h=49")),
    "50": ("grade:-6%,7km,1550m", "long-haul-manual", (*SEVENTH, "cruise.set_speed_km_h=50")),
    "wet": ("skarrow-grade", "long-haul-empty", ("weather.grip=0.15", "driver.descent_gear=7")),
    "cold": (
        "grade:-5%,1km,700m",
        "long-haul-manual",
        ("start.oil_temperature_c=5", "start.speed_km_h=40", "drill.hold_gear=7"),
    ),
    "no check": ("grade:0%,2km", "long-haul-manual", ("cruise.set_speed_km_h=80", "cruise.key_on_check=false")),
    "switch off": ("grade:-3%,2km,700m", "long-haul-manual", ("cruise.set_speed_km_h=70", "retarding.switch=false")),
    "soft": (
        "wendle-hills",
        "long-haul-manual",
        (
            "cruise.set_speed_km_h=80",
            "cruise.none_above_km_h=8",
            "cruise.stage_1_over_km_h=1",
            "cruise.stage_drop_km_h=0.8",
        ),
    ),
    "bounded": ("grade:0%,4km", "long-haul-manual", ("cruise.set_speed_km_h=88", "cruise.most_km_h=84")),
    "posted": ("grade:0%,4km,90km/h", "long-haul-manual", ("cruise.set_speed_km_h=100",)),
    "out of gear": ("grade:-3%,2km,700m", "long-haul-manual", ("drill.neutral=true",)),
    "beyond": ("grade:0%,1km", "long-haul-manual", ('faults.occur=["2 km boost pressure open"]',)),
}


def refused(result, kind):
    """Whether a button of cruise control did nothing for a reason."""
    events = [event for event in result.events if event["event"] == "cruise_refused"]
    return any(kind in kinds_in(event["cause"]) for event in events)


def not_held(result):
    """Whether the brakes were needed on a descent, or the truck ran much faster than governed speed or the posted limit allow."""
    braked = any(
        event["event"] == "brakes_applied"
        and event["cause"]["kind"] == "cause.brakes_for_descent"
        and result.route.grade_at(event["distance_m"]) < FALLING
        for event in result.events
    )
    share, trace = result.settings.driver.speed_limit_share, result.trace
    faster = trace["speed_m_s"] - [share * result.route.limit_at(place) for place in trace["distance_m"]] > NOTICED
    return (
        braked or result.summary["ended"] == "runaway" or result.summary["time_over_governed_s"] > 5.0 or faster.any()
    )


def oil_refuses(result):
    """Whether the engine brake was kept off by cold oil."""
    return any("cause.oil_too_cold" in kinds_in(event["cause"]) for event in result.events if event["cause"])


def held_speed(result):
    """Highest speed cruise control held. [m/s]"""
    return result.trace["set_speed_m_s"].max()


def wanted_speed(result):
    """Speed the driver wants cruise control to hold. [m/s]"""
    return result.settings.cruise.si("set_speed_km_h")


def calls_in_vain(result):
    """Whether cruise control held a speed and was to call the engine brake, whose switch stayed off."""
    cruise = result.settings.cruise
    off = result.trace["believed_engine_brake_switch"].max() == 0.0
    return cruise.with_engine_brake and wanted_speed(result) > 0.0 and held_speed(result) > 0.0 and off


def fuels_while_it_calls(result):
    """Whether cruise control asked for fuel while it called a stage."""
    trace = result.trace
    return bool(((trace["cruise_stage"] > 0.0) & (trace["cruise_demand_percent"] > 0.0)).any())


def bounded_by_the_program(result):
    """Whether cruise control held the highest speed that can be set, below the one wanted."""
    highest = highest_set_speed(result.settings)
    return wanted_speed(result) > highest + NOTED and 0.0 < held_speed(result) <= highest


def keeps_to_the_limit(result):
    """Whether the driver aimed at less than the speed wanted, for the posted limit, on much of the road."""
    trace, wanted = result.trace, wanted_speed(result)
    posted = trace["speed_limit_m_s"]
    kept = np.where(posted > 0.0, posted * result.settings.driver.speed_limit_share, np.inf)
    lower = (kept < wanted - NOTED) & (trace["target_speed_m_s"] < wanted - NOTED)
    return wanted > 0.0 and float(lower.mean()) >= MUCH_OF_THE_ROAD


def rolls_free(result):
    """Whether the truck rolled down without a gear for longer than a shift."""
    trace = result.trace
    free = (trace["gear"] == 0.0) & (trace["grade_percent"] < -1.5) & (trace["speed_m_s"] > 5.0)
    longest = max((sum(1 for _ in rows) for is_free, rows in groupby(free) if is_free), default=0)
    return longest * result.settings.simulation.log_s > 8.0


def comes_to_nothing(result):
    """Whether a failure or a dialled value never happened."""
    asked = len(result.settings.faults.occur) + len(result.settings.circuits.dialled)
    return asked > sum(event["event"] in ("fault_occurred", "mended", "value_dialled") for event in result.events)


SEEN = {
    "foreseen.engine_brake_switch_off": calls_in_vain,
    "foreseen.still_fuelled": fuels_while_it_calls,
    "foreseen.above_programmed_limit": bounded_by_the_program,
    "foreseen.above_posted_limit": keeps_to_the_limit,
    "foreseen.rolls_out_of_gear": rolls_free,
    "foreseen.beyond_the_road": comes_to_nothing,
    "foreseen.overspeeds_before_the_stage": lambda result: (
        result.settings.cruise.set_speed_km_h > 0.0
        and result.summary["time_over_governed_s"] > 0.0
        and result.summary["engine_brake_stage_time_s"]["3"] > 0.0
    ),
    "foreseen.too_slow_for_set": lambda result: refused(result, "cause.needs_speed_and_rpm"),
    "foreseen.key_on_check": lambda result: refused(result, "cause.key_on_check"),
    "foreseen.wheels_will_slip": lambda result: result.summary["time_wheel_slip_s"] > SLIPPED_S,
    "foreseen.oil_too_cold": oil_refuses,
    "foreseen.starts_too_fast": lambda result: result.trace["engine_speed_rpm"][0] > result.truck.engine.governed_rpm,
}


@cache
def shipped(name):
    """The trips of a shipped settings file."""
    file = load_settings_file(name)
    if not file.vary:
        return (drive(read_inputs(settings=name)),)
    vary = read_vary(file.vary)
    return compare_trips(vary, file.road, file.truck, None if "settings" in vary else name).results


@cache
def other(name):
    road, truck, changes = OTHERS[name]
    return (drive(read_inputs(road, truck, changes=changes)),)


TRIPS = [(shipped, name) for name in list_settings()] + [(other, name) for name in OTHERS]


@pytest.mark.parametrize(("trips", "name"), TRIPS)
@pytest.mark.parametrize("kind", SEEN)
def test_it_is_seen_where_it_is_foreseen_and_nowhere_else(trips, name, kind):
    for result in trips(name):
        foreseen = kind in kinds_in(result.summary["foreseen"])
        assert SEEN[kind](result) == foreseen, (name, result.summary["foreseen"])


@pytest.mark.parametrize(("trips", "name"), TRIPS)
def test_a_truck_that_will_not_be_held_is_not_held(trips, name):
    """A careless driver is foreseen by a finding of his own; one who shifts down on the grade brakes for his gear."""
    for result in trips(name):
        kinds = kinds_in(result.summary["foreseen"])
        foreseen = bool(kinds & {"foreseen.does_not_hold", "foreseen.careless", "foreseen.overspeeds_before_the_stage"})
        if foreseen or name not in ("lesson-downshift", "wet", "cold", "switch off", "out of gear"):
            assert not_held(result) == foreseen, (name, result.summary["foreseen"])


def test_each_kind_is_foreseen_somewhere():
    """So that nothing above holds by saying nothing."""
    kinds = [kinds_in(result.summary["foreseen"]) for trips, name in TRIPS for result in trips(name)]
    wanted = set(SEEN) - {"foreseen.starts_too_fast"} | {"foreseen.does_not_hold"}
    assert wanted <= set().union(*kinds)


def test_the_way_in_which_it_gains_is_driven(trip, at):
    """Stage 1 in 7th on 6 %: from the speed said to 10 km/h more."""
    result = trip("long-haul-manual", "grade:-6%,4km,1250m", "start.speed_km_h=50", "drill.hold_gear=7", "drill.hold_stage=1",
                  "drill.service_brakes=false")  # fmt: skip
    (found,) = result.summary["foreseen"]
    speed, more, taken = (found["values"][name] for name in ("speed", "more", "taken"))
    places = [at(result, "speed_m_s", each, "distance_m") for each in (speed, speed + more)]
    assert places[1] - places[0] == pytest.approx(taken, rel=0.25)
