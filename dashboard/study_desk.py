"""Studies under way on the server: shared by all who ask the same, stopped when nobody watches any more.

A study is named by its content. It runs in a thread that hands few trips at a time to the workshop's pool, so that a class can
go on changing settings beside it. What is finished lies in temporary folders, few at a time, which go with the server.
"""

import hashlib
import threading
import time
import weakref
from collections import OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

from dashboard.runs import Workshop
from sim.errors import HaulbenchError, StudyError
from sim.messages import browser as say
from sim.studies.plan import Plan
from sim.studies.runner import Progress, run_study
from sim.studies.table import StudyResult

MOST_TRIPS = 600  # of a study asked for over the network
MOST_KILOMETRES = 30_000.0
MOST_RUNNING = 2
MOST_KEPT = 12  # finished studies, the least recently asked for is dropped
FORGOTTEN = (
    90.0  # s after which a browser that does not ask again has left; one out of sight may ask once a minute only
)


class FewAtATime:
    """The workshop's pool as all studies together see it: never more of their trips in it than it has workers.

    The others wait here, so that a trip somebody has just changed comes after the trips under way and not after those queued.

    Parameters
    ----------
    workshop : Workshop
        [-]
    """

    workers = 1  # as each study sees it

    def __init__(self, workshop: Workshop) -> None:
        self._pool = workshop.pool
        self._room = int(getattr(workshop.pool, "workers", 1))
        self._lock = threading.Lock()
        self._waiting: deque[tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]] = deque()

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a job.

        Parameters
        ----------
        function : callable
            Importable by name. [-]
        given : any
            Its arguments. [-]

        Returns
        -------
        future : Future
            [-]
        """
        outer: Future[Any] = Future()
        with self._lock:
            self._waiting.append((outer, function, given))
        self._hand_over()
        return outer

    def close(self) -> None:
        """The pool is the workshop's; it stays open."""

    def _hand_over(self) -> None:
        """Gives waiting jobs to the pool as long as there is room."""
        while True:
            with self._lock:
                while self._waiting and self._waiting[0][0].cancelled():
                    self._waiting.popleft()
                if not self._waiting or self._room < 1:
                    return
                outer, function, given = self._waiting.popleft()
                self._room -= 1
            try:
                inner = self._pool.submit(function, *given)
            except HaulbenchError as problem:
                inner = Future()
                inner.set_exception(problem)
            outer.add_done_callback(partial(_cancel_too, inner))
            inner.add_done_callback(partial(self._finish, outer))

    def _finish(self, outer: "Future[Any]", inner: "Future[Any]") -> None:
        """Passes on what came of a job, and lets the next one in."""
        with self._lock:
            self._room += 1
        if inner.cancelled():
            outer.cancel()
        elif outer.set_running_or_notify_cancel():
            problem = inner.exception()
            if problem is None:
                outer.set_result(inner.result())
            else:
                outer.set_exception(problem)
        self._hand_over()


def _cancel_too(inner: "Future[Any]", outer: "Future[Any]") -> None:
    """Takes a job out of the pool when whoever asked for it has."""
    if outer.cancelled():
        inner.cancel()


@dataclass
class Running:
    """A study under way or finished: its plan, how far it is, who watches, and what came of it."""

    plan: Plan
    folder: Path
    stop: threading.Event = field(default_factory=threading.Event)
    watchers: dict[str, float] = field(default_factory=dict)
    progress: Progress | None = None
    result: StudyResult | None = None
    problem: HaulbenchError | None = None
    over: bool = False

    @property
    def complete(self) -> bool:
        """Whether every trip is finished. [-]"""
        return self.result is not None and self.result.complete and self.result.trips >= self.plan.total


def key_of_study(plan: Plan) -> str:
    """The content address of a study: of what it drives and of what it reports.

    Parameters
    ----------
    plan : Plan
        [-]

    Returns
    -------
    key : str
        32 hexadecimal digits. [-]
    """
    study = plan.study
    words = "\n".join([plan.fingerprint(), study.title, study.question, *study.report])
    return hashlib.blake2b(words.encode(), digest_size=16).hexdigest()


class Desk:
    """Where studies are asked for, watched and left.

    Parameters
    ----------
    workshop : Workshop
        [-]
    """

    def __init__(self, workshop: Workshop) -> None:
        self._pool = FewAtATime(workshop)
        self._lock = threading.Lock()
        self._studies: OrderedDict[str, Running] = OrderedDict()

    def join(self, watcher: str, plan: Plan) -> str:
        """Watches a study, and starts it when nobody has.

        Parameters
        ----------
        watcher : str
            A word that is nobody else's. [-]
        plan : Plan
            [-]

        Returns
        -------
        key : str
            By which it is looked at. [-]

        Raises
        ------
        StudyError
            It is too large for the server, or too many are under way.
        """
        if plan.total > MOST_TRIPS or plan.kilometres() > MOST_KILOMETRES:
            raise StudyError(
                say.large_study(
                    trips=plan.total, kilometres=plan.kilometres(), most=MOST_TRIPS, most_km=MOST_KILOMETRES
                )
            )
        key = key_of_study(plan)
        with self._lock:
            self._sweep()
            running = self._studies.get(key)
            again = running is not None and running.over and not running.complete
            if running is None or again:
                if sum(not each.over for each in self._studies.values()) >= MOST_RUNNING:
                    raise StudyError(say.many_studies(most=MOST_RUNNING))
                folder = running.folder if running is not None else self._new_folder()
                running = Running(plan, folder, watchers={})
                self._studies[key] = running
                threading.Thread(target=self._drive, args=(running,), daemon=True, name="study").start()
            running.watchers[watcher] = time.monotonic() + FORGOTTEN
            self._studies.move_to_end(key)
            for old in [name for name, each in self._studies.items() if each.over][: -MOST_KEPT or None]:
                rmtree(self._studies.pop(old).folder, ignore_errors=True)
        return key

    def look(self, watcher: str, key: str) -> Running | None:
        """How far a study is; whoever looks still watches.

        Parameters
        ----------
        watcher : str
            [-]
        key : str
            [-]

        Returns
        -------
        running : Running or None
            None for one that is not kept. [-]
        """
        with self._lock:
            running = self._studies.get(key)
            if running is not None:
                self._studies.move_to_end(key)
                if watcher in running.watchers:
                    running.watchers[watcher] = time.monotonic() + FORGOTTEN
            return running

    def leave(self, watcher: str, key: str) -> int:
        """Watches no longer; a study that nobody watches stops after the trips under way, and keeps what is finished.

        Parameters
        ----------
        watcher : str
            [-]
        key : str
            [-]

        Returns
        -------
        others : int
            How many still watch. [-]
        """
        with self._lock:
            running = self._studies.get(key)
            if running is None:
                return 0
            running.watchers.pop(watcher, None)
            self._stop_unwatched(running)
            return len(running.watchers)

    def _new_folder(self) -> Path:
        """A folder for one study, gone with the desk at the latest."""
        folder = Path(mkdtemp(prefix="haulbench-class-"))
        weakref.finalize(self, rmtree, folder, ignore_errors=True)
        return folder

    def _drive(self, running: Running) -> None:
        """Drives a study to its end, in a thread of its own.

        Whoever asks for a study while it is stopping wants it driven: it goes on where it stopped.
        """

        def told(progress: Progress) -> None:
            running.progress = progress
            with self._lock:
                self._sweep()

        try:
            while not running.over:
                running.result = run_study(
                    running.plan, running.folder / "study", pool=self._pool, told=told, stop=running.stop
                )
                with self._lock:
                    running.over = running.complete or not running.stop.is_set() or not running.watchers
                    if not running.over:
                        running.stop.clear()
        except HaulbenchError as problem:
            running.problem = problem
        finally:
            running.over = True

    def _sweep(self) -> None:
        """Lets go of browsers that have not been seen for long."""
        now = time.monotonic()
        for running in self._studies.values():
            for watcher, until in list(running.watchers.items()):
                if until < now:
                    del running.watchers[watcher]
            self._stop_unwatched(running)

    def _stop_unwatched(self, running: Running) -> None:
        """Stops a study that nobody watches."""
        if not running.watchers and not running.over:
            running.stop.set()
