"""A dyno run as one HTML file with its lab sheet; the page itself is that of `dashboard.trip.report`."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.dyno.figures import dyno_figures
from dashboard.paper.markup import Markup, cautions, described, escaped, heading, paragraphs, said_list, table, wide
from dashboard.paper.report_shell import figure_place, page
from dashboard.paper.words import input_rows, inputs_table, settings_rows, truck_rows
from sim.dyno.faults import FAULTS
from sim.dyno.gauges import gauges_table
from sim.dyno.lab import RUBRIC, Entry
from sim.dyno.result import CAUTIONS, DynoResult, worded
from sim.dyno.words import summary_rows
from sim.inputs.specs import Condition
from sim.units import from_si, to_si, unit_name, unit_of_key
from sim.wording import said

TITLES = {
    "full-load": "Full-load run",
    "governor": "Governor tests",
    "motoring": "Motoring curve",
    "retarding": "Engine brake on the dyno",
    "cylinders": "Cylinder cut-out",
}
# name of a figure: what it shows, and what to look for; HTML
CAPTIONS = {
    "aborted": (
        "Engine speed and load over time, up to where the run was broken off",
        "The limit that ended it stands in the table of gauges.",
    ),
    "curve": (
        "Torque, power, fuel and boost against engine speed; the same numbers stand in trace.csv",
        "Behind: the reference with its band. Line: the whole run in its order, from no load above governed speed down; open"
        " circles: what was read or settled; of settled steps only these are drawn. A quick sweep that comes back up opens into"
        " a loop, because boost needs time; a slow one closes.",
    ),
    "speeds": (
        "Engine speed and load over time; the same numbers stand in trace.csv",
        "High idle, loaded to where the governor lets go (N1), load off (N2 highest, N3 settled), load on (N5 lowest, N6"
        " settled), then low idle with a load switched on and off. N2 lies above N3 only where the governor answers late.",
    ),
    "grade": (
        "Engine speed and torque of two kinds of governor over the grade of the road",
        "The truck with its pedal held still on a road that rises, once with each kind of governor, driven by the kernel of a"
        " trip. Limiting-speed: torque stays, speed goes. All-speed: speed stays, torque rises.",
    ),
    "motoring": (
        "Torque and power to turn the engine against engine speed",
        "No fuel; the absorber drives. Behind: a sound engine.",
    ),
    "retarding": (
        "Retarding torque and power by stage against engine speed",
        "The absorber drives, the boost has settled at each speed; engine friction is included.",
    ),
    "build": (
        "Retarding torque and boost of each stage from its call on",
        "Delay of the switch, then at once what the outside air gives, then the boost that builds.",
    ),
    "cylinders": (
        "Bars: torque lost with each cylinder cut out",
        "Full pedal at a held speed. A cylinder whose bar is missing gave nothing before.",
    ),
}
SOURCES = (
    "Speeds 100 +/- 20 rpm apart, 15 s each, mean of the last 5 s: 40 CFR 1065.510, 2004 (published). Motoring curve swept at"
    " 8 +/- 1 rpm/s: Regulation (EU) 2017/2400, Annex V (published).",
    "Power correction for diesels: ISO 1585 and UN Regulation 85, form seen second-hand, some exponents from memory; valid from"
    " 0.9 to 1.1 (common practice). The formula for spark-ignition engines is not used.",
    "Torque in percent of a reference torque, load at the present speed: SAE J1939, seen second-hand, definitions from memory.",
    "Droop by three speeds, the signs of faults, 5 % about a baseline, 20 to 25 % less power at the wheels: common practice, no"
    " source. Rubric: derived here, on a scale of common practice.",
    "The air of the model is dry, so that the barometer is the dry barometer of the correction.",
)
STYLE = """
.big { display: flex; flex-wrap: wrap; gap: 10px 34px; margin: 12px 0; }
.big div { min-width: 8em; } .big b { display: block; font-size: 2.1rem; line-height: 1.1; font-variant-numeric: tabular-nums; }
.big span { color: var(--quiet); }
.sheet input[type=text], .sheet textarea { font: inherit; color: inherit; background: #fff; border: 1px solid var(--rule);
  width: 100%; padding: 2px 4px; } .sheet textarea { min-height: 3.4em; resize: vertical; }
.sheet td input[type=text] { min-width: 6.5em; width: 8em; }
.sheet dl { display: grid; grid-template-columns: minmax(11em, max-content) 1fr; gap: 6px 14px; }
.sheet dt { font-weight: bold; } .sheet dd { margin: 0; }
.read th.number { white-space: normal; vertical-align: bottom; }
.sheet fieldset { border: 1px solid var(--rule); margin: 8px 0; } .sheet fieldset label { display: block; }
@media print { .sheet input[type=text], .sheet textarea { border: 0; border-bottom: 1px solid #000;
  border-radius: 0; resize: none; }
  .sheet dl, .sheet fieldset, .big { break-inside: avoid; } .big b { font-size: 1.5rem; } }
"""
# columns of the table of points: name, heading, digits, and the US unit beside it
POINT_COLUMNS = (
    ("stage", "stage", 0, ""), ("cylinder_cut", "cylinder cut out", 0, ""), ("engine_speed_rpm", "rpm", 0, ""),
    ("engine_torque_n_m", "torque, N m", 0, "lb_ft"), ("power_kw", "power, kW", 1, "hp"),
    ("wheel_power_kw", "at the rollers, kW", 1, "hp"), ("corrected_power_kw", "corrected, kW", 1, ""),
    ("rated_torque_n_m", "rated, N m", 0, ""), ("reference_wheel_power_kw", "sound, kW", 1, ""),
    ("deviation_percent", "off, %", 1, ""), ("fuel_rate_g_s", "fuel, g/s", 2, ""), ("bsfc_g_kwh", "g/kWh", 1, ""),
    ("boost_kpa", "boost, kPa", 0, "psi"), ("actual_torque_percent", "torque told, %", 0, ""),
    ("friction_torque_percent", "friction told, %", 0, ""), ("load_percent", "load told, %", 0, ""),
    ("limiter", "limiter", 0, ""), ("intake_depression_kpa", "intake restriction, kPa", 1, "inh2o"),
    ("back_pressure_kpa", "exhaust back pressure, kPa", 1, "inh2o"), ("charge_temperature_c", "behind compressor, C", 0, "f"),
    ("intake_temperature_c", "behind cooler, C", 0, "f"), ("exhaust_temperature_c", "exhaust, C", 0, "f"),
    ("air_fuel_ratio", "air per fuel", 1, ""), ("opacity_percent", "opacity, %", 1, ""),
    ("fuel_pressure_kpa", "fuel pressure, kPa", 0, "psi"), ("blow_by_l_min", "blow-by, L/min", 0, ""),
    ("motoring_torque_n_m", "torque, N m", 1, "lb_ft"),
    ("motoring_power_kw", "power, kW", 1, "hp"), ("expected_torque_n_m", "sound engine, N m", 1, ""),
    ("retarding_torque_n_m", "torque, N m", 0, "lb_ft"), ("retarding_power_kw", "power, kW", 1, "hp"),
    ("active_cylinders", "cylinders", 0, ""), ("torque_lost_percent", "torque lost, %", 1, ""),
)  # fmt: skip


def _number(value: float, digits: int) -> str:
    """A number of the table, a dash for none."""
    return f"{value:.{digits}f}" if np.isfinite(value) else "-"


def _points(result: DynoResult) -> str:
    """What was read, row by row."""
    points = result.points
    head, cells = [], []
    corrected = result.settings.dyno.correction != "none"
    for name, shown, digits, us in POINT_COLUMNS:
        if name not in points or (name == "corrected_power_kw" and not corrected):
            continue
        head.append(shown)
        if name == "limiter":
            cells.append([str(word) for word in worded(name, points[name])])
            continue
        cells.append([_number(float(value), digits) for value in points[name]])
        if us:
            unit = unit_of_key(name)
            head.append(unit_name(us) if us != "lb_ft" else "lb ft")
            cells.append([_number(from_si(to_si(float(value), unit), us), digits) for value in points[name]])
    rows = table(head, zip(*cells, strict=True), numbers=range(len(head)))
    return f"<h2>Read and settled</h2>{wide(rows, 'small read')}"


def _gauges(gauges: Sequence[Mapping[str, Any]]) -> str:
    """Each gauge beside what is specified, in both systems of units."""
    if not gauges:
        return ""
    columns = gauges_table(gauges)
    rows = wide(table(tuple(columns), zip(*columns.values(), strict=True)), "small")
    return f"<h2>Gauges beside what is specified</h2>{rows}"


def _readings(result: DynoResult) -> str:
    """The numbers for the back row."""
    s = result.summary
    if s["verdict"] == "aborted":
        shown = [("broken off after", f"{s['run_s']:.0f} s")]
    elif result.test == "full-load":
        shown = [
            ("highest torque", f"{s['peak_torque_n_m']:.0f} N m"),
            ("highest power", f"{s['peak_power_kw']:.0f} kW"),
            ("largest deviation", f"{s['worst_deviation_percent']:+.1f} %"),
            ("without load", f"{s['start_rpm']:.0f} rpm"),
        ]
    elif result.test == "governor":
        shown = [
            ("loaded, N1", f"{s['loaded_rpm']:.0f} rpm"),
            ("highest, N2", f"{s['highest_rpm']:.0f} rpm"),
            ("settled, N3", f"{s['settled_rpm']:.0f} rpm"),
            ("steady droop", f"{s['steady_droop_percent']:.2f} %"),
        ]
    elif result.test == "motoring":
        shown = [
            ("to turn the engine", f"{s['highest_torque_n_m']:.0f} N m"),
            ("power", f"{s['highest_power_kw']:.0f} kW"),
        ]
    elif result.test == "retarding":
        powers = s["retarding_power_kw"].items()
        shown = [(f"stage {name}" if name != "0" else "engine alone", f"{power:.0f} kW") for name, power in powers]
    else:
        dead = ", ".join(str(cylinder) for cylinder in s["dead_cylinders"]) or "none"
        shown = [("all cylinders", f"{s['torque_n_m']:.0f} N m"), ("gives nothing", dead)]
    return (
        '<div class="big">'
        + "".join(f"<div><b>{escaped(v)}</b><span>{escaped(k)}</span></div>" for k, v in shown)
        + "</div>"
    )


def _field(label: str, value: str = "") -> Markup:
    """A place to write."""
    return Markup(f'<input type="text" aria-label="{escaped(label)}" value="{escaped(value)}">')


def lab_sheet(result: DynoResult, entries: Sequence[Entry]) -> str:
    """The lab sheet: prediction before, measurement after, comparison, conclusion, rubric."""
    rows = []
    for entry in entries:
        unit = unit_of_key(entry.key)
        unit = "g/kWh" if entry.key.endswith("_g_kwh") else unit_name(unit) if unit else ""
        unit = "N m" if unit == "Nm" else unit
        predicted = "" if entry.predicted is None else f"{entry.predicted:.4g}"
        off = "" if entry.off is None else f"{entry.off:+.2f} {entry.kind}"
        met = "" if entry.met is None else ("within" if entry.met else "outside")
        rows.append(
            (
                entry.name,
                _field(f"predicted {entry.name}", predicted),
                f"{entry.measured:.4g}",
                unit,
                off or _field(f"off {entry.name}"),
                f"{entry.tolerance:g} {entry.kind}",
                met or _field(f"within {entry.name}"),
            )
        )
    head = ("quantity", "predicted", "measured", "unit", "off", "tolerance", "within?")
    compared = table(head, rows, "4. Predicted, 6. measured, 7. compared", numbers=(2, 4, 5))
    changed = [
        f"{key} {value} {unit}".strip()
        for key, value, unit, _ in input_rows(result.truck)
        if result.sources.get(key) == "changed for this trip"
    ]
    before = "; ".join(changed) or "as in the truck's file"
    first = [
        ("Student", _field("student")),
        ("Instructor", _field("instructor")),
        *((each, _field(each)) for each in ("1. Complaint, in the driver's words", "2. Safety check done by")),
        ("3. Parameters before", _field("3. Parameters before", before)),
        ("5. Run", f"{result.summary['truck']}; {result.summary['form']}"),
    ]
    after = ("8. Conclusion and cause", "9. Parameters restored", "10. Sign-off, date and time")
    last = [(each, Markup(f'<textarea aria-label="{escaped(each)}"></textarea>')) for each in after]
    marks = "".join(
        f'<label><input type="radio" name="rubric" value="{score}"> {score}: {escaped(text)}</label>'
        for score, text in enumerate(RUBRIC)
    )
    return (
        f'<h2 class="page">Lab sheet: {escaped(TITLES[result.test].lower())}</h2><div class="sheet">'
        f"{described(first)}{compared}{described(last)}"
        f"<fieldset><legend>Rubric</legend>{marks}</fieldset></div>"
    )


def _inputs(result: DynoResult) -> str:
    """What the run was made with, the engine first."""
    tables = ("engine", "engine_brake", "condition")
    truck = [
        row
        for row in truck_rows(result.truck, result.sources)
        if row[0].split(".")[0] in tables or result.settings.dyno.form == "chassis"
    ]
    sound = Condition()
    truck = [
        (*row[:4], "default: sound") if row[0].startswith("condition.")
        and getattr(result.truck.condition, row[0].split(".")[1]) == getattr(sound, row[0].split(".")[1]) else row
        for row in truck
    ]  # fmt: skip
    wanted = ("dyno", "weather", "start", "fuel", "retarding", "simulation")
    settings = [row for row in settings_rows(result.settings) if row[0].split(".")[0] in wanted]
    return (
        f"<h2>Everything that went in</h2><p>Truck: {escaped(result.truck.name)}. Model version"
        f" {escaped(result.summary['model_version'])}.</p><div class='small'>"
        f"{inputs_table(f'Dyno, weather, start: {len(settings)} settings', settings, 'mark')}"
        f"{inputs_table(f'Truck: {len(truck)} numbers with their sources', truck, 'source and mark')}</div>"
    )


def _fault_words(result: DynoResult) -> str:
    """What a named fault does, for the instructor."""
    names = [name for name in str(result.summary.get("fault", "")).split(", ") if name in FAULTS]
    if not names:
        return ""
    rows = [
        (FAULTS[n].title, "; ".join(FAULTS[n].changes), FAULTS[n].reason, FAULTS[n].sign, FAULTS[n].mark) for n in names
    ]
    listed = table(("fault", "changes", "how it acts", "what to look for", "mark"), rows)
    return f"<h2>The fault that was set</h2>{wide(listed, 'small')}"


def dyno_report(result: DynoResult, entries: Sequence[Entry] = ()) -> str:
    """A dyno run as an HTML file.

    Parameters
    ----------
    entries : sequence of Entry
        Rows of the lab sheet.
    """
    s = result.summary
    drawn: dict[str, tuple[go.Figure, bool]] = {name: (figure, False) for name, figure in dyno_figures(result).items()}
    verdict = f"{s['verdict'].capitalize()}: {said(s['reading'], 'both')}"
    first = [("decided", found) for found in (s["decides"],) if found]
    first += [("warning", found) for found in s["warnings"]] + [("before", found) for found in s["events"]]
    said_first = said_list([(word, word, said(found, "both")) for word, found in first])
    rows = [
        (name, metric, us)
        for (name, metric), (_, us) in zip(summary_rows(result, "metric"), summary_rows(result, "us"), strict=True)
    ]
    figures = "".join(figure_place(name, CAPTIONS[name][0], escaped(CAPTIONS[name][1])) for name in drawn)
    form = "the bare engine on its flywheel" if s["form"] == "flywheel" else "the truck on rollers"
    body = (
        f"<style>{STYLE}</style>{heading(verdict, s['verdict'] != 'pass' or bool(s['warnings']))}"
        f"{described([('test', f'{TITLES[result.test]}, {form}'), ('truck', s['truck'])], 'what')}"
        f"{said_first}{_readings(result)}{cautions(CAUTIONS)}"
        f"{_gauges(s['gauges'])}"
        f"<h2>In numbers</h2>{table(('', 'metric', 'US'), rows)}"
        f'<h2 class="page">Measured</h2>{figures}'
        f"{_points(result) if result.points else ''}"
        f"{lab_sheet(result, entries)}{_fault_words(result)}{_inputs(result)}"
        f"<h2>Sources and practice</h2>{paragraphs(SOURCES)}"
    )
    return page(f"{TITLES[result.test]}: {verdict}", body, drawn)
