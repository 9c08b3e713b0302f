"""What a report says in words: verdicts, quantities in metric and US units, and the unit of every input."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dashboard.paper.markup import table, unfolded, wide
from sim.inputs.specs import Part, Settings, Truck, keys_of
from sim.trips.result import BRAKE_LIMIT_C, VERDICTS, Result, applications_text, peak_text
from sim.units import LITRE_PER_100KM, SYSTEMS, beside, clock_time, key_shown, key_value, quantity_text, to_si
from sim.wording import Finding, finding

NOT_STATED = "not stated"

Row = tuple[str, str, str]  # quantity, metric, US


def brakes_too_hot(summary: dict[str, Any]) -> bool:
    """Whether the mean brake temperature passed the published limit.

    Parameters
    ----------
    summary : dict
        Of a trip.
    """
    return bool(summary["max_brake_temperature_c"] > BRAKE_LIMIT_C)


def verdict(summary: dict[str, Any]) -> Finding:
    """How a trip ended and the worst about it; brakes past their limit come before everything else.

    Parameters
    ----------
    summary : dict
        Of a trip.
    """
    how, because, codes = VERDICTS[summary["ended"]], summary["ended_because"], summary["codes"]
    arrived = summary["ended"] == "arrived"
    if brakes_too_hot(summary):
        heat = {"temperature": to_si(summary["max_brake_temperature_c"], "c"), "limit": to_si(BRAKE_LIMIT_C, "c")}
        if arrived:
            return finding("verdict.brakes_past_limit", how=how, **heat)
        return finding("verdict.ended_with_brakes_past_limit", how=how, because=because, **heat)
    if not arrived:
        return finding("verdict.ended", how=how, because=because)
    if summary["warnings"]:
        return finding("verdict.warned", how=how, warning=summary["warnings"][0])
    if codes:
        code = finding("cause.code", **{key: codes[0][key] for key in ("spn", "fmi", "words")})
        if len(codes) == 1:
            return finding("verdict.code", how=how, code=code)
        return finding("verdict.codes", how=how, code=code, more=len(codes) - 1)
    return finding("verdict.sound", how=how)


def _row(name: str, value: float, kind: str, digits: int | None = None) -> Row:
    """A quantity in both systems of units. [SI]"""
    metric, us = (quantity_text(value, kind, units, digits) for units in SYSTEMS)
    return name, metric, us


def summary_rows(result: Result) -> list[Row]:
    """The trip in numbers.

    Returns
    -------
    rows : list of (str, str, str)
        Quantity, metric and US; the two are the same where a unit is everybody's.
    """
    s = result.summary

    def same(name: str, text: str) -> Row:
        return name, text, text

    def peak(name: str, key: str) -> Row:
        metric, us = (peak_text(s, key, units) for units in SYSTEMS)
        return name, metric, us

    def heat(name: str, celsius: float) -> Row:
        return _row(name, to_si(celsius, "c"), "temperature")

    rows = [
        _row("distance", s["distance_m"], "distance", 2),
        same("time", clock_time(s["time_s"])),
        _row("mean speed", s["mean_speed_m_s"], "speed"),
        peak("highest speed", "max_speed_m_s"),
        peak("highest engine speed", "max_engine_speed_rpm"),
        _row("end above the start", s["net_height_m"], "height"),
    ]
    if s["fuel_l_per_100km"] is not None:
        rows.append(_row("fuel economy", s["fuel_l_per_100km"] * LITRE_PER_100KM, "consumption"))
    rows += [
        _row("fuel", s["fuel_kg"], "fuel mass"),
        _row("carbon dioxide", s["co2_kg"], "mass", 1),
        same("gear shifts", f"{s['gear_shifts']}"),
        same(
            "engine brake, stages 1 / 2 / 3", " / ".join(clock_time(s["engine_brake_stage_time_s"][k]) for k in "123")
        ),
        same("stage changes", f"{s['stage_changes']}"),
        same("service-brake applications", applications_text(s, "metric")),
        peak("mean brake temperature, highest", "max_brake_temperature_c"),
        peak("hottest axle group", "max_hottest_brake_temperature_c"),
        heat("published limit of the mean [2]", BRAKE_LIMIT_C),
    ]
    for letter in "ab":
        published = s[f"max_published_brake_temperature_{letter}_c"]
        name = f"second opinion, published set {letter.upper()} [3]"
        rows.append(same(name, "this truck is outside that model") if published is None else heat(name, published))
    share = s["retarding_share"]
    rows += [
        _row("held back by the engine", share["engine"], "share"),
        _row("held back by air and tyres", share["air_and_tyres"], "share"),
        _row("held back by service brakes", share["service_brakes"], "share"),
        _row("above governed speed", s["time_over_governed_s"], "time"),
        _row("above the posted limit", s["time_over_limit_s"], "time"),
        peak("lowest tank pressure", "least_tank_pressure_kpa"),
        same("energy ledger closes to", f"{s['energy']['residual_fraction']:.1e}"),
    ]
    return rows


def shown_value(value: Any) -> str:
    """A value of an input as people read it.

    Examples
    --------
    >>> shown_value((1.0, 2.5)), shown_value(True), shown_value(())
    ('1, 2.5', 'true', 'none')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:.7g}"
    if isinstance(value, tuple):
        return (
            ", ".join(f"[{shown_value(item)}]" if isinstance(item, tuple) else shown_value(item) for item in value)
            or "none"
        )
    return str(value)


def input_text(value: Any, key: str, units: str) -> str:
    """A value of an input as readers of a system of units, or of both, read it; without its unit.

    Examples
    --------
    >>> input_text(80.0, "set_speed_km_h", "both"), input_text("snub", "style", "both")
    ('80 (49.71)', 'snub')
    """
    if units not in SYSTEMS:
        return beside(*(input_text(value, key, system) for system in SYSTEMS))
    return shown_value(key_value(value, key, units))


def input_rows(part: Truck | Settings, units: str = "both") -> Iterator[tuple[str, str, str, str]]:
    """Every input of a truck or of settings.

    Parameters
    ----------
    part : Truck or Settings
        As driven.
    units : str
        metric, us, or both.

    Yields
    ------
    key : str
        `table.key`.
    value : str
        [as shown]
    """
    for section, key in keys_of(type(part)):
        model: Part = getattr(part, section)
        meaning = type(model).model_fields[key].description or ""
        unit = (
            beside(*(key_shown(key, system)[0] for system in SYSTEMS))
            if units not in SYSTEMS
            else key_shown(key, units)[0]
        )
        yield f"{section}.{key}", input_text(getattr(model, key), key, units), unit, meaning


def mark_of(settings: Settings, name: str, units: str = "both") -> str:
    """Whether a setting is the default one.

    Parameters
    ----------
    settings : Settings
        As driven.
    name : str
        `table.key`.
    units : str
        metric, us, or both.

    Returns
    -------
    mark : str
        `default`, or what it was changed from.
    """
    table, key = name.split(".")
    usual = getattr(getattr(Settings(), table), key)
    if getattr(getattr(settings, table), key) == usual:
        return "default"
    return f"changed; default {input_text(usual, key, units)}"


INPUT_HEAD = ("input", "value", "unit", "meaning")
Input = tuple[str, ...]  # key, value, unit, meaning, and where it is from


def truck_rows(truck: Truck, sources: Mapping[str, str], units: str = "both") -> list[Input]:
    """Every input of a truck with its source."""
    return [(*row, sources.get(row[0], NOT_STATED)) for row in input_rows(truck, units)]


def settings_rows(settings: Settings, units: str = "both") -> list[Input]:
    """Every setting with what it was changed from."""
    return [(*row, mark_of(settings, row[0], units)) for row in input_rows(settings, units)]


def inputs_table(summary: str, rows: Sequence[Input], last: str) -> str:
    """Inputs as a part of a report that can be folded away.

    Parameters
    ----------
    last : str
        What the last column is called.
    """
    return unfolded(summary, wide(table((*INPUT_HEAD, last), rows)))
