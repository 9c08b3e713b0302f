"""Figures of the Gearing page, from charts and thinned trips: pure functions, no callbacks."""

import html
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from dashboard.gearing.work import Drawn
from dashboard.paper import palette
from dashboard.paper.drawing import shown, with_unit
from dashboard.paper.panels import Line, Panel, axis, chart_layout, figure_of, note, span_of_lines, strips, stroke
from sim.charts.control_speed import STAGES, ControlChart
from sim.charts.gearing import GearingChart
from sim.inputs.specs import Engine
from sim.trips.result import BEST_RETARDING_RPM
from sim.units import from_si, shown_unit


def overlay_figure(trips: Sequence[Drawn], labels: Sequence[str], units: str, governed_rpm: float) -> go.Figure:
    """Trips over one another: road, speed, engine speed, gear, and fuel and time beside those of the first.

    Parameters
    ----------
    labels : sequence of str
        For the legend.
    units : str
        metric or us.
    governed_rpm : float
        [rpm]

    Returns
    -------
    figure : Figure
        Each trip has one colour and dash in all strips and one entry in the legend.
    """
    reach = (0.0, max(float(trip.columns["distance_m"].max()) for trip in trips))

    def lines(
        kind: str, values: Sequence[np.ndarray], digits: int, steps: bool = False, legend: bool = False
    ) -> list[Line]:
        made = []
        for number, (trip, label, column) in enumerate(zip(trips, labels, values, strict=True)):
            colour, dash = palette.line_of(number)
            unit = "" if kind == "gear" else f" {shown_unit(kind, units)}"
            made.append(
                stroke(
                    shown(trip.columns["distance_m"], "distance", units),
                    column if kind == "gear" else shown(column, kind, units),
                    f"{number + 1}: {html.escape(label)}",
                    colour,
                    dash,
                    steps=steps,
                    legendgroup=f"choice {number + 1}",
                    showlegend=legend,
                    hovertemplate=f"%{{y:.{digits}f}}{unit}<extra>{number + 1}</extra>",
                )
            )
        return made

    def column(name: str) -> list[np.ndarray]:
        return [trip.columns[name] for trip in trips]

    road = column("elevation_m")[0]
    roads: list[Line] = [
        stroke(
            shown(trips[0].columns["distance_m"], "distance", units),
            shown(road, "height", units),
            "road",
            palette.GREY,
            width=2.4,
            showlegend=False,
            hovertemplate=f"%{{y:.0f}} {shown_unit('height', units)}<extra>road</extra>",
        )
    ]
    speeds = lines("speed", column("speed_m_s"), 1, legend=True)
    limit = column("speed_limit_m_s")[0]
    if np.any(limit > 0.0):
        posted = stroke(
            speeds[0]["x"],
            shown(limit, "speed", units),
            "posted limit",
            palette.GREY,
            "dash",
            2.4,
            steps=True,
            showlegend=True,
            hovertemplate=f"%{{y:.0f}} {shown_unit('speed', units)}<extra>posted</extra>",
        )
        speeds.insert(0, posted)
    turning = lines("engine speed", [values * np.pi / 30.0 for values in column("engine_speed_rpm")], 0)
    governed = stroke(
        [float(value) for value in shown(np.array(reach), "distance", units)],
        [governed_rpm, governed_rpm],
        f"governed {governed_rpm:.0f}",
        palette.GREY,
        "dash",
        2.4,
        showlegend=False,
        hoverinfo="skip",
    )
    engaged = [np.where(gear > 0.0, gear, np.nan) for gear in column("gear")]
    gears = lines("gear", engaged, 0, steps=True)
    fuels = lines("fuel mass", [_beside(trip, trips[0], trip.fuel_used, trips[0].fuel_used) for trip in trips], 2)
    times = [_beside(trip, trips[0], trip.columns["time_s"], trips[0].columns["time_s"]) for trip in trips]
    late = lines("time", times, 0)
    return strips(
        [
            Panel(f"Road, {shown_unit('height', units)}", 0.8, span_of_lines(roads, 20.0), roads),
            Panel(
                f"Speed, {shown_unit('speed', units)}",
                1.4,
                span_of_lines(speeds, 20.0, 0.0),
                speeds,
            ),
            Panel("Engine speed, rpm", 1.4, span_of_lines([governed, *turning], 500.0, 0.0), [governed, *turning]),
            Panel("Gear", 1.0, span_of_lines(gears, 2.0, 0.0), gears),
            Panel(
                f"Fuel used more than by choice 1, {shown_unit('fuel mass', units)}",
                0.9,
                span_of_lines(fuels, 0.1),
                fuels,
            ),
            Panel("Time behind choice 1, s", 0.9, span_of_lines(late, 4.0), late),
        ],
        reach,
        units,
        820,
    )


def _beside(trip: Drawn, first: Drawn, mine: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    """A quantity that grows along the road, less that of the first trip at the same place."""
    along = np.maximum.accumulate(first.columns["distance_m"])  # a truck may roll back a little when it pulls away
    beside: np.ndarray = mine - np.interp(trip.columns["distance_m"], along, theirs)
    return beside


def _ticks_for(kind: str, units: str, title: str, span: tuple[float, float]) -> dict[str, object]:
    """An axis of a single chart."""
    return axis(range=list(span), title={"text": f"{title}, {shown_unit(kind, units)}", "standoff": 8})


def _gear_note(gear: int, x: float, y: float, colour: str) -> dict[str, object]:
    """The number of a gear on its curve."""
    return note(x, y, f"<b>{gear}</b>", yanchor="bottom", font={"size": 14, "color": colour})


def speed_figure(
    charts: Sequence[GearingChart], shown_choice: int, engine: Engine, cruise: float, units: str
) -> go.Figure:
    """Engine speed against road speed by gear, the top gears of all choices beside it.

    Parameters
    ----------
    charts : sequence of GearingChart
        Of all choices.
    shown_choice : int
        The one whose gears are all drawn, from 0.
    engine : Engine
        Of that choice.
    cruise : float
        Road speed to mark. [m/s]
    units : str
        metric or us.
    """
    chart = charts[shown_choice]
    fastest = max(float(each.curves[-1].speed[-1]) for each in charts)
    right = float(shown(min(1.04 * fastest, max(1.7 * cruise, 25.0)), "speed", units))
    top = 1.12 * engine.governed_rpm
    colour, _ = palette.line_of(shown_choice)
    speed_unit = shown_unit("speed", units)
    low, high = BEST_RETARDING_RPM
    lines: list[Line] = [
        {
            "x": [0.0, right, right, 0.0], "y": [low, low, high, high], "fill": "toself", "mode": "lines",
            "line": {"width": 0}, "fillcolor": "rgba(0,114,178,0.13)", "hoverinfo": "skip",
            "name": f"best for retarding, {low:.0f}-{high:.0f} rpm",
        },
        stroke(
            [0.0, right], [engine.governed_rpm] * 2, f"governed {engine.governed_rpm:.0f} rpm", palette.VERMILLION,
            "dash", 2.2, hoverinfo="skip",
        ),
    ]  # fmt: skip
    notes = []
    for curve in chart.curves:
        speeds, turning = shown(curve.speed, "speed", units), shown(curve.engine_speed, "engine speed", units)
        lines.append(
            stroke(
                np.append(0.0, speeds[[0, -1]]), np.append(0.0, turning[[0, -1]]),
                f"gears of choice {shown_choice + 1}", colour, legendgroup="gears", showlegend=curve.gear == 1,
                hoverinfo="skip",
            )
        )  # fmt: skip
        lines.append(
            stroke(
                speeds, turning, f"gear {curve.gear}", colour, legendgroup="gears", showlegend=False,
                hovertemplate=f"gear {curve.gear}: %{{x:.1f}} {speed_unit}, %{{y:.0f}} rpm<extra></extra>",
            )
        )  # fmt: skip
        if float(speeds[-1]) <= right:
            notes.append(note(float(speeds[-1]), float(turning[-1]), f"<b>{curve.gear}</b>", yanchor="bottom"))
    for number, other in enumerate(charts):
        if number == shown_choice:
            continue
        mine, dash = palette.line_of(number)
        curve = other.curves[-1]
        lines.append(
            stroke(
                shown(curve.speed, "speed", units), shown(curve.engine_speed, "engine speed", units),
                f"top gear of choice {number + 1}", mine, dash if dash != "solid" else "longdash",
                hovertemplate=f"choice {number + 1}, gear {curve.gear}: %{{x:.1f}} {speed_unit}, %{{y:.0f}} rpm<extra></extra>",
            )
        )  # fmt: skip
    at = float(shown(cruise, "speed", units))
    curve = chart.curves[-1]
    if curve.speed[0] <= cruise <= curve.speed[-1]:
        turning_there = float(from_si(float(np.interp(cruise, curve.speed, curve.engine_speed)), "rpm"))
        lines.append(
            {
                "x": [at], "y": [turning_there], "mode": "markers", "name": f"{with_unit(cruise, 'speed', units)}, top gear",
                "marker": {"symbol": "circle", "size": 12, "color": "#FFFFFF", "line": {"color": colour, "width": 3}},
                "hovertemplate": f"%{{x:.0f}} {speed_unit}: %{{y:.0f}} rpm<extra></extra>",
            }
        )  # fmt: skip
        notes.append(
            note(at, turning_there, f"<b>{turning_there:.0f} rpm</b>", xanchor="left", yanchor="top", xshift=8)
        )
    layout = chart_layout(
        430, annotations=notes, xaxis=_ticks_for("speed", units, "road speed", (0.0, right)),
        yaxis=_ticks_for("engine speed", units, "engine speed", (0.0, top)),
    )  # fmt: skip
    return figure_of(lines, layout)


def pull_figure(chart: GearingChart, units: str) -> go.Figure:
    """Force at the wheels against road speed by gear at full load, and what grades take.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Cut off above the steepest line: the lowest gears pull more than is shown.
    """
    fastest = float(chart.curves[-1].speed[-1])
    level = chart.best_climb(0.0)
    right = float(shown(min(1.02 * fastest, 1.25 * level.speed if level else fastest), "speed", units))
    steepest = max(float(line.force.max()) for line in chart.lines)
    top = float(shown(1.75 * steepest, "large force", units))
    speed_unit, force_unit = shown_unit("speed", units), shown_unit("large force", units)
    lines: list[Line] = []
    notes = []
    for line in chart.lines:
        speeds, forces = shown(line.speed, "speed", units), shown(line.force, "large force", units)
        inside = speeds <= right
        lines.append(
            stroke(
                speeds[inside], forces[inside], "what a grade takes", palette.GREY, width=1.8, legendgroup="grades",
                showlegend=line is chart.lines[0],
                hovertemplate=f"{100.0 * line.grade:g} %: %{{x:.0f}} {speed_unit}, %{{y:.1f}} {force_unit}<extra></extra>",
            )
        )  # fmt: skip
        if inside.any():
            notes.append(
                note(float(speeds[inside][-1]), float(forces[inside][-1]), f"{100.0 * line.grade:g} %", xanchor="right",
                     yanchor="bottom", yshift=-3)
            )  # fmt: skip
    for curve in chart.curves:
        speeds, forces = shown(curve.speed, "speed", units), shown(curve.force, "large force", units)
        lines.append(
            stroke(
                speeds, forces, "pull at full load, by gear", palette.BLUE, width=2.6, legendgroup="gears",
                showlegend=curve.gear == len(chart.curves),
                hovertemplate=f"gear {curve.gear}: %{{x:.1f}} {speed_unit}, %{{y:.1f}} {force_unit}<extra></extra>",
            )
        )  # fmt: skip
        seen = np.flatnonzero((forces <= 0.95 * top) & (speeds <= right))
        if len(seen):
            peak = seen[int(np.argmax(forces[seen]))]
            notes.append(_gear_note(curve.gear, float(speeds[peak]), float(forces[peak]), palette.BLUE))
    climbs = [climb for line in chart.lines if (climb := chart.best_climb(line.grade)) is not None]
    lines.append(
        {
            "x": [float(shown(climb.speed, "speed", units)) for climb in climbs],
            "y": [float(shown(climb.force, "large force", units)) for climb in climbs],
            "mode": "markers", "name": "speed a grade is climbed with",
            "marker": {"symbol": "diamond", "size": 10, "color": palette.VERMILLION, "line": {"color": "#FFFFFF", "width": 1.2}},
            "customdata": [
                f"{100.0 * climb.grade:g} %: {with_unit(climb.speed, 'speed', units)} in gear {climb.gear},"
                f" {from_si(climb.engine_speed, 'rpm'):.0f} rpm{', at governed speed' if climb.governed else ''}"
                for climb in climbs
            ],
            "hovertemplate": "%{customdata}<extra></extra>",
        }
    )  # fmt: skip
    layout = chart_layout(
        430, annotations=notes, xaxis=_ticks_for("speed", units, "road speed", (0.0, right)),
        yaxis=_ticks_for("large force", units, "force at the wheels", (0.0, top)),
    )  # fmt: skip
    return figure_of(lines, layout)


def retarding_figure(chart: ControlChart, units: str, fastest: float) -> go.Figure:
    """Retarding force by gear and stage against road speed, and what descents push with.

    Parameters
    ----------
    units : str
        metric or us.
    fastest : float
        Where the chart ends. [m/s]
    """
    right = float(shown(fastest, "speed", units))
    steepest = max(float(line.force.max()) for line in chart.lines)
    top = float(shown(1.4 * steepest, "large force", units))
    speed_unit, force_unit = shown_unit("speed", units), shown_unit("large force", units)
    lines: list[Line] = []
    notes = []
    for line in chart.lines:
        speeds, forces = shown(line.speed, "speed", units), shown(line.force, "large force", units)
        inside = (speeds <= right) & (forces >= 0.0)
        if not inside.any():
            continue
        lines.append(
            stroke(
                speeds[inside], forces[inside], "what a descent pushes with", palette.GREY, width=2.6,
                legendgroup="grades", showlegend=line is chart.lines[-1], hoverinfo="skip",
            )
        )  # fmt: skip
        notes.append(
            note(float(speeds[inside][-1]), float(forces[inside][-1]), f"{abs(100.0 * line.grade):g} %", xanchor="right",
                 yanchor="bottom", yshift=-3)
        )  # fmt: skip
    for stage in STAGES:
        for curve in (each for each in chart.curves if each.stage == stage):
            speeds, forces = shown(curve.speed, "speed", units), shown(curve.force, "large force", units)
            lines.append(
                stroke(
                    speeds, forces, f"stage {stage}" if stage else "engine alone", palette.STAGE_COLOURS[stage],
                    palette.STAGE_DASHES[stage], 1.8, legendgroup=f"stage {stage}", showlegend=curve.gear == 1,
                    hovertemplate=f"gear {curve.gear}, stage {stage}: %{{x:.1f}} {speed_unit}, %{{y:.1f}} {force_unit}"
                    "<extra></extra>",
                )
            )  # fmt: skip
            seen = np.flatnonzero((forces <= 0.95 * top) & (speeds <= 0.98 * right))
            if stage == max(STAGES) and len(seen):
                last = seen[-1]
                notes.append(_gear_note(curve.gear, float(speeds[last]), float(forces[last]), palette.VERMILLION))
    lines.append(
        {
            "x": [float(shown(each.speed, "speed", units)) for each in chart.crossings],
            "y": [float(shown(each.force, "large force", units)) for each in chart.crossings],
            "mode": "markers", "name": "steady speed", "marker": {"symbol": "x-thin", "size": 8, "line": {"width": 1.8}},
            "customdata": [
                f"gear {each.gear}, stage {each.stage} holds {with_unit(each.speed, 'speed', units)} on {-100.0 * each.grade:g} %,"
                f" {from_si(each.engine_speed, 'rpm'):.0f} rpm"
                for each in chart.crossings
            ],
            "hovertemplate": "%{customdata}<extra></extra>",
        }
    )  # fmt: skip
    layout = chart_layout(
        430, annotations=notes, xaxis=_ticks_for("speed", units, "road speed", (0.0, right)),
        yaxis=_ticks_for("large force", units, "holding the truck back", (0.0, top)),
    )  # fmt: skip
    return figure_of(lines, layout)
