"""Retarding force by gear and stage against the descent, and where on it a trip was driven."""

from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.panels import INK, Line, axis, base_layout, displayed, figure_of, in_unit, note, stroke
from sim.charts.control_speed import ControlChart, control_chart
from sim.charts.truck_at import truck_at
from sim.trips.result import Result
from sim.units import from_si

MOST_MARKS = 150  # of the driven points of a stage in the control-speed chart
UNDER_ROAD = -0.025  # assumed: where the road falls more than this, the control-speed chart looks for its height


# ---------------------------------------------------------------- control speeds


def chart_of(result: Result) -> ControlChart:
    """The control-speed chart for the weather of a trip, at the mean height of the falling road.

    Returns
    -------
    chart : ControlChart
        At the mean height of the whole trip when the road nowhere falls.
    """
    height, falling = result.trace["elevation_m"], result.trace["grade_percent"] <= 100.0 * UNDER_ROAD
    at = float(np.mean(height[falling] if falling.any() else height))
    return control_chart(truck_at(result.truck, result.settings, round(at, -1), result.route.start_elevation))


def driven_points(result: Result, stage: int) -> np.ndarray:
    """Rows of the trace in which the engine held the truck back in a stage: no fuel, clutch locked, a gear in.

    Parameters
    ----------
    stage : int
        0 to 3.

    Returns
    -------
    rows : array
        Evenly picked when there are many.
    """
    trace = result.trace
    held = (trace["fuel_cut"] > 0.5) & (trace["clutch_locked"] > 0.5) & (trace["gear"] > 0.5)
    rows = np.flatnonzero(held & (trace["brake_stage"] == stage) & (trace["drive_force_n"] < 0.0))
    if len(rows) <= MOST_MARKS:
        return rows
    return rows[np.linspace(0, len(rows) - 1, MOST_MARKS).astype(int)]


def control_figure(result: Result, chart: ControlChart | None = None) -> go.Figure:
    """What each gear and stage holds, what grades ask for, and where the trip was.

    Parameters
    ----------
    chart : ControlChart or None
        None for that of `chart_of`.
    """
    chart = chart or chart_of(result)
    fastest = from_si(float(result.trace["speed_m_s"].max()), "km_h")
    right = max(1.12 * fastest, 110.0)
    steepest = max(float(line.force.max()) for line in chart.lines)
    top = 1.5 * steepest / 1000.0
    bottom = min(float(line.force.min()) for line in chart.lines) / 1000.0
    bottom = max(bottom, -0.25 * top)
    lines: list[Line] = []
    notes: list[dict[str, Any]] = []
    for line in chart.lines:
        speeds = displayed(line.speed, "km_h")
        inside = speeds <= right
        lines.append(
            stroke(
                speeds[inside],
                line.force[inside] / 1000.0,
                "what a grade asks for",
                palette.GREY,
                width=2.6,
                hoverinfo="skip",
                legendgroup="grades",
                showlegend=line is chart.lines[0],
            )
        )
        notes.append(note(float(speeds[inside][-1]), float(line.force[inside][-1]) / 1000.0,
                           f"{abs(100.0 * line.grade):g} %", xanchor="right", yanchor="bottom", font={"size": 11}))  # fmt: skip
    for curve in chart.curves:
        speeds = displayed(curve.speed, "km_h")
        force = curve.force / 1000.0
        if curve.stage == 3:
            shown = np.flatnonzero((force <= 0.97 * top) & (speeds <= 0.98 * right))
            if len(shown):
                last = shown[-1]
                notes.append(
                    note(
                        float(speeds[last]),
                        float(force[last]),
                        f"<b>{curve.gear}</b>",
                        yanchor="bottom",
                        font={"size": 11},
                    )
                )
        lines.append(
            stroke(
                speeds,
                force,
                f"stage {curve.stage}" if curve.stage else "stage 0, engine alone",
                palette.STAGE_COLOURS[curve.stage],
                palette.STAGE_DASHES[curve.stage],
                1.6,
                legendgroup=f"stage {curve.stage}",
                showlegend=curve.gear == 1,
                hovertemplate=f"gear {curve.gear}, stage {curve.stage}: %{{x:.1f}} km/h, %{{y:.1f}} kN<extra></extra>",
            )
        )
    for stage in range(4):
        rows = driven_points(result, stage)
        gears = result.trace["gear"][rows]
        lines.append(
            {
                "x": displayed(result.trace["speed_m_s"][rows], "km_h"),
                "y": -result.trace["drive_force_n"][rows] / 1000.0,
                "mode": "markers",
                "name": f"this trip, stage {stage}",
                "showlegend": len(rows) > 0,
                "marker": {
                    "symbol": palette.STAGE_SYMBOLS[stage],
                    "size": 7,
                    "color": "rgba(255,255,255,0.6)",
                    "line": {"color": palette.STAGE_COLOURS[stage], "width": 1.4},
                },
                "customdata": gears,
                "hovertemplate": f"driven: gear %{{customdata:.0f}}, stage {stage}: %{{x:.1f}} km/h, %{{y:.1f}} kN"
                "<extra></extra>",
            }
        )
    found = chart.crossings
    if found:
        lines.append(
            {
                "x": [from_si(each.speed, "km_h") for each in found],
                "y": [each.force / 1000.0 for each in found],
                "mode": "markers",
                "name": "steady speed",
                "marker": {"symbol": "x-thin", "size": 8, "line": {"color": INK, "width": 1.8}},
                "customdata": [
                    f"gear {each.gear}, stage {each.stage} holds {from_si(each.speed, 'km_h'):.1f} km/h"
                    f" ({from_si(each.speed, 'mi_h'):.1f} mi/h), {from_si(each.engine_speed, 'rpm'):.0f} rpm on"
                    f" {-100.0 * each.grade:g} %"
                    for each in found
                ],
                "hovertemplate": "%{customdata}<extra></extra>",
            }
        )
    miles = (0.0, in_unit(right, "km_h", "mi_h"))
    pounds = tuple(in_unit(1000.0 * value, "n", "lbf") / 1000.0 for value in (bottom, top))
    hidden = {"mode": "markers", "marker": {"opacity": 0}, "showlegend": False, "hoverinfo": "skip"}
    lines.append({**hidden, "x": list(miles), "y": list(pounds), "xaxis": "x2", "yaxis": "y2", "name": "US scales"})
    plain = {"automargin": False, "tickfont": {"size": 11}}
    us = {**plain, "showgrid": False, "tickmode": "auto", "zeroline": False}
    layout = base_layout(640) | {
        "xaxis": axis(range=(0.0, right), title={"text": "road speed, km/h"}, **plain),
        "yaxis": axis(range=(bottom, top), title={"text": "holding the truck back, kN"}, **plain),
        "xaxis2": axis(
            range=miles, overlaying="x", side="top", anchor="y2", title={"text": "mi/h", "standoff": 4}, **us
        ),
        "yaxis2": axis(range=pounds, overlaying="y", side="right", anchor="x2", title={"text": "1000 lbf"}, **us),
        "annotations": notes,
        "legend": {"orientation": "h", "x": 0, "y": -0.12, "yanchor": "top", "font": {"size": 11}},
        "margin": {"t": 56, "b": 120, "l": 62, "r": 74},
        "hovermode": "closest",
    }
    return figure_of(lines, layout)
