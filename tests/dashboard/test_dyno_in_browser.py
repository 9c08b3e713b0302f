"""The Dyno page in a real browser: run, break, dial in, measure, predict, keep, download, in every window."""

import csv
import io
import re

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect
from test_trip_in_browser import part, violations

WINDOWS = [(1366, 768), (1920, 1080), (1024, 768)]


def made(visit, times):
    """Waits until the page has drawn the answer to its n-th question."""
    visit.page.locator(f"[data-answered='{times}']").wait_for(timeout=30_000)
    expect(visit.page.locator(".dyno:not(.busy)")).to_be_visible()


def shown(visit, name):
    """A large reading as a number."""
    return float(visit.page.locator(f".reading.{name} .value").inner_text())


def fits(visit):
    width = visit.page.viewport_size["width"]
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_lesson_on_the_dyno(visit):
    seen = visit("/dyno")
    page = seen.page
    made(seen, 1)
    expect(part(seen, "verdict")).to_contain_text("Pass: on the rated curve")
    for size in WINDOWS:
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.wait_for_timeout(150)
        fits(seen)
        seen.shoot(f"dyno-{size[0]}")
    assert violations(page) == []
    page.set_viewport_size({"width": 1366, "height": 768})

    # as it goes: the reading follows the cursor, and playing moves it
    page.locator("#dyno-scrub").fill("20")
    early = shown(seen, "engine_speed")
    page.locator("#dyno-scrub").fill("100")
    assert early > 2000 > shown(seen, "engine_speed") > 1000
    part(seen, "play").click()
    page.wait_for_timeout(400)
    part(seen, "play").click()
    assert float(page.locator("#dyno-scrub").input_value()) > 100.5
    seen.shoot("dyno-as-it-goes")

    # kept, broken, measured; both units
    part(seen, "keep").click()
    page.get_by_role("button", name="air filter blocked").click()
    made(seen, 2)
    expect(part(seen, "verdict")).to_contain_text("intake restriction at 1800 rpm is high")
    assert "condition.intake_restriction_kpa=8" in page.url
    gauge = part(seen, "judged").locator("tr", has_text="intake restriction")
    expect(gauge).to_contain_text("at most 6.2 kPa")
    expect(gauge.locator(".out")).to_have_text("high")
    expect(part(seen, "numbers")).to_contain_text("kept run")
    page.locator("#dyno-meter").select_option("boost pressure")
    made(seen, 3)
    page.locator("#dyno-scrub").fill("40")
    meter = part(seen, "circuits").locator(".meter")
    assert "V" in meter.inner_text() and "kPa" in meter.inner_text()
    metric = shown(seen, "engine_torque")
    page.get_by_role("button", name="US", exact=True).click()
    assert shown(seen, "engine_torque") == pytest.approx(metric / 1.3558, abs=1.5)
    assert "psi" in meter.inner_text()
    expect(gauge).to_contain_text("at most 25.0 inH2O")
    page.get_by_role("button", name="metric", exact=True).click()

    # dialled in on the fly: the run goes on from the cursor and the engine answers
    page.locator("summary", has_text="Dial a value in by hand").click()
    page.locator("#dyno-dial-value").fill("99")
    page.get_by_role("button", name="Dial in here").click()
    made(seen, 4)
    expect(part(seen, "play")).to_have_text("Hold")
    part(seen, "play").click()
    expect(part(seen, "codes")).to_contain_text("SPN 105 FMI 16")
    expect(part(seen, "circuits").locator(".dialled")).to_contain_text("46.1 s intake temperature 99 C")
    again = visit(page.url.removeprefix(seen.address))
    made(again, 1)
    assert part(again, "numbers").inner_text().split("\n")[1:] and "SPN 105" in part(again, "codes").inner_text()
    page.get_by_role("button", name=re.compile("take out")).click()
    made(seen, 5)
    assert violations(page) == []

    # a value that cannot be is one message, and the run before stays in grey
    page.locator("[name='dyno.band_percent']").fill("90")
    page.locator("[name='dyno.band_percent']").press("Tab")
    expect(part(seen, "error")).to_contain_text("dyno.band_percent")
    expect(page.locator(".dyno.refused")).to_be_visible()
    page.locator("[name='dyno.band_percent']").fill("5")
    page.locator("[name='dyno.band_percent']").press("Tab")
    expect(part(seen, "state")).to_contain_text("Nothing changed")

    with page.expect_download() as got:
        page.locator("[data-file='points.csv']").click()
    rows = list(csv.DictReader(io.StringIO(got.value.path().read_text())))
    assert len(rows) == 14 and "deviation_percent" in rows[0]


def test_every_test_predictions_and_class_view(visit):
    seen = visit("/dyno?test=retarding", WINDOWS[1])
    page = seen.page
    made(seen, 1)
    expect(part(seen, "verdict")).to_contain_text("every stage works")
    part(seen, "predict_button").click()
    page.locator("#dyno-hold").check()
    page.get_by_label("stage 3 at the highest speed").fill("375")
    page.get_by_label("stage 3 at the highest speed").press("Tab")
    expect(page.locator(".outcome")).to_contain_text("within 5 %")
    for number, (name, words) in enumerate(
        (("Governor", "N1"), ("Motoring", "to turn the engine"), ("Cut-out", "torque lost")), start=2
    ):
        page.get_by_role("button", name=name, exact=True).click()
        expect(part(seen, "state")).to_contain_text("Not run yet")
        part(seen, "run_button").click()
        made(seen, number)
        expect(part(seen, "numbers")).to_contain_text(words)
        seen.shoot(f"dyno-{name.lower()}")
    part(seen, "class_view").click()
    fits(seen)
    assert page.locator(".reading .value").first.evaluate("box => parseFloat(getComputedStyle(box).fontSize)") > 60
    seen.shoot("dyno-class-view")
    page.get_by_role("button", name="Full load", exact=True).focus()
    page.keyboard.press("Enter")
    part(seen, "run_button").click()
    made(seen, 5)
