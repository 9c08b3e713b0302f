"""What a study says, as findings: its answer from its numbers, what sets a trip apart, and what a reader must know first.

Their words stand in `catalogue/wording/english.toml`. Here `name` is a quantity of `sim.studies.quantities`.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.errors import StudyError
from sim.messages import studies as say
from sim.studies.amounts import amount, difference, key_amount, key_words
from sim.studies.answers import usable
from sim.studies.quantities import QUANTITIES
from sim.studies.question import WORDS, Study
from sim.studies.result import StudyResult
from sim.wording import Amount, Finding, finding, kinds_in, said, wordings
from sim.writing import write_file

MORE_IS_BETTER = (
    "fuel_mpg_us", "fuel_credited_mpg_us", "mean_speed_m_s", "top_gear_time_s", "least_tank_pressure_kpa",
)  # fmt: skip
MOST_NAMED = 4  # roads, cases or keys a sentence lists
SMALL_SHARE = 0.001  # of all differences; a key that decides less is not worth a word
SMALL_CHANGE = 0.0005  # of a mean; a smaller one is none

# ---------------------------------------------------------------- one trip


def trip_settings(result: StudyResult, row: int, but: str = "") -> list[Any]:
    """What sets a trip apart: texts, and settings as findings.

    Parameters
    ----------
    row : int
        Of the table.
    but : str
        A key that is left out.
    """
    return [
        key_amount(key, value) if key in (*WORDS, "case") else setting(key, value)
        for key, value in result.varied(row).items()
        if key != but
    ]


def setting(key: str, value: Any) -> Finding:
    """A varied key and its value."""
    return finding("study.setting", key=key_words(key), value=key_amount(key, value))


def trip_words(result: StudyResult, number: int, units: str) -> str:
    """What sets a trip apart, in words.

    Parameters
    ----------
    number : int
        Of the trip.
    """
    row = int(np.flatnonzero(result.column("number") == number)[0])
    return said(finding("study.trip", settings=trip_settings(result, row)), units)


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


def answer_of(result: StudyResult) -> list[Finding]:
    """The answer of a study, a sentence each."""
    answers = result.answers
    if "fuel_test" in answers:
        return _fuel_test(answers["fuel_test"])
    if "best" in answers:
        return _best(answers["best"])
    name = result.report[0]
    if not answers["quantities"][name]["trips"]:
        return [finding("study.nothing_arrived")]
    if "cases" in answers and len(result.plan.axes) - ("road" in result.plan.axes) == 1:
        return _cases(result, answers["cases"])
    return _sample(result, name) if result.plan.study.sample else _grid(result, name)


def answer_sentences(result: StudyResult, units: str = "both") -> list[str]:
    """The answer of a study in words."""
    return [said(found, units) for found in answer_of(result)]


def leads(name: str) -> str:
    """Whether the least or the most of a quantity is looked for.

    Returns
    -------
    word : str
        least or most.
    """
    return "most" if name in MORE_IS_BETTER else "least"


def _share(value: float) -> Amount:
    """A share; a large one needs no digits."""
    return Amount(value, "share", 1 if abs(value) < 0.1 else 0)


def _more(value: float) -> Amount:
    """By which share something is more, or less."""
    return Amount(value, "share", 1, "difference")


def _fuel_test(verdict: Mapping[str, Any]) -> list[Finding]:
    """What the two trucks show."""
    if verdict["saved_percent"] is None:
        return [finding("study.test_not_complete")]
    saved, better, accuracy, band = (
        verdict[f"{key}_percent"] / 100.0 for key in ("saved", "improvement", "accuracy", "band")
    )
    shares = {"fuel": abs(saved), "economy": abs(better)}
    found = [finding("study.fuel_saved", **shares) if saved >= 0.0 else finding("study.fuel_lost", **shares)]
    faults = []
    for part in ("before", "after"):
        if not verdict[part]["in_band"]:
            faults.append(finding("study.ratios_apart", part=part, band=_share(band)))
        if not verdict[part]["same_time"]:
            faults.append(finding("study.times_apart", part=part))
    if faults:
        return [*found, finding("study.test_does_not_count", faults=faults)]
    told = {"accuracy": _share(accuracy)}
    small = abs(saved) < accuracy
    return [*found, finding("study.test_within_chance", **told) if small else finding("study.test_counts", **told)]


def _best(best: Mapping[str, Any]) -> list[Finding]:
    """The answer key."""
    if "settings" not in best:
        return [finding("study.nothing_driven")]
    settings = [setting(key, value) for key, value in best["settings"].items()]
    if not best["found"]:
        broken = [_bound(name, bound) for name, bound in best["bounds"].items() if _breaks(bound)]
        why = finding("study.breaks", bounds=broken) if broken else finding("study.did_not_arrive")
        return [finding("study.no_trip_keeps_all", trips=best["trips"], settings=settings, why=why)]
    name = best["quantity"]
    told: dict[str, Any] = {
        "words": best["words"],
        "value": amount(name, best["quantities"][name]),
        "settings": settings,
    }
    told["number"] = best["number"]
    found = [finding("study.most_within", **told) if best["most"] else finding("study.least_within", **told)]
    held = [_bound(each, best["bounds"][each]) for each in holding_back(best)]
    if held:
        found.append(finding("study.held_back", bounds=held))
    elif best["bounds"]:
        found.append(finding("study.not_held_back"))
    counts = {key: best[key] for key in ("trips", "combinations")}
    if best["all_driven"]:
        return [*found, finding("study.all_combinations", **counts)]
    if best["no_step_betters"]:
        return [*found, finding("study.no_step_betters", **counts)]
    return [*found, finding("study.steps_not_driven", **counts)]


def _bound(name: str, bound: Mapping[str, Any]) -> Finding:
    """A bound and what was reached."""
    reached, limit = amount(name, bound["value"]), amount(name, bound["bound"])
    return finding("study.bound", words=QUANTITIES[name][0], value=reached, side=bound["side"], bound=limit)


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


def _cases(result: StudyResult, cases: Mapping[str, Any]) -> list[Finding]:
    """What each case does against the first."""
    name, first = result.report[0], cases[result.report[0]][0]
    words, more = QUANTITIES[name][0], leads(name) == "most"
    others = [row for row in cases[name] if row["percent"] is not None and row["case"] != first["case"]]
    if not others:
        return [finding("study.no_case_compared")]
    order = sorted(others, key=lambda row: row["percent"], reverse=more)
    listed = [finding("study.case", case=row["case"], share=_more(row["percent"] / 100.0)) for row in order]
    told: dict[str, Any] = {
        "case": first["case"],
        "words": words,
        "value": amount(name, first["value"]),
        "cases": listed,
    }
    several = len(set(result.column("road").tolist())) > 1
    found = [finding("study.against_mean", **told) if several else finding("study.against", **told)]
    best = order[0]
    if (best["percent"] > 0.0) != more or abs(best["percent"]) < 100.0 * SMALL_CHANGE:
        return [*found, finding("study.none_better", words=words)]
    told = {"case": best["case"], "words": words, "share": _share(abs(best["percent"]) / 100.0)}
    told["change"] = difference(name, best["difference"])
    found.append(finding("study.adds_most", **told) if more else finding("study.saves_most", **told))
    if "time_s" in cases and name != "time_s":
        time = next(row["percent"] for row in cases["time_s"] if row["case"] == best["case"])
        if time is not None and abs(time) >= 100.0 * SMALL_CHANGE:
            share = _share(abs(time) / 100.0)
            found.append(
                finding("study.takes_more", share=share) if time > 0 else finding("study.takes_less", share=share)
            )
    return found


def _grid(result: StudyResult, name: str) -> list[Finding]:
    """Where the least lies on each road, and what decides."""
    roads = list(dict.fromkeys(result.column("road").tolist()))
    keys = [key for key in result.plan.varied_keys if key != "road"]
    found = [_extreme(result, name, road) for road in roads[:MOST_NAMED]]
    if len(roads) > MOST_NAMED:
        found.append(finding("study.more_roads", roads=len(roads) - MOST_NAMED))
    shares = {key: entry["share"] for key, entry in result.answers["effects"].get(name, {}).items()}
    if len(keys) > 1 and all(share is not None for share in shares.values()) and shares:
        order_of = sorted(((share, key) for key, share in shares.items() if share >= SMALL_SHARE), reverse=True)
        explained = [
            finding("study.explains", key=key_words(key), share=Amount(share, "share"))
            for share, key in order_of[:MOST_NAMED]
        ]
        together = Amount(sum(result.answers["interactions"].get(name, {}).values()), "share")
        found.append(finding("study.shares", words=QUANTITIES[name][0], keys=explained, together=together))
    if name != "time_s" and "time_s" in result.report and len(keys) == 1:
        found += _cost_in_time(result, name, keys[0])
    return found


def _extreme(result: StudyResult, name: str, road: str) -> Finding:
    """Where the least, or the most, of a quantity lies on a road, and how far the worst is from it."""
    values = result.column(name).astype(float)
    rows = np.flatnonzero(usable(result, name) & (result.column("road") == road))
    words = QUANTITIES[name][0]
    if not len(rows):
        return finding("study.nothing_arrived_on", road=road)
    order = rows[np.argsort(values[rows], kind="stable")]
    best, worst = (order[0], order[-1]) if leads(name) == "least" else (order[-1], order[0])
    ties = int(np.sum(np.abs(values[rows] - values[best]) <= 1e-9 * max(abs(values[best]), 1.0)))
    told: dict[str, Any] = {"road": road, "words": words, "value": amount(name, values[best])}
    if len(rows) == 1:
        return finding("study.one_trip", **told)
    told |= {"settings": trip_settings(result, best, "road"), "worst": amount(name, values[worst])}
    percents = (name.startswith("fuel") or name in ("time_s", "co2_kg")) and values[best]
    if values[worst] == values[best]:
        told["rest"] = finding("study.all_the_same")
    elif percents:
        share = _more((values[worst] - values[best]) / values[best])
        told["rest"] = finding("study.worst_by", value=told["worst"], share=share)
    else:
        told["rest"] = finding("study.worst", value=told["worst"])
    if ties > 1 and values[worst] != values[best]:
        told["settings"] = [*told["settings"], finding("study.as_others", trips=ties - 1)]
    return finding("study.most_on", **told) if leads(name) == "most" else finding("study.least_on", **told)


def _cost_in_time(result: StudyResult, name: str, key: str) -> list[Finding]:
    """What the least of a quantity costs in time against the fastest trip of the same road."""
    both, found = usable(result, name) & usable(result, "time_s"), []
    for road in dict.fromkeys(result.column("road").tolist()):
        rows = np.flatnonzero(both & (result.column("road") == road))
        if len(rows) < 2:
            continue
        values, times = result.column(name)[rows].astype(float), result.column("time_s")[rows].astype(float)
        best = int(np.argmax(values) if leads(name) == "most" else np.argmin(values))
        fast = int(np.argmin(times))
        if best != fast and times[best] - times[fast] >= 1.0:
            told = {"road": road, "time": float(times[best] - times[fast])}
            found.append(finding("study.costs_time", value=key_amount(key, result.column(key)[rows[fast]]), **told))
    return found[:MOST_NAMED]


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


def _sample(result: StudyResult, name: str) -> list[Finding]:
    """What each input does, by the straight-line fit."""
    entry, ranked, words = result.answers["sensitivity"].get(name), swings(result, name), QUANTITIES[name][0]
    if not ranked or not entry:
        return [finding("study.too_few", words=words)]
    inputs = [
        finding("study.swing", key=key_words(key), change=difference(name, swing), low=key_amount(key, low),
                high=key_amount(key, high))
        for key, low, high, swing in ranked[:MOST_NAMED]
    ]  # fmt: skip
    found = [finding("study.depends", words=words, most=key_words(ranked[0][0]), inputs=inputs)]
    if entry["explained"] is not None:
        share = Amount(entry["explained"], "share", 1)
        others = [word for word in (*WORDS, "case") if len(result.plan.axes.get(word, ())) > 1]
        found.append(
            finding("study.lines_explain_within", share=share, others=others) if others
            else finding("study.lines_explain", share=share)
        )  # fmt: skip
    return found


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


def answers_json(result: StudyResult) -> str:
    """What the study found, and the findings of its answer, as JSON text."""
    answer = [found.data() for found in answer_of(result)]
    return json.dumps({**result.answers, "answer": answer}, indent=1, allow_nan=False)


def write_answers(result: StudyResult) -> None:
    """Keeps the answers of a study beside its tables.

    Raises
    ------
    StudyError
        They cannot be written; finished trips are safe.
    """
    try:
        write_file(result.folder / "answers.json", answers_json(result).encode())
    except OSError as problem:
        raise StudyError(
            say.cannot_write(place=str(result.folder), reason=problem.strerror or str(problem), kept=result.trips)
        ) from None
