"""How fast a descent may be driven: the published model, our gears and stages, and what caps both."""

import itertools
import math

import numpy as np
import pytest
from quasi_static import Sums

from sim import load_route, load_settings, load_truck
from sim.charts.control_speed import control_chart
from sim.charts.descent_speed import HeldSpeed, descent_speeds, held_speed, loaded, loads_for
from sim.charts.safe_speed import safe_descent_speed
from sim.charts.truck_at import truck_at
from sim.units import KILOMETRE_PER_HOUR, MILE_PER_HOUR, POUND

T1 = load_truck("long-haul-manual").truck
FREE = 200.0  # m/s: no cap


def advice(road: str, *changes: str, truck=T1, masses=None):
    return descent_speeds(truck, load_settings(None, changes), load_route(road), masses)


def kmh(speed: float) -> float:
    return speed / KILOMETRE_PER_HOUR


def test_the_mountain_road_has_one_descent_with_its_pitch_and_its_curve():
    (down,) = advice("skarrow-grade")
    assert down.steepest == pytest.approx(-0.08, abs=1e-4)
    assert down.drop == pytest.approx(780.0, abs=10.0)
    assert kmh(down.cap) == pytest.approx(
        40.0, abs=0.1
    )  # posted 40 and a curve of 90 m at 0.14 g are the same to 0.1 km/h
    assert [load.mass for load in down.loads] == sorted(load.mass for load in down.loads)
    assert down.loads[-1].mass == pytest.approx(36_287.0)


def test_a_loaded_truck_is_held_on_the_pitch_in_sixth_with_stage_3():
    """By the sums gear 6, stage 3 settles at 39 km/h on the 8 % of the pitch, at about 1075 m; gear 7 gains."""
    (down,) = advice("skarrow-grade")
    held = down.loads[-1].held
    assert (held.gear, held.stage) == (6, 3)
    sums = Sums("long-haul-manual", 1560.0)
    assert held.settles == pytest.approx(sums.steady(6, 3, 1075.0, -0.08), rel=0.05)
    assert sums.gain(2100.0, 7, 3, 1075.0, -0.08) > 0.0
    assert held.binds in ("posted limit", "curve")
    (wide,) = advice("grade:-8%,6km,1200m")
    assert wide.loads[-1].held.binds == "governed speed in gear 6"
    assert kmh(wide.loads[-1].held.speed) == pytest.approx(44.2, rel=0.01)  # 2100 rpm in gear 6, by hand


def test_the_published_model_brakes_a_loaded_truck_down_to_23_mi_h():
    """Set A, section by section, engine drag only: 23 mi/h is the last below 500 F (WY-1901F constants, second-hand)."""
    (down,) = advice("skarrow-grade")
    heavy = down.loads[-1]
    assert heavy.set_a.speed / MILE_PER_HOUR == pytest.approx(23.0)
    assert heavy.set_a.cap == "brake temperature"
    assert heavy.set_b.speed < heavy.set_a.speed
    light = down.loads[0]
    assert light.set_a.speed == pytest.approx(down.cap)
    assert light.set_a.cap in ("posted limit", "curve")


def test_a_short_grade_is_never_shown_faster_than_what_the_road_allows():
    """Set A alone allows 70 mi/h on 6 km of 6 %: limit and governed speed must bind."""
    (down,) = advice("grade:-6%,6km,1100m,90km/h")
    for load in down.loads:
        assert load.set_a.model_speed == pytest.approx(70.0 * MILE_PER_HOUR)
        for speed in (load.held.speed, load.set_a.speed, load.set_b.speed):
            assert speed <= down.cap * (1.0 + 1e-9)
    heavy = down.loads[-1]
    assert heavy.held.binds == heavy.set_a.cap == "governed speed in gear 7"
    assert kmh(heavy.held.speed) == pytest.approx(60.8, abs=0.1)


def test_more_load_is_never_held_faster():
    masses = np.linspace(12_000.0, 44_000.0, 9).tolist()
    for road in ("skarrow-grade", "ollen-pass", "grade:-7%,8km,1400m"):
        (down,) = advice(road, masses=masses)
        speeds = [load.held.speed for load in down.loads]
        assert all(later <= earlier + 1e-9 for earlier, later in itertools.pairwise(speeds)), road


def test_what_is_held_is_held_at_that_speed_and_no_faster_gear_holds():
    settings = load_settings()
    chart = control_chart(truck_at(T1, settings, 1100.0, 1340.0), (-0.06,))
    held = held_speed(chart, -0.06, FREE, "none")
    line = chart.lines[0]

    def reserve(gear: int, stage: int, speed: float) -> float:
        curve = next(each for each in chart.curves if (each.gear, each.stage) == (gear, stage))
        return float(np.interp(speed, curve.speed, curve.force) - np.interp(speed, line.speed, line.force))

    assert reserve(held.gear, held.stage, held.speed) >= 0.0
    assert held.stage == 3 and reserve(held.gear, 2, held.speed) < 0.0
    top = next(each for each in chart.curves if each.gear == held.gear + 1).speed[-1]
    assert reserve(held.gear + 1, 3, top) < 0.0
    assert held.settles < held.speed


def test_the_steady_speed_of_a_trip_is_where_our_own_answer_says_the_truck_settles(trip):
    """A trip in the gear and stage of the answer, no service brakes, comes to rest at the speed the answer names."""
    (down,) = advice("grade:-6%,8km,1340m")
    held = down.loads[-1].held
    result = trip(
        "long-haul-manual", "grade:-6%,8km,1340m", f"drill.hold_gear={held.gear}", f"drill.hold_stage={held.stage}",
        "drill.service_brakes=false", "start.speed_km_h=55",
    )  # fmt: skip
    half_way = (
        np.abs(result.trace["distance_m"] - 4000.0) < 200.0
    )  # the answer is for the air at the middle of the descent
    assert result.trace["speed_m_s"][half_way].mean() == pytest.approx(held.settles, rel=0.01)


def test_without_its_engine_brake_a_truck_needs_a_lower_gear():
    road = "grade:-4%,8km,1200m"
    (off,), (first,), (on,) = (
        advice(road, change) for change in ("retarding.switch=false", "retarding.selector=1", "retarding.selector=3")
    )
    assert 0 < off.loads[-1].held.gear < first.loads[-1].held.gear < on.loads[-1].held.gear
    assert off.loads[-1].held.stage == 0
    assert off.loads[-1].held.speed < first.loads[-1].held.speed < on.loads[-1].held.speed
    (steep,) = advice("grade:-12%,8km,1200m", "retarding.switch=false")
    assert steep.loads[-1].held == HeldSpeed(0.0, "nothing holds on the steepest part", 0, 0, None)


def test_where_nothing_holds_it_says_so():
    chart = control_chart(truck_at(loaded(T1, 60_000.0), load_settings(), 500.0), (-0.34,))
    assert held_speed(chart, -0.34, FREE, "none", 0) == HeldSpeed(0.0, "nothing holds on the steepest part", 0, 0, None)


def test_a_truck_outside_the_published_model_has_only_our_own_answer():
    dump = load_truck("dump-three-axle").truck
    (down,) = advice("skarrow-grade", truck=dump)
    assert all(load.set_a is None and load.set_b is None for load in down.loads)
    assert all(load.held.speed > 0.0 for load in down.loads)


def test_the_published_answer_is_that_of_the_part_of_the_road_alone():
    """The grade of the whole road below the top of the pass: the climb before it heats no brake."""
    from sim.roads.facts import part_of

    (down,) = advice("ollen-pass")
    alone = safe_descent_speed(
        T1, part_of(load_route("ollen-pass"), down.begin, down.end), gear=down.loads[-1].held.gear
    )
    assert down.loads[-1].set_a == alone


def test_a_load_is_spread_as_the_truck_spreads_its_own():
    light = loaded(T1, 20_000.0)
    assert light.vehicle.mass_kg == pytest.approx(20_000.0)
    for group in ("steer", "drive", "trailer"):
        share = getattr(light.vehicle, f"{group}_load_kg") / 20_000.0
        assert share == pytest.approx(getattr(T1.vehicle, f"{group}_load_kg") / T1.vehicle.mass_kg)
    assert light.engine == T1.engine


def test_loads_are_round_pounds_up_to_the_trucks_own():
    assert [mass / POUND for mass in loads_for(T1)] == pytest.approx([35_000, 45_000, 55_000, 65_000, 80_000], abs=1.0)
    empty = load_truck("long-haul-empty").truck
    assert loads_for(empty) == (empty.vehicle.mass_kg,)
    assert math.isclose(loads_for(T1)[-1], T1.vehicle.mass_kg)


def test_a_level_road_has_no_descent():
    assert advice("ulmary-plain") == ()
