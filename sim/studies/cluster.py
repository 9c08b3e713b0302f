"""More than one machine: the workers of a Dask cluster do the jobs a pool of processes does otherwise."""

import re
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from sim.errors import StudyError
from sim.messages import studies as say

PATIENCE = 10.0  # s to wait for the scheduler
MOST_ATTEMPTS = 3  # a trip whose worker died is driven again elsewhere this often


def model_version() -> str:
    """The version of the model on a worker; runs there."""
    from sim.compiled import MODEL_VERSION

    return MODEL_VERSION


ADDRESS = re.compile(r"(?:(?:tcp|tls|wss?|ucx)://)?(?:\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+):[0-9]{1,5}")


def check_address(address: str) -> None:
    """Refuses what cannot be the address of a scheduler, before anybody is asked.

    Parameters
    ----------
    address : str
        For example tcp://lab-1:8786.

    Raises
    ------
    StudyError
        It is no address.
    """
    if not ADDRESS.fullmatch(address) or not 0 < int(address.rpartition(":")[2]) < 65536:
        raise StudyError(say.no_address(address=address))


class ClusterPool:
    """Workers of a Dask cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, for example tcp://lab-1:8786.

    Raises
    ------
    StudyError
        It is no address, the library is not installed, nobody
        answers at the address, there are no workers, or one has another version.
    """

    def __init__(self, address: str) -> None:
        check_address(address)
        try:
            from distributed import Client
        except ImportError:
            raise StudyError(say.no_cluster_library()) from None
        from sim.compiled import MODEL_VERSION

        self.address = address
        try:
            self._client = Client(address, timeout=PATIENCE, set_as_default=False)
        except Exception as problem:  # the library raises many kinds, from ValueError to OSError
            reason = str(problem).splitlines()[0] if str(problem) else type(problem).__name__
            raise StudyError(say.no_cluster(address=address, reason=reason)) from None
        threads = self._client.nthreads()
        if not threads:
            self._client.close()
            raise StudyError(say.no_workers(address=address))
        versions = self._client.run(_version_or_reason, on_error="return")
        other = next((str(version) for version in versions.values() if version != MODEL_VERSION), None)
        if other is not None:
            self._client.close()
            raise StudyError(say.other_model(address=address, theirs=other, ours=MODEL_VERSION))
        self.workers = sum(threads.values())

    def submit(self, function: Callable[..., Any], *given: Any) -> "Future[Any]":
        """Asks for a job.

        Parameters
        ----------
        function : callable
            Importable on the workers.
        given : any
            Its arguments.
        """
        outer: Future[Any] = Future()
        inner = self._client.submit(function, *given, pure=False, retries=MOST_ATTEMPTS)

        def finished(job: Any) -> None:
            if not outer.set_running_or_notify_cancel():
                return
            if job.status == "finished":
                try:
                    outer.set_result(job.result())
                except Exception as problem:
                    outer.set_exception(problem)
            else:
                reason = job.exception() if job.status == "error" else None
                outer.set_exception(reason or ConnectionError(f"job {job.status}"))

        def cancelled(job: "Future[Any]") -> None:
            if job.cancelled():
                inner.cancel()

        inner.add_done_callback(finished)
        outer.add_done_callback(cancelled)
        return outer

    def close(self) -> None:
        """Leaves the cluster as it is."""
        self._client.close()


def _version_or_reason() -> str:
    """The version of the model on a worker, or why there is none."""
    try:
        return model_version()
    except ImportError as problem:
        return f"none: {problem}"
