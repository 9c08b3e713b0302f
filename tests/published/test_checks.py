"""What the laws of the trip give, against what is printed in standards, handbooks and worked examples.

Each printed value is a test of its own; its source, mark and tolerance stand in sim/checks/rows.csv and sim/checks/more.csv.
"""

import json
from dataclasses import asdict

import pytest

from sim.checks import CLASSES, TRIP_LAW, Check, rows, run_checks
from sim.checks.power_split import trip_split

ROWS = rows()
TRIP_ROWS = [row for row in ROWS if row.category == TRIP_LAW]
MARKS = {"published", "published, second-hand", "common practice", "from memory", "derived here"}
FIELDS = ["id", "topic", "source", "mark", "inputs", "expected", "got", "unit", "tolerance", "verdict"]


@pytest.fixture(scope="module")
def checks() -> dict[str, Check]:
    return {check.id: check for check in run_checks()}


@pytest.mark.parametrize("name", [name for row in TRIP_ROWS for name in row.ids()])
def test_the_law_gives_the_printed_value(checks, name):
    check = checks[name]
    assert check.verdict == "pass", (
        f"{name}, {check.topic}: printed {check.expected:g} {check.unit}, the law gives {check.got:.8g} "
        f"(tolerance {check.tolerance:g}).\nInputs: {check.inputs}\nSource: {check.source} [{check.mark}]"
    )


def test_the_table_and_the_functions_that_compute_it_fit_each_other(checks):
    """Each row says what it is, where it is from and why; each printed value has one check, each function one row."""
    from sim.checks.laws import COMPUTED

    for row in ROWS:
        assert row.category in CLASSES and row.mark in MARKS and row.why and row.source, row.id
    parts = [name for row in TRIP_ROWS for name in row.ids()]
    assert list(checks) == parts
    names = [row.id for row in ROWS] + [name for name in parts if name not in COMPUTED]
    assert len(set(names)) == len(names)
    assert sorted(COMPUTED) == sorted(row.id for row in TRIP_ROWS)


def test_the_automated_truck_splits_its_power_as_published_too():
    """It shares the reference truck's parts: each within the 10 % of the row."""
    (row,) = [row for row in ROWS if row.id == "RL-11"]
    for printed, found in zip(row.printed(), trip_split("long-haul-automated", 65.0), strict=True):
        assert found == pytest.approx(printed.value, rel=0.10), printed.symbol


def test_a_function_for_a_row_that_has_one_already_is_refused():
    from sim.checks.laws import computes

    with pytest.raises(ValueError, match="RL-01 is computed twice: _coastdown_force, other"):

        @computes("RL-01")
        def other(given):
            return given


def test_checks_can_be_written_as_json(checks):
    back = json.loads(json.dumps([asdict(check) for check in checks.values()], allow_nan=False))
    assert all(list(entry) == FIELDS for entry in back)
    assert all(type(entry[key]) is float for entry in back for key in ("expected", "got", "tolerance"))
    assert {entry["verdict"] for entry in back} <= {"pass", "fail"}


def test_a_tolerance_in_percent_is_of_the_expected_value():
    (split,) = [row for row in ROWS if row.id == "RL-11"]
    assert [value.tolerance for value in split.printed()] == pytest.approx([11.4, 6.8, 2.0, 1.2, 21.4, 32.2])


def test_only_whole_counts_and_sums_of_whole_watts_are_exact(checks):
    exact = {name for name, check in checks.items() if check.tolerance == 0.0}
    assert {name.rstrip("abcdefghi") for name in exact} == {"EB-02", "EBW-04", "AC-02", "CC-01", "DR-04"}
