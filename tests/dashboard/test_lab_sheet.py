"""Lab sheets and the code table of a report: what a class reads stands in them, escaped, and nothing runs in them."""

import re

from dashboard.paper.lab_sheet import settings_record, speedo_sheet
from dashboard.trip.report import trip_report
from sim import load_settings, load_truck, run_trip
from sim.command.calibrating import concealed
from sim.inputs.sheet import settings_sheet
from sim.speedo import CAUTIONS, RUBRIC, exercise, mystery

TRUCK = load_truck("long-haul-manual").truck


def test_a_sheet_shows_predicted_measured_entries_points_and_cautions():
    truck, cause = mystery(TRUCK, 3)
    found = exercise(truck, load_settings(None, ["cruise.set_speed_km_h=100"]), entered=30900.0) | {"cause": cause}
    page = speedo_sheet(found)
    for text in (*CAUTIONS, *(words for _, words in RUBRIC), cause, "30900", "as found", "with the number entered"):
        assert text.replace("'", "&#x27;") in page or text in page, text
    assert "<script" not in page
    assert "http" not in re.sub(r"http-equiv", "", page), "the page asks nobody for anything"
    assert page.count("<svg") == 1
    bare = speedo_sheet(concealed(exercise(truck, load_settings()) | {"mystery": 3}))
    assert cause not in bare
    assert "<svg" not in bare
    assert bare.count('class="blank"') >= 8, "lines to write on"


def test_a_record_marks_what_changed():
    settings = load_settings()
    entries = settings_sheet((TRUCK, settings), (TRUCK, load_settings(None, ["road_speed.limit_km_h=105"])))
    page = settings_record("a <b> truck", entries)
    assert "a &lt;b&gt; truck" in page
    assert page.count('<tr class="changed">') == 1
    assert page.count("<tr") == len(entries) + 1


def test_a_report_lists_codes_with_their_freeze_frame_only_when_there_are_some():
    sound, broken = (
        run_trip("long-haul-manual", "grade:0%,2km", load_settings(None, more))
        for more in ([], ['faults.occur=["500 m coolant temperature open"]'])
    )
    assert "Codes of the engine controller" not in trip_report(sound)
    page = trip_report(broken)
    assert "Codes of the engine controller" in page
    assert "coolant temperature: voltage above normal" in page
    assert ">110<" in page
