"""What is believed, and the continuous feedback that acts on it: sensors, cruise control, idle governor, automated clutch."""

from sim.compiled import compiled
from sim.laws.engine import oil_viscosity
from sim.laws.engine_fluids import fuel_temperature, oil_pressure
from sim.laws.foot import clutch_share, let_in, matched_speed, moved_towards, speed_hold_demand
from sim.laws.lag import lag_rate
from sim.laws.sensing import (
    contact_voltage,
    divider_resistance,
    divider_voltage,
    indicated_speed,
    ratiometric_share,
    ratiometric_voltage,
    system_voltage,
    thermistor_resistance,
    thermistor_temperature,
    tone_wheel_frequency,
    tone_wheel_speed,
)
from sim.march.seat import UNTOUCHED
from sim.units import MILE

PRESSED = 2.0e4  # Pa of pedal demand at which the service-brake switch closes
CLUTCH_UP = 0.95  # of its travel, above which the clutch switch reads released
SMOOTHING = 0.4  # s, assumed: of the road speed whose change is the acceleration the controller goes by
LEAST_READABLE = 0.002  # share of the supply: a thermistor is read no further than that from its ends
PEDAL_REST = 0.005  # pedal below which the foot counts as off
WARM_OIL = 373.15  # K: where the oil pressure at idle is stated


@compiled
def sense_sound(s, b, k, d, p):
    """Writes what sensors and switches report of the true state while every circuit is sound.

    Parameters
    ----------
    b : record
        Belief, written. [SI]
    k : record
        Controls.
    d : record
        Of the driver: whether he believes the needle.
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
    b["accelerator"] = k["accelerator"]
    b["brake_pressed"] = 1.0 if k["brake_pedal"] * p["brake_limit"] > PRESSED else 0.0
    released = s["clutch_release"] if p["automated"] > 0.5 else 1.0 - k["clutch_pedal"]
    b["clutch_pressed"] = 1.0 if released < CLUTCH_UP else 0.0
    b["in_gear"] = 1.0 if s["gear"] != 0.0 else 0.0
    b["retarding_switch"] = k["engine_brake_switch"]
    b["selector"] = k["engine_brake_selector"]
    b["cruise_switch"] = k["cruise_switch"]
    b["set_button"] = k["set_coast"]
    b["resume_button"] = k["resume_accelerate"]
    b["cancel_button"] = k["cruise_cancel"]
    b["fan_switch"] = k["fan_switch"]
    b["key"] = k["ignition"]
    b["clutch_locked"] = s["clutch_locked"]
    b["wheel_slip"] = s["wheel_slip"]
    b["grade"] = s["grade"]
    b["judged_speed"] = s["wheel_speed"] if d["needle_distrusted"] > 0.5 else b["road_speed"]


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
    intake = thermistor_pin(s["intake_temperature"] + p["intake_offset"], at_25, beta, pull_up, supply)
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
def sense_wheels(s, b, d, p):
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
    b["judged_speed"] = s["wheel_speed"] if d["needle_distrusted"] > 0.5 else b["road_speed"]


@compiled
def sense_switches(s, b, k, p):
    """Switches, buttons, selector and key. Brake and clutch switch open when pressed: a broken wire reads as a pressed pedal."""
    b["clutch_switch_signal"] = switch_pin(
        1.0 - b["clutch_pressed"], p["clutch_switch_circuit"], p["clutch_switch_put"], p
    )
    b["brake_switch_signal"] = switch_pin(1.0 - b["brake_pressed"], p["brake_switch_circuit"], p["brake_switch_put"], p)
    b["retarding_switch_signal"] = switch_pin(
        k["engine_brake_switch"], p["retarding_switch_circuit"], p["retarding_switch_put"], p
    )
    b["cruise_switch_signal"] = switch_pin(k["cruise_switch"], p["cruise_switch_circuit"], p["cruise_switch_put"], p)
    b["set_button_signal"] = switch_pin(k["set_coast"], p["set_button_circuit"], p["set_button_put"], p)
    b["resume_button_signal"] = switch_pin(
        k["resume_accelerate"], p["resume_button_circuit"], p["resume_button_put"], p
    )
    b["fan_switch_signal"] = switch_pin(k["fan_switch"], p["fan_switch_circuit"], p["fan_switch_put"], p)
    b["clutch_pressed"] = is_open(b["clutch_switch_signal"], p)
    b["brake_pressed"] = is_open(b["brake_switch_signal"], p)
    b["retarding_switch"] = is_closed(b["retarding_switch_signal"], p)
    b["cruise_switch"] = is_closed(b["cruise_switch_signal"], p)
    b["set_button"] = is_closed(b["set_button_signal"], p)
    b["resume_button"] = is_closed(b["resume_button_signal"], p)
    b["fan_switch"] = is_closed(b["fan_switch_signal"], p)
    ladder = p["sensor_supply"] * (p["selector_low"] + p["selector_step"] * k["engine_brake_selector"])
    b["selector_signal"] = at_pin(ladder, p["selector_circuit"], p["selector_put"])
    place = (b["selector_signal"] / p["sensor_supply"] - p["selector_low"]) / p["selector_step"]
    b["selector"] = float(int(place + 0.5)) if 0.5 <= place < 3.5 else 0.0
    voltage = system_voltage(s["engine_speed"], p["battery"], p["charging"], p["charges_from"])
    b["key_signal"] = at_pin(voltage * k["ignition"], p["key_circuit"], p["key_put"])
    b["key"] = 1.0 if b["key_signal"] > 0.5 * p["battery"] else 0.0


@compiled
def sense_pedal(b, c, k, p):
    """The accelerator, once the brake is known."""
    pedal = ratiometric_voltage(
        k["accelerator"] + p["pedal_offset"], p["pedal_low"], p["pedal_high"], p["sensor_supply"]
    )
    b["pedal_signal"] = at_pin(pedal, p["pedal_circuit"], p["pedal_put"])
    pressed = ratiometric_share(b["pedal_signal"], p["pedal_low"], p["pedal_high"], p["sensor_supply"])
    pressed = min(max(pressed, 0.0), 1.0) if pressed > PEDAL_REST else 0.0
    if c["pedal_distrusted"] > 0.5:
        # limp home: as far as the idle contact of the pedal tells, and not against the brake
        pressed = c["pedal_substitute"] if k["accelerator"] > 0.0 and b["brake_pressed"] < 0.5 else 0.0
    b["accelerator"] = pressed


@compiled
def sense_circuits(s, b, c, k, d, p):
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
    sense_wheels(s, b, d, p)
    sense_switches(s, b, k, p)
    sense_pedal(b, c, k, p)


@compiled
def sense(s, b, c, k, d, p, step):
    """Writes what sensors and switches report of the true state; circuit by circuit once something is wrong with one.

    Parameters
    ----------
    b : record
        Belief, written. [SI]
    step : float
        0 while nothing moves. [s]
    """
    sense_sound(s, b, k, d, p)
    if p["circuits_watched"] > 0.5:
        sense_circuits(s, b, c, k, d, p)
    b["acceleration"] = (b["road_speed"] - b["smooth_speed"]) / SMOOTHING
    b["smooth_speed"] += b["acceleration"] * step
    b["driver_demand"] = max(b["accelerator"], b["cruise_demand"])


@compiled
def look(state, sound, seen, command, controls, driver, parameters):
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
    s, c, k, d, p = state[0], command[0], controls[0], driver[0], parameters[0]
    sense_sound(s, sound[0], k, d, p)
    sense_sound(s, seen[0], k, d, p)
    sense_circuits(s, seen[0], c, k, d, p)
    return gallery_pressure(s, p)


@compiled
def cruise(b, c, p, step):
    """What cruise control asks for, so that the believed road speed follows its target.

    Parameters
    ----------
    b : record
        Belief; reference, what the hold has learnt and the demand are written. [SI]

    Notes
    -----
    While it does not hold it follows the pedal, so that it takes over without a jerk.
    """
    speed = b["road_speed"]
    if c["set_speed"] <= 0.0:
        b["cruise_reference"] = speed
        b["cruise_demand"] = 0.0
        if c["engine_mode"] < 0.5 and b["clutch_pressed"] < 0.5:
            b["cruise_integral"] = b["cruise_pull"] = b["accelerator"]
        return
    target, reference = c["cruise_target"], b["cruise_reference"]
    if target < reference:
        reference = min(reference, max(speed, target))
    reference = moved_towards(reference, target, p["cruise_acceleration"], p["cruise_deceleration"], step)
    reference = min(reference, speed + p["reference_lead"])
    b["cruise_reference"] = reference
    error = reference - speed
    wanted = speed_hold_demand(error, b["cruise_integral"], p["cruise_below"], p["cruise_above"])
    pulling = b["clutch_pressed"] < 0.5 and c["engine_mode"] < 0.5 and b["in_gear"] > 0.5
    if pulling and not (wanted > 1.0 or error <= -p["cruise_above"]):
        learnt = b["cruise_integral"] + error / (p["cruise_below"] * p["hold_integral_time"]) * step
        b["cruise_integral"] = min(max(learnt, 0.0), 1.0)
    if wanted < UNTOUCHED or not pulling:
        wanted = 0.0
    wanted = min(wanted, 1.0)
    b["cruise_pull"] = moved_towards(b["cruise_pull"], wanted, p["cruise_rate"], 4.0 * p["cruise_rate"], step)
    b["cruise_demand"] = b["cruise_pull"]


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
    if near and b["driver_demand"] <= 0.0 and c["engine_mode"] < 0.5:
        learnt = s["idle_integral"] + p["idle_integral_gain"] * error * step
        s["idle_integral"] = min(max(learnt, 0.0), p["idle_integral_limit"])


@compiled
def work_clutch(s, b, c, k, p, step):
    """Moves the clutch of an automated gearbox; that of a manual one is where the foot has it."""
    if p["automated"] > 0.5:
        wanted = c["clutch"]
        if c["launching"] > 0.5:
            wanted = min(wanted, let_in(b["engine_speed"], p["bite_speed"], p["bite_span"], 1.0))
        s["clutch_release"] = moved_towards(
            s["clutch_release"], wanted, 1.0 / p["clutch_close_time"], 1.0 / p["clutch_open_time"], step
        )
        matched = matched_speed(
            c["engine_mode"],
            c["engine_speed_target"],
            c["matching_ratio"],
            b["road_speed"],
            p["governed_speed"] * (1.0 + p["droop"]),
        )
        b["matching_error"] = abs(b["engine_speed"] - matched)
    else:
        s["clutch_release"] = 1.0 - k["clutch_pedal"]
    s["clutch_engagement"] = clutch_share(s["clutch_release"])


@compiled
def control(s, b, c, k, p, step):
    """One step of everything between belief and plant.

    Parameters
    ----------
    s : record
        State; brake demands, clutch and idle memory are written. [SI]
    """
    cruise(b, c, p, step)
    b["driver_demand"] = max(b["accelerator"], b["cruise_demand"])
    idle_memory(s, b, c, p, step)
    work_clutch(s, b, c, k, p, step)
    s["brake_demand"] = max(k["brake_pedal"] * p["brake_limit"], c["hill_hold"])
    if s["compressor_pumping"] > 0.5:
        if s["reservoir_pressure"] >= p["compressor_cut_out"]:
            s["compressor_pumping"] = 0.0
    elif s["reservoir_pressure"] <= p["compressor_cut_in"]:
        s["compressor_pumping"] = 1.0
