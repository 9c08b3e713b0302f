"""Who asks: known wherever a request is being answered, told by the door it came in at."""

import ipaddress
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar


def place_of(address: str) -> str:
    """An address as it counts: whoever has one of the newer kind has a whole network of them.

    Examples
    --------
    >>> place_of("192.0.2.7"), place_of("::ffff:192.0.2.7"), place_of("2001:db8:1:2:3::4"), place_of("?")
    ('192.0.2.7', '192.0.2.7', '2001:db8:1:2::', '?')
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(found, ipaddress.IPv6Address):
        return str(found.ipv4_mapped or ipaddress.IPv6Network((found, 64), strict=False).network_address)
    return str(found)


class Asking:
    """Somebody who asks, as long as one request of theirs is being answered.

    Parameters
    ----------
    who : str
        What tells askers apart: the address they ask from.
    """

    def __init__(self, who: str = "here") -> None:
        self.who = who
        self._lock = threading.Lock()
        self._left = False
        self._when_left: list[Callable[[], None]] = []

    @property
    def left(self) -> bool:
        """Whether nobody waits for the answer any longer. [-]"""
        return self._left

    def leave(self) -> None:
        """Nobody waits for the answer any longer; whoever wanted to know is told."""
        with self._lock:
            self._left, waiting, self._when_left = True, self._when_left, []
        for function in waiting:
            function()

    def when_left(self, function: Callable[[], None]) -> Callable[[], None]:
        """Has a function called when the asker leaves, at once when that has happened.

        Parameters
        ----------
        function : callable
            Quick; called in any thread.

        Returns
        -------
        undo : callable
            Forgets the function.
        """
        with self._lock:
            if not self._left:
                self._when_left.append(function)
                return lambda: self._forget(function)
        function()
        return lambda: None

    def _forget(self, function: Callable[[], None]) -> None:
        """Forgets a function."""
        with self._lock:
            if function in self._when_left:
                self._when_left.remove(function)


_asking: ContextVar[Asking] = ContextVar("asking")


def current() -> Asking:
    """Who asks.

    Returns
    -------
    asking : Asking
        Somebody on this machine when no request is being answered.
    """
    return _asking.get(None) or Asking()


@contextmanager
def asked_by(asking: Asking) -> Iterator[Asking]:
    """Has everything within be asked by somebody."""
    token = _asking.set(asking)
    try:
        yield asking
    finally:
        _asking.reset(token)
