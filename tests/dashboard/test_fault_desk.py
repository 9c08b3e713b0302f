"""Hidden faults on the server: nothing gives the cause away, attempts cannot be had twice, sessions outlive the server.

HMAC-SHA-256 and base32 are those of RFC 2104 and RFC 4648, by the standard library.
"""

import base64
import csv
import hashlib
import hmac
import io
import json
import os
import threading
import time

import pytest
from serving import AtOnce, Visitor
from starlette.testclient import TestClient

from dashboard.app import create_app
from dashboard.hidden_fault.desk import STEP
from dashboard.hidden_fault.round import MOST_STUDENTS, MOST_WAITING, Round
from dashboard.server.identity import Identity
from dashboard.server.runs import Workshop
from sim.command.main import main
from sim.errors import SettingsError
from sim.hidden.causes import CAUSES, NAMEABLE
from sim.hidden.key import entry_word, hidden_by, is_entry_word, seal
from sim.hidden.session import start

KEY, PASSWORD = b"sixteen bytes of chance, or more", "correct horse 7"
WRONG = {"part": "key", "failure": "open", "because": [], "explanation": ""}
SECRETS = ("condition.", "faults.occur", "teaches", KEY.decode(), KEY.hex())


def served(hosted=None):
    workshop = Workshop(AtOnce())
    workshop.hosted, workshop.identity = hosted, Identity(PASSWORD)
    return Visitor(create_app(workshop))


def post(client, what, body):
    return client.post(f"/hidden-fault/{what}", json=body)


def signed_in(client):
    """The instructor's browser."""
    assert post(client, "sign-in", {"password": PASSWORD}).json() == {"instructor": True}
    return client


def student(hosted, name="Ann Lee"):
    return {"student": name, "word": hosted.word_of(name)}


@pytest.fixture
def hosted(tmp_path):
    round_ = Round(KEY, "Diesel 2", "1", 2, str(tmp_path / "sessions"))
    yield round_
    round_.close()


def cause_of(name, level=2):
    return hidden_by(KEY, {"class": "Diesel 2", "student": name, "round": "1"}, level).cause


def test_an_entry_word_follows_from_key_class_round_and_name_alone():
    words = json.dumps(["entry", "diesel 2", "1", "ann lee"]).encode()
    drawn = base64.b32encode(hmac.new(KEY, words, hashlib.sha256).digest()[:5]).decode()
    assert entry_word(KEY, "Diesel 2", "1", " Ann  LEE ") == f"{drawn[:4]}-{drawn[4:]}"
    words = {entry_word(KEY, "Diesel 2", "1", f"student {number}") for number in range(200)}
    assert len(words) == 200
    assert is_entry_word(KEY, "Diesel 2", "1", "ann lee", f" {drawn[:4].lower()} {drawn[4:]}")
    for wrong in ("", drawn[:7], drawn[:-1] + ("A" if drawn[-1] != "A" else "B"), "\u00e4" * 8):
        assert not is_entry_word(KEY, "Diesel 2", "1", "ann lee", wrong)


def test_a_student_cannot_begin_again_and_a_second_browser_goes_on(hosted):
    client, other = served(hosted), served(hosted)
    ann = student(hosted)
    session = post(client, "begin", ann).json()["session"]
    assert session["attempts_left"] == 3 and "seal" not in session and session["case"]["student"] == "Ann Lee"
    assert post(client, "test", {**ann, "test": "look"}).json()["entry"]["number"] == 1
    assert post(other, "test", {**ann, "test": "codes"}).json()["entry"]["number"] == 2
    assert post(client, "answer", {**ann, **WRONG}).json()["session"]["attempts_left"] == 2
    again = post(other, "begin", {"student": " ANN lee", "word": ann["word"].lower()}).json()["session"]
    assert again["attempts_left"] == 2 and len(again["tests"]) == 2
    for left in (1, 0):
        assert post(other, "answer", {**ann, **WRONG}).json()["session"]["attempts_left"] == left
    assert "the answer is given and marked" in post(client, "answer", {**ann, **WRONG}).json()["message"]
    assert "the answer is given and marked" in post(client, "test", {**ann, "test": "look"}).json()["message"]


def test_nothing_that_is_sent_or_kept_gives_the_cause_away_before_the_end(hosted, tmp_path):
    client = served(hosted)
    ann = student(hosted)
    cause = cause_of("Ann Lee")
    texts = [client.get("/hidden-fault/hosted").text, post(client, "begin", ann).text]
    for test in ("look", "codes", "values", "record", "drive climb", "rollers", "cut-out", f"meter {'boost pressure'}"):
        answer = post(client, "test", {**ann, "test": test})
        assert answer.status_code == 200 and "entry" in answer.json()
        texts.append(answer.text + str(answer.headers))
    wrong = next(other for other in CAUSES if other.part not in (cause.part, "oil pressure", "coolant temperature"))
    texts.append(
        post(
            client, "answer", {**ann, "part": wrong.part, "failure": wrong.failure, "because": [], "explanation": ""}
        ).text
    )
    texts.append(post(client, "sheet", ann).text)
    assert post(client, "marking", ann).json() == {"marking": None}
    files = list((tmp_path / "sessions").glob("[!.]*"))
    assert len(files) == 1 and "ann" not in files[0].name.lower()
    texts.append(files[0].name + files[0].read_text())
    texts.append(signed_in(client).get("/hidden-fault/class.csv").text)
    keys = [key for key, _ in cause.changes]
    for text in texts:
        for secret in (*SECRETS, cause.name, cause.teaches, f"start {cause.occur}" if cause.occur else cause.name):
            assert secret not in text
        assert text.count("seal") == text.count('"seal": "')  # only the file on the instructor's machine is sealed
    assert all(
        key not in text
        for key in keys
        for text in texts
        if "programmed" not in text and key.split(".")[0] != "road_speed"
    )


def test_sessions_outlive_the_server(hosted, tmp_path):
    ann = student(hosted)
    client = served(hosted)
    post(client, "test", {**ann, "test": "idle"})
    post(client, "answer", {**ann, **WRONG})
    hosted.close()
    later = Round(KEY, "diesel 2", "1", 2, str(tmp_path / "sessions"))
    session = post(served(later), "begin", ann).json()["session"]
    assert len(session["tests"]) == 1 and session["attempts_left"] == 2
    later.close()


def test_a_folder_that_cannot_be_written_loses_no_attempt_and_keeps_what_was_there(hosted, monkeypatch, tmp_path):
    client, ann = served(hosted), student(hosted)
    post(client, "test", {**ann, "test": "look"})

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", full)
        assert "No space left" in post(client, "answer", {**ann, **WRONG}).json()["message"]
    session = post(client, "begin", ann).json()["session"]
    assert session["attempts_left"] == 3 and len(session["tests"]) == 1
    assert [path.suffix for path in (tmp_path / "sessions").glob("[!.]*")] == [".json"]
    assert [path.name for path in (tmp_path / "sessions").glob(".*")] == [".in-use"]


BOTH = {"session": "", "student": "Bo", "word": "x"}


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ({"student": "Bo", "word": "AAAA-AAAA"}, "do not belong together"),
        ({"student": "", "word": ""}, "do not belong together"),
        ({"student": "../../etc/passwd", "word": "x"}, "do not belong together"),
        ({"student": "n" * 81, "word": "x"}, "has 81 letters; allowed in a name are 80"),
        ({"student": "Bo"}, "whose case is meant"),
        ({"practice": 1, "student": "Bo", "word": "x"}, "whose case is meant"),
        ({"level": 1}, "whose case is meant"),
        ({"practice": -1}, "allowed is a whole number from 0"),
        ({"practice": 1_000_000}, "allowed is a whole number from 0"),
        ({"practice": 1, "level": 9}, "allowed is 1 to 3"),
        ({}, "whose case is meant"),
    ],
)
def test_what_is_no_case_is_refused_in_words(hosted, body, message):
    assert message in post(served(hosted), "begin", body).json()["message"]


@pytest.mark.parametrize(
    ("what", "body"),
    [
        *(("begin", body) for body in ({"student": ["Bo"], "word": "x"}, {"practice": "1"}, {"practice": True}, ["student"],
          {"practice": 1, "level": "2"}, {"student": "Bo", "word": "x", "key": "y"}, {"practice": None}, None, "x",
          {"session": "x"}, {"practice": 10**30})),
        *(("test", body) for body in ({"test": 5}, {"student": "Bo", "word": None, "test": "look"},
          {"session": {"form": 1}, "test": "look"}, {"session": None, "student": "Bo", "word": "x", "test": "look"})),
        *(("answer", {"session": "", **WRONG, **body}) for body in ({"because": [True]}, {"because": list(range(99))},
          {"because": 1}, {"explanation": "x" * 1001}, {"part": None})),
        ("sign-in", {"password": 5}), ("sign-in", {}), ("sign-in", {"password": "x" * 1000}), ("word", {"student": None}),
        ("sign-out", {"token": "x"}),
    ],
)  # fmt: skip
def test_what_does_not_fit_its_door_is_refused_in_words(hosted, what, body):
    answer = post(served(hosted), what, body)
    assert answer.status_code == 400 and answer.json()["message"]


def test_forged_requests_are_refused_in_words(hosted):
    client, ann = served(hosted), student(hosted)
    for what, body, message in (
        ("test", {"test": "look"}, "whose case is meant"),
        ("test", {**ann, "test": "look\0"}, "no test is called"),
        ("test", {**ann, "test": "burn"}, "no test is called"),
        ("test", {**ann, "test": "drive /etc/passwd"}, "is not known here"),
        ("test", {**ann, "test": "drive climb condition.charge_leak_cm2=1"}, "not for the driver"),
        ("answer", {**ann, **WRONG, "because": [7]}, "names test 7"),
        ("answer", {**ann, **WRONG, "part": "soul"}, "no part is called"),
        ("answer", {"session": '{"form": 1}', **WRONG}, "this is no session"),
    ):
        assert message in post(client, what, body).json()["message"], (what, body)
    assert post(client, "begin", ann).json()["session"]["attempts_left"] == 3
    assert "hosts no hidden fault" in post(served(), "begin", ann).json()["message"]
    assert post(client, "test", {**ann, "test": "x" * 3_000_000}).status_code == 413


@pytest.mark.parametrize("carried", [None, "", "null", 0, False, [], {}, "kept"])
def test_no_answer_to_a_case_of_a_class_goes_uncounted(hosted, carried):
    """A request that names a student and carries a session too would be judged by one rule and kept by another."""
    client, ann = served(hosted), student(hosted)
    cause = cause_of("Ann Lee")
    if carried == "kept":
        carried = post(client, "begin", {"practice": 3}).json()["kept"]
    judged = 0
    for part, failures in NAMEABLE.items():
        client = Visitor(client.application)  # a machine for each part, for one alone would be slowed down
        for failure in failures:
            told = post(client, "answer", {**ann, **WRONG, "part": part, "failure": failure, "session": carried}).json()
            judged += "answer" in told
    assert judged == 0
    client = Visitor(client.application)
    for what in ("marking", "sheet", "begin"):
        assert set(post(client, what, {**ann, "session": carried}).json()) == {"message"}
    assert post(client, "begin", ann).json()["session"]["attempts_left"] == 3
    right = post(client, "answer", {**ann, **WRONG, "part": cause.part, "failure": cause.failure}).json()
    assert right["answer"]["failure_right"] and right["session"]["attempts_left"] == 2


def test_of_many_answers_at_once_every_one_that_is_judged_is_counted(hosted, tmp_path):
    client, ann = served(hosted), student(hosted)
    app = client.app
    told, start = [], threading.Barrier(24)

    def answer(number):
        start.wait()
        body = {**ann, **WRONG, "explanation": f"{number}"}
        told.append(
            TestClient(app, "http://localhost", client=(f"192.0.2.{number}", 5)).post("/hidden-fault/answer", json=body)
        )

    threads = [threading.Thread(target=answer, args=(number,)) for number in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    judged = [each.json() for each in told if "answer" in each.json()]
    others = {each.json()["message"] for each in told if "answer" not in each.json()}
    assert sorted(each["session"]["attempts_left"] for each in judged) == list(range(3 - len(judged), 3)) and judged
    assert all("are under way already" in each or "given and marked" in each for each in others), others
    hosted.close()
    again = Round(KEY, "Diesel 2", "1", 2, str(tmp_path / "sessions"))
    assert again.session("Ann Lee")["attempts_left"] == 3 - len(judged)
    again.close()


def test_a_few_wait_for_their_turn_and_no_more(hosted):
    inside, go, waited = threading.Semaphore(0), threading.Event(), []

    def take():
        with hosted.turn("Ann"):
            inside.release()
            go.wait(20)
        waited.append(1)

    threads = [threading.Thread(target=take) for _ in range(MOST_WAITING)]
    for thread in threads:
        thread.start()
    inside.acquire(timeout=20)
    while hosted._turns["ann"].waiting < MOST_WAITING:
        time.sleep(0.01)
    with pytest.raises(SettingsError, match="under way already"), hosted.turn(" ANN "):
        pass
    with hosted.turn("Bo"):
        pass
    go.set()
    for thread in threads:
        thread.join(20)
    assert len(waited) == MOST_WAITING and not hosted._turns


def forged(**changes):
    """A practice session as anybody can write one: the key of a practice case is no secret."""
    session, key = start(2, 3)
    session |= changes
    session["seal"] = seal(key, session)
    return json.dumps(session)


def told_of(*tests):
    when = "2026-01-01T00:00:00+00:00"
    return [{"number": n, "time": when, "test": test, "readings": []} for n, test in enumerate(tests, start=1)]


OVER = {
    "answers": [{**WRONG, "time": "2026-01-01", "part_right": True, "failure_right": True}],
    "attempts_left": 2,
    "closed": True,
}


def test_nothing_that_is_sent_is_a_file(hosted, tmp_path):
    """In a test, and in a session that is begun with, tested, answered, marked or printed."""
    client, ann = served(hosted), student(hosted)
    key, pipe = tmp_path / "key", tmp_path / "pipe.csv"
    key.write_bytes(KEY)
    os.mkfifo(pipe)
    roads = (
        "/etc/passwd",
        str(key),
        str(pipe),
        "/dev/zero",
        "../skarrow-grade",
        "/proc/self/environ",
        os.path.relpath(key),
    )
    asked = 0
    for road in roads:
        test = f"drive {road}"
        session = forged(tests=told_of(test))
        for what, body in (
            ("test", {**ann, "test": test}),
            ("test", {"session": forged(), "test": test}),
            ("test", {"session": session, "test": "codes"}),
            ("answer", {"session": session, **WRONG}),
            ("marking", {"session": session}),
            ("sheet", {"session": session}),
            ("marking", {"session": forged(tests=told_of(test), **OVER)}),
            ("sheet", {"session": forged(tests=told_of(test), **OVER)}),
            ("begin", {"practice": 3, "level": 2, "student": test}),
            ("begin", {"student": test, "word": road}),
        ):
            began = time.monotonic()
            told = post(Visitor(client.application), what, body)
            assert told.status_code in (200, 400) and set(told.json()) == {"message"}, (what, body)
            assert "root:" not in told.text and KEY.decode() not in told.text
            assert time.monotonic() - began < 5.0
            asked += 1
    assert asked == 70


def test_a_practice_session_that_would_be_endless_work_is_refused_at_once():
    client = served()
    for tests in (
        [f"drive grade:{n / 10}%,25km" for n in range(60)],
        [f"drive level weather.temperature_c={n}" for n in range(60)],
        ["codes"] * 61,
    ):
        for what, body in (
            ("marking", {"session": forged(tests=told_of(*tests), **OVER)}),
            ("sheet", {"session": forged(tests=told_of(*tests), **OVER)}),
            ("test", {"session": forged(tests=told_of(*tests)), "test": "codes"}),
        ):
            began = time.monotonic()
            assert "message" in post(client, what, body).json()
            assert time.monotonic() - began < 2.0


def test_letters_composed_one_way_or_another_are_the_same_student(hosted):
    client = served(hosted)
    word = hosted.word_of("Zo\u00eb")
    assert hosted.word_of("Zoe\u0308") == word
    for name in ("Zo\u00eb", "Zoe\u0308", "ZOE\u0308"):
        assert post(client, "test", {"student": name, "word": word, "test": "look"}).json()["entry"]
    assert len(hosted.rows()) == 1 and hosted.rows()[0]["tests"] == 3


def test_a_practice_case_travels_with_the_browser_and_cannot_be_changed():
    client = served()
    begun = post(client, "begin", {"practice": 17, "level": 2}).json()
    assert set(begun["session"]["case"]) == {"practice"} and "seal" not in begun["session"]
    told = post(client, "test", {"session": begun["kept"], "test": "look"}).json()
    assert len(told["session"]["tests"]) == 1
    forged = told["kept"].replace('"attempts_left": 3', '"attempts_left": 99')
    assert forged != told["kept"]
    assert "the seal does not fit" in post(client, "answer", {"session": forged, **WRONG}).json()["message"]
    for _ in range(3):
        told = post(client, "answer", {"session": told["kept"], **WRONG}).json()
    marking = post(client, "marking", {"session": told["kept"]}).json()["marking"]
    assert marking["score"] == 1 and marking["teaches"]
    assert "<h2>Marking</h2>" in post(client, "sheet", {"session": told["kept"]}).json()["sheet"]


def test_the_class_is_told_to_the_instructor(hosted):
    client, ann = served(hosted), student(hosted)
    post(client, "begin", ann)
    assert client.get("/hidden-fault/hosted").json() == {
        "hosted": {"class": "Diesel 2", "level": 2, "round": "1"},
        "instructor": False,
    }
    signed_in(client)
    assert post(client, "word", {"student": "Bo"}).json() == {"word": hosted.word_of("Bo")}
    found = client.get("/hidden-fault/class.json").json()
    row = dict(zip(found["heads"], found["rows"][0], strict=True))
    assert (row["student"], row["tests"], row["state"], row["it was"]) == ("Ann Lee", 0, "open", "")
    for _ in range(3):
        post(client, "answer", {**ann, **WRONG})
    assert cause_of("Ann Lee").name in client.get("/hidden-fault/class.csv").text


def test_cells_of_the_class_are_empty_where_nothing_is_and_no_formulas(hosted):
    client = served(hosted)
    for name in ("Ann", "=1+1", "\uff1d2", "-3", "@cmd", "O'Neil"):
        post(client, "begin", student(hosted, name))
    rows = list(csv.DictReader(io.StringIO(signed_in(client).get("/hidden-fault/class.csv").text)))
    assert [row["student"] for row in rows] == ["'-3", "'=1+1", "'\uff1d2", "'@cmd", "Ann", "O'Neil"]
    assert all(row["last answer"] == row["it was"] == "" for row in rows)


def test_a_name_that_is_a_script_stays_a_name(hosted):
    client = served(hosted)
    name = "<script>alert(1)</script>"
    assert post(client, "begin", student(hosted, name)).json()["session"]["case"]["student"] == name
    assert "&lt;script&gt;" in post(client, "sheet", student(hosted, name)).json()["sheet"]


def test_how_long_an_answer_takes_is_a_whole_number_of_steps(hosted, monkeypatch):
    slept = []
    monkeypatch.setattr("dashboard.hidden_fault.desk.time.sleep", slept.append)
    client, ann = served(hosted), student(hosted)
    before = time.monotonic()
    post(client, "test", {**ann, "test": "rollers"})
    spent = time.monotonic() - before
    assert len(slept) == 1 and 0.0 < slept[0] <= STEP
    assert (spent + slept[0]) % STEP == pytest.approx(0.0, abs=0.08) or (spent + slept[0]) % STEP > STEP - 0.08
    post(client, "begin", {"student": "Bo", "word": "AAAA-AAAA"})
    assert slept[1:] == [], "a guess holds no thread"


def test_a_class_has_an_end(hosted, monkeypatch):
    monkeypatch.setattr("dashboard.hidden_fault.round.MOST_STUDENTS", 1)
    client = served(hosted)
    post(client, "begin", student(hosted, "one"))
    assert "1 sessions are kept" in post(client, "begin", student(hosted, "two")).json()["message"]
    assert MOST_STUDENTS >= 100


def test_entry_words_of_a_class_by_the_command(tmp_path, capsys):
    key, names = tmp_path / "key", tmp_path / "names.txt"
    key.write_bytes(KEY)
    names.write_text("Ann Lee\n\n  Bo \nAnn Lee\n", encoding="utf-8")
    wanted = ["--key-file", str(key), "--class", "Diesel 2", "--round", "1"]
    assert main(["fault", "words", "--students", str(names), *wanted, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        name: entry_word(KEY, "Diesel 2", "1", name) for name in ("Ann Lee", "Bo")
    }
    assert main(["fault", "words", "Ann Lee", *wanted]) == 0
    assert capsys.readouterr().out == f"Ann Lee  {entry_word(KEY, 'Diesel 2', '1', 'Ann Lee')}\n"
    for arguments, says in (
        (["serve", "--class", "Diesel 2"], "without --key-file"),
        (["serve", "--key-file", str(key)], "--class, --round"),
        (["serve", *wanted, "--level", "4"], "allowed is 1 to 3"),
        (["serve", "--password-file", str(key)], "without --key-file"),
        (["serve", *wanted, "--password-file", str(tmp_path / "no")], "there is no such file"),
        (["serve", *wanted, "--sessions", str(key)], "cannot be used"),
    ):
        assert main(arguments) == 2
        error = capsys.readouterr().err
        assert says in error and error.count("\n") == 1, arguments
