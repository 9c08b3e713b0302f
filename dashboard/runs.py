"""The server's workshop: one pool of worker processes and one bounded store of what they have finished.

Nothing here knows who asks. A job is named by the content of its inputs, so that equal questions share one answer, and lives
as long as somebody watches it: whoever leaves stops only a job that nobody else waits for.
"""

import hashlib
import itertools
import pickle
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, TimeoutError
from dataclasses import dataclass, field
from typing import Any

from dashboard.identity import Identity
from sim.compiled import MODEL_VERSION
from sim.errors import HaulbenchError, RouteError, RunError
from sim.inputs import Inputs, key_of
from sim.messages import browser as say
from sim.pool import TripPool
from sim.route import Route

MOST_BYTES = 96_000_000  # of finished answers
MOST_UPLOAD_BYTES = 48_000_000
MOST_WAITING = 400  # jobs that have not finished
LONGEST_WAIT = 120.0  # s
FORGOTTEN = 60.0  # s after which a watcher that does not ask again has left
GLANCE = 0.25  # s between looks at whether somebody who waits is still there
UPLOAD = "upload:"  # before the address of an uploaded road
ADDRESS_DIGITS = 32


class Gone(Exception):  # noqa: N818 - nobody's fault, and no error
    """Whoever asked has left."""


@dataclass
class Job:
    """A job that has not finished, and who watches it: when each was last seen, infinity for those that wait here."""

    future: "Future[Any]"
    watchers: dict[str, float] = field(default_factory=dict)


class Store:
    """Values by name, the least recently used given up when they weigh too much together.

    Parameters
    ----------
    most : int
        [byte]
    """

    def __init__(self, most: int) -> None:
        self.most, self.weight = most, 0
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, tuple[Any, int]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._kept)

    def put(self, name: str, value: Any) -> None:
        """Keeps a value; one that is heavier than the whole store is not kept.

        Parameters
        ----------
        name : str
            [-]
        value : any
            Picklable. [-]
        """
        weight = len(value) if isinstance(value, bytes) else len(pickle.dumps(value, protocol=5))
        if weight > self.most:
            return
        with self._lock:
            if name in self._kept:
                self.weight -= self._kept.pop(name)[1]
            self._kept[name] = (value, weight)
            self.weight += weight
            while self.weight > self.most:
                self.weight -= self._kept.popitem(last=False)[1][1]

    def get(self, name: str) -> Any:
        """A kept value.

        Parameters
        ----------
        name : str
            [-]

        Returns
        -------
        value : any
            [-]

        Raises
        ------
        KeyError
            It is not kept, or no longer.
        """
        with self._lock:
            self._kept.move_to_end(name)
            return self._kept[name][0]


class Workshop:
    """Everything the pages share: the pool, finished answers, uploaded roads. Holds nothing about a user.

    Parameters
    ----------
    pool : TripPool or None
        None for one of its own. [-]
    most_bytes : int
        Of finished answers. [byte]
    """

    def __init__(self, pool: TripPool | None = None, most_bytes: int = MOST_BYTES) -> None:
        self.pool = pool or TripPool()
        self.finished = Store(most_bytes)
        self.uploads = Store(MOST_UPLOAD_BYTES)
        self.ready = threading.Event()
        self.trouble = ""
        self.hosted: Any = None  # the round of a class whose hidden faults are here: `dashboard.fault_round.Round`
        self.identity = Identity()  # says who somebody is; without a password nobody is the instructor
        self._lock = threading.Lock()
        self._jobs: dict[str, Job] = {}
        self._numbers = itertools.count()

    # ------------------------------------------------------------ getting ready

    def warm_in_background(self) -> None:
        """Starts the workers and loads the model in them; `ready` is set when they are done."""

        def warm() -> None:
            try:
                self.pool.warm(load_pages)
            except (HaulbenchError, OSError) as problem:
                self.trouble = str(problem)
            finally:
                self.ready.set()

        threading.Thread(target=warm, daemon=True, name="warming").start()

    def close(self) -> None:
        """Ends the workers."""
        self.pool.close()

    # ------------------------------------------------------------ questions and answers

    def ask(self, key: str, function: Callable[..., Any], *given: Any, gone: Callable[[], bool] | None = None) -> Any:
        """Has something worked out in a worker and waits for it; the same question is worked out once.

        Parameters
        ----------
        key : str
            Content address of the question: all that the answer depends on, except the model's version. [-]
        function : callable
            Importable by name; runs in a worker. [-]
        given : any
            Its arguments; they and the answer must be picklable. Bytes travel and keep cheapest. [-]
        gone : callable or None
            Whether whoever asked has left; looked at while waiting. [-]

        Returns
        -------
        answer : any
            [-]

        Raises
        ------
        HaulbenchError
            The inputs are refused, or the server has too much to do.
        Gone
            Whoever asked has left.
        """
        watcher = f"here {next(self._numbers)}"
        found = self._enter(watcher, float("inf"), key, function, given)
        if isinstance(found, Answer):
            return found.value
        until = time.monotonic() + LONGEST_WAIT
        try:
            while True:
                try:
                    return found.future.result(timeout=GLANCE)
                except TimeoutError:
                    if found.future.done():
                        raise
                if gone is not None and gone():
                    raise Gone
                if time.monotonic() > until:
                    raise RunError(say.no_answer(seconds=LONGEST_WAIT))
        except CancelledError:
            raise RunError(say.stopping()) from None
        finally:
            self.leave(watcher, key)

    def join(self, watcher: str, key: str, function: Callable[..., Any], *given: Any) -> "Answer | None":
        """Watches a job, and starts it when nobody has; for pages that come back and look.

        Parameters
        ----------
        watcher : str
            Any word that is nobody else's, made in the browser. [-]
        key : str
            As in `ask`. [-]
        function : callable
            As in `ask`. [-]
        given : any
            As in `ask`. [-]

        Returns
        -------
        answer : Answer or None
            None while it is being worked out. [-]

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
        full = self._full(key)
        with self._lock:
            try:
                return Answer(self.finished.get(full))
            except KeyError:
                pass
            self._sweep()
            job = self._jobs.get(full)
            new = job is None
            if job is None:
                if len(self._jobs) >= MOST_WAITING:
                    raise RunError(say.many_jobs(waiting=MOST_WAITING))
                job = self._jobs[full] = Job(self.pool.submit(function, *given))
            job.watchers[watcher] = until
        if new:
            job.future.add_done_callback(lambda done: self._finish(full, done))
        return job

    def leave(self, watcher: str, key: str) -> None:
        """Watches no longer; a job that nobody watches is given up.

        Parameters
        ----------
        watcher : str
            As in `join`. [-]
        key : str
            As in `ask`. [-]
        """
        with self._lock:
            job = self._jobs.get(self._full(key))
            if job is None:
                return
            job.watchers.pop(watcher, None)
            self._give_up_unwatched(self._full(key), job)

    def watchers(self, key: str) -> int:
        """How many watch a job that has not finished.

        Parameters
        ----------
        key : str
            As in `ask`. [-]

        Returns
        -------
        watchers : int
            [-]
        """
        with self._lock:
            job = self._jobs.get(self._full(key))
            return len(job.watchers) if job else 0

    def _full(self, key: str) -> str:
        """A key that no other version of the model shares."""
        return f"{MODEL_VERSION} {key}"

    def _finish(self, full: str, done: "Future[Any]") -> None:
        """Keeps an answer and forgets its job."""
        if not done.cancelled() and done.exception() is None:
            self.finished.put(full, done.result())
        with self._lock:
            job = self._jobs.get(full)
            if job is not None and job.future is done:
                del self._jobs[full]

    def _give_up_unwatched(self, full: str, job: Job) -> None:
        """Takes a job out of the queue when nobody watches it."""
        if not job.watchers and not job.future.done():
            self._jobs.pop(full, None)
            threading.Thread(target=job.future.cancel, daemon=True).start()  # its callbacks take the lock

    def _sweep(self) -> None:
        """Lets go of watchers that have not been seen for long."""
        now = time.monotonic()
        for full, job in list(self._jobs.items()):
            for watcher, until in list(job.watchers.items()):
                if until < now:
                    del job.watchers[watcher]
            self._give_up_unwatched(full, job)

    # ------------------------------------------------------------ uploads

    def keep_road(self, route: Route) -> str:
        """Keeps an uploaded road in memory.

        Parameters
        ----------
        route : Route
            Read and checked. [-]

        Returns
        -------
        address : str
            By which `road` and every setup find it again: equal for equal roads. [-]
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
            Of `keep_road`. [-]

        Returns
        -------
        route : Route
            [-]

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


def load_pages() -> None:
    """Loads what a worker needs to answer the pages; runs in a worker."""
    from dashboard.answers import drive_for_page
    from sim.inputs import read_inputs

    drive_for_page(read_inputs("grade:-1%,0.2km", "long-haul-manual"), "")


def key_for(what: str, inputs: Inputs, *more: object) -> str:
    """The content address of a question about one trip.

    Parameters
    ----------
    what : str
        Name of the question. [-]
    inputs : Inputs
        [-]
    more : object
        Whatever else the answer depends on. [-]

    Returns
    -------
    key : str
        [-]
    """
    return " ".join([what, key_of(inputs), *(repr(each) for each in more)])
