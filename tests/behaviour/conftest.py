"""Short trips, trucks with nobody in the cab, and steady speeds found from the laws."""

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from sim import Result, load_route, load_settings, load_truck
from sim.march import plant
from sim.march.air_path import settle_air, still
from sim.march.clock import Clock
from sim.march.records import RATIO_ROW
from sim.trips.trip import prepare
from sim.units import REVOLUTION_PER_MINUTE

ENDLESS_MASS = 1.0e12  # kg: a vehicle so heavy that its speed does not change


@pytest.fixture(scope="session")
def road_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., str]:
    """Writes a road file of rows (distance m, grade %, limit km/h, stop s) and gives its path; a cell may be empty."""
    folder = tmp_path_factory.mktemp("roads")
    written: dict[str, str] = {}

    def write(rows: Sequence[tuple[Any, ...]], start_elevation: float = 0.0) -> str:
        header = ("distance_m", "grade_percent", "speed_limit_km_h", "stop_s")[: len(rows[0])]
        text = "\n".join(",".join(str(cell) for cell in row) for row in (header, *rows)) + "\n"
        key = f"{start_elevation}:{text}"
        if key not in written:
            path: Path = folder / f"road-{len(written)}.csv"
            path.write_text(text, encoding="utf-8")
            path.with_suffix(".toml").write_text(f"start_elevation_m = {start_elevation:g}\n", encoding="utf-8")
            written[key] = str(path)
        return written[key]

    return write


@pytest.fixture(scope="session")
def named() -> Callable[[Result, str], list[dict[str, Any]]]:
    """The events of one name, in their order."""

    def pick(result: Result, event: str) -> list[dict[str, Any]]:
        return [entry for entry in result.events if entry["event"] == event]

    return pick


@pytest.fixture(scope="session")
def at() -> Callable[[Result, str, float, str], float]:
    """A column of the trace at the first place where another column, rising or falling, passes a value."""

    def read(result: Result, column: str, value: float, wanted: str) -> float:
        along, answer = result.trace[column], result.trace[wanted]
        passed = np.flatnonzero(np.diff(np.sign(along - value)) != 0)
        assert len(passed), f"{column} never passes {value}"
        row = passed[0]
        share = (value - along[row]) / (along[row + 1] - along[row])
        return float(answer[row] + share * (answer[row + 1] - answer[row]))

    return read


@pytest.fixture(scope="session")
def alone() -> Callable[..., Clock]:
    """Makes a clock with a truck on a road and nobody in the cab."""

    def make(road: str, *changes: str, truck: str = "long-haul-manual", spec: tuple[str, ...] = ()) -> Clock:
        clock = prepare(load_truck(truck, spec).truck, load_route(road), load_settings(None, changes))
        clock.mean(foot_mode=0.0, pedal=0.0, brake_mode=0.0)
        clock.set(speed_limit=100.0)
        return clock

    return make


@pytest.fixture(scope="session")
def held(alone: Callable[..., Clock]) -> Callable[..., Clock]:
    """A truck in gear whose engine speed cannot change, turbocharger at rest: a test bench on wheels."""

    def make(truck: str, rpm: float, *changes: str, altitude: float = 0.0, spec: tuple[str, ...] = ()) -> Clock:
        clock = alone(
            f"grade:0%,90km,{altitude:g}m", "start.speed_km_h=30", "start.gear=7", *changes, truck=truck, spec=spec
        )
        state, parameters = clock.state, clock.rig.parameters
        parameters["vehicle_body"][0] = ENDLESS_MASS
        turning = rpm * REVOLUTION_PER_MINUTE
        per_metre = clock.rig.tables[RATIO_ROW, 7] * parameters["axle_ratio"][0] / parameters["tyre_radius"][0]
        for name in ("speed", "wheel_speed"):
            state[name][0] = turning / per_metre
        for name in ("engine_speed", "shaft_speed"):
            state[name][0] = turning
        state["manifold_pressure"][0] = state["ambient_pressure"][0]
        clock.mean(foot=0.0)
        return clock

    return make


@pytest.fixture(scope="session")
def coasting() -> Callable[..., Callable[[float], float]]:
    """From the laws: acceleration in gear, foot off, boost settled, as a function of engine speed in rpm."""

    def make(
        truck: str,
        gear: int,
        stage: int,
        road: str,
        elevation: float,
        oil_c: float = 95.0,
        pumping: bool = False,
        spec: tuple[str, ...] = (),
    ) -> Callable[[float], float]:
        whole = load_truck(truck, spec).truck
        settings = load_settings(None, ["start.speed_km_h=30", f"start.gear={gear}"])
        clock = prepare(whole, load_route(road), settings)
        s, b, c = clock.state[0], clock.belief[0], clock.rig.memory.command[0]
        p, tables = clock.rig.parameters[0], clock.rig.tables
        s["elevation"], s["oil_temperature"] = elevation, oil_c + 273.15
        b["accelerator"] = b["driver_demand"] = 0.0
        s["compressor_pumping"] = float(pumping)
        for pair in whole.engine_brake.pairs(stage):
            c[f"pair_{pair}"] = 1.0
        per_metre = tables[RATIO_ROW, gear] * p["axle_ratio"] / p["tyre_radius"]

        def acceleration(rpm: float) -> float:
            turning = rpm * REVOLUTION_PER_MINUTE
            s["engine_speed"] = b["engine_speed"] = turning
            s["speed"] = s["wheel_speed"] = turning / per_metre
            plant.settle(s, b, c, p, tables)  # which cylinders work
            still(s, p, s["ambient_pressure"], s["ambient_temperature"])
            settle_air(s, p, tables, turning, s["active_cylinders"])
            plant.settle(s, b, c, p, tables)
            return float(plant.rolling_acceleration(s, p, tables))

        return acceleration

    return make


@pytest.fixture(scope="session")
def control_speed(coasting: Callable[..., Callable[[float], float]]) -> Callable[..., float]:
    """Engine speed at which gravity and all retarding forces balance; infinite when there is none below overspeed."""

    def find(truck: str, gear: int, stage: int, road: str, elevation: float, **more: Any) -> float:
        acceleration = coasting(truck, gear, stage, road, elevation, **more)
        engine = load_truck(truck).truck.engine
        low, high = 900.0, engine.overspeed_rpm
        if acceleration(high) > 0.0:
            return math.inf
        return float(brentq(acceleration, low, high, xtol=1e-3))

    return find


@pytest.fixture(scope="session")
def loaded_to() -> Callable[[float], tuple[str, ...]]:
    """Changes that load a five-axle combination to a mass, split 15 / 42.5 / 42.5 over its axle groups."""

    def load(mass: float) -> tuple[str, ...]:
        shares = (("steer", 0.15), ("drive", 0.425), ("trailer", 0.425))
        return (f"vehicle.mass_kg={mass:g}", *(f"vehicle.{group}_load_kg={share * mass:g}" for group, share in shares))

    return load
