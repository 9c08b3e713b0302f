"""Dyno runs to look at; the same run is made once."""

import functools
from collections.abc import Callable

import pytest

from sim import DynoResult, load_settings, load_truck, run_dyno
from sim.dyno.faults import FAULTS


@pytest.fixture(scope="session")
def dyno() -> Callable[..., DynoResult]:
    """Puts a truck, with a fault or without, on the dyno with changed settings."""

    @functools.cache
    def run(*changes: str, truck: str = "long-haul-manual", fault: str = "", test: str = "full-load") -> DynoResult:
        worn = FAULTS[fault].changes if fault else ()
        return run_dyno(load_truck(truck, worn), load_settings(None, changes), test)

    return run
