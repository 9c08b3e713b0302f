"""What a student predicts before a dyno run, and what the run gave: the rows of the lab sheet."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from sim.dyno.result import DynoResult
from sim.errors import SettingsError
from sim.messages import dyno as say
from sim.units import quantity_in, unit_of_key

# by test: key of the summary, what it is called, and the tolerance of a prediction, of the value or in its unit
QUANTITIES: dict[str, tuple[tuple[str, str, float, str], ...]] = {
    "full-load": (
        ("peak_torque_n_m", "highest torque", 3.0, "%"),
        ("peak_torque_from_rpm", "highest torque from", 100.0, "rpm"),
        ("peak_torque_to_rpm", "highest torque up to", 100.0, "rpm"),
        ("peak_power_kw", "highest power", 3.0, "%"),
        ("torque_rise_percent", "torque rise", 3.0, "points"),
        ("lowest_bsfc_g_kwh", "lowest fuel per power", 3.0, "%"),
        ("highest_boost_kpa", "highest boost", 10.0, "%"),
        ("start_rpm", "speed without load", 30.0, "rpm"),
        ("worst_deviation_percent", "largest deviation from the reference curve", 1.5, "points"),
    ),
    "governor": (
        ("loaded_rpm", "N1, loaded", 20.0, "rpm"),
        ("highest_rpm", "N2, highest after the load is taken off", 20.0, "rpm"),
        ("settled_rpm", "N3, settled", 20.0, "rpm"),
        ("steady_droop_percent", "steady droop", 0.3, "points"),
        ("lowest_rpm", "N5, lowest after a load is put on", 20.0, "rpm"),
        ("under_load_rpm", "N6, settled under that load", 20.0, "rpm"),
        ("low_idle_rpm", "low idle", 10.0, "rpm"),
        ("low_idle_lowest_rpm", "lowest idle as a load is switched on", 15.0, "rpm"),
    ),
    "motoring": (
        ("highest_torque_n_m", "torque to turn the engine at governed speed", 5.0, "%"),
        ("highest_power_kw", "power to turn it", 5.0, "%"),
    ),
    "retarding": (
        ("stage_1_kw", "stage 1 at the highest speed", 5.0, "%"),
        ("stage_2_kw", "stage 2 at the highest speed", 5.0, "%"),
        ("stage_3_kw", "stage 3 at the highest speed", 5.0, "%"),
    ),
    "cylinders": (
        ("torque_n_m", "torque with all cylinders", 3.0, "%"),
        ("most_lost_percent", "most torque lost with one cut out", 2.0, "points"),
        ("least_lost_percent", "least torque lost with one cut out", 2.0, "points"),
    ),
}

RUBRIC = (
    "not done",
    "done with prompts, wrong conclusion",
    "done under supervision",
    "correct with limited supervision",
    "correct twice alone, explains the cause",
)


@dataclass(frozen=True)
class Entry:
    """One row of the lab sheet.

    Parameters
    ----------
    tolerance : float
        Of the measured value in percent, or in its unit.
    kind : str
        `%`, or what the tolerance is in.
    """

    key: str
    name: str
    measured: float
    predicted: float | None
    tolerance: float
    kind: str

    @property
    def off(self) -> float | None:
        """How far the prediction is off, in the measure of the tolerance. [as its kind]"""
        if self.predicted is None:
            return None
        off = self.predicted - self.measured
        if self.kind != "%":
            return off
        return 100.0 * off / self.measured if self.measured else None

    @property
    def met(self) -> bool | None:
        """Whether the prediction lies within the tolerance. [-]"""
        return None if self.off is None else abs(self.off) <= self.tolerance


def measured_values(result: DynoResult) -> dict[str, float]:
    """What a run measured, by the keys a student may predict."""
    s: dict[str, Any] = dict(result.summary)
    if "retarding_power_kw" in s:
        s |= {f"stage_{stage}_kw": power for stage, power in s["retarding_power_kw"].items()}
    if "torque_lost_percent" in s:
        lost = s["torque_lost_percent"].values()
        s |= {"most_lost_percent": max(lost), "least_lost_percent": min(lost)}
    return {key: float(s[key]) for key, *_ in QUANTITIES[result.test] if s.get(key) is not None}


def read_predictions(texts: Sequence[str], test: str) -> dict[str, float]:
    """What a student predicts, from `KEY=VALUE` with or without a unit.

    Parameters
    ----------
    test : str
        Name of the test.

    Raises
    ------
    SettingsError
        A key is none of this test, or a value is no number.
    """
    known = [key for key, *_ in QUANTITIES[test]]
    predicted = {}
    for text in texts:
        key, equals, value = (part.strip() for part in text.partition("="))
        if not equals or key not in known:
            near = get_close_matches(key, known, n=1, cutoff=0.4)
            raise SettingsError(say.no_prediction(text=text, test=test, near=near, known=known))
        try:
            predicted[key] = quantity_in(value, unit_of_key(key))
        except ValueError as problem:
            raise SettingsError(say.prediction_not_read(text=text, problem=str(problem))) from None
    return predicted


def lab_entries(result: DynoResult, predicted: dict[str, float]) -> list[Entry]:
    """The rows of the lab sheet.

    Parameters
    ----------
    predicted : dict
        By `read_predictions`.
    """
    measured = measured_values(result)
    return [
        Entry(key, name, measured[key], predicted.get(key), tolerance, kind)
        for key, name, tolerance, kind in QUANTITIES[result.test]
        if key in measured
    ]
