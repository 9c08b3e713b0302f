"""Draws what smoothing did to a track: heights as recorded and as smoothed, and the grade below, as one SVG."""

import math
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from sim.roads.track import STEEPEST_IMPORTED, ImportedTrack
from sim.units import quantity_text, shown_unit, shown_value

WIDTH, HEIGHT = 1000.0, 740.0
LEFT, RIGHT = 76.0, 976.0
HEIGHT_PANEL = (96.0, 366.0)  # top and bottom
GRADE_PANEL = (402.0, 542.0)
BEND_PANEL = (578.0, 682.0)
RADII = {
    "metric": (10.0, 30.0, 100.0, 300.0, 1000.0),
    "us": (30.0, 100.0, 300.0, 1000.0, 3000.0),
}  # of a logarithmic axis
INK, FAINT, GRID, RECORDED, ROAD, GAP = "#222222", "#555555", "#d9d9d9", "#7f1d1d", "#5b9bea", "#f1e3c2"


def track_picture(track: ImportedTrack, units: str = "metric") -> str:
    """The picture of an imported track.

    Parameters
    ----------
    units : str
        metric, us, or both, whose axes are metric.

    Returns
    -------
    text : str
        An SVG document, black on white so that it prints.
    """
    system = "us" if units == "us" else "metric"

    def shown(values: Any, kind: str) -> Any:
        """Numbers of a quantity as shown."""
        return shown_value(values, kind, system)

    def high(value: float) -> str:
        """A height in words."""
        return quantity_text(value, "height", units)

    end = shown(track.length, "distance")
    across = (0.0, end)
    recorded_heights, road_heights = (shown(each, "height") for each in (track.raw_elevation, track.elevation))
    low = float(min(recorded_heights.min(), road_heights.min()))
    top_height = float(max(recorded_heights.max(), road_heights.max()))
    room = max(0.06 * (top_height - low), 2.0)
    heights = (low - room, top_height + room)
    steepest = max(float(np.abs(track.grade).max()) * 110.0, 2.0)
    grades = (-steepest, steepest)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" width="{WIDTH:g}" height="{HEIGHT:g}"'
        ' font-family="sans-serif" role="img">',
        f"<title>{escape(track.title)}</title>",
        f'<rect width="{WIDTH:g}" height="{HEIGHT:g}" fill="white"/>',
        _text(LEFT, 30, track.title if len(track.title) <= 88 else track.title[:86] + "..", 20, INK, weight="bold"),
        _text(
            LEFT,
            54,
            f"climb {high(track.raw_climb)} as recorded, {high(track.climb)} smoothed over {high(track.smooth)}, road itself"
            f" {high(track.climbs.low)} to {high(track.climbs.high)};"
            f" grade {100 * track.grade.min():.1f} to {100 * track.grade.max():.1f} %",
            14,
            FAINT,
        ),
    ]
    for panel in (HEIGHT_PANEL, GRADE_PANEL, BEND_PANEL):
        for gap in track.gaps:
            first, last = (
                _x(min(shown(place, "distance"), end), across) for place in (gap.start, gap.start + gap.length)
            )
            parts.append(
                f'<rect x="{first:.1f}" y="{panel[0]:g}" width="{last - first:.1f}" height="{panel[1] - panel[0]:g}"'
                f' fill="{GAP}"/>'
            )
    parts += _axis(HEIGHT_PANEL, heights, f"height, {shown_unit('height', system)}")
    parts += _axis(GRADE_PANEL, grades, "grade, %")
    for tick in _ticks(*across, 10):
        at = _x(tick, across)
        for top, bottom in (HEIGHT_PANEL, GRADE_PANEL, BEND_PANEL):
            parts.append(_line(at, top, at, bottom, GRID))
        parts.append(_text(at, BEND_PANEL[1] + 18, f"{tick:g}", 13, INK, "middle"))
    parts.append(
        _text(
            (LEFT + RIGHT) / 2,
            BEND_PANEL[1] + 42,
            f"distance along the road, {shown_unit('distance', system)}",
            14,
            INK,
            "middle",
        )
    )
    zero = _y(0.0, grades, GRADE_PANEL)
    parts.append(_line(LEFT, zero, RIGHT, zero, FAINT))
    recorded = _thinned(shown(track.raw_distance, "distance"), recorded_heights, across)
    road = _thinned(shown(track.distance, "distance"), road_heights, across)
    parts.append(_curve(*road, across, heights, HEIGHT_PANEL, ROAD, 4.0))
    parts.append(_curve(*recorded, across, heights, HEIGHT_PANEL, RECORDED, 0.9))
    grade = _thinned(shown(track.distance, "distance"), 100.0 * track.grade, across)
    parts.append(_curve(*grade, across, grades, GRADE_PANEL, "#1d4ed8", 1.4))
    for stretch in track.bound:
        at = _x(min(shown(stretch.start + 0.5 * stretch.length, "distance"), end), across)
        parts.append(_text(at, GRADE_PANEL[0] - 4, f"held at {100 * STEEPEST_IMPORTED:g} %", 12, INK, "middle"))
    parts += _bends(track, across, system)
    parts += _legend(bool(track.gaps), bool(track.bends))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _bends(track: ImportedTrack, across: tuple[float, float], system: str) -> list[str]:
    """Radius of each bend, with its band as a box."""
    ticks = RADII[system]
    span = (math.log10(ticks[0]), math.log10(ticks[-1]))

    def high(radius: float) -> float:
        """Where a radius as shown is drawn, at the edge when it is beyond."""
        return _y(math.log10(min(max(radius, ticks[0]), ticks[-1])), span, BEND_PANEL)

    parts = [_frame(BEND_PANEL, f"radius of bends, {shown_unit('height', system)}")]
    for tick in ticks:
        parts.append(_line(LEFT, high(tick), RIGHT, high(tick), GRID))
        parts.append(_text(LEFT - 8, high(tick) + 4.5, f"{tick:g}", 13, INK, "end"))
    for bend in track.bends:
        first, last = (_x(shown_value(at, "distance", system), across) for at in (bend.start, bend.start + bend.length))
        top, likely, bottom = (
            high(shown_value(each, "height", system))
            for each in (bend.radius.high, bend.radius.likely, bend.radius.low)
        )
        parts += _bend(first, max(last, first + 1.0), top, likely, bottom)
    if not track.bends:
        parts.append(_text(LEFT + 12, BEND_PANEL[0] + 24, "no bends found", 13, FAINT))
    return parts


def _bend(first: float, last: float, top: float, likely: float, bottom: float) -> list[str]:
    """The box of a band and the line of what is likeliest."""
    return [
        f'<rect x="{first:.1f}" y="{top:.1f}" width="{last - first:.1f}" height="{bottom - top:.1f}" fill="{ROAD}"/>',
        _line(first, likely, last, likely, RECORDED, 0.9),
    ]


def _legend(gaps: bool, bends: bool) -> list[str]:
    """What the lines mean, above the upper panel."""
    at = HEIGHT_PANEL[0] - 14
    parts = [
        _line(LEFT, at - 4, LEFT + 34, at - 4, RECORDED, 0.9),
        _text(LEFT + 42, at, "as recorded, cleaned (thin)", 13, INK),
        _line(LEFT + 222, at - 4, LEFT + 256, at - 4, ROAD, 4.0),
        _text(LEFT + 264, at, "road: smoothed (thick)", 13, INK),
    ]
    if bends:
        parts += _bend(LEFT + 426, LEFT + 460, at - 9, at - 4, at + 1)
        parts.append(_text(LEFT + 468, at, "bend: likeliest (line), 9 of 10 (box)", 13, INK))
    if gaps:
        parts.append(f'<rect x="{LEFT + 712:g}" y="{at - 11:g}" width="34" height="14" fill="{GAP}"/>')
        parts.append(_text(LEFT + 754, at, "gap, bridged straight", 13, INK))
    return parts


def _axis(panel: tuple[float, float], span: tuple[float, float], name: str) -> list[str]:
    """Frame, horizontal lines, numbers and name of a panel."""
    top, bottom = panel
    parts = []
    for tick in _ticks(*span, 6 if bottom - top > 200 else 4):
        at = _y(tick, span, panel)
        parts.append(_line(LEFT, at, RIGHT, at, GRID))
        parts.append(_text(LEFT - 8, at + 4.5, f"{tick:g}".replace("-", "−"), 13, INK, "end"))
    return [*parts, _frame(panel, name)]


def _frame(panel: tuple[float, float], name: str) -> str:
    """Frame and name of a panel."""
    top, bottom = panel
    middle = 0.5 * (top + bottom)
    return (
        f'<rect x="{LEFT:g}" y="{top:g}" width="{RIGHT - LEFT:g}" height="{bottom - top:g}" fill="none" stroke="{FAINT}"/>'
        f'<text x="22" y="{middle:g}" font-size="14" fill="{INK}" text-anchor="middle" transform="rotate(-90 22 {middle:g})">'
        f"{escape(name)}</text>"
    )


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers inside a span, at most so many steps."""
    least = (high - low) / most
    power = 10.0 ** math.floor(math.log10(least))
    step = next(size * power for size in (1.0, 2.0, 5.0, 10.0) if size * power >= least * (1.0 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [round(number * step, 6) + 0.0 for number in range(first, math.floor(high / step + 1e-9) + 1)]


def _x(value: float, span: tuple[float, float]) -> float:
    """Place of a value from left to right."""
    return LEFT + (value - span[0]) / (span[1] - span[0]) * (RIGHT - LEFT)


def _y(value: float, span: tuple[float, float], panel: tuple[float, float]) -> float:
    """Place of a value from top to bottom."""
    return panel[1] - (value - span[0]) / (span[1] - span[0]) * (panel[1] - panel[0])


def _thinned(x: np.ndarray, y: np.ndarray, span: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """The points a picture can show: of many in half a picture point, the lowest and the highest."""
    if len(x) < 4000:
        return x, y
    column = np.floor((x - span[0]) / (span[1] - span[0]) * (RIGHT - LEFT) * 2.0)
    starts = np.flatnonzero(np.diff(column, prepend=-1.0))
    keep: set[int] = {0, len(x) - 1}
    for first, past in zip(starts, np.append(starts[1:], len(x)), strict=True):
        keep |= {int(first + np.argmin(y[first:past])), int(first + np.argmax(y[first:past]))}
    order = np.array(sorted(keep))
    return x[order], y[order]


def _curve(
    x: np.ndarray,
    y: np.ndarray,
    across: tuple[float, float],
    span: tuple[float, float],
    panel: tuple[float, float],
    colour: str,
    width: float,
) -> str:
    """A line through points."""
    points = " ".join(
        f"{_x(a, across):.1f},{_y(b, span, panel):.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)
    )
    return (
        f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="{width:g}" stroke-linejoin="round"/>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float = 1.0) -> str:
    """A straight line."""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width:g}"/>'


def _text(x: float, y: float, text: str, size: int, colour: str, anchor: str = "start", weight: str = "normal") -> str:
    """A line of text."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{colour}" text-anchor="{anchor}" font-weight="{weight}">'
        f"{escape(text)}</text>"
    )
