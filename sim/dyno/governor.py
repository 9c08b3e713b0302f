"""Governor tests: droop by three speeds, high idle, low idle with a load switched on, and two kinds of governor on a grade."""

from typing import Any

import numpy as np

from sim.compiled import MODEL_VERSION
from sim.dyno.gauges import Gauge, deciding
from sim.dyno.result import Columns, DynoResult, in_rpm
from sim.dyno.stand import Stand
from sim.errors import RunError, SettingsError
from sim.inputs.specs import Settings, Truck
from sim.laws.dynamometer import speed_droop
from sim.march.records import GOVERNOR
from sim.messages import dyno as say
from sim.roads.route import Place, Route
from sim.trips.trip import prepare
from sim.units import REVOLUTION_PER_MINUTE, to_si
from sim.wording import finding

LOG_S = 0.01
THINNED = 5  # of the rows of the log one is kept
OVERSHOOT = (
    0.02  # of the loaded speed, assumed: a governor that lets the speed rise so far over where it settles is late
)
SETTLE = 8.0  # s after a change of load
NEAR_IDLE = 5.0  # rpm within which low idle counts as held
HIGH_IDLE_OVER_GOVERNED = 1.12  # common practice, no source
LEVEL_WAY, RAMP_WAY, STEEP_WAY = 6000.0, 4000.0, 600.0  # m before, on and after the rise of the grade
STEEPEST = 0.03
ROAD_TIME = 900.0  # s
FEWEST_ROWS = 20
SLOWEST_RPM = 150.0  # rpm above low idle, where the climb is given up
STEPS_BELOW_TOP = 2  # gears below the top gear for the grade


def only_on_the_flywheel(settings: Settings, test: str) -> None:
    """Refuses a test that rollers cannot do.

    Parameters
    ----------
    test : str
        Its name.

    Raises
    ------
    SettingsError
        The form is chassis.
    """
    if settings.dyno.form != "flywheel":
        raise SettingsError(say.only_on_the_flywheel(test=test, form=settings.dyno.form))


def _phase(stand: Stand, seconds: float) -> np.ndarray:
    """Engine speed over the next seconds, one a tick. [rpm]"""
    before = len(stand.clock.log())
    stand.run(seconds)
    return np.asarray(in_rpm(1.0) * stand.clock.log()[before:, 1])


def _settled(speeds: np.ndarray) -> float:
    """Where a speed has settled: the mean of the last eighth of it."""
    return float(np.mean(speeds[-max(len(speeds) // 8, 1) :]))


def _time_to(speeds: np.ndarray, goal: float, within: float, seconds: float) -> float:
    """When a speed has come to stay within a band. [s]"""
    outside = np.flatnonzero(np.abs(speeds - goal) > within)
    return float((outside[-1] + 1) * seconds) if len(outside) else 0.0


def _droop(stand: Stand) -> dict[str, Any]:
    """Three speeds with the load taken off, three with a load put on."""
    dyno, engine = stand.settings.dyno, stand.truck.engine
    high_idle = _settled(_phase(stand, SETTLE))
    # load the engine until the governor has nothing left to take away
    speed = high_idle
    for step in (-10.0, 1.0):
        limited = step < 0.0
        while engine.low_idle_rpm + 100.0 < speed < high_idle + 1.0:
            speed += step
            stand.hold(speed, 50.0)
            stand.run(1.5)
            if (stand.clock.true("limiter") == GOVERNOR) != limited:
                break
    loaded = _settled(_phase(stand, 6.0))
    if not min(high_idle, loaded) > 0.0:
        raise RunError(say.no_governed_speed(high_idle_rpm=high_idle, loaded_rpm=loaded))
    torque = stand.clock.true("engine_torque")
    stand.unload()
    off = _phase(stand, SETTLE)
    settled = _settled(off)
    stand.load(dyno.load_step_percent / 100.0 * torque)
    on = _phase(stand, SETTLE)
    stand.unload()
    stand.run(SETTLE)
    ends = _settled(on)
    lowest = float(on.min())
    return {
        "high_idle_rpm": high_idle,
        "loaded_rpm": loaded,
        "loaded_torque_n_m": torque,
        "highest_rpm": float(off.max()),
        "settled_rpm": settled,
        "momentary_droop_percent": 100.0 * float(speed_droop(float(off.max()), loaded)),
        "steady_droop_percent": 100.0 * float(speed_droop(settled, loaded)),
        "settling_time_s": _time_to(off, settled, 0.005 * settled, stand.row_s),
        "before_load_rpm": settled,
        "lowest_rpm": lowest,
        "under_load_rpm": ends,
        "momentary_drop_percent": -100.0 * float(speed_droop(lowest, settled)),
        "steady_drop_percent": -100.0 * float(speed_droop(ends, settled)),
    }


def _low_idle(stand: Stand) -> dict[str, Any]:
    """Low idle, and what a load switched on and off does to it."""
    stand.pedal(0.0)
    stand.run(10.0)
    idle = _settled(_phase(stand, SETTLE))
    load = stand.settings.dyno.accessory_step_kw * 1000.0
    stand.parameters["steady_accessories"] += load
    down = _phase(stand, SETTLE)
    held = _settled(down)
    stand.parameters["steady_accessories"] -= load
    up = _phase(stand, SETTLE)
    return {
        "low_idle_rpm": idle,
        "low_idle_lowest_rpm": float(down.min()),
        "low_idle_loaded_rpm": held,
        "low_idle_recovery_s": _time_to(down, held, NEAR_IDLE, stand.row_s),
        "low_idle_highest_rpm": float(up.max()),
    }


def grade_ramp() -> Route:
    """A level road that rises into a grade."""
    distance = np.array([0.0, LEVEL_WAY, LEVEL_WAY + RAMP_WAY, LEVEL_WAY + RAMP_WAY + STEEP_WAY, 1.0e6])
    grade = np.array([0.0, 0.0, STEEPEST, STEEPEST, STEEPEST])
    slope = np.array([0.0, STEEPEST / RAMP_WAY, 0.0, 0.0, 0.0])
    return Route(
        "grade-ramp", "level, then rising into a grade", distance, grade, slope, 0.0, np.zeros(5), (Place(0.0, 40.0),)
    )


def on_a_grade(truck: Truck, settings: Settings, kind: str) -> Columns:
    """A fixed pedal on a road that rises into a grade, by the kernel of a trip.

    Parameters
    ----------
    kind : str
        `limiting-speed` or `all-speed`.

    Returns
    -------
    columns : mapping of str to array
        Names as in the trace of a trip, from the end of the level on.

    Raises
    ------
    RunError
        The truck never comes to the grade.
    """
    gear = max(len(truck.gearbox.ratios) - STEPS_BELOW_TOP, 1)
    fitted = truck.model_copy(update={"engine": truck.engine.model_copy(update={"governor": kind})})
    start = settings.start.model_copy(update={"speed_km_h": 40.0, "gear": gear})
    clock = prepare(fitted, grade_ramp(), settings.model_copy(update={"start": start}))
    clock.mean(foot_mode=0.0, pedal=settings.dyno.pedal_percent / 100.0, pedal_rate=1.0)
    least = (truck.engine.low_idle_rpm + SLOWEST_RPM) * REVOLUTION_PER_MINUTE
    rows: dict[str, list[float]] = {
        name: []
        for name in ("time_s", "distance_m", "grade_percent", "engine_speed_rpm", "engine_torque_n_m", "fuel_rate_g_s")
    }
    end = LEVEL_WAY + RAMP_WAY + STEEP_WAY
    while clock.seconds < ROAD_TIME and clock.true("distance") < end and clock.true("engine_speed") > least:
        clock.run(until=int(clock.now) + round(0.5 / clock.tick))
        if clock.true("distance") < LEVEL_WAY - 500.0:
            continue
        rows["time_s"].append(clock.seconds)
        rows["distance_m"].append(clock.true("distance"))
        rows["grade_percent"].append(100.0 * clock.true("grade"))
        rows["engine_speed_rpm"].append(in_rpm(clock.true("engine_speed")))
        rows["engine_torque_n_m"].append(clock.true("engine_torque"))
        rows["fuel_rate_g_s"].append(1000.0 * clock.true("fuel_rate"))
    if len(rows["time_s"]) < FEWEST_ROWS:
        raise RunError(say.grade_not_reached(pedal_percent=settings.dyno.pedal_percent, kind=kind))
    return {name: np.array(values) for name, values in rows.items()}


def governor_run(truck: Truck, settings: Settings, sources: dict[str, str] | None = None) -> DynoResult:
    """All governor tests on one engine.

    Parameters
    ----------
    sources : dict or None
        Mark and source of each number of the truck.

    Raises
    ------
    HaulbenchError
        The test cannot be made.
    """
    only_on_the_flywheel(settings, "governor")
    engine = truck.engine
    stand = Stand.under_test(truck, settings, LOG_S)
    stand.pedal(1.0)
    stand.run(6.0)
    found = _droop(stand)
    found |= _low_idle(stand)
    whole = {name: values[::THINNED] for name, values in stand.columns().items()}
    limit = HIGH_IDLE_OVER_GOVERNED * engine.governed_rpm
    plate = 100.0 * float(speed_droop(engine.high_idle_rpm, engine.governed_rpm))
    sets = {kind: on_a_grade(truck, settings, kind) for kind in ("limiting-speed", "all-speed")}
    summary: dict[str, Any] = {
        "test": "governor",
        "form": "flywheel",
        "truck": truck.name,
        "governor": engine.governor,
        "model_version": MODEL_VERSION,
        **found,
        "truck_high_idle_rpm": engine.high_idle_rpm,
        "truck_governed_rpm": engine.governed_rpm,
        "truck_low_idle_rpm": engine.low_idle_rpm,
        "truck_droop_percent": plate,
        "high_idle_rule_rpm": limit,
        "pedal_percent": settings.dyno.pedal_percent,
        "grade": {kind: _on_grade_words(columns) for kind, columns in sets.items()},
    }
    band = settings.dyno.band_percent / 100.0
    off = [
        finding("engine.speed_off", what=what, found=to_si(found[key], "rpm"), stated=to_si(stated, "rpm"))
        for what, key, stated in (
            ("high idle", "high_idle_rpm", engine.high_idle_rpm),
            ("governed speed", "loaded_rpm", engine.governed_rpm),
            ("low idle", "low_idle_rpm", engine.low_idle_rpm),
        )
        if abs(found[key] - stated) > band * stated
    ]
    over = found["highest_rpm"] - found["settled_rpm"]
    if over > OVERSHOOT * found["loaded_rpm"]:
        off.append(finding("engine.overshoots", over=to_si(over, "rpm")))
    summary["verdict"] = "fail" if off else "pass"
    read = finding("engine.several", all=off) if off else finding("engine.governed_as_stated")
    summary["reading"] = read.data()
    summary["warnings"] = []
    gauges = [
        Gauge(
            kind,
            to_si(found[key], "rpm"),
            "engine speed",
            "source.truck_data",
            to_si(stated * (1.0 - band), "rpm"),
            to_si(stated * (1.0 + band), "rpm"),
        )
        for kind, key, stated in (
            ("gauge.high_idle", "high_idle_rpm", engine.high_idle_rpm),
            ("gauge.governed_speed", "loaded_rpm", engine.governed_rpm),
            ("gauge.low_idle", "low_idle_rpm", engine.low_idle_rpm),
        )
    ]
    gauges.append(
        Gauge(
            "gauge.overshoot",
            to_si(over, "rpm"),
            "engine speed",
            "source.overshoot",
            most=OVERSHOOT * to_si(found["loaded_rpm"], "rpm"),
        )
    )
    summary |= {"gauges": [each.data() for each in gauges], "decides": deciding(gauges)}
    points = {
        "engine_speed_rpm": np.array(
            [found[f"{name}_rpm"] for name in ("loaded", "highest", "settled", "lowest", "under_load")]
        )
    }
    return stand.result("governor", summary, whole, points, sets, sources)


def _on_grade_words(columns: Columns) -> dict[str, float]:
    """How a governor took the rise."""
    speed, torque, grade = columns["engine_speed_rpm"], columns["engine_torque_n_m"], columns["grade_percent"]
    share = [float(np.interp(level, grade, speed)) for level in (0.0, 1.0)]
    return {
        "level_rpm": share[0],
        "one_percent_rpm": share[1],
        "level_torque_n_m": float(np.interp(0.0, grade, torque)),
        "one_percent_torque_n_m": float(np.interp(1.0, grade, torque)),
        "highest_torque_n_m": float(torque.max()),
        "last_rpm": float(speed[-1]),
        "last_grade_percent": float(grade[-1]),
    }
