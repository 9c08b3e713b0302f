"""The published descent speed with its caps; printed values in tests/published come through the same law."""

import pytest

from sim import load_route, load_truck
from sim.charts.safe_speed import limit_temperature, safe_descent_speed
from sim.errors import SpecError
from sim.units import MILE_PER_HOUR

TRUCK = load_truck("long-haul-manual").truck


def test_printed_example_of_one_section():
    """Grade-severity model, set A, 80,000 lb, 6 %, 5 mi at 30 mi/h: T_lim 439.537 F (WY-1901F constants, second-hand)."""
    assert limit_temperature(80000.0, [(0.06, 5.0)], 30.0, 63.3, True) == pytest.approx(439.537, abs=0.01)


def test_sections_chain_to_the_same_end_as_one():
    whole = limit_temperature(80000.0, [(0.06, 5.0)], 30.0, 63.3, True)
    parts = limit_temperature(80000.0, [(0.06, 1.0), (0.06, 2.5), (0.06, 1.5)], 30.0, 63.3, True)
    assert parts == pytest.approx(whole, abs=1e-9)


def test_a_long_steep_grade_is_capped_by_the_brakes_and_a_retarder_lifts_the_cap():
    road = load_route("grade:-6%,20km,1500m")
    bare = safe_descent_speed(TRUCK, road)
    held = safe_descent_speed(TRUCK, road, retarding_power=250e3)
    assert bare.cap == "brake temperature"
    assert bare.model_speed < 30 * MILE_PER_HOUR
    assert held.speed > bare.speed


def test_a_short_grade_is_capped_by_the_posted_limit_and_a_low_gear_by_governed_speed():
    road = load_route("grade:-6%,1km,1500m,90km/h")
    assert safe_descent_speed(TRUCK, road).cap == "posted limit"
    geared = safe_descent_speed(TRUCK, road, gear=7)
    assert geared.cap == "governed speed in gear 7"
    assert geared.speed * 3.6 == pytest.approx(60.8, abs=0.1)


def test_it_is_refused_outside_its_domain():
    with pytest.raises(SpecError, match="five-axle trucks; this one has 3 axles"):
        safe_descent_speed(load_truck("dump-three-axle").truck, load_route("grade:-6%,1km,1500m"))


def test_the_limit_is_the_last_whole_mile_per_hour_below_500_f():
    road = load_route("grade:-6%,20km,1500m")
    allowed = round(safe_descent_speed(TRUCK, road).model_speed / MILE_PER_HOUR)
    weight, sections = 36287 / 0.45359237, [(0.06 / (1 + 0.06**2) ** 0.5, 20.0 / 1.609344)]
    assert limit_temperature(weight, sections, float(allowed), 63.3, True) < 500.0
    assert limit_temperature(weight, sections, float(allowed + 1), 63.3, True) >= 500.0
