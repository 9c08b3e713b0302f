"""Marches the truck at a fixed step from one event to the next, and stops early at a watch point.

One tick, one order, on a road and on a dyno: sense, control on belief, plant, integrate, ledger, temperatures (every tenth
tick), log, watch points. The kernel takes no decisions: gear, stage, modes and targets are commands it holds constant.
"""

import sys

from sim.compiled import compiled
from sim.laws.air_path import altitude_share
from sim.laws.lag import lag_rate
from sim.laws.tables import table_value
from sim.march.absorber import press_rollers, turn
from sim.march.air_path import LONGEST_STEP, MOST_STEPS, SETTLED, breathe, exhaust_share, still
from sim.march.contacts import change_gear, move
from sim.march.controller import control, sense
from sim.march.heat import warm
from sim.march.plant import driveline, settle, surroundings, warm_friction
from sim.march.plant import road as road_forces
from sim.march.records import (
    FEED_ROW,
    FULL_LOAD_ROW,
    HANDS_EVERY,
    HELD_STILL,
    KEPT_ROWS,
    LOG_EVERY,
    LOG_ROWS,
    ON_A_ROAD,
    ON_FLYWHEEL,
    ON_ROLLERS,
    ROAD_DISTANCE,
    ROAD_GRADE,
    ROAD_GRADE_SLOPE,
    ROAD_PLACE,
    ROAD_WIND,
    SEAT,
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
from sim.march.seat import NUMBER, gear_by_hand, rounded, use_controls
from sim.units import REVOLUTION_PER_MINUTE

REACHED_TICK = 0
REACHED_WATCH = 1
LOG_FULL = 2
NOT_A_NUMBER = 3
KEPT_FULL = 4

RIPPLE = REVOLUTION_PER_MINUTE  # rad/s: with its foot down a governor holds high idle to a turn a minute
NO_PRESSURE = 1.0  # Pa: released chambers are empty below it
SLOW_TICKS = 10  # ticks between steps of temperatures, whose time constants are minutes
TESTED_TICKS = 100  # most ticks between two tests that everything is a number, each of which costs most of a tick
LARGEST = sys.float_info.max


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
def fill(s, p, step):
    """One step of everything that follows with a lag: manifold, brake chambers, air tanks."""
    s["manifold_pressure"] += (s["manifold_heading"] - s["manifold_pressure"]) * min(s["filling_rate"] * step, 1.0)
    s["boost"] = s["manifold_pressure"] - s["ambient_pressure"]

    supplied = min(s["brake_demand"], s["reservoir_pressure"])
    trailer = min(max(s["brake_demand"], s["trailer_demand"]), s["reservoir_pressure"])
    pressures = s["brake_pressure_steer"] + s["brake_pressure_drive"] + s["brake_pressure_trailer"]
    if trailer > 0.0 or pressures > NO_PRESSURE:
        rise = max(supplied - s["brake_pressure_drive"], 0.0) / p["brake_lag_drive"] * step
        s["reservoir_pressure"] -= p["air_per_application"] * rise
        s["brake_pressure_steer"] += lag_rate(s["brake_pressure_steer"], supplied, p["brake_lag_steer"]) * step
        s["brake_pressure_drive"] += lag_rate(s["brake_pressure_drive"], supplied, p["brake_lag_drive"]) * step
        s["brake_pressure_trailer"] += lag_rate(s["brake_pressure_trailer"], trailer, p["brake_lag_trailer"]) * step
    else:
        s["brake_pressure_steer"] = 0.0
        s["brake_pressure_drive"] = 0.0
        s["brake_pressure_trailer"] = 0.0
    flow = -p["air_leak_rate"]
    if s["brake_demand"] > 0.0:
        flow -= p["applied_leak_rate"]
    if s["standstill"] < 0.5:
        flow -= p["moving_air_rate"]
    if s["compressor_pumping"] > 0.5:
        flow += p["compressor_fill_rate"] * s["engine_speed"]
    s["reservoir_pressure"] = max(s["reservoir_pressure"] + flow * step, 0.0)
    if s["reservoir_pressure"] < s["least_reservoir_pressure"]:
        s["least_reservoir_pressure"], s["least_reservoir_pressure_place"] = s["reservoir_pressure"], s["distance"]


@compiled
def count(s, c, p, step):
    """Counters and extremes of the trip."""
    driven = s["engine_torque"] < 0.0 and s["clutch_locked"] > 0.5
    # with the foot lifted for a shift an engine is between governed speed and high idle by its own doing
    allowed = p["governed_speed"] if c["engine_mode"] < 0.5 else p["governed_speed"] * (1.0 + p["droop"])
    if driven and s["engine_speed"] > allowed:
        s["time_over_governed"] += step
    elif not driven and s["engine_speed"] > p["governed_speed"] * (1.0 + p["droop"]) + RIPPLE:
        s["time_racing"] += step
    if 0.0 < c["speed_limit"] < s["speed"] - p["limit_tolerance"]:
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
    if s["speed"] > s["max_speed"]:
        s["max_speed"], s["max_speed_place"] = s["speed"], s["distance"]
    if s["engine_speed"] > s["max_engine_speed"]:
        s["max_engine_speed"], s["max_engine_speed_place"] = s["engine_speed"], s["distance"]


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
        The records as plain doubles. [SI]

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
        The records as plain doubles. [SI]

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
        The records as plain doubles. [SI]
    """
    log[row, 0] = tick
    for k in range(places.shape[0]):
        log[row, k + 1] = block[places[k]]


@compiled
def march(
    block,
    state,
    belief,
    command,
    controls,
    driver,
    parameters,
    tables,
    road,
    levels,
    flags,
    log,
    places,
    feed,
    kept,
    known,
    clockwork,
    until,
    form,
):
    """Marches the truck, or the engine on its dyno, to a tick, or to the first watch point that fires before it.

    Parameters
    ----------
    block : array
        The records as plain doubles over the same memory. [SI]
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
    feed : array
        Recorded controls, shape (rows, 3), as `sim.march.seat.use_controls` reads them.
    kept : array
        Written: the same of this march; no rows where nothing is kept.
    known : array
        Where the controls were when they last moved, shape (controls,). [-]
    clockwork : array
        Tick, place on the road, log rows written, watch points in use, ticks between log rows, watch points that fired, who
        holds the seat, ticks between movements of hands and feet, rows of the feed used, rows kept, shape (10,). [-]
    until : int
        Tick to stop at. [-]
    form : float
        The parameter `dyno_form`. A number that is known when the kernel is compiled leaves nothing of the other forms in it.

    Returns
    -------
    status : int
        0 tick reached, 1 watch point fired, 2 log full, 3 not a number, 4 no room for more controls. [-]

    Notes
    -----
    All numbers are tested as the call begins, every `TESTED_TICKS` and as it ends. A call that finds one that is none leaves the
    clockwork as it was, and the clock goes through the call again, tick by tick, to see which and when.
    """
    s, b, c, k, d, p = state[0], belief[0], command[0], controls[0], driver[0], parameters[0]
    step = p["tick"]
    tick = clockwork[TICK]
    place = clockwork[ROAD_PLACE]
    written = clockwork[LOG_ROWS]
    number = clockwork[WATCH_COUNT]
    every = clockwork[LOG_EVERY]
    hands_every = clockwork[HANDS_EVERY]
    fed, held = clockwork[FEED_ROW], clockwork[KEPT_ROWS]
    if not all_numbers(block):
        return NOT_A_NUMBER
    status = REACHED_TICK
    while tick < until and status == REACHED_TICK:
        pause = min(tick + TESTED_TICKS, until)
        while tick < pause:
            if written >= log.shape[0]:
                status = LOG_FULL
                break
            place = look_up_road(s, road, place)
            if tick % hands_every == 0:
                if 0 < kept.shape[0] < held + NUMBER:
                    status = KEPT_FULL
                    break
                fed, held = use_controls(
                    block, s, b, c, k, d, p, feed, kept, known,
                    fed, held, clockwork[SEAT], tick, hands_every * step,
                )  # fmt: skip
            gear = c["gear"] if p["automated"] > 0.5 else gear_by_hand(s, k, p, step)
            if gear != s["gear"]:
                change_gear(s, int(gear), p, tables)
            sense(s, b, c, k, d, p, step)
            control(s, b, c, k, p, step)
            s["trailer_demand"] = k["trailer_brake"] * p["brake_limit"]
            settle(s, b, c, p, tables)
            if form == ON_FLYWHEEL:
                turn(s, c, p, step)
            elif form != HELD_STILL:
                if form == ON_ROLLERS:
                    press_rollers(s, c, p, tables, step)
                move(s, b, p, tables, step)
            if form != HELD_STILL:
                fill(s, p, step)
                count(s, c, p, step)
            tick += 1
            if tick % SLOW_TICKS == 0:
                if form != HELD_STILL:
                    warm(s, p, s["speed"] if form == ON_A_ROAD else p["blower_speed"], SLOW_TICKS * step)
                b["altitude_share"] = altitude_share(b["ambient_pressure"])
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
    clockwork[FEED_ROW] = fed
    clockwork[KEPT_ROWS] = held
    return status


@compiled
def advance(
    block, state, belief, command, controls, driver, parameters, tables, road, levels, flags, log, places, feed, kept, known,
    clockwork, until,
):  # fmt: skip
    """`march` on a road."""
    return march(
        block, state, belief, command, controls, driver, parameters, tables, road, levels, flags, log, places, feed, kept,
        known, clockwork, until, ON_A_ROAD,
    )  # fmt: skip


@compiled
def advance_on_dyno(
    block, state, belief, command, controls, driver, parameters, tables, road, levels, flags, log, places, feed, kept, known,
    clockwork, until,
):  # fmt: skip
    """`march` on a dyno."""
    form = parameters[0]["dyno_form"]
    return march(
        block, state, belief, command, controls, driver, parameters, tables, road, levels, flags, log, places, feed, kept,
        known, clockwork, until, form,
    )  # fmt: skip


@compiled
def settle_start(state, belief, command, controls, driver, parameters, tables):
    """Puts air, pedal and boost where they settle at the first speed on the first grade, so that a rolling start is smooth."""
    s, b, c, k, d, p = state[0], belief[0], command[0], controls[0], driver[0], parameters[0]
    surroundings(s, p)
    still(s, p, s["ambient_pressure"], s["ambient_temperature"])
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
        d["foot"] = k["accelerator"] = rounded(share)
        d["hold_integral"] = share
    b["smooth_speed"] = s["speed"]
    sense(s, b, c, k, d, p, 0.0)
    b["cruise_reference"] = b["smooth_speed"] = b["road_speed"]
    b["acceleration"] = 0.0
    b["altitude_share"] = altitude_share(b["ambient_pressure"])
    settle(s, b, c, p, tables)
    for _ in range(MOST_STEPS):
        combustion = s["fuel_rate"] * p["heating_value"] - s["indicated_torque"] * s["engine_speed"]
        before = s["turbo_energy"]
        breathe(s, p, exhaust_share(s, p, combustion, 0.0), s["fuel_rate"], LONGEST_STEP)
        s["manifold_pressure"] = s["manifold_heading"]
        settle(s, b, c, p, tables)
        if abs(s["turbo_energy"] - before) <= SETTLED * before:
            break
    s["boost"] = s["manifold_pressure"] - s["ambient_pressure"]
