"""The controller's own tests: what it finds implausible, the codes it sets, and what it does about them.

A test runs five times a second while circuits are watched. One that fails for as long as its patience sets a code: SPN and
failure mode of SAE J1939, a lamp, a count, and a freeze frame. What the code does (a substitute value, less torque, no cruise, no
engine brake, the fan on, a shutdown) lasts as long as it is active. Thresholds and actions are choices of this project
(assumed), not those of any controller on the road.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from sim.actors.underway import Underway
from sim.inputs.sensors import MEASURING, NAMES, SENSORS, SOLENOIDS
from sim.inputs.specs import PAIRS
from sim.march.clock import Process
from sim.march.meter import Look, reader, value_at
from sim.units import CELSIUS_ZERO, REVOLUTION_PER_MINUTE, to_si
from sim.wording import Finding, finding

PERIOD = 0.2  # s, assumed
HEALS_AFTER = 5.0  # s, assumed: a test that passes for so long takes its code back
SHUTDOWN_AFTER = 30.0  # s, assumed: from a stop code to the engine being stopped
MOST_COUNTED = 126  # occurrence count of SAE J1939, 127 stands for not available (two sources)
NO_LAMP, AMBER, RED = "none", "amber", "red"

OIL_WARNING = (to_si(80.0, "kpa"), to_si(200.0, "kpa"))  # at low idle and at 1800 rpm, assumed
OIL_STOP_SHARE = 0.6  # of the warning line, assumed
OIL_LINE_END = to_si(1800.0, "rpm")
NO_OIL_PRESSURE = to_si(60.0, "kpa")  # with the engine at rest, assumed
OIL_DRAINS = 2.0  # s, assumed: from the last pulse of the engine
COOLANT_STEPS = ((15, 104.0, NO_LAMP), (16, 107.0, AMBER), (0, 112.0, RED))  # C, assumed
INTAKE_HOT, FUEL_HOT = to_si(90.0, "c"), to_si(80.0, "c")  # assumed
LEVEL_LOW, LEVEL_STOP = 0.5, 0.25  # of full, assumed
SAME_PRESSURE = to_si(20.0, "kpa")  # boost and barometer with no boost to be, assumed
AIR_LOW, AIR_HIGH = to_si(55.0, "kpa"), to_si(108.0, "kpa")  # no road is higher or lower
LEAST_BOOST = to_si(20.0, "kpa")  # at full load, assumed
MUCH_PEDAL = 0.2  # assumed
LIMP_PEDAL = 0.25  # assumed: limp home
EXCURSIONS, EXCURSION_TIME = 3, 60.0  # times within seconds, assumed: a loose plug
SPEED_STEP = 1.5  # m/s within one period, assumed: no truck does that
SLOWING = 0.5  # m/s within a second, assumed
PULLING = 0.3  # share of full-load fuel, assumed: the engine moves the truck

# what stands for a signal that is not believed, assumed
SUBSTITUTES = {
    "barometer": to_si(95.0, "kpa"),
    "oil_pressure": to_si(300.0, "kpa"),
    "coolant": to_si(90.0, "c"),
    "fuel_temperature": to_si(40.0, "c"),
    "intake": to_si(55.0, "c"),
    "oil": to_si(90.0, "c"),
    "coolant_level": 1.0,
    "pedal": LIMP_PEDAL,
}
# what is refused -> its events
LOCKED_OUT = {
    "cruise": ("cruise_locked_out", "cruise_allowed_again"),
    "engine_brake": ("engine_brake_locked_out", "engine_brake_allowed_again"),
}
DERATES = {"boost": 0.0, "barometer": 0.1, "intake": 0.1, "road_speed": 0.2}  # share, assumed: while its signal is lost


@dataclass
class Code:
    """One code of the controller."""

    part: str
    spn: int
    mode: int
    mark: str
    words: Finding
    lamp: str
    count: int = 0
    active: bool = False
    first_time: float = 0.0
    first_distance: float = 0.0
    last_time: float = 0.0
    frame: dict[str, float] = field(default_factory=dict)

    def summary(self) -> dict[str, Any]:
        """The code as the summary of a trip carries it.

        Returns
        -------
        entry : dict
            Keys carry their unit.
        """
        return {
            "spn": self.spn,
            "fmi": self.mode,
            "part": NAMES.get(self.part, self.part),
            "words": self.words.data(),
            "lamp": self.lamp,
            "count": self.count,
            "active": self.active,
            "first_time_s": self.first_time,
            "first_distance_m": self.first_distance,
            "last_time_s": self.last_time,
            "spn_mark": self.mark,
            "freeze_frame": self.frame,
        }


def lamp_of(codes: list[dict[str, Any]]) -> Finding:
    """The lamp a driver sees."""
    lit = {code["lamp"] for code in codes if code["active"]}
    return Finding(
        "reading.lamp_red" if "red" in lit else "reading.lamp_amber" if "amber" in lit else "reading.lamp_off"
    )


PINS = tuple((key, f"{key}_signal") for key in SENSORS)
# sensors whose voltage says whether their circuit is sound: key, lowest and highest of a sound one
RANGES = tuple(
    (key, sensor.lowest, sensor.highest) for key, sensor in SENSORS.items() if sensor.kind in (*MEASURING, "ladder")
)


@dataclass
class Test:
    """One test: True it fails, False it passes, None it cannot tell now."""

    __test__ = False  # no test of this project

    part: str
    spn: int
    mode: int
    mark: str
    words: Finding
    lamp: str
    fails: Callable[[], bool | None]
    patience: float
    distrusts: bool = False
    derate: float = 0.0
    stops: bool = False
    refuses: dict[str, Finding] = field(default_factory=dict)
    of_range: bool = False
    by_motion: bool = False  # needs a truck that moves as it is told
    failing_for: float = 0.0
    passing_for: float = 0.0
    active: bool = False

    def code(self) -> dict[str, Any]:
        """The code it sets, as findings name it."""
        return {"spn": self.spn, "fmi": self.mode, "words": self.words}


def _of(part: str, kind: str) -> Finding:
    """What a code says of a part."""
    return Finding(kind, {"part": NAMES[part]})


class Diagnosis:
    """The tests of one controller on one trip."""

    def __init__(self, trip: Underway) -> None:
        self.trip, self.clock = trip, trip.clock
        self.parameters = trip.clock.rig.parameters
        self.idle = float(self.parameters["low_idle"][0])
        self.since: dict[str, float] = {}
        self.excursions: dict[str, list[float]] = {key: [] for key in SENSORS}
        self.jumps: list[float] = []
        self.drops: list[float] = []
        self.outside: dict[str, bool] = {}
        self.speed_before = self.clock.believed("road_speed")
        self.speed_kept: tuple[float, float, float] = (-1.0, 0.0, 0.0)
        self.speeds: list[float] = []
        self.shifts_unseen, self.geared = 0, self.clock.believed("in_gear")
        self.stop_at = 0.0
        self.pins: dict[str, float] = {}
        self.values: dict[str, float] = {}
        self.readers = {key: reader(key, self.parameters) for key in SENSORS}
        self.quiet: set[str] = set()
        self._look_at_pins()
        made = [*self._circuit_tests(), *self._value_tests(), *self._switch_tests(), *self._solenoid_tests()]
        self.tests = [test for test in made if trip.wheels or not test.by_motion]
        self.left_out = [test for test in made if test not in self.tests]

    # ------------------------------------------------------------ what the controller sees

    def _look_at_pins(self) -> None:
        """Reads every pin once; the tests of a round all go by that."""
        believed = self.clock.believed
        self.pins = {key: believed(name) for key, name in PINS}
        self.values.clear()

    def _signal(self, key: str) -> float:
        """What a pin carries."""
        return self.pins[key]

    def _raw(self, key: str) -> float:
        """What a signal says, whether it is believed or not."""
        if key not in self.values:
            self.values[key] = self.readers[key](self.pins[key])
        return self.values[key]

    def _readable(self, key: str) -> bool:
        """Whether a signal lies where a sound sensor can be."""
        sensor = SENSORS[key]
        return sensor.lowest <= self._signal(key) <= sensor.highest

    def _lasting(self, name: str, holds: bool) -> float:
        """How long a condition has held."""
        if not holds:
            self.since.pop(name, None)
            return 0.0
        return self.clock.seconds - self.since.setdefault(name, self.clock.seconds)

    def _running(self) -> bool:
        """Whether the engine runs by its own signal."""
        return self.clock.believed("engine_speed") > 0.8 * self.idle

    # ------------------------------------------------------------ the tests

    def _circuit_tests(self) -> list[Test]:
        """Signals outside their range, and plugs that come and go."""
        found = []
        for sensor in SENSORS.values():
            if sensor.kind not in (*MEASURING, "ladder"):
                continue
            key, patience = sensor.key, 0.3 if sensor.kind == "pedal" else 1.5
            more: dict[str, Any] = {
                "distrusts": sensor.kind != "ladder",
                "derate": DERATES.get(key, 0.0),
                "refuses": _refusals(key),
            }

            def low(key: str = key, lowest: float = sensor.lowest) -> bool:
                return self._signal(key) < lowest

            def high(key: str = key, highest: float = sensor.highest) -> bool:
                return self._signal(key) > highest

            def loose(key: str = key) -> bool:
                return len(self.excursions[key]) >= EXCURSIONS

            who = (key, sensor.spn)
            found += [
                Test(*who, 4, sensor.mark, _of(key, "code.voltage_low"), AMBER, low, patience, **more),
                Test(*who, 3, sensor.mark, _of(key, "code.voltage_high"), AMBER, high, patience, **more),
                Test(*who, 2, sensor.mark, _of(key, "code.erratic"), AMBER, loose, 0.0),
            ]
            for test in found[-3:]:
                test.of_range = True
        return found

    def _value_tests(self) -> list[Test]:
        """Values that cannot be, disagree with others, or are dangerous."""

        def of(
            key: str, mode: int, kind: str, lamp: str, fails: Callable[[], bool | None], patience: float, **more: Any
        ) -> Test:
            sensor = SENSORS[key]
            return Test(key, sensor.spn, mode, sensor.mark, _of(key, kind), lamp, fails, patience, **more)

        found = [
            of("boost", 2, "code.disagrees_with_the_barometer", AMBER, self._boost_lies, 3.0),
            of("boost", 18, "code.low_at_full_load", AMBER, self._boost_low, 2.0),
            of("barometer", 2, "code.no_road_there", AMBER, self._air_impossible, 5.0, distrusts=True, derate=0.1),
            of("oil_pressure", 18, "code.low", AMBER, lambda: self._oil_below(1.0), 3.0),
            of("oil_pressure", 1, "code.too_low", RED, lambda: self._oil_below(OIL_STOP_SHARE), 2.0, stops=True),
            of("oil_pressure", 2, "code.pressure_at_rest", AMBER, self._oil_at_rest, OIL_DRAINS),
            of("coolant_level", 18, "code.low", AMBER, lambda: self._level_below(LEVEL_LOW), 10.0),
            of("coolant_level", 1, "code.too_low", RED, lambda: self._level_below(LEVEL_STOP), 10.0, stops=True),
            of("intake", 16, "code.hot", AMBER, lambda: self._hotter("intake", INTAKE_HOT), 5.0, derate=0.25),
            of(
                "fuel_temperature",
                16,
                "code.hot",
                AMBER,
                lambda: self._hotter("fuel_temperature", FUEL_HOT),
                5.0,
                derate=0.1,
            ),
            of(
                "pedal",
                2,
                "code.pressed_against_the_brake",
                AMBER,
                self._pedal_against_brake,
                1.0,
                distrusts=True,
                refuses=_refusals("pedal"),
                by_motion=True,
            ),
            of("crank", 8, "code.no_pulses_of_the_crankshaft", RED, self._no_crank, 0.3),
            of("cam", 8, "code.no_pulses_of_the_camshaft", AMBER, self._no_cam, 1.0),
            of(
                "road_speed",
                2,
                "code.no_speed",
                AMBER,
                self._no_speed,
                5.0,
                derate=0.2,
                refuses=_refusals("road_speed"),
                by_motion=True,
            ),
            of(
                "road_speed",
                10,
                "code.fell_too_fast",
                AMBER,
                lambda: bool(self.drops),
                0.0,
                refuses=_refusals("road_speed"),
                by_motion=True,
            ),
            of(
                "road_speed",
                8,
                "code.uneven",
                AMBER,
                lambda: len(self.jumps) >= 6,
                0.0,
                refuses=_refusals("road_speed"),
                by_motion=True,
            ),
        ]
        for mode, limit, lamp in COOLANT_STEPS:
            kind = {15: "code.warm", 16: "code.hot", 0: "code.too_hot"}[mode]
            more: dict[str, Any] = {"derate": 0.25 if mode == 16 else 0.0, "stops": mode == 0}
            found.append(
                of("coolant", mode, kind, lamp, partial(self._hotter, "coolant", limit + CELSIUS_ZERO), 3.0, **more)
            )
        return found

    def _switch_tests(self) -> list[Test]:
        """Switches that say what cannot be."""
        clock = self.clock

        def driving() -> bool:
            fuelled = clock.true("fuel_demand") > PULLING and clock.believed("engine_speed") > 1.2 * self.idle
            return fuelled and clock.believed("road_speed") > 5.0

        def clutch() -> bool | None:
            pressed = clock.believed("clutch_pressed") > 0.5
            if self.shifts_unseen >= 2:
                return True
            return pressed if driving() else None

        def brake() -> bool | None:
            pressed = clock.believed("brake_pressed") > 0.5
            if not driving() or clock.believed("accelerator") < MUCH_PEDAL:
                return None
            return pressed and not self._slowing()

        def button(key: str) -> Callable[[], bool]:
            return lambda: clock.believed(key) > 0.5

        spn = {key: (key, SENSORS[key].spn, 2, SENSORS[key].mark) for key in SENSORS}
        reason = {"cruise": finding("cause.brake_switch_lost")}
        return [
            Test(
                *spn["clutch_switch"],
                _of("clutch_switch", "code.disagrees_with_engine_and_gear"),
                AMBER,
                clutch,
                15.0,
                by_motion=True,
            ),
            Test(
                *spn["brake_switch"],
                _of("brake_switch", "code.always_pressed"),
                AMBER,
                brake,
                8.0,
                refuses=reason,
                by_motion=True,
            ),
            Test(
                *spn["set_button"],
                _of("set_button", "code.always_pressed"),
                AMBER,
                button("set_button"),
                30.0,
                refuses={"cruise": finding("cause.set_button_stuck")},
            ),
            Test(
                *spn["resume_button"],
                _of("resume_button", "code.always_pressed"),
                AMBER,
                button("resume_button"),
                30.0,
                refuses={"cruise": finding("cause.resume_button_stuck")},
            ),
        ]

    def _solenoid_tests(self) -> list[Test]:
        """Outputs of the engine brake that carry no current while driven."""

        def no_current(pair: str) -> Callable[[], bool | None]:
            def fails() -> bool | None:
                return pair in self.trip.open_solenoids if self.clock.commanded(f"pair_{pair}") > 0.5 else None

            return fails

        return [
            Test(
                f"solenoid_{pair}",
                *(SOLENOIDS[pair][0], 5, SOLENOIDS[pair][1]),
                _of(f"solenoid_{pair}", "code.no_current"),
                AMBER,
                no_current(pair),
                1.0,
            )
            for pair in PAIRS
        ]

    def _boost_lies(self) -> bool | None:
        """Boost and barometer where both must be the same: engine idling, nothing working."""
        clock = self.clock
        quiet = (
            clock.believed("engine_speed") < 1.3 * self.idle
            and clock.believed("accelerator") <= 0.0
            and clock.commanded("stage") <= 0.0
        )
        if self._lasting("quiet", quiet) < 2.0 or not (self._readable("boost") and self._readable("barometer")):
            return None
        return abs(self._raw("boost") - self._raw("barometer")) > SAME_PRESSURE

    def _boost_low(self) -> bool | None:
        """No boost where there must be some."""
        clock = self.clock
        full = clock.true("fuel_demand") > 0.9 and clock.believed("engine_speed") > to_si(1300.0, "rpm")
        if self._lasting("full", full) < 4.0 or not (self._readable("boost") and self._readable("barometer")):
            return None
        return self._raw("boost") - self._raw("barometer") < LEAST_BOOST

    def _air_impossible(self) -> bool | None:
        """Outside air that is nowhere."""
        if not self._readable("barometer"):
            return None
        return not AIR_LOW <= self._raw("barometer") <= AIR_HIGH

    def _oil_below(self, share: float) -> bool | None:
        """Oil pressure below a share of the warning line of this engine speed."""
        running = self._lasting("running", self._running())
        if running < 3.0 or not self._readable("oil_pressure"):
            return None
        low, high = OIL_WARNING
        along = (self.clock.believed("engine_speed") - self.idle) / (OIL_LINE_END - self.idle)
        return self._raw("oil_pressure") < share * (low + (high - low) * min(max(along, 0.0), 1.0))

    def _oil_at_rest(self) -> bool | None:
        """Oil pressure although neither crankshaft nor camshaft gives a pulse."""
        if self._signal("crank") > 0.0 or self._signal("cam") > 0.0 or not self._readable("oil_pressure"):
            return None
        return self._raw("oil_pressure") > NO_OIL_PRESSURE

    def _level_below(self, share: float) -> bool | None:
        """Coolant level below a share of full."""
        return self._raw("coolant_level") < share if self._readable("coolant_level") else None

    def _hotter(self, key: str, level: float) -> bool | None:
        """A temperature above a level."""
        return self._raw(key) > level if self._readable(key) else None

    def _slowing(self) -> bool:
        """Whether the truck loses speed faster than a road takes it, as with the brakes on."""
        return len(self.speeds) > 5 and self.speeds[0] - self.speeds[-1] > SLOWING

    def _pedal_against_brake(self) -> bool | None:
        """A pedal that stays pressed while the brakes slow the truck: nobody has two right feet."""
        if self.clock.believed("brake_pressed") < 0.5 or not self._readable("pedal"):
            return None
        pressed = self._raw("pedal")
        if pressed > MUCH_PEDAL:
            return True if self._slowing() else None
        return False

    def _no_crank(self) -> bool | None:
        """Camshaft pulses without crankshaft pulses."""
        return self._signal("crank") <= 0.0 if self._signal("cam") > 20.0 else None

    def _no_cam(self) -> bool | None:
        """Crankshaft pulses without camshaft pulses."""
        return self._signal("cam") <= 0.0 if self._signal("crank") > 200.0 else None

    def _no_speed(self) -> bool | None:
        """Road speed none, or frozen, while the engine pulls in gear."""
        clock = self.clock
        turning, speed = clock.believed("engine_speed"), clock.believed("road_speed")
        pulling = (
            clock.believed("in_gear") > 0.5 and clock.believed("clutch_pressed") < 0.5 and turning > 1.3 * self.idle
        )
        kept, low, high = self.speed_kept
        low, high = (min(low, turning), max(high, turning)) if speed == kept and pulling else (turning, turning)
        self.speed_kept = (speed, low, high)
        if not pulling:
            return None
        if high - low > to_si(150.0, "rpm"):
            return True
        if speed < 0.5:
            return True if clock.true("fuel_demand") > PULLING else None
        return False if low == high or speed != kept else None

    # ------------------------------------------------------------ running

    def look_around(self) -> None:
        """What is counted from one look to the next: excursions, jumps, shifts the clutch switch did not see."""
        clock, now = self.clock, self.clock.seconds
        self._look_at_pins()
        for key, lowest, highest in RANGES:
            excursions = self.excursions[key]
            if lowest <= self.pins[key] <= highest:
                self.outside[key] = False
                if not excursions:
                    self.quiet.add(key)
                    continue
            elif not self.outside.get(key, False):
                excursions.append(now)
                self.outside[key] = True
            self.quiet.discard(key)
            self.excursions[key] = [when for when in excursions if now - when < EXCURSION_TIME]
        speed, before = clock.believed("road_speed"), self.speed_before
        if abs(speed - before) > SPEED_STEP:
            self.jumps.append(now)
            if speed < 0.1 * before:
                self.drops.append(now)
        self.speed_before = speed
        self.speeds = [*self.speeds[-5:], speed]
        self.jumps = [when for when in self.jumps if now - when < 0.5 * EXCURSION_TIME]
        self.drops = [when for when in self.drops if now - when < 0.5 * EXCURSION_TIME]
        geared = clock.believed("in_gear")
        if geared < self.geared and clock.believed("clutch_pressed") < 0.5:
            self.shifts_unseen += 1
        elif geared < self.geared:
            self.shifts_unseen = 0
        self.geared = geared

    def step(self) -> None:
        """One round of all tests, and what follows from it."""
        self.look_around()
        changed = False
        for test in self.tests:
            if test.of_range and not test.active and test.part in self.quiet:  # in range for long: it passes
                test.failing_for, test.passing_for = 0.0, test.passing_for + PERIOD
                continue
            answer = test.fails()
            if answer is None:
                continue
            test.failing_for = test.failing_for + PERIOD if answer else 0.0
            test.passing_for = 0.0 if answer else test.passing_for + PERIOD
            if answer and not test.active and test.failing_for >= test.patience:
                self.set_code(test)
                changed = True
            elif test.active and test.passing_for >= HEALS_AFTER:
                self._take_back(test)
                changed = True
            elif test.active:
                self.trip.codes[test.spn, test.mode].last_time = self.clock.seconds
        if changed:
            self.act()
        if self._active("boost", distrusting=True):
            self.clock.set(boost_substitute=self.clock.believed("ambient_pressure"))
        self._count_down()

    def set_code(self, test: Test) -> None:
        """Sets a code, or sets it again.

        Parameters
        ----------
        test : Test
            The test that failed.
        """
        clock = self.clock
        key = (test.spn, test.mode)
        code = self.trip.codes.get(key)
        if code is None:
            code = Code(test.part, test.spn, test.mode, test.mark, test.words, test.lamp)
            code.first_time, code.first_distance = clock.seconds, clock.true("distance")
            code.frame = self._frame()
            self.trip.codes[key] = code
        test.active = True
        if code.active:
            return
        code.active, code.count, code.last_time = True, min(code.count + 1, MOST_COUNTED), clock.seconds
        clock.record("code_set", finding("cause.code_set", lamp=test.lamp, **test.code()), code.count, "number")

    def _take_back(self, test: Test) -> None:
        """A test passes again: its code is an earlier one, unless another test still holds it."""
        test.active = False
        code = self.trip.codes[test.spn, test.mode]
        code.active = any(other.active for other in self.tests if (other.spn, other.mode) == (test.spn, test.mode))
        if not code.active:
            self.clock.record("code_inactive", finding("cause.code", **test.code()), code.count, "number")

    def _frame(self) -> dict[str, float]:
        """What the controller believed when a code was set."""
        believed = self.clock.believed
        return {
            "time_s": self.clock.seconds,
            "distance_m": self.clock.true("distance"),
            "engine_speed_rpm": believed("engine_speed") / REVOLUTION_PER_MINUTE,
            "indicated_speed_m_s": believed("road_speed"),
            "accelerator_percent": 100.0 * believed("accelerator"),
            "boost_kpa": (believed("manifold_pressure") - believed("ambient_pressure")) / 1000.0,
            "coolant_temperature_c": believed("coolant_temperature") - CELSIUS_ZERO,
            "oil_pressure_kpa": believed("oil_pressure") / 1000.0,
            "fuel_demand_percent": 100.0 * self.clock.true("fuel_demand"),
        }

    def _active(self, part: str = "", distrusting: bool = False) -> list[Test]:
        """Tests whose code is active."""
        return [
            test
            for test in self.tests
            if test.active and (not part or test.part == part) and (test.distrusts or not distrusting)
        ]

    def act(self) -> None:
        """Substitutes, derate, refusals and the fan, by the codes that are active."""
        clock, trip = self.clock, self.trip
        active = self._active()
        distrusted = {test.part for test in active if test.distrusts}
        for key, value in SUBSTITUTES.items():
            clock.set(**{f"{key}_distrusted": float(key in distrusted), f"{key}_substitute": value})
        clock.set(boost_distrusted=float("boost" in distrusted), boost_substitute=clock.believed("ambient_pressure"))
        derate = max((test.derate for test in active), default=0.0)
        if derate != clock.commanded("derate"):
            clock.record("derated" if derate else "derate_ended", _why(active, derate), derate, "share")
            clock.set(derate=derate)
        refusals: dict[str, Finding] = {}
        for test in active:
            for what, reason in test.refuses.items():
                refusals.setdefault(what, reason)
        for what in sorted(refusals.keys() | trip.refusals.keys()):
            if what != "fan" and refusals.get(what) != trip.refusals.get(what):
                locked_out, allowed = LOCKED_OUT[what]
                clock.record(
                    locked_out if what in refusals else allowed, refusals.get(what) or finding("cause.no_code")
                )
        trip.refusals.clear()
        trip.refusals.update(refusals)
        clock.set(
            cruise_refused=float("cruise" in refusals),
            engine_brake_refused=float("engine_brake" in refusals),
            fan_asked=float("fan" in refusals),
        )

    def _count_down(self) -> None:
        """The shutdown timer: runs while a stop code is active, stops the engine at its end."""
        stopping = [test for test in self._active() if test.stops] if self.trip.settings.faults.shutdown else []
        clock, trip = self.clock, self.trip
        if trip.shut_down:
            return
        if not stopping:
            if self.stop_at:
                clock.record("shutdown_called_off", finding("cause.no_stop_code"))
            self.stop_at = 0.0
        elif not self.stop_at:
            self.stop_at = clock.seconds + SHUTDOWN_AFTER
            why = finding("cause.code", **stopping[0].code())
            clock.record("shutdown_timer_started", why, SHUTDOWN_AFTER, "time")
        elif clock.seconds >= self.stop_at:
            trip.shut_down = finding("cause.code", **stopping[0].code())
            clock.set(fuel_off=1.0)
            clock.record("engine_shut_down", trip.shut_down)

    def key_on(self) -> Finding | None:
        """What the controller tests with the key on and the engine at rest, before it lets it start.

        Returns
        -------
        reason : Finding or None
            Why the engine does not start, None when it does.
        """
        rig = self.clock.rig
        memory = rig.memory._replace(state=rig.memory.state.copy())
        memory.state["engine_speed"] = 0.0
        memory.state["manifold_pressure"] = memory.state["ambient_pressure"]
        seen = Look(memory, self.parameters)
        ranges = {key: SENSORS[key].lowest <= seen.signal(key) <= SENSORS[key].highest for key in SENSORS}
        boost, air = (value_at(key, seen.signal(key), self.parameters) for key in ("boost", "barometer"))
        set_now = []
        if ranges["boost"] and ranges["barometer"] and abs(boost - air) > SAME_PRESSURE and AIR_LOW <= air <= AIR_HIGH:
            set_now.append(("boost", "code.disagrees_with_the_barometer"))
        oil = value_at("oil_pressure", seen.signal("oil_pressure"), self.parameters)
        if ranges["oil_pressure"] and oil > NO_OIL_PRESSURE:
            set_now.append(("oil_pressure", "code.pressure_at_rest"))
        circuit = {key: float(self.parameters[f"{key}_circuit"][0]) > 0.5 for key in ("crank", "cam", "key")}
        if circuit["crank"] != circuit["cam"] and not circuit["key"]:  # seen while the starter turns the engine
            missing = "crank" if circuit["crank"] else "cam"
            set_now.append((missing, f"code.no_pulses_of_the_{missing}shaft"))
        for part, kind in set_now:
            self.set_code(next(t for t in self.tests if t.words == _of(part, kind)))
        if set_now:
            self.act()
        if circuit["key"]:
            return finding("ended.no_key")
        if circuit["crank"]:
            return finding("ended.no_crank")
        if circuit["cam"]:
            return finding("ended.no_cam")
        return None


def _why(active: list[Test], derate: float) -> Finding:
    """What takes torque away."""
    taking = [finding("cause.code", **test.code()) for test in active if test.derate == derate and derate]
    return taking[0] if taking else finding("cause.no_code")


def _refusals(key: str) -> dict[str, Finding]:
    """What is refused while a part is not believed; reasons as cruise and engine brake say them."""
    return {
        "pedal": {what: finding("cause.accelerator_lost") for what in ("cruise", "engine_brake")},
        "road_speed": {"cruise": finding("cause.road_speed_lost")},
        "oil": {"engine_brake": finding("cause.oil_temperature_lost")},
        "selector": {"engine_brake": finding("cause.selector_lost")},
        "coolant": {"fan": finding("cause.coolant_lost")},
    }.get(key, {})


def diagnosis(trip: Underway) -> Process:
    """Runs the controller's tests through a trip.

    Yields
    ------
    event : simpy.Event
        The next round.
    """
    clock = trip.clock
    tests = Diagnosis(trip)
    if clock.true("speed") == 0.0:
        refused = tests.key_on()
        if refused:
            trip.shut_down = refused
            clock.set(fuel_off=1.0)
            trip.end("stalled", finding("ended.does_not_start", why=refused))
            return
    yield clock.after(2.0 * clock.tick)
    while True:
        yield clock.after(max(PERIOD, clock.tick))
        tests.step()


__all__ = ["Code", "Diagnosis", "diagnosis", "lamp_of"]
