"""The fuel test of two trucks: the arithmetic of the trade's standard, and its runs judged by it.

An unchanged control truck runs beside the test truck in the same weather; fuel is weighed. Of each run the ratio of test to
control fuel counts; three runs whose ratios lie in a band make a segment, one before the change and one after.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from sim.studies.table import StudyTable

ACCURACY_PERCENT = 1.0  # SAE J1321, abstract: about +/- 1 % (published, second-hand)


def ratio(test_fuel: float, control_fuel: float) -> float:
    """Fuel of the test truck over fuel of the control truck, of one run.

    Parameters
    ----------
    test_fuel : float
        [kg]
    control_fuel : float
        Above 0. [kg]
    """
    return test_fuel / control_fuel


def in_band(ratios: Sequence[float], band_percent: float = 2.0) -> bool:
    """Whether the ratios of a segment lie close enough together.

    Parameters
    ----------
    ratios : sequence of float
        Of its runs.
    band_percent : float
        Width of the band: the lowest is at least (1 - band) times the highest. [%]

    References
    ----------
    [1] SAE J1321 Type II: three runs whose ratios lie in a 2 % band (from memory).

    Examples
    --------
    >>> in_band([0.985, 0.993, 1.003]), in_band([0.980, 0.993, 1.003])
    (True, False)
    """
    return min(ratios) >= (1.0 - band_percent / 100.0) * max(ratios)


def saved_percent(before: float, after: float) -> float:
    """Fuel saved, of the fuel used before.

    Parameters
    ----------
    before : float
        Mean ratio before the change.
    after : float
        Mean ratio after it.

    Returns
    -------
    saved : float
        [%]

    References
    ----------
    [1] SAE J1321 Type II (from memory).

    Examples
    --------
    >>> round(saved_percent(1.0, 0.95), 3)
    5.0
    """
    return 100.0 * (before - after) / before


def improvement_percent(before: float, after: float) -> float:
    """Improvement of the fuel economy; always larger than the fuel saved.

    Parameters
    ----------
    before : float
        Mean ratio before the change.
    after : float
        Mean ratio after it.

    Returns
    -------
    improvement : float
        [%]

    References
    ----------
    [1] SAE J1321 Type II (from memory).

    Examples
    --------
    >>> round(improvement_percent(1.0, 0.95), 3)
    5.263
    """
    return 100.0 * (before - after) / after


def verdict_of(result: StudyTable) -> dict[str, Any]:
    """Judges the runs of a fuel test.

    Parameters
    ----------
    result : StudyTable
        Of a study with a fuel test.

    Returns
    -------
    verdict : dict
        `runs` with part, run, both fuels, both times and the ratio; `before` and `after` with mean ratio, `in_band` and
        `same_time`; `valid`; `saved_percent`, `improvement_percent` and `accuracy_percent`, None when a run is missing. [as
        named]
    """
    test = result.plan.study.fuel_test
    assert test is not None
    place = {int(number): row for row, number in enumerate(result.column("number"))}
    good = (result.column("state") == "arrived") & ~np.isnan(result.column("fuel_kg"))
    runs: list[dict[str, Any]] = []
    for part in range(2):
        for run in range(test.runs):
            first = 1 + 2 * (part * test.runs + run)
            pair = [place.get(number) for number in (first, first + 1)]
            rows = [row for row in pair if row is not None and good[row]]
            if len(rows) < 2:
                continue
            scale = np.random.default_rng([test.seed, part, run, 2]).uniform(-1.0, 1.0, 2) * test.weighing_g / 1000.0
            fuel = [float(result.column("fuel_kg")[row] + error) for row, error in zip(rows, scale, strict=True)]
            time = [float(result.column("time_s")[row]) for row in rows]
            runs.append(
                {
                    "part": ("before", "after")[part],
                    "run": run + 1,
                    "control_fuel_kg": fuel[0],
                    "test_fuel_kg": fuel[1],
                    "control_time_s": time[0],
                    "test_time_s": time[1],
                    "ratio": ratio(fuel[1], fuel[0]),
                }
            )
    verdict: dict[str, Any] = {"runs": runs, "accuracy_percent": ACCURACY_PERCENT, "valid": False}
    verdict |= {"saved_percent": None, "improvement_percent": None, "band_percent": test.band_percent}
    for part_name in ("before", "after"):
        its = [run for run in runs if run["part"] == part_name]
        if len(its) < test.runs:
            return verdict
        times = [run[f"{who}_time_s"] for run in its for who in ("control", "test")]
        verdict[part_name] = {
            "ratio": float(np.mean([run["ratio"] for run in its])),
            "in_band": in_band([run["ratio"] for run in its], test.band_percent),
            "same_time": max(times) <= min(times) * (1.0 + test.elapsed_percent / 100.0),
        }
    before, after = verdict["before"]["ratio"], verdict["after"]["ratio"]
    verdict["valid"] = all(verdict[name][what] for name in ("before", "after") for what in ("in_band", "same_time"))
    verdict["saved_percent"] = saved_percent(before, after)
    verdict["improvement_percent"] = improvement_percent(before, after)
    return verdict
