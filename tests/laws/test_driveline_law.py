"""Clutch, gearbox and axle: losses always take energy, friction never reverses. Laws in sim/laws/driveline.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.driveline import (
    axle_output_torque,
    effective_mass,
    engine_speed_in_gear,
    friction_force,
    gearbox_loss,
    wheel_torque,
)

QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)

torques = st.floats(-2500.0, 2500.0)
shaft_speeds = st.floats(0.0, 260.0)
gears = st.sampled_from([14.67, 12.58, 4.89, 1.90, 1.00, 0.74])
axles = st.floats(2.0, 6.0)
efficiencies = st.floats(0.85, 1.0)
drags = st.floats(0.0, 200.0)
losses = st.tuples(st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.0, 0.05))


@QUICK
@given(torques, shaft_speeds, gears, axles, losses, efficiencies, drags)
def test_losses_take_energy_whichever_way_the_power_flows(torque, speed, gear, axle, loss, efficiency, drag):
    """Driving, the wheels get no more than the engine gave; in overrun they give at least what the engine takes."""
    out = wheel_torque(torque, speed, gear, axle, *loss, efficiency, drag)
    engine_power, wheel_power = torque * speed, out * speed / (gear * axle)
    assert wheel_power <= engine_power + 1e-9 * abs(engine_power)
    if torque < 0.0:
        assert abs(wheel_power) >= abs(engine_power) * (1.0 - 1e-12)


@QUICK
@given(torques, shaft_speeds, gears, axles)
def test_without_losses_all_power_passes(torque, speed, gear, axle):
    out = wheel_torque(torque, speed, gear, axle, 0.0, 0.0, 0.0, 1.0, 0.0)
    assert out == pytest.approx(torque * gear * axle, rel=1e-12)


@QUICK
@given(torques, shaft_speeds, gears, axles, losses, efficiencies, drags, st.floats(1.0, 500.0))
def test_more_torque_in_is_more_torque_out(torque, speed, gear, axle, loss, efficiency, drag, more):
    rest = (speed, gear, axle, *loss, efficiency, drag)
    assert wheel_torque(torque + more, *rest) > wheel_torque(torque, *rest)


@QUICK
@given(torques, shaft_speeds, losses, st.floats(0.0, 100.0))
def test_gearbox_loss_is_a_loss_in_both_directions(torque, speed, loss, more):
    here = gearbox_loss(torque, speed, *loss)
    assert here >= 0.0
    assert here == gearbox_loss(-torque, speed, *loss) == gearbox_loss(torque, -speed, *loss)
    assert gearbox_loss(abs(torque) + more, speed, *loss) >= here
    assert gearbox_loss(torque, speed + more, *loss) >= here
    assert gearbox_loss(0.0, 0.0, *loss) == loss[0]


def test_speed_loss_is_stated_per_thousand_turns_a_minute():
    thousand = 1000.0 * 2.0 * math.pi / 60.0
    assert gearbox_loss(0.0, thousand, 0.0, 12.5, 0.0) == pytest.approx(12.5)


@QUICK
@given(axles, efficiencies, drags)
def test_axle_is_continuous_where_the_power_turns_round(ratio, efficiency, drag):
    """Both forms of the loss meet at no torque at the wheels; their slopes may differ there, their values may not."""
    turning = drag / ratio
    for step in (1e-3, 1e-6, 1e-9):
        above = axle_output_torque(turning + step, ratio, efficiency, drag)
        below = axle_output_torque(turning - step, ratio, efficiency, drag)
        assert 0.0 <= above <= ratio * step * 1.001 + 1e-12
        assert 0.0 >= below >= -ratio * step * 1.001 / efficiency - 1e-12


@QUICK
@given(torques, axles, efficiencies, drags)
def test_axle_takes_its_share_driving_and_in_overrun(torque, ratio, efficiency, drag):
    out = axle_output_torque(torque, ratio, efficiency, drag)
    assert out <= torque * ratio + 1e-9
    assert axle_output_torque(torque, ratio, 1.0, 0.0) == torque * ratio
    if drag > 0.0:
        assert axle_output_torque(0.0, ratio, efficiency, drag) < 0.0, "a rolling axle drags"


@QUICK
@given(st.floats(3000.0, 80000.0), st.floats(0.0, 500.0), st.floats(0.3, 0.8), st.floats(0.0, 6.0), gears, axles)
def test_effective_mass_holds_the_energy_of_all_that_turns(mass, wheels, radius, engine, gear, axle):
    """First principles: half of it times speed squared is the energy of the truck, its wheels and its engine."""
    speed = 20.0
    shaft_speed = engine_speed_in_gear(speed, radius, gear, axle)
    energy = 0.5 * mass * speed**2 + 0.5 * wheels * (speed / radius) ** 2 + 0.5 * engine * shaft_speed**2
    inertia = effective_mass(mass, wheels, radius, engine, gear * axle)
    assert 0.5 * inertia * speed**2 == pytest.approx(energy, rel=1e-12)
    assert inertia >= mass


def test_an_open_clutch_leaves_the_engine_out():
    low = effective_mass(36287.0, 245.0, 0.49, 0.0, 12.58 * 3.36)
    high = effective_mass(36287.0, 245.0, 0.49, 0.0, 0.74 * 3.36)
    assert low == high
    assert effective_mass(36287.0, 0.0, 0.49, 0.0, 40.0) == 36287.0


@QUICK
@given(st.floats(-1e6, 1e6), st.floats(0.0, 1e6))
def test_friction_stays_within_capacity_and_never_reverses(required, capacity):
    carried = friction_force(required, capacity)
    assert abs(carried) <= capacity
    assert carried * required >= 0.0
    assert abs(carried) <= abs(required)
    assert friction_force(-required, capacity) == -carried
    assert friction_force(carried, capacity) == carried
    if abs(required) <= capacity:
        assert carried == required, "a contact that can stick carries exactly what keeps it stuck"
    else:
        assert abs(carried) == capacity


def test_no_capacity_carries_nothing():
    assert friction_force(100.0, 0.0) == friction_force(-100.0, 0.0) == friction_force(0.0, 0.0) == 0.0


@QUICK
@given(st.floats(-40.0, 40.0), st.floats(0.3, 0.8), gears, axles)
def test_engine_speed_goes_with_road_speed(speed, radius, gear, axle):
    here = engine_speed_in_gear(speed, radius, gear, axle)
    assert here * speed >= 0.0
    assert engine_speed_in_gear(2.0 * speed, radius, gear, axle) == pytest.approx(2.0 * here)
    assert abs(engine_speed_in_gear(speed, 1.1 * radius, gear, axle)) <= abs(here)
    assert engine_speed_in_gear(0.0, radius, gear, axle) == 0.0


@QUICK
@given(st.floats(1.0, 40.0), st.floats(0.3, 0.8), gears, axles, torques)
def test_ratio_of_speeds_and_ratio_of_torques_are_the_same(speed, radius, gear, axle, torque):
    """Power in is power out without losses: torque times engine speed is force times road speed."""
    shaft_speed = engine_speed_in_gear(speed, radius, gear, axle)
    force = wheel_torque(torque, shaft_speed, gear, axle, 0.0, 0.0, 0.0, 1.0, 0.0) / radius
    assert force * speed == pytest.approx(torque * shaft_speed, rel=1e-12)
