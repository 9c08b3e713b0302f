"""Panels above one another over one axis: how every figure of many strips is laid out, on screen and on paper.

Loading this file loads the drawing library.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.drawing import shown, span_of
from sim.trips.books import SPENT_TERMS, energy_words
from sim.units import from_si, shown_unit, to_si

FONT = "Arial, Helvetica, 'Liberation Sans', sans-serif"
INK = "#1A1A1A"
GRID = "#D9D9D9"
SCREEN_HEIGHT, PRINT_HEIGHT, PRINT_WIDTH = 1720, 860, 690  # px; a print page of A4 or letter with its margins
TOP, BOTTOM, LEFT, RIGHT = 66, 46, 62, 62  # px around the panels
HEAD, BARE_HEAD = 36, 22  # px above a panel, with a legend of its own and without
PRINT_HEAD, PRINT_ROW = 28, 15  # the same on paper, and for another row of its legend
MILES = 24  # px that the mile axis takes above the first panel

# name of a US unit, and endings of the metric and the US unit
HEIGHT = ("ft", "m", "ft")
SPEED = ("mi/h", "km_h", "mi_h")
HEAT = ("F", "c", "f")
POWER = ("hp", "kw", "hp")
TORQUE = ("lb ft", "n_m", "lb_ft")
FUEL = ("lb/h", "g_s", "lb_h")
BOOST = ("psi", "kpa", "psi")

TERMS = {name: energy_words(name) for name in SPENT_TERMS}

Line = dict[str, Any]


def displayed(values: np.ndarray, unit: str) -> np.ndarray:
    """A whole column in the unit of its axis.

    Parameters
    ----------
    values : array
        [SI]
    unit : str
        Ending of a unit, as in `sim.units`.

    Returns
    -------
    values : array
        [unit]
    """
    return np.asarray(from_si(values, unit))  # type: ignore[arg-type]


# ---------------------------------------------------------------- panels above one another


@dataclass(frozen=True)
class Panel:
    """One strip of a figure with an axis that all share.

    Parameters
    ----------
    title : str
        With its unit.
    share : float
        Of the height.
    span : tuple of float
        Lowest and highest of the left axis.
    lines : list of dict
        In drawing order.
    us : tuple of str
        Name of the US unit, metric and US unit endings; empty for none.
    right : dict
        Axis of its own on the right instead; empty for none.
    ticks : dict
        More about the left axis.
    levels : dict
        What a level line inside the panel is called, by its level.
    rows : int
        Of the legend on paper.
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


def in_unit(value: float, metric: str, us: str) -> float:
    """A number of one unit in another."""
    return from_si(to_si(value, metric), us)


def _name(kind: str, number: int) -> str:
    """Name in the drawing library of an axis or legend: the first carries no number."""
    return kind if number == 1 else f"{kind}{number}"


def arrangement(
    shares: Sequence[float], height: int, heads: Sequence[int], top: int = TOP
) -> list[tuple[float, float]]:
    """Where panels lie in a figure.

    Parameters
    ----------
    shares : sequence of float
        Of the height, from the top.
    height : int
        Of the figure. [px]
    heads : sequence of int
        Above each panel, for its name and its legend; that of the first lies in the margin. [px]
    top : int
        That margin. [px]

    Returns
    -------
    domains : list of (float, float)
        Bottom and top of each, of what lies between the margins.
    """
    room = height - top - BOTTOM
    free = 1.0 - sum(heads[1:]) / room
    domains, edge = [], 1.0
    for share, below in zip(shares, [*heads[1:], 0], strict=True):
        bottom = edge - free * share / sum(shares)
        domains.append((max(bottom, 0.0), edge))
        edge = bottom - below / room
    return domains


def over(
    panels: Sequence[Panel],
    reach: tuple[float, float],
    along: str,
    height: int,
    lift: int = 0,
    size: int = 11,
    one_legend: bool = False,
    unified: bool = True,
) -> go.Figure:
    """Panels above one another over one axis.

    Parameters
    ----------
    panels : sequence of Panel
        From the top.
    reach : tuple of float
        Ends of the axis. [along]
    along : str
        What the axis is called, with its unit.
    height : int
        [px]
    lift : int
        From the first panel to the legend above it. [px]
    size : int
        Of the numbers at the axes. [px]
    one_legend : bool
        One legend above all panels, whose entries hide or show their `legendgroup` everywhere, instead of one a panel.
    unified : bool
        Whether all values at one place are told together, with a line through all panels.
    """  # fmt: skip
    small, words = {"size": size}, {"size": size + 1 if size < 13 else size}
    top = HEAD + 6 + lift
    layout = base_layout(height, size + 1)
    count = len(panels)
    head, ticks = (BARE_HEAD, {"nticks": 6}) if one_legend else (HEAD, {})
    domains = arrangement([panel.share for panel in panels], height, [head] * count, top)
    legend_above = {
        "orientation": "h", "x": 0, "xanchor": "left", "yanchor": "bottom", "font": words, "bgcolor": "rgba(255,255,255,0)",
    }  # fmt: skip
    lines: list[Line] = []
    notes = []
    side = count + 1
    for number, (panel, domain) in enumerate(zip(panels, domains, strict=True), start=1):
        left, legend = _name("y", number), _name("legend", 1 if one_legend else number)
        layout[_name("yaxis", number)] = axis(
            domain=domain,
            range=panel.span,
            anchor="x",
            automargin=False,
            tickfont=small,
            **ticks,
            **(panel.ticks or {}),
        )
        title = f"<b>{panel.title}</b>" + (f" | {panel.us[0]}" if panel.us else "")
        place = domain[1] + (lift / (height - top - BOTTOM) if number == 1 else 0.0)
        if not one_legend:
            named = {"text": title, "side": "left"}
            layout[legend] = {**legend_above, "y": place, "title": named, "tracegroupgap": 0}
        elif number == 1:
            layout[legend] = {**legend_above, "y": place, "groupclick": "togglegroup"}
        # a legend without entries hides its title too
        if one_legend or not any(line.get("showlegend", True) for line in panel.lines):
            notes.append(
                note(0.0, 1.0, title, xref="paper", yref=f"{left} domain", xanchor="left", yanchor="bottom", font=words)
            )
        notes += [
            note(0.0, level, text, xref="paper", yref=left, xanchor="left", yanchor="bottom", xshift=3, font=small)
            for level, text in panel.levels.items()
        ]
        right = None
        if panel.us:
            low, high = (in_unit(value, *panel.us[1:]) for value in panel.span)
            right = {"range": (low, high), "tickmode": "auto"}
            lines.append(_scale(panel.us[0], reach, (low, high), yaxis=_name("y", side)))
        elif panel.right:
            right = panel.right
        if right is not None:
            layout[_name("yaxis", side)] = axis(
                overlaying=left, side="right", anchor="x", automargin=False, tickfont=small, showgrid=False, zeroline=False,
                **right,
            )  # fmt: skip
        for line in panel.lines:
            on_right = line.get("yaxis") == "right"
            lines.append(
                {
                    "mode": "lines",
                    **line,
                    "xaxis": "x",
                    "yaxis": _name("y", side) if on_right else left,
                    "legend": legend,
                }
            )
        side += right is not None
    spikes = {
        "showspikes": True, "spikemode": "across", "spikethickness": 1, "spikedash": "dot", "spikecolor": palette.GREY,
        "spikesnap": "cursor",
    }  # fmt: skip
    layout["xaxis"] = axis(
        range=reach, anchor=_name("y", count), title={"text": along, "standoff": 6}, fixedrange=False, automargin=False,
        tickfont=small, **(spikes if unified else {}),
    )  # fmt: skip
    narrow = 20 if side == count + 1 else RIGHT
    layout["margin"] = {"t": top, "b": BOTTOM, "l": LEFT, "r": narrow}
    layout |= {"hovermode": "x unified" if unified else "closest", "annotations": notes, "dragmode": "zoom"}
    layout["meta"] = [panel.rows for panel in panels]
    return figure_of(lines, layout)


def _scale(unit: str, x: Sequence[float], y: Sequence[float], **axes: str) -> Line:
    """An unseen line without which the drawing library leaves out an axis."""
    return {
        "x": list(x), "y": list(y), "mode": "markers", "marker": {"opacity": 0}, "showlegend": False, "hoverinfo": "skip",
        "name": f"scale in {unit}", "xaxis": "x", "yaxis": "y", **axes,
    }  # fmt: skip


def stacked(panels: Sequence[Panel], reach: tuple[float, float], height: int = SCREEN_HEIGHT) -> go.Figure:
    """Panels above one another over one distance axis, kilometres below and miles above.

    Parameters
    ----------
    panels : sequence of Panel
        From the top.
    reach : tuple of float
        Ends of the distance axis. [km]
    height : int
        [px]
    """
    figure = over(panels, reach, "distance, km", height, lift=MILES)
    miles = [in_unit(value, "km", "mi") for value in reach]
    figure.add_trace({"type": "scatter", **_scale("mi", miles, panels[0].span, xaxis="x2")})
    figure.layout.xaxis2 = axis(
        range=miles, anchor="y", overlaying="x", side="top", showgrid=False, ticksuffix=" mi", tickmode="auto", zeroline=False,
        automargin=False, tickfont={"size": 11},
    )  # fmt: skip
    return figure


def strips(panels: Sequence[Panel], reach: tuple[float, float], units: str, height: int) -> go.Figure:
    """Panels above one another over one distance axis, in one system of units, under one legend.

    Parameters
    ----------
    panels : sequence of Panel
        From the top; their x in the chosen unit.
    reach : tuple of float
        Ends of the road shown. [m]
    units : str
        metric or us.
    height : int
        [px]
    """
    first, last = (float(shown(end, "distance", units)) for end in reach)
    along = f"distance, {shown_unit('distance', units)}"
    return over(panels, (first, last), along, height, lift=MILES, size=13, one_legend=True)


def span_of_lines(lines: Iterable[Line], least: float, floor: float | None = None) -> tuple[float, float]:
    """Range of an axis that shows all lines, at least so wide, with some air."""
    return span_of((line["y"] for line in lines), least, floor)


def stroke(x: Any, y: Any, name: str, colour: str, dash: str = "solid", width: float = 2.0, **more: Any) -> Line:
    """One line; what is not a number leaves a gap.

    Parameters
    ----------
    x : array or list
        Arrays are sent as float32.
    y : array or list
        The same.
    **more : any
        `steps` for one that jumps, and anything else a line may have.
    """
    pen = {"color": colour, "dash": dash, "width": width, "shape": "hv" if more.pop("steps", False) else "linear"}
    at, values = (each if isinstance(each, list) else np.asarray(each, dtype=np.float32) for each in (x, y))
    return {"x": at, "y": values, "name": name, "mode": "lines", "line": pen, **more}


def figure_of(lines: Sequence[Line], layout: dict[str, Any]) -> go.Figure:
    """Lines and layout as a figure."""
    return go.Figure({"data": [{"type": "scatter", **line} for line in lines], "layout": layout})


def base_layout(height: int, size: int = 12) -> dict[str, Any]:
    """What all figures have in common: black on white, one type face, no template.

    Parameters
    ----------
    height : int
        [px]
    size : int
        Of the words. [px]
    """
    return {
        "template": {"layout": {}},
        "height": height,
        "autosize": True,
        "font": {"family": FONT, "size": size, "color": INK},
        "paper_bgcolor": "#FFFFFF",
        "plot_bgcolor": "#FFFFFF",
        "dragmode": False,
        "hoverlabel": {"bgcolor": "#FFFFFF", "font": {"color": INK}, "namelength": -1},
        "uirevision": "kept",
    }


def chart_layout(height: int, **more: Any) -> dict[str, Any]:
    """What single charts on the pages have in common.

    Parameters
    ----------
    height : int
        [px]
    **more : any
        Whatever else it has.
    """
    return {
        **base_layout(height, 14),
        "margin": {"t": 16, "b": 50, "l": 66, "r": 24},
        "legend": {"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom", "font": {"size": 13}},
        "hovermode": "closest",
        **more,
    }


def axis(**more: Any) -> dict[str, Any]:
    """A plain axis.

    Parameters
    ----------
    **more : any
        Whatever else it has.
    """
    return {
        "gridcolor": GRID, "linecolor": INK, "showline": True, "ticks": "outside", "ticklen": 4, "zerolinecolor": "#8C8C8C",
        "zerolinewidth": 1, "automargin": True, "tickfont": {"size": 13}, "fixedrange": True, **more,
    }  # fmt: skip


def note(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """A word inside a figure."""
    return {
        "x": x, "y": y, "text": text, "showarrow": False, "font": {"size": 13, "color": INK},
        "bgcolor": "rgba(255,255,255,0.8)", "borderpad": 1, **more,
    }  # fmt: skip


def print_changes(figure: go.Figure) -> dict[str, Any]:
    """What a stacked figure changes to fit one printed page.

    Parameters
    ----------
    figure : Figure
        Of `stacked`.

    Returns
    -------
    changes : dict
        Attribute and value, as the browser side takes them.
    """
    plain = figure.to_plotly_json()["layout"]
    count = sum(1 for key in plain if key.startswith("legend"))
    domains = [plain[_name("yaxis", number)]["domain"] for number in range(1, count + 1)]
    heads = [PRINT_HEAD + PRINT_ROW * (rows - 1) for rows in plain["meta"]]
    fitted = arrangement([top - bottom for bottom, top in domains], PRINT_HEIGHT, heads)
    changes: dict[str, Any] = {"width": PRINT_WIDTH, "height": PRINT_HEIGHT}
    for number, domain in enumerate(fitted, start=1):
        changes[f"{_name('yaxis', number)}.domain"] = list(domain)
        lift = MILES / (PRINT_HEIGHT - TOP - BOTTOM) if number == 1 else 0.0
        changes[f"{_name('legend', number)}.y"] = domain[1] + lift
        changes[f"{_name('legend', number)}.font.size"] = 9
        changes[f"{_name('legend', number)}.title.font.size"] = 9
    for name in plain:
        if name.startswith(("xaxis", "yaxis")):
            changes[f"{name}.tickfont.size"] = 9
    return changes
