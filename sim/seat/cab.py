"""Where the model driver sits: what he has in mind, and his hands and feet on the controls."""

import math
from dataclasses import dataclass, field
from typing import Any

import simpy

from sim.actors.cruise import highest_set_speed
from sim.actors.underway import Underway
from sim.inputs.specs import Settings
from sim.laws.foot import slowing_distance
from sim.march.clock import Process
from sim.march.plant import asked_pull, asked_resistance
from sim.roads.route import Route

FEET = ("stand", "stop", "slow", "hold")  # what a foot is on the brake for; the first counts
FINGER = 0.3  # s, assumed: how long a button is pressed
PAYS_AFTER = 12.0  # s, assumed: a higher gear that is in for less is not worth the shift
CURVE_MARGIN = 0.5  # m/s, assumed: a limit this little above the speed of a curve is posted for it
BRAKE_TO_DECELERATE, BRAKE_TO_HOLD, BRAKE_TO_STOP, BRAKE_PRESSURE = 1.0, 2.0, 3.0, 4.0  # of the field brake_mode
PEDAL, HOLD_ROAD_SPEED, HOLD_ENGINE_SPEED = 0.0, 1.0, 2.0  # of the field foot_mode
ALL_PAIRS = 3


@dataclass
class Cab:
    """The driver of one trip.

    Parameters
    ----------
    standing : bool
        The truck stands at a stop or is being launched.
    selector : int
        Engine-brake stage the driver wants now, 0 for none.
    retarding : set of str
        Why the driver wants the truck held back by the engine: the foot is off the accelerator as long as there is a reason.
    brakes : dict
        Why the foot is on the brake pedal, each with mode and value; the first of `FEET` counts.
    aim : float
        Speed the driver wants. [m/s]
    asked_gear : int
        Highest gear the driver wants on this descent, 0 for any.
    crest : float
        Where the gear for the next descent that is known of must be in. [m]
    crest_speed : float
        To be had there. [m/s]
    ceiling : float
        Highest speed the driver wants on this descent. [m/s]
    taken : list of (float, float)
        Lower speeds ahead for which the driver has begun to slow: place and speed. [m, m/s]
    shifting : bool
        The left foot and the lever are busy with a shift: the right foot is at its service.
    shifts_tried : int
        Shifts begun so far.
    planned : list or None
        The descents as the driver means to drive them, once they have been thought about.
    """

    trip: Underway
    standing: bool = False
    selector: int = ALL_PAIRS
    retarding: set[str] = field(default_factory=set)
    brakes: dict[str, tuple[float, float]] = field(default_factory=dict)
    aim: float = 0.0
    asked_gear: int = 0
    crest: float = math.inf
    crest_speed: float = 0.0
    ceiling: float = math.inf
    taken: list[tuple[float, float]] = field(default_factory=list)
    shifting: bool = False
    shifts_tried: int = 0
    planned: list[Any] | None = None
    _changed: simpy.Event = field(init=False)

    def __post_init__(self) -> None:
        self.clock, self.truck, self.settings, self.route = (
            self.trip.clock,
            self.trip.truck,
            self.trip.settings,
            self.trip.route,
        )
        self._changed = self.clock.event()
        self.top_gear, self.engine_speed = self.trip.top_gear, self.trip.engine_speed

    # ------------------------------------------------------------ what he sees

    @property
    def cruising(self) -> bool:
        """Whether the lamp of cruise control is lit."""
        return self.clock.commanded("set_speed") > 0.0

    def lamp(self) -> simpy.Event:
        """The event of that lamp going on or off."""
        lit = self.cruising
        return self.clock.when("command.set_speed", 1e-6, falling=lit, release=1e-6)

    def changed(self) -> simpy.Event:
        """The event of the next change of mind."""
        return self._changed

    def resistance(self, road_speed: float, grade: float) -> float:
        """Force of road and air at a speed on a grade, as a driver can tell from the seat.

        Parameters
        ----------
        road_speed : float
            [m/s]

        Returns
        -------
        force : float
            [N]
        """
        clock = self.clock
        return float(
            asked_resistance(clock.rig.parameters, clock.true("air_density"), road_speed, clock.true("wind"), grade)
        )

    def pull_at(self, gear: int, engine_speed: float, *, boosted: bool = True) -> float:
        """Force at the tyres at full pedal in a gear, at an engine speed the clutch may not have brought to the wheels yet.

        Parameters
        ----------
        gear : int
            1 is the lowest.
        engine_speed : float
            [rad/s]
        boosted : bool
            False for the torque the engine has before its turbocharger has spun up.

        Returns
        -------
        force : float
            [N]
        """
        clock = self.clock
        air = (clock.true("ambient_pressure"), clock.true("ambient_temperature"))
        taken = clock.true("fan_power") + clock.true("accessory_power")
        taken += self.trip.cold_drag(engine_speed) * engine_speed
        return float(asked_pull(clock.rig.parameters, clock.rig.tables, gear, engine_speed, *air, taken, boosted))

    def allowed_speed(self) -> float:
        """What limit and curve allow here. [m/s]"""
        return allowed_at(self.route, self.clock.true("distance"), self.settings)

    def soon_slows(self) -> bool:
        """Whether slowing for a descent begins so soon that a higher gear is not worth the shift."""
        speed = self.clock.believed("judged_speed")
        way = slowing_distance(speed, min(self.crest_speed, speed), self.settings.driver.slowing_m_s2)
        return self.crest - way - self.clock.true("distance") < PAYS_AFTER * speed

    # ------------------------------------------------------------ hands and feet

    def think_again(self) -> None:
        """Puts feet and hands where they belong and tells whoever waits that something changed."""
        clock = self.clock
        free = not self.cruising and not self.retarding and not self.brakes and not self.standing
        if not self.shifting:
            clock.mean(foot_mode=HOLD_ROAD_SPEED if free else PEDAL, pedal=0.0)
        name = next((name for name in FEET if name in self.brakes), None)
        mode, value = self.brakes[name] if name else (0.0, 0.0)
        clock.mean(brake_mode=mode)
        if mode == BRAKE_TO_DECELERATE:
            clock.mean(brake_deceleration=value)
        elif mode == BRAKE_TO_STOP:
            clock.mean(stop_distance=value)
        elif mode == BRAKE_PRESSURE:
            clock.mean(brake_pressure=value)
        self._hand_on_the_engine_brake()
        event, self._changed = self._changed, clock.event()
        event.succeed()

    def _hand_on_the_engine_brake(self) -> None:
        """The switch is on while the driver wants to be held back or lets cruise control call it; off where he does not."""
        drill, retarding = self.settings.drill, self.settings.retarding
        if drill.hold_stage >= 0:
            on, place = drill.hold_stage > 0, max(drill.hold_stage, 1)
        else:
            calls = self.cruising and self.settings.cruise.with_engine_brake
            on = retarding.switch and (calls or (bool(self.retarding) and self.selector > 0))
            place = retarding.selector if calls else min(max(self.selector, 1), retarding.selector)
        self.clock.mean(hand_engine_brake_switch=float(on), hand_engine_brake_selector=place)

    def want_retarding(self, why: str, wish: bool) -> None:
        """Takes the foot off the accelerator to be held back by the engine, or has no reason to any more."""
        if wish != (why in self.retarding):
            (self.retarding.add if wish else self.retarding.discard)(why)
            self.think_again()

    def select(self, stage: int) -> None:
        """Wants a stage of the engine brake, 0 to 3."""
        if stage != self.selector:
            self.selector = stage
            self.think_again()

    def press_brake(self, why: str, mode: float, value: float = 0.0) -> None:
        """Puts the foot on the brake.

        Parameters
        ----------
        why : str
            One of `FEET`.
        mode : float
            As the field `brake_mode`.
        value : float
            Deceleration, place or pressure, by the mode. [SI]
        """
        self.brakes[why] = (mode, value)
        self.think_again()

    def release_brake(self, why: str) -> None:
        """Takes this reason off the brake pedal; another may still hold it."""
        if self.brakes.pop(why, None) is not None:
            self.think_again()

    def stand(self, standing: bool) -> None:
        """Notes that the truck stands, or rolls again."""
        self.standing = standing
        self.think_again()

    def tap(self, button: str, seconds: float = FINGER) -> Process:
        """Presses a button of cruise control for a while.

        Parameters
        ----------
        button : str
            Name of the control.
        seconds : float
            [s]
        """
        self.clock.mean(**{f"hand_{button}": 1.0})
        yield self.clock.after(seconds)
        self.clock.mean(**{f"hand_{button}": 0.0})

    # ------------------------------------------------------------ what he aims at

    def aim_for(self, speed: float) -> None:
        """Sets the speed the driver aims for, bounded by what the descent and the cruise setting allow.

        Parameters
        ----------
        speed : float
            What the road allows. [m/s]
        """
        here = self.clock.true("distance")
        self.taken = [(place, lower) for place, lower in self.taken if place > here]
        wanted = self.settings.cruise.si("set_speed_km_h") or math.inf
        if wanted < math.inf:
            wanted = min(wanted, highest_set_speed(self.settings))
        self.aim = min(speed, self.ceiling, wanted, *(lower for _, lower in self.taken))
        self.clock.mean(target_speed=self.aim)
        self.think_again()

    def want_descent(self, gear: int, ceiling: float) -> None:
        """Notes the gear and the speed the driver wants from here on, on a descent.

        Parameters
        ----------
        gear : int
            Highest gear, 0 for any.
        ceiling : float
            Highest speed; infinite for none. [m/s]
        """
        self.asked_gear, self.ceiling = gear, ceiling
        self.aim_for(self.allowed_speed())


def allowed_at(route: Route, distance: float, settings: Settings) -> float:
    """Speed a driver takes to be allowed at a place: by limit and habit, less in a sharp curve.

    Parameters
    ----------
    distance : float
        Along the road. [m]

    Returns
    -------
    speed : float
        [m/s]
    """
    posted = settings.kept(route.limit_at(distance))
    curve = route.curve_at(distance)
    return curve if curve < posted - CURVE_MARGIN else posted
