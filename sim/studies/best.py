"""The settings that are best within limits: every combination where there are few, a guided search where there are many.

The search is scipy's differential evolution on the grid of allowed steps, with the same trips for the same seed however many
workers drive; then single steps from the best point, until none betters it.
"""

import math
from collections.abc import Callable, Iterator
from itertools import product
from typing import Any

import numpy as np

from sim.studies.journal import Journal
from sim.studies.plan import ARRIVED, Plan, Point
from sim.studies.quantities import QUANTITIES, unit_called
from sim.studies.question import Best
from sim.studies.table import StudyTable

FOR_STEPS = 0.2  # share of the trips kept back for single steps at the end
GENERATIONS = 15  # the search aims at
OUT_OF_BOUNDS = 1e15  # cost of a trip that breaks a bound, above any quantity: energies of a long road reach 1e11 J
NOT_ARRIVED = 1e18
NOT_DRIVEN = 1e21

Steps = tuple[int, ...]


class _Spent(Exception):  # noqa: N818 - no error: it ends the search inside the library
    """All trips are spent, or the study is to stop."""


def sizes(best: Best) -> list[int]:
    """Number of allowed values of each key."""
    return [int(np.floor((high - low) / step + 1e-9)) + 1 for low, high, step in best.between.values()]


def values_at(best: Best, steps: Steps) -> dict[str, str]:
    """The values at a place on the grid, as text.

    Parameters
    ----------
    steps : tuple of int
        Steps above the low end of each range.

    Returns
    -------
    values : dict
        By key. [unit of each key]
    """
    ranges = best.between.items()
    return {key: f"{low + step * place:.10g}" for (key, (low, _, step)), place in zip(ranges, steps, strict=True)}


def cost(best: Best, state: str, quantities: dict[str, Any]) -> float:
    """What the search makes small: the quantity, or a wall where a bound is broken or the truck does not arrive.

    Parameters
    ----------
    state : str
        How the trip ended.
    quantities : dict
        Of the trip.

    Returns
    -------
    cost : float
        [unit of the quantity, or beyond 1e15]
    """
    if not quantities:
        return NOT_DRIVEN
    if state != ARRIVED:
        return NOT_ARRIVED * (2.0 - min(float(quantities["distance_m"]) / 1e6, 1.0))
    broken = sum(excess for excess in excesses(best, quantities).values() if excess > 0.0)
    value = quantities[best.quantity]
    if broken > 0.0 or value is None or np.isnan(value):
        return OUT_OF_BOUNDS * (1.0 + broken)
    return -float(value) if best.most else float(value)


def excesses(best: Best, quantities: dict[str, Any]) -> dict[str, float]:
    """How far each bound is broken, as a share of the bound (of 1 for a bound below 1); negative where it is kept.

    Parameters
    ----------
    quantities : dict
        Of a trip.

    Returns
    -------
    excesses : dict
        By quantity.
    """
    found = {}
    for sign, bounds in ((1.0, best.at_most), (-1.0, best.at_least)):
        for name, bound in bounds.items():
            value = quantities[name]
            missing = value is None or np.isnan(value)
            found[name] = 1.0 if missing else sign * (float(value) - bound) / max(abs(bound), 1.0)
    return found


def search(plan: Plan, journal: Journal, drive: Callable[[Iterator[Point]], bool]) -> bool:
    """Drives the trips of a search; trips found in the journal are not driven again.

    Parameters
    ----------
    drive : callable
        Drives points and keeps them; False when the study is to stop.

    Returns
    -------
    complete : bool
        False when it was stopped.
    """
    best = plan.study.best
    assert best is not None
    return _Search(plan, journal, drive, best).run()


class _Search:
    """A search under way: what has been driven, by place on the grid."""

    def __init__(self, plan: Plan, journal: Journal, drive: Callable[[Iterator[Point]], bool], best: Best) -> None:
        self.plan, self.journal, self.drive, self.best = plan, journal, drive, best
        self.sizes = sizes(best)
        self.costs: dict[tuple[str, ...], float] = {}
        self.stopped, self.last = False, 0
        self._read(1)

    def run(self) -> bool:
        """Drives until the answer stands, the trips are spent, or it is to stop.

        Returns
        -------
        complete : bool
            False when it was stopped.
        """
        try:
            if math.prod(self.sizes) <= self.best.trips:
                self._costs_of(list(product(*map(range, self.sizes))), self.best.trips)
            else:
                self._evolve(int(self.best.trips * (1.0 - FOR_STEPS)))
                self._step(self.best.trips)
        except _Spent:
            pass
        return not self.stopped

    def _costs_of(self, places: list[Steps], most: int) -> list[float]:
        """Costs at places on the grid; drives those that have not been driven."""
        keys = [tuple(values_at(self.best, place).values()) for place in places]
        new = [key for key in dict.fromkeys(keys) if key not in self.costs]
        fits = new[: max(most - len(self.costs), 0)]
        first = self.last + 1
        points = [
            self.plan.point_of(first + place, dict(zip(self.best.between, key, strict=True)))
            for place, key in enumerate(fits)
        ]
        if points:
            complete = self.drive(iter(points))
            self._read(first)
            if not complete:
                self.stopped = True
                raise _Spent
        if len(fits) < len(new):
            raise _Spent
        return [self.costs[key] for key in keys]

    def _read(self, first: int) -> None:
        """Takes the trips of the journal up, from a number on."""
        for number, varied, row in self.journal.rows(first):
            self.last = number
            self.costs[tuple(varied.values())] = cost(self.best, row["state"], row["quantities"])

    def _evolve(self, most: int) -> None:
        """Differential evolution on the grid."""
        from scipy.optimize import differential_evolution

        def costs(places: np.ndarray) -> np.ndarray:
            whole = np.rint(np.atleast_2d(places.T)).astype(int)
            return np.array(self._costs_of([tuple(place) for place in whole.tolist()], most))

        crowd = min(max(most // GENERATIONS, 10), 60)
        try:
            differential_evolution(
                costs,
                [(0, size - 1) for size in self.sizes],
                integrality=[True] * len(self.sizes),
                popsize=max(-(-crowd // len(self.sizes)), 2),
                maxiter=10 * GENERATIONS,
                tol=0.0,
                polish=False,
                updating="deferred",
                vectorized=True,
                rng=np.random.default_rng(self.best.seed),
            )
        except _Spent:
            if self.stopped:
                raise

    def _step(self, most: int) -> None:
        """Single steps from the best place, until none betters it."""
        lows = [low for low, *_ in self.best.between.values()]
        widths = [step for *_, step in self.best.between.values()]
        while True:
            key = min(self.costs, key=lambda tried: self.costs[tried])
            here = tuple(round((float(text) - low) / width) for text, low, width in zip(key, lows, widths, strict=True))
            before = self.costs[key]
            if min(self._costs_of(list(neighbours(here, self.sizes)), most), default=before) >= before:
                return


def neighbours(place: Steps, sizes: list[int]) -> Iterator[Steps]:
    """Places one step away along one key.

    Parameters
    ----------
    sizes : list of int
        Number of values of each key.

    Yields
    ------
    place : tuple of int
        Inside the grid.
    """
    for axis, size in enumerate(sizes):
        for step in (-1, 1):
            if 0 <= place[axis] + step < size:
                yield (*place[:axis], place[axis] + step, *place[axis + 1 :])


def best_of(result: StudyTable) -> dict[str, Any]:
    """The answer key: the best settings found, what they give, which bounds hold them back, and what one step more does.

    A bound holds the answer back when a single step that would give more breaks it.

    Parameters
    ----------
    result : StudyTable
        Of a study with a search.

    Returns
    -------
    best : dict
        `found` (False when no trip keeps the bounds), `settings`, `quantities`, `bounds` (value, bound, holds_back), `steps`
        (what one step of each key down and up gives, and which bounds it breaks), `all_driven`, `no_step_betters`, `trips`
        and `combinations`.
    """
    best = result.plan.study.best
    assert best is not None
    names = list(dict.fromkeys([best.quantity, *best.at_most, *best.at_least, *result.report, "distance_m"]))
    columns = {name: result.column(name) for name in names}
    states, driven = result.column("state"), result.driven
    varied = {key: result.column(key).astype(float) for key in best.between}
    rows = {}
    for row in range(result.trips):
        steps = tuple(round((varied[key][row] - low) / step) for key, (low, _, step) in best.between.items())
        rows[steps] = row

    def quantities(row: int) -> dict[str, Any]:
        return {name: float(columns[name][row]) for name in names} if driven[row] else {}

    costs = {steps: cost(best, str(states[row]), quantities(row)) for steps, row in rows.items() if driven[row]}
    combinations = math.prod(sizes(best))
    answer: dict[str, Any] = {
        "found": False,
        "quantity": best.quantity,
        "words": QUANTITIES[best.quantity][0],
        "unit": unit_called(best.quantity),
        "most": best.most,
        "trips": result.trips,
        "combinations": combinations,
        "all_driven": result.trips >= combinations,
    }
    if not costs:
        return answer
    here = min(costs, key=lambda steps: costs[steps])
    its = quantities(rows[here])
    answer |= {
        "found": costs[here] < OUT_OF_BOUNDS,
        "settings": {key: float(text) for key, text in values_at(best, here).items()},
        "number": int(result.column("number")[rows[here]]),
        "quantities": its,
        "bounds": {
            name: {"value": its[name], "bound": bound, "side": side}
            for side, bounds in (("at most", best.at_most), ("at least", best.at_least))
            for name, bound in bounds.items()
        },
    }
    steps_found = []
    for place in neighbours(here, sizes(best)):
        row = rows.get(place, -1)
        axis = next(axis for axis, (a, b) in enumerate(zip(here, place, strict=True)) if a != b)
        key = list(best.between)[axis]
        step: dict[str, Any] = {"key": key, "value": float(values_at(best, place)[key]), "driven": row >= 0}
        if row >= 0 and driven[row]:
            there = quantities(row)
            step["quantity"] = there[best.quantity] if str(states[row]) == ARRIVED else None
            step["ended"] = str(states[row])
            step["breaks"] = [name for name, excess in excesses(best, there).items() if excess > 0.0]
            step["betters"] = costs[place] < costs[here]
        steps_found.append(step)
    answer["steps"] = steps_found
    sign = -1.0 if best.most else 1.0
    for name, bound in answer["bounds"].items():
        bound["holds_back"] = any(
            name in step.get("breaks", ())
            and step["quantity"] is not None
            and sign * (step["quantity"] - its[best.quantity]) < 0.0
            for step in steps_found
        )
    answer["no_step_betters"] = all(step["driven"] and not step.get("betters") for step in steps_found)
    return answer
