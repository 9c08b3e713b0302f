"""Studies on the server: what may be asked, shared by all who ask the same, stopped when nobody watches, kept within bounds."""

import json
import time
from dataclasses import replace

import pytest
from serving import Held

from dashboard.fuel_study import desk as study_desk
from dashboard.fuel_study.desk import Studies, key_of_study
from dashboard.fuel_study.form import NOT_HERE, OWN, READY, plan_of
from dashboard.fuel_study.page import form_from, known_keys, layout, link_of, results, state_of
from dashboard.panel.big_table import big_table
from dashboard.server.asking import Asking, asked_by
from dashboard.server.costs import study_seconds
from dashboard.server.runs import Workshop
from dashboard.server.setups import Setup, read_setup
from dashboard.sources.page import shown
from dashboard.trip.work import drive_for_page, load_pages
from sim import run_checks
from sim.errors import HaulbenchError, StudyError
from sim.roads.route import load_route
from sim.studies.plan import make_plan, plan_from, record_of
from sim.studies.question import study_from
from sim.studies.result import StudyResult
from sim.trips.pool import Here, TripPool

HILL = "grade:-3%,0.6km,500m"


class Slow(Here):
    """One job after the other in this process, each a little later."""

    def submit(self, function, *given, **terms):
        time.sleep(0.01)
        return super().submit(function, *given, **terms)

    def warm(self, also=None):
        pass


def plan(trips, title="t"):
    tables = {"form": 1, "title": title, "truck": "long-haul-manual", "road": HILL}
    vary = {"weather.wind_m_s": {"from": -4, "to": 4, "steps": trips}}
    return make_plan(study_from({**tables, "set": ["start.speed_km_h=40"], "vary": vary}, "t", "t"))


@pytest.fixture
def desk():
    made = Studies(Workshop(Slow()))
    yield made
    for running in list(made._studies.values()):
        running.watchers.clear()
        running.stop.set()
    for key in list(made._studies):
        wait(made, "", key)


def wait(desk, watcher, key, until=lambda running: running.over):
    deadline = time.perf_counter() + 60.0
    while time.perf_counter() < deadline:
        running = desk.look(watcher, key)
        if until(running):
            return running
        time.sleep(0.02)
    raise AssertionError("the study does not end")


def test_two_who_ask_the_same_share_one_study(desk):
    one, other = desk.join("one", plan(30)), desk.join("other", plan(30))
    assert one == other == key_of_study(plan(30)) != key_of_study(plan(30, "another title"))
    assert desk.leave("one", one) == 1
    finished = wait(desk, "other", other)
    assert finished.result.complete and finished.result.trips == 30, "the cancel of one does not stop the other"
    assert "All trips are driven." in str(state_of(finished))


def test_a_study_that_nobody_watches_stops_and_keeps_what_is_done(desk):
    key = desk.join("one", plan(200))
    wait(desk, "one", key, lambda running: running.progress and running.progress.done >= 3)
    assert desk.leave("one", key) == 0
    stopped = wait(desk, "one", key)
    assert 3 <= stopped.result.trips < 200 and not stopped.result.complete
    assert f"Stopped: {stopped.result.trips} of 200 trips" in str(state_of(stopped))
    assert "Partial" in str(results(stopped, key, "metric"))
    again = wait(desk, "two", desk.join("two", plan(200)))
    assert again.result.complete and again.result.trips == 200


def test_a_browser_that_is_closed_is_forgotten(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "FORGOTTEN", 0.05)
    key = desk.join("gone", plan(400))
    deadline = time.perf_counter() + 30.0
    while not desk.look("", key).over and time.perf_counter() < deadline:
        time.sleep(0.02)
    assert desk.look("", key).over and desk.look("", key).result.trips < 400


def test_large_studies_are_refused(desk):
    with pytest.raises(
        StudyError, match=r"601 trips over .* 600 trips and 30000 km at most. Download it and use haulbench"
    ):
        desk.join("one", plan(601))


def test_old_studies_are_let_go(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 2)
    keys = []
    for trips in (2, 3, 4, 5):
        keys.append(desk.join("one", plan(trips)))
        wait(desk, "one", keys[-1])
    assert desk.look("one", keys[0]) is None and desk.look("one", keys[3]) is not None


def ask(desk, who, asked):
    """One address asks for a study under a watcher of the same name."""
    with asked_by(Asking(who)):
        return desk.join(who, asked)


def finish(desk, who, asked):
    key = ask(desk, who, asked)
    wait(desk, who, key)
    return key


def kept(desk, keys):
    return [key in desk._studies for key in keys]


def test_whoever_drives_many_studies_pushes_out_only_his_own(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 12)
    seen = finish(desk, "quiet", plan(3))
    many = [finish(desk, "busy", plan(2, f"study {number}")) for number in range(15)]
    assert desk.look("quiet", seen).result.complete
    assert sum(kept(desk, many)) == study_desk.MOST_KEPT - 1 and kept(desk, many[-1:]) == [True]


def test_what_nobody_watches_is_dropped_before_what_somebody_watches(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 4)  # a share is one study
    keys = {who: finish(desk, who, plan(2, who)) for who in "abcdef"}
    assert all(kept(desk, keys.values())), "everybody has one and looks at it"
    folder = desk.look("", keys["c"]).folder
    desk.leave("c", keys["c"]), desk.leave("e", keys["e"])
    keys["g"] = finish(desk, "g", plan(2, "g"))
    assert kept(desk, [keys[who] for who in "abcdefg"]) == [True, True, False, True, False, True, True]
    assert not folder.exists()
    second = finish(desk, "a", plan(2, "a again"))
    assert kept(desk, [keys["a"], second]) == [False, True], "more than a share is dropped although it is watched"
    monkeypatch.setattr(study_desk, "MOST_WATCHED", 5)
    finish(desk, "h", plan(2, "h"))
    assert len(desk._studies) == 5, "there is an end to what is watched"


def test_of_more_than_a_share_what_is_not_watched_is_dropped_first(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 4)
    watched, left, last = (finish(desk, "busy", plan(2, title)) for title in ("watched", "left", "last"))
    desk.leave("busy", left)
    others = [finish(desk, who, plan(2, who)) for who in "ab"]
    assert kept(desk, [watched, left, last, *others]) == [True, False, True, True, True]


def test_a_study_that_two_have_asked_for_is_on_nobodys_account(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 4)
    shared = finish(desk, "busy", plan(3))
    assert ask(desk, "other", plan(3)) == shared
    own = [finish(desk, "busy", plan(2, f"study {number}")) for number in range(5)]
    assert kept(desk, [shared, *own]) == [True, False, False, True, True, True]


def test_who_keeps_more_than_a_share_gives_way_to_what_several_have_asked_for(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_KEPT", 4)
    shared = [finish(desk, "one", plan(2, "first"))]
    for title in ("first", "second", "third"):
        shared.append(ask(desk, "other", plan(2, title)))
        wait(desk, "other", shared[-1])
        assert ask(desk, "one", plan(2, title)) == shared[-1]
        desk.leave("one", shared[-1]), desk.leave("other", shared[-1])
    own = [finish(desk, "busy", plan(2, title)) for title in ("own", "more")]
    assert kept(desk, [*shared[1:], *own]) == [True, True, True, False, True]


def test_studies_of_others_wait_by_turns_and_say_so(desk):
    first, second = ask(desk, "a", plan(300)), ask(desk, "b", plan(301))
    third, fourth = ask(desk, "c", plan(5)), ask(desk, "d", plan(6))
    assert "Waiting: 2 studies before this one" in str(state_of(desk.look("c", third)))
    assert "Waiting: 3 studies before this one" in str(state_of(desk.look("d", fourth)))
    assert "Waiting" not in str(state_of(desk.look("a", first))) + str(state_of(desk.look("b", second)))
    with asked_by(Asking("c")), pytest.raises(StudyError, match="a study of yours waits for its turn already; stop it"):
        desk.join("another window", plan(7))
    desk.leave("a", first)
    assert wait(desk, "c", third).result.complete and wait(desk, "d", fourth).result.complete
    assert not desk.look("b", second).over, "they took the turn of the one that was stopped"


def test_one_place_is_one_study_before(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_RUNNING", 1)
    first, key = ask(desk, "a", plan(300)), ask(desk, "b", plan(200))
    assert "Waiting: 1 study before this one" in str(state_of(desk.look("b", key)))
    desk.leave("a", first)
    begun = wait(desk, "b", key, lambda running: running.progress)
    assert "of 200 trips" in str(state_of(begun)) and "Waiting" not in str(state_of(begun))


def test_a_waiting_study_that_nobody_watches_is_never_driven(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_RUNNING", 1)
    first = ask(desk, "a", plan(300))
    left, behind = ask(desk, "b", plan(5)), ask(desk, "c", plan(6))
    assert desk.leave("b", left) == 0
    stopped = desk.look("b", left)
    assert stopped.over and "Stopped: 0 of 5 trips" in str(state_of(stopped)) and not results(stopped, left, "metric")
    assert "Waiting: 1 study before this one" in str(state_of(desk.look("c", behind)))
    assert ask(desk, "b", plan(5)) == left
    assert "Waiting: 2 studies before this one" in str(state_of(desk.look("b", left))), "whoever comes again comes last"
    desk.leave("a", first)
    assert wait(desk, "b", left).result.complete and desk.look("c", behind).over


def test_a_browser_that_is_closed_while_its_study_waits_is_forgotten(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_RUNNING", 1)
    first, closed = ask(desk, "a", plan(300)), ask(desk, "b", plan(5))
    desk.look("", closed).watchers["b"] = 0.0  # last seen long ago
    wait(desk, "a", closed)
    assert not desk.look("a", first).over and not (desk.look("", closed).folder / "study").exists()


def test_a_study_that_waits_to_go_on_keeps_what_is_finished(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_RUNNING", 1)
    key = ask(desk, "a", plan(200))
    wait(desk, "a", key, lambda running: running.progress and running.progress.done >= 3)
    desk.leave("a", key)
    finished = wait(desk, "a", key).result.trips
    other = ask(desk, "b", plan(300))
    assert "Waiting: 1 study before this one" in str(state_of(desk.look("a", ask(desk, "a", plan(200)))))
    desk.leave("a", key)
    assert f"Stopped: {finished} of 200 trips" in str(state_of(desk.look("a", key)))
    assert not desk.look("b", other).over


def test_not_more_than_so_many_studies_wait(desk, monkeypatch):
    monkeypatch.setattr(study_desk, "MOST_WAITING", 2)
    first, *_ = [ask(desk, who, plan(300, who)) for who in "abcd"]
    with pytest.raises(StudyError, match="2 studies are waiting already; leave them a moment and try again"):
        ask(desk, "e", plan(302))
    assert ask(desk, "e", plan(300, "a")) == first, "what is under way may be watched all the same"


def test_a_study_goes_to_the_patient_lanes_on_the_account_of_who_asked():
    pool, patient = Held(), Held()
    workshop = Workshop(pool)
    workshop.patient = patient
    desk = Studies(workshop)
    with asked_by(Asking("one")):
        key = desk.join("w", plan(30))
    deadline = time.perf_counter() + 20.0
    while not patient.jobs and time.perf_counter() < deadline:
        time.sleep(0.01)
    assert not pool.jobs and 0 < len(patient.jobs) <= 4, "few wait at a time"
    assert patient.terms[0].who == "one" and 0.0 < patient.terms[0].expected < 1.0 < patient.terms[0].longest
    desk.leave("w", key)
    wait(desk, "w", key)
    assert all(job.cancelled() for job in patient.jobs)


def test_a_trip_somebody_asks_for_does_not_wait_for_a_study(tmp_path):
    """With one core a study of long trips under way leaves the quick lane to others."""
    workshop = Workshop(workers=1)
    desk = Studies(workshop)
    workshop.pool.warm(load_pages)
    inputs = read_setup(Setup(road=HILL))
    try:
        with asked_by(Asking("one")):
            key = desk.join("w", plan(200))
        wait(desk, "w", key, lambda running: running.progress and running.progress.done >= 3)
        with asked_by(Asking("two")):
            assert workshop.ask("trip", drive_for_page, inputs, "")
        assert not desk.look("w", key).over
    finally:
        desk.leave("w", key)
        workshop.close()


def test_nobody_has_two_studies_under_way(desk):
    with asked_by(Asking("one")):
        first = desk.join("w", plan(300))
        with pytest.raises(StudyError, match="a study of yours is under way already; stop it, or leave it"):
            desk.join("w", plan(301))
        assert desk.join("another window", plan(300)) == first
    with asked_by(Asking("two")):
        desk.join("v", plan(302))
    desk.leave("w", first), desk.leave("another window", first)
    wait(desk, "w", first)
    with asked_by(Asking("one")):
        desk.join("w", plan(3))


def test_a_study_that_would_take_too_long_is_refused(desk):
    tables = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "kessarin-round"}
    tables |= {"vary": {"weather.wind_m_s": {"from": -4, "to": 4, "steps": 200}}}
    sound = make_plan(study_from(tables, "t", "t"))
    assert study_seconds(sound) < 60.0
    meters = ['circuits.meters=["all"]', "circuits.meter_s=0.05"]
    with pytest.raises(
        StudyError, match=r"would take about \d+ s of a processor; on the server a study may take 450 s"
    ):
        desk.join("one", make_plan(study_from({**tables, "set": meters}, "t", "t")))


def test_the_largest_study_that_was_promised_may_be_asked_with_failures():
    vary = {"weather.wind_m_s": {"from": -4, "to": 4, "steps": 300}}
    tables = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "kessarin-round", "vary": vary}
    largest = make_plan(study_from({**tables, "set": ["faults.watch=true"]}, "t", "t"))
    assert largest.kilometres() > 0.97 * study_desk.MOST_KILOMETRES
    assert study_seconds(largest) < study_desk.MOST_SECONDS


@pytest.mark.parametrize("name", READY)
def test_shipped_studies_are_within_bounds(name):
    assert study_seconds(plan_of({"ready": name})) < study_desk.MOST_SECONDS


def test_a_closed_pool_ends_a_study_in_words():
    pool = TripPool(1)
    pool.close()
    desk = Studies(Workshop(pool))
    assert "pool of worker processes is closed" in str(wait(desk, "one", desk.join("one", plan(3))).problem)


def test_whoever_asks_while_a_study_is_stopping_gets_all_of_it(desk):
    """The cancel of one must not stop another, not even in the moment in which trips under way are finished."""
    key = desk.join("one", plan(60))
    wait(desk, "one", key, lambda running: running.progress and running.progress.done >= 2)
    desk.leave("one", key)
    assert desk.join("two", plan(60)) == key
    finished = wait(desk, "two", key)
    assert finished.complete and finished.result.trips == 60


def test_a_study_stopped_among_its_last_trips_is_not_called_complete(desk):
    found = plan(6)
    running = study_desk.Running(found, desk._new_folder(), "one")
    running.result = StudyResult(found, running.folder, complete=True, trips=4, model_version="")
    running.over = True
    assert not running.complete and "Stopped: 4 of 6 trips" in str(state_of(running))


def test_main_effects_and_refused_combinations_are_named(desk):
    vary = {"driveline.axle_ratio": ["3.36", "30"], "vehicle.mass_kg": ["20000", "30000"]}
    tables = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "grade:0%,0.6km"}
    tables |= {"vary": vary, "report": ["fuel_l_per_100km", "time_s"]}
    key = desk.join("one", make_plan(study_from(tables, "t", "t")))
    said = {units: str(results(wait(desk, "one", key), key, units)) for units in ("metric", "us")}
    assert "2 trips could not be driven" in said["metric"]
    assert "axle ratio 30, vehicle mass 20000 kg" in said["metric"] and "allowed is 1.5 to 8" in said["metric"]
    assert "axle ratio 30, vehicle mass 44092 lb" in said["us"]  # 20,000 kg over 0.45359237 kg a pound
    values = desk.look("one", key).result.column("fuel_l_per_100km")
    light, heavy = values[0], values[1]
    assert f"{light - (light + heavy) / 2:.2f} L/100 km" in said["metric"]
    assert f"+{heavy - (light + heavy) / 2:.2f} L/100 km" in said["metric"]


FORM = {"ready": OWN, "roads": [HILL], "trucks": ["long-haul-manual"], "keys": ["drill.hold_gear"], "values": ["7, 8"]}


def test_a_form_is_a_study():
    found = plan_of(FORM)
    assert found.total == 2 and found.study.vary == {"drill.hold_gear": ("7", "8")}
    assert plan_of({"ready": "load"}).total == 18
    for ready in READY:
        assert plan_of({"ready": ready}).total <= study_desk.MOST_TRIPS


def test_a_link_reopens_the_form():
    form = {**FORM, "roads": ["ollen-pass", "wendle-hills"]}
    again = form_from({"?": link_of(form).partition("?")[2]})
    assert plan_of(again).study == plan_of(form).study
    assert form_from({"?": "study=load"})["ready"] == "load"
    long = "study=own&" + "&".join(f"road={number}" for number in range(80))
    with pytest.raises(StudyError, match="it may have 60 at most"):
        form_from({"?": long})
    assert "it may have 60 at most. The usual question is shown" in str(layout({"?": long}))


def test_the_road_speed_limit_can_be_varied():
    """Its table begins like a word of its own, and is none."""
    assert plan_of({**FORM, "keys": ["road_speed.limit_km_h"], "values": ["80, 90"]}).total == 2


def test_an_uploaded_road_is_studied_beside_others():
    workshop = Workshop(Slow())
    route = replace(load_route("grade:1%,2km"), name="../own", title="Our <b>hill</b>")
    address = workshop.keep_road(route)
    form = {**FORM, "roads": ["ulmary-plain", address], "keys": [], "values": []}
    plan = plan_of(form, workshop)
    name = f"Our <b>hill</b>, uploaded {address.removeprefix('upload:')[:6]}"
    assert list(plan.roads) == ["ulmary-plain", name] and plan.roads[name] is route
    assert plan_from(json.loads(json.dumps(record_of(plan)))).roads[name].length == route.length
    with pytest.raises(HaulbenchError, match="no longer kept"):
        plan_of({**form, "roads": ["upload:" + "0" * 32]}, workshop)


def test_every_key_that_is_offered_may_be_asked():
    assert not [key for key in known_keys() if key.partition(".")[0] in NOT_HERE]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"roads": []}, "no road is chosen; use at least one road"),
        ({"trucks": []}, "no truck is chosen"),
        ({"roads": ["/etc/passwd"]}, '"/etc/passwd" is not known here; use one of the roads'),
        ({"roads": ["upload:1"]}, '"upload:1" is not known here; use one of the roads'),
        ({"roads": "all"}, "roads: give one line of text"),
        ({"roads": [3]}, "roads: give a text of 300 letters"),
        ({"trucks": ["../truck.toml"]}, "is not known here; use one of the trucks"),
        ({"keys": ["simulation.tick_s"], "values": ["0.001"]}, "simulation.tick_s cannot be varied here"),
        ({"keys": ["settings"], "values": ["a,b"]}, "settings cannot be varied here"),
        ({"keys": ["drill.hold_gaer"]}, "Did you mean drill.hold_gear"),
        ({"keys": ["drill.hold_gear"], "values": [""]}, "drill.hold_gear"),
        ({"keys": ["weather.grip"], "values": ["9"]}, "allowed is 0.02 to 1.2"),
        ({"keys": ["x" * 400]}, "keys: give a text of 300 letters"),
        ({"ready": "nothing"}, '"nothing" is not known here; use one of the studies'),
        ({"keys": ["drill.hold_gear"] * 2, "values": ["7", "8"]}, "names drill.hold_gear twice"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(changes, message):
    with pytest.raises(HaulbenchError) as told:
        plan_of({**FORM, **changes})
    assert message in str(told.value)


def test_a_large_table_is_one_component():
    table = big_table(["a"], [[("1 km", "1", "number")], [("2 km", "2", "")]], "distances")
    assert getattr(table, "data-table") == '{"heads": ["a"], "rows": [[["1 km", "1", "number"]], [["2 km", "2", ""]]]}'
    assert getattr(table, "aria-label") == "distances"


def test_checks_are_found_by_words_and_verdict():
    checks = run_checks()
    count, table = shown(checks, "droop", "pass")
    wanted = [each for each in checks if "droop" in f"{each.topic} {each.source} {each.inputs}".lower()]
    assert f"{len(wanted)} shown" in count.children and len(wanted) > 0
    assert f'"{wanted[0].id}"' in getattr(table, "data-table")
    assert "No row has these words" in str(shown(checks, "no such words", "all"))
    assert shown(checks, "", "fail")[0].children.startswith(f"{len(checks)} of {len(checks)} checks pass; 0 shown")
