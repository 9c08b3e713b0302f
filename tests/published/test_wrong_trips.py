"""A trip whose physics are wrong must say so, or a published check must: signs and factors, made wrong one after the other.

As in `test_mutations`, in one process of plain Python, in which a function can be exchanged wherever it was imported. A short
trip has a launch, a climb, a descent with the engine brake and a stop. This file is that process too, when it is run as a
program.
"""

import importlib
import inspect
import itertools
import json
import os
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import pytest
from test_mutations import replaced

from sim import load_route, load_settings, load_truck
from sim.checks import each_check
from sim.errors import HaulbenchError
from sim.march import assemble
from sim.trips.trip import run_trip

ROOT = Path(__file__).resolve().parents[2]
ROAD = "distance_m,grade_percent,speed_limit_km_h,stop_s\n0,0,80,\n100,4,,\n500,4,,\n600,-6,,\n1300,-6,,\n1400,0,,2\n1450,0,,\n"
CHANGES = ("start.speed_km_h=0", "weather.temperature_c=15", "simulation.tick_s=0.05", "driver.descent_gear=7")

# what is made wrong, where, what stands there, what is put in its place (or by what the answer is multiplied), and what must tell
WRONG = [
    tuple(cell.strip() for cell in line.split("|"))
    for line in """
    fuel rate x 1.5 | march.plant.fuel_rate | | 1.5 | efficiency_beyond_belief engine
    fuel burnt x 1.5 | march.contacts.book_engine | fuel_used = | fuel_used = 1.5 * | efficiency_beyond_belief engine
    fuel in the tank x 1.5 | march.contacts.book_engine | += fuel_used | += 1.5 * fuel_used | ledger_open
    heating value x 1.1 | march.contacts.book_engine | fuel_used * p | 1.1 * fuel_used * p | ledger_open
    work of the pistons x 1.1 | march.contacts.book_engine | indicated_work = | indicated_work = 1.1 * | ledger_open
    axle's efficiency x 1.2 | laws.driveline.axle_output_torque | * efficiency | * 1.2 * efficiency | ledger_open
    axle x 1.2, both laws | march.assemble._set_axles | radius_ | p["axle_efficiency"] *= 1.2; radius_ | loss_below_nothing axle
    sign of the axle's loss | laws.driveline.axle_loss | | -1.0 | ledger_open
    sign of the gearbox's loss | laws.driveline.gearbox_loss | | -1.0 | loss_below_nothing gearbox
    sign of drag | laws.road_load.aerodynamic_drag | | -1.0 | loss_below_nothing aero
    drag x 1.5 | laws.road_load.aerodynamic_drag | | 1.5 | RL-11
    sign of rolling resistance, booked | march.contacts.book_work | s["rolling"] += | s["rolling"] -= | ledger_open
    sign of rolling resistance | laws.road_load.rolling_resistance | | -1.0 | ledger_open
    rolling resistance x 1.5 | laws.road_load.rolling_resistance | | 1.5 | RL-11
    gravity x 1.1 | laws.road_load.grade_force | | 1.1 | ledger_open
    fan x 2 | laws.thermal.fan_power | | 2.0 | RL-11
    sign of the accessories | march.plant.accessory_power | | -1.0 | loss_below_nothing accessories
    accessories x 3 | march.plant.accessory_power | | 3.0 | RL-11
    sign of the clutch's slip | march.contacts.book_work | mean_engine - mean_shaft | mean_shaft - mean_engine | ledger_open
    friction x 1.5 | march.plant.warm_friction | | 1.5 | MOT
    sign of friction | march.plant.engine | indicated - friction | indicated + friction | ledger_open
    sign of the brakes' work | march.contacts.book_work | s["service_brakes"] += | s["service_brakes"] -= | ledger_open
    work of the brakes x 2 | march.contacts.book_work | brakes = | brakes = 2.0 * | ledger_open
    heat of the drums x 1.5 | march.contacts.book_work | s["pending_trailer"] += | s["pending_trailer"] += 1.5 * | ledger_open
    engine brake x 1.3 | laws.engine_brake.braking_mean_pressure | | 1.3 | error engine_brake.rated_power_kw
    sign of the engine brake, booked | march.contacts.book_engine | s["compression"] += | s["compression"] -= | ledger_open
    heat to the coolant x 1.3 | march.heat.warm_fluids | p["coolant_comb | 1.3 * p["coolant_comb | ledger_open
    heat of friction to the oil x 2 | march.heat.warm_fluids | - p["coolant_fric | + p["coolant_fric | ledger_open
    sign of the radiator | march.heat.warm_fluids | s["coolant_heat"] += | s["coolant_heat"] -= | ledger_open
    heat left in the exhaust x 1.2 | march.air_path.exhaust_share | | 1.2 | ledger_open
    exhaust 10 % too hot | laws.air_path.exhaust_temperature | | 1.1 | ledger_open
    air in the exhaust x 1.2 | march.air_path.breathe | exhaust_temperature(air, | exhaust_temperature(1.2 * air, | ledger_open
    air in the cylinders x 1.2 | laws.engine.air_per_cycle | | 1.2 | AP-0
    turbine's work x 1.5 | march.air_path.breathe | given = | given = 1.5 * | ledger_open
    mass of the truck x 1.2 | march.contacts.roll_as_one | vehicle = p | vehicle = 1.2 * p | ledger_open
    energy of motion x 2 | trips.books.kinetic_energy | | 2.0 | ledger_open
    inertia of the engine x 4 | march.contacts.move | 1.0 / p["engine | 0.25 / p["engine | ledger_open
    """.strip().splitlines()
]


# ---------------------------------------------------------------- the process


def made_wrong(function, stands: str, put: str):
    """A function of the model, its first `stands` behind the docstring exchanged; without one, its answer multiplied."""
    if not stands:
        return lambda *given: float(put) * function(*given)
    text = textwrap.dedent(inspect.getsource(function)).removeprefix("@compiled\n")
    head, quotes, body = text.rpartition('"""')
    assert stands in body, f"{function.__name__} has no {stands!r} any more"
    names: dict = {}
    exec(head + quotes + body.replace(stands, put, 1), sys.modules[function.__module__].__dict__, names)
    return names[function.__name__]


def told(folder: str) -> list[str]:
    """What the trip says of its books; how it went wrong when there is no trip."""
    try:
        result = run_trip(
            load_truck("long-haul-manual"), load_route(f"{folder}/road.csv"), load_settings(None, CHANGES)
        )
    except HaulbenchError as error:
        return [f"error {error}"]
    said = []
    for warning in result.summary["warnings"]:
        values = warning["values"]
        part = values.get("term", values.get("part", {"kind": ""}))["kind"]
        said.append(f"{warning['kind']} {part.removeprefix('energy.')}".removeprefix("warning.").strip())
    return said


def answers() -> dict[str, list[str]]:
    """For each wrong model what its trip tells, or the published check that fails; both for the sound one."""
    found, refuses = {}, assemble._check_retarding_power.__wrapped__  # not only the first time
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "road.csv").write_text(ROAD, encoding="utf-8")
        found["sound"] = told(folder) + [check.id for check in each_check() if check.verdict == "fail"]
        for what, where, stands, put, teller in WRONG:
            module, _, name = where.rpartition(".")
            old = getattr(importlib.import_module(f"sim.{module}"), name)
            new = made_wrong(old, stands, put)
            replaced(old, new)
            assemble._check_retarding_power = refuses if teller.startswith("error") else lambda truck: None
            failing = (check.id for check in each_check() if check.verdict == "fail" and check.id.startswith(teller))
            found[what] = told(folder) if teller[0].islower() else list(itertools.islice(failing, 1))
            replaced(new, old)
    return found


# ---------------------------------------------------------------- the tests


@pytest.fixture(scope="module")
def answer() -> dict[str, list[str]]:
    environment = dict(os.environ, NUMBA_DISABLE_JIT="1", PYTHONPATH=str(ROOT))
    run = subprocess.run(
        [sys.executable, __file__], env=environment, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def test_a_sound_trip_has_nothing_to_say_of_its_books(answer):
    assert answer["sound"] == []


@pytest.mark.parametrize(("what", "teller"), [(row[0], row[-1]) for row in WRONG])
def test_a_wrong_sign_or_factor_is_told(answer, what, teller):
    assert any(each.startswith(teller) for each in answer[what]), answer[what]


if __name__ == "__main__":
    print(json.dumps(answers()))
