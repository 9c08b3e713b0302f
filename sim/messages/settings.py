"""What is wrong with settings: their file, values that do not fit each other, and settings a truck cannot carry out."""

from collections.abc import Sequence

from sim.messages._parts import did_you_mean

PRESS = 'write PLACE BUTTON, for example "2.5 km tap up" or "800 m accelerate 4 s"; buttons are {}'

# ---------------------------------------------------------------- names and files


def no_such_settings(*, name: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when settings are neither shipped nor a file."""
    return (
        f'no settings are called "{name[:80]}".{did_you_mean(near)} Settings: {", ".join(known)}.'
        " A path to a TOML file works too."
    )


def not_a_text(*, where: str, key: str, given: str, meaning: str) -> str:
    """Said when a text above the tables of a settings file is none."""
    return f"{where}: {key} is {given[:60]}; give a text ({meaning}), or leave the line out"


def not_a_list_of_changes(*, where: str, given: str) -> str:
    """Said when what a settings file varies is no list of changes."""
    return f'{where}: vary is {given[:60]}; give a list such as ["drill.hold_stage=1,2,3"]'


def nothing_named(*, what: str) -> str:
    """Said when neither a person nor the settings name a road or a truck."""
    return f"no {what} is given; name one, or settings that name one"


def named_in_settings(*, where: str, what: str, problem: str) -> str:
    """Said when the road or truck that a settings file names cannot be used."""
    return f"{where}: {what}: {problem}"


# ---------------------------------------------------------------- cruise


def stage_drop(*, drop_km_h: float, stage_1_km_h: float) -> str:
    """Said when the first stage would go out below the set speed."""
    return (
        f"stage_drop_km_h {drop_km_h:g} must not be above stage_1_over_km_h {stage_1_km_h:g}:"
        " stage 1 would go out below the set speed. Change one of them"
    )


def set_speed(*, set_km_h: float, least_km_h: float) -> str:
    """Said when cruise is set below the speed it works from."""
    return f"set_speed_km_h {set_km_h:g} is below least_speed_km_h {least_km_h:g}; change one of them"


def no_button_press(*, text: str, buttons: Sequence[str]) -> str:
    """Said when a press of a button is not of its form."""
    return f'presses: "{text[:40]}" is no button press; {PRESS.format(", ".join(buttons))}'


def press_number(*, text: str, buttons: Sequence[str]) -> str:
    """Said when the place or the time of a press cannot be read."""
    return f'presses: "{text[:40]}" has a number that cannot be read; {PRESS.format(", ".join(buttons))}'


def press_too_far(*, text: str, most_km: float) -> str:
    """Said when a button is pressed beyond the end of any road."""
    return f'presses: "{text[:40]}" is too far away; a place may be at most {most_km:g} km from the start'


def press_held(*, text: str, longest_s: float, buttons: Sequence[str]) -> str:
    """Said when a button is held that is not, or the other way round."""
    return (
        f'presses: "{text[:40]}": accelerate and coast are held for up to {longest_s:g} s, the others are not; '
        f"{PRESS.format(', '.join(buttons))}"
    )


# ---------------------------------------------------------------- clock and truck


def delay_below_tick(*, key: str, delay_s: float, tick_s: float) -> str:
    """Said when a delay of the settings is shorter than a tick."""
    return f"{key} is {delay_s:g} s, shorter than simulation.tick_s {tick_s:g} s; change one of them"


def tick_above_lag(*, tick_s: float, key: str, lag_s: float) -> str:
    """Said when a tick is longer than a lag of the truck."""
    return f"simulation.tick_s is {tick_s:g} s, longer than {key} of this truck, {lag_s:g} s; change one of them"


def no_such_gear(*, key: str, gear: int, gears: int) -> str:
    """Said when a gear is asked for that the truck does not have."""
    return f"{key} is {gear}; the gearbox of this truck has gears 1 to {gears}"


def too_much_memory(
    *, expected_gb: float, most_gb: float, rows: int, log_s: float, readings: int, meters: int, length_km: float
) -> str:
    """Said when a trip would need too much memory, before it is driven."""
    return (
        f"this trip of {length_km:g} km needs about {expected_gb:.1f} GB of memory, allowed is {most_gb:g} GB: {rows} rows of"
        f" the trace, one each {log_s:g} s, and {readings} readings of each of {meters} meters. Raise simulation.log_s or"
        " circuits.meter_s, take off meters, or shorten the road"
    )
