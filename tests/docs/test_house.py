"""Formatting, linting and typing, checked by machine in the same command as everything else."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "format", "--check", "--quiet", "haulbench.py", "sim", "dashboard", "tests"],
        ["ruff", "check", "--quiet", "haulbench.py", "sim", "dashboard", "tests"],
        ["mypy", "--no-error-summary"],
    ],
    ids=["format", "lint", "types"],
)
def test_tool_finds_nothing(command):
    run = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, f"{' '.join(command)}:\n{run.stdout[-4000:]}{run.stderr[-2000:]}"


@pytest.mark.parametrize(
    "command",
    [
        ["eslint", "--config", "tests/scripts/eslint.config.mjs", "dashboard"],
        ["tsc", "--project", "tests/scripts/tsconfig.json"],
    ],
    ids=["lint", "types"],
)
def test_tool_finds_nothing_in_the_scripts(command):
    tool = shutil.which(command[0])
    if tool is None:
        told = f"{command[0]} is not on PATH; .ci/run puts it there"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(told)
    run = subprocess.run([tool, *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, f"{' '.join(command)}:\n{run.stdout[-4000:]}{run.stderr[-2000:]}"


def test_every_script_is_checked():
    scripts = [*(ROOT / "dashboard").rglob("*.js")]
    assert len(scripts) > 20
    assert [each for each in scripts if not each.read_text(encoding="utf-8").startswith("// @ts-check\n")] == []


def test_every_dependency_is_pinned():
    """constraints.txt pins what is installed, so that a fresh machine gets what was tested."""
    pinned = {
        line.split("==")[0].lower().replace("_", "-")
        for line in (ROOT / "constraints.txt").read_text().splitlines()
        if "==" in line
    }
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = (
        project["dependencies"]
        + project["optional-dependencies"]["test"]
        + project["optional-dependencies"]["notebook"]
        + project["optional-dependencies"]["cluster"]
    )
    names = {entry.split(">=")[0].split("[")[0].strip().lower() for entry in wanted}
    assert names <= pinned, f"not pinned: {sorted(names - pinned)}"


def test_no_lock_file_with_addresses():
    assert (
        not (ROOT / "uv.lock").exists() or shutil.which("git") is None or "uv.lock" in (ROOT / ".gitignore").read_text()
    )


def test_tables_of_truck_and_settings_have_different_names():
    from sim.inputs.specs import Settings, Truck

    assert not set(Truck.model_fields) & set(Settings.model_fields)


def test_every_number_of_a_shipped_truck_names_its_source():
    from sim import list_trucks, load_truck
    from sim.inputs.files import NOT_STATED
    from sim.inputs.specs import Truck, keys_of

    words = {f"{table}.{key}" for table, key in keys_of(Truck) if key in ("name", "governor", "kind")}
    for name in list_trucks():
        file = load_truck(name)
        for table, key in keys_of(Truck):
            full = f"{table}.{key}"
            default = getattr(file.truck, table).__class__.model_fields[key].is_required() is False
            if full in words or (default and full not in file.sources):
                continue
            source = file.sources.get(full, NOT_STATED)
            assert source != NOT_STATED, f"{name}: {full} has no source"
            assert source.startswith(MARKS), f"{name}: {full}: {source!r} begins with no mark"


MARKS = ("published", "derived", "from memory", "assumed", "common practice")
