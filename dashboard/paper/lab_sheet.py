"""Lab sheets that print: the measured mile, the record of what is programmed, and the hidden fault."""

from collections.abc import Iterable, Sequence
from typing import Any

from dashboard.paper.markup import cautions, document, escaped, table, wide
from sim.hidden.record import reading_words
from sim.inputs.sheet import Entry
from sim.units import KILOMETRE_PER_HOUR, LITRE_PER_100KM, MILE_PER_HOUR, quantity_text, shown_unit

STYLE = """
:root { --ink: #1a1a1a; --quiet: #4f4f4f; --rule: #b9b9b9; --calm: #0072b2; --warn: #d55e00; --band: #f4f1ea; }
* { box-sizing: border-box; }
html { color: var(--ink); background: #fff; font: 15px/1.45 Arial, Helvetica, "Liberation Sans", sans-serif; }
body { margin: 0 auto; max-width: 1100px; padding: 18px 26px 60px; }
h1 { font-size: 1.6rem; margin: 0 0 6px; padding: 4px 0 8px; border-bottom: 6px solid var(--calm); }
h2 { font-size: 1.15rem; margin: 26px 0 6px; padding-top: 8px; border-top: 2px solid var(--ink); }
p { margin: 6px 0; max-width: 86ch; }
.cautions { background: var(--band); border: 1px solid var(--rule); padding: 8px 14px; margin: 14px 0; }
.cautions p { margin: 2px 0; max-width: none; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
.wide { overflow-x: auto; }
.wide:focus-visible { outline: 3px solid var(--calm); outline-offset: 2px; }
th, td { text-align: left; vertical-align: top; padding: 3px 14px 3px 0; border-bottom: 1px solid #dcdcdc; }
thead th { border-bottom: 1.5px solid var(--ink); }
td.number, th.number { text-align: right; white-space: nowrap; }
td.range { white-space: nowrap; }
td.blank { min-width: 9em; height: 2em; border-bottom: 1.5px solid var(--ink); }
td.blank:only-child { min-width: 620px; }
tr.changed td { font-weight: bold; } tr.changed td:first-child { border-left: 6px solid var(--warn); padding-left: 6px; }
.verdict { font-weight: bold; } .quiet { color: var(--quiet); }
.sign { display: grid; grid-template-columns: repeat(3, 1fr); gap: 26px; margin-top: 40px; }
.sign div { border-top: 1.5px solid var(--ink); padding-top: 4px; color: var(--quiet); }
svg { max-width: 100%; height: auto; }
@media print {
  @page { margin: 12mm; }
  html { font-size: 11px; color: #000; } body { max-width: none; padding: 0; }
  h1, h2 { break-after: avoid; } tr, .cautions, figure { break-inside: avoid; } .cautions { background: #fff; }
  .wide { overflow: visible; }
}
"""

AXES = {
    "metric": (KILOMETRE_PER_HOUR, 120, 20),
    "us": (MILE_PER_HOUR, 75, 10),
}  # of the picture: m/s, end and step in them
HELD = 50.0 * MILE_PER_HOUR  # m/s, at which 49 CFR 393.82 judges


def _table(head: Sequence[str], rows: Iterable[Sequence[object]], numbers: Sequence[int] = ()) -> str:
    """A table as it stands in a sheet."""
    return wide(table(head, rows, numbers=numbers))


def _speed(value: float, units: str) -> str:
    """A speed, to be worked with."""
    return quantity_text(value, "speed", units, 2)


def _signatures() -> str:
    """Lines for names and a date."""
    return '<div class="sign"><div>student</div><div>instructor</div><div>date and time</div></div>'


def _picture(states: Sequence[tuple[str, str, dict[str, Any]]], units: str) -> str:
    """Speed shown against true speed, with the band of the rule, as an SVG."""
    left, top, size = 64.0, 16.0, 420.0
    one, end_of_axis, step = AXES["metric" if units == "metric" else "us"]

    def x(speed: float) -> float:
        return left + size * speed / end_of_axis

    def y(speed: float) -> float:
        return top + size * (1.0 - speed / end_of_axis)

    parts = []
    for speed in range(0, end_of_axis + 1, step):
        parts.append(f'<line x1="{x(speed):.1f}" y1="{y(0):.1f}" x2="{x(speed):.1f}" y2="{top:.1f}" stroke="#e4e4e4"/>')
        parts.append(
            f'<line x1="{x(0):.1f}" y1="{y(speed):.1f}" x2="{left + size:.1f}" y2="{y(speed):.1f}" stroke="#e4e4e4"/>'
        )
        parts.append(f'<text x="{x(speed):.1f}" y="{y(0) + 18:.1f}" text-anchor="middle">{speed}</text>')
        parts.append(f'<text x="{x(0) - 8:.1f}" y="{y(speed) + 5:.1f}" text-anchor="end">{speed}</text>')
    parts.append(
        f'<line x1="{x(0):.1f}" y1="{y(0):.1f}" x2="{left + size:.1f}" y2="{top:.1f}" stroke="#4f4f4f" stroke-dasharray="2 5"/>'
    )
    verdict = states[0][2]["verdict"]
    low, high, held = (each / one for each in (verdict["lowest_m_s"], verdict["highest_m_s"], HELD))
    parts.append(
        f'<line x1="{x(held):.1f}" y1="{y(low):.1f}" x2="{x(held):.1f}" y2="{y(high):.1f}" stroke="#1a1a1a" stroke-width="7"'
        ' stroke-opacity="0.35"/>'
    )
    for place, (name, look, state) in enumerate(states):
        ratio = state["calibration"]["shown_over_true"]
        end = min(end_of_axis, end_of_axis / ratio)
        parts.append(
            f'<line x1="{x(0):.1f}" y1="{y(0):.1f}" x2="{x(end):.1f}" y2="{y(end * ratio):.1f}" {look} stroke-width="2.5"/>'
        )
        legend = top + 22.0 + 24.0 * place
        parts.append(f'<line x1="{left + 14}" y1="{legend}" x2="{left + 54}" y2="{legend}" {look} stroke-width="2.5"/>')
        parts.append(f'<text x="{left + 62}" y="{legend + 5}">{escaped(name)}</text>')
    legend = top + 22.0 + 24.0 * len(states)
    parts.append(
        f'<line x1="{left + 34}" y1="{legend - 9}" x2="{left + 34}" y2="{legend + 9}" stroke="#1a1a1a" stroke-width="7"'
        ' stroke-opacity="0.35"/>'
    )
    parts.append(f'<text x="{left + 62}" y="{legend + 5}">band of 49 CFR 393.82</text>')
    unit = shown_unit("speed", "metric" if units == "metric" else "us")
    parts.append(
        f'<text x="{left + size / 2:.1f}" y="{top + size + 40:.1f}" text-anchor="middle">true speed, {unit}</text>'
    )
    parts.append(
        f'<text transform="translate(18 {top + size / 2:.1f}) rotate(-90)" text-anchor="middle">speed shown, {unit}</text>'
    )
    held_at = quantity_text(HELD, "speed", units, 0)
    label = f"Speed shown against true speed before and after, with the band allowed at {held_at}"
    return (
        f'<figure><svg viewBox="0 0 {left + size + 20:.0f} {top + size + 50:.0f}" width="520" role="img" aria-label="{label}"'
        f' font-family="Arial, Helvetica, sans-serif" font-size="14" fill="#1a1a1a">{"".join(parts)}</svg></figure>'
    )


def speedo_sheet(sheet: dict[str, Any], units: str = "both") -> str:
    """The measured mile as a page to print.

    Parameters
    ----------
    sheet : dict
        As `sim.speedo.exercise` gives it, or without what is to be found out.
    units : str
        metric, us, or both.
    """
    mile = sheet["mile"]
    rows = [
        ("distance between the posts", quantity_text(mile["distance_m"], "distance", units, 3), None),
        ("needle held at", _speed(mile["read_speed_m_s"], units), None),
        ("stopwatch", f"{mile['timed_s']:.1f} s", None),
        ("told to the controller", f"{mile['told_pulses_per_mile']:.0f} pulses/mi", None),
    ]
    for name, way in zip(("there", "back"), sheet["mile_ways"], strict=False):  # the mean stands above
        read = f"{_speed(way['read_speed_m_s'], units)}, {way['timed_s']:.1f} s"
        rows.append((f"of these, {name}: needle, stopwatch", read, None))
    body = [
        "<h1>Measured mile: speedometer and pulses per mile</h1>",
        f"<p>{escaped(sheet['truck'])}</p>",
        cautions(sheet["cautions"]),
        "<h2>1. What was found</h2>",
        "<p class='quiet'>Write down the complaint in the driver's words, past repairs, tyres and axle plate.</p>",
        _table(("complaint and inspection",), [(None,), (None,)]),
        "<h2>2. First run</h2>",
        _table(("what", "reading", "own note"), rows),
        "<h2>3. The sum</h2>",
        "<p>speed = miles x 3600 / seconds; new pulses = old pulses x speed shown / speed measured</p>",
    ]
    if "before" not in sheet:
        steps = [
            f"speed measured, {shown_unit('speed', units)}",
            "shown over measured",
            "new pulses per mile",
            "cause you suspect",
        ]
        body.append(_table(("step", "own result"), [(step, None) for step in steps]))
    else:
        body.append(_compared(sheet, units))
        states = [("as found", 'stroke="#d55e00" stroke-dasharray="9 4"', sheet["before"])]
        if "after" in sheet:
            states.append(("with the number entered", 'stroke="#0072b2"', sheet["after"]))
        body += ["<h2>4. Before and after</h2>", _picture(states, units), _states(states, units)]
    if "cause" in sheet:
        body.append(f"<p class='verdict'>What had happened: {escaped(sheet['cause'])}</p>")
    body.append("<h2>Rubric</h2>")
    body.append(_table(("points", "means"), [(points, words) for points, words in sheet["rubric"]], numbers=(0,)))
    body.append(f"<p class='verdict'>{sheet['score']} of 4: {escaped(sheet['score_words'])}</p>{_signatures()}")
    return document("Measured mile", STYLE, "".join(body))


def _compared(sheet: dict[str, Any], units: str) -> str:
    """Predicted against measured, and what was entered."""
    mile, entered = sheet["mile"], sheet["entered_pulses_per_mile"]
    fitted = sheet["before"]["calibration"]["fitted_pulses_per_mile"]
    predicted = sheet["predicted_true_speed_m_s"]
    measured, true = mile["measured_speed_m_s"], mile["true_speed_m_s"]
    rows = [
        ("true speed", _speed(predicted, units), _speed(measured, units), f"{100.0 * (measured / true - 1.0):+.2f} %"),
        (
            "pulses per mile",
            f"{fitted:.0f}",
            f"{mile['corrected_pulses_per_mile']:.0f}",
            f"{100.0 * (mile['corrected_pulses_per_mile'] / fitted - 1.0):+.2f} %",
        ),
        (
            "entered by the student",
            "",
            "-" if entered is None else f"{entered:.0f}",
            "" if entered is None else f"{100.0 * (entered / fitted - 1.0):+.2f} %",
        ),
    ]
    return _table(
        ("quantity", "predicted from tyre, axle and teeth", "measured by stopwatch", "off"), rows, numbers=(3,)
    )


def _states(states: Sequence[tuple[str, str, dict[str, Any]]], units: str) -> str:
    """Calibrations side by side."""
    head = ("", *(name for name, _, _ in states))
    read = [state for _, _, state in states]
    posted = f"{quantity_text(10000.0, 'distance', units, 0)} posted {quantity_text(25.0, 'speed', units, 0)}"

    def burnt(key: str) -> list[str]:
        return [quantity_text(s["posted_run"][key] * LITRE_PER_100KM, "consumption", units, 2) for s in read]

    rows = [
        ("pulses per mile told", *(f"{s['calibration']['told_pulses_per_mile']:.0f}" for s in read)),
        ("pulses per mile fitted", *(f"{s['calibration']['fitted_pulses_per_mile']:.0f}" for s in read)),
        (
            f"shown at a true {quantity_text(HELD, 'speed', units)}",
            *(_speed(s["verdict"]["shown_speed_m_s"], units) for s in read),
        ),
        ("verdict by 49 CFR 393.82", *(s["verdict"]["verdict"] for s in read)),
        ("speed and odometer error", *(f"{s['effects']['speed_error_percent']:+.2f} %" for s in read)),
        ("the same with tyres worn out", *(f"{s['wear']['worn_out_error_percent']:+.2f} %" for s in read)),
        ("pulses per mile of half-worn tyres", *(f"{s['wear']['half_worn_pulses_per_mile']:.0f}" for s in read)),
        ("fuel economy shown", *burnt("shown_fuel_l_per_100km")),
        ("fuel economy true", *burnt("fuel_l_per_100km")),
        (f"{posted}: true mean", *(_speed(s["posted_run"]["mean_speed_m_s"], units) for s in read)),
        (f"{posted}: over the limit", *(f"{s['posted_run']['time_over_limit_s']:.0f} s" for s in read)),
    ]
    for key, words in (("cruise_set", "cruise set"), ("road_speed_limit", "road-speed limit")):
        if f"{key}_true_m_s" in read[0]["effects"]:
            shown = _speed(read[0]["effects"][f"{key}_shown_m_s"], units)
            rows.append((f"{words} at {shown}: true", *(_speed(s["effects"][f"{key}_true_m_s"], units) for s in read)))
    return _table(head, rows)


def settings_record(truck: str, entries: Sequence[Entry], units: str = "both") -> str:
    """What is programmed, before and after, as a page to print and sign.

    Parameters
    ----------
    truck : str
        Name of the truck.
    units : str
        metric, us, or both.
    """
    rows = [entry.words(units) for entry in entries]
    head = ("value", "before", "after", "unit", "allowed", "meaning")
    marked = ["changed" if entry.changed else "" for entry in entries]
    record = wide(table(head, rows, numbers=(1, 2), kinds={4: "range"}, marked=marked))
    changed = sum(entry.changed for entry in entries)
    body = (
        f"<h1>Record of programmed values</h1><p>{escaped(truck)}</p>"
        f"<p>{changed} of {len(entries)} changed; changed rows are bold. Write down why, and who allowed it.</p>"
        f"{record}{_signatures()}"
    )
    return document("Record of programmed values", STYLE, body)


def fault_sheet(sheet: dict[str, Any], units: str = "both") -> str:
    """A session of a hidden fault as a page to print: what was asked for and found, and once it is over the marking.

    Parameters
    ----------
    sheet : dict
        A session without its seal, and `marking`, None while it is open.
    units : str
        metric, us, or both.
    """
    case = ", ".join(f"{name} {value}" for name, value in sheet["case"].items())
    body = [
        "<h1>Hidden fault</h1>",
        f"<p>{escaped(case)}; level {sheet['level']}; begun {escaped(sheet['started'])}</p>",
        f"<p>The driver says: <b>{escaped(sheet['complaint'])}</b></p>",
        cautions(sheet["cautions"]),
        "<h2>Before the tests</h2>",
        _table(
            ("inspection, and what I expect", ""),
            [(words, None) for words in ("complaint confirmed, fluids, leaks", "I suspect")],
        ),
        "<h2>Tests asked for</h2>",
    ]
    for entry in sheet["tests"]:
        rows = [(reading["name"], *reading_words(reading, units), None) for reading in entry["readings"]]
        body.append(f"<h3>{entry['number']}. {escaped(entry['test'])} <small>{escaped(entry['time'])}</small></h3>")
        body.append(_table(("reading", "found", "sound truck", "what it tells me"), rows))
    body.append("<h2>Answer</h2>")
    answers: list[Sequence[object]] = [
        (
            answer["time"],
            f"{answer['part']}: {answer['failure']}",
            ", ".join(str(number) for number in answer["because"]) or "all",
            answer["explanation"],
            "right" if answer["failure_right"] else "part right" if answer["part_right"] else "another part",
        )
        for answer in sheet["answers"]
    ]
    body.append(_table(("time", "part and failure", "because of tests", "why", "worth"), answers or [(None,) * 5]))
    body.append(
        _fault_marking(sheet["marking"]) if sheet["marking"] else f"<p>Attempts left: {sheet['attempts_left']}.</p>"
    )
    body.append(_signatures())
    return document("Hidden fault", STYLE, "\n".join(body))


def _fault_marking(marking: dict[str, Any]) -> str:
    """What a session is worth, and why."""
    which = f" (cylinder {marking['cylinder']})" if marking["cylinder"] else ""
    parts = [
        "<h2>Marking</h2>",
        f"<p>It was: <b>{escaped(marking['part'])}: {escaped(marking['failure'])}{which}</b>. {escaped(marking['teaches'])}</p>",
        f"<p>Rubric: <b>{marking['score']} of 4</b>: {escaped(marking['score_words'])}.</p>",
        _table(("points", "means"), [(points, words) for points, words in marking["rubric"]], numbers=(0,)),
        f"<h3>What the evidence left of {marking['candidates'] - 1} other causes</h3>",
        _table(
            ("test", "asked for", "left"),
            [(s["number"], s["test"], s["left"]) for s in marking["evidence"]],
            numbers=(0, 2),
        ),
        f"<p>Still possible: {escaped(', '.join(marking['still_possible']) or 'nothing else')}."
        f" {'A test looked' if marking['looked_at_the_part'] else 'No test looked'} at the part itself.</p>",
        f"<h3>A short path, about {marking['shortest_path_minutes']:.0f} minutes; yours took {marking['tests_used']} tests,"
        f" {marking['minutes_used']:.0f} minutes</h3>",
        _table(("test", "left"), [(step["test"], step["left"]) for step in marking["shortest_path"]], numbers=(1,)),
    ]
    return "\n".join(parts)
