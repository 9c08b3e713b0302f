"""The diesel engine: friction, governor, boost, air-fuel limit and fuel."""

import math

from sim.compiled import compiled
from sim.laws.air import DRY_AIR_GAS_CONSTANT

PER_TURN = 1.0 / (2.0 * math.pi)  # 1/rad
PER_CYCLE = 1.0 / (4.0 * math.pi)  # 1/rad: a four-stroke cycle takes two turns
WARM_OIL = 363.15  # K: 90 °C, working temperature of the oil, at which friction is stated


@compiled
def motoring_mean_pressure(speed, stroke, compression_ratio):
    """Mean pressure it takes to turn an unfuelled direct-injection diesel, oil at working temperature.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    stroke : float
        Piston stroke. [m]
    compression_ratio : float
        Geometric compression ratio. [-]

    Returns
    -------
    pressure : float
        Friction, pumping and driven accessories together. [Pa]

    Notes
    -----
    mmep[kPa] = 6.895 (r_c - 4) + 48 (n/1000) + 0.4 s², n in rpm, s mean piston speed in m/s.

    References
    ----------
    [1] Form after Millington and Hartles, SAE 680590, in Heywood, Internal Combustion Engine Fundamentals, ch. 13.
        Constants from memory.

    Examples
    --------
    >>> round(motoring_mean_pressure(2100.0 * math.pi / 30.0, 0.172, 17.0) / 1000.0, 1)
    248.4
    """
    revolutions = speed * PER_TURN
    piston_speed = 2.0 * stroke * revolutions
    return 1000.0 * (
        6.895 * (compression_ratio - 4.0) + 48.0 * (0.06 * revolutions) + 0.4 * piston_speed * piston_speed
    )


@compiled
def mean_pressure_torque(pressure, displacement):
    """Crankshaft torque of a mean pressure in a four-stroke engine.

    Parameters
    ----------
    pressure : float
        Mean effective pressure. [Pa]
    displacement : float
        Swept volume it acts in. [m³]

    Returns
    -------
    torque : float
        [N m]

    Notes
    -----
    T = p V/(4 pi): one cycle takes two turns.

    Examples
    --------
    >>> round(mean_pressure_torque(1.0e5, 14.992e-3), 1)
    119.3
    """
    return pressure * displacement * PER_CYCLE


@compiled
def oil_viscosity(temperature, viscosity_40, viscosity_100):
    """Kinematic viscosity of engine oil from its two data-sheet values.

    Parameters
    ----------
    temperature : float
        Oil temperature, 230 to 430. [K]
    viscosity_40 : float
        At 40 °C, above 2. [mm²/s]
    viscosity_100 : float
        At 100 °C, above 2 and below that at 40 °C. [mm²/s]

    Returns
    -------
    viscosity : float
        [mm²/s]

    Notes
    -----
    log log(nu + 0.7) is linear in log T (Walther).

    References
    ----------
    [1] ASTM D341 form (from memory).

    Examples
    --------
    >>> round(oil_viscosity(313.15, 110.0, 15.0), 6), round(oil_viscosity(373.15, 110.0, 15.0), 6)
    (110.0, 15.0)
    """
    high = math.log(math.log(viscosity_40 + 0.7))
    low = math.log(math.log(viscosity_100 + 0.7))
    slope = (high - low) / math.log(373.15 / 313.15)
    return math.exp(math.exp(high - slope * math.log(temperature / 313.15))) - 0.7


@compiled
def friction_temperature_factor(temperature, viscosity_40, viscosity_100, exponent):
    """How much harder a cold engine is to turn than one with oil at 90 °C.

    Parameters
    ----------
    temperature : float
        Oil temperature. [K]
    viscosity_40 : float
        Oil viscosity at 40 °C. [mm²/s]
    viscosity_100 : float
        Oil viscosity at 100 °C. [mm²/s]
    exponent : float
        0.20 to 0.25 (from memory). [-]

    Returns
    -------
    factor : float
        1 at 90 °C. [-]

    Notes
    -----
    factor = (nu/nu_90)^exponent; about 1.5 to 2 at 20 °C.

    References
    ----------
    [1] From memory; that friction follows oil viscosity in warm-up: ASME ICEF2001 paper, abstract only.

    Examples
    --------
    >>> 1.5 < friction_temperature_factor(293.15, 110.0, 15.0, 0.22) < 2.0
    True
    """
    warm = oil_viscosity(WARM_OIL, viscosity_40, viscosity_100)
    return math.pow(oil_viscosity(temperature, viscosity_40, viscosity_100) / warm, exponent)


@compiled
def governor_share(speed, governed_speed, droop):
    """Share of the full-load torque a droop governor leaves at an engine speed.

    Parameters
    ----------
    speed : float
        Engine speed as the controller reads it. [rad/s]
    governed_speed : float
        Speed up to which full load is given. [rad/s]
    droop : float
        (no-load speed - governed speed)/governed speed, above 0. [-]

    Returns
    -------
    share : float
        1 below governed speed, 0 at the no-load speed, negative beyond: the engine is being driven. [-]

    Notes
    -----
    share = 1 - (n - n_gov)/(n_gov droop)

    References
    ----------
    [1] Droop on the full-load denominator, common practice, no source: 2100 to 2250 rpm is 7.143 %.

    Examples
    --------
    >>> governor_share(210.0, 200.0, 0.1), governor_share(150.0, 200.0, 0.1)
    (0.5, 1.0)
    """
    share = 1.0 - (speed - governed_speed) / (governed_speed * droop)
    return share if share < 1.0 else 1.0


@compiled
def pedal_torque(accelerator, speed, available_torque, friction, all_speed, low_idle, governed_speed, droop):
    """Indicated torque the pedal asks for, under either kind of governor.

    Parameters
    ----------
    accelerator : float
        Pedal, 0 to 1. [-]
    speed : float
        Engine speed as the controller reads it. [rad/s]
    available_torque : float
        Full-load torque at this speed. [N m]
    friction : float
        Motoring torque at this speed with warm oil. [N m]
    all_speed : float
        1 for an all-speed governor, 0 for a limiting-speed one. [-]
    low_idle : float
        Low-idle speed. [rad/s]
    governed_speed : float
        Full-load governed speed. [rad/s]
    droop : float
        Of the high-speed end. [-]

    Returns
    -------
    torque : float
        0 or more: what the cylinders are asked to make, friction still to come off. [N m]

    Notes
    -----
    Limiting-speed: the pedal is a share of full-load fuel, the governor acts only at its ends. All-speed: the pedal is a
    speed between low idle and governed speed, held with droop over the whole range. The high-speed end acts on both.

    References
    ----------
    [1] Governor types: common practice, no source.

    Examples
    --------
    >>> pedal_torque(0.5, 150.0, 2000.0, 200.0, 0.0, 70.0, 220.0, 0.07)
    1100.0
    >>> pedal_torque(0.5, 145.0, 2000.0, 200.0, 1.0, 70.0, 220.0, 0.1) == 2200.0
    True
    """
    if accelerator <= 0.0:
        return 0.0
    limit = available_torque * governor_share(speed, governed_speed, droop) + friction
    if all_speed > 0.5:
        asked_speed = low_idle + accelerator * (governed_speed - low_idle)
        asked = available_torque * governor_share(speed, asked_speed, droop) + friction
    else:
        asked = accelerator * (available_torque + friction)
    if asked > limit:
        asked = limit
    return asked if asked > 0.0 else 0.0


@compiled
def idle_torque(speed, low_idle, friction, proportional_gain, integral_torque, fade_out):
    """Indicated torque of the low-idle governor.

    Parameters
    ----------
    speed : float
        Engine speed as the controller reads it. [rad/s]
    low_idle : float
        Speed to hold. [rad/s]
    friction : float
        Motoring torque the controller expects. [N m]
    proportional_gain : float
        [N m s/rad]
    integral_torque : float
        What the integral part has learnt so far. [N m]
    fade_out : float
        Span above low idle over which fuel falls to nothing. [rad/s]

    Returns
    -------
    torque : float
        Exactly 0 at low idle plus `fade_out` and above. [N m]

    Notes
    -----
    Feed-forward of the friction plus proportional and integral parts; the fade-out is the refuelling ramp of an engine that
    coasts down with a released pedal.

    References
    ----------
    [1] Refuel ramp 100 to 200 rpm above idle: from memory.

    Examples
    --------
    >>> idle_torque(68.0, 68.0, 150.0, 60.0, 25.0, 15.0), idle_torque(90.0, 68.0, 150.0, 60.0, 25.0, 15.0)
    (175.0, 0.0)
    """
    above = (speed - low_idle) / fade_out
    if above > 1.0 - 1.0e-9:
        return 0.0
    base = friction + integral_torque
    if above > 0.0:
        torque = base * (1.0 - above)
    else:
        torque = base + proportional_gain * (low_idle - speed)
    return torque if torque > 0.0 else 0.0


@compiled
def road_speed_share(road_speed, limit, band):
    """Share of fuel the road-speed limiter leaves.

    Parameters
    ----------
    road_speed : float
        Road speed as the controller reads it. [m/s]
    limit : float
        Programmed limit; 0 means none. [m/s]
    band : float
        Span below the limit over which fuel is taken away, above 0. [m/s]

    Returns
    -------
    share : float
        1 below the band, 0 at the limit and beyond: it cuts fuel and never brakes. [-]

    References
    ----------
    [1] Proportional band at the limit: common practice, no source.

    Examples
    --------
    >>> road_speed_share(25.0, 30.0, 1.0), road_speed_share(29.5, 30.0, 1.0), road_speed_share(31.0, 30.0, 1.0)
    (1.0, 0.5, 0.0)
    """
    if limit <= 0.0:
        return 1.0
    share = (limit - road_speed) / band
    if share > 1.0:
        return 1.0
    return share if share > 0.0 else 0.0


@compiled
def air_per_cycle(manifold_pressure, intake_temperature, displacement, volumetric_efficiency):
    """Air a four-stroke engine takes in during one cycle.

    Parameters
    ----------
    manifold_pressure : float
        Intake manifold, absolute. [Pa]
    intake_temperature : float
        Air in the intake manifold. [K]
    displacement : float
        Swept volume of all cylinders. [m³]
    volumetric_efficiency : float
        Share of the swept volume filled. [-]

    Returns
    -------
    mass : float
        [kg]

    Notes
    -----
    m = eta_v p V/(R T)

    Examples
    --------
    >>> round(air_per_cycle(1.0e5, 320.0, 14.992e-3, 0.9) * 10.0, 3)  # kg/s at 1200 rpm, ten cycles a second
    0.147
    """
    return volumetric_efficiency * manifold_pressure * displacement / (DRY_AIR_GAS_CONSTANT * intake_temperature)


@compiled
def air_flow(air_mass, speed):
    """Air a four-stroke engine takes in per time.

    Parameters
    ----------
    air_mass : float
        During one cycle, by `air_per_cycle`. [kg]
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    flow : float
        [kg/s]

    Notes
    -----
    One cycle is 4 pi rad.

    Examples
    --------
    >>> round(air_flow(0.0147, 1200.0 * math.pi / 30.0), 6)
    0.147
    """
    return air_mass * speed * PER_CYCLE


@compiled
def restriction_pressure(coefficient, flow):
    """Pressure lost in a filter, hose or pipe that is narrower than it should be.

    Parameters
    ----------
    coefficient : float
        Pressure over flow squared. [Pa s²/kg²]
    flow : float
        Air. [kg/s]

    Returns
    -------
    pressure : float
        [Pa]

    Notes
    -----
    dp = k m²: turbulent flow through a fixed opening, density taken as constant.

    References
    ----------
    [1] Form: any handbook of fluid mechanics. How much a worn truck has is assumed.

    Examples
    --------
    >>> restriction_pressure(1.0e5, 0.5)
    25000.0
    """
    return coefficient * flow * flow


@compiled
def air_limited_torque(air_mass, air_fuel_ratio, indicated_efficiency, heating_value):
    """Indicated torque that the air in the cylinders allows without smoke.

    Parameters
    ----------
    air_mass : float
        Air taken in during one cycle. [kg]
    air_fuel_ratio : float
        Least air per fuel allowed. [-]
    indicated_efficiency : float
        Share of the fuel's energy that reaches the pistons. [-]
    heating_value : float
        Lower heating value of the fuel. [J/kg]

    Returns
    -------
    torque : float
        Friction still to come off. [N m]

    Notes
    -----
    One cycle is 4 pi rad: T = (m_air/AFR) eta_i LHV/(4 pi).

    References
    ----------
    [1] First principles. Fuel/air 0.047 (AFR 21.3) at full load: US Mine Safety and Health Administration, diesel
        altitude-derating guidance.

    Examples
    --------
    >>> round(air_limited_torque(0.0147, 20.0, 0.47, 42.8e6), 0)
    1177.0
    """
    return air_mass / air_fuel_ratio * indicated_efficiency * heating_value * PER_CYCLE


@compiled
def straight_line_fuel(indicated_torque, speed, indicated_efficiency, heating_value):
    """Fuel rate of the straight-line (Willans) engine model.

    Parameters
    ----------
    indicated_torque : float
        Flywheel torque plus motoring torque plus what drives the accessories. [N m]
    speed : float
        Engine speed. [rad/s]
    indicated_efficiency : float
        Slope of the line. [-]
    heating_value : float
        Lower heating value of the fuel. [J/kg]

    Returns
    -------
    rate : float
        Exactly 0 without indicated torque. [kg/s]

    Notes
    -----
    m = T_i omega/(eta_i LHV)

    References
    ----------
    [1] Willans line; eta_i 0.47 is a choice, LHV 42.8 MJ/kg from memory (42.7 in Regulation (EU) 2017/2400, Annex V).

    Examples
    --------
    >>> round(straight_line_fuel(2237.0 + 168.5, 1200.0 * math.pi / 30.0, 0.47, 42.8e6) * 1000.0, 2)
    15.03
    """
    return indicated_torque * speed / (indicated_efficiency * heating_value)
