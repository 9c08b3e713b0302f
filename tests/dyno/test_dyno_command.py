"""`haulbench dyno`: what it prints, writes and refuses."""

import csv
import io
import json

import pytest

from sim.command.main import DYNO_TESTS, main
from sim.dyno.result import CAUTIONS
from sim.march.records import LIMITERS, LOG

QUICK = ["--set", "dyno.rate_rpm_per_s=40"]


def run(capsys, *arguments):
    code = main(["dyno", *arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.mark.parametrize("test", DYNO_TESTS)
def test_each_test_prints_verdict_numbers_and_cautions(capsys, test):
    code, out, err = run(capsys, "--test", test)
    assert code == 0 and (not err or "Preparing" in err)
    assert out.startswith("Pass: ")
    for caution in CAUTIONS:
        assert caution in out
    for word in (
        "strap it down",
        "chock",
        "extraction on",
        "Nobody stands behind the rollers",
        "fan can start",
        "ears",
    ):
        assert word in out


def test_units(capsys):
    _, metric, _ = run(capsys, *QUICK, "--units", "metric")
    _, us, _ = run(capsys, *QUICK, "--units", "us")
    assert "N m; within 1 %" in metric and "lb ft" not in metric and "psi" not in metric
    assert "lb ft; within 1 %" in us and "N m" not in us and "kPa" not in us


def test_json_holds_columns_as_arrays_under_the_names_of_the_trip_trace(capsys):
    code, out, _ = run(capsys, "--json", *QUICK)
    whole = json.loads(out)
    columns, trip = whole["columns"], {column.name for column in LOG}
    shared = (
        "engine_speed_rpm",
        "engine_torque_n_m",
        "fuel_rate_g_s",
        "boost_kpa",
        "accelerator_percent",
        "fuel_demand_percent",
    )
    assert code == 0 and set(shared) <= trip and set(shared) <= set(columns)
    assert len({len(values) for values in columns.values()}) == 1 and len(columns["time_s"]) > 100
    extra = ("power_kw", "bsfc_g_kwh", "actual_torque_percent", "friction_torque_percent", "load_percent", "limiter")
    assert set(extra) <= set(columns)
    assert set(columns["limiter"]) <= set(LIMITERS) and "governor" in columns["limiter"]
    assert whole["summary"]["verdict"] == "pass" and whole["summary"]["start_rpm"] > 2000.0


def test_out_writes_a_folder_and_not_twice(capsys, tmp_path):
    folder = tmp_path / "run"
    code, out, _ = run(capsys, "--out", str(folder), "--predict", "peak_torque_n_m=1650lb.ft", *QUICK)
    assert code == 0 and "highest torque" in out and "within 3 %" in out
    assert {path.name for path in folder.iterdir()} == {
        "report.html",
        "trace.csv",
        "points.csv",
        "gauges.csv",
        "dyno.json",
    }
    rows = list(csv.DictReader(io.StringIO((folder / "points.csv").read_text(encoding="utf-8"))))
    assert [float(row["engine_speed_rpm"]) for row in rows] == list(range(2200, 800, -100))
    assert {row["limiter"] for row in rows} == {"governor", "full-load curve"}
    whole = json.loads((folder / "dyno.json").read_text(encoding="utf-8"))
    trace = list(csv.DictReader(io.StringIO((folder / "trace.csv").read_text(encoding="utf-8"))))
    assert list(trace[0]) == list(whole["columns"])
    assert float(trace[50]["engine_torque_n_m"]) == whole["columns"]["engine_torque_n_m"][50]
    before = (folder / "report.html").read_bytes()
    code, _, err = run(capsys, "--out", str(folder), *QUICK)
    assert code == 2 and "not empty" in err
    code, _, _ = run(capsys, "--out", str(folder), "--force", "--predict", "peak_torque_n_m=1650lb.ft", *QUICK)
    assert code == 0 and (folder / "report.html").read_bytes() == before


def test_a_fault_by_name_is_the_same_as_its_values(capsys):
    _, named, _ = run(capsys, "--fault", "boost-leak", "--json", *QUICK)
    _, spelt, _ = run(capsys, "--set", "condition.charge_leak_cm2=2", "--json", *QUICK)
    one, other = json.loads(named), json.loads(spelt)
    assert one["columns"] == other["columns"]
    assert (one["summary"].pop("fault"), other["summary"].pop("fault")) == ("boost-leak", "none named")
    assert one["summary"] == other["summary"]


def test_faults_are_listed(capsys):
    code, out, _ = run(capsys, "--list-faults")
    assert code == 0
    for name in (
        "restricted-air",
        "boost-leak",
        "worn-injectors",
        "early-governor",
        "high-back-pressure",
        "cylinder-out",
    ):
        assert f"\n{name} " in f"\n{out}"
    assert out.count("common practice, no source") == len(out.strip().splitlines())
