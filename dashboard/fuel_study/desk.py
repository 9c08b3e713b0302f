"""Studies under way on the server: shared by all who ask the same, stopped when nobody watches any more.

A study is named by its content. It runs in a thread that hands few trips at a time to the workshop's patient lanes, so that a
class can go on changing settings beside it. Few run at once; the others wait, one of each asker, so that all have turns. What is
finished lies in temporary folders, few at a time, which go with the server: first those that nobody watches, of whoever keeps most.
"""

import hashlib
import threading
import time
import weakref
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

from dashboard.server.asking import current
from dashboard.server.costs import point_seconds, study_seconds
from dashboard.server.runs import HERE, MOST_SHARE, Workshop, terms_of
from sim.errors import HaulbenchError, StudyError
from sim.messages import browser as say
from sim.studies.plan import Plan
from sim.studies.result import StudyResult
from sim.studies.runner import Progress, run_study

MOST_TRIPS = 600  # of a study asked for over the network
MOST_KILOMETRES = 30_000.0
MOST_SECONDS = 450.0  # s of one processor: so many kilometres with failures
MOST_RUNNING = 2
MOST_WAITING = 30
MOST_KEPT = 36  # finished studies, and more only of those that are watched by askers who keep no more than their share
MOST_WATCHED = 60  # finished studies, watched or not
FORGOTTEN = (
    90.0  # s after which a browser that does not ask again has left; one out of sight may ask once a minute only
)


class PatientHands:
    """The workshop's patient lanes as one study sees them: its trips take turns with what others ask.

    Parameters
    ----------
    who : str
        Who asked for the study.
    """

    workers = 1  # as a study sees it: few of its trips wait at a time

    def __init__(self, workshop: Workshop, who: str) -> None:
        self._pool, self._who = workshop.patient, who

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a trip.

        Parameters
        ----------
        function : callable
            `sim.studies.plan.drive_point`.
        given : any
            Its arguments.
        """
        return self._pool.submit(function, *given, terms=terms_of(self._who, point_seconds(*given), patient=True))

    def close(self) -> None:
        """The lanes are the workshop's; they stay open."""


@dataclass(eq=False)
class Running:
    """A study that waits, is under way or finished: its plan, how far it is, who asked, who watches, and what came of it."""

    plan: Plan
    folder: Path
    who: str
    stop: threading.Event = field(default_factory=threading.Event)
    watchers: dict[str, float] = field(default_factory=dict)
    askers: set[str] = field(default_factory=set)
    before: int = 0  # studies that go before this one; none when it is its turn
    progress: Progress | None = None
    result: StudyResult | None = None
    problem: HaulbenchError | None = None
    over: bool = False

    @property
    def complete(self) -> bool:
        """Whether every trip is finished. [-]"""
        return self.result is not None and self.result.complete and self.result.trips >= self.plan.total

    @property
    def keeper(self) -> str:
        """On whose account it is kept: nobody's when several have asked for it. [-]"""
        return self.who if self.askers == {self.who} else HERE


def key_of_study(plan: Plan) -> str:
    """The content address of a study: of what it drives and of what it reports.

    Returns
    -------
    key : str
        32 hexadecimal digits.
    """
    study = plan.study
    words = "\n".join([plan.fingerprint(), study.title, study.question, *study.report])
    return hashlib.blake2b(words.encode(), digest_size=16).hexdigest()


class Studies:
    """Where studies are asked for, watched and left."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self._lock = threading.Lock()
        self._studies: OrderedDict[str, Running] = OrderedDict()
        self._waiting: list[Running] = []  # whoever has waited longest first
        self._driving = 0  # threads

    def join(self, watcher: str, plan: Plan) -> str:
        """Watches a study; one that nobody has asked for yet is driven when it is its turn.

        Parameters
        ----------
        watcher : str
            A word that is nobody else's.

        Returns
        -------
        key : str
            By which it is looked at.

        Raises
        ------
        StudyError
            It is too large for the server, too many are waiting, or one of the same asker is under way or waits.
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
                others = [each for each in self._studies.values() if not each.over and not each.stop.is_set()]
                own = next((each for each in others if each.who == who != HERE), None)
                if own is not None:
                    raise StudyError(say.study_of_yours(waits=own.before > 0))
                if len(self._waiting) >= MOST_WAITING:
                    raise StudyError(say.many_studies(most=MOST_WAITING))
                folder, result = (running.folder, running.result) if running else (self._new_folder(), None)
                running = self._studies[key] = Running(plan, folder, who, result=result)
                self._waiting.append(running)
            running.watchers[watcher] = time.monotonic() + FORGOTTEN
            running.askers.add(who)
            self._studies.move_to_end(key)
            self._take_turns()
        return key

    def look(self, watcher: str, key: str) -> Running | None:
        """How far a study is; whoever looks still watches.

        Returns
        -------
        running : Running or None
            None for one that is not kept.
        """
        with self._lock:
            running = self._studies.get(key)
            if running is not None:
                self._studies.move_to_end(key)
                if watcher in running.watchers:
                    running.watchers[watcher] = time.monotonic() + FORGOTTEN
            return running

    def leave(self, watcher: str, key: str) -> int:
        """Watches no longer; what nobody watches does not wait, or stops after the trips under way and keeps what is finished.

        Returns
        -------
        others : int
            How many still watch.
        """
        with self._lock:
            running = self._studies.get(key)
            if running is None:
                return 0
            running.watchers.pop(watcher, None)
            self._stop_unwatched(running)
            self._take_turns()
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

        def keep_up(progress: Progress) -> None:
            running.progress = progress
            with self._lock:
                self._sweep()

        hands = PatientHands(self._workshop, running.who)
        try:
            while not running.over:
                running.result = run_study(
                    running.plan, running.folder / "study", pool=hands, progress=keep_up, stop=running.stop
                )
                with self._lock:
                    running.over = running.complete or not running.stop.is_set() or not running.watchers
                    if not running.over:
                        running.stop.clear()
        except HaulbenchError as problem:
            running.problem = problem
        finally:
            with self._lock:
                running.over = True
                self._driving -= 1
                self._sweep()

    def _take_turns(self) -> None:
        """Starts the studies whose turn it is; the others know how many go before them."""
        while self._waiting and self._driving < MOST_RUNNING:
            running = self._waiting.pop(0)
            running.before, running.result = 0, None
            self._driving += 1
            threading.Thread(target=self._drive, args=(running,), daemon=True, name="study").start()
        for place, running in enumerate(self._waiting):
            running.before = self._driving + place

    def _sweep(self) -> None:
        """Lets go of browsers that have not been seen for long, and of finished studies that are too many."""
        now = time.monotonic()
        for running in self._studies.values():
            for watcher, until in list(running.watchers.items()):
                if until < now:
                    del running.watchers[watcher]
            self._stop_unwatched(running)
        self._take_turns()
        while (name := self._too_much()) is not None:
            rmtree(self._studies.pop(name).folder, ignore_errors=True)

    def _stop_unwatched(self, running: Running) -> None:
        """Stops a study that nobody watches."""
        if running.watchers or running.over:
            return
        running.stop.set()
        if running in self._waiting:
            self._waiting.remove(running)
            running.over = True

    def _too_much(self) -> str | None:
        """The finished study to drop: of who keeps more than a share, else of who keeps most, what nobody watches first."""
        over = {name: each for name, each in self._studies.items() if each.over}
        if len(over) <= MOST_KEPT:
            return None
        kept = Counter(each.keeper for each in over.values())
        greedy = {who for who in kept if kept[who] > (1.0 if who == HERE else MOST_SHARE) * MOST_KEPT}
        loose = [
            name
            for name, each in over.items()
            if not each.watchers or each.keeper in greedy or len(over) > MOST_WATCHED
        ]

        def weight(name: str) -> tuple[bool, int, bool]:
            who = over[name].keeper
            return who in greedy, kept[who], not over[name].watchers

        return max(loose, key=weight, default=None)  # of equals the least recently asked for
