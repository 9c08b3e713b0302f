"""A trip's summary in words, for people, in US units, metric units or both."""

from sim.trips.result import BRAKE_LIMIT_C, CAUTIONS, VERDICTS, Result, code_words
from sim.units import MILE, MILE_PER_HOUR, POUND, clock_time
from sim.wording import said


def _both(units: str, metric: str, us: str) -> str:
    """One quantity in the units asked for."""
    if units == "metric":
        return metric
    if units == "us":
        return us
    return f"{metric} ({us})"


def _speed(units: str, value: float) -> str:
    """A road speed."""
    return _both(units, f"{value * 3.6:.1f} km/h", f"{value / MILE_PER_HOUR:.1f} mi/h")


def _temperature(units: str, value: float) -> str:
    """A temperature."""
    return _both(units, f"{value:.0f} C", f"{value * 1.8 + 32:.0f} F")


def _times(number: int, noun: str) -> str:
    """A count with its noun."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def summary_text(result: Result, units: str) -> str:
    """The summary a person reads.

    Returns
    -------
    text : str
        Verdict and warnings first, cautions last.
    """
    s = result.summary
    lines = [
        f"{VERDICTS[s['ended']]}: {s['truck']}",
        f"on {s['route']}",
        *(f"  ! {said(warning, units)}" for warning in s["warnings"]),
        *(f"    why: {said(explanation, units)}" for explanation in s["explanations"]),
        *(f"  what will happen: {said(foreseen, units)}" for foreseen in s["foreseen"]),
        *(f"  code: {code_words(code)}" for code in s["codes"]),
        "",
    ]
    stages = s["engine_brake_stage_time_s"]
    share = s["retarding_share"]
    energy = s["energy"]
    rows = [
        ("distance", _both(units, f"{s['distance_m'] / 1000:.2f} km", f"{s['distance_m'] / MILE:.2f} mi")),
        ("time", clock_time(s["time_s"])),
        ("mean speed", _speed(units, s["mean_speed_m_s"])),
        ("highest speed", _speed(units, s["max_speed_m_s"])),
        ("highest engine speed", f"{s['max_engine_speed_rpm']:.0f} rpm"),
        ("gear shifts", f"{s['gear_shifts']}"),
    ]
    if s["fuel_l_per_100km"] is not None:
        note = ""
        if abs(s["height_gained_m"]) > 20.0:
            note = (
                f"; the road ends {abs(s['height_gained_m']):.0f} m {'higher' if s['height_gained_m'] > 0 else 'lower'}"
            )
        economy = "-" if s["fuel_mpg_us"] is None else f"{s['fuel_mpg_us']:.2f} mi/gal"
        rows.append(("fuel", _both(units, f"{s['fuel_l_per_100km']:.1f} L/100 km", economy) + note))
        rows.append(("carbon dioxide", _both(units, f"{s['co2_kg']:.1f} kg", f"{s['co2_kg'] / POUND:.1f} lb")))
    rows.append(("engine brake", ", ".join(f"stage {k} {clock_time(stages[k])}" for k in "123")))
    rows.append(("service brakes", _times(s["service_brake_applications"], "application")))
    rows.append(
        (
            "brake temperature",
            f"mean {_temperature(units, s['max_brake_temperature_c'])}, hottest axle "
            f"{_temperature(units, s['max_hottest_brake_temperature_c'])}, limit {_temperature(units, BRAKE_LIMIT_C)}",
        )
    )
    if s["max_published_brake_temperature_a_c"] is not None:
        pair = " / ".join(_temperature(units, s[f"max_published_brake_temperature_{letter}_c"]) for letter in "ab")
        rows.append(("published model", f"set A / B: {pair}"))
    rows.append(
        (
            "held back by",
            f"engine {100 * share['engine']:.0f} %, air and tyres {100 * share['air_and_tyres']:.0f} %, "
            f"service brakes {100 * share['service_brakes']:.0f} %",
        )
    )
    work = {name: energy[name] for name in ("aero", "rolling", "driveline", "engine_friction", "accessories", "fan")}
    if energy["fuel"] > 0.0:
        shares = ", ".join(f"{name.replace('_', ' ')} {100 * v / energy['fuel']:.1f} %" for name, v in work.items())
        rows.append(("of the fuel's energy", shares))
    rows.append(("energy ledger", f"closes to {energy['residual_fraction']:.1e}"))
    timing = s["timing"]
    rows.append(("driven in", f"{timing['wall_s']:.2f} s, {timing['realtime_factor']:.0f} times real time"))
    lines += [f"  {name:22}{value}" for name, value in rows]
    lines += ["", *CAUTIONS]
    return "\n".join(lines)


def power_split_text() -> str:
    """Where the power goes on the level at 65 mi/h, beside the published split: a picture, not a check.

    Returns
    -------
    text : str
        Bars of one character per 4 hp. [hp]

    Notes
    -----
    The model truck's drag area was derived from the same table, so agreement proves nothing about drag; rolling, driveline
    and auxiliaries are the truck's own.
    """
    from sim.checks.power_split import published_split, trip_split

    ours = trip_split()
    lines = [
        "Power at 65 mi/h on the level, 80,000 lb (a consistency picture, not a check: drag was derived from this table)"
    ]
    for name, published in published_split().items():
        lines.append(f"  {name:14}published {published:6.0f} hp {'#' * round(published / 4)}")
        lines.append(f"  {'':14}this truck{ours[name]:6.0f} hp {'#' * round(ours[name] / 4)}")
    return "\n".join(lines)
