"""The pool of worker processes: same trips as in this process, no job is lost when a worker or the parent dies, and a job that
goes on too long, or that nobody wants any more, is ended with its worker and nothing else.
"""

import gc
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from sim.errors import RunError
from sim.inputs.files import load_truck
from sim.inputs.one_trip import key_of, read_inputs
from sim.trips.pool import Terms, TripPool, drive

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


def note(file: str, word: str, seconds: float = 0.0) -> int:
    """Writes a line when it is begun, and answers with its worker."""
    with Path(file).open("a") as out:
        out.write(f"{word} {os.getpid()}\n")
    time.sleep(seconds)
    return os.getpid()


def note_and_wait(file: str, word: str, mark: str) -> int:
    """Writes a line when it is begun, and waits for the mark."""
    note(file, word)
    while not Path(mark).exists():
        time.sleep(0.01)
    return os.getpid()


def for_ever(file: str) -> None:
    """A job that never ends, and keeps its core busy."""
    note(file, "for ever")
    while True:
        pass


def begun(file: Path, word: str, seconds: float = 20.0) -> list[int]:
    """The workers in which jobs of that name were begun; waits for the first."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        lines = file.read_text().splitlines() if file.exists() else []
        found = [int(line.rpartition(" ")[2]) for line in lines if line.rpartition(" ")[0] == word]
        if found:
            return found
        time.sleep(0.01)
    raise AssertionError(f"{word} was not begun")


def is_gone(process: int, seconds: float = 5.0) -> bool:
    """Whether a process has ended, or does so soon."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.01)
    return False


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


def test_a_job_over_its_time_ends_with_its_worker_and_its_neighbour_never_notices(pool, tmp_path):
    file = tmp_path / "begun"
    neighbour = pool.submit(note_and_wait, str(file), "neighbour", str(tmp_path / "go"))
    begun(file, "neighbour")
    endless = pool.submit(for_ever, str(file), terms=Terms(longest=0.5))
    (worker,) = begun(file, "for ever")
    since = time.monotonic()
    with pytest.raises(RunError, match=r"more than the 0.5 s it was allowed, and was ended; give it less to do"):
        endless.result(timeout=10)
    assert time.monotonic() - since < 1.5 and is_gone(worker)
    again = pool.submit(note, str(file), "after").result(timeout=20)
    assert again != worker, "the lane answers again, with a worker of its own"
    assert not neighbour.done()
    (tmp_path / "go").touch()
    assert neighbour.result(timeout=20) == begun(file, "neighbour")[0]
    assert len(begun(file, "neighbour")) == len(begun(file, "for ever")) == 1, "nothing was done twice"


def test_a_worker_that_dies_takes_no_other_job_with_it(pool, tmp_path):
    file = tmp_path / "begun"
    neighbour = pool.submit(note_and_wait, str(file), "neighbour", str(tmp_path / "go"))
    begun(file, "neighbour")
    with pytest.raises(RunError, match="died 3 times"):
        pool.submit(die_always).result(timeout=60)
    assert not neighbour.done()
    (tmp_path / "go").touch()
    neighbour.result(timeout=20)
    assert len(begun(file, "neighbour")) == 1


def test_a_job_that_nobody_wants_any_more_frees_its_lane(pool, tmp_path):
    file = tmp_path / "begun"
    neighbour = pool.submit(note_and_wait, str(file), "neighbour", str(tmp_path / "go"))
    begun(file, "neighbour")
    endless = pool.submit(for_ever, str(file))
    (worker,) = begun(file, "for ever")
    assert endless.cancel()
    assert is_gone(worker)
    assert pool.submit(note, str(file), "after").result(timeout=20) != worker
    assert not neighbour.done()
    (tmp_path / "go").touch()
    assert neighbour.result(timeout=20) and len(begun(file, "neighbour")) == 1


def test_a_short_job_that_nobody_wants_any_more_just_finishes(pool, tmp_path):
    file = tmp_path / "begun"
    jobs = [pool.submit(note, str(file), "short", 0.2) for _ in range(2)]
    workers = {begun(file, "short")[0]}
    while len(workers) < 2:
        workers = set(begun(file, "short"))
    assert all(job.cancel() for job in jobs)
    assert pool.submit(note, str(file), "after").result(timeout=20) in workers
    time.sleep(0.6)
    assert pool.submit(note, str(file), "later").result(timeout=20) in workers


def test_a_pool_closes_within_three_seconds_whatever_it_does(tmp_path):
    file = tmp_path / "begun"
    pool = TripPool(2)
    jobs = [pool.submit(for_ever, str(file)) for _ in range(5)]
    while len(workers := begun(file, "for ever")) < 2:
        time.sleep(0.01)
    before = time.monotonic()
    pool.close()
    assert time.monotonic() - before < 3.0
    assert all(job.cancelled() for job in jobs) and all(is_gone(worker) for worker in workers)


def test_a_pool_that_is_closed_while_it_gets_warm_says_so():
    pool = TripPool(1)
    closing = threading.Timer(0.3, pool.close)
    closing.start()
    with pytest.raises(RunError, match="closed; make a new one"):
        pool.warm(wait_long)
    closing.join()


def wait_long() -> None:
    time.sleep(30.0)


def test_what_cannot_travel_is_the_askers_fault_and_costs_no_worker(pool):
    before = pool.submit(os.getpid).result()
    with pytest.raises(Exception, match="pickle"):
        pool.submit(max, lambda: 1).result(timeout=20)
    with pytest.raises(Exception, match="pickle"):
        pool.submit(open, os.devnull).result(timeout=20)
    assert before in {pool.submit(wait_for, 0.05).result(timeout=20) for _ in range(4)}


def test_workers_that_shall_let_others_go_first_do():
    with TripPool(1, nice=7) as pool:
        assert pool.submit(os.nice, 0).result(timeout=60) == os.nice(0) + 7


def test_a_worker_that_replaces_another_is_as_warm(tmp_path):
    with TripPool(1) as pool:
        pool.warm(load_more)
        with pytest.raises(RunError, match="was allowed"):
            pool.submit(for_ever, str(tmp_path / "begun"), terms=Terms(longest=0.2)).result(timeout=20)
        assert pool.submit(is_loaded).result(timeout=60)


def load_more() -> None:
    os.environ["LOADED_MORE"] = "yes"


def is_loaded() -> bool:
    return "LOADED_MORE" in os.environ and gc.get_freeze_count() > 0


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
        "import os, time\nfrom sim.trips.pool import TripPool\n"
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
