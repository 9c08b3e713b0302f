"""How a page is sent numbers: a head in JSON, then columns as float32, packed; `unpack` of shared/server.js opens it."""

import gzip
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.inputs.sensors import NAMES, quantity_of
from sim.inputs.specs import Settings
from sim.units import unit_of_key

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


def si_name(name: str) -> str:
    """What a column is called once it is in SI: without the unit its name ends with.

    Examples
    --------
    >>> si_name("coolant_temperature_c"), si_name("gear")
    ('coolant_temperature', 'gear')
    """
    unit = unit_of_key(name)
    return name.removesuffix(f"_{unit}") if unit else name


def meters_of(settings: Settings, columns: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The meters that are on, and the names of their columns.

    Parameters
    ----------
    columns : mapping
        What they showed, by name.

    Returns
    -------
    meters : list of dict
        name, and columns: name, kind of quantity and digits of what is true, the signal, what is believed.
    """
    found = []
    for key in settings.circuits.metered() if columns else ():
        kinds = {"true": (quantity_of(key), 1), "signal": ("voltage", 3), "believed": (quantity_of(key), 1)}
        shown = []
        for what, (kind, digits) in kinds.items():
            name = next(each for each in columns if each.startswith(f"{key}_{what}"))
            shown.append([si_name(name), *(("frequency", 1) if name.endswith("_hz") else (kind, digits))])
        found.append({"name": NAMES[key], "columns": shown})
    return found
