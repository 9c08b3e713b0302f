"""What every actor sees: clock, truck, settings, road, and how to end the trip."""

from dataclasses import dataclass, field

import simpy

from sim.clock import Clock
from sim.laws.driveline import engine_speed_in_gear
from sim.laws.road_load import aerodynamic_drag, grade_force, grade_sine, rolling_resistance
from sim.laws.tables import table_value
from sim.plant import air_limit, driveline, warm_friction
from sim.records import FULL_LOAD_ROW
from sim.route import Route
from sim.specs import Settings, Truck


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
    wants_retarding : bool
        The driver's engine-brake switch. [-]
    standing : bool
        The truck stands at a stop or is being launched. [-]
    outcome : tuple of str
        How the trip ended, and why. [-]
    """

    clock: Clock
    truck: Truck
    settings: Settings
    route: Route
    ended: simpy.Event = field(init=False)
    wants_retarding: bool = False
    standing: bool = False
    outcome: tuple[str, str] = ("time_limit", "the trip did not end")
    _retarding_event: simpy.Event = field(init=False)

    def __post_init__(self) -> None:
        self.ended = self.clock.event()
        self._retarding_event = self.clock.event()

    def retarding_changed(self) -> simpy.Event:
        """The event of the next change of the driver's wish to be held back by the engine.

        Returns
        -------
        event : simpy.Event
            [-]
        """
        return self._retarding_event

    def pulled_away(self) -> simpy.Event:
        """The event of the end of a launch that is still to come.

        Returns
        -------
        event : simpy.Event
            [-]
        """
        return self.clock.when("command.launching", 0.5, falling=True, release=0.5)

    def want_retarding(self, wish: bool) -> None:
        """Moves the driver's engine-brake switch; the foot stays off the accelerator as long as it is on.

        Parameters
        ----------
        wish : bool
            [-]
        """
        if wish != self.wants_retarding:
            self.wants_retarding = wish
            self.clock.set(accelerator_mode=0.0 if wish else 1.0, accelerator=0.0)
            event, self._retarding_event = self._retarding_event, self.clock.event()
            event.succeed()

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
        p = self.clock.rig.parameters[0]
        ratio = self.truck.gearbox.ratios[gear - 1]
        return float(engine_speed_in_gear(road_speed, float(p["tyre_radius"]), ratio, float(p["axle_ratio"])))

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
        p = self.clock.rig.parameters[0]
        mass = float(p["mass"])
        return float(
            grade_force(mass, grade_sine(grade))
            + rolling_resistance(mass, 1.0, float(p["rolling_constant"]), float(p["rolling_speed"]), road_speed)
            + aerodynamic_drag(
                self.clock.true("air_density"), float(p["drag_area"]), road_speed, self.clock.true("wind")
            )
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
        rig = self.clock.rig
        p = rig.parameters[0]
        speed = self.engine_speed(gear, road_speed)
        if speed < float(p["low_idle"]) or speed > float(p["governed_speed"]):
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
        rig = self.clock.rig
        p = rig.parameters[0]
        friction = float(warm_friction(engine_speed, p))
        torque = float(
            table_value(rig.tables[FULL_LOAD_ROW], float(p["curve_first"]), float(p["curve_per_step"]), engine_speed)
        )
        if not boosted:
            outside = self.clock.true("ambient_temperature")
            limit = air_limit(self.clock.true("ambient_pressure"), outside, float(p["least_air_fuel"]), p)
            torque = min(torque, float(limit) - friction)
        powers = self.clock.true("fan_power") + self.clock.true("accessory_power")
        torque -= powers / max(engine_speed, 1.0)
        slope, drag, _ = driveline(torque, gear, engine_speed, 1.0, p, rig.tables)
        return float(slope) * torque - float(drag)
