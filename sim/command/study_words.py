"""What a study found, for a person at a terminal: question, notes, a table, the answer in words, cautions."""

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np

from sim.studies.amounts import difference_text, is_clocked, key_text, key_words, quantity_text, quantity_title
from sim.studies.answers import levels_of, usable
from sim.studies.findings import answer_sentences, shared_words, swings, trip_words, trips_text, warning_counts
from sim.studies.quantities import QUANTITIES
from sim.studies.result import StudyResult
from sim.trips.result import CAUTIONS
from sim.units import shown_unit
from sim.wording import said

WIDEST = 120  # characters of a line
MOST_ROWS = 24
LONGEST_CELL = 34
MOST_ACROSS = 6  # levels that stand side by side

Table = tuple[list[str], list[list[str]]]


def study_text(result: StudyResult, units: str) -> str:
    """What a person reads of a study.

    Returns
    -------
    text : str
        Notes first, the table, the answer, cautions last; no line above 120 characters.
    """
    study = result.plan.study
    lines = [*_wrapped(study.title), *_wrapped(study.question, "  ")]
    lines += _wrapped(f"{trips_text(result)}; {'; '.join(shared_words(study))}", "  ")
    lines += [line for note in result.answers["notes"] for line in _wrapped(f"! {said(note, units)}", "  ")]
    head, rows = _table(result, units)
    cut = len(rows) - MOST_ROWS
    lines += ["", *_formatted(head, rows[:MOST_ROWS])]
    lines += [f"  ... and {cut} more rows"] if cut > 0 else []
    lines += ["", *(line for text in answer_sentences(result, units) for line in _wrapped(text))]
    found = [f"{words}: {trips} {'trip' if trips == 1 else 'trips'}" for words, trips in warning_counts(result)]
    lines += ["", *(line for text in found for line in _wrapped(f"! {text}", "  "))] if found else []
    refused = result.refused()
    lines += [""] if refused else []
    for number, problem in refused[:5]:
        lines += _wrapped(f"not driven: trip {number} ({trip_words(result, number, units)}): {problem}", "  ")
    lines += [f"  ... and {len(refused) - 5} more"] if len(refused) > 5 else []
    return "\n".join([*lines, "", *CAUTIONS])


def _wrapped(text: str, indent: str = "") -> list[str]:
    """A text in lines that fit."""
    return textwrap.wrap(text, WIDEST, initial_indent=indent, subsequent_indent=indent + "  ") if text else []


def _formatted(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """A table; columns that do not fit are left out from the right."""
    stacks = [textwrap.wrap(name, 14, break_long_words=False) or [""] for name in head]
    cells = [[cell if len(cell) <= LONGEST_CELL else f"{cell[: LONGEST_CELL - 2]}.." for cell in row] for row in rows]
    widths = [
        max([*(len(line) for line in stack), *(len(row[place]) for row in cells)]) for place, stack in enumerate(stacks)
    ]
    fits = len(widths)
    while fits > 1 and 2 + sum(widths[:fits]) + 2 * (fits - 1) > WIDEST:
        fits -= 1
    tall = max(map(len, stacks))
    body = [[([""] * (tall - len(stack)) + stack)[line] for stack in stacks] for line in range(tall)]
    written = [_line(row[:fits], widths) for row in body]
    written.append("  " + "-" * (sum(widths[:fits]) + 2 * (fits - 1)))
    return written + [_line(row[:fits], widths) for row in cells]


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    """A row: the first cell to the left, numbers to the right."""
    texts = [
        f"{cell:<{width}}" if k == 0 else f"{cell:>{width}}"
        for k, (cell, width) in enumerate(zip(row, widths, strict=False))
    ]
    return ("  " + "  ".join(texts)).rstrip()


def _title(name: str, units: str) -> str:
    """A column's name and unit."""
    return QUANTITIES[name][0] if is_clocked(name) else quantity_title(name, units)


def _table(result: StudyResult, units: str) -> Table:
    """The table that fits a study."""
    answers = result.answers
    if "fuel_test" in answers:
        return _runs(answers["fuel_test"], units)
    if "best" in answers:
        return _steps(answers["best"], units)
    if result.plan.study.sample:
        return _slopes(result, units)
    levels = {key: values for key, values in result.plan.axes.items() if len(values) > 1}
    if result.plan.total <= MOST_ROWS:
        return _trips(result, range(result.trips), units)
    across = [key for key, values in levels.items() if len(values) <= MOST_ACROSS]
    if len(levels) == 2 and across:
        key = min(across, key=lambda each: len(levels[each]))
        return _crossed(result, key, next(other for other in levels if other != key), units)
    return _levels(result, units)


def _trips(result: StudyResult, rows: Sequence[int], units: str) -> Table:
    """A row a trip."""
    keys = result.plan.varied_keys
    head = [*(key_words(key) for key in keys), *(_title(name, units) for name in result.report), "ended"]
    states = result.column("state")
    body = []
    for row in rows:
        cells = [key_text(key, value, units) for key, value in result.varied(row).items()]
        cells += [quantity_text(name, float(result.column(name)[row]), units, False) for name in result.report]
        body.append([*cells, str(states[row]).replace("_", " ")])
    return head, body


def _crossed(result: StudyResult, across: str, down: str, units: str) -> Table:
    """The first quantity over two keys."""
    name, levels, good = result.report[0], levels_of(result), usable(result, result.report[0])
    values = result.column(name).astype(float)
    body = []
    for place, value in enumerate(result.plan.axes[down]):
        cells = [key_text(down, value, units)]
        for other in range(len(result.plan.axes[across])):
            rows = good & (levels[down] == place) & (levels[across] == other)
            cells.append(quantity_text(name, float(values[rows].mean()) if rows.any() else None, units, False))
        body.append(cells)
    head = [
        f"{_title(name, units)} by {key_words(down)}",
        *(key_text(across, v, units) for v in result.plan.axes[across]),
    ]
    return head, body


def _levels(result: StudyResult, units: str) -> Table:
    """Means at each level, then the best and the worst trips."""
    head = ["mean of", "at", *(_title(name, units) for name in result.report)]
    body = []
    for key in result.answers["effects"][result.report[0]]:
        for place, value in enumerate(result.plan.axes[key]):
            means = [result.answers["effects"][name][key]["means"][place] for name in result.report]
            cells = [quantity_text(name, mean, units, False) for name, mean in zip(result.report, means, strict=True)]
            body.append([key_words(key), key_text(key, value, units), *cells])
    room = MOST_ROWS - 4
    if len(body) > room:
        body = [*body[: room - 1], [f"... {len(body) - room + 1} more", *[""] * (len(head) - 1)]]
    return head, body + _ends(result, units, 2)


def _ends(result: StudyResult, units: str, most: int) -> list[list[str]]:
    """The best and the worst trips by the first quantity."""
    name = result.report[0]
    rows = np.flatnonzero(usable(result, name))
    order = rows[np.argsort(result.column(name).astype(float)[rows], kind="stable")]
    low, high = ("lowest", "highest")
    ends = [(low, int(row)) for row in order[:most]] + [(high, int(row)) for row in order[-most:]]
    body = []
    for word, row in ends:
        number = int(result.column("number")[row])
        values = [quantity_text(each, float(result.column(each)[row]), units, False) for each in result.report]
        body.append([f"{word}: trip {number}", trip_words(result, number, units), *values])
    return body


def _slopes(result: StudyResult, units: str) -> Table:
    """What each input of a sample does to the first quantity."""
    name = result.report[0]
    entries = result.answers["sensitivity"].get(name, {}).get("keys", {})
    head = [f"effect on {QUANTITIES[name][0]} of", "from", "to", "change over it", "95 % interval", "% per %"]
    body = []
    for key, low, high, swing in swings(result, name):
        entry = entries[key]
        half = None if entry["high"] is None else (entry["high"] - entry["per_unit"]) * (high - low)
        spread = "-" if half is None else f"+/- {difference_text(name, half, units).lstrip('+')}"
        share = "-" if entry["percent_per_percent"] is None else f"{entry['percent_per_percent'] + 0.0:+.2f}"
        body.append([key_words(key), key_text(key, low, units), key_text(key, high, units),
                     difference_text(name, swing, units), spread, share])  # fmt: skip
    return head, body


def _steps(best: dict[str, Any], units: str) -> Table:
    """What each step beside the best settings gives."""
    name = best["quantity"]
    head = ["answer key", "value", _title(name, units), "breaks"]
    if "settings" not in best:
        return head, []
    its = best["quantities"][name]
    body = [[key_words(key), key_text(key, value, units), quantity_text(name, its, units, False), ""]
            for key, value in best["settings"].items()]  # fmt: skip
    for step in best["steps"]:
        broken = ", ".join(QUANTITIES[each][0] for each in step.get("breaks", []))
        value = quantity_text(name, step.get("quantity"), units, False)
        ended = step.get("ended", "")
        note = broken or ("not driven" if "ended" not in step else "" if ended == "arrived" else ended)
        body.append([f"step: {key_words(step['key'])}", key_text(step["key"], step["value"], units), value, note])
    return head, body


def _runs(verdict: dict[str, Any], units: str) -> Table:
    """The runs of a fuel test."""
    title = shown_unit("fuel mass", units)
    head = ["part", "run", f"control fuel, {title}", f"test fuel, {title}", "control time", "test time", "ratio"]
    body = []
    for run in verdict["runs"]:
        fuels = [quantity_text("fuel_kg", run[f"{who}_fuel_kg"], units, False) for who in ("control", "test")]
        times = [quantity_text("time_s", run[f"{who}_time_s"], units) for who in ("control", "test")]
        body.append([run["part"], str(run["run"]), *fuels, *times, f"{run['ratio']:.4f}"])
    return head, body
