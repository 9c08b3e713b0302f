"""Who somebody is: a student by name and entry word, the instructor by a password; nobody by where a request comes from.

Address, host and headers are no proof: behind a proxy every student comes from this machine. Whoever knew a word gets a random
token that the browser keeps and no script can read. Words are asked of whatever keeps them through `Words`, and through
nothing else.

Wrong words are slowed down without holding a thread: the answer to a word that comes too soon is how long to wait, and that
word is not looked at. What counts, and what it costs others:

- a name from an address: from the first wrong word on, 1 s doubling to a minute. One attacker slows nobody at another address.
- a name from everywhere: from the 20th wrong word on, 1 s doubling to half a minute, so that many addresses together are slow.
- an address with any name: from the 60th wrong word on, half a second doubling to five. A whole class may sit behind one
  address, so the first word of a name from there is always looked at.

A browser with a token for a name never waits: whoever is let in cannot be shut out by others. Somebody new at whose name
somebody else is guessing at that very moment waits a minute at most, and then again while the guessing goes on. Counts are
forgotten after a quiet quarter of an hour. Their tables have an end: the least recent is given up, so that it takes `MOST_COUNTS`
other names to have a count forgotten, which is as slow as the longest wait.
"""

import hashlib
import hmac
import math
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from dashboard.server.asking import place_of
from sim.errors import SettingsError
from sim.hidden.key import checked_name, plain_name
from sim.messages import people as say
from sim.notices import notice
from sim.reading import Kind, read_text

LEAST_PASSWORD = 8  # letters
FILE = Kind(say.PASSWORD, 10_000, otherwise=say.CHECK_PASSWORD)
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # of a password that is made here: none is taken for another
GROUPS, GROUP = 4, 4  # 79 bits
LIFE = 8 * 3600.0  # s of a token: a school day
MOST_TOKENS = 8  # of one person
MOST_PEOPLE = 512  # with tokens
MOST_COUNTS = 65_536  # of each kind
FORGOTTEN = 900.0  # s without a wrong word
INSTRUCTOR = ""  # as a name of tokens and counts: no student has it
COOKIES = {"student": "haulbench-student", "instructor": "haulbench-instructor"}


# whether an entry word, as typed, is that of a student, named as `checked_name` gives it: all that is asked of what keeps words
Words = Callable[[str, str], bool]


class Visitor(Protocol):
    """Whoever asks, as far as a request tells."""

    @property
    def address(self) -> str:
        """Of the machine the request came from; no proof of anything. [-]"""

    @property
    def cookies(self) -> Mapping[str, str]:
        """By name. [-]"""

    @property
    def secure(self) -> bool:
        """Whether nobody between could read along. [-]"""


class Pace(NamedTuple):
    """How wrong words slow down the next: so many are free, then a wait that doubles."""

    free: int
    first: float
    longest: float

    def wait(self, wrong: int) -> float:
        """How long the next word waits.

        Parameters
        ----------
        wrong : int
            Wrong words so far.

        Returns
        -------
        wait : float
            [s]

        Examples
        --------
        >>> [Pace(1, 1.0, 5.0).wait(wrong) for wrong in (0, 1, 2, 3, 4, 5, 10_000)]
        [0.0, 0.0, 1.0, 2.0, 4.0, 5.0, 5.0]
        """
        beyond = wrong - self.free
        return min(self.longest, self.first * 2.0 ** min(beyond - 1, 60)) if beyond > 0 else 0.0


NAME_AT_ADDRESS, NAME, ADDRESS = Pace(0, 1.0, 60.0), Pace(20, 1.0, 30.0), Pace(60, 0.5, 5.0)


class Counts:
    """Wrong words by whatever they are counted for."""

    def __init__(self, pace: Pace) -> None:
        self._pace = pace
        self._salt = secrets.token_bytes(16)
        self._kept: OrderedDict[bytes, tuple[int, float]] = OrderedDict()  # wrong words, and when the last one was

    def __len__(self) -> int:
        return len(self._kept)

    def _key(self, *whose: str) -> bytes:
        """Neither readable nor longer than others."""
        text = "\0".join(whose).encode(errors="surrogatepass")
        return hashlib.blake2b(text, digest_size=16, salt=self._salt).digest()

    def of(self, now: float, *whose: str) -> tuple[int, float]:
        """Wrong words so far, and how long the next word waits.

        Parameters
        ----------
        now : float
            [s]

        Returns
        -------
        wait : float
            [s]
        """
        wrong, last = self._kept.get(self._key(*whose), (0, now))
        if now - last > FORGOTTEN:
            return 0, 0.0
        return wrong, max(0.0, last + self._pace.wait(wrong) - now)

    def add(self, now: float, *whose: str) -> None:
        """Counts a wrong word.

        Parameters
        ----------
        now : float
            [s]
        """
        key, (wrong, _) = self._key(*whose), self.of(now, *whose)
        self._kept[key] = (wrong + 1, now)
        self._kept.move_to_end(key)
        if len(self._kept) > MOST_COUNTS:
            self._kept.popitem(last=False)

    def take_back(self, *whose: str, whole: bool = False) -> None:
        """A word that was counted was right.

        Parameters
        ----------
        whole : bool
            Whether the wrong words before it are forgotten too.
        """
        key = self._key(*whose)
        wrong, last = self._kept.get(key, (0, 0.0))
        if wrong <= 1 or whole:
            self._kept.pop(key, None)
        else:
            self._kept[key] = (wrong - 1, last)


class Patience:
    """Has words looked at, and no sooner than wrong ones before them allow.

    Parameters
    ----------
    clock : callable
        Time that never goes back. [s]
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._together, self._names, self._places = Counts(NAME_AT_ADDRESS), Counts(NAME), Counts(ADDRESS)

    def is_right(self, name: str, address: str, look: Callable[[], bool], known: bool = False) -> bool:
        """Whether a word is right.

        Parameters
        ----------
        name : str
            Whose it should be, as it counts.
        address : str
            Where it comes from.
        look : callable
            Looks at the word.
        known : bool
            Whether who gives it was let in before, and does not wait.

        Raises
        ------
        SettingsError
            It comes too soon and is not looked at.
        """
        place = place_of(address)
        if not known:  # counted before it is looked at: of many words at once only the first is
            self._count(name, place, waits=True)
        right = look()
        if known and not right:
            self._count(name, place, waits=False)
        if right and not known:
            with self._lock:
                self._together.take_back(place, name, whole=True)
                self._names.take_back(name)
                self._places.take_back(place)
        return right

    def _count(self, name: str, place: str, waits: bool) -> None:
        """Counts a word as wrong, when it does not come too soon."""
        with self._lock:
            now = self._clock()
            wrong, wait = self._together.of(now, place, name)
            wait = max(wait, self._names.of(now, name)[1], self._places.of(now, place)[1] if wrong else 0.0)
            if wait > 0.0 and waits:
                raise SettingsError(say.wait(seconds=math.ceil(wait)))
            self._together.add(now, place, name)
            self._names.add(now, name)
            self._places.add(now, place)


class Tokens:
    """Random tokens of people who were let in: bounded in number and in life, and kept in memory only.

    Parameters
    ----------
    clock : callable
        Time that never goes back. [s]
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._of: OrderedDict[str, OrderedDict[bytes, float]] = OrderedDict()  # person -> token's digest -> its end

    def give(self, person: str) -> str:
        """A new token; a person's oldest is given up for it, when there are many."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            mine = self._of.setdefault(person, OrderedDict())
            self._of.move_to_end(person)
            mine[_digest(token)] = self._clock() + LIFE
            while len(mine) > MOST_TOKENS:
                mine.popitem(last=False)
            while len(self._of) > MOST_PEOPLE:
                self._of.popitem(last=False)
        return token

    def is_of(self, person: str, token: str) -> bool:
        """Whether a token is one of a person's."""
        with self._lock:
            end = self._of.get(person, OrderedDict()).get(_digest(token))
            return end is not None and self._clock() < end

    def take(self, person: str, token: str | None = None) -> None:
        """Takes a token away, or all of a person's.

        Parameters
        ----------
        token : str or None
            None for all.
        """
        with self._lock:
            if token is None:
                self._of.pop(person, None)
            else:
                self._of.get(person, OrderedDict()).pop(_digest(token), None)


def _digest(token: str) -> bytes:
    """What is kept of a token."""
    return hashlib.sha256(token.encode(errors="surrogatepass")).digest()


@dataclass(frozen=True)
class Cookie:
    """A token on its way to a browser, or its end.

    Parameters
    ----------
    value : str
        Empty to end it.
    secure : bool
        Whether the browser shall send it over a secure connection only.
    """

    key: str
    value: str
    secure: bool

    def settings(self) -> dict[str, Any]:
        """As `set_cookie` of a response takes it."""
        age = int(LIFE) if self.value else 0
        shared = {"path": "/", "httponly": True, "samesite": "strict", "secure": self.secure}
        return {"key": self.key, "value": self.value, "max_age": age, **shared}


def make_password() -> str:
    """A password nobody can guess.

    Returns
    -------
    password : str
        Letters and digits in groups.
    """
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(GROUP)) for _ in range(GROUPS))


class Identity:
    """The one place that says who somebody is.

    Parameters
    ----------
    password : str
        Of the instructor; empty with a file.
    password_file : str
        File that has it; looked at whenever somebody signs in or comes with a token, so that another password in it counts at
        once.
    clock : callable
        Time that never goes back. [s]

    Raises
    ------
    SettingsError
        The file cannot be used.

    Notes
    -----
    A password counts as a name does: neither capitals nor the way an accent was typed make another of it. A file that cannot be
    read any more lets nobody in.
    """

    def __init__(
        self, password: str = "", password_file: str = "", clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._file = password_file
        self._salt = secrets.token_bytes(32)
        self._patience, self._tokens = Patience(clock), Tokens(clock)
        self._lock = threading.Lock()
        self._right = self._hash(password) if password else b""
        if password_file:
            self._right = self._hash(self._read())

    # ------------------------------------------------------------ students

    def student(self, words: Words, name: str, word: str, visitor: Visitor) -> str:
        """The student who gives a name and an entry word.

        Parameters
        ----------
        name : str
            As typed.
        word : str
            As typed.

        Returns
        -------
        name : str
            As it is shown.

        Raises
        ------
        SettingsError
            They do not belong together, or come too soon after a wrong word.
        """
        shown = checked_name(name)
        person = plain_name(shown)
        if person == INSTRUCTOR:
            raise SettingsError(say.wrong_entry())
        known = self._tokens.is_of(person, visitor.cookies.get(COOKIES["student"], ""))
        if not self._patience.is_right(person, visitor.address, lambda: words(shown, word), known):
            raise SettingsError(say.wrong_entry())
        return shown

    def student_cookie(self, name: str, visitor: Visitor) -> Cookie | None:
        """What the browser of a student who was let in shall keep.

        Parameters
        ----------
        name : str
            As `student` has returned it.

        Returns
        -------
        cookie : Cookie or None
            None when it has one already.
        """
        person, key = plain_name(name), COOKIES["student"]
        if self._tokens.is_of(person, visitor.cookies.get(key, "")):
            return None
        return Cookie(key, self._tokens.give(person), visitor.secure)

    # ------------------------------------------------------------ the instructor

    def sign_in(self, password: str, visitor: Visitor) -> Cookie:
        """Lets the instructor in.

        Parameters
        ----------
        password : str
            As typed.

        Raises
        ------
        SettingsError
            It is another password, comes too soon after a wrong one, or the file of passwords cannot be read.
        """
        given = self._hash(password)

        def look() -> bool:
            right = self._now()
            if not right:
                raise SettingsError(say.no_password())
            return hmac.compare_digest(given, right)

        if not self._patience.is_right(INSTRUCTOR, visitor.address, look, self.is_instructor(visitor)):
            raise SettingsError(say.wrong_password())
        return Cookie(COOKIES["instructor"], self._tokens.give(INSTRUCTOR), visitor.secure)

    def is_instructor(self, visitor: Visitor) -> bool:
        """Whether somebody is the instructor."""
        return self._has_token(visitor) and bool(self._now()) and self._has_token(visitor)

    def sign_out(self, visitor: Visitor) -> Cookie:
        """Ends what a password has opened in a browser.

        Returns
        -------
        cookie : Cookie
            Ends the one that is there.
        """
        key = COOKIES["instructor"]
        self._tokens.take(INSTRUCTOR, visitor.cookies.get(key, ""))
        return Cookie(key, "", visitor.secure)

    # ------------------------------------------------------------ inside

    def _has_token(self, visitor: Visitor) -> bool:
        """Whether a browser has a token of the instructor."""
        return self._tokens.is_of(INSTRUCTOR, visitor.cookies.get(COOKIES["instructor"], ""))

    def _hash(self, password: str) -> bytes:
        """What is kept of a password."""
        return hmac.new(self._salt, plain_name(password).encode(errors="surrogatepass"), hashlib.sha256).digest()

    def _read(self) -> str:
        """The password of the file."""
        password = read_text(Path(self._file), FILE, SettingsError, where=f"--password-file {self._file}").strip()
        letters = len(plain_name(password))
        if letters < LEAST_PASSWORD:
            raise SettingsError(say.short_password(file=self._file, letters=letters, least=LEAST_PASSWORD))
        return password

    def _now(self) -> bytes:
        """The password as it is now, empty when its file cannot be used; another one than before ends what that has opened."""
        if not self._file:
            return self._right
        with self._lock:
            try:
                right = self._hash(self._read())
            except SettingsError as problem:
                right = b""
                if self._right:
                    notice(str(problem))
            if right != self._right:
                self._right = right
                self._tokens.take(INSTRUCTOR)
            return right
