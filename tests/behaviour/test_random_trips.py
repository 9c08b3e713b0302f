"""Random trucks on random roads with random settings: whatever is allowed as an input gives a trip whose books are in order.

Nothing here is compared with a number of this program. The checks are conservation of energy, bounds that follow from what a
quantity is (a speed of a truck that only drives forward, a pedal from 0 to 100 %, a drum that cannot be colder than the air
it cools in), the order of time, and the promise that what a reader must know stands in the warnings. Brake limit: 260 C =
500 F, grade-severity model, report WY-1901F, 2018 (published, second-hand).

Inputs come from the strategies at the top of this file; a case prints itself so that `drive(Case(...))` repeats it.
"""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sim import Result, Route, load_settings, load_truck, run_trip
from sim.inputs.sensors import NAMES, SENSORS, Sensor, failures_of, size_range, size_unit
from sim.march.air_path import asked_braking_power
from sim.march.assemble import parameters_of, tables_of
from sim.march.clock import Clock
from sim.march.records import STATE_TYPE
from sim.roads.route import Place
from sim.trips.books import wrong_in
from sim.units import REVOLUTION_PER_MINUTE, STANDARD_GRAVITY, unit_name
from sim.wording import event_name, kinds_in, said

TRUCKS = (
    "long-haul-manual",
    "long-haul-13-speed",
    "long-haul-automated",
    "long-haul-empty",
    "dump-three-axle",
    "older-long-haul",
    "reference-200-lb-per-hp",
)
ENDINGS = ("arrived", "time_limit", "stalled", "runaway")
LOWEST = -400.0  # m: a road goes no lower, as a road file may not
LAPSE = 0.0065  # K/m, U.S. Standard Atmosphere, 1976
MOST_EVENTS_A_TICK = 5000  # far above what some twenty actors need
ROLLS_BACK = 0.25  # m: what a stop or a start on a hill may cost without a word
ROLLS_SLOWLY = 0.75  # m/s: no truck gets faster than that over such a way, down the steepest road of this file
LONG_ENOUGH = 1.0  # s: a condition that lasts so long in the trace must be said
BRAKE_LIMIT = 260.0  # C
RATED_BRAKING = 2100.0 * REVOLUTION_PER_MINUTE


# ---------------------------------------------------------------- the strategies, all of them


@dataclass(frozen=True)
class Case:
    """One random trip; every number is written as a user would write it."""

    truck: str
    truck_changes: dict[str, Any]
    start: float  # m
    sections: tuple[tuple[float, float], ...]  # m, %
    rounding: float  # m
    limits: tuple[tuple[float, float], ...]  # share of the length, km/h
    stops: tuple[tuple[float, float], ...]  # share of the length, s
    curves: tuple[tuple[float, float, float], ...]  # from and to as shares of the length, m
    winds: tuple[float, ...]  # m/s, over equal parts of the road's points
    settings: dict[str, Any]


def number(low: float, high: float, digits: int = 3) -> st.SearchStrategy[float]:
    """A number of a few digits, so that a failing case reads well."""
    scale = 10**digits
    return st.integers(math.ceil(low * scale), math.floor(high * scale)).map(lambda whole: whole / scale)


def some(choices: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    """Some of the keys with a value each; a failing case shrinks to the fewest."""
    return st.fixed_dictionaries({}, optional=choices)


AXLE_BRAKES = {
    "gain": number(0.3, 1.6, 2),  # of the file's
    "threshold_bar": number(0.0, 1.0, 2),
    "lag_s": number(0.05, 1.5, 2),
    "stroke_mm": number(20, 60, 0),
}
TRUCK_KEYS: dict[str, st.SearchStrategy[Any]] = {
    "mass": number(0.4, 1.1, 2),  # of the file's
    "vehicle.axles": st.integers(2, 12),
    "vehicle.drag_area_m2": number(1.0, 15.0, 1),
    "vehicle.rolling_coefficient": number(0.001, 0.05, 4),
    "vehicle.rolling_growth_s_per_m": number(0.0, 0.001, 5),
    "tyres.rolling_radius_m": number(0.40, 0.60, 2),
    "tyres.inertia_kg_m2": number(1, 40, 0),
    "engine.governor": st.sampled_from(("limiting-speed", "all-speed")),
    "engine.inertia_kg_m2": number(0.5, 10.0, 1),
    "engine.friction_factor": number(0.7, 1.2, 2),
    "engine.oil_exponent": number(0.0, 0.5, 2),
    "engine.low_idle_rpm": number(500, 900, 0),
    "engine.high_idle_rpm": number(2110, 2400, 0),
    "engine.overspeed_rpm": number(2450, 3500, 0),
    "engine.indicated_efficiency": number(0.35, 0.55, 2),
    "engine.fuel_filter_kpa": number(1, 200, 0),
    "engine.least_air_fuel_ratio": number(14, 40, 1),
    "engine.refuel_span_rpm": number(50, 400, 0),
    "air_path.filter_kpa": number(0.1, 10, 1),
    "air_path.cooler_kpa": number(0.1, 40, 1),
    "air_path.exhaust_kpa": number(0.1, 40, 1),
    "air_path.manifold_l": number(1, 200, 0),
    "air_path.cooler_effectiveness": number(0.3, 1.0, 2),
    "air_path.compressor_efficiency": number(0.4, 0.9, 2),
    "air_path.turbine_efficiency": number(0.4, 0.9, 2),
    "air_path.rotor_inertia_kg_m2": number(0.00001, 0.01, 5),
    "air_path.nozzle_cm2": number(2, 60, 1),
    "air_path.gate_opens_kpa": number(20, 500, 0),
    "air_path.gate_span_kpa": number(20, 1000, 0),
    "engine_brake.nozzle_cm2": number(8, 20, 1),
    "engine_brake.gate_opens_kpa": number(20, 150, 0),
    "engine_brake.returned_share": number(0.0, 0.3, 2),
    "engine_brake.polytropic_exponent": number(1.25, 1.4, 2),
    "engine_brake.stage_1": st.sampled_from((["front"], ["middle"], ["rear"])),
    "engine_brake.stage_2": st.sampled_from((["front", "rear"], ["front", "middle"], ["middle", "rear"])),
    "gearbox.kind": st.sampled_from(("manual", "automated")),
    "gearbox.torque_gap_s": number(0.2, 5.0, 1),
    "gearbox.constant_loss_n_m": number(0, 100, 0),
    "gearbox.speed_loss_n_m": number(0, 100, 0),
    "gearbox.input_inertia_kg_m2": number(0.01, 2.0, 2),
    "driveline.axle_ratio": number(1.5, 8.0, 2),
    "driveline.axle_efficiency": number(0.8, 1.0, 2),
    "driveline.axle_drag_n_m": number(0, 500, 0),
    "driveline.clutch_close_s": number(0.05, 3.0, 2),
    "driveline.clutch_open_s": number(0.05, 0.9, 2),
    "driveline.launch_bite_rpm": number(-50, 400, 0),
    "driveline.launch_span_rpm": number(50, 800, 0),
    **{f"{axle}_brakes.{key}": value for axle in ("steer", "drive", "trailer") for key, value in AXLE_BRAKES.items()},
    "drums.capacity_kj_per_k": number(5, 200, 0),
    "drums.still_w_per_k": number(1, 200, 0),
    "drums.cooling_w_per_k_per_m_s": number(0, 20, 1),
    "drums.expansion_mm_per_k": number(0, 0.2, 3),
    "cooling.coolant_capacity_kj_per_k": number(20, 2000, 0),
    "cooling.oil_capacity_kj_per_k": number(10, 1000, 0),
    "cooling.oil_cooler_kw_per_k": number(0, 20, 1),
    "cooling.road_kw_per_k_per_m_s": number(0, 0.5, 3),
    "cooling.fan_power_kw": number(0, 100, 0),
    "cooling.fan_idle_share": number(0, 1, 2),
    "cooling.fan_least_s": number(0, 600, 0),
    "accessories.electric_w": number(0, 10000, 0),
    "accessories.compressor_pumping_kw": number(0, 15, 1),
    "accessories.fill_kpa_per_s": number(0.5, 50, 1),
    "accessories.leak_kpa_per_s": number(0, 5, 1),
    "accessories.applied_leak_kpa_per_s": number(0, 5, 1),
    "accessories.moving_use_kpa_per_s": number(0, 5, 1),
    "accessories.air_per_application": number(0, 0.5, 2),
    "condition.intake_restriction_kpa": number(0.0, 60.0, 1),
    "condition.exhaust_restriction_kpa": number(0.0, 150.0, 0),
    "condition.charge_leak_cm2": number(0, 20, 1),
    "condition.cooler_fouling_percent": number(0, 90, 0),
    "condition.turbocharger_wear_percent": number(0, 60, 0),
    "condition.waste_gate": st.sampled_from(("free", "open", "shut")),
    "condition.fuel_restriction_kpa": number(0, 3000, 0),
    "condition.air_in_fuel_percent": number(0, 60, 0),
    "condition.ring_leak_percent": number(0, 20, 0),
    "condition.fuel_delivery_percent": number(20, 100, 0),
    "condition.governor_early_rpm": number(0, 500, 0),
    "condition.governor_lag_s": st.just(0.0) | number(0.05, 0.5, 2),
    "condition.dead_cylinders": st.lists(st.integers(1, 6), max_size=5, unique=True),
    "speedometer.tone_wheel_teeth": st.integers(4, 40),
    "speedometer.programmed": number(0.8, 1.25, 2),  # of the fitted pulses per mile
}

BUTTONS = ("on", "off", "set", "resume", "tap up", "tap down", "cancel", "accelerate 3 s", "coast 4 s")
PRESS = st.builds("{:g} m {}".format, number(0, 6000, 0), st.sampled_from(BUTTONS))


def begins() -> st.SearchStrategy[str]:
    """Where or when a failure or a value by hand begins."""
    return st.just("start") | number(0, 6000, 0).map("{:g} m".format) | number(0, 400, 1).map("{:g} s".format)


def between(ends: tuple[float, float], unit: str) -> st.SearchStrategy[str]:
    """A size or a value as it is written, anywhere between its bounds."""
    return number(*ends, 2).map(lambda value: f"{value:g} {unit}".strip())


def values_of(sensor: Sensor) -> st.SearchStrategy[str]:
    """A value dialled in at one sensor or switch."""
    if sensor.kind in ("switch", "key"):
        return st.sampled_from(("on", "off", "let go"))
    ends = (sensor.least, sensor.most)
    return st.just("let go") | between(ends, unit_name(sensor.unit) if sensor.unit else "")


def sizes_of(part: str, failure: str) -> st.SearchStrategy[str]:
    """A failure with its size, if it has one."""
    unit = size_unit(part, failure)
    return (
        between(size_range(part, failure), unit_name(unit)).map(f"{failure} {{}}".format) if unit else st.just(failure)
    )


DIALLED = st.one_of(
    [st.builds(f"{{}} {sensor.name} {{}}".format, begins(), values_of(sensor)) for sensor in SENSORS.values()]
)
FAILURE = st.one_of(
    [
        st.builds(f"{{}} {name} {{}}".format, begins(), sizes_of(part, failure))
        for part, name in NAMES.items()
        for failure in (*failures_of(part), "mended")
    ]
)
SETTINGS_KEYS: dict[str, st.SearchStrategy[Any]] = {
    "circuits.dialled": st.lists(DIALLED, max_size=3),
    "circuits.meters": st.just(["all"]) | st.lists(st.sampled_from([one.name for one in SENSORS.values()]), max_size=3),
    "circuits.meter_s": number(0.05, 5.0, 2),
    "faults.occur": st.lists(FAILURE, max_size=3),
    "faults.seed": st.integers(0, 2**31),
    "faults.shutdown": st.booleans(),
    "faults.watch": st.booleans(),
    "start.speed_km_h": st.sampled_from((-1.0, 0.0)) | number(1, 100, 0),
    "start.gear": st.integers(0, 9),
    "start.brake_temperature_c": number(-40, 600, 0),
    "start.oil_temperature_c": number(-40, 140, 0),
    "start.coolant_temperature_c": number(-40, 115, 0),
    "weather.temperature_c": number(-40, 55, 0),
    "weather.pressure_kpa": st.just(0.0) | number(70, 105, 0),
    "weather.wind_m_s": number(-20, 20, 0),
    "weather.grip": number(0.1, 0.8, 2),
    "cruise.switch": st.booleans(),
    "cruise.set_speed_km_h": st.just(0.0) | number(35, 120, 0),
    "cruise.presses": st.lists(PRESS, max_size=5),
    "cruise.least_rule": st.sampled_from(("and", "or")),
    "cruise.tap_km_h": number(0.5, 10, 1),
    "cruise.clutch_s": number(0, 20, 1),
    "cruise.full_below_km_h": number(0.5, 10, 1),
    "cruise.none_above_km_h": number(0.1, 10, 1),
    "cruise.acceleration_m_s2": number(0.05, 1.5, 2),
    "cruise.pedal_rate_percent_per_s": number(2, 200, 0),
    "cruise.with_engine_brake": st.booleans(),
    "cruise.stage_1_over_km_h": number(3.2, 7.9, 1),
    "cruise.stage_3_over_km_h": number(8.1, 30, 1),
    "cruise.stage_drop_km_h": number(0.2, 3.2, 1),
    "cruise.stage_up_s": number(0.05, 30, 2),
    "cruise.stage_down_s": number(0.05, 30, 2),
    "cruise.key_on_check": st.booleans(),
    "drill.hold_gear": st.integers(0, 9),
    "drill.hold_stage": st.integers(-1, 3),
    "drill.service_brakes": st.booleans(),
    "drill.style": st.sampled_from(("snub", "drag")),
    "drill.careless": st.booleans(),
    "drill.neutral": st.booleans(),
    "drill.missed_shift": st.integers(0, 20),
    "driver.speed_limit_share": number(0.3, 1.5, 2),
    "driver.acceleration_m_s2": number(0.05, 2.0, 2),
    "driver.slowing_m_s2": number(0.05, 2.0, 2),
    "driver.stopping_m_s2": number(0.2, 4.0, 1),
    "driver.snub_drop_km_h": number(1, 30, 0),
    "driver.snub_deceleration_m_s2": number(0.2, 3.0, 1),
    "driver.overspeed_km_h": number(0.2, 20, 1),
    "driver.reaction_s": number(0.1, 4.0, 1),
    "driver.descent_gear": st.integers(0, 9),
    "driver.descent_km_h": st.just(0.0) | number(5, 130, 0),
    "driver.pedal_rate_percent_per_s": number(5, 500, 0),
    "retarding.switch": st.booleans(),
    "retarding.selector": st.integers(1, 3),
    "retarding.on_rpm": number(950, 2000, 0),
    "retarding.off_rpm": number(500, 940, 0),
    "retarding.least_oil_c": number(-40, 120, 0),
    "retarding.on_delay_s": number(0.05, 5, 2),
    "retarding.off_delay_s": number(0.05, 5, 2),
    "retarding.step_delay_s": number(0.05, 5, 2),
    "retarding.waits_for_brake": st.booleans(),
    "fan.override": st.booleans(),
    "fan.with_engine_brake": st.booleans(),
    "road_speed.limit_km_h": st.just(0.0) | number(20, 140, 0),
    "road_speed.band_km_h": number(0.2, 20, 1),
    "shifting.upshift_rpm": number(1350, 1700, 0),
    "shifting.full_load_upshift_rpm": number(1700, 2100, 0),
    "shifting.downshift_rpm": number(1100, 1340, 0),
    "shifting.light_downshift_rpm": number(800, 1090, 0),
    "shifting.landing_rpm": number(1700, 2300, 0),
    "fuel.density_kg_per_l": number(0.6, 1.0, 2),
    "fuel.lower_heating_value_mj_per_kg": number(30, 46, 1),
    "simulation.tick_s": st.sampled_from((0.005, 0.02, 0.05)),
    "simulation.log_s": st.sampled_from((0.1, 0.25, 1.0)),
    "simulation.time_limit_s": number(60, 900, 0),
    "simulation.limit_tolerance_km_h": number(0, 10, 1),
}

SECTION = st.tuples(number(300, 3000, 0), number(-9, 8, 1))
SHARE = number(0.0, 1.0, 2)


@st.composite
def roads(draw: st.DrawFn) -> dict[str, Any]:
    """A road of 1 to 6 km and 3 to 12 points; changes of grade are rounded over at least 100 m."""
    sections = draw(st.lists(SECTION, min_size=2, max_size=6))
    long = sum(length for length, _ in sections)
    shrink = min(1.0, 6000.0 / long) * max(1.0, 1000.0 / long)
    sections = [(round(max(length * shrink, 200.0)), grade) for length, grade in sections]
    limits = draw(st.lists(st.tuples(SHARE, number(20, 100, 0)), max_size=3, unique_by=lambda entry: entry[0]))
    curves = draw(st.lists(st.tuples(SHARE, number(20, 500, 0)), max_size=1))
    return {
        "sections": tuple(sections),
        "rounding": draw(number(100, 200, 0)),
        "start": draw(number(0, 2500, 0)),
        "limits": ((0.0, draw(number(20, 100, 0))), *sorted(entry for entry in limits if entry[0] > 0.0)),
        "stops": tuple(
            sorted(
                draw(
                    st.lists(
                        st.tuples(number(0.01, 1.0, 2), number(0.1, 60, 1)),
                        max_size=2,
                        unique_by=lambda entry: entry[0],
                    )
                )
            )
        ),
        "curves": tuple((begin, min(begin + 0.1, 1.0), radius) for begin, radius in curves),
        "winds": tuple(draw(st.lists(number(-15, 15, 0), max_size=3))),
    }


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """A truck, a road and settings that may go together."""
    return Case(
        truck=draw(st.sampled_from(TRUCKS)),
        truck_changes=draw(some(TRUCK_KEYS)),
        settings=draw(some(SETTINGS_KEYS)),
        **draw(roads()),
    )


def truck_of(case: Case) -> Any:
    """The truck of a case. What must agree is made to agree: loads, clutch and rated power of the engine brake."""
    base = load_truck(case.truck).truck
    values = base.model_dump()
    for key, value in case.truck_changes.items():
        table, _, name = key.rpartition(".")
        if name == "mass":
            for load in ("mass_kg", "steer_load_kg", "drive_load_kg", "trailer_load_kg"):
                values["vehicle"][load] *= value
        elif name == "gain":
            values[table]["gain_kn_per_bar"] *= value
        elif name == "programmed":
            values[table]["programmed_pulses_per_mile"] = min(value * fitted_pulses(values), 150000.0)
        else:
            values[table][name] = value
    values["engine_brake"]["rated_power_kw"] = retarding_power_kw(
        type(base).model_validate({**values, "condition": {}})
    )
    return type(base).model_validate(values)


def fitted_pulses(values: dict[str, Any]) -> float:
    """Pulses per mile that the tone wheel gives: teeth times axle ratio times tyre turns in 1609.344 m."""
    around = 2.0 * math.pi * values["tyres"]["rolling_radius_m"]
    return values["speedometer"]["tone_wheel_teeth"] * values["driveline"]["axle_ratio"] * 1609.344 / around


def retarding_power_kw(truck: Any) -> float:
    """What the numbers of an engine brake give at 2100 rpm in air of 1 bar, all cylinders, friction included."""
    parameters, tables = parameters_of(truck, load_settings(), 0.0), tables_of(truck)
    return float(asked_braking_power(np.zeros(1, STATE_TYPE), parameters, tables, RATED_BRAKING)) / 1000.0


def road_of_case(case: Case) -> Route:
    """The road of a case: grade changes in straight lines around the end of each section."""
    distance, grade = [0.0], [case.sections[0][1] / 100.0]
    here = 0.0
    for (length, first), (_, second) in zip(case.sections, case.sections[1:], strict=False):
        here += length
        distance += [here - case.rounding / 2.0, here + case.rounding / 2.0]
        grade += [first / 100.0, second / 100.0]
    end = here + case.sections[-1][0]
    distance.append(end)
    grade.append(case.sections[-1][1] / 100.0)
    apart = np.append(True, np.diff(distance) > 1e-6)  # two roundings that touch share a point, and its grade
    places, grades = np.array(distance)[apart], np.array(grade)[apart]
    height = np.concatenate([[0.0], np.cumsum(np.diff(places) * (grades[1:] + grades[:-1]) / 2.0)])
    winds = np.zeros(len(places))
    for part, speed in zip(np.array_split(np.arange(len(places)), max(len(case.winds), 1)), case.winds, strict=False):
        winds[part] = speed
    return Route(
        name="random",
        title="a random road",
        distance=places,
        grade=grades,
        slope=np.append(np.diff(grades) / np.diff(places), 0.0),
        start_elevation=max(case.start, LOWEST - float(height.min())),
        wind=winds,
        limits=tuple(Place(share * end, limit / 3.6) for share, limit in case.limits),
        stops=tuple(Place(share * end, seconds) for share, seconds in case.stops),
        signs=(Place(0.5 * end, 0.0, "half way"),),
        curves=tuple(
            place
            for begin, stop, radius in case.curves
            for place in (Place(begin * end, radius), Place(stop * end, 0.0))
        ),
    )


def drive(case: Case) -> Result:
    """The trip of a case."""
    changes = [f"{key}={text_of(value)}" for key, value in case.settings.items()]
    chosen, road, truck = load_settings(None, changes), road_of_case(case), truck_of(case)
    with patch.object(Clock, "step", _moving_on(Clock.step)):
        return run_trip(truck, road, chosen)


def _moving_on(step: Callable[[Clock], None]) -> Callable[[Clock], None]:
    """A step of the clock that counts the events of one tick: a trip whose actors wake each other for ever must fail."""
    tick, events = -1, 0

    def counted(clock: Clock) -> None:
        nonlocal tick, events
        step(clock)
        events = events + 1 if clock.now == tick else 0
        tick = clock.now
        latest = clock.happenings[-1] if clock.happenings else None
        assert events < MOST_EVENTS_A_TICK, f"time stands still at {clock.seconds:.2f} s; last event {latest}"

    return counted


def text_of(value: Any) -> str:
    """A value as it is written in a change of a setting."""
    if isinstance(value, list):
        return "[" + ", ".join(f'"{entry}"' for entry in value) + "]"
    return str(value).lower() if isinstance(value, bool) else str(value)


# ---------------------------------------------------------------- the checks


def numbers(found: Any, name: str = "") -> Iterator[tuple[str, float]]:
    """Every number of a summary, tables and lists inside it included."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield from numbers(value, f"{name}.{key}" if name else key)
    elif isinstance(found, list | tuple):
        for value in found:
            yield from numbers(value, name)
    elif isinstance(found, int | float):
        yield name, found


def longest(time: np.ndarray, holds: np.ndarray) -> float:
    """Longest time over which something holds in every row of the trace. [s]"""
    best = 0.0
    begin = None
    for at, now in zip(time, holds, strict=True):
        begin = (at if begin is None else begin) if now else None
        if begin is not None:
            best = max(best, at - begin)
    return float(best)


def check_numbers(result: Result) -> None:
    """No value is missing or beyond the numbers.

    None may stand for a consumption over no way (or backwards) or of no fuel, for published temperatures of a truck that model
    does not cover, and for the engine speed in a gear that was never in.
    """
    for name, column in result.trace.items():
        assert np.isfinite(column).all(), name
    for name, column in result.meters.items():
        assert np.isfinite(column).all(), name
    for name, value in numbers({**result.summary, "events": result.events}):
        assert math.isfinite(value), name
    assert json.loads(result.summary_json())
    nothing = {name for name, value in result.summary.items() if value is None}
    allowed = {"fuel_l_per_100km"} if result.summary["distance_m"] <= 0.0 else set()
    allowed |= {"fuel_mpg_us"} if result.summary["fuel_kg"] == 0.0 else set()
    if result.truck.vehicle.axles != 5:
        allowed |= {name for name in result.summary if "published_brake_temperature" in name}
    allowed |= {"fuel_credited_l_per_100km"} if result.summary["distance_m"] <= 0.0 else set()
    # a truck that gives up more height than its fuel is worth has no economy; one that never was in top gear no speed in it
    credited = result.summary["fuel_credited_l_per_100km"]
    allowed |= {"fuel_credited_mpg_us"} if credited is None or credited <= 0.0 else set()
    allowed |= {"top_gear_engine_speed_rpm"} if result.summary["top_gear_time_s"] == 0.0 else set()
    assert nothing <= allowed


def check_motion(result: Result) -> None:
    """The truck only goes forward, time goes on, and gears, pedals and stages stay what they are."""
    trace, summary = result.trace, result.summary
    chosen = result.settings
    assert summary["ended"] in ENDINGS
    assert (np.diff(trace["time_s"]) >= 0.0).all()
    back = float((np.maximum.accumulate(trace["distance_m"]) - trace["distance_m"]).max())
    assert summary["rolled_back_m"] >= back - 1e-9
    if summary["rolled_back_m"] > ROLLS_BACK:
        assert "warning.rolled_back" in kinds_in(summary["warnings"])
    else:
        assert trace["speed_m_s"].min() >= -ROLLS_SLOWLY
    assert trace["engine_speed_rpm"].min() >= 0.0
    assert set(trace["gear"]) <= set(range(len(result.truck.gearbox.ratios) + 1))
    assert trace["accelerator_percent"].min() >= 0.0 and trace["accelerator_percent"].max() <= 100.0
    assert trace["fuel_rate_g_s"].min() >= 0.0
    assert trace["brake_pressure_bar"].min() >= 0.0
    assert trace["reservoir_pressure_kpa"].min() >= 0.0
    most = chosen.drill.hold_stage
    if most < 0:
        most = chosen.retarding.selector if chosen.retarding.switch else 0
    # a switch or a selector whose circuit is broken or dialled by hand may be believed anywhere
    if any("engine-brake s" in text for text in (*chosen.faults.occur, *chosen.circuits.dialled)):
        most = 3
    assert set(trace["brake_stage"]) <= set(range(most + 1))
    if most == 0:
        assert trace["active_cylinders"].max() == 0.0
    assert summary["max_speed_m_s"] >= trace["speed_m_s"].max() - 1e-9
    assert summary["max_engine_speed_rpm"] >= trace["engine_speed_rpm"].max() - 1e-6


def check_temperatures(result: Result) -> None:
    """A drum is never colder than the coldest air of the road and the drum at the start, less 1 K."""
    road, chosen = result.route, result.settings
    air = chosen.weather.temperature_c - LAPSE * (float(road.elevation.max()) - road.start_elevation)
    coldest = min(air, chosen.start.brake_temperature_c) - 1.0
    for group in ("", "_steer", "_drive", "_trailer"):
        assert result.trace[f"brake_temperature{group}_c"].min() >= coldest, group
    for letter in ("a", "b"):
        if result.truck.vehicle.axles == 5:
            assert result.trace[f"severity_temperature_{letter}_c"].min() >= coldest, letter


def check_energy(result: Result) -> None:
    """Both books close to a thousandth of what was supplied, and no loss is below nothing.

    The grade of a tick is the one at its begin, so height is wrong by at most half a tick's way times the range of grades on
    the road. That much of weight times height is added: it is all there is in a trip that supplies next to nothing.
    """
    energy = result.summary["energy"]
    road, tick = result.route, result.settings.simulation.tick_s
    grades = float(np.ptp(road.grade))
    weight = result.truck.vehicle.mass_kg * STANDARD_GRAVITY
    floor = weight * grades * 0.5 * result.summary["max_speed_m_s"] * tick + 1.0
    supplied = energy["fuel"] + max(energy["height_given_up"], 0.0) + energy["kinetic_at_start"]
    assert abs(energy["residual"]) + abs(energy["heat_residual"]) <= 2e-3 * supplied + floor


def check_time(result: Result) -> None:
    """The stages share the trip's time, and events stand in the order of time within it."""
    summary = result.summary
    assert sum(summary["engine_brake_stage_time_s"].values()) == pytest.approx(summary["time_s"], rel=1e-9, abs=1e-9)
    times = [event["time_s"] for event in result.events]
    assert times == sorted(times)
    assert all(0.0 <= at <= summary["time_s"] + 1e-9 for at in times)
    places = np.array([event["distance_m"] for event in result.events])
    assert (np.diff(places) >= -max(ROLLS_BACK, summary["rolled_back_m"])).all()
    for key in ("time_over_governed_s", "time_over_limit_s", "time_wheel_slip_s"):
        assert 0.0 <= summary[key] <= summary["time_s"] + 1e-6


def check_warnings(result: Result) -> None:
    """What the trace shows for a second or more, the warnings say."""
    trace, summary, engine = result.trace, result.summary, result.truck.engine
    warned = kinds_in(summary["warnings"])
    sets = {each["values"].get("set") for each in summary["warnings"]}
    time = trace["time_s"]
    if summary["ended"] != "arrived":
        assert f"event.{summary['ended']}" in kinds_in(summary["warnings"][0])
    driven = (trace["clutch_locked"] > 0.5) & (trace["engine_torque_n_m"] < 0.0)
    over = longest(time, driven & (trace["engine_speed_rpm"] > engine.governed_rpm))
    # with its foot down a governor holds high idle to a turn a minute, whatever heat has made of the friction
    over = max(over, longest(time, trace["engine_speed_rpm"] > engine.high_idle_rpm + 1.0))
    assert over < LONG_ENOUGH or {"warning.over_governed", "warning.racing"} & warned
    tolerance = result.settings.simulation.limit_tolerance_km_h / 3.6
    fast = longest(time, trace["speed_m_s"] > trace["speed_limit_m_s"] + tolerance + 1e-6)
    assert fast < LONG_ENOUGH or "warning.over_posted_limit" in warned
    hot = float(trace["brake_temperature_c"].max()) > BRAKE_LIMIT
    assert not hot or "warning.brakes_past_limit" in warned
    for letter in ("a", "b"):
        if result.truck.vehicle.axles == 5 and trace[f"severity_temperature_{letter}_c"].max() > BRAKE_LIMIT:
            assert letter.upper() in sets
    assert trace["oil_temperature_c"].max() <= 156.0 or "warning.oil_beyond_the_law" in warned
    assert trace["coolant_temperature_c"].max() <= 110.0 or "warning.overheated" in warned
    slipping = longest(time, trace["wheel_slip"] > 0.5)
    assert slipping < LONG_ENOUGH or "warning.wheels_slipped" in warned
    assert (trace["reservoir_pressure_kpa"].min() >= 414.0) or "warning.tank_pressure_low" in warned


def check_words(result: Result) -> None:
    """Whatever is found can be said, in both systems of units."""
    summary = result.summary
    found = [*summary["warnings"], *summary["explanations"], *summary["foreseen"], summary["ended_because"]]
    for units in ("metric", "us"):
        assert all(said(each, units) for each in found)
        assert all(event_name(each) and said(each["cause"], units) for each in result.events)


CHECKS = (check_words, check_numbers, check_motion, check_temperatures, check_energy, check_time, check_warnings)


def check(case: Case) -> Result:
    """Drives a case and makes every check."""
    result = drive(case)
    for one in CHECKS:
        one(result)
    return result


COMMON = {"derandomize": True, "deadline": None, "suppress_health_check": list(HealthCheck), "database": None}


@settings(max_examples=40, phases=(Phase.generate,), **COMMON)
@given(cases())
def test_whatever_is_allowed_gives_a_trip_in_order(case):
    """Without shrinking, so that it is quick to fail; the case it prints can be driven again by hand."""
    found = wrong_in(check(case).summary["energy"], tail_wind=True)
    assert "warning.loss_below_nothing" not in [each.kind for each in found]


@pytest.mark.slow
@settings(max_examples=3000, phases=(Phase.generate,), **COMMON)
@given(cases())
def test_thousands_of_them(case):
    check(case)
