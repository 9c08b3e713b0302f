"""Figures, tables and answers of the Gearing and Roads pages, called as functions; no browser."""

import itertools
import json
from typing import Any

import numpy as np
import pytest
from made_tracks import RECORDED_LENGTH
from serving import AtOnce, Visitor
from test_figures import array_of

from dashboard.app import create_app
from dashboard.gearing import page as gearing
from dashboard.gearing.figures import overlay_figure, pull_figure, retarding_figure, speed_figure
from dashboard.gearing.work import ChoiceAnswer, drawn_of, work_out
from dashboard.panel.choices import MOST_CHOICES, Choice, choices_from, cruise_speed, setups_of
from dashboard.paper import palette
from dashboard.paper.drawing import shown, with_unit
from dashboard.paper.panels import Panel, strips
from dashboard.roads import page as roads
from dashboard.roads.figures import descent_figure, histogram_figure, profile_figure, smoothing_figure
from dashboard.roads.work import read_upload
from dashboard.roads.work import work_out as look_at
from dashboard.server.runs import UPLOAD, Workshop
from dashboard.server.setups import Setup, read_setup
from sim import import_track, list_routes, load_route, load_settings, load_truck
from sim.errors import HaulbenchError, RouteError, SettingsError
from sim.inputs.one_trip import Inputs
from sim.roads.facts import grade_histogram
from sim.units import to_si

T1 = "long-haul-manual"
SHORT = {"truck": T1, "road": "grade:-3%,2km,900m", "settings": "defaults", "changes": {}}


def words_of(component: Any) -> str:
    """All texts of a component, in their order."""
    if component is None:
        return ""
    if isinstance(component, str | int | float):
        return str(component)
    if isinstance(component, list | tuple):
        return " ".join(words_of(each) for each in component)
    return words_of(getattr(component, "children", None))


def plain(figure: Any) -> dict[str, Any]:
    return figure.to_plotly_json()


def lines_named(figure: Any, name: str) -> list[dict[str, Any]]:
    return [trace for trace in plain(figure)["data"] if trace.get("name") == name]


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return Workshop(AtOnce())


@pytest.fixture(scope="module")
def answers(workshop) -> list[ChoiceAnswer]:
    """Three axle ratios over a short pass."""
    _, found = gearing.answers_of(workshop, {**SHORT, "road": "ollen-pass"}, "")
    return found


# ---------------------------------------------------------------- units


US = {
    "distance": 1 / 1609.344,
    "height": 1 / 0.3048,
    "speed": 3600 / 1609.344,
    "large force": 1 / 4448.2216,
    "large mass": 1 / 453.59237,
}


@pytest.mark.parametrize("kind", US)
def test_us_numbers_are_those_of_the_definitions(kind):
    """Foot, mile and pound by definition (international yard and pound agreement of 1959)."""
    assert float(shown(7.0, kind, "us")) == pytest.approx(7.0 * US[kind], rel=1e-6)


def test_temperatures_have_their_offset_and_nothing_has_no_minus():
    assert with_unit(to_si(260.0, "c"), "temperature", "us") == "500 \N{DEGREE SIGN}F"
    assert with_unit(-0.2, "height", "metric") == "0 m"


# ---------------------------------------------------------------- choices


def test_the_usual_choices_are_the_trucks_axle_and_one_to_either_side():
    assert [each.axle for each in choices_from("", T1)] == ["3.08", "3.36", "3.70"]


def test_a_choice_is_what_it_says_and_nothing_else():
    (own, boxed) = setups_of(Setup(T1, "ollen-pass", "defaults", {}), choices_from("|3.1,long-haul-automated,0.5", T1))
    base, found = read_setup(own).truck.truck, read_setup(boxed).truck.truck
    assert base == load_truck(T1).truck
    assert found.driveline.axle_ratio == 3.1 and found.tyres.rolling_radius_m == 0.5
    assert found.gearbox == load_truck("long-haul-automated").truck.gearbox
    assert found.engine == base.engine and found.vehicle == base.vehicle


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("|".join(["3.1"] * (MOST_CHOICES + 1)), "7 choices are given; 6 at most"),
        ("1,2,3,4", "choice 1: 1,2,3,4; give an axle ratio"),
        ("9" * 700, "700 letters are given; 600 at most"),
    ],
)
def test_choices_that_are_none_are_refused(text, words):
    with pytest.raises(SettingsError, match=words.replace("|", r"\|")):
        choices_from(text, T1)


def test_a_refusal_names_the_choice(workshop):
    with pytest.raises(HaulbenchError, match=r"Choice 2: .*rolling_radius_m is 3.0; allowed is 0.3 to 0.8 m"):
        gearing.answers_of(workshop, SHORT, "3.36|3.36,,3")
    with pytest.raises(HaulbenchError, match=r"Choice 1: .*no-such"):
        gearing.answers_of(workshop, SHORT, ",no-such")
    for forged in ({"a": 1}, [1], 3):
        with pytest.raises(HaulbenchError):
            gearing.answers_of(workshop, SHORT, forged)


def test_cruise_speed_is_what_the_driver_would_hold():
    road = load_route("ollen-pass")  # 80 on most of it, 60 and 50 around the pass
    assert cruise_speed(road, load_settings()) == pytest.approx(80 / 3.6)
    assert cruise_speed(road, load_settings(None, ["cruise.set_speed_km_h=70"])) == pytest.approx(70 / 3.6)
    assert cruise_speed(road, load_settings(None, ["road_speed.limit_km_h=65"])) == pytest.approx(65 / 3.6)
    assert cruise_speed(road, load_settings(None, ["driver.speed_limit_share=0.9"])) == pytest.approx(72 / 3.6)


# ---------------------------------------------------------------- Gearing: table and words


def cells(answers: list[ChoiceAnswer], name: str, units: str = "metric") -> list[str]:
    return next(texts for _, group in gearing.rows(answers, units) for row, texts in group if row == name)


def test_the_table_holds_the_numbers_of_the_trips(answers):
    for answer, fuel in zip(answers, cells(answers, "fuel, L/100 km"), strict=True):
        assert float(fuel.split()[0]) == pytest.approx(answer.summary["fuel_l_per_100km"], abs=0.05)
    for answer, economy in zip(answers, cells(answers, "fuel, mi/gal", "us"), strict=True):
        assert float(economy.split()[0]) == pytest.approx(235.2146 / answer.summary["fuel_l_per_100km"], abs=0.01)
    assert cells(answers, "gear shifts") == [str(answer.summary["gear_shifts"]) for answer in answers]


def test_engine_speed_at_cruise_is_arithmetic(answers):
    """rpm = v axle gear 60/(2 pi r) at 80 km/h with the top gear of 0.74 and a tyre of 0.49 m."""
    for axle, text in zip((3.08, 3.36, 3.70), cells(answers, "engine speed, top gear"), strict=True):
        by_hand = 80 / 3.6 * axle * 0.74 * 60 / (2 * np.pi * 0.49)
        assert float(text.split()[0]) == pytest.approx(by_hand, abs=0.6)
    assert cells(answers, "tyre", "us") == ["523 rev/mi"] * 3  # 1609.344/(2 pi 0.49)


def test_a_lower_axle_starts_on_more_and_turns_faster(answers):
    for name in ("startability, by the rule", "startability, engine", "grade held, top gear, at best"):
        values = [float(text.split()[0]) for text in cells(answers, name)]
        assert values == sorted(values) and len(set(values)) == 3, name


def test_differences_are_against_the_first_choice(answers):
    first, second, _ = (answer.summary["time_s"] for answer in answers)
    texts = cells(answers, "time")
    assert "(" not in texts[0]
    assert f"({100 * (second / first - 1):+.1f} %)" in texts[1]


def test_a_gear_the_engine_cannot_run_in_is_marked(workshop):
    _, found = gearing.answers_of(workshop, {**SHORT, "changes": {"cruise.set_speed_km_h": "33"}}, "2.3|4.5")
    assert cells(found, "grade held, top gear")[0] == "-"
    assert cells(found, "engine speed, top gear")[0].endswith("*")
    assert "The engine does not run there" in words_of(gearing.table(found, "metric"))


def test_verdicts_come_first_and_say_which_choice(workshop):
    _, found = gearing.answers_of(
        workshop, {**SHORT, "changes": {"drill.hold_gear": "5", "start.speed_km_h": "60"}}, "3.36|5.5"
    )
    read = words_of(gearing.verdicts(found, "us"))
    assert "Choice 2" in read and ("governed" in read or "ran away" in read)


def test_a_road_with_net_height_and_equal_choices_are_remarked_upon(workshop):
    setup, found = gearing.answers_of(workshop, SHORT, "3.36|3.36")
    read = words_of(gearing.results(setup, found, "metric", workshop))
    assert "60 m below its start" in read and "Choices 1 and 2 are the same" in read
    setup, single = gearing.answers_of(workshop, {**SHORT, "road": "grade:0%,1km,100m"}, "3.36")
    read = words_of(gearing.results(setup, single, "us", workshop))
    assert "One choice only" in read and "below its start" not in read


def test_labels_name_what_differs_only(answers, workshop):
    assert gearing.labels_of(answers, "metric") == ["axle 3.08", "axle 3.36", "axle 3.7"]
    _, found = gearing.answers_of(workshop, SHORT, "3.36,,0.5|3.36,long-haul-automated,0.52")
    assert gearing.labels_of(found, "metric")[1] == "12-speed direct, automated, tyre 0.520 m"
    assert gearing.labels_of(found, "us")[0].endswith("tyre 512 rev/mi")


def test_the_same_question_is_worked_out_once(workshop):
    before = len(workshop.pool.done)
    gearing.answers_of(workshop, {**SHORT, "road": "grade:0%,0.5km,100m"}, "3.36|3.37")
    gearing.answers_of(workshop, {**SHORT, "road": "grade:0%,0.5km,100m"}, "3.37|3.36")
    assert len(workshop.pool.done) == before + 2


def test_two_to_six_choices_are_small_on_the_wire(workshop):
    """At most 250 kB compressed for one change."""
    import gzip

    setup, found = gearing.answers_of(workshop, {**SHORT, "road": "kessarin-round"}, "2.8|3.0|3.2|3.36|3.5|3.7")
    body = json.dumps(gearing.results(setup, found, "metric", workshop).to_plotly_json(), cls=_encoder())
    charts = json.dumps(gearing.charts(found, 0, "metric").to_plotly_json(), cls=_encoder())
    assert len(gzip.compress(body.encode(), 6)) < 250_000
    assert len(gzip.compress(charts.encode(), 6)) < 250_000


def _encoder() -> Any:
    from plotly.utils import PlotlyJSONEncoder

    return PlotlyJSONEncoder


# ---------------------------------------------------------------- Gearing: figures


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_overlay_draws_rows_of_the_traces(trip, units):
    results = [trip(T1, "grade:2%,3km,400m", f"start.speed_km_h={speed}") for speed in (50, 80)]
    drawn = [drawn_of(result, 5000) for result in results]
    figure = overlay_figure(drawn, ["a", "<b>"], units, 2100.0)
    factor = 3.6 if units == "metric" else 3600 / 1609.344
    for number, result in enumerate(results, start=1):
        speed = next(
            line
            for line in lines_named(figure, f"{number}: {'a' if number == 1 else '&lt;b&gt;'}")
            if line["showlegend"]
        )
        assert array_of(speed["y"]) == pytest.approx(factor * result.trace["speed_m_s"], rel=1e-5)
    ends = [each["y"] for each in lines_named(figure, "2: &lt;b&gt;")]
    more = (results[1].summary["fuel_kg"] - results[0].summary["fuel_kg"]) * (
        1.0 if units == "metric" else 1 / 0.45359237
    )
    assert any(array_of(end)[-1] == pytest.approx(more, abs=0.01) for end in ends)
    assert f"distance, {'km' if units == 'metric' else 'mi'}" in plain(figure)["layout"]["xaxis"]["title"]["text"]


def test_fuel_used_ends_at_the_fuel_of_the_summary(trip):
    result = trip(T1, "ollen-pass")
    drawn = drawn_of(result, 800)
    assert drawn.fuel_used[-1] == pytest.approx(result.summary["fuel_kg"], rel=1e-5)
    assert np.all(np.diff(drawn.fuel_used) >= -1e-6)
    assert len(drawn.fuel_used) < 2000


def test_trips_and_strips_do_not_overlap_and_differ_in_dash(answers):
    figure = plain(overlay_figure([each.drawn for each in answers], ["1", "2", "3"], "metric", 2100.0))
    styles = {(line["line"]["color"], line["line"]["dash"]) for line in figure["data"] if line.get("legendgroup")}
    assert len(styles) == 3
    domains = [axis["domain"] for name, axis in figure["layout"].items() if name.startswith("yaxis")]
    for above, below in itertools.pairwise(domains):
        assert above[0] > below[1] >= below[0] >= 0.0


@pytest.mark.parametrize(("units", "factor"), [("metric", 3.6), ("us", 3600 / 1609.344)])
def test_engine_speed_is_drawn_as_it_was_worked_out(answers, units, factor):
    charts = [answer.chart for answer in answers]
    figure = speed_figure(charts, 1, answers[1].truck.engine, answers[1].cruise, units)
    for curve in charts[1].curves:
        (line,) = lines_named(figure, f"gear {curve.gear}")
        assert array_of(line["x"]) == pytest.approx(factor * curve.speed)
        assert array_of(line["y"]) == pytest.approx(curve.engine_speed * 30 / np.pi)
    assert len([line for line in plain(figure)["data"] if "top gear of choice" in line["name"]]) == 2
    (mark,) = [line for line in plain(figure)["data"] if line["name"].endswith(", top gear")]
    assert mark["y"][0] == pytest.approx(1077, abs=1.0)  # 80 km/h, 3.36, 0.74, 0.49 m: by hand


def test_a_cruise_outside_the_top_gear_is_not_marked(answers):
    figure = speed_figure([answers[0].chart], 0, answers[0].truck.engine, 5.0, "metric")
    assert not [line for line in plain(figure)["data"] if line["name"].endswith(", top gear")]


def test_pull_and_grades_are_drawn_as_they_were_worked_out(answers):
    chart = answers[1].chart
    figure = pull_figure(chart, "metric")
    drawn = lines_named(figure, "pull at full load, by gear")
    assert len(drawn) == len(chart.curves)
    for line, curve in zip(drawn, chart.curves, strict=True):
        assert array_of(line["y"]) == pytest.approx(curve.force / 1000.0)
    assert len(lines_named(figure, "what a grade takes")) == 9
    (climbs,) = lines_named(figure, "speed a grade is climbed with")
    best = [chart.best_climb(line.grade) for line in chart.lines]
    assert climbs["x"] == pytest.approx([3.6 * each.speed for each in best])
    assert "6 %: " in climbs["customdata"][6]


def test_retarding_is_drawn_as_it_was_worked_out(answers):
    chart = answers[1].control
    figure = retarding_figure(chart, "us", 30.0)
    drawn = lines_named(figure, "stage 3")
    curves = [curve for curve in chart.curves if curve.stage == 3]
    assert len(drawn) == len(curves)
    assert array_of(drawn[6]["y"]) == pytest.approx(curves[6].force / 4448.2216, rel=1e-5)
    (steady,) = lines_named(figure, "steady speed")
    assert len(steady["x"]) == len(chart.crossings)


def test_an_empty_strip_can_be_drawn():
    assert len(strips([Panel("nothing", 1.0, (0.0, 1.0), [])], (0.0, 1000.0), "us", 300).data) == 0


# ---------------------------------------------------------------- Roads: figures


def facts(road: str, truck: str = T1, units: str = "metric"):
    inputs = Inputs(load_truck(truck), load_route(road), load_settings())
    return inputs, look_at(inputs, units)


@pytest.mark.parametrize("road", list_routes())
@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_road_can_be_drawn(road, units):
    inputs, answer = facts(road, units=units)
    route = inputs.route
    figure = profile_figure(route, units, answer.descents)
    (line,) = lines_named(figure, "road")
    factor = 1.0 if units == "metric" else 1 / 0.3048
    heights = array_of(line["y"])
    assert heights.max() == pytest.approx(factor * route.elevation.max(), abs=0.6)
    assert heights[-1] == pytest.approx(factor * route.elevation[-1], abs=0.01)
    (grade,) = lines_named(figure, "grade")
    assert array_of(grade["y"]).min() == pytest.approx(100 * min(route.grade[:-1].min(), 0.0), abs=0.3)
    assert sum("descent" in str(each["name"]) for each in plain(figure)["data"]) == len(answer.descents)
    setup = Setup(T1, road, "defaults", {})
    assert route.title in words_of(roads.results(setup, inputs, answer, None, units))


def test_bars_sum_to_the_length_and_sides_have_their_colours():
    classes = grade_histogram(load_route("ollen-pass"))
    (bars,) = plain(histogram_figure(classes, "metric"))["data"]
    assert sum(bars["y"]) == pytest.approx(24.0)
    (miles,) = plain(histogram_figure(classes, "us"))["data"]
    assert sum(miles["y"]) == pytest.approx(24.0 / 1.609344)
    for middle, colour in zip(bars["x"], bars["marker"]["color"], strict=True):
        assert colour == (palette.BLUE if middle < -0.1 else palette.VERMILLION if middle > 0.1 else palette.GREY)


def test_descent_speeds_are_drawn_with_what_binds():
    _, answer = facts("skarrow-grade")
    (down,) = answer.descents
    figure = descent_figure(down, "metric")
    (own,) = [each for each in plain(figure)["data"] if str(each["name"]).startswith("held by")]
    assert own["y"] == pytest.approx([3.6 * load.held.speed for load in down.loads])
    (set_a,) = [each for each in plain(figure)["data"] if "set A" in str(each["name"])]
    assert set_a["y"][-1] == pytest.approx(23 * 1.609344)
    assert "brake temperature" in set_a["customdata"][-1]
    _, dump = facts("skarrow-grade", "dump-three-axle")
    names = [str(each["name"]) for each in plain(descent_figure(dump.descents[0], "us"))["data"]]
    assert len(names) == 2 and not any("published" in name for name in names)


def test_smoothing_is_drawn_as_the_import_has_it(recording):
    track = import_track(recording)
    figure = smoothing_figure(track, "metric")
    (moved,) = lines_named(figure, "road above recording")
    away, where = track.departure
    values = array_of(moved["y"])
    assert values[np.argmax(np.abs(values))] == pytest.approx(away, abs=0.01)
    assert array_of(moved["x"])[np.argmax(np.abs(values))] == pytest.approx(where / 1000.0, abs=0.01)


# ---------------------------------------------------------------- Roads: words


def test_what_binds_stands_in_the_table():
    inputs, answer = facts("skarrow-grade", units="us")
    read = " ".join(
        words_of(roads.results(Setup(T1, "skarrow-grade", "defaults", {}), inputs, answer, None, "us")).split()
    )
    for words in (
        "23 mi/h brake temperature",
        "gear 6, stage 3; settles at",
        "never mixed",
        "posted 50 mi/h",
        "0.25 mi",
    ):
        assert words in read, words
    assert "km/h" not in read.replace(inputs.route.title, "").replace("curve of 40 km/h", "").split("Source:")[0]


def test_a_level_road_says_that_there_is_nothing_to_hold():
    inputs, answer = facts("ulmary-plain")
    assert "No part of this road falls enough" in words_of(roads.descents(inputs, answer.descents, "metric"))


def test_signs_are_texts_and_never_markup():
    inputs, answer = facts("skarrow-grade")
    figure = profile_figure(inputs.route, "metric", answer.descents)
    (signs,) = lines_named(figure, "signs")
    assert len(signs["x"]) == len(inputs.route.signs)
    from dataclasses import replace

    from sim.roads.route import Place

    forged = replace(inputs.route, signs=(Place(100.0, 0.0, "<script>1</script>"),))
    (signs,) = lines_named(profile_figure(forged, "metric"), "signs")
    assert signs["customdata"] == ['sign: "&lt;script&gt;1&lt;/script&gt;"']


# ---------------------------------------------------------------- Roads: uploads


@pytest.fixture
def client(workshop):
    return Visitor(create_app(workshop))


def sent(client, content: bytes, query: str = "name=ride.gpx"):
    return client.post(f"/roads/upload?{query}", content=content)


def test_an_upload_becomes_a_road_by_its_content_and_nothing_is_written(
    client, workshop, recording, tmp_path, monkeypatch
):
    def refuse(*_, **__):
        raise AssertionError("something is written or read")

    content = recording.read_bytes()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("builtins.open", refuse)
    monkeypatch.setattr("tempfile.NamedTemporaryFile", refuse)
    first, again = sent(client, content), sent(client, content)
    other = sent(client, content, "name=ride.gpx&smooth=400")
    monkeypatch.undo()
    assert first.status_code == 200 and first.json() == again.json()
    assert first.json()["address"].startswith(UPLOAD) and other.json()["address"] != first.json()["address"]
    assert list(tmp_path.iterdir()) == []
    route = workshop.road(first.json()["address"])
    assert route.name == "ride" and route.length == pytest.approx(RECORDED_LENGTH, rel=0.005)
    track = roads.kept_track(workshop, first.json()["address"])
    assert track is not None and track.csv() == import_track(recording).csv()


def test_files_of_an_upload_come_back_under_its_name(client, recording):
    address = sent(client, recording.read_bytes(), "name=My%20ride.gpx").json()["address"]
    for kind in ("csv", "toml"):
        answer = client.get(f"/roads/file?road={address}&kind={kind}")
        assert answer.headers["Content-Disposition"] == f'attachment; filename="My-ride.{kind}"'
        assert answer.status_code == 200 and len(answer.content) > 100


def test_files_of_the_catalogue_are_the_shipped_ones(client):
    answer = client.get("/roads/file?road=ollen-pass&kind=csv")
    assert answer.text.startswith("distance_m,")


@pytest.mark.parametrize(
    "query",
    [
        "road=../../sim/__init__&kind=csv", "road=ollen-pass&kind=py", "road=/etc/passwd&kind=csv", "road=grade:1%25,2km&kind=csv",
        "road=upload:0000&kind=csv", "kind=csv", "road=ollen-pass",
    ],
)  # fmt: skip
def test_no_other_file_is_given_out(client, query):
    answer = client.get(f"/roads/file?{query}")
    assert answer.status_code == 400 and answer.json()["message"]


@pytest.mark.parametrize(
    ("content", "query", "words"),
    [
        (b"", "name=a.gpx", "is empty"),
        (b"<!DOCTYPE x><gpx/>", "name=a.gpx", "declares a DOCTYPE"),
        (b"<gpx>" + b"<trkpt" * 200_001, "name=a.gpx", "200001 points"),
        (
            b"distance_m,elevation_m\n0,1\n900,2\n",
            "name=a.csv&smooth=1e9",
            "smooth is 1e+09 m; allowed is 50 to 1000 m",
        ),
        (b"distance_m,elevation_m\n0,1\n900,2\n", "name=a.csv&every=nan", "every is 'nan'; give a number"),
        (b"distance_m,elevation_m\n0,1\n900,2\n", "name=a.csv&limit=abc", "limit is 'abc'; give a number"),
        (b"distance_m,elevation_m\n0,1\n900,2\n", "name=a.csv&limit=500", "limit is 500 km/h"),
    ],
)
def test_an_upload_that_is_no_road_is_refused_in_words(client, content, query, words):
    answer = sent(client, content, query)
    assert answer.status_code == 400
    assert words in answer.json()["message"]
    assert client.get("/ready").status_code == 200


def test_an_upload_that_is_too_large_is_not_read(client):
    answer = sent(client, b" " * (roads.MOST_UPLOAD + 1))
    assert answer.status_code == 413
    assert "at most 10000000" in answer.json()["message"]


def test_names_of_uploads_lose_everything_that_could_lead_elsewhere():
    accents, long = "r\u00e9sum\u00e9 \u2603.csv", "x" * 900 + ".gpx"
    for name in ("..\\..\\x.gpx", "/etc/passwd", "a/b/c.csv", "<script>.gpx", accents, "." * 300, long, "\0.gpx"):
        found = roads.safe_name(name)
        assert found and len(found) <= roads.LONGEST_NAME and not set(found) & set('/\\<>"\0 '), name
        assert not found.startswith(".")


def test_a_road_whose_recording_is_let_go_says_so(workshop):
    track, route = read_upload("a.csv", b"distance_m,elevation_m\n0,100\n500,90\n2000,50\n", 25.0, 200.0, None)
    address = workshop.keep_road(route)  # without its account
    assert roads.kept_track(workshop, address) is None
    assert roads.smoothing(None, Setup(T1, address, "defaults", {}), "metric")
    with pytest.raises(RouteError, match="no longer kept; upload the recording again"):
        roads.file_of(workshop, address, "csv")
    assert track.route("a").length == route.length


def test_an_uploaded_road_is_driven_like_any_other(workshop):
    track, route = read_upload("hill.csv", b"distance_m,elevation_m\n0,100\n1000,150\n2000,100\n", 25.0, 200.0, 15.0)
    address = roads.keep(workshop, track, route)
    _, found = gearing.answers_of(workshop, {**SHORT, "road": address}, "3.36|3.70")
    assert all(each.summary["ended"] == "arrived" for each in found)
    assert all(each.summary["distance_m"] == pytest.approx(route.length, abs=1.0) for each in found)


# ---------------------------------------------------------------- pages


@pytest.mark.parametrize("page", [gearing, roads])
def test_a_layout_is_built_from_any_query(page):
    for query in ({"?": ""}, {"?": "road=nowhere&truck=<b>&choices=|||", "choices": "|||"}, {"?": "x=" + "y" * 9000}):
        assert page.TITLE in words_of(page.layout(query))


def test_what_an_address_does_not_say_is_filled_in():
    assert gearing.with_usual("", {"truck": "a", "road": "b"}) == "truck=a&road=b"
    assert gearing.with_usual("?road=c&x=1", {"truck": "a", "road": "b"}) == "road=c&x=1&truck=a"


def test_a_worked_out_choice_can_be_sent_from_a_worker():
    import pickle

    inputs = Inputs(load_truck(T1), load_route("grade:1%,1km,200m"), load_settings())
    answer = work_out(inputs, 22.0, 500)
    assert len(pickle.dumps(answer)) < 400_000
    assert isinstance(Choice(), Choice)
