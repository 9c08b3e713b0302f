"""The tests a student can ask for: by name, with the time they take, what they show, and how a reading is judged.

A reading is judged as a mechanic does: against that of a sound truck of the same kind, low, high or within the tolerance, and by
its words where it is no number. The times are assumed; they only weigh one path against another.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from sim.errors import SettingsError
from sim.hidden.truck_under_test import DRIVES, GAUGES, ROLLER_SPEEDS, Reading, TruckUnderTest, measured, sensed
from sim.inputs.files import load_settings
from sim.inputs.sensors import SENSORS
from sim.inputs.specs import PAIRS
from sim.messages import hidden as say
from sim.roads.route import Route, known_road
from sim.trips.result import code_state, frozen
from sim.units import from_si, kind_of_unit, unit_of_key
from sim.wording import Finding, finding

VOLTS = 0.12  # V, assumed: what a meter on a long wire is good for
SPREAD = 0.5  # V, assumed: a signal that wanders further at idle is loose
TOLERANCES = {"kpa": 12.0, "c": 6.0, "percent": 3.0, "rpm": 25.0, "km_h": 2.0, "": 0.5}
PERCENT_OF_LEVEL = 8.0
POWER = 0.04  # of a sound truck's, assumed
LONGEST_ROAD = 25000.0  # m of a road of the student's own
LONGEST_TOGETHER = 30000.0  # m of such roads in a case: marking drives each of them with every other cause
LONGEST_TEST = 400  # letters
# tables of the settings that are the driver's and the road's, not the truck's
FREE_TABLES = ("start", "weather", "cruise", "driver", "retarding", "drill", "fan", "shifting")
PARTS = {sensor.name: key for key, sensor in SENSORS.items()}
Verdict = str | float | Finding


class Procedure(NamedTuple):
    """One kind of test."""

    words: str
    minutes: float
    takes: tuple[str, ...]  # what may follow the name; empty for nothing
    moves: bool  # on the road or on rollers
    group: str
    needs: str


LOOK, ASK, WIRES, GAUGE, ROAD, STAND = (
    "Look and listen",
    "Ask the controller",
    "Meter and wiring",
    "Gauges of your own",
    "On the road",
    "On the rollers",
)


MENU: dict[str, Procedure] = {
    "look": Procedure("lamp, coolant in the tank", 3.0, (), False, LOOK, "a light, engine idling"),
    "idle": Procedure(
        "tachometer on the pulley: idle, high idle, and the highest speed after a snap of the pedal",
        5.0,
        (),
        False,
        LOOK,
        "optical tachometer, gearbox in neutral",
    ),
    "fan": Procedure(
        "fan at idle, by eye and tachometer, and whether the controller calls it",
        5.0,
        (),
        False,
        LOOK,
        "optical tachometer, hands clear of the fan",
    ),
    "codes": Procedure(
        "codes active and earlier, count and freeze frame, after the drives so far",
        5.0,
        (),
        False,
        ASK,
        "code reader on the diagnostic plug",
    ),
    "values": Procedure("what the controller believes at idle", 5.0, (), False, ASK, "code reader, engine idling"),
    "record": Procedure("every programmed value", 8.0, (), False, ASK, "code reader, key on"),
    "meter": Procedure(
        "voltage or frequency at the controller's pin: engine at rest, idling, revved; a switch or pedal moved",
        10.0,
        tuple(PARTS),
        False,
        WIRES,
        "multimeter, probes from behind the plug, wiring diagram",
    ),
    "wire": Procedure(
        "key off, plug off: resistance of the signal wire end to end, to ground, to supply",
        20.0,
        tuple(PARTS),
        False,
        WIRES,
        "ohmmeter, key off, both plugs off, wiring diagram",
    ),
    "solenoid": Procedure(
        "one pair of the engine brake energised by hand: current, and what moves",
        20.0,
        PAIRS,
        False,
        WIRES,
        "fused lead, clamp meter, valve cover off",
    ),
    "gauge": Procedure(
        "an instrument of your own beside the sensor",
        15.0,
        tuple(SENSORS[key].name for key in GAUGES),
        False,
        GAUGE,
        "gauge or thermometer with fittings",
    ),
    "thermostat": Procedure(
        "the thermostat in a pot of water with a thermometer",
        40.0,
        (),
        False,
        GAUGE,
        "coolant drained cold, thermostat out, pot, thermometer",
    ),
    "drive": Procedure(
        "a road, with what driver, stopwatch and tank tell",
        15.0,
        tuple(DRIVES),
        True,
        ROAD,
        "driver, passenger who writes",
    ),
    "coast": Procedure(
        "speed lost on the level with the clutch down",
        15.0,
        (),
        True,
        ROAD,
        "driver, passenger with stopwatch, level road",
    ),
    "rollers": Procedure(
        "full pedal on rollers: power at the wheels, boost", 45.0, (), True, STAND, "roller stand, truck strapped down"
    ),
    "air gauge": Procedure(
        "gauge behind the air filter, full pedal on rollers",
        30.0,
        (),
        True,
        STAND,
        "roller stand, restriction gauge behind the filter",
    ),
    "exhaust gauge": Procedure(
        "gauge in the exhaust, full pedal on rollers", 30.0, (), True, STAND, "roller stand, gauge in the exhaust pipe"
    ),
    "pyrometer": Procedure(
        "exhaust before the turbine, full pedal on rollers", 30.0, (), True, STAND, "roller stand, thermocouple"
    ),
    "charge air": Procedure(
        "air behind the compressor and in the manifold, full pedal on rollers",
        30.0,
        (),
        True,
        STAND,
        "roller stand, two thermometers in the charge pipes",
    ),
    "fuel pressure": Procedure(
        "gauge behind the fuel filter, full pedal on rollers",
        30.0,
        (),
        True,
        STAND,
        "roller stand, gauge in the fuel line; fuel under pressure: engine off to fit it",
    ),
    "fuel flow": Procedure(
        "fuel burnt on rollers", 30.0, (), True, STAND, "roller stand, flow meter in supply and return"
    ),
    "cut-out": Procedure(
        "one injector after the other cut out on rollers", 45.0, (), True, STAND, "roller stand, code reader"
    ),
}


class Request(NamedTuple):
    """A test with what follows its name."""

    name: str
    about: str = ""
    changes: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """As a student writes it. [-]"""
        return " ".join(word for word in (self.name, self.about, *self.changes) if word)


def read_request(text: str) -> Request:
    """Reads what a student asks for.

    Parameters
    ----------
    text : str
        Name of a test, and what it is about.

    Raises
    ------
    SettingsError
        There is no such test, or it is not about that.

    Examples
    --------
    >>> read_request("meter coolant temperature")
    Request(name='meter', about='coolant temperature', changes=())
    >>> read_request("drive grade:4%,2km weather.temperature_c=35").about
    'grade:4%,2km'
    """
    if len(text) > LONGEST_TEST:
        raise SettingsError(say.long_test(letters=len(text), most=LONGEST_TEST))
    words = " ".join(text.split())
    name = next(
        (name for name in sorted(MENU, key=len, reverse=True) if words == name or words.startswith(f"{name} ")), None
    )
    if name is None:
        raise SettingsError(say.no_test(text=words, known=list(MENU)))
    about, takes = words[len(name) :].strip(), MENU[name].takes
    if name == "drive":
        return _read_drive(about)
    if about and not takes:
        raise SettingsError(say.takes_nothing(name=name, about=about))
    if takes and about not in takes:
        raise SettingsError(say.about_what(name=name, about=about, known=takes))
    return Request(name, about)


def _read_drive(about: str) -> Request:
    """A drive by name, or a road with settings."""
    named = next(
        (name for name in sorted(DRIVES, key=len, reverse=True) if about == name or about.startswith(f"{name} ")), None
    )
    words = about[len(named) :].split() if named else about.split()
    road = named or (words.pop(0) if words else "")
    if not road:
        raise SettingsError(say.about_what(name="drive", about="", known=tuple(DRIVES)))
    for change in words:
        table = change.partition(".")[0]
        if table not in FREE_TABLES or "=" not in change:
            raise SettingsError(say.not_the_drivers(change=change, tables=FREE_TABLES))
    return Request("drive", road, tuple(words))


def check_requests(requests: Iterable[Request], roads: Callable[[str], Route] = known_road) -> None:
    """Refuses drives that cannot be made: before the last of them is recorded, and before a session that tells of them is believed.

    Parameters
    ----------
    requests : iterable of Request
        Of one case, in their order.
    roads : callable
        Gives the road of a name.

    Raises
    ------
    HaulbenchError
        A road or a setting cannot be used, or the roads of the student's own are too long together.
    """
    named, together = set(every_request(True)), 0.0
    for request in dict.fromkeys(each for each in requests if each.name == "drive"):
        road, settings = DRIVES.get(request.about, (request.about, ()))
        load_settings(None, [*settings, *request.changes])
        length = roads(road).length
        if length > LONGEST_ROAD:
            raise SettingsError(
                say.road_too_long(road=request.about, length_km=length / 1000.0, most_km=LONGEST_ROAD / 1000.0)
            )
        together += 0.0 if request in named else length
        if together > LONGEST_TOGETHER:
            raise SettingsError(
                say.roads_too_long(road=request.about, together_km=together / 1000.0, most_km=LONGEST_TOGETHER / 1000.0)
            )


# ---------------------------------------------------------------- what each shows


def perform(truck: TruckUnderTest, request: Request, before: Sequence[Request] = ()) -> list[Reading]:
    """Makes a test.

    Parameters
    ----------
    before : sequence of Request
        What was asked for before, for the codes that the drives have left.
    """
    if request.name == "drive":
        return truck.drive(request.about, request.changes)[0]
    if request.name == "codes":
        return _codes(truck, before)
    return _SHOWN[request.name](truck, request.about)


def _codes(truck: TruckUnderTest, before: Sequence[Request]) -> list[Reading]:
    """Codes of the yard and of the drives so far."""
    found: dict[tuple[int, int], dict[str, Any]] = {}
    lists = [truck.drive(request.about, request.changes)[1] for request in before if request.name == "drive"]
    for codes in (*lists, truck.yard["codes"]):
        for code in found.values():
            code["active"] = False
        for code in codes:
            key = (code["spn"], code["fmi"])
            count = found.get(key, {}).get("count", 0) + code["count"]
            frame = found[key]["freeze_frame"] if key in found else code["freeze_frame"]
            found[key] = {**code, "count": count, "freeze_frame": frame}
    numbers = [f"{spn}/{mode}" for spn, mode in sorted(found)]
    readings = [
        Reading("codes (SPN/FMI)", finding("reading.list", all=numbers) if numbers else finding("reading.none"))
    ]
    for (spn, mode), code in sorted(found.items()):
        readings.append(Reading(f"{spn}/{mode}", code_state(code), judged=False))
        readings.append(Reading(f"{spn}/{mode} freeze frame", frozen(code["freeze_frame"]), judged=False))
    return readings


def _tolerance(key: str) -> float:
    """What a value of a sensor may be off a sound truck's."""
    return PERCENT_OF_LEVEL if key == "coolant_level" else TOLERANCES[SENSORS[key].unit]


def _values(truck: TruckUnderTest, _: str) -> list[Reading]:
    """What the controller believes."""
    return [sensed(SENSORS[key].name, key, value, _tolerance(key)) for key, value in truck.yard["believed"].items()]


def _signal(name: str, key: str, value: float) -> Reading:
    """A reading of a meter."""
    if SENSORS[key].kind == "wheel":
        return measured(name, value, "", "frequency", max(VOLTS, 0.04 * value))
    return measured(name, value, "", "voltage", VOLTS, places=2)


def _meter(truck: TruckUnderTest, about: str) -> list[Reading]:
    """Pin of a part in several states."""
    key, yard = PARTS[about], truck.yard
    kind = SENSORS[key].kind
    if kind == "switch":
        released, pressed = yard["moved"][key]
        return [_signal("released or off", key, released), _signal("pressed or on", key, pressed)]
    if kind == "ladder":
        return [_signal(f"position {place}", key, value) for place, value in enumerate(yard["selector"], start=1)]
    low, high = yard["between"][key]
    readings = [_signal("engine at rest", key, yard["rest"][key][0]), _signal("idling", key, yard["idle"][key][0])]
    readings.append(_signal("revved" if kind != "pedal" else "pedal down", key, yard["revved"][key][0]))
    if kind != "wheel":
        readings.append(measured("wanders at idle by", high - low, "", "voltage", SPREAD, places=2))
    return readings


def _gauge(truck: TruckUnderTest, about: str) -> list[Reading]:
    """What is true, by an instrument of one's own."""
    key, yard = PARTS[about], truck.yard
    states = (("rest", "engine at rest"), ("idle", "idling"), ("revved", "revved"))
    return [sensed(words, key, yard[state][key][1], _tolerance(key)) for state, words in states]


def _ohms(value: float) -> Finding:
    """A resistance as a meter would show it."""
    if np.isinf(value):
        return finding("reading.no_way_through")
    return finding("reading.resistance", between=round(value, 1))


def _wire(truck: TruckUnderTest, about: str) -> list[Reading]:
    """Resistances of a signal wire."""
    found = truck.yard["wires"][PARTS[about]]
    return [Reading(name.replace("_", " "), _ohms(value)) for name, value in found.items()]


def _solenoid(truck: TruckUnderTest, pair: str) -> list[Reading]:
    """One solenoid energised by hand."""
    current, works = truck.yard["solenoids"][pair]
    return [
        Reading("current", Finding("reading.flows" if current == "flows" else "reading.none")),
        Reading("cylinders that move", works, tolerance=0.5),
    ]


def _look(truck: TruckUnderTest, _: str) -> list[Reading]:
    """Once around the truck."""
    level = 100.0 * truck.yard["idle"]["coolant_level"][1]
    return [
        Reading("lamp, engine idling", truck.yard["lamp"]),
        measured("coolant in the tank", level, "percent", "share", PERCENT_OF_LEVEL, places=0),
    ]


def _idle(truck: TruckUnderTest, _: str) -> list[Reading]:
    """Speeds of the engine in neutral."""
    names = (
        ("idle", "idle_rpm", 15.0),
        ("high idle", "high_idle_rpm", 40.0),
        ("highest after a snap", "peak_rpm", 40.0),
    )
    return [_turning(words, truck.yard[name], tolerance) for words, name, tolerance in names]


def _turning(name: str, rpm: float, tolerance: float) -> Reading:
    """A reading of a tachometer. [rpm]"""
    return measured(name, rpm, "rpm", "engine speed", tolerance, places=0)


def _fan(truck: TruckUnderTest, _: str) -> list[Reading]:
    """The fan at idle."""
    called = Finding("reading.yes" if truck.yard["fan_called"] else "reading.no")
    return [_turning("fan speed at idle", truck.yard["fan_rpm"], 60.0), Reading("called by the controller", called)]


def _record(truck: TruckUnderTest, _: str) -> list[Reading]:
    """Every programmed value."""
    readings = []
    for entry in truck.programmed:
        key, value = entry.key, entry.new
        if isinstance(value, bool) or not isinstance(value, int | float):
            readings.append(Reading(key, finding("reading.programmed", value=str(value).lower())))
        else:
            kind, digits = kind_of_unit(entry.unit), 2 if abs(value) < 10.0 else 1
            if kind in ("engine speed", "number"):
                digits = 0
            readings.append(measured(key, float(value), entry.unit, kind, 0.005 * abs(float(value)), 2, digits))
    return readings


def _at_speed(
    truck: TruckUnderTest,
    column: str,
    quantity: str,
    share: float,
    least: float,
    digits: int | None = None,
    name: str = "at",
) -> list[Reading]:
    """A column of the sweep, speed by speed."""
    readings = []
    for rpm, value in zip(ROLLER_SPEEDS, truck.rollers[column], strict=True):
        words = f"{name} {rpm} rpm"
        if np.isfinite(value):
            tolerance = max(share * abs(round(float(value), 1)), least)
            readings.append(measured(words, float(value), unit_of_key(column), quantity, tolerance, digits=digits))
        else:
            readings.append(Reading(words, finding("reading.not_reached")))
    return readings


def _rollers(truck: TruckUnderTest, _: str) -> list[Reading]:
    """Power and boost at full pedal."""
    power = _at_speed(truck, "wheel_power_kw", "power", POWER, 3.0, name="power at")
    return power + _at_speed(truck, "boost_kpa", "gauge pressure", 0.06, 5.0, name="boost at")


def _cut_out(truck: TruckUnderTest, _: str) -> list[Reading]:
    """What each cylinder gives."""
    lost = truck.cut_out
    return [
        measured(f"power lost without cylinder {n}", each, "percent", "share", 10.0, digits=1)
        for n, each in enumerate(lost, start=1)
    ]


def _thermostat(truck: TruckUnderTest, _: str) -> list[Reading]:
    """The thermostat in hot water."""
    return [measured("begins to open", truck.truck.cooling.thermostat_opens_c, "c", "temperature", 4.0, places=0)]


def _coast(truck: TruckUnderTest, _: str) -> list[Reading]:
    """What the road takes."""
    return [measured("speed lost in 25 s", from_si(truck.coasting, "km_h"), "km_h", "speed", 0.5)]


_SHOWN: dict[str, Callable[[TruckUnderTest, str], list[Reading]]] = {
    "look": _look,
    "values": _values,
    "idle": _idle,
    "fan": _fan,
    "record": _record,
    "meter": _meter,
    "gauge": _gauge,
    "wire": _wire,
    "solenoid": _solenoid,
    "thermostat": _thermostat,
    "coast": _coast,
    "rollers": _rollers,
    "pyrometer": lambda truck, _: _at_speed(truck, "exhaust_temperature_c", "temperature", 0.0, 12.0),
    "charge air": lambda truck, _: (
        _at_speed(truck, "charge_temperature_c", "temperature", 0.0, 4.0, name="behind the compressor at")
        + _at_speed(truck, "intake_temperature_c", "temperature", 0.0, 4.0, name="in the manifold at")
    ),
    "fuel pressure": lambda truck, _: _at_speed(truck, "fuel_pressure_kpa", "gauge pressure", 0.05, 10.0),
    "air gauge": lambda truck, _: _at_speed(truck, "intake_depression_kpa", "pressure difference", 0.1, 0.7, 2),
    "exhaust gauge": lambda truck, _: _at_speed(truck, "back_pressure_kpa", "gauge pressure", 0.1, 1.5),
    "fuel flow": lambda truck, _: _at_speed(truck, "fuel_rate_g_s", "fuel rate", POWER, 0.3),
    "cut-out": _cut_out,
}


# ---------------------------------------------------------------- judged


NOISE = 1.0 + 1e-9  # of arithmetic: a reading that is off by the tolerance is within it


def judged(readings: Sequence[Reading], sound: Sequence[Reading]) -> tuple[tuple[str, Verdict], ...]:
    """Readings against those of a sound truck: ok, low, high, or the words.

    Parameters
    ----------
    sound : sequence of Reading
        Of the same test.

    Returns
    -------
    findings : tuple of (str, str or other)
        Name of each judged reading and what it says.

    Examples
    --------
    >>> judged([Reading("idle", 59.7)], [Reading("idle", 68.1, "engine speed", 1.6)])
    (('idle', 'low'),)
    """
    right = {reading.name: reading for reading in sound}
    return tuple((reading.name, verdict_of(reading, right.get(reading.name))) for reading in readings if reading.judged)


def readings_differ(one: Sequence[Reading], other: Sequence[Reading], sound: Sequence[Reading]) -> bool:
    """Whether a test tells two trucks apart: a reading is judged differently, and by more than an instrument's tolerance.

    Parameters
    ----------
    other : sequence of Reading
        Of the same test.
    sound : sequence of Reading
        Of the same test.

    Examples
    --------
    >>> sound = [Reading("idle", 68.1, "engine speed", 1.6)]
    >>> readings_differ([Reading("idle", 69.5)], [Reading("idle", 69.8)], sound)
    False
    """
    right = {reading.name: reading for reading in sound}
    others = {reading.name: reading for reading in other if reading.judged}
    mine = {reading.name: reading for reading in one if reading.judged}
    if mine.keys() != others.keys():
        return True
    for name, reading in mine.items():
        against, spec = others[name], right.get(name)
        if verdict_of(reading, spec) == verdict_of(against, spec):
            continue
        if spec is None or isinstance(reading.value, Finding) or isinstance(against.value, Finding):
            return True
        if abs(reading.value - against.value) > spec.tolerance * NOISE:
            return True
    return False


def verdict_of(reading: Reading, sound: Reading | None) -> Verdict:
    """One reading judged: ok, low, high, other, or what it says in words or, without a sound one, as a number.

    Parameters
    ----------
    sound : Reading or None
        Of the same name, from a sound truck; None where that shows none.
    """
    if sound is None:
        return reading.value
    if isinstance(reading.value, Finding) or isinstance(sound.value, Finding):
        if reading.value == sound.value:
            return "ok"
        return reading.value if isinstance(reading.value, Finding) else "other"
    if abs(reading.value - sound.value) <= sound.tolerance * NOISE:
        return "ok"
    return "low" if reading.value < sound.value else "high"


def every_request(moves: bool) -> list[Request]:
    """Every test of the menu with everything it may be about.

    Parameters
    ----------
    moves : bool
        Those on the road and on rollers, or those in the yard.
    """
    found = []
    for name, test in MENU.items():
        if test.moves == moves:
            found += [Request(name, about) for about in test.takes] if test.takes else [Request(name)]
    return found


def minutes(request: Request) -> float:
    """How long a test takes in a shop, about.

    Returns
    -------
    minutes : float
        [min]
    """
    return MENU[request.name].minutes
