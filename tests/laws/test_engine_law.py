"""The diesel engine: limits, signs and balances of the laws in sim/laws/engine.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.air import air_density
from sim.laws.engine import (
    air_limited_torque,
    air_per_cycle,
    friction_temperature_factor,
    governor_share,
    idle_torque,
    mean_pressure_torque,
    motoring_mean_pressure,
    oil_viscosity,
    pedal_torque,
    road_speed_share,
    straight_line_fuel,
)

QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)

engine_speeds = st.floats(60.0, 280.0)
pedals = st.floats(0.0, 1.0)
governed = st.floats(180.0, 240.0)
droops = st.floats(0.02, 0.15)
available = st.floats(500.0, 2600.0)
frictions = st.floats(50.0, 400.0)
kinds = st.sampled_from([0.0, 1.0])
LOW_IDLE = 68.0


# ---------------------------------------------------------------- friction


@QUICK
@given(engine_speeds, st.floats(0.1, 0.2), st.floats(12.0, 22.0), st.floats(1.0, 50.0))
def test_turning_an_engine_costs_more_faster_longer_and_tighter(speed, stroke, ratio, more):
    here = motoring_mean_pressure(speed, stroke, ratio)
    assert here > 0.0
    assert motoring_mean_pressure(speed + more, stroke, ratio) > here
    assert motoring_mean_pressure(speed, 1.1 * stroke, ratio) > here
    assert motoring_mean_pressure(speed, stroke, ratio + 1.0) > here


def test_an_engine_that_stands_and_hardly_compresses_costs_nothing():
    assert motoring_mean_pressure(0.0, 0.172, 4.0) == 0.0


def test_piston_speed_counts_only_while_it_turns():
    assert motoring_mean_pressure(0.0, 0.172, 17.0) == motoring_mean_pressure(0.0, 0.120, 17.0) > 0.0


@QUICK
@given(st.floats(-5e5, 2e6), st.floats(1e-3, 2e-2))
def test_mean_pressure_does_its_work_in_two_turns(pressure, displacement):
    """First principles: the work of one cycle is pressure times swept volume, and a cycle is two turns."""
    torque = mean_pressure_torque(pressure, displacement)
    assert torque * 2.0 * (2.0 * math.pi) == pytest.approx(pressure * displacement, rel=1e-12)


oils = st.tuples(st.floats(40.0, 400.0), st.floats(5.0, 30.0)).filter(lambda oil: oil[1] < 0.6 * oil[0])


@QUICK
@given(oils)
def test_oil_passes_through_its_data_sheet(oil):
    assert oil_viscosity(313.15, *oil) == pytest.approx(oil[0], rel=1e-9)
    assert oil_viscosity(373.15, *oil) == pytest.approx(oil[1], rel=1e-9)


@QUICK
@given(oils, st.floats(245.0, 420.0), st.floats(0.5, 10.0))
def test_oil_thins_as_it_warms(oil, temperature, warmer):
    here = oil_viscosity(temperature, *oil)
    assert 0.0 < oil_viscosity(temperature + warmer, *oil) < here


@QUICK
@given(oils, st.floats(0.05, 0.3), st.floats(245.0, 420.0), st.floats(0.5, 10.0))
def test_friction_factor_is_one_at_90_degrees_and_falls_with_warmth(oil, exponent, temperature, warmer):
    assert friction_temperature_factor(363.15, *oil, exponent) == pytest.approx(1.0, rel=1e-12)
    here = friction_temperature_factor(temperature, *oil, exponent)
    assert 0.0 < friction_temperature_factor(temperature + warmer, *oil, exponent) < here
    assert (here > 1.0) == (temperature < 363.15) or temperature == pytest.approx(363.15)
    assert friction_temperature_factor(temperature, *oil, 0.0) == 1.0


@pytest.mark.parametrize("exponent", [0.20, 0.22, 0.25])
def test_friction_factor_of_a_cold_engine(exponent):
    """From memory: about 1.5 to 2 times at 20 °C with an exponent of 0.20 to 0.25; oil SAE 15W-40 from memory.

    The tolerance is half of the last digit in which the range is given.
    """
    assert 1.45 <= friction_temperature_factor(293.15, 110.0, 15.0, exponent) <= 2.05


# ---------------------------------------------------------------- governor


@QUICK
@given(governed, droops, st.floats(0.001, 0.999))
def test_governor_gives_all_then_less_then_takes(governed_speed, droop, place):
    no_load = governed_speed * (1.0 + droop)
    assert governor_share(place * governed_speed, governed_speed, droop) == 1.0
    assert governor_share(governed_speed, governed_speed, droop) == 1.0
    between = governed_speed + place * (no_load - governed_speed)
    assert 0.0 < governor_share(between, governed_speed, droop) < 1.0
    assert governor_share(no_load, governed_speed, droop) == pytest.approx(0.0, abs=1e-12)
    assert governor_share(no_load + place, governed_speed, droop) < 0.0


@QUICK
@given(engine_speeds, governed, droops, st.floats(0.0, 50.0))
def test_governor_never_gives_more_at_a_higher_speed(speed, governed_speed, droop, more):
    here = governor_share(speed, governed_speed, droop)
    assert governor_share(speed + more, governed_speed, droop) <= here <= 1.0


@QUICK
@given(pedals, engine_speeds, available, frictions, kinds, governed, droops, st.floats(0.0, 0.5))
def test_pedal_asks_within_what_the_engine_has_and_more_for_more(
    pedal, speed, torque, friction, kind, governed_speed, droop, more
):
    rest = (speed, torque, friction, kind, LOW_IDLE, governed_speed, droop)
    asked = pedal_torque(pedal, *rest)
    assert 0.0 <= asked <= torque + friction
    assert pedal_torque(min(pedal + more, 1.0), *rest) >= asked
    assert pedal_torque(0.0, *rest) == pedal_torque(-0.1, *rest) == 0.0


@QUICK
@given(pedals, engine_speeds, available, frictions, kinds, governed, droops, st.floats(0.0, 30.0))
def test_pedal_never_asks_more_at_a_higher_speed(pedal, speed, torque, friction, kind, governed_speed, droop, more):
    rest = (torque, friction, kind, LOW_IDLE, governed_speed, droop)
    assert pedal_torque(pedal, speed + more, *rest) <= pedal_torque(pedal, speed, *rest)


@QUICK
@given(available, frictions, kinds, governed, droops)
def test_a_free_engine_at_full_pedal_settles_at_the_no_load_speed(torque, friction, kind, governed_speed, droop):
    """There the cylinders make exactly the friction, whichever governor; well beyond they make nothing."""
    rest = (torque, friction, kind, LOW_IDLE, governed_speed, droop)
    no_load = governed_speed * (1.0 + droop)
    assert pedal_torque(1.0, governed_speed, *rest) == pytest.approx(torque + friction)
    assert pedal_torque(1.0, no_load, *rest) == pytest.approx(friction, abs=1e-6)
    assert pedal_torque(1.0, governed_speed * (1.0 + 2.0 * droop), *rest) <= friction


@QUICK
@given(st.floats(0.05, 0.95), available, frictions, governed, droops)
def test_all_speed_governor_holds_the_speed_the_pedal_asks_for(pedal, torque, friction, governed_speed, droop):
    asked_speed = LOW_IDLE + pedal * (governed_speed - LOW_IDLE)
    rest = (torque, friction, 1.0, LOW_IDLE, governed_speed, droop)
    assert pedal_torque(pedal, 0.9 * asked_speed, *rest) == pytest.approx(torque + friction)
    assert pedal_torque(pedal, asked_speed * (1.0 + droop), *rest) == pytest.approx(friction, abs=1e-6)
    limiting = (torque, friction, 0.0, LOW_IDLE, governed_speed, droop)
    assert pedal_torque(pedal, 0.9 * asked_speed, *limiting) == pytest.approx(pedal * (torque + friction))


# ---------------------------------------------------------------- low idle


@QUICK
@given(st.floats(50.0, 90.0), st.floats(5.0, 40.0), frictions, st.floats(-400.0, 400.0), st.floats(1e-9, 200.0))
def test_idle_governor_gives_exactly_nothing_above_its_fade_out(low_idle, fade_out, friction, learnt, beyond):
    speed = (low_idle + fade_out) * (1.0 + 1e-12) + beyond
    assert idle_torque(speed, low_idle, friction, 60.0, learnt, fade_out) == 0.0


@QUICK
@given(engine_speeds, st.floats(5.0, 40.0), frictions, st.floats(-400.0, 400.0), st.floats(0.0, 20.0))
def test_idle_governor_never_pulls_down_and_gives_less_at_a_higher_speed(speed, fade_out, friction, learnt, more):
    rest = (LOW_IDLE, friction, 60.0, learnt, fade_out)
    here = idle_torque(speed, *rest)
    assert here >= 0.0
    assert idle_torque(speed + more, *rest) <= here


@QUICK
@given(st.floats(5.0, 40.0), frictions, st.floats(-40.0, 400.0))
def test_idle_governor_is_continuous_and_carries_the_friction_at_idle(fade_out, friction, learnt):
    rest = (LOW_IDLE, friction, 60.0, learnt, fade_out)
    at_idle = idle_torque(LOW_IDLE, *rest)
    assert at_idle == friction + learnt
    assert idle_torque(LOW_IDLE - 1e-9, *rest) == pytest.approx(at_idle, abs=1e-4)
    assert idle_torque(LOW_IDLE + 1e-9, *rest) == pytest.approx(at_idle, abs=1e-4)
    assert idle_torque(LOW_IDLE + fade_out - 1e-9, *rest) == pytest.approx(0.0, abs=1e-4)
    assert idle_torque(LOW_IDLE - 2.0, *rest) == pytest.approx(at_idle + 120.0)


# ---------------------------------------------------------------- road-speed limit


@QUICK
@given(st.floats(-5.0, 60.0), st.floats(5.0, 40.0), st.floats(0.05, 5.0), st.floats(0.0, 5.0))
def test_road_speed_limit_only_cuts(speed, limit, band, more):
    share = road_speed_share(speed, limit, band)
    assert 0.0 <= share <= 1.0, "never negative: it cuts fuel and never brakes"
    assert road_speed_share(speed + more, limit, band) <= share
    assert road_speed_share(limit, limit, band) == road_speed_share(limit + more, limit, band) == 0.0
    assert road_speed_share(limit - band - 1e-9 - more, limit, band) == 1.0
    assert road_speed_share(limit - 0.5 * band, limit, band) == pytest.approx(0.5)


def test_no_road_speed_limit_leaves_all():
    assert road_speed_share(1000.0, 0.0, 1.0) == road_speed_share(1000.0, -1.0, 1.0) == 1.0


# ---------------------------------------------------------------- air

manifolds = st.floats(50e3, 400e3)
intakes = st.floats(250.0, 380.0)


@QUICK
@given(manifolds, intakes, st.floats(5e-3, 2e-2), st.floats(0.6, 1.1))
def test_a_cycle_takes_in_the_swept_volume_at_the_density_of_the_manifold(pressure, temperature, displacement, filling):
    mass = air_per_cycle(pressure, temperature, displacement, filling)
    assert mass == pytest.approx(filling * displacement * air_density(pressure, temperature), rel=1e-12)


@QUICK
@given(manifolds, intakes, st.floats(16.0, 40.0), st.floats(1.05, 3.0))
def test_air_limit_is_proportional_to_pressure(pressure, temperature, ratio, factor):
    def limit(manifold, intake, air_fuel):
        return air_limited_torque(air_per_cycle(manifold, intake, 14.992e-3, 0.9), air_fuel, 0.47, 42.8e6)

    here = limit(pressure, temperature, ratio)
    assert here > 0.0
    assert limit(factor * pressure, temperature, ratio) == pytest.approx(factor * here)
    assert limit(pressure, factor * temperature, ratio) == pytest.approx(here / factor)
    assert limit(pressure, temperature, factor * ratio) == pytest.approx(here / factor)
    assert limit(0.0, temperature, ratio) == 0.0


@QUICK
@given(st.floats(1e-3, 0.1), st.floats(16.0, 40.0), st.floats(0.3, 0.6), st.floats(60.0, 260.0))
def test_the_fuel_of_the_air_limit_burns_exactly_the_air(air, ratio, efficiency, speed):
    """First principles: at the limit the fuel of one cycle is its air over the air-fuel ratio; a cycle takes 4 pi/speed."""
    torque = air_limited_torque(air, ratio, efficiency, 42.8e6)
    cycle_time = 4.0 * math.pi / speed
    assert straight_line_fuel(torque, speed, efficiency, 42.8e6) * cycle_time == pytest.approx(air / ratio, rel=1e-12)


# ---------------------------------------------------------------- fuel


@QUICK
@given(st.floats(0.0, 3500.0), engine_speeds, st.floats(0.3, 0.6), st.floats(40e6, 45e6))
def test_fuel_holds_more_energy_than_the_pistons_get(torque, speed, efficiency, heating_value):
    rate = straight_line_fuel(torque, speed, efficiency, heating_value)
    assert rate >= 0.0
    assert rate * heating_value * efficiency == pytest.approx(torque * speed, rel=1e-12)
    assert straight_line_fuel(2.0 * torque, speed, efficiency, heating_value) == pytest.approx(2.0 * rate)
    assert straight_line_fuel(0.0, speed, efficiency, heating_value) == 0.0
    assert straight_line_fuel(torque, 0.0, efficiency, heating_value) == 0.0
