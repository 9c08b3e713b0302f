"""Ends and corners of laws that are stated in their source or in their docstring, at the value itself and close beside it."""

from math import pi

import pytest

from sim.laws.air_path import altitude_share
from sim.laws.dynamometer import engine_factor, torque_code
from sim.laws.engine_fluids import oil_pressure
from sim.laws.foot import stopping_deceleration
from sim.laws.thermal import fan_power


@pytest.mark.parametrize(
    ("height", "share"), [(800.0, 1.0), (990.0, 1.0), (1050.0, 0.995), (6900.0, 0.41), (6950.0, 0.405), (7200.0, 0.4)]
)
def test_altitude_counts_from_a_thousand_metres_and_takes_no_more_than_it_may(height, share):
    pressure = 101_325.0 * (1.0 - 0.0065 * height / 288.15) ** 5.25588
    assert altitude_share(pressure) == pytest.approx(share, abs=3e-4)


@pytest.mark.parametrize(
    ("milligrams", "exponent"), [(39.9, 0.3), (50.0, 0.66), (64.5, 1.182), (65.5, 1.2), (80.0, 1.2)]
)
def test_the_exponent_of_an_engine_ends_where_the_standard_says(milligrams, exponent):
    """ISO 1585: 0.036 q - 1.14 from 40 to 65 mg/L."""
    assert engine_factor(milligrams / 1000.0, 0.040, 0.3) == pytest.approx(exponent)


@pytest.mark.parametrize(
    ("percent", "code"),
    [(10.49, 135), (10.51, 136), (-124.6, 0), (-140.0, 0), (124.4, 249), (126.0, 250), (190.0, 250)],
)
def test_a_torque_goes_as_the_nearest_whole_percent_from_125_below_to_125_above(percent, code):
    """SAE J1939: 1 % a bit, offset -125 %, up to 125 %."""
    assert torque_code(percent * 20.0, 2000.0) == code


def test_a_stop_closer_than_ten_centimetres_counts_as_ten():
    assert stopping_deceleration(2.0, 0.101) == pytest.approx(4.0 / 0.202)
    assert stopping_deceleration(2.0, 0.099) == stopping_deceleration(2.0, -3.0) == pytest.approx(4.0 / 0.2)


@pytest.mark.parametrize("times", [4.0, 1.0 / 9.0])
def test_oil_pressure_goes_with_the_root_of_viscosity_and_with_speed(times):
    """Half way between a leak through bearings, with viscosity, and one through edges, without it (assumed)."""
    rest = (15.0, 2.0e5, 9.0e5, 1.0)
    here = oil_pressure(80.0, 70.0, 15.0, *rest)
    assert here == pytest.approx(2.0e5 * 80.0 / 70.0)
    assert oil_pressure(80.0, 70.0, times * 15.0, *rest) == pytest.approx(here * times**0.5)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8])
def test_what_a_slipping_fan_clutch_takes_beyond_its_fan_is_its_slip_heat(share):
    """First principles: both sides of a clutch have one torque, that of a fan, which goes with its speed squared."""
    turning, locked = 1800.0 * pi / 30.0, 4.0e4
    torque = locked / turning * share**2
    fan, slip = torque * share * turning, torque * (1.0 - share) * turning
    assert fan_power(turning, share * turning, locked / turning**3, 150.0) == pytest.approx(fan + slip + 150.0)
