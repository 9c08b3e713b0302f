"""A trip, or several side by side, as one HTML file that needs no network, no server and no other file.

The page may run the three scripts it was written with and nothing else: its content policy names them by their hashes and
allows no address outside. Two equal trips give equal bytes: the page carries no date and no time of calculation.
"""

from typing import Any

from dashboard.paper.markup import cautions, described, escaped, heading, paragraphs, said_list, table, unfolded, wide
from dashboard.paper.report_shell import LOOK, figure_place, page
from dashboard.paper.words import (
    INPUT_HEAD,
    NOT_STATED,
    brakes_too_hot,
    inputs_table,
    settings_rows,
    summary_rows,
    truck_rows,
    verdict,
)
from dashboard.trip.control_figure import chart_of, control_figure
from dashboard.trip.energy_figure import energy_figure, energy_shares, supplied_energy
from dashboard.trip.figures import comparison_figure, road_places, trip_figure
from sim.trips.books import HEAT_TERMS, energy_words
from sim.trips.compare import Comparison
from sim.trips.result import Result, code_state, frozen
from sim.units import clock_time, from_si, quantity_text
from sim.wording import event_name, said, value_said

LEVEL = 20.0  # m: a road that ends this far above or below its start gives or takes fuel worth naming
MOST_EVENTS = 3000  # rows of the event log in a report; events.csv has all

SOURCES = (
    "TM 9-2320-363-10, operator's manual: an engine brake works best from 1750 to 2100 rpm (published).",
    "Limit of the mean brake temperature, 500 F = 260 C: grade-severity model, Wyoming DOT report WY-1901F, 2018"
    " (published, second-hand).",
    "Published brake-temperature model, constant sets A (2018 update) and B (original): a second opinion with its own"
    " drums, its own air and its own idea of the engine; never mixed with this model's brakes. Five-axle trucks only"
    " (published, second-hand).",
)

CONTROL_LABEL = "Retarding force by gear and stage against speed, with lines for grades of 0 to 8 %"


def _sources() -> str:
    """What the numbers in brackets mean."""
    items = [f"[{number}] {text}" for number, text in enumerate(SOURCES, start=1)]
    return f"<h2>Sources of the lines drawn</h2>{paragraphs(items)}"


# ---------------------------------------------------------------- one trip


def _opening(result: Result) -> str:
    """Verdict, warnings, explanations, what was foreseen, cautions."""
    s = result.summary
    groups = (
        ("warning", "warning", "warnings"),
        ("why", "why", "explanations"),
        ("foreseen", "what will happen", "foreseen"),
    )
    first = [(kind, word, said(found, "both")) for kind, word, key in groups for found in s[key]]
    return (
        f"{heading(said(verdict(s), 'both'), bool(s['warnings']))}"
        f"{described([('truck', s['truck']), ('road', s['route'])], 'what')}{said_list(first)}{cautions()}"
    )


def _summary(result: Result) -> str:
    """The trip in numbers."""
    rows = summary_rows(result)
    half = (len(rows) + 1) // 2
    tables = "".join(table(("", "metric", "US"), part, numbers=(1, 2)) for part in (rows[:half], rows[half:]))
    note = "<p>Fuel has no credit for the height: not to be compared with that of other roads.</p>"
    level = abs(result.summary["net_height_m"]) <= LEVEL
    return f'<h2>The trip in numbers</h2><div class="pair">{tables}</div>{"" if level else note}'


def _codes(result: Result) -> str:
    """Codes of the controller with their freeze frames; nothing without any."""
    codes = result.summary["codes"]
    if not codes:
        return ""
    rows = [
        (
            code["spn"],
            code["fmi"],
            said(code_state(code), "both"),
            quantity_text(code["first_distance_m"], "distance", "both", 2),
            code["spn_mark"],
            said(frozen(code["freeze_frame"]), "both"),
        )
        for code in codes
    ]
    note = (
        "<p>Numbers and failure modes of SAE J1939 where its published descriptions name them; thresholds and actions are this"
        " model's own. The freeze frame is what the controller believed when the code was first set.</p>"
    )
    codes = table(("SPN", "FMI", "what", "first at", "source of the SPN", "freeze frame"), rows, numbers=(0, 1, 3))
    return f"<h2>Codes of the engine controller</h2>{note}{wide(codes)}"


def _places(result: Result) -> str:
    """What the numbers on the road stand for."""
    rows = [
        (number, f"{from_si(place, 'km'):.2f}", f"{from_si(place, 'mi'):.2f}", kind, text)
        for number, (place, kind, text) in enumerate(road_places(result), start=1)
    ]
    if not rows:
        return ""
    listed = table(("no.", "km", "mi", "what", "says"), rows, numbers=(0, 1, 2))
    return unfolded(f"Signs, stops and curves of the road ({len(rows)})", listed)


def _event_log(result: Result) -> str:
    """The event log; each kind can be hidden without a script."""
    kinds = {name: place for place, name in enumerate(sorted({event["event"] for event in result.events}))}
    counted = {name: sum(event["event"] == name for event in result.events) for name in kinds}
    style = "".join(
        f".filtered:has(#kind{place}:not(:checked)) tr.kind{place} {{ display: none; }}" for place in kinds.values()
    )
    boxes = "".join(
        f'<label><input type="checkbox" id="kind{place}" checked> {escaped(event_name({"event": name}))}'
        f" ({counted[name]})</label> "
        for name, place in kinds.items()
    )
    shown = result.events[:MOST_EVENTS]
    rows = [
        (
            clock_time(event["time_s"]),
            f"{from_si(event['distance_m'], 'km'):.3f}",
            f"{from_si(event['distance_m'], 'mi'):.3f}",
            event_name(event),
            said(event["cause"], "both"),
            value_said(event, "both"),
        )
        for event in shown
    ]
    head, marked = ("time", "km", "mi", "event", "reason", "value"), [f"kind{kinds[event['event']]}" for event in shown]
    listed = wide(table(head, rows, numbers=(0, 1, 2, 5), marked=marked), "small")
    total = len(result.events)
    more = f"<p>The first {MOST_EVENTS} of {total}; events.csv has all.</p>" if total > MOST_EVENTS else ""
    untick = '<p class="onscreen small">Untick a kind to hide it.</p>'
    log = unfolded(
        f"{total} {'event' if total == 1 else 'events'}",
        f'{more}{untick}<div class="filtered">{boxes}{listed}</div>',
    )
    return f"<h2>What happened, and why</h2><style>{style}</style>{log}"


def _energy(result: Result) -> str:
    """The ledger, drawn and in numbers."""
    book, supplied = result.summary["energy"], supplied_energy(result)
    parts = [("fuel", book["fuel"]), ("height given up", max(book["height_given_up"], 0.0))]
    parts.append(("speed at the start", book["kinetic_at_start"]))
    given = ", ".join(f"{name} {value / 1e6:.2f} MJ" for name, value in parts if value > 0.0)
    terms = "; ".join(f"{name} {value / 1e6:.4g} MJ" for name, value, _ in energy_shares(result))
    rows = [(energy_words(key), f"{book[key] / 1e6:.2f}") for key in HEAT_TERMS]
    listed = table(("heat of engine and brakes left by way of", "MJ"), rows, numbers=(1,))
    caption = (
        f"Supplied {supplied / 1e6:.2f} MJ: {escaped(given)}. Heat of combustion is what the pistons left of the"
        " fuel; flow and temperature of the exhaust, coolant and oil account for it. Every other bar has a law of its own. The"
        f" books close to {book['residual_fraction']:.1e} of what was supplied."
    )
    return f"<h2>Where the energy went</h2>{figure_place('energy', f'Bars: {terms}', caption)}{listed}"


def _inputs(result: Result) -> str:
    """Every number the trip was driven with."""
    truck, settings = truck_rows(result.truck, result.sources), settings_rows(result.settings)
    changed = [row for row in settings if row[4] != "default"]
    route = result.route
    marks = [(key, mark) for key, mark in sorted(route.marks.items())] or [("all numbers", NOT_STATED)]
    kept = (
        table((*INPUT_HEAD, "mark"), changed, "Settings changed from their defaults")
        if changed
        else "<p>All settings are the defaults.</p>"
    )
    return (
        f"<h2>Everything that went in</h2><p>Truck: {escaped(result.truck.name)}. Road: {escaped(route.title)}; "
        f"{escaped(route.source)}. Model version {escaped(result.summary['model_version'])}.</p>"
        f'<div class="small">{kept}'
        f"{unfolded('Road: marks of its numbers', table(('number', 'mark'), marks))}"
        f"{inputs_table(f'Truck: {len(truck)} numbers with their sources', truck, 'source and mark')}"
        f"{inputs_table(f'Settings: all {len(settings)}', settings, 'mark')}</div>"
    )


def trip_report(result: Result) -> str:
    """One trip as an HTML file."""
    chart = chart_of(result)
    where = (
        f"at {chart.elevation:.0f} m ({from_si(chart.elevation, 'ft'):.0f} ft) and"
        f" {from_si(chart.temperature, 'c'):.0f} C ({from_si(chart.temperature, 'f'):.0f} F)"
    )
    hot = "The brakes passed their published limit. " if brakes_too_hot(result.summary) else ""
    trip_caption = (
        f"{hot}{LOOK} The wider the line of the road, the higher the stage."
        " Numbers on the road are listed below. Every drawn point is a row of trace.csv; lowest and highest values and"
        " every event are kept."
    )
    control_caption = (
        "A grey line is what a grade asks for beyond air and tyres; where the curve of a gear and stage crosses it (x), that"
        " gear and stage hold the truck at that speed. Above the line the truck slows, below it the truck gains. Numbers at"
        " the curves are gears, drawn from 900 rpm to governed speed with the boost settled; marks are rows of this trip with"
        " the fuel off and the clutch locked, whose boost may still have been building and whose oil may be colder."
    )
    body = (
        f"{_opening(result)}{_summary(result)}{_codes(result)}"
        f'<h2 class="page">The trip along the road</h2>'
        f"{figure_place('trip', 'The trip over its distance, panel by panel; the same numbers stand in trace.csv', trip_caption)}"
        f"{_places(result)}"
        f'<h2 class="page">Which gear and stage hold this truck, {where}</h2>'
        f"{figure_place('control', CONTROL_LABEL, control_caption)}"
        f"{_energy(result)}{_event_log(result)}{_inputs(result)}{_sources()}"
    )
    figures = {
        "trip": (trip_figure(result), True),
        "control": (control_figure(result, chart), False),
        "energy": (energy_figure(result), False),
    }
    return page(f"{said(verdict(result.summary), 'both')} {result.summary['truck']}", body, figures)


# ---------------------------------------------------------------- several trips


def _counted(comparison: Comparison) -> str:
    """How many trips ended how, the worst first."""
    summaries = [result.summary for result in comparison.results]
    hot = [str(number) for number, summary in enumerate(summaries, start=1) if brakes_too_hot(summary)]
    words = {"runaway": "ran away", "stalled": "stalled", "time_limit": "ran out of time", "arrived": "arrived"}
    ends = []
    for how, word in words.items():
        trips = [str(number) for number, summary in enumerate(summaries, start=1) if summary["ended"] == how]
        if trips:
            ends.append(f"{word}: {', '.join(trips)}")
    first = f"Brakes past the published limit on trip {', '.join(hot)}. " if hot else ""
    return f"{first}Of {len(summaries)} {'trip' if len(summaries) == 1 else 'trips'}, {'; '.join(ends)}."


def _cell(kind: str, value: Any) -> str:
    """A value of the comparison in both systems of units."""
    if value is None:
        return "-"
    if kind == "ended":
        return event_name({"event": value})
    return clock_time(value) if kind == "clock" else quantity_text(value, kind, "both")


def _height_note(comparison: Comparison) -> str:
    """What to know before fuel of a road that is not level is compared with that of another."""
    gained = [result.summary["net_height_m"] for result in comparison.results]
    if all(abs(height) <= LEVEL for height in gained):
        return ""
    return (
        "<p>A road here ends higher or lower than it starts: its fuel has no credit for the height and cannot be compared with"
        " that of other roads.</p>"
    )


def comparison_report(comparison: Comparison) -> str:
    """Several trips side by side as an HTML file."""
    results = comparison.results
    first = [
        (kind, f"trip {number}", said(found, "both"))
        for number, result in enumerate(results, start=1)
        for kind, key in (("warning", "warnings"), ("why", "explanations"), ("foreseen", "foreseen"))
        for found in result.summary[key]
    ]
    keys = list(comparison.varied[0])
    trips = [
        (number, *(varied[key] for key in keys), said(verdict(result.summary), "both"))
        for number, (varied, result) in enumerate(zip(comparison.varied, results, strict=True), start=1)
    ]
    head = ("", *(f"trip {number}" for number in range(1, len(results) + 1)))
    rows = [(name, *(_cell(kind, value) for value in values)) for name, kind, values in comparison.rows()]
    trucks = "; ".join(dict.fromkeys(result.summary["truck"] for result in results))
    roads = "; ".join(dict.fromkeys(result.summary["route"] for result in results))
    caption = (
        "One colour and dash a trip in all panels; a click on a trip in the uppermost legend hides or shows it everywhere."
        f" {LOOK} Every drawn point is a row of that trip's trace."
    )
    versions = "; ".join(dict.fromkeys(result.summary["model_version"] for result in results))
    title = _counted(comparison)
    warned = any(result.summary["warnings"] for result in results)
    what = [("truck", trucks), ("road", roads), ("varied", ", ".join(keys))]
    side = f"{table(head, rows, numbers=range(1, len(head)))}{_height_note(comparison)}"
    body = (
        f"{heading(title, warned)}{described(what, 'what')}{said_list(first)}{cautions()}"
        f"<h2>The trips</h2>{wide(table(('trip', *keys, 'ended'), trips, numbers=(0,)))}"
        f"<h2>Side by side</h2>{wide(side, 'small')}"
        f'<h2 class="page">The trips along the road</h2>'
        f"{figure_place('trips', 'The trips over one another, panel by panel; the same numbers stand in the trace files', caption)}"
        f'<p class="small">Model version {escaped(versions)}.</p>{_sources()}'
    )
    return page(title, body, {"trips": (comparison_figure(comparison), True)})
