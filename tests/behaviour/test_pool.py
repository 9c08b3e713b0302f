"""The pool of worker processes: same trips as in this process, and no job is lost when a worker or the parent dies."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.errors import RunError
from sim.files import load_truck
from sim.inputs import key_of, read_inputs
from sim.pool import TripPool, drive

ROAD = "grade:-2%,1km,500m"


def die_the_first_time(mark: str) -> str:
    """Kills its own worker unless the mark is there."""
    if not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "done"


def die_always() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def refuse() -> None:
    raise RunError("refused on purpose")


def wait_for(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


@pytest.fixture(scope="module")
def pool():
    with TripPool(2) as made:
        yield made


def test_a_trip_in_a_worker_is_the_trip_in_this_process(pool):
    inputs = read_inputs(ROAD, "long-haul-manual")
    there, here = pool.submit(drive, inputs).result(), drive(inputs)
    assert {k: v for k, v in there.summary.items() if k != "timing"} == {
        k: v for k, v in here.summary.items() if k != "timing"
    }
    assert there.trace.csv() == here.trace.csv()


def test_the_answer_of_a_refusal_is_the_refusal(pool):
    with pytest.raises(RunError, match="refused on purpose"):
        pool.submit(refuse).result()


def test_a_worker_that_dies_costs_time_and_no_job(pool, tmp_path):
    others = [pool.submit(wait_for, 0.1) for _ in range(3)]
    dying = pool.submit(die_the_first_time, str(tmp_path / "mark"))
    assert dying.result(timeout=60) == "done"
    assert len({job.result(timeout=60) for job in others}) <= 3


def test_a_job_that_always_kills_its_worker_is_refused(pool):
    with pytest.raises(RunError, match="worker processes died 3 times"):
        pool.submit(die_always).result(timeout=60)
    assert pool.submit(wait_for, 0.0).result(timeout=60) != os.getpid()


def test_a_cancelled_job_is_taken_out_of_the_queue(pool):
    running = [pool.submit(wait_for, 0.5) for _ in range(2)]
    waiting = [pool.submit(wait_for, 2.0) for _ in range(6)]
    started = time.perf_counter()
    assert all(job.cancel() for job in waiting)
    for job in running:
        job.result(timeout=60)
    assert pool.submit(wait_for, 0.0).result(timeout=60)
    # two or three of them may have been on their way to a worker already; the rest must not be
    assert time.perf_counter() - started < 6.0


def test_a_closed_pool_says_so():
    pool = TripPool(1)
    pool.close()
    with pytest.raises(RunError, match="closed; make a new one"):
        pool.submit(wait_for, 0.0)
    with pytest.raises(RunError, match="workers is 0; give 1 or more"):
        TripPool(0)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="reads /proc")
def test_workers_end_with_a_parent_that_is_killed(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(
        "import os, time\nfrom sim.pool import TripPool\n"
        "if __name__ == '__main__':\n"
        "    pool = TripPool(1)\n"
        "    print(pool.submit(os.getpid).result(), flush=True)\n"
        "    time.sleep(60)\n"
    )
    parent = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert parent.stdout is not None
    worker = int(parent.stdout.readline())
    parent.kill()
    parent.wait()
    deadline = time.perf_counter() + 20.0
    while Path(f"/proc/{worker}/stat").exists() and time.perf_counter() < deadline:
        if Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
            break
        time.sleep(0.05)
    else:
        assert not Path(f"/proc/{worker}/stat").exists()
    parent.stdout.close()


def test_the_key_of_a_trip_follows_what_goes_into_it():
    one = read_inputs(ROAD, "long-haul-manual")
    assert key_of(one) == key_of(read_inputs(ROAD, "long-haul-manual"))
    changed = [
        read_inputs("grade:-2%,1km,501m", "long-haul-manual"),
        read_inputs("grade:-2.01%,1km,500m", "long-haul-manual"),
        read_inputs(ROAD, "long-haul-automated"),
        read_inputs(ROAD, "long-haul-manual", changes=["vehicle.drag_area_m2=5.71"]),
        read_inputs(ROAD, "long-haul-manual", changes=["weather.wind_m_s=0.1"]),
    ]
    assert len({key_of(one), *map(key_of, changed)}) == 6
    assert load_truck("long-haul-manual").truck == one.truck.truck
