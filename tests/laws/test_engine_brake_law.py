"""The compression-release engine brake: limits and balances of the laws in sim/laws/engine_brake.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from sim.laws.engine_brake import braking_mean_pressure, compression_work_ratio

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

ratios = st.floats(12.0, 22.0)
exponents = st.floats(1.2, 1.4)
pressures = st.floats(60e3, 400e3)


@QUICK
@given(ratios, exponents)
def test_compression_work_is_the_area_under_the_polytropic_line(ratio, exponent):
    """First principles: the integral of p dV from bottom to top, by a general-purpose integrator, over swept volume."""
    clearance = 1.0 / (ratio - 1.0)  # swept volume 1, pressure at the bottom 1
    bottom = 1.0 + clearance
    area, _ = quad(lambda volume: (bottom / volume) ** exponent, clearance, bottom, epsrel=1e-12)
    assert compression_work_ratio(ratio, exponent) == pytest.approx(area, rel=1e-9)


@pytest.mark.parametrize("ratio", [12.0, 17.0, 22.0])
def test_slow_compression_tends_to_the_isothermal_work(ratio):
    """As the exponent falls to 1 the work tends to r/(r - 1) ln r, the isothermal work of any handbook."""
    isothermal = ratio / (ratio - 1.0) * math.log(ratio)
    assert compression_work_ratio(ratio, 1.0 + 1e-7) == pytest.approx(isothermal, rel=1e-6)


def test_a_small_compression_only_pushes_the_volume_back():
    assert compression_work_ratio(1.0 + 1e-6, 1.35) == pytest.approx(1.0, rel=1e-5)


@QUICK
@given(ratios, exponents)
def test_tighter_and_faster_compression_costs_more(ratio, exponent):
    here = compression_work_ratio(ratio, exponent)
    assert here > 1.0
    assert compression_work_ratio(ratio + 1.0, exponent) > here
    assert compression_work_ratio(ratio, exponent + 0.02) > here


@QUICK
@given(pressures, st.floats(0.0, 2e5), st.floats(3.0, 6.0), st.floats(0.0, 0.5))
def test_a_working_cylinder_holds_back(manifold, over, work, returned):
    here = braking_mean_pressure(manifold, manifold + over, work, returned)
    assert here > 0.0
    assert braking_mean_pressure(manifold, manifold + over, work, returned + 0.1) < here
    assert braking_mean_pressure(manifold, manifold + over + 1e4, work, returned) == pytest.approx(here + 1e4)
    assert braking_mean_pressure(0.8 * manifold, 0.8 * (manifold + over), work, returned) == pytest.approx(0.8 * here)


def test_an_air_spring_that_returns_all_its_work_leaves_the_pumping():
    assert braking_mean_pressure(2.0e5, 2.6e5, 5.0, 1.0) == pytest.approx(0.6e5)
