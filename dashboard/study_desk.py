"""Studies under way on the server: shared by all who ask the same, stopped when nobody watches any more.

A study is named by its content. It runs in a thread that hands few trips at a time to the workshop's patient lanes, so that a
class can go on changing settings beside it. What is finished lies in temporary folders, few at a time, which go with the server.
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

from dashboard.asking import current
from dashboard.costs import point_seconds, study_seconds
from dashboard.runs import HERE, Workshop, terms_of
from sim.errors import HaulbenchError, StudyError
from sim.messages import browser as say
from sim.studies.plan import Plan
from sim.studies.runner import Progress, run_study
from sim.studies.table import StudyResult

MOST_TRIPS = 600  # of a study asked for over the network
MOST_KILOMETRES = 30_000.0
MOST_SECONDS = 450.0  # s of one processor: so many kilometres with failures
MOST_RUNNING = 2
MOST_KEPT = 12  # finished studies, the least recently asked for is dropped
FORGOTTEN = (
    90.0  # s after which a browser that does not ask again has left; one out of sight may ask once a minute only
)


class PatientHands:
    """The workshop's patient lanes as one study sees them: its trips take turns with what others ask.

    Parameters
    ----------
    workshop : Workshop
        [-]
    who : str
        Who asked for the study. [-]
    """

    workers = 1  # as a study sees it: few of its trips wait at a time

    def __init__(self, workshop: Workshop, who: str) -> None:
        self._pool, self._who = workshop.patient, who

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a trip.

        Parameters
        ----------
        function : callable
            `sim.studies.plan.drive_point`. [-]
        given : any
            Its arguments. [-]

        Returns
        -------
        future : Future
            [-]
        """
        return self._pool.submit(function, *given, terms=terms_of(self._who, point_seconds(*given), patient=True))

    def close(self) -> None:
        """The lanes are the workshop's; they stay open."""


@dataclass
class Running:
    """A study under way or finished: its plan, how far it is, who watches, and what came of it."""

    plan: Plan
    folder: Path
    who: str
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
        self._workshop = workshop
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
            It is too large for the server, too many are under way, or one of the same asker is.
        """
        if plan.total > MOST_TRIPS or plan.kilometres() > MOST_KILOMETRES:
            raise StudyError(
                say.large_study(
                    trips=plan.total, kilometres=plan.kilometres(), most=MOST_TRIPS, most_km=MOST_KILOMETRES
                )
            )
        seconds = study_seconds(plan)
        if seconds > MOST_SECONDS:
            raise StudyError(say.slow_study(seconds=seconds, most=MOST_SECONDS))
        key, who = key_of_study(plan), current().who
        with self._lock:
            self._sweep()
            running = self._studies.get(key)
            again = running is not None and running.over and not running.complete
            if running is None or again:
                under_way = [each for each in self._studies.values() if not each.over]
                if who != HERE and any(each.who == who and not each.stop.is_set() for each in under_way):
                    raise StudyError(say.study_of_yours())
                if len(under_way) >= MOST_RUNNING:
                    raise StudyError(say.many_studies(most=MOST_RUNNING))
                folder = running.folder if running is not None else self._new_folder()
                running = Running(plan, folder, who)
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

        hands = PatientHands(self._workshop, running.who)
        try:
            while not running.over:
                running.result = run_study(
                    running.plan, running.folder / "study", pool=hands, told=told, stop=running.stop
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
