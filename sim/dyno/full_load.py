"""The full-load run: full pedal, from no load above governed speed down past the highest torque, swept or in settled steps."""

from functools import lru_cache
from typing import Any

import numpy as np

from sim.compiled import MODEL_VERSION
from sim.dyno.gauges import deciding, first_out, full_load_gauges
from sim.dyno.result import CORRECTIONS, VALID, Columns, DynoResult
from sim.dyno.stand import Stand
from sim.errors import RunError, SettingsError
from sim.inputs.specs import Circuits, Condition, Faults, Settings, Truck
from sim.laws.dynamometer import torque_rise
from sim.laws.tables import table_value
from sim.march.assemble import CURVE_STEP, tables_of
from sim.march.records import FULL_LOAD_ROW, GOVERNOR, LIMITERS, NO_LIMITER, ROAD_SPEED_LIMIT
from sim.messages import dyno as say
from sim.units import REVOLUTION_PER_MINUTE, to_si
from sim.wording import Finding, finding

GRID = 100.0  # rpm between the speeds at which a sweep is read
CURVE_EVERY = 25.0  # rpm between the points of the rated curve as it is drawn
READ = 5.0  # s at the end of a settled step that are averaged (published: 40 CFR 1065.510)
STEP_RATE = 50.0  # rpm/s from step to step, assumed
FLAT = 0.01  # of the highest torque: speeds that pull so much belong to its band
LOW_BAND = (1000.0, 1300.0)  # rpm in which a curve is said to be low at low speed
WORTH_SAYING = 0.4  # of the band: mean deviation from which a curve is said to be low
QUICK = 40.0  # rpm/s, assumed: above it a sweep tells of the boost, not of the curve
NOT_HELD = 50.0  # rpm above the end of a run, where it has not come down
EARLY = 50.0  # rpm below governed speed, where the governor has no business yet


def rated_torque(truck: Truck, rpm: np.ndarray) -> np.ndarray:
    """The rated full-load curve of a truck at some speeds, as a trip uses it.

    Parameters
    ----------
    rpm : array
        [rpm]

    Returns
    -------
    torque : array
        [N m]
    """
    table, first = tables_of(truck)[FULL_LOAD_ROW], truck.engine.si("full_load_rpm")[0]
    return np.array([float(table_value(table, first, 1.0 / CURVE_STEP, each * REVOLUTION_PER_MINUTE)) for each in rpm])


def rated_curve(truck: Truck) -> dict[str, np.ndarray]:
    """The rated full-load curve of a truck up to governed speed, as a trip uses it.

    Returns
    -------
    curve : dict of str to array
        engine_speed_rpm, torque_n_m, power_kw.
    """
    first, last = truck.engine.full_load_rpm[0], truck.engine.governed_rpm
    rpm = np.linspace(first, last, 1 + round((last - first) / CURVE_EVERY))
    torque = rated_torque(truck, rpm)
    return {
        "engine_speed_rpm": rpm,
        "torque_n_m": torque,
        "power_kw": torque * rpm * REVOLUTION_PER_MINUTE / 1000.0,
    }


def read_speeds(truck: Truck, settings: Settings) -> np.ndarray:
    """The speeds at which a run is read, highest first.

    Returns
    -------
    speeds : array
        [rpm]
    """
    step = settings.dyno.step_rpm or GRID
    lowest = np.ceil(settings.dyno.lowest_rpm / step) * step
    return np.arange(np.floor(truck.engine.high_idle_rpm / step) * step, lowest - 1.0, -step)


def check_range(truck: Truck, settings: Settings) -> None:
    """Refuses a run that cannot start or end.

    Raises
    ------
    SettingsError
        The lowest speed is below idle or too near governed speed.
    """
    lowest, engine = settings.dyno.lowest_rpm, truck.engine
    if lowest < engine.low_idle_rpm:
        raise SettingsError(say.ends_below_idle(lowest_rpm=lowest, idle_rpm=engine.low_idle_rpm))
    if lowest > engine.governed_rpm - 100.0:
        raise SettingsError(
            say.ends_too_high(lowest_rpm=lowest, governed_rpm=engine.governed_rpm, most_rpm=engine.governed_rpm - 100.0)
        )


def _sweep(stand: Stand) -> tuple[Columns, Columns, float]:
    """Down at the rate asked for, and up again when asked: the whole run, the way down, and the speed without load."""
    dyno = stand.settings.dyno
    first, began = stand.rows, stand.rpm
    stand.hold(dyno.lowest_rpm, dyno.rate_rpm_per_s)
    stand.run((began - dyno.lowest_rpm) / dyno.rate_rpm_per_s)
    turned = stand.rows
    stand.run(0.5)
    if dyno.both_ways:
        stand.hold(began, dyno.rate_rpm_per_s)
        stand.run((began - dyno.lowest_rpm) / dyno.rate_rpm_per_s + 1.0)
    whole = stand.columns(first)
    return whole, {name: values[: turned - first] for name, values in whole.items()}, began


def _at_speeds(down: Columns, speeds: np.ndarray) -> dict[str, np.ndarray]:
    """A sweep read at speeds; NaN where the engine never turned so fast."""
    turning = down["engine_speed_rpm"][::-1]
    order = np.argsort(turning, kind="stable")
    found = {}
    for name, values in down.items():
        back = values[::-1][order]
        if name in ("limiter", "fan_on", "gear", "actual_torque_percent", "friction_torque_percent", "load_percent"):
            places = np.clip(np.searchsorted(turning[order], speeds), 0, len(back) - 1)
            found[name] = np.where(speeds > turning.max(), np.nan, back[places])
        else:
            found[name] = np.interp(speeds, turning[order], back, right=np.nan)
    found["engine_speed_rpm"] = speeds.copy()
    return found


def _steps(stand: Stand, speeds: np.ndarray) -> tuple[Columns, dict[str, np.ndarray], float]:
    """Settled speeds, one after the other; the last seconds of each are averaged."""
    dyno = stand.settings.dyno
    first, began = stand.rows, stand.rpm
    rows = []
    for speed in speeds:
        if speed > began:
            rows.append((0, 0))
            continue
        stand.hold(float(speed), STEP_RATE)
        stand.run(abs(stand.rpm - speed) / STEP_RATE + max(dyno.step_s, READ))
        last = stand.rows - first
        rows.append((last - round(READ / stand.row_s), last))
    whole = stand.columns(first)
    found = {}
    for name, values in whole.items():
        pick = np.median if name in ("limiter", "fan_on", "gear") else np.mean
        found[name] = np.array([pick(values[a:b]) if b > a else np.nan for a, b in rows])
    found["engine_speed_rpm"] = np.where(np.isnan(found["engine_speed_rpm"]), speeds, found["engine_speed_rpm"])
    return whole, found, began


def _driven(stand: Stand) -> tuple[Columns, dict[str, np.ndarray], float]:
    """One run on a stand: in time, at the speeds that are read, and the speed without load."""
    truck, settings = stand.truck, stand.settings
    stand.run(2.0)
    stand.pedal(1.0)
    stand.settle()
    speeds = read_speeds(truck, settings)
    if stand.rpm < float(speeds[-1]):
        raise RunError(say.no_full_load(highest_rpm=stand.rpm))
    if settings.dyno.step_rpm:
        whole, points, began = _steps(stand, speeds)
    else:
        whole, down, began = _sweep(stand)
        points = _at_speeds(down, speeds)
    _check_held(stand, whole, float(speeds[-1]))
    return whole, points, began


@lru_cache(maxsize=64)
def _sound(truck: Truck, settings: Settings) -> tuple[Columns, float]:
    """What the same truck reads in sound condition, its circuits too, without scatter; and its speed without load in rpm."""
    sound = truck.model_copy(update={"condition": Condition()})
    _, points, began = _driven(Stand(sound, settings.model_copy(update={"faults": Faults(), "circuits": Circuits()})))
    return points, began


def _check_held(stand: Stand, whole: Columns, lowest: float) -> None:
    """Says why a run did not come down to its end: the absorber was too weak, or the tyres slipped."""
    reached = float(np.min(whole["engine_speed_rpm"]))
    if np.any(whole["wheel_slip"] > 0.0) and stand.chassis:
        raise RunError(say.wheels_slip(grip=stand.settings.weather.grip))
    if reached > lowest + NOT_HELD:
        raise RunError(
            say.not_held(reached_rpm=reached, lowest_rpm=lowest, capacity_n_m=stand.settings.dyno.capacity_n_m)
        )


def spans_of(points: Columns) -> list[dict[str, Any]]:
    """Which limiter was on over which speeds.

    Parameters
    ----------
    points : mapping of str to array
        Highest speed first.

    Returns
    -------
    spans : list of dict
        limiter, from_rpm, to_rpm.
    """
    spans: list[dict[str, Any]] = []
    for rpm, code in zip(points["engine_speed_rpm"], points["limiter"], strict=True):
        if not np.isfinite(code):
            continue
        name = LIMITERS[int(code)]
        if not spans or spans[-1]["limiter"] != name:
            spans.append({"limiter": name, "from_rpm": float(rpm), "to_rpm": float(rpm)})
        spans[-1]["to_rpm"] = float(rpm)
    return spans


def reading(points: Columns, governed_rpm: float, rated_rpm: float, band: float) -> Finding:
    """What a technician would read off the curve.

    Parameters
    ----------
    points : mapping of str to array
        With `deviation_percent`.
    governed_rpm : float
        By the truck's data. [rpm]
    rated_rpm : float
        [rpm]
    band : float
        [%]

    References
    ----------
    [1] Low everywhere: fuel supply or a cylinder; low at high speed: restriction or early governor; low at low speed: air leak.
        Common practice, no source.
    """
    rpm, off, limiter = points["engine_speed_rpm"], points["deviation_percent"], points["limiter"]
    early = (rpm <= governed_rpm - EARLY) & (~np.isfinite(limiter) | (limiter == GOVERNOR))
    if early.any():
        return finding("engine.governor_early", speed=to_si(float(rpm[early].min()) - GRID, "rpm"))
    low, within = float(np.mean(off[(rpm >= LOW_BAND[0]) & (rpm <= LOW_BAND[1])])), bool(np.all(np.abs(off) <= band))
    high = float(np.mean(off[(rpm >= 0.97 * rated_rpm) & (rpm <= governed_rpm)]))
    least = -WORTH_SAYING * band
    shares = {"low": low / 100.0, "high": high / 100.0}
    if within:
        return Finding("engine.on_the_curve", shares)
    if low < least and high < least and max(low, high) < 0.4 * min(low, high):
        return Finding("engine.low_everywhere", shares)
    if low < least and low <= high:
        return Finding("engine.low_at_low_speed", shares)
    if high < least:
        return Finding("engine.low_at_high_speed", shares)
    if max(low, high) > -least:
        return finding("engine.above_the_curve", most=max(shares.values()))
    worst = int(np.argmax(np.abs(off)))
    return finding("engine.off_at_one_speed", off=float(off[worst]) / 100.0, speed=to_si(float(rpm[worst]), "rpm"))


def full_load_run(truck: Truck, settings: Settings, sources: dict[str, str] | None = None) -> DynoResult:
    """Full pedal from no load above governed speed down past the highest torque.

    Parameters
    ----------
    truck : Truck
        With its faults, in its table `condition`.
    settings : Settings
        Table `dyno`, weather and start temperatures.
    sources : dict or None
        Mark and source of each number of the truck.

    Raises
    ------
    HaulbenchError
        The run cannot be made.

    Notes
    -----
    On the flywheel the points are held against the rated curve; on rollers against the same truck in sound condition on the
    same rollers in the same air, for the rated curve holds at the flywheel.
    """
    check_range(truck, settings)
    dyno, engine = settings.dyno, truck.engine
    stand = Stand.under_test(truck, settings)
    whole, points, began = _driven(stand)
    chassis, (sound, sound_began) = dyno.form == "chassis", _sound(truck, settings)
    if chassis:
        reference = sound["wheel_power_kw"]
        measured, name = points["wheel_power_kw"], "reference_wheel_power_kw"
    else:
        reference = rated_torque(truck, points["engine_speed_rpm"])
        measured, name = points["corrected_torque_n_m"], "rated_torque_n_m"
    with np.errstate(divide="ignore", invalid="ignore"):
        off = 100.0 * (measured / reference - 1.0)
    asked = points["engine_speed_rpm"] <= engine.governed_rpm + 1.0
    points[name] = reference
    points["deviation_percent"] = np.where(np.isnan(off) & asked, -100.0, np.where(asked, off, np.nan))
    judged = {key: values[asked] for key, values in points.items()}
    worst = int(np.argmax(np.abs(judged["deviation_percent"])))
    torque, power = judged["engine_torque_n_m"], judged["power_kw"]
    if not np.isfinite(judged["bsfc_g_kwh"]).any():
        raise RunError(say.no_full_load(highest_rpm=float(np.max(whole["engine_speed_rpm"]))))
    top, strongest = int(np.nanargmax(torque)), int(np.nanargmax(power))
    at_rated = float(np.interp(engine.rated_speed_rpm, judged["engine_speed_rpm"][::-1], torque[::-1]))
    flat = judged["engine_speed_rpm"][torque >= (1.0 - FLAT) * torque[top]]
    governed = [
        span["to_rpm"]
        for span in spans_of(points)
        if span["limiter"] in (LIMITERS[GOVERNOR], LIMITERS[ROAD_SPEED_LIMIT])
    ]
    cut_short = bool(governed) and min(governed) <= engine.rated_speed_rpm < engine.governed_rpm - EARLY
    quick = not dyno.step_rpm and dyno.rate_rpm_per_s > QUICK
    road_limited = float(whole["limiter"][0]) == ROAD_SPEED_LIMIT
    idles = (float("nan") if road_limited else began, sound_began if chassis else engine.high_idle_rpm)
    gauges = [] if quick else full_load_gauges(truck, points, sound, idles)
    factors = judged["correction_factor"][np.isfinite(judged["correction_factor"])]
    valid = bool(VALID[0] <= factors.min() and factors.max() <= VALID[1])
    within = bool(np.max(np.abs(judged["deviation_percent"])) <= dyno.band_percent)
    read = reading(judged, engine.governed_rpm, engine.rated_speed_rpm, dyno.band_percent)
    out = first_out(gauges)
    if out and read.kind == "engine.on_the_curve":
        told = out.told()
        read = finding("engine.gauge_out", curve=read, gauge=told["gauge"], verdict=told["verdict"])
    summary: dict[str, Any] = {
        "test": "full-load",
        "form": dyno.form,
        "truck": truck.name,
        "model_version": MODEL_VERSION,
        "verdict": "not judged" if quick else "pass" if within and valid and not out else "fail",
        "reading": (finding("engine.boost_behind") if quick else read).data(),
        "band_percent": dyno.band_percent,
        "worst_deviation_percent": float(judged["deviation_percent"][worst]),
        "worst_deviation_rpm": float(judged["engine_speed_rpm"][worst]),
        "start_rpm": began,
        "end_rpm": float(points["engine_speed_rpm"][-1]),
        "run_s": float(whole["time_s"][-1] - whole["time_s"][0]),
        "peak_torque_n_m": float(torque[top]),
        "peak_torque_from_rpm": float(flat.min()),
        "peak_torque_to_rpm": float(flat.max()),
        "peak_power_kw": float(power[strongest]),
        "peak_power_rpm": float(judged["engine_speed_rpm"][strongest]),
        "torque_rise_percent": (
            None if np.isnan(at_rated) or cut_short else 100.0 * float(torque_rise(float(torque[top]), at_rated))
        ),
        "lowest_bsfc_g_kwh": float(np.nanmin(judged["bsfc_g_kwh"])),
        "highest_boost_kpa": float(np.nanmax(judged["boost_kpa"])),
        "limiters": spans_of(points),
        "gauges": [each.data() for each in gauges],
        "decides": deciding(gauges),
        "correction": dyno.correction,
        "correction_source": CORRECTIONS[dyno.correction][1] if dyno.correction != "none" else "",
        "correction_lowest": float(factors.min()),
        "correction_highest": float(factors.max()),
        "correction_valid": valid,
        "coolant_temperature_c": float(whole["coolant_temperature_c"][-1]),
        "oil_temperature_c": float(whole["oil_temperature_c"][-1]),
    }
    if chassis:
        wheel = float(judged["wheel_power_kw"][strongest])
        summary |= {
            "gear": int(stand.clock.true("gear")),
            "peak_wheel_power_kw": float(np.nanmax(judged["wheel_power_kw"])),
            "wheel_loss_percent": 100.0 * (1.0 - wheel / float(power[strongest])),
        }
    summary["warnings"] = _warnings(summary, judged, quick)
    return stand.result("full-load", summary, whole, points, {}, sources)


def _warnings(summary: dict[str, Any], judged: Columns, quick: bool) -> list[dict[str, Any]]:
    """What must be said before the numbers."""
    found = []
    if quick:
        found.append(finding("dyno.quick_sweep", rate=to_si(QUICK, "rpm")))
    if not summary["correction_valid"]:
        factors = {"lowest": summary["correction_lowest"], "highest": summary["correction_highest"]}
        found.append(finding("dyno.correction_invalid", least=VALID[0], most=VALID[1], **factors))
    missing = judged["engine_speed_rpm"][np.isnan(judged["engine_torque_n_m"])]
    if len(missing):
        found.append(finding("dyno.not_reached", speed=to_si(float(missing.min()), "rpm")))
    if np.any(judged["limiter"] == NO_LIMITER):
        found.append(finding("dyno.not_full_load"))
    return [each.data() for each in found]
