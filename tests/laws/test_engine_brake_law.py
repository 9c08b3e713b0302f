"""The compression-release engine brake: limits and balances of the laws in sim/laws/engine_brake.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from sim.laws.engine_brake import (
    braking_boost_target,
    braking_exhaust_pressure,
    braking_mean_pressure,
    compression_work_ratio,
)

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

ratios = st.floats(12.0, 22.0)
exponents = st.floats(1.2, 1.4)
ambients = st.floats(60e3, 105e3)
pressures = st.floats(60e3, 400e3)
REFERENCE_SPEED = 2100.0 * math.pi / 30.0
LEAST_SPEED = 600.0 * math.pi / 30.0


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
@given(pressures, ambients, st.floats(1.0, 2.5), st.floats(0.0, 2.0))
def test_exhaust_pressure_is_above_what_drives_it(manifold, ambient, factor, share):
    exhaust = braking_exhaust_pressure(manifold, ambient, factor, share)
    assert exhaust >= manifold
    assert braking_exhaust_pressure(manifold, ambient, 1.0, 0.0) == manifold
    assert braking_exhaust_pressure(1.1 * manifold, ambient, factor, share) > exhaust
    assert braking_exhaust_pressure(manifold, ambient, factor, share + 0.1) > exhaust


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


speeds = st.floats(0.0, 280.0)
rated = st.floats(1.0, 3.0)
shares = st.floats(0.0, 1.0)
share_exponents = st.floats(0.0, 1.5)


@QUICK
@given(speeds, ambients, rated, shares, share_exponents)
def test_boost_while_braking_is_never_below_ambient(speed, ambient, ratio, share, exponent):
    target = braking_boost_target(speed, ambient, ratio, share, exponent)
    assert target >= ambient
    assert braking_boost_target(speed, 0.5 * ambient, ratio, share, exponent) == pytest.approx(0.5 * target)


@QUICK
@given(speeds, ambients, rated, shares, share_exponents, st.floats(0.0, 40.0))
def test_boost_while_braking_grows_with_speed_and_with_cylinders(speed, ambient, ratio, share, exponent, more):
    here = braking_boost_target(speed, ambient, ratio, share, exponent)
    assert braking_boost_target(speed + more, ambient, ratio, share, exponent) >= here
    assert braking_boost_target(speed, ambient, ratio, min(share + 0.01 * more, 1.0), exponent) >= here
    assert braking_boost_target(speed, ambient, ratio + 0.1, share, exponent) >= here


@QUICK
@given(ambients, rated, shares, share_exponents)
def test_no_boost_from_a_slow_engine_or_without_cylinders(ambient, ratio, share, exponent):
    assert braking_boost_target(LEAST_SPEED, ambient, ratio, share, exponent) == pytest.approx(ambient, rel=1e-9)
    assert braking_boost_target(0.5 * LEAST_SPEED, ambient, ratio, share, exponent) == ambient
    assert braking_boost_target(0.0, ambient, ratio, share, exponent) == ambient
    assert braking_boost_target(REFERENCE_SPEED, ambient, ratio, 0.0, exponent) == ambient
    assert braking_boost_target(REFERENCE_SPEED, ambient, 1.0, share, exponent) == ambient


@QUICK
@given(ambients, rated, st.floats(0.1, 0.9))
def test_rated_ratio_is_reached_with_all_cylinders_at_the_stated_speed(ambient, ratio, share):
    rated_target = braking_boost_target(REFERENCE_SPEED, ambient, ratio, 1.0, 0.4)
    assert rated_target == pytest.approx(ratio * ambient)
    assert braking_boost_target(REFERENCE_SPEED, ambient, ratio, share, 0.0) == pytest.approx(rated_target)
    if ratio > 1.01:
        assert braking_boost_target(REFERENCE_SPEED, ambient, ratio, share, 0.4) < rated_target
