"""A few trips side by side: the same trip again and again with one thing, or a grid of things, changed."""

import itertools
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sim.errors import HaulbenchError, SettingsError
from sim.inputs.files import split_changes
from sim.inputs.one_trip import Inputs, read_inputs
from sim.messages import comparison as comparison_messages
from sim.trips.result import Result
from sim.units import LITRE_PER_100KM, to_si, unit_of_key

MOST_TRIPS = 24
WORDS = ("truck", "road", "settings")

# row of the table: name, what it is (a kind of `sim.units`, clock or ended), where it stands in the summary
ROWS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("ended", "ended", ("ended",)),
    ("time", "clock", ("time_s",)),
    ("mean speed", "speed", ("mean_speed_m_s",)),
    ("highest speed", "speed", ("max_speed_m_s",)),
    ("highest engine speed", "engine speed", ("max_engine_speed_rpm",)),
    ("fuel", "consumption", ("fuel_l_per_100km",)),
    ("gear shifts", "number", ("gear_shifts",)),
    ("service-brake applications", "number", ("service_brake_applications",)),
    ("of these for a stop", "number", ("service_brake_applications_for", "stop")),
    ("for a limit or curve", "number", ("service_brake_applications_for", "limit_or_curve")),
    ("on a descent", "number", ("service_brake_applications_for", "descent")),
    ("time in stage 1", "clock", ("engine_brake_stage_time_s", "1")),
    ("time in stage 2", "clock", ("engine_brake_stage_time_s", "2")),
    ("time in stage 3", "clock", ("engine_brake_stage_time_s", "3")),
    ("stage changes", "number", ("stage_changes",)),
    ("highest mean brake temperature", "temperature", ("max_brake_temperature_c",)),
    ("hottest axle's brakes", "temperature", ("max_hottest_brake_temperature_c",)),
    ("published model, set A", "temperature", ("max_published_brake_temperature_a_c",)),
    ("published model, set B", "temperature", ("max_published_brake_temperature_b_c",)),
    ("over governed speed", "time", ("time_over_governed_s",)),
    ("over the limit", "time", ("time_over_limit_s",)),
    ("held by the engine", "share", ("retarding_share", "engine")),
    ("held by service brakes", "share", ("retarding_share", "service_brakes")),
)


@dataclass(frozen=True)
class Variant:
    """One trip of a comparison, before it is driven: what is varied, as given, and everything it is driven with."""

    varied: dict[str, str]
    inputs: Inputs


@dataclass(frozen=True)
class Comparison:
    """Finished trips, side by side.

    Parameters
    ----------
    labels : tuple of str
        What sets each trip apart, for a legend.
    varied : tuple of dict
        Varied key and value of each trip, as given.
    results : tuple of Result
        In the same order.
    """

    labels: tuple[str, ...]
    varied: tuple[dict[str, str], ...]
    results: tuple[Result, ...]

    def rows(self) -> list[tuple[str, str, list[Any]]]:
        """The quantities worth comparing, one row each.

        Returns
        -------
        rows : list of tuple
            Name, what it is, and one value a trip, None where a trip has none. [SI]
        """
        return [(name, kind, [_found(result.summary, path) for result in self.results]) for name, kind, path in ROWS]


def _found(summary: dict[str, Any], path: tuple[str, ...]) -> Any:
    """A value of a summary by its path. [SI]"""
    value: Any = summary
    for step in path:
        value = value[step]
    if value is None or isinstance(value, str):
        return value
    key = path[0]
    return value * LITRE_PER_100KM if key == "fuel_l_per_100km" else to_si(value, unit_of_key(key))


def compare_trips(
    vary: Mapping[str, Sequence[Any]],
    route: str | None = None,
    truck: str | None = None,
    settings: str | None = None,
    changes: Sequence[str] = (),
) -> Comparison:
    """Drives all combinations of the values of what is varied.

    Parameters
    ----------
    vary : mapping
        Values by key: `table.key` of truck or settings, `truck`, `road` or `settings`. The last key varies fastest.
    route : str or None
        Name, path or `grade:-6%,10km,1100m`; None for the road of the settings.
    truck : str or None
        Name or path; None for the truck of the settings.
    settings : str or None
        Name or path; None for the defaults.
    changes : sequence of str
        `table.key=value`, the same for all trips.

    Raises
    ------
    HaulbenchError
        An input cannot be used, or the model refuses a combination; the message names it.

    Examples
    --------
    >>> both = compare_trips({"drill.hold_gear": [8, 9]}, "grade:0%,1km", "long-haul-manual")
    >>> both.labels, [result.summary["ended"] for result in both.results]
    (('8', '9'), ['arrived', 'arrived'])
    """
    return drive_variants(read_variants(vary, route, truck, settings, changes))


def read_vary(texts: Sequence[str]) -> dict[str, list[str]]:
    """Reads `KEY=a,b,c`, once for each key.

    Parameters
    ----------
    texts : sequence of str
        As typed. Commas inside brackets do not split, nor do those of a constant grade.

    Returns
    -------
    vary : dict
        Values, as given, by key.

    Raises
    ------
    SettingsError
        Not of that form, without a value, or a key comes twice.
    """
    vary: dict[str, list[str]] = {}
    for text in texts:
        key, equals, values = (part.strip() for part in text.partition("="))
        if not equals or not key:
            raise SettingsError(comparison_messages.no_equals_sign(text=text))
        if key in vary:
            raise SettingsError(comparison_messages.key_twice(key=key))
        vary[key] = _split_values(values, grades=key == "road")
    return vary


def _split_values(text: str, grades: bool) -> list[str]:
    """Splits at commas outside brackets; a constant grade keeps the numbers behind it."""
    pieces, depth = [""], 0
    for letter in text:
        depth += (letter in "[(") - (letter in "])")
        if letter == "," and depth <= 0:
            pieces.append("")
        else:
            pieces[-1] += letter
    values: list[str] = []
    for piece in (piece.strip() for piece in pieces):
        belongs = grades and values and values[-1].startswith("grade:") and values[-1].count(",") < 2
        if belongs and re.match(r"[+-]?\.?[0-9]", piece) and not piece.lower().endswith(".csv"):
            values[-1] += f",{piece}"
        else:
            values.append(piece)
    return values


def read_variants(
    vary: Mapping[str, Sequence[Any]],
    route: str | None = None,
    truck: str | None = None,
    settings: str | None = None,
    changes: Sequence[str] = (),
    otherwise: tuple[str, str] = ("", ""),
) -> list[Variant]:
    """Reads and checks the inputs of all combinations; drives nothing.

    Parameters
    ----------
    vary : mapping
        As in `compare_trips`.
    route : str or None
        Road asked for.
    truck : str or None
        Truck asked for.
    settings : str or None
        Settings asked for.
    changes : sequence of str
        `table.key=value`, the same for all trips.
    otherwise : tuple of str
        Road and truck when neither is asked for nor named by the settings; empty for none.

    Returns
    -------
    variants : list of Variant
        The last key varies fastest.

    Raises
    ------
    HaulbenchError
        What is varied makes no sense, or a combination cannot be driven; the message names it.
    """
    values = {key: [_text(value) for value in given] for key, given in vary.items()}
    _check_vary(values, changes, {"road": route, "truck": truck, "settings": settings})
    grid = list(itertools.product(*values.values()))
    variants = []
    for number, combination in enumerate(grid, start=1):
        varied = dict(zip(values, combination, strict=True))
        own = [f"{key}={value}" for key, value in varied.items() if key not in WORDS]
        try:
            inputs = read_inputs(
                varied.get("road", route),
                varied.get("truck", truck),
                varied.get("settings", settings),
                [*changes, *own],
                otherwise,
            )
        except HaulbenchError as problem:
            raise _named(problem, varied, number, len(grid)) from None
        variants.append(Variant(varied, inputs))
    from sim.trips.trip import check_together

    for number, variant in enumerate(variants, start=1):
        try:
            check_together(variant.inputs.truck.truck, variant.inputs.settings)
        except HaulbenchError as problem:
            raise _named(problem, variant.varied, number, len(grid)) from None
    return variants


def drive_variants(variants: Sequence[Variant], progress: Callable[[int, int], None] | None = None) -> Comparison:
    """Drives trips that are read and checked.

    Parameters
    ----------
    progress : callable or None
        Called before each trip with its number, from 1, and how many there are.

    Raises
    ------
    HaulbenchError
        The model refuses a combination; the message names it. Trucks are checked against the laws before the first trip.
    """
    from sim.march.assemble import assembled
    from sim.trips.trip import run_trip

    total = len(variants)
    results: list[Result] = []
    for driving in (False, True):
        for number, variant in enumerate(variants, start=1):
            inputs = variant.inputs
            try:
                if not driving:
                    assembled(inputs.truck.truck, inputs.settings, inputs.route.start_elevation)
                    continue
                if progress is not None:
                    progress(number, total)
                results.append(run_trip(inputs.truck, inputs.route, inputs.settings))
            except HaulbenchError as problem:
                raise _named(problem, variant.varied, number, total) from None
    varied = tuple(variant.varied for variant in variants)
    return Comparison(tuple(" / ".join(each.values()) for each in varied), varied, tuple(results))


def _text(value: Any) -> str:
    """A value as it is typed."""
    return str(value).lower() if isinstance(value, bool) else str(value)


def _check_vary(values: dict[str, list[str]], changes: Sequence[str], asked: dict[str, str | None]) -> None:
    """Refuses keys that do not exist or are given twice, lists without values, and too many trips."""
    if not values:
        raise SettingsError(comparison_messages.nothing_varied())
    given = {change.partition("=")[0].strip() for change in changes}
    for key, each in values.items():
        if not each or not all(each):
            raise SettingsError(comparison_messages.value_missing(key=key, values=each))
        repeated = next((value for value in each if each.count(value) > 1), None)
        if repeated is not None:
            raise SettingsError(comparison_messages.value_twice(key=key, value=repeated))
        if key in WORDS:
            if asked[key]:
                raise SettingsError(comparison_messages.asked_and_varied(key=key, asked=str(asked[key])))
            continue
        try:
            split_changes([f"{key}={each[0]}"])
        except SettingsError as problem:
            words = WORDS if "." not in key else ()
            raise SettingsError(comparison_messages.no_such_key(problem=str(problem), words=words)) from None
        if key in given:
            raise SettingsError(comparison_messages.set_and_varied(key=key))
    trips = 1
    for each in values.values():
        trips *= len(each)
    if trips > MOST_TRIPS:
        raise SettingsError(
            comparison_messages.too_many_trips(
                keys=list(values), counts=[len(each) for each in values.values()], trips=trips, most=MOST_TRIPS
            )
        )


def _named(problem: HaulbenchError, varied: dict[str, str], number: int, total: int) -> HaulbenchError:
    """The same problem with the combination it comes from."""
    combination = ", ".join(f"{key}={value}" for key, value in varied.items())
    return type(problem)(
        comparison_messages.in_trip(number=number, total=total, combination=combination, problem=str(problem))
    )
