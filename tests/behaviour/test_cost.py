"""What a trip will cost is known before it is driven, and a trip that would need too much is refused."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.errors import SettingsError
from sim.trips.cost import MOST_BYTES, bytes_a_second, cost_of, expected_time, time_in_memory

TRUCK = "long-haul-manual"
ALL_METERS = 'circuits.meters=["all"]'

# one trip in a process of its own: what it is expected to hold, and the most it held beyond what was there before
ALONE = """
import json, sys
from sim import load_route, load_settings, load_truck, run_trip
from sim.trips.cost import cost_of

def held(line):
    return next(int(row.split()[1]) * 1024 for row in open("/proc/self/status") if row.startswith(line))

truck, road, *changes = json.loads(sys.argv[1])
truck, road, settings = load_truck(truck).truck, load_route(road), load_settings(None, changes)
run_trip(truck, load_route("grade:0%,1km"), load_settings(None, ['circuits.meters=["all"]']))
before = held("VmRSS")
result = run_trip(truck, road, settings)
cost = cost_of(truck, road, settings)
print(json.dumps([cost.bytes, held("VmHWM") - before, cost.rows, len(result.trace["time_s"])]))
"""

CASES = {
    "a row each tick": (TRUCK, "grade:0%,60km", "simulation.log_s=0.01"),
    "all meters": (TRUCK, "grade:0%,40km", ALL_METERS, "circuits.meter_s=0.05"),
    "a pass, fine": ("dump-three-axle", "ollen-pass", "simulation.log_s=0.01"),
    "a short tick and one meter": (
        "long-haul-automated",
        "wendle-hills",
        "simulation.tick_s=0.002",
        "simulation.log_s=0.02",
        'circuits.meters=["boost pressure"]',
        "circuits.meter_s=0.05",
    ),
}


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads the memory of a process as Linux tells it")
@pytest.mark.parametrize("case", CASES)
def test_the_memory_of_a_trip_is_what_was_expected(case):
    run = subprocess.run(
        [sys.executable, "-c", ALONE, json.dumps(CASES[case])], capture_output=True, text=True, check=True
    )
    expected, peak, rows, written = json.loads(run.stdout)
    assert peak > 10e6, "large enough to be seen"
    assert 0.7 * peak < expected < 1.3 * peak
    assert rows == pytest.approx(written, rel=0.25)


@pytest.mark.parametrize("truck", ["long-haul-manual", "long-haul-empty", "dump-three-axle"])
@pytest.mark.parametrize("road", ["ollen-pass", "wendle-hills", "ulmary-town", "skarrow-grade", "grade:6%,3km"])
def test_the_time_of_a_trip_is_about_what_was_expected(truck, road):
    spec, way, settings = load_truck(truck).truck, load_route(road), load_settings()
    assert expected_time(spec, way, settings) == pytest.approx(run_trip(spec, way, settings).summary["time_s"], rel=0.3)


@pytest.mark.parametrize(
    ("road", "changes", "most_ticks"),
    [
        ("grade:0%,10km", (), 906000),  # ten times 10 km at 40 km/h, a minute, and 100 ticks a second
        ("grade:0%,10km", ("simulation.time_limit_s=50",), 5000),
        ("grade:0%,10km", ("simulation.tick_s=0.001",), 9060000),
    ],
)
def test_the_most_a_trip_can_come_to_follows_from_its_time_limit(road, changes, most_ticks):
    cost = cost_of(load_truck(TRUCK).truck, load_route(road), load_settings(None, changes))
    assert cost.most_ticks == most_ticks
    assert cost.ticks <= most_ticks and cost.rows <= cost.most_rows
    assert cost.rows == pytest.approx(cost.ticks * float(load_settings(None, changes).simulation.tick_s) / 0.5, abs=1.0)


def test_meters_are_counted():
    truck, road = load_truck(TRUCK).truck, load_route("grade:0%,10km")
    without = cost_of(truck, road, load_settings())
    every = cost_of(truck, road, load_settings(None, [ALL_METERS, "circuits.meter_s=1"]))
    assert (without.meters, without.readings) == (0, 0)
    assert every.meters == 21 and every.readings == pytest.approx(every.ticks / 100.0, abs=1.0)
    assert every.bytes > without.bytes


@pytest.mark.parametrize(
    ("road", "changes", "says"),
    [
        ("grade:0%,900km", ("simulation.tick_s=0.001", "simulation.log_s=0.01"), "3600000 rows of the trace"),
        ("grade:0%,2000km", (ALL_METERS, "circuits.meter_s=0.05"), "of each of 21 meters"),
    ],
)
def test_a_trip_that_needs_too_much_memory_is_refused_before_it_is_driven(road, changes, says):
    started = time.perf_counter()
    with pytest.raises(SettingsError, match=r"GB of memory, allowed is 1 GB.*Raise simulation\.log_s") as caught:
        run_trip(TRUCK, road, load_settings(None, changes))
    assert says in str(caught.value)
    assert time.perf_counter() - started < 5.0


def test_a_trip_that_takes_longer_than_expected_ends_before_it_holds_too_much(monkeypatch):
    """A truck that crawls writes more rows than were expected."""
    monkeypatch.setattr("sim.trips.cost.MOST_BYTES", 5e6)
    settings = load_settings(None, ["simulation.log_s=0.01", "drill.hold_gear=1", "start.speed_km_h=0"])
    assert time_in_memory(settings) == pytest.approx(1e7 / bytes_a_second(settings))
    monkeypatch.setattr("sim.trips.trip.check_cost", lambda *given: None)
    result = run_trip(TRUCK, "grade:0%,2km", settings)
    assert result.summary["ended"] == "time_limit"
    assert result.summary["ended_because"]["kind"] == "ended.too_large"
    assert result.summary["time_s"] == pytest.approx(time_in_memory(settings), abs=0.02)


def test_a_shipped_trip_is_far_from_the_bound():
    truck, road = load_truck(TRUCK).truck, load_route("kessarin-round")
    assert cost_of(truck, road, load_settings(None, [ALL_METERS])).bytes < 0.05 * MOST_BYTES


def test_the_cost_is_known_at_once():
    truck, road, settings = load_truck(TRUCK).truck, load_route("kessarin-round"), load_settings()
    cost_of(truck, road, settings)
    times = []
    for _ in range(50):
        started = time.perf_counter()
        cost_of(truck, road, settings)
        times.append(time.perf_counter() - started)
    assert min(times) < 1e-3


def test_nothing_heavy_is_loaded_for_it():
    code = "import sys, sim.trips.cost; print([m for m in ('numba', 'scipy', 'pandas', 'simpy', 'plotly') if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
