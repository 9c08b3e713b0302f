"""What will happen: contradictions between truck, road and settings, found before the trip."""

import itertools
from collections.abc import Iterator
from typing import Any

from sim.actors.cruise import highest_set_speed
from sim.actors.gear_choice import GearChoice
from sim.inputs.sensors import NAMES
from sim.roads.facts import limit_spans
from sim.roads.falls import falling_parts, pitches
from sim.seat.cab import Cab
from sim.seat.descents import BELOW_GOVERNED, Descent, allowed_stage, descents, goes_up_to, held_in_gear
from sim.seat.stalk import wants_cruise
from sim.units import KILOMETRE_PER_HOUR, STANDARD_GRAVITY
from sim.wording import Finding, finding

MUCH_OF_THE_ROAD = 0.3  # share of the road on which a limit below the set speed is worth a word
GAINED = 10.0 * KILOMETRE_PER_HOUR  # a growth of speed that everybody notices
NOTED_LIMIT = 1.0 * KILOMETRE_PER_HOUR  # a set speed this little above a limit is not worth a word


def warnings_before(cab: Cab) -> list[dict[str, Any]]:
    """Everything about these settings on this road that a reader should know before the run.

    Parameters
    ----------
    cab : Cab
        A prepared trip at its start.

    Returns
    -------
    findings : list of dict
        Each says what will happen, and what to change if that is not wanted.
    """
    planned = descents(cab)
    about = (
        _about_cruise(cab, planned),
        _about_descents(cab, planned),
        _about_the_start(cab),
        _about_faults(cab),
    )
    return [found.data() for found in itertools.chain(*about)]


def _cruising_gear(cab: Cab, speed: float) -> int:
    """The gear a truck runs in at a steady speed on the level: the one it goes up to, or starts in."""
    if cab.settings.drill.hold_gear:
        return cab.settings.drill.hold_gear
    choice = GearChoice(cab.trip)
    lower = range(1, cab.top_gear)
    gone_up = 1 + sum(cab.engine_speed(gear, speed) >= choice.upshift_speed(gear) for gear in lower)
    started = int(cab.clock.true("gear"))
    return started if started and cab.engine_speed(started, speed) >= choice.light_down else gone_up


def _share_below(cab: Cab, speed: float) -> float:
    """Share of the road on which the driver keeps to less than a speed."""
    spans = limit_spans(cab.route)
    return sum(span.end - span.begin for span in spans if cab.settings.kept(span.value) < speed) / cab.route.length


def _about_cruise(cab: Cab, planned: list[Descent]) -> Iterator[Finding]:
    """Set speed, droop and thresholds against each other, the governor and the road."""
    cruise, retarding, engine = cab.settings.cruise, cab.settings.retarding, cab.truck.engine
    if not (wants_cruise(cab.settings.cruise) or cruise.presses):
        return
    if not cruise.key_on_check:
        yield finding("foreseen.key_on_check")
    stages = cruise.with_engine_brake and retarding.switch
    if cruise.with_engine_brake and not retarding.switch:
        yield finding("foreseen.engine_brake_switch_off")
    if stages and cruise.none_above_km_h > cruise.stage_1_over_km_h:
        told = {"fuelled": cruise.si("none_above_km_h"), "called": cruise.si("stage_1_over_km_h")}
        yield finding("foreseen.still_fuelled", **told)
    if not wants_cruise(cab.settings.cruise):
        return
    wanted, highest = cruise.si("set_speed_km_h"), highest_set_speed(cab.settings)
    if wanted > highest + NOTED_LIMIT:
        yield finding("foreseen.above_programmed_limit", speed=wanted, limit=highest)
    held = min(wanted, highest)
    gear = _cruising_gear(cab, held)
    turning, least = cab.engine_speed(gear, held), cruise.si("least_rpm")
    if turning < least and cruise.least_rule == "and":
        yield finding("foreseen.too_slow_for_set", speed=held, gear=gear, turning=turning, least=least)
    slower = _share_below(cab, held - NOTED_LIMIT)
    if slower >= MUCH_OF_THE_ROAD:
        yield finding("foreseen.above_posted_limit", speed=held, share=slower)
    if stages:
        last = retarding.selector
        over = cruise.si(f"stage_{last}_over_km_h")
        governed = engine.si("governed_rpm")
        for used in sorted({stretch.gear for way in planned for stretch in way.stretches} or {gear}):
            top = held + over
            turning = cab.engine_speed(used, top)
            if turning > governed:
                most = governed / cab.engine_speed(used, 1.0) - over
                told = {
                    "gear": used,
                    "stage": last,
                    "speed": top,
                    "turning": turning,
                    "governed": governed,
                    "most": most,
                }
                yield finding("foreseen.overspeeds_before_the_stage", **told)


def _about_descents(cab: Cab, planned: list[Descent]) -> Iterator[Finding]:
    """Whether gear and stage hold where it is steepest, and whether the tyres can carry it."""
    drill, route = cab.settings.drill, cab.route
    stage = allowed_stage(cab)
    if drill.careless:
        for begin, end in falling_parts(route):
            yield finding("foreseen.careless", begin=begin, end=end)
    with_what = finding("foreseen.stage", stage=stage) if stage else finding("foreseen.engine_alone")
    rest = finding("foreseen.brakes_do_the_rest") if drill.service_brakes else finding("foreseen.nothing_else")
    for way in planned:
        first = way.stretches[0]
        gear = first.gear
        governed = BELOW_GOVERNED * cab.truck.engine.si("governed_rpm") / cab.engine_speed(gear, 1.0)
        place, posted, steepest = min(pitches(route, way.begin, way.end), key=lambda part: part[2])
        speed = min(first.speed, governed, goes_up_to(cab, posted))
        holding = held_in_gear(cab, gear, speed, steepest, route.elevation_at(place), stage)
        if holding.held < holding.push:
            gain = (holding.push - holding.held) / cab.truck.vehicle.mass_kg
            taken = (GAINED + 2.0 * speed) * GAINED / (2.0 * gain)
            told = {"place": way.begin, "steepest": -steepest, "gear": gear, "speed": speed, "taken": taken}
            told["more"] = GAINED
            yield finding("foreseen.does_not_hold", with_what=with_what, rest=rest, **told)
        grip, load = cab.settings.weather.grip, cab.truck.vehicle.drive_load_kg * STANDARD_GRAVITY
        if stage and holding.held > grip * load:
            told = {"place": way.begin, "stage": stage, "gear": gear, "needed": holding.held / load, "grip": grip}
            yield finding("foreseen.wheels_will_slip", **told)


def _about_the_start(cab: Cab) -> Iterator[Finding]:
    """Gear, speed, oil and brakes at the start."""
    start, retarding = cab.settings.start, cab.settings.retarding
    gear, speed = int(cab.clock.true("gear")), cab.clock.true("speed")
    governed = cab.truck.engine.si("governed_rpm")
    turning = cab.engine_speed(gear, speed) if gear else 0.0
    if turning > governed:
        yield finding("foreseen.starts_too_fast", speed=speed, gear=gear, turning=turning, governed=governed)
    oil, least = start.si("oil_temperature_c"), retarding.si("least_oil_c")
    if retarding.switch and oil < least:
        yield finding("foreseen.oil_too_cold", temperature=oil, least=least)
    if cab.settings.drill.neutral:
        yield finding("foreseen.rolls_out_of_gear")


def _about_faults(cab: Cab) -> Iterator[Finding]:
    """Failures and dialled values beyond the end of the road."""
    settings, length = cab.settings, cab.route.length
    for key, occurrences in (
        ("faults.occur", settings.faults.occurrences()),
        ("circuits.dialled", settings.circuits.values()),
    ):
        for occurrence in occurrences:
            if occurrence.trigger == "place" and occurrence.begin >= length:
                told = {"key": key, "part": NAMES[occurrence.part], "place": occurrence.begin, "length": length}
                yield finding("foreseen.beyond_the_road", **told)
