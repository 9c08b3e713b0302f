"""Reading what a person names or types: any file may stand there, and none may stop or flood the program.

Every file that a person names is read here. It is opened without waiting, looked at while it is open, so that nobody can put
another one in its place in between, and read once, up to the size its kind may have.
"""

import errno
import io
import os
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from sim.errors import HaulbenchError
from sim.messages import files

PIECE = 1_048_576  # bytes asked for at a time
LONGEST_LINE = 4000  # letters of a line typed at the keyboard
NO_WAITING = ("O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_NOINHERIT", "O_BINARY")  # each where the system has it


@dataclass(frozen=True)
class Kind:
    """What a file is wanted as: in words, how many bytes it may have, how to save it, and what to do when it is not there."""

    wanted: str
    most_bytes: int
    save_as: str = files.AS_TEXT
    otherwise: str = files.CHECK_NAME


TOML = Kind(files.TOML, 1_000_000)
ROAD = Kind(files.CSV, 64_000_000, files.ROAD_AS_CSV, files.CHECK_ROADS)
TRACK = Kind(files.TRACK, 64_000_000, files.TRACK_AS_GPX)
KEY = Kind(files.KEY, 100_000)
NAMES = Kind(files.NAMES, 1_000_000)
STEPS = Kind(files.STEPS, 100_000)
SESSION = Kind(files.SESSION, 4_000_000, otherwise=files.START_SESSION)
RECORDING = Kind(files.RECORDING, 256_000_000, files.TABLE_AS_CSV)
RECORD = Kind(files.RECORD, 256_000_000, otherwise=files.GIVE_STUDY)


def is_there(path: Path) -> bool:
    """Whether a path names something; a name no file could have names nothing."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def read_bytes(path: Path, kind: Kind, error: type[HaulbenchError], where: str = "") -> bytes:
    """What is in an ordinary file, or one message that says why it cannot be read.

    Parameters
    ----------
    path : Path
        A link to an ordinary file is one.
    kind : Kind
        What it is wanted as.
    error : type
        Raised when it cannot be read.
    where : str
        How the message names it; empty for its path.

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    named = where or str(path)
    try:
        handle = os.open(path, os.O_RDONLY | sum(getattr(os, flag, 0) for flag in NO_WAITING))
    except FileNotFoundError:
        raise error(files.missing(where=named, otherwise=kind.otherwise)) from None
    except OSError as problem:
        if problem.errno in (errno.ENXIO, errno.EOPNOTSUPP):  # a socket, or a pipe nobody reads
            raise error(files.no_ordinary_file(where=named, wanted=kind.wanted)) from None
        if is_there(path) and path.is_dir():  # a system that opens no folders
            raise error(files.folder(where=named, wanted=kind.wanted)) from None
        raise error(files.unreadable(where=named, reason=str(problem.strerror))) from None
    except ValueError:
        raise error(files.impossible_name(where=named, wanted=kind.wanted)) from None
    try:
        facts = os.fstat(handle)
        if stat.S_ISDIR(facts.st_mode):
            raise error(files.folder(where=named, wanted=kind.wanted))
        if not stat.S_ISREG(facts.st_mode):
            raise error(files.no_ordinary_file(where=named, wanted=kind.wanted))
        content = bytearray()
        if facts.st_size <= kind.most_bytes:
            while len(content) <= kind.most_bytes and (piece := os.read(handle, PIECE)):
                content += piece
        size = max(facts.st_size, len(content))  # a file may grow while it is read
    except OSError as problem:
        raise error(files.unreadable(where=named, reason=str(problem.strerror))) from None
    finally:
        os.close(handle)
    if size > kind.most_bytes:
        raise error(files.too_many_bytes(where=named, size=size, wanted=kind.wanted, most=kind.most_bytes))
    return bytes(content)


def read_text(path: Path, kind: Kind, error: type[HaulbenchError], where: str = "") -> str:
    """The text in an ordinary file, in UTF-8 with or without a mark of it at its begin.

    Parameters
    ----------
    kind : Kind
        What it is wanted as.
    error : type
        Raised when it cannot be read.
    where : str
        How the message names it; empty for its path.

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    try:
        return read_bytes(path, kind, error, where).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise error(files.not_text(where=where or str(path), encoding="UTF-8", save_as=kind.save_as)) from None


def read_toml(path: Path, error: type[HaulbenchError]) -> dict[str, Any]:
    """A TOML file as a dictionary, or one message that says why it cannot be read.

    Parameters
    ----------
    error : type
        Raised when it cannot be read.

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    text = read_text(path, TOML, error)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise error(files.not_toml(where=path, problem=str(problem))) from None
    except (ValueError, RecursionError):
        raise error(files.toml_too_deep(where=path)) from None


def read_line(stream: TextIO) -> str:
    """A line typed at the keyboard, or sent in its place.

    Returns
    -------
    line : str
        At most so long as a person types; what is no text in it is marked. Empty at the end.
    """
    if isinstance(stream, io.TextIOWrapper) and stream.errors != "replace":
        stream.reconfigure(errors="replace")
    return stream.readline(LONGEST_LINE)
