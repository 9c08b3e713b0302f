"""One small function per row of the published checks: asks the laws of the trip and converts units, nothing more.

Each function takes the numbers of its row's inputs in the order in which they are written, and returns its values in the
unit and order of the row's expected values. No formula lives here that a trip would not use: where a row wants a quantity
a law takes as an argument, the law is solved for it.

What a row leaves open (bore, stroke, friction, fuel) comes from the loaded truck and the default settings of the catalogue.
"""

import math
from collections.abc import Callable, Sequence
from functools import cache, partial
from typing import NamedTuple

import numpy as np

from sim.checks import rows
from sim.checks.power_split import trip_split
from sim.inputs.files import load_settings, load_truck
from sim.inputs.sensors import BATTERY, CHARGES_FROM, CHARGING
from sim.inputs.specs import Settings, Truck
from sim.laws.air import DRY_AIR_GAS_CONSTANT, air_density, ambient_pressure, ambient_temperature
from sim.laws.air_path import (
    AIR_HEAT,
    EXHAUST_HEAT,
    altitude_share,
    compressor_outlet,
    cooled_charge,
    exhaust_temperature,
    expansion,
    head_of,
    opacity,
    turbine_outlet,
)
from sim.laws.brakes import brake_cooling
from sim.laws.driveline import (
    axle_loss,
    axle_output_torque,
    effective_mass,
    engine_speed_in_gear,
    gearbox_loss,
    wheel_torque,
)
from sim.laws.dynamometer import (
    air_factor,
    coded_percent,
    engine_factor,
    load_at_speed,
    power_correction,
    specific_fuel,
    speed_droop,
    torque_code,
    torque_rise,
)
from sim.laws.engine import (
    air_flow,
    air_limited_torque,
    air_per_cycle,
    friction_temperature_factor,
    governor_share,
    idle_torque,
    mean_pressure_torque,
    oil_viscosity,
    pedal_torque,
    restriction_pressure,
    straight_line_fuel,
)
from sim.laws.engine_brake import (
    braking_mean_pressure,
    compression_work_ratio,
)
from sim.laws.foot import (
    moved_towards,
    overspeed_stage,
    slowing_distance,
    snub_release,
    speed_hold_demand,
    stopping_deceleration,
)
from sim.laws.grade_severity import (
    brake_temperature_rate,
    cooling_rate,
    descent_brake_power,
    descent_temperature,
    engine_drag,
    heating_coefficient,
    natural_drag,
    stop_temperature_rise,
)
from sim.laws.handbook import startability
from sim.laws.lag import lag_rate
from sim.laws.road_load import (
    aerodynamic_drag,
    grade_cosine,
    grade_force,
    grade_sine,
    rolling_resistance,
    traction_limit,
)
from sim.laws.sensing import (
    corrected_pulses,
    divider_resistance,
    divider_voltage,
    indicated_speed,
    pulses_per_mile,
    ratiometric_share,
    ratiometric_voltage,
    revolutions_per_mile,
    system_voltage,
    thermistor_resistance,
    thermistor_temperature,
    tone_wheel_frequency,
    tone_wheel_speed,
    worn_revolutions,
)
from sim.laws.tables import table_value
from sim.laws.thermal import exhaust_heat, fan_power
from sim.march.air_path import LONGEST_STEP, MOST_STEPS, breathe, still
from sim.march.assemble import parameters_of, tables_of
from sim.march.plant import (
    compression_torque,
    fuel_rate,
    rolling_acceleration,
    settle,
    warm_friction,
    working_cylinders,
)
from sim.march.records import BELIEF_TYPE, COMMAND_TYPE, FULL_LOAD_ROW, RATIO_ROW, STATE_TYPE
from sim.speedo import band
from sim.studies.fuel_test import improvement_percent, saved_percent
from sim.units import (
    BAR,
    FOOT,
    HORSEPOWER,
    INCH_OF_WATER,
    KILOMETRE_PER_HOUR,
    MILE_PER_HOUR,
    POUND_FOOT,
    POUND_FORCE,
    REVOLUTION_PER_MINUTE,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    STANDARD_GRAVITY,
    US_GALLON,
    from_si,
    to_si,
)

Numbers = tuple[float, ...]
Computed = Callable[[Numbers], Sequence[float]]

COMPUTED: dict[str, Computed] = {}
TRUCK = "long-haul-manual"
CLIMBING_TRUCK = "reference-200-lb-per-hp"
INTEGRATION_STEPS = 2000
HALVINGS = 42  # a bracket shrinks to one part in 4e12
HOUR = 3600.0  # s


def computes(*ids: str) -> Callable[[Computed], Computed]:
    """Registers a function as the one that computes some rows.

    Parameters
    ----------
    *ids : str
        Ids of rows that ask for the same quantity.

    Returns
    -------
    register : callable
        Decorator; returns the function unchanged.

    Raises
    ------
    ValueError
        An id is computed already.
    """

    def register(function: Computed) -> Computed:
        for name in ids:
            if name in COMPUTED:
                raise ValueError(f"{name} is computed twice: {COMPUTED[name].__name__}, {function.__name__}")
            COMPUTED[name] = function
        return function

    return register


# ---------------------------------------------------------------- helpers


@cache
def _truck() -> Truck:
    """The loaded truck of the catalogue."""
    return load_truck(TRUCK).truck


@cache
def _settings() -> Settings:
    """The default settings."""
    return load_settings()


@cache
def _tables() -> np.ndarray:
    """The curves of the loaded truck."""
    return tables_of(_truck())


def _parameters(truck: Truck | None = None, **fields: float) -> np.void:
    """Parameter record of a truck at sea level in standard air, with some of its fields changed."""
    p: np.void = parameters_of(truck or _truck(), _settings(), 0.0)[0]
    p["start_temperature"] = SEA_LEVEL_TEMPERATURE
    for name, value in fields.items():
        p[name] = value
    return p


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a function changes its sign, by halving."""
    below = function(low) > 0.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if (function(middle) > 0.0) == below:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _integral(rate: Callable[[float], float], start: float, duration: float) -> float:
    """A quantity after a time, from its rate, by the midpoint rule."""
    value, step = start, duration / INTEGRATION_STEPS
    for _ in range(INTEGRATION_STEPS):
        value += step * rate(value + 0.5 * step * rate(value))
    return value


def _rpm(speed: float) -> float:
    """Revolutions per minute in SI."""
    return speed * REVOLUTION_PER_MINUTE


def _standard_air(altitude: float) -> tuple[float, float, float]:
    """Temperature, pressure and density of standard air."""
    temperature = ambient_temperature(altitude, 0.0, SEA_LEVEL_TEMPERATURE)
    pressure = ambient_pressure(temperature, SEA_LEVEL_TEMPERATURE, SEA_LEVEL_PRESSURE)
    return temperature, pressure, air_density(pressure, temperature)


def _full_load_torque(engine_speed: float, p: np.void, tables: np.ndarray) -> float:
    """The truck's full-load torque as the plant reads it."""
    return float(table_value(tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], engine_speed))


# ---------------------------------------------------------------- road load


@computes("RL-01")
def _coastdown_force(given: Numbers) -> Sequence[float]:
    """Force that slowed a coasting truck, its change of height taken off."""
    effective, fast, slow, early, late, mass, gravity, low, high, near, far = given
    weight_part = grade_force(mass, grade_sine((high - low) / (far - near))) * gravity / STANDARD_GRAVITY
    return (-effective * (slow - fast) / (late - early) - weight_part,)


@computes("RL-02")
def _mass_with_tyres(given: Numbers) -> Sequence[float]:
    """Effective mass, each tyre counted as an inertia at its radius."""
    mass, tyres, each = given
    radius = _truck().tyres.rolling_radius_m
    return (effective_mass(mass, tyres * each * radius * radius, radius, 0.0, 0.0),)


@computes("RL-08")
def _drag_area(given: Numbers) -> Sequence[float]:
    """Drag area that explains the difference of two coastdown forces."""
    fast_force, slow_force, spin, tyres, fast_squared, slow_squared, _, temperature, pressure = given
    density = air_density(pressure, temperature)
    per_area = aerodynamic_drag(density, 1.0, math.sqrt(fast_squared), 0.0)
    per_area -= aerodynamic_drag(density, 1.0, math.sqrt(slow_squared), 0.0)
    return ((fast_force - slow_force - spin - tyres) / per_area,)


@computes("RL-09")
def _speed_after_a_step(given: Numbers) -> Sequence[float]:
    """Road speed one step later."""
    ratio, radius, torque, rolling, mass, area, grade, density, brakes, speed, step, rotating, efficiency, _ = given
    slope = grade / 100.0
    force = axle_output_torque(torque, ratio, efficiency, 0.0) / radius - brakes
    force -= rolling_resistance(mass, grade_cosine(slope), rolling / 1000.0, 0.0, speed)
    force -= aerodynamic_drag(density, area, speed, 0.0) + grade_force(mass, grade_sine(slope))
    return (speed + step * force / (mass + rotating),)


@computes("GRD-01")
def _grade_force(given: Numbers) -> Sequence[float]:
    """Force of a grade, at the printed gravity."""
    mass, grade, gravity = given
    return (grade_force(mass, grade_sine(grade / 100.0)) * gravity / STANDARD_GRAVITY,)


@computes("ROL-01")
def _rolling_per_weight(given: Numbers) -> Sequence[float]:
    """Rolling resistance of a weight on the level."""
    weight, coefficient = given
    return (rolling_resistance(weight * 1000.0 / STANDARD_GRAVITY, 1.0, coefficient / 1000.0, 0.0, 20.0),)


@computes("ROL-02")
def _rolling_coefficient(given: Numbers) -> Sequence[float]:
    """Rolling resistance over weight at some speeds."""
    constant, growth, *speeds = given
    per_speed = growth / MILE_PER_HOUR
    return [
        rolling_resistance(1.0, 1.0, constant, per_speed, speed * MILE_PER_HOUR) / STANDARD_GRAVITY for speed in speeds
    ]


@computes("TRC-01")
def _utilisation(given: Numbers) -> Sequence[float]:
    """Grip that carries what a retarder must hold on a descent."""
    weight, grade, speed, drive_load = given
    force = descent_brake_power(weight, grade, speed, 0.0, True) * HORSEPOWER / (speed * MILE_PER_HOUR)
    return (force / traction_limit(1.0, drive_load * POUND_FORCE),)


@computes("GAP-01")
def _speed_lost_in_a_gap(given: Numbers) -> Sequence[float]:
    """Speed lost while a shift leaves the wheels without torque."""
    mass, rolling, area, density, wheels, inertia, radius, speed, gap, *grades = given
    road_speed = speed * MILE_PER_HOUR
    coupled = effective_mass(mass, wheels * inertia, radius, 0.0, 0.0)
    lost = []
    for grade in grades:
        slope = grade / 100.0
        force = grade_force(mass, grade_sine(slope)) + aerodynamic_drag(density, area, road_speed, 0.0)
        force += rolling_resistance(mass, grade_cosine(slope), rolling, 0.0, road_speed)
        lost.append(force / coupled * gap / MILE_PER_HOUR)
    return lost


# ---------------------------------------------------------------- air


@computes("AR-01")
def _pressure_and_density(given: Numbers) -> Sequence[float]:
    """Standard air at an altitude in metres."""
    return _standard_air(given[0])[1:]


@computes("AR-02")
def _density_ratio(given: Numbers) -> Sequence[float]:
    """Density against sea level at an altitude in feet."""
    return (_standard_air(given[0] * FOOT)[2] / _standard_air(0.0)[2],)


@computes("ISA-01")
def _temperatures(given: Numbers) -> Sequence[float]:
    """Standard temperature at altitudes in feet."""
    return [_standard_air(altitude * FOOT)[0] for altitude in given]


@computes("ISA-02")
def _pressures(given: Numbers) -> Sequence[float]:
    """Standard pressure at altitudes in feet."""
    return [_standard_air(altitude * FOOT)[1] for altitude in given]


@computes("ISA-03")
def _densities(given: Numbers) -> Sequence[float]:
    """Standard density at altitudes in feet."""
    return [_standard_air(altitude * FOOT)[2] for altitude in given]


# ---------------------------------------------------------------- climbing


def _steady_speed(
    gear: int, top_speed: float, highest: float, s: np.void, b: np.void, c: np.void, p: np.void, tables: np.ndarray
) -> float:
    """Road speed at which a gear just holds the grade at full pedal with air for all of its fuel; 0 when it cannot."""

    def surplus(engine_speed: float) -> float:
        s["engine_speed"] = b["engine_speed"] = engine_speed
        s["gear"] = c["gear"] = gear
        s["speed"] = s["wheel_speed"] = b["road_speed"] = engine_speed / highest * top_speed
        settle(s, b, c, p, tables)
        return float(rolling_acceleration(s, p, tables))

    lugging = _rpm(1000.0)
    if surplus(lugging) <= 0.0:
        return 0.0
    return _root(surplus, lugging, highest) / highest * top_speed


@computes("UG-01")
def _crawl_speeds(given: Numbers) -> Sequence[float]:
    """Highest speed any gear holds on a grade, by the truck of the catalogue that has the losses of a plain power balance."""
    truck = load_truck(CLIMBING_TRUCK).truck
    p, tables = _parameters(truck), tables_of(truck)
    highest = truck.engine.si("high_idle_rpm")
    s, b, c = np.zeros(1, STATE_TYPE)[0], np.zeros(1, BELIEF_TYPE)[0], np.zeros(1, COMMAND_TYPE)[0]
    b["accelerator"] = b["driver_demand"] = 1.0
    b["altitude_share"] = 1.0
    still(s, p, SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE)
    s["oil_temperature"] = to_si(90.0, "c")
    s["manifold_pressure"] = 3.0 * BAR
    speeds = []
    for grade in given:
        s["grade"] = grade / 100.0
        best = 0.0
        for gear in range(len(truck.gearbox.ratios), 0, -1):
            top_speed = highest / engine_speed_in_gear(1.0, p["tyre_radius"], tables[RATIO_ROW, gear], p["axle_ratio"])
            if top_speed <= best:
                break
            best = max(best, _steady_speed(gear, top_speed, highest, s, b, c, p, tables))
        speeds.append(best / MILE_PER_HOUR)
    return speeds


# ---------------------------------------------------------------- grade severity


def _descent(
    weight: float, grade: float, length: float, speed: float, start: float, ambient: float, updated: bool
) -> Sequence[float]:
    """K1, K2, drag, brake power, temperature at the foot, rise of a stop, and their sum."""
    power = descent_brake_power(weight, grade, speed, engine_drag(updated), updated)
    foot = descent_temperature(start, ambient, power, length, speed, updated)
    rise = stop_temperature_rise(weight, speed)
    rates = (cooling_rate(speed, updated), heating_coefficient(speed, updated), natural_drag(speed, updated))
    return (*rates, power, foot, rise, foot + rise)


@computes("DB-01")
def _descent_a(given: Numbers) -> Sequence[float]:
    """Brake power and temperatures, set A."""
    weight, grade, length, speed, start, ambient = given
    return _descent(weight, grade, length, speed, start, ambient, True)[3:]


@computes("DB-02")
def _settled_temperature(given: Numbers) -> Sequence[float]:
    """Temperature of an endless descent, set A."""
    weight, grade, speed, ambient = given
    return (_descent(weight, grade, 1.0e6, speed, ambient, ambient, True)[4],)


@computes("DB-03")
def _heat_capacity_b(given: Numbers) -> Sequence[float]:
    """Heat capacity the set B implies."""
    return [1.0 / (cooling_rate(speed, False) * heating_coefficient(speed, False)) for speed in given[:3]]


@computes("DB-04")
def _temperature_b(given: Numbers) -> Sequence[float]:
    """Temperature at the foot, set B."""
    weight, grade, length, speed, start, ambient = given
    return (_descent(weight, grade, length, speed, start, ambient, False)[4],)


@computes("GSR-01", "GSR-02")
def _worked_row_a(given: Numbers) -> Sequence[float]:
    """A worked row of the model, set A."""
    weight, grade, length, speed, start, ambient = given
    return _descent(weight, grade, length, speed, start, ambient, True)


@computes("GSR-03", "GSR-04")
def _worked_row_b(given: Numbers) -> Sequence[float]:
    """A worked row of the model, set B."""
    weight, grade, length, speed, start, ambient = given
    return _descent(weight, grade, length, speed, start, ambient, False)


@computes("GSR-05", "GSR-07", "GSR-08")
def _foot_temperature_b(given: Numbers) -> Sequence[float]:
    """Temperature at the foot, set B, engine without a retarder."""
    weight, grade, speed, length, start, ambient = given
    return (_descent(weight, grade, length, speed, start, ambient, False)[4],)


@computes("GSR-06")
def _retarded_temperature_b(given: Numbers) -> Sequence[float]:
    """Temperature at the foot, set B, with a retarder."""
    weight, grade, speed, length, retarding, start, ambient = given
    power = descent_brake_power(weight, grade, speed, retarding, False)
    return (descent_temperature(start, ambient, power, length, speed, False),)


@computes("GSR-09")
def _heat_capacity_a(given: Numbers) -> Sequence[float]:
    """Heat capacity the set A implies."""
    return [1.0 / (cooling_rate(speed, True) * heating_coefficient(speed, True)) for speed in given]


@computes("GSR-10")
def _temperature_from_rate(given: Numbers) -> Sequence[float]:
    """Temperature at the foot, set A, by following the rate down the grade."""
    weight, grade, length, speed, start, ambient = given
    power = descent_brake_power(weight, grade, speed, engine_drag(True), True)
    return (
        _integral(
            lambda temperature: brake_temperature_rate(temperature, ambient, power, speed, True),
            start,
            length / speed,
        ),
    )


@computes("GSR-11", "GSR-12", "GSR-13")
def _natural_and_remaining_power(given: Numbers) -> Sequence[float]:
    """Power taken by air and tyres, and what a retarder must take, set A."""
    weight, grade, speed = given
    natural = natural_drag(speed, True) * POUND_FORCE * speed * MILE_PER_HOUR / HORSEPOWER
    return natural, descent_brake_power(weight, grade, speed, 0.0, True)


@computes("BRC-01")
def _brake_conductance(given: Numbers) -> Sequence[float]:
    """Heat all brakes give per kelvin, from the conductance of the set B."""
    still, growth, *speeds = given
    per_fahrenheit = HORSEPOWER * 9.0 / 5.0
    return [
        brake_cooling(
            301.0, 300.0, speed * MILE_PER_HOUR, still * per_fahrenheit, growth * per_fahrenheit / MILE_PER_HOUR
        )
        for speed in speeds
    ]


# ---------------------------------------------------------------- engine brake


def _cylinders_by_stage(p: np.void) -> list[float]:
    """Cylinders at work in the three stages of the truck."""
    found = []
    for stage in (1, 2, 3):
        command = np.zeros(1, COMMAND_TYPE)[0]
        for pair in _truck().engine_brake.pairs(stage):
            command[f"pair_{pair}"] = 1.0
        found.append(float(working_cylinders(command, p)))
    return found


@computes("EB-01")
def _stages(given: Numbers) -> Sequence[float]:
    """Cylinders at work by stage, and their share of the torque at equal manifold pressure."""
    p = _parameters()
    cylinders = _cylinders_by_stage(p)
    torques = [compression_torque(number, 2.0 * BAR, BAR, p) for number in cylinders]
    return (*cylinders, *(torque / torques[2] for torque in torques))


@computes("EB-02")
def _middle_pair_dead(given: Numbers) -> Sequence[float]:
    """Cylinders at work by stage when the middle pair is dead."""
    return _cylinders_by_stage(_parameters(pair_middle_sound=0.0))


@computes("EBW-04")
def _outer_pairs_dead(given: Numbers) -> Sequence[float]:
    """Cylinders at work by stage when the front and rear pairs are dead."""
    return _cylinders_by_stage(_parameters(pair_front_sound=0.0, pair_rear_sound=0.0))


@computes("EB-03")
def _compression_work(given: Numbers) -> Sequence[float]:
    """Compression work per swept volume."""
    pressure, ratio, exponent = given
    return (pressure * BAR * compression_work_ratio(ratio, exponent) / 1000.0,)


@computes("EB-04")
def _retarding_torque(given: Numbers) -> Sequence[float]:
    """Retarding torque at stated manifold and exhaust pressures."""
    litres, manifold, exhaust, _, _, returned, motoring = given
    engine, brake = _truck().engine, _truck().engine_brake
    work = compression_work_ratio(engine.compression_ratio, brake.polytropic_exponent)
    pressure = braking_mean_pressure(manifold * BAR, exhaust * BAR, work, returned)
    return (motoring + mean_pressure_torque(pressure, litres / 1000.0),)


@computes("EBW-01")
def _mean_pressures(given: Numbers) -> Sequence[float]:
    """Mean pressure of a working cylinder at pairs of manifold and exhaust pressure."""
    ratio, exponent, returned, *pressures = given
    work = compression_work_ratio(ratio, exponent)
    return [
        braking_mean_pressure(manifold * BAR, exhaust * BAR, work, returned) / 1000.0
        for manifold, exhaust in zip(pressures[::2], pressures[1::2], strict=True)
    ]


@computes("EBW-02")
def _torque_per_cylinder(given: Numbers) -> Sequence[float]:
    """Torque of one working cylinder at some mean pressures."""
    litres, *pressures = given
    return [mean_pressure_torque(pressure * 1000.0, litres / 1000.0) for pressure in pressures]


# ---------------------------------------------------------------- air path


@computes("AP-01", "AP-02")
def _air_flow(given: Numbers) -> Sequence[float]:
    """Air a four-stroke engine takes in."""
    litres, speed, pressure, temperature, filling = given
    return (air_flow(air_per_cycle(pressure * BAR, temperature, litres / 1000.0, filling), _rpm(speed)),)


@computes("AP-03")
def _compressed(given: Numbers) -> Sequence[float]:
    """Air temperature behind a compressor."""
    _, temperature, ratio, efficiency = given
    return (compressor_outlet(temperature, head_of(ratio, temperature), efficiency),)


@computes("AP-04")
def _compressing(given: Numbers) -> Sequence[float]:
    """Power of a compressor."""
    pressure, temperature, ratio, efficiency, flow = given
    return (flow * AIR_HEAT * (_compressed((pressure, temperature, ratio, efficiency))[0] - temperature) / 1000.0,)


@computes("AP-07")
def _cooled(given: Numbers) -> Sequence[float]:
    """Air temperature behind a charge cooler, and how much denser it got."""
    hot, ambient, effectiveness = given
    cold = cooled_charge(hot, ambient, effectiveness)
    return cold, hot / cold


@computes("AP-09")
def _expanded(given: Numbers) -> Sequence[float]:
    """Gas temperature behind a turbine."""
    temperature, before, behind, efficiency = given
    return (turbine_outlet(temperature, math.sqrt(math.sqrt(behind / before)), efficiency),)


@computes("AP-10")
def _expanding(given: Numbers) -> Sequence[float]:
    """Power of a turbine."""
    return (given[4] * EXHAUST_HEAT * (given[0] - _expanded(given[:4])[0]) / 1000.0,)


@computes("AP-11")
def _paying_turbine(given: Numbers) -> Sequence[float]:
    """Temperature drop and expansion of a turbine that carries its compressor."""
    ratio, inlet, compressor, turbine, bearing, air_fuel, before = given
    needed = AIR_HEAT * (compressor_outlet(inlet, head_of(ratio, inlet), compressor) - inlet)
    drop = needed / (bearing * EXHAUST_HEAT * (1.0 + 1.0 / air_fuel))
    expanded = _root(lambda q: before - turbine_outlet(before, q, turbine) - drop, 0.5, 1.0)
    return drop, expanded**-4


@computes("AP-12")
def _nozzle_flow(given: Numbers) -> Sequence[float]:
    """Flow of a nozzle as a pure number, at pressures before it over behind it."""
    gas, before = DRY_AIR_GAS_CONSTANT, 900.0
    flows = []
    for ratio in given:
        flow = _root(lambda m, r=ratio: expansion(m, before, 1.0e-3, BAR) ** -4 - r, 1.0e-3, 1.0)  # type: ignore[misc]
        flows.append(flow * math.sqrt(gas * before) / (1.0e-3 * ratio * BAR))
    return flows


@computes("AP-14")
def _exhaust(given: Numbers) -> Sequence[float]:
    """Air per fuel, and temperature of the gas that leaves the cylinders."""
    air, intake, grams, brake, cooled, megajoule, _ = given
    fuel = grams / 1000.0
    return air / fuel, exhaust_temperature(air, fuel, intake, (1.0 - brake - cooled) * fuel * megajoule * 1.0e6)


@computes("AP-46")
def _exhaust_heat(given: Numbers) -> Sequence[float]:
    """Heat the gas carries from the cylinders."""
    air, intake, grams, temperature, _ = given
    return (exhaust_heat(air, grams / 1000.0, temperature, intake) / 1000.0,)


@cache
def _published_engine() -> Numbers:
    """Numbers of the engine whose settled air path is printed, without its working point."""
    return next(row for row in rows() if row.id == "AP-15").numbers()[:14]


class Rest(NamedTuple):
    """A settled air path."""

    manifold: float
    air_fuel: float
    hot: float
    spent: float
    energy: float
    escaped: float


def _at_rest(point: Numbers, engine: Numbers = (), **fields: float) -> Rest:
    """The printed engine, its fuel held, after its rotor has come to rest; some of its parameters changed."""
    speed, torque, efficiency = point
    (litres, area, compressor, turbine, bearing, cooler, cooled, ambient, outside, *losses) = (
        engine or _published_engine()
    )
    water, drop, air_flow_at, back, gas_at = losses
    p = _parameters(
        displacement=litres / 1000.0,
        nozzle=area * 1.0e-4,
        compressor_efficiency=compressor,
        turbine_efficiency=turbine,
        bearing_efficiency=bearing,
        cooler_effectiveness=cooler,
        filter_loss=water * INCH_OF_WATER / air_flow_at**2,
        cooler_loss=drop * 1000.0 / air_flow_at**2,
        exhaust_loss=back * 1000.0 / gas_at**2,
        gate_stuck=0.0,
    )
    pressure = fields.pop("pressure", ambient * 1000.0)
    for name, value in fields.items():
        p[name] = value
    s = np.zeros(1, STATE_TYPE)[0]
    still(s, p, pressure, outside)
    s["engine_speed"] = _rpm(speed)
    fuel = torque * _rpm(speed) / (efficiency * p["heating_value"])
    heat = (1.0 - efficiency - cooled) * fuel * p["heating_value"]
    for _ in range(MOST_STEPS):
        before = float(s["turbo_energy"])
        breathe(s, p, heat, fuel, LONGEST_STEP)
        s["manifold_pressure"] = s["manifold_heading"]
        if abs(s["turbo_energy"] - before) <= 1.0e-7 * before:
            break
    return Rest(
        float(s["manifold_pressure"]) / BAR,
        float(s["air_flow"]) / fuel,
        from_si(float(s["exhaust_temperature"]), "c"),
        from_si(float(s["stack_temperature"]), "c"),
        float(s["turbo_energy"]),
        float(s["escaping_air"] / (s["air_flow"] + s["escaping_air"])),
    )


@computes("AP-15", "AP-16")
def _settled_full_load(given: Numbers) -> Sequence[float]:
    """Manifold pressure, air per fuel, and temperatures before and behind the turbine."""
    return _at_rest(given[14:], given[:14])[:4]


@computes("AP-17")
def _settled_part_load(given: Numbers) -> Sequence[float]:
    """Manifold pressure, air per fuel, and temperature before the turbine."""
    return _settled_full_load(given)[:3]


@computes("AP-18")
def _gate(given: Numbers) -> Sequence[float]:
    """Share of the exhaust past the turbine that leaves a manifold pressure, air per fuel, temperature before the turbine."""
    engine, point, cap = given[:14], given[14:17], given[17]

    def settled(share: float) -> Rest:
        """With the gate held."""
        return _at_rest(point, engine, gate_stuck=share)

    share = _root(lambda w: settled(w).manifold - cap, 0.0, 0.5)
    return share, settled(share).air_fuel, settled(share).hot


@computes("AP-19")
def _restriction(given: Numbers) -> Sequence[float]:
    """Restriction at another flow, in inches of water and in kPa."""
    drop, flow, other = given
    less = restriction_pressure(drop / flow**2, other)
    return less, less * INCH_OF_WATER / 1000.0


def _changes(sound: Rest, worn: Rest) -> Sequence[float]:
    """Manifold pressure and air per fuel in percent, temperature before the turbine in K."""
    more = (100.0 * (now / then - 1.0) for now, then in zip(worn[:2], sound[:2], strict=True))
    return *more, worn.hot - sound.hot


@computes("AP-31")
def _dirty_filter(given: Numbers) -> Sequence[float]:
    """What a dirty filter changes."""
    point, water = given[:3], given[3]
    loss = water * INCH_OF_WATER / _published_engine()[11] ** 2
    return _changes(_at_rest(point), _at_rest(point, filter_loss=loss))


@computes("AP-32")
def _leaking_charge(given: Numbers) -> Sequence[float]:
    """What a hole in the charge pipe changes."""
    point, lost = given[:3], given[3]
    hole = _root(lambda area: _at_rest(point, charge_leak=area).escaped - lost / 100.0, 0.0, 5.0e-4)
    return _changes(_at_rest(point), _at_rest(point, charge_leak=hole))


@computes("AP-33")
def _fouled_cooler(given: Numbers) -> Sequence[float]:
    """What a fouled charge cooler changes."""
    point, effectiveness = given[:3], given[3]
    return _changes(_at_rest(point), _at_rest(point, cooler_effectiveness=effectiveness))


@computes("AP-34")
def _thin_air(given: Numbers) -> Sequence[float]:
    """What thinner air changes: manifold pressure and speed of the rotor."""
    point, pressures = given[:3], given[3:]
    sound = _at_rest(point)
    found: list[float] = []
    for ambient in pressures:
        thin = _at_rest(point, pressure=ambient * 1000.0)
        found += [100.0 * (thin.manifold / sound.manifold - 1.0), 100.0 * (math.sqrt(thin.energy / sound.energy) - 1.0)]
    return found


@computes("AP-40")
def _smoke(given: Numbers) -> Sequence[float]:
    """Share of light kept back by smoke, in percent."""
    *densities, _, path = given
    return [100.0 * opacity(density, path) for density in densities]


@computes("BA-02")
def _derate(given: Numbers) -> Sequence[float]:
    """Torque that altitude takes, in percent."""
    return (100.0 * (1.0 - altitude_share(_standard_air(given[0])[1])),)


# ---------------------------------------------------------------- engine


@computes("FR-01")
def _motoring_torque(given: Numbers) -> Sequence[float]:
    """Motoring torque by the correlation."""
    _, compression_ratio, speed = given
    return (warm_friction(_rpm(speed), _parameters(friction_factor=1.0, compression_ratio=compression_ratio)),)


@computes("MOT-01", "MOT-02")
def _motoring_torques(given: Numbers) -> Sequence[float]:
    """Motoring torque at some engine speeds, the correlation times a factor."""
    factor, *speeds = given
    p = _parameters(friction_factor=factor)
    return [warm_friction(_rpm(speed), p) for speed in speeds]


@computes("MEP-01")
def _torque_of_one_bar(given: Numbers) -> Sequence[float]:
    """Torque of a mean pressure."""
    litres, pressure = given
    return (mean_pressure_torque(pressure * BAR, litres / 1000.0),)


@computes("OIL-01")
def _oil_viscosities(given: Numbers) -> Sequence[float]:
    """Oil viscosity at some temperatures."""
    at_40, at_100, *temperatures = given
    return [oil_viscosity(to_si(temperature, "c"), at_40, at_100) for temperature in temperatures]


@computes("OIL-02")
def _cold_friction(given: Numbers) -> Sequence[float]:
    """Friction against that with oil at 90 °C."""
    at_40, at_100, exponent, *temperatures = given
    return [
        friction_temperature_factor(to_si(temperature, "c"), at_40, at_100, exponent) for temperature in temperatures
    ]


@computes("AP-44")
def _very_cold_friction(given: Numbers) -> Sequence[float]:
    """The same in frost, for two exponents."""
    at_40, _, at_100, _, temperature, *exponents = given
    return [friction_temperature_factor(to_si(temperature, "c"), at_40, at_100, exponent) for exponent in exponents]


@computes("CHG-01", "CHG-02")
def _system_voltage(given: Numbers) -> Sequence[float]:
    """Voltage at an engine speed."""
    return (system_voltage(_rpm(given[0]), BATTERY, CHARGING, CHARGES_FROM),)


@computes("WEA-01")
def _worn_tyre(given: Numbers) -> Sequence[float]:
    """Turns per mile of a tyre that has lost some tread."""
    across, worn = (to_si(inches, "in") for inches in given)
    return (worn_revolutions(revolutions_per_mile(0.5 * across), worn),)


@computes("GV-01")
def _droop(given: Numbers) -> Sequence[float]:
    """Droop with which the governor leaves no fuel at the no-load speed."""
    full_load, no_load = given
    return (100.0 * _root(lambda droop: governor_share(_rpm(no_load), _rpm(full_load), droop), 0.001, 0.5),)


@computes("DYN-08")
def _two_speeds(given: Numbers) -> Sequence[float]:
    """Droop by the speeds with and without load."""
    loaded, unloaded = given
    return (100.0 * speed_droop(_rpm(unloaded), _rpm(loaded)),)


@computes("GV-03", "DYN-07")
def _torque_rise(given: Numbers) -> Sequence[float]:
    """Torque rise of an engine by its power at a speed and its highest torque."""
    power, speed, peak = given
    return (100.0 * torque_rise(peak * POUND_FOOT, power * HORSEPOWER / _rpm(speed)),)


@computes("FU-03")
def _fuel_per_work(given: Numbers) -> Sequence[float]:
    """Fuel per work from gallons per horsepower-hour, in g/kWh."""
    gallons, density = given
    return (gallons * US_GALLON * 1e3 * density * 1e3 / (HORSEPOWER / 1e3),)


@computes("FT-01")
def _fuel_test_sums(given: Numbers) -> Sequence[float]:
    """Fuel saved and improvement of the fuel economy from two ratios."""
    before, after = given[:2]
    return saved_percent(before, after), improvement_percent(before, after)


@computes("DY-01")
def _corrected_power(given: Numbers) -> Sequence[float]:
    """Power moved from one air to another."""
    power, p_1, t_1, phi_1, sat_1, p_2, t_2, phi_2, sat_2, speed, size, fuel, ratio, floor, least, a, b = given
    air = air_factor(p_1 - phi_1 * sat_1, t_1, p_2 - phi_2 * sat_2, t_2, a, b)
    charge = specific_fuel(fuel * 1e-3, size * 1e-3, _rpm(speed)) / ratio
    return (power * power_correction(air, engine_factor(charge, least * 1e-3, floor)),)


@computes("DY-03")
def _ends_of_the_exponent(given: Numbers) -> Sequence[float]:
    """Exponent of the air factor at the ends of its line; this edition begins at the first of them."""
    return [engine_factor(charge * 1e-3, given[0] * 1e-3, 0.2) for charge in given]


@computes("DY-04", "DYN-04")
def _correction_by_exponents(given: Numbers) -> Sequence[float]:
    """Correction to the reference air, turbocharged with air-to-air cooling unless exponents are given."""
    pressure, temperature, charge, *exponents = given
    exponent = engine_factor(charge * 1e-3, 0.040, 0.3)
    pairs = list(zip(exponents[::2], exponents[1::2], strict=True)) or [(0.7, 1.2)]
    return [power_correction(_to_reference(pressure, temperature, a, b), exponent) for a, b in pairs]


def _to_reference(pressure: float, temperature: float, a: float, b: float) -> float:
    """Air factor to 99 kPa and 298 K."""
    return float(air_factor(pressure, temperature, 99.0, 298.0, a, b))


@computes("DYN-03")
def _correction_at_the_floor(given: Numbers) -> Sequence[float]:
    """Correction of an engine with little fuel per air, by two editions."""
    pressure, temperature, low, warm, high, hot, fuel, size, speed, ratio = given
    charge = specific_fuel(fuel * 1e-3, size * 1e-3, _rpm(speed)) / ratio
    editions = ((warm, 0.0372, low), (hot, 0.040, high))
    return [
        power_correction(_to_reference(pressure, temperature, 0.7, b), engine_factor(charge, least, floor))
        for b, least, floor in editions
    ]


@computes("DYN-05")
def _correction_out_of_range(given: Numbers) -> Sequence[float]:
    """Air factor and correction far from the reference."""
    pressure, temperature, charge, a, b = given
    air = _to_reference(pressure, temperature, a, b)
    return air, power_correction(air, engine_factor(charge * 1e-3, 0.040, 0.3))


@computes("DYN-01")
def _fuel_of_a_cycle(given: Numbers) -> Sequence[float]:
    """Fuel per cycle and litre."""
    fuel, size, speed = given
    return (1e3 * specific_fuel(fuel * 1e-3, size * 1e-3, _rpm(speed)),)


@computes("DYN-02")
def _exponent_of_a_boosted_engine(given: Numbers) -> Sequence[float]:
    """Exponent of the air factor from fuel, size, speed and boost."""
    fuel, size, speed, ratio = given
    return (engine_factor(specific_fuel(fuel * 1e-3, size * 1e-3, _rpm(speed)) / ratio, 0.040, 0.3),)


@computes("DY-05")
def _percent_read(given: Numbers) -> Sequence[float]:
    """Torque behind a code."""
    code, _, _, reference = given
    percent = coded_percent(code)
    return percent, percent / 100.0 * reference


@computes("DYN-06")
def _percent_on_the_bus(given: Numbers) -> Sequence[float]:
    """Torque in percent of the reference, and load at this speed."""
    torque, reference, full = given
    sent = coded_percent(torque_code(torque, reference))
    return sent, 100.0 * load_at_speed(torque, full), 100.0 * load_at_speed(full, full)


@computes("BUS-01")
def _percents_recorded(given: Numbers) -> Sequence[float]:
    """Torques behind recorded codes."""
    return [coded_percent(code) for code in given]


@computes("GOV-01")
def _loaded_speed(given: Numbers) -> Sequence[float]:
    """Speed at which an all-speed governor carries full load, from the speed it holds without load."""
    unloaded, droop = _rpm(given[0]), given[1] / 100.0
    p = _parameters()
    full = _full_load_torque(unloaded, p, _tables())
    friction = warm_friction(unloaded, p)

    def torque(pedal: float, speed: float) -> float:
        asked = pedal_torque(pedal, speed, full, friction, 1.0, p["low_idle"], p["governed_speed"], droop)
        return float(asked - friction)

    pedal = _root(lambda pedal: torque(pedal, unloaded), 0.01, 1.0)
    least = full * (1.0 - 1.0e-9)
    return (_root(lambda speed: torque(pedal, speed) - least, _rpm(1000.0), unloaded) / REVOLUTION_PER_MINUTE,)


@computes("GOV-02")
def _fuel_left_by_droop(given: Numbers) -> Sequence[float]:
    """Share of full load left at some speeds of the droop."""
    governed, no_load, *speeds = given
    droop = (no_load - governed) / governed
    return [governor_share(_rpm(speed), _rpm(governed), droop) for speed in speeds]


@computes("FLT-01")
def _full_load_torques(given: Numbers) -> Sequence[float]:
    """Full-load torque as the plant reads it."""
    p, tables = _parameters(), _tables()
    return [_full_load_torque(_rpm(speed), p, tables) for speed in given]


@computes("BA-01")
def _torque_without_smoke(given: Numbers) -> Sequence[float]:
    """Flywheel torque the air allows at a manifold pressure."""
    litres, speed, pressure, air_fuel, efficiency, temperature = given
    p = _parameters()
    air = air_per_cycle(pressure * BAR, temperature, litres / 1000.0, efficiency)
    torque = air_limited_torque(air, air_fuel, p["indicated_efficiency"], p["heating_value"])
    return (torque - warm_friction(_rpm(speed), p),)


@computes("BAT-01")
def _air_flows(given: Numbers) -> Sequence[float]:
    """Air taken in per second at some manifold pressures."""
    speed, efficiency, temperature, *pressures = given
    displacement = _parameters()["displacement"]
    charges = [air_per_cycle(pressure * BAR, temperature, displacement, efficiency) for pressure in pressures]
    return [air_flow(charge, _rpm(speed)) for charge in charges]


@computes("BAT-02")
def _torques_without_smoke(given: Numbers) -> Sequence[float]:
    """Flywheel torque the air allows at some manifold pressures."""
    speed, efficiency, temperature, air_fuel, *pressures = given
    litres = 1000.0 * float(_parameters()["displacement"])
    return [
        _torque_without_smoke((litres, speed, pressure, air_fuel, efficiency, temperature))[0] for pressure in pressures
    ]


# ---------------------------------------------------------------- fuel


def _idle_fuel(speed: float, accessories: float) -> float:
    """Fuel rate of an idling engine that drives accessories. [kg/s]"""
    p = _parameters()
    friction = warm_friction(speed, p)
    indicated = idle_torque(speed, speed, friction, p["idle_gain"], accessories / speed, p["refuel_span"])
    return float(fuel_rate(indicated, friction, speed, p, _tables()))


def _gallons_per_hour(rate: float) -> float:
    """A fuel rate by volume."""
    return rate / (_settings().fuel.density_kg_per_l * 1000.0) / US_GALLON * HOUR


@computes("FU-01")
def _idle_gallons(given: Numbers) -> Sequence[float]:
    """Fuel of an idling engine without and with accessories."""
    _, speed, without, with_them, *_ = given
    return [_gallons_per_hour(_idle_fuel(_rpm(speed), power * 1000.0)) for power in (without, with_them)]


@computes("IDL-01")
def _idle_gallons_by_accessories(given: Numbers) -> Sequence[float]:
    """Fuel of an idling engine at some accessory powers."""
    speed, *powers = given
    return [_gallons_per_hour(_idle_fuel(_rpm(speed), power * 1000.0)) for power in powers]


@computes("IDL-02")
def _idle_grams(given: Numbers) -> Sequence[float]:
    """Fuel of an idling engine that drives nothing."""
    return [1000.0 * _idle_fuel(_rpm(speed), 0.0) for speed in given]


@computes("FU-02")
def _specific_fuel(given: Numbers) -> Sequence[float]:
    """Specific fuel consumption of an efficiency."""
    efficiency, heating_value = given
    torque, speed = 1000.0, _rpm(1200.0)
    rate = straight_line_fuel(torque, speed, efficiency, heating_value * 1.0e6)
    return (rate * 1000.0 * HOUR / (torque * speed / 1000.0),)


@computes("BSF-01")
def _specific_fuels(given: Numbers) -> Sequence[float]:
    """Specific fuel consumption of some efficiencies in percent."""
    heating_value, *efficiencies = given
    return [_specific_fuel((efficiency / 100.0, heating_value))[0] for efficiency in efficiencies]


@computes("FUM-01", "FUM-02", "FUM-03")
def _fuel_at_load(given: Numbers) -> Sequence[float]:
    """Fuel at a share of full load and some engine speeds."""
    load, *speeds = given
    p, tables = _parameters(), _tables()
    found = []
    for speed in speeds:
        friction = warm_friction(_rpm(speed), p)
        torque = load / 100.0 * _full_load_torque(_rpm(speed), p, tables)
        found.append(1000.0 * fuel_rate(torque + friction, friction, _rpm(speed), p, tables))
    return found


# ---------------------------------------------------------------- driveline


@computes("DL-01")
def _direct_gear_loss(given: Numbers) -> Sequence[float]:
    """Loss of a gearbox with the standard drag."""
    torque, speed, largest, share = given
    drag = 10.0 * largest / 2000.0
    return (gearbox_loss(torque, _rpm(speed), drag, drag, share),)


@computes("GBX-01", "GBX-02", "GBX-03")
def _gearbox_losses(given: Numbers) -> Sequence[float]:
    """Loss of a gearbox with the standard drag at some input torques."""
    speed, largest, share, *torques = given
    return [_direct_gear_loss((torque, speed, largest, share))[0] for torque in torques]


@computes("DL-02")
def _axle_input_torque(given: Numbers) -> Sequence[float]:
    """Torque into an axle of standard losses that gives a torque at the wheels."""
    ratio, wanted, efficiency, constant, per_ratio = given
    drag = constant + per_ratio * ratio
    return (_root(lambda torque: axle_output_torque(torque, ratio, efficiency, drag) - wanted, 0.0, 1.0e4),)


@computes("AXL-01", "AXL-02", "AXL-03", "AXL-04")
def _driveline_input_torques(given: Numbers) -> Sequence[float]:
    """Torque into a driveline whose gearbox loses nothing, for pairs of axle ratio and torque at the wheels."""
    efficiency, constant, per_ratio, *pairs = given

    def surplus(torque: float, ratio: float, wanted: float) -> float:
        drag = constant + per_ratio * ratio
        return float(wheel_torque(torque, 100.0, 1.0, ratio, 0.0, 0.0, 0.0, efficiency, drag) - wanted)

    return [
        _root(partial(surplus, ratio=ratio, wanted=wanted), 0.0, 1.0e4)
        for ratio, wanted in zip(pairs[::2], pairs[1::2], strict=True)
    ]


@computes("AXL-06")
def _axle_loss(given: Numbers) -> Sequence[float]:
    """Loss of an axle at its input, driving and in overrun, for a torque at the wheels."""
    ratio, torque, efficiency, constant, per_ratio = given
    drag = constant + per_ratio * ratio
    return [axle_loss(way * torque, efficiency, drag) / ratio for way in (1.0, -1.0)]


@computes("AXL-05")
def _overrun_factor(given: Numbers) -> Sequence[float]:
    """Torque at the input over torque passed to it, while the wheels drive the engine."""
    torque, ratio, efficiency = given
    return (axle_output_torque(torque, ratio, efficiency, 0.0) / (torque * ratio),)


@computes("DL-03")
def _mass_factor(given: Numbers) -> Sequence[float]:
    """Effective mass over mass."""
    mass, wheels, inertia, engine_inertia, radius, gear, axle = given
    return (effective_mass(mass, wheels * inertia, radius, engine_inertia, gear * axle) / mass,)


@computes("MAS-01")
def _equivalent_masses(given: Numbers) -> Sequence[float]:
    """Mass that the turning parts add, by gear."""
    mass, wheels, inertia, engine_inertia, radius, axle, *gears = given
    return [effective_mass(mass, wheels * inertia, radius, engine_inertia, gear * axle) - mass for gear in gears]


# ---------------------------------------------------------------- accessories, speed, driver


@computes("AC-01")
def _fan_slowed(given: Numbers) -> Sequence[float]:
    """Fan power at another speed, clutch locked."""
    power, rated, speed = given
    return (fan_power(speed, speed, power / (rated * rated * rated), 0.0),)


@computes("FAN-01", "FAN-02")
def _fan_powers(given: Numbers) -> Sequence[float]:
    """Fan power at other speeds, clutch locked."""
    power, rated, *speeds = given
    return [_fan_slowed((power, rated, speed))[0] for speed in speeds]


@computes("AC-02")
def _steering_power(given: Numbers) -> Sequence[float]:
    """Power of the steering pump of the loaded truck."""
    extras = _truck().accessories
    return (extras.steering_idle_w + extras.steering_banking_w + extras.steering_turning_w,)


def _leaks(name: str, minutes: float) -> Sequence[float]:
    """What a truck that stands loses from its tanks, brakes released and applied."""
    extras = load_truck(name).truck.accessories
    released = extras.si("leak_kpa_per_s")
    return tuple(
        from_si(rate * 60.0 * minutes, "psi") for rate in (released, released + extras.si("applied_leak_kpa_per_s"))
    )


@computes("AIR-01")
def _combination_leaks(given: Numbers) -> Sequence[float]:
    """Leaks of the loaded truck."""
    return _leaks("long-haul-manual", *given)


@computes("AIR-02")
def _single_leaks(given: Numbers) -> Sequence[float]:
    """Leaks of the dump truck."""
    return _leaks("dump-three-axle", *given)


@computes("SP-01")
def _geared_speed(given: Numbers) -> Sequence[float]:
    """Road speed of an engine speed in gear, from the tyre's diameter."""
    speed, diameter, gear, axle = given
    per_road_speed = engine_speed_in_gear(1.0, 0.5 * to_si(diameter, "in"), gear, axle)
    return (_rpm(speed) / per_road_speed / MILE_PER_HOUR,)


def _radius(turns_per_mile: float) -> float:
    """Rolling radius of a tyre from its turns per mile."""
    return float(revolutions_per_mile(1.0)) / turns_per_mile


@computes("SPD-03")
def _engine_speed_at(given: Numbers) -> Sequence[float]:
    """Engine speed of a road speed in gear, from the tyre's turns per mile."""
    speed, turns, axle, gear = given
    return (engine_speed_in_gear(speed * MILE_PER_HOUR, _radius(turns), gear, axle) / REVOLUTION_PER_MINUTE,)


@computes("SPD-04")
def _road_speed_at(given: Numbers) -> Sequence[float]:
    """Road speed of an engine speed in gear, from the tyre's turns per mile."""
    speed, turns, axle, gear = given
    return (_rpm(speed) / engine_speed_in_gear(1.0, _radius(turns), gear, axle) / MILE_PER_HOUR,)


@computes("SP-02")
def _turns_per_mile(given: Numbers) -> Sequence[float]:
    """Turns per mile of a tyre, from its diameter in inches."""
    return (revolutions_per_mile(0.5 * to_si(given[0], "in")),)


@computes("SPD-02")
def _turns_of_radius(given: Numbers) -> Sequence[float]:
    """Turns per mile of a tyre, from its radius in metres."""
    return (revolutions_per_mile(given[0]),)


@computes("SP-03", "SPD-01")
def _pulses(given: Numbers) -> Sequence[float]:
    """Pulses per mile."""
    turns, axle, teeth = given
    return (pulses_per_mile(turns, axle, teeth),)


@computes("SPD-05")
def _true_speed(given: Numbers) -> Sequence[float]:
    """True speed behind an indicated one, from programmed and fitted turns per mile."""
    programmed, fitted, shown = given
    return (shown / indicated_speed(1.0, fitted, programmed),)


@computes("SPD-06")
def _speedometer_error(given: Numbers) -> Sequence[float]:
    """Error of the indicated speed with a tyre smaller than programmed."""
    fitted = revolutions_per_mile(1.0 - given[0] / 100.0)
    return (100.0 * (indicated_speed(1.0, fitted, revolutions_per_mile(1.0)) - 1.0),)


@computes("SPD-07")
def _speedometer_band(given: Numbers) -> Sequence[float]:
    """Ends of what a speedometer may show at the one speed the rule names."""
    return [speed / MILE_PER_HOUR for speed in band()]


@computes("SPD-08")
def _corrected_after_a_road_test(given: Numbers) -> Sequence[float]:
    """Speed shown with the wrong axle programmed, and the pulses a road test then gives."""
    wrong, axle, teeth, turns, true = given
    programmed = pulses_per_mile(turns, wrong, teeth)
    shown = indicated_speed(true, pulses_per_mile(turns, axle, teeth), programmed)
    return shown, corrected_pulses(programmed, shown, true)


@computes("SPD-09")
def _pickup_frequency(given: Numbers) -> Sequence[float]:
    """Frequency of the pickup on the output shaft at a road speed."""
    teeth, axle, turns, speed = given
    shaft = engine_speed_in_gear(speed * MILE_PER_HOUR, _radius(turns), 1.0, axle)
    return (tone_wheel_frequency(shaft, teeth),)


@computes("THM-01")
def _thermistor(given: Numbers) -> Sequence[float]:
    """Resistances of a thermistor over its range."""
    at_25, _, beta, *temperatures = given
    return [thermistor_resistance(to_si(celsius, "c"), at_25, beta) for celsius in temperatures]


@computes("SPD-10")
def _shaft_speed(given: Numbers) -> Sequence[float]:
    """Speed of a shaft from the pulses of its wheel."""
    teeth, frequency = given
    return (tone_wheel_speed(frequency, teeth) / REVOLUTION_PER_MINUTE,)


@computes("THM-03")
def _stated_thermistor(given: Numbers) -> Sequence[float]:
    """Resistance at 25 °C, and the temperature read back from it."""
    at_25, beta = given
    resistance = thermistor_resistance(to_si(25.0, "c"), at_25, beta)
    return resistance, from_si(thermistor_temperature(at_25, at_25, beta), "c")


@computes("THM-04")
def _resistances_read(given: Numbers) -> Sequence[float]:
    """Resistances behind voltages through one pull-up."""
    *voltages, pull_up, supply = given
    return [divider_resistance(voltage, pull_up, supply) for voltage in voltages]


@computes("PRS-02")
def _pressures_read(given: Numbers) -> Sequence[float]:
    """Pressures behind voltages of a sensor that works between a tenth and nine tenths of its supply."""
    full_scale, *voltages, supply = given
    return [full_scale * ratiometric_share(voltage, 0.1, 0.9, supply) for voltage in voltages]


@computes("THM-02")
def _divided(given: Numbers) -> Sequence[float]:
    """Voltages of resistances through one pull-up."""
    *resistances, pull_up, supply = given
    return [divider_voltage(resistance, pull_up, supply) for resistance in resistances]


@computes("PRS-01")
def _pressure_voltages(given: Numbers) -> Sequence[float]:
    """Voltages of a pressure sensor that works between a tenth and nine tenths of its supply."""
    full_scale, *pressures, supply = given
    return [ratiometric_voltage(pressure / full_scale, 0.1, 0.9, supply) for pressure in pressures]


@computes("LAG-01")
def _way_done(given: Numbers) -> Sequence[float]:
    """Part of the way done after some time constants."""
    return [100.0 * _integral(lambda value: lag_rate(value, 1.0, 1.0), 0.0, duration) for duration in given]


@computes("LAG-02")
def _lag_distance(given: Numbers) -> Sequence[float]:
    """Way lost to the lag of the air brakes: what is still missing of the pressure, summed over the stop."""
    speed = given[0] * MILE_PER_HOUR
    lag = _truck().drive_brakes.lag_s
    duration = 12.0 * lag
    step = duration / INTEGRATION_STEPS
    pressure, missing = 0.0, 0.0
    for _ in range(INTEGRATION_STEPS):
        half_way = pressure + 0.5 * step * lag_rate(pressure, 1.0, lag)
        missing += step * (1.0 - half_way)
        pressure += step * lag_rate(half_way, 1.0, lag)
    return (speed * missing / FOOT,)


@computes("DEC-01", "DEC-02")
def _braking_deceleration(given: Numbers) -> Sequence[float]:
    """Steady deceleration of stops from a speed within distances in feet."""
    speed, *distances = given
    return [stopping_deceleration(speed * MILE_PER_HOUR, distance * FOOT) for distance in distances]


@computes("RMP-01")
def _ramped_speeds(given: Numbers) -> Sequence[float]:
    """Reference speed after a time, ramped down and up."""
    speed, fall, rise, duration = given
    start = speed * MILE_PER_HOUR
    return [
        moved_towards(start, target, rise * MILE_PER_HOUR, fall * MILE_PER_HOUR, duration) / MILE_PER_HOUR
        for target in (0.0, 2.0 * start)
    ]


@computes("CRS-01")
def _demand_below_set_speed(given: Numbers) -> Sequence[float]:
    """Cruise demand below the set speed, nothing learnt yet."""
    cruise = _settings().cruise
    below, above = cruise.si("full_below_km_h"), cruise.si("none_above_km_h")
    return (speed_hold_demand(given[0] * MILE_PER_HOUR, 0.0, below, above),)


@computes("CC-01")
def _cruise_stages(given: Numbers) -> Sequence[float]:
    """Stage after each speed, one after the other."""
    set_speed, *speeds = given
    stage, stages = 0.0, []
    for speed in speeds:
        stage = overspeed_stage(stage, speed, set_speed, 3.0, 5.0, 7.0, 2.0)
        stages.append(stage)
    return stages


@computes("DR-04")
def _snub_release(given: Numbers) -> Sequence[float]:
    """Speed at which the pedal is let go."""
    return (snub_release(given[0], 5.0),)


@computes("DR-05")
def _snub(given: Numbers) -> Sequence[float]:
    """Deceleration and way of one snub."""
    deceleration = _settings().driver.snub_deceleration_m_s2
    fast, slow = given[0] * MILE_PER_HOUR, given[1] * MILE_PER_HOUR
    return deceleration / FOOT, slowing_distance(fast, slow, deceleration) / FOOT


@computes("AP-45")
def _labelled_tyres(given: Numbers) -> Sequence[float]:
    """Rolling coefficient of the loaded truck."""
    truck = _truck().vehicle
    constant, per_speed = truck.rolling_coefficient, truck.rolling_growth_s_per_m
    force = rolling_resistance(1.0, 1.0, constant, per_speed, given[-1] * KILOMETRE_PER_HOUR)
    return (1000.0 * force / STANDARD_GRAVITY,)


@computes("RL-11")
def _power_split(given: Numbers) -> Sequence[float]:
    """Where the power goes on the level, all of it, and what the engine loses beside."""
    return trip_split(TRUCK, given[-1])


@computes("RL-12")
def _startability(given: Numbers) -> Sequence[float]:
    """The trade's rule; the ratio is written as gear times axle."""
    torque, gear, axle, revolutions, weight = given
    return (startability(torque, gear * axle, revolutions, weight),)
