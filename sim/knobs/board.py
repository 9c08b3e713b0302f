"""The board of knobs: what hands have done, done again from the start with the real controller, and what is seen of it.

The clock is that of a trip, its kernel sensing and deciding at every tick and moving nothing (`HELD_STILL`). Sensors, circuits and
every actor are those of a trip. With the key off there is no controller; a new one begins as the key is turned on.
"""

import difflib
import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from sim.actors import brake_stages, cruise, diagnosis, fan, faults
from sim.actors.interlocks import interlocks
from sim.actors.underway import Underway
from sim.errors import SettingsError
from sim.inputs.sensors import DIALLED, SENSORS, SOUND, quantity_of
from sim.inputs.specs import PAIRS, Settings, Truck
from sim.march.assemble import assembled, initial_records
from sim.march.clock import Clock, Rig
from sim.march.meter import pin_of, signal_unit
from sim.march.records import BELIEF, HELD_STILL, LIMITERS
from sim.march.seat import lever_and_splitter
from sim.messages import knobs as say
from sim.roads.route import load_route
from sim.trips.result import code_state
from sim.units import from_si, to_si, unit_name
from sim.wording import Finding, finding

LEVEL = "grade:0%,1km"  # nothing moves; its air is that of the weather
MOST_ACTIONS = 500
LONGEST = 900.0  # s
AHEAD = 45.0  # s after the last action: longer than any patience of the controller but that of a stuck button
FRAME = 0.1  # s between two looks
MOST_EVENTS = 12  # of the event log that are told
BUTTON = "button"


class Knob(NamedTuple):
    """Something a hand turns, throws or presses; bounds in SI, steps of a slider in the units its reader is shown."""

    name: str
    words: str
    kind: str  # dial, switch, place or button
    quantity: str
    unit: str  # as `sim.units` spells it
    least: float
    most: float
    steps: tuple[float, float]


def _knobs() -> Iterator[Knob]:
    """The table below; sensors have the names of `sim.inputs.sensors`, all else those of the controls."""
    dials = """
    engine_speed     | engine speed         | engine speed | rpm     | 0   | 3000 | 10 10
    road_speed       | road speed           |              | km_h    | 0   | 130  | 1 1
    accelerator      | accelerator          | share        | percent | 0   | 100  | 1 1
    boost            | boost pressure       |              | kpa     | 20  | 390  | 5 1
    oil_pressure     | oil pressure         |              | kpa     | 0   | 780  | 10 1
    barometer        | barometric pressure  |              | kpa     | 50  | 110  | 1 0.2
    coolant          | coolant temperature  |              | c       | -40 | 130  | 1 1
    oil              | oil temperature      |              | c       | -40 | 150  | 1 1
    intake           | intake temperature   |              | c       | -40 | 130  | 1 1
    fuel_temperature | fuel temperature     |              | c       | -40 | 120  | 1 1
    coolant_level    | coolant level        |              | percent | 0   | 100  | 1 1
    """
    switches = """
    ignition              | ignition              | switch | 0 | 1
    in_gear               | gear engaged          | switch | 0 | 1
    clutch_pedal          | clutch pedal          | switch | 0 | 1
    brake_pedal           | brake pedal           | switch | 0 | 1
    cruise_switch         | cruise switch         | switch | 0 | 1
    set_coast             | set / coast           | button | 0 | 1
    resume_accelerate     | resume / accelerate   | button | 0 | 1
    cruise_cancel         | cancel                | button | 0 | 1
    engine_brake_switch   | engine-brake switch   | switch | 0 | 1
    engine_brake_selector | engine-brake selector | place  | 1 | 3
    fan_switch            | fan switch            | switch | 0 | 1
    """
    for row in dials.strip().splitlines():
        name, words, quantity, unit, least, most, steps = (cell.strip() for cell in row.split("|"))
        low, high = (to_si(float(end), unit) for end in (least, most))
        metric, us = map(float, steps.split())
        yield Knob(name, words, "dial", quantity or quantity_of(name), unit, low, high, (metric, us))
    for row in switches.strip().splitlines():
        name, words, kind, least, most = (cell.strip() for cell in row.split("|"))
        yield Knob(name, words, kind, "number", "", float(least), float(most), (1.0, 1.0))


KNOBS = {knob.name: knob for knob in _knobs()}
ALSO = {
    "set": "set_coast",
    "resume": "resume_accelerate",
    "cancel": "cruise_cancel",
}  # what the buttons are called, too
BUTTONS = tuple(name for name, knob in KNOBS.items() if knob.kind == BUTTON)
# dials of what is true; the others put their value into the circuit of their sensor
_TRUE = {
    "engine_speed": ("engine_speed",),
    "road_speed": ("speed", "wheel_speed"),
    "boost": ("manifold_pressure",),
    "barometer": ("ambient_pressure",),
    "coolant": ("coolant_temperature",),
    "oil": ("oil_temperature",),
}
# places of what is seen of the belief: signals and what is made of them
_SEEN = [
    place
    for place, field in enumerate(BELIEF)
    if field.name.endswith("_signal") or field.name in {sensor.believed for sensor in SENSORS.values()}
]


class Action(NamedTuple):
    """One movement of a hand."""

    time_ms: int
    knob: str
    value: float  # SI


def knob_named(name: str) -> Knob:
    """A knob by its name.

    Raises
    ------
    SettingsError
        There is none.
    """
    if name not in KNOBS:
        near = difflib.get_close_matches(name, KNOBS, 2)
        raise SettingsError(say.no_knob(name=name, near=near, known=list(KNOBS)))
    return KNOBS[name]


def action(time_ms: object, name: object, value: object, before_ms: int = 0) -> Action:
    """One movement of a hand, checked.

    Parameters
    ----------
    time_ms : int
        Since the start. [ms]
    name : str
        One of `KNOBS`.
    value : float
        [SI]
    before_ms : int
        Of the one before it. [ms]

    Raises
    ------
    SettingsError
        There is no such knob, it cannot be there, or it comes too early or too late.
    """
    plain = isinstance(time_ms, int) and isinstance(value, int | float) and isinstance(name, str)
    if not plain or isinstance(time_ms, bool) or isinstance(value, bool):
        raise SettingsError(say.no_action(given=[time_ms, name, value]))
    assert isinstance(time_ms, int) and isinstance(value, int | float)
    knob = knob_named(str(name))
    slack = 1e-9 * max(abs(knob.least), abs(knob.most))  # of a bound that went through another unit
    whole = knob.kind != "dial"
    if not knob.least - slack <= value <= knob.most + slack or (whole and value != int(value)):
        given, least, most = (from_si(each, knob.unit) for each in (float(value), knob.least, knob.most))
        unit = unit_name(knob.unit) if knob.unit else ""
        raise SettingsError(say.beyond(name=knob.name, given=given, least=least, most=most, unit=unit, whole=whole))
    if time_ms < before_ms:
        raise SettingsError(say.order(given_s=time_ms / 1000.0, before_s=before_ms / 1000.0))
    if time_ms > 1000.0 * LONGEST:
        raise SettingsError(say.late(given_s=time_ms / 1000.0, most_s=LONGEST))
    return Action(time_ms, knob.name, float(value))


def actions_of(values: Any) -> tuple[Action, ...]:
    """What hands have done, as it comes over the network.

    Parameters
    ----------
    values : any
        A list of [ms, knob, SI value], in order.

    Raises
    ------
    SettingsError
        Anything else.
    """
    if not isinstance(values, list):
        raise SettingsError(say.no_action(given=values))
    if len(values) > MOST_ACTIONS:
        raise SettingsError(say.many_actions(most=MOST_ACTIONS))
    done: list[Action] = []
    for entry in values:
        if not isinstance(entry, list) or len(entry) != 3:
            raise SettingsError(say.no_action(given=entry))
        time_ms, name, value = entry
        done.append(action(time_ms, name, value, done[-1].time_ms if done else 0))
    return tuple(done)


class Board:
    """A controller, its knobs as they stand, and what it has said.

    Raises
    ------
    SettingsError
        Something is to go wrong at a place.
    """

    def __init__(self, truck: Truck, settings: Settings) -> None:
        texts = (*settings.faults.occur, *settings.circuits.dialled)
        for text, asked in zip(texts, [*settings.faults.occurrences(), *settings.circuits.values()], strict=True):
            if asked.trigger == "place" and asked.begin > 0.0:
                raise SettingsError(say.no_place(text=text))
        self.truck, self.settings = truck, settings
        self.now_ms = 0
        self._began_ms = 0
        self._moved = 0  # tick at which a button last moved
        self._events: list[dict[str, Any]] = []
        self._trip = trip = self._controller(settings)
        self.left_out = [finding("cause.code", **test.code()) for test in diagnosis.Diagnosis(trip).left_out]
        s, k = trip.clock.state[0], trip.clock.handled
        low_idle = float(trip.clock.rig.parameters["low_idle"][0])
        switches = {name: k(name) for name in ("cruise_switch", "fan_switch", "engine_brake_selector")}
        self.turned: dict[str, float] = {
            **dict.fromkeys((knob.name for knob in KNOBS.values() if knob.kind != "dial"), 0.0),
            **{"ignition": 1.0, "in_gear": 1.0, "engine_brake_switch": float(settings.retarding.switch), **switches},
            **{"engine_speed": low_idle, "road_speed": 0.0, "accelerator": 0.0},
            **{name: float(s[_TRUE[name][0]]) for name in ("barometer", "coolant", "oil")},
        }
        self._put_all()

    # ------------------------------------------------------------ the controller

    def _controller(self, settings: Settings) -> Underway:
        """A controller that has just been given its key."""
        truck, route = self.truck, load_route(LEVEL)
        parameters, tables = assembled(truck, settings, route.start_elevation)
        parameters["dyno_form"], parameters["circuits_watched"] = HELD_STILL, 1.0
        memory = initial_records(settings, route, parameters, tables, 0, 0.0)
        clock = Clock(Rig(memory, parameters, tables, route.road_array(0.0)), round(1.0 / settings.simulation.tick_s))
        return Underway(clock, truck, settings, route, wheels=False)

    def _put_all(self) -> None:
        """Turns every knob to where it stands, then lets the controller begin."""
        trip = self._trip
        for name, value in self.turned.items():
            self._put(name, value)
        trip.clock.run(until=1)  # so that the controller begins with what it senses
        for process in (
            *faults.happenings(trip),
            diagnosis.diagnosis(trip),
            fan.fan_clutch(trip),
            cruise.cruise_control(trip),
            cruise.overspeed_stages(trip),
            brake_stages.traction(trip),
            brake_stages.brake_calls(trip),
            brake_stages.brake_stages(trip),
        ):
            trip.clock.process(process)

    @property
    def alive(self) -> bool:
        """Whether the key is on."""
        return self.turned["ignition"] > 0.5

    def _put(self, name: str, value: float) -> None:
        """Puts one knob where it is to be."""
        clock, p = self._trip.clock, self._trip.clock.rig.parameters
        s = clock.state[0]
        if name in _TRUE:
            for field in _TRUE[name]:
                s[field] = value
            if name == "barometer" and "boost" not in self.turned:
                s["manifold_pressure"] = value
            s["boost"] = s["manifold_pressure"] - s["ambient_pressure"]
        elif name == "in_gear":
            gear = float(self._trip.top_gear) if value > 0.5 else 0.0
            s["gear"] = gear
            clock.set(gear=gear)
            if p["automated"][0] < 0.5:
                lever, splitter = lever_and_splitter(int(gear), int(p["split_from"][0]))
                clock.handle(lever=lever, splitter=splitter)
                s["splitter"] = splitter
        elif name == "clutch_pedal" and p["automated"][0] > 0.5:
            clock.set(clutch=1.0 - value)
        elif KNOBS[name].kind != "dial" or name == "accelerator":
            clock.handle(**{name: value})
        elif p[f"{name}_circuit"][0] in (SOUND, DIALLED):  # a broken one carries what it carries
            p[f"{name}_circuit"], p[f"{name}_put"] = float(DIALLED), pin_of(name, value, p)

    # ------------------------------------------------------------ hands and time

    def wait(self, until_ms: int) -> None:
        """Lets time pass; looking in between changes nothing."""
        self.now_ms = max(self.now_ms, until_ms)
        if self.alive:
            self._run(round((self.now_ms - self._began_ms) / 1000.0 / self._trip.clock.tick))

    def _run(self, until: int) -> None:
        """Lets the controller work up to a tick."""
        if until > self._trip.clock.now:
            self._trip.clock.run(until=until)

    def turn(self, done: Action) -> None:
        """Waits for the time of an action and does it."""
        self.wait(done.time_ms)
        if KNOBS[done.knob].kind == BUTTON and self.alive:  # the shortest press is seen
            self._run(self._moved + 1)
            self._moved = int(self._trip.clock.now)
        was_alive = self.alive
        self.turned[done.knob] = done.value
        if was_alive and self.alive:
            self._put(done.knob, done.value)
        elif was_alive:
            self._events = self._told()
            self._trip.clock.release()
        elif self.alive:
            self._turn_the_key()

    def _turn_the_key(self) -> None:
        """A new controller, which remembers its codes and waits to see its switches work."""
        codes = self._trip.codes
        self._began_ms, self._moved = self.now_ms, 0
        unchecked = self.settings.cruise.model_copy(update={"key_on_check": False})
        self._trip = self._controller(self.settings.model_copy(update={"cruise": unchecked}))
        for code in codes.values():
            code.active = False
        self._trip.codes.update(codes)
        self._put_all()

    # ------------------------------------------------------------ what is seen

    def mark(self) -> tuple[Any, ...]:
        """Something that stays the same while nothing to be seen changes; much quicker than a look."""
        clock, memory = self._trip.clock, self._trip.clock.rig.memory
        if not self.alive:
            return ()
        seen = memory.belief.view(np.float64)[_SEEN].tobytes()
        return memory.command.tobytes(), seen, clock.true("commanded_torque"), len(clock.happenings)

    def _told(self) -> list[dict[str, Any]]:
        """The last entries of the event log."""
        tick, began = self._trip.clock.tick, self._began_ms / 1000.0
        fresh = [happening.data(tick) for happening in self._trip.clock.happenings[-MOST_EVENTS:]]
        return [*self._events, *(each | {"time_s": began + each["time_s"]} for each in fresh)][-MOST_EVENTS:]

    def shown(self) -> dict[str, Any]:
        """Everything to be seen now: findings as data, quantities in SI; what no controller shows is None."""
        if not self.alive:
            return _dark(self.turned, [_code(each.summary()) for each in self._trip.codes.values()], self._events)
        trip, clock = self._trip, self._trip.clock
        believed, commanded, true = clock.believed, clock.commanded, clock.true
        codes = [code.summary() for code in trip.codes.values()]
        stage = int(commanded("stage"))
        asked, who, bound = brake_stages.asked_stage(trip)
        rows = interlocks(trip.settings)
        found = brake_stages.obstacle(trip, rows, stage > 0)
        why = brake_stages.said_of(trip, found[1]) if found else finding("cause.stage", who=who, bound=bound)
        held, told = commanded("set_speed"), self._told()
        runs = commanded("fan") > 0.5
        fan_why = fan.call_for_fan(trip, runs) or (finding("knobs.fan_least") if runs else None)
        pins = {key: (believed(f"{key}_signal"), believed(sensor.believed)) for key, sensor in SENSORS.items()}
        read = {name: pins[name][1] for name in KNOBS if name in SENSORS}
        return {
            "turned": read | self.turned,
            "pairs": {pair: commanded(f"pair_{pair}") > 0.5 for pair in PAIRS},
            "engine_brake": {"stage": stage, "asked": 0 if found else asked, "why": why.data()},
            "told": {
                "fuel_share": true("fuel_demand"),
                "fuel_rate": true("fuel_rate"),
                "torque": true("commanded_torque") - true("warm_friction"),
                "limiter": LIMITERS[int(true("limiter"))],
                "stopped": trip.shut_down.data() if trip.shut_down else None,
            },
            "cruise": {
                "on": believed("cruise_switch") > 0.5,
                "set_speed": held if held > 0.0 else None,
                "why": next((each for each in reversed(told) if each["event"].startswith("cruise_")), None),
            },
            "fan": {"on": runs, "why": fan_why.data() if fan_why else None},
            "derate": commanded("derate"),
            "lamp": diagnosis.lamp_of(codes).kind.removeprefix("reading.lamp_"),
            "codes": [_code(code) for code in codes],
            "pins": pins,
            "events": told,
            "road": self._on_the_road(held),
        }

    def _on_the_road(self, held: float) -> dict[str, str]:
        """Changes of settings with which a trip begins as the knobs stand."""
        switches = {
            "retarding.switch": "engine_brake_switch",
            "cruise.switch": "cruise_switch",
            "fan.override": "fan_switch",
        }
        changes = {key: str(self.turned[name] > 0.5).lower() for key, name in switches.items()}
        changes["retarding.selector"] = f"{self.turned['engine_brake_selector']:.0f}"
        if held > 0.0:
            changes["cruise.set_speed_km_h"] = f"{from_si(held, 'km_h'):.5g}"
        return changes


def _code(summary: dict[str, Any]) -> dict[str, Any]:
    """What is told of a code."""
    kept = {key: summary[key] for key in ("spn", "fmi", "lamp", "active")}
    return kept | {"says": code_state(summary).data()}


def _dark(turned: dict[str, float], codes: list[dict[str, Any]], events: list[dict[str, Any]]) -> dict[str, Any]:
    """What is seen with the key off."""
    dead = Finding("ended.no_key").data()
    told = dict.fromkeys(("fuel_share", "fuel_rate", "torque"), 0.0) | {"limiter": LIMITERS[0], "stopped": dead}
    return {
        "turned": dict(turned),
        "pairs": dict.fromkeys(PAIRS, False),
        "engine_brake": {"stage": 0, "asked": 0, "why": dead},
        "told": told,
        "cruise": {"on": False, "set_speed": None, "why": None},
        "fan": {"on": False, "why": None},
        "derate": 0.0,
        "lamp": "off",
        "codes": [code | {"active": False} for code in codes],
        "pins": dict.fromkeys(SENSORS, (0.0, None)),
        "events": events,
        "road": {},
    }


def replay(truck: Truck, settings: Settings, actions: Sequence[Action]) -> dict[str, Any]:
    """Does everything again from the start and looks on for a while.

    Returns
    -------
    film : dict
        `frames`: time in ms and what is seen, the first whole, the others as far as something has changed; `until_ms`: how far
        they reach; `left_out`: the controller's tests that need a truck in motion.
    """
    board = Board(truck, settings)
    for done in actions:
        board.turn(done)
    began, step = board.now_ms, round(1000.0 * FRAME)
    board.wait(began + math.ceil(1000.0 * settings.simulation.tick_s))  # what was turned is sensed within a tick
    mark, last = board.mark(), board.shown()
    frames: list[tuple[int, dict[str, Any]]] = [(began, last)]
    for now in range(began + step, began + round(1000.0 * AHEAD) + 1, step):
        board.wait(now)
        before, mark = mark, board.mark()
        if mark != before:
            shown, last = last, board.shown()
            frames.append((now, {key: value for key, value in last.items() if value != shown[key]}))
    return {"frames": frames, "until_ms": board.now_ms, "left_out": [each.data() for each in board.left_out]}


def pins() -> list[dict[str, str]]:
    """The pins of the controller: key, name, what it measures, and what its pin carries."""
    return [
        {
            "key": key,
            "name": sensor.name,
            "quantity": quantity_of(key),
            "signal": {"v": "voltage", "hz": "frequency"}[signal_unit(sensor)],
        }
        for key, sensor in SENSORS.items()
    ]
