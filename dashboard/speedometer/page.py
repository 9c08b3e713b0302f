"""The Speedometer page: what is fitted against what the controller has been told, a measured mile, the record of settings."""

import json
from typing import Annotated, Any, Literal

import dash
import pydantic
from dash import html
from dash.development.base_component import Component

from dashboard.panel import controls
from dashboard.panel.attributes import part
from dashboard.panel.pieces import card, cautions, opening, playing
from dashboard.paper.lab_sheet import settings_record, speedo_sheet
from dashboard.server import doors, guard
from dashboard.server.runs import Workshop, key_for
from dashboard.server.setups import GivenSetup, Setup, chosen_units, read_setup, setup_from_query, with_usual
from dashboard.speedometer.work import entries_of, look, marked, mile_to_watch, record, record_csv
from sim.errors import SettingsError
from sim.inputs.one_trip import Inputs
from sim.inputs.sheet import settings_sheet
from sim.messages import speedometer as say_speedo
from sim.speedo import BETWEEN_POSTS, CAUTIONS, MOST_MYSTERY, RULE, SHOWN, band
from sim.units import MILE_PER_HOUR, SYSTEMS

TITLE = "Speedometer"
PATH = "/speedometer"

USUAL = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults"}
GROUPS = {
    "What is fitted": ("tyres.rolling_radius_m", "driveline.axle_ratio", "speedometer.tone_wheel_teeth"),
    "What the controller has been told": ("speedometer.programmed_pulses_per_mile",),
    "What follows the needle": ("cruise.set_speed_km_h", "road_speed.limit_km_h"),
    "The day of the measured mile": ("weather.wind_m_s",),
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
    needle = html.Div(
        [part("needle", className="needle-place"), part("pulses", className="wide")], className="needle-work"
    )
    calibration = opening("Working it out ...", "Calibration", then=[needle, part("effects", className="wide")])
    mile = card(
        "Measured mile",
        html.P(
            "Hold the needle, time the truck from post to post, there and back, take the mean of both, work out the true speed"
            " and the number to program, enter it, and drive again. Space starts and stops the watch.",
            className="quiet",
        ),
        part("mile_setup", className="bar"),
        part("mile_error", html.P, className="told", role="alert", hidden=True),
        part("scene", className="scene"),
        part("watch", className="watch", hidden=True),
        part("sums", hidden=True),
        part("marked", aria_live="polite"),
        label="Measured mile",
    )
    main = [calibration, mile, _record(), cautions("On a real road", CAUTIONS, html.P(RULE, className="quiet small"))]
    return playing(TITLE, panel, main, "speedo", data_speedo=json.dumps(asked))


def _record() -> Component:
    """Every value that can be programmed, before and after."""
    title = "Settings, before and after"

    def saved(name: str, words: str, kind: str) -> Component:
        return part(f"save_{kind}", html.A, words, href=f"{PATH}/{name}", className="button", download=name)

    bar = [
        html.Label(["find ", part("find", html.Span)]),
        part("only", html.Span),
        saved("record.html", "Record to print and sign", "html"),
        saved("record.csv", "record.csv", "csv"),
    ]
    return card(
        title,
        html.P(
            "Every value that can be programmed: as the truck came, and as it is set up on the left.", className="quiet"
        ),
        html.Div(bar, className="bar"),
        part("record", className="wide long-record", tabIndex=0, role="region", aria_label=title),
        label=title,
    )


class Look(doors.Question):
    """A setup."""

    setup: GivenSetup


class Mile(Look):
    """A measured mile: which truck, the speed on the needle, the distance, the number entered, and what a student worked out."""

    mystery: int | None = None
    shown_mi_h: Given
    miles: Given
    entered: Given | None = None
    back: bool = False  # this drive
    both: bool = False  # there and back have been driven, the entries are means
    entries: dict[str, float | str] | None = None
    units: Literal["metric", "us"] = "metric"  # of a sheet to print


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
            key_for("mile marked", inputs, mile, asked.both, entries), marked, inputs, *mile, asked.both, entries
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
            "record": {units: record(before, after, units) for units in SYSTEMS},
        }

    def mile(asked: Mile, _: doors.Visitor) -> doors.Answer:
        """A truck past two posts; packed columns."""
        inputs, asked_for = read_setup(asked.setup, workshop), read_mile(asked)
        way = (asked.entered, asked.back)
        return guard.columns(
            workshop.ask(key_for("mile", inputs, asked_for, way), mile_to_watch, inputs, *asked_for, *way)
        )

    def whole_record(visitor: doors.Visitor) -> doors.Answer:
        """The record of settings of the setup in the address."""
        kind = visitor.names["kind"]
        if kind not in ("html", "csv"):
            return guard.refusal(404, "records are record.html and record.csv")
        before, after = both(setup_from_query(with_usual(visitor.search, USUAL)))
        units = chosen_units(visitor.query.get("units"))
        if kind == "csv":
            text = record_csv(record(before, after, units))
        else:
            entries = settings_sheet((before.truck.truck, before.settings), (after.truck.truck, after.settings))
            text = settings_record(before.truck.truck.name, entries, units)
        return guard.file(text, f"record.{kind}")

    doors.post(app, f"{PATH}/look", Look, looked)
    doors.post(app, f"{PATH}/mile", Mile, mile)
    doors.post(app, f"{PATH}/mark", Mile, lambda asked, _: marking(asked))
    doors.post(app, f"{PATH}/sheet", Mile, lambda asked, _: {"sheet": speedo_sheet(marking(asked), asked.units)})
    doors.get(app, f"{PATH}/record.{{kind}}", whole_record)
