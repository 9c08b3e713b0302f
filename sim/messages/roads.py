"""What is wrong with a road: its name, its file, the TOML beside it, or a constant grade."""

from collections.abc import Sequence
from pathlib import Path

from sim.messages._parts import did_you_mean, shortened

GRADE = (
    "write grade:GRADE,LENGTH,ALTITUDE,LIMIT, for example grade:-6%,10km,1100m,80km/h (the last two may be left out)"
)


def not_a_known_road(*, name: str, known: Sequence[str]) -> str:
    """Said when a road is neither of the catalogue nor a constant grade, where no file is taken."""
    return f'"{shortened(name)}" is not known here; use one of the roads: {", ".join(known)}, or write grade:4%,2km'


def no_such_road(*, name: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when a road is neither shipped nor a file."""
    return (
        f'no road is called "{shortened(name)}".{did_you_mean(near)} Roads: {", ".join(known)}.'
        " A path to a CSV file or grade:-6%,10km,1100m works too."
    )


# ---------------------------------------------------------------- constant grades


def no_constant_grade(*, text: str) -> str:
    """Said when a constant grade has too few or too many parts."""
    return f'"{shortened(text)}" is no constant grade; {GRADE}'


def grade_number(*, text: str, problem: str) -> str:
    """Said when a part of a constant grade is no number of its kind."""
    return f'"{shortened(text)}": {problem}; {GRADE}'


def grade_out_of_range(*, text: str, part: str, value: float, low: float, high: float, unit: str) -> str:
    """Said when a part of a constant grade is out of range."""
    return (
        f'"{shortened(text)}": {shortened(part)} is {value:g} {shortened(unit)}; allowed is {low:g} to {high:g}'
        f" {shortened(unit)}"
    )


# ---------------------------------------------------------------- the table as a whole


def no_header(*, where: Path, columns: Sequence[str], blank: bool) -> str:
    """Said when the first line of a road names no columns, or there is none."""
    place = f"{shortened(where)} line 1: is blank" if blank else f"{shortened(where)}: is empty"
    return f"{place}; the first line names the columns: {', '.join(columns)}"


def no_such_column(*, where: Path, name: str, columns: Sequence[str]) -> str:
    """Said when a road has a column nobody knows."""
    return f'{shortened(where)} line 1: no column is called "{shortened(name)}"; columns are {", ".join(columns)}'


def column_twice(*, where: Path, name: str) -> str:
    """Said when a column stands twice."""
    return f"{shortened(where)} line 1: the column {shortened(name)} stands twice; name each once"


def no_distance(*, where: Path) -> str:
    """Said when a road has no column of distance."""
    return f"{shortened(where)} line 1: distance_m is missing; it is needed beside elevation_m or grade_percent"


def height_or_grade(*, where: Path, both: bool) -> str:
    """Said when a road has both heights and grades, or neither."""
    return f"{shortened(where)} line 1: {'both' if both else 'neither'} given; give exactly one of elevation_m and grade_percent"


def too_few_rows(*, where: Path, rows: int) -> str:
    """Said when a road has no length."""
    return f"{shortened(where)}: has {rows} row(s) below its header; a road needs at least two"


def does_not_start_at_zero(*, where: Path, start_m: float) -> str:
    """Said when the first row of a road is not its start."""
    return f"{shortened(where)} line 2: distance_m starts at {start_m:g}; it must start at 0"


# ---------------------------------------------------------------- a row


def empty_cell(*, where: Path, line: int, column: str) -> str:
    """Said when a cell is empty that every row needs."""
    return f"{shortened(where)} line {line}: {shortened(column)} is empty; every row needs it"


def out_of_range(*, where: Path, line: int, column: str, value: float, low: float, high: float) -> str:
    """Said when a number of a row is out of range."""
    return f"{shortened(where)} line {line}: {shortened(column)} is {value:g}; allowed is {low:g} to {high:g}"


def repeated_distance(*, where: Path, line: int, here_m: float, before_m: float) -> str:
    """Said when a distance is not beyond the one before it."""
    return f"{shortened(where)} line {line}: distance_m {here_m:g} is not after {before_m:g}. Sort the rows or remove the repeat."


def too_steep(*, where: Path, line: int, rise_percent: float, steepest_percent: float) -> str:
    """Said when two heights make a road no truck can be on."""
    return (
        f"{shortened(where)} line {line}: the road rises {rise_percent:.0f} % from the line before; allowed is"
        f" {-steepest_percent:g} to"
        f" {steepest_percent:g} %. Check distance_m and elevation_m."
    )


def grades_lead_out(*, where: Path, height_m: float, low_m: float, high_m: float, beside: str) -> str:
    """Said when the grades of a road add up to a height where no road is."""
    return (
        f"{shortened(where)}: grade_percent takes the road to {height_m:.0f} m; allowed is {low_m:g} to {high_m:g} m."
        f" Check grade_percent, or start_elevation_m in {shortened(beside)}."
    )


# ---------------------------------------------------------------- the TOML beside a road


def no_such_fact(*, where: Path, key: str, keys: Sequence[str]) -> str:
    """Said when the TOML beside a road has a key nobody knows."""
    return f'{shortened(where)}: no key is called "{shortened(key)}"; keys are {", ".join(keys)}'


def start_height(*, where: Path, given: object, low_m: float, high_m: float) -> str:
    """Said when the height a road starts at is none."""
    return f"{shortened(where)}: start_elevation_m is {shortened(repr(given))}; allowed is a number from {low_m:g} to {high_m:g}"


def marks(*, where: Path, given: object) -> str:
    """Said when the marks of a road are no table."""
    return f"{shortened(where)}: marks must be a table of texts; {shortened(repr(given))} was given"


def no_part(*, where: str, begin_m: float, end_m: float, length_m: float) -> str:
    """Said when a part of a road does not lie on it."""
    return f"{shortened(where)}: no part from {begin_m:g} to {end_m:g} m; give one within 0 to {length_m:g} m"
