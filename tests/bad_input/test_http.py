"""Bad input over the network gets one clear message and a code of HTTP, and is noted nowhere as a fault of the server.

The rows stand in `http.toml`; each is sent to an application in this process, from an address of its own.
"""

import json
import sys
from pathlib import Path

import pytest
from rows import LIBRARY_WORDS, expanded, rows_of

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboard"))
from serving import AtOnce, Visitor

from dashboard.app import create_app
from dashboard.server import guard
from dashboard.server.runs import Workshop

ROWS = dict(rows_of("http.toml"))
LEAST_ROWS = 140


@pytest.fixture(scope="module")
def app():
    return create_app(Workshop(AtOnce()))


def written_out(value):
    """A value with `<<x*5000>>` written out, wherever it stands."""
    if isinstance(value, dict):
        return {expanded(name): written_out(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [written_out(inner) for inner in value]
    return expanded(value) if isinstance(value, str) else value


def with_other(body, other):
    """A body with something else in some places, named with dots."""
    body = json.loads(json.dumps(body))
    for place, value in other.items():
        *tables, last = place.split(".")
        inner = body
        for name in tables:
            inner = inner[name]
        inner[last] = written_out(value)
    return body


@pytest.mark.parametrize("name", ROWS)
def test_bad_input_is_one_message(name, app, monkeypatch):
    row, noted = ROWS[name], []
    monkeypatch.setattr(guard, "note", noted.append)
    body = row.get("body", "")
    content = (
        expanded(body).encode() if isinstance(body, str) else json.dumps(with_other(body, row.get("with", {}))).encode()
    )
    sent = {"content": content} if row["way"] == "POST" else {}
    answer = Visitor(app).request(row["way"], expanded(row["path"]), headers=row.get("headers", {}), **sent)
    assert answer.status_code == row.get("code", 400), answer.text[:300]
    message = answer.json()["message"]
    assert set(answer.json()) == {"message"} and 10 < len(message) < 2000 and message.count("\n") < 5, message
    assert not LIBRARY_WORDS.search(message), message
    assert "--set" not in message and ".py" not in message
    missing = [fragment for fragment in row["says"] if fragment not in message]
    assert not missing, f"{missing} not in: {message}"
    assert noted == []


def test_there_are_many_rows():
    assert len(ROWS) >= LEAST_ROWS
