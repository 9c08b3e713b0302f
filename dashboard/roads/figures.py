"""Figures of the Roads page, from a road, an imported track and descent speeds: pure functions, no callbacks."""

import html
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from dashboard.paper import palette
from dashboard.paper.drawing import shown, with_unit
from dashboard.paper.panels import Line, Panel, axis, chart_layout, figure_of, note, span_of_lines, strips, stroke
from dashboard.server.thinning import thinned_rows
from sim.charts.descent_speed import DescentSpeeds
from sim.roads.facts import GradeClass, curve_spans, limit_spans
from sim.roads.route import Route
from sim.roads.track import ImportedTrack
from sim.units import shown_unit
from sim.wording import finding, said

MOST_POINTS = 3000
DARK_VERMILLION = "#A13C00"  # of no published set: vermillion made dark enough for words (4.5 to 1 on white)


def drawn_places(route: Route) -> np.ndarray:
    """Where a road is drawn: at its own points and between them, no denser than is seen.

    Returns
    -------
    places : array
        Shape (places,), rising. [m]
    """
    between = np.linspace(0.0, route.length, 600)
    if len(route.distance) <= MOST_POINTS:
        return np.unique(np.concatenate([route.distance, between]))
    rows = np.union1d(
        thinned_rows(route.elevation, np.empty(0, dtype=int), MOST_POINTS // 2),
        thinned_rows(route.grade, np.empty(0, dtype=int), MOST_POINTS // 2),
    )
    return np.asarray(route.distance[rows])


def profile_figure(route: Route, units: str, descents: Sequence[DescentSpeeds] = ()) -> go.Figure:
    """Height, grade and posted limits along a road, with its signs, stops and curves.

    Parameters
    ----------
    units : str
        metric or us.
    descents : sequence of DescentSpeeds
        Shaded.
    """
    places = drawn_places(route)
    along = np.asarray(shown(places, "distance", units), dtype=np.float32)
    heights = np.asarray(shown(np.array([route.elevation_at(float(at)) for at in places]), "height", units))
    height_unit, speed_unit = shown_unit("height", units), shown_unit("speed", units)
    road: Line = stroke(
        along, heights, "road", palette.BLACK, width=2.4, showlegend=False,
        hovertemplate=f"%{{y:.0f}} {height_unit}<extra>height</extra>",
    )  # fmt: skip
    span = span_of_lines([road], 20.0)
    profile: list[Line] = []
    for number, descent in enumerate(descents, start=1):
        ends = np.linspace(descent.begin, descent.end, 200)
        under = shown(ends, "distance", units)
        over = shown(np.array([route.elevation_at(float(at)) for at in ends]), "height", units)
        profile.append(
            {
                "x": np.concatenate([under, under[[-1, 0]]]).astype(np.float32),
                "y": np.concatenate([over, [span[0], span[0]]]).astype(np.float32), "fill": "toself",
                "fillcolor": "rgba(0,114,178,0.20)", "line": {"width": 0}, "hoverinfo": "skip",
                "name": "descent" if len(descents) == 1 else f"descent {number}", "showlegend": True,
            }
        )  # fmt: skip
    profile.append(road)
    symbols = {"sign": "triangle-down", "stop": "square", "curve": "diamond"}
    marked = [(sign.distance, "sign", said(finding("cause.sign", text=sign.text), units)) for sign in route.signs]
    marked += [(stop.distance, "stop", f"{stop.value:g} s") for stop in route.stops]
    marked += [
        (
            span_.begin,
            "curve",
            f"radius {with_unit(span_.value, 'short length', units)}, taken at {with_unit(span_.speed, 'speed', units)}",
        )
        for span_ in curve_spans(route)
    ]
    for kind, symbol in symbols.items():
        mine = [(at, text) for at, what, text in marked if what == kind]
        if mine:
            profile.append(
                {
                    "x": [float(shown(at, "distance", units)) for at, _ in mine],
                    "y": [float(shown(route.elevation_at(min(at, route.length)), "height", units)) for at, _ in mine],
                    "mode": "markers", "name": f"{kind}s",
                    "marker": {"symbol": symbol, "size": 10, "color": "#FFFFFF", "line": {"color": "#1A1A1A", "width": 1.6}},
                    "customdata": [f"{kind}: {html.escape(text, quote=False)}" for _, text in mine],
                    "hovertemplate": "%{customdata}<extra></extra>",
                }
            )  # fmt: skip
    grades: Line = stroke(
        along, 100.0 * route.grades_at(places), "grade", palette.BLUE, width=1.6, showlegend=False, fill="tozeroy",
        fillcolor="rgba(0,114,178,0.22)", hovertemplate="%{y:.1f} %<extra>grade</extra>",
    )  # fmt: skip
    limits = limit_spans(route)
    posted: Line = stroke(
        [float(v) for span_ in limits for v in shown(np.array([span_.begin, span_.end]), "distance", units)],
        [float(shown(span_.value, "speed", units)) for span_ in limits for _ in range(2)], "posted limit",
        palette.VERMILLION, width=2.4, showlegend=False, hovertemplate=f"%{{y:.0f}} {speed_unit}<extra>posted</extra>",
    )  # fmt: skip
    bends: list[Line] = [
        stroke(
            [float(v) for v in shown(np.array([span_.begin, span_.end]), "distance", units)],
            [float(shown(span_.speed, "speed", units))] * 2, "speed of a curve", palette.PURPLE, "dot", 4.0,
            showlegend=number == 0, legendgroup="curve", hovertemplate=f"%{{y:.0f}} {speed_unit}<extra>curve</extra>",
        )
        for number, span_ in enumerate(curve_spans(route))
    ]  # fmt: skip
    limited = [posted] if limits else []
    bends = [line for line in bends if line["y"][0] <= 1.5 * max(posted["y"], default=np.inf)]
    return strips(
        [
            Panel(f"Height, {height_unit}", 2.0, span, profile),
            Panel("Grade, %", 1.0, span_of_lines([grades, {"y": [0.0]}], 2.0), [grades]),
            Panel(
                f"Posted limit and curves, {speed_unit}",
                0.8,
                span_of_lines(limited or bends, 20.0, 0.0),
                [*limited, *bends],
            ),
        ],
        (0.0, route.length),
        units,
        500,
    )


def histogram_figure(classes: Sequence[GradeClass], units: str) -> go.Figure:
    """Length of road by grade.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    figure : Figure
        Downhill, level and uphill differ by colour and by their side.
    """
    whole = sum(each.length for each in classes)
    lengths = [float(shown(each.length, "distance", units)) for each in classes]
    middles = [100.0 * each.middle for each in classes]

    def colour(middle: float) -> str:
        return palette.BLUE if middle < -0.05 else palette.VERMILLION if middle > 0.05 else palette.GREY

    unit = shown_unit("distance", units)
    bars = {
        "type": "bar", "x": middles, "y": lengths, "width": 0.86, "name": "length",
        "marker": {"color": [colour(middle) for middle in middles], "line": {"color": "#1A1A1A", "width": 1}},
        "text": [f"{100.0 * each.length / whole:.0f} %" if each.length >= 0.005 * whole else "" for each in classes],
        "textposition": "outside", "cliponaxis": False,
        "customdata": [
            f"{100.0 * each.low:.1f} to {100.0 * each.high:.1f} %: {length:.2f} {unit}, {100.0 * each.length / whole:.1f} %"
            for each, length in zip(classes, lengths, strict=True)
        ],
        "hovertemplate": "%{customdata}<extra></extra>",
    }  # fmt: skip
    most = max([*lengths, 0.01])
    reach = (min([*middles, -2.0]) - 1.0, max([*middles, 2.0]) + 1.0)
    corners = {"xref": "paper", "yref": "paper", "yanchor": "bottom"}
    notes = [
        note(0.0, 1.0, "downhill", xanchor="left", font={"color": palette.BLUE, "size": 13}, **corners),
        note(1.0, 1.0, "uphill", xanchor="right", font={"color": DARK_VERMILLION, "size": 13}, **corners),
    ]
    layout = chart_layout(
        330, showlegend=False, annotations=notes, margin={"t": 34, "b": 50, "l": 66, "r": 20},
        xaxis=axis(range=list(reach), title={"text": "grade, %", "standoff": 8}, dtick=1 if reach[1] - reach[0] < 24 else 2),
        yaxis=axis(range=[0.0, 1.14 * most], title={"text": f"length, {unit}", "standoff": 8}),
    )  # fmt: skip
    return go.Figure({"data": [bars], "layout": layout})


def smoothing_figure(track: ImportedTrack, units: str) -> go.Figure:
    """What smoothing changed: heights as recorded and as driven, the difference, and the grade.

    Parameters
    ----------
    units : str
        metric or us.
    """
    height_unit = shown_unit("height", units)
    rows = thinned_rows(track.raw_elevation, np.empty(0, dtype=int), MOST_POINTS)
    road = thinned_rows(track.elevation, np.empty(0, dtype=int), MOST_POINTS)
    recorded: Line = stroke(
        shown(track.raw_distance[rows], "distance", units), shown(track.raw_elevation[rows], "height", units),
        "as recorded", palette.VERMILLION, "dot", 1.4,
        hovertemplate=f"%{{y:.1f}} {height_unit}<extra>recorded</extra>",
    )  # fmt: skip
    driven: Line = stroke(
        shown(track.distance[road], "distance", units), shown(track.elevation[road], "height", units),
        "road, smoothed", palette.BLUE, width=2.4, hovertemplate=f"%{{y:.1f}} {height_unit}<extra>road</extra>",
    )  # fmt: skip
    moved = np.interp(track.raw_distance, track.distance, track.elevation) - track.raw_elevation
    kept = thinned_rows(moved, np.empty(0, dtype=int), MOST_POINTS)
    difference: Line = stroke(
        shown(track.raw_distance[kept], "distance", units), shown(moved[kept], "height", units),
        "road above recording", palette.PURPLE, width=1.2, showlegend=False, fill="tozeroy",
        fillcolor="rgba(204,121,167,0.3)", hovertemplate=f"%{{y:.1f}} {height_unit}<extra>moved by</extra>",
    )  # fmt: skip
    grades: Line = stroke(
        shown(track.distance[road], "distance", units), 100.0 * track.grade[road], "grade", palette.BLUE, width=1.4,
        showlegend=False, hovertemplate="%{y:.1f} %<extra>grade</extra>",
    )  # fmt: skip
    return strips(
        [
            Panel(f"Height, {height_unit}", 1.8, span_of_lines([recorded, driven], 20.0), [recorded, driven]),
            Panel(f"Road above the recording, {height_unit}", 0.8, span_of_lines([difference], 2.0), [difference]),
            Panel("Grade of the road, %", 0.9, span_of_lines([grades], 2.0), [grades]),
        ],
        (0.0, track.length),
        units,
        480,
    )


def descent_figure(descent: DescentSpeeds, units: str) -> go.Figure:
    """Speeds for one descent by load: our own, and the published model's two sets.

    Parameters
    ----------
    units : str
        metric or us.
    """
    masses = [float(shown(load.mass, "large mass", units)) for load in descent.loads]
    mass_unit, speed_unit = shown_unit("large mass", units), shown_unit("speed", units)
    ways: list[tuple[str, str, str, str, list[tuple[float, str] | None]]] = [
        ("held by gear and engine brake, without service brakes", palette.BLUE, "solid", "circle",
         [(load.held.speed, load.held.binds) for load in descent.loads]),
        ("published model, set A: service brakes and engine drag", palette.VERMILLION, "dash", "square",
         [(load.set_a.speed, load.set_a.cap) if load.set_a else None for load in descent.loads]),
        ("published model, set B", palette.BLACK, "dot", "diamond",
         [(load.set_b.speed, load.set_b.cap) if load.set_b else None for load in descent.loads]),
    ]  # fmt: skip
    lines: list[Line] = []
    highest = descent.cap
    for name, colour, dash, symbol, found in ways:
        known = [(mass, each) for mass, each in zip(masses, found, strict=True) if each is not None]
        if not known:
            continue
        highest = max(highest, *(each[0] for _, each in known))
        lines.append(
            stroke(
                [mass for mass, _ in known], [float(shown(each[0], "speed", units)) for _, each in known], name,
                colour, dash, 2.4, mode="lines+markers",
                marker={"symbol": symbol, "size": 10, "color": "#FFFFFF", "line": {"color": colour, "width": 2.2}},
                customdata=[
                    f"{mass:.1f} {mass_unit}: {with_unit(each[0], 'speed', units)}; {html.escape(each[1])}" for mass, each in known
                ],
                hovertemplate="%{customdata}<extra></extra>",
            )
        )  # fmt: skip
    air = max(0.06 * (masses[-1] - masses[0]), 1.0)
    reach = (masses[0] - air, masses[-1] + air)
    cap = float(shown(descent.cap, "speed", units))
    lines.append(
        stroke(list(reach), [cap, cap], descent.cap_name, palette.GREY, "longdash", hoverinfo="skip")
    )  # fmt: skip
    top = 1.15 * float(shown(highest, "speed", units))
    layout = chart_layout(
        360, xaxis=axis(range=list(reach), title={"text": f"gross mass, {mass_unit}", "standoff": 8}),
        yaxis=axis(range=[0.0, top], title={"text": f"speed, {speed_unit}", "standoff": 8}),
    )  # fmt: skip
    return figure_of(lines, layout)
