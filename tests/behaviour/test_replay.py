"""The controls are all that the driver has on the truck: driven again by what hands and feet did, a trip is the same to the bit."""

import csv
import hashlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from shipped import QUICK, SHIPPED, inputs_of

from sim import load_settings, run_trip
from sim.errors import RunError
from sim.march.clock import Clock
from sim.march.records import CONTROLS
from sim.march.seat import KEPT_CONTROL, KEPT_TICK, KEPT_VALUE, STEPS

HIS_OWN = {"target_speed_m_s"}  # a column that says what the driver means to do
HE_ALONE_SAYS = {
    "timing",
    "foreseen",
    "explanations",
}  # keys of the summary: how long it took, and what the driver knows
AUTOMATED = "long-haul-automated on ulmary-town"
MANUAL = "long-haul-manual on ulmary-town"

# a driver that cannot be found: every module of his room refuses to be imported
WITHOUT_HIM = """
import sys
from pathlib import Path
import sim
for file in (Path(sim.__file__).parent / "seat").glob("*.py"):
    sys.modules["sim.seat" if file.stem == "__init__" else f"sim.seat.{file.stem}"] = None
from sim.command.main import main
sys.exit(main(sys.argv[1:]))
"""

# drives every recording in a file without him, and prints what each trace comes to
ALL_WITHOUT_HIM = """
import sys
from pathlib import Path
import numpy as np
import sim
from test_replay import fingerprint
from shipped import inputs_of
for file in (Path(sim.__file__).parent / "seat").glob("*.py"):
    sys.modules["sim.seat" if file.stem == "__init__" else f"sim.seat.{file.stem}"] = None
for label, controls in np.load(sys.argv[1]).items():
    inputs = inputs_of(label)
    print(label, fingerprint(sim.run_trip(inputs.truck, inputs.route, inputs.settings, feed=controls)), sep="\\t")
"""


def fingerprint(result):
    """A hash of every column of a trace but what is the driver's own."""
    digest = hashlib.sha256()
    for name, column in result.trace.items():
        if name not in HIS_OWN:
            digest.update(name.encode() + column.tobytes())
    return digest.hexdigest()


@pytest.fixture
def noted(monkeypatch):
    """The places in the log of a trip of what was noted and not recorded: what nobody but the driver knows."""
    found, record, note = set(), Clock.record, Clock.note
    recording = []

    def recorded(clock, *told, **more):
        recording.append(clock)
        record(clock, *told, **more)
        recording.pop()

    def written(clock, *told, **more):
        if not recording:
            found.add(len(clock.happenings))
        note(clock, *told, **more)

    monkeypatch.setattr(Clock, "record", recorded)
    monkeypatch.setattr(Clock, "note", written)
    return found


def drive(label, *changes, feed=None):
    inputs = inputs_of(label, *changes)
    return run_trip(inputs.truck, inputs.route, inputs.settings, feed=feed, keeps=True)


def last(summary):
    return {key: value for key, value in summary.items() if key not in HE_ALONE_SAYS}


def replayed(label, noted, *changes):
    """Drives a trip, drives it again, and holds the two against one another."""
    first = drive(label, *changes)
    known = [event for place, event in enumerate(first.events) if place not in noted]
    his = len(noted)
    again = drive(label, *changes, feed=first.controls)
    assert len(noted) == his, "somebody else notes what only the driver knows"
    assert list(first.trace) == list(again.trace)
    for name in set(first.trace) - HIS_OWN:
        assert first.trace[name].tobytes() == again.trace[name].tobytes(), name
    assert last(again.summary) == last(first.summary)
    assert list(again.events) == known
    assert np.array_equal(again.controls, first.controls)
    return first


@pytest.mark.parametrize("label", [*QUICK, MANUAL, AUTOMATED])
def test_a_trip_driven_by_its_recording_is_the_same_to_the_bit(label, noted):
    first = replayed(label, noted)
    assert noted or label in QUICK
    assert len(first.controls) > len(CONTROLS)


@pytest.mark.slow
@pytest.mark.parametrize("label", SHIPPED)
def test_every_shipped_trip_driven_by_its_recording_is_the_same_to_the_bit(label, noted):
    replayed(label, noted)


@pytest.mark.parametrize("tick", [0.005, 0.02])
@pytest.mark.parametrize("label", [QUICK[0], AUTOMATED])
def test_so_it_is_with_other_ticks(label, tick, noted):
    replayed(label, noted, f"simulation.tick_s={tick}")


@pytest.mark.slow
@pytest.mark.parametrize("tick", [0.001, 0.003, 0.007, 0.013, 0.03, 0.05])
@pytest.mark.parametrize("label", ["lesson-cruise", "lesson-gear", MANUAL, AUTOMATED])
def test_so_it_is_with_odd_ticks(label, tick, noted):
    slower = (
        ("retarding.on_delay_s=0.05", "retarding.off_delay_s=0.05", "retarding.step_delay_s=0.05")
        if tick > 0.02
        else ()
    )
    replayed(label, noted, f"simulation.tick_s={tick}", *slower)


def cells_of(folder, name, without=()):
    """A written table as its columns."""
    rows = list(csv.reader(io.StringIO((folder / name).read_text(encoding="utf-8"))))
    return {head: [row[place] for row in rows[1:]] for place, head in enumerate(rows[0]) if head not in without}


def test_another_process_without_the_model_driver_drives_the_same_trip(tmp_path):
    asked = ["run", "ulmary-town", "--truck", "long-haul-automated", "--out"]
    own, fed = tmp_path / "own", tmp_path / "fed"
    plain = [sys.executable, "-m", "haulbench", *asked, str(own)]
    by_feed = [sys.executable, "-c", WITHOUT_HIM, *asked, str(fed), "--controls", str(own / "controls.csv")]
    for command in (plain, by_feed):
        subprocess.run(command, check=True, capture_output=True, timeout=120)
    one, other = (json.loads((folder / "summary.json").read_text(encoding="utf-8")) for folder in (own, fed))
    assert last(other) == last(one)
    assert cells_of(fed, "trace.csv", HIS_OWN) == cells_of(own, "trace.csv", HIS_OWN)
    assert (fed / "controls.csv").read_bytes() == (own / "controls.csv").read_bytes()
    lines = [(folder / "events.csv").read_text(encoding="utf-8").splitlines() for folder in (own, fed)]
    left = iter(lines[0])
    assert all(line in left for line in lines[1]), "an event of the replay is not one of the trip, or stands elsewhere"
    assert len(lines[1]) < len(lines[0])


@pytest.mark.slow
def test_another_process_without_the_model_driver_drives_every_shipped_trip(tmp_path):
    done, wanted = {}, []
    for label in SHIPPED:
        inputs = inputs_of(label)
        result = run_trip(inputs.truck, inputs.route, inputs.settings, keeps=True)
        done[label] = result.controls
        wanted.append(f"{label}\t{fingerprint(result)}")
    np.savez(tmp_path / "controls.npz", **done)
    places = [str(Path(__file__).parent), str(Path(__file__).parents[1]), *sys.path]
    command = [sys.executable, "-c", ALL_WITHOUT_HIM, str(tmp_path / "controls.npz")]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(places)}
    other = subprocess.run(command, check=True, capture_output=True, text=True, timeout=600, env=environment)
    assert len(wanted) > 80 and other.stdout.splitlines() == wanted


def test_without_a_recording_such_a_process_has_nobody_who_drives(tmp_path):
    command = [sys.executable, "-c", WITHOUT_HIM, "run", "grade:0%,0.2km"]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=120)
    assert done.returncode != 0
    assert "sim.seat" in done.stderr


@pytest.mark.parametrize("label", [MANUAL, AUTOMATED])
def test_an_edited_row_changes_nothing_before_it_and_something_after(label):
    first = drive(label, "simulation.log_s=0.02", "start.speed_km_h=0")
    pedal = [control.name for control in CONTROLS].index("accelerator")
    rows = np.flatnonzero((first.controls[:, KEPT_CONTROL] == pedal) & (first.controls[:, KEPT_VALUE] > 0.1))
    edited = first.controls.copy()
    row = rows[len(rows) // 2]
    edited[row, KEPT_VALUE] += 1.0 / STEPS
    assert edited[row, KEPT_VALUE] <= 1.0
    other = drive(label, "simulation.log_s=0.02", "start.speed_km_h=0", feed=edited)
    tick = first.settings.simulation.tick_s
    reached = edited[row, KEPT_TICK] * tick
    before, before_again = (result.trace["time_s"] <= reached + 0.5 * tick for result in (first, other))
    for name in set(first.trace) - HIS_OWN:
        assert first.trace[name][before].tobytes() == other.trace[name][before_again].tobytes(), name
    after = int(before.sum())
    assert first.trace["accelerator_percent"][after] != other.trace["accelerator_percent"][after]
    assert first.trace["speed_m_s"][after:].tobytes() != other.trace["speed_m_s"][after:].tobytes()
    assert other.summary["fuel_kg"] != first.summary["fuel_kg"]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ((5, 3, 99), "lever 99 is not possible"),
        ((5, 4, 1), "splitter 1 is not possible"),
        ((5, 77, 1), "no control called 77"),
        ((-1, 0, 0.5), "comes after"),
    ],
)
def test_a_recording_given_in_python_is_checked_as_one_from_a_file(row, says):
    with pytest.raises(RunError, match=says):
        run_trip("long-haul-manual", "grade:0%,1km", feed=np.array([row], dtype=float))


def test_an_automated_truck_left_in_neutral_waits_whatever_the_foot_does():
    """Standing, and rolling down: nothing happens at once again and again."""
    names = [each.name for each in CONTROLS]
    rows = [(0, names.index("lever"), 0.0), (0, names.index("brake_pedal"), 0.0), (10, names.index("accelerator"), 0.5)]
    for road in ("grade:0%,1km", "grade:-3%,1km,500m"):
        settings = load_settings(None, ["start.speed_km_h=0", "simulation.time_limit_s=60"])
        result = run_trip("long-haul-automated", road, settings, feed=np.array(rows))
        assert result.summary["gear_shifts"] == 0 and not result.trace["gear"].any()
        assert (result.summary["distance_m"] > 50.0) == (road != "grade:0%,1km")
