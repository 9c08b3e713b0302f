"""Notices when a truck gains speed on a descent although everything allowed holds it back, and says why."""

from sim.march.clock import Process
from sim.seat.cab import Cab
from sim.seat.descents import BELOW_GOVERNED, Holding, allowed_stage, held_in_gear, holding_gear
from sim.seat.driver import GAINING, is_falling
from sim.units import KILOMETRE_PER_HOUR
from sim.wording import Finding, finding

BEYOND = (
    12.0 * KILOMETRE_PER_HOUR
)  # assumed: above the speed aimed for or set, where a truck counts as outrunning its driver
BACK = 3.0 * KILOMETRE_PER_HOUR  # assumed: above it, where that is over
PATIENCE = 5.0  # s, assumed: a driver who slows for a curve is not outrun yet
LOST_AGAIN = 0.3  # m/s, assumed


def overrun_report(cab: Cab) -> Process:
    """Writes down, once for each time, why the truck runs away from its driver."""
    clock = cab.clock
    governed = cab.truck.engine.si("governed_rpm")
    while True:
        wanted = max(clock.commanded("cruise_target"), cab.aim)
        fast = clock.when("belief.judged_speed", wanted + BEYOND)
        racing = clock.when("belief.engine_speed", 1.01 * governed)
        yield from clock.first(fast, racing, cab.changed())
        too_fast = (
            clock.believed("judged_speed") >= wanted + BEYOND or clock.believed("engine_speed") >= 1.01 * governed
        )
        pushed = clock.believed("driver_demand") <= 0.0 and clock.true("acceleration") > GAINING and is_falling(cab)
        if too_fast and pushed and clock.true("clutch_locked") > 0.5 and clock.true("gear") > 0.0:
            before = clock.believed("judged_speed")
            slower = clock.when("belief.judged_speed", before - LOST_AGAIN, falling=True)
            event = yield from clock.first(slower, clock.after(PATIENCE))
            if event is slower or clock.true("gear") == 0.0 or clock.believed("judged_speed") < before:
                continue
            clock.note("outrun", reason(cab), clock.true("speed"), "speed")
            if clock.believed("judged_speed") >= wanted + BEYOND:
                calm = clock.when("belief.judged_speed", wanted + BACK, falling=True)
            else:
                calm = clock.when("belief.engine_speed", 0.98 * governed, falling=True)
            yield from clock.first(calm, clock.when("state.grade", -0.005))
            yield clock.after(1.0)
        elif too_fast:
            yield clock.after(1.0)


def reason(cab: Cab) -> Finding:
    """Who pushes, who holds back, and what would have held."""
    clock = cab.clock
    speed, grade, elevation = (clock.true(name) for name in ("speed", "grade", "elevation"))
    gear, stage = int(clock.true("gear")), allowed_stage(cab)
    now = held_in_gear(cab, gear, speed, grade, elevation, stage)
    told = {
        "speed": speed,
        "grade": -grade,
        "push": now.push * speed,
        "gear": gear,
        "turning": cab.engine_speed(gear, speed),
        "held": now.held * speed,
        "rest": _what_would_hold(cab, now, grade, elevation, stage),
    }
    return finding("overrun.in_stage", stage=stage, **told) if stage else finding("overrun.without_stage", **told)


def _what_would_hold(cab: Cab, now: Holding, grade: float, elevation: float, stage: int) -> Finding:
    """The gear or the stage that would have held the truck here."""
    if now.held >= now.push:
        return finding("overrun.boost_to_come")
    fastest = BELOW_GOVERNED * cab.truck.engine.si("governed_rpm") / cab.engine_speed(1, 1.0)
    best = holding_gear(cab, grade, max(now.speed, fastest), elevation, range(cab.top_gear, 0, -1), 3)
    if best.held < best.push:
        return finding("overrun.nothing_holds")
    if best.gear < now.gear:
        return finding("overrun.gear_holds", gear=best.gear, speed=best.speed)
    return finding("overrun.stage_holds") if stage < 3 else finding("overrun.slower_holds", speed=best.speed)
