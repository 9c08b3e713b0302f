"""Every constant and every computing line of the model, made wrong one after the other, and who notices.

`python tests/published/mutants.py [FILE ...]` tries all mutants of the files, or of all of `FILES`, and writes `mutants.csv` as
it goes: what stands there already is not tried again, unless its judge is gone or `--again` says so; `--unnoticed` tries
again what nothing noticed and has no reason yet.

As in `test_mutations`, in one process of plain Python. A mutant is other code in the same function, so that whoever holds the
function runs it. Judges are the rows of the published checks and tests that pytest has collected. Each is run once on the sound
model, which tells how long it takes and which functions it calls; a mutant is put before those that call it, the quick ones
first, until one fails. What no judge notices stands in the file with its reason.

What is made wrong:

- a number that computes, times 1.03. Not 0 and 1; not whole numbers, which count, point or are a power; not a half against
  which a flag or a mode is compared; nothing up to 1e-5, which is a tolerance of rounding.
- a line that computes, which is an assignment or a return with arithmetic or a call on its right, times 1.03. Not where the
  right side is a truth, a flag (`1.0 if ... else 0.0`), a whole number, or several values of one call.
- the same line with its first + and - exchanged, or with its sign turned where it has none.
"""

import ast
import contextlib
import copy
import csv
import hashlib
import importlib
import json
import os
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

import pytest
from test_wrong_trips import made_wrong

ROOT = Path(__file__).resolve().parents[2]
RESULT = Path(__file__).with_suffix(".csv")
LAWS_AND_PLANT = (
    *sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "sim" / "laws").glob("[!_]*.py")),
    *(f"sim/march/{name}.py" for name in ("plant", "air_path", "heat")),
)
FILES = (*LAWS_AND_PLANT, *(f"sim/march/{name}.py" for name in ("contacts", "controller", "seat", "kernel")))
FACTOR = 1.03
HALVES = {0.5, 1.5, 2.5, 3.5}
ROUNDING = 1.0e-5
ANSWER = "answer: "  # the line that whoever asked is to read
NOTHING, NOT_RUN = "nothing", "not run"
SAMPLE, SEED = 150, "haul"
# whose tests are judges, beside the published checks and the examples in docstrings
TESTS = (
    "tests/laws",
    *(f"tests/kernel/test_{what}_by_hand.py" for what in ("plant", "heat", "kernel", "controller")),
    "tests/kernel/test_contacts.py",
    "tests/published/test_short_trips.py",
)
LEAVE_OUT = ("compiled_equals_interpreted", "quantities", "from_the_straight_line", "a_tenth_richer")
LONGEST = 15.0  # s of the processor in plain Python, after which a test is no judge; others may be busy on the machine


# once wrong without anybody noticing: what, where, what stands there, what is put, words in the name of the test that must notice
NAMED = [
    tuple(cell.strip() for cell in line.split("|"))
    for line in """
    rise of boost | march.air_path.breathe | energy + kept * step | energy + 0.8 * kept * step | rotor_gains [0.0-0.3]
    fall of boost | march.air_path.breathe | 1.0 + decay * step | 1.0 + 1.3 * decay * step | rotor_gains [0.0-1.3]
    build-up of braking | march.air_path.breathe | energy + kept * step | energy + 0.8 * kept * step | rotor_gains [6.0-0.3]
    told retarder power | march.plant.engine | + compression + drawn) | + compression - drawn) | brake_takes_the_work [pairs2-3]
    fan in the radiator | laws.thermal.radiator_conductance | * fan_speed | * 0.9 * fan_speed | radiator_sheds [100.0]
    accessories drawn | march.plant.engine | drawn = (fan + | drawn = 0.97 * (fan + | full_pedal_gives [1200.0-long-haul-manual]
    oil from 120 C on | laws.engine.oil_viscosity | - 0.7 | - 0.7 + 0.5 * (temperature > 393.15) | dragged_engine [140.0]
    air of 30 m higher | march.plant.surroundings | e(s["elevation"], | e(s["elevation"] + 30.0, | air_is_that_of_the_height [30.0]
    map below its first torque | march.plant.fuel_rate | scale = indicated | scale = 1.2 * indicated | below_its_first_torque [0.5]
    fade 30 K cold | march.plant.group_brake_force | step"], temperature) | step"], temperature - 30.0) | brakes_fade [359.0-0.825]
    lag of the drive axles | march.kernel.fill | supplied, p["brake_lag_d | supplied, 1.3 * p["brake_lag_d | lag_of_the_drive
    letting in a clutch | laws.foot.clutch_share | return way * way | return way**1.7 | automated_clutch_takes
    ramp that refuels at idle | laws.engine.idle_torque | (1.0 - above) | (1.0 - above) ** 1.2 | straight_ramp [0.5]
    matching a gear | laws.foot.matched_speed | ratio * road_speed | 0.97 * ratio * road_speed | match_a_speed [2.0]
    matching a gear by foot | march.seat.hold_engine_speed | = min(d["turn | = min(0.97 * d["turn | holds_an_engine_speed
    root in the oil pressure | laws.engine_fluids.oil_pressure | .sqrt(viscosity | .cbrt(viscosity | root_of_viscosity [4.0]
    slip heat of the fan | laws.thermal.fan_power | * input_speed * | * fan_speed * | slip_heat [0.5]
    delay between stages | actors.brake_stages.brake_stages | else retarding.step | else 1.3 * retarding.step | delays_and_the_dwell
    dwell of a stage in cruise | actors.cruise.overspeed_stages | = cruise.stage_up | = 1.3 * cruise.stage_up | delays_and_the_dwell
    """.strip().splitlines()
]


# ---------------------------------------------------------------- what is made wrong


@dataclass(frozen=True)
class Mutant:
    """One change of one line. `edit` changes the syntax tree of the file in place and gives back what undoes it."""

    file: str
    function: str
    line: str
    change: str
    ordinal: int
    edit: Callable[[], Callable[[], None]]

    @property
    def key(self) -> tuple[str, ...]:
        """Its name, which no shift of lines changes."""
        return self.file, self.function, self.line, self.change, str(self.ordinal)


def is_computing(value: ast.expr) -> bool:
    """Whether the right side of a line computes a quantity."""
    text = ast.unparse(value)
    if isinstance(value, ast.Compare | ast.BoolOp | ast.Tuple) or ".shape" in text or "len(" in text:
        return False
    if isinstance(value, ast.UnaryOp):
        return not isinstance(value.op, ast.Not) and is_computing(value.operand)
    if isinstance(value, ast.Call):
        return ast.unparse(value.func) not in {"int", "np.empty", "march", "check_watches"}
    if isinstance(value, ast.IfExp):
        return is_computing(value.body) or is_computing(value.orelse)
    if isinstance(value, ast.Subscript | ast.Attribute | ast.Name | ast.Constant):
        return False
    return any(isinstance(node, ast.BinOp | ast.Call) for node in ast.walk(value))


def is_scaled(statement: ast.stmt) -> bool:
    """Whether a line adds a quantity to another or multiplies one with it."""
    return isinstance(statement, ast.AugAssign) and isinstance(statement.value, ast.Name | ast.Subscript)


def is_measured(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether a node is a number of which 3 % mean something."""
    if not isinstance(node, ast.Constant) or type(node.value) is not float or abs(node.value) <= ROUNDING:
        return False
    if node.value == 1.0:
        return False
    parent = parents[node]
    return not (isinstance(parent, ast.Compare) and node.value in HALVES)


def set_field(owner: ast.AST, field: str, new: object) -> Callable[[], None]:
    """Puts something into a field of the tree; what is given back puts the old back."""
    old = getattr(owner, field)
    setattr(owner, field, new)
    return lambda: setattr(owner, field, old)


def times(value: ast.expr, factor: float) -> ast.expr:
    """A value times a factor."""
    return ast.BinOp(left=value, op=ast.Mult(), right=ast.Constant(factor))


def exchanged(value: ast.expr) -> ast.BinOp | None:
    """The first sum or difference of an expression, read from outside."""
    sums = (n for n in ast.walk(value) if isinstance(n, ast.BinOp) and isinstance(n.op, ast.Add | ast.Sub))
    return next(sums, None)


def places_of(statement: ast.stmt) -> list[tuple[ast.AST, str, int | None]]:
    """Where the right sides of a line stand: owner, field, and place in a tuple."""
    value = getattr(statement, "value", None)
    if isinstance(value, ast.Tuple):
        return [(value, "elts", k) for k in range(len(value.elts))]
    several = isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Tuple)
    return [] if value is None or several else [(statement, "value", None)]


def put(owner: ast.AST, field: str, place: int | None, new: ast.expr) -> Callable[[], None]:
    """`set_field`, also into a place of a list."""
    if place is None:
        return set_field(owner, field, new)
    items = list(getattr(owner, field))
    items[place] = new
    return set_field(owner, field, items)


def changes_of(statement: ast.stmt) -> Iterator[tuple[str, Callable[[], Callable[[], None]]]]:
    """Each change of one statement, what stands inside its block left out."""
    parts = [part for part in ast.iter_child_nodes(statement) if not isinstance(part, ast.stmt)]
    own = [node for part in parts for node in ast.walk(part)]
    parents = {child: node for node in (statement, *own) for child in ast.iter_child_nodes(node)}
    for node in own:
        if is_measured(node, parents):
            yield f"{node.value:g} x {FACTOR}", lambda node=node: set_field(node, "value", node.value * FACTOR)
    if not isinstance(statement, ast.Assign | ast.AugAssign | ast.Return):
        return
    if isinstance(statement, ast.AugAssign) and isinstance(statement.op, ast.Add | ast.Sub):
        if is_computing(statement.value) or is_scaled(statement):
            value = statement.value
            other = ast.Sub() if isinstance(statement.op, ast.Add) else ast.Add()
            yield f"x {FACTOR}", lambda: set_field(statement, "value", times(value, FACTOR))
            yield "sign", lambda: set_field(statement, "op", other)
        return
    for owner, field, place in places_of(statement):
        value = getattr(owner, field) if place is None else getattr(owner, field)[place]
        if not (is_computing(value) or is_scaled(statement)):
            continue
        of = "" if place is None else f" of value {place + 1}"
        yield (
            f"x {FACTOR}{of}",
            lambda owner=owner, field=field, place=place, value=value: put(owner, field, place, times(value, FACTOR)),
        )
        first = exchanged(value)
        if first is not None:
            other = ast.Sub() if isinstance(first.op, ast.Add) else ast.Add()
            yield f"sign{of}", lambda first=first, other=other: set_field(first, "op", other)
        else:
            turned = ast.UnaryOp(op=ast.USub(), operand=value)
            yield (
                f"sign{of}",
                lambda owner=owner, field=field, place=place, turned=turned: put(owner, field, place, turned),
            )


def statements_of(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Every statement of a block and of the blocks in it."""
    for statement in body:
        yield statement
        for name in ("body", "orelse"):
            yield from statements_of(getattr(statement, name, []))


def is_text(statement: ast.stmt) -> bool:
    """Whether a statement is a docstring."""
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


class Source:
    """A file of the model: its tree, its functions as they are, and its mutants."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.module = importlib.import_module(file.removesuffix(".py").replace("/", "."))
        self.tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
        self.functions = {node.name: node for node in self.tree.body if isinstance(node, ast.FunctionDef)}
        self.constants = [node for node in self.tree.body if isinstance(node, ast.Assign)]

    def mutants(self) -> Iterator[Mutant]:
        """Each of them, in the order of the file."""
        seen: Counter[tuple[str, ...]] = Counter()
        blocks = [("", list(self.constants))]
        blocks += [(name, list(statements_of(node.body))) for name, node in self.functions.items()]
        for function, statements in blocks:
            for statement in statements:
                if is_text(statement):
                    continue
                line = ast.unparse(statement).splitlines()[0]
                for change, edit in changes_of(statement):
                    seen[function, line, change] += 1
                    yield Mutant(self.file, function, line, change, seen[function, line, change], edit)

    @contextlib.contextmanager
    def made_wrong(self, mutant: Mutant) -> Iterator[None]:
        """The model with this mutant in it."""
        undo = mutant.edit()
        try:
            put_back = self._constants() if not mutant.function else self._function(mutant.function)
        finally:
            undo()
        try:
            yield
        finally:
            put_back()

    def _function(self, name: str) -> Callable[[], None]:
        """Gives a function the code of its tree as it is now."""
        node = copy.copy(self.functions[name])
        node.decorator_list = []
        code = compile(ast.fix_missing_locations(ast.Module([node], [])), self.module.__file__ or "", "exec")
        made: dict[str, FunctionType] = {}
        exec(code, vars(self.module), made)
        function = getattr(self.module, name)
        sound, function.__code__ = function.__code__, made[name].__code__
        return lambda: setattr(function, "__code__", sound)

    def _constants(self) -> Callable[[], None]:
        """Works the constants out again, and puts those that changed wherever they were imported."""
        names = dict(vars(self.module))
        code = ast.fix_missing_locations(ast.Module(list(self.constants), []))
        exec(compile(code, self.module.__file__ or "", "exec"), names)
        changed = {name: value for name, value in names.items() if value is not vars(self.module).get(name)}
        changed = {name: value for name, value in changed.items() if type(value) is float}
        put_back = []
        for module in ours():
            for name, value in changed.items():
                old = vars(module).get(name)
                if type(old) is float and old == vars(self.module)[name] and old != value:
                    put_back.append((module, name, old))
        for module, name, _ in put_back:
            setattr(module, name, changed[name])

        def undo() -> None:
            for module, name, old in put_back:
                setattr(module, name, old)

        return undo

    def callers(self, mutant: Mutant) -> set[CodeType]:
        """The functions that must be called for the mutant to show: its own, or those that name a constant."""
        if mutant.function:
            return {getattr(self.module, mutant.function).__code__}
        line = ast.parse(mutant.line)
        named = {node.id for node in ast.walk(line) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
        for node in self.constants:  # and those that are made from it, which stand below
            if named & {each.id for each in ast.walk(node.value) if isinstance(each, ast.Name)}:
                named |= {each.id for each in ast.walk(node.targets[0]) if isinstance(each, ast.Name)}
        return {
            value.__code__
            for module in ours()
            for value in vars(module).values()
            if isinstance(value, FunctionType) and named & set(value.__code__.co_names)
        }


def ours() -> list[ModuleType]:
    """The modules of the model, and the tests that know it."""
    tests = str(ROOT / "tests")
    return [
        module
        for name, module in list(sys.modules.items())
        if name.partition(".")[0] == "sim" or str(getattr(module, "__file__", "")).startswith(tests)
    ]


# ---------------------------------------------------------------- who judges


class TooLong(BaseException):
    """A judge takes much longer than on the sound model."""


def _stop(*_: object) -> None:
    raise TooLong


def forget() -> None:
    """Empties what is kept between two questions and may have been worked out by sound laws."""
    for module in ours():
        if module.__name__.startswith(("sim.units", "sim.wording", "sim.inputs", "sim.bus", "sim.hidden")):
            continue
        for value in list(vars(module).values()):
            if hasattr(value, "cache_clear"):
                value.cache_clear()


@dataclass
class Judge:
    """One check or test. `fails` runs it."""

    name: str
    fails: Callable[[], bool]
    seconds: float = 0.0
    calls: frozenset[CodeType] = frozenset()

    def notices(self) -> bool:
        """Whether it fails on the model as it is now; one that takes too long has noticed, too."""
        forget()
        signal.signal(signal.SIGPROF, _stop)
        signal.setitimer(signal.ITIMER_PROF, 10.0 + 10.0 * self.seconds if self.seconds else LONGEST)
        try:
            return self.fails()
        except TooLong:
            return True
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)

    def try_sound(self) -> bool:
        """Runs it on the sound model; whether it passes there, and is a judge."""
        called: set[CodeType] = set()

        def watch(frame: object, event: str, _: object) -> None:
            if event == "call":
                called.add(frame.f_code)  # type: ignore[attr-defined]

        begin = time.process_time()
        sys.setprofile(watch)
        try:
            failed = self.notices()
        finally:
            sys.setprofile(None)
        self.seconds, self.calls = time.process_time() - begin, frozenset(called)
        return not failed


def check_judges() -> Iterator[Judge]:
    """A judge for each row of the published checks."""
    import sim.checks.laws

    def fails(row: object) -> bool:
        sim.checks.rows = lambda: [row]
        try:
            return any(check.verdict == "fail" for check in sim.checks.each_check())
        except Exception:
            return True
        finally:
            sim.checks.rows = known

    known = sim.checks.rows
    for row in known():
        if row.category == sim.checks.TRIP_LAW:
            yield Judge(row.id, lambda row=row: fails(row))


def test_judges(items: list[pytest.Item]) -> Iterator[Judge]:
    """A judge for each collected test."""
    from _pytest.runner import runtestprotocol

    def fails(item: pytest.Item, names: dict[str, object] | None) -> bool:
        if names is not None:
            item.dtest.globs = dict(names)  # type: ignore[attr-defined]
        return any(report.failed for report in runtestprotocol(item, nextitem=None, log=False))

    for item in items:
        if any(part in item.nodeid for part in LEAVE_OUT):
            continue
        names = dict(item.dtest.globs) if hasattr(item, "dtest") else None  # type: ignore[attr-defined]
        quick_to_fail(item)
        yield Judge(item.nodeid.rpartition("/")[2], lambda item=item, names=names: fails(item, names))


def quick_to_fail(item: pytest.Item) -> None:
    """Lets a property test fail at its first wrong example instead of looking for a smaller one."""
    from hypothesis import Phase, settings

    function = getattr(item, "function", None)
    wanted = getattr(function, "_hypothesis_internal_use_settings", None)
    if wanted is not None:
        function._hypothesis_internal_use_settings = settings(wanted, phases=[Phase.explicit, Phase.generate])


class Court:
    """The judges, and the way a mutant takes before them."""

    def __init__(self, items: list[pytest.Item]) -> None:
        self.every = {judge.name: judge for judge in (*check_judges(), *test_judges(items))}
        self.sound: dict[str, bool] = {}
        self.noticed: Counter[str] = Counter()
        self.watched = False

    def is_judge(self, name: str) -> bool:
        """Whether a judge is there and passes on the sound model."""
        if name not in self.every:
            return False
        if name not in self.sound:
            self.sound[name] = self.every[name].try_sound()
        return self.sound[name]

    def watch(self) -> None:
        """Runs every judge on the sound model."""
        begin = time.perf_counter()
        for k, name in enumerate(list(self.every)):
            if not self.is_judge(name) and self.every[name].seconds > 0.001:
                say(f"no judge: {name} ({self.every[name].seconds:.1f} s)")
            if k % 50 == 0:
                say(f"{k} of {len(self.every)} judges watched, {time.perf_counter() - begin:.0f} s")

    def notices(self, source: Source, mutant: Mutant, known: str = "") -> str:
        """Who notices a mutant, or nothing; `known` did it the last time."""
        if known and self.is_judge(known):
            with source.made_wrong(mutant):
                if self.every[known].notices():
                    return known
        if not self.watched:
            self.watch()
            self.watched = True
        wanted = source.callers(mutant)
        able = [judge for name, judge in self.every.items() if self.sound[name] and judge.calls & wanted]
        able.sort(key=lambda judge: judge.seconds / (1.0 + self.noticed[judge.name]))
        with source.made_wrong(mutant):
            for judge in able:
                if judge.notices():
                    self.noticed[judge.name] += 1
                    return judge.name
        return NOTHING


# ---------------------------------------------------------------- the file of results

COLUMNS = ("file", "function", "line", "change", "ordinal", "noticed_by", "reason")


def read_results() -> dict[tuple[str, ...], tuple[str, str]]:
    """Who noticed each mutant, and the reason where nothing did."""
    if not RESULT.exists():
        return {}
    with RESULT.open(newline="", encoding="utf-8") as file:
        return {
            tuple(row[name] for name in COLUMNS[:5]): (row["noticed_by"], row["reason"]) for row in csv.DictReader(file)
        }


def write_results(results: dict[tuple[str, ...], tuple[str, str]]) -> None:
    """Every mutant there is, in the order of the files; those that were not tried as such."""
    beside = RESULT.with_suffix(".new")
    with beside.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for name in FILES:
            for mutant in Source(name).mutants():
                writer.writerow((*mutant.key, *results.get(mutant.key, (NOT_RUN, ""))))
    beside.replace(RESULT)


def say(text: str) -> None:
    """Progress, past what pytest captures."""
    print(text, file=sys.__stderr__, flush=True)


# ---------------------------------------------------------------- the process


def in_court(work: Callable[[Court], None]) -> None:
    """Does work with the tests of `TESTS` and the examples of the laws collected."""

    class Plugin:
        def pytest_runtestloop(self, session: pytest.Session) -> bool:
            work(Court(session.items))
            return True

    named = [*TESTS, "sim/laws", "sim/march"]
    options = ["-n", "0", "-s", "-q", "-p", "no:cacheprovider", "--doctest-modules", "--no-header", "--no-summary"]
    status = pytest.main([*options, *(str(ROOT / name) for name in named)], plugins=[Plugin()])
    assert status in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED), status


def named_in(court: Court) -> dict[str, bool]:
    """For each row of `NAMED` whether its judge, which passes on the sound model, fails."""
    found = {}
    for what, where, stands, put, words in NAMED:
        module, _, name = where.rpartition(".")
        function = getattr(importlib.import_module(f"sim.{module}"), name)
        wrong = made_wrong(function, stands, put)
        (judge,) = [name for name in court.every if all(word in name for word in words.split())]
        if not court.is_judge(judge):
            raise LookupError(f"{judge} does not pass on the sound model")
        sound, function.__code__ = function.__code__, wrong.__code__
        try:
            found[what] = court.every[judge].notices()
        finally:
            function.__code__ = sound
    return found


def sample() -> list[tuple[Source, Mutant]]:
    """`SAMPLE` mutants of all files, the same until their own lines change."""
    every = [(source, mutant) for source in map(Source, FILES) for mutant in source.mutants()]
    every.sort(key=lambda each: hashlib.sha256(f"{SEED}{each[1].key}".encode()).digest())
    return every[:SAMPLE]


def sampled_in(court: Court) -> list[str]:
    """The mutants of the sample that nothing notices although the list does not say so."""
    results, missed = read_results(), []
    for source, mutant in sample():
        known, _ = results.get(mutant.key, (NOT_RUN, ""))
        if known != NOTHING and court.notices(source, mutant, known) == NOTHING:
            missed.append(" | ".join(mutant.key))
    return missed


def try_all(court: Court, files: list[str], again: bool, unnoticed: bool) -> None:
    """Tries the mutants of the files and writes down who noticed."""
    results = read_results()
    for file in files:
        source, counted, begin = Source(file), Counter(), time.perf_counter()
        for mutant in source.mutants():
            known, reason = results.get(mutant.key, (NOT_RUN, ""))
            gone = known != NOTHING and known not in court.every
            if again or gone or (unnoticed and known == NOTHING and not reason):
                old = known if known not in {NOT_RUN, NOTHING} else ""
                known = court.notices(source, mutant, old)
                results[mutant.key] = known, reason if known == NOTHING else ""
                if known == NOTHING:
                    say(f"nothing notices {' | '.join(mutant.key)}")
                if time.perf_counter() - begin > 60.0:
                    begin = time.perf_counter()
                    write_results(results)
                    say(f"{file}: {sum(counted.values())} done")
            counted[known == NOTHING] += 1
        write_results(results)
        say(f"{file}: {sum(counted.values())} mutants, {counted[True]} not noticed")


def plain() -> None:
    """Starts this program again without the compiler."""
    if os.environ.get("NUMBA_DISABLE_JIT") != "1":
        os.execve(sys.executable, [sys.executable, *sys.argv], {**os.environ, "NUMBA_DISABLE_JIT": "1"})


if __name__ == "__main__":
    plain()
    answers = {"--named": named_in, "--sample": sampled_in}
    options = {each for each in sys.argv[1:] if each.startswith("--")}
    for option in options & set(answers):
        in_court(lambda court, option=option: print(f"\n{ANSWER}{json.dumps(answers[option](court))}"))
        sys.exit()
    chosen = [each for each in sys.argv[1:] if each not in options] or list(FILES)
    in_court(lambda court: try_all(court, chosen, "--again" in options, "--unnoticed" in options))
