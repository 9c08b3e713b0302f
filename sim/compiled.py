"""The one decorator that compiles, and the folder its compiled code is kept in.

The compiler's own cache watches only the file in which a function stands; a law edited in another file would leave the
kernel on the old answer. So the folder is named after a hash of every file that compiled code is made from.

Compiled code is run when it is read. So its folder is the user's alone, and every file in it carries a hash of what it holds.
"""

import contextlib
import hashlib
import os
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import numba
import platformdirs
from numba.core.caching import FunctionCache

from sim.messages import kept_code as say
from sim.notices import notice
from sim.own_folder import FOLLOW, close_to_others, fresh_folder, made_own, room_in

KEPT_VERSIONS = 4
ROOM = 24_000_000  # bytes that compiled code may need
SAID = "NUMBA_CACHE_DIR"  # where the user says it is kept; a folder for one version of the model
KERNEL_SOURCES = (
    "compiled.py",
    "units.py",
    *(
        f"march/{module}.py"
        for module in ("records", "seat", "controller", "plant", "air_path", "contacts", "heat", "absorber", "kernel")
    ),
    "laws/*.py",
)


def source_hash(*patterns: str) -> str:
    """A hash of source files of this package.

    Parameters
    ----------
    patterns : str
        Which files, relative to the package.

    Returns
    -------
    digest : str
        16 hexadecimal digits.
    """
    digest = hashlib.sha256()
    folder = Path(__file__).parent
    for path in sorted({path for pattern in patterns for path in folder.glob(pattern)}):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _chosen_folder(name: str) -> Path | None:
    """Where compiled code is kept: where the process that started this one keeps it, where the user says, or in the user's cache;
    if none of these is safe and has room, in a new folder; None if there is no room at all.
    """
    home, follow, said = Path(platformdirs.user_cache_dir("haulbench")), os.environ.get(FOLLOW), os.environ.get(SAID)
    close_to_others(home)
    places = [Path(follow) / name] if follow else []
    places.append(Path(said) if said else home / name)
    problems = {}
    for place in places:
        problem = (
            (place.parent == home and made_own(home))
            or made_own(place)
            or room_in(place, 1 if any(place.rglob("*.nbi")) else ROOM)
        )
        if not problem:
            return place
        problems[place] = problem
    place, problem = problems.popitem()
    notice(say.folder_not_used(folder=str(place), reason=problem))
    with contextlib.suppress(OSError):
        place = fresh_folder() / name
        if not made_own(place) and not room_in(place, ROOM):
            return place
    return None


def _drop_old_versions(folder: Path) -> None:
    """Keeps the compiled code of the last few versions of the sources only; others may drop them at the same time."""
    with contextlib.suppress(OSError):
        versions = sorted((p for p in folder.parent.iterdir() if p.is_dir()), key=lambda p: p.stat().st_mtime)
        for old in versions[:-KEPT_VERSIONS]:
            if old != folder:
                shutil.rmtree(old, ignore_errors=True)


MODEL_VERSION = source_hash(
    "*.py",
    *(f"{room}/*.py" for room in ("laws", "roads", "inputs", "march", "seat", "actors", "trips", "charts", "dyno")),
)
CACHE_FOLDER = _chosen_folder(source_hash(*KERNEL_SOURCES))
numba.config.CACHE_DIR = str(CACHE_FOLDER or "")  # type: ignore[attr-defined]
if CACHE_FOLDER and not os.environ.get(SAID):
    _drop_old_versions(CACHE_FOLDER)


class _Sealed:
    """Bytes that are pickled with their hash, so that what was damaged is not run."""

    def __init__(self, content: bytes) -> None:
        self.content = content

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[bytes, bytes]]:
        return unsealed, (hashlib.sha256(self.content).digest(), self.content)


def unsealed(digest: bytes, content: bytes) -> Any:
    """What was pickled and sealed.

    Parameters
    ----------
    digest : bytes
        SHA-256 of the content.
    content : bytes
        A pickle.

    Raises
    ------
    UnpicklingError
        The content is not what was sealed.
    """
    if hashlib.sha256(content).digest() != digest:
        raise pickle.UnpicklingError(say.OTHER_BYTES)
    return pickle.loads(content)


class _Kept(FunctionCache):  # type: ignore[misc]
    """The compiler's cache of one function, which is no reason to stop: what is damaged is compiled anew, what cannot be written
    is not kept. Each is said once in a process, and what is damaged by the one process that clears it away.
    """

    told: ClassVar[set[str]] = set()

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        dump = self._cache_file._dump
        self._cache_file._dump = lambda thing: pickle.dumps(_Sealed(dump(thing)))  # type: ignore[method-assign]

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """As the compiler's own.

        Parameters
        ----------
        sig : object
            Signature.

        Returns
        -------
        overload : object
            None when there is none, or none that is sound.
        """
        try:
            return super().load_overload(sig, target_context)
        except Exception as problem:  # whatever a damaged file makes of the reader
            cleared = self._clear()
            if "damaged" not in self.told and cleared:
                notice(say.damaged(folder=str(CACHE_FOLDER), reason=_reason(problem)))
            self.told.add("damaged")
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """As the compiler's own.

        Parameters
        ----------
        sig : object
            Signature.
        data : object
            What was compiled.
        """
        try:
            super().save_overload(sig, data)
        except Exception as problem:  # a full disk, or a damaged index
            self._clear()
            if "not kept" not in self.told:
                notice(say.not_kept(folder=str(CACHE_FOLDER), reason=_reason(problem)))
            self.told.add("not kept")

    def _clear(self) -> bool:
        """Clears the files of this function away; whether it was this process that did."""
        cleared = False
        with contextlib.suppress(OSError):
            for file in sorted(Path(self.cache_path).iterdir()):
                if file.name.startswith(f"{self._impl.filename_base}."):
                    if file.is_dir():
                        shutil.rmtree(file)
                    else:
                        file.unlink()
                    cleared = True
        return cleared


def _reason(problem: Exception) -> str:
    """Why compiled code cannot be read or written, in a few words."""
    return str(getattr(problem, "strerror", None) or problem or type(problem).__name__)


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compiles a function on its first call and keeps the result on disk.

    Parameters
    ----------
    function : callable
        Uses floats, integers and arrays only. No fast-math: compiled and interpreted results are equal to the bit. Laws are
        inlined into the kernel, which makes a tick a third cheaper.

    Returns
    -------
    function : callable
        Same signature; the function itself when NUMBA_DISABLE_JIT is set.
    """
    ready = numba.njit(error_model="numpy", forceinline=True)(function)
    if CACHE_FOLDER and ready is not function:
        with contextlib.suppress(RuntimeError, OSError):  # there is no place for it; the folder was taken away
            ready._cache = _Kept(function)  # type: ignore[attr-defined]
    return ready


def is_prepared(kernel: str = "advance") -> bool:
    """True when compiled code for this version of the model is already on disk.

    Parameters
    ----------
    kernel : str
        What marches: `advance` on a road, `advance_on_dyno` on a dyno.
    """
    config: Any = numba.config
    return bool(config.DISABLE_JIT) or (CACHE_FOLDER is not None and any(CACHE_FOLDER.rglob(f"*.{kernel}-*.nbi")))
