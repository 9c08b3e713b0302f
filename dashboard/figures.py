"""Figures from results: pure functions, no callbacks, no files. Loading this file loads the drawing library.

Every panel reads in metric units on its left and in US units on its right. Lines carry thinned rows of the trace, not
smoothed ones: each drawn point is a row of trace.csv.
"""

import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard import palette
from dashboard.thinning import MOST_POINTS, event_rows, thinned_rows
from sim.charts import ControlChart, control_chart
from sim.compare import Comparison
from sim.result import BRAKE_LIMIT_C, WORK_TERMS, Result
from sim.units import from_si, to_si

MOST_POINTS_COMPARED = 8000  # of all lines of a panel that compares trips
MOST_NAMED = 6  # trips that stand in a legend by name; of more, only by number
MOST_MARKS = 150  # of the driven points of a stage in the control-speed chart
MOST_NUMBERED = 60  # places on a road that carry their number in the figure
BEST_RETARDING_RPM = (1750.0, 2100.0)  # TM 9-2320-363-10: engine speed at which an engine brake works best
FONT = "Arial, Helvetica, 'Liberation Sans', sans-serif"
INK = "#1A1A1A"
GRID = "#D9D9D9"
SCREEN_HEIGHT, PRINT_HEIGHT, PRINT_WIDTH = 1720, 860, 690  # px; a print page of A4 or letter with its margins
TOP, BOTTOM, LEFT, RIGHT = 66, 46, 62, 62  # px around the panels
HEAD, PRINT_HEAD, PRINT_ROW = 36, 28, 15  # px above a panel, on screen and on paper, and for another row of its legend
MILES = 24  # px that the mile axis takes above the first panel
UNDER_ROAD = -0.025  # assumed: where the road falls more than this, the control-speed chart looks for its height

GROUPS = (("steer", "steer axle"), ("drive", "drive axles"), ("trailer", "trailer axles"))
TERMS = {
    "combustion_heat": "heat of combustion",
    "engine_friction": "engine friction and pumping",
    "compression": "engine brake",
    "fan": "fan",
    "accessories": "accessories",
    "clutch": "clutch slip",
    "gear_synchronising": "gear synchronising",
    "driveline": "gearbox and axle",
    "tyre_slip": "slip of the drive tyres",
    "aero": "air drag",
    "rolling": "rolling resistance",
    "service_brakes": "service brakes",
}

Line = dict[str, Any]


def displayed(values: np.ndarray, unit: str) -> np.ndarray:
    """A whole column in the unit of its axis.

    Parameters
    ----------
    values : array
        [SI]
    unit : str
        Ending of a unit, as in `sim.units`. [-]

    Returns
    -------
    values : array
        [unit]
    """
    return np.asarray(from_si(values, unit))  # type: ignore[arg-type]


# ---------------------------------------------------------------- panels above one another


@dataclass(frozen=True)
class Panel:
    """One strip of a figure with a distance axis that all share.

    Parameters
    ----------
    title : str
        With the metric unit. [-]
    share : float
        Of the height. [-]
    span : tuple of float
        Lowest and highest of the left axis. [any]
    lines : list of dict
        In drawing order. [-]
    us : tuple of str
        Name of the US unit, metric and US unit endings; empty for none. [-]
    right : dict
        Axis of its own on the right instead; empty for none. [-]
    ticks : dict
        More about the left axis. [-]
    levels : dict
        What a level line inside the panel is called, by its level. [-]
    rows : int
        Of the legend on paper. [-]
    """

    title: str
    share: float
    span: tuple[float, float]
    lines: list[Line]
    us: tuple[str, str, str] | None = None
    right: dict[str, Any] | None = None
    ticks: dict[str, Any] | None = None
    levels: dict[float, str] = field(default_factory=dict)
    rows: int = 1


def _span(values: Sequence[np.ndarray | float], least: float, floor: float | None = None) -> tuple[float, float]:
    """Range of an axis that shows all values, at least so wide, with some air."""
    flat = np.concatenate([np.atleast_1d(np.asarray(each, dtype=float)) for each in values])
    flat = flat[np.isfinite(flat)]
    low, high = (float(flat.min()), float(flat.max())) if len(flat) else (0.0, least)
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    air = 0.06 * (high - low)
    low, high = low - air, high + air
    return (floor, max(high, floor + least)) if floor is not None else (low, high)


def _in_unit(value: float, metric: str, us: str) -> float:
    """A number of one unit in another."""
    return from_si(to_si(value, metric), us)


def _name(kind: str, number: int) -> str:
    """Name in the drawing library of an axis or legend: the first carries no number."""
    return kind if number == 1 else f"{kind}{number}"


def arrangement(shares: Sequence[float], height: int, heads: Sequence[int]) -> list[tuple[float, float]]:
    """Where panels lie in a figure.

    Parameters
    ----------
    shares : sequence of float
        Of the height, from the top. [-]
    height : int
        Of the figure. [px]
    heads : sequence of int
        Above each panel, for its name and its legend; that of the first lies in the margin. [px]

    Returns
    -------
    domains : list of (float, float)
        Bottom and top of each, of what lies between the margins. [-]
    """
    room = height - TOP - BOTTOM
    free = 1.0 - sum(heads[1:]) / room
    domains, top = [], 1.0
    for share, below in zip(shares, [*heads[1:], 0], strict=True):
        bottom = top - free * share / sum(shares)
        domains.append((max(bottom, 0.0), top))
        top = bottom - below / room
    return domains


def stacked(panels: Sequence[Panel], reach: tuple[float, float], height: int = SCREEN_HEIGHT) -> go.Figure:
    """Panels above one another over one distance axis, kilometres below and miles above.

    Parameters
    ----------
    panels : sequence of Panel
        From the top. [-]
    reach : tuple of float
        Ends of the distance axis. [km]
    height : int
        [px]

    Returns
    -------
    figure : Figure
        [-]
    """
    miles = tuple(_in_unit(value, "km", "mi") for value in reach)
    lines: list[Line] = []
    layout = base_layout(height)
    count = len(panels)
    domains = arrangement([panel.share for panel in panels], height, [HEAD] * count)
    notes = []
    side = count + 1
    for number, (panel, domain) in enumerate(zip(panels, domains, strict=True), start=1):
        left = _name("y", number)
        legend = _name("legend", number)
        layout[_name("yaxis", number)] = {
            **_axis(), "domain": domain, "range": panel.span, "anchor": "x", "fixedrange": True, **(panel.ticks or {}),
        }  # fmt: skip
        layout[legend] = {
            "orientation": "h", "x": 0, "xanchor": "left", "y": _legend_place(number, domain[1], height), "yanchor": "bottom",
            "title": {"text": f"<b>{panel.title}</b>" + (f" | {panel.us[0]}" if panel.us else ""), "side": "left"},
            "font": {"size": 12}, "bgcolor": "rgba(255,255,255,0)", "tracegroupgap": 0,
        }  # fmt: skip
        notes += [
            _note(0.0, level, text, xref="paper", yref=left, xanchor="left", yanchor="bottom", xshift=3)
            for level, text in panel.levels.items()
        ]
        if not any(
            line.get("showlegend", True) for line in panel.lines
        ):  # a legend without entries hides its title too
            title = layout[legend]["title"]["text"]
            notes.append(
                _note(
                    0.0,
                    1.0,
                    title,
                    xref="paper",
                    yref=f"{left} domain",
                    xanchor="left",
                    yanchor="bottom",
                    font={"size": 12},
                )
            )
        right = None
        if panel.us:
            span = tuple(_in_unit(value, *panel.us[1:]) for value in panel.span)
            right = {**_axis(), "range": span, "showgrid": False, "zeroline": False, "tickmode": "auto"}
            scale = {"x": list(reach), "y": list(span), "mode": "markers", "marker": {"opacity": 0}}
            hidden = {"showlegend": False, "hoverinfo": "skip", "name": f"scale in {panel.us[0]}"}
            lines.append({**scale, **hidden, "xaxis": "x", "yaxis": _name("y", side)})
        elif panel.right:
            right = {**_axis(), "showgrid": False, "zeroline": False, **panel.right}
        if right is not None:
            layout[_name("yaxis", side)] = {
                **right, "overlaying": left, "side": "right", "anchor": "x", "fixedrange": True,
            }  # fmt: skip
        for line in panel.lines:
            on_right = line.get("yaxis") == "right"
            lines.append({**line, "xaxis": "x", "yaxis": _name("y", side) if on_right else left, "legend": legend})
        side += right is not None
    layout["xaxis"] = {
        **_axis(), "range": reach, "anchor": _name("y", count), "title": {"text": "distance, km", "standoff": 6},
        "showspikes": True, "spikemode": "across", "spikethickness": 1, "spikedash": "dot", "spikecolor": palette.GREY,
        "spikesnap": "cursor",
    }  # fmt: skip
    layout["xaxis2"] = {
        **_axis(), "range": miles, "anchor": "y", "overlaying": "x", "side": "top", "showgrid": False,
        "ticksuffix": " mi", "tickmode": "auto", "fixedrange": True, "zeroline": False,
    }  # fmt: skip
    lines.append(
        {
            "x": list(miles),
            "y": list(panels[0].span),
            "xaxis": "x2",
            "yaxis": "y",
            "mode": "markers",
            "marker": {"opacity": 0},
            "showlegend": False,
            "hoverinfo": "skip",
            "name": "scale in mi",
        }
    )
    layout["margin"] = {"t": TOP, "b": BOTTOM, "l": LEFT, "r": RIGHT}
    layout["hovermode"] = "x unified"
    layout["annotations"] = notes
    layout["meta"] = [panel.rows for panel in panels]
    return go.Figure({"data": [{"type": "scatter", **line} for line in lines], "layout": layout})


def _legend_place(number: int, top: float, height: int) -> float:
    """Where a legend begins above its panel; that of the first stands above the mile axis."""
    return top + (MILES / (height - TOP - BOTTOM) if number == 1 else 0.0)


def base_layout(height: int) -> dict[str, Any]:
    """What all figures have in common: black on white, one type face, no template.

    Parameters
    ----------
    height : int
        [px]

    Returns
    -------
    layout : dict
        [-]
    """
    return {
        "template": {"layout": {}},
        "height": height,
        "font": {"family": FONT, "size": 12, "color": INK},
        "paper_bgcolor": "#FFFFFF",
        "plot_bgcolor": "#FFFFFF",
        "dragmode": "zoom",
        "hoverlabel": {"bgcolor": "#FFFFFF", "font": {"color": INK}, "namelength": -1},
        "uirevision": "kept",
    }


def _axis() -> dict[str, Any]:
    """A plain axis."""
    return {
        "gridcolor": GRID, "linecolor": INK, "showline": True, "ticks": "outside", "ticklen": 4, "zerolinecolor": "#8C8C8C",
        "zerolinewidth": 1, "automargin": False, "tickfont": {"size": 11},
    }  # fmt: skip


def print_changes(figure: go.Figure) -> dict[str, Any]:
    """What a stacked figure changes to fit one printed page.

    Parameters
    ----------
    figure : Figure
        Of `stacked`. [-]

    Returns
    -------
    changes : dict
        Attribute and value, as the browser side takes them. [-]
    """
    plain = figure.to_plotly_json()["layout"]
    count = sum(1 for key in plain if key.startswith("legend"))
    domains = [plain[_name("yaxis", number)]["domain"] for number in range(1, count + 1)]
    heads = [PRINT_HEAD + PRINT_ROW * (rows - 1) for rows in plain["meta"]]
    fitted = arrangement([top - bottom for bottom, top in domains], PRINT_HEIGHT, heads)
    changes: dict[str, Any] = {"width": PRINT_WIDTH, "height": PRINT_HEIGHT}
    for number, domain in enumerate(fitted, start=1):
        changes[f"{_name('yaxis', number)}.domain"] = list(domain)
        changes[f"{_name('legend', number)}.y"] = _legend_place(number, domain[1], PRINT_HEIGHT)
        changes[f"{_name('legend', number)}.font.size"] = 9
        changes[f"{_name('legend', number)}.title.font.size"] = 9
    for name in plain:
        if name.startswith(("xaxis", "yaxis")):
            changes[f"{name}.tickfont.size"] = 9
    return changes


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
            In the legend. [-]
        values : array
            One a row of the trace, NaN for a gap. [unit]
        unit : str
            After the value, when it is pointed at. [-]
        colour : str
            [-]
        dash : str
            [-]
        **more : Any
            `steps`, `width`, `digits`, and anything else a line may have. [-]

        Returns
        -------
        line : dict
            [-]
        """
        rows = thinned_rows(values, self.always, self.most)
        shape = "hv" if more.pop("steps", False) else "linear"
        width, digits = more.pop("width", 1.6), more.pop("digits", 1)
        return {
            "x": np.asarray(self.at[rows], dtype=np.float32),
            "y": np.asarray(values[rows], dtype=np.float32),
            "name": name,
            "mode": "lines" if len(rows) > 2 else "lines+markers",
            "line": {"color": colour, "dash": dash, "width": width, "shape": shape},
            "hovertemplate": f"%{{y:.{digits}f}} {unit}",
            "connectgaps": False,
            **more,
        }


def reach_of(results: Sequence[Result]) -> tuple[float, float]:
    """Ends of the distance axis: everything driven.

    Parameters
    ----------
    results : sequence of Result
        [-]

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

    Parameters
    ----------
    result : Result
        [-]

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
    span = _span([height, heights], 20.0)
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
            {
                "x": np.asarray(drawn.at[rows], dtype=np.float32),
                "y": np.where(here | reached, height[rows], np.nan).astype(np.float32),
                "name": f"stage {number}" if number else "stage 0 (off)",
                "mode": "lines",
                "line": {"color": palette.STAGE_COLOURS[number], "width": palette.STAGE_WIDTHS[number]},
                "hovertemplate": "%{y:.0f} m",
                "connectgaps": False,
                "showlegend": bool(here.any()) or number == 0,
            }
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
    return Panel("Road by brake stage, m", 1.5, span, lines, ("ft", "m", "ft"))


def _speed_panel(result: Result, drawn: _Drawn) -> Panel:
    """Road speed against what is posted, aimed for and set."""
    trace = result.trace

    def column(name: str) -> np.ndarray:
        return displayed(trace[name], "km_h")

    speed, limit, aimed, chosen = (
        column(name) for name in ("speed_m_s", "speed_limit_m_s", "target_speed_m_s", "set_speed_m_s")
    )
    over = speed > limit + result.settings.simulation.limit_tolerance_km_h
    rows = thinned_rows(np.where(over, speed - limit, 0.0), drawn.always, drawn.most)
    common = {"x": np.asarray(drawn.at[rows], dtype=np.float32), "mode": "lines", "hoverinfo": "skip"}
    lines: list[Line] = [
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
        drawn.line("aimed for", aimed, "km/h aimed for", palette.GREEN, "dot"),
    ]
    if np.any(chosen > 0.0):
        held = np.where(chosen > 0.0, chosen, np.nan)
        lines.append(drawn.line("cruise set", held, "km/h set", palette.PURPLE, "longdash", steps=True, width=2.2))
    lines.append(drawn.line("speed", speed, "km/h", palette.BLACK, width=2.0))
    return Panel("Speed, km/h", 1.5, _span([speed, limit], 20.0, 0.0), lines, ("mi/h", "km_h", "mi_h"))


def _flat(name: str, level: float, reach: tuple[float, float], colour: str, dash: str, **more: Any) -> Line:
    """A level line from end to end."""
    width = more.pop("width", 1.6)
    return {
        "x": list(reach), "y": [level, level], "mode": "lines", "name": name, "hoverinfo": "skip",
        "line": {"color": colour, "dash": dash, "width": width}, **more,
    }  # fmt: skip


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
    return Panel("Engine speed, rpm", 1.3, _span([trace["engine_speed_rpm"], governed], 500.0, 0.0), lines, right=right)


def _limit() -> str:
    """The limit line's name."""
    return f"limit {BRAKE_LIMIT_C:.0f} C = {_in_unit(BRAKE_LIMIT_C, 'c', 'f'):.0f} F [2]"


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
    return Panel("Brake temperature, C", 1.7, _span([*shown, 1.1 * BRAKE_LIMIT_C, 0.0], 50.0), lines, ("F", "c", "f"),
                 levels={BRAKE_LIMIT_C: _limit()}, rows=2)  # fmt: skip


def trip_figure(result: Result, most: int = MOST_POINTS) -> go.Figure:
    """A whole trip over its distance.

    Parameters
    ----------
    result : Result
        [-]
    most : int
        Points of a line. [-]

    Returns
    -------
    figure : Figure
        [-]
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
        Panel("Grade, %", 0.6, _span([grade, 0.0], 2.0), [drawn.line("grade", grade, "%", palette.BLACK, **shade)]),
        _speed_panel(result, drawn),
        _temperature_panel(result, drawn, reach),
        _engine_panel(result, drawn, reach),
        Panel("Engine-brake stage", 0.55, (-0.2, 3.3), stages, ticks={"tickvals": [0, 1, 2, 3]}),
        Panel("Retarding power, kW", 1.0, _span([engine, service], 20.0, 0.0), powers, ("hp", "kw", "hp")),
        Panel(
            "Flywheel torque, N m", 1.0, _span([torque, 0.0], 100.0),
            [drawn.line("torque", torque, "N m", palette.BLACK, digits=0)], ("lb ft", "n_m", "lb_ft"),
        ),
        Panel(
            "Fuel, g/s", 0.8, _span([fuel], 2.0, 0.0),
            [drawn.line("fuel", fuel, "g/s", palette.PURPLE, width=2.0)], ("lb/h", "g_s", "lb_h"),
        ),
    ]  # fmt: skip
    return stacked(panels, reach)


# ---------------------------------------------------------------- several trips


def comparison_figure(comparison: Comparison) -> go.Figure:
    """Trips drawn over one another.

    Parameters
    ----------
    comparison : Comparison
        [-]

    Returns
    -------
    figure : Figure
        Each trip has one colour and dash in all panels, and one entry in the legend, which hides or shows it everywhere. [-]
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

    def span(made: list[Line], least: float, floor: float | None = None, also: float = np.nan) -> tuple[float, float]:
        return _span([*(np.asarray(line["y"]) for line in made), also], least, floor)

    gears = lines("gear", "gear", steps=True)
    stages = lines("brake_stage", "stage", steps=True)
    powers, service = lines("engine_brake_power_kw", "kW"), lines("service_brake_power_kw", "kW")
    panels = [
        Panel("Road, m", 1.2, span(heights, 20.0), heights, ("ft", "m", "ft")),
        Panel("Speed, km/h", 1.6, span(speeds, 20.0, 0.0), speeds, ("mi/h", "km_h", "mi_h")),
        Panel(
            "Mean brake temperature, C", 1.6, span(warm, 50.0), warm, ("F", "c", "f"), levels={BRAKE_LIMIT_C: _limit()}
        ),
        Panel("Engine speed, rpm", 1.2, span(engines, 500.0, 0.0), engines),
        Panel("Gear", 0.8, span(gears, 2.0, 0.0), gears),
        Panel("Engine-brake stage", 0.7, (-0.2, 3.3), stages, ticks={"tickvals": [0, 1, 2, 3]}),
        Panel("Engine-brake power, kW", 1.0, span(powers, 20.0, 0.0), powers, ("hp", "kw", "hp")),
        Panel("Service-brake power, kW", 1.0, span(service, 20.0, 0.0), service, ("hp", "kw", "hp")),
    ]
    return stacked(panels, reach)


def _short(text: str, most: int = 40) -> str:
    """A label that fits a legend."""
    return text if len(text) <= most else f"{text[: most - 2]}.."


# ---------------------------------------------------------------- control speeds


def chart_of(result: Result) -> ControlChart:
    """The control-speed chart for the weather of a trip, at the mean height of the falling road.

    Parameters
    ----------
    result : Result
        [-]

    Returns
    -------
    chart : ControlChart
        At the mean height of the whole trip when the road nowhere falls. [-]
    """
    height, falling = result.trace["elevation_m"], result.trace["grade_percent"] <= 100.0 * UNDER_ROAD
    at = float(np.mean(height[falling] if falling.any() else height))
    return control_chart(result.truck, result.settings, round(at, -1), result.route.start_elevation)


def driven_points(result: Result, stage: int) -> np.ndarray:
    """Rows of the trace in which the engine held the truck back in a stage: no fuel, clutch locked, a gear in.

    Parameters
    ----------
    result : Result
        [-]
    stage : int
        0 to 3. [-]

    Returns
    -------
    rows : array
        Evenly picked when there are many. [-]
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
    result : Result
        [-]
    chart : ControlChart or None
        None for that of `chart_of`. [-]

    Returns
    -------
    figure : Figure
        [-]
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
            {
                "x": speeds[inside],
                "y": line.force[inside] / 1000.0,
                "mode": "lines",
                "hoverinfo": "skip",
                "line": {"color": palette.GREY, "width": 2.6},
                "name": "what a grade asks for",
                "legendgroup": "grades",
                "showlegend": line is chart.lines[0],
            }
        )
        notes.append(_note(float(speeds[inside][-1]), float(line.force[inside][-1]) / 1000.0,
                           f"{abs(100.0 * line.grade):g} %", xanchor="right", yanchor="bottom"))  # fmt: skip
    for curve in chart.curves:
        speeds = displayed(curve.speed, "km_h")
        force = curve.force / 1000.0
        if curve.stage == 3:
            shown = np.flatnonzero((force <= 0.97 * top) & (speeds <= 0.98 * right))
            if len(shown):
                last = shown[-1]
                notes.append(_note(float(speeds[last]), float(force[last]), f"<b>{curve.gear}</b>", yanchor="bottom"))
        lines.append(
            {
                "x": speeds,
                "y": force,
                "mode": "lines",
                "line": {
                    "color": palette.STAGE_COLOURS[curve.stage],
                    "dash": palette.STAGE_DASHES[curve.stage],
                    "width": 1.6,
                },
                "name": f"stage {curve.stage}" if curve.stage else "stage 0, engine alone",
                "legendgroup": f"stage {curve.stage}",
                "showlegend": curve.gear == 1,
                "hovertemplate": f"gear {curve.gear}, stage {curve.stage}: %{{x:.1f}} km/h, %{{y:.1f}} kN<extra></extra>",
            }
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
    miles = (0.0, _in_unit(right, "km_h", "mi_h"))
    pounds = tuple(_in_unit(1000.0 * value, "n", "lbf") / 1000.0 for value in (bottom, top))
    hidden = {"mode": "markers", "marker": {"opacity": 0}, "showlegend": False, "hoverinfo": "skip"}
    lines.append({**hidden, "x": list(miles), "y": list(pounds), "xaxis": "x2", "yaxis": "y2", "name": "US scales"})
    layout = base_layout(640)
    layout |= {
        "xaxis": {**_axis(), "range": (0.0, right), "title": {"text": "road speed, km/h"}, "fixedrange": True},
        "yaxis": {
            **_axis(), "range": (bottom, top), "title": {"text": "holding the truck back, kN"}, "fixedrange": True,
        },
        "xaxis2": {
            **_axis(), "range": miles, "overlaying": "x", "side": "top", "showgrid": False, "anchor": "y2", "tickmode": "auto",
            "title": {"text": "mi/h", "standoff": 4}, "fixedrange": True, "zeroline": False,
        },
        "yaxis2": {
            **_axis(), "range": pounds, "overlaying": "y", "side": "right", "showgrid": False, "anchor": "x2", "tickmode": "auto",
            "title": {"text": "1000 lbf"}, "fixedrange": True, "zeroline": False,
        },
        "annotations": notes,
        "legend": {"orientation": "h", "x": 0, "y": -0.12, "yanchor": "top", "font": {"size": 11}},
        "margin": {"t": 56, "b": 120, "l": 62, "r": 74},
        "hovermode": "closest",
        "dragmode": False,
    }  # fmt: skip
    return go.Figure({"data": [{"type": "scatter", **line} for line in lines], "layout": layout})


def _note(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """A word inside a figure."""
    return {"x": x, "y": y, "text": text, "showarrow": False, "font": {"size": 11}, "bgcolor": "rgba(255,255,255,0.75)",
            "borderpad": 1, **more}  # fmt: skip


# ---------------------------------------------------------------- energy


def energy_shares(result: Result) -> list[tuple[str, float, float]]:
    """Where the energy went: each term of the work book, largest first.

    Parameters
    ----------
    result : Result
        [-]

    Returns
    -------
    terms : list of (str, float, float)
        Name in words, energy, share of what was supplied; terms of nothing are left out. [-, J, -]
    """
    book = result.summary["energy"]
    supplied = supplied_energy(result)
    found = [(TERMS[name], book[name]) for name in WORK_TERMS]
    found.append(("speed at the end", book["kinetic_at_end"]))
    found.append(("height gained", max(-book["height_given_up"], 0.0)))
    scale = 1.0 / supplied if supplied > 0.0 else 0.0
    return sorted(
        ((name, value, value * scale) for name, value in found if abs(value) > 1.0), key=lambda term: -term[1]
    )


def _percent(share: float) -> str:
    """A share in words."""
    return f"{100.0 * share:.1f} %" if abs(share) >= 0.0005 else "below 0.1 %"


def supplied_energy(result: Result) -> float:
    """Fuel, height given up and speed at the start.

    Parameters
    ----------
    result : Result
        [-]

    Returns
    -------
    energy : float
        [J]
    """
    book = result.summary["energy"]
    return float(book["fuel"] + max(book["height_given_up"], 0.0) + book["kinetic_at_start"])


def energy_figure(result: Result) -> go.Figure:
    """Where the energy went, as bars.

    Parameters
    ----------
    result : Result
        [-]

    Returns
    -------
    figure : Figure
        [-]
    """
    terms = energy_shares(result)[::-1]
    values = [value / 1e6 for _, value, _ in terms]
    bars = {
        "type": "bar", "orientation": "h", "x": values, "y": [name for name, _, _ in terms],
        "text": [f"{value / 1e6:.3g} MJ, {_percent(share)}" for _, value, share in terms], "textposition": "outside",
        "cliponaxis": False, "marker": {"color": palette.BLUE, "line": {"color": INK, "width": 1}},
        "hovertemplate": "%{y}: %{text}<extra></extra>", "name": "energy", "showlegend": False,
    }  # fmt: skip
    layout = base_layout(90 + 26 * max(len(terms), 1))
    most = max([*values, 1e-3])
    layout |= {
        "xaxis": {**_axis(), "title": {"text": "MJ"}, "fixedrange": True, "range": (min([*values, 0.0]), 1.3 * most)},
        "yaxis": {**_axis(), "fixedrange": True, "showgrid": False},
        "margin": {"t": 10, "b": 52, "l": 190, "r": 20},
        "dragmode": False,
    }
    return go.Figure({"data": [bars], "layout": layout})
