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
from dashboard.server.packing import meters_of, pack
from dashboard.server.thinning import common_rows, event_rows
from dashboard.trip.strips import columns_of, lamps_of, strips_of
from sim.charts.control_speed import ControlChart, control_chart
from sim.charts.truck_at import truck_at
from sim.inputs.one_trip import Inputs
from sim.inputs.specs import Settings, Truck
from sim.trips.result import BEST_RETARDING_RPM, BRAKE_LIMIT_C, REASON_WORDS, Result, frozen
from sim.units import from_si
from sim.wording import Finding, event_name, said

MOST_ROWS = 3000
MOST_EVENTS = 1500  # sent; events.csv has all
MOST_PLACES = 400  # signs, stops and curves
PROFILE_POINTS = 600
STANDING = 0.3  # m/s, below which a power is no force
NOTHING_N, EVEN_M_S2 = (
    20.0,
    0.01,
)  # assumed: a smaller force is nothing, and forces that speed a truck up by less are even
UNDER_ROAD = -0.025  # assumed: where the road falls more than this, the control-speed chart looks for its height

# column -> what it is rounded to; a power of two, and less than what is shown
FINENESS = {
    "time_s": 2**-5, "distance_m": 2**-3, "elevation_m": 2**-3, "grade_percent": 2**-6, "speed_m_s": 2**-8,
    "engine_speed_rpm": 2**-1, "engine_torque_n_m": 1.0, "fuel_rate_g_s": 2**-6, "engine_brake_power_kw": 2**-3,
    "service_brake_power_kw": 2**-3, "accelerator_percent": 2**-1, "boost_kpa": 2**-2, "brake_pressure_bar": 2**-6,
    "service_brake_force_n": 8.0, "drive_force_n": 8.0, "aero_force_n": 4.0, "rolling_force_n": 4.0, "grade_force_n": 8.0,
    "wheel_utilisation": 2**-8,
    "reservoir_pressure_kpa": 1.0, "coolant_temperature_c": 2**-3, "oil_temperature_c": 2**-3,
}  # fmt: skip
FINENESS |= dict.fromkeys(("speed_limit_m_s", "set_speed_m_s", "target_speed_m_s"), 2**-8)
WARM = 2**-4
MORE = (
    "time_s", "distance_m", "grade_percent", "accelerator_percent", "boost_kpa", "brake_pressure_bar", "coolant_temperature_c",
    "oil_temperature_c", "stage_reason", "active_cylinders", "fan_on", "wheel_utilisation", "drive_force_n", "aero_force_n",
    "rolling_force_n", "grade_force_n", "clutch_locked", "fuel_cut", "wheel_slip", "set_speed_m_s",
)  # fmt: skip
SHAPES = (
    "elevation_m", "speed_m_s", "engine_speed_rpm", "engine_torque_n_m", "fuel_rate_g_s", "engine_brake_power_kw",
    "service_brake_power_kw", "brake_temperature_drive_c", "grade_percent",
)  # fmt: skip
JUMPS = ("gear", "brake_stage", "stage_requested", "stage_reason", "speed_limit_m_s", "set_speed_m_s")


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
    names = list(dict.fromkeys([*MORE, *columns_of(strips)]))
    columns = {name: _rounded(name, trace[name][rows]) for name in names}
    speed, taken = trace["speed_m_s"][rows], trace["service_brake_power_kw"][rows]
    braking = np.where(speed > STANDING, 1000.0 * taken / np.maximum(speed, STANDING), 0.0)
    columns["service_brake_force_n"] = _rounded("service_brake_force_n", braking)
    along = np.linspace(0.0, result.route.length, PROFILE_POINTS)
    columns["profile_distance_m"] = along.astype(np.float32)
    columns["profile_elevation_m"] = np.interp(along, result.route.distance, result.route.elevation).astype(np.float32)
    chart, drawn = _chart(result)
    columns |= drawn
    s = result.summary
    metered = meters_of(result.settings, result.meters)
    columns |= {f"meters:{name}": np.asarray(values, dtype=np.float32) for name, values in result.meters.items()}
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
        "length_m": result.route.length,
        "numbers": summary_rows(result),
        "found": {name: s[name] for name in PREDICTED},
        "events": events,
        "all_events": len(result.events),
        "places": _places(result),
        "strips": strips,
        "chart": chart,
        "reasons": list(REASON_WORDS),
        "rows": len(trace["time_s"]),
        "about": {
            "nothing_n": NOTHING_N,
            "even_n": EVEN_M_S2 * truck.vehicle.mass_kg,
            "brake_limit_c": BRAKE_LIMIT_C,
            "best_retarding_rpm": list(BEST_RETARDING_RPM),
            "limit_tolerance_m_s": settings.simulation.si("limit_tolerance_km_h"),
            "governed_rpm": truck.engine.governed_rpm,
            "stages": [list(truck.engine_brake.pairs(stage)) for stage in range(4)],
            "dead_pairs": list(settings.drill.dead_pairs),
            "switch": settings.retarding.switch,
            "selector": settings.retarding.selector,
            "on_rpm": settings.retarding.on_rpm,
            "off_rpm": settings.retarding.off_rpm,
            "least_oil_c": settings.retarding.least_oil_c,
            "grip": settings.weather.grip,
        },
    }
    return head, columns


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
PREDICTED = ("max_speed_m_s", "max_engine_speed_rpm", "max_brake_temperature_c", "service_brake_applications", "time_s",
             "fuel_l_per_100km", "fuel_mpg_us", "ended")  # fmt: skip


def _rounded(name: str, values: np.ndarray) -> np.ndarray:
    """A column rounded to its fineness."""
    fineness = FINENESS.get(name, WARM if name.endswith("_c") else 0.0)
    rounded = np.round(values / fineness) * fineness if fineness else values
    return np.asarray(rounded, dtype=np.float32)


def _places(result: Result) -> list[list[Any]]:
    """Signs, stops and curves of the road: distance, kind, words."""
    route = result.route
    found: list[list[Any]] = [[sign.distance, "sign", sign.text] for sign in route.signs]
    found += [[stop.distance, "stop", f"stop, {stop.value:g} s"] for stop in route.stops]
    for curve in route.curves:
        if curve.value > 0.0:
            suits = from_si(route.curve_at(curve.distance), "km_h")
            found.append([curve.distance, "curve", f"curve, radius {curve.value:g} m, taken at {suits:.0f} km/h"])
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
    crossings = [[each.gear, each.stage, each.grade, each.speed, each.force, from_si(each.engine_speed, "rpm")]
                 for each in chart.crossings if math.isfinite(each.speed)]  # fmt: skip
    head = {
        "elevation_m": chart.elevation,
        "temperature_c": from_si(chart.temperature, "c"),
        "gears": sorted(gears),
        "grades": [line.grade for line in chart.lines],
        "crossings": [[round(value, 4) for value in crossing] for crossing in crossings],
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
