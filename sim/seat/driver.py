"""The driver: holds the posted speed, slows for what comes, keeps the truck back on descents, stops and pulls away."""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import simpy

from sim.actors.gear_choice import PULLING_ABOVE_IDLE, SKIPPING_GRADE
from sim.laws.foot import slowing_distance, snub_release
from sim.march.clock import Process
from sim.march.plant import asked_driveline, asked_retarding
from sim.march.seat import lever_and_splitter
from sim.roads.falls import DESCENT
from sim.seat.cab import (
    BRAKE_PRESSURE,
    BRAKE_TO_DECELERATE,
    BRAKE_TO_HOLD,
    BRAKE_TO_STOP,
    HOLD_ENGINE_SPEED,
    Cab,
    allowed_at,
)
from sim.seat.descents import BEFORE_CREST, Descent, descents
from sim.seat.stalk import FREE_ROLLING, over_the_set_speed, wants_cruise
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE
from sim.wording import Finding, finding

STOP_SHORT = 1.0  # m, assumed: the truck stands this far before the line
HOLDING_PRESSURE = 3.0e5  # Pa, assumed: foot on the brake while standing
SPEED_STEP = 0.5  # m/s, assumed: growth of speed after which the place to begin slowing is worked out anew
FOOT_LAG = 0.8  # s, assumed: until the deceleration wanted is there
CREST_MARGIN = 1.0  # m/s, assumed
DESCENT_AHEAD = "descent ahead"
CAUSES = {
    "curve": finding("cause.curve"),
    "posted limit": finding("cause.posted_limit"),
    "stop": finding("cause.stop"),
    DESCENT_AHEAD: finding("cause.descent_ahead"),
}
CREEP = 0.5  # m/s: below it the truck counts as standing when it must pull away


class Demand(NamedTuple):
    """A speed that must be had at a place: a limit, a curve, a stop, or the speed at which a gear is taken before a descent."""

    distance: float
    speed: float
    cause: str  # of `CAUSES`
    stop: float


def demands(cab: Cab, planned: list[Descent]) -> list[Demand]:
    """Everything ahead that asks for a speed, in the order of the road.

    Parameters
    ----------
    planned : list of Descent
        Those the driver prepares for.

    Returns
    -------
    demands : list of Demand
        [m, m/s, -, s]
    """
    route = cab.route
    items = []
    for place in sorted({place.distance for place in (*route.limits, *route.curves) if place.distance > 0.0}):
        speed = allowed_at(route, place, cab.settings)
        items.append(Demand(place, speed, "curve" if speed == route.curve_at(place) else "posted limit", 0.0))
    items += [Demand(max(place.distance - STOP_SHORT, 0.0), 0.0, "stop", place.value) for place in route.stops]
    before = [(way, max(way.begin - BEFORE_CREST, way.known)) for way in planned]
    items += [Demand(place, way.taking, DESCENT_AHEAD, 0.0) for way, place in before if place > 0.0]
    return sorted(items)


def is_falling(cab: Cab) -> bool:
    """Whether the road falls enough to push the truck; once held back, half of that counts."""
    grade = cab.clock.true("grade")
    return grade < 0.5 * DESCENT if cab.retarding else grade <= DESCENT


def driver(cab: Cab) -> Process:
    """Drives from one demand of the road to the next.

    Yields
    ------
    event : simpy.Event
        Places on the road and speeds reached.
    """
    clock = cab.clock
    planned = descents(cab)
    clock.process(descending(cab, planned))
    cab.aim_for(cab.allowed_speed())
    if clock.true("speed") < CREEP:
        yield from drive_away(cab, finding("cause.start_from_rest"))
    ahead = deque(demands(cab, planned))
    while ahead:
        demand = yield from _next_due(cab, ahead)
        if demand.speed == 0.0:
            yield from stop_and_stand(cab, demand)
        elif demand.cause != DESCENT_AHEAD and clock.true("distance") >= demand.distance:
            cab.aim_for(demand.speed)
        else:
            cab.taken.append((demand.distance, demand.speed))
            if demand.cause == DESCENT_AHEAD:
                cab.asked_gear = next(way.stretches[0].gear for way in planned if way.begin >= demand.distance)
            yield from approach(cab, demand)
        while ahead and ahead[0].distance < clock.true("distance"):
            passed = ahead.popleft()
            if passed.cause != DESCENT_AHEAD:
                cab.aim_for(cab.allowed_speed())


def _next_due(cab: Cab, ahead: deque[Demand]) -> Process:
    """Waits until one of the demands ahead has to be met: where slowing must begin, worked out anew as the speed grows."""
    clock, habits = cab.clock, cab.settings.driver

    def begin(demand: Demand, speed: float) -> float:
        if speed <= demand.speed:
            return demand.distance
        if demand.speed == 0.0:
            return demand.distance - slowing_distance(speed, 0.0, habits.stopping_m_s2) - speed * habits.reaction_s
        way = slowing_distance(speed, demand.speed, habits.slowing_m_s2)
        return demand.distance - way - speed * (habits.reaction_s + FOOT_LAG)

    def soonest(speed: float) -> tuple[float, Demand]:
        best, reach = ahead[0], begin(ahead[0], speed)
        longest = slowing_distance(speed, 0.0, habits.slowing_m_s2) + speed * (habits.reaction_s + FOOT_LAG)
        for demand in ahead:
            if demand.distance - longest > reach:
                break
            place = begin(demand, speed)
            if place < reach:
                best, reach = demand, place
            if demand.speed == 0.0:
                break
        return reach, best

    # nothing can ask for slowing before the place that the highest speed to come would ask for it
    fastest = max(cab.allowed_speed(), clock.believed("judged_speed"))
    yield clock.reach(soonest(fastest)[0])
    while True:
        speed = clock.believed("judged_speed")
        place, demand = soonest(speed + SPEED_STEP)
        if clock.true("distance") >= place - 0.5:
            ahead.remove(demand)
            return demand
        here = clock.reach(place)
        yield from clock.first(here, clock.when("belief.judged_speed", speed + SPEED_STEP))


def descending(cab: Cab, planned: list[Descent]) -> Process:
    """Keeps gear and speed of each descent in mind from before the crest to its foot.

    Yields
    ------
    event : simpy.Event
        Places on the road.
    """
    clock = cab.clock
    for way in planned:
        yield clock.reach(way.known)
        first = way.stretches[0]
        what = {"steepest": -way.steepest, "length": way.end - way.begin, "gear": first.gear}
        clock.note("descent_seen", finding("cause.descent_seen", **what), first.speed, "speed")
        cab.crest, cab.crest_speed = max(way.begin - BEFORE_CREST, way.known), way.taking
        cab.think_again()
        yield clock.reach(cab.crest)
        cab.crest = math.inf
        # no use gaining speed on the last metres before the crest
        here = max(way.taking, clock.believed("judged_speed")) + CREST_MARGIN
        cab.want_descent(first.gear, min(first.speed, here))
        yield clock.reach(way.begin)
        for stretch in way.stretches:
            yield clock.reach(stretch.begin)
            cab.want_descent(stretch.gear, stretch.speed)
        yield clock.reach(way.end)
        cab.want_descent(0, math.inf)


def approach(cab: Cab, demand: Demand) -> Process:
    """Slows to a lower speed: foot off, engine brake on, and as much brake as these leave to do."""
    clock, habits = cab.clock, cab.settings.driver
    cab.aim_for(min(demand.speed, cab.allowed_speed()))
    if clock.believed("judged_speed") > demand.speed + 0.2:
        cab.select(cab.settings.retarding.selector)
        cab.want_retarding("slow", True)
        if cab.settings.drill.service_brakes:
            cab.press_brake("slow", BRAKE_TO_DECELERATE, habits.slowing_m_s2)
        elif cab.cruising:
            clock.process(cab.tap("cruise_cancel"))
        below = clock.when("belief.judged_speed", demand.speed + 0.2, falling=True)
        past = clock.reach(demand.distance + 10.0)
        yield from clock.first(below, past)
        cab.release_brake("slow")
        cab.want_retarding("slow", False)
    clock.note("slowed", CAUSES[demand.cause], demand.speed, "speed")


def stop_and_stand(cab: Cab, demand: Demand) -> Process:
    """Brakes to rest at a line, with the engine brake where no climb helps, stands as long as told, and pulls away."""
    clock = cab.clock
    climbs = clock.true("grade") > SKIPPING_GRADE
    cab.select(0 if climbs else cab.settings.retarding.selector)
    cab.want_retarding("stop", True)
    cab.press_brake("stop", BRAKE_TO_STOP, demand.distance)
    yield clock.when("state.standstill", 0.5)
    cab.press_brake("stand", BRAKE_PRESSURE, HOLDING_PRESSURE)
    cab.release_brake("stop")
    cab.want_retarding("stop", False)
    clock.mean(clutch_wanted=1.0)
    cab.stand(True)
    clock.note("stopped", CAUSES[demand.cause], demand.stop, "time")
    yield clock.after(max(demand.stop, clock.tick))
    cab.aim_for(cab.allowed_speed())
    yield from drive_away(cab, finding("cause.after_a_stop"))


# ---------------------------------------------------------------- pulling away

IDLE_TORQUE = 380.0  # N m, assumed: what an engine is asked for near its idle speed, without boost
MOST_TORQUE = 650.0  # N m, assumed: what it is asked for on a steep climb
LEAST_TORQUE = 100.0  # N m, assumed: let in also where the road pushes the truck off
ABOVE_IDLE = 60.0 * REVOLUTION_PER_MINUTE  # assumed: engine speed of a launch above idle
MORE_PER_TORQUE = 0.5 * REVOLUTION_PER_MINUTE  # rad/s for each N m above that, assumed
MOST_LAUNCH = 1100.0 * REVOLUTION_PER_MINUTE  # assumed
LAUNCH_ACCELERATION = 0.4  # m/s2, assumed: what the clutch is let in for
HILL = 0.004  # assumed: from here the truck would roll back, and is held by the hand valve of the trailer
HAND_VALVE = 0.6  # of its travel, assumed
HURRIED = 0.6  # assumed: of the time hands take for a shift, on a climb
LONGEST_BITE = 3.0  # s, assumed: a launch that has not moved the truck by then is given more engine
MORE_ENGINE = 1.3  # assumed: how much more
UNDER_BITE = 3.0  # rad/s, assumed: below the speed aimed for, at which the clutch would be as far in as it is to be


def launch_torque(cab: Cab, gear: int) -> float:
    """Torque through the clutch that moves the truck off in a gear here. [N m]"""
    rig = cab.clock.rig
    force = cab.resistance(0.0, cab.clock.true("grade")) + LAUNCH_ACCELERATION * cab.truck.vehicle.mass_kg
    slope, drag = asked_driveline(rig.parameters, rig.tables, 100.0, gear, 80.0)
    return max((force + float(drag)) / float(slope), LEAST_TORQUE)


def gap_by_hand(cab: Cab, grade: float) -> float:
    """Time in which nothing pulls while hands change gear; they hurry on a climb. [s]"""
    return cab.truck.gearbox.torque_gap_s * (HURRIED if grade > SKIPPING_GRADE else 1.0)


def can_be_left(cab: Cab, gear: int) -> bool:
    """Whether the truck is still fast enough for the next gear after a shift from governed speed here."""
    engine, grade = cab.truck.engine, cab.clock.true("grade")
    fastest = engine.si("governed_rpm") / cab.engine_speed(gear, 1.0)
    gap = gap_by_hand(cab, grade) + cab.truck.driveline.clutch_close_s
    landed = fastest - gap * max(cab.resistance(fastest, grade), 0.0) / cab.truck.vehicle.mass_kg
    return cab.engine_speed(gear + 1, landed) >= engine.si("low_idle_rpm") + PULLING_ABOVE_IDLE


def launch_gear(cab: Cab) -> int:
    """The highest of the lower gears in which the engine moves the truck off near its idle speed, the first when none does; on a
    climb a gear higher where that one could not be left again.
    """
    if cab.settings.drill.hold_gear:
        return cab.settings.drill.hold_gear
    lower = range(max(cab.top_gear // 3, 1), 0, -1)
    easy = next((gear for gear in lower if launch_torque(cab, gear) <= IDLE_TORQUE), 1)
    starts = (gear for gear in range(easy, lower[0] + 1) if launch_torque(cab, gear) <= MOST_TORQUE)
    return next((gear for gear in starts if can_be_left(cab, gear)), easy)


def drive_away(cab: Cab, cause: Finding) -> Process:
    """Starts the truck from rest. With an automated gearbox the foot goes to the accelerator, and that is all."""
    clock = cab.clock
    cab.press_brake("stand", BRAKE_PRESSURE, HOLDING_PRESSURE)
    if cab.truck.gearbox.kind == "automated":
        yield clock.after(cab.settings.driver.reaction_s)
        cab.release_brake("stand")
        cab.stand(False)
        yield clock.when("state.speed", CREEP)
        return
    cab.shifting = True
    clock.mean(clutch_mode=0.0, clutch_wanted=1.0)
    cab.stand(True)
    yield clock.after(cab.truck.driveline.clutch_open_s + 0.2)
    gear = launch_gear(cab)
    lever, splitter = lever_and_splitter(gear, cab.truck.gearbox.split_from)
    clock.mean(hand_lever=lever, hand_splitter=splitter)
    hill = abs(clock.true("grade")) > HILL
    if hill:
        clock.mean(hand_trailer_brake=HAND_VALVE)
        yield clock.after(0.5)
    cab.release_brake("stand")
    heat, begun = clock.true("clutch"), clock.now
    torque = launch_torque(cab, gear)
    locked = clock.when("state.clutch_locked", 0.5)
    while not locked.triggered:
        _let_in(cab, torque)
        if hill:
            pulls = clock.when("state.drive_force", max(1.02 * cab.resistance(0.0, clock.true("grade")), 0.0))
            yield from clock.first(pulls, clock.after(LONGEST_BITE))
            clock.mean(hand_trailer_brake=0.0)
            hill = False
        yield from clock.first(locked, clock.after(LONGEST_BITE))
        if not locked.triggered:
            torque *= MORE_ENGINE
            locked = clock.when("state.clutch_locked", 0.5)
    # the foot goes on from where it is
    clock.mean(clutch_mode=0.0, clutch_wanted=0.0, hold_integral=clock.handled("accelerator"))
    cab.shifting = False
    cab.stand(False)
    took = (clock.now - begun) * clock.tick
    made = clock.true("clutch") - heat
    clock.note("pulled_away", finding("cause.pulled_away", why=cause, gear=gear, took=took), made, "heat")


def _let_in(cab: Cab, torque: float) -> None:
    """Lets the clutch in as far as a torque asks for, the engine held a little above idle."""
    clock, p = cab.clock, cab.clock.rig.parameters[0]
    idle = cab.truck.engine.si("low_idle_rpm")
    turning = min(idle + ABOVE_IDLE + max(torque - IDLE_TORQUE, 0.0) * MORE_PER_TORQUE, max(MOST_LAUNCH, idle))
    share = min(math.sqrt(torque / float(p["clutch_capacity"])), 1.0)
    clock.mean(
        foot_mode=HOLD_ENGINE_SPEED,
        turning=turning,
        turning_ratio=0.0,
        clutch_mode=1.0,
        clutch_share=share,
        bite_speed=turning - UNDER_BITE - share * float(p["bite_span"]),
    )


# ---------------------------------------------------------------- holding the truck back

LOOKS_AHEAD = 150.0  # m, assumed: how far ahead a driver looks when choosing a stage
SECOND_FEEL = 1.0  # s, assumed: after a snub the driver feels whether the engine brake alone holds now
LEAST_RETARDING = 3.0  # s, assumed: nobody flicks the engine-brake switch faster
RETARDING_ABOVE = 0.05  # m/s, assumed: above the target, on a descent, the switch goes on
RELEASE_BELOW = 0.6  # m/s, assumed: below it the selector goes down a stage
COASTING_BELOW = 1.0  # m/s, assumed: further below, with no stage left, the foot goes back to the accelerator
RELEASE_IN_GEAR = 0.28  # assumed: share of the target below which it does so on a descent for which the gear was taken
RELEASE_AFTER_TRYING = 0.5  # assumed: the same, once a lower stage has been tried on this grade and did not hold
IN_GOOD_TIME = 0.8  # m/s, assumed: below the target, where the foot comes off on such a descent
GAINING = 0.02  # m/s2, assumed: what a driver feels as gaining speed
SECOND_GLANCE = 0.3  # s, assumed: between two looks at the tachometer
TAKING_ON_GRADE = (
    1650.0 * REVOLUTION_PER_MINUTE
)  # assumed: engine speed a lower gear must leave when taken on the grade
DRAG_RELEASE = 0.8  # m/s, assumed: below the target, where a dragging foot comes up
GRADE_NOTICED = 0.01  # assumed: change of the road after which a stage is tried again
RACING = 0.985  # assumed: of governed speed, where a driver looks at the tachometer and brakes


@dataclass
class Missed:
    """A stage that was let go and had to come back: on which grade, for which speed. It is not let go so soon again."""

    stage: int = 0
    grade: float = 1.0
    target: float = 0.0


class HoldingBack:
    """Keeps the truck from running above the speed aimed for: engine brake by stages first, then the service brakes.

    One state after the other, each a function that waits and returns the next.
    """

    def __init__(self, cab: Cab) -> None:
        self.cab, self.clock = cab, cab.clock
        habits = cab.settings.driver
        self.over = habits.overspeed_km_h * KILOMETRE_PER_HOUR
        self.drop = habits.snub_drop_km_h * KILOMETRE_PER_HOUR
        self.racing_at = RACING * cab.truck.engine.si("governed_rpm")
        self.missed, self.lowered_on = Missed(), 1.0

    def run(self) -> Process:
        """From state to state through a trip."""
        cab = self.cab
        following: Callable[[], Process] | None = None
        while True:
            if self.busy() or cab.cruising or cab.settings.drill.hold_stage >= 0:
                following = None
            if self.busy():
                if cab.standing:
                    cab.want_retarding("descent", False)
                yield cab.changed()
            elif cab.cruising:
                yield from self.under_cruise()
            elif cab.settings.drill.hold_stage >= 0:
                yield from self.with_a_stage_held()
            else:
                usual = self.in_gear if "descent" in cab.retarding else self.rolling
                following = yield from (following or usual)()

    def busy(self) -> bool:
        """Whether the truck stands, or the foot slows it for something ahead."""
        return self.cab.standing or "slow" in self.cab.brakes or "stop" in self.cab.brakes

    # ------------------------------------------------------------ what is noticed

    def tachometer(self) -> simpy.Event:
        """The event of an engine that comes close to its governed speed; with the clutch open, of the clutch let in."""
        if self.clock.believed("clutch_pressed") < 0.5:
            return self.clock.when("belief.engine_speed", self.racing_at)
        return self.clock.when("belief.clutch_pressed", 0.5, falling=True)

    def races(self) -> bool:
        """Whether the road drives the engine close to its governed speed."""
        clock = self.clock
        pressed = clock.believed("driver_demand") > 0.0 or clock.believed("clutch_pressed") > 0.5
        return not pressed and clock.believed("engine_speed") >= self.racing_at

    def steepness(self, falling: bool) -> simpy.Event:
        """The event of a road that begins to fall, or that no longer does."""
        level = 0.5 * DESCENT if falling else DESCENT
        return self.clock.when("state.grade", level, falling=not falling)

    def faster_than(self, speed: float) -> simpy.Event:
        """The event of a needle above a speed."""
        return self.clock.when("belief.judged_speed", speed)

    def slower_than(self, speed: float) -> simpy.Event:
        """The event of a needle below a speed."""
        return self.clock.when("belief.judged_speed", speed, falling=True)

    def needed_stage(self) -> int:
        """The lowest stage that, once settled, holds the truck at its speed in this gear, here and a little further on; 3
        also when none holds.
        """
        clock, cab = self.clock, self.cab
        ahead = min(clock.true("distance") + LOOKS_AHEAD, cab.route.length)
        steepest = min(clock.true("grade"), cab.route.grade_at(ahead))
        push = -cab.resistance(clock.believed("judged_speed"), steepest)
        gear, speed, ambient = int(clock.true("gear")), clock.true("engine_speed"), clock.true("ambient_pressure")
        for stage in (1, 2):
            cylinders = cab.truck.braking_cylinders(stage)
            if asked_retarding(clock.rig.parameters, clock.rig.tables, gear, speed, ambient, cylinders) >= push:
                return stage
        return 3

    # ------------------------------------------------------------ the states

    def rolling(self) -> Process:
        """The foot is on the accelerator, or free: the truck is held back once the road drives it too fast."""
        clock, cab = self.clock, self.cab
        target, falling = cab.aim, is_falling(cab)
        above = RETARDING_ABOVE if falling else self.over + FREE_ROLLING
        if falling and cab.asked_gear:
            above = -IN_GOOD_TIME
        if wants_cruise(cab.settings.cruise) and cab.settings.cruise.with_engine_brake:
            above = self.over + FREE_ROLLING
        fast, racing = self.faster_than(target + above), self.tachometer() if falling else None
        event = yield from clock.first(
            fast, self.steepness(falling), cab.changed(), cab.lamp(), *([racing] if racing else [])
        )
        if event is fast and not falling and clock.true("acceleration") <= 0.0:
            # a level road takes the speed by itself
            gaining = clock.when("state.acceleration", GAINING)
            yield from clock.first(gaining, self.steepness(falling), cab.changed())
        elif event is fast or (event is racing and self.races()):
            cab.select(min(self.needed_stage(), cab.settings.retarding.selector))
            cab.want_retarding("descent", True)
            yield from clock.first(clock.after(LEAST_RETARDING), self.faster_than(target + 3.0 * self.over))
        elif racing is not None and event is racing:
            yield clock.after(SECOND_GLANCE)
        return None

    def in_gear(self, after_snub: bool = False) -> Process:
        """Held back by the engine: a stage more when that is not enough, a stage less when it is too much, then the brakes.

        Parameters
        ----------
        after_snub : bool
            The truck gained speed although the engine brake works, and was snubbed: the foot may stay off longer.
        """
        clock, cab = self.clock, self.cab
        target, falling = cab.aim, is_falling(cab)
        most = cab.settings.retarding.selector
        let_go = snub_release(target + self.over, self.drop) if after_snub else target
        least = max(let_go - self.lets_go_below(target), min(self.drops_out(), target - RELEASE_BELOW))
        slow = self.slower_than(least if falling else target)
        early = falling and cab.asked_gear and cab.selector < most
        fast = self.faster_than(target - 0.5 * IN_GOOD_TIME if early else target + self.over)
        racing = self.tachometer()
        event = yield from clock.first(racing, slow, fast, self.steepness(falling), cab.changed(), cab.lamp())
        if event is racing and not self.races():
            yield clock.after(SECOND_GLANCE)
        elif event is slow and falling and cab.selector:
            yield from self.a_stage_less(target, falling)
        elif event is slow:
            cab.want_retarding("descent", False)
        elif event in (fast, racing) and cab.selector < most:
            yield from self.a_stage_more(target)
        elif event in (fast, racing):
            yield from self.too_fast()
            yield from clock.first(clock.after(SECOND_FEEL), cab.changed())
            if cab.settings.drill.service_brakes and clock.true("acceleration") > 0.0:
                return lambda: self.in_gear(after_snub=True)
        elif after_snub:
            return lambda: self.in_gear(after_snub=True)
        return None

    def lets_go_below(self, target: float) -> float:
        """How far below the target a stage is let go. [m/s]"""
        cab = self.cab
        if not cab.selector:
            return COASTING_BELOW
        if not cab.asked_gear:
            return RELEASE_BELOW
        missed = self.missed
        same = abs(self.clock.true("grade") - missed.grade) < GRADE_NOTICED and target == missed.target
        return (RELEASE_AFTER_TRYING if missed.stage == cab.selector and same else RELEASE_IN_GEAR) * target

    def drops_out(self) -> float:
        """Road speed in this gear at which the engine brake soon drops out by itself; 0 with no stage called. [m/s]"""
        cab = self.cab
        gear = int(self.clock.true("gear"))
        if not cab.selector or not gear:
            return 0.0
        return cab.settings.retarding.si("on_rpm") / cab.trip.engine_speed(gear, 1.0)

    def a_stage_less(self, target: float, falling: bool) -> Process:
        """Lets a stage go, unless the truck comes back to its speed by itself."""
        clock, cab = self.clock, self.cab
        near = clock.believed("judged_speed") > (1.0 - RELEASE_AFTER_TRYING) * target
        if cab.asked_gear > 0 and near and clock.true("acceleration") > GAINING:
            losing = clock.when("state.acceleration", 0.0, falling=True)
            back = self.faster_than(target)
            yield from clock.first(losing, back, self.tachometer(), self.steepness(falling), cab.changed())
            yield clock.after(SECOND_GLANCE)
            return
        self.lowered_on = clock.true("grade")
        cab.select(cab.selector - 1)
        yield clock.after(LEAST_RETARDING)

    def a_stage_more(self, target: float) -> Process:
        """Takes a stage more, and remembers where it had been let go in vain."""
        clock, cab = self.clock, self.cab
        cab.select(cab.selector + 1)
        if abs(clock.true("grade") - self.lowered_on) < GRADE_NOTICED:
            self.missed = Missed(cab.selector, clock.true("grade"), target)
        yield from clock.first(clock.after(LEAST_RETARDING), self.faster_than(target + 2.0 * self.over))

    def under_cruise(self) -> Process:
        """Leaves the truck to cruise control until it cannot hold it; then the brake, or the cancel button, ends it."""
        clock, cab = self.clock, self.cab
        cruise, retarding = cab.settings.cruise, cab.settings.retarding
        staged = cruise.with_engine_brake and retarding.switch
        fast = self.faster_than(clock.commanded("set_speed") + over_the_set_speed(cab.settings))
        racing = self.tachometer()
        event = yield from clock.first(fast, racing, cab.changed(), cab.lamp())
        if event is racing and not self.races():
            yield clock.after(SECOND_GLANCE)
        elif event in (fast, racing) and cab.settings.drill.service_brakes:
            # the foot stays off afterwards: the engine brake goes on working at the stage the selector allows
            cab.select(retarding.selector)
            cab.want_retarding("descent", is_falling(cab))
            yield from self.too_fast()
        elif event in (fast, racing) and (staged or not is_falling(cab)):
            yield from clock.first(cab.changed(), cab.lamp())
        elif event in (fast, racing):
            cab.select(retarding.selector)
            cab.want_retarding("descent", True)
            yield from cab.tap("cruise_cancel")

    def with_a_stage_held(self) -> Process:
        """The hand stays off the selector for practice: brakes alone are left."""
        clock, cab = self.clock, self.cab
        fast, racing = self.faster_than(cab.aim + self.over), self.tachometer()
        event = yield from clock.first(fast, racing, cab.changed(), cab.lamp())
        if event is fast or (event is racing and self.races()):
            yield from self.too_fast()
        if event is fast or event is racing:
            yield clock.after(SECOND_GLANCE)

    def too_fast(self) -> Process:
        """One snub down from the speed there is, or a drag as long as the road pushes; without leave to brake, patience."""
        drill = self.cab.settings.drill
        if not drill.service_brakes:
            needle = self.clock.believed("judged_speed")
            slower = self.slower_than(min(self.cab.aim, needle - self.drop))
            yield from self.clock.first(self.cab.changed(), self.cab.lamp(), slower)
        elif drill.style == "drag":
            yield from self.drag()
        else:
            yield from self.snub()

    def snub(self) -> Process:
        """Brakes for a deceleration to a speed well below the one aimed for."""
        cab, habits = self.cab, self.cab.settings.driver
        release_at = snub_release(min(self.clock.believed("judged_speed"), cab.aim + self.over), self.drop)
        if 0 < cab.asked_gear < self.clock.true("gear"):
            # far enough down for the gear that is wanted
            release_at = min(release_at, TAKING_ON_GRADE / cab.engine_speed(cab.asked_gear, 1.0))
        cab.press_brake("hold", BRAKE_TO_DECELERATE, habits.snub_deceleration_m_s2)
        yield from self.brake_down_to(release_at)

    def drag(self) -> Process:
        """Holds the speed aimed for with the brakes."""
        self.cab.press_brake("hold", BRAKE_TO_HOLD)
        yield from self.brake_down_to(min(self.cab.aim, self.clock.believed("judged_speed")) - DRAG_RELEASE)

    def brake_down_to(self, speed: float) -> Process:
        """Keeps the foot on the brake down to a speed, or until there is something else to do."""
        clock, cab, target = self.clock, self.cab, self.cab.aim
        done = self.slower_than(speed)
        while not done.triggered:
            yield from clock.first(done, cab.changed())
            if self.busy() or cab.aim != target:
                break
            if not done.triggered:
                done = self.slower_than(speed)
        clock.forget(done)
        cab.release_brake("hold")


def held_stage(cab: Cab) -> Process:
    """With a stage held by the drill: the foot is off on every descent, and the stage works there."""
    clock = cab.clock
    if cab.settings.drill.hold_stage < 0:
        return
    while True:
        yield clock.when("state.grade", DESCENT, falling=True)
        cab.want_retarding("drill", True)
        yield clock.when("state.grade", 0.5 * DESCENT)
        cab.want_retarding("drill", False)
