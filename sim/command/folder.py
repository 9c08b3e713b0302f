"""Writes the files of a trip so that a folder holds all of them or none."""

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from sim.errors import RunError


def check_folder(name: str, force: bool) -> None:
    """Refuses a folder that cannot take the results, before the trip is driven.

    Parameters
    ----------
    name : str
        Folder. [-]
    force : bool
        Whether a folder with files in it is allowed. [-]

    Raises
    ------
    RunError
        It is a file, is not empty, or cannot be made or written.
    """
    folder = Path(name)
    try:
        if folder.exists() and not folder.is_dir():
            raise RunError(f"--out {name}: is a file; name a folder")
        if folder.is_dir() and any(folder.iterdir()) and not force:
            raise RunError(f"--out {name}: the folder is not empty; name another one or add --force")
        parent = next(path for path in (folder, *folder.resolve().parents) if path.is_dir())
    except OSError as problem:
        raise RunError(f"--out {name}: cannot be used ({problem.strerror})") from None
    if not os.access(parent, os.W_OK | os.X_OK):
        raise RunError(f"--out {name}: {parent} cannot be written to; name a folder of yours")


def write_folder(name: str, files: Mapping[str, str], force: bool) -> None:
    """Writes files beside the folder and then renames them into it.

    Parameters
    ----------
    name : str
        Folder. [-]
    files : mapping of str to str
        Name and text of each file. [-]
    force : bool
        Whether files that are there may be replaced. [-]

    Raises
    ------
    RunError
        Something cannot be written; nothing is left half-written.
    """
    check_folder(name, force)
    folder = Path(name)
    beside: Path | None = None
    try:
        folder.resolve().parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.resolve().parent))
        for file, text in files.items():
            with open(beside / file, "w", encoding="utf-8", newline="\n") as out:
                out.write(text)
                out.flush()
                os.fsync(out.fileno())
        beside.chmod(0o755)
        if folder.is_dir():
            for file in files:
                os.replace(beside / file, folder / file)
        else:
            os.replace(beside, folder)
    except OSError as problem:
        raise RunError(f"--out {name}: cannot be written ({problem.strerror}); nothing was written") from None
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
