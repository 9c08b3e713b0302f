"""What is wrong with a key or its value, in a file or a change of a trip, and what a key takes."""

from collections.abc import Iterable, Sequence

from sim.messages._parts import did_you_mean, shortened

# ---------------------------------------------------------------- numbers with units


def not_a_number() -> str:
    """Said of a text that should be a number; who says it names the text."""
    return "not a number"


def no_unit_taken(*, given: str) -> str:
    """Said when a number carries a unit and its key takes none."""
    return f'takes no unit, but "{shortened(given)}" was given'


def wrong_unit(*, given: str, accepted: Sequence[str]) -> str:
    """Said when the unit of a number does not measure what the key is."""
    return f'unit "{shortened(given)}" does not fit; use one of {", ".join(accepted)}'


# ---------------------------------------------------------------- what a key takes


def one_of(*, expected: str) -> str:
    """Said of a key that takes one of a few words."""
    return f"allowed is {expected}"


def list_too_short(*, least: int) -> str:
    """Said of a list with too few values."""
    return f"the list needs at least {least} values"


def list_too_long(*, most: int) -> str:
    """Said of a list with too many values."""
    return f"the list may have at most {most} values"


def each_in_range(*, low: float, high: float, unit: str) -> str:
    """Said of a value inside a list that takes numbers within bounds; the unit may be empty."""
    return f"each value of the list must be a number from {low:g} to {high:g}{' ' + shortened(unit) if unit else ''}"


def true_or_false(*, meaning: str) -> str:
    """Said of a key that is a switch."""
    return f"allowed is true or false ({meaning})"


def a_list(*, meaning: str) -> str:
    """Said of a key that takes a list."""
    return f"give a list of values ({meaning})"


def a_text(*, meaning: str) -> str:
    """Said of a key that takes a text."""
    return f"give a text ({meaning})"


def a_range(*, within: str, whole: bool, meaning: str) -> str:
    """Said of a key that takes a number within bounds, which come with their unit where there is one."""
    return f"allowed is {'a whole number from ' if whole else ''}{shortened(within)} ({meaning})"


# ---------------------------------------------------------------- a key or a table


def not_allowed(*, where: str, key: str, given: str, allowed: str) -> str:
    """Said when the value of a key is not what the key takes."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; {allowed}"


def missing(*, where: str, key: str) -> str:
    """Said when a table or key that must be there is not."""
    return f"{shortened(where)}: {shortened(key)} is missing; add it"


def no_such_table(*, where: str, table: str, near: Sequence[str], tables: Iterable[str], texts: Sequence[str]) -> str:
    """Said when a file has a table nobody knows; texts are the keys that may stand above the tables."""
    above = f"; texts above them are {', '.join(texts)}" if texts else ""
    return f'{shortened(where)}: no table is called "{shortened(table)}".{did_you_mean(near)} Tables are {", ".join(tables)}{above}'


def no_such_key(*, where: str, key: str, near: Sequence[str], tables: Sequence[str]) -> str:
    """Said when a file or a change names a key nobody knows; tables are shown when no key is near."""
    hint = did_you_mean(near) or f" Keys are table.key with the tables {', '.join(tables)}."
    return f'{shortened(where)}: no key is called "{shortened(key)}".{hint}'


def do_not_fit(*, where: str, part: str, problem: str) -> str:
    """Said when values of a table, or of the whole file, do not fit each other."""
    return f"{shortened(where)}: {shortened(part) + ': ' if part else ''}{problem}"


def several(*, sentences: Iterable[str]) -> str:
    """Puts the first few messages about one file under each other."""
    return "\n".join(list(sentences)[:5])


# ---------------------------------------------------------------- changes


def no_equals_sign(*, change: str) -> str:
    """Said when a change is not of the form key, equals sign, value."""
    return f"{shortened(change)}: write KEY=VALUE, for example vehicle.mass_kg=30000"


def value_where_table_belongs(*, change: str, table: str) -> str:
    """Said when a change goes into a table that the file has as a plain value."""
    return f"{shortened(change)}: {shortened(table)} is a value in the file and must be a table"


def not_a_list(*, change: str, text: str) -> str:
    """Said when a change begins like a list and is none."""
    return f'{shortened(change)}: "{shortened(text)}" is no list; write [1, 2, 3]'


def list_too_deep(*, change: str) -> str:
    """Said when a list of a change is beyond the reader."""
    return f"{shortened(change)}: a number in it is too long, or brackets are too deep; shorten it"


def change_not_read(*, change: str, problem: str, allowed: str) -> str:
    """Said when the number of a change cannot be read."""
    return f"{shortened(change)}: {problem}; {allowed}"


# ---------------------------------------------------------------- order within a table


def must_be_below(*, key: str, given: float, above: str, limit: float) -> str:
    """Said when a value is not below another one of the same table."""
    return f"{shortened(key)} must be below {shortened(above)}; {given:g} and {limit:g} were given. Change one of them"


def must_be_above(*, key: str, given: float, below: str, limit: float) -> str:
    """Said when a value is not above another one of the same table."""
    return f"{shortened(key)} must be above {shortened(below)}; {given:g} and {limit:g} were given. Change one of them"


def must_rise(*, keys: Sequence[str], given: Sequence[float]) -> str:
    """Said when values of a table do not rise in their order."""
    shown = ", ".join(f"{value:g}" for value in given)
    return f"{', '.join(keys[:-1])} and {keys[-1]} must rise; {shown} were given"


def list_must_rise(*, key: str, before: float, after: float) -> str:
    """Said when a list of a curve does not rise."""
    return f"{shortened(key)} must rise from value to value; {after:g} stands after {before:g}"


def uneven_lists(*, first: str, first_count: int, second: str, second_count: int) -> str:
    """Said when two lists that belong together differ in length."""
    return f"{first} has {first_count} values and {shortened(second)} has {second_count}; give as many of each"
