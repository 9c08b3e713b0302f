"""A quantity over two varied inputs: a cell each pair, or a surface between the trips."""

from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.fuel_study.frames import (
    MOST_MARKS,
    MOST_PANELS,
    clock_marks,
    figure,
    heading,
    hover,
    kept,
    marks,
    plain,
    study_axis,
    title_of,
)
from dashboard.paper.panels import INK
from sim.studies.amounts import in_shown_unit, is_clocked, key_in_shown_unit, key_text, key_title
from sim.studies.answers import levels_of, numeric_keys, usable
from sim.studies.question import WORDS
from sim.studies.result import StudyResult
from sim.units import clock_time

MOST_CELLS = 120  # of a heat map that carry their number
SCALE = [[0.0, "#00224E"], [0.25, "#434E6C"], [0.5, "#7D7C78"], [0.75, "#BCAF6F"], [1.0, "#FEE838"]]
LIGHT = [[0.0, "#F4F7FA"], [0.5, "#A9CBE3"], [1.0, "#5B9FD0"]]  # ink stands at least 6 to 1 on all of it
FINE = 91  # points a side of a contour
LEAST_FOR_SURFACE = 12  # trips for the six numbers of a surface of the second degree


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
        x, y = ([plain(_short_level(key, value, units)) for value in axes[key]] for key in (along, up))
        lines.append({"type": "heatmap", "x": x, "y": y, "z": [[None if np.isnan(v) else float(v) for v in row] for row in means],
                      "text": texts, "texttemplate": "%{text}" if means.size <= MOST_CELLS else "", "zmin": span[0],
                      "zmax": span[1], "colorscale": SCALE, "xgap": 1, "ygap": 1, "textfont": {"size": 13},
                      "xaxis": f"x{suffix}", "yaxis": f"y{suffix}", "showscale": panel == 0,
                      "colorbar": _colorbar(name, units, span)})  # fmt: skip
        domain = [panel * width, (panel + 1) * width - gap]
        layout[f"xaxis{suffix}"] = study_axis(
            key_title(along, units), type="category", domain=domain, anchor=f"y{suffix}"
        )
        layout[f"yaxis{suffix}"] = study_axis(
            key_title(up, units) if panel == 0 else "", type="category", anchor=f"x{suffix}", showticklabels=panel == 0
        )
        if by:
            layout["annotations"].append(heading(key_text(by, axes[by][panel], units), domain[0], 1.02, 12))
    return figure(lines, **layout)


def _colorbar(name: str, units: str, span: tuple[float, float]) -> dict[str, Any]:
    """The scale of a quantity beside a figure."""
    bar: dict[str, Any] = {"title": {"text": title_of(name, units), "side": "right"}, "thickness": 14}
    if is_clocked(name):
        marks = [mark for mark in clock_marks(*span) if span[0] <= mark <= span[1]]
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
    axes = [study_axis(key_title(key, units), zeroline=False) for key in (along, up)]
    edge = _edge_of(x, y)
    if len(edge):
        across, upward = np.linspace(x.min(), x.max(), FINE), np.linspace(y.min(), y.max(), FINE)
        shown = np.round(in_shown_unit(name, _surface(result, name, along, up, across, upward), units), 4)
        span = (float(np.nanmin(shown)), float(np.nanmax(shown)))
        lines.append({"type": "contour", "x": key_in_shown_unit(along, across, units).tolist(),
                      "y": key_in_shown_unit(up, upward, units).tolist(), "name": title_of(name, units),
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
    few = kept(np.arange(len(rows)), MOST_MARKS // 3)
    across_few, upward_few = (
        key_in_shown_unit(along, x[few], units).tolist(),
        key_in_shown_unit(up, y[few], units).tolist(),
    )
    dot = {"size": 4, "color": INK}
    lines.append(marks("trips", across_few, upward_few, dot, showlegend=False, text=hover(result, rows[few])))
    return figure(lines, xaxis=axes[0], yaxis=axes[1])


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
