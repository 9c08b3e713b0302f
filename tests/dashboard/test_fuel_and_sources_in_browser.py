"""The Fuel study and Sources pages in a real browser against a real server."""

import csv
import io
from urllib.parse import quote

import pytest
from test_gearing_and_roads_in_browser import SIZES, breaches, fits, opened, pictures, server

FIXTURES = opened, pictures, server

OWN = "/fuel-study?study=own&truck=long-haul-manual&road=" + quote("wendle-hills") + "&vary="
QUICK = OWN + quote("driveline.axle_ratio=3.08,3.36")
LONG = OWN.replace("wendle-hills", "kessarin-round") + quote("weather.wind_m_s=" + ",".join(map(str, range(-30, 30))))


def driven(page):
    page.locator("#fuel-start").click()
    page.get_by_label("Table of trips").locator("tbody tr").first.wait_for()


@pytest.mark.parametrize("size", SIZES)
def test_a_study_is_driven_read_and_fits(opened, pictures, size):
    page = opened("/fuel-study?study=load", SIZES[size])
    page.locator("#fuel-start").wait_for()
    assert not page.locator("#fuel-own").is_visible()
    driven(page)
    assert page.locator("#fuel-state", has_text="All trips are driven.").is_visible()
    assert page.get_by_label("Table of trips").locator("tbody tr").count() == 18
    effects = page.get_by_label("Main effects").locator("tbody tr")
    assert effects.count() == 3 + 6 and effects.locator("td", has_text="ulmary-plain").count() == 1
    page.locator("#fuel-figure-0 .main-svg").first.wait_for()
    fits(page, SIZES[size][0])
    assert breaches(page) == []
    page.screenshot(path=pictures / f"fuel-study-{size}.png", full_page=True)


def test_own_question_sorting_units_files_and_link(opened):
    page = opened(QUICK)
    driven(page)
    rows = page.get_by_label("Table of trips").locator("tbody tr")
    assert rows.count() == 2
    heads = page.get_by_label("Table of trips").locator("thead button").all_inner_texts()
    fuel = heads.index("fuel")
    column = [row.split("\t")[fuel] for row in rows.all_inner_texts()]
    assert all("L/100 km" in text for text in column)
    button = page.get_by_label("Table of trips").locator("thead button").nth(fuel)
    button.focus()
    page.keyboard.press("Enter")
    up = [row.split("\t")[fuel] for row in rows.all_inner_texts()]
    page.keyboard.press("Enter")
    down = [row.split("\t")[fuel] for row in rows.all_inner_texts()]
    assert up == sorted(column) and down == up[::-1]
    assert page.locator("th[aria-sort='descending']").count() == 1
    with page.expect_download() as got:
        page.locator("a", has_text="results.csv").click()
    table = list(csv.DictReader(io.StringIO(got.value.path().read_text())))
    assert [row["axle ratio"] for row in table] == ["3.08", "3.36"]
    with page.expect_download() as got:
        page.locator("a", has_text="study.toml").click()
    import tomllib

    from sim.studies.plan import make_plan
    from sim.studies.question import study_from

    again = make_plan(study_from(tomllib.loads(got.value.path().read_text()), "again", "again"))
    assert again.total == 2
    page.get_by_role("button", name="US").click()
    page.get_by_label("Table of trips").locator("td", has_text="gal/100 mi").first.wait_for()
    other = opened(page.url.partition("://")[2].partition("/")[2].join(("/", "")))
    driven(other)
    assert other.get_by_label("Table of trips").locator("tbody tr").count() == 2
    assert "L/100 km" in other.get_by_label("Table of trips").locator("tbody").inner_text(), (
        "units are each browser's own"
    )


def test_the_cancel_of_one_does_not_stop_the_other_and_a_stopped_study_says_so(opened):
    one, other = opened(LONG), opened(LONG)
    for page in (one, other):
        page.locator("#fuel-start").click()
    for page in (one, other):
        page.locator("progress").wait_for()
    one.locator("#fuel-stop").click()
    one.locator("#fuel-state", has_text="1 other still watch it, and it goes on").wait_for()
    other.wait_for_timeout(1500)
    assert other.locator("progress").is_visible()
    other.locator("#fuel-stop").click()
    other.locator("#fuel-state", has_text="Stopped: ").wait_for()
    assert other.locator("text=Partial: ").first.is_visible()


def test_what_is_wrong_is_said_and_nothing_is_lost(opened):
    page = opened(QUICK)
    page.locator("#fuel-values-0").fill("30")
    page.locator("#fuel-start").click()
    page.locator("#fuel-state [role=alert]", has_text="allowed is 1.5 to 8").wait_for()
    page.locator("#fuel-values-0").fill("3.08, 3.36")
    driven(page)


@pytest.mark.parametrize("size", SIZES)
def test_sources_open_fit_and_filter(opened, pictures, size):
    page = opened("/sources", SIZES[size])
    rows = page.locator("#sources-checks tbody tr")
    rows.first.wait_for()
    every = rows.count()
    fits(page, SIZES[size][0])
    page.screenshot(path=pictures / f"sources-{size}.png")
    page.locator("#sources-words").fill("droop")
    page.locator("#sources-checks .noted", has_text=f"of {every} checks pass").wait_for()
    page.locator("#sources-checks tbody tr", has_text="droop").first.wait_for()
    rows.nth(30).wait_for(state="detached")  # few enough to look at each
    assert breaches(page) == []
    assert page.locator("text=What is left out").is_visible()


def test_a_refused_combination_is_named_and_the_others_are_shown(opened, pictures):
    page = opened(OWN + quote("driveline.axle_ratio=3.36,30"))
    driven(page)
    page.locator("h2", has_text="1 trip could not be driven").wait_for()
    assert page.locator("#fuel-state", has_text="1 of 2 could not be driven").is_visible()
    assert page.locator("li b", has_text="axle ratio 30").is_visible()
    assert breaches(page) == []
    page.screenshot(path=pictures / "fuel-study-refused.png", full_page=True)


def test_a_link_with_too_much_in_it_says_so_and_the_page_works(opened):
    page = opened("/fuel-study?study=own" + "&road=x" * 80)
    page.locator("#fuel-state [role=alert]", has_text="it may have 60 at most").wait_for()
    assert page.locator("#fuel-start").is_visible()
