"""Numbers as a reader is shown them, in the units chosen, and the ends of the axes they lie on. Loads no drawing library."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from sim.units import from_si

# kind of quantity -> its unit (ending as in sim.units), how it is written, and a factor taken out of it; metric and US
KINDS: dict[str, dict[str, tuple[str, str, float]]] = {
    "distance": {"metric": ("km", "km", 1.0), "us": ("mi", "mi", 1.0)},
    "height": {"metric": ("m", "m", 1.0), "us": ("ft", "ft", 1.0)},
    "length": {"metric": ("m", "m", 1.0), "us": ("ft", "ft", 1.0)},
    "speed": {"metric": ("km_h", "km/h", 1.0), "us": ("mi_h", "mi/h", 1.0)},
    "force": {"metric": ("n", "kN", 1000.0), "us": ("lbf", "1000 lbf", 1000.0)},
    "mass": {"metric": ("t", "t", 1.0), "us": ("lb", "1000 lb", 1000.0)},
    "weight": {"metric": ("kg", "kg", 1.0), "us": ("lb", "lb", 1.0)},
    "fuel": {"metric": ("kg", "kg", 1.0), "us": ("lb", "lb", 1.0)},
    "time": {"metric": ("s", "s", 1.0), "us": ("s", "s", 1.0)},
    "engine_speed": {"metric": ("rpm", "rpm", 1.0), "us": ("rpm", "rpm", 1.0)},
    "grade": {"metric": ("percent", "%", 1.0), "us": ("percent", "%", 1.0)},
    "temperature": {"metric": ("c", "\N{DEGREE SIGN}C", 1.0), "us": ("f", "\N{DEGREE SIGN}F", 1.0)},
}


def shown(values: Any, kind: str, units: str) -> np.ndarray:
    """Numbers of a quantity as a reader is shown them.

    Parameters
    ----------
    values : array or float
        [SI]
    kind : str
        One of `KINDS`.
    units : str
        metric or us.

    Returns
    -------
    values : array
        [as shown]

    Examples
    --------
    >>> float(shown(25.0, "speed", "metric")), round(float(shown(25.0, "speed", "us")), 2)
    (90.0, 55.92)
    """
    unit, _, factor = KINDS[kind][units]
    return np.asarray(from_si(np.asarray(values, dtype=float), unit)) / factor  # type: ignore[arg-type]


def unit_of(kind: str, units: str) -> str:
    """How the unit of a quantity is written.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    units : str
        metric or us.
    """
    return KINDS[kind][units][1]


def with_unit(value: float, kind: str, units: str, digits: int = 0) -> str:
    """A number with its unit.

    Parameters
    ----------
    value : float
        [SI]
    kind : str
        One of `KINDS`.
    units : str
        metric or us.
    digits : int
        Behind the point.

    Returns
    -------
    text : str
        [as shown]

    Examples
    --------
    >>> with_unit(25.0, "speed", "metric"), with_unit(1609.344, "distance", "us", 1), with_unit(36287.0, "weight", "metric")
    ('90 km/h', '1.0 mi', '36,287 kg')
    """
    text = f"{float(shown(value, kind, units)):{',' if kind == 'weight' else ''}.{digits}f}"
    return f"{text.removeprefix('-') if not text.strip('-0.') else text} {unit_of(kind, units)}"


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
