"""The folder of a study: its record, its finished trips, kept one by one as they come in, and the tables made of them.

A finished trip is in `trips.sqlite` before the next is asked for, so that a process killed at any moment loses the trips it
was driving and nothing else. Tables are made from there, beside their place, and renamed.
"""

import json
import os
import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from sim.errors import StudyError
from sim.messages import studies as say
from sim.studies.plan import Plan, plan_from, record_of

RECORD = "study.json"
JOURNAL = "trips.sqlite"
TRACES = "traces"
RESULTS = ("results.parquet", "results.csv", "answers.json", "report.html")


class Journal:
    """The finished trips of one study, in a folder that one process at a time may write.

    Parameters
    ----------
    plan : Plan
        [-]
    folder : Path
        Made when it is not there. [-]
    force : bool
        Whether trips of another study in that folder may be dropped. [-]

    Raises
    ------
    StudyError
        The folder cannot be used, or holds something else.
    """

    def __init__(self, plan: Plan, folder: Path, force: bool = False) -> None:
        self.plan, self.folder = plan, folder
        self.kept = 0
        self._make_folder(force)
        self._connection = self._open(force)
        self.kept = self.finished_trips()

    def __enter__(self) -> "Journal":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Lets the folder go."""
        self._connection.close()

    def numbers(self) -> set[int]:
        """Numbers of the trips that are finished.

        Returns
        -------
        numbers : set of int
            [-]
        """
        return {number for (number,) in self._connection.execute("SELECT number FROM trips")}

    def finished_trips(self) -> int:
        """How many trips are finished.

        Returns
        -------
        trips : int
            [-]
        """
        (count,) = self._connection.execute("SELECT count(*) FROM trips").fetchone()
        return int(count)

    def counted(self) -> dict[str, int]:
        """How many trips ended in which way.

        Returns
        -------
        trips : dict
            By state. [-]
        """
        return dict(
            self._connection.execute("SELECT state, count(*) FROM trips GROUP BY state ORDER BY state").fetchall()
        )

    def keep(self, finished: Iterable[tuple[int, dict[str, str], dict[str, Any]]]) -> None:
        """Writes finished trips; those that are there already are left as they are.

        Parameters
        ----------
        finished : iterable of (int, dict, dict)
            Number, what was varied, and the row a worker gave. [-]

        Raises
        ------
        StudyError
            They cannot be written; what was there is safe.
        """
        rows = []
        try:
            for number, varied, row in finished:
                trace = row.pop("trace", None)
                if trace is not None:
                    self._write_trace(number, trace)
                body = zlib.compress(json.dumps([varied, row], allow_nan=False).encode(), 1)
                rows.append((number, row["state"], body))
            with self._connection:
                self._connection.executemany("INSERT OR IGNORE INTO trips VALUES (?, ?, ?)", rows)
        except (OSError, sqlite3.Error) as problem:
            raise StudyError(
                say.cannot_write(place=str(self.folder), reason=_reason(problem), kept=self.kept)
            ) from None
        self.kept += len(rows)

    def rows(self, first: int = 1, last: int | None = None) -> Iterator[tuple[int, dict[str, str], dict[str, Any]]]:
        """Finished trips in the order of their numbers.

        Parameters
        ----------
        first : int
            [-]
        last : int or None
            None for all from the first on. [-]

        Yields
        ------
        number : int
            [-]
        varied : dict
            Text by key. [-]
        row : dict
            As a worker gave it. [as named]
        """
        asked = "SELECT number, body FROM trips WHERE number >= ? AND number <= ? ORDER BY number"
        try:
            for number, body in self._connection.execute(asked, (first, 2**62 if last is None else last)):
                varied, row = json.loads(zlib.decompress(body))
                yield number, varied, row
        except (sqlite3.Error, zlib.error, ValueError) as problem:
            raise StudyError(say.broken_journal(place=str(self.folder / JOURNAL), reason=_reason(problem))) from None

    # ------------------------------------------------------------ inside

    def _make_folder(self, force: bool) -> None:
        """Makes the folder, or sees that it may be used."""
        folder = self.folder
        try:
            if folder.exists() and not folder.is_dir():
                raise StudyError(say.folder_is_file(folder=str(folder)))
            known = (RECORD, JOURNAL, TRACES, *RESULTS)
            strange = folder.is_dir() and any(folder.iterdir()) and not any((folder / name).exists() for name in known)
            if strange and not force:
                raise StudyError(say.folder_in_the_way(folder=str(folder)))
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StudyError(say.cannot_write(place=str(folder), reason=_reason(problem), kept=0)) from None

    def _open(self, force: bool) -> sqlite3.Connection:
        """Opens the file of finished trips and sees that they are trips of this study."""
        place, fingerprint = self.folder / JOURNAL, self.plan.fingerprint()
        connection = self._connect(place)
        try:
            found = connection.execute("SELECT fingerprint FROM study").fetchone()
            connection.execute("SELECT count(*) FROM trips").fetchone()
        except sqlite3.DatabaseError as problem:
            connection.close()
            missing = "no such table" in str(problem)
            if not missing and not force:
                raise StudyError(say.broken_journal(place=str(place), reason=_reason(problem))) from None
            return self._begin(place, fingerprint)
        if found is not None and found[0] == fingerprint:
            if not (self.folder / RECORD).exists():
                self._write_record()
            return connection
        (finished,) = connection.execute("SELECT count(*) FROM trips").fetchone()
        connection.close()
        if finished and not force:
            raise StudyError(say.another_study(folder=str(self.folder), finished=finished))
        return self._begin(place, fingerprint)

    def _connect(self, place: Path) -> sqlite3.Connection:
        """A connection that keeps every other process out until it is closed or its process ends."""
        try:
            connection = sqlite3.connect(place, timeout=0.2, check_same_thread=False)
            connection.execute("PRAGMA locking_mode=EXCLUSIVE")
            connection.execute("PRAGMA synchronous=NORMAL")
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("COMMIT")
        except sqlite3.OperationalError as problem:
            if "locked" in str(problem):
                raise StudyError(say.in_use(folder=str(self.folder))) from None
            raise StudyError(say.cannot_write(place=str(place), reason=_reason(problem), kept=0)) from None
        except sqlite3.DatabaseError:
            return sqlite3.connect(place, timeout=0.2, check_same_thread=False)
        return connection

    def _begin(self, place: Path, fingerprint: str) -> sqlite3.Connection:
        """A new, empty file of finished trips, and the record beside it."""
        try:
            for name in (JOURNAL, f"{JOURNAL}-wal", f"{JOURNAL}-shm", f"{JOURNAL}-journal", *RESULTS):
                (self.folder / name).unlink(missing_ok=True)
            for trace in (self.folder / TRACES).glob("trip-*.parquet"):
                trace.unlink()
            connection = self._connect(place)
            connection.execute("PRAGMA journal_mode=WAL")
            with connection:
                connection.execute("CREATE TABLE trips (number INTEGER PRIMARY KEY, state TEXT, body BLOB)")
                connection.execute("CREATE TABLE study (fingerprint TEXT)")
                connection.execute("INSERT INTO study VALUES (?)", (fingerprint,))
            self._write_record()
        except (OSError, sqlite3.Error) as problem:
            raise StudyError(say.cannot_write(place=str(place), reason=_reason(problem), kept=0)) from None
        return connection

    def _write_record(self) -> None:
        """What the study is driven with, for driving it again."""
        write_beside(self.folder / RECORD, json.dumps(record_of(self.plan), indent=1).encode())

    def _write_trace(self, number: int, trace: bytes) -> None:
        """The trace of one trip."""
        folder = self.folder / TRACES
        folder.mkdir(exist_ok=True)
        write_beside(folder / f"trip-{number}.parquet", trace)


def write_beside(place: Path, content: bytes) -> None:
    """Writes a file beside its place and renames it.

    Parameters
    ----------
    place : Path
        [-]
    content : bytes
        [-]

    Raises
    ------
    OSError
        It cannot be written; what was there is as it was.
    """
    beside = place.with_name(f".{place.name}.new")
    try:
        with open(beside, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.replace(beside, place)
    except OSError:
        beside.unlink(missing_ok=True)
        raise


def read_record(folder: Path) -> Plan:
    """The plan of the study in a folder.

    Parameters
    ----------
    folder : Path
        [-]

    Returns
    -------
    plan : Plan
        As it was driven. [-]

    Raises
    ------
    StudyError
        There is none, or it cannot be read.
    """
    place = folder / RECORD
    try:
        return plan_from(json.loads(place.read_bytes()))
    except OSError as problem:
        raise StudyError(say.broken_record(place=str(place), reason=_reason(problem))) from None
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as problem:
        raise StudyError(say.broken_record(place=str(place), reason=_kind_and_reason(problem))) from None


def _reason(problem: BaseException) -> str:
    """Why something cannot be written or read, in a few words."""
    return str(getattr(problem, "strerror", None) or problem or type(problem).__name__).splitlines()[0][:120]


def _kind_and_reason(problem: Exception) -> str:
    """What is missing or wrong in a record; the kind says it where the text is only a key."""
    return f"{type(problem).__name__}: {str(problem)[:80]}"
