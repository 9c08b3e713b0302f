"""The Roads page: what a road is like, how fast it may be driven down, and roads from recorded tracks."""

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import dash
from dash import Input, Output, html

from dashboard.panel import controls, ids
from dashboard.panel.attributes import attributes
from dashboard.panel.pieces import answering, card, drawn, facts, graph, refused, table, waiting_place
from dashboard.roads.work import RoadAnswer, read_upload, work_out
from dashboard.server import doors, guard
from dashboard.server.runs import UPLOAD, Workshop, key_for
from dashboard.server.setups import Setup, chosen_units, query_of, read_road, read_setup, setup_of, with_usual
from sim.errors import HaulbenchError, RouteError
from sim.inputs.one_trip import Inputs
from sim.laws.grade_severity import LIMIT_TEMPERATURE_F
from sim.messages import browser as say
from sim.roads.falls import FALLING, LEAST_DROP, PITCH
from sim.roads.route import Route, catalogue_folder
from sim.roads.track import DEFAULT_EVERY, DEFAULT_SMOOTH, SIGN_REACH, ImportedTrack, Stretch
from sim.roads.track_words import NO_LIMIT, bends_told, climb_told, unseen_told
from sim.units import KILOMETRE_PER_HOUR, MILE, number_in, shown_unit, shown_value, to_si
from sim.wording import finding, said

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
    asked = {"path": UPLOAD_PATH, "most": MOST_UPLOAD, "every": DEFAULT_EVERY, "smooth": DEFAULT_SMOOTH}  # fmt: skip
    upload = card(
        "A road from a recording",
        html.P(
            "A GPX track, or a CSV table with distance_m and elevation_m, becomes a road. It stays in this"
            " server's memory and nowhere else.",
            className="quiet fine",
        ),
        html.Div(id="roads-upload", **attributes(data_upload=json.dumps(asked))),
        label="A road from a recording",
    )
    return answering(TITLE, [panel, upload], waiting_place(STATE, RESULTS))


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
        name, text = file_of(workshop, given.get("road", ""), given.get("kind", ""))
        return guard.file(text, name)

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


def file_of(workshop: Workshop, road: str, kind: str) -> tuple[str, str]:
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

    Raises
    ------
    RouteError
        There is no such road or file.
    """
    if kind not in ("csv", "toml"):
        raise RouteError(say.no_such_file(kind=kind))
    if road.startswith("grade:"):
        raise RouteError(say.no_files_of_grade(road=road))
    route = read_road(road, workshop)
    track = kept_track(workshop, road)
    if track is not None:
        return f"{route.name}.{kind}", track.csv() if kind == "csv" else track.toml()
    if road.startswith(UPLOAD):
        raise RouteError(say.files_given_up(road=road))
    return f"{road}.{kind}", (catalogue_folder() / f"{road}.{kind}").read_text(encoding="utf-8")


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
    classes = "A class of 1 % reaches half a percent to either side of its number."
    return html.Div(
        [
            card(
                html.Div([html.H2(route.title, className="road-title"), actions(setup)], className="bar between"),
                road_facts(route, answer, units),
                drawn(graph("roads-profile", profile_figure(route, units, answer.descents), 500), _about(route)),
            ),
            *descents(inputs, answer.descents, units),
            html.Div(
                [
                    card(
                        "Length by grade",
                        graph("roads-histogram", histogram_figure(answer.classes, units), 330),
                        html.P(classes, className="quiet fine"),
                    ),
                    card("Steepest and longest", *stretches(answer, units)),
                ],
                className="two-up",
            ),
            *smoothing(track, setup, units),
            limits(route, units),
        ],
        className="stack",
    )


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


def road_facts(route: Route, answer: RoadAnswer, units: str) -> html.Dl:
    """The road in a few numbers.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit

    heights = route.elevation
    pairs = [
        ("length", with_unit(route.length, "distance", units, 1)),
        ("climb", with_unit(route.climb, "height", units)),
        ("descent", with_unit(route.descent, "height", units)),
        ("end over start", with_unit(route.net_height, "height", units)),
        ("lowest", with_unit(float(heights.min()), "height", units)),
        ("highest", with_unit(float(heights.max()), "height", units)),
        ("steepest, down", _steepest(answer.steepest_down)),
        ("steepest, up", _steepest(answer.steepest_up)),
    ]
    return facts(pairs)


def _steepest(stretches_: Sequence[Any]) -> str:
    """The steepest grade over the shortest length that was looked for."""
    return f"{100.0 * stretches_[0].grade:.1f} %" if stretches_ else "none"


def stretches(answer: RoadAnswer, units: str) -> Iterator[Any]:
    """Steepest and longest stretches, with where they start.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit

    down = {each.length: each for each in answer.steepest_down}
    up = {each.length: each for each in answer.steepest_up}

    def cell(found: Any) -> str:
        return (
            "-" if found is None else f"{100.0 * found.grade:.2f} % from {with_unit(found.begin, 'distance', units, 2)}"
        )

    def over(length: float) -> str:
        return f"{length / MILE:g} mi" if units == "us" else f"{length:g} m"

    lengths = sorted({*down, *up})
    body = [[over(length), cell(down.get(length)), cell(up.get(length))] for length in lengths]
    yield html.H3("Steepest mean grade over a length")
    yield table(["over", "down", "up"], body, "Steepest stretches") if body else html.P("The road is level.")
    for title, slopes_ in (("Longest descents", answer.falls), ("Longest climbs", answer.climbs)):
        if slopes_:
            yield html.H3(title, className="later")
            yield table(
                ["from", "length", "height", "mean", "steepest"], [_slope(each, units) for each in slopes_], title
            )
    yield html.P(
        "Between rows of the road itself: a climb or a descent is where neighbouring rows keep at least 1 %.",
        className="quiet fine",
    )


def _slope(slope: "Slope", units: str) -> list[str]:
    """One climb or descent as a row."""
    from dashboard.paper.drawing import with_unit

    return [
        with_unit(slope.begin, "distance", units, 2),
        with_unit(slope.length, "distance", units, 2),
        with_unit(slope.rise, "height", units),
        f"{100.0 * slope.grade:.1f} %",
        f"{100.0 * slope.steepest:.1f} % at {with_unit(slope.steepest_at, 'distance', units, 2)}",
    ]


def descents(inputs: Inputs, found: "Sequence[DescentSpeeds]", units: str) -> list[Any]:
    """Safe speeds down each descent, by load.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit
    from dashboard.roads.figures import descent_figure

    if not found:
        least = with_unit(LEAST_DROP, "height", units)
        level = f"No part of this road falls enough to ask for a lower gear: {-100.0 * FALLING:g} % over {least} of height or more."
        return [card("Descents", html.P(level))]
    pieces: list[Any] = []
    for number, down in enumerate(found, start=1):
        title = "How fast down, by load" if len(found) == 1 else f"How fast down, by load: descent {number}"
        where = (
            f"From {with_unit(down.begin, 'distance', units, 2)} to {with_unit(down.end, 'distance', units, 2)}:"
            f" {with_unit(down.drop, 'height', units)} down, steepest {100.0 * down.steepest:.1f} %"
            f" over {with_unit(PITCH, 'short length', units)};"
            f" lowest {down.cap_name} on it {with_unit(down.cap, 'speed', units)}."
        )
        outside = down.loads[0].set_a is None
        hottest = with_unit(to_si(LIMIT_TEMPERATURE_F, "f"), "temperature", units)
        opinions = [
            "Two opinions that are never mixed. ",
            html.B("Held"),
            " is the highest speed at which gear and engine brake alone hold the truck on the steepest part,"
            " boost settled, by the laws of the trip. ",
            html.B("Published"),
            " is the Grade Severity Rating System (report WY-1901F, 2018, seen second-hand; set B from memory):"
            f" service brakes below {hottest} with engine drag only, no engine brake, one speed all the way and"
            " one emergency stop at the foot. Both are capped by posted limit, curve and governed speed.",
            " This truck does not have the five axles of the published model, so only the first is shown."
            if outside
            else "",
        ]
        rule = (
            "The slowest of these, the posted limit and the driver's manual rule. Wet or slippery roads, bad brakes and"
            " traffic ask for less."
        )
        chart = graph(f"roads-descent-{number}", descent_figure(down, units), 360)
        pieces.append(
            card(
                title,
                html.P(where),
                html.Div([chart, _speeds_table(down, units)], className="two-up"),
                html.P(opinions, className="quiet fine"),
                html.P(rule, className="noted"),
            )
        )
    return pieces


def _speeds_table(down: "DescentSpeeds", units: str) -> html.Div:
    """Speeds by load, with what binds."""
    from dashboard.paper.drawing import with_unit

    def published(safe: "SafeSpeed | None") -> Any:
        if safe is None:
            return "-"
        speed = with_unit(safe.speed, "speed", units)
        return html.Span([html.B(speed), html.Br(), html.Span(safe.cap, className="quiet fine")])

    outside = down.loads[0].set_a is None
    body = []
    for load in down.loads:
        held = load.held
        settles = f"; settles at {with_unit(held.settles, 'speed', units)}" if held.settles else ""
        how = f"gear {held.gear}, {f'stage {held.stage}' if held.stage else 'no brake'}{settles}" if held.gear else ""
        own = [html.B(with_unit(held.speed, "speed", units) if held.gear else "nothing holds"), html.Br()]
        own.append(html.Span(held.binds if held.gear else "lowest gear and all stages", className="quiet fine"))
        if how:
            own += [html.Br(), html.Span(how, className="quiet fine")]
        row = [f"{shown_value(load.mass, 'mass', units):,.0f} {shown_unit('mass', units)}", html.Span(own)]
        body.append(row if outside else [*row, published(load.set_a), published(load.set_b)])
    head = ["gross mass", "held: speed, what binds, how", *([] if outside else ["published, set A", "set B"])]
    return table(head, body, "Speeds by load")


def limits(route: Route, units: str) -> html.Section:
    """Posted limits and curves.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit
    from sim.roads.facts import curve_spans, limit_spans

    rows = [(span.begin, span.end, f"posted {with_unit(span.value, 'speed', units)}") for span in limit_spans(route)]
    rows += [
        (
            span.begin,
            span.end,
            f"curve of {with_unit(span.value, 'short length', units)}, taken at {with_unit(span.speed, 'speed', units)}"
            " (0.14 g, assumed)",
        )
        for span in curve_spans(route)
    ]
    rows += [(stop.distance, stop.distance, f"stop of {stop.value:g} s") for stop in route.stops]
    rows += [
        (sign.distance, sign.distance, f"sign: {said(finding('cause.sign', text=sign.text), units)}")
        for sign in route.signs
    ]
    rows.sort(key=lambda row: row[0])
    body = [
        [
            with_unit(begin, "distance", units, 2),
            with_unit(end, "distance", units, 2) if end > begin else "",
            text,
        ]
        for begin, end, text in rows[:MOST_SPANS]
    ]
    more = [html.P(f"and {len(rows) - MOST_SPANS} more", className="quiet")] if len(rows) > MOST_SPANS else []
    spans = table(["from", "to", "what"], body, "Limits and signs")
    painted = html.P("Signs say what is painted on them, in the units of their road.", className="quiet fine")
    return card("Limits, curves, stops and signs", spans, *more, painted)


def smoothing(track: ImportedTrack | None, setup: Setup, units: str) -> list[Any]:
    """What smoothing changed of a recording.

    Parameters
    ----------
    units : str
        metric or us.
    """
    from dashboard.paper.drawing import with_unit
    from dashboard.roads.figures import smoothing_figure

    if track is None:
        if setup.road.startswith(UPLOAD):
            gone = "The server no longer keeps how this road was made. Upload the recording again to see it."
            return [card("What smoothing changed", html.P(gone))]
        return []

    told = partial(with_unit, units=units)

    def at(stretch: Stretch) -> str:
        return with_unit(stretch.start, "distance", units, 2)

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
        ("climb", climb_told(track, told)),
        ("bends", bends_told(track, told)),
        ("bends not to be seen", unseen_told(track, told)),
        ("smoothed over", with_unit(track.smooth, "short length", units)),
        (
            "furthest from the recording",
            f"{with_unit(abs(away), 'height', units, 1)} {'above' if away > 0 else 'below'}"
            f" at {with_unit(where, 'distance', units, 2)}",
        ),
        (
            "posted limit",
            NO_LIMIT if track.limit is None else f"{with_unit(track.limit, 'speed', units)}, given, on the whole road",
        ),
    ]
    notes = [
        *[
            f"A gap of {with_unit(gap.length, 'short length', units)} at {at(gap)} is bridged straight."
            for gap in track.gaps[:MOST_LINES]
        ],
        *[
            f"The recorded height jumps by {with_unit(jump.length, 'height', units, 1)} at {at(jump)};"
            " it is smoothed over, check it."
            for jump in track.jumps[:MOST_LINES]
        ],
        *[
            f"Steeper than 20 % for {with_unit(held.length, 'short length', units)} at {at(held)}: held at 20 %."
            for held in track.bound[:MOST_LINES]
        ],
    ]  # fmt: skip
    if track.waypoints_left:
        reach = with_unit(SIGN_REACH, "height", units)
        notes.append(f"{track.waypoints_left} places of the file are over {reach} from the track and no signs.")
    drift = (
        "A recording whose height drifts over kilometres shows hills that are not there. Nothing here can find them."
    )
    return [
        card(
            "What smoothing changed",
            facts(pairs, "facts wide-facts"),
            *([html.Ul([html.Li(text) for text in notes], className="told")] if notes else []),
            graph("roads-smoothing", smoothing_figure(track, units), 480),
            html.P(drift, className="quiet fine"),
        )
    ]
