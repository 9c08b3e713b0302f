"""The Knobs page: the demonstration of an instructor in a real browser, by mouse, keyboard and link, in both systems of units."""

import re

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect
from test_trip_in_browser import part, violations

WINDOWS = [(1366, 768), (1920, 1080), (768, 1024), (390, 844)]
PAIRS = ("front", "middle", "rear")


def dial(page, name, value):
    """Moves a slider to a value in the units shown, as a finger does."""
    page.locator(f"#knob-{name}").fill(str(value))


def expect_pairs(seen, *lit):
    for pair in PAIRS:
        expect(part(seen, f"pair_{pair}")).to_have_text(re.compile("ON$" if pair in lit else "off$"), timeout=15_000)


def cruise_at_sixty(page, seen):
    dial(page, "engine_speed", 1500)
    dial(page, "road_speed", 60)
    page.get_by_role("button", name="set / coast").click()
    expect(part(seen, "reading_cruise")).to_contain_text("60.0")


def test_the_demonstration(visit):
    seen = visit("/knobs")
    page = seen.page
    page.locator("[data-turned]").wait_for(timeout=30_000)
    page.get_by_role("button", name="US", exact=True).click()
    cruise_at_sixty(page, seen)
    expect_pairs(seen)
    expect(part(seen, "stage")).to_contain_text("cruise holds the speed")
    for speed, pairs in ((63, ("middle",)), (65, ("front", "rear")), (68, PAIRS)):
        dial(page, "road_speed", speed)
        expect_pairs(seen, *pairs)
    dial(page, "accelerator", 10)
    expect_pairs(seen)
    expect(part(seen, "stage")).to_contain_text("accelerator pressed")
    dial(page, "accelerator", 0)
    expect_pairs(seen, *PAIRS)
    page.get_by_label("clutch pedal").check()
    expect(part(seen, "stage")).to_contain_text("clutch pressed")
    expect_pairs(seen)
    page.get_by_label("clutch pedal").uncheck()
    page.get_by_label("brake pedal").check()
    expect(part(seen, "reading_cruise")).to_contain_text("cruise cancelled: service brake")
    page.get_by_label("brake pedal").uncheck()
    dial(page, "coolant", 227)
    expect(part(seen, "reading_fan")).to_contain_text("ON")
    expect(part(seen, "reading_lamp")).to_contain_text("amber", timeout=15_000)
    expect(part(seen, "codes")).to_contain_text("coolant temperature: hot")
    expect(part(seen, "reading_derate")).to_contain_text("25")
    expect(part(seen, "left_out")).to_contain_text("fell faster than a truck can stop")
    for units, shown in (("US", "227 °F"), ("metric", "108 °C")):
        page.get_by_role("button", name=units, exact=True).click()
        expect(part(seen, "pins")).to_contain_text(shown)
        for width, height in WINDOWS:
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(150)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            seen.shoot(f"knobs-{units}-{width}")
    assert violations(page) == []


def test_full_pedal_pulled_down_by_the_keyboard_alone(visit):
    seen = visit("/knobs")
    page = seen.page
    page.locator("[data-turned]").wait_for(timeout=30_000)
    dial(page, "engine_speed", 2250)
    dial(page, "boost", 350)
    page.locator("#knob-accelerator").focus()
    page.keyboard.press("End")
    expect(part(seen, "reading_torque")).to_contain_text("governor")
    page.locator("#knob-engine_speed").focus()
    for _ in range(15):
        page.keyboard.press("ArrowLeft")
    expect(part(seen, "reading_engine_speed")).to_contain_text("2100")
    expect(part(seen, "reading_torque")).to_contain_text("1541")
    dial(page, "engine_speed", 1800)
    expect(part(seen, "reading_torque")).to_contain_text("1879")
    expect(part(seen, "reading_torque")).to_contain_text("full-load curve")
    dial(page, "road_speed", 97)
    page.locator("#knob-accelerator").focus()
    page.keyboard.press("Home")
    page.locator("#knob-set_coast").focus()
    page.keyboard.press("Enter")
    expect(part(seen, "reading_cruise")).to_contain_text("97.0")


def test_a_link_shows_the_same_and_a_trip_begins_as_the_knobs_stand(visit):
    seen = visit("/knobs")
    page = seen.page
    page.locator("[data-turned]").wait_for(timeout=30_000)
    page.get_by_role("button", name="US", exact=True).click()
    cruise_at_sixty(page, seen)
    dial(page, "road_speed", 65)
    expect_pairs(seen, "front", "rear")
    page.get_by_role("button", name="Copy the link").click()
    expect(part(seen, "link_text")).to_have_text("Link copied.")
    link = page.evaluate("navigator.clipboard.readText()")
    other = visit(link.removeprefix(seen.address))
    expect_pairs(other, "front", "rear")
    expect(part(other, "reading_cruise")).to_contain_text("96.6")
    other.page.get_by_role("link", name="Put it on a road").click()
    expect(other.page).to_have_title("Trip - haulbench")
    assert "cruise.set_speed_km_h=96.561" in other.page.url and "retarding.selector=3" in other.page.url
    page.get_by_role("button", name="Begin again").click()
    expect(part(seen, "reading_cruise")).to_contain_text("cruise holds-switch on")
    bad = visit("/knobs?do=0:engine_sped:100")
    expect(part(bad, "error")).to_contain_text("Did you mean engine_speed", timeout=30_000)
