"""Sessions of a class on the disk: what was told is there, and a bad file sends no class home."""

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from dashboard.hidden_fault.round import Round
from dashboard.server.keeping import Folder
from sim.errors import RouteError, SettingsError
from sim.hidden.key import entry_word, seal
from sim.hidden.marking import mark
from sim.hidden.session import ask, give_answer, start

KEY, OTHER = b"sixteen bytes of chance, or more", b"another class, another key, as long"

KEEPER = """
import json, sys
from dashboard.hidden_fault.round import Round
round_ = Round(b"sixteen bytes of chance, or more", "Diesel 2", "1", 2, sys.argv[1])
from sim.hidden.key import entry_word, seal
session = round_.session("Ann Lee")
for number in range(1, 10_000):
    session["complaint"] = f"{number:4}" * 90  # so that a write takes its time
    session["seal"] = seal(round_.key, session)
    round_.keep("Ann Lee", session)
    print(number, flush=True)
"""


def opened(folder, key=KEY):
    return Round(key, "Diesel 2", "1", 2, str(folder))


def names(folder):
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))


@pytest.fixture
def kept(tmp_path):
    """A folder with the sessions of three students."""
    folder = tmp_path / "sessions"
    round_ = opened(folder)
    for student in ("Ann", "Bo", "Cy"):
        round_.session(student)
    round_.close()
    return folder


@contextmanager
def serving(folder, key, *more):
    """The command as a class uses it: its process, port and what it said."""
    wanted = ["--key-file", str(key), "--class", "Diesel 2", "--round", "1", "--sessions", str(folder), *more]
    command = [sys.executable, "-m", "haulbench", "serve", "--port", "0", *wanted]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        said = ""
        while "Password: " not in said:
            said += server.stdout.readline() or pytest.fail(said)
        try:
            yield server, int(re.search(r"localhost:(\d+)/", said)[1]), said
        finally:
            server.kill()


def asked(port, what, body=None, cookie=""):
    """Status, answer and cookie."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    headers = {"Content-Type": "application/json", **({"Cookie": cookie} if cookie else {})}
    method, content = ("GET", None) if body is None else ("POST", json.dumps(body))
    connection.request(method, f"/hidden-fault/{what}", content, headers)
    answer = connection.getresponse()
    found = answer.status, json.loads(answer.read()), (answer.headers["Set-Cookie"] or "").partition(";")[0]
    connection.close()
    return found


def test_the_command_prints_a_password_once_and_a_killed_server_has_kept_what_it_told(tmp_path):
    folder, key, file = tmp_path / "sessions", tmp_path / "key", tmp_path / "password"
    key.write_bytes(KEY)
    file.write_text("a password of a file")
    ann = {"student": "Ann Lee", "word": entry_word(KEY, "Diesel 2", "1", "Ann Lee")}
    wrong = {"part": "key", "failure": "open", "because": [], "explanation": ""}
    with serving(folder, key) as (server, port, said):
        password = re.search(r"Password: (\S+)\n", said)[1]
        assert said.count(password) == 1 and "page Hidden fault" in said
        assert asked(port, "class.json")[0] == 403
        _, answer, cookie = asked(port, "sign-in", {"password": password})
        assert answer == {"instructor": True} and asked(port, "class.json", cookie=cookie)[0] == 200
        assert asked(port, "answer", {**ann, **wrong})[1]["session"]["attempts_left"] == 2
        server.kill()
    with serving(folder, key, "--password-file", str(file)) as (_, port, said):
        assert "a password of a file" not in said and str(file) in said
        assert "not the password" in asked(port, "sign-in", {"password": password})[1]["message"]
        assert asked(port, "begin", ann)[1]["session"]["attempts_left"] == 2
        assert asked(port, "class.json", cookie=cookie)[0] == 403, "tokens end with the server"
        time.sleep(1.1)
        cookie = asked(port, "sign-in", {"password": "a password of a file"})[2]
        assert asked(port, "class.json", cookie=cookie)[0] == 200
        file.write_text("another password of it")
        assert asked(port, "class.json", cookie=cookie)[0] == 403


@pytest.mark.parametrize("acknowledged", [1, 7, 30])
def test_what_was_told_is_there_after_a_kill(tmp_path, acknowledged):
    folder = tmp_path / "sessions"
    with subprocess.Popen([sys.executable, "-c", KEEPER, str(folder)], stdout=subprocess.PIPE, text=True) as server:
        for _ in range(acknowledged):
            last = int(server.stdout.readline())
        server.send_signal(signal.SIGKILL)
        last = int((server.stdout.read().split() or [str(last)])[-1])
    again = opened(folder)
    assert int(again.session("Ann Lee")["complaint"][:4]) >= last >= acknowledged
    assert again.set_aside() == [] and len(names(folder)) == 1
    assert not [path for path in folder.iterdir() if path.name.startswith(".case")], "nothing half written is left"


def test_a_session_is_on_the_disk_before_it_counts(tmp_path, monkeypatch):
    round_, done = opened(tmp_path / "sessions"), []
    fsync, replace = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append("sync"), fsync(handle))[1])
    monkeypatch.setattr(os, "replace", lambda *ways: (done.append("replace"), replace(*ways))[1])
    round_.session("Ann")
    assert done == ["sync", "replace", "sync"], "the file, its name, the folder"

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SettingsError, match="No space left on device"):
        round_.session("Bo")
    assert [row["student"] for row in round_.rows()] == ["Ann"] and len(names(tmp_path / "sessions")) == 1


def spoil_truncated(file):
    file.write_bytes(file.read_bytes()[:200])


def spoil_empty(file):
    file.write_bytes(b"")


def spoil_binary(file):
    file.write_bytes(b"\xff\xfe\x00")


def spoil_large(file):
    with file.open("wb") as out:
        out.truncate(5_000_000_000)


def spoil_changed(file):
    file.write_text(file.read_text().replace('"attempts_left": 3', '"attempts_left": 9'))


def spoil_foreign(file):
    session, _ = start(2, key=OTHER, names={"class": "Diesel 2", "student": "Ann", "round": "1"})
    file.write_text(json.dumps(session))


def spoil_practice(file):
    file.write_text(json.dumps(start(2, practice=3)[0]))


def spoil_pipe(file):
    file.unlink()
    os.mkfifo(file)


def spoil_device(file):
    file.unlink()
    file.symlink_to("/dev/zero")


def spoil_folder(file):
    file.unlink()
    file.mkdir()


def spoil_link(file):
    file.unlink()
    file.symlink_to("nowhere")


SPOILS = [value for name, value in sorted(globals().items()) if name.startswith("spoil_")]


@pytest.mark.parametrize("spoil", SPOILS, ids=lambda spoil: spoil.__name__)
def test_a_bad_file_is_set_aside_and_named_and_the_class_goes_on(kept, spoil, caplog):
    round_ = opened(kept)
    file = kept / f"{round_._place('Diesel 2', '1', 'Bo')}.json"
    round_.close()
    spoil(file)
    again = opened(kept)
    assert [row["student"] for row in again.rows()] == ["Ann", "Cy"]
    assert names(kept) == sorted([*(name for name in names(kept) if name.endswith(".json")), f"{file.name}.damaged-1"])
    assert len(names(kept)) == 3
    (line,) = again.set_aside()
    assert line.startswith(f"{file.name}.damaged-1: ") and len(line) < 600
    assert f"{file.name}.damaged-1" in caplog.text and "the class goes on" in caplog.text
    again.session("Bo")
    (line,) = again.set_aside()
    assert "(Bo, who has begun again)" in line
    again.close()
    spoil(file)
    later = opened(kept)
    assert [line.split(" ")[0].rstrip(":") for line in later.set_aside()] == [
        f"{file.name}.damaged-{n}" for n in (1, 2)
    ]


def test_an_unreadable_file_is_set_aside_too(kept, monkeypatch):
    import sim.reading

    def refused(path, *_):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as closed:
        closed.setattr(sim.reading.os, "open", refused)
        with pytest.raises(SettingsError, match="cannot be used"):
            opened(kept)
    real = os.open

    def sometimes(path, *flags, **more):
        if str(path).endswith(".json") and str(path) == str(bad):
            raise PermissionError(13, "Permission denied")
        return real(path, *flags, **more)

    bad = kept / names(kept)[1]
    monkeypatch.setattr(os, "open", sometimes)
    round_ = opened(kept)
    assert len(round_.rows()) == 2 and "Permission denied" in round_.set_aside()[0]


def test_a_bad_file_that_cannot_be_moved_ends_the_start_in_words(kept, monkeypatch):
    (kept / names(kept)[0]).write_text("")

    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "rename", refused)
    with pytest.raises(SettingsError, match="cannot be set aside"):
        opened(kept)


def test_a_copy_of_a_session_under_another_name_does_not_take_its_place(kept):
    round_ = opened(kept)
    ann = kept / f"{round_._place('Diesel 2', '1', 'Ann')}.json"
    old = ann.read_text()
    session = round_.session("Ann")
    session["complaint"] = "later"
    session["seal"] = seal(KEY, session)
    round_.keep("Ann", session)
    round_.close()
    (kept / "case-zzzz.json").write_text(old)
    again = opened(kept)
    assert again.session("Ann")["complaint"] == "later" and "case-zzzz.json.damaged-1" in again.set_aside()[0]


def test_what_an_earlier_version_has_kept_and_this_one_would_not_drive_is_kept_and_not_driven(kept):
    round_ = opened(kept)
    session, when = round_.session("Ann"), "2026-01-01T00:00:00+00:00"
    tests = ["drive /etc/passwd", *(f"drive grade:{n}%,20km" for n in (1, 2))]
    session["tests"] = [{"number": n, "time": when, "test": text, "readings": []} for n, text in enumerate(tests, 1)]
    session["seal"] = seal(KEY, session)
    round_.keep("Ann", session)
    round_.close()
    again = opened(kept)
    session = again.session("Ann")
    assert again.set_aside() == [] and len(session["tests"]) == 3
    assert ask(session, KEY, "look")["number"] == 4
    while not session["closed"]:
        give_answer(session, KEY, "oil pump", "worn")
    for make in (lambda: mark(session, KEY), lambda: ask({**session, "closed": False}, KEY, "codes")):
        with pytest.raises(RouteError, match="is not known here"):
            make()


def test_another_round_of_the_same_key_is_left_alone(kept):
    before = names(kept)
    other = Round(KEY, "Diesel 2", "2", 2, str(kept))
    assert other.rows() == [] and other.set_aside() == [] and names(kept) == before


def test_two_servers_do_not_share_a_folder(kept):
    one = opened(kept)
    with pytest.raises(SettingsError, match="another server keeps its sessions there"):
        opened(kept)
    tried = "import sys; from dashboard.server.keeping import Folder; Folder(sys.argv[1], 'case-')"
    other = subprocess.run([sys.executable, "-c", tried, str(kept)], capture_output=True, text=True, check=False)
    assert "another server keeps its sessions there" in other.stderr
    one.close()
    assert len(opened(kept).rows()) == 3


def test_a_folder_that_cannot_be_used_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    for place in ("file", "file/below"):
        with pytest.raises(SettingsError):
            Folder(str(tmp_path / place), "case-")


@pytest.mark.skipif(sys.platform == "win32", reason="rights of another kind")
def test_what_is_kept_is_for_the_instructor_alone(kept):
    assert {path.stat().st_mode & 0o777 for path in kept.glob("case-*.json")} == {0o600}
