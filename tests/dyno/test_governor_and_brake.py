"""Governor tests, motoring curve, engine brake and cut-out test on the dyno."""

import itertools

import numpy as np
import pytest
from quasi_static import Sums

from sim import load_truck
from sim.errors import RunError, SettingsError
from sim.units import REVOLUTION_PER_MINUTE
from sim.wording import said

T1, T5 = "long-haul-manual", "older-long-haul"
EVERY_TRUCK = [T1, "long-haul-automated", "dump-three-axle", T5]


# ---------------------------------------------------------------- governor


@pytest.mark.parametrize("truck", EVERY_TRUCK)
def test_droop_by_three_speeds_is_that_of_the_truck(dyno, truck):
    """(N3 - N1)/N1, full-load denominator; accept 0.3 points (job sheet, derived)."""
    s = dyno(truck=truck, test="governor").summary
    engine = load_truck(truck).truck.engine
    stated = 100.0 * (engine.high_idle_rpm - engine.governed_rpm) / engine.governed_rpm
    assert s["steady_droop_percent"] == pytest.approx(stated, abs=0.3)
    assert s["loaded_rpm"] < s["settled_rpm"] <= s["highest_rpm"]
    assert s["lowest_rpm"] <= s["under_load_rpm"] < s["before_load_rpm"]
    assert s["verdict"] == "pass"


def test_a_late_governor_overshoots_and_comes_back_to_the_same_droop(dyno):
    sound, late = dyno(test="governor").summary, dyno(fault="sluggish-governor", test="governor").summary
    assert late["momentary_droop_percent"] > sound["momentary_droop_percent"] + 1.0
    assert late["steady_droop_percent"] == pytest.approx(sound["steady_droop_percent"], abs=0.1)
    assert late["lowest_rpm"] < late["under_load_rpm"] - 10.0
    assert "answers late" in said(late["reading"], "metric") and late["verdict"] == "fail"


@pytest.mark.parametrize("truck", EVERY_TRUCK)
def test_low_idle_dips_under_a_load_and_comes_back(dyno, truck):
    s = dyno(truck=truck, test="governor").summary
    idle = load_truck(truck).truck.engine.low_idle_rpm
    assert s["low_idle_rpm"] == pytest.approx(idle, abs=10.0)
    assert s["low_idle_lowest_rpm"] < s["low_idle_rpm"] - 5.0
    assert s["low_idle_loaded_rpm"] == pytest.approx(idle, abs=5.0)
    assert 0.0 < s["low_idle_recovery_s"] < 5.0
    assert s["low_idle_highest_rpm"] > s["low_idle_rpm"] + 5.0


@pytest.mark.parametrize("truck", EVERY_TRUCK)
def test_on_a_grade_one_governor_keeps_the_speed_and_the_other_the_torque(dyno, truck):
    """Fixed pedal. Limiting-speed: speed falls, torque nearly constant; all-speed: torque rises, speed held with droop
    (common practice, no source)."""
    sets = dyno(truck=truck, test="governor").sets
    loose, held = sets["limiting-speed"], sets["all-speed"]
    assert loose["engine_speed_rpm"][-1] < 0.8 * loose["engine_speed_rpm"][0]
    assert held["engine_speed_rpm"][-1] > 0.95 * held["engine_speed_rpm"][0]
    assert held["engine_torque_n_m"][-1] > 2.0 * held["engine_torque_n_m"][0]
    # below the governor, from 2000 rpm down to 1200, half a pedal is half the fuel of the full-load curve
    floats = (loose["engine_speed_rpm"] < 2000.0) & (loose["engine_speed_rpm"] > 1200.0)
    assert floats.sum() > 10
    assert np.ptp(loose["engine_torque_n_m"][floats]) < 0.5 * loose["engine_torque_n_m"][floats].max()


def test_an_early_governor_is_found_by_its_speeds(dyno):
    s = dyno(fault="early-governor", test="governor").summary
    assert s["verdict"] == "fail"
    assert {"high idle", "governed speed"} == {each["values"]["what"] for each in s["reading"]["values"]["all"]}
    assert s["high_idle_rpm"] == pytest.approx(2250.0 - 350.0, abs=5.0)


# ---------------------------------------------------------------- motoring


def test_the_motoring_curve_is_the_printed_one(dyno):
    """0.85 of the correlation, 15 L: 251.9, 221.7, 193.9, 168.5, 152.9 N m at 2100, 1800, 1500, 1200, 1000 rpm (constants
    from memory); oil near 90 C, the air compressor's idling beside it."""
    result = dyno(
        "start.oil_temperature_c=90", "start.coolant_temperature_c=90", "dyno.rate_rpm_per_s=200", test="motoring"
    )
    friction = dict(zip(result.points["engine_speed_rpm"], result.points["friction_torque_n_m"], strict=True))
    for rpm, torque in ((2100, 251.9), (1800, 221.7), (1500, 193.9), (1200, 168.5), (1000, 152.9)):
        assert friction[rpm] == pytest.approx(torque, rel=0.02)
    assert result.summary["fuel_rate_g_s"] == 0.0
    assert np.all(np.abs(np.diff(result.points["motoring_torque_n_m"])) > 1.0)
    assert result.summary["verdict"] == "pass"


def test_cold_oil_makes_it_harder_to_turn(dyno):
    """1.5 to 2 times at 20 C oil (from memory)."""
    cold = dyno("start.oil_temperature_c=20", "dyno.rate_rpm_per_s=500", test="motoring").points["friction_torque_n_m"][
        0
    ]
    warm = dyno("start.oil_temperature_c=92", "dyno.rate_rpm_per_s=500", test="motoring").points["friction_torque_n_m"][
        0
    ]
    assert 1.4 < cold / warm < 2.0


# ---------------------------------------------------------------- engine brake


def test_retarding_power_is_that_of_its_class(dyno):
    """500 hp class, six cylinders in air of 1 bar against the sums, to 2 %: about 173, 259, 368 hp."""
    points = dyno("weather.pressure_kpa=100", test="retarding").points
    for rpm in (1200.0, 1500.0, 1800.0):
        row = int(np.flatnonzero((points["stage"] == 3.0) & (points["engine_speed_rpm"] == rpm))[0])
        power = sum(Sums("long-haul-manual", 0.0).retarding_torques(rpm, 6, 1.0e5)) * rpm * REVOLUTION_PER_MINUTE
        assert points["retarding_power_kw"][row] * 1000.0 == pytest.approx(power, rel=0.02)
    assert np.all(points["fuel_rate_g_s"] == 0.0)


def test_each_stage_holds_more_and_more_at_speed(dyno):
    points = dyno(test="retarding").points
    by_stage = [points["retarding_power_kw"][points["stage"] == stage] for stage in range(4)]
    for weak, strong in itertools.pairwise(by_stage):
        assert np.all(strong > 1.2 * weak)
    assert np.all(np.diff(by_stage[3]) < 0.0)  # highest speed first


def test_braking_builds_up_with_the_boost(dyno):
    """1800 rpm, six cylinders, after the switch's 0.25 s: at once what the sums give without boost, soon all of it."""
    built = dyno(test="retarding").summary["build_up"]["stage 3"]
    at_once, half, one, two = built["shares_percent"]
    assert built["on_after_s"] == pytest.approx(0.25, abs=0.02)
    sums, air = Sums(T1, 0.0), 101_325.0
    engine = sums.truck.engine
    swept = engine.cylinders * np.pi / 4.0 * engine.bore_mm**2 * engine.stroke_mm * 1e-9
    turning, settled = sums.retarding_torques(1800.0, 6, air)
    unboosted = sums.braking_mean(air, air) * swept / (4.0 * np.pi)
    assert at_once == pytest.approx(100.0 * (turning + unboosted) / (turning + settled), abs=4.0) and two > 95.0
    assert at_once < half < one < two


def test_interlocks_and_dead_pairs_show_on_the_dyno(dyno):
    cold = dyno("start.oil_temperature_c=0", test="retarding").summary
    assert cold["verdict"] == "fail" and "oil too cold" in said(cold["reading"], "metric")
    dead = dyno('drill.dead_pairs=["middle"]', test="retarding").summary
    powers = dead["retarding_power_kw"]
    assert powers["1"] == pytest.approx(powers["0"], rel=0.01)
    assert powers["2"] == pytest.approx(powers["3"], rel=0.01)
    assert dead["reading"]["values"]["stages"] == [1, 3]


# ---------------------------------------------------------------- cut-out


def test_cutting_out_tells_the_dead_cylinder(dyno):
    sound = dyno(test="cylinders").summary
    assert sound["dead_cylinders"] == [] and sound["verdict"] == "pass"
    lost = list(sound["torque_lost_percent"].values())
    assert max(lost) - min(lost) < 1.0 and min(lost) > 100.0 / 6.0
    found = dyno(test="cylinders", fault="cylinder-out")
    assert found.summary["dead_cylinders"] == [4]


@pytest.mark.parametrize("test", ["governor", "motoring", "retarding", "cylinders"])
def test_what_is_made_on_the_flywheel_is_refused_on_rollers(dyno, test):
    with pytest.raises(SettingsError, match="is made on the flywheel"):
        dyno("dyno.form=chassis", test=test)


@pytest.mark.parametrize(
    ("change", "words"), [("retarding.switch=false", "nothing to measure"), ("drill.hold_stage=2", "leave it out")]
)
def test_a_retarding_test_that_cannot_be_made_says_why(dyno, change, words):
    with pytest.raises(SettingsError, match=words):
        dyno(change, test="retarding")


def test_an_unknown_test_names_those_there_are():
    from sim import run_dyno

    with pytest.raises(SettingsError, match="full-load, governor, motoring, retarding, cylinders"):
        run_dyno(T1, None, "snap")


def test_an_engine_that_stands_has_nothing_to_govern(dyno):
    """Without a crankshaft signal there is no fuel: a droop would be nothing over nothing."""
    with pytest.raises(RunError, match=r"the engine stands \(0 rpm at full pedal"):
        dyno('faults.occur=["start crankshaft position open"]', test="governor")
