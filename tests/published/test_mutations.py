"""Each law, made wrong by 1 %, must fail a published check: a check that cannot fail proves nothing.

The laws are broken one after the other in one process of plain Python (no compiler), in which a function can be exchanged
wherever it was imported. The same process watches which functions a row of the checks really calls. This file is that
process too, when it is run as a program.
"""

import ast
import importlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sim.checks import TRIP_LAW, each_check, rows

ROOT = Path(__file__).resolve().parents[2]
LAWS = ROOT / "sim" / "laws"
WRONG_BY = 1.01

# laws without a check, and why
EXEMPT = {
    "foot.matched_speed": "chooses one of two speeds it is given, both checked where they are made",
    "dynamometer.absorber_torque": "stiffness assumed; held to a closed solution by the dyno tests",
    "air_path.rotor_head": "coefficient from memory; it says how fast a rotor turns, and cancels in the boost it comes to",
    "air_path.gate_share": "size of the waste gate assumed; printed is only a band for the boost it keeps",
    "air_path.leak_flow": "printed is only that boost falls; held to the handbook's nozzle flow by the tests of the laws",
    "air_path.blow_by": "share of a sound engine assumed; no source prints a value",
    "air_path.smoke_density": "shape and numbers assumed; no source prints a value",
    "driveline.friction_force": "passes or clips what it is given; no number of its own (kernel: energy and stick-slip)",
    "engine.road_speed_share": "a proportional band is common practice, but no source prints a value",
    "brakes.brake_force": "gain and push-out pressure are assumed; no source prints a value",
    "brakes.slack_effectiveness": "shape assumed; no source prints a value",
    "brakes.hot_stroke": "expansion assumed; no source prints a value",
    "thermal.compressor_power": "the one printed value is a band of 3 to 6 kW from memory",
    "thermal.thermostat_opening": "linear by choice; printed are only bands for its two ends, from memory",
    "thermal.radiator_conductance": "every number assumed; judged by trips",
    "foot.snubbing_demand": "gains of an assumed driver; judged by trips",
    "foot.clutch_share": "shape assumed; judged by trips",
    "foot.let_in": "shape assumed; judged by trips",
    "sensing.contact_voltage": "the supply or nothing; no number of its own",
    "engine_fluids.oil_pressure": "form and numbers assumed; no source prints a value",
    "engine_fluids.fuel_temperature": "form and number assumed; no source prints a value",
}


def functions_of(path: Path) -> list[str]:
    """Public functions of a file, as module.function."""
    return [
        f"{path.stem}.{node.name}"
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


LAW_NAMES = [name for path in sorted(LAWS.glob("*.py")) for name in functions_of(path)]
PLANT_NAMES = functions_of(ROOT / "sim" / "march" / "plant.py")
AIR_NAMES = [f"march.{name}" for name in functions_of(ROOT / "sim" / "march" / "air_path.py")]
TRIP_ROWS = [row for row in rows() if row.category == TRIP_LAW]


# ---------------------------------------------------------------- the process


def found(name: str):
    """A function of the laws, of the plant or of the air path as it runs by its name."""
    module, function = name.rsplit(".", 1)
    room = {"plant": "sim.march.plant", "march.air_path": "sim.march.air_path"}.get(module, f"sim.laws.{module}")
    return getattr(importlib.import_module(room), function)


def replaced(old, new) -> None:
    """Exchanges a function in every module of the model that knows it."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] == "sim":
            for attribute, value in list(vars(module).items()):
                if value is old:
                    setattr(module, attribute, new)


def first_failures(already: set[str]) -> dict[str, str]:
    """For each law the first check, beside those that fail already, that fails when the law is wrong; or nothing."""
    failed = {}
    for name in LAW_NAMES:
        law = found(name)

        def wrong(*given, law=law):
            return law(*given) * WRONG_BY

        replaced(law, wrong)
        failing = (check.id for check in each_check() if check.verdict == "fail" and check.id not in already)
        failed[name] = next(failing, "")
        replaced(wrong, law)
    return failed


def calls() -> dict[str, list[str]]:
    """For each row of a trip law the functions of laws and plant it calls."""
    from sim.checks.laws import COMPUTED

    called: set[str] = set()
    for name in LAW_NAMES + PLANT_NAMES + AIR_NAMES:
        law = found(name)

        def watched(*given, name=name, law=law):
            called.add(name)
            return law(*given)

        replaced(law, watched)
    seen = {}
    for row in TRIP_ROWS:
        called.clear()
        COMPUTED[row.id](row.numbers())
        seen[row.id] = sorted(called)
    return seen


# ---------------------------------------------------------------- the tests


@pytest.fixture(scope="module")
def answer() -> dict[str, dict]:
    environment = dict(os.environ, NUMBA_DISABLE_JIT="1", PYTHONPATH=str(ROOT))
    run = subprocess.run(
        [sys.executable, __file__], env=environment, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


def test_sound_laws_pass_every_check_in_plain_python(answer):
    assert answer["sound"] == []


@pytest.fixture(scope="module")
def failures(answer) -> dict[str, str]:
    return answer["wrong"]


@pytest.mark.parametrize("name", [name for name in LAW_NAMES if name not in EXEMPT])
def test_a_law_wrong_by_one_percent_fails_a_check(failures, name):
    assert failures[name], f"sim.laws.{name} can be wrong by 1 % and every published check still passes"


def test_exempt_laws_exist_and_are_still_without_a_check(failures):
    for name in EXEMPT:
        assert name in failures, f"sim.laws.{name} does not exist any more: take it off the list"
        assert not failures[name], f"sim.laws.{name} is checked by {failures[name]} now: take it off the list"


def test_each_row_calls_the_functions_it_names(answer):
    for row in TRIP_ROWS:
        named = row.why.partition(";")[0]
        missing = set() if named.startswith("values of ") else set(named.split(", ")) - set(answer["calls"][row.id])
        assert not missing, f"{row.id} says it is computed by {', '.join(sorted(missing))}, but does not call it"


if __name__ == "__main__":
    failing_when_sound = [check.id for check in each_check() if check.verdict == "fail"]
    wrong_by_law = first_failures(set(failing_when_sound))
    json.dump({"sound": failing_when_sound, "wrong": wrong_by_law, "calls": calls()}, sys.stdout)
