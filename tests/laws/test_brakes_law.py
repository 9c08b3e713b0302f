"""Service brakes: limits and signs of the laws in sim/laws/brakes.py, and of the fade table they are used with."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.inputs.files import list_trucks, load_truck
from sim.laws.brakes import brake_cooling, brake_force, hot_stroke, slack_effectiveness
from sim.laws.tables import table_value
from sim.march.assemble import FADE_STEP, tables_of
from sim.march.records import FADE_ROW
from sim.units import CELSIUS_ZERO, to_si

QUICK = settings(max_examples=40, deadline=None, derandomize=True, database=None)

applied = st.floats(0.0, 8e5)
thresholds = st.floats(0.0, 1e5)
gains = st.floats(0.0, 0.6)
shares = st.floats(0.0, 1.0)
limits = st.floats(0.02, 0.1)
spans = st.floats(0.001, 0.05)


@QUICK
@given(applied, thresholds, gains, shares, st.floats(0.0, 1e5))
def test_force_starts_at_the_threshold_and_grows_from_there(pressure, threshold, gain, effectiveness, more):
    force = brake_force(pressure, threshold, gain, effectiveness)
    assert force >= 0.0
    assert brake_force(pressure + more, threshold, gain, effectiveness) >= force
    assert brake_force(threshold, threshold, gain, effectiveness) == 0.0
    assert brake_force(0.5 * threshold, threshold, gain, effectiveness) == 0.0
    assert brake_force(threshold + 1e-6, threshold, gain, effectiveness) == pytest.approx(0.0, abs=1e-5)
    assert brake_force(pressure, threshold, gain, 0.5 * effectiveness) == pytest.approx(0.5 * force)
    assert brake_force(pressure, threshold, gain, 0.0) == 0.0
    assert brake_force(threshold + 1e5, threshold, gain, 1.0) == pytest.approx(gain * 1e5), "gain is force per pressure"


def test_a_later_threshold_takes_a_larger_part_of_a_light_application():
    """Why dragging loads the group that touches first."""
    light = brake_force(0.8e5, 0.6e5, 0.1, 1.0) / brake_force(0.8e5, 0.25e5, 0.1, 1.0)
    full = brake_force(6.2e5, 0.6e5, 0.1, 1.0) / brake_force(6.2e5, 0.25e5, 0.1, 1.0)
    assert light < 0.5
    assert 0.9 < full < 1.0


@QUICK
@given(st.floats(0.0, 0.2), limits, spans, st.floats(0.0, 0.05))
def test_slack_takes_force_between_its_two_strokes(stroke, limit, span, more):
    share = slack_effectiveness(stroke, limit, limit + span)
    assert 0.0 <= share <= 1.0
    assert slack_effectiveness(stroke + more, limit, limit + span) <= share
    assert slack_effectiveness(limit, limit, limit + span) == 1.0
    assert slack_effectiveness(limit + span, limit, limit + span) == 0.0
    assert slack_effectiveness(limit + 0.5 * span, limit, limit + span) == pytest.approx(0.5)
    assert slack_effectiveness(limit + 1e-9, limit, limit + span) == pytest.approx(1.0, abs=1e-5)


@QUICK
@given(st.floats(0.01, 0.08), st.floats(1e-6, 2e-4), st.floats(253.15, 320.0), st.floats(0.1, 600.0))
def test_a_hot_drum_needs_a_longer_stroke(cold, expansion, temperature, warmer):
    assert hot_stroke(cold, expansion, temperature, temperature) == cold
    hot = hot_stroke(cold, expansion, temperature + warmer, temperature)
    assert hot > cold
    assert hot - cold == pytest.approx(expansion * warmer, abs=1e-12)
    assert hot_stroke(cold, 0.0, temperature + warmer, temperature) == cold


@QUICK
@given(st.floats(250.0, 900.0), st.floats(250.0, 320.0), st.floats(-40.0, 40.0), st.floats(0.0, 10.0))
def test_heat_flows_from_hot_to_cold(temperature, ambient, speed, more):
    heat = brake_cooling(temperature, ambient, speed, 18.0, 1.2)
    assert heat * (temperature - ambient) >= 0.0
    assert brake_cooling(ambient, ambient, speed, 18.0, 1.2) == 0.0
    assert heat == brake_cooling(temperature, ambient, -speed, 18.0, 1.2)
    assert abs(brake_cooling(temperature, ambient, abs(speed) + more, 18.0, 1.2)) >= abs(heat)
    assert brake_cooling(temperature, ambient, speed, 0.0, 0.0) == 0.0


@QUICK
@given(st.floats(300.0, 900.0), st.floats(0.0, 30.0))
def test_a_drum_left_alone_cools_by_the_exponential(start, speed):
    """Closed solution of a lumped capacity with a constant conductance: Newton's law of cooling."""
    ambient, capacity, still, growth = 293.15, 48e3, 18.0, 1.2
    time_constant = capacity / (still + growth * speed)
    run = solve_ivp(
        lambda _, y: [-brake_cooling(y[0], ambient, speed, still, growth) / capacity],
        (0.0, 2.0 * time_constant),
        [start],
        rtol=1e-9,
        atol=1e-9,
    )
    assert run.y[0, -1] == pytest.approx(ambient + (start - ambient) * math.exp(-2.0), abs=1e-4)


@pytest.mark.parametrize("name", list_trucks())
def test_fade_stays_a_share_and_never_comes_back_with_heat(name):
    """A drum gets no stronger as it gets hotter, and at 650 °C a runaway can happen (shape from memory, then assumed)."""
    fade = tables_of(load_truck(name).truck)[FADE_ROW]
    temperatures = np.linspace(-60.0, 1500.0, 2000)
    shares_left = [table_value(fade, CELSIUS_ZERO, 1.0 / FADE_STEP, to_si(float(t), "c")) for t in temperatures]
    assert min(shares_left) >= 0.0
    assert max(shares_left) <= 1.0
    assert all(later <= earlier for earlier, later in pairwise(shares_left))
    assert table_value(fade, CELSIUS_ZERO, 1.0 / FADE_STEP, to_si(20.0, "c")) == 1.0
    assert table_value(fade, CELSIUS_ZERO, 1.0 / FADE_STEP, to_si(650.0, "c")) < 0.5
