"""Speed counted in pulses: limits and signs of the laws in sim/laws/sensing.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.sensing import indicated_speed, pulses_per_mile, revolutions_per_mile
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
