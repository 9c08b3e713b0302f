"""Figures from studies: pure functions, plain SVG, few points however many trips there are."""

import math
import textwrap
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.panels import GRID, INK, TERMS, base_layout
from sim.studies.answers import FUELS, cannot_be_bettered, levels_of, numeric_keys, usable
from sim.studies.question import WORDS
from sim.studies.sentences import (
    in_shown_unit,
    is_clocked,
    key_in_shown_unit,
    key_text,
    key_title,
    key_words,
    quantity_text,
    quantity_title,
    swings,
    unit_shown,
    warned,
)
from sim.studies.table import StudyResult
from sim.units import clock_time

MOST_MARKS = 1200  # single trips drawn in a figure
MOST_PATHS = 300  # trips drawn in parallel axes
MOST_PANELS = 4
MOST_CELLS = 120  # of a heat map that carry their number
HEIGHT = 430  # px
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x", "cross")
PATTERNS = ("", "/", "x", "-", "\\", "+", "|", ".")
SCALE = [[0.0, "#00224E"], [0.25, "#434E6C"], [0.5, "#7D7C78"], [0.75, "#BCAF6F"], [1.0, "#FEE838"]]
LIGHT = [[0.0, "#F4F7FA"], [0.5, "#A9CBE3"], [1.0, "#5B9FD0"]]  # ink stands at least 6 to 1 on all of it
FINE = 91  # points a side of a contour
LEAST_FOR_SURFACE = 12  # trips for the six numbers of a surface of the second degree
CLOCK_STEPS = (
    1,
    2,
    5,
    10,
    15,
    30,
    60,
    120,
    300,
    600,
    900,
    1800,
    3600,
    7200,
    18000,
    36000,
)  # s between marks of an axis
MOST_CLOCK_MARKS = 8
NO_BREAK = "\u00a0"
LINE_OF_TITLE = 15  # letters of a line over a parallel axis
FIFTHS = ("#00224E", "#0072B2", "#6B6B6B", "#B07A00", "#D55E00")  # least to most, all at least 3 to 1 on white

Drawn = tuple[str, str, go.Figure]


def _axis(title: str = "", **more: Any) -> dict[str, Any]:
    """A plain axis, large enough for a projector."""
    return {
        "title": {"text": title, "font": {"size": 14}}, "gridcolor": GRID, "linecolor": INK, "showline": True,
        "ticks": "outside", "tickfont": {"size": 13}, "automargin": True, "zerolinecolor": "#8C8C8C",
        "exponentformat": "none", "separatethousands": True, **more,
    }  # fmt: skip


def _clock_marks(low: float, high: float) -> list[float]:
    """Places for minutes and seconds on an axis."""
    step = next((each for each in CLOCK_STEPS if (high - low) / each <= MOST_CLOCK_MARKS), CLOCK_STEPS[-1])
    return [float(step * place) for place in range(math.floor(low / step), math.ceil(high / step) + 1)]


def _title(name: str, units: str) -> str:
    """Words and unit of a quantity; a time is read as minutes and seconds, as in the tables."""
    title = quantity_title(name, units)
    return f"{title.rpartition(', ')[0]}, min:s" if is_clocked(name) else title


def _measure(name: str, units: str, shown: Sequence[float], **more: Any) -> dict[str, Any]:
    """The axis of a quantity over what is shown on it."""
    if not is_clocked(name) or not len(shown):
        return _axis(_title(name, units), **more)
    marks = _clock_marks(min(shown), max(shown))
    if len(marks) < 3:  # all the same: a second more or less is nothing
        marks = [marks[0] - 60.0, *marks, marks[-1] + 60.0]
        more = {"range": (marks[0], marks[-1]), **more}
    return _axis(_title(name, units), tickvals=marks, ticktext=[clock_time(mark) for mark in marks], **more)


def _figure(lines: list[dict[str, Any]], height: int = HEIGHT, **layout: Any) -> go.Figure:
    """Lines and layout as a figure."""
    base = base_layout(height) | {"margin": {"t": 44, "b": 60, "l": 70, "r": 24}, "legend": _legend()}
    return go.Figure({"data": lines, "layout": {**base, **layout}})


def _legend() -> dict[str, Any]:
    """A legend above the panels."""
    return {"orientation": "h", "x": 0, "xanchor": "left", "y": 1.02, "yanchor": "bottom", "font": {"size": 13}}


def _plain(text: object) -> str:
    """A text that the drawing library takes for nothing but words."""
    return str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _kept(rows: np.ndarray, most: int, always: Sequence[int] = ()) -> np.ndarray:
    """Rows thinned evenly, and those asked for."""
    if len(rows) <= most:
        return rows
    even = rows[np.unique(np.linspace(0, len(rows) - 1, most).astype(int))]
    return np.unique(np.concatenate([even, np.asarray(always, dtype=int)]))


def _hover(result: StudyResult, rows: np.ndarray) -> list[str]:
    """The number of each trip, for a pointer."""
    return [f"trip {number}" for number in result.column("number")[rows]]


def _number_axis(result: StudyResult, key: str) -> bool:
    """Whether a key has numbers on its axis."""
    return key in numeric_keys(result)


# ---------------------------------------------------------------- levels and cases


def level_figure(result: StudyResult, name: str, key: str, units: str = "metric") -> go.Figure:
    """Mean of a quantity at each level of a key, by road.

    Parameters
    ----------
    name : str
        Quantity.
    key : str
        Of the grid.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Marks joined by lines over numbers, bars from nothing over words.
    """
    place, values, good = levels_of(result)[key], result.column(name).astype(float), usable(result, name)
    roads = result.column("road")
    numbers = _number_axis(result, key)
    lines = []
    for rank, road in enumerate(["every trip"] if key == "road" else dict.fromkeys(roads.tolist())):
        on = good if key == "road" else good & (roads == road)
        levels = [level for level in range(len(result.plan.axes[key])) if (on & (place == level)).any()]
        means = [float(values[on & (place == level)].mean()) for level in levels]
        y = [in_shown_unit(name, mean, units) for mean in means]
        colour, dash = palette.line_of(rank)
        if numbers:
            at = [float(result.column(key)[place == level][0]) for level in levels]
            x: list[Any] = [key_in_shown_unit(key, value, units) for value in at]
            mark = {"color": colour, "size": 10, "symbol": SYMBOLS[rank % len(SYMBOLS)]}
            look: dict[str, Any] = {
                "type": "scatter", "mode": "lines+markers", "line": {"color": colour, "dash": dash, "width": 2.5},
                "marker": mark,
            }  # fmt: skip
        else:
            x = [_plain(key_text(key, result.plan.axes[key][level], units)) for level in levels]
            look = {
                "type": "bar", "text": [quantity_text(name, mean, units, False) for mean in means],
                "textposition": "outside", "cliponaxis": False,
                "marker": {"color": colour, "line": {"color": INK, "width": 1},
                           "pattern": {"shape": PATTERNS[rank % len(PATTERNS)], "fgcolor": "#FFFFFF", "size": 6}},
            }  # fmt: skip
        lines.append({**look, "x": x, "y": y, "name": _plain(road)})
    shown = [value for line in lines for value in line["y"]] + ([] if numbers else [0.0])
    layout: dict[str, Any] = {"xaxis": _axis(key_title(key, units)), "yaxis": _measure(name, units, shown)}
    return _figure(lines, barmode="group", showlegend=len(lines) > 1, **layout)


def case_figure(result: StudyResult, name: str, units: str = "metric") -> go.Figure:
    """Difference of each case from the first, in percent, by road.

    Parameters
    ----------
    name : str
        Quantity.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Bars.
    """
    cases = [case.name for case in result.plan.study.cases]
    per_case = result.plan.total // len(cases)
    table = np.full(result.plan.total, np.nan)
    roads = np.full(result.plan.total, "", dtype=object)
    places = result.column("number").astype(int) - 1
    roads[places] = result.column("road")
    good = usable(result, name)
    table[places[good]] = result.column(name).astype(float)[good]
    grid, by_road = table.reshape(len(cases), per_case), roads.reshape(len(cases), per_case)
    lines: list[dict[str, Any]] = []
    for rank, road in enumerate(dict.fromkeys(result.column("road").tolist())):
        x, y, texts = [], [], []
        for case, its, where in zip(cases[1:], grid[1:], by_road[1:], strict=True):
            both = ~np.isnan(its) & ~np.isnan(grid[0]) & (where == road)
            if both.any() and grid[0][both].mean() != 0.0:
                first = grid[0][both].mean()
                x.append(100.0 * (its[both].mean() - first) / first)
                y.append(_plain(case))
                texts.append(f"{x[-1]:+.1f} %")
        pattern = {"shape": PATTERNS[rank % len(PATTERNS)], "fgcolor": "#FFFFFF", "size": 6}
        marker = {"color": palette.LINES[rank % 5], "line": {"color": INK, "width": 1}, "pattern": pattern}
        lines.append({"type": "bar", "orientation": "h", "x": x, "y": y, "text": texts, "textposition": "outside",
                      "cliponaxis": False, "name": _plain(road), "marker": marker})  # fmt: skip
    ends = [value for line in lines for value in line["x"]] + [0.0]
    air = 0.18 * ((max(ends) - min(ends)) or 1.0)
    title = f"{quantity_title(name, units).partition(',')[0]}: difference from “{_plain(cases[0])}”, %"
    return _figure(
        lines, 120 + (24 * len(lines) + 16) * max(len(cases) - 1, 1), barmode="group", showlegend=len(lines) > 1,
        xaxis=_axis(title, range=(min(ends) - (air if min(ends) < 0 else 0), max(ends) + (air if max(ends) > 0 else 0))),
        yaxis=_axis(autorange="reversed"),
    )  # fmt: skip


def spread_figure(result: StudyResult, name: str, key: str, units: str = "metric") -> go.Figure:
    """Spread of a quantity by level of a key: quarters as boxes, single trips as marks where they are few.

    Parameters
    ----------
    name : str
        Quantity.
    key : str
        Varied; a sampled one is cut into five ranges of equally many trips.
    units : str
        metric or us.
    """
    rows = np.flatnonzero(usable(result, name))
    values = in_shown_unit(name, result.column(name).astype(float)[rows], units)
    axes = result.plan.axes
    if key in axes:
        place, labels = levels_of(result)[key][rows], [_plain(key_text(key, value, units)) for value in axes[key]]
    else:
        given = result.column(key).astype(float)[rows]
        edges = np.quantile(given, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]) if len(given) else np.zeros(6)
        place = np.clip(np.searchsorted(edges, given, side="right") - 1, 0, 4)
        labels = [f"{key_text(key, low, units)} to {key_text(key, high, units)}" for low, high in pairwise(edges)]
    lines: list[dict[str, Any]] = []
    for level, label in enumerate(labels):
        its = values[place == level]
        if not len(its):
            continue
        low, middle, high = np.quantile(its, [0.25, 0.5, 0.75])
        lines.append({"type": "box", "x": [label], "q1": [low], "median": [middle], "q3": [high], "name": label,
                      "lowerfence": [its.min()], "upperfence": [its.max()], "fillcolor": "rgba(0,114,178,0.15)",
                      "line": {"color": palette.BLUE, "width": 2}, "showlegend": False})  # fmt: skip
        if len(rows) <= MOST_MARKS // 2:
            lines.append({"type": "scatter", "mode": "markers", "x": [label] * len(its), "y": its.tolist(),
                          "marker": {"color": palette.VERMILLION, "symbol": "line-ew-open", "size": 12},
                          "showlegend": False, "name": label})  # fmt: skip
    layout: dict[str, Any] = {
        "xaxis": _axis(key_title(key, units), type="category"),
        "yaxis": _measure(name, units, values.tolist()),
    }
    return _figure(lines, **layout)


# ---------------------------------------------------------------- two axes


def heat_figure(result: StudyResult, name: str, along: str, up: str, by: str = "", units: str = "metric") -> go.Figure:
    """A quantity over two axes of the grid, a panel for each level of a third.

    Parameters
    ----------
    name : str
        Quantity.
    along : str
        Key on the lower axis.
    up : str
        Key on the left axis.
    by : str
        Key with a panel a level; empty for one panel.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Means where other keys vary too; empty cells where no trip arrived.
    """
    levels, axes, good = levels_of(result), result.plan.axes, usable(result, name)
    values = in_shown_unit(name, result.column(name).astype(float), units)
    panels = range(min(len(axes[by]), MOST_PANELS)) if by else range(1)
    shape = (len(axes[up]), len(axes[along]))
    lines: list[dict[str, Any]] = []
    layout: dict[str, Any] = {"annotations": []}
    width, gap = 1.0 / len(panels), 0.03 if len(panels) > 1 else 0.0
    span = (float(np.min(values[good])), float(np.max(values[good]))) if good.any() else (0.0, 1.0)
    for panel in panels:
        rows = good & (levels[by] == panel) if by else good
        cell = levels[up][rows] * shape[1] + levels[along][rows]
        counts = np.bincount(cell, minlength=shape[0] * shape[1]).astype(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            means = (np.bincount(cell, weights=values[rows], minlength=len(counts)) / counts).reshape(shape)
        digits = 0 if span[1] >= 100.0 else 1
        texts = [
            ["" if np.isnan(mean) else clock_time(mean) if is_clocked(name) else f"{mean:.{digits}f}" for mean in row]
            for row in means
        ]
        suffix = "" if panel == 0 else str(panel + 1)
        x, y = ([_plain(_short_level(key, value, units)) for value in axes[key]] for key in (along, up))
        lines.append({"type": "heatmap", "x": x, "y": y, "z": [[None if np.isnan(v) else float(v) for v in row] for row in means],
                      "text": texts, "texttemplate": "%{text}" if means.size <= MOST_CELLS else "", "zmin": span[0],
                      "zmax": span[1], "colorscale": SCALE, "xgap": 1, "ygap": 1, "textfont": {"size": 13},
                      "xaxis": f"x{suffix}", "yaxis": f"y{suffix}", "showscale": panel == 0,
                      "colorbar": _colorbar(name, units, span)})  # fmt: skip
        domain = [panel * width, (panel + 1) * width - gap]
        layout[f"xaxis{suffix}"] = _axis(key_title(along, units), type="category", domain=domain, anchor=f"y{suffix}")
        layout[f"yaxis{suffix}"] = _axis(
            key_title(up, units) if panel == 0 else "", type="category", anchor=f"x{suffix}", showticklabels=panel == 0
        )
        if by:
            text = _plain(key_text(by, axes[by][panel], units))
            layout["annotations"].append(
                {"text": f"<b>{text}</b>", "x": domain[0], "y": 1.02, "xref": "paper", "yref": "paper", "xanchor": "left",
                 "yanchor": "bottom", "showarrow": False, "font": {"size": 12}}
            )  # fmt: skip
    return _figure(lines, **layout)


def _colorbar(name: str, units: str, span: tuple[float, float]) -> dict[str, Any]:
    """The scale of a quantity beside a figure."""
    bar: dict[str, Any] = {"title": {"text": _title(name, units), "side": "right"}, "thickness": 14}
    if is_clocked(name):
        marks = [mark for mark in _clock_marks(*span) if span[0] <= mark <= span[1]]
        bar |= {"tickvals": marks, "ticktext": [clock_time(mark) for mark in marks]}
    return bar


def _short_level(key: str, value: str, units: str) -> str:
    """A level without its unit, which the axis has."""
    text = key_text(key, value, units)
    return text if key in (*WORDS, "case") else text.split(" ")[0]


def contour_figure(result: StudyResult, name: str, along: str, up: str, units: str = "metric") -> go.Figure:
    """A quantity over two numbers, drawn where there are trips.

    Parameters
    ----------
    name : str
        Quantity.
    along : str
        Key on the lower axis.
    up : str
        Key on the left axis.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Interpolated between the trips where nothing else varies. Else each trip is first brought to the means of the other
        numbers by the straight-line fit and to the mean of roads, trucks and cases, and a surface of the second degree goes
        through what is left.
    """
    rows = np.flatnonzero(usable(result, name))
    x, y = (result.column(key).astype(float)[rows] for key in (along, up))
    lines: list[dict[str, Any]] = []
    axes = [_axis(key_title(key, units), zeroline=False) for key in (along, up)]
    edge = _edge_of(x, y)
    if len(edge):
        across, upward = np.linspace(x.min(), x.max(), FINE), np.linspace(y.min(), y.max(), FINE)
        shown = np.round(in_shown_unit(name, _surface(result, name, along, up, across, upward), units), 4)
        span = (float(np.nanmin(shown)), float(np.nanmax(shown)))
        lines.append({"type": "contour", "x": key_in_shown_unit(along, across, units).tolist(),
                      "y": key_in_shown_unit(up, upward, units).tolist(), "name": _title(name, units),
                      "z": [[None if np.isnan(v) else float(v) for v in row] for row in shown], "colorscale": LIGHT,
                      "contours": {"coloring": "fill", "showlabels": not is_clocked(name),
                                   "labelfont": {"size": 13, "color": INK}},
                      "line": {"color": INK, "width": 0.75}, "colorbar": _colorbar(name, units, span)})  # fmt: skip
        # white over what lies beyond the outermost trips: a frame with a hole along the edge
        frame = []
        for axis, given, key in zip(axes, (x, y), (along, up), strict=True):
            low, high = (float(key_in_shown_unit(key, end, units)) for end in (given.min(), given.max()))
            axis["range"] = (low - 0.04 * (high - low), high + 0.04 * (high - low))
            frame.append(axis["range"])
        (left, right), (bottom, top) = frame
        hole = [key_in_shown_unit(key, given[edge], units).tolist() for key, given in ((along, x), (up, y))]
        lines.append({"type": "scatter", "mode": "lines", "fill": "toself", "fillcolor": "#FFFFFF", "hoverinfo": "skip",
                      "line": {"width": 0}, "showlegend": False, "name": "beyond the trips",
                      "x": [left, left, right, right, left, *hole[0], hole[0][0], left],
                      "y": [bottom, top, top, bottom, bottom, *hole[1], hole[1][0], bottom]})  # fmt: skip
    few = _kept(np.arange(len(rows)), MOST_MARKS // 3)
    lines.append({"type": "scatter", "mode": "markers", "x": key_in_shown_unit(along, x[few], units).tolist(),
                  "y": key_in_shown_unit(up, y[few], units).tolist(), "name": "trips", "showlegend": False,
                  "marker": {"size": 4, "color": INK}, "text": _hover(result, rows[few])})  # fmt: skip
    return _figure(lines, xaxis=axes[0], yaxis=axes[1])


def _edge_of(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """The outermost of some points, one after the other around them; none where they lie on a line."""
    from scipy.spatial import ConvexHull, QhullError

    if len(x) < 4 or np.ptp(x) == 0.0 or np.ptp(y) == 0.0:
        return np.zeros(0, dtype=int)
    try:
        return np.asarray(ConvexHull(np.column_stack([x / np.ptp(x), y / np.ptp(y)])).vertices)
    except QhullError:
        return np.zeros(0, dtype=int)


def _surface(result: StudyResult, name: str, along: str, up: str, across: np.ndarray, upward: np.ndarray) -> np.ndarray:
    """A quantity at every pair of two numbers; NaN where no trips lie around, one step beyond them left aside."""
    from scipy.interpolate import griddata

    rows = np.flatnonzero(usable(result, name))
    x, y = (result.column(key).astype(float)[rows] for key in (along, up))
    values, others = result.column(name).astype(float)[rows].copy(), False
    for key, entry in result.answers.get("sensitivity", {}).get(name, {}).get("keys", {}).items():
        if key not in (along, up):
            given, others = result.column(key).astype(float)[rows], True
            values -= entry["per_unit"] * (given - given.mean())
    for key, place in levels_of(result).items():
        if key not in numeric_keys(result) and len(np.unique(place[rows])) > 1:
            others = True
            means = [values[place[rows] == level].mean() if (place[rows] == level).any() else 0.0
                     for level in range(len(result.plan.axes[key]))]  # fmt: skip
            values -= np.array(means)[place[rows]] - values.mean()
    mesh = np.meshgrid(across, upward)
    found = np.asarray(griddata((x, y), values, tuple(mesh), method="linear", rescale=True))
    inside = ~np.isnan(found)
    padded = np.pad(inside, 1)
    near = np.any([np.roll(padded, (a, b), (0, 1)) for a in (-1, 0, 1) for b in (-1, 0, 1)], axis=0)[1:-1, 1:-1]
    if not others or len(rows) < LEAST_FOR_SURFACE:
        nearest = griddata((x, y), values, tuple(mesh), method="nearest", rescale=True)
        return np.where(inside, found, np.where(near, nearest, np.nan))

    def terms(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        u, v = (one - x.mean()) / np.ptp(x), (other - y.mean()) / np.ptp(y)
        return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)

    fit, *_ = np.linalg.lstsq(terms(x, y), values, rcond=None)
    return np.where(near, terms(*mesh) @ fit, np.nan)


# ---------------------------------------------------------------- many axes


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
    columns += [(_title(n, units), in_shown_unit(n, result.column(n).astype(float), units)) for n in names]
    clocked = [False] * len(keys) + [is_clocked(n) for n in names]
    apart_words = "breaks a bound or did not arrive" if result.plan.study.best else "with a warning, or did not arrive"
    drawn = np.flatnonzero(result.driven & np.all([~np.isnan(column) for _, column in columns], axis=0))
    values = result.column(main).astype(float)
    ends = [drawn[np.argmin(values[drawn])], drawn[np.argmax(values[drawn])]] if len(drawn) else []
    drawn = _kept(drawn, MOST_PATHS, [int(end) for end in ends])
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
    return _figure(
        lines, 520, xaxis={**bare, "range": (-0.4, len(columns) - 0.4)}, yaxis={**bare, "range": (-0.04, top)},
        annotations=notes, shapes=shapes, legend=_legend() | {"y": -0.02, "yanchor": "top"},
        margin={"t": 12, "b": 60, "l": 70, "r": 24},
    )  # fmt: skip


def _wrapped(title: str) -> str:
    """A title in short lines, its unit in one piece."""
    words, comma, unit = title.rpartition(", ")
    whole = f"{words}{comma}{unit.replace(' ', NO_BREAK)}" if comma else title
    return "<br>".join(textwrap.wrap(_plain(whole), LINE_OF_TITLE, break_long_words=False, break_on_hyphens=False))


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
        seen = _kept(rows, MOST_MARKS // len(roads))
        suffix = "" if place == 0 else str(place + 1)
        on = {"type": "scatter", "xaxis": f"x{suffix}", "yaxis": f"y{suffix}", "showlegend": place == 0}
        lines.append({**on, "mode": "markers", "x": x[seen].tolist(), "y": y[seen].tolist(), "text": _hover(result, seen),
                      "marker": {"color": palette.GREY, "size": 7, "symbol": "circle-open"}, "name": "trips"})  # fmt: skip
        lines.append({**on, "mode": "lines+markers", "x": x[front].tolist(), "y": y[front].tolist(),
                      "text": _hover(result, front), "name": "cannot be bettered in both",
                      "line": {"color": palette.BLUE, "width": 2.5}, "marker": {"size": 9, "symbol": "diamond"}})  # fmt: skip
        row, column = divmod(place, across)
        right = [
            column / across + (0.06 if column else 0.0),
            (column + 1) / across - (0.06 if across > 1 and not column else 0),
        ]
        top = 1.0 - row / down
        layout[f"xaxis{suffix}"] = _measure(one, units, x[rows].tolist(), domain=right, anchor=f"y{suffix}")
        layout[f"yaxis{suffix}"] = _measure(
            other, units, y[rows].tolist(), domain=[top - 1.0 / down + (0.14 if down > 1 and row < down - 1 else 0.0), top - 0.04],
            anchor=f"x{suffix}",
        )  # fmt: skip
        layout["annotations"].append(
            {"text": f"<b>{_plain(road)}</b>", "x": right[0], "y": top - 0.04, "xref": "paper", "yref": "paper",
             "xanchor": "left", "yanchor": "bottom", "showarrow": False, "font": {"size": 13}}
        )  # fmt: skip
    return _figure(lines, HEIGHT * down if down > 1 else HEIGHT, **layout)


# ---------------------------------------------------------------- slopes, energy, search, fuel test


def sensitivity_figure(result: StudyResult, name: str, units: str = "metric") -> go.Figure:
    """What each varied number does to a quantity: over its range, and percent per percent, with the 95 % interval of a sample.

    Parameters
    ----------
    name : str
        Quantity.
    units : str
        metric or us.
    """
    entries = result.answers["sensitivity"][name]["keys"]
    ranked = swings(result, name)[::-1]
    labels = [
        f"{key_words(key)}<br>{key_text(key, low, units)} to {key_text(key, high, units)}"
        for key, low, high, _ in ranked
    ]
    over = [in_shown_unit(name, swing, units, True) for *_, swing in ranked]
    relative = [entries[key]["percent_per_percent"] for key, *_ in ranked]
    halves: list[tuple[float, float]] = []
    for place, (key, low, high, _) in enumerate(ranked):
        entry = entries[key]
        half = 0.0 if entry["high"] is None else entry["high"] - entry["per_unit"]
        share = half / abs(entry["per_unit"]) if entry["per_unit"] else 0.0
        halves.append((in_shown_unit(name, half * (high - low), units, True), abs(relative[place] or 0.0) * share))
    sampled = result.answers["sensitivity"][name]["sampled"]
    texts = [f"{per_unit_text(name, key, entries[key]['per_unit'], units)}" for key, *_ in ranked]
    bar: dict[str, Any] = {"type": "bar", "orientation": "h", "y": labels, "showlegend": False}
    look = {"line": {"color": INK, "width": 1}}
    left = {
        **bar,
        "x": over,
        "marker": {"color": palette.BLUE, **look},
        "name": "over its range",
        "text": texts,
        "textposition": "none",
    }
    right = {**bar, "x": relative, "marker": {"color": palette.GREEN, **look}, "name": "percent per percent", "xaxis": "x2",
             "yaxis": "y2"}  # fmt: skip
    if sampled:
        for line, which in ((left, 0), (right, 1)):
            line["error_x"] = {"type": "data", "array": [half[which] for half in halves], "color": INK, "thickness": 2}
    return _figure(
        [left, right], 140 + 52 * max(len(ranked), 1),
        xaxis=_axis(f"{quantity_title(name, units)}: change over the range", domain=[0.0, 0.48]),
        yaxis=_axis(), xaxis2=_axis("% per % at the means", domain=[0.54, 1.0], anchor="y2"),
        yaxis2=_axis(anchor="x2", showticklabels=False),
    )  # fmt: skip


def per_unit_text(name: str, key: str, slope: float, units: str) -> str:
    """A slope in words: how much of a quantity one unit of a key costs.

    Parameters
    ----------
    name : str
        Quantity.
    slope : float
        [unit of the quantity per unit of the key]
    units : str
        metric or us.
    """
    step = key_in_shown_unit(key, 1.0, units, True)
    shown = in_shown_unit(name, slope, units, True) / step
    unit = key_title(key, units).rpartition(", ")[2] if ", " in key_title(key, units) else "1"
    return f"{shown:+.4g} {unit_shown(name, units)} per {unit}".replace("  ", " ")


def energy_study_figure(result: StudyResult, key: str, units: str = "metric") -> go.Figure:
    """Where the energy went at each level of a key, as shares of what was supplied.

    Parameters
    ----------
    key : str
        Of the grid.
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Bars on one another; terms below half a percent everywhere stand together as other.
    """
    good = result.column("state") == "arrived"
    supplied = result.column("energy_fuel_j") + np.maximum(result.column("energy_height_given_up_j"), 0.0)
    supplied = supplied + result.column("energy_kinetic_at_start_j")
    place, axis = levels_of(result)[key], result.plan.axes[key]
    parts = {words: result.column(f"energy_{term}_j").astype(float) for term, words in TERMS.items()}
    parts["height gained"] = np.maximum(-result.column("energy_height_given_up_j").astype(float), 0.0)
    parts["speed at the end"] = result.column("energy_kinetic_at_end_j").astype(float)
    levels = [level for level in range(len(axis)) if (good & (place == level)).any()]
    shares = {
        words: [100.0 * float(v[good & (place == k)].sum() / supplied[good & (place == k)].sum()) for k in levels]
        for words, v in parts.items()
    }
    small = [words for words, its in shares.items() if max(map(abs, its), default=0.0) < 0.5]
    other = [sum(shares[words][k] for words in small) for k in range(len(levels))]
    shares = {words: its for words, its in shares.items() if words not in small} | ({"other": other} if small else {})
    y = [_plain(key_text(key, axis[level], units)) for level in levels]
    lines = []
    for rank, (words, its) in enumerate(sorted(shares.items(), key=lambda each: -sum(each[1]))):
        pattern = {"shape": PATTERNS[(rank // 5 + rank) % len(PATTERNS)], "fgcolor": "#FFFFFF", "size": 6}
        lines.append({"type": "bar", "orientation": "h", "y": y, "x": its, "name": words,
                      "text": [f"{share:.0f}" if share >= 4.0 else "" for share in its], "textposition": "inside",
                      "insidetextanchor": "middle", "textangle": 0, "textfont": {"color": INK, "size": 12},
                      "marker": {"color": palette.LINES[rank % 5] if rank % 5 != 2 else palette.GREY,
                                 "opacity": 0.75, "line": {"color": INK, "width": 1}, "pattern": pattern}})  # fmt: skip
    return _figure(
        lines, 190 + 34 * len(levels), barmode="relative", xaxis=_axis("share of the energy supplied, %"),
        yaxis=_axis(autorange="reversed", type="category"), legend=_legend() | {"traceorder": "normal"},
        margin={"t": 90, "b": 60, "l": 70, "r": 24},
    )  # fmt: skip


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
        rows = _kept(np.flatnonzero(result.driven & which), MOST_MARKS // 2)
        lines.append({"type": "scatter", "mode": "markers", "x": x[rows].tolist(), "y": y[rows].tolist(), "name": label,
                      "text": _hover(result, rows), "marker": {"color": colour, "symbol": symbol, "size": 8}})  # fmt: skip
    if "number" in answer:
        row = int(np.flatnonzero(result.column("number") == answer["number"])[0])
        label = "best" if answer["found"] else "nearest"
        lines.append({"type": "scatter", "mode": "markers", "x": [float(x[row])], "y": [float(y[row])], "name": label,

                      "marker": {"color": palette.VERMILLION, "symbol": "star", "size": 18, "line": {"color": INK}}})  # fmt: skip
    at = in_shown_unit(bound, {**best.at_most, **best.at_least}[bound], units)
    side = "at most" if bound in best.at_most else "at least"
    shape = {"type": "line", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1,
             "line": {"color": palette.VERMILLION, "width": 2, "dash": "dash"}}  # fmt: skip
    told = clock_time(at) if is_clocked(bound) else f"{at:.4g}"
    note = {"x": at, "y": 1.0, "yref": "paper", "yanchor": "top", "xanchor": "left", "xshift": 4, "showarrow": False,
            "text": f"bound, {side} {told}", "bgcolor": "rgba(255,255,255,0.85)"}  # fmt: skip
    return _figure(
        lines, xaxis=_measure(bound, units, [value for line in lines for value in line["x"]]),
        yaxis=_measure(name, units, [value for line in lines for value in line["y"]]), shapes=[shape],
        annotations=[note],
    )  # fmt: skip


def fuel_test_figure(result: StudyResult) -> go.Figure:
    """Ratio of test to control fuel of each run, before and after the change, with the band each part must keep.

    Parameters
    ----------
    result : StudyResult
        Of a fuel test.
    """
    verdict = result.answers["fuel_test"]
    lines, shapes, notes = [], [], []
    for place, (part, colour) in enumerate((("before", palette.BLUE), ("after", palette.VERMILLION))):
        its = [run for run in verdict["runs"] if run["part"] == part]
        if not its:
            continue
        ratios = [run["ratio"] for run in its]
        x = [place + 0.18 + 0.64 * (rank + 0.5) / len(its) for rank in range(len(its))]
        notes += [{"x": at, "y": ratio, "text": f"{ratio:.4f}", "showarrow": False, "yanchor": "bottom", "yshift": 9,
                   "bgcolor": "rgba(255,255,255,0.9)"} for at, ratio in zip(x, ratios, strict=True)]  # fmt: skip
        lines.append({"type": "scatter", "mode": "markers", "x": x, "y": ratios, "name": f"{part} the change",
                      "marker": {"color": colour, "size": 13, "symbol": SYMBOLS[place]}})  # fmt: skip
        low = max(ratios) * (1.0 - verdict["band_percent"] / 100.0)
        shapes.append({"type": "rect", "x0": place + 0.1, "x1": place + 0.9, "y0": low, "y1": max(ratios), "layer": "below",
                       "fillcolor": "#E9EEF2", "line": {"color": palette.GREY, "width": 1, "dash": "dot"}})  # fmt: skip
        notes.append({"x": place + 0.5, "y": low, "text": f"band of {verdict['band_percent']:g} %", "showarrow": False,
                      "yanchor": "bottom"})  # fmt: skip
        if part in verdict:
            mean = verdict[part]["ratio"]
            shapes.append({"type": "line", "x0": place + 0.1, "x1": place + 0.9, "y0": mean, "y1": mean,
                           "line": {"color": colour, "width": 2}})  # fmt: skip
            notes.append({"x": place + 0.9, "y": mean, "text": f"mean {mean:.4f}", "showarrow": False, "xanchor": "left",
                          "xshift": 3})  # fmt: skip
    ticks = {"tickvals": [0.5, 1.5], "ticktext": ["before the change", "after the change"], "range": (0.0, 2.1)}
    ends = [shape[end] for shape in shapes for end in ("y0", "y1")]
    air = 0.12 * ((max(ends) - min(ends)) or 0.02) if ends else 0.0
    scale = {"range": (min(ends) - air, max(ends) + air)} if ends else {}
    return _figure(lines, xaxis=_axis("", **ticks), yaxis=_axis("fuel of test truck over control truck", **scale),
                   shapes=shapes, annotations=notes, showlegend=False)  # fmt: skip


# ---------------------------------------------------------------- which figures answer


def figures_of(result: StudyResult, units: str = "metric") -> list[Drawn]:
    """The figures that answer the question of a study.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    figures : list of (str, str, Figure)
        Title, caption and figure, the most telling first; none where no trip arrived.
    """
    if not (result.column("state") == "arrived").any():
        return []
    if result.plan.study.fuel_test:
        caption = (
            "A mark is a run: both trucks over the same road in the same weather. The shaded band starts at the highest"
        )
        return [
            (
                "The ratios of the runs",
                f"{caption} ratio; all marks of a part must lie in it.",
                fuel_test_figure(result),
            )
        ]
    if result.plan.study.best:
        return _search_figures(result, units)
    return _grid_figures(result, units)


def _search_figures(result: StudyResult, units: str) -> list[Drawn]:
    """The trips of a search."""
    best = result.plan.study.best
    assert best is not None
    found: list[Drawn] = []
    bounds = [*best.at_most, *best.at_least]
    wide = [n for n in bounds if n != best.quantity and len(np.unique(result.column(n)[result.driven])) > 1]
    for name in wide[:3]:
        title = f"All trips tried: {quantity_title(best.quantity, units)} against {quantity_title(name, units)}"
        found.append(
            (
                title,
                "Every mark is a trip. The best keeps every bound, not only the one drawn.",
                search_figure(result, name, units),
            )
        )
    names = list(dict.fromkeys([best.quantity, *wide]))[:4]
    caption = (
        "Every path is a trip, from its settings to what it gave; colour by fifths of the trips that keep all bounds."
    )
    found.append(
        ("Settings and what they gave", caption, parallel_figure(result, list(best.between)[:6], names, units))
    )
    return found


def _grid_figures(result: StudyResult, units: str) -> list[Drawn]:
    """The figures of grids, cases and samples."""
    main = next((name for name in result.report if result.answers["quantities"][name]["trips"]), "")
    if not main:
        return []
    words = quantity_title(main, units)
    keys = [key for key, values in result.plan.axes.items() if len(values) > 1]
    inner = [key for key in keys if key != "road"] or keys
    found: list[Drawn] = []
    fuel = next((name for name in result.report if name in FUELS), None)
    if result.plan.study.sample:
        slopes = result.answers["sensitivity"][main]["keys"]
        if slopes:
            caption = "One straight-line fit; thin bars: 95 % interval. Percents of a mean near nothing say little."
            if any(entry["percent_per_percent"] is None for entry in slopes.values()):
                caption += " No bar on the right: per cent of a wind or a temperature mean nothing."
            found.append((f"What {words} depends on", caption, sensitivity_figure(result, main, units)))
            ranked = [key for key, *_ in swings(result, main)]
            if len(ranked) > 1:
                caption = (
                    "A surface of the second degree through the trips (dots), all other inputs brought to their means by the"
                    " straight-line fit; drawn only where trips lie around."
                    if len(ranked) > 2 or keys
                    else "Interpolated between the trips (dots)."
                )
                found.append(
                    (
                        f"{words} by the two inputs that matter most",
                        caption,
                        contour_figure(result, main, ranked[0], ranked[1], units),
                    )
                )
            found.append((f"Spread of {words}", "Box: the middle half of the trips; line: the middle trip; ends: least and most.",
                          spread_figure(result, main, ranked[0], units)))  # fmt: skip
    elif len(inner) == 1:
        if inner[0] == "case":
            caption = "Each case against the first, everything else equal."
            found.append((f"What each case does to {words}", caption, case_figure(result, main, units)))
        for name in result.report[:3]:
            if result.answers["quantities"][name]["trips"]:
                title = f"{quantity_title(name, units)} by {key_words(inner[0])}"
                found.append(
                    (
                        title,
                        "Trips that arrived. Bars start at nothing; lines do not.",
                        level_figure(result, name, inner[0], units),
                    )
                )
    else:
        order = sorted(inner, key=lambda key: (_number_axis(result, key), len(result.plan.axes[key])), reverse=True)
        along, up, *rest = order
        by = rest[0] if rest else ("road" if "road" in keys else "")
        for name in result.report[:2]:
            title = f"{quantity_title(name, units)} by {key_words(along)} and {key_words(up)}"
            caption = "An empty cell: no trip arrived there."
            if by and len(result.plan.axes[by]) > MOST_PANELS:
                caption += f" The first {MOST_PANELS} of {len(result.plan.axes[by])} are drawn; the tables have all."
            found.append((title, caption, heat_figure(result, name, along, up, by, units)))
        found.append((f"Spread of {words}", "Box: the middle half of the trips; line: the middle trip; ends: least and most.",
                      spread_figure(result, main, "case" if "case" in keys else along, units)))  # fmt: skip
        if not rest and _number_axis(result, along) and _number_axis(result, up) and not by:
            found.append(
                (
                    f"{words} between the trips",
                    "Interpolated between the trips (dots).",
                    contour_figure(result, main, along, up, units),
                )
            )
    numbers = numeric_keys(result)
    if len(numbers) > 1:
        caption = f"Every path is a trip; colour by fifths of {words}. Dotted: with a warning, or did not arrive."
        names = list(dict.fromkeys([main, *result.report]))[:4]
        found.append(("Inputs and what they gave", caption, parallel_figure(result, numbers[:7], names, units)))
    if fuel and "time_s" in result.report:
        caption = (
            "No trip on the line is bettered by another: less of the one costs more of the other. Every other trip is, or is"
            " as good as one on the line to a second and a hundredth of fuel."
        )
        roads = len(set(result.column("road").tolist()))
        if roads > MOST_PANELS:
            caption += f" The first {MOST_PANELS} of {roads} roads are drawn; the tables have all."
        found.append(
            ("Time against fuel: what cannot be bettered", caption, pareto_figure(result, "time_s", fuel, units))
        )
    if fuel and keys:
        key = inner[0]
        caption = "Sums over the trips that arrived. Terms below half a percent stand together."
        found.append(("Where the energy went", caption, energy_study_figure(result, key, units)))
    return found
