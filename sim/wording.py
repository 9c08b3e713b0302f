"""What the program has to say as data, and the one place where it becomes words.

A finding is a kind and the quantities that belong to it, in SI units. Its words stand in `catalogue/wording/english.toml`, where
`{name:speed}` is a quantity of `sim.units` in the reader's system of units, `{name:speed.0}` the same with so many digits,
`{name:clock}` a time as minutes and seconds, `{name}` a text, a whole number, another finding, or a list of them. What is
foreseen, explained and warned of are sentences; causes and endings are parts of one, and stand in other wordings. A translation
is a file.
"""

import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from sim.units import clock_time, quantity_text

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
    return value.data() if isinstance(value, Finding) else value


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
        if isinstance(value, list):
            return ", ".join(self.format_field(each, format_spec) for each in value)
        if not format_spec:
            return str(value)
        if format_spec == "clock":
            return clock_time(value)
        kind, _, digits = format_spec.partition(".")
        return quantity_text(value, kind, self._units, int(digits) if digits else None)
