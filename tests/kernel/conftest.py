"""A truck on a road with nobody in the cab, for tests of the kernel itself."""

from collections.abc import Callable

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck
from sim.march.clock import Clock
from sim.trips.trip import prepare


@pytest.fixture(scope="session")
def parked() -> Callable[..., Clock]:
    """Makes a clock with a truck on a road and no actors."""

    def make(
        road: str = "grade:0%,100km", *changes: str, truck: str = "long-haul-manual", spec: tuple[str, ...] = ()
    ) -> Clock:
        clock = prepare(load_truck(truck, spec).truck, load_route(road), load_settings(None, changes))
        clock.set(speed_limit=100.0)
        return clock

    return make


@pytest.fixture(scope="session")
def bytes_of() -> Callable[[Clock], bytes]:
    """Everything a clock's truck has come to, to the bit."""

    def read(clock: Clock) -> bytes:
        return np.ascontiguousarray(clock.rig.memory.block).tobytes() + clock.log().tobytes()

    return read
