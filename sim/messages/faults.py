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


def begin_number(*, text: str, dialled: bool) -> str:
    """Said when the place or the time of a failure or a value cannot be read."""
    return f'"{shortened(text)}" begins with a number that cannot be read; {DIALS if dialled else OCCURS}'


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


def share(*, text: str, failure: str) -> str:
    """Said when more than all of something is worn or missing."""
    return f'"{shortened(text)}": {shortened(failure)} by 0 to 100 %; {OCCURS}'


def not_on_or_off(*, text: str, switch: str, known: Sequence[str]) -> str:
    """Said when a switch is dialled to what no switch can be."""
    return f'"{shortened(text)}": {shortened(switch)} is {", ".join(known)} or let go; {DIALS}'


def value_not_read(*, text: str, problem: str) -> str:
    """Said when a value dialled in cannot be read."""
    return f'"{shortened(text)}": value: {problem}; {DIALS}'


def no_meter(*, text: str, known: Sequence[str]) -> str:
    """Said when a meter is put on what is no sensor."""
    return f'meters: "{shortened(text)}" is no sensor; use one of all, {", ".join(known)}'
