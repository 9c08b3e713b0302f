"""What a study answers, in plain words generated from its numbers, and how its quantities and keys are read by people.

Here `name` is a quantity of `sim.studies.quantities`, `key` a varied `table.key`, or truck, road, settings or case, and
`units` what people read: metric or us, and for texts both too.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.studies.answers import usable
from sim.studies.quantities import QUANTITIES
from sim.studies.question import WORDS, Study
from sim.studies.result import StudyResult
from sim.units import (
    LITRE_PER_100KM,
    MILE,
    US_GALLON,
    clock_time,
    from_si,
    number_text,
    shown_unit,
    shown_value,
    to_si,
    unit_name,
    unit_of_key,
)
from sim.units import quantity_text as units_text
from sim.wording import kinds_in, wordings

UNITS = ("metric", "us", "both")
MORE_IS_BETTER = (
    "fuel_mpg_us", "fuel_credited_mpg_us", "mean_speed_m_s", "top_gear_time_s", "least_tank_pressure_kpa",
)  # fmt: skip
MOST_NAMED = 4  # roads, cases or keys a sentence lists
SMALL_SHARE = 0.001  # of all differences; a key that decides less is not worth a word

# unit of a quantity -> what it is, and a unit or a factor to SI
_KINDS: dict[str, tuple[str, str | float]] = {
    "s": ("time", "s"),
    "m": ("short length", "m"),
    "m/s": ("speed", "m_s"),
    "rpm": ("engine speed", "rpm"),
    "kg": ("fuel mass", "kg"),
    "C": ("temperature", "c"),
    "kPa": ("gauge pressure", "kpa"),
    "kJ": ("heat", "kj"),
    "J": ("energy", "j"),
    "L/100 km": ("fuel use", LITRE_PER_100KM),
    "mi/gal": ("fuel economy", MILE / US_GALLON),
    "share": ("share", 1.0),
    "": ("number", 1.0),
}
_US_KEYS = {"km_h": "mi_h", "m_s": "mi_h", "kg": "lb", "t": "lb", "m": "ft", "km": "mi", "mm": "in", "c": "f", "kpa": "psi",
            "bar": "psi", "kw": "hp", "w": "hp", "n_m": "lb_ft", "n": "lbf"}  # fmt: skip
_SPELT = {"m2": "m²", "kg m2": "kg m²", "m/s2": "m/s²", "mph": "mi/h"}
# ---------------------------------------------------------------- quantities


def _kind_of(name: str) -> str:
    """What a quantity is, as `sim.units` names it."""
    return _KINDS[QUANTITIES[name][1]][0]


def _si(name: str, values: Any) -> Any:
    """A quantity in SI."""
    unit = _KINDS[QUANTITIES[name][1]][1]
    return to_si(values, unit) if isinstance(unit, str) else values * unit


def unit_shown(name: str, units: str) -> str:
    """The unit a quantity is shown in.

    Returns
    -------
    unit : str
        Empty for a plain number.

    Examples
    --------
    >>> unit_shown("fuel_l_per_100km", "us"), unit_shown("mean_speed_m_s", "metric")
    ('gal/100 mi', 'km/h')
    """
    return shown_unit(_kind_of(name), units)


def in_shown_unit(name: str, values: Any, units: str, difference: bool = False) -> Any:
    """A quantity in the unit it is shown in.

    Parameters
    ----------
    values : float or array
        [unit of the quantity]
    difference : bool
        Whether it is a difference of two values, which no zero point shifts.

    Returns
    -------
    values : float or array
        [unit shown]

    Examples
    --------
    >>> [round(in_shown_unit("max_brake_temperature_c", 100.0, "us", difference), 6) for difference in (False, True)]
    [212.0, 180.0]
    """
    kind = _kind_of(name)
    nothing = shown_value(_si(name, 0.0), kind, units) if difference else 0.0
    return shown_value(_si(name, values), kind, units) - nothing


def quantity_title(name: str, units: str) -> str:
    """Words and unit of a quantity, as an axis or a column is called.

    Examples
    --------
    >>> quantity_title("fuel_l_per_100km", "metric"), quantity_title("gear_shifts", "us")
    ('fuel, L/100 km', 'gear shifts')
    """
    unit = unit_shown(name, units)
    return f"{QUANTITIES[name][0]}, {unit}" if unit else QUANTITIES[name][0]


def is_clocked(name: str) -> bool:
    """Whether a quantity is read as minutes and seconds."""
    return name == "time_s" or name == "top_gear_time_s" or name.startswith("engine_brake_stage_")


def quantity_text(name: str, value: float | None, units: str, with_unit: bool = True) -> str:
    """A value of a quantity as people read it.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]
    with_unit : bool
        Whether the unit follows the number.

    Examples
    --------
    >>> quantity_text("max_brake_temperature_c", 260.0, "both"), quantity_text("time_s", 75.4, "us")
    ('260 °C (500 °F)', '1:15')
    >>> quantity_text("gear_shifts", 12.0, "metric"), quantity_text("gear_shifts", None, "metric")
    ('12', '-')
    """
    if value is None or np.isnan(value):
        return "-"
    if is_clocked(name):
        return clock_time(value)
    kind, si = _kind_of(name), _si(name, float(value))
    digits = _digits(kind, value)
    return (units_text if with_unit else number_text)(si, kind, units, digits)


def difference_text(name: str, value: float | None, units: str, with_unit: bool = True) -> str:
    """A difference of two values of a quantity, with its sign.

    Parameters
    ----------
    value : float or None
        [unit of the quantity]
    with_unit : bool
        Whether the unit follows the number.

    Examples
    --------
    >>> difference_text("max_brake_temperature_c", -10.0, "both")
    '-10 K (-18 °F)'
    """
    if value is None or np.isnan(value):
        return "-"
    kind = "temperature rise" if _kind_of(name) == "temperature" else _kind_of(name)
    si = _si(name, float(value)) - _si(name, 0.0)
    digits = _digits(kind, value)
    text = (units_text if with_unit else number_text)(si, kind, units, digits)
    return text if text.startswith("-") else f"+{text}".replace("(", "(+")


def _digits(kind: str, value: float) -> int | None:
    """Digits that differ from what is usual: shares are told finely, a mean of whole numbers shows that it is one."""
    if kind == "share":
        return 1
    return 1 if kind == "number" and not float(value).is_integer() else None


# ---------------------------------------------------------------- keys


def key_title(key: str, units: str) -> str:
    """A varied key in words with its unit.

    Examples
    --------
    >>> key_title("cruise.set_speed_km_h", "us"), key_title("vehicle.mass_kg", "metric"), key_title("road", "us")
    ('set speed, mi/h', 'vehicle mass, kg', 'road')
    """
    unit = key_unit(key, units)
    return f"{key_words(key)}, {unit}" if unit else key_words(key)


def key_words(key: str) -> str:
    """A varied key in words, without its unit.

    Examples
    --------
    >>> key_words("driveline.axle_ratio"), key_words("retarding.switch")
    ('axle ratio', 'retarding switch')
    """
    table, _, name = key.rpartition(".")
    unit = unit_of_key(name)
    words = name.removesuffix(f"_{unit}") if unit else name
    words = words.replace("_", " ")
    return words if " " in words or not table else f"{table.replace('_', ' ')} {words}"


def key_unit(key: str, units: str) -> str:
    """The unit a varied key is shown in.

    Returns
    -------
    unit : str
        Empty for a plain number or a text.
    """
    unit = unit_of_key(key)
    name = unit_name(_US_KEYS.get(unit, unit) if units == "us" else unit) if unit else ""
    return _SPELT.get(name, name)


def key_in_shown_unit(key: str, value: Any, units: str, difference: bool = False) -> Any:
    """A number of a key in the unit it is shown in.

    Parameters
    ----------
    value : float or array
        [unit of the key]
    difference : bool
        Whether it is a difference of two values.

    Returns
    -------
    value : float or array
        [unit shown]

    Examples
    --------
    >>> round(key_in_shown_unit("cruise.set_speed_km_h", 96.56064, "us"), 6)
    60.0
    """
    unit = unit_of_key(key)
    other = _US_KEYS.get(unit, unit)
    if units != "us" or other == unit:
        return value
    shift = from_si(to_si(0.0, unit), other) if difference else 0.0
    return from_si(to_si(value, unit), other) - shift


def key_text(key: str, value: Any, units: str) -> str:
    """A value of a varied key as people read it, with its unit.

    Parameters
    ----------
    value : Any
        Number or text in the unit of the key. [unit of the key]

    Examples
    --------
    >>> key_text("cruise.set_speed_km_h", "80", "both"), key_text("road", "ollen-pass", "us")
    ('80 km/h (49.7 mi/h)', 'ollen-pass')
    """
    if key in WORDS or key == "case":
        return str(value) or "defaults"
    try:
        number = float(value)
    except (TypeError, ValueError):
        return str(value)
    if units == "both":
        metric, us = (key_text(key, number, each) for each in ("metric", "us"))
        return metric if metric == us else f"{metric} ({us})"
    shown = key_in_shown_unit(key, number, units)
    text = f"{shown:.4g}" if abs(shown) < 1000.0 else f"{shown:.0f}"
    if shown != number and abs(shown) >= 10.0:
        text = f"{shown:.1f}" if abs(shown) < 100.0 else f"{shown:.0f}"
    unit = key_unit(key, units)
    return f"{text} {unit}" if unit else text


def trip_words(result: StudyResult, number: int, units: str) -> str:
    """What sets a trip apart, in words.

    Parameters
    ----------
    number : int
        Of the trip.
    """
    row = int(np.flatnonzero(result.column("number") == number)[0])
    refused = not result.driven[row] and not result.plan.study.best
    asked = result.plan.point(number).varied if refused else {}  # a value that cannot be used is in no column
    named = []
    for key in result.plan.varied_keys:
        value = asked[key] if asked else result.column(key)[row]
        text = key_text(key, str(value).lower() if isinstance(value, bool | np.bool_) else value, units)
        named.append(text if key in (*WORDS, "case") else f"{key_words(key)} {text}")
    return ", ".join(named)


# ---------------------------------------------------------------- warnings


def warning_counts(result: StudyResult) -> list[tuple[str, int]]:
    """How many trips carry which warning.

    Returns
    -------
    counts : list of (str, int)
        Kind of warning in words and number of trips, brakes first.
    """
    counts = {name: 0 for name in wordings() if name.startswith("warned.")}
    for text in result.column("warnings")[result.driven]:
        for kind in kinds_in(json.loads(text or "[]")):
            if kind.startswith("warning."):
                counts[kind.replace("warning.", "warned.")] += 1
    return [(wordings()[name], trips) for name, trips in counts.items() if trips]


def warned(result: StudyResult) -> np.ndarray:
    """Which trips carry a warning.

    Returns
    -------
    rows : array
        Shape (trips,), true or false.
    """
    return np.array([bool(text) for text in result.column("warnings")])


# ---------------------------------------------------------------- the answer


def answer_sentences(result: StudyResult, units: str = "both") -> list[str]:
    """The answer of a study in one to three sentences."""
    answers = result.answers
    if "fuel_test" in answers:
        return _fuel_test_sentences(answers["fuel_test"])
    if "best" in answers:
        return _best_sentences(result, answers["best"], units)
    name = result.report[0]
    if not answers["quantities"][name]["trips"]:
        return ["No trip of this study arrived, so there is nothing to compare."]
    if "cases" in answers and len(result.plan.axes) - ("road" in result.plan.axes) == 1:
        return _case_sentences(result, answers["cases"], units)
    if result.plan.study.sample:
        return _sample_sentences(result, name, units)
    return _grid_sentences(result, name, units)


def leads(name: str) -> str:
    """Whether the least or the most of a quantity is looked for.

    Returns
    -------
    word : str
        least or most.
    """
    return "most" if name in MORE_IS_BETTER else "least"


def _percent(value: float) -> str:
    """An amount of percent without a sign."""
    return f"{abs(value):.1f} %" if abs(value) < 10.0 else f"{abs(value):.0f} %"


def _fuel_test_sentences(verdict: Mapping[str, Any]) -> list[str]:
    """What the two trucks show."""
    saved, better, accuracy = (verdict[key] for key in ("saved_percent", "improvement_percent", "accuracy_percent"))
    if saved is None:
        return ["The test is not complete: a run is missing, so there is no result yet."]
    word = "saved" if saved >= 0.0 else "lost"
    texts = [
        f"Fuel {word}: {abs(saved):.2f} % of what was used before the change; the fuel economy is"
        f" {abs(better):.2f} % {'better' if better >= 0 else 'worse'}. These are two names of one result."
    ]
    faults = []
    for part in ("before", "after"):
        if not verdict[part]["in_band"]:
            faults.append(f"the ratios {part} the change do not lie within {verdict['band_percent']:g} %")
        if not verdict[part]["same_time"]:
            faults.append(f"the times {part} the change do not agree")
    if faults:
        texts.append(f"The test does not count: {' and '.join(faults)}; it must be driven again.")
    elif abs(saved) < accuracy:
        texts.append(
            f"The test counts, but such a test is good to about {accuracy:g} %: so small a change may be chance."
        )
    else:
        texts.append(f"The test counts: ratios and times agree. It is good to about {accuracy:g} %.")
    return texts


def _best_sentences(result: StudyResult, best: Mapping[str, Any], units: str) -> list[str]:
    """The answer key in words."""
    if "settings" not in best:
        return ["No trip of this search could be driven."]
    settings = ", ".join(f"{key_words(key)} {key_text(key, value, units)}" for key, value in best["settings"].items())
    word = "Most" if best["most"] else "Least"
    reached = f"{best['words']} {quantity_text(best['quantity'], best['quantities'][best['quantity']], units)}"
    if not best["found"]:
        broken = [
            f"{QUANTITIES[name][0]} {quantity_text(name, bound['value'], units)} ({bound['side']}"
            f" {quantity_text(name, bound['bound'], units)})"
            for name, bound in best["bounds"].items()
            if _breaks(bound)
        ]
        why = f" It breaks: {'; '.join(broken)}." if broken else " It did not arrive."
        return [f"None of the {best['trips']} trips keeps every bound. The nearest: {settings}.{why}"]
    texts = [f"{word} within the bounds: {reached}, with {settings} (trip {best['number']})."]
    held = holding_back(best)
    if held:
        named = [
            f"{QUANTITIES[name][0]} ({quantity_text(name, best['bounds'][name]['value'], units)} of"
            f" {best['bounds'][name]['side']} {quantity_text(name, best['bounds'][name]['bound'], units)})"
            for name in held
        ]
        texts.append(f"Held back by: {', '.join(named)}.")
    elif best["bounds"]:
        texts.append("No bound holds it back. A single step beyond a bound would not be better.")
    if best["all_driven"]:
        texts.append(f"All {best['combinations']} combinations were driven.")
    else:
        step = "No single step is better" if best["no_step_betters"] else "Not every single step from it was driven"
        texts.append(f"{step}; {best['trips']} of {best['combinations']} combinations were driven.")
    return texts


def holding_back(best: Mapping[str, Any]) -> list[str]:
    """The bounds that hold an answer back.

    Parameters
    ----------
    best : mapping
        As `sim.studies.best.best_of` gives it.

    Returns
    -------
    names : list of str
        Those that a single step towards more breaks.
    """
    return [name for name, bound in best["bounds"].items() if bound["holds_back"]]


def _breaks(bound: Mapping[str, Any]) -> bool:
    """Whether a bound is broken."""
    over = bound["value"] - bound["bound"]
    return bool(np.isnan(over) or (over > 0.0 if bound["side"] == "at most" else over < 0.0))


def _case_sentences(result: StudyResult, cases: Mapping[str, Any], units: str) -> list[str]:
    """What each case does against the first."""
    name = result.report[0]
    words = QUANTITIES[name][0]
    rows = [row for row in cases[name] if row["percent"] is not None]
    others = [row for row in rows if row["case"] != cases[name][0]["case"]]
    if not others:
        return ["No case can be compared with the first: their trips did not arrive."]
    order = sorted(others, key=lambda row: row["percent"], reverse=leads(name) == "most")
    better = [row for row in order if (row["percent"] > 0.0) == (leads(name) == "most") and abs(row["percent"]) >= 0.05]
    first = cases[name][0]
    start = f'Against "{first["case"]}" ({words} {quantity_text(name, first["value"], units)})'
    if len(set(result.column("road").tolist())) > 1:
        start += ", mean of the roads"
    listed = "; ".join(f"{row['case']} {row['percent']:+.1f} %" for row in order)
    texts = [f"{start}: {listed}."]
    if better:
        verb = "adds most" if leads(name) == "most" else "saves most"
        best = better[0]
        texts.append(
            f'"{best["case"]}" {verb}: {difference_text(name, best["difference"], units)} of {words},'
            f" {_percent(best['percent'])}."
        )
        if "time_s" in cases and name != "time_s":
            time = next(row for row in cases["time_s"] if row["case"] == best["case"])
            if time["percent"] is not None and abs(time["percent"]) >= 0.05:
                texts.append(f"It takes {_percent(time['percent'])} {'more' if time['percent'] > 0 else 'less'} time.")
    else:
        texts.append(f"No case is better than the first in {words}.")
    return texts


def _grid_sentences(result: StudyResult, name: str, units: str) -> list[str]:
    """Where the least lies on each road, and what decides."""
    texts = []
    words, word = QUANTITIES[name][0], leads(name)
    roads = list(dict.fromkeys(result.column("road").tolist()))
    keys = [key for key in result.plan.varied_keys if key != "road"]
    values = result.column(name).astype(float)
    good = usable(result, name)
    found = []
    for road in roads[:MOST_NAMED]:
        rows = np.flatnonzero(good & (result.column("road") == road))
        if not len(rows):
            found.append(f"on {road} no trip arrived")
            continue
        order = rows[np.argsort(values[rows], kind="stable")]
        low, high = (order[0], order[-1]) if word == "least" else (order[-1], order[0])
        number = int(result.column("number")[low])
        where = trip_words(result, number, units)
        if len(roads) > 1 and "road" in result.plan.varied_keys:
            where = where.replace(f"{road}, ", "").replace(f", {road}", "")
        text = f"on {road} {where} ({quantity_text(name, values[low], units)}"
        ties = int(np.sum(np.abs(values[rows] - values[low]) <= 1e-9 * max(abs(values[low]), 1.0)))
        text += f", as {ties - 1} others" if ties > 1 else ""
        text += _against(name, values[low], values[high], units)
        found.append(text + ")")
    more = f"; and {len(roads) - MOST_NAMED} more roads" if len(roads) > MOST_NAMED else ""
    texts.append(f"{word.capitalize()} {words}: {'; '.join(found)}{more}.")
    shares = {key: entry["share"] for key, entry in result.answers["effects"].get(name, {}).items()}
    if len(keys) > 1 and all(share is not None for share in shares.values()) and shares:
        order_of = sorted(((share, key) for key, share in shares.items() if share >= SMALL_SHARE), reverse=True)
        listed = ", ".join(f"{key_words(key)} {100.0 * share:.0f} %" for share, key in order_of[:MOST_NAMED])
        together = sum(result.answers["interactions"].get(name, {}).values())
        texts.append(
            f"How much of the differences in {words} each explains alone: {listed}. Pairs explain {100.0 * together:.0f} %."
        )
    if name != "time_s" and "time_s" in result.report and len(keys) == 1:
        texts += _time_sentence(result, name, keys[0], units)
    return texts


def _against(name: str, best: float, worst: float, units: str) -> str:
    """How far the worst is from the best."""
    if worst == best:
        return "; all trips the same"
    text = f"; the worst {quantity_text(name, worst, units)}"
    percents = name.startswith("fuel") or name in ("time_s", "co2_kg")
    return text + (f", {100.0 * (worst - best) / best:+.1f} %" if percents and best else "")


def _time_sentence(result: StudyResult, name: str, key: str, units: str) -> list[str]:
    """What the least of a quantity costs in time against the fastest trip of the same road."""
    both = usable(result, name) & usable(result, "time_s")
    texts = []
    for road in dict.fromkeys(result.column("road").tolist()):
        rows = np.flatnonzero(both & (result.column("road") == road))
        if len(rows) < 2:
            continue
        values, times = result.column(name)[rows].astype(float), result.column("time_s")[rows].astype(float)
        best = int(np.argmax(values) if leads(name) == "most" else np.argmin(values))
        fast = int(np.argmin(times))
        if best != fast and times[best] - times[fast] >= 1.0:
            at = key_text(key, result.column(key)[rows[fast]], units)
            texts.append(f"on {road} {_span_text(times[best] - times[fast])} more than with {at}")
    return [f"That costs time: {'; '.join(texts[:MOST_NAMED])}."] if texts else []


def _span_text(seconds: float) -> str:
    """A length of time in words."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def swings(result: StudyResult, name: str) -> list[tuple[str, float, float, float]]:
    """What each varied number does to a quantity over its whole range, by the straight-line fit, the largest first.

    Returns
    -------
    swings : list of (str, float, float, float)
        Key, low and high end of its range, and change of the quantity from one to the other. [-, as named]
    """
    found = []
    for key, entry in result.answers.get("sensitivity", {}).get(name, {}).get("keys", {}).items():
        values = result.column(key).astype(float)[usable(result, name)]
        low, high = float(values.min()), float(values.max())
        found.append((key, low, high, entry["per_unit"] * (high - low)))
    return sorted(found, key=lambda each: -abs(each[3]))


def _sample_sentences(result: StudyResult, name: str, units: str) -> list[str]:
    """What each input does, by the straight-line fit."""
    entry = result.answers["sensitivity"].get(name)
    ranked = swings(result, name)
    words = QUANTITIES[name][0]
    if not ranked or not entry:
        return [f"Too few trips arrived to say what {words} depends on."]
    parts = [
        f"{key_words(key)} {difference_text(name, swing, units)} from {key_text(key, low, units)} to {key_text(key, high, units)}"
        for key, low, high, swing in ranked[:MOST_NAMED]
    ]
    texts = [f"Over the ranges asked, {words} depends most on {key_words(ranked[0][0])}: {'; '.join(parts)}."]
    if entry["explained"] is not None:
        others = [word for word in (*WORDS, "case") if len(result.plan.axes.get(word, ())) > 1]
        leave = "leave" if len(others) > 1 else "leaves"
        left = f"that the {' and the '.join(others)} {leave} between the trips" if others else "between the trips"
        texts.append(f"Straight lines explain {100.0 * entry['explained']:.1f} % of the differences {left}.")
    return texts


def shared_words(study: Study) -> list[str]:
    """What all trips of a study share.

    Returns
    -------
    words : list of str
        Truck, road, settings where they are not varied, and what is set.
    """
    named = [f"{word} {getattr(study, word)}" for word in WORDS if getattr(study, word)]
    return [*named, *study.changes]


def trips_text(result: StudyResult) -> str:
    """How many trips were driven, of how many; a search drives as many as it needs."""
    counts = result.answers["trips"]
    if result.plan.study.best:
        return f"{counts['finished']} trips driven, {counts['asked']} at most"
    return f"{counts['finished']} of {counts['asked']} trips"
