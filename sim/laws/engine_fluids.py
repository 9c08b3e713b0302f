"""Oil pressure and fuel temperature of a running engine: what its sensors have to measure."""

import math

from sim.compiled import compiled


@compiled
def oil_pressure(speed, idle_speed, viscosity, warm_viscosity, idle_pressure, relief_pressure, delivery):
    """Pressure in the main oil gallery.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    idle_speed : float
        Low idle. [rad/s]
    viscosity : float
        Of the oil now. [mm²/s]
    warm_viscosity : float
        Of the oil at the temperature for which the idle pressure is stated. [mm²/s]
    idle_pressure : float
        At low idle with warm oil. [Pa]
    relief_pressure : float
        At which the relief valve opens. [Pa]
    delivery : float
        What the pump delivers over what a sound one does: 1 sound, less when worn or short of oil. [-]

    Returns
    -------
    pressure : float
        Above outside air; 0 with the engine at rest. [Pa]

    Notes
    -----
    p = min(p_relief, p_idle d (n/n_idle) sqrt(nu/nu_warm)). A gear pump delivers with speed, bearings and clearances let the
    oil out, more readily the thinner it is; the square root lies between a leak through bearings (viscosity) and one through
    edges (none). Form and constants assumed: no source.

    Examples
    --------
    >>> oil_pressure(70.0, 70.0, 15.0, 15.0, 2.0e5, 4.5e5, 1.0), oil_pressure(210.0, 70.0, 15.0, 15.0, 2.0e5, 4.5e5, 1.0)
    (200000.0, 450000.0)
    """
    thickness = math.sqrt(viscosity / warm_viscosity)
    return min(relief_pressure, idle_pressure * delivery * (speed / idle_speed) * thickness)


@compiled
def fuel_temperature(outside, coolant, share):
    """Temperature of the fuel at the engine.

    Parameters
    ----------
    outside : float
        Air. [K]
    coolant : float
        [K]
    share : float
        Of the way from the air to the coolant that the fuel is warmed in the head. [-]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T = T_air + x (T_coolant - T_air). A tank that warms through a day is left out. Assumed: no source.

    Examples
    --------
    >>> fuel_temperature(290.0, 360.0, 0.3)
    311.0
    """
    return outside + share * (coolant - outside)
