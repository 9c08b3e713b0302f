"""The server against somebody on the same network: names, origins, sizes, forged bodies, paths. It refuses and lives on."""

import base64
import gzip
import hashlib
import json
import re
import threading
import time

import pytest
from serving import AtOnce, Held, Visitor

from dashboard.app import create_app
from dashboard.server import guard
from dashboard.server.runs import Workshop
from sim.wording import said

SHORT = {"truck": "long-haul-manual", "road": "grade:-6%,0.4km,1100m", "settings": "defaults", "changes": {}}


@pytest.fixture(scope="module")
def pool():
    return AtOnce()


@pytest.fixture(scope="module")
def app(pool):
    return create_app(Workshop(pool))


@pytest.fixture
def client(app):
    return Visitor(app)


def drive(client, setup, **more):
    return client.post("/trip/drive", json={"setup": setup, **more})


def alive(client):
    """The server still answers, with a trip."""
    answer = drive(client, SHORT)
    return answer.status_code == 200 and answer.headers.get("Content-Encoding") == "gzip"


# ---------------------------------------------------------------- who asks


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8642", "localhost.evil.example", "127.0.0.1.evil.example", "192.0.2.9"]
)
def test_a_name_that_is_not_this_server_is_refused(client, host):
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 403
    assert "does not go by that name" in answer.json()["message"]


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8642", "[::1]:8642", "LOCALHOST:1"])
def test_its_own_names_are_taken(client, host):
    assert client.get("/ready", headers={"Host": host}).status_code == 200


def test_a_shared_server_takes_addresses_in_numbers_but_no_foreign_name():
    client = Visitor(create_app(Workshop(AtOnce()), "0.0.0.0"))
    assert client.get("/ready", headers={"Host": "192.0.2.9:8642"}).status_code == 200
    assert client.get("/ready", headers={"Host": "evil.example"}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost.evil.example"},
        {"Origin": "http://localhost:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors"},
    ],
)
def test_a_page_of_another_server_cannot_ask(client, headers):
    answer = client.post("/trip/drive", json={"setup": SHORT}, headers=headers)
    assert answer.status_code == 403
    assert "another server" in answer.json()["message"]


def test_a_link_from_elsewhere_may_be_followed_but_not_fetched(client):
    elsewhere = {"Sec-Fetch-Site": "cross-site"}
    assert client.get("/", headers={**elsewhere, "Sec-Fetch-Mode": "navigate"}).status_code == 200
    assert client.get("/trip/report.html", headers={**elsewhere, "Sec-Fetch-Mode": "no-cors"}).status_code == 403


def test_one_machine_cannot_take_all_places(monkeypatch):
    pool = Held()
    app = create_app(Workshop(pool), "0.0.0.0")
    setups = [{**SHORT, "changes": {"weather.wind_m_s": str(number)}} for number in range(guard.MOST_AT_ONCE)]
    answers = []

    def ask(setup, address):
        answers.append(Visitor(app, address).post("/trip/drive", json={"setup": setup}).status_code)

    waiting = [threading.Thread(target=ask, args=(setup, "192.0.2.7")) for setup in setups]
    for each in waiting:
        each.start()
    end = time.monotonic() + 10
    while len(pool.jobs) < guard.MOST_AT_ONCE and time.monotonic() < end:
        time.sleep(0.01)
    more = Visitor(app, "192.0.2.7").get("/ready")
    assert more.status_code == 429 and str(guard.MOST_AT_ONCE) in more.json()["message"]
    for address in ("192.0.2.8", "127.0.0.1"):
        assert Visitor(app, address).get("/ready").status_code == 200
    for job in pool.jobs:
        job.set_result(gzip.compress(b"done"))
    for each in waiting:
        each.join(10)
    assert answers == [200] * guard.MOST_AT_ONCE
    assert Visitor(app, "192.0.2.7").get("/ready").status_code == 200


# ---------------------------------------------------------------- what it says of itself


def test_only_own_scripts_may_run_and_the_hashes_are_those_of_the_page(client):
    answer = client.get("/")
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
    assert "unsafe-inline" not in policy["script-src"] and "unsafe-eval" not in policy["script-src"]
    assert policy["connect-src"] == "'self'" and policy["default-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'" and policy["object-src"] == "'none'"
    page = answer.text
    inline = re.findall(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)[^>]*>(.*?)</script>", page, re.DOTALL)
    assert inline
    for script in inline:
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy["script-src"]


def test_nothing_on_the_page_names_an_address_outside(client):
    page = client.get("/").text
    assert re.findall(r"""(?:src|href)=["'](?:https?:)?//""", page) == []


def test_headers_are_on_every_answer_also_on_refusals(client):
    for answer in (
        client.get("/"),
        client.get("/nowhere/at/all.php"),
        client.get("/", headers={"Host": "evil.example"}),
    ):
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "Content-Security-Policy" in answer.headers


# ---------------------------------------------------------------- sizes


def test_a_body_that_is_too_large_is_refused_before_it_is_read(client):
    for path in ("/trip/drive", "/_dash-update-component", "/nowhere"):
        answer = client.post(path, content=b"x" * (guard.MOST_BODY + 1))
        assert answer.status_code == 413, path
        assert str(guard.MOST_BODY) in answer.json()["message"]
    assert alive(client)


def test_an_address_that_is_too_long_is_refused(client):
    answer = client.get("/?cruise.presses=" + "a" * 40_000)
    assert answer.status_code == 414


# ---------------------------------------------------------------- forged bodies

FORGED = [
    None, 7, "text", [], [[]], True, {}, {"setup": None, "more": 1}, {"setup": []}, {"setup": "x"}, {"setup": {"truck": 5}},
    {"setup": {"truck": ["long-haul-manual"]}}, {"setup": {"changes": []}}, {"setup": {"changes": {"vehicle.mass_kg": 30000}}},
    {"setup": {"changes": {"vehicle.mass_kg": None}}}, {"setup": {"changes": {"x" * 99: "1"}}}, {"setup": {"path": "x"}},
    {"setup": {"changes": {"vehicle.mass_kg": "1" * 30_000}}}, {"setup": {"changes": {f"a.{n}": "1" for n in range(400)}}},
    {"setup": {"changes": {"vehicle.mass_kg": "1\n2"}}}, {"setup": {"road": "a\0b"}},
]  # fmt: skip


@pytest.mark.parametrize("forged", FORGED, ids=[json.dumps(each)[:40] for each in FORGED])
def test_a_forged_body_is_refused_in_one_message(client, forged):
    for path in ("/trip/drive", "/trip/foretell"):
        answer = client.post(path, content=json.dumps(forged))
        assert answer.status_code == 400, answer.text
        message = answer.json()["message"]
        assert 10 < len(message) < 300 and "Traceback" not in message and ".py" not in message


VALUES = {
    "vehicle.mass_kg": [
        "NaN",
        "nan",
        "inf",
        "-inf",
        "1e309",
        "-1",
        "1e9",
        "true",
        "[1]",
        "",
        "30000 furlongs",
        "<b>",
        "0x10",
        "٣",
    ],
    "cruise.presses": ['["x"]', "[", '[["a"]]', "[" * 3000, "true", "4"],
    "simulation.tick_s": ["0.0000001", "0.001", "0"],
    "simulation.time_limit_s": ["1e6"],
    "simulation.log_s": ["0.01"],
    "drill.hold_gear": ["99", "-1", "2.5", "18"],
    "gearbox.ratios": ["[]", "[1, 2]", '["a"]', "[1e400]"],
    "engine.full_load_rpm": ["[1, 2, 3]", "3"],
    "no.such": ["1"],
    "start": ["1"],
    "vehicle.__class__": ["1"],
}


@pytest.mark.parametrize(("key", "value"), [(key, value) for key, values in VALUES.items() for value in values])
def test_a_bad_value_gives_one_clear_message_and_no_trip(client, pool, key, value):
    before = len(pool.done)
    answer = drive(client, {**SHORT, "changes": {key: value}})
    assert answer.json() is not None, "a trip was driven"
    message = answer.json()["message"]
    assert len(message) > 15 and "Traceback" not in message and "--set" not in message
    assert len(pool.done) == before


@pytest.mark.parametrize(
    ("word", "name"),
    [
        (word, name)
        for word in ("truck", "road", "settings")
        for name in (
            "/etc/passwd", "../../pyproject.toml", "sim/catalogue/long-haul-manual.toml", "C:\\boot.ini",
            "routes/skarrow-grade.csv", "file:///etc/hosts", "long-haul-manual.toml", "skarrow-grade.csv", "mountain-careless.toml",
            "upload:../../x", "upload:" + "0" * 32, "grade:", "grade:-99%,1km,0m", "grade:-6%,9999km,0m",
            "<script>alert(1)</script>", "%2e%2e%2f",
        )
    ],
)  # fmt: skip
def test_no_path_is_ever_opened(client, pool, word, name, monkeypatch):
    opened = []
    monkeypatch.setattr("pathlib.Path.read_bytes", lambda path: opened.append(str(path)) or b"")
    before = len(pool.done)
    answer = drive(client, {**SHORT, word: name})
    assert answer.json() is not None and answer.json()["message"]
    assert len(pool.done) == before
    assert [path for path in opened if "catalogue" not in path and "routes" not in path] == []


CALLBACKS = [
    b"", b"{}", b"[]", b"null", b"{", b'{"a": NaN}', b'{"output": 1}', b'{"output": "page.children"}',
    b'{"output": "page.children", "inputs": 5, "changedPropIds": []}',
    b'{"output": "nothing.here", "outputs": {"id": "nothing", "property": "here"}, "inputs": [], "changedPropIds": []}',
    b'{"output": "page.children", "outputs": {"id": "page", "property": "children"}, "inputs": [], "changedPropIds": []}',
    b'{"output": "__import__(\'os\')", "outputs": [], "inputs": [], "changedPropIds": []}',
    b"\xff\xfe\x00", b"[" * 50_000,
]  # fmt: skip


@pytest.mark.parametrize("body", CALLBACKS, ids=range(len(CALLBACKS)))
def test_a_forged_callback_is_refused_without_a_traceback(client, body, capfd):
    answer = client.post("/_dash-update-component", content=body)
    assert answer.status_code == 400
    text = answer.text
    assert "Traceback" not in text and ".py" not in text and answer.json()["message"]
    assert capfd.readouterr().err.count("\n") <= 1
    assert alive(client)


def test_a_forged_page_address_is_a_page_that_says_so(client):
    body = {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "inputs": [{"id": "place", "property": "pathname", "value": "/../../etc/passwd"}],
        "state": [{"id": "place", "property": "search", "value": "?truck=/etc/passwd"}],
        "changedPropIds": ["place.pathname"],
    }
    answer = client.post("/_dash-update-component", json=body)
    assert answer.status_code == 200
    assert "There is no such page" in answer.text


@pytest.mark.parametrize(
    "search", ["?truck=a&truck=b", "?" + "&".join(f"a.{n}=1" for n in range(300)), "?vehicle.mass_kg=" + "9" * 25_000]
)
def test_a_link_that_cannot_be_read_shows_the_usual_trip_and_says_why(client, search):
    body = {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "inputs": [{"id": "place", "property": "pathname", "value": "/"}],
        "state": [{"id": "place", "property": "search", "value": search}],
        "changedPropIds": ["place.pathname"],
    }
    answer = client.post("/_dash-update-component", json=body)
    assert answer.status_code == 200
    assert "This link cannot be used" in answer.text


# ---------------------------------------------------------------- answers


def test_a_browser_that_has_the_trip_is_told_so(client, pool):
    raw = drive(client, SHORT).content
    head = json.loads(raw[4 : 4 + int.from_bytes(raw[:4], "little")])
    key = head["key"]
    before = len(pool.done)
    assert drive(client, SHORT, have=key).json() == {"same": True}
    other = {**SHORT, "changes": {"vehicle.mass_kg": "36288"}}
    assert drive(client, other, have=key).headers["Content-Encoding"] == "gzip"
    assert len(pool.done) == before + 1


def test_the_same_setup_in_other_words_is_driven_once(client, pool):
    drive(client, {**SHORT, "changes": {"start.speed_km_h": "50"}})
    before = len(pool.done)
    drive(client, {**SHORT, "changes": {"start.speed_km_h": "50 km/h"}})
    assert len(pool.done) == before


def test_downloads_hold_everything_and_other_names_do_not_exist(client):
    query = "?truck=long-haul-manual&road=grade:-6%25,0.4km,1100m&settings=defaults"
    trace = client.get("/trip/trace.csv" + query)
    lines = trace.text.splitlines()
    assert lines[0].startswith("time_s,distance_m,elevation_m") and len(lines) > 40
    assert "attachment" in trace.headers["Content-Disposition"]
    assert json.loads(client.get("/trip/summary.json" + query).content)["ended"] == "arrived"
    assert client.get("/trip/events.csv" + query).text.startswith("time [s],distance [km],event")
    for name in ("passwd", "trace.csv.bak", "pyproject.toml"):
        assert client.get(f"/trip/{name}").status_code == 404
    for name in ("..%2f..%2fpyproject.toml", "../../pyproject.toml"):  # no file of a trip: the empty frame of the pages
        text = client.get(f"/trip/{name}").text
        assert text.startswith("<!DOCTYPE html>") and "build-system" not in text
    assert client.get("/trip/trace.csv?truck=/etc/passwd").status_code == 400


def test_what_will_happen_is_said_without_driving(client, pool):
    setup = {
        **SHORT,
        "road": "grade:-6%,7km,1550m",
        "changes": {"cruise.set_speed_km_h": "52", "start.speed_km_h": "50"},
    }
    before = pool.done.count("drive_for_page")
    foreseen = client.post("/trip/foretell", json={"setup": setup}).json()["foreseen"]
    assert any("above governed speed" in said(found, "us") for found in foreseen)
    assert pool.done.count("drive_for_page") == before


@pytest.mark.parametrize("path", ["/fields.json", "/words.json"])
def test_tables_are_cached_by_the_browser_until_the_model_changes(client, path):
    first = client.get(path)
    assert first.headers["Cache-Control"] == "no-cache"
    assert client.get(path, headers={"If-None-Match": first.headers["ETag"]}).status_code == 304


def test_nothing_is_written(client, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    drive(client, {**SHORT, "changes": {"weather.wind_m_s": "3"}})
    client.get("/trip/trace.csv")
    assert list(tmp_path.iterdir()) == []
