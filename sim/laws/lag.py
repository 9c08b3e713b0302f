"""A quantity that follows another with a delay."""

from sim.compiled import compiled


@compiled
def lag_rate(value, target, lag):
    """How fast a quantity with a first-order lag approaches its target.

    Parameters
    ----------
    value : float
        Now. [any]
    target : float
        Where it settles. [any]
    lag : float
        Time constant, above 0: 63 % of the way is done after it, and a ramp is followed this much later. [s]

    Returns
    -------
    rate : float
        [any/s]

    Notes
    -----
    dx/dt = (x_t - x)/tau. For service brakes the truck travels `speed x lag` further than with brakes that bite at once.

    References
    ----------
    [1] US model commercial driver manual, 5.4 (seen second-hand): air-brake lag adds 32 ft at 55 mi/h, 0.40 s. Boost:
        0.5 to 2 s rising, 0.4 s falling (from memory).

    Examples
    --------
    >>> lag_rate(0.0, 2.0e5, 0.4)
    500000.0
    """
    return (target - value) / lag
