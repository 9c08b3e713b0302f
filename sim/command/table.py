"""Trips side by side, for people: one column a trip, or one row a trip when there are many."""

import textwrap
from collections.abc import Sequence
from typing import Any

from sim.trips.compare import Comparison
from sim.trips.result import CAUTIONS
from sim.units import clock_time, number_text, quantity_text, shown_unit
from sim.wording import said

MOST_COLUMNS = 6
WIDEST = 158  # characters of a line
LONGEST_VALUE = 18  # characters of a varied value in a row of its own trip; the header has it in full
LEVEL = 20.0  # m: a road that ends this far above or below its start gives or takes fuel worth naming

# heading of a narrow column for each row of a comparison that has room in it, one line after the other
HEADINGS = {
    "ended": "ended",
    "time": "time",
    "mean speed": "mean|speed",
    "highest speed": "top|speed",
    "highest engine speed": "top|engine|speed",
    "fuel": "fuel",
    "gear shifts": "gear|shifts",
    "service-brake applications": "brakes|applied",
    "time in stage 1": "stage|1",
    "time in stage 2": "stage|2",
    "time in stage 3": "stage|3",
    "stage changes": "stage|chang.",
    "highest mean brake temperature": "brake|mean",
    "hottest axle's brakes": "brake|axle",
    "published model, set A": "publ.|set A",
    "published model, set B": "publ.|set B",
    "over governed speed": "over|gov.",
    "over the limit": "over|limit",
    "held by the engine": "held by|engine",
    "held by service brakes": "held by|brakes",
}
Column = tuple[str, str, list[str]]  # name, unit, one cell a trip


def cell_text(kind: str, value: Any, units: str) -> str:
    """A value of a comparison as people read it, without its unit."""
    if value is None:
        return "-"
    if kind == "ended":
        return str(value).replace("_", " ")
    return clock_time(value) if kind == "clock" else number_text(value, kind, units)


def unit_text(kind: str, units: str) -> str:
    """The unit of a row of a comparison; empty for a plain number or a word."""
    if kind == "ended":
        return ""
    return "min:s" if kind == "clock" else shown_unit(kind, units)


def _columns(comparison: Comparison, units: str) -> list[Column]:
    """The quantities as texts, in the units asked for; fuel of a road that is not level carries a star."""
    columns = []
    for name, kind, values in comparison.rows():
        cells = [cell_text(kind, value, units) for value in values]
        if kind == "consumption":
            cells = [
                f"{cell}*" if cell != "-" and abs(result.summary["net_height_m"]) > LEVEL else cell
                for cell, result in zip(cells, comparison.results, strict=True)
            ]
        columns.append((name, unit_text(kind, units), cells))
    return columns


def _short(text: str, most: int) -> str:
    """A varied value, cut in its middle to fit a column."""
    most = max(most, 8)
    return text if len(text) <= most else f"{text[: most // 2 - 1]}..{text[len(text) - (most - most // 2 - 1) :]}"


def _varied_columns(comparison: Comparison, most: int) -> list[Column]:
    """The number of each trip, and what sets it apart in at most so many characters."""
    numbers = [str(place) for place in range(1, len(comparison.results) + 1)]
    keys = comparison.varied[0]
    return [
        ("trip", "", numbers),
        *((key, "", [_short(varied[key], most) for varied in comparison.varied]) for key in keys),
    ]


def _one_column_a_trip(comparison: Comparison, units: str) -> list[str]:
    """A row for each quantity."""
    body = [(f"{name}, {unit}" if unit else name, cells) for name, unit, cells in _columns(comparison, units)]
    first = max(len(name) for name in (*comparison.varied[0], *(name for name, _ in body)))
    room = (WIDEST - 2 - first) // len(comparison.results) - 2
    head = [(name, cells) for name, _, cells in _varied_columns(comparison, room)]
    rows = [*head, *body]
    widths = [max(len(cells[place]) for _, cells in rows) for place in range(len(comparison.results))]
    lines = [
        f"  {name:{first}}" + "".join(f"  {cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
        for name, cells in rows
    ]
    lines.insert(len(head), "  " + "-" * (len(lines[0]) - 2))
    return lines


def _stacked(name: str, unit: str) -> list[str]:
    """A heading in several short lines, the unit last."""
    lines = HEADINGS.get(name, name.replace("_", "_|").replace(".", ".|")).split("|")
    return lines + unit.replace("L/100 km", "L/100km").split()


def _one_row_a_trip(comparison: Comparison, units: str) -> list[str]:
    """A column for each quantity; what does not fit beside the rest goes into a block of its own below."""
    head = [_with_heading(*column) for column in _varied_columns(comparison, LONGEST_VALUE)]
    blocks = [list(head)]
    for name, unit, cells in _columns(comparison, units):
        if name not in HEADINGS:
            continue
        column = _with_heading(name, unit, cells)
        if _width([*blocks[-1], column]) > WIDEST and len(blocks[-1]) > len(head):
            blocks.append(list(head))
        blocks[-1].append(column)
    lines: list[str] = []
    for block in blocks:
        lines += [""] if lines else []
        tallest = max(len(heading) for heading, _ in block)
        padded = [[""] * (tallest - len(heading)) + heading for heading, _ in block]
        widths = [_width([column]) - 1 for column in block]
        table = [*zip(*padded, strict=True), *zip(*(cells for _, cells in block), strict=True)]
        written = ["".join(f" {cell:>{width}}" for cell, width in zip(row, widths, strict=True)) for row in table]
        written.insert(tallest, " " + "-" * (len(written[0]) - 1))
        lines += written
    return lines


def _with_heading(name: str, unit: str, cells: list[str]) -> tuple[list[str], list[str]]:
    """A column of the wide table: its heading line by line, and its cells."""
    return _stacked(name, unit), cells


def _width(columns: Sequence[tuple[list[str], list[str]]]) -> int:
    """Characters that columns take side by side, one blank before each."""
    return sum(1 + max(map(len, [*heading, *cells])) for heading, cells in columns)


def _fuel_notes(comparison: Comparison, units: str) -> list[str]:
    """What to know before fuel is compared with that of another road."""
    ends: dict[str, list[str]] = {}
    for number, result in enumerate(comparison.results, start=1):
        gained = result.summary["net_height_m"]
        if abs(gained) > LEVEL:
            height = quantity_text(abs(gained), "height", units)
            ends.setdefault(f"{height} {'higher' if gained > 0 else 'lower'}", []).append(str(number))
    everyone = len(comparison.results)
    lines = [
        f"  * ends {words} than it starts: {'every trip' if len(numbers) == everyone else 'trip ' + ', '.join(numbers)}"
        for words, numbers in ends.items()
    ]
    if lines:
        lines.append("    Fuel marked * has no credit for the height and cannot be compared with that of other roads.")
    return lines


def comparison_text(comparison: Comparison, units: str) -> str:
    """The comparison a person reads.

    Returns
    -------
    text : str
        What is compared, the table, warnings by trip, and the cautions last.
    """
    summaries = [result.summary for result in comparison.results]
    values = {key: list(dict.fromkeys(varied[key] for varied in comparison.varied)) for key in comparison.varied[0]}
    lines = [
        *(f"truck   {name}" for name in dict.fromkeys(summary["truck"] for summary in summaries)),
        *(f"road    {name}" for name in dict.fromkeys(summary["route"] for summary in summaries)),
        *(line for key, each in values.items() for line in _wrapped(f"varied  {key}: {', '.join(each)}")),
        "",
    ]
    narrow = len(summaries) <= MOST_COLUMNS
    lines += _one_column_a_trip(comparison, units) if narrow else _one_row_a_trip(comparison, units)
    notes = _fuel_notes(comparison, units)
    warned = [
        f"  ! trip {number}: {said(warning, units)}"
        for number, summary in enumerate(summaries, start=1)
        for warning in summary["warnings"]
    ]
    for block in (notes, warned):
        lines += ["", *block] if block else []
    return "\n".join([*lines, "", *CAUTIONS])


def _wrapped(text: str) -> list[str]:
    """A line of the header, in several when it is long."""
    return textwrap.wrap(text, WIDEST, subsequent_indent=" " * 8, break_long_words=False, break_on_hyphens=False)


def comparison_rows(comparison: Comparison) -> list[list[Any]]:
    """The comparison as rows of a CSV file.

    Returns
    -------
    rows : list of list
        A heading, then a row a trip: what is varied, then every plain number of the summary; empty where there is
        none.
    """
    summaries = [result.summary for result in comparison.results]
    numbers = [
        key
        for key in dict.fromkeys(key for summary in summaries for key in summary)
        if any(type(summary[key]) in (int, float) for summary in summaries)
    ]
    rows: list[list[Any]] = [[*comparison.varied[0], *numbers]]
    for varied, summary in zip(comparison.varied, summaries, strict=True):
        rows.append([*varied.values(), *("" if summary[key] is None else summary[key] for key in numbers)])
    return rows
