"""What the Trip page is sent for one trip, made and packed in a worker: a head in JSON, then columns as float32.

The columns share one index, chosen so that lowest and highest values, jumps and events stay. Each number is rounded to a power
of two far below what can be seen, so that it packs well; the downloads hold everything.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np

from dashboard.paper.words import brakes_too_hot, summary_rows, verdict
from dashboard.server.costs import costs, trip_file_seconds, trip_seconds
from dashboard.server.packing import meters_of, pack, si_name
from dashboard.server.thinning import common_rows, event_rows
from dashboard.trip.strips import columns_of, lamps_of, strips_of
from sim.actors.interlocks import interlocks
from sim.charts.control_speed import ControlChart, control_chart
from sim.charts.truck_at import truck_at
from sim.inputs.one_trip import Inputs
from sim.inputs.specs import Settings, Truck
from sim.march.records import LOG, PLACES, REASONS
from sim.trips.result import BEST_RETARDING_RPM, BRAKE_LIMIT_C, Result, frozen
from sim.units import LITRE_PER_100KM, key_to_si, to_si
from sim.wording import Finding, event_name, said, wordings

MOST_ROWS = 3000
MOST_EVENTS = 1500  # sent; events.csv has all
MOST_PLACES = 400  # signs, stops and curves
PROFILE_POINTS = 600
STANDING = 0.3  # m/s, below which a power is no force
STANDS = 0.1  # m/s, below which a truck is said to stand, assumed
PRESSED = to_si(0.02, "bar")  # assumed: brakes with more are said to be pressed
NOTHING_N, EVEN_M_S2 = (
    20.0,
    0.01,
)  # assumed: a smaller force is nothing, and forces that speed a truck up by less are even
UNDER_ROAD = -0.025  # assumed: where the road falls more than this, the control-speed chart looks for its height

# column -> what it is rounded to; a power of two, and less than what is shown [SI]
FINENESS = {
    "time": 2**-5, "distance": 2**-3, "elevation": 2**-3, "grade": 2**-13, "speed": 2**-8, "engine_speed": 2**-5,
    "engine_torque": 1.0, "fuel_rate": 2**-16, "engine_brake_power": 2**7, "service_brake_power": 2**7,
    "accelerator": 2**-8, "brake_pressure": 2**10, "service_brake_force": 8.0, "drive_force": 8.0,
    "aero_force": 4.0, "rolling_force": 4.0, "grade_force": 8.0,
}  # fmt: skip
FINENESS |= dict.fromkeys(("speed_limit", "set_speed", "target_speed"), 2**-8)
WARM = 2**-4  # K
MORE = (
    "time", "distance", "grade", "accelerator", "brake_pressure", "stage_reason", "active_cylinders",
    "drive_force", "aero_force", "rolling_force", "grade_force", "clutch_locked", "fuel_cut",
    "set_speed", "speed_limit",
)  # fmt: skip
SHAPES = (
    "elevation_m", "speed_m_s", "engine_speed_rpm", "engine_torque_n_m", "fuel_rate_g_s", "engine_brake_power_kw",
    "service_brake_power_kw", "brake_temperature_drive_c", "grade_percent",
)  # fmt: skip
JUMPS = (
    "gear", "brake_stage", "stage_requested", "stage_reason", "speed_limit_m_s", "set_speed_m_s", "believed_clutch_pressed",
    "believed_in_gear", "believed_engine_brake_switch", "believed_selector", "held_by_cruise", "waits_for_brake",
    "traction_lost", "engine_brake_refused",
)  # fmt: skip


@costs(lambda inputs, key: trip_seconds(inputs))
def drive_for_page(inputs: Inputs, key: str) -> bytes:
    """Drives a trip and packs what the page needs; runs in a worker.

    Parameters
    ----------
    key : str
        Content address of the inputs.

    Returns
    -------
    packed : bytes
        As `dashboard.server.packing.pack` makes it.

    Raises
    ------
    HaulbenchError
        The model refuses the inputs.
    """
    from sim.trips.trip import run_trip

    return packed(run_trip(inputs.truck, inputs.route, inputs.settings), key)


@costs(lambda inputs: 0.02)
def foretold(inputs: Inputs) -> list[dict[str, Any]]:
    """What will happen, before the trip; runs in a worker."""
    from sim.trips.trip import foretell

    return foretell(inputs.truck.truck, inputs.route, inputs.settings)


@costs(trip_file_seconds)
def file_of(inputs: Inputs, name: str) -> bytes:
    """A whole file of a trip, driven anew: nothing is left out; runs in a worker.

    Parameters
    ----------
    name : str
        trace.csv, events.csv, summary.json or report.html.
    """
    from sim.trips.trip import run_trip

    result = run_trip(inputs.truck, inputs.route, inputs.settings)
    if name == "report.html":
        from dashboard.trip.report import trip_report

        return trip_report(result).encode()
    text = {"trace.csv": result.trace.csv, "events.csv": result.events_csv, "summary.json": result.summary_json}[name]
    return text().encode()


def packed(result: Result, key: str) -> bytes:
    """A result as the page takes it.

    Parameters
    ----------
    key : str
        Content address of its inputs.

    Returns
    -------
    packed : bytes
        As in `drive_for_page`.
    """
    head, columns = answer_of(result)
    return pack({**head, "key": key}, columns)


def answer_of(result: Result) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Head and columns for the page.

    Returns
    -------
    head : dict
        Everything in words.
    columns : dict of str to array
        float32.
    """
    trace, truck, settings = result.trace, result.truck, result.settings
    strips = strips_of(result)
    rows = common_rows(trace, SHAPES, JUMPS, event_rows(result), MOST_ROWS)
    known = {si_name(name): name for name in trace}

    def column(name: str) -> np.ndarray:
        return np.asarray(key_to_si(trace[known[name]][rows], known[name]))  # type: ignore[arg-type]

    conditions = conditions_of(settings)
    wanted = [*MORE, *columns_of(strips)]
    columns = {row["column"]: column(row["column"]).astype(np.float32) for row in conditions}
    columns |= {name: _rounded(name, column(name)) for name in dict.fromkeys(wanted)}
    speed, taken = column("speed"), column("service_brake_power")
    braking = np.where(speed > STANDING, taken / np.maximum(speed, STANDING), 0.0)
    columns["service_brake_force"] = _rounded("service_brake_force", braking)
    along = np.linspace(0.0, result.route.length, PROFILE_POINTS)
    columns["profile_distance"] = along.astype(np.float32)
    columns["profile_elevation"] = np.interp(along, result.route.distance, result.route.elevation).astype(np.float32)
    chart, drawn = _chart(result)
    columns |= drawn
    s = result.summary
    metered = meters_of(result.settings, result.meters)
    columns |= {
        f"meters:{si_name(name)}": np.asarray(key_to_si(values, name), dtype=np.float32)  # type: ignore[arg-type]
        for name, values in result.meters.items()
    }
    events = [
        [round(event["time_s"], 2), round(event["distance_m"], 1), event_name(event), event["cause"],
         event["value"], event["quantity"]]
        for event in result.events[:MOST_EVENTS]
    ]  # fmt: skip
    head = {
        "verdict": verdict(s).data(),
        "lamps": lamps_of(result),
        "warnings": untold(s),
        "explanations": s["explanations"],
        "foreseen": s["foreseen"],
        "codes": codes_of(result),
        "controller": controller_of(result),
        "meters": metered,
        "truck": s["truck"],
        "route": s["route"],
        "length": result.route.length,
        "numbers": summary_rows(result),
        "found": found_of(s),
        "events": events,
        "all_events": len(result.events),
        "places": _places(result),
        "strips": strips,
        "chart": chart,
        "reasons": REASONS,
        "conditions": conditions,
        "rows": len(trace["time_s"]),
        "about": {
            "standing": STANDS,
            "nothing": NOTHING_N,
            "even": EVEN_M_S2 * truck.vehicle.mass_kg,
            "brake_limit": to_si(BRAKE_LIMIT_C, "c"),
            "brakes_pressed": PRESSED,
            "best_retarding": [to_si(each, "rpm") for each in BEST_RETARDING_RPM],
            "limit_tolerance": settings.simulation.si("limit_tolerance_km_h"),
            "over_governed": to_si(truck.engine.governed_rpm + 1.0, "rpm"),
            "stages": [list(truck.engine_brake.pairs(stage)) for stage in range(4)],
            "dead_pairs": list(settings.drill.dead_pairs),
        },
    }
    return head, columns


def conditions_of(settings: Settings) -> list[dict[str, Any]]:
    """What keeps the engine brake off, for the list of the page: the column that says it, levels, and its wordings."""
    columns = {column.place: si_name(column.name) for column in LOG}
    rows = []
    for row in interlocks(settings):
        lets = row.cause.replace("cause.", "interlock.")
        stops = f"{lets}_stops" if f"{lets}_stops" in wordings() else row.cause
        told = {"above": row.above, "level": row.level, "level_on": row.level_on, "lets": lets, "stops": stops}
        rows.append({"column": columns[PLACES[row.place]], **told})
    return rows


def untold(summary: dict[str, Any]) -> list[dict[str, Any]]:
    """The warnings that the verdict does not tell already."""
    told = verdict(summary).data()["values"]
    if brakes_too_hot(summary):
        return [warning for warning in summary["warnings"] if warning["kind"] != "warning.brakes_past_limit"]
    if "because" in told:
        return [warning for warning in summary["warnings"] if warning["kind"] != "warning.ended"]
    return [warning for warning in summary["warnings"] if warning != told.get("warning")]


# what a controller does to a trip, by its event
CONTROLLER = {
    "derated": "controller.derated",
    "cruise_locked_out": "controller.cruise_locked_out",
    "engine_brake_locked_out": "controller.engine_brake_locked_out",
    "engine_shut_down": "controller.engine_shut_down",
}


def controller_of(result: Result) -> list[dict[str, Any]]:
    """What the controller has taken from the driver because of codes, each once, the last time it did, with the reason."""
    used = {
        "cruise_locked_out": result.settings.cruise.set_speed_km_h > 0.0,
        "engine_brake_locked_out": result.settings.retarding.switch,
    }
    told = {}
    for event in reversed(result.events):
        if event["event"] in CONTROLLER and used.get(event["event"], True):
            values = {"share": event["value"], "place": event["distance_m"], "why": event["cause"]}
            told[event["event"], event["value"], said(event["cause"], "metric")] = Finding(
                CONTROLLER[event["event"]], values
            )
    return [found.data() for found in reversed(told.values())]


def codes_of(result: Result) -> list[dict[str, Any]]:
    """The codes of a trip, each with the times it was active.

    Returns
    -------
    codes : list of dict
        spn, fmi, words, lamp, count, active (at the end), frame (its freeze frame as a finding), spans: from and to, None
        for one that lasts.
    """
    codes = []
    for code in result.summary["codes"]:
        spans: list[list[float | None]] = []
        for event in result.events:
            about = event["cause"]["values"]
            if (about.get("spn"), about.get("fmi")) != (code["spn"], code["fmi"]):
                continue
            if event["event"] == "code_set":
                spans.append([event["time_s"], None])
            elif event["event"] == "code_inactive" and spans:
                spans[-1][1] = event["time_s"]
        kept = {key: code[key] for key in ("spn", "fmi", "words", "lamp", "count", "active")}
        codes.append({**kept, "frame": frozen(code["freeze_frame"]).data(), "spans": spans})
    return codes


# what a student may predict, by the key of the summary
PREDICTED = ("max_speed_m_s", "max_engine_speed_rpm", "max_brake_temperature_c", "service_brake_applications", "time_s")


def found_of(summary: dict[str, Any]) -> dict[str, Any]:
    """What a student may predict, as it came; nothing for fuel where no way was made. [SI]"""
    fuel = summary["fuel_l_per_100km"]
    found = {si_name(key): key_to_si(summary[key], key) for key in PREDICTED}
    return {**found, "fuel": fuel and fuel * LITRE_PER_100KM, "ended": summary["ended"]}


def _rounded(name: str, values: np.ndarray) -> np.ndarray:
    """A column rounded to its fineness."""
    fineness = FINENESS.get(name, WARM if "temperature" in name else 0.0)
    rounded = np.round(values / fineness) * fineness if fineness else values
    return np.asarray(rounded, dtype=np.float32)


def _places(result: Result) -> list[list[Any]]:
    """Signs, stops and curves of the road: distance and kind."""
    route = result.route
    found: list[list[Any]] = [[sign.distance, "sign"] for sign in route.signs]
    found += [[stop.distance, "stop"] for stop in route.stops]
    found += [[curve.distance, "curve"] for curve in route.curves if curve.value > 0.0]
    return sorted(found)[:MOST_PLACES]


def _chart(result: Result) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The control-speed chart: words for the head, and its curves as columns."""
    height, falling = result.trace["elevation_m"], result.trace["grade_percent"] <= 100.0 * UNDER_ROAD
    at = float(np.mean(height[falling] if falling.any() else height))
    chart = _cached_chart(result.truck.model_dump_json(), result.settings.model_dump_json(include={"weather", "fuel"}),
                          round(at, -1), result.route.start_elevation)  # fmt: skip
    columns: dict[str, np.ndarray] = {}
    gears: dict[int, list[np.ndarray]] = {}
    for curve in chart.curves:
        if curve.stage == 0:
            columns[f"chart_speed_{curve.gear}"] = curve.speed.astype(np.float32)
        gears.setdefault(curve.gear, []).append(curve.force)
    for gear, forces in gears.items():
        for stage, force in enumerate(forces):
            columns[f"chart_force_{gear}_{stage}"] = (np.round(force / 16.0) * 16.0).astype(np.float32)
    columns["chart_line_speed"] = chart.lines[0].speed.astype(np.float32)
    for place, line in enumerate(chart.lines):
        columns[f"chart_line_{place}"] = (np.round(line.force / 16.0) * 16.0).astype(np.float32)
    crossings = [
        [each.gear, each.stage, each.grade, round(each.speed, 4)]
        for each in chart.crossings
        if math.isfinite(each.speed)
    ]
    head = {
        "elevation": chart.elevation,
        "gears": sorted(gears),
        "grades": [line.grade for line in chart.lines],
        "crossings": crossings,
    }
    return head, columns


@lru_cache(maxsize=32)
def _cached_chart(truck: str, settings: str, elevation: float, start: float) -> ControlChart:
    """A chart by the texts of what it depends on: worked out once in each worker."""
    here = truck_at(Truck.model_validate_json(truck), Settings.model_validate_json(settings), elevation, start)
    return control_chart(here)


def load_pages() -> None:
    """Loads what a worker needs to answer the pages; runs in a worker."""
    from sim.inputs.one_trip import read_inputs

    drive_for_page(read_inputs("grade:-1%,0.2km", "long-haul-manual"), "")
