"""A road from a recorded track: what noise, gaps and slips of a recording leave of it, and messages for what is no track.

Made-up tracks have a known truth (`made_tracks`), and the road is held against that.
"""

import errno
import os
import re
import stat
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import made_tracks
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from made_tracks import Made, made
from test_bad_input import assert_holds

from sim import import_track, load_route, load_settings, load_truck, run_trip
from sim.command.main import main
from sim.errors import RouteError
from sim.roads import track_file as track_file_module
from sim.roads.track import BRIDGED_GAP, ImportedTrack, leg_lengths, smoothed_heights
from sim.roads.track_picture import track_picture

FILES = ("csv", "toml", "svg")


pytestmark = pytest.mark.usefixtures("in_an_empty_folder")


# ---------------------------------------------------------------- made-up roads


def flat(along: np.ndarray) -> np.ndarray:
    return np.full_like(along, 120.0)


def rolling(along: np.ndarray) -> np.ndarray:
    return 300.0 + 40.0 * np.sin(2 * np.pi * along / 4000.0) + 12.0 * np.sin(2 * np.pi * along / 1500.0 + 1.0)


def mountain(along: np.ndarray) -> np.ndarray:
    return 400.0 + 350.0 * np.sin(np.pi * along / along[-1]) ** 2


def hill(along: np.ndarray) -> np.ndarray:
    """Level, 600 m up at 8 %, level."""
    return 100.0 + 0.08 * np.clip(along - 2000.0, 0.0, 600.0)


def steady(along: np.ndarray) -> np.ndarray:
    return 200.0 + 0.05 * along


def error_of(track: ImportedTrack, recording: Made) -> np.ndarray:
    """Difference between the road and the truth at the recorded points, distances scaled to the same length."""
    place = recording.along / recording.along[-1] * track.length
    return np.interp(place, track.distance, track.elevation) - recording.truth


# ---------------------------------------------------------------- lengths


def test_legs_agree_with_a_geodesic_library():
    """Karney's series (geographiclib) solves the same legs another way; up to the widest gap, at every latitude."""
    noise = np.random.default_rng(3)
    worst = 0.0
    for _ in range(400):
        latitude, longitude = noise.uniform(-89.0, 89.0), noise.uniform(-180.0, 180.0)
        ahead = Geodesic.WGS84.Direct(latitude, longitude, noise.uniform(0.0, 360.0), 10.0 ** noise.uniform(0.0, 3.7))
        ours = leg_lengths(np.array([latitude, ahead["lat2"]]), np.array([longitude, ahead["lon2"]]))
        worst = max(worst, abs(float(ours[0]) - ahead["s12"]))
    assert worst < 1e-3


def test_quarter_of_a_meridian():
    """10 001 965.729 m: H. Moritz, Geodetic Reference System 1980, derived constants (from memory); WGS 84 differs by 0.1 mm."""
    latitude = np.linspace(0.0, 90.0, 9001)
    assert leg_lengths(latitude, np.zeros(9001)).sum() == pytest.approx(10_001_965.729, abs=0.01)


def test_leg_over_the_date_line_is_that_of_any_other_meridian():
    latitude = np.array([-17.0, -17.01])
    over = leg_lengths(latitude, np.array([179.99, -179.99]))
    assert over == pytest.approx(leg_lengths(latitude, np.array([10.0, 10.02])), abs=1e-6)


def test_smoother_averages_as_much_noise_as_a_mean_over_its_length():
    """Silverman's equivalent kernel (Annals of Statistics 12, 1984): its square integrates to 3 / (8 sqrt 2)."""
    u = np.linspace(-60.0, 60.0, 240_001)
    kernel = 0.5 * np.exp(-np.abs(u) / np.sqrt(2)) * np.sin(np.abs(u) / np.sqrt(2) + np.pi / 4)
    assert np.trapezoid(kernel, u) == pytest.approx(1.0, abs=1e-6)
    assert np.trapezoid(kernel**2, u) == pytest.approx(3.0 / (8.0 * np.sqrt(2)), abs=1e-6)


# ---------------------------------------------------------------- truth and noise

NOISE = [
    # spacing, height noise, position noise, height step, all in m
    (5.0, 2.0, 1.0, 0.0),
    (12.0, 1.5, 1.0, 0.0),
    (15.0, 2.0, 1.5, 0.0),
    (15.0, 1.0, 1.0, 1.0),
    (40.0, 1.0, 2.0, 0.0),
    (80.0, 0.0, 2.0, 1.0),
]


@pytest.mark.parametrize(("spacing", "height_noise", "position_noise", "step"), NOISE)
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(("profile", "length"), [(rolling, 24_000.0), (mountain, 20_000.0)])
def test_true_climb_comes_back(profile, length, seed, spacing, height_noise, position_noise, step):
    recording = made(profile, length, spacing, height_noise, position_noise, step, seed)
    track = import_track(recording.write())
    error = error_of(track, recording)
    assert track.climb == pytest.approx(recording.climb, rel=0.05)
    assert np.sqrt(np.mean(error**2)) < 2.0
    assert np.abs(error).max() < 5.0
    assert track.length == pytest.approx(length, rel=0.02)
    assert track.jumps == ()


@pytest.mark.parametrize(("spacing", "height_noise", "position_noise", "step"), NOISE)
@pytest.mark.parametrize("seed", [1, 2])
def test_hill_of_600_m_keeps_its_grade(seed, spacing, height_noise, position_noise, step):
    recording = made(hill, 5000.0, spacing, height_noise, position_noise, step, seed)
    track = import_track(recording.write())
    assert 100 * track.grade.max() == pytest.approx(8.0, abs=1.0)
    assert track.elevation[-1] - track.elevation[0] == pytest.approx(48.0, abs=2.0)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_noise_on_a_flat_road_is_no_climb(seed):
    recording = made(flat, 20_000.0, 10.0, 1.5, 1.0, 0.0, seed)
    track = import_track(recording.write())
    assert track.raw_climb > 500.0
    assert track.climb < 10.0
    assert np.abs(100 * track.grade).max() < 2.0


def test_steps_of_a_metre_make_no_saw_tooth():
    recording = made(lambda along: 100.0 + 0.01 * along, 6000.0, 12.0, step=1.0)
    track = import_track(recording.write())
    assert track.grade.min() > 0.004
    assert track.grade.max() < 0.016


def test_steady_grade_passes_unchanged_to_both_ends():
    track = import_track(made(steady, 3000.0).write())
    assert track.grade == pytest.approx(0.05 / np.sqrt(1 - 0.05**2), abs=2e-4)


@pytest.mark.parametrize("kilometres", [3, 10, 25, 60])
def test_length_of_a_clean_track_runs_along_the_slope(kilometres):
    recording = made(rolling, 1000.0 * kilometres, 20.0)
    track = import_track(recording.write())
    assert track.length == pytest.approx(recording.along[-1], rel=1.5e-3)
    assert track.distance[0] == 0.0
    assert np.all(np.diff(track.distance)[:-1] == 25.0)


def test_longer_smoothing_takes_more_away():
    along = np.arange(0.0, 8001.0, 20.0)
    heights = 300.0 + 5.0 * np.sin(2 * np.pi * along / 600.0)
    left = [np.ptp(smoothed_heights(along, heights, smooth)[1][200:-200]) for smooth in (50.0, 200.0, 400.0)]
    assert 9.5 < left[0] <= 10.0
    assert left[0] > left[1] > 6.0
    assert left[2] < left[1] / 2.0


# ---------------------------------------------------------------- slips of a recording


def test_standing_at_a_light_adds_no_road():
    recording = made(steady, 4000.0, 12.0)
    noise = np.random.default_rng(5)
    stand, count = 160, 300
    wander = np.cumsum(noise.normal(0.0, 0.5, (2, count)), axis=1)
    wander = 4.0 * wander / np.abs(wander).max() + noise.normal(0.0, 1.5, (2, count))
    plain = import_track(recording.write("plain.gpx"))
    for name, extra in (("latitude", wander[0] / 111_000.0), ("longitude", wander[1] / 77_000.0)):
        values = getattr(recording, name)
        setattr(recording, name, np.insert(values, stand, values[stand] + extra))
    recording.height = np.insert(recording.height, stand, recording.height[stand] + noise.normal(0.0, 1.0, count))
    track = import_track(recording.write())
    assert track.points_read == len(plain.raw_distance) + count
    assert track.dropped["merged with close neighbours"] > 200
    assert track.length == pytest.approx(plain.length, abs=30.0)
    assert track.climb == pytest.approx(plain.climb, abs=2.0)


def test_repeated_points_are_dropped():
    recording = made(rolling, 4000.0, 20.0)
    plain = import_track(recording.write("plain.gpx"))
    for name in ("latitude", "longitude", "height"):
        setattr(recording, name, np.repeat(getattr(recording, name), 3))
    track = import_track(recording.write())
    assert track.dropped == {"repeated": 2 * len(plain.raw_distance)}
    assert track.csv() == plain.csv()


def test_position_that_jumps_away_and_back_is_dropped():
    recording = made(rolling, 6000.0, 12.0)
    plain = import_track(recording.write("plain.gpx"))
    recording.latitude[100] += 0.01
    recording.longitude[300:303] -= 0.02
    track = import_track(recording.write())
    assert track.dropped["position jumped away and back"] == 4
    assert track.length == pytest.approx(plain.length, abs=2.0)


def test_there_and_back_keeps_both_ways():
    recording = made(rolling, 3000.0, 12.0)
    for name in ("latitude", "longitude", "height"):
        values = getattr(recording, name)
        setattr(recording, name, np.concatenate([values, values[::-1]]))
    track = import_track(recording.write())
    assert track.length == pytest.approx(6000.0, abs=100.0)
    assert track.elevation[0] == pytest.approx(track.elevation[-1], abs=1.0)


@pytest.mark.parametrize(
    ("value", "reason"),
    [(np.nan, "missing"), (0.0, "0 for missing"), (-9999.0, "out of range"), (32768.0, "out of range")],
)
def test_heights_that_are_none_are_interpolated(value, reason):
    recording = made(rolling, 6000.0, 12.0)
    recording.height[:3] = value
    recording.height[100:110] = value
    recording.height[300] = value
    track = import_track(recording.write())
    assert sum(track.heights_filled.values()) == track.heights_filled[reason] == 14
    assert np.abs(error_of(track, recording)).max() < 3.0


def test_road_down_to_the_sea_keeps_its_zeros():
    recording = made(lambda along: np.maximum(30.0 - 0.02 * along, 0.0), 3000.0, 20.0, step=1.0)
    assert np.sum(recording.height == 0.0) > 50
    track = import_track(recording.write())
    assert track.heights_filled == {}
    assert track.elevation[-1] == pytest.approx(0.0, abs=0.5)


def test_spikes_of_height_are_interpolated():
    recording = made(rolling, 6000.0, 12.0, height_noise=0.5)
    recording.height[[50, 200, 201, 350]] += [60.0, -45.0, -45.0, 25.0]
    track = import_track(recording.write())
    assert track.heights_filled == {"spike": 4}
    assert np.abs(error_of(track, recording)).max() < 3.0


def test_step_of_the_height_sensor_is_told():
    recording = made(flat, 6000.0, 12.0)
    recording.height[250:] += 15.0
    track = import_track(recording.write())
    assert [round(jump.length) for jump in track.jumps] == [15]
    assert track.jumps[0].start == pytest.approx(249 * 12.0, abs=15.0)
    assert track.elevation[-1] - track.elevation[0] == pytest.approx(15.0, abs=0.2)
    assert track.climb == pytest.approx(15.0, abs=1.0)


def test_pieces_are_joined_and_a_gap_is_bridged_straight():
    recording = made(rolling, 12_000.0, 12.0)
    hole = (recording.along > 4000.0) & (recording.along < 4900.0)
    short = (recording.along > 9000.0) & (recording.along < 9300.0)
    cut = int(np.argmax(hole))
    track = import_track(recording.without(hole | short).write(pieces=(cut, cut + 200)))
    assert track.pieces == 3
    assert len(track.gaps) == 1
    assert track.gaps[0].length == pytest.approx(900.0, abs=30.0)
    assert track.gaps[0].length > BRIDGED_GAP
    assert track.gaps[0].start == pytest.approx(4000.0, abs=20.0)
    first, last = track.gaps[0].start, track.gaps[0].start + track.gaps[0].length
    middle = (track.distance > first + 250.0) & (track.distance < last - 250.0)
    assert middle.sum() > 10
    assert np.ptp(track.grade[middle]) < 0.01
    assert "bridged straight" in track_picture(track)


def test_steeper_than_roads_is_bound_and_the_height_kept():
    recording = made(lambda along: 100.0 + 0.3 * np.clip(along - 1500.0, 0.0, 300.0), 4000.0, 12.0)
    track = import_track(recording.write(), smooth=50.0, every=10.0)
    assert track.grade.max() == pytest.approx(0.20, abs=1e-4)
    assert len(track.bound) == 1
    assert track.bound[0].start == pytest.approx(1500.0, abs=60.0)
    assert track.elevation[-1] - track.elevation[0] == pytest.approx(90.0, abs=1.0)


def test_waypoints_become_signs_where_they_are_near():
    recording = made(rolling, 5000.0, 20.0)
    near, far = 120, 200
    more = (
        f'<wpt lat="{recording.latitude[near] + 0.0002:.7f}" lon="{recording.longitude[near]:.7f}"><name>steep, '
        '"low gear" &amp; care</name></wpt>'
        f'<wpt lat="{recording.latitude[far] + 0.01:.7f}" lon="{recording.longitude[far]:.7f}"><name>elsewhere</name></wpt>'
        f'<wpt lat="{recording.latitude[far]:.7f}" lon="{recording.longitude[far]:.7f}"></wpt>'
    )
    track = import_track(recording.write(more=more))
    assert [text for _, text in track.signs] == ['steep, "low gear" & care']
    assert track.signs[0][0] == pytest.approx(near * 20.0, abs=25.0)
    assert track.waypoints_left == 1
    Path("road.csv").write_text(track.csv(), encoding="utf-8")
    assert [sign.text for sign in load_route("road.csv").signs] == ['steep, "low gear" & care']


def test_route_is_taken_when_there_is_no_track():
    text = made(rolling, 5000.0, 60.0).write().read_text(encoding="utf-8")
    plain = import_track("made.gpx")
    for old, new in (("<trkseg>", ""), ("</trkseg>", ""), ("trkpt", "rtept"), ("trk>", "rte>")):
        text = text.replace(old, new)
    Path("route.gpx").write_text(text, encoding="utf-8")
    track = import_track("route.gpx")
    assert "GPX route" in track.source
    assert track.csv() == plain.csv()


def test_times_that_run_backwards_or_are_none_do_not_matter():
    path = made(rolling, 4000.0).write()
    plain = import_track(path).csv()
    times = iter(["<time>2020-01-02T00:00:00Z</time>", "<time>1999-01-02T00:00:00Z</time>", "<time>noon</time>"] * 999)
    text = re.sub("</trkpt>", lambda _: next(times) + "</trkpt>", path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    assert import_track(path).csv() == plain


def test_track_over_the_date_line_is_a_track_like_any_other():
    here = made(rolling, 8000.0, 20.0, start=(-17.0, 40.0))
    there = made(rolling, 8000.0, 20.0, start=(-17.0, 179.999))
    assert there.longitude.min() < -179.0 < 179.0 < there.longitude.max()
    one, other = import_track(here.write()), import_track(there.write("over.gpx"))
    assert one.length == pytest.approx(other.length, abs=0.3)
    assert one.climb == pytest.approx(other.climb, abs=0.2)


ENCODED = [
    ("utf-8", "utf-8", "Säntis"),
    ("utf-8-sig", "UTF-8", "Säntis"),
    ("latin-1", "ISO-8859-1", "Säntis"),
    ("cp1252", "windows-1252", "Säntis"),
    ("utf-16", "UTF-16", "Săntis"),
    ("utf-16-le", "UTF-16", "Săntis"),
]


@pytest.mark.parametrize(("codec", "declared", "name"), ENCODED, ids=[row[0] for row in ENCODED])
def test_encoding_that_is_declared_is_read(codec, declared, name):
    body = made(rolling, 3000.0, 20.0).write().read_text(encoding="utf-8").replace("made up", name)
    Path("coded.gpx").write_bytes(f'<?xml version="1.0" encoding="{declared}"?>\n{body}'.encode(codec))
    assert name in import_track("coded.gpx").title


def test_elements_with_a_prefix_are_read():
    text = made(rolling, 3000.0, 20.0).write().read_text(encoding="utf-8")
    plain = import_track("made.gpx")
    text = re.sub(r"<(/?)(gpx|trk|trkseg|trkpt|ele|name)\b", r"<\1g:\2", text).replace(" xmlns=", " xmlns:g=")
    Path("prefixed.gpx").write_text(text, encoding="utf-8")
    assert import_track("prefixed.gpx").csv() == plain.csv()


def test_file_without_ending_is_known_by_its_content():
    recording = made(rolling, 3000.0, 20.0)
    plain = import_track(recording.write())
    assert import_track(recording.write("track")).csv() == plain.csv()
    rows = "\n".join(f"{a:.1f},{h:.2f}" for a, h in zip(recording.along, recording.height, strict=True))
    Path("table.txt").write_text(f"distance_m,elevation_m\n{rows}\n", encoding="utf-8")
    assert import_track("table.txt").length == pytest.approx(3000.0, abs=0.1)


def test_table_of_distance_and_elevation():
    recording = made(rolling, 12_000.0, 15.0, height_noise=1.5)
    recording.height[60:70] = np.nan
    cells = ("" if np.isnan(height) else f"{height:.2f}" for height in recording.height)
    rows = [f"{at / 1000 + 2:.4f},{cell}," for at, cell in zip(recording.along, cells, strict=True)]
    rows[200] += "low gear"
    Path("table.csv").write_text("distance_km,elevation_m,sign\n" + "\n".join(rows) + "\n", encoding="utf-8")
    track = import_track("table.csv")
    assert track.length == pytest.approx(12_000.0, abs=0.1)
    assert track.climb == pytest.approx(recording.climb, rel=0.05)
    assert track.heights_filled == {"missing": 10}
    assert track.signs[0][0] == pytest.approx(3000.0, abs=1.0)
    assert np.sqrt(np.mean(error_of(track, recording) ** 2)) < 2.0


# ---------------------------------------------------------------- a drive with everything a recording brings along


def bridged_length() -> float:
    """Length of the recorded road, the lost part of its bend cut straight: a chord is 2 R sin(arc / 2 R). [m]"""
    lost, radius = made_tracks.GAP[1] - made_tracks.GAP[0], 600.0
    return made_tracks.RECORDED_LENGTH - lost + 2.0 * radius * np.sin(lost / (2.0 * radius))


def test_recorded_drive_gives_the_road_it_was_driven_on(recording):
    """Everything is held against the road that the drive was made of; the chord of the gap is worked out above."""
    track = import_track(recording)
    assert track.pieces == 2 and track.bound == () and track.jumps == ()
    assert track.dropped["position jumped away and back"] == 1
    assert track.dropped["merged with close neighbours"] > made_tracks.STANDING  # the stop is no road
    assert track.length == pytest.approx(bridged_length(), rel=0.003)
    (gap,) = track.gaps
    assert (gap.start, gap.length) == pytest.approx((made_tracks.GAP[0], 661.0), abs=2 * made_tracks.SPEED + 10.0)
    assert track.climb == pytest.approx(made_tracks.recorded_climb(), rel=0.02) and track.climb < track.raw_climb


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_grades_and_heights_of_a_recorded_drive_are_those_of_its_road(seed):
    """Where the rise is steady the grade comes back within 0.3 points; heights within the drift of the barometer and 2 m."""
    drive = made_tracks.recorded(seed)
    track = import_track(drive.write())
    distance = track.distance * made_tracks.RECORDED_LENGTH / track.length
    for (start, rise), (end, same) in pairwise(made_tracks.RISE):
        inside = (distance > start + 250.0) & (distance < end - 250.0)
        if rise == same and inside.any():
            grade = rise / np.sqrt(1.0 - rise**2)
            assert np.mean(track.grade[inside]) == pytest.approx(grade, abs=0.003), f"{start:g} m"
    drift = made_tracks.DRIFT * len(drive.along)
    error = np.interp(drive.along, distance, track.elevation) - drive.truth
    assert error.max() < drift + 2.0 and error.min() > -2.0


def test_same_track_gives_the_same_bytes(recording):
    first, second = import_track(recording), import_track(recording)
    assert first.csv() == second.csv()
    assert first.toml() == second.toml()
    assert track_picture(first) == track_picture(second)


@pytest.mark.parametrize("every", [10.0, 25.0, 50.0])
def test_road_file_gives_back_the_smoothed_heights(recording, every):
    track = import_track(recording, every=every, limit=80 / 3.6)
    Path("road.csv").write_text(track.csv(), encoding="utf-8")
    Path("road.toml").write_text(track.toml(), encoding="utf-8")
    road = load_route("road.csv")
    assert road.length == pytest.approx(track.length, abs=0.05)
    assert np.abs(road.elevation - track.elevation).max() < 0.01
    fine = import_track(recording, every=5.0)
    assert np.abs(np.interp(fine.distance, road.distance, road.elevation) - fine.elevation).max() < 0.5
    assert road.elevation[-1] == pytest.approx(fine.elevation[-1], abs=0.1)
    assert road.limit_at(12_000.0) == pytest.approx(80 / 3.6)
    assert road.title == track.title and "smoothed over 200 m" in road.source
    assert "smoothed over 200 m" in road.marks["grade_percent"]
    assert road.climb == pytest.approx(track.climb, abs=0.5)


def test_truck_arrives_over_an_imported_road(capsys, recording):
    assert main(["route", str(recording), "--out", "drive", "--limit", "80km/h"]) == 0
    capsys.readouterr()
    result = run_trip(load_truck("long-haul-manual").truck, load_route("drive.csv"), load_settings())
    summary = result.summary
    assert summary["ended"] == "arrived"
    assert summary["distance_m"] == pytest.approx(bridged_length(), rel=0.003)
    assert abs(summary["energy"]["residual_fraction"]) < 1e-3
    assert summary["max_speed_m_s"] < 100 / 3.6


def test_five_thousand_points_take_well_below_a_second():
    path = made(rolling, 60_000.0, 12.0, 1.0, 1.0).write()
    import_track(path)
    started = time.process_time()
    track = import_track(path)
    track_picture(track)
    took = time.process_time() - started
    assert track.points_read == 5001
    assert took < 2.0  # about 0.6 s of one core; the bound leaves room for a slower machine


# ---------------------------------------------------------------- the command


def call(capsys, *arguments: str) -> tuple[int, str, str]:
    """Runs `haulbench route` in this process."""
    code = main(["route", *arguments])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_command_says_what_it_did(capsys):
    recording = made(rolling, 9000.0, 12.0, 1.0)
    recording.latitude[200] += 0.01
    recording.height[10:15] = np.nan
    hole = (recording.along > 5000.0) & (recording.along < 5700.0)
    recording.without(hole).write()
    code, out, err = call(capsys, "made.gpx", "--out", "road")
    assert (code, err) == (0, "")
    for fragment in (
        "made up", f"{np.sum(~hole)} read", "1 position jumped away and back", "missing",
        "km", "as recorded", "smoothed", "steepest", "furthest from recorded", "bridged straight",
        "none: the driver goes by bends",
        "road.csv, road.toml, road.svg", "haulbench run road.csv",
    ):  # fmt: skip
        assert fragment in out
    assert sorted(path.name for path in Path.cwd().iterdir()) == ["made.gpx", *sorted(f"road.{end}" for end in FILES)]
    assert load_route("road.csv").limits == ()


@pytest.mark.parametrize(
    ("units", "has", "lacks"), [("us", " mi", " km"), ("metric", " km", " mi"), ("both", " mi", None)]
)
def test_units_people_read(capsys, units, has, lacks):
    made(rolling, 3000.0).write()
    _, out, _ = call(capsys, "made.gpx", "--out", "road", "--units", units)
    line = next(line for line in out.splitlines() if line.startswith("  length"))
    assert has in line
    assert lacks is None or lacks not in line


def test_creator_of_the_file_is_not_told(capsys, recording):
    assert b'creator="a recorder"' in recording.read_bytes()
    _, out, _ = call(capsys, str(recording), "--out", "road")
    written = "".join(Path(f"road.{ending}").read_text(encoding="utf-8") for ending in FILES)
    assert "creator" not in out + written
    assert "a recorder" not in out + written


def test_picture_is_a_drawing_with_titled_axes(recording):
    track = import_track(recording)
    root = ElementTree.fromstring(track_picture(track))
    space = "{http://www.w3.org/2000/svg}"
    texts = [element.text for element in root.iter(f"{space}text")]
    assert {"height, m", "grade, %", "distance along the road, km", track.title} <= set(texts)
    lines = list(root.iter(f"{space}polyline"))
    assert len(lines) == 3
    widths = [float(line.get("stroke-width", "0")) for line in lines]
    assert widths[0] > 2 * widths[1]
    for line in lines:
        points = np.array([pair.split(",") for pair in (line.get("points") or "").split()], dtype=float)
        assert len(points) > 300
        assert points.min() > 0.0 and points[:, 0].max() <= 1000.0 and points[:, 1].max() <= 600.0


def test_force_replaces_all_three(capsys):
    made(rolling, 3000.0).write()
    for ending in FILES:
        Path(f"road.{ending}").write_text("old", encoding="utf-8")
    code, _, err = call(capsys, "made.gpx", "--out", "road.csv", "--force")
    assert (code, err) == (0, "")
    assert all(Path(f"road.{ending}").read_text(encoding="utf-8") != "old" for ending in FILES)
    assert load_route("road.csv").length == pytest.approx(3000.0, abs=30.0)


# ---------------------------------------------------------------- bad input

GPX = '<gpx version="1.1"><trk><trkseg>{}</trkseg></trk></gpx>'
POINTS = "".join(f'<trkpt lat="{46 + n / 1000}" lon="7"><ele>{400 + n}</ele></trkpt>' for n in range(20))
SOUND = GPX.format(POINTS)


def refusal(capsys, *arguments: str, seconds: float = 3.0) -> str:
    """The one message of a refusal; nothing is printed or left behind beside what was there."""
    before = sorted(path.name for path in Path.cwd().iterdir())
    started = time.perf_counter()
    code, out, err = call(capsys, *arguments)
    assert time.perf_counter() - started < seconds
    assert code == 2
    assert out == ""
    assert err.count("haulbench:") == 1 and err.startswith("haulbench: ")
    assert len(err.strip().splitlines()) == 1, err
    assert len(err) < 600, err
    assert not re.search(r"Traceback|Error\b|Errno|<class|gpxpy|codec|object at", err), err
    assert sorted(path.name for path in Path.cwd().iterdir()) == before
    return err


def test_what_the_bad_files_start_from_is_sound(capsys):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    assert call(capsys, "a.gpx", "--out", "road")[0] == 0


@pytest.mark.parametrize("ending", FILES)
def test_file_that_is_there_is_not_replaced(capsys, ending):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    Path(f"road.{ending}").write_text("mine", encoding="utf-8")
    message = refusal(capsys, "a.gpx", "--out", "road")
    assert_holds(message, (f"road.{ending} is there already", "--force"))
    assert Path(f"road.{ending}").read_text(encoding="utf-8") == "mine"


def test_too_many_points(capsys, monkeypatch):
    monkeypatch.setattr(track_file_module, "MOST_POINTS", 10)
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    assert_holds(refusal(capsys, "a.gpx", "--out", "road"), ("20 points", "10 at most"))


def test_laughs_in_an_element_name_do_not_take_long(capsys):
    Path("a.gpx").write_text(" xmlns" * 500_000 + SOUND, encoding="utf-8")
    assert_holds(refusal(capsys, "a.gpx", "--out", "road"), ("namespaces",))


def test_elements_nested_very_deep(capsys):
    deep = "<extensions>" + "<a>" * 50_000 + "</a>" * 50_000 + "</extensions>"
    Path("a.gpx").write_text(SOUND.replace("<trk>", f"{deep}<trk>"), encoding="utf-8")
    code, _, err = call(capsys, "a.gpx", "--out", "road")
    assert (code == 0 and err == "") or (code == 2 and "cannot be understood" in err)


def as_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


@pytest.mark.skipif(as_root(), reason="root may read and write everything")
def test_file_that_may_not_be_read(capsys):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    Path("a.gpx").chmod(0)
    assert_holds(refusal(capsys, "a.gpx", "--out", "road"), ("a.gpx: cannot be read",))


@pytest.mark.skipif(as_root(), reason="root may read and write everything")
def test_folder_that_may_not_be_written(capsys):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    Path("locked").mkdir(mode=0o500)
    assert_holds(refusal(capsys, "a.gpx", "--out", "locked/road"), ("cannot be written", "a folder of yours"))


@pytest.mark.parametrize("force", [False, True])
def test_full_disk_leaves_nothing_behind(capsys, monkeypatch, force):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    if force:
        Path("road.csv").write_text("mine", encoding="utf-8")
    fsync, count = os.fsync, iter(range(9))

    def kept(handle: int) -> None:
        if stat.S_ISREG(os.fstat(handle).st_mode) and next(count) == 1:  # the first file fits, the second does not
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        fsync(handle)

    monkeypatch.setattr("sim.writing.os.fsync", kept)
    message = refusal(capsys, "a.gpx", "--out", "road", *(["--force"] if force else []))
    assert_holds(message, ("--out road: cannot be written", os.strerror(errno.ENOSPC), "nothing was written"))
    assert not force or Path("road.csv").read_text(encoding="utf-8") == "mine"


def test_failing_at_the_last_file_puts_the_others_back(capsys, monkeypatch):
    Path("a.gpx").write_text(SOUND, encoding="utf-8")
    Path("road.csv").write_text("mine", encoding="utf-8")
    replace = os.replace

    def replaced(source: Path, target: Path) -> None:
        if str(target) == "road.svg":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        replace(source, target)

    monkeypatch.setattr("sim.command.folder.os.replace", replaced)
    assert_holds(refusal(capsys, "a.gpx", "--out", "road", "--force"), ("cannot be written", "nothing was written"))
    assert Path("road.csv").read_text(encoding="utf-8") == "mine"


# ---------------------------------------------------------------- a file that is at hand and on no disk


def test_content_at_hand_gives_the_road_of_the_file_and_touches_no_disk(recording, monkeypatch):
    from_file = import_track(recording)
    content = recording.read_bytes()

    def refuse(*_, **__):
        raise AssertionError("the disk is touched")

    monkeypatch.setattr("builtins.open", refuse)
    monkeypatch.setattr(Path, "stat", refuse)
    at_hand = import_track(recording.name, content=content)
    assert (at_hand.csv(), at_hand.toml()) == (from_file.csv(), from_file.toml())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "up.gpx: is empty"),
        (b"<!DOCTYPE gpx [<!ENTITY a 'b'>]><gpx></gpx>", "up.gpx line 1: declares a DOCTYPE"),
        (b"\x89PNG\r\n\x1a\n", "up.gpx: is not a text file"),
    ],
)
def test_content_at_hand_is_refused_like_a_file(content, words):
    with pytest.raises(RouteError, match=re.escape(words)):
        import_track("up.gpx", content=content)


def test_content_that_is_too_long_is_refused():
    with pytest.raises(RouteError, match=r"up.gpx: 64000001 bytes; a GPX or CSV file may have 64000000 at most"):
        import_track("up.gpx", content=b"<gpx>" + b" " * (64_000_001 - 5))


def test_a_road_made_in_memory_is_the_road_of_its_two_files(recording):
    track = import_track(recording, limit=20.0)
    Path("drive.csv").write_text(track.csv(), encoding="utf-8", newline="\n")
    Path("drive.toml").write_text(track.toml(), encoding="utf-8", newline="\n")
    written, made_here = load_route("drive.csv"), track.route("drive")
    for column in ("distance", "grade", "slope", "wind"):
        assert np.array_equal(getattr(written, column), getattr(made_here, column))
    for key in ("name", "title", "start_elevation", "limits", "stops", "signs", "curves", "source", "marks"):
        assert getattr(written, key) == getattr(made_here, key), key


def test_a_title_with_quotes_and_brackets_stays_a_title():
    track = import_track("a.csv", content=b"distance_m,elevation_m\n0,100\n500,101\n1000,100\n")
    named = replace(track, title='"] = \\ <b>\n[marks]')
    assert named.route("a").title == '"] = \\ <b>\n[marks]'
