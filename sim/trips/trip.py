"""One trip, from inputs to result. Start reading here: it goes top to bottom."""

import time
from pathlib import Path
from typing import Any

import numpy as np

from sim.actors import (
    brake_stages,
    cruise,
    diagnosis,
    driver,
    ending,
    fan,
    faults,
    gearshift,
    meters,
    overrun_report,
    signs,
    speedometer_trust,
)
from sim.actors.scene import Scene
from sim.compiled import MODEL_VERSION
from sim.errors import SettingsError
from sim.inputs.files import TruckFile, load_truck
from sim.inputs.specs import Settings, Truck, delays_of
from sim.march.assemble import initial_records, parameters_of, tables_of
from sim.march.clock import Clock, Rig
from sim.messages import settings as settings_messages
from sim.roads.route import Route, load_route
from sim.trips.cost import PATIENCE, USUAL_SPEED, check_cost, longest_time, time_in_memory
from sim.trips.result import Marched, Result, Trace, assure_numbers, summarise
from sim.trips.warnings_before import warnings_before
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE

CRUISING_RPM = 1100.0  # a trip that starts rolling starts in the highest gear that turns the engine this fast


def run_trip(
    truck: TruckFile | Truck | str | Path, route: Route | str | Path, settings: Settings | None = None
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

    clock = prepare(spec, road, chosen)
    before = clock.state.copy()
    scene = Scene(clock, spec, chosen, road)
    foreseen = warnings_before(scene)
    start_actors(scene)
    clock.load_kernel()
    started = time.perf_counter()
    clock.run(until=scene.ended)
    wall = time.perf_counter() - started

    ended, cause = scene.outcome
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
    summary["codes"] = [code.summary() for code in scene.codes.values()]
    summary["time_smoking_s"] = float(clock.state["time_smoking"][0])
    summary["timing"] = {"wall_s": wall, "realtime_factor": seconds / wall if wall > 0.0 else 0.0}
    readings = {name: np.frombuffer(values) for name, values in scene.readings.items()}
    assure_numbers(ended, {**summary, "events": events, "meters": readings})
    clock.release()
    return Result(summary, trace, events, spec, chosen, road, sources, readings)


def foretell(truck: Truck, route: Route, settings: Settings) -> list[dict[str, Any]]:
    """What will happen, found before the trip: contradictions between truck, road and settings.

    Raises
    ------
    HaulbenchError
        Truck and settings do not fit each other.
    """
    check_together(truck, settings)
    return warnings_before(Scene(prepare(truck, route, settings), truck, settings, route))


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


def prepare(truck: Truck, route: Route, settings: Settings) -> Clock:
    """The clock of a trip, its truck at the start of the road, nobody in the cab yet."""
    speed = settings.start.speed_km_h * KILOMETRE_PER_HOUR
    if speed < 0.0:
        speed = min(route.limits[0].value, settings.cruise.si("set_speed_km_h") or route.limits[0].value)
    parameters = parameters_of(truck, settings, route.start_elevation)
    gear = starting_gear(truck, settings, speed)
    tables = tables_of(truck)
    memory = initial_records(settings, route, parameters, tables, gear, speed)
    rig = Rig(memory, parameters, tables, route.road_array(settings.weather.wind_m_s))
    log_every = max(1, round(settings.simulation.log_s / settings.simulation.tick_s))
    return Clock(rig, log_every)


def start_actors(scene: Scene) -> None:
    """Puts everybody who decides something to work; the order here is the order within a tick."""
    clock, route, settings = scene.clock, scene.route, scene.settings
    watched = (diagnosis.diagnosis(scene), speedometer_trust.speedometer_trust(scene)) if scene.watched else ()
    processes = (
        *faults.happenings(scene),
        *watched,
        ending.arrival(scene),
        ending.stall(scene),
        ending.runaway(scene),
        ending.patience(scene, longest_time(route, settings), time_in_memory(settings), PATIENCE, USUAL_SPEED),
        overrun_report.overrun_report(scene),
        signs.limits(scene),
        signs.signs(scene),
        fan.fan_clutch(scene),
        driver.driver(scene),
        driver.holding_back(scene),
        driver.held_stage(scene),
        *cruise.cruise_actors(scene),
        cruise.service_brake_latch(scene),
        gearshift.gear_choice(scene),
        brake_stages.brake_stages(scene),
        meters.meters(scene),
    )
    for process in processes:
        clock.process(process)
