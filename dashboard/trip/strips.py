"""What the strips of the Trip page show: which columns, in which colours, between which ends. Pure functions of a result.

A strip names columns of the trace, which the browser has in SI; it draws the strip and turns its numbers into the units
chosen. Colours and dashes are those of the report, so that a line is known again.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from dashboard.paper import palette
from dashboard.paper.drawing import span_of
from dashboard.server.packing import si_name
from sim.trips.result import BEST_RETARDING_RPM, BRAKE_LIMIT_C, VERDICTS, Result
from sim.units import CELSIUS_ZERO, key_to_si, to_si
from sim.wording import finding

FASTEST_AIM = to_si(150.0, "km_h")  # above it nobody aims: cruise has the pedal, or the truck is let run
GROUPS = (("steer", "steer axle", palette.GREEN, "dashdot"), ("drive", "drive axles", palette.BLUE, "dash"),
          ("trailer", "trailer axles", palette.PURPLE, "dot"))  # fmt: skip


def _line(column: str, label: str, colour: str, dash: str = "solid", **more: Any) -> dict[str, Any]:
    """One line of a strip; the column by its name in the trace."""
    return {"column": si_name(column), "label": label, "colour": colour, "dash": dash, **more}


def strips_of(result: Result) -> list[dict[str, Any]]:
    """The strips of a trip from the top.

    Returns
    -------
    strips : list of dict
        name, title, kind of quantity, height, ends of the axis, lines (column, label, colour, dash, width, step, shade, gap),
        bands and levels with their labels. [SI]
    """
    truck, summary = result.truck, result.summary
    governed, limit = to_si(truck.engine.governed_rpm, "rpm"), to_si(BRAKE_LIMIT_C, "c")

    def trace(name: str) -> np.ndarray:
        return np.asarray(key_to_si(result.trace[name], name))  # type: ignore[arg-type]

    posted = bool(result.route.limits)
    speeds = [*([_line("speed_limit_m_s", "posted limit", palette.VERMILLION, "dash", step=True)] if posted else []),
              _line("target_speed_m_s", "aimed for", palette.GREEN, "dot", most=FASTEST_AIM)]  # fmt: skip
    if np.any(trace("set_speed_m_s") > 0.0):
        speeds.append(_line("set_speed_m_s", "cruise set", palette.PURPLE, "longdash", step=True, gap=True, width=2.4))
    speeds.append(_line("speed_m_s", "speed", palette.BLACK, width=2.2, main=True))
    warm = [_line(f"brake_temperature_{group}_c", name, colour, dash)
            for group, name, colour, dash in GROUPS if getattr(truck, f"{group}_brakes").brakes]  # fmt: skip
    for letter, dash in (("a", "longdash"), ("b", "longdashdot")):
        if summary[f"max_published_brake_temperature_{letter}_c"] is not None:
            warm.append(
                _line(f"severity_temperature_{letter}_c", f"published model, set {letter.upper()}", palette.GREY, dash)
            )
    warm.append(_line("brake_temperature_c", "mean, ours", palette.BLACK, width=2.6, main=True))
    powers = [_line("service_brake_power_kw", "service brakes", palette.VERMILLION, shade=0.45, width=1.0),
              _line("engine_brake_power_kw", "engine", palette.BLUE, width=2.2, main=True)]  # fmt: skip
    known = {si_name(name): name for name in result.trace}
    hot = [trace(known[line["column"]]) for line in warm]
    low, high = (to_si(each, "rpm") for each in BEST_RETARDING_RPM)
    return [
        {"name": "road", "title": "Road by brake stage", "kind": "height", "height": 150, "road": True,
         "span": span_of([trace("elevation_m"), np.asarray(result.route.elevation)], 20.0),
         "lines": [_line("elevation_m", "height", palette.BLACK, main=True)]},
        {"name": "speed", "title": "Speed", "kind": "speed", "digits": 0, "height": 128,
         "over": ["speed", "speed_limit"] if posted else None,
         "tolerance": result.settings.simulation.si("limit_tolerance_km_h"),
         "span": span_of([trace("speed_m_s"), trace("speed_limit_m_s")], to_si(20.0, "km_h"), 0.0), "lines": speeds},
        {"name": "engine", "title": "Engine speed", "kind": "engine speed", "height": 116,
         "span": span_of([trace("engine_speed_rpm"), governed], to_si(500.0, "rpm"), 0.0),
         "bands": [{"low": low, "high": high, "label": "best for retarding"}],
         "levels": [{"at": governed, "label": "governed", "colour": palette.VERMILLION}],
         "lines": [_line("engine_speed_rpm", "engine", palette.BLACK, main=True)]},
        {"name": "gear", "title": "Gear", "kind": "number", "height": 74, "whole": True,
         "span": [0.0, len(truck.gearbox.ratios) + 0.8],
         "lines": [_line("gear", "gear", palette.GREEN, step=True, width=2.2, main=True)]},
        {"name": "torque", "title": "Flywheel torque", "kind": "torque", "height": 92,
         "span": span_of([trace("engine_torque_n_m"), 0.0], 100.0), "zero": True,
         "lines": [_line("engine_torque_n_m", "torque", palette.BLACK, main=True)]},
        {"name": "fuel", "title": "Fuel", "kind": "fuel rate", "height": 74,
         "span": span_of([trace("fuel_rate_g_s")], 2.0e-3, 0.0),
         "lines": [_line("fuel_rate_g_s", "fuel", palette.BLUE, width=1.8, main=True, shade=0.15)]},
        {"name": "stage", "title": "Engine-brake stage", "kind": "number", "height": 70, "whole": True,
         "span": [-0.25, 3.4],
         "lines": [_line("brake_stage", "working", palette.BLUE, step=True, shade=0.22, width=2.0, main=True),
                   _line("stage_requested", "asked for", palette.VERMILLION, "dot", step=True, width=2.0)]},
        {"name": "power", "title": "Retarding power", "kind": "power", "height": 104,
         "span": span_of([trace("engine_brake_power_kw"), trace("service_brake_power_kw")], 20.0e3, 0.0), "lines": powers},
        {"name": "brakes", "title": "Brake temperature", "kind": "temperature", "height": 136,
         "span": span_of([*hot, to_si(1.08 * BRAKE_LIMIT_C, "c"), CELSIUS_ZERO], 50.0),
         "levels": [{"at": limit, "label": "published limit", "colour": palette.VERMILLION}], "lines": warm},
    ]  # fmt: skip


def columns_of(strips: list[dict[str, Any]]) -> list[str]:
    """Columns that strips draw, each once.

    Parameters
    ----------
    strips : list of dict
        Of `strips_of`.
    """
    return list(dict.fromkeys(line["column"] for strip in strips for line in strip["lines"]))


def lamps_of(result: Result) -> list[dict[str, Any]]:
    """The four verdicts that come before everything else: posted limit, brakes, engine speed, runaway.

    Returns
    -------
    lamps : list of dict
        name, state (good, warned, alarm), and what is said as a finding.
    """
    s: Mapping[str, Any] = result.summary
    mean, hottest = s["max_brake_temperature_c"], s["max_hottest_brake_temperature_c"]

    def lamp(state: str, name: str, said: Mapping[str, Any]) -> dict[str, Any]:
        return {"name": name, "state": state, "said": said}

    over = s["time_over_limit_s"]
    if over >= 0.5:
        limit = lamp("warned", "over limit", finding("lamp.over_limit", time=over).data())
    else:
        kept = finding("lamp.kept") if result.route.limits else finding("lamp.none")
        limit = lamp("good", "posted limit", kept.data())
    if mean > BRAKE_LIMIT_C:
        state, word = "alarm", "brakes beyond their limit"
    elif hottest > BRAKE_LIMIT_C:
        state, word = "warned", "one axle beyond the limit"
    else:
        state, word = "good", "brakes"
    # the hottest axle is named because a mean can hide it
    heat = {"mean": mean, "hottest": hottest, "limit": BRAKE_LIMIT_C}
    brakes = lamp(state, word, finding("lamp.brakes", **{name: to_si(each, "c") for name, each in heat.items()}).data())
    fast, governed = s["time_over_governed_s"], result.truck.engine.governed_rpm
    turning = {"governed": to_si(governed, "rpm"), "highest": to_si(s["max_engine_speed_rpm"], "rpm")}
    if fast >= 0.1:
        engine = lamp("warned", "engine overspeed", finding("lamp.driven_too_fast", time=fast, **turning).data())
    elif s["max_engine_speed_rpm"] > governed:
        engine = lamp("good", "engine speed", finding("lamp.raced", **turning).data())
    else:
        engine = lamp("good", "engine speed", finding("lamp.engine_speed", **turning).data())
    if s["ended"] == "runaway":
        end = lamp("alarm", "runaway", s["ended_because"])
    elif s["ended"] == "arrived":
        end = lamp("good", "held", finding("lamp.arrived").data())
    else:
        end = lamp("warned", VERDICTS[s["ended"]].lower(), s["ended_because"])
    return [limit, brakes, engine, end]
