"""What the program has to say as data, and the one place where it becomes words.

A finding is a kind and the quantities that belong to it, in SI units. Its words stand in `catalogue/wording/english.toml`, where
`{name:speed}` is a quantity of `sim.units` in the reader's system of units, `{name:speed.0}` the same with so many digits,
`{name:clock}` a time as minutes and seconds, `{name:bare}` an amount without its unit, `{name}` a text, a whole number, an
amount, another finding, or a list of them. What is foreseen, explained and warned of are sentences; causes and endings are parts
of one, and stand in other wordings. A translation is a file.
"""

import math
import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from sim.units import SYSTEMS, beside, clock_time, key_shown, number_text, quantity_text

FOLDER = Path(__file__).parent / "catalogue" / "wording"
LANGUAGE = "english"


@dataclass(frozen=True)
class Finding:
    """Something the program has to say.

    Parameters
    ----------
    kind : str
        Its name in the wordings, `group.name`.
    values : dict
        Quantities, texts, whole numbers and other findings, by the names its wording uses. [SI]
    """

    kind: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def data(self) -> dict[str, Any]:
        """As it is written to a file or sent to a browser."""
        return {"kind": self.kind, "values": {key: as_data(value) for key, value in self.values.items()}}


@dataclass(frozen=True)
class Amount:
    """A quantity of which a wording cannot know what it is.

    Parameters
    ----------
    value : float or None
        [SI]
    kind : str
        As `sim.units` names it, or clock.
    digits : int or None
        After the point; None for what is usual.
    form : str
        usual, or "difference" for one with its sign.
    """

    value: float | None
    kind: str
    digits: int | None = None
    form: str = "usual"

    def data(self) -> dict[str, Any]:
        """As it is written to a file."""
        value = None if self.value is None or math.isnan(self.value) else self.value
        return {"value": value, "quantity": self.kind, "digits": self.digits, "form": self.form}

    def text(self, units: str, with_unit: bool = True) -> str:
        """The amount as readers of a system of units, or of both, read it; a hyphen for none.

        Examples
        --------
        >>> Amount(-10.0, "temperature rise", form="difference").text("both"), Amount(75.4, "clock").text("us")
        ('-10 K (-18 °F)', '1:15')
        """
        if self.value is None or math.isnan(self.value):
            return "-"
        if self.kind == "clock" and self.form == "usual":
            return clock_time(self.value)
        kind = "time" if self.kind == "clock" else self.kind
        text = (quantity_text if with_unit else number_text)(self.value, kind, units, self.digits)
        signed = self.form == "difference" and not text.startswith("-")
        return f"+{text}".replace("(", "(+") if signed else text


@dataclass(frozen=True)
class Given:
    """A value of a key of truck or settings, as somebody gave it.

    Parameters
    ----------
    key : str
        `table.key`.
    value : float
        [unit of the key]
    """

    key: str
    value: float

    def data(self) -> dict[str, Any]:
        """As it is written to a file."""
        return {"key": self.key, "value": self.value}

    def text(self, units: str) -> str:
        """The value as readers of a system of units, or of both, read it: four figures and the unit.

        Examples
        --------
        >>> Given("cruise.set_speed_km_h", 80.0).text("both"), Given("driveline.axle_ratio", 3.08).text("us")
        ('80 km/h (49.71 mi/h)', '3.08')
        """
        if units not in SYSTEMS:
            return beside(*(self.text(system) for system in SYSTEMS))
        unit, factor, offset = key_shown(self.key.rpartition(".")[2], units)
        shown = self.value * factor + offset
        return f"{shown:{'.4g' if abs(shown) < 1000.0 else '.0f'}} {unit}".rstrip()


def finding(kind: str, **values: Any) -> Finding:
    """A finding, its values by name.

    Parameters
    ----------
    kind : str
        Its name in the wordings.
    values : any
        [SI]
    """
    return Finding(kind, values)


def as_data(value: Any) -> Any:
    """A value of a finding as data."""
    if isinstance(value, list):
        return [as_data(each) for each in value]
    return value.data() if isinstance(value, Finding | Amount | Given) else value


@cache
def wordings(language: str = LANGUAGE) -> dict[str, str]:
    """The wording of every kind of finding, as the browser is sent it too."""
    with (FOLDER / f"{language}.toml").open("rb") as file:
        groups = tomllib.load(file)
    return {f"{group}.{kind}": text for group, kinds in groups.items() for kind, text in kinds.items()}


def said(given: Finding | Mapping[str, Any], units: str, language: str = LANGUAGE) -> str:
    """A finding in words.

    Parameters
    ----------
    given : Finding or mapping
        A finding, or what its `data` gave.
    units : str
        metric, us, or both.
    language : str
        Name of a file of wordings.

    Examples
    --------
    >>> said(finding("warning.rolled_back", way=3.0), "us")
    'The truck rolled back 9.8 ft.'
    """
    kind, values = (given.kind, given.values) if isinstance(given, Finding) else (given["kind"], given["values"])
    return _Reader(units, language).vformat(wordings(language)[kind], (), values)


def kinds_in(given: Any) -> set[str]:
    """The kinds of findings in data: of a finding itself, of those in its values, and of every one in a list."""
    if isinstance(given, Mapping):
        return kinds_in(list(given.values())) | ({given["kind"]} if "kind" in given else set())
    return set().union(*(kinds_in(each) for each in given)) if isinstance(given, list) else set()


def value_said(event: Mapping[str, Any], units: str) -> str:
    """The number that belongs to an event of a result, in words; empty without one."""
    return quantity_text(event["value"], event["quantity"], units) if event["quantity"] else ""


def event_name(event: Mapping[str, Any]) -> str:
    """What an event of a result is called."""
    return wordings()[f"event.{event['event']}"]


class _Reader(string.Formatter):
    """Puts values into a wording for readers of a system of units."""

    def __init__(self, units: str, language: str) -> None:
        self._units, self._language = units, language

    def format_field(self, value: Any, format_spec: str) -> str:
        """One value as words."""
        if isinstance(value, Finding) or (isinstance(value, Mapping) and "kind" in value):
            return said(value, self._units, self._language)
        if isinstance(value, Mapping):
            named = {("kind" if name == "quantity" else name): each for name, each in value.items()}
            value = Given(**named) if "key" in named else Amount(**named)
        if isinstance(value, Amount) and format_spec == "bare":
            return value.text(self._units, with_unit=False)
        if isinstance(value, Amount | Given):
            return value.text(self._units)
        if isinstance(value, list):
            return ", ".join(self.format_field(each, format_spec) for each in value)
        if not format_spec:
            return str(value)
        if format_spec == "clock":
            return clock_time(value)
        kind, _, digits = format_spec.partition(".")
        return quantity_text(value, kind, self._units, int(digits) if digits else None)
