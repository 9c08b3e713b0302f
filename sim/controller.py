"""What is believed, and the continuous feedback that acts on it: sensors, pedal, brake pedal, idle governor, clutch foot."""

from sim.compiled import compiled
from sim.laws.foot import matched_speed, moved_towards, snubbing_demand, speed_hold_demand, stopping_deceleration
from sim.laws.lag import lag_rate
from sim.laws.sensing import indicated_speed

STANDSTILL_SPEED = 0.3  # m/s: below it the foot keeps its pressure until the truck stands
STANDING_PRESSURE = 2.0e5  # Pa: held while the truck stands with the foot on the brake
PRESSED = 2.0e4  # Pa of pedal demand at which the service-brake switch closes
FOOT_RATE = 8.0e5  # Pa/s: fastest movement of the brake pedal
CLUTCH_UP = 0.95  # engagement above which the clutch switch reads released
FOOT_BELOW = 0.9  # m/s, assumed: a driver's foot is all the way down 2 mi/h below the speed wanted
FOOT_ABOVE = 0.3  # m/s, assumed: and off this far above it


@compiled
def sense(s, b, c, p):
    """Writes what sensors and switches report of the true state.

    Parameters
    ----------
    s : record
        State. [SI]
    b : record
        Belief, written. [SI]
    c : record
        Command; the pedals. [SI]
    p : record
        Parameters; gains and offsets of the sensors. [SI]
    """
    turning = s["engine_speed"] * p["engine_speed_gain"]
    if p["governor_lag"] > 0.0:
        b["engine_speed"] += lag_rate(b["engine_speed"], turning, p["governor_lag"]) * p["tick"]
    else:
        b["engine_speed"] = turning
    b["road_speed"] = (
        indicated_speed(s["wheel_speed"], p["fitted_pulses"], p["programmed_pulses"]) * p["road_speed_gain"]
    )
    b["manifold_pressure"] = s["manifold_pressure"] * p["boost_gain"] + p["boost_offset"]
    b["ambient_pressure"] = s["ambient_pressure"] * p["barometer_gain"] + p["barometer_offset"]
    b["coolant_temperature"] = s["coolant_temperature"] * p["coolant_gain"] + p["coolant_offset"]
    b["oil_temperature"] = s["oil_temperature"] * p["oil_gain"] + p["oil_offset"]
    b["reservoir_pressure"] = s["reservoir_pressure"]
    b["accelerator"] = s["accelerator"]
    b["brake_pressed"] = 1.0 if s["brake_demand"] > PRESSED else 0.0
    b["clutch_pressed"] = 1.0 if c["clutch"] < 0.5 or s["clutch_engagement"] < CLUTCH_UP else 0.0
    b["in_gear"] = 1.0 if s["gear"] != 0.0 else 0.0


@compiled
def hold_speed(s, b, c, p, step):
    """Moves the accelerator: as commanded, or so that the believed road speed follows the target.

    Parameters
    ----------
    s : record
        State; accelerator, reference speed and integral are written. [SI]
    b : record
        Belief. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]
    """
    wanted = c["accelerator"]
    if c["brake_mode"] > 0.5:
        # one foot: it is on the brake
        wanted = 0.0
        s["reference_speed"] = b["road_speed"]
    elif c["accelerator_mode"] < 0.5:
        s["reference_speed"] = b["road_speed"]
    else:
        speed = b["road_speed"]
        reference = s["reference_speed"]
        if c["target_speed"] < reference:
            reference = min(reference, max(speed, c["target_speed"]))
        reference = moved_towards(reference, c["target_speed"], c["acceleration_limit"], c["deceleration_limit"], step)
        reference = min(reference, speed + p["reference_lead"])
        s["reference_speed"] = reference
        error = reference - speed
        wanted = speed_hold_demand(error, s["hold_integral"], c["hold_below"], c["hold_above"])
        pulling = s["clutch_locked"] > 0.5 and c["engine_mode"] < 0.5 and s["gear"] != 0.0
        saturated = wanted > 1.0 or error <= -c["hold_above"]
        if pulling and not saturated:
            s["hold_integral"] += error / (c["hold_below"] * p["hold_integral_time"]) * step
        s["hold_integral"] = min(max(s["hold_integral"], 0.0), 1.0)
        if wanted < 0.01 or (s["gear"] == 0.0 and c["engine_mode"] < 0.5):
            wanted = 0.0
        wanted = min(wanted, 1.0)
    s["accelerator"] = moved_towards(s["accelerator"], wanted, c["pedal_rate"], 4.0 * c["pedal_rate"], step)


@compiled
def move_brake_pedal(s, b, c, p, step):
    """Moves the brake pedal by the mode commanded.

    Parameters
    ----------
    s : record
        State; the brake demand is written. [SI]
    b : record
        Belief. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]

    Notes
    -----
    The driver feels the deceleration and sees the road, so modes 1 to 3 read true motion and true distance; the speed to hold
    is read from the speedometer.
    """
    mode = c["brake_mode"]
    if mode < 0.5:
        s["brake_demand"] = moved_towards(s["brake_demand"], 0.0, 0.0, FOOT_RATE, step)
        return
    if mode > 3.5:
        s["brake_demand"] = moved_towards(s["brake_demand"], c["brake_pressure"], FOOT_RATE, FOOT_RATE, step)
        return
    if mode > 2.5:
        if s["speed"] < STANDSTILL_SPEED:
            if s["speed"] <= 0.0:
                s["brake_demand"] = moved_towards(s["brake_demand"], STANDING_PRESSURE, FOOT_RATE, FOOT_RATE, step)
            return
        wanted = stopping_deceleration(s["speed"], c["stop_distance"] - s["distance"])
    elif mode > 1.5:
        wanted = p["brake_hold_gain"] * (b["road_speed"] - c["target_speed"])
        wanted = min(max(wanted, -0.5), p["brake_hold_most"])
    else:
        wanted = c["brake_deceleration"]
    demand = snubbing_demand(
        s["brake_demand"], wanted, -s["acceleration"], p["brake_pressure_guess"], p["brake_response"], step
    )
    demand = min(demand, p["brake_limit"])
    s["brake_demand"] = moved_towards(s["brake_demand"], demand, FOOT_RATE, FOOT_RATE, step)


@compiled
def idle_memory(s, b, c, p, step):
    """The integral part of the idle governor.

    Parameters
    ----------
    s : record
        State; the idle integral is written. [SI]
    b : record
        Belief. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]
    """
    error = p["low_idle"] - b["engine_speed"]
    near = abs(error) < 0.5 * p["refuel_span"]
    if near and s["accelerator"] <= 0.0 and c["engine_mode"] < 0.5:
        learnt = s["idle_integral"] + p["idle_integral_gain"] * error * step
        s["idle_integral"] = min(max(learnt, 0.0), p["idle_integral_limit"])


@compiled
def control(s, b, c, p, step):
    """One step of everything between belief and plant.

    Parameters
    ----------
    s : record
        State; pedal, brake demand, clutch engagement and memories are written. [SI]
    b : record
        Belief. [SI]
    c : record
        Command. [SI]
    p : record
        Parameters. [SI]
    step : float
        [s]
    """
    hold_speed(s, b, c, p, step)
    move_brake_pedal(s, b, c, p, step)
    idle_memory(s, b, c, p, step)
    s["matching_error"] = abs(
        b["engine_speed"]
        - matched_speed(
            c["engine_mode"],
            c["engine_speed_target"],
            c["matching_ratio"],
            b["road_speed"],
            p["governed_speed"] * (1.0 + p["droop"]),
        )
    )
    s["clutch_engagement"] = moved_towards(
        s["clutch_engagement"], c["clutch"], 1.0 / p["clutch_close_time"], 1.0 / p["clutch_open_time"], step
    )
    if s["compressor_pumping"] > 0.5:
        if s["reservoir_pressure"] >= p["compressor_cut_out"]:
            s["compressor_pumping"] = 0.0
    elif s["reservoir_pressure"] <= p["compressor_cut_in"]:
        s["compressor_pumping"] = 1.0
