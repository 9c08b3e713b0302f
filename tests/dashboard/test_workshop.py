"""The workshop: equal questions share an answer, who leaves stops only what nobody else waits for, nobody can take more than a
share of lanes and memory, and what would take too long is refused before it is asked.
"""

import ast
import importlib
import itertools
import json
import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from serving import AtOnce, Held

import dashboard
from dashboard.hidden_fault.work import make_test, marked
from dashboard.server import costs
from dashboard.server.asking import Asking, asked_by, current
from dashboard.server.costs import expected_seconds, trip_seconds
from dashboard.server.runs import (
    HERE,
    LONGEST_WAIT,
    MOST_EACH,
    MOST_UPLOAD_BYTES,
    Gone,
    Store,
    Workshop,
    key_for,
    terms_of,
)
from dashboard.server.setups import Setup, read_setup
from dashboard.server.turns import FairTurns
from dashboard.trip.work import drive_for_page
from sim import load_route
from sim.errors import RouteError, RunError, SettingsError
from sim.hidden.session import read_session, start
from sim.trips.pool import Terms, TripPool, Work


def declared(function):
    """A function of this file that takes next to nothing."""
    return costs.costs(lambda *_: 0.01)(function)


@declared
def double(number):
    return 2 * number


@declared
def refuse():
    raise SettingsError("refused")


@declared
def note(file, word, seconds=0.0):
    """Writes a line when it is begun, and answers with its worker."""
    with Path(file).open("a") as out:
        out.write(f"{word}\n")
    time.sleep(seconds)
    return os.getpid()


@declared
def note_and_wait(file, word, mark):
    """Writes a line when it is begun, and waits for the mark."""
    note(file, word)
    while not Path(mark).exists():
        time.sleep(0.01)


@costs.costs(lambda file, word, seconds: seconds)
def note_as_declared(file, word, seconds):
    return note(file, word, seconds)


@declared
def for_ever(file):
    note(file, "for ever")
    while True:
        pass


@costs.costs(lambda: 3600.0)
def an_hour():
    raise AssertionError("this must never be begun")


def nobody_says_what_this_takes():
    return 0


def load_this():
    """Workers that replace others know these functions, too, before their time runs."""


def lines(file):
    return file.read_text().splitlines() if file.exists() else []


def ask_as(who, workshop, key, function, *given):
    """Asks in a thread, as a request does; gives the asker, the thread and where the answer will be."""
    asking, answers = Asking(who), []

    def answer():
        with asked_by(asking):
            try:
                answers.append(workshop.ask(key, function, *given))
            except (Gone, RunError) as problem:
                answers.append(problem)

    thread = threading.Thread(target=answer)
    thread.start()
    return asking, thread, answers


@pytest.fixture
def small():
    """A real workshop with one lane of each kind."""
    made = Workshop(workers=1)
    made.pool.warm(load_this)
    yield made
    made.close()


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
    one, one_thread, gone = ask_as("one", workshop, "a", double, 4)
    _, other_thread, answers = ask_as("other", workshop, "a", double, 4)
    until(lambda: workshop.watchers("a") == 2)
    one.leave()
    one_thread.join(5)
    assert isinstance(gone[0], Gone) and workshop.watchers("a") == 1 and not pool.jobs[0].cancelled()
    pool.jobs[0].set_result("eight")
    other_thread.join(5)
    assert answers == ["eight"]


def test_who_has_left_before_asking_waits_for_nothing():
    pool, asking = Held(), Asking("one")
    asking.leave()
    with asked_by(asking), pytest.raises(Gone):
        Workshop(pool).ask("a", double, 4)
    until(pool.jobs[0].cancelled)


def test_who_asks_is_known_in_the_thread_of_the_request_only():
    assert current().who == HERE
    with asked_by(Asking("one")) as one:
        assert current() is one
        found = []
        thread = threading.Thread(target=lambda: found.append(current().who))
        thread.start()
        thread.join()
        assert found == [HERE]
    assert current().who == HERE


def test_an_asker_who_leaves_frees_the_lane(small, tmp_path):
    file = tmp_path / "begun"
    hog, thread, came = ask_as("hog", small, "endless", for_ever, str(file))
    until(lambda: lines(file) == ["for ever"], 20)
    _, other, answers = ask_as("other", small, "b", double, 5)
    hog.leave()
    thread.join(5)
    other.join(20)
    assert isinstance(came[0], Gone) and answers == [10] and lines(file) == ["for ever"]


def test_a_job_that_goes_on_for_ever_is_refused_in_words_and_the_lane_answers_again(small, tmp_path, monkeypatch):
    with monkeypatch.context() as shorter:
        shorter.setattr("dashboard.server.runs.QUICK_MORE", 0.5)
        _, thread, came = ask_as("hog", small, "endless", for_ever, str(tmp_path / "begun"))
        thread.join(20)
    assert "was allowed, and was ended; give it less to do" in str(came[0])
    assert small.ask("b", double, 5) == 10


def test_who_asks_little_comes_before_who_has_asked_much(small, tmp_path):
    """A flood of short questions from one address is answered one by one, between those of the others."""
    file, mark = tmp_path / "begun", tmp_path / "go"
    small.turns.spent("hog", 2.0)
    blocker = ask_as("hog", small, "first", note_and_wait, str(file), "hog 0", str(mark))[1]
    until(lambda: lines(file) == ["hog 0"], 20)
    flood = [ask_as("hog", small, f"hog {n}", note, str(file), f"hog {n}", 0.1)[1] for n in range(1, 6)]
    until(lambda: sum(small.watchers(f"hog {n}") for n in range(1, 6)) == 5)
    students = [ask_as(f"student {n}", small, f"s {n}", note, str(file), f"student {n}")[1] for n in range(3)]
    until(lambda: sum(small.watchers(f"s {n}") for n in range(3)) == 3)
    mark.touch()
    for thread in (blocker, *flood, *students):
        thread.join(20)
    begun = lines(file)
    assert len(begun) == len(set(begun)) == 9, "each is done once"
    assert {each.partition(" ")[0] for each in begun[1:4]} == {"student"}


def test_a_long_job_does_not_hold_up_short_ones_of_anybody(small, tmp_path):
    file = tmp_path / "begun"
    hog, thread, _ = ask_as("hog", small, "long", note_as_declared, str(file), "long", 20.0)
    until(lambda: lines(file) == ["long"], 20)
    before = time.monotonic()
    assert small.ask("b", double, 5) == 10
    assert time.monotonic() - before < 2.0
    hog.leave()
    thread.join(10)


def test_what_would_take_too_long_is_refused_before_anything_is_queued():
    pool = Held()
    with pytest.raises(
        RunError, match=r"about 3600 s of a processor; on the server one question may take 40 s. Choose a"
    ):
        Workshop(pool).ask("a", an_hour)
    assert pool.jobs == []


def test_a_question_without_a_declared_cost_is_a_mistake_of_ours():
    with pytest.raises(LookupError, match="nobody_says_what_this_takes has no declared cost; put @costs"):
        Workshop(Held()).ask("a", nobody_says_what_this_takes)


def test_whatever_pages_have_done_by_workers_has_a_declared_cost():
    """Every function given to `ask` or `join` of the workshop anywhere in the dashboard, and to what hands it on."""
    found = set()
    for path in sorted(Path(dashboard.__file__).parent.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = {
            alias.asname or alias.name: f"{node.module}.{alias.name}"
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and node.module
            for alias in node.names
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                place = {"ask": 1, "_changed": 2, "join": 2}.get(node.func.attr)
                if place is not None and len(node.args) > place and isinstance(node.args[place], ast.Name):
                    found.add(names.get(node.args[place].id, f"{path.name}: {node.args[place].id}"))
    found.discard("desk.py: function")  # handed on: what `_changed` is given is in the list
    assert {
        "dashboard.trip.work.drive_for_page",
        "dashboard.hidden_fault.work.make_test",
        "sim.checks.run_checks",
    } <= found
    for name in sorted(found):
        module, _, function = name.rpartition(".")
        assert costs._name(getattr(importlib.import_module(module), function)) in costs._declared, name


def cost_of(road="grade:0%,300km", **changes):
    keys = {key.replace("__", "."): value for key, value in changes.items()}
    return trip_seconds(read_setup(Setup(truck="long-haul-manual", road=road, settings="defaults", changes=keys)))


def test_what_a_trip_takes_follows_its_ticks_failures_and_meters():
    failing = {"faults__occur": '["1 km coolant temperature open"]'}
    assert cost_of("kessarin-round") < 0.5, "an hour and a half of road is a quick question"
    assert 5.0 < cost_of(simulation__tick_s="0.005", **failing) < costs.MOST_SECONDS, "as long and fine as may be asked"
    meters = {"circuits__meters": '["all"]', "circuits__meter_s": "0.05"}
    slow = {"cruise__set_speed_km_h": "35"}
    assert cost_of(simulation__tick_s="0.005", **meters, **slow) > costs.MOST_SECONDS
    assert cost_of(simulation__tick_s="0.005") > 1.8 * cost_of()
    assert cost_of(simulation__time_limit_s="100") < 0.1


def test_what_a_trip_takes_is_as_long_as_a_worker_takes():
    """The estimate must be no fairy tale: within a factor of four upward of what the march takes here, and not far below."""
    inputs = read_setup(Setup(road="kessarin-round", changes={"faults.watch": "true"}))
    drive_for_page(inputs, "")
    before = time.process_time()
    drive_for_page(inputs, "")
    taken = time.process_time() - before
    assert 0.3 * taken < trip_seconds(inputs) < 6.0 * taken


def own_drives(number):
    session, key = read_session(json.dumps(start(1, practice=3)[0]), "x")
    session["tests"] = [{"test": f"drive grade:{n / 10:g}%,25km"} for n in range(number)]
    return session, key


def test_a_forged_session_of_many_long_drives_is_not_marked():
    """Sixty drives, each made again with every cause: two such sessions stopped a class for minutes."""
    with pytest.raises(RunError, match=r"about .* s of a processor"):
        pool = Held()
        Workshop(pool).ask("marking", marked, *own_drives(60))
    assert pool.jobs == []
    assert expected_seconds(marked, own_drives(1)) < costs.MOST_SECONDS


def test_a_drive_that_could_not_be_marked_is_refused_when_it_is_asked_for():
    session, key = own_drives(1)
    with pytest.raises(
        RunError, match=r"would make the marking of this case take .* Drive a shorter road, or make other"
    ):
        expected_seconds(make_test, (session, key, "drive grade:2%,25km"))
    session["tests"] += [{"test": "codes"}] * 6
    assert expected_seconds(make_test, (session, key, "drive grade:2%,1km")) < 2.0
    assert expected_seconds(make_test, (session, key, "codes")) <= 0.5


def test_an_asker_may_have_so_many_questions_and_no_more():
    pool = Held()
    workshop = Workshop(pool)
    with asked_by(Asking("one")):
        for number in range(MOST_EACH):
            workshop.join("one", f"{number}", double, number)
        with pytest.raises(RunError, match="12 of your own questions are waiting already; leave them a moment"):
            workshop.join("one", "more", double, 99)
        workshop.join("one", "3", double, 3)  # one of those that wait
    with asked_by(Asking("other")):
        assert workshop.join("other", "more", double, 99) is None
        workshop.join("other", "5", double, 5)  # shared
    assert len(pool.jobs) == MOST_EACH + 1


def test_a_heavy_user_goes_to_the_patient_lanes_while_others_ask():
    pool, patient = Held(), Held()
    workshop = Workshop(pool)
    workshop.patient = patient
    workshop.turns.spent("heavy", 9.0)
    with asked_by(Asking("heavy")):
        workshop.join("w", "alone", double, 1)
        assert len(pool.jobs) == 1, "nobody else asks: nobody is hurt"
        workshop.turns.spent("student", 0.1)
        workshop.join("w", "beside others", double, 2)
        assert len(pool.jobs) == 1 and len(patient.jobs) == 1
    with asked_by(Asking("student")):
        workshop.join("s", "beside others", double, 2)
        assert len(pool.jobs) == 2, "whoever is no heavy user does not wait in the patient lanes"
    assert workshop.watchers("beside others") == 2
    pool.jobs[1].set_result(4)
    with asked_by(Asking("heavy")):
        assert workshop.join("w", "beside others", double, 2).value == 4


def test_a_class_on_a_slow_machine_is_no_class_of_heavy_users():
    turns = FairTurns(lambda: 0.0)
    for number in range(30):
        turns.spent(f"student {number}", 6.0)
    assert not any(turns.is_heavy(f"student {number}") for number in range(30))
    turns.spent("hostile", 19.0)
    assert turns.is_heavy("hostile") and not turns.is_heavy("student 1")


def test_the_longest_time_of_a_job_follows_from_what_it_should_take():
    assert terms_of("a", 0.1, False) == Terms("a", 0.1, 12.5)
    assert terms_of("a", 10.0, True).longest == 60.0
    assert terms_of("a", 30.0, True).longest == LONGEST_WAIT


def work(who, expected=0.1):
    return Work(double, (1,), Terms(who, expected))


def test_turns_go_to_who_has_used_least_lately():
    clock = [0.0]
    turns = FairTurns(lambda: clock[0])
    turns.spent("a", 3.0)
    turns.spent("b", 1.0)
    a, b, c = work("a"), work("b"), work("c")
    assert turns.choose([a, b, c], [], 2) is c
    assert turns.choose([a, b], [], 2) is b
    assert turns.choose([a, b], [work("b")], 2) is a, "who holds a lane comes after who holds none"
    assert turns.choose([b], [work("b")], 2) is b, "nobody else waits"
    clock[0] = 1.0
    ticking = FairTurns(itertools.count().__next__)
    ticking.spent("a", 9.0)
    mine = [work("a") for _ in range(3)]
    assert ticking.choose(mine, [], 2) is mine[0], "what one asks comes in order, though use fades while one looks"
    clock[0] = 300.0
    assert turns.used("a") < 0.001 and turns.choose([a, b], [], 2) is a, "what was long ago is forgotten"


def test_the_last_free_lane_is_not_for_long_jobs():
    turns = FairTurns()
    long, longer = work("a", 3.0), work("b", 20.0)
    assert turns.choose([long], [work("a", 3.0)], 2) is None, "one asker does not fill the patient lanes"
    assert turns.choose([long], [work("b", 3.0)], 2) is long
    assert turns.choose([longer], [work("c", 20.0)], 2) is None, "long jobs together leave a lane to the shorter ones"
    assert turns.choose([longer], [], 2) is longer and turns.choose([longer], [], 1) is longer


def test_a_job_that_waits_takes_the_turn_of_the_first_of_those_who_want_it(tmp_path):
    """A flood must not hold up a student who asks for one of its trips."""
    file, turns = tmp_path / "begun", FairTurns()
    with TripPool(1, turns=turns) as pool:
        pool.warm(load_this)
        turns.spent("hog", 5.0)
        jobs = [pool.submit(note, str(file), f"{n}", 0.3, terms=Terms("hog")) for n in range(4)]
        until(lambda: lines(file) == ["0"], 20)
        pool.lend(jobs[3], "student")
        for job in jobs:
            job.result(timeout=20)
        assert lines(file) == ["0", "3", "1", "2"]


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
    monkeypatch.setattr("dashboard.server.runs.FORGOTTEN", 0.0)
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
    monkeypatch.setattr("dashboard.server.runs.MOST_WAITING", 2)
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


def test_nobody_pushes_out_what_others_keep():
    store = Store(100, share=0.5)
    store.put("mine", bytes(10), "student")
    for number in range(50):
        store.put(f"{number}", bytes(15), "hog")
    assert store.get("mine") == bytes(10) and store.weight == 10 + 45
    for number in range(50):
        store.put(f"more {number}", bytes(15), f"one of {number % 5}")
    assert store.get("mine") == bytes(10) and store.weight <= 100
    store.put("huge", bytes(51), "hog")
    with pytest.raises(KeyError):
        store.get("huge")


def test_what_two_have_put_there_does_not_go_with_one_of_them():
    store = Store(100, share=0.5)
    store.put("road", bytes(20), "student")
    store.put("road", bytes(20), "hog")
    for number in range(50):
        store.put(f"{number}", bytes(15), "hog")
    assert store.get("road") == bytes(20)


def test_uploads_of_one_browser_leave_those_of_another():
    workshop = Workshop(AtOnce())
    with asked_by(Asking("student")):
        address = workshop.keep_road(load_route("skarrow-grade"))
    with asked_by(Asking("hog")):
        for number in range(8):
            workshop.uploads.put(f"{number}", bytes(MOST_UPLOAD_BYTES // 5))
    assert workshop.road(address).length > 1000.0
    assert workshop.uploads.weight < MOST_UPLOAD_BYTES // 4


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
