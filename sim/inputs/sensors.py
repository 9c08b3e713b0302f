"""The sensors and switches of the engine controller: what each measures, its circuit, and what can go wrong with it.

Circuits, curves and thresholds are choices of this project (assumed). The suspect parameter numbers (SPN) are those of SAE J1939
where its published descriptions name them; each carries its mark. A part without such a number has one of the range from
520192 that the standard leaves to makers (from memory), and says so.
"""

import re
from typing import NamedTuple

from sim.messages import faults as say
from sim.units import from_si, quantity_in, to_si, unit_name

OWN_RANGE = 520192  # from memory: SPNs from here on are left to makers
OWN = "own number, in the range left to makers (from memory)"
TWO = "two sources"
ONE = "one source"

SUPPLY = 5.0  # V, assumed
BATTERY = 12.6  # V: a full battery at rest, TM 5-3805-262-20 (published)
CHARGING = 14.0  # V: 13.5 to 14.5, TM 5-3895-382-24 (published); 13.6 to 14.4 is common practice
CHARGES_FROM = to_si(450.0, "rpm")  # assumed: engine speed at which the alternator begins to charge
THERMISTOR_25 = 2500.0  # ohm, assumed
THERMISTOR_BETA = 3500.0  # K, assumed
PULL_UP = 2000.0  # ohm, assumed
PRESSURE_LOW, PRESSURE_HIGH = 0.1, 0.9  # of the supply, assumed
PEDAL_LOW, PEDAL_HIGH = 0.12, 0.84  # of the supply, assumed
SELECTOR_LOW, SELECTOR_STEP = 0.2, 0.2  # of the supply, assumed
BOOST_FULL_SCALE = to_si(400.0, "kpa")  # absolute, assumed
BAROMETER_FULL_SCALE = to_si(125.0, "kpa")  # assumed
OIL_FULL_SCALE = to_si(800.0, "kpa")  # assumed
FULL_SCALES = {
    "boost": from_si(BOOST_FULL_SCALE, "kpa"),
    "barometer": from_si(BAROMETER_FULL_SCALE, "kpa"),
    "oil_pressure": from_si(OIL_FULL_SCALE, "kpa"),
}
CRANK_TEETH, CAM_TEETH = 60.0, 12.0  # assumed
OIL_AT_IDLE, OIL_RELIEF = to_si(180.0, "kpa"), to_si(450.0, "kpa")  # warm, assumed
FUEL_WARMING = 0.35  # assumed
RICHEST_AIR_FUEL = 14.5  # from memory: all the air burns

# what the `circuit` field of a part says
SOUND, OPEN, SHORTED_LOW, SHORTED_HIGH, STUCK, DIALLED = range(6)

RATIOMETRIC = ("pressure", "level", "pedal")  # kinds whose voltage is a share of the supply
FARTHEST = 3.0e6  # m: as long as a road may be
LATEST = 1.0e6  # s: as long as a trip may take
HOTTEST_OFFSET = 150.0  # K, assumed: by which a thermistor can read wrong


class Sensor(NamedTuple):
    """One part of the controller's inputs. Voltages are those between which it is believed."""

    key: str
    name: str
    kind: str  # thermistor, pressure, level, pedal, wheel, switch, ladder or key
    unit: str  # unit of a value dialled in, as `sim.units` spells it
    believed: str  # field of the belief
    lowest: float
    highest: float
    spn: int
    mark: str
    says: str
    least: float  # that can be dialled in, in its unit
    most: float


def _carried(key: str, kind: str) -> tuple[float, float]:
    """Between which values a circuit carries what is measured, in the unit of the part."""
    if kind in RATIOMETRIC:
        low, high = (PEDAL_LOW, PEDAL_HIGH) if kind == "pedal" else (PRESSURE_LOW, PRESSURE_HIGH)
        full = FULL_SCALES.get(key, 100.0)
        return -low / (high - low) * full, (1.0 - low) / (high - low) * full
    if kind == "thermistor":
        return -75.0, 385.0  # the ends of what the controller reads
    if kind == "wheel":
        return 0.0, 250.0 if key == "road_speed" else 8000.0  # assumed: as fast as pulses can be counted
    if kind == "ladder":
        return -SELECTOR_LOW / SELECTOR_STEP, (1.0 - SELECTOR_LOW) / SELECTOR_STEP
    return 0.0, 1.0


def _sensors() -> tuple[Sensor, ...]:
    """The table below."""
    volts = {
        "thermistor": (0.10, 4.92),
        "pressure": (0.30, 4.70),
        "level": (0.30, 4.70),
        "pedal": (0.30, 4.60),
        "ladder": (1.5, 4.5),
    }
    rows = (
        ("boost", "boost pressure", "pressure", "kpa", "manifold_pressure", 102, TWO, "manifold pressure, absolute"),
        ("barometer", "barometric pressure", "pressure", "kpa", "ambient_pressure", 108, TWO, "outside air"),
        ("oil_pressure", "oil pressure", "pressure", "kpa", "oil_pressure", 100, TWO, "main gallery"),
        ("coolant", "coolant temperature", "thermistor", "c", "coolant_temperature", 110, TWO, "engine outlet"),
        ("fuel_temperature", "fuel temperature", "thermistor", "c", "fuel_temperature", 174, TWO, "at the head"),
        ("intake", "intake temperature", "thermistor", "c", "intake_temperature", 105, TWO, "intake manifold"),
        ("oil", "oil temperature", "thermistor", "c", "oil_temperature", 175, TWO, "engine oil"),
        ("coolant_level", "coolant level", "level", "percent", "coolant_level", 111, TWO, "surge tank, share of full"),
        ("pedal", "accelerator", "pedal", "percent", "accelerator", 91, TWO, "the driver's foot"),
        ("crank", "crankshaft position", "wheel", "rpm", "engine_speed", 636, ONE, "engine speed, 60 teeth"),
        ("cam", "camshaft position", "wheel", "rpm", "cam_speed", 723, ONE, "12 teeth at half engine speed"),
        ("road_speed", "road speed", "wheel", "km_h", "road_speed", 84, TWO, "wheel on the gearbox output shaft"),
        ("clutch_switch", "clutch switch", "switch", "", "clutch_pressed", 598, TWO, "opens when the pedal is pressed"),
        ("brake_switch", "brake switch", "switch", "", "brake_pressed", 597, TWO, "opens when the pedal is pressed"),
        ("retarding_switch", "engine-brake switch", "switch", "", "retarding_switch", OWN_RANGE + 1, OWN, "closed: on"),
        ("selector", "engine-brake selector", "ladder", "", "selector", 973, TWO, "2, 3, 4 V for stage 1, 2, 3"),
        ("cruise_switch", "cruise switch", "switch", "", "cruise_switch", 596, TWO, "closed: on"),
        ("set_button", "set button", "switch", "", "set_button", 599, TWO, "closed while pressed"),
        ("resume_button", "resume button", "switch", "", "resume_button", 601, TWO, "closed while pressed"),
        ("fan_switch", "fan switch", "switch", "", "fan_switch", OWN_RANGE + 2, OWN, "closed: fan on"),
        ("key", "key", "key", "", "key", 158, TWO, "voltage of the battery while on"),
    )
    return tuple(
        Sensor(key, name, kind, unit, believed, *volts.get(kind, (0.0, 0.0)), spn, mark, says, *_carried(key, kind))
        for key, name, kind, unit, believed, spn, mark, says in rows
    )


SENSORS = {sensor.key: sensor for sensor in _sensors()}
MEASURING = ("thermistor", "pressure", "level", "pedal")  # kinds whose value is a number behind a voltage
OFFSET_UNITS = {"thermistor": "k", "pressure": "kpa", "level": "percent", "pedal": "percent"}
QUANTITIES = {  # unit of a sensor, or of the size of a failure -> what it measures
    "kpa": "absolute pressure",
    "c": "temperature",
    "k": "temperature rise",
    "percent": "share",
    "rpm": "engine speed",
    "km_h": "speed",
    "": "number",
}
SWAPPED_WITH = {"boost": "oil_pressure", "oil_pressure": "boost", "coolant": "intake", "intake": "coolant"}

# solenoid of a pair of the engine brake: driven output, its number in the standard
SOLENOIDS = {
    "front": (1073, ONE),
    "middle": (1072, ONE),
    "rear": (1112, ONE),
}
OTHER_PARTS = {
    **{f"engine brake, {pair} pair": f"solenoid_{pair}" for pair in SOLENOIDS},
    "engine-brake circuits": "solenoids",
    "oil pump": "oil_pump",
    "coolant": "coolant_fill",
}
PARTS = {**{sensor.name: sensor.key for sensor in SENSORS.values()}, **OTHER_PARTS}
NAMES = {key: name for name, key in PARTS.items()}


class FailureKind(NamedTuple):
    """One way to fail: the unit of its size ("" for none, "?" for that of the part), and what it is."""

    unit: str
    says: str


FAILURES = {
    "open": FailureKind("", "the wire is broken or the plug is off"),
    "shorted low": FailureKind("", "the signal wire touches ground; of a switch: always closed"),
    "shorted high": FailureKind("", "the signal wire touches the supply"),
    "offset": FailureKind("?", "reads wrong by the same amount everywhere"),
    "drift": FailureKind("?", "reads wrong by more and more, so much a minute"),
    "stuck": FailureKind("", "the signal stays where it is"),
    "intermittent": FailureKind("", "a plug that opens and closes as it is shaken"),
    "swapped": FailureKind("", "its plug and that of its neighbour are exchanged"),
    "erratic": FailureKind("", "pulses come and go"),
    "weak": FailureKind("km_h", "the pickup sits too far from the wheel: no pulses below a speed"),
    "dead": FailureKind("", "the circuit is sound, the mechanism does not move"),
    "worn": FailureKind("percent", "delivers so much less than a sound one"),
    "low": FailureKind("percent", "so much of it is missing"),
    "mended": FailureKind("", "sound again"),
}


def failures_of(part: str) -> tuple[str, ...]:
    """In what ways a part can fail.

    Parameters
    ----------
    part : str
        Key of a part.

    Returns
    -------
    failures : tuple of str
        Names, in the order of `FAILURES`, mended left out.

    Examples
    --------
    >>> failures_of("key"), failures_of("solenoid_front")
    (('open', 'intermittent'), ('open', 'dead'))
    """
    if part.startswith("solenoid_"):
        return ("open", "dead")
    others = {"solenoids": ("swapped",), "oil_pump": ("worn",), "coolant_fill": ("low",)}
    if part in others:
        return others[part]
    kind = SENSORS[part].kind
    electrical = ("open", "shorted low", "shorted high")
    if kind in MEASURING:
        swapped = ("swapped",) if part in SWAPPED_WITH else ()
        return (*electrical, "offset", "drift", "stuck", "intermittent", *swapped)
    if part == "road_speed":
        return ("open", "shorted low", "stuck", "intermittent", "erratic", "weak")
    if kind == "wheel":
        return ("open", "shorted low", "intermittent")
    if kind == "key":
        return ("open", "intermittent")
    return (*electrical, "stuck", "intermittent")


class Occurrence(NamedTuple):
    """A failure, or a value dialled in, with where or when it begins."""

    trigger: str  # place or time
    begin: float  # m or s
    part: str
    failure: str
    size: float  # SI


_BEGIN = r"(?:(start)|([0-9]+\.?[0-9]*)\s*(km|mi|m|s|min))\s+"


def size_unit(part: str, failure: str) -> str:
    """Unit of the size of a failure.

    Parameters
    ----------
    part : str
        Key of a part.
    failure : str
        One of `FAILURES`.

    Returns
    -------
    unit : str
        As `sim.units` spells it, "" for a failure without size.

    Examples
    --------
    >>> size_unit("boost", "offset"), size_unit("road_speed", "weak"), size_unit("boost", "open")
    ('kpa', 'km_h', '')
    """
    unit = FAILURES[failure].unit
    return OFFSET_UNITS[SENSORS[part].kind] if unit == "?" else unit


def quantity_of(part: str) -> str:
    """What a sensor measures, as `sim.units` names quantities; a plain number for a selector.

    Examples
    --------
    >>> quantity_of("boost"), quantity_of("oil_pressure"), quantity_of("selector")
    ('absolute pressure', 'gauge pressure', 'number')
    """
    return "gauge pressure" if part == "oil_pressure" else QUANTITIES[SENSORS[part].unit]


def size_quantity(part: str, failure: str) -> str:
    """What the size of a failure is, as `sim.units` names quantities; empty for a failure without size.

    Examples
    --------
    >>> size_quantity("boost", "offset"), size_quantity("road_speed", "weak"), size_quantity("boost", "open")
    ('pressure difference', 'speed', '')
    """
    unit = size_unit(part, failure)
    return "pressure difference" if unit == "kpa" else QUANTITIES[unit] if unit else ""


def size_range(part: str, failure: str) -> tuple[float, float]:
    """Between what bounds the size of a failure may lie.

    Parameters
    ----------
    part : str
        Key of a part.
    failure : str
        One of `FAILURES` that has a size.

    Returns
    -------
    least : float
        [unit of `size_unit`]
    most : float
        [unit of `size_unit`]

    Examples
    --------
    >>> size_range("boost", "offset"), size_range("oil_pump", "worn")
    ((-400.0, 400.0), (0.0, 100.0))
    """
    if failure in ("offset", "drift"):
        most = HOTTEST_OFFSET if SENSORS[part].kind == "thermistor" else FULL_SCALES.get(part, 100.0)
        return -most, most
    return 0.0, SENSORS[part].most if failure == "weak" else 100.0


def _begin(text: str, dialled: bool) -> tuple[str, float, str]:
    """Trigger, its place or time, and the rest of the text."""
    found = re.match(rf"\s*{_BEGIN}(.+?)\s*$", text)
    if not found:
        raise ValueError(say.no_begin(text=text, dialled=dialled))
    if found[1]:
        return "time", 0.0, found[4]
    unit = found[3]
    trigger, base = ("time", "s") if unit in ("s", "min") else ("place", "m")
    begin = quantity_in(f"{found[2]}{unit}", base)
    most = LATEST if trigger == "time" else FARTHEST
    if not begin <= most:
        shown, unit = (most, "s") if trigger == "time" else (most / 1000.0, "km")
        raise ValueError(say.begins_too_far(text=text, most=shown, unit=unit))
    return trigger, begin, found[4]


def _part(text: str, names: dict[str, str], dialled: bool) -> tuple[str, str]:
    """The part a text begins with, and what follows it."""
    for name in sorted(names, key=len, reverse=True):
        if text == name or text.startswith((f"{name} ", f"{name}: ")):
            return names[name], text[len(name) :].lstrip(": ")
    raise ValueError(say.no_part(text=text, parts=list(names), dialled=dialled))


def read_occurrence(text: str) -> Occurrence:
    """Reads "2.5 km boost pressure offset -40 kPa".

    Parameters
    ----------
    text : str
        `start`, a place or a time; a part; a failure; where the failure has one, its size.

    Returns
    -------
    occurrence : Occurrence
        [SI]

    Raises
    ------
    ValueError
        It is not of that form; the message says what is.

    Examples
    --------
    >>> read_occurrence("2 km coolant temperature open")
    Occurrence(trigger='place', begin=2000.0, part='coolant', failure='open', size=0.0)
    >>> read_occurrence("90 s boost pressure offset -40 kPa").size
    -40000.0
    """
    trigger, begin, rest = _begin(text, dialled=False)
    part, rest = _part(rest, PARTS, dialled=False)
    known = (*failures_of(part), "mended")
    failure = next((name for name in sorted(known, key=len, reverse=True) if re.match(rf"{name}(\s|$)", rest)), None)
    if failure is None:
        raise ValueError(say.no_failure(text=text, part=NAMES[part], known=known))
    rest = rest[len(failure) :].strip().removesuffix("/min").removesuffix("a minute").strip()
    unit = size_unit(part, failure)
    if not unit and rest:
        raise ValueError(say.takes_no_size(text=text, failure=failure))
    if unit and not rest:
        raise ValueError(say.needs_size(text=text, failure=failure, unit=unit_name(unit)))
    if not unit:
        return Occurrence(trigger, begin, part, failure, 0.0)
    if unit == "k":  # a difference of temperatures
        rest = re.sub(r"\s*[CK]$", "", rest)
        if not re.fullmatch(r"[-+]?[0-9.]+", rest):
            raise ValueError(say.no_difference(text=text))
    try:
        size = quantity_in(rest, unit)
    except ValueError as problem:
        raise ValueError(say.size_not_read(text=text, problem=str(problem))) from None
    least, most = size_range(part, failure)
    if not least <= size <= most:
        raise ValueError(
            say.size_out_of_range(text=text, failure=failure, least=least, most=most, unit=unit_name(unit))
        )
    return Occurrence(trigger, begin, part, failure, to_si(size, unit))


ON_WORDS = {"on": 1.0, "pressed": 1.0, "off": 0.0, "released": 0.0}


def read_dialled(text: str) -> Occurrence:
    """Reads "1 km coolant temperature 118 C" or "3 km coolant temperature let go".

    Parameters
    ----------
    text : str
        `start`, a place or a time; a sensor or switch; a value, on/off, pressed/released, or let go.

    Returns
    -------
    occurrence : Occurrence
        Its failure is dialled or mended, its size the value. [SI]

    Raises
    ------
    ValueError
        It is not of that form; the message says what is.

    Examples
    --------
    >>> round(read_dialled("1 km coolant temperature 118 C").size, 2), read_dialled("60 s clutch switch pressed").size
    (391.15, 1.0)
    """
    trigger, begin, rest = _begin(text, dialled=True)
    part, rest = _part(rest, {sensor.name: sensor.key for sensor in SENSORS.values()}, dialled=True)
    if rest == "let go":
        return Occurrence(trigger, begin, part, "mended", 0.0)
    sensor = SENSORS[part]
    try:
        value = ON_WORDS[rest] if sensor.kind in ("switch", "key") else quantity_in(rest, sensor.unit)
    except KeyError:
        raise ValueError(say.not_on_or_off(text=text, switch=sensor.name, known=list(ON_WORDS))) from None
    except ValueError as problem:
        raise ValueError(say.value_not_read(text=text, problem=str(problem))) from None
    if not sensor.least <= value <= sensor.most:
        unit = unit_name(sensor.unit) if sensor.unit else ""
        raise ValueError(
            say.value_out_of_range(text=text, sensor=sensor.name, least=sensor.least, most=sensor.most, unit=unit)
        )
    return Occurrence(trigger, begin, part, "dialled", to_si(value, sensor.unit))


def shown(sensor: Sensor, value: float) -> str:
    """A value of a sensor in the unit it is dialled in, as people write it.

    Parameters
    ----------
    value : float
        [SI]

    Examples
    --------
    >>> shown(SENSORS["boost"], 250000.0), shown(SENSORS["clutch_switch"], 1.0)
    ('250 kPa', 'on')
    """
    if sensor.kind in ("switch", "key"):
        return "on" if value > 0.5 else "off"
    text = f"{from_si(value, sensor.unit):.4g}"
    return f"{text} {unit_name(sensor.unit)}" if sensor.unit else text
