"""Every door there is, with whatever may stand before it: no answer is a fault of the server, and no path is ever followed."""

import json
import os
import sys
from concurrent.futures import Future
from pathlib import Path

import platformdirs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from serving import AtOnce, Visitor

import dashboard
import sim
from dashboard.app import create_app
from dashboard.hidden_fault.round import Round
from dashboard.server import guard
from dashboard.server.runs import Workshop
from sim.errors import RunError
from sim.hidden.session import start

KEY = b"a key of tests, which is no secret"
QUERY = "?truck=long-haul-manual&road=grade:-6%25,0.2km,1100m&settings=defaults"
SETUP = {"truck": "long-haul-manual", "road": "grade:-6%,0.2km,1100m", "settings": "defaults", "changes": {}}


class Idle:
    """A pool in which nothing is worked out: what stands before it is asked for here."""

    workers = 1

    def submit(self, function, *given, **more):
        future = Future()
        future.set_exception(RunError("nothing is worked out in this test"))
        return future

    def warm(self, also=None):
        pass

    def close(self):
        pass


@pytest.fixture(scope="module")
def noted():
    """What the server noted on its terminal: faults of its own."""
    found = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(guard, "note", found.append)
        patched.setattr("dashboard.app.guard.note", found.append)
        yield found


@pytest.fixture(scope="module")
def app(noted):
    workshop = Workshop(Idle())
    workshop.hosted = Round(KEY, "Diesel 2", "1", 1)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(guard, "A_SECOND", 1e9)
        return create_app(workshop)


def doors_of(app, method):
    """Addresses that an application answers, by method."""
    return sorted({route.path for route in app.server.routes if method in (getattr(route, "methods", None) or ())})


def test_the_doors_are_those_that_are_known():
    """Who adds a door adds it to the walks below by adding it here."""
    app = create_app(Workshop(Idle()))
    assert set(doors_of(app, "POST")) == {*BODIES, "/roads/upload", "/_dash-update-component"}
    assert set(doors_of(app, "GET")) == {
        "/", "/{path:path}", "/_dash-layout", "/_dash-dependencies", "/_dash-component-suites/{name:path}", "/assets/{name:path}",
        "/ready", "/fields.json", "/words.json", *FILES,
    }  # fmt: skip
    assert not [route.path for route in app.server.routes if "websocket" in type(route).__name__.lower()]


def practice():
    """A practice case as a browser keeps it."""
    return json.dumps(start(1, practice=7)[0])


BODIES = {
    "/trip/drive": {"setup": SETUP, "have": "x"},
    "/trip/foretell": {"setup": SETUP},
    "/dyno/run": {"setup": SETUP, "test": "governor", "have": "x"},
    "/knobs/turn": {"setup": SETUP, "actions": [[0, "engine_speed", 150.0], [500, "set_coast", 1]]},
    "/speedometer/look": {"setup": SETUP},
    "/speedometer/mile": {"setup": SETUP, "mystery": 7, "shown_mi_h": 60, "miles": 1, "entered": 28000.0},
    "/speedometer/mark": {"setup": SETUP, "mystery": 7, "shown_mi_h": 60, "miles": 1, "entries": {"seconds": 60}},
    "/speedometer/sheet": {"setup": SETUP, "mystery": 7, "shown_mi_h": 60, "miles": 1, "entries": {"seconds": "60"}},
    "/hidden-fault/begin": {"practice": 7, "level": 1},
    "/hidden-fault/test": {"session": practice(), "test": "drive climb"},
    "/hidden-fault/answer": {
        "session": practice(),
        "part": "key",
        "failure": "open",
        "because": [1],
        "explanation": "x",
    },
    "/hidden-fault/marking": {"session": practice()},
    "/hidden-fault/sheet": {"session": practice()},
    "/hidden-fault/sign-in": {"password": "x"},
    "/hidden-fault/sign-out": {},
    "/hidden-fault/word": {"student": "x"},
}
FILES = {
    "/trip/{name}": ["/trip/trace.csv", "/trip/report.html", "/trip/x"],
    "/dyno/{name}": ["/dyno/trace.csv", "/dyno/x"],
    "/speedometer/record.{kind}": ["/speedometer/record.csv", "/speedometer/record.x"],
    "/roads/file": ["/roads/file"],
    "/fuel-study/{key}/{name}": ["/fuel-study/x/results.csv"],
    "/hidden-fault/hosted": ["/hidden-fault/hosted"],
    "/hidden-fault/class.json": ["/hidden-fault/class.json"],
    "/hidden-fault/class.csv": ["/hidden-fault/class.csv"],
}
values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.sampled_from(["/etc/passwd", "grade:", "upload:x"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=10,
)
often = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def places_in(value, before=()):
    """Where in a body something stands that could be something else."""
    yield before
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from places_in(inner, (*before, name))


def with_value(body, place, value):
    """A body with something else in one place."""
    if not place:
        return value
    return {**body, place[0]: with_value(body[place[0]], place[1:], value)}


@pytest.mark.parametrize("path", BODIES)
@given(st.data())
@often
def test_no_body_is_a_fault_of_the_server(app, noted, path, data):
    place = data.draw(st.sampled_from(list(places_in(BODIES[path]))))
    body = with_value(BODIES[path], place, data.draw(values))
    if isinstance(body, dict) and data.draw(st.booleans()):
        body = {**body, data.draw(st.text()): data.draw(values)}
    noted.clear()
    answer = Visitor(app).post(path, content=json.dumps(body))
    assert answer.status_code in (200, 400, 403, 413), answer.text
    assert noted == []


@pytest.mark.parametrize("path", [path for paths in FILES.values() for path in paths])
@given(
    st.dictionaries(
        st.sampled_from(["truck", "road", "settings", "kind", "test", "predict", "cruise.set_speed_km_h", "x.y"])
        | st.text(),
        st.text(),
    )
)
@often
def test_no_query_is_a_fault_of_the_server(app, noted, path, query):
    noted.clear()
    assert Visitor(app).get(path, params=query).status_code in (200, 400, 403, 404, 414)
    assert noted == []


@pytest.mark.parametrize("path", ["/assets/", "/_dash-component-suites/", "/_dash-component-suites/dash/", "/"])
@given(st.text(min_size=1))
@often
def test_no_name_of_a_file_is_a_fault_of_the_server(app, noted, path, name):
    from urllib.parse import quote

    noted.clear()
    assert Visitor(app).get(path + quote(name, safe="")).status_code in (200, 304, 404, 414)
    assert noted == []


def calls_of(app):
    """A call of every callback, as a browser would send it."""
    for output, called in app.callback_map.items():
        names = output[2:-2].split("...") if output.startswith("..") else [output]
        outputs = [dict(zip(("id", "property"), name.split(".", 1), strict=True)) for name in names]
        yield {
            "output": output,
            "outputs": outputs if output.startswith("..") else outputs[0],
            "inputs": [{**each, "value": None} for each in called["inputs"]],
            "state": [{**each, "value": None} for each in called["state"]],
            "changedPropIds": [f"{each['id']}.{each['property']}" for each in called["inputs"][:1]],
        }


@given(st.data())
@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_no_call_of_a_callback_is_a_fault_of_the_server(app, noted, data):
    body = data.draw(st.sampled_from(list(calls_of(app))))
    for each in (*body["inputs"], *body["state"]):
        each["value"] = data.draw(values | st.just(SETUP) | st.just("metric") | st.just(["ulmary-plain"]))
    if data.draw(st.integers(0, 3)) == 0:
        body = with_value(body, (data.draw(st.sampled_from(list(body))),), data.draw(values))
    noted.clear()
    answer = Visitor(app).post("/_dash-update-component", content=json.dumps(body))
    assert answer.status_code in (200, 204, 400), answer.text
    assert noted == []


@given(st.binary(max_size=200))
@often
def test_no_recording_is_a_fault_of_the_server(noted, content):
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(guard, "A_SECOND", 1e9)
        app = uploading()
    noted.clear()
    answer = Visitor(app).post("/roads/upload?name=a.csv", content=content)
    assert answer.status_code in (200, 400) and noted == []


APPS = []


def uploading():
    """An application that reads recordings where it stands."""
    if not APPS:
        APPS.append(create_app(Workshop(AtOnce())))
    return APPS[0]


# ---------------------------------------------------------------- no path

OPENED: list[str] = []
WATCHING = [False]


def watch(event, arguments):
    """Notes every file that is opened while it is watched."""
    if WATCHING[0] and event == "open" and isinstance(arguments[0], str | bytes | os.PathLike):
        OPENED.append(os.fsdecode(arguments[0]))


sys.addaudithook(watch)
OURS = [Path(each.__file__).resolve().parent for each in (sim, dashboard)]
OURS += [
    OURS[0].parent / "routes",
    Path(sys.prefix).resolve(),
    Path(sys.base_prefix).resolve(),
    Path("/proc"),
    Path("/dev/null"),
]


def test_no_loader_that_a_door_reaches_opens_what_it_was_sent(tmp_path):
    """Each text of each body in turn, each value of each callback, each query: a path that is there, and must not be read."""
    ours = [*OURS, Path(platformdirs.user_cache_dir("haulbench")).resolve()]
    secret = tmp_path / "secret.toml"
    secret.write_text('title = "opensesame"\n')
    paths = [str(secret), f"../../../../../../{secret}", "/etc/passwd", "routes/skarrow-grade.csv", secret.as_uri()]
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(guard, "A_SECOND", 1e9)
        workshop = Workshop(AtOnce())
        workshop.hosted = Round(KEY, "Diesel 2", "1", 1)
        app = create_app(workshop)
    client, asked = Visitor(app), 0
    client.post("/trip/drive", json={"setup": SETUP})  # loads what is loaded late
    client.get("/trip/report.html" + QUERY)

    def opened_by(ask, *given, **more):
        OPENED.clear()
        WATCHING[0] = True
        try:
            answer = ask(*given, **more)
        finally:
            WATCHING[0] = False
        strange = [each for each in OPENED if not any(Path(each).resolve().is_relative_to(place) for place in ours)]
        assert strange == [], answer.text[:500]
        assert "opensesame" not in answer.text and "root:x:0" not in answer.text
        return 1

    for path in paths:
        for door, body in BODIES.items():
            for place in places_in(body):
                given = [path]
                if place[-1:] == ("changes",):
                    given = [{"tyres.rolling_radius_m": path}, {path: "1"}]
                if place == ("test",):
                    given += [f"drive {path}", f"drive climb weather.temperature_c={path}", f"meter {path}"]
                for value in given:
                    sent = with_value(body, place, value)
                    asked += opened_by(client.post, door, content=json.dumps(sent))
        for body in calls_of(app):
            for given in (*body["inputs"], *body["state"]):
                for value in (
                    path,
                    {**SETUP, "road": path},
                    {**SETUP, "truck": path},
                    {**SETUP, "settings": path},
                    [path],
                ):
                    kept, given["value"] = given["value"], value
                    asked += opened_by(client.post, "/_dash-update-component", content=json.dumps(body))
                    given["value"] = kept
        for name in ("truck", "road", "settings", "name", "kind", "test", "predict"):
            for door in [each for paths_of in FILES.values() for each in paths_of]:
                asked += opened_by(client.get, door, params={name: path})
        asked += opened_by(
            client.post, "/roads/upload", params={"name": path}, content=b"distance_m,elevation_m\n0,1\n"
        )
    assert asked > 900
