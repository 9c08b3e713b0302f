"""The air: limits, signs and balance of the laws in sim/laws/air.py."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.air import air_density, ambient_pressure, ambient_temperature
from sim.units import SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE, STANDARD_GRAVITY

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

altitudes = st.floats(-400.0, 10900.0)
temperatures = st.floats(240.0, 325.0)
pressures = st.floats(50e3, 110e3)


def air_at(altitude, reference_altitude=0.0, temperature=SEA_LEVEL_TEMPERATURE, pressure=SEA_LEVEL_PRESSURE):
    """Temperature, pressure and density at an altitude."""
    there = ambient_temperature(altitude, reference_altitude, temperature)
    pressed = ambient_pressure(there, temperature, pressure)
    return there, pressed, air_density(pressed, there)


@QUICK
@given(altitudes, temperatures, pressures)
def test_the_reference_height_keeps_its_own_air(altitude, temperature, pressure):
    there, pressed, _ = air_at(altitude, altitude, temperature, pressure)
    assert there == temperature
    assert pressed == pressure


@QUICK
@given(altitudes, st.floats(1.0, 2000.0), temperatures, pressures)
def test_higher_is_colder_thinner_and_lighter(altitude, rise, temperature, pressure):
    low = air_at(altitude, altitude, temperature, pressure)
    high = air_at(altitude + rise, altitude, temperature, pressure)
    assert all(above < below for above, below in zip(high, low, strict=True))
    assert all(value > 0.0 for value in high)


@QUICK
@given(st.floats(0.0, 10000.0), temperatures, pressures)
def test_pressure_carries_the_weight_of_the_air_above(altitude, temperature, pressure):
    """Hydrostatic balance, first principles: dp/dh = -rho g."""
    step = 1.0
    _, above, _ = air_at(altitude + step, 0.0, temperature, pressure)
    _, below, _ = air_at(altitude - step, 0.0, temperature, pressure)
    _, _, density = air_at(altitude, 0.0, temperature, pressure)
    assert (above - below) / (2.0 * step) == pytest.approx(-density * STANDARD_GRAVITY, rel=1e-6)


@QUICK
@given(altitudes, altitudes, temperatures, pressures)
def test_the_way_up_does_not_matter(middle, top, temperature, pressure):
    there, pressed, _ = air_at(middle, 0.0, temperature, pressure)
    by_way_of = air_at(top, middle, there, pressed)
    assert by_way_of == pytest.approx(air_at(top, 0.0, temperature, pressure), rel=1e-10)


@QUICK
@given(pressures, temperatures, st.floats(1.01, 3.0))
def test_density_follows_pressure_and_fights_temperature(pressure, temperature, factor):
    density = air_density(pressure, temperature)
    assert air_density(factor * pressure, temperature) == pytest.approx(factor * density)
    assert air_density(pressure, factor * temperature) == pytest.approx(density / factor)
    assert air_density(0.0, temperature) == 0.0
