"""What a person who waits is told, on stderr."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

PATIENCE = 1.0  # s without a word


def prepare_model() -> None:
    """Says, once in the life of a version, that the model is being compiled."""
    from sim.compiled import is_prepared

    if not is_prepared():
        print("Preparing the model; this takes a quarter of a minute and happens once.", file=sys.stderr, flush=True)


@contextmanager
def word_after_a_while(text: str) -> Iterator[None]:
    """Says what is being done, to a person at a terminal who has waited for a second."""
    timer = threading.Timer(PATIENCE, lambda: print(text, file=sys.stderr, flush=True))
    if sys.stderr.isatty():
        timer.start()
    try:
        yield
    finally:
        timer.cancel()


def trip_counter() -> Callable[[int, int], None]:
    """Says which trip is being driven, to a person at a terminal who has waited for a second."""
    started = time.perf_counter()

    def say_which(number: int, total: int) -> None:
        if time.perf_counter() - started > PATIENCE and sys.stderr.isatty():
            print(f"trip {number} of {total}", file=sys.stderr, flush=True)

    return say_which
