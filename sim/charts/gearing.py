"""What gears and axle make of an engine: speeds, pull, the grades a truck holds and the grade on which it can start."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.charts.truck_at import POINTS, Crossing, ForceChart, ForceCurve, GradeLine, TruckAt, crossing_after
from sim.inputs.files import load_truck
from sim.inputs.specs import Gearbox, Settings, Truck
from sim.laws.handbook import startability
from sim.laws.road_load import traction_limit
from sim.laws.sensing import revolutions_per_mile
from sim.laws.tables import table_value
from sim.march.records import FULL_LOAD_ROW
from sim.units import POUND, POUND_FOOT, to_si

CLIMBS = (0.0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08)
ENGAGEMENT_SPEED = to_si(
    800.0, "rpm"
)  # rad/s: where the trade reads the torque of a start (common practice, no source)
STARTABILITY_WANTED = 0.35  # at 80,000 lb (common practice, no source)
TOP_GEAR_GRADES_WANTED = (0.015, 0.005)  # held in the top gear: at peak torque, at cruise (common practice, no source)
STEEPEST_ASKED = 1.0  # rise over run: where the search for a grade ends


@dataclass(frozen=True)
class Climb(Crossing):
    """The speed a truck comes to on a grade at full pedal in one gear.

    Parameters
    ----------
    governed : bool
        True where the engine would pull faster, but the governor does not let it.
    """

    governed: bool


@dataclass(frozen=True)
class GearingChart(ForceChart):
    """Everything drawn in the charts of engine speed and of pull against road speed; its curves are pulls at full pedal.

    Parameters
    ----------
    climbs : tuple of Climb
        By gear, then by grade; none where a gear does not hold the grade.
    """

    climbs: tuple[Climb, ...]

    def best_climb(self, grade: float) -> Climb | None:
        """The gear that climbs a grade fastest.

        Parameters
        ----------
        grade : float
            One of the lines.

        Returns
        -------
        climb : Climb or None
            None where no gear holds it.
        """
        found = [climb for climb in self.climbs if climb.grade == grade]
        return max(found, key=lambda climb: (climb.speed, climb.gear), default=None)


@dataclass(frozen=True)
class Start:
    """On which grade a truck can start, in one gear.

    Parameters
    ----------
    handbook : float
        By the trade's rule, `sim.laws.handbook.startability`, with the full-load torque where the clutch takes hold.
    settled : float
        By the laws of the trip with that torque at the clutch: the steepest grade that is held.
    unboosted : float
        The same before the turbocharger has spun up, as a truck that stands really is.
    grip : float
        The steepest grade the drive tyres hold in the weather of the settings, by the weight they carry on the level.
    """

    gear: int
    handbook: float
    settled: float
    unboosted: float
    grip: float

    @property
    def grade(self) -> float:
        """The grade that engine and tyres both allow, boost settled. [-]"""
        return min(self.settled, self.grip)

    @property
    def binds(self) -> str:
        """Which of the two it is, in words. [-]"""
        return "engine" if self.settled <= self.grip else "grip of the drive tyres"


@dataclass(frozen=True)
class GearFacts:
    """One gear in numbers.

    Parameters
    ----------
    ratio : float
        Of the gearbox.
    geared_speed : float
        Road speed at governed speed. [m/s]
    best_grade : float
        Steepest grade held at full pedal.
    best_speed : float
        Speed at which that is. [m/s]
    engine_speed : float
        At the speed asked for. [rad/s]
    grade_there : float or None
        Steepest grade held at the speed asked for; None where the engine would turn below idle or above governed speed.
    """

    gear: int
    ratio: float
    geared_speed: float
    best_grade: float
    best_speed: float
    engine_speed: float
    grade_there: float | None


def steepest_held(here: TruckAt, force: float, speed: float) -> float:
    """The grade on which road and air take just a force.

    Parameters
    ----------
    force : float
        At the tyres. [N]
    speed : float
        [m/s]

    Returns
    -------
    grade : float
        Negative where the force does not even hold the speed on the level; at most 1.
    """
    from scipy.optimize import brentq

    def short(grade: float) -> float:
        """Force that is missing on a grade. [N]"""
        return here.resistance(speed, grade) - force

    if short(STEEPEST_ASKED) <= 0.0:
        return STEEPEST_ASKED
    if short(-STEEPEST_ASKED) >= 0.0:
        return -STEEPEST_ASKED
    return float(brentq(short, -STEEPEST_ASKED, STEEPEST_ASKED, xtol=1e-9))


def lowest_pulling_speed(truck: Truck) -> float:
    """Engine speed from which full load is defined: low idle, or where the full-load curve begins.

    Returns
    -------
    speed : float
        [rad/s]
    """
    return max(truck.engine.si("low_idle_rpm"), truck.engine.si("full_load_rpm")[0])


def gearing_chart(here: TruckAt, grades: Sequence[float] = CLIMBS) -> GearingChart:
    """Pull by gear against road speed at full pedal, and what grades take.

    Parameters
    ----------
    grades : sequence of float
        Of the lines, positive uphill.

    Notes
    -----
    Each curve runs from low idle to governed speed: boost settled and limited by the air there, oil at 90 °C, fan clutch open,
    air compressor unloaded, losses of gearbox and axle as in a trip. The droop above governed speed is left out. The wind is
    that of the settings. Between two points of a curve it and the line are taken as straight.

    References
    ----------
    [1] SAE J2188, scope: charts of vehicle performance by gear with altitude (published, seen second-hand).
    """
    truck = here.truck
    turning = np.linspace(lowest_pulling_speed(truck), truck.engine.si("governed_rpm"), POINTS)
    curves = tuple(
        ForceCurve(
            gear,
            turning,
            turning / here.turns_per_metre(gear),
            np.array([here.pull(gear, float(speed)) for speed in turning]),
        )
        for gear in range(1, len(truck.gearbox.ratios) + 1)
    )

    speeds = np.linspace(0.0, float(curves[-1].speed[-1]), POINTS)
    lines = tuple(GradeLine(grade, speeds, here.resistances(speeds, grade)) for grade in grades)
    climbs = [
        found
        for curve in curves
        for grade in grades
        if (found := _climb(curve, grade, here.resistances(curve.speed, grade))) is not None
    ]
    return GearingChart(here.elevation, here.temperature, curves, lines, tuple(climbs))


def _climb(curve: ForceCurve, grade: float, taken: np.ndarray) -> Climb | None:
    """Where a gear comes to rest on a grade: the last place its pull falls through the line, or governed speed above it."""
    over = curve.force - taken
    if over[-1] >= 0.0:
        ends = float(curve.speed[-1]), float(taken[-1]), float(curve.engine_speed[-1])
        return Climb(curve.gear, grade, *ends, governed=True)
    places = np.flatnonzero((over[:-1] >= 0.0) & (over[1:] < 0.0))
    if not len(places):
        return None
    return Climb(curve.gear, grade, **crossing_after(curve, taken, int(places[-1])), governed=False)


def start_of(here: TruckAt, settings: Settings, gear: int = 1, engagement_speed: float = ENGAGEMENT_SPEED) -> Start:
    """On which grade a truck can start in a gear.

    Parameters
    ----------
    settings : Settings
        For the grip.
    engagement_speed : float
        Engine speed where the clutch takes hold. [rad/s]

    Notes
    -----
    The clutch slips from rest until the truck has caught up with the engine, and passes the torque the engine has at the
    engagement speed all the while; the truck can start where the force this makes at the tyres is as large as what the
    road takes at rest. Reading the torque at 800 rpm is common practice, no source. No margin for the acceleration is
    taken off, nor is the heat of the clutch judged.
    """
    truck, p = here.truck, here.parameters[0]
    speed = max(engagement_speed, lowest_pulling_speed(truck))
    torque = table_value(here.tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], speed)
    ratio = truck.gearbox.ratios[gear - 1] * truck.driveline.axle_ratio
    revolutions = revolutions_per_mile(truck.tyres.rolling_radius_m)
    rule = startability(torque / POUND_FOOT, ratio, revolutions, truck.vehicle.mass_kg / POUND)
    gripped = float(traction_limit(settings.weather.grip, p["drive_load"]))
    return Start(
        gear,
        float(rule) / 100.0,
        steepest_held(here, here.pull(gear, speed), 0.0),
        steepest_held(here, here.pull(gear, speed, boosted=False), 0.0),
        steepest_held(here, gripped, 0.0),
    )


def gear_facts(here: TruckAt, chart: GearingChart, speed: float) -> tuple[GearFacts, ...]:
    """Every gear in numbers.

    Parameters
    ----------
    chart : GearingChart
        Of the same truck at the same place.
    speed : float
        Road speed asked for. [m/s]

    Returns
    -------
    facts : tuple of GearFacts
        By gear.
    """
    truck = here.truck
    slowest, fastest = lowest_pulling_speed(truck), truck.engine.si("governed_rpm")
    found = []
    for curve in chart.curves:
        grades = [steepest_held(here, float(f), float(v)) for f, v in zip(curve.force, curve.speed, strict=True)]
        best = int(np.argmax(grades))
        turning = speed * here.turns_per_metre(curve.gear)
        inside = slowest <= turning <= fastest * (1.0 + 1e-12)
        found.append(
            GearFacts(
                curve.gear,
                truck.gearbox.ratios[curve.gear - 1],
                float(curve.speed[-1]),
                grades[best],
                float(curve.speed[best]),
                turning,
                steepest_held(here, here.pull(curve.gear, turning), speed) if inside else None,
            )
        )
    return tuple(found)


def gearbox_changes(truck: str) -> list[str]:
    """The gearbox of another truck, as changes to a truck.

    Parameters
    ----------
    truck : str
        Catalogue name or path of the truck whose gearbox it is.

    Returns
    -------
    changes : list of str
        `table.key=value`.

    Raises
    ------
    SpecError
        There is no such truck.

    Examples
    --------
    >>> gearbox_changes("long-haul-automated")[1]
    'gearbox.kind=automated'
    """
    gearbox = load_truck(truck).truck.gearbox
    changes = []
    for key in Gearbox.model_fields:
        value = getattr(gearbox, key)
        changes.append(f"gearbox.{key}={list(value) if isinstance(value, tuple) else value}")
    return changes
