"""Which figures answer the question of a study: pure functions, plain SVG, few points however many trips there are."""

import numpy as np
import plotly.graph_objects as go

from dashboard.fuel_study.frames import MOST_PANELS, title_of
from dashboard.fuel_study.level_figures import case_figure, energy_study_figure, level_figure, spread_figure
from dashboard.fuel_study.surface_figures import contour_figure, heat_figure
from dashboard.fuel_study.trip_figures import parallel_figure, pareto_figure, search_figure
from dashboard.fuel_study.verdict_figures import fuel_test_figure, sensitivity_figure
from sim.studies.amounts import key_words
from sim.studies.answers import FUELS, numeric_keys
from sim.studies.findings import swings
from sim.studies.result import StudyResult

Drawn = tuple[str, str, go.Figure]


def figures_of(result: StudyResult, units: str = "metric") -> list[Drawn]:
    """The figures that answer the question of a study.

    Parameters
    ----------
    units : str
        metric or us.

    Returns
    -------
    figures : list of (str, str, Figure)
        Title, caption and figure, the most telling first; none where no trip arrived.
    """
    if not (result.column("state") == "arrived").any():
        return []
    if result.plan.study.fuel_test:
        caption = (
            "A mark is a run: both trucks over the same road in the same weather. The shaded band starts at the highest"
        )
        return [
            (
                "The ratios of the runs",
                f"{caption} ratio; all marks of a part must lie in it.",
                fuel_test_figure(result),
            )
        ]
    if result.plan.study.best:
        return _search_figures(result, units)
    return _grid_figures(result, units)


def _search_figures(result: StudyResult, units: str) -> list[Drawn]:
    """The trips of a search."""
    best = result.plan.study.best
    assert best is not None
    found: list[Drawn] = []
    bounds = [*best.at_most, *best.at_least]
    wide = [n for n in bounds if n != best.quantity and len(np.unique(result.column(n)[result.driven])) > 1]
    for name in wide[:3]:
        title = f"All trips tried: {title_of(best.quantity, units)} against {title_of(name, units)}"
        found.append(
            (
                title,
                "Every mark is a trip. The best keeps every bound, not only the one drawn.",
                search_figure(result, name, units),
            )
        )
    names = list(dict.fromkeys([best.quantity, *wide]))[:4]
    caption = (
        "Every path is a trip, from its settings to what it gave; colour by fifths of the trips that keep all bounds."
    )
    found.append(
        ("Settings and what they gave", caption, parallel_figure(result, list(best.between)[:6], names, units))
    )
    return found


def _grid_figures(result: StudyResult, units: str) -> list[Drawn]:
    """The figures of grids, cases and samples."""
    main = next((name for name in result.report if result.answers["quantities"][name]["trips"]), "")
    if not main:
        return []
    words = title_of(main, units)
    keys = [key for key, values in result.plan.axes.items() if len(values) > 1]
    inner = [key for key in keys if key != "road"] or keys
    found: list[Drawn] = []
    fuel = next((name for name in result.report if name in FUELS), None)
    if result.plan.study.sample:
        slopes = result.answers["sensitivity"][main]["keys"]
        if slopes:
            caption = "One straight-line fit; thin bars: 95 % interval. Percents of a mean near nothing say little."
            if any(entry["percent_per_percent"] is None for entry in slopes.values()):
                caption += " No bar on the right: per cent of a wind or a temperature mean nothing."
            found.append((f"What {words} depends on", caption, sensitivity_figure(result, main, units)))
            ranked = [key for key, *_ in swings(result, main)]
            if len(ranked) > 1:
                caption = (
                    "A surface of the second degree through the trips (dots), all other inputs brought to their means by the"
                    " straight-line fit; drawn only where trips lie around."
                    if len(ranked) > 2 or keys
                    else "Interpolated between the trips (dots)."
                )
                found.append(
                    (
                        f"{words} by the two inputs that matter most",
                        caption,
                        contour_figure(result, main, ranked[0], ranked[1], units),
                    )
                )
            found.append((f"Spread of {words}", "Box: the middle half of the trips; line: the middle trip; ends: least and most.",
                          spread_figure(result, main, ranked[0], units)))  # fmt: skip
    elif len(inner) == 1:
        if inner[0] == "case":
            caption = "Each case against the first, everything else equal."
            found.append((f"What each case does to {words}", caption, case_figure(result, main, units)))
        for name in result.report[:3]:
            if result.answers["quantities"][name]["trips"]:
                title = f"{title_of(name, units)} by {key_words(inner[0])}"
                found.append(
                    (
                        title,
                        "Trips that arrived. Bars start at nothing; lines do not.",
                        level_figure(result, name, inner[0], units),
                    )
                )
    else:
        order = sorted(inner, key=lambda key: (key in numeric_keys(result), len(result.plan.axes[key])), reverse=True)
        along, up, *rest = order
        by = rest[0] if rest else ("road" if "road" in keys else "")
        for name in result.report[:2]:
            title = f"{title_of(name, units)} by {key_words(along)} and {key_words(up)}"
            caption = "An empty cell: no trip arrived there."
            if by and len(result.plan.axes[by]) > MOST_PANELS:
                caption += f" The first {MOST_PANELS} of {len(result.plan.axes[by])} are drawn; the tables have all."
            found.append((title, caption, heat_figure(result, name, along, up, by, units)))
        found.append((f"Spread of {words}", "Box: the middle half of the trips; line: the middle trip; ends: least and most.",
                      spread_figure(result, main, "case" if "case" in keys else along, units)))  # fmt: skip
        if not rest and {along, up} <= set(numeric_keys(result)) and not by:
            found.append(
                (
                    f"{words} between the trips",
                    "Interpolated between the trips (dots).",
                    contour_figure(result, main, along, up, units),
                )
            )
    numbers = numeric_keys(result)
    if len(numbers) > 1:
        caption = f"Every path is a trip; colour by fifths of {words}. Dotted: with a warning, or did not arrive."
        names = list(dict.fromkeys([main, *result.report]))[:4]
        found.append(("Inputs and what they gave", caption, parallel_figure(result, numbers[:7], names, units)))
    if fuel and "time_s" in result.report:
        caption = (
            "No trip on the line is bettered by another: less of the one costs more of the other. Every other trip is, or is"
            " as good as one on the line to a second and a hundredth of fuel."
        )
        roads = len(set(result.column("road").tolist()))
        if roads > MOST_PANELS:
            caption += f" The first {MOST_PANELS} of {roads} roads are drawn; the tables have all."
        found.append(
            ("Time against fuel: what cannot be bettered", caption, pareto_figure(result, "time_s", fuel, units))
        )
    if fuel and keys:
        key = inner[0]
        caption = "Sums over the trips that arrived. Terms below half a percent stand together."
        found.append(("Where the energy went", caption, energy_study_figure(result, key, units)))
    return found
