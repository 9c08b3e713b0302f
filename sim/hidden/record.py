"""What a session may hold: one schema, to the last text and number in it.

A session comes back from files and from browsers, and the key of a practice case is known to everybody: a seal tells that
somebody sealed it, not that this program did. What passes here can be shown, counted, made again and marked.
"""

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, FailFast, Field, ValidationError

from sim.errors import SettingsError
from sim.hidden.causes import NAMEABLE
from sim.hidden.key import LONGEST_NAME
from sim.hidden.menu import LONGEST_TEST, read_request
from sim.messages import hidden as say
from sim.units import quantity_kinds, quantity_text, spread_text
from sim.wording import said

FORM = 2  # in 1 readings were texts, and numbers in the units of one system
LEVELS = (1, 3)
ATTEMPTS = 3  # assumed
MOST_TESTS = 60  # assumed
LONGEST_WORDS = 1000  # letters of an explanation
MOST_PRACTICE = 999_999
LONGEST_FINDING = 2000  # letters, as data
MOST_READINGS = 400  # of one test; the record of programmed values has the most
LARGEST = 1e9  # of a number that an instrument shows, in any unit


def _time(text: str) -> str:
    """A time, as a session writes it."""
    datetime.fromisoformat(text)
    return text


def _said(value: dict[str, Any]) -> dict[str, Any]:
    """A finding that can be put into words."""
    try:
        if len(json.dumps(value, allow_nan=False)) <= LONGEST_FINDING and set(value) == {"kind", "values"}:
            said(value, "both")
            return value
    except (ArithmeticError, LookupError, TypeError, RecursionError):
        pass
    raise ValueError("Input should be a finding")


Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
Words = Annotated[str, Field(max_length=400)]
Said = Annotated[dict[str, Any], AfterValidator(_said)]
Number = Annotated[float, Field(ge=-LARGEST, le=LARGEST)]
Time = Annotated[str, Field(max_length=40), AfterValidator(_time)]


class _Plain(BaseModel):
    """A table that takes the types it names and nothing else."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class _Practice(_Plain):
    """A practice case."""

    practice: int = Field(ge=0, le=MOST_PRACTICE)


class _OfClass(_Plain):
    """A case of a class."""

    class_name: Name = Field(alias="class")
    student: Name
    round: Name


class _Reading(_Plain):
    """What an instrument showed, in SI or in words, and what it shows of a sound truck."""

    name: Words
    value: Number | Said
    quantity: Literal[tuple(quantity_kinds())]  # type: ignore[valid-type]
    digits: int = Field(0, ge=0, le=3)
    sound: Number | Said = 0.0
    within: Number = 0.0
    verdict: Literal["ok", "low", "high", "other"] = "ok"


class _Test(_Plain):
    """A test that was made."""

    number: int
    time: Time
    test: str = Field(max_length=LONGEST_TEST)
    readings: Annotated[list[_Reading], FailFast()] = Field(max_length=MOST_READINGS)


class _Answer(_Plain):
    """An answer that was given."""

    time: Time
    part: Literal[tuple(NAMEABLE)]  # type: ignore[valid-type]
    failure: Words
    because: list[int] = Field(max_length=MOST_TESTS)
    explanation: str = Field(max_length=LONGEST_WORDS)
    part_right: bool
    failure_right: bool


class _Record(_Plain):
    """A session."""

    form: Literal[FORM]  # type: ignore[valid-type]
    case: _Practice | _OfClass
    level: int = Field(ge=LEVELS[0], le=LEVELS[1])
    started: Time
    complaint: Words
    tests: Annotated[list[_Test], FailFast()] = Field(max_length=MOST_TESTS)
    answers: list[_Answer] = Field(max_length=ATTEMPTS)
    attempts_left: int
    closed: bool
    cautions: list[Words] = Field(max_length=12)
    seal: Words


KEYS = tuple(_Record.model_fields)


def check_record(session: Mapping[str, Any], file: str) -> None:
    """Refuses a session that holds what no session can hold.

    Parameters
    ----------
    session : mapping
        Decoded JSON.
    file : str
        Where it comes from, for messages.

    Raises
    ------
    SettingsError
        A field is missing or not known, has another type, is out of its bounds, or does not fit the others.
    """
    try:
        record = _Record.model_validate(session)
    except ValidationError as problem:
        first = problem.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(name) for name in first["loc"])
        raise SettingsError(
            say.session_field(file=file, place=place, problem=first["msg"].replace("Input should", "it must"))
        ) from None
    for test in record.tests:
        read_request(test.test)
    for place in _contradictions(record):
        raise SettingsError(say.session_does_not_add_up(file=file, place=place))


def reading_words(reading: Mapping[str, Any], units: str) -> tuple[str, str]:
    """A reading of a session for readers of a system of units, or of both.

    Returns
    -------
    found : str
        What the instrument showed.
    sound : str
        What it shows of a sound truck, and how far one may be off it; empty where none is told.
    """
    kind = reading["quantity"]

    def text(value: Any) -> str:
        return (
            said(value, units)
            if isinstance(value, Mapping)
            else quantity_text(value, kind, units, reading.get("digits"))
        )

    sound = text(reading["sound"]) if "sound" in reading else ""
    within = f" \u00b1 {spread_text(reading['within'], kind, units)}" if reading.get("within") else ""
    return text(reading["value"]), sound + within


def _contradictions(record: _Record) -> Iterator[str]:
    """Fields that do not fit the others."""
    for place, test in enumerate(record.tests, start=1):
        if test.number != place:
            yield f"tests.{place}.number"
    for place, answer in enumerate(record.answers, start=1):
        known = answer.failure in NAMEABLE[answer.part] and all(1 <= n <= len(record.tests) for n in answer.because)
        if not known or answer.failure_right > answer.part_right:
            yield f"answers.{place}"
    solved = [answer.failure_right for answer in record.answers]
    if any(solved[:-1]):
        yield "answers"
    if record.attempts_left != ATTEMPTS - len(solved):
        yield "attempts_left"
    if record.closed != (any(solved) or len(solved) == ATTEMPTS):
        yield "closed"
