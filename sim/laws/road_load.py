"""Forces the road and the air put on the truck."""

import math

from sim.compiled import compiled
from sim.units import STANDARD_GRAVITY


@compiled
def grade_cosine(grade):
    """Cosine of the slope angle.

    Parameters
    ----------
    grade : float
        Rise over horizontal run. [-]

    Returns
    -------
    cosine : float
        cos(atan(grade)). [-]

    Examples
    --------
    >>> round(grade_cosine(0.75), 12)
    0.8
    """
    return 1.0 / math.sqrt(1.0 + grade * grade)


@compiled
def grade_sine(grade):
    """Sine of the slope angle; distance is measured along the road.

    Parameters
    ----------
    grade : float
        Rise over horizontal run, positive uphill. [-]

    Returns
    -------
    sine : float
        sin(atan(grade)). [-]

    Examples
    --------
    >>> round(grade_sine(0.75), 12)
    0.6
    """
    return grade * grade_cosine(grade)


@compiled
def grade_force(mass, sine):
    """Part of the weight that pulls the truck back along the road.

    Parameters
    ----------
    mass : float
        Gross mass. [kg]
    sine : float
        Sine of the slope angle, positive uphill. [-]

    Returns
    -------
    force : float
        Positive when it holds the truck back. [N]

    Notes
    -----
    F = m g sin(atan G)

    References
    ----------
    [1] 40 CFR 1036.545(f)(3), Eq. 1036.545-5; (f)(4) prints 436.5 N for 11,408 kg and 0.39 % with g = 9.81.

    Examples
    --------
    >>> round(grade_force(11408.0, grade_sine(0.0039)), 1)
    436.3
    """
    return mass * STANDARD_GRAVITY * sine


@compiled
def rolling_resistance(mass, cosine, constant_coefficient, speed_coefficient, speed):
    """Rolling resistance of all tyres on a hard road.

    Parameters
    ----------
    mass : float
        Gross mass. [kg]
    cosine : float
        Cosine of the slope angle. [-]
    constant_coefficient : float
        Coefficient at walking pace, c0. [-]
    speed_coefficient : float
        Growth with speed, c1. [s/m]
    speed : float
        Road speed; its sign does not matter. [m/s]

    Returns
    -------
    force : float
        Size of the force, 0 or more; it always opposes the motion. [N]

    Notes
    -----
    F = m g cos(theta) (c0 + c1 v). Leaves out tyre temperature, inflation and wet roads.

    References
    ----------
    [1] 40 CFR 1036.545(f)(3) for m g Crr cos(theta); the linear growth with speed is from memory.

    Examples
    --------
    >>> round(rolling_resistance(10000.0, 1.0, 0.005, 5e-5, 20.0), 1)
    588.4
    """
    return mass * STANDARD_GRAVITY * cosine * (constant_coefficient + speed_coefficient * abs(speed))


@compiled
def aerodynamic_drag(density, drag_area, speed, wind):
    """Air drag at a road speed and a wind along the road.

    Parameters
    ----------
    density : float
        Air density. [kg/m³]
    drag_area : float
        Drag coefficient times frontal area. [m²]
    speed : float
        Road speed. [m/s]
    wind : float
        Wind along the road, positive from ahead. [m/s]

    Returns
    -------
    force : float
        Positive when it holds the truck back; a strong tail wind pushes. [N]

    Notes
    -----
    F = 1/2 rho CdA (v + w) |v + w|. Leaves out side wind.

    References
    ----------
    [1] 40 CFR 1036.545(f)(3); the sign form is the usual extension to wind.

    Examples
    --------
    >>> aerodynamic_drag(1.2, 5.0, 20.0, 0.0), aerodynamic_drag(1.2, 5.0, 0.0, -10.0)
    (1200.0, -300.0)
    """
    air_speed = speed + wind
    return 0.5 * density * drag_area * air_speed * abs(air_speed)


@compiled
def traction_limit(grip, axle_load):
    """Largest force the tyres of an axle group can pass to the road.

    Parameters
    ----------
    grip : float
        Friction coefficient between tyre and road. [-]
    axle_load : float
        Weight on the axle group. [N]

    Returns
    -------
    force : float
        [N]

    Notes
    -----
    F = mu W. Static load; load transfer under acceleration is left out.

    Examples
    --------
    >>> traction_limit(0.5, 100000.0)
    50000.0
    """
    return grip * axle_load
