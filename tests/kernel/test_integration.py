"""The march itself: against closed solutions, a general-purpose integrator, half the tick, and itself uncompiled."""

import hashlib
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim import plant
from sim.controller import sense
from sim.kernel import look_up_road
from sim.laws.lag import lag_rate

STILL_AIR = ("weather.pressure_kpa=101.325", "weather.temperature_c=15")


def test_coast_down_in_neutral_has_a_closed_solution(parked):
    """m v' = -(A + C v²) has v = sqrt(A/C) tan(atan(v0 sqrt(C/A)) - t sqrt(A C)/m) (any mechanics handbook)."""
    clock = parked("grade:0%,100km", "start.speed_km_h=90", *STILL_AIR, spec=("vehicle.rolling_growth_s_per_m=0",))
    clock.set(gear=0.0, clutch=0.0)
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


def fixed_pedal(parked, tick: float, seconds: float):
    """A trip without a decision: top gear, fixed pedal, rolling road, friction that does not depend on the oil."""
    clock = parked(
        "grade-profile-1037",
        "start.speed_km_h=80",
        f"simulation.tick_s={tick}",
        *STILL_AIR,
        spec=("engine.oil_exponent=0", "accessories.leak_kpa_per_s=0"),
    )
    clock.set(accelerator_mode=0.0, accelerator=0.45)
    clock.rig.memory.state["accelerator"][0] = 0.45
    if seconds:
        clock.run(until=round(seconds / tick))
    return clock


def test_half_the_tick_halves_the_error(parked):
    seconds = 120.0
    finest = fixed_pedal(parked, 0.00125, seconds)
    errors = [
        abs(fixed_pedal(parked, tick, seconds).true("distance") - finest.true("distance"))
        for tick in (0.04, 0.02, 0.01)
    ]
    assert errors[0] / errors[1] >= 1.8
    assert errors[1] / errors[2] >= 1.8


def test_against_a_general_purpose_integrator(parked):
    """scipy's solve_ivp at tight tolerance, same laws: time over the road and fuel within 0.1 %."""
    seconds = 240.0
    clock = fixed_pedal(parked, 0.01, seconds)
    start = fixed_pedal(parked, 0.01, 0.0)
    memory, p, tables, road = start.rig.memory, start.rig.parameters[0], start.rig.tables, start.rig.road
    s, b, c = memory.state[0], memory.belief[0], memory.command[0]
    per_metre = tables[3, int(s["gear"])] * p["axle_ratio"] / p["tyre_radius"]

    def rates(_time, y):
        s["distance"], s["speed"], s["manifold_pressure"] = y[0], y[1], y[2]
        s["elevation"], s["wheel_speed"], s["engine_speed"] = y[4], y[1], y[1] * per_metre
        s["air_elevation"] = -1e6
        look_up_road(s, road, 0)
        sense(s, b, c, p)
        plant.settle(s, b, c, p, tables)
        target, lag = plant.manifold_target(s, p, tables)
        acceleration = plant.rolling_acceleration(s, p, tables)
        return [y[1], acceleration, lag_rate(y[2], target, lag), s["fuel_rate"], y[1] * s["sine"]]

    y0 = [0.0, s["speed"], s["manifold_pressure"], 0.0, s["elevation"]]
    solution = solve_ivp(rates, (0.0, seconds), y0, rtol=1e-8, atol=1e-8, max_step=2.0)
    assert solution.success
    assert clock.true("distance") == pytest.approx(solution.y[0, -1], rel=1e-3)
    assert clock.true("speed") == pytest.approx(solution.y[1, -1], rel=1e-3)
    assert clock.true("fuel_mass") == pytest.approx(solution.y[3, -1], rel=1e-3)


TRIP = """
import hashlib, sys
from sim import load_route, load_settings, load_truck, run_trip
settings = load_settings(None, ["start.speed_km_h=0", "driver.speed_limit_share=0.35"])
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
    assert np.array_equal(ticks, np.sort(np.append(np.arange(50, 2001, 50), 1234)))
