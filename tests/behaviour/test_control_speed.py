"""Steady speed on a long descent by gear and stage, service brakes never touched.

Expected numbers are of three kinds: the balance of the same laws found by a general-purpose root finder; plain
relations a driver would know; and the sums of `quasi_static`, written by hand from the sources (+/- 5 %; accelerations
to 0.02 m/s2).
A control speed as a thing to map, gear by gear, with service brakes excluded: SAE J1489 (published, second-hand, scope
only).
"""

import math

import numpy as np
import pytest
from quasi_static import Sums

from sim import load_truck
from sim.laws.driveline import engine_speed_in_gear
from sim.laws.road_load import aerodynamic_drag, grade_force, grade_sine, rolling_resistance
from sim.march import plant
from sim.march.records import OIL_FACTOR_ROW, RATIO_ROW
from sim.trips.trip import prepare
from sim.units import REVOLUTION_PER_MINUTE
from sim.wording import kinds_in

T1, T2, T4, T5 = "long-haul-manual", "long-haul-automated", "dump-three-axle", "older-long-haul"
SIX = "grade:-6%,8km,1100m"
SEVEN = "grade:-7%,6km,1340m"
CASES = [(T1, gear, stage) for gear in (6, 7, 8) for stage in (1, 2, 3)]
CASES += [(truck, gear, stage) for truck, gear in ((T2, 8), (T4, 7), (T5, 7)) for stage in (1, 2, 3)]


def descend(trip, truck, gear, stage, road=SIX, start=45, **more):
    """A descent in one gear and one stage, foot off, service brakes not touched."""
    return trip(
        truck,
        road,
        f"drill.hold_gear={gear}",
        f"drill.hold_stage={stage}",
        "drill.service_brakes=false",
        f"start.speed_km_h={start}",
        **more,
    )


@pytest.mark.parametrize(("truck", "gear", "stage"), CASES)
def test_a_trip_finds_the_speed_a_root_finder_finds(trip, control_speed, truck, gear, stage):
    """Gravity equals all retarding forces: by a trip, and by scipy's brentq on the same laws at the height reached.

    The air compressor comes and goes, so the trip must lie between the balances with and without it.
    """
    result = descend(trip, truck, gear, stage)
    height, oil = result.trace["elevation_m"][-1], result.trace["oil_temperature_c"][-1]
    balances = [control_speed(truck, gear, stage, SIX, height, oil_c=oil, pumping=pumping) for pumping in (True, False)]
    if math.isinf(balances[1]):
        assert result.summary["ended"] == "runaway"
        assert result.summary["ended_because"]["kind"] == "ended.engine_speed_passed"
        return
    assert result.summary["ended"] == "arrived"
    reached = result.trace["engine_speed_rpm"][-1]
    assert 0.995 * balances[0] < reached < 1.005 * balances[1]
    assert result.summary["service_brake_applications"] == 0
    assert np.all(result.trace["brake_pressure_bar"] == 0.0)


def test_the_balance_can_be_composed_from_single_laws(trip):
    """Engine friction, compression, gearbox, axle, tyres, air and weight, each law called alone, sum to nothing."""
    result = descend(trip, T1, 7, 3)
    trace = result.trace
    clock = prepare(result.truck, result.route, result.settings)
    p, tables = clock.rig.parameters[0], clock.rig.tables
    speed, height = trace["speed_m_s"][-1], trace["elevation_m"][-1]
    clock.state["elevation"][0] = height
    plant.surroundings(clock.state[0], p)
    air, density = clock.true("ambient_pressure"), clock.true("air_density")
    turning = engine_speed_in_gear(speed, p["tyre_radius"], tables[RATIO_ROW, 7], p["axle_ratio"])
    oil = round((trace["oil_temperature_c"][-1] + 273.15 - p["oil_factor_first"]) * p["oil_factor_per_step"])
    friction = plant.warm_friction(turning, p) * tables[OIL_FACTOR_ROW, oil]
    drawn = plant.open_fan_power(turning, p) + plant.accessory_power(turning, 0.0, p)
    braking = Sums(T1, 1340.0).retarding_torques(turning / REVOLUTION_PER_MINUTE, 6, air)[1]
    torque = -(braking + friction + drawn / turning)
    slope, drag, _ = plant.driveline(torque, 7, turning, 1.0, p, tables)
    held_back = -(slope * torque - drag)
    held_back += rolling_resistance(p["mass"], 1.0, p["rolling_constant"], p["rolling_speed"], speed)
    held_back += aerodynamic_drag(density, p["drag_area"], speed, 0.0)
    pushed = -grade_force(p["mass"], grade_sine(-0.06))
    assert held_back == pytest.approx(pushed, rel=0.02)


HELD_AT_1100_M = [(T1, 6, 2), (T1, 6, 3), (T1, 7, 3), (T1, 8, 3), (T2, 8, 3), (T4, 7, 2), (T4, 7, 3), (T5, 7, 3)]


@pytest.mark.parametrize(("truck", "gear", "stage"), HELD_AT_1100_M)
def test_control_speeds_at_1100_m(trip, at, truck, gear, stage):
    """From 27 to 91 km/h by the sums."""
    start = 85 if gear == 8 and truck == T1 else 45
    result = descend(trip, truck, gear, stage, "grade:-6%,6km,1340m", start)
    expected = Sums(truck, 1340.0).steady(gear, stage, 1100.0, -0.06)
    assert at(result, "elevation_m", 1100.0, "speed_m_s") == pytest.approx(expected, rel=0.05)


GAIN_ROWS = [(T1, gear, stage) for gear in (6, 7, 8) for stage in range(4)]
GAIN_ROWS += [(T2, 8, 1), (T2, 8, 2), (T2, 8, 3), (T5, 7, 2), (T5, 7, 3), (T4, 7, 2), (T4, 7, 3)]


@pytest.mark.parametrize(("truck", "gear", "stage"), GAIN_ROWS)
def test_what_a_stage_lets_the_truck_gain_at_governed_speed(coasting, truck, gear, stage):
    """From 0.39 m/s2 with no stage in gear 8 to -0.27 m/s2 with all in gear 6 by the sums."""
    expected = Sums(truck, 1100.0).gain(2100.0, gear, stage, 1100.0, -0.06)
    assert coasting(truck, gear, stage, SIX, 1100.0)(2100.0) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("mass", [34_000, 36_287, 38_000])
def test_stage_3_holds_stage_2_gains_slowly_stage_1_runs_away(trip, at, coasting, loaded_to, mass):
    """T1 in gear 7 on 7 %, robust to the load."""
    spec = loaded_to(mass)
    sums = Sums(T1, 1340.0, spec)
    low, middle, high = (descend(trip, T1, 7, stage, SEVEN, 50, spec=spec) for stage in (1, 2, 3))
    assert high.summary["ended"] == "arrived"
    assert high.summary["max_engine_speed_rpm"] < 2100.0
    steady = sums.steady(7, 3, 1100.0, -0.07)
    assert at(high, "elevation_m", 1100.0, "speed_m_s") == pytest.approx(steady, rel=0.05)
    assert low.summary["ended"] == "runaway"
    assert low.summary["time_s"] < 60.0
    assert middle.summary["max_engine_speed_rpm"] > 2100.0
    taken = [at(result, "speed_m_s", 65 / 3.6, "time_s") for result in (low, middle)]
    assert taken[1] > 1.5 * taken[0]
    gain = sums.gain(2100.0, 7, 2, 1100.0, -0.07)
    assert coasting(T1, 7, 2, SEVEN, 1100.0, spec=spec)(2100.0) == pytest.approx(gain, abs=0.02)


def test_stage_1_in_gear_7_passes_50_to_75_km_h_in_the_time_of_the_sums(trip, at):
    """Time is the sum of speed steps over the gain at each, to 10 % of the net push."""
    result = descend(trip, T1, 7, 1, SIX, 49)
    taken = at(result, "speed_m_s", 75 / 3.6, "time_s") - at(result, "speed_m_s", 50 / 3.6, "time_s")
    sums = Sums(T1, 1100.0)
    gains = [sums.gain(sums.rpm(speed / 3.6, 7), 7, 1, 1100.0, -0.06) for speed in np.arange(50.5, 75.0)]
    expected = sum(1.0 / 3.6 / gain for gain in gains)
    assert taken == pytest.approx(expected, rel=0.10)


def test_the_pitch_chooses_the_gear_not_the_mean_grade(trip):
    """On 8 % gear 7 in stage 3 runs past governed speed, gear 6 holds near 39 km/h by the sums."""
    seventh = descend(trip, T1, 7, 3, "grade:-8%,5km,1100m", 50)
    sixth = descend(trip, T1, 6, 3, "grade:-8%,5km,1100m", 39)
    assert seventh.summary["max_engine_speed_rpm"] > 2300.0
    assert sixth.summary["max_engine_speed_rpm"] < 2100.0
    expected = Sums(T1, 1100.0).steady(6, 3, sixth.trace["elevation_m"][-1], -0.08)
    assert sixth.trace["speed_m_s"][-1] == pytest.approx(expected, rel=0.05)


def test_top_gear_runs_away_whatever_the_switches_say(trip, coasting):
    """The sums give +0.32 m/s2 at 90 km/h in the top gear with every stage on."""
    result = descend(trip, T1, 10, 3, "grade:-6%,10km,1500m", 80)
    assert result.summary["ended"] == "runaway"
    assert result.summary["ended_because"]["kind"] == "ended.road_speed_passed"
    assert "event.runaway" in kinds_in(result.summary["warnings"][0])
    sums = Sums(T1, 1100.0)
    rpm = sums.rpm(90 / 3.6, 10)
    assert coasting(T1, 10, 3, SIX, 1100.0)(rpm) == pytest.approx(sums.gain(rpm, 10, 3, 1100.0, -0.06), abs=0.02)


@pytest.mark.parametrize(("truck", "gear"), [(T1, 7), (T2, 7), (T4, 7), (T5, 7)])
def test_more_stages_and_lower_gears_hold_a_lower_speed(control_speed, truck, gear):
    """The order any driver knows: in one gear by stage, and in one stage by gear."""
    ratios = load_truck(truck).truck.gearbox.ratios
    by_stage = [control_speed(truck, gear, stage, SIX, 1100.0) for stage in (3, 2, 1)]
    assert by_stage[0] < by_stage[1] < by_stage[2]
    by_gear = [control_speed(truck, g, 3, SIX, 1100.0) / ratios[g - 1] for g in (gear, gear + 1)]
    assert by_gear[0] < by_gear[1] < math.inf
