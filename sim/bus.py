"""What a truck tells on its bus: the columns and codes of a trip as frames of SAE J1939.

For simulated buses only. Frames sent onto the network of a real vehicle can change torque, brakes or warnings.

Positions, widths, resolutions, offsets and periods are those of SAE J1939, seen second-hand; they stand in
`catalogue/bus/messages.csv` and `catalogue/bus/signals.csv`, each row with its mark (two sources, one source: how many published
descriptions or recordings give it). `column` names what fills a signal; one without is sent as not available. Bits and bytes are
packed and unpacked by cantools, the log is written by python-can; both are loaded when they are needed.
"""

import csv
import heapq
import io
import math
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from sim.dyno.result import reference_torque, told_percent
from sim.errors import RunError
from sim.inputs.sensors import SENSORS
from sim.inputs.specs import Settings
from sim.laws.driveline import engine_speed_in_gear
from sim.laws.dynamometer import coded_percent, torque_code
from sim.laws.sensing import system_voltage
from sim.march.assemble import parameters_of
from sim.march.meter import columns, value_at
from sim.march.records import REASONS
from sim.messages import output as say
from sim.trips.result import Result
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE

FOLDER = Path(__file__).parent / "catalogue" / "bus"
CAUTION = "For simulated buses only. Never transmit onto the network of a real vehicle."
CHANNEL = "simulated"  # name of the bus in the log, whose format has no room for more

ADDRESSES = {"engine": 0, "gearbox": 3, "brakes": 11, "retarder": 15}  # preferred addresses of SAE J1939 (two sources)
EVERYONE = 255
BROADCAST_ANNOUNCED = 32  # control byte of a message of several packets for everyone (two sources)
FRAME_BYTES, PACKET_BYTES = 8, 7
PACKET_GAP = 0.05  # s; 50 to 200 ms are allowed (two sources)
PHASE = 0.0005  # s from one message to the next, so that they do not all begin at once: a choice
MOST_CODES = (255 * PACKET_BYTES - 2) // 4  # codes in one message (two sources: 255 packets)

NOT_AVAILABLE, ERROR = "not available", "error"
# largest valid raw value, error and not available, by width in bits (two sources; of 3, 5 and 7 bits only the last: one source)
CODES = {
    2: (1, 2, 3),
    3: (6, None, 7),
    4: (13, 14, 15),
    5: (30, None, 31),
    7: (126, None, 127),
    8: (0xFA, 0xFE, 0xFF),
    16: (0xFAFF, 0xFE00, 0xFFFF),
    32: (0xFAFFFFFF, 0xFE000000, 0xFFFFFFFF),
}
ELECTRICAL = (3, 4)  # failure modes that say the voltage is none of a sound sensor's
LAMPS = {"amber": "amber_lamp", "red": "red_lamp"}
# of the retarder: nothing and the operator by one source, the cruise control common practice
IDLE, BY_HAND, BY_CRUISE = 0.0, 1.0, 2.0
CRUISE_REASONS = tuple(REASONS.index(kind) for kind in ("cause.cruise_overspeed", "cause.cruise_holds"))
FASTEST_METER = 0.05  # s, as `circuits.meter_s` allows


class Frame(NamedTuple):
    """One frame: when its sender hands it over, its 29-bit identifier, and its bytes."""

    time_s: float
    identifier: int
    data: bytes


class Told(NamedTuple):
    """One message of the table: how it is sent."""

    message: str
    group: int
    priority: int
    length: int
    period_s: float
    sender: str
    mark: str


class Active(NamedTuple):
    """One active code."""

    spn: int
    mode: int
    times: int
    lamp: str


def check_library() -> None:
    """Refuses work when the libraries of the bus are not installed.

    Raises
    ------
    RunError
        cantools or python-can is missing.
    """
    for name in ("can", "cantools"):  # cantools itself needs can
        try:
            __import__(name)
        except ImportError:
            raise RunError(say.bus_library_missing(library={"can": "python-can"}.get(name, name))) from None


def bus_settings(settings: Settings) -> Settings:
    """The same settings with a meter on every sensor and switch, for the bus tells what the controller believes.

    Returns
    -------
    settings : Settings
        A meter changes nothing of a trip.

    Examples
    --------
    >>> bus_settings(Settings()).circuits.meters
    ('all',)
    """
    row = settings.simulation.log_s
    beat = row * math.ceil(FASTEST_METER / row - 1e-9) if row < FASTEST_METER else row
    circuits = settings.circuits.model_copy(update={"meters": ("all",), "meter_s": beat})
    return settings.model_copy(update={"circuits": circuits})


# ---------------------------------------------------------------- the table


def _rows(name: str) -> list[dict[str, str]]:
    """The rows of a file of the table."""
    with (FOLDER / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@cache
def messages() -> dict[str, Told]:
    """The messages of the table.

    Returns
    -------
    messages : dict
        By name, in the order in which they take their turn.

    Examples
    --------
    >>> messages()["EEC1"].period_s, messages()["ET1"].group
    (0.02, 65262)
    """
    return {
        row["message"]: Told(
            row["message"],
            int(row["group"]),
            int(row["priority"]),
            int(row["bytes"]),
            int(row["period_ms"]) / 1000.0,
            row["sender"],
            row["mark"],
        )
        for row in _rows("messages.csv")
    }


@cache
def _signal_rows() -> dict[str, list[dict[str, str]]]:
    """The rows of the signals, by message."""
    found: dict[str, list[dict[str, str]]] = {name: [] for name in messages()}
    for row in _rows("signals.csv"):
        found[row["message"]].append(row)
    return found


def identifier_of(message: str, sender: str = "") -> int:
    """The 29-bit identifier of a message.

    Parameters
    ----------
    message : str
        Its name in the table.
    sender : str
        Key of `ADDRESSES`; "" for the sender of the table.

    Examples
    --------
    >>> f"{identifier_of('EEC1'):08X}", f"{identifier_of('TP_CM'):08X}"
    ('0CF00400', '1CECFF00')
    """
    from cantools import j1939

    told = messages()[message]
    group = j1939.pgn_unpack(told.group)
    to = EVERYONE if j1939.is_pdu_format_1(group.pdu_format) else group.pdu_specific
    return int(
        j1939.frame_id_pack(
            told.priority, group.reserved, group.data_page, group.pdu_format, to, ADDRESSES[sender or told.sender]
        )
    )


def _signal(row: Mapping[str, str], shift: int = 0, number: str = "") -> Any:
    """A signal as cantools knows it, `shift` bytes further on."""
    from cantools.database.can import Signal
    from cantools.database.conversion import BaseConversion

    bits, scale, offset = int(row["bits"]), float(row["resolution"]), float(row["offset"])
    highest, error, missing = CODES.get(bits, (2**bits - 1, None, None))
    if row["highest_raw"]:
        highest = int(row["highest_raw"])
    names: OrderedDict[int, Any] = OrderedDict(
        (raw, words) for raw, words in ((error, ERROR), (missing, NOT_AVAILABLE)) if raw is not None
    )
    if row["message"].startswith("TP_") or (highest == 2**bits - 1 and bits < 16):
        names.clear()
    elif missing is not None and highest >= missing:
        names = OrderedDict({missing: NOT_AVAILABLE})
    told_by = f"the trip's {row['column']}" if row["column"] else "not told"
    plain = float.is_integer(scale) and float.is_integer(offset)
    return Signal(
        row["signal"] + number,
        (int(row["byte"]) - 1 + shift) * 8 + int(row["bit"]) - 1,
        bits,
        conversion=BaseConversion.factory(
            int(scale) if plain else scale, int(offset) if plain else offset, names or None, False
        ),
        minimum=offset,
        maximum=offset + highest * scale,
        unit=row["unit"] or None,
        comment=f"SAE J1939 ({row['mark']}); {told_by}",
        receivers=["listener"],
        spn=int(row["spn"]) if row["spn"] else None,
    )


def _message(name: str, signals: list[Any], length: int, sender: str = "", suffix: str = "") -> Any:
    """A message as cantools knows it."""
    from cantools.database.can import Message

    told = messages()[name]
    return Message(
        identifier_of(name, sender),
        name + suffix,
        length,
        signals,
        is_extended_frame=True,
        cycle_time=round(told.period_s * 1000.0) or None,
        senders=[sender or told.sender],
        comment=f"parameter group {told.group} of SAE J1939 ({told.mark})",
        unused_bit_pattern=255,
        protocol="j1939",
    )


@cache
def codes_message(number: int) -> Any:
    """The message of active codes with room for so many.

    Parameters
    ----------
    number : int
        Codes; none and one share a form of 8 bytes.

    Notes
    -----
    Lamps once, then four bytes a code: low 16 bits of the number, failure mode below its high 3 bits, count below the conversion
    bit (two sources).
    """
    layout = (
        ("spn_low", 3, 1, 16, "1214"),
        ("fmi", 5, 1, 5, "1215"),
        ("spn_high", 5, 6, 3, "1214"),
        ("count", 6, 1, 7, "1216"),
        ("old_packing", 6, 8, 1, "1706"),
    )
    signals = [_signal(row) for row in _signal_rows()["DM1"]]
    for code in range(max(number, 1)):
        for signal, byte, bit, bits, spn in layout:
            row = {
                "message": "DM1",
                "spn": spn,
                "signal": signal,
                "byte": str(byte),
                "bit": str(bit),
                "bits": str(bits),
            }
            row |= {"resolution": "1", "offset": "0", "unit": "", "column": "codes", "mark": "two sources"}
            row["highest_raw"] = "" if signal == "count" else str(2**bits - 1)
            signals.append(_signal(row, 4 * code, f"_{code + 1}"))
    return _message("DM1", signals, max(FRAME_BYTES, 2 + 4 * number))


@cache
def database() -> Any:
    """Every message of the table, as cantools knows it."""
    from cantools.database.can import Database, Node

    found = []
    for name, told in messages().items():
        signals = _signal_rows()[name]
        if name == "DM1":
            found.append(codes_message(1))
            continue
        found.append(_message(name, [_signal(row) for row in signals], told.length))
        if name.startswith("TP_"):
            # the retarder has messages of several packets too
            found.append(_message(name, [_signal(row) for row in signals], told.length, "retarder", "_retarder"))
    nodes = [Node(name, f"address {address}. {CAUTION}") for name, address in ADDRESSES.items()]
    return Database(found, nodes=[*nodes, Node("listener", CAUTION)], version=CAUTION)


# ---------------------------------------------------------------- what is told


def told_columns(result: Result) -> dict[str, np.ndarray]:
    """What the controllers of a trip have to tell, reading by reading of its meters.

    Parameters
    ----------
    result : Result
        Of a trip driven with `bus_settings`.

    Returns
    -------
    columns : dict
        `time_s` first, each of shape (readings,), NaN where nothing is known.

    Raises
    ------
    RunError
        The trip was driven without meters.

    Notes
    -----
    What a sensor measures is told as the controller believes it, its substitute included. The distance is that of the road,
    whatever pulses per mile are programmed. The retarder's torque is told in per cent of the same reference as the engine's, a
    choice. The gearbox is taken to have a controller of its own, also where the driver shifts (assumed).
    """
    meters = result.meters
    if any(name not in meters for key in SENSORS for name in columns(key)):
        raise RunError(say.bus_needs_meters())
    times = meters["time_s"]
    rows = np.searchsorted(result.trace["time_s"], times + 1e-6, side="right") - 1
    trace = {name: values[rows] for name, values in result.trace.items()}
    believed = {key: meters[columns(key)[2]] for key in SENSORS}
    pins = {key: meters[columns(key)[1]] for key in ("pedal", "key")}
    truck, settings = result.truck, result.settings
    parameters = parameters_of(truck, settings, result.route.start_elevation)
    reference = reference_torque(truck, settings)
    supply = [float(parameters[name][0]) for name in ("battery", "charging", "charges_from")]
    speeds = trace["engine_speed_rpm"] * REVOLUTION_PER_MINUTE

    found: dict[str, np.ndarray] = {"time_s": times}
    found |= told_percent(trace, reference)
    found |= {
        "engine_speed_rpm": believed["crank"],
        "road_speed_km_h": believed["road_speed"],
        "oil_pressure_kpa": believed["oil_pressure"],
        "coolant_temperature_c": believed["coolant"],
        "fuel_temperature_c": believed["fuel_temperature"],
        "intake_temperature_c": believed["intake"],
        "oil_temperature_c": believed["oil"],
        "coolant_level_percent": believed["coolant_level"],
        "barometric_pressure_kpa": believed["barometer"],
        "boost_kpa": believed["boost"] - believed["barometer"],
        "key_voltage_v": pins["key"],
        "system_voltage_v": np.array([system_voltage(turning, *supply) for turning in speeds]),
    }
    found |= {
        name: believed[name]
        for name in ("cruise_switch", "brake_switch", "clutch_switch", "set_button", "resume_button")
    }
    pedal = np.array([value_at("pedal", float(volts), parameters) for volts in pins["pedal"]])
    found["accelerator_pedal_percent"] = 100.0 * np.clip(pedal, 0.0, 1.0)

    held_back = [coded_percent(torque_code(-each, reference)) for each in trace["compression_torque_n_m"]]
    found["retarder_torque_percent"] = np.array(held_back)
    by_cruise = np.isin(trace["stage_reason"], CRUISE_REASONS)
    found["retarder_mode"] = np.where(trace["brake_stage"] > 0.0, np.where(by_cruise, BY_CRUISE, BY_HAND), IDLE)
    selected = np.where(believed["selector"] > 0.5, believed["selector"], np.nan)
    found["engine_brake_selection_percent"] = np.where(believed["retarding_switch"] > 0.5, 100.0 * selected / 3.0, 0.0)

    cruising = trace["set_speed_m_s"] > 0.0
    found["cruise_active"] = cruising.astype(float)
    found["cruise_set_speed_km_h"] = np.where(cruising, trace["set_speed_m_s"] / KILOMETRE_PER_HOUR, np.nan)
    found["fuel_rate_l_h"] = trace["fuel_rate_g_s"] * 3.6 / settings.fuel.density_kg_per_l
    with np.errstate(divide="ignore", invalid="ignore"):
        found["fuel_economy_km_l"] = found["road_speed_km_h"] / found["fuel_rate_l_h"]
    found["distance_km"] = trace["distance_m"] / 1000.0

    gears = trace["gear"].astype(int)
    shifting = np.zeros(len(times), dtype=bool)
    for event in result.events:
        if event["event"] == "gear_engaged":
            shifting |= (times >= event["time_s"] - event["value"]) & (times < event["time_s"])
    ratios = np.array([np.nan, *truck.gearbox.ratios])[gears]
    one_to_one = engine_speed_in_gear(1.0, truck.tyres.rolling_radius_m, 1.0, truck.driveline.axle_ratio)
    output = trace["speed_m_s"] * one_to_one / REVOLUTION_PER_MINUTE
    found |= {
        "current_gear": gears.astype(float),
        "selected_gear": np.where(shifting, np.nan, gears),
        "gear_ratio": ratios,
        "shift_in_process": shifting.astype(float),
        "driveline_engaged": ((gears > 0) & (trace["clutch_locked"] > 0.5)).astype(float),
        "output_shaft_speed_rpm": output,
        "input_shaft_speed_rpm": output * ratios,
    }
    constants = {
        "reference_torque_n_m": reference,
        "low_idle_rpm": truck.engine.low_idle_rpm,
        "high_idle_rpm": truck.engine.high_idle_rpm,
        "engine_inertia_kg_m2": truck.engine.inertia_kg_m2,
    }
    return found | {name: np.full(len(times), value) for name, value in constants.items()}


def code_changes(result: Result) -> list[tuple[float, tuple[Active, ...]]]:
    """When the set of active codes changed, and what it was from then on.

    Returns
    -------
    changes : list of (float, tuple of Active)
        In the order of time. [s, -]
    """
    lamps = {(code["spn"], code["fmi"]): code["lamp"] for code in result.summary["codes"]}
    active: dict[tuple[int, int], Active] = {}
    changes: list[tuple[float, tuple[Active, ...]]] = []
    for event in result.events:
        if event["event"] not in ("code_set", "code_inactive"):
            continue
        key = (event["cause"]["values"]["spn"], event["cause"]["values"]["fmi"])
        if event["event"] == "code_set":
            active[key] = Active(*key, int(event["value"]), lamps[key])
        else:
            active.pop(key, None)
        if changes and changes[-1][0] == event["time_s"]:
            changes.pop()
        changes.append((event["time_s"], tuple(active.values())))
    return changes


def _failed(changes: Iterable[tuple[float, tuple[Active, ...]]], times: np.ndarray) -> dict[int, np.ndarray]:
    """By SPN, in which readings its sensor has failed electrically: its signal is then told as an error (common practice)."""
    steps = [(-np.inf, ()), *changes]
    place = np.searchsorted([time for time, _ in steps], times, side="right") - 1
    failed: dict[int, np.ndarray] = {}
    for spn in {code.spn for _, codes in steps for code in codes if code.mode in ELECTRICAL}:
        by_step = np.array([any(c.spn == spn and c.mode in ELECTRICAL for c in codes) for _, codes in steps])
        failed[spn] = by_step[place]
    return failed


# ---------------------------------------------------------------- frames


def _payloads(name: str, told: Mapping[str, np.ndarray], failed: Mapping[int, np.ndarray]) -> Iterator[bytes]:
    """The bytes of a message for each reading, packed by cantools; the same values are packed once."""
    message = database().get_message_by_name(name)
    ready: dict[str, Any] = {}
    for signal in message.signals:
        ready[signal.name] = NOT_AVAILABLE
    filled = [row for row in _signal_rows()[name] if row["column"]]
    spans = []
    for row in filled:
        signal = message.get_signal_by_name(row["signal"])
        values = np.asarray(told[row["column"]], dtype=float)
        half = 0.5 * float(row["resolution"])
        valid = (values >= signal.minimum - half) & (values <= signal.maximum + half)
        spans.append((np.clip(values, signal.minimum, signal.maximum), valid, failed.get(int(row["spn"]))))
    packed: dict[tuple[Any, ...], bytes] = {}
    for place in range(len(told["time_s"])):
        key = tuple(
            ERROR if bad is not None and bad[place] else float(values[place]) if valid[place] else NOT_AVAILABLE
            for values, valid, bad in spans
        )
        if key not in packed:
            ready.update(zip((row["signal"] for row in filled), key, strict=True))
            packed[key] = message.encode(ready, padding=True)
        yield packed[key]


def codes_payload(active: Sequence[Active]) -> bytes:
    """The message of active codes: lamps, then four bytes a code.

    Parameters
    ----------
    active : sequence of Active
        The first 445 are told, more do not fit.

    Returns
    -------
    payload : bytes
        8 for none or one; of none the form with SPN, FMI and count 0 (from memory). The lamps for protection and emissions, which
        this model has not, and flashing are not available.

    Examples
    --------
    >>> codes_payload([Active(111, 18, 2, "amber")]).hex(" ")
    'c7 ff 6f 00 12 02 ff ff'
    """
    told = active[:MOST_CODES]
    values: dict[str, Any] = {row["signal"]: NOT_AVAILABLE for row in _signal_rows()["DM1"]}
    for lamp, name in LAMPS.items():
        values[name] = int(any(code.lamp == lamp for code in told))
    for place, code in enumerate(told or (Active(0, 0, 0, ""),), start=1):
        values |= {
            f"spn_low_{place}": code.spn & 0xFFFF,
            f"spn_high_{place}": code.spn >> 16,
            f"fmi_{place}": code.mode,
            f"count_{place}": code.times,
            f"old_packing_{place}": 0,
        }
    message = codes_message(len(told))
    return bytes(message.encode(values, padding=True))


def several_packets(payload: bytes, group: int) -> list[tuple[str, bytes]]:
    """A message longer than one frame, as its announcement and its packets.

    Parameters
    ----------
    payload : bytes
        9 to 1785.
    group : int
        Parameter group of the message.

    Returns
    -------
    frames : list of (str, bytes)
        Name in the table and bytes, in their order.

    Examples
    --------
    >>> [data.hex(" ") for _, data in several_packets(bytes(range(10)), 65226)]
    ['20 0a 00 02 ff ca fe 00', '01 00 01 02 03 04 05 06', '02 07 08 09 ff ff ff ff']
    """
    parts = [payload[first : first + PACKET_BYTES] for first in range(0, len(payload), PACKET_BYTES)]
    announced = {"control": BROADCAST_ANNOUNCED, "size": len(payload), "packets": len(parts), "group": group}
    known = database()
    frames = [("TP_CM", known.get_message_by_name("TP_CM").encode(announced, padding=True))]
    for number, part in enumerate(parts, start=1):
        packet = int.from_bytes(part.ljust(PACKET_BYTES, b"\xff"), "little")
        frames.append(("TP_DT", known.get_message_by_name("TP_DT").encode({"sequence": number, "packet": packet})))
    return frames


def _steady(
    name: str, payloads: Sequence[bytes], times: np.ndarray, phase: float, end: float
) -> Iterator[tuple[float, str, bytes]]:
    """A message at its period; a reading holds until the next."""
    period = messages()[name].period_s
    for beat in range(int((end - phase) / period + 1e-9) + 1 if end >= phase else 0):
        now = phase + beat * period
        yield now, name, payloads[int(np.searchsorted(times, now + 1e-9, side="right")) - 1]


def _codes(changes: Sequence[tuple[float, tuple[Active, ...]]], end: float) -> Iterator[tuple[float, str, bytes]]:
    """The active codes: at each change at once, then at their period while there are any."""
    for place, (begin, active) in enumerate(changes):
        until = changes[place + 1][0] if place + 1 < len(changes) else end + 1e-9
        payload = codes_payload(active)
        yield begin, "DM1", payload
        if active:
            period = messages()["DM1"].period_s
            for beat in range(1, int((until - begin) / period) + 1):
                if begin + beat * period < until:
                    yield begin + beat * period, "DM1", payload


def _sent(due: Sequence[tuple[float, str, bytes]], sender: str) -> Iterator[Frame]:
    """The messages of one sender that take several packets, one after the other; one that is overtaken by its next is left out."""
    free = 0.0
    for place, (time, name, payload) in enumerate(due):
        start = max(time, free)
        if any(other == name and later <= start for later, other, _ in due[place + 1 : place + 4]):
            continue
        frames = several_packets(payload, messages()[name].group)
        for number, (part, data) in enumerate(frames):
            yield Frame(start + number * PACKET_GAP, identifier_of(part, sender), data)
        free = start + len(frames) * PACKET_GAP


def frames_of(result: Result) -> Iterator[Frame]:
    """A trip as the frames its controllers send.

    Parameters
    ----------
    result : Result
        Of a trip driven with `bus_settings`.

    Yields
    ------
    frame : Frame
        In the order of time.

    Raises
    ------
    RunError
        A library is missing, or the trip was driven without meters.

    Notes
    -----
    Each message at its published period, its values held from one reading to the next: `simulation.log_s` says how fine.
    Times are those at which a sender hands its frame over; no frame waits for another. What is outside the range of its signal
    or not known is sent as not available, what comes from a sensor that failed electrically as an error.
    """
    check_library()
    told, changes = told_columns(result), code_changes(result)
    times, end = told["time_s"], float(result.trace["time_s"][-1])
    failed = _failed(changes, times)
    streams: list[Iterator[Frame]] = []
    long: dict[str, list[tuple[float, str, bytes]]] = {}
    for place, (name, message) in enumerate(messages().items()):
        if name.startswith("TP_"):
            continue
        if name == "DM1":
            due = _codes(changes, end)
        else:
            due = _steady(name, list(_payloads(name, told, failed)), times, place * PHASE, end)
        if name == "DM1" or message.length > FRAME_BYTES:
            for entry in due:
                long.setdefault(message.sender, []).append(entry)
        else:
            streams.append(_single(due))
    for sender, entries in long.items():
        entries.sort(key=lambda entry: entry[0])
        streams.append(_single(entry for entry in entries if len(entry[2]) <= FRAME_BYTES))
        streams.append(_sent([entry for entry in entries if len(entry[2]) > FRAME_BYTES], sender))
    yield from heapq.merge(*streams, key=lambda frame: frame.time_s)


def _single(due: Iterable[tuple[float, str, bytes]]) -> Iterator[Frame]:
    """Messages that fit into one frame."""
    identifiers: dict[str, int] = {}
    for time, name, payload in due:
        if name not in identifiers:
            identifiers[name] = identifier_of(name)
        yield Frame(time, identifiers[name], payload)


# ---------------------------------------------------------------- files


def bus_log(result: Result) -> str:
    """The frames of a trip as the text log that python-can writes and reads under the ending .log.

    Parameters
    ----------
    result : Result
        Of a trip driven with `bus_settings`.

    Returns
    -------
    text : str
        One frame a line; the bus is called simulated.

    Raises
    ------
    RunError
        As `frames_of`.
    """
    check_library()
    import can

    out = io.StringIO()
    writer = can.CanutilsLogWriter(out, channel=CHANNEL)
    for frame in frames_of(result):
        writer.on_message_received(
            can.Message(
                timestamp=frame.time_s,
                arbitration_id=frame.identifier,
                is_extended_id=True,
                data=frame.data,
                is_rx=True,
            )
        )
    return out.getvalue()


def bus_database() -> str:
    """The table of messages and signals as the text of a database file, as cantools dumps it under the ending .dbc.

    Raises
    ------
    RunError
        A library is missing.
    """
    check_library()
    return str(database().as_dbc_string())
