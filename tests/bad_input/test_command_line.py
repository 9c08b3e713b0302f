"""Bad input at the command line gets one clear message and exit code 2; nothing is written, nothing waits, nothing floods.

The rows stand in `command_line.toml`; each is run in this process.
"""

import shlex
import signal
import sys

import pytest
from rows import LIBRARY_WORDS, expanded, put, rows_of, seen

from sim import load_settings, load_truck, run_trip
from sim.command.main import main
from sim.dyno.runs import run_dyno
from sim.errors import HaulbenchError
from sim.messages import running

ROWS = dict(rows_of("command_line.toml"))
LONGEST = 20  # s a row may take, on a busy machine; most take a hundredth of a second
LEAST_ROWS = 230

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, sockets, links and devices of another system")


@pytest.fixture(scope="module", autouse=True)
def model_is_compiled():
    """So that no row is told of it."""
    run_trip("long-haul-manual", "grade:0%,0.2km")
    run_dyno(load_truck("long-haul-manual"), load_settings(None, ["dyno.rate_rpm_per_s=40"]), "full-load")


@pytest.fixture(autouse=True)
def a_place_of_its_own(tmp_path, monkeypatch):
    """An empty working folder, a home elsewhere, and an end to waiting."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    monkeypatch.setenv("HAULBENCH_STUDIES", str(tmp_path / "home"))

    def too_long(*_: object) -> None:
        raise TimeoutError(f"not refused within {LONGEST} s")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(LONGEST)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize("name", ROWS)
def test_bad_input_is_one_message(name, capsys, monkeypatch):
    row = ROWS[name]
    put(row["files"])
    refused = running.refused

    def said(*, problem: str) -> str:
        """Python, which shows causes too, is shown no error of a library underneath."""
        error = sys.exc_info()[1]
        assert isinstance(error, HaulbenchError) and error.__cause__ is None
        assert error.__context__ is None or error.__suppress_context__
        return refused(problem=problem)

    monkeypatch.setattr(running, "refused", said)
    before = seen()
    words = [expanded(word) for word in shlex.split(f"{row['run']} {row.get('add', '')}")]
    assert main(words) == row.get("code", 2)
    out, message = capsys.readouterr()
    assert out == "" and message.startswith("haulbench: ") and message.count("haulbench: ") == 1, message
    assert 1 <= len(message.splitlines()) <= 5 and len(message) < 3000, message
    assert not LIBRARY_WORDS.search(message), message
    assert not [word for word in words if len(word) > 300 and word[:200] in message], "a given text is repeated whole"
    missing = [fragment for fragment in row["says"] if fragment not in message]
    assert not missing, f"{missing} not in: {message}"
    assert seen() == before, "something was written"


def test_there_are_many_rows():
    assert len(ROWS) >= LEAST_ROWS
