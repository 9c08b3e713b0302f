"""What a study asks: which trips are driven, what is reported about them, and what is to be found out."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from sim.errors import SettingsError, StudyError
from sim.inputs.files import split_changes
from sim.inputs.specs import Settings, Truck, keys_of
from sim.messages import studies as say
from sim.reading import is_there, read_toml
from sim.studies.quantities import QUANTITIES

FORM = 1
STUDIES = Path(__file__).parents[1] / "catalogue" / "studies"
WORDS = ("truck", "road", "settings")
HOW = ("sobol", "halton", "latin")
MOST_TRIPS = 1_000_000
MOST_BETWEEN = 20

TABLES = {
    "form": "version of the form, 1",
    "title": "one line that says what it is",
    "question": "what is asked, in the words of the trade",
    "truck": "the truck, where it is not varied",
    "road": "the road, where it is not varied",
    "settings": "the settings, where they are not varied",
    "set": "values of truck or settings that all trips share",
    "report": "the quantities worth reading, the most important first",
    "traces": "true: the trace of every trip is kept",
    "vary": "a grid: every value with every other",
    "case": "a list: each case changes what it names",
    "sample": "points spread evenly over ranges",
    "best": "the settings that are best within limits",
    "fuel_test": "a fuel test of two trucks",
}


@dataclass(frozen=True)
class Case:
    """One entry of a list of cases: its name and what it changes."""

    name: str
    changes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sample:
    """Points of a low-discrepancy sequence over ranges, in the unit of each key."""

    trips: int
    between: dict[str, tuple[float, float]]
    seed: int = 1
    how: str = "sobol"


@dataclass(frozen=True)
class Best:
    """A search: the least (or most) of a quantity, with bounds on others; each key has low, high and step."""

    quantity: str
    most: bool
    between: dict[str, tuple[float, float, float]]
    at_most: dict[str, float]
    at_least: dict[str, float]
    trips: int = 600
    seed: int = 1


@dataclass(frozen=True)
class FuelTest:
    """A fuel test of two trucks: a control truck and a test truck, before and after a change, run by run together.

    Chance comes in as it does on the road: each run has its wind and temperature, the same for both trucks but for the little
    that minutes apart make; each driver has a day of his own (how he accelerates and reacts); the scale reads within 45 g
    (0.1 lb, common practice). All amounts are assumed. The road stands for a loop, so the wind is what a loop leaves of it.
    """

    changes: tuple[str, ...]
    runs: int = 3
    band_percent: float = 2.0
    elapsed_percent: float = 0.5
    seed: int = 1
    temperature_c: tuple[float, float] = (20.0, 30.0)
    wind_m_s: tuple[float, float] = (-1.0, 1.0)
    wind_apart_m_s: float = 0.2
    drivers_apart_percent: float = 15.0
    weighing_g: float = 45.0


@dataclass(frozen=True)
class Study:
    """A study as it is asked, read and checked, before anything is loaded or driven.

    Parameters
    ----------
    name : str
        Of the file, or what it is called on the command line.
    truck, road, settings : str
        Where they are not varied; empty for none.
    changes : tuple of str
        What all trips share, `table.key=value`.
    report : tuple of str
        Quantities, the most important first.
    vary : dict
        Values as text by key: the grid.
    traces : bool
        Whether the trace of every trip is kept.
    """

    name: str
    title: str
    question: str = ""
    truck: str = ""
    road: str = ""
    settings: str = ""
    changes: tuple[str, ...] = ()
    report: tuple[str, ...] = ("time_s", "fuel_l_per_100km")
    vary: dict[str, tuple[str, ...]] = field(default_factory=dict)
    cases: tuple[Case, ...] = ()
    sample: Sample | None = None
    best: Best | None = None
    fuel_test: FuelTest | None = None
    traces: bool = False


def list_studies() -> list[str]:
    """Names of the shipped studies, sorted."""
    return sorted(path.stem for path in STUDIES.glob("*.toml"))


def read_study(name: str | Path) -> Study:
    """A study from the catalogue or from a file.

    Parameters
    ----------
    name : str or Path
        Catalogue name or path of a TOML file.

    Raises
    ------
    StudyError
        Not found, or a table, key or value is wrong; the message names it.

    Examples
    --------
    >>> read_study("axle-ratio").title
    'Axle ratio on four roads'
    """
    path, known = Path(name), list_studies()
    if str(name) in known:
        path = STUDIES / f"{name}.toml"
    elif path.suffix.lower() != ".toml" and not is_there(path):
        raise StudyError(
            say.no_study(name=str(name), near=get_close_matches(str(name), known, n=3, cutoff=0.4), known=known)
        )
    return study_from(read_toml(path, StudyError), path.stem, str(name), path.parent)


def study_from(values: Mapping[str, Any], name: str, where: str, folder: Path | None = None) -> Study:
    """A study from the tables of its file.

    Parameters
    ----------
    values : mapping
        As read.
    name : str
        What the study is called.
    where : str
        Where the values stand, for messages.
    folder : Path or None
        Beside which roads (.csv), trucks and settings (.toml) lie.

    Raises
    ------
    StudyError
        A table, key or value is wrong; the message names it.
    """
    return _Reader(where, folder).study(values, name)


def study_of_grid(
    vary: Mapping[str, Sequence[str]],
    route: str | None,
    truck: str | None,
    settings: str | None,
    changes: Sequence[str],
) -> Study:
    """A study of what is varied on the command line.

    Parameters
    ----------
    vary : mapping
        Values as text by key.
    changes : sequence of str
        What all trips share.

    Raises
    ------
    StudyError
        What is varied makes no sense.
    """
    values: dict[str, Any] = {"form": FORM, "title": f"Comparison by {', '.join(vary)}", "vary": dict(vary)}
    values["question"] = "What does each of these do?"
    values["set"] = list(changes)
    values["report"] = ["time_s", "fuel_l_per_100km", "max_engine_speed_rpm", "max_brake_temperature_c"]
    values |= {key: given for key, given in (("road", route), ("truck", truck), ("settings", settings)) if given}
    return study_from(values, "comparison", "--vary")


class _Reader:
    """Reads the tables of a study file; knows where they stand."""

    def __init__(self, where: str, folder: Path | None) -> None:
        self.where, self.folder = where, folder
        self.kinds = {f"{table}.{key}": model for model in (Truck, Settings) for table, key in keys_of(model)}

    def study(self, values: Mapping[str, Any], name: str) -> Study:
        """The whole file.

        Parameters
        ----------
        values : mapping
            As read.
        """
        form = values.get("form", "missing")
        if form != FORM or isinstance(form, bool):
            raise StudyError(say.another_form(where=self.where, given=form, allowed=FORM))
        for key in values:
            if key not in TABLES:
                near = get_close_matches(key, TABLES, n=3, cutoff=0.5)
                raise StudyError(say.unknown_table(where=self.where, name=key, near=near, known=TABLES))
        texts = {key: self._text(values, key) for key in ("title", "question", "truck", "road", "settings")}
        if not texts["title"]:
            raise StudyError(say.no_text(where=self.where, key="title", meaning=TABLES["title"]))
        for key, ending in (("road", ".csv"), ("truck", ".toml"), ("settings", ".toml")):
            texts[key] = self._beside(texts[key], ending)
        changes = self._changes(values.get("set", []), "set")
        vary = {key: self._values(key, given) for key, given in self._table(values, "vary").items()}
        study = Study(
            name=name,
            **texts,
            changes=changes,
            report=self._report(values.get("report", ["time_s", "fuel_l_per_100km"])),
            vary=vary,
            cases=self._cases(values.get("case", [])),
            sample=self._sample(values["sample"]) if "sample" in values else None,
            best=self._best(values["best"]) if "best" in values else None,
            fuel_test=self._fuel_test(values["fuel_test"]) if "fuel_test" in values else None,
            traces=self._bool(values.get("traces", False), "traces"),
        )
        self._check_whole(study)
        return study

    # ------------------------------------------------------------ parts

    def _report(self, given: Any) -> tuple[str, ...]:
        """The reported quantities."""
        names = self._texts(given, "report")
        if not names:
            raise StudyError(say.empty_axis(where=self.where, key="report"))
        for name in names:
            self._quantity("report", name)
        return tuple(dict.fromkeys(names))

    def _quantity(self, key: str, name: str) -> str:
        """A quantity that exists."""
        if name not in QUANTITIES:
            near = get_close_matches(name, QUANTITIES, n=3, cutoff=0.5)
            raise StudyError(say.unknown_quantity(where=self.where, key=key, name=name, near=near))
        return name

    def _values(self, key: str, given: Any) -> tuple[str, ...]:
        """The values of one axis of the grid, as text."""
        self._axis(key)
        if isinstance(given, dict):
            numbers = self._numbers(given, f"vary.{key}", ("from", "to", "steps"))
            low, high, steps = numbers["from"], numbers["to"], int(numbers["steps"])
            if not low < high:
                raise StudyError(say.empty_range(where=self.where, key=key, low=low, high=high))
            if not 2 <= steps <= MOST_TRIPS or steps != numbers["steps"]:
                raise StudyError(
                    say.no_whole_number(
                        where=self.where, key=_inside(key, "steps"), given=given["steps"], low=2, high=MOST_TRIPS
                    )
                )
            values = tuple(_number_text(low + (high - low) * step / (steps - 1)) for step in range(steps))
        else:
            if not isinstance(given, list | tuple):
                raise StudyError(say.no_values(where=self.where, key=key, given=given))
            values = tuple(self._value_text(key, value) for value in given)
        if not values:
            raise StudyError(say.empty_axis(where=self.where, key=key))
        repeated = next((value for value in values if values.count(value) > 1), None)
        if repeated is not None:
            raise StudyError(say.repeated_value(where=self.where, key=key, value=repeated))
        if key in WORDS:
            ending = ".csv" if key == "road" else ".toml"
            return tuple(self._beside(value, ending) for value in values)
        return values

    def _cases(self, given: Any) -> tuple[Case, ...]:
        """The list of cases."""
        if not isinstance(given, list) or not all(isinstance(entry, dict) for entry in given):
            raise StudyError(say.no_entries(where=self.where, given=given))
        cases: list[Case] = []
        for entry in given:
            self._only(entry, "case", ("name", "set"))
            name = self._text(entry, "name")
            if not name:
                raise StudyError(say.no_case_name(where=self.where))
            if any(case.name == name for case in cases):
                raise StudyError(say.repeated_case(where=self.where, name=name))
            cases.append(Case(name, self._changes(entry.get("set", []), f'case "{name}"')))
        return tuple(cases)

    def _sample(self, given: Any) -> Sample:
        """The ranges of a sample."""
        table = self._only(given, "sample", ("trips", "seed", "how", "between"))
        trips = self._whole(table.get("trips", 128), "sample.trips", 2, MOST_TRIPS)
        seed = self._whole(table.get("seed", 1), "sample.seed", 0, 2**31 - 1)
        how = table.get("how", "sobol")
        if how not in HOW:
            raise StudyError(say.none_of(where=self.where, key="sample.how", given=how, allowed=HOW))
        between = self._between(table, "sample", 2)
        return Sample(trips, {key: (low, high) for key, (low, high, *_) in between.items()}, seed, how)

    def _best(self, given: Any) -> Best:
        """Aim, ranges and bounds of a search."""
        table = self._only(given, "best", ("least", "most", "between", "at_most", "at_least", "trips", "seed"))
        if ("least" in table) == ("most" in table):
            raise StudyError(say.no_aim(where=self.where, given=sorted(table)))
        key = "least" if "least" in table else "most"
        quantity = self._quantity(f"best.{key}", str(table[key]))
        bounds = {}
        for side in ("at_most", "at_least"):
            values = self._table(table, side, "best.")
            bounds[side] = {
                self._quantity(f"best.{side}", name): self._number(value, f"best.{side}.{name}")
                for name, value in values.items()
            }
        between = {key: (low, high, step[0]) for key, (low, high, *step) in self._between(table, "best", 3).items()}
        trips = self._whole(table.get("trips", 600), "best.trips", 10, 100_000)
        seed = self._whole(table.get("seed", 1), "best.seed", 0, 2**31 - 1)
        return Best(quantity, key == "most", between, bounds["at_most"], bounds["at_least"], trips, seed)

    def _fuel_test(self, given: Any) -> FuelTest:
        """The change and the rules of a fuel test."""
        numbers = ("band_percent", "elapsed_percent", "wind_apart_m_s", "drivers_apart_percent", "weighing_g")
        allowed = ("set", "runs", "seed", "temperature_c", "wind_m_s", *numbers)
        table = self._only(given, "fuel_test", allowed)
        changes = self._changes(table.get("set", []), "fuel_test")
        if not changes:
            raise StudyError(say.empty_axis(where=self.where, key="fuel_test.set"))
        runs = table.get("runs", 3)
        if type(runs) is not int or not 2 <= runs <= 20:
            raise StudyError(say.not_enough_runs(given=runs))
        ranges: dict[str, Any] = {}
        for key, normal in (("temperature_c", FuelTest.temperature_c), ("wind_m_s", FuelTest.wind_m_s)):
            low, high = self._pair(table.get(key, list(normal)), f"fuel_test.{key}", 2)
            ranges[key] = (low, high)
        plain: dict[str, Any] = {}
        for key in numbers:
            plain[key] = self._number(table.get(key, getattr(FuelTest, key)), f"fuel_test.{key}")
            if not 0.0 <= plain[key] <= 100.0:
                raise StudyError(
                    say.no_number_between(
                        where=self.where, key=_inside("fuel_test", key), given=table[key], low=0.0, high=100.0
                    )
                )
        seed = self._whole(table.get("seed", 1), "fuel_test.seed", 0, 2**31 - 1)
        return FuelTest(changes, runs, seed=seed, **ranges, **plain)

    def _between(self, table: Mapping[str, Any], name: str, length: int) -> dict[str, tuple[float, ...]]:
        """Ranges by key of truck or settings."""
        given = self._table(table, "between", f"{name}.")
        if not given:
            raise StudyError(say.empty_axis(where=self.where, key=_inside(name, "between")))
        if len(given) > MOST_BETWEEN:
            raise StudyError(
                say.too_many_keys(where=self.where, key=_inside(name, "between"), given=len(given), most=MOST_BETWEEN)
            )
        ranges = {}
        for key, pair in given.items():
            self._axis(key)
            if key in WORDS or not self._is_number(key):
                raise StudyError(say.no_plain_number(where=self.where, key=_inside(name, "between", key), given=pair))
            ranges[key] = self._pair(pair, f"{name}.between.{key}", length)
        return ranges

    def _pair(self, given: Any, key: str, length: int) -> tuple[float, ...]:
        """Low and high, and a step where one is asked for."""
        if not isinstance(given, list | tuple) or len(given) != length:
            if length == 2:
                raise StudyError(say.no_pair(where=self.where, key=key, given=given))
            raise StudyError(say.no_steps(where=self.where, key=key, given=given))
        numbers = tuple(self._number(value, key) for value in given)
        if not numbers[0] < numbers[1]:
            raise StudyError(say.empty_range(where=self.where, key=key, low=given[0], high=given[1]))
        if length == 3 and not 0 < numbers[2] <= numbers[1] - numbers[0]:
            raise StudyError(say.no_steps(where=self.where, key=key, given=given))
        return numbers

    def _axis(self, key: str) -> None:
        """Refuses a key that does not exist."""
        if key in WORDS or key in self.kinds:
            return
        near = get_close_matches(key, [*self.kinds, *WORDS], n=3, cutoff=0.5)
        last = key.rpartition(".")[2]
        near += [other for other in self.kinds if other.rpartition(".")[2] == last and other not in near]
        raise StudyError(say.no_axis(where=self.where, key=key, near=near[:3]))

    def _is_number(self, key: str) -> bool:
        """Whether a key of truck or settings takes a plain number."""
        table, _, name = key.partition(".")
        annotation = self.kinds[key].model_fields[table].annotation.model_fields[name].annotation  # type: ignore[union-attr]
        return annotation in (int, float)

    def _check_whole(self, study: Study) -> None:
        """The parts fit each other."""
        ways = (study.vary, study.cases, study.sample, study.best, study.fuel_test)
        if not any(ways):
            raise StudyError(say.nothing_varied(where=self.where))
        alone = next((name for name, way in (("best", study.best), ("fuel_test", study.fuel_test)) if way), None)
        for name, way in (("vary", study.vary), ("case", study.cases), ("sample", study.sample), ("best", study.best)):
            if alone and way and name != alone:
                raise StudyError(say.same_everywhere(where=self.where, key=name))
        keys = [change.partition("=")[0].strip() for change in study.changes]
        keys += [word for word in WORDS if getattr(study, word)]
        keys += [*study.vary]
        keys += [*(study.sample.between if study.sample else {}), *(study.best.between if study.best else {})]
        in_cases = {change.partition("=")[0].strip() for case in study.cases for change in case.changes}
        varied = [*study.vary, *(study.sample.between if study.sample else ())]
        twice = [key for key in keys if keys.count(key) > 1] + [key for key in varied if key in in_cases]
        if twice:
            raise StudyError(say.varied_twice(where=self.where, key=twice[0]))
        trips = max(len(study.cases), 1) * (study.sample.trips if study.sample else 1)
        for values in study.vary.values():
            trips *= len(values)
        if trips > MOST_TRIPS:
            raise StudyError(say.too_many_trips(where=self.where, trips=trips, most=MOST_TRIPS))

    # ------------------------------------------------------------ kinds

    def _table(self, values: Mapping[str, Any], key: str, inside: str = "") -> dict[str, Any]:
        """A table, empty when it is not there; `a.b = 1` written without quotes is taken for "a.b"."""
        given = values.get(key, {})
        if not isinstance(given, dict):
            raise StudyError(say.no_table(where=self.where, key="".join((inside, key)), given=given))
        plain: dict[str, Any] = {}
        for name, value in given.items():
            nested = isinstance(value, dict) and name not in self.kinds and not {"from", "to", "steps"} & set(value)
            plain |= {f"{name}.{inner}": entry for inner, entry in value.items()} if nested else {name: value}
        return plain

    def _only(self, given: Any, name: str, allowed: Sequence[str]) -> dict[str, Any]:
        """A table with these keys and no others."""
        if not isinstance(given, dict):
            raise StudyError(say.no_table(where=self.where, key=name, given=given))
        for key in given:
            if key not in allowed:
                near = get_close_matches(key, allowed, n=2, cutoff=0.5)
                raise StudyError(say.unknown_table(where=self.where, name=_inside(name, key), near=near, known=allowed))
        return given

    def _text(self, values: Mapping[str, Any], key: str) -> str:
        """A text, empty when it is not there."""
        given = values.get(key, "")
        if not isinstance(given, str):
            raise StudyError(say.no_text_there(where=self.where, key=key, given=given))
        return given.strip()

    def _texts(self, given: Any, key: str) -> list[str]:
        """A list of texts."""
        if not isinstance(given, list | tuple) or not all(isinstance(text, str) for text in given):
            raise StudyError(say.no_texts(where=self.where, key=key, given=given))
        return list(given)

    def _changes(self, given: Any, key: str) -> tuple[str, ...]:
        """Changes of keys that exist."""
        changes = self._texts(given, key)
        try:
            split_changes(changes)
        except SettingsError as problem:
            raise StudyError(say.bad_value(where=self.where, key=key, problem=str(problem))) from None
        return tuple(changes)

    def _number(self, given: Any, key: str) -> float:
        """A number."""
        if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
            raise StudyError(say.no_number(where=self.where, key=key, given=given))
        return float(given)

    def _numbers(self, given: dict[str, Any], key: str, names: Sequence[str]) -> dict[str, float]:
        """Numbers under names that must all be there."""
        self._only(given, key, names)
        for name in names:
            if name not in given:
                raise StudyError(say.no_range(where=self.where, key=key, given=given))
        return {name: self._number(given[name], f"{key}.{name}") for name in names}

    def _whole(self, given: Any, key: str, low: int, high: int) -> int:
        """A whole number within bounds."""
        if type(given) is not int or not low <= given <= high:
            raise StudyError(say.no_whole_number(where=self.where, key=key, given=given, low=low, high=high))
        return given

    def _bool(self, given: Any, key: str) -> bool:
        """True or false."""
        if not isinstance(given, bool):
            raise StudyError(say.no_truth(where=self.where, key=key, given=given))
        return given

    def _value_text(self, key: str, value: Any) -> str:
        """One value of an axis as it is typed."""
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, int | float):
            return _number_text(self._number(value, key))
        if isinstance(value, list):
            return "[" + ", ".join(f'"{item}"' if isinstance(item, str) else str(item) for item in value) + "]"
        if not isinstance(value, str) or not value.strip():
            raise StudyError(say.no_value(where=self.where, key=key, given=value))
        return value.strip()

    def _beside(self, name: str, ending: str) -> str:
        """A file beside the study file, for a name that looks like one."""
        looks_like_a_file = name.lower().endswith(ending) and not Path(name).is_absolute()
        return str(self.folder / name) if self.folder and looks_like_a_file else name


def _inside(*names: str) -> str:
    """A key inside a table."""
    return ".".join(names)


def _number_text(value: float) -> str:
    """A number as a person types it."""
    return f"{value:.10g}"
