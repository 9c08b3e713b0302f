"""Panels above one another over one axis: how every figure of many strips is laid out, on screen and on paper.

Loading this file loads the drawing library.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from sim.units import from_si, to_si

FONT = "Arial, Helvetica, 'Liberation Sans', sans-serif"
INK = "#1A1A1A"
GRID = "#D9D9D9"
SCREEN_HEIGHT, PRINT_HEIGHT, PRINT_WIDTH = 1720, 860, 690  # px; a print page of A4 or letter with its margins
TOP, BOTTOM, LEFT, RIGHT = 66, 46, 62, 62  # px around the panels
HEAD, PRINT_HEAD, PRINT_ROW = 36, 28, 15  # px above a panel, on screen and on paper, and for another row of its legend
MILES = 24  # px that the mile axis takes above the first panel

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
    """One strip of a figure with a distance axis that all share.

    Parameters
    ----------
    title : str
        With the metric unit.
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


def span_of_values(
    values: Sequence[np.ndarray | float], least: float, floor: float | None = None
) -> tuple[float, float]:
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


def in_unit(value: float, metric: str, us: str) -> float:
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
        Of the height, from the top.
    height : int
        Of the figure. [px]
    heads : sequence of int
        Above each panel, for its name and its legend; that of the first lies in the margin. [px]

    Returns
    -------
    domains : list of (float, float)
        Bottom and top of each, of what lies between the margins.
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
        From the top.
    reach : tuple of float
        Ends of the distance axis. [km]
    height : int
        [px]
    """
    miles = tuple(in_unit(value, "km", "mi") for value in reach)
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
            **axis(), "domain": domain, "range": panel.span, "anchor": "x", "fixedrange": True, **(panel.ticks or {}),
        }  # fmt: skip
        layout[legend] = {
            "orientation": "h", "x": 0, "xanchor": "left", "y": _legend_place(number, domain[1], height), "yanchor": "bottom",
            "title": {"text": f"<b>{panel.title}</b>" + (f" | {panel.us[0]}" if panel.us else ""), "side": "left"},
            "font": {"size": 12}, "bgcolor": "rgba(255,255,255,0)", "tracegroupgap": 0,
        }  # fmt: skip
        notes += [
            note(0.0, level, text, xref="paper", yref=left, xanchor="left", yanchor="bottom", xshift=3)
            for level, text in panel.levels.items()
        ]
        if not any(
            line.get("showlegend", True) for line in panel.lines
        ):  # a legend without entries hides its title too
            title = layout[legend]["title"]["text"]
            notes.append(
                note(
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
            span = tuple(in_unit(value, *panel.us[1:]) for value in panel.span)
            right = {**axis(), "range": span, "showgrid": False, "zeroline": False, "tickmode": "auto"}
            scale = {"x": list(reach), "y": list(span), "mode": "markers", "marker": {"opacity": 0}}
            hidden = {"showlegend": False, "hoverinfo": "skip", "name": f"scale in {panel.us[0]}"}
            lines.append({**scale, **hidden, "xaxis": "x", "yaxis": _name("y", side)})
        elif panel.right:
            right = {**axis(), "showgrid": False, "zeroline": False, **panel.right}
        if right is not None:
            layout[_name("yaxis", side)] = {
                **right, "overlaying": left, "side": "right", "anchor": "x", "fixedrange": True,
            }  # fmt: skip
        for line in panel.lines:
            on_right = line.get("yaxis") == "right"
            lines.append({**line, "xaxis": "x", "yaxis": _name("y", side) if on_right else left, "legend": legend})
        side += right is not None
    layout["xaxis"] = {
        **axis(), "range": reach, "anchor": _name("y", count), "title": {"text": "distance, km", "standoff": 6},
        "showspikes": True, "spikemode": "across", "spikethickness": 1, "spikedash": "dot", "spikecolor": palette.GREY,
        "spikesnap": "cursor",
    }  # fmt: skip
    layout["xaxis2"] = {
        **axis(), "range": miles, "anchor": "y", "overlaying": "x", "side": "top", "showgrid": False,
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


def axis() -> dict[str, Any]:
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
        changes[f"{_name('legend', number)}.y"] = _legend_place(number, domain[1], PRINT_HEIGHT)
        changes[f"{_name('legend', number)}.font.size"] = 9
        changes[f"{_name('legend', number)}.title.font.size"] = 9
    for name in plain:
        if name.startswith(("xaxis", "yaxis")):
            changes[f"{name}.tickfont.size"] = 9
    return changes


def note(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """A word inside a figure."""
    return {"x": x, "y": y, "text": text, "showarrow": False, "font": {"size": 11}, "bgcolor": "rgba(255,255,255,0.75)",
            "borderpad": 1, **more}  # fmt: skip
