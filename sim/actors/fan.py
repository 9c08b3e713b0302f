"""The fan clutch: on by coolant temperature, dash switch or engine brake, off by a lower temperature, with a shortest time on."""

import simpy

from sim.actors.underway import Underway
from sim.march.clock import Process
from sim.wording import Finding, finding


def call_for_fan(trip: Underway, running: bool) -> Finding | None:
    """What asks for the fan now, None when nothing does.

    Parameters
    ----------
    running : bool
        Whether the fan is on: its temperature threshold then is the lower one.
    """
    clock, cooling, fan = trip.clock, trip.truck.cooling, trip.settings.fan
    if clock.believed("fan_switch") > 0.5:
        return finding("cause.fan_switch")
    if "fan" in trip.refusals:
        return trip.refusals["fan"]
    threshold = cooling.si("fan_off_c" if running else "fan_on_c")
    if clock.believed("coolant_temperature") >= threshold:
        return finding("cause.coolant_at", temperature=threshold)
    if fan.with_engine_brake and clock.commanded("stage") > 0.0:
        return finding("cause.engine_brake_working")
    return None


def fan_clutch(trip: Underway) -> Process:
    """Runs the fan clutch through a trip."""
    clock, cooling = trip.clock, trip.truck.cooling
    running = False
    while True:
        reason = call_for_fan(trip, running)
        if reason and not running:
            running = True
            clock.set(fan=1.0)
            clock.record("fan_engaged", reason, clock.believed("coolant_temperature"), "temperature")
            yield clock.after(max(cooling.fan_least_s, clock.tick))
        elif running and not reason:
            running = False
            clock.set(fan=0.0)
            cool = finding("cause.coolant_cool")
            clock.record("fan_released", cool, clock.believed("coolant_temperature"), "temperature")
        else:
            yield from clock.first(*_changes(trip, running))


def _changes(trip: Underway, running: bool) -> list[simpy.Event]:
    """Events after which the fan must be thought about again."""
    clock = trip.clock
    level = trip.truck.cooling.si("fan_off_c" if running else "fan_on_c")
    hot = clock.believed("coolant_temperature") >= level
    calls = [clock.when("belief.coolant_temperature", level, falling=hot, release=level)]
    for place in ("belief.fan_switch", "command.fan_asked"):
        calls.append(clock.when(place, 0.5, falling=clock.read(place) > 0.5, release=0.5))
    if trip.settings.fan.with_engine_brake:
        working = clock.commanded("stage") > 0.0
        calls.append(clock.when("command.stage", 0.5, falling=working, release=0.5))
    return calls
