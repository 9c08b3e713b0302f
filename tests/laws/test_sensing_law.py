"""Sensors as circuits: limits, signs and closed forms of the laws in sim/laws/sensing.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.laws.engine_fluids import fuel_temperature, oil_pressure
from sim.laws.sensing import (
    contact_voltage,
    corrected_pulses,
    divider_resistance,
    divider_voltage,
    indicated_speed,
    pulses_per_mile,
    ratiometric_share,
    ratiometric_voltage,
    revolutions_per_mile,
    thermistor_resistance,
    thermistor_temperature,
    tone_wheel_frequency,
    tone_wheel_speed,
)
from sim.units import MILE

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

radii = st.floats(0.3, 0.8)
ratios = st.floats(1.5, 8.0)
teeth = st.sampled_from([8.0, 11.0, 16.0, 60.0])
speeds = st.floats(-5.0, 45.0)


@QUICK
@given(radii)
def test_turns_times_circumference_are_a_mile(radius):
    assert revolutions_per_mile(radius) * 2.0 * math.pi * radius == pytest.approx(MILE, rel=1e-12)
    assert revolutions_per_mile(1.1 * radius) < revolutions_per_mile(radius)


@QUICK
@given(radii, ratios, teeth)
def test_every_tooth_of_every_turn_is_a_pulse(radius, ratio, count):
    turns = revolutions_per_mile(radius)
    pulses = pulses_per_mile(turns, ratio, count)
    assert pulses == pytest.approx(count * pulses_per_mile(turns, ratio, 1.0), rel=1e-12)
    assert pulses_per_mile(turns, 1.0, 1.0) == turns
    assert pulses_per_mile(turns, 2.0 * ratio, count) == pytest.approx(2.0 * pulses)


@QUICK
@given(speeds, st.floats(1000.0, 150000.0), st.floats(1.01, 2.0))
def test_the_right_number_tells_the_truth_and_a_wrong_one_scales_it(speed, pulses, factor):
    assert indicated_speed(speed, pulses, pulses) == speed
    assert indicated_speed(speed, factor * pulses, pulses) == pytest.approx(factor * speed)
    assert indicated_speed(speed, pulses, factor * pulses) == pytest.approx(speed / factor)
    assert indicated_speed(0.0, pulses, factor * pulses) == 0.0
    assert indicated_speed(-speed, pulses, factor * pulses) == -indicated_speed(speed, pulses, factor * pulses)


@QUICK
@given(st.floats(1.0, 45.0), radii, st.floats(1.01, 1.2), ratios, teeth)
def test_larger_tyres_make_the_speedometer_read_low_by_their_share(speed, radius, larger, ratio, count):
    """Kinematics from end to end: the controller was told of the old tyre."""
    told = pulses_per_mile(revolutions_per_mile(radius), ratio, count)
    fitted = pulses_per_mile(revolutions_per_mile(larger * radius), ratio, count)
    assert indicated_speed(speed, fitted, told) == pytest.approx(speed / larger, rel=1e-12)


kelvins = st.floats(233.0, 423.0)
steepness = st.floats(3000.0, 4500.0)


@QUICK
@given(kelvins, steepness)
def test_a_thermistor_falls_as_it_warms_and_reads_back(temperature, beta):
    """Closed form: R(25 C) is the stated value, and d ln R/d(1/T) is beta."""
    resistance = thermistor_resistance(temperature, 2500.0, beta)
    assert thermistor_resistance(298.15, 2500.0, beta) == pytest.approx(2500.0)
    assert thermistor_resistance(temperature + 1.0, 2500.0, beta) < resistance
    slope = (
        math.log(resistance / 2500.0) / (1.0 / temperature - 1.0 / 298.15) if abs(temperature - 298.15) > 1.0 else beta
    )
    assert slope == pytest.approx(beta, rel=1e-6)
    assert thermistor_temperature(resistance, 2500.0, beta) == pytest.approx(temperature, abs=1e-9)


def test_the_inverse_of_the_thermistor_agrees_with_a_root_finder():
    """scipy's brentq finds the temperature at which the forward law gives a resistance; the backward law must give the same."""
    for resistance in (70.0, 300.0, 2500.0, 20000.0):
        root = brentq(lambda t, r=resistance: thermistor_resistance(t, 2500.0, 3500.0) - r, 200.0, 500.0, xtol=1e-10)
        assert thermistor_temperature(resistance, 2500.0, 3500.0) == pytest.approx(root, abs=1e-6)


def test_the_single_beta_law_is_near_the_three_term_law():
    """The three-term (Steinhart-Hart) fit of the same published-style table, its printed coefficients (common practice, no
    source): from -10 to 140 C the single-beta law is within 1.5 C of it, as the fit is stated."""
    a, b, c = 0.00133612831, 0.000255976281, 1.50695818e-7
    for celsius in range(-10, 141, 10):
        resistance = thermistor_resistance(celsius + 273.15, 2044.0, 3640.0)
        logarithm = math.log(resistance)
        exact = 1.0 / (a + b * logarithm + c * logarithm**3)
        assert exact - 273.15 == pytest.approx(celsius, abs=1.55)


@QUICK
@given(st.floats(1.0, 1e6), st.floats(500.0, 5000.0), st.floats(4.5, 5.5))
def test_a_divider_stays_between_ground_and_supply_and_reads_back(resistance, pull_up, supply):
    voltage = divider_voltage(resistance, pull_up, supply)
    assert 0.0 < voltage < supply
    current = (supply - voltage) / pull_up  # Kirchhoff: what flows through one flows through the other
    assert voltage == pytest.approx(current * resistance, rel=1e-6)
    assert divider_resistance(voltage, pull_up, supply) == pytest.approx(resistance, rel=1e-6)
    assert divider_voltage(0.0, pull_up, supply) == 0.0
    assert divider_voltage(1e15, pull_up, supply) == pytest.approx(supply)


@QUICK
@given(st.floats(0.0, 1.0), st.floats(4.0, 6.0))
def test_the_supply_of_a_ratiometric_sensor_cancels(share, supply):
    voltage = ratiometric_voltage(share, 0.1, 0.9, supply)
    assert 0.1 * supply <= voltage <= 0.9 * supply + 1e-12
    assert ratiometric_share(voltage, 0.1, 0.9, supply) == pytest.approx(share, abs=1e-12)
    assert ratiometric_voltage(9.0, 0.1, 0.9, supply) == supply
    assert ratiometric_voltage(-9.0, 0.1, 0.9, supply) == 0.0


@QUICK
@given(st.floats(0.0, 400.0), teeth)
def test_a_wheel_gives_a_pulse_a_tooth(turning, count):
    frequency = tone_wheel_frequency(turning, count)
    assert frequency == pytest.approx(count * turning / (2.0 * math.pi))
    assert tone_wheel_frequency(-turning, count) == frequency
    assert tone_wheel_speed(frequency, count) == pytest.approx(turning)


def test_a_contact_pulls_its_pin_to_ground():
    assert contact_voltage(1.0, 5.0) == 0.0
    assert contact_voltage(0.0, 5.0) == 5.0


@QUICK
@given(st.floats(10.0, 40.0), st.floats(10000.0, 60000.0), st.floats(0.8, 1.2))
def test_the_corrected_number_makes_the_needle_tell_the_truth(true, fitted, wrong):
    told = wrong * fitted
    new = corrected_pulses(told, indicated_speed(true, fitted, told), true)
    assert new == pytest.approx(fitted)
    assert indicated_speed(true, fitted, new) == pytest.approx(true)


def test_oil_pressure_rises_with_speed_and_cold_oil_up_to_the_relief_valve():
    idle, warm, cold, relief = 68.0, 15.0, 400.0, 4.5e5

    def pressure(speed, viscosity=warm, delivery=1.0):
        return oil_pressure(speed, idle, viscosity, warm, 1.8e5, relief, delivery)

    assert pressure(0.0) == 0.0
    assert pressure(idle) == pytest.approx(1.8e5)
    assert pressure(idle) < pressure(1.5 * idle) < relief
    assert pressure(3.0 * idle) == pressure(idle, cold) == relief
    assert pressure(idle, delivery=0.4) == pytest.approx(0.4 * 1.8e5)


@QUICK
@given(st.floats(240.0, 320.0), st.floats(321.0, 390.0), st.floats(0.0, 1.0))
def test_fuel_is_between_air_and_coolant(outside, coolant, share):
    assert outside <= fuel_temperature(outside, coolant, share) <= coolant + 1e-9
