"""A trip, or a run on a dyno, as those share it who decide by belief: clock, truck, settings, road, what the controller keeps."""

from array import array
from dataclasses import dataclass, field
from typing import Any

import simpy

from sim.inputs.specs import Settings, Truck
from sim.laws.driveline import engine_speed_in_gear
from sim.march.clock import Clock
from sim.march.plant import asked_cold_drag
from sim.roads.route import Route
from sim.wording import Finding, finding


@dataclass
class Underway:
    """One truck on its way.

    Parameters
    ----------
    outcome : tuple of str and Finding
        How it ended, and why.
    refusals : dict
        Why the controller refuses something while a code is active: cruise, engine_brake; and why it wants the fan: fan.
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
        False where no truck moves: the controller leaves out the tests that need one.
    """

    clock: Clock
    truck: Truck
    settings: Settings
    route: Route
    ended: simpy.Event = field(init=False)
    outcome: tuple[str, Finding] = ("time_limit", finding("ended.not_at_all"))
    refusals: dict[str, Finding] = field(default_factory=dict)
    codes: dict[tuple[int, int], Any] = field(default_factory=dict)
    readings: "dict[str, array[float]]" = field(default_factory=dict)
    open_solenoids: set[str] = field(default_factory=set)
    mended: dict[str, int] = field(default_factory=dict)
    shut_down: Finding | None = None
    wheels: bool = True

    def __post_init__(self) -> None:
        self.ended = self.clock.event()

    @property
    def watched(self) -> bool:
        """Whether every circuit is worked out: something is wrong or dialled in."""
        return bool(self.clock.rig.parameters["circuits_watched"][0] > 0.5)

    def watch_circuits(self) -> None:
        """Has every circuit worked out from now on."""
        self.clock.rig.parameters["circuits_watched"] = 1.0

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

    def cold_drag(self, engine_speed: float) -> float:
        """Torque that an engine as cold as its oil is believed to be takes beyond a warm one.

        Parameters
        ----------
        engine_speed : float
            [rad/s]

        Returns
        -------
        torque : float
            [N m]
        """
        rig = self.clock.rig
        return float(asked_cold_drag(rig.parameters, rig.tables, engine_speed, self.clock.believed("oil_temperature")))
