"""Whose turn it is in a pool that a class shares: who has used least lately comes first, and nobody holds all of it."""

import math
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence

from sim.trips.pool import Turns, Work

LATELY = 30.0  # s: what was used so long ago counts for 1/e
MOST_SHARE = 0.1  # of a lane over that time; who uses more, and far more than the others, is a heavy user
FAR_MORE = 3.0  # times what the others use on average: on a slow machine a whole class uses more than its shares
SHORT = 0.5  # s: longer jobs of one asker leave a lane free for the others
LONG = 5.0  # s: longer jobs of all together leave a lane free for the shorter ones
HARDLY = 0.02  # s of use that is none


class FairTurns(Turns):
    """Fair turns for the askers of one pool, with an account of what each has used lately.

    Parameters
    ----------
    now : callable
        The time. [s]
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._lock = threading.Lock()
        self._used: dict[str, tuple[float, float]] = {}  # seconds, and when they were right

    def used(self, who: str) -> float:
        """What somebody has used lately.

        Returns
        -------
        seconds : float
            Of the processor, fading; 0 where it is hardly anything. [s]
        """
        seconds, at = self._used.get(who, (0.0, 0.0))
        left = seconds * math.exp((at - self._now()) / LATELY)
        return left if left > HARDLY else 0.0

    def spent(self, who: str, seconds: float) -> None:
        """Puts what a job has taken on somebody's account.

        Parameters
        ----------
        seconds : float
            [s]
        """
        with self._lock:
            self._used = {each: kept for each, kept in self._used.items() if self.used(each) or each == who}
            self._used[who] = (self.used(who) + seconds, self._now())

    def before(self, one: str, other: str) -> bool:
        """Whether somebody has his turn before somebody else."""
        return self.used(one) < self.used(other)

    def is_heavy(self, who: str) -> bool:
        """Whether somebody uses more than a share, and far more than the others who ask."""
        with self._lock:
            others = [used for each in self._used if each != who and (used := self.used(each))]
            return bool(others) and self.used(who) > max(MOST_SHARE * LATELY, FAR_MORE * sum(others) / len(others))

    def choose(self, waiting: Sequence[Work], under_way: Sequence[Work], lanes: int) -> Work | None:
        """The job a free lane takes.

        Parameters
        ----------
        waiting : sequence of Work
            Longest waiting first.

        Returns
        -------
        work : Work or None
            Of those who hold no lane, of whoever has used least lately; else of one who holds a lane already. The last free
            lane is for the shorter jobs only.
        """
        held = Counter(work.terms.who for work in under_way)
        last = lanes > 1 and len(under_way) + 1 >= lanes
        allowed = [
            work for work in waiting if not last or work.terms.expected <= (SHORT if held[work.terms.who] else LONG)
        ]
        used = {work.terms.who: self.used(work.terms.who) for work in allowed}  # once each: it fades while one looks
        return min(allowed, key=lambda work: (held[work.terms.who], used[work.terms.who]), default=None)
