"""Which cause a key hides, and the seal of a session.

With a key only the instructor has, nobody can work out the cause from the names of class, student and round, and nobody can
change a session and seal it again. A practice number is a key everybody has: it keeps the answer from a casual look only.
"""

import base64
import hashlib
import hmac
import json
import unicodedata
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
WORD_BYTES = 5  # of an entry word: 40 bits, eight letters and digits
LONGEST_NAME = 80  # letters of a class, a student or a round


@dataclass(frozen=True)
class Hidden:
    """What is hidden: never written to a session, a report or a page before the answer is given.

    Parameters
    ----------
    share : float
        Of its size.
    cylinder : int
        Of an injector that gives no fuel.
    seed : int
        Of what is random in it.
    """

    cause: Cause | None
    share: float = 1.0
    cylinder: int = 4
    seed: int = 1


def read_key(file: str) -> bytes:
    """The instructor's key.

    Returns
    -------
    key : bytes
        Blanks at its ends do not count.

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
    """The key of a practice case: no secret."""
    return hashlib.sha256(f"haulbench practice case {number}".encode()).digest()


def _digest(key: bytes, *words: object) -> bytes:
    """HMAC-SHA-256 over words none of which can run into the next."""
    return hmac.new(key, json.dumps([str(word) for word in words]).encode(), hashlib.sha256).digest()


def hidden_by(key: bytes, case: Mapping[str, Any], level: int) -> Hidden:
    """What a key hides in a case.

    Parameters
    ----------
    key : bytes
        Of the instructor, or `practice_key`.
    case : mapping
        class, student and round, or practice.
    level : int
        1 to 3.

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
    r"""A name or a word as it counts: blanks at its ends, capitals and the way an accent was typed make no other of it.

    Returns
    -------
    name : str
        Without letters that are not seen.

    Notes
    -----
    The compatibility caseless match of the Unicode Standard, in the composed form.

    References
    ----------
    [1] The Unicode Standard, chapter 3.13, definition D146.

    Examples
    --------
    >>> plain_name("  Ann  Lee ")
    'ann lee'
    >>> plain_name("Zoe\u0308") == plain_name("ZO\u00cb")
    True
    """
    seen = "".join(letter for letter in name if unicodedata.category(letter) != "Cf")
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFD", seen).casefold()).casefold()
    return " ".join(unicodedata.normalize("NFKC", folded).split())


def checked_name(given: str) -> str:
    """A name as it is shown, and kept.

    Parameters
    ----------
    given : str
        As typed.

    Returns
    -------
    name : str
        Composed, with one blank between its words.

    Raises
    ------
    SettingsError
        It is too long, or has something in it that nobody can read.
    """
    name = unicodedata.normalize("NFC", " ".join(given.split()))
    if len(name) > LONGEST_NAME:
        raise SettingsError(say.long_name(name=name, letters=len(name), most=LONGEST_NAME))
    if any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name):
        raise SettingsError(say.unreadable_name(name=name))
    return name


def entry_word(key: bytes, class_name: str, round_name: str, student: str) -> str:
    """What a student types beside the name, so that nobody opens the case of another: it follows from the key alone.

    Parameters
    ----------
    key : bytes
        Of the instructor.

    Returns
    -------
    word : str
        Two groups of four letters and digits.

    Examples
    --------
    >>> entry_word(b"sixteen bytes or more", "7b", "1", "Ann Lee") == entry_word(b"sixteen bytes or more", "7B", "1", "ann lee")
    True
    """
    drawn = _digest(key, "entry", *(plain_name(word) for word in (class_name, round_name, student)))
    word = base64.b32encode(drawn[:WORD_BYTES]).decode()
    return f"{word[:4]}-{word[4:]}"


def is_entry_word(key: bytes, class_name: str, round_name: str, student: str, given: str) -> bool:
    """Whether a typed word is that of a student.

    Parameters
    ----------
    given : str
        As typed: what does not count in a name does not count here either, nor do blanks and the dash.
    """
    typed, right = (
        plain_name(word).replace(" ", "").replace("-", "").encode(errors="surrogatepass")
        for word in (given, entry_word(key, class_name, round_name, student))
    )
    return hmac.compare_digest(typed, right)


def seal(key: bytes, record: Mapping[str, Any]) -> str:
    """The seal of a record: whoever changes a letter of it cannot make it again without the key.

    Parameters
    ----------
    record : mapping
        Of plain values; its own entry `seal` is left out.

    Returns
    -------
    seal : str
        Hexadecimal.
    """
    text = json.dumps({name: record[name] for name in record if name != "seal"}, sort_keys=True, allow_nan=False)
    return _digest(key, "seal", text).hex()


def is_sealed(key: bytes, record: Mapping[str, Any]) -> bool:
    """Whether a record carries its own seal."""
    given = record.get("seal")
    try:
        right = seal(key, record)
    except (ValueError, RecursionError):  # it holds what no record holds, or is nested without end
        return False
    return isinstance(given, str) and hmac.compare_digest(given.encode(errors="surrogatepass"), right.encode())


__all__: Sequence[str] = (
    "LONGEST_NAME",
    "Hidden",
    "checked_name",
    "entry_word",
    "hidden_by",
    "is_entry_word",
    "is_sealed",
    "plain_name",
    "practice_key",
    "read_key",
    "seal",
)
