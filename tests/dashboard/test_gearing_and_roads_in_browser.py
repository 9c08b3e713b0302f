"""The Gearing and Roads pages in a real browser against a real server: every control, both units, links, uploads, refusals.

Screenshots go to the folder named by HAULBENCH_PICTURES, or to a temporary one.
"""

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from serving import real_server
from strangers import strangers

from sim import import_track

SIZES = {"laptop": (1366, 768), "projector": (1920, 1080), "tablet": (1024, 768)}
PATIENCE = 60_000  # ms: the first answer may wait for the model to be prepared
ATTACK = "<img src=x onerror=document.title='owned'>"


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """The pages, served as they are to a class."""
    with real_server() as address:
        yield address


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where screenshots go."""
    folder = Path(os.environ.get("HAULBENCH_PICTURES") or tmp_path_factory.mktemp("pictures"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture
def opened(browser: Any, server: str) -> Iterator[Callable[..., Any]]:
    """Opens an address in a browser of its own; when the test ends no request has left the server and no console has spoken."""
    contexts: list[Any] = []
    asked: list[str] = []
    said: list[str] = []

    def show(path: str, size: tuple[int, int] = SIZES["laptop"]) -> Any:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, accept_downloads=True)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda problem: said.append(str(problem)))
        page.goto(server + path)
        return page

    yield show
    outside = [url for url in asked if not url.startswith((server + "/", "data:", "blob:"))]
    refused = re.compile(r"error: Failed to load resource: the server responded with a status of 4(00|13)")
    for context in contexts:
        context.close()
    assert asked and not outside
    assert [text for text in said if not refused.match(text)] == []


def drawn(page: Any, *names: str) -> None:
    """Waits until figures are drawn."""
    for name in names:
        page.locator(f"#{name} .main-svg").first.wait_for()


GEARING = ("gearing-overlay", "gearing-speed-chart", "gearing-pull-chart", "gearing-retarding-chart")
ROADS = ("roads-profile", "roads-histogram")


def fits(page: Any, width: int) -> None:
    """No page is wider than its window."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def breaches(page: Any) -> list[str]:
    """What axe finds against WCAG 2.2 AA."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
    return [
        f"{each['id']}: {[node['html'][:160] for node in each['nodes'][:3]]}" for each in found.response["violations"]
    ]


def cells(page: Any, name: str) -> list[str]:
    """The texts of one row of the table of choices."""
    row = page.locator("table.compared tr", has=page.locator("th", has_text=re.compile(f"^{re.escape(name)}$")))
    return row.locator("td").all_text_contents()


# ---------------------------------------------------------------- Gearing


@pytest.mark.parametrize("size", SIZES)
def test_gearing_opens_fits_and_can_be_read_by_everybody(opened, pictures, size):
    page = opened("/gearing", SIZES[size])
    drawn(page, *GEARING)
    fits(page, SIZES[size][0])
    assert cells(page, "axle ratio") == ["3.08", "3.36", "3.7"]
    assert page.locator(".noted", has_text="All choices arrive").is_visible()
    assert page.locator("footer", has_text="The engine brake does not replace the service brakes").is_visible()
    for name in GEARING:
        box = page.locator(f"#{name}").bounding_box()
        assert box["height"] > 300 and box["width"] > 300, name
    page.screenshot(path=pictures / f"gearing-{size}.png", full_page=True)
    assert breaches(page) == []


def test_every_control_of_gearing(opened, pictures):
    page = opened("/gearing")
    drawn(page, *GEARING)
    page.fill("#gearing-axle-2", "3.25")
    page.locator("table.compared td", has_text=re.compile("^3.25$")).wait_for()
    assert "choices=3.08|3.25|3.70" in page.url.replace("%7C", "|")
    page.click("#gearing-add")
    page.locator("#gearing-axle-4").wait_for()
    assert page.evaluate("document.activeElement.id") == "gearing-axle-4"
    page.select_option("#gearing-gearbox-4", "long-haul-automated")
    page.locator("table.compared td", has_text="12-speed direct, automated").wait_for()
    page.fill("#gearing-axle-4", "2.31")
    page.locator("table.compared td", has_text=re.compile("^2.31$")).wait_for()
    page.fill("#gearing-radius-1", "0.52")
    page.locator("table.compared td", has_text="0.520 m").wait_for()
    assert cells(page, "gear shifts") and len(cells(page, "gear shifts")) == 4
    page.check("#gearing-pick-4")
    page.locator("#gearing-speed-chart .legendtext", has_text="gears of choice 4").wait_for()
    page.click("button[aria-label='remove choice 3']")
    page.locator("#gearing-axle-4").wait_for(state="detached")
    page.locator("table.compared thead th:nth-child(4)").wait_for()
    page.locator("table.compared thead th:nth-child(5)").wait_for(state="detached")
    before = cells(page, "engine speed, top gear")
    page.click("#unit-switch button[data-units='us']")
    page.locator("table.compared th", has_text="fuel, mi/gal").wait_for()
    assert cells(page, "engine speed, top gear") == before  # rpm are everybody's
    assert all(text.endswith("rev/mi") for text in cells(page, "tyre"))
    assert page.input_value("#gearing-radius-1").startswith("20.47")
    page.locator("#gearing-overlay .xtitle", has_text="distance, mi").wait_for()
    page.screenshot(path=pictures / "gearing-us.png", full_page=True)
    again = opened(page.url.partition("//")[2].partition("/")[2].join(["/", ""]))
    drawn(again, *GEARING)
    assert cells(again, "axle ratio") == ["3.08", "3.25", "2.31"]
    assert cells(again, "gearbox")[2] == "12-speed direct, automated"
    again.click("text=the usual three")
    again.locator("table.compared td", has_text=re.compile("^3.7$")).wait_for()
    assert "choices" not in again.url


def test_six_choices_are_the_most(opened):
    page = opened("/gearing?road=grade:0%25,2km,200m")
    drawn(page, *GEARING)
    for _ in range(3):
        page.click("#gearing-add")
    page.locator("#gearing-axle-6").wait_for()
    assert page.locator("#gearing-add").is_disabled()
    assert page.locator("text=Six choices are the most").is_visible()
    page.locator("table.compared thead th:nth-child(7)").wait_for()
    assert page.locator(".noted", has_text="Choices 2 and 4 are the same").is_visible()


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?choices=3.08|99", "Choice 2: driveline.axle_ratio=99: driveline.axle_ratio is 99; allowed is 1.5 to 8"),
        ("?choices=3.36,no-such-truck", "no-such-truck"),
        (f"?choices={ATTACK.replace('=', '%3D')}", "Choice 1: "),
        ("?choices=1|2|3|4|5|6|7", "6 at most"),
        ("?choices=3.36,a,b,c,d", "give an axle ratio, a gearbox and a tyre radius at most"),
        ("?road=no-such-road", "no-such-road"),
        ("?settings=defaults&drill.hold_gear=11", "has gears 1 to 10"),
    ],
)
def test_gearing_says_what_is_wrong_and_goes_on(opened, query, words):
    page = opened("/gearing" + query)
    page.locator("#gearing-results .told", has_text=words).wait_for()
    assert page.locator("#gearing-handbook").is_hidden()
    assert page.title() != "owned"
    if "99" in query:
        page.fill("#gearing-axle-2", "3.5")
        drawn(page, *GEARING)
        assert page.locator("#gearing-results .told").count() == 0


def test_fuel_of_a_road_with_net_height_carries_a_note(opened):
    page = opened("/gearing?road=grade:-2%25,3km,600m&choices=3.36|3.70")
    drawn(page, *GEARING)
    assert page.locator(".noted", has_text="60 m below its start").is_visible()


def test_gearing_by_keyboard_alone(opened):
    page = opened("/gearing?road=grade:0%25,2km,200m")
    drawn(page, *GEARING)
    page.locator("#gearing-axle-1").focus()
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    for name in (
        "gearing-gearbox-1",
        "gearing-radius-1",
        "gearing-axle-2",
        "gearing-add",
        "gearing-truck",
        "gearing-road",
    ):
        assert name in reached, name
    page.locator("#gearing-axle-1").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("3.9")
    page.locator("table.compared td", has_text=re.compile("^3.9$")).wait_for()


# ---------------------------------------------------------------- Roads


@pytest.mark.parametrize("size", SIZES)
def test_roads_opens_fits_and_can_be_read_by_everybody(opened, pictures, size):
    page = opened("/roads", SIZES[size])
    drawn(page, *ROADS, "roads-descent-1")
    fits(page, SIZES[size][0])
    assert page.locator("h2", has_text="Skarrow Grade").is_visible()
    assert page.locator("text=brake temperature").first.is_visible()
    assert page.locator("footer", has_text="The engine brake does not replace the service brakes").is_visible()
    page.screenshot(path=pictures / f"roads-{size}.png", full_page=True)
    assert breaches(page) == []


def test_every_control_of_roads(opened, pictures):
    page = opened("/roads")
    drawn(page, *ROADS)
    page.select_option("#roads-road", "ollen-pass")
    page.locator("h2", has_text="Ollen Pass").wait_for()
    page.locator("td", has_text="curve").first.wait_for()
    page.select_option("#roads-truck", "dump-three-axle")
    page.locator("text=does not have the five axles").wait_for()
    page.locator("summary", has_text="Truck and engine brake").click()
    page.locator("[data-key='retarding.switch'] input").click()
    page.locator("text=no brake").first.wait_for()
    assert "retarding.switch=false" in page.url
    page.click("#unit-switch button[data-units='us']")
    page.locator("#roads-profile .xtitle", has_text="distance, mi").wait_for()
    page.locator("td", has_text="mi/h").first.wait_for()
    assert page.locator("label", has_text="posted limit, mi/h").is_visible()
    page.screenshot(path=pictures / "roads-us.png", full_page=True)
    page.select_option("#roads-road", "grade:")
    page.locator("h2", has_text="constant grade").wait_for()
    assert page.locator("#roads-csv").count() == 0
    box = page.locator("#roads-constant-length")
    assert page.locator("label", has_text="length, mi").is_visible()
    assert (box.input_value(), page.locator("#roads-constant-altitude").input_value()) == ("3.7282", "3608.9")
    box.fill("2")
    box.press("Tab")
    page.wait_for_url("**road=grade:-6%25,2mi,3608.9ft**")
    page.click("#unit-switch button[data-units='metric']")
    assert (box.input_value(), page.locator("#roads-constant-altitude").input_value()) == ("3.2187", "1100")
    page.click("#unit-switch button[data-units='us']")
    page.select_option("#roads-road", "ulmary-plain")
    page.locator("text=No part of this road falls enough").wait_for()


def test_a_recording_becomes_a_road_that_every_page_can_open(opened, pictures, recording):
    """Upload, what smoothing changed, downloads, the link in another browser; nothing is written meanwhile."""
    page = opened("/roads")
    drawn(page, *ROADS)
    page.set_input_files("#roads-file", recording)
    page.fill("#roads-limit", "70")
    page.click("#roads-send")
    page.locator("#roads-told", has_text="Made:").wait_for()
    drawn(page, "roads-smoothing")
    title = page.locator("h2.road-title").text_content()
    assert "GPX track" in title and not strangers(title, "us") and not strangers(title, "metric")
    assert page.locator("dt", has_text="points dropped").is_visible()
    assert page.locator("text=70 km/h, given").is_visible()
    address = parse_qs(urlsplit(page.url).query)["road"][0]
    assert re.fullmatch(r"upload:[0-9a-f]{32}", address)
    page.screenshot(path=pictures / "roads-upload.png", full_page=True)
    expected = import_track(recording, limit=70 / 3.6)
    for kind, text in (("csv", expected.csv()), ("toml", expected.toml())):
        with page.expect_download() as download:
            page.click(f"#roads-{kind}")
        assert download.value.suggested_filename == f"recorded-drive.{kind}"
        assert Path(download.value.path()).read_text(encoding="utf-8") == text
    link = page.locator("#roads-drive").get_attribute("href")
    assert f"road={address}" in link
    other = opened(urlsplit(page.url).path + "?" + urlsplit(page.url).query)
    drawn(other, "roads-smoothing")
    assert other.locator("h2.road-title").text_content() == title
    gearing = opened(f"/gearing?road={address}&choices=3.36|3.70")
    drawn(gearing, *GEARING)
    assert gearing.locator("h2", has_text=title).is_visible()
    trip = opened(link)
    trip.locator("#trip-road option:checked", has_text="uploaded road").wait_for(state="attached")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("trap.gpx", b"<!DOCTYPE gpx [<!ENTITY a 'b'>]><gpx>&a;</gpx>", "declares a DOCTYPE"),
        ("picture.gpx", b"\x89PNG\r\n\x1a\n\0\0", "is not a text file"),
        ("empty.csv", b"", "is empty"),
        ("words.csv", b"distance_m,elevation_m\n0,high\n", 'elevation_m is "high"'),
        ("short.csv", b"distance_m,elevation_m\n0,10\n50,11\n", "200 m at least"),
        ("steps.csv", b"distance_m,height\n0,10\n", 'no column of a track is called "height"'),
        ("..%2F..%2Fetc%2Fpasswd", b"root", "is neither a GPX track nor a table"),
    ],
)
def test_what_is_no_track_is_refused_in_words(opened, name, content, words):
    page = opened("/roads")
    drawn(page, *ROADS)
    page.set_input_files("#roads-file", {"name": name, "mimeType": "application/octet-stream", "buffer": content})
    page.click("#roads-send")
    page.locator("#roads-told.told", has_text=words).wait_for()
    assert page.locator("h2", has_text="Skarrow Grade").is_visible()


def test_an_upload_without_a_file_and_one_that_is_too_large(opened):
    page = opened("/roads")
    drawn(page, *ROADS)
    page.click("#roads-send")
    page.locator("#roads-told", has_text="Choose a file first").wait_for()
    page.set_input_files(
        "#roads-file", {"name": "long.gpx", "mimeType": "text/xml", "buffer": b"<gpx>" + b" " * 10_000_000}
    )
    page.click("#roads-send")
    page.locator("#roads-told", has_text="at most 10 MB").wait_for()


def test_a_name_that_is_a_script_stays_a_name(opened):
    page = opened("/roads")
    drawn(page, *ROADS)
    rows = "".join(f"{100 * row},{500 - 5 * row},{ATTACK if row == 3 else ''}\n" for row in range(40))
    page.set_input_files(
        "#roads-file",
        {"name": f"{ATTACK}.csv", "mimeType": "text/csv", "buffer": f"distance_m,elevation_m,sign\n{rows}".encode()},
    )
    page.click("#roads-send")
    page.locator("#roads-told", has_text="Made:").wait_for()
    drawn(page, "roads-smoothing")
    page.locator("td", has_text='sign: "<img').wait_for()
    assert page.title() != "owned"
    assert page.locator("main img").count() == 0


def test_an_uploaded_road_that_is_no_longer_kept_says_so(opened):
    page = opened("/roads?road=upload:" + "0" * 32)
    page.locator("#roads-results .told", has_text="no longer kept on the server").wait_for()


def test_roads_by_keyboard_alone(opened):
    page = opened("/roads")
    drawn(page, *ROADS)
    page.locator("#roads-road").focus()
    reached = []
    for _ in range(24):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    for name in (
        "roads-truck",
        "roads-file",
        "roads-smooth",
        "roads-every",
        "roads-limit",
        "roads-send",
        "roads-drive",
        "roads-csv",
    ):
        assert name in reached, name


def test_two_browsers_do_not_see_each_others_choices(opened):
    one, other = opened("/gearing?road=grade:0%25,2km,200m"), opened("/gearing?road=grade:0%25,2km,200m")
    drawn(one, *GEARING)
    drawn(other, *GEARING)
    one.fill("#gearing-axle-1", "4.10")
    one.locator("table.compared td", has_text=re.compile("^4.1$")).wait_for()
    other.click("#unit-switch button[data-units='us']")
    other.locator("table.compared th", has_text="fuel, mi/gal").wait_for()
    assert cells(other, "axle ratio") == ["3.08", "3.36", "3.7"]
    assert one.locator("table.compared th", has_text="fuel, L/100 km").is_visible()


def test_inputs_are_typed_in_the_units_of_the_reader(opened):
    """A compound unit and a list, which nobody types with a unit, are kept in those of the file."""
    page = opened("/gearing?road=grade:0%25,1km")
    page.click("#unit-switch button[data-units='us']")
    page.locator("summary", has_text="All settings and truck values").click()
    page.locator("#gearing-search").fill("radiator, standing")
    box = page.locator("[data-key='cooling.still_kw_per_k']")
    shown = box.locator("input").first
    shown.wait_for()
    assert box.locator(".unit").inner_text() == "Btu/(h \N{DEGREE SIGN}F)" and "to 9478 Btu/(h" in box.inner_text()
    shown.fill("379.13")
    page.wait_for_url("**cooling.still_kw_per_k=0.2000**")
    page.locator("#gearing-search").fill("fade")
    hot = page.locator("[data-key='drums.fade_c'] input").first
    hot.wait_for()
    assert hot.input_value() == "[68,550.4,806,1004,1202]"
    hot.fill("[68,550.4,806,1004,1220]")
    page.wait_for_url(re.compile(r"drums\.fade_c=%5B20,288,430,540,660%5D"))
    page.click("#unit-switch button[data-units='metric']")
    assert hot.input_value() == "[20,288,430,540,660]"
