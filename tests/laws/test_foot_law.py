"""What feet do between two decisions: limits and signs of the laws in sim/laws/foot.py."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.foot import (
    clutch_share,
    let_in,
    moved_towards,
    overspeed_stage,
    slowing_distance,
    snubbing_demand,
    speed_hold_demand,
    stopping_deceleration,
)

QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)

values = st.floats(-100.0, 100.0)
rates = st.floats(0.0, 50.0)
steps = st.floats(0.001, 0.1)


@QUICK
@given(values, values, rates, rates, steps)
def test_a_move_stays_within_its_rate_and_never_overshoots(value, target, rise, fall, step):
    moved = moved_towards(value, target, rise, fall, step)
    assert min(value, target) <= moved <= max(value, target)
    assert value - fall * step <= moved <= value + rise * step
    if value - fall * step <= target <= value + rise * step:
        assert moved == target


@QUICK
@given(values, values)
def test_a_foot_without_rate_stays_and_one_in_place_stays(value, target):
    assert moved_towards(value, target, 0.0, 0.0, 0.01) == value
    assert moved_towards(value, value, 5.0, 5.0, 0.01) == value


def test_repeated_moves_arrive_exactly_and_on_time():
    value, moves = 0.0, 0
    while value != 1.0:
        value = moved_towards(value, 1.0, 0.7, 0.7, 0.01)
        moves += 1
    assert moves == 143, "1/(0.7 times 0.01) is 142.9"
    assert moved_towards(value, 1.0, 0.7, 0.7, 0.01) == 1.0


@QUICK
@given(st.floats(-10.0, 10.0), st.floats(0.01, 1.0), st.floats(0.1, 5.0), st.floats(0.1, 5.0), st.floats(0.01, 5.0))
def test_speed_hold_presses_more_the_further_it_is_below(error, integral, below, above, more):
    demand = speed_hold_demand(error, integral, below, above)
    assert demand >= 0.0
    if error > -above:
        assert speed_hold_demand(error + more, integral, below, above) > demand
        assert speed_hold_demand(error, integral + more, below, above) > demand
    assert speed_hold_demand(0.0, integral, below, above) == integral
    assert speed_hold_demand(below, 0.0, below, above) == pytest.approx(1.0), "full pedal at the lower droop"
    assert speed_hold_demand(-above, integral, below, above) == 0.0, "no fuel at the upper droop"
    assert speed_hold_demand(-0.5 * above, integral, below, above) == pytest.approx(0.5 * integral), "half way: half"


@QUICK
@given(st.integers(0, 3), st.floats(20.0, 120.0), st.floats(20.0, 100.0), st.floats(1.0, 3.0), st.floats(0.1, 5.0))
def test_a_stage_in_never_flickers(stage, speed, set_speed, first, step):
    thresholds = (set_speed, first, first + step, first + 2.0 * step, min(first, 0.9 * step))
    once = overspeed_stage(float(stage), speed, *thresholds)
    assert overspeed_stage(once, speed, *thresholds) == once, "the answer at a speed answers itself"
    faster = overspeed_stage(float(stage), speed + step, *thresholds)
    assert faster >= once, "more speed never means a lower stage"
    if speed <= set_speed:
        assert once == 0


@QUICK
@given(st.floats(5.0, 30.0), st.floats(0.0, 1.0), st.floats(0.1, 2.0))
def test_slowing_distance_is_what_a_steady_deceleration_takes(speed, share, deceleration):
    lower = share * speed
    seconds = (speed - lower) / deceleration
    assert slowing_distance(speed, lower, deceleration) == pytest.approx(0.5 * (speed + lower) * seconds, abs=1e-9)


@QUICK
@given(st.floats(0.0, 6e5), st.floats(0.0, 3.0), st.floats(-1.0, 3.0), st.floats(1e4, 5e5), st.floats(0.2, 2.0), steps)
def test_snubbing_presses_for_too_little_and_lets_go_for_too_much(demand, wanted, felt, learnt, response, step):
    after = snubbing_demand(demand, wanted, felt, learnt, response, step)
    assert after >= 0.0
    assert snubbing_demand(demand, felt, felt, learnt, response, step) == demand
    assert (after - demand) * (wanted - felt) >= 0.0
    assert snubbing_demand(0.0, 0.0, 3.0, learnt, response, step) == 0.0


@QUICK
@given(st.floats(0.0, 40.0), st.floats(0.1, 2000.0), st.floats(0.1, 50.0))
def test_stopping_deceleration_ends_at_rest_at_the_point(speed, distance, more):
    """Kinematics: what a steady deceleration takes from the square of the speed is twice it times the distance."""
    deceleration = stopping_deceleration(speed, distance)
    assert speed**2 - 2.0 * deceleration * distance == pytest.approx(0.0, abs=1e-9 * (1.0 + speed**2))
    assert stopping_deceleration(speed + more, distance) > deceleration
    assert stopping_deceleration(speed, distance + more) <= deceleration
    assert stopping_deceleration(0.0, distance) == 0.0


@QUICK
@given(st.floats(0.0, 40.0), st.floats(-100.0, 0.1))
def test_stopping_deceleration_is_finite_at_and_beyond_the_point(speed, distance):
    at_the_point = stopping_deceleration(speed, 0.1)
    assert stopping_deceleration(speed, distance) == at_the_point
    assert 0.0 <= at_the_point <= 40.0**2 / 0.2 + 1e-9


@QUICK
@given(st.floats(0.0, 300.0), st.floats(50.0, 120.0), st.floats(5.0, 80.0), st.floats(0.0, 1.0), st.floats(0.0, 20.0))
def test_a_clutch_that_is_let_in_carries_from_nothing_to_all(speed, bite, span, most, more):
    def carried(at, far=1.0):
        return clutch_share(let_in(at, bite, span, far))

    assert 0.0 <= carried(speed) <= carried(speed + more) <= 1.0
    assert carried(bite) == carried(bite - more) == 0.0
    assert carried(bite + span + more) == pytest.approx(1.0)
    assert carried(bite + 0.5 * span) == pytest.approx(0.25), "with the square of the speed"
    assert carried(speed, most) == pytest.approx(min(carried(speed), most**2), abs=1e-12)
    assert clutch_share(0.0) == 0.0 and clutch_share(1.0) == 1.0
