"""What is wrong with a recording of the controls."""

from collections.abc import Sequence

from sim.messages._parts import shortened


def _place(file: str, line: int) -> str:
    """File and line."""
    return f"{shortened(file)}, line {line}"


def no_recording(*, file: str, head: Sequence[str]) -> str:
    """Said when a recording does not begin with its head."""
    return f"{shortened(file)} does not begin with the line {','.join(head)}; give a controls.csv that haulbench run --out wrote"


def cells(*, file: str, line: int, cells: int, head: Sequence[str]) -> str:
    """Said when a row of a recording has too many or too few cells."""
    return f"{_place(file, line)} has {cells} cells; give {len(head)}: {', '.join(head)}"


def no_control(*, file: str, line: int, name: str, controls: Sequence[str]) -> str:
    """Said when a recording moves something that is no control."""
    return f"{_place(file, line)}: there is no control called {shortened(name)}; give one of {', '.join(controls)}"


def no_number(*, file: str, line: int, tick: str, value: str) -> str:
    """Said when a tick is no whole number or a value no number."""
    return f"{_place(file, line)}: tick {shortened(tick)}, value {shortened(value)}; give a whole number and a number"


def order(*, file: str, line: int, tick: int, before: int) -> str:
    """Said when a row comes before the one above it."""
    return f"{_place(file, line)}: tick {tick} comes after tick {before}; put the rows in order of their ticks, none below 0"


def beyond(*, file: str, line: int, name: str, value: float, least: float, most: float, whole: bool) -> str:
    """Said when a control cannot be where a recording puts it."""
    steps = ", in whole steps" if whole else ""
    return f"{_place(file, line)}: {shortened(name)} {value:g} is not possible; allowed is {least:g} to {most:g}{steps}"
