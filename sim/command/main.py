"""Reads the command line and calls the Python interface. Nothing heavy is loaded before it is needed."""

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn

from sim.errors import HaulbenchError, SettingsError

DEFAULT_ROUTE = "skarrow-grade"
DEFAULT_SETTINGS = "mountain-in-seventh"
DEFAULT_TRUCK = "long-haul-manual"
BAD_INPUT = 2


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors read like the other messages of this program."""

    def error(self, message: str) -> NoReturn:
        """Raises what argparse found.

        Parameters
        ----------
        message : str
            In argparse's words. [-]

        Raises
        ------
        SettingsError
            Always.
        """
        raise SettingsError(f"{message}. {self.prog} --help shows what is allowed.")


def _add_inputs(command: argparse.ArgumentParser) -> None:
    """What a trip is driven with."""
    command.add_argument(
        "route",
        nargs="?",
        help=f"road: a name, a CSV file or grade:-6%%,10km,1100m (that of the settings, or {DEFAULT_ROUTE})",
    )
    command.add_argument("--truck", help=f"truck: a name or a TOML file (that of the settings, or {DEFAULT_TRUCK})")
    command.add_argument("--settings", metavar="NAME", help="settings: a name or a TOML file")
    command.add_argument(
        "--set",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        help="one value of truck or settings, may carry a unit",
    )


def _add_output(command: argparse.ArgumentParser) -> None:
    """How results are shown and written."""
    command.add_argument("--force", action="store_true", help="write into --out although it is not empty")
    command.add_argument("--units", choices=("us", "metric", "both"), default="both", help="units people read (both)")


def _parser() -> Parser:
    """The commands and their flags."""
    parser = Parser(prog="haulbench", description="Drives a loaded diesel truck over a road and says what happened.")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)

    run = commands.add_parser("run", help="one trip and its summary")
    _add_inputs(run)
    run.add_argument("--out", metavar="DIR", help="folder for report.html, trace.csv, events.csv and summary.json")
    _add_output(run)
    run.add_argument("--json", action="store_true", help="print the summary as JSON and nothing else")

    compare = commands.add_parser("compare", help="a few trips side by side")
    _add_inputs(compare)
    compare.add_argument(
        "--vary",
        metavar="KEY=a,b,c",
        action="append",
        default=[],
        help="what differs from trip to trip: a key of truck or settings, or truck, road or settings; again for a grid;"
        " without it what the settings file names",
    )
    compare.add_argument(
        "--out", metavar="DIR", help="folder for report.html, comparison.csv and the files of each trip"
    )
    _add_output(compare)
    compare.add_argument("--json", action="store_true", help="print a JSON list and nothing else")

    route = commands.add_parser("route", help="a road from a GPX track, cleaned and smoothed")
    route.add_argument("file", metavar="FILE", help="track: a GPX file, or a CSV file with distance_m and elevation_m")
    route.add_argument(
        "--out", metavar="NAME", required=True, help="path without ending: NAME.csv, NAME.toml, NAME.svg"
    )
    route.add_argument("--force", action="store_true", help="write although files of this name are there")
    route.add_argument("--every", metavar="LENGTH", default="25m", help="distance between rows of the road (25m)")
    route.add_argument("--smooth", metavar="LENGTH", default="200m", help="length the heights are smoothed over (200m)")
    route.add_argument("--limit", metavar="SPEED", help="posted limit of the whole road, for example 80km/h (none)")
    route.add_argument("--units", choices=("us", "metric", "both"), default="both", help="units people read (both)")

    speedo = commands.add_parser("speedo", help="speedometer: a measured mile, its correction, and what follows")
    speedo.add_argument("--truck", default=DEFAULT_TRUCK, help=f"truck: a name or a TOML file ({DEFAULT_TRUCK})")
    speedo.add_argument("--settings", metavar="NAME", help="settings: a name or a TOML file")
    speedo.add_argument(
        "--set", metavar="KEY=VALUE", action="append", default=[], help="one value of truck or settings"
    )
    speedo.add_argument(
        "--mystery", type=int, metavar="N", help="a truck with other tyres or axle nobody told of, number N"
    )
    speedo.add_argument("--shown", default="60mph", metavar="SPEED", help="speed held on the needle (60mph)")
    speedo.add_argument("--miles", type=float, default=1.0, help="miles between the posts (1)")
    speedo.add_argument("--seed", type=int, default=1, help="of the errors of thumb and eye (1)")
    speedo.add_argument("--entered", type=float, metavar="PULSES", help="pulses per mile programmed for a second run")
    speedo.add_argument("--out", metavar="DIR", help="folder for the lab sheet: sheet.html and sheet.json")
    _add_output(speedo)
    speedo.add_argument("--json", action="store_true", help="print JSON and nothing else")

    sheet = commands.add_parser("sheet", help="every programmable value: old, new, allowed; a record to sign")
    sheet.add_argument("--truck", default=DEFAULT_TRUCK, help=f"truck: a name or a TOML file ({DEFAULT_TRUCK})")
    sheet.add_argument("--settings", metavar="NAME", help="settings: a name or a TOML file")
    sheet.add_argument("--set", metavar="KEY=VALUE", action="append", default=[], help="one value that is changed")
    sheet.add_argument("--out", metavar="DIR", help="folder for record.html")
    _add_output(sheet)
    sheet.add_argument("--json", action="store_true", help="print a JSON list and nothing else")

    listing = commands.add_parser("list", help="roads, trucks and settings, one line each")
    listing.add_argument(
        "--keys", action="store_true", help="every key of a settings file with default, range, unit and meaning instead"
    )

    check = commands.add_parser("check", help="published numbers against the laws the trip uses")
    check.add_argument("--json", action="store_true", help="print a JSON list and nothing else")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command.

    Parameters
    ----------
    arguments : sequence of str or None
        Command line without the program's name; None for the real one. [-]

    Returns
    -------
    code : int
        0 done, 1 a check failed, 2 bad input, 130 interrupted. [-]
    """
    parser = _parser()
    try:
        options = parser.parse_args(arguments)
        if options.command is None:
            parser.print_help()
            return 0
        from sim.command import actions, bench, importing

        action = {
            "run": actions.run,
            "compare": actions.compare,
            "route": importing.make_route,
            "speedo": bench.speedo,
            "sheet": bench.sheet,
            "list": actions.list_all,
            "check": actions.check,
        }[options.command]
        return action(options)
    except HaulbenchError as problem:
        print(f"haulbench: {problem}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("haulbench: interrupted; nothing was written", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
