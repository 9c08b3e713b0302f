"""Rules of thumb as the trade prints them, in the units they are printed in: second opinions, which no trip uses."""

from sim.compiled import compiled


@compiled
def startability(torque, ratio, tyre_revolutions, weight):
    """Steepest grade on which a truck is said to start, by the trade's rule.

    Parameters
    ----------
    torque : float
        Of the engine where the clutch takes hold. [lb ft]
    ratio : float
        Lowest gear times axle. [-]
    tyre_revolutions : float
        Of the drive tyres on one mile. [1/mi]
    weight : float
        Gross weight, above 0. [lb]

    Returns
    -------
    grade : float
        [%]

    Notes
    -----
    S = T R M/(10.7 W). A torque at the clutch makes the force 2 pi T R M/5280 at the tyres, in percent of the weight
    T R M/(8.403 W); the 10.7 of the rule keeps 0.785 of it, for losses, tyres and a margin that the rule does not name.

    References
    ----------
    [1] Common practice, no source.

    Examples
    --------
    >>> round(startability(1200.0, 14.4 * 3.70, 504.0, 80000.0), 2)
    37.64
    """
    return torque * ratio * tyre_revolutions / (10.7 * weight)
