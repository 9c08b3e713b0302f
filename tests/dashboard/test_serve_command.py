"""`haulbench serve` from the outside: its address, its refusals, and its end."""

import http.client
import json
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time

import httpx2
import pytest
import trustme
from cryptography.hazmat.primitives import serialization

from sim.command.main import main

SHORT = {"truck": "long-haul-manual", "road": "grade:-6%,0.4km,1100m", "settings": "defaults", "changes": {}}
LONG = {"truck": "long-haul-manual", "road": "grade:0%,300km,100m", "settings": "defaults",
        "changes": {"simulation.tick_s": "0.005", "simulation.time_limit_s": "90000"}}  # fmt: skip
# the command with a socket that stays open beside its own doors
WITH_SOCKET = """
import asyncio, sys
import dashboard.app
from fastapi import WebSocket
make = dashboard.app.create_app
def made(*given):
    app = make(*given)
    async def open_for_long(websocket: WebSocket):
        await websocket.accept()
        await websocket.send_text("open")
        await asyncio.sleep(600)
    app.server.add_api_websocket_route("/open", open_for_long)
    return app
dashboard.app.create_app = made
from sim.command.main import main
sys.exit(main(["serve", "--port", "0"]))
"""


def test_it_prints_its_address_answers_and_ends_cleanly_when_interrupted():
    command = [sys.executable, "-m", "haulbench", "serve", "--port", "0"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        first = server.stdout.readline()
        port = int(re.fullmatch(r"haulbench is at http://localhost:(\d+)/ \(Ctrl-C ends it\)\n", first)[1])
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        connection.request("GET", "/ready")
        answer = connection.getresponse()
        assert answer.status == 200 and "ready" in json.loads(answer.read())
        assert answer.headers["Server"] == "haulbench"
        connection.request("GET", "/", headers={"Host": "evil.example"})
        refused = connection.getresponse()
        assert refused.status == 403 and b"does not go by that name" in refused.read()
        connection.close()
    finally:
        server.send_signal(signal.SIGINT)
        out, err = server.communicate(timeout=60)
    assert server.returncode == 0
    assert out == "haulbench ends.\n" and "Traceback" not in err


def test_a_port_that_is_taken_gives_one_message(capsys):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert main(["serve", "--port", str(port)]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert f"port {port} on 127.0.0.1 cannot be used" in message and "--port" in message


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--host", "0.0.0.0"], "add --share"),
        (["--host", "192.0.2.1"], "add --share"),
        (["--host", "192.0.2.1", "--share"], "cannot be used"),
        (["--port", "70000"], "allowed is 1 to 65535"),
    ],
)
def test_other_machines_are_let_in_only_when_asked_for(options, said, capsys):
    assert main(["serve", *options]) == 2
    assert re.search(said, capsys.readouterr().err)


def started(*options, **more):
    """The command in a process of its own, and its port."""
    command = [sys.executable, "-m", "haulbench", "serve", "--port", "0", *options]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)
    return server, port_of(server)


def port_of(server):
    return int(re.search(r"://localhost:(\d+)/", server.stdout.readline())[1])


def children_of(process):
    """Processes a process has started."""
    found = subprocess.run(["ps", "-eo", "pid,ppid"], capture_output=True, text=True, check=True).stdout.split("\n")[1:]
    rows = [tuple(map(int, line.split())) for line in found if line.strip()]
    return [pid for pid, parent in rows if parent == process]


def runs(pid):
    """Whether a process is there and no mere memory of one."""
    state = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False
    ).stdout.strip()
    return bool(state) and not state.startswith("Z")


@pytest.mark.skipif(sys.platform == "win32", reason="signals of another kind")
def test_an_interruption_ends_everything_within_seconds_with_a_job_and_a_socket_open():
    from websockets.sync.client import connect

    server = subprocess.Popen(
        [sys.executable, "-c", WITH_SOCKET], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        port = port_of(server)
        while not httpx2.get(f"http://127.0.0.1:{port}/ready").json()["ready"]:
            time.sleep(0.2)
        workers = children_of(server.pid)
        told = []
        asking = threading.Thread(
            target=lambda: told.append(
                httpx2.post(f"http://127.0.0.1:{port}/trip/drive", json={"setup": LONG}, timeout=60)
            )
        )
        with connect(f"ws://127.0.0.1:{port}/open") as opened, socket.create_connection(("127.0.0.1", port)) as silent:
            assert opened.recv() == "open"
            asking.start()
            time.sleep(0.7)  # the job is under way
            assert not told and len(workers) > 1
            begun = time.monotonic()
            server.send_signal(signal.SIGINT)
            out, err = server.communicate(timeout=30)
            took = time.monotonic() - begun
            assert silent.recv(10) == b""
        asking.join(10)
    finally:
        server.kill()
    assert took < 5.0 and server.returncode == 0
    assert "haulbench ends." in out and "Traceback" not in err, err
    assert not [pid for pid in workers if runs(pid)], "a worker outlived its server"
    assert "stopping" in told[0].json()["message"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals of another kind")
@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_also_where_the_shell_has_had_interruptions_ignored(asked):
    server, _ = started(preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_IGN))
    server.send_signal(asked)
    out, err = server.communicate(timeout=30)
    assert server.returncode == 0 and out.endswith("haulbench ends.\n") and "Traceback" not in err


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    """A chain and its key, a key that belongs to another, and a locked one, in files."""
    folder = tmp_path_factory.mktemp("certificates")
    authority = trustme.CA()
    mine, other = authority.issue_cert("localhost"), authority.issue_cert("localhost")
    authority.cert_pem.write_to_path(folder / "authority.pem")
    mine.private_key_pem.write_to_path(folder / "key.pem")
    other.private_key_pem.write_to_path(folder / "other.pem")
    for blob in mine.cert_chain_pems:
        blob.write_to_path(folder / "chain.pem", append=True)
    key = serialization.load_pem_private_key(mine.private_key_pem.bytes(), None)
    locked = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.BestAvailableEncryption(b"locked")
    )
    (folder / "locked.pem").write_bytes(locked)
    (folder / "no.pem").write_text("no certificate")
    return folder


def test_with_a_certificate_it_speaks_tls_and_nothing_else(certificates):
    server, port = started(
        "--certificate", str(certificates / "chain.pem"), "--private-key", str(certificates / "key.pem")
    )
    try:
        trusted = ssl.create_default_context(cafile=str(certificates / "authority.pem"))
        with httpx2.Client(verify=trusted, timeout=30) as client:
            assert client.get(f"https://localhost:{port}/ready").status_code == 200
            origin = {"Origin": f"https://localhost:{port}"}
            assert client.post(f"https://localhost:{port}/trip/drive", json={}, headers=origin).status_code == 400
        with pytest.raises(httpx2.TransportError):
            httpx2.get(f"http://localhost:{port}/ready")
    finally:
        server.send_signal(signal.SIGTERM)
        server.communicate(timeout=30)


@pytest.mark.parametrize(
    ("chain", "key", "said"),
    [
        ("chain.pem", None, "--private-key is missing"),
        (None, "key.pem", "--certificate is missing"),
        ("chain.pem", "other.pem", "cannot be used"),
        ("chain.pem", "locked.pem", "locked with a password"),
        ("no.pem", "key.pem", "cannot be used"),
        ("gone.pem", "key.pem", "No such file"),
    ],
)
def test_a_certificate_that_cannot_be_used_is_refused_before_anything_is_served(certificates, chain, key, said, capsys):
    given = [word for flag, name in (("--certificate", chain), ("--private-key", key)) if name
             for word in (flag, str(certificates / name))]  # fmt: skip
    assert main(["serve", "--port", "0", *given]) == 2
    message = capsys.readouterr().err
    assert said in message and message.count("\n") == 1


def test_a_proxy_is_an_address(capsys):
    assert main(["serve", "--proxy", "*"]) == 2
    assert "no address" in capsys.readouterr().err
