"""The Speedometer page: what is fitted against what the controller has been told, a measured mile, the record of settings."""

import json
from typing import Annotated, Any

import dash
import pydantic
from dash import html

from dashboard.panel import controls
from dashboard.panel.attributes import attributes, part
from dashboard.paper.lab_sheet import settings_record, speedo_sheet
from dashboard.server import doors, guard
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, Setup, read_setup, setup_from_query, with_usual
from dashboard.speedometer.work import entries_of, look, marked, mile_to_watch, record, record_csv
from sim.errors import SettingsError
from sim.inputs.one_trip import Inputs
from sim.inputs.sheet import settings_sheet
from sim.messages import speedometer as say_speedo
from sim.speedo import BETWEEN_POSTS, CAUTIONS, MOST_MYSTERY, RULE, SHOWN, band
from sim.units import MILE_PER_HOUR

TITLE = "Speedometer"
PATH = "/speedometer"

USUAL = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults"}
GROUPS = {
    "What is fitted": ("tyres.rolling_radius_m", "driveline.axle_ratio", "speedometer.tone_wheel_teeth"),
    "What the controller has been told": ("speedometer.programmed_pulses_per_mile",),
    "What follows the needle": ("cruise.set_speed_km_h", "road_speed.limit_km_h"),
}
RATES = (1, 2, 5, 10)
Given = Annotated[float, pydantic.Field(ge=-1e9, le=1e9)]


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address.
    """
    search = with_usual(query["?"], USUAL)
    opened = ("What is fitted", "What the controller has been told")
    panel = controls.panel("speedometer", GROUPS, search, start_with=("truck",), opened=opened)
    asked = {
        "band": list(band()),
        "rates": list(RATES),
        "shown": list(SHOWN),
        "miles": list(BETWEEN_POSTS),
        "most": MOST_MYSTERY,
    }
    calibration = html.Section(
        [
            part("state", html.P, className="state", role="status"),
            part("error", html.P, className="told", role="alert", hidden=True),
            part("verdict", html.Div, html.H2("Working it out ..."), className="verdict", aria_live="polite"),
            html.Div([part("needle", className="needle-place"), part("pulses", className="wide")], className="needle-work"),
            part("effects", className="wide"),
        ],
        className="card opening",
        **attributes(aria_label="Calibration"),
    )  # fmt: skip
    mile = html.Section(
        [
            html.H2("Measured mile"),
            html.P(
                "Hold the needle, time the truck from post to post, work out the true speed and the number to program, enter it,"
                " and drive again. Space starts and stops the watch.",
                className="quiet",
            ),
            part("mile_setup", className="bar"),
            part("mile_error", html.P, className="told", role="alert", hidden=True),
            part("scene", className="scene"),
            part("watch", className="watch", hidden=True),
            part("sums", hidden=True),
            part("marked", aria_live="polite"),
        ],
        className="card",
        **attributes(aria_label="Measured mile"),
    )  # fmt: skip
    sheet = html.Section(
        [
            html.H2("Settings, before and after"),
            html.P("Every value that can be programmed: as the truck came, and as it is set up on the left.", className="quiet"),
            html.Div(
                [
                    html.Label(["find ", part("find", html.Span)]),
                    part("only", html.Span),
                    part("save_html", html.A, "Record to print and sign", href=f"{PATH}/record.html", className="button",
                          download="record.html"),
                    part("save_csv", html.A, "record.csv", href=f"{PATH}/record.csv", className="button", download="record.csv"),
                ],
                className="bar",
            ),
            part("record", className="wide long-record", tabIndex=0, role="region", aria_label="Settings, before and after"),
        ],
        className="card",
        **attributes(aria_label="Settings, before and after"),
    )  # fmt: skip
    cautions = html.Section(
        [
            html.H2("On a real road"),
            html.Ul([html.Li(text) for text in CAUTIONS], className="small"),
            html.P(RULE, className="quiet small"),
        ],
        className="card",
    )  # fmt: skip
    return html.Div(
        [
            html.Div(panel, className="trip-panel"),
            html.Div([html.H1("Speedometer", className="unseen"), calibration, mile, sheet, cautions], className="trip-main"),
        ],
        className="sheet trip speedo",
        **attributes(data_speedo=json.dumps(asked)),
    )  # fmt: skip


class Look(doors.Question):
    """A setup."""

    setup: GivenSetup


class Mile(Look):
    """A measured mile: which truck, the speed on the needle, the distance, the number entered, and what a student worked out."""

    mystery: int | None = None
    shown_mi_h: Given
    miles: Given
    entered: Given | None = None
    entries: dict[str, float | str] | None = None


def read_mile(asked: Mile) -> tuple[int | None, float, float]:
    """Which truck, the speed on the needle and the distance of a request.

    Returns
    -------
    number : int or None
        Of a truck from another workshop.
    shown : float
        [m/s]
    miles : float
        [mi]

    Raises
    ------
    SettingsError
        There is no such truck.
    """
    if asked.mystery is not None and not 0 <= asked.mystery <= MOST_MYSTERY:
        raise SettingsError(say_speedo.mystery_number(given=str(asked.mystery), most=MOST_MYSTERY))
    return asked.mystery, asked.shown_mi_h * MILE_PER_HOUR, asked.miles


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""

    def marking(asked: Mile) -> dict[str, Any]:
        inputs = read_setup(asked.setup, workshop)
        mile, entries = read_mile(asked), entries_of(asked.entries or {})
        found: dict[str, Any] = workshop.ask(
            key_for("mile marked", inputs, mile, entries), marked, inputs, *mile, entries
        )
        return found

    def both(setup: Setup) -> tuple[Inputs, Inputs]:
        plain = Setup(truck=setup.truck, road=setup.road, settings=setup.settings)
        return read_setup(plain, workshop), read_setup(setup, workshop)

    def looked(asked: Look, _: doors.Visitor) -> doors.Answer:
        """A calibration, and the record of settings beside it."""
        before, after = both(asked.setup)
        return {
            "state": workshop.ask(key_for("speedometer", after), look, after),
            "record": record(before, after),
        }

    def mile(asked: Mile, _: doors.Visitor) -> doors.Answer:
        """A truck past two posts; packed columns."""
        inputs, asked_for = read_setup(asked.setup, workshop), read_mile(asked)
        key = key_for("mile", inputs, asked_for, asked.entered)
        return guard.columns(workshop.ask(key, mile_to_watch, inputs, *asked_for, asked.entered))

    def whole_record(visitor: doors.Visitor) -> doors.Answer:
        """The record of settings of the setup in the address."""
        kind = visitor.names["kind"]
        if kind not in ("html", "csv"):
            return guard.refusal(404, "records are record.html and record.csv")
        before, after = both(setup_from_query(with_usual(visitor.search, USUAL)))
        if kind == "csv":
            text, kept = record_csv(record(before, after)), "text/csv; charset=utf-8"
        else:
            entries = settings_sheet((before.truck.truck, before.settings), (after.truck.truck, after.settings))
            text, kept = settings_record(before.truck.truck.name, entries), "text/html; charset=utf-8"
        return guard.file(text, kept, f"record.{kind}")

    doors.post(app, f"{PATH}/look", Look, looked)
    doors.post(app, f"{PATH}/mile", Mile, mile)
    doors.post(app, f"{PATH}/mark", Mile, lambda asked, _: marking(asked))
    doors.post(app, f"{PATH}/sheet", Mile, lambda asked, _: {"sheet": speedo_sheet(marking(asked))})
    doors.get(app, f"{PATH}/record.{{kind}}", whole_record)
