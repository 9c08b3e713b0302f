"""What DEVELOPERS.md says of the house is so: its rooms, the files it names, and where a question is answered."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
MAP = TEXT[TEXT.index("## Map") : TEXT.index("| where |")]
QUOTED = re.compile(r"`([^`]+)`")
ANSWERS = re.findall(r"^\| (.+?) \| (.+?) \| (.+) \|$", TEXT, re.MULTILINE)[1:]  # below the head


def names_in(file: str) -> set[str]:
    """What a file defines, and the texts in it that are one word: keys of a summary, names of events."""
    found = set()
    for node in ast.walk(ast.parse((ROOT / file).read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.alias):
            found.add(node.name)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.add(node.id)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
    return found


@pytest.mark.parametrize(("question", "files", "things"), ANSWERS, ids=[question for question, _, _ in ANSWERS])
def test_the_answer_stands_in_the_file(question, files, things):
    files, things = QUOTED.findall(files), QUOTED.findall(things)
    there = [names_in(file) for file in files]
    assert files and things and len(there) <= len(things)
    for thing in things:
        assert any(thing in names for names in there), f"{thing} is not in {files}"
    for file, names in zip(files, there, strict=True):
        assert set(things) & names, f"nothing of {things} is in {file}"


def test_the_questions_of_a_maintainer_are_there():
    assert len(ANSWERS) == 10
    from sim.trips.result import BRAKE_LIMIT_C

    assert BRAKE_LIMIT_C == 260.0  # as the question has it


def test_the_map_has_every_room_and_nothing_else():
    for part in ("sim", "dashboard"):
        block = re.search(rf"^    {part}/.*?(?=^    \S|\Z)", MAP, re.MULTILINE | re.DOTALL)[0]
        mapped = {name for name in re.findall(r"^      (\w+)/", block, re.MULTILINE) if name != "X"}
        if part == "dashboard":
            mapped |= set(re.search(r"X/ +a page: ([\w, ]+)\.", block)[1].split(", "))
        rooms = {path.name for path in (ROOT / part).iterdir() if path.is_dir() and not path.name.startswith("_")}
        assert mapped == rooms - {"pictures"}
        alone = {path.name for path in (ROOT / part).glob("*.py")} - {"__init__.py"}
        assert alone <= set(re.findall(r"\w+\.py", block))


def test_every_file_that_is_named_is_there():
    named = {
        name
        for name in QUOTED.findall(TEXT)
        if re.fullmatch(r"[\w./-]+", name)
        and (name.endswith((".py", ".csv", ".js", ".md")) or name.startswith(("sim/", "dashboard/", "tests/")))
    }
    assert len(named) > 30
    missing = [name for name in named if not (ROOT / name).exists() and not any(ROOT.glob(f"*/**/{name}"))]
    assert not missing, missing
