"""What each command does."""

import csv
import io
import json
import math
import sys
from argparse import Namespace
from typing import TYPE_CHECKING, Any

from sim.command.folder import check_folder, write_folder
from sim.command.waiting import prepare_model, trip_counter, word_after_a_while
from sim.command.words import summary_text
from sim.errors import SettingsError
from sim.inputs import usual
from sim.messages import output
from sim.units import quantity_text
from sim.wording import said

if TYPE_CHECKING:
    from sim.trips.compare import Comparison


def _asked(options: Namespace) -> dict[str, Any]:
    """Road, truck and settings asked for, and those to take otherwise: the same for one trip and for many."""
    varied = {text.partition("=")[0].strip() for text in getattr(options, "vary", [])}
    nothing = options.route is None and options.settings is None and not varied & {"road", "settings"}
    return {
        "route": options.route,
        "truck": options.truck,
        "settings": usual.SETTINGS if nothing else options.settings,
        "changes": options.set,
        "otherwise": (usual.ROAD, usual.TRUCK),
    }


def run(options: Namespace) -> int:
    """One trip."""
    from sim.inputs.one_trip import read_inputs

    if options.bus and not options.out:
        raise SettingsError(output.bus_needs_folder())
    inputs = read_inputs(**_asked(options))
    settings = inputs.settings
    if options.bus:
        from sim.bus import bus_settings, check_library

        check_library()
        settings = bus_settings(settings)
    if options.out:
        check_folder(options.out, options.force)
    prepare_model()
    from sim.trips.recording import controls_csv, read_controls
    from sim.trips.trip import foretell, run_trip

    if sys.stderr.isatty() and not options.json and not options.controls:
        for foreseen in foretell(inputs.truck.truck, inputs.route, inputs.settings):
            print(f"What will happen: {said(foreseen, options.units)}", file=sys.stderr, flush=True)
    feed = read_controls(options.controls, inputs.truck.truck) if options.controls else None
    with word_after_a_while(f"Driving {quantity_text(inputs.route.length, 'distance', options.units, 0)} ..."):
        result = run_trip(inputs.truck, inputs.route, settings, feed=feed, keeps=bool(options.out))
    if options.out:
        from dashboard.trip.report import trip_report

        files = {
            "report.html": trip_report(result),
            "trace.csv": result.trace.csv(),
            "events.csv": result.events_csv(options.units),
            "summary.json": result.summary_json(),
            "controls.csv": controls_csv(result.controls),
        }
        if result.meters:
            files["meters.csv"] = result.meters_csv()
        if options.bus:
            from sim.bus import bus_database, bus_log

            with word_after_a_while("Writing the bus ..."):
                files |= {"bus.log": bus_log(result), "bus.dbc": bus_database()}
        write_folder(options.out, files, options.force)
    if options.json:
        print(result.summary_json(), end="")
    else:
        print(summary_text(result, options.units))
        if options.out:
            print(f"\nWritten to {options.out}: {', '.join(files)}")
    return 0


def compare(options: Namespace) -> int:
    """A few trips side by side.

    Raises
    ------
    HaulbenchError
        An input or a combination cannot be used or a result cannot be written.
    """
    from sim.inputs.files import load_settings_file
    from sim.trips.compare import MOST_TRIPS, drive_variants, read_variants, read_vary

    asked = _asked(options)
    vary, task = options.vary, ""
    if not vary and asked["settings"]:
        file = load_settings_file(asked["settings"])
        vary, task = file.vary, file.task
        if any(text.partition("=")[0].strip() == "settings" for text in vary):
            # the file only says which others to compare, and where
            asked |= {"settings": None, "route": asked["route"] or file.road, "truck": asked["truck"] or file.truck}
    varied = read_vary(vary)
    if math.prod(map(len, varied.values())) > MOST_TRIPS:
        from sim.command.studying import drive_grid

        return drive_grid(varied, asked, options)
    variants = read_variants(varied, **asked)
    if options.out:
        check_folder(options.out, options.force)
    prepare_model()
    comparison = drive_variants(variants, trip_counter())
    if options.out:
        write_folder(options.out, _files_of(comparison, options.units), options.force)
    if options.json:
        pairs = zip(comparison.varied, comparison.results, strict=True)
        trips = [{"varied": varied, "summary": result.summary} for varied, result in pairs]
        print(json.dumps(trips, indent=2, allow_nan=False))
    else:
        from sim.command.table import comparison_text

        if task:
            print(f"{task}\n")
        print(comparison_text(comparison, options.units))
        if options.out:
            last = len(variants)
            files = f"report.html, comparison.csv, trace-1.csv to trace-{last}.csv, events and summaries likewise"
            print(f"\nWritten to {options.out}: {files}")
    return 0


def _files_of(comparison: "Comparison", units: str) -> dict[str, str]:
    """Name and text of each file of a comparison."""
    from dashboard.trip.report import comparison_report
    from sim.command.table import comparison_rows

    table = io.StringIO()
    csv.writer(table, lineterminator="\n").writerows(comparison_rows(comparison))
    files = {"report.html": comparison_report(comparison), "comparison.csv": table.getvalue()}
    for number, result in enumerate(comparison.results, start=1):
        files[f"trace-{number}.csv"] = result.trace.csv()
        files[f"events-{number}.csv"] = result.events_csv(units)
        files[f"summary-{number}.json"] = result.summary_json()
    return files


def list_all(options: Namespace) -> int:
    """Roads, trucks and settings."""
    from sim.inputs.files import described_keys, list_settings, list_trucks, load_settings_file, load_truck
    from sim.inputs.specs import Settings
    from sim.roads.route import list_routes, load_route

    if options.keys:
        rows = described_keys(Settings, options.units)
        wide, default = (max(len(row[column]) for row in rows) for column in (0, 1))
        for key, value, words in rows:
            print(f"{key:{wide}}  {value:{default}}  {words}")
        return 0

    def sized(title: str, **sizes: float) -> str:
        texts = (quantity_text(value, kind, options.units) for kind, value in sizes.items())
        return f"{title}; {', '.join(texts)}"

    listed: dict[str, dict[str, str]] = {"Roads": {}, "Trucks": {}, "Settings": {}}
    for name in list_routes():
        route = load_route(name)
        listed["Roads"][name] = sized(route.title, distance=route.length)
    listed["Roads"]["grade:-6%,10km,1100m"] = (
        "constant grade: grade, length, altitude at the start; a posted limit may follow"
    )
    for name in list_trucks():
        truck = load_truck(name).truck
        listed["Trucks"][name] = sized(truck.name, mass=truck.vehicle.mass_kg, power=truck.engine.si("rated_power_kw"))
    listed["Settings"] = {name: load_settings_file(name).title for name in list_settings()}
    width = max(len(name) for names in listed.values() for name in names) + 2
    for heading, names in listed.items():
        print(heading)
        for name, title in names.items():
            print(f"  {name:{width}}{title}")
    return 0


def check(options: Namespace) -> int:
    """The published checks.

    Returns
    -------
    code : int
        0 when all pass, 1 when one fails.
    """
    prepare_model()
    from dataclasses import asdict

    from sim.checks import run_checks

    rows = run_checks()
    failed = [row for row in rows if row.verdict != "pass"]
    if options.json:
        print(json.dumps([asdict(row) for row in rows], indent=1))
    else:
        print(f"{'id':10}{'expected':>14}{'got':>14}{'tolerance':>12}  {'unit':14}{'verdict':8} topic; source [mark]")
        for row in rows:
            print(
                f"{row.id:10}{row.expected:14.6g}{row.got:14.6g}{row.tolerance:12.2g}  {row.unit:14}{row.verdict:8} "
                f"{row.topic}; {row.source} [{row.mark}]"
            )
        print(f"\n{len(rows) - len(failed)} of {len(rows)} checks pass.")
    return 1 if failed else 0
