"""Every temperature and the heat book. Heat is slow, so it is spread every few ticks."""

from sim.compiled import compiled
from sim.laws.air_path import AIR_HEAT, EXHAUST_HEAT
from sim.laws.brakes import brake_cooling
from sim.laws.grade_severity import brake_temperature_rate
from sim.laws.thermal import exhaust_heat, radiator_conductance, thermostat_opening
from sim.march.air_path import LONGEST_STEP, breathe, exhaust_share
from sim.units import CELSIUS_ZERO, HORSEPOWER, MILE_PER_HOUR

HOUR = 3600.0  # s
FAHRENHEIT_DEGREE = 5.0 / 9.0  # K
PER_FAHRENHEIT_DEGREE = 1.0 / FAHRENHEIT_DEGREE
PER_HORSEPOWER = 1.0 / HORSEPOWER
PER_MILE_PER_HOUR = 1.0 / MILE_PER_HOUR
FAHRENHEIT_PER_HOUR = FAHRENHEIT_DEGREE / HOUR  # K/s
FAHRENHEIT_ZERO = CELSIUS_ZERO - 32.0 * FAHRENHEIT_DEGREE  # K


@compiled
def published_rate(temperature, power, s, updated):
    """Rate of the published brake-temperature model for the brake power of this instant.

    Parameters
    ----------
    temperature : float
        Mean brake temperature by that model. [K]
    power : float
        Heat into the brakes. [W]
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
def warm_group(temperature, hottest, air_speed, ambient, work, drums, p, step):
    """One axle group's drums after one step, the heat they gave to the air, and the hottest drums so far.

    Parameters
    ----------
    temperature, hottest : float
        Of these drums, and of the groups before them. [K]
    work : float
        Heat made in the group over the step. [J]
    drums : float
        How many there are; a group of none stays as it is. [-]

    Returns
    -------
    temperature, shed, hottest : float
        [K], [J], [K]
    """
    if drums <= 0.0:
        return temperature, 0.0, hottest
    shed = drums * brake_cooling(temperature, ambient, air_speed, p["drum_still"], p["drum_speed"]) * step
    temperature += (work - shed) / (drums * p["drum_capacity"])
    return temperature, shed, max(hottest, temperature)


@compiled
def warm_brakes(s, p, air_speed, step):
    """The drums by axle group, and the published model where it applies."""
    ambient = s["ambient_temperature"]
    steer_work, drive_work, trailer_work = s["pending_steer"], s["pending_drive"], s["pending_trailer"]
    s["pending_steer"] = s["pending_drive"] = s["pending_trailer"] = 0.0
    if p["severity_applies"] > 0.5:
        power = (steer_work + drive_work + trailer_work) / step
        a, b = s["severity_temperature_a"], s["severity_temperature_b"]
        s["severity_temperature_a"] = a + published_rate(a, power, s, True) * step
        s["severity_temperature_b"] = b + published_rate(b, power, s, False) * step
        s["max_severity_temperature_a"] = max(s["max_severity_temperature_a"], s["severity_temperature_a"])
        s["max_severity_temperature_b"] = max(s["max_severity_temperature_b"], s["severity_temperature_b"])
    hottest = 0.0
    s["brake_temperature_steer"], shed, hottest = warm_group(
        s["brake_temperature_steer"], hottest, air_speed, ambient, steer_work, p["brakes_steer"], p, step
    )
    s["brake_heat"] += shed
    s["brake_temperature_drive"], shed, hottest = warm_group(
        s["brake_temperature_drive"], hottest, air_speed, ambient, drive_work, p["brakes_drive"], p, step
    )
    s["brake_heat"] += shed
    s["brake_temperature_trailer"], shed, hottest = warm_group(
        s["brake_temperature_trailer"], hottest, air_speed, ambient, trailer_work, p["brakes_trailer"], p, step
    )
    s["brake_heat"] += shed
    total = (
        s["brake_temperature_steer"] * p["brakes_steer"]
        + s["brake_temperature_drive"] * p["brakes_drive"]
        + s["brake_temperature_trailer"] * p["brakes_trailer"]
    )
    drums = p["brakes_steer"] + p["brakes_drive"] + p["brakes_trailer"]
    s["brake_temperature"] = total / drums
    if s["brake_temperature"] > s["max_brake_temperature"]:
        s["max_brake_temperature"], s["max_brake_temperature_place"] = s["brake_temperature"], s["distance"]
    if hottest > s["max_hottest_brake_temperature"]:
        s["max_hottest_brake_temperature"], s["max_hottest_brake_temperature_place"] = hottest, s["distance"]


@compiled
def book_gas(s, p, before, step):
    """Books the heat that left with exhaust gas and charge air, by their flows and temperatures.

    Parameters
    ----------
    s : record
        State after `breathe`; what was left over in the gas takes no part. [SI]
    before : float
        Energy of the turbocharger's rotor at the begin of the step; the compressor takes what belongs to its end. [J]
    """
    air, ambient = s["air_flow"], s["ambient_temperature"]
    gas = exhaust_heat(air, s["fuel_rate"], s["stack_temperature"], ambient)
    turbine = (air + s["fuel_rate"]) * EXHAUST_HEAT * (s["exhaust_temperature"] - s["stack_temperature"])
    compressed = (air + s["escaping_air"]) * (s["charge_temperature"] - ambient)
    if before > 0.0:
        compressed *= s["turbo_energy"] / before
    charge = compressed - air * (s["intake_temperature"] - ambient)
    s["exhaust_heat"] += gas * step
    s["charge_heat"] += (AIR_HEAT * charge + (1.0 - p["bearing_efficiency"]) * turbine) * step


@compiled
def warm_fluids(s, p, air_speed, step):
    """Oil and coolant, what leaves with the exhaust, and the turbocharger that lives on it."""
    ambient = s["ambient_temperature"]
    combustion, friction, compression = s["pending_combustion"], s["pending_friction"], s["pending_compression"]
    s["pending_combustion"] = s["pending_friction"] = s["pending_compression"] = 0.0
    oil_in = p["oil_combustion_share"] * combustion + (1.0 - p["coolant_friction_share"]) * friction
    coolant_in = (
        p["coolant_combustion_share"] * combustion
        + p["coolant_friction_share"] * friction
        + p["coolant_compression_share"] * compression
    )
    exhaust = exhaust_share(s, p, combustion, compression)
    parts = int(step / LONGEST_STEP - 1.0e-6) + 1
    for _ in range(parts):
        before = s["turbo_energy"]
        breathe(s, p, exhaust / step, s["fuel_rate"], step / parts)
        book_gas(s, p, before, step / parts)
    exchange = p["oil_coolant_exchange"] * (s["oil_temperature"] - s["coolant_temperature"]) * step
    oil_shed = p["oil_air_exchange"] * (s["oil_temperature"] - ambient) * step
    conductance = radiator_conductance(
        thermostat_opening(s["coolant_temperature"], p["thermostat_opens"], p["thermostat_full"]),
        s["fan_speed"],
        air_speed,
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
def warm(s, p, air_speed, step):
    """Every temperature and the heat book, after several ticks.

    Parameters
    ----------
    s : record
        State; the heat made since the last call is taken from its `pending` fields. [SI]
    air_speed : float
        Of the air at radiator and drums: the road speed, or that of a blower. [m/s]
    step : float
        Since the last call. [s]
    """
    warm_brakes(s, p, air_speed, step)
    warm_fluids(s, p, air_speed, step)
