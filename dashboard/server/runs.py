"""The server's workshop: two pools of worker processes and one bounded store of what they have finished.

A job is named by the content of its inputs, so that equal questions share one answer, and lives as long as somebody watches it:
whoever leaves stops only a job that nobody else waits for. Who asks counts only for whose turn it is: short questions have quick
lanes of their own; what takes longer, and whatever a heavy user asks, goes to patient lanes, whose processes let all others go
first. What a question will take is known before it is asked; one that would take too long is refused.
"""

import hashlib
import itertools
import pickle
import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, field
from typing import Any

from dashboard.server.asking import current
from dashboard.server.costs import MOST_SECONDS, expected_seconds
from dashboard.server.identity import Identity
from dashboard.server.turns import SHORT, FairTurns
from sim.compiled import MODEL_VERSION
from sim.errors import HaulbenchError, RouteError, RunError
from sim.inputs.one_trip import Inputs, key_of
from sim.messages import browser as say
from sim.roads.route import Route
from sim.trips.pool import Terms, TripPool

MOST_BYTES = 96_000_000  # of finished answers
MOST_UPLOAD_BYTES = 48_000_000
MOST_SHARE = 0.25  # of them for one asker
MOST_WAITING = 400  # jobs that have not finished
MOST_EACH = 12  # of one asker
LONGEST_WAIT = 120.0  # s
# longest time of a job: so many times what it is expected to take, and so many seconds; patient lanes give way to all others
QUICK_TIMES, QUICK_MORE = 5.0, 12.0
PATIENT_TIMES, PATIENT_MORE = 4.0, 20.0
QUICK_NICE, PATIENT_NICE = 5, 19  # the server itself goes before both, since everybody waits for it
FORGOTTEN = 60.0  # s after which a watcher that does not ask again has left
HERE = "here"  # who asks when no request is being answered: this process, which has no share to keep to
UPLOAD = "upload:"  # before the address of an uploaded road
ADDRESS_DIGITS = 32


class Gone(Exception):  # noqa: N818 - nobody's fault, and no error
    """Whoever asked has left."""


@dataclass
class Job:
    """A job that has not finished, who asked for it, and its watchers: when each was last seen, infinity for those waiting here."""

    future: "Future[Any]"
    who: str
    watchers: dict[str, float] = field(default_factory=dict)


@dataclass
class Kept:
    """A value, what it weighs, and who has put it there."""

    value: Any
    weight: int
    who: str


class Store:
    """Values by name, given up when they weigh too much: those of the asker who keeps most, the least recently used first.

    Parameters
    ----------
    most : int
        Together. [byte]
    share : float
        Of that for the values of one asker.
    """

    def __init__(self, most: int, share: float = MOST_SHARE) -> None:
        self.most, self.share = most, share
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Kept] = OrderedDict()
        self._weights: Counter[str] = Counter()

    def __len__(self) -> int:
        return len(self._kept)

    @property
    def weight(self) -> int:
        """All together. [byte]"""
        return self._weights.total()

    def put(self, name: str, value: Any, who: str | None = None) -> None:
        """Keeps a value; one that is heavier than what there is room for is not kept.

        Parameters
        ----------
        value : any
            Picklable.
        who : str or None
            On whose account; None for who asks.
        """
        who = current().who if who is None else who
        weight = len(value) if isinstance(value, bytes) else len(pickle.dumps(value, protocol=5))
        if weight > self._room(who):
            return
        with self._lock:
            if name in self._kept:
                if self._kept[name].who != who:
                    who = HERE  # wanted by several: on nobody's account
                self._drop(name)
            self._kept[name] = Kept(value, weight, who)
            self._weights[who] += weight
            while self._weights[who] > self._room(who):
                self._drop_oldest(who)
            while self.weight > self.most:
                self._drop_oldest(self._weights.most_common(1)[0][0])

    def _room(self, who: str) -> float:
        """What one asker may keep. [byte]"""
        return self.most if who == HERE else self.share * self.most

    def _drop(self, name: str) -> None:
        """Gives up a value."""
        old = self._kept.pop(name)
        self._weights[old.who] -= old.weight
        if not self._weights[old.who]:
            del self._weights[old.who]

    def _drop_oldest(self, who: str) -> None:
        """Gives up what somebody has not used for longest."""
        self._drop(next(name for name, kept in self._kept.items() if kept.who == who))

    def get(self, name: str) -> Any:
        """A kept value.

        Raises
        ------
        KeyError
            It is not kept, or no longer.
        """
        with self._lock:
            self._kept.move_to_end(name)
            return self._kept[name].value


class Workshop:
    """Everything the pages share: the pools, finished answers, uploaded roads. Holds nothing about a user.

    Parameters
    ----------
    pool : TripPool or None
        For all questions; None for two pools of its own, quick and patient lanes.
    most_bytes : int
        Of finished answers. [byte]
    workers : int or None
        Of each pool of its own; None for one a core.
    load : callable or None
        Importable by name; loads in a worker what the questions to come need.
    """

    def __init__(
        self,
        pool: TripPool | None = None,
        most_bytes: int = MOST_BYTES,
        workers: int | None = None,
        load: Callable[[], Any] | None = None,
    ) -> None:
        self._load = load
        self.turns = FairTurns()  # of the quick lanes
        self.pool = pool or TripPool(workers, QUICK_NICE, self.turns)
        self.patient = pool or TripPool(workers, PATIENT_NICE, FairTurns(), also=load)
        self.finished = Store(most_bytes)
        self.uploads = Store(MOST_UPLOAD_BYTES)
        self.ready = threading.Event()
        self.trouble = ""
        self.hosted: Any = (
            None  # the round of a class whose hidden faults are here: `dashboard.hidden_fault.round.Round`
        )
        self.identity = Identity()  # says who somebody is; without a password nobody is the instructor
        self._lock = threading.Lock()
        self._jobs: dict[tuple[str, bool], Job] = {}  # by full key, and whether in the patient lanes
        self._numbers = itertools.count()

    # ------------------------------------------------------------ getting ready

    def warm_in_background(self) -> None:
        """Starts the workers and loads the model in them; `ready` is set when they are done."""

        def warm() -> None:
            try:
                self.pool.warm(self._load)
            except CancelledError:  # the server ends before it is ready
                return
            except (HaulbenchError, OSError) as problem:
                self.trouble = str(problem)
            finally:
                self.ready.set()

        threading.Thread(target=warm, daemon=True, name="warming").start()

    def close(self) -> None:
        """Ends the workers, all at once: each pool gives what is under way its second."""
        patient = threading.Thread(target=self.patient.close)
        patient.start()
        self.pool.close()
        patient.join()

    # ------------------------------------------------------------ questions and answers

    def ask(self, key: str, function: Callable[..., Any], *given: Any) -> Any:
        """Has something worked out in a worker and waits for it; the same question is worked out once.

        Parameters
        ----------
        key : str
            Content address of the question: all that the answer depends on, except the model's version.
        function : callable
            Importable by name, with a declared cost (`dashboard.server.costs`); runs in a worker.
        given : any
            Its arguments; they and the answer must be picklable. Bytes travel and keep cheapest.

        Raises
        ------
        HaulbenchError
            The inputs are refused, it would take too long, or the server has too much to do.
        Gone
            Whoever asked has left.
        """
        watcher = f"here {next(self._numbers)}"
        found = self._enter(watcher, float("inf"), key, function, given)
        if isinstance(found, Answer):
            return found.value
        over = threading.Event()
        found.future.add_done_callback(lambda _: over.set())
        undo = current().when_left(over.set)
        try:
            if not over.wait(LONGEST_WAIT):
                raise RunError(say.no_answer(seconds=LONGEST_WAIT))
            if not found.future.done():
                raise Gone
            return found.future.result()
        except CancelledError:
            raise RunError(say.stopping()) from None
        finally:
            undo()
            self.leave(watcher, key)

    def join(self, watcher: str, key: str, function: Callable[..., Any], *given: Any) -> "Answer | None":
        """Watches a job, and starts it when nobody has; for pages that come back and look.

        Parameters
        ----------
        watcher : str
            Any word that is nobody else's, made in the browser.
        key : str
            As in `ask`.
        function : callable
            As in `ask`.
        given : any
            As in `ask`.

        Returns
        -------
        answer : Answer or None
            None while it is being worked out.

        Raises
        ------
        HaulbenchError
            The job was refused, or the server has too much to do.
        """
        found = self._enter(watcher, time.monotonic() + FORGOTTEN, key, function, given)
        if isinstance(found, Answer):
            return found
        return Answer(found.future.result()) if found.future.done() and not found.future.cancelled() else None

    def _enter(
        self, watcher: str, until: float, key: str, function: Callable[..., Any], given: tuple[Any, ...]
    ) -> "Answer | Job":
        """The answer, or the job that will bring it, with one watcher more."""
        full, who = self._full(key), current().who
        try:
            return Answer(self.finished.get(full))
        except KeyError:
            pass
        expected = expected_seconds(function, given)
        if expected > MOST_SECONDS:
            raise RunError(say.too_costly(seconds=expected, most=MOST_SECONDS))
        patient = expected > SHORT or self.turns.is_heavy(who)
        with self._lock:
            unwatched = self._sweep()
        for future in unwatched:
            future.cancel()
        with self._lock:
            place = (full, False) if (full, False) in self._jobs else (full, patient)
            job = self._jobs.get(place)
            new = job is None
            if job is None:
                job = self._jobs[place] = self._begin(patient, who, expected, function, given)
            elif job.who != who:
                (self.patient if place[1] else self.pool).lend(job.future, who)
            job.watchers[watcher] = until
        if new:
            job.future.add_done_callback(lambda done: self._finish(place, who, done))
        return job

    def _begin(
        self, patient: bool, who: str, expected: float, function: Callable[..., Any], given: tuple[Any, ...]
    ) -> Job:
        """A new job, unless there are too many."""
        if len(self._jobs) >= MOST_WAITING:
            raise RunError(say.many_jobs(waiting=MOST_WAITING))
        if who != HERE and sum(job.who == who for job in self._jobs.values()) >= MOST_EACH:
            raise RunError(say.many_of_yours(waiting=MOST_EACH))
        pool = self.patient if patient else self.pool
        return Job(pool.submit(function, *given, terms=terms_of(who, expected, patient)), who)

    def leave(self, watcher: str, key: str) -> None:
        """Watches no longer; a job that nobody watches is given up.

        Parameters
        ----------
        watcher : str
            As in `join`.
        key : str
            As in `ask`.
        """
        with self._lock:
            for place in self._places(key):
                self._jobs[place].watchers.pop(watcher, None)
            unwatched = [found for place in self._places(key) if (found := self._unwatched(place))]
        for future in unwatched:
            future.cancel()

    def watchers(self, key: str) -> int:
        """How many watch a job that has not finished.

        Parameters
        ----------
        key : str
            As in `ask`.
        """
        with self._lock:
            return sum(len(self._jobs[place].watchers) for place in self._places(key))

    def _full(self, key: str) -> str:
        """A key that no other version of the model shares."""
        return f"{MODEL_VERSION} {key}"

    def _places(self, key: str) -> list[tuple[str, bool]]:
        """Where a question is being worked out."""
        return [place for patient in (False, True) if (place := (self._full(key), patient)) in self._jobs]

    def _finish(self, place: tuple[str, bool], who: str, done: "Future[Any]") -> None:
        """Keeps an answer and forgets its job."""
        if not done.cancelled() and done.exception() is None:
            self.finished.put(place[0], done.result(), who)
        with self._lock:
            job = self._jobs.get(place)
            if job is not None and job.future is done:
                del self._jobs[place]

    def _unwatched(self, place: tuple[str, bool]) -> "Future[Any] | None":
        """Forgets a job that nobody watches; whoever calls this cancels it, outside of the lock."""
        job = self._jobs[place]
        if job.watchers or job.future.done():
            return None
        return self._jobs.pop(place).future

    def _sweep(self) -> "list[Future[Any]]":
        """Lets go of watchers that have not been seen for long; gives the jobs to be cancelled."""
        now = time.monotonic()
        for job in self._jobs.values():
            job.watchers = {watcher: until for watcher, until in job.watchers.items() if until >= now}
        return [found for place in list(self._jobs) if (found := self._unwatched(place))]

    # ------------------------------------------------------------ uploads

    def keep_road(self, route: Route) -> str:
        """Keeps an uploaded road in memory.

        Parameters
        ----------
        route : Route
            Read and checked.

        Returns
        -------
        address : str
            By which `road` and every setup find it again: equal for equal roads.
        """
        content = pickle.dumps((route.title, route.distance.tobytes(), route.grade.tobytes(), route.slope.tobytes(),
                                route.wind.tobytes(), route.start_elevation, route.limits, route.stops, route.signs,
                                route.curves))  # fmt: skip
        address = UPLOAD + hashlib.blake2b(content, digest_size=ADDRESS_DIGITS // 2).hexdigest()
        self.uploads.put(address, route)
        return address

    def road(self, address: str) -> Route:
        """An uploaded road.

        Parameters
        ----------
        address : str
            Of `keep_road`.

        Raises
        ------
        RouteError
            It is not kept, or no longer.
        """
        try:
            route: Route = self.uploads.get(address)
        except KeyError:
            raise RouteError(say.road_given_up(road=address)) from None
        return route


@dataclass(frozen=True)
class Answer:
    """A finished answer; wrapped, so that an answer of None is one."""

    value: Any


def terms_of(who: str, expected: float, patient: bool) -> Terms:
    """On what terms a job is done for a page.

    Parameters
    ----------
    expected : float
        What it will take. [s]
    patient : bool
        Whether it is done in patient lanes.

    Returns
    -------
    terms : Terms
        Its longest time is generous, since other machines are slower and others work, too.
    """
    times, more = (PATIENT_TIMES, PATIENT_MORE) if patient else (QUICK_TIMES, QUICK_MORE)
    return Terms(who, expected, min(times * expected + more, LONGEST_WAIT))


def key_for(what: str, inputs: Inputs, *more: object) -> str:
    """The content address of a question about one trip.

    Parameters
    ----------
    what : str
        Name of the question.
    more : object
        Whatever else the answer depends on.
    """
    return " ".join([what, key_of(inputs), *(repr(each) for each in more)])
