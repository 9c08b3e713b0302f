"""A session: what was asked for, when, what was shown, and the answers. A plain record that holds neither cause nor key.

    session, key = start(level=2, practice=17)
    ask(session, key, "drive climb")
    give_answer(session, key, "air filter", "blocked")
    marking(session, key)

A server keeps the record and the key and sends only what `ask` returns. On a student's own machine record and program are in
the student's hands: that keeps the answer from a casual look, and no more.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sim.errors import SettingsError
from sim.hidden.causes import NAMEABLE
from sim.hidden.key import LEAST_KEY, Hidden, checked_name, hidden_by, is_sealed, plain_name, practice_key, seal
from sim.hidden.menu import Request, check_requests, perform, read_request, verdict_of
from sim.hidden.record import ATTEMPTS, FORM, KEYS, LEVELS, LONGEST_WORDS, MOST_PRACTICE, MOST_TESTS, check_record
from sim.hidden.truck_under_test import Reading, TruckUnderTest
from sim.messages import hidden as say
from sim.roads.route import Route, known_road
from sim.wording import Finding, as_data

NAMES_OF_CASE = ("class", "student", "round")
CAUTIONS = (
    "A teaching model, not advice for repairs. On a real truck the maker's service information, the rules of the shop and the law"
    " decide.",
    "On the road a passenger reads and writes, never the driver. Park off the road. Wear high-visibility clothing. Set out"
    " warning devices.",
    "In the shop: chock the wheels, gearbox in neutral, parking brake set, extraction on. Key off before a plug is pulled. A fan"
    " can start at any time; hot coolant is under pressure.",
    "Before a truck turns rollers, strap it down. Nobody stands behind the rollers. Protect ears and eyes.",
)

Session = dict[str, Any]


def now() -> str:
    """The time, as a session writes it.

    Returns
    -------
    time : str
        UTC, ISO 8601.
    """
    return datetime.now(UTC).isoformat(timespec="seconds")


def start(
    level: int = 1,
    practice: int | None = None,
    key: bytes | None = None,
    names: Mapping[str, str] | None = None,
    when: str | None = None,
) -> tuple[Session, bytes]:
    """Begins a session.

    Parameters
    ----------
    level : int
        1 to 3.
    practice : int or None
        Number of a practice case; None with a key of the instructor.
    key : bytes or None
        Of the instructor.
    names : mapping or None
        class, student and round, with a key.
    when : str or None
        Time of the start; None for now.

    Returns
    -------
    session : dict
        Sealed.
    key : bytes
        What it was made with.

    Raises
    ------
    SettingsError
        The level, the key or the names cannot be used.

    Examples
    --------
    >>> session, key = start(level=2, practice=17)
    >>> sorted(session["case"]), session["attempts_left"]
    (['practice'], 3)
    """
    if not LEVELS[0] <= level <= LEVELS[1]:
        raise SettingsError(say.level_range(given=level, least=LEVELS[0], most=LEVELS[1]))
    if key is None and not 0 <= (practice or 0) <= MOST_PRACTICE:
        raise SettingsError(say.practice_range(given=str(practice), most=MOST_PRACTICE))
    case: dict[str, Any] = {"practice": practice or 0}
    if key is not None:
        if len(key) < LEAST_KEY:
            raise SettingsError(say.short_key(file="--key-file", given=len(key), least=LEAST_KEY))
        missing = [name for name in NAMES_OF_CASE if not plain_name((names or {}).get(name, ""))]
        if missing:
            raise SettingsError(say.needs_names(missing=[f"--{name}" for name in missing]))
        case = {name: checked_name((names or {})[name]) for name in NAMES_OF_CASE}
    else:
        key = practice_key(practice or 0)
    cause = hidden_by(key, case, level).cause
    assert cause is not None
    session: Session = {
        "form": FORM,
        "case": case,
        "level": level,
        "started": when or now(),
        "complaint": cause.complaint,
        "tests": [],
        "answers": [],
        "attempts_left": ATTEMPTS,
        "closed": False,
        "cautions": list(CAUTIONS),
    }
    session["seal"] = seal(key, session)
    return session, key


def read_session(
    text: str, file: str, key: bytes | None = None, roads: Callable[[str], Route] | None = known_road
) -> tuple[Session, bytes]:
    """Reads a session and checks that nobody changed it, and that it holds nothing that no session can hold.

    Parameters
    ----------
    text : str
        JSON.
    file : str
        Where it comes from, for messages.
    key : bytes or None
        Of the instructor; None for a practice case.
    roads : callable or None
        Gives the road of a name; None where drives need not be made again, or over files of whoever reads.

    Raises
    ------
    HaulbenchError
        It is no session, was changed, needs another key, or tells of what cannot have been.
    """
    try:
        session = json.loads(text)
    except (ValueError, RecursionError):
        raise SettingsError(say.session_no_text(file=file)) from None
    if not isinstance(session, dict) or session.get("form") != FORM:
        raise SettingsError(say.session_form(file=file, form=FORM))
    if set(session) != set(KEYS) or not isinstance(session.get("case"), dict):
        raise SettingsError(say.session_keys(file=file, keys=KEYS))
    if "practice" in session["case"]:
        number = session["case"]["practice"]
        key = practice_key(number if isinstance(number, int) else 0)
    elif key is None:
        raise SettingsError(say.needs_key(file=file))
    if not is_sealed(key, session):
        raise SettingsError(say.seal_broken(file=file))
    check_record(session, file)
    requests = requests_of(session)
    if roads is not None:
        check_requests(requests, roads)
    return session, key


def hidden_in(session: Session, key: bytes) -> Hidden:
    """What is hidden in a session.

    Returns
    -------
    hidden : Hidden
        Stays on the side that has the key.
    """
    return hidden_by(key, session["case"], session["level"])


def requests_of(session: Session) -> list[Request]:
    """The tests of a session, in their order."""
    return [read_request(entry["test"]) for entry in session["tests"]]


def ask(
    session: Session,
    key: bytes,
    text: str,
    file: str = "session",
    when: str | None = None,
    truck: TruckUnderTest | None = None,
) -> dict[str, Any]:
    """Makes a test and writes it down.

    Parameters
    ----------
    session : dict
        Changed and sealed again.
    text : str
        The test, as `read_request` reads it.
    file : str
        For messages.
    when : str or None
        Time of the test; None for now.
    truck : TruckUnderTest or None
        When it is at hand from the test before, or when it may be driven over files.

    Returns
    -------
    entry : dict
        Number, time, test and readings, each beside that of a sound truck.

    Raises
    ------
    HaulbenchError
        There is no such test, or the session is over.
    """
    check_open(session, file)
    request, before = read_request(text), requests_of(session)
    truck = truck or TruckUnderTest(hidden_in(session, key))
    if request.name in ("drive", "codes"):  # these drive, and read what the drives before have left
        check_requests([*before, request], truck.roads)
    if len(session["tests"]) >= MOST_TESTS:
        raise SettingsError(say.too_many_tests(most=MOST_TESTS))
    readings = perform(truck, request, before)
    sound = {reading.name: reading for reading in perform(sound_truck(truck.roads), request, before)}
    entry = {
        "number": len(session["tests"]) + 1,
        "time": when or now(),
        "test": request.text,
        "readings": [_written(reading, sound.get(reading.name)) for reading in readings],
    }
    session["tests"].append(entry)
    session["seal"] = seal(key, session)
    return entry


@cache
def sound_truck(roads: Callable[[str], Route] = known_road) -> TruckUnderTest:
    """A sound truck of the same kind.

    Parameters
    ----------
    roads : callable
        Gives the road of a name.
    """
    return TruckUnderTest(Hidden(None), roads)


def _written(reading: Reading, sound: Reading | None) -> dict[str, Any]:
    """A reading as a session keeps it."""
    scale = sound if sound and isinstance(reading.value, Finding) else reading
    entry: dict[str, Any] = {"name": reading.name, "value": as_data(reading.value), "quantity": scale.quantity}
    if scale.digits is not None:
        entry["digits"] = scale.digits
    if sound is not None and reading.judged:
        verdict = verdict_of(reading, sound)
        entry |= {"sound": as_data(sound.value), "verdict": verdict if isinstance(verdict, str) else "other"}
        if not isinstance(sound.value, Finding):
            entry["within"] = float(f"{sound.tolerance:.3g}")
    return entry


def check_open(session: Session, file: str) -> None:
    """Refuses a session that is over.

    Parameters
    ----------
    file : str
        For the message.

    Raises
    ------
    SettingsError
        It is over.
    """
    if session["closed"]:
        raise SettingsError(say.closed(file=file))


def give_answer(
    session: Session,
    key: bytes,
    part: str,
    failure: str,
    because: Sequence[int] = (),
    explanation: str = "",
    file: str = "session",
    when: str | None = None,
) -> dict[str, Any]:
    """Takes an answer. The session is over with the right one or with the last attempt.

    Parameters
    ----------
    session : dict
        Changed and sealed again.
    because : sequence of int
        Numbers of the tests it rests on; none for all.
    explanation : str
        In the student's words.
    file : str
        For messages.
    when : str or None
        Time; None for now.

    Returns
    -------
    answer : dict
        Whether part and failure are right, and how many attempts are left.

    Raises
    ------
    SettingsError
        The session is over, or there is no such part, failure or test.
    """
    check_open(session, file)
    if part not in NAMEABLE:
        raise SettingsError(say.no_such_part(part=part, known=sorted(NAMEABLE)))
    if failure not in NAMEABLE[part]:
        raise SettingsError(say.no_such_failure(part=part, failure=failure, known=NAMEABLE[part]))
    for number in because:
        if not 1 <= number <= len(session["tests"]):
            raise SettingsError(say.no_such_evidence(number=number, made=len(session["tests"])))
    cause = hidden_in(session, key).cause
    assert cause is not None
    partners = {cause.part} | ({PLUGS.get(cause.part, cause.part)} if failure == cause.failure == "swapped" else set())
    part_right = part in partners
    answer = {
        "time": when or now(),
        "part": part,
        "failure": failure,
        "because": sorted(set(because)),
        "explanation": explanation[:LONGEST_WORDS],
        "part_right": part_right,
        "failure_right": part_right and failure == cause.failure,
    }
    session["answers"].append(answer)
    session["attempts_left"] -= 1
    session["closed"] = answer["failure_right"] or session["attempts_left"] <= 0
    session["seal"] = seal(key, session)
    return answer


# plugs that fit each other: a student may name either
PLUGS = {
    "boost pressure": "oil pressure",
    "oil pressure": "boost pressure",
    "coolant temperature": "intake temperature",
    "intake temperature": "coolant temperature",
}
