"""Control speeds: what each gear and stage of the engine brake holds back, and what each grade pushes with."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.charts.truck_at import POINTS, Crossing, ForceChart, ForceCurve, GradeLine, TruckAt, crossing_after
from sim.march.plant import asked_retarding
from sim.units import to_si

LOWEST_SPEED = to_si(900.0, "rpm")  # rad/s: below it an engine brake is of no use (common practice, no source)
STAGES = (0, 1, 2, 3)
GRADES = (0.0, -0.02, -0.04, -0.06, -0.08)


@dataclass(frozen=True)
class RetardingCurve(ForceCurve):
    """What one gear and one stage hold back with, boost settled and foot off.

    Parameters
    ----------
    stage : int
        0 for the engine without its brake.
    """

    stage: int


@dataclass(frozen=True)
class ControlSpeed(Crossing):
    """A gear and a stage hold the truck at this speed on a grade, and bring it back when it runs faster."""

    stage: int


@dataclass(frozen=True)
class ControlChart(ForceChart):
    """Everything drawn in a control-speed chart; its lines are forces to be held back, negative where the truck slows by itself.

    Parameters
    ----------
    curves : tuple of RetardingCurve
        By gear, then by stage.
    crossings : tuple of ControlSpeed
        Where a curve crosses a line from below.
    """

    curves: tuple[RetardingCurve, ...]
    crossings: tuple[ControlSpeed, ...]


def control_chart(here: TruckAt, grades: Sequence[float] = GRADES) -> ControlChart:
    """Retarding force by gear and stage against road speed, and the force that grades ask for.

    Parameters
    ----------
    grades : sequence of float
        Of the lines, negative downhill.

    Notes
    -----
    Each curve runs from 900 rpm to governed speed: boost settled, oil at 90 °C, fan clutch open, air compressor unloaded.
    The wind is that of the settings. A steady speed is where a curve crosses a line from below; between two points of a
    curve both are taken as straight.

    References
    ----------
    [1] SAE J1489, scope: control speed on a grade by gear, service brakes excluded (published, seen second-hand).
    """
    truck = here.truck
    turning = np.linspace(LOWEST_SPEED, truck.engine.si("governed_rpm"), POINTS)
    curves = []
    for gear in range(1, len(truck.gearbox.ratios) + 1):
        for stage in STAGES:
            cylinders = truck.braking_cylinders(stage)
            held = [
                asked_retarding(here.parameters, here.tables, gear, float(n), here.pressure, cylinders) for n in turning
            ]
            curves.append(RetardingCurve(gear, turning, turning / here.turns_per_metre(gear), np.array(held), stage))

    fastest = max(float(curve.speed[-1]) for curve in curves)
    speeds = np.linspace(0.0, fastest, POINTS)[1:]
    lines = tuple(GradeLine(grade, speeds, -here.resistances(speeds, grade)) for grade in grades)
    crossings = [
        found
        for curve in curves
        for grade in grades
        if (found := _control_speed(curve, grade, -here.resistances(curve.speed, grade))) is not None
    ]
    return ControlChart(here.elevation, here.temperature, tuple(curves), lines, tuple(crossings))


def _control_speed(curve: RetardingCurve, grade: float, push: np.ndarray) -> ControlSpeed | None:
    """Where a curve rises through the push of a grade; None where it does not."""
    over = curve.force - push
    places = np.flatnonzero((over[:-1] < 0.0) & (over[1:] >= 0.0))
    if not len(places):
        return None
    return ControlSpeed(curve.gear, grade, **crossing_after(curve, push, int(places[0])), stage=curve.stage)
