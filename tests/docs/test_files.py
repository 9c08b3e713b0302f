"""Files that a person names are read by `sim/reading.py` and written by `sim/writing.py`, and nowhere else.

By syntax tree: every call in `sim` that opens, reads, writes or moves a file is named, unless a row of `ELSEWHERE` says why it may.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

# what opens, reads, writes or moves a file: methods of any object, and functions by their whole name
METHODS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "rename", "touch", "symlink_to", "hardlink_to",
    "read_table", "write_table", "ParquetFile", "ParquetWriter", "read_csv", "to_csv", "loadtxt", "genfromtxt", "savetxt",
    "fromfile", "tofile",
}  # fmt: skip
FUNCTIONS = {
    "open", "os.fdopen", "os.replace", "os.rename", "os.link", "os.symlink", "shutil.move", "shutil.copy", "shutil.copyfile",
    "shutil.copytree", "np.load", "json.load", "tomllib.load", "pickle.load", "sqlite3.connect", "mkdtemp", "mkstemp",
    "tempfile.mkdtemp", "tempfile.mkstemp", "tempfile.mktemp", "tempfile.TemporaryFile", "tempfile.NamedTemporaryFile",
    "tempfile.TemporaryDirectory", "NamedTemporaryFile", "TemporaryFile", "TemporaryDirectory",
}  # fmt: skip

# file -> calls that may stand in it, and why
ELSEWHERE: dict[str, tuple[set[str], str]] = {
    "sim/reading.py": ({"os.open"}, "this is where files are read"),
    "sim/writing.py": ({"os.open", "os.fdopen", "os.replace"}, "this is where files are written"),
    "sim/compiled.py": ({"path.read_bytes"}, "the sources of this package"),
    "sim/own_folder.py": ({"tempfile.mkdtemp", "tempfile.TemporaryFile"}, "a folder for compiled code, and a trial of it"),
    "sim/bus.py": ({"(FOLDER / name).open"}, "data of this package"),
    "sim/checks/__init__.py": ({"(Path(__file__).parent / name).open"}, "data of this package"),
    "sim/wording.py": ({"(FOLDER / f'{language}.toml').open", "tomllib.load"}, "data of this package"),
    "sim/command/folder.py": ({"os.replace"}, "puts what was written beside in its place"),
    "sim/command/serving.py": ({"webbrowser.open"}, "opens no file"),
    "sim/studies/journal.py": ({"sqlite3.connect", "os.link", "os.replace"}, "finished trips; a damaged file of them is put aside"),
    "sim/studies/catalogue.py": ({"sqlite3.connect"}, "the list of studies"),
    "sim/studies/runner.py": ({"mkdtemp"}, "a folder for a study that keeps nothing"),
    "sim/studies/plan.py": ({"pyarrow.parquet.write_table"}, "into memory"),
    "sim/studies/table.py": (
        {"pyarrow.parquet.read_table", "pyarrow.parquet.ParquetWriter", "writer.write_table"},
        "the table of a study: read right after it was written, and written into a file of sim/writing.py",
    ),
}  # fmt: skip


def direct_calls(source: str) -> Iterator[tuple[int, str]]:
    """Line and name of every call that opens, reads, writes or moves a file."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func)
        last = name.rpartition(".")[2]
        if name in FUNCTIONS or (last in METHODS and last != name):
            yield node.lineno, name


def offenders(root: Path) -> list[str]:
    """Calls that no row allows."""
    found = []
    for path in sorted((root / "sim").rglob("*.py")):
        file = path.relative_to(root).as_posix()
        allowed = ELSEWHERE.get(file, (set(), ""))[0]
        found += [
            f"{file}:{line}: {name}"
            for line, name in direct_calls(path.read_text(encoding="utf-8"))
            if name not in allowed
        ]
    return found


def test_files_are_read_and_written_in_one_place():
    found = offenders(ROOT)
    assert not found, "use sim/reading.py or sim/writing.py:\n" + "\n".join(found)


def test_every_row_is_needed():
    for file, (names, _) in ELSEWHERE.items():
        there = {name for _, name in direct_calls((ROOT / file).read_text(encoding="utf-8"))}
        assert names <= there, f"{file}: {sorted(names - there)} is not called any more"


@pytest.mark.parametrize(
    "statement",
    [
        "open(name)",
        "Path(name).open()",
        "Path(name).read_text(encoding='utf-8')",
        "file.read_bytes()",
        "io.open(name)",
        "os.open(name, os.O_RDONLY)",
        "tomllib.load(file)",
        "json.load(file)",
        "np.load(name)",
        "place.write_text('x')",
        "os.replace(one, other)",
        "tempfile.mkstemp()",
        "sqlite3.connect(place)",
    ],
)
def test_the_checker_names_an_offender(tmp_path, statement):
    (tmp_path / "sim").mkdir()
    (tmp_path / "sim" / "route.py").write_text(f"def f(name):\n    return {statement}\n", encoding="utf-8")
    (found,) = offenders(tmp_path)
    assert found.startswith("sim/route.py:2: ")


def test_the_checker_lets_texts_be_replaced(tmp_path):
    (tmp_path / "sim").mkdir()
    (tmp_path / "sim" / "route.py").write_text("'a'.replace('a', 'b')\ntomllib.loads('a = 1')\n", encoding="utf-8")
    assert offenders(tmp_path) == []
