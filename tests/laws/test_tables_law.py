"""Reading an evenly spaced table, beside a general-purpose reference library. Law in sim/laws/tables.py."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.laws.tables import table_value

QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)

tables = st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=12).map(np.array)
firsts = st.floats(-100.0, 100.0)
spaces = st.floats(0.1, 50.0)


@QUICK
@given(tables, firsts, spaces, st.floats(-0.5, 1.5))
def test_it_reads_as_linear_interpolation_does(table, first, space, place):
    """numpy.interp holds the end values too."""
    grid = first + space * np.arange(len(table))
    x = first + place * space * (len(table) - 1)
    assert table_value(table, first, 1.0 / space, x) == pytest.approx(np.interp(x, grid, table), rel=1e-9, abs=1e-7)


@QUICK
@given(tables, st.data())
def test_points_are_met_and_values_stay_between_their_neighbours(table, data):
    index = data.draw(st.integers(0, len(table) - 2))
    share = data.draw(st.floats(0.0, 1.0))
    assert table_value(table, 100.0, 1.0, 100.0 + index) == table[index]
    between = table_value(table, 100.0, 1.0, 100.0 + index + share)
    low, high = sorted((table[index], table[index + 1]))
    assert low - 1e-9 <= between <= high + 1e-9


@QUICK
@given(tables, firsts, spaces, st.floats(0.0, 1e12))
def test_end_values_hold_beyond_the_ends(table, first, space, beyond):
    last = first + space * (len(table) - 1)
    assert table_value(table, first, 1.0 / space, first - beyond) == table[0]
    assert table_value(table, first, 1.0 / space, last * (1.0 + 1e-12) + 1e-9 + beyond) == pytest.approx(
        table[-1], rel=1e-6, abs=1e-6
    )
    assert table_value(table, first, 1.0 / space, math.inf) == table[-1]
    assert table_value(table, first, 1.0 / space, -math.inf) == table[0]


def test_a_position_that_is_no_number_stays_inside_the_table():
    assert table_value(np.array([3.0, 4.0, 5.0]), 0.0, 1.0, math.nan) == 3.0
