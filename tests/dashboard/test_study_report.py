"""Reports of studies: the numbers of the answers, equal bytes, one file, and a browser that finds nothing to complain about."""

import tomllib

import pytest
from test_report import Page, problems_of

from dashboard.fuel_study.figures import figures_of
from dashboard.fuel_study.report import study_file, study_report
from sim.command.study_words import study_text
from sim.studies.findings import answer_sentences
from sim.studies.question import list_studies, read_study, study_from
from sim.studies.runner import run_study
from sim.trips.result import CAUTIONS

CASES = {
    "form": 1, "title": "Two <b>cases</b>", "question": "Which?", "truck": "long-haul-manual", "road": "grade:0%,2km",
    "report": ["fuel_l_per_100km", "time_s"],
    "case": [{"name": "as it is"}, {"name": "lighter", "set": ["vehicle.mass_kg=20000"]}],
}  # fmt: skip


@pytest.fixture(scope="module")
def cases(tmp_path_factory):
    """A study of two cases."""
    return run_study(CASES, out=tmp_path_factory.mktemp("cases") / "one")


def test_the_page_has_the_numbers_of_the_answers_and_no_markup_of_others(cases):
    page = Page(study_report(cases))
    assert problems_of(page) == [] and not page.unbalanced
    row = cases.answers["cases"]["fuel_l_per_100km"][1]
    gallons = row["value"] / 100.0 * 1.609344 / 3.785411784 * 100.0  # NIST SP 811: mile and US gallon
    assert page.says(f"{row['value']:.2f} L/100 km ({gallons:.2f} gal/100 mi)")
    assert page.says(f"{row['percent']:+.2f} %") and page.says("Two <b>cases</b>")
    assert all(page.says(text) for text in (*CAUTIONS, *answer_sentences(cases), cases.model_version))


def test_equal_studies_give_equal_bytes(cases, tmp_path):
    assert study_report(cases) == study_report(run_study(CASES, out=tmp_path / "again"))


@pytest.mark.parametrize("name", list_studies())
def test_a_study_file_of_the_page_asks_the_same(name):
    study = read_study(name)
    assert study_from(tomllib.loads(study_file(study)), name, name) == study


def test_figures_and_words_carry_the_answers(cases):
    first = figures_of(cases)[0][2].to_plotly_json()["data"][0]
    assert list(first["x"]) == pytest.approx([cases.answers["cases"]["fuel_l_per_100km"][1]["percent"]])
    for units in ("metric", "us", "both"):
        lines = study_text(cases, units).splitlines()
        assert max(map(len, lines)) <= 120 and lines[-1] == CAUTIONS[-1]
    assert f"{cases.answers['cases']['fuel_l_per_100km'][1]['percent']:+.1f} %" in study_text(cases, "metric")


def test_it_opens_off_the_network_and_prints(cases, browser, tmp_path):
    path = tmp_path / "study.html"
    path.write_text(study_report(cases), encoding="utf-8")
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda problem: said.append(str(problem)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    page.locator("html[data-drawn]").wait_for()
    assert said == [] and len(asked) == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 1366
    page.emulate_media(media="print")
    page.locator("#figure0 .main-svg[width='690']").first.wait_for()
    assert page.pdf(format="A4").startswith(b"%PDF")
    page.close()
