"""What a trip costs, as ratios measured side by side in one run: python tests/benchmarks/bench_trip.py [--quick]

Not collected by pytest: no test fails on a clock. Each figure asserts a physical result beside its time.
"""

import json
import multiprocessing
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np

from sim import list_trucks, load_settings, load_truck, run_trip
from sim.actors.underway import Underway
from sim.march import clock as clock_module
from sim.march.clock import Clock
from sim.march.kernel import advance
from sim.roads.route import Place, Route
from sim.trips.trip import prepare, start_actors, take_the_seat

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kernel"))
from decision_free import fixed_pedal, general_purpose, halving_ratios

TRUCK = load_truck("long-haul-manual").truck
SETTINGS = load_settings()
QUICK = "--quick" in sys.argv
REPEATS = 2 if QUICK else 5


def rolling_road(kilometres: float) -> Route:
    """A road of 3 % waves, 4 km long each, posted 80 km/h."""
    distance = np.arange(0.0, kilometres * 1000.0 + 1.0, 50.0)
    grade = 0.03 * np.sin(2.0 * np.pi * distance / 4000.0)
    slope = np.append(np.diff(grade) / np.diff(distance), 0.0)
    wind = np.zeros(len(distance))
    return Route("rolling", "rolling", distance, grade, slope, 300.0, wind, (Place(0.0, 80.0 / 3.6),))


def ready(kilometres: float, events_per_km: float, actors: bool = True) -> tuple[Clock, Underway]:
    """A trip about to begin, with idle places along the road."""
    road = rolling_road(kilometres)
    clock = prepare(TRUCK, road, SETTINGS)
    trip = Underway(clock, TRUCK, SETTINGS, road)
    if actors:
        take_the_seat(trip)
        start_actors(trip)

    def idle():
        for number in range(int(kilometres * events_per_km)):
            yield clock.reach(number * 1000.0 / events_per_km)

    if events_per_km:
        clock.process(idle())
    clock.load_kernel()
    return clock, trip


def trip_seconds(kilometres: float, events_per_km: float) -> tuple[float, int]:
    """Wall time and ticks of one whole trip."""
    clock, trip = ready(kilometres, events_per_km)
    start = time.perf_counter()
    clock.run(until=trip.ended)
    wall = time.perf_counter() - start
    assert trip.outcome[0] == "arrived"
    return wall, int(clock.now)


def kernel_seconds(kilometres: float, events_per_km: float) -> tuple[float, float, float]:
    """Wall time of a trip, of the kernel within it over the same ticks and watch points, and events a kilometre."""
    inside, calls = 0.0, 0

    def timed(*arguments):
        nonlocal inside, calls
        start = time.perf_counter()
        status = advance(*arguments)
        inside += time.perf_counter() - start
        calls += 1
        return status

    clock_module.advance = timed
    try:
        clock, trip = ready(kilometres, events_per_km)
        start = time.perf_counter()
        clock.run(until=trip.ended)
        wall = time.perf_counter() - start
    finally:
        clock_module.advance = advance
    assert trip.outcome[0] == "arrived"
    return wall, inside, calls / kilometres


def stepped_seconds(ticks: int) -> float:
    """Wall time when the same compiled laws are stepped one tick at a time through the event queue."""
    clock, _ = ready(100.0, 0.0, actors=False)
    clock.mean(foot_mode=1.0, target_speed=80.0 / 3.6)
    clock.set(speed_limit=99.0)

    def stepping():
        for _ in range(ticks):
            yield clock.timeout(1)

    process = clock.process(stepping())
    start = time.perf_counter()
    clock.run(until=process)
    return time.perf_counter() - start


def uncompiled_seconds(ticks: int) -> float:
    """Wall time of the same ticks without the compiler, in a process of its own."""
    code = (
        "import sys; sys.argv=['x','--quick']; sys.path.insert(0, 'tests/benchmarks')\n"
        f"import bench_trip as b\nprint(b.stepped_seconds({ticks}))"
    )
    environment = {**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": "."}
    run = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return float(run.stdout)


def best(measure: Callable[[], float], repeats: int = REPEATS) -> float:
    """Least of several measurements."""
    return min(measure() for _ in range(repeats))


def memory_mb() -> float:
    """Peak memory of this process."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def memory_figures() -> tuple[float, float]:
    """Memory of a process of its own after one trip, and its growth over a hundred more."""
    kilometres = 20.0 if QUICK else 100.0
    code = (
        "import sys; sys.path.insert(0, 'tests/benchmarks')\nimport bench_trip as b\n"
        "road = b.rolling_road(100.0); b.run_trip(b.TRUCK, road, b.SETTINGS); one = b.memory_mb()\n"
        f"road = b.rolling_road({kilometres})\nfor _ in range(100): b.run_trip(b.TRUCK, road, b.SETTINGS)\n"
        "print(one, b.memory_mb() - one)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    one, grown = run.stdout.split()
    return float(one), float(grown)


def one_trip(_: int) -> float:
    """One 20 km trip for a worker."""
    return run_trip(TRUCK, rolling_road(20.0), SETTINGS).summary["fuel_kg"]


def workers_ratio(trips: int) -> float:
    """Trips per second of two worker processes over one."""
    context = multiprocessing.get_context("spawn")
    rates = []
    for workers in (1, 2):
        with context.Pool(workers) as pool:
            pool.map(one_trip, range(workers * 2))
            start = time.perf_counter()
            fuels = pool.map(one_trip, range(trips), chunksize=2)
            rates.append(trips / (time.perf_counter() - start))
            assert max(fuels) == min(fuels) > 0.0
    return rates[1] / rates[0]


def command_seconds() -> tuple[float, float]:
    """Wall time of the warm command on a 100 km road, and of its first use ever."""
    with tempfile.TemporaryDirectory() as folder:
        road = Path(folder) / "road.csv"
        lines = ["distance_m,grade_percent,speed_limit_km_h"]
        lines += [f"{d},{3.0 * np.sin(2 * np.pi * d / 4000.0):.4f},80" for d in range(0, 100_001, 50)]
        road.write_text("\n".join(lines), encoding="utf-8")
        command = [sys.executable, "-m", "haulbench", "run", str(road), "--json"]
        fresh = {**os.environ, "NUMBA_CACHE_DIR": str(Path(folder) / "cache")}
        times = []
        for environment in (fresh, fresh, fresh, fresh):
            start = time.perf_counter()
            run = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
            times.append(time.perf_counter() - start)
            assert json.loads(run.stdout)["ended"] == "arrived"
        return min(times[1:]), times[0]


def accuracy_rows() -> list[tuple[str, str, str]]:
    """What the speed costs in accuracy."""
    roads = ("grade-profile-1037", "grade:5%,4km,200m", "grade:-5%,4km,800m")
    trucks = [name for name in list_trucks() if not name.startswith("reference")]
    residual = max(run_trip(truck, road).summary["energy"]["residual_fraction"] for truck in trucks for road in roads)
    clock, other = fixed_pedal(0.01, 240.0), general_purpose(240.0)
    off = max(abs(clock.true(name) / value - 1.0) for name, value in other.items())
    return [
        ("largest energy residual, five trucks on three roads", f"{residual:.1e}", "below 1e-3"),
        ("error ratio when the tick is halved", f"{min(halving_ratios(120.0)):.2f}", "at least 1.8"),
        ("distance, speed and fuel against solve_ivp", f"{100.0 * off:.3f} %", "within 0.1 %"),
    ]


def main() -> None:
    """Measures everything and prints one table."""
    rows: list[tuple[str, str, str]] = []
    ticks = trip_seconds(100.0, 0.0)[1]
    best_of = {}
    for _ in range(REPEATS):  # side by side, so that a machine that changes its pace changes it for all
        for extra in (0.0, 40.0):
            wall, inside, events = kernel_seconds(100.0, extra)
            plain = trip_seconds(100.0, extra)[0]
            before = best_of.get(extra, (9.9, 9.9, 0.0, 9.9))
            best_of[extra] = (min(before[0], wall), min(before[1], inside), events, min(before[3], plain))
    for _, inside, events, plain in best_of.values():
        name = f"with {events:.0f} events a kilometre"
        rows.append((f"a tick of the kernel {name}", f"{1e9 * inside / ticks:.0f} ns", ""))
        rows.append((f"a tick in a trip over the kernel alone, {name}", f"{plain / inside:.2f}", "at most 2"))
        rows.append((f"simulated over wall time, {name}", f"{0.01 * ticks / plain:,.0f}", "at least 30,000"))
    ours = best_of[40.0][3] / ticks
    short = 20_000
    stepped = best(lambda: stepped_seconds(short), 2) / short
    rows.append(("stepped a tick at a time over ours", f"{stepped / ours:.0f}", "at least 10"))
    uncompiled = uncompiled_seconds(400) / 400
    rows.append(("the same uncompiled over ours", f"{uncompiled / ours:.0f}", "at least 150"))
    for name, values, measure in (
        (
            "length of road, s/km for 1, 10, 100 km",
            (1.0, 10.0, 100.0),
            lambda x: best(lambda: trip_seconds(x, 50.0)[0]) / x,
        ),
        (
            "events, us each for 10, 100, 1000 a km",
            (10.0, 100.0, 1000.0),
            lambda x: (
                1e6 * (best(lambda: trip_seconds(20.0, x)[0]) - best(lambda: trip_seconds(20.0, 0.0)[0])) / (20.0 * x)
            ),
        ),
        (
            "trips, ms each for 1, 10, 100 of 20 km",
            (1, 10, 100),
            lambda x: 1e3 * best(lambda: sum(trip_seconds(20.0, 0.0)[0] for _ in range(int(x))), 1) / x,
        ),
    ):
        rows.append((name, ", ".join(f"{measure(value):.3g}" for value in values), "linear"))
    rows += accuracy_rows()
    after_one, grown = memory_figures()
    rows.append(("memory of a process after a 100 km trip", f"{after_one:.0f} MB", "below 300 MB"))
    rows.append(("growth over 100 more trips", f"{grown:.0f} MB", "flat"))
    rows.append(("two worker processes over one", f"{workers_ratio(20 if QUICK else 60):.2f}", "at least 1.7"))
    warm, first = command_seconds()
    rows.append(("warm command on 100 km of road", f"{warm:.1f} s", "about 2 s"))
    rows.append(("first use ever", f"{first:.0f} s", "says so"))
    print(f"{date.today()}, {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    for name, got, target in rows:
        print(f"| {name} | {got} | {target} |")


if __name__ == "__main__":
    main()
