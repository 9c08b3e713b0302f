"""What the controller can know: road speed counted in pulses."""

import math

from sim.compiled import compiled
from sim.units import MILE


@compiled
def revolutions_per_mile(rolling_radius):
    """Turns of a tyre on one mile.

    Parameters
    ----------
    rolling_radius : float
        [m]

    Returns
    -------
    revolutions : float
        [1/mi]

    Notes
    -----
    M = 1609.344/(2 pi r)

    References
    ----------
    [1] Kinematics; M is measured by SAE J1025 (seen second-hand) and shifts with load and inflation.

    Examples
    --------
    >>> round(revolutions_per_mile(0.381), 1)  # 30 in
    672.3
    """
    return MILE / (2.0 * math.pi * rolling_radius)


@compiled
def pulses_per_mile(tyre_revolutions, axle_ratio, teeth):
    """Pulses of the tone wheel on the gearbox output shaft on one mile.

    Parameters
    ----------
    tyre_revolutions : float
        Tyre turns per mile. [1/mi]
    axle_ratio : float
        [-]
    teeth : float
        Of the tone wheel. [-]

    Returns
    -------
    pulses : float
        [1/mi]

    Examples
    --------
    >>> round(pulses_per_mile(502.0, 3.90, 16.0), 1)
    31324.8
    """
    return tyre_revolutions * axle_ratio * teeth


@compiled
def indicated_speed(wheel_speed, fitted_pulses, programmed_pulses):
    """Road speed the controller works out from the pulses it counts.

    Parameters
    ----------
    wheel_speed : float
        Speed of the drive tyres' tread. [m/s]
    fitted_pulses : float
        Pulses per mile the hardware gives. [1/mi]
    programmed_pulses : float
        Pulses per mile the controller has been told. [1/mi]

    Returns
    -------
    speed : float
        Equal to the truth when both numbers agree and no wheel slips. [m/s]

    Notes
    -----
    v_indicated = v PPM_fitted/PPM_programmed

    Examples
    --------
    >>> indicated_speed(20.0, 30000.0, 30000.0), indicated_speed(20.0, 33000.0, 30000.0)
    (20.0, 22.0)
    """
    return wheel_speed * (fitted_pulses / programmed_pulses)
