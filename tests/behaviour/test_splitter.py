"""The 13-speed gearbox: a lever of nine places, and a splitter that makes two gears of each of the upper four."""

import numpy as np
import pytest

from sim import load_settings, load_truck, run_trip
from sim.charts.gearing import gearbox_changes
from sim.knobs.board import Board, action
from sim.march.seat import lever_and_splitter

TRUCK = "long-haul-13-speed"
CLIMB = ("grade:4%,4km,0m", "start.speed_km_h=85", "simulation.log_s=0.02")


def test_practice_of_the_trade():
    """A low, four gears below the range change, four above it, each of those direct or overdrive."""
    box = load_truck(TRUCK).truck.gearbox
    assert len(box.ratios) == 13
    assert [lever_and_splitter(gear, box.split_from) for gear in range(1, 14)] == [
        *((gear, 0) for gear in range(1, 6)),
        *((lever, split) for lever in range(6, 10) for split in (0, 1)),
    ]
    low_range, high_range = box.ratios[1:5], box.ratios[5::2]
    steps = [low / high for low, high in zip(low_range, high_range, strict=True)]
    assert steps == pytest.approx([steps[0]] * 4, rel=0.005)  # one range change for all
    splits = [over / direct for direct, over in zip(box.ratios[5::2], box.ratios[6::2], strict=True)]
    assert splits == pytest.approx([splits[0]] * 4, rel=0.01)  # one splitter for all
    assert box.splitter_s < box.torque_gap_s


def test_gear_follows_from_lever_and_splitter(trip):
    """Read from what hands did: wherever the clutch is closed, but that a splitter is preselected a moment before it moves."""
    result = trip(TRUCK, "grade:2%,4km,0m", "start.speed_km_h=0")
    trace = result.trace
    gear, split_from = trace["gear"], result.truck.gearbox.split_from
    second = round(1.0 / (trace["time_s"][1] - trace["time_s"][0]))
    soon = np.append(gear[second:], np.full(second, gear[-1]))
    for name, place, stays in (("lever", 0, True), ("splitter", 1, soon == gear)):
        rows = (trace["clutch_locked"] > 0.5) & stays
        expected = [lever_and_splitter(int(engaged), split_from)[place] for engaged in gear[rows]]
        assert trace[name][rows].tolist() == expected
    assert set(gear) > {6.0, 7.0, 8.0, 9.0}


def test_half_shifts_on_a_climb_are_quicker_and_move_no_lever(trip, named):
    result = trip(TRUCK, *CLIMB)
    shifts = named(result, "gear_engaged")
    gears = [(entry["cause"]["values"]["before"], entry["cause"]["values"]["gear"], entry["value"]) for entry in shifts]
    lever = {gear: lever_and_splitter(gear, result.truck.gearbox.split_from)[0] for gear in range(1, 14)}
    halves = [took for before, gear, took in gears if lever[before] == lever[gear]]
    wholes = [took for before, gear, took in gears if lever[before] != lever[gear]]
    assert halves and wholes, gears
    assert max(halves) < min(wholes)


def test_on_the_level_whole_steps_and_the_last_half(trip, named):
    """Where the engine pulls amply the driver leaves the splitter alone until the truck is fast enough for the highest gear."""
    result = trip(TRUCK, "grade:0%,12km,0m", "start.speed_km_h=0")
    gears = [
        entry["cause"]["values"]["gear"]
        for entry in named(result, "gear_engaged")
        if entry["cause"]["values"]["gear"] > 5
    ]
    assert gears == [6, 8, 10, 12, 13]


def test_driven_again_by_what_hands_did():
    settings = load_settings(None, ["start.speed_km_h=0"])
    first = run_trip(TRUCK, "ulmary-town", settings, keeps=True)
    again = run_trip(TRUCK, "ulmary-town", settings, feed=first.controls)
    moved = np.diff(first.trace["splitter"])
    assert np.count_nonzero(moved) > 10
    for name in set(first.trace) - {"target_speed_m_s"}:
        assert first.trace[name].tobytes() == again.trace[name].tobytes(), name


def test_a_preselected_splitter_moves_when_the_clutch_opens(alone):
    """Pressed under load the button does nothing yet; with the clutch down the gear is another, the lever where it was."""
    clock = alone("grade:0%,9km,0m", "start.speed_km_h=60", "start.gear=10", truck=TRUCK)
    assert (clock.handled("lever"), clock.handled("splitter")) == (8.0, 0.0)
    clock.mean(hand_splitter=1.0, pedal=0.6)
    clock.run(until=200)
    assert clock.true("gear") == 10.0
    clock.mean(clutch_wanted=1.0, pedal=0.0)
    clock.run(until=400)
    assert (clock.true("gear"), clock.handled("lever")) == (11.0, 8.0)


def test_no_splitter_in_the_low_range(alone):
    clock = alone("grade:0%,9km,0m", "start.speed_km_h=12", "start.gear=4", truck=TRUCK)
    clock.mean(hand_splitter=1.0, clutch_wanted=1.0)
    clock.run(until=400)
    assert clock.true("gear") == 4.0


def test_knobs_in_gear_is_the_highest_gear_and_so_is_the_gearing_page():
    board = Board(load_truck(TRUCK).truck, load_settings(None, ()))
    for put, gear in ((1.0, 13.0), (0.0, 0.0), (1.0, 13.0)):
        board.turn(action(board.now_ms, "in_gear", put))
        board.wait(board.now_ms + 500)
        assert board._trip.clock.true("gear") == gear
    geared = load_truck("long-haul-automated", gearbox_changes(TRUCK)).truck
    assert geared.gearbox == load_truck(TRUCK).truck.gearbox


def test_other_trucks_have_none(trip):
    assert not load_truck("long-haul-manual").truck.gearbox.split_from
    assert not trip("long-haul-manual", *CLIMB).trace["splitter"].any()
