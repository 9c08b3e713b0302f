"""What the pages' scripts work out, asked of the modules themselves in a browser; and how the server sends them."""

import json
import math
import re
import string
import struct
from pathlib import Path

import numpy as np
import pytest
from serving import AtOnce, Visitor

from dashboard.app import create_app
from dashboard.panel.fields import described
from dashboard.server.packing import pack
from dashboard.server.runs import Workshop
from dashboard.trip.work import answer_of
from sim.hidden.record import reading_words
from sim.trips.result import BEST_RETARDING_RPM, BRAKE_LIMIT_C
from sim.units import SYSTEMS, clock_time, from_si, quantity_kinds, quantity_text
from sim.wording import Amount, finding, said, wordings

DASHBOARD = Path(__file__).resolve().parents[2] / "dashboard"
SCRIPTS = sorted(file.relative_to(DASHBOARD).as_posix() for file in DASHBOARD.glob("*/*.js"))


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    workshop = Workshop(AtOnce())
    yield Visitor(create_app(workshop))
    workshop.close()


@pytest.fixture(scope="module")
def script(browser, served):
    """Evaluates an expression in which `m` is a module of the pages, in the units chosen."""
    pages = {}
    for units in ("metric", "us"):
        pages[units] = browser.new_context().new_page()
        pages[units].add_init_script(f"localStorage.setItem('haulbench-units', '{units}')")
        pages[units].goto(served + "/nothing-here")

    def ask(name, expression, given=None, units="metric"):
        return pages[units].evaluate(
            f"async given => {{ const m = await import('/assets/{name}.js'); return {expression}; }}", given
        )

    yield ask
    for page in pages.values():
        page.context.close()


# ---------------------------------------------------------------- how they are sent


def test_scripts_are_modules_that_leave_nothing_in_the_window(visit):
    seen = visit("/nothing-here")
    seen.page.get_by_role("button", name="metric").wait_for()
    ours = seen.page.evaluate(
        """() => { const bare = document.body.appendChild(document.createElement('iframe')).contentWindow;
             return Object.keys(window).filter((name) => !(name in bare)); }"""
    )
    assert not [name for name in ours if re.search("haulbench|trip|panel|units|strips", name, re.IGNORECASE)]
    tags = seen.page.evaluate("[...document.scripts].filter(tag => tag.src.includes('/assets/')).map(tag => tag.type)")
    assert tags == ["module"]


def test_every_script_is_a_module_and_is_asked_for_anew(client):
    page = client.get("/").text
    assert page.count('<script type="module"') == 1
    for name in SCRIPTS:
        answer = client.get(f"/assets/{name}")
        assert "/javascript" in answer.headers["content-type"], "a browser runs no other kind as a module"
        assert answer.headers["cache-control"] == "no-cache", "a module of yesterday must not meet one of today"
        again = client.get(f"/assets/{name}", headers={"If-None-Match": answer.headers["etag"]})
        assert again.status_code == 304 and again.content == b""
        assert f'<link rel="modulepreload" href="/assets/{name}">' in page


def test_scripts_stay_what_they_were_when_the_server_began(tmp_path, monkeypatch):
    from dashboard import app

    (tmp_path / "room").mkdir()
    for name in ("one.js", "two.js"):
        (tmp_path / "room" / name).write_text("// before", encoding="utf-8")
    monkeypatch.setattr(app, "ROOMS", tmp_path)
    workshop = Workshop(AtOnce())
    visitor = Visitor(create_app(workshop))
    assert visitor.get("/assets/room/one.js").text == "// before"
    for name in ("one.js", "two.js"):
        (tmp_path / "room" / name).write_text("// after an upgrade", encoding="utf-8")
    assert visitor.get("/assets/room/two.js").text == "// before", "two versions would be mixed on one page"
    workshop.close()


def test_a_script_reaches_others_by_import_alone():
    for name in SCRIPTS:
        text = (DASHBOARD / name).read_text(encoding="utf-8")
        assert not re.search(r"window\.[a-z]\w* = |globalThis", text), name
        for found in re.findall(r'from "([^"]+)"|^import "([^"]+)"', text, re.MULTILINE):
            assert (DASHBOARD / name).parent.joinpath("".join(found)).resolve().is_file(), f"{name} imports {found}"


# ---------------------------------------------------------------- what the model knows is not retyped


def test_the_head_of_a_trip_carries_the_limits_it_is_judged_by(hot):
    about = answer_of(hot)[0]["about"]
    assert from_si(about["brake_limit"], "c") == pytest.approx(BRAKE_LIMIT_C)
    assert [from_si(each, "rpm") for each in about["best_retarding"]] == pytest.approx(list(BEST_RETARDING_RPM))
    assert about["limit_tolerance"] == pytest.approx(hot.settings.simulation.limit_tolerance_km_h / 3.6)
    assert about["even"] == pytest.approx(0.01 * hot.truck.vehicle.mass_kg)


def test_no_script_has_a_limit_or_a_unit_of_its_own():
    text = "".join(
        file.read_text(encoding="utf-8")
        for room in ("trip", "dyno", "shared")
        for file in (DASHBOARD / room).glob("*.js")
    )
    numbers = {float(each) for each in re.findall(r"(?<![\w.#])\d+(?:\.\d+)?(?![\w.])", text)}
    factors = {size for kind in quantity_kinds().values() for units in SYSTEMS for size in kind[units][:2]}
    # a hundred, ten and the like are numbers of many things
    assert numbers.isdisjoint(
        {BRAKE_LIMIT_C, *BEST_RETARDING_RPM, 3.6, *(each for each in factors if each % 1)} - {0.01, 0.001}
    )
    spelt = {kind[units][4] for kind in quantity_kinds().values() for units in SYSTEMS}
    spelt -= {"", "s", "m", "t", "in", "min", "%"}  # as well a name, or of a style
    assert [each for each in spelt if f'"{each}"' in text or re.search(rf"}} {re.escape(each)}(?![\w/])", text)] == []


def test_service_brakes_push_with_the_power_they_take(hot):
    columns = answer_of(hot)[1]
    force, speed, power = (columns[name] for name in ("service_brake_force", "speed", "service_brake_power"))
    going = speed > 1.0
    assert force.max() > 1000.0
    np.testing.assert_allclose(force[going] * speed[going], power[going], atol=4.0 * speed.max() + 150.0)
    assert not force[speed < 0.25].any(), "a truck that stands is held by no power"


def test_switches_and_interlocks_are_what_the_controller_goes_by(script, trip):
    """An oil sensor that reads 80 K low keeps the engine brake off: the list says so, whatever the oil is; and at each row of
    the trip the first of the list that stops it is the one in the log."""
    result = trip("long-haul-manual", "skarrow-grade", 'faults.occur=["start oil temperature offset -80 K"]')
    head, columns = answer_of(result)
    rows = range(1, len(columns["time"]), 7)
    seen = script(
        "trip/engine_brake",
        "given.moments.map(([values, stage]) => given.conditions.map((row, k) => m.conditionAt(row, values[k], stage)))",
        {
            "conditions": head["conditions"],
            "moments": [
                [[float(columns[row["column"]][at]) for row in head["conditions"]], int(columns["brake_stage"][at])]
                for at in rows
            ],
        },
    )
    oil = [row["column"] for row in head["conditions"]].index("believed_oil_temperature")
    assert result.trace["oil_temperature_c"].min() > 40.0
    for at, lines in zip(rows, seen, strict=True):
        stopped, words = lines[oil]
        assert stopped and words == f"oil only {columns['believed_oil_temperature'][at] - 273.15:.0f} °C, needs 30 °C"
    said_by_log = {head["reasons"][int(code)] for code in columns["stage_reason"]}
    assert "cause.oil_too_cold" in said_by_log and not columns["brake_stage"].any()


def test_where_the_stage_is_settled_the_list_says_what_the_log_says(script, hot):
    head, columns = answer_of(hot)
    settled = np.flatnonzero(columns["brake_stage"] == columns["stage_requested"])[::11]
    names = [row["column"] for row in head["conditions"]]
    moments = [[[float(columns[name][at]) for name in names], int(columns["brake_stage"][at])] for at in settled]
    seen = script(
        "trip/engine_brake",
        "given.moments.map(([values, stage]) => given.conditions.map((row, k) => m.conditionAt(row, values[k], stage)[0]))",
        {"conditions": head["conditions"], "moments": moments},
    )
    works = 0
    for at, stops in zip(settled, seen, strict=True):
        works += columns["brake_stage"][at] > 0
        assert any(stops) == (columns["brake_stage"][at] == 0), columns["time"][at]
    assert 10 < works < len(settled) - 10


# ---------------------------------------------------------------- units, and numbers in words


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_what_is_no_number_is_a_hyphen(script, value):
    assert script("shared/words", "m.quantity(given, 'speed')", value) == "-"


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0:00"), (59.6, "1:00"), (754, "12:34"), (3600, "1:00:00"), (7384, "2:03:04")]
)
def test_clock(script, seconds, text):
    assert script("shared/units", "m.clock(given)", seconds) == text


MADE_UP = (0.0, -0.0004, 0.5, -1.5, 2.5, 0.125, 1.005, 7.25, -33.3, 293.15, 12345.678, 3.5e-7)


def filled(kind, number):
    """A finding with a made-up number for each quantity, and in place of each text a text, a whole number and another finding."""
    values = {}
    for _, name, how, _ in string.Formatter().parse(wordings()[kind]):
        if name:
            other = finding("warning.rolled_back", way=number)
            amount = Amount(number, "restriction", 1)
            values[name] = amount if how == "bare" else number if how else ["text", 7, other, amount, [other, "more"]]
    return finding(kind, **values)


@pytest.mark.parametrize("units", SYSTEMS)
def test_findings_are_worded_by_scripts_as_by_the_model(script, units):
    found = [filled(kind, number) for kind in wordings() for number in MADE_UP]
    found += [finding("cause.foot_off")]
    words = script("shared/words", "given.map(m.said)", [each.data() for each in found], units)
    assert words == [said(each, units) for each in found]


@pytest.mark.parametrize("units", SYSTEMS)
def test_quantities_are_written_by_scripts_as_by_the_model(script, units):
    asked = [(value, kind, digits) for kind in quantity_kinds() for value in MADE_UP for digits in (None, 0, 1, 2, 3)]
    ask = "given.map(([value, kind, digits]) => m.quantity(value, kind, digits ?? undefined))"
    assert script("shared/words", ask, asked, units) == [
        quantity_text(each[0], each[1], units, each[2]) for each in asked
    ]
    back = [(value, kind) for kind in quantity_kinds() for value in MADE_UP if value]
    there = script("shared/words", "given.map(([value, kind]) => m.inSI(m.asShown(value, kind), kind))", back, units)
    assert there == pytest.approx([value for value, _ in back])


def test_times_in_a_wording_are_those_of_the_model(script):
    """No wording of today has a clock; a translation may."""
    times = (0.5, 75.5, 76.5, 3599.5, 3661.0)
    assert script("shared/words", "given.map((each) => m.inWords(each, 'clock'))", times) == [
        clock_time(each) for each in times
    ]


def test_a_reading_of_a_fault_in_words(script):
    """As the command words it; the verdict is the model's."""
    none, amber, off = (finding(f"reading.{kind}").data() for kind in ("not_reached", "lamp_amber", "lamp_off"))
    readings = [
        {"value": 250000.0, "quantity": "absolute pressure", "sound": 249000.0, "within": 12000.0, "verdict": "ok"},
        {"value": 285.0, "quantity": "temperature", "sound": 293.15, "within": 6.0, "verdict": "low"},
        {"value": 2.35, "quantity": "fuel mass", "digits": 3, "sound": 1.2, "within": 0.03456, "verdict": "high"},
        {"value": none, "quantity": "speed", "sound": 20.0, "within": 0.5, "verdict": "other"},
        {"value": amber, "quantity": "number", "sound": off, "verdict": "other"},
        {"value": off, "quantity": "number", "sound": off, "verdict": "ok"},
        {"value": amber, "quantity": "number"},
    ]
    for units in SYSTEMS:
        found = script("hidden_fault/hidden_fault", "given.map(m.readingWords)", readings, units)
        assert [(shown, sound) for shown, sound, *_ in found] == [reading_words(each, units) for each in readings]
        verdicts = ["✓ within", "▼ low", "▲ high", "◆ another", "◆ another", "✓ the same", ""]
        assert [words for *_, words in found] == verdicts
    assert reading_words(readings[1], "us") == ("53 °F", "68 °F ± 11")


def test_what_is_said_of_a_trip_is_in_the_units_chosen(script):
    why = finding("cause.needle_shows", speed=25.0)
    head = {"warnings": [], "controller": [], "explanations": [why.data()]}
    for units in SYSTEMS:
        assert script("trip/told", "m.sentences(given)", head, units) == [["why", said(why, units)]]


def test_forces_as_a_sentence(script):
    about = {"standing": 0.1, "nothing": 20.0, "even": 360.0}

    def words(*forces, speed=20.0):
        return script("trip/balance", "m.balanceWords(...given)", [list(forces), speed, about])

    assert words(["the grade", 2e4], ["the engine", -1e4], ["the air", -9.9e3]) == (
        "The grade pushes; the engine and the air hold back. They balance: the speed stays."
    )
    assert words(["the grade", 2e4], ["the engine", 5e3], ["the air", 10.0]).endswith(
        "nothing holds back. The push is larger by 25.0 kN: the truck gains speed."
    )
    assert words(["the air", -1e4]).startswith("Nothing pushes; the air holds back. The hold is larger by 10.0 kN")
    assert words(["the grade", 2e4], speed=0.05) == "The truck stands."


# ---------------------------------------------------------------- columns


def test_a_packed_answer_is_unpacked(script):
    columns = {
        "a": np.array([1.5, -2.25, 3e8], dtype=np.float32),
        "none": np.array([], dtype=np.float32),
        "b": np.array([0.1, 1e-9], dtype=np.float32),
    }
    import gzip

    packed = list(gzip.decompress(pack({"words": "größer – °C"}, columns)))
    found = script(
        "shared/server",
        """(() => { const { head, columns } = m.unpack(new Uint8Array(given).buffer);
        return [head, Object.fromEntries(Object.entries(columns).map(([name, each]) => [name, [...each]]))]; })()""",
        packed,
    )
    assert found[0]["words"] == "größer – °C"
    assert found[1] == {
        name: [struct.unpack("<f", struct.pack("<f", each))[0] for each in column.tolist()]
        for name, column in columns.items()
    }


@pytest.mark.parametrize(("wanted", "row"), [(-1.0, 0), (0.0, 0), (0.9, 0), (1.0, 2), (3.9, 2), (4.0, 3), (99.0, 3)])
def test_the_last_row_that_is_not_above(script, wanted, row):
    assert script("shared/server", "m.lastAt([0, 1, 1, 4], given)", wanted) == row


@pytest.mark.parametrize(
    ("at", "value"), [(-5.0, 10.0), (0.0, 10.0), (0.5, 15.0), (1.0, 30.0), (2.5, 45.0), (9.0, 60.0)]
)
def test_between_rows(script, at, value):
    assert script("shared/server", "m.between([0, 1, 1, 4], [10, 20, 30, 60], given)", at) == pytest.approx(value)


@pytest.mark.parametrize(
    ("distance", "time"), [(-10.0, 0.0), (0.0, 0.0), (50.0, 15.0), (100.0, 20.0), (150.0, 35.0), (900.0, 40.0)]
)
def test_when_a_truck_first_gets_to_a_place(script, distance, time):
    """It stands at the start until 10 s, and at 100 m from 20 to 30 s."""
    ask = "m.timeAt([0, 0, 100, 100, 200], [0, 10, 20, 30, 40], given)"
    assert script("trip/trip", ask, distance) == pytest.approx(time)


@pytest.mark.parametrize(
    ("low", "high", "most"), [(0.0, 100.0, 5), (-37.0, 912.0, 4), (0.013, 0.049, 3), (1e5, 4e5, 8), (-3.0, -1.0, 2)]
)
def test_ticks_are_round_and_inside(script, low, high, most):
    found = script("shared/drawing", "m.ticks(...given)", [low, high, most])
    steps = np.diff(found)
    assert low - 1e-6 <= found[0] and found[-1] <= high * (1 + 1e-6) + 1e-6
    assert 2 <= len(found) <= most + 1
    assert steps == pytest.approx([steps[0]] * len(steps))
    assert f"{steps[0] / 10 ** math.floor(math.log10(steps[0] * (1 + 1e-9))):.3g}" in {"1", "2", "2.5", "5"}


def test_marks_of_an_axis_stand_where_their_value_is(script):
    for mark, value in script("shared/drawing", "m.marks('temperature', 273.15, 573.15, 6)", units="us"):
        assert mark == pytest.approx(1.8 * (value - 273.15) + 32.0) and mark % 100 == 0


# ---------------------------------------------------------------- setups and what is typed


def test_the_address_of_a_setup(script):
    setup = {
        "truck": "t",
        "road": "grade:-6%,6km,1100m",
        "settings": "s",
        "changes": {"b.two": "[1,2]", "a.one": "5 mi/h"},
    }
    found = script(
        "panel/panel", "m.addressOf(...given)", [setup, "?truck=old&c.gone=1&choices=3.08|3.25&test=governor"]
    )
    assert (
        found
        == "?truck=t&road=grade:-6%25,6km,1100m&settings=s&a.one=5+mi%2Fh&b.two=%5B1,2%5D&choices=3.08|3.25&test=governor"
    )


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("90", 90.0),
        (" 90 km/h ", 90.0),
        ("60mph", 96.56064),
        ("60 mi/h", 96.56064),
        ("-1.5e1", -15.0),
        ("9 kg", None),
        ("fast", None),
    ],
)
def test_a_number_as_it_is_typed(script, text, value):
    field = json.loads(json.dumps(described()["fields"]["cruise.set_speed_km_h"]))
    found = script("panel/panel", "m.numberIn(...given)", [field, text])
    assert found is None if value is None else found == pytest.approx(value)


def test_lists_and_short_numbers(script):
    assert script(
        "panel/panel", """[m.listIn('["a", 2]'), m.listIn(["b"]), m.listIn("no list"), m.listIn('{"a": 1}')]"""
    ) == [["a", "2"], ["b"], [], []]
    assert script("panel/panel", "[0, 36287.39, 0.1234567, 12345.678].map(m.significant)") == [
        "0",
        "36287.4",
        "0.12346",
        "12345.7",
    ]


def test_a_guess_as_it_is_typed(script):
    assert script(
        "shared/prediction", "['61', ' 12,5 ', '', 'fast'].map(m.numberOf).map(each => isNaN(each) ? null : each)"
    ) == [61, 12.5, None, None]


@pytest.mark.parametrize("text", ["3.08", "3.08|3.25,long-haul-automated|3.7,,0.51"])
def test_choices_as_text_and_back(script, text):
    assert script("gearing/gearing", "m.choicesText(m.choicesIn(given, 6))", text) == text


def test_no_more_choices_than_may_be_compared(script):
    assert script("gearing/gearing", "[m.choicesIn('1|2|3', 2).length, m.choicesIn('', 6), m.choicesText(null)]") == [
        2,
        None,
        "",
    ]


def test_tables_sort_numbers_by_value_and_put_nothing_last(script):
    texts = ["10", "9", "", "b 2", "b 10", "-1"]
    assert script("shared/table", "given.map(m.key).sort(m.compare).map(String)", texts) == [
        "-1",
        "9",
        "10",
        "b 2",
        "b 10",
        "",
    ]


def test_codes_at_a_time(script):
    codes = [{"spans": [[5, 8], [10, None]]}, {"spans": [[30, None]]}]
    ask = "m.codesAt(...given).map(each => [each.active, each.count])"
    for time, found in ((1, []), (6, [[True, 1]]), (9, [[False, 1]]), (12, [[True, 2]]), (31, [[True, 2], [True, 1]])):
        assert script("shared/circuits", ask, [codes, time]) == found
