"""A quantity by the levels of what was varied: means, cases against the first, spread, and where the energy went."""

from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.fuel_study.frames import (
    MOST_MARKS,
    SYMBOLS,
    bars,
    figure,
    legend,
    marks,
    measure,
    pattern_of,
    plain,
    study_axis,
)
from dashboard.paper import palette
from dashboard.paper.panels import INK, TERMS
from sim.studies.amounts import in_shown_unit, key_in_shown_unit, key_text, key_title, quantity_text, quantity_title
from sim.studies.answers import by_case, levels_of, numeric_keys, usable
from sim.studies.result import StudyResult
from sim.trips.books import energy_words

OUTSIDE = {"textposition": "outside", "cliponaxis": False}
INSIDE = {
    "textposition": "inside",
    "insidetextanchor": "middle",
    "textangle": 0,
    "textfont": {"color": INK, "size": 12},
}


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
    numbers = key in numeric_keys(result)
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
            pen = {"color": colour, "dash": dash, "width": 2.5}
            lines.append(marks(plain(road), x, y, mark, mode="lines+markers", line=pen))
        else:
            x = [plain(key_text(key, result.plan.axes[key][level], units)) for level in levels]
            texts = [quantity_text(name, mean, units, False) for mean in means]
            lines.append(bars(plain(road), x, y, colour, text=texts, marker_pattern=pattern_of(rank), **OUTSIDE))
    shown = [value for line in lines for value in line["y"]] + ([] if numbers else [0.0])
    layout: dict[str, Any] = {"xaxis": study_axis(key_title(key, units)), "yaxis": measure(name, units, shown)}
    return figure(lines, barmode="group", showlegend=len(lines) > 1, **layout)


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
    cases, grid = [case.name for case in result.plan.study.cases], by_case(result, name)
    roads = np.full(result.plan.total, "", dtype=object)
    roads[result.column("number").astype(int) - 1] = result.column("road")
    by_road = roads.reshape(grid.shape)
    lines: list[dict[str, Any]] = []
    for rank, road in enumerate(dict.fromkeys(result.column("road").tolist())):
        x, y, texts = [], [], []
        for case, its, where in zip(cases[1:], grid[1:], by_road[1:], strict=True):
            both = ~np.isnan(its) & ~np.isnan(grid[0]) & (where == road)
            if both.any() and grid[0][both].mean() != 0.0:
                first = grid[0][both].mean()
                x.append(100.0 * (its[both].mean() - first) / first)
                y.append(plain(case))
                texts.append(f"{x[-1]:+.1f} %")
        look = {"orientation": "h", "text": texts, "marker_pattern": pattern_of(rank), **OUTSIDE}
        lines.append(bars(plain(road), x, y, palette.LINES[rank % 5], **look))
    ends = [value for line in lines for value in line["x"]] + [0.0]
    air = 0.18 * ((max(ends) - min(ends)) or 1.0)
    title = f"{quantity_title(name, units).partition(',')[0]}: difference from “{plain(cases[0])}”, %"
    return figure(
        lines, 120 + (24 * len(lines) + 16) * max(len(cases) - 1, 1), barmode="group", showlegend=len(lines) > 1,
        xaxis=study_axis(title, range=(min(ends) - (air if min(ends) < 0 else 0), max(ends) + (air if max(ends) > 0 else 0))),
        yaxis=study_axis(autorange="reversed"),
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
        place, labels = levels_of(result)[key][rows], [plain(key_text(key, value, units)) for value in axes[key]]
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
            mark = {"color": palette.VERMILLION, "symbol": "line-ew-open", "size": 12}
            lines.append(marks(label, [label] * len(its), its.tolist(), mark, showlegend=False))
    layout: dict[str, Any] = {
        "xaxis": study_axis(key_title(key, units), type="category"),
        "yaxis": measure(name, units, values.tolist()),
    }
    return figure(lines, **layout)


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
    parts[energy_words("height_gained")] = np.maximum(-result.column("energy_height_given_up_j").astype(float), 0.0)
    parts[energy_words("kinetic_at_end")] = result.column("energy_kinetic_at_end_j").astype(float)
    levels = [level for level in range(len(axis)) if (good & (place == level)).any()]
    shares = {
        words: [100.0 * float(v[good & (place == k)].sum() / supplied[good & (place == k)].sum()) for k in levels]
        for words, v in parts.items()
    }
    small = [words for words, its in shares.items() if max(map(abs, its), default=0.0) < 0.5]
    other = [sum(shares[words][k] for words in small) for k in range(len(levels))]
    shares = {words: its for words, its in shares.items() if words not in small} | ({"other": other} if small else {})
    y = [plain(key_text(key, axis[level], units)) for level in levels]
    lines = []
    for rank, (words, its) in enumerate(sorted(shares.items(), key=lambda each: -sum(each[1]))):
        texts = [f"{share:.0f}" if share >= 4.0 else "" for share in its]
        colour = palette.LINES[rank % 5] if rank % 5 != 2 else palette.GREY
        face = {"marker_opacity": 0.75, "marker_pattern": pattern_of(rank // 5 + rank)}
        lines.append(bars(words, its, y, colour, orientation="h", text=texts, **INSIDE, **face))
    return figure(
        lines, 190 + 34 * len(levels), barmode="relative", xaxis=study_axis("share of the energy supplied, %"),
        yaxis=study_axis(autorange="reversed", type="category"), legend=legend() | {"traceorder": "normal"},
        margin={"t": 90, "b": 60, "l": 70, "r": 24},
    )  # fmt: skip
