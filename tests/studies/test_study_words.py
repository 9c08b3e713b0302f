"""What a person reads on the terminal about a study: numbers as answered, notes first, cautions last, lines that fit."""

import re
import threading

import pytest

from sim.command.study_words import study_text
from sim.studies.runner import run_study
from sim.trips.result import CAUTIONS

ROAD = "grade:-3%,0.6km,500m"
COMMON = {
    "form": 1,
    "title": "On a short hill",
    "question": "What does it do?",
    "truck": "long-haul-manual",
    "road": ROAD,
}
STUDIES = {
    "cases": {"case": [{"name": "as it is"}, {"name": "windy", "set": ["weather.wind_m_s=8"]}]},
    "small grid": {"vary": {"drill.hold_gear": [7, 8]}, "set": ["start.speed_km_h=40"]},
    "large grid": {
        "vary": {"drill.hold_gear": [7, 8, 9], "weather.wind_m_s": {"from": -5, "to": 5, "steps": 11}},
        "set": ["start.speed_km_h=40"],
    },
    "sample": {"sample": {"trips": 16, "between": {"weather.wind_m_s": [-5, 5]}}, "set": ["start.speed_km_h=40"]},
    "search": {
        "best": {
            "least": "time_s",
            "trips": 40,
            "between": {"start.speed_km_h": [30, 60, 1]},
            "at_most": {"time_s": 50},
        }
    },
    "fuel test": {"fuel_test": {"set": ["vehicle.drag_area_m2=5"]}, "road": "grade:0%,3km"},
}


@pytest.fixture(scope="module", params=sorted(STUDIES))
def result(request):
    return run_study({**COMMON, **STUDIES[request.param]})


@pytest.mark.parametrize("units", ["us", "metric", "both"])
def test_lines_fit_and_cautions_come_last(result, units):
    lines = study_text(result, units).splitlines()
    assert max(map(len, lines)) <= 120
    assert lines[0] == "On a short hill" and "What does it do?" in lines[1]
    assert " ".join(lines).rstrip().endswith(CAUTIONS[-1])


def test_the_numbers_are_those_of_the_answers(result):
    text = " ".join(study_text(result, "metric").split())
    answers = result.answers
    if "best" in answers:
        assert f"{answers['best']['settings']['start.speed_km_h']:g} km/h" in text
        assert f"{result.trips} trips driven, 40 at most" in text
    elif "fuel_test" in answers:
        saved, gained = (answers["fuel_test"][f"{what}_percent"] for what in ("saved", "improvement"))
        assert f"{saved:.2f}" in text or f"{saved:.1f}" in text
        assert f"{gained:.2f}" in text or f"{gained:.1f}" in text
    elif result.plan.study.sample:
        found = answers["sensitivity"]["time_s"]
        wind = result.column("weather.wind_m_s")
        change = found["keys"]["weather.wind_m_s"]["per_unit"] * (wind.max() - wind.min())
        assert f"{change:+.1f} s from {wind.min():.3f} m/s to {wind.max():.3f} m/s" in text
        assert f"explain {100.0 * found['explained']:.1f} %" in text
    else:
        found = answers["quantities"]["time_s"]
        shown = {f"{int(value // 60)}:{value % 60:02.0f}" for value in (found["least"], found["most"])}
        assert any(re.search(rf"\b{time}\b", text) for time in shown), shown


def test_notes_come_before_the_numbers():
    study = {**COMMON, **STUDIES["large grid"]}
    stop = threading.Event()
    partial = run_study(study, progress=lambda progress: stop.set() if progress.done >= 5 else None, stop=stop)
    lines = study_text(partial, "both").splitlines()
    place = next(number for number, line in enumerate(lines) if "Partial: 5 of 33 trips are finished" in line)
    assert place < 6
    refused = run_study({**COMMON, "vary": {"drill.hold_gear": [8, 12]}})
    text = study_text(refused, "both")
    assert "1 of 2 trips could not be driven" in text and "gears 1 to 10" in text
