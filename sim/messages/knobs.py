"""What is wrong with what is done to the knobs of the controller."""

from collections.abc import Sequence

from sim.messages._parts import did_you_mean, shortened


def no_action(*, given: object) -> str:
    """Said when an entry of the list is no time, knob and value."""
    return f"{shortened(given)} is no action; give a whole number of milliseconds, the name of a knob and a number"


def many_actions(*, most: int) -> str:
    """Said when more is done than can be done again from the start."""
    return f"too much is done; at most {most} times can something be turned or thrown: begin again"


def no_knob(*, name: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when something is turned that is no knob."""
    return f"there is no knob called {shortened(name)}.{did_you_mean(near)} Use one of {', '.join(known)}"


def beyond(*, name: str, given: float, least: float, most: float, unit: str, whole: bool) -> str:
    """Said when a knob cannot be where it is to be turned."""
    steps = ", in whole steps" if whole else ""
    said = shortened(unit)
    return (
        f"{shortened(name)} cannot be {given:g} {said}".rstrip()
        + f"; allowed is {least:g} to {most:g} {said}".rstrip()
        + steps
    )


def order(*, given_s: float, before_s: float) -> str:
    """Said when an action comes before the one above it."""
    return f"an action at {given_s:g} s stands below one at {before_s:g} s; put them in order, none before 0 s"


def late(*, given_s: float, most_s: float) -> str:
    """Said when something is done, or waited for, longer than anybody sits before the knobs."""
    return f"{given_s:g} s is too late; at most {most_s:g} s can be done again from the start: begin again"


def not_a_step(*, text: str, knobs: Sequence[str]) -> str:
    """Said when a step of the command is of no form."""
    return f"{shortened(text)}: write KNOB=VALUE, KNOB=press or wait=TIME; knobs are {', '.join(knobs)}"


def not_read(*, text: str, problem: str) -> str:
    """Said when the value of a step, or a time, cannot be read; the problem is a message of its own."""
    return f"{shortened(text)}: {problem}; write a value such as 1500rpm, 60mph, 90C, on, off or 3s"


def nothing_to_press(*, text: str, buttons: Sequence[str]) -> str:
    """Said when something is pressed that is no button."""
    return f"{shortened(text)}: only a button is pressed: {', '.join(buttons)}; write a value"


def no_steps() -> str:
    """Said when the command is told nothing to do."""
    return (
        "nothing is turned; write steps such as engine_speed=1500rpm road_speed=60mph set_coast=press, or --file FILE"
    )


def no_place(*, text: str) -> str:
    """Said when something is to happen at a place, and nothing moves."""
    return f'"{shortened(text)}": nothing moves here; use start or a time such as 60 s in place of the distance'
