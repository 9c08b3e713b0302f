"""How people read the quantities and the varied keys of a study.

Here `name` is a quantity of `sim.studies.quantities`, `key` a varied `table.key`, or truck, road, settings or case, and
`units` what people read: metric or us, and for texts both too.
"""

from typing import Any

import numpy as np

from sim.studies.quantities import QUANTITIES
from sim.studies.question import WORDS
from sim.units import SYSTEMS, beside, key_shown, key_to_si, shown_unit, shown_value, unit_of_key
from sim.wording import Amount, Given

# ---------------------------------------------------------------- quantities


def is_clocked(name: str) -> bool:
    """Whether a quantity is read as minutes and seconds."""
    return QUANTITIES[name][1] == "clock"


def kind_of(name: str) -> str:
    """What a quantity is, as `sim.units` names it; a clock shows seconds."""
    return "time" if is_clocked(name) else QUANTITIES[name][1]


def amount(name: str, value: float | None) -> Amount:
    """A value of a quantity.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]
    """
    kind = QUANTITIES[name][1]
    return Amount(None if value is None else key_to_si(float(value), name), kind, _digits(kind, value))


def difference(name: str, value: float | None) -> Amount:
    """A difference of two values of a quantity, with its sign.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]
    """
    kind = "temperature rise" if QUANTITIES[name][1] == "temperature" else QUANTITIES[name][1]
    si = None if value is None else key_to_si(float(value), name) - key_to_si(0.0, name)
    return Amount(si, kind, _digits(kind, value), "difference")


def _digits(kind: str, value: float | None) -> int | None:
    """Digits that differ from what is usual: shares are told finely, a mean of whole numbers shows that it is one."""
    if kind == "share":
        return 1
    return 1 if kind == "number" and value is not None and not float(value).is_integer() else None


def quantity_text(name: str, value: float | None, units: str, with_unit: bool = True) -> str:
    """A value of a quantity as people read it.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]
    with_unit : bool
        Whether the unit follows the number.

    Examples
    --------
    >>> quantity_text("max_brake_temperature_c", 260.0, "both"), quantity_text("time_s", 75.4, "us")
    ('260 °C (500 °F)', '1:15')
    >>> quantity_text("gear_shifts", 12.0, "metric"), quantity_text("gear_shifts", None, "metric")
    ('12', '-')
    """
    return amount(name, value).text(units, with_unit)


def difference_text(name: str, value: float | None, units: str) -> str:
    """A difference of two values of a quantity as people read it, with its sign.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]

    Examples
    --------
    >>> difference_text("max_brake_temperature_c", -10.0, "both"), difference_text("time_s", 3.0, "us")
    ('-10 K (-18 °F)', '+3.0 s')
    """
    return difference(name, value).text(units)


def in_shown_unit(name: str, values: Any, units: str, apart: bool = False) -> Any:
    """A quantity in the unit it is shown in.

    Parameters
    ----------
    values : float or array
        [unit of the quantity]
    apart : bool
        Whether it is a difference of two values, which no zero point shifts.

    Returns
    -------
    values : float or array
        [unit shown]

    Examples
    --------
    >>> [round(in_shown_unit("max_brake_temperature_c", 100.0, "us", apart), 6) for apart in (False, True)]
    [212.0, 180.0]
    """
    kind = kind_of(name)
    nothing = shown_value(key_to_si(0.0, name), kind, units) if apart else 0.0
    return shown_value(key_to_si(values, name), kind, units) - nothing


def quantity_title(name: str, units: str) -> str:
    """Words and unit of a quantity, as an axis or a column is called.

    Examples
    --------
    >>> quantity_title("fuel_l_per_100km", "metric"), quantity_title("gear_shifts", "us")
    ('fuel, L/100 km', 'gear shifts')
    """
    return _titled(QUANTITIES[name][0], shown_unit(kind_of(name), units))


def _titled(words: str, unit: str) -> str:
    """Words, and behind a comma their unit where there is one."""
    return f"{words}, {unit}" if unit else words


# ---------------------------------------------------------------- keys


def key_title(key: str, units: str) -> str:
    """A varied key in words with its unit.

    Examples
    --------
    >>> key_title("cruise.set_speed_km_h", "us"), key_title("vehicle.mass_kg", "metric"), key_title("road", "us")
    ('set speed, mi/h', 'vehicle mass, kg', 'road')
    """
    return _titled(key_words(key), key_unit(key, units))


def key_unit(key: str, units: str) -> str:
    """The unit a varied key is shown in; empty for a plain number or a text."""
    if units not in SYSTEMS:
        return beside(*(key_unit(key, system) for system in SYSTEMS))
    return key_shown(key.rpartition(".")[2], units)[0]


def key_words(key: str) -> str:
    """A varied key in words, without its unit.

    Examples
    --------
    >>> key_words("driveline.axle_ratio"), key_words("retarding.switch")
    ('axle ratio', 'retarding switch')
    """
    table, _, name = key.rpartition(".")
    unit = unit_of_key(name)
    words = name.removesuffix(f"_{unit}") if unit else name
    words = words.replace("_", " ")
    return words if " " in words or not table else f"{table.replace('_', ' ')} {words}"


def key_in_shown_unit(key: str, value: Any, units: str, apart: bool = False) -> Any:
    """A number of a key in the unit it is shown in.

    Parameters
    ----------
    value : float or array
        [unit of the key]
    apart : bool
        Whether it is a difference of two values.

    Returns
    -------
    value : float or array
        [unit shown]
    """
    _, factor, offset = key_shown(key.rpartition(".")[2], units)
    return value * factor + (0.0 if apart else offset)


def key_amount(key: str, value: Any) -> Given | str:
    """A value of a varied key: a number of a key, or a text.

    Parameters
    ----------
    value : Any
        Number or text in the unit of the key. [unit of the key]
    """
    if isinstance(value, bool | np.bool_):
        return str(value).lower()
    try:
        number = float("" if key in (*WORDS, "case") else value)
    except (TypeError, ValueError):
        return str(value) or "defaults"
    return Given(key, number)


def key_text(key: str, value: Any, units: str) -> str:
    """A value of a varied key as people read it, with its unit.

    Parameters
    ----------
    value : Any
        Number or text in the unit of the key. [unit of the key]

    Examples
    --------
    >>> key_text("cruise.set_speed_km_h", "80", "both"), key_text("road", "ollen-pass", "us")
    ('80 km/h (49.71 mi/h)', 'ollen-pass')
    """
    given = key_amount(key, value)
    return given.text(units) if isinstance(given, Given) else given
