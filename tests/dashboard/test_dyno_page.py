"""What the Dyno page is sent: columns that are the run's, lines that grow in its order, refusals in words."""

import gzip
import json

import numpy as np
import pytest

from dashboard.dyno.page import TESTS, USUAL, Run, known_test, layout
from dashboard.dyno.work import FILES, MOST_ROWS, answer_of, file_of
from dashboard.server import doors
from dashboard.server.packing import pack
from dashboard.server.setups import read_setup, setup_of
from sim import load_settings
from sim.dyno.runs import TESTS as RUNS
from sim.dyno.runs import run_dyno
from sim.errors import HaulbenchError, SettingsError


def run(test="full-load", *changes):
    return run_dyno("long-haul-manual", load_settings(None, changes), test)


def opened(packed):
    """As the browser opens it."""
    raw = gzip.decompress(packed)
    length = int.from_bytes(raw[:4], "little")
    head, at, columns = json.loads(raw[4 : 4 + length]), 4 + length, {}
    for name, count in head["columns"]:
        planes = np.frombuffer(raw[at : at + 4 * count], np.uint8).reshape(4, count)
        columns[name] = planes.T.copy().view("<f4").ravel()
        at += 4 * count
    assert at == len(raw)
    return head, columns


@pytest.fixture(scope="module")
def answers():
    return {test: (result, *opened(pack(*answer_of(result)))) for test, result in ((name, run(name)) for name in RUNS)}


def test_every_test_of_the_dyno_is_offered():
    assert set(TESTS) == set(RUNS)


@pytest.mark.parametrize("test", RUNS)
def test_lines_grow_in_the_order_of_the_run_and_end_with_it(answers, test):
    _, head, columns = answers[test]
    assert [chapter["start"] for chapter in head["chapters"]] == sorted(
        chapter["start"] for chapter in head["chapters"]
    )
    for plot in head["plots"]:
        assert plot["span"][0] < plot["span"][1] and plot["reach"][0] < plot["reach"][1]
        for line in plot["lines"]:
            x, y = columns[line["x"]], columns[line["y"]]
            assert len(x) == len(y) <= MOST_ROWS + 1
            inside = y[np.isfinite(y)]
            assert len(inside) and inside.min() >= plot["span"][0] - 1e-3 and inside.max() <= plot["span"][1] + 1e-3
            if line["play"]:
                known = columns[line["play"]]
                known = known[np.isfinite(known)]
                assert (np.diff(known) >= 0.0).all() and known.max() <= head["play_s"] + 0.2
    assert len(pack(*answer_of(answers[test][0]))) < 100_000


def test_what_is_drawn_is_what_was_run(answers):
    result, head, columns = answers["full-load"]
    shown = np.interp(
        result.columns["time_s"] - result.columns["time_s"][0], columns["run:play"], columns["run:engine_torque"]
    )
    assert shown == pytest.approx(result.columns["engine_torque_n_m"], abs=25.0)
    assert columns["table:power"] == pytest.approx(1000.0 * result.points["power_kw"], rel=1e-6, nan_ok=True)
    assert head["found"]["peak_power"] == pytest.approx(1000.0 * result.summary["peak_power_kw"], rel=1e-6)
    torque = head["plots"][0]
    assert torque["title"] == "Torque" and [line["label"] for line in torque["lines"]] == ["rated", "measured", "read"]
    low, high = (columns[name] for name in torque["lines"][0]["band"])
    assert high / low == pytest.approx(1.05 / 0.95, rel=1e-4)
    read = next(line for line in torque["lines"] if line["label"] == "read")
    # a point appears when the run passes its speed
    at = np.interp(columns[read["play"]], columns["run:play"], columns["run:engine_speed"])
    assert at == pytest.approx(columns[read["x"]], abs=1.6)


def test_points_of_the_engine_brake_appear_when_they_are_read(answers):
    result, head, columns = answers["retarding"]
    line = head["plots"][0]["lines"][-1]
    assert line["label"] == "stage 3"
    turning = np.interp(columns[line["play"]], columns["run:play"], columns["run:engine_speed"])
    assert turning == pytest.approx(columns[line["x"]], abs=0.5)
    pulled = np.interp(columns[line["play"]], columns["run:play"], -columns["run:engine_torque"])
    assert pulled == pytest.approx(columns[line["y"]], rel=0.02)
    assert [chapter["name"] for chapter in head["chapters"][1:]] == [
        f"stage {stage} as it builds" for stage in (1, 2, 3)
    ]
    assert result.summary["verdict"] == head["verdict"] == "pass"


def test_the_speeds_of_the_governor_appear_in_their_order(answers):
    result, head, columns = answers["governor"]
    lines = head["plots"][0]["lines"][1:]
    assert [line["label"].split()[0] for line in lines] == ["N1", "N2", "N3", "N5", "N6"]
    known = [float(columns[line["play"]][0]) for line in lines]
    assert known == sorted(known) and known[0] > 10.0
    assert columns[lines[0]["y"]][0] == pytest.approx(result.summary["loaded_rpm"] * np.pi / 30.0, abs=0.001)


def test_rollers_settled_steps_a_meter_and_codes():
    chassis = answer_of(run("full-load", "dyno.form=chassis"))[0]
    assert "wheel_power" in [name for name, *_ in chassis["readings"]]
    assert [line["label"] for line in chassis["plots"][1]["lines"]] == [
        "sound truck",
        "at the flywheel",
        "at the rollers",
        "read",
    ]
    steps = answer_of(run("full-load", "dyno.step_rpm=100"))[0]
    assert [line["label"] for line in steps["plots"][0]["lines"]] == ["rated", "read"]
    broken, columns = answer_of(
        run("full-load", 'faults.occur=["start boost pressure open"]', 'circuits.meters=["boost pressure"]')
    )
    assert [(code["spn"], code["active"]) for code in broken["codes"]] == [(102, True)]
    (meter,) = broken["meters"]
    assert meter["name"] == "boost pressure" and len(meter["columns"]) == 3
    assert all(len(columns[f"meters:{name}"]) == len(columns["meters:play"]) for name, *_ in meter["columns"])
    assert columns["meters:play"].max() == pytest.approx(broken["chapters"][0]["end"], abs=1.0)


@pytest.mark.parametrize("test", RUNS)
def test_every_test_is_sent_its_gauges_beside_what_is_specified(answers, test):
    result, head, _ = answers[test]
    assert head["judged"] == json.loads(json.dumps(result.summary["gauges"])) and head["judged"]
    assert head["decides"] is None and not any(row["out"] for row in head["judged"])


@pytest.mark.parametrize("test", RUNS)
def test_a_run_that_is_broken_off_is_sent_up_to_there(test):
    """Motoring and retarding burn nothing: oil pressure is what can end them."""
    result = run(test, "dyno.abort_oil_kpa=400", "dyno.stabilised=false")
    head, columns = opened(pack(*answer_of(result)))
    assert head["verdict"] == "aborted" and head["decides"]["values"]["gauge"]["kind"] == "gauge.abort_oil_pressure"
    assert columns["run:play"][-1] == pytest.approx(head["play_s"]) and head["points"] == [] and head["found"] == {}
    assert [name for name, *_ in head["numbers"]] == ["broken off after", "oil pressure"]


@pytest.mark.parametrize("name", FILES)
def test_downloads_hold_everything(name):
    inputs = read_setup(setup_of({**USUAL, "changes": {"circuits.meters": '["boost pressure"]'}}))
    content = file_of(inputs, "full-load", name, ["peak_torque_n_m=1650lb.ft"]).decode()
    result = run_dyno(inputs.truck, inputs.settings)
    if name == "report.html":
        assert "Predicted" in content or "predicted" in content
        assert 'value="2237"' in content, "1650 lb ft in N m"
    elif name == "dyno.json":
        assert json.loads(content)["summary"]["test"] == "full-load"
    else:
        rows = {
            "trace.csv": len(result.columns["time_s"]),
            "points.csv": len(result.points["time_s"]),
            "gauges.csv": len(result.summary["gauges"]),
        }
        assert content.count("\n") == 1 + rows.get(name, len(result.readings["time_s"]))


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (None, "no setup"),
        ({"setup": {}, "test": "burn"}, "burn"),
        ({"setup": {}, "test": ["full-load"]}, "full-load"),
        ({"setup": {"truck": 3}}, "truck"),
        ({"setup": {}, "more": 1}, "no setup"),
    ],
)
def test_what_is_no_question_is_refused(asked, message):
    with pytest.raises(SettingsError) as told:
        known_test(doors.read(Run, json.dumps(asked).encode()).test)
    assert message in str(told.value) or "setup" in str(told.value)


def test_a_test_that_cannot_be_made_says_why():
    inputs = read_setup(setup_of({**USUAL, "changes": {"dyno.form": "chassis"}}))
    with pytest.raises(HaulbenchError, match="made on the flywheel"):
        file_of(inputs, "governor", "trace.csv", [])
    with pytest.raises(HaulbenchError, match="peak_torque"):
        file_of(read_setup(setup_of(USUAL)), "full-load", "report.html", ["peak_torq=3"])


def test_an_address_names_its_test_or_the_first_is_shown():
    assert '"test": "governor"' in getattr(layout({"?": "test=governor", "test": "governor"}), "data-dyno")
    assert '"test": "full-load"' in getattr(layout({"?": "test=x", "test": "<script>"}), "data-dyno")
