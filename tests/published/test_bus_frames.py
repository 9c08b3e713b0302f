"""The table of the bus against frames that were recorded or printed: values packed by it give their bytes, bytes their values.

All are frames of SAE J1939 outside the standard itself. The mark says how well bytes and values are attested: one source is a
public recording or a test of an open-source library; "decode derived" means that the source prints the bytes and the values
follow from the published layout. The printed frame of EEC1 with 700 rpm is left out: only a maker's manual has it.
"""

from typing import NamedTuple

import cantools
import pytest

from sim.bus import Active, bus_database, codes_message, codes_payload, database, several_packets

NOT_AVAILABLE, ERROR = "not available", "error"


class Printed(NamedTuple):
    """One printed frame, or the payload of one that was sent in several packets."""

    message: str
    identifier: int
    data: str
    values: dict[int, float | str]
    source: str
    mark: str


FRAMES = [
    Printed(
        "CCVS1",
        0x1CFEF150,
        "FF 00 32 6F FF FF E5 FF",
        {84: 50.0, 597: ERROR, 598: 1, 976: 5, 527: NOT_AVAILABLE, 595: NOT_AVAILABLE, 596: NOT_AVAILABLE},
        "test of an open-source library states 50 km/h, brake switch 2, clutch 1 and state 5; the rest derived",
        "one source",
    ),
    Printed(
        "ERC1",
        0x18F0000F,
        "50 7D 7D FF 00 FF FF 7D",
        {900: 0, 571: 1, 572: 1, 520: 0, 1085: 0, 1480: 0, 1717: 0},
        "recorded on a road truck, its retarder idle; decode derived",
        "one source",
    ),
    Printed(
        "ET1",
        0x18FEEE00,
        "7D FF FF FF FF FF FF FF",
        {110: 85.0, 174: NOT_AVAILABLE, 175: NOT_AVAILABLE},
        "test of an open-source library states 85 C",
        "one source",
    ),
    Printed(
        "ET1",
        0x18FEEE00,
        "82 FF FF FF FF FF FF FF",
        {110: 90.0},
        "test of an open-source library states 90 C for byte 130",
        "one source",
    ),
    Printed(
        "EFL_P1",
        0x18FEEF00,
        "FF FF FF 64 FF FF FF FF",
        {100: 400.0},
        "tests of an open-source library state 400 kPa for byte 100; its neighbours not available",
        "one source",
    ),
    Printed(
        "ETC1",
        0x0CF00203,
        "CD 30 03 FF F4 60 13 FF",
        {560: 1, 574: 0, 191: 102.0, 161: 620.0, 606: 0, 607: 1},
        "recorded; its author prints engaged, input 620 rpm, output 102 rpm; the rest derived",
        "one source",
    ),
    Printed(
        "ETC2",
        0x18F00503,
        "80 B2 17 80 20 44 20 33",
        {524: 3, 526: 6.066, 523: 3, 162: 0x4420, 163: 0x3320},
        "recorded; its author prints third gear; ratio and the letters D and 3 derived",
        "one source",
    ),
    Printed(
        "VD",
        0x18FEE000,
        "00 00 00 00 AF 0A 00 00",
        {244: 0.0, 245: 341.875},
        "recorded in the same moment as the next",
        "one source",
    ),
    Printed("VDHR", 0x18FEC100, "1B 0B 01 00 00 00 00 00", {917: 341.895, 918: 0.0}, "recorded", "one source"),
    Printed("VEP1", 0x18FEF700, "FF FF FF FF F7 00 FF FF", {168: 12.35}, "recorded; decode derived", "one source"),
    Printed(
        "EFL_P1",
        0x18FEEF00,
        "FF FF FF 00 01 7D FF 00",
        {100: 0.0, 101: 0.0078125, 111: 0.0, 94: NOT_AVAILABLE, 109: NOT_AVAILABLE},
        "recorded with the engine at rest; decode derived",
        "one source",
    ),
    Printed(
        "EEC2",
        0x0CF00300,
        "F1 00 0C FF FF 0F 76 7D",
        {558: 1, 559: 0, 1437: NOT_AVAILABLE, 91: 0.0, 92: 12, 5399: 0, 5400: 0, 3357: 47.2, 5398: 0},
        "recorded on a road truck; decode derived",
        "one source",
    ),
    Printed(
        "EC1",
        0x18FEE300,
        "00 19 A9 20 4E BE B8 24 BB 00 32 BC E0 47 BD 20 4E FF FF 45 05 38 5E 3C 46 FA 7D BC 20 4E 86 00 FF FF",
        {
            188: 800.0, 539: 44, 528: 2500.0, 540: 65, 529: 1175.0, 541: 62, 530: 1600.0, 542: 63, 531: 2300.0, 543: 64,
            532: 2500.0, 545: NOT_AVAILABLE, 544: 1349, 533: 3015.0, 534: 6.0, 535: 700, 536: 2500, 537: 0, 538: 63,
            1712: 2500.0, 1794: 0.536, 1846: NOT_AVAILABLE,
        },
        "recorded in six packets; decode derived and coherent",
        "one source",
    ),
]  # fmt: skip

# the packets of the same recording, and those of a test of an open-source library
ENGINE_PACKETS = (
    "20 22 00 05 FF E3 FE 00",
    "01 00 19 A9 20 4E BE B8",
    "02 24 BB 00 32 BC E0 47",
    "03 BD 20 4E FF FF 45 05",
    "04 38 5E 3C 46 FA 7D BC",
    "05 20 4E 86 00 FF FF FF",
)
FOUR_CODES = "00 FF 5B 00 03 01 5C 00 04 02 5D 00 05 03 5E 00 06 04"
FOUR_CODES_PACKETS = (
    "20 12 00 03 FF CA FE 00",
    "01 00 FF 5B 00 03 01 5C",
    "02 00 04 02 5D 00 05 03",
    "03 5E 00 06 04 FF FF FF",
)


def group_of(identifier: int) -> int:
    """Parameter group of an identifier: what a reader matches on, never the priority."""
    return int(cantools.j1939.pgn_from_frame_id(identifier))


@pytest.mark.parametrize("printed", FRAMES, ids=lambda printed: f"{printed.message} {printed.data[:11]}")
def test_printed_values_give_the_printed_bytes_and_back(printed):
    message = database().get_message_by_name(printed.message)
    names = {signal.spn: signal.name for signal in message.signals}
    assert group_of(message.frame_id) == group_of(printed.identifier)
    data = bytes.fromhex(printed.data)

    values = dict.fromkeys(names.values(), NOT_AVAILABLE) | {names[spn]: to for spn, to in printed.values.items()}
    assert message.encode(values, padding=True) == data

    again = cantools.database.load_string(bus_database(), "dbc").get_message_by_name(printed.message)
    decoded = {signal.spn: again.decode(data)[signal.name] for signal in again.signals}
    for spn, value in printed.values.items():
        if isinstance(value, str):
            assert str(decoded[spn]) == value
        else:
            assert decoded[spn] == pytest.approx(value, abs=1e-9), spn


# what no printed frame above covers: first byte, first bit, bits, and the ends of the range (SAE J1939, two sources)
LAYOUT = [
    ("EEC1", 190, 4, 1, 16, 0.0, 8031.875),
    ("EEC1", 513, 3, 1, 8, -125.0, 125.0),
    ("EEC1", 2432, 8, 1, 8, -125.0, 125.0),
    ("EEC3", 514, 1, 1, 8, -125.0, 125.0),
    ("EBC1", 973, 5, 1, 8, 0.0, 100.0),
    ("CCVS1", 84, 2, 1, 16, 0.0, 250.99609375),
    ("CCVS1", 86, 6, 1, 8, 0.0, 250.0),
    ("CCVS1", 599, 5, 1, 2, 0.0, 1.0),
    ("CCVS1", 601, 5, 5, 2, 0.0, 1.0),
    ("LFE1", 183, 1, 1, 16, 0.0, 3212.75),
    ("LFE1", 184, 3, 1, 16, 0.0, 125.498046875),
    ("IC1", 102, 2, 1, 8, 0.0, 500.0),
    ("IC1", 105, 3, 1, 8, -40.0, 210.0),
    ("ET1", 174, 2, 1, 8, -40.0, 210.0),
    ("ET1", 175, 3, 1, 16, -273.0, 1734.96875),
    ("AMB", 108, 1, 1, 8, 0.0, 125.0),
    ("VEP1", 158, 7, 1, 16, 0.0, 3212.75),
    ("VDHR", 917, 1, 1, 32, 0.0, 21055406.075),
    ("RC", 556, 17, 1, 16, 0.0, 64255.0),
]


@pytest.mark.parametrize(("message", "number", "byte", "bit", "bits", "lowest", "highest"), LAYOUT)
def test_signals_lie_and_end_where_the_standard_has_them(message, number, byte, bit, bits, lowest, highest):
    """The last valid raw value is FA, FAFF, FAFFFFFF; above it lie error and not available (two sources)."""
    known = cantools.database.load_string(bus_database(), "dbc").get_message_by_name(message)
    signal = next(signal for signal in known.signals if signal.spn == number)
    assert (signal.start, signal.length, signal.byte_order) == (8 * (byte - 1) + bit - 1, bits, "little_endian")
    last = {2: 1, 8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}[bits]
    for raw, value in ((0, lowest), (last, highest)):
        assert signal.raw_to_scaled(raw, decode_choices=False) == pytest.approx(value, rel=1e-12)
    assert signal.raw_to_scaled(2**bits - 1) == NOT_AVAILABLE


def test_a_recorded_code_gives_the_recorded_frame():
    """Coolant level moderately low, twice, amber lamp: recorded, decode derived (one source)."""
    assert codes_payload([Active(111, 18, 2, "amber")]) == bytes.fromhex("C7 FF 6F 00 12 02 FF FF")


def test_four_printed_codes_give_their_payload_and_their_packets():
    """SPN 91 to 94 with FMI 3 to 6, one to four times: a test of an open-source library states them (one source)."""
    values = {f"{lamp}_{kind}": 0 for lamp in ("protect", "amber", "red", "malfunction") for kind in ("lamp",)}
    values |= {f"{lamp}_flash": NOT_AVAILABLE for lamp in ("protect", "amber", "red", "malfunction")}
    for place, (spn, mode, count) in enumerate([(91, 3, 1), (92, 4, 2), (93, 5, 3), (94, 6, 4)], start=1):
        values |= {f"spn_low_{place}": spn, f"spn_high_{place}": 0, f"fmi_{place}": mode, f"count_{place}": count}
        values[f"old_packing_{place}"] = 0
    payload = codes_message(4).encode(values, padding=True)
    assert payload == bytes.fromhex(FOUR_CODES)
    assert [data for _, data in several_packets(payload, 65226)] == [bytes.fromhex(text) for text in FOUR_CODES_PACKETS]


def test_a_recorded_message_of_several_packets_is_split_as_recorded():
    payload = bytes.fromhex(next(printed.data for printed in FRAMES if printed.message == "EC1"))
    assert [data for _, data in several_packets(payload, 65251)] == [bytes.fromhex(text) for text in ENGINE_PACKETS]


def test_a_number_above_sixteen_bits_is_split():
    """Two sources: bytes 3 and 4 carry the low 16 bits, bits 8 to 6 of byte 5 the high three, above the failure mode."""
    payload = codes_payload([Active(520193, 31, 126, "red")])
    low, high = payload[2] | payload[3] << 8, payload[4] >> 5
    assert low | high << 16 == 520193 and payload[4] & 31 == 31 and payload[5] == 126
    assert payload[0] == 0b11010011, "red on, amber off, the other two lamps not available"


def test_default_identifiers_are_the_recorded_ones():
    """Recorded identifiers (one source each) where the sender used the default priority."""
    recorded = {"ERC1": 0x18F0000F, "ET1": 0x18FEEE00, "EFL_P1": 0x18FEEF00, "EEC2": 0x0CF00300, "VDHR": 0x18FEC100,
                "ETC1": 0x0CF00203, "ETC2": 0x18F00503, "VD": 0x18FEE000, "VEP1": 0x18FEF700}  # fmt: skip
    assert {name: database().get_message_by_name(name).frame_id for name in recorded} == recorded
