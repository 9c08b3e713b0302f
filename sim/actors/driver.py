"""The driver: holds the posted speed, slows for what comes, keeps the truck back on descents, stops and pulls away."""

import math
from collections import deque
from typing import NamedTuple

import simpy

from sim.actors.brake_stages import needed_stage
from sim.actors.cruise import wants_cruise
from sim.actors.descents import BEFORE_CREST, Descent, descents
from sim.actors.scene import BRAKE_PRESSURE, BRAKE_TO_DECELERATE, BRAKE_TO_HOLD, BRAKE_TO_STOP, Scene
from sim.laws.foot import slowing_distance, snub_release
from sim.march.clock import Process
from sim.march.plant import asked_driveline
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE
from sim.wording import Finding, finding

STOP_SHORT = 1.0  # m, assumed: the truck stands this far before the line
HOLDING_PRESSURE = 3.0e5  # Pa, assumed: foot on the brake while standing
LAUNCH_RPM = 800.0  # engine speed of a gentle launch, assumed
MOST_LAUNCH_RPM = 1300.0  # of a hard one, assumed
LAUNCH_RESERVE = 1.2  # m/s2, assumed: pull a driver wants in hand when choosing the gear to pull away in
HILL = 0.05  # assumed: from here a driver starts in a higher gear, for a low one leaves no speed to shift with
HILL_RESERVE = 0.6  # m/s2, assumed: pull wanted in hand there
LAUNCH_ACCELERATION = 0.35  # m/s2, assumed: what the clutch is let in for
LONGEST_BITE = 6.0  # s, assumed: by then the engine pulls, or the driver gives up
LONGEST_LAUNCH = 15.0  # s, assumed: longer slip burns a clutch
MOST_CLUTCH_HEAT = 8.0e5  # J, assumed: one launch that makes more has burnt the clutch
SPEED_STEP = 0.5  # m/s, assumed: growth of speed after which the place to begin slowing is worked out anew
SECOND_FEEL = 1.0  # s, assumed: after a snub the driver feels whether the engine brake alone holds now
LEAST_RETARDING = 3.0  # s, assumed: nobody flicks the engine-brake switch faster
RETARDING_ABOVE = 0.05  # m/s, assumed: above the target, on a descent, the switch goes on
FREE_ROLLING = 1.0  # m/s, assumed: how much more is let run out where the road does not fall
RELEASE_BELOW = 0.6  # m/s, assumed: below it the selector goes down a stage
COASTING_BELOW = 1.0  # m/s, assumed: further below, with no stage left, the foot goes back to the accelerator
DESCENT = -0.015  # assumed: a road that falls this much pushes a loaded truck
RELEASE_IN_GEAR = 0.28  # assumed: share of the target below which it does so on a descent for which the gear was taken
IN_GOOD_TIME = 0.8  # m/s, assumed: below the target, where the foot comes off on such a descent
GAINING = 0.02  # m/s2, assumed: what a driver feels as gaining speed
SECOND_GLANCE = 0.3  # s, assumed: between two looks at the tachometer
TAKING_ON_GRADE = (
    1650.0 * REVOLUTION_PER_MINUTE
)  # assumed: engine speed a lower gear must leave when it goes in on the grade
DRAG_RELEASE = 0.8  # m/s, assumed: below the target, where a dragging foot comes up
FOOT_LAG = 0.8  # s, assumed: until the deceleration wanted is there
RELEASE_AFTER_TRYING = 0.5  # assumed: the same, once a lower stage has been tried on this grade and did not hold
GRADE_NOTICED = 0.01  # assumed: change of the road after which it is tried again
CREST_MARGIN = 1.0  # m/s, assumed
RACING = 0.985  # assumed: of governed speed, where a driver looks at the tachometer and brakes
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


def demands(scene: Scene, planned: list[Descent]) -> list[Demand]:
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
    route = scene.route
    items = []
    for place in sorted({place.distance for place in (*route.limits, *route.curves) if place.distance > 0.0}):
        speed = scene.allowed_at(place)
        items.append(Demand(place, speed, "curve" if speed == route.curve_at(place) else "posted limit", 0.0))
    items += [Demand(max(place.distance - STOP_SHORT, 0.0), 0.0, "stop", place.value) for place in route.stops]
    before = [(way, max(way.begin - BEFORE_CREST, way.known)) for way in planned]
    items += [Demand(place, way.taking, DESCENT_AHEAD, 0.0) for way, place in before if place > 0.0]
    return sorted(items)


def is_falling(scene: Scene) -> bool:
    """Whether the road falls enough to push the truck; once held back, half of that counts."""
    return scene.clock.true("grade") <= (0.5 if scene.retarding else 1.0) * DESCENT


def driver(scene: Scene) -> Process:
    """Drives from one demand of the road to the next.

    Yields
    ------
    event : simpy.Event
        Places on the road and speeds reached.
    """
    clock = scene.clock
    planned = descents(scene)
    clock.process(descending(scene, planned))
    scene.aim_for(scene.allowed_speed())
    if clock.true("speed") < CREEP:
        yield from pull_away(scene, finding("cause.start_from_rest"))
    ahead = deque(demands(scene, planned))
    while ahead:
        demand = yield from _next_due(scene, ahead)
        if demand.speed == 0.0:
            yield from _stop(scene, demand)
        elif demand.cause != DESCENT_AHEAD and clock.true("distance") >= demand.distance:
            scene.aim_for(demand.speed)
        else:
            scene.taken.append((demand.distance, demand.speed))
            if demand.cause == DESCENT_AHEAD:
                scene.asked_gear = next(way.stretches[0].gear for way in planned if way.begin >= demand.distance)
            yield from _slow(scene, demand)
        while ahead and ahead[0].distance < clock.true("distance"):
            passed = ahead.popleft()
            if passed.cause != DESCENT_AHEAD:
                scene.aim_for(scene.allowed_speed())


def _next_due(scene: Scene, ahead: deque[Demand]) -> Process:
    """Waits until one of the demands ahead has to be met: where slowing must begin, worked out anew as the speed grows."""
    clock, habits = scene.clock, scene.settings.driver

    def begin(demand: Demand, speed: float) -> float:
        if speed <= demand.speed:
            return demand.distance
        if demand.speed == 0.0:
            return demand.distance - slowing_distance(speed, 0.0, habits.stopping_m_s2) - speed * habits.reaction_s
        way = slowing_distance(speed, demand.speed, habits.slowing_m_s2)
        return demand.distance - way - speed * (habits.reaction_s + FOOT_LAG)

    def soonest(speed: float) -> tuple[float, Demand]:
        best, reach = ahead[0], begin(ahead[0], speed)
        for demand in ahead:
            if (
                demand.distance
                - slowing_distance(speed, 0.0, habits.slowing_m_s2)
                - speed * (habits.reaction_s + FOOT_LAG)
                > reach
            ):
                break
            place = begin(demand, speed)
            if place < reach:
                best, reach = demand, place
            if demand.speed == 0.0:
                break
        return reach, best

    # nothing can ask for slowing before the place that the highest speed to come would ask for it
    fastest = max(scene.allowed_speed(), clock.believed("judged_speed"))
    yield clock.reach(soonest(fastest)[0])
    while True:
        speed = clock.believed("judged_speed")
        place, demand = soonest(speed + SPEED_STEP)
        if clock.true("distance") >= place - 0.5:
            ahead.remove(demand)
            return demand
        here = clock.reach(place)
        yield from clock.first(here, clock.when("belief.judged_speed", speed + SPEED_STEP))


def descending(scene: Scene, planned: list[Descent]) -> Process:
    """Keeps gear and speed of each descent in mind from before the crest to its foot.

    Yields
    ------
    event : simpy.Event
        Places on the road.
    """
    clock = scene.clock
    for way in planned:
        yield clock.reach(way.known)
        first = way.stretches[0]
        what = {"steepest": -way.steepest, "length": way.end - way.begin, "gear": first.gear}
        clock.record("descent_seen", finding("cause.descent_seen", **what), first.speed, "speed")
        yield clock.reach(max(way.begin - BEFORE_CREST, way.known))
        # no use gaining speed on the last metres before the crest
        here = max(way.taking, clock.believed("judged_speed")) + CREST_MARGIN
        scene.want_descent(first.gear, min(first.speed, here))
        yield clock.reach(way.begin)
        for stretch in way.stretches:
            yield clock.reach(stretch.begin)
            scene.want_descent(stretch.gear, stretch.speed)
        yield clock.reach(way.end)
        scene.want_descent(0, math.inf)


def _slow(scene: Scene, demand: Demand) -> Process:
    """Slows to a lower speed, with as much brake as the road and the engine leave to do."""
    clock, habits = scene.clock, scene.settings.driver
    scene.aim_for(demand.speed)
    if clock.believed("judged_speed") > demand.speed + 0.2:
        if scene.cruising:
            scene.press("cancel")
        scene.want_retarding("slow", is_falling(scene))
        if scene.settings.drill.service_brakes:
            scene.press_brake("slow", BRAKE_TO_DECELERATE, habits.slowing_m_s2)
        below = clock.when("belief.judged_speed", demand.speed + 0.2, falling=True)
        past = clock.reach(demand.distance + 10.0)
        yield from clock.first(below, past)
        scene.release_brake("slow")
        scene.want_retarding("slow", False)
    clock.record("slowed", CAUSES[demand.cause], demand.speed, "speed")


def _stop(scene: Scene, demand: Demand) -> Process:
    """Brakes to rest at a line, stands as long as told, and pulls away."""
    clock = scene.clock
    scene.press_brake("stop", BRAKE_TO_STOP, demand.distance)
    yield clock.when("state.standstill", 0.5)
    scene.press_brake("stand", BRAKE_PRESSURE, HOLDING_PRESSURE)
    scene.release_brake("stop")
    clock.set(clutch=0.0)
    scene.stand(True)
    clock.record("stopped", CAUSES[demand.cause], demand.stop, "time")
    yield clock.after(max(demand.stop, clock.tick))
    scene.aim_for(scene.allowed_speed())
    yield from pull_away(scene, finding("cause.after_a_stop"))


def launch_gear(scene: Scene) -> int:
    """Highest of the lower gears that starts the truck briskly here without boost; the first when none does."""
    held = scene.settings.drill.hold_gear
    if held:
        return held
    grade = scene.clock.true("grade")
    reserve = LAUNCH_RESERVE if grade < HILL else HILL_RESERVE
    needed = scene.resistance(0.0, grade) + reserve * scene.truck.vehicle.mass_kg
    for gear in range(max(scene.top_gear // 2, 1), 1, -1):
        if scene.pull_at(gear, 850.0 * REVOLUTION_PER_MINUTE, boosted=False) >= needed:
            return gear
    return 1


def launch_speed(scene: Scene, gear: int) -> float:
    """Engine speed to aim for so that the clutch passes what this launch needs.

    Returns
    -------
    speed : float
        [rad/s]

    Notes
    -----
    The clutch foot passes capacity x ((n - bite)/span)²; the engine-speed hold gives its gain times what it is short of.
    """
    rig = scene.clock.rig
    p = rig.parameters[0]
    force = scene.resistance(0.0, scene.clock.true("grade")) + LAUNCH_ACCELERATION * scene.truck.vehicle.mass_kg
    slope, drag = asked_driveline(rig.parameters, rig.tables, 100.0, gear, 80.0)
    torque = max((force + float(drag)) / float(slope), 0.0)
    turning = float(p["bite_speed"]) + float(p["bite_span"]) * math.sqrt(torque / float(p["clutch_capacity"]))
    aimed = turning + torque / float(p["matching_gain"])
    return min(max(aimed, LAUNCH_RPM * REVOLUTION_PER_MINUTE), MOST_LAUNCH_RPM * REVOLUTION_PER_MINUTE)


def pull_away(scene: Scene, cause: Finding) -> Process:
    """Starts the truck from rest: gear, foot, clutch, and the brake held until the engine pulls."""
    clock = scene.clock
    scene.press_brake("stand", BRAKE_PRESSURE, HOLDING_PRESSURE)
    clock.set(clutch=0.0)
    scene.stand(True)
    yield clock.after(scene.truck.driveline.clutch_open_s + 0.2)
    gear = launch_gear(scene)
    clock.set(gear=gear, engine_mode=1.0, engine_speed_target=launch_speed(scene, gear))
    heat, begun = clock.true("clutch"), clock.now
    yield clock.after(0.6)
    settled = clock.commanded("engine_speed_target") + 100.0 * REVOLUTION_PER_MINUTE
    yield from clock.first(clock.when("belief.engine_speed", settled, falling=True), clock.after(LONGEST_BITE))
    clock.set(clutch=1.0, launching=1.0)
    pulls = clock.when("state.drive_force", max(1.02 * scene.resistance(0.0, clock.true("grade")), 0.0))
    locked = clock.when("state.clutch_locked", 0.5)
    burnt = clock.when("state.clutch", heat + MOST_CLUTCH_HEAT)
    event = yield from clock.first(pulls, clock.after(LONGEST_BITE))
    if event is pulls:
        scene.release_brake("stand")
        event = yield from clock.first(locked, burnt, clock.after(LONGEST_LAUNCH))
    made = clock.true("clutch") - heat
    if event is not locked:
        told = {"gear": gear, "grade": clock.true("grade"), "heat": made}
        scene.end("stalled", finding("ended.could_not_pull_away", **told))
        return
    clock.set(engine_mode=0.0, launching=0.0)
    scene.stand(False)
    took = (clock.now - begun) * clock.tick
    clock.record("pulled_away", finding("cause.pulled_away", why=cause, gear=gear, took=took), made, "heat")


def holding_back(scene: Scene) -> Process:
    """Keeps the truck from running above the target speed: engine brake by stages first, then the service brakes."""
    clock, habits, drill = scene.clock, scene.settings.driver, scene.settings.drill
    over = habits.overspeed_km_h * KILOMETRE_PER_HOUR
    drop = habits.snub_drop_km_h * KILOMETRE_PER_HOUR
    racing_at = RACING * scene.truck.engine.si("governed_rpm")
    lowered_on = 1.0  # grade on which a stage was let go
    missed, missed_on, missed_for = (
        0,
        1.0,
        0.0,
    )  # a stage that was let go once too often: on which grade, for which speed
    snubbed = False  # the truck gains speed again after a snub although the engine brake works
    while True:
        if scene.standing:
            scene.want_retarding("descent", False)
        if scene.standing or "slow" in scene.brakes or "stop" in scene.brakes:
            yield scene.changed()
            continue
        if scene.cruising:
            yield from _watch_over_cruise(scene, racing_at, over, drop)
            continue
        target, falling, held = scene.aim, is_falling(scene), "descent" in scene.retarding
        racing = _tachometer(scene, racing_at)
        if drill.hold_stage >= 0:
            fast = clock.when("belief.judged_speed", target + over)
            event = yield from clock.first(fast, racing, scene.changed())
            if event is fast or (event is racing and _is_racing(scene, racing_at)):
                yield from _too_fast(scene, drop)
            if event is fast or event is racing:
                yield clock.after(SECOND_GLANCE)
        elif not held:
            above = RETARDING_ABOVE if falling else over + FREE_ROLLING
            if falling and scene.asked_gear:
                above = -IN_GOOD_TIME
            if wants_cruise(scene) and scene.settings.cruise.with_engine_brake:
                above = over + FREE_ROLLING
            fast = clock.when("belief.judged_speed", target + above)
            calls = [fast, _steepness(scene, falling), scene.changed()]
            if falling:
                calls.append(racing)
            else:
                clock.forget(racing)
            event = yield from clock.first(*calls)
            if event is fast and not falling and clock.true("acceleration") <= 0.0:
                # a level road takes the speed by itself
                gaining = clock.when("state.acceleration", GAINING)
                yield from clock.first(gaining, _steepness(scene, falling), scene.changed())
            elif event is fast or (event is racing and _is_racing(scene, racing_at)):
                snubbed = False
                scene.select(min(needed_stage(scene), scene.settings.retarding.selector))
                scene.want_retarding("descent", True)
                yield from clock.first(
                    clock.after(LEAST_RETARDING), clock.when("belief.judged_speed", target + 3.0 * over)
                )
            elif event is racing:
                yield clock.after(SECOND_GLANCE)
        else:
            most = scene.settings.retarding.selector
            let_go = snub_release(target + over, drop) if snubbed else target
            below = RELEASE_BELOW if scene.selector else COASTING_BELOW
            if scene.selector and scene.asked_gear:
                same = abs(clock.true("grade") - missed_on) < GRADE_NOTICED and target == missed_for
                known = scene.selector == missed and same
                below = (RELEASE_AFTER_TRYING if known else RELEASE_IN_GEAR) * target
            slow = clock.when("belief.judged_speed", let_go - below if falling else target, falling=True)
            early = falling and scene.asked_gear and scene.selector < most
            fast = clock.when("belief.judged_speed", target - 0.5 * IN_GOOD_TIME if early else target + over)
            event = yield from clock.first(racing, slow, fast, _steepness(scene, falling), scene.changed())
            if event is racing and not _is_racing(scene, racing_at):
                yield clock.after(SECOND_GLANCE)
                continue
            near = clock.believed("judged_speed") > (1.0 - RELEASE_AFTER_TRYING) * target
            coming_back = scene.asked_gear > 0 and near and clock.true("acceleration") > GAINING
            if event is slow and falling and scene.selector and coming_back:
                # it comes back by itself
                losing = clock.when("state.acceleration", 0.0, falling=True)
                back = clock.when("belief.judged_speed", target)
                again = _tachometer(scene, racing_at)
                yield from clock.first(losing, back, again, _steepness(scene, falling), scene.changed())
                yield clock.after(SECOND_GLANCE)
            elif event is slow and falling and scene.selector:
                lowered_on = clock.true("grade")
                scene.select(scene.selector - 1)
                yield clock.after(LEAST_RETARDING)
            elif event is slow:
                scene.want_retarding("descent", False)
            elif event in (fast, racing) and scene.selector < most:
                scene.select(scene.selector + 1)
                if abs(clock.true("grade") - lowered_on) < GRADE_NOTICED:
                    missed, missed_on, missed_for = scene.selector, clock.true("grade"), target
                yield from clock.first(
                    clock.after(LEAST_RETARDING), clock.when("belief.judged_speed", target + 2.0 * over)
                )
            elif event in (fast, racing):
                yield from _too_fast(scene, drop)
                yield from clock.first(clock.after(SECOND_FEEL), scene.changed())
                snubbed = drill.service_brakes and clock.true("acceleration") > 0.0


def _tachometer(scene: Scene, racing_at: float) -> simpy.Event:
    """The event of an engine that comes close to its governed speed; with the clutch open, of the clutch let in."""
    if scene.clock.believed("clutch_pressed") < 0.5:
        return scene.clock.when("belief.engine_speed", racing_at)
    return scene.clock.when("belief.clutch_pressed", 0.5, falling=True)


def _is_racing(scene: Scene, racing_at: float) -> bool:
    """Whether the road drives the engine close to its governed speed."""
    clock = scene.clock
    pressed = clock.believed("accelerator") > 0.0 or clock.believed("clutch_pressed") > 0.5
    return not pressed and clock.believed("engine_speed") >= racing_at


def _watch_over_cruise(scene: Scene, racing_at: float, over: float, drop: float) -> Process:
    """Leaves the truck to cruise control until it cannot hold it; then the brake, or the cancel button, ends it."""
    clock, cruise, retarding = scene.clock, scene.settings.cruise, scene.settings.retarding
    staged = cruise.with_engine_brake and retarding.switch
    trusted = cruise.si("stage_3_over_km_h") if staged else 0.0
    fast = clock.when("belief.judged_speed", clock.commanded("set_speed") + trusted + over + FREE_ROLLING)
    racing = _tachometer(scene, racing_at)
    event = yield from clock.first(fast, racing, scene.changed())
    if event is racing and not _is_racing(scene, racing_at):
        yield clock.after(SECOND_GLANCE)
        return
    if event not in (fast, racing):
        return
    if scene.settings.drill.service_brakes:
        # the foot stays off afterwards: the engine brake goes on working at the stage the selector allows
        scene.select(retarding.selector)
        scene.want_retarding("descent", is_falling(scene))
        yield from _too_fast(scene, drop)
    elif staged or not is_falling(scene):
        yield scene.changed()
    else:
        scene.select(retarding.selector)
        scene.want_retarding("descent", True)
        scene.press("cancel")
        yield clock.after(clock.tick)


def _steepness(scene: Scene, falling: bool) -> simpy.Event:
    """The event of a road that begins to fall, or that no longer does."""
    level = 0.5 * DESCENT if falling else DESCENT
    return scene.clock.when("state.grade", level, falling=not falling)


def held_stage(scene: Scene) -> Process:
    """With a stage held by the drill: the foot is off on every descent, and the stage works there."""
    clock = scene.clock
    if scene.settings.drill.hold_stage < 0:
        return
    while True:
        yield clock.when("state.grade", DESCENT, falling=True)
        scene.want_retarding("drill", True)
        yield clock.when("state.grade", 0.5 * DESCENT)
        scene.want_retarding("drill", False)


def _too_fast(scene: Scene, drop: float) -> Process:
    """One snub down from the speed there is, or a drag as long as the road pushes; without leave to brake, patience."""
    clock, habits, drill = scene.clock, scene.settings.driver, scene.settings.drill
    target = scene.aim
    if not drill.service_brakes:
        slower = clock.when("belief.judged_speed", min(target, clock.believed("judged_speed") - drop), falling=True)
        yield from clock.first(scene.changed(), slower)
        return
    release_at = snub_release(
        min(clock.believed("judged_speed"), target + habits.overspeed_km_h * KILOMETRE_PER_HOUR), drop
    )
    if 0 < scene.asked_gear < clock.true("gear"):
        # far enough down for the gear that is wanted
        release_at = min(release_at, TAKING_ON_GRADE / scene.engine_speed(scene.asked_gear, 1.0))
    style = finding("cause.drag") if drill.style == "drag" else finding("cause.snub")
    clock.record("brakes_applied", style, clock.believed("judged_speed"), "speed")
    if drill.style == "drag":
        scene.press_brake("hold", BRAKE_TO_HOLD)
        release_at = min(target, clock.believed("judged_speed")) - DRAG_RELEASE
    else:
        scene.press_brake("hold", BRAKE_TO_DECELERATE, habits.snub_deceleration_m_s2)
    done = clock.when("belief.judged_speed", release_at, falling=True)
    while not done.triggered:
        yield from clock.first(done, scene.changed())
        if scene.standing or "slow" in scene.brakes or "stop" in scene.brakes or scene.aim != target:
            break
        if not done.triggered:
            done = clock.when("belief.judged_speed", release_at, falling=True)
    cause = finding("cause.slow_enough") if done.triggered else finding("cause.something_else")
    clock.forget(done)
    scene.release_brake("hold")
    clock.record("brakes_released", cause, clock.believed("judged_speed"), "speed")
