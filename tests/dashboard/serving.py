"""What the tests of the server need: an app whose jobs run at once in this process, and a real server with real workers."""

import itertools
import socket
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any

import pytest
from starlette.testclient import TestClient

from dashboard.app import create_app
from dashboard.hidden_fault.round import Round
from dashboard.server import runs
from dashboard.server.identity import Identity
from dashboard.server.runs import Workshop
from sim.trips.pool import PLAIN, Terms


class AtOnce:
    """A pool that does a job where it stands; what it did is kept for the tests to count."""

    def __init__(self) -> None:
        self.done: list[str] = []

    def submit(self, function: Any, *given: Any, terms: Terms = PLAIN) -> "Future[Any]":
        self.done.append(function.__name__)
        future: Future[Any] = Future()
        try:
            future.set_result(function(*given))
        except Exception as problem:
            future.set_exception(problem)
        return future

    def warm(self, also: object = None) -> None:
        pass

    def close(self) -> None:
        pass


class Held:
    """A pool whose jobs wait until a test lets them go."""

    def __init__(self) -> None:
        self.jobs: list[Future[Any]] = []
        self.terms: list[Terms] = []

    def submit(self, function: Any, *given: Any, terms: Terms = PLAIN) -> "Future[Any]":
        self.jobs.append(Future())
        self.terms.append(terms)
        return self.jobs[-1]

    def lend(self, future: "Future[Any]", who: str) -> None:
        pass

    def close(self) -> None:
        pass


class Visitor(TestClient):
    """Asks an application without a network, from an address of its own."""

    numbers = itertools.count(1)

    def __init__(self, app: Any, address: str | None = None, **more: Any) -> None:
        number = next(self.numbers)
        self.application = app
        address = address or f"127.1.{number // 250}.{number % 250 + 1}"
        super().__init__(app.server, "http://localhost", client=(address, 50000), raise_server_exceptions=False, **more)


CLASS_KEY, CLASS, ROUND = b"a key of tests, which is no secret", "Diesel 2", "1"
PASSWORD = "a password of tests"


@contextmanager
def real_server() -> Iterator[str]:
    """The address of the pages as they are served, with workers that are warm, and a class whose hidden faults are here."""
    from sim.command.serving import server

    with pytest.MonkeyPatch.context() as patched:  # tests on the other cores are nobody to give way to
        patched.setattr(runs, "QUICK_NICE", 0)
        patched.setattr(runs, "PATIENT_NICE", 0)
        workshop = Workshop()
    workshop.hosted, workshop.identity = Round(CLASS_KEY, CLASS, ROUND, 1), Identity(PASSWORD)
    place = socket.create_server(("127.0.0.1", 0))
    serving = server(create_app(workshop).server, workshop.close)
    running = threading.Thread(target=serving.run, args=([place],))
    running.start()
    workshop.warm_in_background()
    workshop.ready.wait(timeout=180)
    assert not workshop.trouble
    yield f"http://127.0.0.1:{place.getsockname()[1]}"
    serving.should_exit = True
    running.join(20)
    assert not running.is_alive()
