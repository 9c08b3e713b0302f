"""What a trip will cost, worked out in a moment from its inputs: ticks, rows, readings and memory; nothing is driven."""

import math
from typing import NamedTuple

import numpy as np

from sim.errors import SettingsError
from sim.inputs.specs import Settings, Truck
from sim.march.records import LOG
from sim.messages import settings as say
from sim.roads.route import SIDE_ACCELERATION, Place, Route
from sim.units import STANDARD_GRAVITY, to_si

USUAL_SPEED = to_si(40.0, "km_h")
PATIENCE = 10.0  # times as long as at that speed
MOST_BYTES = 1.0e9  # expected of a trip that is begun; one that takes longer than expected may hold twice that
PLACES = 400  # at most, looked at along the road
STOPPING = 30.0  # s, assumed: lost by slowing down and pulling away
TO_THE_WHEELS = 0.9  # assumed: of the rated power
HELD_BACK = 0.6  # assumed: of the rated power, where the engine brake holds the truck on a descent
SLOWEST = 2.0  # m/s, assumed
NUMBER = 8.0  # bytes
LOG_ROW = 2.0 * NUMBER * (1 + len(LOG))  # as it is written, and in the columns of the trace
READING = 1.06 * NUMBER  # bytes: lists grow ahead of what they hold
POINT = 250.0  # bytes of a point of the road, as measured
REST = 2.0e6  # bytes of everything else, as measured


class Cost(NamedTuple):
    """What is expected of a trip, and the most it can come to within its time limit."""

    ticks: int
    most_ticks: int
    rows: int  # of the log
    most_rows: int
    meters: int
    readings: int  # of each meter
    bytes: int  # of memory, beyond that of a process that has driven a trip before


def longest_time(route: Route, settings: Settings) -> float:
    """After what time a trip is given up.

    Returns
    -------
    duration : float
        [s]
    """
    standing = sum(place.value for place in route.stops)
    return settings.simulation.time_limit_s or PATIENCE * (route.length / USUAL_SPEED + standing) + 60.0


def bytes_a_second(settings: Settings) -> float:
    """What log and meters of a trip hold for each second that passes on the road.

    Returns
    -------
    bytes_a_second : float
        [1/s]
    """
    meters = len(settings.circuits.metered())
    held_by_meters = (2 + 3 * meters) * READING / settings.circuits.meter_s if meters else 0.0
    return LOG_ROW / _row_time(settings) + held_by_meters


def _row_time(settings: Settings) -> float:
    """Time between rows of the log, whole ticks. [s]"""
    tick = settings.simulation.tick_s
    return max(1, round(settings.simulation.log_s / tick)) * tick


def time_in_memory(settings: Settings) -> float:
    """After what time a trip holds twice what may be expected of one.

    Returns
    -------
    duration : float
        [s]
    """
    return 2.0 * MOST_BYTES / bytes_a_second(settings)


def expected_time(truck: Truck, route: Route, settings: Settings) -> float:
    """About how long a trip takes, from limits, curves, climbs and descents.

    Returns
    -------
    duration : float
        Within half of the shipped trips, and within a fifth of most. [s]
    """
    vehicle, step = truck.vehicle, route.length / PLACES
    places = (np.arange(PLACES) + 0.5) * step
    grade = route.grades_at(places)
    curves = [math.sqrt(SIDE_ACCELERATION * place.value) if place.value > 0.0 else math.inf for place in route.curves]
    speed = np.minimum(
        _held_from(route.limits, [settings.kept(place.value) for place in route.limits], places),
        _held_from(route.curves, curves, places),
    )
    own = 0.0 if route.limits else settings.kept(math.inf)
    for wanted in (own, settings.cruise.si("set_speed_km_h"), settings.road_speed.si("limit_km_h")):
        if wanted > 0.0:
            speed = np.minimum(speed, wanted)
    if settings.drill.hold_gear:
        gear = min(settings.drill.hold_gear, len(truck.gearbox.ratios))
        turns = truck.gearbox.ratios[gear - 1] * truck.driveline.axle_ratio / truck.tyres.rolling_radius_m
        speed = np.minimum(speed, truck.engine.si("governed_rpm") / turns)
    weight = vehicle.mass_kg * STANDARD_GRAVITY
    force = weight * (grade + vehicle.rolling_coefficient) + 0.6 * vehicle.drag_area_m2 * speed * np.abs(speed)
    power = np.where(force > 0.0, TO_THE_WHEELS, HELD_BACK) * truck.engine.si("rated_power_kw")
    speed = np.clip(power / np.maximum(np.abs(force), 1.0), min(SLOWEST, float(speed.min())), speed)
    moving = float(np.sum(step / speed))
    return moving + sum(place.value + STOPPING for place in route.stops)


def _held_from(found: tuple[Place, ...], values: list[float], places: np.ndarray) -> np.ndarray:
    """What holds at each place of a road, from the last point at or before it; infinite before the first."""
    before = np.searchsorted([place.distance for place in found], places, side="right")
    held: np.ndarray = np.array([math.inf, *values])[before]
    return held


def cost_of(truck: Truck, route: Route, settings: Settings) -> Cost:
    """What a trip will cost.

    Examples
    --------
    >>> from sim import Settings, load_route, load_truck
    >>> cost = cost_of(load_truck("long-haul-manual").truck, load_route("grade:0%,10km"), Settings())
    >>> cost.ticks, cost.rows, cost.most_ticks
    (40000, 800, 906000)
    """
    tick, per_row = settings.simulation.tick_s, _row_time(settings)
    most = longest_time(route, settings)
    expected = min(expected_time(truck, route, settings), most)
    meters = len(settings.circuits.metered())
    return Cost(
        ticks=round(expected / tick),
        most_ticks=round(most / tick),
        rows=round(expected / per_row),
        most_rows=round(most / per_row),
        meters=meters,
        readings=round(expected / settings.circuits.meter_s) if meters else 0,
        bytes=round(expected * bytes_a_second(settings) + len(route.distance) * POINT + REST),
    )


def check_cost(truck: Truck, route: Route, settings: Settings) -> None:
    """Refuses a trip that would need too much memory.

    Raises
    ------
    SettingsError
        It would.
    """
    cost = cost_of(truck, route, settings)
    if cost.bytes > MOST_BYTES:
        raise SettingsError(
            say.too_much_memory(
                expected_gb=cost.bytes / 1e9,
                most_gb=MOST_BYTES / 1e9,
                rows=cost.rows,
                log_s=settings.simulation.log_s,
                readings=cost.readings,
                meters=cost.meters,
                length_km=route.length / 1000.0,
            )
        )
