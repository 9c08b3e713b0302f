"""A recording of what hands and feet did: written as a CSV file, read back, and driven by again."""

import csv
import io
from pathlib import Path

import numpy as np

from sim.errors import RunError
from sim.inputs.specs import Truck
from sim.march.records import CONTROLS, DOWN
from sim.march.seat import lever_and_splitter
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
    box = truck.gearbox
    by_hand = box.kind == "manual"
    if name == "lever":
        return 0.0, float(lever_and_splitter(len(box.ratios), box.split_from)[0] if by_hand else DOWN)
    if name == "splitter":
        return 0.0, float(by_hand and box.split_from > 0)
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
    head, *lines = read_text(Path(file), RECORDING, RunError).splitlines() or [""]
    if tuple(head.split(",")) != HEAD:
        raise RunError(say.no_recording(file=file, head=HEAD))
    rows = np.array([_row(file, number, line) for number, line in enumerate(lines, 2)]).reshape(-1, len(HEAD))
    check_rows(rows, truck, file)
    return rows


def _row(file: str, number: int, line: str) -> tuple[float, float, float]:
    """One row as it is written."""
    cells = line.split(",") if line else []
    if len(cells) != len(HEAD):
        raise RunError(say.cells(file=file, line=number, cells=len(cells), head=HEAD))
    tick, name, value = cells
    if name not in NAMES:
        raise RunError(say.no_control(file=file, line=number, name=name, controls=NAMES))
    try:
        return float(whole_number_in(tick)), float(NAMES.index(name)), number_in(value)
    except ValueError:
        raise RunError(say.no_number(file=file, line=number, tick=tick, value=value)) from None


def check_rows(rows: np.ndarray, truck: Truck, file: str = "recording") -> None:
    """Refuses a recording that moves what is no control, where it cannot be, or out of order.

    Parameters
    ----------
    rows : array
        Tick, place among the controls, value; shape (rows, 3).
    truck : Truck
        Says which gears there are.
    file : str
        How messages name it; the first row stands in its second line.

    Raises
    ------
    RunError
        A row is no movement of a control.
    """
    before = 0.0
    for line, (tick, place, value) in enumerate(rows.tolist(), 2):
        if place not in range(len(NAMES)):
            raise RunError(say.no_control(file=file, line=line, name=str(place), controls=NAMES))
        name = NAMES[int(place)]
        if not tick >= before:
            raise RunError(say.order(file=file, line=line, tick=int(tick), before=int(before)))
        least, most = allowed(name, truck)
        whole = name not in PEDALS
        if not least <= value <= most or (whole and value != int(value)):
            where = {"file": file, "line": line, "name": name, "value": value}
            raise RunError(say.beyond(**where, least=least, most=most, whole=whole))
        before = tick
