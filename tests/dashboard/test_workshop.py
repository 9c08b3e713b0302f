"""The workshop: equal questions share an answer, who leaves stops only what nobody else waits for, and memory is bounded."""

import threading
import time

import numpy as np
import pytest
from serving import AtOnce, Held

from dashboard.runs import Gone, Store, Workshop, key_for
from dashboard.setups import Setup, read_setup
from sim import load_route
from sim.errors import RouteError, RunError, SettingsError


def double(number):
    return 2 * number


def refuse():
    raise SettingsError("refused")


def until(true, seconds=5.0):
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.01)
    assert true()


def test_the_same_question_is_worked_out_once():
    pool = AtOnce()
    workshop = Workshop(pool)
    assert [workshop.ask("a", double, 4) for _ in range(3)] == [8, 8, 8]
    assert workshop.ask("b", double, 5) == 10
    assert pool.done == ["double", "double"]


def test_many_ask_the_same_at_once_and_one_job_answers_all():
    pool = Held()
    workshop = Workshop(pool)
    answers = []
    students = [threading.Thread(target=lambda: answers.append(workshop.ask("a", double, 4))) for _ in range(8)]
    for student in students:
        student.start()
    until(lambda: workshop.watchers("a") == 8)
    assert len(pool.jobs) == 1
    pool.jobs[0].set_result("eight")
    for student in students:
        student.join(5)
    assert answers == ["eight"] * 8
    assert workshop.watchers("a") == 0


def test_who_leaves_does_not_stop_who_stays():
    pool = Held()
    workshop = Workshop(pool)
    left = threading.Event()
    answers, gone = [], []

    def leaver():
        try:
            workshop.ask("a", double, 4, gone=left.is_set)
        except Gone:
            gone.append(True)

    one = threading.Thread(target=leaver)
    other = threading.Thread(target=lambda: answers.append(workshop.ask("a", double, 4)))
    one.start()
    other.start()
    until(lambda: workshop.watchers("a") == 2)
    left.set()
    one.join(5)
    assert gone == [True] and workshop.watchers("a") == 1 and not pool.jobs[0].cancelled()
    pool.jobs[0].set_result("eight")
    other.join(5)
    assert answers == ["eight"]


def test_the_last_who_leaves_takes_the_job_out_of_the_queue():
    pool = Held()
    workshop = Workshop(pool)
    assert workshop.join("one", "study", double, 4) is None
    assert workshop.join("two", "study", double, 4) is None
    assert len(pool.jobs) == 1 and workshop.watchers("study") == 2
    workshop.leave("one", "study")
    assert not pool.jobs[0].cancelled() and workshop.watchers("study") == 1
    workshop.leave("two", "study")
    until(pool.jobs[0].cancelled)
    assert workshop.join("three", "study", double, 4) is None  # asked again: a new job
    assert len(pool.jobs) == 2


def test_a_watcher_that_is_never_seen_again_is_let_go(monkeypatch):
    monkeypatch.setattr("dashboard.runs.FORGOTTEN", 0.0)
    pool = Held()
    workshop = Workshop(pool)
    workshop.join("closed its window", "a", double, 4)
    time.sleep(0.01)
    workshop.join("somebody", "b", double, 5)
    until(pool.jobs[0].cancelled)
    assert not pool.jobs[1].cancelled()


def test_an_answer_that_came_while_nobody_looked_is_found():
    pool = Held()
    workshop = Workshop(pool)
    workshop.join("one", "a", double, 4)
    pool.jobs[0].set_result("eight")
    assert workshop.join("one", "a", double, 4).value == "eight"


def test_a_refusal_reaches_who_asked_and_is_not_kept():
    pool = AtOnce()
    workshop = Workshop(pool)
    for _ in range(2):
        with pytest.raises(SettingsError, match="refused"):
            workshop.ask("bad", refuse)
    assert pool.done == ["refuse", "refuse"]


def test_too_many_jobs_are_refused_in_words(monkeypatch):
    monkeypatch.setattr("dashboard.runs.MOST_WAITING", 2)
    workshop = Workshop(Held())
    workshop.join("one", "a", double, 1)
    workshop.join("one", "b", double, 2)
    with pytest.raises(RunError, match="2 jobs are waiting already"):
        workshop.join("one", "c", double, 3)


def test_the_store_gives_up_what_was_used_longest_ago():
    store = Store(100)
    for name in "abc":
        store.put(name, bytes(33))
    store.get("a")
    store.put("d", bytes(33))
    assert store.weight <= 100 and len(store) == 3
    with pytest.raises(KeyError):
        store.get("b")
    assert store.get("a") == bytes(33)
    store.put("huge", bytes(101))
    with pytest.raises(KeyError):
        store.get("huge")
    store.put("a", bytes(10))
    assert store.weight == 33 + 33 + 10


def test_the_store_counts_what_is_not_bytes_by_its_bytes():
    store = Store(50_000)
    store.put("table", np.zeros(5000))  # 40 kB
    assert 40_000 <= store.weight < 42_000


def test_an_uploaded_road_is_found_by_its_content_and_driven_by_its_address():
    workshop = Workshop(AtOnce())
    road = load_route("skarrow-grade")
    address = workshop.keep_road(road)
    assert address == workshop.keep_road(load_route("skarrow-grade")) != workshop.keep_road(load_route("wendle-hills"))
    assert read_setup(Setup(road=address), workshop).route is workshop.road(address)
    with pytest.raises(RouteError, match="upload it again"):
        read_setup(Setup(road="upload:" + "0" * 32), workshop)
    with pytest.raises(RouteError, match="not known here"):
        read_setup(Setup(road=address))  # without a workshop there are no uploads


def test_the_key_changes_with_every_input_and_with_nothing_else():
    plain = key_for("trip", read_setup(Setup()))
    assert plain == key_for(
        "trip", read_setup(Setup(changes={"driver.descent_gear": "7"}))
    )  # as in the settings already
    others = [
        key_for("other", read_setup(Setup())),
        key_for("trip", read_setup(Setup()), 1),
        key_for("trip", read_setup(Setup(truck="long-haul-empty"))),
        key_for("trip", read_setup(Setup(road="wendle-hills"))),
        key_for("trip", read_setup(Setup(changes={"weather.wind_m_s": "0.001"}))),
    ]
    assert len({plain, *others}) == 6


def test_readiness_is_said_also_when_the_model_cannot_be_prepared():
    class Broken(AtOnce):
        def warm(self, also):
            raise RunError("no memory")

    workshop = Workshop(Broken())
    workshop.warm_in_background()
    assert workshop.ready.wait(5) and workshop.trouble == "no memory"
