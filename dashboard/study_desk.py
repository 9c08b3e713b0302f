"""Studies under way on the server: shared by all who ask the same, stopped when nobody watches any more.

A study is named by its content. It runs in a thread that hands few trips at a time to the workshop's pool, so that a class can
go on changing settings beside it. What is finished lies in temporary folders, few at a time, which go with the server.
"""

import hashlib
import threading
import time
import weakref
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
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
FORGOTTEN = 20.0  # s after which a browser that does not ask again has left


class FewAtATime:
    """The workshop's pool as one worker of it, so that a study leaves room for others.

    Parameters
    ----------
    workshop : Workshop
        [-]
    """

    workers = 1

    def __init__(self, workshop: Workshop) -> None:
        self._pool = workshop.pool

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a job.

        Parameters
        ----------
        function : callable
            [-]
        given : any
            Its arguments. [-]

        Returns
        -------
        future : Future
            [-]
        """
        return self._pool.submit(function, *given)

    def close(self) -> None:
        """The pool is the workshop's; it stays open."""


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
            again = running is not None and running.over and (running.problem or not self._complete(running))
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
        """Drives a study to its end, in a thread of its own."""

        def told(progress: Progress) -> None:
            running.progress = progress
            with self._lock:
                self._sweep()

        try:
            running.result = run_study(
                running.plan, running.folder / "study", pool=self._pool, told=told, stop=running.stop
            )
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

    @staticmethod
    def _complete(running: Running) -> bool:
        """Whether all trips of a study are finished."""
        return running.result is not None and running.result.complete
