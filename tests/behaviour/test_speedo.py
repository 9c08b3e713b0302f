"""The speedometer: what is fitted, what is told, the published band, and the measured mile."""

import json
import math

import pytest

from sim import load_settings, load_truck
from sim.command.main import main
from sim.errors import SettingsError, SpecError
from sim.inputs.sheet import settings_sheet
from sim.speedo import (
    Calibration,
    band,
    calibration_of,
    effects,
    entered_pulses,
    exercise,
    measured_mile,
    mystery,
    posted_run,
    score,
    told,
    verdict,
    wear,
)
from sim.units import KILOMETRE_PER_HOUR, MILE, MILE_PER_HOUR

TRUCK = load_truck("long-haul-manual").truck
FITTED = calibration_of(TRUCK).fitted_pulses_per_mile


def test_the_calibration_is_the_product_of_its_parts():
    """M = 63,360/(pi D), PPM = M x axle x teeth: kinematics. r 0.49 m, 3.36, 16 teeth: 522.7 rev/mi, about 28,100 (derived)."""
    found = calibration_of(TRUCK)
    assert found.tyre_revolutions_per_mile == pytest.approx(522.7, abs=0.05)
    assert found.fitted_pulses_per_mile == pytest.approx(28100, abs=50)
    assert found.ratio == 1.0


def test_an_axle_left_at_4_11_shows_51_8_at_60():
    """Worked: 16 teeth, axle 3.55, 500 rev/mi; left at 4.11 the display shows 51.8 mi/h at a true 60 (arithmetic)."""
    found = Calibration(500.0, 3.55, 16, 28400.0, 32880.0)
    assert found.shown(60.0 * MILE_PER_HOUR) / MILE_PER_HOUR == pytest.approx(51.8, abs=0.05)
    assert found.true(found.shown(20.0)) == pytest.approx(20.0)


@pytest.mark.parametrize(("share", "passes"), [(0.90, True), (0.895, False), (1.0, True), (1.10, True), (1.105, False)])
def test_the_published_band_is_five_miles_at_fifty(share, passes):
    """49 CFR 393.82 (70 FR 48054, 2005), published: within 5 mi/h at 50 mi/h, ends included."""
    found = verdict(Calibration(500.0, 3.36, 16, share * 28000.0, 28000.0))
    assert found["shown_speed_m_s"] / MILE_PER_HOUR == pytest.approx(50.0 * share)
    assert (found["verdict"] == "pass") == passes
    assert [end / MILE_PER_HOUR for end in band()] == pytest.approx([45.0, 55.0])


def test_one_ratio_moves_needle_odometer_economy_cruise_and_limit():
    settings = load_settings(None, ["cruise.set_speed_km_h=100", "road_speed.limit_km_h=105"])
    found = effects(Calibration(500.0, 3.36, 16, 30800.0, 28000.0), settings)
    assert found["speed_error_percent"] == pytest.approx(10.0)
    assert found["odometer_error_percent"] == pytest.approx(10.0)
    assert found["shown_fuel_l_per_100km_error_percent"] == pytest.approx(100.0 / 1.1 - 100.0)
    assert found["cruise_set_true_m_s"] * 3.6 == pytest.approx(100.0 / 1.1)
    assert found["road_speed_limit_true_m_s"] * 3.6 == pytest.approx(105.0 / 1.1)


def test_a_driver_who_keeps_to_the_needle_breaks_the_limit_with_a_needle_that_reads_low():
    low, right = posted_run(told(TRUCK, 1.06 * FITTED)), posted_run(TRUCK)
    assert right["time_over_limit_s"] == 0.0
    assert low["time_over_limit_s"] > 0.9 * low["time_s"]
    assert low["mean_speed_m_s"] == pytest.approx(1.06 * right["mean_speed_m_s"], rel=5e-3)
    assert low["shown_distance_m"] == pytest.approx(low["distance_m"] / 1.06, rel=1e-3)
    assert low["shown_fuel_mpg_us"] == pytest.approx(low["fuel_mpg_us"] / 1.06, rel=1e-3)
    assert low["fuel_mpg_us"] < right["fuel_mpg_us"], "faster costs fuel"


def test_the_measured_mile_finds_the_number_within_what_thumb_and_eye_allow():
    """A thumb of 0.12 s at each post over a minute, and a needle read to half a mile an hour: about 1 % together."""
    truck, cause = mystery(TRUCK, 0)
    assert cause
    fitted = calibration_of(truck).fitted_pulses_per_mile
    for seed in (1, 2, 3):
        mile = measured_mile(truck, 60.0 * MILE_PER_HOUR, 1.0, seed)
        assert mile.true_speed_m_s == pytest.approx(mile.shown_speed_m_s / calibration_of(truck).ratio, rel=1e-3)
        assert mile.timed_s == pytest.approx(mile.true_time_s, abs=0.8)
        assert mile.timed_s != mile.true_time_s
        assert mile.corrected_pulses_per_mile == pytest.approx(fitted, rel=0.015)
        assert mile.distance_m == MILE
    assert measured_mile(truck, 60.0 * MILE_PER_HOUR, 1.0, 2) == measured_mile(truck, 60.0 * MILE_PER_HOUR, 1.0, 2)


def test_the_mean_of_both_ways_is_nearer_than_one_way():
    """Errors of thumb and eye that do not lean to one side halve their square in a mean of two; wind leans one way at a time."""
    truck, _ = mystery(TRUCK, 3)
    fitted = calibration_of(truck).fitted_pulses_per_mile
    settings = load_settings(None, ["weather.wind_m_s=8"])
    off: dict[bool, float] = {}
    for both in (False, True):
        sheets = [exercise(truck, settings, seed=seed, both_ways=both) for seed in range(1, 9)]
        off[both] = sum((sheet["mile"]["corrected_pulses_per_mile"] / fitted - 1.0) ** 2 for sheet in sheets)
    assert off[True] < 0.8 * off[False]
    there, back = sheets[0]["mile_ways"]
    mean = sheets[0]["mile"]
    assert there != back
    for name in ("read_speed_m_s", "measured_speed_m_s", "timed_s"):
        assert mean[name] == pytest.approx(0.5 * (there[name] + back[name]))
    share = mean["read_speed_m_s"] / mean["measured_speed_m_s"]
    assert mean["corrected_pulses_per_mile"] == pytest.approx(mean["told_pulses_per_mile"] * share)


def test_a_number_is_entered_as_it_is_or_as_tyre_axle_and_teeth():
    """502 rev/mi x 3.90 x 16 teeth = 31,324.8 (derived)."""
    for text in ("31324.8", "502x3.90x16", " 502 x 3.9 \u00d7 16 ", "502*3.90*16"):
        assert entered_pulses(text) == pytest.approx(31324.8)
    for text in ("", "502x3.90", "502x3.90x", "502 3.90 16", "502x3.90x0", "-502x3.90x-16", "nan"):
        with pytest.raises(SettingsError, match="tyre revolutions per mile x axle ratio x teeth"):
            entered_pulses(text)


def test_worn_tyres_turn_more_often_and_a_half_worn_number_is_off_as_much_either_way():
    """The radius shrinks by the tread: 24/32 in of a drive tyre from new to the least of 49 CFR 393.75(c)."""
    found = wear(calibration_of(TRUCK))
    radius = TRUCK.tyres.rolling_radius_m
    share = radius / (radius - 24.0 / 32.0 * 0.0254)
    assert found["worn_out_error_percent"] == pytest.approx(100.0 * (share - 1.0))
    assert found["worn_out_error_percent_told_half_worn"] == pytest.approx(
        -found["new_error_percent_told_half_worn"], rel=0.05
    )
    assert 0.45 < found["worn_out_error_percent_told_half_worn"] / found["worn_out_error_percent"] < 0.55
    worn = told(
        TRUCK.model_copy(update={"tyres": TRUCK.tyres.model_copy(update={"rolling_radius_m": radius - 0.008})}), FITTED
    )
    text = f"{calibration_of(TRUCK).tyre_revolutions_per_mile}x3.36x16"
    assert entered_pulses(text, 0.008) == pytest.approx(calibration_of(worn).fitted_pulses_per_mile)


def test_the_command_takes_the_product_and_the_tread_that_is_gone(capsys):
    assert main(["speedo", "--mystery", "3", "--both-ways", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert [set(way) for way in first["mile_ways"]] == [set(first["mile"])] * 2
    assert main(["speedo", "--entered", "522.7x3.36x16", "--worn", "8mm", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["entered_pulses_per_mile"] == pytest.approx(entered_pulses("522.7x3.36x16", 0.008))
    assert main(["speedo", "--entered", "522.7x3.36x16", "--both-ways"]) == 0
    assert "mean of both ways" in capsys.readouterr().out


def test_the_exercise_closes(tmp_path):
    truck, _ = mystery(TRUCK, 3)
    first = exercise(truck, load_settings())
    assert first["score"] == 0
    assert first["before"]["verdict"]["verdict"] == "fail"
    again = exercise(truck, load_settings(), entered=first["mile"]["corrected_pulses_per_mile"])
    assert again["score"] == 3
    assert again["after"]["verdict"]["verdict"] == "pass"
    mile = again["mile_after"]
    assert mile["read_speed_m_s"] == pytest.approx(mile["measured_speed_m_s"], rel=0.015)
    json.dumps(again, allow_nan=False)


def test_points_are_for_the_number():
    truck, _ = mystery(TRUCK, 3)
    right = calibration_of(truck).fitted_pulses_per_mile
    points = [score(truck, number)[0] for number in (None, 1.3 * right, 1.04 * right, 1.015 * right, 1.003 * right)]
    assert points == [0, 1, 1, 2, 3]


def test_mysteries_differ_and_are_never_right():
    ratios = {seed: calibration_of(mystery(TRUCK, seed)[0]).ratio for seed in range(12)}
    assert len(set(ratios.values())) > 8
    assert all(abs(ratio - 1.0) > 0.01 for ratio in ratios.values())


@pytest.mark.parametrize("pulses", [3999.0, 150001.0, -1.0, math.nan, math.inf])
def test_a_number_no_controller_takes_is_refused(pulses):
    with pytest.raises(SpecError, match="cannot be programmed; allowed is 4000 to 150000"):
        told(TRUCK, pulses)


def test_a_speed_or_a_mile_that_cannot_be_driven_is_refused():
    with pytest.raises(SettingsError, match="allowed is 20 to 74"):
        measured_mile(TRUCK, 200.0 * KILOMETRE_PER_HOUR)
    with pytest.raises(SettingsError, match=r"allowed is 0\.25 to 10"):
        measured_mile(TRUCK, 25.0, 40.0)


def test_the_sheet_shows_old_new_and_allowed():
    old = load_settings()
    new = load_settings(None, ["road_speed.limit_km_h=105", "cruise.none_above_km_h=2"])
    truck = load_truck("long-haul-manual", ["engine.low_idle_rpm=700"]).truck
    entries = {entry.key: entry for entry in settings_sheet((TRUCK, old), (truck, new))}
    changed = {key for key, entry in entries.items() if entry.changed}
    assert changed == {"road_speed.limit_km_h", "cruise.none_above_km_h", "engine.low_idle_rpm"}
    limit = entries["road_speed.limit_km_h"]
    assert (limit.old, limit.new, limit.unit, limit.allowed) == (0.0, 105.0, "km_h", (0.0, 140.0))
    assert all(entry.allowed and entry.meaning for entry in entries.values())
    assert "cruise.set_speed_km_h" not in entries, "what the driver sets is not programmed"


def test_the_command_hides_what_is_to_be_found_until_a_number_is_entered(capsys):
    assert main(["speedo", "--mystery", "3", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert set(first["mile"]) == {"distance_m", "timed_s", "read_speed_m_s", "told_pulses_per_mile"}
    assert not {"before", "cause", "predicted_true_speed_m_s"} & set(first)
    speed = first["mile"]["distance_m"] / first["mile"]["timed_s"]
    pulses = first["mile"]["told_pulses_per_mile"] * first["mile"]["read_speed_m_s"] / speed
    assert main(["speedo", "--mystery", "3", "--entered", f"{pulses:.0f}"]) == 0
    text = capsys.readouterr().out
    assert "3 of 4" in text
    assert "axle of ratio" in text
    assert "A passenger holds the stopwatch" in text


def test_lab_sheet_and_record_are_written_whole(tmp_path, capsys):
    folder = tmp_path / "mile"
    assert main(["speedo", "--mystery", "3", "--entered", "30900", "--out", str(folder)]) == 0
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    assert "predicted from tyre, axle and teeth" in page
    assert "<script" not in page
    assert page.count("<svg") == 1
    assert json.loads((folder / "sheet.json").read_text(encoding="utf-8"))["score"] == 3
    capsys.readouterr()
    record = tmp_path / "record"
    assert main(["sheet", "--set", "road_speed.limit_km_h=105", "--out", str(record), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["key"] for row in rows if row["changed"]] == ["road_speed.limit_km_h"]
    text = (record / "record.html").read_text(encoding="utf-8")
    assert text.count('class="changed"') == 1
    assert main(["sheet", "--out", str(record)]) == 2
