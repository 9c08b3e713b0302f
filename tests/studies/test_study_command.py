"""The command `haulbench study`: what it prints, keeps, lists and refuses, and that an interrupt keeps what is done."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.command.main import main

ROOT = Path(__file__).resolve().parents[2]
FILE = """
form = 1
title = "Gears on a short hill"
question = "Which gear burns least?"
truck = "long-haul-manual"
road = "grade:-3%,0.6km,500m"
report = ["time_s", "max_engine_speed_rpm"]
set = ["start.speed_km_h=40"]
[vary]
"drill.hold_gear" = [7, 8, 9]
"""


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("HAULBENCH_STUDIES", str(tmp_path / "home"))
    return tmp_path / "home" / "studies"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "gears.toml"
    path.write_text(FILE)
    return str(path)


def test_a_study_is_answered_kept_and_listed(home, file, capsys):
    assert main(["study", file]) == 0
    text = capsys.readouterr().out
    assert text.startswith("Gears on a short hill") and "A teaching model" in text
    (folder,) = (path for path in home.iterdir() if path.is_dir())
    assert sorted(path.name for path in folder.iterdir()) == [
        "answers.json",
        "report.html",
        "results.csv",
        "results.parquet",
        "study.json",
        "trips.sqlite",
    ]
    assert str(folder) in text
    assert main(["study"]) == 0
    listed = capsys.readouterr().out
    assert "what-it-is-worth" in listed and f"{folder}\n    Gears on a short hill: all 3 trips" in listed


def test_json_is_the_answers_and_nothing_else(home, file, capsys):
    assert main(["study", file, "--json"]) == 0
    answers = json.loads(capsys.readouterr().out)
    assert answers["trips"]["finished"] == 3 and len(answers["effects"]["time_s"]["drill.hold_gear"]["means"]) == 3


def test_a_folder_is_a_study_too(home, file, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["study", file, "--out", str(out)]) == 0
    first = (out / "report.html").read_bytes()
    (out / "report.html").unlink()
    assert main(["study", str(out)]) == 0
    assert (out / "report.html").read_bytes() == first
    capsys.readouterr()


def test_many_trips_compared_become_a_study(home, capsys):
    grid = ["--vary", "drill.hold_gear=7,8,9,10", "--vary", "weather.wind_m_s=0,1,2,3,4,5,6"]
    assert main(["compare", "grade:0%,0.5km", *grid, "--json"]) == 0
    answers = json.loads(capsys.readouterr().out)
    assert answers["trips"]["finished"] == 28 and answers["title"].startswith("Comparison by drill.hold_gear")


def test_quantities_are_listed(capsys):
    assert main(["study", "--quantities"]) == 0
    assert "fuel_l_per_100km" in capsys.readouterr().out


def test_a_broken_list_of_studies_costs_no_results(home, file, capsys):
    home.mkdir(parents=True)
    (home / "studies.sqlite").write_bytes(b"this is no database, " * 200)
    assert main(["study", file]) == 0
    told = capsys.readouterr()
    assert "the list of studies cannot be used" in told.err and "results are not touched by that" in told.err
    assert "Kept in" in told.out
    assert main(["study"]) == 2
    assert "Move the file away and a new list is begun" in capsys.readouterr().err


@pytest.mark.skipif(sys.platform == "win32", reason="sends an interrupt to a process")
def test_an_interrupt_keeps_what_is_done_and_says_so(tmp_path):
    many = FILE.replace("[7, 8, 9]", "[7, 8, 9]\n'weather.wind_m_s' = {from = -4, to = 4, steps = 400}")
    (tmp_path / "many.toml").write_text(many)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HAULBENCH_STUDIES": str(tmp_path / "home")}
    command = [sys.executable, "-m", "haulbench", "study", str(tmp_path / "many.toml"), "--out", str(tmp_path / "s")]
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        deadline = time.perf_counter() + 60.0
        size = 0
        while size < 150_000 and time.perf_counter() < deadline:
            time.sleep(0.02)
            size = sum(path.stat().st_size for path in (tmp_path / "s").glob("trips.sqlite*"))
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate(timeout=60)
    assert process.returncode == 130, errors
    assert (
        "Stopping after the trips under way" in errors and "the same command goes on where this one stopped" in errors
    )
    assert "Partial: " in out and "of 1200 trips are finished" in out
    journal = sqlite3.connect(tmp_path / "s" / "trips.sqlite")
    (finished,) = journal.execute("SELECT count(*) FROM trips").fetchone()
    journal.close()
    assert f"Partial: {finished} of 1200" in " ".join(out.split()) and 0 < finished < 1200
