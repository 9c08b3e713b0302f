"""What is wrong with any file that is read."""

from pathlib import Path

# what a file is wanted as
TOML = "TOML"
CSV = "CSV"
TRACK = "GPX or CSV"

# what to save it as
AS_TEXT = "it as plain text in UTF-8"
ROAD_AS_CSV = "the road as CSV"
TRACK_AS_GPX = "the track as GPX in UTF-8"
TABLE_AS_CSV = "the table as CSV in UTF-8"


def missing(*, where: Path) -> str:
    """Said when a truck, settings or facts file is not there."""
    return f"{where}: there is no such file; check how its name is written"


def folder(*, where: Path, wanted: str) -> str:
    """Said when a folder stands where a file is wanted."""
    return f"{where}: is a folder; name a {wanted} file"


def unreadable(*, where: Path | str, reason: str) -> str:
    """Said when the system does not give a file away."""
    return f"{where}: cannot be read ({reason}); give yourself the right to read it, or name another file"


def too_many_bytes(*, where: Path, size: int, most: int) -> str:
    """Said when a truck, settings or road file, or the TOML beside a road, is too large."""
    return (
        f"{where}: {size} bytes; such a file may have {most} at most. Check that it is the right file, or shorten it."
    )


def not_text(*, where: Path, encoding: str, save_as: str) -> str:
    """Said when the bytes of a file are no text in its encoding."""
    return f"{where}: is not a text file in {encoding}; save {save_as}"


def zero_bytes(*, where: Path, save_as: str) -> str:
    """Said when a file is text but for zero bytes in it."""
    return f"{where}: is not a text file; save {save_as}"


def not_toml(*, where: Path, problem: str) -> str:
    """Said when the TOML of a file is broken; the problem names line and column."""
    return f"{where}: cannot be read as TOML: {problem}. Correct it there."


def toml_too_deep(*, where: Path) -> str:
    """Said when a number or the brackets of a file are beyond the reader."""
    return f"{where}: cannot be read as TOML: a number in it is too long, or brackets are too deep. Shorten it."


def not_csv(*, where: Path, problem: str) -> str:
    """Said when a table is beyond the reader."""
    return f"{where}: cannot be read as CSV ({problem}). Look for a quotation mark that is never closed, or a cell too long."


def uneven_row(*, where: Path, line: int, cells: int, columns: int) -> str:
    """Said when a row of a table has more or fewer cells than the header."""
    return f"{where} line {line}: {cells} cells under {columns} column names; give one cell for each"


def not_a_number(*, where: Path, line: int, column: str, text: str) -> str:
    """Said when a cell of a table is no number."""
    return f'{where} line {line}: {column} is "{text}"; it must be a number'
