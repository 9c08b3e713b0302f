"""What is wrong with any file that is read."""

from pathlib import Path

from sim.messages._parts import shortened

# what a file is wanted as
TOML = "TOML file"
CSV = "CSV file"
TRACK = "GPX or CSV file"
KEY = "key file"
NAMES = "text file with a name on each line"
STEPS = "text file of steps for the knobs"
SESSION = "session file, as haulbench fault start makes it"
RECORDING = "recording of the controls, as haulbench run --out makes it"
RECORD = "record of a study"

# what to do when it is not there
CHECK_NAME = "check how its name is written"
CHECK_ROADS = "check how its name is written, haulbench list names the roads"
START_SESSION = "start a session with haulbench fault start"
GIVE_STUDY = "give the study file instead"

# what to save it as
AS_TEXT = "it as plain text in UTF-8"
ROAD_AS_CSV = "the road as CSV"
TRACK_AS_GPX = "the track as GPX in UTF-8"
TABLE_AS_CSV = "the table as CSV in UTF-8"


def missing(*, where: str, otherwise: str) -> str:
    """Said when a file is not there; otherwise is what to do then."""
    return f"{shortened(where)}: there is no such file; {otherwise}"


def folder(*, where: str, wanted: str) -> str:
    """Said when a folder stands where a file is wanted."""
    return f"{shortened(where)}: is a folder; name a {shortened(wanted)}"


def no_ordinary_file(*, where: str, wanted: str) -> str:
    """Said when a pipe, a device or a socket stands where a file is wanted."""
    return f"{shortened(where)}: is no ordinary file but a pipe, a device or a socket; name a {shortened(wanted)}"


def impossible_name(*, where: str, wanted: str) -> str:
    """Said when no file can have the name that is given."""
    return f"{shortened(where)}: no file can have this name; name a {shortened(wanted)}"


def unreadable(*, where: str, reason: str) -> str:
    """Said when the system does not give a file away."""
    return f"{shortened(where)}: cannot be read ({shortened(reason)}); give yourself the right to read it, or name another file"


def too_many_bytes(*, where: str, size: int, wanted: str, most: int) -> str:
    """Said when a file is larger than one of its kind may be, or grows beyond that while it is read."""
    return (
        f"{shortened(where)}: {size} bytes; a {shortened(wanted)} may have {most} at most. Check that it is the"
        " right file, or shorten it."
    )


def not_text(*, where: Path | str, encoding: str, save_as: str) -> str:
    """Said when the bytes of a file are no text in its encoding."""
    return f"{shortened(where)}: is not a text file in {shortened(encoding)}; save {shortened(save_as)}"


def zero_bytes(*, where: Path, save_as: str) -> str:
    """Said when a file is text but for zero bytes in it."""
    return f"{shortened(where)}: is not a text file; save {shortened(save_as)}"


def not_toml(*, where: Path, problem: str) -> str:
    """Said when the TOML of a file is broken; the problem names line and column."""
    return f"{shortened(where)}: cannot be read as TOML: {problem}. Correct it there."


def toml_too_deep(*, where: Path) -> str:
    """Said when a number or the brackets of a file are beyond the reader."""
    return (
        f"{shortened(where)}: cannot be read as TOML: a number in it is too long, or brackets are too deep. Shorten it."
    )


def not_csv(*, where: Path, problem: str) -> str:
    """Said when a table is beyond the reader."""
    return (
        f"{shortened(where)}: cannot be read as CSV ({problem}). Look for a quotation mark that is never closed,"
        " or a cell too long."
    )


def uneven_row(*, where: Path, line: int, cells: int, columns: int) -> str:
    """Said when a row of a table has more or fewer cells than the header."""
    return f"{shortened(where)} line {line}: {cells} cells under {columns} column names; give one cell for each"


def not_a_number(*, where: Path, line: int, column: str, text: str) -> str:
    """Said when a cell of a table is no number."""
    return f'{shortened(where)} line {line}: {shortened(column)} is "{shortened(text)}"; it must be a number'
