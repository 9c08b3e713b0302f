"""Reading TOML files that may be anything at all."""

import tomllib
from pathlib import Path
from typing import Any

from sim.errors import HaulbenchError
from sim.messages import files

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
            raise error(files.too_many_bytes(where=path, size=path.stat().st_size, most=MOST_BYTES))
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise error(files.missing(where=path)) from None
    except IsADirectoryError:
        raise error(files.folder(where=path, wanted=files.TOML)) from None
    except UnicodeDecodeError:
        raise error(files.not_text(where=path, encoding="UTF-8", save_as=files.AS_TEXT)) from None
    except tomllib.TOMLDecodeError as problem:
        raise error(files.not_toml(where=path, problem=str(problem))) from None
    except (ValueError, RecursionError):
        raise error(files.toml_too_deep(where=path)) from None
    except OSError as problem:
        raise error(files.unreadable(where=path, reason=str(problem.strerror))) from None
