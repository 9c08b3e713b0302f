"""The Hidden fault page: one thing is wrong with a truck; a student tests, measures and names it."""

import json
from collections.abc import Callable
from typing import Any

import dash
from dash import html
from starlette.responses import Response

from dashboard.hidden_fault.desk import Begin, CodeFor, Desk, Named, SignIn, Test, Whose, told
from dashboard.hidden_fault.round import Round
from dashboard.panel.attributes import attributes, part
from dashboard.paper.lab_sheet import fault_sheet
from dashboard.server import doors, guard
from dashboard.server.identity import Cookie
from dashboard.server.runs import Workshop
from sim.errors import SettingsError
from sim.hidden.causes import NAMEABLE, what_failures_mean
from sim.hidden.menu import FREE_TABLES, MENU
from sim.hidden.record import ATTEMPTS, LEVELS, MOST_TESTS
from sim.hidden.session import CAUTIONS

TITLE = "Hidden fault"
PATH = "/hidden-fault"

LEVEL_WORDS = ("codes lead to the part", "codes mislead", "no code")
MOST_SESSION = 2_000_000  # bytes of a practice case that travels with the browser
SECRECY = (
    "A practice case is safe from a casual look only: whoever has this program can work its answer out. The case of a class"
    " follows from a key that only the instructor has. Its cause and truck stay on the instructor's machine."
)


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address: `practice` and `level` open a practice case.
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
    return html.Div([left, main], className="sheet fault", **attributes(data_fault=json.dumps(asked)))


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""
    desk, identity = Desk(workshop), workshop.identity

    def shown(session: dict[str, Any]) -> dict[str, Any]:
        return told(session, "practice" not in session["case"])

    def with_cookie(answer: dict[str, Any], cookie: Cookie | None) -> Response:
        response = guard.told(answer)
        if cookie is not None:
            response.set_cookie(**cookie.settings())
        return response

    def hosted(visitor: doors.Visitor) -> doors.Answer:
        """Whether a class has its cases here, and whether the instructor asks."""
        kept = workshop.hosted
        named = {"class": kept.class_name, "round": kept.round_name, "level": kept.level} if kept else None
        return {"hosted": named, "instructor": bool(kept) and identity.is_instructor(visitor)}

    def begin(asked: Begin, visitor: doors.Visitor) -> doors.Answer:
        """A case."""
        session, cookie = desk.begin(asked, visitor)
        return with_cookie(shown(session), cookie)

    def test(asked: Test, visitor: doors.Visitor) -> doors.Answer:
        """A test, made."""
        session, entry = desk.test(asked, visitor)
        return {**shown(session), "entry": entry}

    def answer(asked: Named, visitor: doors.Visitor) -> doors.Answer:
        """An answer, taken."""
        session, given = desk.answer(asked, visitor)
        return {**shown(session), "answer": given}

    def marking(asked: Whose, visitor: doors.Visitor) -> doors.Answer:
        """The marking of a case that is over."""
        return {"marking": desk.marking(asked, visitor)}

    def sheet(asked: Whose, visitor: doors.Visitor) -> doors.Answer:
        """The lab sheet of a case."""
        return {"sheet": fault_sheet(desk.sheet(asked, visitor))}

    def sign_in(asked: SignIn, visitor: doors.Visitor) -> doors.Answer:
        """Lets the instructor in."""
        desk.hosted()
        return with_cookie({"instructor": True}, identity.sign_in(asked.password, visitor))

    def sign_out(_: doors.Question, visitor: doors.Visitor) -> doors.Answer:
        """Ends what the password has opened in a browser."""
        return with_cookie({"instructor": False}, identity.sign_out(visitor))

    def for_instructor(show: Callable[[Round], doors.Answer]) -> Callable[[doors.Visitor], doors.Answer]:
        """A door of the instructor: nobody else hears more than that it is one."""

        def shown_to(visitor: doors.Visitor) -> doors.Answer:
            try:
                round_ = desk.for_instructor(visitor)
            except SettingsError as problem:
                return guard.refusal(403 if workshop.hosted else 404, str(problem))
            return show(round_)

        return shown_to

    def table(round_: Round) -> doors.Answer:
        """What every student has done, and what could not be read."""
        rows = round_.rows()
        heads = list(rows[0]) if rows else []
        return {"heads": heads, "rows": [list(row.values()) for row in rows], "set_aside": round_.set_aside()}

    def table_file(round_: Round) -> doors.Answer:
        """What every student has done, to be saved."""
        return guard.file(round_.roll_csv(), "text/csv; charset=utf-8", "class.csv")

    def code(asked: CodeFor, visitor: doors.Visitor) -> doors.Answer:
        """The entry word of a student."""
        return for_instructor(lambda round_: {"code": round_.code_of(asked.student)})(visitor)

    doors.get(app, f"{PATH}/hosted", hosted)
    doors.get(app, f"{PATH}/class.json", for_instructor(table))
    doors.get(app, f"{PATH}/class.csv", for_instructor(table_file))
    doors.post(app, f"{PATH}/sign-in", SignIn, sign_in)
    doors.post(app, f"{PATH}/sign-out", doors.Question, sign_out)
    doors.post(app, f"{PATH}/code", CodeFor, code)
    doors.post(app, f"{PATH}/begin", Begin, begin)
    doors.post(app, f"{PATH}/test", Test, test, MOST_SESSION)
    doors.post(app, f"{PATH}/answer", Named, answer, MOST_SESSION)
    doors.post(app, f"{PATH}/marking", Whose, marking, MOST_SESSION)
    doors.post(app, f"{PATH}/sheet", Whose, sheet, MOST_SESSION)
