"""An engine driven by the absorber: motoring curve, and the engine brake by stage and speed, steady and as it builds.

Also the cylinder cut-out test, which pulls the same way: one cylinder after the other gives nothing, and the torque tells.
"""

from typing import Any

import numpy as np

from sim.compiled import MODEL_VERSION
from sim.dyno.full_load import GRID, READ, check_range
from sim.dyno.gauges import Gauge, deciding
from sim.dyno.governor import only_on_the_flywheel
from sim.dyno.result import DynoResult
from sim.dyno.stand import Stand
from sim.errors import SettingsError
from sim.inputs.specs import Settings, Truck
from sim.laws.tables import table_value
from sim.march.plant import asked_friction
from sim.march.records import LIMITERS, OIL_FACTOR_ROW
from sim.messages import dyno as say
from sim.units import REVOLUTION_PER_MINUTE, to_si
from sim.wording import Finding, finding

LEAST_RETARDING = 1000.0  # rpm: an engine brake comes on above (common practice, no source)
STAGES = (1, 2, 3)
BUILD_RPM, BUILD_TIME = 1800.0, 6.0  # rpm and s over which the build-up is recorded
BUILD_READ = (0.0, 0.5, 1.0, 2.0)  # s after the first pair came on
SETTLE = 8.0  # s at each speed
CUT_RPM, CUT_TIME = 1200.0, 10.0
SPREADS, LEAST_ALLOWED = (
    3.0,
    0.05,
)  # standard deviations of the others, and of their mean: a cylinder further off is weak
ALIVE = 0.5  # of the share of one cylinder: a smaller fall of torque than that means it gave nothing


def _head(test: str, truck: Truck) -> dict[str, Any]:
    """What every summary begins with."""
    return {"test": test, "form": "flywheel", "truck": truck.name, "model_version": MODEL_VERSION}


def _mean(stand: Stand, names: tuple[str, ...], seconds: float = READ) -> dict[str, float]:
    """Columns averaged over the last seconds of the log."""
    rows = round(seconds / stand.row_s)
    columns = stand.columns(-rows)
    return {name: float(np.mean(columns[name])) for name in names}


def _tables(rows: list[dict[str, float]]) -> dict[str, np.ndarray]:
    """Rows as columns."""
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def motoring_run(truck: Truck, settings: Settings, sources: dict[str, str] | None = None) -> DynoResult:
    """The torque it takes to turn the engine without fuel, from governed speed down.

    Parameters
    ----------
    sources : dict or None
        Mark and source of each number of the truck.

    Raises
    ------
    HaulbenchError
        The test cannot be made.

    References
    ----------
    [1] Regulation (EU) 2017/2400, Annex V: motoring curve, minimum demand, swept down at 8 +/- 1 rpm/s (published).
    """
    only_on_the_flywheel(settings, "motoring")
    check_range(truck, settings)
    dyno, engine = settings.dyno, truck.engine
    stand = Stand.under_test(truck, settings)
    stand.parameters["fuel_delivery"] = 0.0
    stand.hold(engine.governed_rpm, 500.0)
    stand.run(12.0)
    first = len(stand.clock.log())
    lowest = max(dyno.lowest_rpm, engine.full_load_rpm[0])
    stand.hold(lowest, dyno.rate_rpm_per_s)
    stand.run((engine.governed_rpm - lowest) / dyno.rate_rpm_per_s + 1.0)
    whole = stand.columns(first)
    speeds = np.arange(np.floor(engine.governed_rpm / GRID) * GRID, lowest - 1.0, -GRID)
    order = np.argsort(whole["engine_speed_rpm"], kind="stable")

    def at(name: str) -> np.ndarray:
        """A column read at the speeds."""
        return np.interp(speeds, whole["engine_speed_rpm"][order], whole[name][order])

    torque = -at("engine_torque_n_m")
    p, row = stand.parameters[0], stand.clock.rig.tables[OIL_FACTOR_ROW]
    warm = np.array([float(asked_friction(stand.parameters, float(rpm) * REVOLUTION_PER_MINUTE)) for rpm in speeds])
    oil = at("oil_temperature_c") + 273.15
    factor = np.array([table_value(row, p["oil_factor_first"], p["oil_factor_per_step"], float(each)) for each in oil])
    points = {
        "engine_speed_rpm": speeds,
        "motoring_torque_n_m": torque,
        "motoring_power_kw": torque * speeds * REVOLUTION_PER_MINUTE / 1000.0,
        "friction_torque_n_m": at("friction_torque_n_m"),
        "accessory_torque_n_m": at("accessory_torque_n_m"),
        "expected_torque_n_m": warm * factor + at("accessory_torque_n_m"),
        "back_pressure_kpa": at("back_pressure_kpa"),
        "oil_temperature_c": at("oil_temperature_c"),
    }
    more = points["motoring_torque_n_m"] / points["expected_torque_n_m"] - 1.0
    within = bool(np.max(np.abs(more)) <= dyno.band_percent / 100.0)
    at_top, expected = float(points["motoring_torque_n_m"][0]), float(points["expected_torque_n_m"][0])
    share, turning = dyno.band_percent / 100.0, {"speed": to_si(float(speeds[0]), "rpm")}
    gauges = [
        Gauge(
            "gauge.motoring",
            at_top,
            "torque",
            "source.friction",
            expected * (1.0 - share),
            expected * (1.0 + share),
            turning,
        )
    ]
    summary = _head("motoring", truck) | {
        "verdict": "pass" if within else "fail",
        "reading": (
            finding("engine.turns_freely") if within else finding("engine.turns_otherwise", share=float(more[0]))
        ).data(),
        "band_percent": dyno.band_percent,
        "highest_torque_n_m": at_top,
        "highest_torque_rpm": float(speeds[0]),
        "highest_power_kw": float(points["motoring_power_kw"][0]),
        "fuel_rate_g_s": float(np.max(whole["fuel_rate_g_s"])),
        "oil_temperature_c": float(whole["oil_temperature_c"][-1]),
        "gauges": [each.data() for each in gauges],
        "decides": deciding(gauges),
        "warnings": [],
    }
    return stand.result("motoring", summary, whole, points, {}, sources)


def _build_up(truck: Truck, settings: Settings, stage: int) -> dict[str, np.ndarray]:
    """One stage from its call on, at a held speed."""
    stand = Stand.under_test(truck, settings, 0.01)
    stand.hold(BUILD_RPM, 500.0)
    stand.run(8.0)
    first = len(stand.clock.log())
    stand.call_stage(stage)
    stand.run(BUILD_TIME)
    columns = stand.columns(first)
    return {
        "time_s": columns["time_s"] - columns["time_s"][0],
        "retarding_torque_n_m": -columns["engine_torque_n_m"],
        "boost_kpa": columns["boost_kpa"],
        "active_cylinders": columns["active_cylinders"],
        "engine_speed_rpm": columns["engine_speed_rpm"],
    }


def retarding_run(truck: Truck, settings: Settings, sources: dict[str, str] | None = None) -> DynoResult:
    """Retarding torque and power by stage and engine speed once settled, and each stage as it builds.

    Parameters
    ----------
    settings : Settings
        Delays and interlocks of the engine brake are those of its table `retarding`.
    sources : dict or None
        Mark and source of each number of the truck.

    Raises
    ------
    HaulbenchError
        The test cannot be made.

    References
    ----------
    [1] SAE J1621 is how retarding power is measured on a dynamometer (scope only, published, second-hand).
    """
    only_on_the_flywheel(settings, "retarding")
    engine = truck.engine
    allowed = [stage for stage in STAGES if stage <= settings.retarding.selector]
    if not settings.retarding.switch:
        raise SettingsError(say.brake_switched_off())
    if settings.drill.hold_stage >= 0:
        raise SettingsError(say.stage_held(stage=settings.drill.hold_stage))
    speeds = np.arange(np.ceil(LEAST_RETARDING / GRID + 0.5) * GRID, engine.governed_rpm + 1.0, GRID)[::-1]
    rows, logs = [], []
    refused: list[Finding] = []
    for stage in (0, *allowed):
        stand = Stand.under_test(truck, settings)
        stand.hold(float(speeds[0]), 500.0)
        stand.run(6.0)
        stand.call_stage(stage)
        for rpm in speeds:
            stand.hold(float(rpm), 200.0)
            stand.run(SETTLE)
            names = ("engine_torque_n_m", "boost_kpa", "active_cylinders", "fuel_rate_g_s", "engine_speed_rpm")
            read = _mean(stand, names, 2.0)
            torque = -read["engine_torque_n_m"]
            power = torque * read["engine_speed_rpm"] * REVOLUTION_PER_MINUTE / 1000.0
            rows.append(
                {
                    "stage": float(stage),
                    "engine_speed_rpm": float(rpm),
                    "retarding_torque_n_m": torque,
                    "retarding_power_kw": power,
                    **{name: read[name] for name in ("boost_kpa", "active_cylinders", "fuel_rate_g_s")},
                }
            )
        logs.append(stand.columns())
        happened = stand.clock.happenings
        refused += [each.cause for each in happened if each.event == "stage_refused" and each.cause not in refused]
    whole = {name: np.concatenate([log[name] for log in logs]) for name in logs[0]}
    points = _tables(rows)
    sets = {f"stage {stage}": _build_up(truck, settings, stage) for stage in allowed}
    top = points["engine_speed_rpm"] == speeds[0]
    powers = {
        str(int(stage)): float(power)
        for stage, power in zip(points["stage"][top], points["retarding_power_kw"][top], strict=True)
    }
    working = {stage: float(points["active_cylinders"][(points["stage"] == stage) & top][0]) for stage in allowed}
    short = [stage for stage in allowed if working[stage] < truck.braking_cylinders(stage) - 0.5]
    gauges = [
        Gauge(
            "gauge.working",
            working[stage],
            "number",
            "source.truck_data",
            truck.braking_cylinders(stage) - 0.5,
            values={"stage": stage},
        )
        for stage in allowed
    ]
    summary = _head("retarding", truck) | {
        "verdict": "fail" if short or refused else "pass",
        "reading": _stages_read(short, refused).data(),
        "speed_rpm": float(speeds[0]),
        "retarding_power_kw": powers,
        "truck_retarding_power_kw": truck.engine_brake.rated_power_kw,
        "gauges": [each.data() for each in gauges],
        "decides": deciding(gauges),
        "build_up": {name: _built(columns) for name, columns in sets.items()},
        "warnings": [finding("dyno.engine_brake_refused", cause=cause).data() for cause in refused],
    }
    return stand.result("retarding", summary, whole, points, sets, sources)


def _stages_read(short: list[int], refused: list[Finding]) -> Finding:
    """What the stages say."""
    if refused:
        return finding("engine.does_not_brake", cause=refused[0])
    return finding("engine.pair_dead", stages=short) if short else finding("engine.brakes_in_every_stage")


def _built(columns: dict[str, np.ndarray]) -> dict[str, Any]:
    """How much of the settled torque was there when."""
    working = np.flatnonzero(columns["active_cylinders"] > 0.0)
    if not len(working):
        return {"on_after_s": None, "shares_percent": []}
    began = int(working[0])
    settled, time = float(columns["retarding_torque_n_m"][-1]), columns["time_s"]
    last = len(columns["time_s"]) - 1
    places = [min(int(np.searchsorted(time, time[began] + wait - 1e-9)), last) for wait in BUILD_READ]
    return {
        "on_after_s": float(columns["time_s"][began]),
        "settled_torque_n_m": settled,
        "read_after_s": list(BUILD_READ),
        "shares_percent": [100.0 * float(columns["retarding_torque_n_m"][place]) / settled for place in places],
    }


def cylinder_gauges(lost: np.ndarray) -> list[Gauge]:
    """Each cylinder beside the spread of the others that give something.

    Parameters
    ----------
    lost : array
        Shape (cylinders,), share of the torque that is gone with each cut out. [-]
    """
    gauges = []
    for place, share in enumerate(lost):
        others = np.delete(lost, place)
        others = others[others >= ALIVE / len(lost)]
        middle = float(np.mean(others)) if len(others) else 1.0 / len(lost)
        spread = float(np.std(others, ddof=1)) if len(others) > 1 else 0.0
        allowed = max(SPREADS * spread, LEAST_ALLOWED * middle)
        gauges.append(
            Gauge(
                "gauge.cylinder",
                float(share),
                "share",
                "source.others",
                middle - allowed,
                middle + allowed,
                {"cylinder": place + 1},
            )
        )
    return gauges


def cylinder_run(truck: Truck, settings: Settings, sources: dict[str, str] | None = None) -> DynoResult:
    """Full load at a held speed, one injector after the other switched off: the cylinder that changes nothing is dead.

    Parameters
    ----------
    sources : dict or None
        Mark and source of each number of the truck.

    Raises
    ------
    HaulbenchError
        The test cannot be made.
    """
    only_on_the_flywheel(settings, "cylinder cut-out")
    number = truck.engine.cylinders
    stand = Stand.under_test(truck, settings)
    stand.hold(CUT_RPM, 500.0)
    stand.pedal(1.0)
    stand.run(CUT_TIME)
    names = ("engine_torque_n_m", "fuel_rate_g_s", "boost_kpa", "engine_speed_rpm", "limiter")
    rows = [{"cylinder_cut": 0.0, **_mean(stand, names, 2.0)}]
    for cylinder in range(1, number + 1):
        stand.cut_out(cylinder)
        stand.run(CUT_TIME)
        rows.append({"cylinder_cut": float(cylinder), **_mean(stand, names, 2.0)})
        stand.cut_out(0)
        stand.run(CUT_TIME)
    points = _tables(rows)
    points["limiter"] = np.clip(np.round(points["limiter"]), 0, len(LIMITERS) - 1)
    base = float(points["engine_torque_n_m"][0])
    points["torque_lost_n_m"] = base - points["engine_torque_n_m"]
    points["torque_lost_percent"] = 100.0 * points["torque_lost_n_m"] / base
    lost = points["torque_lost_percent"][1:] / 100.0
    found = [k for k in range(1, number + 1) if lost[k - 1] < ALIVE / number]
    gauges = cylinder_gauges(lost)
    weak = [k for k, gauge in enumerate(gauges, start=1) if gauge.out and k not in found]
    read = finding("engine.cylinder_weak", cylinders=weak) if weak else finding("engine.every_cylinder_works")
    summary = _head("cylinders", truck) | {
        "verdict": "fail" if found or weak else "pass",
        "reading": (finding("engine.cylinder_dead", cylinders=found) if found else read).data(),
        "gauges": [each.data() for each in gauges],
        "decides": deciding(gauges),
        "speed_rpm": CUT_RPM,
        "torque_n_m": base,
        "torque_lost_percent": {str(k): float(points["torque_lost_percent"][k]) for k in range(1, number + 1)},
        "dead_cylinders": found,
        "warnings": [],
    }
    return stand.result("cylinders", summary, stand.columns(), points, {}, sources)
