"""The published grade-severity model: limits of its equations, and the rate against the printed exponential.

Equations and set A: Wyoming DOT update of the Grade Severity Rating System (report WY-1901F, 2018, and follow-up), seen
second-hand; set B: FHWA-RD-79-116, FHWA-RD-81-185, FHWA-IP-88-015, constants from memory. Laws in sim/laws/grade_severity.py.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.laws.grade_severity import (
    AMBIENT_TEMPERATURE_F,
    LIMIT_TEMPERATURE_F,
    START_TEMPERATURE_F,
    brake_temperature_rate,
    cooling_rate,
    descent_brake_power,
    descent_temperature,
    engine_drag,
    heating_coefficient,
    natural_drag,
    stop_temperature_rise,
)
from sim.units import HORSEPOWER, MILE_PER_HOUR, POUND_FORCE

QUICK = settings(max_examples=30, deadline=None, derandomize=True, database=None)

both_sets = pytest.mark.parametrize("updated", [True, False], ids=["set A", "set B"])
speeds = st.floats(5.0, 70.0)
weights = st.floats(20e3, 120e3)
grades = st.floats(0.0, 0.12)
powers = st.floats(0.0, 600.0)
starts = st.floats(60.0, 700.0)
airs = st.floats(0.0, 120.0)
lengths = st.floats(0.01, 20.0)


def test_the_stated_temperatures_stand_in_order():
    assert AMBIENT_TEMPERATURE_F < START_TEMPERATURE_F < LIMIT_TEMPERATURE_F


@both_sets
@QUICK
@given(speed=speeds, weight=weights, grade=grades, retarding=powers)
def test_brake_power_is_clamped_at_zero(updated, speed, weight, grade, retarding):
    power = descent_brake_power(weight, grade, speed, retarding, updated)
    assert power >= 0.0
    assert descent_brake_power(weight, 0.0, speed, retarding, updated) == 0.0
    assert descent_brake_power(weight, grade, speed, 1e6, updated) == 0.0
    assert descent_brake_power(weight + 1e4, grade, speed, retarding, updated) >= power
    assert descent_brake_power(weight, grade + 0.01, speed, retarding, updated) >= power
    assert descent_brake_power(weight, grade, speed, retarding + 50.0, updated) <= power


@both_sets
@QUICK
@given(speed=speeds, weight=st.floats(60e3, 120e3), more=st.floats(1e3, 4e4), grade=st.floats(0.06, 0.12))
def test_added_weight_adds_its_own_power(updated, speed, weight, more, grade):
    """First principles: height given up in a second times weight, with the horsepower as it is defined."""
    added = descent_brake_power(weight + more, grade, speed, 0.0, updated) - descent_brake_power(
        weight, grade, speed, 0.0, updated
    )
    watts = more * POUND_FORCE * grade * speed * MILE_PER_HOUR
    assert added == pytest.approx(watts / HORSEPOWER, rel=1e-6)


@both_sets
def test_a_light_truck_on_a_shallow_grade_does_not_cool_below_the_air(updated):
    power = descent_brake_power(20000.0, 0.01, 50.0, engine_drag(updated), updated)
    settled = descent_temperature(90.0, 90.0, power, 100.0, 50.0, updated)
    assert power == 0.0
    assert settled == 90.0


@both_sets
@QUICK
@given(start=starts, air=airs, power=powers, speed=speeds)
def test_no_length_changes_nothing_and_a_long_one_settles(updated, start, air, power, speed):
    """Limits of the printed exponential: L = 0 gives T_0; L to infinity gives T_inf + K2 P_B, derived here."""
    settled = air + heating_coefficient(speed, updated) * power
    assert descent_temperature(start, air, power, 0.0, speed, updated) == start
    assert descent_temperature(start, air, power, 1e5, speed, updated) == pytest.approx(settled)
    assert brake_temperature_rate(settled, air, power, speed, updated) == pytest.approx(0.0, abs=1e-6)


@both_sets
@QUICK
@given(start=starts, air=airs, power=powers, speed=speeds, length=lengths)
def test_the_rate_integrates_to_the_printed_exponential(updated, start, air, power, speed, length):
    """A general-purpose integrator on the rate, beside the closed form as it is printed."""
    run = solve_ivp(
        lambda _, y: [brake_temperature_rate(y[0], air, power, speed, updated)],
        (0.0, length / speed),
        [start],
        rtol=1e-10,
        atol=1e-9,
    )
    assert run.y[0, -1] == pytest.approx(descent_temperature(start, air, power, length, speed, updated), abs=1e-5)


@both_sets
@QUICK
@given(start=starts, air=airs, power=powers, speed=speeds, length=lengths, share=st.floats(0.05, 0.95))
def test_two_sections_make_the_whole(updated, start, air, power, speed, length, share):
    half_way = descent_temperature(start, air, power, share * length, speed, updated)
    end = descent_temperature(half_way, air, power, (1.0 - share) * length, speed, updated)
    assert end == pytest.approx(descent_temperature(start, air, power, length, speed, updated), rel=1e-9)


@both_sets
@QUICK
@given(start=starts, air=airs, power=powers, speed=speeds, length=lengths)
def test_temperature_goes_towards_where_it_settles_and_stops_there(updated, start, air, power, speed, length):
    settled = air + heating_coefficient(speed, updated) * power
    end = descent_temperature(start, air, power, length, speed, updated)
    assert min(start, settled) - 1e-9 <= end <= max(start, settled) + 1e-9
    assert (end - start) * brake_temperature_rate(start, air, power, speed, updated) >= 0.0
    assert descent_temperature(start, air, power + 10.0, length, speed, updated) > end


@both_sets
@QUICK
@given(speed=speeds, more=st.floats(0.1, 20.0))
def test_constants_move_with_speed_as_air_does(updated, speed, more):
    assert 0.0 < cooling_rate(speed, updated) < cooling_rate(speed + more, updated)
    assert 0.0 < heating_coefficient(speed + more, updated) < heating_coefficient(speed, updated)
    assert 0.0 < natural_drag(speed, updated) < natural_drag(speed + more, updated)
    assert engine_drag(updated) > 0.0


@QUICK
@given(speed=speeds)
def test_the_two_sets_are_two_opinions(speed):
    for law in (cooling_rate, heating_coefficient, natural_drag):
        assert law(speed, True) != law(speed, False)
    assert engine_drag(True) != engine_drag(False)


@QUICK
@given(weight=weights, speed=speeds)
def test_a_stop_heats_with_its_energy(weight, speed):
    rise = stop_temperature_rise(weight, speed)
    assert rise > 0.0
    assert stop_temperature_rise(2.0 * weight, speed) == pytest.approx(2.0 * rise)
    assert stop_temperature_rise(weight, 2.0 * speed) == pytest.approx(4.0 * rise)
    assert stop_temperature_rise(weight, 0.0) == stop_temperature_rise(0.0, speed) == 0.0
