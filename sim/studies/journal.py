"""The folder of a study: its record, its finished trips, kept one by one as they come in, and the tables made of them.

A finished trip is in `trips.sqlite` before the next is asked for, so that a process killed at any moment loses the trips it
was driving and nothing else. Tables are made from there, beside their place, and renamed.
"""

import contextlib
import itertools
import json
import os
import secrets
import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from sim.errors import StudyError
from sim.messages import studies as say
from sim.notices import notice
from sim.reading import RECORD as RECORD_FILE
from sim.reading import read_text
from sim.studies.plan import Plan, plan_from, record_of
from sim.writing import check_place, keep_names, write_file

RECORD = "study.json"
JOURNAL = "trips.sqlite"
TRACES = "traces"
BESIDE_IT = ("-wal", "-shm", "-journal")  # endings of files that belong to the journal
NO_ROW = (zlib.error, ValueError, TypeError, KeyError, RecursionError)  # what a broken row is told by
RESULTS = ("results.parquet", "results.csv", "answers.json", "report.html")


class Journal:
    """The finished trips of one study, in a folder that one process at a time may write.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    force : bool
        Whether trips of another study in that folder may be dropped.

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
        """Numbers of the trips that are finished."""
        return {number for (number,) in self._connection.execute("SELECT number FROM trips")}

    def finished_trips(self) -> int:
        """How many trips are finished."""
        (count,) = self._connection.execute("SELECT count(*) FROM trips").fetchone()
        return int(count)

    def counted(self) -> dict[str, int]:
        """How many trips ended in which way.

        Returns
        -------
        trips : dict
            By state.
        """
        return dict(
            self._connection.execute("SELECT state, count(*) FROM trips GROUP BY state ORDER BY state").fetchall()
        )

    def keep(self, finished: Iterable[tuple[int, dict[str, str], dict[str, Any]]]) -> None:
        """Writes finished trips; those that are there already are left as they are.

        Parameters
        ----------
        finished : iterable of (int, dict, dict)
            Number, what was varied, and the row a worker gave.

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
        last : int or None
            None for all from the first on.

        Yields
        ------
        varied : dict
            Text by key.
        row : dict
            As a worker gave it.
        """
        asked = "SELECT number, state, body FROM trips WHERE number >= ? AND number <= ? ORDER BY number"
        try:
            for number, state, body in self._connection.execute(asked, (first, 2**62 if last is None else last)):
                varied, row = json.loads(_unpacked(state, body))
                yield number, varied, row
        except (sqlite3.Error, *NO_ROW) as problem:
            raise StudyError(say.broken_journal(place=str(self.folder / JOURNAL), reason=_reason(problem))) from None

    # ------------------------------------------------------------ inside

    def _make_folder(self, force: bool) -> None:
        """Makes the folder, or sees that it may be used."""
        folder = self.folder
        check_place(folder, str(folder), StudyError)
        try:
            known = (RECORD, JOURNAL, TRACES, *RESULTS)
            strange = folder.is_dir() and any(folder.iterdir()) and not any((folder / name).exists() for name in known)
            if strange and not force:
                raise StudyError(say.folder_in_the_way(folder=str(folder)))
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StudyError(say.cannot_write(place=str(folder), reason=_reason(problem), kept=0)) from None

    def _open(self, force: bool) -> sqlite3.Connection:
        """Opens the file of finished trips and sees that they are trips of this study, and whole."""
        place, fingerprint = self.folder / JOURNAL, self.plan.fingerprint()
        known = os.path.lexists(self.folder / RECORD)
        if not os.path.lexists(place):
            return self._begin(place, fingerprint)
        connection = self._connect(place) if place.is_file() else None
        owner, problem = _looked_through(connection) if connection else ("", say.NO_FILE)
        rows = list(itertools.islice(_sound_rows(connection, self.plan.total), 1)) if connection else []
        if not owner and known:
            with contextlib.suppress(StudyError):
                owner = read_record(self.folder).fingerprint()
        if connection and not problem and owner == fingerprint:
            if not known:
                self._write_record()
            return connection
        begun = connection and not known and not rows and problem in (say.NO_TABLE, say.NO_OWNER)  # and killed at once
        if connection and (begun or owner not in ("", fingerprint)):
            finished = sum(1 for _ in _sound_rows(connection, self.plan.total))
            connection.close()
            if finished and not force:
                raise StudyError(say.another_study(folder=str(self.folder), finished=finished))
            return self._begin(place, fingerprint)
        return self._put_aside(place, connection, owner == fingerprint, problem)

    def _connect(self, place: Path) -> sqlite3.Connection:
        """A connection that keeps every other process out until it is closed or its process ends."""
        try:
            connection = sqlite3.connect(place, timeout=0.2, check_same_thread=False)
            connection.execute("PRAGMA locking_mode=EXCLUSIVE")
            connection.execute("PRAGMA synchronous=FULL")
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
            for name in (JOURNAL, *(JOURNAL + ending for ending in BESIDE_IT), *RESULTS):
                (self.folder / name).unlink(missing_ok=True)
            for trace in (self.folder / TRACES).glob("trip-*.parquet"):
                trace.unlink()
            connection = self._connect(place)
            connection.execute("PRAGMA journal_mode=WAL")
            _make_tables(connection, fingerprint)
            self._write_record()
        except (OSError, sqlite3.Error) as problem:
            raise StudyError(say.cannot_write(place=str(place), reason=_reason(problem), kept=0)) from None
        return connection

    def _put_aside(
        self, place: Path, connection: sqlite3.Connection | None, ours: bool, problem: str
    ) -> sqlite3.Connection:
        """A new file of finished trips with every trip of the damaged one that can still be read; the damaged one is kept."""
        kept, damaged, fresh = 0, place.lstat().st_ino, self.folder / f".{JOURNAL}-{secrets.token_hex(8)}"
        try:
            with contextlib.closing(sqlite3.connect(fresh)) as new:
                _make_tables(new, self.plan.fingerprint())
                if connection is not None and ours:
                    for row in _sound_rows(connection, self.plan.total):
                        kept += new.execute("INSERT OR IGNORE INTO trips VALUES (?, ?, ?)", row).rowcount
                new.commit()
            if connection is not None:
                connection.close()
            if place.lstat().st_ino != damaged:  # another process has just done the same
                raise StudyError(say.in_use(folder=str(self.folder)))
            aside = next(
                name
                for number in itertools.count(1)
                if not os.path.lexists(name := self.folder / f"trips-damaged-{number}.sqlite")
            )
            for ending in BESIDE_IT:
                if os.path.lexists(f"{place}{ending}"):
                    os.replace(f"{place}{ending}", f"{aside}{ending}")
            try:  # under both names, so that there is a journal at any moment
                os.link(place, aside)
            except OSError:
                os.replace(place, aside)
            os.replace(fresh, place)
            keep_names(self.folder)
            self._write_record()
        except (OSError, sqlite3.Error) as reason:
            raise StudyError(say.cannot_write(place=str(place), reason=_reason(reason), kept=0)) from None
        finally:
            with contextlib.suppress(OSError):
                fresh.unlink(missing_ok=True)
        notice(say.journal_put_aside(place=str(place), reason=problem, aside=aside.name, kept=kept))
        connection = self._connect(place)
        connection.execute("PRAGMA journal_mode=WAL")
        return connection

    def _write_record(self) -> None:
        """What the study is driven with, for driving it again."""
        write_file(self.folder / RECORD, json.dumps(record_of(self.plan), indent=1).encode())

    def _write_trace(self, number: int, trace: bytes) -> None:
        """The trace of one trip."""
        folder = self.folder / TRACES
        folder.mkdir(exist_ok=True)
        write_file(folder / f"trip-{number}.parquet", trace)


def _make_tables(connection: sqlite3.Connection, fingerprint: str) -> None:
    """The empty tables of a study."""
    with connection:
        connection.execute("CREATE TABLE trips (number INTEGER PRIMARY KEY, state TEXT, body BLOB)")
        connection.execute("CREATE TABLE study (fingerprint TEXT)")
        connection.execute("INSERT INTO study VALUES (?)", (fingerprint,))


def _unpacked(state: Any, body: Any) -> bytes:
    """The text in a row; one of `NO_ROW` when it is not what was put there, which the sum in the packed text tells."""
    text = zlib.decompress(body)
    if f'"state": {json.dumps(state)}'.encode() not in text:
        raise ValueError(say.NO_ROW)
    return text


def _looked_through(connection: sqlite3.Connection) -> tuple[str, str]:
    """Whose trips a file holds, empty when it does not say; and what is wrong with it, empty when it is whole."""
    owner = ""
    try:
        (owner,) = connection.execute("SELECT fingerprint FROM study").fetchone() or ("",)
        (found,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if found != "ok":
            return str(owner), str(found).splitlines()[-1]
        for number, state, body in connection.execute("SELECT number, state, body FROM trips"):
            try:
                _unpacked(state, body)
            except NO_ROW:
                return str(owner), say.row_broken(number=number)
    except (sqlite3.Error, TypeError) as problem:
        return str(owner), say.NO_TABLE if "no such table" in str(problem) else _reason(problem)
    return (str(owner), "") if owner else ("", say.NO_OWNER)


def _sound_rows(connection: sqlite3.Connection, most: int) -> Iterator[tuple[int, str, bytes]]:
    """Rows that can still be read, whatever else is broken: in order as far as that goes, then one by one."""
    asked, last = "SELECT number, state, body FROM trips", 0

    def sound(found: Iterable[Any]) -> Iterator[tuple[int, str, bytes]]:
        nonlocal last
        for number, state, body in found:
            last = max(last, number)
            with contextlib.suppress(*NO_ROW):
                _unpacked(state, body)
                yield number, state, body

    try:
        yield from sound(connection.execute(f"{asked} ORDER BY number"))
    except sqlite3.Error:
        for number in range(last + 1, most + 1):
            with contextlib.suppress(sqlite3.Error):
                yield from sound(connection.execute(f"{asked} WHERE number = ?", (number,)))


def read_record(folder: Path) -> Plan:
    """The plan of the study in a folder.

    Returns
    -------
    plan : Plan
        As it was driven.

    Raises
    ------
    StudyError
        There is none, or it cannot be read.
    """
    place = folder / RECORD
    try:
        return plan_from(json.loads(read_text(place, RECORD_FILE, StudyError)))
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, RecursionError) as problem:
        raise StudyError(say.broken_record(place=str(place), reason=_kind_and_reason(problem))) from None


def _reason(problem: BaseException) -> str:
    """Why something cannot be written or read, in a few words."""
    return str(getattr(problem, "strerror", None) or problem or type(problem).__name__).splitlines()[0][:120]


def _kind_and_reason(problem: Exception) -> str:
    """What is missing or wrong in a record; the kind says it where the text is only a key."""
    if isinstance(problem, RecursionError):
        return say.TOO_DEEP
    return f"{type(problem).__name__}: {str(problem)[:80]}"
