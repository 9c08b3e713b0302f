"""Every trip of a study: as a path across axes, one quantity against another, and what a search tried."""

import math
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.fuel_study.frames import (
    HEIGHT,
    MOST_MARKS,
    MOST_PANELS,
    figure,
    heading,
    hover,
    kept,
    legend,
    marks,
    measure,
    plain,
    title_of,
)
from dashboard.paper import palette
from dashboard.paper.panels import INK
from sim.studies.amounts import in_shown_unit, is_clocked, key_in_shown_unit, key_title, quantity_text
from sim.studies.answers import cannot_be_bettered, usable
from sim.studies.findings import warned
from sim.studies.result import StudyResult
from sim.units import clock_time

MOST_PATHS = 300  # trips drawn in parallel axes
NO_BREAK = "\u00a0"
LINE_OF_TITLE = 15  # letters of a line over a parallel axis
FIFTHS = ("#00224E", "#0072B2", "#6B6B6B", "#B07A00", "#D55E00")  # least to most, all at least 3 to 1 on white


def parallel_figure(result: StudyResult, keys: Sequence[str], names: Sequence[str], units: str = "metric") -> go.Figure:
    """Every trip as a path across axes of keys and quantities, coloured by the first quantity.

    Parameters
    ----------
    keys : sequence of str
        Varied numbers.
    names : sequence of str
        Quantities; the first gives the colour.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Trips with a warning, out of bounds, or that did not arrive are dotted and apart.
    """
    main = names[0]
    columns = [(key_title(key, units), key_in_shown_unit(key, result.column(key).astype(float), units)) for key in keys]
    columns += [(title_of(n, units), in_shown_unit(n, result.column(n).astype(float), units)) for n in names]
    clocked = [False] * len(keys) + [is_clocked(n) for n in names]
    apart_words = "breaks a bound or did not arrive" if result.plan.study.best else "with a warning, or did not arrive"
    drawn = np.flatnonzero(result.driven & np.all([~np.isnan(column) for _, column in columns], axis=0))
    values = result.column(main).astype(float)
    ends = [drawn[np.argmin(values[drawn])], drawn[np.argmax(values[drawn])]] if len(drawn) else []
    drawn = kept(drawn, MOST_PATHS, [int(end) for end in ends])
    apart = out_of_bounds(result)[drawn]
    heights = []
    for _, column in columns:
        low, high = (float(column[drawn].min()), float(column[drawn].max())) if len(drawn) else (0.0, 1.0)
        heights.append((low, high, (column - low) / ((high - low) or 1.0)))
    inside = drawn[~apart]
    edges = np.quantile(values[inside], np.linspace(0.0, 1.0, 6)) if len(inside) else np.zeros(6)
    fifth = np.clip(np.searchsorted(edges, values[inside], side="right") - 1, 0, 4)
    groups: list[tuple[str, np.ndarray, dict[str, Any]]] = [
        (apart_words, drawn[apart], {"color": "#9A9A9A", "dash": "dot", "width": 1})
    ]
    for rank in range(4, -1, -1):
        label = f"{quantity_text(main, edges[rank], units, False)} to {quantity_text(main, edges[rank + 1], units)}"
        groups.append((label, inside[fifth == rank], {"color": FIFTHS[rank], "width": 1.6}))
    lines: list[dict[str, Any]] = []
    for label, rows, look in groups:
        if len(rows):
            y = [None if at is None else round(float(at), 4)
                 for row in rows for at in (*(height[row] for *_, height in heights), None)]  # fmt: skip
            lines.append({"type": "scatter", "mode": "lines", "x": [*range(len(columns)), None] * len(rows), "y": y,
                          "name": label, "line": look, "hoverinfo": "skip"})  # fmt: skip
    notes, shapes = [], []
    titles = [_wrapped(title) for title, _ in columns]
    for place, (low, high, _) in enumerate(heights):
        shapes.append(
            {"type": "line", "x0": place, "x1": place, "y0": 0, "y1": 1, "line": {"color": INK, "width": 1.5}}
        )
        whole = bool(len(drawn)) and not np.any(columns[place][1][drawn] % 1.0)
        for at in (0.0, 0.5, 1.0) if high > low else (0.0,):
            value = low + at * (high - low)
            if whole and value % 1.0 and not clocked[place]:
                continue
            text = _mark_text(value, 1000.0 if whole else high - low, clocked[place])
            notes.append({"x": place, "y": at, "text": text, "showarrow": False, "xanchor": "left",
                          "xshift": 3, "bgcolor": "rgba(255,255,255,0.9)", "font": {"size": 13}})  # fmt: skip
        notes.append({"x": place, "y": 1.04, "text": titles[place], "showarrow": False, "yanchor": "bottom",
                      "font": {"size": 12}})  # fmt: skip
    bare = {"visible": False, "fixedrange": True}
    top = 1.08 + 0.05 * max(title.count("<br>") + 1 for title in titles)
    return figure(
        lines, 520, xaxis={**bare, "range": (-0.4, len(columns) - 0.4)}, yaxis={**bare, "range": (-0.04, top)},
        annotations=notes, shapes=shapes, legend=legend() | {"y": -0.02, "yanchor": "top"},
        margin={"t": 12, "b": 60, "l": 70, "r": 24},
    )  # fmt: skip


def _wrapped(title: str) -> str:
    """A title in short lines, its unit in one piece."""
    words, comma, unit = title.rpartition(", ")
    whole = f"{words}{comma}{unit.replace(' ', NO_BREAK)}" if comma else title
    return "<br>".join(textwrap.wrap(plain(whole), LINE_OF_TITLE, break_long_words=False, break_on_hyphens=False))


def _mark_text(value: float, span: float, clocked: bool) -> str:
    """A number beside a parallel axis, with the digits the length of the axis deserves."""
    if clocked:
        return clock_time(value)
    digits = max(0, 2 - math.ceil(math.log10(span) - 1e-9)) if span > 0.0 else 2
    text = f"{value:,.{digits}f}"
    return text.lstrip("-") if not text.strip("-0.,") else text


def out_of_bounds(result: StudyResult) -> np.ndarray:
    """Trips that did not arrive, break a bound of a search, or, without a search, carry a warning.

    Returns
    -------
    rows : array
        Shape (trips,), true or false.
    """
    astray = result.column("state") != "arrived"
    best = result.plan.study.best
    if best is None:
        return np.asarray(astray | warned(result))
    for name, bound in best.at_most.items():
        astray = astray | ~(result.column(name).astype(float) <= bound)
    for name, bound in best.at_least.items():
        astray = astray | ~(result.column(name).astype(float) >= bound)
    return np.asarray(astray)


def pareto_figure(result: StudyResult, one: str, other: str, units: str = "metric") -> go.Figure:
    """Two quantities against each other, what cannot be bettered joined, a panel a road.

    Parameters
    ----------
    one : str
        Quantity on the lower axis.
    other : str
        Quantity on the left axis.
    units : str
        metric or us.
    """
    both = usable(result, one) & usable(result, other)
    roads = list(dict.fromkeys(result.column("road").tolist()))[:MOST_PANELS]
    x = in_shown_unit(one, result.column(one).astype(float), units)
    y = in_shown_unit(other, result.column(other).astype(float), units)
    across = min(len(roads), 2)
    down = -(-len(roads) // across)
    lines: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"annotations": []}
    for place, road in enumerate(roads):
        rows = np.flatnonzero(both & (result.column("road") == road))
        front = cannot_be_bettered(result, rows, one, other)
        seen = kept(rows, MOST_MARKS // len(roads))
        suffix = "" if place == 0 else str(place + 1)
        on = {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}", "showlegend": place == 0}
        open_mark = {"color": palette.GREY, "size": 7, "symbol": "circle-open"}
        joined = {"mode": "lines+markers", "line": {"color": palette.BLUE, "width": 2.5}}
        for name, which, mark, more in (
            ("trips", seen, open_mark, {}),
            ("cannot be bettered in both", front, {"size": 9, "symbol": "diamond"}, joined),
        ):
            lines.append(
                marks(name, x[which].tolist(), y[which].tolist(), mark, text=hover(result, which), **more, **on)
            )
        row, column = divmod(place, across)
        right = [
            column / across + (0.06 if column else 0.0),
            (column + 1) / across - (0.06 if across > 1 and not column else 0),
        ]
        top = 1.0 - row / down
        layout[f"xaxis{suffix}"] = measure(one, units, x[rows].tolist(), domain=right, anchor=f"y{suffix}")
        layout[f"yaxis{suffix}"] = measure(
            other, units, y[rows].tolist(), domain=[top - 1.0 / down + (0.14 if down > 1 and row < down - 1 else 0.0), top - 0.04],
            anchor=f"x{suffix}",
        )  # fmt: skip
        layout["annotations"].append(heading(road, right[0], top - 0.04))
    return figure(lines, HEIGHT * down if down > 1 else HEIGHT, **layout)


def search_figure(result: StudyResult, bound: str, units: str = "metric") -> go.Figure:
    """All trips a search tried: what is sought against a bounded quantity, with the bound and the best.

    Parameters
    ----------
    bound : str
        Bounded quantity.
    units : str
        metric or us.
    """
    best, answer = result.plan.study.best, result.answers["best"]
    assert best is not None
    name, out = best.quantity, out_of_bounds(result)
    x = in_shown_unit(bound, result.column(bound).astype(float), units)
    y = in_shown_unit(name, result.column(name).astype(float), units)
    lines: list[dict[str, Any]] = []
    looks = (("breaks a bound", out, palette.GREY, "x-thin-open"), ("keeps all bounds", ~out, palette.BLUE, "circle"))
    for label, which, colour, symbol in looks:
        rows = kept(np.flatnonzero(result.driven & which), MOST_MARKS // 2)
        mark = {"color": colour, "symbol": symbol, "size": 8}
        lines.append(marks(label, x[rows].tolist(), y[rows].tolist(), mark, text=hover(result, rows)))
    if "number" in answer:
        row = int(np.flatnonzero(result.column("number") == answer["number"])[0])
        label = "best" if answer["found"] else "nearest"
        star = {"color": palette.VERMILLION, "symbol": "star", "size": 18, "line": {"color": INK}}
        lines.append(marks(label, [float(x[row])], [float(y[row])], star))
    at = in_shown_unit(bound, {**best.at_most, **best.at_least}[bound], units)
    side = "at most" if bound in best.at_most else "at least"
    shape = {"type": "line", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1,
             "line": {"color": palette.VERMILLION, "width": 2, "dash": "dash"}}  # fmt: skip
    limit = clock_time(at) if is_clocked(bound) else f"{at:.4g}"
    note = {"x": at, "y": 1.0, "yref": "paper", "yanchor": "top", "xanchor": "left", "xshift": 4, "showarrow": False,
            "text": f"bound, {side} {limit}", "bgcolor": "rgba(255,255,255,0.85)"}  # fmt: skip
    return figure(
        lines, xaxis=measure(bound, units, [value for line in lines for value in line["x"]]),
        yaxis=measure(name, units, [value for line in lines for value in line["y"]]), shapes=[shape],
        annotations=[note],
    )  # fmt: skip
