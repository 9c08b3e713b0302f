"""The march itself: against closed solutions, a general-purpose integrator, half the tick, and itself uncompiled."""

import hashlib
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from decision_free import STILL_AIR, fixed_pedal, general_purpose, halving_ratios


def test_coast_down_in_neutral_has_a_closed_solution(parked):
    """m v' = -(A + C v²) has v = sqrt(A/C) tan(atan(v0 sqrt(C/A)) - t sqrt(A C)/m) (any mechanics handbook)."""
    clock = parked("grade:0%,100km", "start.speed_km_h=90", *STILL_AIR, spec=("vehicle.rolling_growth_s_per_m=0",))
    clock.mean(hand_lever=0.0, clutch_wanted=1.0)
    clock.rig.memory.state["gear"][0] = 0.0
    clock.rig.memory.state["clutch_engagement"][0] = 0.0
    p = clock.rig.parameters[0]
    v0, seconds = 25.0, 60.0
    clock.run(until=round(seconds / clock.tick))
    mass = p["vehicle_body"] + p["wheel_body"]
    constant = p["mass"] * 9.80665 * p["rolling_constant"] + p["axle_drag"] / p["axle_efficiency"] / p["tyre_radius"]
    square = 0.5 * 1.225 * p["drag_area"]
    angle = math.atan(v0 * math.sqrt(square / constant)) - seconds * math.sqrt(constant * square) / mass
    expected = math.sqrt(constant / square) * math.tan(angle)
    travelled = mass / square * math.log(math.cos(angle) / math.cos(math.atan(v0 * math.sqrt(square / constant))))
    assert clock.true("speed") == pytest.approx(expected, rel=2e-5)
    assert clock.true("distance") == pytest.approx(travelled, rel=2e-5)


def test_half_the_tick_halves_the_error():
    assert min(halving_ratios(120.0)) >= 1.8


def test_against_a_general_purpose_integrator():
    """scipy's solve_ivp at tight tolerance, same laws: time over the road and fuel within 0.1 %."""
    clock = fixed_pedal(0.01, 240.0)
    for name, value in general_purpose(240.0).items():
        assert clock.true(name) == pytest.approx(value, rel=1e-3)


TRIP = """
import hashlib, sys
from sim import load_route, load_settings, load_truck, run_trip
settings = load_settings(None, ["start.speed_km_h=0", "driver.desired_speed_km_h=31.5"])
result = run_trip(load_truck(sys.argv[1]), load_route("grade:-7%,60m,900m"), settings)
text = result.trace.csv() + result.events_csv() + repr({k: v for k, v in result.summary.items() if k != "timing"})
digest = hashlib.sha256(text.encode())
for column in result.trace.values():
    digest.update(column.tobytes())
print(digest.hexdigest())
"""


@pytest.mark.parametrize("truck", ["long-haul-manual", "older-long-haul"])
def test_compiled_equals_interpreted_to_the_bit(truck):
    """A launch, shifts, a descent and braking, once compiled and once as plain Python."""
    answers = []
    for disabled in ("0", "1"):
        environment = {**os.environ, "NUMBA_DISABLE_JIT": disabled}
        run = subprocess.run(
            [sys.executable, "-c", TRIP, truck], env=environment, capture_output=True, text=True, check=True
        )
        answers.append(run.stdout.strip())
    assert len(answers[0]) == len(hashlib.sha256().hexdigest())
    assert answers[0] == answers[1]


def test_distance_is_measured_along_the_road(parked):
    """On 35 % the height gained is sin(atan(0.35)), not 0.35, of the way."""
    clock = parked("grade:-35%,2km,1500m", "start.speed_km_h=40")
    clock.run(until=1000)
    assert 1500.0 - clock.true("elevation") == pytest.approx(
        clock.true("distance") * math.sin(math.atan(0.35)), rel=1e-9
    )


def test_log_rows_come_on_whole_steps_and_at_events(parked):
    clock = parked("grade:0%,10km", "simulation.log_s=0.5")
    clock.run(until=1234)
    clock.record("noted", "test")
    clock.record("noted", "twice in one tick")
    clock.run(until=2000)
    ticks = clock.log()[:, 0]
    assert np.array_equal(ticks, np.sort(np.append(np.arange(0, 2001, 50), 1234)))
