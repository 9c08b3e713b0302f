"""The published checks: what the laws of the trip give beside what is printed in standards, handbooks and worked examples.

rows.csv   the handbook rows, each with a class: computed by a law of the trip, or not used, and why
more.csv   further printed tables and worked values, in the same columns
laws.py    one small function per row that asks the laws

A row may hold several expected values, separated by ";"; each becomes a check of its own with a letter after its id.
"""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from string import ascii_lowercase
from typing import Literal, NamedTuple

TRIP_LAW, NOT_USED = "trip law", "not used"
CLASSES = (TRIP_LAW, NOT_USED)
FILES = ("rows.csv", "more.csv")
TIE = 1.0 + 1.0e-9  # a value that lies half a digit away agrees, whatever its last bit says

# a number that is not part of a word such as m2, T_0 or 6x4
_NUMBER = re.compile(r"(?<![\w^.])[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?!\w)")


@dataclass(frozen=True)
class Check:
    """One printed value beside the value the laws give; numbers are in `unit`."""

    id: str
    topic: str
    source: str
    mark: str
    inputs: str
    expected: float
    got: float
    unit: str
    tolerance: float
    verdict: Literal["pass", "fail"]


class Printed(NamedTuple):
    """One expected value of a row."""

    symbol: str
    value: float
    unit: str
    tolerance: float


@dataclass(frozen=True)
class Row:
    """One row of the files, as it is written there."""

    id: str
    topic: str
    inputs: str
    expected: str
    unit: str
    tolerance: str
    mark: str
    source: str
    category: str
    why: str

    def numbers(self) -> tuple[float, ...]:
        """The numbers written in the inputs.

        Returns
        -------
        numbers : tuple of float
            In the order in which they are written. [as written]

        Examples
        --------
        >>> Row("X", "", "v^2 4.5 m2/s2; T_0 150 F; v 31.28 -> 26.77 m/s", "", "", "", "", "", "", "").numbers()
        (4.5, 150.0, 31.28, 26.77)
        """
        return tuple(float(text) for text in _NUMBER.findall(self.inputs))

    def printed(self) -> list["Printed"]:
        """The expected values, each with its symbol, unit and tolerance.

        Returns
        -------
        printed : list of Printed
            [as written]

        Notes
        -----
        A value may follow its symbol ("T_f 417.1"). "exact" is a tolerance of 0; a tolerance in percent is of the expected
        value. One unit or tolerance serves all values.
        """
        values = [
            (value, unit)
            for group, units in zip(self.expected.split(" and "), cycle(self.unit.split(" and ")), strict=False)
            for value, unit in zip(_parts(group), cycle(_parts(units)), strict=False)
        ]
        found = []
        for (value, unit), tolerance in zip(values, cycle(_parts(self.tolerance)), strict=False):
            symbol, _, number = value.rpartition(" ")
            found.append(Printed(symbol, float(number), unit, _tolerance(tolerance, float(number))))
        return found

    def ids(self) -> list[str]:
        """Ids of the checks this row becomes.

        Returns
        -------
        ids : list of str
            The row's own id, or one with a letter for each of several values.
        """
        count = len(self.printed())
        return [self.id] if count == 1 else [self.id + ascii_lowercase[place] for place in range(count)]


def _parts(text: str) -> list[str]:
    """The entries of a cell."""
    return [part.strip() for part in text.split(";")]


def _tolerance(text: str, expected: float) -> float:
    """A tolerance as a number in the unit of the expected value."""
    if text == "exact":
        return 0.0
    if text.endswith("%"):
        return abs(expected) * float(text.rstrip(" %")) / 100.0
    return float(text)


def rows() -> list[Row]:
    """Every row of the files, whatever its class.

    Returns
    -------
    rows : list of Row
        In the order of the files.
    """
    found = []
    for name in FILES:
        with (Path(__file__).parent / name).open(newline="", encoding="utf-8") as file:
            for entry in csv.DictReader(file):
                entry["category"] = entry.pop("class")
                found.append(Row(**entry))
    return found


def each_check() -> Iterator[Check]:
    """The checks one after the other, each computed when it is asked for."""
    from sim.checks.laws import COMPUTED

    for row in rows():
        if row.category != TRIP_LAW:
            continue
        computed = COMPUTED[row.id](row.numbers())
        for name, printed, value in zip(row.ids(), row.printed(), computed, strict=True):
            got = float(value)
            yield Check(
                id=name,
                topic=f"{row.topic}, {printed.symbol}" if printed.symbol else row.topic,
                source=row.source,
                mark=row.mark,
                inputs=row.inputs,
                expected=printed.value,
                got=got,
                unit=printed.unit,
                tolerance=printed.tolerance,
                verdict="pass" if abs(got - printed.value) <= printed.tolerance * TIE else "fail",
            )


def run_checks() -> list[Check]:
    """Asks the laws of the trip for every printed value.

    Returns
    -------
    checks : list of Check
        One per printed value, in the order of the files.
    """
    return list(each_check())
