"""The control-speed chart against a root finder on the trip's own balance, and against the sums of `quasi_static`."""

import math

import numpy as np
import pytest
from quasi_static import Sums
from test_control_speed import HELD_AT_1100_M

from sim import load_settings, load_truck
from sim.charts.control_speed import STAGES, control_chart
from sim.charts.truck_at import POINTS, truck_at
from sim.inputs.specs import Truck
from sim.units import REVOLUTION_PER_MINUTE

T1 = "long-haul-manual"
ROAD = "grade:-6%,6km,1340m"


def chart(truck: str, *changes: str, elevation: float = 1100.0, start: float = 1340.0):
    """The chart of a shipped truck."""
    return control_chart(truck_at(load_truck(truck).truck, load_settings(None, changes), elevation, start))


def crossing(found, gear: int, stage: int, grade: float):
    """The one steady speed of a gear and a stage on a grade."""
    (one,) = [each for each in found.crossings if (each.gear, each.stage, each.grade) == (gear, stage, grade)]
    return one


# gear 8 holds only above governed speed, where no curve is drawn
INSIDE = [row for row in HELD_AT_1100_M if row[:2] != (T1, 8)]


@pytest.mark.parametrize(("truck", "gear", "stage"), INSIDE)
def test_crossings_are_the_control_speeds_of_quasi_static_sums(truck, gear, stage):
    found = crossing(chart(truck), gear, stage, -0.06)
    assert found.speed == pytest.approx(Sums(truck, 1340.0).steady(gear, stage, 1100.0, -0.06), rel=0.05)


@pytest.mark.parametrize(("truck", "gear", "stage"), INSIDE)
def test_crossings_are_where_a_root_finder_finds_the_balance_of_a_trip(control_speed, truck, gear, stage):
    """scipy's brentq on `plant.rolling_acceleration`, oil at the 90 °C of the chart, compressor not pumping."""
    found = crossing(chart(truck), gear, stage, -0.06)
    rpm = control_speed(truck, gear, stage, ROAD, 1100.0, oil_c=90.0)
    assert found.engine_speed / REVOLUTION_PER_MINUTE == pytest.approx(
        rpm, rel=0.01
    )  # lines straight over 50 rpm and between two airs


def test_a_gear_and_stage_cross_exactly_where_the_truck_gains_at_900_rpm_and_not_at_governed_speed(coasting):
    found = chart(T1)
    held = {(each.gear, each.stage) for each in found.crossings if each.grade == -0.06}
    for gear in range(5, 11):
        for stage in STAGES:
            balance = coasting(T1, gear, stage, ROAD, 1100.0, oil_c=90.0)
            crosses = balance(900.0) > 0.0 >= balance(2100.0)
            assert crosses == ((gear, stage) in held), (gear, stage)


def test_a_curve_is_what_the_engine_holds_with_in_a_settled_state(coasting):
    """Force less push over the whole mass that turns must be the deceleration the laws give, at every point of a curve."""
    found, truck = chart(T1), load_truck(T1).truck
    curve = next(each for each in found.curves if (each.gear, each.stage) == (7, 2))
    line = next(each for each in found.lines if each.grade == -0.06)
    given = coasting(T1, 7, 2, ROAD, 1100.0, oil_c=90.0)
    balance = curve.force - np.interp(curve.speed, line.speed, line.force)
    signs = [math.copysign(1.0, given(float(n / REVOLUTION_PER_MINUTE))) for n in curve.engine_speed]
    apart = np.abs(balance) > 0.01 * curve.force
    assert apart.sum() > 30
    assert np.array_equal(np.sign(balance)[apart], -np.array(signs)[apart])
    assert np.all(-balance[balance < 0.0] / truck.vehicle.mass_kg < 9.81 * 0.06)


def test_every_gear_and_stage_has_a_curve_from_900_rpm_to_governed_speed():
    found, truck = chart(T1), load_truck(T1).truck
    assert [(each.gear, each.stage) for each in found.curves] == [(g, k) for g in range(1, 11) for k in STAGES]
    for curve in found.curves:
        assert len(curve.speed) == len(curve.force) == POINTS
        assert curve.engine_speed[0] == pytest.approx(900.0 * REVOLUTION_PER_MINUTE)
        assert curve.engine_speed[-1] == pytest.approx(truck.engine.governed_rpm * REVOLUTION_PER_MINUTE)
        turns = curve.engine_speed / (truck.gearbox.ratios[curve.gear - 1] * truck.driveline.axle_ratio)
        assert curve.speed == pytest.approx(turns * truck.tyres.rolling_radius_m)


def test_more_stages_hold_more_and_thin_air_holds_less():
    low, high = chart(T1, elevation=200.0, start=200.0), chart(T1, elevation=3000.0, start=3000.0)
    for below, above in zip(low.curves[1:4], low.curves[0:3], strict=True):
        assert np.all(below.force > above.force)
    for near, far in zip(low.curves, high.curves, strict=True):
        if near.stage:
            assert np.all(far.force < near.force)
    assert high.temperature == pytest.approx(low.temperature)  # both stated where the truck is


def test_a_grade_line_at_walking_pace_is_weight_less_tyres():
    """m g (sin - c0 cos) with theta = atan(6 %), by hand: at 2 m/s air is below 1 % of it."""
    found, truck = chart(T1), load_truck(T1).truck
    line = next(each for each in found.lines if each.grade == -0.06)
    theta = math.atan(0.06)
    weight = truck.vehicle.mass_kg * 9.80665
    by_hand = weight * (math.sin(theta) - truck.vehicle.rolling_coefficient * math.cos(theta))
    assert np.interp(2.0, line.speed, line.force) == pytest.approx(by_hand, rel=0.01)
    level = next(each for each in found.lines if each.grade == 0.0)
    assert np.all(level.force < 0.0)


def test_an_engine_brake_without_pairs_gives_four_equal_curves():
    values = load_truck(T1).truck.model_dump()
    values["engine_brake"] |= {"stage_1": (), "stage_2": (), "stage_3": ()}
    found = control_chart(truck_at(Truck.model_validate(values), load_settings(), 500.0))
    for curve in found.curves[1:4]:
        assert np.array_equal(curve.force, found.curves[0].force)
