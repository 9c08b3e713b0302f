"""Imports point one way: the contracts stand in pyproject.toml, and here which library may be used where."""

import subprocess
import sys
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[2]

# outside library -> the only modules that may import it
ONLY_IN = {
    "numba": ("sim.compiled",),
    "simpy": ("sim.march.clock", "sim.actors", "sim.seat", "sim.trips.trip"),
    "gpxpy": ("sim.roads.track_file",),
    "pydantic": ("sim.inputs", "sim.hidden.record", "dashboard"),
    "fastapi": ("dashboard.server.backend",),
    "starlette": ("dashboard.server", "dashboard"),
    "uvicorn": ("sim.command.serving",),
    "dash": ("dashboard",),
    "plotly": ("dashboard",),
    "cantools": ("sim.bus",),
    "can": ("sim.bus",),
}


def test_imports_point_one_way():
    tool = [Path(sys.executable).with_name("lint-imports"), "--no-cache"]
    run = subprocess.run(tool, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout[-4000:] + run.stderr[-2000:]


@pytest.fixture(scope="module")
def graph():
    return grimp.build_graph("sim", "dashboard", include_external_packages=True, cache_dir=None)


@pytest.mark.parametrize("library", ONLY_IN)
def test_libraries_stay_where_they_belong(graph, library):
    users = graph.find_modules_that_directly_import(library)
    assert users, f"{library} is used nowhere"
    assert not [user for user in users if not f"{user}.".startswith(tuple(f"{place}." for place in ONLY_IN[library]))]


def test_what_takes_long_to_load_is_loaded_by_whoever_needs_it():
    looking = (
        "import sys, sim.command.main as m; m.main(['list']); print([x for x in sys.modules if x in sys.argv[1:]])"
    )
    heavy = ["scipy", "pandas", "plotly", "dash", "fastapi", "numba", "pyarrow"]
    run = subprocess.run([sys.executable, "-c", looking, *heavy], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "[]"


def test_no_public_name_is_hidden_by_a_module_of_the_same_name(graph):
    """`sim.name` would turn from a function into a module as soon as that module is loaded."""
    import sim

    assert not {f"sim.{name}" for name in sim.__all__} & graph.modules
