"""A study tells readers of one system of units nothing in the other: the command, the list, the report, the page's answer."""

import csv
import json
import re

import numpy as np
import plotly.graph_objects as go
import pytest
from dash.development.base_component import Component
from strangers import strangers

from dashboard.fuel_study.figures import figures_of
from dashboard.fuel_study.page import file_of, results
from dashboard.fuel_study.report import study_report
from sim.command.study_words import study_text
from sim.studies.findings import answer_of, answers_json
from sim.studies.runner import run_study
from sim.units import MILE, SYSTEMS
from sim.wording import kinds_in, said

COMMON = {"form": 1, "title": "On a short hill", "question": "What does it do?", "truck": "long-haul-manual"}
REPORT = [
    "time_s",
    "fuel_l_per_100km",
    "max_brake_temperature_c",
    "max_speed_m_s",
    "distance_m",
    "least_tank_pressure_kpa",
]
MOVING = ["start.speed_km_h=40"]
STUDIES = {
    "cases": {
        "case": [{"name": "as it is"}, {"name": "windy", "set": ["weather.wind_m_s=8"]}],
        "vary": {"road": ["grade:-3%,0.6km,500m", "grade:-2%,0.6km,500m"]},
    },
    "grid": {
        "vary": {"start.speed_km_h": [30, 60], "weather.wind_m_s": [-4, 4], "start.oil_temperature_c": [20, 90]},
        "set": ["drill.hold_gear=8"],
    },
    "grid of one key": {"vary": {"vehicle.mass_kg": [20000, 30000]}, "set": MOVING},
    "with refused trips": {"vary": {"drill.hold_gear": [8, 12], "driver.reaction_s": [1.0, 2.0]}, "set": MOVING},
    "sample": {
        "sample": {"trips": 16, "between": {"weather.wind_m_s": [-5, 5], "vehicle.drag_area_m2": [4, 6]}},
        "set": MOVING,
    },
    "search": {
        "best": {
            "least": "time_s",
            "trips": 40,
            "between": {"start.speed_km_h": [30, 60, 5], "driver.acceleration_m_s2": [0.2, 0.4, 0.1]},
            "at_most": {"max_speed_m_s": 15},
        }
    },
    "search that finds none": {
        "best": {
            "least": "time_s",
            "trips": 20,
            "between": {"start.speed_km_h": [30, 60, 10]},
            "at_most": {"time_s": 5},
        }
    },
    "fuel test": {"fuel_test": {"set": ["vehicle.drag_area_m2=5"], "runs": 2}, "road": "grade:0%,1km"},
}


@pytest.fixture(scope="module", params=STUDIES)
def result(request):
    return run_study(
        {"road": "", "report": REPORT, **COMMON, **road_of(STUDIES[request.param]), **STUDIES[request.param]}
    )


def road_of(study):
    return {} if "road" in study.get("vary", {}) else {"road": "grade:-3%,0.6km,500m"}


def texts_in(part):
    """Every text of what a page or a figure is made of."""
    if isinstance(part, str):
        return texts_in(json.loads(part)) if part.startswith('{"heads"') else [part]
    if isinstance(part, dict):
        part = list(part.values())
    if isinstance(part, list | tuple):
        return [text for each in part for text in texts_in(each)]
    if isinstance(part, Component):
        return texts_in(
            {name: value for name, value in part.to_plotly_json()["props"].items() if name not in ("href", "id")}
        )
    return texts_in(part.to_dict()) if isinstance(part, go.Figure) else []


def page_of(result, units):
    class Finished:
        pass

    running = Finished()
    running.result = result
    return texts_in(results(running, "0" * 32, units))


def without_names(text):
    """Without names of roads and cautions, which stand as somebody has written them, and without colours."""
    return re.sub(r"grade:\S+|constant grade of [^.;\n]*|#[0-9A-F]{6}\b", "", text)


@pytest.mark.parametrize("units", SYSTEMS)
def test_the_command(result, units):
    lines = study_text(result, units).splitlines()
    asked = next(
        number for number, line in enumerate(lines) if "; truck " in line or " trips driven, " in line or " of " in line
    )
    # what all trips share is told as it was typed
    assert not [line for line in lines[asked + 2 :] if strangers(without_names(line), units)]


@pytest.mark.parametrize("units", SYSTEMS)
def test_the_list_for_people(result, units):
    rows = list(csv.reader(result.csv(units).splitlines()))
    unit_of = {name: re.search(r"\[(.*)\]$", name) for name in rows[0]}
    assert not [name for name, unit in unit_of.items() if unit and strangers(f"1 {unit[1]}", units)]
    assert len(rows) == result.trips + 1 and len({len(row) for row in rows}) == 1
    assert not [cell for row in rows[1:] for cell in row if strangers(without_names(cell), units)]
    assert file_of(result, "results.csv", units) == result.csv(units).encode()
    if "distance_m" in result.report:
        shown, unit = (
            rows[0].index(f"distance [{'m' if units == 'metric' else 'ft'}]"),
            1.0 if units == "metric" else 0.3048,
        )
        far = [float(row[shown]) * unit for row in rows[1:] if row[shown]]
        assert far == pytest.approx(
            result.column("distance_m")[~np.isnan(result.column("distance_m"))].tolist(), rel=1e-6
        )


@pytest.mark.parametrize("units", SYSTEMS)
def test_the_answer_of_the_page(result, units):
    texts = page_of(result, units)
    assert len(texts) > 20 and not [text for text in texts if strangers(without_names(text), units)]


@pytest.mark.parametrize("units", SYSTEMS)
def test_the_figures(result, units):
    drawn = [texts_in([title, caption, figure]) for title, caption, figure in figures_of(result, units)]
    assert drawn and not [text for texts in drawn for text in texts if strangers(without_names(text), units)]


def test_the_report_has_both_beside_each_other(result):
    report = study_report(result)
    for text in (said(found, "both") for found in answer_of(result)):
        assert text.replace('"', "&quot;").replace("'", "&#x27;") in report or text in report
    assert strangers(report, "us") or result.plan.study.fuel_test


def test_the_answer_is_kept_as_findings(result):
    kept = json.loads(answers_json(result))
    assert kept["answer"] and all(kind.startswith("study.") for kind in kinds_in(kept["answer"]))
    for units in SYSTEMS:
        assert [said(found, units) for found in kept["answer"]] == [said(found, units) for found in answer_of(result)]


def test_a_list_for_both_has_a_column_for_each(tmp_path):
    study = {**COMMON, "road": "grade:0%,0.5km", "report": ["distance_m"], "vary": {"start.speed_km_h": [40, 80]}}
    result = run_study(study, tmp_path / "s", units="both")
    (head, first, second) = csv.reader((tmp_path / "s" / "results.csv").read_text().splitlines())
    row = dict(zip(head, second, strict=True))
    assert float(row["start speed [km/h]"]) == 80 and float(row["start speed [mi/h]"]) == pytest.approx(
        80e3 / MILE, rel=1e-6
    )
    assert {"distance [m]", "distance [ft]", "ended"} < set(head) and first[0] == "1" and result.complete
