"""Compression-release engine brake, from the thermodynamics of the cylinders it works on."""

import math

from sim.compiled import compiled


@compiled
def compression_work_ratio(compression_ratio, polytropic_exponent):
    """Compression work per unit of swept volume and of manifold pressure.

    Parameters
    ----------
    compression_ratio : float
        Geometric compression ratio. [-]
    polytropic_exponent : float
        1.32 to 1.38 (from memory). [-]

    Returns
    -------
    ratio : float
        w_c/p1. [-]

    Notes
    -----
    w_c/p1 = r/(r - 1) (r^(n-1) - 1)/(n - 1)

    References
    ----------
    [1] Polytropic compression of an ideal gas, any thermodynamics handbook.

    Examples
    --------
    >>> round(100.0 * compression_work_ratio(17.0, 1.35), 1)
    514.7
    """
    power = polytropic_exponent - 1.0
    return compression_ratio / (compression_ratio - 1.0) * (math.pow(compression_ratio, power) - 1.0) / power


@compiled
def braking_exhaust_pressure(manifold_pressure, ambient_pressure, turbine_factor, back_pressure_share):
    """Exhaust manifold pressure while the engine brake works.

    Parameters
    ----------
    manifold_pressure : float
        Intake manifold, absolute. [Pa]
    ambient_pressure : float
        Absolute. [Pa]
    turbine_factor : float
        Exhaust over intake pressure across the turbocharger, 1.35. [-]
    back_pressure_share : float
        Added back pressure as a share of ambient, 0.20. [-]

    Returns
    -------
    pressure : float
        Absolute. [Pa]

    Notes
    -----
    p_em = 1.35 p1 + 0.20 p_amb; both numbers are choices of this project.

    Examples
    --------
    >>> round(braking_exhaust_pressure(2.0e5, 1.0e5, 1.35, 0.20))
    290000
    """
    return turbine_factor * manifold_pressure + back_pressure_share * ambient_pressure


@compiled
def braking_mean_pressure(manifold_pressure, exhaust_pressure, work_ratio, returned_share):
    """Mean pressure with which one working cylinder holds the engine back, friction not included.

    Parameters
    ----------
    manifold_pressure : float
        Intake manifold, absolute. [Pa]
    exhaust_pressure : float
        Exhaust manifold, absolute. [Pa]
    work_ratio : float
        By `compression_work_ratio`. [-]
    returned_share : float
        Share of the compression work that comes back on expansion, 0.10 to 0.20. [-]

    Returns
    -------
    pressure : float
        [Pa]

    Notes
    -----
    mep = w_c (1 - rho_r) + (p_em - p1)

    References
    ----------
    [1] First principles; SAE J1621 is how such power is measured (scope seen second-hand).

    Examples
    --------
    >>> round(braking_mean_pressure(1.0e5, 1.2e5, compression_work_ratio(17.0, 1.35), 0.12) / 1000.0, 1)
    473.0
    """
    return manifold_pressure * work_ratio * (1.0 - returned_share) + (exhaust_pressure - manifold_pressure)


@compiled
def braking_boost_target(speed, ambient_pressure, rated_pressure_ratio, active_share, share_exponent):
    """Manifold pressure the turbocharger settles at while the engine brake works.

    Parameters
    ----------
    speed : float
        Engine speed. [rad/s]
    ambient_pressure : float
        Absolute. [Pa]
    rated_pressure_ratio : float
        Manifold over ambient pressure at 2100 rpm with all cylinders working: the one number that makes a 400, 500 or
        600 hp class. [-]
    active_share : float
        Working cylinders over all cylinders, 0 to 1. [-]
    share_exponent : float
        Weakening with fewer cylinders; 0 for none, 0.4 assumed. [-]

    Returns
    -------
    pressure : float
        Absolute, never below ambient. [Pa]

    Notes
    -----
    p1 = p_amb [1 + (p_R - 1) ((n - 600)/1500)^1.3 (N/6)^x], n in rpm. Proportional to ambient pressure: an upper bound of
    the loss with altitude.

    References
    ----------
    [1] Schedule: choice of this project; falls with speed as the published point of fall-off about n^1.5 to n² (from memory).

    Examples
    --------
    >>> round(braking_boost_target(2100.0 * math.pi / 30.0, 1.0e5, 2.44, 1.0, 0.4))
    244000
    """
    place = (speed * 30.0 / math.pi - 600.0) / 1500.0
    if place <= 0.0 or active_share <= 0.0:
        return ambient_pressure
    rise = (rated_pressure_ratio - 1.0) * math.pow(place, 1.3)
    if share_exponent != 0.0 and active_share < 1.0:
        rise *= math.pow(active_share, share_exponent)
    return ambient_pressure * (1.0 + rise)
