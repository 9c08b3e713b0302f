"""Reads the tables of bad input in this folder: rows in groups, the files they need, the odd things that can stand for a file."""

import os
import re
import socket
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent

# words of the libraries underneath, which mean nothing to the reader of a message
LIBRARY_WORDS = re.compile(
    r"Input should be|validation error|Value error|Field required|Extra inputs|pydantic|type=|input_value|ctx"
    r"|Traceback|<class|<built-in|NoneType|Errno|codec|Exception|object at 0x|datetime|recursion|set_int_max",
    re.IGNORECASE,
)


def rows_of(table: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row of a table under "group: name", with what its group says for all of its rows."""
    for group, shared in tomllib.loads((HERE / table).read_text(encoding="utf-8")).items():
        for name, row in shared.pop("rows").items():
            whole = {**shared, **row}
            whole["files"] = {**shared.get("files", {}), **row.get("files", {})}
            if "put" in row:
                put = row["put"]
                whole["files"][shared["file"]] = shared.get("before", "") + put if isinstance(put, str) else put
            whole["says"] = [*shared.get("everywhere", []), *row["says"]]
            yield f"{group}: {name}", whole


def expanded(text: str) -> str:
    """A text with `<<x*5000>>` written out."""
    return re.sub(r"<<(.)\*(\d+)>>", lambda found: found[1] * int(found[2]), text, flags=re.DOTALL)


def put(files: dict[str, Any]) -> None:
    """Makes the files of a row below the working folder."""
    for name, content in files.items():
        place = Path(name)
        place.parent.mkdir(parents=True, exist_ok=True)
        match content:
            case str():
                place.write_bytes(expanded(content).encode())
            case {"latin1": text}:
                place.write_bytes(text.encode("latin-1"))
            case {"utf16": text}:
                place.write_bytes(text.encode("utf-16"))
            case {"hex": text}:
                place.write_bytes(bytes.fromhex(text))
            case {"size": size}:
                with place.open("wb") as file:
                    file.truncate(size)
            case {"link": where}:
                place.symlink_to(where)
            case {"make": "folder"}:
                place.mkdir()
            case {"make": "pipe"}:
                os.mkfifo(place)
            case {"make": "socket"}:
                with socket.socket(socket.AF_UNIX) as made:
                    made.bind(str(place))
            case _:
                raise AssertionError(f"nobody knows how to make {content}")


def seen() -> dict[str, tuple[int, int, int]]:
    """Everything below the working folder, so that what was changed or left behind is noticed."""
    facts = {str(path): path.lstat() for path in Path().rglob("*")}
    return {name: (fact.st_mode, fact.st_size, fact.st_mtime_ns) for name, fact in facts.items()}
