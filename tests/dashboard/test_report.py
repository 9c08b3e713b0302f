"""The report as a reader opens it: what it says first, what it must never do, and that it is the same for the same trip."""

import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dashboard.paper.markup import escaped
from dashboard.paper.words import brakes_too_hot, input_rows, mark_of, verdict
from dashboard.trip.report import MOST_EVENTS, SOURCES, comparison_report, trip_report
from sim import compare_trips, load_route, load_settings, load_truck, run_trip
from sim.command.main import main
from sim.inputs.specs import Settings, Truck, keys_of
from sim.march.records import LOG
from sim.trips.result import CAUTIONS
from sim.units import key_shown
from sim.wording import finding, said

T1 = "long-haul-manual"
SHORT = "grade:-2%,400m,500m"
RUNAWAY = ("drill.hold_gear=7", "drill.hold_stage=0", "drill.service_brakes=false", "start.speed_km_h=50")
OUTSIDE = re.compile(r"(?:https?:)?//|\bimport\b|@import|url\s*\(", re.IGNORECASE)
FETCHING = {
    "src",
    "href",
    "srcset",
    "data",
    "poster",
    "action",
    "formaction",
    "background",
    "cite",
    "ping",
    "xlink:href",
}
VOID = {"meta", "input", "br", "hr", "img", "link"}


class Page(HTMLParser):
    """A page taken apart: its elements with their attributes, its scripts and styles, and the words a reader sees."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.scripts: list[str] = []
        self.styles: list[str] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.unbalanced: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data):
        inside = self.open[-1] if self.open else ""
        if inside == "script":
            self.scripts.append(data)
        elif inside == "style":
            self.styles.append(data)
        elif inside != "title" and data.strip():
            self.words.append(" ".join(data.split()))

    def says(self, text: str) -> bool:
        """Whether a reader sees a text."""
        return " ".join(text.split()) in " ".join(self.words)


@pytest.fixture(scope="module")
def hot_page(hot):
    """The report of a trip with hot brakes, taken apart."""
    return Page(trip_report(hot))


@pytest.fixture(scope="module")
def evil(tmp_path_factory):
    """A trip whose truck, road, sign, sources and marks try to become part of the page."""
    folder = tmp_path_factory.mktemp("evil")
    attack = "</script><script>document.title='owned'</script><img src=x onerror=alert(1)>&amp;"
    road = folder / "road.csv"
    road.write_text(f'distance_m,grade_percent,sign\n0,0,{attack}\n50,-3,"<b>two"\n300,-3,\n', encoding="utf-8")
    marks = f'[marks]\ngrade_percent = "{attack}"\n'
    road.with_suffix(".toml").write_text(f'title = "road {attack}"\nsource = "{attack}"\n{marks}', encoding="utf-8")
    truck = folder / "truck.toml"
    text = f'based_on = "{T1}"\nname = "truck {attack}"\n[vehicle]\ndrag_area_m2 = [5.5, "{attack}"]\n'
    truck.write_text(text + f'[engine]\nname = "{attack}"\n', encoding="utf-8")
    return run_trip(load_truck(str(truck)), load_route(str(road)), load_settings(None, ["start.speed_km_h=40"])), attack


# ---------------------------------------------------------------- what is said first


def test_the_first_words_are_the_verdict_and_hot_brakes_come_first(hot, hot_page):
    assert hot_page.words[0] == said(verdict(hot.summary), "both")
    assert hot_page.words[0].startswith("Arrived, brakes past the published limit: mean 3")
    assert "limit 260 °C (500 °F)" in hot_page.words[0]


def test_warnings_explanations_and_what_was_foreseen_stand_before_every_figure_and_table(hot):
    text = trip_report(hot)
    first = min(text.index("<figure"), text.index("<table"))
    found = (*hot.summary["warnings"], *hot.summary["explanations"], *hot.summary["foreseen"])
    for each in (*(said(one, "both") for one in found), *CAUTIONS):
        assert 0 < text.index(escaped(each)) < first
    assert hot.summary["warnings"] and hot.summary["foreseen"]


@pytest.mark.parametrize("case", ["hot", "cruising"])
def test_cautions_are_on_every_report(case, request):
    page = Page(trip_report(request.getfixturevalue(case)))
    assert all(page.says(text) for text in CAUTIONS)


CASES = [
    ("runaway", T1, "grade:-7%,6km,900m", RUNAWAY, "Ran away: "),
    ("stalled", T1, "grade:6%,600m", ("start.speed_km_h=0", "drill.hold_gear=5"), "Stalled: "),
    ("time_limit", T1, "grade:0%,2km", ("simulation.time_limit_s=20",), "Ran out of time: "),
    ("arrived", "dump-three-axle", "grade:-6%,600m,900m", ("start.speed_km_h=40",), "Arrived"),
]


@pytest.mark.parametrize(("how", "truck", "road", "changes", "first"), CASES, ids=[case[0] for case in CASES])
def test_every_end_of_a_trip_has_its_report(trip, how, truck, road, changes, first):
    result = trip(truck, road, *changes)
    assert result.summary["ended"] == how
    page = Page(trip_report(result))
    assert page.words[0].startswith(first)
    assert how == "arrived" or said(result.summary["ended_because"], "both") in page.words[0]
    assert not page.unbalanced and not page.open
    assert page.says("this truck is outside that model") == (truck == "dump-three-axle")


def test_a_trip_of_almost_nothing_has_its_report(trip):
    result = trip(T1, "grade:0%,10m", "start.speed_km_h=90", "simulation.log_s=60")
    assert len(result.trace["time_s"]) <= 3
    page = Page(trip_report(result))
    assert page.words[0].startswith("Arrived")
    numbers = re.sub(r'"[^"]*"', "", page.scripts[0])  # columns in base 64 may spell it
    assert "NaN" not in numbers and "Infinity" not in numbers


def test_verdicts_say_the_worst(hot):
    calm = dict(hot.summary, max_brake_temperature_c=100.0, warnings=[])
    assert verdict(calm).kind == "verdict.sound"
    warned = verdict(dict(calm, warnings=[finding("warning.over_posted_limit", time=3.0).data()]))
    assert said(warned, "us") == "Arrived, with a warning. The truck was over the posted limit for 3 s."
    passed = finding("ended.engine_speed_passed", speed=272.27).data()
    gone = said(verdict(dict(hot.summary, ended="runaway", ended_because=passed)), "us")
    assert gone.startswith("Ran away, brakes past the published limit: ")
    assert "engine speed passed 2600 rpm" in gone and "°C" not in gone
    assert brakes_too_hot(hot.summary) and not brakes_too_hot(calm)
    assert not brakes_too_hot(dict(calm, max_brake_temperature_c=260.0))


# ---------------------------------------------------------------- one file, no network


def problems_of(page: Page) -> list[str]:
    """Everything on a page that would fetch something, or run what it was not written with."""
    found = []
    for tag, attributes in page.elements:
        found += [f"<{tag} {name}>" for name in attributes if name in FETCHING]
        found += [f"<{tag} {name}>" for name in attributes if name.startswith("on")]
        found += [f"<{tag} style>" for name, value in attributes.items() if name == "style" and OUTSIDE.search(value)]
        found += [f"<{tag}>" for _ in [0] if tag in {"link", "iframe", "object", "embed", "base", "form", "img"}]
        if tag == "meta" and attributes.get("http-equiv", "").lower() == "refresh":
            found.append("<meta refresh>")
    return found + [style[:40] for style in page.styles if OUTSIDE.search(style)]


def test_the_page_fetches_nothing(hot_page):
    assert problems_of(hot_page) == []
    data, library, own = hot_page.scripts
    words = re.sub(r'"bdata":"[^"]*"', "", data)  # numbers, in letters that may spell anything
    assert len(words) < len(data) and "http" not in words.lower() and "//" not in words and "//" not in own
    assert len(library) > 1_000_000


def test_the_check_for_fetches_is_awake():
    for text in (
        '<link rel="stylesheet" href="x.css">',
        '<img src="data:,">',
        '<script src="//host/x.js"></script>',
        "<style>@import 'x.css';</style>",
        "<style>p { background: url(x.png) }</style>",
        '<p style="background: url(x.png)">a</p>',
        '<p onclick="x()">a</p>',
    ):
        assert problems_of(Page(text)), text


def test_the_policy_names_exactly_the_scripts_of_the_page(hot_page):
    """Subresource hashes as in Content Security Policy Level 3, W3C: base64 of the SHA-256 of the script's text."""
    import base64
    import hashlib

    policy = next(a["content"] for tag, a in hot_page.elements if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    named = set(re.findall(r"'sha256-([^']+)'", policy))
    _, library, own = hot_page.scripts
    assert named == {base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (library, own)}
    assert "unsafe-eval" not in policy and "http" not in policy.lower()


def test_names_from_files_stay_words(evil):
    result, attack = evil
    text = trip_report(result)
    page = Page(text)
    assert len(page.scripts) == 3 and not page.unbalanced
    assert problems_of(page) == []
    assert attack not in text
    assert page.says(f"truck {attack}") and page.says(f"road {attack}")
    assert sum(attack in words for words in page.words) >= 6
    data = json.loads(page.scripts[0])
    signs = next(line for line in data["trip"]["data"] if line.get("name") == "signs")
    assert "&lt;script&gt;" in signs["customdata"][0] and "<script" not in page.scripts[0]


# ---------------------------------------------------------------- everything is there


def test_the_summary_reads_in_both_units(hot, hot_page):
    """Miles and Fahrenheit worked out here from their definitions."""
    s = hot.summary
    for text in (
        f"{s['distance_m'] / 1000.0:.2f} km",
        f"{s['distance_m'] / 1609.344:.2f} mi",
        f"{s['mean_speed_m_s'] * 3.6:.1f} km/h",
        f"{s['mean_speed_m_s'] * 3600.0 / 1609.344:.1f} mi/h",
        f"{s['max_brake_temperature_c']:.0f} °C",
        f"{s['max_brake_temperature_c'] * 1.8 + 32.0:.0f} °F",
        f"{s['fuel_mpg_us']:.2f} mi/gal",
        f"{s['co2_kg'] / 0.45359237:.1f} lb",
    ):
        assert any(each == text or each.startswith(f"{text} at ") for each in hot_page.words), text


def test_both_published_sets_are_named_as_second_opinions(hot_page):
    for letter in "AB":
        assert f"second opinion, published set {letter} [3]" in hot_page.words
    assert all(hot_page.says(source) for source in SOURCES)


def test_every_event_stands_in_the_log_with_its_reason(hot, hot_page):
    rows = [
        attributes for tag, attributes in hot_page.elements if tag == "tr" and "kind" in attributes.get("class", "")
    ]
    assert len(rows) == len(hot.events) > 20
    for event in hot.events:
        assert " ".join(said(event["cause"], "both").split()) in hot_page.words
    kinds = {event["event"] for event in hot.events}
    boxes = [attributes for tag, attributes in hot_page.elements if tag == "input"]
    assert len(boxes) == len(kinds)


def test_a_very_long_event_log_is_cut_and_says_so(hot):
    from dataclasses import replace

    many = replace(hot, events=hot.events * (MOST_EVENTS // len(hot.events) + 1))
    page = Page(trip_report(many))
    rows = [1 for tag, attributes in page.elements if tag == "tr" and "kind" in attributes.get("class", "")]
    assert len(rows) == MOST_EVENTS
    assert page.says(f"The first {MOST_EVENTS} of {len(many.events)}; events.csv has all.")


def test_every_input_is_listed_with_unit_meaning_and_mark(hot, hot_page):
    words = set(hot_page.words)
    for model in (Truck, Settings):
        for table, key in keys_of(model):
            assert f"{table}.{key}" in words
    for key, source in hot.sources.items():
        assert not source.strip() or hot_page.says(source), key
    for _, mark in hot.route.marks.items():
        assert hot_page.says(mark)
    assert mark_of(hot.settings, "drill.style") == "changed; default snub"
    assert mark_of(hot.settings, "drill.hold_gear") == "default"
    assert "changed; default snub" in words and "default" in words
    values = {row[0]: row[1] for row in input_rows(hot.truck, "metric")}
    assert values["vehicle.mass_kg"] == "36287" and values["engine_brake.stage_3"] == "front, middle, rear"
    rows = {row[0]: row[1:3] for row in input_rows(hot.truck)}
    assert rows["vehicle.mass_kg"] == ("36287 (79999)", "kg (lb)")
    assert rows["drums.fade_c"] == ("20, 288, 430, 540, 650 (68, 550.4, 806, 1004, 1202)", "°C (°F)")


def test_every_compound_key_has_its_unit_in_words():
    plain = {"air_per_application"}
    keys = {key for model in (Truck, Settings) for _, key in keys_of(model) if "_per_" in key}
    assert {key for key in keys if not key_shown(key, "metric")[0]} == plain
    assert key_shown("fan_kw_per_k_per_1000_rpm", "metric")[0] == "kW/(K 1000 rpm)"
    assert key_shown("governor_idle_gain_n_m_s_per_rad", "us")[0] == "lb ft s/rad"


# ---------------------------------------------------------------- the same again


def test_two_equal_trips_give_equal_bytes_and_no_time_of_calculation():
    pair = [run_trip(load_truck(T1), load_route(SHORT), load_settings(None)) for _ in range(2)]
    one, other = (trip_report(result) for result in pair)
    assert one == other
    data = re.sub(r"<script>.*?</script>", "", one, flags=re.DOTALL)
    assert "realtime" not in data and "real time" not in data and "wall_s" not in data
    assert not re.search(r"\b20[2-9]\d-\d\d-\d\d\b", data)


def test_a_report_leaves_the_drawing_library_alone_until_it_is_asked_for():
    code = "import sys; from sim.command.main import main; main(['run', 'grade:0%,200m', '--json'])"
    code += "; print('plotly' in sys.modules, 'dashboard.trip.figures' in sys.modules, file=sys.stderr)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip().splitlines()[-1] == "False False"


def test_the_file_is_not_larger_than_it_must_be(trip):
    """The drawing library alone is 4.8 MB; a long trip may add 1 MB to it."""
    text = trip_report(trip("long-haul-automated", "kessarin-round"))
    _, library, _ = Page(text).scripts
    assert len(text) - len(library) < 1_000_000
    assert text.count(library) == 1


def test_figures_carry_no_column_the_log_does_not_have():
    """The panels name columns of the trace: a renamed column must be renamed there."""
    source = (Path(__file__).parents[2] / "dashboard" / "trip" / "figures.py").read_text(encoding="utf-8")
    known = {column.name for column in LOG} | {"time_s"}
    used = set(re.findall(r'trace\["([a-z_]+)"\]', source)) | set(re.findall(r'column\("([a-z_]+)"\)', source))
    assert used and used <= known


# ---------------------------------------------------------------- several trips, and the command


@pytest.fixture(scope="module")
def compared():
    """Three trips of which one runs away."""
    fixed = [f"{change}" for change in RUNAWAY if "stage" not in change]
    return compare_trips({"drill.hold_stage": [0, 2, 3]}, "grade:-6%,3km,1100m", T1, changes=fixed)


def test_a_comparison_says_first_what_went_wrong_and_overlays_all_trips(compared):
    text = comparison_report(compared)
    page = Page(text)
    assert page.words[0].startswith("Of 3 trips, ran away: 1")
    assert "arrived: " in page.words[0]
    assert problems_of(page) == [] and not page.unbalanced
    for number, result in enumerate(compared.results, start=1):
        assert said(verdict(result.summary), "both") in page.words
        for warning in result.summary["warnings"]:
            assert f"trip {number}" in page.words and page.says(said(warning, "both"))
    assert all(page.says(caution) for caution in CAUTIONS)
    data = json.loads(page.scripts[0])["trips"]["data"]
    assert {line["legendgroup"] for line in data if line.get("legendgroup")} == {"trip 1", "trip 2", "trip 3"}
    assert text == comparison_report(compared)
    assert max(
        text.index(escaped(said(w, "both"))) for r in compared.results for w in r.summary["warnings"]
    ) < text.index("<table")


def test_the_command_writes_a_report_with_its_other_files_or_nothing(tmp_path, monkeypatch, capsys):
    import dashboard.trip.report

    assert main(["compare", SHORT, "--vary", "drill.style=snub,drag", "--out", str(tmp_path / "pair")]) == 0
    assert "report.html" in capsys.readouterr().out
    page = Page((tmp_path / "pair" / "report.html").read_text(encoding="utf-8"))
    assert page.words[0] == "Of 2 trips, arrived: 1, 2."

    def fails(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fails)
    assert main(["run", SHORT, "--out", str(tmp_path / "trip")]) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pair"]
    monkeypatch.undo()
    monkeypatch.setattr(dashboard.trip.report, "trip_report", lambda _: "\ud800")  # a text that cannot be written
    with pytest.raises(UnicodeEncodeError):
        main(["run", SHORT, "--out", str(tmp_path / "trip")])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pair"]


def test_a_comparison_on_a_road_that_is_not_level_says_that_fuel_has_no_credit():
    from sim.trips.compare import compare_trips

    falling = compare_trips({"drill.hold_gear": [7, 8]}, "grade:-6%,1km,900m", "long-haul-manual")
    level = compare_trips({"drill.hold_gear": [7, 8]}, "grade:0%,0.5km", "long-haul-manual")
    assert "no credit for the height" in comparison_report(falling)
    assert "no credit for the height" not in comparison_report(level)
