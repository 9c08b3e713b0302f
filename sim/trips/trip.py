"""One trip, from inputs to result. Start reading here: it goes top to bottom."""

import math
import time
from pathlib import Path
from typing import Any

import numpy as np

from sim.actors import (
    brake_log,
    brake_stages,
    cruise,
    diagnosis,
    ending,
    fan,
    faults,
    gearbox,
    meters,
    signs,
)
from sim.actors.underway import Underway
from sim.compiled import MODEL_VERSION
from sim.errors import SettingsError
from sim.inputs.files import TruckFile, load_truck
from sim.inputs.specs import Settings, Truck, delays_of
from sim.march.assemble import assembled, initial_records
from sim.march.clock import Clock, Rig
from sim.messages import settings as settings_messages
from sim.roads.route import Route, load_route
from sim.trips.cost import PATIENCE, USUAL_SPEED, check_cost, longest_time, time_in_memory
from sim.trips.recording import check_rows
from sim.trips.result import Marched, Result, Trace, assure_numbers, summarise
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE

CRUISING_RPM = 1100.0  # a trip that starts rolling starts in the highest gear that turns the engine this fast


def run_trip(
    truck: TruckFile | Truck | str | Path,
    route: Route | str | Path,
    settings: Settings | None = None,
    *,
    feed: np.ndarray | None = None,
    keeps: bool = False,
) -> Result:
    """Drives a truck over a road.

    Parameters
    ----------
    truck : TruckFile, Truck, str or Path
        A loaded truck, a catalogue name or the path of a truck file.
    route : Route, str or Path
        A loaded road, a catalogue name, a path or `grade:-6%,10km,1100m`.
    settings : Settings or None
        Everything else; None for the defaults.
    feed : array or None
        Recorded controls to drive by, as `sim.march.seat.use_controls` reads them; None for the model driver.
    keeps : bool
        Whether the controls are recorded.

    Returns
    -------
    result : Result
        Summary, trace, events and inputs.

    Raises
    ------
    HaulbenchError
        An input cannot be used, or a quantity became infinite or not a number.

    Examples
    --------
    >>> result = run_trip("long-haul-manual", "grade:0%,1km")
    >>> result.summary["ended"]
    'arrived'
    """
    if isinstance(truck, str | Path):
        truck = load_truck(str(truck))
    sources = truck.sources if isinstance(truck, TruckFile) else {}
    spec = truck.truck if isinstance(truck, TruckFile) else truck
    road = load_route(str(route)) if isinstance(route, str | Path) else route
    chosen = settings or Settings()
    check_together(spec, chosen)
    check_cost(spec, road, chosen)
    if feed is not None:
        check_rows(feed, spec)

    clock = prepare(spec, road, chosen, feed, keeps)
    before = clock.state.copy()
    trip = Underway(clock, spec, chosen, road)
    foreseen = [] if feed is not None else take_the_seat(trip)
    start_actors(trip)
    clock.load_kernel()
    started = time.perf_counter()
    clock.run(until=trip.ended)
    wall = time.perf_counter() - started

    ended, cause = trip.outcome
    seconds = clock.seconds
    events = tuple(happening.data(clock.tick) for happening in clock.happenings)
    trace = Trace(clock.log_parts(), clock.tick)
    summary: dict[str, Any] = {
        "truck": spec.name,
        "route": road.title,
        "model_version": MODEL_VERSION,
        "foreseen": foreseen,
    }
    marched = Marched(
        ended, cause, before, clock.state, clock.rig.parameters, seconds, events, trace, spec, road, chosen
    )
    summary |= summarise(marched)
    summary["codes"] = [code.summary() for code in trip.codes.values()]
    summary["time_smoking_s"] = float(clock.state["time_smoking"][0])
    summary["timing"] = {"wall_s": wall, "realtime_factor": seconds / wall if wall > 0.0 else 0.0}
    readings = {name: np.frombuffer(values) for name, values in trip.readings.items()}
    assure_numbers(ended, {**summary, "events": events, "meters": readings})
    controls = clock.kept_controls() if keeps else np.empty((0, 3))
    clock.release()
    return Result(summary, trace, events, spec, chosen, road, sources, readings, controls)


def foretell(truck: Truck, route: Route, settings: Settings) -> list[dict[str, Any]]:
    """What will happen, found before the trip: contradictions between truck, road and settings.

    Raises
    ------
    HaulbenchError
        Truck and settings do not fit each other.
    """
    check_together(truck, settings)
    from sim.seat.cab import Cab
    from sim.trips.warnings_before import warnings_before

    return warnings_before(Cab(Underway(prepare(truck, route, settings), truck, settings, route)))


def check_together(truck: Truck, settings: Settings) -> None:
    """Refuses settings that the truck cannot carry out.

    Raises
    ------
    SettingsError
        A gear the gearbox does not have, or a tick longer than a lag of the truck.
    """
    gears = len(truck.gearbox.ratios)
    asked = {
        "start.gear": settings.start.gear,
        "drill.hold_gear": settings.drill.hold_gear,
        "driver.descent_gear": settings.driver.descent_gear,
    }
    for key, gear in asked.items():
        if gear > gears:
            raise SettingsError(settings_messages.no_such_gear(key=key, gear=gear, gears=gears))
    tick = settings.simulation.tick_s
    for key, lag in delays_of(truck):
        if lag < tick:
            raise SettingsError(settings_messages.tick_above_lag(tick_s=tick, key=key, lag_s=lag))


def starting_gear(truck: Truck, settings: Settings, speed: float) -> int:
    """The gear a trip starts in.

    Parameters
    ----------
    speed : float
        Road speed. [m/s]

    Returns
    -------
    gear : int
        0 when the trip starts from rest.
    """
    if speed <= 0.0:
        return 0
    asked = settings.drill.hold_gear or settings.start.gear
    if asked:
        return asked
    per_ratio = speed / truck.tyres.rolling_radius_m * truck.driveline.axle_ratio / REVOLUTION_PER_MINUTE
    for gear in range(len(truck.gearbox.ratios), 0, -1):
        if per_ratio * truck.gearbox.ratios[gear - 1] >= CRUISING_RPM:
            return gear
    return 1


def prepare(
    truck: Truck, route: Route, settings: Settings, feed: np.ndarray | None = None, keeps: bool = False
) -> Clock:
    """The clock of a trip, its truck at the start of the road, nobody in the cab yet."""
    speed = settings.start.speed_km_h * KILOMETRE_PER_HOUR
    if speed < 0.0:
        limit = route.limit_at(0.0)
        speed = min(limit if limit < math.inf else settings.kept(limit), route.curve_at(0.0))
        speed = min(speed, settings.cruise.si("set_speed_km_h") or speed)
    parameters, tables = assembled(truck, settings, route.start_elevation)
    gear = starting_gear(truck, settings, speed)
    memory = initial_records(settings, route, parameters, tables, gear, speed)
    rig = Rig(memory, parameters, tables, route.road_array(settings.weather.wind_m_s))
    log_every = max(1, round(settings.simulation.log_s / settings.simulation.tick_s))
    return Clock(rig, log_every, feed=feed, keeps=keeps)


def take_the_seat(trip: Underway) -> list[dict[str, Any]]:
    """Puts the model driver into the seat; what is foreseen of his trip."""
    from sim.seat import driver, overrun_report, shifting, speedometer_trust, stalk
    from sim.seat.cab import Cab
    from sim.trips.warnings_before import warnings_before

    cab = Cab(trip)
    foreseen = warnings_before(cab)
    watched = (speedometer_trust.speedometer_trust(cab),) if trip.watched else ()
    processes = (
        *watched,
        overrun_report.overrun_report(cab),
        driver.driver(cab),
        driver.HoldingBack(cab).run(),
        driver.held_stage(cab),
        stalk.stalk(cab),
        stalk.watch_the_lamp(cab),
        stalk.use_cruise(cab),
        shifting.gears(cab),
    )
    for process in processes:
        trip.clock.process(process)
    return foreseen


def start_actors(trip: Underway) -> None:
    """Puts everybody who decides by belief to work; the order here is the order within a tick."""
    clock, route, settings = trip.clock, trip.route, trip.settings
    processes = (
        *faults.happenings(trip),
        *((diagnosis.diagnosis(trip),) if trip.watched else ()),
        ending.arrival(trip),
        ending.stall(trip),
        ending.burnt_clutch(trip),
        ending.runaway(trip),
        ending.patience(trip, longest_time(route, settings), time_in_memory(settings), PATIENCE, USUAL_SPEED),
        signs.limits(trip),
        signs.signs(trip),
        fan.fan_clutch(trip),
        cruise.cruise_control(trip),
        cruise.overspeed_stages(trip),
        *((gearbox.gearbox(trip),) if trip.truck.gearbox.kind == "automated" else ()),
        brake_stages.traction(trip),
        brake_stages.brake_calls(trip),
        brake_stages.brake_stages(trip),
        brake_log.applications(trip),
        brake_log.gears(trip),
        meters.meters(trip),
    )
    for process in processes:
        clock.process(process)
