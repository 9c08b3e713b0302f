"""The gearbox: how a shift is carried out, and when one is wanted."""

import simpy

from sim.actors.driver import pull_away
from sim.actors.scene import BRAKE_PRESSURE, Scene
from sim.clock import Process
from sim.controller import STANDING_PRESSURE
from sim.plant import asked_friction
from sim.units import REVOLUTION_PER_MINUTE

MATCHED = 80.0 * REVOLUTION_PER_MINUTE  # assumed: speeds this close can be engaged
LONGEST_MATCH = 2.5  # s, assumed: then the gear goes in with what difference is left
DECLUTCH_ABOVE_IDLE = 120.0 * REVOLUTION_PER_MINUTE  # assumed: a driver opens the clutch this far above idle
PULLING_ABOVE_IDLE = (
    170.0 * REVOLUTION_PER_MINUTE
)  # assumed: from here an engine pulls a shift through, ample torque given
SETTLING = 1.5  # s, assumed: after a shift, before the next is thought about
BOOST_PATIENCE = 3.0  # s, assumed: after an upshift the boost is given time before the gear is judged
SECOND_LOOK = 3.0  # s, assumed: after a downshift was refused
SPEED_NOTICED = 1.03  # assumed: growth of engine speed after which a refused shift is thought about again
SKIPPING_GRADE = 0.02  # assumed: on steeper climbs no gear is skipped
GRADE_NOTICED = 0.01  # assumed: easing of the road after which it is
GRADE_EASED = 0.007  # assumed: a gear lost under load on a grade is not taken again before the road eases this much
LOSING = 0.10  # m/s2, assumed: a truck that loses less, near the speed aimed for, keeps its gear
NEAR_TARGET = 3.0  # m/s, assumed
GAINING = 0.06  # m/s2, assumed: a truck that gains this much needs no lower gear
PULL_RESERVE = 1.05  # assumed: the next gear must pull this much more than the road asks for
AMPLE_PULL = 1.5  # assumed: pull over resistance, without boost, that lets an engine land far down
LIGHT_PEDAL = 0.85  # assumed: below it the light-load shift speeds count
LIGHT_LANDING = (
    120.0 * REVOLUTION_PER_MINUTE
)  # assumed: above the light downshift speed, where an early upshift may land
HELD_BACK_RPM = 1500.0  # assumed: a gear taken to hold the truck back turns the engine at least this fast
STEEP_DESCENT = -0.04  # assumed: from here a driver takes a lower gear to be held back
PUSHING_DESCENT = -0.015  # assumed: where the road itself brings the speed back, no gear is given up for pull
LOST_RESERVE = 1.12  # assumed: pull over resistance that brings back a gear lost under load on this grade
ROLLING_AGAIN = 1.0  # m/s, assumed: growth of speed in neutral that calls for a gear
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
    clock.set(clutch=0.0, engine_mode=1.0, engine_speed_target=0.0)
    yield clock.after(truck.driveline.clutch_open_s)
    clock.set(gear=0)
    clock.set(engine_mode=2.0, matching_ratio=scene.engine_speed(gear, 1.0))
    yield clock.after(truck.gearbox.torque_gap_s - truck.driveline.clutch_open_s)
    yield from clock.first(clock.when("state.matching_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))
    governed = truck.engine.si("governed_rpm")
    while scene.engine_speed(gear, clock.believed("road_speed")) > governed and gear < scene.top_gear:
        # the truck ran too fast for the gear in the meantime: the next one up, matched anew
        gear += 1
        clock.set(matching_ratio=scene.engine_speed(gear, 1.0))
        yield from clock.first(clock.when("state.matching_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))
    target = scene.engine_speed(gear, clock.believed("road_speed"))
    if scene.standing or target < truck.engine.si("low_idle_rpm"):
        clock.set(engine_mode=0.0)
        clock.record("shift_given_up", f"{before} to {gear}: too slow for the gear", clock.true("speed") * 3.6, "km/h")
        return
    yield from engage(scene, gear)
    clock.record("gear_engaged", f"{before} to {gear}: {cause}", (clock.now - begun) * clock.tick, "s")
    yield clock.after(SETTLING)


def engage(scene: Scene, gear: int) -> Process:
    """Puts a gear in and lets the clutch up.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        [-]

    Yields
    ------
    event : simpy.Event
        The clutch has taken hold. [-]
    """
    clock = scene.clock
    clock.set(gear=gear, clutch=1.0, engine_mode=0.0)
    yield from clock.first(clock.when("state.clutch_locked", 0.5), clock.after(3.0))


def suitable_gear(scene: Scene, road_speed: float, least: float, grade: float) -> int:
    """Highest gear that turns the engine fast enough and still pulls on the grade; else the one that pulls best.

    Parameters
    ----------
    scene : Scene
        [-]
    road_speed : float
        [m/s]
    least : float
        Engine speed to have at least. [rad/s]
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
        if speed < least:
            continue
        pull = scene.pull(gear, road_speed)
        if pull >= needed:
            return gear
        if pull > best_pull:
            best, best_pull = gear, pull
    return best


def after_gap(scene: Scene, gear: int, road_speed: float, grade: float) -> float:
    """Road speed a shift's torque gap leaves; what gravity adds on a descent is not counted on.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        The gear to be engaged; a big upward step takes as long as the engine needs to slow down. [-]
    road_speed : float
        Now. [m/s]
    grade : float
        [-]

    Returns
    -------
    speed : float
        Never below 0. [m/s]
    """
    turning = scene.clock.believed("engine_speed")
    fall_rate = float(asked_friction(scene.clock.rig.parameters, turning)) / scene.truck.engine.inertia_kg_m2
    slowing = max(scene.resistance(road_speed, grade), 0.0) / scene.truck.vehicle.mass_kg
    per_speed = scene.engine_speed(gear, 1.0)
    # the engine falls to meet a gear that itself falls with the truck
    closing = max(fall_rate - per_speed * slowing, 0.1 * fall_rate)
    gap = max(scene.truck.gearbox.torque_gap_s, (turning - per_speed * road_speed) / closing)
    return max(road_speed - slowing * (gap + scene.truck.driveline.clutch_close_s), 0.0)


def least_landing(scene: Scene, gear: int, landed: float) -> float:
    """Engine speed an upshift must leave at least.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        The higher gear. [-]
    landed : float
        Road speed after the gap. [m/s]

    Returns
    -------
    speed : float
        Far down when the engine pulls amply there even without boost, as in the low gears. [rad/s]
    """
    shifting = scene.settings.shifting
    idle = scene.truck.engine.si("low_idle_rpm")
    turning = scene.engine_speed(gear, landed)
    needed = AMPLE_PULL * max(scene.resistance(landed, scene.clock.true("grade")), 0.0)
    if turning >= idle + PULLING_ABOVE_IDLE and scene.pull_at(gear, turning, boosted=False) >= needed > 0.0:
        return idle + PULLING_ABOVE_IDLE
    if is_light(scene):
        return shifting.si("light_downshift_rpm") + 0.5 * LIGHT_LANDING
    return shifting.si("downshift_rpm") * SPEED_NOTICED


def upshift_holds(scene: Scene, gear: int, reserve: float) -> bool:
    """Whether a higher gear would still pull after the gap of the shift.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        The higher gear. [-]
    reserve : float
        Pull over resistance it must have. [-]

    Returns
    -------
    holds : bool
        [-]
    """
    grade = scene.clock.true("grade")
    landed = after_gap(scene, gear, scene.clock.believed("road_speed"), grade)
    if scene.engine_speed(gear, landed) < least_landing(scene, gear, landed):
        return False
    return scene.pull(gear, landed) >= reserve * scene.resistance(landed, grade)


def is_light(scene: Scene) -> bool:
    """Whether the pedal is light enough for an early upshift.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    light : bool
        [-]
    """
    return scene.clock.true("accelerator") < LIGHT_PEDAL


def upshift_speed(scene: Scene, gear: int) -> float:
    """Engine speed from which an upshift at light load is worth a thought.

    Parameters
    ----------
    scene : Scene
        [-]
    gear : int
        Engaged now. [-]

    Returns
    -------
    speed : float
        [rad/s]
    """
    shifting, ratios = scene.settings.shifting, scene.truck.gearbox.ratios
    landing = shifting.si("light_downshift_rpm") + LIGHT_LANDING
    return min(shifting.si("upshift_rpm"), landing * ratios[gear - 1] / ratios[gear])


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


class GearChoice:
    """Shifts as a sensible driver or a simple automated gearbox does, outside launches and stops.

    Parameters
    ----------
    scene : Scene
        [-]
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.clock = scene.clock
        shifting = scene.settings.shifting
        self.down, self.light_down = shifting.si("downshift_rpm"), shifting.si("light_downshift_rpm")
        self.full_up, self.landing = shifting.si("full_load_upshift_rpm"), shifting.si("landing_rpm")
        self.held = scene.settings.drill.hold_gear
        self.lost: dict[int, float] = {}  # grade on which a gear was given up under load
        self.kept = 0.0  # grade for which a low gear was taken to be held back, 0 for none

    def run(self) -> Process:
        """Watches engine speed and pedal through a trip.

        Yields
        ------
        event : simpy.Event
            [-]
        """
        scene, clock = self.scene, self.clock
        while True:
            if scene.standing:
                yield scene.changed()
                if not scene.standing:
                    yield clock.after(SETTLING)
                continue
            gear = int(clock.commanded("gear"))
            if gear == 0:
                yield from self._take_up()
                continue
            idling = near_idle(scene)
            waits, low, high = [idling, scene.changed()], None, None
            foot_off = clock.true("accelerator") <= 0.0
            if not self.held and gear > 1:
                low = clock.when("belief.engine_speed", self._down_level(foot_off), falling=True)
                waits.append(low)
            if not self.held and gear < scene.top_gear:
                high = clock.when("belief.engine_speed", self._up_level(gear, foot_off))
                waits.append(high)
            waits += self._pedal_changes(gear, foot_off)
            event = yield from clock.first(*waits)
            if scene.standing:
                continue
            if event is idling:
                yield from self._declutch()
            elif event is low:
                yield from self._shift_down(gear)
            elif event is high:
                yield from self._shift_up(gear)

    def _down_level(self, foot_off: bool) -> float:
        """Engine speed at which a lower gear is called for now."""
        scene = self.scene
        if foot_off:
            steep = scene.retarding and scene.clock.true("grade") <= STEEP_DESCENT and "stop" not in scene.brakes
            return self.down if steep else 0.0
        pushed = scene.clock.true("grade") <= PUSHING_DESCENT
        return self.light_down if pushed or is_light(scene) else self.down

    def _up_level(self, gear: int, foot_off: bool) -> float:
        """Engine speed at which a higher gear is called for now."""
        if foot_off:
            automated = self.scene.truck.gearbox.kind == "automated"
            return FORCED_UPSHIFT if automated else self.scene.truck.engine.si("governed_rpm") * SPEED_NOTICED
        return upshift_speed(self.scene, gear) if is_light(self.scene) else self.full_up

    def _pedal_changes(self, gear: int, foot_off: bool) -> list[simpy.Event]:
        """Pedal movements that would change the answer at the speed the engine has now."""
        clock, scene = self.clock, self.scene
        if self.held:
            return []
        if foot_off:
            return [clock.when("state.accelerator", 0.02)]
        turning = clock.believed("engine_speed")
        changes = [clock.when("state.accelerator", 0.0, falling=True)]
        light = is_light(scene)
        early = upshift_speed(scene, gear) if gear < scene.top_gear else NEVER
        undecided = turning <= self.down * SPEED_NOTICED if light else turning >= early
        if undecided:
            changes.append(clock.when("state.accelerator", LIGHT_PEDAL, falling=not light, release=LIGHT_PEDAL))
        else:
            edge = self.down if light else early
            changes.append(clock.when("belief.engine_speed", edge, falling=light, release=edge))
        return changes

    def _shift_down(self, gear: int) -> Process:
        """Takes a lower gear under load, or to hold the truck back on a descent."""
        scene, clock = self.scene, self.clock
        road_speed, grade = clock.believed("road_speed"), clock.true("grade")
        foot_off = clock.true("accelerator") <= 0.0
        holding = clock.true("acceleration") > -LOSING and road_speed > clock.commanded("target_speed") - NEAR_TARGET
        if not foot_off and (clock.true("acceleration") > GAINING or holding):
            least = -LOSING if holding else 0.5 * GAINING
            sinking = clock.when("state.acceleration", least, falling=True)
            level = self._down_level(False)
            slower = clock.when(
                "belief.road_speed", clock.commanded("target_speed") - NEAR_TARGET, falling=True, release=NEVER
            )
            yield from clock.first(
                near_idle(scene),
                sinking,
                slower,
                clock.when("belief.engine_speed", level, release=level),
                scene.changed(),
            )
            return
        if foot_off:
            wanted = gear - 1
            while wanted > 1 and scene.engine_speed(wanted, road_speed) < HELD_BACK_RPM * REVOLUTION_PER_MINUTE:
                wanted -= 1
            cause = "engine too slow to hold the truck back"
        else:
            wanted = min(
                suitable_gear(scene, after_gap(scene, gear - 1, road_speed, grade), self.down * SPEED_NOTICED, grade),
                gear - 1,
            )
            cause = "engine speed low under load"
        gained = max(-scene.resistance(road_speed, grade), 0.0) / scene.truck.vehicle.mass_kg
        landed = road_speed + gained * (scene.truck.gearbox.torque_gap_s + LONGEST_MATCH)
        if foot_off:
            landed = max(landed, clock.commanded("target_speed"))
        while wanted < gear - 1 and scene.engine_speed(wanted, landed) > self.landing:
            wanted += 1
        if scene.engine_speed(wanted, landed) > self.landing:
            clock.record("shift_refused", f"{gear} to {wanted}: the engine would overspeed", wanted, "gear")
            slower = clock.when("belief.road_speed", road_speed / SPEED_NOTICED, falling=True)
            fast = clock.when("belief.engine_speed", self._up_level(gear, True))
            pressed = clock.when("state.accelerator", 0.02, release=0.0)
            yield from clock.first(near_idle(scene), scene.changed(), slower, fast, pressed)
            return
        if foot_off:
            self.kept = grade
        else:
            self.lost[gear] = grade
        yield from shift(scene, wanted, cause)

    def _shift_up(self, gear: int) -> Process:
        """Takes a higher gear when it will hold; on overrun only to save the engine."""
        scene, clock = self.scene, self.clock
        if clock.true("accelerator") <= 0.0:
            level = self._up_level(gear, True)
            if scene.truck.gearbox.kind == "automated" or clock.believed("road_speed") < clock.commanded(
                "target_speed"
            ):
                yield from shift(scene, gear + 1, "engine overspeed in overrun")
                return
            # a driver who is held back keeps the low gear and brakes
            calm = clock.when("belief.engine_speed", level / SPEED_NOTICED, falling=True)
            worse = clock.when("belief.engine_speed", clock.believed("engine_speed") * SPEED_NOTICED)
            yield from clock.first(calm, worse, scene.changed(), clock.when("state.accelerator", 0.02))
            return
        grade = clock.true("grade")
        self.lost = {lost: place for lost, place in self.lost.items() if grade > place - GRADE_EASED}
        wanted = gear
        furthest = gear + 2 if grade < SKIPPING_GRADE else gear + 1
        for candidate in range(gear + 1, min(furthest, scene.top_gear) + 1):
            if upshift_holds(scene, candidate, LOST_RESERVE if candidate in self.lost else PULL_RESERVE):
                wanted = candidate
        racing = clock.believed("engine_speed") >= scene.truck.engine.si("governed_rpm")
        if self.kept and grade <= 0.5 * self.kept and not racing:
            wanted = gear
        else:
            self.kept = 0.0
        if wanted > gear:
            yield from shift(scene, wanted, "engine speed high enough for the next gear")
            yield from clock.first(near_idle(scene), scene.changed(), clock.after(BOOST_PATIENCE))
            return
        light = is_light(scene)
        yield from clock.first(
            near_idle(scene),
            scene.changed(),
            clock.when("belief.engine_speed", self._down_level(False), falling=True),
            clock.when("belief.engine_speed", clock.believed("engine_speed") * SPEED_NOTICED),
            clock.when("state.grade", grade - GRADE_NOTICED, falling=True),
            clock.when("state.accelerator", LIGHT_PEDAL, falling=not light, release=LIGHT_PEDAL),
            clock.when("state.accelerator", 0.0, falling=True),
        )

    def _declutch(self) -> Process:
        """Opens the clutch before the engine is pulled below idle; not while it is gaining speed, as after a launch."""
        clock = self.clock
        if clock.true("acceleration") > GAINING:
            level = self.scene.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
            yield from clock.first(
                clock.when("state.acceleration", 0.5 * GAINING, falling=True),
                clock.when("belief.engine_speed", level * SPEED_NOTICED),
            )
            return
        clock.set(clutch=0.0)
        turning = clock.true("engine_speed") / REVOLUTION_PER_MINUTE
        clock.record("clutch_opened", "engine near idle speed", turning, "rpm")
        yield clock.after(self.scene.truck.driveline.clutch_open_s)
        clock.set(gear=0)

    def _take_up(self) -> Process:
        """From neutral while rolling: waits for a free foot or a truck that gains speed, then takes the gear that suits."""
        clock, scene = self.clock, self.scene
        if scene.brakes or scene.retarding:
            faster = clock.when("belief.road_speed", clock.believed("road_speed") + ROLLING_AGAIN)
            yield from clock.first(faster, scene.changed())
        if scene.standing or "stop" in scene.brakes:
            return
        road_speed = clock.believed("road_speed")
        gear = self.held or suitable_gear(scene, road_speed, self.down, clock.true("grade"))
        idle = scene.truck.engine.si("low_idle_rpm")
        if scene.engine_speed(gear, road_speed) <= idle + PULLING_ABOVE_IDLE:
            if clock.true("grade") >= 0.0 and not scene.brakes:
                scene.press_brake("stand", BRAKE_PRESSURE, STANDING_PRESSURE)
                yield clock.when("state.speed", 0.0, falling=True)
                yield from pull_away(scene, "starts again after a lost gear")
                yield clock.after(SETTLING)
                return
            faster = (idle + PULLING_ABOVE_IDLE) * road_speed / max(scene.engine_speed(gear, road_speed), 1.0)
            yield from clock.first(clock.when("belief.road_speed", max(faster, road_speed + 0.1)), scene.changed())
            return
        yield from shift(scene, gear, "gear for the speed")


def gear_choice(scene: Scene) -> Process:
    """The process that shifts through a trip.

    Parameters
    ----------
    scene : Scene
        [-]

    Returns
    -------
    process : generator
        [-]
    """
    return GearChoice(scene).run()
