"""The report in a real browser, off the network: it opens from disk, draws, filters, prints, and says nothing on its console."""

import json
import re

import pytest

from dashboard.trip.report import comparison_report, trip_report
from sim import compare_trips, load_route, load_settings, run_trip
from sim.inputs.files import load_truck

SIZES = [(1366, 768), (1920, 1080), (1024, 768)]


@pytest.fixture
def opened(browser, tmp_path):
    """Opens a report from disk with the network cut; gives the page and what it asked for and said."""
    contexts = []

    def show(text: str, size: tuple[int, int] = (1366, 768)):
        path = tmp_path / "report.html"
        path.write_text(text, encoding="utf-8", newline="\n")
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True)
        contexts.append(context)
        page = context.new_page()
        asked: list[str] = []
        said: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda problem: said.append(str(problem)))
        page.goto(path.as_uri())
        page.locator("html[data-drawn]").wait_for()
        return page, asked, said

    yield show
    for context in contexts:
        context.close()


def outside(asked: list[str]) -> list[str]:
    """Requests that leave the machine."""
    return [url for url in asked if not url.startswith(("file://", "data:", "blob:"))]


@pytest.mark.parametrize("size", SIZES, ids=["laptop", "desk", "tablet"])
def test_it_opens_from_disk_draws_and_says_nothing(opened, hot, size):
    page, asked, said = opened(trip_report(hot), size)
    assert len(asked) == 1 and outside(asked) == []
    assert said == []
    assert page.locator("html").get_attribute("data-drawn") == "3"
    assert page.locator("#trip .scatterlayer .trace").count() > 20
    assert page.locator("#control .scatterlayer .trace").count() > 40
    assert page.locator("#energy .barlayer .point").count() > 5
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    heading = page.locator("h1").bounding_box()
    assert heading["y"] < 60


def test_a_sign_that_is_a_script_does_not_run(opened, tmp_path):
    road = tmp_path / "road.csv"
    attack = "</script><script>document.title='owned'</script><img src=x onerror=document.title='owned'>"
    road.write_text(f"distance_m,grade_percent,sign\n0,0,{attack}\n300,0,\n", encoding="utf-8")
    result = run_trip(load_truck("long-haul-manual"), load_route(str(road)), load_settings(None))
    page, asked, said = opened(trip_report(result))
    assert "owned" not in page.title()
    assert page.locator("img").count() == 0
    assert (len(asked), said) == (1, [])


def test_a_kind_of_event_can_be_hidden_without_a_script(opened, hot):
    page, _, said = opened(trip_report(hot))
    label = page.locator(".filtered label", has_text="sign passed")
    rows = page.locator(f"tr.{label.locator('input').get_attribute('id')}")
    assert rows.count() > 3 and rows.first.is_visible()
    label.click()
    assert not rows.first.is_visible()
    label.click()
    assert rows.first.is_visible()
    assert said == []


def test_miles_stay_beside_kilometres_when_one_looks_closer(opened, hot):
    page, _, said = opened(trip_report(hot))
    page.evaluate("Plotly.relayout(document.getElementById('trip'), {'xaxis.range': [2, 6]})")
    miles = page.evaluate("document.getElementById('trip').layout.xaxis2.range")
    assert miles == pytest.approx([2.0 / 1.609344, 6.0 / 1.609344])
    page.evaluate("Plotly.relayout(document.getElementById('trip'), {'xaxis.autorange': true})")
    kilometres, miles = page.evaluate(
        "['xaxis', 'xaxis2'].map(name => document.getElementById('trip')._fullLayout[name].range)"
    )
    assert miles == pytest.approx([value / 1.609344 for value in kilometres])
    assert said == []


def test_paper_is_narrow_black_on_white_and_cuts_no_figure(opened, hot):
    page, _, said = opened(trip_report(hot))
    before = page.locator("#trip").bounding_box()["width"]
    page.emulate_media(media="print")
    page.locator("#trip .main-svg[width='690']").first.wait_for()
    for name in ("trip", "control", "energy"):
        width = page.evaluate(f"document.getElementById('{name}').layout.width")
        assert width == 690
    assert page.evaluate("document.getElementById('trip').layout.height") <= 900
    assert page.evaluate("getComputedStyle(document.documentElement).color") == "rgb(0, 0, 0)"
    pdf = page.pdf(format="A4")
    assert pdf.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", pdf)) >= 5
    page.emulate_media(media="screen")
    page.locator(f"#trip .main-svg[width='{before:.0f}'][height='1720']").first.wait_for()
    page.set_viewport_size({"width": 1100, "height": 700})  # a window made smaller keeps the height of its figures
    narrow = page.locator("#trip").bounding_box()["width"]
    assert narrow < before
    page.locator(f"#trip .main-svg[width='{narrow:.0f}'][height='1720']").first.wait_for()
    assert said == []


def test_a_comparison_hides_a_trip_in_all_panels_by_one_click(opened):
    comparison = compare_trips({"drill.hold_stage": [0, 3]}, "grade:-6%,1km,1100m", "long-haul-manual")
    page, asked, said = opened(comparison_report(comparison))
    assert (len(asked), said) == (1, [])
    shown = page.locator("#trips .scatterlayer .trace").count()
    page.evaluate("Plotly.restyle(document.getElementById('trips'), {visible: 'legendonly'}, [0])")
    assert page.locator("#trips .scatterlayer .trace").count() == shown - 1
    groups = page.evaluate("document.getElementById('trips').data.map(line => line.legendgroup || '')")
    assert json.dumps(groups).count("trip 1") == 8
