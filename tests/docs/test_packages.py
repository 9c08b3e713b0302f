"""haulbench as it is installed: wheel, sdist and editable, each used outside the checkout, and strangers of the same names."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest

import haulbench
import sim
from haulbench import not_ours

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("sim", "dashboard")
TRIP = """
import haulbench
from importlib.metadata import version
result = haulbench.run_trip(haulbench.load_truck("long-haul-manual"), haulbench.load_route("grade:0%,100m"))
print(haulbench.__file__, result.summary["ended"], version("haulbench"), sep="|")
"""


def run(*command: object, folder: Path, path: str = "") -> subprocess.CompletedProcess[str]:
    """Runs a program in a folder, with nothing else on Python's path, and uncompiled."""
    there = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "PIP_"))}
    env = there | {
        "NUMBA_DISABLE_JIT": "1",
        "PIP_NO_INDEX": "1",
        "PIP_DISABLE_PIP_VERSION_CHECK": "1",
        "PYTHONPATH": path,
    }
    return subprocess.run([*map(str, command)], cwd=folder, env=env, capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Wheel and sdist of this checkout."""
    folder = tmp_path_factory.mktemp("dist")
    build = run(sys.executable, "-m", "hatchling", "build", "-d", folder, folder=ROOT)
    assert build.returncode == 0, build.stderr
    (wheel,), (sdist,) = folder.glob("*.whl"), folder.glob("*.tar.gz")
    return {"wheel": [wheel], "sdist": [sdist], "editable": ["-e", ROOT]}


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """An environment that has the libraries of this one, and no haulbench: where programs stand, and where packages."""
    folder = tmp_path_factory.mktemp("home")
    venv.create(folder, with_pip=not find_spec("pip"))
    scripts, packages = (
        Path(sysconfig.get_path(kind, "venv", {"base": str(folder)})) for kind in ("scripts", "purelib")
    )
    libraries = [place for place in sys.path if place.endswith(("site-packages", "dist-packages"))]
    (packages / "libraries.pth").write_text("\n".join(libraries), encoding="utf-8")
    return scripts, packages


@pytest.mark.parametrize("kind", ["wheel", "sdist", "editable"])
def test_it_works_outside_the_checkout(kind, built, home, tmp_path):
    scripts, packages = home
    python = scripts / "python"
    done = run(
        python,
        "-m",
        "pip",
        "install",
        "--no-deps",
        "--no-build-isolation",
        "--force-reinstall",
        *built[kind],
        folder=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    assert {name for name in PARTS if (packages / name).exists()} == (set() if kind == "editable" else set(PARTS))

    listed = run(python, "-m", "haulbench", "list", folder=tmp_path)
    assert listed.returncode == 0 and set(sim.list_routes()) <= set(listed.stdout.split()), listed.stderr
    version = run(scripts / "haulbench", "--version", folder=tmp_path)
    assert version.stdout == f"haulbench {haulbench.__version__}\n"
    trip = run(python, "-c", TRIP, folder=tmp_path)
    where = ROOT if kind == "editable" else packages
    assert trip.stdout == f"{where / 'haulbench.py'}|arrived|{haulbench.__version__}\n", trip.stderr


def test_the_wheel_has_everything_of_the_packages_but_pictures(built):
    wanted = {
        path.relative_to(ROOT).as_posix()
        for part in PARTS
        for path in (ROOT / part).rglob("*.*")
        if path.is_file() and "__pycache__" not in path.parts and "pictures" not in path.parts
    }
    wanted |= {"haulbench.py"} | {f"sim/_routes/{path.name}" for path in (ROOT / "routes").iterdir()}
    names = set(zipfile.ZipFile(built["wheel"][0]).namelist())
    assert {"sim/py.typed", "dashboard/py.typed"} <= wanted
    assert {name for name in names if ".dist-info/" not in name} == wanted
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in names)


def test_the_face_shows_what_sim_has_and_what_serves_the_pages():
    assert set(haulbench.__all__) == {*sim.__all__, *haulbench.SERVING}
    assert all(getattr(haulbench, name) is getattr(sim, name) for name in sim.__all__)
    assert all(getattr(haulbench, name).__module__ == home for name, home in haulbench.SERVING.items())
    with pytest.raises(AttributeError, match="'haulbench' has no attribute 'fly'"):
        haulbench.fly  # noqa: B018


# ---------------------------------------------------------------- strangers

STRANGER = "raise SystemExit('a stranger has been run')\n"


def told(folder: Path, path: Path, *, package: str, ours: Path, found: Path) -> None:
    """Holds the command, and whoever imports a name, to the plain message."""
    message = not_ours(package=package, ours=str(ours), found=str(found))
    command = run(sys.executable, "-m", "haulbench", "list", folder=folder, path=str(path))
    assert (command.returncode, command.stdout, command.stderr) == (2, "", f"{message}\n")
    imported = run(sys.executable, "-c", "from haulbench import run_trip", folder=folder, path=str(path))
    assert imported.returncode == 1 and imported.stderr.splitlines()[-1] == f"ImportError: {message}"


@pytest.mark.parametrize("package", PARTS)
@pytest.mark.parametrize("name", ["{}.py", "{}/__init__.py"])
def test_a_stranger_in_the_working_directory(package, name, tmp_path):
    found = tmp_path / name.format(package)
    found.parent.mkdir(exist_ok=True)
    found.write_text(STRANGER, encoding="utf-8")
    told(tmp_path, ROOT, package=package, ours=ROOT / package, found=found)


@pytest.mark.parametrize("package", PARTS)
@pytest.mark.parametrize("left", [STRANGER, None], ids=["written over", "taken away"])
def test_a_stranger_in_our_place(package, left, tmp_path):
    shutil.copy(ROOT / "haulbench.py", tmp_path)
    for name in PARTS:
        (tmp_path / name).mkdir()
        shutil.copy(ROOT / name / "__init__.py", tmp_path / name)
    ours = tmp_path / package / "__init__.py"
    ours.unlink() if left is None else ours.write_text(left, encoding="utf-8")
    told(tmp_path, tmp_path, package=package, ours=ours.parent, found=ours.parent)


def test_a_folder_of_that_name_without_code_is_no_stranger(tmp_path):
    (tmp_path / "sim").mkdir()
    assert run(sys.executable, "-m", "haulbench", "--version", folder=tmp_path, path=str(ROOT)).returncode == 0
