"""Each fault bends the curve its own way (cause in, symptom out), and any two can be told apart by something measured."""

import itertools

import numpy as np
import pytest

from sim import FAULTS, load_route, load_settings, load_truck, run_trip
from sim.errors import SettingsError
from sim.inputs.specs import Condition, Truck, keys_of
from sim.units import REVOLUTION_PER_MINUTE

T1 = "long-haul-manual"
TRUCKS = [T1, "long-haul-automated", "dump-three-axle", "older-long-haul"]
WORTH = 1.5  # %, a deviation a student can see


def seen(dyno, fault, truck=T1):
    """Everything a student can measure about an engine, each as a word: how it stands against the sound one."""
    points, sound = dyno(fault=fault, truck=truck).points, dyno(truck=truck).points

    def word(value, least):
        return "low" if value < -least else "high" if value > least else "as it was"

    def change(name, rpm):
        row = int(np.flatnonzero(sound["engine_speed_rpm"] == rpm)[0])
        before, now = sound[name][row], points[name][row]
        return -100.0 if np.isnan(now) else 100.0 * (now / before - 1.0) if before else now

    governor = dyno(fault=fault, truck=truck, test="governor").summary
    motoring = dyno(fault=fault, truck=truck, test="motoring").summary
    plain = dyno(truck=truck, test="motoring").summary
    dead = dyno(fault=fault, truck=truck, test="cylinders").summary["dead_cylinders"]
    told = points["load_percent"][points["engine_speed_rpm"] == 1200.0][0]
    return {
        "torque at 1000 rpm": word(change("engine_torque_n_m", 1000.0), WORTH),
        "torque at 1800 rpm": word(change("engine_torque_n_m", 1800.0), WORTH),
        "fuel per power at 1600 rpm": word(change("bsfc_g_kwh", 1600.0), 1.5),
        "boost at 1000 rpm": word(change("boost_kpa", 1000.0), 5.0),
        "load told at 1200 rpm": "full" if told > 98.0 else "less",
        "filter gauge": word(points["intake_depression_kpa"][points["engine_speed_rpm"] == 1500.0][0], 0.5),
        "exhaust gauge": word(points["back_pressure_kpa"][points["engine_speed_rpm"] == 1500.0][0], 0.5),
        "high idle": word(governor["high_idle_rpm"] - governor["truck_high_idle_rpm"], 50.0),
        "overshoot": word(governor["highest_rpm"] - governor["settled_rpm"], 20.0),
        "motoring torque": word(100.0 * (motoring["highest_torque_n_m"] / plain["highest_torque_n_m"] - 1.0), 2.0),
        "dead cylinders": str(dead),
    }


EXPECTED = {
    "restricted-air": {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "low", "filter gauge": "high"},
    "boost-leak": {"torque at 1000 rpm": "low", "boost at 1000 rpm": "low", "filter gauge": "as it was"},
    "low-fuel": {"torque at 1000 rpm": "low", "torque at 1800 rpm": "low", "load told at 1200 rpm": "full", "dead cylinders": "[]"},
    "early-governor": {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "low", "high idle": "low"},
    "sluggish-governor": {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "as it was", "overshoot": "high"},
    "high-back-pressure": {"fuel per power at 1600 rpm": "high", "exhaust gauge": "high", "motoring torque": "high"},
    "cylinder-out": {"torque at 1000 rpm": "low", "torque at 1800 rpm": "low", "dead cylinders": "[4]"},
}  # fmt: skip


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_cause_in_symptom_out(dyno, fault):
    found = seen(dyno, fault)
    for what, word in EXPECTED[fault].items():
        assert found[what] == word, (what, found)


@pytest.mark.parametrize("truck", TRUCKS)
def test_any_two_engines_can_be_told_apart_by_some_measurement(dyno, truck):
    """The sound one among them."""
    all_seen = {fault: seen(dyno, fault, truck) for fault in ("", *FAULTS)}
    for one, other in itertools.combinations(all_seen, 2):
        assert all_seen[one] != all_seen[other], (one, other, all_seen[one])


def test_the_curve_of_a_leak_leans_the_other_way_than_that_of_a_blocked_filter(dyno):
    """Low at low speed: boost leak; low at high speed: restriction (common practice, no source)."""
    for truck in TRUCKS:
        lean = {}
        for fault in ("boost-leak", "restricted-air"):
            points = dyno(fault=fault, truck=truck).points
            off = dict(zip(points["engine_speed_rpm"], points["deviation_percent"], strict=True))
            lean[fault] = off[1000.0] - off[2000.0]
        assert lean["boost-leak"] < -3.0
        assert lean["restricted-air"] > 2.0


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        ("", "engine.on_the_curve"),
        ("restricted-air", "engine.low_at_high_speed"),
        ("boost-leak", "engine.low_at_low_speed"),
        ("low-fuel", "engine.low_everywhere"),
        ("cylinder-out", "engine.low_everywhere"),
        ("early-governor", "engine.governor_early"),
        ("high-back-pressure", "engine.low_everywhere"),
    ],
)
def test_the_reading_says_what_a_technician_would(dyno, fault, kind):
    assert dyno(fault=fault).summary["reading"]["kind"] == kind


def test_a_snap_of_the_pedal_is_slow_with_a_leak():
    """Time to half of the sound engine's boost after the pedal goes down at 1200 rpm (common practice, no source)."""
    from sim.dyno.stand import Stand

    times = {}
    for fault in ("", "boost-leak", "restricted-air"):
        stand = Stand(load_truck(T1, FAULTS[fault].changes if fault else ()).truck, load_settings(None))
        stand.hold(1200.0, 500.0)
        stand.run(8.0)
        stand.pedal(1.0)
        began = stand.now
        while stand.clock.true("boost") < 70e3 and stand.now - began < 20.0:
            stand.run(0.01)
        times[fault] = stand.now - began
    assert times["boost-leak"] > 1.5 * times[""]
    assert times["restricted-air"] < 1.3 * times[""]


def test_a_cylinder_that_gives_nothing_takes_a_sixth_of_what_the_pistons_make(dyno):
    sound, dead = dyno().points, dyno(fault="cylinder-out").points
    row = int(np.flatnonzero(sound["engine_speed_rpm"] == 2000.0)[0])
    assert dead["indicated_torque_n_m"][row] / sound["indicated_torque_n_m"][row] == pytest.approx(5.0 / 6.0, rel=0.01)


def test_a_fault_is_in_the_truck_and_shows_on_the_road_too():
    """The same named value makes the climb of a trip slower: nothing is painted onto the curve of the dyno."""
    road, settings = load_route("grade:5%,3km"), load_settings(None, ["start.speed_km_h=60"])
    times = {
        fault: run_trip(load_truck(T1, FAULTS[fault].changes if fault else ()), road, settings).summary["time_s"]
        for fault in ("", "low-fuel", "restricted-air", "high-back-pressure", "cylinder-out")
    }
    assert all(times[fault] > 1.02 * times[""] for fault in times if fault)


def test_a_sound_condition_changes_no_bit_of_a_trip():
    road = load_route("grade:3%,2km")
    keys = [f"{table}.{key}" for table, key in keys_of(Truck) if table == "condition"]
    defaults = Condition()
    said = [f"{key}={_written(getattr(defaults, key.split('.')[1]))}" for key in keys]
    one, other = (run_trip(load_truck(T1, changes), road) for changes in ((), said))
    for name in one.trace:
        assert np.array_equal(one.trace[name], other.trace[name]), name
    assert len(keys) == 7


def _written(value):
    return "[]" if value == () else f"{value:g}"


@pytest.mark.parametrize("fault", FAULTS.values(), ids=list(FAULTS))
def test_each_fault_is_named_values_with_a_reason_and_a_mark(fault):
    for change in fault.changes:
        assert change.startswith("condition.")
    assert load_truck(T1, fault.changes).truck.condition != Condition()
    assert fault.reason and fault.sign
    assert fault.mark.startswith(("assumed", "size assumed", "derived")) and "common practice" in fault.mark


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("condition.boost_leak_rpm=-5", ("condition.boost_leak_rpm", "-5", "0 to 3000")),
        ("condition.dead_cylinders=[7]", ("condition.dead_cylinders",)),
        ("condition.dead_cylinders=[2, 2]", ("one of them twice",)),
        ("condition.fuel_delivery_percent=0", ("fuel_delivery_percent", "20 to 100")),
        ("condition.governor_lag_s=2", ("governor_lag_s", "0 to 0.5")),
    ],
)
def test_a_condition_that_cannot_be_is_refused(change, words):
    from sim.errors import SpecError

    with pytest.raises(SpecError) as told:
        load_truck(T1, [change])
    for word in words:
        assert word in str(told.value)


def test_an_unknown_fault_names_the_nearest():
    from sim.dyno.faults import fault_named

    with pytest.raises(SettingsError, match="Did you mean boost-leak"):
        fault_named("bost-leak")


def test_a_late_governor_still_holds_idle():
    from sim.dyno.stand import Stand

    stand = Stand(load_truck(T1, FAULTS["sluggish-governor"].changes).truck, load_settings(None))
    stand.run(30.0)
    assert stand.clock.true("engine_speed") / REVOLUTION_PER_MINUTE == pytest.approx(650.0, abs=10.0)
