"""One pool of worker processes, in which every trip of the server and of studies is driven."""

import gc
import importlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from sim.errors import RunError
from sim.inputs import Inputs
from sim.messages import running
from sim.result import Result

MOST_ATTEMPTS = 3  # a job during which workers died this often is given up
# a library of linear algebra would start threads of its own in every worker, and they would wait by spinning
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
RARELY = 50_000  # objects made between two looks of the garbage collector
WARMING = "grade:0%,0.2km"  # a road short enough to load the compiled code and no more


def drive(inputs: Inputs) -> Result:
    """Drives one trip; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        Truck, road and settings. [-]

    Returns
    -------
    result : Result
        [-]

    Raises
    ------
    HaulbenchError
        The model refuses the inputs or left the numbers.
    """
    from sim.trip import run_trip

    return run_trip(inputs.truck, inputs.route, inputs.settings)


def warm(also: Callable[[], Any] | None = None) -> bool:
    """Loads the compiled model; runs in a worker.

    Parameters
    ----------
    also : callable or None
        Importable by name; loads whatever else the jobs to come need. [-]

    Returns
    -------
    ready : bool
        True. [-]
    """
    from sim.trip import run_trip

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


def _start() -> None:
    """What a worker does first: it leaves interrupts to its parent, loads the model, and ends when its parent ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    importlib.import_module("sim.trip")
    _settle()
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    """Waits for the parent to end, however it ends, and ends with it."""
    parent.join()
    os._exit(1)


class TripPool:
    """Worker processes, one a core, that keep the compiled model loaded between jobs.

    Workers are started with the first job. When one dies, the pool is built anew and the jobs it had are done again; a job
    during which workers died three times is refused. Close it, or use it in a `with`.

    Parameters
    ----------
    workers : int or None
        Processes; None for one a core. [-]

    Raises
    ------
    RunError
        Fewer than one worker is asked for.
    """

    def __init__(self, workers: int | None = None) -> None:
        if workers is not None and workers < 1:
            raise RunError(running.too_few_workers(workers=workers))
        self.workers = workers or _cores()
        self._lock = threading.Lock()
        self._executor: ProcessPoolExecutor | None = None
        self._closed = False
        for name in ONE_THREAD:
            os.environ.setdefault(
                name, "1"
            )  # workers inherit it; what this process has loaded already does not look again

    def __enter__(self) -> "TripPool":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a job to be done.

        Parameters
        ----------
        function : callable
            Importable by name. [-]
        given : any
            Its arguments; they and the answer must be picklable. [-]

        Returns
        -------
        future : Future
            Cancelling it takes the job out of the queue; a job that has started is finished and forgotten. [-]

        Raises
        ------
        RunError
            The pool is closed.
        """
        outer: Future[Any] = Future()
        self._hand_over(outer, function, given, 1)
        return outer

    def _hand_over(
        self, outer: "Future[Any]", function: Callable[..., Any], given: tuple[Any, ...], attempt: int
    ) -> None:
        """Gives a job to the workers, on a new set of them when the old one broke."""
        with self._lock:
            if self._closed:
                raise RunError(running.pool_closed())
            if self._executor is None:
                context = multiprocessing.get_context("spawn")
                self._executor = ProcessPoolExecutor(self.workers, mp_context=context, initializer=_start)
            executor = self._executor
            try:
                inner = executor.submit(function, *given)
            except BrokenProcessPool:
                executor.shutdown(wait=False, cancel_futures=True)
                self._executor = ProcessPoolExecutor(
                    self.workers, mp_context=multiprocessing.get_context("spawn"), initializer=_start
                )
                executor = self._executor
                inner = executor.submit(function, *given)

        def finished(job: "Future[Any]") -> None:
            try:
                problem = job.exception()
            except CancelledError:
                outer.cancel()
                return
            if isinstance(problem, BrokenProcessPool):
                self._drop(executor)
                if outer.cancelled() or self._closed:
                    outer.cancel()
                elif attempt < MOST_ATTEMPTS:
                    self._hand_over(outer, function, given, attempt + 1)
                elif outer.set_running_or_notify_cancel():
                    outer.set_exception(RunError(running.workers_died(times=attempt)))
            elif outer.set_running_or_notify_cancel():
                if problem is not None:
                    outer.set_exception(problem)
                else:
                    outer.set_result(job.result())

        def cancelled(job: "Future[Any]") -> None:
            if job.cancelled():
                inner.cancel()

        outer.add_done_callback(cancelled)
        inner.add_done_callback(finished)

    def _drop(self, executor: ProcessPoolExecutor) -> None:
        """Forgets a set of workers that broke."""
        with self._lock:
            if self._executor is executor:
                self._executor = None
        executor.shutdown(wait=False, cancel_futures=True)

    def warm(self, also: Callable[[], Any] | None = None) -> None:
        """Starts the workers and waits until each has the model loaded.

        Parameters
        ----------
        also : callable or None
            Importable by name; run in each worker as well. [-]

        Raises
        ------
        RunError
            The pool is closed.
        """
        for job in [self.submit(warm, also) for _ in range(self.workers)]:
            job.result()

    def close(self) -> None:
        """Takes no more jobs, drops those that have not started, and lets the workers end."""
        with self._lock:
            self._closed = True
            executor, self._executor = self._executor, None
        if executor is not None:
            executor.shutdown(wait=True, cancel_futures=True)


def _cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Here:
    """Does jobs in this process, at once: for so few trips that starting workers would take longer."""

    workers = 1

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Does a job.

        Parameters
        ----------
        function : callable
            [-]
        given : any
            Its arguments. [-]

        Returns
        -------
        future : Future
            Done. [-]
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
