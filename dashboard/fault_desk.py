"""Hidden faults on the server: practice cases that travel with the browser, and the cases of a class that stay here.

Of a practice case the browser keeps the whole session, sealed, and sends it along; the server keeps nothing. The cases of a
class stay on the server with the instructor's key: a browser sends a name and its entry code and gets back what was shown, never
the cause. A session is written to its folder whole or not at all, before anybody hears of what is in it.
"""

import contextlib
import csv
import hashlib
import io
import json
import os
import tempfile
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dashboard.fault_work import answer_given, make_test, marked
from dashboard.runs import Workshop
from sim.errors import SettingsError
from sim.hidden.key import entry_code, is_entry_code, plain_name
from sim.hidden.menu import MENU, read_request
from sim.hidden.record import ATTEMPTS, LONGEST_WORDS, MOST_TESTS
from sim.hidden.session import Session, hidden_in, read_session, start
from sim.messages import hidden as say

MOST_STUDENTS = 300  # sessions of a class that are kept
LONGEST_NAME = 80
LONGEST_TEST = 400
MOST_PRACTICE = 999_999
STEP = 0.5  # s; an answer about a hosted case takes a whole number of them
CASE = "this case"  # in messages: a browser knows no file


class Round:
    """One round of a class: the key, and what has been done so far.

    Parameters
    ----------
    key : bytes
        Of the instructor. [-]
    class_name : str
        [-]
    round_name : str
        [-]
    level : int
        1 to 3. [-]
    folder : str or None
        Where sessions are kept; None for memory only. [-]

    Raises
    ------
    SettingsError
        The folder cannot be used, or a session in it was changed.
    """

    def __init__(self, key: bytes, class_name: str, round_name: str, level: int, folder: str | None = None) -> None:
        self.class_name, self.round_name, self.level = class_name, round_name, level
        self.key = key
        self._folder = Path(folder) if folder else None
        self._sessions: dict[str, Session] = {}
        self._locks: dict[str, threading.Lock] = {}
        self._lock = threading.Lock()
        self._read()

    # ------------------------------------------------------------ keeping

    def _place(self, student: str) -> Path:
        """The file of a student's session: its name tells nothing."""
        assert self._folder is not None
        words = json.dumps([plain_name(word) for word in (self.class_name, self.round_name, student)])
        return self._folder / f"case-{hashlib.sha256(words.encode() + self.key).hexdigest()[:24]}.json"

    def _read(self) -> None:
        """Sessions of this round that were kept before."""
        if self._folder is None:
            return
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=self._folder):
                pass
            files = sorted(self._folder.glob("case-*.json"))
            texts = [(file, file.read_text(encoding="utf-8")) for file in files]
        except (OSError, UnicodeDecodeError) as problem:
            reason = getattr(problem, "strerror", None) or "a file in it is no text"
            raise SettingsError(say.no_session_folder(folder=str(self._folder), reason=reason)) from None
        for file, text in texts:
            session, _ = read_session(text, str(file), self.key)
            case = session["case"]
            mine = [plain_name(self.class_name), plain_name(self.round_name)]
            if [plain_name(case.get("class", "")), plain_name(case.get("round", ""))] == mine:
                self._sessions[plain_name(case["student"])] = session

    def keep(self, student: str, session: Session) -> None:
        """Writes a session beside its file and then in its place, and only then has it count.

        Parameters
        ----------
        student : str
            [-]
        session : dict
            [-]

        Raises
        ------
        SettingsError
            It cannot be written; what was there before stays.
        """
        if self._folder is not None:
            try:
                handle, beside = tempfile.mkstemp(prefix=".case-", dir=self._folder)
                try:
                    with os.fdopen(handle, "w", encoding="utf-8") as out:
                        json.dump(session, out, allow_nan=False)
                    os.replace(beside, self._place(student))
                except OSError:
                    with contextlib.suppress(OSError):
                        Path(beside).unlink()
                    raise
            except OSError as problem:
                reason = str(problem.strerror)
                raise SettingsError(say.session_not_written(file=CASE, reason=reason)) from None
        with self._lock:
            self._sessions[plain_name(student)] = session

    # ------------------------------------------------------------ students

    def enter(self, student: str, code: str) -> tuple[Session, threading.Lock]:
        """The session of a student, begun when there is none.

        Parameters
        ----------
        student : str
            [-]
        code : str
            Entry code, as typed. [-]

        Returns
        -------
        session : dict
            A copy. [-]
        lock : Lock
            Held by whoever changes it. [-]

        Raises
        ------
        SettingsError
            Name and code do not belong together, or no more sessions fit.
        """
        name = plain_name(student)
        if not name or not is_entry_code(self.key, self.class_name, self.round_name, student, code):
            time.sleep(STEP)  # whoever guesses is slow
            raise SettingsError(say.wrong_entry())
        with self._lock:
            lock = self._locks.setdefault(name, threading.Lock())
            found = self._sessions.get(name)
            full = len(self._sessions) >= MOST_STUDENTS
        if found is None:
            if full:
                raise SettingsError(say.class_full(most=MOST_STUDENTS))
            shown = " ".join(student.split())
            names = {"class": self.class_name, "student": shown, "round": self.round_name}
            made, _ = start(self.level, key=self.key, names=names)
            with lock:
                with self._lock:
                    found = self._sessions.get(name)
                if found is None:
                    self.keep(student, made)
                    found = made
        return json.loads(json.dumps(found)), lock

    def rows(self) -> list[dict[str, Any]]:
        """What every student has done, for the instructor.

        Returns
        -------
        rows : list of dict
            [as named]
        """
        with self._lock:
            sessions = list(self._sessions.values())
        rows = []
        for session in sorted(sessions, key=lambda each: plain_name(each["case"]["student"])):
            answers = session["answers"]
            rows.append(
                {
                    "student": session["case"]["student"],
                    "begun": session["started"],
                    "tests": len(session["tests"]),
                    "minutes": sum(MENU[read_request(entry["test"]).name].minutes for entry in session["tests"]),
                    "attempts": f"{len(answers)} of {ATTEMPTS}",
                    "last answer": f"{answers[-1]['part']}: {answers[-1]['failure']}" if answers else "",
                    "state": ("right" if answers[-1]["failure_right"] else "over") if session["closed"] else "open",
                    "it was": self._cause(session) if session["closed"] else "",
                }
            )
        return rows

    def _cause(self, session: Session) -> str:
        """What was hidden."""
        cause = hidden_in(session, self.key).cause
        return cause.name if cause else ""

    def roll_csv(self) -> str:
        """The rows as the text of a CSV file; a cell that a spreadsheet would take for a formula is quoted.

        Returns
        -------
        text : str
            [-]
        """
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        rows = self.rows()
        writer.writerow(rows[0] if rows else ["student"])
        for row in rows:
            writer.writerow(["'" + str(cell) if str(cell)[:1] in "=+-@\t" else cell for cell in row.values()])
        return out.getvalue()

    def code_of(self, student: str) -> str:
        """The entry code of a student.

        Parameters
        ----------
        student : str
            [-]

        Returns
        -------
        code : str
            [-]
        """
        return entry_code(self.key, self.class_name, self.round_name, student)


class Desk:
    """Whatever the page may ask for.

    Parameters
    ----------
    workshop : Workshop
        Its workers do the tests; its `hosted` is the round of a class, or None. [-]
    """

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop

    def begin(self, asked: Mapping[str, Any]) -> Session:
        """A case: a new practice case, or that of a student as far as it has come.

        Parameters
        ----------
        asked : mapping
            `practice` and `level`, or `student` and `code`. [-]

        Returns
        -------
        session : dict
            [-]

        Raises
        ------
        HaulbenchError
            There is no such case.
        """
        if "practice" in asked:
            number, level = asked["practice"], asked.get("level", 1)
            if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number <= MOST_PRACTICE:
                raise SettingsError(say.practice_range(given=str(number), most=MOST_PRACTICE))
            return start(level if isinstance(level, int) else 0, practice=number)[0]
        return self._hosted().enter(*_entry(asked))[0]

    def test(self, asked: Mapping[str, Any]) -> tuple[Session, dict[str, Any]]:
        """Makes a test.

        Parameters
        ----------
        asked : mapping
            Whose case, and `test`. [-]

        Returns
        -------
        session : dict
            With the test in it. [-]
        entry : dict
            The test and its readings. [as named]

        Raises
        ------
        HaulbenchError
            It cannot be made.
        """
        text = _text(asked, "test", LONGEST_TEST)
        return self._changed(asked, make_test, text)

    def answer(self, asked: Mapping[str, Any]) -> tuple[Session, dict[str, Any]]:
        """Takes an answer.

        Parameters
        ----------
        asked : mapping
            Whose case, `part`, `failure`, `because` and `explanation`. [-]

        Returns
        -------
        session : dict
            With the answer in it. [-]
        answer : dict
            [as named]

        Raises
        ------
        HaulbenchError
            It cannot be taken.
        """
        numbers = asked.get("because", [])
        plain = isinstance(numbers, list) and len(numbers) <= MOST_TESTS
        if not plain or not all(isinstance(number, int) and not isinstance(number, bool) for number in numbers):
            raise SettingsError(say.no_such_evidence(number=0, made=MOST_TESTS))
        part, failure = _text(asked, "part", LONGEST_NAME), _text(asked, "failure", LONGEST_NAME)
        return self._changed(asked, answer_given, part, failure, numbers, _text(asked, "explanation", LONGEST_WORDS))

    def marking(self, asked: Mapping[str, Any]) -> dict[str, Any] | None:
        """The marking of a case.

        Parameters
        ----------
        asked : mapping
            Whose case. [-]

        Returns
        -------
        marking : dict or None
            None while it is open. [as named]
        """
        session, key, _ = self._session(asked)
        if not session["closed"]:
            return None
        found: dict[str, Any] = self._workshop.ask(f"marking {session['seal']}", marked, session, key)
        return found

    def sheet(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Everything of a case that may be printed.

        Parameters
        ----------
        asked : mapping
            Whose case. [-]

        Returns
        -------
        sheet : dict
            As `dashboard.lab_sheet.fault_sheet` takes it. [as named]
        """
        session = self._session(asked)[0]
        return {name: session[name] for name in session if name != "seal"} | {"marking": self.marking(asked)}

    def _hosted(self) -> Round:
        """The round of a class."""
        if self._workshop.hosted is None:
            raise SettingsError(say.nobody_hosts())
        hosted: Round = self._workshop.hosted
        return hosted

    def _session(self, asked: Mapping[str, Any]) -> tuple[Session, bytes, threading.Lock]:
        """Whose case it is: session, key, and the lock of whoever changes it."""
        if isinstance(asked.get("session"), str):
            session, key = read_session(asked["session"], "this practice case")
            return session, key, threading.Lock()
        if "student" not in asked:
            raise SettingsError(say.whose_case(given=", ".join(str(name) for name in asked) or "nothing"))
        hosted = self._hosted()
        session, lock = hosted.enter(*_entry(asked))
        return session, hosted.key, lock

    def _changed(self, asked: Mapping[str, Any], function: Any, *given: Any) -> tuple[Session, dict[str, Any]]:
        """A session with something more in it, kept before it is told."""
        lock = self._session(asked)[2]
        with lock:  # a second browser of the same student waits, and goes on from what the first has done
            session, key, _ = self._session(asked)
            question = f"case {session['seal']} {json.dumps(given)}"
            hosted, begun = "session" not in asked, time.monotonic()
            after, told = self._workshop.ask(question, function, session, key, *given)
            after = json.loads(json.dumps(after))  # the answer that is kept stays as it is
            if hosted:
                time.sleep(STEP - (time.monotonic() - begun) % STEP)  # how long a truck took tells as little as can be
                self._hosted().keep(str(asked["student"]), after)
        return after, told


def _entry(asked: Mapping[str, Any]) -> tuple[str, str]:
    """Name and entry code of a request."""
    return _text(asked, "student", LONGEST_NAME), _text(asked, "code", LONGEST_NAME)


def _text(asked: Mapping[str, Any], name: str, most: int) -> str:
    """A text of a request."""
    given: Any = asked.get(name, "")
    if not isinstance(given, str) or "\0" in given:
        raise SettingsError(say.whose_case(given=name))
    return given[:most]


def told(session: Session, hosted: bool) -> dict[str, Any]:
    """What a browser is sent of a session.

    Parameters
    ----------
    session : dict
        [-]
    hosted : bool
        Whether it is the case of a class. [-]

    Returns
    -------
    told : dict
        `session` to show, without its seal, and of a practice case `kept`: the whole of it as text, to be sent back letter
        by letter, for a browser would write its numbers otherwise and break the seal. [as named]
    """
    shown: dict[str, Any] = {"session": {name: session[name] for name in session if name != "seal"}}
    return shown if hosted else {**shown, "kept": json.dumps(session, allow_nan=False)}
