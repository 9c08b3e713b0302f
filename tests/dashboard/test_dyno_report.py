"""The report of a dyno run: figures as functions, the page, its lab sheet, and what a browser makes of it."""

import re

import numpy as np
import pytest

from dashboard.dyno.figures import dyno_figures, full_load_figure
from dashboard.dyno.report import TITLES, dyno_report
from sim import load_settings, load_truck, run_dyno
from sim.dyno.faults import FAULTS
from sim.dyno.full_load import rated_curve
from sim.dyno.lab import QUANTITIES, RUBRIC, lab_entries, read_predictions
from sim.dyno.result import CAUTIONS
from sim.dyno.runs import TESTS
from sim.wording import said

T1 = "long-haul-manual"
OUTSIDE = re.compile(r"(?:src|href|action)\s*=\s*[\"']?(?:https?:)?//", re.IGNORECASE)


@pytest.fixture(scope="module")
def results():
    """One run of each test, and two more full-load runs."""
    found = {test: run_dyno(T1, load_settings(None, ["dyno.rate_rpm_per_s=40"]), test) for test in TESTS}
    rollers = load_settings(None, ["dyno.form=chassis", "dyno.step_rpm=100"])
    found["rollers"] = run_dyno(load_truck(T1, FAULTS["boost-leak"].changes), rollers)
    found["loop"] = run_dyno(T1, load_settings(None, ["dyno.rate_rpm_per_s=300", "dyno.both_ways=true"]))
    return found


EVERY = [*TESTS, "rollers", "loop"]


def names_of(figure):
    return [line.name for line in figure.data]


def test_rated_curve_and_band_lie_behind_what_was_measured(results):
    figure = dyno_figures(results["full-load"])["curve"]
    names = names_of(figure)
    assert names.index("band 5 %") < names.index("rated") < names.index("measured")
    rated = figure.data[names.index("rated")]
    truck = load_truck(T1).truck.engine
    for rpm, torque in zip(truck.full_load_rpm, truck.full_load_torque_n_m, strict=True):
        assert float(np.interp(rpm, rated.x, rated.y)) == pytest.approx(torque, rel=1e-3)
    titles = [figure.layout[name].title.text for name in ("legend", "legend2", "legend3", "legend4", "legend5")]
    assert [title.split(",")[0].removeprefix("<b>") for title in titles] == [
        "Torque", "Power", "Fuel per power", "Fuel", "Boost",
    ]  # fmt: skip


def test_a_figure_can_be_drawn_while_the_run_goes_on(results):
    """A page draws it again from the columns so far; nothing but columns goes in."""
    columns, curve = results["full-load"].columns, rated_curve(load_truck(T1).truck)
    lengths = []
    for rows in (2, 40, len(columns["time_s"])):
        so_far = {name: values[:rows] for name, values in columns.items()}
        figure = full_load_figure(so_far, curve, 5.0)
        lengths.append(len(figure.data[names_of(figure).index("measured")].x))
    assert lengths[0] == 2 and lengths[1] == 40 and lengths[2] > 40


def test_a_loop_has_two_ways(results):
    names = names_of(dyno_figures(results["loop"])["curve"])
    assert {"boost, down", "boost, up again"} <= set(names)
    assert "boost" in names_of(dyno_figures(results["full-load"])["curve"])


def test_us_scales_stand_beside_metric_ones(results):
    layout = dyno_figures(results["full-load"])["curve"].layout
    left, right = layout.yaxis.range, layout.yaxis6.range
    assert right[1] == pytest.approx(left[1] * 0.737562149, rel=1e-6)  # N m to lb ft, NIST SP 811 factors


@pytest.mark.parametrize("name", EVERY)
def test_every_report_says_its_verdict_first_and_its_cautions(results, name):
    result = results[name]
    page = dyno_report(result, lab_entries(result, {}))
    body = page[page.index("<body>") :]
    assert said(result.summary["reading"], "both").replace("'", "&#x27;") in body[: body.index("</h1>")]
    for caution in CAUTIONS:
        assert caution.replace("'", "&#x27;") in body
    assert TITLES[result.test] in page
    assert body.index("Lab sheet") > body.index("Measured")
    assert not OUTSIDE.search(body[: body.index('<script type="application/json"')])
    assert page == dyno_report(result, lab_entries(result, {}))
    for number, text in enumerate(RUBRIC):
        assert f"{number}: {text}" in body


def test_the_lab_sheet_puts_predicted_beside_measured(results):
    result = results["full-load"]
    predicted = read_predictions(["peak_torque_n_m=2000", "start_rpm=2250"], "full-load")
    entries = {entry.key: entry for entry in lab_entries(result, predicted)}
    assert entries["peak_torque_n_m"].met is False and entries["start_rpm"].met is True
    assert entries["peak_torque_n_m"].off == pytest.approx(100.0 * (2000.0 / result.summary["peak_torque_n_m"] - 1.0))
    assert entries["peak_power_kw"].met is None
    page = dyno_report(result, list(entries.values()))
    assert 'value="2000"' in page and ">outside<" in page and ">within<" in page


@pytest.mark.parametrize("test", list(TESTS))
def test_everything_that_can_be_predicted_is_measured(results, test):
    assert [entry.key for entry in lab_entries(results[test], {})] == [key for key, *_ in QUANTITIES[test]]


def test_a_named_fault_is_explained_and_an_unnamed_one_is_not(results):
    result = results["rollers"]
    assert "The fault that was set" not in dyno_report(result)
    result.summary["fault"] = "boost-leak"
    assert FAULTS["boost-leak"].sign.replace("'", "&#x27;") in dyno_report(result)


@pytest.mark.parametrize("size", [(1366, 768), (1920, 1080), (1024, 768)], ids=["laptop", "desk", "tablet"])
@pytest.mark.parametrize("name", ["full-load", "governor", "rollers"])
def test_in_a_browser_it_draws_fits_and_says_nothing(browser, results, tmp_path, name, size):
    path = tmp_path / "report.html"
    path.write_text(dyno_report(results[name], lab_entries(results[name], {})), encoding="utf-8", newline="\n")
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True)
    try:
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda problem: said.append(str(problem)))
        page.goto(path.as_uri())
        page.locator("html[data-drawn]").wait_for()
        assert said == []
        assert page.locator("html").get_attribute("data-drawn") == str(len(dyno_figures(results[name])))
        assert page.locator(".scatterlayer .trace").count() >= 4
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        page.get_by_label("student").fill("A. Student")
        page.get_by_text("3: correct with limited supervision").click()
        page.emulate_media(media="print")
        assert page.pdf(format="A4").startswith(b"%PDF")
        assert page.get_by_label("student").input_value() == "A. Student"
        assert said == []
    finally:
        context.close()


def test_the_report_prints_the_gauges_and_a_run_that_was_broken_off():
    blocked = run_dyno(load_truck(T1, FAULTS["high-back-pressure"].changes), load_settings(None))
    page = dyno_report(blocked)
    assert "Gauges beside what is specified" in page and "at most 6.8 kPa" in page and "at most 27.2 inH2O" in page
    assert "exhaust back pressure at 1800 rpm is high" in page and "Stable before the run" in page
    ended = run_dyno(T1, load_settings(None, ["dyno.abort_exhaust_c=600"]))
    page = dyno_report(ended, lab_entries(ended, {}))
    assert "Aborted: broken off at hot exhaust" in page and "look for air that is missing" in page
