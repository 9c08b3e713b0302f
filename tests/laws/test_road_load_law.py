"""Road and air forces: limits, signs and symmetry of the laws in sim/laws/road_load.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.road_load import (
    aerodynamic_drag,
    grade_cosine,
    grade_force,
    grade_sine,
    rolling_resistance,
    traction_limit,
)
from sim.units import STANDARD_GRAVITY

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

grades = st.floats(-0.35, 0.35)
masses = st.floats(3000.0, 80000.0)
speeds = st.floats(-40.0, 40.0)
winds = st.floats(-30.0, 30.0)
densities = st.floats(0.6, 1.5)
areas = st.floats(1.0, 15.0)


@QUICK
@given(st.floats(-1e3, 1e3))
def test_sine_is_that_of_the_slope_angle(grade):
    assert grade_sine(grade) == pytest.approx(math.sin(math.atan(grade)), rel=1e-12, abs=1e-15)
    assert grade_sine(-grade) == -grade_sine(grade)
    assert abs(grade_sine(grade)) <= 1.0


@QUICK
@given(st.floats(-1e3, 1e3))
def test_cosine_is_that_of_the_same_angle(grade):
    assert grade_cosine(grade) == pytest.approx(math.cos(math.atan(grade)), rel=1e-12)
    assert grade_cosine(grade) == grade_cosine(-grade)
    assert grade_sine(grade) ** 2 + grade_cosine(grade) ** 2 == pytest.approx(1.0, rel=1e-12)
    assert grade_cosine(0.0) == 1.0


@QUICK
@given(grades, st.floats(1e-6, 0.1))
def test_sine_rises_with_the_grade_and_is_below_it(grade, more):
    assert grade_sine(grade + more) > grade_sine(grade)
    assert abs(grade_sine(grade)) <= abs(grade)


@QUICK
@given(masses, grades)
def test_uphill_holds_back_and_downhill_pulls(mass, grade):
    force = grade_force(mass, grade_sine(grade))
    assert math.copysign(1.0, force) == math.copysign(1.0, grade)
    assert grade_force(mass, grade_sine(-grade)) == -force
    assert abs(force) <= mass * STANDARD_GRAVITY
    assert grade_force(mass, 0.0) == 0.0


def test_a_wall_carries_the_whole_weight():
    assert grade_force(1000.0, grade_sine(1e9)) == pytest.approx(1000.0 * STANDARD_GRAVITY)


@QUICK
@given(masses, grades, speeds)
def test_rolling_is_symmetric_in_the_sign_of_speed(mass, grade, speed):
    cosine = grade_cosine(grade)
    forward = rolling_resistance(mass, cosine, 0.005, 5e-5, speed)
    assert forward == rolling_resistance(mass, cosine, 0.005, 5e-5, -speed)
    assert forward > 0.0


@QUICK
@given(masses, st.floats(0.0, 40.0), st.floats(0.01, 10.0))
def test_rolling_grows_with_speed_and_with_load(mass, speed, more):
    here = rolling_resistance(mass, 1.0, 0.005, 5e-5, speed)
    assert rolling_resistance(mass, 1.0, 0.005, 5e-5, speed + more) > here
    assert rolling_resistance(mass, 1.0, 0.005, 0.0, speed + more) == rolling_resistance(mass, 1.0, 0.005, 0.0, speed)
    assert rolling_resistance(2.0 * mass, 1.0, 0.005, 5e-5, speed) == pytest.approx(2.0 * here)
    assert rolling_resistance(mass, 0.9, 0.005, 5e-5, speed) < here


@QUICK
@given(masses, st.floats(0.001, 0.05), speeds)
def test_the_coefficient_is_force_over_weight(mass, coefficient, speed):
    weight = mass * STANDARD_GRAVITY
    assert rolling_resistance(mass, 1.0, coefficient, 0.0, speed) / weight == pytest.approx(coefficient)


def test_no_load_and_no_coefficient_roll_freely():
    assert rolling_resistance(0.0, 1.0, 0.005, 5e-5, 20.0) == 0.0
    assert rolling_resistance(36000.0, 1.0, 0.0, 0.0, 20.0) == 0.0


@QUICK
@given(densities, areas, speeds)
def test_no_drag_in_air_that_moves_along(density, area, speed):
    assert aerodynamic_drag(density, area, speed, -speed) == 0.0


@QUICK
@given(densities, areas, st.floats(0.0, 30.0), st.floats(0.1, 20.0))
def test_a_tail_wind_faster_than_the_truck_pushes(density, area, speed, excess):
    assert aerodynamic_drag(density, area, speed, -(speed + excess)) < 0.0
    assert aerodynamic_drag(density, area, speed, -(speed - excess)) > 0.0


@QUICK
@given(densities, areas, speeds, winds)
def test_drag_turns_round_with_the_air(density, area, speed, wind):
    drag = aerodynamic_drag(density, area, speed, wind)
    assert aerodynamic_drag(density, area, -speed, -wind) == -drag
    assert drag * (speed + wind) >= 0.0, "drag may not give energy to what moves through the air"


@QUICK
@given(densities, areas, speeds, winds, st.floats(0.1, 10.0))
def test_drag_rises_with_speed_and_with_head_wind(density, area, speed, wind, more):
    here = aerodynamic_drag(density, area, speed, wind)
    assert aerodynamic_drag(density, area, speed + more, wind) > here
    assert aerodynamic_drag(density, area, speed, wind + more) > here
    assert aerodynamic_drag(density, area, speed, wind + more) == pytest.approx(
        aerodynamic_drag(density, area, speed + more, wind), rel=1e-9, abs=1e-9
    )


@QUICK
@given(densities, areas, st.floats(1.0, 40.0))
def test_twice_the_speed_makes_four_times_the_drag(density, area, speed):
    here = aerodynamic_drag(density, area, speed, 0.0)
    assert aerodynamic_drag(density, area, 2.0 * speed, 0.0) == pytest.approx(4.0 * here)
    assert aerodynamic_drag(2.0 * density, area, speed, 0.0) == pytest.approx(2.0 * here)
    assert aerodynamic_drag(density, 0.5 * area, speed, 0.0) == pytest.approx(0.5 * here)


@QUICK
@given(st.floats(0.02, 1.2), st.floats(0.0, 6e5))
def test_grip_and_load_share_the_traction(grip, load):
    limit = traction_limit(grip, load)
    assert limit >= 0.0
    assert traction_limit(grip, 0.0) == traction_limit(0.0, load) == 0.0
    assert traction_limit(0.5 * grip, load) == pytest.approx(0.5 * limit)
    assert limit <= 1.2 * load
