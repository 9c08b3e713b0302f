"""Physical constants and conversions at the edges; everything inside `sim` is SI.

Conversion factors are exact by definition unless a line says otherwise: International yard and pound agreement of 1959
(foot 0.3048 m, pound 0.45359237 kg), NIST Special Publication 811 (2008), appendix B.8.
"""

import math
import re
from functools import cache
from typing import Any

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
INCH_OF_WATER = 1000.0 * STANDARD_GRAVITY * 0.0254  # Pa, conventional
US_GALLON = 3.785411784e-3  # m3
BRITISH_THERMAL_UNIT = 1055.05585262  # J, International Table, NIST SP 811, appendix B.8
MILE_PER_HOUR = MILE / 3600.0  # m/s
KILOMETRE_PER_HOUR = 1.0 / 3.6  # m/s
REVOLUTION_PER_MINUTE = 2.0 * math.pi / 60.0  # rad/s
BAR = 1.0e5  # Pa
LITRE_PER_100KM = 1.0e-8  # m3/m
GRAM_PER_KILOWATT_HOUR = 1.0e-3 / 3.6e6  # kg/J
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
    "inh2o": (("inH2O",), INCH_OF_WATER, 0.0),
    "w": (("W",), 1.0, 0.0),
    "kw": (("kW",), 1000.0, 0.0),
    "hp": (("hp",), HORSEPOWER, 0.0),
    "n_m": (("Nm", "N.m", "N m"), 1.0, 0.0),
    "lb_ft": (("lbft", "lb.ft", "lb ft"), POUND_FOOT, 0.0),
    "n": (("N",), 1.0, 0.0),
    "kn": (("kN",), 1000.0, 0.0),
    "lbf": (("lbf",), POUND_FORCE, 0.0),
    "j": (("J",), 1.0, 0.0),
    "kj": (("kJ",), 1000.0, 0.0),
    "mj": (("MJ",), 1.0e6, 0.0),
    "btu": (("Btu",), BRITISH_THERMAL_UNIT, 0.0),
    "ft_s2": (("ft/s2",), FOOT, 0.0),
    "g_s": (("g/s",), 1.0e-3, 0.0),
    "kg_s": (("kg/s",), 1.0, 0.0),
    "lb_h": (("lb/h",), POUND / 3600.0, 0.0),
    "rpm": (("rpm",), REVOLUTION_PER_MINUTE, 0.0),
    "s": (("s",), 1.0, 0.0),
    "min": (("min",), 60.0, 0.0),
    "h": (("h",), 3600.0, 0.0),
    "percent": (("%", "percent"), 0.01, 0.0),
    "l": (("l", "L"), 1.0e-3, 0.0),
    "l_min": (("L/min",), 1.0e-3 / 60.0, 0.0),
    "m2": (("m2",), 1.0, 0.0),
    "cm2": (("cm2",), 1.0e-4, 0.0),
    "kg_m2": (("kg m2", "kg.m2"), 1.0, 0.0),
    "g_kwh": (("g/kWh",), GRAM_PER_KILOWATT_HOUR, 0.0),
    "l_per_100km": (("L/100 km",), LITRE_PER_100KM, 0.0),
    "mpg_us": (("mi/gal",), MILE / US_GALLON, 0.0),
}
_SAME_KIND = (
    ("km_h", "mi_h", "m_s"),
    ("kg", "lb", "t"),
    ("m", "km", "mi", "ft", "mm", "in"),
    ("c", "f", "k"),
    ("pa", "kpa", "bar", "psi", "inh2o"),
    ("w", "kw", "hp"),
    ("n_m", "lb_ft"),
    ("n", "kn", "lbf"),
    ("j", "kj", "mj", "btu"),
    ("m_s2", "ft_s2"),
    ("s", "min", "h"),
)
# longest ending first, so that "_n_m" wins over "_m"
_ENDINGS = sorted(_UNITS, key=len, reverse=True)


@cache
def unit_of_key(key: str) -> str:
    """The unit in which a key of a file is written, read from the end of its name; most compound units have none here.

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
    ending = next((each for each in _ENDINGS if key.endswith("_" + each)), "")
    return ending if "_per_" not in key or "_per_" in ending else ""


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
    unit = unit_of_key(above)
    if unit_of_key(key) or not unit:
        return to_si(value, unit_of_key(key))
    value *= _UNITS[unit][1]
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
    accepted = spellings(unit)
    if given in accepted:
        return value if accepted[given] == unit else from_si(to_si(value, accepted[given]), unit)
    if not accepted:
        raise ValueError(value_messages.no_unit_taken(given=given))
    raise ValueError(value_messages.wrong_unit(given=given, accepted=list(accepted)))


def spellings(unit: str) -> dict[str, str]:
    """What may stand after a number that is to be in a unit of the files.

    Returns
    -------
    units : dict of str to str
        Unit of the files by its spelling; empty where no unit is taken.

    Examples
    --------
    >>> spellings("km_h")["mph"], spellings("")
    ('mi_h', {})
    """
    kind = next((group for group in _SAME_KIND if unit in group), (unit,) if unit else ())
    return {spelling: each for each in kind for spelling in _UNITS[each][0]}


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
    hours, rest = divmod(abs(round(seconds)), 3600)
    text = f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
    return f"-{text}" if round(seconds) < 0 else text


# ---------------------------------------------------------------- quantities as people read them

# kind of quantity | metric unit and digits | US unit and digits | what is said after the unit
_KINDS = {
    row.split("|")[0].strip(): tuple(cell.strip() for cell in row.split("|")[1:])
    for row in """
    speed             | km_h    1 | mi_h    1 |
    engine speed      | rpm     0 | rpm     0 |
    distance          | km      1 | mi      1 |
    height            | m       0 | ft      0 |
    short length      | m       1 | ft      1 |
    thickness         | mm      1 | in      2 |
    temperature       | c       0 | f       0 |
    temperature rise  | k       0 | f_rise  0 |
    absolute pressure | kpa     0 | psi     1 | absolute
    gauge pressure    | kpa     0 | psi     1 | gauge
    pressure difference | kpa   0 | psi     1 |
    brake pressure    | bar     1 | psi     0 | gauge
    restriction       | kpa     1 | inh2o   1 |
    gas flow          | l_min   0 | ft3_min 1 |
    force             | kn      1 | lbf     0 |
    large force       | kn      1 | klbf    1 |
    mass              | kg      0 | lb      0 |
    large mass        | t       1 | klb     1 |
    fuel mass         | kg      2 | lb      2 |
    power             | kw      0 | hp      0 |
    torque            | n_m     0 | lb_ft   0 |
    heat              | kj      0 | btu     0 |
    energy            | mj      1 | kbtu    1 |
    fuel rate         | g_s     1 | lb_h    0 |
    specific fuel     | g_kwh   0 | lb_hph  3 |
    consumption       | l_per_100km 1 | mi_gal 2 |
    fuel use          | l_per_100km 2 | gal_100mi 2 |
    fuel economy      | mpg_us  2 | mpg_us  2 |
    acceleration      | m_s2    2 | ft_s2   2 |
    time              | s       1 | s       1 |
    duration          | min     1 | min     1 |
    share             | percent 0 | percent 0 |
    grade             | percent 1 | percent 1 |
    number            | plain   0 | plain   0 |
    voltage           | v       2 | v       2 |
    frequency         | hz      1 | hz      1 |
    resistance        | ohm     1 | ohm     1 |
    """.strip().splitlines()
}

# pieces of compound units that no key ends with: how they are written, factor to SI, offset to SI
_PIECES = {
    "n_m_s": ("N m s", 1.0, 0.0),
    "g": ("g", 1.0e-3, 0.0),
    "mm2": ("mm²", 1.0e-6, 0.0),
    "rad": ("rad", 1.0, 0.0),
    "mile": ("mile", MILE, 0.0),
    "pulses": ("pulses", 1.0, 0.0),
    "1000_rpm": ("1000 rpm", 1000.0 * REVOLUTION_PER_MINUTE, 0.0),
}
# unit of a key -> unit in which readers of US units are shown what it says; all others are everybody's
_FOR_US = {
    "km_h": "mi_h", "m_s": "mi_h", "m_s2": "ft_s2", "kg": "lb", "g": "lb", "m": "ft", "mm": "in", "m2": "ft2", "kg_m2": "lb_ft2",
    "l": "gal", "c": "f", "k": "f_rise", "kpa": "psi", "bar": "psi", "kn": "lbf", "n_m": "lb_ft", "n_m_s": "lb_ft_s", "w": "hp",
    "kw": "hp", "kj": "btu", "mj": "kbtu", "g_per_s": "lb_h", "w_per_": "btu_per_h", "kw_per_": "btu_per_h",
}  # fmt: skip

# units that are only shown: how they are written, factor to SI, offset to SI
_SHOWN = {
    "plain": ("", 1.0, 0.0),
    "v": ("V", 1.0, 0.0),
    "hz": ("Hz", 1.0, 0.0),
    "ohm": ("ohm", 1.0, 0.0),
    "c": ("°C", 1.0, CELSIUS_ZERO),
    "f": ("°F", 5.0 / 9.0, CELSIUS_ZERO - 32.0 * 5.0 / 9.0),
    "mi_h": ("mi/h", MILE_PER_HOUR, 0.0),
    "n_m": ("N m", 1.0, 0.0),
    "lb_ft": ("lb ft", POUND_FOOT, 0.0),
    "m_s2": ("m/s²", 1.0, 0.0),
    "ft_s2": ("ft/s²", FOOT, 0.0),
    "f_rise": ("°F", 5.0 / 9.0, 0.0),
    "klbf": ("1000 lbf", 1000.0 * POUND_FORCE, 0.0),
    "klb": ("1000 lb", 1000.0 * POUND, 0.0),
    "kbtu": ("1000 Btu", 1000.0 * BRITISH_THERMAL_UNIT, 0.0),
    "lb_hph": ("lb/(hp h)", POUND / (HORSEPOWER * 3600.0), 0.0),
    "gal_100mi": ("gal/100 mi", US_GALLON / (100.0 * MILE), 0.0),
    "mi_gal": ("mi/gal", MILE / US_GALLON, 0.0),
    "ft3_min": ("ft³/min", FOOT**3 / 60.0, 0.0),
    "m2": ("m²", 1.0, 0.0),
    "ft2": ("ft²", FOOT**2, 0.0),
    "kg_m2": ("kg m²", 1.0, 0.0),
    "lb_ft2": ("lb ft²", POUND * FOOT**2, 0.0),
    "gal": ("gal", US_GALLON, 0.0),
    "lb_ft_s": ("lb ft s", POUND_FOOT, 0.0),
} | _PIECES
_UPSIDE_DOWN = {"mi_gal"}  # way over fuel where the other is fuel over way
SYSTEMS = ("metric", "us")


def _written(unit: str) -> tuple[str, float, float]:
    """How a unit is written when it is shown, factor and offset to SI."""
    return _SHOWN.get(unit) or (unit_name(unit), *_UNITS[unit][1:])


def _shown_in(kind: str, units: str) -> tuple[str, float, float, bool, int, str]:
    """How the unit of a quantity is written, factor and offset, whether it is upside down, digits, and what is said after it."""
    metric, us, after = _KINDS[kind]
    unit, digits = (us if units == "us" else metric).split()
    return *_written(unit), unit in _UPSIDE_DOWN, int(digits), after


def shown_value(value: float, kind: str, units: str) -> float:
    """A quantity in the unit in which readers of a system of units are shown it.

    Parameters
    ----------
    value : float or array
        [SI]
    kind : str
        One of `quantity_kinds`.
    units : str
        metric or us.

    Returns
    -------
    value : float or array
        [as shown]

    Examples
    --------
    >>> shown_value(25.0, "speed", "metric"), round(shown_value(25.0, "speed", "us"), 2)
    (90.0, 55.92)
    >>> round(shown_value(3.5e-7, "consumption", "metric"), 1), round(shown_value(3.5e-7, "consumption", "us"), 2)
    (35.0, 6.72)
    """
    _, factor, offset, upside_down, _, _ = _shown_in(kind, units)
    return (1.0 / value if upside_down else value - offset) / factor


def shown_unit(kind: str, units: str) -> str:
    """How the unit of a quantity is written for readers of a system of units, or of both; pressures say from where they count.

    Examples
    --------
    >>> shown_unit("gauge pressure", "us"), shown_unit("temperature", "both"), shown_unit("time", "both")
    ('psi gauge', '°C (°F)', 's')
    """
    if units not in SYSTEMS:
        return beside(*(shown_unit(kind, system) for system in SYSTEMS))
    written, _, _, _, _, after = _shown_in(kind, units)
    return f"{written} {after}" if after else written


def headed(words: str, unit: str) -> str:
    """The heading of a column of a CSV file for people: words, and their unit where there is one."""
    return f"{words} [{unit}]" if unit else words


def beside(metric: str, us: str) -> str:
    """A text for readers of both systems of units: one of them only, where they are the same."""
    return metric if metric == us else f"{metric} ({us})"


def number_text(value: float, kind: str, units: str, digits: int | None = None) -> str:
    """A quantity without its unit, as readers of a system of units read it.

    Parameters
    ----------
    value : float
        [SI]
    kind : str
        One of `quantity_kinds`.
    units : str
        metric, us, or both.
    digits : int or None
        After the point; None for what is usual.

    Returns
    -------
    text : str
        A hyphen where there is no such number: no fuel goes no number of miles a gallon.

    Examples
    --------
    >>> number_text(533.15, "temperature", "both"), number_text(25.0, "speed", "us", 0), number_text(-0.001, "height", "us")
    ('260 (500)', '56', '0')
    """
    if units not in SYSTEMS:
        return beside(*(number_text(value, kind, system, digits) for system in SYSTEMS))
    *_, upside_down, usual, _ = _shown_in(kind, units)
    if upside_down and not value:
        return "-"
    text = f"{shown_value(value, kind, units):.{usual if digits is None else digits}f}"
    return text if text.strip("-0.") else text.removeprefix("-")


def quantity_text(value: float, kind: str, units: str, digits: int | None = None) -> str:
    """A quantity with its unit; parameters as those of `number_text`.

    Examples
    --------
    >>> quantity_text(533.15, "temperature", "both"), quantity_text(25.0, "speed", "us", 0)
    ('260 °C (500 °F)', '56 mi/h')
    """
    if units not in SYSTEMS:
        return beside(*(quantity_text(value, kind, system, digits) for system in SYSTEMS))
    return f"{number_text(value, kind, units, digits)} {shown_unit(kind, units)}".rstrip()


def spread_text(value: float, kind: str, units: str) -> str:
    """How far a quantity may be off, to two figures and without its unit; parameters as those of `number_text`.

    Examples
    --------
    >>> spread_text(6.0, "temperature", "us"), spread_text(12000.0, "gauge pressure", "both")
    ('11', '12 (1.7)')
    """
    if units not in SYSTEMS:
        return beside(*(spread_text(value, kind, system) for system in SYSTEMS))
    return f"{float(f'{value / _shown_in(kind, units)[1]:.2g}'):g}"


def kind_of_unit(unit: str) -> str:
    """What is measured in a unit of the files: the first kind that readers of metric units are shown in it, "number" without one.

    Examples
    --------
    >>> kind_of_unit("km_h"), kind_of_unit("c"), kind_of_unit("")
    ('speed', 'temperature', 'number')
    """
    return next((kind for kind, (metric, _, _) in _KINDS.items() if metric.split()[0] == unit), "number")


def quantity_kinds() -> dict[str, dict[str, list[object]]]:
    """The table of quantities, as the browser is sent it.

    Returns
    -------
    kinds : dict
        By kind and system of units: factor and offset to SI, whether it is upside down, digits, unit as written.
    """
    found: dict[str, dict[str, list[object]]] = {}
    for kind in _KINDS:
        found[kind] = {}
        for units in SYSTEMS:
            _, factor, offset, upside_down, digits, _ = _shown_in(kind, units)
            found[kind][units] = [factor, offset, upside_down, digits, shown_unit(kind, units)]
    return found


# ---------------------------------------------------------------- values of keys as people read them


@cache
def key_shown(key: str, units: str) -> tuple[str, float, float]:
    """How readers of a system of units are shown what a key of a file says, compound units too.

    Parameters
    ----------
    key : str
        Name of a key, for example `mass_kg`.
    units : str
        metric, which is as the file has it, or us.

    Returns
    -------
    unit : str
        As people write it; empty for a plain number or a text.
    factor : float
        From the unit of the file.
    offset : float
        From the unit of the file, after the factor.

    Examples
    --------
    >>> key_shown("cooling_w_per_k_per_m_s", "metric")
    ('W/(K m/s)', 1.0, 0.0)
    >>> key_shown("gain_kn_per_bar", "us")[0], key_shown("teeth", "us")
    ('lbf/psi', ('', 1.0, 0.0))
    """
    first, *below = key.split("_per_")
    known = sorted({*_UNITS, *_PIECES}, key=len, reverse=True) if below else _ENDINGS
    above = next((unit for unit in known if f"_{first}".endswith(f"_{unit}")), "")
    if not above:
        return "", 1.0, 0.0
    pieces = shown = [above, *below]
    if units == "us":
        whole = _FOR_US.get("_per_".join(pieces))
        over = _FOR_US.get(f"{above}_per_", _FOR_US.get(above, above)).split("_per_")
        shown = [whole] if whole else [*over, *(_FOR_US.get(each, each) for each in below)]
    (_, own, start), (written, factor, offset) = _product(pieces), _product(shown)
    return written, own / factor, round((start - offset) / factor, 9)


def _product(pieces: list[str]) -> tuple[str, float, float]:
    """A unit over others: how it is written, factor and offset to SI."""
    (above, factor, offset), *below = [
        _written(each) if each in _SHOWN or each in _UNITS else (each, 1.0, 0.0) for each in pieces
    ]
    for _, each, _ in below:
        factor /= each
    names = " ".join(name for name, _, _ in below)
    return above + (f"/({names})" if len(below) > 1 else f"/{names}" if below else ""), factor, offset


def key_value(value: Any, key: str, units: str) -> Any:
    """What a key of a file says, in the unit in which readers of a system of units are shown it.

    Parameters
    ----------
    value : any
        Numbers and lists of them are converted, to five digits; all else is left as it is. [unit of the key]

    Returns
    -------
    value : any
        [as shown]

    Examples
    --------
    >>> key_value((1000.0, 1500.0), "full_load_torque_n_m", "us"), key_value("snub", "style", "us")
    ((737.56, 1106.3), 'snub')
    """
    _, factor, offset = key_shown(key, units)
    if isinstance(value, tuple):
        return tuple(key_value(each, key, units) for each in value)
    if not isinstance(value, float) or (factor, offset) == (1.0, 0.0):
        return value
    return float(f"{value * factor + offset:.5g}")
