"""Bench runs to look at; the same run is made once."""

import functools
from collections.abc import Callable

import pytest

from sim import BenchResult, load_settings, load_truck, run_bench
from sim.bench.faults import FAULTS


@pytest.fixture(scope="session")
def bench() -> Callable[..., BenchResult]:
    """Puts a truck, with a fault or without, on the bench with changed settings."""

    @functools.cache
    def run(*changes: str, truck: str = "long-haul-manual", fault: str = "", test: str = "full-load") -> BenchResult:
        worn = FAULTS[fault].changes if fault else ()
        return run_bench(load_truck(truck, worn), load_settings(None, changes), test)

    return run
