"""Figures from results: pure functions, no callbacks, no files. Loading this file loads the drawing library.

Every panel reads in metric units on its left and in US units on its right. Lines carry thinned rows of the trace, not
smoothed ones: each drawn point is a row of trace.csv.
"""

import html
from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.drawing import span_of
from dashboard.paper.panels import (
    FUEL,
    HEAT,
    HEIGHT,
    INK,
    POWER,
    SPEED,
    TORQUE,
    Line,
    Panel,
    displayed,
    in_unit,
    span_of_lines,
    stacked,
    stroke,
)
from dashboard.server.thinning import MOST_POINTS, event_rows, thinned_rows
from sim.trips.compare import Comparison
from sim.trips.result import BEST_RETARDING_RPM, BRAKE_LIMIT_C, Result
from sim.units import from_si, to_si

MOST_POINTS_COMPARED = 8000  # of all lines of a panel that compares trips
MOST_NAMED = 6  # trips that stand in a legend by name; of more, only by number
MOST_NUMBERED = 60  # places on a road that carry their number in the figure
GROUPS = (("steer", "steer axle"), ("drive", "drive axles"), ("trailer", "trailer axles"))


# ---------------------------------------------------------------- one trip


class _Drawn:
    """The columns of a trip as lines over distance, each thinned on its own."""

    def __init__(self, result: Result, most: int = MOST_POINTS) -> None:
        self.trace, self.most = result.trace, most
        self.at = displayed(result.trace["distance_m"], "km")
        self.always = event_rows(result)

    def line(self, name: str, values: np.ndarray, unit: str, colour: str, dash: str = "solid", **more: Any) -> Line:
        """One line of the trace over distance.

        Parameters
        ----------
        name : str
            In the legend.
        values : array
            One a row of the trace, NaN for a gap. [unit]
        unit : str
            After the value, when it is pointed at.
        **more : Any
            `steps`, `width`, `digits`, and anything else a line may have.
        """
        rows = thinned_rows(values, self.always, self.most)
        hover, mode = f"%{{y:.{more.pop('digits', 1)}f}} {unit}", "lines" if len(rows) > 2 else "lines+markers"
        look = {"width": 1.6, "hovertemplate": hover, "mode": mode, **more}
        return stroke(self.at[rows], values[rows], name, colour, dash, **look)


def reach_of(results: Sequence[Result]) -> tuple[float, float]:
    """Ends of the distance axis: everything driven.

    Returns
    -------
    reach : tuple of float
        [km]
    """
    low = min(float(result.trace["distance_m"].min()) for result in results)
    high = max(float(result.trace["distance_m"].max()) for result in results)
    first, last = (float(each) for each in displayed(np.array([min(low, 0.0), high]), "km"))
    return first, max(last, first + 0.05)


def road_places(result: Result) -> list[tuple[float, str, str]]:
    """Signs, stops and curves of a road, in their order.

    Returns
    -------
    places : list of (float, str, str)
        Distance, kind (sign, stop or curve) and what it says. [m]
    """
    route = result.route
    places = [(sign.distance, "sign", sign.text) for sign in route.signs]
    places += [(stop.distance, "stop", f"{stop.value:g} s") for stop in route.stops]
    for curve in route.curves:
        if curve.value > 0.0:
            suits = from_si(route.curve_at(curve.distance), "km_h"), from_si(route.curve_at(curve.distance), "mi_h")
            text = f"radius {curve.value:g} m ({from_si(curve.value, 'ft'):.0f} ft), taken at {suits[0]:.0f} km/h"
            places.append((curve.distance, "curve", f"{text} ({suits[1]:.0f} mi/h)"))
    return sorted(places)


def _road_panel(result: Result, drawn: _Drawn, reach: tuple[float, float]) -> Panel:
    """Elevation by brake stage, with signs, stops and curves."""
    trace, route = result.trace, result.route
    last = to_si(reach[1], "km")
    along = np.linspace(0.0, min(route.length, last), 400)
    heights = np.array([route.elevation_at(float(place)) for place in along])
    height, stage = trace["elevation_m"], trace["brake_stage"]
    span = span_of([height, heights], 20.0)
    changes = np.flatnonzero(np.diff(stage)) + 1
    rows = thinned_rows(height, np.union1d(drawn.always, np.union1d(changes, changes - 1)), drawn.most)
    lines: list[Line] = [
        {
            "x": np.append(displayed(along, "km"), displayed(along[[-1, 0]], "km")).astype(np.float32),
            "y": np.append(heights, [span[0], span[0]]).astype(np.float32),
            "mode": "lines",
            "line": {"width": 0},
            "fill": "toself",
            "fillcolor": "rgba(107,107,107,0.13)",
            "name": "road",
            "showlegend": False,
            "hoverinfo": "skip",
        }
    ]
    for number in range(4):
        here = stage[rows] == number
        reached = np.concatenate([[False], here[:-1]])  # a stage is drawn up to the row where the next begins
        lines.append(
            stroke(
                drawn.at[rows],
                np.where(here | reached, height[rows], np.nan),
                f"stage {number}" if number else "stage 0 (off)",
                palette.STAGE_COLOURS[number],
                width=palette.STAGE_WIDTHS[number],
                hovertemplate="%{y:.0f} m",
                connectgaps=False,
                showlegend=bool(here.any()) or number == 0,
            )
        )
    places = [place for place in road_places(result) if place[0] <= last]
    symbols = {"sign": "triangle-down", "stop": "square", "curve": "diamond"}
    for kind, symbol in symbols.items():
        mine = [(number, place) for number, place in enumerate(places, start=1) if place[1] == kind]
        if not mine:
            continue
        numbered = len(places) <= MOST_NUMBERED
        lines.append(
            {
                "x": [float(from_si(place[0], "km")) for _, place in mine],
                "y": [float(route.elevation_at(place[0])) for _, place in mine],
                "name": {"sign": "signs", "stop": "stops", "curve": "curves"}[kind],
                "mode": "markers+text" if numbered else "markers",
                "text": [str(number) for number, _ in mine],
                "textposition": ["top center" if number % 2 else "bottom center" for number, _ in mine],
                "textfont": {"size": 10},
                "marker": {"symbol": symbol, "size": 9, "color": "#FFFFFF", "line": {"color": INK, "width": 1.5}},
                "cliponaxis": False,
                "customdata": [f"{kind} {number}: {html.escape(place[2])}" for number, place in mine],
                "hovertemplate": "%{customdata}<extra></extra>",
            }
        )
    return Panel("Road by brake stage, m", 1.5, span, lines, HEIGHT)


def _speed_panel(result: Result, drawn: _Drawn) -> Panel:
    """Road speed against what is posted, aimed for and set."""
    trace = result.trace

    def column(name: str) -> np.ndarray:
        return displayed(trace[name], "km_h")

    speed, limit, aimed, chosen = (
        column(name) for name in ("speed_m_s", "speed_limit_m_s", "target_speed_m_s", "set_speed_m_s")
    )
    limit = np.where(limit > 0.0, limit, np.nan)
    over = speed > limit + result.settings.simulation.limit_tolerance_km_h
    rows = thinned_rows(np.where(over, speed - limit, 0.0), drawn.always, drawn.most)
    common = {"x": np.asarray(drawn.at[rows], dtype=np.float32), "mode": "lines", "hoverinfo": "skip"}
    posted: list[Line] = [
        {
            **common,
            "y": np.asarray(limit[rows], dtype=np.float32),
            "line": {"width": 0},
            "showlegend": False,
            "name": "edge",
        },
        {
            **common,
            "y": np.where(over, speed, limit)[rows].astype(np.float32),
            "line": {"width": 0},
            "fill": "tonexty",
            "fillcolor": "rgba(213,94,0,0.45)",
            "name": "over the limit",
        },
        drawn.line("posted limit", limit, "km/h posted", palette.VERMILLION, "dash", steps=True, digits=0),
    ]
    lines = [
        *(posted if result.route.limits else ()),
        drawn.line("aimed for", aimed, "km/h aimed for", palette.GREEN, "dot"),
    ]
    if np.any(chosen > 0.0):
        held = np.where(chosen > 0.0, chosen, np.nan)
        lines.append(drawn.line("cruise set", held, "km/h set", palette.PURPLE, "longdash", steps=True, width=2.2))
    lines.append(drawn.line("speed", speed, "km/h", palette.BLACK, width=2.0))
    return Panel("Speed, km/h", 1.5, span_of([speed, limit], 20.0, 0.0), lines, SPEED)


def _flat(name: str, level: float, reach: tuple[float, float], colour: str, dash: str, **more: Any) -> Line:
    """A level line from end to end."""
    return stroke(list(reach), [level, level], name, colour, dash, **{"width": 1.6, "hoverinfo": "skip", **more})


def _engine_panel(result: Result, drawn: _Drawn, reach: tuple[float, float]) -> Panel:
    """Engine speed and gear."""
    trace, governed = result.trace, result.truck.engine.governed_rpm
    low, high = BEST_RETARDING_RPM
    lines = [
        {
            "x": [reach[0], reach[1], reach[1], reach[0]],
            "y": [low, low, high, high],
            "mode": "lines",
            "fill": "toself",
            "line": {"width": 0},
            "fillcolor": "rgba(0,114,178,0.16)",
            "hoverinfo": "skip",
            "name": f"best for retarding, {low:.0f}-{high:.0f} [1]",
        },
        _flat(f"governed {governed:.0f}", governed, reach, palette.VERMILLION, "dash"),
        drawn.line(
            "gear (right)",
            np.where(trace["gear"] > 0.0, trace["gear"], np.nan),
            "gear",
            palette.GREEN,
            "dot",
            steps=True,
            digits=0,
            width=2.0,
            yaxis="right",
        ),
        drawn.line("engine", trace["engine_speed_rpm"], "rpm", palette.BLACK, digits=0),
    ]
    top = len(result.truck.gearbox.ratios)
    step = 1 if top <= 6 else 2
    right = {"range": (0.0, top + 1.0), "tickmode": "array", "tickvals": list(range(step, top + 1, step))}
    return Panel(
        "Engine speed, rpm", 1.3, span_of([trace["engine_speed_rpm"], governed], 500.0, 0.0), lines, right=right
    )


def _limit() -> str:
    """The limit line's name."""
    return f"limit {BRAKE_LIMIT_C:.0f} C = {in_unit(BRAKE_LIMIT_C, 'c', 'f'):.0f} F [2]"


def _temperature_panel(result: Result, drawn: _Drawn, reach: tuple[float, float]) -> Panel:
    """Brake temperatures: this model's own with its limit, and the published model's two sets as a second opinion."""
    trace, truck = result.trace, result.truck
    styles = {"steer": (palette.GREEN, "dashdot"), "drive": (palette.BLUE, "dash"), "trailer": (palette.PURPLE, "dot")}
    lines = []
    for group, name in GROUPS:
        if getattr(truck, f"{group}_brakes").brakes:
            colour, dash = styles[group]
            lines.append(drawn.line(name, trace[f"brake_temperature_{group}_c"], f"C {name}", colour, dash))
    shown = [line["y"] for line in lines]
    for letter, dash in (("a", "longdash"), ("b", "longdashdot")):
        if result.summary[f"max_published_brake_temperature_{letter}_c"] is not None:
            name = f"second opinion: set {letter.upper()} [3]"
            values = trace[f"severity_temperature_{letter}_c"]
            lines.append(drawn.line(name, values, f"C by {name}", palette.GREY, dash, width=1.4))
            shown.append(values)
    lines.append(_flat(_limit(), BRAKE_LIMIT_C, reach, palette.VERMILLION, "dash", width=2.2, showlegend=False))
    lines.append(drawn.line("mean", trace["brake_temperature_c"], "C mean", palette.BLACK, width=2.6))
    return Panel("Brake temperature, C", 1.7, span_of([*shown, 1.1 * BRAKE_LIMIT_C, 0.0], 50.0), lines, HEAT,
                 levels={BRAKE_LIMIT_C: _limit()}, rows=2)  # fmt: skip


def trip_figure(result: Result, most: int = MOST_POINTS) -> go.Figure:
    """A whole trip over its distance.

    Parameters
    ----------
    most : int
        Points of a line.
    """
    trace, drawn, reach = result.trace, _Drawn(result, most), reach_of([result])
    grade, torque, fuel = trace["grade_percent"], trace["engine_torque_n_m"], trace["fuel_rate_g_s"]
    engine, service = trace["engine_brake_power_kw"], trace["service_brake_power_kw"]
    stage, requested = trace["brake_stage"], trace["stage_requested"]
    shade = {"fill": "tozeroy", "fillcolor": "rgba(107,107,107,0.25)"}
    stages = [
        drawn.line("asked for", requested, "asked for", palette.VERMILLION, "dot", steps=True, digits=0, width=2.0),
        drawn.line("working", stage, "working", palette.BLUE, steps=True, digits=0, fill="tozeroy",
                   fillcolor="rgba(0,114,178,0.25)"),
    ]  # fmt: skip
    powers = [
        drawn.line(
            "service brakes",
            service,
            "kW service brakes",
            palette.VERMILLION,
            fill="tozeroy",
            fillcolor="rgba(213,94,0,0.55)",
            width=1.0,
        ),
        drawn.line("engine brake", engine, "kW engine brake", palette.BLUE, width=2.0),
    ]
    panels = [
        _road_panel(result, drawn, reach),
        Panel("Grade, %", 0.6, span_of([grade, 0.0], 2.0), [drawn.line("grade", grade, "%", palette.BLACK, **shade)]),
        _speed_panel(result, drawn),
        _temperature_panel(result, drawn, reach),
        _engine_panel(result, drawn, reach),
        Panel("Engine-brake stage", 0.55, (-0.2, 3.3), stages, ticks={"tickvals": [0, 1, 2, 3]}),
        Panel("Retarding power, kW", 1.0, span_of([engine, service], 20.0, 0.0), powers, POWER),
        Panel(
            "Flywheel torque, N m", 1.0, span_of([torque, 0.0], 100.0),
            [drawn.line("torque", torque, "N m", palette.BLACK, digits=0)], TORQUE,
        ),
        Panel(
            "Fuel, g/s", 0.8, span_of([fuel], 2.0, 0.0),
            [drawn.line("fuel", fuel, "g/s", palette.PURPLE, width=2.0)], FUEL,
        ),
    ]  # fmt: skip
    return stacked(panels, reach)


# ---------------------------------------------------------------- several trips


def comparison_figure(comparison: Comparison) -> go.Figure:
    """Trips drawn over one another.

    Returns
    -------
    figure : Figure
        Each trip has one colour and dash in all panels, and one entry in the legend, which hides or shows it everywhere.
    """
    results = comparison.results
    reach = reach_of(results)
    most = min(MOST_POINTS, max(MOST_POINTS_COMPARED // len(results), 300))
    drawns = [_Drawn(result, most) for result in results]

    def lines(column: str, unit: str, metric: str = "", steps: bool = False, legend: bool = False) -> list[Line]:
        made = []
        for number, (drawn, label) in enumerate(zip(drawns, comparison.labels, strict=True)):
            colour, dash = palette.line_of(number)
            values = displayed(drawn.trace[column], metric)
            name = f"{number + 1}: {html.escape(_short(label))}" if len(results) <= MOST_NAMED else str(number + 1)
            more = {"legendgroup": f"trip {number + 1}", "showlegend": legend, "steps": steps}
            made.append(drawn.line(name, values, f"{unit} {name}", colour, dash, **more))
        return made

    heights = lines("elevation_m", "m", legend=True)
    speeds = lines("speed_m_s", "km/h", "km_h")
    if results[0].route.limits:
        posted = displayed(results[0].trace["speed_limit_m_s"], "km_h")
        speeds.insert(0, drawns[0].line("posted limit on the road of trip 1", posted, "km/h posted", palette.GREY, "dash",
                                        steps=True, width=2.4))  # fmt: skip
    engines = [
        _flat(f"governed {governed:.0f}", governed, reach, palette.GREY, "dash", width=2.4)
        for governed in dict.fromkeys(result.truck.engine.governed_rpm for result in results)
    ] + lines("engine_speed_rpm", "rpm")
    warm = [
        _flat(_limit(), BRAKE_LIMIT_C, reach, palette.GREY, "dash", width=2.4, showlegend=False),
        *lines("brake_temperature_c", "C"),
    ]

    gears = lines("gear", "gear", steps=True)
    stages = lines("brake_stage", "stage", steps=True)
    powers, service = lines("engine_brake_power_kw", "kW"), lines("service_brake_power_kw", "kW")
    panels = [
        Panel("Road, m", 1.2, span_of_lines(heights, 20.0), heights, HEIGHT),
        Panel("Speed, km/h", 1.6, span_of_lines(speeds, 20.0, 0.0), speeds, SPEED),
        Panel(
            "Mean brake temperature, C",
            1.6,
            span_of_lines(warm, 50.0),
            warm,
            HEAT,
            levels={BRAKE_LIMIT_C: _limit()},
        ),
        Panel("Engine speed, rpm", 1.2, span_of_lines(engines, 500.0, 0.0), engines),
        Panel("Gear", 0.8, span_of_lines(gears, 2.0, 0.0), gears),
        Panel("Engine-brake stage", 0.7, (-0.2, 3.3), stages, ticks={"tickvals": [0, 1, 2, 3]}),
        Panel("Engine-brake power, kW", 1.0, span_of_lines(powers, 20.0, 0.0), powers, POWER),
        Panel("Service-brake power, kW", 1.0, span_of_lines(service, 20.0, 0.0), service, POWER),
    ]
    return stacked(panels, reach)


def _short(text: str, most: int = 40) -> str:
    """A label that fits a legend."""
    return text if len(text) <= most else f"{text[: most - 2]}.."
