"""The Knobs page: turn what the controller senses, throw its switches, and see pairs, lamps, codes and pins."""

import json
from typing import Any

import dash
from dash import html

from dashboard.knobs.work import film
from dashboard.panel import controls
from dashboard.panel.attributes import attributes, part
from dashboard.panel.pieces import card, playing, state_and_error
from dashboard.server import doors
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, read_setup, with_usual
from sim.inputs import usual
from sim.inputs.specs import PAIRS
from sim.knobs.board import KNOBS, actions_of, pins

TITLE = "Knobs"
PATH = "/knobs"

USUAL = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults"}
GROUPS = {
    "Cruise and the engine brake": (
        "cruise.with_engine_brake", "cruise.stage_1_over_km_h", "cruise.stage_2_over_km_h", "cruise.stage_3_over_km_h",
        "cruise.stage_drop_km_h", "cruise.stage_up_s", "cruise.stage_down_s",
    ),
    "Engine brake": (
        "retarding.switch", "retarding.selector", "retarding.on_rpm", "retarding.off_rpm", "retarding.least_oil_c",
        "retarding.waits_for_brake",
    ),
    "Cruise control": (
        "cruise.switch", "cruise.least_speed_km_h", "cruise.least_rpm", "cruise.most_km_h", "cruise.tap_km_h",
        "cruise.clutch_s",
    ),
    "Limits and fan": ("road_speed.limit_km_h", "cooling.fan_on_c", "cooling.fan_off_c", "fan.with_engine_brake"),
    "Broken on purpose": ("faults.occur", "faults.shutdown"),
}  # fmt: skip
READINGS = ("engine_speed", "road_speed", "fuel", "torque", "cruise", "fan", "derate", "lamp")


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address; the script reads what has been done from it.
    """
    opened = ("Cruise and the engine brake",)
    panel = controls.panel(
        "knobs", GROUPS, with_usual(query["?"], USUAL), start_with=("truck", "settings"), opened=opened
    )
    asked = {"knobs": [knob._asdict() for knob in KNOBS.values()], "pins": pins(), "road": usual.ROAD}
    lamps = html.Ul(
        [part(f"pair_{pair}", html.Li, className="pair-lamp") for pair in PAIRS],
        className="pair-lamps",
        **attributes(aria_label="Pairs of cylinders that brake"),
    )
    cluster = html.Section(
        [
            lamps,
            part("stage", html.P, className="stage-line", aria_live="polite"),
            html.Div([part(f"reading_{name}", className="reading") for name in READINGS], className="readings"),
        ],
        className="cluster",
        **attributes(aria_label="What the controller does"),
    )
    bar = [
        part("again", html.Button, "Begin again", type="button"),
        part("link", html.Button, "Copy the link", type="button"),
        part("road", html.A, "Put it on a road", href="/", className="button"),
        part("clock", html.Span, className="quiet"),
        part("link_text", html.Span, className="quiet", role="status"),
    ]
    hands = card(
        *state_and_error(),
        html.Div(
            [
                part("dials", className="dials", role="group", aria_label="Dials"),
                part("switches", className="switches", role="group", aria_label="Switches and buttons"),
            ],
            className="hands",
        ),
        html.Div(bar, className="bar actions"),
        label="Knobs",
    )
    below = html.Div(
        [
            card("Codes", part("codes", aria_live="polite")),
            card("What happened", part("events", className="events")),
            card(
                "Pins of the controller",
                part("pins", className="wide", tabIndex=0, role="region", aria_label="Pins of the controller"),
                kind="pins-card",
            ),
            card(
                "What is left out here",
                html.P(
                    "Nothing moves but what your hand turns. So these tests of the controller are off. They need a truck that"
                    " speeds up and slows down.",
                    className="quiet",
                ),
                part("left_out", html.Ul, className="small"),
            ),
        ],
        className="knobs-below",
    )
    return playing(TITLE, panel, [cluster, hands, below], "knobs", data_knobs=json.dumps(asked))


class Turned(doors.Question):
    """A setup, and what hands have done since the key was turned."""

    setup: GivenSetup
    actions: list[Any]


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    def turned(asked: Turned, _: doors.Visitor) -> doors.Answer:
        """What is seen now and for a while."""
        inputs, actions = read_setup(asked.setup, workshop), actions_of(asked.actions)
        found: dict[str, Any] = workshop.ask(key_for("knobs", inputs, actions), film, inputs, actions)
        return found

    doors.post(app, f"{PATH}/turn", Turned, turned)
