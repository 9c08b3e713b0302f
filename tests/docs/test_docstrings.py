"""Every docstring of `sim` and `dashboard` says what the code says: names in order, a unit for each, and examples that run.

The sources are read as syntax trees, so a compiled function is seen as it is written. The last tests feed the checker
faulty sources, so that a checker gone blind is noticed.
"""

import ast
import contextlib
import doctest
import importlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(path for package in ("sim", "dashboard") for path in (ROOT / package).rglob("*.py"))
NAMES = [path.relative_to(ROOT).as_posix() for path in FILES]
MAY_BE_UNFINISHED = ("sim/actors/", "sim/command/")  # left out only while they cannot be imported

SECTIONS = ("Parameters", "Returns", "Yields", "Raises", "Notes", "References", "Examples")
RANKS = dict(zip(SECTIONS, (0, 1, 1, 2, 3, 4, 5), strict=True))  # Returns and Yields either way round
UNIT_AT_END = re.compile(r"\[[^\[\]\s][^\[\]]*\]$")
PROPERTY_MARKS = {"property", "cached_property"}
MESSAGES = "sim/messages/"  # one line says when a message is said; tests/docs/test_messages.py holds the rest
VALIDATOR_MARKS = {"model_validator", "field_validator", "field_serializer", "model_serializer", "validator"}
MODEL_BASES = {"BaseModel", "NamedTuple", "Part"}

Function = ast.FunctionDef | ast.AsyncFunctionDef


# ---------------------------------------------------------------- reading a docstring


@dataclass(frozen=True)
class Entry:
    """One `name : type` of a section with its description on one line."""

    names: tuple[str, ...]
    kind: str
    description: str


def sections_of(docstring: str) -> tuple[list[tuple[str, list[str]]], list[str]]:
    """Sections of a numpy-style docstring in order, and what is wrong with their underlines."""
    lines = docstring.splitlines()
    found: list[tuple[str, list[str]]] = []
    problems = []
    for place, line in enumerate(lines):
        under = lines[place + 1] if place + 1 < len(lines) else ""
        if line and re.fullmatch(r"-{3,}", under):
            if len(under) != len(line):
                problems.append(f"the line under {line} must have {len(line)} dashes")
            if line not in SECTIONS:
                problems.append(f'"{line}" is no section; sections are {", ".join(SECTIONS)}')
            found.append((line, []))
        elif line in SECTIONS:
            problems.append(f"{line} has no line of dashes under it")
        elif found and not re.fullmatch(r"-{3,}", line):
            found[-1][1].append(line)
    return found, problems


def entries_of(lines: list[str]) -> list[Entry]:
    """The entries of a Parameters, Returns or Yields section."""
    entries: list[Entry] = []
    for line in lines:
        if not line.strip():
            continue
        if not line.startswith(" "):
            names, _, kind = line.partition(" : ")
            entries.append(Entry(tuple(name.strip() for name in names.split(",")), kind, ""))
        elif entries:
            last = entries[-1]
            entries[-1] = Entry(last.names, last.kind, f"{last.description} {line.strip()}".strip())
    return entries


# ---------------------------------------------------------------- reading the code


def marks_of(node: Function | ast.ClassDef) -> set[str]:
    """Names of the decorators of a function or class, without their arguments and modules."""
    marks = set()
    for mark in node.decorator_list:
        bare = mark.func if isinstance(mark, ast.Call) else mark
        marks.add(bare.attr if isinstance(bare, ast.Attribute) else bare.id if isinstance(bare, ast.Name) else "")
    return marks


def own_nodes(node: Function) -> Iterator[ast.AST]:
    """Every node of a function's body, but not of functions and classes written inside it."""
    waiting: list[ast.AST] = list(node.body)
    while waiting:
        here = waiting.pop()
        yield here
        if not isinstance(here, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Lambda):
            waiting.extend(ast.iter_child_nodes(here))


def signature_of(node: Function, method: bool) -> list[str]:
    """Names of the arguments in order, without self or cls."""
    given = node.args
    names = [argument.arg for argument in given.posonlyargs + given.args]
    if method and "staticmethod" not in marks_of(node):
        names = names[1:]
    names += [f"*{given.vararg.arg}"] if given.vararg else []
    names += [argument.arg for argument in given.kwonlyargs]
    return names + ([f"**{given.kwarg.arg}"] if given.kwarg else [])


def gives_back(node: Function) -> str:
    """Section in which a function says what it gives: Yields, Returns, or "" when it gives nothing."""
    nodes = list(own_nodes(node))
    if any(isinstance(here, ast.Yield | ast.YieldFrom) for here in nodes):
        return "Yields"
    values = [here.value for here in nodes if isinstance(here, ast.Return) and here.value is not None]
    return "Returns" if any(ast.unparse(value) != "None" for value in values) else ""


def promised_count(node: Function) -> int | None:
    """How many values the annotation `tuple[A, B]` promises; None where it does not say."""
    promise = node.returns
    if not isinstance(promise, ast.Subscript) or ast.unparse(promise.value) != "tuple":
        return None
    inside = promise.slice.elts if isinstance(promise.slice, ast.Tuple) else [promise.slice]
    return None if any(ast.unparse(item) == "..." for item in inside) else len(inside)


def is_model(node: ast.ClassDef) -> bool:
    """True for named tuples and validated models: their fields carry their own meaning."""
    bases = {base.attr if isinstance(base, ast.Attribute) else getattr(base, "id", "") for base in node.bases}
    return bool(bases & MODEL_BASES)


def fields_of(node: ast.ClassDef) -> list[str]:
    """Fields a dataclass is made from, in order."""
    names = []
    for item in node.body:
        if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
            given = item.value.keywords if isinstance(item.value, ast.Call) else []
            later = any(part.arg == "init" and ast.unparse(part.value) == "False" for part in given)
            if not later and "ClassVar" not in ast.unparse(item.annotation):
                names.append(item.target.id)
    return names


# ---------------------------------------------------------------- the rules


def problems_with_entries(title: str, entries: list[Entry]) -> list[str]:
    """Entries without a unit in brackets at their end."""
    problems = [] if entries else [f"{title} is empty"]
    for entry in entries:
        if not UNIT_AT_END.search(entry.description):
            problems.append(f"{title}: {', '.join(entry.names)} has no [unit] at the end of its description")
    return problems


def problems_with_names(title: str, entries: list[Entry], expected: list[str]) -> list[str]:
    """Parameters that are not those of the signature, in order; the stars before a name may be left out."""
    documented = [name for entry in entries for name in entry.names]
    if [name.lstrip("*") for name in documented] != [name.lstrip("*") for name in expected]:
        return [f"{title} are ({', '.join(documented)}), the code has ({', '.join(expected)})"]
    return []


def problems_with_shape(docstring: str) -> tuple[dict[str, list[str]], list[str]]:
    """Sections by title, and faults of summary, underlines, repeats and order."""
    sections, problems = sections_of(docstring)
    summary = docstring.splitlines()[0]
    if not summary.strip() or not summary.rstrip().endswith((".", "?", "!", "]")):
        problems.append("the first line is not a sentence")
    titles = [title for title, _ in sections if title in SECTIONS]
    if len(set(titles)) != len(titles):
        problems.append("a section stands twice")
    if titles != sorted(titles, key=RANKS.__getitem__):
        problems.append(f"sections stand as {', '.join(titles)}; the order is {', '.join(SECTIONS)}")
    return dict(sections), problems


def problems_of_function(node: Function, method: bool) -> list[str]:
    """What is wrong with the docstring of one function or method."""
    docstring = ast.get_docstring(node)
    marks = marks_of(node)
    private = node.name.startswith("_")
    if private and node.name.endswith("__"):
        return []
    if not docstring:
        return ["has no docstring"]
    if private or marks & VALIDATOR_MARKS or "overload" in marks or "setter" in marks:
        return []
    if marks & PROPERTY_MARKS:
        united = UNIT_AT_END.search(docstring.splitlines()[0])
        return [] if united else ["property: its first line does not end with a [unit]"]
    sections, problems = problems_with_shape(docstring)
    expected = signature_of(node, method)
    if "Parameters" in sections:
        entries = entries_of(sections["Parameters"])
        problems += problems_with_names("Parameters", entries, expected) + problems_with_entries("Parameters", entries)
    elif expected:
        problems.append(f"has no Parameters, but takes {', '.join(expected)}")
    gives = gives_back(node)
    if gives and not ({"Returns", "Yields"} & set(sections)):
        problems.append(f"gives something back, but has no {gives}")
    if not gives and "Returns" in sections:
        problems.append("has Returns, but gives nothing back")
    for title in ("Returns", "Yields"):
        if title in sections:
            entries = entries_of(sections[title])
            problems += problems_with_entries(title, entries)
            count = promised_count(node) if title == "Returns" else None
            one_tuple = len(entries) == 1 and entries[0].kind.startswith("tuple")
            if count is not None and not one_tuple and sum(len(entry.names) for entry in entries) != count:
                problems.append(f"Returns names {len(entries)} values, the annotation promises {count}")
    if "compiled" in marks and "Raises" in sections:
        problems.append("is compiled and cannot raise, but has Raises")
    return problems


def problems_of_class(node: ast.ClassDef) -> list[str]:
    """What is wrong with the docstring of a class; its methods are looked at one by one elsewhere."""
    docstring = ast.get_docstring(node)
    if not docstring:
        return ["has no docstring"]
    if node.name.startswith("_") or is_model(node):
        return []
    sections, problems = problems_with_shape(docstring)
    entries = entries_of(sections["Parameters"]) if "Parameters" in sections else []
    maker = next((item for item in node.body if isinstance(item, ast.FunctionDef) and item.name == "__init__"), None)
    if "dataclass" in marks_of(node):
        expected = fields_of(node)
    else:
        expected = signature_of(maker, method=True) if maker else []
    if "Parameters" in sections:
        problems += problems_with_names("Parameters", entries, expected) + problems_with_entries("Parameters", entries)
    elif maker is not None and expected:
        inside, _ = sections_of(ast.get_docstring(maker) or "")
        own = entries_of(dict(inside).get("Parameters", []))
        if not own:
            problems.append(f"has no Parameters, but is made from {', '.join(expected)}")
        else:
            problems += problems_with_names("Parameters", own, expected) + problems_with_entries("Parameters", own)
    return problems


def documented_nodes(tree: ast.Module) -> Iterator[tuple[str, Function | ast.ClassDef, bool]]:
    """Functions and classes of a module and their methods: full name, node, is it a method."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node.name, node, False
        if isinstance(node, ast.ClassDef):
            yield node.name, node, False
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef):
                    yield f"{node.name}.{inner.name}", inner, True


def problems_of_source(source: str, name: str) -> list[str]:
    """Everything wrong with the docstrings of one file, one line each, with file and line."""
    tree = ast.parse(source)
    found = [] if ast.get_docstring(tree) or not tree.body else [f"{name}:1: the module has no docstring"]
    for full_name, node, method in documented_nodes(tree):
        if isinstance(node, ast.ClassDef):
            problems = problems_of_class(node)
        elif name.startswith(MESSAGES):
            problems = [] if ast.get_docstring(node) else ["has no docstring"]
        else:
            problems = problems_of_function(node, method)
        found += [f"{name}:{node.lineno}: {full_name}: {problem}" for problem in problems]
    return found


def examples_of_source(source: str, name: str) -> list[doctest.DocTest]:
    """The examples of one file, not yet tied to the names of its module."""
    tree = ast.parse(source)
    holders: list[tuple[str, ast.Module | Function | ast.ClassDef]] = [(name, tree)]
    holders += [(f"{name}: {full_name}", node) for full_name, node, _ in documented_nodes(tree)]
    parser, tests = doctest.DocTestParser(), []
    for title, node in holders:
        text = ast.get_docstring(node)
        test = parser.get_doctest(text or "", {}, title, name, getattr(node, "lineno", 0))
        if test.examples:
            tests.append(test)
    return tests


def failed_examples(source: str, name: str, names_in_module: dict[str, object]) -> list[str]:
    """Runs the examples of one file; the report of each that fails."""
    failures = []
    for test in examples_of_source(source, name):
        test.globs = dict(names_in_module)
        report = io.StringIO()
        with contextlib.redirect_stdout(io.StringIO()):
            result = doctest.DocTestRunner(verbose=False).run(test, out=report.write)
        if result.failed:
            failures.append(report.getvalue())
    return failures


def import_of(name: str) -> object:
    """The module of a file; skips the test for a package that is allowed to be unfinished."""
    module = name.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    if not name.startswith(MAY_BE_UNFINISHED):
        return importlib.import_module(module)
    try:
        return importlib.import_module(module)
    except (ImportError, SyntaxError, NameError, AttributeError) as problem:
        pytest.skip(f"{name} cannot be imported: {problem!r}")


# ---------------------------------------------------------------- the tests


def test_the_whole_model_is_read():
    named = {
        "sim/units.py",
        "sim/march/plant.py",
        "sim/march/kernel.py",
        "sim/laws/engine.py",
        "dashboard/trip/figures.py",
    }
    assert named <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_docstrings_say_what_the_code_says(name):
    import_of(name)
    problems = problems_of_source((ROOT / name).read_text(encoding="utf-8"), name)
    assert not problems, "\n" + "\n".join(problems)


@pytest.mark.parametrize("name", NAMES)
def test_examples_run(name):
    source = (ROOT / name).read_text(encoding="utf-8")
    failures = failed_examples(source, name, vars(import_of(name)))
    assert not failures, "\n".join(failures)


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("sim/laws/") and "__init__" not in name])
def test_every_law_shows_an_example(name):
    source = (ROOT / name).read_text(encoding="utf-8")
    shown = {test.name.rpartition(": ")[2] for test in examples_of_source(source, name)}
    functions = [node for node in ast.parse(source).body if isinstance(node, ast.FunctionDef)]
    laws = {node.name for node in functions if "compiled" in marks_of(node)}
    assert laws, f"{name} holds no law"
    assert not laws - shown, f"{name}: no example for {', '.join(sorted(laws - shown))}"


# ---------------------------------------------------------------- the checker itself

SOUND = '''"""A module."""


def force(mass, acceleration):
    """Force that accelerates a mass.

    Parameters
    ----------
    mass : float
        Of the body. [kg]
    acceleration : float
        Along the road,
        positive forwards. [m/s²]

    Returns
    -------
    force : float
        [N]

    Examples
    --------
    >>> force(2.0, 3.0)
    6.0
    """
    return mass * acceleration
'''

FAULTS = [
    ("    mass : float", "    weight : float", "the code has (mass, acceleration)"),
    ("mass, acceleration):", "acceleration, mass):", "the code has (acceleration, mass)"),
    ("Of the body. [kg]", "Of the body.", "mass has no [unit]"),
    ("Of the body. [kg]", "Of the body. [kg] At rest.", "mass has no [unit]"),
    ("positive forwards. [m/s²]", "positive forwards.", "acceleration has no [unit]"),
    ("        [N]\n", "        Of the hand.\n", "Returns: force has no [unit]"),
    ("    Returns\n    -------\n    force : float\n        [N]\n\n", "", "has no Returns"),
    ("    Returns\n    -------\n", "    Returns\n    ----\n", "must have 7 dashes"),
    ("    Returns\n    -------\n", "    Results\n    -------\n", '"Results" is no section'),
    ("Force that accelerates a mass.", "Force that accelerates", "is not a sentence"),
    ("    return mass * acceleration", "    mass * acceleration", "gives nothing back"),
    ('"""A module."""', "", "the module has no docstring"),
    ("def force(mass, acceleration)", "def force(mass, acceleration, *more)", "acceleration, *more"),
    ("def force(mass, acceleration)", "def force(mass, acceleration) -> tuple[float, float]", "promises 2"),
    ("    Returns\n", "    Notes\n    -----\n    None.\n\n    Returns\n", "the order is"),
]


def test_the_checker_accepts_a_sound_source():
    assert problems_of_source(SOUND, "sound.py") == []
    assert failed_examples(SOUND, "sound.py", {"force": lambda mass, acceleration: mass * acceleration}) == []


@pytest.mark.parametrize(("sound", "faulty", "complaint"), FAULTS, ids=[fault[2] for fault in FAULTS])
def test_the_checker_finds_a_fault(sound, faulty, complaint):
    assert SOUND.count(sound) == 1
    problems = problems_of_source(SOUND.replace(sound, faulty), "faulty.py")
    assert all(problem.startswith("faulty.py:") for problem in problems)
    assert any(complaint in problem for problem in problems), problems


PARTLY_DOCUMENTED = """
@dataclass
class A:
    \"\"\"One.

    Parameters
    ----------
    x : float
        [m]
    \"\"\"

    x: float
    y: float
    z: float = field(init=False)
"""

COMPILED_THAT_RAISES = """
@compiled
def f():
    \"\"\"Does.

    Raises
    ------
    ValueError
        Always.
    \"\"\"
"""

MISSING_PARTS = [
    ("def f():\n    pass\n", "f: has no docstring"),
    ("def _f():\n    pass\n", "_f: has no docstring"),
    ("class A:\n    pass\n", "A: has no docstring"),
    ('def f(x):\n    """Does."""\n', "f: has no Parameters, but takes x"),
    ('def f():\n    """Does."""\n    yield 1\n', "f: gives something back, but has no Yields"),
    ('class A:\n    """One."""\n\n    @property\n    def p(self):\n        """Mass."""\n', "A.p: property"),
    ('class A:\n    """One."""\n\n    def __init__(self, x):\n        self.x = x\n', "is made from x"),
    ('class A:\n    """One."""\n\n    def f(self, x):\n        """Does."""\n', "A.f: has no Parameters, but takes x"),
    (PARTLY_DOCUMENTED, "A: Parameters are (x), the code has (x, y)"),
    (COMPILED_THAT_RAISES, "f: is compiled and cannot raise"),
]


@pytest.mark.parametrize(("source", "complaint"), MISSING_PARTS, ids=[part[1] for part in MISSING_PARTS])
def test_the_checker_finds_a_missing_part(source, complaint):
    problems = problems_of_source(f'"""A module."""\n\n\n{source}', "faulty.py")
    assert len(problems) == 1, problems
    assert complaint in problems[0]


def test_the_checker_finds_an_example_that_lies():
    failures = failed_examples(SOUND, "faulty.py", {"force": lambda mass, acceleration: mass + acceleration})
    assert len(failures) == 1
    assert "Expected:\n    6.0" in failures[0]
