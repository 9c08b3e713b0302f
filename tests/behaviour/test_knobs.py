"""The controller without a truck, shown as an instructor shows it: by the numbers it is programmed with and printed curves."""

import csv
import json
import re
from pathlib import Path

import pytest

import sim.checks
from sim import load_route, load_settings, load_truck, run_trip
from sim.command.main import main
from sim.errors import SettingsError
from sim.inputs.sensors import SENSORS
from sim.knobs.board import AHEAD, KNOBS, LONGEST, MOST_ACTIONS, Board, action, actions_of, replay
from sim.units import from_si, to_si
from sim.wording import said

MANUAL, AUTOMATED = load_truck("long-haul-manual").truck, load_truck("long-haul-automated").truck
SIXTY = to_si(60.0, "mi_h")
DEMONSTRATION = ("engine_speed=1500rpm", "road_speed=60mph", "cruise_switch=on", "set=press")


class Hands:
    """Turns knobs one after the other and looks."""

    def __init__(self, *changes, truck=MANUAL):
        self.settings = load_settings(None, changes)
        self.board = Board(truck, self.settings)
        self.done = []

    def turn(self, name, value, unit="", then=1.0):
        """Turns a knob and waits. [unit, s]"""
        self.done.append([self.board.now_ms, name, to_si(float(value), unit)])
        self.board.turn(action(*self.done[-1]))
        return self.wait(then)

    def press(self, name, then=1.0):
        """A tap on a button."""
        self.turn(name, 1, then=0.2)
        return self.turn(name, 0, then=then)

    def wait(self, seconds):
        self.board.wait(self.board.now_ms + round(1000 * seconds))
        return self.board.shown()

    def cruise_at_sixty(self):
        self.turn("engine_speed", 1500, "rpm")
        self.turn("road_speed", 60, "mi_h")
        return self.press("set_coast")


def pairs(seen):
    return sorted(pair for pair, on in seen["pairs"].items() if on)


def why(seen):
    return said(seen["engine_brake"]["why"], "metric")


def codes(seen, active=True):
    return {(code["spn"], code["fmi"]) for code in seen["codes"] if code["active"] == active}


def times(seen, event, value=None):
    return [each["time_s"] for each in seen["events"] if each["event"] == event and value in (None, each["value"])]


# ---------------------------------------------------------------- cruise control and the engine brake


def test_cruise_holds_and_calls_one_pair_two_pairs_and_all_three_where_it_is_programmed_to():
    hands = Hands()
    seen = hands.cruise_at_sixty()
    assert seen["cruise"]["set_speed"] == pytest.approx(SIXTY) and pairs(seen) == []
    assert why(seen) == "cruise holds the speed"
    cruise = hands.settings.cruise
    over = (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h)
    for stage, threshold in enumerate(over, start=1):
        seen = hands.turn("road_speed", from_si(SIXTY, "km_h") + threshold - 0.05, "km_h", then=5.0)
        assert seen["engine_brake"]["stage"] == stage - 1
        seen = hands.turn("road_speed", from_si(SIXTY, "km_h") + threshold + 0.05, "km_h", then=5.0)
        assert seen["engine_brake"]["stage"] == stage and len(pairs(seen)) == stage
        assert why(seen).startswith("cruise overspeed")
        assert pairs(seen) == sorted(MANUAL.engine_brake.pairs(stage))
    seen = hands.turn("road_speed", from_si(SIXTY, "km_h") + over[2] - cruise.stage_drop_km_h - 0.05, "km_h", then=3.0)
    assert seen["engine_brake"]["stage"] == 2
    assert pairs(hands.turn("road_speed", 60, "mi_h", then=5.0)) == []


def test_far_above_the_set_speed_the_stages_still_wait_for_one_another():
    hands = Hands("cruise.stage_up_s=4")
    hands.cruise_at_sixty()
    began = hands.board.now_ms / 1000.0
    seen = hands.turn("road_speed", 75, "mi_h", then=20.0)
    first, second, third = (times(seen, "stage_changed", stage)[-1] for stage in (1, 2, 3))
    retarding = hands.settings.retarding
    assert first == pytest.approx(began + retarding.on_delay_s, abs=0.05)
    assert second == pytest.approx(began + 4.0 + retarding.step_delay_s, abs=0.05)
    assert third == pytest.approx(began + 8.0 + retarding.step_delay_s, abs=0.05)


def test_accelerator_clutch_and_brake_let_go_and_say_why():
    hands = Hands()
    hands.cruise_at_sixty()
    assert len(pairs(hands.turn("road_speed", 72, "mi_h", then=10.0))) == 3
    seen = hands.turn("accelerator", 10, "percent")
    assert (pairs(seen), why(seen)) == ([], "accelerator pressed") and seen["told"]["fuel_rate"] > 0.0
    assert len(pairs(hands.turn("accelerator", 0, then=10.0))) == 3
    seen = hands.turn("clutch_pedal", 1)
    assert (pairs(seen), why(seen)) == ([], "clutch pressed")
    assert len(pairs(hands.turn("clutch_pedal", 0, then=10.0))) == 3
    seen = hands.turn("brake_pedal", 1)
    assert seen["cruise"]["set_speed"] is None
    assert said(seen["cruise"]["why"]["cause"], "metric") == "service brake"
    assert (pairs(hands.turn("in_gear", 0)), why(hands.wait(0.1))) == ([], "gearbox in neutral")
    hands.turn("in_gear", 1)
    assert (pairs(hands.turn("engine_brake_switch", 0)), why(hands.wait(0.1))) == ([], "engine-brake switch off")


def test_the_key_carries_what_the_battery_has_or_the_alternator_gives():
    hands = Hands()
    assert [hands.turn("engine_speed", rpm, "rpm")["pins"]["key"][0] for rpm in (1500, 0)] == [14.0, 12.6]


def active(seen):
    return [(code["spn"], code["fmi"]) for code in seen["codes"] if code["active"]]


def test_key_on_with_the_engine_still_an_oil_pressure_sensor_must_show_none():
    """A sensor that shows pressure sets its code; so does a pin at 0 V, where a sound sensor gives 0.5 V."""
    hands = Hands()
    hands.wait(1.0)
    assert active(hands.turn("oil_pressure", 250, "kpa", then=5.0)) == []
    seen = hands.turn("engine_speed", 0, "rpm", then=1.0)
    assert active(seen) == []
    seen = hands.wait(3.0)
    assert (active(seen), seen["lamp"], seen["pins"]["key"][1]) == ([(100, 2)], "amber", 1.0)
    assert active(hands.turn("oil_pressure", 0, "kpa", then=6.0)) == []
    assert active(Hands().turn("engine_speed", 0, "rpm", then=6.0)) == []
    grounded = Hands('faults.occur=["start oil pressure shorted low"]')
    seen = grounded.turn("engine_speed", 0, "rpm", then=3.0)
    assert (seen["pins"]["oil_pressure"][0], active(seen)) == (0.0, [(100, 4)])


def test_the_selector_bounds_what_cruise_may_call():
    hands = Hands()
    hands.cruise_at_sixty()
    hands.turn("engine_brake_selector", 2)
    seen = hands.turn("road_speed", 75, "mi_h", then=15.0)
    assert len(pairs(seen)) == 2 and why(seen) == "cruise overspeed; the selector allows 2"


def test_cruise_control_refuses_what_it_must():
    hands = Hands()
    hands.turn("engine_speed", 1500, "rpm")
    hands.turn("road_speed", 10, "mi_h")
    seen = hands.press("set_coast")
    assert seen["cruise"]["set_speed"] is None and seen["cruise"]["why"]["event"] == "cruise_refused"
    assert "needs 32 km/h" in said(seen["cruise"]["why"]["cause"], "metric")


# ---------------------------------------------------------------- temperatures, pressures, codes


def test_hot_coolant_engages_the_fan_takes_torque_sets_codes_and_stops_the_engine():
    hands = Hands()
    hands.turn("engine_speed", 1500, "rpm")
    hands.turn("boost", 300, "kpa")
    seen = hands.turn("accelerator", 100, "percent")
    full = seen["told"]["torque"]
    on = MANUAL.cooling.fan_on_c
    assert not hands.turn("coolant", on - 1, "c")["fan"]["on"]
    seen = hands.turn("coolant", on + 1, "c")
    assert seen["fan"]["on"] and "coolant at" in said(seen["fan"]["why"], "metric")
    assert seen["lamp"] == "off" and seen["derate"] == 0.0
    seen = hands.turn("coolant", 108, "c", then=5.0)
    assert seen["lamp"] == "amber" and codes(seen) == {(110, 15), (110, 16)}
    assert seen["derate"] > 0.0 and seen["told"]["torque"] < 0.8 * full
    seen = hands.turn("coolant", 115, "c", then=5.0)
    assert seen["lamp"] == "red" and times(seen, "shutdown_timer_started") and not seen["told"]["stopped"]
    seen = hands.wait(30.0)
    assert "too hot to run on" in said(seen["told"]["stopped"], "metric") and seen["told"]["fuel_rate"] == 0.0
    seen = hands.turn("coolant", 60, "c", then=40.0)
    assert seen["lamp"] == "off" and codes(seen) == set() and len(codes(seen, active=False)) == 3
    assert not seen["fan"]["on"] and seen["told"]["stopped"], "only the key starts it again"


def test_low_oil_pressure_warns_by_engine_speed():
    hands = Hands()
    hands.turn("engine_speed", 1800, "rpm", then=4.0)
    assert codes(hands.turn("oil_pressure", 210, "kpa", then=5.0)) == set()
    assert codes(hands.turn("oil_pressure", 150, "kpa", then=5.0)) == {(100, 18)}
    seen = hands.turn("oil_pressure", 90, "kpa", then=5.0)
    assert codes(seen) == {(100, 18), (100, 1)} and seen["lamp"] == "red"


def test_what_needs_motion_is_left_out_and_said():
    hands = Hands()
    said_so = " ".join(said(each, "metric") for each in hands.board.left_out)
    for spn in (84, 91, 597, 598):
        assert f"SPN {spn}" in said_so
    hands.turn("engine_speed", 1500, "rpm")
    hands.turn("boost", 300, "kpa")
    hands.turn("accelerator", 60, "percent")
    for _ in range(8):
        hands.turn("road_speed", 60, "mi_h", then=0.5)
        hands.turn("road_speed", 0, "mi_h", then=0.5)
        hands.turn("in_gear", 0, then=0.3)
        hands.turn("in_gear", 1, then=0.3)
    hands.turn("road_speed", 60, "mi_h")
    hands.turn("clutch_pedal", 1, then=20.0)
    hands.turn("clutch_pedal", 0)
    seen = hands.turn("brake_pedal", 1, then=20.0)
    assert seen["codes"] == []


# ---------------------------------------------------------------- fuel and torque

CHECKS = {
    row["id"]: row
    for row in csv.DictReader((Path(sim.checks.__file__).parent / "more.csv").read_text(encoding="utf-8").splitlines())
}


def printed(check):
    """Numbers of a row of the published checks."""
    texts = (CHECKS[check]["inputs"], CHECKS[check]["expected"])
    return [[float(number) for number in re.findall(r"[0-9]+\.?[0-9]*", text)] for text in texts]


def test_pulled_down_from_above_governed_speed_the_governor_lets_go_along_the_droop_and_the_rated_curve():
    (governed, high_idle, *_), shares = printed("GOV-02")
    assert (governed, high_idle) == (MANUAL.engine.governed_rpm, MANUAL.engine.high_idle_rpm)
    hands = Hands()
    hands.turn("engine_speed", high_idle, "rpm")
    hands.turn("boost", 350, "kpa")
    hands.turn("accelerator", 100, "percent")
    rated = {  # rpm -> N m
        float(speed): float(torque) for speed, torque in re.findall(r"(\d+) rpm (\d+)", CHECKS["FLT-01"]["expected"])
    }
    below, fuel = hands.turn("engine_speed", high_idle, "rpm"), []
    assert below["told"]["torque"] == pytest.approx(0.0, abs=1.0) and below["told"]["limiter"] == "governor"
    for speed, share in zip((governed, 0.5 * (governed + high_idle), high_idle), shares, strict=True):
        seen = hands.turn("engine_speed", speed, "rpm")
        assert seen["told"]["torque"] == pytest.approx(share * rated[governed], abs=1.0)
    for speed in (2240, 2200, 2150, 2120):
        fuel.append(hands.turn("engine_speed", speed, "rpm")["told"]["fuel_rate"])
    assert fuel == sorted(fuel), "fuel rises as the governor lets go"
    for speed in sorted(rated, reverse=True):
        seen = hands.turn("engine_speed", speed, "rpm")
        assert seen["told"]["torque"] == pytest.approx(rated[speed], abs=0.5)
        assert seen["told"]["fuel_share"] == pytest.approx(1.0) and seen["told"]["limiter"] == "full-load curve"


def test_without_boost_the_air_bounds_the_fuel():
    hands = Hands()
    hands.turn("engine_speed", 1500, "rpm")
    seen = hands.turn("accelerator", 100, "percent")
    assert seen["told"]["limiter"] == "air-fuel limit" and seen["told"]["torque"] < 1200.0
    assert hands.turn("boost", 300, "kpa")["told"]["torque"] == pytest.approx(2237.0, abs=0.5)


# ---------------------------------------------------------------- pins and the key


def test_every_dial_is_read_back_from_its_pin():
    hands = Hands()
    for name, knob in KNOBS.items():
        if knob.kind == "dial" and name != "engine_speed":
            middle = 0.4 * knob.least + 0.6 * knob.most
            hands.turn(name, from_si(middle, knob.unit), knob.unit, then=0.1)
            key = {"accelerator": "pedal"}.get(name, name)
            signal, believed = hands.wait(0.1)["pins"][key]
            assert believed == pytest.approx(middle, rel=2e-3), name
            assert signal > 0.0
    hands.turn("engine_speed", 1500, "rpm", then=0.1)
    seen = hands.wait(0.1)
    assert seen["pins"]["crank"] == pytest.approx((1500.0, to_si(1500.0, "rpm"))), "60 teeth at 25 turns a second"
    assert seen["pins"]["selector"] == pytest.approx((4.0, 3.0)), "2, 3, 4 V for stage 1, 2, 3"
    assert set(seen["pins"]) == set(SENSORS)


def test_nothing_moves_but_what_a_hand_puts():
    hands = Hands()
    hands.turn("engine_speed", 1900, "rpm")
    hands.turn("accelerator", 100, "percent")
    before = hands.turn("road_speed", 50, "mi_h")["turned"]
    assert hands.wait(300.0)["turned"] == before


def test_with_the_key_off_all_is_dark_and_a_new_key_wants_the_switches_seen():
    hands = Hands()
    hands.cruise_at_sixty()
    hands.turn("coolant", 108, "c", then=5.0)
    assert len(pairs(hands.turn("road_speed", 75, "mi_h", then=10.0))) == 3
    seen = hands.turn("ignition", 0)
    assert pairs(seen) == [] and seen["lamp"] == "off" and not seen["fan"]["on"] and not seen["cruise"]["on"]
    assert all(signal == 0.0 and believed is None for signal, believed in seen["pins"].values())
    hands.turn("coolant", 80, "c")
    seen = hands.turn("ignition", 1)
    assert codes(seen, active=False) == {(110, 15), (110, 16)}, "codes outlive the key"
    seen = hands.press("set_coast")
    assert seen["cruise"]["set_speed"] is None
    missing = (
        "set: since the key was turned: brake not pressed, clutch not pressed, cruise switch not turned off and on"
    )
    assert said(seen["cruise"]["why"]["cause"], "metric") == missing
    for name in ("brake_pedal", "clutch_pedal"):
        hands.turn(name, 1)
        hands.turn(name, 0)
    hands.turn("cruise_switch", 0)
    hands.turn("cruise_switch", 1)
    assert hands.press("set_coast")["cruise"]["set_speed"] == pytest.approx(to_si(75.0, "mi_h"))


def test_an_automated_truck_has_the_same_controller():
    hands = Hands(truck=AUTOMATED)
    assert hands.cruise_at_sixty()["cruise"]["set_speed"] == pytest.approx(SIXTY)
    assert len(pairs(hands.turn("road_speed", 75, "mi_h", then=15.0))) == 3
    assert (pairs(hands.turn("clutch_pedal", 1)), why(hands.wait(0.1))) == ([], "clutch pressed")


def test_a_broken_wire_is_broken_here_too():
    hands = Hands('faults.occur=["5 s coolant temperature open"]')
    hands.turn("coolant", 80, "c", then=3.0)
    seen = hands.wait(6.0)
    assert seen["pins"]["coolant"][0] == pytest.approx(5.0) and (110, 3) in codes(seen) and seen["fan"]["on"]
    with pytest.raises(SettingsError, match="nothing moves here"):
        Hands('faults.occur=["1 km coolant temperature open"]')
    with pytest.raises(SettingsError, match="nothing moves here"):
        Hands('circuits.dialled=["1 km coolant temperature 118 C"]')


def test_the_shortest_press_of_a_button_is_seen():
    hands = Hands()
    hands.turn("engine_speed", 1500, "rpm")
    hands.turn("road_speed", 60, "mi_h")
    hands.turn("set_coast", 1, then=0.0)
    hands.turn("set_coast", 0, then=0.0)
    assert hands.wait(1.0)["cruise"]["set_speed"] == pytest.approx(SIXTY)


# ---------------------------------------------------------------- done again


def test_the_same_actions_give_the_same_film_and_it_is_that_of_the_hands():
    hands = Hands()
    hands.cruise_at_sixty()
    seen = hands.turn("road_speed", 75, "mi_h", then=0.0)
    films = [replay(MANUAL, hands.settings, actions_of(json.loads(json.dumps(hands.done)))) for _ in range(2)]
    assert films[0] == films[1]
    (began, whole), *later = films[0]["frames"]
    assert began == hands.done[-1][0] and set(whole) == set(seen)
    assert films[0]["until_ms"] == began + 1000 * AHEAD
    for _, fresh in later:
        assert fresh and all(whole[name] != value for name, value in fresh.items())
        whole |= fresh
    at_the_end = hands.wait(AHEAD)
    assert whole == at_the_end and len(pairs(whole)) == 3


def test_a_trip_begins_as_the_knobs_stand():
    hands = Hands()
    hands.turn("engine_brake_selector", 2)
    hands.cruise_at_sixty()
    hands.press("cruise_cancel")
    hands.turn("road_speed", 50, "mi_h")
    road = hands.press("set_coast")["road"]
    settings = load_settings(None, [*(f"{key}={text}" for key, text in road.items()), "start.speed_km_h=70"])
    assert settings.retarding.selector == 2 and settings.cruise.switch and settings.retarding.switch
    result = run_trip(MANUAL, load_route("grade:0%,3km"), settings)
    assert result.trace["set_speed_m_s"].max() == pytest.approx(to_si(50.0, "mi_h"), abs=0.05)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("x", "x is no action"),
        ([["x"]], "no action"),
        ([[0, "coolant", 300.0, 1]], "no action"),
        ([[0.5, "coolant", 300.0]], "whole number of milliseconds"),
        ([[True, "coolant", 300.0]], "no action"),
        ([[0, "coolant", None]], "no action"),
        ([[0, "coolant", "hot"]], "no action"),
        ([[0, ["coolant"], 300.0]], "no action"),
        ([[0, "cooling", 300.0]], "no knob called cooling. Did you mean coolant"),
        ([[0, "coolant", 0.0]], "coolant cannot be -273.15 C; allowed is -40 to 130 C"),
        ([[0, "coolant", float("nan")]], "allowed is -40 to 130 C"),
        ([[0, "engine_brake_selector", 1.5]], "allowed is 1 to 3, in whole steps"),
        ([[0, "cruise_switch", 2]], "allowed is 0 to 1"),
        ([[-1, "cruise_switch", 1]], "none before 0 s"),
        ([[500, "cruise_switch", 1], [400, "cruise_switch", 0]], "at 0.4 s stands below one at 0.5 s"),
        ([[int(1000 * LONGEST) + 1, "cruise_switch", 1]], "too late"),
        ([[10**18, "cruise_switch", 1]], "too late"),
        ([[0, "cruise_switch", 1]] * (MOST_ACTIONS + 1), f"at most {MOST_ACTIONS}"),
    ],
)
def test_what_is_no_list_of_actions_is_refused_in_one_message(given, says):
    with pytest.raises(SettingsError) as refused:
        actions_of(given)
    assert says in str(refused.value) and "\n" not in str(refused.value)


# ---------------------------------------------------------------- the command


def steps_of(capsys, *arguments):
    assert main(["knobs", *arguments]) == 0
    return capsys.readouterr().out


def test_the_demonstration_at_the_command_line(capsys):
    over = ("road_speed=63.1mph", "road_speed=65.1mph", "road_speed=67.2mph")
    rest = ("accelerator=10%", "accelerator=0", "coolant=108C", "wait=3s")
    told = json.loads(steps_of(capsys, *DEMONSTRATION, *over, *rest, "--json"))
    assert [entry["step"] for entry in told] == [*DEMONSTRATION, *over, *rest]
    assert [len(pairs(entry)) for entry in told[3:10]] == [0, 1, 2, 3, 0, 3, 3]
    assert told[-1]["fan"]["on"] and told[-1]["lamp"] == "amber" and (110, 16) in codes(told[-1])
    assert [event["event"] for event in told[4]["events"]] == ["stage_changed"]


@pytest.mark.parametrize(
    ("units", "speed"), [("us", "60.0 mi/h"), ("metric", "96.6 km/h"), ("both", "96.6 km/h (60.0 mi/h)")]
)
def test_the_command_says_it_in_the_units_of_its_reader(units, speed, capsys):
    text = steps_of(capsys, *DEMONSTRATION, "road_speed=63.1mph", "--units", units, "--pins")
    assert f"holds {speed} (cruise set: set button)" in text
    assert "front off, middle ON, rear off" in text and "stage 1: cruise overspeed" in text
    assert "crankshaft position   1500.0 Hz, read as 1500 rpm" in text and "Left out, as nothing moves: SPN" in text


def test_steps_can_stand_in_a_file_and_knobs_are_listed(tmp_path, capsys):
    file = tmp_path / "lesson.txt"
    file.write_text("# the demonstration\nengine_speed=1500rpm  # up\nroad_speed=60mph\nset=press\n", encoding="utf-8")
    told = json.loads(steps_of(capsys, "--file", str(file), "road_speed=64mph", "--json", "--pause", "4s"))
    assert [len(pairs(entry)) for entry in told] == [3, 3, 0, 1]
    listed = steps_of(capsys, "--list-knobs").splitlines()
    assert [line.split()[0] for line in listed] == list(KNOBS)


def test_too_many_steps_are_refused_before_any_is_done(tmp_path, capsys):
    file = tmp_path / "long.txt"
    file.write_text("fan_switch=on " * (MOST_ACTIONS + 1), encoding="utf-8")
    assert main(["knobs", "--file", str(file), "--pause", "0s"]) == 2
    assert f"at most {MOST_ACTIONS}" in capsys.readouterr().err
