"""The Trip page: one truck on one road. Everything under the cursor is worked out in the browser from columns it already has."""

import json
from typing import Any

import dash
import pydantic
from dash import html
from dash.development.base_component import Component

from dashboard.panel import controls
from dashboard.panel.attributes import part
from dashboard.panel.pieces import RATES, actions, at_the_cursor, card, cluster, opening, playing
from dashboard.paper import palette
from dashboard.server import doors, guard
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, Setup, query_of, read_setup, setup_from_query
from dashboard.trip.work import drive_for_page, file_of, foretold
from sim.inputs.files import load_settings_file
from sim.inputs.one_trip import key_of

TITLE = "Trip"
PATH = "/"

GROUPS = {
    "On the descent": (
        "driver.descent_gear", "driver.descent_km_h", "retarding.switch", "retarding.selector", "retarding.waits_for_brake",
        "driver.speed_limit_share", "driver.desired_speed_km_h",
    ),
    "Load and air": (
        "vehicle.mass_kg", "driveline.axle_ratio", "weather.temperature_c", "weather.wind_m_s", "weather.grip",
    ),
    "Cruise control": (
        "cruise.set_speed_km_h", "cruise.with_engine_brake", "cruise.stage_1_over_km_h", "cruise.stage_2_over_km_h",
        "cruise.stage_3_over_km_h", "cruise.stage_drop_km_h", "cruise.none_above_km_h", "road_speed.limit_km_h",
    ),
    "At the start": (
        "start.speed_km_h", "start.gear", "start.brake_temperature_c", "start.oil_temperature_c",
        "start.coolant_temperature_c",
    ),
    "Drills: one thing at a time": (
        "drill.hold_gear", "drill.hold_stage", "drill.service_brakes", "drill.style", "drill.careless", "drill.neutral",
        "drill.dead_pairs", "drill.missed_shift",
    ),
}  # fmt: skip

FIRST_TRIPS = {"mountain-in-seventh": "Down the mountain in 7th", "cruise-at-sixty": "Cruise at sixty"}

FILES = {"report.html": "report", "trace.csv": "trace", "events.csv": "events", "summary.json": "summary"}


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    stages = [
        list(each) for each in zip(palette.STAGE_COLOURS, palette.STAGE_WIDTHS, palette.STAGE_DASHES, strict=True)
    ]
    panel = controls.panel("trip", GROUPS, query["?"], opened=("On the descent",))
    lamps = part("lamps", html.Ul, className="lamps", aria_label="Verdicts")
    drive = part("drive_button", html.Button, "Drive", type="button", className="strong", hidden=True)
    doing = actions("/trip", FILES, drive)
    first = opening(
        "The first trip is being driven ...",
        "Verdict",
        first=[html.P(["Trips to begin with: ", *_first_trips()], className="quiet small")],
        then=[lamps, part("foreseen", className="foreseen"), *doing],
    )
    readings = html.Div(_readings(), className="readings")
    main = [
        first,
        cluster([readings], ("Play", "Play the trip"), data_rates=json.dumps(RATES)),
        at_the_cursor(_strips(), _beside()),
        html.Div(
            [
                card("The trip in numbers", part("numbers", html.Div, className="wide")),
                card("What happened, and why", part("events", html.Div, className="events")),
            ],
            className="pair",
        ),
    ]
    return playing(TITLE, panel, main, data_trip=json.dumps({"stages": stages, "grey": palette.GREY}))


def _first_trips() -> list[Component]:
    """Links to shipped settings, each on its road."""
    links: list[Component] = []
    for name, words in FIRST_TRIPS.items():
        file = load_settings_file(name)
        query = query_of(Setup(file.truck, file.road, name))
        links += [html.A(words, href=f"{PATH}?{query}"), html.Span(", ")]
    return links[:-1]


def _readings() -> list[Component]:
    """Large readings at the cursor."""
    readings: list[Component] = [
        html.Div(
            [
                html.Span(label, className="label"),
                part(name, html.Span, "-", className="value"),
                part(f"{name}_unit", html.Span, unit, className="unit"),
                part(f"{name}_more", html.Span, "", className="more"),
            ],
            className=f"reading {name}",
        )
        for name, label, unit in (
            ("speed", "speed", "km/h"),
            ("engine", "engine", "rpm"),
            ("gear", "gear", ""),
            ("stage", "engine brake", ""),
            ("brakes", "brakes, mean", "°C"),
            ("grade", "grade", "%"),
            ("place", "place", "km"),
        )
    ]
    lamp = [
        html.Span("lamp", className="label"),
        part("lamp", html.Span, "off", className="value"),
        part("lamp_more", html.Span, "", className="more"),
    ]
    return [*readings, part("lamp_box", html.Div, lamp, className="reading lamp-reading", hidden=True)]


def _strips() -> Component:
    """The trip along the road."""
    head = [
        html.H2("Along the road"),
        part("zoom_words", html.Span, "drag sideways to look closer", className="quiet small"),
        part("zoom_in", html.Button, "Closer", type="button"),
        part("zoom_out", html.Button, "Whole road", type="button"),
    ]
    strips = part("strips", html.Div, className="strips")
    return card(
        html.Div(head, className="bar strips-head"), strips, kind="strips-card", label="The trip along the road"
    )


def _beside() -> list[Component]:
    """What holds and pushes at the cursor."""
    chart = "Retarding force by gear and stage against road speed, with lines for grades"
    return [
        card(
            "Who pushes, who holds back",
            part("balance_words", html.P, className="balance-words"),
            part("balance", html.Div, className="balance"),
        ),
        card(
            "Engine brake",
            part("cylinders", html.Div, className="cylinders"),
            part("stage_words", html.P, className="stage-words"),
            part("conditions", html.Ul, className="conditions", aria_label="Switches and interlocks"),
        ),
        card(
            "Which gear and stage hold it",
            part("chart", html.Div, className="chart", role="img", aria_label=chart),
            part("chart_words", html.P, className="quiet small"),
        ),
        card("Circuits and codes", part("codes", className="codes"), part("circuits")),
    ]


class Foretell(doors.Question):
    """A setup."""

    setup: GivenSetup


class Drive(Foretell):
    """A setup, and the key of the trip the browser has already."""

    have: str | None = pydantic.Field(None, max_length=doors.LONGEST_KEY)


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    def drive(asked: Drive, _: doors.Visitor) -> doors.Answer:
        """A trip, driven; packed columns, or `same` for a browser that has it already."""
        inputs = read_setup(asked.setup, workshop)
        key = key_of(inputs)
        if asked.have == key:
            return {"same": True}
        return guard.columns(workshop.ask(key_for("trip page", inputs), drive_for_page, inputs, key))

    def foretell(asked: Foretell, _: doors.Visitor) -> doors.Answer:
        """What will happen, before the trip is driven."""
        inputs = read_setup(asked.setup, workshop)
        return {"foreseen": workshop.ask(key_for("foretold", inputs), foretold, inputs)}

    def whole_file(visitor: doors.Visitor) -> doors.Answer:
        """A whole file of the trip in the address."""
        name = visitor.names["name"]
        if name not in FILES:
            return guard.refusal(404, f"files of a trip are {', '.join(FILES)}")
        inputs = read_setup(setup_from_query(visitor.search), workshop)
        return guard.file(workshop.ask(key_for(name, inputs), file_of, inputs, name), name)

    doors.post(app, "/trip/drive", Drive, drive)
    doors.post(app, "/trip/foretell", Foretell, foretell)
    doors.get(app, "/trip/{name}", whole_file)
