"""Drives the trips of a study: on one pool of workers, restartable, and with an answer at the end.

`run_study` goes top to bottom: plan, journal, the trips that are not finished yet, tables, answers.
"""

import os
import threading
import time
import weakref
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, Protocol

from sim.errors import StudyError
from sim.messages import studies as say
from sim.studies.journal import RECORD, Journal, read_record
from sim.studies.plan import NO_TRIP, Plan, Point, drive_point, make_plan
from sim.studies.question import Study, read_study, study_from
from sim.studies.result import StudyResult, read_result
from sim.studies.table import write_table
from sim.trips.pool import Here, TripPool

QUEUED = 4  # jobs handed over per worker; more would only wait
PATIENCE = 0.2  # s between looks at whether to stop
WORTH_WORKERS_KM = 1500.0  # of road; less is driven here before workers would be ready


class Workers(Protocol):
    """Whoever does jobs: this process, a pool of processes, or a cluster."""

    workers: int

    @property
    def submit(self) -> Callable[..., "Future[Any]"]:
        """Takes a function and its arguments, gives the job as a future. [-]"""

    @property
    def close(self) -> Callable[[], None]:
        """Takes no more jobs. [-]"""


@dataclass(frozen=True)
class Progress:
    """How far a study is: trips done of all, those that could not be driven, and the time left, None while unknown."""

    done: int
    total: int
    refused: int
    seconds_left: float | None


def run_study(
    asked: Study | Plan | str | Path | Mapping[str, Any],
    out: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    pool: Workers | None = None,
    progress: Callable[[Progress], None] | None = None,
    stop: threading.Event | None = None,
    force: bool = False,
    units: str = "metric",
) -> StudyResult:
    """Drives a study, or what is left of it, and answers what it asks.

    Parameters
    ----------
    asked : Study, Plan, str, Path or mapping
        A study, the name of a shipped one, the path of a study file, the folder of an earlier study, or the tables of a
        study file.
    out : str, Path or None
        Folder for results; finished trips found there are not driven again. None: results are kept as long as the answer
        is. The folder of an earlier study is taken for itself.
    workers : int or None
        Processes; None for one a core, or for none at all when there is little to drive.
    cluster : str or None
        Address of the scheduler of a Dask cluster; its workers drive then.
    pool : Workers or None
        A pool that is there already; it is not closed.
    progress : callable or None
        Called with a `Progress` after every few trips.
    stop : threading.Event or None
        When it is set, no new trip is begun.
    force : bool
        Whether finished trips of another study in that folder may be dropped.
    units : str
        Of the list for people, results.csv: metric, us or both.

    Returns
    -------
    result : StudyResult
        `complete` is False when the study was stopped.

    Raises
    ------
    HaulbenchError
        The study cannot be asked, driven or kept; finished trips are safe.

    Notes
    -----
    A script that uses more than one process needs the usual `if __name__ == "__main__":`.

    Examples
    --------
    >>> study = {"form": 1, "title": "Two gears", "truck": "long-haul-manual", "road": "grade:0%,1km",
    ...          "vary": {"drill.hold_gear": [8, 9]}}
    >>> result = run_study(study)
    >>> result.complete, result.column("ended").tolist()
    (True, ['arrived', 'arrived'])
    """
    plan, out = _plan_of(asked, out)
    if out is not None:
        return _run(plan, Path(out), workers, cluster, pool, progress, stop, force, units)
    if plan.study.traces:
        raise StudyError(say.traces_need_a_folder(name=plan.study.name))
    folder = Path(mkdtemp(prefix="haulbench-study-"))
    try:
        result = _run(plan, folder, workers, cluster, pool, progress, stop, force, units)
    except BaseException:
        rmtree(folder, ignore_errors=True)
        raise
    weakref.finalize(result, rmtree, folder, ignore_errors=True)
    return result


def _run(
    plan: Plan,
    folder: Path,
    workers: int | None,
    cluster: str | None,
    pool: Workers | None,
    progress: Callable[[Progress], None] | None,
    stop: threading.Event | None,
    force: bool,
    units: str,
) -> StudyResult:
    """Drives what is not finished yet, makes the tables and reads the result."""
    with _workers(plan, workers, cluster, pool) as hands, Journal(plan, folder, force) as journal:
        drive = _Driver(plan, journal, hands, progress, stop or threading.Event(), cluster)
        if plan.study.best:
            from sim.studies.best import search

            complete = search(plan, journal, drive.drive)
        else:
            done = journal.numbers()
            complete = drive.drive(point for point in plan.points() if point.number not in done)
        if journal.finished_trips() and not set(journal.counted()) - set(NO_TRIP):
            number, varied, row = next(journal.rows())
            first = say.refused_point(
                number=number,
                total=plan.total,
                combination=plan.point_of(number, varied).words(),
                problem=row["problem"],
            )
            if complete:
                raise StudyError(say.all_refused(where=plan.study.name, trips=journal.finished_trips(), first=first))
        write_table(journal, complete)
    result = read_result(folder, plan)
    result.write_csv(units)
    return result


def _plan_of(
    asked: Study | Plan | str | Path | Mapping[str, Any], out: str | Path | None
) -> tuple[Plan, str | Path | None]:
    """The plan of whatever was asked, and where its results go."""
    if isinstance(asked, Plan):
        return asked, out
    if isinstance(asked, Study):
        return make_plan(asked), out
    if isinstance(asked, Mapping):
        return make_plan(study_from(asked, "study", "study")), out
    folder = Path(asked)
    if os.path.lexists(folder / RECORD):
        return read_record(folder), folder if out is None else out
    return make_plan(read_study(asked)), out


@contextmanager
def _workers(plan: Plan, workers: int | None, cluster: str | None, pool: Workers | None) -> Iterator[Workers]:
    """Whoever drives this study."""
    if pool is not None:
        yield pool
        return
    hands: Workers
    if cluster is not None:
        from sim.studies.cluster import ClusterPool

        hands = ClusterPool(cluster)
    elif workers is None and plan.kilometres() < WORTH_WORKERS_KM:
        hands = Here()
    else:
        hands = TripPool(workers)
    try:
        yield hands
    finally:
        hands.close()


class _Driver:
    """Hands trips out and keeps what comes back."""

    def __init__(
        self,
        plan: Plan,
        journal: Journal,
        hands: Workers,
        progress: Callable[[Progress], None] | None,
        stop: threading.Event,
        cluster: str | None,
    ) -> None:
        self.plan, self.journal, self.hands, self.progress, self.stop = plan, journal, hands, progress, stop
        self.cluster = cluster
        self.started, self.driven = time.perf_counter(), 0
        self.done = journal.finished_trips()
        self.refused = sum(trips for state, trips in journal.counted().items() if state in NO_TRIP)

    def drive(self, points: Iterator[Point]) -> bool:
        """Drives trips until there are none left or it is to stop.

        Returns
        -------
        complete : bool
            False when it was stopped before the last trip.
        """
        jobs: dict[Future[Any], Point] = {}
        left, given_up = True, False
        try:
            while True:
                while left and not self.stop.is_set() and len(jobs) < QUEUED * self.hands.workers:
                    point = next(points, None)
                    left = point is not None
                    if point is not None:
                        jobs[self.hands.submit(drive_point, *self.plan.job(point))] = point
                        if isinstance(self.hands, Here):
                            break
                if not jobs:
                    return not given_up and (not left or next(points, None) is None)
                if self.stop.is_set():
                    for job in [job for job in jobs if job.cancel()]:
                        del jobs[job]
                        given_up = True
                self._take(jobs)
        except BaseException:
            for job in jobs:
                job.cancel()
            raise

    def _take(self, jobs: dict["Future[Any]", Point]) -> None:
        """Keeps the trips that have come back."""
        finished, _ = wait(jobs, timeout=PATIENCE, return_when=FIRST_COMPLETED)
        rows = []
        for job in finished:
            point = jobs.pop(job)
            try:
                row = job.result()
            except (CancelledError, OSError) as problem:
                if self.cluster:
                    raise StudyError(say.cluster_lost(address=self.cluster, kept=self.journal.kept)) from problem
                raise
            rows.append((point.number, point.varied, row))
            self.refused += row["state"] in NO_TRIP
        if rows:
            self.journal.keep(rows)
            self.done += len(rows)
            self.driven += len(rows)
        if self.progress:
            spent = time.perf_counter() - self.started
            left = spent / self.driven * (self.plan.total - self.done) if self.driven else None
            self.progress(Progress(self.done, self.plan.total, self.refused, left))
