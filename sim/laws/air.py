"""The air around the truck: pressure, temperature and density against altitude.

Leaves out humidity (saturated air at 30 °C is 1.6 % lighter) and the difference between geometric and geopotential height
(below 0.05 % up to 3 km).
"""

import math

from sim.compiled import compiled
from sim.units import STANDARD_GRAVITY

DRY_AIR_GAS_CONSTANT = 287.05287  # J/(kg K), International Standard Atmosphere
TEMPERATURE_LAPSE = 0.0065  # K/m, International Standard Atmosphere, troposphere
PRESSURE_EXPONENT = STANDARD_GRAVITY / (DRY_AIR_GAS_CONSTANT * TEMPERATURE_LAPSE)  # 5.25588


@compiled
def ambient_temperature(altitude, reference_altitude, reference_temperature):
    """Air temperature at an altitude, from the temperature known at another.

    Parameters
    ----------
    altitude : float
        Height above sea level, up to 11,000. [m]
    reference_altitude : float
        Height at which the temperature is known. [m]
    reference_temperature : float
        Temperature there. [K]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T = T0 - 0.0065 (h - h0)

    References
    ----------
    [1] International Standard Atmosphere, troposphere (seen second-hand).

    Examples
    --------
    >>> round(ambient_temperature(1000.0, 0.0, 288.15), 2)
    281.65
    """
    return reference_temperature - TEMPERATURE_LAPSE * (altitude - reference_altitude)


@compiled
def ambient_pressure(temperature, reference_temperature, reference_pressure):
    """Air pressure where the temperature is known, from pressure and temperature at another height.

    Parameters
    ----------
    temperature : float
        Air temperature at the height asked for, by `ambient_temperature`. [K]
    reference_temperature : float
        Air temperature at the reference height. [K]
    reference_pressure : float
        Absolute air pressure at the reference height. [Pa]

    Returns
    -------
    pressure : float
        [Pa]

    Notes
    -----
    p = p0 (T/T0)^(g/(R L)), exponent 5.25588: hydrostatic balance under a constant lapse rate.

    References
    ----------
    [1] International Standard Atmosphere, troposphere (seen second-hand): 22,632 Pa at 11,000 m.

    Examples
    --------
    >>> round(ambient_pressure(216.65, 288.15, 101325.0), 0)
    22632.0
    """
    return reference_pressure * math.pow(temperature / reference_temperature, PRESSURE_EXPONENT)


@compiled
def air_density(pressure, temperature):
    """Density of dry air from the ideal-gas law.

    Parameters
    ----------
    pressure : float
        Absolute static pressure. [Pa]
    temperature : float
        Air temperature, above 0. [K]

    Returns
    -------
    density : float
        [kg/m³]

    Notes
    -----
    rho = p/(R T)

    References
    ----------
    [1] International Standard Atmosphere (seen second-hand). 40 CFR 1037.528 prints R = 287.058 J/(kg K).

    Examples
    --------
    >>> round(air_density(101325.0, 288.15), 4)
    1.225
    """
    return pressure / (DRY_AIR_GAS_CONSTANT * temperature)
