"""Who holds the seat: the laws of the model driver's feet, a recording, or somebody outside who writes the controls himself.

Feet and hands act on a grid of 20 ms and in steps of 1/4096, so that what is recorded is what was done. Nothing else of the
truck reads the model driver.
"""

import math

from sim.compiled import compiled
from sim.laws.foot import let_in, moved_towards, snubbing_demand, speed_hold_demand, stopping_deceleration
from sim.march.records import BY_FEED, BY_LAW, CONTROLS, FIRST_CONTROL, FIRST_HAND, HANDS

HANDS_PERIOD = 0.02  # s between two movements of hands and feet
STEPS = 4096.0  # of a control from end to end
FEET, NUMBER = len(CONTROLS) - len(HANDS), len(CONTROLS)
KEPT_TICK, KEPT_CONTROL, KEPT_VALUE = range(3)  # columns of a recording

STANDSTILL_SPEED = 0.3  # m/s: below it the foot keeps its pressure until the truck stands
STANDING_PRESSURE = 2.0e5  # Pa: held while the truck stands with the foot on the brake
FOOT_RATE = 8.0e5  # Pa/s: fastest movement of the brake pedal
FOOT_BELOW = 0.9  # m/s, assumed: a driver's foot is all the way down 2 mi/h below the speed wanted
FOOT_ABOVE = 0.3  # m/s, assumed: and off this far above it
BLIP_RATE = 2.5  # 1/s, assumed: fastest movement of the accelerator when it is to bring the engine to a speed
BLIP_GAIN = 6.0  # 1/s, assumed: how fast a foot brings the engine to a speed
EASED_LEAD = 0.4  # m/s, assumed: a foot does not run ahead of a truck that nothing pulls
UNTOUCHED = 0.01  # of the pedal: nobody holds a speed with less


@compiled
def hold_engine_speed(s, b, d, p):
    """Pedal that brings the engine to a speed: what friction and clutch take, as a driver hears it, and more while it is slow.

    Parameters
    ----------
    d : record
        Of the driver; the error is written. [SI]
    """
    wanted = d["turning"]
    if d["turning_ratio"] > 0.0:
        wanted = min(d["turning_ratio"] * b["judged_speed"], p["governed_speed"] * (1.0 + p["droop"]))
    missing = wanted - b["engine_speed"]
    d["turning_error"] = abs(missing)
    taken = s["friction_torque"] + s["fan_torque"] + s["accessory_torque"] + max(s["clutch_torque"], 0.0)
    torque = taken + BLIP_GAIN * p["engine_inertia"] * missing
    if p["all_speed"] > 0.5:
        return (wanted - p["low_idle"]) / (p["governed_speed"] - p["low_idle"]) if torque > 0.0 else 0.0
    return torque / max(s["full_load_torque"] + s["warm_friction"], 1.0)


@compiled
def hold_road_speed(s, b, c, k, d, p, step):
    """Pedal that brings the truck to the speed aimed for and holds it there.

    Parameters
    ----------
    d : record
        Of the driver; reference speed and what the foot has learnt are written. [SI]
    """
    speed = b["judged_speed"]
    reference = d["reference_speed"]
    if d["target_speed"] < reference:
        reference = min(reference, max(speed, d["target_speed"]))
    reference = moved_towards(reference, d["target_speed"], d["acceleration_limit"], d["deceleration_limit"], step)
    pulling = s["clutch_locked"] > 0.5 and k["clutch_pedal"] == 0.0 and c["engine_mode"] < 0.5 and s["gear"] != 0.0
    reference = min(reference, speed + (p["reference_lead"] if pulling else EASED_LEAD))
    d["reference_speed"] = reference
    error = reference - speed
    wanted = speed_hold_demand(error, d["hold_integral"], FOOT_BELOW, FOOT_ABOVE)
    if pulling and not (wanted > 1.0 or error <= -FOOT_ABOVE):
        d["hold_integral"] += error / (FOOT_BELOW * p["hold_integral_time"]) * step
    d["hold_integral"] = min(max(d["hold_integral"], 0.0), 1.0)
    if wanted < UNTOUCHED or (s["gear"] == 0.0 and p["automated"] < 0.5):
        return 0.0
    return wanted


@compiled
def move_right_foot(s, b, c, k, d, p, step):
    """Moves accelerator and brake pedal: one foot, which is on the brake or not, but for a blip.

    Notes
    -----
    The driver feels the deceleration and sees the road, so brake modes 1 to 3 read true motion and true distance; the speed to
    hold is read from the speedometer, as long as its needle is believed.
    """
    rate = d["pedal_rate"]
    wanted = 0.0
    if d["foot_mode"] > 1.5:
        wanted, rate = hold_engine_speed(s, b, d, p), max(rate, BLIP_RATE)
    elif d["brake_mode"] < 0.5 and d["foot_mode"] > 0.5:
        wanted = hold_road_speed(s, b, c, k, d, p, step)
    elif d["brake_mode"] < 0.5:
        wanted = d["pedal"]
    if d["foot_mode"] < 0.5 or d["foot_mode"] > 1.5 or d["brake_mode"] > 0.5:
        d["reference_speed"] = b["judged_speed"]
    if c["set_speed"] > 0.0:
        d["hold_integral"] = b["cruise_demand"]
    d["foot"] = moved_towards(d["foot"], min(max(wanted, 0.0), 1.0), rate, 4.0 * rate, step)

    mode, pressure = d["brake_mode"], d["foot_brake"]
    if mode < 0.5:
        pressure = moved_towards(pressure, 0.0, 0.0, FOOT_RATE, step)
    elif mode > 3.5:
        pressure = moved_towards(pressure, d["brake_pressure"], FOOT_RATE, FOOT_RATE, step)
    elif mode > 2.5 and s["speed"] < STANDSTILL_SPEED:
        if s["speed"] <= 0.0:
            pressure = moved_towards(pressure, STANDING_PRESSURE, FOOT_RATE, FOOT_RATE, step)
    else:
        felt = d["brake_deceleration"]
        if mode > 2.5:
            felt = stopping_deceleration(s["speed"], d["stop_distance"] - s["distance"])
        elif mode > 1.5:
            felt = p["brake_hold_gain"] * (b["judged_speed"] - d["target_speed"])
            felt = min(max(felt, -0.5), p["brake_hold_most"])
        guess = p["brake_pressure_guess"]
        asked = snubbing_demand(pressure, felt, -s["acceleration"], guess, p["brake_response"], step)
        pressure = moved_towards(pressure, min(asked, p["brake_limit"]), FOOT_RATE, FOOT_RATE, step)
    d["foot_brake"] = pressure


@compiled
def move_left_foot(s, d, p, step):
    """Moves the clutch pedal."""
    down, up = 1.0 / p["clutch_open_time"], 1.0 / p["clutch_close_time"]
    wanted = d["clutch_wanted"]
    if d["clutch_mode"] > 0.5:
        wanted, up = 1.0 - let_in(s["engine_speed"], d["bite_speed"], p["bite_span"], d["clutch_share"]), down
    d["foot_clutch"] = moved_towards(d["foot_clutch"], wanted, down, up, step)


@compiled
def rounded(value):
    """A control on its steps."""
    return math.floor(value * STEPS + 0.5) / STEPS


@compiled
def gear_of(lever, splitter, split_from):
    """Gear that the places of lever and splitter give.

    Parameters
    ----------
    lever : float
        0 neutral. [-]
    splitter : float
        0 direct, 1 overdrive, in between neutral. [-]
    split_from : float
        First gear that the splitter halves, 0 without one. [-]

    Returns
    -------
    gear : float
        0 for neutral. [-]

    Examples
    --------
    >>> gear_of(5.0, 1.0, 6.0), gear_of(7.0, 1.0, 6.0), gear_of(7.0, 0.5, 6.0)
    (5.0, 9.0, 0.0)
    """
    if split_from < 1.0 or lever < split_from:
        return lever
    if 0.0 < splitter < 1.0:
        return 0.0
    return 2.0 * lever - split_from + splitter


def lever_and_splitter(gear, split_from):
    """Where lever and splitter are for a gear: the reverse of `gear_of`.

    Parameters
    ----------
    gear : int
        0 for neutral. [-]
    split_from : int
        First gear that the splitter halves, 0 without one. [-]

    Returns
    -------
    lever, splitter : int
        [-]

    Examples
    --------
    >>> lever_and_splitter(5, 6), lever_and_splitter(9, 6)
    ((5, 0), (7, 1))
    """
    if split_from < 1 or gear < split_from:
        return gear, 0
    return split_from + (gear - split_from) // 2, (gear - split_from) % 2


@compiled
def gear_by_hand(s, k, p, step):
    """Gear that the hands on lever and splitter have put in.

    Parameters
    ----------
    s : record
        State; the splitter is written. [SI]

    Notes
    -----
    The splitter's button only preselects: the splitter leaves its end when no torque can hold it, with the clutch open or in
    neutral, and then goes all the way. Letting it move when the accelerator comes up, clutch closed, is left out.
    """
    if p["split_from"] > 0.0:
        on_its_way = 0.0 < s["splitter"] < 1.0
        if on_its_way or s["clutch_engagement"] <= 0.0 or s["gear"] == 0.0:
            rate = 1.0 / p["splitter_time"]
            s["splitter"] = moved_towards(s["splitter"], k["splitter"], rate, rate, step)
    return gear_of(k["lever"], s["splitter"], p["split_from"])


@compiled
def use_controls(block, s, b, c, k, d, p, feed, kept, known, row, written, holder, tick, step):
    """Moves feet and hands, and writes down what moved.

    Parameters
    ----------
    block : array
        The records as plain doubles. [SI]
    feed : array
        A recording: tick, place among the controls, value; shape (rows, 3).
    kept : array
        Written: the same of what is done now; no rows where nothing is to be kept.
    known : array
        Written: where the controls were the last time, shape (controls,). [-]
    row, written : int
        Rows used of both. [-]
    holder : int
        Who holds the seat. [-]
    step : float
        Since the last time. [s]

    Returns
    -------
    row, written : int
        Rows used now. [-]
    """
    if holder == BY_FEED:
        while row < feed.shape[0] and feed[row, KEPT_TICK] <= tick:
            block[FIRST_CONTROL + int(feed[row, KEPT_CONTROL])] = feed[row, KEPT_VALUE]
            row += 1
    elif holder == BY_LAW:
        move_right_foot(s, b, c, k, d, p, step)
        move_left_foot(s, d, p, step)
        k["accelerator"] = rounded(d["foot"])
        k["brake_pedal"] = rounded(d["foot_brake"] / p["brake_limit"])
        k["clutch_pedal"] = rounded(d["foot_clutch"])
        for hand in range(NUMBER - FEET):
            block[FIRST_CONTROL + FEET + hand] = block[FIRST_HAND + hand]
    if kept.shape[0] > 0:
        for control in range(NUMBER):
            value = block[FIRST_CONTROL + control]
            if value != known[control]:
                known[control] = value
                kept[written, KEPT_TICK] = tick
                kept[written, KEPT_CONTROL] = control
                kept[written, KEPT_VALUE] = value
                written += 1
    return row, written
