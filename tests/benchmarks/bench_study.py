"""What a study costs, as ratios measured side by side in one run: python tests/benchmarks/bench_study.py [--quick]

Not collected by pytest: no test fails on a clock. Each figure asserts a physical result beside its time.
"""

import os
import platform
import resource
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import numpy as np

from sim.march import clock as clock_module
from sim.march.kernel import advance
from sim.studies.plan import Plan, drive_point, make_plan
from sim.studies.question import study_from
from sim.studies.runner import run_study
from sim.trips.pool import Here, TripPool

QUICK = "--quick" in sys.argv
DECADES = (10, 100, 1000) if QUICK else (10, 100, 1000, 10_000)


def plan_of(trips: int, road: str) -> Plan:
    """A study of so many different trips on one road."""
    study = {
        "form": 1,
        "title": "Cost of a study",
        "truck": "long-haul-manual",
        "road": road,
        "vary": {"vehicle.drag_area_m2": {"from": 5.0, "to": 6.5, "steps": trips}},
    }
    return make_plan(study_from(study, "cost", "cost"))


def seconds(plan: Plan, hands) -> float:
    """Wall time of a study from an empty folder to its table."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        result = run_study(plan, Path(folder) / "s", pool=hands)
        wall = time.perf_counter() - start
        assert result.complete and result.trips == plan.total
        fuel = result.column("fuel_kg")
        assert (np.diff(fuel) > 0.0).mean() > 0.9, "more drag burns more"
    return wall


def kernel_share(plan: Plan) -> float:
    """Time of a trip of the study over the time of the kernel within it."""
    inside = 0.0

    def timed(*arguments):
        nonlocal inside
        start = time.perf_counter()
        status = advance(*arguments)
        inside += time.perf_counter() - start
        return status

    clock_module.advance = timed
    try:
        start = time.perf_counter()
        for number in range(1, 11):
            assert drive_point(*plan.job(plan.point(number)))["state"] == "arrived"
        wall = time.perf_counter() - start
    finally:
        clock_module.advance = advance
    return wall / inside


def main() -> None:
    """Prints the table."""
    print(f"{date.today()}, {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    hills, short = "wendle-hills", "grade:-1%,2km,500m"
    run_study(plan_of(4, short), pool=Here())
    print(f"| a trip of a study over the kernel alone, 40 km of hills | {kernel_share(plan_of(10, hills)):.2f} |")
    with TripPool(1) as one, TripPool(2) as two:
        one.warm()
        two.warm()
        trips = 40 if QUICK else 100
        walls = {1: [], 2: []}
        for _ in range(2 if QUICK else 3):
            walls[1].append(seconds(plan_of(trips, hills), one))
            walls[2].append(seconds(plan_of(trips, hills), two))
        single, double = min(walls[1]), min(walls[2])
        print(f"| two workers over one, trips of 40 km | {single / double:.2f} |")
        print(f"| trips of 40 km a second, one and two workers | {trips / single:.0f}, {trips / double:.0f} |")
        costs, memory = [], []
        for trips in DECADES:
            costs.append(1000.0 * seconds(plan_of(trips, short), two) / trips)
            memory.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
        told = ", ".join(f"{trips:,}" for trips in DECADES)
        print(f"| ms a trip of 2 km for {told} trips | {', '.join(f'{cost:.1f}' for cost in costs)} |")
        print(f"| memory of the parent after each, MB | {', '.join(f'{size:.0f}' for size in memory)} |")


if __name__ == "__main__":
    main()
