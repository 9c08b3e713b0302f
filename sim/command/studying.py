"""The command `haulbench study`: many trips, one answer."""

import os
import signal
import sys
import threading
import time
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

from sim.command.waiting import PATIENCE, prepare_model
from sim.errors import StudyError
from sim.units import clock_time

if TYPE_CHECKING:
    from sim.studies.plan import Plan
    from sim.studies.result import StudyResult
    from sim.studies.runner import Progress

INTERRUPTED = 130


def study(options: Namespace) -> int:
    """One study, or the list of studies when none is named.

    Returns
    -------
    code : int
        0 when all trips are finished, 130 when it was interrupted.
    """
    if options.quantities:
        return _list_quantities()
    if options.study is None:
        return _list_studies()
    from sim.studies.cluster import check_address
    from sim.studies.journal import RECORD, read_record
    from sim.studies.plan import make_plan
    from sim.studies.question import read_study

    if options.cluster is not None:
        check_address(options.cluster)
    named = Path(options.study)
    if os.path.lexists(named / RECORD):
        plan, out = read_record(named), options.out or str(named)
    else:
        plan, out = make_plan(read_study(options.study)), options.out
    return drive(plan, out, options)


def drive_grid(varied: dict[str, list[str]], asked: dict[str, Any], options: Namespace) -> int:
    """A comparison of more trips than fit side by side: a study of the same grid.

    Parameters
    ----------
    varied : dict
        Values as text by key.
    asked : dict
        Road, truck, settings and changes asked for, and those to take otherwise.
    """
    from sim.inputs.files import load_settings_file
    from sim.studies.plan import make_plan
    from sim.studies.question import study_of_grid

    names = {word: asked[word] for word in ("route", "truck", "settings")}
    if "settings" not in varied:
        file = load_settings_file(names["settings"])
        for word, key, its, place in (("route", "road", file.road, 0), ("truck", "truck", file.truck, 1)):
            if key not in varied:
                names[word] = names[word] or its or asked["otherwise"][place]
    plan = make_plan(study_of_grid(varied, names["route"], names["truck"], names["settings"], asked["changes"]))
    return drive(plan, options.out, options)


def drive(plan: "Plan", out: str | None, options: Namespace) -> int:
    """Drives a plan, says how far it is, and prints and keeps the answer.

    Parameters
    ----------
    out : str or None
        Folder; None for one of the user's.
    options : Namespace
        Of the command line: workers, cluster, force, json, units.

    Returns
    -------
    code : int
        0 when all trips are finished, 130 when it was interrupted.
    """
    from sim.studies.catalogue import folder_of, note
    from sim.studies.findings import answers_json, write_answers
    from sim.studies.runner import run_study

    folder = Path(out) if out else folder_of(plan)
    prepare_model()
    with _interruptible() as stop, _progress_line() as progress:
        result = run_study(
            plan,
            folder,
            workers=options.workers,
            cluster=getattr(options, "cluster", None),
            progress=progress,
            stop=stop,
            force=options.force,
            units=options.units,
        )
    write_answers(result)
    _write_report(result)
    try:
        note(plan, folder, result.trips)
    except StudyError as problem:
        print(f"haulbench: {problem}", file=sys.stderr)
    if options.json:
        print(answers_json(result))
    else:
        from sim.command.study_words import study_text

        print(study_text(result, options.units))
        print(f"\nKept in {folder}: report.html, results.parquet, results.csv, answers.json, study.json")
    if not result.complete:
        print("haulbench: interrupted; the same command goes on where this one stopped", file=sys.stderr)
        return INTERRUPTED
    return 0


def _write_report(result: "StudyResult") -> None:
    """The report of a study, beside its tables."""
    from dashboard.fuel_study.report import study_report
    from sim.messages import studies as say
    from sim.writing import write_file

    try:
        write_file(result.folder / "report.html", study_report(result).encode())
    except OSError as problem:
        raise StudyError(
            say.cannot_write(place=str(result.folder), reason=problem.strerror or str(problem), kept=result.trips)
        ) from None


@contextmanager
def _interruptible() -> Iterator[threading.Event]:
    """The first interrupt lets the trips under way finish; the second ends at once."""
    stop = threading.Event()

    def interrupted(_: int, __: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()
        print("\nStopping after the trips under way; once more ends at once.", file=sys.stderr, flush=True)

    before = signal.signal(signal.SIGINT, interrupted)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _progress_line() -> Iterator[Callable[["Progress"], None] | None]:
    """One line that is written over, for a person at a terminal who has waited for a second."""
    if not sys.stderr.isatty():
        yield None
        return
    last, width = time.perf_counter(), 0

    def show(progress: "Progress") -> None:
        nonlocal last, width
        now = time.perf_counter()
        if now - last < PATIENCE:
            return
        last = now
        line = f"{progress.done} of {progress.total} trips"
        line += f", {progress.refused} cannot be driven" if progress.refused else ""
        line += f", about {clock_time(progress.seconds_left)} left" if progress.seconds_left is not None else ""
        print(f"\r{line:{width}}", end="", file=sys.stderr, flush=True)
        width = len(line)

    try:
        yield show
    finally:
        if width:
            print(f"\r{'':{width}}\r", end="", file=sys.stderr, flush=True)


def _list_studies() -> int:
    """Shipped studies, and earlier ones on this machine."""
    from sim.studies.catalogue import entries
    from sim.studies.question import list_studies, read_study

    names = list_studies()
    width = max(map(len, names)) + 2
    print("Studies")
    for name in names:
        print(f"  {name:{width}}{read_study(name).title}")
    earlier = entries()
    if earlier:
        print("On this machine")
        for entry in earlier:
            far = "all" if entry.finished >= entry.trips else f"{entry.finished} of"
            print(f"  {entry.folder}\n    {entry.title}: {far} {entry.trips} trips, {entry.changed}")
    return 0


def _list_quantities() -> int:
    """Every quantity that can be reported, bounded or made least."""
    from sim.studies.quantities import QUANTITIES, unit_called

    width = max(map(len, QUANTITIES)) + 2
    for name, (words, _) in QUANTITIES.items():
        unit = unit_called(name)
        print(f"{name:{width}}{words}{f' [{unit}]' if unit else ''}")
    return 0
