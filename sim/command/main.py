"""Reads the command line and calls the Python interface. Nothing heavy is loaded before it is needed."""

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn

from sim import __version__
from sim.errors import HaulbenchError, SettingsError
from sim.inputs import usual
from sim.messages import MOST_LETTERS, running, shortened
from sim.units import number_in, whole_number_in

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 8642
DYNO_TESTS = ("full-load", "governor", "motoring", "retarding", "cylinders")
BAD_INPUT = 2
FREE_TEXT = "--explain"  # whose text may be empty and may have several lines


class NotUnderstoodError(Exception):
    """What argparse found, and the command it found it in."""


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors read like the other messages of this program."""

    def error(self, message: str) -> NoReturn:
        """Raises what argparse found.

        Parameters
        ----------
        message : str
            In argparse's words.

        Raises
        ------
        NotUnderstoodError
            Always.
        """
        raise NotUnderstoodError(message, self.prog)


def _read(arguments: Sequence[str]) -> argparse.Namespace:
    """The options of a command line, or one message that says what is wrong with it."""
    _check_words(arguments)
    try:
        return _parser().parse_args(arguments)
    except NotUnderstoodError as problem:
        wording, command = problem.args
        for given in {piece for word in arguments for piece in (word, word.partition("=")[2])}:
            if len(given) > MOST_LETTERS:
                wording = wording.replace(repr(given), f"'{shortened(given)}'").replace(given, shortened(given))
        raise SettingsError(running.command_line(problem=wording, command=command)) from None


def _check_words(arguments: Sequence[str]) -> None:
    """Refuses words that are empty or hold what nobody can see; only an explanation may have several lines."""
    before = "haulbench"
    for word in arguments:
        flag, equals, value = word.partition("=")
        flag, value = (flag, value) if equals and word.startswith("--") else (before, word)
        if flag != FREE_TEXT:
            if not value.strip():
                raise SettingsError(running.empty_word(after=flag))
            if not value.isprintable():
                raise SettingsError(running.unseen_letter(after=flag, given=value))
        before = word


def _whole(text: str) -> int:
    """A whole number behind a flag."""
    try:
        return whole_number_in(text)
    except ValueError:
        raise argparse.ArgumentTypeError(running.no_whole_number(given=text)) from None


def _number(text: str) -> float:
    """A number behind a flag."""
    try:
        return number_in(text)
    except ValueError:
        raise argparse.ArgumentTypeError(running.no_number(given=text)) from None


def _add_truck(command: argparse.ArgumentParser, one_value: str, truck: str = "", tables: str = "") -> None:
    """Truck, settings and single values; without a truck that of the settings is taken unless another is named."""
    otherwise = truck or f"that of the settings, or {usual.TRUCK}"
    command.add_argument("--truck", default=truck or None, help=f"truck: a name or a TOML file ({otherwise})")
    command.add_argument("--settings", metavar="NAME", help=f"settings: a name or a TOML file{tables}")
    command.add_argument("--set", metavar="KEY=VALUE", action="append", default=[], help=one_value)


def _add_inputs(command: argparse.ArgumentParser) -> None:
    """What a trip is driven with."""
    command.add_argument(
        "route",
        nargs="?",
        help=f"road: a name, a CSV file or grade:-6%%,10km,1100m (that of the settings, or {usual.ROAD})",
    )
    _add_truck(command, "one value of truck or settings, may carry a unit")


def _add_units(command: argparse.ArgumentParser) -> None:
    """In which units results are shown."""
    command.add_argument("--units", choices=("us", "metric", "both"), default="both", help="units people read (both)")


def _add_output(command: argparse.ArgumentParser) -> None:
    """How results are shown and written."""
    command.add_argument("--force", action="store_true", help="write into --out although it is not empty")
    _add_units(command)


def _add_workers(command: argparse.ArgumentParser) -> None:
    """How many trips are driven, and how their answer is shown."""
    command.add_argument("--workers", metavar="N", type=_whole, help="worker processes (one a core)")
    command.add_argument("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster, whose workers drive")
    command.add_argument("--force", action="store_true", help="drop the trips of another study in --out")
    _add_units(command)
    command.add_argument("--json", action="store_true", help="print the answers as JSON and nothing else")


def _add_dyno(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The dyno."""
    dyno = commands.add_parser("dyno", help="an engine or a truck on the dyno")
    _add_truck(
        dyno, "one value of truck or settings, may carry a unit; wins over the flags below", tables="; table dyno"
    )
    dyno.add_argument("--test", choices=DYNO_TESTS, default=DYNO_TESTS[0], help=f"what is done ({DYNO_TESTS[0]})")
    dyno.add_argument(
        "--form", choices=("flywheel", "chassis"), help="the bare engine, or the truck on rollers (flywheel)"
    )
    dyno.add_argument("--rate", metavar="RPM_PER_S", help="a sweep: change of engine speed (8)")
    dyno.add_argument("--steps", action="store_true", help="settled steps of 100 rpm instead of a sweep")
    dyno.add_argument("--both-ways", action="store_true", help="a sweep goes back up to where it began")
    dyno.add_argument(
        "--fault", metavar="NAME", action="append", default=[], help="a fault of the engine; may be repeated"
    )
    dyno.add_argument("--list-faults", action="store_true", help="the faults, one line each, and nothing else")
    dyno.add_argument("--band", metavar="PERCENT", help="allowed off the rated curve (5)")
    dyno.add_argument(
        "--correction", metavar="KIND", help="power corrected for air: none, air-to-air, liquid, regulation-85"
    )
    dyno.add_argument(
        "--predict", metavar="KEY=VALUE", action="append", default=[], help="what you expect; stands in the lab sheet"
    )
    dyno.add_argument("--out", metavar="DIR", help="folder for report.html, trace.csv, points.csv and dyno.json")
    _add_output(dyno)
    dyno.add_argument("--json", action="store_true", help="print summary and columns as JSON and nothing else")


def _add_fault(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The hidden fault."""
    fault = commands.add_parser(
        "fault",
        help="a hidden fault: drive, read, measure, then name part and failure",
        description="Hides one root cause in a truck. The tests asked for, with their times, are kept in a session file; it holds"
        " neither the answer nor the key. Whoever has this program and the file of a practice case can work the answer out: on a"
        " student's own machine it is kept from a casual look only. With --key-file the fault follows from a key that only the"
        " instructor has; then run these commands on the instructor's machine.",
    )
    steps = fault.add_subparsers(dest="step", metavar="STEP", required=True, parser_class=Parser)

    def step(name: str, words: str, file: bool = True) -> Parser:
        parser = steps.add_parser(name, help=words)
        if file:
            parser.add_argument("file", metavar="FILE", help="the session, a JSON file")
            parser.add_argument("--key-file", metavar="KEY", help="the instructor's key: a file of at least 16 bytes")
        parser.add_argument("--json", action="store_true", help="print JSON and nothing else")
        return parser

    start = step("start", "begin a session")
    start.add_argument(
        "--level", type=_whole, default=1, help="1 codes lead to the part, 2 codes mislead, 3 no code (1)"
    )
    start.add_argument("--practice", type=_whole, default=0, metavar="N", help="number of a practice case (0)")
    for name in ("class", "student", "round"):
        dest = "class_name" if name == "class" else name
        start.add_argument(f"--{name}", dest=dest, default="", metavar="NAME", help=f"{name}, for a case with a key")
    start.add_argument("--force", action="store_true", help="begin again although the file is there")
    do = step("do", "make a test: see fault list")
    do.add_argument("test", nargs="+", metavar="TEST", help="for example: drive climb, or meter coolant temperature")
    work = step("work", "ask test after test at the keyboard")
    answer = step("answer", "name part and failure")
    answer.add_argument("--part", required=True, help="see fault list")
    answer.add_argument("--failure", required=True, help="see fault list")
    answer.add_argument(
        "--because", type=_whole, action="append", default=[], metavar="N", help="number of a test (all)"
    )
    answer.add_argument("--explain", default="", metavar="TEXT", help="why, in your words")
    report = step("report", "the lab sheet; with the marking once the session is over")
    report.add_argument("--out", metavar="DIR", help="folder for sheet.html and sheet.json")
    report.add_argument("--force", action="store_true", help="write into --out although it is not empty")
    for each in (do, work, report):
        _add_units(each)
    step("list", "tests, parts and failures", file=False)
    words = step("words", "entry words of a class whose faults haulbench serve hosts", file=False)
    words.add_argument("names", nargs="*", metavar="STUDENT", help="a student's name")
    words.add_argument("--students", metavar="FILE", help="a text file with a name on each line")
    words.add_argument("--key-file", metavar="KEY", help="the instructor's key: a file of at least 16 bytes")
    words.add_argument("--class", dest="class_name", default="", metavar="NAME", help="as told to haulbench serve")
    words.add_argument("--round", default="", metavar="NAME", help="as told to haulbench serve")


def _add_run(commands: "argparse._SubParsersAction[Parser]") -> None:
    """One trip."""
    run = commands.add_parser("run", help="one trip and its summary")
    _add_inputs(run)
    run.add_argument(
        "--out", metavar="DIR", help="folder for report.html, trace.csv, events.csv, controls.csv and summary.json"
    )
    run.add_argument("--controls", metavar="FILE", help="drive by a controls.csv instead of the model driver")
    run.add_argument(
        "--bus",
        action="store_true",
        help="also write what the truck tells on its bus (SAE J1939): bus.log and bus.dbc; for simulated buses only",
    )
    _add_output(run)
    run.add_argument("--json", action="store_true", help="print the summary as JSON and nothing else")


def _add_compare(commands: "argparse._SubParsersAction[Parser]") -> None:
    """Trips side by side."""
    compare = commands.add_parser("compare", help="trips side by side; many trips become a study")
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
    compare.add_argument("--workers", metavar="N", type=_whole, help="worker processes, for many trips (one a core)")
    compare.add_argument("--json", action="store_true", help="print a JSON list and nothing else")


def _add_study(commands: "argparse._SubParsersAction[Parser]") -> None:
    """Many trips."""
    study = commands.add_parser("study", help="many trips, one answer; without a name: the list of studies")
    study.add_argument(
        "study", nargs="?", metavar="NAME", help="study: a name, a TOML file, or the folder of an earlier study"
    )
    study.add_argument("--out", metavar="DIR", help="folder for results; finished trips there are not driven again")
    _add_workers(study)
    study.add_argument("--quantities", action="store_true", help="list the quantities that can be reported instead")


def _add_route(commands: "argparse._SubParsersAction[Parser]") -> None:
    """A road from a track."""
    route = commands.add_parser("route", help="a road from a GPX track, cleaned and smoothed")
    route.add_argument("file", metavar="FILE", help="track: a GPX file, or a CSV file with distance_m and elevation_m")
    route.add_argument(
        "--out", metavar="NAME", required=True, help="path without ending: NAME.csv, NAME.toml, NAME.svg"
    )
    route.add_argument("--force", action="store_true", help="write although files of this name are there")
    route.add_argument("--every", metavar="LENGTH", default="25m", help="distance between rows of the road (25m)")
    route.add_argument("--smooth", metavar="LENGTH", default="200m", help="length the heights are smoothed over (200m)")
    route.add_argument("--limit", metavar="SPEED", help="posted limit of the whole road, for example 80km/h (none)")
    _add_units(route)


def _add_speedo(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The speedometer."""
    speedo = commands.add_parser("speedo", help="speedometer: a measured mile, its correction, and what follows")
    _add_truck(speedo, "one value of truck or settings", usual.TRUCK)
    speedo.add_argument(
        "--mystery", type=_whole, metavar="N", help="a truck with other tyres or axle nobody told of, number N"
    )
    speedo.add_argument("--shown", default="60mph", metavar="SPEED", help="speed held on the needle (60mph)")
    speedo.add_argument("--miles", type=_number, default=1.0, help="miles between the posts (1)")
    speedo.add_argument("--seed", type=_whole, default=1, help="of the errors of thumb and eye (1)")
    speedo.add_argument("--both-ways", action="store_true", help="there and back: the mean of both is what counts")
    speedo.add_argument(
        "--entered",
        metavar="PULSES",
        help="pulses per mile programmed for a second run, or tyre revolutions per mile x axle ratio x teeth: 523x3.36x16",
    )
    speedo.add_argument("--worn", default="", metavar="DEPTH", help="tread worn off the tyre in --entered, such as 8mm")
    speedo.add_argument("--out", metavar="DIR", help="folder for the lab sheet: sheet.html and sheet.json")
    _add_output(speedo)
    speedo.add_argument("--json", action="store_true", help="print JSON and nothing else")


def _add_sheet(commands: "argparse._SubParsersAction[Parser]") -> None:
    """What is programmed."""
    sheet = commands.add_parser("sheet", help="every programmable value: old, new, allowed; a record to sign")
    _add_truck(sheet, "one value that is changed", usual.TRUCK)
    sheet.add_argument("--out", metavar="DIR", help="folder for record.html")
    _add_output(sheet)
    sheet.add_argument("--json", action="store_true", help="print a JSON list and nothing else")


def _add_knobs(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The controller without a truck."""
    knobs = commands.add_parser("knobs", help="the controller without a truck: turn what it senses, see what it does")
    knobs.add_argument(
        "steps",
        nargs="*",
        metavar="STEP",
        help="KNOB=VALUE, which may carry a unit or be on or off; BUTTON=press; wait=TIME. For example engine_speed=1500rpm"
        " road_speed=60mph set=press road_speed=64mph",
    )
    knobs.add_argument("--file", metavar="FILE", help="a text file of steps, done before those of the command line")
    knobs.add_argument(
        "--pause", default="3s", metavar="TIME", help="after each step, before the state is printed (3s)"
    )
    knobs.add_argument("--list-knobs", action="store_true", help="the knobs with their ranges, and nothing else")
    knobs.add_argument("--pins", action="store_true", help="also every pin, and what the controller believes")
    _add_truck(knobs, "one value of truck or settings, may carry a unit")
    _add_units(knobs)
    knobs.add_argument("--json", action="store_true", help="print a JSON list, one entry a step, and nothing else")


def _add_listing(commands: "argparse._SubParsersAction[Parser]") -> None:
    """What there is."""
    listing = commands.add_parser("list", help="roads, trucks and settings, one line each")
    listing.add_argument(
        "--keys", action="store_true", help="every key of a settings file with default, range, unit and meaning instead"
    )
    _add_units(listing)


def _add_serve(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The browser side."""
    serve = commands.add_parser("serve", help="the browser workbench, served from this machine")
    serve.add_argument("--host", default=DEFAULT_HOST, help=f"address to listen on ({DEFAULT_HOST}: this machine only)")
    serve.add_argument(
        "--port", type=_whole, default=DEFAULT_PORT, help=f"port; 0 for any that is free ({DEFAULT_PORT})"
    )
    serve.add_argument(
        "--share", action="store_true", help="let other machines in: needed with a --host they can reach"
    )
    serve.add_argument("--certificate", metavar="PEM", help="speak HTTPS with this chain of certificates")
    serve.add_argument("--private-key", metavar="PEM", help="the key of the certificate, without a password")
    serve.add_argument(
        "--proxy", metavar="ADDRESS", help="take a proxy's word, at this address, on who asks from where"
    )
    serve.add_argument("--open", action="store_true", help="open the pages in this machine's browser")
    serve.add_argument("--key-file", metavar="KEY", help="host hidden faults for a class; they follow from this key")
    serve.add_argument("--class", dest="class_name", default="", metavar="NAME", help="the class, with --key-file")
    serve.add_argument("--round", default="", metavar="NAME", help="another round, other faults; with --key-file")
    serve.add_argument("--level", type=_whole, default=1, help="of the hidden faults, 1 to 3 (1)")
    serve.add_argument(
        "--sessions", default="", metavar="DIR", help="folder for the students' sessions (in memory only)"
    )
    serve.add_argument(
        "--password-file", metavar="FILE", help="the instructor's password; without it one is made and printed"
    )


def _add_check(commands: "argparse._SubParsersAction[Parser]") -> None:
    """The published checks."""
    check = commands.add_parser("check", help="published numbers against the laws the trip uses")
    check.add_argument("--json", action="store_true", help="print a JSON list and nothing else")


def _parser() -> Parser:
    """The commands and their flags."""
    parser = Parser(prog="haulbench", description="Drives a loaded diesel truck over a road and says what happened.")
    parser.add_argument("--version", action="version", version=f"haulbench {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for add in (
        _add_run,
        _add_compare,
        _add_study,
        _add_dyno,
        _add_route,
        _add_speedo,
        _add_sheet,
        _add_fault,
        _add_knobs,
        _add_listing,
        _add_serve,
        _add_check,
    ):
        add(commands)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command.

    Parameters
    ----------
    arguments : sequence of str or None
        Command line without the program's name; None for the real one.

    Returns
    -------
    code : int
        0 done, 1 a check failed, 2 bad input, 130 interrupted.
    """
    try:
        options = _read(sys.argv[1:] if arguments is None else arguments)
        if options.command is None:
            _parser().print_help()
            return 0
        from sim.command import actions, calibrating, importing, serving, studying
        from sim.command import dyno_command as dyno
        from sim.command import fault_command as hunting
        from sim.command import knobs_command as knobs

        action = {
            "run": actions.run,
            "compare": actions.compare,
            "dyno": dyno.dyno,
            "route": importing.make_route,
            "speedo": calibrating.speedo,
            "sheet": calibrating.sheet,
            "fault": hunting.fault,
            "knobs": knobs.knobs,
            "study": studying.study,
            "list": actions.list_all,
            "check": actions.check,
            "serve": serving.serve,
        }[options.command]
        return action(options)
    except HaulbenchError as problem:
        print(running.refused(problem=str(problem)), file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print(running.interrupted(), file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
