"""The Hidden fault page: one thing is wrong with a truck; a student tests, measures and names it."""

import json
from typing import Any

import dash
import pydantic
from dash import html

from dashboard import doors
from dashboard.attributes import attributes, part
from dashboard.fault_desk import Desk, told
from dashboard.lab_sheet import fault_sheet
from dashboard.runs import Workshop
from sim.hidden.causes import NAMEABLE, what_failures_mean
from sim.hidden.menu import FREE_TABLES, MENU
from sim.hidden.session import ATTEMPTS, CAUTIONS, LEVELS, MOST_TESTS

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
    return html.Div([left, main], className="sheet fault", **attributes(data_fault=json.dumps(asked)))


class Whose(doors.Question):
    """Whose case: a practice case as the browser keeps it, or a student of a class."""

    session: str | None = None
    student: str | None = None
    code: str | None = None


class Begin(Whose):
    """A practice case, or a student's."""

    practice: int | None = None
    level: int = 1


class Test(Whose):
    """A test."""

    test: str


class Named(Whose):
    """What a student thinks is wrong."""

    part: str = ""
    failure: str = ""
    because: list[int] = pydantic.Field(default_factory=list, max_length=MOST_TESTS)
    explanation: str = ""


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for.

    Parameters
    ----------
    app : Dash
        [-]
    workshop : Workshop
        [-]
    """
    desk = Desk(workshop)

    def shown(session: dict[str, Any]) -> dict[str, Any]:
        return told(session, "practice" not in session["case"])

    def hosted(_: doors.Visitor) -> doors.Answer:
        """Whether a class has its cases here."""
        kept = workshop.hosted
        named = {"class": kept.class_name, "round": kept.round_name, "level": kept.level} if kept else None
        return {"hosted": named, "here": False}

    def begin(asked: Begin, _: doors.Visitor) -> doors.Answer:
        """A case."""
        return shown(desk.begin(asked.model_dump(exclude_unset=True)))

    def test(asked: Test, _: doors.Visitor) -> doors.Answer:
        """A test, made."""
        session, entry = desk.test(asked.model_dump(exclude_unset=True))
        return {**shown(session), "entry": entry}

    def answer(asked: Named, _: doors.Visitor) -> doors.Answer:
        """An answer, taken."""
        session, given = desk.answer(asked.model_dump(exclude_unset=True))
        return {**shown(session), "answer": given}

    def marking(asked: Whose, _: doors.Visitor) -> doors.Answer:
        """The marking of a case that is over."""
        return {"marking": desk.marking(asked.model_dump(exclude_unset=True))}

    def sheet(asked: Whose, _: doors.Visitor) -> doors.Answer:
        """The lab sheet of a case."""
        return {"sheet": fault_sheet(desk.sheet(asked.model_dump(exclude_unset=True)))}

    doors.get(app, f"{PATH}/hosted", hosted)
    doors.post(app, f"{PATH}/begin", Begin, begin)
    doors.post(app, f"{PATH}/test", Test, test, MOST_SESSION)
    doors.post(app, f"{PATH}/answer", Named, answer, MOST_SESSION)
    doors.post(app, f"{PATH}/marking", Whose, marking, MOST_SESSION)
    doors.post(app, f"{PATH}/sheet", Whose, sheet, MOST_SESSION)
