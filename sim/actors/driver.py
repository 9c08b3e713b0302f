"""The driver: holds the posted speed, slows for what comes, keeps the truck back on descents, stops and pulls away."""

from typing import NamedTuple

from sim.actors.scene import Scene
from sim.clock import Process
from sim.units import REVOLUTION_PER_MINUTE

STOP_SHORT = 1.0  # m, assumed: the truck stands this far before the line
HOLDING_PRESSURE = 2.5e5  # Pa, assumed: foot on the brake while standing
LAUNCH_RPM = 850.0  # engine speed a driver pulls away with, assumed
LAUNCH_ACCELERATION = 1.2  # m/s2, assumed: pull a driver wants in hand for pulling away
LONGEST_LAUNCH = 25.0  # s, assumed: then the driver gives up
MOST_CLUTCH_HEAT = 3.0e6  # J, assumed: one launch that makes more has burnt the clutch
SIDE_ACCELERATION = 1.4  # m/s2, assumed: 0.14 g in a curve
LEAST_RETARDING = 3.0  # s, assumed: nobody flicks the engine-brake switch faster
RETARDING_ABOVE = 0.15  # m/s, assumed: above the target, on a descent, the switch goes on
FREE_ROLLING = 1.0  # m/s, assumed: how much more is let run out where the road does not fall
RELEASE_BELOW = 0.6  # m/s, assumed: below the end of a snub the switch goes off although the road falls
DESCENT = -0.015  # assumed: a road that falls this much pushes a loaded truck
CREEP = 0.5  # m/s: below it the truck counts as standing when it must pull away


class Demand(NamedTuple):
    """A speed that must be had at a place: a lower limit, a curve or a stop."""

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
    share = habits.speed_limit_share
    clock.set(accelerator_mode=1.0, target_speed=scene.route.limits[0].value * share)
    if clock.true("speed") < CREEP:
        yield from pull_away(scene, "start from rest")
    for demand in demands(scene):
        if demand.stop or demand.speed == 0.0:
            yield from _approach(scene, demand, habits.stopping_m_s2)
            yield from _stand(scene, demand)
        elif demand.speed >= clock.commanded("target_speed"):
            yield clock.reach(demand.distance)
            clock.set(target_speed=demand.speed)
        else:
            yield from _approach(scene, demand, habits.slowing_m_s2)
            yield from _slow(scene, demand)


def _approach(scene: Scene, demand: Demand, deceleration: float) -> Process:
    """Waits for the place where slowing must begin, worked out anew from the speed held there."""
    clock = scene.clock
    reaction = scene.settings.driver.reaction_s
    while True:
        speed = clock.believed("road_speed")
        if speed <= demand.speed and not demand.stop:
            yield clock.reach(demand.distance)
            return
        needed = (speed * speed - demand.speed * demand.speed) / (2.0 * deceleration) + speed * reaction
        begin = demand.distance - needed
        if clock.true("distance") >= begin - 1.0:
            return
        halfway = 0.5 * (clock.true("distance") + begin)
        yield clock.reach(begin if begin - clock.true("distance") < 20.0 else halfway)


def _slow(scene: Scene, demand: Demand) -> Process:
    """Slows to a lower speed, with as much brake as the road and the engine leave to do."""
    clock, habits = scene.clock, scene.settings.driver
    clock.set(target_speed=demand.speed)
    if scene.settings.drill.service_brakes and clock.believed("road_speed") > demand.speed:
        scene.want_retarding(True)
        clock.set(brake_mode=1.0, brake_deceleration=habits.slowing_m_s2)
        yield clock.when("belief.road_speed", demand.speed + 0.2, falling=True)
        clock.set(brake_mode=0.0)
    clock.record("slowed", demand.cause, demand.speed * 3.6, "km/h")


def _stand(scene: Scene, demand: Demand) -> Process:
    """Brakes to rest at a line, stands as long as told, and pulls away."""
    clock = scene.clock
    scene.want_retarding(False)
    clock.set(target_speed=0.0, brake_mode=3.0, stop_distance=demand.distance)
    yield clock.when("state.standstill", 0.5)
    scene.standing = True
    clock.set(brake_mode=4.0, brake_pressure=HOLDING_PRESSURE, clutch=0.0)
    clock.record("stopped", demand.cause, demand.stop, "s")
    yield clock.after(max(demand.stop, clock.tick))
    limit = scene.route.limit_at(clock.true("distance")) * scene.settings.driver.speed_limit_share
    clock.set(target_speed=limit)
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
    needed = scene.resistance(0.0, grade) + LAUNCH_ACCELERATION * scene.truck.vehicle.mass_kg
    for gear in range(max(scene.top_gear // 2, 1), 1, -1):
        if scene.pull_at(gear, LAUNCH_RPM * REVOLUTION_PER_MINUTE, boosted=False) >= needed:
            return gear
    return 1


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
    scene.standing = True
    clock.set(brake_mode=4.0, brake_pressure=HOLDING_PRESSURE, clutch=0.0)
    yield clock.after(scene.truck.driveline.clutch_open_s + 0.2)
    gear = launch_gear(scene)
    clock.set(gear=gear, engine_mode=1.0, engine_speed_target=LAUNCH_RPM * REVOLUTION_PER_MINUTE)
    heat = clock.true("clutch")
    begun = clock.now
    yield clock.after(0.6)
    clock.set(clutch=1.0, launching=1.0)
    needed = max(scene.resistance(0.0, clock.true("grade")), 0.0)
    yield from clock.first(clock.when("state.drive_force", 1.05 * needed), clock.after(3.0))
    clock.set(brake_mode=0.0)
    locked = clock.when("state.clutch_locked", 0.5)
    burnt = clock.when("state.clutch", heat + MOST_CLUTCH_HEAT)
    event = yield from clock.first(locked, burnt, clock.after(LONGEST_LAUNCH))
    made = (clock.true("clutch") - heat) / 1000.0
    if event is not locked:
        scene.end(
            "stalled",
            f"could not pull away in gear {gear} on {100 * clock.true('grade'):.1f} %; clutch heat {made:.0f} kJ",
        )
        return
    clock.set(engine_mode=0.0, launching=0.0, accelerator_mode=1.0)
    scene.standing = False
    clock.record("pulled_away", f"{cause} in gear {gear}, {(clock.now - begun) * clock.tick:.1f} s", made, "kJ")


def holding_back(scene: Scene) -> Process:
    """Keeps the truck from running above the target speed: engine brake first, then the service brakes.

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
    held = drill.hold_stage >= 0
    over = habits.overspeed_km_h / 3.6
    drop = habits.snub_drop_km_h / 3.6
    snubbed = False  # the engine brake alone was not enough on this descent
    while True:
        if scene.standing:
            yield scene.pulled_away()
            continue
        if clock.commanded("brake_mode") > 0.5:
            yield clock.when("command.brake_mode", 0.5, falling=True)
            continue
        target = clock.commanded("target_speed")
        brake_at, release_at = target + over, target + over - drop
        falling = clock.true("grade") <= (0.5 if scene.wants_retarding else 1.0) * DESCENT
        changed = [
            clock.when("command.target_speed", target + 0.01),
            clock.when("command.target_speed", target - 0.01, falling=True),
            clock.when("command.brake_mode", 0.5),
            clock.when("state.grade", 0.5 * DESCENT) if falling else clock.when("state.grade", DESCENT, falling=True),
        ]
        if held:
            fast = clock.when("belief.road_speed", brake_at)
            event = yield from clock.first(fast, *changed)
            if event is fast:
                yield from _too_fast(scene, target, release_at)
            continue
        if not scene.wants_retarding:
            fast = clock.when("belief.road_speed", target + RETARDING_ABOVE if falling else brake_at + FREE_ROLLING)
            event = yield from clock.first(fast, *changed)
            if event is fast:
                scene.want_retarding(True)
                yield clock.after(LEAST_RETARDING)
            continue
        let_go = (release_at if snubbed and falling else target) - RELEASE_BELOW
        slow = clock.when("belief.road_speed", let_go if falling else target, falling=True)
        fast = clock.when("belief.road_speed", brake_at)
        event = yield from clock.first(slow, fast, *changed)
        if event is slow:
            scene.want_retarding(False)
            snubbed = False
        elif event is fast:
            yield from _too_fast(scene, target, release_at)
            snubbed = drill.service_brakes


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
        scene.want_retarding(True)
        yield clock.when("state.grade", 0.5 * DESCENT)
        scene.want_retarding(False)


def _too_fast(scene: Scene, target: float, release_at: float) -> Process:
    """Brakes, or without leave to brake waits until something changes."""
    clock = scene.clock
    if scene.settings.drill.service_brakes:
        yield from _hold_with_brakes(scene, release_at)
        return
    yield from clock.first(
        clock.when("command.target_speed", target + 0.01),
        clock.when("command.target_speed", target - 0.01, falling=True),
        clock.when("command.brake_mode", 0.5),
        clock.when("belief.road_speed", target, falling=True),
    )


def _hold_with_brakes(scene: Scene, release_at: float) -> Process:
    """One snub down to a speed, or a drag that lasts as long as the road pushes."""
    clock, habits = scene.clock, scene.settings.driver
    if scene.settings.drill.style == "drag":
        clock.set(brake_mode=2.0)
        clock.record("brakes_applied", "held at the speed", clock.believed("road_speed") * 3.6, "km/h")
        yield clock.when("belief.road_speed", clock.commanded("target_speed") - 0.8, falling=True)
    else:
        clock.set(brake_mode=1.0, brake_deceleration=habits.snub_deceleration_m_s2)
        clock.record("brakes_applied", "snub", clock.believed("road_speed") * 3.6, "km/h")
        yield clock.when("belief.road_speed", release_at, falling=True)
    if clock.commanded("brake_mode") < 2.5:
        clock.set(brake_mode=0.0)
        clock.record("brakes_released", "slow enough", clock.believed("road_speed") * 3.6, "km/h")
