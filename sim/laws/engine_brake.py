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
