"""Curves of a truck that no trip is needed for: what each gear and stage holds back, and what each grade pushes with.

The numbers come from the laws a trip uses, asked through `sim.march.plant`; nothing here knows a formula of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.inputs.specs import Settings, Truck
from sim.laws.air import air_density
from sim.laws.driveline import engine_speed_in_gear
from sim.laws.thermal import compressor_power, fan_power
from sim.march.assemble import parameters_of, tables_of
from sim.march.plant import asked_air, asked_driveline, asked_pull, asked_resistance, asked_retarding
from sim.units import to_si

LOWEST_SPEED = to_si(900.0, "rpm")  # rad/s: below it an engine brake is of no use (common practice, no source)
POINTS = 49  # of a curve
STAGES = (0, 1, 2, 3)
GRADES = (0.0, -0.02, -0.04, -0.06, -0.08)


@dataclass(frozen=True)
class RetardingCurve:
    """What one gear and one stage hold back with, boost settled and foot off.

    Parameters
    ----------
    stage : int
        0 for the engine without its brake.
    engine_speed : array
        Shape (points,), rising. [rad/s]
    speed : array
        Road speed, shape (points,). [m/s]
    force : array
        At the tyres, shape (points,). [N]
    """

    gear: int
    stage: int
    engine_speed: np.ndarray
    speed: np.ndarray
    force: np.ndarray


@dataclass(frozen=True)
class GradeLine:
    """What must be held back on a grade for the speed to stay: the push of the weight less air and tyres.

    Parameters
    ----------
    grade : float
        Negative downhill.
    speed : array
        Shape (points,). [m/s]
    force : array
        Shape (points,); negative where the truck would slow down by itself. [N]
    """

    grade: float
    speed: np.ndarray
    force: np.ndarray


@dataclass(frozen=True)
class Crossing:
    """A steady speed: a gear and a stage hold the truck there on a grade, and bring it back when it runs faster.

    Parameters
    ----------
    speed : float
        [m/s]
    force : float
        [N]
    engine_speed : float
        [rad/s]
    """

    gear: int
    stage: int
    grade: float
    speed: float
    force: float
    engine_speed: float


@dataclass(frozen=True)
class ControlChart:
    """Everything drawn in a control-speed chart.

    Parameters
    ----------
    elevation : float
        For which it holds. [m]
    temperature : float
        Of the air there. [K]
    curves : tuple of RetardingCurve
        By gear, then by stage.
    lines : tuple of GradeLine
        In the order asked for.
    crossings : tuple of Crossing
        Where a curve crosses a line from below.
    """

    elevation: float
    temperature: float
    curves: tuple[RetardingCurve, ...]
    lines: tuple[GradeLine, ...]
    crossings: tuple[Crossing, ...]


@dataclass(frozen=True)
class TruckAt:
    """A truck at a height, ready to be asked; engine and turbocharger settled, oil at 90 °C, fan clutch open.

    Parameters
    ----------
    parameters : array
        Parameter record, shape (1,). [SI]
    tables : array
        Shape (rows, width).
    elevation : float
        [m]
    temperature : float
        Of the air. [K]
    pressure : float
        Of the air, absolute. [Pa]
    density : float
        Of the air. [kg/m³]
    wind : float
        From ahead. [m/s]
    """

    truck: Truck
    parameters: np.ndarray
    tables: np.ndarray
    elevation: float
    temperature: float
    pressure: float
    density: float
    wind: float

    def turns_per_metre(self, gear: int) -> float:
        """Engine speed over road speed in a gear.

        Returns
        -------
        turns : float
            [rad/m]
        """
        truck = self.truck
        ratio = truck.gearbox.ratios[gear - 1]
        return float(engine_speed_in_gear(1.0, truck.tyres.rolling_radius_m, ratio, truck.driveline.axle_ratio))

    def drawn_power(self, turning: float) -> float:
        """What fan and accessories take: fan clutch open, air compressor unloaded.

        Parameters
        ----------
        turning : float
            Engine speed. [rad/s]

        Returns
        -------
        power : float
            [W]
        """
        p = self.parameters[0]
        fan = fan_power(turning, turning * p["fan_idle_share"], p["fan_coefficient"], p["fan_bearing_loss"])
        pumped = compressor_power(turning, p["compressor_unloaded"], p["compressor_pumping"], 0.0)
        return float(fan + p["steady_accessories"] + pumped)

    def pull(self, gear: int, turning: float, boosted: bool = True) -> float:
        """Force at the tyres at full pedal.

        Parameters
        ----------
        turning : float
            Engine speed. [rad/s]
        boosted : bool
            False for the torque before the turbocharger has spun up.

        Returns
        -------
        force : float
            [N]
        """
        drawn = self.drawn_power(turning)
        air, outside = self.pressure, self.temperature
        return float(asked_pull(self.parameters, self.tables, gear, turning, air, outside, drawn, boosted))

    def resistance(self, speed: float, grade: float) -> float:
        """Force of road and air.

        Parameters
        ----------
        speed : float
            [m/s]

        Returns
        -------
        force : float
            Negative where the road pushes more than air and tyres hold. [N]
        """
        return float(asked_resistance(self.parameters, self.density, speed, self.wind, grade))


def truck_at(truck: Truck, settings: Settings, elevation: float, start_elevation: float | None = None) -> TruckAt:
    """A truck at a height in the weather of settings.

    Parameters
    ----------
    settings : Settings
        Weather and fuel; the air temperature is that at `start_elevation`.
    elevation : float
        Where the truck is. [m]
    start_elevation : float or None
        Where the weather is stated; None for where the truck is. [m]

    Returns
    -------
    here : TruckAt
        [SI]

    Raises
    ------
    SpecError
        The truck's numbers do not fit each other.
    """
    parameters = parameters_of(truck, settings, elevation if start_elevation is None else start_elevation)
    temperature, pressure = asked_air(parameters, elevation)
    density = float(air_density(pressure, temperature))
    wind = settings.weather.wind_m_s
    return TruckAt(truck, parameters, tables_of(truck), elevation, temperature, pressure, density, wind)


def control_chart(
    truck: Truck,
    settings: Settings,
    elevation: float,
    start_elevation: float | None = None,
    grades: Sequence[float] = GRADES,
) -> ControlChart:
    """Retarding force by gear and stage against road speed, and the force that grades ask for.

    Parameters
    ----------
    settings : Settings
        Weather and fuel; the air temperature is that at `start_elevation`.
    elevation : float
        Where the truck is. [m]
    start_elevation : float or None
        Where the weather is stated; None for where the truck is. [m]
    grades : sequence of float
        Of the lines, negative downhill.

    Returns
    -------
    chart : ControlChart
        [SI]

    Raises
    ------
    SpecError
        The truck's numbers do not fit each other.

    Notes
    -----
    Each curve runs from 900 rpm to governed speed: boost settled, oil at 90 °C, fan clutch open, air compressor unloaded.
    The wind is that of the settings. A steady speed is where a curve crosses a line from below; between two points of a
    curve both are taken as straight.

    References
    ----------
    [1] SAE J1489, scope: control speed on a grade by gear, service brakes excluded (published, seen second-hand).
    """
    here = truck_at(truck, settings, elevation, start_elevation)
    turning = np.linspace(LOWEST_SPEED, truck.engine.si("governed_rpm"), POINTS)
    extra = np.array([here.drawn_power(float(n)) / float(n) for n in turning])
    curves = []
    for gear in range(1, len(truck.gearbox.ratios) + 1):
        slopes = np.array([asked_driveline(here.parameters, here.tables, -1.0, gear, float(n))[0] for n in turning])
        for stage in STAGES:
            cylinders = truck.braking_cylinders(stage)
            held = [
                asked_retarding(here.parameters, here.tables, gear, float(n), here.pressure, cylinders) for n in turning
            ]
            force = np.array(held) + slopes * extra
            curves.append(RetardingCurve(gear, stage, turning, turning / here.turns_per_metre(gear), force))

    def pushed(speeds: np.ndarray, grade: float) -> np.ndarray:
        """Force to be held back at speeds on a grade. [N]"""
        return np.array([-here.resistance(float(v), grade) for v in speeds])

    fastest = max(float(curve.speed[-1]) for curve in curves)
    speeds = np.linspace(0.0, fastest, POINTS)[1:]
    lines = tuple(GradeLine(grade, speeds, pushed(speeds, grade)) for grade in grades)
    crossings = [
        found
        for curve in curves
        for grade in grades
        if (found := _crossing(curve, grade, pushed(curve.speed, grade))) is not None
    ]
    return ControlChart(elevation, here.temperature, tuple(curves), lines, tuple(crossings))


def _crossing(curve: RetardingCurve, grade: float, push: np.ndarray) -> Crossing | None:
    """Where a curve rises through the push of a grade; None where it does not."""
    over = curve.force - push
    places = np.flatnonzero((over[:-1] < 0.0) & (over[1:] >= 0.0))
    if not len(places):
        return None
    place = int(places[0])
    share = float(-over[place] / (over[place + 1] - over[place]))

    def between(values: np.ndarray) -> float:
        """A value at the crossing."""
        return float(values[place] + share * (values[place + 1] - values[place]))

    return Crossing(
        curve.gear, curve.stage, grade, between(curve.speed), between(curve.force), between(curve.engine_speed)
    )
