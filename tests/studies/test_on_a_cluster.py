"""Studies on a real local cluster of two worker processes: same rows as on one machine, and a dead worker costs time only."""

import subprocess
import sys
import threading
import time
from pathlib import Path

import pyarrow.parquet
import pytest

from sim.errors import StudyError
from sim.studies.runner import run_study

ROOT = Path(__file__).resolve().parents[2]
STUDY = {
    "form": 1,
    "title": "On a cluster",
    "truck": "long-haul-manual",
    "road": "grade:-3%,0.6km,500m",
    "vary": {"drill.hold_gear": [7, 8, 9], "weather.wind_m_s": {"from": -4, "to": 4, "steps": 20}},
}


def rows_of(result):
    return pyarrow.parquet.read_table(result.folder / "results.parquet").to_pylist()


class Cluster:
    """A scheduler and two workers, each a process of its own, started with the commands of README."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.scheduler = self.start("scheduler", "--port", "0", "--no-dashboard", "--host", "127.0.0.1", "--no-show")
        self.address = self.address_of(self.scheduler)
        self.workers = [self.worker() for _ in range(2)]

    def start(self, *arguments: str) -> subprocess.Popen:
        command = [sys.executable, "-m", "distributed.cli.dask_" + arguments[0], *arguments[1:]]
        return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)

    def worker(self) -> subprocess.Popen:
        local = ("--local-directory", str(self.folder), "--host", "127.0.0.1")
        return self.start("worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard", *local)

    def address_of(self, process: subprocess.Popen) -> str:
        assert process.stderr is not None
        for line in process.stderr:
            if "Scheduler at:" in line:
                threading.Thread(target=process.stderr.read, daemon=True).start()
                return line.split()[-1]
        raise AssertionError("the scheduler said no address")

    def close(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()
            if process.stderr:
                process.stderr.close()


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    pytest.importorskip("distributed")
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    yield made
    made.close()


def wait_for_workers(cluster: Cluster, number: int) -> None:
    from distributed import Client

    with Client(cluster.address, set_as_default=False) as client:
        client.wait_for_workers(number, timeout=60)


def test_a_cluster_gives_the_rows_of_one_machine(cluster):
    wait_for_workers(cluster, 2)
    assert rows_of(run_study(STUDY, cluster=cluster.address)) == rows_of(run_study(STUDY))


def test_a_worker_killed_on_the_way_costs_time_and_no_trip(cluster, tmp_path):
    wait_for_workers(cluster, 2)
    killed = []

    def show(progress):
        if progress.done >= 10 and not killed:
            killed.append(progress.done)
            cluster.workers[0].kill()

    result = run_study(STUDY, tmp_path / "s", cluster=cluster.address, progress=show)
    assert killed and result.complete and result.trips == 60
    assert rows_of(result) == rows_of(run_study(STUDY))


def test_a_cluster_that_goes_away_keeps_what_is_done(cluster, tmp_path):
    def show(progress):
        if progress.done >= 10 and cluster.scheduler.poll() is None:
            cluster.scheduler.kill()
            cluster.workers[1].kill()
            time.sleep(0.1)

    with pytest.raises(StudyError, match=r"the cluster went away; \d+ finished trips are kept. Start it again"):
        run_study(STUDY, tmp_path / "s", cluster=cluster.address, progress=show)
    seen = []
    after = run_study(STUDY, tmp_path / "s", progress=lambda progress: seen.append(progress.done))
    assert after.complete and seen[0] > 10 and rows_of(after) == rows_of(run_study(STUDY))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "localhost:9", "no-such-machine.invalid:8786"])
def test_a_cluster_that_is_not_there_is_one_message(address, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("sim.studies.cluster.PATIENCE", 1.0)
    with pytest.raises(StudyError, match=r"cannot be reached .*dask scheduler, and on each machine"):
        run_study(STUDY, tmp_path / "s", cluster=address)
