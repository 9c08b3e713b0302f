"""The highest steady speed for a whole descent, by the published grade-severity model, and what else caps it.

A second opinion beside this project's own brakes; the two are never mixed. The model alone would allow any speed on a short
grade, so the answer is capped by posted limits, curves and the governed speed of a gear, and says which of them binds.
"""

import math
from dataclasses import dataclass

from sim.errors import SpecError
from sim.inputs.specs import Truck
from sim.laws.driveline import engine_speed_in_gear
from sim.laws.grade_severity import (
    AMBIENT_TEMPERATURE_F,
    LIMIT_TEMPERATURE_F,
    START_TEMPERATURE_F,
    descent_brake_power,
    descent_temperature,
    engine_drag,
    stop_temperature_rise,
)
from sim.messages import trucks
from sim.roads.route import SIDE_ACCELERATION, Route
from sim.units import MILE, MILE_PER_HOUR, POUND, from_si

HIGHEST_SPEED = 70  # mi/h: where the search ends
SHORTEST_SECTION = 10.0  # m: grade is taken as constant over pieces at least this long


@dataclass(frozen=True)
class SafeSpeed:
    """A speed for a descent, what caps it, and the brake temperature by the published model at that speed.

    Parameters
    ----------
    speed : float
        [m/s]
    cap : str
        What binds, in words.
    model_speed : float
        What the model alone would allow. [m/s]
    temperature : float
        Mean brake temperature after the descent and one emergency stop, at `speed`. [K]
    """

    speed: float
    cap: str
    model_speed: float
    temperature: float


def limit_temperature(
    weight: float, sections: list[tuple[float, float]], speed: float, retarding: float, updated: bool
) -> float:
    """Mean brake temperature after a chain of sections and one emergency stop at the end.

    Parameters
    ----------
    weight : float
        Gross weight. [lb]
    sections : list of tuple
        Grade, positive downhill, and length of each. [-, mi]
    speed : float
        Held all the way. [mi/h]
    retarding : float
        Engine and retarder at the wheels. [hp]
    updated : bool
        True for constant set A, false for set B.

    Returns
    -------
    temperature : float
        T_lim; unrounded. [F]

    Notes
    -----
    The end temperature of one section is the start of the next; the stop is added once.
    """
    temperature = START_TEMPERATURE_F
    for grade, length in sections:
        power = descent_brake_power(weight, grade, speed, retarding, updated)
        temperature = descent_temperature(temperature, AMBIENT_TEMPERATURE_F, power, length, speed, updated)
    return float(temperature + stop_temperature_rise(weight, speed))


def safe_descent_speed(
    truck: Truck, route: Route, *, updated: bool = True, retarding_power: float | None = None, gear: int | None = None
) -> SafeSpeed:
    """The highest whole mile per hour that keeps the brakes below the published limit, capped by road and gear.

    Parameters
    ----------
    truck : Truck
        Five axles.
    route : Route
        From the top of the descent to its foot.
    updated : bool
        True for constant set A, false for set B.
    retarding_power : float or None
        Engine and retarder at the wheels; None for the engine drag the model credits. [W]
    gear : int or None
        Gear whose governed speed must not be passed; None for no such cap.

    Returns
    -------
    safe : SafeSpeed
        [m/s]

    Raises
    ------
    SpecError
        The truck is outside the model's domain.

    References
    ----------
    [1] Wyoming DOT update of the Grade Severity Rating System (report WY-1901F, 2018, and follow-up), seen second-hand: step V
        upward in whole mi/h and keep the last with T_lim below 500 F.
    """
    if truck.vehicle.axles != 5:
        raise SpecError(trucks.not_five_axles(axles=truck.vehicle.axles))
    weight = truck.vehicle.mass_kg / POUND
    retarding = float(engine_drag(updated)) if retarding_power is None else from_si(retarding_power, "hp")
    sections = _sections(route)
    allowed = 0
    for whole in range(1, HIGHEST_SPEED + 1):
        if limit_temperature(weight, sections, float(whole), retarding, updated) >= LIMIT_TEMPERATURE_F:
            break
        allowed = whole
    model = allowed * MILE_PER_HOUR
    caps = [(model, "brake temperature" if allowed < HIGHEST_SPEED else "end of the model's range")]
    caps += [(place.value, "posted limit") for place in route.limits]
    caps += [(math.sqrt(SIDE_ACCELERATION * curve.value), "curve") for curve in route.curves if curve.value > 0.0]
    if gear is not None:
        per_speed = engine_speed_in_gear(
            1.0, truck.tyres.rolling_radius_m, truck.gearbox.ratios[gear - 1], truck.driveline.axle_ratio
        )
        caps.append((truck.engine.si("governed_rpm") / per_speed, f"governed speed in gear {gear}"))
    speed, cap = min(caps)
    temperature = limit_temperature(weight, sections, max(speed, 1e-3) / MILE_PER_HOUR, retarding, updated)
    return SafeSpeed(speed, cap, model, (temperature - 32.0) * 5.0 / 9.0 + 273.15)


def _sections(route: Route) -> list[tuple[float, float]]:
    """Pieces of the road as grade, positive downhill, and length in miles."""
    sections = []
    start = 0
    for end in range(1, len(route.distance)):
        length = float(route.distance[end] - route.distance[start])
        if length >= SHORTEST_SECTION or end == len(route.distance) - 1:
            fall = float(route.elevation[start] - route.elevation[end])
            sections.append((fall / length, length / MILE))
            start = end
    return sections
