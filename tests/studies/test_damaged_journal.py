"""A file of finished trips that comes back damaged: it is kept under another name, named, and the study goes on."""

import logging
import os
import sqlite3
import zlib
from pathlib import Path

import pytest

from sim.errors import StudyError
from sim.studies.journal import Journal
from sim.studies.plan import make_plan
from sim.studies.question import study_from
from sim.studies.runner import run_study

STUDY = {
    "form": 1,
    "title": "Short trips",
    "truck": "long-haul-manual",
    "road": "grade:0%,0.2km",
    "report": ["time_s"],
    "vary": {"start.gear": [7, 8], "weather.wind_m_s": list(range(8))},
}
TRIPS = 16


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """A finished study in its folder."""
    folder = tmp_path_factory.mktemp("study") / "s"
    assert run_study(STUDY, folder).trips == TRIPS
    return folder


@pytest.fixture
def folder(whole, tmp_path) -> Path:
    """A copy of it that may be damaged."""
    copy = tmp_path / "s"
    copy.mkdir()
    for file in whole.iterdir():
        (copy / file.name).write_bytes(file.read_bytes())
    return copy


def cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def written_over(content: bytes) -> bytes:
    return b"this is no database, " * 400


def head_gone(content: bytes) -> bytes:
    return b"x" * 100 + content[100:]


def page_gone(content: bytes) -> bytes:
    """A page with trips on it, in a file of many small pages, is noise."""
    size = int.from_bytes(content[16:18], "big")
    return content[:-size] + os.urandom(size)


def emptied(content: bytes) -> bytes:
    return b""


def smaller_pages(folder: Path) -> None:
    """The same trips on pages of 512 bytes, so that they stand on many."""
    with sqlite3.connect(folder / "trips.sqlite") as journal:
        journal.execute("PRAGMA journal_mode=DELETE")
        journal.execute("PRAGMA page_size=512")
        journal.execute("VACUUM")
    journal.close()


def trips_driven(folder: Path) -> tuple[int, int]:
    """Finished trips of the study, and how many of them were driven just now."""
    seen = []
    result = run_study(STUDY, folder, progress=seen.append)
    assert result.complete
    before = seen[0].done - 1 if seen else result.trips
    return result.trips, result.trips - before


@pytest.mark.parametrize("damage", [cut, written_over, head_gone, page_gone, emptied])
def test_a_damaged_journal_is_kept_and_the_study_goes_on(folder, whole, damage, caplog):
    smaller_pages(folder)
    place = folder / "trips.sqlite"
    damaged = damage(place.read_bytes())
    place.write_bytes(damaged)
    with caplog.at_level(logging.WARNING):
        finished, driven = trips_driven(folder)
    assert finished == TRIPS and driven > 0
    assert (driven < TRIPS) == (damage is page_gone), "what can be read is not driven again"
    assert damage is emptied or (folder / "trips-damaged-1.sqlite").read_bytes() == damaged
    (line,) = [record.getMessage() for record in caplog.records if record.name == "haulbench"]
    assert line.startswith(f"haulbench: {place}: is damaged (") and "it is kept as trips-damaged-1.sqlite" in line
    assert f"{TRIPS - driven} finished trips could be read and are taken over" in line
    assert (folder / "results.csv").read_bytes() == (whole / "results.csv").read_bytes()
    assert sorted(path.name for path in folder.iterdir() if path.name.startswith(".")) == []
    caplog.clear()
    assert trips_driven(folder) == (TRIPS, 0), "it is whole again"
    assert not caplog.records


def wrong_bytes(state: str, body: bytes) -> tuple[str, bytes]:
    return state, body[:20] + bytes([body[20] ^ 0xFF]) + body[21:]


def cut_short(state: str, body: bytes) -> tuple[str, bytes]:
    return state, body[:-7]


def other_text(state: str, body: bytes) -> tuple[str, bytes]:
    return state, zlib.compress(b"[1, 2]")


def other_state(state: str, body: bytes) -> tuple[str, bytes]:
    return "refused", body


def nothing(state: str, body: bytes) -> tuple[str, None]:
    return state, None


@pytest.mark.parametrize("damage", [wrong_bytes, cut_short, other_text, other_state, nothing])
def test_only_the_damaged_trips_are_driven_again(folder, whole, damage, caplog):
    with sqlite3.connect(folder / "trips.sqlite") as journal:
        for number in (3, 11):
            found = journal.execute("SELECT state, body FROM trips WHERE number = ?", (number,)).fetchone()
            journal.execute("UPDATE trips SET state = ?, body = ? WHERE number = ?", (*damage(*found), number))
    journal.close()
    assert trips_driven(folder) == (TRIPS, 2)
    (line,) = [record.getMessage() for record in caplog.records if record.name == "haulbench"]
    assert "is damaged (trip 3 is broken)" in line and "14 finished trips could be read" in line
    assert (folder / "results.csv").read_bytes() == (whole / "results.csv").read_bytes()


def test_no_trip_is_lost_when_the_process_dies_while_it_puts_a_journal_aside(folder, monkeypatch):
    with sqlite3.connect(folder / "trips.sqlite") as journal:
        journal.execute("UPDATE trips SET body = x'00' WHERE number = 4")
    journal.close()
    replace = os.replace

    def dies(one, other):
        if Path(other).name == "trips.sqlite":
            raise KeyboardInterrupt
        replace(one, other)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", dies)
        with pytest.raises(KeyboardInterrupt):
            run_study(STUDY, folder)
    assert trips_driven(folder) == (TRIPS, 1)


def test_every_damaged_journal_gets_a_name_of_its_own(folder):
    for number in (1, 2, 3):
        (folder / "trips.sqlite").write_bytes(written_over(b""))
        assert trips_driven(folder)[0] == TRIPS
        assert (folder / f"trips-damaged-{number}.sqlite").is_file()


@pytest.mark.parametrize("make", [os.mkdir, getattr(os, "mkfifo", os.mkdir)])
def test_what_is_no_file_at_all_is_put_aside_too(folder, make, caplog):
    (folder / "trips.sqlite").unlink()
    make(folder / "trips.sqlite")
    assert trips_driven(folder) == (TRIPS, TRIPS)
    assert "is damaged (it is no ordinary file)" in caplog.text


def test_a_damaged_journal_of_another_study_is_not_taken_over(folder):
    with sqlite3.connect(folder / "trips.sqlite") as journal:
        journal.execute("UPDATE trips SET body = x'00' WHERE number = 4")
    journal.close()
    with pytest.raises(StudyError, match="holds 15 finished trips of another study"):
        run_study({**STUDY, "road": "grade:0%,0.3km"}, folder)
    assert not list(folder.glob("trips-damaged*"))


def test_a_journal_without_its_study_is_told_by_the_record_beside_it(folder):
    with sqlite3.connect(folder / "trips.sqlite") as journal:
        journal.execute("DROP TABLE study")
    journal.close()
    assert trips_driven(folder) == (TRIPS, 0)


def test_a_trip_that_breaks_while_the_study_is_driven_says_what_to_do(tmp_path):
    with Journal(make_plan(study_from(STUDY, "t", "t")), tmp_path / "s") as journal:
        journal.keep([(1, {}, {"state": "arrived"})])
        journal._connection.execute("UPDATE trips SET body = x'00'")
        with pytest.raises(StudyError, match=r"cannot be read as finished trips .*start the same command again"):
            list(journal.rows())
