"""The hidden fault: cause in, symptom out; found by measuring, not by codes alone; nothing given away before the answer.

What the trade recognises (which reading names which cause) is common practice, no source, unless a test says otherwise.
"""

import contextlib
import copy
import hashlib
import hmac
import json
import os
import signal
import unicodedata
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.paper.lab_sheet import fault_sheet
from sim.command.main import main
from sim.errors import HaulbenchError, RouteError, SettingsError
from sim.hidden.causes import CAUSES, NAMEABLE, Cause
from sim.hidden.key import (
    LONGEST_NAME,
    SHARES,
    Hidden,
    checked_name,
    entry_word,
    hidden_by,
    is_entry_word,
    plain_name,
    practice_key,
    seal,
)
from sim.hidden.marking import Bay, mark, shortest_path
from sim.hidden.menu import FREE_TABLES, Request, check_requests, every_request, judged, perform, read_request
from sim.hidden.record import ATTEMPTS, MOST_TESTS
from sim.hidden.session import ask, give_answer, hidden_in, read_session, sound_truck, start
from sim.hidden.truck_under_test import DRIVES, TruckUnderTest
from sim.inputs.specs import Settings
from sim.roads.route import load_route
from sim.wording import finding

KEY, OTHER = b"the instructor's own", b"another instructor's"
NAMES = {"class": "D2", "student": "7", "round": "1"}
DRIVEN = [Request("drive", name) for name in DRIVES]


def named(name: str) -> Cause:
    """A cause by part and failure."""
    return next(cause for cause in CAUSES if cause.name == name)


@pytest.fixture(scope="module")
def bay() -> Bay:
    """One bay for all tests of this file: what was measured once is not measured again."""
    return Bay(Hidden(None, 1.0, 4, 7), sound_truck())


def practice_of(name: str) -> int:
    """Number of a practice case that hides a cause in the size of the list."""
    cause = named(name)
    drawn = ((n, hidden_by(practice_key(n), {"practice": n}, cause.level)) for n in range(9000))
    return next(n for n, hidden in drawn if hidden.cause is cause and hidden.share == 1.0 and hidden.cylinder == 4)


# ---------------------------------------------------------------- key


def test_there_are_many_causes_and_every_level_has_some():
    assert len(CAUSES) >= 25
    assert len({cause.name for cause in CAUSES}) == len(CAUSES)
    assert all(count >= 6 for count in Counter(cause.level for cause in CAUSES).values())
    assert all(cause.failure in NAMEABLE[cause.part] for cause in CAUSES)


def test_a_key_hides_the_same_fault_each_time_and_another_key_another():
    rounds = [{**NAMES, "student": str(number)} for number in range(60)]
    for level in (1, 2, 3):
        mine = [hidden_by(KEY, case, level) for case in rounds]
        assert mine == [hidden_by(KEY, case, level) for case in rounds]
        assert all(hidden.cause.level == level for hidden in mine)
        others = [hidden_by(OTHER, case, level) for case in rounds]
        alike = sum(a.cause is b.cause for a, b in zip(mine, others, strict=True))
        assert alike < 0.45 * len(rounds), "two keys agree no more often than chance"


def test_each_cause_is_drawn_about_as_often_as_any_other():
    for level in (1, 2, 3):
        drawn = Counter(hidden_by(KEY, {**NAMES, "student": str(n)}, level).cause.name for n in range(3000))
        expected = 3000 / sum(cause.level == level for cause in CAUSES)
        assert set(drawn) == {cause.name for cause in CAUSES if cause.level == level}
        assert all(0.5 * expected < count < 1.6 * expected for count in drawn.values())


def test_class_student_and_round_are_told_apart():
    one = hidden_by(KEY, {"class": "1", "student": "12", "round": "3"}, 3)
    other = hidden_by(KEY, {"class": "11", "student": "2", "round": "3"}, 3)
    assert (one.cause, one.seed) != (other.cause, other.seed)


def test_the_seal_is_a_published_one():
    """HMAC of RFC 2104 with SHA-256 over the sorted JSON, worked out here by hand from its definition."""
    record = {"b": 2, "a": "x"}
    words = json.dumps(["seal", json.dumps(record, sort_keys=True)]).encode()
    block = KEY.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(x ^ 0x36 for x in block) + words).digest()
    assert seal(KEY, record) == hashlib.sha256(bytes(x ^ 0x5C for x in block) + inner).hexdigest()
    assert seal(KEY, record) == hmac.new(KEY, words, "sha256").hexdigest()
    assert seal(KEY, record | {"seal": "whatever"}) == seal(KEY, record)


# ---------------------------------------------------------------- cause in, symptom out

SYMPTOMS = [
    ("oil pump: worn", "gauge oil pressure", "idling", "low"),
    ("oil pressure: offset", "gauge oil pressure", "idling", "ok"),
    ("oil pressure: offset", "meter oil pressure", "idling", "low"),
    ("coolant: low", "look", "coolant in the tank", "low"),
    ("coolant level: offset", "look", "coolant in the tank", "ok"),
    ("coolant temperature: open", "wire coolant temperature", "end to end", finding("reading.no_way_through")),
    (
        "coolant temperature: shorted high",
        "wire coolant temperature",
        "to supply",
        finding("reading.resistance", between=0.2),
    ),
    (
        "coolant temperature: shorted low",
        "wire coolant temperature",
        "to ground",
        finding("reading.resistance", between=0.2),
    ),
    ("boost pressure: offset", "meter boost pressure", "engine at rest", "low"),
    ("barometric pressure: offset", "meter boost pressure", "engine at rest", "ok"),
    ("engine brake, front pair: dead", "solenoid front", "current", "ok"),
    ("engine brake, front pair: dead", "solenoid front", "cylinders that move", "low"),
    ("engine brake, front pair: open", "solenoid front", "current", finding("reading.none")),
    ("engine-brake circuits: swapped", "solenoid middle", "cylinders that move", "high"),
    ("engine-brake switch: open", "meter engine-brake switch", "pressed or on", "high"),
    ("air filter: blocked", "rollers", "power at 1900 rpm", "ok"),
    ("air filter: blocked", "rollers", "power at 1100 rpm", "ok"),
    ("air filter: blocked", "air gauge", "at 1900 rpm", "high"),
    ("exhaust: blocked", "exhaust gauge", "at 1900 rpm", "high"),
    ("exhaust: blocked", "air gauge", "at 1900 rpm", "ok"),
    ("charge-air hose: leaks", "rollers", "power at 1100 rpm", "low"),
    ("charge-air hose: leaks", "rollers", "power at 1900 rpm", "ok"),
    ("charge-air hose: leaks", "exhaust gauge", "at 1900 rpm", "ok"),
    ("injectors: worn", "cut-out", "power lost without cylinder 4", "ok"),
    ("injector: gives no fuel", "cut-out", "power lost without cylinder 4", "low"),
    ("governor: acts early", "idle", "high idle", "low"),
    ("governor: answers late", "idle", "high idle", "ok"),
    ("governor: answers late", "idle", "highest after a snap", "high"),
    ("fan clutch: seized", "fan", "fan speed at idle", "high"),
    ("fan clutch: seized", "drive level", "fan heard", "high"),
    ("fan clutch: seized", "fan", "called by the controller", "ok"),
    ("fan switch: shorted low", "fan", "called by the controller", finding("reading.yes")),
    ("brake: drags", "coast", "speed lost in 25 s", "high"),
    ("tyres: another size than programmed", "record", "speedometer.programmed_pulses_per_mile", "ok"),
    ("tyres: another size than programmed", "drive level", "needle over timed speed", "low"),
    ("pulses per mile: programmed wrong", "record", "speedometer.programmed_pulses_per_mile", "high"),
    ("pulses per mile: programmed wrong", "drive level", "needle over timed speed", "low"),
    ("road-speed limit: programmed wrong", "drive level", "highest speed, timed", "low"),
    ("low idle: programmed wrong", "idle", "idle", "low"),
    ("thermostat: opens late", "thermostat", "begins to open", "high"),
    ("radiator: blocked", "drive climb", "coolant by thermometer, hottest", "high"),
    ("coolant temperature: offset", "gauge coolant temperature", "idling", "ok"),
    ("coolant temperature: offset", "meter coolant temperature", "idling", "low"),
    ("camshaft position: open", "idle", "idle", "low"),
    ("accelerator: offset", "meter accelerator", "engine at rest", "high"),
    ("camshaft position: open", "drive climb", "how it ended", finding("reading.does_not_start")),
    ("crankshaft position: open", "drive start", "how it ended", finding("reading.does_not_start")),
    ("camshaft position: open", "look", "lamp, engine idling", finding("reading.lamp_amber")),
]


def findings(bay, cause, request, drives=DRIVEN):
    """What a test finds in a truck that has the cause, against a sound one."""
    return judged(bay.readings(cause, request, drives), bay.readings(None, request, drives))


@pytest.mark.parametrize(("name", "test", "reading", "verdict"), SYMPTOMS)
def test_a_cause_shows_where_the_trade_looks_for_it(bay, name, test, reading, verdict):
    found = dict(findings(bay, named(name), read_request(test)))
    assert found[reading] == verdict


def test_a_sound_truck_has_no_finding(bay):
    sound = TruckUnderTest(Hidden(None, 1.1, 2, 99))
    for request in every_request(False):
        found = judged(perform(sound, request), perform(bay.sound, request))
        assert all(verdict == "ok" for _, verdict in found), request.text


def test_the_size_that_is_drawn_is_not_the_size_of_the_list():
    cause = named("air filter: blocked")
    highest = [
        float(perform(TruckUnderTest(Hidden(cause, share)), read_request("air gauge"))[-1].value)
        for share in sorted(SHARES)
    ]
    assert highest == sorted(highest) and highest[0] < 0.95 * highest[-1]


def test_codes_add_up_over_drives_and_keep_their_first_freeze_frame():
    truck = TruckUnderTest(Hidden(named("coolant temperature: open")))
    once = {r.name: r.value for r in perform(truck, Request("codes"))}
    drives = [Request("drive", "climb"), Request("drive", "start")]
    more = {r.name: r.value for r in perform(truck, Request("codes"), drives)}
    assert (once["110/3"].values["count"], more["110/3"].values["count"]) == (1, 3)
    assert once["110/3 freeze frame"] != more["110/3 freeze frame"]
    assert (
        more["110/3 freeze frame"]
        == {r.name: r.value for r in perform(truck, Request("codes"), drives[:1])}["110/3 freeze frame"]
    )


def test_an_engine_that_does_not_start_has_its_code_without_a_drive(bay):
    """Common practice, no source: a controller that counts pulses of one wheel and not of the other says which while cranking."""
    for name, code in (("camshaft position: open", "723/8"), ("crankshaft position: open", "636/8")):
        assert bay.readings(named(name), Request("codes"))[0].value == finding("reading.list", all=[code])
        driven = {reading.name: reading.value for reading in bay.readings(named(name), Request("codes"), DRIVEN)}
        assert driven["codes (SPN/FMI)"] == finding("reading.list", all=[code]) and driven[code].kind == "code.active"


# ---------------------------------------------------------------- found, and not by codes alone


@pytest.mark.parametrize("name", ["oil pump: worn", "injector: gives no fuel"])
def test_a_sensible_path_leaves_one_cause(bay, name):
    path = shortest_path(bay, named(name))
    assert path[-1][1] == 0
    assert len(path) <= 6
    counts = [left for _, left in path]
    last = counts[:-1] if counts[-2:] == [0, 0] else counts  # the last look is at the part itself
    assert last == sorted(last, reverse=True) and len(set(last)) == len(last), "every step rules somebody out"
    assert any(bay.shows(named(name), request) for request, _ in path)


@pytest.mark.slow
@pytest.mark.parametrize("share", SHARES)
def test_every_cause_has_a_path_that_leaves_no_other(share):
    whole = Bay(Hidden(None, share, 4, 7), sound_truck())
    for cause in CAUSES:
        path = shortest_path(whole, cause)
        assert path and path[-1][1] == 0, f"{cause.name}: {path}"
        assert len(path) <= 7, cause.name


@pytest.mark.slow
@pytest.mark.parametrize("share", SHARES)
def test_codes_alone_never_solve_the_harder_levels(share):
    """After every drive of the list: level 2 leaves another part with the same codes, level 3 has no code at all."""
    whole = Bay(Hidden(None, share, 4, 7), sound_truck())
    read = {cause: findings(whole, cause, Request("codes")) for cause in CAUSES}
    for cause, codes in read.items():
        alike = {other.part for other in CAUSES if read[other] == codes} - {cause.part}
        assert (codes[0][1] == "ok") == (cause.level == 3), cause.name
        assert bool(alike) == (cause.level > 1), f"{cause.name}: {codes} also of {alike}"


def test_a_drive_and_its_codes_do_not_tell_an_oil_pump_from_its_sensor(bay):
    pump, sensor = named("oil pump: worn"), named("oil pressure: offset")
    codes = Request("codes")
    assert findings(bay, pump, codes, DRIVEN[1:2]) == findings(bay, sensor, codes, DRIVEN[1:2])
    left, _ = bay.left_by(pump, [(codes, DRIVEN[1:2])], [pump, sensor])
    assert left == [sensor]
    left, _ = bay.left_by(pump, [(codes, DRIVEN[1:2]), (read_request("gauge oil pressure"), [])], [pump, sensor])
    assert left == []


# ---------------------------------------------------------------- nothing given away


def texts_of(cause: Cause) -> list[str]:
    """What would give a cause away: its name, its words, keys and values of its parameters, the entry that makes it."""
    keys = [key for key, _ in cause.changes if key not in ("road_speed.limit_km_h", "engine.low_idle_rpm")]
    return [
        cause.name,
        cause.teaches,
        "faults.occur",
        "condition.",
        *keys,
        *([f"start {cause.occur}"] if cause.occur else []),
    ]


@pytest.mark.parametrize("name", ["air filter: blocked", "oil pump: worn", "injector: gives no fuel", "brake: drags"])
def test_nothing_gives_the_answer_away_before_it_is_given(tmp_path, capsys, name):
    cause, number = named(name), practice_of(name)
    file, out = str(tmp_path / "case.json"), str(tmp_path / "sheet")
    assert main(["fault", "start", file, "--level", str(cause.level), "--practice", str(number)]) == 0
    for test in ("look", "idle", "codes", "drive climb", "rollers"):
        assert main(["fault", "do", file, *test.split()]) == 0
    assert main(["fault", "do", file, "record", "--json"]) == 0
    wrong = next(other for other in CAUSES if other.part != cause.part)
    assert main(["fault", "answer", file, "--part", wrong.part, "--failure", wrong.failure]) == 0
    assert main(["fault", "report", file, "--out", out]) == 0
    said = capsys.readouterr()
    written = [path.read_text(encoding="utf-8") for path in (tmp_path / "case.json", *Path(out).iterdir())]
    hidden = hidden_by(practice_key(number), {"practice": number}, cause.level)
    secrets = [*texts_of(cause), practice_key(number).hex(), str(hidden.seed)]
    for text in (said.out, said.err, *written):
        for secret in secrets:
            assert secret not in text, secret
    assert "It is another part." in said.out


def test_two_sessions_with_one_complaint_differ_in_nothing_but_case_and_seal():
    """A session before the first test is the same whatever is hidden."""
    level = 3
    found: dict[str, dict] = {}
    for number in range(200):
        session, key = start(level, number, when="2026-01-01T00:00:00+00:00")
        cause = hidden_in(session, key).cause
        plain = {name: session[name] for name in session if name not in ("case", "seal")}
        before = found.setdefault(cause.complaint, {"cause": cause, "plain": plain})
        assert plain == before["plain"]
        if before["cause"] is not cause:
            return
    pytest.fail("no two causes share a complaint")


def test_a_complaint_names_no_failure():
    for cause in CAUSES:
        assert cause.failure not in cause.complaint.lower(), cause.name
        if cause.level > 1:
            assert not cause.complaint.lower().startswith(cause.part), cause.name


def test_the_instructors_case_says_nothing_without_the_key(tmp_path, capsys):
    key, file = tmp_path / "key", str(tmp_path / "case.json")
    key.write_bytes(KEY)
    who = ["--class", "D2", "--student", "7", "--round", "1"]
    assert main(["fault", "start", file, "--key-file", str(key), "--level", "3", *who]) == 0
    assert KEY.decode() not in Path(file).read_text(encoding="utf-8")
    assert main(["fault", "do", file, "idle", "--key-file", str(key)]) == 0
    capsys.readouterr()
    assert main(["fault", "do", file, "idle"]) == 2
    assert "needs the instructor's key" in capsys.readouterr().err
    key.write_bytes(OTHER)
    assert main(["fault", "do", file, "idle", "--key-file", str(key)]) == 2
    assert "the seal does not fit" in capsys.readouterr().err


# ---------------------------------------------------------------- the file


def test_a_session_that_was_changed_is_refused():
    session, key = start(2, 3)
    ask(session, key, "idle")
    whole = json.dumps(session)
    assert read_session(whole, "case.json")[0] == session
    changes = [
        {"attempts_left": 99},
        {"level": 1},
        {"case": {"practice": 4}},
        {"complaint": "It is fine."},
        {"tests": []},
        {"started": "2020-01-01T00:00:00+00:00"},
        {"seal": "0" * 64},
        {"seal": None},
        {"seal": "\u00e9"},
        {"closed": True},
    ]
    for change in changes:
        with pytest.raises(SettingsError, match=r"case\.json: the seal does not fit"):
            read_session(json.dumps(session | change), "case.json")
    for text in ("", "[]", "{}", "null", "[" * 5000, '{"form": 1}', json.dumps(session | {"more": 1})):
        with pytest.raises(SettingsError, match="no session of a hidden fault"):
            read_session(text, "case.json")


def test_attempts_are_limited_and_the_session_is_then_over():
    session, key = start(1, 0)
    cause = hidden_in(session, key).cause
    wrong = next(other for other in CAUSES if other.part != cause.part and other.failure != "swapped")
    with pytest.raises(SettingsError, match="no answer is given yet"):
        mark(session, key)
    for left in range(ATTEMPTS - 1, -1, -1):
        answer = give_answer(session, key, wrong.part, wrong.failure)
        assert not answer["part_right"] and session["attempts_left"] == left
    assert session["closed"]
    with pytest.raises(SettingsError, match="the answer is given and marked"):
        ask(session, key, "idle")
    with pytest.raises(SettingsError, match="the answer is given and marked"):
        give_answer(session, key, cause.part, cause.failure)


def test_tests_are_kept_with_their_times_and_are_limited():
    session, key = start(1, 0)
    truck = TruckUnderTest(hidden_in(session, key))
    for number in range(MOST_TESTS):
        ask(session, key, "idle", when=f"2026-01-01T00:00:{number:02d}+00:00", truck=truck)
    assert [entry["number"] for entry in session["tests"]] == list(range(1, MOST_TESTS + 1))
    assert session["tests"][7]["time"] == "2026-01-01T00:00:07+00:00"
    with pytest.raises(SettingsError, match="no more fit"):
        ask(session, key, "idle")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no test is called"),
        ("sniff", "no test is called"),
        ("idle fast", "leave the rest out"),
        ("meter", "meter needs one of"),
        ("meter sundial", "meter needs one of"),
        ("solenoid fifth", "front, middle, rear"),
        ("drive", "drive needs one of"),
        ("drive climb condition.fuel_delivery_percent=50", "not for the driver"),
        ("drive climb faults.told=true", "not for the driver"),
        ("drive climb faster", "not for the driver"),
        ("drive climb weather.temperature_c=hot", "temperature_c"),
        ("drive nowhere", "nowhere"),
        ("drive grade:1%,80km", "at most 25 km"),
    ],
)
def test_what_cannot_be_tested_is_refused_in_words(text, says):
    session, key = start(1, 0)
    with pytest.raises(Exception, match=says) as problem:
        ask(session, key, text)
    assert type(problem.value).__name__ in ("SettingsError", "RouteError")
    assert session["tests"] == []


def test_what_is_no_answer_is_refused_in_words():
    session, key = start(1, 0)
    for part, failure, because, says in (
        ("flux", "open", (), "no part is called"),
        ("oil pump", "open", (), 'cannot be "open"'),
        ("oil pump", "worn", (1,), "--because names test 1"),
    ):
        with pytest.raises(SettingsError, match=says):
            give_answer(session, key, part, failure, because)
    assert session["attempts_left"] == ATTEMPTS
    with pytest.raises(SettingsError, match="can be guessed"):
        start(1, key=b"short", names=NAMES)


# ---------------------------------------------------------------- names


@given(st.text(max_size=120))
def test_what_counts_in_a_name_counts_once_and_however_it_is_composed(name):
    plain = plain_name(name)
    assert plain_name(plain) == plain
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert plain_name(unicodedata.normalize(form, name)) == plain


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Zo\u00eb", "Zoe\u0308"),
        ("\u00c5sa \u00d6berg", "a\u030asa o\u0308BERG"),
        ("\u1e69", "s\u0323\u0307"),
        ("Stra\u00dfe", "STRASSE"),
        ("\uff21nn", "Ann"),
        ("An\u200bn", "Ann"),
        ("Ann\u00a0Lee", "Ann Lee"),
    ],
)
def test_the_same_letters_are_the_same_student_and_the_same_entry_word(one, other):
    word = entry_word(KEY, "D2", "1", one)
    assert word == entry_word(KEY, "d2", "1", other)
    assert is_entry_word(KEY, "D2", "1", other, word.lower())
    assert hidden_by(KEY, {**NAMES, "student": one}, 2) == hidden_by(KEY, {**NAMES, "student": other}, 2)


def test_a_name_that_is_too_long_or_cannot_be_shown_is_refused_and_never_cut(tmp_path, capsys):
    longest = "\u00e9" * LONGEST_NAME
    assert checked_name(unicodedata.normalize("NFD", longest)) == longest
    for name, says in (
        ("n" * (LONGEST_NAME + 1), "has 81 letters; allowed in a name are 80"),
        ("a\x07b", "cannot be shown"),
    ):
        with pytest.raises(SettingsError, match=says):
            start(1, key=KEY, names={**NAMES, "student": name})
        key, names = tmp_path / "key", tmp_path / "names.txt"
        key.write_bytes(KEY)
        names.write_text(f"Bo\n{name}\n", encoding="utf-8")
        which = ["--key-file", str(key), "--class", "D2", "--round", "1"]
        assert main(["fault", "words", "--students", str(names), *which]) == 2
        out, err = capsys.readouterr()
        assert out == "" and says in err
    assert main(["fault", "words", "Bo", "n" * (LONGEST_NAME + 1), *which]) == 2
    assert "has 81 letters" in capsys.readouterr().err
    with pytest.raises(SettingsError, match="--student"):
        start(1, key=KEY, names={**NAMES, "student": " \u200b "})
    with pytest.raises(SettingsError, match="allowed is a whole number from 0 to 999999"):
        start(1, practice=-1)


# ---------------------------------------------------------------- what comes from elsewhere

SECRET = "the-instructors-key,which,nobody,may,read"


@pytest.fixture
def files(tmp_path):
    """Paths that a road must not be, and a text that must not come back."""
    key, road, pipe = tmp_path / "key.txt", tmp_path / "own.csv", tmp_path / "pipe.csv"
    key.write_text(SECRET)
    road.write_text(f"distance_m,grade_percent\n0,1\n1000,1\n{SECRET}\n")
    os.mkfifo(pipe)
    beside = os.path.relpath(key)
    return [str(key), str(road), beside, "/etc/passwd", "/proc/self/environ", "/dev/zero", str(pipe), "../skarrow-grade",
            "skarrow-grade.csv", "routes/skarrow-grade.csv", f"file://{key}", "grade:1%,1km/../../etc/passwd"]  # fmt: skip


@pytest.fixture
def soon():
    """A test that waits for a pipe or reads without end fails."""

    def late(*_):
        raise AssertionError("somebody opened what never ends")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(60)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def forged(changes: dict, practice: int = 3, level: int = 2) -> str:
    """A practice session as anybody can write one: sealed with the key that everybody has."""
    session, key = start(level, practice)
    session |= changes
    session["seal"] = seal(key, session)
    return json.dumps(session)


def told(*tests: str) -> list[dict]:
    """Tests as a session tells of them."""
    return [
        {"number": number, "time": "2026-01-01T00:00:00+00:00", "test": test, "readings": []}
        for number, test in enumerate(tests, start=1)
    ]


ANSWERED = {
    "time": "2026-01-01T00:00:00+00:00",
    "part": "oil pump",
    "failure": "worn",
    "because": [],
    "explanation": "",
    "part_right": True,
    "failure_right": True,
}
OVER = {"answers": [ANSWERED], "attempts_left": 2, "closed": True}


def test_no_road_that_comes_from_elsewhere_is_a_file(files, soon):
    session, key = start(1, 0)
    for path in files:
        test = f"drive {path}"
        for asked in (
            lambda test=test: ask(session, key, test),
            lambda test=test: read_session(forged({"tests": told(test)}), "case"),
            lambda test=test: read_session(forged({"tests": told(test), **OVER}), "case"),
            lambda path=path: TruckUnderTest(Hidden(None)).drive(path),
            lambda test=test: mark(json.loads(forged({"tests": told(test), **OVER})), practice_key(3)),
        ):
            with pytest.raises(HaulbenchError) as problem:
                asked()
            assert SECRET not in str(problem.value) and "root:" not in str(problem.value), path
    assert session["tests"] == []


def test_settings_of_a_drive_name_no_file():
    """Tables a driver may change hold numbers, switches and words of short lists; texts among them are read as times of presses."""
    for table in FREE_TABLES:
        model = Settings.model_fields[table].annotation
        texts = {name for name, field in model.model_fields.items() if "str" in str(field.annotation)}
        assert texts <= {"presses"}, (table, texts)
    for value in ('["/etc/passwd"]', '["set /etc/passwd"]', '"/dev/zero"'):
        with pytest.raises(HaulbenchError):
            ask(*start(1, 0), f"drive climb cruise.presses={value}")


def test_on_ones_own_machine_a_road_may_be_ones_own_file(tmp_path, capsys):
    file, road = str(tmp_path / "case.json"), tmp_path / "own.csv"
    road.write_text("distance_m,grade_percent\n0,1\n500,1\n1000,1\n")
    assert main(["fault", "start", file, "--practice", "3"]) == 0
    assert main(["fault", "do", file, "drive", str(road)]) == 0
    assert "time by stopwatch" in capsys.readouterr().out
    text = Path(file).read_text(encoding="utf-8")
    assert len(read_session(text, file, roads=None)[0]["tests"]) == 1
    check_requests([read_request(f"drive {road}")], load_route)
    with pytest.raises(RouteError, match="is not known here; use one of the roads"):
        read_session(text, file)


def test_a_case_drives_only_so_far_over_roads_of_its_own():
    """Named drives are free; any other road or setting counts, each once, in a test, in a session that comes back, in marking."""
    own = [f"drive grade:{number}%,9km" for number in (1, 2, 3)]
    named_ones = [f"drive {name}" for name in DRIVES]
    read_session(forged({"tests": told(*own, *own, *named_ones, "codes")}), "case")
    for more in ("drive grade:4%,9km", "drive level weather.temperature_c=31"):
        tests = told(*own, *named_ones, more)
        with pytest.raises(SettingsError, match="allowed is at most 30 km"):
            read_session(forged({"tests": tests}), "case")
        with pytest.raises(SettingsError, match="allowed is at most 30 km"):
            mark(json.loads(forged({"tests": tests, **OVER})), practice_key(3))
        session = json.loads(forged({"tests": tests[:-1]}))
        with pytest.raises(SettingsError, match="allowed is at most 30 km"):
            ask(session, practice_key(3), more)
    with pytest.raises(SettingsError, match="allowed is at most 25 km"):
        read_session(forged({"tests": told("drive grade:1%,26km")}), "case")
    with pytest.raises(SettingsError, match="allowed are 400"):
        ask(*start(1, 0), "drive " + "9" * 400)


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"tests": told(*["look"] * (MOST_TESTS + 1))}, "tests"),
        ({"tests": [*told("look"), *told("look")]}, r"tests\.2\.number"),
        ({"tests": told("burn")}, "no test is called"),
        ({"tests": told("drive climb condition.fuel_delivery_percent=50")}, "not for the driver"),
        ({"tests": told("drive climb weather.temperature_c=900")}, "temperature_c"),
        (
            {"tests": [{**told("look")[0], "readings": [{"name": "lamp", "value": 1e10, "quantity": "number"}]}]},
            r"tests\.0\.readings",
        ),
        *(
            ({"tests": [{**told("look")[0], "readings": [reading]}]}, r"tests\.0\.readings")
            for reading in (
                {"name": "lamp", "value": "off", "quantity": "number"},
                {"name": "lamp", "value": 1.0, "quantity": "luck"},
                {"name": "lamp", "value": {"kind": "reading.luck", "values": {}}, "quantity": "number"},
                {"name": "wire", "value": {"kind": "reading.resistance", "values": {}}, "quantity": "number"},
                {
                    "name": "wire",
                    "value": {"kind": "reading.resistance", "values": {"between": "much"}},
                    "quantity": "number",
                },
                {
                    "name": "wire",
                    "value": {"kind": "reading.programmed", "values": {"value": "x" * 2000}},
                    "quantity": "number",
                },
                {"name": "wire", "value": {"kind": ["reading.none"], "values": {}}, "quantity": "number"},
            )
        ),
        ({"tests": [{**told("look")[0], "time": "now"}]}, r"tests\.0\.time"),
        ({"level": 4}, "level"),
        ({"level": True}, "level"),
        ({"complaint": "x" * 401}, "complaint"),
        ({"case": {"practice": -1}}, r"case"),
        ({"case": {"practice": True}}, r"case"),
        ({"case": {"practice": 3, "class": "x"}}, r"case"),
        ({"attempts_left": 4}, "attempts_left does not fit"),
        ({"closed": True}, "closed does not fit"),
        ({**OVER, "attempts_left": 3}, "attempts_left does not fit"),
        ({**OVER, "closed": False}, "closed does not fit"),
        ({**OVER, "answers": [{**ANSWERED, "part": "soul"}]}, r"answers\.0\.part"),
        ({**OVER, "answers": [{**ANSWERED, "failure": "open"}]}, r"answers\.1 does not fit"),
        ({**OVER, "answers": [{**ANSWERED, "because": [1]}]}, r"answers\.1 does not fit"),
        ({**OVER, "answers": [{**ANSWERED, "part_right": False}]}, r"answers\.1 does not fit"),
        ({"answers": [ANSWERED] * 2, "attempts_left": 1, "closed": True}, "answers does not fit"),
        ({"answers": [ANSWERED] * 4, "attempts_left": -1, "closed": True}, "answers"),
    ],
)
def test_a_sealed_session_that_no_program_made_is_refused_in_words(changes, place):
    key = practice_key(changes["case"].get("practice", 3)) if "case" in changes else practice_key(3)
    session = json.loads(forged(changes))
    session["seal"] = seal(key, session)
    with pytest.raises(SettingsError, match=place):
        read_session(json.dumps(session), "case")


ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(), max_size=30)
    | st.sampled_from(["drive climb", "2026-01-01", "oil pump", 10**40, 1e308, -1, 0, 2]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=8,
)


def places_in(value: object, path: tuple = ()) -> list[tuple]:
    """Every field of a record and of what is in it."""
    found = [path] if path else []
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            found += places_in(inner, (*path, key))
    return found


@pytest.fixture(scope="module")
def whole() -> dict:
    """A session with something in every field."""
    session, key = start(1, 0)
    ask(session, key, "look")
    ask(session, key, "drive start weather.temperature_c=30")
    give_answer(session, key, "oil pump", "worn", (1,), "because")
    return session


@settings(deadline=None, max_examples=300)
@given(data=st.data())
def test_whatever_stands_in_a_field_a_session_is_refused_in_words_or_can_be_used(whole, data):
    session = copy.deepcopy(whole)
    path = data.draw(st.sampled_from(places_in(session)))
    into = session
    for key in path[:-1]:
        into = into[key]
    into[path[-1]] = data.draw(ANYTHING)
    number = session["case"].get("practice") if isinstance(session["case"], dict) else 0
    if path != ("seal",):
        with contextlib.suppress(ValueError):  # what is no number nobody can seal
            session["seal"] = seal(practice_key(number if isinstance(number, int) else 0), session)
    try:
        read, key = read_session(json.dumps(session), "case")
    except HaulbenchError:
        return
    fault_sheet({name: read[name] for name in read if name != "seal"} | {"marking": None})
    if not read["closed"]:
        assert ask(read, key, "look")["readings"]
        give_answer(read, key, "oil pump", "worn", range(1, len(read["tests"]) + 1))
    assert read_session(json.dumps(read), "case")[0] == read


# ---------------------------------------------------------------- marked


def answered(
    bay: Bay, name: str, tests: tuple[str, ...], because: tuple[int, ...] = (), words: str = "", part: str = ""
) -> dict:
    """A session with the right answer, or with a wrong part three times, marked."""
    cause = named(name)
    session, key = start(cause.level, practice_of(name))
    truck = TruckUnderTest(hidden_in(session, key))
    for test in tests:
        ask(session, key, test, truck=truck)
    wrong = named(part) if part else cause
    while not session["closed"]:
        give_answer(session, key, wrong.part, wrong.failure, because, words)
    return mark(session, key, bay=bay)


def test_a_proved_and_explained_answer_has_all_points(bay):
    why = "The engine reaches its idle and its power, but only 1900 rpm without load: the governor takes the fuel away early."
    marking = answered(bay, "governor: acts early", ("look", "idle"), words=why)
    assert marking["score"] == 4, marking
    assert marking["evidence_supports"] and not marking["still_possible"]
    assert marking["teaches"] == named("governor: acts early").teaches
    assert marking["tests_used"] == 2 and marking["minutes_used"] == 8.0
    assert marking["shortest_path"][-1]["left"] == 0


def test_a_lucky_answer_is_told_what_else_would_fit(bay):
    marking = answered(bay, "air filter: blocked", ("idle",))
    assert marking["failure_right"] and not marking["evidence_supports"]
    assert marking["score"] == 2
    assert {"exhaust: blocked", "injectors: worn"} <= set(marking["still_possible"])
    none = answered(bay, "governor: acts early", ())
    assert none["score"] == 2 and not none["evidence_supports"]


def test_a_wrong_part_has_one_point_and_the_answer_is_then_told(bay):
    marking = answered(bay, "governor: acts early", ("idle",), part="air filter: blocked")
    assert (marking["score"], marking["part"], marking["failure"]) == (1, "governor", "acts early")
    assert marking["attempts"] == ATTEMPTS


def test_the_right_part_with_another_failure_has_two_points(bay):
    marking = answered(bay, "governor: acts early", ("idle",), part="governor: answers late")
    assert marking["part_right"] and not marking["failure_right"] and marking["score"] == 2


def test_what_leaves_no_other_cause_of_the_list_is_no_proof_without_a_look_at_the_part(bay):
    """Lamp and code fit one cause of the list only; that it is the sensor takes a meter or a thermometer."""
    name = "coolant temperature: offset"
    lamp = answered(bay, name, ("look", "codes"))
    assert lamp["still_possible"] == [] and not lamp["looked_at_the_part"] and not lamp["evidence_supports"]
    assert lamp["score"] == 2 and "part itself" in lamp["score_words"]
    measured = answered(bay, name, ("look", "codes", "gauge coolant temperature", "meter coolant temperature"))
    assert measured["evidence_supports"] and measured["score"] == 3


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_every_cause_can_be_named(cause):
    session, key = start(cause.level, practice_of(cause.name))
    answer = give_answer(session, key, cause.part, cause.failure)
    assert answer["part_right"] and answer["failure_right"] and session["closed"]


def test_evidence_that_is_not_named_does_not_count(bay):
    assert answered(bay, "governor: acts early", ("look", "idle"), because=(1,))["evidence_supports"] is False


def test_plugs_that_were_exchanged_may_be_named_from_either_side():
    session, key = start(1, practice_of("boost pressure: swapped"))
    assert give_answer(session, key, "oil pressure", "swapped")["failure_right"]


# ---------------------------------------------------------------- the command


def test_the_command_from_the_complaint_to_the_lab_sheet(tmp_path, capsys):
    file, out = str(tmp_path / "case.json"), tmp_path / "sheet"
    number = practice_of("governor: acts early")
    assert main(["fault", "start", file, "--level", "3", "--practice", str(number)]) == 0
    said = capsys.readouterr().out
    assert "It will not rev out." in said and "casual look" in said and "chock the wheels" in said
    assert main(["fault", "do", file, "idle"]) == 0
    said = capsys.readouterr().out
    assert "high idle" in said and "sound: " in said and "chock the wheels" in said
    assert main(["fault", "do", file, "drive", "grade:1%,1km", "weather.temperature_c=30", "--json"]) == 0
    entry = json.loads(capsys.readouterr().out)
    assert entry["number"] == 2 and entry["test"] == "drive grade:1%,1km weather.temperature_c=30" and entry["cautions"]
    assert main(["fault", "answer", file, "--part", "governor", "--failure", "acts early", "--because", "1"]) == 0
    said = capsys.readouterr().out
    assert "Part and failure are right." in said and "It was: governor: acts early" in said and "A short path" in said
    assert main(["fault", "report", file, "--out", str(out), "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)
    assert sheet["marking"]["part"] == "governor" and "seal" not in sheet
    page = (out / "sheet.html").read_text(encoding="utf-8")
    assert "<script" not in page and "It will not rev out." in page and "chock the wheels" in page
    assert "governor: acts early" in page and "of 4" in page
    assert json.loads((out / "sheet.json").read_text(encoding="utf-8")) == sheet


def test_a_session_at_the_keyboard(tmp_path, capsys, monkeypatch):
    import io

    file = str(tmp_path / "case.json")
    number = practice_of("governor: acts early")
    assert main(["fault", "start", file, "--level", "3", "--practice", str(number)]) == 0
    lines = "list\nidle\nsniff\nanswer governor: answers late\nanswer governor: acts early\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    assert main(["fault", "work", file]) == 0
    said = capsys.readouterr().out
    assert 'no test is called "sniff"' in said
    assert said.index("its failure is another one") < said.index("Part and failure are right.")
    kept = json.loads(Path(file).read_text(encoding="utf-8"))
    assert kept["closed"] and len(kept["tests"]) == 1 and len(kept["answers"]) == 2


def test_the_list_names_every_test_part_and_failure(capsys):
    assert main(["fault", "list"]) == 0
    said = capsys.readouterr().out
    assert all(part in said for part in NAMEABLE)
    assert "cut-out" in said and "chock the wheels" in said
    assert main(["fault", "list", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"tests", "parts", "cautions"}
