"""The Dyno page: the engine of the trip on an absorber, its curves drawn as the run goes, broken and dialled by hand."""

import json
from typing import Any

import dash
import pydantic
from dash import html
from dash.development.base_component import Component

from dashboard.dyno.work import FILES, file_of, run_for_page
from dashboard.panel import controls
from dashboard.panel.attributes import part
from dashboard.panel.pieces import RATES, actions, at_the_cursor, card, cluster, opening, playing
from dashboard.server import doors, guard
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, read_setup, setup_from_query, with_usual
from sim.dyno.faults import FAULTS
from sim.dyno.lab import RUBRIC
from sim.dyno.result import CAUTIONS
from sim.errors import SettingsError
from sim.inputs.one_trip import Inputs
from sim.messages import dyno as say_dyno

TITLE = "Dyno"
PATH = "/dyno"

USUAL = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults"}
TESTS = {
    "full-load": ("Full load", "full pedal, from above governed speed down past the highest torque"),
    "governor": ("Governor", "load off, load on, idle, and two kinds of governor on a rising road"),
    "motoring": ("Motoring", "torque to turn the engine without fuel"),
    "retarding": ("Engine brake", "stage by stage, settled and as it builds"),
    "cylinders": ("Cut-out", "one cylinder after the other without fuel"),
}
GROUPS = {
    "The run": ("dyno.form", "dyno.gear", "dyno.rate_rpm_per_s", "dyno.both_ways", "dyno.step_rpm", "dyno.step_s",
                "dyno.lowest_rpm", "dyno.band_percent"),
    "Air, and the power correction": ("dyno.correction", "weather.pressure_kpa", "weather.temperature_c"),
    "Governor and engine brake": ("engine.governor", "dyno.pedal_percent", "dyno.load_step_percent", "dyno.accessory_step_kw",
                                  "retarding.selector"),
    "Wear and faults of the engine": (
        "condition.intake_restriction_kpa", "condition.charge_leak_cm2", "condition.cooler_fouling_percent",
        "condition.turbocharger_wear_percent", "condition.waste_gate", "condition.fuel_restriction_kpa",
        "condition.air_in_fuel_percent", "condition.fuel_delivery_percent", "condition.ring_leak_percent",
        "condition.governor_early_rpm", "condition.governor_lag_s", "condition.exhaust_restriction_kpa",
        "condition.dead_cylinders",
    ),
    "Before the run, scatter, and what breaks it off": (
        "dyno.stabilised", "start.coolant_temperature_c", "start.oil_temperature_c", "dyno.seed", "dyno.scatter_percent",
        "dyno.cylinder_scatter_percent", "dyno.abort_coolant_c", "dyno.abort_exhaust_c", "dyno.abort_oil_kpa",
        "dyno.abort_over_rpm",
    ),
    "Circuits: failures, values by hand, meters": ("faults.occur", "faults.watch", "circuits.dialled", "circuits.meters"),
}  # fmt: skip
MOST_PREDICTIONS = 12


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    search = with_usual(query["?"], USUAL)
    panel = controls.panel("dyno", GROUPS, search, start_with=("truck",), opened=("The run",))
    asked = {
        "test": query.get("test", "full-load") if query.get("test") in TESTS else "full-load",
        "tests": [[name, *words] for name, words in TESTS.items()],
        "faults": [
            {"title": fault.title, "changes": [each.split("=", 1) for each in fault.changes], "sign": fault.sign}
            for fault in FAULTS.values()
        ],
        "rates": list(RATES),
        "rubric": list(RUBRIC),
    }  # fmt: skip
    main = [_opening(), _cluster(), _work(), _judged(), _below()]
    return playing(TITLE, panel, main, "dyno", data_dyno=json.dumps(asked))


def _opening() -> Component:
    """Which test, what is broken, and what came of it."""
    files = {name: "report, lab sheet" if name == "report.html" else name.partition(".")[0] for name in FILES}
    broken = [html.Span("Break it: ", className="quiet"), part("faults", html.Span, className="bar")]
    return opening(
        "The first run is being made ...",
        "Test and verdict",
        first=[part("tests", role="group", className="bar tests", aria_label="Test")],
        then=[html.Div(broken, className="bar breaking"), *actions(PATH, files)],
    )


def _cluster() -> Component:
    """Large readings at the cursor, and what moves it."""
    return cluster(
        [part("readings", className="readings dyno-readings"), part("chapter", html.P, className="chapter")],
        ("Run", "Show the run as it goes"),
        before=[part("run_button", html.Button, "Run the test", type="button", className="play", hidden=True)],
        after=[part("whole", html.Button, "To the end", type="button")],
    )


def _work() -> Component:
    """The curves, and beside them gauges, meter and hand."""
    curves = card("Curves", part("curves", className="curves"), kind="strips-card", label="Curves of the run")
    gauges = card("Gauges", part("gauges", html.Dl, className="gauges"))
    return at_the_cursor(
        curves, [gauges, card("Circuits, by hand", part("circuits"), part("codes", className="codes"))]
    )


def _judged() -> Component:
    """The gauges, each beside what is specified."""
    judged = part("judged", className="wide", tabIndex=0, role="region", aria_label="Gauges beside what is specified")
    return card("Gauges beside what is specified", judged)


def _below() -> Component:
    """The run in numbers, and every point that was read."""
    points = part("points", className="wide", tabIndex=0, role="region", aria_label="Points that were read")
    practice = html.Ul([html.Li(text) for text in CAUTIONS], className="small")
    return html.Div(
        [
            card("The run in numbers", part("numbers", className="wide")),
            card("Points that were read", points, html.H2("On a real stand"), practice),
        ],
        className="pair",
    )


class Run(doors.Question):
    """A setup, the name of a test, and the key of the run the browser has already."""

    setup: GivenSetup
    test: str = pydantic.Field("full-load", max_length=doors.LONGEST_KEY)
    have: str | None = pydantic.Field(None, max_length=doors.LONGEST_KEY)


def known_test(test: str) -> str:
    """The name of a test that there is.

    Raises
    ------
    SettingsError
        There is no such test.
    """
    if test not in TESTS:
        raise SettingsError(say_dyno.no_such_test(test=test[:80], known=list(TESTS)))
    return test


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    def key_of_run(inputs: Inputs, test: str, *more: object) -> str:
        return key_for("dyno", inputs, test, *more)

    def run(asked: Run, _: doors.Visitor) -> doors.Answer:
        """A run, made; packed columns, or `same` for a browser that has it already."""
        test, inputs = known_test(asked.test), read_setup(asked.setup, workshop)
        key = key_of_run(inputs, test)
        if asked.have == key:
            return {"same": True}
        return guard.columns(workshop.ask(key, run_for_page, inputs, test, key))

    def whole_file(visitor: doors.Visitor) -> doors.Answer:
        """A whole file of the run in the address."""
        name, given = visitor.names["name"], visitor.query
        if name not in FILES:
            return guard.refusal(404, f"files of a run are {', '.join(FILES)}")
        test = known_test(given.get("test", "full-load"))
        predicted = [each for each in given.get("predict", "").split("|") if each][:MOST_PREDICTIONS]
        inputs = read_setup(setup_from_query(with_usual(visitor.search, USUAL)), workshop)
        content = workshop.ask(key_of_run(inputs, test, name, predicted), file_of, inputs, test, name, predicted)
        return guard.file(content, name)

    doors.post(app, f"{PATH}/run", Run, run)
    doors.get(app, f"{PATH}/{{name}}", whole_file)
