"""Studies: which trips are driven, that none is lost or doubled however often the study is killed, and what is kept."""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest

from sim.command.study_words import study_text
from sim.errors import StudyError
from sim.inputs.one_trip import read_inputs
from sim.studies.findings import trip_words
from sim.studies.plan import NO_TRIP, make_plan
from sim.studies.quantities import QUANTITIES, flat
from sim.studies.question import list_studies, read_study, study_from
from sim.studies.result import StudyResult
from sim.studies.runner import run_study
from sim.trips.pool import TripPool, drive

ROOT = Path(__file__).resolve().parents[2]
SHORT = {
    "form": 1,
    "title": "Gears and speeds on a short hill",
    "truck": "long-haul-manual",
    "road": "grade:-3%,0.6km,500m",
    "vary": {"drill.hold_gear": [7, 8, 9], "start.speed_km_h": [30, 40], "weather.wind_m_s": [-2, 0, 2, 4]},
}


def rows_of(result: StudyResult) -> list[dict]:
    return pyarrow.parquet.read_table(result.folder / "results.parquet").to_pylist()


@pytest.fixture(scope="module")
def pool():
    with TripPool(2) as made:
        yield made


@pytest.fixture(scope="module")
def short():
    return run_study(SHORT)


# ---------------------------------------------------------------- which trips


def test_a_grid_is_every_value_with_every_other(short):
    assert short.trips == 3 * 2 * 4 == short.plan.total
    seen = {
        (gear, speed, wind)
        for gear, speed, wind in zip(
            short.column("drill.hold_gear"),
            short.column("start.speed_km_h"),
            short.column("weather.wind_m_s"),
            strict=True,
        )
    }
    assert len(seen) == 24
    assert short.column("weather.wind_m_s")[:4].tolist() == [-2.0, 0.0, 2.0, 4.0]
    assert set(short.column("state")) == {"arrived"}


def test_a_trip_of_a_study_is_the_trip_of_run(short):
    alone = drive(
        read_inputs(
            SHORT["road"],
            SHORT["truck"],
            changes=["drill.hold_gear=8", "start.speed_km_h=40", "weather.wind_m_s=2"],
        )
    )
    row = next(
        row
        for row in rows_of(short)
        if (row["drill.hold_gear"], row["start.speed_km_h"], row["weather.wind_m_s"]) == (8, 40.0, 2.0)
    )
    assert {name: row[name] for name in flat(alone.summary)} == flat(alone.summary)


def test_every_row_carries_its_inputs_and_the_version_of_the_model(short):
    row = rows_of(short)[0]
    assert row["vehicle.mass_kg"] == 36287.0 and row["engine.governor"] == "limiting-speed"
    assert row["driver.reaction_s"] == 1.0 and row["truck"] == "long-haul-manual"
    assert len(row["model_version"]) == 16 and row["model_version"] == short.model_version
    assert set(QUANTITIES) < set(row)


def test_cases_change_what_they_name_and_a_changed_mass_moves_the_axle_loads():
    result = run_study(
        {
            "form": 1,
            "title": "Two masses",
            "truck": "long-haul-manual",
            "road": "grade:0%,0.5km",
            "case": [{"name": "as it is"}, {"name": "lighter", "set": ["vehicle.mass_kg=30000"]}],
        }
    )
    assert result.column("case").tolist() == ["as it is", "lighter"]
    assert result.column("vehicle.mass_kg").tolist() == [36287.0, 30000.0]
    assert result.column("vehicle.drive_load_kg")[1] == pytest.approx(15422 * 30000 / 36287)


@pytest.mark.parametrize("how", ["sobol", "halton", "latin"])
def test_a_sample_fills_its_ranges_evenly(how):
    sample = {
        "trips": 64,
        "how": how,
        "between": {"vehicle.drag_area_m2": [4, 6], "start.gear": [7, 10]},
    }
    study = {"form": 1, "title": "x", "truck": "long-haul-manual", "road": "grade:0%,0.5km", "sample": sample}
    plan = make_plan(study_from(study, "x", "x"))
    drag, gear = plan.samples.T
    # one point in each sixty-fourth of the range (Sobol, Latin hypercube), at least one in each sixteenth (Halton)
    bins = 16 if how == "halton" else 64
    assert (np.histogram(drag, bins, (4.0, 6.0))[0] > 0).all()
    assert set(gear) == {7.0, 8.0, 9.0, 10.0}
    again = make_plan(study_from(study, "x", "x"))
    assert (again.samples == plan.samples).all()
    assert plan.point(1).changes[-1].startswith("start.gear=")


def test_combinations_that_cannot_be_driven_are_named_and_counted():
    result = run_study(
        {
            "form": 1,
            "title": "Gears of two trucks",
            "road": "grade:0%,0.5km",
            "vary": {"truck": ["long-haul-manual", "long-haul-automated"], "drill.hold_gear": [9, 12]},
        }
    )
    assert result.answers["trips"]["state_refused"] == 1
    ((number, problem),) = result.refused()
    assert number == 2 and "drill.hold_gear is 12; the gearbox of this truck has gears 1 to 10" in problem
    assert {"kind": "study.some_refused", "values": {"refused": 1, "finished": 4}} in result.answers["notes"]
    assert np.isnan(result.column("fuel_kg")[1])


def test_a_study_none_of_whose_trips_arrives_has_an_answer():
    study = {
        "form": 1,
        "title": "Gears that cannot pull away here",
        "truck": "long-haul-manual",
        "road": "grade:6%,2km",
        "vary": {"drill.hold_gear": [9, 10]},
    }
    result = run_study(study)
    assert result.complete and "arrived" not in set(result.column("ended"))
    assert all(found["keys"] == {} for found in result.answers["sensitivity"].values())
    assert "arrive" in study_text(result, "both")


def test_a_refused_trip_is_named_by_what_was_asked():
    result = run_study(
        {
            "form": 1,
            "title": "Ratios, one of them impossible",
            "truck": "long-haul-manual",
            "road": "grade:0%,0.5km",
            "vary": {"driveline.axle_ratio": ["3.7", "370", "3.7 apples"]},
        }
    )
    assert [number for number, _ in result.refused()] == [2, 3]
    assert [trip_words(result, number, "both").rpartition(" ratio ")[2] for number in (1, 2, 3)] == [
        "3.7",
        "370",
        "3.7 apples",
    ]
    ratios = result.column("driveline.axle_ratio")
    assert ratios[:2].tolist() == [3.7, 370.0] and np.isnan(ratios[2])
    assert len(set(result.column("vehicle.mass_kg"))) == 1, "what was not varied stands beside every row"


def test_a_study_of_which_nothing_can_be_driven_says_why():
    study = {
        "form": 1,
        "title": "x",
        "truck": "long-haul-manual",
        "road": "grade:0%,0.5km",
        "vary": {"drill.hold_gear": [11, 12]},
    }
    with pytest.raises(StudyError, match=r"none of the 2 trips can be driven. The first: trip 1 of 2 .*gears 1 to 10"):
        run_study(study)


@pytest.mark.parametrize("name", list_studies())
def test_shipped_studies_can_be_planned(name):
    plan = make_plan(read_study(name))
    assert plan.study.question.endswith("?") and plan.total > 10
    assert plan.point(plan.total).number == plan.total


# ---------------------------------------------------------------- running


def test_workers_give_the_rows_this_process_gives(short, pool):
    assert rows_of(run_study(SHORT, pool=pool)) == rows_of(short)


def test_a_stopped_study_keeps_what_is_done_and_goes_on(short, tmp_path):
    stop, seen = threading.Event(), []

    def show(progress):
        seen.append(progress.done)
        if progress.done >= 7:
            stop.set()

    partial = run_study(SHORT, tmp_path / "s", progress=show, stop=stop)
    assert not partial.complete and partial.trips == 7
    assert partial.answers["notes"][0] == {"kind": "study.partial", "values": {"finished": 7, "asked": 24}}
    seen.clear()
    whole = run_study(SHORT, tmp_path / "s", progress=lambda progress: seen.append(progress.done))
    assert whole.complete and seen[0] == 8 and len(seen) == 17
    assert rows_of(whole) == rows_of(short)


class OneAfterTheOther:
    """A pool of one thread that takes trips for two: the first is driven at once, the second when the study is stopped."""

    workers = 2

    def __init__(self, stop):
        self._stop, self._threads, self._asked = stop, ThreadPoolExecutor(1), 0
        self.close = self._threads.shutdown

    def submit(self, function, *given):
        def job(first):
            assert first or self._stop.wait(60.0)
            return function(*given)

        self._asked += 1
        return self._threads.submit(job, self._asked == 1)


def test_a_study_stopped_while_its_last_trips_wait_is_not_complete(short, tmp_path):
    few = {**SHORT, "vary": {"weather.wind_m_s": [-2, 0, 2, 4]}}
    stop = threading.Event()
    pool = OneAfterTheOther(stop)
    partial = run_study(few, tmp_path / "s", pool=pool, progress=lambda at: stop.set() if at.done else None, stop=stop)
    pool.close()
    assert not partial.complete and partial.trips in (1, 2), "the second counts if it was begun"
    assert partial.answers["notes"][0] == {"kind": "study.partial", "values": {"finished": partial.trips, "asked": 4}}
    assert run_study(few, tmp_path / "s").trips == 4


def test_a_finished_study_is_not_driven_again(short, tmp_path):
    run_study(SHORT, tmp_path / "s")
    seen = []
    again = run_study(SHORT, tmp_path / "s", progress=seen.append)
    assert seen == [] and rows_of(again) == rows_of(short)


def test_what_is_reported_may_change_without_driving_again(tmp_path):
    run_study(SHORT, tmp_path / "s")
    seen = []
    other = {**SHORT, "title": "Seen otherwise", "report": ["max_engine_speed_rpm"]}
    again = run_study(other, tmp_path / "s", progress=seen.append)
    assert seen == [] and list(again.answers["quantities"]) == ["max_engine_speed_rpm"]


KILLED = """
import os, signal, sys, threading
from sim.studies.runner import run_study
from tests.studies.test_studies import LONGER

def kill():
    os.kill(os.getpid(), signal.SIGKILL)

if __name__ == "__main__":
    folder, workers, delay, after_first_trip = sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), sys.argv[4] == "trip"
    timer = threading.Timer(delay, kill)
    timer.daemon = True
    if delay and not after_first_trip:
        timer.start()

    done = []

    def show(progress):
        done.append(progress.done)
        if delay and after_first_trip and done[-1] > done[0] and not timer.is_alive():
            timer.start()

    run_study(LONGER, folder, workers=workers or None, progress=show)
"""
LONGER = {**SHORT, "vary": {**SHORT["vary"], "weather.temperature_c": [0, 10, 20, 30, 40]}}


@pytest.mark.parametrize("workers", [0, 2])
def test_a_study_killed_at_any_moment_loses_and_doubles_nothing(tmp_path, workers):
    """SIGKILL at random moments, again and again, until the study comes through; then the same rows as undisturbed."""
    script, folder, chance = tmp_path / "killed.py", tmp_path / "s", random.Random(workers)
    script.write_text(KILLED)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    kills, finished, last = 0, [], 8
    for attempt in range(last + 1):
        # some die while folder and tables are being made, most among the trips
        delay = 0.0 if attempt == last else chance.uniform(0.001, 0.25)
        arguments = [str(folder), str(workers), str(delay), "start" if attempt % 4 == 0 else "trip"]
        process = subprocess.run(
            [sys.executable, str(script), *arguments], env=environment, capture_output=True, check=False
        )
        assert process.returncode in (0, -signal.SIGKILL), process.stderr.decode()
        kills += process.returncode != 0
        if (folder / "trips.sqlite").exists():
            journal = sqlite3.connect(folder / "trips.sqlite")
            if ("trips",) in journal.execute("SELECT name FROM sqlite_master").fetchall():
                finished.append(journal.execute("SELECT count(*) FROM trips").fetchone()[0])
            journal.close()
        if process.returncode == 0:
            break
    assert kills >= 3 and finished == sorted(finished), "finished trips only grow in number"
    assert len(set(finished)) > 2, "it was killed among the trips"
    after = run_study(LONGER, folder)
    assert after.complete and rows_of(after) == rows_of(run_study(LONGER))


def test_two_processes_do_not_drive_one_study(tmp_path):
    folder = tmp_path / "s"
    run_study(SHORT, folder)
    holder = sqlite3.connect(folder / "trips.sqlite")
    holder.execute("PRAGMA locking_mode=EXCLUSIVE")
    holder.execute("BEGIN EXCLUSIVE")
    try:
        with pytest.raises(StudyError, match="another process is driving this study; wait for it"):
            run_study(SHORT, folder)
    finally:
        holder.close()


def test_a_study_is_driven_again_from_its_own_record(short, tmp_path):
    first = tmp_path / "first"
    run_study(SHORT, first)
    (first / "trips.sqlite").unlink()
    (first / "results.parquet").unlink()
    again = run_study(first)
    assert rows_of(again) == rows_of(short)
    record = json.loads((first / "study.json").read_text())
    assert record["model_version"] == short.model_version
    assert record["roads"]["grade:-3%,0.6km,500m"]["start_elevation"] == 500.0


def test_traces_come_on_request_only(short, tmp_path):
    assert not (short.folder / "traces").exists()
    study = {**SHORT, "vary": {"drill.hold_gear": [7, 8]}, "traces": True}
    with pytest.raises(StudyError, match="traces are asked for, so a folder is needed; add --out DIR"):
        run_study(study)
    result = run_study(study, tmp_path / "s")
    trace = pyarrow.parquet.read_table(result.folder / "traces" / "trip-2.parquet")
    alone = drive(read_inputs(SHORT["road"], SHORT["truck"], changes=["drill.hold_gear=8"])).trace
    assert trace.column_names == list(alone)
    assert np.array_equal(trace["speed_m_s"].to_numpy(), alone["speed_m_s"])


def test_the_table_of_a_spreadsheet_holds_what_is_varied_and_reported(short):
    lines = (short.folder / "results.csv").read_text().splitlines()
    assert lines[0].startswith("trip,hold gear,start speed [km/h],weather wind [m/s],time [s],")
    assert len(lines) == 25


# ---------------------------------------------------------------- nothing is lost when something breaks

FULL = """
import resource, sys
from sim.errors import StudyError
from sim.studies.runner import run_study
from tests.studies.test_studies import LONGER
if __name__ == "__main__":
    def show(progress):
        if progress.done == 20:
            resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
    try:
        run_study(LONGER, sys.argv[1], progress=show)
    except StudyError as problem:
        print(problem)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on file sizes")
def test_a_full_disk_keeps_the_finished_trips(tmp_path):
    script, folder = tmp_path / "full.py", tmp_path / "s"
    script.write_text(FULL)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, str(script), str(folder)], env=environment, capture_output=True, text=True, check=False
    )
    assert "cannot be written" in done.stdout and "finished trips are kept" in done.stdout, done.stderr
    assert "it goes on where it stopped" in done.stdout
    seen = []
    after = run_study(LONGER, folder, progress=lambda progress: seen.append(progress.done))
    assert seen[0] >= 20 and rows_of(after) == rows_of(run_study(LONGER))


def test_a_broken_results_file_is_made_anew(short, tmp_path):
    folder = tmp_path / "s"
    broken = run_study(SHORT, folder)
    (folder / "results.parquet").write_bytes(b"PAR1 and then nothing")
    with pytest.raises(StudyError, match=r"cannot be read as results .*finished trips are not driven again"):
        StudyResult(broken.plan, folder, True, 24, "x").column("time_s")
    seen = []
    assert rows_of(run_study(SHORT, folder, progress=seen.append)) == rows_of(short) and not seen


def test_another_study_in_the_folder_is_safe(tmp_path):
    folder = tmp_path / "s"
    run_study(SHORT, folder)
    with pytest.raises(StudyError, match="holds 24 finished trips of another study, other inputs or another version"):
        run_study({**SHORT, "road": "grade:-3.1%,0.6km,500m"}, folder)
    assert run_study(SHORT, folder).trips == 24


def test_other_files_in_the_folder_are_safe(tmp_path):
    (tmp_path / "letter.txt").write_text("dear reader")
    with pytest.raises(StudyError, match="not empty and holds no study; name another one"):
        run_study(SHORT, tmp_path)
    with pytest.raises(StudyError, match="is a file; name a folder"):
        run_study(SHORT, tmp_path / "letter.txt")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["letter.txt"]


def test_a_record_that_is_none_says_so(tmp_path):
    for text in ("{", "[]", '{"study": {}}', '{"study": 3}'):
        (tmp_path / "study.json").write_text(text)
        with pytest.raises(StudyError, match=r"cannot be read as the record of a study .*give the study file instead"):
            run_study(tmp_path)


# ---------------------------------------------------------------- bad input


def text_of(**changes) -> dict:
    return {**SHORT, **changes}


BAD = [
    ("no form", {"title": "x"}, "form is missing; this version reads form = 1"),
    ("other form", text_of(form=2), "form is 2; this version reads form = 1. Write the file anew"),
    ("no title", text_of(title=""), "title is missing; add title"),
    ("unknown table", text_of(varry={}), 'nothing is called "varry". Did you mean vary?'),
    ("text for a table", text_of(vary=3), r"vary is 3; give a table \[vary\]"),
    (
        "unknown axis",
        text_of(vary={"vehicle.mas_kg": [1]}),
        'nothing to vary is called "vehicle.mas_kg".*vehicle.mass_kg',
    ),
    ("axis without table", text_of(vary={"mass_kg": [1]}), "Did you mean vehicle.mass_kg"),
    ("empty axis", text_of(vary={"drill.hold_gear": []}), "drill.hold_gear has no values; list at least one"),
    ("no list", text_of(vary={"drill.hold_gear": 7}), "drill.hold_gear is 7; give a list of values, or a range"),
    ("repeated", text_of(vary={"drill.hold_gear": [7, 7]}), "7 is given twice; the trips would be the same"),
    ("NaN", text_of(vary={"weather.wind_m_s": [float("nan")]}), "weather.wind_m_s is nan; give a number"),
    ("empty text", text_of(vary={"road": [" "]}), "road is  ; give numbers, texts, true or false"),
    ("all out of range", text_of(vary={"weather.grip": [7, 8]}), "weather.grip: .*allowed is 0.02 to 1.2"),
    (
        "empty range",
        text_of(vary={"weather.wind_m_s": {"from": 4, "to": 4, "steps": 3}}),
        "the range from 4.0 to 4.0 is empty; the second number must be above the first",
    ),
    ("range without steps", text_of(vary={"weather.wind_m_s": {"from": 4, "to": 5}}), "give from, to and steps"),
    (
        "half steps",
        text_of(vary={"weather.wind_m_s": {"from": 4, "to": 5, "steps": 2.5}}),
        "steps is 2.5; give a whole number from 2 to",
    ),
    ("nothing varied", {k: v for k, v in SHORT.items() if k != "vary"}, "nothing is varied; add a table"),
    ("set and varied", text_of(set=["drill.hold_gear=7"]), "drill.hold_gear is given in two places"),
    ("set wrong", text_of(set=["drill.hold_gaer=7"]), 'set: drill.hold_gaer=7: no key is called "drill.hold_gaer"'),
    ("set out of range", text_of(set=["weather.grip=9"]), "set: .*weather.grip is 9; allowed is 0.02 to 1.2"),
    ("road twice", text_of(vary={"road": ["ollen-pass"]}), "road is given in two places"),
    ("no such road", {**SHORT, "road": "olen-pass"}, "ollen-pass"),
    ("unknown quantity", text_of(report=["fuel"]), 'no quantity is called "fuel".*--quantities lists them'),
    ("empty report", text_of(report=[]), "report has no values"),
    ("case without name", text_of(case=[{"set": []}]), "case.name is missing"),
    ("case twice", text_of(case=[{"name": "a"}, {"name": "a"}]), 'two cases are called "a"'),
    ("case key", text_of(case=[{"name": "a", "sett": []}]), 'nothing is called "case.sett". Did you mean set'),
    ("case value", text_of(case=[{"name": "a", "set": ["weather.grip=9"]}]), 'case "a": .*allowed is 0.02 to 1.2'),
    ("sample of nothing", text_of(sample={"trips": 8}), "sample.between has no values"),
    (
        "sample of a text",
        text_of(sample={"trips": 8, "between": {"engine.governor": [0, 1]}}),
        "give a key that takes a number here",
    ),
    (
        "sample out of range",
        text_of(sample={"trips": 8, "between": {"weather.grip": [0.1, 9]}}),
        "weather.grip: .*allowed is 0.02 to 1.2",
    ),
    (
        "sample reversed",
        text_of(sample={"trips": 8, "between": {"weather.grip": [0.9, 0.1]}}),
        "the range from 0.9 to 0.1 is empty",
    ),
    (
        "sample how",
        text_of(sample={"trips": 8, "how": "dice", "between": {"weather.grip": [0.1, 0.9]}}),
        "sample.how is dice; give one of sobol, halton, latin",
    ),
    ("sample trips", text_of(sample={"trips": 0, "between": {}}), "sample.trips is 0; give a whole number from 2"),
    (
        "too many",
        text_of(sample={"trips": 900000, "between": {"weather.grip": [0.1, 0.9]}}),
        "a study may have 1000000",
    ),
    ("best beside vary", text_of(best={"least": "time_s", "between": {"weather.grip": [0.1, 0.9, 0.1]}}), "one answer"),
    ("traces", text_of(traces="yes"), "traces is yes; give true or false"),
    (
        "fuel test without change",
        {**{k: v for k, v in SHORT.items() if k != "vary"}, "fuel_test": {}},
        "fuel_test.set has no values",
    ),
    (
        "fuel test runs",
        {**{k: v for k, v in SHORT.items() if k != "vary"}, "fuel_test": {"set": ["weather.grip=0.5"], "runs": 1}},
        "fuel_test.runs is 1; give 2 to 20",
    ),
]


@pytest.mark.parametrize(("study", "message"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_bad_studies_are_refused_with_one_clear_message(study, message, tmp_path):
    from sim.errors import HaulbenchError

    with pytest.raises(HaulbenchError, match=message):
        run_study(study, tmp_path / "s")
    assert not (tmp_path / "s").exists()


BEST = {k: v for k, v in SHORT.items() if k != "vary"}
GRIP = {"weather.grip": [0.1, 0.9, 0.1]}


@pytest.mark.parametrize(
    ("best", "message"),
    [
        ({"between": GRIP}, "give either least or most"),
        ({"least": "time_s", "most": "fuel_kg", "between": GRIP}, "give either least or most"),
        ({"least": "tme_s", "between": GRIP}, "Did you mean time_s"),
        ({"least": "time_s"}, "best.between has no values"),
        ({"least": "time_s", "between": {"weather.grip": [0.1, 0.9]}}, r"give \[low, high, step\]"),
        ({"least": "time_s", "between": {"weather.grip": [0.1, 0.9, 2]}}, "a step above 0 that fits"),
        ({"least": "time_s", "between": GRIP, "at_most": {"fuel": 3}}, 'no quantity is called "fuel"'),
        ({"least": "time_s", "between": GRIP, "at_most": {"fuel_kg": "low"}}, "give a number"),
        ({"least": "time_s", "between": GRIP, "trips": 5}, "a whole number from 10"),
    ],
)
def test_bad_searches_are_refused(best, message, tmp_path):
    with pytest.raises(StudyError, match=message):
        run_study({**BEST, "best": best}, tmp_path / "s")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\xff\xfe\x00binary", "is not a text file in UTF-8"),
        (b"form = ", "cannot be read as TOML"),
        (b"", "form is missing; this version reads form = 1"),
        (b"x = 1\n" * 300_000, "bytes; a TOML file may have 1000000 at most"),
    ],
)
def test_bad_study_files_are_refused(content, message, tmp_path):
    file = tmp_path / "bad.toml"
    file.write_bytes(content)
    with pytest.raises(StudyError, match=message):
        run_study(file)


def test_a_study_that_is_not_there_names_the_nearest():
    with pytest.raises(StudyError, match=r'no study is called "axel-ratio". Did you mean axle-ratio\?'):
        run_study("axel-ratio")
    with pytest.raises(StudyError, match="there is no such file"):
        run_study("nowhere/study.toml")


def test_a_road_beside_the_study_file_is_found(tmp_path):
    (tmp_path / "hill.csv").write_text("distance_m,elevation_m\n0,103\n300,100\n600,103\n")
    (tmp_path / "mine.toml").write_text(
        'form = 1\ntitle = "x"\ntruck = "long-haul-manual"\nroad = "hill.csv"\n[vary]\nweather.wind_m_s = [0, 2]\n'
    )
    assert run_study(tmp_path / "mine.toml").column("state").tolist() == ["arrived", "arrived"]


def test_a_study_takes_a_second_for_what_a_second_is_for(pool):
    """Progress is told, with the time left once it is known."""
    seen = []
    started = time.perf_counter()
    run_study(SHORT, pool=pool, progress=seen.append)
    assert seen[-1].done == seen[-1].total == 24 and seen[-1].refused == 0
    assert seen[-1].seconds_left == pytest.approx(0.0, abs=1e-9)
    assert all(0.0 <= progress.seconds_left < 60.0 + time.perf_counter() - started for progress in seen[1:])
    assert NO_TRIP == ("refused", "failed")
