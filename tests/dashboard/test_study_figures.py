"""Figures of studies: what is drawn is what the table and the answers say, in both systems of units, and can be read.

Factors between units are those of NIST SP 811: 1 mi = 1609.344 m, 1 US gal = 3.785411784 L, 1 lb = 0.45359237 kg, F = 1.8 C + 32.
"""

import re

import numpy as np
import pytest
from scipy.spatial import ConvexHull, Delaunay

from dashboard.fuel_study.figures import figures_of
from dashboard.fuel_study.frames import MOST_PANELS
from dashboard.fuel_study.level_figures import case_figure, energy_study_figure, level_figure, spread_figure
from dashboard.fuel_study.surface_figures import MOST_CELLS, contour_figure, heat_figure
from dashboard.fuel_study.trip_figures import (
    FIFTHS,
    MOST_PATHS,
    out_of_bounds,
    parallel_figure,
    pareto_figure,
    search_figure,
)
from dashboard.fuel_study.verdict_figures import fuel_test_figure, per_unit_text, sensitivity_figure
from sim.studies.amounts import quantity_text
from sim.studies.findings import swings
from sim.studies.runner import run_study
from sim.units import clock_time

KM_PER_MILE, LITRES_PER_GALLON, KG_PER_POUND = 1.609344, 3.785411784, 0.45359237
GALLONS_PER_100_MILES = KM_PER_MILE / LITRES_PER_GALLON  # of a litre per 100 km
HILL = "grade:1%,0.8km,100m"  # ends 8 m higher: fuel is credited for the height
LEVEL = "grade:0%,0.8km"
QUICK = {"form": 1, "title": "t", "truck": "long-haul-manual"}
FUEL = "fuel_l_per_100km"
CREDITED = "fuel_credited_l_per_100km"


@pytest.fixture(scope="module")
def drive(tmp_path_factory):
    """Drives a study from its tables."""

    def run(**tables):
        return run_study({**QUICK, **tables}, out=tmp_path_factory.mktemp("study") / "it")

    return run


@pytest.fixture(scope="module")
def grid(drive):
    """Two roads, three winds, three starts."""
    return drive(
        report=[FUEL, "time_s", "max_brake_temperature_c"],
        vary={"road": [LEVEL, HILL], "weather.wind_m_s": [-3, 0, 6], "start.speed_km_h": [50, 60, 70]},
    )


@pytest.fixture(scope="module")
def one_key(drive):
    """Two roads, four masses."""
    return drive(
        report=["fuel_kg", "time_s"],
        vary={"road": [LEVEL, HILL], "vehicle.mass_kg": [20000, 25000, 30000, 36000]},
    )


@pytest.fixture(scope="module")
def cases(drive):
    """Two roads, three cases, one of them called with markup in it."""
    return drive(
        report=["fuel_kg", "time_s"],
        vary={"road": [LEVEL, "grade:0.2%,0.8km"]},
        case=[
            {"name": "as it is"},
            {"name": "lighter & <b>bold</b>", "set": ["vehicle.mass_kg=25000"]},
            {"name": "blunt", "set": ["vehicle.drag_area_m2=9"]},
        ],
    )


@pytest.fixture(scope="module")
def sample(drive):
    """Three inputs, spread evenly."""
    return drive(
        road="grade:0%,2km",
        report=["fuel_l_per_100km", "time_s"],
        set=["cruise.set_speed_km_h=80", "start.speed_km_h=80"],
        sample={
            "trips": 40,
            "seed": 3,
            "between": {
                "vehicle.drag_area_m2": [4.5, 8],
                "weather.wind_m_s": [-4, 4],
                "vehicle.mass_kg": [20000, 36000],
            },
        },
    )


@pytest.fixture(scope="module")
def search(drive):
    """A small search with a bound that bites."""
    return drive(
        road="grade:-3%,0.6km,500m",
        report=["time_s", "max_speed_m_s"],
        set=["drill.hold_stage=0", "drill.service_brakes=false"],
        best={
            "least": "time_s",
            "trips": 40,
            "seed": 1,
            "between": {"drill.hold_gear": [7, 9, 1], "start.speed_km_h": [30, 48, 3]},
            "at_most": {"max_speed_m_s": 16},
        },
    )


@pytest.fixture(scope="module")
def fuel_test(drive):
    """A fuel test of two trucks."""
    return drive(
        road="grade:0%,8km",
        report=["fuel_kg", "time_s"],
        fuel_test={"set": ["vehicle.drag_area_m2=4.56"], "seed": 4, "weighing_g": 5.0},
    )


def drawn(figure) -> tuple[list[dict], dict]:
    """Lines and layout of a figure."""
    plain = figure.to_plotly_json()
    return plain["data"], plain["layout"]


def title_of(axis: dict) -> str:
    return axis["title"]["text"]


def column(result, name) -> np.ndarray:
    return result.column(name).astype(float)


# ---------------------------------------------------------------- levels


def test_level_means_are_those_of_the_table_road_by_road_in_their_order(one_key):
    mass, fuel, road = column(one_key, "vehicle.mass_kg"), column(one_key, "fuel_kg"), one_key.column("road")
    lines, layout = drawn(level_figure(one_key, "fuel_kg", "vehicle.mass_kg"))
    assert [line["name"] for line in lines] == [LEVEL, HILL] and layout["showlegend"]
    for line in lines:
        on = road == line["name"]
        assert list(line["x"]) == [20000.0, 25000.0, 30000.0, 36000.0] == mass[on].tolist()
        assert list(line["y"]) == pytest.approx(fuel[on].tolist(), rel=1e-12)
    assert len({line["marker"]["symbol"] for line in lines}) == len({line["line"]["dash"] for line in lines}) == 2
    assert (title_of(layout["xaxis"]), title_of(layout["yaxis"])) == ("vehicle mass, kg", "fuel, kg")


def test_levels_in_us_units(one_key):
    metric, _ = drawn(level_figure(one_key, "fuel_kg", "vehicle.mass_kg"))
    us, layout = drawn(level_figure(one_key, "fuel_kg", "vehicle.mass_kg", "us"))
    for one, other in zip(metric, us, strict=True):
        assert list(other["x"]) == pytest.approx([value / KG_PER_POUND for value in one["x"]])
        assert list(other["y"]) == pytest.approx([value / KG_PER_POUND for value in one["y"]])
    assert (title_of(layout["xaxis"]), title_of(layout["yaxis"])) == ("vehicle mass, lb", "fuel, lb")


def test_words_get_bars_from_nothing_with_the_numbers_of_the_table(cases):
    lines, layout = drawn(level_figure(cases, "time_s", "case"))
    time, road, case = column(cases, "time_s"), cases.column("road"), cases.column("case")
    for line in lines:
        its = [time[(road == line["name"]) & (case == name)].mean() for name in dict.fromkeys(case.tolist())]
        assert line["type"] == "bar" and list(line["y"]) == pytest.approx(its)
        assert list(line["text"]) == [quantity_text("time_s", value, "metric", False) for value in its]
    assert "lighter &amp; &lt;b&gt;bold&lt;/b&gt;" in lines[0]["x"], "a name is words, never markup"
    assert min(layout["yaxis"]["tickvals"]) == 0.0


def test_a_time_is_read_in_minutes_and_seconds(one_key):
    _, layout = drawn(level_figure(one_key, "time_s", "vehicle.mass_kg"))
    axis, time = layout["yaxis"], column(one_key, "time_s")
    assert title_of(axis) == "time, min:s"
    assert list(axis["ticktext"]) == [clock_time(mark) for mark in axis["tickvals"]]
    assert (
        min(axis["tickvals"]) <= time.min() and max(axis["tickvals"]) >= time.max() and 3 <= len(axis["tickvals"]) <= 11
    )


# ---------------------------------------------------------------- cases


def test_case_bars_are_percent_of_the_first_on_the_same_road(cases):
    lines, layout = drawn(case_figure(cases, "fuel_kg"))
    fuel, road, case = column(cases, "fuel_kg"), cases.column("road"), cases.column("case")
    for line in lines:
        on = road == line["name"]
        first = fuel[on & (case == "as it is")][0]
        others = [fuel[on & (case == name)][0] for name in ("lighter & <b>bold</b>", "blunt")]
        assert list(line["x"]) == pytest.approx([100.0 * (value / first - 1.0) for value in others])
        assert list(line["text"]) == [f"{value:+.1f} %" for value in line["x"]]
        assert list(line["y"]) == ["lighter &amp; &lt;b&gt;bold&lt;/b&gt;", "blunt"]
    assert layout["yaxis"]["autorange"] == "reversed", "the first case stands on top, as in the table"
    low, high = layout["xaxis"]["range"]
    ends = [value for line in lines for value in line["x"]]
    assert low < min(0.0, *ends) and high > max(0.0, *ends), "room for the words at the bars' ends"
    assert title_of(layout["xaxis"]) == "fuel: difference from “as it is”, %"
    mean = np.average([line["x"] for line in lines], axis=0,
                      weights=[fuel[(road == line["name"]) & (case == "as it is")][0] for line in lines])  # fmt: skip
    assert list(mean) == pytest.approx([row["percent"] for row in cases.answers["cases"]["fuel_kg"][1:]])


# ---------------------------------------------------------------- spread


@pytest.mark.parametrize("units", ["metric", "us"])
def test_boxes_are_quarters_of_the_trips_at_each_level(grid, units):
    lines, layout = drawn(spread_figure(grid, CREDITED, "weather.wind_m_s", units))
    boxes = [line for line in lines if line["type"] == "box"]
    factor = GALLONS_PER_100_MILES if units == "us" else 1.0
    fuel, wind = column(grid, CREDITED) * factor, column(grid, "weather.wind_m_s")
    for box, level in zip(boxes, (-3.0, 0.0, 6.0), strict=True):
        its = fuel[wind == level]
        for name, share in (("lowerfence", 0.0), ("q1", 0.25), ("median", 0.5), ("q3", 0.75), ("upperfence", 1.0)):
            assert box[name][0] == pytest.approx(np.quantile(its, share), rel=1e-9), name
    marks = [value for line in lines if line["type"] == "scatter" for value in line["y"]]
    assert sorted(marks) == pytest.approx(sorted(fuel.tolist()))
    assert [box["x"][0] for box in boxes] == (
        ["-3 m/s", "0 m/s", "6 m/s"] if units == "metric" else ["-6.711 mi/h", "0 mi/h", "13.42 mi/h"]
    )
    assert title_of(layout["yaxis"]) == f"fuel, height credited, {'L/100 km' if units == 'metric' else 'gal/100 mi'}"


def test_a_sampled_input_is_cut_into_five_ranges_of_equally_many_trips(sample):
    lines, layout = drawn(spread_figure(sample, FUEL, "weather.wind_m_s"))
    marks = [line for line in lines if line["type"] == "scatter"]
    assert [len(line["y"]) for line in marks] == [8, 8, 8, 8, 8]
    ends = [[float(end) for end in re.findall(r"-?[0-9.]+(?= m/s)", line["name"])] for line in marks]
    wind, fuel = column(sample, "weather.wind_m_s"), column(sample, FUEL)
    for (low, high), line in zip(ends, marks, strict=True):
        assert line["y"] and set(np.round(line["y"], 9)) <= set(
            np.round(fuel[(wind >= low - 2e-3) & (wind <= high + 2e-3)], 9).tolist()
        )
    assert [high for _, high in ends[:-1]] == [low for low, _ in ends[1:]]
    assert title_of(layout["xaxis"]) == "weather wind, m/s"


# ---------------------------------------------------------------- heat and contour


@pytest.mark.parametrize("units", ["metric", "us"])
def test_each_cell_is_the_mean_of_its_trips_a_panel_a_road_on_one_scale(grid, units):
    figure = heat_figure(grid, CREDITED, "weather.wind_m_s", "start.speed_km_h", "road", units)
    lines, layout = drawn(figure)
    factor = GALLONS_PER_100_MILES if units == "us" else 1.0
    fuel, wind, start, road = (grid.column(n) for n in (CREDITED, "weather.wind_m_s", "start.speed_km_h", "road"))
    assert len(lines) == 2 and [note["text"] for note in layout["annotations"]] == [f"<b>{LEVEL}</b>", f"<b>{HILL}</b>"]
    for line, where in zip(lines, (LEVEL, HILL), strict=True):
        for row, at_start in zip(line["z"], (50.0, 60.0, 70.0), strict=True):
            for value, at_wind in zip(row, (-3.0, 0.0, 6.0), strict=True):
                one = fuel[(road == where) & (wind == at_wind) & (start == at_start)]
                assert len(one) == 1 and value == pytest.approx(one[0] * factor)
        assert [[float(text) for text in row] for row in line["text"]] == [
            [pytest.approx(value, abs=0.51 if np.max(fuel) * factor >= 100 else 0.051) for value in row]
            for row in line["z"]
        ]
    assert lines[0]["zmin"] == lines[1]["zmin"] == pytest.approx(fuel.min() * factor)
    assert lines[0]["zmax"] == lines[1]["zmax"] == pytest.approx(fuel.max() * factor)
    assert [line["showscale"] for line in lines] == [True, False]
    unit = "m/s" if units == "metric" else "mi/h"
    assert title_of(layout["xaxis"]) == title_of(layout["xaxis2"]) == f"weather wind, {unit}"
    assert title_of(layout["yaxis"]) == f"start speed, {'km/h' if units == 'metric' else 'mi/h'}"
    assert lines[0]["colorbar"]["title"]["text"].endswith("L/100 km" if units == "metric" else "gal/100 mi")


def test_a_panel_averages_what_is_not_on_its_axes_and_shows_times_as_times(grid):
    (line,), _ = drawn(heat_figure(grid, "time_s", "weather.wind_m_s", "start.speed_km_h"))
    time, wind, start = (column(grid, n) for n in ("time_s", "weather.wind_m_s", "start.speed_km_h"))
    assert line["z"][2][1] == pytest.approx(time[(wind == 0.0) & (start == 70.0)].mean())
    assert line["text"][2][1] == clock_time(line["z"][2][1])
    assert list(line["colorbar"]["ticktext"]) == [clock_time(mark) for mark in line["colorbar"]["tickvals"]]


def test_an_empty_cell_where_no_trip_arrived_and_no_numbers_on_many_cells(drive):
    many = drive(
        road="grade:0%,0.2km",
        report=["time_s"],
        vary={
            "start.speed_km_h": {"from": 40, "to": 60, "steps": 11},
            "weather.wind_m_s": {"from": -3, "to": 3, "steps": 11},
        },
    )
    many._columns["state"] = np.where(many.column("number") == 1, "stalled", many.column("state")).astype(object)
    (line,), _ = drawn(heat_figure(many, "time_s", "weather.wind_m_s", "start.speed_km_h"))
    assert 121 > MOST_CELLS and line["texttemplate"] == ""
    empty = [(row, cell) for row, its in enumerate(line["z"]) for cell, value in enumerate(its) if value is None]
    assert empty == [(0, 0)] and line["text"][0][0] == ""


def test_a_contour_is_drawn_within_the_trips_alone_and_follows_them(sample):
    lines, layout = drawn(contour_figure(sample, FUEL, "weather.wind_m_s", "vehicle.drag_area_m2"))
    contour, cover, trips = lines
    wind, drag = column(sample, "weather.wind_m_s"), column(sample, "vehicle.drag_area_m2")
    assert sorted(trips["x"]) == pytest.approx(sorted(wind)) and sorted(trips["y"]) == pytest.approx(sorted(drag))
    around = Delaunay(np.column_stack([wind, drag]))
    x, y = np.array(contour["x"]), np.array(contour["y"])
    z = np.array([[np.nan if v is None else v for v in row] for row in contour["z"]])
    mesh = np.column_stack([each.ravel() for each in np.meshgrid(x, y)])
    within = (around.find_simplex(mesh) >= 0).reshape(z.shape)
    assert not np.isnan(z[within]).any(), "drawn up to the outermost trips"
    spare = ~np.isnan(z) & ~within
    assert spare.any() and spare.sum() < 0.1 * within.sum(), "one step beyond them, under the cover"
    # the cover's hole runs along the outermost trips
    corners = {(round(a, 6), round(b, 6)) for a, b in zip(cover["x"], cover["y"], strict=True)}
    outermost = {(round(float(wind[k]), 6), round(float(drag[k]), 6)) for k in ConvexHull(around.points).vertices}
    assert outermost <= corners and cover["fill"] == "toself" and cover["line"]["width"] == 0
    (left, right), (bottom, top) = layout["xaxis"]["range"], layout["yaxis"]["range"]
    assert {(left, bottom), (left, top), (right, top), (right, bottom)} <= set(zip(cover["x"], cover["y"], strict=True))

    # each trip brought to the mean mass by the published slope lies on the surface, but for what bends
    slope = sample.answers["sensitivity"][FUEL]["keys"]["vehicle.mass_kg"]["per_unit"]
    mass, fuel = column(sample, "vehicle.mass_kg"), column(sample, FUEL)
    level = fuel - slope * (mass - mass.mean())
    at = [z[np.argmin(np.abs(y - b)), np.argmin(np.abs(x - a))] for a, b in zip(wind, drag, strict=True)]
    assert np.corrcoef(at, level)[0, 1] > 0.99 and np.abs(np.array(at) - level).max() < 0.15 * np.ptp(level)
    assert (title_of(layout["xaxis"]), title_of(layout["yaxis"])) == ("weather wind, m/s", "drag area, m²")
    assert contour["colorbar"]["title"]["text"] == "fuel, L/100 km"


def test_a_contour_in_us_units_is_the_same_surface(sample):
    metric = drawn(contour_figure(sample, FUEL, "weather.wind_m_s", "vehicle.mass_kg"))[0][0]
    us, layout = drawn(contour_figure(sample, FUEL, "weather.wind_m_s", "vehicle.mass_kg", "us"))
    assert us[0]["y"] == pytest.approx([value / KG_PER_POUND for value in metric["y"]])
    pairs = [
        (a, b) for one, other in zip(metric["z"], us[0]["z"], strict=True) for a, b in zip(one, other, strict=True)
    ]
    assert all((a is None) == (b is None) for a, b in pairs)
    assert [b for a, b in pairs if a is not None] == pytest.approx(
        [a * GALLONS_PER_100_MILES for a, _ in pairs if a is not None], abs=1e-4
    )
    assert title_of(layout["yaxis"]) == "vehicle mass, lb"


def test_a_contour_of_two_inputs_alone_goes_through_the_trips(drive):
    alone = drive(
        road="grade:0%,0.4km",
        report=["time_s"],
        vary={"start.speed_km_h": [50, 60, 80], "weather.wind_m_s": [-6, 0, 6]},
    )
    contour = drawn(contour_figure(alone, "time_s", "start.speed_km_h", "weather.wind_m_s"))[0][0]
    x, y, z = np.array(contour["x"]), np.array(contour["y"]), np.array(contour["z"], dtype=float)
    for start, wind, time in zip(
        *(column(alone, n) for n in ("start.speed_km_h", "weather.wind_m_s", "time_s")), strict=True
    ):
        assert z[np.argmin(np.abs(y - wind)), np.argmin(np.abs(x - start))] == pytest.approx(time, abs=1e-3 * time)


def test_points_on_a_line_give_no_contour_and_no_error(sample):
    sample._columns["weather.wind_m_s"], kept = (
        2.0 * column(sample, "vehicle.drag_area_m2"),
        column(sample, "weather.wind_m_s"),
    )
    try:
        lines, _ = drawn(contour_figure(sample, FUEL, "weather.wind_m_s", "vehicle.drag_area_m2"))
    finally:
        sample._columns["weather.wind_m_s"] = kept
    assert [line["name"] for line in lines] == ["trips"]


def test_a_contour_over_roads_takes_out_what_they_differ_by(drive):
    both = drive(
        report=["time_s"],
        vary={"road": ["grade:0%,0.4km", "grade:0%,1.2km"]},
        sample={"trips": 16, "seed": 1, "between": {"start.speed_km_h": [50, 80], "weather.wind_m_s": [-6, 6]}},
    )
    time, road, start = column(both, "time_s"), both.column("road"), column(both, "start.speed_km_h")
    # quick trips on the long road are missing: roads left in would tilt the surface the wrong way
    astray = (road == "grade:0%,1.2km") & (start > 65.0)
    both._columns["state"] = np.where(astray, "stalled", "arrived").astype(object)
    contour = drawn(contour_figure(both, "time_s", "start.speed_km_h", "weather.wind_m_s"))[0][0]
    z = np.array([value for row in contour["z"] for value in row if value is not None])
    on_one = time[road == "grade:0%,0.4km"]
    apart = time[~astray & (road == "grade:0%,1.2km")].mean() - on_one.mean()
    assert apart > 4.0 * np.ptp(on_one), "roads differ far more than anything on one of them"
    assert np.ptp(z) < 0.5 * apart and z.mean() == pytest.approx(time[~astray].mean(), rel=0.1)


# ---------------------------------------------------------------- parallel axes


def parallel_parts(figure):
    """Paths of each colour, titles and marks of the axes."""
    lines, layout = drawn(figure)
    notes = layout["annotations"]
    titles = [note["text"] for note in notes if note["y"] > 1.01]
    marks = [[note for note in notes if note["x"] == place and note["y"] <= 1.0] for place in range(len(titles))]
    return lines, layout, titles, marks


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_trip_is_a_path_and_the_marks_are_the_ends_of_the_columns(sample, units):
    keys, names = ["vehicle.mass_kg", "weather.wind_m_s", "vehicle.drag_area_m2"], [FUEL, "time_s"]
    lines, _, titles, marks = parallel_parts(parallel_figure(sample, keys, names, units))
    scale = {
        "vehicle.mass_kg": 1 / KG_PER_POUND,
        "weather.wind_m_s": 3.6 / KM_PER_MILE,
        "vehicle.drag_area_m2": 1 / 0.3048**2,
        FUEL: GALLONS_PER_100_MILES,
    } if units == "us" else {}  # fmt: skip
    columns = [column(sample, name) * scale.get(name, 1.0) for name in (*keys, *names)]
    paths = [path for line in lines for path in np.array_split(np.array(line["y"], dtype=float), len(line["y"]) // 6)]
    assert len(paths) == sample.trips and all(np.isnan(path[5]) for path in paths)
    expected = np.column_stack([(each - each.min()) / np.ptp(each) for each in columns])
    got = np.array([path[:5] for path in paths])
    assert np.abs(got[np.lexsort(got.T[::-1])] - expected[np.lexsort(expected.round(4).T[::-1])]).max() < 2e-4
    for place, (its, values) in enumerate(zip(marks, columns, strict=True)):
        assert [note["y"] for note in its] == [0.0, 0.5, 1.0]
        wanted = [values.min(), 0.5 * (values.min() + values.max()), values.max()]
        if place == 4:
            assert [note["text"] for note in its] == [clock_time(value) for value in wanted]
            continue
        for note, value in zip(its, wanted, strict=True):
            assert float(note["text"].replace(",", "")) == pytest.approx(value, abs=0.051 * np.ptp(values))
    plain = [title.replace("<br>", " ").replace("\u00a0", " ") for title in titles]
    assert plain == (
        ["vehicle mass, kg", "weather wind, m/s", "drag area, m²", "fuel, L/100 km", "time, min:s"]
        if units == "metric"
        else ["vehicle mass, lb", "weather wind, mi/h", "drag area, ft²", "fuel, gal/100 mi", "time, min:s"]
    )


def test_labels_of_parallel_axes_can_be_read(search, sample, drive):
    """Short lines over each axis, few digits beside it, no powers of ten, no minus nothing, no half of a whole gear."""
    figures = [
        parallel_figure(sample, ["vehicle.mass_kg", "weather.wind_m_s", "vehicle.drag_area_m2"], [FUEL, "time_s"]),
        parallel_figure(
            search, list(search.plan.study.best.between), ["time_s", "max_speed_m_s", "max_brake_temperature_c"]
        ),
    ]
    for figure in figures:
        _, _, titles, marks = parallel_parts(figure)
        for title in titles:
            assert max(map(len, title.split("<br>"))) <= 18 and title.count("<br>") <= 3
        for note in (note for its in marks for note in its):
            digits = note["text"].replace(",", "").replace(".", "").replace("-", "").replace(":", "")
            assert digits.isdigit() and len(digits) <= 6 and note["text"] not in ("-0", "-0.0")
            assert note["font"]["size"] >= 12 and note["bgcolor"]
    gears = parallel_parts(figures[1])[3][0]
    assert [note["text"] for note in gears] == ["7", "8", "9"]
    two = drive(road="grade:0%,0.1km", report=["time_s"], vary={"drill.hold_gear": [8, 9], "weather.wind_m_s": [0, 3]})
    gears = parallel_parts(parallel_figure(two, ["drill.hold_gear", "weather.wind_m_s"], ["time_s"]))[3][0]
    assert [note["text"] for note in gears] == ["8", "9"]


def test_colours_are_fifths_of_the_first_quantity_least_dark(sample):
    lines, *_ = parallel_parts(parallel_figure(sample, ["weather.wind_m_s"], [FUEL]))
    fuel = column(sample, FUEL)
    coloured = [line for line in lines if line["line"]["color"] in FIFTHS]
    inside = fuel[~out_of_bounds(sample)]
    assert [line["line"]["color"] for line in coloured] == list(FIFTHS[::-1]), "least on top"
    edges = np.quantile(inside, np.linspace(0, 1, 6))
    for rank, line in zip(range(4, -1, -1), coloured, strict=True):
        low, high = edges[rank], edges[rank + 1]
        assert line["name"] == f"{low:.2f} to {high:.2f} L/100 km"
        heights = np.array(line["y"], dtype=float).reshape(-1, 3)[:, 1] * np.ptp(fuel) + fuel.min()
        assert heights.min() >= low - 1e-3 * np.ptp(fuel) and heights.max() <= high + 1e-3 * np.ptp(fuel)


def test_trips_out_of_bounds_are_dotted_and_called_by_their_reason(search, grid):
    lines, *_ = parallel_parts(parallel_figure(search, list(search.plan.study.best.between), ["time_s"]))
    speed = column(search, "max_speed_m_s")
    apart = next(line for line in lines if line["line"].get("dash") == "dot")
    assert apart["name"] == "breaks a bound or did not arrive"
    assert len(apart["y"]) // 4 == int((speed > 16.0).sum()) > 0
    assert (out_of_bounds(search) == (speed > 16.0)).all()
    kept = grid.column("warnings")
    grid._columns["warnings"] = np.array(['[{"kind": "warning.over_posted_limit"}]', *[""] * 17], dtype=object)
    try:
        assert out_of_bounds(grid).tolist() == [True, *[False] * 17], "without a search a warning sets a trip apart"
    finally:
        grid._columns["warnings"] = kept


def test_many_paths_are_thinned_but_least_and_most_stay(drive):
    many = drive(
        road="grade:0%,0.1km",
        report=["time_s"],
        vary={"start.speed_km_h": {"from": 30, "to": 80, "steps": 400}},
    )
    lines, *_ = parallel_parts(parallel_figure(many, ["start.speed_km_h"], ["time_s"]))
    heights = [value for line in lines for value in line["y"][1::3]]
    assert MOST_PATHS <= len(heights) <= MOST_PATHS + 2 and min(heights) == 0.0 and max(heights) == 1.0


# ---------------------------------------------------------------- time against fuel


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_front_is_the_set_of_the_answers_a_panel_a_road(grid, units):
    lines, layout = drawn(pareto_figure(grid, "time_s", CREDITED, units))
    factor = GALLONS_PER_100_MILES if units == "us" else 1.0
    assert [note["text"] for note in layout["annotations"]] == [f"<b>{LEVEL}</b>", f"<b>{HILL}</b>"]
    fuel, time, road = column(grid, CREDITED) * factor, column(grid, "time_s"), grid.column("road")
    for found, all_trips, front in zip(grid.answers["pareto"], lines[::2], lines[1::2], strict=True):
        on = road == found["road"]
        assert list(all_trips["x"]) == pytest.approx(time[on].tolist())
        assert list(all_trips["y"]) == pytest.approx(fuel[on].tolist())
        assert list(front["text"]) == [f"trip {trip['number']}" for trip in found["trips"]]
        assert list(front["x"]) == [trip["time_s"] for trip in found["trips"]]
        assert list(front["y"]) == pytest.approx([trip[CREDITED] * factor for trip in found["trips"]])
        assert front["mode"] == "lines+markers" and front["marker"]["symbol"] != all_trips["marker"]["symbol"]
    assert [line["showlegend"] for line in lines] == [True, True, False, False]
    assert title_of(layout["xaxis"]) == title_of(layout["xaxis2"]) == "time, min:s"
    assert title_of(layout["yaxis"]).endswith("L/100 km" if units == "metric" else "gal/100 mi")
    assert layout["xaxis"]["domain"][1] < layout["xaxis2"]["domain"][0], "panels do not touch"


def test_four_roads_stand_in_two_rows_and_a_fifth_is_said(drive):
    roads = [f"grade:0%,{length}km" for length in (0.2, 0.3, 0.4, 0.5, 0.6)]
    five = drive(report=[FUEL, "time_s"], vary={"road": roads, "weather.wind_m_s": [0, 5]})
    lines, layout = drawn(pareto_figure(five, "time_s", FUEL))
    assert len(lines) == 2 * MOST_PANELS
    assert layout["yaxis"]["domain"][0] > layout["yaxis3"]["domain"][1] and layout["yaxis3"]["domain"][0] >= 0.0
    caption = next(text for title, text, _ in figures_of(five) if title.startswith("Time against fuel"))
    assert f"first {MOST_PANELS} of 5 roads" in caption


# ---------------------------------------------------------------- slopes


@pytest.mark.parametrize("units", ["metric", "us"])
def test_slopes_and_their_intervals_are_those_of_the_answers(sample, units):
    (left, right), layout = drawn(sensitivity_figure(sample, FUEL, units))
    factor = GALLONS_PER_100_MILES if units == "us" else 1.0
    entries, ranked = sample.answers["sensitivity"][FUEL]["keys"], swings(sample, FUEL)
    assert [abs(value) for value in left["x"]] == sorted(abs(value) for value in left["x"]), "the largest on top"
    for place, (key, low, high, _) in enumerate(reversed(ranked)):
        entry, span = entries[key], high - low
        assert left["x"][place] == pytest.approx(entry["per_unit"] * span * factor)
        half = left["error_x"]["array"][place]
        assert half == pytest.approx((entry["high"] - entry["low"]) / 2 * span * factor)
        share = entry["percent_per_percent"]
        assert right["x"][place] == share
        if share is None:
            assert key == "weather.wind_m_s"
        else:
            ends = entry["high"] * share / entry["per_unit"], entry["low"] * share / entry["per_unit"]
            assert right["error_x"]["array"][place] == pytest.approx(abs(ends[0] - ends[1]) / 2)
    assert left["y"] == right["y"] and left["y"][-1].startswith("weather wind<br>")
    assert (
        title_of(layout["xaxis"]) == f"fuel, {'L/100 km' if units == 'metric' else 'gal/100 mi'}: change over the range"
    )
    assert title_of(layout["xaxis2"]) == "% per % at the means"
    caption = next(text for title, text, _ in figures_of(sample) if title.endswith("depends on"))
    assert "95 %" in caption and "per cent of a wind or a temperature mean nothing" in caption


def test_a_grid_has_bars_without_an_interval(one_key):
    (left, right), _ = drawn(sensitivity_figure(one_key, "fuel_kg"))
    assert "error_x" not in left and "error_x" not in right and len(left["x"]) == 1


def test_a_slope_in_words_carries_both_units(sample):
    slope = sample.answers["sensitivity"][FUEL]["keys"]["vehicle.mass_kg"]["per_unit"]
    number, rest = per_unit_text(FUEL, "vehicle.mass_kg", slope, "us").split(" ", 1)
    assert float(number) == pytest.approx(slope * GALLONS_PER_100_MILES * KG_PER_POUND, rel=1e-3)
    assert rest == "gal/100 mi per lb"
    assert per_unit_text("gear_shifts", "driveline.axle_ratio", 1.5, "us") == "+1.5 per 1"


# ---------------------------------------------------------------- energy


def test_energy_bars_add_up_to_what_was_supplied_at_each_level(one_key):
    lines, layout = drawn(energy_study_figure(one_key, "vehicle.mass_kg"))
    sums = np.sum([line["x"] for line in lines], axis=0)
    assert list(sums) == pytest.approx([100.0] * 4, abs=0.05)
    mass = column(one_key, "vehicle.mass_kg") == 36000.0
    supplied = (
        column(one_key, "energy_fuel_j")
        + np.maximum(column(one_key, "energy_height_given_up_j"), 0.0)
        + column(one_key, "energy_kinetic_at_start_j")
    )[mass].sum()
    rolling = next(line for line in lines if line["name"] == "rolling resistance")
    assert rolling["x"][3] == pytest.approx(100.0 * column(one_key, "energy_rolling_j")[mass].sum() / supplied)
    assert list(rolling["y"]) == ["20000 kg", "25000 kg", "30000 kg", "36000 kg"]
    assert [sum(line["x"]) for line in lines] == sorted((sum(line["x"]) for line in lines), reverse=True)
    assert all(line["name"] == "other" or max(map(abs, line["x"])) >= 0.5 for line in lines)
    assert layout["barmode"] == "relative" and title_of(layout["xaxis"]) == "share of the energy supplied, %"
    looks = {(line["marker"]["color"], line["marker"]["pattern"]["shape"]) for line in lines}
    assert len(looks) == len(lines), "told apart by colour and pattern"


# ---------------------------------------------------------------- searches and fuel tests


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_search_shows_every_trip_its_bound_and_the_best(search, units):
    lines, layout = drawn(search_figure(search, "max_speed_m_s", units))
    factor = 3.6 if units == "metric" else 3.6 / KM_PER_MILE
    speed, time = column(search, "max_speed_m_s") * factor, column(search, "time_s")
    breaks, keeps, best = lines
    assert [line["name"] for line in lines] == ["breaks a bound", "keeps all bounds", "best"]
    assert sorted(breaks["x"]) == pytest.approx(sorted(speed[speed > 16.0 * factor]))
    assert sorted(keeps["x"]) == pytest.approx(sorted(speed[speed <= 16.0 * factor]))
    row = search.column("number").tolist().index(search.answers["best"]["number"])
    assert (best["x"][0], best["y"][0]) == pytest.approx((speed[row], time[row]))
    assert best["y"][0] == min(keeps["y"]), "nothing that keeps the bounds is faster"
    assert layout["shapes"][0]["x0"] == layout["shapes"][0]["x1"] == pytest.approx(16.0 * factor)
    assert layout["annotations"][0]["text"] == f"bound, at most {16.0 * factor:.4g}"
    assert title_of(layout["xaxis"]) == f"highest speed, {'km/h' if units == 'metric' else 'mi/h'}"
    assert title_of(layout["yaxis"]) == "time, min:s"


def test_fuel_test_marks_ratios_means_and_bands(fuel_test):
    verdict = fuel_test.answers["fuel_test"]
    lines, layout = drawn(fuel_test_figure(fuel_test))
    low, high = layout["yaxis"]["range"]
    texts = [note["text"] for note in layout["annotations"]]
    for line, part in zip(lines, ("before", "after"), strict=True):
        ratios = [run["test_fuel_kg"] / run["control_fuel_kg"] for run in verdict["runs"] if run["part"] == part]
        assert list(line["y"]) == pytest.approx(ratios, rel=1e-12)
        assert all(f"{ratio:.4f}" in texts for ratio in ratios) and f"mean {np.mean(ratios):.4f}" in texts
        band = next(s for s in layout["shapes"] if s["type"] == "rect" and s["y1"] == max(ratios))
        assert band["y0"] == pytest.approx(0.98 * max(ratios)) and low < band["y0"] < band["y1"] < high
        assert band["x0"] < min(line["x"]) and max(line["x"]) < band["x1"]
        mean = next(s for s in layout["shapes"] if s["type"] == "line" and band["x0"] == s["x0"])
        assert mean["y0"] == mean["y1"] == pytest.approx(np.mean(ratios))
    assert list(layout["xaxis"]["ticktext"]) == ["before the change", "after the change"]
    assert len(texts) == len(verdict["runs"]) + 4


# ---------------------------------------------------------------- which figures


def test_each_kind_of_study_gets_its_figures_first_things_first(grid, one_key, cases, sample, search, fuel_test):
    def titles(result):
        return [title for title, *_ in figures_of(result)]

    assert titles(cases)[0] == "What each case does to fuel, kg"
    assert titles(one_key)[:2] == ["fuel, kg by vehicle mass", "time, min:s by vehicle mass"]
    assert titles(grid)[0].startswith("fuel, height credited, L/100 km by ")
    assert titles(sample)[:2] == ["What fuel, L/100 km depends on", "fuel, L/100 km by the two inputs that matter most"]
    assert titles(search) == ["All trips tried: time, min:s against highest speed, km/h", "Settings and what they gave"]
    assert titles(fuel_test) == ["The ratios of the runs"]
    for result in (grid, one_key, cases, sample, search):
        for title, caption, figure in figures_of(result, "us"):
            assert title and caption.endswith(".") and "km/h" not in title and "L/100" not in title
            assert figure.to_plotly_json()["data"]


def test_no_figure_where_nothing_arrived(drive):
    none = drive(road="grade:0%,0.2km", report=["time_s"], vary={"start.speed_km_h": [40, 50]})
    none._columns["state"] = np.array(["stalled", "runaway"], dtype=object)
    assert figures_of(none) == []
