"""What every actor sees: clock, truck, settings, road, and how to end the trip."""

from dataclasses import dataclass, field

import simpy

from sim.clock import Clock
from sim.laws.driveline import engine_speed_in_gear
from sim.plant import asked_pull, asked_resistance
from sim.route import Route
from sim.specs import Settings, Truck

PRIORITY = ("stand", "stop", "slow", "hold")
BRAKE_TO_DECELERATE, BRAKE_TO_HOLD, BRAKE_TO_STOP, BRAKE_PRESSURE = (
    1.0,
    2.0,
    3.0,
    4.0,
)  # of the command field brake_mode


@dataclass
class Scene:
    """One trip as its actors share it.

    Parameters
    ----------
    clock : Clock
        [-]
    truck : Truck
        [-]
    settings : Settings
        [-]
    route : Route
        [-]
    standing : bool
        The truck stands at a stop or is being launched. [-]
    selector : int
        Highest engine-brake stage the driver's hand allows now. [-]
    retarding : set of str
        Who wants the truck held back by the engine: the foot is off the accelerator as long as anybody does. [-]
    brakes : dict
        Who presses the brake pedal, each with mode and value; the first of `PRIORITY` counts. [-]
    outcome : tuple of str
        How the trip ended, and why. [-]
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
    outcome: tuple[str, str] = ("time_limit", "the trip did not end")
    _changed: simpy.Event = field(init=False)

    def __post_init__(self) -> None:
        self.ended = self.clock.event()
        self._changed = self.clock.event()

    def changed(self) -> simpy.Event:
        """The event of the next change of what the driver does: feet, switch, target speed, standing or rolling.

        Returns
        -------
        event : simpy.Event
            [-]
        """
        return self._changed

    def _tell(self) -> None:
        """Puts the feet where they belong and tells whoever waits that something changed."""
        foot_free = not self.retarding and not self.brakes
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

    def want_retarding(self, who: str, wish: bool) -> None:
        """Moves the driver's engine-brake switch.

        Parameters
        ----------
        who : str
            For what. [-]
        wish : bool
            [-]
        """
        if wish != (who in self.retarding):
            (self.retarding.add if wish else self.retarding.discard)(who)
            self._tell()

    def select(self, stage: int) -> None:
        """Moves the driver's hand on the engine-brake selector.

        Parameters
        ----------
        stage : int
            Highest stage allowed, 0 to 3. [-]
        """
        if stage != self.selector:
            self.selector = stage
            self._tell()

    def press_brake(self, who: str, mode: float, value: float = 0.0) -> None:
        """Puts the foot on the brake.

        Parameters
        ----------
        who : str
            For what, one of `PRIORITY`. [-]
        mode : float
            As the command field `brake_mode`. [-]
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
            For what, one of `PRIORITY`. [-]
        """
        if self.brakes.pop(who, None) is not None:
            self._tell()

    def aim_for(self, speed: float) -> None:
        """Sets the speed the driver aims for.

        Parameters
        ----------
        speed : float
            [m/s]
        """
        self.clock.set(target_speed=speed)
        self._tell()

    def stand(self, standing: bool) -> None:
        """Notes that the truck stands, or rolls again.

        Parameters
        ----------
        standing : bool
            [-]
        """
        self.standing = standing
        self._tell()

    def end(self, how: str, cause: str) -> None:
        """Ends the trip; the first reason counts.

        Parameters
        ----------
        how : str
            arrived, time_limit, stalled or runaway. [-]
        cause : str
            In words. [-]
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
            1 is the lowest. [-]
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
        grade : float
            [-]

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
            1 is the lowest. [-]
        road_speed : float
            [m/s]
        boosted : bool
            False for the torque the engine has before its turbocharger has spun up. [-]

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
            1 is the lowest. [-]
        engine_speed : float
            [rad/s]
        boosted : bool
            False for the torque the engine has before its turbocharger has spun up. [-]

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
