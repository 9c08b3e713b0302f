"""Every trip of a study worked out, one at a time, and driven: what a worker needs, and what it answers."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from sim.errors import HaulbenchError, RunError, StudyError
from sim.inputs.files import (
    TruckFile,
    changed_settings,
    changed_truck,
    load_settings_file,
    load_truck,
    parse_change,
    split_changes,
)
from sim.inputs.specs import Part, Settings, Truck
from sim.messages import studies as say
from sim.roads.route import Place, Route, load_route
from sim.studies.quantities import flat
from sim.studies.question import WORDS, Best, Case, FuelTest, Sample, Study

REFUSED = "refused"
FAILED = "failed"
NO_TRIP = (REFUSED, FAILED)
ARRIVED = "arrived"
WEATHER_STREAM = 3  # of chance in a fuel test; 0 and 1 are the drivers, 2 the scale


@dataclass(frozen=True)
class Point:
    """One trip of a study: its number from 1, what is varied, and what it is driven with."""

    number: int
    varied: dict[str, str]
    truck: str
    road: str
    settings: str
    changes: tuple[str, ...]

    def words(self) -> str:
        """What sets this trip apart, for a message."""
        return ", ".join(f"{key}={value}" for key, value in self.varied.items())


@dataclass(frozen=True)
class Plan:
    """A study with everything it is driven with, loaded and checked.

    Parameters
    ----------
    trucks : dict
        TruckFile by name.
    roads : dict
        Route by name.
    settings : dict
        Settings by name, "" for the defaults.
    places : dict
        Road and truck of each settings, where the study names none.
    samples : array
        Shape (trips, keys) of the sample; (1, 0) without one. [unit of each key]
    """

    study: Study
    trucks: dict[str, TruckFile]
    roads: dict[str, Route]
    settings: dict[str, Settings]
    places: dict[str, tuple[str, str]]
    samples: np.ndarray = field(repr=False)

    @property
    def axes(self) -> dict[str, tuple[str, ...]]:
        """The values of the grid by key, cases first; samples are not among them. [-]"""
        cases = {"case": tuple(case.name for case in self.study.cases)} if self.study.cases else {}
        return {**cases, **self.study.vary}

    @property
    def varied_keys(self) -> tuple[str, ...]:
        """Everything that differs from trip to trip, in the order of the columns. [-]"""
        if self.study.fuel_test:
            return ("part", "run", "who")
        sampled = self.study.sample.between if self.study.sample else {}
        searched = self.study.best.between if self.study.best else {}
        return (*self.axes, *sampled, *searched)

    @property
    def total(self) -> int:
        """Number of trips; of a search, the most it may drive. [-]"""
        if self.study.best:
            return self.study.best.trips
        if self.study.fuel_test:
            return 4 * self.study.fuel_test.runs
        return int(np.prod([len(values) for values in self.axes.values()], dtype=int)) * len(self.samples)

    def kilometres(self) -> float:
        """Length of all trips together, for an idea of the work.

        Returns
        -------
        length : float
            [km]
        """
        lengths = [road.length for road in self.roads.values()]
        return self.total * sum(lengths) / len(lengths) / 1000.0

    def point(self, number: int) -> Point:
        """A trip by its number.

        Parameters
        ----------
        number : int
            From 1 to `total`. The sample varies fastest, then the last key of the grid.
        """
        if self.study.fuel_test:
            return _fuel_test_point(self, number)
        rest, row = divmod(number - 1, len(self.samples))
        chosen: dict[str, str] = {}
        for key, values in reversed(self.axes.items()):
            rest, place = divmod(rest, len(values))
            chosen[key] = values[place]
        varied = {key: chosen[key] for key in self.axes}
        sampled = self.study.sample.between if self.study.sample else {}
        varied |= {key: f"{value:.8g}" for key, value in zip(sampled, self.samples[row], strict=True)}
        return self.point_of(number, varied)

    def points(self) -> Iterator[Point]:
        """Every trip, one after the other."""
        return (self.point(number) for number in range(1, self.total + 1))

    def point_of(self, number: int, varied: Mapping[str, str]) -> Point:
        """A trip from what is varied.

        Parameters
        ----------
        varied : mapping
            Text by key.
        """
        study = self.study
        settings = varied.get("settings", study.settings)
        road, truck = self.places[settings]
        changes = [*study.changes]
        changes += next((case.changes for case in study.cases if case.name == varied.get("case")), ())
        changes += [f"{key}={value}" for key, value in varied.items() if key not in (*WORDS, "case")]
        return Point(
            number,
            dict(varied),
            varied.get("truck", study.truck or truck),
            varied.get("road", study.road or road),
            settings,
            tuple(changes),
        )

    def job(self, point: Point) -> tuple[Any, ...]:
        """Arguments of `drive_point` for a trip."""
        return (
            self.trucks[point.truck],
            self.roads[point.road],
            self.settings[point.settings],
            point.changes,
            self.study.traces,
        )

    def fingerprint(self) -> str:
        """Equal for studies that drive the same trips with the same model, whatever they report about them.

        Returns
        -------
        digest : str
            32 hexadecimal digits.
        """
        driven = record_of(self)
        for words in ("name", "title", "question", "report", "traces"):
            driven["study"].pop(words)
        text = json.dumps(driven, sort_keys=True)
        return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def make_plan(study: Study, given: Mapping[str, Route] | None = None) -> Plan:
    """Loads what a study is driven with and checks what it varies.

    Parameters
    ----------
    given : mapping or None
        Roads by name that are at hand already and stand in no file.

    Raises
    ------
    HaulbenchError
        Something is not found, a value can be used nowhere, or a range leaves what is allowed.
    """
    settings: dict[str, Settings] = {}
    places: dict[str, tuple[str, str]] = {}
    for name in study.vary.get("settings", (study.settings,)):
        file = load_settings_file(name or None)
        settings[name], places[name] = file.settings, (file.road, file.truck)
    there = given or {}
    roads = {
        name: there[name] if name in there else load_route(name)
        for name in _used("road", study, [road for road, _ in places.values()])
    }
    trucks = {name: load_truck(name) for name in _used("truck", study, [truck for _, truck in places.values()])}
    plan = Plan(study, trucks, roads, settings, places, _samples(study.sample))
    _check_values(plan)
    return plan


def _used(word: str, study: Study, otherwise: list[str]) -> list[str]:
    """Names of the roads or trucks a study uses."""
    names = list(study.vary.get(word, ())) or [getattr(study, word)]
    if names != [""]:
        return names
    if not all(otherwise):
        raise StudyError(say.nothing_named(where=study.name, word=word))
    return list(dict.fromkeys(otherwise))


def _samples(sample: Sample | None) -> np.ndarray:
    """Points of a low-discrepancy sequence, scaled to the ranges; a key that takes whole numbers gets whole numbers."""
    if sample is None:
        return np.zeros((1, 0))
    from scipy.stats import qmc

    makers = {"sobol": qmc.Sobol, "halton": qmc.Halton, "latin": qmc.LatinHypercube}
    engine = makers[sample.how](len(sample.between), rng=np.random.default_rng(sample.seed))
    if sample.how == "sobol":
        unit = engine.random_base2(max(sample.trips - 1, 1).bit_length())[: sample.trips]
    else:
        unit = engine.random(sample.trips)
    low, high = np.array(list(sample.between.values())).T
    whole = np.array([is_whole(key) for key in sample.between])
    scaled: np.ndarray = np.where(whole, np.floor(low + unit * (high + 1.0 - low)), low + unit * (high - low))
    return scaled


def is_whole(key: str) -> bool:
    """Whether a key of truck or settings takes whole numbers only.

    Parameters
    ----------
    key : str
        `table.key`.
    """
    table, _, name = key.partition(".")
    for model in (Truck, Settings):
        if table in model.model_fields:
            part: Any = model.model_fields[table].annotation
            return part.model_fields[name].annotation is int
    return False


def _check_values(plan: Plan) -> None:
    """Refuses an axis of which no value can be used, and a range with an end that cannot."""
    study, first = plan.study, plan.point_of(0, _first_values(plan))
    truck, settings = plan.trucks[first.truck], plan.settings[first.settings]

    def problem_with(changes: tuple[str, ...]) -> str | None:
        try:
            changed(truck, settings, (*study.changes, *changes))
        except HaulbenchError as problem:
            return str(problem)
        return None

    shared = problem_with(())
    if shared:
        raise StudyError(say.bad_value(where=study.name, key="set", problem=shared))
    for key, values in study.vary.items():
        if key not in WORDS:
            problems = [problem_with((f"{key}={value}",)) for value in values]
            if all(problems):
                raise StudyError(say.bad_value(where=study.name, key=key, problem=str(problems[0])))
    for case in study.cases:
        found = problem_with(case.changes)
        if found and len(study.vary.get("truck", ())) < 2:
            raise StudyError(say.bad_case(where=study.name, case=case.name, problem=found))
    for part in (study.sample, study.best):
        for key, (low, high, *_) in (part.between if part else {}).items():
            for end in (low, high):
                found = problem_with((f"{key}={end:.8g}",))
                if found:
                    raise StudyError(say.bad_value(where=study.name, key=key, problem=found))
    if study.fuel_test:
        found = problem_with(study.fuel_test.changes)
        if found:
            raise StudyError(say.bad_value(where=study.name, key="fuel_test.set", problem=found))


def _first_values(plan: Plan) -> dict[str, str]:
    """Road, truck and settings of the first trip."""
    return {word: plan.study.vary[word][0] for word in WORDS if word in plan.study.vary}


def _fuel_test_point(plan: Plan, number: int) -> Point:
    """A run of a fuel test: before and after the change, run by run, control truck and test truck in the same weather."""
    test = plan.study.fuel_test
    assert test is not None
    rest, who = divmod(number - 1, 2)
    part, run = divmod(rest, test.runs)
    # every stream has its own last number, also the weather (a list and the same list with a 0 behind it seed one stream)
    weather, driver = (np.random.default_rng([test.seed, part, run, stream]) for stream in (WEATHER_STREAM, who))
    wind, temperature = weather.uniform(*test.wind_m_s), weather.uniform(*test.temperature_c)
    wind += driver.uniform(-1.0, 1.0) * test.wind_apart_m_s
    pace, reaction = 1.0 + driver.uniform(-0.01, 0.01, 2) * test.drivers_apart_percent
    varied = {"part": ("before", "after")[part], "run": str(run + 1), "who": ("control", "test")[who]}
    habits = changed_settings(plan.settings[plan.study.settings], split_changes(plan.study.changes)[1]).driver
    changes = [*plan.study.changes, f"weather.wind_m_s={wind:.6g}", f"weather.temperature_c={temperature:.6g}"]
    changes += [f"driver.acceleration_m_s2={min(habits.acceleration_m_s2 * pace, 2.0):.6g}"]
    changes += [f"driver.reaction_s={min(habits.reaction_s * reaction, 4.0):.6g}"]
    changes += test.changes if part and who else ()
    plain = plan.point_of(number, {})
    return Point(number, varied, plain.truck, plain.road, plain.settings, tuple(changes))


# ---------------------------------------------------------------- in a worker


def changed(truck: TruckFile, settings: Settings, changes: tuple[str, ...]) -> tuple[TruckFile, Settings]:
    """Truck and settings of one trip.

    Parameters
    ----------
    changes : tuple of str
        `table.key=value`; of two for one key the later counts.

    Raises
    ------
    HaulbenchError
        A value cannot be used.
    """
    for_truck, for_settings = split_changes(changes)
    return changed_truck(truck, for_truck), changed_settings(settings, for_settings)


def drive_point(
    truck: TruckFile, road: Route, settings: Settings, changes: tuple[str, ...], traced: bool
) -> dict[str, Any]:
    """Drives one trip of a study; runs in a worker.

    Parameters
    ----------
    truck : TruckFile
        Before the changes.
    settings : Settings
        Before the changes.
    changes : tuple of str
        `table.key=value`.
    traced : bool
        Whether the trace comes back as well.

    Returns
    -------
    row : dict
        `state` (how the trip ended, or refused, or failed), `problem` in words, `changed` values by key, `quantities`, and
        `trace` as bytes of a Parquet file.
    """
    from sim.trips.trip import run_trip

    row: dict[str, Any] = {"state": REFUSED, "problem": "", "changed": {}, "quantities": {}, "trace": None}
    try:
        row["changed"] = _as_asked(changes)  # of a trip refused at once; a trip made up has its own
        its_truck, its_settings = changed(truck, settings, changes)
        row["changed"] = {
            **_difference(truck.truck, its_truck.truck),
            **_difference(settings, its_settings),
        }
        result = run_trip(its_truck, road, its_settings)
    except RunError as problem:
        return row | {"state": FAILED, "problem": str(problem)}
    except HaulbenchError as problem:
        return row | {"problem": str(problem)}
    row |= {"state": result.summary["ended"], "quantities": flat(result.summary)}
    if traced:
        row["trace"] = _parquet_of(result.trace)
    return row


def _as_asked(changes: tuple[str, ...]) -> dict[str, Any]:
    """Values by key as they are asked for; None for one that is no value of its key."""
    asked: dict[str, Any] = {}
    models: tuple[type[Part], ...] = (Truck, Settings)
    for model, chosen in zip(models, split_changes(changes), strict=True):
        for change in chosen:
            key = change.partition("=")[0].strip()
            try:
                table, name, value = parse_change(change, StudyError, model)
            except StudyError:
                asked[key] = None
                continue
            part: Any = model.model_fields[table].annotation
            kind = part.model_fields[name].annotation
            if kind is float and isinstance(value, int | float):
                asked[key] = float(value)
            elif kind in (bool, int, float):
                asked[key] = value if type(value) is kind else None
            else:
                asked[key] = value if isinstance(value, str) else json.dumps(value)
    return asked


def _difference(before: Truck | Settings, after: Truck | Settings) -> dict[str, Any]:
    """Values by key that are not as they were."""
    if before is after:
        return {}
    old = flat_inputs(before)
    return {key: value for key, value in flat_inputs(after).items() if old[key] != value}


def flat_inputs(model: Truck | Settings) -> dict[str, Any]:
    """Every value of a truck or settings by `table.key`; lists as JSON text.

    Returns
    -------
    values : dict
        Numbers, truths and texts.
    """
    values: dict[str, Any] = {}
    for table, content in model.model_dump().items():
        if isinstance(content, dict):
            for key, value in content.items():
                plain = isinstance(value, int | float | str)
                values[f"{table}.{key}"] = value if plain else json.dumps(value)
    return values


def _parquet_of(trace: Mapping[str, np.ndarray]) -> bytes:
    """A trace as the bytes of a Parquet file."""
    import io

    import pyarrow
    import pyarrow.parquet

    out = io.BytesIO()
    pyarrow.parquet.write_table(
        pyarrow.table({name: np.asarray(trace[name]) for name in trace}), out, compression="zstd"
    )
    return out.getvalue()


# ---------------------------------------------------------------- the record

ROAD_TEXTS = ("name", "title", "start_elevation", "source", "marks")
ROAD_COLUMNS = ("distance", "grade", "slope", "wind")
ROAD_PLACES = ("limits", "stops", "signs", "curves")


def record_of(plan: Plan) -> dict[str, Any]:
    """Everything a study is driven with, so that it can be driven again from this alone.

    Returns
    -------
    record : dict
        Plain values for JSON.
    """
    from sim.compiled import MODEL_VERSION

    return {
        "model_version": MODEL_VERSION,
        "study": asdict(plan.study),
        "trucks": {
            name: {"values": file.truck.model_dump(mode="json"), "sources": file.sources}
            for name, file in plan.trucks.items()
        },
        "settings": {name: settings.model_dump(mode="json") for name, settings in plan.settings.items()},
        "places": {name: list(pair) for name, pair in plan.places.items()},
        "roads": {
            name: {
                **{key: getattr(road, key) for key in ROAD_TEXTS},
                **{key: getattr(road, key).tolist() for key in ROAD_COLUMNS},
                **{
                    key: [[place.distance, place.value, place.text] for place in getattr(road, key)]
                    for key in ROAD_PLACES
                },
            }
            for name, road in plan.roads.items()
        },
    }


def plan_from(record: Mapping[str, Any]) -> Plan:
    """A plan from the record of an earlier study.

    Parameters
    ----------
    record : mapping
        As `record_of` gives it.

    Raises
    ------
    KeyError, TypeError, ValueError
        The record is not one.
    """
    given = dict(record["study"])
    given["vary"] = {key: tuple(values) for key, values in given["vary"].items()}
    given["cases"] = tuple(Case(case["name"], tuple(case["changes"])) for case in given["cases"])
    given |= {key: tuple(given[key]) for key in ("changes", "report")}
    for name, part in (("sample", Sample), ("best", Best)):
        if given[name] is not None:
            ranges = {key: tuple(pair) for key, pair in given[name]["between"].items()}
            given[name] = part(**{**given[name], "between": ranges})
    if given["fuel_test"] is not None:
        listed: dict[str, Any] = {
            key: tuple(value) if isinstance(value, list) else value for key, value in given["fuel_test"].items()
        }
        given["fuel_test"] = FuelTest(**listed)
    study = Study(**given)
    roads = {name: _road_from(road) for name, road in record["roads"].items()}
    trucks = {
        name: TruckFile(name, Truck.model_validate_json(json.dumps(file["values"])), file["sources"])
        for name, file in record["trucks"].items()
    }
    settings = {name: Settings.model_validate_json(json.dumps(values)) for name, values in record["settings"].items()}
    places = {name: (pair[0], pair[1]) for name, pair in record["places"].items()}
    return Plan(study, trucks, roads, settings, places, _samples(study.sample))


def _road_from(road: Mapping[str, Any]) -> Route:
    """A road from its part of a record."""
    parts: dict[str, Any] = {key: road[key] for key in ROAD_TEXTS}
    parts |= {key: np.array(road[key], float) for key in ROAD_COLUMNS}
    parts |= {key: tuple(Place(*place) for place in road[key]) for key in ROAD_PLACES}
    return Route(**parts)
