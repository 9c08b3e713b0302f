"""The gearbox: how a shift is carried out, and when one is wanted."""

import simpy

from sim.actors.driver import DESCENT, is_falling, pull_away
from sim.actors.scene import BRAKE_PRESSURE, Scene
from sim.march.clock import Process
from sim.march.controller import STANDING_PRESSURE
from sim.march.plant import asked_friction
from sim.units import REVOLUTION_PER_MINUTE
from sim.wording import Finding, finding

MATCHED = 80.0 * REVOLUTION_PER_MINUTE  # assumed: speeds this close can be engaged
LONGEST_MATCH = 2.5  # s, assumed: then the gear goes in with what difference is left
DECLUTCH_ABOVE_IDLE = 120.0 * REVOLUTION_PER_MINUTE  # assumed: a driver opens the clutch this far above idle
PULLING_ABOVE_IDLE = (
    170.0 * REVOLUTION_PER_MINUTE
)  # assumed: from here an engine pulls a shift through, ample torque given
SETTLING = 1.5  # s, assumed: after a shift, before the next is thought about
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
AFTER_A_MISS = 3.0  # s, assumed: until a driver who missed a gear tries again
AUTOMATED_LOW_RPM = 1500.0  # assumed: an automated gearbox that retards in stage 2 or 3 wants more
AUTOMATED_PATIENCE = 2.0  # s, assumed: time it gives a stage to work first
AUTOMATED_LANDING_RPM = 1800.0  # assumed: and shifts down so far that the engine turns this fast
ON_THE_WAY_RPM = 1100.0  # assumed: engine speed at which a gear in between is taken while slowing for a descent
NEAR_GOVERNED = 0.93  # assumed: of governed speed, where the next gear is taken on an easier part of a descent
EASIER_RPM = 1200.0  # assumed: engine speed a higher gear must leave when the descent gets easier
FORCED_UPSHIFT = 2300.0 * REVOLUTION_PER_MINUTE  # assumed: an automated gearbox protects its engine


def shift(scene: Scene, gear: int, cause: Finding) -> Process:
    """Changes gear: clutch out, neutral, match speeds, engage, clutch in.

    Parameters
    ----------
    gear : int
        Gear to engage.
    cause : Finding
        Why.

    Yields
    ------
    event : simpy.Event
        The stages of the shift.
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
    scene.shifts_tried += 1
    if scene.shifts_tried == scene.settings.drill.missed_shift:
        missed = finding("cause.shift", before=before, gear=gear, why=finding("cause.gear_did_not_go_in"))
        clock.record("shift_missed", missed, clock.true("speed"), "speed")
        yield clock.after(AFTER_A_MISS)
        gear = suitable_gear(
            scene, clock.believed("judged_speed"), truck.engine.si("low_idle_rpm"), clock.true("grade")
        )
        clock.set(matching_ratio=scene.engine_speed(gear, 1.0))
        yield from clock.first(clock.when("state.matching_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))
    governed = truck.engine.si("governed_rpm")
    while scene.engine_speed(gear, clock.believed("judged_speed")) > governed and gear < scene.top_gear:
        # the truck ran too fast for the gear in the meantime: the next one up, matched anew
        gear += 1
        clock.set(matching_ratio=scene.engine_speed(gear, 1.0))
        yield from clock.first(clock.when("state.matching_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))
    target = scene.engine_speed(gear, clock.believed("judged_speed"))
    if scene.standing or target < truck.engine.si("low_idle_rpm"):
        clock.set(engine_mode=0.0)
        slow = finding("cause.shift", before=before, gear=gear, why=finding("cause.too_slow_for_the_gear"))
        clock.record("shift_given_up", slow, clock.true("speed"), "speed")
        return
    yield from engage(scene, gear)
    done = finding("cause.shift", before=before, gear=gear, why=cause)
    clock.record("gear_engaged", done, (clock.now - begun) * clock.tick, "time")
    yield clock.after(SETTLING)


def engage(scene: Scene, gear: int) -> Process:
    """Puts a gear in and lets the clutch up.

    Yields
    ------
    event : simpy.Event
        The clutch has taken hold.
    """
    clock = scene.clock
    clock.set(gear=gear, clutch=1.0, engine_mode=0.0)
    yield from clock.first(clock.when("state.clutch_locked", 0.5), clock.after(3.0))


def suitable_gear(scene: Scene, road_speed: float, least: float, grade: float) -> int:
    """Highest gear that turns the engine fast enough and still pulls on the grade; else the one that pulls best.

    Parameters
    ----------
    road_speed : float
        [m/s]
    least : float
        Engine speed to have at least. [rad/s]
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
    gear : int
        The gear to be engaged; a big upward step takes as long as the engine needs to slow down.
    road_speed : float
        Now. [m/s]

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
    gear : int
        The higher gear.
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
    gear : int
        The higher gear.
    reserve : float
        Pull over resistance it must have.
    """
    grade = scene.clock.true("grade")
    landed = after_gap(scene, gear, scene.clock.believed("judged_speed"), grade)
    if scene.engine_speed(gear, landed) < least_landing(scene, gear, landed):
        return False
    return scene.pull(gear, landed) >= reserve * scene.resistance(landed, grade)


def is_light(scene: Scene) -> bool:
    """Whether the pedal is light enough for an early upshift."""
    return scene.clock.true("accelerator") < LIGHT_PEDAL


def upshift_speed(scene: Scene, gear: int) -> float:
    """Engine speed from which an upshift at light load is worth a thought.

    Parameters
    ----------
    gear : int
        Engaged now.

    Returns
    -------
    speed : float
        [rad/s]
    """
    shifting, ratios = scene.settings.shifting, scene.truck.gearbox.ratios
    landing = shifting.si("light_downshift_rpm") + LIGHT_LANDING
    return min(shifting.si("upshift_rpm"), landing * ratios[gear - 1] / ratios[gear])


def near_idle(scene: Scene) -> simpy.Event:
    """The event of an engine that is being pulled down to its idle speed."""
    level = scene.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
    return scene.clock.when("belief.engine_speed", level, falling=True)


class GearChoice:
    """Shifts as a sensible driver or a simple automated gearbox does, outside launches and stops."""

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
        """Watches engine speed and pedal through a trip."""
        scene, clock = self.scene, self.clock
        automated = scene.truck.gearbox.kind == "automated"
        while True:
            if scene.standing:
                yield scene.changed()
                if not scene.standing:
                    yield clock.after(SETTLING)
                continue
            gear = int(clock.commanded("gear"))
            if scene.settings.drill.neutral and is_falling(scene) and not self._must_pull():
                yield from self._roll_out_of_gear(gear)
                continue
            if gear == 0:
                yield from self._take_up()
                continue
            idling = near_idle(scene)
            waits, low, high = [idling, scene.changed()], None, None
            foot_off = clock.true("accelerator") <= 0.0
            if not self.held and gear > 1:
                low = clock.when("belief.engine_speed", self._down_level(foot_off), falling=True)
                waits.append(low)
            # no higher gear than the descent asks for, but an automated gearbox saves its engine all the same
            highest = scene.top_gear if automated and foot_off else scene.asked_gear or scene.top_gear
            if not self.held and gear < highest:
                high = clock.when("belief.engine_speed", self._up_level(gear, foot_off))
                waits.append(high)
            waits += self._pedal_changes(gear, foot_off)
            if automated and foot_off and not self.held and gear > 1 and not scene.asked_gear:
                if clock.commanded("stage") >= 2.0 and not scene.brakes:
                    clock.forget(*waits)
                    yield from self._watch_retarding(gear)
                    continue
                if clock.commanded("stage") < 2.0:
                    waits.append(clock.when("command.stage", 2.0))
            wanted = self._for_the_descent(gear)
            if wanted:
                clock.forget(*waits)
                yield from shift(scene, *wanted)
                continue
            if not self.held and 0 < scene.asked_gear < gear:
                here = clock.believed("judged_speed")
                lands = self.landing / scene.engine_speed(scene.asked_gear, 1.0) - (self._landed(here) - here)
                level = lands / SPEED_NOTICED
                waits.append(clock.when("belief.judged_speed", level, falling=True, release=level))
                between = ON_THE_WAY_RPM * REVOLUTION_PER_MINUTE
                waits.append(clock.when("belief.engine_speed", between, falling=True, release=between))
            if not self.held and foot_off and gear < scene.asked_gear and is_falling(scene):
                level = NEAR_GOVERNED * scene.truck.engine.si("governed_rpm")
                waits.append(clock.when("belief.engine_speed", level, release=level))
            if scene.settings.drill.neutral:
                waits.append(clock.when("state.grade", DESCENT, falling=True, release=DESCENT))
            event = yield from clock.first(*waits)
            if scene.standing:
                continue
            if event is idling:
                yield from self._declutch()
            elif event is low:
                yield from self._shift_down(gear)
            elif event is high:
                yield from self._shift_up(gear)

    def _watch_retarding(self, gear: int) -> Process:
        """An automated gearbox in stage 2 or 3: shifts down when the engine turns too slowly for the stage to hold."""
        scene, clock = self.scene, self.clock
        low = AUTOMATED_LOW_RPM * REVOLUTION_PER_MINUTE

        def others() -> list[simpy.Event]:
            return [
                near_idle(scene),
                clock.when("belief.engine_speed", FORCED_UPSHIFT),
                clock.when("command.stage", 1.5, falling=True),
                clock.when("state.accelerator", 0.02),
                scene.changed(),
            ]

        calls = [*others(), clock.after(AUTOMATED_PATIENCE)]
        event = yield from clock.first(*calls)
        if event is calls[-1]:
            calls = [*others(), clock.when("state.acceleration", GAINING)]
            event = yield from clock.first(*calls)
            if event is calls[-1]:
                if clock.believed("engine_speed") < low and is_falling(scene):
                    yield from self._shift_down(gear)
                    return
                steady = clock.when("state.acceleration", 0.0, falling=True)
                calls = [*others(), steady, clock.when("belief.engine_speed", low, falling=True, release=low)]
                event = yield from clock.first(*calls)
        if event is calls[0]:
            yield from self._declutch()
        elif event is calls[1] and gear < scene.top_gear:
            yield from self._shift_up(gear)

    def _for_the_descent(self, gear: int) -> tuple[int, Finding] | None:
        """The shift the driver's plan for a descent asks for now, None when there is none or it is too early."""
        scene, asked = self.scene, self.scene.asked_gear
        if self.held or not asked or asked == gear or "stop" in scene.brakes:
            return None
        road_speed = self.clock.believed("judged_speed")
        turning = scene.engine_speed(asked, road_speed)
        if asked < gear:
            landed = self._landed(road_speed)
            fitting = (step for step in range(asked, gear) if scene.engine_speed(step, landed) <= self.landing)
            lands = next(fitting, gear)
            low = self.clock.believed("engine_speed") <= ON_THE_WAY_RPM * REVOLUTION_PER_MINUTE * SPEED_NOTICED
            fits = lands == asked or (lands < gear and low)
            return (lands, finding("cause.gear_for_the_descent")) if fits else None
        if self.clock.true("accelerator") > 0.0 or not is_falling(scene):
            return None
        least = EASIER_RPM * REVOLUTION_PER_MINUTE
        higher = max(
            (step for step in range(gear, asked + 1) if scene.engine_speed(step, road_speed) >= least), default=gear
        )
        racing = self.clock.believed("engine_speed") >= NEAR_GOVERNED * scene.truck.engine.si("governed_rpm")
        if higher > gear and (turning >= least or racing):
            return higher, finding("cause.descent_easier")
        return None

    def _landed(self, road_speed: float) -> float:
        """Road speed after the gap of a shift on a road that falls."""
        push = max(-self.scene.resistance(road_speed, self.clock.true("grade")), 0.0)
        gap = self.scene.truck.gearbox.torque_gap_s + LONGEST_MATCH
        return road_speed + push / self.scene.truck.vehicle.mass_kg * gap

    def _must_pull(self) -> bool:
        """Whether the truck stops or stands, where the drill of rolling out of gear ends."""
        return self.scene.standing or "stop" in self.scene.brakes

    def _roll_out_of_gear(self, gear: int) -> Process:
        """Takes the gear out at a descent and puts one in again at its foot: a drill that shows why nobody should."""
        scene, clock = self.scene, self.clock
        if gear:
            clock.set(clutch=0.0)
            yield clock.after(scene.truck.driveline.clutch_open_s)
            clock.set(gear=0, clutch=1.0)
            clock.record("gear_taken_out", finding("cause.rolls_out_of_gear"), clock.true("speed"), "speed")
        level = clock.when("state.grade", 0.5 * DESCENT)
        while not level.triggered and not self._must_pull():
            yield from clock.first(level, scene.changed())
            if not level.triggered:
                level = clock.when("state.grade", 0.5 * DESCENT)
        clock.forget(level)
        yield from self._take_up()

    def _down_level(self, foot_off: bool) -> float:
        """Engine speed at which a lower gear is called for now."""
        scene = self.scene
        if foot_off and scene.asked_gear:
            return 0.0
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
        road_speed, grade = clock.believed("judged_speed"), clock.true("grade")
        foot_off = clock.true("accelerator") <= 0.0
        holding = clock.true("acceleration") > -LOSING and road_speed > clock.commanded("target_speed") - NEAR_TARGET
        if not foot_off and (clock.true("acceleration") > GAINING or holding):
            least = -LOSING if holding else 0.5 * GAINING
            sinking = clock.when("state.acceleration", least, falling=True)
            level = self._down_level(False)
            slower = clock.when(
                "belief.judged_speed", clock.commanded("target_speed") - NEAR_TARGET, falling=True, release=NEVER
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
            automated = scene.truck.gearbox.kind == "automated"
            least = (AUTOMATED_LANDING_RPM if automated else HELD_BACK_RPM) * REVOLUTION_PER_MINUTE
            wanted = gear - 1
            while wanted > 1 and scene.engine_speed(wanted, road_speed) < least:
                wanted -= 1
            cause = finding("cause.too_slow_to_hold_back")
        else:
            least = self.light_down if is_light(scene) else self.down
            wanted = min(
                suitable_gear(scene, after_gap(scene, gear - 1, road_speed, grade), least * SPEED_NOTICED, grade),
                gear - 1,
            )
            cause = finding("cause.low_under_load")
        landed = self._landed(road_speed)
        if foot_off:
            landed = max(landed, clock.commanded("target_speed"))
        while wanted < gear - 1 and scene.engine_speed(wanted, landed) > self.landing:
            wanted += 1
        if scene.engine_speed(wanted, landed) > self.landing:
            why = finding("cause.would_overspeed")
            clock.record("shift_refused", finding("cause.shift", before=gear, gear=wanted, why=why), wanted, "number")
            slower = clock.when("belief.judged_speed", road_speed / SPEED_NOTICED, falling=True)
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
            if scene.truck.gearbox.kind == "automated" or clock.believed("judged_speed") < clock.commanded(
                "target_speed"
            ):
                yield from shift(scene, gear + 1, finding("cause.overspeed_in_overrun"))
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
            yield from shift(scene, wanted, finding("cause.fast_enough_for_the_next"))
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
        clock.record("clutch_opened", finding("cause.near_idle"), clock.true("engine_speed"), "engine speed")
        yield clock.after(self.scene.truck.driveline.clutch_open_s)
        clock.set(gear=0)

    def _take_up(self) -> Process:
        """From neutral while rolling: waits for a free foot or a truck that gains speed, then takes the gear that suits."""
        clock, scene = self.clock, self.scene
        if scene.brakes or scene.retarding:
            faster = clock.when("belief.judged_speed", clock.believed("judged_speed") + ROLLING_AGAIN)
            yield from clock.first(faster, scene.changed())
        if scene.standing or "stop" in scene.brakes:
            return
        road_speed = clock.believed("judged_speed")
        gear = self.held or suitable_gear(scene, road_speed, self.down, clock.true("grade"))
        idle = scene.truck.engine.si("low_idle_rpm")
        if scene.engine_speed(gear, road_speed) <= idle + PULLING_ABOVE_IDLE:
            if clock.true("grade") >= 0.0 and not scene.brakes:
                scene.press_brake("stand", BRAKE_PRESSURE, STANDING_PRESSURE)
                yield clock.when("state.speed", 0.0, falling=True)
                yield from pull_away(scene, finding("cause.after_a_lost_gear"))
                yield clock.after(SETTLING)
                return
            faster = (idle + PULLING_ABOVE_IDLE) * road_speed / max(scene.engine_speed(gear, road_speed), 1.0)
            yield from clock.first(clock.when("belief.judged_speed", max(faster, road_speed + 0.1)), scene.changed())
            return
        yield from shift(scene, gear, finding("cause.gear_for_the_speed"))


def gear_choice(scene: Scene) -> Process:
    """The process that shifts through a trip."""
    return GearChoice(scene).run()
