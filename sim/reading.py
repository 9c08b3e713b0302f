"""Reading TOML files that may be anything at all."""

import tomllib
from pathlib import Path
from typing import Any

from sim.errors import HaulbenchError

MOST_BYTES = 1_000_000


def is_there(path: Path) -> bool:
    """Whether a path names something; a name no file could have names nothing.

    Parameters
    ----------
    path : Path
        [-]

    Returns
    -------
    there : bool
        [-]
    """
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def read_toml(path: Path, error: type[HaulbenchError]) -> dict[str, Any]:
    """A TOML file as a dictionary, or one message that says why it cannot be read.

    Parameters
    ----------
    path : Path
        [-]
    error : type
        Raised when it cannot be read. [-]

    Returns
    -------
    values : dict
        [-]

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise error(f"{path}: {path.stat().st_size} bytes; such a file may have {MOST_BYTES} at most")
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise error(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise error(f"{path}: is a folder; name a TOML file") from None
    except UnicodeDecodeError:
        raise error(f"{path}: is not a text file in UTF-8") from None
    except tomllib.TOMLDecodeError as problem:
        raise error(f"{path}: cannot be read as TOML: {problem}") from None
    except (ValueError, RecursionError):
        raise error(f"{path}: cannot be read as TOML: a number in it is too long, or brackets are too deep") from None
    except OSError as problem:
        raise error(f"{path}: cannot be read ({problem.strerror})") from None
