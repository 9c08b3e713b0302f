"""Bad input that no command line brings: odd moments of a file, a disk or a clock, and what Python alone is told.

What people do wrong at the command line stands in `tests/bad_input`.
"""

import errno
import io
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from sim import reading
from sim.command.folder import check_files, check_folder, write_files, write_folder
from sim.command.main import main
from sim.errors import HaulbenchError, RouteError, RunError, SettingsError, SpecError
from sim.inputs.files import load_settings, load_truck
from sim.march.assemble import parameters_of, tables_of
from sim.roads import track, track_file
from sim.roads.route import load_route, read_route
from sim.roads.track_file import read_track
from sim.trips.trip import check_together

ROOT = Path(__file__).resolve().parents[2]
SOUND_TRUCK = "long-haul-manual"
BASED = f'based_on = "{SOUND_TRUCK}"\n'
SOUND_ROAD = "distance_m,elevation_m\n0,100\n500,110\n1000,105\n"

# words of the libraries underneath, which mean nothing to the reader of a message
LIBRARY_WORDS = re.compile(
    r"Input should be|validation error|Value error|Field required|Extra inputs|pydantic|type=|input_value|ctx"
    r"|Traceback|<class|<built-in|NoneType|Errno|codec|Exception|object at 0x|datetime|recursion|set_int_max",
    re.IGNORECASE,
)


pytestmark = pytest.mark.usefixtures("in_an_empty_folder")


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


def test_what_the_rows_start_from_is_sound():
    Path("sound.toml").write_text(BASED, encoding="utf-8")
    truck = load_truck("sound.toml").truck
    assert truck == load_truck(SOUND_TRUCK).truck
    assert parameters_of(truck, load_settings(), 0.0)["mass"][0] == truck.vehicle.mass_kg
    Path("road.csv").write_text(SOUND_ROAD, encoding="utf-8")
    assert load_route("road.csv").length == 1000.0


# ---------------------------------------------------------------- trucks and settings that do not fit the model


def test_fuel_map_wider_than_the_model_can_hold():
    torques = [10 * place for place in range(300)]
    path = Path("mine.toml")
    rows = f"fuel_map_rpm = [600, 1800]\nfuel_map_torque_n_m = {torques}\nfuel_map_g_per_s = {[[1.0] * 300] * 2}\n"
    path.write_text(f"{BASED}[engine]\n{rows}", encoding="utf-8")
    message = message_of(lambda: tables_of(load_truck(str(path)).truck), SpecError)
    assert_holds(message, ("fuel_map_torque_n_m", "300", "256"))


def test_tick_longer_than_a_lag_of_the_truck():
    truck = load_truck(SOUND_TRUCK, ["driveline.clutch_open_s=0.02"]).truck
    settings = load_settings(None, ["simulation.tick_s=0.05"])
    message = message_of(lambda: check_together(truck, settings), SettingsError)
    assert_holds(message, ("simulation.tick_s is 0.05 s", "driveline.clutch_open_s", "0.02 s", "change one of them"))


def test_change_on_top_of_a_settings_file_is_named_and_not_the_file():
    path = Path("class.toml")
    path.write_text("[start]\nspeed_km_h = 60\n", encoding="utf-8")
    message = message_of(lambda: load_settings(str(path), ["driver.reaction_s=9"]), SettingsError)
    assert_holds(message, ("driver.reaction_s=9: ", "0.1 to 4 s"))
    assert "class.toml" not in message


# ---------------------------------------------------------------- tracks that only a patient person could make

TABLE = "distance_m,elevation_m\n" + "".join(f"{400 * n},{100 + n}\n" for n in range(30))
GPX = "<gpx><trk><trkseg>{}</trkseg></trk></gpx>".format(
    "".join(f'<trkpt lat="{46 + n / 1000}" lon="7"><ele>400</ele></trkpt>' for n in range(20))
)


def test_file_that_grows_while_it_is_read(monkeypatch):
    """A file of the size its kind may have, which has one piece more when it is read."""
    Path("mine.csv").write_bytes(b"x" * 4000)
    monkeypatch.setattr(reading, "PIECE", 1000)
    read, pieces = os.read, []

    def growing(handle, size):
        pieces.append(size)
        return read(handle, size) or (b"y" * size if len(pieces) < 9 else b"")

    monkeypatch.setattr(os, "read", growing)
    kind = reading.Kind("table", 4000)
    message = message_of(lambda: reading.read_bytes(Path("mine.csv"), kind, RouteError), RouteError)
    assert_holds(message, ("mine.csv: 5000 bytes", "a table may have 4000 at most"))
    assert len(pieces) == 5, "it is not read any further"


@pytest.mark.parametrize("problem", [errno.EACCES, errno.EIO])
@pytest.mark.parametrize("call", ["open", "read"])
def test_file_the_system_does_not_give(monkeypatch, call, problem):
    def refuse(*_: object) -> None:
        raise OSError(problem, os.strerror(problem))

    Path("mine.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.setattr(reading.os, call, refuse)
    message = message_of(lambda: read_track(Path("mine.csv")), RouteError)
    assert_holds(message, ("mine.csv: cannot be read", os.strerror(problem), "name another file"))


def test_what_is_typed_is_a_line_of_text_whatever_comes():
    typed = io.TextIOWrapper(io.BytesIO(b"drive cl\xffimb\n" + b"x" * 1_000_000), encoding="utf-8")
    assert reading.read_line(typed) == "drive cl\ufffdimb\n"
    assert reading.read_line(typed) == "x" * reading.LONGEST_LINE


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes by name here")
def test_a_pipe_is_refused_at_once_by_the_command_itself():
    os.mkfifo("mine.csv")
    command = [sys.executable, "-m", "haulbench", "run", "mine.csv"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2 and done.stderr.startswith("haulbench: mine.csv: is no ordinary file"), done.stderr


def test_a_file_with_a_mark_of_utf8_and_one_behind_a_link_are_files_like_any_other():
    Path("there.csv").write_bytes(b"\xef\xbb\xbf" + SOUND_ROAD.encode())
    Path("mine.csv").symlink_to("there.csv")
    Path("mine.toml").write_text("title = 'Straße'", encoding="utf-8-sig")
    assert (load_route("mine.csv").length, load_route("mine.csv").title) == (1000.0, "Straße")


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
    assert_holds(message, ("--out file/trip: file is a file", "name a folder of yours"))
    message = message_of(lambda: check_files("file/road", [".csv"], False), RouteError)
    assert_holds(message, ("--out file/road: file is a file", "name a folder of yours"))
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


@pytest.mark.parametrize("name", ["a\0b", "a\nb", "a\udc80b"])
def test_names_that_only_python_can_give(name):
    message = message_of(lambda: check_folder(name, False), RunError)
    assert_holds(message, ("--out", "control character", "plain path"))
    message = message_of(lambda: check_files(name, [".csv"], False), RouteError)
    assert_holds(message, ("--out", "control character", "plain path"))
    if name == "a\0b":
        message = message_of(lambda: read_track(Path(name)), RouteError)
        assert_holds(message, ("a\\x00b: no file can have this name", "name a GPX or CSV file"))


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
    monkeypatch.setattr("sim.roads.track.import_track", interrupted)
    assert main(["route", "mine.csv", "--out", "road"]) == 130
    assert capsys.readouterr().err == "haulbench: interrupted; nothing was written\n"
    assert [path.name for path in Path.cwd().iterdir()] == ["mine.csv"]


def test_all_errors_share_one_base():
    assert all(issubclass(error, HaulbenchError) for error in (SpecError, RouteError, SettingsError, RunError))


def test_a_refused_file_is_left_as_it_was():
    path = Path("mine.csv")
    path.write_text("distance_m,elevation_m\n0,1\n", encoding="utf-8")
    message_of(lambda: read_route(path), RouteError)
    assert [item.name for item in Path.cwd().iterdir()] == ["mine.csv"]
    assert path.read_text(encoding="utf-8") == "distance_m,elevation_m\n0,1\n"
