"""Wordings of errors stand in `sim/messages`: each is used, each is provoked by a test, and each says what it has to say.

By syntax tree: whoever makes an error gives it what a function of `sim/messages` returns. By calling each message with sample
values: it repeats what was given, swallows nothing, and says what is allowed or what to do. By running (slow): the tests of bad
input, with every message counting its calls.
"""

import ast
import importlib
import inspect
import os
import re
import subprocess
import sys
import typing
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "sim" / "messages"
SOURCES = sorted(
    path
    for package in ("sim", "dashboard")
    for path in (ROOT / package).rglob("*.py")
    if FOLDER not in path.parents and path != ROOT / "sim" / "errors.py"
)
AREAS = sorted(path.stem for path in FOLDER.glob("[!_]*.py"))

ERRORS = {
    node.name
    for node in ast.parse((ROOT / "sim" / "errors.py").read_text(encoding="utf-8")).body
    if isinstance(node, ast.ClassDef)
}
VALUE_ERRORS = ("sim/inputs/specs.py", "sim/units.py", "sim/inputs/sensors.py")  # their ValueErrors end up in a message


# ---------------------------------------------------------------- where errors are made


def message_modules(tree: ast.Module) -> dict[str, str]:
    """The names by which a file knows the modules of messages."""
    return {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == "sim.messages"
        for alias in node.names
    }


def makes_error(call: ast.Call, file: str) -> bool:
    """Whether a call makes one of our errors."""
    if isinstance(call.func, ast.Call):
        return isinstance(call.func.func, ast.Name) and call.func.func.id == "type"
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    return name in ERRORS or name == "error" or (name == "ValueError" and file in VALUE_ERRORS)


def is_wording(node: ast.expr) -> bool:
    """Whether an expression is words put together on the spot: a text with a blank in it, or an f-string."""
    literal = isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value
    return literal or isinstance(node, ast.JoinedStr)


def is_message(
    node: ast.expr | None, modules: Iterable[str], functions: dict[str, ast.FunctionDef], depth: int = 0
) -> bool:
    """Whether an expression is what a message function returns, if need be by way of a function of the same file."""
    if not isinstance(node, ast.Call) or depth > 3:
        return False
    if isinstance(node.func, ast.Attribute):
        worded = [entry.value for entry in node.keywords if is_wording(entry.value)]
        return isinstance(node.func.value, ast.Name) and node.func.value.id in modules and not worded
    between = functions.get(node.func.id) if isinstance(node.func, ast.Name) else None
    if between is None:
        return False
    returned = [inner.value for inner in ast.walk(between) if isinstance(inner, ast.Return)]
    return bool(returned) and all(is_message(value, modules, functions, depth + 1) for value in returned)


def own_wordings(source: str, file: str) -> list[str]:
    """Places where an error is made whose text does not come from a message function."""
    tree = ast.parse(source)
    modules = message_modules(tree)
    functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    found = []
    for node in ast.walk(tree):
        bare = node.exc if isinstance(node, ast.Raise) else None
        if isinstance(bare, ast.Name) and bare.id in ERRORS:
            found.append(f"{file}:{node.lineno}: raises {bare.id} without a message")
        if not isinstance(node, ast.Call) or not makes_error(node, file):
            continue
        if len(node.args) != 1 or node.keywords or not is_message(node.args[0], modules, functions):
            found.append(f"{file}:{node.lineno}: {ast.unparse(node)[:80]}")
    return found


def test_no_error_is_worded_where_it_is_raised():
    found = [
        place
        for path in SOURCES
        for place in own_wordings(path.read_text(encoding="utf-8"), path.relative_to(ROOT).as_posix())
    ]
    assert not found, "\n" + "\n".join(found)


WORDED = (
    'raise RouteError("no road")',
    'raise RouteError(f"{path}: no road")',
    'raise RouteError(roads.no_distance(where=path) + " at all")',
    'raise RouteError(roads.grade_number(text=text, problem="no number at all"))',
    'told = f"{path}"\nraise RouteError(told)',
    "raise RouteError",
    "raise RouteError()",
    'raise errors.RouteError("no road")',
    'raise type(problem)(f"{path}: {problem}") from None',
    'raise error(f"{path}: no road")',
    'def told():\n    return "no road"\n\n\nraise RouteError(told())',
    'raise ValueError("not a number")',
)
SAID = (
    "raise RouteError(roads.no_distance(where=path))",
    "raise type(problem)(roads.no_distance(where=path)) from None",
    "def told():\n    return roads.no_distance(where=path)\n\n\nraise RouteError(told())",
    "raise KeyError('x')",
    "raise",
)


def test_the_checker_tells_an_own_wording_from_a_message():
    head = "from sim.errors import RouteError\nfrom sim.messages import roads\n\n\n"
    for statement in WORDED:
        assert len(own_wordings(head + statement + "\n", "sim/units.py")) == 1, statement
    for statement in SAID:
        assert own_wordings(head + statement + "\n", "sim/units.py") == [], statement


# ---------------------------------------------------------------- the messages themselves

MODULES = {area: importlib.import_module(f"sim.messages.{area}") for area in AREAS}
MESSAGES: dict[str, Callable[..., str]] = {
    f"{area}.{name}": function
    for area, module in MODULES.items()
    for name, function in vars(module).items()
    if inspect.isfunction(function) and function.__module__ == module.__name__ and not name.startswith("_")
}

# they become part of a message, or pass one on, and leave the directions to it
PIECES = {
    "dyno.prediction_not_read", "browser.of_choice",
    "comparison.in_trip", "comparison.no_such_key", "faults.of_entry", "hidden.of_line", "files.missing",
    "running.interrupted", "running.refused", "settings.named_in_settings", "studies.bad_case", "studies.bad_value",
    "studies.refused_point", "studies.row_broken", "trucks.base_cannot_be_used", "values.as_change",
    "values.change_not_read", "values.do_not_fit", "values.not_a_number", "values.not_allowed", "values.several",
}  # fmt: skip

DIRECTIONS = re.compile(
    r"\ballowed is\b|\bmust\b|\bneeds?\b|\bneeded\b|\bat most\b|\bat least\b|\bmay (?:have|stand)\b|\b(?:are|is) called\b.*\bare\b"
    r"|\b(?:columns|keys|Tables|Roads|Trucks|Settings|Keys)\b(?: are|:)|\bDid you mean\b|\btakes no unit\b|\buse one of\b"
    r"|\b(?:give|name|write|add|change|leave|put|set|save|make|check|correct|remove|export|cut|split|sort|shorten|look|use|let"
    r"|vary|raise|start|install|move|upload)\b|--help|has gears \d",
    re.IGNORECASE,
)

TRACEBACK_WORDS = re.compile(
    r"Traceback|Errno|Exception|<class|object at 0x|NoneType|validation error|Input should be|\bFalse\b|\bTrue\b|\bNone\b|\{|\}"
)


def directs(message: str) -> bool:
    """Whether a message says what is allowed or what to do, beside what was given and the flag it was given by."""
    own_words = re.sub(r"given-\w+|(?:^|, )--(?:set|vary|out)\b", " ", message)
    return DIRECTIONS.search(own_words) is not None


def samples(function: Callable[..., str], other: str = "") -> dict[str, object]:
    """A value for each parameter, made from its type; for one of them another one."""
    values: dict[str, object] = {}
    for place, (name, kind) in enumerate(parameters_of(function).items()):
        changed = name == other
        if kind is bool:
            values[name] = changed
        elif kind is int:
            values[name] = (91 if changed else 51) + place
        elif kind is float:
            values[name] = (971.75 if changed else 431.25) + 3 * place
        elif typing.get_origin(kind) in (Sequence, Iterable):
            (item,) = typing.get_args(kind)
            count = 3 if changed else 2
            values[name] = (
                [f"{name}{n}other" if changed else f"{name}{n}" for n in range(count)]
                if item is str
                else [(7 if changed else 5) + place + n for n in range(count)]
            )
        else:
            text = f"{name}-other" if changed else f"given-{name}"
            values[name] = Path(text) if kind is Path else text
    return values


def parameters_of(function: Callable[..., str]) -> dict[str, object]:
    """Name and type of each parameter."""
    kinds = typing.get_type_hints(function)
    return {name: kinds[name] for name in inspect.signature(function).parameters}


def texts_in(value: object) -> list[str]:
    """The texts of a sample that must stand in a message."""
    if isinstance(value, list):
        return [text for item in value for text in texts_in(item)]
    return [str(value)] if isinstance(value, str | Path) else []


# words of other messages, or of our own
COMPOSED = {"message", "problem", "first", "meaning", "allowed", "expected", "otherwise"}
TEXTS = (str, object, Path, Path | str, str | Path)
ODD = "a\nb\x07c\u2028d\udc80" + "e" * 100_000  # whatever is given: a megabyte, a line break, a letter nobody can see

# parameters that do not stand in the message: tables are named when no known key is near
NOT_REPEATED = {("values.no_such_key", "tables")}


@pytest.mark.parametrize("name", sorted(set(MESSAGES) - {"values.several"}))
def test_a_message_says_what_was_given_and_what_to_do(name):
    function, kinds = MESSAGES[name], parameters_of(MESSAGES[name])
    for parameter in inspect.signature(function).parameters.values():
        assert (parameter.kind, parameter.default) == (parameter.KEYWORD_ONLY, parameter.empty), parameter
    docstring = function.__doc__ or ""
    assert docstring.endswith(".") and len(docstring.splitlines()) == 1, "one line says when it is said"
    given = samples(function)
    message = function(**given)
    assert message == message.strip() and len(message.splitlines()) == 1 and 3 < len(message) <= 600, message
    assert not TRACEBACK_WORDS.search(message), message
    assert "  " not in message and ".." not in message.replace("...", ""), message
    assert name in PIECES or directs(message), f"no direction in: {message}"
    for parameter, kind in kinds.items():
        if (name, parameter) in NOT_REPEATED:
            continue
        if kind not in (int, float, bool):
            assert not [text for text in texts_in(given[parameter]) if text not in message], f"{parameter}: {message}"
        assert function(**samples(function, parameter)) != message, f"{parameter} does not matter in: {message}"
        if kind in TEXTS and parameter not in COMPOSED:
            told = function(**{**given, parameter: Path(ODD) if kind is Path else ODD})
            times = max(message.count(str(given[parameter])), 1)
            assert len(told) < len(message) + 200 * times and told.isprintable(), f"{parameter}: {told[:300]!r}"


def test_messages_whose_words_depend_on_what_there_is():
    message = MESSAGES["values.no_such_key"](where="x=1", key="x", near=[], tables=["engine", "weather"])
    assert message == 'x=1: no key is called "x". Keys are table.key with the tables engine, weather.'
    told = MESSAGES["values.several"](sentences=(f"sentence {number}" for number in range(9)))
    assert told.splitlines() == [f"sentence {number}" for number in range(5)]


def test_the_directions_do_not_fit_anything():
    for lame in ("given-where: is wrong", "given-where: cannot be read (given-reason)", "given-change: is wrong"):
        assert not directs(lame) and directs(f"{lame}; name another one")


def uses() -> set[str]:
    """Messages that are used outside their own module, as `area.name`."""
    found = set()
    for path in [*SOURCES, *FOLDER.glob("*.py")]:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = message_modules(tree)
        found |= {
            f"{names[node.func.value.id]}.{node.func.attr}"
            for node in ast.walk(tree)
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id in names
        }
    return found


def test_every_message_is_used_and_every_use_is_a_message():
    used = uses()
    assert not set(MESSAGES) - used, f"never said: {sorted(set(MESSAGES) - used)}"
    assert not used - set(MESSAGES), f"not there: {sorted(used - set(MESSAGES))}"


def test_messages_load_nothing_heavy():
    names = ", ".join(AREAS)
    code = f"import sys; from sim.messages import {names}; print([m for m in sys.modules if m.split('.')[0] in HEAVY])"
    heavy = "HEAVY = {'numpy', 'numba', 'pydantic', 'scipy', 'pandas', 'simpy', 'gpxpy', 'plotly'}; "
    run = subprocess.run([sys.executable, "-c", heavy + code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


# ---------------------------------------------------------------- cases

PYTEST = [sys.executable, "-m", "pytest", "-o", "addopts=-p no:dash"]

# tests that give the program something bad
PROVOKING = (
    "tests/bad_input", "tests/behaviour/test_bad_input.py", "tests/behaviour/test_kept_code.py",
    "tests/behaviour/test_track_import.py", "tests/behaviour/test_settings_files.py",
    "tests/behaviour/test_compare.py::test_what_makes_no_sense_is_one_message_before_any_trip",
    "tests/kernel/test_clock.py::test_too_many_watch_points_are_refused_in_words", "tests/kernel/test_numbers.py",
    "tests/behaviour/test_bounds_of_values.py", "tests/behaviour/test_cost.py",
    "tests/behaviour/test_pool.py::test_a_closed_pool_says_so",
    "tests/behaviour/test_pool.py::test_a_job_that_always_kills_its_worker_is_refused",
    "tests/behaviour/test_pool.py::test_a_job_over_its_time_ends_with_its_worker_and_its_neighbour_never_notices",
    "tests/laws/test_safe_speed.py",
    "tests/behaviour/test_sensors.py::test_a_text_that_cannot_be_read_says_what_can",
    "tests/behaviour/test_speedo.py", "tests/behaviour/test_knobs.py", "tests/behaviour/test_hidden.py",
    "tests/studies", "tests/dyno",
    "tests/dashboard/test_server.py", "tests/dashboard/test_study_desk.py", "tests/behaviour/test_messages_said.py",
    "tests/dashboard/test_workshop.py", "tests/dashboard/test_dyno_page.py", "tests/dashboard/test_fault_desk.py",
    "tests/dashboard/test_identity.py", "tests/dashboard/test_keeping.py",
    "tests/dashboard/test_speedometer_page.py", "tests/dashboard/test_serve_command.py",
    "tests/dashboard/test_gearing_and_roads.py", "tests/behaviour/test_road_facts.py",
)  # fmt: skip

COUNTER = """
import functools, importlib, inspect
said, names = set(), set({names})

def counting(function, full):
    @functools.wraps(function)
    def counted(*placed, **given):
        said.add(full)
        return function(*placed, **given)
    return counted

for full in names:
    area, _, name = full.partition(".")
    module = importlib.import_module(f"sim.messages.{{area}}")
    setattr(module, name, counting(getattr(module, name), full))

def pytest_sessionfinish():
    print("\\nsaid:", len(said), "never said:", *sorted(names - said))
"""


@pytest.mark.slow
def test_every_message_is_provoked_by_bad_input(tmp_path):
    (tmp_path / "counts_messages.py").write_text(COUNTER.format(names=sorted(MESSAGES)), encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(tmp_path)])}
    command = [*PYTEST, "-q", "-p", "counts_messages", "-k", "not (killed_at_any_moment or path)", *PROVOKING]
    run = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout[-3000:]
    last = next(line for line in run.stdout.splitlines() if line.startswith("said:"))
    assert last == f"said: {len(MESSAGES)} never said:", last
