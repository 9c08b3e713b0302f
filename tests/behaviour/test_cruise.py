"""Cruise control as a driver meets it: buttons, conditions, what cancels it, and the engine brake it calls in.

Semantics of buttons and of what cancels: common practice, no source. Numbers of our own trucks: quick calculations made before
this model existed, +/- 5 %.
"""

import numpy as np
import pytest
from quasi_static import Sums

from sim import SettingsError, load_settings
from sim.wording import kinds_in, said

T1, T2 = "long-haul-manual", "long-haul-automated"
LEVEL = "grade:0%,4km,200m"
GRADE = "grade:-7%,7km,1550m"
ALONE = ("drill.service_brakes=false",)


def pressed(trip, *presses: str, road: str = LEVEL, truck: str = T1, start: float = 85, more: tuple[str, ...] = ()):
    """A trip whose driver presses these buttons."""
    listed = ", ".join(f'"{press}"' for press in presses)
    return trip(truck, road, f"start.speed_km_h={start:g}", f"cruise.presses=[{listed}]", *more)


def told(result, *names: str) -> list[tuple[str, str, float]]:
    """Events of these names as name, cause in words, and set speed in km/h."""
    return [
        (event["event"], said(event["cause"], "metric"), pytest.approx(3.6 * event["value"], abs=0.06))
        for event in result.events
        if event["event"] in names
    ]


CRUISE_EVENTS = ("cruise_set", "cruise_resumed", "cruise_cancelled", "cruise_refused")


# ---------------------------------------------------------------- buttons


def test_set_stores_the_speed_there_is_and_holds_it(trip, at):
    result = pressed(trip, "500 m set", start=85)
    (event,) = told(result, *CRUISE_EVENTS)
    there = 3.6 * at(result, "distance_m", 500.0, "speed_m_s")
    assert event[:2] == ("cruise_set", "set button")
    assert event[2] == there
    later = result.trace["distance_m"] > 1500
    assert np.all(np.abs(3.6 * result.trace["speed_m_s"][later] - there) < 0.7)
    assert np.all(result.trace["set_speed_m_s"][later] == result.trace["set_speed_m_s"][-1])


def test_taps_move_the_set_speed_by_one_mile_an_hour_each(trip):
    """1 mi/h (1.6 km/h) a tap: common practice, no source."""
    result = pressed(trip, "0.3 km set", "1 km tap up", "1.1 km tap up", "1.2 km tap down", "1.3 km tap up")
    events = told(result, *CRUISE_EVENTS)
    first = 3.6 * result.events[0]["value"]
    assert [event[1] for event in events] == [
        "set button",
        "tap up button",
        "tap up button",
        "tap down button",
        "tap up button",
    ]
    assert [event[2] for event in events] == [first, first + 1.6, first + 3.2, first + 1.6, first + 3.2]
    assert 3.6 * result.trace["speed_m_s"][-1] == pytest.approx(first + 3.2, abs=0.6)


def test_cancel_keeps_the_speed_and_resume_returns_to_it(trip):
    result = pressed(trip, "0.3 km set", "1 km cancel", "2.2 km resume", start=70, more=("drill.hold_gear=9",))
    names = [event[0] for event in told(result, *CRUISE_EVENTS)]
    assert names == ["cruise_set", "cruise_cancelled", "cruise_resumed"]
    stored, _, resumed = (event[2] for event in told(result, *CRUISE_EVENTS))
    assert resumed == stored.expected
    between = (result.trace["distance_m"] > 1050) & (result.trace["distance_m"] < 2150)
    assert np.all(result.trace["set_speed_m_s"][between] == 0.0)
    assert 3.6 * result.trace["speed_m_s"][-1] == pytest.approx(stored.expected, abs=1.0)


def test_accelerate_gains_at_no_more_than_is_programmed_and_stores_what_was_reached(trip):
    """0.3 m/s2 towards a higher set speed: a choice of our own."""
    result = pressed(trip, "0.2 km set", "0.6 km accelerate 10 s", start=55)
    first, second = told(result, "cruise_set")
    assert second[1] == "accelerate button let go"
    assert 5.0 < second[2].expected - first[2].expected <= 0.3 * 3.6 * 10.0 + 0.3
    assert 3.6 * result.trace["speed_m_s"][-1] == pytest.approx(second[2].expected, abs=0.7)


def test_coast_lets_it_roll_out_and_stores_what_is_left(trip):
    result = pressed(trip, "0.2 km set", "0.6 km coast 12 s", start=80)
    first, second = told(result, "cruise_set")
    assert second[1] == "coast button let go"
    assert 2.0 < first[2].expected - second[2].expected < 12.0
    held = (result.trace["time_s"] > 40) & (result.trace["time_s"] < 50)
    assert np.all(result.trace["fuel_cut"][held] <= 1.0)
    assert 3.6 * result.trace["speed_m_s"][-1] == pytest.approx(second[2].expected, abs=0.7)


def test_off_forgets_the_stored_speed(trip):
    result = pressed(trip, "0.3 km set", "1 km off", "1.2 km resume", "1.4 km on", "1.6 km resume")
    assert [event[:2] for event in told(result, *CRUISE_EVENTS)] == [
        ("cruise_set", "set button"),
        ("cruise_cancelled", "cruise switch off"),
        ("cruise_refused", "resume: no speed stored"),
        ("cruise_refused", "resume: no speed stored"),
    ]


# ---------------------------------------------------------------- conditions


@pytest.mark.parametrize(
    ("start", "gear", "rule", "taken"),
    [
        (31.5, 6, "and", False),  # too slow, 1497 rpm
        (33.0, 6, "and", True),
        (60.0, 10, "and", False),  # 807 rpm
        (60.0, 10, "or", True),  # fast enough
        (31.5, 6, "or", True),  # turns fast enough
    ],
)
def test_a_speed_can_be_set_above_20_mi_h_and_1100_rpm(trip, start, gear, rule, taken):
    """Both, or either where it is so programmed: common practice, no source."""
    result = pressed(
        trip,
        "10 m set",
        start=start,
        road="grade:0%,200m,200m",
        more=(f"drill.hold_gear={gear}", f"cruise.least_rule={rule}", f"driver.desired_speed_km_h={start}"),
    )
    (event,) = told(result, *CRUISE_EVENTS)
    assert event[0] == ("cruise_set" if taken else "cruise_refused")
    if not taken:
        assert "needs 32 km/h and 1100 rpm" in event[1]


def test_nothing_can_be_set_before_the_check_after_the_key(trip, named):
    """One press of brake and clutch each and the switch off and on: common practice, no source."""
    unchecked = ("cruise.key_on_check=false",)
    (refused,) = told(pressed(trip, "1 km set", more=unchecked), *CRUISE_EVENTS)
    assert refused[0] == "cruise_refused"
    for part in ("brake not pressed", "clutch not pressed", "cruise switch not turned off and on"):
        assert part in refused[1]
    # from rest brake and clutch are pressed on the way; the switch is what is still missing
    result = pressed(
        trip, "2 km set", "2.1 km off", "2.2 km on", "2.3 km set", start=0, road="grade:0%,3km,200m", more=unchecked
    )
    assert [event[:2] for event in told(result, *CRUISE_EVENTS)] == [
        ("cruise_refused", "set: since the key was turned: cruise switch not turned off and on"),
        ("cruise_set", "set button"),
    ]
    assert "foreseen.key_on_check" in kinds_in(result.summary["foreseen"])


def test_resume_is_allowed_at_a_lower_speed_than_set(trip, road_of):
    """About 10 mi/h (16 km/h): common practice, no source."""
    road = road_of([(0, 0, 60), (1500, 0, 60), (1700, 0, 25), (2500, 0, 25)], 200)
    result = pressed(
        trip,
        "0.5 km set",
        "1.9 km set",
        "2 km resume",
        start=60,
        road=road,
        more=("cruise.least_rule=or", "cruise.least_rpm=1800"),
    )
    names = [event[0] for event in told(result, *CRUISE_EVENTS)]
    assert names[:4] == ["cruise_set", "cruise_cancelled", "cruise_refused", "cruise_resumed"]


def test_a_programmed_maximum_and_the_road_speed_limit_bound_it(trip):
    for bound in ("cruise.most_km_h=75", "road_speed.limit_km_h=75"):
        result = trip(T1, LEVEL, "start.speed_km_h=70", "cruise.set_speed_km_h=85", bound)
        highest = max(event["value"] for event in result.events if event["event"] == "cruise_set")
        # as near as a finger hits it; the road-speed limit takes the fuel a little below
        assert highest == pytest.approx(75.0 / 3.6, abs=0.04 if bound.startswith("cruise") else 0.4)
        assert 3.6 * result.trace["speed_m_s"].max() < 76.0
        assert any("Cruise will hold 75.0 km/h" in said(found, "metric") for found in result.summary["foreseen"])


# ---------------------------------------------------------------- what cancels


def test_the_service_brake_cancels_and_the_engine_brake_goes_on_holding(trip, road_of, named):
    """A brake application ends cruise and leaves the truck in foot-off retarding, never in none."""
    road = road_of([(0, 0, 80), (1000, 0, 80), (1200, -6, 80), (4200, -6, 80)], 900)
    result = trip(T1, road, "start.speed_km_h=70", "cruise.set_speed_km_h=70", "drill.careless=true")
    (cancelled,) = named(result, "cruise_cancelled")[:1]
    assert cancelled["cause"]["kind"] == "cause.service_brake"
    after = (result.trace["time_s"] > cancelled["time_s"]) & (result.trace["time_s"] < cancelled["time_s"] + 20.0)
    working = result.trace["brake_stage"][after] > 0.0
    assert working.mean() > 0.5, "gaps are those of shifts"
    after = [event for event in named(result, "stage_changed") if event["time_s"] > cancelled["time_s"]]
    assert "cause.foot_off" in kinds_in(after)


@pytest.mark.parametrize(("patience", "cancels"), [(5.0, False), (0.0, True)])
def test_the_clutch_of_a_shift_cancels_only_where_it_is_so_programmed(trip, road_of, named, patience, cancels):
    """At once, or after 5 s so that cruise lives through a shift: common practice, no source."""
    road = road_of([(0, 0, 80), (800, 0, 80), (1000, 5, 80), (2200, 5, "")], 200)
    result = trip(T1, road, "start.speed_km_h=80", "cruise.set_speed_km_h=80", f"cruise.clutch_s={patience:g}")
    assert named(result, "gear_engaged"), "the hill asks for a shift"
    causes = kinds_in(named(result, "cruise_cancelled"))
    assert ("cause.clutch" in causes) == cancels
    if not cancels:
        assert not causes


def test_it_is_cancelled_when_the_hill_takes_the_speed(trip, road_of, named):
    road = road_of([(0, 0, 60), (800, 0, 60), (1000, 9, 60), (2600, 9, "")], 200)
    result = trip("older-long-haul", road, "start.speed_km_h=60", "cruise.set_speed_km_h=60")
    assert "cause.road_speed_too_low" in kinds_in(named(result, "cruise_cancelled"))


# ---------------------------------------------------------------- droop


def test_fuel_falls_in_a_straight_line_to_none_at_the_upper_droop(alone):
    """Soft cruise: none at set speed + droop, half at half of it; full at set speed - lower droop."""
    clock = alone("grade:0%,20km,200m", "start.speed_km_h=90")
    held = 25.0
    clock.set(set_speed=held, cruise_target=held)
    parameters, state, belief = clock.rig.parameters, clock.state, clock.belief
    parameters["vehicle_body"][0] = 1.0e12
    parameters["cruise_below"][0], parameters["cruise_above"][0], parameters["cruise_rate"][0] = 0.9, 1.2, 100.0
    answers = []
    for over in (0.0, 0.3, 0.6, 1.2, 2.0):
        belief["cruise_reference"][0], belief["cruise_integral"][0] = held, 0.5
        state["speed"][0] = state["wheel_speed"][0] = held + over
        clock.run(until=clock.now + 2)
        answers.append(clock.believed("cruise_demand"))
    assert answers == pytest.approx([0.5, 0.375, 0.25, 0.0, 0.0], abs=0.01)


def test_a_droop_above_the_first_threshold_is_foreseen_and_delays_the_stage(trip, named, road_of):
    road = road_of([(0, 0, 90), (1500, 0, 90), (1700, -3, 90), (5000, -3, "")], 900)
    common = ("start.speed_km_h=80", "cruise.set_speed_km_h=80", "drill.hold_gear=9", *ALONE)
    soft = trip(T1, road, *common, "cruise.none_above_km_h=8")
    hard = trip(T1, road, *common, "cruise.none_above_km_h=1")
    assert "foreseen.still_fuelled" in kinds_in(soft.summary["foreseen"])
    assert "foreseen.still_fuelled" not in kinds_in(hard.summary["foreseen"])
    first_soft, first_hard = (named(result, "stage_changed")[0] for result in (soft, hard))
    assert all("cause.cruise_overspeed" in kinds_in(first) for first in (first_soft["cause"], first_hard["cause"]))
    assert soft.summary["fuel_kg"] > hard.summary["fuel_kg"]


# ---------------------------------------------------------------- the engine brake called by cruise


def settled(gear: int, stage: int, height: float, grade: float) -> float:
    """Where a stage holds by the sums. [m/s]"""
    return Sums(T1, height).steady(gear, stage, height, grade)


def rpm(speed: float) -> float:
    """In 7th gear."""
    return Sums(T1, 0.0).rpm(speed, 7)


def riding(trip, set_speed: float, *more: str, gear: int = 7):
    """7 km of 7 % in a held gear with cruise alone."""
    return trip(
        T1, GRADE, f"start.speed_km_h={set_speed:g}", f"cruise.set_speed_km_h={set_speed:g}", f"drill.hold_gear={gear}",
        *ALONE, *more,
    )  # fmt: skip


def test_stages_come_in_one_after_the_other_and_settle_in_the_third(trip, named):
    result = riding(trip, 44.0)
    changes = named(result, "stage_changed")
    assert [change["value"] for change in changes] == [1, 2, 3]
    assert all("cause.cruise_overspeed" in kinds_in(change["cause"]) for change in changes)
    times = [change["time_s"] for change in changes]
    assert min(np.diff(times)) >= 2.0, "dwell of 2 s going up"
    assert result.trace["speed_m_s"][-1] == pytest.approx(settled(7, 3, 1060.0, -0.07), rel=0.02)
    assert result.summary["max_engine_speed_rpm"] == pytest.approx(rpm(settled(7, 3, 1450.0, -0.07)), rel=0.02)


def test_a_set_speed_too_close_to_governed_speed_is_foreseen_and_overspeeds(trip, named):
    """Rule: set speed plus third threshold must stay below governed speed in the gear, 49 km/h at most in 7th."""
    good, bad = riding(trip, 48.0), riding(trip, 50.0)
    assert good.summary["time_over_governed_s"] == 0.0
    assert good.summary["max_engine_speed_rpm"] == pytest.approx(2050, rel=0.02)
    assert "foreseen.overspeeds_before_the_stage" not in kinds_in(good.summary["foreseen"])
    assert bad.summary["time_over_governed_s"] == pytest.approx(70.0, rel=0.3)
    (found,) = [each for each in bad.summary["foreseen"] if each["kind"] == "foreseen.overspeeds_before_the_stage"]
    assert "Set 49 km/h at most in that gear" in said(found, "metric") and "2118 rpm" in said(found, "us")
    assert len(named(good, "stage_changed")) < len(named(bad, "stage_changed"))


def test_lower_thresholds_bring_the_stages_in_sooner(trip, named):
    changed = ("cruise.stage_1_over_km_h=3.2", "cruise.stage_2_over_km_h=4.8", "cruise.stage_3_over_km_h=6.4")
    result = riding(trip, 48.0, *changed)
    assert len(named(result, "stage_changed")) == 3
    assert result.summary["max_engine_speed_rpm"] == pytest.approx(rpm(settled(7, 3, 1450.0, -0.07)), rel=0.02)
    assert result.summary["engine_brake_stage_time_s"]["3"] > 400


def test_a_lower_gear_needs_only_the_second_stage(trip, named):
    """Below 1250 m, where the thicker air lets stage 2 hold the truck under the third threshold."""
    result = trip(
        T1, "grade:-7%,7km,1250m", "start.speed_km_h=35", "cruise.set_speed_km_h=35", "drill.hold_gear=6", *ALONE
    )
    assert len(named(result, "stage_changed")) == 2
    assert result.summary["engine_brake_stage_time_s"]["3"] == 0.0
    assert result.trace["speed_m_s"][-1] == pytest.approx(settled(6, 2, 760.0, -0.07), rel=0.05)


def test_the_selector_caps_the_stages_of_cruise_too(trip):
    result = trip(
        T1, "grade:-6%,1.5km,1550m", "start.speed_km_h=44", "cruise.set_speed_km_h=44", "drill.hold_gear=7",
        "retarding.selector=1", *ALONE,
    )  # fmt: skip
    times = result.summary["engine_brake_stage_time_s"]
    assert times["1"] > 20 and times["2"] == times["3"] == 0.0


def test_stages_go_out_in_order_and_all_are_off_at_the_set_speed(trip, road_of, named):
    """As the road eases each stage goes 3.2 km/h below where it came in, 1 s apart at least; none is left at the set speed."""
    road = road_of([(0, -6, 90), (1500, -6, 90), (2500, 0, 90), (5000, 0, "")], 900)
    result = trip(T1, road, "start.speed_km_h=44", "cruise.set_speed_km_h=44", "drill.hold_gear=7", *ALONE)
    changes = named(result, "stage_changed")
    values = [change["value"] for change in changes]
    last = len(values) - values[::-1].index(3)
    assert values[:3] == [1, 2, 3] and values[last:] == [2, 1, 0]
    falling = [change for change in changes[last:] if change["value"] > 0]
    for change in falling:
        row = np.searchsorted(result.trace["time_s"], change["time_s"])
        over = 3.6 * result.trace["speed_m_s"][row] - 44.0
        threshold = {2: 11.3, 1: 8.0}[int(change["value"])] - 3.2
        assert over == pytest.approx(threshold, abs=0.6)
    level = result.trace["distance_m"] > 4500
    assert np.all(np.abs(3.6 * result.trace["speed_m_s"][level] - 44.0) < 1.0)
    assert np.all(result.trace["active_cylinders"][level] == 0.0)


def test_without_the_engine_brake_in_cruise_the_truck_overspeeds_freely(trip):
    result = riding(trip, 44.0, "cruise.with_engine_brake=false", "retarding.switch=false")
    assert result.summary["ended"] == "runaway"
    assert result.summary["engine_brake_stage_time_s"]["3"] == 0.0


def test_thresholds_are_met_exactly_as_entered():
    """60 mi/h and 5 mi/h above it are 65 mi/h, whatever unit the model counts in."""
    cruise = load_settings(None, ["cruise.set_speed_km_h=60mph", "cruise.stage_2_over_km_h=5mph"]).cruise
    assert round(cruise.set_speed_km_h + cruise.stage_2_over_km_h, 9) == round(65 * 1.609344, 9)


# ---------------------------------------------------------------- over the crest in top gear


def test_cruise_in_top_gear_over_the_crest_runs_away_and_the_result_says_why(trip):
    """By the sums stage 3 takes less than half of what the grade gives: it runs away whatever the switches say."""
    for selector in (1, 2, 3):
        result = trip(
            T1, "grade:-6%,6km,1500m", "start.speed_km_h=84", "cruise.set_speed_km_h=84", "drill.hold_gear=10",
            f"retarding.selector={selector}", *ALONE,
        )  # fmt: skip
        assert result.summary["ended"] == "runaway"
        assert "event.runaway" in kinds_in(result.summary["warnings"][0])
    (why,) = result.summary["explanations"]
    told = why["values"]
    assert "Gear 7 with stage 3, taken before the crest, holds the truck below 59 km/h" in said(why, "metric")
    assert told["gear"] == 10
    needed, taken, speed = told["push"], told["held"], told["speed"]
    weight = 36287 * 9.80665
    push = weight * np.sin(np.arctan(0.06)) - weight * (0.0036 + 5e-5 * speed) - 0.5 * 1.05 * 5.7 * speed**2
    assert needed == pytest.approx(push * speed, rel=0.02)
    by_sums = Sums(T1, 1500.0).held_by_engine(speed, 10, 3, 1300.0) * speed
    assert taken == pytest.approx(by_sums, rel=0.05)
    assert taken < 0.5 * needed


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ('cruise.presses=["2 km jump"]', ("2 km jump", "buttons are on, off, set")),
        ('cruise.presses=["set"]', ("PLACE BUTTON",)),
        ('cruise.presses=["2 furlong set"]', ("PLACE BUTTON",)),
        ('cruise.presses=["1 km accelerate"]', ("are held for up to 120 s",)),
        ('cruise.presses=["1 km set 5 s"]', ("are held for up to 120 s",)),
        ("cruise.stage_2_over_km_h=3", ("must rise",)),
        ("cruise.stage_drop_km_h=9", ("stage 1 would go out below the set speed",)),
        ("cruise.set_speed_km_h=20", ("below least_speed_km_h",)),
        ("cruise.set_speed_km_h=300", ("300", "0 to 130")),
        ("cruise.least_rule=both", ("'and' or 'or'",)),
        ("cruise.stage_up_s=0.05", ()),
        ("driver.descent_gear=99", ("0 to 24",)),
    ],
)
def test_bad_settings_of_cruise_get_one_clear_message(change, words):
    if not words:
        assert load_settings(None, [change]).cruise.stage_up_s == 0.05
        return
    with pytest.raises(SettingsError) as problem:
        load_settings(None, [change])
    assert all(word in str(problem.value) for word in words), str(problem.value)
