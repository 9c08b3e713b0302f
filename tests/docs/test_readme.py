"""What README prints can be typed, and does what it says."""

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

from sim.command.main import main

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TYPED = [line.strip() for line in re.findall(r"^    (haulbench .*)$", README, re.MULTILINE)]
HOSTING = [line for line in TYPED if line.startswith(("haulbench serve", "haulbench fault words"))]
COMMANDS = [line for line in TYPED if line not in HOSTING]
SNIPPETS = re.findall(r"```python\n(.*?)```", README, re.DOTALL)


def test_readme_opens_with_the_job_in_one_paragraph():
    title, _, first, blank = README.split("\n")[:4]
    assert title == "# haulbench"
    assert len(first) > 300 and blank == ""


@pytest.mark.parametrize("command", COMMANDS)
def test_command_runs(command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HAULBENCH_STUDIES", str(tmp_path / "home"))
    if command.startswith("haulbench fault"):  # one session, step after step
        for before in COMMANDS[: COMMANDS.index(command)]:
            if before.startswith("haulbench fault"):
                assert main(shlex.split(before)[1:]) == 0
        capsys.readouterr()
    assert main(shlex.split(command)[1:]) == 0
    assert "A teaching model" in capsys.readouterr().out


def test_hosting_a_hidden_fault_for_a_class(tmp_path, monkeypatch, capsys):
    from sim.command.main import _parser
    from sim.command.serving import _round_of

    monkeypatch.chdir(tmp_path)
    Path("key").write_bytes(bytes(range(32)))
    Path("names.txt").write_text("Ann Lee\nBo\n", encoding="utf-8")
    codes, serve = HOSTING
    assert main(shlex.split(codes)[1:]) == 0
    printed = capsys.readouterr().out.splitlines()
    hosted = _round_of(_parser().parse_args(shlex.split(serve)[1:]))
    assert [line.split()[-1] for line in printed] == [hosted.word_of(name) for name in ("Ann Lee", "Bo")]
    assert hosted.is_word("bo", hosted.word_of("Bo")) and hosted.session("bo")["level"] == 2
    assert len(list(Path("sessions").glob("case-*"))) == 1
    hosted.close()


def test_the_first_command_does_what_is_said_of_it(capsys):
    assert main(["run", "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    said = re.search(r"six brake applications with those for stops and curve, brakes at (\d+) C", README)
    assert summary["ended"] == "arrived" and summary["service_brake_applications"] == 6
    assert round(summary["max_brake_temperature_c"]) == pytest.approx(int(said[1]), abs=1)


@pytest.mark.parametrize("snippet", SNIPPETS)
def test_snippet_runs(snippet, capsys):
    exec(compile(snippet, "README.md", "exec"), {})
    assert float(capsys.readouterr().out.split()[0]) > 20.0


def test_both_set_up_commands_are_one_line_and_the_tools_exist():
    lines = [line.strip() for line in README.splitlines() if line.strip().startswith("python3 -m venv")]
    assert len(lines) == 2
    assert lines[0].endswith(".venv/bin/haulbench serve") and lines[1].endswith(".venv/bin/pytest")
    assert shutil.which("python3")


def test_the_study_file_of_readme_can_be_planned(tmp_path):
    from sim.studies.plan import make_plan
    from sim.studies.question import read_study

    (text,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    (tmp_path / "mine.toml").write_text(text)
    assert make_plan(read_study(tmp_path / "mine.toml")).total == 12


def test_every_shipped_study_is_in_the_table():
    from sim.studies.question import list_studies

    table = README[README.index("| study | asks |") : README.index("A study of one's own")]
    assert set(re.findall(r"`([a-z-]+)`", table)) == set(list_studies())


LESSON = README[README.index("### Ten minutes on the mountain") : README.index("## Studies")]


def driven(*changes):
    from sim.inputs.one_trip import read_inputs
    from sim.trips.pool import drive

    return drive(read_inputs(settings="mountain-in-seventh", changes=changes)).summary


@pytest.mark.parametrize(
    ("changes", "said", "key"),
    [
        ((), r"brake temperatures ends at (\d+) C", "max_brake_temperature_c"),
        (("driver.descent_gear=8",), r"pressed (\d+) times", "service_brake_applications"),
        (("driver.descent_gear=8",), r"and reach (\d+) C", "max_brake_temperature_c"),
        (("driver.descent_gear=8", "retarding.switch=false"), r"engine brake off: (\d+) C", "max_brake_temperature_c"),
        (
            ("driver.descent_gear=8", "retarding.switch=false"),
            r"axle goes from (\d+) to",
            "max_hottest_brake_temperature_c",
        ),
        (
            ("driver.descent_gear=8", "retarding.switch=false", "drill.style=drag"),
            r"axle goes from \d+ to (\d+) C",
            "max_hottest_brake_temperature_c",
        ),
        (("driver.descent_gear=6",), r"no snub on the descent, (\d+) C", "max_brake_temperature_c"),
        (("driver.descent_gear=8", "vehicle.mass_kg=20000"), r"20,000 kg: (\d+) C", "max_brake_temperature_c"),
    ],
)
def test_the_lesson_on_the_mountain_says_what_the_model_gives(changes, said, key):
    found = re.search(said, LESSON)
    assert found and round(driven(*changes)[key]) == pytest.approx(int(found[1]), abs=1)


def test_the_minutes_of_the_lesson():
    seventh, eighth, sixth = driven(), driven("driver.descent_gear=8"), driven("driver.descent_gear=6")
    assert (seventh["time_s"] - eighth["time_s"]) / 60.0 == pytest.approx(3.5, abs=0.5)
    assert (sixth["time_s"] - eighth["time_s"]) / 60.0 == pytest.approx(8.0, abs=0.5)
    assert sixth["service_brake_applications_for"]["descent"] == 2, "before the crest"


def test_what_is_modelled_and_left_out_is_said_in_one_place():
    from dashboard.sources.page import layout

    (place,) = re.findall(r"\[Part by part\]\((.+)\)", README)
    rows = re.findall(r"^\| (.+?) \| (.+) \|$", (ROOT / place).read_text(encoding="utf-8"), re.MULTILINE)
    page = str(layout({}))
    assert len(rows) > 15 and all(repr(text) in page for row in rows if row[1] not in ("how", "means") for text in row)
    assert "What is left out" in page and "curves as forces" in page and not any(how in README for _, how in rows[1:14])


def test_every_picture_of_readme_is_there():
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert len(pictures) >= 6 and all((ROOT / name).stat().st_size > 10_000 for name in pictures)
