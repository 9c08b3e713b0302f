"""The driver: holds the posted speed, slows for what comes, keeps the truck back on descents, stops and pulls away."""

import math
from typing import NamedTuple

import simpy

from sim.actors.brake_stages import needed_stage
from sim.actors.scene import BRAKE_PRESSURE, BRAKE_TO_DECELERATE, BRAKE_TO_HOLD, BRAKE_TO_STOP, Scene
from sim.clock import Process
from sim.plant import asked_driveline
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE

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
CREEP = 0.5  # m/s: below it the truck counts as standing when it must pull away


class Demand(NamedTuple):
    """A speed that must be had at a place: a lower limit or a stop."""

    distance: float
    speed: float
    cause: str
    stop: float


def demands(scene: Scene) -> list[Demand]:
    """Everything ahead that asks for a speed, in the order of the road.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    demands : list of Demand
        [m, m/s, -, s]
    """
    route, share = scene.route, scene.settings.driver.speed_limit_share
    items = [Demand(place.distance, place.value * share, "posted limit", 0.0) for place in route.limits[1:]]
    items += [Demand(max(place.distance - STOP_SHORT, 0.0), 0.0, "stop", place.value) for place in route.stops]
    return sorted(items)


def is_falling(scene: Scene) -> bool:
    """Whether the road falls enough to push the truck; once held back, half of that counts.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    falling : bool
        [-]
    """
    return scene.clock.true("grade") <= (0.5 if scene.retarding else 1.0) * DESCENT


def driver(scene: Scene) -> Process:
    """Drives from one demand of the road to the next.

    Parameters
    ----------
    scene : Scene
        [-]

    Yields
    ------
    event : simpy.Event
        Places on the road and speeds reached. [-]
    """
    clock, habits = scene.clock, scene.settings.driver
    scene.aim_for(scene.route.limits[0].value * habits.speed_limit_share)
    if clock.true("speed") < CREEP:
        yield from pull_away(scene, "start from rest")
    for demand in demands(scene):
        if demand.speed == 0.0:
            yield from _approach(scene, demand, habits.stopping_m_s2)
            yield from _stop(scene, demand)
        elif demand.speed >= clock.commanded("target_speed"):
            yield clock.reach(demand.distance)
            scene.aim_for(demand.speed)
        else:
            yield from _approach(scene, demand, habits.slowing_m_s2)
            yield from _slow(scene, demand)


def _approach(scene: Scene, demand: Demand, deceleration: float) -> Process:
    """Waits for the place where slowing must begin, worked out anew as the speed grows."""
    clock = scene.clock
    reaction = scene.settings.driver.reaction_s

    def begin(speed: float) -> float:
        if speed <= demand.speed:
            return demand.distance
        way = (speed * speed - demand.speed * demand.speed) / (2.0 * deceleration)
        return demand.distance - way - speed * reaction

    # nothing can ask for slowing before the place that the speed aimed for would ask for it
    yield clock.reach(begin(max(clock.commanded("target_speed"), clock.believed("road_speed"))))
    while True:
        speed = clock.believed("road_speed")
        place = begin(speed + SPEED_STEP)
        if clock.true("distance") >= place - 0.5:
            return
        here = clock.reach(place)
        yield from clock.first(here, clock.when("belief.road_speed", speed + SPEED_STEP))


def _slow(scene: Scene, demand: Demand) -> Process:
    """Slows to a lower speed, with as much brake as the road and the engine leave to do."""
    clock, habits = scene.clock, scene.settings.driver
    scene.aim_for(demand.speed)
    if clock.believed("road_speed") > demand.speed + 0.2:
        scene.want_retarding("slow", is_falling(scene))
        if scene.settings.drill.service_brakes:
            scene.press_brake("slow", BRAKE_TO_DECELERATE, habits.slowing_m_s2)
        below = clock.when("belief.road_speed", demand.speed + 0.2, falling=True)
        past = clock.reach(demand.distance + 10.0)
        yield from clock.first(below, past)
        scene.release_brake("slow")
        scene.want_retarding("slow", False)
    clock.record("slowed", demand.cause, demand.speed * 3.6, "km/h")


def _stop(scene: Scene, demand: Demand) -> Process:
    """Brakes to rest at a line, stands as long as told, and pulls away."""
    clock = scene.clock
    scene.press_brake("stop", BRAKE_TO_STOP, demand.distance)
    yield clock.when("state.standstill", 0.5)
    scene.press_brake("stand", BRAKE_PRESSURE, HOLDING_PRESSURE)
    scene.release_brake("stop")
    clock.set(clutch=0.0)
    scene.stand(True)
    clock.record("stopped", demand.cause, demand.stop, "s")
    yield clock.after(max(demand.stop, clock.tick))
    scene.aim_for(scene.route.limit_at(clock.true("distance")) * scene.settings.driver.speed_limit_share)
    yield from pull_away(scene, "pulls away")


def launch_gear(scene: Scene) -> int:
    """Highest of the lower gears that starts the truck briskly here without boost; the first when none does.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    gear : int
        [-]
    """
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

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        [-]

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


def pull_away(scene: Scene, cause: str) -> Process:
    """Starts the truck from rest: gear, foot, clutch, and the brake held until the engine pulls.

    Parameters
    ----------
    scene : Scene
        [-]
    cause : str
        In words. [-]

    Yields
    ------
    event : simpy.Event
        [-]
    """
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
    made = (clock.true("clutch") - heat) / 1000.0
    if event is not locked:
        place = f"in gear {gear} on {100 * clock.true('grade'):.1f} %"
        scene.end("stalled", f"could not pull away {place}; clutch heat {made:.0f} kJ")
        return
    clock.set(engine_mode=0.0, launching=0.0)
    scene.stand(False)
    clock.record("pulled_away", f"{cause} in gear {gear}, {(clock.now - begun) * clock.tick:.1f} s", made, "kJ")


def holding_back(scene: Scene) -> Process:
    """Keeps the truck from running above the target speed: engine brake by stages first, then the service brakes.

    Parameters
    ----------
    scene : Scene
        [-]

    Yields
    ------
    event : simpy.Event
        [-]
    """
    clock, habits, drill = scene.clock, scene.settings.driver, scene.settings.drill
    over = habits.overspeed_km_h * KILOMETRE_PER_HOUR
    drop = habits.snub_drop_km_h * KILOMETRE_PER_HOUR
    snubbed = False  # the truck gains speed again after a snub although the engine brake works
    while True:
        if scene.standing or "slow" in scene.brakes or "stop" in scene.brakes:
            yield scene.changed()
            continue
        target, falling, held = clock.commanded("target_speed"), is_falling(scene), "descent" in scene.retarding
        if drill.hold_stage >= 0:
            fast = clock.when("belief.road_speed", target + over)
            event = yield from clock.first(fast, scene.changed())
            if event is fast:
                yield from _too_fast(scene, target + over - drop)
        elif not held:
            above = RETARDING_ABOVE if falling else over + FREE_ROLLING
            fast = clock.when("belief.road_speed", target + above)
            event = yield from clock.first(fast, _steepness(scene, falling), scene.changed())
            if event is fast:
                snubbed = False
                scene.select(min(needed_stage(scene), scene.settings.retarding.selector))
                scene.want_retarding("descent", True)
                yield from clock.first(clock.after(LEAST_RETARDING), clock.when("belief.road_speed", target + over))
        else:
            most = scene.settings.retarding.selector
            let_go = target + over - drop if snubbed else target
            below = RELEASE_BELOW if scene.selector else COASTING_BELOW
            slow = clock.when("belief.road_speed", let_go - below if falling else target, falling=True)
            fast = clock.when("belief.road_speed", target + over)
            event = yield from clock.first(slow, fast, _steepness(scene, falling), scene.changed())
            if event is slow and falling and scene.selector:
                scene.select(scene.selector - 1)
                yield clock.after(LEAST_RETARDING)
            elif event is slow:
                scene.want_retarding("descent", False)
            elif event is fast and scene.selector < most:
                scene.select(scene.selector + 1)
                yield from clock.first(
                    clock.after(LEAST_RETARDING), clock.when("belief.road_speed", target + 2.0 * over)
                )
            elif event is fast:
                yield from _too_fast(scene, target + over - drop)
                yield from clock.first(clock.after(SECOND_FEEL), scene.changed())
                snubbed = drill.service_brakes and clock.true("acceleration") > 0.0


def _steepness(scene: Scene, falling: bool) -> simpy.Event:
    """The event of a road that begins to fall, or that no longer does."""
    level = 0.5 * DESCENT if falling else DESCENT
    return scene.clock.when("state.grade", level, falling=not falling)


def held_stage(scene: Scene) -> Process:
    """With a stage held by the drill: the foot is off on every descent, and the stage works there.

    Parameters
    ----------
    scene : Scene
        [-]

    Yields
    ------
    event : simpy.Event
        [-]
    """
    clock = scene.clock
    if scene.settings.drill.hold_stage < 0:
        return
    while True:
        yield clock.when("state.grade", DESCENT, falling=True)
        scene.want_retarding("drill", True)
        yield clock.when("state.grade", 0.5 * DESCENT)
        scene.want_retarding("drill", False)


def _too_fast(scene: Scene, release_at: float) -> Process:
    """One snub down to a speed, or a drag as long as the road pushes; without leave to brake, patience."""
    clock, habits, drill = scene.clock, scene.settings.driver, scene.settings.drill
    target = clock.commanded("target_speed")
    if not drill.service_brakes:
        yield from clock.first(scene.changed(), clock.when("belief.road_speed", target, falling=True))
        return
    clock.record("brakes_applied", drill.style, clock.believed("road_speed") * 3.6, "km/h")
    if drill.style == "drag":
        scene.press_brake("hold", BRAKE_TO_HOLD)
        done = clock.when("belief.road_speed", target - 0.8, falling=True)
    else:
        scene.press_brake("hold", BRAKE_TO_DECELERATE, habits.snub_deceleration_m_s2)
        done = clock.when("belief.road_speed", release_at, falling=True)
    while not done.triggered:
        yield from clock.first(done, scene.changed())
        if (
            scene.standing
            or "slow" in scene.brakes
            or "stop" in scene.brakes
            or clock.commanded("target_speed") != target
        ):
            break
        if not done.triggered:
            done = clock.when("belief.road_speed", release_at if drill.style == "snub" else target - 0.8, falling=True)
    cause = "slow enough" if done.triggered else "something else to do"
    clock.forget(done)
    scene.release_brake("hold")
    clock.record("brakes_released", cause, clock.believed("road_speed") * 3.6, "km/h")
