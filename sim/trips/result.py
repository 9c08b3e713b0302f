"""What a trip leaves behind: trace, event log, summary, energy ledger, and the inputs that made it."""

import csv
import io
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.errors import RunError
from sim.inputs.specs import Settings, Truck
from sim.march.records import BRAKED_FOR, LOG, REASONS, exported
from sim.messages import running
from sim.roads.falls import DESCENT
from sim.roads.route import Route
from sim.trips.books import energy_ledger, wrong_in
from sim.units import (
    CELSIUS_ZERO,
    MILE,
    REVOLUTION_PER_MINUTE,
    STANDARD_GRAVITY,
    SYSTEMS,
    US_GALLON,
    headed,
    key_to_si,
    quantity_text,
    shown_unit,
    shown_value,
    to_si,
    unit_of_key,
)
from sim.wording import Finding, finding, said

BRAKE_LIMIT_C = 260.0  # 500 F, grade-severity model (Wyoming DOT report WY-1901F, 2018, seen second-hand)

BEST_RETARDING_RPM = (1750.0, 2100.0)  # TM 9-2320-363-10: engine speed at which an engine brake works best
HOTTEST_COOLANT_C = 110.0  # assumed: from here a coolant alarm would be on
USUAL_ALARM_KPA = 414.0  # 60 psi, where a low-pressure warning usually comes on
HOTTEST_OIL_C = 156.0  # the viscosity law of sim.laws.engine covers 230 to 430 K
WORTH_SAYING_M = 0.25  # m: a truck that rolls back less has only settled into its clutch
SHORTEST_RACING = 0.5  # s: a shorter one is a closing clutch, or a shift
SHORTEST_WORTH_SAYING = 0.1  # s: a shorter overspeed of the engine is a ripple of its governor, a shorter slip a jerk

MOST_EXPLANATIONS = 3

# extreme of the summary -> field of the state, beside which another says where that was; and what it is
PEAKS = {
    "max_speed_m_s": ("max_speed", "speed"),
    "max_engine_speed_rpm": ("max_engine_speed", "engine speed"),
    "max_brake_temperature_c": ("max_brake_temperature", "temperature"),
    "max_hottest_brake_temperature_c": ("max_hottest_brake_temperature", "temperature"),
    "least_tank_pressure_kpa": ("least_reservoir_pressure", "gauge pressure"),
}

VERDICTS = {
    "arrived": "Arrived",
    "time_limit": "Ran out of time",
    "stalled": "Stalled",
    "runaway": "Ran away",
}

CAUTIONS = (
    "A teaching model, not driving or repair advice.",
    "Follow posted limits, the driver's manual, the maker's service information, local codes and licensed practice.",
    "The engine brake does not replace the service brakes; it is not for slippery roads or an empty combination.",
)


def code_state(code: Mapping[str, Any]) -> Finding:
    """What a code of the controller says and how it stands.

    Parameters
    ----------
    code : mapping
        An entry of the summary's `codes`.
    """
    kind = "code.active" if code["active"] else "code.earlier"
    return Finding(kind, {key: code[key] for key in ("words", "lamp", "count")})


def frozen(frame: Mapping[str, float]) -> Finding:
    """What the controller believed when a code was first set.

    Parameters
    ----------
    frame : mapping
        The `freeze_frame` of a code.
    """
    values = {key.removesuffix(f"_{unit_of_key(key)}"): key_to_si(value, key) for key, value in frame.items()}
    return Finding("code.freeze_frame", values)


REASON_WORDS = tuple(said(Finding(kind), "metric") if kind else "" for kind in REASONS)


def peak_text(summary: Mapping[str, Any], key: str, units: str) -> str:
    """An extreme of a trip, and where it was.

    Parameters
    ----------
    summary : mapping
        Of the trip.
    key : str
        One of `PEAKS`.
    """
    value = quantity_text(key_to_si(summary[key], key), PEAKS[key][1], units)
    return f"{value} {said(summary['peaks'][key], units)}"


def applications_text(summary: Mapping[str, Any], units: str) -> str:
    """How often the service brakes were applied, and what for."""
    split = summary["service_brake_applications_for"].items()
    told = ", ".join(f"{times} {said(Finding(BRAKED_FOR[what]), units)}" for what, times in split if times)
    return f"{summary['service_brake_applications']}" + (f": {told}" if told else "")


class Trace(Mapping[str, np.ndarray]):
    """Named columns of a trip, units in the names; `time_s` first.

    Parameters
    ----------
    parts : sequence of array
        The log as the clock keeps it, each of shape (rows, 1 + columns). [SI]
    tick : float
        [s]
    """

    def __init__(self, parts: Sequence[np.ndarray], tick: float) -> None:
        def whole(place: int) -> np.ndarray:
            return np.concatenate([part[:, place] for part in parts])

        self._columns: dict[str, np.ndarray] = {"time_s": whole(0) * tick}
        for place, column in enumerate(LOG, start=1):
            self._columns[column.name] = exported(whole(place), column.unit)

    def __getitem__(self, name: str) -> np.ndarray:
        return self._columns[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)

    def in_gear(self, gear: int) -> tuple[float, float | None]:
        """How long a gear was in, and how fast the engine turned in it.

        Returns
        -------
        duration : float
            [s]
        engine_speed : float or None
            Mean over that time; None for a gear that was never in. [rpm]
        """
        spans = np.diff(self["time_s"], append=self["time_s"][-1:])
        spans[self["gear"] != gear] = 0.0
        duration = float(spans.sum())
        return duration, float((spans * self["engine_speed_rpm"]).sum()) / duration if duration > 0.0 else None

    def frame(self) -> Any:
        """The trace as a DataFrame.

        Returns
        -------
        frame : pandas.DataFrame
            One row a logged instant, reasons in words.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        import pandas

        columns = dict(self._columns)
        columns["stage_reason"] = np.array([REASON_WORDS[int(code)] for code in columns["stage_reason"]])
        return pandas.DataFrame(columns)

    def csv(self) -> str:
        """The trace as the text of a CSV file, reasons in words."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(self._columns)
        cells = (
            (REASON_WORDS[int(code)] for code in values)
            if name == "stage_reason"
            else (f"{value:.7g}" for value in values)
            for name, values in self._columns.items()
        )
        writer.writerows(zip(*cells, strict=True))
        return out.getvalue()


@dataclass(frozen=True)
class Result:
    """A finished trip.

    Parameters
    ----------
    summary : dict
        Keys carry their unit.
    trace : Trace
        Named columns.
    events : tuple of dict
        time_s, distance_m, event, cause (what a finding's `data` gives), value [SI], quantity.
    truck : Truck
        As driven.
    settings : Settings
        As driven.
    route : Route
        As driven.
    sources : dict
        Mark and source of each number of the truck.
    meters : mapping
        Columns of the meters put on, empty without any.
    controls : array
        What hands and feet did, as `sim.march.clock.Clock.kept_controls` gives it; no rows where nothing was recorded.
    """

    summary: dict[str, Any]
    trace: Trace
    events: tuple[dict[str, Any], ...]
    truck: Truck
    settings: Settings
    route: Route
    sources: dict[str, str]
    meters: Mapping[str, np.ndarray] = field(default_factory=dict)
    controls: np.ndarray = field(default_factory=lambda: np.empty((0, 3)))

    def meters_csv(self) -> str:
        """What the meters showed, as the text of a CSV file.

        Returns
        -------
        text : str
            "" without meters.
        """
        if not self.meters:
            return ""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(self.meters)
        writer.writerows((f"{value:.7g}" for value in row) for row in zip(*self.meters.values(), strict=True))
        return out.getvalue()

    def events_csv(self, units: str = "metric") -> str:
        """The event log as the text of a CSV file for people: places, causes and values in their units.

        Parameters
        ----------
        units : str
            metric, us, or both, which makes columns of each.
        """
        systems = SYSTEMS if units == "both" else (units,)
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        places = [headed("distance", shown_unit("distance", system)) for system in systems]
        writer.writerow(("time [s]", *places, "event", "cause", *("value", "unit") * len(systems)))
        for event in self.events:
            row = [f"{event['time_s']:.7g}"]
            row += [f"{shown_value(event['distance_m'], 'distance', system):.7g}" for system in systems]
            row += [event["event"], said(event["cause"], units)]
            for system in systems:
                kind = event["quantity"]
                row += (
                    [f"{shown_value(event['value'], kind, system):.5g}", shown_unit(kind, system)] if kind else ["", ""]
                )
            writer.writerow(row)
        return out.getvalue()

    def summary_json(self) -> str:
        """The summary as JSON text."""
        return json.dumps(self.summary, indent=2, allow_nan=False) + "\n"


@dataclass(frozen=True)
class Marched:
    """What a march that has ended leaves, and what it was driven with.

    Parameters
    ----------
    cause : Finding
        Why it ended.
    before : array
        State at the start, shape (1,). [SI]
    after : array
        State at the end, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    seconds : float
        Duration. [s]
    """

    ended: str
    cause: Finding
    before: np.ndarray
    after: np.ndarray
    parameters: np.ndarray
    seconds: float
    events: tuple[dict[str, Any], ...]
    trace: Trace
    truck: Truck
    route: Route
    settings: Settings

    @property
    def climbed(self) -> float:
        """Height of the end above the start, from the road's profile. [m]"""
        return self.route.elevation_at(float(self.after["distance"][0])) - self.route.start_elevation


def summarise(marched: Marched) -> dict[str, Any]:
    """The numbers of a finished trip.

    Returns
    -------
    summary : dict
        Keys carry their unit; `timing` is added by the caller.
    """
    summary: dict[str, Any] = {
        "ended": marched.ended,
        "ended_because": marched.cause.data(),
        "distance_m": float(marched.after["distance"][0]),
        "time_s": marched.seconds,
        "net_height_m": marched.climbed,
        **_fuel(marched),
        **_extremes(marched),
        **_counts(marched),
        **_lengths(marched),
        "energy": energy_ledger(marched.before, marched.after, marched.parameters, marched.climbed),
    }
    outrun = [event["cause"] for event in marched.events if event["event"] == "outrun"]
    different = [cause for place, cause in enumerate(outrun) if cause not in outrun[:place]]
    summary["explanations"] = different[:MOST_EXPLANATIONS]
    tail_wind = float(marched.route.wind.min()) + marched.settings.weather.wind_m_s < 0.0
    summary["warnings"] = [found.data() for found in warnings_of(summary, marched.settings, tail_wind)]
    return summary


def _fuel(marched: Marched) -> dict[str, Any]:
    """Fuel, what it gives per distance, and the same credited for height.

    Notes
    -----
    A road that ends higher or lower than it starts stores or returns height. The credited fuel takes m g h out at the
    engine's indicated efficiency, the least fuel that height can cost: m g h / (heating value x indicated efficiency). On a
    long descent the brakes have eaten what the height would have given back, and the credited fuel says little.
    """
    s, p, fuel = marched.after[0], marched.parameters[0], marched.settings.fuel
    used, distance = float(s["fuel_mass"]), float(s["distance"])
    credit = float(p["mass"] * STANDARD_GRAVITY * marched.climbed / (p["heating_value"] * p["indicated_efficiency"]))
    found: dict[str, Any] = {"fuel_kg": used}
    for name, mass in (("fuel", used), ("fuel_credited", used - credit)):
        litres = mass / fuel.density_kg_per_l
        found[f"{name}_l_per_100km"] = litres / distance * 1e5 if distance > 0.0 else None
        found[f"{name}_mpg_us"] = (distance / MILE) / (litres * 1e-3 / US_GALLON) if litres > 0.0 else None
    return found | {"co2_kg": used * fuel.co2_kg_per_kg}


def _extremes(marched: Marched) -> dict[str, Any]:
    """Mean speed, the highest of what a driver watches, the lowest pressure of the tanks, and where each of them was."""
    s, p, seconds = marched.after[0], marched.parameters[0], marched.seconds
    return {
        "peaks": {key: _peak(s, marched.route, field).data() for key, (field, _) in PEAKS.items()},
        "mean_speed_m_s": float(s["distance"]) / seconds if seconds > 0.0 else 0.0,
        "max_speed_m_s": float(s["max_speed"]),
        "max_engine_speed_rpm": float(s["max_engine_speed"]) / REVOLUTION_PER_MINUTE,
        "max_brake_temperature_c": float(s["max_brake_temperature"]) - CELSIUS_ZERO,
        "max_hottest_brake_temperature_c": float(s["max_hottest_brake_temperature"]) - CELSIUS_ZERO,
        "published_brake_temperature_a_c": _published(s, p, "a"),
        "published_brake_temperature_b_c": _published(s, p, "b"),
        "max_published_brake_temperature_a_c": _published(s, p, "a", "max_"),
        "max_published_brake_temperature_b_c": _published(s, p, "b", "max_"),
        "least_tank_pressure_kpa": float(s["least_reservoir_pressure"]) / 1000.0,
    }


def _peak(s: np.void, route: Route, field: str) -> Finding:
    """Where an extreme was reached, and in which phase of the road: what counts as a descent does so for the driver."""
    place = float(s[f"{field}_place"])
    if place == 0.0:
        return finding("peak.start")
    grade = route.grade_at(place)
    if grade <= DESCENT:
        return finding("peak.descent", place=place)
    return finding("peak.climb", place=place) if grade >= -DESCENT else finding("peak.level", place=place)


def _counts(marched: Marched) -> dict[str, Any]:
    """How often something was done, and how long the top gear and each stage were in."""
    s, counted = marched.after[0], [event["event"] for event in marched.events]
    braked_for = [event["cause"]["kind"] for event in marched.events if event["event"] == "brakes_applied"]
    time, engine_speed = marched.trace.in_gear(len(marched.truck.gearbox.ratios))
    return {
        "gear_shifts": counted.count("gear_engaged"),
        "top_gear_time_s": time,
        "top_gear_engine_speed_rpm": engine_speed,
        "service_brake_applications": len(braked_for),
        "service_brake_applications_for": {what: braked_for.count(why) for what, why in BRAKED_FOR.items()},
        "engine_brake_stage_time_s": {str(k): float(s[f"stage_time_{k}"]) for k in range(4)},
        "stage_changes": counted.count("stage_changed"),
        "fan_engagements": counted.count("fan_engaged"),
    }


def _lengths(marched: Marched) -> dict[str, Any]:
    """How long or far something went on that should not, how hot things got, and what held the truck back."""
    s, trace = marched.after[0], marched.trace
    held = {
        "engine": float(s["held_by_engine"]),
        "air_and_tyres": float(s["held_by_resistance"]),
        "service_brakes": float(s["held_by_brakes"]),
    }
    all_held = sum(held.values())
    return {
        "time_over_governed_s": float(s["time_over_governed"]),
        "time_racing_s": float(s["time_racing"]),
        "time_over_limit_s": float(s["time_over_limit"]),
        "time_wheel_slip_s": float(s["time_wheel_slip"]),
        "rolled_back_m": float(s["rolled_back"]),
        "max_coolant_temperature_c": float(trace["coolant_temperature_c"].max()),
        "max_oil_temperature_c": float(trace["oil_temperature_c"].max()),
        "clutch_heat_kj": float(s["clutch"]) / 1000.0,
        "retarding_share": {name: value / all_held if all_held > 0.0 else 0.0 for name, value in held.items()},
    }


def _published(s: np.void, p: np.void, letter: str, prefix: str = "") -> float | None:
    """A temperature of the published brake model; None for a truck it does not cover."""
    if p["severity_applies"] < 0.5:
        return None
    return float(s[f"{prefix}severity_temperature_{letter}"]) - CELSIUS_ZERO


def assure_numbers(ended: str, found: Any, key: str = "") -> None:
    """Refuses a result in which something is no finite number.

    Parameters
    ----------
    ended : str
        What the result would say.
    found : any
        Summary, events or columns: tables and lists in any depth.
    key : str
        Where it stands.

    Raises
    ------
    RunError
        Something is not; the message names it.
    """
    sound = True
    if isinstance(found, Mapping):
        for name, value in found.items():
            assure_numbers(ended, value, f"{key}.{name}" if key else str(name))
    elif isinstance(found, list | tuple):
        for value in found:
            assure_numbers(ended, value, key)
    elif isinstance(found, int | float):
        sound = math.isfinite(found)
    elif isinstance(found, np.ndarray):
        sound = bool(np.isfinite(found).all())
    if not sound:
        raise RunError(running.result_left_the_numbers(key=key, ended=ended))


def warnings_of(summary: dict[str, Any], settings: Settings, tail_wind: bool) -> list[Finding]:
    """What a reader must see first, worst first.

    Parameters
    ----------
    summary : dict
        Without its warnings.
    tail_wind : bool
        Air may push the truck. [-]
    """
    s, limit = summary, to_si(BRAKE_LIMIT_C, "c")
    turning = to_si(s["max_engine_speed_rpm"], "rpm")
    found = []
    if s["ended"] != "arrived":
        found.append(finding("warning.ended", how=Finding(f"event.{s['ended']}"), because=s["ended_because"]))
    mean, hottest = s["max_brake_temperature_c"], s["max_hottest_brake_temperature_c"]
    if mean > BRAKE_LIMIT_C:
        found.append(finding("warning.brakes_past_limit", temperature=to_si(mean, "c"), limit=limit))
    elif hottest > BRAKE_LIMIT_C:
        found.append(finding("warning.hottest_axle_past_limit", temperature=to_si(hottest, "c"), limit=limit))
    for letter in ("a", "b"):
        published = s[f"max_published_brake_temperature_{letter}_c"]
        if published is not None and published > BRAKE_LIMIT_C:
            told = {"set": letter.upper(), "temperature": to_si(published, "c"), "limit": limit}
            found.append(finding("warning.published_model_past_limit", **told))
    if s["time_over_governed_s"] >= SHORTEST_WORTH_SAYING:
        found.append(finding("warning.over_governed", time=s["time_over_governed_s"], turning=turning))
    if s["time_racing_s"] >= SHORTEST_RACING:
        found.append(finding("warning.racing", time=s["time_racing_s"], turning=turning))
    if s["time_over_limit_s"] >= 0.5:
        found.append(finding("warning.over_posted_limit", time=s["time_over_limit_s"]))
    if s["rolled_back_m"] >= WORTH_SAYING_M:
        found.append(finding("warning.rolled_back", way=s["rolled_back_m"]))
    if s["time_wheel_slip_s"] >= SHORTEST_WORTH_SAYING:
        found.append(finding("warning.wheels_slipped", time=s["time_wheel_slip_s"]))
    if s["max_coolant_temperature_c"] > HOTTEST_COOLANT_C:
        found.append(finding("warning.overheated", temperature=to_si(s["max_coolant_temperature_c"], "c")))
    if s["max_oil_temperature_c"] > HOTTEST_OIL_C:
        told = {"temperature": to_si(s["max_oil_temperature_c"], "c"), "limit": to_si(HOTTEST_OIL_C, "c")}
        found.append(finding("warning.oil_beyond_the_law", **told))
    if s["least_tank_pressure_kpa"] < USUAL_ALARM_KPA:
        told = {"pressure": to_si(s["least_tank_pressure_kpa"], "kpa"), "alarm": to_si(USUAL_ALARM_KPA, "kpa")}
        found.append(finding("warning.tank_pressure_low", **told))
    found += wrong_in(s["energy"], tail_wind)
    if settings.weather.grip < 0.4 and s["engine_brake_stage_time_s"]["0"] < s["time_s"]:
        found.append(finding("warning.engine_brake_on_slippery_road"))
    return found
