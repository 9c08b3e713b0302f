"""A quantity that is no finite number stops the run, whichever it is, and is named with the time, the place and the last event."""

import itertools
import math
import re

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.dyno.stand import Stand
from sim.errors import RunError
from sim.march.clock import Clock
from sim.march.records import MEMORY_SIZE, PARAMETERS, RECORDS, field_place
from sim.trips import trip

FIELDS = tuple(itertools.chain(*RECORDS.values()))
NO_NUMBERS = (math.nan, math.inf, -math.inf)


def words(field):
    """How a quantity is named in a message."""
    return f"{field.name.replace('_', ' ')} ({field.meaning})"


@pytest.fixture(scope="module")
def rolling(parked):
    """A truck in the middle of its road, with something in its event log."""
    clock = parked("grade:-2%,50km,900m", "start.speed_km_h=60")
    clock.record("half_way", "a test looks in")
    clock.run(until=1000)
    return clock


@pytest.fixture(scope="module")
def turning():
    """An engine on the dyno, at work."""
    stand = Stand(load_truck("long-haul-manual").truck, load_settings())
    stand.pedal(1.0)
    stand.hold(1500.0, 100.0)
    stand.run(5.0)
    return stand.clock


def refused(clock: Clock, place: int, value: float) -> str:
    """What the clock says of a value forced into one field; the truck is put back as it was."""
    block, before, now = clock.rig.memory.block, clock.rig.memory.block.copy(), int(clock.now)
    block[place] = value
    try:
        with pytest.raises(RunError) as caught:
            clock.run(until=now + 30)
    finally:
        block[:] = before
    assert clock.now == now, "time goes on"
    return str(caught.value)


def test_the_block_holds_the_fields_in_their_order():
    assert len(FIELDS) == MEMORY_SIZE


@pytest.mark.parametrize("record", RECORDS)
@pytest.mark.parametrize("value", NO_NUMBERS)
def test_each_field_of_a_trip_is_refused_by_name(rolling, record, value):
    for field in RECORDS[record]:
        place = field_place(f"{record}.{field.name}")
        message = refused(rolling, place, value)
        assert f": {words(FIELDS[place])} became infinite or not a number" in message
        assert message.startswith("run stopped at 10.00 s, ") and "Last event: half_way." in message


@pytest.mark.parametrize("record", RECORDS)
@pytest.mark.parametrize("value", NO_NUMBERS)
def test_each_field_of_a_dyno_run_is_refused_by_name(turning, record, value):
    for field in RECORDS[record]:
        place = field_place(f"{record}.{field.name}")
        assert f": {words(FIELDS[place])} became infinite or not a number" in refused(turning, place, value)


def test_the_truck_itself_was_not_harmed(rolling):
    rolling.run(until=1100)
    assert np.isfinite(rolling.rig.memory.block).all() and rolling.true("speed") > 10.0


def test_a_quantity_that_leaves_the_numbers_on_the_way_is_named_for_its_own_tick(parked):
    """The kernel looks only now and then; the message still says the tick, and the quantity that went first."""
    clock = parked("grade:0%,50km", "start.speed_km_h=60")
    clock.run(until=100)
    clock.state["coolant_heat"] = 1.79e308  # the next heat that is shed goes over the largest number there is
    clock.rig.parameters["radiator_closed"] = 1.0e306
    with np.errstate(all="ignore"), pytest.raises(RunError) as caught:
        clock.run(until=400)
    found = re.match(r"run stopped at (\d+\.\d+) s, .*: (.*) became infinite or not a number", str(caught.value))
    assert float(found[1]) == pytest.approx(1.09), "one tick before the next slow step"
    assert found[2].startswith("coolant heat") or "coolant heat" in found[2]


@pytest.mark.parametrize("field", PARAMETERS, ids=[field.name for field in PARAMETERS])
def test_a_truck_with_a_parameter_that_is_no_number_does_not_begin(parked, field):
    rig = parked().rig
    rig.parameters[field.name] = math.nan
    with pytest.raises(RunError) as caught:
        Clock(rig, 50)
    assert (
        f"run stopped at 0.00 s, 0.00 km: {words(field)} became infinite or not a number. Last event: the start"
        in str(caught.value)
    )


@pytest.mark.parametrize("name", ["mass", "axle_drag", "oil_capacity", "fuel_delivery", "brake_lag_drive"])
def test_a_parameter_that_a_fault_spoils_is_named_and_not_what_it_spoils(parked, name):
    clock = parked("grade:0%,50km", "start.speed_km_h=60")
    clock.mean(brake_mode=4.0, brake_pressure=1e5)
    clock.rig.parameters[name] = math.nan
    with pytest.raises(RunError, match=f": {name.replace('_', ' ')} .* became infinite or not a number"):
        clock.run(until=40)


@pytest.mark.parametrize("field", ["oil_temperature", "coolant_temperature", "fuel_mass", "engine_friction"])
def test_a_trip_with_no_number_in_it_never_arrives(monkeypatch, field):
    begin = Clock.load_kernel

    def spoilt(clock):
        begin(clock)
        clock.state[field] = math.nan

    monkeypatch.setattr(Clock, "load_kernel", spoilt)
    with pytest.raises(RunError, match=f"{field.replace('_', ' ')} .* became infinite or not a number"):
        run_trip("long-haul-manual", "grade:0%,1km")


@pytest.mark.parametrize(
    ("spoil", "key"),
    [
        (lambda summary: summary["energy"].update(residual_fraction=math.nan), "energy.residual_fraction"),
        (lambda summary: summary.update(fuel_kg=math.inf), "fuel_kg"),
        (lambda summary: summary.update(codes_seen=[{"count": math.nan}]), "codes_seen.count"),
    ],
)
def test_a_summary_with_no_number_in_it_is_no_result(monkeypatch, spoil, key):
    whole = trip.summarise

    def spoilt(*given):
        summary = whole(*given)
        spoil(summary)
        return summary

    monkeypatch.setattr(trip, "summarise", spoilt)
    with pytest.raises(RunError, match=f"ended as arrived, but {key} of its summary is infinite or not a number"):
        run_trip("long-haul-manual", load_route("grade:0%,1km"))
