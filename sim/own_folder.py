"""A folder that is this user's and nobody else's, for files that are run when they are read.

Whoever can put a file where compiled code is looked for has it run with the rights of the user. So such a folder is real, not a
link, belongs to the user, and nobody else may write into it; where there is none, one is made that nobody could have made before.
"""

import atexit
import contextlib
import os
import shutil
import stat
import tempfile
from pathlib import Path

from sim.messages import kept_code as say

FOLLOW = "HAULBENCH_COMPILED"  # tells processes that this one starts where its folder is


def made_own(folder: Path) -> str:
    """Makes a folder, or sees that one is this user's alone.

    Returns
    -------
    problem : str
        Empty when it may be used.
    """
    if not folder.is_absolute():
        return say.NOT_ABSOLUTE
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        facts = folder.lstat()
        above = [place.stat() for place in folder.parents]
    except OSError as problem:
        return str(problem.strerror)
    if not stat.S_ISDIR(facts.st_mode):
        return say.A_LINK
    if hasattr(os, "geteuid"):
        if facts.st_uid != os.geteuid():
            return say.OF_ANOTHER
        if facts.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            return say.OTHERS_WRITE
        if any(place.st_mode & stat.S_IWOTH and not place.st_mode & stat.S_ISVTX for place in above):
            return say.OTHERS_ABOVE
    return ""


def room_in(folder: Path, size: int) -> str:
    """Whether a file of a size fits into a folder.

    Parameters
    ----------
    size : int
        [bytes]

    Returns
    -------
    problem : str
        Empty when it fits.
    """
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(bytes(size))
            file.flush()
    except OSError as problem:
        return str(problem.strerror)
    return ""


def fresh_folder() -> Path:
    """A new folder with a name nobody could foresee, which processes started from here use too and which goes with this one.

    Raises
    ------
    OSError
        There is no temporary folder.
    """
    folder, maker = Path(tempfile.mkdtemp(prefix="haulbench-")), os.getpid()

    def drop() -> None:
        if os.getpid() == maker:
            shutil.rmtree(folder, ignore_errors=True)

    atexit.register(drop)
    os.environ[FOLLOW] = str(folder)
    return folder


def close_to_others(folder: Path) -> None:
    """Takes from others the right to write into a folder of this user's.

    Parameters
    ----------
    folder : Path
        Nothing happens when it is not there, or is not this user's.
    """
    with contextlib.suppress(OSError):
        if not folder.is_symlink() and hasattr(os, "geteuid") and folder.stat().st_uid == os.geteuid():
            folder.chmod(0o700)
