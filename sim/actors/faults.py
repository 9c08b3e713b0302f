"""What goes wrong on the way, what is put right again, and what the instructor dials in: each changes named parameters."""

import random

from sim.actors.underway import Underway
from sim.inputs.sensors import (
    DIALLED,
    NAMES,
    OPEN,
    SENSORS,
    SHORTED_HIGH,
    SHORTED_LOW,
    SOUND,
    STUCK,
    SWAPPED_WITH,
    Occurrence,
    quantity_of,
    shown,
    size_quantity,
    size_range,
    size_unit,
)
from sim.inputs.specs import PAIRS
from sim.march.clock import Process
from sim.march.meter import Look, pin_of
from sim.march.records import PARAMETERS
from sim.units import to_si
from sim.wording import finding

PARAMETER_NAMES = {field.name for field in PARAMETERS}

DRIFT_STEP = 1.0  # s, assumed: between two steps of a drift
SHAKEN_OPEN = (0.15, 1.2)  # s, assumed: how long a shaken plug stays open
SHAKEN_CLOSED = (0.8, 8.0)  # s, assumed: and closed
ERRATIC_FOR = (0.15, 0.5)  # s, assumed: how long pulses come at one wrong rate
ERRATIC_GAIN = (0.0, 1.6)  # assumed: share of the pulses there are
FALLS_WITHOUT = (
    "pressure",
    "pedal",
    "wheel",
    "key",
)  # kinds whose pin lies at 0 with the wire open, others at the supply


def happenings(trip: Underway) -> list[Process]:
    """One process for each failure and each value dialled in, in the order of the settings."""
    asked = [*trip.settings.faults.occurrences(), *trip.settings.circuits.values()]
    return [_when_due(trip, occurrence, number) for number, occurrence in enumerate(asked)]


def _when_due(trip: Underway, occurrence: Occurrence, number: int) -> Process:
    """Waits for the place or the time, then lets it happen."""
    clock = trip.clock
    if occurrence.trigger == "place":
        if occurrence.begin > 0.0:
            yield clock.reach(occurrence.begin)
    elif occurrence.begin > 0.0:
        yield clock.after(occurrence.begin)
    occur(trip, occurrence, number)


def occur(trip: Underway, occurrence: Occurrence, number: int = 0) -> None:
    """Lets one thing go wrong, be mended or be dialled in, now; also in a trip that began sound.

    Parameters
    ----------
    occurrence : Occurrence
        Its place and time are not looked at. [SI]
    number : int
        Makes two equal random failures differ.
    """
    clock, part, failure = trip.clock, occurrence.part, occurrence.failure
    trip.watch_circuits()
    what, size = {"part": NAMES[part], "failure": failure}, occurrence.size
    if failure == "dialled" and SENSORS[part].kind in ("switch", "key"):
        clock.record("value_dialled", finding("cause.dialled_to", part=NAMES[part], value=shown(SENSORS[part], size)))
    elif failure == "dialled":
        clock.record("value_dialled", finding("cause.dialled", part=NAMES[part]), size, quantity_of(part))
    elif trip.settings.faults.told:
        event = "mended" if failure == "mended" else "fault_occurred"
        clock.record(event, finding("cause.failure", **what), size, size_quantity(part, failure))
    if failure in ("drift", "intermittent", "erratic"):
        draw = random.Random(f"{trip.settings.faults.seed} {number} {part} {failure}")
        clock.process(_going_on(trip, occurrence, draw))
        return
    _apply(trip, occurrence)


def _put(trip: Underway, part: str, circuit: int, signal: float) -> None:
    """Puts something instead of a part's signal."""
    p = trip.clock.rig.parameters
    p[f"{part}_circuit"], p[f"{part}_put"] = float(circuit), signal


def _apply(trip: Underway, occurrence: Occurrence) -> None:
    """Changes the parameters that make one lasting failure."""
    part, failure, size = occurrence.part, occurrence.failure, occurrence.size
    p = trip.clock.rig.parameters
    if part in NAMES and part not in SENSORS:
        _apply_elsewhere(trip, part, failure, size)
        return
    kind, supply = SENSORS[part].kind, float(p["sensor_supply"][0])
    if failure == "open":
        _put(trip, part, OPEN, 0.0 if kind in FALLS_WITHOUT else supply)
    elif failure == "shorted low":
        _put(trip, part, SHORTED_LOW, 0.0)
    elif failure == "shorted high":
        _put(trip, part, SHORTED_HIGH, supply)
    elif failure == "stuck":
        _put(trip, part, STUCK, Look(trip.clock.rig.memory, p).signal(part))
    elif failure == "dialled":
        _put(trip, part, DIALLED, pin_of(part, size, p))
    elif failure == "offset":
        _shift(trip, part, size)
    elif failure == "swapped":
        _swap(trip, part, 1.0)
    elif failure == "weak":
        p["road_speed_weak"] = size
    elif failure == "mended":
        _mend(trip, part)


def _shift(trip: Underway, part: str, size: float) -> None:
    """Makes a sensor read wrong by so much more, as far as it can."""
    p, unit = trip.clock.rig.parameters, size_unit(part, "offset")
    least, most = (to_si(end, unit) for end in size_range(part, "offset"))
    p[f"{part}_offset"] = min(max(float(p[f"{part}_offset"][0]) + size, least), most)


def _swap(trip: Underway, part: str, swapped: float) -> None:
    """Exchanges the plugs of two sensors of one kind, or puts them back."""
    pair = "boost_oil" if part in ("boost", "oil_pressure") else "coolant_intake"
    trip.clock.rig.parameters[f"{pair}_swapped"] = swapped


def _mend(trip: Underway, part: str) -> None:
    """Makes a sensor or switch sound again."""
    p = trip.clock.rig.parameters
    trip.mended[part] = trip.mended.get(part, 0) + 1
    _put(trip, part, SOUND, 0.0)
    for field, value in ((f"{part}_offset", 0.0), (f"{part}_weak", 0.0), (f"{part}_gain", 1.0)):
        if field in PARAMETER_NAMES:
            p[field] = value
    if part in SWAPPED_WITH:
        _swap(trip, part, 0.0)


def _apply_elsewhere(trip: Underway, part: str, failure: str, size: float) -> None:
    """A failure of a part that is no sensor."""
    p = trip.clock.rig.parameters
    sound = failure == "mended"
    if part == "solenoids":
        p["pairs_swapped"] = 0.0 if sound else 1.0
    elif part == "oil_pump":
        p["oil_delivery"] = 1.0 - size
    elif part == "coolant_fill":
        before = float(p["coolant_fill"][0])
        p["coolant_fill"] = left = max(1.0 - size, 0.05)
        for way in ("still", "road", "fan"):  # what is missing carries no heat to the radiator
            p[f"radiator_{way}"] *= left / before
    else:
        pair = part.removeprefix("solenoid_")
        if pair in PAIRS:
            p[f"pair_{pair}_sound"] = 1.0 if sound else 0.0
            (trip.open_solenoids.add if failure == "open" else trip.open_solenoids.discard)(pair)


def _going_on(trip: Underway, occurrence: Occurrence, draw: random.Random) -> Process:
    """A failure that goes on happening until the part is mended or its circuit is something else."""
    clock, part = trip.clock, occurrence.part
    p = clock.rig.parameters
    mended = trip.mended.get(part, 0)
    while trip.mended.get(part, 0) == mended:
        if occurrence.failure == "drift":
            _shift(trip, part, occurrence.size * DRIFT_STEP / 60.0)
            yield clock.after(DRIFT_STEP)
            continue
        if occurrence.failure == "erratic":
            p["road_speed_gain"] = draw.uniform(*ERRATIC_GAIN)
            yield clock.after(draw.uniform(*ERRATIC_FOR))
            continue
        _apply(trip, occurrence._replace(failure="open"))
        yield clock.after(draw.uniform(*SHAKEN_OPEN))
        if trip.mended.get(part, 0) != mended:
            return
        _put(trip, part, SOUND, 0.0)
        yield clock.after(draw.uniform(*SHAKEN_CLOSED))
