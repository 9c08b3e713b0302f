"""The Roads page: what a road is like, how fast it may be driven down, and roads from recorded tracks."""

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import dash
from dash import Input, Output, dcc, html

from dashboard.panel import controls, ids
from dashboard.panel.attributes import attributes, refused
from dashboard.roads.work import RoadAnswer, read_upload, work_out
from dashboard.server import doors, guard
from dashboard.server.runs import UPLOAD, Workshop, key_for
from dashboard.server.setups import Setup, chosen_units, query_of, read_road, read_setup, setup_of, with_usual
from sim.actors.descents import PITCH
from sim.errors import HaulbenchError, RouteError
from sim.inputs.one_trip import Inputs
from sim.messages import browser as say
from sim.roads.route import Route, catalogue_folder
from sim.roads.track import DEFAULT_EVERY, DEFAULT_SMOOTH, ImportedTrack, Stretch
from sim.units import KILOMETRE_PER_HOUR, MILE, number_in

if TYPE_CHECKING:
    from sim.charts.descent_speed import DescentSpeeds
    from sim.charts.safe_speed import SafeSpeed
    from sim.roads.facts import Slope

TITLE = "Roads"
PATH = "/roads"

RESULTS = "roads-results"
STATE = "roads-state"
UPLOAD_PATH = "/roads/upload"
FILE_PATH = "/roads/file"
MOST_UPLOAD = 10_000_000  # bytes of a recording
LONGEST_NAME = 80
USUAL = {"truck": "long-haul-manual", "road": "skarrow-grade", "settings": "defaults"}
GROUPS = {
    "Truck and engine brake": ("retarding.switch", "retarding.selector", "driveline.axle_ratio"),
    "Air": ("weather.temperature_c", "weather.wind_m_s"),
}
GRAPH: Any = {"displayModeBar": False, "responsive": True}
MOST_LINES = 6  # of one kind in what smoothing did
MOST_SPANS = 40  # of limits and curves in a table


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    panel = controls.panel(
        "roads", GROUPS, with_usual(query["?"], USUAL), start_with=("road", "truck"), everything=False
    )
    asked = {"path": UPLOAD_PATH, "most": MOST_UPLOAD, "every": DEFAULT_EVERY, "smooth": DEFAULT_SMOOTH}
    return html.Div(
        [
            html.Div(
                [
                    panel,
                    html.Section(
                        [
                            html.H2("A road from a recording"),
                            html.P(
                                "A GPX track, or a CSV table with distance_m and elevation_m, becomes a road. It stays in this"
                                " server's memory and nowhere else.",
                                className="quiet fine",
                            ),
                            html.Div(id="roads-upload", **attributes(data_upload=json.dumps(asked))),
                        ],
                        className="card",
                        **attributes(aria_label="A road from a recording"),
                    ),
                ],
                className="left-side",
            ),
            html.Div(
                [
                    html.H1("Roads", className="unseen"),
                    html.P(id=STATE, className="quiet working", role="status"),
                    html.Div(html.P("Opening ...", className="quiet"), id=RESULTS),
                ],
                className="stack",
            ),
        ],
        className="sheet",
    )


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    @app.callback(
        Output(RESULTS, "children"),
        Input(ids.setup("roads"), "data"),
        Input(ids.UNITS, "data"),
        running=[(Output(STATE, "children"), "Looking at the road ...", "")],
    )
    def _results(data: Any, units: Any) -> Any:
        try:
            setup = setup_of(data)
            inputs = read_setup(setup, workshop)
            system = chosen_units(units)
            answer: RoadAnswer = workshop.ask(key_for("road", inputs, system), work_out, inputs, system)
        except HaulbenchError as problem:
            return refused(problem)
        return results(setup, inputs, answer, kept_track(workshop, setup.road), system)

    def take_in(content: bytes, visitor: doors.Visitor) -> doors.Answer:
        """A recording, made into a road."""
        given = visitor.query
        name = safe_name(given.get("name", ""))
        every, smooth = _number(given, "every", DEFAULT_EVERY), _number(given, "smooth", DEFAULT_SMOOTH)
        limit = _number(given, "limit", 0.0) * KILOMETRE_PER_HOUR or None
        word = hashlib.blake2b(content, digest_size=16).hexdigest()
        key = f"upload {word} {name!r} {every!r} {smooth!r} {limit!r}"
        track, route = workshop.ask(key, read_upload, name, content, every, smooth, limit)
        return {"address": keep(workshop, track, route), "title": route.title, "length_m": route.length}

    def whole_file(visitor: doors.Visitor) -> doors.Answer:
        """A file of the road in the address."""
        given = visitor.query
        name, text, kind = file_of(workshop, given.get("road", ""), given.get("kind", ""))
        return guard.file(text, f"{kind}; charset=utf-8", name)

    doors.upload(app, UPLOAD_PATH, take_in, MOST_UPLOAD)
    doors.get(app, FILE_PATH, whole_file)


def safe_name(text: str) -> str:
    r"""The name of somebody's file, as far as a file may be named so; its folder is dropped.

    Returns
    -------
    name : str
        Letters without accents, digits, dots, hyphens and underscores; `recording` where nothing is left.

    Examples
    --------
    >>> safe_name("C:\\tracks\\My ride (2).gpx"), safe_name("../../etc/passwd"), safe_name("")
    ('My-ride-2-.gpx', 'passwd', 'recording')
    """
    bare = re.split(r"[/\\]", text)[-1]
    kept = re.sub(r"[^A-Za-z0-9._-]+", "-", bare).strip("-.")
    stem, dot, ending = kept.rpartition(".")
    return f"{(stem if dot else kept)[: LONGEST_NAME - 8]}{dot}{ending[:6] if dot else ''}" or "recording"


def _number(given: Any, key: str, otherwise: float) -> float:
    """A number of an upload's address."""
    text = given.get(key, "")
    if not text:
        return otherwise
    try:
        return number_in(text)
    except ValueError:
        raise RouteError(say.no_number(key=key, text=text)) from None


def keep(workshop: Workshop, track: ImportedTrack, route: Route) -> str:
    """Keeps an imported road and the account of how it was made, in memory.

    Returns
    -------
    address : str
        By which every page finds it.
    """
    address = workshop.keep_road(route)
    workshop.uploads.put(f"track of {address}", track)
    return address


def kept_track(workshop: Workshop, road: str) -> ImportedTrack | None:
    """The account of how an uploaded road was made.

    Parameters
    ----------
    road : str
        Of a setup.

    Returns
    -------
    track : ImportedTrack or None
        None for a road of the catalogue, or when it is no longer kept.
    """
    if not road.startswith(UPLOAD):
        return None
    try:
        track: ImportedTrack = workshop.uploads.get(f"track of {road}")
    except KeyError:
        return None
    return track


def file_of(workshop: Workshop, road: str, kind: str) -> tuple[str, str, str]:
    """A file of a road, to be downloaded.

    Parameters
    ----------
    road : str
        Catalogue name or the address of an upload.
    kind : str
        csv or toml.

    Returns
    -------
    name : str
        Of the file.
    media : str
        Media type.

    Raises
    ------
    RouteError
        There is no such road or file.
    """
    media = {"csv": "text/csv", "toml": "application/toml"}
    if kind not in media:
        raise RouteError(say.no_such_file(kind=kind))
    if road.startswith("grade:"):
        raise RouteError(say.no_files_of_grade(road=road))
    route = read_road(road, workshop)
    track = kept_track(workshop, road)
    if track is not None:
        return f"{route.name}.{kind}", track.csv() if kind == "csv" else track.toml(), media[kind]
    if road.startswith(UPLOAD):
        raise RouteError(say.files_given_up(road=road))
    return f"{road}.{kind}", (catalogue_folder() / f"{road}.{kind}").read_text(encoding="utf-8"), media[kind]


# ---------------------------------------------------------------- what is shown


def results(setup: Setup, inputs: Inputs, answer: RoadAnswer, track: ImportedTrack | None, units: str) -> html.Div:
    """Everything about a road.

    Parameters
    ----------
    track : ImportedTrack or None
        How an uploaded road was made.
    units : str
        metric or us.
    """
    from dashboard.roads.figures import histogram_figure, profile_figure

    route = inputs.route
    return html.Div(
        [
            html.Section(
                [
                    html.Div([html.H2(route.title, className="road-title"), actions(setup)], className="bar between"),
                    facts(route, answer, units),
                    html.Figure(
                        [
                            _graph("roads-profile", profile_figure(route, units, answer.descents), 500),
                            html.Figcaption(_about(route), className="quiet fine"),
                        ]
                    ),
                ],
                className="card",
            ),
            *descents(inputs, answer.descents, units),
            html.Div(
                [
                    html.Section(
                        [
                            html.H2("Length by grade"),
                            _graph("roads-histogram", histogram_figure(answer.classes, units), 330),
                            html.P(
                                "A class of 1 % reaches half a percent to either side of its number.",
                                className="quiet fine",
                            ),
                        ],
                        className="card",
                    ),
                    html.Section([html.H2("Steepest and longest"), *stretches(answer, units)], className="card"),
                ],
                className="two-up",
            ),
            *smoothing(track, setup, units),
            limits(route, units),
        ],
        className="stack",
    )


def _graph(name: str, figure: Any, height: int) -> dcc.Graph:
    """A figure of a fixed height."""
    return dcc.Graph(id=name, figure=figure, config=GRAPH, style={"height": f"{height}px"})


def _about(route: Route) -> str:
    """Where a road comes from, with its marks."""
    marks = "; ".join(f"{key}: {mark}" for key, mark in route.marks.items())
    return f"Source: {route.source}." + (f" Marks: {marks}." if marks else "")


def actions(setup: Setup) -> html.Div:
    """What can be done with the road.

    Returns
    -------
    actions : Div
        Links.
    """
    found: list[Any] = [
        html.A("Drive it on the Trip page", href=f"/?{query_of(setup)}", className="button strong", id="roads-drive"),
        html.A("Compare trucks on it", href=f"{ids.STUDY_PATH}?{urlencode({'road': setup.road, 'truck': setup.truck})}",
               className="button", id="roads-study"),
    ]  # fmt: skip
    if not setup.road.startswith("grade:"):
        found += [
            html.A(
                f"Download {kind.upper()}", href=f"{FILE_PATH}?road={setup.road}&kind={kind}", className="button",
                id=f"roads-{kind}", download="",
            )
            for kind in ("csv", "toml")
        ]  # fmt: skip
    return html.Div(found, className="bar")


def facts(route: Route, answer: RoadAnswer, units: str) -> html.Dl:
    """The road in a few numbers.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import told

    heights = route.elevation
    pairs = [
        ("length", told(route.length, "distance", units, 1)),
        ("climb", told(route.climb, "height", units)),
        ("descent", told(route.descent, "height", units)),
        ("end over start", told(route.net_height, "height", units)),
        ("lowest", told(float(heights.min()), "height", units)),
        ("highest", told(float(heights.max()), "height", units)),
        ("steepest, down", _steepest(answer.steepest_down)),
        ("steepest, up", _steepest(answer.steepest_up)),
    ]
    return html.Dl([html.Div([html.Dt(name), html.Dd(text)]) for name, text in pairs], className="facts")


def _steepest(stretches_: Sequence[Any]) -> str:
    """The steepest grade over the shortest length that was looked for."""
    return f"{100.0 * stretches_[0].grade:.1f} %" if stretches_ else "none"


def _table(head: Sequence[str], body: Sequence[Sequence[Any]], label: str) -> html.Div:
    """A table that scrolls by itself where it is too wide."""
    return html.Div(
        html.Table(
            [
                html.Thead(html.Tr([html.Th(text, scope="col") for text in head])),
                html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in body]),
            ]
        ),
        className="wide", tabIndex=0, role="region", **attributes(aria_label=label),
    )  # fmt: skip


def stretches(answer: RoadAnswer, units: str) -> Iterator[Any]:
    """Steepest and longest stretches, with where they start.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import told

    down = {each.length: each for each in answer.steepest_down}
    up = {each.length: each for each in answer.steepest_up}

    def cell(found: Any) -> str:
        return "-" if found is None else f"{100.0 * found.grade:.2f} % from {told(found.begin, 'distance', units, 2)}"

    def over(length: float) -> str:
        return f"{length / MILE:g} mi" if units == "us" else f"{length:g} m"

    lengths = sorted({*down, *up})
    body = [[over(length), cell(down.get(length)), cell(up.get(length))] for length in lengths]
    yield html.H3("Steepest mean grade over a length")
    yield _table(["over", "down", "up"], body, "Steepest stretches") if body else html.P("The road is level.")
    for title, slopes_ in (("Longest descents", answer.falls), ("Longest climbs", answer.climbs)):
        if slopes_:
            yield html.H3(title, className="later")
            yield _table(
                ["from", "length", "height", "mean", "steepest"], [_slope(each, units) for each in slopes_], title
            )
    yield html.P(
        "Between rows of the road itself: a climb or a descent is where neighbouring rows keep at least 1 %.",
        className="quiet fine",
    )


def _slope(slope: "Slope", units: str) -> list[str]:
    """One climb or descent as a row."""
    from dashboard.paper.drawing import told

    return [
        told(slope.begin, "distance", units, 2),
        told(slope.length, "distance", units, 2),
        told(slope.rise, "height", units),
        f"{100.0 * slope.grade:.1f} %",
        f"{100.0 * slope.steepest:.1f} % at {told(slope.steepest_at, 'distance', units, 2)}",
    ]


def descents(inputs: Inputs, found: "Sequence[DescentSpeeds]", units: str) -> list[Any]:
    """Safe speeds down each descent, by load.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import told
    from dashboard.roads.figures import descent_figure

    if not found:
        return [
            html.Section(
                [
                    html.H2("Descents"),
                    html.P(
                        "No part of this road falls enough to ask for a lower gear: 2.5 % over 40 m of height or more."
                    ),
                ],
                className="card",
            )
        ]
    pieces: list[Any] = []
    for number, down in enumerate(found, start=1):
        title = "How fast down, by load" if len(found) == 1 else f"How fast down, by load: descent {number}"
        where = (
            f"From {told(down.begin, 'distance', units, 2)} to {told(down.end, 'distance', units, 2)}:"
            f" {told(down.drop, 'height', units)} down, steepest {100.0 * down.steepest:.1f} % over {told(PITCH, 'length', units)};"
            f" lowest {down.cap_name} on it {told(down.cap, 'speed', units)}."
        )
        outside = down.loads[0].set_a is None
        pieces.append(
            html.Section(
                [
                    html.H2(title),
                    html.P(where),
                    html.Div(
                        [
                            _graph(f"roads-descent-{number}", descent_figure(down, units), 360),
                            _speeds_table(down, units),
                        ],
                        className="two-up",
                    ),
                    html.P(
                        [
                            "Two opinions that are never mixed. ",
                            html.B("Held"),
                            " is the highest speed at which gear and engine brake alone hold the truck on the steepest part,"
                            " boost settled, by the laws of the trip. ",
                            html.B("Published"),
                            " is the Grade Severity Rating System (report WY-1901F, 2018, seen second-hand; set B from memory):"
                            " service brakes below 500 F (260 C) with engine drag only, no engine brake, one speed all the way and"
                            " one emergency stop at the foot. Both are capped by posted limit, curve and governed speed.",
                            " This truck does not have the five axles of the published model, so only the first is shown."
                            if outside
                            else "",
                        ],
                        className="quiet fine",
                    ),
                    html.P(
                        "The slowest of these, the posted limit and the driver's manual rule. Wet or slippery roads, bad brakes and"
                        " traffic ask for less.",
                        className="noted",
                    ),
                ],
                className="card",
            )
        )
    return pieces


def _speeds_table(down: "DescentSpeeds", units: str) -> html.Div:
    """Speeds by load, with what binds."""
    from dashboard.paper.drawing import told

    def published(safe: "SafeSpeed | None") -> Any:
        if safe is None:
            return "-"
        speed = told(safe.speed, "speed", units)
        return html.Span([html.B(speed), html.Br(), html.Span(safe.cap, className="quiet fine")])

    outside = down.loads[0].set_a is None
    body = []
    for load in down.loads:
        held = load.held
        settles = f"; settles at {told(held.settles, 'speed', units)}" if held.settles else ""
        how = f"gear {held.gear}, {f'stage {held.stage}' if held.stage else 'no brake'}{settles}" if held.gear else ""
        own = [html.B(told(held.speed, "speed", units) if held.gear else "nothing holds"), html.Br()]
        own.append(html.Span(held.binds if held.gear else "lowest gear and all stages", className="quiet fine"))
        if how:
            own += [html.Br(), html.Span(how, className="quiet fine")]
        row = [told(load.mass, "weight", units), html.Span(own)]
        body.append(row if outside else [*row, published(load.set_a), published(load.set_b)])
    head = ["gross mass", "held: speed, what binds, how", *([] if outside else ["published, set A", "set B"])]
    return _table(head, body, "Speeds by load")


def limits(route: Route, units: str) -> html.Section:
    """Posted limits and curves.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import told
    from sim.roads.facts import curve_spans, limit_spans

    rows = [(span.begin, span.end, f"posted {told(span.value, 'speed', units)}") for span in limit_spans(route)]
    rows += [
        (
            span.begin,
            span.end,
            f"curve of {told(span.value, 'length', units)}, taken at {told(span.speed, 'speed', units)} (0.14 g, assumed)",
        )
        for span in curve_spans(route)
    ]
    rows += [(stop.distance, stop.distance, f"stop of {stop.value:g} s") for stop in route.stops]
    rows += [(sign.distance, sign.distance, f"sign: {sign.text}") for sign in route.signs]
    rows.sort(key=lambda row: row[0])
    body = [
        [
            told(begin, "distance", units, 2),
            told(end, "distance", units, 2) if end > begin else "",
            text,
        ]
        for begin, end, text in rows[:MOST_SPANS]
    ]
    more = [html.P(f"and {len(rows) - MOST_SPANS} more", className="quiet")] if len(rows) > MOST_SPANS else []
    return html.Section(
        [html.H2("Limits, curves, stops and signs"), _table(["from", "to", "what"], body, "Limits and signs"), *more],
        className="card",
    )


def smoothing(track: ImportedTrack | None, setup: Setup, units: str) -> list[Any]:
    """What smoothing changed of a recording.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import told
    from dashboard.roads.figures import smoothing_figure

    if track is None:
        if setup.road.startswith(UPLOAD):
            told_ = "The server no longer keeps how this road was made. Upload the recording again to see it."
            return [html.Section([html.H2("What smoothing changed"), html.P(told_)], className="card")]
        return []

    def at(stretch: Stretch) -> str:
        return told(stretch.start, "distance", units, 2)

    away, where = track.departure
    dropped = ", ".join(f"{count} {reason}" for reason, count in track.dropped.items()) or "none"
    filled = ", ".join(f"{count} {reason}" for reason, count in track.heights_filled.items()) or "none"
    pairs = [
        (
            "points read",
            f"{track.points_read}" + (f" in {track.pieces} pieces, joined in order" if track.pieces > 1 else ""),
        ),
        ("points dropped", dropped),
        ("heights interpolated", filled),
        (
            "climb",
            f"{told(track.raw_climb, 'height', units)} as recorded, {told(track.climb, 'height', units)} as smoothed",
        ),
        ("smoothed over", told(track.smooth, "length", units)),
        (
            "furthest from the recording",
            f"{told(abs(away), 'height', units, 1)} {'above' if away > 0 else 'below'} at {told(where, 'distance', units, 2)}",
        ),
        (
            "posted limit",
            "none given: 90 km/h (56 mi/h) is assumed"
            if track.limit is None
            else f"{told(track.limit, 'speed', units)}, given, on the whole road",
        ),
    ]
    notes = [
        *[f"A gap of {told(gap.length, 'length', units)} at {at(gap)} is bridged straight." for gap in track.gaps[:MOST_LINES]],
        *[
            f"The recorded height jumps by {told(jump.length, 'height', units, 1)} at {at(jump)}; it is smoothed over, check it."
            for jump in track.jumps[:MOST_LINES]
        ],
        *[
            f"Steeper than 20 % for {told(held.length, 'length', units)} at {at(held)}: held at 20 %."
            for held in track.bound[:MOST_LINES]
        ],
    ]  # fmt: skip
    if track.waypoints_left:
        notes.append(f"{track.waypoints_left} places of the file are over 50 m from the track and no signs.")
    return [
        html.Section(
            [
                html.H2("What smoothing changed"),
                html.Dl(
                    [html.Div([html.Dt(name), html.Dd(text)]) for name, text in pairs], className="facts wide-facts"
                ),
                *([html.Ul([html.Li(text) for text in notes], className="told")] if notes else []),
                _graph("roads-smoothing", smoothing_figure(track, units), 480),
                html.P(
                    "A recording whose height drifts over kilometres shows hills that are not there. Nothing here can find them.",
                    className="quiet fine",
                ),
            ],
            className="card",
        )
    ]
