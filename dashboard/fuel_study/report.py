"""A study as one HTML file that needs no network: the question, the answer, figures, tables, and everything that went in.

Equal studies give equal bytes: the page carries no date, no time and no place on a disk.
"""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from dashboard.fuel_study.figures import figures_of
from dashboard.fuel_study.verdict_figures import per_unit_text
from dashboard.paper.markup import cautions, described, escaped, heading, paragraphs, said_list, table, wide
from dashboard.paper.report_shell import figure_place, page
from dashboard.paper.words import inputs_table, settings_rows, truck_rows
from sim.errors import HaulbenchError
from sim.studies.amounts import difference_text, key_text, key_words, quantity_text
from sim.studies.findings import answer_sentences, holding_back, trip_words, trips_text, warning_counts
from sim.studies.plan import changed
from sim.studies.quantities import QUANTITIES
from sim.studies.question import FORM, Study, list_studies
from sim.studies.result import StudyResult
from sim.units import clock_time
from sim.wording import said

MOST_REFUSED = 200  # refused trips listed; results.csv has all
MOST_PARETO = 40  # trips of a road listed

SOURCES = (
    "Limit of the mean brake temperature, 500 F = 260 C: grade-severity model, Wyoming DOT report WY-1901F, 2018"
    " (published, second-hand).",
    "Fuel test of two trucks: arithmetic and 2 % band of SAE J1321 Type II (from memory); about 1 % accuracy: its abstract"
    " (published, second-hand).",
    "Slopes: ordinary least squares, Draper and Smith, Applied Regression Analysis, ch. 1 and 5 (common practice).",
)


def study_report(result: StudyResult, units: str = "metric") -> str:
    """A study as an HTML file.

    Parameters
    ----------
    units : str
        Of the figures, metric or us; words and tables carry both.
    """
    study, counts = result.plan.study, result.answers["trips"]
    warnings = warning_counts(result)
    noted = [("warning", "note", said(note, "both")) for note in result.answers["notes"]]
    noted += [("warning", "warning", f"{words}: {trips} of {counts['driven']} trips") for words, trips in warnings]
    answer = "".join(f"<p><b>{escaped(text)}</b></p>" for text in answer_sentences(result, "both"))
    what = [("question", study.question or "-"), ("driven", trips_text(result))]
    what += [(f"{word}s" if len(names) > 1 else word, "; ".join(names)) for word, names in _used(result)]
    drawn = figures_of(result, units)
    figures = "".join(
        f"<h2>{escaped(title)}</h2>{figure_place(f'figure{place}', title, escaped(caption))}"
        for place, (title, caption, _) in enumerate(drawn)
    )
    body = (
        f"{heading(study.title, bool(noted))}{said_list(noted)}"
        f"{described(what, 'what')}{answer}{cautions()}{figures}{_tables(result)}{_refused(result)}{_inputs(result)}"
        f"{_again(result)}<h2>Sources</h2>{paragraphs(SOURCES)}"
    )
    return page(study.title, body, {f"figure{place}": (figure, False) for place, (*_, figure) in enumerate(drawn)})


def _used(result: StudyResult) -> list[tuple[str, list[str]]]:
    """Trucks and roads by their titles."""
    return [
        ("truck", [file.truck.name for file in result.plan.trucks.values()]),
        ("road", [road.title for road in result.plan.roads.values()]),
    ]


def _wide(head: Sequence[str], rows: Iterable[Sequence[object]], caption: str = "", words: int = 1) -> str:
    """A table whose first columns are words and whose others are numbers."""
    return wide(table(head, rows, caption, range(words, len(head))))


# ---------------------------------------------------------------- the answers as tables


def _tables(result: StudyResult) -> str:
    """Every answer in numbers."""
    answers = result.answers
    if "fuel_test" in answers:
        return _fuel_test(answers["fuel_test"])
    if "best" in answers:
        return _best(answers["best"])
    return _cases(result) + _levels(result) + _slopes(result) + _pareto(result) + _extremes(result)


def _cases(result: StudyResult) -> str:
    """Each case against the first."""
    texts = []
    for name, rows in result.answers.get("cases", {}).items():
        cells = [
            (row["case"], quantity_text(name, row["value"], "both"), difference_text(name, row["difference"], "both"),
             "-" if row["percent"] is None else f"{row['percent']:+.2f} %", row["trips"])
            for row in rows
        ]  # fmt: skip
        texts.append(_wide(("case", "mean", "against the first", "in percent", "pairs"), cells, QUANTITIES[name][0]))
    return f"<h2>Cases</h2>{''.join(texts)}" if texts else ""


def _levels(result: StudyResult) -> str:
    """Means at each level, what each key decides, and what pairs decide together."""
    texts = []
    for name, keys in result.answers.get("effects", {}).items():
        rows = [
            (key_words(key), key_text(key, value, "both"), quantity_text(name, mean, "both"),
             difference_text(name, effect, "both"), trips)
            for key, entry in keys.items()
            for value, mean, effect, trips in zip(
                entry["values"], entry["means"], entry["effects"], entry["trips"], strict=True
            )
        ]  # fmt: skip
        shares = [(key_words(key), entry["share"]) for key, entry in keys.items() if entry["share"] is not None]
        pairs = result.answers.get("interactions", {}).get(name, {})
        shares += [(" with ".join(map(key_words, pair.split(" x "))), share) for pair, share in pairs.items()]
        caption = QUANTITIES[name][0]
        if shares:
            caption += "; of all differences: " + ", ".join(f"{words} {100.0 * share:.1f} %" for words, share in shares)
        texts.append(_wide(("key", "level", "mean", "against the mean of all", "trips"), rows, caption, 2))
    return f"<h2>Levels</h2>{''.join(texts)}" if texts else ""


def _slopes(result: StudyResult) -> str:
    """Slopes with their intervals."""
    texts = []
    for name, found in result.answers.get("sensitivity", {}).items():
        rows = []
        for key, entry in found["keys"].items():
            per_unit = "; ".join(
                dict.fromkeys(per_unit_text(name, key, entry["per_unit"], u) for u in ("metric", "us"))
            )
            low, high = entry["low"], entry["high"]
            interval = "; ".join(
                dict.fromkeys(
                    " to ".join(per_unit_text(name, key, end, u) for end in (low, high)) for u in ("metric", "us")
                )
                if low is not None
                else ("-",)
            )
            share = entry["percent_per_percent"]
            rows.append((key_words(key), per_unit, interval, "-" if share is None else f"{share + 0.0:+.3f}"))
        explained = found["explained"]
        caption = QUANTITIES[name][0]
        others = [word for word in ("road", "truck", "settings", "case") if len(result.plan.axes.get(word, ())) > 1]
        left = f" of the differences within one {' and one '.join(others)}" if others else " of the differences"
        caption += "" if explained is None else f"; straight lines explain {100.0 * explained:.1f} %{left}"
        if rows:
            texts.append(_wide(("input", "per unit", "95 % interval", "% per %"), rows, caption))
    return f"<h2>Sensitivities</h2>{''.join(texts)}" if texts else ""


def _pareto(result: StudyResult) -> str:
    """What cannot be bettered."""
    texts = []
    for found in result.answers.get("pareto", []):
        one, other = found["one"], found["other"]
        rows = [
            (trip_words(result, trip["number"], "both"), trip["number"], quantity_text(one, trip[one], "both"),
             quantity_text(other, trip[other], "both"))
            for trip in found["trips"][:MOST_PARETO]
        ]  # fmt: skip
        caption = f"{found['road']}: {len(found['trips'])} of {found['of']} trips"
        texts.append(_wide(("settings", "trip", QUANTITIES[one][0], QUANTITIES[other][0]), rows, caption))
    return f"<h2>What cannot be bettered in time and fuel together</h2>{''.join(texts)}" if texts else ""


def _extremes(result: StudyResult) -> str:
    """Least and most of every reported quantity."""
    rows = [
        (QUANTITIES[name][0], trip_words(result, found["least_trip"], "both"), trip_words(result, found["most_trip"], "both"),
         quantity_text(name, found["least"], "both"), quantity_text(name, found["mean"], "both"),
         quantity_text(name, found["most"], "both"))
        for name, found in result.answers["quantities"].items()
        if found["trips"]
    ]  # fmt: skip
    return (
        f"<h2>Least and most</h2>{_wide(('quantity', 'least with', 'most with', 'least', 'mean', 'most'), rows, '', 3)}"
    )


def _best(best: dict[str, Any]) -> str:
    """The answer key."""
    if "settings" not in best:
        return ""
    name, held = best["quantity"], holding_back(best)
    settings = [(key, key_text(key, value, "both")) for key, value in best["settings"].items()]
    bounds = [
        (QUANTITIES[each][0], f"{bound['side']} {quantity_text(each, bound['bound'], 'both')}",
         quantity_text(each, bound["value"], "both"), "holds back" if each in held else "")
        for each, bound in best["bounds"].items()
    ]  # fmt: skip
    steps = [
        (key_words(step["key"]), key_text(step["key"], step["value"], "both"),
         quantity_text(name, step.get("quantity"), "both"), _step_note(step))
        for step in best["steps"]
    ]  # fmt: skip
    title = "Answer key" if best["found"] else "The nearest settings; they break a bound"
    return (
        f"<h2>{title}</h2>{_wide(('setting', 'value'), settings)}"
        f"{_wide(('bounded', 'bound', 'reached', ''), bounds, 'Bounds')}"
        f"{_wide(('one step of', 'to', QUANTITIES[name][0], 'what it breaks'), steps, 'What each single step does')}"
    )


def _step_note(step: dict[str, Any]) -> str:
    """What a step breaks, or why it is not known."""
    if "ended" not in step:
        return "not driven"
    broken = ", ".join(QUANTITIES[name][0] for name in step["breaks"])
    return broken or ("" if step["ended"] == "arrived" else step["ended"].replace("_", " "))


def _fuel_test(verdict: dict[str, Any]) -> str:
    """The runs and both percentages by name."""
    runs = [
        (run["part"], run["run"], *(quantity_text("fuel_kg", run[f"{who}_fuel_kg"], "both") for who in ("control", "test")),
         *(clock_time(run[f"{who}_time_s"]) for who in ("control", "test")), f"{run['ratio']:.4f}")
        for run in verdict["runs"]
    ]  # fmt: skip
    rows = [
        (f"mean ratio {part} the change", f"{verdict[part]['ratio']:.4f}",
         f"ratios {'in' if verdict[part]['in_band'] else 'NOT in'} the {verdict['band_percent']:g} % band; times"
         f" {'agree' if verdict[part]['same_time'] else 'DO NOT agree'}")
        for part in ("before", "after") if part in verdict
    ]  # fmt: skip
    if verdict["saved_percent"] is not None:
        rows.append(("fuel saved", f"{verdict['saved_percent']:.2f} %", "of the fuel used before the change"))
        better = f"{verdict['improvement_percent']:.2f} %"
        rows.append(("improvement of the fuel economy", better, "of the distance per fuel before the change"))
    head = ("part", "run", "control fuel", "test fuel", "control time", "test time", "ratio")
    return f"<h2>The fuel test</h2>{_wide(('', 'value', ''), rows)}{_wide(head, runs, 'Runs')}"


def _refused(result: StudyResult) -> str:
    """Trips that could not be driven, named and counted."""
    refused = result.refused()
    if not refused:
        return ""
    rows = [(number, trip_words(result, number, "both"), problem) for number, problem in refused[:MOST_REFUSED]]
    more = f"<p>The first {MOST_REFUSED}; results.csv has all.</p>" if len(refused) > MOST_REFUSED else ""
    return f"<h2>Trips that could not be driven ({len(refused)})</h2>{more}{table(('trip', 'combination', 'why'), rows, '', (0,))}"


# ---------------------------------------------------------------- what went in


def _inputs(result: StudyResult) -> str:
    """Every input the trips share, and what is varied."""
    plan, varied = result.plan, set(result.plan.varied_keys)
    varied |= {change.partition("=")[0].strip() for case in plan.study.cases for change in case.changes}
    texts = []
    for file in plan.trucks.values():
        for given, settings in plan.settings.items():
            try:
                truck, its = changed(file, settings, plan.study.changes)
            except HaulbenchError:
                continue
            rows = [
                row for row in (*truck_rows(truck.truck, truck.sources), *settings_rows(its)) if row[0] not in varied
            ]
            title = f"{file.truck.name}{f', settings {Path(given).name}' if given else ''}: {len(rows)} shared inputs"
            texts.append(inputs_table(title, rows, "source and mark"))
    listed = table(("road", "source"), [(road.title, road.source) for road in plan.roads.values()])
    return (
        f"<h2>Everything the trips share</h2><p>Model version {escaped(result.model_version)}. Varied:"
        f" {escaped(', '.join(sorted(varied)))}.</p>"
        f'<div class="small">{listed}{"".join(texts)}</div>'
    )


def _again(result: StudyResult) -> str:
    """How to drive the study again."""
    study = result.plan.study
    shipped = f"<p>Shipped with the program: <code>haulbench study {escaped(study.name)}</code></p>" * (
        study.name in list_studies()
    )
    return (
        f"<h2>Driving it again</h2>{shipped}<p>Or save this as study.toml and run <code>haulbench study study.toml</code>;"
        f" roads, trucks and settings of your own lie beside it.</p><pre>{escaped(study_file(study))}</pre>"
    )


def study_file(study: Study) -> str:
    """A study as the text of a study file.

    Returns
    -------
    text : str
        TOML; files beside it by their names only.
    """
    lines = [f"form = {FORM}"]
    lines += [f"{key} = {_quoted(getattr(study, key))}" for key in ("title", "question") if getattr(study, key)]
    lines += [
        f"{key} = {_quoted(_beside(getattr(study, key)))}"
        for key in ("truck", "road", "settings")
        if getattr(study, key)
    ]
    lines += [f"set = {_list(study.changes)}"] if study.changes else []
    lines += [f"report = {_list(study.report)}"] + (["traces = true"] if study.traces else [])
    if study.vary:
        lines += [
            "",
            "[vary]",
            *(f"{_quoted(key)} = {_list([_beside(v) for v in values])}" for key, values in study.vary.items()),
        ]
    if study.sample:
        sample = study.sample
        lines += ["", "[sample]", f"trips = {sample.trips}", f"seed = {sample.seed}", f"how = {_quoted(sample.how)}"]
        lines += ["[sample.between]", *(f"{_quoted(key)} = {list(pair)}" for key, pair in sample.between.items())]
    if study.best:
        best = study.best
        lines += ["", "[best]", f"{'most' if best.most else 'least'} = {_quoted(best.quantity)}"]
        lines += [f"trips = {best.trips}", f"seed = {best.seed}", "[best.between]"]
        lines += [f"{_quoted(key)} = {list(row)}" for key, row in best.between.items()]
        for side in ("at_most", "at_least"):
            bounds = getattr(best, side)
            lines += [f"[best.{side}]", *(f"{name} = {bound!r}" for name, bound in bounds.items())] if bounds else []
    if study.fuel_test:
        test = study.fuel_test
        lines += ["", "[fuel_test]", f"set = {_list(test.changes)}", f"runs = {test.runs}", f"seed = {test.seed}"]
        lines += [f"{key} = {list(getattr(test, key))}" for key in ("temperature_c", "wind_m_s")]
        numbers = ("band_percent", "elapsed_percent", "wind_apart_m_s", "drivers_apart_percent", "weighing_g")
        lines += [f"{key} = {getattr(test, key)!r}" for key in numbers]
    for case in study.cases:
        lines += ["", "[[case]]", f"name = {_quoted(case.name)}", f"set = {_list(case.changes)}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A text as TOML takes it."""
    return json.dumps(text, ensure_ascii=False)


def _list(texts: Iterable[str]) -> str:
    """Texts as a TOML list."""
    return f"[{', '.join(map(_quoted, texts))}]"


def _beside(name: str) -> str:
    """A file by its name only."""
    return Path(name).name if name.lower().endswith((".csv", ".toml")) else name
