"""What keeps the engine brake off: one table, from which condition, wake-up and the line on a page come alike."""

from typing import NamedTuple

import simpy

from sim.inputs.specs import Settings
from sim.march.clock import Clock

UNTOUCHED = 0.5 / 4096.0  # half the least movement of a pedal
HALFWAY = 0.5  # of a switch


class Interlock(NamedTuple):
    """A condition that keeps the engine brake off: a field beyond a level.

    `level` counts while no stage is on and `level_on` while one is, in SI. With `calls` nothing asks for the engine brake while
    the condition holds; without it the engine brake is asked for and refused.
    """

    cause: str
    place: str
    above: bool
    level: float
    level_on: float
    calls: bool

    def forbids(self, value: float, running: bool) -> bool:
        """Whether a value of the field keeps the engine brake off.

        Parameters
        ----------
        value : float
            [SI]
        running : bool
            Whether a stage is on.
        """
        level = self.level_on if running else self.level
        return value > level if self.above else value < level

    def changes(self, clock: Clock, running: bool) -> simpy.Event:
        """The event after which it may be otherwise."""
        level = self.level_on if running else self.level
        if self.forbids(clock.read(self.place), running):
            return clock.when(self.place, level, falling=self.above)
        return clock.when(self.place, level, falling=not self.above, release=level)


def interlocks(settings: Settings) -> tuple[Interlock, ...]:
    """The conditions; the first that holds is the one that is said.

    Notes
    -----
    Foot off, clutch up, in gear, engine above idle, warm oil, drive wheels that grip: common practice, no source. While cruise
    control holds, a free foot calls nothing: only overspeed does.
    """
    retarding = settings.retarding
    fast, slow, warm = retarding.si("on_rpm"), retarding.si("off_rpm"), retarding.si("least_oil_c")
    return (
        Interlock("cause.engine_brake_switch_off", "belief.retarding_switch", False, HALFWAY, HALFWAY, True),
        Interlock("cause.accelerator_pressed", "belief.accelerator", True, UNTOUCHED, UNTOUCHED, True),
        Interlock("cause.cruise_holds", "command.held_by_cruise", True, HALFWAY, HALFWAY, True),
        Interlock("cause.cruise_fuelling", "belief.cruise_demand", True, UNTOUCHED, UNTOUCHED, True),
        Interlock("cause.waiting_for_service_brake", "command.waits_for_brake", True, HALFWAY, HALFWAY, True),
        Interlock("cause.selector_lost", "belief.selector", False, HALFWAY, HALFWAY, True),
        Interlock("cause.clutch_pressed", "belief.clutch_pressed", True, HALFWAY, HALFWAY, False),
        Interlock("cause.neutral", "belief.in_gear", False, HALFWAY, HALFWAY, False),
        Interlock("cause.engine_too_slow", "belief.engine_speed", False, fast, slow, False),
        Interlock("cause.oil_too_cold", "belief.oil_temperature", False, warm, warm, False),
        Interlock("cause.wheels_slipping", "command.traction_lost", True, HALFWAY, HALFWAY, False),
        Interlock(CODE, "command.engine_brake_refused", True, HALFWAY, HALFWAY, False),
    )


CODE = "cause.code_refuses"  # the code says it in its own words
