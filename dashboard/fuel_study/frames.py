"""What figures of studies have in common: axes in the units of a quantity, bars, marks, and how few are enough."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.paper.panels import INK, axis, base_layout
from sim.studies.amounts import is_clocked, quantity_title
from sim.studies.quantities import QUANTITIES
from sim.studies.result import StudyResult
from sim.units import clock_time

HEIGHT = 430  # px
MOST_MARKS = 1200  # single trips drawn in a figure
MOST_PANELS = 4
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x", "cross")
PATTERNS = ("", "/", "x", "-", "\\", "+", "|", ".")
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


def study_axis(title: str = "", **more: Any) -> dict[str, Any]:
    """A plain axis, large enough for a projector."""
    return axis(
        title={"text": title, "font": {"size": 14}},
        exponentformat="none",
        separatethousands=True,
        **{"fixedrange": False, **more},
    )


def clock_marks(low: float, high: float) -> list[float]:
    """Places for minutes and seconds on an axis."""
    step = next((each for each in CLOCK_STEPS if (high - low) / each <= MOST_CLOCK_MARKS), CLOCK_STEPS[-1])
    return [float(step * place) for place in range(math.floor(low / step), math.ceil(high / step) + 1)]


def title_of(name: str, units: str) -> str:
    """Words and unit of a quantity; a time is read as minutes and seconds, as in the tables."""
    return f"{QUANTITIES[name][0]}, min:s" if is_clocked(name) else quantity_title(name, units)


def measure(name: str, units: str, shown: Sequence[float], **more: Any) -> dict[str, Any]:
    """The axis of a quantity over what is shown on it."""
    if not is_clocked(name) or not len(shown):
        return study_axis(title_of(name, units), **more)
    marks = clock_marks(min(shown), max(shown))
    if len(marks) < 3:  # all the same: a second more or less is nothing
        marks = [marks[0] - 60.0, *marks, marks[-1] + 60.0]
        more = {"range": (marks[0], marks[-1]), **more}
    return study_axis(title_of(name, units), tickvals=marks, ticktext=[clock_time(mark) for mark in marks], **more)


def figure(lines: list[dict[str, Any]], height: int = HEIGHT, **layout: Any) -> go.Figure:
    """Lines and layout as a figure."""
    base = base_layout(height) | {
        "margin": {"t": 44, "b": 60, "l": 70, "r": 24},
        "legend": legend(),
        "dragmode": "zoom",
    }
    return go.Figure({"data": lines, "layout": {**base, **layout}})


def legend() -> dict[str, Any]:
    """A legend above the panels."""
    return {"orientation": "h", "x": 0, "xanchor": "left", "y": 1.02, "yanchor": "bottom", "font": {"size": 13}}


def plain(text: object) -> str:
    """A text that the drawing library takes for nothing but words."""
    return str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def kept(rows: np.ndarray, most: int, always: Sequence[int] = ()) -> np.ndarray:
    """Rows thinned evenly, and those asked for."""
    if len(rows) <= most:
        return rows
    even = rows[np.unique(np.linspace(0, len(rows) - 1, most).astype(int))]
    return np.unique(np.concatenate([even, np.asarray(always, dtype=int)]))


def hover(result: StudyResult, rows: np.ndarray) -> list[str]:
    """The number of each trip, for a pointer."""
    return [f"trip {number}" for number in result.column("number")[rows]]


def pattern_of(rank: int) -> dict[str, Any]:
    """What a bar is hatched with, so that it is known without its colour."""
    return {"shape": PATTERNS[rank % len(PATTERNS)], "fgcolor": "#FFFFFF", "size": 6}


def bars(name: str, x: Sequence[Any], y: Sequence[Any], colour: str, **more: Any) -> dict[str, Any]:
    """Bars; what begins with `marker_` belongs to their faces."""
    face = {key.removeprefix("marker_"): more.pop(key) for key in list(more) if key.startswith("marker_")}
    marker = {"color": colour, "line": {"color": INK, "width": 1}, **face}
    return {"type": "bar", "name": name, "x": x, "y": y, "marker": marker, **more}


def marks(name: str, x: Sequence[Any], y: Sequence[Any], marker: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Single marks."""
    return {"type": "scatter", "mode": "markers", "name": name, "x": x, "y": y, "marker": marker, **more}


def heading(text: str, x: float, y: float, size: int = 13) -> dict[str, Any]:
    """What stands above one of several panels beside one another."""
    return {"text": f"<b>{plain(text)}</b>", "x": x, "y": y, "xref": "paper", "yref": "paper", "xanchor": "left",
            "yanchor": "bottom", "showarrow": False, "font": {"size": size}}  # fmt: skip
