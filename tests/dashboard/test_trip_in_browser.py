"""The Trip page in a real browser, from a real server with real workers: every part of it is used as a student would."""

import csv
import io
import json
import re
from urllib.parse import unquote

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect

SIZES = [(1366, 768), (1920, 1080), (1024, 768)]
SHORT = "/?truck=long-haul-manual&road=grade:-6%25,3km,1250m&settings=defaults&drill.hold_gear=7&start.speed_km_h=50"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def driven(visit, times=1):
    """Waits until the page shows the answer to its n-th question."""
    visit.page.locator(f"[data-answered='{times}']").wait_for(timeout=30_000)
    expect(visit.page.locator(".trip:not(.busy)")).to_be_visible()
    return visit


def part(visit, name):
    return visit.page.locator(f"[data-part='{name}']")


def change(visit, key, value):
    """Chooses a value in the panel; its group is opened when it is closed."""
    control = visit.page.locator(f"[data-panel] [name='{key}']").first
    if control.count() == 0 or not control.is_visible():
        titles = {
            "start": "At the start",
            "drill": "Drills",
            "cruise": "Cruise control",
            "vehicle": "Load and air",
            "weather": "Load and air",
        }
        visit.page.locator("summary", has_text=titles[key.split(".")[0]]).click()
        control = visit.page.locator(f"[data-panel] [name='{key}']").first
    tag = control.evaluate("box => box.tagName + (box.type || '')")
    if tag.startswith("SELECT"):
        control.select_option(value)
    elif "checkbox" in tag:
        control.set_checked(value)
    else:
        control.fill(value)
        control.press("Tab")


def violations(page):
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}}).response["violations"]
    return [f"{each['id']}: {[node['target'] for node in each['nodes']][:4]}" for each in found]


@pytest.mark.parametrize("size", SIZES, ids=["laptop", "desk", "tablet"])
def test_it_draws_fits_its_window_and_offends_nobody(visit, size):
    seen = driven(visit("/", size))
    page = seen.page
    assert page.locator(".strip canvas").count() == 9
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    lowest = page.locator(".strip").last.bounding_box()
    assert lowest["height"] > 80 and lowest["width"] > 250
    drawn = page.evaluate(
        """() => [...document.querySelectorAll('.strip canvas, .chart canvas')].map(canvas => {
             const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data, seen = new Set();
             for (let at = 0; at < data.length; at += 4) {
               if (data[at + 3] > 250) { seen.add(data[at] << 16 | data[at + 1] << 8 | data[at + 2]); }
             }
             return seen.size; })"""
    )
    assert len(drawn) == 10 and min(drawn) > 5
    assert violations(page) == []
    name = f"trip-{size[0]}"
    seen.shoot(name)
    part(seen, "strips").scroll_into_view_if_needed()
    seen.shoot(f"{name}-strips")
    page.locator("summary", has_text="Drills").click()
    page.locator("summary", has_text="All settings").click()
    page.locator("#trip-search").fill("brake")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    part(seen, "predict_button").click()
    assert violations(page) == []


def test_the_verdict_comes_first_and_cautions_are_there(visit):
    seen = driven(visit("/?settings=mountain-careless"))
    lamp = seen.page.locator(".lamp.alarm")
    expect(lamp).to_contain_text("brakes beyond their limit")
    assert seen.page.locator(".lamp").first.bounding_box()["y"] < seen.page.locator(".cluster").bounding_box()["y"]
    expect(seen.page.locator("footer.cautions")).to_contain_text("A teaching model")
    expect(part(seen, "foreseen")).to_contain_text("careless")


def test_a_constant_grade_posts_a_limit_only_where_one_is_written(visit):
    seen = driven(visit("/?road=grade:-2%25,1km,100m&settings=defaults"))
    expect(part(seen, "speed_more")).to_have_text("no limit")
    limit = seen.page.locator("#trip-constant-limit")
    assert limit.input_value() == ""
    limit.fill("70")
    limit.press("Tab")
    expect(part(seen, "speed_more")).to_have_text("limit 70")
    assert "1km,100m,70km/h" in unquote(seen.page.url)


def test_a_change_drives_again_at_once_and_the_address_reopens_it(visit):
    seen = driven(visit(SHORT))
    before = part(seen, "verdict").inner_text()
    change(seen, "drill.hold_stage", "1")
    driven(seen, 2)
    assert "drill.hold_stage=1" in seen.page.url
    assert part(seen, "verdict").inner_text() != before or part(seen, "numbers").inner_text()
    numbers = part(seen, "numbers").inner_text()
    again = driven(visit(seen.page.url.removeprefix(seen.address)))
    assert part(again, "numbers").inner_text() == numbers
    assert again.page.locator("[data-key='drill.hold_stage'].changed").count() == 1


def test_a_value_typed_with_a_unit_or_in_us_units_is_driven_as_such(visit):
    seen = driven(visit(SHORT))
    seen.page.get_by_role("button", name="US", exact=True).click()
    change(seen, "vehicle.mass_kg", "60000")
    driven(seen, 2)
    assert "vehicle.mass_kg=60000lb" in seen.page.url
    seen.page.get_by_role("button", name="metric", exact=True).click()
    assert float(seen.page.locator("[name='vehicle.mass_kg']").input_value()) == pytest.approx(27_215.5, abs=0.6)
    assert seen.trips() == 2


def test_units_switch_everywhere_without_asking_the_server_and_are_kept(visit):
    seen = driven(visit(SHORT))
    asked = len(seen.asked)
    metric = part(seen, "numbers").inner_text()
    kmh = float(part(seen, "speed").inner_text())
    seen.page.get_by_role("button", name="US", exact=True).click()
    expect(part(seen, "speed_unit")).to_have_text("mi/h")
    assert float(part(seen, "speed").inner_text()) == pytest.approx(kmh / 1.609344, abs=1.0)
    us = part(seen, "numbers").inner_text()
    assert "km/h" in metric and "km/h" not in us and "mi/h" in us
    assert "°F" in seen.page.locator("[data-strip='brakes'] .strip-head").inner_text()
    assert (
        "mi/h" in seen.page.locator("[data-panel]").inner_text()
        and "km/h" not in seen.page.locator("[data-panel]").inner_text()
    )
    assert len(seen.asked) == asked
    seen.page.reload()
    driven(seen)
    expect(part(seen, "speed_unit")).to_have_text("mi/h")


def test_the_cursor_follows_mouse_and_keys_and_says_who_pushes(visit):
    seen = driven(visit(SHORT))
    asked = len(seen.asked)
    plot = seen.page.locator("[data-strip='speed'] .plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    plot.hover(position={"x": 60, "y": 40})
    first = float(part(seen, "place").inner_text())
    plot.hover(position={"x": box["width"] - 30, "y": 40})
    last = float(part(seen, "place").inner_text())
    assert first < 0.2 and last > 2.7
    scrub = seen.page.get_by_role("slider", name="Place along the road")
    scrub.focus()
    seen.page.keyboard.press("Home")
    for _ in range(3):
        seen.page.keyboard.press("PageUp")
    assert 0.1 < float(part(seen, "place").inner_text()) < 2.9
    assert re.match(r"\d+\.\d\d km, \d+ km/h, gear 7, stage \w+", scrub.get_attribute("aria-valuetext"))
    words = part(seen, "balance_words").inner_text()
    assert words.startswith("The grade pushes") and "hold" in words
    assert len(seen.asked) == asked
    row = seen.page.locator(".balance-row.grade")
    kilowatts = re.search(r", (\d+) kW$", row.inner_text())[1]
    seen.page.get_by_role("button", name="US").click()
    expect(row).to_contain_text("lbf")
    horsepower = re.search(r", (\d+) hp$", row.inner_text())[1]
    assert float(horsepower) == pytest.approx(float(kilowatts) / 0.7457, abs=2)


def test_cylinders_light_in_pairs_and_the_reason_is_in_words(visit):
    seen = driven(visit(SHORT + "&drill.hold_stage=1"))
    scrub = seen.page.get_by_role("slider", name="Place along the road")
    scrub.fill(str(int(float(scrub.get_attribute("max")) * 0.6)))
    expect(part(seen, "stage_words")).to_contain_text("Stage 1 works: foot off the accelerator; the selector allows 1.")
    assert seen.page.locator(".cylinder[data-state='on']").count() == 2
    expect(seen.page.locator(".pair-box", has_text="middle works")).to_be_visible()
    change(seen, "drill.hold_stage", "3")
    driven(seen, 2)
    expect(seen.page.locator(".cylinder[data-state='on']")).to_have_count(6)
    seen.page.locator("[data-key='drill.dead_pairs'] input").nth(1).check()
    driven(seen, 3)
    expect(seen.page.locator(".cylinder[data-state='dead']")).to_have_count(2)
    seen.page.get_by_role("button", name="undo dead pairs of cylinders").click()
    driven(seen, 4)
    expect(seen.page.locator(".conditions .stops")).to_have_count(0)


def test_play_moves_the_truck_smoothly_without_the_server(visit):
    seen = driven(visit(SHORT))
    asked = len(seen.asked)
    seen.page.get_by_role("slider", name="Place along the road").fill("0")
    seen.page.get_by_label("How fast to play").select_option("20")
    seen.page.get_by_role("button", name="Play the trip").click()
    frames = seen.page.evaluate(
        """() => new Promise(done => { const seen = []; const lorry = document.querySelector('.lorry');
             const look = () => {
               seen.push(lorry.style.transform);
               if (seen.length < 40) requestAnimationFrame(look); else done(seen);
             };
             requestAnimationFrame(look); })"""
    )
    places = [float(re.search(r"translate\(([\d.]+)px", frame)[1]) for frame in frames]
    assert len(set(places)) > 25 and places == sorted(places)
    seen.page.get_by_role("button", name="Pause").click()
    stopped = part(seen, "place").inner_text()
    seen.page.wait_for_timeout(200)
    assert part(seen, "place").inner_text() == stopped and float(stopped) > 0.05
    assert len(seen.asked) == asked


def test_the_class_view_is_large_and_fits(visit):
    seen = driven(visit("/", (1920, 1080)))
    before = part(seen, "speed").bounding_box()["height"]
    button = seen.page.get_by_role("button", name="Class view")
    button.click()
    assert part(seen, "speed").bounding_box()["height"] > 1.5 * before
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= 1920
    seen.shoot("trip-class-view")
    seen.page.get_by_role("button", name="Usual view").click()
    assert part(seen, "speed").bounding_box()["height"] == pytest.approx(before, abs=2)


def test_a_kept_run_stays_under_the_next_and_can_be_let_go(visit):
    seen = driven(visit(SHORT))
    seen.page.get_by_role("button", name="Keep this run").click()
    change(seen, "drill.hold_stage", "2")
    driven(seen, 2)
    expect(part(seen, "numbers").locator("thead")).to_contain_text("kept run")
    expect(seen.page.locator("[data-strip='road'] .strip-head")).to_contain_text("the kept run")
    assert part(seen, "numbers").locator("tr.differs").count() > 5
    seen.shoot("trip-kept-run")
    seen.page.get_by_role("button", name="Drop the kept run").click()
    expect(part(seen, "numbers").locator("thead")).not_to_contain_text("kept run")
    assert seen.trips() == 2


def test_a_prediction_is_held_against_the_run(visit):
    seen = driven(visit(SHORT))
    part(seen, "predict_button").click()
    seen.page.get_by_role("switch", name="do not drive before I press Drive").check()
    change(seen, "drill.hold_stage", "1")
    expect(part(seen, "state")).to_contain_text("Not driven yet")
    expect(part(seen, "foreseen")).to_contain_text("does not hold")
    assert seen.trips() == 1
    seen.page.get_by_label("highest speed").fill("61")
    seen.page.get_by_label("highest engine speed").fill("2000")
    seen.page.get_by_label("highest engine speed").press("Tab")
    seen.page.get_by_label("the truck", exact=True).select_option("runaway")
    seen.page.get_by_role("button", name="Drive", exact=True).click()
    expect(seen.page.locator(".outcome tbody tr")).to_have_count(3)
    driven(seen, seen.page.evaluate("document.querySelector('.trip').dataset.asked"))
    outcome = seen.page.locator(".outcome").inner_text()
    assert "61 km/h" in outcome and ("too low" in outcome or "too high" in outcome)
    seen.shoot("trip-prediction")


def test_the_link_and_the_files_are_those_of_this_setup(visit):
    seen = driven(visit(SHORT))
    change(seen, "drill.hold_stage", "2")
    driven(seen, 2)
    seen.page.get_by_role("button", name="Copy the link").click()
    expect(part(seen, "link_text")).to_contain_text("Copied")
    assert seen.page.evaluate("navigator.clipboard.readText()") == seen.page.url
    for name in ("trace", "events", "summary", "report"):
        with seen.page.expect_download() as waiting:
            seen.page.get_by_role("link", name=name, exact=True).click()
        text = waiting.value.path().read_text(encoding="utf-8")
        if name == "trace":
            rows = list(csv.DictReader(io.StringIO(text)))
            assert {row["brake_stage"] for row in rows} >= {"2"} and rows[0].keys() >= {
                "time_s",
                "drive_force_n",
                "reservoir_pressure_kpa",
            }
        elif name == "summary":
            assert json.loads(text)["distance_m"] == pytest.approx(3000.0, abs=2.0)
        elif name == "report":
            assert text.startswith("<!DOCTYPE html>") and "foot off the accelerator" in text
        else:
            assert text.startswith("time [s],distance [km],event,cause")


def test_a_bad_value_is_said_once_and_the_old_result_stays_in_grey(visit):
    seen = driven(visit(SHORT))
    shown = part(seen, "numbers").inner_text()
    change(seen, "vehicle.mass_kg", "900000")
    error = part(seen, "error")
    expect(error).to_contain_text("vehicle.mass_kg is 900000")
    expect(error).to_contain_text("allowed is 3000 to 80000 kg")
    assert seen.page.locator("[name='vehicle.mass_kg']").get_attribute("aria-invalid") == "true"
    expect(seen.page.locator(".trip.refused")).to_be_visible()
    assert part(seen, "numbers").inner_text() == shown
    seen.shoot("trip-refused")
    assert violations(seen.page) == []
    seen.page.get_by_role("button", name="undo gross mass").click()
    expect(part(seen, "state")).to_contain_text("Nothing changed")
    expect(error).to_be_hidden()
    expect(seen.page.locator(".trip.refused")).to_have_count(0)


@pytest.mark.parametrize(
    "query",
    [
        "?truck=/etc/passwd",
        "?vehicle.mass_kg=<img src=x onerror=alert(1)>",
        "?nothing.here=1",
        "?road=grade:-99%25,1km,0m",
    ],
)
def test_a_bad_link_gives_one_message_and_a_panel_that_works(visit, query):
    seen = visit("/" + query)
    expect(part(seen, "error")).to_be_visible(timeout=30_000)
    assert len(part(seen, "error").inner_text()) > 20
    assert seen.page.locator("main img").count() == 0
    seen.page.locator("#trip-settings").select_option("mountain-careless")
    seen.page.locator("#trip-truck").select_option("long-haul-manual")
    undo = seen.page.get_by_role("button", name="undo all changes")
    if undo.is_visible():
        undo.click()
    expect(seen.page.locator(".lamp").first).to_be_visible(timeout=30_000)


def test_it_says_that_the_model_is_being_prepared_and_then_drives_the_newest_setup(visit):
    waiting = {"yes": True}

    def hold(page):
        def answer(route):
            if waiting["yes"]:
                route.fulfill(json={"ready": False, "trouble": ""})
            else:
                route.continue_()

        page.route("**/ready", answer)

    seen = visit(SHORT, first=hold)
    expect(part(seen, "state")).to_contain_text("Preparing the model")
    change(seen, "drill.hold_stage", "2")
    seen.page.wait_for_timeout(800)
    assert seen.trips() == 0
    seen.shoot("trip-preparing")
    waiting["yes"] = False
    driven(seen)
    assert seen.trips() == 1 and "drill.hold_stage=2" in seen.page.url
    expect(part(seen, "state")).to_have_text("")


def test_the_last_change_wins(visit):
    seen = driven(visit("/?road=kessarin-round&settings=defaults"))
    for value in ("1", "2", "3", "1", "2"):
        change(seen, "drill.hold_stage", value)
    expect(seen.page.locator(".trip:not(.busy)")).to_be_visible(timeout=30_000)
    expect(seen.page.locator("[data-part='state']")).to_have_text("", timeout=30_000)
    assert "drill.hold_stage=2" in seen.page.url
    fresh = driven(visit(seen.page.url.removeprefix(seen.address)))
    assert part(fresh, "numbers").inner_text() == part(seen, "numbers").inner_text()


def test_two_browsers_do_not_see_each_other_s_choices(visit):
    one, other = driven(visit(SHORT)), driven(visit(SHORT))
    change(one, "drill.hold_stage", "1")
    driven(one, 2)
    other.page.get_by_role("button", name="US", exact=True).click()
    assert (
        "hold_stage" not in other.page.url
        and other.page.locator(".field.changed[data-key='drill.hold_stage']").count() == 0
    )
    expect(part(one, "speed_unit")).to_have_text("km/h")
    other.page.reload()
    driven(other)
    assert "hold_stage" not in other.page.url


def test_one_can_look_closer_and_back_with_mouse_and_buttons(visit):
    seen = driven(visit(SHORT))
    plot = seen.page.locator("[data-strip='engine'] .plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    seen.page.mouse.move(box["x"] + 150, box["y"] + 40)
    seen.page.mouse.down()
    seen.page.mouse.move(box["x"] + 260, box["y"] + 40, steps=5)
    seen.page.mouse.up()
    expect(part(seen, "zoom_words")).to_contain_text("km to")
    seen.page.get_by_role("button", name="Whole road").click()
    expect(part(seen, "zoom_words")).to_contain_text("drag sideways")
    seen.page.get_by_role("button", name="Closer").click()
    expect(part(seen, "zoom_words")).to_contain_text("km to")


def test_an_event_in_the_list_moves_the_cursor_there(visit):
    seen = driven(visit("/"))
    row = part(seen, "events").locator("tbody tr", has_text="gear engaged").nth(3)
    place = row.get_by_role("button").inner_text()
    row.get_by_role("button").click()
    assert float(part(seen, "place").inner_text()) == pytest.approx(float(place.split()[0]), abs=0.02)


def test_a_circuit_is_broken_metered_and_dialled_at_the_cursor(visit):
    seen = driven(visit("/?truck=long-haul-manual&road=grade:2%25,4km,200m&settings=defaults"))
    page, card = seen.page, part(seen, "circuits")
    expect(part(seen, "codes")).to_contain_text("Nothing is broken")
    page.locator("#trip-scrub").fill("1000")
    card.locator("summary", has_text="Break a circuit").click()
    page.locator("#trip-break-part").select_option("boost pressure")
    page.locator("#trip-break-failure").select_option("offset")
    page.get_by_role("button", name="Break it here").click()
    expect(part(seen, "error")).to_contain_text("give the size in kPa")
    page.locator("#trip-break-failure").select_option("open")
    page.get_by_role("button", name="Break it here").click()
    driven(seen, 2)
    expect(part(seen, "verdict")).to_contain_text("with a code set: SPN 102 FMI 4")
    expect(part(seen, "lamp")).to_have_text("off")
    page.locator("#trip-scrub").fill("1500")
    expect(part(seen, "lamp")).to_have_text("amber")
    expect(part(seen, "codes")).to_contain_text(
        "SPN 102 FMI 4, boost pressure: voltage below normal; lamp amber, 1 time, active"
    )
    page.locator("#trip-meter").select_option("boost pressure")
    driven(seen, 3)
    page.locator("#trip-scrub").fill("1500")
    expect(card.locator(".meter")).to_contain_text("0.000 V")
    part(seen, "circuits").scroll_into_view_if_needed()
    seen.shoot("trip-circuits")
    card.locator("summary", has_text="Dial a value in").click()
    page.locator("#trip-dial-part").select_option("coolant temperature")
    page.locator("#trip-dial-value").fill("120")
    page.get_by_role("button", name="Dial in here").click()
    driven(seen, 4)
    expect(card.locator(".dialled")).to_contain_text("1.50 km coolant temperature 120 C")
    expect(part(seen, "verdict")).to_contain_text("The controller ")
    assert violations(page) == []
    page.get_by_role("button", name=re.compile("^take out: 1.50 km")).click()
    driven(seen, 5)


def test_every_control_is_reached_by_the_tab_key(visit):
    seen = driven(visit(SHORT))
    page = seen.page
    wanted = page.evaluate(
        """() => [...document.querySelectorAll('a[href], button, input, select, summary, [tabindex="0"]')]
             .filter(box => box.checkVisibility({ visibilityProperty: true }) && !box.disabled && box.tabIndex >= 0).length"""
    )
    page.evaluate("document.activeElement.blur()")
    reached = set()
    for _ in range(wanted + 30):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                """() => { const box = document.activeElement;
                     if (!box.dataset.tab) { box.dataset.tab = String(Math.random()); }
                     return box.tagName + box.dataset.tab; }"""
            )
        )
    assert len({each for each in reached if not each.startswith("BODY")}) >= wanted


def test_a_page_that_is_not_there_says_so(visit):
    seen = visit("/no/such/page")
    expect(seen.page.get_by_role("heading", name="There is no such page")).to_be_visible()


def test_the_title_of_the_window_says_the_page_also_after_moving_on_and_back(visit):
    page = visit("/sources").page
    expect(page).to_have_title("Sources - haulbench")
    page.get_by_role("link", name="Speedometer").click()
    expect(page).to_have_title("Speedometer - haulbench")
    page.go_back()
    expect(page).to_have_title("Sources - haulbench")
    page.get_by_role("link", name="Trip", exact=True).click()
    expect(page).to_have_title("Trip - haulbench")
