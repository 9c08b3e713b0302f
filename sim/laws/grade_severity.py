"""The published grade-severity model: mean brake temperature of a loaded five-axle truck on a steady descent.

Units are those in which the equations are printed: degrees Fahrenheit, miles per hour, miles, pounds, horsepower. Two
constant sets exist and disagree; they are second opinions beside this project's own brake model and are never mixed with it.

Source of every equation and of set A: Wyoming DOT update of the Grade Severity Rating System (report WY-1901F, 2018, and
follow-up), seen second-hand. Set B: FHWA-RD-79-116, FHWA-RD-81-185, FHWA-IP-88-015, constants from memory.

Domain: constant speed, five axles, adjusted drum brakes, no retarder. Not for snubs, repeated stops or fade.
"""

import math

from sim.compiled import compiled

START_TEMPERATURE_F = 150.0
AMBIENT_TEMPERATURE_F = 90.0
LIMIT_TEMPERATURE_F = 500.0  # another reading of the source gives 530


@compiled
def cooling_rate(speed, updated):
    """K1, the rate at which brakes cool.

    Parameters
    ----------
    speed : float
        Road speed. [mi/h]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    rate : float
        [1/h]

    Examples
    --------
    >>> round(cooling_rate(30.0, True), 4), round(cooling_rate(30.0, False), 3)
    (3.2673, 1.998)
    """
    if updated:
        return 1.5 * (1.1852 + 0.0331 * speed)
    return 1.23 + 0.0256 * speed


@compiled
def heating_coefficient(speed, updated):
    """K2, the temperature rise per power at equilibrium.

    Parameters
    ----------
    speed : float
        Road speed. [mi/h]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    coefficient : float
        [F/hp]

    Examples
    --------
    >>> round(heating_coefficient(30.0, True), 4), round(heating_coefficient(30.0, False), 3)
    (2.5368, 6.158)
    """
    if updated:
        return 1.0 / (0.1602 + 0.0078 * speed)
    return 1.0 / (0.100 + 0.00208 * speed)


@compiled
def natural_drag(speed, updated):
    """Air and rolling drag the model credits.

    Parameters
    ----------
    speed : float
        Road speed. [mi/h]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    force : float
        [lbf]

    Examples
    --------
    >>> round(natural_drag(30.0, True), 2), natural_drag(30.0, False)
    (578.15, 967.5)
    """
    if updated:
        return 459.35 + 0.132 * speed * speed
    return 450.0 + 17.25 * speed


@compiled
def engine_drag(updated):
    """Engine power the model credits when no retarder works.

    Parameters
    ----------
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    power : float
        [hp]

    Examples
    --------
    >>> engine_drag(True), engine_drag(False)
    (63.3, 73.0)
    """
    return 63.3 if updated else 73.0


@compiled
def descent_brake_power(weight, grade, speed, retarding_power, updated):
    """Power left for the brakes on a steady descent.

    Parameters
    ----------
    weight : float
        Gross weight. [lb]
    grade : float
        Steepness of the descent, positive. [-]
    speed : float
        Road speed. [mi/h]
    retarding_power : float
        Engine and retarder at the wheels; `engine_drag` without a retarder. [hp]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    power : float
        Clamped at 0: a light truck on a shallow grade would otherwise cool below the air. [hp]

    Notes
    -----
    P_B = (W theta - F_drag) V/375 - P_eng

    Examples
    --------
    >>> round(descent_brake_power(80000.0, 0.06, 30.0, 63.3, True), 3)
    274.448
    """
    power = (weight * grade - natural_drag(speed, updated)) * speed / 375.0 - retarding_power
    return power if power > 0.0 else 0.0


@compiled
def brake_temperature_rate(temperature, ambient, brake_power, speed, updated):
    """The model as a rate, for a trip whose speed and brake power change.

    Parameters
    ----------
    temperature : float
        Mean brake temperature. [F]
    ambient : float
        Air. [F]
    brake_power : float
        Heat into the brakes, 0 or more. [hp]
    speed : float
        Road speed. [mi/h]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    rate : float
        [F/h]

    Notes
    -----
    dT/dt = -K1 (T - T_inf) + K1 K2 P_B, an exact rearrangement of the printed exponential.

    Examples
    --------
    >>> brake_temperature_rate(90.0, 90.0, 0.0, 30.0, True)
    0.0
    """
    return cooling_rate(speed, updated) * (heating_coefficient(speed, updated) * brake_power - (temperature - ambient))


@compiled
def descent_temperature(start, ambient, brake_power, length, speed, updated):
    """Mean brake temperature at the end of a steady section.

    Parameters
    ----------
    start : float
        At the beginning of the section. [F]
    ambient : float
        Air. [F]
    brake_power : float
        By `descent_brake_power`. [hp]
    length : float
        Length of the section. [mi]
    speed : float
        Road speed, above 0. [mi/h]
    updated : bool
        True for set A, false for set B. [-]

    Returns
    -------
    temperature : float
        [F]

    Notes
    -----
    T_f = T_0 + (T_inf - T_0 + K2 P_B)(1 - exp(-K1 L/V))

    Examples
    --------
    >>> round(descent_temperature(150.0, 90.0, 274.448, 5.0, 30.0, True), 2)
    417.14
    """
    settled = ambient + heating_coefficient(speed, updated) * brake_power
    return start + (settled - start) * (1.0 - math.exp(-cooling_rate(speed, updated) * length / speed))


@compiled
def stop_temperature_rise(weight, speed):
    """Rise by one emergency stop at the foot of the descent.

    Parameters
    ----------
    weight : float
        Gross weight. [lb]
    speed : float
        Road speed before the stop. [mi/h]

    Returns
    -------
    rise : float
        [F]

    Notes
    -----
    T_E = 3.11e-7 W V²; added once, after the last section.

    Examples
    --------
    >>> round(stop_temperature_rise(80000.0, 30.0), 3)
    22.392
    """
    return 3.11e-7 * weight * speed * speed
