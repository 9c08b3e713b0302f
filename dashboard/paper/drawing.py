"""Strips above one another over one distance axis, in the units a reader has chosen, and what single charts have in common.

Pure functions, no callbacks. Where a figure shows metric and US units side by side, `dashboard.trip.figures` draws it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import plotly.graph_objects as go

from sim.units import from_si

Line = dict[str, Any]
FONT = "Arial, Helvetica, 'Liberation Sans', sans-serif"
INK = "#1A1A1A"
GRID = "#D9D9D9"

# kind of quantity -> its unit (ending as in sim.units), how it is written, and a factor taken out of it; metric and US
KINDS: dict[str, dict[str, tuple[str, str, float]]] = {
    "distance": {"metric": ("km", "km", 1.0), "us": ("mi", "mi", 1.0)},
    "height": {"metric": ("m", "m", 1.0), "us": ("ft", "ft", 1.0)},
    "length": {"metric": ("m", "m", 1.0), "us": ("ft", "ft", 1.0)},
    "speed": {"metric": ("km_h", "km/h", 1.0), "us": ("mi_h", "mi/h", 1.0)},
    "force": {"metric": ("n", "kN", 1000.0), "us": ("lbf", "1000 lbf", 1000.0)},
    "mass": {"metric": ("t", "t", 1.0), "us": ("lb", "1000 lb", 1000.0)},
    "weight": {"metric": ("kg", "kg", 1.0), "us": ("lb", "lb", 1.0)},
    "fuel": {"metric": ("kg", "kg", 1.0), "us": ("lb", "lb", 1.0)},
    "time": {"metric": ("s", "s", 1.0), "us": ("s", "s", 1.0)},
    "engine_speed": {"metric": ("rpm", "rpm", 1.0), "us": ("rpm", "rpm", 1.0)},
    "grade": {"metric": ("percent", "%", 1.0), "us": ("percent", "%", 1.0)},
    "temperature": {"metric": ("c", "\N{DEGREE SIGN}C", 1.0), "us": ("f", "\N{DEGREE SIGN}F", 1.0)},
}


def shown(values: Any, kind: str, units: str) -> np.ndarray:
    """Numbers of a quantity as a reader is shown them.

    Parameters
    ----------
    values : array or float
        [SI]
    kind : str
        One of `KINDS`.
    units : str
        metric or us.

    Returns
    -------
    values : array
        [as shown]

    Examples
    --------
    >>> float(shown(25.0, "speed", "metric")), round(float(shown(25.0, "speed", "us")), 2)
    (90.0, 55.92)
    """
    unit, _, factor = KINDS[kind][units]
    return np.asarray(from_si(np.asarray(values, dtype=float), unit)) / factor  # type: ignore[arg-type]


def unit_of(kind: str, units: str) -> str:
    """How the unit of a quantity is written.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    units : str
        metric or us.
    """
    return KINDS[kind][units][1]


def with_unit(value: float, kind: str, units: str, digits: int = 0) -> str:
    """A number with its unit.

    Parameters
    ----------
    value : float
        [SI]
    kind : str
        One of `KINDS`.
    units : str
        metric or us.
    digits : int
        Behind the point.

    Returns
    -------
    text : str
        [as shown]

    Examples
    --------
    >>> with_unit(25.0, "speed", "metric"), with_unit(1609.344, "distance", "us", 1), with_unit(36287.0, "weight", "metric")
    ('90 km/h', '1.0 mi', '36,287 kg')
    """
    text = f"{float(shown(value, kind, units)):{',' if kind == 'weight' else ''}.{digits}f}"
    return f"{text.removeprefix('-') if not text.strip('-0.') else text} {unit_of(kind, units)}"


@dataclass(frozen=True)
class Strip:
    """One panel of a figure with a shared distance axis.

    Parameters
    ----------
    title : str
        With its unit.
    share : float
        Of the height.
    lines : list of dict
        In drawing order.
    span : tuple of float or None
        Lowest and highest of its axis; None for what the lines ask for.
    ticks : dict
        More about its axis.
    """

    title: str
    share: float
    lines: list[Line]
    span: tuple[float, float] | None = None
    ticks: dict[str, Any] = field(default_factory=dict)


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


def plain_layout(height: int, **more: Any) -> dict[str, Any]:
    """What the charts of these pages have in common.

    Parameters
    ----------
    height : int
        [px]
    **more : any
        Whatever else it has.
    """
    return {
        "template": {"layout": {}},
        "height": height,
        "autosize": True,
        "font": {"family": FONT, "size": 14, "color": INK},
        "paper_bgcolor": "#FFFFFF",
        "plot_bgcolor": "#FFFFFF",
        "hoverlabel": {"bgcolor": "#FFFFFF", "font": {"color": INK, "size": 13}, "namelength": -1},
        "margin": {"t": 16, "b": 50, "l": 66, "r": 24},
        "legend": {"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom", "font": {"size": 13}},
        "hovermode": "closest",
        "dragmode": False,
        **more,
    }


def note(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """A word inside a chart.

    Parameters
    ----------
    x : float
        [as shown]
    y : float
        [as shown]
    **more : any
        Whatever else it has.
    """
    return {
        "x": x, "y": y, "text": text, "showarrow": False, "font": {"size": 13, "color": INK},
        "bgcolor": "rgba(255,255,255,0.8)", "borderpad": 1, **more,
    }  # fmt: skip


def span_of(lines: Sequence[Line], least: float, floor: float | None = None) -> tuple[float, float]:
    """Range of an axis that shows all lines, at least so wide, with some air.

    Parameters
    ----------
    least : float
        [as shown]
    floor : float or None
        Lower end, when it is given. [as shown]

    Returns
    -------
    span : tuple of float
        [as shown]

    Examples
    --------
    >>> span_of([{"y": [0.0, 10.0]}], 20.0)
    (-6.2, 16.2)
    >>> span_of([{"y": [0.0, 10.0]}], 5.0, 0.0)
    (0.0, 10.6)
    """
    flat = np.concatenate([np.asarray(line["y"], dtype=float) for line in lines] or [np.zeros(1)])
    flat = flat[np.isfinite(flat)]
    low, high = (float(flat.min()), float(flat.max())) if len(flat) else (0.0, least)
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    air = 0.06 * (high - low)
    low, high = round(low - air, 9), round(high + air, 9)
    return (floor, max(high, floor + least)) if floor is not None else (low, high)


def strips(panels: Sequence[Strip], reach: tuple[float, float], units: str, height: int) -> go.Figure:
    """Strips above one another over one distance axis.

    Parameters
    ----------
    panels : sequence of Strip
        From the top; their x in the chosen unit.
    reach : tuple of float
        Ends of the road shown. [m]
    units : str
        metric or us.
    height : int
        [px]

    Returns
    -------
    figure : Figure
        Lines with a `legendgroup` share one entry of one legend above all strips.
    """
    head, top, bottom, above = 22.0, 30.0, 46.0, 30.0
    room = height - top - bottom - above
    free = 1.0 - head * (len(panels) - 1) / room
    whole = sum(panel.share for panel in panels)
    layout = plain_layout(height)
    notes, lines, edge = [], [], 1.0
    count = len(panels)
    for number, panel in enumerate(panels, start=1):
        name = "y" if number == 1 else f"y{number}"
        base = max(edge - free * panel.share / whole, 0.0)
        span = panel.span or span_of(panel.lines, 1.0)
        layout["yaxis" if number == 1 else f"yaxis{number}"] = axis(
            domain=[base, edge], range=list(span), anchor="x", automargin=False, nticks=6, **panel.ticks
        )
        notes.append(
            note(0.0, 1.0, f"<b>{panel.title}</b>", xref="paper", yref=f"{name} domain", xanchor="left", yanchor="bottom",
                 yshift=1, bgcolor="rgba(0,0,0,0)")
        )  # fmt: skip
        lines += [{"type": "scatter", "mode": "lines", **line, "xaxis": "x", "yaxis": name} for line in panel.lines]
        edge = base - head / room
    ends = [float(value) for value in shown(np.array(reach), "distance", units)]
    layout["xaxis"] = axis(
        range=ends, anchor="y" if count == 1 else f"y{count}", fixedrange=False, automargin=False,
        title={"text": f"distance, {unit_of('distance', units)}", "standoff": 8},
        showspikes=True, spikemode="across", spikethickness=1, spikedash="dot", spikecolor="#6B6B6B", spikesnap="cursor",
    )  # fmt: skip
    layout["margin"] = {"t": top + above, "b": bottom, "l": 66, "r": 20}
    layout["legend"] = {
        "orientation": "h", "x": 0, "y": 1.0 + 24.0 / room, "yanchor": "bottom", "font": {"size": 13},
        "groupclick": "togglegroup",
    }  # fmt: skip
    layout |= {"hovermode": "x unified", "annotations": notes, "dragmode": "zoom", "uirevision": "kept"}
    return go.Figure({"data": lines, "layout": layout})
