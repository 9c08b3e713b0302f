"""Messages that only an odd moment provokes: a full disk, a missing library, a busy server, an address that is none."""

import sqlite3
import sys
from argparse import Namespace
from concurrent.futures import Future

import pytest

from dashboard import runs
from dashboard.runs import Workshop
from dashboard.setups import read_road
from sim.command.serving import serve
from sim.compare import MOST_TRIPS, read_variants
from sim.errors import RouteError, RunError, SettingsError, StudyError
from sim.studies.journal import Journal
from sim.studies.plan import make_plan
from sim.studies.question import study_from
from sim.studies.runner import run_study

STUDY = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "grade:0%,0.2km", "vary": {"start.gear": [8, 9]}}


class Never:
    """A pool that never answers."""

    def submit(self, function, *given):
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


def test_a_server_that_is_too_busy_says_so(monkeypatch):
    monkeypatch.setattr(runs, "LONGEST_WAIT", 0.0)
    with pytest.raises(RunError, match="no answer after 0 s"):
        Workshop(Never()).ask("key", len, "")


def test_a_server_that_stops_says_so(monkeypatch):
    class Stopping(Never):
        def submit(self, function, *given):
            job = Future()
            job.cancel()
            job.set_running_or_notify_cancel()
            return job

    with pytest.raises(RunError, match="the server is stopping"):
        Workshop(Stopping()).ask("key", len, "")


def test_a_road_too_long_for_the_server_is_refused():
    with pytest.raises(RouteError, match="on the server a road may have"):
        read_road("grade:0%,900km")


def test_a_host_that_is_no_address_is_refused(monkeypatch):
    monkeypatch.setattr("dashboard.runs.Workshop.warm_in_background", lambda self: None)
    with pytest.raises(RunError, match="is no address; give one in numbers"):
        serve(Namespace(host="no such host", port=0, share=True, open=False))
