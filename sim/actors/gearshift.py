"""The gearbox: how a shift is carried out, and when one is wanted."""

import simpy

from sim.actors.scene import Scene
from sim.clock import Process
from sim.units import REVOLUTION_PER_MINUTE

MATCHED = 80.0 * REVOLUTION_PER_MINUTE  # assumed: speeds this close can be engaged
LONGEST_MATCH = 2.5  # s, assumed: then the gear goes in with what difference is left
MATCH_STEP = 0.1  # s: how often the matching speed is taken from the speedometer
DECLUTCH_ABOVE_IDLE = 120.0 * REVOLUTION_PER_MINUTE  # assumed: a braking driver opens the clutch this far above idle
SETTLING = 1.5  # s, assumed: after a shift, before the next is thought about
SECOND_LOOK = 3.0  # s, assumed: after a downshift was refused
SPEED_NOTICED = 1.03  # assumed: growth of engine speed after which a refused upshift is thought about again
GRADE_NOTICED = 0.01  # assumed: easing of the road after which it is
GAINING = 0.06  # m/s2, assumed: a truck that gains this much needs no lower gear
PULL_RESERVE = 1.03  # assumed: the next gear must pull this much more than the road asks for
LIGHT_PEDAL = 0.55  # assumed: below it the light-load shift speed counts
NEVER = 1.0e9  # rad/s
FORCED_UPSHIFT = 2300.0 * REVOLUTION_PER_MINUTE  # assumed: an automated gearbox protects its engine


def shift(scene: Scene, gear: int, cause: str) -> Process:
    """Changes gear: clutch out, neutral, match speeds, engage, clutch in.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        Gear to engage. [-]
    cause : str
        Why, in words. [-]

    Yields
    ------
    event : simpy.Event
        The stages of the shift. [-]
    """
    clock, truck = scene.clock, scene.truck
    before = int(clock.true("gear"))
    begun = clock.now
    clock.set(clutch=0.0, engine_mode=1.0, engine_speed_target=clock.believed("engine_speed"))
    yield clock.after(truck.driveline.clutch_open_s)
    clock.set(gear=0)
    gap = truck.gearbox.torque_gap_s - truck.driveline.clutch_open_s
    waited = 0.0
    while True:
        target = scene.engine_speed(gear, clock.believed("road_speed"))
        clock.set(engine_speed_target=target)
        near = abs(clock.believed("engine_speed") - target) < MATCHED
        if waited >= gap and (near or waited >= gap + LONGEST_MATCH):
            break
        yield clock.after(MATCH_STEP)
        waited += MATCH_STEP
    if scene.standing or target < truck.engine.si("low_idle_rpm"):
        clock.set(engine_mode=0.0)
        clock.record("shift_given_up", f"{before} to {gear}: too slow for the gear", clock.true("speed") * 3.6, "km/h")
        return
    clock.set(gear=gear, clutch=1.0)
    yield from clock.first(clock.when("state.clutch_locked", 0.5), clock.after(3.0))
    clock.set(engine_mode=0.0)
    clock.record("gear_engaged", f"{before} to {gear}: {cause}", (clock.now - begun) * clock.tick, "s")


def suitable_gear(scene: Scene, road_speed: float, least_rpm: float, grade: float) -> int:
    """Highest gear that turns the engine fast enough and still pulls on the grade; else the one that pulls best.

    Parameters
    ----------
    scene : Scene
        [-]
    road_speed : float
        [m/s]
    least_rpm : float
        Engine speed to have at least. [rpm]
    grade : float
        [-]

    Returns
    -------
    gear : int
        [-]
    """
    needed = scene.resistance(road_speed, grade) * PULL_RESERVE
    governed = scene.truck.engine.si("governed_rpm")
    best, best_pull = 1, -1.0
    for gear in range(scene.top_gear, 0, -1):
        speed = scene.engine_speed(gear, road_speed)
        if speed > governed:
            break
        if speed < least_rpm * REVOLUTION_PER_MINUTE:
            continue
        pull = scene.pull(gear, road_speed)
        if pull >= needed:
            return gear
        if pull > best_pull:
            best, best_pull = gear, pull
    if best_pull < 0.0:
        for gear in range(scene.top_gear, 0, -1):
            if scene.engine_speed(gear, road_speed) >= least_rpm * REVOLUTION_PER_MINUTE:
                return gear
    return best


def after_gap(scene: Scene, road_speed: float, grade: float) -> float:
    """Road speed a shift's torque gap leaves.

    Parameters
    ----------
    scene : Scene
        [-]
    road_speed : float
        Now. [m/s]
    grade : float
        [-]

    Returns
    -------
    speed : float
        Never below 0. [m/s]
    """
    gap = scene.truck.gearbox.torque_gap_s + scene.truck.driveline.clutch_close_s
    mass = scene.truck.vehicle.mass_kg
    return max(road_speed - scene.resistance(road_speed, grade) / mass * gap, 0.0)


def lands_too_slow(scene: Scene, gear: int) -> bool:
    """Whether a higher gear would turn the engine so slowly after the gap that it had to be left again.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        The higher gear. [-]

    Returns
    -------
    slow : bool
        [-]
    """
    landed = after_gap(scene, scene.clock.believed("road_speed"), scene.clock.true("grade"))
    return scene.engine_speed(gear, landed) < (scene.settings.shifting.downshift_rpm + 30.0) * REVOLUTION_PER_MINUTE


def upshift_holds(scene: Scene, gear: int) -> bool:
    """Whether a higher gear would still pull after the gap of the shift.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        The higher gear. [-]

    Returns
    -------
    holds : bool
        [-]
    """
    if lands_too_slow(scene, gear):
        return False
    grade = scene.clock.true("grade")
    landed = after_gap(scene, scene.clock.believed("road_speed"), grade)
    if _is_light(scene) and grade < 0.01:
        return True
    return scene.pull(gear, landed) >= PULL_RESERVE * scene.resistance(landed, grade)


def gear_choice(scene: Scene) -> Process:
    """Shifts as a sensible driver or a simple automated gearbox does, outside launches and stops.

    Parameters
    ----------
    scene : Scene
        [-]

    Yields
    ------
    event : simpy.Event
        Shift speeds, and second looks. [-]
    """
    clock, shifting = scene.clock, scene.settings.shifting
    held = scene.settings.drill.hold_gear
    down, up, full = (shifting.si(key) for key in ("downshift_rpm", "upshift_rpm", "full_load_upshift_rpm"))
    while True:
        if scene.standing:
            yield scene.pulled_away()
            yield clock.after(SETTLING)
            continue
        gear = int(clock.commanded("gear"))
        if gear == 0:
            yield from _take_up(scene)
            continue
        idling = near_idle(scene)
        waits = [idling]
        low = high = None
        if not held and gear > 1:
            low = clock.when("belief.engine_speed", down, falling=True)
            waits.append(low)
        if not held and gear < scene.top_gear:
            pulling = clock.believed("engine_speed") >= up and not _is_light(scene)
            high = clock.when("belief.engine_speed", full if pulling else up)
            waits.append(high)
            if pulling:
                waits.append(clock.when("state.accelerator", LIGHT_PEDAL, falling=True))
        event = yield from clock.first(*waits)
        if scene.standing:
            continue
        if event is idling:
            yield from _declutch(scene)
        elif event is low:
            yield from _maybe_down(scene, gear)
        elif event is high and (_is_light(scene) or clock.believed("engine_speed") >= full):
            yield from _maybe_up(scene, gear)


def near_idle(scene: Scene) -> simpy.Event:
    """The event of an engine that is being pulled down to its idle speed.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    event : simpy.Event
        [-]
    """
    level = scene.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
    return scene.clock.when("belief.engine_speed", level, falling=True)


def _is_light(scene: Scene) -> bool:
    """Whether the pedal is light enough for an early upshift."""
    return scene.clock.true("accelerator") < LIGHT_PEDAL


def _maybe_down(scene: Scene, gear: int) -> Process:
    """Shifts down under load; with the foot off, waits for load or for the clutch."""
    clock, shifting = scene.clock, scene.settings.shifting
    if clock.true("acceleration") > GAINING and clock.true("accelerator") > 0.0:
        sinking = clock.when("state.acceleration", 0.5 * GAINING, falling=True)
        turning = shifting.downshift_rpm * REVOLUTION_PER_MINUTE
        yield from clock.first(sinking, clock.when("belief.engine_speed", turning, release=turning))
        return
    if clock.true("accelerator") <= 0.0:
        yield from clock.first(near_idle(scene), clock.when("state.accelerator", 0.05))
        return
    road_speed, grade = clock.believed("road_speed"), clock.true("grade")
    landed = after_gap(scene, road_speed, grade)
    least = shifting.downshift_rpm + 50.0
    wanted = suitable_gear(scene, landed, least, grade)
    most = shifting.landing_rpm * REVOLUTION_PER_MINUTE
    while wanted < gear - 1 and scene.engine_speed(wanted, landed) > most:
        wanted += 1
    wanted = min(wanted, gear - 1)
    if scene.engine_speed(wanted, landed) > most:
        clock.record("shift_refused", f"{gear} to {wanted}: the engine would overspeed", wanted, "gear")
        yield clock.after(SECOND_LOOK)
        return
    yield from shift(scene, wanted, "engine speed low under load")
    yield clock.after(SETTLING)


def _maybe_up(scene: Scene, gear: int) -> Process:
    """Shifts up when the next gear will hold; on overrun only to save the engine."""
    clock = scene.clock
    if clock.true("accelerator") <= 0.0:
        automated = scene.truck.gearbox.kind == "automated"
        if automated and clock.believed("engine_speed") >= FORCED_UPSHIFT:
            yield from shift(scene, gear + 1, "engine overspeed in overrun")
            yield clock.after(SETTLING)
            return
        pressed = clock.when("state.accelerator", 0.05)
        overspeed = FORCED_UPSHIFT if automated else NEVER
        yield from clock.first(pressed, near_idle(scene), clock.when("belief.engine_speed", overspeed))
        return
    wanted = gear
    for candidate in range(gear + 1, min(gear + 2, scene.top_gear) + 1):
        if upshift_holds(scene, candidate):
            wanted = candidate
    if wanted > gear:
        yield from shift(scene, wanted, "engine speed high enough for the next gear")
        yield clock.after(SETTLING)
        return
    waits = [
        clock.when("belief.engine_speed", scene.settings.shifting.si("downshift_rpm"), falling=True),
        clock.when("belief.engine_speed", clock.believed("engine_speed") * SPEED_NOTICED),
        clock.when("state.grade", clock.true("grade") - GRADE_NOTICED, falling=True),
    ]
    if not lands_too_slow(scene, gear + 1):
        light = _is_light(scene)
        waits.append(clock.when("state.accelerator", LIGHT_PEDAL, falling=not light, release=LIGHT_PEDAL))
    yield from clock.first(*waits)


def _declutch(scene: Scene) -> Process:
    """Opens the clutch before the engine is pulled below idle; not while it is gaining speed, as after a launch."""
    clock = scene.clock
    if clock.true("acceleration") > GAINING:
        level = scene.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
        yield from clock.first(
            clock.when("state.acceleration", 0.5 * GAINING, falling=True),
            clock.when("belief.engine_speed", level * SPEED_NOTICED),
        )
        return
    clock.set(clutch=0.0)
    clock.record("clutch_opened", "engine near idle speed", clock.true("engine_speed") / REVOLUTION_PER_MINUTE, "rpm")
    yield clock.after(scene.truck.driveline.clutch_open_s)
    clock.set(gear=0)


def _take_up(scene: Scene) -> Process:
    """From neutral while rolling: waits for the foot, then takes the gear that suits the speed."""
    clock = scene.clock
    yield from clock.first(
        clock.when("state.accelerator", 0.02),
        clock.when("state.standstill", 0.5),
        clock.when("command.launching", 0.5),
    )
    if scene.standing or clock.commanded("launching") > 0.5:
        yield clock.after(SETTLING)
        return
    if clock.true("standstill") > 0.5:
        yield clock.after(SETTLING)
        return
    held = scene.settings.drill.hold_gear
    road_speed = clock.believed("road_speed")
    gear = held or suitable_gear(scene, road_speed, scene.settings.shifting.downshift_rpm, clock.true("grade"))
    if scene.engine_speed(gear, road_speed) <= scene.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE:
        yield clock.after(0.5)
        return
    yield from shift(scene, gear, "gear for the speed")
    yield clock.after(SETTLING)
