"""What workers do for the Speedometer page: a calibration, a measured mile to watch, the marking of what was entered, records."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from typing import Any

from dashboard.server.costs import costs
from dashboard.server.packing import pack
from sim.errors import SettingsError
from sim.inputs.one_trip import Inputs
from sim.inputs.sheet import settings_sheet
from sim.inputs.specs import Truck
from sim.laws.sensing import corrected_pulses
from sim.messages import speedometer as say
from sim.speedo import calibration_of, entered_pulses, exercise, mystery, past_the_posts, state_of, told
from sim.units import MILE, number_in

SUM_OFF = 0.005  # of a number that follows from other entries, assumed
THUMB = 0.6  # s that two presses of a stopwatch may be off, assumed
STEPS = ("seconds", "read_km_h", "speed_km_h", "pulses")  # what a student enters
NAMES = ("stopwatch", "needle", "true speed", "pulses per mile")


def _truck(inputs: Inputs, number: int | None) -> tuple[Truck, str]:
    """The truck of an exercise, and what had happened to it."""
    truck = inputs.truck.truck
    return mystery(truck, number) if number is not None else (truck, "")


@costs(lambda inputs: 0.03)
def look(inputs: Inputs) -> dict[str, Any]:
    """A calibration and what follows from it; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        Their road is not looked at.

    Returns
    -------
    state : dict
        As `sim.speedo.state_of`, and the truck's name.
    """
    return {"truck": inputs.truck.truck.name, **state_of(inputs.truck.truck, inputs.settings)}


@costs(lambda inputs, number, shown, miles, entered, back: 0.05 + 0.01 * miles)
def mile_to_watch(
    inputs: Inputs, number: int | None, shown: float, miles: float, entered: float | None, back: bool
) -> bytes:
    """A truck past two posts; runs in a worker.

    Parameters
    ----------
    number : int or None
        Of a truck from another workshop; None for the truck as it is set up.
    shown : float
        Speed held on the needle. [m/s]
    miles : float
        Between the posts. [mi]
    entered : float or None
        Pulses per mile the controller is told before this run. [1/mi]
    back : bool
        The other way, the wind of the settings from behind.

    Returns
    -------
    packed : bytes
        As `dashboard.server.packing.pack` makes it; no speed but that of the needle is among its numbers.

    Raises
    ------
    HaulbenchError
        It cannot be driven, or no controller takes that number.
    """
    truck = _truck(inputs, number)[0]
    if entered is not None:
        truck = told(truck, entered)
    wind = inputs.settings.weather.wind_m_s
    columns = past_the_posts(truck, shown, miles, -wind if back else wind)
    pulses = calibration_of(truck).told_pulses_per_mile
    return pack({"truck": truck.name, "length_m": miles * MILE, "told": pulses, "shown_m_s": shown}, columns)


def entries_of(given: Mapping[str, Any]) -> dict[str, float]:
    """What a student has entered.

    Parameters
    ----------
    given : mapping
        By `STEPS`: numbers or texts; the pulses may be a product, as `sim.speedo.entered_pulses` reads it.

    Returns
    -------
    entries : dict
        [s, km/h, km/h, 1/mi]

    Raises
    ------
    SettingsError
        One of them is no number above 0.
    """
    entries = {}
    for step, name in zip(STEPS, NAMES, strict=True):
        text = given.get(step)
        try:
            number = math.nan
            if isinstance(text, int | float | str) and not isinstance(text, bool):
                number = (entered_pulses if step == "pulses" else number_in)(str(text))
        except (ValueError, SettingsError):
            number = math.nan
        if not (math.isfinite(number) and number > 0.0):
            raise SettingsError(say.entry(name=name, given=str(text)))
        entries[step] = number
    return entries


@costs(lambda inputs, number, shown, miles, both, entries: 0.3 + 0.04 * miles)
def marked(
    inputs: Inputs, number: int | None, shown: float, miles: float, both: bool, entries: Mapping[str, float]
) -> dict[str, Any]:
    """The marking of a measured mile; runs in a worker.

    Parameters
    ----------
    number : int or None
        As in `mile_to_watch`.
    shown : float
        [m/s]
    miles : float
        [mi]
    both : bool
        The entries are means of a drive there and one back.
    entries : mapping
        As `entries_of` gives them.

    Returns
    -------
    marking : dict
        `steps`: name, entered, right, tolerance and whether it is within; and what `sim.speedo.exercise` finds, with the
        student's own mile in it.

    Raises
    ------
    HaulbenchError
        No controller takes that number, or the mile cannot be driven.
    """
    truck, cause = _truck(inputs, number)
    found = exercise(truck, inputs.settings, shown, miles, number or 1, entries["pulses"], both)
    found["mile_ways"] = []  # those of the model's own stopwatch
    mile = found["mile"]
    seconds, read, speed = entries["seconds"], entries["read_km_h"], entries["speed_km_h"]
    by_sum = 3.6 * miles * MILE / seconds
    pulses = float(corrected_pulses(mile["told_pulses_per_mile"], read, speed))
    needle = 3.6 * mile["shown_speed_m_s"]
    steps = [
        ("seconds between the posts", seconds, mile["true_time_s"], THUMB, "s"),
        ("needle", read, needle, 0.02 * needle, "km/h"),
        ("true speed = distance / time, from your seconds", speed, by_sum, SUM_OFF * by_sum, "km/h"),
        ("new pulses = told x needle / true speed, from your numbers", entries["pulses"], pulses, SUM_OFF * pulses, "pulses/mi"),
    ]  # fmt: skip
    heads = ("name", "entered", "right", "tolerance", "unit")
    found["steps"] = [
        dict(zip(heads, step, strict=True)) | {"within": abs(step[1] - step[2]) <= step[3]} for step in steps
    ]
    found["mile"] = mile | {
        "timed_s": seconds,
        "read_speed_m_s": read / 3.6,
        "measured_speed_m_s": speed / 3.6,
        "corrected_pulses_per_mile": entries["pulses"],
    }
    found["mystery"] = number
    if cause:
        found["cause"] = cause
    return found


def record(before: Inputs, after: Inputs, units: str) -> list[list[Any]]:
    """Every programmable value, before and after, as readers of a system of units read it; runs where it is asked.

    Returns
    -------
    rows : list of list
        Key, old, new, unit, allowed, meaning, whether it has changed.
    """
    entries = settings_sheet((before.truck.truck, before.settings), (after.truck.truck, after.settings))
    return [[*entry.words(units), entry.changed] for entry in entries]


def record_csv(rows: Sequence[Sequence[Any]]) -> str:
    """The record as the text of a CSV file.

    Parameters
    ----------
    rows : sequence of sequence
        As `record` gives them.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("key", "before", "after", "unit", "allowed", "meaning", "changed"))
    writer.writerows([str(cell).lower() if isinstance(cell, bool) else cell for cell in row] for row in rows)
    return out.getvalue()
