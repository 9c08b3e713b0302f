"""Docstrings say something: a unit beside every number of a law, no entry that only repeats a name, and examples that run.

That a docstring is there, and names nothing the code has not, is a rule of the linter in pyproject.toml.
"""

import ast
import doctest
import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = [ROOT / "haulbench.py", *sorted(path for part in ("sim", "dashboard") for path in (ROOT / part).rglob("*.py"))]
NAMES = [path.relative_to(ROOT).as_posix() for path in FILES]
ENTRY = re.compile(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*)(?: : .*)?\n((?: +\S.*\n?)*)", re.MULTILINE)
UNIT = re.compile(r"\[[^\[\]\s][^\[\]]*\]$")


def entries_of(docstring: str) -> list[tuple[str, str]]:
    """Names and description of every entry of parameters and of what is given back."""
    found = []
    for section in re.findall(
        r"^(?:Parameters|Returns|Yields)\n-+\n(.*?)(?=\n\n|\Z)", docstring, re.MULTILINE | re.DOTALL
    ):
        found += [(names, " ".join(text.split())) for names, text in ENTRY.findall(section + "\n")]
    return found


def documented(source: str) -> list[tuple[ast.FunctionDef | ast.ClassDef, str]]:
    """Functions and classes with their docstrings."""
    nodes = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.ClassDef)]
    return [(node, ast.get_docstring(node) or "") for node in nodes]


def problems_of(source: str, law: bool) -> list[str]:
    """Entries that say nothing; in a law, also numbers without a unit and arguments or results without an entry."""
    found = []
    for node, docstring in documented(source):
        entries = entries_of(docstring)
        wanting = [names for names, text in entries if not (text if law else UNIT.sub("", text) or UNIT.search(text))]
        found += [f"{node.name}: {names} says nothing" for names in wanting]
        if not law or not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        found += [f"{node.name}: {names} has no unit" for names, text in entries if not UNIT.search(text)]
        named = {name.strip() for names, _ in entries for name in names.split(",")}
        found += [f"{node.name}: {each.arg} has no entry" for each in node.args.args if each.arg not in named]
        if "Returns\n-" not in docstring and any(
            isinstance(each, ast.Return) and each.value for each in ast.walk(node)
        ):
            found.append(f"{node.name}: nothing says what it gives back")
    return found


@pytest.mark.parametrize("name", NAMES)
def test_docstrings_say_something_and_examples_run(name):
    problems = problems_of((ROOT / name).read_text(encoding="utf-8"), name.startswith("sim/laws/"))
    assert not problems, "\n".join(problems)
    module = importlib.import_module(name.removesuffix(".py").replace("/", ".").removesuffix(".__init__"))
    assert doctest.testmod(module).failed == 0


LAW = '''
def force(mass, acceleration):
    """Newton.

    Parameters
    ----------
    mass : float
        [kg]
    acceleration : float
        [m/s2]

    Returns
    -------
    force : float
        [N]
    """
    return mass * acceleration
'''


@pytest.mark.parametrize(
    ("sound", "faulty", "complaint"),
    [
        ("        [kg]\n", "", "mass says nothing"),
        ("[m/s2]", "Of the truck.", "acceleration has no unit"),
        ("    mass : float\n        [kg]\n", "", "mass has no entry"),
        ("    Returns\n    -------\n    force : float\n        [N]\n", "", "gives back"),
    ],
)
def test_a_law_that_does_not_say_its_units_is_named(sound, faulty, complaint):
    assert problems_of(LAW, law=True) == []
    assert any(complaint in problem for problem in problems_of(LAW.replace(sound, faulty), law=True))


def test_the_laws_have_examples_that_are_looked_at():
    count = sum(">>>" in path.read_text(encoding="utf-8") for path in FILES)
    assert count > 30
