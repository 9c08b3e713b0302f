"""What is foreseen is driven: where it is foreseen it must be seen, where it is not it must not.

Every trip of every shipped setting is driven, and a few more for what no shipped setting does.
"""

from functools import cache

import pytest

from sim import compare_trips
from sim.inputs.files import list_settings, load_settings_file
from sim.inputs.one_trip import read_inputs
from sim.roads.falls import FALLING
from sim.trips.compare import read_vary
from sim.trips.pool import drive
from sim.units import KILOMETRE_PER_HOUR
from sim.wording import kinds_in

NOTICED = 5.0 * KILOMETRE_PER_HOUR  # so much faster than said, or a snub, is a truck that was not held
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
    share = result.settings.driver.speed_limit_share
    trace = result.trace
    faster = trace["speed_m_s"] - trace["speed_limit_m_s"] * share > NOTICED
    return (
        braked or result.summary["ended"] == "runaway" or result.summary["time_over_governed_s"] > 5.0 or faster.any()
    )


def oil_refuses(result):
    """Whether the engine brake was kept off by cold oil."""
    return any("cause.oil_too_cold" in kinds_in(event["cause"]) for event in result.events if event["cause"])


SEEN = {
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
        if foreseen or name not in ("lesson-downshift", "wet", "cold"):
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
