"""Trips side by side: each must be the trip that the same inputs give alone, and what makes no sense is refused.

The outside measure of a comparison is the single trip: every number shown, printed as JSON or written to a file is held
against `run_trip` with the same truck, road and settings.
"""

import csv
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from sim import compare_trips, load_route, load_settings, load_truck, run_trip
from sim.command import waiting
from sim.command.main import main
from sim.errors import RunError
from sim.trips.compare import MOST_TRIPS, ROWS, read_variants, read_vary
from sim.trips.result import CAUTIONS
from sim.wording import said

SHORT = "grade:-6%,1km,1100m"
LEVEL = "grade:0%,1km"
TRUCK = "long-haul-manual"
STYLES = ("--vary", "drill.style=snub,drag")


pytestmark = pytest.mark.usefixtures("in_an_empty_folder")


@pytest.fixture(scope="module", autouse=True)
def prepared():
    """The model is compiled before the first test, so that no command says that it has to wait for it."""
    run_trip(TRUCK, LEVEL)


def call(capsys, *arguments: str) -> tuple[int, str, str]:
    """Runs the comparison in this process."""
    code = main(["compare", *arguments])
    out = capsys.readouterr()
    return code, out.out, out.err


def plain(summary: dict) -> dict:
    """A summary as JSON gives it back, without what differs between equal runs."""
    return json.loads(json.dumps({key: value for key, value in summary.items() if key != "timing"}))


def alone(truck: str, road: str, settings: tuple[str, ...] = (), spec: tuple[str, ...] = ()) -> dict:
    """The summary of a single trip."""
    return plain(run_trip(load_truck(truck, spec), load_route(road), load_settings(None, settings)).summary)


def cells(out: str, name: str) -> list[str]:
    """The cells of one row of the narrow table; they stand two blanks apart or more."""
    line = next(line for line in out.splitlines() if line.startswith(f"  {name}"))
    return re.split(r"  +", line.strip())[1:]


# ---------------------------------------------------------------- the same numbers as alone


def test_json_holds_what_each_trip_gives_alone_and_the_last_key_varies_fastest(capsys):
    code, out, err = call(capsys, SHORT, *STYLES, "--vary", "drill.hold_stage=0,3", "--json")
    trips = json.loads(out)
    assert (code, err) == (0, "")
    assert all(set(trip) == {"varied", "summary"} for trip in trips)
    assert [tuple(trip["varied"].items()) for trip in trips] == [
        (("drill.style", style), ("drill.hold_stage", stage)) for style in ("snub", "drag") for stage in ("0", "3")
    ]
    for trip in trips:
        changes = tuple(f"{key}={value}" for key, value in trip["varied"].items())
        assert plain(trip["summary"]) == alone(TRUCK, SHORT, changes)
    assert len({trip["summary"]["time_s"] for trip in trips}) == 4


def test_python_gives_the_same_trips_and_takes_numbers_and_truth():
    both = compare_trips({"drill.service_brakes": [True, False], "drill.hold_gear": [8]}, SHORT, TRUCK)
    assert both.labels == ("true / 8", "false / 8")
    assert both.varied[1] == {"drill.service_brakes": "false", "drill.hold_gear": "8"}
    for word, result in zip(("true", "false"), both.results, strict=True):
        assert plain(result.summary) == alone(TRUCK, SHORT, (f"drill.service_brakes={word}", "drill.hold_gear=8"))
    assert both.results[0].summary["service_brake_applications"] > 0
    assert both.results[1].summary["service_brake_applications"] == 0


def test_rows_are_values_of_the_summaries():
    both = compare_trips({"drill.hold_stage": ["1", "3"]}, SHORT, TRUCK)
    rows = {name: (unit, values) for name, unit, values in both.rows()}
    assert len(rows) == len(ROWS) == len(both.rows())
    one, three = (result.summary for result in both.results)
    assert rows["time"] == ("clock", [one["time_s"], three["time_s"]])
    litres = [one["fuel_l_per_100km"] * 1e-8, three["fuel_l_per_100km"] * 1e-8]  # m3 a metre
    assert rows["fuel"] == ("consumption", litres)
    assert rows["time in stage 3"][1] == [
        one["engine_brake_stage_time_s"]["3"],
        three["engine_brake_stage_time_s"]["3"],
    ]
    assert rows["time in stage 3"][1][0] == 0.0 < rows["time in stage 3"][1][1]
    assert rows["held by the engine"][1] == [one["retarding_share"]["engine"], three["retarding_share"]["engine"]]


def test_truck_road_and_settings_may_be_varied_by_name(capsys):
    Path("drag.toml").write_text("[drill]\nstyle = 'drag'\n", encoding="utf-8")
    Path("wet.toml").write_text("[weather]\ngrip = 0.5\n", encoding="utf-8")
    _, out, _ = call(
        capsys, "--vary", f"road={SHORT},grade:-3%,1km", "--vary", "truck=long-haul-manual,long-haul-empty",
        "--vary", "settings=drag.toml,wet.toml", "--json",
    )  # fmt: skip
    changes = {"drag.toml": "drill.style=drag", "wet.toml": "weather.grip=0.5"}
    trips = json.loads(out)
    assert len(trips) == 8
    for trip in trips:
        varied = trip["varied"]
        assert plain(trip["summary"]) == alone(varied["truck"], varied["road"], (changes[varied["settings"]],))


def test_each_settings_file_brings_its_own_road_and_truck(capsys):
    Path("down.toml").write_text(f"road = '{SHORT}'\ntruck = 'long-haul-empty'\n", encoding="utf-8")
    Path("flat.toml").write_text(f"road = '{LEVEL}'\n", encoding="utf-8")
    trips = json.loads(call(capsys, "--vary", "settings=down.toml,flat.toml", "--json")[1])
    assert plain(trips[0]["summary"]) == alone("long-haul-empty", SHORT)
    assert plain(trips[1]["summary"]) == alone(TRUCK, LEVEL)
    trips = json.loads(call(capsys, LEVEL, "--truck", TRUCK, "--vary", "settings=down.toml,flat.toml", "--json")[1])
    assert plain(trips[0]["summary"]) == plain(trips[1]["summary"]) == alone(TRUCK, LEVEL)


def test_values_carry_units_and_what_is_set_holds_for_all(capsys):
    _, out, _ = call(capsys, LEVEL, "--vary", "vehicle.mass_kg=30t,66138.678655lb,36287", "--set", "start.gear=5",
                     "--set", "start.speed_km_h=20", "--json")  # fmt: skip
    tonnes, pounds, full = (plain(trip["summary"]) for trip in json.loads(out))
    settings = ("start.gear=5", "start.speed_km_h=20")
    assert tonnes == alone(TRUCK, LEVEL, settings, ("vehicle.mass_kg=30000",))
    assert full == alone(TRUCK, LEVEL, settings)
    assert pounds["fuel_kg"] == pytest.approx(tonnes["fuel_kg"], rel=1e-6)
    assert tonnes["fuel_kg"] < 0.95 * full["fuel_kg"]


def test_one_value_is_a_comparison_of_one(capsys):
    code, out, _ = call(capsys, SHORT, "--vary", "drill.style=drag", "--json")
    assert code == 0
    assert [plain(trip["summary"]) for trip in json.loads(out)] == [alone(TRUCK, SHORT, ("drill.style=drag",))]


# ---------------------------------------------------------------- how values are split


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("drill.style=snub,drag", ["snub", "drag"]),
        ("drill.style = snub , drag ", ["snub", "drag"]),
        ("start.speed_km_h=60mph,95", ["60mph", "95"]),
        ("gearbox.ratios=[3.5, 1.0],[4,2,1]", ["[3.5, 1.0]", "[4,2,1]"]),
        ("engine.fuel_map_g_per_s=[[1,2],[3,4]],[[5,6],[7,8]]", ["[[1,2],[3,4]]", "[[5,6],[7,8]]"]),
        ("road=grade:-6%,1km,1100m,ollen-pass", ["grade:-6%,1km,1100m", "ollen-pass"]),
        ("road=ollen-pass,grade:-6%,1km,grade:3%,2km,500m", ["ollen-pass", "grade:-6%,1km", "grade:3%,2km,500m"]),
        ("road=grade:-6%,1km,2nd.csv", ["grade:-6%,1km", "2nd.csv"]),
    ],
)
def test_values_are_split_at_commas_outside_brackets(text, values):
    assert list(read_vary([text]).values()) == [values]


# ---------------------------------------------------------------- what people read


def test_the_table_shows_the_numbers_of_the_trips_in_columns(capsys):
    code, out, _ = call(capsys, SHORT, *STYLES, "--units", "metric")
    snub, drag = (alone(TRUCK, SHORT, (f"drill.style={style}",)) for style in ("snub", "drag"))
    assert code == 0
    assert cells(out, "drill.style") == ["snub", "drag"]
    assert cells(out, "ended") == [snub["ended"], drag["ended"]]
    assert cells(out, "mean speed, km/h") == [f"{trip['mean_speed_m_s'] * 3.6:.1f}" for trip in (snub, drag)]
    assert cells(out, "highest engine speed, rpm") == [f"{trip['max_engine_speed_rpm']:.0f}" for trip in (snub, drag)]
    hottest = [f"{trip['max_brake_temperature_c']:.0f}" for trip in (snub, drag)]
    assert cells(out, "highest mean brake temperature, °C") == hottest
    shares = [f"{100 * trip['retarding_share']['service_brakes']:.0f}" for trip in (snub, drag)]
    assert cells(out, "held by service brakes, %") == shares
    assert cells(out, "fuel, L/100 km") == [f"{trip['fuel_l_per_100km']:.1f}*" for trip in (snub, drag)]
    assert "mi/gal" not in out


def test_header_first_and_cautions_last(capsys):
    _, out, _ = call(capsys, SHORT, *STYLES)
    lines = out.strip().splitlines()
    assert lines[0] == f"truck   {load_truck(TRUCK).truck.name}"
    assert lines[1] == f"road    {load_route(SHORT).title}"
    assert lines[2] == "varied  drill.style: snub, drag"
    assert lines[-3:] == list(CAUTIONS)


def test_us_units(capsys):
    _, out, _ = call(capsys, SHORT, *STYLES, "--units", "us")
    snub, drag = (alone(TRUCK, SHORT, (f"drill.style={style}",)) for style in ("snub", "drag"))
    # 1 mi = 1609.344 m exactly; F = 1.8 C + 32: NIST Special Publication 811 (2008), appendix B.8
    assert cells(out, "mean speed, mi/h") == [
        f"{trip['mean_speed_m_s'] * 3600 / 1609.344:.1f}" for trip in (snub, drag)
    ]
    hottest = [f"{trip['max_brake_temperature_c'] * 1.8 + 32:.0f}" for trip in (snub, drag)]
    assert cells(out, "highest mean brake temperature, °F") == hottest
    assert "km/h" not in out.split("varied", 1)[1] and "L/100 km" not in out


@pytest.mark.parametrize("units", ["us", "metric", "both"])
def test_many_trips_have_a_row_each_and_stay_below_160_characters(capsys, units):
    _, out, _ = call(capsys, SHORT, *STYLES, "--vary", "drill.hold_stage=0,1,2,3", "--units", units)
    lines = out.splitlines()
    assert max(len(line) for line in lines) < 160
    words = [line.split() for line in lines]
    for number in range(1, 9):
        style, stage = ("snub", "drag")[(number - 1) // 4], str((number - 1) % 4)
        rows = [row for row in words if row[:3] == [str(number), style, stage]]
        assert len(rows) == (2 if units == "both" else 1)
        assert rows[0][3] == alone(TRUCK, SHORT, (f"drill.style={style}", f"drill.hold_stage={stage}"))["ended"]


def test_six_long_names_stay_below_160_characters_and_can_be_told_apart(capsys):
    for number in range(6):
        name = f"a-name-that-is-longer-than-a-column-of-the-table-can-be-{number}.toml"
        Path(name).write_text(f"[drill]\nhold_gear = {number + 4}\n", encoding="utf-8")
    names = sorted(path.name for path in Path.cwd().iterdir())
    _, out, _ = call(capsys, SHORT, "--vary", f"settings={','.join(names)}")
    assert max(len(line) for line in out.splitlines()) < 160
    shown = cells(out, "settings")
    assert len(set(shown)) == 6
    assert all(name in out for name in names)


def test_warnings_name_their_trip(capsys):
    _, out, _ = call(
        capsys, "grade:-7%,3km,900m", "--vary", "drill.hold_stage=3,0", "--set", "drill.hold_gear=7",
        "--set", "drill.service_brakes=false", "--set", "start.speed_km_h=50",
    )  # fmt: skip
    changes = ("drill.hold_gear=7", "drill.service_brakes=false", "start.speed_km_h=50")
    expected = [
        f"  ! trip {number}: {said(warning, 'both')}"
        for number, stage in ((1, 3), (2, 0))
        for warning in alone(TRUCK, "grade:-7%,3km,900m", (*changes, f"drill.hold_stage={stage}"))["warnings"]
    ]
    assert any("trip 2: The truck ran away" in line for line in expected)
    assert [line for line in out.splitlines() if line.startswith("  !")] == expected


def test_fuel_of_a_road_that_is_not_level_is_marked(capsys):
    _, out, _ = call(capsys, "--vary", f"road={LEVEL},{SHORT}", "--units", "metric")
    level, falling = cells(out, "fuel, L/100 km")
    assert not level.endswith("*") and falling.endswith("*")
    assert "* ends 60 m lower than it starts: trip 2\n" in out
    assert "cannot be compared with that of other roads" in out
    _, out, _ = call(capsys, LEVEL, *STYLES)
    assert "*" not in out and "cannot be compared" not in out


def test_progress_is_for_a_terminal_and_for_people_who_wait(capsys, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE", -1.0)
    assert call(capsys, SHORT, *STYLES)[2] == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    code, out, err = call(capsys, SHORT, *STYLES, "--json")
    assert code == 0 and len(json.loads(out)) == 2
    assert err.splitlines() == ["trip 1 of 2", "trip 2 of 2"]
    monkeypatch.setattr(waiting, "PATIENCE", 1000.0)
    assert call(capsys, SHORT, *STYLES)[2] == ""


# ---------------------------------------------------------------- files


def test_out_writes_a_table_and_the_files_of_each_trip(capsys):
    code, _, _ = call(capsys, SHORT, *STYLES, "--out", "both")
    assert code == 0
    names = {
        f"{kind}-{number}.{end}"
        for kind, end in (("trace", "csv"), ("events", "csv"), ("summary", "json"))
        for number in (1, 2)
    }
    assert {path.name for path in Path("both").iterdir()} == {"report.html", "comparison.csv", *names}
    with open("both/comparison.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert next(iter(rows[0])) == "drill.style"
    for number, (row, style) in enumerate(zip(rows, ("snub", "drag"), strict=True), start=1):
        result = run_trip(load_truck(TRUCK), load_route(SHORT), load_settings(None, [f"drill.style={style}"]))
        flat = {key: value for key, value in result.summary.items() if type(value) in (int, float)}
        assert row.pop("drill.style") == style
        assert {key: float(value) for key, value in row.items()} == flat
        assert len(flat) > 15
        assert plain(json.loads(Path(f"both/summary-{number}.json").read_text())) == plain(result.summary)
        assert Path(f"both/trace-{number}.csv").read_text() == result.trace.csv()
        assert Path(f"both/events-{number}.csv").read_text() == result.events_csv("both")


def test_a_number_that_a_trip_does_not_have_is_an_empty_cell(capsys):
    call(capsys, SHORT, "--vary", "truck=long-haul-manual,dump-three-axle", "--out", "both")
    with open("both/comparison.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    key = "max_published_brake_temperature_a_c"
    assert alone("dump-three-axle", SHORT)[key] is None, "this test needs a truck the published model does not cover"
    assert float(rows[0][key]) == alone("long-haul-manual", SHORT)[key]
    assert rows[1][key] == ""


def test_a_folder_that_is_not_empty_is_refused_before_any_trip(capsys, monkeypatch):
    Path("full").mkdir()
    Path("full/mine.txt").write_text("kept", encoding="utf-8")
    driven = count_trips(monkeypatch)
    code, out, err = call(capsys, SHORT, *STYLES, "--out", "full")
    assert (code, out, driven) == (2, "", [])
    assert "not empty" in err and "--force" in err
    assert call(capsys, SHORT, *STYLES, "--out", "full", "--force")[0] == 0
    assert len(driven) == 2
    assert Path("full/mine.txt").read_text(encoding="utf-8") == "kept"


# ---------------------------------------------------------------- bad input


def count_trips(monkeypatch) -> list:
    """Every trip that is driven from here on leaves a mark in the list."""
    driven: list = []

    def counted(*inputs):
        driven.append(inputs)
        return run_trip(*inputs)

    monkeypatch.setattr("sim.trips.trip.run_trip", counted)
    return driven


REFUSED = [
    (
        "a truck the laws refuse",
        ("--vary", "engine_brake.rated_power_kw=373,300"),
        ("trip 2 of 2 (engine_brake.rated_power_kw=300)", "rated_power_kw is 300"),
    ),
    (
        "two values that do not fit together",
        ("--vary", "retarding.on_rpm=1000,800"),
        ("trip 2 of 2 (retarding.on_rpm=800)", "off_rpm must be below on_rpm"),
    ),
]


@pytest.mark.parametrize("case", [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_makes_no_sense_is_one_message_before_any_trip(case, capsys, monkeypatch):
    arguments, fragments = case
    driven = count_trips(monkeypatch)
    code, out, err = call(capsys, SHORT, *arguments, "--out", "both")
    assert (code, out) == (2, "")
    assert err.startswith("haulbench: ") and len(err.strip().splitlines()) == 1, err
    missing = [fragment for fragment in fragments if fragment not in err]
    assert not missing, f"{missing} not in: {err}"
    assert driven == []
    assert not Path("both").exists()


def test_a_trip_that_breaks_off_stops_the_command_and_is_named(capsys, monkeypatch):
    def breaks_off(truck, route, settings):
        if settings.drill.style == "drag":
            raise RunError("Run stopped at 00:00:41: coolant temperature left its range (nan)")
        return run_trip(truck, route, settings)

    monkeypatch.setattr("sim.trips.trip.run_trip", breaks_off)
    code, out, err = call(capsys, SHORT, *STYLES, "--out", "both")
    assert (code, out) == (2, "")
    assert (
        err
        == "haulbench: trip 2 of 2 (drill.style=drag): Run stopped at 00:00:41: coolant temperature left its range (nan)\n"
    )
    assert not Path("both").exists()


def test_as_many_trips_as_are_allowed_are_read():
    stages = {"drill.hold_stage": [0, 1, 2, 3], "drill.hold_gear": [4, 5, 6, 7, 8, 9]}
    assert len(read_variants(stages, SHORT, TRUCK)) == MOST_TRIPS


def test_a_wrong_comparison_does_not_load_the_compiler():
    code = (
        "import sys; from sim.command.main import main; main(['compare', '--vary', 'drill.stile=a']);"
        " print('numba' in sys.modules)"
    )
    root = str(Path(waiting.__file__).resolve().parents[2])
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert "drill.style" in run.stderr
    assert run.stdout.strip() == "False"
