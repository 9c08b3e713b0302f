"""The nine lessons: each is driven as shipped, and README's table must say what was found.

The numbers are this model's own; the table may not drift from them. What a lesson shows (which stage holds, which gear keeps
the brakes cool) is checked beside it.
"""

import re
from functools import cache
from pathlib import Path

import pytest

from sim import compare_trips
from sim.inputs.files import list_settings, load_settings_file
from sim.trips.compare import read_vary

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
LESSONS = (
    "lesson-stages",
    "lesson-gear",
    "lesson-careless",
    "lesson-snub-or-drag",
    "lesson-cruise",
    "lesson-downshift",
    "lesson-dead-pair",
    "lesson-fuel",
    "lesson-sixty",
)


@cache
def driven(lesson: str) -> list[dict]:
    """Summaries of a lesson's trips, in the order of its table."""
    file = load_settings_file(lesson)
    vary = read_vary(file.vary)
    settings = None if "settings" in vary else lesson
    return [result.summary for result in compare_trips(vary, file.road, file.truck, settings).results]


def row_of(lesson: str) -> str:
    """The lesson's row of README."""
    (row,) = [line for line in README.splitlines() if line.startswith("|") and f"`{lesson}`" in line]
    return row


def says(lesson: str, phrase: str, *values: float, within: float = 0.03) -> None:
    """README's row holds the phrase with these numbers in place of #."""
    pattern = re.escape(phrase).replace("\\#", r"(-?[0-9.]+)")
    found = re.search(pattern, row_of(lesson))
    assert found, f'the row of {lesson} does not say "{phrase}"'
    numbers = [float(number.rstrip(".")) for number in found.groups()]
    assert numbers == [pytest.approx(value, rel=within, abs=0.6 if value > 3 else 0.06) for value in values]


def test_all_nine_are_shipped_and_explain_themselves():
    assert [name for name in list_settings() if name.startswith("lesson-")] == sorted(LESSONS)
    for lesson in LESSONS:
        file = load_settings_file(lesson)
        assert file.title.startswith(f"Lesson {LESSONS.index(lesson) + 1}: ")
        assert file.road and file.truck and file.task and file.vary
        assert f"haulbench compare --settings {lesson}" in README or f"`{lesson}`" in README


def test_stages():
    first, second, third = driven("lesson-stages")
    assert (first["ended"], second["ended"], third["ended"]) == ("runaway", "runaway", "arrived")
    assert second["time_s"] > 4.0 * first["time_s"], "stage 2 only gains slowly"
    says("lesson-stages", "stage 3 holds # km/h, # rpm", 3.6 * third["max_speed_m_s"], third["max_engine_speed_rpm"])
    says("lesson-stages", "runaway after # s in stage 2, after # s in stage 1", second["time_s"], first["time_s"])


def test_gear():
    sixth, seventh, eighth, ninth = driven("lesson-gear")
    assert sixth["time_s"] > seventh["time_s"] > eighth["time_s"]
    says(
        "lesson-gear", "6th # min and # applications for the descent, before its crest, 7th # and #, 8th # and #",
        sixth["time_s"] / 60, sixth["service_brake_applications_for"]["descent"], seventh["time_s"] / 60,
        seventh["service_brake_applications_for"]["descent"], eighth["time_s"] / 60,
        eighth["service_brake_applications_for"]["descent"],
    )  # fmt: skip
    says(
        "lesson-gear", "mean brake temperature # C, # C, # C, 9th # C",
        *(trip["max_brake_temperature_c"] for trip in (sixth, seventh, eighth, ninth)),
    )  # fmt: skip


def test_careless():
    careful, careless = driven("lesson-careless")
    saved = (careful["time_s"] - careless["time_s"]) / 60
    assert careless["max_brake_temperature_c"] > 260.0 > careful["max_brake_temperature_c"] + 100.0
    says("lesson-careless", "# min sooner", saved, within=0.05)
    says(
        "lesson-careless", "mean # C against # C, by the published model (set A) # C against # C",
        careless["max_brake_temperature_c"], careful["max_brake_temperature_c"],
        careless["max_published_brake_temperature_a_c"], careful["max_published_brake_temperature_a_c"],
    )  # fmt: skip


def test_snub_or_drag():
    snub, drag = driven("lesson-snub-or-drag")
    spread = [trip["max_hottest_brake_temperature_c"] - trip["max_brake_temperature_c"] for trip in (snub, drag)]
    assert spread[1] > 1.2 * spread[0]
    says(
        "lesson-snub-or-drag", "snubbing mean # C, hottest axle # C; dragging mean # C, hottest axle # C",
        snub["max_brake_temperature_c"], snub["max_hottest_brake_temperature_c"],
        drag["max_brake_temperature_c"], drag["max_hottest_brake_temperature_c"],
    )  # fmt: skip


def test_cruise():
    trips = driven("lesson-cruise")
    over = [trip["time_over_governed_s"] for trip in trips]
    assert over[:2] == [0.0, 0.0] and over[3] > over[2] > 30.0
    says(
        "lesson-cruise", "44 and 48 stay below it (# and # rpm)", *(trip["max_engine_speed_rpm"] for trip in trips[:2])
    )
    says("lesson-cruise", "50 and 52 do not (# and # s above)", *over[2:])
    says(
        "lesson-cruise",
        "stages change # times at 44, # at 48",
        *(trip["stage_changes"] for trip in trips[:2]),
        within=0.15,
    )


def test_downshift():
    trips = driven("lesson-downshift")
    applied = [trip["service_brake_applications"] for trip in trips]
    assert applied[0] == applied[1] == 0 and min(applied[2:]) >= 1
    assert all(trip["time_over_governed_s"] < 0.1 for trip in trips)
    says(
        "lesson-downshift",
        "from 44 and 48 km/h 7th goes in at once and lands below # rpm",
        trips[1]["max_engine_speed_rpm"],
    )


def test_dead_pair():
    one, one_dead, two, two_dead, three, three_dead = driven("lesson-dead-pair")
    assert one_dead["engine_brake_stage_time_s"]["1"] == 0.0 < one["engine_brake_stage_time_s"]["1"]
    assert two_dead["time_s"] == two["time_s"], "medium does not use the middle pair"
    assert three_dead["max_speed_m_s"] == pytest.approx(two["max_speed_m_s"], rel=1e-3), "high is no more than medium"
    assert three["max_speed_m_s"] < two["max_speed_m_s"] - 3.0
    says("lesson-dead-pair", "low does nothing, medium is as it was, high holds no more than medium (# km/h at the end, not #)",
         3.6 * three_dead["max_speed_m_s"], 3.6 * three["max_speed_m_s"])  # fmt: skip


def test_fuel():
    trips = driven("lesson-fuel")
    still, windy = trips[0::2], trips[1::2]
    assert [trip["fuel_l_per_100km"] for trip in still] == sorted(trip["fuel_l_per_100km"] for trip in still)
    says("lesson-fuel", "#, #, #, # L/100 km at 80, 88, 96, 104 km/h", *(trip["fuel_l_per_100km"] for trip in still))
    per_step = 100 * (still[2]["fuel_l_per_100km"] / still[1]["fuel_l_per_100km"] - 1)
    says("lesson-fuel", "8 km/h cost # %", per_step, within=0.08)
    more = [100 * (b["fuel_l_per_100km"] / a["fuel_l_per_100km"] - 1) for a, b in zip(still, windy, strict=True)]
    says("lesson-fuel", "the wind # % at 88", more[1], within=0.05)


def test_sixty():
    tenth, ninth = driven("lesson-sixty")
    held = [tenth["engine_brake_stage_time_s"][stage] for stage in "123"]
    assert min(held) > 60.0 and ninth["engine_brake_stage_time_s"]["3"] == 0.0
    assert all(trip["warnings"] == trip["foreseen"] == [] for trip in (tenth, ninth))
    says("lesson-sixty", "in 10th stages 1, 2, 3 hold for #, #, # s, # changes", *held, tenth["stage_changes"])
    says("lesson-sixty", "in 9th stage 3 is not needed, # changes", ninth["stage_changes"])
    says(
        "lesson-sixty", "engine speed up to # against # rpm", *(trip["max_engine_speed_rpm"] for trip in (ninth, tenth))
    )
    says("lesson-sixty", "fuel # against # L/100 km", *(trip["fuel_l_per_100km"] for trip in (ninth, tenth)))
