"""Messages that only an odd moment provokes: a full disk, a missing library, a busy server, an address that is none."""

import sqlite3
import sys
from argparse import Namespace
from concurrent.futures import Future

import pytest

from dashboard.server import runs
from dashboard.server.runs import Workshop
from dashboard.server.setups import read_road
from sim.bus import frames_of
from sim.checks import run_checks
from sim.command.main import main
from sim.command.serving import serve
from sim.errors import RouteError, RunError, SettingsError, StudyError
from sim.studies.journal import Journal
from sim.studies.plan import make_plan
from sim.studies.question import study_from
from sim.studies.runner import run_study
from sim.trips.compare import MOST_TRIPS, read_variants
from sim.trips.trip import run_trip

STUDY = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "grade:0%,0.2km", "vary": {"start.gear": [8, 9]}}


class Never:
    """A pool that never answers."""

    def submit(self, function, *given, **more):
        return Future()

    def close(self):
        pass


def test_a_comparison_of_too_many_trips_in_python_is_refused():
    with pytest.raises(SettingsError, match=f"{MOST_TRIPS} at most"):
        read_variants({"weather.wind_m_s": list(range(25))}, "grade:0%,1km", "long-haul-manual")


def test_a_full_disk_says_what_is_kept(tmp_path):
    with Journal(make_plan(study_from(STUDY, "t", "t")), tmp_path / "s") as journal:

        class Full:
            def __enter__(self):
                raise sqlite3.OperationalError("database or disk is full")

            def __exit__(self, *_):
                return False

            def close(self):
                pass

        journal.close()
        journal._connection = Full()
        with pytest.raises(StudyError, match=r"cannot be written .*disk is full.*finished trips are kept"):
            journal.keep([(1, {}, {"state": "arrived"})])


def test_a_cluster_without_its_library_is_one_message(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(StudyError, match="--cluster needs the cluster extra; install it with"):
        run_study(STUDY, tmp_path / "s", cluster="tcp://127.0.0.1:9")


@pytest.mark.parametrize(("module", "library"), [("cantools", "cantools"), ("can", "python-can")])
def test_a_bus_without_its_library_is_one_message(tmp_path, monkeypatch, capsys, module, library):
    monkeypatch.setitem(sys.modules, module, None)
    assert main(["run", "grade:0%,1km", "--bus", "--out", str(tmp_path / "trip")]) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1
    assert f"needs the library {library}; install it with: pip install" in err and '".[bus]"' in err
    assert not list(tmp_path.iterdir())


def test_frames_of_a_trip_without_meters_are_refused():
    result = run_trip("long-haul-manual", "grade:0%,0.2km")
    with pytest.raises(
        RunError,
        match=r"had no meters on, which the bus tells from; put them on by driving it with bus_settings\(settings\)",
    ):
        next(frames_of(result))


def test_a_server_that_is_too_busy_says_so(monkeypatch):
    monkeypatch.setattr(runs, "LONGEST_WAIT", 0.0)
    with pytest.raises(RunError, match="no answer after 0 s"):
        Workshop(Never()).ask("key", run_checks)


def test_a_server_that_stops_says_so(monkeypatch):
    class Stopping(Never):
        def submit(self, function, *given, **more):
            job = Future()
            job.cancel()
            job.set_running_or_notify_cancel()
            return job

    with pytest.raises(RunError, match="the server is stopping"):
        Workshop(Stopping()).ask("key", run_checks)


def test_a_road_too_long_for_the_server_is_refused():
    with pytest.raises(RouteError, match="on the server a road may have"):
        read_road("grade:0%,900km")


def test_a_host_that_is_no_address_is_refused(monkeypatch):
    monkeypatch.setattr("dashboard.server.runs.Workshop.warm_in_background", lambda self: None)
    with pytest.raises(RunError, match="is no address; give one in numbers"):
        serve(
            Namespace(
                host="no such host",
                port=0,
                share=True,
                open=False,
                certificate=None,
                private_key=None,
                proxy=None,
                password_file=None,
                key_file="",
                class_name="",
                round="",
                sessions="",
            )
        )


MANY = {f"driver.{key}": [0.5, 0.6] for key in ("speed_limit_share", "acceleration_m_s2", "slowing_m_s2")}
MANY |= {
    f"cruise.{key}": [1, 2] for key in ("tap_km_h", "full_below_km_h", "none_above_km_h", "stage_up_s", "clutch_s")
}
MANY |= {f"weather.{key}": [0.2, 0.3] for key in ("temperature_c", "pressure_kpa", "wind_m_s", "grip")}
MANY |= {f"retarding.{key}": [0.5, 0.6] for key in ("on_delay_s", "off_delay_s", "step_delay_s", "least_oil_c")}
MANY |= {f"vehicle.{key}": [5, 6] for key in ("drag_area_m2", "mass_kg", "drive_load_kg", "steer_load_kg", "axles")}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"case": 3}, r"case is 3; give entries \[\[case\]\]"),
        ({"title": 3}, "title is 3; give a text"),
        ({"set": 3}, "set is 3; give a list of texts"),
        ({"vary": {}, "fuel_test": {"set": ["start.gear=8"], "band_percent": 400}}, "400; give a number from 0 to 100"),
        ({"sample": {"trips": 4, "between": {"weather.grip": [0.5]}}}, r"give \[low, high\]"),
        ({"sample": {"trips": 4, "between": MANY}}, "has 21 keys; it may have 20 at most"),
        ({"road": ""}, "no road is named; add road"),
    ],
)
def test_odd_studies_are_refused(changes, message):
    with pytest.raises(StudyError, match=message):
        make_plan(study_from({**STUDY, **changes}, "t", "t"))


@pytest.mark.parametrize(
    ("threads", "version", "message"),
    [({}, "", "the scheduler has no workers; start one"), ({"a": 1}, "other", "has model version other, this machine")],
)
def test_a_cluster_that_cannot_drive_is_refused(threads, version, message, tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")

    class Client:
        def __init__(self, *_, **__):
            pass

        def nthreads(self):
            return threads

        def run(self, *_, **__):
            return {"a": version}

        def close(self):
            pass

    monkeypatch.setattr(distributed, "Client", Client)
    with pytest.raises(StudyError, match=message):
        run_study(STUDY, tmp_path / "s", cluster="tcp://127.0.0.1:9")


def test_a_governor_that_would_cut_in_below_the_curve_is_refused():
    from sim.errors import SpecError
    from sim.inputs.files import load_truck

    with pytest.raises(SpecError, match="below the first speed of the full-load curve"):
        load_truck("long-haul-manual", ["condition.governor_early_rpm=500", "engine.full_load_rpm=[1700, 1800, 2100]",
                                        "engine.full_load_torque_n_m=[2000, 1900, 1500]"])  # fmt: skip
