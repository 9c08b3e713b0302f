"""A trip's bus, read back by one who has nothing but the files: cantools with the dumped database, python-can with the log."""

import csv
from collections import defaultdict

import can
import cantools
import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.bus import FOLDER, bus_database, bus_log, bus_settings
from sim.command.main import main

T1 = "long-haul-manual"
NOT_AVAILABLE, ERROR = "not available", "error"
GAP_FROM, GAP_TO = 0.05, 0.2  # s between packets of a broadcast, SAE J1939 (two sources)
# published periods in s (two sources), of what is sent in one frame
PERIODS = {"EEC1": 0.02, "EEC2": 0.05, "EEC3": 0.25, "ETC1": 0.01, "ERC1": 0.1, "EBC1": 0.1, "ETC2": 0.1, "CCVS1": 0.1,
           "LFE1": 0.1, "VD": 0.1, "EFL_P1": 0.5, "IC1": 0.5, "ET1": 1.0, "AMB": 1.0, "VEP1": 1.0, "VDHR": 1.0}  # fmt: skip


def drive(road: str, *changes: str):
    """A trip whose bus can be written."""
    return run_trip(load_truck(T1), load_route(road), bus_settings(load_settings(None, changes)))


class Reader:
    """Reads log and database from files, as somebody else would."""

    def __init__(self, result, folder):
        (folder / "bus.log").write_text(bus_log(result), encoding="utf-8")
        (folder / "bus.dbc").write_text(bus_database(), encoding="utf-8")
        self.known = cantools.database.load_file(folder / "bus.dbc")
        self.frames = list(can.LogReader(folder / "bus.log"))
        self.by_identifier = defaultdict(list)
        for frame in self.frames:
            self.by_identifier[frame.arbitration_id].append(frame)

    def frames_named(self, name):
        return self.by_identifier[self.known.get_message_by_name(name).frame_id]

    def read(self, name, signal):
        """Times and values of a signal."""
        message = self.known.get_message_by_name(name)
        frames = self.frames_named(name)
        return np.array([f.timestamp for f in frames]), [message.decode(f.data)[signal] for f in frames]

    def reassembled(self, group, source):
        """Broadcasts of several packets by the standard's rule: (time of the announcement, payload)."""
        found, open_ = [], None
        for frame in self.frames:
            if frame.arbitration_id & 0xFF != source:
                continue
            kind = frame.arbitration_id >> 8 & 0xFFFF
            if kind == 0xECFF and frame.data[0] == 32:
                about = int.from_bytes(frame.data[5:8], "little")
                size, packets = int.from_bytes(frame.data[1:3], "little"), frame.data[3]
                assert open_ is None, "one broadcast at a time per sender"
                open_ = [frame.timestamp, about, size, packets, [], frame.timestamp]
            elif kind == 0xEBFF:
                begun, about, size, packets, parts, before = open_
                assert frame.data[0] == len(parts) + 1, "packets come in their order"
                assert GAP_FROM - 1e-6 <= frame.timestamp - before <= GAP_TO
                parts.append(bytes(frame.data[1:]))
                open_[5] = frame.timestamp
                if len(parts) == packets:
                    if about == group:
                        whole = b"".join(parts)
                        assert set(whole[size:]) <= {0xFF}
                        found.append((begun, whole[:size]))
                    open_ = None
        assert open_ is None, "no broadcast is left unfinished"
        return found


def codes_of(payload):
    """Codes of a DM1 by the published rule: SPN, FMI, count."""
    codes = []
    for first in range(2, len(payload) - 3, 4):
        b = payload[first : first + 4]
        if b[:4] != b"\xff\xff\xff\xff":
            codes.append((b[0] | b[1] << 8 | (b[2] >> 5) << 16, b[2] & 31, b[3] & 127))
    return codes


@pytest.fixture(scope="module")
def sound():
    """Downhill, first on the foot, then on the cruise control: engine brake, service brakes, shifts."""
    return drive(
        "grade:-4%,2.5km,1200m",
        "start.speed_km_h=40",
        "simulation.log_s=0.2",
        'cruise.presses=["900 m set"]',
    )


@pytest.fixture(scope="module")
def read(sound, tmp_path_factory):
    return Reader(sound, tmp_path_factory.mktemp("sound"))


def told(trace, name, result):
    """What a signal must say, from the trace alone."""
    reference = max(result.truck.engine.full_load_torque_n_m)
    most = trace["full_load_torque_n_m"] + trace["warm_friction_n_m"]
    cruising = trace["set_speed_m_s"] > 0.0
    return {
        "engine_speed": trace["engine_speed_rpm"],
        "road_speed": trace["speed_m_s"] * 3.6,  # sound; the needle of the trace is a tick older
        "actual_torque": 100.0 * trace["commanded_torque_n_m"] / reference,
        "load_at_speed": 100.0 * trace["commanded_torque_n_m"] / most,
        "retarder_torque": -100.0 * trace["compression_torque_n_m"] / reference,
        "accelerator_pedal": np.where(cruising, 0.0, trace["accelerator_percent"]),
        "coolant_temperature": trace["coolant_temperature_c"],
        "oil_temperature": trace["oil_temperature_c"],
        "boost_pressure": trace["boost_kpa"],
        "fuel_rate": trace["fuel_rate_g_s"] * 3.6 / result.settings.fuel.density_kg_per_l,
        "trip_distance": trace["distance_m"] / 1000.0,
        "total_distance_fine": trace["distance_m"] / 1000.0,
        "current_gear": trace["gear"],
        "cruise_active": cruising * 1.0,
    }[name]


@pytest.mark.parametrize(
    ("message", "signal"),
    [
        ("EEC1", "engine_speed"), ("EEC1", "actual_torque"), ("EEC2", "load_at_speed"), ("EEC2", "accelerator_pedal"),
        ("CCVS1", "road_speed"), ("CCVS1", "cruise_active"), ("ERC1", "retarder_torque"), ("ET1", "coolant_temperature"),
        ("ET1", "oil_temperature"), ("IC1", "boost_pressure"), ("LFE1", "fuel_rate"), ("VD", "trip_distance"),
        ("VDHR", "total_distance_fine"), ("ETC2", "current_gear"),
    ],
)  # fmt: skip
def test_a_reader_with_nothing_but_the_files_reads_the_trip(sound, read, message, signal):
    times, values = read.read(message, signal)
    beats = sound.trace["time_s"] / 0.2
    on_the_beat = np.abs(beats - np.round(beats)) < 1e-6
    trace = {name: column[on_the_beat] for name, column in sound.trace.items()}
    held = np.searchsorted(trace["time_s"], times + 1e-6, side="right") - 1
    held = np.minimum(held, int(sound.meters["time_s"][-1] / 0.2 + 0.5))
    expected = told(trace, signal, sound)[held]
    half = 0.5 * read.known.get_message_by_name(message).get_signal_by_name(signal).scale
    got = np.array([float(value) for value in values])
    assert np.abs(got - expected).max() <= half * (1.0 + 1e-6) + 1e-9
    if signal not in ("coolant_temperature", "oil_temperature"):
        assert np.ptp(expected) > half, "a value that never moves proves little"


@pytest.mark.parametrize("signal", ["key_voltage", "battery_voltage", "charging_voltage"])
def test_a_running_engine_charges(read, signal):
    _, values = read.read("VEP1", signal)
    assert {13.6 <= float(value) <= 14.4 for value in values} == {True}


def test_every_message_comes_at_its_published_period(sound, read):
    names = {message.frame_id: message.name for message in read.known.messages}
    single = {names[key] for key in read.by_identifier if not names[key].startswith("TP_")}
    assert single == set(PERIODS), "sound: no codes, and what takes several packets comes by them"
    end = sound.trace["time_s"][-1]
    for name, period in PERIODS.items():
        times = np.array([frame.timestamp for frame in read.frames_named(name)])
        assert np.allclose(np.diff(times), period, atol=2e-6), name
        assert times[0] < 0.01 and end - times[-1] < period + 1e-6, name
    assert all(len(frame.data) == 8 and frame.is_extended_id for frame in read.frames)
    assert all(later.timestamp >= frame.timestamp for frame, later in zip(read.frames, read.frames[1:], strict=False))


def test_configurations_come_in_several_packets_with_their_reference(sound, read):
    reference = max(sound.truck.engine.full_load_torque_n_m)
    for name, group, source, signal in (
        ("EC1", 65251, 0, "reference_torque"),
        ("RC", 65249, 15, "reference_retarder_torque"),
    ):
        payloads = read.reassembled(group, source)
        message = read.known.get_message_by_name(name)
        assert len(payloads) == int(sound.trace["time_s"][-1] / 5.0) + 1, "every 5 s (two sources)"
        assert {message.decode(payload)[signal] for _, payload in payloads} == {round(reference)}


def test_what_is_not_known_is_sent_as_not_available(sound, read):
    _, speeds = read.read("CCVS1", "cruise_set_speed")
    _, active = read.read("CCVS1", "cruise_active")
    assert {str(speed) for speed, on in zip(speeds, active, strict=True) if not on} <= {NOT_AVAILABLE}
    kept = 3.6 * sound.trace["set_speed_m_s"].max()
    assert kept > 32.0 and {float(speed) for speed, on in zip(speeds, active, strict=True) if on} == {round(kept)}
    _, ambient = read.read("ET1", "turbocharger_oil_temperature")
    assert {str(value) for value in ambient} == {NOT_AVAILABLE}
    _, economy = read.read("LFE1", "fuel_economy")
    assert NOT_AVAILABLE in {str(value) for value in economy}, "no fuel in overrun: beyond the range of the signal"


@pytest.fixture(scope="module")
def broken():
    """Hot coolant by hand (warm, hot, too hot), then a fuel-temperature wire that breaks and is mended."""
    return drive(
        "grade:0%,2km,200m",
        "start.speed_km_h=70",
        'circuits.dialled=["15 s coolant temperature 118 C", "40 s coolant temperature let go"]',
        'faults.occur=["3 s fuel temperature open", "55 s fuel temperature mended"]',
    )


@pytest.fixture(scope="module")
def read_broken(broken, tmp_path_factory):
    return Reader(broken, tmp_path_factory.mktemp("broken"))


def test_one_code_is_one_frame_at_once_and_every_second(broken, read_broken):
    first, second = sorted(event["time_s"] for event in broken.events if event["event"] == "code_set")[:2]
    alone = [f for f in read_broken.frames_named("DM1") if f.timestamp < second - 1e-6]
    assert alone[0].timestamp == pytest.approx(first, abs=2e-6)
    assert np.allclose(np.diff([f.timestamp for f in alone]), 1.0, atol=2e-6) and len(alone) == int(second - first) + 1
    for frame in alone:
        assert codes_of(frame.data) == [(174, 3, 1)]
        lamps = read_broken.known.get_message_by_name("DM1").decode(frame.data)
        assert (lamps["amber_lamp"], lamps["red_lamp"], str(lamps["protect_lamp"])) == (1, 0, NOT_AVAILABLE)


def test_several_codes_go_in_several_packets_with_their_counts_and_the_red_lamp(broken, read_broken):
    wanted = {(code["spn"], code["fmi"], code["count"]) for code in broken.summary["codes"]}
    assert {(spn, fmi) for spn, fmi, _ in wanted} == {(174, 3), (110, 15), (110, 16), (110, 0)}
    payloads = read_broken.reassembled(65226, 0)
    most = max(payloads, key=lambda entry: len(entry[1]))[1]
    assert set(codes_of(most)) == wanted and most[0] >> 4 & 3 == 1, "red lamp on"
    at_once = {event["time_s"] for event in broken.events if event["event"] in ("code_set", "code_inactive")}
    several = [begun for begun, payload in payloads if len(payload) > 8]
    assert any(abs(begun - time) < 0.5 for begun in several for time in at_once)
    assert max(np.diff(several)) < 1.0 + 0.65, "once a second, a configuration in between may hold one up"


def test_after_the_last_code_an_empty_message_says_so_once(broken, read_broken):
    over = max(event["time_s"] for event in broken.events if event["event"] == "code_inactive")
    last = [f for f in read_broken.frames_named("DM1") if f.timestamp >= over - 1e-6]
    assert [f.timestamp for f in last] == [pytest.approx(over, abs=2e-6)]
    assert codes_of(last[0].data) == [(0, 0, 0)] and last[0].data[0] & 0b00111100 == 0, "lamps off"


def test_a_sensor_that_failed_electrically_is_told_as_an_error(broken, read_broken):
    times, values = read_broken.read("ET1", "fuel_temperature")
    begin = next(
        event["time_s"]
        for event in broken.events
        if event["event"] == "code_set" and event["cause"]["values"]["spn"] == 174
    )
    end = next(
        event["time_s"]
        for event in broken.events
        if event["event"] == "code_inactive" and event["cause"]["values"]["spn"] == 174
    )
    failed = [str(value) for time, value in zip(times, values, strict=True) if begin + 0.5 < time < end]
    sound = [value for time, value in zip(times, values, strict=True) if time > end + 0.5]
    assert set(failed) == {ERROR} and len(failed) > 20
    assert sound and all(0.0 < float(value) < 80.0 for value in sound)


def test_the_command_writes_log_and_database_and_changes_nothing(tmp_path, capsys):
    road = "grade:1%,1km,300m"
    assert main(["run", road, "--out", str(tmp_path / "plain")]) == 0
    assert main(["run", road, "--out", str(tmp_path / "bus"), "--bus"]) == 0
    assert "bus.log, bus.dbc" in capsys.readouterr().out
    same = ("trace.csv", "events.csv")
    assert [(tmp_path / "plain" / name).read_text() for name in same] == [
        (tmp_path / "bus" / name).read_text() for name in same
    ]
    assert not (tmp_path / "plain" / "bus.log").exists()
    known = cantools.database.load_file(tmp_path / "bus" / "bus.dbc")
    assert "Never transmit" in known.version and "__XXX" not in (tmp_path / "bus" / "bus.dbc").read_text()
    assert {frame.channel for frame in can.LogReader(tmp_path / "bus" / "bus.log")} == {"simulated"}


def test_each_row_of_the_table_carries_its_mark():
    for name in ("messages.csv", "signals.csv"):
        with (FOLDER / name).open(encoding="utf-8") as file:
            assert {row["mark"] for row in csv.DictReader(file)} <= {"two sources", "one source"}
