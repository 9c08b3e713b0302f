"""The one decorator that compiles, and the folder its compiled code is kept in.

The compiler's own cache watches only the file in which a function stands; a law edited in another file would leave the
kernel on the old answer. So the folder is named after a hash of every file that compiled code is made from.
"""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import platformdirs

KEPT_VERSIONS = 4
KERNEL_SOURCES = (
    "compiled.py",
    "units.py",
    "records.py",
    "controller.py",
    "plant.py",
    "kernel.py",
    "laws/*.py",
    "bench/kernel.py",
)


def source_hash(*patterns: str) -> str:
    """A hash of source files of this package.

    Parameters
    ----------
    patterns : str
        Which files, relative to the package. [-]

    Returns
    -------
    digest : str
        16 hexadecimal digits. [-]
    """
    digest = hashlib.sha256()
    folder = Path(__file__).parent
    for path in sorted({path for pattern in patterns for path in folder.glob(pattern)}):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _writable_folder(name: str) -> Path:
    """The first of the user's cache folder and the temporary folder in which files can be made."""
    for base in (Path(platformdirs.user_cache_dir("haulbench")), Path(tempfile.gettempdir()) / "haulbench-cache"):
        folder = base / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError:
            continue
        return folder
    return Path(tempfile.mkdtemp(prefix="haulbench-"))


def _drop_old_versions(folder: Path) -> None:
    """Keeps the compiled code of the last few versions of the sources only."""
    versions = sorted((p for p in folder.parent.iterdir() if p.is_dir()), key=lambda p: p.stat().st_mtime)
    for old in versions[:-KEPT_VERSIONS]:
        if old != folder:
            shutil.rmtree(old, ignore_errors=True)


MODEL_VERSION = source_hash("*.py", "laws/*.py", "actors/*.py", "bench/*.py")
CACHE_FOLDER = _writable_folder(source_hash(*KERNEL_SOURCES))
if not os.environ.get("NUMBA_CACHE_DIR"):
    numba.config.CACHE_DIR = str(CACHE_FOLDER)  # type: ignore[attr-defined]
    _drop_old_versions(CACHE_FOLDER)


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compiles a function on its first call and keeps the result on disk.

    Parameters
    ----------
    function : callable
        Uses floats, integers and arrays only. No fast-math: compiled and interpreted results are equal to the bit. Laws are
        inlined into the kernel, which makes a tick a third cheaper. [-]

    Returns
    -------
    function : callable
        Same signature; the function itself when NUMBA_DISABLE_JIT is set. [-]
    """
    return numba.njit(cache=True, error_model="numpy", forceinline=True)(function)


def is_prepared(kernel: str = "advance") -> bool:
    """True when compiled code for this version of the model is already on disk.

    Parameters
    ----------
    kernel : str
        What marches: `advance` on a road, `advance_on_bench` on a bench. [-]

    Returns
    -------
    prepared : bool
        [-]
    """
    config: Any = numba.config
    return bool(config.DISABLE_JIT) or any(Path(config.CACHE_DIR).rglob(f"*.{kernel}-*.nbi"))
