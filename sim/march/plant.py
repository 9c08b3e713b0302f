"""Where the laws meet: the forces, torques and heat flows of the truck at one instant. Knows no time step.

`settle` is called once a tick by the kernel and by anything that holds the truck still to look at it; it reads the state,
the belief and the command, and writes the instant's quantities back into the state record.
"""

import numpy as np

from sim.compiled import compiled
from sim.laws.air import air_density, ambient_pressure, ambient_temperature
from sim.laws.air_path import altitude_share
from sim.laws.brakes import brake_force, hot_stroke, slack_effectiveness
from sim.laws.driveline import wheel_torque
from sim.laws.engine import (
    air_limited_torque,
    air_per_cycle,
    friction_temperature_factor,
    governor_share,
    idle_torque,
    mean_pressure_torque,
    motoring_mean_pressure,
    pedal_torque,
    restriction_pressure,
    road_speed_share,
    straight_line_fuel,
)
from sim.laws.engine_brake import braking_mean_pressure, compression_work_ratio
from sim.laws.foot import matched_speed
from sim.laws.road_load import aerodynamic_drag, grade_cosine, grade_force, rolling_resistance, traction_limit
from sim.laws.sensing import pulses_per_mile, revolutions_per_mile
from sim.laws.tables import table_value
from sim.laws.thermal import compressor_power, fan_power
from sim.march.records import (
    AIR_FUEL_LIMIT,
    ALTITUDE,
    FADE_ROW,
    FUEL_MAP_ROW,
    FULL_LOAD_CURVE,
    FULL_LOAD_ROW,
    GEARBOX_SHARE_ROW,
    GOVERNOR,
    IDLE_GOVERNOR,
    NO_LIMITER,
    OIL_FACTOR_ROW,
    RATIO_ROW,
    ROAD_SPEED_LIMIT,
    SETTLED_ROW,
    THIN_ROW,
)
from sim.units import SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE

THIN_AIR = 0.8  # of the pressure at the start, in which the settled air path is worked out, too
HOTTEST_OIL = 433.15  # K
SMOKE_SHOWS = 1.02  # assumed: torque over what the air allows at which smoke shows
AIR_STEP = 0.1  # m of height within which the air counts as unchanged (0.001 % of its density)
LEAST_SPEED_FOR_POWER = 30.0  # rad/s: below it a power is turned into torque as if the engine ran at this speed


@compiled
def surroundings(s, p):
    """Air and slope at the truck's place.

    Parameters
    ----------
    s : record
        State; elevation, grade and wind are read, the air is written. [SI]
    """
    if abs(s["elevation"] - s["air_elevation"]) < AIR_STEP and s["air_density"] > 0.0:
        return
    s["air_elevation"] = s["elevation"]
    temperature = ambient_temperature(s["elevation"], p["start_elevation"], p["start_temperature"])
    pressure = ambient_pressure(temperature, p["start_temperature"], p["start_pressure"])
    s["ambient_temperature"] = temperature
    s["ambient_pressure"] = pressure
    s["air_density"] = air_density(pressure, temperature)


@compiled
def warm_friction(speed, p):
    """Motoring torque with the oil at 90 °C.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    torque : float
        [N m]
    """
    pressure = motoring_mean_pressure(speed, p["stroke"], p["compression_ratio"])
    return p["friction_factor"] * mean_pressure_torque(pressure, p["displacement"])


@compiled
def working_cylinders(c, p):
    """Cylinders that work as an engine brake, by the pairs switched on and sound.

    Parameters
    ----------
    c : record
        Command; the three pairs. [-]
    p : record
        Parameters; which pairs are sound. [-]

    Returns
    -------
    cylinders : float
        [-]
    """
    front, middle, rear = c["pair_front"], c["pair_middle"], c["pair_rear"]
    if p["pairs_swapped"] > 0.5:
        front, middle, rear = middle, max(front, rear), middle
    pairs = front * p["pair_front_sound"] + middle * p["pair_middle_sound"] + rear * p["pair_rear_sound"]
    return pairs * p["cylinders"] / 3.0


@compiled
def compression_torque(cylinders, manifold_pressure, exhaust_pressure, p):
    """Torque with which the working cylinders hold the engine back.

    Parameters
    ----------
    cylinders : float
        Working as a brake. [-]
    manifold_pressure, exhaust_pressure : float
        Before and behind the cylinders, absolute. [Pa]

    Returns
    -------
    torque : float
        Friction not included. [N m]
    """
    pressure = braking_mean_pressure(
        manifold_pressure, exhaust_pressure, p["braking_work_ratio"], p["braking_returned_share"]
    )
    return mean_pressure_torque(pressure, p["displacement"] * cylinders / p["cylinders"])


@compiled
def charge_limit(manifold_pressure, breathing, air_fuel, p):
    """Indicated torque that the air in the manifold allows at an air-fuel ratio.

    Parameters
    ----------
    manifold_pressure : float
        Absolute. [Pa]
    breathing : float
        Air the cylinders take in during one cycle, per manifold pressure. [kg/Pa]
    air_fuel : float
        Air per fuel. [-]

    Returns
    -------
    torque : float
        [N m]
    """
    return air_limited_torque(breathing * manifold_pressure, air_fuel, p["indicated_efficiency"], p["heating_value"])


@compiled
def believed_air_limit(s, b, p):
    """Indicated torque that a controller allows by the sensors it has, and that the true air can burn.

    Returns
    -------
    torque : float
        [N m]

    Notes
    -----
    The controller takes the manifold pressure and the intake temperature it reads, but at least the outside air it reads. What it
    injects beyond the air makes smoke; beyond the richest mixture nothing more burns.
    """
    manifold = max(b["manifold_pressure"], b["ambient_pressure"], 0.0)
    breathing = s["breathing"] * s["intake_temperature"] / b["intake_temperature"]
    return min(
        charge_limit(manifold, breathing, p["least_air_fuel"], p),
        charge_limit(s["manifold_pressure"], s["breathing"], p["richest_air_fuel"], p),
    )


@compiled
def fuel_rate(indicated, friction, speed, p, tables):
    """Fuel for an indicated torque, from the map or from the straight line.

    Parameters
    ----------
    indicated : float
        [N m]
    friction : float
        Motoring torque with warm oil. [N m]
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    rate : float
        Exactly 0 without indicated torque. [kg/s]

    Notes
    -----
    A map is read by flywheel torque, bilinear; torque below the first of the map scales the first down to nothing at zero
    indicated torque.
    """
    if indicated <= 0.0:
        return 0.0
    if p["fuel_map_used"] < 0.5:
        return straight_line_fuel(indicated, speed, p["indicated_efficiency"], p["heating_value"])
    place = (speed - p["fuel_map_first_speed"]) * p["fuel_map_per_speed"]
    last = p["fuel_map_speeds"] - 1.0
    place = min(place, last) if place > 0.0 else 0.0
    row = int(place)
    if row == int(last):
        row -= 1
    share = place - row
    torque = indicated - friction
    scale = 1.0
    if torque < p["fuel_map_first_torque"]:
        scale = indicated / (friction + p["fuel_map_first_torque"])
        torque = p["fuel_map_first_torque"]
    low = table_value(tables[FUEL_MAP_ROW + row], p["fuel_map_first_torque"], p["fuel_map_per_torque"], torque)
    high = table_value(tables[FUEL_MAP_ROW + row + 1], p["fuel_map_first_torque"], p["fuel_map_per_torque"], torque)
    return scale * (low + share * (high - low))


@compiled
def open_fan_power(speed, p):
    """What the fan takes with its clutch open, the times for which others than the coolant call it spread evenly.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    power : float
        [W]

    Notes
    -----
    The air of those times is left out: the thermostat lets less through for it.
    """
    slipping = fan_power(speed, speed * p["fan_idle_share"], p["fan_coefficient"], p["fan_bearing_loss"])
    locked = fan_power(speed, speed, p["fan_coefficient"], p["fan_bearing_loss"])
    return slipping + p["fan_called_share"] * (locked - slipping)


@compiled
def accessory_power(speed, pumping, p):
    """What the accessories take.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    pumping : float
        1 while the air compressor pumps. [-]

    Returns
    -------
    power : float
        [W]
    """
    compressor = compressor_power(speed, p["compressor_unloaded"], p["compressor_pumping"], pumping)
    return p["steady_accessories"] + p["air_conditioning"] * speed + compressor


@compiled
def engine(s, b, c, p, tables):
    """Torque and fuel of the engine, engine brake and accessories included.

    Parameters
    ----------
    s : record
        State; air and temperatures are read, the engine's torques, fuel and powers are written. [SI]
    b : record
        Belief; governor and limiters act on it. [SI]
    """
    speed = s["engine_speed"]
    believed = b["engine_speed"]
    full = table_value(tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], speed)
    warm = warm_friction(speed, p)
    friction = warm * table_value(
        tables[OIL_FACTOR_ROW], p["oil_factor_first"], p["oil_factor_per_step"], s["oil_temperature"]
    )
    if p["blocked_exhaust"] > 0.0:
        friction += mean_pressure_torque(restriction_pressure(p["blocked_exhaust"], s["air_flow"]), p["displacement"])
    cylinders = working_cylinders(c, p)
    compression = 0.0
    indicated = 0.0
    demand = 0.0
    smoking = 0.0
    limiter = NO_LIMITER
    if cylinders > 0.0:
        compression = compression_torque(cylinders, s["manifold_pressure"], s["exhaust_pressure"], p)
    else:
        full_indicated = full + warm
        watched = p["circuits_watched"] > 0.5
        if c["engine_mode"] > 0.5:
            limit = full * governor_share(believed, p["governed_speed"], p["droop"]) + warm
            highest = p["governed_speed"] * (1.0 + p["droop"])
            wanted = matched_speed(
                c["engine_mode"], c["engine_speed_target"], c["matching_ratio"], b["road_speed"], highest
            )
            indicated = warm + p["matching_gain"] * (wanted - believed)
            indicated = max(min(indicated, limit), 0.0)
        else:
            indicated = pedal_torque(
                b["driver_demand"],
                believed,
                full,
                warm,
                p["all_speed"],
                p["low_idle"],
                p["governed_speed"],
                p["droop"],
            )
            asked = 1.0 if p["all_speed"] > 0.5 else b["driver_demand"]
            if b["driver_demand"] > 0.0 and indicated < asked * full_indicated:
                limiter = GOVERNOR
            share = road_speed_share(b["road_speed"], p["road_speed_limit"], p["road_speed_band"])
            indicated *= share
            if share < 1.0:
                limiter = ROAD_SPEED_LIMIT
        idle = idle_torque(believed, p["low_idle"], warm, p["idle_gain"], s["idle_integral"], p["refuel_span"])
        if idle > indicated:
            limiter = IDLE_GOVERNOR
        indicated = min(max(indicated, idle), full_indicated)
        demand = indicated / full_indicated
        if b["altitude_share"] < 1.0 and indicated > b["altitude_share"] * full + warm:
            indicated = b["altitude_share"] * full + warm
            limiter = ALTITUDE
        if watched:
            injecting = c["fuel_off"] < 0.5 and b["key"] > 0.5 and believed > 0.0
            indicated = min(indicated, (1.0 - c["derate"]) * full_indicated) if injecting else 0.0
            demand = min(demand, indicated / full_indicated)
        if limiter == NO_LIMITER and indicated >= full_indicated:
            limiter = FULL_LOAD_CURVE
        if indicated > 0.0:
            smoke = charge_limit(s["manifold_pressure"], s["breathing"], p["least_air_fuel"], p)
            if watched:
                allowed = believed_air_limit(s, b, p)
                if allowed < indicated:
                    limiter = AIR_FUEL_LIMIT
                    indicated = allowed
                smoking = 1.0 if indicated > SMOKE_SHOWS * smoke else 0.0
            elif smoke < indicated:
                limiter = AIR_FUEL_LIMIT
                indicated = smoke
    commanded = indicated
    indicated *= p["fuel_delivery"] * p["firing_share"]
    fuel = fuel_rate(indicated, warm, speed, p, tables)
    if 0.0 < p["most_fuel"] < fuel:
        indicated *= p["most_fuel"] / fuel
        fuel = p["most_fuel"]
    indicated *= p["tightness"]
    fan_speed = speed if c["fan"] > 0.5 else speed * p["fan_idle_share"]
    fan = fan_power(speed, speed, p["fan_coefficient"], p["fan_bearing_loss"])
    if c["fan"] <= 0.5:
        fan = open_fan_power(speed, p)
    accessories = accessory_power(speed, s["compressor_pumping"], p)
    per_speed = 1.0 / max(speed, LEAST_SPEED_FOR_POWER)
    s["full_load_torque"] = full
    s["fuel_demand"] = demand
    s["limiter"] = limiter
    s["commanded_torque"] = commanded
    s["indicated_torque"] = indicated
    s["warm_friction"] = warm
    s["friction_torque"] = friction
    s["compression_torque"] = compression
    s["fan_torque"] = fan * per_speed
    s["accessory_torque"] = accessories * per_speed
    drawn = (fan + accessories) * per_speed
    s["engine_torque"] = indicated - friction - compression - drawn
    s["fuel_rate"] = fuel
    s["fuel_cut"] = 1.0 if indicated <= 0.0 else 0.0
    s["smoking"] = smoking
    s["active_cylinders"] = cylinders
    s["engine_brake_power"] = (friction + compression + drawn) * speed if cylinders > 0.0 else 0.0
    s["fan_power"] = fan
    s["fan_speed"] = fan_speed
    s["accessory_power"] = accessories


@compiled
def group_brake_force(pressure, temperature, threshold, gain, stroke, load, p, tables):
    """Force capacity of the service brakes of one axle group; anti-lock control keeps it within grip.

    Parameters
    ----------
    pressure : float
        [Pa]
    temperature : float
        Of the drums. [K]
    threshold : float
        Push-out pressure. [Pa]
    gain : float
        Cold and adjusted. [N/Pa]
    stroke : float
        Cold push-rod stroke. [m]
    load : float
        Weight on the group. [N]

    Returns
    -------
    force : float
        [N]
    """
    if pressure <= threshold:
        return 0.0
    fade = table_value(tables[FADE_ROW], p["fade_first"], p["fade_per_step"], temperature)
    travel = hot_stroke(stroke, p["stroke_expansion"], temperature, p["stroke_cold"])
    slack = slack_effectiveness(travel, p["stroke_limit"], p["stroke_end"])
    return min(brake_force(pressure, threshold, gain, fade * slack), traction_limit(p["grip"], load))


@compiled
def road(s, p, tables):
    """Forces of road, air and service brakes.

    Parameters
    ----------
    s : record
        State; motion, air, pressures and temperatures are read, the forces are written. Brake and rolling forces are
        capacities here: what they can take, not what they take at rest. [SI]
    """
    cosine = grade_cosine(s["grade"])
    sine = s["grade"] * cosine
    s["sine"] = sine
    s["grade_force"] = grade_force(p["mass"], sine)
    s["rolling_force"] = rolling_resistance(p["mass"], cosine, p["rolling_constant"], p["rolling_speed"], s["speed"])
    s["aero_force"] = aerodynamic_drag(s["air_density"], p["drag_area"], s["speed"], s["wind"])
    s["brake_force_steer"] = group_brake_force(
        s["brake_pressure_steer"],
        s["brake_temperature_steer"],
        p["brake_threshold_steer"],
        p["brake_gain_steer"],
        p["brake_stroke_steer"],
        p["steer_load"],
        p,
        tables,
    )
    s["brake_force_drive"] = group_brake_force(
        s["brake_pressure_drive"],
        s["brake_temperature_drive"],
        p["brake_threshold_drive"],
        p["brake_gain_drive"],
        p["brake_stroke_drive"],
        p["drive_load"],
        p,
        tables,
    )
    s["brake_force_trailer"] = group_brake_force(
        s["brake_pressure_trailer"],
        s["brake_temperature_trailer"],
        p["brake_threshold_trailer"],
        p["brake_gain_trailer"],
        p["brake_stroke_trailer"],
        p["trailer_load"],
        p,
        tables,
    )


@compiled
def settle(s, b, c, p, tables):
    """Everything that holds at this instant."""
    surroundings(s, p)
    engine(s, b, c, p, tables)
    road(s, p, tables)


@compiled
def driveline(torque, gear, shaft_speed, direction, p, tables):
    """The driveline around a clutch torque as a straight line: force at the tyres = slope x torque - drag.

    Parameters
    ----------
    torque : float
        Clutch torque near which the line is wanted. [N m]
    gear : int
        Engaged gear, 0 for neutral. [-]
    shaft_speed : float
        Gearbox input shaft. [rad/s]
    direction : float
        1 for forward travel, -1 for backward. [-]

    Returns
    -------
    slope : float
        Tyre force per clutch torque, losses by direction of the power included. [1/m]
    drag : float
        Force that opposes the motion whatever the torque, 0 or more. [N]
    per_metre : float
        Turns of the input shaft per way of the tyres. [rad/m]

    Notes
    -----
    The loss laws are piecewise linear, so the line through two points of the same piece is the law itself.
    """
    ratio = tables[RATIO_ROW, gear]
    share = tables[GEARBOX_SHARE_ROW, gear]
    at = torque * direction
    step = 1.0 if at >= 0.0 else -1.0
    constant, rising = p["gearbox_constant_loss"], p["gearbox_speed_loss"]
    axle, efficiency, drag = p["axle_ratio"], p["axle_efficiency"], p["axle_drag"]
    near = wheel_torque(at, shaft_speed, ratio, axle, constant, rising, share, efficiency, drag)
    next_ = wheel_torque(at + step, shaft_speed, ratio, axle, constant, rising, share, efficiency, drag)
    slope = (next_ - near) * step
    per_radius = 1.0 / p["tyre_radius"]
    return slope * per_radius, max(slope * at - near, 0.0) * per_radius, ratio * axle * per_radius


@compiled
def rolling_acceleration(s, p, tables):
    """Acceleration with the clutch locked and the tyres rolling, after `settle`.

    Returns
    -------
    acceleration : float
        [m/s²]

    Notes
    -----
    (m + sum(J_wheel)/r² + J_e (i/r)²) a = F_drive - F_roll - F_aero - F_grade - F_brake. Forward travel. The kernel solves
    the same balance with a clutch that may slip; this form is for root finding and for a general-purpose integrator.
    """
    gear = int(s["gear"])
    slope, drag, per_metre = driveline(s["engine_torque"], gear, s["engine_speed"], 1.0, p, tables)
    brakes = s["brake_force_steer"] + s["brake_force_drive"] + s["brake_force_trailer"]
    force = slope * s["engine_torque"] - drag - s["grade_force"] - s["aero_force"] - s["rolling_force"] - brakes
    mass = p["vehicle_body"] + p["wheel_body"] + p["shaft_inertia"] * per_metre * per_metre
    return force / (mass + slope * per_metre * p["engine_inertia"])


# ---------------------------------------------------------------- what the truck could do, asked from outside a tick
# One-element arrays instead of records: a record as an argument costs thirty times as much to hand over.


@compiled
def asked_friction(parameters, speed):
    """`warm_friction` for callers outside the kernel.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    torque : float
        [N m]
    """
    return warm_friction(speed, parameters[0])


@compiled
def asked_cold_drag(parameters, tables, speed, oil_temperature):
    """What a cold engine takes beyond a warm one, as it is felt by whoever changes gears.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    oil_temperature : float
        [K]

    Returns
    -------
    torque : float
        0 or more. [N m]
    """
    p = parameters[0]
    factor = table_value(tables[OIL_FACTOR_ROW], p["oil_factor_first"], p["oil_factor_per_step"], oil_temperature)
    return warm_friction(speed, p) * max(factor - 1.0, 0.0)


def asked_air(parameters, elevation):
    """Temperature and pressure of the air at a height.

    Parameters
    ----------
    elevation : float
        [m]

    Returns
    -------
    temperature : float
        [K]
    pressure : float
        [Pa]
    """
    p = parameters[0]
    first = float(p["start_temperature"])
    temperature = float(ambient_temperature(elevation, float(p["start_elevation"]), first))
    return temperature, float(ambient_pressure(temperature, first, float(p["start_pressure"])))


@compiled
def asked_resistance(parameters, density, speed, wind, grade):
    """Force of road and air at a speed on a grade.

    Parameters
    ----------
    density : float
        Air. [kg/m³]
    speed : float
        [m/s]
    wind : float
        From ahead. [m/s]
    grade : float
        [-]

    Returns
    -------
    force : float
        Negative where the road pushes more than air and tyres hold. [N]
    """
    p = parameters[0]
    cosine = grade_cosine(grade)
    rolling = rolling_resistance(p["mass"], cosine, p["rolling_constant"], p["rolling_speed"], speed)
    air = aerodynamic_drag(density, p["drag_area"], speed, wind)
    return grade_force(p["mass"], grade * cosine) + rolling + air


@compiled
def asked_drawn_power(parameters, speed):
    """What fan and accessories take: fan clutch open, air compressor unloaded.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    power : float
        [W]
    """
    p = parameters[0]
    return open_fan_power(speed, p) + accessory_power(speed, 0.0, p)


@compiled
def asked_pull(parameters, tables, gear, speed, ambient, outside, powers, boosted):
    """Force at the tyres at full pedal.

    Parameters
    ----------
    gear : int
        [-]
    speed : float
        Engine speed. [rad/s]
    ambient : float
        Absolute. [Pa]
    outside : float
        [K]
    powers : float
        Fan, accessories and what cold oil takes. [W]
    boosted : bool
        False for the torque before the turbocharger has spun up. [-]

    Returns
    -------
    force : float
        [N]
    """
    p = parameters[0]
    friction = warm_friction(speed, p)
    full = table_value(tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], speed)
    if boosted:
        limit = settled_torque(0, speed, ambient, p, tables)
    else:
        breathing = air_per_cycle(1.0, outside, p["displacement"], p["filling_low"])
        limit = charge_limit(ambient, breathing, p["least_air_fuel"], p)
    torque = min(full * altitude_share(ambient), limit - friction)
    torque -= powers / max(speed, LEAST_SPEED_FOR_POWER)
    slope, drag, _ = driveline(torque, gear, speed, 1.0, p, tables)
    return slope * torque - drag


@compiled
def settled_torque(pairs, speed, ambient, p, tables):
    """Torque of a settled air path, read from what the truck's own settles at in the air of the start and in thinner air.

    Parameters
    ----------
    pairs : int
        Working as a brake: what they hold back with, friction not included; 0 for what the air allows at full load. [-]
    speed : float
        Engine speed. [rad/s]
    ambient : float
        Absolute. [Pa]

    Returns
    -------
    torque : float
        [N m]
    """
    dense = table_value(tables[SETTLED_ROW + pairs], p["curve_first"], p["curve_per_step"], speed)
    thin = table_value(tables[THIN_ROW + pairs], p["curve_first"], p["curve_per_step"], speed)
    return dense + (dense - thin) * (ambient / p["start_pressure"] - 1.0) / (1.0 - THIN_AIR)


@compiled
def asked_retarding(parameters, tables, gear, speed, ambient, cylinders):
    """Force at the tyres with which engine, its accessories and driveline hold the truck back once the boost has settled.

    Parameters
    ----------
    gear : int
        [-]
    speed : float
        Engine speed. [rad/s]
    ambient : float
        Absolute. [Pa]
    cylinders : float
        Working as a brake. [-]

    Returns
    -------
    force : float
        [N]
    """
    p = parameters[0]
    pairs = int(3.0 * cylinders / p["cylinders"] + 0.5)
    torque = warm_friction(speed, p)
    if pairs > 0:
        torque += settled_torque(pairs, speed, ambient, p, tables)
    torque += asked_drawn_power(parameters, speed) / max(speed, LEAST_SPEED_FOR_POWER)
    slope, drag, _ = driveline(-torque, gear, speed, 1.0, p, tables)
    return slope * torque + drag


@compiled
def asked_driveline(parameters, tables, torque, gear, speed):
    """`driveline` for callers outside the kernel, forward travel.

    Parameters
    ----------
    torque : float
        Clutch torque near which the line is wanted. [N m]
    gear : int
        [-]
    speed : float
        Input shaft. [rad/s]

    Returns
    -------
    slope : float
        [1/m]
    drag : float
        [N]
    """
    slope, drag, _ = driveline(torque, gear, speed, 1.0, parameters[0], tables)
    return slope, drag


@compiled
def friction_factors(first, step, number, viscosity_40, viscosity_100, exponent):
    """Friction factors on an even grid of oil temperatures.

    Parameters
    ----------
    first : float
        First temperature. [K]
    step : float
        Between temperatures. [K]
    number : int
        How many. [-]
    viscosity_40 : float
        [mm²/s]
    viscosity_100 : float
        [mm²/s]
    exponent : float
        [-]

    Returns
    -------
    factors : array
        Shape (number,). [-]

    Notes
    -----
    Beyond 160 °C the value there holds: the viscosity law ends.
    """
    factors = np.empty(number)
    for k in range(number):
        temperature = min(first + step * k, HOTTEST_OIL)
        factors[k] = friction_temperature_factor(temperature, viscosity_40, viscosity_100, exponent)
    return factors


@compiled
def complete(parameters, exponent, teeth):
    """Fills in the parameters that follow from others by a law, air path excepted.

    Parameters
    ----------
    parameters : array
        Parameter record, shape (1,); a start pressure of 0 becomes that of the standard atmosphere. [SI]
    exponent : float
        Polytropic exponent of the engine brake. [-]
    teeth : float
        Of the tone wheel. [-]
    """
    p = parameters[0]
    if p["start_pressure"] <= 0.0:
        standard = ambient_temperature(p["start_elevation"], 0.0, SEA_LEVEL_TEMPERATURE)
        p["start_pressure"] = ambient_pressure(standard, SEA_LEVEL_TEMPERATURE, SEA_LEVEL_PRESSURE)
    p["braking_work_ratio"] = compression_work_ratio(p["compression_ratio"], exponent)
    p["fitted_pulses"] = pulses_per_mile(revolutions_per_mile(p["tyre_radius"]), p["axle_ratio"], teeth)
    if p["programmed_pulses"] <= 0.0:
        p["programmed_pulses"] = p["fitted_pulses"]
