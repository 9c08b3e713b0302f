"""The Trip page: one truck on one road. Everything under the cursor is worked out in the browser from columns it already has."""

import json
from typing import Any

import dash
import pydantic
from dash import html
from dash.development.base_component import Component

from dashboard.panel import controls
from dashboard.panel.attributes import attributes, part
from dashboard.paper import palette
from dashboard.server import doors, guard
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, read_setup, setup_from_query
from dashboard.trip.work import drive_for_page, file_of, foretold
from sim.inputs.one_trip import key_of

TITLE = "Trip"
PATH = "/"

GROUPS = {
    "On the descent": (
        "driver.descent_gear", "driver.descent_km_h", "retarding.switch", "retarding.selector", "retarding.waits_for_brake",
        "driver.speed_limit_share",
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

FILES = {
    "report.html": ("text/html; charset=utf-8", "report"),
    "trace.csv": ("text/csv; charset=utf-8", "trace"),
    "events.csv": ("text/csv; charset=utf-8", "events"),
    "summary.json": ("application/json", "summary"),
}
RATES = (1, 2, 5, 10, 20, 50)


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
    return html.Div(
        [
            html.Div(panel, className="trip-panel"),
            html.Div(
                [html.H1("Trip", className="unseen"), _verdict(), _cluster(), _work(), _numbers()],
                className="trip-main",
            ),
        ],
        className="sheet trip",
        **attributes(data_trip=json.dumps({"stages": stages, "grey": palette.GREY})),
    )


def _verdict() -> Component:
    """What is said first: how it went, what was foreseen, and what can be done with the run."""
    return html.Section(
        [
            part("state", html.P, className="state", role="status"),
            part("error", html.P, className="told", role="alert", hidden=True),
            part("verdict", html.Div, html.H2("The first trip is being driven ..."), className="verdict", aria_live="polite"),
            part("lamps", html.Ul, className="lamps", aria_label="Verdicts"),
            part("foreseen", className="foreseen"),
            html.Div(
                [
                    part("keep", html.Button, "Keep this run", type="button", disabled=True),
                    part("release", html.Button, "Drop the kept run", type="button", hidden=True),
                    part("link", html.Button, "Copy the link", type="button"),
                    part("predict_button", html.Button, "Predict first", type="button", aria_expanded="false"),
                    part("drive_button", html.Button, "Drive", type="button", className="strong", hidden=True),
                    part("link_text", html.Span, className="quiet", role="status"),
                    html.Span(
                        [
                            html.Span("Download: ", className="quiet"),
                            *(
                                part("file", html.A, words, href=f"/trip/{name}", className="file", download=name,
                                      data_file=name)
                                for name, (_, words) in FILES.items()
                            ),
                        ],
                        className="files",
                    ),
                ],
                className="bar actions",
            ),
            part("predict", className="predict", hidden=True),
        ],
        className="card opening",
        **attributes(aria_label="Verdict"),
    )  # fmt: skip


def _cluster() -> Component:
    """Large readings at the cursor, and what moves it."""
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
    lamp = [part("lamp", html.Span, "off", className="value"), part("lamp_more", html.Span, "", className="more")]
    readings.append(
        part(
            "lamp_box",
            html.Div,
            [html.Span("lamp", className="label"), *lamp],
            className="reading lamp-reading",
            hidden=True,
        )
    )
    drive = html.Div(
        [
            part("play", html.Button, "Play", type="button", className="play", aria_label="Play the trip"),
            html.Label(["at ", part("rate", className="rate-place")], className="rate"),
            part("scrub_place", className="scrub-place"),
            part("class_view", html.Button, "Class view", type="button", className="large", aria_pressed="false",
                  title="Large readings, for a class"),
        ],
        className="drive-bar",
    )  # fmt: skip
    return html.Section(
        [html.Div(readings, className="readings"), drive],
        className="cluster",
        **attributes(aria_label="Readings at the cursor", data_rates=json.dumps(RATES)),
    )


def _work() -> Component:
    """The strips, and beside them what holds and pushes at the cursor."""
    side = [
        html.Section(
            [
                html.H2("Who pushes, who holds back"),
                part("balance_words", html.P, className="balance-words"),
                part("balance", html.Div, className="balance"),
            ],
            className="card",
        ),
        html.Section(
            [
                html.H2("Engine brake"),
                part("cylinders", html.Div, className="cylinders"),
                part("stage_words", html.P, className="stage-words"),
                part("conditions", html.Ul, className="conditions", aria_label="Switches and interlocks"),
            ],
            className="card",
        ),
        html.Section(
            [
                html.H2("Which gear and stage hold it"),
                part("chart", html.Div, className="chart", role="img",
                      aria_label="Retarding force by gear and stage against road speed, with lines for grades"),
                part("chart_words", html.P, className="quiet small"),
            ],
            className="card",
        ),
    ]  # fmt: skip
    side.append(
        html.Section(
            [html.H2("Circuits and codes"), part("codes", className="codes"), part("circuits")],
            className="card",
        )
    )
    strips = html.Section(
        [
            html.Div(
                [
                    html.H2("Along the road"),
                    part("zoom_words", html.Span, "drag sideways to look closer", className="quiet small"),
                    part("zoom_in", html.Button, "Closer", type="button"),
                    part("zoom_out", html.Button, "Whole road", type="button"),
                ],
                className="bar strips-head",
            ),
            part("strips", html.Div, className="strips"),
        ],
        className="card strips-card",
        **attributes(aria_label="The trip along the road"),
    )
    beside = html.Div(side, className="side", tabIndex=0, role="region", **attributes(aria_label="At the cursor"))
    return html.Div([strips, beside], className="work")


def _numbers() -> Component:
    """The trip in numbers, beside a kept one and a prediction, and everything that happened."""
    return html.Div(
        [
            html.Section(
                [html.H2("The trip in numbers"), part("numbers", html.Div, className="wide")], className="card"
            ),
            html.Section(
                [html.H2("What happened, and why"), part("events", html.Div, className="events")], className="card"
            ),
        ],
        className="pair",
    )


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
        return guard.file(workshop.ask(key_for(name, inputs), file_of, inputs, name), FILES[name][0], name)

    doors.post(app, "/trip/drive", Drive, drive)
    doors.post(app, "/trip/foretell", Foretell, foretell)
    doors.get(app, "/trip/{name}", whole_file)
