"""Marches an engine on an absorber, or a truck on rollers, at the tick and in the order of a trip.

Everything but the load is the trip's own: sense, control on belief, plant, boost, ledger, temperatures. On the flywheel the
absorber takes the place of clutch and truck; on rollers it stands where a trip has the hill, and `sim.march.kernel.move` is used as
it is, clutch, gears, axle and tyres with their losses included.
"""

from sim.compiled import compiled
from sim.laws.dynamometer import absorber_torque
from sim.laws.foot import moved_towards
from sim.march.controller import control, sense
from sim.march.kernel import (
    LOG_FULL,
    NOT_A_NUMBER,
    REACHED_TICK,
    REACHED_WATCH,
    SLOW_TICKS,
    TESTED_TICKS,
    all_numbers,
    book_engine,
    check_watches,
    fill,
    move,
    warm,
    write_log_row,
)
from sim.march.plant import settle
from sim.march.records import LOG_EVERY, LOG_ROWS, RATIO_ROW, TICK, WATCH_COUNT, WATCHES_FIRED


@compiled
def absorbed(s, c, p, free, now, per_speed, inertia, step):
    """What the absorber takes at its own shaft over this step.

    Parameters
    ----------
    s : record
        State; the target and what the absorber has learnt are written. [SI]
    c : record
        Command; mode, speed, rate and load. [SI]
    p : record
        Parameters. [SI]
    free : float
        Speed of the shaft at the end of the step without the absorber. [rad/s or m/s]
    now : float
        Engine speed. [rad/s]
    per_speed : float
        Engine speed per speed of the shaft: 1 on the flywheel. [- or rad/m]
    inertia : float
        Of everything that turns with the shaft. [kg m² or kg]
    step : float
        [s]

    Returns
    -------
    taken : float
        Against the motion. [N m or N]
    """
    most = p["absorber_capacity"] * per_speed
    mode = c["absorber_mode"]
    if mode < 0.5:
        s["absorber_target"] = now
        s["absorber_learnt"] = 0.0
        return 0.0
    if mode > 1.5:
        s["absorber_target"] = now
        s["absorber_learnt"] = 0.0
        return min(c["absorber_load"] * per_speed, most)
    s["absorber_target"] = moved_towards(
        s["absorber_target"], c["absorber_speed"], c["absorber_rate"], c["absorber_rate"], step
    )
    target = s["absorber_target"] / per_speed
    stiffness = p["absorber_stiffness"] * per_speed * per_speed
    wanted = absorber_torque(free, target, s["absorber_learnt"], stiffness, inertia, step)
    taken = min(max(wanted, -most), most)
    if taken == wanted:
        off = free - taken * step / inertia - target
        s["absorber_learnt"] += stiffness * off * step / p["absorber_settling"]
    return taken


@compiled
def turn(s, c, p, step):
    """One step of an engine on the absorber's shaft.

    Parameters
    ----------
    s : record
        State after `settle`; engine speed, absorber and ledger are written. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]
    """
    before = s["engine_speed"]
    inertia = p["engine_inertia"]
    free = before + step * s["engine_torque"] / inertia
    taken = absorbed(s, c, p, free, before, 1.0, inertia, step)
    after = free - step * taken / inertia
    mean = 0.5 * (before + after)
    book_engine(s, p, mean, after, step)
    s["absorber_torque"] = taken
    s["absorber"] += taken * mean * step
    s["engine_speed"] = max(after, 0.0)


@compiled
def roll(s, c, p, tables, step):
    """One step of a truck on rollers.

    Parameters
    ----------
    s : record
        State after `settle`; motion, absorber and ledger are written. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters; `vehicle_body` is the inertia of the rollers. [SI]
    tables : array
        Shape (rows, width). [any]
    step : float
        [s]
    """
    per_metre = tables[RATIO_ROW, int(s["gear"])] * p["axle_ratio"] / p["tyre_radius"]
    turning = (p["shaft_inertia"] + p["engine_inertia"]) * per_metre * per_metre
    body = p["vehicle_body"] + p["wheel_body"] + turning
    # what drives the rollers is about what drove them a tick ago
    free = s["speed"] + step * (s["acceleration"] + s["absorber_force"] / body)
    taken = absorbed(s, c, p, free, s["engine_speed"], per_metre, body, step)
    s["absorber_force"] = taken
    s["absorber_torque"] = taken / per_metre
    s["grade_force"] = taken
    move(s, c, p, tables, step)
    s["absorber"] = s["climb"]


@compiled
def advance_on_dyno(
    block, state, belief, command, parameters, tables, road, levels, flags, log, places, clockwork, until
):
    """Marches the dyno to a tick, or to the first watch point that fires before it; arguments as `sim.march.kernel.advance`.

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
        Not looked at: a dyno stands level in still air. [m, -, 1/m, m/s]
    levels : array
        Numbers of the watch points, shape (watch points, 4). [any]
    flags : array
        Whole numbers of the watch points, shape (watch points, 3). [-]
    log : array
        Shape (rows, 1 + columns). [any]
    places : array
        Shape (columns,). [-]
    clockwork : array
        As for the road, shape (6,). [-]
    until : int
        Tick to stop at. [-]

    Returns
    -------
    status : int
        0 tick reached, 1 watch point fired, 2 log full, 3 not a number. [-]
    """
    s, b, c, p = state[0], belief[0], command[0], parameters[0]
    step = p["tick"]
    tick = clockwork[TICK]
    written = clockwork[LOG_ROWS]
    number = clockwork[WATCH_COUNT]
    every = clockwork[LOG_EVERY]
    rollers = p["on_rollers"] > 0.5
    if not all_numbers(block):
        return NOT_A_NUMBER
    status = REACHED_TICK
    while tick < until and status == REACHED_TICK:
        pause = min(tick + TESTED_TICKS, until)
        while tick < pause:
            if written >= log.shape[0]:
                status = LOG_FULL
                break
            sense(s, b, c, p)
            control(s, b, c, p, step)
            settle(s, b, c, p, tables)
            if rollers:
                roll(s, c, p, tables, step)
            else:
                turn(s, c, p, step)
            fill(s, p, tables, step)
            tick += 1
            if tick % SLOW_TICKS == 0:
                warm(s, p, p["blower_speed"], SLOW_TICKS * step)
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
    clockwork[LOG_ROWS] = written
    return status
