"""What a sample says about each input, and what a fuel test says about a change."""

from typing import Any

import plotly.graph_objects as go

from dashboard.fuel_study.frames import SYMBOLS, bars, figure, marks, study_axis
from dashboard.paper import palette
from dashboard.paper.panels import INK
from sim.studies.amounts import (
    in_shown_unit,
    key_in_shown_unit,
    key_text,
    key_unit,
    key_words,
    kind_of,
    quantity_title,
)
from sim.studies.findings import swings
from sim.studies.result import StudyResult
from sim.units import shown_unit


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
    texts = [per_unit_text(name, key, entries[key]["per_unit"], units) for key, *_ in ranked]
    look: dict[str, Any] = {"orientation": "h", "showlegend": False}
    left = bars("over its range", over, labels, palette.BLUE, text=texts, textposition="none", **look)
    right = bars("percent per percent", relative, labels, palette.GREEN, xaxis="x2", yaxis="y2", **look)
    if sampled:
        for line, which in ((left, 0), (right, 1)):
            line["error_x"] = {"type": "data", "array": [half[which] for half in halves], "color": INK, "thickness": 2}
    return figure(
        [left, right], 140 + 52 * max(len(ranked), 1),
        xaxis=study_axis(f"{quantity_title(name, units)}: change over the range", domain=[0.0, 0.48]),
        yaxis=study_axis(), xaxis2=study_axis("% per % at the means", domain=[0.54, 1.0], anchor="y2"),
        yaxis2=study_axis(anchor="x2", showticklabels=False),
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
    unit = " ".join(part for part in (shown_unit(kind_of(name), units), "per", key_unit(key, units) or "1") if part)
    return f"{shown:+.4g} {unit}"


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
        mark = {"color": colour, "size": 13, "symbol": SYMBOLS[place]}
        lines.append(marks(f"{part} the change", x, ratios, mark))
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
    return figure(lines, xaxis=study_axis("", **ticks), yaxis=study_axis("fuel of test truck over control truck", **scale),
                   shapes=shapes, annotations=notes, showlegend=False)  # fmt: skip
