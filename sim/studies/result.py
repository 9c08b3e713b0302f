"""What a study leaves behind: the table of its trips and what they answer."""

from functools import cached_property
from pathlib import Path
from typing import Any

from sim.errors import StudyError
from sim.messages import studies as say
from sim.studies.answers import answers_of
from sim.studies.plan import Plan
from sim.studies.table import TABLE, StudyTable


class StudyResult(StudyTable):
    """The finished trips of a study and what they answer."""

    @cached_property
    def answers(self) -> dict[str, Any]:
        """What the study found, as plain values: see `answers_of`. [as named]"""
        return answers_of(self)


def read_result(folder: Path, plan: Plan) -> StudyResult:
    """The result of a study from its folder.

    Raises
    ------
    StudyError
        The results file cannot be read.
    """
    import pyarrow
    import pyarrow.parquet

    try:
        facts = pyarrow.parquet.read_schema(folder / TABLE).metadata
        trips = pyarrow.parquet.read_metadata(folder / TABLE).num_rows
        return StudyResult(plan, folder, facts[b"complete"] == b"true", trips, facts[b"model_version"].decode())
    except (OSError, pyarrow.ArrowException, KeyError, TypeError) as problem:
        raise StudyError(say.broken_results(place=str(folder / TABLE), reason=str(problem)[:80])) from None
