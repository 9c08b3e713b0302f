"""Where the extremes of a trip were: against a trace with a row for every tick, and the same whatever the trace leaves out."""

import re

import pytest

from sim import load_settings, run_trip
from sim.command.words import summary_text
from sim.trips.result import PEAKS, peak_text
from sim.units import MILE
from sim.wording import said

COLUMNS = {
    "max_speed_m_s": "speed_m_s",
    "max_engine_speed_rpm": "engine_speed_rpm",
    "max_brake_temperature_c": "brake_temperature_c",
    "least_tank_pressure_kpa": "reservoir_pressure_kpa",
}
# a careless driver heats the brakes on the way down
CHANGES = ("simulation.log_s=0.01", "simulation.tick_s=0.01", "drill.careless=true")


@pytest.fixture(scope="module")
def result():
    return run_trip("long-haul-manual", "ollen-pass", load_settings(None, CHANGES))


def test_a_peak_is_where_the_trace_of_every_tick_has_it(result):
    place, grade = result.trace["distance_m"], result.trace["grade_percent"] / 100.0
    assert set(COLUMNS) < set(PEAKS)
    for key, column in COLUMNS.items():
        values = result.trace[column]
        row = values.argmin() if key.startswith("least") else values.argmax()
        peak = result.summary["peaks"][key]
        assert values[row] == pytest.approx(result.summary[key], rel=1e-6)
        phase = "descent" if grade[row] <= -0.015 else "climb" if grade[row] >= 0.015 else "level"
        assert peak["kind"] == f"peak.{phase}", key
        assert peak["values"]["place"] == pytest.approx(place[row], abs=1.0), key


def test_a_thinned_trace_tells_the_same_places(result):
    thin = run_trip("long-haul-manual", "ollen-pass", load_settings(None, ("simulation.log_s=30", *CHANGES[1:])))
    assert thin.summary["peaks"] == result.summary["peaks"]


def test_what_was_so_from_the_start_says_so():
    flat = run_trip("long-haul-manual", "grade:0%,0.5km")
    assert said(flat.summary["peaks"]["max_brake_temperature_c"], "us") == "at the start"
    assert peak_text(flat.summary, "max_brake_temperature_c", "us").endswith("°F at the start")


def test_people_read_place_and_phase_in_their_units(result):
    peak = result.summary["peaks"]["max_brake_temperature_c"]["values"]["place"]
    for units, unit, metres in (("metric", "km", 1000.0), ("us", "mi", MILE)):
        found = re.search(rf"mean of the brakes .* at ([0-9.]+) {unit}, on the descent", summary_text(result, units))
        assert float(found[1]) * metres == pytest.approx(peak, abs=0.051 * metres)
