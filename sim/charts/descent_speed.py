"""How fast each descent of a road may be driven, by load: the published model beside what this project's truck holds.

Two opinions, never mixed. The published one asks how hot the service brakes get when nothing but the engine's own drag helps;
ours asks at which speed gear and engine brake hold the truck without the service brakes. Both are capped by limit, curve and
governed speed, and each says what binds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.charts.control_speed import ControlChart, RetardingCurve, control_chart
from sim.charts.safe_speed import SafeSpeed, safe_descent_speed
from sim.charts.truck_at import GradeLine, truck_at
from sim.errors import SpecError
from sim.inputs.specs import Settings, Truck, Vehicle
from sim.roads.facts import part_of
from sim.roads.falls import falling_parts, pitches
from sim.roads.route import SIDE_ACCELERATION, Route
from sim.units import POUND

LOADS = tuple(
    pounds * POUND for pounds in (35_000.0, 45_000.0, 55_000.0, 65_000.0, 80_000.0)
)  # kg, assumed: round pounds


@dataclass(frozen=True)
class HeldSpeed:
    """The highest speed on a grade at which gear and engine brake have the truck in hand without the service brakes.

    Parameters
    ----------
    speed : float
        0 where nothing holds. [m/s]
    binds : str
        What allows no more, in words.
    gear : int
        0 where nothing holds.
    stage : int
        Lowest stage of the engine brake that holds there.
    settles : float or None
        Where the truck comes to rest in that gear and stage, left alone; None where it slows down below 900 rpm. [m/s]
    """

    speed: float
    binds: str
    gear: int
    stage: int
    settles: float | None


@dataclass(frozen=True)
class DescentSpeed:
    """One descent with one load.

    Parameters
    ----------
    mass : float
        Gross. [kg]
    held : HeldSpeed
        By gear and engine brake of this project's truck. [m/s]
    set_a : SafeSpeed or None
        By the published model, constant set A; None for a truck outside that model. [m/s]
    set_b : SafeSpeed or None
        The same with set B. [m/s]
    """

    mass: float
    held: HeldSpeed
    set_a: SafeSpeed | None
    set_b: SafeSpeed | None


@dataclass(frozen=True)
class DescentSpeeds:
    """One descent of a road.

    Parameters
    ----------
    begin : float
        [m]
    end : float
        [m]
    drop : float
        Height lost, positive. [m]
    steepest : float
        Over 250 m; negative.
    cap : float
        Lowest of posted limits and curves on it; where there are none, what the driver keeps to. [m/s]
    cap_name : str
        Which of these it is, in words.
    loads : tuple of DescentSpeed
        Lightest first.
    """

    begin: float
    end: float
    drop: float
    steepest: float
    cap: float
    cap_name: str
    loads: tuple[DescentSpeed, ...]


def loaded(truck: Truck, mass: float) -> Truck:
    """A truck with another gross mass, spread over its axle groups as its own is.

    Parameters
    ----------
    mass : float
        [kg]

    Returns
    -------
    truck : Truck
        Everything else as it was.
    """
    vehicle = truck.vehicle
    share = mass / vehicle.mass_kg
    groups = {
        f"{group}_load_kg": share * getattr(vehicle, f"{group}_load_kg") for group in ("steer", "drive", "trailer")
    }
    values = vehicle.model_dump() | {"mass_kg": sum(groups.values())} | groups
    return truck.model_copy(update={"vehicle": Vehicle.model_validate(values)})


def loads_for(truck: Truck) -> tuple[float, ...]:
    """Gross masses worth a row: round ones below the truck's own, and its own.

    Returns
    -------
    masses : tuple of float
        Rising. [kg]
    """
    own = truck.vehicle.mass_kg
    return (*(mass for mass in LOADS if mass < 0.97 * own), own)


def descent_speeds(
    truck: Truck, settings: Settings, route: Route, masses: Sequence[float] | None = None
) -> tuple[DescentSpeeds, ...]:
    """Every descent of a road that a driver would call one, by load.

    Parameters
    ----------
    settings : Settings
        For weather, and for the highest stage the selector allows.
    masses : sequence of float or None
        Gross; None for those of `loads_for`. [kg]

    Returns
    -------
    descents : tuple of DescentSpeeds
        In the order of the road; what counts as a descent is what the driver of a trip takes for one.

    Raises
    ------
    SpecError
        The truck's numbers do not fit each other, or a mass is out of range.

    References
    ----------
    [1] Wyoming DOT update of the Grade Severity Rating System (report WY-1901F, 2018, and follow-up), seen second-hand.
    """
    found = []
    stages = settings.retarding.selector if settings.retarding.switch else 0
    for begin, end in falling_parts(route):
        part = part_of(route, begin, end)
        steepest = min(pitch[2] for pitch in pitches(route, begin, end))
        cap, name = min(
            [(place.value, "posted limit") for place in part.limits]
            + [(math.sqrt(SIDE_ACCELERATION * curve.value), "curve") for curve in part.curves if curve.value > 0.0],
            default=(settings.kept(math.inf), "the driver's own speed"),
        )
        middle = 0.5 * (part.start_elevation + float(part.elevation[-1]))
        rows = []
        for mass in masses or loads_for(truck):
            heavy = loaded(truck, mass)
            chart = control_chart(truck_at(heavy, settings, middle, route.start_elevation), (steepest,))
            held = held_speed(chart, steepest, cap, name, stages)
            rows.append(DescentSpeed(mass, held, *(_published(heavy, part, held.gear, letter) for letter in "ab")))
        found.append(DescentSpeeds(begin, end, -part.net_height, steepest, cap, name, tuple(rows)))
    return tuple(found)


def held_speed(chart: ControlChart, grade: float, cap: float, cap_name: str, highest_stage: int = 3) -> HeldSpeed:
    """The highest speed at which a gear and a stage hold a truck on a grade without the service brakes.

    Parameters
    ----------
    chart : ControlChart
        With a line for the grade.
    grade : float
        Negative downhill.
    cap : float
        Highest speed allowed. [m/s]
    cap_name : str
        What allows no more, in words.
    highest_stage : int
        Of the engine brake that may be used.

    Returns
    -------
    held : HeldSpeed
        Of equal speeds the one in the highest gear, and there with the lowest stage. [m/s]

    Notes
    -----
    A gear and a stage hold at a speed when they hold back at least what the grade pushes with, there and up to governed speed:
    a truck that runs a little faster is brought back. Below governed speed it then settles where the curve crosses the line of
    the grade, or can be kept at the higher speed with a lower stage now and then.
    """
    line = next(each for each in chart.lines if each.grade == grade)
    settled = {(each.gear, each.stage): each.speed for each in chart.crossings if each.grade == grade}
    best = HeldSpeed(0.0, "nothing holds on the steepest part", 0, 0, None)
    rank: tuple[float, int, int] = (0.0, 0, 0)
    for curve in chart.curves:
        governed = float(curve.speed[-1])
        speed = min(governed, cap)
        if curve.stage > highest_stage or speed < curve.speed[0] or not _holds(curve, line, speed):
            continue
        here = (speed, curve.gear, -curve.stage)
        if here > rank:
            binds = cap_name if cap <= governed else f"governed speed in gear {curve.gear}"
            best = HeldSpeed(speed, binds, curve.gear, curve.stage, settled.get((curve.gear, curve.stage)))
            rank = here
    return best


def _holds(curve: RetardingCurve, line: GradeLine, speed: float) -> bool:
    """True where a gear and a stage hold back at least what the grade pushes with, from a speed up to governed speed."""
    push = np.interp(curve.speed, line.speed, line.force)
    there = np.interp(speed, curve.speed, curve.force) >= np.interp(speed, line.speed, line.force)
    return bool(there and np.all((curve.force >= push)[curve.speed >= speed]))


def _published(truck: Truck, part: Route, gear: int, letter: str) -> SafeSpeed | None:
    """The published model's answer; None for a truck it does not cover."""
    try:
        return safe_descent_speed(truck, part, updated=letter == "a", gear=gear or None)
    except SpecError:
        return None
