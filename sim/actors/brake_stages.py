"""The engine brake's stages: who asks, what keeps it off, and the delays between the pairs of cylinders."""

import simpy

from sim.actors.scene import Scene
from sim.inputs.specs import PAIRS
from sim.march.clock import Process
from sim.march.plant import asked_retarding
from sim.march.records import REASONS
from sim.wording import Finding, finding

LOOKS_AHEAD = 150.0  # m, assumed: how far ahead a driver looks when choosing a stage


def wanted(scene: Scene) -> tuple[int, Finding]:
    """The stage asked for now and what decided it.

    Returns
    -------
    stage : int
        0 to 3.
    reason : Finding
        Its kind is one of `sim.march.records.REASONS`.
    """
    clock, settings = scene.clock, scene.settings
    if settings.drill.hold_stage >= 0:
        stage, reason = settings.drill.hold_stage, finding("cause.held_by_drill")
    elif not scene.is_on("retarding_switch"):
        return 0, finding("cause.engine_brake_switch_off")
    elif scene.cruising and settings.cruise.with_engine_brake:
        stage, reason = min(scene.selected, scene.cruise_stage), finding("cause.cruise_overspeed")
        if stage == 0:
            return 0, finding("cause.cruise_holds")
        if clock.believed("accelerator") > 0.0:
            return 0, finding("cause.cruise_fuelling")
    elif scene.cruising:
        return 0, finding("cause.cruise_holds")
    elif scene.retarding and settings.retarding.waits_for_brake and not scene.latched:
        return 0, finding("cause.waiting_for_service_brake")
    elif scene.retarding:
        stage = min(scene.selected, scene.selector)
        called = settings.retarding.waits_for_brake
        reason = finding("cause.service_brake_called") if called else finding("cause.foot_off")
    else:
        return 0, finding("cause.nothing_asked")
    if stage == 0:
        return 0, reason
    if clock.believed("accelerator") > 0.0:
        return 0, finding("cause.accelerator_pressed")
    return stage, reason


def needed_stage(scene: Scene) -> int:
    """The lowest stage that, once settled, holds the truck at its speed in this gear, here and a little further on.

    Returns
    -------
    stage : int
        1 to 3; 3 also when none holds.
    """
    clock = scene.clock
    here = clock.true("distance")
    steepest = min(clock.true("grade"), scene.route.grade_at(min(here + LOOKS_AHEAD, scene.route.length)))
    push = -scene.resistance(clock.believed("judged_speed"), steepest)
    gear, speed, ambient = int(clock.true("gear")), clock.true("engine_speed"), clock.true("ambient_pressure")
    for stage in (1, 2):
        cylinders = scene.truck.braking_cylinders(stage)
        if asked_retarding(clock.rig.parameters, clock.rig.tables, gear, speed, ambient, cylinders) >= push:
            return stage
    return 3


def kept_off(scene: Scene, running: bool) -> Finding | None:
    """The first condition that keeps the engine brake off, None when none does.

    Parameters
    ----------
    running : bool
        Whether a stage is on: the engine-speed threshold has a lower value to go off.
    """
    clock, retarding = scene.clock, scene.settings.retarding
    least = retarding.si("off_rpm") if running else retarding.si("on_rpm")
    if clock.believed("clutch_pressed") > 0.5:
        return finding("cause.clutch_pressed")
    if clock.believed("in_gear") < 0.5:
        return finding("cause.neutral")
    if clock.believed("engine_speed") < least:
        return finding("cause.engine_too_slow")
    if clock.believed("oil_temperature") < retarding.si("least_oil_c"):
        return finding("cause.oil_too_cold")
    if clock.true("wheel_slip") > 0.5:
        return finding("cause.wheels_slipping")
    return scene.refusals.get("engine_brake")


def switch_pairs(scene: Scene, stage: int) -> None:
    """Energises the solenoids of a stage.

    Parameters
    ----------
    stage : int
        0 to 3.
    """
    pairs = scene.truck.engine_brake.pairs(stage)
    scene.clock.set(stage=stage, **{f"pair_{pair}": float(pair in pairs) for pair in PAIRS})


def brake_stages(scene: Scene) -> Process:
    """Runs the engine brake through a trip.

    Yields
    ------
    event : simpy.Event
        Whatever can change the answer.
    """
    clock, retarding = scene.clock, scene.settings.retarding
    stage = 0
    said: Finding | None = None
    while True:
        asked, reason = wanted(scene)
        obstacle = kept_off(scene, stage > 0) if asked else None
        goal = 0 if obstacle else asked
        why = obstacle or reason
        clock.set(stage_requested=asked, stage_reason=REASONS.index(why.kind))
        if goal == stage:
            if asked and obstacle and obstacle != said:
                clock.record("stage_refused", why, asked, "number")
            said = obstacle
            yield from clock.first(*_changes(scene, stage, asked, obstacle))
            continue
        said = obstacle
        if goal == 0:
            delay = retarding.off_delay_s
        else:
            delay = retarding.on_delay_s if stage == 0 else retarding.step_delay_s
        yield clock.after(delay)
        asked, reason = wanted(scene)
        obstacle = kept_off(scene, stage > 0) if asked else None
        still = 0 if obstacle else asked
        if (still > stage) == (goal > stage) and still != stage:
            stage = still
            switch_pairs(scene, stage)
            clock.record("stage_changed", obstacle or reason, stage, "number")


def _changes(scene: Scene, stage: int, asked: int, obstacle: Finding | None) -> list[simpy.Event]:
    """Events after which the stage must be thought about again."""
    clock, retarding = scene.clock, scene.settings.retarding
    calls = [scene.changed()]
    if asked:
        calls.append(clock.when("belief.accelerator", 0.001, release=0.0))
    elif scene.retarding or scene.cruise_stage or scene.settings.drill.hold_stage > 0:
        calls.append(clock.when("belief.accelerator", 0.0, falling=True, release=0.001))
    if asked or stage:
        running = stage > 0
        pressed = clock.believed("clutch_pressed") > 0.5
        calls.append(clock.when("belief.clutch_pressed", 0.5, falling=pressed, release=0.5))
        geared = clock.believed("in_gear") > 0.5
        calls.append(clock.when("belief.in_gear", 0.5, falling=geared, release=0.5))
        level = retarding.si("off_rpm") if running else retarding.si("on_rpm")
        calls.append(clock.when("belief.engine_speed", level, falling=running, release=level))
        slipping = clock.true("wheel_slip") > 0.5
        calls.append(clock.when("state.wheel_slip", 0.5, falling=slipping, release=0.5))
        if obstacle and obstacle.kind == "cause.oil_too_cold":
            calls.append(clock.when("belief.oil_temperature", retarding.si("least_oil_c")))
    return calls
