"""Which cause a key hides, and the seal of a session.

With a key only the instructor has, nobody can work out the cause from the names of class, student and round, and nobody can
change a session and seal it again. A practice number is a key everybody has: it keeps the answer from a casual look only.
"""

import hashlib
import hmac
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sim.hidden.causes import CAUSES, Cause

LEAST_KEY = 16  # bytes of a key of the instructor
SHARES = (0.95, 1.0, 1.05)  # of the size of a cause, assumed
CYLINDERS = 6


@dataclass(frozen=True)
class Hidden:
    """What is hidden: never written to a session, a report or a page before the answer is given.

    Parameters
    ----------
    cause : Cause
        [-]
    share : float
        Of its size. [-]
    cylinder : int
        Of an injector that gives no fuel. [-]
    seed : int
        Of what is random in it. [-]
    """

    cause: Cause | None
    share: float = 1.0
    cylinder: int = 4
    seed: int = 1


def practice_key(number: int) -> bytes:
    """The key of a practice case: no secret.

    Parameters
    ----------
    number : int
        [-]

    Returns
    -------
    key : bytes
        [-]
    """
    return hashlib.sha256(f"haulbench practice case {number}".encode()).digest()


def _digest(key: bytes, *words: object) -> bytes:
    """HMAC-SHA-256 over words none of which can run into the next."""
    return hmac.new(key, json.dumps([str(word) for word in words]).encode(), hashlib.sha256).digest()


def hidden_by(key: bytes, case: Mapping[str, Any], level: int) -> Hidden:
    """What a key hides in a case.

    Parameters
    ----------
    key : bytes
        Of the instructor, or `practice_key`. [-]
    case : mapping
        class, student and round, or practice. [-]
    level : int
        1 to 3. [-]

    Returns
    -------
    hidden : Hidden
        [-]

    Examples
    --------
    >>> hidden_by(practice_key(3), {"practice": 3}, 2) == hidden_by(practice_key(3), {"practice": 3}, 2)
    True
    """
    drawn = _digest(key, "cause", level, *(f"{name}={case[name]}" for name in sorted(case)))
    of_level = [cause for cause in CAUSES if cause.level == level]
    return Hidden(
        of_level[int.from_bytes(drawn[:8], "big") % len(of_level)],
        SHARES[drawn[8] % len(SHARES)],
        1 + drawn[9] % CYLINDERS,
        1 + int.from_bytes(drawn[10:13], "big"),
    )


def seal(key: bytes, record: Mapping[str, Any]) -> str:
    """The seal of a record: whoever changes a letter of it cannot make it again without the key.

    Parameters
    ----------
    key : bytes
        [-]
    record : mapping
        Of plain values; its own entry `seal` is left out. [-]

    Returns
    -------
    seal : str
        Hexadecimal. [-]
    """
    text = json.dumps({name: record[name] for name in record if name != "seal"}, sort_keys=True, allow_nan=False)
    return _digest(key, "seal", text).hex()


def is_sealed(key: bytes, record: Mapping[str, Any]) -> bool:
    """Whether a record carries its own seal.

    Parameters
    ----------
    key : bytes
        [-]
    record : mapping
        [-]

    Returns
    -------
    sealed : bool
        [-]
    """
    given = record.get("seal")
    return isinstance(given, str) and hmac.compare_digest(given.encode(), seal(key, record).encode())


__all__: Sequence[str] = ("Hidden", "hidden_by", "is_sealed", "practice_key", "seal")
