"""What the Speedometer page is sent and how a measured mile is marked; speed is distance over time, by definition."""

import csv
import io
import json

import numpy as np
import pytest
from serving import AtOnce, Visitor
from test_dyno_page import opened

from dashboard.app import create_app
from dashboard.server.runs import Workshop
from dashboard.speedometer.work import entries_of, marked, mile_to_watch
from sim.errors import SettingsError
from sim.inputs.one_trip import read_inputs
from sim.speedo import APPROACH, calibration_of, mystery
from sim.units import KILOMETRE_PER_HOUR, MILE, MILE_PER_HOUR

SETUP = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults", "changes": {}}
WRONG_TYRES = {
    **SETUP,
    "changes": {"tyres.rolling_radius_m": "0.53", "speedometer.programmed_pulses_per_mile": "28102"},
}
CRAWLING = {
    "driveline.axle_ratio": "8",
    "speedometer.tone_wheel_teeth": "120",
    "tyres.rolling_radius_m": "0.3",
    "speedometer.programmed_pulses_per_mile": "4000",
}
MILE_OF_60 = {"mystery": 7, "shown_mi_h": 60, "miles": 1}
SHOWN = 60.0 * MILE_PER_HOUR


@pytest.fixture(scope="module")
def client():
    return Visitor(create_app(Workshop(AtOnce())))


def post(client, what, **body):
    return client.post(f"/speedometer/{what}", json=body)


def entries(truck, seconds_off=0.0, speed_off=1.0):
    """What a careful student enters for a truck that holds 60 mi/h on its needle."""
    calibration = calibration_of(truck)
    true = calibration.true(SHOWN)
    speed = speed_off * 3.6 * MILE / (MILE / true + seconds_off)
    read = SHOWN / KILOMETRE_PER_HOUR
    return {"seconds": MILE / true + seconds_off, "read_km_h": read, "speed_km_h": speed,
            "pulses": calibration.told_pulses_per_mile * read / speed}  # fmt: skip


def test_a_needle_that_shows_too_little_fails_and_the_truck_goes_over_the_limit(client):
    told = post(client, "look", setup=WRONG_TYRES).json()
    state = told["state"]
    ratio = state["calibration"]["shown_over_true"]
    assert ratio == pytest.approx(state["calibration"]["fitted_pulses_per_mile"] / 28102.0)
    assert state["verdict"]["shown_speed_m_s"] == pytest.approx(ratio * 50.0 * MILE_PER_HOUR)
    assert state["verdict"]["verdict"] == "pass" and state["posted_run"]["time_over_limit_s"] > 100.0
    changed = [row[0] for row in told["record"]["metric"] if row[6]]
    assert changed == ["speedometer.programmed_pulses_per_mile"], "tyres are fitted, not programmed"


def test_a_mile_to_watch_passes_both_posts_and_tells_no_speed_but_the_needles():
    inputs = read_inputs("grade:0%,1km", "long-haul-manual")
    head, columns = opened(mile_to_watch(inputs, 7, SHOWN, 1.0, None, False))
    assert set(head) == {"truck", "length_m", "told", "shown_m_s", "columns"} and set(columns) == {
        "time_s", "distance_m", "indicated_speed_m_s"
    }  # fmt: skip
    assert -APPROACH <= columns["distance_m"][0] < -APPROACH + 20.0 and columns["distance_m"][-1] > MILE + 50.0
    truck = mystery(inputs.truck.truck, 7)[0]
    times = np.interp((0.0, MILE), columns["distance_m"], columns["time_s"])
    assert times[1] - times[0] == pytest.approx(MILE / calibration_of(truck).true(SHOWN), rel=0.003)
    assert columns["indicated_speed_m_s"].mean() == pytest.approx(SHOWN, rel=0.005)
    again = opened(mile_to_watch(inputs, 7, SHOWN, 1.0, calibration_of(truck).fitted_pulses_per_mile, False))[1]
    assert again["time_s"][-1] != pytest.approx(columns["time_s"][-1], abs=0.5), "the truck drives as it is told"


def test_a_careful_student_is_within_everywhere_and_finds_the_cause():
    inputs = read_inputs("grade:0%,1km", "long-haul-manual")
    truck, cause = mystery(inputs.truck.truck, 7)
    found = marked(inputs, 7, SHOWN, 1.0, False, entries(truck))
    assert [step["within"] for step in found["steps"]] == [True] * 4
    assert found["score"] == 3 and found["cause"] == cause
    assert found["after"]["effects"]["speed_error_percent"] == pytest.approx(0.0, abs=0.1)
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize(("off", "wrong"), [({"seconds_off": 3.0}, 0), ({"speed_off": 1.1}, 2)])
def test_a_slip_is_marked_where_it_was_made(off, wrong):
    inputs = read_inputs("grade:0%,1km", "long-haul-manual")
    truck = mystery(inputs.truck.truck, 7)[0]
    found = marked(inputs, 7, SHOWN, 1.0, False, entries(truck, **off))
    assert [step["within"] for step in found["steps"]] == [place != wrong for place in range(4)]
    assert found["score"] < 3


def test_means_of_both_ways_are_marked_by_means_and_a_product_can_be_entered():
    """The wind is from ahead one way and from behind the other; a truck short of power is slower against it."""
    inputs = read_inputs("grade:0%,1km", "older-long-haul", changes=["weather.wind_m_s=20"])
    truck = mystery(inputs.truck.truck, 7)[0]
    times = []
    for back in (False, True):
        columns = opened(mile_to_watch(inputs, 7, SHOWN, 1.0, None, back))[1]
        begin, end = np.interp((0.0, MILE), columns["distance_m"], columns["time_s"])
        times.append(end - begin)
    assert times[0] > times[1] + 1.5
    c = calibration_of(truck)
    product = f"{c.tyre_revolutions_per_mile:.1f} x {c.axle_ratio:g} x {c.teeth}"
    given = entries(truck) | {"seconds": sum(times) / 2.0, "pulses": product}
    for both in (True, False):
        steps = marked(inputs, 7, SHOWN, 1.0, both, entries_of(given))["steps"]
        assert (steps[0]["within"], steps[3]["entered"]) == (
            both,
            pytest.approx(c.fitted_pulses_per_mile, rel=1e-3),
        )


@pytest.mark.parametrize("text", ["", None, "x", "-3", "0", "nan", "inf", True, []])
def test_an_entry_that_is_no_number_is_named(text):
    with pytest.raises(SettingsError, match=r"needle: .* is no number above 0; write a number such as"):
        entries_of({"seconds": 60, "read_km_h": text, "speed_km_h": 96, "pulses": 28000})


@pytest.mark.parametrize(
    ("what", "body", "message"),
    [
        ("mile", {**MILE_OF_60, "shown_mi_h": 90}, "allowed is 20 to 74 mi/h"),
        ("mile", {**MILE_OF_60, "miles": 40}, "allowed is 0.25 to 10"),
        (
            "mile",
            {**MILE_OF_60, "miles": "1"},
            "miles: '1' was given; give a number",
        ),
        ("mile", {**MILE_OF_60, "mystery": -1}, "allowed is a whole number from 0"),
        (
            "mile",
            {**MILE_OF_60, "mystery": True},
            "mystery: 'True' was given; give a whole number",
        ),
        ("mile", {**MILE_OF_60, "entered": 3}, "3 pulses per mile cannot be programmed"),
        ("mark", {**MILE_OF_60, "entries": {"seconds": 60}}, "needle"),
        ("mark", MILE_OF_60, "stopwatch"),
        ("look", {"more": 1}, "setup"),
        ("look", {"setup": {**SETUP, "changes": CRAWLING}}, "who keeps to it does not come to the end of the road"),
        ("mile", {**MILE_OF_60, "mystery": None, "setup": {**SETUP, "changes": CRAWLING}}, "who keeps to it"),
        ("look", {"setup": {**SETUP, "changes": {"tyres.rolling_radius_m": "9"}}}, "rolling_radius_m"),
    ],
)
def test_what_cannot_be_is_refused_in_words(client, what, body, message):
    assert message in post(client, what, **{"setup": SETUP, **body}).json()["message"]


def test_records_and_the_lab_sheet_are_whole(client):
    query = "truck=long-haul-manual&road_speed.limit_km_h=95&cruise.least_rpm=1200"
    rows = list(csv.DictReader(io.StringIO(client.get(f"/speedometer/record.csv?{query}").text)))
    changed = {row["key"]: (row["before"], row["after"]) for row in rows if row["changed"] == "true"}
    assert changed == {"road_speed.limit_km_h": ("0", "95"), "cruise.least_rpm": ("1100", "1200")}
    page = client.get(f"/speedometer/record.html?{query}")
    assert "Record of programmed values" in page.text and "attachment" in page.headers["Content-Disposition"]
    assert client.get("/speedometer/record.exe").status_code == 404
    truck = mystery(read_inputs("grade:0%,1km", "long-haul-manual").truck.truck, 7)[0]
    sheet = post(client, "sheet", setup=SETUP, **MILE_OF_60, entries=entries(truck)).json()["sheet"]
    assert "Measured mile" in sheet and "What had happened" in sheet and "3 of 4" in sheet
