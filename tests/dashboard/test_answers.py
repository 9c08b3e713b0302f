"""What the Trip page is sent: few bytes, whole shape. The packing is read back here by other means than the page's own."""

import gzip
import json
import math
import struct

import numpy as np
import pytest

from dashboard.paper import palette
from dashboard.server.packing import si_name
from dashboard.server.thinning import common_rows, event_rows
from dashboard.trip.strips import columns_of, lamps_of, strips_of
from dashboard.trip.work import FINENESS, JUMPS, MORE, MOST_ROWS, PREDICTED, SHAPES, foretold, packed
from sim import load_settings, load_truck
from sim.charts.control_speed import control_chart
from sim.charts.truck_at import truck_at
from sim.inputs.one_trip import read_inputs
from sim.march.records import LOG
from sim.units import SYSTEMS, key_to_si, to_si
from sim.wording import said

MOST_BYTES = 250_000  # of a change on a 100 km road, compressed


def opened(data: bytes):
    """Head and columns, read with struct from the four planes of bytes."""
    raw = gzip.decompress(data)
    (length,) = struct.unpack_from("<I", raw)
    head = json.loads(raw[4 : 4 + length])
    at, columns = 4 + length, {}
    assert at % 4 == 0
    for name, count in head["columns"]:
        planes = [raw[at + plane * count : at + (plane + 1) * count] for plane in range(4)]
        columns[name] = np.array([struct.unpack("<f", bytes(four))[0] for four in zip(*planes, strict=True)])
        at += 4 * count
    assert at == len(raw)
    return head, columns


@pytest.fixture(scope="module")
def round_trip(trip):
    return trip("long-haul-manual", "kessarin-round", "driver.descent_gear=7", "cruise.set_speed_km_h=70")


@pytest.fixture(scope="module")
def sent(round_trip):
    return opened(packed(round_trip, "address"))


def test_a_change_on_a_hundred_kilometres_is_small_on_the_wire(round_trip, trip):
    assert round_trip.route.length > 97_000
    town = trip("long-haul-automated", "kessarin-round", "retarding.selector=1", "driver.speed_limit_share=1.2")
    for result in (round_trip, town):
        assert 10_000 < len(packed(result, "")) <= MOST_BYTES


def test_the_worst_trace_there_can_be_is_small_on_the_wire_too(round_trip, monkeypatch):
    """Every column noise, every row an event: the thinning alone must hold the bytes down."""
    chance = np.random.default_rng(5)
    noisy = dict.fromkeys(round_trip.trace)
    rows = len(round_trip.trace["time_s"])
    for name in noisy:
        noisy[name] = np.cumsum(chance.normal(size=rows)) * 0.3
    noisy["time_s"] = np.arange(rows) * 0.5
    chosen = common_rows(noisy, ["speed_m_s", "elevation_m", "fuel_rate_g_s"], ["gear"], np.arange(rows), MOST_ROWS)
    assert len(chosen) <= 2.5 * MOST_ROWS
    assert chosen[0] == 0 and chosen[-1] == rows - 1 and (np.diff(chosen) > 0).all()


def test_all_columns_share_one_index_and_each_point_is_a_row_of_the_trace(round_trip, sent):
    head, columns = sent
    trace = round_trip.trace
    length = len(columns["time"])
    rows = common_rows(trace, SHAPES, JUMPS, event_rows(round_trip), MOST_ROWS)
    for column in LOG:
        name, logged = si_name(column.name), key_to_si(trace[column.name][rows], column.name)
        if name not in columns:
            continue
        assert len(columns[name]) == length, name
        fineness = FINENESS.get(name, 2**-4 if "temperature" in name else 0.0)
        assert (np.abs(columns[name] - logged) <= 0.5 * fineness + 1e-6 * np.abs(logged) + 1e-9).all(), name
    assert head["rows"] == len(trace["time_s"]) > length


def test_extremes_jumps_and_events_are_kept(round_trip, sent):
    _, columns = sent
    trace = round_trip.trace
    for name in ("speed_m_s", "engine_speed_rpm", "service_brake_power_kw", "engine_torque_n_m"):
        for extreme in (np.min, np.max):
            found, fineness = extreme(columns[si_name(name)]), FINENESS[si_name(name)]
            assert found == pytest.approx(key_to_si(extreme(trace[name]), name), abs=fineness), name
    for name in ("gear", "brake_stage"):
        assert np.count_nonzero(np.diff(columns[name])) == np.count_nonzero(np.diff(trace[name])), name
    kept = np.round(columns["time"], 1)
    for row in event_rows(round_trip):
        assert np.isclose(kept, trace["time_s"][row], atol=0.06).any()


def test_every_strip_finds_its_columns_and_shows_all_of_them(round_trip, sent):
    head, columns = sent
    for strip in head["strips"]:
        low, high = strip["span"]
        assert low < high
        for line in strip["lines"]:
            values = columns[line["column"]]
            values = values[values <= line.get("most", np.inf)]  # what is drawn
            assert values.min() >= low - 1e-3 and values.max() <= high + 1e-3, line
            assert palette.contrast(line["colour"]) >= 3.0, line
    assert set(columns_of(strips_of(round_trip))) <= set(columns)
    assert set(MORE) <= set(columns)


def test_lines_that_share_a_strip_differ_by_more_than_colour(round_trip):
    for strip in strips_of(round_trip):
        drawn = [(line["colour"], line["dash"], line.get("width", 1.6), line.get("shade")) for line in strip["lines"]]
        assert len(set(drawn)) == len(drawn)
        plain = [(line["dash"], line.get("width", 1.6)) for line in strip["lines"]]
        assert (
            len(set(plain)) >= len(plain) - 1
        )  # the two sets of the published model and the axles are named in the legend


def test_the_strips_are_the_ones_a_class_reads(hot, cruising):
    names = [strip["name"] for strip in strips_of(hot)]
    assert names == ["road", "speed", "engine", "gear", "torque", "fuel", "stage", "power", "brakes"]
    lines = {line["column"] for strip in strips_of(cruising) for line in strip["lines"]}
    assert {"speed_limit", "set_speed", "severity_temperature_a", "severity_temperature_b"} <= lines
    engine = next(strip for strip in strips_of(hot) if strip["name"] == "engine")
    band = [engine["bands"][0][end] * 30.0 / math.pi for end in ("low", "high")]
    assert band == pytest.approx([1750.0, 2100.0])  # rpm, TM 9-2320-363-10
    brakes = next(strip for strip in strips_of(hot) if strip["name"] == "brakes")
    assert brakes["levels"][0]["at"] == pytest.approx((500 - 32) / 1.8 + 273.15, abs=0.5)  # 500 F, WY-1901F


def test_the_forces_at_the_cursor_add_up_to_the_change_of_speed(trip):
    """Who pushes and who holds back: what is left over is mass times acceleration (Newton's second law)."""
    result = trip("long-haul-manual", "grade:-6%,2km,1100m", "drill.hold_gear=8", "drill.service_brakes=false")
    _, c = opened(packed(result, ""))
    left = c["drive_force"] - c["aero_force"] - c["rolling_force"] - c["grade_force"]
    acceleration = np.gradient(c["speed"], c["time"])
    moving = slice(20, -20)
    mass = result.truck.vehicle.mass_kg
    wheels = result.truck.tyres.count * result.truck.tyres.inertia_kg_m2 / result.truck.tyres.rolling_radius_m**2
    assert left[moving] / (mass + wheels) == pytest.approx(acceleration[moving], abs=0.02)


def test_lamps_say_the_worst_in_both_units(hot, trip):
    lamps = {lamp["name"]: lamp for lamp in lamps_of(hot)}
    assert lamps["brakes beyond their limit"]["state"] == "alarm"
    mean = hot.summary["max_brake_temperature_c"]
    metric, us = (said(lamps["brakes beyond their limit"]["said"], units) for units in SYSTEMS)
    assert f"mean {mean:.0f}" in metric and f"mean {mean * 9 / 5 + 32:.0f}" in us and "500 °F" in us
    changes = ("drill.hold_gear=10", "drill.service_brakes=false", "start.speed_km_h=90")
    away = trip("long-haul-manual", "grade:-8%,8km,1500m,90km/h", *changes)
    assert away.summary["ended"] == "runaway"
    states = {lamp["name"]: lamp["state"] for lamp in lamps_of(away)}
    assert states["runaway"] == "alarm" and states["over limit"] == "warned"
    calm = trip("long-haul-manual", "grade:0%,1km")
    assert {lamp["state"] for lamp in lamps_of(calm)} == {"good"}


def test_what_a_student_may_predict_is_in_the_head(sent, round_trip):
    head, _ = sent
    assert set(head["found"]) == {si_name(name) for name in PREDICTED} | {"fuel", "ended"}
    assert head["found"]["time"] == round_trip.summary["time_s"]
    assert head["found"]["fuel"] * 1e8 == pytest.approx(round_trip.summary["fuel_l_per_100km"])


def test_the_chart_sent_is_the_chart_of_the_laws(sent, round_trip):
    head, columns = sent
    start = round_trip.route.start_elevation
    chart = control_chart(truck_at(round_trip.truck, round_trip.settings, head["chart"]["elevation"], start))
    curve = next(each for each in chart.curves if each.gear == 7 and each.stage == 3)
    assert columns["chart_force_7_3"] == pytest.approx(curve.force, abs=8.1)
    assert columns["chart_speed_7"] == pytest.approx(curve.speed, rel=1e-6)
    assert len(head["chart"]["crossings"]) == len(chart.crossings) > 3


def test_a_sign_in_the_head_is_text_and_nothing_else(tmp_path):
    road = tmp_path / "road.csv"
    road.write_text(
        "distance_m,grade_percent,sign\n0,0,</script><img src=x onerror=alert(1)>\n300,0,\n", encoding="utf-8"
    )
    inputs = read_inputs(str(road), "long-haul-manual")
    from sim.trips.pool import drive

    head, _ = opened(packed(drive(inputs), ""))
    assert head["events"][0][3]["values"]["text"] == "</script><img src=x onerror=alert(1)>"


def test_what_is_foretold_is_what_the_trip_says_too(trip):
    changes = ("cruise.set_speed_km_h=52", "start.speed_km_h=50")
    result = trip("long-haul-manual", "grade:-6%,7km,1550m", *changes)
    inputs = read_inputs("grade:-6%,7km,1550m", "long-haul-manual", None, changes)
    assert foretold(inputs) == result.summary["foreseen"] != []


def test_two_equal_trips_are_packed_into_equal_bytes(trip):
    from sim import load_route, run_trip

    again = run_trip(load_truck("long-haul-manual"), load_route("grade:0%,1km"), load_settings(None))
    assert packed(again, "a") == packed(trip("long-haul-manual", "grade:0%,1km"), "a")


BROKEN = (
    'faults.occur=["1 km boost pressure open", "2 km boost pressure mended"]',
    'circuits.meters=["boost pressure"]',
)


def test_codes_come_with_the_times_they_were_active_and_meters_with_their_columns(trip):
    result = trip("long-haul-manual", "grade:2%,4km", *BROKEN)
    head, columns = opened(packed(result, "key"))
    (code,) = head["codes"]
    assert (code["spn"], code["fmi"], code["lamp"], code["active"], code["count"]) == (102, 4, "amber", False, 1)
    ((begin, end),) = code["spans"]
    at = {event["event"]: event["time_s"] for event in result.events}
    assert begin == at["code_set"] and end == at["code_inactive"] and at["fault_occurred"] < begin < at["mended"] < end
    frame = result.summary["codes"][0]["freeze_frame"]
    assert code["frame"]["values"]["engine_speed"] == pytest.approx(to_si(frame["engine_speed_rpm"], "rpm"))
    (meter,) = head["meters"]
    assert meter["name"] == "boost pressure" and len(meter["columns"]) == 3
    assert [kind for _, kind, _ in meter["columns"]] == ["absolute pressure", "voltage", "absolute pressure"]
    for name, kind, _ in meter["columns"]:
        read = result.meters[name] if kind == "voltage" else 1000.0 * result.meters[f"{name}_kpa"]
        assert columns[f"meters:{name}"] == pytest.approx(read, rel=1e-6)
    assert (
        said(head["verdict"], "us") == "Arrived, with a code set: SPN 102 FMI 4: boost pressure: voltage below normal."
    )
    assert head["controller"] == []


def test_what_a_controller_takes_is_said_once_with_its_reason(trip):
    result = trip(
        "long-haul-manual", "grade:0%,4km", "cruise.set_speed_km_h=80", 'faults.occur=["1 km road speed open"]'
    )
    told = [said(each, "metric") for each in opened(packed(result, "key"))[0]["controller"]]
    assert any("took 20 % of the torque at 1." in text and "road speed: none" in text for text in told)
    assert any("refused cruise control at 1." in text and "SPN 84" in text for text in told)
    assert len({text.partition(" at ")[0] for text in told}) == len(told)


def test_a_sound_trip_carries_no_circuits(sent):
    head, columns = sent
    assert head["codes"] == head["meters"] == head["controller"] == []
    assert not [name for name in columns if name.startswith("meters:")]
