"""Cruise control: what its switch and buttons do, what refuses and what cancels it, and the stages it calls in."""

import math
from collections.abc import Callable
from functools import partial

import simpy

from sim.actors.underway import Underway
from sim.inputs.specs import Settings
from sim.laws.foot import overspeed_stage
from sim.march.clock import Process
from sim.units import KILOMETRE_PER_HOUR
from sim.wording import Finding, finding

PER_HOUR = 1.0 / KILOMETRE_PER_HOUR  # a speed in m/s times this is in km/h, the unit of the settings
SAME_SPEED = 0.1  # m/s: closer speeds count as the same
HELD_FOR = 0.5  # s, assumed: a button pressed for longer is held
FASTEST = 200.0 * KILOMETRE_PER_HOUR
TAPS = {"set": "tap down", "resume": "tap up"}
HELD = {"set": "coast", "resume": "accelerate"}


def highest_set_speed(settings: Settings) -> float:
    """The highest speed that can be set.

    Returns
    -------
    speed : float
        Infinite where nothing is programmed. [m/s]
    """
    limits = (settings.cruise.si("most_km_h"), settings.road_speed.si("limit_km_h"))
    return min((limit for limit in limits if limit > 0.0), default=math.inf)


class Cruise:
    """The logic between the buttons and what is asked of the engine. It believes what its sensors and switches tell it.

    Notes
    -----
    Semantics of the buttons, of what cancels and of the key-on check: common practice, no source. A button that is let go
    within half a second is tapped, one that is not is held.
    """

    def __init__(self, trip: Underway) -> None:
        self.trip, self.clock, self.settings = trip, trip.clock, trip.settings.cruise
        self.memory = 0.0  # m/s, the stored speed
        checked = self.settings.key_on_check
        self.braked = self.clutched = self.cycled = checked
        self.was_on = self._on()
        self.turned_off = False
        self.down: set[str] = set()  # the buttons that are pressed
        self.button, self.began = "", False  # the one that is answered, and whether a speed was held before
        self.late: simpy.Event | None = None  # when that button counts as held
        self.shift: simpy.Event | None = None  # when the clutch has been open for too long

    def _on(self) -> bool:
        """Whether the switch is on."""
        return self.clock.believed("cruise_switch") > 0.5

    @property
    def holds(self) -> bool:
        """Whether a speed is held."""
        return self.clock.commanded("set_speed") > 0.0

    def refusal(self, least_speed: float) -> Finding | None:
        """Why a speed cannot be set or resumed now, None when it can.

        Parameters
        ----------
        least_speed : float
            Lowest road speed for what is asked. [m/s]
        """
        clock, settings = self.clock, self.settings
        if not self._on():
            return finding("cause.cruise_switch_off")
        if "cruise" in self.trip.refusals:
            return self.trip.refusals["cruise"]
        missing = [
            what
            for what, seen in (
                (finding("cause.brake_not_pressed"), self.braked),
                (finding("cause.clutch_not_pressed"), self.clutched),
                (finding("cause.switch_not_cycled"), self.cycled),
            )
            if not seen
        ]
        if missing:
            return finding("cause.key_on_check", missing=missing)
        if clock.believed("brake_pressed") > 0.5:
            return finding("cause.service_brake_pressed")
        if clock.believed("clutch_pressed") > 0.5:
            return finding("cause.clutch_pressed")
        if clock.believed("in_gear") < 0.5:
            return finding("cause.neutral")
        speed, turning = clock.believed("road_speed"), clock.believed("engine_speed")
        slow, low = speed < least_speed - SAME_SPEED, turning < settings.si("least_rpm")
        if (slow and low) if settings.least_rule == "or" else (slow or low):
            told = {"speed": speed, "turning": turning}
            needs = {"least_speed": least_speed, "least_turning": settings.si("least_rpm")}
            if settings.least_rule == "or":
                return finding("cause.needs_speed_or_rpm", **told, **needs)
            return finding("cause.needs_speed_and_rpm", **told, **needs)
        return None

    def run(self) -> Process:
        """Answers switch, buttons, brake, clutch and speed through a trip: whatever comes first, and each at its time."""
        while True:
            calls = self._calls()
            event = yield from self.clock.first(*calls)
            calls[event]()

    def _calls(self) -> dict[simpy.Event, Callable[[], None]]:
        """What is answered now; what stands first is, when several come at once."""
        clock = self.clock
        calls = {clock.when("belief.cruise_switch", 0.5, falling=self.was_on): self._switched}
        if self.holds:
            calls |= self._what_ends_it()
        if not self.braked:
            calls[clock.when("belief.brake_pressed", 0.5)] = self._saw_brake
        if not self.clutched:
            calls[clock.when("belief.clutch_pressed", 0.5)] = self._saw_clutch
        for name in ("cancel", *sorted(TAPS, key=self.down.__contains__, reverse=True)):  # let go before pressed
            down = name in self.down
            edge = clock.when(f"belief.{name}_button", 0.5, falling=down)
            calls[edge] = partial(self._let_go if down else self._press, name)
        if self.late:
            calls[self.late] = self._held
        return calls

    def _what_ends_it(self) -> dict[simpy.Event, Callable[[], None]]:
        """Brake, a low road speed, a code, and the clutch."""
        clock, settings = self.clock, self.settings
        least = settings.si("least_speed_km_h" if settings.least_rule == "and" else "resume_km_h") - 2.0 * SAME_SPEED
        ends: dict[simpy.Event, Callable[[], None]] = {
            clock.when("belief.brake_pressed", 0.5): partial(self.cancel, finding("cause.service_brake")),
            clock.when("belief.road_speed", least, falling=True): partial(
                self.cancel, finding("cause.road_speed_too_low")
            ),
            clock.when("command.cruise_refused", 0.5): lambda: self.cancel(self.trip.refusals["cruise"]),
            clock.when("belief.clutch_pressed", 0.5, falling=self.shift is not None): self._clutch,
        }
        if self.shift:
            ends[self.shift] = partial(self.cancel, finding("cause.clutch_open_for", time=settings.clutch_s))
        return ends

    def _saw_brake(self) -> None:
        """The brake switch works: one of the three things wanted since the key was turned."""
        self.braked = True

    def _saw_clutch(self) -> None:
        """The clutch switch works."""
        self.clutched = True

    def _switched(self) -> None:
        """The switch: off lets go and forgets the stored speed."""
        self.was_on = self._on()
        if self.was_on:
            self.cycled = self.cycled or self.turned_off
        else:
            self.cancel(finding("cause.cruise_switch_off"))
            self.turned_off, self.memory = True, 0.0

    def _clutch(self) -> None:
        """Holds on through a shift, or cancels at once, as programmed."""
        if self.shift:
            self.shift = None
        elif self.settings.clutch_s < self.clock.tick:
            self.cancel(finding("cause.clutch"))
        else:
            self.shift = self.clock.after(self.settings.clutch_s)

    def cancel(self, cause: Finding) -> None:
        """Lets go; the stored speed stays."""
        if self.holds:
            self.clock.record("cruise_cancelled", cause, self.memory, "speed")
            self.clock.set(set_speed=0.0, cruise_target=0.0, held_by_cruise=0.0)
            self.shift = None

    def _hold(self, speed: float, event: str, cause: Finding) -> None:
        """Stores a speed and holds it."""
        self.memory = min(speed, highest_set_speed(self.trip.settings))
        if self.memory < speed - SAME_SPEED:
            cause = finding("cause.bounded", cause=cause)
        self.clock.set(set_speed=self.memory, cruise_target=self.memory)
        self.clock.set(held_by_cruise=0.0 if self.clock.commanded("cruise_stage") else 1.0)
        self.clock.record(event, cause, self.memory, "speed")

    def _press(self, name: str) -> None:
        """A button that is pressed: cancels, or sets or resumes at once; one at a time is answered."""
        self.down.add(name)
        if name == "cancel":
            self.cancel(finding("cause.button", button=name))
        elif not self.button:
            self.button, self.began, self.late = name, self.holds, self.clock.after(HELD_FOR)
            if not self.began:
                (self._set if name == "set" else self._resume)()

    def _held(self) -> None:
        """A button held for a while: accelerates, or lets the truck roll out, as long as it is."""
        self.late = None
        if self.holds:
            up = self.button == "resume"
            aimed = highest_set_speed(self.trip.settings) if up else self.settings.si("least_speed_km_h")
            self.clock.set(cruise_target=min(aimed, FASTEST))

    def _let_go(self, name: str) -> None:
        """A button that is let go: a tap moves the speed held by a step, one that was held stores the speed there is."""
        self.down.remove(name)
        if name != self.button:
            return
        least, tapped = self.settings.si("least_speed_km_h"), self.late is not None
        self.button, self.late = "", None
        if self.holds and not tapped:
            speed = max(self.clock.believed("road_speed"), least)
            self._hold(speed, "cruise_set", finding("cause.button_let_go", button=HELD[name]))
        elif self.holds and self.began:
            step = self.settings.si("tap_km_h") * (1.0 if name == "resume" else -1.0)
            self._hold(max(self.memory + step, least), "cruise_set", finding("cause.button", button=TAPS[name]))

    def _refused(self, button: str, why: Finding) -> None:
        """Writes down that a button did nothing."""
        why = finding("cause.button_refused", button=button, why=why)
        self.clock.record("cruise_refused", why, self.clock.believed("road_speed"), "speed")

    def _set(self) -> None:
        """Stores and holds the speed there is."""
        why = self.refusal(self.settings.si("least_speed_km_h"))
        if why:
            self._refused("set", why)
        else:
            self._hold(self.clock.believed("road_speed"), "cruise_set", finding("cause.button", button="set"))

    def _resume(self) -> None:
        """Holds the stored speed again."""
        stored = self.memory > 0.0
        why = self.refusal(self.settings.si("resume_km_h")) if stored else finding("cause.no_speed_stored")
        if why:
            self._refused("resume", why)
        else:
            self._hold(self.memory, "cruise_resumed", finding("cause.button", button="resume"))


def cruise_control(trip: Underway) -> Process:
    """The process of the cruise-control logic."""
    return Cruise(trip).run()


def overspeed_stages(trip: Underway) -> Process:
    """Calls the engine brake in by stages as the truck runs above the set speed, and lets it go in order.

    Notes
    -----
    Compared in km/h, the unit of the settings, so that a threshold is met exactly as entered. Whatever the speed, stages come in
    one after the other.
    """
    clock, cruise = trip.clock, trip.settings.cruise
    thresholds = (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h)
    stage, since = 0, -1.0e9
    while True:
        held = clock.commanded("set_speed")
        clock.set(cruise_stage=stage, held_by_cruise=1.0 if held > 0.0 and not stage else 0.0)
        other = [clock.when("command.set_speed", held + end, falling=end < 0.0, release=held) for end in (1e-6, -1e-6)]
        if held <= 0.0 or not cruise.with_engine_brake:
            if stage:
                clock.forget(*other)
                stage = 0
                continue
            yield from clock.first(*other)
            continue
        held = round(held * PER_HOUR, 9)
        speed = clock.believed("road_speed") * PER_HOUR
        goal = overspeed_stage(float(stage), speed, held, *thresholds, cruise.stage_drop_km_h)
        comes_in = held + thresholds[min(stage, 2)]  # the next stage, and goes out: this one
        goes_out = held + thresholds[max(stage - 1, 0)] - cruise.stage_drop_km_h
        calls = [*other]
        if stage:
            calls.append(clock.when("belief.road_speed", held, falling=True, scale=PER_HOUR, release=held))
        if goal != stage:
            shortest = cruise.stage_up_s if goal > stage else cruise.stage_down_s
            left = since + shortest - clock.seconds if speed > held else 0.0
            if left < 0.5 * clock.tick:
                since = clock.seconds
                clock.forget(*calls)
                stage = stage + 1 if goal > stage else (stage - 1 if speed > held else 0)
                continue
            calls.append(clock.after(left))
            # it may come back before the time is over
            back = goal > stage
            level = comes_in if back else goes_out
            calls.append(clock.when("belief.road_speed", level, falling=back, scale=PER_HOUR, release=level))
        else:
            if stage < 3:
                calls.append(clock.when("belief.road_speed", comes_in, scale=PER_HOUR))
            if stage:
                calls.append(clock.when("belief.road_speed", goes_out, falling=True, scale=PER_HOUR))
        yield from clock.first(*calls)
