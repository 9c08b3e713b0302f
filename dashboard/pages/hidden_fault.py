"""The Hidden fault page: one thing is wrong with a truck; a student tests, measures and names it."""

from typing import Any

import dash
import flask
from dash import html

from dashboard import guard
from dashboard.attributes import attributes, part
from dashboard.fault_desk import Desk, told
from dashboard.lab_sheet import fault_sheet
from dashboard.runs import Workshop
from sim.errors import SettingsError
from sim.hidden.causes import NAMEABLE, what_failures_mean
from sim.hidden.menu import FREE_TABLES, MENU
from sim.hidden.record import ATTEMPTS, LEVELS, MOST_TESTS
from sim.hidden.session import CAUTIONS
from sim.messages import hidden as say

TITLE = "Hidden fault"
PATH = "/hidden-fault"

LEVEL_WORDS = ("codes lead to the part", "codes mislead", "no code")
MOST_SESSION = 2_000_000  # bytes of a practice case that travels with the browser
SECRECY = (
    "A practice case is kept from a casual look only: whoever has this program can work its answer out. The case of a class"
    " follows from a key that only the instructor has; cause and truck stay on the instructor's machine."
)


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address: `practice` and `level` open a practice case. [-]

    Returns
    -------
    page : Div
        [-]
    """
    places = dict.fromkeys(test.group for test in MENU.values())
    asked = {
        "practice": str(query.get("practice", ""))[:12],
        "level": str(query.get("level", "1"))[:2],
        "levels": [[number, LEVEL_WORDS[number - 1]] for number in range(LEVELS[0], LEVELS[1] + 1)],
        "menu": {name: [test.words, test.minutes, list(test.takes), test.needs] for name, test in MENU.items()},
        "places": [[place, [name for name, test in MENU.items() if test.group == place]] for place in places],
        "parts": {part: list(failures) for part, failures in sorted(NAMEABLE.items())},
        "failures": what_failures_mean(),
        "free": list(FREE_TABLES),
        "attempts": ATTEMPTS,
        "most": MOST_TESTS,
    }
    left = html.Div(
        [
            html.Section(
                [html.H2("Whose case"), part("begin"), html.P(SECRECY, className="quiet small")],
                className="card",
                **attributes(aria_label="Whose case"),
            ),
            html.Section(
                [html.H2("Tests"), part("menu")],
                className="card tests-card",
                hidden=True,
                **attributes(aria_label="Tests", data_part="tests"),
            ),
        ],
        className="fault-left",
    )
    main = html.Div(
        [
            html.H1("Hidden fault", className="unseen"),
            html.Section(
                [
                    part("complaint", aria_live="polite"),
                    part("state", html.P, className="state", role="status"),
                    part("error", html.P, className="told", role="alert", hidden=True),
                ],
                className="card opening",
                **attributes(aria_label="The complaint"),
            ),
            part("marking", html.Section, className="card", hidden=True, aria_label="Marking"),
            html.Section(
                [html.H2("The last test"), part("latest", aria_live="polite")],
                className="card",
                hidden=True,
                **attributes(data_part="latest_card", aria_label="The last test"),
            ),
            html.Section(
                [html.H2("Name part and failure"), part("answer")],
                className="card",
                hidden=True,
                **attributes(data_part="answer_card", aria_label="Answer"),
            ),
            html.Section(
                [html.H2("Work record"), part("record")],
                className="card",
                hidden=True,
                **attributes(data_part="record_card", aria_label="Work record"),
            ),
            html.Section(
                [
                    html.H2("In the shop and on the road"),
                    html.Ul([html.Li(text) for text in CAUTIONS], className="small"),
                ],
                className="card",
            ),
            part("instructor", html.Section, className="card", hidden=True, aria_label="For the instructor"),
        ],
        className="fault-main",
    )
    return html.Div([left, main], className="sheet fault", **attributes(data_fault=flask.json.dumps(asked)))


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
    desk = Desk(workshop)

    def asked(*more: str) -> dict[str, Any]:
        values: Any = flask.request.get_json(force=True, silent=True)
        if not isinstance(values, dict) or set(values) - {"session", "student", "code", *more}:
            raise SettingsError(say.whose_case(given=type(values).__name__))
        return values

    def shown(session: dict[str, Any]) -> dict[str, Any]:
        return told(session, "practice" not in session["case"])

    @server.get(f"{PATH}/hosted")
    def _fault_hosted() -> flask.Response:
        """Whether a class has its cases here, and whether this is the instructor's machine."""
        hosted = workshop.hosted
        named = {"class": hosted.class_name, "round": hosted.round_name, "level": hosted.level} if hosted else None
        return guard.told(lambda: {"hosted": named, "here": bool(hosted) and guard.from_this_machine(flask.request)})

    @server.post(f"{PATH}/begin")
    def _fault_begin() -> flask.Response:
        """A case."""
        return guard.told(lambda: shown(desk.begin(asked("practice", "level"))))

    @server.post(f"{PATH}/test")
    def _fault_test() -> flask.Response:
        """A test, made."""

        def make() -> dict[str, Any]:
            session, entry = desk.test(asked("test"))
            return {**shown(session), "entry": entry}

        return guard.told(make)

    @server.post(f"{PATH}/answer")
    def _fault_answer() -> flask.Response:
        """An answer, taken."""

        def make() -> dict[str, Any]:
            session, answer = desk.answer(asked("part", "failure", "because", "explanation"))
            return {**shown(session), "answer": answer}

        return guard.told(make)

    @server.post(f"{PATH}/marking")
    def _fault_marking() -> flask.Response:
        """The marking of a case that is over."""
        return guard.told(lambda: {"marking": desk.marking(asked())})

    @server.post(f"{PATH}/sheet")
    def _fault_sheet() -> flask.Response:
        """The lab sheet of a case."""
        return guard.told(lambda: {"sheet": fault_sheet(desk.sheet(asked()))})

    @server.get(f"{PATH}/class.<kind>")
    def _fault_class(kind: str) -> flask.Response:
        """What every student has done, for the instructor."""
        if not guard.from_this_machine(flask.request):
            return guard.refusal(403, say.only_here())
        if workshop.hosted is None or kind not in ("json", "csv"):
            return guard.refusal(404, say.nobody_hosts())
        if kind == "json":
            rows = workshop.hosted.rows()
            heads = list(rows[0]) if rows else []
            return guard.told(lambda: {"heads": heads, "rows": [list(row.values()) for row in rows]})
        return guard.file(workshop.hosted.roll_csv(), "text/csv; charset=utf-8", "class.csv")

    @server.post(f"{PATH}/code")
    def _fault_code() -> flask.Response:
        """The entry code of a student, for the instructor."""
        if not guard.from_this_machine(flask.request):
            return guard.refusal(403, say.only_here())
        if workshop.hosted is None:
            return guard.refusal(404, say.nobody_hosts())
        student = str(asked().get("student", ""))[:80]
        return guard.told(lambda: {"code": workshop.hosted.code_of(student)})

    for name in ("test", "answer", "marking", "sheet"):
        guard.limit_body(f"{PATH}/{name}", MOST_SESSION)
