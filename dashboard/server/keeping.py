"""The sessions of a class in a folder: each in its place whole or not at all, and on the disk before anybody hears of it.

A file that cannot be read, or that this class has not written, is set aside under a name of its own and told of: one bad file is
no reason to send a class home. One server has a folder at a time.
"""

import contextlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from sim.errors import HaulbenchError, SettingsError
from sim.messages import hidden as say
from sim.notices import notice
from sim.reading import SESSION, read_text
from sim.writing import keep_names, write_file

ENDING = ".json"
ASIDE = ".damaged-"  # between the name of a file that is set aside and a number
LOCK = ".in-use"

T = TypeVar("T")


class Folder:
    """Texts kept by name in a folder.

    Parameters
    ----------
    folder : str
        Made when it is not there.
    kind : str
        What every name begins with; other files of the folder are left alone.

    Raises
    ------
    SettingsError
        It cannot be used, or another server has it.
    """

    def __init__(self, folder: str, kind: str) -> None:
        self._folder, self._kind = Path(folder), kind
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            list(self._folder.iterdir())  # a folder that cannot be looked into would seem empty
            with tempfile.TemporaryFile(dir=self._folder):
                pass
            flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
            self._handle = os.open(self._folder / LOCK, flags, 0o600)
        except OSError as problem:
            raise SettingsError(say.no_session_folder(folder=folder, reason=str(problem.strerror))) from None
        try:
            _lock(self._handle)
        except OSError:
            os.close(self._handle)
            raise SettingsError(say.folder_in_use(folder=folder)) from None
        for left in self._folder.glob(f".{kind}*{ENDING}-*"):  # written beside by a server that was killed
            with contextlib.suppress(OSError):
                left.unlink()
        self.set_aside = {file.name: say.set_aside_before() for file in sorted(self._folder.glob(f"{kind}*{ASIDE}*"))}

    def close(self) -> None:
        """Lets another server have the folder."""
        handle, self._handle = self._handle, -1
        if handle >= 0:
            os.close(handle)

    def read(self, check: Callable[[str, str], T]) -> dict[str, T]:
        """Every text that is kept, as it is read; what cannot be read is set aside.

        Parameters
        ----------
        check : callable
            Takes name and text, and gives what is in it or raises a `HaulbenchError`.

        Returns
        -------
        found : dict
            By name.

        Raises
        ------
        SettingsError
            The folder cannot be read, or a bad file cannot be set aside.
        """
        found: dict[str, T] = {}
        for file in sorted(self._folder.glob(f"{self._kind}*{ENDING}")):
            try:
                found[file.stem] = check(file.stem, read_text(file, SESSION, SettingsError))
            except HaulbenchError as problem:
                self._set_aside(file, str(problem))
        return found

    def write(self, name: str, text: str) -> None:
        """Keeps a text: it is on the disk when this returns.

        Raises
        ------
        SettingsError
            It cannot be written; what was there before is as it was.
        """
        try:
            write_file(self._folder / f"{name}{ENDING}", text, private=True)
        except OSError as problem:
            raise SettingsError(say.session_not_kept(reason=str(problem.strerror))) from None

    def _set_aside(self, file: Path, reason: str) -> None:
        """Gives a bad file a name of its own, and says so."""
        number = 1
        while os.path.lexists(place := file.with_name(f"{file.name}{ASIDE}{number}")):
            number += 1
        try:
            file.rename(place)
        except OSError as problem:
            reason = str(problem.strerror)
            raise SettingsError(say.not_set_aside(file=str(file), reason=reason)) from None
        keep_names(self._folder)
        self.set_aside[place.name] = reason
        notice(say.set_aside(file=str(file), place=place.name, reason=reason))


def _lock(handle: int) -> None:
    """Takes a file for this process alone, until it is closed or the process ends; OSError when another has it."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
