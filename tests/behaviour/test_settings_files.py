"""Settings by name: what a file says it is for, the road and truck it brings along, and what is refused.

Nothing here is a measurement: a trip by name must be the trip that the same inputs give when they are put together by hand.
"""

import json
from pathlib import Path

import pytest

from sim import (
    list_routes,
    list_settings,
    list_trucks,
    load_route,
    load_settings,
    load_settings_file,
    load_truck,
    run_trip,
)
from sim.command.main import main
from sim.errors import HaulbenchError, SettingsError
from sim.inputs import usual
from sim.inputs.files import SETTINGS_CATALOGUE
from sim.inputs.one_trip import read_inputs

SHORT = "grade:-6%,1km,1100m"
SHIPPED = "mountain-careless"


pytestmark = pytest.mark.usefixtures("in_an_empty_folder")


def written(text: str, name: str = "class.toml") -> str:
    """A settings file in the folder of the test."""
    Path(name).write_text(text, encoding="utf-8")
    return name


def summary_of(capsys, *arguments: str) -> dict:
    """The summary the command prints, without what differs between equal runs."""
    assert main(["run", *arguments, "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    summary.pop("timing")
    return summary


def test_every_shipped_file_says_what_it_is_and_names_a_road_and_a_truck_that_are_there():
    assert SHIPPED in list_settings()
    for name in list_settings():
        file = load_settings_file(name)
        assert file.name == name
        assert 10 < len(file.title) < 120
        assert not file.road or file.road in list_routes() or load_route(file.road)
        assert not file.truck or file.truck in list_trucks()


def test_a_name_and_the_path_of_the_same_file_give_the_same_settings():
    path = str(SETTINGS_CATALOGUE / f"{SHIPPED}.toml")
    assert load_settings(SHIPPED) == load_settings(path)
    assert load_settings(SHIPPED) != load_settings()
    assert load_settings(SHIPPED).drill.careless and not load_settings(SHIPPED).retarding.switch
    back = ["drill.careless=false", "retarding.switch=true", "driver.speed_limit_share=1"]
    assert load_settings(SHIPPED, back) == load_settings()


def test_texts_above_the_tables_are_read_and_are_no_settings():
    file = load_settings_file(
        written('title = "Wet"\nroad = "ollen-pass"\ntruck = "long-haul-empty"\n[weather]\ngrip = 0.5\n')
    )
    assert (file.name, file.title, file.road, file.truck) == ("class", "Wet", "ollen-pass", "long-haul-empty")
    assert file.settings == load_settings(None, ["weather.grip=0.5"])
    plain = load_settings_file(written("[weather]\ngrip = 0.5\n", "plain.toml"))
    assert (plain.title, plain.road, plain.truck) == ("", "", "")
    assert plain.settings == file.settings


def test_without_a_road_the_settings_bring_road_and_truck_and_what_is_asked_for_wins():
    name = written(f'road = "{SHORT}"\ntruck = "long-haul-empty"\n')
    otherwise = ("ulmary-plain", "dump-three-axle")
    chosen = read_inputs(settings=name, otherwise=otherwise)
    assert (chosen.route.name, chosen.truck.name) == (SHORT, "long-haul-empty")
    chosen = read_inputs("ollen-pass", None, name, otherwise=otherwise)
    assert (chosen.route.name, chosen.truck.name) == ("ollen-pass", "long-haul-empty")
    chosen = read_inputs(None, "older-long-haul", name, otherwise=otherwise)
    assert (chosen.route.name, chosen.truck.name) == (SHORT, "older-long-haul")
    chosen = read_inputs(settings=written("", "empty.toml"), otherwise=otherwise)
    assert (chosen.route.name, chosen.truck.name) == otherwise


def test_the_command_drives_the_road_of_the_settings_with_their_truck(capsys):
    name = written(f'road = "{SHORT}"\ntruck = "long-haul-empty"\n[drill]\nstyle = "drag"\n')
    by_hand = run_trip("long-haul-empty", SHORT, load_settings(None, ["drill.style=drag"])).summary
    by_hand = json.loads(json.dumps({key: value for key, value in by_hand.items() if key != "timing"}))
    assert summary_of(capsys, "--settings", name) == by_hand
    other = summary_of(capsys, "grade:-3%,1km,1100m", "--settings", name, "--truck", "older-long-haul")
    assert other["truck"] == load_truck("older-long-haul").truck.name
    assert "-3 %" in other["route"]


def test_without_settings_the_road_and_truck_are_the_default_ones():
    chosen = read_inputs(otherwise=(usual.ROAD, usual.TRUCK))
    assert (chosen.route.name, chosen.truck.name) == (usual.ROAD, usual.TRUCK)


def test_files_beside_the_settings_are_found_from_anywhere():
    Path("lesson").mkdir()
    Path("lesson/hill.csv").write_text("distance_m,elevation_m\n0,100\n500,110\n", encoding="utf-8")
    Path("lesson/mine.toml").write_text('based_on = "long-haul-empty"\nname = "mine"\n', encoding="utf-8")
    name = written('road = "hill.csv"\ntruck = "mine.toml"\n', "lesson/class.toml")
    chosen = read_inputs(settings=name)
    assert chosen.route.length == 500.0
    assert chosen.truck.truck.name == "mine"


def test_list_shows_settings_in_a_block_of_their_own(capsys):
    assert main(["list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    block = lines[lines.index("Settings") + 1 :]
    assert [line.split()[0] for line in block] == list_settings()
    assert all(load_settings_file(line.split()[0]).title in line for line in block)


def test_a_road_that_is_asked_for_makes_that_of_the_file_no_matter():
    name = written("road = 'olen-pass'\n")
    assert read_inputs(SHORT, "long-haul-manual", name).route.name == SHORT
    with pytest.raises(HaulbenchError, match="olen-pass"):
        read_inputs(None, "long-haul-manual", name)


def test_a_wrong_change_to_the_truck_of_a_file_blames_the_change_and_not_the_file():
    name = written(f"road = '{SHORT}'\ntruck = 'long-haul-manual'\n")
    with pytest.raises(HaulbenchError) as caught:
        read_inputs(settings=name, changes=["vehicle.axles=50"])
    assert str(caught.value).startswith("vehicle.axles=50: ")


def test_without_any_road_python_is_told_so():
    with pytest.raises(SettingsError, match="no road is given"):
        read_inputs(None, "long-haul-manual")
    with pytest.raises(SettingsError, match="no truck is given"):
        read_inputs(SHORT)
