"""The Speedometer page: what is fitted against what the controller has been told, a measured mile, the record of settings."""

from typing import Any

import dash
import flask
from dash import html

from dashboard import controls, guard
from dashboard.attributes import attributes, part
from dashboard.lab_sheet import settings_record, speedo_sheet
from dashboard.pages.gearing import with_usual
from dashboard.runs import Workshop, key_for
from dashboard.setups import Setup, read_setup, setup_from_query, setup_of
from dashboard.speedo_work import entries_of, look, marked, mile_to_watch, record, record_csv
from sim.errors import HaulbenchError, SettingsError
from sim.inputs import Inputs
from sim.messages import browser as say
from sim.messages import speedometer as say_speedo
from sim.sheet import settings_sheet
from sim.speedo import BETWEEN_POSTS, CAUTIONS, RULE, SHOWN, band
from sim.units import MILE_PER_HOUR

TITLE = "Speedometer"
PATH = "/speedometer"

USUAL = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults"}
GROUPS = {
    "What is fitted": ("tyres.rolling_radius_m", "driveline.axle_ratio", "speedometer.tone_wheel_teeth"),
    "What the controller has been told": ("speedometer.programmed_pulses_per_mile",),
    "What follows the needle": ("cruise.set_speed_km_h", "road_speed.limit_km_h"),
}
MOST_MYSTERY = 9999
RATES = (1, 2, 5, 10)


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address. [-]

    Returns
    -------
    page : Div
        [-]
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
        **attributes(data_speedo=flask.json.dumps(asked)),
    )  # fmt: skip


def _number(values: dict[str, Any], name: str) -> float:
    """A number of a request."""
    given = values.get(name)
    if not isinstance(given, int | float) or isinstance(given, bool) or not abs(given) < 1e9:
        raise SettingsError(say_speedo.entry(name=name, given=str(given)))
    return float(given)


def read_mile(values: dict[str, Any]) -> tuple[int | None, float, float]:
    """Which truck, the speed on the needle and the distance of a request.

    Parameters
    ----------
    values : dict
        `mystery`, `shown_mi_h`, `miles`. [as named]

    Returns
    -------
    number : int or None
        Of a truck from another workshop. [-]
    shown : float
        [m/s]
    miles : float
        [mi]

    Raises
    ------
    SettingsError
        One of them is no such number.
    """
    number = values.get("mystery")
    if number is not None and (
        not isinstance(number, int) or isinstance(number, bool) or not 0 <= number <= MOST_MYSTERY
    ):
        raise SettingsError(say_speedo.mystery_number(given=str(number), most=MOST_MYSTERY))
    return number, _number(values, "shown_mi_h") * MILE_PER_HOUR, _number(values, "miles")


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for.

    Parameters
    ----------
    app : Dash
        [-]
    workshop : Workshop
        [-]
    """
    server: flask.Flask = app.server
    about = ("mystery", "shown_mi_h", "miles", "entered", "entries")

    def asked() -> tuple[dict[str, Any], Inputs]:
        values: Any = flask.request.get_json(force=True, silent=True)
        if not isinstance(values, dict) or set(values) - {"setup", *about}:
            raise SettingsError(say.no_setup(allowed=("setup", *about)))
        return values, read_setup(setup_of(values.get("setup")), workshop)

    def marking() -> dict[str, Any]:
        values, inputs = asked()
        mile, entries = read_mile(values), entries_of(values.get("entries") or {})
        found: dict[str, Any] = workshop.ask(
            key_for("mile marked", inputs, mile, entries), marked, inputs, *mile, entries
        )
        return found

    def both(setup: Setup) -> tuple[Inputs, Inputs]:
        plain = Setup(truck=setup.truck, road=setup.road, settings=setup.settings)
        return read_setup(plain, workshop), read_setup(setup, workshop)

    @server.post(f"{PATH}/look")
    def _speedo_look() -> flask.Response:
        """A calibration, and the record of settings beside it."""

        def make() -> dict[str, Any]:
            values, inputs = asked()
            before, after = both(setup_of(values.get("setup")))
            return {
                "state": workshop.ask(key_for("speedometer", inputs), look, inputs),
                "record": record(before, after),
            }

        return guard.told(make)

    @server.post(f"{PATH}/mile")
    def _speedo_mile() -> flask.Response:
        """A truck past two posts; packed columns."""
        try:
            values, inputs = asked()
            mile = read_mile(values)
            entered = _number(values, "entered") if values.get("entered") is not None else None
            packed = workshop.ask(key_for("mile", inputs, mile, entered), mile_to_watch, inputs, *mile, entered)
        except HaulbenchError as problem:
            return flask.jsonify({"message": str(problem)})
        return guard.columns(packed)

    @server.post(f"{PATH}/mark")
    def _speedo_mark() -> flask.Response:
        """What a student's entries are worth."""
        return guard.told(marking)

    @server.post(f"{PATH}/sheet")
    def _speedo_sheet() -> flask.Response:
        """The lab sheet of a marked mile."""
        return guard.told(lambda: {"sheet": speedo_sheet(marking())})

    @server.get(f"{PATH}/record.<kind>")
    def _speedo_record(kind: str) -> flask.Response:
        """The record of settings of the setup in the address."""
        if kind not in ("html", "csv"):
            return guard.refusal(404, "records are record.html and record.csv")
        search = flask.request.query_string.decode("utf-8", "replace")
        before, after = both(setup_from_query(with_usual(search, USUAL)))
        if kind == "csv":
            text, kept = record_csv(record(before, after)), "text/csv; charset=utf-8"
        else:
            entries = settings_sheet((before.truck.truck, before.settings), (after.truck.truck, after.settings))
            text, kept = settings_record(before.truck.truck.name, entries), "text/html; charset=utf-8"
        return guard.file(text, kept, f"record.{kind}")
