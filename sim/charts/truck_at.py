"""What charts of force against road speed are made of: a truck at a height, its curves, what grades take, where they cross.

The numbers come from the laws a trip uses, asked through `sim.march.plant`; nothing in this room knows a formula of its own.
"""

from dataclasses import dataclass

import numpy as np

from sim.inputs.specs import Settings, Truck
from sim.laws.air import air_density
from sim.laws.driveline import engine_speed_in_gear
from sim.march.assemble import assembled
from sim.march.plant import asked_air, asked_drawn_power, asked_pull, asked_resistance

POINTS = 49  # of a curve


@dataclass(frozen=True)
class ForceCurve:
    """What one gear does at the tyres.

    Parameters
    ----------
    engine_speed : array
        Shape (points,), rising. [rad/s]
    speed : array
        Road speed, shape (points,). [m/s]
    force : array
        Losses and accessories taken off, shape (points,). [N]
    """

    gear: int
    engine_speed: np.ndarray
    speed: np.ndarray
    force: np.ndarray


@dataclass(frozen=True)
class GradeLine:
    """What air, tyres and a grade take, or push with less what air and tyres hold.

    Parameters
    ----------
    grade : float
        Negative downhill.
    speed : array
        Shape (points,). [m/s]
    force : array
        Shape (points,). [N]
    """

    grade: float
    speed: np.ndarray
    force: np.ndarray


@dataclass(frozen=True)
class Crossing:
    """A steady speed: where the curve of a gear crosses the line of a grade.

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
    grade: float
    speed: float
    force: float
    engine_speed: float


@dataclass(frozen=True)
class ForceChart:
    """Curves and lines over road speed.

    Parameters
    ----------
    elevation : float
        For which it holds. [m]
    temperature : float
        Of the air there. [K]
    curves : tuple of ForceCurve
        By gear.
    lines : tuple of GradeLine
        In the order asked for.
    """

    elevation: float
    temperature: float
    curves: tuple[ForceCurve, ...]
    lines: tuple[GradeLine, ...]


def crossing_after(curve: ForceCurve, line: np.ndarray, place: int) -> dict[str, float]:
    """Speed, force and engine speed where a curve crosses a line between a point and the next, both taken as straight.

    Parameters
    ----------
    line : array
        Force at the speeds of the curve, shape (points,). [N]

    Returns
    -------
    found : dict
        As `Crossing` has them. [SI]
    """
    over = curve.force - line
    share = over[place] / (over[place] - over[place + 1])
    columns = {"speed": curve.speed, "force": curve.force, "engine_speed": curve.engine_speed}
    return {
        name: float(values[place] + share * (values[place + 1] - values[place])) for name, values in columns.items()
    }


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
        air, outside = self.pressure, self.temperature
        drawn = asked_drawn_power(self.parameters, turning)
        return float(asked_pull(self.parameters, self.tables, gear, turning, air, outside, drawn, boosted))

    def resistance(self, speed: float, grade: float) -> float:
        """Force of road and air, negative where the road pushes more than air and tyres hold. [N]"""
        return float(asked_resistance(self.parameters, self.density, speed, self.wind, grade))

    def resistances(self, speeds: np.ndarray, grade: float) -> np.ndarray:
        """Force of road and air at speeds, shape (points,). [N]"""
        return np.array([self.resistance(float(speed), grade) for speed in speeds])


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
    parameters, tables = assembled(truck, settings, elevation if start_elevation is None else start_elevation)
    temperature, pressure = asked_air(parameters, elevation)
    density = float(air_density(pressure, temperature))
    wind = settings.weather.wind_m_s
    return TruckAt(truck, parameters, tables, elevation, temperature, pressure, density, wind)
