"""Notices when a truck gains speed on a descent although everything allowed holds it back, and says why."""

from sim.actors.descents import BELOW_GOVERNED, allowed_stage, held_in_gear, holding_gear
from sim.actors.driver import GAINING, is_falling
from sim.actors.scene import Scene
from sim.march.clock import Process
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE

BEYOND = (
    12.0 * KILOMETRE_PER_HOUR
)  # assumed: above the speed aimed for or set, where a truck counts as outrunning its driver
BACK = 3.0 * KILOMETRE_PER_HOUR  # assumed: above it, where that is over
PATIENCE = 5.0  # s, assumed: a driver who slows for a curve is not outrun yet
LOST_AGAIN = 0.3  # m/s, assumed


def overrun_report(scene: Scene) -> Process:
    """Writes down, once for each time, why the truck runs away from its driver."""
    clock = scene.clock
    governed = scene.truck.engine.si("governed_rpm")
    while True:
        wanted = max(clock.commanded("target_speed"), scene.aim)
        fast = clock.when("belief.judged_speed", wanted + BEYOND)
        racing = clock.when("belief.engine_speed", 1.01 * governed)
        yield from clock.first(fast, racing, scene.changed())
        too_fast = (
            clock.believed("judged_speed") >= wanted + BEYOND or clock.believed("engine_speed") >= 1.01 * governed
        )
        pushed = clock.true("accelerator") <= 0.0 and clock.true("acceleration") > GAINING and is_falling(scene)
        if too_fast and pushed and clock.true("clutch_locked") > 0.5 and clock.true("gear") > 0.0:
            before = clock.believed("judged_speed")
            slower = clock.when("belief.judged_speed", before - LOST_AGAIN, falling=True)
            event = yield from clock.first(slower, clock.after(PATIENCE))
            if event is slower or clock.believed("judged_speed") < before:
                continue
            clock.record("outrun", reason(scene), clock.true("speed") * 3.6, "km/h")
            if clock.believed("judged_speed") >= wanted + BEYOND:
                calm = clock.when("belief.judged_speed", wanted + BACK, falling=True)
            else:
                calm = clock.when("belief.engine_speed", 0.98 * governed, falling=True)
            yield from clock.first(calm, clock.when("state.grade", -0.005))
            yield clock.after(1.0)
        elif too_fast:
            yield clock.after(1.0)


def reason(scene: Scene) -> str:
    """Who pushes, who holds back, and what would have held.

    Returns
    -------
    text : str
        In words.
    """
    clock = scene.clock
    speed, grade, elevation = (clock.true(name) for name in ("speed", "grade", "elevation"))
    gear, stage = int(clock.true("gear")), allowed_stage(scene)
    now = held_in_gear(scene, gear, speed, grade, elevation, stage)
    turning = scene.engine_speed(gear, speed) / REVOLUTION_PER_MINUTE
    with_what = f"in stage {stage}" if stage else "without engine brake"
    text = (
        f"at {speed * 3.6:.0f} km/h on {100.0 * grade:.1f} % the road pushes with {now.push * speed / 1000.0:.0f}"
        " kW more than air and "
        f"tyres take; in gear {gear} at {turning:.0f} rpm the engine takes {now.held * speed / 1000.0:.0f} kW"
        f" {with_what}"
    )
    if now.held >= now.push:
        return f"{text} once its boost is there"
    governed = scene.truck.engine.si("governed_rpm")
    fastest = BELOW_GOVERNED * governed / scene.engine_speed(1, 1.0)
    best = holding_gear(scene, grade, max(speed, fastest), elevation, range(scene.top_gear, 0, -1), 3)
    if best.held >= best.push and best.gear < gear:
        text += f"; gear {best.gear} with stage 3, taken before the crest, holds the truck below {best.speed * 3.6:.0f} km/h here"
    elif stage < 3 and best.held >= best.push:
        text += "; stage 3 would hold it in this gear"
    return text
