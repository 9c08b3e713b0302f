"""A dyno run in words, for people, in US units, metric units or both."""

from collections.abc import Callable
from typing import Any

from sim.dyno.gauges import gauge_rows
from sim.dyno.result import CAUTIONS, DynoResult
from sim.units import GRAM_PER_KILOWATT_HOUR, quantity_text, to_si
from sim.wording import said


def _torque(units: str, value: float) -> str:
    """A torque. [N m]"""
    return quantity_text(value, "torque", units)


def _power(units: str, value: float) -> str:
    """A power. [kW]"""
    return quantity_text(to_si(value, "kw"), "power", units)


def _full_load(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of a full-load run."""
    rise = s["torque_rise_percent"]
    against = "the rated curve" if s["form"] == "flywheel" else "the same truck, sound, on these rollers"
    rows = [
        ("from, to", f"{s['start_rpm']:.0f} rpm without load to {s['end_rpm']:.0f} rpm, {s['run_s']:.0f} s"),
        (
            "highest torque",
            f"{_torque(units, s['peak_torque_n_m'])}; within 1 % of it from {s['peak_torque_from_rpm']:.0f} to"
            f" {s['peak_torque_to_rpm']:.0f} rpm",
        ),
        ("highest power", f"{_power(units, s['peak_power_kw'])} at {s['peak_power_rpm']:.0f} rpm"),
        ("torque rise", "rated speed not reached at full load" if rise is None else f"{rise:.1f} % over rated speed"),
        (
            "lowest fuel per power",
            quantity_text(s["lowest_bsfc_g_kwh"] * GRAM_PER_KILOWATT_HOUR, "specific fuel", units),
        ),
        ("highest boost", quantity_text(to_si(s["highest_boost_kpa"], "kpa"), "gauge pressure", units)),
        (
            "largest deviation",
            f"{s['worst_deviation_percent']:+.1f} % at {s['worst_deviation_rpm']:.0f} rpm from {against}; band"
            f" {s['band_percent']:g} %",
        ),
        (
            "limiters",
            ", ".join(
                f"{span['limiter']} {span['from_rpm']:.0f}-{span['to_rpm']:.0f} rpm"
                if span["from_rpm"] != span["to_rpm"]
                else f"{span['limiter']} {span['to_rpm']:.0f} rpm"
                for span in s["limiters"]
            ),
        ),
    ]
    if s["correction"] == "none":
        rows.append(("correction for air", "none"))
    else:
        rows.append(
            (
                "correction for air",
                f"{s['correction']}, factor {s['correction_lowest']:.4f} to {s['correction_highest']:.4f}"
                f" ({s['correction_source']})",
            )
        )
    if s["form"] == "chassis":
        rows.append(("gear", str(s["gear"])))
        rows.append(
            (
                "highest power at the rollers",
                f"{_power(units, s['peak_wheel_power_kw'])}, {s['wheel_loss_percent']:.0f} % below the flywheel",
            )
        )
    return rows


def _governor(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of the governor tests."""
    rows = [
        (
            "load taken off",
            f"N1 {s['loaded_rpm']:.0f}, N2 {s['highest_rpm']:.0f}, N3 {s['settled_rpm']:.0f} rpm: momentary"
            f" {s['momentary_droop_percent']:.2f} %, steady {s['steady_droop_percent']:.2f} % (truck's data"
            f" {s['truck_droop_percent']:.2f} %)",
        ),
        (
            "load put on",
            f"N4 {s['before_load_rpm']:.0f}, N5 {s['lowest_rpm']:.0f}, N6 {s['under_load_rpm']:.0f} rpm: momentary"
            f" {s['momentary_drop_percent']:.2f} %, steady {s['steady_drop_percent']:.2f} %",
        ),
        (
            "high idle: full pedal, no load",
            f"{s['high_idle_rpm']:.0f} rpm; truck's data {s['truck_high_idle_rpm']:.0f}; usual at most 12 % over full-load"
            f" governed speed, {s['high_idle_rule_rpm']:.0f} (common practice, no source)",
        ),
        (
            "low idle",
            f"{s['low_idle_rpm']:.0f} rpm; a load switched on pulls it to {s['low_idle_lowest_rpm']:.0f}, back after"
            f" {s['low_idle_recovery_s']:.1f} s; off: up to {s['low_idle_highest_rpm']:.0f}",
        ),
    ]
    for kind, found in s["grade"].items():
        rows.append(
            (
                f"{kind} on a grade",
                f"pedal {s['pedal_percent']:g} %: {found['level_rpm']:.0f} rpm and {_torque(units, found['level_torque_n_m'])}"
                f" on the level, {found['one_percent_rpm']:.0f} rpm and"
                f" {_torque(units, found['one_percent_torque_n_m'])} on 1 %; {found['last_rpm']:.0f} rpm at the end"
                f" on {found['last_grade_percent']:.1f} %",
            )
        )
    return rows


def _motoring(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of the motoring curve."""
    return [
        (
            "to turn the engine",
            f"{_torque(units, s['highest_torque_n_m'])}, {_power(units, s['highest_power_kw'])} at"
            f" {s['highest_torque_rpm']:.0f} rpm",
        ),
        ("fuel", quantity_text(to_si(s["fuel_rate_g_s"], "g_s"), "fuel rate", units)),
        ("oil", quantity_text(to_si(s["oil_temperature_c"], "c"), "temperature", units)),
    ]


def _retarding(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of the engine-brake test."""
    rows = [
        (
            f"stage {stage}" if stage != "0" else "engine alone",
            f"{_power(units, power)} at {s['speed_rpm']:.0f} rpm",
        )
        for stage, power in s["retarding_power_kw"].items()
    ]
    for name, built in s["build_up"].items():
        if built["shares_percent"]:
            shares = ", ".join(
                f"{share:.0f} % after {wait:g} s"
                for wait, share in zip(built["read_after_s"], built["shares_percent"], strict=True)
            )
            rows.append((f"{name} as it builds", f"on {built['on_after_s']:.2f} s after the call; {shares}"))
        else:
            rows.append((f"{name} as it builds", "did not come on"))
    return rows


def _cylinders(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of the cut-out test."""
    lost = ", ".join(f"{name}: {share:.1f} %" for name, share in s["torque_lost_percent"].items())
    return [
        ("all cylinders", f"{_torque(units, s['torque_n_m'])} at {s['speed_rpm']:.0f} rpm"),
        ("torque lost, cutting out", lost),
    ]


ROWS: dict[str, Callable[[dict[str, Any], str], list[tuple[str, str]]]] = {
    "full-load": _full_load,
    "governor": _governor,
    "motoring": _motoring,
    "retarding": _retarding,
    "cylinders": _cylinders,
}


def _aborted(s: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Rows of a run that was broken off."""
    return [
        ("broken off after", quantity_text(s["run_s"], "time", units, 0)),
        *((row[0], f"{row[1]}; limit: {row[2]}") for row in gauge_rows(s["gauges"], units)),
    ]


def summary_rows(result: DynoResult, units: str) -> list[tuple[str, str]]:
    """The numbers of a dyno run in words.

    Parameters
    ----------
    units : str
        us, metric or both.
    """
    rows = _aborted if result.summary["verdict"] == "aborted" else ROWS[result.test]
    return rows(result.summary, units)


def _gauge_lines(gauges: list[dict[str, Any]], units: str) -> list[str]:
    """The table of gauges in columns, source last."""
    if not gauges:
        return []
    rows = [("reading", "found", "specified", "verdict", "by"), *gauge_rows(gauges, units)]
    widths = [max(len(row[place]) for row in rows) + 2 for place in range(4)]
    return ["  " + "".join(f"{cell:{width}}" for cell, width in zip(row, [*widths, 0], strict=True)) for row in rows]


def dyno_text(result: DynoResult, units: str) -> str:
    """What a person reads after a dyno run.

    Parameters
    ----------
    units : str
        us, metric or both.

    Returns
    -------
    text : str
        Verdict and warnings first, cautions last.
    """
    s = result.summary
    lines = [
        f"{s['verdict'].capitalize()}: {said(s['reading'], units)}",
        f"{s['truck']}, {s['test']} test, {s['form']}",
        *([f"Decided by {said(s['decides'], units)}"] if s["decides"] else []),
        *(f"  ! {said(warning, units)}" for warning in s["warnings"]),
        *(f"  {said(event, units)}" for event in s["events"]),
        "",
        *(f"  {name:30}{text}" for name, text in summary_rows(result, units)),
        "",
        *_gauge_lines(s["gauges"], units),
        "",
        *CAUTIONS,
    ]
    return "\n".join(lines)
