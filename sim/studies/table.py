"""The tables of a study: every finished trip as a row of a Parquet file, with its inputs and the version of the model."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import StudyError
from sim.inputs.specs import Settings, Truck
from sim.messages import studies as say
from sim.studies.amounts import in_shown_unit, key_amount, key_in_shown_unit, key_unit, key_words, kind_of
from sim.studies.journal import Journal
from sim.studies.plan import NO_TRIP, Plan, flat_inputs
from sim.studies.quantities import CREDITED, QUANTITIES, TEXTS
from sim.units import SYSTEMS, headed, shown_unit
from sim.wording import Given, said
from sim.writing import new_file, write_file

BATCH = 1000  # rows held at a time while a table is written
LEVEL = 5.0  # m: a road that ends this far above or below its start gives or takes fuel worth crediting
TABLE = "results.parquet"
LIST = "results.csv"


@dataclass(frozen=True)
class StudyTable:
    """The finished trips of a study.

    Parameters
    ----------
    folder : Path
        Where everything is kept.
    complete : bool
        False for a study that was stopped.
    trips : int
        Finished trips.
    """

    plan: Plan
    folder: Path
    complete: bool
    trips: int
    model_version: str

    @cached_property
    def _columns(self) -> dict[str, np.ndarray]:
        """Columns that have been read."""
        return {}

    def column(self, name: str) -> np.ndarray:
        """One column of the table.

        Parameters
        ----------
        name : str
            A quantity, `table.key` of an input, or a varied key.

        Returns
        -------
        values : array
            Shape (trips,); NaN where a trip has no such number.

        Raises
        ------
        StudyError
            The file cannot be read.
        KeyError
            There is no such column.
        """
        if name not in self._columns:
            import pyarrow

            try:
                table = _read(self.folder / TABLE, [name])
            except (OSError, pyarrow.ArrowException) as problem:
                raise StudyError(say.broken_results(place=str(self.folder / TABLE), reason=str(problem)[:80])) from None
            if name not in table.column_names:
                raise KeyError(name)
            self._columns[name] = table[name].to_numpy(zero_copy_only=False)
        return self._columns[name]

    @property
    def driven(self) -> np.ndarray:
        """True for the trips that could be driven, shape (trips,). [-]"""
        return ~np.isin(self.column("state"), NO_TRIP)

    def refused(self) -> list[tuple[int, str]]:
        """The trips that could not be driven.

        Returns
        -------
        refused : list of (int, str)
            Number and what is wrong.
        """
        rows = np.flatnonzero(~self.driven)
        return [(int(self.column("number")[row]), str(self.column("problem")[row])) for row in rows]

    @cached_property
    def report(self) -> tuple[str, ...]:
        """The reported quantities; fuel is credited for height where a road has a net height. [-]"""
        return tuple(CREDITED.get(name, name) if self.credits_height else name for name in self.plan.study.report)

    @property
    def credits_height(self) -> bool:
        """Whether a road of this study ends higher or lower than it starts. [-]"""
        return any(abs(road.net_height) > LEVEL for road in self.plan.roads.values())

    def varied(self, row: int) -> dict[str, Any]:
        """What is varied, in one trip; of a refused one as it was asked for, since a value that cannot be used is in no column.

        Parameters
        ----------
        row : int
            Of the table.
        """
        if not self.driven[row] and not self.plan.study.best:
            return dict(self.plan.point(int(self.column("number")[row])).varied)
        return {key: self.column(key)[row] for key in self.plan.varied_keys}

    def csv(self, units: str) -> str:
        """What is varied and what is reported as the text of a CSV file, for people: numbers and headings in their units.

        Parameters
        ----------
        units : str
            metric, us, or both, which makes two columns of what differs.
        """
        trips = [self.varied(row) for row in range(self.trips)]
        columns: dict[str, list[str]] = {"trip": [str(number) for number in self.column("number")]}
        for system in SYSTEMS if units == "both" else (units,):
            for key in self.plan.varied_keys:
                heading = headed(key_words(key), key_unit(key, system))
                columns[heading] = [_given(key, varied[key], system) for varied in trips]
            for name in self.report:
                shown = in_shown_unit(name, self.column(name).astype(float), system)
                columns[headed(QUANTITIES[name][0], shown_unit(kind_of(name), system))] = [
                    _cell(each) for each in shown
                ]
        columns["ended"] = [str(state) for state in self.column("state")]
        columns["warnings"] = [
            " ".join(said(each, units) for each in json.loads(found or "[]")) for found in self.column("warnings")
        ]
        columns["problem"] = [str(problem) for problem in self.column("problem")]
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(zip(*columns.values(), strict=True))
        return out.getvalue()

    def write_csv(self, units: str) -> None:
        """Keeps the list for people beside the table.

        Parameters
        ----------
        units : str
            metric, us or both.

        Raises
        ------
        StudyError
            It cannot be written; finished trips are safe.
        """
        try:
            write_file(self.folder / LIST, self.csv(units).encode())
        except OSError as problem:
            reason = problem.strerror or str(problem)
            raise StudyError(say.cannot_write(place=str(self.folder), reason=reason[:80], kept=self.trips)) from None

    def frame(self) -> Any:
        """The whole table as a DataFrame.

        Returns
        -------
        frame : pandas.DataFrame
            One row a trip.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        import pandas

        return pandas.read_parquet(self.folder / TABLE)


def _read(place: Path, columns: list[str]) -> Any:
    """Columns of a Parquet file."""
    import pyarrow.parquet

    return pyarrow.parquet.read_table(place, columns=columns)


def write_table(journal: Journal, complete: bool) -> None:
    """Makes the Parquet file of all finished trips.

    Parameters
    ----------
    complete : bool
        Whether all trips are finished.

    Raises
    ------
    StudyError
        It cannot be written; finished trips are safe.
    """
    try:
        _write_parquet(journal, complete)
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise StudyError(say.cannot_write(place=str(journal.folder), reason=reason[:80], kept=journal.kept)) from None


def _input_columns() -> dict[str, type]:
    """Every key of truck and settings, and what it takes."""
    kinds: dict[str, type] = {}
    for model in (Truck, Settings):
        for table, content in model.model_fields.items():
            part: Any = content.annotation
            for key, info in getattr(part, "model_fields", {}).items():
                kinds[f"{table}.{key}"] = info.annotation if info.annotation in (bool, int, float) else str
    return kinds


def _write_parquet(journal: Journal, complete: bool) -> None:
    """The whole table, a thousand rows at a time."""
    import pyarrow
    import pyarrow.parquet

    from sim.compiled import MODEL_VERSION

    plan = journal.plan
    kinds = {bool: pyarrow.bool_(), int: pyarrow.int64(), float: pyarrow.float64(), str: pyarrow.string()}
    inputs = _input_columns()
    named = [key for key in plan.varied_keys if key not in inputs and key not in ("truck", "road", "settings")]
    columns = [("number", pyarrow.int64()), ("state", pyarrow.string()), ("problem", pyarrow.string())]
    columns += [(name, pyarrow.string()) for name in (*named, "truck", "road", "settings", "model_version")]
    columns += [(name, pyarrow.string()) for name in TEXTS]
    columns += [(name, pyarrow.float64()) for name in QUANTITIES]
    columns += [(name, kinds[kind]) for name, kind in inputs.items()]
    facts = {
        "title": plan.study.title,
        "question": plan.study.question,
        "model_version": MODEL_VERSION,
        "complete": str(complete).lower(),
        "trips_asked": str(plan.total),
        "fuel_note": "fuel_credited_*: height taken out at the engine's indicated efficiency",
    }
    schema = pyarrow.schema(columns, metadata=facts)
    bases = {name: flat_inputs(file.truck) for name, file in plan.trucks.items()}
    rules = {name: flat_inputs(settings) for name, settings in plan.settings.items()}

    def record(number: int, varied: dict[str, str], row: dict[str, Any]) -> dict[str, Any]:
        point = plan.point_of(number, varied)
        values = {**bases[point.truck], **rules[point.settings], **row["changed"]}
        values |= {name: varied.get(name) for name in named}
        values |= {"number": number, "state": row["state"], "problem": row["problem"], "model_version": MODEL_VERSION}
        values |= {"truck": point.truck, "road": point.road, "settings": point.settings}
        return values | dict.fromkeys([*QUANTITIES, *TEXTS]) | row["quantities"]

    place = journal.folder / TABLE
    with new_file(place) as out, pyarrow.parquet.ParquetWriter(out, schema, compression="zstd") as writer:
        for rows in _batches(journal):
            table = pyarrow.Table.from_pylist([record(*row) for row in rows], schema=schema)
            writer.write_table(table)


def _batches(journal: Journal) -> Iterator[list[tuple[int, dict[str, str], dict[str, Any]]]]:
    """Finished trips, so many at a time."""
    rows = []
    for row in journal.rows():
        rows.append(row)
        if len(rows) == BATCH:
            yield rows
            rows = []
    if rows:
        yield rows


def _given(key: str, value: Any, units: str) -> str:
    """A varied value as a cell: a number in the reader's unit where it is one."""
    given = key_amount(key, value)
    return _cell(key_in_shown_unit(key, float(value), units)) if isinstance(given, Given) else given


def _cell(value: float) -> str:
    """A number with seven digits; nothing where there is none."""
    return "" if np.isnan(value) else f"{value:.7g}"
