"""What workers do for the Hidden fault page: tests, answers, markings, sheets. Plain values in, plain values out."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from dashboard.server.costs import costs, marking_seconds, tried_seconds
from sim.hidden.key import Hidden
from sim.hidden.marking import mark
from sim.hidden.session import Session, ask, give_answer, hidden_in
from sim.hidden.truck_under_test import TruckUnderTest

MOST_SHOPS = 12  # trucks a worker keeps at hand
CASE = "this case"  # in messages: a browser knows no file


@lru_cache(maxsize=MOST_SHOPS)
def _truck(hidden: Hidden) -> TruckUnderTest:
    """The truck of a case, with what has been done with it so far."""
    return TruckUnderTest(hidden)


@costs(tried_seconds)
def make_test(session: Session, key: bytes, text: str) -> tuple[Session, dict[str, Any]]:
    """Makes a test; runs in a worker.

    Parameters
    ----------
    text : str
        The test.

    Returns
    -------
    session : dict
        With the test in it, sealed.
    entry : dict
        The test and its readings.

    Raises
    ------
    HaulbenchError
        There is no such test, or the session is over.
    """
    entry = ask(session, key, text, CASE, truck=_truck(hidden_in(session, key)))
    return session, entry


@costs(lambda *_: 0.05)
def answer_given(
    session: Session, key: bytes, part: str, failure: str, because: Sequence[int], explanation: str
) -> tuple[Session, dict[str, Any]]:
    """Takes an answer; runs in a worker.

    Parameters
    ----------
    because : sequence of int
        Numbers of tests.

    Returns
    -------
    session : dict
        With the answer in it, sealed.
    answer : dict
        Whether part and failure are right.

    Raises
    ------
    SettingsError
        The session is over, or there is no such part, failure or test.
    """
    answer = give_answer(session, key, part, failure, because, explanation, CASE)
    return session, answer


@costs(lambda session, key: marking_seconds(session))
def marked(session: Session, key: bytes) -> dict[str, Any]:
    """The marking of a session that is over; runs in a worker, for some seconds."""
    return mark(session, key, CASE)
