"""A first-order lag: sign, rest, the 63 % of its time constant and its delay behind a ramp. Law in sim/laws/lag.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.laws.lag import lag_rate

QUICK = settings(max_examples=30, deadline=None, derandomize=True, database=None)

values = st.floats(-1e3, 1e3)
lags = st.floats(0.05, 5.0)


@QUICK
@given(values, values, lags)
def test_it_goes_towards_its_target_and_rests_there(value, target, lag):
    assert lag_rate(value, target, lag) * (target - value) >= 0.0
    assert lag_rate(target, target, lag) == 0.0
    assert abs(lag_rate(value, target, 2.0 * lag)) <= abs(lag_rate(value, target, lag))
    assert lag_rate(-value, -target, lag) == -lag_rate(value, target, lag)


@QUICK
@given(values, values, lags)
def test_after_its_time_constant_all_but_one_part_in_e_is_done(start, target, lag):
    """Closed solution of the first-order lag, any control handbook: x = x_t + (x_0 - x_t) exp(-t/tau)."""
    run = solve_ivp(lambda _, y: [lag_rate(y[0], target, lag)], (0.0, lag), [start], rtol=1e-10, atol=1e-10)
    assert run.y[0, -1] == pytest.approx(target + (start - target) / math.e, abs=1e-5)


@QUICK
@given(st.floats(1.0, 1e3), st.floats(0.05, 1.0))
def test_a_ramp_is_followed_one_time_constant_later(slope, lag):
    end = 20.0 * lag
    run = solve_ivp(lambda t, y: [lag_rate(y[0], slope * t, lag)], (0.0, end), [0.0], rtol=1e-10, atol=1e-10)
    assert run.y[0, -1] == pytest.approx(slope * (end - lag), rel=1e-6)
