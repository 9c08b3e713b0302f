"""Clutch, tyres and brakes: they stick without chatter, slip when they must, and the ledger still closes."""

import numpy as np
import pytest

from sim.trips.books import energy_ledger
from sim.units import REVOLUTION_PER_MINUTE


def closes(clock, before, climbed: float = 0.0) -> float:
    """Residual of the energy ledger since a copied state."""
    return energy_ledger(before, clock.state, clock.rig.parameters, climbed)["residual_fraction"]


def neutral(parked, *changes, spec=(), truck="long-haul-manual"):
    """A standing truck, clutch out, gearbox in neutral, engine idling."""
    clock = parked("grade:0%,10km", "start.speed_km_h=0", *changes, spec=spec, truck=truck)
    clock.mean(brake_mode=4.0, brake_pressure=3.0e5)
    return clock


@pytest.mark.parametrize("droop_rpm", [2250, 2121])
def test_a_declutched_engine_on_a_steep_governor_does_not_ripple(parked, droop_rpm):
    clock = neutral(parked, spec=(f"engine.high_idle_rpm={droop_rpm}",))
    clock.mean(brake_mode=0.0, foot_mode=0.0, pedal=1.0)
    clock.run(until=1500)
    speeds = []
    for tick in range(1501, 2001):
        clock.run(until=tick)
        speeds.append(clock.true("engine_speed") / REVOLUTION_PER_MINUTE)
    assert max(speeds) - min(speeds) < 1.0
    assert max(speeds) == pytest.approx(droop_rpm, rel=0.01)


def test_a_clutch_that_would_chatter_does_not(parked):
    """A sign function at equal speeds would change sides hundreds of times; the contact sticks once."""
    clock = neutral(parked)
    before = clock.state.copy()
    clock.mean(hand_lever=2.0)
    clock.set(engine_mode=1.0, engine_speed_target=90.0)
    clock.run(until=100)
    clock.mean(brake_mode=0.0, clutch_wanted=0.0)
    clock.set(launching=1.0)
    clock.run(until=1500)
    clock.mean(foot_mode=0.0, pedal=0.5)
    clock.set(engine_mode=0.0, launching=0.0)
    clock.run(until=3000)
    assert clock.true("clutch_locked") == 1.0
    assert clock.true("speed") > 2.0
    assert clock.true("clutch_changes") <= 4
    assert clock.true("clutch") > 5000.0
    assert closes(clock, before) < 1e-6


def test_a_locked_clutch_keeps_engine_and_wheels_together(parked):
    clock = parked("grade:-3%,20km,900m", "start.speed_km_h=60")
    clock.mean(foot_mode=0.0, pedal=0.4)
    clock.run(until=2000)
    p = clock.rig.parameters[0]
    per_metre = clock.rig.tables[3, int(clock.true("gear"))] * p["axle_ratio"] / p["tyre_radius"]
    assert clock.true("clutch_changes") == 0
    assert clock.true("engine_speed") == pytest.approx(clock.true("wheel_speed") * per_metre, rel=1e-12)


def test_an_overloaded_clutch_slips_and_warms(parked):
    clock = parked("grade:6%,20km,0m", "start.speed_km_h=60")
    clock.rig.parameters["clutch_capacity"][0] = 900.0
    before = clock.state.copy()
    clock.mean(foot_mode=0.0, pedal=1.0)
    clock.run(until=500)
    assert clock.true("clutch_locked") == 0.0
    assert clock.true("clutch_torque") == pytest.approx(900.0)
    assert clock.true("clutch") > 1e5
    assert closes(clock, before, clock.true("elevation")) < 1e-6


@pytest.mark.parametrize("grade", ["-8%", "8%"])
def test_brakes_hold_a_truck_on_a_grade_at_exactly_nothing(parked, grade):
    clock = parked(f"grade:{grade},5km,900m", "start.speed_km_h=20")
    clock.mean(hand_lever=0.0, clutch_wanted=1.0, brake_mode=4.0, brake_pressure=4.0e5)
    clock.run(until=3000)
    place = clock.true("distance")
    clock.run(until=9000)
    assert clock.true("speed") == 0.0
    assert clock.true("distance") == place
    assert clock.true("standstill") == 1.0


def test_without_brakes_a_truck_rolls_back_and_the_ledger_closes(parked):
    clock = parked("grade:6%,5km,900m", "start.speed_km_h=20")
    before = clock.state.copy()
    clock.mean(hand_lever=0.0, clutch_wanted=1.0)
    clock.run(until=3000)
    assert clock.true("speed") < -3.0
    assert closes(clock, before, clock.true("elevation") - 900.0) < 1e-6


def test_brakes_that_stop_a_rolling_truck_take_its_energy(parked):
    clock = parked("grade:0%,5km", "start.speed_km_h=80")
    before = clock.state.copy()
    clock.mean(hand_lever=0.0, clutch_wanted=1.0, brake_mode=4.0, brake_pressure=3.0e5)
    clock.run(until=4000)
    assert clock.true("speed") == 0.0
    assert closes(clock, before) < 1e-6
    shares = clock.true("service_brakes") / (0.5 * 36287 * (80 / 3.6) ** 2)
    assert 0.85 < shares < 1.0


def test_drive_wheels_slip_on_ice_and_hold_no_more_than_the_grip(parked):
    clock = parked("grade:0%,5km", "start.speed_km_h=10", "weather.grip=0.05", "start.gear=2", truck="long-haul-empty")
    before = clock.state.copy()
    clock.mean(foot_mode=0.0, pedal=1.0)
    clock.run(until=400)
    p = clock.rig.parameters[0]
    assert clock.true("wheel_slip") == 1.0
    assert clock.true("wheel_speed") > clock.true("speed") + 0.05
    assert clock.true("tyre_force") <= 0.05 * p["drive_load"] * (1 + 1e-12)
    assert clock.true("tyre_slip") > 0.0
    assert closes(clock, before) < 1e-6
    clock.mean(pedal=0.0)
    clock.run(until=2500)
    assert clock.true("wheel_slip") == 0.0
    assert clock.true("wheel_speed") == clock.true("speed")
    assert closes(clock, before) < 1e-5, "a tick in which the torque changes sides has the losses of one of them"


def test_engaging_a_gear_keeps_momentum_and_books_the_loss(parked):
    clock = parked("grade:0%,5km", "start.speed_km_h=50", "start.gear=7")
    before = clock.state.copy()
    clock.mean(clutch_wanted=1.0)
    clock.run(until=50)
    clock.mean(hand_lever=0.0)
    clock.run(until=200)
    clock.mean(hand_lever=5.0)
    clock.run(until=201)
    p = clock.rig.parameters[0]
    assert clock.true("gear_synchronising") > 10.0
    ratio = clock.rig.tables[3, 5] * p["axle_ratio"] / p["tyre_radius"]
    assert clock.true("shaft_speed") == pytest.approx(ratio * clock.true("wheel_speed"), rel=1e-12)
    assert closes(clock, before) < 1e-9


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_driveline_losses_take_energy_whichever_way_it_flows(parked, direction):
    """No tick of driving or of engine braking makes energy in gearbox or axle."""
    road = "grade:3%,20km,0m" if direction > 0 else "grade:-6%,20km,1500m"
    clock = parked(road, "start.speed_km_h=50", "start.gear=7")
    clock.mean(foot_mode=0.0, pedal=1.0 if direction > 0 else 0.0)
    if direction < 0:
        clock.set(pair_front=1.0, pair_middle=1.0, pair_rear=1.0, stage=3.0)
    booked = []
    for tick in range(300, 400):
        clock.run(until=tick)
        booked.append([clock.true("gearbox"), clock.true("axle")])
    losses = np.diff(booked, axis=0)
    assert np.all(losses > 0.0)
    power = abs(clock.true("clutch_torque") * clock.true("engine_speed"))
    assert 0.01 < losses[-1].sum() / clock.tick / power < 0.15
