"""When a gear is changed, whoever changes it: a driver by eye and ear, or the electronics of an automated gearbox by belief."""

import math
from typing import ClassVar

import simpy

from sim.actors.underway import Underway
from sim.laws.air import air_density
from sim.march.clock import Process
from sim.march.plant import asked_drawn_power, asked_friction, asked_pull, asked_resistance
from sim.roads.falls import DESCENT
from sim.units import REVOLUTION_PER_MINUTE, SEA_LEVEL_TEMPERATURE
from sim.wording import Finding, finding

MATCHED = 80.0 * REVOLUTION_PER_MINUTE  # assumed: speeds this close can be engaged
LONGEST_MATCH = 2.5  # s, assumed: then the gear goes in with what difference is left
DECLUTCH_ABOVE_IDLE = 120.0 * REVOLUTION_PER_MINUTE  # assumed: the clutch is opened this far above idle
PULLING_ABOVE_IDLE = (
    170.0 * REVOLUTION_PER_MINUTE
)  # assumed: from here an engine pulls a shift through, ample torque given
SETTLING = 0.8  # s, assumed: after a shift, before the next is thought about
BOOST_PATIENCE = 3.0  # s, assumed: after an upshift the boost is given time before the gear is judged
SPEED_NOTICED = 1.03  # assumed: growth of engine speed after which a refused shift is thought about again
SKIPPING_GRADE = 0.02  # assumed: on steeper climbs no gear is skipped
GRADE_NOTICED = 0.01  # assumed: easing of the road after which it is
GRADE_EASED = 0.007  # assumed: a gear lost under load on a grade is not taken again before the road eases this much
LOSING = 0.10  # m/s2, assumed: a truck that loses less, near the speed aimed for, keeps its gear
NEAR_TARGET = 3.0  # m/s, assumed
GAINING = 0.06  # m/s2, assumed: a truck that gains this much needs no lower gear
PULL_RESERVE = 1.05  # assumed: the next gear must pull this much more than the road asks for
AMPLE_PULL = 1.5  # assumed: pull over resistance, without boost, that lets an engine land far down
AT_EASE = 0.15  # m/s2, assumed: a gear that still gains so much may turn the engine as slowly as a light load
LIGHT_PEDAL = 0.85  # assumed: below it the light-load shift speeds count
LIGHT_LANDING = (
    120.0 * REVOLUTION_PER_MINUTE
)  # assumed: above the light downshift speed, where an early upshift may land
STEEP_DESCENT = -0.04  # assumed: from here a lower gear is taken to be held back
PUSHING_DESCENT = -0.015  # assumed: where the road itself brings the speed back, no gear is given up for pull
LOST_RESERVE = 1.12  # assumed: pull over resistance that brings back a gear lost under load on this grade
PROGRESSIVE = (0.8, 0.93, 1.07)  # of shifting.upshift_rpm, in the low, middle and high gears, assumed
LIGHT = 65.0  # kg per kW of rated power, assumed: below it a truck is light
NEVER = 1.0e9  # rad/s
ON_THE_WAY_RPM = 1100.0  # assumed: engine speed at which a gear in between is taken while slowing for a descent
NEAR_GOVERNED = 0.93  # assumed: of governed speed, where the next gear is taken on an easier part of a descent
EASIER_RPM = 1200.0  # assumed: engine speed a higher gear must leave when the descent gets easier
PRESSED = 0.02  # of the pedal


class GearChoice:
    """Which gear is wanted, outside launches and stops.

    What a subclass senses and how it carries out a shift is its own: `senses` names the fields for speed, acceleration and
    grade, `held_back_rpm` is the engine speed a gear taken to be held back turns at least, and with `saves_engine` a higher gear
    goes in before the engine overspeeds, whatever the descent asks for.
    """

    senses: ClassVar[dict[str, str]]
    held_back_rpm: ClassVar[float]
    saves_engine = False

    def __init__(self, trip: Underway) -> None:
        self.trip, self.clock = trip, trip.clock
        shifting = trip.settings.shifting
        self.down, self.light_down = shifting.si("downshift_rpm"), shifting.si("light_downshift_rpm")
        self.full_up, self.landing = shifting.si("full_load_upshift_rpm"), shifting.si("landing_rpm")
        self.held = trip.settings.drill.hold_gear
        self.lost: dict[int, float] = {}  # grade on which a gear was given up under load
        self.kept = 0.0  # grade for which a low gear was taken to be held back, 0 for none

    # ------------------------------------------------------------ what is sensed

    @property
    def road_speed(self) -> float:
        """[m/s]"""
        return self.clock.read(self.senses["speed"])

    @property
    def grade(self) -> float:
        """Rise over run."""
        return self.clock.read(self.senses["grade"])

    @property
    def acceleration(self) -> float:
        """[m/s²]"""
        return self.clock.read(self.senses["acceleration"])

    @property
    def turning(self) -> float:
        """Engine speed. [rad/s]"""
        return self.clock.believed("engine_speed")

    @property
    def demand(self) -> float:
        """What is asked of the engine, as a share of the pedal."""
        return self.clock.believed("driver_demand")

    @property
    def is_light(self) -> bool:
        """Whether so little is asked of the engine that an early upshift may be worth it."""
        return self.demand < LIGHT_PEDAL

    @property
    def asked_gear(self) -> int:
        """Highest gear wanted on this descent, 0 for any."""
        raise NotImplementedError

    @property
    def held_back(self) -> bool:
        """Whether the truck is to be held back."""
        raise NotImplementedError

    @property
    def stopping(self) -> bool:
        """Whether the truck stands or is to stop."""
        raise NotImplementedError

    @property
    def aimed_speed(self) -> float:
        """Speed to be held. [m/s]"""
        raise NotImplementedError

    def changed(self) -> list[simpy.Event]:
        """Events after which everything is to be thought about anew."""
        raise NotImplementedError

    def shift(self, gear: int, cause: Finding) -> Process:
        """Changes gear."""
        raise NotImplementedError

    def near_idle(self) -> simpy.Event:
        """The event of an engine that is being pulled down to its idle speed."""
        level = self.trip.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
        return self.clock.when("belief.engine_speed", level, falling=True)

    def resistance(self, road_speed: float, grade: float) -> float:
        """Force of road and still air at a speed on a grade. [N]"""
        clock = self.clock
        density = air_density(clock.believed("ambient_pressure"), SEA_LEVEL_TEMPERATURE)
        return float(asked_resistance(clock.rig.parameters, density, road_speed, 0.0, grade))

    def pull(self, gear: int, road_speed: float, *, boosted: bool = True) -> float:
        """Force at the tyres at full pedal in a gear; 0 below low idle and above governed speed.

        Parameters
        ----------
        gear : int
            1 is the lowest.
        road_speed : float
            [m/s]
        boosted : bool
            False for the torque the engine has before its turbocharger has spun up.

        Returns
        -------
        force : float
            [N]
        """
        speed = self.trip.engine_speed(gear, road_speed)
        engine = self.trip.truck.engine
        if not engine.si("low_idle_rpm") <= speed <= engine.si("governed_rpm"):
            return 0.0
        return self.pull_at(gear, speed, boosted=boosted)

    def pull_at(self, gear: int, engine_speed: float, *, boosted: bool = True) -> float:
        """The same at an engine speed [rad/s] that the clutch may not have brought to the wheels yet. [N]"""
        clock = self.clock
        rig = clock.rig
        taken = asked_drawn_power(rig.parameters, engine_speed)
        air = (clock.believed("ambient_pressure"), SEA_LEVEL_TEMPERATURE)
        cold = self.trip.cold_drag(engine_speed) * engine_speed
        return float(asked_pull(rig.parameters, rig.tables, gear, engine_speed, *air, taken + cold, boosted))

    # ------------------------------------------------------------ which gear holds

    def suitable_gear(self, road_speed: float, least: float, grade: float) -> int:
        """Highest gear that turns the engine fast enough and still pulls on the grade; else the one that pulls best.

        Parameters
        ----------
        road_speed : float
            [m/s]
        least : float
            Engine speed to have at least. [rad/s]
        """
        needed = self.resistance(road_speed, grade) * PULL_RESERVE
        governed = self.trip.truck.engine.si("governed_rpm")
        best, best_pull = 1, -1.0
        for gear in range(self.trip.top_gear, 0, -1):
            speed = self.trip.engine_speed(gear, road_speed)
            if speed > governed:
                break
            if speed < least:
                continue
            pull = self.pull(gear, road_speed)
            if pull >= needed:
                return gear
            if pull > best_pull:
                best, best_pull = gear, pull
        return best

    def after_gap(self, gear: int, road_speed: float, grade: float) -> float:
        """Road speed a shift's torque gap leaves; what gravity adds on a descent is not counted on.

        Parameters
        ----------
        gear : int
            The gear to be engaged; a big upward step takes as long as the engine needs to slow down.
        road_speed : float
            Now. [m/s]

        Returns
        -------
        speed : float
            Never below 0. [m/s]
        """
        truck = self.trip.truck
        friction = float(asked_friction(self.clock.rig.parameters, self.turning)) + self.trip.cold_drag(self.turning)
        fall_rate = friction / truck.engine.inertia_kg_m2
        slowing = max(self.resistance(road_speed, grade), 0.0) / truck.vehicle.mass_kg
        per_speed = self.trip.engine_speed(gear, 1.0)
        # the engine falls to meet a gear that itself falls with the truck
        closing = max(fall_rate - per_speed * slowing, 0.1 * fall_rate)
        gap = self.hands_take(gear, grade)
        if self.waits_for_the_engine(grade):
            gap = max(gap, (self.turning - per_speed * road_speed) / closing)
        return max(road_speed - slowing * (gap + truck.driveline.clutch_close_s), 0.0)

    def waits_for_the_engine(self, grade: float) -> bool:
        """Whether the clutch comes in at equal speeds; on a climb the truck would stand by then, and the clutch slips a moment."""
        return grade <= SKIPPING_GRADE

    def hands_take(self, gear: int, grade: float) -> float:
        """Time in which nothing pulls before a gear is in, however fast the engine falls. [s]"""
        return self.trip.truck.gearbox.torque_gap_s

    def least_landing(self, gear: int, landed: float) -> float:
        """Engine speed an upshift must leave at least: far down when the engine pulls amply there even without boost.

        Parameters
        ----------
        gear : int
            The higher gear.
        landed : float
            Road speed after the gap. [m/s]

        Returns
        -------
        speed : float
            [rad/s]
        """
        idle = self.trip.truck.engine.si("low_idle_rpm")
        turning = self.trip.engine_speed(gear, landed)
        needed = AMPLE_PULL * max(self.resistance(landed, self.grade), 0.0)
        if turning >= idle + PULLING_ABOVE_IDLE and self.pull_at(gear, turning, boosted=False) >= needed > 0.0:
            return idle + PULLING_ABOVE_IDLE
        gaining = (
            self.pull(gear, landed) - self.resistance(landed, self.grade) >= AT_EASE * self.trip.truck.vehicle.mass_kg
        )
        return self.light_down + 0.5 * LIGHT_LANDING if self.is_light or gaining else self.down * SPEED_NOTICED

    def upshift_holds(self, gear: int, reserve: float) -> bool:
        """Whether a higher gear would still pull after the gap of the shift, by so much more than the road asks for."""
        grade = self.grade
        landed = self.after_gap(gear, self.road_speed, grade)
        if self.trip.engine_speed(gear, landed) < self.least_landing(gear, landed):
            return False
        return self.pull(gear, landed) >= reserve * self.resistance(landed, grade)

    def upshift_speed(self, gear: int) -> float:
        """Engine speed from which an upshift from a gear is worth a thought: it rises with the gear (model commercial driver
        manual 2.3, seen second-hand; how far: common practice, no source), and at a light load is no more than the landing in
        the next gear asks for. [rad/s]
        """
        ratios, least = self.trip.truck.gearbox.ratios, self.trip.settings.shifting.si("upshift_rpm")
        third = min(3 * (gear - 1) // max(self.trip.top_gear - 1, 1), 2)
        progressive = min(PROGRESSIVE[third] * least, self.full_up)
        lands = (self.light_down + LIGHT_LANDING) * ratios[gear - 1] / ratios[gear]
        return min(progressive, least, lands) if self.is_light and not self.is_lost(gear + 1) else progressive

    def is_lost(self, gear: int) -> bool:
        """Whether a gear has been given up under load on a grade that has not eased since."""
        return gear in self.lost and self.grade > self.lost[gear] - GRADE_EASED

    # ------------------------------------------------------------ when

    def wanted_now(self, gear: int) -> tuple[list[simpy.Event], simpy.Event | None, simpy.Event | None, simpy.Event]:
        """What may ask for a shift in this gear: everything to wait for, and which of it means low, high and near idle."""
        clock = self.clock
        idling = self.near_idle()
        waits, low, high = [idling, *self.changed()], None, None
        foot_off = self.demand <= 0.0
        if not self.held and gear > 1:
            low = clock.when("belief.engine_speed", self._down_level(foot_off), falling=True)
            waits.append(low)
        # no higher gear than the descent asks for, but an automated gearbox saves its engine all the same
        highest = self.trip.top_gear if self.saves_engine and foot_off else self.asked_gear or self.trip.top_gear
        if not self.held and gear < highest:
            high = clock.when("belief.engine_speed", self._up_level(gear, foot_off))
            waits.append(high)
        waits += self._pedal_changes(gear, foot_off)
        if not self.held and 0 < self.asked_gear < gear:
            lands = self.landing / self.trip.engine_speed(self.asked_gear, 1.0)
            level = (lands - (self._landed(self.road_speed) - self.road_speed)) / SPEED_NOTICED
            waits.append(clock.when(self.senses["speed"], level, falling=True, release=level))
            between = ON_THE_WAY_RPM * REVOLUTION_PER_MINUTE
            waits.append(clock.when("belief.engine_speed", between, falling=True, release=between))
        if not self.held and foot_off and gear < self.asked_gear and self.grade <= DESCENT:
            level = NEAR_GOVERNED * self.trip.truck.engine.si("governed_rpm")
            waits.append(clock.when("belief.engine_speed", level, release=level))
        return waits, low, high, idling

    def for_the_descent(self, gear: int) -> tuple[int, Finding] | None:
        """The shift that a descent asks for now, None when there is none or it is too early."""
        trip, asked = self.trip, self.asked_gear
        if self.held or not asked or asked == gear or self.stopping:
            return None
        road_speed = self.road_speed
        turning = trip.engine_speed(asked, road_speed)
        if asked < gear:
            landed = self._landed(road_speed)
            fitting = (step for step in range(asked, gear) if trip.engine_speed(step, landed) <= self.landing)
            lands = next(fitting, gear)
            low = self.turning <= ON_THE_WAY_RPM * REVOLUTION_PER_MINUTE * SPEED_NOTICED
            fits = lands == asked or (lands < gear and low)
            return (lands, finding("cause.gear_for_the_descent")) if fits else None
        if self.demand > 0.0 or self.grade > DESCENT:
            return None
        least = EASIER_RPM * REVOLUTION_PER_MINUTE
        higher = max(
            (step for step in range(gear, asked + 1) if trip.engine_speed(step, road_speed) >= least), default=gear
        )
        racing = self.turning >= NEAR_GOVERNED * trip.truck.engine.si("governed_rpm")
        if higher > gear and (turning >= least or racing):
            return higher, finding("cause.descent_easier")
        return None

    def _landed(self, road_speed: float) -> float:
        """Road speed after the gap of a shift on a road that falls."""
        push = max(-self.resistance(road_speed, self.grade), 0.0)
        return road_speed + push / self.trip.truck.vehicle.mass_kg * (
            self.trip.truck.gearbox.torque_gap_s + LONGEST_MATCH
        )

    def _down_level(self, foot_off: bool) -> float:
        """Engine speed at which a lower gear is called for now."""
        if foot_off and self.asked_gear:
            return 0.0
        if foot_off:
            return self.down if self.held_back and self.grade <= STEEP_DESCENT and not self.stopping else 0.0
        return self.light_down if self.grade <= PUSHING_DESCENT or self.is_light else self.down

    def _up_level(self, gear: int, foot_off: bool) -> float:
        """Engine speed at which a higher gear is called for now."""
        if foot_off:
            return self.trip.truck.engine.si("governed_rpm") * SPEED_NOTICED
        return self.upshift_speed(gear)

    def _pedal_changes(self, gear: int, foot_off: bool) -> list[simpy.Event]:
        """Movements of the demand that would change the answer at the speed the engine has now."""
        clock = self.clock
        if self.held:
            return []
        if foot_off:
            return [clock.when("belief.driver_demand", PRESSED)]
        changes = [clock.when("belief.driver_demand", 0.0, falling=True)]
        light = self.is_light
        early = self.upshift_speed(gear) if gear < self.trip.top_gear else NEVER
        undecided = self.turning <= self.down * SPEED_NOTICED if light else self.turning >= early
        if undecided:
            changes.append(clock.when("belief.driver_demand", LIGHT_PEDAL, falling=not light, release=LIGHT_PEDAL))
        else:
            edge = self.down if light else early
            changes.append(clock.when("belief.engine_speed", edge, falling=light, release=edge))
        return changes

    def shift_down(self, gear: int) -> Process:
        """Takes a lower gear under load, or to hold the truck back on a descent."""
        clock, trip = self.clock, self.trip
        road_speed, grade = self.road_speed, self.grade
        foot_off = self.demand <= 0.0
        holding = self.acceleration > -LOSING and road_speed > self.aimed_speed - NEAR_TARGET
        if not foot_off and (self.acceleration > GAINING or holding):
            least = -LOSING if holding else 0.5 * GAINING
            sinking = clock.when(self.senses["acceleration"], least, falling=True)
            level = self._down_level(False)
            slower = clock.when(self.senses["speed"], self.aimed_speed - NEAR_TARGET, falling=True, release=NEVER)
            again = clock.when("belief.engine_speed", level, release=level)
            yield from clock.first(self.near_idle(), sinking, slower, again, *self.changed())
            return
        if foot_off:
            least = self.held_back_rpm * REVOLUTION_PER_MINUTE
            wanted = gear - 1
            while wanted > 1 and trip.engine_speed(wanted, road_speed) < least:
                wanted -= 1
            cause = finding("cause.too_slow_to_hold_back")
        else:
            least = self.light_down if self.is_light else self.down
            landing = self.after_gap(gear - 1, road_speed, grade)
            wanted = min(self.suitable_gear(landing, least * SPEED_NOTICED, grade), gear - 1)
            cause = finding("cause.low_under_load")
        landed = self._landed(road_speed)
        if foot_off and self.aimed_speed < math.inf:
            landed = max(landed, self.aimed_speed)
        while wanted < gear - 1 and trip.engine_speed(wanted, landed) > self.landing:
            wanted += 1
        if trip.engine_speed(wanted, landed) > self.landing:
            why = finding("cause.would_overspeed")
            self.refused(finding("cause.shift", before=gear, gear=wanted, why=why), wanted)
            slower = clock.when(self.senses["speed"], road_speed / SPEED_NOTICED, falling=True)
            fast = clock.when("belief.engine_speed", self._up_level(gear, True))
            pressed = clock.when("belief.driver_demand", PRESSED, release=0.0)
            yield from clock.first(self.near_idle(), *self.changed(), slower, fast, pressed)
            return
        if foot_off:
            self.kept = grade
        else:
            self.lost[gear] = grade
        yield from self.shift(wanted, cause)

    def refused(self, cause: Finding, gear: int) -> None:
        """Writes down a shift that is not made."""
        self.clock.record("shift_refused", cause, gear, "number")

    def shift_up(self, gear: int) -> Process:
        """Takes a higher gear when it will hold; on overrun only to save the engine."""
        clock, trip = self.clock, self.trip
        if self.demand <= 0.0:
            level = self._up_level(gear, True)
            if self.saves_engine or self.road_speed < self.aimed_speed:
                yield from self.shift(gear + 1, finding("cause.overspeed_in_overrun"))
                return
            # who is held back keeps the low gear and brakes
            calm = clock.when("belief.engine_speed", level / SPEED_NOTICED, falling=True)
            worse = clock.when("belief.engine_speed", self.turning * SPEED_NOTICED)
            yield from clock.first(calm, worse, *self.changed(), clock.when("belief.driver_demand", PRESSED))
            return
        if not self.pays():
            yield from clock.first(self.near_idle(), *self.changed(), clock.after(BOOST_PATIENCE))
            return
        grade = self.grade
        self.lost = {lost: place for lost, place in self.lost.items() if self.is_lost(lost)}
        wanted = gear
        furthest = gear + 2 if self.may_skip(gear, grade) else gear + 1
        for candidate in range(gear + 1, min(furthest, trip.top_gear) + 1):
            if self.upshift_holds(candidate, LOST_RESERVE if candidate in self.lost else PULL_RESERVE):
                wanted = candidate
        racing = self.turning >= trip.truck.engine.si("governed_rpm")
        if self.kept and grade <= 0.5 * self.kept and not racing:
            wanted = gear
        else:
            self.kept = 0.0
        if wanted > gear:
            yield from self.shift(wanted, finding("cause.fast_enough_for_the_next"))
            waits = [self.near_idle(), *self.changed(), clock.after(BOOST_PATIENCE)]
            if wanted < trip.top_gear:
                waits.append(clock.when("belief.engine_speed", self.upshift_speed(wanted)))
            yield from clock.first(*waits)
            return
        light, low = self.is_light, self._down_level(False)
        yield from clock.first(
            self.near_idle(),
            *self.changed(),
            clock.when("belief.engine_speed", low, falling=True, release=low),
            clock.when("belief.engine_speed", self.turning * SPEED_NOTICED),
            clock.when(self.senses["grade"], grade - GRADE_NOTICED, falling=True),
            clock.when("belief.driver_demand", LIGHT_PEDAL, falling=not light, release=LIGHT_PEDAL),
            clock.when("belief.driver_demand", 0.0, falling=True),
        )

    def pays(self) -> bool:
        """Whether a higher gear would be in for long enough."""
        return True

    def may_skip(self, gear: int, grade: float) -> bool:
        """Gears above this one are skipped by a truck that is light for its engine, and not on a climb."""
        truck = self.trip.truck
        return grade < SKIPPING_GRADE and truck.vehicle.mass_kg < LIGHT * truck.engine.rated_power_kw
