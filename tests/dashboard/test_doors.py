"""The doors of the server: what slow work does to everybody else, sockets, what is opened by default, what arrives slowly."""

import asyncio
import contextlib
import json
import socket
import threading
import time
from contextlib import contextmanager

import httpx2
import pytest
from dash import Input, Output
from hypothesis import given
from hypothesis import strategies as st
from serving import AtOnce, Held, Visitor
from starlette.responses import Response
from starlette.websockets import WebSocket, WebSocketDisconnect
from websockets.sync.client import connect

from dashboard.app import create_app
from dashboard.server import doors, guard
from dashboard.server.asking import current
from dashboard.server.runs import Workshop
from sim.command.serving import server
from sim.errors import SettingsError

SLOW, AT_ONCE = 0.5, 8  # s of one slow answer, and how many are asked for together
RATE = 30.0  # frames a second


@contextmanager
def listening(app, **more):
    """An application behind the server that the command starts, on a port of its own."""
    place = socket.create_server(("127.0.0.1", 0))
    serving = server(app.server, lambda: None, **more)
    running = threading.Thread(target=serving.run, args=([place],))
    running.start()
    try:
        yield place.getsockname()[1]
    finally:
        serving.should_exit = True
        running.join(20)
        assert not running.is_alive()


def add_frames(app, seconds=SLOW * 4):
    """A socket that sends a frame thirty times a second, with how late it is."""

    async def frames(websocket: WebSocket):
        await websocket.accept()
        begun = time.monotonic()
        for number in range(int(seconds * RATE)):
            await asyncio.sleep(max(begun + number / RATE - time.monotonic(), 0.0))
            await websocket.send_text(str(time.monotonic() - begun - number / RATE))
        await websocket.close()

    app.server.add_api_websocket_route("/frames", frames)


def all_at_once(function, times):
    """Calls a function in threads, all at the same time; how long that took, and what came of it."""
    found = []
    threads = [threading.Thread(target=lambda: found.append(function())) for _ in range(times)]
    begun = time.monotonic()
    for each in threads:
        each.start()
    for each in threads:
        each.join(30)
    return time.monotonic() - begun, found


def call_of(output, given):
    """What the browser's side of Dash sends to have a callback called."""
    name, prop = output.split(".")
    inputs = [
        {"id": each.split(".")[0], "property": each.split(".")[1], "value": value} for each, value in given.items()
    ]
    return {
        "output": output,
        "outputs": {"id": name, "property": prop},
        "inputs": inputs,
        "changedPropIds": list(given),
    }


@pytest.mark.parametrize("way", ["route", "callback"])
def test_slow_answers_hold_up_neither_each_other_nor_the_frames_of_a_socket(way):
    app = create_app(Workshop(AtOnce()))
    add_frames(app)

    def slow(*_):
        time.sleep(SLOW)
        return {"slow": True}

    doors.post(app, "/slow", doors.Question, slow)
    app.callback(Output("page", "title"), Input("page", "n_clicks"))(lambda _: str(slow()))
    app._got_first_request["setup_server"] = False
    app._setup_server()
    body = {} if way == "route" else call_of("page.title", {"page.n_clicks": 1})
    path = "/slow" if way == "route" else "/_dash-update-component"
    with listening(app) as port, connect(f"ws://127.0.0.1:{port}/frames") as frames:
        late = []
        reading = threading.Thread(target=lambda: late.extend(float(each) for each in frames))
        reading.start()

        def ask():
            return httpx2.post(f"http://127.0.0.1:{port}{path}", json=body, timeout=30).status_code

        took, found = all_at_once(ask, AT_ONCE)
        reading.join(30)
    assert found == [200] * AT_ONCE
    assert took < 0.5 * AT_ONCE * SLOW, "one after the other"
    assert len(late) == int(SLOW * 4 * RATE) and max(late) < 0.8 * SLOW, "the loop stood still"


def test_documentation_and_the_socket_of_the_framework_are_not_there():
    client = Visitor(create_app(Workshop(AtOnce())))
    for path in (
        "/docs",
        "/redoc",
        "/openapi.json",
        "/docs/oauth2-redirect",
        "/_reload-hash",
        "/_favicon.ico",
        "/_mcp",
    ):
        answer = client.get(path)
        assert '<div id="react-entry-point">' in answer.text, path  # the frame of the pages, as under any other address
        assert "swagger" not in answer.text.lower() and "openapi" not in answer.text.lower()
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("ws://localhost/_dash-ws-callback"):
        pass


def test_whoever_asks_is_known_in_the_thread_and_told_apart_by_address():
    app = create_app(Workshop(AtOnce()))
    doors.post(app, "/who", doors.Question, lambda _, visitor: {"who": current().who, "address": visitor.address})
    for address in ("192.0.2.7", "127.0.0.1"):
        assert Visitor(app, address).post("/who", json={}).json() == {"who": address, "address": address}
    forged = Visitor(app, "192.0.2.7").post("/who", json={}, headers={"X-Forwarded-For": "127.0.0.1", "Via": "x"})
    assert forged.json()["who"] == "192.0.2.7"


@pytest.mark.parametrize(
    ("proxy", "who"), [(None, "127.0.0.1"), ("127.0.0.1", "192.0.2.7"), ("192.0.2.1", "127.0.0.1")]
)
def test_the_word_of_a_proxy_on_who_asks_is_taken_only_from_the_address_that_was_named(proxy, who):
    app = create_app(Workshop(AtOnce()))
    doors.post(app, "/who", doors.Question, lambda _, visitor: {"who": current().who, "secure": visitor.secure})
    headers = {"X-Forwarded-For": "192.0.2.7", "X-Forwarded-Proto": "https"}
    with listening(app, proxy=proxy) as port:
        told = httpx2.post(f"http://127.0.0.1:{port}/who", json={}, headers=headers).json()
    assert told == {"who": who, "secure": who != "127.0.0.1"}


def test_a_browser_that_leaves_is_noticed_while_its_answer_is_being_made():
    app = create_app(Workshop(AtOnce()))
    begun, left = threading.Event(), threading.Event()

    def wait(*_):
        current().when_left(left.set)
        begun.set()
        assert left.wait(20)
        return {}

    doors.post(app, "/wait", doors.Question, wait)
    with listening(app) as port:
        connection = socket.create_connection(("127.0.0.1", port))
        connection.sendall(b"POST /wait HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\n\r\n{}")
        assert begun.wait(20)
        connection.close()
        assert left.wait(20)


# ---------------------------------------------------------------- sockets


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "http://["},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"},
    ],
)
def test_a_socket_is_opened_to_pages_of_this_server_only(headers):
    app = create_app(Workshop(AtOnce()))
    add_frames(app, 0.1)
    client = Visitor(app)
    with client.websocket_connect("ws://localhost/frames", headers={"Origin": "http://localhost"}) as frames:
        float(frames.receive_text())
    with pytest.raises(Exception) as refused, client.websocket_connect("ws://localhost/frames", headers=headers):
        pass
    assert refused.value.status_code == 403


def test_one_machine_has_few_sockets_and_gets_their_places_back():
    app = create_app(Workshop(AtOnce()))
    add_frames(app, 5.0)
    client, other = Visitor(app, "192.0.2.7"), Visitor(app, "192.0.2.8")
    opened = [client.websocket_connect("ws://localhost/frames") for _ in range(guard.MOST_SOCKETS)]
    for each in opened:
        each.__enter__()
    with pytest.raises(Exception) as refused, client.websocket_connect("ws://localhost/frames"):
        pass
    assert refused.value.status_code == 429
    with other.websocket_connect("ws://localhost/frames") as frames:
        frames.receive_text()
    for each in opened:
        each.__exit__(None, None, None)
    with client.websocket_connect("ws://localhost/frames") as frames:
        frames.receive_text()


# ---------------------------------------------------------------- how much, and how slowly


def test_one_machine_cannot_ask_without_end_and_others_do_not_notice(monkeypatch):
    monkeypatch.setattr(guard, "LATE", 0.0)
    app = create_app(Workshop(Held()))
    client = Visitor(app, "192.0.2.7")
    codes = [client.post("/trip/drive", json={}).status_code for _ in range(int(guard.AT_A_STRETCH) + 100)]
    assert codes.count(429) > 20 and codes[0] != 429
    assert Visitor(app, "192.0.2.8").get("/ready").status_code == 200
    assert client.get("/assets/shared/shared.css").status_code == 200, "files of the pages are no work"


def test_who_asks_too_often_hears_so_late_and_nobody_else_waits_for_it(monkeypatch):
    monkeypatch.setattr(guard, "AT_A_STRETCH", 1.0)
    app = create_app(Workshop(AtOnce()))
    with listening(app) as port:
        took = {}
        for address in ("127.0.0.8", "127.0.0.8", "127.0.0.9"):
            begun = time.monotonic()
            with wire_to(port, address) as asking:
                asking.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\n\r\n")
                code = int(asking.recv(65536).split()[1])
            took[address, code] = time.monotonic() - begun
    assert set(took) == {("127.0.0.8", 200), ("127.0.0.8", 429), ("127.0.0.9", 200)}
    assert took["127.0.0.8", 429] >= guard.LATE > took["127.0.0.9", 200]


def test_a_question_without_a_body_is_refused_at_once():
    """What waits for the browser to leave may have taken the only message there is."""
    client = Visitor(create_app(Workshop(AtOnce())))
    begun = time.monotonic()
    assert client.get("/roads/file").status_code == 400
    assert time.monotonic() - begun < guard.LONGEST_DRAIN / 2.0


def test_a_body_that_is_too_large_hears_why_also_when_it_is_sent_in_pieces():
    app = create_app(Workshop(AtOnce()))
    with listening(app) as port:
        for head, body in (
            (b"Content-Length: 20000000", b"x" * 20_000_000),
            (b"Transfer-Encoding: chunked", (b"100000\r\n" + b"x" * 0x100000 + b"\r\n") * 19 + b"0\r\n\r\n"),
        ):
            connection = socket.create_connection(("127.0.0.1", port), timeout=30)
            connection.sendall(b"POST /trip/drive HTTP/1.1\r\nHost: localhost\r\n" + head + b"\r\n\r\n" + body)
            answer = connection.recv(65536)
            while b"}" not in answer and (more := connection.recv(65536)):  # the body may come after the head
                answer += more
            connection.close()
            assert answer.startswith(b"HTTP/1.1 413"), answer[:200]
            assert str(guard.MOST_BODY).encode() in answer


def test_a_body_that_trickles_in_is_not_waited_for(monkeypatch):
    monkeypatch.setattr(guard, "PATIENCE", 0.4)
    app = create_app(Workshop(AtOnce()))
    with listening(app) as port:
        connection = socket.create_connection(("127.0.0.1", port), timeout=30)
        connection.sendall(b"POST /trip/drive HTTP/1.1\r\nHost: localhost\r\nContent-Length: 200\r\n\r\n{")
        assert connection.recv(4096).startswith(b"HTTP/1.1 408")
        connection.close()


def test_a_connection_that_says_nothing_is_closed(monkeypatch):
    from sim.command import serving

    monkeypatch.setattr(serving, "IDLE", 1)
    app = create_app(Workshop(AtOnce()))
    with listening(app) as port:
        for start in (b"", b"POST /trip/drive HTT", b"GET /ready HTTP/1.1\r\nHost: localhost\r\n\r\n"):
            connection = socket.create_connection(("127.0.0.1", port), timeout=15)
            connection.sendall(start)
            while connection.recv(65536):
                pass
            connection.close()


def wire_to(port, address="127.0.0.1", **more):
    """A connection from an address of the loopback."""
    return socket.create_connection(("127.0.0.1", port), 30.0, (address, 0), **more)


def until_closed(wire):
    """What comes on a connection until it is closed, however that happens."""
    found = b""
    try:
        while piece := wire.recv(65536):
            found += piece
    except ConnectionError:
        pass
    return found


@pytest.mark.parametrize(
    ("begin", "more", "pieces"),
    [
        (b"GET /ready?", b"a" * 1_000_000, 20),
        (b"GET /ready HTTP/1.1\r\nHost: localhost\r\n", b"a:\r\n" * 250_000, 5),
        (b"GET /ready HTTP/1.1\r\nHost: localhost\r\n", b"a: " + b"b" * 8000 + b"\r\n", 100),
    ],
)
def test_a_head_without_end_is_refused_while_it_comes_in(begin, more, pieces):
    with listening(create_app(Workshop(AtOnce()))) as port:
        wire, began = wire_to(port), time.monotonic()
        with contextlib.suppress(ConnectionError):
            for piece in (begin, *[more] * pieces):
                wire.sendall(piece)
        assert until_closed(wire).startswith((b"HTTP/1.1 400", b""))
        wire.close()
        with wire_to(port, "127.0.0.9") as other:
            other.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert other.recv(65536).startswith(b"HTTP/1.1 200")
        assert time.monotonic() - began < 5.0


def test_one_machine_cannot_take_all_connections():
    from sim.command import serving

    with listening(create_app(Workshop(AtOnce()))) as port, contextlib.ExitStack() as opened:
        wires = [opened.enter_context(wire_to(port, "127.0.0.8")) for _ in range(serving.MOST_OF_ONE + 20)]
        time.sleep(0.5)
        for wire in wires:
            with contextlib.suppress(ConnectionError):
                wire.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        answered = [until_closed(wire) for wire in wires]
        assert sum(answer == b"" for answer in answered) == 20
        other = opened.enter_context(wire_to(port, "127.0.0.9"))
        other.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        assert b" 200 " in until_closed(other)
        again = opened.enter_context(wire_to(port, "127.0.0.8"))
        again.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        assert b" 200 " in until_closed(again), "places come back"


def test_who_does_not_read_an_answer_gives_the_place_back(monkeypatch):
    from sim.command import serving

    monkeypatch.setattr(serving, "IDLE", 1)
    app = create_app(Workshop(AtOnce()))
    doors.get(app, "/large", lambda _: Response(b"x" * 30_000_000))
    app.server.router.routes.insert(0, app.server.router.routes.pop())  # before what answers the rest
    with listening(app) as port, contextlib.ExitStack() as opened:
        for _ in range(guard.MOST_AT_ONCE):
            wire = opened.enter_context(wire_to(port, "127.0.0.8"))
            wire.sendall(b"GET /large HTTP/1.1\r\nHost: localhost\r\n\r\n" * 3)
        end = time.monotonic() + 15
        code = 429
        while code == 429 and time.monotonic() < end:
            time.sleep(0.5)
            with wire_to(port, "127.0.0.8") as asking:
                asking.sendall(b"GET /ready HTTP/1.1\r\nHost: localhost\r\n\r\n")
                code = int(asking.recv(65536).split()[1])
        assert code == 200


def test_who_only_looks_is_served_while_everybody_else_waits_for_workers(monkeypatch):
    monkeypatch.setattr(doors, "THREADS", 4)
    app = create_app(Workshop(AtOnce()))
    let_go, waiting = threading.Event(), threading.Semaphore(0)

    def wait(*_):
        waiting.release()
        assert let_go.wait(20)
        return {}

    doors.post(app, "/wait", doors.Question, wait)
    asking = [threading.Thread(target=lambda: Visitor(app).post("/wait", json={})) for _ in range(4)]
    for each in asking:
        each.start()
    for _ in asking:
        assert waiting.acquire(timeout=20)
    try:
        refused = Visitor(app).post("/wait", json={})
        assert refused.status_code == 503 and "wait a moment" in refused.json()["message"]
        for path in ("/ready", "/", "/_dash-layout", "/assets/shared/mark.svg"):
            assert Visitor(app).get(path).status_code == 200
    finally:
        let_go.set()
    for each in asking:
        each.join(20)
    assert Visitor(app).post("/wait", json={}).status_code == 200


def test_a_machine_with_a_network_of_addresses_is_one_machine(monkeypatch):
    monkeypatch.setattr(guard, "LATE", 0.0)
    app = create_app(Workshop(AtOnce()))
    doors.post(app, "/who", doors.Question, lambda *_: {"who": current().who})
    told = {Visitor(app, f"2001:db8:1:2::{number:x}").post("/who", json={}).json()["who"] for number in range(1, 40)}
    assert told == {"2001:db8:1:2::"}
    codes = [Visitor(app, f"2001:db8:1:3::{number:x}").post("/who", json={}).status_code for number in range(1, 100)]
    assert 429 in codes


def test_files_are_kept_by_what_they_are_and_not_by_how_they_are_asked_for():
    app = create_app(Workshop(AtOnce()))
    client = Visitor(app)
    for number in range(30):
        assert (
            client.get(f"/_dash-component-suites/dash/dash_table/async-table.v{number}m{number}.js").status_code == 200
        )
        assert client.get(f"/assets/shared/mark.svg?m={number}").status_code == 200
    assert len(app.backend._files) == 2


def test_a_browser_that_leaves_in_the_middle_of_its_body_is_no_fault_of_the_server(monkeypatch):
    noted = []
    monkeypatch.setattr(guard, "note", noted.append)
    with listening(create_app(Workshop(AtOnce()))) as port:
        for _ in range(20):
            with wire_to(port) as wire:
                wire.sendall(b"POST /trip/drive HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\nx")
        time.sleep(0.5)
    assert noted == []


def test_what_is_noted_on_the_terminal_is_one_line_of_plain_letters_and_not_without_end(capfd):
    for _ in range(100):
        guard.note(ValueError("\x1b[2Jall gone\r\n\u202e" + "x" * 5000))
    lines = capfd.readouterr().err.splitlines()
    assert 1 <= len(lines) <= 25 and all(line.isascii() and line.isprintable() and len(line) < 600 for line in lines)


# ---------------------------------------------------------------- bodies


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no JSON"),
        (b"{", "no JSON"),
        (b'{"a": NaN}', "no JSON"),
        (b'{"a": 1e999}', "too much"),
        (b'{"a": "\\ud800"}', "no JSON"),
        (b"\xff\xfe\x00", "no JSON"),
        (b"[" * 50_000, "no JSON"),
        (b"[" * 20 + b"]" * 20, "too deep"),
        (b'{"a": 1' + b"0" * 4000 + b"}", "too much"),
        (b"[" + b"0," * 30_000 + b"0]", "too much"),
    ],
)
def test_json_beyond_its_bounds_is_refused_in_words(content, said):
    with pytest.raises(SettingsError, match=said):
        doors.read_json(content)


values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(values)
def test_whatever_json_is_sent_is_read_whole_or_refused(value):
    text = json.dumps(value)
    try:
        found = doors.read_json(text.encode())
    except SettingsError:
        return
    assert found == json.loads(text)
