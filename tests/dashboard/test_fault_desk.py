"""Hidden faults on the server: nothing gives the cause away, attempts cannot be had twice, sessions outlive the server.

HMAC-SHA-256 and base32 are those of RFC 2104 and RFC 4648, by the standard library.
"""

import base64
import hashlib
import hmac
import json
import os
import time

import pytest
from serving import AtOnce, Visitor

from dashboard.app import create_app
from dashboard.fault_desk import MOST_STUDENTS, STEP, Round
from dashboard.runs import Workshop
from sim.command.main import main
from sim.errors import SettingsError
from sim.hidden.causes import CAUSES
from sim.hidden.key import entry_code, hidden_by, is_entry_code

KEY = b"sixteen bytes of chance, or more"
WRONG = {"part": "key", "failure": "open", "because": [], "explanation": ""}
SECRETS = ("condition.", "faults.occur", "teaches", KEY.decode(), KEY.hex())


def served(hosted=None):
    workshop = Workshop(AtOnce())
    workshop.hosted = hosted
    return Visitor(create_app(workshop))


def post(client, what, body):
    return client.post(f"/hidden-fault/{what}", json=body)


def student(hosted, name="Ann Lee"):
    return {"student": name, "code": hosted.code_of(name)}


@pytest.fixture
def hosted(tmp_path):
    return Round(KEY, "Diesel 2", "1", 2, str(tmp_path / "sessions"))


def cause_of(name, level=2):
    return hidden_by(KEY, {"class": "Diesel 2", "student": name, "round": "1"}, level).cause


def test_an_entry_code_follows_from_key_class_round_and_name_alone():
    words = json.dumps(["entry", "diesel 2", "1", "ann lee"]).encode()
    drawn = base64.b32encode(hmac.new(KEY, words, hashlib.sha256).digest()[:5]).decode()
    assert entry_code(KEY, "Diesel 2", "1", " Ann  LEE ") == f"{drawn[:4]}-{drawn[4:]}"
    codes = {entry_code(KEY, "Diesel 2", "1", f"student {number}") for number in range(200)}
    assert len(codes) == 200
    assert is_entry_code(KEY, "Diesel 2", "1", "ann lee", f" {drawn[:4].lower()} {drawn[4:]}")
    for wrong in ("", drawn[:7], drawn[:-1] + ("A" if drawn[-1] != "A" else "B"), "\u00e4" * 8):
        assert not is_entry_code(KEY, "Diesel 2", "1", "ann lee", wrong)


def test_a_student_cannot_begin_again_and_a_second_browser_goes_on(hosted):
    client, other = served(hosted), served(hosted)
    ann = student(hosted)
    session = post(client, "begin", ann).json()["session"]
    assert session["attempts_left"] == 3 and "seal" not in session and session["case"]["student"] == "Ann Lee"
    assert post(client, "test", {**ann, "test": "look"}).json()["entry"]["number"] == 1
    assert post(other, "test", {**ann, "test": "codes"}).json()["entry"]["number"] == 2
    assert post(client, "answer", {**ann, **WRONG}).json()["session"]["attempts_left"] == 2
    again = post(other, "begin", {"student": " ANN lee", "code": ann["code"].lower()}).json()["session"]
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
    files = list((tmp_path / "sessions").iterdir())
    assert len(files) == 1 and "ann" not in files[0].name.lower()
    texts.append(files[0].name + files[0].read_text())
    texts.append(client.get("/hidden-fault/class.csv").text)
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


def test_sessions_outlive_the_server_and_a_changed_one_is_refused(hosted, tmp_path):
    ann = student(hosted)
    client = served(hosted)
    post(client, "test", {**ann, "test": "idle"})
    post(client, "answer", {**ann, **WRONG})
    later = Round(KEY, "diesel 2", "1", 2, str(tmp_path / "sessions"))
    session = post(served(later), "begin", ann).json()["session"]
    assert len(session["tests"]) == 1 and session["attempts_left"] == 2
    assert Round(KEY, "Diesel 2", "2", 2, str(tmp_path / "sessions")).rows() == [], "another round begins anew"
    (file,) = (tmp_path / "sessions").glob("case-*")
    file.write_text(file.read_text().replace('"attempts_left": 2', '"attempts_left": 3'))
    with pytest.raises(SettingsError, match="the seal does not fit"):
        Round(KEY, "Diesel 2", "1", 2, str(tmp_path / "sessions"))


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
    assert [path.suffix for path in (tmp_path / "sessions").iterdir()] == [".json"]
    (tmp_path / "file").write_text("")
    with pytest.raises(SettingsError, match="cannot be used"):
        Round(KEY, "Diesel 2", "1", 2, str(tmp_path / "file"))


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ({"student": "Bo", "code": "AAAA-AAAA"}, "do not belong together"),
        ({"student": "", "code": ""}, "do not belong together"),
        ({"student": "../../etc/passwd", "code": "x"}, "do not belong together"),
        ({"student": ["Bo"], "code": "x"}, "whose case is meant"),
        ({"student": "Bo", "code": "x", "key": "y"}, "whose case is meant"),
        ({"practice": -1}, "allowed is a whole number from 0"),
        ({"practice": "1"}, "allowed is a whole number from 0"),
        ({"practice": True}, "allowed is a whole number from 0"),
        ({"practice": 1, "level": 9}, "allowed is 1 to 3"),
        ({"practice": 1, "level": "2"}, "allowed is 1 to 3"),
        (["student"], "whose case is meant"),
        ({}, "do not belong together"),
    ],
)
def test_what_is_no_case_is_refused_in_words(hosted, body, message):
    assert message in post(served(hosted), "begin", body).json()["message"]


def test_forged_requests_are_refused_in_words(hosted):
    client, ann = served(hosted), student(hosted)
    for what, body, message in (
        ("test", {}, "whose case is meant"),
        ("test", {**ann, "test": 5}, "whose case is meant"),
        ("test", {**ann, "test": "look\0"}, "whose case is meant"),
        ("test", {**ann, "test": "burn"}, "no test is called"),
        ("test", {**ann, "test": "drive /etc/passwd"}, "/etc/passwd"),
        ("test", {**ann, "test": "drive climb condition.boost_leak_rpm=1"}, "not for the driver"),
        ("answer", {**ann, **WRONG, "because": [True]}, "names test 0"),
        ("answer", {**ann, **WRONG, "because": list(range(99))}, "names test 0"),
        ("answer", {**ann, **WRONG, "because": [7]}, "names test 7"),
        ("answer", {**ann, **WRONG, "part": "soul"}, "no part is called"),
        ("answer", {"session": '{"form": 2}', **WRONG}, "this is no session"),
        ("answer", {"session": {"form": 1}, **WRONG}, "whose case is meant"),
    ):
        assert message in post(client, what, body).json()["message"], (what, body)
    assert post(client, "begin", ann).json()["session"]["attempts_left"] == 3
    assert "hosts no hidden fault" in post(served(), "begin", ann).json()["message"]
    assert post(client, "test", {**ann, "test": "x" * 3_000_000}).status_code == 413


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


def test_the_class_is_told_on_the_instructors_machine_only(hosted):
    client, ann = served(hosted), student(hosted)
    post(client, "begin", ann)
    for method, path in (("get", "class.json"), ("get", "class.csv"), ("post", "code")):
        asked = getattr(client, method)
        body = {"student": "Bo"} if method == "post" else None
        there = asked(f"/hidden-fault/{path}", json=body, environ_base={"REMOTE_ADDR": "192.0.2.7"})
        assert there.status_code == 403 and "on the machine itself only" in there.text
        assert asked(f"/hidden-fault/{path}", json=body, headers={"X-Forwarded-For": "192.0.2.7"}).status_code == 403
    assert client.get("/hidden-fault/hosted", environ_base={"REMOTE_ADDR": "192.0.2.7"}).json()["here"] is False
    assert client.get("/hidden-fault/hosted").json() == {
        "hosted": {"class": "Diesel 2", "level": 2, "round": "1"},
        "here": True,
    }
    assert client.post("/hidden-fault/code", json={"student": "Bo"}).json() == {"code": hosted.code_of("Bo")}
    found = client.get("/hidden-fault/class.json").json()
    row = dict(zip(found["heads"], found["rows"][0], strict=True))
    assert (row["student"], row["tests"], row["state"], row["it was"]) == ("Ann Lee", 0, "open", "")
    for _ in range(3):
        post(client, "answer", {**ann, **WRONG})
    assert cause_of("Ann Lee").name in client.get("/hidden-fault/class.csv").text
    assert client.get("/hidden-fault/class.xml").status_code == 404
    assert served().get("/hidden-fault/class.json").status_code == 404


def test_a_name_that_is_a_formula_or_a_script_stays_a_name(hosted):
    client = served(hosted)
    for name in ("=1+1", "<script>alert(1)</script>"):
        assert post(client, "begin", student(hosted, name)).json()["session"]["case"]["student"] == name
    table = client.get("/hidden-fault/class.csv").text
    assert "'=1+1" in table and "\n=1+1" not in table
    assert "&lt;script&gt;" in post(client, "sheet", student(hosted, "<script>alert(1)</script>")).json()["sheet"]


def test_how_long_an_answer_takes_is_a_whole_number_of_steps(hosted, monkeypatch):
    slept = []
    monkeypatch.setattr("dashboard.fault_desk.time.sleep", slept.append)
    client, ann = served(hosted), student(hosted)
    before = time.monotonic()
    post(client, "test", {**ann, "test": "rollers"})
    spent = time.monotonic() - before
    assert len(slept) == 1 and 0.0 < slept[0] <= STEP
    assert (spent + slept[0]) % STEP == pytest.approx(0.0, abs=0.08) or (spent + slept[0]) % STEP > STEP - 0.08
    post(client, "begin", {"student": "Bo", "code": "AAAA-AAAA"})
    assert slept[1:] == [STEP], "a guess takes time"


def test_a_class_has_an_end(hosted, monkeypatch):
    monkeypatch.setattr("dashboard.fault_desk.MOST_STUDENTS", 1)
    client = served(hosted)
    post(client, "begin", student(hosted, "one"))
    assert "1 sessions are kept" in post(client, "begin", student(hosted, "two")).json()["message"]
    assert MOST_STUDENTS >= 100


def test_codes_of_a_class_by_the_command(tmp_path, capsys):
    key, names = tmp_path / "key", tmp_path / "names.txt"
    key.write_bytes(KEY)
    names.write_text("Ann Lee\n\n  Bo \nAnn Lee\n", encoding="utf-8")
    wanted = ["--key-file", str(key), "--class", "Diesel 2", "--round", "1"]
    assert main(["fault", "codes", "--students", str(names), *wanted, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        name: entry_code(KEY, "Diesel 2", "1", name) for name in ("Ann Lee", "Bo")
    }
    assert main(["fault", "codes", "Ann Lee", *wanted]) == 0
    assert capsys.readouterr().out == f"Ann Lee  {entry_code(KEY, 'Diesel 2', '1', 'Ann Lee')}\n"
    for arguments, says in (
        (["fault", "codes", *wanted], "no student is named"),
        (["fault", "codes", "Bo"], "--key-file, --class, --round"),
        (["fault", "codes", "--students", str(tmp_path / "no"), *wanted], "cannot be read"),
        (["serve", "--class", "Diesel 2"], "without --key-file"),
        (["serve", "--key-file", str(key)], "--class, --round"),
        (["serve", *wanted, "--level", "4"], "allowed is 1 to 3"),
        (["serve", *wanted, "--sessions", str(key)], "cannot be used"),
    ):
        assert main(arguments) == 2
        error = capsys.readouterr().err
        assert says in error and error.count("\n") == 1, arguments
