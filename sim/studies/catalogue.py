"""The list of studies on this machine: where each is kept and how far it came. Results do not depend on it."""

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from sim.errors import StudyError
from sim.messages import studies as say
from sim.studies.plan import Plan

FILE = "studies.sqlite"
COLUMNS = (
    "folder TEXT PRIMARY KEY, name TEXT, title TEXT, fingerprint TEXT, model TEXT, trips INTEGER, finished INTEGER,"
    " changed TEXT"
)


@dataclass(frozen=True)
class Entry:
    """A study of the list: its folder, name, title, model version, trips asked for and finished, and when it last changed."""

    folder: str
    name: str
    title: str
    model_version: str
    trips: int
    finished: int
    changed: str


def home() -> Path:
    """The folder of the list, and of studies for which no folder is named.

    Returns
    -------
    folder : Path
        HAULBENCH_STUDIES, or the user's data folder.
    """
    return Path(os.environ.get("HAULBENCH_STUDIES") or platformdirs.user_data_dir("haulbench")) / "studies"


def folder_of(plan: Plan) -> Path:
    """Where a study is kept when no folder is named: the same place for the same study."""
    return home() / f"{plan.study.name}-{plan.fingerprint()[:8]}"


def note(plan: Plan, folder: Path, finished: int) -> None:
    """Writes a study into the list, or what has changed about it.

    Parameters
    ----------
    finished : int
        Trips.

    Raises
    ------
    StudyError
        The list cannot be used; results are not touched by that.
    """
    from sim.compiled import MODEL_VERSION

    when = datetime.now(UTC).isoformat(timespec="seconds")
    row = (str(folder.resolve()), plan.study.name, plan.study.title, plan.fingerprint(), MODEL_VERSION, plan.total)
    place = home() / FILE
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with closing(sqlite3.connect(place, timeout=5.0)) as connection, connection:
            connection.execute(f"CREATE TABLE IF NOT EXISTS studies ({COLUMNS})")
            connection.execute("INSERT OR REPLACE INTO studies VALUES (?, ?, ?, ?, ?, ?, ?, ?)", (*row, finished, when))
    except (OSError, sqlite3.Error) as problem:
        raise StudyError(say.broken_catalogue(place=str(place), reason=str(problem)[:80])) from None


def entries() -> list[Entry]:
    """The studies of the list whose folder is still there, the last changed first.

    Raises
    ------
    StudyError
        The list cannot be read.
    """
    place = home() / FILE
    if not place.exists():
        return []
    asked = "SELECT folder, name, title, model, trips, finished, changed FROM studies ORDER BY changed DESC, folder"
    try:
        with closing(sqlite3.connect(place, timeout=5.0)) as connection:
            found = [Entry(*row) for row in connection.execute(asked)]
    except (OSError, sqlite3.Error, TypeError) as problem:
        raise StudyError(say.broken_catalogue(place=str(place), reason=str(problem)[:80])) from None
    return [entry for entry in found if Path(entry.folder).is_dir()]
