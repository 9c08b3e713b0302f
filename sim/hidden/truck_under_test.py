"""The truck with what is hidden in it: on the road, in the yard and on rollers, and what instruments show of it.

Every reading comes from the same plant and the same controller as a trip. A run is made once and read by many tests. What is
shown is what an instrument, a stopwatch or a screen shows, rounded as it would be, never a parameter of the cause.
"""

from collections.abc import Callable
from functools import cache, cached_property
from typing import Any, NamedTuple

import numpy as np

from sim.actors import brake_stages, diagnosis, fan, faults
from sim.actors.diagnosis import lamp_of
from sim.actors.underway import Underway
from sim.dyno.stand import Stand
from sim.hidden.causes import occurrence_text
from sim.hidden.key import Hidden
from sim.hidden.yard import Visit
from sim.inputs.files import TruckFile, changed_truck, load_settings, load_truck
from sim.inputs.sensors import SENSORS, quantity_of
from sim.inputs.sheet import Entry, settings_sheet
from sim.inputs.specs import Settings, Truck
from sim.march.clock import Clock
from sim.roads.route import Route, constant_grade, known_road
from sim.speedo import calibration_of
from sim.trips.trip import prepare, run_trip
from sim.units import from_si, to_si
from sim.wording import Finding, finding

TRUCK = "long-haul-manual"
ALWAYS = ("faults.watch=true", "faults.told=false", "faults.shutdown=false")
YARD = "grade:0%,2km"
COAST_FROM, COAST_TIME = 60.0, 25.0  # km/h, s with the clutch down
ROLLERS = ("dyno.form=chassis", "dyno.lowest_rpm=1000")
ROLLER_SPEEDS = (1100, 1300, 1500, 1700, 1900)  # rpm
ROLLER_RATE = 20.0  # rpm/s
HEARD = 0.5  # fan over engine speed, assumed: above it a fan is heard
CUT_RPM, CUT_TIME = 1200.0, 6.0  # rpm, s
LOG_S = 0.1
MOST_DRIVES = 64  # kept of one truck
GAUGES = {
    "boost": "boost gauge, absolute",
    "barometer": "outside air, barometer of the shop",
    "oil_pressure": "mechanical oil gauge",
    "coolant": "thermometer in the coolant",
    "fuel_temperature": "thermometer in the fuel",
    "intake": "thermometer in the intake",
    "oil": "thermometer in the oil",
    "coolant_level": "coolant seen in the tank",
    "crank": "tachometer on the pulley",
}

# drives with a name: road, and settings beside those of the student
DRIVES: dict[str, tuple[str, tuple[str, ...]]] = {
    "level": ("grade:0%,4km", ("start.speed_km_h=60", "cruise.set_speed_km_h=80")),
    "climb": ("grade:3%,3km", ("start.speed_km_h=60",)),
    "start": ("grade:1%,800m", ("start.speed_km_h=0",)),
    **{
        f"descent {stage}": (
            "grade:-5%,900m,900m",
            (
                "start.speed_km_h=45",
                "start.gear=8",
                "drill.hold_gear=8",
                "driver.descent_km_h=40",
                f"retarding.selector={stage}",
                "drill.service_brakes=false",
            ),
        )
        for stage in (1, 2, 3)
    },
}


class Reading(NamedTuple):
    """What an instrument shows, in SI or in words; a number within its tolerance of a sound truck's is no finding."""

    name: str
    value: float | Finding
    quantity: str = "number"  # as `sim.units` names them
    tolerance: float = 0.0
    judged: bool = True
    digits: int | None = None  # where others than is usual are told


def measured(
    name: str, value: float, unit: str, quantity: str, tolerance: float, places: int = 1, digits: int | None = None
) -> Reading:
    """A reading of an instrument whose scale has a unit, rounded as it would be read.

    Parameters
    ----------
    value : float
        [unit]
    unit : str
        As a key of a file ends.
    tolerance : float
        [unit]
    places : int
        Behind the point of the scale.

    Examples
    --------
    >>> measured("boost", 101.34, "kpa", "absolute pressure", 12.0)[1:4]
    (101300.0, 'absolute pressure', 12000.0)
    """
    nothing = to_si(0.0, unit)
    return Reading(name, to_si(round(value, places), unit), quantity, to_si(tolerance, unit) - nothing, True, digits)


@cache
def _as_new() -> TruckFile:
    """The truck as it left the works."""
    return load_truck(TRUCK)


class TruckUnderTest:
    """One truck and everything that can be done with it in a shop and on the road.

    Parameters
    ----------
    hidden : Hidden
        What is wrong with it; its cause None for a sound truck.
    roads : callable
        Gives the road of a name; `load_route` where a student's own files may be driven over.
    """

    def __init__(self, hidden: Hidden, roads: Callable[[str], Route] = known_road) -> None:
        self.hidden, self.roads = hidden, roads
        sound = _as_new().truck
        self._programmed = f"speedometer.programmed_pulses_per_mile={calibration_of(sound).fitted_pulses_per_mile:.0f}"
        self._truck_changes, self._settings_changes = self._changes(sound)
        self._driven: dict[tuple[str, ...], tuple[list[Reading], list[dict[str, Any]]]] = {}

    # ------------------------------------------------------------ what is changed

    def _changes(self, sound: Truck) -> tuple[list[str], list[str]]:
        """Changes of truck and settings that make the cause."""
        cause, share = self.hidden.cause, self.hidden.share
        truck, settings = [self._programmed], [*ALWAYS, f"faults.seed={self.hidden.seed}"]
        if cause is None:
            return truck, settings
        if text := occurrence_text(cause, share):
            settings.append(f'faults.occur=["{text}"]')
        if cause.part == "injector":
            truck.append(f"condition.dead_cylinders=[{self.hidden.cylinder}]")
        for key, size in cause.changes:
            table, _, name = key.partition(".")
            if table in Settings.model_fields:
                settings.append(f"{key}={getattr(getattr(Settings(), table), name) + share * size:g}")
                continue
            before = (
                float(self._programmed.partition("=")[2])
                if table == "speedometer"
                else getattr(getattr(sound, table), name)
            )
            changed = f"{key}={before + share * size:g}"
            truck = [change for change in truck if not change.startswith(f"{key}=")] + [changed]
        return truck, settings

    @cached_property
    def truck(self) -> Truck:
        """The truck as it is. [-]"""
        return changed_truck(_as_new(), self._truck_changes).truck

    def settings(self, *changes: str) -> Settings:
        """Settings of a run of this truck.

        Parameters
        ----------
        *changes : str
            `table.key=value`.
        """
        return load_settings(None, [*changes, *self._settings_changes])

    # ------------------------------------------------------------ the road

    def drive(self, road: str, changes: tuple[str, ...] = ()) -> tuple[list[Reading], list[dict[str, Any]]]:
        """Drives over a road, with what driver, stopwatch and tank show of it, and the codes afterwards.

        Parameters
        ----------
        road : str
            Name of a drive, or of a road.
        changes : tuple of str
            Settings beside those of a named drive.

        Returns
        -------
        codes : list of dict
            As the summary of a trip has them.

        Raises
        ------
        HaulbenchError
            The road or a change cannot be used.
        """
        asked = (road, *changes)
        if asked not in self._driven and not self.yard["starts"]:
            stands = [Reading("how it ended", finding("reading.does_not_start")), Reading("lamp", self.yard["lamp"])]
            self._driven[asked] = (stands, self.yard["codes"])
        if asked not in self._driven:
            way, named = DRIVES.get(road, (road, ()))
            settings = self.settings(*named, *changes)
            result = run_trip(self.truck, self.roads(way), settings)
            turns = self.truck.cooling.fan_idle_share > HEARD
            seen = _seen_on_the_road(result.summary, result.trace, result.events, turns)
            if len(self._driven) >= MOST_DRIVES:
                del self._driven[next(iter(self._driven))]
            self._driven[asked] = (seen, result.summary["codes"])
        return self._driven[asked]

    # ------------------------------------------------------------ the yard

    def _parked(self, speed: float = 0.0) -> tuple[Clock, Underway]:
        """A truck with somebody in its cab: the controller tests, and what is wrong goes wrong."""
        settings = self.settings(f"start.speed_km_h={speed:g}")
        road = constant_grade(YARD)
        clock = prepare(self.truck, road, settings)
        clock.handle(accelerator=0.0, brake_pedal=0.0)
        trip = Underway(clock, self.truck, settings, road)
        working = (fan.fan_clutch(trip), brake_stages.brake_stages(trip), diagnosis.diagnosis(trip))
        for process in (*faults.happenings(trip), *working):
            clock.process(process)
        clock.load_kernel()
        return clock, trip

    @cached_property
    def yard(self) -> dict[str, Any]:
        """What one visit to the yard shows. [SI]"""
        return Visit(*self._parked()).found()

    @cached_property
    def coasting(self) -> float:
        """Speed lost on the level with the clutch down. [m/s]"""
        clock, _ = self._parked(COAST_FROM)
        clock.handle(clutch_pedal=1.0)
        before = clock.true("speed")
        clock.run(until=round(COAST_TIME / clock.tick))
        lost = before - clock.true("speed")
        clock.release()
        return lost

    # ------------------------------------------------------------ the rollers

    def _stand(self) -> Stand:
        """The truck on rollers at full pedal, its circuits alive."""
        stand = Stand(self.truck, self.settings(*ROLLERS), LOG_S)
        stand.run(2.0)
        stand.pedal(1.0)
        return stand

    @cached_property
    def rollers(self) -> dict[str, np.ndarray]:
        """One sweep at full pedal, at some speeds of the engine; NaN where it never turned so fast. [as named]"""
        stand = self._stand()
        stand.run(12.0)
        first, began = stand.rows, stand.rpm
        lowest = stand.settings.dyno.lowest_rpm
        stand.hold(lowest, ROLLER_RATE)
        stand.run(max(began - lowest, 100.0) / ROLLER_RATE)
        columns = stand.columns(first)
        turning = columns["engine_speed_rpm"][::-1]
        order = np.argsort(turning, kind="stable")
        names = (
            "wheel_power_kw",
            "boost_kpa",
            "intake_depression_kpa",
            "back_pressure_kpa",
            "exhaust_temperature_c",
            "charge_temperature_c",
            "intake_temperature_c",
            "fuel_pressure_kpa",
            "fuel_rate_g_s",
        )
        found = {
            name: np.interp(ROLLER_SPEEDS, turning[order], columns[name][::-1][order], left=np.nan, right=np.nan)
            for name in names
        }
        found["start_rpm"] = np.array([began])
        return found

    @cached_property
    def cut_out(self) -> list[float]:
        """Torque lost at full pedal with one injector after the other cut out, in percent. [%]"""
        stand, dead = self._stand(), set(self.truck.condition.dead_cylinders)
        number = self.truck.engine.cylinders
        stand.run(6.0)
        stand.hold(CUT_RPM, ROLLER_RATE)
        stand.run(60.0)

        def pulls() -> float:
            return float(np.mean(stand.columns(-round(2.0 / stand.row_s))["wheel_power_kw"]))

        base, lost = pulls(), []
        for cylinder in range(1, number + 1):
            stand.parameters["firing_share"] = 1.0 - len(dead | {cylinder}) / number
            stand.run(CUT_TIME)
            lost.append(100.0 * (1.0 - pulls() / base) if base > 1.0 else 0.0)
            stand.parameters["firing_share"] = 1.0 - len(dead) / number
            stand.run(CUT_TIME)
        return lost

    # ------------------------------------------------------------ the record of programmed values

    @cached_property
    def programmed(self) -> list[Entry]:
        """Every programmed value. [as named]"""
        now = (self.truck, self.settings())
        return settings_sheet(now, now)


def _seen_on_the_road(summary: dict[str, Any], trace: Any, events: Any, fan_turns: bool) -> list[Reading]:
    """What driver, stopwatch, needle and tank tell of a trip."""
    rounded = {
        name: trace[name] for name in ("speed_m_s", "indicated_speed_m_s", "brake_stage", "set_speed_m_s", "fan_on")
    }
    row = float(np.median(np.diff(trace["time_s"]))) if len(trace["time_s"]) > 1 else 0.0
    moving = rounded["speed_m_s"] > 8.0
    true = rounded["speed_m_s"][moving]
    needle = rounded["indicated_speed_m_s"][moving]
    off = 100.0 * (float(np.median(needle / true)) - 1.0) if len(true) else 0.0
    seconds = summary["time_s"]
    last = float(rounded["speed_m_s"][-1])
    refused = sorted({event["event"] for event in events} & {"cruise_locked_out", "engine_brake_locked_out"})

    def speed(name: str, value: float) -> Reading:
        return measured(name, from_si(value, "km_h"), "km_h", "speed", 2.0)

    def time(name: str, value: float, tolerance: float) -> Reading:
        return measured(name, value, "s", "time", tolerance)

    def lasted(name: str, rows: Any, tolerance: float) -> Reading:
        return time(name, row * float(np.count_nonzero(rows)), tolerance)

    return [
        Reading("how it ended", Finding(f"event.{summary['ended']}")),
        time("time by stopwatch", seconds, 0.03 * seconds),
        speed("speed at the end, timed", last),
        measured("needle over timed speed", off, "percent", "share", 1.5, digits=1),
        measured(
            "fuel used", summary["fuel_kg"], "kg", "fuel mass", 0.03 * summary["fuel_kg"] + 0.002, places=3, digits=3
        ),
        speed("highest speed, timed", float(np.max(rounded["speed_m_s"]))),
        lasted("engine brake working", rounded["brake_stage"] > 0.0, 5.0),
        lasted("cruise holding", rounded["set_speed_m_s"] > 0.0, 15.0),
        lasted("fan heard", (rounded["fan_on"] > 0.5) | fan_turns, 15.0),
        time("smoke seen", summary["time_smoking_s"], 2.0),
        measured("coolant by thermometer, hottest", summary["max_coolant_temperature_c"], "c", "temperature", 5.0),
        Reading("lamp", lamp_of(summary["codes"])),
        Reading(
            "refused",
            finding("reading.list", all=[Finding(f"event.{name}") for name in refused])
            if refused
            else finding("reading.nothing"),
        ),
    ]


def sensed(name: str, key: str, value: float, tolerance: float) -> Reading:
    """A value of a sensor, as an instrument on its scale shows it.

    Parameters
    ----------
    key : str
        Of the sensor.
    value : float
        [SI]
    tolerance : float
        [unit of the sensor]
    """
    unit = SENSORS[key].unit
    return measured(name, from_si(value, unit), unit, quantity_of(key), tolerance)
