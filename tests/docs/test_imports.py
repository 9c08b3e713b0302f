"""Imports point one way. A test that fails names the file, the line and the import.

Read LINE from left to right: a module may use itself and what stands left of it. What stands beside the line has its own
row in BESIDE; what of it a module on the line may use stands in ALSO. Everything may use `errors`, `messages` and `units`;
`messages` uses nothing, so that any module can say what is wrong. A module of `sim` that no row names is an offender
too: whoever adds one says here where it belongs.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("sim", "dashboard")

EVERYONE_MAY_USE = {"errors", "messages", "units"}

LINE = ("units", "laws", "plant", "kernel", "clock", "actors", "trip", "dashboard", "command")

# beside the line: module -> what it may use of sim
BESIDE: dict[str, set[str]] = {
    "errors": set(),
    "messages": set(),
    "modelled": set(),
    "compiled": set(),
    "records": set(),
    "sensors": set(),
    "specs": {"records", "sensors"},
    "meter": {"laws", "controller", "records", "sensors"},
    "faults": {"sensors", "specs"},
    "hidden": {
        "laws",
        "plant",
        "clock",
        "actors",
        "trip",
        "bench",
        "files",
        "meter",
        "route",
        "sensors",
        "sheet",
        "specs",
        "speedo",
    },
    "speedo": {"laws", "specs", "result", "route", "trip"},
    "sheet": {"specs"},
    "reading": set(),
    "files": {"specs", "reading"},
    "route": {"reading"},
    "track_file": {"route"},
    "track": {"route", "track_file"},
    "track_picture": {"track"},
    "cost": {"records", "route", "specs"},
    "controller": {"laws", "records", "compiled"},
    "assemble": {"laws", "plant", "controller", "kernel", "records", "sensors", "specs", "route"},
    "result": {"records", "specs", "route"},
    "bench": {
        "compiled",
        "laws",
        "plant",
        "controller",
        "kernel",
        "clock",
        "actors",
        "trip",
        "records",
        "specs",
        "files",
        "result",
        "route",
        "assemble",
    },
    "checks": {"laws", "plant", "records", "specs", "files", "assemble", "route", "trip", "speedo", "studies"},
    "safe_speed": {"laws", "specs", "route"},
    "foresee": {"actors", "route", "sensors", "specs"},
    "inputs": {"compiled", "files", "route", "specs"},
    "pool": {"inputs", "result", "trip"},
    "charts": {"laws", "plant", "specs", "assemble"},
    "gearing": {"laws", "plant", "records", "specs", "assemble", "charts", "files"},
    "road_facts": {"route"},
    "descending": {"actors", "charts", "road_facts", "route", "safe_speed", "specs"},
    "studies": {"messages", "pool", "inputs", "reading", "files", "route", "specs", "result", "trip", "compiled"},
    "bus": {"assemble", "bench", "laws", "meter", "records", "result", "sensors", "specs"},
    "compare": {"inputs", "files", "route", "specs", "assemble", "trip", "result"},
}

# on the line: module -> what it may use of the modules beside the line
ALSO: dict[str, set[str]] = {
    "units": set(),
    "laws": {"compiled"},
    "plant": {"compiled", "records"},
    "kernel": {"compiled", "records", "controller"},
    "clock": {"compiled", "records", "controller"},
    "actors": {"compiled", "records", "controller", "meter", "sensors", "specs", "route"},
    "trip": {"compiled", "records", "controller", "specs", "route", "files", "assemble", "cost", "foresee", "result"},
    "dashboard": set(BESIDE),
    "command": set(BESIDE),
}

# sim/__init__.py gathers the public names
PUBLIC_NAMES_COME_FROM = set(LINE[:-2]) | set(BESIDE)

# outside library -> the only files that may import it
ONLY_IN: dict[str, tuple[str, ...]] = {
    "numba": ("sim/compiled.py",),
    "simpy": ("sim/clock.py", "sim/actors/", "sim/trip.py"),
    "gpxpy": ("sim/track_file.py",),
    "pydantic": ("sim/specs.py", "sim/files.py", "dashboard/"),
    "fastapi": ("dashboard/backend.py",),
    "starlette": ("dashboard/",),
    "uvicorn": ("sim/command/serving.py",),
    "dash": ("dashboard/",),
    "plotly": ("dashboard/",),
    "cantools": ("sim/bus.py",),
    "can": ("sim/bus.py",),
}

# libraries that take long to load: imported inside the function that needs them
HEAVY = {"scipy", "pandas"}

# modules that load such a library when they are loaded, and so are themselves imported inside a function, except by each other
HEAVY_MODULES = {
    "dashboard.figures",
    "dashboard.page",
    "dashboard.report",
    "dashboard.study_figures",
    "dashboard.study_report",
    "dashboard.drawing",
    "dashboard.gearing_figures",
    "dashboard.road_figures",
}

MAY_PRINT = ("sim/command/", "sim/command.py", "dashboard/")


def allowed_for(module: str) -> set[str] | None:
    """Modules of sim that a module may use; None for a module no row names."""
    if module == "":
        return PUBLIC_NAMES_COME_FROM | EVERYONE_MAY_USE
    if module in LINE:
        return {*LINE[: LINE.index(module) + 1], *ALSO[module], *EVERYONE_MAY_USE}
    if module == "messages":
        return {"messages"}
    return {module, *BESIDE[module], *EVERYONE_MAY_USE} if module in BESIDE else None


# ---------------------------------------------------------------- reading imports


@dataclass(frozen=True)
class Import:
    """One imported name: where it stands, in full, and whether it runs when the file is loaded."""

    file: str
    line: int
    target: str
    at_load: bool

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: imports {self.target}"


def nodes_with_depth(tree: ast.AST, inside: bool = False) -> Iterator[tuple[ast.AST, bool]]:
    """Every node, with True for those that do not run when the file is loaded."""
    for node in ast.iter_child_nodes(tree):
        yield node, inside
        deferred = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        only_for_types = isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING")
        yield from nodes_with_depth(node, inside or deferred or only_for_types)


def is_module(root: Path, dotted: str) -> bool:
    """True when a dotted name is a module or package below the root."""
    path = root.joinpath(*dotted.split("."))
    return path.is_dir() or path.with_suffix(".py").is_file()


def imports_of(root: Path, path: Path) -> Iterator[Import]:
    """Every import of a file, also the relative ones and those made by name."""
    file = path.relative_to(root).as_posix()
    package = list(path.relative_to(root).parts[:-1])
    for node, inside in nodes_with_depth(ast.parse(path.read_text(encoding="utf-8"), filename=file)):
        targets: list[str] = []
        if isinstance(node, ast.Import):
            targets = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*above, *(node.module.split(".") if node.module else [])])
            names = [f"{base}.{alias.name}" for alias in node.names]
            targets = [name if is_module(root, name) else base for name in names]
        elif isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in ("import_module", "__import__"):
            first = node.args[0] if node.args else None
            if isinstance(first, ast.Constant) and isinstance(first.value, str):
                targets = [first.value]
        for target in dict.fromkeys(targets):
            yield Import(file, getattr(node, "lineno", 0), target, not inside)


def module_of(dotted: str) -> str:
    """Place in the map of a dotted name of this project: `sim.laws.air` is laws, `sim` itself is ""."""
    parts = dotted.removesuffix(".py").replace("/", ".").split(".")
    if parts[0] == "dashboard":
        return "dashboard"
    return "" if len(parts) < 2 or parts[1] == "__init__" else parts[1]


def sources(root: Path) -> list[Path]:
    """Every Python file of the packages."""
    return sorted(path for package in PACKAGES for path in (root / package).rglob("*.py"))


# ---------------------------------------------------------------- the rules


def wrong_directions(root: Path) -> list[str]:
    """Imports inside the project that point against the map, and modules the map does not name."""
    found = []
    for path in sources(root):
        file = path.relative_to(root).as_posix()
        module = module_of(file)
        allowed = allowed_for(module)
        if allowed is None:
            found.append(f"{file}:1: module {module} has no row in this test's map")
            continue
        for item in imports_of(root, path):
            if item.target.split(".")[0] not in PACKAGES:
                continue
            target = module_of(item.target)
            through_package = target == "" and module not in ("command", "dashboard", "")
            if through_package or (target != "" and target not in allowed):
                found.append(f"{item}; {module or 'sim'} may use {', '.join(sorted(allowed))}")
    return found


def wrong_libraries(root: Path) -> list[str]:
    """Outside libraries imported where they do not belong."""
    found = []
    for path in sources(root):
        for item in imports_of(root, path):
            library = item.target.split(".")[0]
            places = ONLY_IN.get(library.split("_")[0] if library.startswith("dash_") else library)
            if places is not None and not item.file.startswith(places):
                found.append(f"{item}; only {', '.join(places)} may")
    return found


def heavy_at_load(root: Path) -> list[str]:
    """Slow libraries imported when a file is loaded."""
    return [
        f"{item}; import it inside the function that needs it"
        for path in sources(root)
        for item in imports_of(root, path)
        if item.at_load
        and (
            item.target.split(".")[0] in HEAVY
            or (item.target in HEAVY_MODULES and not item.file.startswith("dashboard/"))
        )
    ]


def prints(root: Path) -> list[str]:
    """Calls that write to the terminal outside the command line."""
    found = []
    writers = {"print", "sys.stdout.write", "sys.stderr.write", "pprint", "pprint.pprint"}
    for path in sources(root):
        file = path.relative_to(root).as_posix()
        if file.startswith(MAY_PRINT):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in writers:
                found.append(f"{file}:{node.lineno}: calls {ast.unparse(node.func)}")
    return found


# ---------------------------------------------------------------- the tests


def test_the_whole_project_is_read():
    files = {path.relative_to(ROOT).as_posix() for path in sources(ROOT)}
    assert {"sim/units.py", "sim/laws/engine.py", "sim/plant.py", "sim/kernel.py", "dashboard/figures.py"} <= files
    targets = {item.target for item in imports_of(ROOT, ROOT / "sim/plant.py")}
    assert {"sim.compiled", "sim.laws.air", "sim.records"} <= targets


def test_the_map_covers_its_own_line():
    assert set(ALSO) == set(LINE)
    named = set(LINE) | set(BESIDE)
    assert set().union(*BESIDE.values(), *ALSO.values()) <= named
    assert allowed_for("plant") == {"errors", "messages", "units", "laws", "plant", "compiled", "records"}
    assert allowed_for("messages") == {"messages"}


def test_imports_point_one_way():
    found = wrong_directions(ROOT)
    assert not found, "\n" + "\n".join(found)


def test_libraries_stay_where_they_belong():
    found = wrong_libraries(ROOT)
    assert not found, "\n" + "\n".join(found)


def test_heavy_libraries_are_imported_late():
    found = heavy_at_load(ROOT)
    assert not found, "\n" + "\n".join(found)


def test_the_model_does_not_print():
    found = prints(ROOT)
    assert not found, "\n" + "\n".join(found)


# ---------------------------------------------------------------- the checker itself

OFFENDERS = [
    ("dashboard/app.py", "from sim.command.main import main\n", wrong_directions, "app.py:1: imports sim.command.main"),
    (
        "sim/trip.py",
        "def f():\n    import dashboard.figures\n",
        wrong_directions,
        "trip.py:2: imports dashboard.figures",
    ),
    ("sim/command/main.py", "from dashboard.report import x\n", heavy_at_load, "main.py:1: imports dashboard.report"),
    ("sim/laws/air.py", "x = 1\nfrom sim.plant import settle\n", wrong_directions, "air.py:2: imports sim.plant"),
    ("sim/laws/air.py", "from sim import records\n", wrong_directions, "air.py:1: imports sim.records"),
    ("sim/laws/air.py", "from ..kernel import advance\n", wrong_directions, "air.py:1: imports sim.kernel"),
    ("sim/laws/air.py", "def f():\n    import sim.specs\n", wrong_directions, "air.py:2: imports sim.specs"),
    ("sim/plant.py", "from sim.specs import Truck\n", wrong_directions, "plant.py:1: imports sim.specs"),
    ("sim/plant.py", "from sim.controller import control\n", wrong_directions, "imports sim.controller"),
    ("sim/controller.py", "from sim.plant import settle\n", wrong_directions, "imports sim.plant"),
    ("sim/kernel.py", "from sim.clock import Clock\n", wrong_directions, "imports sim.clock"),
    ("sim/kernel.py", "from importlib import import_module\nimport_module('sim.trip')\n", wrong_directions, "sim.trip"),
    ("sim/route.py", "from sim.specs import Truck\n", wrong_directions, "imports sim.specs"),
    ("sim/route.py", "from sim.compiled import compiled\n", wrong_directions, "imports sim.compiled"),
    ("sim/messages/roads.py", "from sim.units import FOOT\n", wrong_directions, "roads.py:1: imports sim.units"),
    ("sim/records.py", "from sim.laws.air import air_density\n", wrong_directions, "imports sim.laws.air"),
    ("sim/trip.py", "from sim.command.main import main\n", wrong_directions, "imports sim.command.main"),
    ("sim/trip.py", "from sim import run_trip\n", wrong_directions, "trip.py:1: imports sim;"),
    ("sim/novelty.py", "x = 1\n", wrong_directions, "novelty has no row"),
    ("sim/laws/air.py", "import numba\n", wrong_libraries, "air.py:1: imports numba"),
    ("sim/kernel.py", "from numba import njit\n", wrong_libraries, "imports numba"),
    ("sim/kernel.py", "import simpy\n", wrong_libraries, "imports simpy"),
    ("sim/trip.py", "from pydantic import BaseModel\n", wrong_libraries, "imports pydantic"),
    (
        "sim/result.py",
        "def f():\n    import plotly.graph_objects as go\n",
        wrong_libraries,
        "result.py:2: imports plotly",
    ),
    ("sim/result.py", "import dash\n", wrong_libraries, "imports dash"),
    ("sim/result.py", "import dash_table\n", wrong_libraries, "imports dash_table"),
    ("sim/result.py", "import pandas as pd\n", heavy_at_load, "result.py:1: imports pandas"),
    ("sim/result.py", "try:\n    from scipy import interpolate\nfinally:\n    pass\n", heavy_at_load, "result.py:2"),
    ("dashboard/figures.py", "import pandas\n", heavy_at_load, "figures.py:1: imports pandas"),
    ("sim/trip.py", "x = 1\nprint(x)\n", prints, "trip.py:2: calls print"),
    ("sim/trip.py", "import sys\nsys.stderr.write('x')\n", prints, "trip.py:2: calls sys.stderr.write"),
]

MODULES = ("sim/units.py", "sim/records.py", "sim/specs.py", "sim/plant.py", "sim/kernel.py", "sim/trip.py")


HEAVY_FILES = ("dashboard/figures.py", "dashboard/report.py")


def written(root: Path, file: str, text: str) -> Path:
    """A small project in which only one file holds anything."""
    for name in (
        *MODULES,
        "sim/laws/air.py",
        "sim/messages/roads.py",
        "sim/command/main.py",
        "dashboard/app.py",
        *HEAVY_FILES,
    ):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text("", encoding="utf-8")
    (root / file).write_text(text, encoding="utf-8")
    return root


@pytest.mark.parametrize(("file", "text", "rule", "complaint"), OFFENDERS)
def test_the_checker_names_an_offender(tmp_path, file, text, rule, complaint):
    found = rule(written(tmp_path, file, text))
    assert len(found) == 1, found
    assert found[0].startswith(f"{file}:")
    assert complaint in found[0]


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("sim/laws/air.py", "from sim.units import FOOT\nfrom sim.laws.air import x\nimport math\n"),
        ("sim/kernel.py", "from sim import units\nfrom . import plant\nfrom .laws.air import x\n"),
        ("sim/specs.py", "import pydantic\nfrom sim.records import STATE\n"),
        ("sim/trip.py", "import simpy\n\n\ndef frame():\n    import pandas\n"),
        ("sim/trip.py", "from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    import pandas\n"),
        ("sim/command/main.py", "from sim import trip\nprint(trip)\n"),
        ("sim/command/main.py", "def f():\n    from dashboard.report import trip_report\n"),
        ("dashboard/app.py", "from dashboard.figures import trip_figure\n"),
        ("dashboard/app.py", "import dash\nimport sim\nfrom sim.trip import run_trip\nprint(1)\n"),
    ],
)
def test_the_checker_accepts_a_sound_file(tmp_path, file, text):
    root = written(tmp_path, file, text)
    assert wrong_directions(root) + wrong_libraries(root) + heavy_at_load(root) + prints(root) == []


def test_no_public_name_is_hidden_by_a_module_of_the_same_name():
    """`sim.name` would turn from a function into a module as soon as that module is loaded."""
    import sim

    assert not [name for name in sim.__all__ if is_module(ROOT, f"sim.{name}")]
