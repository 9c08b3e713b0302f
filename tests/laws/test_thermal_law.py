"""Fan, compressor, thermostat and radiator: limits and signs of the laws in sim/laws/thermal.py."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.thermal import compressor_power, fan_power, radiator_conductance, thermostat_opening

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

speeds = st.floats(0.0, 280.0)
shares = st.floats(0.0, 1.0)
coefficients = st.floats(0.0, 0.01)
bearings = st.floats(0.0, 2000.0)


@QUICK
@given(speeds, shares, coefficients, bearings)
def test_fan_takes_its_own_cube_and_what_its_clutch_slips_away(speed, share, coefficient, bearing):
    power = fan_power(speed, share * speed, coefficient, bearing)
    locked = fan_power(speed, speed, coefficient, bearing)
    fan_alone = coefficient * (share * speed) ** 3 + bearing
    assert fan_alone * (1.0 - 1e-12) <= power <= locked * (1.0 + 1e-12)
    assert power >= bearing
    assert fan_power(speed, 0.0, coefficient, bearing) == bearing


@QUICK
@given(st.floats(50.0, 280.0), st.floats(1e-4, 0.01))
def test_a_locked_fan_follows_the_cube_of_its_speed(speed, coefficient):
    """Affinity law of fans, any handbook: twice the speed takes eight times the power."""
    here = fan_power(speed, speed, coefficient, 0.0)
    assert fan_power(2.0 * speed, 2.0 * speed, coefficient, 0.0) == pytest.approx(8.0 * here)


@QUICK
@given(speeds, st.floats(0.0, 10.0), st.floats(0.0, 40.0))
def test_compressor_costs_more_while_it_pumps(speed, unloaded, more):
    idle = compressor_power(speed, unloaded, unloaded + more, 0.0)
    pumping = compressor_power(speed, unloaded, unloaded + more, 1.0)
    assert 0.0 <= idle <= pumping
    assert pumping - idle == pytest.approx(speed * more, abs=1e-9)
    assert compressor_power(0.0, unloaded, unloaded + more, 1.0) == 0.0
    assert compressor_power(2.0 * speed, unloaded, unloaded + more, 1.0) == pytest.approx(2.0 * pumping)


@QUICK
@given(st.floats(230.0, 420.0), st.floats(340.0, 372.0), st.floats(0.5, 25.0), st.floats(0.0, 20.0))
def test_thermostat_is_a_share_that_opens_with_heat(temperature, opens, span, warmer):
    share = thermostat_opening(temperature, opens, opens + span)
    assert 0.0 <= share <= 1.0
    assert thermostat_opening(temperature + warmer, opens, opens + span) >= share
    assert thermostat_opening(opens, opens, opens + span) == 0.0
    assert thermostat_opening(opens - warmer, opens, opens + span) == 0.0
    assert thermostat_opening(opens + span + warmer, opens, opens + span) == pytest.approx(1.0)
    assert thermostat_opening(opens + 0.5 * span, opens, opens + span) == pytest.approx(0.5)


@QUICK
@given(shares, speeds, st.floats(-40.0, 40.0), st.floats(0.0, 10.0))
def test_radiator_sheds_more_with_opening_wind_and_fan(opening, fan, road, more):
    numbers = (50.0, 500.0, 40.0, 7.0)
    here = radiator_conductance(opening, fan, road, *numbers)
    assert here >= numbers[0]
    assert here == radiator_conductance(opening, fan, -road, *numbers)
    assert radiator_conductance(opening, fan + more, road, *numbers) >= here
    assert radiator_conductance(opening, fan, abs(road) + more, *numbers) >= here
    assert radiator_conductance(min(opening + 0.1 * more, 1.0), fan, road, *numbers) >= here
    assert radiator_conductance(0.0, fan, road, *numbers) == numbers[0], "a shut thermostat leaves block and hoses"
