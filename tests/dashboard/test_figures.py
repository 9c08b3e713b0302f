"""Figures against the results they are drawn from, and colours against published contrast rules."""

import base64
import itertools
import math

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboard.paper import palette
from dashboard.paper.panels import Panel, arrangement, print_changes, stacked
from dashboard.server.thinning import MOST_POINTS, event_rows, thinned_rows
from dashboard.trip.control_figure import chart_of, control_figure, driven_points
from dashboard.trip.energy_figure import energy_figure, energy_shares, supplied_energy
from dashboard.trip.figures import comparison_figure, reach_of, road_places, trip_figure
from sim import compare_trips, load_route
from sim.trips.result import BEST_RETARDING_RPM

T1 = "long-haul-manual"
SHORT = "grade:-6%,1km,1100m"


def lines_of(figure: go.Figure, name: str) -> list[dict]:
    """The traces of one name."""
    return [trace for trace in figure.to_plotly_json()["data"] if trace.get("name") == name]


def line_of(figure: go.Figure, name: str) -> dict:
    """The one trace of a name."""
    (line,) = lines_of(figure, name)
    return line


def array_of(value) -> np.ndarray:
    """Numbers of a trace as they go to the browser, decoded as the browser decodes them."""
    if isinstance(value, dict):
        return np.frombuffer(base64.b64decode(value["bdata"]), dtype=value["dtype"]).astype(float)
    return np.array(value, dtype=float)


# ---------------------------------------------------------------- thinning


def test_thinning_keeps_extremes_ends_and_rows_asked_for():
    values = np.sin(np.linspace(0.0, 400.0, 50_000)) + np.random.default_rng(7).normal(0.0, 0.2, 50_000)
    values[31_234], values[8_888] = 9.0, -9.0
    always = np.array([17, 4_711, 40_000])
    rows = thinned_rows(values, always)
    assert len(rows) <= MOST_POINTS
    assert {0, 49_999, 31_234, 8_888, 17, 4_711, 40_000} <= set(rows.tolist())
    assert np.all(np.diff(rows) > 0)
    for first in range(0, 50_000 - 100, 5_000):  # every stretch keeps what an eye would see of it
        part = rows[(rows >= first) & (rows < first + 5_000)]
        assert values[part].max() == values[first : first + 5_000].max()
        assert values[part].min() == values[first : first + 5_000].min()


def test_thinning_leaves_a_short_line_alone_and_survives_gaps():
    assert thinned_rows(np.arange(10.0), np.array([3])).tolist() == list(range(10))
    assert thinned_rows(np.array([5.0]), np.array([], dtype=int)).tolist() == [0]
    values = np.full(9_000, np.nan)
    values[4_000] = 3.0
    rows = thinned_rows(values, np.array([], dtype=int))
    assert 4_000 in rows and len(rows) <= MOST_POINTS
    everything = thinned_rows(np.zeros(30_000), np.arange(30_000))
    assert len(everything) <= MOST_POINTS


def test_a_long_trip_keeps_its_events_and_extremes(trip):
    result = trip("long-haul-automated", "kessarin-round")
    assert len(result.trace["time_s"]) > 4 * MOST_POINTS
    figure = trip_figure(result)
    for trace in figure.to_plotly_json()["data"]:
        assert len(array_of(trace["x"])) <= MOST_POINTS
    drawn = array_of(line_of(figure, "mean")["y"])
    column = result.trace["brake_temperature_c"]
    assert drawn.max() == pytest.approx(column.max(), rel=1e-6)
    assert drawn.min() == pytest.approx(column.min(), rel=1e-6)
    places = array_of(line_of(figure, "speed")["x"])
    rows = event_rows(result)
    assert len(rows) > 50
    at = result.trace["distance_m"][rows] / 1000.0
    assert np.abs(places[:, None] - at[None, :]).min(axis=0).max() < 1e-4


def test_rows_of_events_are_the_rows_of_their_time(cruising):
    """What only the driver knows leaves no row of its own: the next one shows it."""
    rows = event_rows(cruising)
    times = cruising.trace["time_s"][rows]
    apart = np.array([np.abs(times - event["time_s"]).min() for event in cruising.events])
    assert apart.max() <= cruising.settings.simulation.log_s and np.mean(apart < 1e-6) > 0.5


# ---------------------------------------------------------------- the numbers are the result's


COLUMNS = [
    ("speed", "speed_m_s", 3.6),
    ("posted limit", "speed_limit_m_s", 3.6),
    ("aimed for", "target_speed_m_s", 3.6),
    ("cruise set", "set_speed_m_s", 3.6),
    ("engine", "engine_speed_rpm", 1.0),
    ("torque", "engine_torque_n_m", 1.0),
    ("fuel", "fuel_rate_g_s", 1.0),
    ("working", "brake_stage", 1.0),
    ("asked for", "stage_requested", 1.0),
    ("engine brake", "engine_brake_power_kw", 1.0),
    ("service brakes", "service_brake_power_kw", 1.0),
    ("mean", "brake_temperature_c", 1.0),
    ("steer axle", "brake_temperature_steer_c", 1.0),
    ("drive axles", "brake_temperature_drive_c", 1.0),
    ("trailer axles", "brake_temperature_trailer_c", 1.0),
    ("second opinion: set A [3]", "severity_temperature_a_c", 1.0),
    ("second opinion: set B [3]", "severity_temperature_b_c", 1.0),
    ("grade", "grade_percent", 1.0),
    ("gear (right)", "gear", 1.0),
]


@pytest.mark.parametrize(("name", "column", "factor"), COLUMNS)
def test_a_line_carries_the_column_of_the_trace(cruising, name, column, factor):
    line = line_of(trip_figure(cruising, 10**9), name)
    drawn, given = array_of(line["y"]), factor * cruising.trace[column]
    shown = np.isfinite(drawn)
    assert len(drawn) == len(given) and shown.sum() > 100
    assert drawn[shown] == pytest.approx(given[shown], rel=1e-6, abs=1e-4)
    assert np.all(given[~shown] <= 0.0)  # a gap is neutral, or no cruise speed
    assert array_of(line["x"]) == pytest.approx(cruising.trace["distance_m"] / 1000.0, rel=1e-6, abs=1e-6)


def test_the_road_is_coloured_by_the_stage_that_works(cruising):
    figure = trip_figure(cruising, 10**9)
    stage, height = cruising.trace["brake_stage"], cruising.trace["elevation_m"]
    for number in range(4):
        line = line_of(figure, f"stage {number}" if number else "stage 0 (off)")
        drawn = array_of(line["y"])
        assert np.all(np.isfinite(drawn[stage == number]))
        shown = np.isfinite(drawn)
        assert drawn[shown] == pytest.approx(height[shown], rel=1e-6)
        before = np.concatenate([[False], stage[:-1] == number])
        assert np.array_equal(shown, (stage == number) | before)
        assert line["line"]["color"] == palette.STAGE_COLOURS[number]


def test_over_the_limit_is_shaded_only_where_it_counts(hot):
    figure = trip_figure(hot, 10**9)
    upper = array_of(line_of(figure, "over the limit")["y"])
    limit, speed = 3.6 * hot.trace["speed_limit_m_s"], 3.6 * hot.trace["speed_m_s"]
    counted = speed > limit + hot.settings.simulation.limit_tolerance_km_h
    assert counted.sum() > 0
    assert upper == pytest.approx(np.where(counted, speed, limit), rel=1e-6)
    assert array_of(line_of(figure, "edge")["y"]) == pytest.approx(limit, rel=1e-6)


def test_limits_and_published_bands_stand_where_their_sources_say(hot):
    """260 C is 500 F; TM 9-2320-363-10 gives 1750 to 2100 rpm; governed speed is the truck's."""
    figure = trip_figure(hot)
    assert line_of(figure, "limit 260 C = 500 F [2]")["y"] == [260.0, 260.0]
    assert BEST_RETARDING_RPM == (1750.0, 2100.0)
    assert sorted(set(line_of(figure, "best for retarding, 1750-2100 [1]")["y"])) == [1750.0, 2100.0]
    governed = hot.truck.engine.governed_rpm
    assert line_of(figure, f"governed {governed:.0f}")["y"] == [governed, governed]
    notes = [note["text"] for note in figure.to_plotly_json()["layout"]["annotations"]]
    assert "limit 260 C = 500 F [2]" in notes


def test_both_published_sets_are_lines_of_their_own_and_say_what_they_are(hot):
    figure = trip_figure(hot)
    lines = [*(line_of(figure, f"second opinion: set {letter} [3]") for letter in "AB"), line_of(figure, "mean")]
    assert len({line["line"]["dash"] for line in lines}) == 3
    for line, key in zip(lines, ("published_brake_temperature_a_c", "published_brake_temperature_b_c"), strict=False):
        assert array_of(line["y"]).max() == pytest.approx(hot.summary[f"max_{key}"], abs=0.5)


def test_a_truck_outside_the_published_model_has_no_such_lines(trip):
    result = trip("dump-three-axle", SHORT)
    figure = trip_figure(result)
    assert not lines_of(figure, "second opinion: set A [3]")
    assert not lines_of(figure, "trailer axles")
    assert lines_of(figure, "mean")


def test_signs_stops_and_curves_stand_on_the_road(trip):
    result = trip(T1, "skarrow-grade")
    places = road_places(result)
    route = load_route("skarrow-grade")
    assert [place for place, kind, _ in places if kind == "sign"] == [sign.distance for sign in route.signs]
    assert sum(kind == "stop" for _, kind, _ in places) == len(route.stops)
    line = line_of(trip_figure(result), "signs")
    heights = [route.elevation_at(sign.distance) for sign in route.signs]
    assert list(line["y"]) == pytest.approx(heights)
    assert "8 % ahead, curve 40" in " ".join(line["customdata"])


# ---------------------------------------------------------------- axes


US = [(1, 1 / 0.3048, 0.0), (3, 1 / 1.609344, 0.0), (4, 1.8, 32.0), (8, 0.737562, 0.0), (9, 7.936641, 0.0)]


@pytest.mark.parametrize(("panel", "factor", "offset"), US)
def test_the_right_axis_is_the_left_one_in_us_units(hot, panel, factor, offset):
    """Foot and mile by definition; 1 N m = 0.737562 lb ft and 1 g/s = 7.936641 lb/h (NIST SP 811, appendix B.8)."""
    layout = trip_figure(hot).to_plotly_json()["layout"]
    left = layout["yaxis" if panel == 1 else f"yaxis{panel}"]
    right = next(axis for axis in layout.values() if (isinstance(axis, dict) and axis.get("overlaying") == f"y{panel}")
                 or (panel == 1 and isinstance(axis, dict) and axis.get("overlaying") == "y"))  # fmt: skip
    assert right["range"] == pytest.approx([value * factor + offset for value in left["range"]], rel=1e-5)
    assert left["fixedrange"] and right["fixedrange"]  # zooming one alone would part them


def test_all_panels_share_one_distance_axis_and_do_not_overlap(hot):
    figure = trip_figure(hot).to_plotly_json()
    assert {trace["xaxis"] for trace in figure["data"]} == {"x", "x2"}
    domains = [figure["layout"][name]["domain"] for name in figure["layout"] if "domain" in str(figure["layout"][name])
               and name.startswith("yaxis")]  # fmt: skip
    assert len(domains) == 9
    for above, below in itertools.pairwise(domains):
        assert above[0] > below[1]
    miles, kilometres = figure["layout"]["xaxis2"]["range"], figure["layout"]["xaxis"]["range"]
    assert miles == pytest.approx([value / 1.609344 for value in kilometres])


def test_paper_has_its_own_arrangement_that_fits_a_page(hot):
    figure = trip_figure(hot)
    changes = print_changes(figure)
    assert changes["width"] <= 703 and changes["height"] <= 900  # px at 96 a inch: A4 and letter less 12 mm margins
    domains = [changes["yaxis.domain"], *(changes[f"yaxis{number}.domain"] for number in range(2, 10))]
    for above, below in itertools.pairwise(domains):
        assert 0.0 <= below[0] < below[1] < above[0] < above[1] <= 1.0


def test_panels_fill_the_height():
    domains = arrangement([1.0, 2.0, 1.0], 1000, [30, 30, 30])
    assert domains[0][1] == 1.0 and domains[-1][0] == pytest.approx(0.0, abs=1e-12)
    heights = [top - bottom for bottom, top in domains]
    assert heights[1] == pytest.approx(2.0 * heights[0])


def test_a_panel_without_numbers_can_be_drawn():
    line = {"x": [0.0], "y": [float("nan")], "name": "nothing", "mode": "lines"}
    figure = stacked([Panel("Nothing, m", 1.0, (0.0, 1.0), [line])], (0.0, 1.0))
    assert len(figure.data) == 2


# ---------------------------------------------------------------- control speeds


def test_the_chart_is_drawn_as_it_was_worked_out(hot):
    chart = chart_of(hot)
    figure = control_figure(hot, chart)
    drawn = {
        (trace["hovertemplate"].split(":")[0]): trace
        for trace in figure.to_plotly_json()["data"]
        if str(trace.get("hovertemplate", "")).startswith("gear ")
    }
    assert len(drawn) == len(chart.curves) == 40
    curve = next(each for each in chart.curves if (each.gear, each.stage) == (7, 3))
    line = drawn["gear 7, stage 3"]
    assert array_of(line["x"]) == pytest.approx(3.6 * curve.speed)
    assert array_of(line["y"]) == pytest.approx(curve.force / 1000.0)
    assert len(lines_of(figure, "what a grade asks for")) == 5
    steady = line_of(figure, "steady speed")
    assert list(steady["x"]) == pytest.approx([3.6 * each.speed for each in chart.crossings])
    falling = hot.trace["elevation_m"][hot.trace["grade_percent"] <= -2.5]
    assert chart.elevation == pytest.approx(falling.mean(), abs=5.0)


def test_driven_marks_are_rows_in_which_the_engine_held_back(cruising):
    figure = control_figure(cruising)
    total = 0
    for stage in range(4):
        rows = driven_points(cruising, stage)
        line = line_of(figure, f"this trip, stage {stage}")
        assert array_of(line["x"]) == pytest.approx(3.6 * cruising.trace["speed_m_s"][rows])
        assert array_of(line["y"]) == pytest.approx(-cruising.trace["drive_force_n"][rows] / 1000.0)
        assert np.all(cruising.trace["fuel_rate_g_s"][rows] == 0.0)
        assert np.all(cruising.trace["brake_stage"][rows] == stage)
        total += len(rows)
    assert total > 20


# ---------------------------------------------------------------- energy


def test_bars_add_up_to_what_was_supplied(cruising):
    book, supplied = cruising.summary["energy"], supplied_energy(cruising)
    terms = energy_shares(cruising)
    assert math.fsum(value for _, value, _ in terms) == pytest.approx(supplied, rel=1e-4)
    assert math.fsum(share for _, _, share in terms) == pytest.approx(1.0, rel=1e-4)
    assert supplied == pytest.approx(book["fuel"] + max(book["height_given_up"], 0.0) + book["kinetic_at_start"])
    (bars,) = energy_figure(cruising).to_plotly_json()["data"]
    assert list(bars["x"]) == pytest.approx([value / 1e6 for _, value, _ in terms][::-1])


# ---------------------------------------------------------------- several trips


def test_trips_lie_over_one_another_each_with_its_own_line():
    comparison = compare_trips({"drill.hold_stage": [0, 1, 2, 3]}, SHORT, T1)
    figure = comparison_figure(comparison).to_plotly_json()
    for number, result in enumerate(comparison.results):
        mine = [trace for trace in figure["data"] if trace.get("legendgroup") == f"trip {number + 1}"]
        assert len(mine) == 8
        assert len({(trace["line"]["color"], trace["line"]["dash"]) for trace in mine}) == 1
        assert sum(trace["showlegend"] for trace in mine) == 1
        speed = next(trace for trace in mine if trace["hovertemplate"].startswith("%{y:.1f} km/h"))
        assert array_of(speed["y"]).max() == pytest.approx(3.6 * result.trace["speed_m_s"].max(), rel=1e-6)
    styles = {
        (trace["line"]["color"], trace["line"]["dash"]) for trace in figure["data"] if trace.get("showlegend") and
        trace.get("legendgroup")
    }  # fmt: skip
    assert len(styles) == 4
    assert reach_of(comparison.results)[1] == pytest.approx(1.0, abs=0.01)


# ---------------------------------------------------------------- colours


# red, green and blue of 255 (Okabe and Ito 2008, section 10: published, seen second-hand)
PUBLISHED = {
    palette.BLACK: (0, 0, 0),
    palette.GREEN: (0, 158, 115),
    palette.BLUE: (0, 114, 178),
    palette.VERMILLION: (213, 94, 0),
    palette.PURPLE: (204, 121, 167),
}


@pytest.mark.parametrize(("colour", "published"), PUBLISHED.items())
def test_colours_are_the_published_ones(colour, published):
    assert tuple(int(colour[place : place + 2], 16) for place in (1, 3, 5)) == published


def test_lines_stand_out_from_paper():
    """WCAG 2.2, 1.4.11: 3 to 1 for graphics. Reference ratios: black on white is 21, #767676 on white 4.54 (W3C)."""
    assert palette.contrast("#000000") == pytest.approx(21.0)
    assert palette.contrast("#767676") == pytest.approx(4.54, abs=0.005)
    for colour in (*palette.LINES, *palette.STAGE_COLOURS, palette.GREY):
        assert palette.contrast(colour) >= 3.0, colour
    assert len(set(palette.LINES)) == 5 and len(set(palette.STAGE_COLOURS)) == 4


def test_stages_can_be_told_apart_without_colour():
    for way in (palette.STAGE_WIDTHS, palette.STAGE_DASHES, palette.STAGE_SYMBOLS):
        assert len(set(way)) == 4
    assert len({palette.line_of(number) for number in range(24)}) == 24
    assert all(palette.line_of(a)[1] != palette.line_of(a + 1)[1] for a in range(23))


def test_lines_of_one_panel_differ_by_more_than_their_colour(hot):
    figure = trip_figure(hot).to_plotly_json()
    panels: dict[str, list] = {}
    for trace in figure["data"]:
        if trace.get("showlegend", True) and trace["mode"] == "lines" and trace["line"].get("color"):
            panels.setdefault(trace["legend"], []).append(trace)
    assert len(panels) == 9
    for lines in panels.values():
        styles = [(line["line"].get("dash"), line["line"]["width"], line.get("fill")) for line in lines]
        assert len(set(styles)) == len(styles), styles
