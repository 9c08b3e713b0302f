"""`haulbench serve` from the outside: its address, its refusals, and its end."""

import http.client
import json
import re
import signal
import socket
import subprocess
import sys

import pytest

from sim.command.main import main


def test_it_prints_its_address_answers_and_ends_cleanly_when_interrupted():
    command = [sys.executable, "-m", "sim.command", "serve", "--port", "0"]
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
