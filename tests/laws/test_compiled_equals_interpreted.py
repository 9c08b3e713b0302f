"""A compiled law gives the same bits as the same law interpreted, over a sweep of its range; one value in, one float out.

Every law has a row with the range of each argument. A law without a row fails the first test.
"""

import importlib
import math
import struct
from collections.abc import Callable
from pathlib import Path
from types import FunctionType

import numpy as np
import pytest

import sim.laws

POINTS = 200

SPEED = (-45.0, 45.0)
ENGINE_SPEED = (0.0, 290.0)
TORQUE = (-3500.0, 3500.0)
PRESSURE = (5e4, 5e5)
KELVIN = (230.0, 420.0)
SHARE = (0.0, 1.0)
RATIO = (0.7, 16.0)
RADIUS = (0.3, 0.8)
MASS = (3000.0, 80000.0)
STEP = (0.001, 0.05)
SWITCH = (False, True)
GEARBOX = ((0.0, 20.0), (0.0, 20.0), (0.0, 0.05))
AXLE = ((0.85, 1.0), (0.0, 200.0))
CONTROL = (SWITCH, (60.0, 80.0), (180.0, 240.0), (0.02, 0.15))
SEVERITY = ((60.0, 700.0), (0.0, 120.0), (0.0, 600.0))

SWEEPS: dict[str, dict[str, tuple[tuple[float, float], ...]]] = {
    "air": {
        "ambient_temperature": ((-400.0, 11000.0), (-400.0, 6000.0), KELVIN),
        "ambient_pressure": (KELVIN, KELVIN, PRESSURE),
        "air_density": (PRESSURE, KELVIN),
    },
    "air_path": {
        "charge_ratio": ((0.0, 1.5e5), KELVIN),
        "head_of": ((1.0, 5.0), KELVIN),
        "rotor_head": ((0.0, 2e4), (1e-5, 1e-3), (0.02, 0.08)),
        "compressor_outlet": (KELVIN, (0.0, 1.5e5), (0.5, 0.85)),
        "cooled_charge": ((280.0, 500.0), (230.0, 330.0), SHARE),
        "cooled_pressure": (PRESSURE, (0.0, 5e5), (1e-7, 5e-6)),
        "exhaust_temperature": ((1e-4, 1.0), (0.0, 0.03), (250.0, 400.0), (0.0, 3e5)),
        "expansion": ((1e-4, 1.0), (250.0, 1100.0), (5e-4, 6e-3), (5e4, 1.5e5)),
        "turbine_outlet": ((250.0, 1100.0), (0.6, 1.0), (0.5, 0.85)),
        "gate_share": ((-5e4, 5e5), (1e5, 2e5), (1e5, 2e5)),
        "leak_flow": ((0.0, 1e-3), (5e4, 4e5), (250.0, 400.0), (5e4, 1.1e5)),
        "smoke_density": ((10.0, 80.0),),
        "opacity": ((0.0, 10.0), (0.1, 1.0)),
        "blow_by": ((0.0, 1.5), (0.0, 0.05), (250.0, 400.0), (5e4, 1.1e5)),
        "altitude_share": ((4e4, 1.1e5),),
    },
    "brakes": {
        "brake_force": ((0.0, 8e5), (0.0, 1e5), (0.0, 0.6), SHARE),
        "slack_effectiveness": ((0.0, 0.08), (0.03, 0.05), (0.051, 0.07)),
        "hot_stroke": ((0.01, 0.08), (0.0, 2e-4), (250.0, 900.0), (250.0, 320.0)),
        "brake_cooling": ((250.0, 900.0), (230.0, 330.0), SPEED, (1.0, 200.0), (0.0, 20.0)),
    },
    "driveline": {
        "effective_mass": (MASS, (0.0, 500.0), RADIUS, (0.0, 6.0), (2.0, 80.0)),
        "gearbox_loss": (TORQUE, SPEED, *GEARBOX),
        "axle_output_torque": (TORQUE, (2.0, 6.0), *AXLE),
        "axle_loss": (TORQUE, *AXLE),
        "wheel_torque": (TORQUE, ENGINE_SPEED, RATIO, (2.0, 6.0), *GEARBOX, *AXLE),
        "friction_force": ((-1e5, 1e5), (0.0, 1e5)),
        "engine_speed_in_gear": (SPEED, RADIUS, RATIO, (2.0, 6.0)),
    },
    "dynamometer": {
        "absorber_torque": (ENGINE_SPEED, ENGINE_SPEED, TORQUE, (10.0, 1e5), (0.5, 5000.0), STEP),
        "air_factor": (PRESSURE, KELVIN, PRESSURE, KELVIN, (0.5, 1.0), (0.5, 1.5)),
        "specific_fuel": ((0.0, 0.05), (5e-3, 2e-2), (60.0, 290.0)),
        "engine_factor": ((0.0, 0.1), (0.037, 0.040), (0.2, 0.3)),
        "power_correction": ((0.8, 1.25), (0.2, 1.2)),
        "torque_rise": ((500.0, 2600.0), (500.0, 2600.0)),
        "speed_droop": (ENGINE_SPEED, (60.0, 290.0)),
        "torque_code": (TORQUE, (500.0, 3000.0)),
        "coded_percent": ((0.0, 250.0),),
        "load_at_speed": (TORQUE, (500.0, 3000.0)),
    },
    "engine": {
        "motoring_mean_pressure": (ENGINE_SPEED, (0.1, 0.2), (12.0, 22.0)),
        "mean_pressure_torque": ((-5e5, 2e6), (1e-3, 2e-2)),
        "oil_viscosity": (KELVIN, (40.0, 400.0), (4.0, 30.0)),
        "friction_temperature_factor": (KELVIN, (40.0, 400.0), (4.0, 30.0), (0.0, 0.5)),
        "governor_share": (ENGINE_SPEED, (180.0, 240.0), (0.02, 0.15)),
        "pedal_torque": ((-0.1, 1.0), ENGINE_SPEED, (500.0, 2600.0), (50.0, 400.0), *CONTROL),
        "idle_torque": ((40.0, 120.0), (60.0, 80.0), (50.0, 400.0), (1.0, 500.0), (-400.0, 400.0), (5.0, 40.0)),
        "road_speed_share": (SPEED, (-1.0, 40.0), (0.05, 5.0)),
        "air_per_cycle": (PRESSURE, KELVIN, (5e-3, 2e-2), (0.6, 1.1)),
        "air_flow": ((0.0, 0.1), ENGINE_SPEED),
        "restriction_pressure": ((0.0, 5e5), SHARE),
        "air_limited_torque": ((0.0, 0.1), (14.0, 50.0), (0.3, 0.6), (40e6, 45e6)),
        "straight_line_fuel": ((0.0, 3500.0), ENGINE_SPEED, (0.3, 0.6), (40e6, 45e6)),
    },
    "engine_brake": {
        "compression_work_ratio": ((12.0, 22.0), (1.2, 1.4)),
        "braking_mean_pressure": (PRESSURE, PRESSURE, (3.0, 6.0), (0.0, 0.5)),
    },
    "engine_fluids": {
        "oil_pressure": (
            ENGINE_SPEED,
            (60.0, 80.0),
            (8.0, 500.0),
            (10.0, 20.0),
            (1e5, 3e5),
            (4e5, 6e5),
            SHARE,
        ),
        "fuel_temperature": (KELVIN, KELVIN, SHARE),
    },
    "foot": {
        "moved_towards": ((-10.0, 10.0), (-10.0, 10.0), (0.0, 50.0), (0.0, 50.0), STEP),
        "speed_hold_demand": ((-10.0, 10.0), SHARE, (0.1, 5.0), (0.1, 5.0)),
        "overspeed_stage": ((0.0, 3.0), (20.0, 40.0), (20.0, 25.0), (1.0, 3.0), (3.5, 5.0), (6.0, 8.0), (0.5, 1.0)),
        "slowing_distance": (SPEED, (0.0, 20.0), (0.1, 3.0)),
        "snub_release": (SPEED, (0.0, 5.0)),
        "snubbing_demand": ((0.0, 6e5), (0.0, 3.0), (-1.0, 3.0), (1e4, 5e5), (0.2, 2.0), STEP),
        "stopping_deceleration": (SPEED, (-1.0, 500.0)),
        "matched_speed": ((1.0, 2.0), (50.0, 250.0), (1.0, 100.0), SPEED, (150.0, 260.0)),
        "clutch_share": (SHARE,),
        "let_in": ((40.0, 160.0), (50.0, 100.0), (5.0, 60.0), SHARE),
    },
    "grade_severity": {
        "cooling_rate": ((0.0, 75.0), SWITCH),
        "heating_coefficient": ((0.0, 75.0), SWITCH),
        "natural_drag": ((0.0, 75.0), SWITCH),
        "engine_drag": (SWITCH,),
        "descent_brake_power": ((20e3, 120e3), (0.0, 0.12), (0.0, 75.0), (0.0, 500.0), SWITCH),
        "brake_temperature_rate": (*SEVERITY, (0.0, 75.0), SWITCH),
        "descent_temperature": (*SEVERITY, (0.0, 20.0), (1.0, 75.0), SWITCH),
        "stop_temperature_rise": ((20e3, 120e3), (0.0, 75.0)),
    },
    "handbook": {
        "startability": ((0.0, 2500.0), (2.0, 80.0), (300.0, 700.0), (10000.0, 200000.0)),
    },
    "lag": {
        "lag_rate": ((-1e3, 1e3), (-1e3, 1e3), (0.05, 5.0)),
    },
    "road_load": {
        "grade_sine": ((-0.4, 0.4),),
        "grade_cosine": ((-0.4, 0.4),),
        "grade_force": (MASS, (-0.4, 0.4)),
        "rolling_resistance": (MASS, (0.9, 1.0), (0.001, 0.05), (0.0, 0.001), SPEED),
        "aerodynamic_drag": ((0.5, 1.5), (1.0, 15.0), SPEED, (-30.0, 30.0)),
        "traction_limit": ((0.02, 1.2), (0.0, 6e5)),
    },
    "sensing": {
        "revolutions_per_mile": (RADIUS,),
        "pulses_per_mile": ((300.0, 900.0), RATIO, (4.0, 120.0)),
        "indicated_speed": (SPEED, (1e3, 1.5e5), (1e3, 1.5e5)),
        "corrected_pulses": ((1e3, 1.5e5), (5.0, 45.0), (5.0, 45.0)),
        "thermistor_resistance": (KELVIN, (500.0, 5000.0), (3000.0, 4500.0)),
        "thermistor_temperature": ((50.0, 5e4), (500.0, 5000.0), (3000.0, 4500.0)),
        "divider_voltage": ((0.0, 1e5), (500.0, 5000.0), (4.5, 5.5)),
        "divider_resistance": ((0.0, 4.9), (500.0, 5000.0), (4.95, 5.5)),
        "ratiometric_voltage": ((-0.5, 1.5), (0.05, 0.2), (0.8, 0.95), (4.5, 5.5)),
        "ratiometric_share": ((0.0, 5.0), (0.05, 0.2), (0.8, 0.95), (4.5, 5.5)),
        "tone_wheel_frequency": (ENGINE_SPEED, (4.0, 120.0)),
        "tone_wheel_speed": ((0.0, 5000.0), (4.0, 120.0)),
        "contact_voltage": (SHARE, (4.5, 5.5)),
        "worn_revolutions": ((300.0, 700.0), (0.0, 0.02)),
        "system_voltage": ((0.0, 250.0), (11.7, 12.6), (13.6, 14.4), (30.0, 60.0)),
    },
    "tables": {
        "table_value": ((0.0, 4.0), (0.01, 2.0), (-100.0, 100.0)),
    },
    "thermal": {
        "fan_power": (ENGINE_SPEED, ENGINE_SPEED, (0.0, 0.01), (0.0, 2000.0)),
        "exhaust_heat": ((0.0, 1.0), (0.0, 0.03), (250.0, 1100.0), (230.0, 330.0)),
        "compressor_power": (ENGINE_SPEED, (0.0, 10.0), (0.0, 50.0), SWITCH),
        "thermostat_opening": ((300.0, 400.0), (340.0, 360.0), (361.0, 380.0)),
        "radiator_conductance": (SHARE, ENGINE_SPEED, SPEED, (0.0, 1e3), (0.0, 5e3), (0.0, 500.0), (0.0, 50.0)),
    },
}

ROWS = [(module, law) for module, laws in SWEEPS.items() for law in laws]
INTERPRETED_RUN = not hasattr(importlib.import_module("sim.laws.lag").lag_rate, "py_func")
needs_compiler = pytest.mark.skipif(INTERPRETED_RUN, reason="compilation is off: there is nothing to compare with")


def sweep(module: str, law: str) -> list[tuple[object, ...]]:
    """Arguments of a law: both ends of every range, then a seeded sample; switches take both values."""
    ranges = SWEEPS[module][law]
    draw = np.random.default_rng(20260101)
    shares = [[0.0] * len(ranges), [1.0] * len(ranges), *draw.random((POINTS - 2, len(ranges))).tolist()]
    rows = []
    for row in shares:
        values: list[object] = [
            share >= 0.5 if bounds is SWITCH else bounds[0] + share * (bounds[1] - bounds[0])
            for share, bounds in zip(row, ranges, strict=True)
        ]
        if law == "table_value":
            values.insert(0, np.array([0.0, 10.0, 40.0, -3.0, 1.0 / 3.0]))
        rows.append(tuple(values))
    return rows


def interpreted(law: Callable[..., float]) -> Callable[..., float]:
    """A law as plain Python, with every law it calls as plain Python too."""
    function = law.py_func
    names = dict(function.__globals__)
    for name in function.__code__.co_names:
        if hasattr(names.get(name), "py_func"):
            names[name] = interpreted(names[name])
    return FunctionType(function.__code__, names, function.__name__, function.__defaults__, function.__closure__)


def bits(value: float) -> bytes:
    """The eight bytes of a number."""
    return struct.pack("<d", value)


def test_every_law_has_a_row():
    folder = Path(sim.laws.__file__).parent
    found = {}
    for path in sorted(folder.glob("[a-z]*.py")):
        module = importlib.import_module(f"sim.laws.{path.stem}")
        found[path.stem] = {
            name
            for name, value in vars(module).items()
            if callable(value) and not name.startswith("_") and value.__module__ == module.__name__
        }
    assert {module: set(laws) for module, laws in SWEEPS.items()} == found


@needs_compiler
@pytest.mark.parametrize(("module", "law"), ROWS, ids=[f"{module}.{law}" for module, law in ROWS])
def test_compiled_and_interpreted_are_equal_to_the_bit(module, law):
    compiled_law = getattr(importlib.import_module(f"sim.laws.{module}"), law)
    plain_law = interpreted(compiled_law)
    different = [
        (values, compiled_law(*values), plain_law(*values))
        for values in sweep(module, law)
        if bits(compiled_law(*values)) != bits(plain_law(*values))
    ]
    assert not different, f"{len(different)} of {POINTS} differ, first {different[0]}"


@pytest.mark.parametrize(("module", "law"), ROWS, ids=[f"{module}.{law}" for module, law in ROWS])
def test_one_finite_float_comes_out(module, law):
    function = getattr(importlib.import_module(f"sim.laws.{module}"), law)
    results = [function(*values) for values in sweep(module, law)]
    assert all(isinstance(result, float) for result in results)
    assert all(math.isfinite(result) for result in results)
    if law != "engine_drag":
        assert len(set(results)) > 3, "the sweep stays where the law is flat"


@needs_compiler
def test_a_law_that_calls_a_law_is_interpreted_all_the_way_down():
    wheel_torque = importlib.import_module("sim.laws.driveline").wheel_torque
    plain = interpreted(wheel_torque)
    assert isinstance(plain, FunctionType)
    assert isinstance(plain.__globals__["gearbox_loss"], FunctionType)
    assert hasattr(wheel_torque.py_func.__globals__["gearbox_loss"], "py_func")
