"""Who somebody is: by a word and a token, never by where a request comes from; guessing is slow and shuts nobody else out."""

import contextlib
import itertools
import threading
from dataclasses import dataclass, field

import pytest
from serving import AtOnce
from serving import Visitor as Client

from dashboard.app import create_app
from dashboard.hidden_fault.round import Round
from dashboard.server import identity as module
from dashboard.server.identity import (
    COOKIES,
    FORGOTTEN,
    LIFE,
    MOST_TOKENS,
    NAME,
    Identity,
    Patience,
    Tokens,
    make_password,
)
from dashboard.server.runs import Workshop
from sim.errors import SettingsError

PASSWORD = "correct horse 7"
KEY = b"sixteen bytes of chance, or more"


class Clock:
    """Time that a test lets go on."""

    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@dataclass
class Somebody:
    """Whoever asks."""

    address: str = "192.0.2.1"
    cookies: dict = field(default_factory=dict)
    secure: bool = False

    def keeps(self, cookie):
        """As a browser keeps a cookie."""
        self.cookies[cookie.key] = cookie.value
        return self


class Book:
    """The words of two students; counts how often it is asked."""

    def __init__(self):
        self.asked = 0

    def is_word(self, student, word):
        self.asked += 1
        return {"ann": "apple", "bo": "pear"}.get(student.casefold()) == word


@pytest.fixture
def clock():
    return Clock()


def waits(function):
    """How long it says to wait; None when it does not."""
    try:
        function()
    except SettingsError as problem:
        text = str(problem)
        return int(text.rsplit(" in ", maxsplit=1)[-1].split(maxsplit=1)[0]) if "not looked at" in text else None
    return None


# ---------------------------------------------------------------- wrong words


def test_a_wrong_word_makes_the_next_one_wait_longer_and_what_comes_too_soon_is_not_looked_at(clock):
    book, who, me = Book(), Identity(clock=clock), Somebody()
    expected = [1, 2, 4, 8, 16, 32, 60, 60]
    for number, seconds in enumerate(expected, start=1):
        with pytest.raises(SettingsError, match="do not belong together"):
            who.student(book.is_word, "Ann", "wrong", me)
        assert book.asked == number
        assert waits(lambda: who.student(book.is_word, "Ann", "apple", me)) == seconds, (
            "the right word is not looked at either"
        )
        clock.now += seconds - 0.01
        assert waits(lambda: who.student(book.is_word, "Ann", "apple", me)) == 1 and book.asked == number
        clock.now += 0.02
    assert who.student(book.is_word, "Ann", "apple", me) == "Ann"
    with pytest.raises(SettingsError, match="do not belong together"):
        who.student(book.is_word, "Ann", "wrong", me)
    assert waits(lambda: who.student(book.is_word, "Ann", "apple", me)) == 1, "the right word has ended the count"
    clock.now += FORGOTTEN + 1
    assert who.student(book.is_word, "Ann", "apple", me) == "Ann"


def test_somebody_who_guesses_slows_neither_others_nor_the_same_name_elsewhere(clock):
    book, who, mallory = Book(), Identity(clock=clock), Somebody("198.51.100.9")
    for _ in range(10):
        with pytest.raises(SettingsError):
            who.student(book.is_word, "Ann", "wrong", mallory)
    assert who.student(book.is_word, "Ann", "apple", Somebody()) == "Ann"
    assert who.student(book.is_word, "Bo", "pear", mallory) == "Bo", "a class may sit behind one address"
    assert waits(lambda: who.student(book.is_word, "Ann", "apple", mallory)) == 1


def test_many_addresses_together_are_slow_too_and_nobody_waits_longer_than_a_minute(clock):
    book, who = Book(), Identity(clock=clock)
    looked = 0
    for number in range(4000):  # a network of attackers, ten words a second
        before = book.asked
        with pytest.raises(SettingsError):
            who.student(book.is_word, "Ann", f"word {number}", Somebody(f"10.0.{number // 250}.{number % 250}"))
        looked += book.asked - before
        clock.now += 0.1
    assert looked < NAME.free + 5 + 400 / NAME.longest + 1
    wait = waits(lambda: who.student(book.is_word, "Ann", "apple", Somebody()))
    assert wait is None or wait <= NAME.longest
    clock.now += 60.0
    assert who.student(book.is_word, "Ann", "apple", Somebody()) == "Ann"


def test_one_address_that_tries_many_names_is_slowed_and_a_first_word_from_it_is_looked_at(clock):
    book, who = Book(), Identity(clock=clock)
    names = [f"student {number}" for number in range(40)]
    looked = 0
    for _ in range(20):
        for name in names:
            before = book.asked
            with pytest.raises(SettingsError):
                who.student(book.is_word, name, "wrong", Somebody())
            looked += book.asked - before
            clock.now += 0.02
    assert looked < 110
    assert who.student(book.is_word, "Ann", "apple", Somebody()) == "Ann"


def test_who_was_let_in_before_is_not_kept_waiting_by_others(clock):
    book, who, ann = Book(), Identity(clock=clock), Somebody()
    ann.keeps(who.student_cookie(who.student(book.is_word, "Ann", "apple", ann), ann))
    assert who.student_cookie("ANN", ann) is None, "one token is enough"
    for _ in range(50):
        with pytest.raises(SettingsError):
            who.student(book.is_word, "Ann", "wrong", Somebody(ann.address))
    assert waits(lambda: who.student(book.is_word, "Ann", "apple", Somebody(ann.address))) is not None
    assert who.student(book.is_word, "Ann", "apple", ann) == "Ann"
    with pytest.raises(SettingsError, match="do not belong together"):
        who.student(book.is_word, "Ann", "wrong", ann)
    stolen = Somebody(ann.address, dict(ann.cookies))
    with pytest.raises(SettingsError):
        who.student(book.is_word, "Bo", "wrong", stolen)
    assert waits(lambda: who.student(book.is_word, "Bo", "pear", stolen)) == 1, (
        "the token of one name is none of another"
    )


def test_of_many_words_at_once_one_is_looked_at():
    """Nothing slips in between looking at the count and counting."""
    patience, start, looked = Patience(), threading.Barrier(16), []

    def guess():
        start.wait()
        with contextlib.suppress(SettingsError):
            patience.is_right("ann", "192.0.2.1", lambda: bool(looked.append(1)))

    threads = [threading.Thread(target=guess) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(looked) == 1


def test_tables_have_an_end_whatever_is_tried(clock, monkeypatch):
    monkeypatch.setattr(module, "MOST_COUNTS", 200)
    monkeypatch.setattr(module, "MOST_PEOPLE", 5)
    patience, tokens = Patience(clock), Tokens(clock)
    for number in range(3000):
        patience.is_right(f"{number}" * 50, f"2001:db8:{number % 60000:x}::1", lambda: False)
        tokens.give(f"person {number % 40}")
    assert all(len(counts) <= 200 for counts in (patience._together, patience._names, patience._places))
    assert len(tokens._of) <= 5 and all(len(mine) <= MOST_TOKENS for mine in tokens._of.values())


def test_a_name_that_is_tried_again_and_again_is_not_forgotten_for_others(clock, monkeypatch):
    monkeypatch.setattr(module, "MOST_COUNTS", 50)
    patience, names = Patience(clock), itertools.count()
    for _ in range(8):
        patience.is_right("ann", "192.0.2.1", lambda: False)
        for _ in range(40):
            patience.is_right(f"{next(names)}", "192.0.2.1", lambda: False)
        clock.now += 61.0
    with pytest.raises(SettingsError, match="60 s"):
        patience.is_right("ann", "192.0.2.1", lambda: False)
        patience.is_right("ann", "192.0.2.1", lambda: True)


def test_the_same_name_in_other_letters_is_the_same_count(clock):
    book, who = Book(), Identity(clock=clock)
    with pytest.raises(SettingsError):
        who.student(book.is_word, "Zoe\u0308", "wrong", Somebody())
    assert waits(lambda: who.student(book.is_word, " ZO\u00cb", "wrong", Somebody())) == 1
    with pytest.raises(SettingsError, match="81 letters"):
        who.student(book.is_word, "n" * 81, "wrong", Somebody())
    with pytest.raises(SettingsError, match="do not belong together"):
        who.student(book.is_word, "", "", Somebody())


# ---------------------------------------------------------------- tokens


def test_a_token_has_a_life_a_number_and_an_end(clock):
    who, me = Identity(PASSWORD, clock=clock), Somebody(secure=True)
    assert not who.is_instructor(me)
    cookie = who.sign_in(" CORRECT  horse 7", me)
    settings = cookie.settings()
    assert settings["httponly"] and settings["samesite"] == "strict" and settings["secure"] and settings["path"] == "/"
    assert settings["max_age"] == LIFE and len(cookie.value) >= 43
    assert not who.sign_in(PASSWORD, Somebody()).settings()["secure"]
    assert who.is_instructor(me.keeps(cookie))
    for forged in ("", "x", cookie.value[:-1], cookie.value + "x", "\udcff"):
        assert not who.is_instructor(Somebody(cookies={COOKIES["instructor"]: forged}))
    ended = who.sign_out(me)
    assert ended.value == "" and ended.settings()["max_age"] == 0
    assert not who.is_instructor(me), "a token that was given back opens nothing"
    me.keeps(who.sign_in(PASSWORD, me))
    clock.now += LIFE - 1
    assert who.is_instructor(me)
    clock.now += 2
    assert not who.is_instructor(me)
    browsers = [Somebody().keeps(who.sign_in(PASSWORD, Somebody())) for _ in range(MOST_TOKENS + 2)]
    assert [who.is_instructor(each) for each in browsers] == [False] * 2 + [True] * MOST_TOKENS


def test_a_password_is_slow_to_guess_and_a_made_one_cannot_be(clock):
    who = Identity(PASSWORD, clock=clock)
    with pytest.raises(SettingsError, match="not the password"):
        who.sign_in("guess", Somebody())
    assert waits(lambda: who.sign_in(PASSWORD, Somebody())) == 1
    assert who.sign_in(PASSWORD, Somebody("192.0.2.2"))
    assert len({make_password() for _ in range(1000)}) == 1000 and len(make_password()) == 19
    with pytest.raises(SettingsError):
        Identity(clock=clock).sign_in("", Somebody())


def test_another_password_in_the_file_counts_at_once_and_ends_what_the_old_one_opened(clock, tmp_path, caplog):
    file = tmp_path / "password"
    file.write_text(f"{PASSWORD}\n")
    who, me = Identity(password_file=str(file), clock=clock), Somebody()
    me.keeps(who.sign_in(PASSWORD, me))
    assert who.is_instructor(me)
    file.write_text("another password")
    assert not who.is_instructor(me)
    with pytest.raises(SettingsError, match="not the password"):
        who.sign_in(PASSWORD, Somebody("192.0.2.2"))
    me.keeps(who.sign_in("another password", Somebody("192.0.2.3")))
    assert who.is_instructor(me)
    file.unlink()
    assert not who.is_instructor(me), "no password, no instructor"
    with pytest.raises(SettingsError, match="nobody can sign in") as problem:
        who.sign_in("another password", Somebody("192.0.2.4"))
    assert str(file) not in str(problem.value) and str(file) in caplog.text
    file.write_text("another password")
    assert not who.is_instructor(me) and who.sign_in("another password", Somebody("192.0.2.5"))
    for bad in ("", "short", "  1234567 "):
        file.write_text(bad)
        with pytest.raises(SettingsError, match="can be guessed"):
            Identity(password_file=str(file))
    with pytest.raises(SettingsError, match="there is no such file"):
        Identity(password_file=str(tmp_path / "none"))


# ---------------------------------------------------------------- through the doors

CLAIMS = [
    {},
    {"X-Forwarded-For": "127.0.0.1"},
    {"X-Forwarded-For": "127.0.0.1", "X-Forwarded-Host": "localhost", "X-Real-IP": "127.0.0.1"},
    {"Forwarded": "for=127.0.0.1;host=localhost;proto=https"},
    {"Via": "1.1 localhost"},
    {"Host": "localhost"},
    {"Host": "127.0.0.1"},
    {"Cookie": f"{COOKIES['instructor']}=true"},
    {"Authorization": "Basic aW5zdHJ1Y3Rvcjo="},
]


def served(hosted=True):
    workshop = Workshop(AtOnce())
    workshop.identity = Identity(PASSWORD)
    if hosted:
        workshop.hosted = Round(KEY, "Diesel 2", "1", 2)
    return create_app(workshop)


@pytest.mark.parametrize("headers", CLAIMS, ids=str)
@pytest.mark.parametrize("address", ["127.0.0.1", "::1", "192.0.2.7"])
def test_neither_an_address_nor_a_header_makes_an_instructor(headers, address):
    client = Client(served(), address)
    for method, path in (("get", "class.json"), ("get", "class.csv"), ("post", "word")):
        body = {"json": {"student": "Bo"}} if method == "post" else {}
        answer = getattr(client, method)(f"/hidden-fault/{path}", headers=headers, **body)
        assert answer.status_code == 403 and "instructor's password" in answer.json()["message"], path
    assert client.get("/hidden-fault/hosted", headers=headers).json()["instructor"] is False


def test_the_instructor_signs_in_sees_the_class_and_signs_out_from_anywhere():
    app = served()
    client = Client(app, "192.0.2.7")
    assert "not the password" in client.post("/hidden-fault/sign-in", json={"password": "x"}).json()["message"]
    soon = client.post("/hidden-fault/sign-in", json={"password": PASSWORD}).json()["message"]
    assert "give it again in 1 s" in soon and not client.cookies
    client = Client(app, "192.0.2.8")
    answer = client.post("/hidden-fault/sign-in", json={"password": PASSWORD})
    assert answer.json() == {"instructor": True}
    sent = answer.headers["set-cookie"]
    assert "HttpOnly" in sent and "SameSite=strict" in sent and "Path=/" in sent and "Secure" not in sent
    assert client.get("/hidden-fault/hosted").json()["instructor"] is True
    assert client.get("/hidden-fault/class.json").json() == {"heads": [], "rows": [], "set_aside": []}
    assert client.get("/hidden-fault/class.csv").status_code == 200
    assert len(client.post("/hidden-fault/word", json={"student": "Bo"}).json()["word"]) == 9
    assert "81 letters" in client.post("/hidden-fault/word", json={"student": "n" * 81}).json()["message"]
    token = client.cookies[COOKIES["instructor"]]
    assert client.post("/hidden-fault/sign-out", json={}).json() == {"instructor": False}
    assert COOKIES["instructor"] not in client.cookies
    old = Client(app, "192.0.2.8", cookies={COOKIES["instructor"]: token})
    assert old.get("/hidden-fault/class.json").status_code == 403
    secure = Client(app, "192.0.2.9")
    secure.base_url = "https://localhost"
    assert "Secure" in secure.post("/hidden-fault/sign-in", json={"password": PASSWORD}).headers["set-cookie"]


def test_where_no_class_is_hosted_nobody_signs_in():
    client = Client(served(hosted=False))
    assert (
        "hosts no hidden fault" in client.post("/hidden-fault/sign-in", json={"password": PASSWORD}).json()["message"]
    )
    assert client.get("/hidden-fault/class.json").status_code == 404
    assert client.get("/hidden-fault/hosted").json() == {"hosted": None, "instructor": False}


def test_a_student_is_let_in_once_and_then_never_waits():
    app = served()
    client, mallory = Client(app, "192.0.2.7"), Client(app, "192.0.2.7")
    word = Round(KEY, "Diesel 2", "1", 2).word_of("Ann Lee")
    ann = {"student": "Ann Lee", "word": word}
    sent = client.post("/hidden-fault/begin", json=ann).headers["set-cookie"]
    assert "HttpOnly" in sent and "SameSite=strict" in sent
    for _ in range(3):
        mallory.post("/hidden-fault/begin", json={**ann, "word": "AAAA-AAAA"})
    assert "not looked at" in mallory.post("/hidden-fault/begin", json=ann).json()["message"]
    again = client.post("/hidden-fault/begin", json=ann)
    assert again.json()["session"]["attempts_left"] == 3 and "set-cookie" not in again.headers
    assert "entry" in client.post("/hidden-fault/test", json={**ann, "test": "look"}).json()
