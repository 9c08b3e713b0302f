"""The electronics of an automated gearbox: they work clutch and gears by what sensors, pedals and lever say."""

import math
from typing import ClassVar

import simpy

from sim.actors.gear_choice import (
    LONGEST_MATCH,
    MATCHED,
    PRESSED,
    PULLING_ABOVE_IDLE,
    SETTLING,
    STEEP_DESCENT,
    GearChoice,
)
from sim.actors.underway import Underway
from sim.laws.foot import CLUTCH_BITES, CLUTCH_CLOSED
from sim.march.clock import Process
from sim.march.plant import asked_driveline
from sim.march.records import DOWN, HOLD, NEUTRAL, UP
from sim.units import REVOLUTION_PER_MINUTE, STANDARD_GRAVITY
from sim.wording import Finding, finding

STANDS_BELOW = 0.3  # m/s, assumed: slower counts as standing
LAUNCH_RPM = 800.0  # engine speed of a gentle launch, assumed
MOST_LAUNCH_RPM = 1300.0  # of a hard one, assumed
LAUNCH_RESERVE = 0.5  # m/s2, assumed: pull wanted in hand in the gear to pull away in
LAUNCH_ACCELERATION = 0.35  # m/s2, assumed: what the clutch is let in for
HILL_HOLD = 3.0e5  # Pa, assumed: kept in the brakes until the engine pulls
LONGEST_HOLD = 4.0  # s, assumed: then the brakes let go all the same
LOW_RPM = 1500.0  # assumed: with stage 2 or 3 on, more is wanted
PATIENCE = 2.0  # s, assumed: time a stage is given to work first
ROLLING_ON = 1.0  # m/s, assumed: growth of speed in neutral that calls for a gear
TYRES_CARRY = 0.4  # of the load on the drive axles, assumed: as much as a clutch may bring to them in a shift


class Gearbox(GearChoice):
    """An automated gearbox."""

    senses: ClassVar[dict[str, str]] = {
        "speed": "belief.road_speed",
        "grade": "belief.grade",
        "acceleration": "belief.acceleration",
    }
    held_back_rpm = 1800.0  # assumed
    saves_engine = True

    def __init__(self, trip: Underway) -> None:
        super().__init__(trip)
        self.lever = self.clock.handled("lever")

    @property
    def asked_gear(self) -> int:
        """Highest gear the lever allows, 0 for any."""
        return int(self.clock.commanded("gear_limit"))

    @property
    def held_back(self) -> bool:
        """Whether the engine brake works."""
        return self.clock.commanded("stage") > 0.0

    @property
    def stopping(self) -> bool:
        """Whether the truck stands."""
        return self.road_speed < STANDS_BELOW

    @property
    def aimed_speed(self) -> float:
        """Speed cruise control holds; without it none is known. [m/s]"""
        return self.clock.commanded("cruise_target") or math.inf

    def changed(self) -> list[simpy.Event]:
        """The lever moves."""
        lever = self.clock.handled("lever")
        return [
            self.clock.when("controls.lever", lever + 0.5, release=lever),
            self.clock.when("controls.lever", lever - 0.5, falling=True, release=lever),
        ]

    def _read_lever(self, gear: int) -> None:
        """What the lever says: a limit one gear lower or higher, the limit kept, or none."""
        lever = self.clock.handled("lever")
        if lever == self.lever:
            return
        self.lever = lever
        before = self.asked_gear or gear
        limit = {DOWN: max(before - 1, 1), UP: min(before + 1, self.trip.top_gear), HOLD: self.asked_gear or gear}
        self.clock.set(gear_limit=limit.get(int(lever), 0))

    def run(self) -> Process:
        """Works through a trip."""
        clock = self.clock
        while True:
            gear = int(clock.commanded("gear"))
            self._read_lever(gear)
            if self.stopping:
                yield from self._stand()
                continue
            if gear == 0:
                yield from self._take_up()
                continue
            if self.lever == NEUTRAL:
                yield from self._leave_gear()
                yield from clock.first(*self.changed())
                continue
            wanted = self.for_the_descent(gear)
            if wanted:
                yield from self.shift(*wanted)
                continue
            waits, low, high, idling = self.wanted_now(gear)
            free = self.demand <= 0.0 and not self.held and gear > 1 and not self.asked_gear
            if free and clock.commanded("stage") >= 2.0 and clock.believed("brake_pressed") < 0.5:
                clock.forget(*waits)
                yield from self._watch_retarding(gear)
                continue
            if free:
                waits.append(clock.when("command.stage", 2.0, release=1.5))
            event = yield from clock.first(*waits)
            if event is idling:
                yield from self._declutch()
            elif event is low:
                yield from self.shift_down(gear)
            elif event is high:
                yield from self.shift_up(gear)

    def _watch_retarding(self, gear: int) -> Process:
        """In stage 2 or 3: shifts down when the engine turns too slowly for the stage to hold."""
        clock = self.clock
        low = LOW_RPM * REVOLUTION_PER_MINUTE

        def others() -> list[simpy.Event]:
            up = [clock.when("belief.engine_speed", self._up_level(gear, True))] if gear < self.trip.top_gear else []
            return [
                self.near_idle(),
                *up,
                clock.when("command.stage", 1.5, falling=True),
                clock.when("belief.driver_demand", PRESSED),
                clock.when("belief.brake_pressed", 0.5),
                *self.changed(),
            ]

        calls = [*others(), clock.after(PATIENCE)]
        event = yield from clock.first(*calls)
        if event is calls[-1]:
            calls = [*others(), clock.when("belief.acceleration", 0.02)]
            event = yield from clock.first(*calls)
            if event is calls[-1]:
                if clock.believed("engine_speed") < low and self.grade <= 0.5 * STEEP_DESCENT:
                    yield from self.shift_down(gear)
                    return
                steady = clock.when("belief.acceleration", 0.0, falling=True)
                calls = [*others(), steady, clock.when("belief.engine_speed", low, falling=True, release=low)]
                event = yield from clock.first(*calls)
        if event is calls[0]:
            yield from self._declutch()
        elif event is calls[1] and gear < self.trip.top_gear:
            yield from self.shift_up(gear)

    # ------------------------------------------------------------ shifts

    def _leave_gear(self) -> Process:
        """Clutch open, gear out."""
        self.clock.set(clutch=0.0)
        yield self.clock.after(self.trip.truck.driveline.clutch_open_s)
        self.clock.set(gear=0)

    def shift(self, gear: int, cause: Finding) -> Process:
        """Clutch out, neutral, match speeds by the fuel, engage, clutch in.

        Parameters
        ----------
        gear : int
            Gear to engage.
        cause : Finding
            Why.
        """
        clock, trip, truck = self.clock, self.trip, self.trip.truck
        before = int(clock.commanded("gear"))
        clock.record("gear_wanted", finding("cause.shift", before=before, gear=gear, why=cause), gear, "number")
        clock.set(clutch=0.0, engine_mode=1.0, engine_speed_target=0.0)
        yield clock.after(truck.driveline.clutch_open_s)
        clock.set(gear=0, engine_mode=2.0, matching_ratio=trip.engine_speed(gear, 1.0))
        yield clock.after(max(truck.gearbox.torque_gap_s - truck.driveline.clutch_open_s, clock.tick))
        if self.waits_for_the_engine(self.grade):
            yield from self._matched()
        governed = truck.engine.si("governed_rpm")
        while trip.engine_speed(gear, self.road_speed) > governed and gear < trip.top_gear:
            # the truck ran too fast for the gear in the meantime: the next one up, matched anew
            gear += 1
            clock.set(matching_ratio=trip.engine_speed(gear, 1.0))
            yield from self._matched()
        if self.stopping or trip.engine_speed(gear, self.road_speed) < truck.engine.si("low_idle_rpm"):
            clock.set(engine_mode=0.0)
            slow = finding("cause.shift", before=before, gear=gear, why=finding("cause.too_slow_for_the_gear"))
            clock.record("shift_given_up", slow, self.road_speed, "speed")
            return
        clock.set(gear=gear, clutch=self.gripping(gear))
        yield from clock.first(clock.when("belief.clutch_locked", 0.5), clock.after(3.0))
        clock.set(clutch=1.0, engine_mode=0.0)
        yield clock.after(SETTLING)

    def _matched(self) -> Process:
        """Waits until the engine turns as fast as the gear wants."""
        clock = self.clock
        yield clock.after(clock.tick)
        yield from clock.first(clock.when("belief.matching_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))

    def _declutch(self) -> Process:
        """Opens the clutch before the engine is pulled below idle; not while it is gaining speed, as after a launch."""
        clock = self.clock
        if self.acceleration > 0.06:
            yield from clock.first(clock.when("belief.acceleration", 0.03, falling=True), clock.after(1.0))
            return
        clock.record("clutch_opened", finding("cause.near_idle"), self.turning, "engine speed")
        yield from self._leave_gear()

    def _take_up(self) -> Process:
        """From neutral while rolling: waits for the accelerator or a truck that gains speed, then takes the gear that suits."""
        clock, trip = self.clock, self.trip
        rolling = clock.when("belief.road_speed", STANDS_BELOW, falling=True)
        if self.demand <= 0.0 or self.lever == NEUTRAL:
            faster = clock.when("belief.road_speed", self.road_speed + ROLLING_ON)
            yield from clock.first(faster, *self._foot(), rolling, *self.changed())
        clock.forget(rolling)
        self._read_lever(0)
        if self.stopping or self.lever == NEUTRAL:
            return
        road_speed = self.road_speed
        gear = self.held or self.suitable_gear(road_speed, self.down, self.grade)
        idle = trip.truck.engine.si("low_idle_rpm")
        if trip.engine_speed(gear, road_speed) <= idle + PULLING_ABOVE_IDLE:
            yield from self._launch()
            return
        yield from self.shift(gear, finding("cause.gear_for_the_speed"))

    # ------------------------------------------------------------ standing and pulling away

    def _foot(self) -> list[simpy.Event]:
        """The event of a foot on the accelerator; none that means anything while the lever is in neutral."""
        return [] if self.lever == NEUTRAL else [self.clock.when("belief.driver_demand", PRESSED)]

    def _stand(self) -> Process:
        """Clutch open while the truck stands; it pulls away when the accelerator is pressed."""
        clock = self.clock
        if clock.commanded("gear") or clock.commanded("clutch"):
            yield from self._leave_gear()
        if self.lever == NEUTRAL:
            clock.set(hill_hold=0.0)
        elif clock.believed("brake_pressed") > 0.5:
            clock.set(hill_hold=HILL_HOLD)
        foot = self._foot()
        rolls = clock.when("belief.road_speed", 2.0 * STANDS_BELOW)
        holds = clock.commanded("hill_hold") > 0.0 or self.lever == NEUTRAL
        brake = [] if holds else [clock.when("belief.brake_pressed", 0.5)]
        event = yield from clock.first(*foot, rolls, *brake, *self.changed())
        if event in foot:
            yield from self._launch()
        elif event is rolls:
            clock.set(hill_hold=0.0)

    def launch_gear(self) -> int:
        """Highest of the lower gears that starts the truck briskly here without boost; the first when none does."""
        if self.held:
            return self.held
        needed = self.resistance(0.0, self.grade) + LAUNCH_RESERVE * self.trip.truck.vehicle.mass_kg
        for gear in range(max(self.trip.top_gear // 3, 1), 1, -1):
            if 0.5 * self.pull_at(gear, 850.0 * REVOLUTION_PER_MINUTE, boosted=False) >= needed:
                return gear
        return 1

    def gripping(self, gear: int) -> float:
        """Travel of the clutch at which it carries no more than the tyres can."""
        rig, truck = self.clock.rig, self.trip.truck
        slope, drag = asked_driveline(rig.parameters, rig.tables, 100.0, gear, 80.0)
        torque = (TYRES_CARRY * truck.vehicle.drive_load_kg * STANDARD_GRAVITY + float(drag)) / float(slope)
        share = math.sqrt(torque / float(rig.parameters["clutch_capacity"][0]))
        return CLUTCH_BITES + (CLUTCH_CLOSED - CLUTCH_BITES) * share if share < 1.0 else 1.0

    def launch(self, gear: int) -> tuple[float, float]:
        """Engine speed to aim for, and the travel of the clutch at which the engine pulls what the road takes."""
        clock, trip = self.clock, self.trip
        rig = clock.rig
        p = rig.parameters[0]
        road = self.resistance(0.0, self.grade)
        slope, drag = asked_driveline(rig.parameters, rig.tables, 100.0, gear, 80.0)
        capacity = float(p["clutch_capacity"])
        torque = max((road + LAUNCH_ACCELERATION * trip.truck.vehicle.mass_kg + float(drag)) / float(slope), 0.0)
        share = math.sqrt(torque / capacity)
        turning = float(p["bite_speed"]) + float(p["bite_span"]) * share
        drawn = float(p["steady_accessories"]) / turning + float(p["air_conditioning"]) + trip.cold_drag(turning)
        turning += (torque + drawn) / float(p["matching_gain"])
        aimed = min(max(turning, LAUNCH_RPM * REVOLUTION_PER_MINUTE), MOST_LAUNCH_RPM * REVOLUTION_PER_MINUTE)
        pulls = math.sqrt(max((1.02 * road + float(drag)) / float(slope), 0.0) / capacity)
        return aimed, CLUTCH_BITES + (CLUTCH_CLOSED - CLUTCH_BITES) * min(pulls, 1.0)

    def _launch(self) -> Process:
        """Gear in, engine to its speed, clutch in; the brakes are held until the engine pulls."""
        clock = self.clock
        gear = self.launch_gear()
        aimed, pulling = self.launch(gear)
        heat, begun = clock.true("clutch"), clock.now
        clock.set(gear=gear, engine_mode=1.0, engine_speed_target=aimed)
        yield from clock.first(clock.when("belief.engine_speed", 0.97 * aimed), clock.after(1.0))
        clock.set(clutch=1.0, launching=1.0)
        pulls = clock.when("state.clutch_release", pulling)
        event = yield from clock.first(pulls, clock.after(LONGEST_HOLD))
        clock.set(hill_hold=0.0)
        locked = clock.when("belief.clutch_locked", 0.5)
        lifted = clock.when("belief.driver_demand", 0.0, falling=True)
        event = yield from clock.first(locked, lifted)
        if event is lifted and self.stopping:
            clock.set(engine_mode=0.0, launching=0.0, clutch=0.0)
            return
        yield from clock.first(clock.when("belief.clutch_locked", 0.5), clock.after(5.0))
        clock.set(engine_mode=0.0, launching=0.0)
        took = (clock.now - begun) * clock.tick
        why = finding("cause.accelerator")
        made = clock.true("clutch") - heat
        clock.record("pulled_away", finding("cause.pulled_away", why=why, gear=gear, took=took), made, "heat")
        yield clock.after(SETTLING)


def gearbox(trip: Underway) -> Process:
    """The process of the electronics of an automated gearbox."""
    return Gearbox(trip).run()
