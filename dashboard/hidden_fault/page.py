"""The Hidden fault page: one thing is wrong with a truck; a student tests, measures and names it."""

import json
from collections.abc import Callable
from typing import Any

import dash
from dash import html
from dash.development.base_component import Component
from starlette.responses import Response

from dashboard.hidden_fault.desk import Begin, Cases, Named, Printed, SignIn, Test, Whose, WordFor, shown_of
from dashboard.hidden_fault.round import Round
from dashboard.panel.attributes import attributes, part
from dashboard.panel.pieces import card, cautions, state_and_error
from dashboard.paper.lab_sheet import fault_sheet
from dashboard.server import doors, guard
from dashboard.server.identity import Cookie
from dashboard.server.runs import Workshop
from sim.errors import SettingsError
from sim.hidden.causes import NAMEABLE, what_failures_mean
from sim.hidden.menu import FREE_TABLES, MENU
from sim.hidden.record import ATTEMPTS, FORM, LEVELS, MOST_TESTS
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
        "form": FORM,
    }

    def unfolded(name: str, title: str, label: str, *content: Component, kind: str = "") -> html.Section:
        """A card that the script shows when there is something in it."""
        return card(title, *content, kind=kind, label=label, hidden=True, **attributes(data_part=name))

    left = [
        card("Whose case", part("begin"), html.P(SECRECY, className="quiet small"), label="Whose case"),
        unfolded("tests", "Tests", "Tests", part("menu"), kind="tests-card"),
    ]
    complaint = [part("complaint", aria_live="polite"), *state_and_error()]
    main = [
        html.H1(TITLE, className="unseen"),
        card(*complaint, kind="opening", label="The complaint"),
        part("marking", html.Section, className="card", hidden=True, aria_label="Marking"),
        unfolded("latest_card", "The last test", "The last test", part("latest", aria_live="polite")),
        unfolded("answer_card", "Name part and failure", "Answer", part("answer")),
        unfolded("record_card", "Work record", "Work record", part("record")),
        cautions("In the shop and on the road", CAUTIONS),
        part("instructor", html.Section, className="card", hidden=True, aria_label="For the instructor"),
    ]
    return html.Div(
        [html.Div(left, className="fault-left"), html.Div(main, className="fault-main")],
        className="sheet fault",
        **attributes(data_fault=json.dumps(asked)),
    )


class Asked:
    """What the page asks the server for: each method answers one door.

    Parameters
    ----------
    workshop : Workshop
        Its workers do the tests, its `hosted` is the round of a class, its `identity` says who somebody is.
    """

    def __init__(self, workshop: Workshop) -> None:
        self._workshop, self._desk, self._identity = workshop, Cases(workshop), workshop.identity

    def hosted(self, visitor: doors.Visitor) -> doors.Answer:
        """Whether a class has its cases here, and whether the instructor asks."""
        kept = self._workshop.hosted
        named = {"class": kept.class_name, "round": kept.round_name, "level": kept.level} if kept else None
        return {"hosted": named, "instructor": bool(kept) and self._identity.is_instructor(visitor)}

    def begin(self, asked: Begin, visitor: doors.Visitor) -> doors.Answer:
        """A case."""
        session, cookie = self._desk.begin(asked, visitor)
        return _with_cookie(shown_of(session), cookie)

    def test(self, asked: Test, visitor: doors.Visitor) -> doors.Answer:
        """A test, made."""
        session, entry = self._desk.test(asked, visitor)
        return {**shown_of(session), "entry": entry}

    def answer(self, asked: Named, visitor: doors.Visitor) -> doors.Answer:
        """An answer, taken."""
        session, given = self._desk.answer(asked, visitor)
        return {**shown_of(session), "answer": given}

    def marking(self, asked: Whose, visitor: doors.Visitor) -> doors.Answer:
        """The marking of a case that is over."""
        return {"marking": self._desk.marking(asked, visitor)}

    def sheet(self, asked: Printed, visitor: doors.Visitor) -> doors.Answer:
        """The lab sheet of a case."""
        return {"sheet": fault_sheet(self._desk.sheet(asked, visitor), asked.units)}

    def sign_in(self, asked: SignIn, visitor: doors.Visitor) -> doors.Answer:
        """Lets the instructor in."""
        self._desk.hosted()
        return _with_cookie({"instructor": True}, self._identity.sign_in(asked.password, visitor))

    def sign_out(self, _: doors.Question, visitor: doors.Visitor) -> doors.Answer:
        """Ends what the password has opened in a browser."""
        return _with_cookie({"instructor": False}, self._identity.sign_out(visitor))

    def class_table(self, visitor: doors.Visitor) -> doors.Answer:
        """What every student has done, and what could not be read."""
        return self._for_instructor(visitor, _class_table)

    def class_file(self, visitor: doors.Visitor) -> doors.Answer:
        """What every student has done, to be saved."""
        return self._for_instructor(visitor, lambda round_: guard.file(round_.roll_csv(), "class.csv"))

    def word(self, asked: WordFor, visitor: doors.Visitor) -> doors.Answer:
        """The entry word of a student."""
        return self._for_instructor(visitor, lambda round_: {"word": round_.word_of(asked.student)})

    def _for_instructor(self, visitor: doors.Visitor, show: Callable[[Round], doors.Answer]) -> doors.Answer:
        """An answer for the instructor: nobody else hears more than that it is one."""
        try:
            round_ = self._desk.for_instructor(visitor)
        except SettingsError as problem:
            return guard.refusal(403 if self._workshop.hosted else 404, str(problem))
        return show(round_)


def _class_table(round_: Round) -> doors.Answer:
    """The table of a class as the page draws it."""
    rows = round_.rows()
    heads = list(rows[0]) if rows else []
    return {"heads": heads, "rows": [list(row.values()) for row in rows], "set_aside": round_.set_aside()}


def _with_cookie(answer: dict[str, Any], cookie: Cookie | None) -> Response:
    """An answer with what the browser shall keep."""
    response = guard.answer(answer)
    if cookie is not None:
        response.set_cookie(**cookie.settings())
    return response


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for."""
    asked = Asked(workshop)
    doors.get(app, f"{PATH}/hosted", asked.hosted)
    doors.get(app, f"{PATH}/class.json", asked.class_table)
    doors.get(app, f"{PATH}/class.csv", asked.class_file)
    doors.post(app, f"{PATH}/sign-in", SignIn, asked.sign_in)
    doors.post(app, f"{PATH}/sign-out", doors.Question, asked.sign_out)
    doors.post(app, f"{PATH}/word", WordFor, asked.word)
    doors.post(app, f"{PATH}/begin", Begin, asked.begin)
    doors.post(app, f"{PATH}/test", Test, asked.test, MOST_SESSION)
    doors.post(app, f"{PATH}/answer", Named, asked.answer, MOST_SESSION)
    doors.post(app, f"{PATH}/marking", Whose, asked.marking, MOST_SESSION)
    doors.post(app, f"{PATH}/sheet", Printed, asked.sheet, MOST_SESSION)
