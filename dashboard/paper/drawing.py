"""Numbers as a reader is shown them, in the units chosen, and the ends of the axes they lie on. Loads no drawing library."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from sim.units import quantity_text, shown_value


def shown(values: Any, kind: str, units: str) -> np.ndarray:
    """Numbers of a quantity of `sim.units`, as readers of a system of units are shown them. [SI -> as shown]"""
    return np.asarray(shown_value(np.asarray(values, dtype=float), kind, units))  # type: ignore[arg-type]


def with_unit(value: float, kind: str, units: str, digits: int = 0) -> str:
    """A quantity with its unit, as `quantity_text`, without digits behind the point unless they are asked for."""
    return quantity_text(value, kind, units, digits)


def span_of(
    values: Iterable[np.ndarray | Sequence[float] | float], least: float, floor: float | None = None
) -> tuple[float, float]:
    """Range of an axis that shows all values, at least so wide, with some air.

    Parameters
    ----------
    values : iterable of arrays or floats
        [as shown]
    least : float
        [as shown]
    floor : float or None
        Lower end, when it is given. [as shown]

    Examples
    --------
    >>> span_of([[0.0, 10.0]], 20.0)
    (-6.2, 16.2)
    >>> span_of([[0.0, 10.0]], 5.0, 0.0)
    (0.0, 10.6)
    """
    flat = np.concatenate([np.zeros(0), *(np.atleast_1d(np.asarray(each, dtype=float)) for each in values)])
    flat = flat[np.isfinite(flat)]
    low, high = (float(flat.min()), float(flat.max())) if len(flat) else (0.0, least)
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    air = 0.06 * (high - low)
    low, high = round(low - air, 9), round(high + air, 9)
    return (floor, max(high, floor + least)) if floor is not None else (low, high)
