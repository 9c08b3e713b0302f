"""Fan, accessories, coolant and oil."""

from sim.compiled import compiled
from sim.laws.air_path import AIR_HEAT, EXHAUST_HEAT, HEAT_REFERENCE


@compiled
def fan_power(input_speed, fan_speed, coefficient, bearing_loss):
    """Power a fan takes from the engine through its clutch.

    Parameters
    ----------
    input_speed : float
        Speed of the drive, in engine speed. [rad/s]
    fan_speed : float
        Speed of the fan on the same scale; equal to the input when locked. [rad/s]
    coefficient : float
        K, power over speed cubed with the clutch locked. [W s³/rad³]
    bearing_loss : float
        Belt and bearings. [W]

    Returns
    -------
    power : float
        [W]

    Notes
    -----
    P = K (N_i - N_o) N_o² + K N_o³ + P_l = K N_i N_o² + P_l: the fan's own cube law plus the slip heat of its clutch.

    References
    ----------
    [1] SAE J1342 (seen second-hand): 60 hp at 2100 rpm are 21.9 hp at 1500 rpm.

    Examples
    --------
    >>> round(fan_power(1500.0, 1500.0, 60.0 / 2100.0**3, 0.0), 1)
    21.9
    """
    return coefficient * input_speed * fan_speed * fan_speed + bearing_loss


@compiled
def compressor_power(engine_speed, unloaded, pumping, is_pumping):
    """Power of the air compressor.

    Parameters
    ----------
    engine_speed : float
        [rad/s]
    unloaded : float
        Torque at the crankshaft while its valves are held open. [N m]
    pumping : float
        Torque at the crankshaft while it fills the tanks. [N m]
    is_pumping : float
        1 while it pumps, 0 while it does not. [-]

    Returns
    -------
    power : float
        [W]

    Notes
    -----
    Proportional to engine speed. 0.3 to 0.6 kW unloaded and 3 to 6 kW pumping: from memory.

    Examples
    --------
    >>> compressor_power(100.0, 2.5, 22.5, 1.0)
    2250.0
    """
    return engine_speed * (pumping if is_pumping > 0.5 else unloaded)


@compiled
def thermostat_opening(temperature, opens, full_open):
    """Share of the coolant that goes through the radiator.

    Parameters
    ----------
    temperature : float
        Coolant. [K]
    opens : float
        Begins to open. [K]
    full_open : float
        Is fully open. [K]

    Returns
    -------
    share : float
        0 to 1. [-]

    References
    ----------
    [1] Opens at 82 to 85 °C, full at 93 to 96 °C: from memory.

    Examples
    --------
    >>> thermostat_opening(360.0, 355.0, 365.0)
    0.5
    """
    share = (temperature - opens) / (full_open - opens)
    if share < 0.0:
        return 0.0
    return share if share < 1.0 else 1.0


@compiled
def radiator_conductance(opening, fan_speed, road_speed, closed, still, per_road_speed, per_fan_speed):
    """Heat the cooling system sheds per kelvin above the air.

    Parameters
    ----------
    opening : float
        Thermostat, 0 to 1. [-]
    fan_speed : float
        On the scale of engine speed. [rad/s]
    road_speed : float
        [m/s]
    closed : float
        With a shut thermostat: block and hoses. [W/K]
    still : float
        Radiator, standing, fan off. [W/K]
    per_road_speed : float
        Growth with road speed. [W s/(K m)]
    per_fan_speed : float
        Growth with fan speed. [W s/(K rad)]

    Returns
    -------
    conductance : float
        [W/K]

    Notes
    -----
    UA = UA_closed + opening (UA_0 + a v + b N_fan); the numbers are chosen so that a loaded truck at full load on a 6 %
    climb in 30 °C air needs its fan most of the time.

    Examples
    --------
    >>> radiator_conductance(1.0, 100.0, 20.0, 20.0, 500.0, 40.0, 7.0)
    2020.0
    """
    return closed + opening * (still + per_road_speed * abs(road_speed) + per_fan_speed * fan_speed)


@compiled
def exhaust_heat(air, fuel, temperature, ambient):
    """Heat that exhaust gas carries away.

    Parameters
    ----------
    air : float
        That became exhaust. [kg/s]
    fuel : float
        That burnt in it. [kg/s]
    temperature : float
        Of the gas. [K]
    ambient : float
        At which the air came in. [K]

    Returns
    -------
    heat : float
        [W]

    Notes
    -----
    Q = (m + m_f) cp_e (T - T0) - m cp_a (T_amb - T0), T0 298.15 K, at which heating values are stated.

    References
    ----------
    [1] Energy balance; the heats of air and exhaust stand in `sim.laws.air_path`.

    Examples
    --------
    >>> round(exhaust_heat(0.400, 0.0155, 834.7, 316.0))
    248759
    """
    gas = (air + fuel) * EXHAUST_HEAT * (temperature - HEAT_REFERENCE)
    return gas - air * AIR_HEAT * (ambient - HEAT_REFERENCE)
