"""Physical constants and conversions at the edges; everything inside `sim` is SI.

Conversion factors are exact by definition unless a line says otherwise: International yard and pound agreement of 1959
(foot 0.3048 m, pound 0.45359237 kg), NIST Special Publication 811 (2008), appendix B.8.
"""

import math
import re
from functools import cache

from sim.messages import values as value_messages

STANDARD_GRAVITY = 9.80665  # m/s2, 40 CFR 1036.545(f)(3)
CELSIUS_ZERO = 273.15  # K
FOOT = 0.3048  # m
MILE = 1609.344  # m
POUND = 0.45359237  # kg
POUND_FORCE = POUND * STANDARD_GRAVITY  # N
HORSEPOWER = 550.0 * FOOT * POUND_FORCE  # W, 550 ft lbf/s
POUND_FOOT = POUND_FORCE * FOOT  # N m
POUND_PER_SQUARE_INCH = POUND_FORCE / 0.0254**2  # Pa
US_GALLON = 3.785411784e-3  # m3
MILE_PER_HOUR = MILE / 3600.0  # m/s
KILOMETRE_PER_HOUR = 1.0 / 3.6  # m/s
REVOLUTION_PER_MINUTE = 2.0 * math.pi / 60.0  # rad/s
BAR = 1.0e5  # Pa
SEA_LEVEL_PRESSURE = 101325.0  # Pa, International Standard Atmosphere
SEA_LEVEL_TEMPERATURE = 288.15  # K, International Standard Atmosphere

# unit as it ends a key -> (spellings accepted after a number, factor to SI, offset to SI)
_UNITS: dict[str, tuple[tuple[str, ...], float, float]] = {
    "km_h": (("km/h", "kmh", "kph"), KILOMETRE_PER_HOUR, 0.0),
    "mi_h": (("mph", "mi/h"), MILE_PER_HOUR, 0.0),
    "m_s": (("m/s",), 1.0, 0.0),
    "m_s2": (("m/s2",), 1.0, 0.0),
    "kg": (("kg",), 1.0, 0.0),
    "lb": (("lb", "lbs"), POUND, 0.0),
    "t": (("t",), 1000.0, 0.0),
    "m": (("m",), 1.0, 0.0),
    "km": (("km",), 1000.0, 0.0),
    "mi": (("mi",), MILE, 0.0),
    "ft": (("ft",), FOOT, 0.0),
    "mm": (("mm",), 1.0e-3, 0.0),
    "in": (("in",), 0.0254, 0.0),
    "c": (("C", "degC", "°C"), 1.0, CELSIUS_ZERO),
    "f": (("F", "degF", "°F"), 5.0 / 9.0, CELSIUS_ZERO - 32.0 * 5.0 / 9.0),
    "k": (("K",), 1.0, 0.0),
    "pa": (("Pa",), 1.0, 0.0),
    "kpa": (("kPa",), 1000.0, 0.0),
    "bar": (("bar",), BAR, 0.0),
    "psi": (("psi",), POUND_PER_SQUARE_INCH, 0.0),
    "w": (("W",), 1.0, 0.0),
    "kw": (("kW",), 1000.0, 0.0),
    "hp": (("hp",), HORSEPOWER, 0.0),
    "n_m": (("Nm", "N.m", "N m"), 1.0, 0.0),
    "lb_ft": (("lbft", "lb.ft", "lb ft"), POUND_FOOT, 0.0),
    "n": (("N",), 1.0, 0.0),
    "lbf": (("lbf",), POUND_FORCE, 0.0),
    "g_s": (("g/s",), 1.0e-3, 0.0),
    "lb_h": (("lb/h",), POUND / 3600.0, 0.0),
    "rpm": (("rpm",), REVOLUTION_PER_MINUTE, 0.0),
    "s": (("s",), 1.0, 0.0),
    "min": (("min",), 60.0, 0.0),
    "h": (("h",), 3600.0, 0.0),
    "percent": (("%", "percent"), 0.01, 0.0),
    "l": (("l", "L"), 1.0e-3, 0.0),
    "m2": (("m2",), 1.0, 0.0),
    "kg_m2": (("kg m2", "kg.m2"), 1.0, 0.0),
}
_SAME_KIND = (
    ("km_h", "mi_h", "m_s"),
    ("kg", "lb", "t"),
    ("m", "km", "mi", "ft", "mm", "in"),
    ("c", "f", "k"),
    ("pa", "kpa", "bar", "psi"),
    ("w", "kw", "hp"),
    ("n_m", "lb_ft"),
    ("s", "min", "h"),
)
# units that stand only above a `_per_`, with their factor to SI
_ABOVE = {"kn": 1000.0, "kj": 1000.0, "mj": 1.0e6}
# longest ending first, so that "_n_m" wins over "_m"
_ENDINGS = sorted(_UNITS, key=len, reverse=True)


@cache
def unit_of_key(key: str) -> str:
    """The unit in which a key of a file is written, read from the end of its name; compound units have none here.

    Parameters
    ----------
    key : str
        Name of a key, for example `mass_kg`.

    Returns
    -------
    unit : str
        Ending known to this module, "" when the key has none.

    Examples
    --------
    >>> unit_of_key("set_speed_km_h"), unit_of_key("teeth")
    ('km_h', '')
    """
    if "_per_" in key:
        return ""
    for ending in _ENDINGS:
        if key.endswith("_" + ending):
            return ending
    return ""


def to_si(value: float, unit: str) -> float:
    """A value given in a unit of the files, in SI.

    Parameters
    ----------
    value : float
        Number in `unit`. [unit]
    unit : str
        Ending as `unit_of_key` returns it; "" leaves the value as it is.

    Returns
    -------
    value : float
        [SI]

    Examples
    --------
    >>> to_si(36.0, "km_h"), to_si(20.0, "c")
    (10.0, 293.15)
    """
    if not unit:
        return value
    _, factor, offset = _UNITS[unit]
    return value * factor + offset


def key_to_si(value: float, key: str) -> float:
    """A value of a key of a file in SI; a compound unit is taken factor by factor, and a bare count above `_per_` as it is.

    Parameters
    ----------
    value : float
        Number as the file gives it. [unit of the key]

    Returns
    -------
    value : float
        [SI]

    Examples
    --------
    >>> key_to_si(90.0, "thermostat_opens_c"), key_to_si(12.0, "gain_kn_per_bar"), key_to_si(2.0, "pulses_per_turn")
    (363.15, 0.12, 2.0)
    """
    above, *below = key.split("_per_")
    unit, ending = unit_of_key(above), above.rpartition("_")[2]
    if not below or not (unit or ending in _ABOVE):
        return to_si(value, unit)
    value *= _ABOVE[ending] if ending in _ABOVE else _UNITS[unit][1]
    for each in below:
        value /= _UNITS[each][1]
    return value


def from_si(value: float, unit: str) -> float:
    """An SI value in a unit of the files; the inverse of `to_si`.

    Parameters
    ----------
    value : float
        Number. [SI]
    unit : str
        Ending as `unit_of_key` returns it.

    Returns
    -------
    value : float
        [unit]

    Examples
    --------
    >>> from_si(10.0, "km_h")
    36.0
    """
    if not unit:
        return value
    _, factor, offset = _UNITS[unit]
    return (value - offset) / factor


def unit_name(unit: str) -> str:
    """A unit of a key as people write it.

    Parameters
    ----------
    unit : str
        Ending as `unit_of_key` returns it.

    Examples
    --------
    >>> unit_name("km_h"), unit_name("c")
    ('km/h', 'C')
    """
    return _UNITS[unit][0][0]


# the only form of a number that people type: digits 0 to 9, a point, an exponent
_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*")
_WHOLE = re.compile(r"\s*[+-]?[0-9]{1,15}\s*")


def number_in(text: str) -> float:
    """Reads a number that carries no unit.

    Parameters
    ----------
    text : str
        As a person typed it.

    Raises
    ------
    ValueError
        The text is no number.

    Examples
    --------
    >>> number_in(" 2.5 "), number_in("-1e3")
    (2.5, -1000.0)
    """
    match = _NUMBER.fullmatch(text)
    if not match or match.group(2):
        raise ValueError(value_messages.not_a_number())
    return float(match.group(1))


def whole_number_in(text: str) -> int:
    """Reads a whole number of at most 15 digits.

    Parameters
    ----------
    text : str
        As a person typed it.

    Raises
    ------
    ValueError
        The text is no such number.

    Examples
    --------
    >>> whole_number_in(" 12 "), whole_number_in("-3")
    (12, -3)
    """
    if not _WHOLE.fullmatch(text):
        raise ValueError(value_messages.not_a_number())
    return int(text)


def quantity_in(text: str, unit: str) -> float:
    """Reads "60mph" or "95" as a number in the unit of its key.

    Parameters
    ----------
    text : str
        A number, with or without a unit after it.
    unit : str
        Unit of the key, as `unit_of_key` returns it.

    Returns
    -------
    value : float
        [unit]

    Raises
    ------
    ValueError
        The text is no number, or its unit does not measure the same thing.

    Examples
    --------
    >>> round(quantity_in("60mph", "km_h"), 3)
    96.561
    >>> quantity_in("95", "km_h")
    95.0
    """
    match = _NUMBER.fullmatch(text)
    if not match:
        raise ValueError(value_messages.not_a_number())
    value, given = float(match.group(1)), match.group(2)
    if not given:
        return value
    kind = next((group for group in _SAME_KIND if unit in group), (unit,) if unit else ())
    for candidate in kind:
        if given in _UNITS[candidate][0]:
            return value if candidate == unit else from_si(to_si(value, candidate), unit)
    accepted = [spelling for candidate in kind for spelling in _UNITS[candidate][0]]
    if not accepted:
        raise ValueError(value_messages.no_unit_taken(given=given))
    raise ValueError(value_messages.wrong_unit(given=given, accepted=accepted))


def clock_time(seconds: float) -> str:
    """Minutes and seconds, with hours when there are any.

    Parameters
    ----------
    seconds : float
        [s]

    Returns
    -------
    text : str
        [min:s]

    Examples
    --------
    >>> clock_time(75.4), clock_time(3661.0)
    ('1:15', '1:01:01')
    """
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
