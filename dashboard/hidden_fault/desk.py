"""What the Hidden fault page may ask for: practice cases that travel with the browser, and the cases of a class that stay here.

Of a practice case the browser keeps the whole session, sealed, and sends it along; the server keeps nothing and believes none
of it before it is checked. Of a case of a class a browser sends a name and its entry word and gets back what was shown, never
the cause. Whose case a request is about is decided once, by the schema it is read with.
"""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import pydantic

from dashboard.hidden_fault.round import Round
from dashboard.hidden_fault.work import CASE, answer_given, make_test, marked
from dashboard.server import doors
from dashboard.server.identity import Cookie, Visitor
from dashboard.server.runs import Workshop
from sim.errors import SettingsError
from sim.hidden.record import LONGEST_WORDS, MOST_TESTS
from sim.hidden.session import Session, read_session, start
from sim.messages import hidden as say
from sim.messages import people as say_people
from sim.units import SYSTEMS

LONGEST_TYPED = 400  # letters of anything typed into a line
STEP = 0.5  # s; an answer about a hosted case takes a whole number of them

Typed = pydantic.Field("", max_length=LONGEST_TYPED)


@dataclass(frozen=True)
class Carried:
    """A practice case, as the browser keeps it."""

    text: str


@dataclass(frozen=True)
class Entry:
    """A case of a class: a name and an entry word."""

    student: str
    word: str


class Whose(doors.Question):
    """Whose case a request is about: that of a session it carries, or that of a student; never of both."""

    session: str = ""
    student: str = Typed
    word: str = Typed

    @property
    def case(self) -> Carried | Entry:
        """The case. [-]

        Raises
        ------
        SettingsError
            None is named, or more than one.
        """
        given = self.model_fields_set & {"session", "student", "word"}
        if given == {"session"}:
            return Carried(self.session)
        if given == {"student", "word"}:
            return Entry(self.student, self.word)
        raise SettingsError(say.whose_case(given=", ".join(sorted(given)) or "nothing"))


class Begin(doors.Question):
    """A new practice case, or the case of a student as far as it has come."""

    practice: int = 0
    level: int = 1
    student: str = Typed
    word: str = Typed


class Test(Whose):
    """A test."""

    test: str = pydantic.Field(max_length=4 * LONGEST_TYPED)


class Named(Whose):
    """What a student thinks is wrong."""

    part: str = Typed
    failure: str = Typed
    because: list[int] = pydantic.Field(default_factory=list, max_length=MOST_TESTS)
    explanation: str = pydantic.Field("", max_length=LONGEST_WORDS)


class Printed(Whose):
    """A lab sheet, in the units of its reader."""

    units: Literal[SYSTEMS] = "metric"  # type: ignore[valid-type]


class SignIn(doors.Question):
    """The password of the instructor."""

    password: str = pydantic.Field(max_length=LONGEST_TYPED)


class WordFor(doors.Question):
    """Whose entry word the instructor wants to know."""

    student: str = pydantic.Field(max_length=LONGEST_TYPED)


class Cases:
    """Whatever the page may ask for.

    Parameters
    ----------
    workshop : Workshop
        Its workers do the tests; its `hosted` is the round of a class, or None; its `identity` says who somebody is.
    """

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop

    # ------------------------------------------------------------ a case

    def begin(self, asked: Begin, visitor: Visitor) -> tuple[Session, Cookie | None]:
        """A case: a new practice case, or that of a student as far as it has come.

        Returns
        -------
        cookie : Cookie or None
            What the browser shall keep.

        Raises
        ------
        HaulbenchError
            There is no such case.
        """
        given = asked.model_fields_set
        if given in ({"practice"}, {"practice", "level"}):
            return start(asked.level, practice=asked.practice)[0], None
        if given != {"student", "word"}:
            raise SettingsError(say.whose_case(given=", ".join(sorted(given)) or "nothing"))
        hosted = self.hosted()
        student = self._student(hosted, Entry(asked.student, asked.word), visitor)
        return hosted.session(student), self._workshop.identity.student_cookie(student, visitor)

    def test(self, asked: Test, visitor: Visitor) -> tuple[Session, dict[str, Any]]:
        """Makes a test.

        Returns
        -------
        session : dict
            With the test in it.
        entry : dict
            The test and its readings.

        Raises
        ------
        HaulbenchError
            It cannot be made.
        """
        return self._changed(asked.case, visitor, make_test, asked.test)

    def answer(self, asked: Named, visitor: Visitor) -> tuple[Session, dict[str, Any]]:
        """Takes an answer.

        Returns
        -------
        session : dict
            With the answer in it.

        Raises
        ------
        HaulbenchError
            It cannot be taken.
        """
        given = (asked.part, asked.failure, asked.because, asked.explanation)
        return self._changed(asked.case, visitor, answer_given, *given)

    def marking(self, asked: Whose, visitor: Visitor) -> dict[str, Any] | None:
        """The marking of a case.

        Returns
        -------
        marking : dict or None
            None while it is open.

        Raises
        ------
        HaulbenchError
            There is no such case.
        """
        return self._marking(*self._session(asked.case, visitor))

    def sheet(self, asked: Whose, visitor: Visitor) -> dict[str, Any]:
        """Everything of a case that may be printed.

        Returns
        -------
        sheet : dict
            As `dashboard.paper.lab_sheet.fault_sheet` takes it.

        Raises
        ------
        HaulbenchError
            There is no such case.
        """
        session, key = self._session(asked.case, visitor)
        return {name: session[name] for name in session if name != "seal"} | {"marking": self._marking(session, key)}

    # ------------------------------------------------------------ the class

    def hosted(self) -> Round:
        """The round of a class.

        Raises
        ------
        SettingsError
            There is none.
        """
        if self._workshop.hosted is None:
            raise SettingsError(say.nobody_hosts())
        hosted: Round = self._workshop.hosted
        return hosted

    def for_instructor(self, visitor: Visitor) -> Round:
        """The round of a class, for the instructor.

        Raises
        ------
        SettingsError
            There is none, or somebody else asks.
        """
        hosted = self.hosted()
        if not self._workshop.identity.is_instructor(visitor):
            raise SettingsError(say_people.only_instructor())
        return hosted

    # ------------------------------------------------------------ inside

    def _student(self, hosted: Round, entry: Entry, visitor: Visitor) -> str:
        """The student of a name and an entry word."""
        return self._workshop.identity.student(hosted.is_word, entry.student, entry.word, visitor)

    def _session(self, case: Carried | Entry, visitor: Visitor) -> tuple[Session, bytes]:
        """A case as it is: session and key."""
        if isinstance(case, Carried):
            return read_session(case.text, CASE)
        hosted = self.hosted()
        return hosted.session(self._student(hosted, case, visitor)), hosted.key

    def _marking(self, session: Session, key: bytes) -> dict[str, Any] | None:
        """The marking of a session, once it is over."""
        if not session["closed"]:
            return None
        found: dict[str, Any] = self._workshop.ask(f"marking {session['seal']}", marked, session, key)
        return found

    def _changed(
        self, case: Carried | Entry, visitor: Visitor, function: Callable[..., Any], *given: Any
    ) -> tuple[Session, dict[str, Any]]:
        """A session with something more in it, kept before it is told."""
        if isinstance(case, Carried):
            return self._done(*read_session(case.text, CASE), function, *given)
        begun, hosted = time.monotonic(), self.hosted()
        student = self._student(hosted, case, visitor)
        with hosted.turn(
            student
        ):  # a second browser of the same student waits, and goes on from what the first has done
            after, answer = self._done(hosted.session(student), hosted.key, function, *given)
            hosted.keep(student, after)
        time.sleep(STEP - (time.monotonic() - begun) % STEP)  # how long a truck took tells as little as can be
        return after, answer

    def _done(
        self, session: Session, key: bytes, function: Callable[..., Any], *given: Any
    ) -> tuple[Session, dict[str, Any]]:
        """A session with something more in it; the answer that the workshop keeps stays as it is."""
        question = f"case {session['seal']} {json.dumps(given)}"
        after, answer = self._workshop.ask(question, function, session, key, *given)
        return json.loads(json.dumps(after)), answer


def shown_of(session: Session) -> dict[str, Any]:
    """What a browser is sent of a session.

    Returns
    -------
    shown : dict
        `session` to show, without its seal, and of a practice case `kept`: the whole of it as text, to be sent back letter
        by letter, for a browser would write its numbers otherwise and break the seal.
    """
    shown: dict[str, Any] = {"session": {name: session[name] for name in session if name != "seal"}}
    return shown if "practice" not in session["case"] else {**shown, "kept": json.dumps(session, allow_nan=False)}
