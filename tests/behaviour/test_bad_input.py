"""Bad input gets one clear message: where, what was given, what is allowed, what to do; never a traceback.

Every row below is a slip that people make, with the fragments the message must hold. Trucks start from a shipped one
and change a few keys. Files are named as seen from their own folder, so that no fragment hides in a path.
"""

import errno
import io
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from sim import reading, route, track, track_file
from sim.assemble import parameters_of, tables_of
from sim.command.folder import check_files, check_folder, write_files, write_folder
from sim.command.main import main
from sim.errors import HaulbenchError, RouteError, RunError, SettingsError, SpecError
from sim.files import load_settings, load_settings_file, load_truck, split_changes
from sim.route import load_route, read_route
from sim.track_file import read_track
from sim.trip import check_together

SOUND_TRUCK = "long-haul-manual"
BASED = f'based_on = "{SOUND_TRUCK}"\n'
SOUND_ROAD = "distance_m,elevation_m\n0,100\n500,110\n1000,105\n"

# words of the libraries underneath, which mean nothing to the reader of a message
LIBRARY_WORDS = re.compile(
    r"Input should be|validation error|Value error|Field required|Extra inputs|pydantic|type=|input_value|ctx"
    r"|Traceback|<class|<built-in|NoneType|Errno|codec|Exception|object at 0x|datetime|recursion|set_int_max",
    re.IGNORECASE,
)


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path, monkeypatch):
    """Every test works in a folder of its own and names its files without one."""
    monkeypatch.chdir(tmp_path)


def message_of(call: Callable[[], object], error: type[HaulbenchError]) -> str:
    """The message of a refusal, after the checks that hold for every message."""
    with pytest.raises(HaulbenchError) as caught:
        call()
    problem = caught.value
    assert type(problem) is error
    assert problem.__cause__ is None, "the error underneath would be shown as well"
    assert problem.__context__ is None or problem.__suppress_context__, "the error underneath would be shown as well"
    message = str(problem)
    lines = message.splitlines()
    assert 1 <= len(lines) <= 5, message
    assert all(line.strip() and len(line) <= 600 for line in lines), message
    assert not LIBRARY_WORDS.search(message), message
    return message


def assert_holds(message: str, fragments: tuple[str, ...]) -> None:
    """Every fragment stands in the message."""
    missing = [fragment for fragment in fragments if fragment not in message]
    assert not missing, f"{missing} not in: {message}"


def cases(rows: list[tuple]) -> pytest.MarkDecorator:
    """A parametrized table whose first column is the name of the case."""
    names = [row[0] for row in rows]
    assert len(set(names)) == len(names)
    return pytest.mark.parametrize("case", [row[1:] for row in rows], ids=names)


def test_what_the_rows_start_from_is_sound():
    Path("sound.toml").write_text(BASED, encoding="utf-8")
    truck = load_truck("sound.toml").truck
    assert truck == load_truck(SOUND_TRUCK).truck
    assert parameters_of(truck, load_settings(), 0.0)["mass"][0] == truck.vehicle.mass_kg
    Path("road.csv").write_text(SOUND_ROAD, encoding="utf-8")
    assert load_route("road.csv").length == 1000.0


# ---------------------------------------------------------------- truck files

TRUCK_CASES = [
    # wrong names
    ("unknown key", "[vehicle]\nmas_kg = 30000\n", ('"vehicle.mas_kg"', "vehicle.mass_kg")),
    ("key in the wrong table", "[vehicle]\naxle_ratio = 3.5\n", ('"vehicle.axle_ratio"', "driveline.axle_ratio")),
    ("unknown table", "[gearboks]\nname = 'x'\n", ('"gearboks"', "gearbox")),
    ("table of the settings file", "[weather]\ngrip = 0.3\n", ('"weather"', "vehicle", "engine")),
    ("key outside any table", "mass_kg = 30000\n", ('"mass_kg"', "vehicle.mass_kg")),
    ("value where a table belongs", "vehicle = 30000\n", ("vehicle", "30000", "table")),
    ("table where a value belongs", "[vehicle.mass_kg]\nvalue = 30000\n", ("vehicle.mass_kg", "3000 to 80000 kg")),
    # wrong values
    ("above the range", "[vehicle]\nmass_kg = 90000\n", ("vehicle.mass_kg", "90000", "3000 to 80000 kg", "gross mass")),
    ("below the range", "[tyres]\nrolling_radius_m = 0.1\n", ("tyres.rolling_radius_m", "0.1", "0.3 to 0.8 m")),
    ("not a number", "[vehicle]\nmass_kg = nan\n", ("vehicle.mass_kg", "nan", "3000 to 80000 kg")),
    ("infinite", "[vehicle]\nmass_kg = inf\n", ("vehicle.mass_kg", "inf", "3000 to 80000 kg")),
    ("minus infinite", "[drums]\ncapacity_kj_per_k = -inf\n", ("drums.capacity_kj_per_k", "-inf", "5 to 200")),
    ("text for a number", "[vehicle]\nmass_kg = 'heavy'\n", ("vehicle.mass_kg", "'heavy'", "3000 to 80000 kg")),
    ("unit in the file", "[vehicle]\nmass_kg = '36 t'\n", ("vehicle.mass_kg", "'36 t'", "3000 to 80000 kg")),
    ("true for a number", "[cooling]\nfan_idle_share = true\n", ("cooling.fan_idle_share", "0 to 1")),
    ("date for a number", "[vehicle]\nmass_kg = 2026-01-31\n", ("vehicle.mass_kg", "2026-01-31", "3000 to 80000 kg")),
    ("number of 400 digits", f"[vehicle]\nmass_kg = {'9' * 400}\n", ("vehicle.mass_kg", "999", "3000 to 80000 kg")),
    ("number of 5000 digits", f"[vehicle]\nmass_kg = {'9' * 5000}\n", ("number",)),
    ("brackets 5000 deep", f"[gearbox]\nratios = {'[' * 5000}{']' * 5000}\n", ("TOML",)),
    ("list for a number", "[vehicle]\nmass_kg = [1, 2]\n", ("vehicle.mass_kg", "[1, 2]", "3000 to 80000 kg")),
    ("number for a text", "[engine]\nname = 5\n", ("engine.name", "5")),
    ("number for a list", "[gearbox]\nratios = 3.5\n", ("gearbox.ratios", "3.5", "list")),
    ("text in a list", "[gearbox]\nratios = [3.5, 'low', 1.0]\n", ("gearbox.ratios", "'low'", "number")),
    ("zero in a list", "[gearbox]\nratios = [3.5, 1.0, 0.0]\n", ("gearbox.ratios is 0.0", "a number from 0.1 to 50")),
    ("empty list", "[gearbox]\nratios = []\n", ("gearbox.ratios", "[]", "at least 1")),
    ("list too long", f"[gearbox]\nratios = {[30.0 - n for n in range(25)]}\n", ("gearbox.ratios", "at most 24")),
    (
        "curve of two points",
        "[engine]\nfull_load_rpm = [600, 2100]\nfull_load_torque_n_m = [900, 1541]\n",
        ("engine.full_load_rpm", "at least 3"),
    ),
    ("broken number of axles", "[vehicle]\naxles = 4.5\n", ("vehicle.axles", "4.5", "a whole number from 2 to 12")),
    (
        "unknown governor",
        "[engine]\ngovernor = 'both'\n",
        ("engine.governor", "'both'", "'limiting-speed'", "'all-speed'"),
    ),
    ("unknown pair", "[engine_brake]\nstage_1 = ['back']\n", ("engine_brake.stage_1", "'back'", "'rear'")),
    # values that do not fit together
    (
        "axle loads do not add up",
        "[vehicle]\nmass_kg = 30000\n",
        ("vehicle", "36287 kg", "mass_kg", "30000", "1 %", "change one"),
    ),
    (
        "ratios do not fall",
        "[gearbox]\nratios = [3.5, 1.0, 1.7]\n",
        ("gearbox", "ratios must fall", "lowest gear first"),
    ),
    (
        "lists of uneven length",
        "[engine]\nfull_load_rpm = [600, 1200, 1800, 2100]\nfull_load_torque_n_m = [1029, 2237, 1541]\n",
        ("engine", "full_load_rpm has 4", "full_load_torque_n_m has 3", "as many"),
    ),
    (
        "boost lists of uneven length",
        "[engine]\nboost_rise_rpm = [1000, 1300, 1800]\nboost_rise_s = [1.5, 1.0]\n",
        ("engine", "boost_rise_rpm has 3", "boost_rise_s has 2", "as many"),
    ),
    (
        "speeds of the boost fall",
        "[engine]\nboost_rise_rpm = [1300, 1000, 1800]\n",
        ("engine", "boost_rise_rpm must rise"),
    ),
    (
        "rated power off the curve",
        "[engine]\nrated_power_kw = 400\n",
        ("engine", "rated_power_kw is 400", "354", "1800 rpm", "change one"),
    ),
    (
        "rated speed above governed",
        "[engine]\nrated_speed_rpm = 2200\n",
        ("engine", "rated_speed_rpm 2200", "600", "governed_rpm 2100"),
    ),
    (
        "idle above governed",
        "[engine]\nlow_idle_rpm = 1000\ngoverned_rpm = 1200\nhigh_idle_rpm = 1200\n",
        ("engine", "must rise", "low idle 1000", "governed 1200", "high idle 1200"),
    ),
    (
        "curve ends below governed speed",
        "[engine]\nfull_load_rpm = [600, 1200, 1800]\nfull_load_torque_n_m = [1029, 2237, 1879]\n",
        ("engine", "full_load_rpm ends at 1800", "governed_rpm 2100", "add points"),
    ),
    (
        "oil thicker when hot",
        "[engine]\noil_viscosity_40_mm2_per_s = 20\noil_viscosity_100_mm2_per_s = 30\n",
        ("engine", "oil_viscosity_40_mm2_per_s", "oil_viscosity_100_mm2_per_s"),
    ),
    (
        "fuel map without torques",
        "[engine]\nfuel_map_rpm = [600, 1200, 1800]\n",
        ("engine", "fuel map", "two torques", "leave all three keys out"),
    ),
    (
        "fuel map of uneven rows",
        "[engine]\nfuel_map_rpm = [600, 1800]\nfuel_map_torque_n_m = [0, 1000]\nfuel_map_g_per_s = [[1, 5], [2]]\n",
        ("engine", "fuel_map_g_per_s", "2 rows of 2"),
    ),
    (
        "fuel map of uneven steps",
        "[engine]\nfuel_map_rpm = [600, 1200, 2000]\nfuel_map_torque_n_m = [0, 1000]\n"
        "fuel_map_g_per_s = [[1, 5], [2, 9], [3, 12]]\n",
        ("engine", "fuel_map_rpm", "even steps"),
    ),
    ("pair named twice", "[engine_brake]\nstage_2 = ['front', 'front']\n", ("engine_brake", "stage_2", "twice")),
    (
        "fade table of uneven length",
        "[drums]\nfade_c = [20, 300]\n",
        ("drums", "fade_c has 2", "fade_share has 5", "as many"),
    ),
    (
        "fade above 1",
        "[drums]\nfade_share = [1.2, 1, 0.6, 0.3, 0.1]\n",
        ("drums.fade_share", "1.2", "a number from 0 to 1"),
    ),
    (
        "fan goes off above where it comes on",
        "[cooling]\nfan_off_c = 105\n",
        ("cooling", "fan_off_c must be below fan_on_c"),
    ),
    ("more drive tyres than tyres", "[tyres]\ncount = 8\n", ("tyres", "drive_count must be below count")),
    (
        "no brakes at all",
        "[steer_brakes]\nbrakes = 0\n[drive_brakes]\nbrakes = 0\n[trailer_brakes]\nbrakes = 0\n",
        ("needs service brakes", "brakes = 0"),
    ),
    (
        "brakes without force",
        "[steer_brakes]\ngain_kn_per_bar = 0\n[drive_brakes]\ngain_kn_per_bar = 0\n[trailer_brakes]\ngain_kn_per_bar = 0\n",
        ("adds up to 0", "must be at least 0.1", "drill.service_brakes=false"),
    ),
    (
        "clutch too weak",
        "[driveline]\nclutch_capacity_n_m = 2000\n",
        ("driveline", "clutch_capacity_n_m 2000", "2237 N m", "slip"),
    ),
    (
        "fuel below zero",
        "[engine]\nfuel_map_rpm = [600, 1800]\nfuel_map_torque_n_m = [0, 1000]\nfuel_map_g_per_s = [[1, 5], [-2, 9]]\n",
        ("engine.fuel_map_g_per_s is -2", "a number from 0 to 500"),
    ),
    (
        "more heat than there is",
        "[cooling]\ncoolant_combustion_share = 0.8\noil_combustion_share = 0.3\n",
        ("cooling", "must not add up to more than 1", "0.8 and 0.3", "Change one"),
    ),
    (
        "brakes on a trailer that is not there",
        "[vehicle]\nsteer_load_kg = 5443\ndrive_load_kg = 30844\ntrailer_load_kg = 0\n",
        ("trailer_brakes: brakes is above 0", "trailer_load_kg is 0", "load the trailer"),
    ),
    (
        "full stroke below its limit",
        "[drums]\nstroke_end_mm = 50\nstroke_limit_mm = 50\n",
        ("drums", "stroke_end_mm must be above stroke_limit_mm", "50 and 50"),
    ),
    (
        "thermostat opens when it is open",
        "[cooling]\nthermostat_opens_c = 90\nthermostat_full_c = 85\n",
        ("cooling", "thermostat_full_c must be above thermostat_opens_c", "85 and 90", "Change one"),
    ),
    (
        "compressor stops below where it starts",
        "[accessories]\ncut_in_kpa = 850\ncut_out_kpa = 700\n",
        ("accessories", "cut_out_kpa must be above cut_in_kpa", "700 and 850"),
    ),
]


@cases(TRUCK_CASES)
def test_truck_file(case):
    content, fragments = case
    path = Path("mine.toml")
    path.write_text(BASED + content, encoding="utf-8")
    assert_holds(message_of(lambda: load_truck(str(path)), SpecError), ("mine.toml", *fragments))


TRUCK_BYTES = [
    ("empty file", b"", ("vehicle is missing", "add it")),
    ("only a name", b'name = "mine"\n', ("vehicle is missing", "add it")),
    ("binary", bytes(range(256)), ("not a text file in UTF-8",)),
    ("not UTF-8", "name = 'Köln'\n".encode("latin-1"), ("not a text file in UTF-8",)),
    ("NUL bytes", b"name = 'a\0b'\n", ("TOML", "line 1")),
    ("broken TOML", b"[vehicle]\nmass_kg 30000\n", ("TOML", "line 2")),
    ("a key twice", b"[vehicle]\nmass_kg = 1\nmass_kg = 2\n", ("TOML", "line 3")),
    ("base is a number", b"based_on = 5\n", ("based_on must name another truck", "5")),
    (
        "base does not exist",
        b'based_on = "long-haul-manuel"\n',
        ('"long-haul-manuel"', "Did you mean long-haul-manual"),
    ),
]


@cases(TRUCK_BYTES)
def test_truck_file_as_bytes(case):
    content, fragments = case
    path = Path("mine.toml")
    path.write_bytes(content)
    assert_holds(message_of(lambda: load_truck(str(path)), SpecError), ("mine.toml", *fragments))


def test_truck_based_on_itself_in_a_circle():
    first, second = Path("first.toml"), Path("second.toml")
    first.write_text(f"based_on = '{second.as_posix()}'\n", encoding="utf-8")
    second.write_text(f"based_on = '{first.as_posix()}'\n", encoding="utf-8")
    message = message_of(lambda: load_truck(str(first)), SpecError)
    assert_holds(message, ("based_on must name another truck, and not in a circle", "first.toml", "second.toml"))


def test_truck_based_on_itself():
    path = Path("mine.toml")
    path.write_text(f"based_on = '{path.as_posix()}'\n", encoding="utf-8")
    assert_holds(message_of(lambda: load_truck(str(path)), SpecError), ("mine.toml", "not in a circle"))


def test_truck_with_a_table_over_a_value_of_its_base():
    Path("base.toml").write_text("vehicle = 5\n", encoding="utf-8")
    Path("mine.toml").write_text("based_on = 'base.toml'\n[vehicle]\naxles = 5\n", encoding="utf-8")
    message = message_of(lambda: load_truck("mine.toml"), SpecError)
    assert_holds(message, ("mine.toml", "vehicle is a table here and a value in base.toml", "leave it out"))


def test_change_into_a_table_that_is_a_value():
    Path("base.toml").write_text("vehicle = 5\n", encoding="utf-8")
    message = message_of(lambda: load_truck("base.toml", ["vehicle.axles=5"]), SpecError)
    assert_holds(message, ("--set vehicle.axles=5", "vehicle is a value in the file", "must be a table"))


def test_truck_file_too_large(monkeypatch):
    path = Path("mine.toml")
    path.write_text(BASED + "# " + 100 * "x" + "\n", encoding="utf-8")
    monkeypatch.setattr(reading, "MOST_BYTES", 64)
    size = str(path.stat().st_size)
    assert_holds(message_of(lambda: load_truck(str(path)), SpecError), ("mine.toml", f"{size} bytes", "64 at most"))


TRUCK_NAMES = [
    ("misspelt name", "long-hual-manual", ('"long-hual-manual"', "Did you mean long-haul-manual", "A path")),
    ("nothing like it", "zzz", ('"zzz"', "Trucks: ", SOUND_TRUCK)),
    ("missing file", "nowhere/mine.toml", ("mine.toml", "no such file")),
    ("name too long for a file", "x" * 5000, ("no truck is called", SOUND_TRUCK)),
]


@cases(TRUCK_NAMES)
def test_truck_name(case):
    name, fragments = case
    assert_holds(message_of(lambda: load_truck(name), SpecError), fragments)


@pytest.mark.parametrize("name", ["folder", "folder.toml"])
def test_truck_is_a_folder(name):
    Path(name).mkdir()
    message = message_of(lambda: load_truck(name), SpecError)
    assert_holds(message, (name, "is a folder", "name a TOML file"))


def test_fuel_map_wider_than_the_model_can_hold():
    torques = [10 * place for place in range(300)]
    path = Path("mine.toml")
    rows = f"fuel_map_rpm = [600, 1800]\nfuel_map_torque_n_m = {torques}\nfuel_map_g_per_s = {[[1.0] * 300] * 2}\n"
    path.write_text(f"{BASED}[engine]\n{rows}", encoding="utf-8")
    message = message_of(lambda: tables_of(load_truck(str(path)).truck), SpecError)
    assert_holds(message, ("fuel_map_torque_n_m", "300", "256"))


# ---------------------------------------------------------------- changes to the truck

TRUCK_CHANGES = [
    ("out of range", "vehicle.axles=50", ("--set", "vehicle.axles", "50", "a whole number from 2 to 12")),
    ("out of range by its unit", "tyres.rolling_radius_m=60in", ("--set", "rolling_radius_m", "60in", "0.3 to 0.8 m")),
    ("wrong unit", "vehicle.mass_kg=30km", ("--set vehicle.mass_kg=30km", '"km"', "kg", "lb")),
    ("unit that does not exist", "tyres.rolling_radius_m=2furlong", ('"furlong"', "one of m,", " ft", " in")),
    ("unit where none fits", "vehicle.axles=5m", ("--set vehicle.axles=5m", "no unit", '"m"')),
    ("unit on a compound key", "drums.capacity_kj_per_k=48kJ", ("--set", "no unit", '"kJ"')),
    ("text for a number", "vehicle.mass_kg=heavy", ("vehicle.mass_kg", "'heavy'", "3000 to 80000 kg")),
    ("nan", "vehicle.mass_kg=nan", ("vehicle.mass_kg", "nan", "3000 to 80000 kg")),
    ("inf", "vehicle.mass_kg=inf", ("vehicle.mass_kg", "inf", "3000 to 80000 kg")),
    ("number too large to hold", "vehicle.mass_kg=1e999", ("vehicle.mass_kg", "3000 to 80000 kg")),
    ("no value", "vehicle.mass_kg=", ("--set vehicle.mass_kg=", "not a number", "3000 to 80000 kg")),
    ("list of a number of 5000 digits", f"gearbox.ratios=[{'9' * 5000}]", ("--set", "gearbox.ratios", "number")),
    (
        "list that does not end",
        "gearbox.ratios=[3.5, 1.0",
        ("--set gearbox.ratios=[3.5, 1.0", "no list", "write [1, 2, 3]"),
    ),
    ("number for a list", "gearbox.ratios=3", ("gearbox.ratios", "3", "list")),
    ("true for a number", "vehicle.drag_area_m2=true", ("vehicle.drag_area_m2", "1 to 15 m2")),
    ("word for a choice", "gearbox.kind=hydraulic", ("gearbox.kind", "'hydraulic'", "'manual'", "'automated'")),
]


@cases(TRUCK_CHANGES)
def test_change_to_the_truck(case):
    change, fragments = case
    assert_holds(message_of(lambda: load_truck(SOUND_TRUCK, [change]), SpecError), fragments)


# ---------------------------------------------------------------- settings and their changes

SETTINGS_CASES = [
    ("unknown key", "[start]\nspeed_kmh = 60\n", ('"start.speed_kmh"', "start.speed_km_h")),
    ("key in the wrong table", "[driver]\nwind_m_s = 5\n", ('"driver.wind_m_s"', "weather.wind_m_s")),
    ("table of the truck file", "[vehicle]\nmass_kg = 30000\n", ('"vehicle"', "start", "weather")),
    ("key outside any table", "grip = 0.3\n", ('"grip"', "weather.grip")),
    ("value where a table belongs", "start = 60\n", ("start", "60", "table")),
    ("out of range", "[start]\nspeed_km_h = 200\n", ("start.speed_km_h", "200", "-1 to 130 km/h")),
    ("below the range", "[weather]\ngrip = 0.0\n", ("weather.grip", "0.0", "0.02 to 1.2")),
    ("not a number", "[weather]\ntemperature_c = nan\n", ("weather.temperature_c", "nan", "-40 to 55")),
    ("infinite", "[weather]\nwind_m_s = inf\n", ("weather.wind_m_s", "inf", "-30 to 30 m/s")),
    ("text for a number", "[driver]\nreaction_s = 'slow'\n", ("driver.reaction_s", "'slow'", "0.1 to 4 s")),
    ("true for a number", "[start]\ngear = true\n", ("start.gear", "a whole number from 0 to 24")),
    ("half a gear", "[drill]\nhold_gear = 6.5\n", ("drill.hold_gear", "6.5", "a whole number from 0 to 24")),
    (
        "neither true nor false",
        "[drill]\nservice_brakes = 'perhaps'\n",
        ("drill.service_brakes", "'perhaps'", "true", "false"),
    ),
    ("unknown style", "[drill]\nstyle = 'drags'\n", ("drill.style", "'drags'", "'snub'", "'drag'")),
    (
        "brake goes off above where it comes on",
        "[retarding]\non_rpm = 1000\noff_rpm = 1100\n",
        ("retarding", "off_rpm must be below on_rpm"),
    ),
    (
        "shift speeds out of order",
        "[shifting]\nupshift_rpm = 1100\n",
        ("shifting", "downshift_rpm", "upshift_rpm", "must rise"),
    ),
    (
        "delay shorter than a tick",
        "[simulation]\ntick_s = 0.05\n[retarding]\non_delay_s = 0.01\n",
        ("on_delay_s", "0.01", "tick_s", "0.05"),
    ),
    (
        "log finer than a tick",
        "[simulation]\ntick_s = 0.05\nlog_s = 0.01\n",
        ("log_s", "0.01", "tick_s", "0.05"),
    ),
]


@cases(SETTINGS_CASES)
def test_settings_file(case):
    content, fragments = case
    path = Path("class.toml")
    path.write_text(content, encoding="utf-8")
    assert_holds(message_of(lambda: load_settings(str(path)), SettingsError), ("class.toml", *fragments))


SETTINGS_BYTES = [
    ("binary", bytes(range(256)), ("not a text file in UTF-8",)),
    ("not UTF-8", "# Straße\n".encode("latin-1"), ("not a text file in UTF-8",)),
    ("NUL bytes", b"\0\0\0\0", ("TOML", "line 1")),
    ("broken TOML", b"[start\n", ("TOML", "line 1")),
]


@cases(SETTINGS_BYTES)
def test_settings_file_as_bytes(case):
    content, fragments = case
    path = Path("class.toml")
    path.write_bytes(content)
    assert_holds(message_of(lambda: load_settings(str(path)), SettingsError), ("class.toml", *fragments))


def test_settings_file_is_missing_or_a_folder_or_too_large(monkeypatch):
    missing = message_of(lambda: load_settings("nowhere.toml"), SettingsError)
    assert_holds(missing, ("nowhere.toml", "no such file"))
    Path("folder").mkdir()
    folder = message_of(lambda: load_settings("folder"), SettingsError)
    assert_holds(folder, ("folder", "is a folder", "name a TOML file"))
    path = Path("class.toml")
    path.write_text("# " + 100 * "x", encoding="utf-8")
    monkeypatch.setattr(reading, "MOST_BYTES", 64)
    assert_holds(message_of(lambda: load_settings(str(path)), SettingsError), ("class.toml", "102 bytes", "64 at most"))


SETTINGS_CHANGES = [
    ("out of range", "driver.reaction_s=9", ("--set", "driver.reaction_s", "9", "0.1 to 4 s")),
    (
        "out of range in another unit",
        "weather.temperature_c=200F",
        ("--set", "weather.temperature_c", "200F", "-40 to 55"),
    ),
    ("wrong unit", "start.speed_km_h=60kg", ("--set start.speed_km_h=60kg", '"kg"', "km/h", "mph")),
    ("unit where none fits", "start.gear=5rpm", ("--set start.gear=5rpm", "no unit", '"rpm"')),
    ("number too large to hold", "weather.wind_m_s=-1e400", ("weather.wind_m_s", "-30 to 30 m/s")),
    ("number of many digits", f"start.gear={'9' * 400}", ("start.gear", "0 to 24")),
    ("true for a number", "start.speed_km_h=true", ("start.speed_km_h", "-1 to 130 km/h")),
    ("word for true or false", "drill.service_brakes=maybe", ("drill.service_brakes", "'maybe'", "true", "false")),
    ("list for a number", "start.gear=[1, 2]", ("start.gear", "[1, 2]", "0 to 24")),
    ("press of no button", 'cruise.presses=["2 km jump"]', ('"2 km jump"', "PLACE BUTTON", "buttons are on, off, set")),
    ("press at a place that is no number", 'cruise.presses=["2.5.1 km set"]', ('"2.5.1 km set"', "cannot be read")),
    ("press that is not held", 'cruise.presses=["1 km accelerate"]', ('"1 km accelerate"', "held for up to 120 s")),
    (
        "press that lasts too long",
        'cruise.presses=["1 km coast 500 s"]',
        ('"1 km coast 500 s"', "held for up to 120 s"),
    ),
    (
        "stage that goes out below the set speed",
        "cruise.stage_drop_km_h=9",
        ("stage_drop_km_h 9", "stage_1_over_km_h 4.8"),
    ),
    (
        "set speed below the least one",
        "cruise.set_speed_km_h=20",
        ("set_speed_km_h 20", "least_speed_km_h 32", "change one of them"),
    ),
    ("stages out of order", "cruise.stage_2_over_km_h=20", ("stage_2_over_km_h", "must rise", "4.8, 20, 11.3")),
]


@cases(SETTINGS_CHANGES)
def test_change_to_the_settings(case):
    change, fragments = case
    assert_holds(message_of(lambda: load_settings(None, [change]), SettingsError), fragments)


@pytest.mark.parametrize("vary", ["5", "'drill.hold_stage=1,2'", "[1, 2]", "['drill.hold_stage']"])
def test_what_a_settings_file_varies(vary):
    Path("class.toml").write_text(f"vary = {vary}\n", encoding="utf-8")
    message = message_of(lambda: load_settings_file("class.toml"), SettingsError)
    assert_holds(message, ("class.toml: vary is", vary.strip("'")[:1], '["drill.hold_stage=1,2,3"]'))


def test_tick_longer_than_a_lag_of_the_truck():
    truck = load_truck(SOUND_TRUCK, ["driveline.clutch_open_s=0.02"]).truck
    settings = load_settings(None, ["simulation.tick_s=0.05"])
    message = message_of(lambda: check_together(truck, settings), SettingsError)
    assert_holds(message, ("simulation.tick_s is 0.05 s", "driveline.clutch_open_s", "0.02 s", "change one of them"))


def test_change_on_top_of_a_settings_file_is_named_and_not_the_file():
    path = Path("class.toml")
    path.write_text("[start]\nspeed_km_h = 60\n", encoding="utf-8")
    message = message_of(lambda: load_settings(str(path), ["driver.reaction_s=9"]), SettingsError)
    assert_holds(message, ("--set", "driver.reaction_s", "9", "0.1 to 4 s"))
    assert "class.toml" not in message


KEYS = [
    ("misspelt key", "vehicle.mas_kg=30000", ('"vehicle.mas_kg"', "Did you mean vehicle.mass_kg")),
    ("misspelt table", "vehicel.mass_kg=30000", ('"vehicel.mass_kg"', "vehicle.mass_kg")),
    ("key without its table", "mass_kg=30000", ('"mass_kg"', "vehicle.mass_kg")),
    ("key in the wrong table", "engine.axle_ratio=3.5", ('"engine.axle_ratio"', "driveline.axle_ratio")),
    ("key of the settings, misspelt", "weather.temprature_c=30", ('"weather.temprature_c"', "weather.temperature_c")),
    ("nothing like it", "zzz.qqq=1", ('"zzz.qqq"', "table.key", "vehicle", "weather")),
    ("no equals sign", "vehicle.mass_kg", ("--set vehicle.mass_kg", "KEY=VALUE", "for example")),
    ("nothing at all", "", ("--set", "KEY=VALUE", "for example")),
    ("no key", "=30000", ("--set =30000", "KEY=VALUE")),
]


@cases(KEYS)
def test_change_of_a_key_that_does_not_exist(case):
    change, fragments = case
    assert_holds(message_of(lambda: split_changes(["start.gear=3", change]), SettingsError), fragments)


# ---------------------------------------------------------------- roads

ROAD_CASES = [
    ("header alone", "distance_m,elevation_m\n", ("0 row", "at least two")),
    ("one row", "distance_m,elevation_m\n0,100\n", ("1 row", "at least two")),
    ("unknown column", "distance_km,elevation_m\n0,1\n1,1\n", ("line 1", '"distance_km"', "distance_m")),
    ("column without a name", "distance_m,elevation_m,\n0,1,\n9,1,\n", ("line 1", '""', "distance_m")),
    ("doubled column", "distance_m,elevation_m,elevation_m\n0,1,1\n9,1,1\n", ("line 1", "elevation_m", "twice")),
    ("no distance", "elevation_m,wind_m_s\n1,0\n1,0\n", ("line 1", "distance_m is missing")),
    (
        "both elevation and grade",
        "distance_m,elevation_m,grade_percent\n0,1,0\n9,1,0\n",
        ("line 1", "exactly one of elevation_m and grade_percent"),
    ),
    (
        "neither elevation nor grade",
        "distance_m,sign\n0,a\n9,b\n",
        ("line 1", "exactly one of elevation_m and grade_percent"),
    ),
    ("ragged row", "distance_m,elevation_m\n0,1\n9,1,5\n", ("line 3", "3 cells", "2 column names")),
    ("row cut short", "distance_m,elevation_m\n0,1\n9\n", ("line 3", "1 cells", "2 column names")),
    ("decimal comma", "distance_m,elevation_m\n0,1\n9,1,5\n10,2\n", ("line 3", "3 cells", "2 column names")),
    ("text for a number", "distance_m,elevation_m\n0,1\nfar,1\n", ("line 3", "distance_m", '"far"', "number")),
    ("unit behind a number", "distance_m,elevation_m\n0,1\n9 m,1\n", ("line 3", "distance_m", '"9 m"', "number")),
    (
        "text for a number below a sign of two lines",
        'distance_m,elevation_m,sign\n0,1,"Stop\nahead"\nfar,1,\n',
        ("line 4", "distance_m", '"far"', "number"),
    ),
    ("empty cell", "distance_m,elevation_m\n0,1\n9,\n", ("line 3", "elevation_m is empty", "every row needs it")),
    ("not a number", "distance_m,elevation_m\n0,1\n9,nan\n", ("line 3", "elevation_m", "nan", "-450 to 6000")),
    ("infinite", "distance_m,elevation_m\n0,1\ninf,1\n", ("line 3", "distance_m", "inf", "0 to 3e+06")),
    ("distance repeated", "distance_m,elevation_m\n0,1\n9,1\n9,1\n", ("line 4", "9 is not after 9", "Sort the rows")),
    ("distance reversed", "distance_m,elevation_m\n0,1\n9,1\n5,1\n", ("line 4", "5 is not after 9", "Sort the rows")),
    ("distance not from 0", "distance_m,elevation_m\n5,1\n9,1\n", ("line 2", "starts at 5", "must start at 0")),
    ("distance negative", "distance_m,elevation_m\n-5,1\n9,1\n", ("line 2", "distance_m is -5", "0 to 3e+06")),
    ("too steep by height", "distance_m,elevation_m\n0,100\n100,150\n", ("line 3", "50 %", "-35 to 35 %", "Check")),
    (
        "too steep after a blank line",
        "distance_m,elevation_m\n0,100\n\n50,100\n100,150\n",
        ("line 5", "-35 to 35 %"),
    ),
    ("too steep by grade", "distance_m,grade_percent\n0,0\n100,-60\n", ("line 3", "grade_percent", "-60", "-35 to 35")),
    (
        "grade as a share of 1000",
        "distance_m,grade_percent\n0,0\n100,60\n",
        ("line 3", "grade_percent", "60", "-35 to 35"),
    ),
    ("too high", "distance_m,elevation_m\n0,5900\n9000,6100\n", ("line 3", "elevation_m", "6100", "-450 to 6000")),
    ("too high by climbing", "distance_m,grade_percent\n0,10\n99000,10\n", ("6000 m", "grade_percent")),
    ("too low by falling", "distance_m,grade_percent\n0,-10\n9000,-10\n", ("-450", "grade_percent")),
    (
        "limit out of range",
        "distance_m,elevation_m,speed_limit_km_h\n0,1,90\n9,1,300\n",
        ("line 3", "speed_limit_km_h", "300", "5 to 130"),
    ),
    (
        "limit of 0",
        "distance_m,elevation_m,speed_limit_km_h\n0,1,0\n9,1,\n",
        ("line 2", "speed_limit_km_h", "0", "5 to 130"),
    ),
    (
        "stop of negative length",
        "distance_m,elevation_m,stop_s\n0,1,-5\n9,1,\n",
        ("line 2", "stop_s", "-5", "0 to 7200"),
    ),
    ("storm", "distance_m,elevation_m,wind_m_s\n0,1,0\n9,1,99\n", ("line 3", "wind_m_s", "99", "-40 to 40")),
    ("comment line", "# my road\ndistance_m,elevation_m\n0,1\n9,1\n", ("line 1", "# my road", "distance_m")),
    ("blank first line", "\ndistance_m,elevation_m\n0,1\n9,1\n", ("line 1", "columns", "distance_m")),
    ("semicolons", "distance_m;elevation_m\n0;1\n9;1\n", ("line 1", "distance_m;elevation_m", "columns")),
    ("quote never closed", 'distance_m,elevation_m\n0,"1\n9,1\n', ("line 2", "mine.csv")),
    ("cell beyond the reader's bound", f"distance_m,elevation_m,sign\n0,1,{'x' * 200_000}\n9,1,\n", ("CSV",)),
    ("column name beyond the reader's bound", f"distance_m,{'x' * 200_000}\n0,1\n9,1\n", ("CSV",)),
]


@cases(ROAD_CASES)
def test_road_file(case):
    content, fragments = case
    path = Path("mine.csv")
    path.write_text(content, encoding="utf-8")
    assert_holds(message_of(lambda: read_route(path), RouteError), ("mine.csv", *fragments))


ROAD_BYTES = [
    ("empty file", b"", ("is empty", "distance_m", "elevation_m", "grade_percent")),
    ("binary", bytes(range(256)), ("not a text file in UTF-8", "save the road as CSV")),
    ("not UTF-8", "distance_m,elevation_m,sign\n0,1,Straße\n".encode("latin-1"), ("not a text file in UTF-8", "CSV")),
    ("UTF-16", SOUND_ROAD.encode("utf-16"), ("not a text file in UTF-8", "save the road as CSV")),
    ("NUL bytes", b"distance_m,elevation_m\n0,1\n\0\0\0\0", ("not a text file", "save the road as CSV")),
]


@cases(ROAD_BYTES)
def test_road_file_as_bytes(case):
    content, fragments = case
    path = Path("mine.csv")
    path.write_bytes(content)
    assert_holds(message_of(lambda: load_route(str(path)), RouteError), ("mine.csv", *fragments))


def test_road_file_too_large(monkeypatch):
    path = Path("mine.csv")
    path.write_text(SOUND_ROAD, encoding="utf-8")
    monkeypatch.setattr(route, "MOST_BYTES", 40)
    size = str(len(SOUND_ROAD))
    assert_holds(message_of(lambda: read_route(path), RouteError), ("mine.csv", f"{size} bytes", "40 at most"))


@pytest.mark.parametrize("name", ["folder", "folder.csv"])
def test_road_is_a_folder(name):
    Path(name).mkdir()
    message = message_of(lambda: load_route(name), RouteError)
    assert_holds(message, (name, "is a folder", "name a CSV file"))


ROAD_NAMES = [
    ("missing file", "nowhere/mine.csv", ("mine.csv", "no such file", "haulbench list")),
    ("unknown name", "no-such-road", ('"no-such-road"', "Roads: ", "grade:-6%,10km,1100m")),
    ("name too long for a file", "x" * 5000, ("no road is called", "grade:-6%,10km,1100m")),
]


@cases(ROAD_NAMES)
def test_road_name(case):
    name, fragments = case
    assert_holds(message_of(lambda: load_route(name), RouteError), fragments)


FACTS = [
    ("broken TOML", "title = \n", ("TOML",)),
    ("unknown key", "titel = 'x'\n", ('"titel"', "title", "source", "marks", "start_elevation_m")),
    ("start too high", "start_elevation_m = 9000\n", ("start_elevation_m", "9000", "-450 to 6000")),
    ("start is a text", "start_elevation_m = 'high'\n", ("start_elevation_m", "'high'", "number")),
    ("start is true", "start_elevation_m = true\n", ("start_elevation_m", "number")),
    ("start is not a number", "start_elevation_m = nan\n", ("start_elevation_m", "nan", "number")),
    ("marks are a text", "marks = 'published'\n", ("marks", "table")),
]


@cases(FACTS)
def test_facts_beside_a_road(case):
    content, fragments = case
    Path("mine.csv").write_text(SOUND_ROAD, encoding="utf-8")
    Path("mine.toml").write_text(content, encoding="utf-8")
    assert_holds(message_of(lambda: read_route(Path("mine.csv")), RouteError), ("mine.toml", *fragments))


def test_facts_beside_a_road_are_not_utf8_or_a_folder():
    Path("mine.csv").write_text(SOUND_ROAD, encoding="utf-8")
    Path("mine.toml").write_bytes("title = 'Straße'".encode("latin-1"))
    message = message_of(lambda: read_route(Path("mine.csv")), RouteError)
    assert_holds(message, ("mine.toml", "UTF-8"))
    Path("mine.toml").unlink()
    Path("mine.toml").mkdir()
    message = message_of(lambda: read_route(Path("mine.csv")), RouteError)
    assert_holds(message, ("mine.toml", "folder"))


FORM = "write grade:GRADE,LENGTH,ALTITUDE"

GRADES = [
    ("nothing", "grade:", (FORM,)),
    ("grade alone", "grade:-6%", (FORM,)),
    ("length missing", "grade:-6%,", (FORM,)),
    ("grade missing", "grade:,10km", (FORM,)),
    ("altitude missing", "grade:-6%,10km,", (FORM,)),
    ("too many parts", "grade:-6%,10km,1100m,5", (FORM,)),
    ("words", "grade:steep,10km", ("not a number", FORM)),
    ("two signs", "grade:--6%,10km", ("not a number", FORM)),
    ("grade in the wrong unit", "grade:-6km,10km", ('"km"', "%", FORM)),
    ("length in the wrong unit", "grade:-6%,10kg", ('"kg"', "km", "mi", FORM)),
    ("altitude in the wrong unit", "grade:-6%,10km,1100C", ('"C"', "m", "ft", FORM)),
    ("not a number", "grade:nan%,10km", ("not a number", FORM)),
    ("decimal comma", "grade:-6,5%,10km", ('"%"', FORM)),
    ("too steep", "grade:-60%,10km", ("grade is -60 %", "-35 to 35 %")),
    ("too short", "grade:-6%,5m", ("length is 5 m", "10 to 3e+06 m")),
    ("endless", "grade:0%,1e999km", ("length is inf", "10 to 3e+06 m")),
    ("too high", "grade:-6%,10km,9000m", ("altitude is 9000 m", "-450 to 6000 m")),
    ("ends too low", "grade:-6%,100km,1100m", ("altitude at the end is -4900 m", "-450 to 6000 m")),
    ("ends too high", "grade:10%,100km", ("altitude at the end is 10000 m", "-450 to 6000 m")),
]


@cases(GRADES)
def test_constant_grade(case):
    text, fragments = case
    assert_holds(message_of(lambda: load_route(text), RouteError), (f'"{text}"', *fragments))


# ---------------------------------------------------------------- a truck whose parts do not fit the laws


@pytest.mark.parametrize(
    ("change", "stated", "ratio"),
    [
        ("engine_brake.rated_power_kw=300", "300", "2.44"),
        ("engine_brake.rated_power_kw=450", "450", "2.44"),
        ("engine_brake.rated_pressure_ratio=1.8", "373", "1.8"),
    ],
)
def test_retarding_power_that_does_not_follow(change, stated, ratio):
    truck = load_truck(SOUND_TRUCK, [change]).truck
    message = message_of(lambda: parameters_of(truck, load_settings(), 0.0), SpecError)
    assert_holds(
        message, (f"engine_brake.rated_power_kw is {stated}", f"rated_pressure_ratio {ratio}", "2100 rpm", "2 %")
    )
    assert re.search(r"gives \d+ kW", message)


# ---------------------------------------------------------------- tracks that only a patient person could make

TABLE = "distance_m,elevation_m\n" + "".join(f"{400 * n},{100 + n}\n" for n in range(30))
GPX = "<gpx><trk><trkseg>{}</trkseg></trk></gpx>".format(
    "".join(f'<trkpt lat="{46 + n / 1000}" lon="7"><ele>400</ele></trkpt>' for n in range(20))
)


def test_track_whose_file_grows_while_it_is_read(monkeypatch):
    Path("mine.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.setattr(track_file, "MOST_BYTES", len(TABLE))
    monkeypatch.setattr(track_file, "open", lambda *_: io.BytesIO(TABLE.encode() + b"99999,1\n"), raising=False)
    message = message_of(lambda: read_track(Path("mine.csv")), RouteError)
    assert_holds(message, ("mine.csv: grows while it is read", "MB at most", "shorter tracks"))


def test_track_of_too_many_rows(monkeypatch):
    Path("mine.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.setattr(track_file, "MOST_POINTS", 10)
    message = message_of(lambda: read_track(Path("mine.csv")), RouteError)
    assert_holds(message, ("mine.csv: more than 10 rows", "thin it out"))


def test_track_longer_than_any_road(monkeypatch):
    Path("mine.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.setattr(track, "LONGEST", 5000.0)
    message = message_of(lambda: track.import_track("mine.csv"), RouteError)
    assert_holds(message, ("mine.csv: the track is 12 km long", "5 km at most"))


def test_track_without_heights_over_a_long_part():
    rows = "".join(f"{400 * n},{'' if 5 < n < 25 else 100}\n" for n in range(30))
    Path("mine.csv").write_text("distance_m,elevation_m\n" + rows, encoding="utf-8")
    message = message_of(lambda: track.import_track("mine.csv"), RouteError)
    assert_holds(message, ("mine.csv: no usable height over 8.0 km", "5 km at most", "cut that part off"))


def test_number_of_a_point_that_is_none():
    Path("mine.gpx").write_text(GPX.replace("</trkpt>", "<hdop>good</hdop></trkpt>", 1), encoding="utf-8")
    message = message_of(lambda: read_track(Path("mine.gpx")), RouteError)
    assert_holds(message, ('mine.gpx: <hdop> is "good"', "must be a number", "remove the point"))


def test_track_its_reader_gives_up_on(monkeypatch):
    def give_up(_: str) -> None:
        raise RecursionError

    Path("mine.gpx").write_text(GPX, encoding="utf-8")
    monkeypatch.setattr("gpxpy.parse", give_up)
    message = message_of(lambda: read_track(Path("mine.gpx")), RouteError)
    assert_holds(message, ("mine.gpx: the GPX in it cannot be understood", "Export the track anew"))


# ---------------------------------------------------------------- places that cannot be written, for root too

ROAD_TEXTS = {".csv": SOUND_ROAD, ".toml": "", ".svg": ""}


def test_folder_below_a_file():
    Path("file").write_text("mine", encoding="utf-8")
    message = message_of(lambda: write_folder("file/trip", {"a.csv": "1"}, False), RunError)
    assert_holds(message, ("--out file/trip: cannot be written", "nothing was written", "another place"))
    message = message_of(lambda: check_files("file/road", [".csv"], False), RouteError)
    assert_holds(message, ("--out file/road", "there is no folder file", "make it first"))
    assert Path("file").read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="no such folder here")
def test_folder_of_the_system():
    message = message_of(lambda: write_folder("/proc/trip", {"a.csv": "1"}, False), RunError)
    assert_holds(message, ("--out /proc/trip", "another place" if "nothing" in message else "a folder of yours"))
    message = message_of(lambda: check_files("/proc/road", [".csv"], False), RouteError)
    assert_holds(message, ("--out /proc/road: cannot be written", "name a folder of yours"))


def test_folder_the_system_gives_no_right_to(monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    message = message_of(lambda: check_folder("here/trip", False), RunError)
    assert_holds(message, ("--out here/trip", "cannot be written to", "name a folder of yours"))


def test_folder_of_a_name_too_long():
    message = message_of(lambda: check_folder("x" * 300, False), RunError)
    assert_holds(message, ("--out xxx", "cannot be used", "name a folder of yours"))


def test_folder_that_is_not_empty_or_a_file():
    Path("trip").mkdir()
    Path("trip/notes.txt").write_text("mine", encoding="utf-8")
    assert_holds(message_of(lambda: check_folder("trip", False), RunError), ("--out trip", "not empty", "--force"))
    check_folder("trip", True)
    message = message_of(lambda: check_folder("trip/notes.txt", False), RunError)
    assert_holds(message, ("--out trip/notes.txt: is a file", "name a folder"))


@pytest.mark.parametrize("problem", [errno.ENOSPC, errno.EDQUOT, errno.EROFS])
def test_disk_that_takes_no_more(monkeypatch, problem):
    def refuse(_: int) -> None:
        raise OSError(problem, os.strerror(problem))

    monkeypatch.setattr(os, "fsync", refuse)
    wanted = (os.strerror(problem), "nothing was written", "Make room")
    assert_holds(message_of(lambda: write_folder("trip", {"a.csv": "1"}, False), RunError), ("--out trip", *wanted))
    assert_holds(message_of(lambda: write_files("road", ROAD_TEXTS, False), RouteError), ("--out road", *wanted))
    assert list(Path.cwd().iterdir()) == []


def test_interrupted_while_writing(monkeypatch):
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder("trip", {"a.csv": "1"}, False)
    with pytest.raises(KeyboardInterrupt):
        write_files("road", ROAD_TEXTS, False)
    assert list(Path.cwd().iterdir()) == []


def test_interrupted_import_of_a_track(monkeypatch, capsys):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    Path("mine.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.setattr("sim.track.import_track", interrupted)
    assert main(["route", "mine.csv", "--out", "road"]) == 130
    assert capsys.readouterr().err == "haulbench: interrupted; nothing was written\n"
    assert [path.name for path in Path.cwd().iterdir()] == ["mine.csv"]


# ---------------------------------------------------------------- flags

FLAGS = [
    ("unknown command", ("fly",), ("fly", "run", "--help")),
    ("unknown flag", ("run", "--fast"), ("--fast", "--help")),
    ("flag without its value", ("run", "--truck"), ("--truck", "expected one argument", "--help")),
    ("unknown units", ("run", "--units", "imperial"), ("--units", "'imperial'", "metric", "--help")),
    ("bus without a folder", ("run", "--bus"), ("--bus", "bus.log and bus.dbc", "add --out DIR")),
    ("one road too many", ("run", "ollen-pass", "skarrow-grade"), ("skarrow-grade", "--help")),
]


@cases(FLAGS)
def test_flag(case, capsys):
    arguments, fragments = case
    assert main(list(arguments)) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("haulbench: ") and len(err.splitlines()) == 1
    assert not LIBRARY_WORDS.search(err), err
    assert_holds(err, fragments)


def test_all_errors_share_one_base():
    assert all(issubclass(error, HaulbenchError) for error in (SpecError, RouteError, SettingsError, RunError))


def test_a_refused_file_is_left_as_it_was():
    path = Path("mine.csv")
    path.write_text("distance_m,elevation_m\n0,1\n", encoding="utf-8")
    message_of(lambda: read_route(path), RouteError)
    assert [item.name for item in Path.cwd().iterdir()] == ["mine.csv"]
    assert path.read_text(encoding="utf-8") == "distance_m,elevation_m\n0,1\n"
