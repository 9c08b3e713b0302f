"""A class and one round of hidden faults: its key, who has done what so far, and what the instructor is told.

Sessions stay here with the key. A session counts once it is kept: in `dashboard.server.keeping` where a folder is named.
"""

import csv
import hashlib
import io
import json
import threading
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from dashboard.server.keeping import Folder
from sim.errors import SettingsError
from sim.hidden.key import checked_name, entry_word, is_entry_word, plain_name
from sim.hidden.menu import MENU, read_request
from sim.hidden.record import ATTEMPTS
from sim.hidden.session import Session, hidden_in, read_session, start
from sim.messages import hidden as say

MOST_STUDENTS = 300  # sessions of a class that are kept
MOST_WAITING = 3  # requests about one case at a time: one is answered, the others wait
FORMULAS = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet takes for the begin of one


@dataclass
class Turn:
    """Whose turn it is to change a case, and how many wait for theirs."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    waiting: int = 0


class Round:
    """One round of a class.

    Parameters
    ----------
    key : bytes
        Of the instructor.
    level : int
        1 to 3.
    folder : str or None
        Where sessions are kept; None for memory only.

    Raises
    ------
    SettingsError
        A name or the folder cannot be used.
    """

    def __init__(self, key: bytes, class_name: str, round_name: str, level: int, folder: str | None = None) -> None:
        self.class_name, self.round_name, self.level = checked_name(class_name), checked_name(round_name), level
        self.key = key
        self._folder = Folder(folder, "case-") if folder else None
        self._sessions: dict[str, Session] = {}
        self._turns: dict[str, Turn] = {}
        self._lock, self._beginning = threading.Lock(), threading.Lock()
        for session in self._folder.read(self._kept).values() if self._folder else ():
            if self._is_mine(session):
                self._sessions[plain_name(session["case"]["student"])] = session

    def close(self) -> None:
        """Lets another server have the folder."""
        if self._folder:
            self._folder.close()

    # ------------------------------------------------------------ keeping

    def _place(self, class_name: str, round_name: str, student: str) -> str:
        """Under which name a session is kept: it tells nothing."""
        words = json.dumps([plain_name(word) for word in (class_name, round_name, student)])
        return f"case-{hashlib.sha256(words.encode() + self.key).hexdigest()[:24]}"

    def _kept(self, name: str, text: str) -> Session:
        """A session as it was kept, of this round or another one of the same key."""
        session, _ = read_session(text, name, self.key, roads=None)  # drives are checked before they are made again
        case = session["case"]
        place = "practice" if "practice" in case else self._place(case["class"], case["round"], case["student"])
        if place != name:
            raise SettingsError(say.another_file(file=name, expected=place))
        return session

    def _is_mine(self, session: Session) -> bool:
        """Whether a session is of this class and round."""
        mine = (self.class_name, self.round_name)
        names = (session["case"]["class"], session["case"]["round"])
        return [plain_name(name) for name in names] == [plain_name(name) for name in mine]

    def keep(self, student: str, session: Session) -> None:
        """Keeps a session, and only then has it count.

        Raises
        ------
        SettingsError
            It cannot be kept; what was there before stays.
        """
        if self._folder is not None:
            place = self._place(self.class_name, self.round_name, student)
            self._folder.write(place, json.dumps(session, allow_nan=False))
        with self._lock:
            self._sessions[plain_name(student)] = session

    # ------------------------------------------------------------ students

    def is_word(self, student: str, word: str) -> bool:
        """Whether an entry word is that of a student.

        Parameters
        ----------
        word : str
            As typed.
        """
        return is_entry_word(self.key, self.class_name, self.round_name, student, word)

    @contextmanager
    def turn(self, student: str) -> Iterator[None]:
        """Has one request at a time change a case; a few wait for their turn.

        Yields
        ------
        nothing : None
            When it is the turn.

        Raises
        ------
        SettingsError
            Too many wait already.
        """
        name = plain_name(student)
        with self._lock:
            mine = self._turns.setdefault(name, Turn())
            if mine.waiting >= MOST_WAITING:
                raise SettingsError(say.case_busy(most=MOST_WAITING))
            mine.waiting += 1
        try:
            with mine.lock:
                yield
        finally:
            with self._lock:
                mine.waiting -= 1
                if not mine.waiting:
                    del self._turns[name]

    def session(self, student: str) -> Session:
        """The session of a student, begun when there is none.

        Parameters
        ----------
        student : str
            Whose entry word was right.

        Returns
        -------
        session : dict
            A copy.

        Raises
        ------
        SettingsError
            No more sessions fit, or a new one cannot be kept.
        """
        name = plain_name(student)
        with self._beginning:
            found = self._sessions.get(name)
            if found is None:
                if len(self._sessions) >= MOST_STUDENTS:
                    raise SettingsError(say.class_full(most=MOST_STUDENTS))
                names = {"class": self.class_name, "student": student, "round": self.round_name}
                found, _ = start(self.level, key=self.key, names=names)
                self.keep(student, found)
        return json.loads(json.dumps(found))  # type: ignore[no-any-return]

    # ------------------------------------------------------------ the instructor

    def set_aside(self) -> list[str]:
        """Files of sessions that could not be used, and why; whose they were, when the student has begun again."""
        if self._folder is None:
            return []
        with self._lock:
            names = [session["case"]["student"] for session in self._sessions.values()]
        owners = {self._place(self.class_name, self.round_name, name): name for name in names}
        lines = []
        for file, reason in list(self._folder.set_aside.items()):
            owner = owners.get(file.partition(".")[0])
            lines.append(f"{file}{f' ({owner}, who has begun again)' if owner else ''}: {reason}")
        return lines

    def rows(self) -> list[dict[str, Any]]:
        """What every student has done, for the instructor."""
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
        """The rows as the text of a CSV file; a cell that a spreadsheet would take for a formula is quoted."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        rows = self.rows()
        writer.writerow(rows[0] if rows else ["student"])
        for row in rows:
            writer.writerow([_cell(cell) for cell in row.values()])
        return out.getvalue()

    def word_of(self, student: str) -> str:
        """The entry word of a student."""
        return entry_word(self.key, self.class_name, self.round_name, checked_name(student))


def _cell(value: Any) -> Any:
    """A cell of a CSV file; what a spreadsheet would take for a formula is quoted."""
    return f"'{value}" if unicodedata.normalize("NFKC", str(value)).startswith(FORMULAS) else value
