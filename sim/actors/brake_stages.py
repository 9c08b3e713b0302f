"""The engine brake's stages: who asks, what keeps it off, and the delays between the pairs of cylinders."""

import simpy

from sim.actors.interlocks import CODE, UNTOUCHED, Interlock, interlocks
from sim.actors.underway import Underway
from sim.inputs.specs import PAIRS
from sim.march.clock import Process
from sim.march.records import REASONS
from sim.wording import Finding, finding

GRIPPING_FOR = 5.0  # s, assumed: after a slip of the drive wheels, before the engine brake may work again
ALL_PAIRS = 3  # the highest stage
STEP = 1.0e-6  # less than any step of what is watched
ASKS = ("belief.selector", "command.cruise_stage", "command.set_speed")  # what says which stage is asked for


def asked_stage(trip: Underway) -> tuple[int, Finding, Finding]:
    """The stage asked for where nothing is in the way, who asks for it, and why it is not one more.

    Returns
    -------
    stage : int
        0 to 3.
    who : Finding
        Its kind is one of `sim.march.records.REASONS`.
    bound : Finding
        What asks for no more.
    """
    selected, called, held = map(trip.clock.settled, ASKS)
    if held > 0.0:
        bound = finding("cause.cruise_asks_no_more") if called < selected else _selector_bound(selected)
        return int(min(selected, called)), finding("cause.cruise_overspeed"), bound
    called_in = trip.settings.retarding.waits_for_brake
    who = finding("cause.service_brake_called") if called_in else finding("cause.foot_off")
    return int(selected), who, _selector_bound(selected)


def _selector_bound(selected: float) -> Finding:
    """What keeps a stage above the selector's from coming in."""
    return (
        finding("cause.all_pairs_work") if selected >= ALL_PAIRS else finding("cause.selector_at", stage=int(selected))
    )


def obstacle(trip: Underway, rows: tuple[Interlock, ...], running: bool) -> tuple[int, Interlock] | None:
    """The first condition that keeps the engine brake off, with its place in the table; None when none does.

    Parameters
    ----------
    running : bool
        Whether a stage is on.
    """
    read = trip.clock.settled
    return next(((place, row) for place, row in enumerate(rows) if row.forbids(read(row.place), running)), None)


def said_of(trip: Underway, row: Interlock) -> Finding:
    """What a condition says."""
    return trip.refusals.get("engine_brake", Finding(row.cause)) if row.cause == CODE else Finding(row.cause)


def switch_pairs(trip: Underway, stage: int) -> None:
    """Energises the solenoids of a stage.

    Parameters
    ----------
    stage : int
        0 to 3.
    """
    pairs = trip.truck.engine_brake.pairs(stage)
    trip.clock.set(stage=stage, **{f"pair_{pair}": float(pair in pairs) for pair in PAIRS})


def brake_stages(trip: Underway) -> Process:
    """Runs the engine brake through a trip.

    Yields
    ------
    event : simpy.Event
        Whatever can change the answer.
    """
    clock, retarding = trip.clock, trip.settings.retarding
    rows = interlocks(trip.settings)
    stage, refused = 0, ""
    while True:
        asked, who, bound = asked_stage(trip)
        found = obstacle(trip, rows, stage > 0)
        goal = 0 if found else asked
        why = said_of(trip, found[1]) if found else who
        clock.set(stage_requested=0.0 if found and found[1].calls else asked, stage_reason=REASONS.index(why.kind))
        if goal == stage:
            if found and not found[1].calls and refused != why.kind:
                clock.record("stage_refused", why, asked, "number")
            if not found or not found[1].calls:  # a blip of the accelerator in between changes nothing
                refused = why.kind if found else ""
            if any(clock.settled(place) != clock.read(place) for place in (*ASKS, *(row.place for row in rows))):
                yield clock.after(clock.tick)
                continue
            last = found[0] + 1 if found else len(rows)
            changes = [row.changes(clock, stage > 0) for row in rows[:last]]
            if not found:
                changes += _other_stage(trip)
            yield from clock.first(*changes)
            continue
        if goal == 0:
            delay = retarding.off_delay_s
        else:
            delay = retarding.on_delay_s if stage == 0 else retarding.step_delay_s
        yield clock.after(delay)
        asked, who, bound = asked_stage(trip)
        found = obstacle(trip, rows, stage > 0)
        still = 0 if found else asked
        if (still > stage) == (goal > stage) and still != stage:
            stage = still
            switch_pairs(trip, stage)
            cause = said_of(trip, found[1]) if found else finding("cause.stage", who=who, bound=bound)
            clock.record("stage_changed", cause, stage, "number")


def _other_stage(trip: Underway) -> list[simpy.Event]:
    """Events after which another stage is asked for: the selector moves, cruise control begins, ends, or calls another."""
    clock = trip.clock
    changes = []
    for place in ASKS:
        now = clock.read(place)
        changes += [
            clock.when(place, now + STEP, release=now),
            clock.when(place, now - STEP, falling=True, release=now),
        ]
    return changes


def traction(trip: Underway) -> Process:
    """Keeps the engine brake off after the drive wheels slipped, until they grip for a while or the switch is turned off."""
    clock = trip.clock
    while True:
        yield clock.when("belief.wheel_slip", 0.5)
        clock.set(traction_lost=1.0)
        slips = True
        while slips:
            yield clock.when("belief.wheel_slip", 0.5, falling=True)
            again = clock.when("belief.wheel_slip", 0.5)
            turned_off = clock.when("belief.retarding_switch", 0.5, falling=True, release=0.5)
            slips = (yield from clock.first(again, turned_off, clock.after(GRIPPING_FOR))) is again
        clock.set(traction_lost=0.0)


def brake_calls(trip: Underway) -> Process:
    """Where the settings ask for it: the service brake calls the engine brake in, the accelerator lets it go; not in cruise."""
    clock = trip.clock
    if not trip.settings.retarding.waits_for_brake:
        return
    called = False
    while True:
        cruising = clock.commanded("set_speed") > 0.0
        clock.set(waits_for_brake=0.0 if called or cruising else 1.0)
        place, level = ("belief.driver_demand", UNTOUCHED) if called else ("belief.brake_pressed", 0.5)
        turn = clock.when(place, level, release=level)
        other = clock.when("command.set_speed", STEP, falling=cruising, release=STEP)
        event = yield from clock.first(turn, other)
        called = called if event is other else not called
