"""The Speedometer page in a real browser: the needle, a mile timed by hand, the number entered, the record of settings."""

import re

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect
from test_trip_in_browser import part, violations

from sim import load_truck
from sim.speedo import calibration_of, mystery
from sim.units import MILE, MILE_PER_HOUR

WINDOWS = [(1366, 768), (1920, 1080), (1024, 768)]


def test_a_mile_is_measured_entered_and_driven_again(visit):
    seen = visit("/speedometer")
    page = seen.page
    page.locator("[data-looked='1']").wait_for(timeout=30_000)
    expect(part(seen, "verdict")).to_contain_text("Pass")
    page.locator("[name='speedometer.programmed_pulses_per_mile']").fill("25000")
    page.locator("[name='speedometer.programmed_pulses_per_mile']").press("Tab")
    page.locator("[data-looked='2']").wait_for()
    expect(part(seen, "verdict")).to_contain_text("Fail: shows 90.5 km/h at a true 80.5 km/h")
    page.locator("#speedo-only").check()
    expect(part(seen, "record")).to_contain_text("1 of 40 changed; 1 shown")
    expect(part(seen, "record")).to_contain_text("\u2192 25000")
    page.get_by_role("button", name="US", exact=True).click()
    expect(part(seen, "verdict")).to_contain_text("56.2 mi/h at a true 50.0 mi/h")
    page.get_by_role("button", name="metric", exact=True).click()
    for size in WINDOWS:
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        seen.shoot(f"speedometer-{size[0]}")
    assert violations(page) == []
    page.set_viewport_size({"width": 1366, "height": 768})
    page.locator("[name='speedometer.programmed_pulses_per_mile']").fill("3000")
    page.locator("[name='speedometer.programmed_pulses_per_mile']").press("Tab")
    page.get_by_role("button", name=re.compile("undo all")).click()

    # a truck from another workshop: nothing tells before the entries do
    page.locator("#speedo-which").select_option("other")
    page.locator("#speedo-number").fill("7")
    page.locator("#speedo-shown").select_option("60")
    page.locator("#speedo-miles").select_option("0.5")
    page.locator("#speedo-rate").evaluate("box => { box.value = '10'; box.dispatchEvent(new Event('change')); }")
    page.get_by_role("button", name="Drive", exact=True).click()
    page.locator("[data-mile='first']").wait_for(timeout=20_000)
    expect(part(seen, "effects")).to_be_hidden()
    page.keyboard.press("Space")
    page.wait_for_timeout(900)
    seen.shoot("speedometer-mile")
    page.get_by_role("button", name="Stop the watch").click()
    there = float(page.locator("#speedo-seconds").input_value())
    assert 4.0 < there < 40.0
    page.locator("#speedo-way").select_option("back")
    page.get_by_role("button", name="Drive", exact=True).click()
    expect(part(seen, "watch")).to_contain_text("0.0 s")
    page.keyboard.press("Space")
    page.wait_for_timeout(300)
    page.get_by_role("button", name="Stop the watch").click()
    assert 0.0 < float(page.locator("#speedo-seconds").input_value()) < there, "the mean of both ways"
    page.locator("#speedo-way").select_option("there")
    page.get_by_role("button", name="Enter the number and mark it").click()
    expect(part(seen, "mile_error")).to_contain_text("needle")

    calibration = calibration_of(mystery(load_truck("long-haul-manual").truck, 7)[0])
    true = calibration.true(60.0 * MILE_PER_HOUR)
    sums = {
        "seconds": f"{0.5 * MILE / true:.1f}",
        "read": f"{60.0 * 1.609344:.1f}",
        "speed": f"{3.6 * true:.1f}",
        "pulses": f"{calibration.tyre_revolutions_per_mile:.1f} x {calibration.axle_ratio:g} x {calibration.teeth}",
    }
    for name, text in sums.items():
        page.locator(f"#speedo-{name}").fill(text)
    page.get_by_role("button", name="Enter the number and mark it").click()
    expect(part(seen, "marked")).to_contain_text("3 of 4", timeout=20_000)
    expect(part(seen, "marked")).to_contain_text("What had happened")
    page.locator("[data-mile='second']").wait_for(timeout=20_000)
    expect(part(seen, "effects")).to_be_visible()
    assert violations(page) == []
    with page.expect_download() as got:
        page.get_by_role("button", name="Lab sheet, to print").click()
    assert "Measured mile" in got.value.path().read_text()
    with page.expect_download() as got:
        page.get_by_role("link", name="record.csv").click()
    assert got.value.path().read_text().startswith("key,before,after")
