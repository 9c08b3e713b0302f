"""haulbench: a loaded diesel truck on real roads. The face of the packages `sim` and `dashboard`: their names, and the command.

    import haulbench
    result = haulbench.run_trip(haulbench.load_truck("long-haul-manual"), haulbench.load_route("grade-profile-1037"))
    print(result.summary["fuel_l_per_100km"])

Every public name of `sim` is here, and what serves the pages; names are loaded on first use. `python -m haulbench` is the command.
"""

import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

SERVING = {
    "create_app": "dashboard.app",
    "Workshop": "dashboard.server.runs",
    "load_pages": "dashboard.trip.work",
    "server": "sim.command.serving",
}


def not_ours(*, package: str, ours: str, found: str) -> str:
    """Said when `import sim` or `import dashboard` would not find the package that came with this file.

    It stands here and not in `sim.messages`: then `sim` may be the one that is not ours.
    """
    if found == ours:
        return (
            f'haulbench: the package "{package}" in {ours} is missing or no longer ours: another package was installed over it, or'
            " took it along when it was removed. Install haulbench in an environment of its own (python -m venv)"
        )
    return (
        f'haulbench: Python finds another "{package}" before ours: {found}. Ours is {ours}. Rename the other one, or start'
        " haulbench from another folder"
    )


def _trouble() -> str:
    """What is to be said before anything of the two packages is imported; empty when they are ours.

    Nothing of a package that is not ours is run to find that out.
    """
    for package in ("sim", "dashboard"):
        ours = Path(__file__).with_name(package) / "__init__.py"
        spec = find_spec(package)
        found = Path(spec.origin) if spec and spec.origin else ours  # a folder without this file hides nothing
        there = ours.is_file() and found.is_file()
        if there and not found.samefile(ours):
            return not_ours(package=package, ours=str(ours.parent), found=str(found))
        if not there or b"haulbench" not in ours.read_bytes():
            return not_ours(package=package, ours=str(ours.parent), found=str(ours.parent))
    return ""


def __getattr__(name: str) -> Any:
    """Loads a public name on first use."""
    if name.startswith("__") and name not in {"__all__", "__version__"}:
        raise AttributeError(name)
    if trouble := _trouble():
        raise ImportError(trouble)
    import sim

    if name == "__all__":
        return [*sim.__all__, *SERVING]
    if name in SERVING:
        return getattr(import_module(SERVING[name]), name)
    if name in sim.__all__ or name == "__version__":
        return getattr(sim, name)
    raise AttributeError(f"module 'haulbench' has no attribute {name!r}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command, as `sim.command.main.main` does, once the packages are seen to be ours."""
    if trouble := _trouble():
        print(trouble, file=sys.stderr)
        return 2
    from sim.command.main import main as command

    return command(arguments)


if __name__ == "__main__":
    sys.exit(main())
