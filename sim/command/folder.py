"""Writes the files of a trip or of a road so that all of them are there or none."""

import os
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

from sim.errors import RouteError, RunError
from sim.messages import output
from sim.writing import check_place, folder_beside, keep_names, write_file


def check_folder(name: str, force: bool) -> None:
    """Refuses a folder that cannot take the results, before the trip is driven.

    Parameters
    ----------
    name : str
        Folder.
    force : bool
        Whether a folder with files in it is allowed.

    Raises
    ------
    RunError
        It is a file, is not empty, or cannot be made or written.
    """
    folder = Path(name)
    check_place(folder, name, RunError)
    try:
        if folder.is_dir() and any(folder.iterdir()) and not force:
            raise RunError(output.folder_not_empty(out=name))
        parent = next(path for path in (folder, *folder.absolute().parents) if path.is_dir())
    except OSError as problem:
        raise RunError(output.folder_unusable(out=name, reason=str(problem.strerror))) from None
    if not os.access(parent, os.W_OK | os.X_OK):
        raise RunError(output.folder_locked(out=name, parent=parent))


def write_folder(name: str, files: Mapping[str, str], force: bool) -> None:
    """Writes files beside the folder and then renames them into it.

    Parameters
    ----------
    name : str
        Folder.
    files : mapping of str to str
        Name and text of each file.
    force : bool
        Whether files that are there may be replaced.

    Raises
    ------
    RunError
        Something cannot be written; nothing is left half-written.
    """
    check_folder(name, force)
    folder = Path(name)
    beside: Path | None = None
    try:
        beside = folder_beside(folder / folder.name if folder.is_dir() else folder)
        for file, text in files.items():
            write_file(beside / file, text)
        if folder.is_dir():
            for file in files:
                os.replace(beside / file, folder / file)
        else:
            os.replace(beside, folder)
        keep_names(folder.parent)
    except OSError as problem:
        raise RunError(output.not_written(out=name, reason=str(problem.strerror))) from None
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)


def check_files(stem: str, endings: Sequence[str], force: bool) -> None:
    """Refuses a path without ending that cannot take the files of a road, before the track is read.

    Parameters
    ----------
    stem : str
        Path of the files without their ending.
    endings : sequence of str
        Each with its dot.
    force : bool
        Whether files that are there may be replaced.

    Raises
    ------
    RouteError
        A file is there already, or the folder is missing or cannot be written.
    """
    if not stem or stem.endswith(("/", os.sep)) or Path(stem).name in ("", ".", ".."):
        raise RouteError(output.no_file_name(out=stem))
    folder = Path(stem).parent
    try:
        check_place(folder, stem, RouteError)
        if not folder.is_dir():
            raise RouteError(output.no_folder(out=stem, folder=folder))
        for ending in endings:
            target = Path(stem + ending)
            if target.is_dir():
                raise RouteError(output.file_is_folder(out=stem, target=target))
            if (target.exists() or target.is_symlink()) and not force:
                raise RouteError(output.file_is_there(out=stem, target=target))
        folder_beside(Path(stem)).rmdir()
    except OSError as problem:
        raise RouteError(output.place_locked(out=stem, reason=str(problem.strerror))) from None


def write_files(stem: str, texts: Mapping[str, str], force: bool) -> None:
    """Writes the files of a road beside their place and then renames them: all of them or none.

    Parameters
    ----------
    stem : str
        Path of the files without their ending.
    texts : mapping of str to str
        Ending, with its dot, and text of each file.
    force : bool
        Whether files that are there may be replaced.

    Raises
    ------
    RouteError
        Something cannot be written; everything is as it was.
    """
    check_files(stem, list(texts), force)
    beside: Path | None = None
    placed: list[tuple[Path, Path | None]] = []
    try:
        beside = folder_beside(Path(stem))
        for ending, text in texts.items():
            write_file(beside / f"new{ending}", text)
        for ending in texts:
            target = Path(stem + ending)
            before = beside / f"old{ending}" if target.exists() or target.is_symlink() else None
            if before is not None:
                os.replace(target, before)
            placed.append((target, before))
            os.replace(beside / f"new{ending}", target)
    except BaseException as problem:
        for target, before in reversed(placed):
            target.unlink(missing_ok=True)
            if before is not None:
                os.replace(before, target)
        if isinstance(problem, OSError):
            raise RouteError(output.not_written(out=stem, reason=str(problem.strerror))) from None
        raise
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
