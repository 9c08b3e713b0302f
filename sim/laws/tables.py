"""Reading a table that was resampled to even steps."""

from sim.compiled import compiled


@compiled
def table_value(table, first, per_step, x):
    """Linear interpolation in a table of evenly spaced points; beyond its ends the end value holds.

    Parameters
    ----------
    table : array
        Values at evenly spaced positions, shape (points,), at least two. [any]
    first : float
        Position of the first value. [unit of x]
    per_step : float
        One over the distance between positions, above 0. [1/unit of x]
    x : float
        Position asked for. [unit of table position]

    Returns
    -------
    value : float
        [unit of the table]

    Examples
    --------
    >>> import numpy as np
    >>> float(table_value(np.array([0.0, 10.0, 40.0]), 100.0, 0.02, 125.0))
    5.0
    """
    place = (x - first) * per_step
    last = table.shape[0] - 1
    if not place > 0.0:
        return table[0]
    if place >= last:
        return table[last]
    index = int(place)
    share = place - index
    return table[index] + share * (table[index + 1] - table[index])
