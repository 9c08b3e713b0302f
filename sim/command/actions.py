"""What each command does."""

import json
import sys
from argparse import Namespace

from sim.command.folder import check_folder, write_folder
from sim.command.words import summary_text


def _prepare_model() -> None:
    """Says, once in the life of a version, that the model is being compiled."""
    from sim.compiled import is_prepared

    if not is_prepared():
        print("Preparing the model; this takes a quarter of a minute and happens once.", file=sys.stderr, flush=True)


def run(options: Namespace) -> int:
    """One trip.

    Parameters
    ----------
    options : Namespace
        Of the command line. [-]

    Returns
    -------
    code : int
        0 however the trip ended. [-]

    Raises
    ------
    HaulbenchError
        An input cannot be used or a result cannot be written.
    """
    from sim.files import load_settings, load_truck, split_changes
    from sim.route import load_route

    truck_changes, settings_changes = split_changes(options.set)
    truck = load_truck(options.truck, truck_changes)
    settings = load_settings(options.settings, settings_changes)
    route = load_route(options.route)
    if options.out:
        check_folder(options.out, options.force)
    _prepare_model()
    from sim.trip import run_trip

    result = run_trip(truck, route, settings)
    if options.out:
        files = {
            "trace.csv": result.trace.csv(),
            "events.csv": result.events_csv(),
            "summary.json": result.summary_json(),
        }
        write_folder(options.out, files, options.force)
    if options.json:
        print(result.summary_json(), end="")
    else:
        print(summary_text(result, options.units))
        if options.out:
            print(f"\nWritten to {options.out}: {', '.join(files)}")
    return 0


def list_all(options: Namespace) -> int:
    """Roads and trucks.

    Parameters
    ----------
    options : Namespace
        Of the command line. [-]

    Returns
    -------
    code : int
        0. [-]
    """
    from sim.files import list_trucks, load_truck
    from sim.route import list_routes, load_route

    del options
    routes = {name: load_route(name).title for name in list_routes()}
    trucks = {name: load_truck(name).truck.name for name in list_trucks()}
    width = max(len(name) for name in (*routes, *trucks)) + 2
    print("Roads")
    for name, title in routes.items():
        print(f"  {name:{width}}{title}")
    print(f"  {'grade:-6%,10km,1100m':{width}}constant grade: grade, length, altitude at the start")
    print("Trucks")
    for name, title in trucks.items():
        print(f"  {name:{width}}{title}")
    return 0


def check(options: Namespace) -> int:
    """The published checks.

    Parameters
    ----------
    options : Namespace
        Of the command line. [-]

    Returns
    -------
    code : int
        0 when all pass, 1 when one fails. [-]
    """
    _prepare_model()
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
        from sim.command.words import power_split_text

        print()
        print(power_split_text())
        print(f"\n{len(rows) - len(failed)} of {len(rows)} checks pass.")
    return 1 if failed else 0
