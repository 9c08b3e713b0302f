"""Which cause a key hides, and the seal of a session.

With a key only the instructor has, nobody can work out the cause from the names of class, student and round, and nobody can
change a session and seal it again. A practice number is a key everybody has: it keeps the answer from a casual look only.
"""

import base64
import hashlib
import hmac
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.errors import SettingsError
from sim.hidden.causes import CAUSES, Cause
from sim.messages import hidden as say
from sim.reading import KEY, read_bytes

LEAST_KEY = 16  # bytes of a key of the instructor
SHARES = (0.95, 1.0, 1.05)  # of the size of a cause, assumed
CYLINDERS = 6
CODE_BYTES = 5  # of an entry code: 40 bits, eight letters and digits


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


def read_key(file: str) -> bytes:
    """The instructor's key.

    Parameters
    ----------
    file : str
        [-]

    Returns
    -------
    key : bytes
        Blanks at its ends do not count. [-]

    Raises
    ------
    SettingsError
        The file cannot be read, or the key is short enough to be guessed.
    """
    key = read_bytes(Path(file), KEY, SettingsError, where=f"--key-file {file}").strip()
    if len(key) < LEAST_KEY:
        raise SettingsError(say.short_key(file=file, given=len(key), least=LEAST_KEY))
    return key


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
    drawn = _digest(key, "cause", level, *(f"{name}={plain_name(str(case[name]))}" for name in sorted(case)))
    of_level = [cause for cause in CAUSES if cause.level == level]
    return Hidden(
        of_level[int.from_bytes(drawn[:8], "big") % len(of_level)],
        SHARES[drawn[8] % len(SHARES)],
        1 + drawn[9] % CYLINDERS,
        1 + int.from_bytes(drawn[10:13], "big"),
    )


def plain_name(name: str) -> str:
    """A name as it counts: neither blanks at its ends nor capitals make another person of anybody.

    Parameters
    ----------
    name : str
        [-]

    Returns
    -------
    name : str
        [-]

    Examples
    --------
    >>> plain_name("  Ann  Lee ")
    'ann lee'
    """
    return " ".join(name.split()).casefold()


def entry_code(key: bytes, class_name: str, round_name: str, student: str) -> str:
    """What a student types beside the name, so that nobody opens the case of another: it follows from the key alone.

    Parameters
    ----------
    key : bytes
        Of the instructor. [-]
    class_name : str
        [-]
    round_name : str
        [-]
    student : str
        [-]

    Returns
    -------
    code : str
        Two groups of four letters and digits. [-]

    Examples
    --------
    >>> entry_code(b"sixteen bytes or more", "7b", "1", "Ann Lee") == entry_code(b"sixteen bytes or more", "7B", "1", "ann lee")
    True
    """
    drawn = _digest(key, "entry", *(plain_name(word) for word in (class_name, round_name, student)))
    code = base64.b32encode(drawn[:CODE_BYTES]).decode()
    return f"{code[:4]}-{code[4:]}"


def is_entry_code(key: bytes, class_name: str, round_name: str, student: str, given: str) -> bool:
    """Whether a typed code is that of a student.

    Parameters
    ----------
    key : bytes
        [-]
    class_name : str
        [-]
    round_name : str
        [-]
    student : str
        [-]
    given : str
        As typed: capitals, blanks and the dash do not matter. [-]

    Returns
    -------
    right : bool
        [-]
    """
    typed = "".join(given.split()).replace("-", "").upper()
    right = entry_code(key, class_name, round_name, student).replace("-", "")
    return hmac.compare_digest(typed.encode(), right.encode())


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


__all__: Sequence[str] = (
    "Hidden",
    "entry_code",
    "hidden_by",
    "is_entry_code",
    "is_sealed",
    "plain_name",
    "practice_key",
    "read_key",
    "seal",
)
