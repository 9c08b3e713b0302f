"""A fuel map in a truck file: read as it is written, and nothing in overrun."""

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.march.assemble import parameters_of, tables_of
from sim.march.plant import fuel_rate, warm_friction
from sim.units import REVOLUTION_PER_MINUTE

RPM = [600.0, 900.0, 1200.0, 1500.0, 1800.0, 2100.0]
TORQUE = [0.0, 560.0, 1120.0, 1680.0, 2240.0]


def mapped_truck(scale: float = 1.0):
    """The loaded truck with a map made from the straight line itself, so that both must agree."""
    plain = load_truck("long-haul-manual").truck
    p, tables = parameters_of(plain, load_settings(), 0.0), tables_of(plain)
    grid = []
    for rpm in RPM:
        speed = rpm * REVOLUTION_PER_MINUTE
        friction = warm_friction(speed, p[0])
        grid.append([1000.0 * scale * float(fuel_rate(t + friction, friction, speed, p[0], tables)) for t in TORQUE])
    changes = [f"engine.fuel_map_rpm={RPM}", f"engine.fuel_map_torque_n_m={TORQUE}", f"engine.fuel_map_g_per_s={grid}"]
    return load_truck("long-haul-manual", changes)


def test_a_map_made_from_the_straight_line_burns_the_same():
    road, settings = load_route("grade-profile-1037"), load_settings()
    line = run_trip("long-haul-manual", road, settings).summary
    grid = run_trip(mapped_truck(), road, settings).summary
    assert grid["fuel_kg"] == pytest.approx(line["fuel_kg"], rel=0.01)
    assert grid["energy"]["residual_fraction"] < 1e-3


def test_a_map_that_is_a_tenth_richer_burns_a_tenth_more():
    road, settings = load_route("grade:0%,5km,0m"), load_settings()
    lean, rich = (run_trip(mapped_truck(scale), road, settings).summary["fuel_kg"] for scale in (1.0, 1.1))
    assert rich / lean == pytest.approx(1.1, rel=1e-3)


def test_the_map_is_read_at_its_points_and_between_them():
    truck = mapped_truck().truck
    p, tables = parameters_of(truck, load_settings(), 0.0)[0], tables_of(truck)
    rng = np.random.default_rng(1)
    for row, rpm in enumerate(RPM):
        for column, torque in enumerate(TORQUE):
            speed = rpm * REVOLUTION_PER_MINUTE
            friction = warm_friction(speed, p)
            got = 1000.0 * fuel_rate(torque + friction, friction, speed, p, tables)
            assert got == pytest.approx(truck.engine.fuel_map_g_per_s[row][column], rel=1e-9)
    for _ in range(20):
        speed, torque = rng.uniform(65.0, 215.0), rng.uniform(0.0, 2200.0)
        friction = warm_friction(speed, p)
        assert fuel_rate(torque + friction, friction, speed, p, tables) > 0.0
        assert fuel_rate(0.0, friction, speed, p, tables) == 0.0
