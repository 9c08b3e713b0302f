"""Pools of worker processes, in which every trip of the server and of studies is driven.

A pool has lanes: a thread here and one worker process each, with a pipe of their own. A lane takes a job when it is free, hands
it over and waits for the answer, so that whatever ends one worker (a job over its time, one that nobody wants any more, a crash)
is felt in its lane only.
"""

import contextlib
import gc
import importlib
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from multiprocessing.reduction import ForkingPickler
from traceback import format_exc
from typing import Any

from sim.errors import HaulbenchError, RunError
from sim.inputs.one_trip import Inputs
from sim.messages import running
from sim.trips.result import Result

MOST_ATTEMPTS = 3  # a job during which workers died this often is given up
GRACE = 0.5  # s a job that nobody wants any more may still take before its worker is ended for it
CLOSING_GRACE = 1.0  # s that jobs may still take when the pool is closed
# a library of linear algebra would start threads of its own in every worker, and they would wait by spinning
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
RARELY = 50_000  # objects made between two looks of the garbage collector
WARMING = "grade:0%,0.2km"  # a road short enough to load the compiled code and no more


def drive(inputs: Inputs) -> Result:
    """Drives one trip; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        Truck, road and settings.

    Raises
    ------
    HaulbenchError
        The model refuses the inputs, or a quantity became infinite or not a number.
    """
    from sim.trips.trip import run_trip

    return run_trip(inputs.truck, inputs.route, inputs.settings)


# ---------------------------------------------------------------- in a worker


def warm(also: Callable[[], Any] | None = None) -> bool:
    """Loads the compiled model; runs in a worker.

    Parameters
    ----------
    also : callable or None
        Importable by name; loads whatever else the jobs to come need.

    Returns
    -------
    ready : bool
        True.
    """
    from sim.trips.trip import run_trip

    run_trip("long-haul-manual", WARMING)
    if also is not None:
        also()
    _settle()
    return True


def _settle() -> None:
    """Takes what is loaded for good out of the sight of the garbage collector, and lets it look less often: a trip is a tenth
    cheaper, and what a trip leaves behind is little.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(RARELY, 20, 20)


def _work(pipe: Connection) -> None:
    """A worker: leaves interrupts to its parent, loads the model, does one job after the other, and ends with its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    importlib.import_module("sim.trips.trip")
    _settle()
    pipe.send_bytes(b"ready")
    with contextlib.suppress(EOFError, OSError):
        while asked := pipe.recv_bytes():
            pipe.send_bytes(_answer_to(asked))


def _answer_to(asked: bytes) -> bytes:
    """What comes of a job, packed: whether it went well, answer or problem, and the seconds of the processor it took."""
    before = time.process_time()
    try:
        function, given = ForkingPickler.loads(asked)
        good, answer = True, function(*given)
    except BaseException as problem:
        good, answer = False, _noted(problem)
    try:
        return bytes(ForkingPickler.dumps((good, answer, time.process_time() - before)))
    except Exception as problem:  # the answer cannot travel
        return bytes(ForkingPickler.dumps((False, _noted(problem), time.process_time() - before)))


def _noted(problem: BaseException) -> BaseException:
    """A problem with the place where it arose, which does not travel by itself; refusals are in words already."""
    if not isinstance(problem, HaulbenchError):
        problem.add_note(format_exc())
    return problem


def _end_with(parent: Any) -> None:
    """Waits for the parent to end, however it ends, and ends with it."""
    parent.join()
    os._exit(1)


# ---------------------------------------------------------------- jobs and lanes


@dataclass(frozen=True)
class Terms:
    """On what terms a job is done.

    Parameters
    ----------
    who : str
        Who asks.
    expected : float
        What it will take. [s]
    longest : float or None
        After so long in a worker it is ended, and its worker with it; None for never. [s]
    """

    who: str = ""
    expected: float = 0.0
    longest: float | None = None


PLAIN = Terms()


@dataclass(eq=False)
class Work:
    """A job in a pool: what is done, for whom, and what comes of it."""

    function: Callable[..., Any]
    given: tuple[Any, ...]
    terms: Terms
    future: "Future[Any]" = field(default_factory=Future)
    attempts: int = 0
    begun: float = 0.0
    lane: "Lane | None" = None  # the only one that may take it


class Turns:
    """Whose turn it is in a pool, asked by one thread at a time: first come, first served; who inherits may order otherwise."""

    def choose(self, waiting: Sequence[Work], under_way: Sequence[Work], lanes: int) -> Work | None:
        """The job a free lane takes.

        Parameters
        ----------
        waiting : sequence of Work
            Not empty, longest waiting first.

        Returns
        -------
        work : Work or None
            None when every one shall wait.
        """
        return waiting[0]

    def before(self, one: str, other: str) -> bool:
        """Nobody comes before anybody.

        Returns
        -------
        before : bool
            False.
        """
        return False

    def spent(self, who: str, seconds: float) -> None:
        """Keeps no account.

        Parameters
        ----------
        seconds : float
            [s]
        """


class Lane:
    """A worker process and the pipe to it. All but `kill` is for the thread of the lane.

    Parameters
    ----------
    nice : int
        How far the worker lets other processes go first.
    """

    def __init__(self, nice: int) -> None:
        self._nice = nice
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._killed = False
        self.work: Work | None = None

    @property
    def alive(self) -> bool:
        """Whether there is a worker to hand a job to. [-]"""
        return self._pipe is not None and not self._killed

    def start(self) -> bool:
        """Starts a worker and waits until it has the model loaded.

        Returns
        -------
        ready : bool
            False when it died before.
        """
        self.clear()
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_work, args=(theirs,), daemon=True)
        try:
            self._process.start()
            if self._nice and hasattr(os, "setpriority"):  # from outside: what a worker loads first shall give way too
                os.setpriority(os.PRIO_PROCESS, self._process.pid or 0, self._nice)
            theirs.close()  # now the pipe ends when the worker does
            self._pipe.recv_bytes()
        except (EOFError, OSError, RuntimeError):  # the last: a program that starts workers while it is being imported
            self.clear()
        return self.alive

    def hand_over(self, asked: bytes, longest: float | None) -> tuple[bool, Any, float] | None:
        """Has a job done.

        Parameters
        ----------
        longest : float or None
            [s]

        Returns
        -------
        found : tuple or None
            Whether it went well, answer or problem, and seconds of the processor; None when it was over its time.

        Raises
        ------
        EOFError, OSError
            The worker died.
        """
        assert self._pipe is not None
        self._pipe.send_bytes(asked)
        if not self._pipe.poll(longest):
            return None
        packed = self._pipe.recv_bytes()
        try:
            found: tuple[bool, Any, float] = ForkingPickler.loads(packed)
        except Exception as problem:  # an answer that cannot be read here is the job's fault
            found = (False, problem, 0.0)
        return found

    def kill(self) -> None:
        """Ends the worker at once; whoever waits for it notices."""
        process, self._killed = self._process, True
        if process is not None and process.pid is not None:
            with contextlib.suppress(ValueError):  # put away meanwhile
                process.kill()

    def clear(self) -> None:
        """Puts away a worker, which is ended if it has not."""
        self.kill()
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None and self._process.pid is not None:
            self._process.join()
            self._process.close()
        self._pipe = self._process = None
        self._killed = False

    def let_go(self) -> None:
        """Tells an idle worker that nothing more will come, and waits for its end."""
        if self._pipe is not None and self._process is not None:
            with contextlib.suppress(OSError):
                self._pipe.send_bytes(b"")
            self._process.join(CLOSING_GRACE)
        self.clear()


class TripPool:
    """Worker processes, one a core, that keep the compiled model loaded between jobs.

    Workers are started with the first job. A worker that dies is replaced and its job done again; a job during which workers
    died three times is refused. A job over its time is refused and ended with its worker; one whose future is cancelled is
    taken out of the queue, or ended after half a second. Close the pool, or use it in a `with`.

    Parameters
    ----------
    workers : int or None
        Processes; None for one a core.
    nice : int
        How far the workers let other processes go first, 0 to 19, where the system knows that.
    turns : Turns or None
        Whose turn it is; None for first come, first served.
    also : callable or None
        Importable by name; loads what the jobs need beside the model, in every worker that is started.

    Raises
    ------
    RunError
        Fewer than one worker is asked for.
    """

    def __init__(
        self,
        workers: int | None = None,
        nice: int = 0,
        turns: Turns | None = None,
        also: Callable[[], Any] | None = None,
    ) -> None:
        if workers is not None and workers < 1:
            raise RunError(running.too_few_workers(workers=workers))
        self.workers = workers or cores()
        self._turns = turns or Turns()
        self._changed = threading.Condition()  # holds for all below
        self._waiting: list[Work] = []
        self._lanes = [Lane(nice) for _ in range(self.workers)]
        self._threads: list[threading.Thread] = []
        self._also = also
        self._closed = False
        for name in ONE_THREAD:
            os.environ.setdefault(
                name, "1"
            )  # workers inherit it; what this process has loaded already does not look again

    def __enter__(self) -> "TripPool":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def submit(self, function: Callable[..., Any], *given: Any, terms: Terms = PLAIN) -> "Future[Any]":
        """Asks for a job to be done.

        Parameters
        ----------
        function : callable
            Importable by name.
        given : any
            Its arguments; they and the answer must be picklable.
        terms : Terms
            For whom, and how long it may take.

        Returns
        -------
        future : Future
            Cancelling it takes the job out of the queue; a job that has started is ended unless it is about to finish.

        Raises
        ------
        RunError
            The pool is closed.
        """
        return self._put(Work(function, given, terms))

    def _put(self, work: Work) -> "Future[Any]":
        """Lets a job wait for a lane."""
        with self._changed:
            if self._closed:
                raise RunError(running.pool_closed())
            self._waiting.append(work)
            if not self._threads:
                self._threads = [threading.Thread(target=self._serve, args=(lane,), daemon=True, name="lane")
                                 for lane in self._lanes]  # fmt: skip
                for thread in self._threads:
                    thread.start()
            self._changed.notify_all()
        work.future.add_done_callback(partial(self._unwanted, work))
        return work.future

    def lend(self, future: "Future[Any]", who: str) -> None:
        """Lets a job that waits have the turn of somebody else who wants its answer too, where that comes first.

        Parameters
        ----------
        future : Future
            Of the job.
        who : str
            Who wants it too.
        """
        with self._changed:
            for work in self._waiting:
                if work.future is future and self._turns.before(who, work.terms.who):
                    work.terms = Terms(who, work.terms.expected, work.terms.longest)
                    self._changed.notify_all()

    # ------------------------------------------------------------ in the thread of a lane

    def _serve(self, lane: Lane) -> None:
        """Does jobs until the pool is closed."""
        while True:
            ready = lane.alive or self._start(lane)
            work = self._next(lane)
            if work is None:
                return lane.let_go()
            done = (ready or self._start(lane)) and self._do(lane, work)
            if not done:
                lane.clear()
                self._again(work)

    def _start(self, lane: Lane) -> bool:
        """Starts the worker of a lane, as warm as those before it."""
        if self._closed or not lane.start():
            return False
        if self._also is not None:
            with contextlib.suppress(EOFError, OSError):
                lane.hand_over(bytes(ForkingPickler.dumps((warm, (self._also,)))), None)
        return True

    def _next(self, lane: Lane) -> Work | None:
        """The next job for a lane, waited for; None when the pool is closed."""
        with self._changed:
            while not self._closed:
                mine = [work for work in self._waiting if work.lane is lane]
                common = [work for work in self._waiting if work.lane is None]
                under_way = [each.work for each in self._lanes if each.work is not None]
                work = mine[0] if mine else self._turns.choose(common, under_way, self.workers) if common else None
                if work is not None:
                    self._waiting.remove(work)
                    lane.work = work
                    work.attempts, work.begun = work.attempts + 1, time.monotonic()
                    return work
                self._changed.wait()
            return None

    def _do(self, lane: Lane, work: Work) -> bool:
        """Has a job done and tells what came of it; False when its worker died."""
        found: tuple[bool, Any, float] | None
        try:
            asked = bytes(ForkingPickler.dumps((work.function, work.given)))
        except Exception as problem:  # what cannot travel is the asker's fault
            found = (False, problem, 0.0)
        else:
            try:
                found = lane.hand_over(asked, work.terms.longest)
            except (EOFError, OSError):
                return False
        if found is None:
            lane.clear()
            assert work.terms.longest is not None
            found = (False, RunError(running.over_time(seconds=work.terms.longest)), time.monotonic() - work.begun)
        good, answer, seconds = found
        self._free(work, seconds)
        if work.future.set_running_or_notify_cancel():
            if good:
                work.future.set_result(answer)
            else:
                work.future.set_exception(answer)
        return True

    def _free(self, work: Work, seconds: float) -> None:
        """Marks the lane of a job as free."""
        with self._changed:
            for lane in self._lanes:
                if lane.work is work:
                    lane.work = None
            self._turns.spent(work.terms.who, seconds)
            self._changed.notify_all()

    def _again(self, work: Work) -> None:
        """Puts a job whose worker died back at the head of the queue, unless nobody wants it or it kills every worker."""
        self._free(work, time.monotonic() - work.begun)
        if not work.future.cancelled() and work.attempts >= MOST_ATTEMPTS:
            if work.future.set_running_or_notify_cancel():
                work.future.set_exception(RunError(running.workers_died(times=work.attempts)))
            return
        with self._changed:
            if not self._closed and not work.future.cancelled():
                self._waiting.insert(0, work)
                self._changed.notify_all()
                return
        work.future.cancel()

    # ------------------------------------------------------------ ending

    def _unwanted(self, work: Work, future: "Future[Any]") -> None:
        """Called when a job is over; one that was cancelled is taken out, or ended if it goes on for long."""
        if not future.cancelled():
            return
        with self._changed:
            if work in self._waiting:
                self._waiting.remove(work)
                self._changed.notify_all()
            started = any(lane.work is work for lane in self._lanes)
        if started:
            late = threading.Timer(GRACE, self._end, (work,))
            late.daemon = True
            late.start()

    def _end(self, work: Work) -> None:
        """Ends the worker that still does a job."""
        with self._changed:
            for lane in self._lanes:
                if lane.work is work:
                    lane.kill()

    def warm(self, also: Callable[[], Any] | None = None) -> None:
        """Starts the workers and waits until each has the model loaded; those that replace them will have, too.

        Parameters
        ----------
        also : callable or None
            Importable by name; run in each worker as well.

        Raises
        ------
        RunError
            The pool is closed, or is while they start.
        """
        try:
            for job in [self._put(Work(warm, (also,), PLAIN, lane=lane)) for lane in self._lanes]:
                job.result()
        except CancelledError:
            raise RunError(running.pool_closed()) from None
        self._also = also

    def close(self) -> None:
        """Takes no more jobs, drops those that have not started, gives those under way a second, and ends the workers."""
        with self._changed:
            self._closed = True
            dropped, self._waiting = self._waiting, []
            self._changed.notify_all()
        for work in dropped:
            work.future.cancel()
        self._join(CLOSING_GRACE)
        for lane in self._lanes:
            lane.kill()
        self._join(CLOSING_GRACE)

    def _join(self, seconds: float) -> None:
        """Waits for the lanes to end, for so long together."""
        until = time.monotonic() + seconds
        for thread in self._threads:
            thread.join(max(until - time.monotonic(), 0.0))


def cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Here:
    """Does jobs in this process, at once: for so few trips that starting workers would take longer."""

    workers = 1

    def submit(self, function: Callable[..., Any], *given: Any, terms: Terms = PLAIN) -> "Future[Any]":
        """Does a job.

        Parameters
        ----------
        given : any
            Its arguments.
        terms : Terms
            Not looked at: nothing ends a job here.

        Returns
        -------
        future : Future
            Done.
        """
        job: Future[Any] = Future()
        job.set_running_or_notify_cancel()
        try:
            job.set_result(function(*given))
        except Exception as problem:
            job.set_exception(problem)
        return job

    def close(self) -> None:
        """Nothing is left to close."""
