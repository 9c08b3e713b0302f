"""What every actor sees: clock, truck, settings, road, and how to end the trip."""

import math
from array import array
from collections import deque
from dataclasses import dataclass, field
from typing import Any

import simpy

from sim.inputs.specs import Settings, Truck
from sim.laws.driveline import engine_speed_in_gear
from sim.march.clock import Clock, Process
from sim.march.controller import FOOT_ABOVE, FOOT_BELOW
from sim.march.plant import asked_pull, asked_resistance
from sim.roads.route import Route
from sim.wording import Finding, finding

PRIORITY = ("stand", "stop", "slow", "hold")
FINGER = 0.3  # s, assumed: how long a button is pressed
WIRES = {"set_button": ("set", "coast", "tap down"), "resume_button": ("resume", "accelerate", "tap up")}
CURVE_MARGIN = 0.5  # m/s, assumed: a limit this little above the speed of a curve is posted for it
BRAKE_TO_DECELERATE, BRAKE_TO_HOLD, BRAKE_TO_STOP, BRAKE_PRESSURE = (
    1.0,
    2.0,
    3.0,
    4.0,
)  # of the command field brake_mode


def _wire_of(button: str) -> str:
    """The wire a button of the cruise control works on, "" for none of its own."""
    return next((wire for wire, buttons in WIRES.items() if button in buttons), "")


def highest_set_speed(settings: Settings) -> float:
    """The highest speed that can be set.

    Returns
    -------
    speed : float
        Infinite where nothing is programmed. [m/s]
    """
    limits = (settings.cruise.si("most_km_h"), settings.road_speed.si("limit_km_h"))
    return min((limit for limit in limits if limit > 0.0), default=math.inf)


@dataclass
class Scene:
    """One trip as its actors share it.

    Parameters
    ----------
    standing : bool
        The truck stands at a stop or is being launched.
    selector : int
        Highest engine-brake stage the driver's hand allows now.
    retarding : set of str
        Who wants the truck held back by the engine: the foot is off the accelerator as long as anybody does.
    brakes : dict
        Who presses the brake pedal, each with mode and value; the first of `PRIORITY` counts.
    aim : float
        Speed the driver wants; the speed held while cruise control does not hold another. [m/s]
    cruising : bool
        Cruise control holds its set speed.
    cruise_stage : int
        Engine-brake stage cruise control calls for.
    latched : bool
        The service brake has called the engine brake in, where the settings ask for that.
    asked_gear : int
        Highest gear the driver wants on this descent, 0 for any.
    ceiling : float
        Highest speed the driver wants on this descent. [m/s]
    taken : list of (float, float)
        Lower speeds ahead for which the driver has begun to slow: place and speed. [m, m/s]
    shifts_tried : int
        Shifts begun so far.
    planned : list or None
        The descents as the driver means to drive them, once they have been thought about.
    outcome : tuple of str and Finding
        How the trip ended, and why.
    refusals : dict
        What the controller refuses while a code is active: cruise, engine_brake; and why it wants the fan: fan.
    codes : dict
        Every code the controller has set so far, by number and mode.
    readings : dict
        What the meters have shown so far, by column.
    open_solenoids : set of str
        Pairs of the engine brake whose circuit carries no current.
    mended : dict
        How often each part has been mended.
    shut_down : Finding or None
        Why the controller has stopped the engine, None while it has not.
    wheels : bool
        False for an engine alone, whose controller does not look for a road speed.
    """

    clock: Clock
    truck: Truck
    settings: Settings
    route: Route
    ended: simpy.Event = field(init=False)
    standing: bool = False
    selector: int = 3
    retarding: set[str] = field(default_factory=set)
    brakes: dict[str, tuple[float, float]] = field(default_factory=dict)
    aim: float = 0.0
    cruising: bool = False
    cruise_stage: int = 0
    latched: bool = False
    asked_gear: int = 0
    ceiling: float = math.inf
    taken: list[tuple[float, float]] = field(default_factory=list)
    shifts_tried: int = 0
    planned: list[Any] | None = None
    outcome: tuple[str, Finding] = ("time_limit", finding("ended.not_at_all"))
    refusals: dict[str, Finding] = field(default_factory=dict)
    codes: dict[tuple[int, int], Any] = field(default_factory=dict)
    readings: "dict[str, array[float]]" = field(default_factory=dict)
    open_solenoids: set[str] = field(default_factory=set)
    mended: dict[str, int] = field(default_factory=dict)
    shut_down: Finding | None = None
    wheels: bool = True
    watched: bool = field(init=False)  # every circuit is worked out: something is wrong or dialled in
    _changed: simpy.Event = field(init=False)
    _pressed: deque[tuple[str, float]] = field(init=False, default_factory=deque)
    _button: simpy.Event = field(init=False)

    def __post_init__(self) -> None:
        self.ended = self.clock.event()
        self.watched = float(self.clock.rig.parameters["circuits_watched"][0]) > 0.5
        self._changed = self.clock.event()
        self._button = self.clock.event()

    def changed(self) -> simpy.Event:
        """The event of the next change of what the driver does: feet, switch, target speed, standing or rolling."""
        return self._changed

    def _tell(self) -> None:
        """Puts the feet where they belong and tells whoever waits that something changed."""
        foot_free = self.cruising or (not self.retarding and not self.brakes)
        self.clock.set(accelerator_mode=1.0 if foot_free else 0.0, accelerator=0.0)
        name = next((name for name in PRIORITY if name in self.brakes), None)
        mode, value = self.brakes[name] if name else (0.0, 0.0)
        self.clock.set(brake_mode=mode)
        if mode == BRAKE_TO_DECELERATE:
            self.clock.set(brake_deceleration=value)
        elif mode == BRAKE_TO_STOP:
            self.clock.set(stop_distance=value)
        elif mode == BRAKE_PRESSURE:
            self.clock.set(brake_pressure=value)
        event, self._changed = self._changed, self.clock.event()
        event.succeed()

    def notice(self) -> None:
        """Lets everybody think again: something changed that no foot or hand did."""
        self._tell()

    def watch_circuits(self) -> None:
        """Has every circuit worked out from now on."""
        self.watched = True
        self.clock.rig.parameters["circuits_watched"] = 1.0

    def is_on(self, switch: str) -> bool:
        """Whether the controller takes a switch for on.

        Parameters
        ----------
        switch : str
            retarding_switch, cruise_switch or fan_switch.
        """
        if self.watched:
            return self.clock.believed(switch) > 0.5
        settings = self.settings
        positions = {
            "retarding_switch": settings.retarding.switch,
            "fan_switch": settings.fan.override,
            "cruise_switch": True,  # its position is the button's
        }
        return positions[switch]

    @property
    def selected(self) -> int:
        """Highest engine-brake stage the controller reads from the selector. [-]"""
        return int(self.clock.believed("selector")) if self.watched else self.settings.retarding.selector

    def want_retarding(self, who: str, wish: bool) -> None:
        """Moves the driver's engine-brake switch.

        Parameters
        ----------
        who : str
            For what.
        """
        if wish != (who in self.retarding):
            (self.retarding.add if wish else self.retarding.discard)(who)
            self._tell()

    def select(self, stage: int) -> None:
        """Moves the driver's hand on the engine-brake selector.

        Parameters
        ----------
        stage : int
            Highest stage allowed, 0 to 3.
        """
        if stage != self.selector:
            self.selector = stage
            self._tell()

    def press_brake(self, who: str, mode: float, value: float = 0.0) -> None:
        """Puts the foot on the brake.

        Parameters
        ----------
        who : str
            For what, one of `PRIORITY`.
        mode : float
            As the command field `brake_mode`.
        value : float
            Deceleration, place or pressure, by the mode. [SI]
        """
        self.brakes[who] = (mode, value)
        self._tell()

    def release_brake(self, who: str) -> None:
        """Takes this reason off the brake pedal; another may still hold it.

        Parameters
        ----------
        who : str
            For what, one of `PRIORITY`.
        """
        if self.brakes.pop(who, None) is not None:
            self._tell()

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
        if not self.cruising:
            self.clock.set(target_speed=self.aim)
        self._tell()

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

    def allowed_at(self, distance: float) -> float:
        """Speed that limit and curve allow at a place: the posted limit times the driver's habit, less in a sharp curve.

        Parameters
        ----------
        distance : float
            Along the road. [m]

        Returns
        -------
        speed : float
            [m/s]
        """
        posted = self.route.limit_at(distance) * self.settings.driver.speed_limit_share
        curve = self.route.curve_at(distance)
        return curve if curve < posted - CURVE_MARGIN else posted

    def allowed_speed(self) -> float:
        """What limit and curve allow here.

        Returns
        -------
        speed : float
            [m/s]
        """
        return self.allowed_at(self.clock.true("distance"))

    def hold_set_speed(self, speed: float) -> None:
        """Lets cruise control hold a speed, or gives the accelerator back to the driver's foot.

        Parameters
        ----------
        speed : float
            Set speed, 0 to end it. [m/s]
        """
        cruise, driver = self.settings.cruise, self.settings.driver
        self.cruising = speed > 0.0
        if self.cruising:
            below, above = cruise.si("full_below_km_h"), cruise.si("none_above_km_h")
            gaining, rate = cruise.acceleration_m_s2, cruise.pedal_rate_percent_per_s
        else:
            below, above = FOOT_BELOW, FOOT_ABOVE
            gaining, rate = driver.acceleration_m_s2, driver.pedal_rate_percent_per_s
        self.clock.set(
            set_speed=speed,
            target_speed=speed or self.aim,
            hold_below=below,
            hold_above=above,
            acceleration_limit=gaining,
            pedal_rate=rate / 100.0,
        )
        self._tell()

    def call_stage(self, stage: int) -> None:
        """Notes the engine-brake stage cruise control calls for.

        Parameters
        ----------
        stage : int
            0 to 3.
        """
        if stage != self.cruise_stage:
            self.cruise_stage = stage
            self._tell()

    def latch(self, latched: bool) -> None:
        """Notes that the service brake has called the engine brake in, or that the accelerator has let it go."""
        if latched != self.latched:
            self.latched = latched
            self._tell()

    def press(self, button: str, speed: float = 0.0) -> None:
        """Presses a button of the cruise control.

        Parameters
        ----------
        button : str
            One of `sim.inputs.specs.BUTTONS`, or release.
        speed : float
            For set: the speed the driver tunes it to, 0 for the speed there is. [m/s]
        """
        wire = _wire_of(button)
        if wire and (self.watched or self.settings.circuits.meters):
            self.clock.process(self._touch(f"hand_{wire.removesuffix('_button')}"))
        if self.watched and not self._reaches_the_controller(button):
            return
        self.press_through(button, speed)

    def press_through(self, button: str, speed: float = 0.0) -> None:
        """A press as it reaches the controller, whoever or whatever made it.

        Parameters
        ----------
        button : str
            One of `sim.inputs.specs.BUTTONS`, release, or controller for the controller itself.
        speed : float
            For set: the speed the driver tunes it to, 0 for the speed there is. [m/s]
        """
        self._pressed.append((button, speed))
        if not self._button.triggered:
            self._button.succeed()

    def _reaches_the_controller(self, button: str) -> bool:
        """Whether a button's circuit carries the press; the switch of the cruise control moves by on and off."""
        if button in ("on", "off"):
            self.clock.set(hand_cruise=1.0 if button == "on" else 0.0)
            return True
        wire = _wire_of(button)
        return not wire or float(self.clock.rig.parameters[f"{wire}_circuit"][0]) < 0.5

    def _touch(self, hand: str) -> Process:
        """A button under a finger, as a meter sees it."""
        self.clock.set(**{hand: 1.0})
        yield self.clock.after(FINGER)
        self.clock.set(**{hand: 0.0})

    def button(self) -> simpy.Event:
        """The event of the next button press; read it with `next_button`."""
        if self._button.triggered and not self._pressed:
            self._button = self.clock.event()
        return self._button

    def next_button(self) -> tuple[str, float] | None:
        """The button pressed first of those not yet read.

        Returns
        -------
        button : (str, float) or None
            None when there is none. [-, m/s]
        """
        return self._pressed.popleft() if self._pressed else None

    def stand(self, standing: bool) -> None:
        """Notes that the truck stands, or rolls again."""
        self.standing = standing
        self._tell()

    def end(self, how: str, cause: Finding) -> None:
        """Ends the trip; the first reason counts.

        Parameters
        ----------
        how : str
            arrived, time_limit, stalled or runaway.
        cause : Finding
            Of the group `ended`.
        """
        if not self.ended.triggered:
            self.clock.record(how, cause)
            self.outcome = (how, cause)
            self.ended.succeed()

    @property
    def top_gear(self) -> int:
        """Number of forward gears. [-]"""
        return len(self.truck.gearbox.ratios)

    def engine_speed(self, gear: int, road_speed: float) -> float:
        """Engine speed in a gear at a road speed.

        Parameters
        ----------
        gear : int
            1 is the lowest.
        road_speed : float
            [m/s]

        Returns
        -------
        speed : float
            [rad/s]
        """
        truck = self.truck
        ratio, radius = truck.gearbox.ratios[gear - 1], truck.tyres.rolling_radius_m
        return float(engine_speed_in_gear(road_speed, radius, ratio, truck.driveline.axle_ratio))

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

    def pull(self, gear: int, road_speed: float, *, boosted: bool = True) -> float:
        """Force at the tyres at full pedal in a gear.

        Parameters
        ----------
        gear : int
            1 is the lowest.
        road_speed : float
            [m/s]
        boosted : bool
            False for the torque the engine has before its turbocharger has spun up.

        Returns
        -------
        force : float
            0 below low idle and above governed speed. [N]
        """
        speed = self.engine_speed(gear, road_speed)
        engine = self.truck.engine
        if not engine.si("low_idle_rpm") <= speed <= engine.si("governed_rpm"):
            return 0.0
        return self.pull_at(gear, speed, boosted=boosted)

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
        return float(
            asked_pull(
                clock.rig.parameters,
                clock.rig.tables,
                gear,
                engine_speed,
                clock.true("ambient_pressure"),
                clock.true("ambient_temperature"),
                clock.true("fan_power") + clock.true("accessory_power"),
                boosted,
            )
        )
