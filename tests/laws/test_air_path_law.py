"""The way of the air: limits, balances and inverses of the laws in sim/laws/air_path.py."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from sim.laws.air import DRY_AIR_GAS_CONSTANT
from sim.laws.air_path import (
    AIR_HEAT,
    EXHAUST_HEAT,
    HEAT_REFERENCE,
    altitude_share,
    charge_ratio,
    compressor_outlet,
    cooled_charge,
    cooled_pressure,
    exhaust_temperature,
    expansion,
    gate_share,
    head_of,
    leak_flow,
    opacity,
    smoke_density,
    turbine_outlet,
)

QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)

kelvins = st.floats(240.0, 320.0)
hot = st.floats(300.0, 1000.0)
heads = st.floats(0.0, 1.5e5)
airs = st.floats(0.01, 0.8)


@QUICK
@given(heads, kelvins)
def test_a_pressure_ratio_is_the_head_that_makes_it(head, inlet):
    assert head_of(charge_ratio(head, inlet), inlet) == pytest.approx(head, rel=1e-9, abs=1e-6)
    assert charge_ratio(head, inlet + 10.0) <= charge_ratio(head, inlet), "the same head makes less of hot air"


@QUICK
@given(heads, kelvins)
def test_a_loss_free_compressor_heats_as_an_ideal_gas_does(head, inlet):
    """T2/T1 = PR^((gamma-1)/gamma), any thermodynamics handbook."""
    warmed = compressor_outlet(inlet, head, 1.0)
    assert warmed / inlet == pytest.approx(charge_ratio(head, inlet) ** (0.4 / 1.4), rel=1e-12)
    assert compressor_outlet(inlet, head, 0.7) >= warmed


@QUICK
@given(hot, kelvins)
def test_a_cooler_ends_between_what_it_is_given_and_the_outside(before, outside):
    assert cooled_charge(before, outside, 0.0) == before
    assert cooled_charge(before, outside, 1.0) == pytest.approx(outside)


@QUICK
@given(st.floats(8e4, 4e5), st.floats(0.0, 2e5), st.floats(1e-7, 4e-6))
def test_the_cooler_takes_what_the_flow_behind_it_drives(before, loss, breathing):
    after = cooled_pressure(before, loss, breathing)
    assert before - after == pytest.approx(loss * (breathing * after) ** 2, rel=1e-6, abs=1e-6)


@QUICK
@given(airs, st.floats(0.0, 0.02), st.floats(280.0, 360.0), st.floats(0.0, 3e5))
def test_no_heat_is_lost_between_manifold_and_exhaust(air, fuel, intake, heat):
    """First principles: what goes in with the air and the fire leaves with the gas."""
    burnt = exhaust_temperature(air, fuel, intake, heat)
    carried = (air + fuel) * EXHAUST_HEAT * (burnt - HEAT_REFERENCE)
    assert carried == pytest.approx(air * AIR_HEAT * (intake - HEAT_REFERENCE) + heat, rel=1e-9, abs=1e-6)


def nozzle(ratio: float) -> float:
    """Flow over A p3/sqrt(R T3) by the handbook's form, gamma 4/3, choked below the ratio of the speed of sound."""
    gamma = 4.0 / 3.0
    ratio = max(ratio, (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))
    return math.sqrt(2.0 * gamma / (gamma - 1.0) * (ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma)))


@QUICK
@given(airs, hot, st.floats(8e-4, 4e-3), st.floats(6e4, 1.3e5))
def test_the_pressure_before_the_turbine_is_the_one_that_drives_the_flow(flow, temperature, area, behind):
    def missing(before: float) -> float:
        return area * before * nozzle(behind / before) / math.sqrt(DRY_AIR_GAS_CONSTANT * temperature) - flow

    before = brentq(missing, behind, 1e3 * behind, rtol=1e-12)
    assert behind / expansion(flow, temperature, area, behind) ** 4 == pytest.approx(before, rel=1e-6)


@QUICK
@given(hot, st.floats(0.6, 1.0), st.floats(0.5, 0.9))
def test_a_turbine_takes_no_more_than_the_expansion_gives(temperature, expanded, efficiency):
    assert temperature * expanded <= turbine_outlet(temperature, expanded, efficiency) <= temperature


def test_a_waste_gate_never_leads_all_of_the_exhaust_past():
    """Or boost would collapse the moment it opens wide."""
    assert gate_share(1e9, 1.4e5, 1.5e5) == 0.5
    assert gate_share(-1e5, 1.4e5, 1.5e5) == 0.0


@QUICK
@given(st.floats(1e-6, 1e-3), st.floats(1.01, 4.0), kelvins)
def test_a_hole_passes_most_at_the_speed_of_sound(area, ratio, temperature):
    """The flow of any handbook, choked where it is greatest."""

    def flow(place: float) -> float:
        return math.sqrt(7.0 * (place ** (2.0 / 1.4) - place ** (2.4 / 1.4)))

    sound = minimize_scalar(
        lambda place: -flow(place), bounds=(0.1, 0.99), method="bounded", options={"xatol": 1e-10}
    ).x
    inside = 1e5 * ratio
    expected = area * inside * flow(max(1.0 / ratio, sound)) / math.sqrt(DRY_AIR_GAS_CONSTANT * temperature)
    assert leak_flow(area, inside, temperature, 1e5) == pytest.approx(expected, rel=1e-9)
    assert leak_flow(area, 1e5, temperature, inside) == 0.0, "nothing is drawn in"


@QUICK
@given(st.floats(12.0, 60.0), st.floats(0.1, 0.5))
def test_smoke_hides_more_with_less_air_and_a_longer_path(ratio, path):
    here = opacity(smoke_density(ratio), path)
    assert 0.0 <= here <= 1.0
    assert opacity(smoke_density(ratio + 1.0), path) < here < opacity(smoke_density(ratio), path + 0.1)


@pytest.mark.parametrize("height", [0.0, 999.0, 1500.0, 2500.0, 4000.0])
def test_altitude_takes_one_percent_for_each_hundred_metres_above_a_thousand(height):
    """US Mine Safety and Health Administration; pressure by the International Standard Atmosphere."""
    pressure = 101_325.0 * (1.0 - 0.0065 * height / 288.15) ** 5.25588
    assert altitude_share(pressure) == pytest.approx(1.0 - max(height - 1000.0, 0.0) / 10_000.0, abs=2e-4)


@pytest.mark.parametrize("pressure", [41_061.0, 41_060.0, 0.0, -5_000.0])
def test_a_barometer_that_reads_nothing_leaves_two_fifths(pressure):
    """A broken sensor may read below nothing at all."""
    assert altitude_share(pressure) == pytest.approx(0.4, abs=1e-4)
