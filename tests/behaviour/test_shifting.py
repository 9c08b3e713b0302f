"""Gears: a truck on a steady road finds its gear and keeps it; shifts cost speed on a climb and give it on a descent.

An experienced driver makes 12 to 16 shifts over a pass of 24 km with every kind of grade (assumed); on one steady grade
a few are enough, and hunting between two gears is a defect.
"""

import numpy as np
import pytest

from sim.wording import said

T1, T2, T3, T4, T5 = (
    "long-haul-manual",
    "long-haul-automated",
    "long-haul-empty",
    "dump-three-axle",
    "older-long-haul",
)
MOST_SHIFTS = 4

# truck, grade %, height m, posted km/h
STEADY = [
    (T1, 0, 200, 90),
    (T1, 2, 200, 90),
    (T1, 6, 200, 60),
    (T1, -2, 600, 35),
    (T1, -3, 600, 35),
    (T1, -3, 600, 45),
    (T1, -4, 600, 35),
    (T1, -6, 600, 60),
    (T1, 6, 2500, 60),
    (T2, 6, 200, 60),
    (T2, -2, 600, 35),
    (T2, -2, 600, 45),
    (T2, -3, 600, 35),
    (T2, -3, 600, 45),
    (T2, -4, 600, 35),
    (T2, -6, 600, 60),
    (T2, 6, 2500, 60),
    (T3, -3, 600, 35),
    (T3, -4, 600, 30),
    (T3, -4, 600, 45),
    (T3, 8, 2000, 60),
    (T4, 6, 2000, 60),
    (T4, -3, 600, 30),
    (T4, -4, 600, 30),
    (T4, -6, 600, 50),
    (T5, -2, 600, 35),
    (T5, 5, 1500, 60),
    (T5, -6, 600, 40),
]


@pytest.mark.parametrize(("truck", "grade", "height", "limit"), STEADY)
def test_no_hunting_between_gears_on_a_steady_grade(trip, named, truck, grade, height, limit):
    result = trip(
        truck,
        f"grade:{grade}%,4km,{height}m",
        f"start.speed_km_h={limit}",
        f"driver.desired_speed_km_h={limit}",
        f"weather.temperature_c={15 - 0.0065 * height:.2f}",
    )
    assert result.summary["ended"] == "arrived"
    shifts = [entry["cause"] for entry in named(result, "gear_engaged")]
    assert len(shifts) == result.summary["gear_shifts"]
    assert len(shifts) <= MOST_SHIFTS, shifts[:6]


@pytest.mark.parametrize("truck", [T1, T2])
def test_a_shift_on_a_climb_loses_speed(trip, named, truck):
    """The wheels pull nothing for the gap: on 5 % the truck loses about 0.55 m/s2, weight, tyres and air together."""
    result = trip(truck, "grade:5%,3km,0m", "start.speed_km_h=80", "simulation.log_s=0.05")
    shift = named(result, "gear_engaged")[0]
    time, speed = result.trace["time_s"], result.trace["speed_m_s"]
    begun, done = shift["time_s"] - shift["value"], shift["time_s"]
    lost = np.interp(begun + 0.1, time, speed) - np.interp(done - 0.1, time, speed)
    assert lost / (shift["value"] - 0.2) == pytest.approx(0.55, abs=0.12)
    gap = result.truck.gearbox.torque_gap_s
    # without a gear for what is left once the clutch is open; hands hurry on a climb
    assert 0.45 * gap <= shift["value"] < gap + 0.5


def test_a_shift_on_a_descent_gives_speed(trip, named):
    """On 6 % a truck out of gear gains about 0.5 m/s2; here on 8 % with an automated gearbox that saves its engine."""
    result = trip(
        T2,
        "grade:-8%,2km,1100m",
        "start.speed_km_h=60",
        "start.gear=8",
        "drill.hold_stage=2",
        "drill.service_brakes=false",
        "drill.careless=true",
        "simulation.log_s=0.05",
    )
    shift = named(result, "gear_engaged")[0]
    assert said(named(result, "gear_wanted")[0]["cause"], "us") == "8 to 9: engine overspeed in overrun"
    time, speed = result.trace["time_s"], result.trace["speed_m_s"]
    gained = np.interp(shift["time_s"] - 0.3, time, speed) - np.interp(shift["time_s"] - 0.8, time, speed)
    free = 9.80665 * 0.08 / np.sqrt(1 + 0.08**2) - 9.80665 * 0.0055 - 0.06
    assert gained / 0.5 == pytest.approx(free, abs=0.1)


@pytest.mark.parametrize("truck", [T1, T2, T4, T5])
def test_a_downshift_on_a_climb_lands_within_governed_speed(trip, named, truck):
    result = trip(truck, "grade:6%,6km,0m", "start.speed_km_h=85", "weather.temperature_c=15")
    shifts = named(result, "gear_engaged")
    assert shifts, "a loaded truck cannot climb 6 % in the gear it cruises in"
    for shift in shifts:
        assert shift["cause"]["values"]["gear"] < shift["cause"]["values"]["before"]
        row = np.searchsorted(result.trace["time_s"], shift["time_s"])
        assert result.trace["engine_speed_rpm"][row] < result.truck.engine.governed_rpm


@pytest.mark.parametrize("truck", [T1, T2, T3, T4, T5])
def test_a_truck_that_starts_on_the_level_gets_into_its_upper_gears(trip, truck):
    result = trip(truck, "grade:0%,3km,200m", "start.speed_km_h=0")
    assert result.summary["ended"] == "arrived"
    assert result.trace["gear"].max() >= len(result.truck.gearbox.ratios) - 1
    gears = result.trace["gear"][result.trace["gear"] > 0]
    assert np.all(np.diff(gears) >= 0), "no shift down on a level road"


@pytest.mark.parametrize("truck", [T1, T2, T4, T5])
def test_a_truck_that_starts_on_a_hill_does_not_climb_it_all_in_its_lowest_gear(trip, truck):
    """On 4 % each of them can climb several gears higher than it starts in."""
    result = trip(truck, "grade:4%,1.5km,200m", "start.speed_km_h=0")
    assert result.summary["ended"] == "arrived"
    started = result.trace["gear"][result.trace["gear"] > 0][0]
    assert result.trace["gear"][-1] >= started + 2


def test_nobody_coasts_down_a_hill_in_neutral(trip, road_of):
    """A descent with limits that pull the engine near idle: the truck must be back in a gear at once.

    No coasting on a grade: US model commercial driver manual, 2.16 (published, second-hand).
    """
    road = road_of([(0, -3, 90), (1500, -3, 40), (5000, -3, "")], 700)
    result = trip(T5, road, "start.speed_km_h=85")
    time, gear = result.trace["time_s"], result.trace["gear"]
    assert result.summary["ended"] == "arrived"
    last_in_gear = np.maximum.accumulate(np.where(gear > 0, time, 0.0))
    assert (time - last_in_gear).max() < 10.0
    assert 3.6 * result.summary["max_speed_m_s"] < 92.0
    after = result.trace["distance_m"] > 1600
    assert 3.6 * result.trace["speed_m_s"][after].max() < 45.0


@pytest.mark.parametrize("truck", [T1, T2, T4, T5])
def test_a_low_gear_taken_to_be_held_back_is_left_again_when_the_limit_rises(trip, road_of, truck):
    """A truck once kept its low gear on the descent with the foot down, until its engine ran away."""
    road = road_of([(0, -5, 70), (600, -5, 20), (900, -6, 80), (3000, -6, 80)], 900)
    result = trip(truck, road, "start.speed_km_h=60")
    assert result.summary["ended"] == "arrived"
    assert result.summary["time_over_governed_s"] < 8.0
    assert result.trace["speed_m_s"][-1] > 9.0
