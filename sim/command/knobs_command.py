"""`haulbench knobs`: steps at the controller without a truck, and what it does after each, in words or as JSON."""

import json
from argparse import Namespace
from pathlib import Path
from typing import Any

from sim.command.waiting import prepare_model
from sim.errors import SettingsError
from sim.inputs import usual
from sim.messages import knobs as say
from sim.reading import STEPS, read_text
from sim.units import clock_time, from_si, quantity_in, quantity_text, to_si, unit_name
from sim.wording import event_name, said, value_said

PRESS = 0.2  # s a button is pressed for, less than what counts as held
POSITIONS = {"on": "1", "off": "0"}
WAIT = "wait"


def _time(text: str) -> float:
    """A time that is waited. [s]"""
    try:
        return max(quantity_in(text, "s"), 0.0)
    except ValueError as problem:
        raise SettingsError(say.not_read(text=text, problem=str(problem))) from None


def _steps(options: Namespace) -> list[str]:
    """The steps of the file and of the command line; what follows # in the file is for people."""
    steps: list[str] = []
    if options.file:
        lines = read_text(Path(options.file), STEPS, SettingsError).splitlines()
        steps = [word for line in lines for word in line.partition("#")[0].split()]
    return [*steps, *options.steps]


def _done(text: str, now: float) -> list[Any]:
    """What a step does with the knobs from a time on. [s]"""
    from sim.knobs.board import ALSO, BUTTONS, KNOBS, action, knob_named

    name, equals, value = text.partition("=")
    if not equals:
        raise SettingsError(say.not_a_step(text=text, knobs=list(KNOBS)))
    name = ALSO.get(name, name)
    unit = knob_named(name).unit
    first, last = (round(1000.0 * time) for time in (now, now + PRESS))
    if value == "press":
        if name not in BUTTONS:
            raise SettingsError(say.nothing_to_press(text=text, buttons=BUTTONS))
        return [action(first, name, 1.0), action(last, name, 0.0)]
    try:
        return [action(first, name, to_si(quantity_in(POSITIONS.get(value, value), unit), unit))]
    except ValueError as problem:
        raise SettingsError(say.not_read(text=text, problem=str(problem))) from None


def knobs(options: Namespace) -> int:
    """Steps at the knobs."""
    from sim.inputs.files import load_settings_file, load_truck, split_changes

    if options.list_knobs:
        print(knobs_text())
        return 0
    truck_changes, settings_changes = split_changes(options.set)
    file = load_settings_file(options.settings, settings_changes)
    truck = load_truck(options.truck or file.truck or usual.TRUCK, truck_changes).truck
    steps, pause = _steps(options), _time(options.pause)
    if not steps:
        raise SettingsError(say.no_steps())
    prepare_model()
    from sim.knobs.board import LONGEST, MOST_ACTIONS, Board
    from sim.trips.result import CAUTIONS

    plan: list[tuple[str, list[Any], float]] = []
    now = number = 0.0
    for text in steps:
        name, _, value = text.partition("=")
        done = [] if name == WAIT else _done(text, now)
        now += _time(value) if name == WAIT else pause + PRESS * (len(done) - 1)
        number += len(done)
        if now > LONGEST:
            raise SettingsError(say.late(given_s=now, most_s=LONGEST))
        plan.append((text, done, now))
    if number > MOST_ACTIONS:
        raise SettingsError(say.many_actions(most=MOST_ACTIONS))

    board, told, before = Board(truck, file.settings), [], -1.0
    for text, done, until in plan:
        for each in done:
            board.turn(each)
        board.wait(round(1000.0 * until))
        seen = board.shown()
        fresh = [event for event in seen.pop("events") if event["time_s"] > before]
        before = until
        told.append({"step": text, "time_s": until, **seen, "events": fresh})
    if options.json:
        print(json.dumps(told, indent=1, allow_nan=False))
        return 0
    print(truck.name)
    print("Left out, as nothing moves: " + "; ".join(said(each, options.units) for each in board.left_out))
    for entry in told:
        print("\n" + state_text(entry, options.units, options.pins))
    print("\n" + "\n".join(CAUTIONS))
    return 0


def knobs_text() -> str:
    """The knobs, one line each."""
    from sim.knobs.board import BUTTONS, KNOBS

    lines = []
    for knob in KNOBS.values():
        if knob.unit:
            ends = " to ".join(f"{from_si(end, knob.unit):g}" for end in (knob.least, knob.most))
            allowed = f"{ends} {unit_name(knob.unit)}"
        else:
            allowed = "press, on or off" if knob.name in BUTTONS else "1, 2 or 3" if knob.most > 1.0 else "on or off"
        lines.append(f"{knob.name:24}{knob.words:26}{allowed}")
    return "\n".join(lines)


def state_text(entry: dict[str, Any], units: str, with_pins: bool) -> str:
    """What is seen after a step, for people.

    Parameters
    ----------
    entry : dict
        As `Board.shown` gives it, with its step and time.
    with_pins : bool
        Whether pins are listed.
    """
    brake, told, cruise, fan = (entry[name] for name in ("engine_brake", "told", "cruise", "fan"))
    works = ", ".join(f"{pair} {'ON' if on else 'off'}" for pair, on in entry["pairs"].items())
    holds = f"holds {quantity_text(cruise['set_speed'], 'speed', units)}" if cruise["set_speed"] else "holds nothing"
    why = cruise["why"]
    if why:
        holds += f" ({event_name(why)}: {said(why['cause'], units)})"
    rows = [
        ("pairs of cylinders", works),
        ("engine brake", f"stage {brake['stage']}: {said(brake['why'], units)}"),
        ("fuel told", f"{quantity_text(told['fuel_share'], 'share', units)} of full, "
                      f"{quantity_text(told['fuel_rate'], 'fuel rate', units)}"),
        ("torque told", f"{quantity_text(told['torque'], 'torque', units)}; held down by: {told['limiter']}"),
        ("cruise lamp", f"{'ON' if cruise['on'] else 'off'}, {holds}"),
        ("fan", f"ON: {said(fan['why'], units)}" if fan["on"] else "off"),
        ("warning lamp", f"{entry['lamp']}; torque withheld {quantity_text(entry['derate'], 'share', units)}"),
    ]  # fmt: skip
    if told["stopped"]:
        rows.append(("no fuel", said(told["stopped"], units)))
    rows += [(f"SPN {code['spn']} FMI {code['fmi']}", said(code["says"], units)) for code in entry["codes"]]
    for event in entry["events"]:
        value = value_said(event, units)
        rows.append(("", f"{event['time_s']:.2f} s {event_name(event)}{' ' if value else ''}{value}:"
                         f" {said(event['cause'], units)}"))  # fmt: skip
    if with_pins:
        rows += _pin_rows(entry["pins"], units)
    return "\n".join(
        [f"{clock_time(entry['time_s'])}  {entry['step']}", *(f"  {name:22}{text}" for name, text in rows)]
    )


def _pin_rows(pins: dict[str, tuple[float, float | None]], units: str) -> list[tuple[str, str]]:
    """A line for each pin."""
    from sim.knobs.board import pins as described

    rows = []
    for pin in described():
        signal, believed = pins[pin["key"]]
        read = "-" if believed is None else quantity_text(believed, pin["quantity"], units)
        rows.append((pin["name"], f"{quantity_text(signal, pin['signal'], units)}, read as {read}"))
    return rows


__all__ = ["knobs", "knobs_text", "state_text"]
