"""What is believed, and the continuous feedback that acts on it: sensors, pedal, brake pedal, idle governor, clutch foot."""

from sim.compiled import compiled
from sim.laws.engine import oil_viscosity
from sim.laws.engine_fluids import fuel_temperature, oil_pressure
from sim.laws.foot import matched_speed, moved_towards, snubbing_demand, speed_hold_demand, stopping_deceleration
from sim.laws.lag import lag_rate
from sim.laws.sensing import (
    contact_voltage,
    divider_resistance,
    divider_voltage,
    indicated_speed,
    ratiometric_share,
    ratiometric_voltage,
    thermistor_resistance,
    thermistor_temperature,
    tone_wheel_frequency,
    tone_wheel_speed,
)
from sim.units import MILE

STANDSTILL_SPEED = 0.3  # m/s: below it the foot keeps its pressure until the truck stands
STANDING_PRESSURE = 2.0e5  # Pa: held while the truck stands with the foot on the brake
PRESSED = 2.0e4  # Pa of pedal demand at which the service-brake switch closes
FOOT_RATE = 8.0e5  # Pa/s: fastest movement of the brake pedal
CLUTCH_UP = 0.95  # engagement above which the clutch switch reads released
FOOT_BELOW = 0.9  # m/s, assumed: a driver's foot is all the way down 2 mi/h below the speed wanted
FOOT_ABOVE = 0.3  # m/s, assumed: and off this far above it
LEAST_READABLE = 0.002  # share of the supply: a thermistor is read no further than that from its ends
PEDAL_REST = 0.005  # pedal below which the foot counts as off
WARM_OIL = 373.15  # K: where the oil pressure at idle is stated


@compiled
def sense_sound(s, b, c, p):
    """Writes what sensors and switches report of the true state while every circuit is sound.

    Parameters
    ----------
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
    b["judged_speed"] = b["road_speed"]


@compiled
def gallery_pressure(s, p):
    """Oil pressure of the engine as it runs now.

    Returns
    -------
    pressure : float
        [Pa]
    """
    return oil_pressure(
        s["engine_speed"],
        p["low_idle"],
        oil_viscosity(s["oil_temperature"], p["oil_viscosity_40"], p["oil_viscosity_100"]),
        oil_viscosity(WARM_OIL, p["oil_viscosity_40"], p["oil_viscosity_100"]),
        p["oil_pressure_idle"],
        p["oil_pressure_relief"],
        p["oil_delivery"],
    )


@compiled
def at_pin(signal, circuit, put):
    """What a pin of the controller carries.

    Parameters
    ----------
    signal : float
        Of the sound circuit. [any]
    circuit : float
        0 sound. [-]
    put : float
        What the pin carries when it is not. [any]

    Returns
    -------
    signal : float
        [any]
    """
    return put if circuit > 0.5 else signal


@compiled
def thermistor_pin(temperature, resistance_25, beta, pull_up, supply):
    """Voltage of a sound thermistor circuit.

    Parameters
    ----------
    temperature : float
        [K]
    resistance_25 : float
        At 25 °C. [ohm]
    beta : float
        [K]
    pull_up : float
        [ohm]
    supply : float
        [V]

    Returns
    -------
    voltage : float
        [V]
    """
    return divider_voltage(thermistor_resistance(temperature, resistance_25, beta), pull_up, supply)


@compiled
def thermistor_reading(voltage, resistance_25, beta, pull_up, supply):
    """Temperature the controller makes of the voltage of a thermistor circuit.

    Parameters
    ----------
    voltage : float
        At the pin. [V]
    resistance_25 : float
        At 25 °C. [ohm]
    beta : float
        [K]
    pull_up : float
        [ohm]
    supply : float
        [V]

    Returns
    -------
    temperature : float
        [K]
    """
    within = min(max(voltage, LEAST_READABLE * supply), (1.0 - LEAST_READABLE) * supply)
    return thermistor_temperature(divider_resistance(within, pull_up, supply), resistance_25, beta)


@compiled
def pressure_pin(share, p):
    """Voltage of a sound pressure or level circuit at a share of its full scale."""
    return ratiometric_voltage(share, p["pressure_low"], p["pressure_high"], p["sensor_supply"])


@compiled
def pressure_reading(voltage, p):
    """Share of its full scale the controller makes of the voltage of a pressure or level circuit."""
    return ratiometric_share(voltage, p["pressure_low"], p["pressure_high"], p["sensor_supply"])


@compiled
def switch_pin(closed, circuit, put, p):
    """Voltage at the pin of a switch."""
    return at_pin(contact_voltage(closed, p["sensor_supply"]), circuit, put)


@compiled
def is_closed(voltage, p):
    """1 for a switch whose pin is pulled down to ground, 0 for one that is open."""
    return 1.0 if voltage < 0.5 * p["sensor_supply"] else 0.0


@compiled
def is_open(voltage, p):
    """1 for a switch whose pin is held up by the supply, 0 for one that is closed."""
    return 1.0 if voltage > 0.5 * p["sensor_supply"] else 0.0


@compiled
def sense_pressures(s, b, p):
    """Boost, oil pressure, outside air and coolant level: a voltage that is a share of the supply."""
    boost = pressure_pin(b["manifold_pressure"] / p["boost_full_scale"], p)
    oil = pressure_pin((gallery_pressure(s, p) + p["oil_pressure_offset"]) / p["oil_pressure_full_scale"], p)
    if p["boost_oil_swapped"] > 0.5:
        boost, oil = oil, boost
    barometer = pressure_pin(b["ambient_pressure"] / p["barometer_full_scale"], p)
    level = pressure_pin(p["coolant_fill"] + p["coolant_level_offset"], p)
    b["boost_signal"] = at_pin(boost, p["boost_circuit"], p["boost_put"])
    b["oil_pressure_signal"] = at_pin(oil, p["oil_pressure_circuit"], p["oil_pressure_put"])
    b["barometer_signal"] = at_pin(barometer, p["barometer_circuit"], p["barometer_put"])
    b["coolant_level_signal"] = at_pin(level, p["coolant_level_circuit"], p["coolant_level_put"])
    b["manifold_pressure"] = pressure_reading(b["boost_signal"], p) * p["boost_full_scale"]
    b["oil_pressure"] = pressure_reading(b["oil_pressure_signal"], p) * p["oil_pressure_full_scale"]
    b["ambient_pressure"] = pressure_reading(b["barometer_signal"], p) * p["barometer_full_scale"]
    b["coolant_level"] = pressure_reading(b["coolant_level_signal"], p)


@compiled
def sense_temperatures(s, b, p):
    """Coolant, intake air, fuel and oil: thermistors."""
    at_25, beta, pull_up = p["thermistor_25"], p["thermistor_beta"], p["thermistor_pull_up"]
    supply, outside = p["sensor_supply"], s["ambient_temperature"]
    coolant = thermistor_pin(b["coolant_temperature"], at_25, beta, pull_up, supply)
    intake = thermistor_pin(outside + p["intake_rise"] + p["intake_offset"], at_25, beta, pull_up, supply)
    if p["coolant_intake_swapped"] > 0.5:
        coolant, intake = intake, coolant
    warmed = fuel_temperature(outside, s["coolant_temperature"], p["fuel_warming"])
    fuel = thermistor_pin(warmed + p["fuel_temperature_offset"], at_25, beta, pull_up, supply)
    oil = thermistor_pin(b["oil_temperature"], at_25, beta, pull_up, supply)
    b["coolant_signal"] = at_pin(coolant, p["coolant_circuit"], p["coolant_put"])
    b["intake_signal"] = at_pin(intake, p["intake_circuit"], p["intake_put"])
    b["fuel_temperature_signal"] = at_pin(fuel, p["fuel_temperature_circuit"], p["fuel_temperature_put"])
    b["oil_signal"] = at_pin(oil, p["oil_circuit"], p["oil_put"])
    b["coolant_temperature"] = thermistor_reading(b["coolant_signal"], at_25, beta, pull_up, supply)
    b["intake_temperature"] = thermistor_reading(b["intake_signal"], at_25, beta, pull_up, supply)
    b["fuel_temperature"] = thermistor_reading(b["fuel_temperature_signal"], at_25, beta, pull_up, supply)
    b["oil_temperature"] = thermistor_reading(b["oil_signal"], at_25, beta, pull_up, supply)


@compiled
def substitute(b, c):
    """Puts what the controller takes instead where it distrusts a reading."""
    if c["boost_distrusted"] > 0.5:
        b["manifold_pressure"] = c["boost_substitute"]
    if c["barometer_distrusted"] > 0.5:
        b["ambient_pressure"] = c["barometer_substitute"]
    if c["oil_pressure_distrusted"] > 0.5:
        b["oil_pressure"] = c["oil_pressure_substitute"]
    if c["coolant_distrusted"] > 0.5:
        b["coolant_temperature"] = c["coolant_substitute"]
    if c["intake_distrusted"] > 0.5:
        b["intake_temperature"] = c["intake_substitute"]
    if c["fuel_temperature_distrusted"] > 0.5:
        b["fuel_temperature"] = c["fuel_temperature_substitute"]
    if c["oil_distrusted"] > 0.5:
        b["oil_temperature"] = c["oil_substitute"]
    if c["coolant_level_distrusted"] > 0.5:
        b["coolant_level"] = c["coolant_level_substitute"]


@compiled
def sense_wheels(s, b, c, p):
    """Crankshaft, camshaft and road speed: pulses of tone wheels."""
    turning = tone_wheel_frequency(s["engine_speed"] * p["engine_speed_gain"], p["crank_teeth"])
    b["crank_signal"] = at_pin(turning, p["crank_circuit"], p["crank_put"])
    if p["governor_lag"] == 0.0 or p["crank_circuit"] > 0.5:  # a late governor keeps what it knew a moment ago
        b["engine_speed"] = tone_wheel_speed(b["crank_signal"], p["crank_teeth"])
    half = tone_wheel_frequency(0.5 * s["engine_speed"], p["cam_teeth"])
    b["cam_signal"] = at_pin(half, p["cam_circuit"], p["cam_put"])
    b["cam_speed"] = 2.0 * tone_wheel_speed(b["cam_signal"], p["cam_teeth"])
    pulses = abs(s["wheel_speed"]) * p["fitted_pulses"] / MILE * p["road_speed_gain"]
    if abs(s["wheel_speed"]) < p["road_speed_weak"]:
        pulses = 0.0
    b["road_speed_signal"] = at_pin(pulses, p["road_speed_circuit"], p["road_speed_put"])
    b["road_speed"] = b["road_speed_signal"] * MILE / p["programmed_pulses"]
    b["judged_speed"] = s["wheel_speed"] if c["needle_distrusted"] > 0.5 else b["road_speed"]


@compiled
def sense_switches(b, c, p):
    """Switches, buttons, selector and key. Brake and clutch switch open when pressed: a broken wire reads as a pressed pedal."""
    b["clutch_switch_signal"] = switch_pin(
        1.0 - b["clutch_pressed"], p["clutch_switch_circuit"], p["clutch_switch_put"], p
    )
    b["brake_switch_signal"] = switch_pin(1.0 - b["brake_pressed"], p["brake_switch_circuit"], p["brake_switch_put"], p)
    b["retarding_switch_signal"] = switch_pin(
        c["hand_retarding"], p["retarding_switch_circuit"], p["retarding_switch_put"], p
    )
    b["cruise_switch_signal"] = switch_pin(c["hand_cruise"], p["cruise_switch_circuit"], p["cruise_switch_put"], p)
    b["set_button_signal"] = switch_pin(c["hand_set"], p["set_button_circuit"], p["set_button_put"], p)
    b["resume_button_signal"] = switch_pin(c["hand_resume"], p["resume_button_circuit"], p["resume_button_put"], p)
    b["fan_switch_signal"] = switch_pin(c["hand_fan"], p["fan_switch_circuit"], p["fan_switch_put"], p)
    b["clutch_pressed"] = is_open(b["clutch_switch_signal"], p)
    b["brake_pressed"] = is_open(b["brake_switch_signal"], p)
    b["retarding_switch"] = is_closed(b["retarding_switch_signal"], p)
    b["cruise_switch"] = is_closed(b["cruise_switch_signal"], p)
    b["set_button"] = is_closed(b["set_button_signal"], p)
    b["resume_button"] = is_closed(b["resume_button_signal"], p)
    b["fan_switch"] = is_closed(b["fan_switch_signal"], p)
    ladder = p["sensor_supply"] * (p["selector_low"] + p["selector_step"] * c["hand_selector"])
    b["selector_signal"] = at_pin(ladder, p["selector_circuit"], p["selector_put"])
    place = (b["selector_signal"] / p["sensor_supply"] - p["selector_low"]) / p["selector_step"]
    b["selector"] = float(int(place + 0.5)) if 0.5 <= place < 3.5 else 0.0
    b["key_signal"] = at_pin(p["battery"] * c["hand_key"], p["key_circuit"], p["key_put"])
    b["key"] = 1.0 if b["key_signal"] > 0.5 * p["battery"] else 0.0


@compiled
def sense_pedal(s, b, c, p):
    """The accelerator, once the brake is known. Cruise demand needs no pedal: the foot is off."""
    foot = 0.0 if c["set_speed"] > 0.0 else s["accelerator"]
    pedal = ratiometric_voltage(foot + p["pedal_offset"], p["pedal_low"], p["pedal_high"], p["sensor_supply"])
    b["pedal_signal"] = at_pin(pedal, p["pedal_circuit"], p["pedal_put"])
    pressed = ratiometric_share(b["pedal_signal"], p["pedal_low"], p["pedal_high"], p["sensor_supply"])
    pressed = min(max(pressed, 0.0), 1.0) if pressed > PEDAL_REST else 0.0
    if c["pedal_distrusted"] > 0.5:
        # limp home: as far as the idle contact of the pedal tells, and not against the brake
        pressed = c["pedal_substitute"] if foot > 0.0 and b["brake_pressed"] < 0.5 else 0.0
    cruising = s["accelerator"] if c["set_speed"] > 0.0 else 0.0
    b["accelerator"] = max(pressed, cruising)


@compiled
def sense_circuits(s, b, c, p):
    """Every sensor and switch as a circuit: what it measures, what its pin carries, what the controller makes of that.

    Parameters
    ----------
    b : record
        Belief after the sound sensors; signals and beliefs are written. [SI]

    Notes
    -----
    The controller reads each curve backwards as it was programmed, so a sound circuit gives back what went in, to rounding.
    A substitute stands instead of the reading once the controller distrusts it.
    """
    sense_pressures(s, b, p)
    sense_temperatures(s, b, p)
    substitute(b, c)
    sense_wheels(s, b, c, p)
    sense_switches(b, c, p)
    sense_pedal(s, b, c, p)


@compiled
def sense(s, b, c, p):
    """Writes what sensors and switches report of the true state; circuit by circuit once something is wrong with one.

    Parameters
    ----------
    b : record
        Belief, written. [SI]
    """
    sense_sound(s, b, c, p)
    if p["circuits_watched"] > 0.5:
        sense_circuits(s, b, c, p)


@compiled
def look(state, sound, seen, command, parameters):
    """Everything a meter can show, at any time, without touching the truck.

    Parameters
    ----------
    sound : array
        Belief record, shape (1,), written: what sound circuits would say. [SI]
    seen : array
        Belief record, shape (1,), written: signals and beliefs as the circuits are. [SI]

    Returns
    -------
    pressure : float
        True oil pressure. [Pa]
    """
    s, c, p = state[0], command[0], parameters[0]
    sense_sound(s, sound[0], c, p)
    sense_sound(s, seen[0], c, p)
    sense_circuits(s, seen[0], c, p)
    return gallery_pressure(s, p)


@compiled
def hold_speed(s, b, c, p, step):
    """Moves the accelerator: as commanded, or so that the believed road speed follows the target.

    Parameters
    ----------
    s : record
        State; accelerator, reference speed and integral are written. [SI]
    """
    wanted = c["accelerator"]
    speed = b["road_speed"] if c["set_speed"] > 0.0 else b["judged_speed"]
    if c["brake_mode"] > 0.5:
        # one foot: it is on the brake
        wanted = 0.0
        s["reference_speed"] = speed
    elif c["accelerator_mode"] < 0.5:
        s["reference_speed"] = speed
    else:
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

    Notes
    -----
    The driver feels the deceleration and sees the road, so modes 1 to 3 read true motion and true distance; the speed to hold
    is read from the speedometer, as long as its needle is believed.
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
        wanted = p["brake_hold_gain"] * (b["judged_speed"] - c["target_speed"])
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
