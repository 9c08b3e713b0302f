"""A recording of what hands and feet did: written as a CSV file, read back, and driven by again."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from sim.errors import RunError
from sim.inputs.specs import Truck
from sim.march.records import CONTROLS, DOWN
from sim.messages import controls as say
from sim.reading import RECORDING, read_text
from sim.units import number_in, whole_number_in

HEAD = ("tick", "name", "value")
NAMES = tuple(control.name for control in CONTROLS)
PEDALS = ("accelerator", "brake_pedal", "clutch_pedal", "trailer_brake")


def controls_csv(rows: np.ndarray) -> str:
    """A recording as the text of a CSV file.

    Parameters
    ----------
    rows : array
        As `sim.march.clock.Clock.kept_controls` gives them.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEAD)
    writer.writerows((int(tick), NAMES[int(control)], f"{value:.17g}") for tick, control, value in rows)
    return out.getvalue()


def allowed(name: str, truck: Truck) -> tuple[float, float]:
    """Between what values a control can be.

    Parameters
    ----------
    name : str
        Of the control.
    """
    if name == "lever":
        return 0.0, float(len(truck.gearbox.ratios) if truck.gearbox.kind == "manual" else DOWN)
    return (1.0, 3.0) if name == "engine_brake_selector" else (0.0, 1.0)


def read_controls(file: str, truck: Truck) -> np.ndarray:
    """A recording from a CSV file.

    Parameters
    ----------
    file : str
        Its name.
    truck : Truck
        Says which gears there are.

    Returns
    -------
    rows : array
        Tick, place among the controls, value; shape (rows, 3).

    Raises
    ------
    RunError
        It cannot be read, or a row is none.
    """
    text = read_text(Path(file), RECORDING, RunError)
    rows = list(_rows(file, text, truck))
    return np.array(rows) if rows else np.empty((0, 3))


def _rows(file: str, text: str, truck: Truck) -> Iterator[tuple[float, float, float]]:
    """Row by row, each checked."""
    lines = csv.reader(io.StringIO(text))
    if tuple(next(lines, ())) != HEAD:
        raise RunError(say.no_recording(file=file, head=HEAD))
    before = 0
    for cells in lines:
        where = lines.line_num
        if len(cells) != len(HEAD):
            raise RunError(say.cells(file=file, line=where, cells=len(cells), head=HEAD))
        name = cells[1]
        if name not in NAMES:
            raise RunError(say.no_control(file=file, line=where, name=name, controls=NAMES))
        try:
            tick, value = whole_number_in(cells[0]), number_in(cells[2])
        except ValueError:
            raise RunError(say.no_number(file=file, line=where, tick=cells[0], value=cells[2])) from None
        if tick < before:
            raise RunError(say.order(file=file, line=where, tick=tick, before=before))
        least, most = allowed(name, truck)
        if not least <= value <= most or (name not in PEDALS and value != int(value)):
            raise RunError(
                say.beyond(
                    file=file, line=where, name=name, value=value, least=least, most=most, whole=name not in PEDALS
                )
            )
        before = tick
        yield float(tick), float(NAMES.index(name)), value
