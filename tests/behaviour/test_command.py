"""The command as a user meets it: output, exit codes, files, and messages instead of tracebacks."""

import errno
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import sim.trips.trip
from sim.checks import rows
from sim.command.main import main
from sim.inputs.specs import Cruise, Settings, keys_of
from sim.units import KILOMETRE_PER_HOUR, MILE_PER_HOUR

SHORT = "grade:-2%,400m,500m"
SUMMARY_KEYS = """
ended distance_m time_s fuel_kg fuel_l_per_100km fuel_mpg_us co2_kg mean_speed_m_s max_speed_m_s max_engine_speed_rpm
max_brake_temperature_c gear_shifts service_brake_applications engine_brake_stage_time_s stage_changes time_over_governed_s
time_over_limit_s retarding_share warnings energy timing model_version
"""
TRACE_COLUMNS = """
time_s distance_m elevation_m grade_percent speed_m_s engine_speed_rpm gear accelerator_percent engine_torque_n_m fuel_rate_g_s
boost_kpa brake_stage engine_brake_power_kw service_brake_power_kw brake_pressure_bar brake_temperature_c coolant_temperature_c
oil_temperature_c speed_limit_m_s set_speed_m_s indicated_speed_m_s fuel_demand_percent stage_requested stage_reason fan_on
wheel_utilisation drive_force_n aero_force_n rolling_force_n grade_force_n
"""
CHECK_KEYS = {"id", "topic", "source", "mark", "inputs", "expected", "got", "unit", "tolerance", "verdict"}


def call(capsys, *arguments: str) -> tuple[int, str, str]:
    """Runs a command in this process."""
    code = main(arguments)
    out = capsys.readouterr()
    return code, out.out, out.err


def test_json_is_the_summary_and_nothing_else(capsys):
    code, out, err = call(capsys, "run", SHORT, "--json")
    summary = json.loads(out)
    assert code == 0 and err == ""
    wanted = SUMMARY_KEYS.split()
    assert set(wanted) <= set(summary)
    assert list(summary["engine_brake_stage_time_s"]) == ["0", "1", "2", "3"]
    assert set(summary["timing"]) == {"wall_s", "realtime_factor"}
    assert "residual_fraction" in summary["energy"]


def test_every_setting_is_listed_with_default_range_and_meaning(capsys):
    code, out, _ = call(capsys, "list", "--keys", "--units", "metric")
    lines = out.splitlines()
    assert code == 0 and len(lines) == len(list(keys_of(Settings)))
    (line,) = [line for line in lines if line.startswith("cruise.stage_2_over_km_h ")]
    assert (
        " ".join(line.split()[1:])
        == "8.0 0.5 to 30 km/h (above the set speed, where stage 2 comes in) [assumed, check CC-01]"
    )
    assert all("(" in line and line.endswith((")", "]")) for line in lines)
    (style,) = [line for line in lines if line.startswith("drill.style ")]
    assert "snub, drag" in style


def test_a_mark_of_a_default_names_the_check_that_uses_it_and_agrees_with_it(capsys):
    """Thresholds of cruise and of the oil say where they come from; a check with the same number says the same of it."""
    _, out, _ = call(capsys, "list", "--keys")
    marks = dict(re.findall(r"^(\S+) .* \[(assumed.*)\]$", out, re.MULTILINE))
    thresholds = {
        f"cruise.{key}" for key in Cruise.model_fields if "_over_" in key or "_below_" in key or "_above_" in key
    }
    assert {*thresholds, "cruise.stage_drop_km_h", "retarding.least_oil_c"} <= set(marks) and len(thresholds) == 5
    sources = {row.id: row.source for row in rows()}
    for mark in marks.values():
        word, _, check = mark.partition(", check ")
        assert not check or sources[check].endswith(f", {word}")
    by_check = {check: [key for key in marks if marks[key].endswith(check)] for check in ("CC-01", "CRS-01")}
    printed = {check: [float(each) for each in re.findall(r"\d+", sources[check])] for check in by_check}
    for check, keys in by_check.items():
        defaults = [getattr(Cruise(), key.partition(".")[2]) * KILOMETRE_PER_HOUR / MILE_PER_HOUR for key in keys]
        assert defaults == pytest.approx(printed[check], abs=0.05)


def test_summary_says_verdict_first_and_cautions_last(capsys):
    code, out, _ = call(capsys, "run", SHORT)
    lines = out.strip().splitlines()
    assert code == 0
    assert lines[0].startswith("Arrived")
    assert "does not replace the service brakes" in lines[-1]


def test_a_runaway_is_said_first_and_is_no_error(capsys):
    code, out, _ = call(
        capsys, "run", "grade:-7%,6km,900m", "--set", "drill.hold_gear=7", "--set", "drill.hold_stage=0",
        "--set", "drill.service_brakes=false", "--set", "start.speed_km_h=50",
    )  # fmt: skip
    lines = out.splitlines()
    assert code == 0
    assert lines[0].startswith("Ran away")
    assert lines[2].startswith("  ! The truck ran away: engine speed passed 2600 rpm")


@pytest.mark.parametrize(
    ("units", "has", "lacks"), [("us", "mi/h", "km/h"), ("metric", "km/h", "mi/h"), ("both", "mi/h", None)]
)
def test_units_people_read(capsys, units, has, lacks):
    _, out, _ = call(capsys, "run", SHORT, "--units", units)
    speeds = next(line for line in out.splitlines() if "mean speed" in line)
    assert has in speeds
    assert lacks is None or lacks not in speeds


def test_list_names_every_road_and_truck(capsys):
    code, out, _ = call(capsys, "list")
    assert code == 0
    for name in (
        "grade-profile-1037",
        "long-haul-manual",
        "long-haul-automated",
        "long-haul-empty",
        "dump-three-axle",
        "older-long-haul",
    ):
        assert any(line.split()[0] == name for line in out.splitlines() if line.strip())


def test_out_writes_its_files_and_refuses_a_folder_that_is_not_empty(capsys, tmp_path):
    folder = tmp_path / "trip"
    assert call(capsys, "run", SHORT, "--out", str(folder))[0] == 0
    assert {p.name for p in folder.iterdir()} == {
        "report.html", "trace.csv", "events.csv", "controls.csv", "summary.json"
    }  # fmt: skip
    assert [p.name for p in tmp_path.iterdir()] == ["trip"]
    header = (folder / "trace.csv").read_text().splitlines()[0].split(",")
    wanted = TRACE_COLUMNS.split()
    assert set(wanted) <= set(header)
    assert (folder / "events.csv").read_text().splitlines()[0] == (
        "time [s],distance [km],distance [mi],event,cause,value,unit,value,unit"
    )
    before = (folder / "summary.json").read_text()
    code, out, err = call(capsys, "run", SHORT, "--out", str(folder))
    assert (code, out) == (2, "")
    assert "not empty" in err and "--force" in err
    assert (folder / "summary.json").read_text() == before
    assert call(capsys, "run", SHORT, "--out", str(folder), "--force")[0] == 0


def test_nothing_is_left_when_the_disk_is_full(capsys, tmp_path, monkeypatch):
    def no_space(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)
    code, _, err = call(capsys, "run", SHORT, "--out", str(tmp_path / "trip"))
    assert code == 2
    assert "No space left on device" in err and "nothing was written" in err
    assert list(tmp_path.iterdir()) == []


def test_help_and_errors_do_not_load_the_compiler():
    code = "import sys; from sim.command.main import main; main(['run', 'nowhere']); print('numba' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


def test_check_command_passes_and_its_json_has_one_row_a_value(capsys):
    code, out, _ = call(capsys, "check", "--json")
    rows = json.loads(out)
    assert code == 0
    assert all(set(row) == CHECK_KEYS for row in rows)
    assert {row["verdict"] for row in rows} == {"pass"}
    assert all(isinstance(row[key], float) for row in rows for key in ("expected", "got", "tolerance"))


def test_two_equal_runs_write_equal_bytes_but_for_the_timing(capsys, tmp_path):
    for name in ("a", "b"):
        call(capsys, "run", SHORT, "--out", str(tmp_path / name))
    for file in ("report.html", "trace.csv", "events.csv"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    a, b = (json.loads(Path(tmp_path / name / "summary.json").read_text()) for name in "ab")
    a.pop("timing"), b.pop("timing")
    assert a == b


@pytest.mark.parametrize("mass", ["30000", "66139lb", "30t"])
def test_a_changed_mass_is_spread_over_the_axles_as_before(capsys, mass):
    code, out, _ = call(capsys, "run", "grade:0%,2km", "--json", "--set", f"vehicle.mass_kg={mass}")
    lighter = json.loads(out)
    heavier = json.loads(call(capsys, "run", "grade:0%,2km", "--json")[1])
    assert code == 0
    assert 0.8 < lighter["fuel_kg"] / heavier["fuel_kg"] < 0.98


def test_a_full_disk_leaves_nothing_behind(capsys, tmp_path, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    code, out, err = call(capsys, "run", SHORT, "--out", str(tmp_path / "trip"))
    assert code == 2 and out == ""
    assert "cannot be written" in err and os.strerror(errno.ENOSPC) in err and "nothing was written" in err
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_trip_leaves_nothing_behind(capsys, tmp_path, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("sim.trips.trip.run_trip", interrupted)
    code, out, err = call(capsys, "run", SHORT, "--out", str(tmp_path / "trip"))
    assert (code, out, err) == (130, "", "haulbench: interrupted; nothing was written\n")
    assert list(tmp_path.iterdir()) == []


def test_a_person_is_told_what_will_happen_before_the_drive(capsys, monkeypatch):
    order = []
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    drive = sim.trips.trip.run_trip
    monkeypatch.setattr(
        "sim.trips.trip.run_trip",
        lambda *inputs, **more: order.append(capsys.readouterr().err) or drive(*inputs, **more),
    )
    code, out, _ = call(capsys, "run", SHORT, "--set", "start.oil_temperature_c=5")
    assert code == 0
    assert order[0].startswith("What will happen: Start: the oil at 5 °C (41 °F) is below retarding.least_oil_c")
    assert "what will happen: Start: the oil at 5 °C" in out, "and it stays with the result"
