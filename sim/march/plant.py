"""Where the laws meet: the forces, torques and heat flows of the truck at one instant. Knows no time step.

`settle` is called once a tick by the kernel and by anything that holds the truck still to look at it; it reads the state,
the belief and the command, and writes the instant's quantities back into the state record.
"""

import math

import numpy as np

from sim.compiled import compiled
from sim.laws.air import air_density, ambient_pressure, ambient_temperature
from sim.laws.brakes import brake_force, hot_stroke, slack_effectiveness
from sim.laws.driveline import wheel_torque
from sim.laws.engine import (
    air_flow,
    air_limited_torque,
    air_per_cycle,
    back_pressed,
    boost_target,
    friction_temperature_factor,
    governor_share,
    idle_torque,
    leaked_pressure,
    mean_pressure_torque,
    motoring_mean_pressure,
    pedal_torque,
    restriction_pressure,
    road_speed_share,
    straight_line_fuel,
)
from sim.laws.engine_brake import (
    braking_boost_target,
    braking_exhaust_pressure,
    braking_mean_pressure,
    compression_work_ratio,
)
from sim.laws.foot import matched_speed
from sim.laws.road_load import aerodynamic_drag, grade_cosine, grade_force, rolling_resistance, traction_limit
from sim.laws.sensing import pulses_per_mile, revolutions_per_mile
from sim.laws.tables import table_value
from sim.laws.thermal import compressor_power, fan_power
from sim.march.records import (
    AIR_FUEL_LIMIT,
    BOOST_TIME_ROW,
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
)
from sim.units import BAR, SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE

RATED_BRAKING_SPEED = 2100.0 * math.pi / 30.0  # rad/s: where the class of an engine brake is stated
HOTTEST_OIL = 433.15  # K
MISREAD_ALTITUDE = 1000.0  # Pa, assumed: a barometer is believed as it reads up to here
HIGHEST_ROAD = 5.5e4  # Pa: no road lies higher, so no lower reading takes more torque away
SMOKE_SHOWS = 1.02  # assumed: torque over what the air allows at which smoke shows
AIR_STEP = 0.1  # m of height within which the air counts as unchanged (0.001 % of its density)
MOST_DEPRESSION = 0.8  # of the outside pressure: the air a blocked filter can hold back
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
def compression_torque(cylinders, manifold_pressure, ambient, p):
    """Torque with which the working cylinders hold the engine back.

    Parameters
    ----------
    cylinders : float
        Working as a brake. [-]
    manifold_pressure : float
        Absolute. [Pa]
    ambient : float
        Absolute. [Pa]

    Returns
    -------
    torque : float
        Friction not included. [N m]
    """
    exhaust = braking_exhaust_pressure(manifold_pressure, ambient, p["braking_turbine_factor"], p["braking_back_share"])
    pressure = braking_mean_pressure(manifold_pressure, exhaust, p["braking_work_ratio"], p["braking_returned_share"])
    return mean_pressure_torque(pressure, p["displacement"] * cylinders / p["cylinders"])


@compiled
def settled_braking_torque(speed, cylinders, ambient, p):
    """Compression torque once the turbocharger has settled.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    cylinders : float
        Working as a brake. [-]
    ambient : float
        Absolute. [Pa]

    Returns
    -------
    torque : float
        Friction not included. [N m]
    """
    pressure = braking_boost_target(
        speed, ambient, p["braking_pressure_ratio"], cylinders / p["cylinders"], p["braking_share_exponent"]
    )
    return compression_torque(cylinders, pressure, ambient, p)


@compiled
def charge_limit(manifold_pressure, intake_temperature, air_fuel, p):
    """Indicated torque that the air in the manifold allows at an air-fuel ratio.

    Parameters
    ----------
    manifold_pressure : float
        Absolute. [Pa]
    intake_temperature : float
        In the manifold. [K]
    air_fuel : float
        Air per fuel. [-]

    Returns
    -------
    torque : float
        [N m]
    """
    air = air_per_cycle(manifold_pressure, intake_temperature, p["displacement"], p["volumetric_efficiency"])
    return air_limited_torque(air, air_fuel, p["indicated_efficiency"], p["heating_value"])


@compiled
def air_limit(manifold_pressure, outside_temperature, air_fuel, p):
    """Indicated torque that a manifold pressure allows at an air-fuel ratio.

    Parameters
    ----------
    manifold_pressure : float
        Absolute. [Pa]
    outside_temperature : float
        [K]
    air_fuel : float
        Air per fuel. [-]

    Returns
    -------
    torque : float
        [N m]
    """
    return charge_limit(manifold_pressure, outside_temperature + p["intake_rise"], air_fuel, p)


@compiled
def believed_air_limit(s, b, p, full_indicated):
    """Indicated torque that a controller allows by the sensors it has, and that the true air can burn.

    Parameters
    ----------
    full_indicated : float
        Full-load indicated torque at this speed. [N m]

    Returns
    -------
    torque : float
        [N m]

    Notes
    -----
    The controller takes the manifold pressure and the intake temperature it reads, but at least the outside air it reads, and no
    more boost than the turbocharger may
    give at the altitude it reads. What it injects beyond the air makes smoke; beyond the richest mixture nothing more burns.
    """
    manifold = max(b["manifold_pressure"], b["ambient_pressure"], 0.0)
    if b["ambient_pressure"] < s["ambient_pressure"] - MISREAD_ALTITUDE:
        air = max(b["ambient_pressure"], HIGHEST_ROAD)
        allowed = boost_target(air, 1.0, full_indicated * p["matched_boost"])
        manifold = min(manifold, allowed)
    return min(
        charge_limit(manifold, b["intake_temperature"], p["least_air_fuel"], p),
        air_limit(s["manifold_pressure"], s["ambient_temperature"], p["richest_air_fuel"], p),
    )


@compiled
def matched_boost(p):
    """What the turbocharger is matched to give for full-load fuel in sea-level air, per torque.

    Returns
    -------
    ratio : float
        Manifold over ambient pressure, per full-load indicated torque. [1/(N m)]
    """
    return 1.0 / air_limit(SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE, p["full_load_air_fuel"], p)


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
def restrictions(s, p):
    """What a blocked air filter or exhaust takes; nothing in a sound engine.

    Parameters
    ----------
    s : record
        State; the two pressures are written. [SI]

    Returns
    -------
    torque : float
        To push the exhaust out against its back pressure. [N m]
    """
    if p["intake_restriction"] <= 0.0 and p["exhaust_restriction"] <= 0.0:
        s["intake_depression"] = 0.0
        s["back_pressure"] = 0.0
        return 0.0
    intake_temperature = s["ambient_temperature"] + p["intake_rise"]
    air = air_per_cycle(s["manifold_pressure"], intake_temperature, p["displacement"], p["volumetric_efficiency"])
    flow = air_flow(air, s["engine_speed"])
    depression = restriction_pressure(p["intake_restriction"], flow)
    s["intake_depression"] = min(depression, MOST_DEPRESSION * s["ambient_pressure"])
    s["back_pressure"] = restriction_pressure(p["exhaust_restriction"], flow)
    return mean_pressure_torque(s["back_pressure"], p["displacement"])


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
    friction += restrictions(s, p)
    cylinders = working_cylinders(c, p)
    compression = 0.0
    indicated = 0.0
    demand = 0.0
    smoking = 0.0
    limiter = NO_LIMITER
    if cylinders > 0.0:
        compression = compression_torque(cylinders, s["manifold_pressure"], s["ambient_pressure"], p)
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
        if watched:
            injecting = c["fuel_off"] < 0.5 and b["key"] > 0.5 and believed > 0.0
            indicated = min(indicated, (1.0 - c["derate"]) * full_indicated) if injecting else 0.0
        if limiter == NO_LIMITER and indicated >= full_indicated:
            limiter = FULL_LOAD_CURVE
        demand = indicated / full_indicated
        if indicated > 0.0:
            smoke = air_limit(s["manifold_pressure"], s["ambient_temperature"], p["least_air_fuel"], p)
            if watched:
                allowed = believed_air_limit(s, b, p, full_indicated)
                if allowed < indicated:
                    limiter = AIR_FUEL_LIMIT
                    indicated = allowed
                smoking = 1.0 if indicated > SMOKE_SHOWS * smoke else 0.0
                if indicated * SMOKE_SHOWS < smoke:
                    # less than the air allows: the turbocharger gets no more than that
                    demand = min(demand, indicated / full_indicated)
            elif smoke < indicated:
                limiter = AIR_FUEL_LIMIT
                indicated = smoke
    commanded = indicated
    indicated *= p["fuel_delivery"] * p["firing_share"]
    fan_speed = speed if c["fan"] > 0.5 else speed * p["fan_idle_share"]
    fan = fan_power(speed, fan_speed, p["fan_coefficient"], p["fan_bearing_loss"])
    accessories = p["steady_accessories"] + compressor_power(
        speed, p["compressor_unloaded"], p["compressor_pumping"], s["compressor_pumping"]
    )
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
    s["fuel_rate"] = fuel_rate(indicated, warm, speed, p, tables)
    s["fuel_cut"] = 1.0 if indicated <= 0.0 else 0.0
    s["smoking"] = smoking
    s["active_cylinders"] = cylinders
    s["engine_brake_power"] = (friction + compression + drawn) * speed if cylinders > 0.0 else 0.0
    s["fan_power"] = fan
    s["fan_speed"] = fan_speed
    s["accessory_power"] = accessories


@compiled
def manifold_target(s, p, tables):
    """Where the manifold pressure is heading, and how fast.

    Parameters
    ----------
    s : record
        State after `engine`. [SI]

    Returns
    -------
    target : float
        Absolute. [Pa]
    lag : float
        Time constant. [s]
    """
    speed = s["engine_speed"]
    ambient = s["ambient_pressure"]
    inlet = ambient - s["intake_depression"]
    if s["active_cylinders"] > 0.0:
        target = braking_boost_target(
            speed,
            inlet,
            p["braking_pressure_ratio"],
            s["active_cylinders"] / p["cylinders"],
            p["braking_share_exponent"],
        )
        lag = p["braking_boost_time"]
    else:
        full_indicated = s["full_load_torque"] + s["warm_friction"]
        burnt = s["fuel_demand"] * (p["fuel_delivery"] * p["firing_share"])
        target = boost_target(inlet, burnt, full_indicated * p["matched_boost"])
        lag = table_value(tables[BOOST_TIME_ROW], p["curve_first"], p["curve_per_step"], speed)
    if p["boost_leak_speed"] > 0.0:
        target = leaked_pressure(target, inlet, speed, p["boost_leak_speed"])
    if s["back_pressure"] > 0.0:
        target = back_pressed(target, inlet, ambient, s["back_pressure"])
    if target < s["manifold_pressure"]:
        lag = p["boost_fall_time"]
    return target, lag


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
        Air temperature. [K]
    powers : float
        Fan and accessories. [W]
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
    manifold = ambient
    if boosted:
        manifold = boost_target(ambient, 1.0, (full + friction) * p["matched_boost"])
    torque = min(full, air_limit(manifold, outside, p["least_air_fuel"], p) - friction)
    torque -= powers / max(speed, LEAST_SPEED_FOR_POWER)
    slope, drag, _ = driveline(torque, gear, speed, 1.0, p, tables)
    return slope * torque - drag


@compiled
def asked_retarding(parameters, tables, gear, speed, ambient, cylinders):
    """Force at the tyres with which engine and driveline hold the truck back once the boost has settled.

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
    torque = settled_braking_torque(speed, cylinders, ambient, p) + warm_friction(speed, p)
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
def asked_air_flow(parameters, speed, torque):
    """Air a sound engine takes in at sea level once the boost has settled.

    Parameters
    ----------
    parameters : array
        Parameter record, shape (1,), completed. [SI]
    speed : float
        Engine speed. [rad/s]
    torque : float
        Full-load torque there. [N m]

    Returns
    -------
    flow : float
        [kg/s]
    """
    p = parameters[0]
    manifold = boost_target(SEA_LEVEL_PRESSURE, 1.0, (torque + warm_friction(speed, p)) * p["matched_boost"])
    intake = SEA_LEVEL_TEMPERATURE + p["intake_rise"]
    return air_flow(air_per_cycle(manifold, intake, p["displacement"], p["volumetric_efficiency"]), speed)


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
    """Fills in the parameters that follow from others by a law.

    Parameters
    ----------
    parameters : array
        Parameter record, shape (1,); a start pressure of 0 becomes that of the standard atmosphere. [SI]
    exponent : float
        Polytropic exponent of the engine brake. [-]
    teeth : float
        Of the tone wheel. [-]

    Returns
    -------
    power : float
        Retarding power at 2100 rpm with all cylinders in air of 1 bar, friction included. [W]
    """
    p = parameters[0]
    if p["start_pressure"] <= 0.0:
        standard = ambient_temperature(p["start_elevation"], 0.0, SEA_LEVEL_TEMPERATURE)
        p["start_pressure"] = ambient_pressure(standard, SEA_LEVEL_TEMPERATURE, SEA_LEVEL_PRESSURE)
    p["matched_boost"] = matched_boost(p)
    p["braking_work_ratio"] = compression_work_ratio(p["compression_ratio"], exponent)
    p["fitted_pulses"] = pulses_per_mile(revolutions_per_mile(p["tyre_radius"]), p["axle_ratio"], teeth)
    if p["programmed_pulses"] <= 0.0:
        p["programmed_pulses"] = p["fitted_pulses"]
    torque = settled_braking_torque(RATED_BRAKING_SPEED, p["cylinders"], BAR, p) + warm_friction(RATED_BRAKING_SPEED, p)
    return torque * RATED_BRAKING_SPEED
