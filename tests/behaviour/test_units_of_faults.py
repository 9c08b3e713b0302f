"""A hidden fault, the sheet of programmed values and lab sheets: nothing in the units of other readers, and the same quantities."""

import html
import json
import re

import pytest
from test_units_of_readers import strangers

from dashboard.paper.lab_sheet import fault_sheet, speedo_sheet
from sim.command.main import main
from sim.hidden.menu import every_request
from sim.hidden.record import reading_words
from sim.hidden.session import ask, hidden_in, start
from sim.hidden.truck_under_test import TruckUnderTest
from sim.inputs.files import load_settings, load_truck
from sim.speedo import exercise
from sim.units import MILE_PER_HOUR, POUND_PER_SQUARE_INCH, SYSTEMS, shown_unit, to_si

MISLED = 3  # a practice case of level 1 with a code
ROAD = "grade:4%,2km"  # as it is typed
TRUCK = load_truck("long-haul-manual").truck


@pytest.fixture(scope="module")
def session():
    """Every test of the menu, meter and wire on one part, after drives that leave codes with freeze frames; at last the codes."""
    record, key = start(1, MISLED)
    truck = TruckUnderTest(hidden_in(record, key))
    requests = [*every_request(True), *every_request(False)]
    tests = [each.text for each in requests if each.name not in ("meter", "wire") or each.about == "boost pressure"]
    for test in [f"drive {ROAD}", *tests, "codes"]:
        ask(record, key, test, truck=truck)
    return record


def told(page: str) -> list[str]:
    """What a reader sees of a page."""
    page = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    texts = [html.unescape(text) for text in re.findall(r">([^<]+)<", page)]
    return [text.replace(ROAD, "") for text in texts if text != TRUCK.name]  # as somebody has written them


@pytest.mark.parametrize("units", SYSTEMS)
def test_every_reading_and_freeze_frame_of_a_session(session, units):
    texts = [text for entry in session["tests"] for each in entry["readings"] for text in reading_words(each, units)]
    assert any("rpm" in text and "gauge" in text for text in texts), "there is a freeze frame"
    assert not [text for text in texts if strangers(text, units)]


def test_a_pressure_says_from_where_it_counts(session):
    """But for a difference of two, such as what the air filter takes away."""
    kinds = {
        each["quantity"] for entry in session["tests"] for each in entry["readings"] if "air gauge" not in entry["test"]
    }
    assert {"absolute pressure", "gauge pressure"} <= kinds and "pressure difference" not in kinds


def test_the_readings_are_the_same_quantities(session):
    measured = {entry["test"]: {each["name"]: each for each in entry["readings"]} for entry in session["tests"]}
    air = measured["gauge barometric pressure"]["idling"]
    assert air["value"] == pytest.approx(101325.0, abs=100.0)
    for units, unit in (("metric", 1000.0), ("us", POUND_PER_SQUARE_INCH)):
        number, _, after = reading_words(air, units)[0].partition(" ")
        assert float(number) * unit == pytest.approx(101325.0, rel=0.005) and after.endswith("absolute")
    fastest = measured["drive climb"]["highest speed, timed"]
    for units, unit in (("metric", to_si(1.0, "km_h")), ("us", MILE_PER_HOUR)):
        found, sound = reading_words(fastest, units)
        assert float(found.split()[0]) * unit == pytest.approx(fastest["value"], abs=0.05 * unit)
        assert float(sound.split("± ")[1]) * unit == pytest.approx(fastest["within"], rel=0.05)


@pytest.mark.parametrize("units", SYSTEMS)
def test_lab_sheets(session, units):
    mile = speedo_sheet(exercise(TRUCK, load_settings(None, ["cruise.set_speed_km_h=100"]), entered=30900.0), units)
    pages = [told(fault_sheet({**session, "marking": None}, units)), told(mile)]
    assert all(any(shown_unit("speed", units) in text for text in page) for page in pages)
    assert not [text for page in pages for text in page if strangers(text, units)]


@pytest.mark.parametrize("units", SYSTEMS)
def test_commands(tmp_path, capsys, units):
    file, out = str(tmp_path / "case.json"), tmp_path / "out"
    shown = ["--units", units]
    assert main(["fault", "start", file, "--practice", str(MISLED)]) == 0
    for test in ("drive climb", "codes", "record", "rollers"):
        assert main(["fault", "do", file, *test.split(), *shown]) == 0
    assert main(["fault", "report", file, "--out", str(out / "fault"), *shown]) == 0
    for _ in range(3):
        assert main(["fault", "answer", file, "--part", "tyres", "--failure", "another size than programmed"]) == 0
    assert main(["fault", "report", file, *shown]) == 0
    assert main(["fault", "list"]) == 0
    change = ["--set", "road_speed.limit_km_h=105"]
    assert main(["sheet", *change, "--out", str(out / "record"), *shown]) == 0
    texts = capsys.readouterr().out.replace(ROAD, "").splitlines()
    texts += told((out / "fault" / "sheet.html").read_text(encoding="utf-8"))
    texts += told((out / "record" / "record.html").read_text(encoding="utf-8"))
    assert "freeze frame" in "".join(texts)
    assert not [text for text in texts if strangers(text, units)]


@pytest.mark.parametrize(("units", "limit", "unit"), [("metric", 105.0, "km/h"), ("us", 65.244, "mi/h")])
def test_the_sheet_has_every_value_in_the_unit_it_names(capsys, units, limit, unit):
    assert main(["sheet", "--set", "road_speed.limit_km_h=105", "--units", units]) == 0
    rows = {
        row[0]: row[1:]
        for row in (re.split(r"  +", line.strip("* ")) for line in capsys.readouterr().out.splitlines())
        if row
    }
    old, new, written, allowed, _ = rows["road_speed.limit_km_h"]
    assert (float(old), float(new), written) == (0.0, limit, unit)
    assert float(allowed.split(" to ")[1]) / limit == pytest.approx(140.0 / 105.0, rel=1e-4)
    assert rows["cooling.fan_on_c"][2] == {"metric": "°C", "us": "°F"}[units]
    other = {"metric": {"mi/h", "°F", "ft/s²", "psi"}, "us": {"km/h", "°C", "m/s²", "kPa"}}[units]
    assert not other & {row[2] for row in rows.values() if len(row) == 5}
    main(["sheet", "--json"])
    machine = {row["key"]: row for row in json.loads(capsys.readouterr().out)}
    assert machine["cooling.fan_on_c"]["unit"] == "c" and machine["cooling.fan_on_c"]["old"] == 102.0
