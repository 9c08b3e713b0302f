"""Writing files so that each is in its place whole, or not at all, and stays there when the power fails.

Every file this program leaves behind is written here: beside its place, under a name that nobody else has, to the disk, and
then renamed.
"""

import contextlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from sim.errors import HaulbenchError
from sim.messages import output

NEW = ("O_NOFOLLOW", "O_CLOEXEC", "O_NOINHERIT", "O_BINARY")  # each where the system has it


@contextmanager
def new_file(place: Path, private: bool = False) -> Iterator[BinaryIO]:
    """A file to write into that is in its place when the block ends, and not at all when the block fails.

    Parameters
    ----------
    place : Path
        What is there is replaced.
    private : bool
        Whether nobody else on this machine may read it.

    Yields
    ------
    out : file
        For bytes.

    Raises
    ------
    OSError
        It cannot be written; what was there is as it was.
    """
    beside = _beside(place)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | sum(getattr(os, flag, 0) for flag in NEW)
    handle = os.open(beside, flags, 0o600 if private else 0o666)
    try:
        with os.fdopen(handle, "wb") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        os.replace(beside, place)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    keep_names(place.parent)


def write_file(place: Path, content: bytes | str, private: bool = False) -> None:
    """Writes a whole file.

    Parameters
    ----------
    place : Path
        What is there is replaced.
    content : bytes or str
        A text is written in UTF-8 as it is.
    private : bool
        As in `new_file`.

    Raises
    ------
    OSError
        It cannot be written; what was there is as it was.
    """
    with new_file(place, private) as out:
        out.write(content.encode() if isinstance(content, str) else content)


def folder_beside(place: Path) -> Path:
    """A new, empty folder beside a place, to be filled and renamed.

    Parameters
    ----------
    place : Path
        Folders above it are made.

    Raises
    ------
    OSError
        It cannot be made.
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    beside = _beside(place)
    beside.mkdir()
    return beside


def _beside(place: Path) -> Path:
    """A name beside a place that nobody else has and nobody can foresee."""
    return place.parent / f".{place.name[:40]}-{secrets.token_hex(8)}"


def keep_names(folder: Path) -> None:
    """Has the disk keep the names of a folder, where the system can be asked to."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def check_place(folder: Path, out: str, error: type[HaulbenchError]) -> None:
    """Refuses a folder that can be none: a file, a link that leads nowhere, or a place below one of these.

    Parameters
    ----------
    folder : Path
        It need not be there.
    out : str
        What was given, for messages.
    error : type
        Raised when it can be none.

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    if not out.isprintable():
        raise error(output.control_character(out=out))
    try:
        for place in (folder, *folder.parents):
            if place.is_dir():
                return
            if place.is_symlink() and not place.exists():
                raise error(output.link_to_nothing(out=out, link=place))
            if place.exists() and str(place) == str(Path(out)):
                raise error(output.folder_is_file(out=out))
            if place.exists():
                raise error(output.below_a_file(out=out, file=place))
    except OSError as problem:
        raise error(output.folder_unusable(out=out, reason=str(problem.strerror))) from None
