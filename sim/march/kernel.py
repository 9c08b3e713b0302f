"""Marches the truck at a fixed step from one event to the next, and stops early at a watch point.

One tick, one order: sense, control on belief, plant, integrate, ledger, temperatures (every tenth tick), log, watch points.
The kernel takes no decisions: gear, stage, modes and targets are commands it holds constant. Sticking and slipping of clutch,
tyres and brakes are solved within the tick by `friction_force`, so a contact that would chatter sticks instead.
"""

import sys

from sim.compiled import compiled
from sim.laws.brakes import brake_cooling
from sim.laws.driveline import friction_force
from sim.laws.foot import launch_clutch_torque
from sim.laws.grade_severity import brake_temperature_rate
from sim.laws.lag import lag_rate
from sim.laws.road_load import traction_limit
from sim.laws.tables import table_value
from sim.laws.thermal import radiator_conductance, thermostat_opening
from sim.march.controller import control, sense
from sim.march.plant import driveline, manifold_target, settle, surroundings, warm_friction
from sim.march.plant import road as road_forces
from sim.march.records import (
    FULL_LOAD_ROW,
    LOG_EVERY,
    LOG_ROWS,
    RATIO_ROW,
    ROAD_DISTANCE,
    ROAD_GRADE,
    ROAD_GRADE_SLOPE,
    ROAD_PLACE,
    ROAD_WIND,
    TICK,
    WATCH_ARMED,
    WATCH_COUNT,
    WATCH_DIRECTION,
    WATCH_FIRED,
    WATCH_LEVEL,
    WATCH_PLACE,
    WATCH_RELEASE,
    WATCH_SCALE,
    WATCHES_FIRED,
)
from sim.units import CELSIUS_ZERO, HORSEPOWER, MILE_PER_HOUR, REVOLUTION_PER_MINUTE

REACHED_TICK = 0
REACHED_WATCH = 1
LOG_FULL = 2
NOT_A_NUMBER = 3

RIPPLE = REVOLUTION_PER_MINUTE  # rad/s: with its foot down a governor holds high idle to a turn a minute
NO_PRESSURE = 1.0  # Pa: released chambers are empty below it
SLOW_TICKS = 10  # ticks between steps of temperatures, whose time constants are minutes
TESTED_TICKS = 100  # most ticks between two tests that everything is a number, each of which costs most of a tick
LARGEST = sys.float_info.max
HOUR = 3600.0  # s
FAHRENHEIT_DEGREE = 5.0 / 9.0  # K
PER_FAHRENHEIT_DEGREE = 1.0 / FAHRENHEIT_DEGREE
PER_HORSEPOWER = 1.0 / HORSEPOWER
PER_MILE_PER_HOUR = 1.0 / MILE_PER_HOUR
FAHRENHEIT_PER_HOUR = FAHRENHEIT_DEGREE / HOUR  # K/s
FAHRENHEIT_ZERO = CELSIUS_ZERO - 32.0 * FAHRENHEIT_DEGREE  # K


@compiled
def look_up_road(s, road, place):
    """Grade and wind at the truck's place on the road.

    Parameters
    ----------
    s : record
        State; grade and wind are written. [SI]
    road : array
        Shape (points, 4): distance, grade, grade per metre to the next point, wind. [m, -, 1/m, m/s]
    place : int
        Point at or before the truck when last asked. [-]

    Returns
    -------
    place : int
        Point at or before the truck now. [-]
    """
    distance = s["distance"]
    last = road.shape[0] - 1
    while place < last and road[place + 1, ROAD_DISTANCE] <= distance:
        place += 1
    while place > 0 and road[place, ROAD_DISTANCE] > distance:
        place -= 1
    into = distance - road[place, ROAD_DISTANCE]
    s["grade"] = road[place, ROAD_GRADE] + into * road[place, ROAD_GRADE_SLOPE]
    s["wind"] = road[place, ROAD_WIND]
    return place


@compiled
def change_gear(s, c, p, tables):
    """Engages or leaves a gear; the input shaft is brought to the new speed and the loss is booked.

    Parameters
    ----------
    s : record
        State. [SI]
    c : record
        Command; the gear wanted. [SI]
    p : record
        Parameters. [SI]
    tables : array
        Shape (rows, width). [any]

    Notes
    -----
    Engaging is an inelastic impact of the shaft with the wheels (and with the truck while the tyres roll): momentum is kept,
    the kinetic energy that is lost goes to `gear_synchronising`.
    """
    gear = int(c["gear"])
    s["gear"] = c["gear"]
    s["clutch_locked"] = 0.0
    if gear == 0:
        return
    per_metre = tables[RATIO_ROW, gear] * p["axle_ratio"] / p["tyre_radius"]
    rolling = s["wheel_slip"] < 0.5
    mass = p["wheel_body"] + (p["vehicle_body"] if rolling else 0.0)
    inertia = p["shaft_inertia"]
    before = mass * s["wheel_speed"] * s["wheel_speed"] + inertia * s["shaft_speed"] * s["shaft_speed"]
    coupled = mass + inertia * per_metre * per_metre
    speed = (mass * s["wheel_speed"] + inertia * per_metre * s["shaft_speed"]) / coupled
    s["gear_synchronising"] += 0.5 * (before - coupled * speed * speed)
    s["wheel_speed"] = speed
    s["shaft_speed"] = per_metre * speed
    if rolling:
        s["speed"] = speed


@compiled
def clutch_capacity(s, c, p):
    """Largest torque the clutch can carry now.

    Parameters
    ----------
    s : record
        State. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]

    Returns
    -------
    torque : float
        [N m]
    """
    capacity = s["clutch_engagement"] * p["clutch_capacity"]
    if c["launching"] > 0.5:
        return launch_clutch_torque(s["engine_speed"], p["bite_speed"], p["bite_span"], capacity)
    return capacity


@compiled
def book_engine(s, p, mean_speed, speed_after, step):
    """Books what the engine burnt and where its work went over one step.

    Parameters
    ----------
    s : record
        State; ledger and heat not yet spread are written. [SI]
    p : record
        Parameters. [SI]
    mean_speed : float
        Engine speed over the step. [rad/s]
    speed_after : float
        Engine speed at its end; negative when the engine stops within it. [rad/s]
    step : float
        [s]
    """
    turned = mean_speed * step
    friction_work = s["friction_torque"] * turned
    if speed_after < 0.0:
        # the engine stops within this tick: friction takes what it still turned with, and turns nothing backwards
        friction_work += 0.5 * p["engine_inertia"] * speed_after * speed_after
    compression_work = s["compression_torque"] * turned
    s["engine_friction"] += friction_work
    s["compression"] += compression_work
    s["fan"] += s["fan_torque"] * turned
    s["accessories"] += s["accessory_torque"] * turned
    fuel_used = s["fuel_rate"] * step
    fuel_energy = fuel_used * p["heating_value"]
    combustion = fuel_energy - s["indicated_torque"] * turned
    s["fuel_mass"] += fuel_used
    s["fuel"] += fuel_energy
    s["combustion_heat"] += combustion
    s["pending_combustion"] += combustion
    s["pending_friction"] += friction_work
    s["pending_compression"] += compression_work


@compiled
def move(s, c, p, tables, step):
    """One step of the engine, the driveline, the drive wheels and the truck, with the ledger of their work.

    Parameters
    ----------
    s : record
        State after `settle`; motion and ledger are written, and the brake and rolling forces become what acted. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    tables : array
        Shape (rows, width). [any]
    step : float
        [s]

    Notes
    -----
    Three bodies (engine, drive wheels, truck) and three dry contacts (clutch, tyre, brakes with rolling resistance). Each
    contact carries what ends its sliding within the step or all it can. Work is force times mean speed over the step, so the
    kinetic energy balances to rounding.
    """
    engine_speed, wheel_speed, speed = s["engine_speed"], s["wheel_speed"], s["speed"]
    gear = int(s["gear"])
    engine_torque = s["engine_torque"]
    rate = 1.0 / step
    per_engine_inertia = 1.0 / p["engine_inertia"]
    capacity = clutch_capacity(s, c, p)
    vehicle, wheels = p["vehicle_body"], p["wheel_body"]
    direction = -1.0 if wheel_speed < 0.0 else 1.0
    push = -(s["grade_force"] + s["aero_force"])
    brakes_free = s["brake_force_steer"] + s["brake_force_trailer"]
    hold_vehicle = s["rolling_force"] + brakes_free
    estimate = friction_force(engine_torque, capacity)
    slope, drag, per_metre = driveline(estimate, gear, s["shaft_speed"], direction, p, tables)
    wheels += p["shaft_inertia"] * per_metre * per_metre
    both = vehicle + wheels
    per_both = 1.0 / both
    start = speed
    if wheel_speed != speed:
        start = (vehicle * speed + wheels * wheel_speed) * per_both

    clutch = 0.0
    required = 0.0
    shaft_before = s["shaft_speed"]
    shaft_after = shaft_before
    if gear == 0:
        # the input shaft turns freely between clutch and gears
        inertia = p["shaft_inertia"]
        loss = p["gearbox_constant_loss"]
        required = ((engine_speed - shaft_before) * rate + engine_torque * per_engine_inertia + loss / inertia) / (
            per_engine_inertia + 1.0 / inertia
        )
        clutch = friction_force(required, capacity)
        free = shaft_before + step * clutch / inertia
        shaft_drag = friction_force(inertia * free * rate, loss)
        shaft_after = free - step * shaft_drag / inertia
        s["driveline"] += shaft_drag * 0.5 * (shaft_before + shaft_after) * step

    hold_wheels = drag + s["brake_force_drive"]
    hold = hold_vehicle + hold_wheels
    tyre_force = 0.0
    acted_vehicle = 0.0
    acted_wheels = 0.0
    after = 0.0
    for _ in range(2):
        if gear != 0:
            along = start if start != 0.0 else slope * estimate + push
            opposing = -push + (hold if along > 0.0 else (-hold if along < 0.0 else 0.0))
            required = (
                (engine_speed - per_metre * start) * rate
                + engine_torque * per_engine_inertia
                + per_metre * opposing * per_both
            ) / (per_engine_inertia + per_metre * slope * per_both)
            clutch = friction_force(required, capacity)
        free = start + step * (slope * clutch + push) * per_both
        total = friction_force(both * free * rate, hold)
        if abs(total) < hold:
            after = 0.0
            acted_vehicle = total / hold
        else:
            after = free - step * total * per_both
            acted_vehicle = 1.0 if total > 0.0 else -1.0
        acted_wheels = acted_vehicle
        held = hold_vehicle * acted_vehicle
        tyre_force = vehicle * (after - speed) * rate - push + held
        if gear == 0 or clutch * estimate >= 0.0:
            break
        # the torque turned out to flow the other way: take the losses of that direction
        estimate = clutch
        slope, drag, per_metre = driveline(estimate, gear, s["shaft_speed"], direction, p, tables)
        hold_wheels = drag + s["brake_force_drive"]
        hold = hold_vehicle + hold_wheels

    wheel_after = after
    speed_after = after
    grip = traction_limit(p["grip"], p["drive_load"])
    slipping = 0.0
    if abs(tyre_force) > grip:
        slipping = 1.0
        tyre_force = grip if tyre_force > 0.0 else -grip
        free = speed + step * (push + tyre_force) / vehicle
        held = friction_force(vehicle * free * rate, hold_vehicle)
        speed_after = free - step * held / vehicle
        acted_vehicle = held / hold_vehicle
        if gear != 0:
            turning = wheel_speed if wheel_speed != 0.0 else slope * estimate - tyre_force
            opposing = tyre_force + (hold_wheels if turning > 0.0 else -hold_wheels)
            required = (
                (engine_speed - per_metre * wheel_speed) * rate
                + engine_torque * per_engine_inertia
                + per_metre * opposing / wheels
            ) / (per_engine_inertia + per_metre * slope / wheels)
            clutch = friction_force(required, capacity)
        free = wheel_speed + step * (slope * clutch - tyre_force) / wheels
        held = friction_force(wheels * free * rate, hold_wheels)
        wheel_after = free - step * held / wheels
        acted_wheels = held / hold_wheels if hold_wheels > 0.0 else 0.0

    engine_after = engine_speed + step * (engine_torque - clutch) * per_engine_inertia
    locked = 1.0 if capacity > 0.0 and abs(required) <= capacity else 0.0
    if gear != 0:
        shaft_before = per_metre * wheel_speed
        shaft_after = per_metre * wheel_after

    # what acted, and its work over the step
    mean_speed = 0.5 * (speed + speed_after)
    mean_wheel = 0.5 * (wheel_speed + wheel_after)
    mean_engine = 0.5 * (engine_speed + engine_after)
    mean_shaft = 0.5 * (shaft_before + shaft_after)
    rolling = s["rolling_force"] * acted_vehicle
    steer = s["brake_force_steer"] * acted_vehicle
    trailer = s["brake_force_trailer"] * acted_vehicle
    drive = s["brake_force_drive"] * acted_wheels
    travelled = mean_speed * step
    drag_acted = drag * acted_wheels
    s["clutch"] += clutch * (mean_engine - mean_shaft) * step
    if gear != 0:
        s["driveline"] += (clutch * mean_shaft - slope * clutch * mean_wheel) * step
    s["driveline"] += drag_acted * mean_wheel * step
    s["tyre_slip"] += tyre_force * (mean_wheel - mean_speed) * step
    s["aero"] += s["aero_force"] * travelled
    s["rolling"] += rolling * travelled
    s["climb"] += s["grade_force"] * travelled
    steer_work = steer * travelled
    trailer_work = trailer * travelled
    drive_work = drive * mean_wheel * step
    brake_work = steer_work + trailer_work + drive_work
    s["service_brakes"] += brake_work
    book_engine(s, p, mean_engine, engine_after, step)

    s["drive_force"] = slope * clutch - drag_acted if gear != 0 else -drag_acted
    s["tyre_force"] = tyre_force
    s["rolling_force"] = rolling
    s["brake_force_steer"] = steer
    s["brake_force_drive"] = drive
    s["brake_force_trailer"] = trailer
    s["service_brake_power"] = brake_work * rate
    s["wheel_utilisation"] = abs(tyre_force) / p["drive_load"]
    s["clutch_torque"] = clutch
    if locked != s["clutch_locked"]:
        s["clutch_changes"] += 1.0
    s["clutch_locked"] = locked
    s["wheel_slip"] = slipping
    s["acceleration"] = (speed_after - speed) * rate
    s["standstill"] = 1.0 if speed_after == 0.0 else 0.0
    if s["accelerator"] <= 0.0:
        s["held_by_engine"] += max(-s["drive_force"], 0.0) * mean_wheel * step
        s["held_by_resistance"] += (s["aero_force"] + rolling) * travelled
        s["held_by_brakes"] += brake_work

    s["elevation"] += travelled * s["sine"]
    s["distance"] += travelled
    s["speed"] = speed_after
    s["wheel_speed"] = wheel_after
    s["engine_speed"] = max(engine_after, 0.0)
    s["shaft_speed"] = shaft_after
    s["pending_steer"] += steer_work
    s["pending_drive"] += drive_work
    s["pending_trailer"] += trailer_work


@compiled
def published_rate(temperature, power, s, updated):
    """Rate of the published brake-temperature model for the brake power of this instant.

    Parameters
    ----------
    temperature : float
        Mean brake temperature by that model. [K]
    power : float
        Heat into the brakes. [W]
    s : record
        State. [SI]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    rate : float
        [K/s]
    """
    rate = brake_temperature_rate(
        (temperature - FAHRENHEIT_ZERO) * PER_FAHRENHEIT_DEGREE,
        (s["ambient_temperature"] - FAHRENHEIT_ZERO) * PER_FAHRENHEIT_DEGREE,
        power * PER_HORSEPOWER,
        s["speed"] * PER_MILE_PER_HOUR,
        updated,
    )
    return rate * FAHRENHEIT_PER_HOUR


@compiled
def warm_group(temperature, speed, ambient, work, drums, p, step):
    """One axle group's drums after one step, and the heat they gave to the air.

    Parameters
    ----------
    temperature : float
        Of the drums. [K]
    speed : float
        Road speed. [m/s]
    ambient : float
        Air. [K]
    work : float
        Heat made in the group over the step. [J]
    drums : float
        Number of drums, above 0. [-]
    p : record
        Parameters. [SI]
    step : float
        [s]

    Returns
    -------
    temperature : float
        [K]
    shed : float
        [J]
    """
    shed = drums * brake_cooling(temperature, ambient, speed, p["drum_still"], p["drum_speed"]) * step
    return temperature + (work - shed) / (drums * p["drum_capacity"]), shed


@compiled
def warm(s, p, air_speed, step):
    """Every temperature and the heat book, after several ticks: heat is slow, so it is spread every `SLOW_TICKS`.

    Parameters
    ----------
    s : record
        State; the heat made since the last call is taken from its `pending` fields. [SI]
    p : record
        Parameters. [SI]
    air_speed : float
        Of the air at radiator and drums: the road speed, or that of a blower. [m/s]
    step : float
        Since the last call. [s]
    """
    combustion, friction, compression = s["pending_combustion"], s["pending_friction"], s["pending_compression"]
    steer_work, drive_work, trailer_work = s["pending_steer"], s["pending_drive"], s["pending_trailer"]
    if p["severity_applies"] > 0.5:
        power = (steer_work + drive_work + trailer_work) / step
        a, b = s["severity_temperature_a"], s["severity_temperature_b"]
        s["severity_temperature_a"] = a + published_rate(a, power, s, True) * step
        s["severity_temperature_b"] = b + published_rate(b, power, s, False) * step
        s["max_severity_temperature_a"] = max(s["max_severity_temperature_a"], s["severity_temperature_a"])
        s["max_severity_temperature_b"] = max(s["max_severity_temperature_b"], s["severity_temperature_b"])
    s["pending_combustion"] = 0.0
    s["pending_friction"] = 0.0
    s["pending_compression"] = 0.0
    s["pending_steer"] = 0.0
    s["pending_drive"] = 0.0
    s["pending_trailer"] = 0.0
    ambient = s["ambient_temperature"]
    speed = air_speed
    total = 0.0
    drums = 0.0
    hottest = 0.0
    if p["brakes_steer"] > 0.0:
        t, shed = warm_group(s["brake_temperature_steer"], speed, ambient, steer_work, p["brakes_steer"], p, step)
        s["brake_temperature_steer"] = t
        s["brake_heat"] += shed
        total += t * p["brakes_steer"]
        drums += p["brakes_steer"]
        hottest = max(hottest, t)
    if p["brakes_drive"] > 0.0:
        t, shed = warm_group(s["brake_temperature_drive"], speed, ambient, drive_work, p["brakes_drive"], p, step)
        s["brake_temperature_drive"] = t
        s["brake_heat"] += shed
        total += t * p["brakes_drive"]
        drums += p["brakes_drive"]
        hottest = max(hottest, t)
    if p["brakes_trailer"] > 0.0:
        t, shed = warm_group(s["brake_temperature_trailer"], speed, ambient, trailer_work, p["brakes_trailer"], p, step)
        s["brake_temperature_trailer"] = t
        s["brake_heat"] += shed
        total += t * p["brakes_trailer"]
        drums += p["brakes_trailer"]
        hottest = max(hottest, t)
    s["brake_temperature"] = total / drums
    s["max_brake_temperature"] = max(s["max_brake_temperature"], s["brake_temperature"])
    s["max_hottest_brake_temperature"] = max(s["max_hottest_brake_temperature"], hottest)

    oil_in = p["oil_combustion_share"] * combustion + (1.0 - p["coolant_friction_share"]) * friction
    coolant_in = (
        p["coolant_combustion_share"] * combustion
        + p["coolant_friction_share"] * friction
        + p["coolant_compression_share"] * compression
    )
    s["exhaust_heat"] += (1.0 - p["oil_combustion_share"] - p["coolant_combustion_share"]) * combustion + (
        1.0 - p["coolant_compression_share"]
    ) * compression
    exchange = p["oil_coolant_exchange"] * (s["oil_temperature"] - s["coolant_temperature"]) * step
    oil_shed = p["oil_air_exchange"] * (s["oil_temperature"] - ambient) * step
    conductance = radiator_conductance(
        thermostat_opening(s["coolant_temperature"], p["thermostat_opens"], p["thermostat_full"]),
        s["fan_speed"],
        speed,
        p["radiator_closed"],
        p["radiator_still"],
        p["radiator_road"],
        p["radiator_fan"],
    )
    coolant_shed = conductance * (s["coolant_temperature"] - ambient) * step
    s["oil_heat"] += oil_shed
    s["coolant_heat"] += coolant_shed
    s["oil_temperature"] += (oil_in - exchange - oil_shed) / p["oil_capacity"]
    s["coolant_temperature"] += (coolant_in + exchange - coolant_shed) / p["coolant_capacity"]


@compiled
def fill(s, p, tables, step):
    """One step of everything that follows with a lag: manifold, brake chambers, air tanks.

    Parameters
    ----------
    s : record
        State. [SI]
    p : record
        Parameters. [SI]
    tables : array
        Shape (rows, width). [any]
    step : float
        [s]
    """
    target, lag = manifold_target(s, p, tables)
    s["manifold_pressure"] += lag_rate(s["manifold_pressure"], target, lag) * step
    s["boost"] = s["manifold_pressure"] - s["ambient_pressure"]

    supplied = min(s["brake_demand"], s["reservoir_pressure"])
    pressures = s["brake_pressure_steer"] + s["brake_pressure_drive"] + s["brake_pressure_trailer"]
    if supplied > 0.0 or pressures > NO_PRESSURE:
        rise = max(supplied - s["brake_pressure_drive"], 0.0) / p["brake_lag_drive"] * step
        s["reservoir_pressure"] -= p["air_per_application"] * rise
        s["brake_pressure_steer"] += lag_rate(s["brake_pressure_steer"], supplied, p["brake_lag_steer"]) * step
        s["brake_pressure_drive"] += lag_rate(s["brake_pressure_drive"], supplied, p["brake_lag_drive"]) * step
        s["brake_pressure_trailer"] += lag_rate(s["brake_pressure_trailer"], supplied, p["brake_lag_trailer"]) * step
    else:
        s["brake_pressure_steer"] = 0.0
        s["brake_pressure_drive"] = 0.0
        s["brake_pressure_trailer"] = 0.0
    flow = -p["air_leak_rate"]
    if s["compressor_pumping"] > 0.5:
        flow += p["compressor_fill_rate"] * s["engine_speed"]
    s["reservoir_pressure"] = max(s["reservoir_pressure"] + flow * step, 0.0)
    s["least_reservoir_pressure"] = min(s["least_reservoir_pressure"], s["reservoir_pressure"])


@compiled
def count(s, c, p, step):
    """Counters and extremes of the trip.

    Parameters
    ----------
    s : record
        State. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]
    """
    driven = s["engine_torque"] < 0.0 and s["clutch_locked"] > 0.5
    # with the foot lifted for a shift an engine is between governed speed and high idle by its own doing
    allowed = p["governed_speed"] if c["engine_mode"] < 0.5 else p["governed_speed"] * (1.0 + p["droop"])
    if driven and s["engine_speed"] > allowed:
        s["time_over_governed"] += step
    elif not driven and s["engine_speed"] > p["governed_speed"] * (1.0 + p["droop"]) + RIPPLE:
        s["time_racing"] += step
    if s["speed"] > c["speed_limit"] + p["limit_tolerance"]:
        s["time_over_limit"] += step
    if s["wheel_slip"] > 0.5:
        s["time_wheel_slip"] += step
    if s["smoking"] > 0.5:
        s["time_smoking"] += step
    if s["active_cylinders"] <= 0.0:
        s["stage_time_0"] += step
    elif c["stage"] < 1.5:
        s["stage_time_1"] += step
    elif c["stage"] < 2.5:
        s["stage_time_2"] += step
    else:
        s["stage_time_3"] += step
    if s["distance"] > s["furthest"]:
        s["furthest"] = s["distance"]
    else:
        s["rolled_back"] = max(s["rolled_back"], s["furthest"] - s["distance"])
    s["max_speed"] = max(s["max_speed"], s["speed"])
    s["max_engine_speed"] = max(s["max_engine_speed"], s["engine_speed"])


@compiled
def check_watches(levels, flags, number, block):
    """Arms and fires watch points in their order.

    Parameters
    ----------
    levels : array
        Level, direction, release, scale, shape (watch points, 4). [any]
    flags : array
        Place of the field, armed, fired, shape (watch points, 3). [-]
    number : int
        Watch points in use. [-]
    block : array
        State, belief and command as plain doubles. [SI]

    Returns
    -------
    fired : int
        How many fired now; each is marked and no longer armed. [-]

    Notes
    -----
    A rising watch point fires when value x scale >= level and is armed again when value x scale <= release; a falling one
    mirrors both. Levels are compared in the unit in which they were given.
    """
    fired = 0
    for k in range(number):
        value = block[flags[k, WATCH_PLACE]] * levels[k, WATCH_SCALE]
        if flags[k, WATCH_ARMED] != 0:
            if (value - levels[k, WATCH_LEVEL]) * levels[k, WATCH_DIRECTION] >= 0.0:
                flags[k, WATCH_ARMED] = 0
                flags[k, WATCH_FIRED] = 1
                fired += 1
        elif flags[k, WATCH_FIRED] == 0 and (value - levels[k, WATCH_RELEASE]) * levels[k, WATCH_DIRECTION] <= 0.0:
            flags[k, WATCH_ARMED] = 1
    return fired


@compiled
def all_numbers(block):
    """Whether everything is a finite number.

    Parameters
    ----------
    block : array
        State, belief and command as plain doubles. [SI]

    Returns
    -------
    sound : bool
        [-]
    """
    number = block.shape[0]
    k = 0
    while k < number and abs(block[k]) <= LARGEST:
        k += 1
    return k == number


@compiled
def write_log_row(log, row, tick, places, block):
    """Copies the logged fields into one row of the log.

    Parameters
    ----------
    log : array
        Shape (rows, 1 + columns): tick, then the columns. [any]
    row : int
        Where to write. [-]
    tick : int
        Now. [-]
    places : array
        Place of each column in the block, shape (columns,). [-]
    block : array
        State, belief and command as plain doubles. [SI]
    """
    log[row, 0] = tick
    for k in range(places.shape[0]):
        log[row, k + 1] = block[places[k]]


@compiled
def advance(block, state, belief, command, parameters, tables, road, levels, flags, log, places, clockwork, until):
    """Marches the truck to a tick, or to the first watch point that fires before it.

    Parameters
    ----------
    block : array
        State, belief and command as plain doubles over the same memory. [SI]
    state : array
        State record, shape (1,). [SI]
    belief : array
        Belief record, shape (1,). [SI]
    command : array
        Command record, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    tables : array
        Shape (rows, width). [any]
    road : array
        Shape (points, 4). [m, -, 1/m, m/s]
    levels : array
        Numbers of the watch points, shape (watch points, 4). [any]
    flags : array
        Whole numbers of the watch points, shape (watch points, 3). [-]
    log : array
        Shape (rows, 1 + columns). [any]
    places : array
        Shape (columns,). [-]
    clockwork : array
        Tick, place on the road, log rows written, watch points in use, ticks between log rows, watch points that fired,
        shape (6,). [-]
    until : int
        Tick to stop at. [-]

    Returns
    -------
    status : int
        0 tick reached, 1 watch point fired, 2 log full, 3 not a number. [-]

    Notes
    -----
    All numbers are tested as the call begins, every `TESTED_TICKS` and as it ends. A call that finds one that is none leaves the
    clockwork as it was, and the clock goes through the call again, tick by tick, to see which and when.
    """
    s, b, c, p = state[0], belief[0], command[0], parameters[0]
    step = p["tick"]
    tick = clockwork[TICK]
    place = clockwork[ROAD_PLACE]
    written = clockwork[LOG_ROWS]
    number = clockwork[WATCH_COUNT]
    every = clockwork[LOG_EVERY]
    if not all_numbers(block):
        return NOT_A_NUMBER
    if c["gear"] != s["gear"]:
        change_gear(s, c, p, tables)
    status = REACHED_TICK
    while tick < until and status == REACHED_TICK:
        pause = min(tick + TESTED_TICKS, until)
        while tick < pause:
            if written >= log.shape[0]:
                status = LOG_FULL
                break
            place = look_up_road(s, road, place)
            sense(s, b, c, p)
            control(s, b, c, p, step)
            settle(s, b, c, p, tables)
            move(s, c, p, tables, step)
            fill(s, p, tables, step)
            count(s, c, p, step)
            tick += 1
            if tick % SLOW_TICKS == 0:
                warm(s, p, s["speed"], SLOW_TICKS * step)
            if tick % every == 0:
                write_log_row(log, written, tick, places, block)
                written += 1
            fired = check_watches(levels, flags, number, block)
            if fired > 0:
                clockwork[WATCHES_FIRED] = fired
                status = REACHED_WATCH
                break
        if not all_numbers(block):
            return NOT_A_NUMBER
    clockwork[TICK] = tick
    clockwork[ROAD_PLACE] = place
    clockwork[LOG_ROWS] = written
    return status


@compiled
def settle_start(state, belief, command, parameters, tables):
    """Puts air, pedal and boost where they settle at the first speed on the first grade, so that a rolling start is smooth.

    Parameters
    ----------
    state : array
        State record, shape (1,). [SI]
    belief : array
        Belief record, shape (1,). [SI]
    command : array
        Command record, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    tables : array
        Shape (rows, width). [any]
    """
    s, p = state[0], parameters[0]
    surroundings(s, p)
    gear = int(s["gear"])
    if gear > 0:
        road_forces(s, p, tables)
        needed = s["grade_force"] + s["aero_force"] + s["rolling_force"]
        slope, drag, per_metre = driveline(1000.0, gear, s["shaft_speed"], 1.0, p, tables)
        s["engine_speed"] = s["shaft_speed"] = per_metre * s["speed"]
        s["max_engine_speed"] = s["engine_speed"]
        friction = warm_friction(s["engine_speed"], p)
        full = table_value(tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], s["engine_speed"])
        share = ((needed + drag) / slope + friction) / (full + friction)
        share = min(max(share, 0.0), 1.0)
        s["accelerator"] = share
        s["hold_integral"] = share
        s["fuel_demand"] = share
        s["full_load_torque"] = full
        s["warm_friction"] = friction
        target, _ = manifold_target(s, p, tables)
        s["manifold_pressure"] = target
    sense(s, belief[0], command[0], p)
    settle(s, belief[0], command[0], p, tables)
