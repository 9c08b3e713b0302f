"""`haulbench fault`: a truck with one thing wrong, the tests a student asks for, the answer and its marking."""

import json
import os
import sys
from argparse import Namespace
from pathlib import Path
from typing import Any

from sim.command.folder import check_folder, write_folder
from sim.command.waiting import prepare_model
from sim.errors import HaulbenchError, SettingsError
from sim.messages import hidden as say
from sim.reading import NAMES, SESSION, read_line, read_text
from sim.roads.route import load_route
from sim.writing import write_file

MOST_PRACTICE = 999_999  # number of a practice case
SECRECY = (
    "A practice case is safe from a casual look only: whoever has this program and the file can work the answer out. With"
    " --key-file the fault follows from a key that only the instructor has. The student then sees only what the instructor's"
    " machine sends."
)


def fault(options: Namespace) -> int:
    """One step of a hidden fault."""
    return {
        "start": _start,
        "do": _do,
        "work": _work,
        "answer": _answer,
        "report": _report,
        "list": _list,
        "words": _words,
    }[options.step](options)


# ---------------------------------------------------------------- the file


def _key(options: Namespace) -> bytes | None:
    """The instructor's key, when one is given."""
    from sim.hidden.key import read_key

    return read_key(options.key_file) if options.key_file else None


def _open(options: Namespace) -> tuple[dict[str, Any], bytes]:
    """The session of a file, its seal checked."""
    from sim.hidden.session import read_session

    key = _key(options)
    return read_session(read_text(Path(options.file), SESSION, SettingsError), options.file, key, roads=None)


def _save(file: str, session: dict[str, Any]) -> None:
    """Keeps a session."""
    try:
        write_file(Path(file), json.dumps(session, indent=1, allow_nan=False) + "\n")
    except OSError as problem:
        raise SettingsError(say.session_not_written(file=file, reason=str(problem.strerror))) from None


# ---------------------------------------------------------------- steps


def _start(options: Namespace) -> int:
    """Begins a session."""
    from sim.hidden.session import start

    if not 0 <= options.practice <= MOST_PRACTICE:
        raise SettingsError(say.practice_range(given=str(options.practice), most=MOST_PRACTICE))
    if os.path.lexists(options.file) and not options.force:
        raise SettingsError(say.session_there(file=options.file))
    names = {"class": options.class_name, "student": options.student, "round": options.round}
    session, _ = start(options.level, options.practice, _key(options), names)
    _save(options.file, session)
    if options.json:
        print(json.dumps(session, indent=1))
    else:
        print(_head(session))
        print(
            f"\nKept in {options.file}. Ask with: haulbench fault do {options.file} TEST; tests: haulbench fault list"
        )
        if "practice" in session["case"]:
            print(SECRECY)
        print("\n" + "\n".join(session["cautions"]))
    return 0


def _do(options: Namespace) -> int:
    """One test."""
    session, key = _open(options)
    _asked(session, key, " ".join(options.test), options)
    return 0


def _asked(session: dict[str, Any], key: bytes, text: str, options: Namespace, truck: Any = None) -> None:
    """Makes a test, keeps it, shows it."""
    from sim.hidden.menu import check_requests, read_request
    from sim.hidden.session import ask, check_open

    check_open(session, options.file)
    check_requests([read_request(text)], load_route)
    prepare_model()
    entry = ask(session, key, text, options.file, truck=truck or _truck(session, key))
    _save(options.file, session)
    if options.json:
        print(json.dumps(entry | {"cautions": session["cautions"]}, indent=1))
        return
    print(entry_text(entry, options.units))
    moved = entry["test"].split()[0] in ("drive", "coast", "rollers", "air", "exhaust", "fuel", "cut-out")
    print("\n" + session["cautions"][0] + "\n" + session["cautions"][1 if moved else 2])


def _truck(session: dict[str, Any], key: bytes) -> Any:
    """The truck of a session, which drives over a student's own files too: they are those of whoever typed the command."""
    from sim.hidden.session import hidden_in
    from sim.hidden.truck_under_test import TruckUnderTest

    return TruckUnderTest(hidden_in(session, key), load_route)


def _work(options: Namespace) -> int:
    """A session at the keyboard: one test a line, until an answer or the end of the input."""
    session, key = _open(options)
    truck = _truck(session, key)
    print(_head(session))
    print("\n" + "\n".join(session["cautions"]))
    print("\nOne test a line; list shows the tests, answer PART: FAILURE answers, an empty line ends.")
    while not session["closed"]:
        print("\n> ", end="", flush=True)
        line = read_line(sys.stdin).strip()
        if not line:
            break
        try:
            if line == "list":
                print(tests_text())
            elif line.startswith("answer "):
                part, _, failure = line.removeprefix("answer ").partition(":")
                _answered(session, key, part.strip(), failure.strip(), [], "", options)
            else:
                _asked(session, key, line, options, truck)
        except HaulbenchError as problem:
            print(problem)
    print(f"\nKept in {options.file}.")
    return 0


def _answer(options: Namespace) -> int:
    """An answer, and when it is the last one the marking."""
    session, key = _open(options)
    _answered(session, key, options.part, options.failure, options.because, options.explain, options)
    return 0


def _answered(
    session: dict[str, Any],
    key: bytes,
    part: str,
    failure: str,
    because: list[int],
    explanation: str,
    options: Namespace,
) -> None:
    """Takes an answer, keeps it, shows what it is worth."""
    from sim.hidden.session import give_answer

    answer = give_answer(session, key, part, failure, because, explanation, options.file)
    _save(options.file, session)
    shown: dict[str, Any] = {"answer": answer, "attempts_left": session["attempts_left"], "closed": session["closed"]}
    if session["closed"]:
        shown["marking"] = _marked(session, key, options.file)
    if options.json:
        print(json.dumps(shown | {"cautions": session["cautions"]}, indent=1))
        return
    if answer["failure_right"]:
        print("Part and failure are right.")
    elif answer["part_right"]:
        print("The part is right, its failure is another one.")
    else:
        print("It is another part.")
    if session["closed"]:
        print("\n" + marking_text(shown["marking"]))
    else:
        print(f"Attempts left: {session['attempts_left']}. Measure before the next.")
    print("\n" + "\n".join(session["cautions"]))


def _marked(session: dict[str, Any], key: bytes, file: str) -> dict[str, Any]:
    """The marking, with a word of what takes so long."""
    from sim.hidden.marking import Bay, mark
    from sim.hidden.session import hidden_in, sound_truck

    prepare_model()
    print("Marking: your tests are made on the truck with every other cause.", file=sys.stderr, flush=True)
    return mark(session, key, file, Bay(hidden_in(session, key), sound_truck(load_route)))


def _report(options: Namespace) -> int:
    """The lab sheet: so far without the answer, and with the marking once the session is over."""
    session, key = _open(options)
    if options.out:
        check_folder(options.out, options.force)
    marking = _marked(session, key, options.file) if session["closed"] else None
    sheet = {name: session[name] for name in session if name != "seal"} | {"marking": marking}
    if options.out:
        from dashboard.paper.lab_sheet import fault_sheet

        page = fault_sheet(sheet, options.units)
        files = {"sheet.html": page, "sheet.json": json.dumps(sheet, indent=1, allow_nan=False) + "\n"}
        write_folder(options.out, files, options.force)
    if options.json:
        print(json.dumps(sheet, indent=1))
        return 0
    print(_head(session))
    for entry in session["tests"]:
        print("\n" + entry_text(entry, options.units))
    if marking:
        print("\n" + marking_text(marking))
    print("\n" + "\n".join(session["cautions"]))
    if options.out:
        print(f"\nWritten to {options.out}: {', '.join(files)}")
    return 0


def _list(options: Namespace) -> int:
    """Tests, parts and failures."""
    from sim.hidden.causes import NAMEABLE
    from sim.hidden.menu import MENU
    from sim.hidden.session import CAUTIONS

    if options.json:
        tests = {name: test._asdict() for name, test in MENU.items()}
        shown = {"tests": tests, "parts": NAMEABLE, "cautions": list(CAUTIONS)}
        print(json.dumps(shown, indent=1))
        return 0
    print(tests_text())
    print("\nParts and the failures an answer may name:")
    width = max(len(part) for part in NAMEABLE) + 2
    for part, failures in sorted(NAMEABLE.items()):
        print(f"  {part:{width}}{', '.join(failures)}")
    print("\n" + "\n".join(CAUTIONS))
    return 0


def _words(options: Namespace) -> int:
    """Entry words of a class, for the instructor to hand out."""
    from sim.hidden.key import checked_name, entry_word, plain_name

    names = [checked_name(name) for name in options.names]
    if options.students:
        where = f"--students {options.students}"
        lines = read_text(Path(options.students), NAMES, SettingsError, where).splitlines()
        for number, line in enumerate(lines, start=1):
            try:
                names.append(checked_name(line))
            except SettingsError as problem:
                raise SettingsError(say.of_line(where=where, line=number, problem=str(problem))) from None
    shown = {plain_name(name): name for name in reversed(names) if plain_name(name)}
    names = list(reversed(shown.values()))
    if not names:
        raise SettingsError(say.no_student_names())
    key = _key(options)
    missing = [
        flag
        for flag, value in (("--key-file", key), ("--class", options.class_name), ("--round", options.round))
        if not value
    ]
    if key is None or missing:
        raise SettingsError(say.hosting_needs(missing=missing))
    words = {name: entry_word(key, options.class_name, options.round, name) for name in names}
    if options.json:
        print(json.dumps(words, indent=1, ensure_ascii=False))
        return 0
    width = max(len(name) for name in names) + 2
    print("\n".join(f"{name:{width}}{word}" for name, word in words.items()))
    return 0


# ---------------------------------------------------------------- words


def _head(session: dict[str, Any]) -> str:
    """What a session is about."""
    case = ", ".join(f"{name} {value}" for name, value in session["case"].items())
    return (
        f"Hidden fault: {case}; level {session['level']}; begun {session['started']}\n"
        f'The driver says: "{session["complaint"]}"\n'
        f"Tests made: {len(session['tests'])}; attempts left: {session['attempts_left']}"
    )


def tests_text() -> str:
    """The tests a student can ask for."""
    from sim.hidden.menu import FREE_TABLES, MENU

    lines = ["Tests, minutes in a shop, what they show:"]
    for name, test in MENU.items():
        lines.append(f"  {name:14}{test.minutes:4.0f} min  {test.words}")
        if test.takes:
            lines.append(f"  {'':14}{'':8}  one of: {', '.join(test.takes)}")
    lines.append(
        f"  drive takes any road too, and settings of the driver (tables {', '.join(FREE_TABLES)}), for example"
        " drive grade:4%,2km weather.temperature_c=35"
    )
    return "\n".join(lines)


def entry_text(entry: dict[str, Any], units: str) -> str:
    """One test in words.

    Parameters
    ----------
    entry : dict
        As `sim.hidden.session.ask` gives it.
    units : str
        us, metric or both.
    """
    from sim.hidden.record import reading_words

    lines = [f"{entry['number']}. {entry['test']}   {entry['time']}"]
    for reading in entry["readings"]:
        found, sound = reading_words(reading, units)
        lines.append(f"   {reading['name']:32} {found:36} {'sound: ' if sound else ''}{sound}".rstrip())
    return "\n".join(lines)


def marking_text(marking: dict[str, Any]) -> str:
    """A marking in words.

    Parameters
    ----------
    marking : dict
        As `sim.hidden.marking.mark` gives it.
    """
    which = f" (cylinder {marking['cylinder']})" if marking["cylinder"] else ""
    lines = [
        f"It was: {marking['part']}: {marking['failure']}{which}",
        f"Rubric: {marking['score']} of 4: {marking['score_words']}",
        marking["teaches"],
        "",
        f"What your evidence left of {marking['candidates'] - 1} other causes:",
        *(f"  {step['number']}. {step['test']}: {step['left']}" for step in marking["evidence"]),
    ]
    if marking["still_possible"]:
        lines.append(f"  still possible: {', '.join(marking['still_possible'])}")
    if not marking["looked_at_the_part"]:
        lines.append("  no test of it looked at the part itself")
    lines += [
        f"A short path ({marking['shortest_path_minutes']:.0f} min; you took {marking['tests_used']} tests,"
        f" {marking['minutes_used']:.0f} min):",
        *(f"  {step['test']}: {step['left']} left" for step in marking["shortest_path"]),
    ]
    return "\n".join(lines)
