"""How a page is sent numbers: a head in JSON, then columns as float32, packed; `unpack` of shared/server.js opens it."""

import gzip
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.inputs.sensors import NAMES
from sim.inputs.specs import Settings

PACKING = 1  # of gzip: fastest; nine would save a tenth of the bytes for twice the time


def pack(head: Mapping[str, Any], columns: Mapping[str, np.ndarray]) -> bytes:
    """Head and columns as one answer.

    Parameters
    ----------
    head : mapping
        For JSON, without numbers that are none; `columns` is added: name and length of each.
    columns : mapping of str to array
        Each of one dimension; NaN is allowed.

    Returns
    -------
    packed : bytes
        Gzip of the length of the head (4 bytes, little-endian), the head, and the columns.

    Raises
    ------
    ValueError
        The head holds a number that is none.
    """
    whole = {**head, "columns": [[name, len(column)] for name, column in columns.items()]}
    text = json.dumps(whole, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-(4 + len(text)) % 4)
    body = b"".join(_shuffled(column) for column in columns.values())
    return gzip.compress(len(text).to_bytes(4, "little") + text + body, compresslevel=PACKING, mtime=0)


def _shuffled(column: np.ndarray) -> bytes:
    """Float32 with all first bytes first, then all second bytes, and so on: numbers that differ little pack better so."""
    return np.ascontiguousarray(column, dtype="<f4").view(np.uint8).reshape(-1, 4).T.tobytes()


def meters_of(settings: Settings, columns: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The meters that are on, and the names of their columns.

    Parameters
    ----------
    columns : mapping
        What they showed, by name.

    Returns
    -------
    meters : list of dict
        name, and columns: true, signal, believed.
    """
    found = []
    for key in settings.circuits.metered() if columns else ():
        wanted = (f"{key}_true", f"{key}_signal", f"{key}_believed")
        found.append({"name": NAMES[key], "columns": [name for name in columns if name.startswith(wanted)]})
    return found
