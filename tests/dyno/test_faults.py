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

    def both(name, rpm):
        row = int(np.flatnonzero(sound["engine_speed_rpm"] == rpm)[0])
        return sound[name][row], points[name][row]

    def change(name, rpm, least):
        before, now = both(name, rpm)
        return word(-100.0 if np.isnan(now) else 100.0 * (now / before - 1.0), least)

    def apart(name, rpm, least):
        before, now = both(name, rpm)
        return word(now - before, least)

    governor = dyno(fault=fault, truck=truck, test="governor").summary
    motoring = dyno(fault=fault, truck=truck, test="motoring").summary
    plain = dyno(truck=truck, test="motoring").summary
    dead = dyno(fault=fault, truck=truck, test="cylinders").summary["dead_cylinders"]
    return {
        "torque at 1000 rpm": change("engine_torque_n_m", 1000.0, WORTH),
        "torque at 1800 rpm": change("engine_torque_n_m", 1800.0, WORTH),
        "fuel per power at 1900 rpm": change("bsfc_g_kwh", 1900.0, 1.0),
        "boost at 1000 rpm": change("boost_kpa", 1000.0, 5.0),
        "boost at 1800 rpm": change("boost_kpa", 1800.0, 5.0),
        "behind the compressor at 1800 rpm": apart("charge_temperature_c", 1800.0, 10.0),
        "manifold at 1800 rpm": apart("intake_temperature_c", 1800.0, 5.0),
        "pyrometer at 1600 rpm": apart("exhaust_temperature_c", 1600.0, 20.0),
        "load told at 1200 rpm": "full" if both("load_percent", 1200.0)[1] > 98.0 else "less",
        "filter gauge": apart("intake_depression_kpa", 1500.0, 0.5),
        "exhaust gauge": apart("back_pressure_kpa", 1500.0, 2.0),
        "fuel pressure at 1600 rpm": apart("fuel_pressure_kpa", 1600.0, 30.0),
        "bubbles": apart("bubbles_percent", 1600.0, 1.0),
        "blow-by": change("blow_by_l_min", 1600.0, 30.0),
        "smoke at 1400 rpm": apart("opacity_percent", 1400.0, 2.0),
        "high idle": word(governor["high_idle_rpm"] - governor["truck_high_idle_rpm"], 50.0),
        "overshoot": word(governor["highest_rpm"] - governor["settled_rpm"], 20.0),
        "motoring torque": word(100.0 * (motoring["highest_torque_n_m"] / plain["highest_torque_n_m"] - 1.0), 2.0),
        "dead cylinders": str(dead),
    }


SAME = {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "as it was"}
LAME = {
    "torque at 1000 rpm": "low",
    "torque at 1800 rpm": "low",
    "load told at 1200 rpm": "full",
    "dead cylinders": "[]",
}
EXPECTED = {
    "restricted-air": {**SAME, "filter gauge": "high", "exhaust gauge": "as it was"},
    "boost-leak": {"torque at 1000 rpm": "low", "torque at 1800 rpm": "as it was", "filter gauge": "high"},
    "fouled-cooler": {"manifold at 1800 rpm": "high", "behind the compressor at 1800 rpm": "as it was"},
    "gate-open": {"torque at 1000 rpm": "low", "boost at 1800 rpm": "low", "filter gauge": "low", "pyrometer at 1600 rpm": "high"},
    "gate-shut": {"boost at 1800 rpm": "high", "pyrometer at 1600 rpm": "low", **SAME},
    "worn-turbocharger": {"boost at 1000 rpm": "low", "behind the compressor at 1800 rpm": "high"},
    "plugged-fuel-filter": {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "low", "fuel pressure at 1600 rpm": "low"},
    "air-in-fuel": {**LAME, "bubbles": "high", "fuel pressure at 1600 rpm": "as it was"},
    "worn-injectors": {**LAME, "bubbles": "as it was", "fuel pressure at 1600 rpm": "as it was"},
    "worn-rings": {"blow-by": "high", "fuel per power at 1900 rpm": "high", "dead cylinders": "[]"},
    "early-governor": {"torque at 1000 rpm": "as it was", "torque at 1800 rpm": "low", "high idle": "low"},
    "sluggish-governor": {**SAME, "overshoot": "high"},
    "high-back-pressure": {"fuel per power at 1900 rpm": "high", "exhaust gauge": "high", "filter gauge": "as it was"},
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


def test_no_two_engines_are_told_apart_by_boost_alone(dyno):
    """Boost does not say why it is as it is."""
    all_seen = {fault: seen(dyno, fault) for fault in ("", *FAULTS)}
    for one, other in itertools.combinations(all_seen, 2):
        rest = [what for what in all_seen[one] if "boost" not in what and all_seen[one][what] != all_seen[other][what]]
        assert rest, (one, other)


def test_the_curve_of_a_leak_leans_the_other_way_than_that_of_a_plugged_fuel_filter(dyno):
    """Low at low speed: air leak; low at high flow: restriction (common practice, no source)."""
    for truck in TRUCKS:
        lean = {}
        for fault in ("boost-leak", "plugged-fuel-filter"):
            points = dyno(fault=fault, truck=truck).points
            off = dict(zip(points["engine_speed_rpm"], points["deviation_percent"], strict=True))
            lean[fault] = off[1000.0] - off[1800.0]
        assert lean["boost-leak"] < -3.0
        assert lean["plugged-fuel-filter"] > 2.0


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        ("", "engine.on_the_curve"),
        ("boost-leak", "engine.low_at_low_speed"),
        ("gate-open", "engine.low_at_low_speed"),
        ("plugged-fuel-filter", "engine.low_at_high_speed"),
        ("worn-injectors", "engine.low_everywhere"),
        ("air-in-fuel", "engine.low_everywhere"),
        ("cylinder-out", "engine.low_everywhere"),
        ("early-governor", "engine.governor_early"),
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
    assert times["boost-leak"] > 1.2 * times[""]
    assert times["restricted-air"] < 1.1 * times[""]


def test_a_cylinder_that_gives_nothing_takes_a_sixth_of_what_the_pistons_make(dyno):
    sound, dead = dyno().points, dyno(fault="cylinder-out").points
    row = int(np.flatnonzero(sound["engine_speed_rpm"] == 2000.0)[0])
    assert dead["indicated_torque_n_m"][row] / sound["indicated_torque_n_m"][row] == pytest.approx(5.0 / 6.0, rel=0.01)


def test_a_fault_is_in_the_truck_and_shows_on_the_road_too():
    """The same named value makes the climb of a trip slower: nothing is painted onto the curve of the dyno."""
    road, settings = load_route("grade:5%,3km"), load_settings(None, ["start.speed_km_h=60"])
    times = {
        fault: run_trip(load_truck(T1, FAULTS[fault].changes if fault else ()), road, settings).summary["time_s"]
        for fault in ("", "worn-injectors", "plugged-fuel-filter", "cylinder-out")
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
    assert len(keys) == len(Condition.model_fields)


def _written(value):
    return "[]" if value == () else value if isinstance(value, str) else f"{value:g}"


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
        ("condition.charge_leak_cm2=-5", ("condition.charge_leak_cm2", "-5", "0 to 20")),
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
