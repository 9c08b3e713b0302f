"""What a study found: effects, interactions, sensitivities, differences between cases, and what cannot be bettered.

Here `name`, `one` and `other` are quantities of `sim.studies.quantities`.
"""

from collections.abc import Mapping
from itertools import combinations
from typing import Any

import numpy as np

from sim.studies.best import best_of
from sim.studies.fuel_test import verdict_of
from sim.studies.plan import ARRIVED
from sim.studies.quantities import CREDITED, QUANTITIES, unit_called
from sim.studies.table import StudyTable
from sim.units import unit_of_key
from sim.wording import Finding, finding

CONFIDENCE = 0.95
FUELS = ("fuel_l_per_100km", "fuel_credited_l_per_100km", "fuel_kg")
FINENESS = {"time_s": 1.0, **dict.fromkeys(FUELS, 0.01)}  # what a reader is shown, in the unit of the quantity


def answers_of(result: StudyTable) -> dict[str, Any]:
    """Everything the trips of a study answer, as plain values.

    Returns
    -------
    answers : dict
        `trips` (counts), `notes` (findings), `quantities` (least, most, mean), and where the study allows them `effects`,
        `interactions`, `sensitivity`, `cases`, `pareto`, `best`, `fuel_test`.

    Notes
    -----
    Means, effects and slopes are over trips that arrived; others are counted and said. An effect is a level's mean less the
    mean of all; shares are of the sum of squares of a full grid, and are left out when a trip of the grid is missing.
    """
    found: dict[str, Any] = {
        "title": result.plan.study.title,
        "question": result.plan.study.question,
        "model_version": result.model_version,
        "complete": result.complete,
        "trips": _counts(result),
        "notes": [note.data() for note in _notes(result)],
        "quantities": {name: _extremes(result, name) for name in result.report},
    }
    if result.plan.study.fuel_test:
        return found | {"fuel_test": verdict_of(result)}
    if result.plan.study.best:
        return found | {"best": best_of(result)}
    levels = levels_of(result)
    wide = {key: place for key, place in levels.items() if len(set(place.tolist())) > 1}
    found["effects"] = {name: effects(result, name, wide) for name in result.report} if wide else {}
    found["interactions"] = {name: interactions(result, name, wide) for name in result.report} if len(wide) > 1 else {}
    found["sensitivity"] = {name: sensitivity(result, name) for name in result.report if numeric_keys(result)}
    if "case" in wide:
        found["cases"] = {name: case_differences(result, name) for name in result.report}
    fuel = next((name for name in result.report if name in FUELS), None)
    if fuel and "time_s" in result.report:
        found["pareto"] = pareto_by_road(result, "time_s", fuel)
    return found


def _counts(result: StudyTable) -> dict[str, int]:
    """Trips asked for, finished, driven, and how they ended."""
    states, numbers = np.unique(result.column("state").astype(str), return_counts=True)
    counts = {"asked": result.plan.total, "finished": result.trips, "driven": int(result.driven.sum())}
    return counts | {f"state_{state}": int(number) for state, number in zip(states, numbers, strict=True)}


def _notes(result: StudyTable) -> list[Finding]:
    """What a reader must know before the numbers."""
    counts, notes = _counts(result), []
    finished, missing = counts["finished"], counts["finished"] - counts["driven"]
    if not result.complete:
        notes.append(finding("study.partial", finished=finished, asked=counts["asked"]))
    if missing:
        notes.append(finding("study.some_refused", refused=missing, finished=finished))
    astray = counts["driven"] - counts.get("state_arrived", 0)
    if astray:
        notes.append(finding("study.some_astray", astray=astray))
    if result.credits_height and any(name in CREDITED for name in result.plan.study.report):
        notes.append(finding("study.height_credited"))
    return notes


def usable(result: StudyTable, name: str) -> np.ndarray:
    """Trips that arrived and have a quantity.

    Returns
    -------
    rows : array
        Shape (trips,), true or false.
    """
    return (result.column("state") == ARRIVED) & ~np.isnan(result.column(name).astype(float))


def _extremes(result: StudyTable, name: str) -> dict[str, Any]:
    """Least, most, mean and spread of a quantity, with the trips they belong to."""
    words, unit = QUANTITIES[name][0], unit_called(name)
    rows = np.flatnonzero(usable(result, name))
    if not len(rows):
        return {"words": words, "unit": unit, "trips": 0}
    values = result.column(name).astype(float)[rows]
    numbers = result.column("number")[rows]
    low, high = int(np.argmin(values)), int(np.argmax(values))
    return {
        "words": words,
        "unit": unit,
        "trips": len(rows),
        "least": float(values[low]),
        "least_trip": int(numbers[low]),
        "most": float(values[high]),
        "most_trip": int(numbers[high]),
        "mean": float(values.mean()),
        "standard_deviation": float(values.std(ddof=1)) if len(rows) > 1 else 0.0,
    }


# ---------------------------------------------------------------- grids


def levels_of(result: StudyTable) -> dict[str, np.ndarray]:
    """Which value of each axis of the grid each trip has.

    Returns
    -------
    levels : dict
        By key, shape (trips,), counted from 0.
    """
    rest = (result.column("number").astype(int) - 1) // len(result.plan.samples)
    levels: dict[str, np.ndarray] = {}
    for key, values in reversed(result.plan.axes.items()):
        levels[key] = rest % len(values)
        rest = rest // len(values)
    return {key: levels[key] for key in result.plan.axes}


def effects(result: StudyTable, name: str, levels: Mapping[str, np.ndarray]) -> dict[str, Any]:
    """Main effects of a quantity.

    Parameters
    ----------
    levels : mapping
        As `levels_of` gives them.

    Returns
    -------
    effects : dict
        By key: values, mean, effect and number of trips of each value, and the share of the sum of squares, None where the
        grid is not full.
    """
    rows = usable(result, name)
    values = result.column(name).astype(float)[rows]
    found: dict[str, Any] = {}
    total = float(((values - values.mean()) ** 2).sum()) if len(values) else 0.0
    for key, place in levels.items():
        means, counts = _level_means(values, place[rows], len(result.plan.axes[key]))
        share = None
        if rows.all() and result.complete and total > 0.0:
            share = float((counts * (means - values.mean()) ** 2).sum() / total)
        found[key] = {
            "values": list(result.plan.axes[key]),
            "means": [_plain(mean) for mean in means],
            "effects": [_plain(mean - values.mean()) if len(values) else None for mean in means],
            "trips": counts.astype(int).tolist(),
            "share": share,
        }
    return found


def _level_means(values: np.ndarray, place: np.ndarray, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean and count at each level; NaN where there is no trip."""
    counts = np.bincount(place, minlength=number).astype(float)
    sums = np.bincount(place, weights=values, minlength=number)
    with np.errstate(invalid="ignore", divide="ignore"):
        return sums / counts, counts


def _plain(value: float) -> float | None:
    """A number, or None where there is none."""
    return None if np.isnan(value) else float(value)


def interactions(result: StudyTable, name: str, levels: Mapping[str, np.ndarray]) -> dict[str, float]:
    """How much of a quantity two keys decide together, beyond what each decides alone.

    Parameters
    ----------
    levels : mapping
        As `levels_of` gives them.

    Returns
    -------
    shares : dict
        By "a x b", of the sum of squares; empty where the grid is not full.
    """
    rows = usable(result, name)
    if not rows.all() or not result.complete:
        return {}
    values = result.column(name).astype(float)
    mean, total = values.mean(), float(((values - values.mean()) ** 2).sum())
    shares = {}
    for one, other in combinations(levels, 2):
        first, second = len(result.plan.axes[one]), len(result.plan.axes[other])
        cells, counts = _level_means(values, levels[one] * second + levels[other], first * second)
        a, _ = _level_means(values, levels[one], first)
        b, _ = _level_means(values, levels[other], second)
        left = cells.reshape(first, second) - a[:, None] - b[None, :] + mean
        shares[f"{one} x {other}"] = float((counts.reshape(first, second) * left**2).sum() / total) if total else 0.0
    return shares


# ---------------------------------------------------------------- slopes


def numeric_keys(result: StudyTable) -> list[str]:
    """Varied keys that take numbers and have more than one value."""
    keys = [key for key in result.plan.varied_keys if "." in key]
    return [
        key
        for key in keys
        if result.column(key).dtype.kind in "fi" and len(np.unique(result.column(key)[result.driven])) > 1
    ]


def sensitivity(result: StudyTable, name: str) -> dict[str, Any]:
    """Slope of a quantity against each varied number, all of them fitted together by a straight line.

    Returns
    -------
    found : dict
        `explained` (share of the variance that the numbers take away, what roads, trucks and cases differ by left out),
        `sampled`, and `keys`: by key `per_unit`, its 95 % interval `low` and `high` (None on a grid, whose trips are no
        sample), and `percent_per_percent` at the means (None for an input that passes 0, and for a temperature). No keys
        where the trips that arrived cannot tell them apart.

    Notes
    -----
    Ordinary least squares with a constant, and a constant of its own for every value of what is not a number (roads, trucks,
    cases). The model has no chance in it; on a sample the interval says how well a straight line describes it: what bends,
    or comes from two keys together, widens it. Draper and Smith, Applied Regression Analysis, ch. 1 and 5 (common practice).
    """
    keys, rows = numeric_keys(result), np.flatnonzero(usable(result, name))
    sampled = result.plan.study.sample is not None
    if not len(rows):
        return {"explained": None, "sampled": sampled, "keys": {}}
    y = result.column(name).astype(float)[rows]
    columns = [result.column(key).astype(float)[rows] for key in keys]
    constants = [np.ones(len(rows))]
    for key, place in levels_of(result).items():
        if key not in keys:
            constants += [(place[rows] == level).astype(float) for level in range(1, len(result.plan.axes[key]))]
    constants = [column for column in constants if np.ptp(column) > 0.0 or column is constants[0]]
    centres = [column.mean() for column in columns]
    widths = [float(np.ptp(column)) or 1.0 for column in columns]
    scaled = [(column - c) / w for column, c, w in zip(columns, centres, widths, strict=True)]
    matrix = np.column_stack([*scaled, *constants])
    freedom = len(rows) - matrix.shape[1]
    distinct = len(rows) > 1 and np.linalg.matrix_rank(matrix) == matrix.shape[1]
    if not distinct or freedom < (0 if len(keys) == 1 else 1):
        return {"explained": None, "sampled": sampled, "keys": {}}
    solution, *_ = np.linalg.lstsq(matrix, y, rcond=None)
    left = y - matrix @ solution
    plain = np.column_stack(constants)
    apart = y - plain @ np.linalg.lstsq(plain, y, rcond=None)[0]
    spread = float(apart @ apart) if float(apart @ apart) > 1e-20 * float(y @ y) else 0.0
    found: dict[str, Any] = {"explained": 1.0 - float(left @ left) / spread if spread else None, "sampled": sampled}
    half = np.full(len(keys), np.nan)
    if sampled and freedom > 0:
        from scipy.stats import t

        covariance = np.linalg.pinv(matrix.T @ matrix) * float(left @ left) / freedom
        half = t.ppf(0.5 + CONFIDENCE / 2.0, freedom) * np.sqrt(np.diag(covariance)[: len(keys)])
    found["keys"] = {}
    for rank, key in enumerate(keys):
        slope = float(solution[rank]) / widths[rank]
        width = float(half[rank]) / widths[rank]
        found["keys"][key] = {
            "per_unit": slope,
            "low": None if np.isnan(width) else slope - width,
            "high": None if np.isnan(width) else slope + width,
            "percent_per_percent": _elasticity(key, slope, columns[rank], float(y.mean())),
        }
    return found


def _elasticity(key: str, slope: float, values: np.ndarray, mean: float) -> float | None:
    """Percent per percent; None where per cent of the input mean nothing: its range holds 0, or 0 is not nothing of it."""
    if mean == 0.0 or float(values.min()) <= 0.0 or unit_of_key(key) == "c":
        return None
    return slope * float(values.mean()) / mean


# ---------------------------------------------------------------- cases


def by_case(result: StudyTable, name: str) -> np.ndarray:
    """A quantity of the trips of each case, shape (cases, trips of a case); NaN where a trip did not arrive or has none."""
    values, good = np.full(result.plan.total, np.nan), usable(result, name)
    values[result.column("number")[good].astype(int) - 1] = result.column(name).astype(float)[good]
    return values.reshape(len(result.plan.study.cases), -1)


def case_differences(result: StudyTable, name: str) -> list[dict[str, Any]]:
    """Each case against the first, everything else equal.

    Returns
    -------
    differences : list of dict
        `case`, `value` (mean), `difference` and `percent` against the first case, and `trips`: how many pairs of trips stand
        behind it.
    """
    cases, grid = [case.name for case in result.plan.study.cases], by_case(result, name)
    found: list[dict[str, Any]] = []
    for case, its in zip(cases, grid, strict=True):
        both = ~np.isnan(its) & ~np.isnan(grid[0])
        if not both.any():
            found.append({"case": case, "value": None, "difference": None, "percent": None, "trips": 0})
            continue
        mean, first = float(its[both].mean()), float(grid[0][both].mean())
        found.append(
            {
                "case": case,
                "value": mean,
                "difference": mean - first,
                "percent": 100.0 * (mean - first) / first if first else None,
                "trips": int(both.sum()),
            }
        )
    return found


# ---------------------------------------------------------------- what cannot be bettered


def not_bettered(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Which points no other point betters in both of two quantities that are to be small (the Pareto set).

    Parameters
    ----------
    one : array
        Shape (points,).
    other : array
        Shape (points,).

    Returns
    -------
    places : array
        Indices, by rising first quantity.

    Examples
    --------
    >>> not_bettered(np.array([3.0, 1.0, 2.0, 2.5]), np.array([1.0, 3.0, 2.0, 2.0])).tolist()
    [1, 2, 0]
    """
    order = np.lexsort((other, one))
    best, places = np.inf, []
    for place in order:
        if other[place] < best:
            best = other[place]
            places.append(int(place))
    return np.array(places, int)


def cannot_be_bettered(result: StudyTable, rows: np.ndarray, one: str, other: str) -> np.ndarray:
    """Which of some trips no other of them betters in two quantities, as far as they are worth telling apart.

    Parameters
    ----------
    rows : array
        Of the table; shape (trips,).
    one : str
        Quantity that is to be small.
    other : str
        Quantity that is to be small.

    Returns
    -------
    rows : array
        Of the table, by rising first quantity.

    Notes
    -----
    Values are told apart to `FINENESS`: a hundredth of a second gained is no reason to burn more.
    """
    shown = []
    for name in (one, other):
        values, fine = result.column(name).astype(float)[rows], FINENESS.get(name)
        shown.append(np.round(values / fine) if fine else values)
    return rows[not_bettered(*shown)]


def pareto_by_road(result: StudyTable, one: str, other: str) -> list[dict[str, Any]]:
    """The trips on each road that no other trip there betters in both quantities.

    Parameters
    ----------
    one : str
        Quantity that is to be small.
    other : str
        Quantity that is to be small.

    Returns
    -------
    sets : list of dict
        `road`, the two names, and `trips`: number and both values, by rising first quantity.
    """
    both = usable(result, one) & usable(result, other)
    sets = []
    for road in dict.fromkeys(result.column("road").tolist()):
        rows = np.flatnonzero(both & (result.column("road") == road))
        kept = cannot_be_bettered(result, rows, one, other)
        trips: list[dict[str, Any]] = [
            {
                "number": int(result.column("number")[row]),
                one: float(result.column(one)[row]),
                other: float(result.column(other)[row]),
            }
            for row in kept
        ]
        sets.append({"road": road, "one": one, "other": other, "trips": trips, "of": len(rows)})
    return sets
