"""What is wrong with failures that are to occur, values dialled in and meters: entries of the tables faults and circuits."""

from collections.abc import Sequence

from sim.messages._parts import shortened

OCCURS = (
    'write PLACE PART FAILURE, for example "2.5 km coolant temperature open" or "start boost pressure offset -40 kPa"'
)
DIALS = (
    'write PLACE SENSOR VALUE, for example "1 km coolant temperature 118 C", "60 s clutch switch pressed" or'
    ' "2 km coolant temperature let go"'
)


def of_entry(*, key: str, problem: str) -> str:
    """Said of one entry of a list, in front of what is wrong with it."""
    return f"{shortened(key)}: {problem}"


def no_begin(*, text: str, dialled: bool) -> str:
    """Said when a failure or a value names no place and no time."""
    return f'"{shortened(text)}" says no place or time; {DIALS if dialled else OCCURS}'


def begins_too_far(*, text: str, most: float, unit: str) -> str:
    """Said when a failure or a value begins beyond the end of any road or trip."""
    return f'"{shortened(text)}" begins too far away; at most {most:g} {shortened(unit)} from the start'


def no_part(*, text: str, parts: Sequence[str], dialled: bool) -> str:
    """Said when a failure or a value names no part there is."""
    return f'"{shortened(text)}" names no part; {DIALS if dialled else OCCURS}; parts are {", ".join(parts)}'


def no_failure(*, text: str, part: str, known: Sequence[str]) -> str:
    """Said when a part cannot fail in the way asked for."""
    return f'"{shortened(text)}": {shortened(part)} can be {", ".join(known)}; {OCCURS}'


def takes_no_size(*, text: str, failure: str) -> str:
    """Said when a failure that has no size is given one."""
    return f'"{shortened(text)}": {shortened(failure)} takes no size; {OCCURS}'


def needs_size(*, text: str, failure: str, unit: str) -> str:
    """Said when a failure is given without its size."""
    return f'"{shortened(text)}": {shortened(failure)} needs a size, for example 20 {shortened(unit)}; {OCCURS}'


def no_difference(*, text: str) -> str:
    """Said when an error of a temperature is not a difference."""
    return f'"{shortened(text)}": size: a difference in K or C, for example 20 K; {OCCURS}'


def size_not_read(*, text: str, problem: str) -> str:
    """Said when the size of a failure cannot be read."""
    return f'"{shortened(text)}": size: {problem}; {OCCURS}'


def size_out_of_range(*, text: str, failure: str, least: float, most: float, unit: str) -> str:
    """Said when a failure is larger than its part can show."""
    return f'"{shortened(text)}": allowed is {shortened(failure)} by {least:g} to {most:g} {shortened(unit)}'


def not_on_or_off(*, text: str, switch: str, known: Sequence[str]) -> str:
    """Said when a switch is dialled to what no switch can be."""
    return f'"{shortened(text)}": {shortened(switch)} is {", ".join(known)} or let go; {DIALS}'


def value_not_read(*, text: str, problem: str) -> str:
    """Said when a value dialled in cannot be read."""
    return f'"{shortened(text)}": value: {problem}; {DIALS}'


def value_out_of_range(*, text: str, sensor: str, least: float, most: float, unit: str) -> str:
    """Said when a value is dialled in that the circuit of the sensor cannot carry; the unit may be empty."""
    of = f" {shortened(unit)}" if unit else ""
    return f'"{shortened(text)}": allowed is {least:.4g} to {most:.4g}{of} for {shortened(sensor)}'


def no_meter(*, text: str, known: Sequence[str]) -> str:
    """Said when a meter is put on what is no sensor."""
    return f'meters: "{shortened(text)}" is no sensor; use one of all, {", ".join(known)}'
