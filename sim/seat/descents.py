"""What a driver makes of the descents ahead: where they begin, how steep they get, and which gear and speed they ask for."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from sim.march.plant import asked_air, asked_retarding
from sim.roads.falls import PITCH, falling_parts, pitches
from sim.seat.cab import Cab
from sim.seat.stalk import over_the_set_speed, wants_cruise
from sim.units import REVOLUTION_PER_MINUTE

BELOW_GOVERNED = 0.97  # assumed: of governed speed, where a careful driver keeps the engine on a descent
TAKING_RPM = 1800.0  # assumed: engine speed at which the gear goes in before the crest
LEAST_RPM = 1200.0  # assumed: a gear that turns the engine slower is no use for holding back
SEEN = 400.0  # m, assumed: how far ahead of a crest without a sign a driver sees that the road falls
SIGN_REACH = 1500.0  # m, assumed: a sign this close before a crest is about it
BEFORE_CREST = 130.0  # m, assumed: where speed and gear must be right
BRAKE_RISE = 100.0  # K, assumed: lasting rise of the drums a driver accepts when there is no engine brake


class Stretch(NamedTuple):
    """A part of a descent with one gear and one speed: from where on, and both."""

    begin: float
    gear: int
    speed: float


class Descent(NamedTuple):
    """A descent as the driver means to drive it.

    `known` is where it is known of, `begin` and `end` are where the road falls, `taking` is the speed at which the gear goes in,
    and `stretches` come in the order of the road.
    """

    known: float
    begin: float
    end: float
    taking: float
    steepest: float
    stretches: tuple[Stretch, ...]


class Holding(NamedTuple):
    """How a gear holds on a grade: speed there, what the road pushes with beyond air and tyres, and what the engine takes."""

    gear: int
    speed: float
    push: float
    held: float


def held_in_gear(cab: Cab, gear: int, speed: float, grade: float, elevation: float, stage: int) -> Holding:
    """What pushes and what holds back in a gear at a speed on a grade, boost settled.

    Parameters
    ----------
    speed : float
        [m/s]
    elevation : float
        [m]
    stage : int
        0 to 3.

    Returns
    -------
    holding : Holding
        [-, m/s, N, N]
    """
    rig, truck = cab.clock.rig, cab.truck
    _, outside = asked_air(rig.parameters, elevation)
    cylinders = 2 * len(set(truck.engine_brake.pairs(stage)) - set(cab.settings.drill.dead_pairs))
    turning = cab.engine_speed(gear, speed)
    held = float(asked_retarding(rig.parameters, rig.tables, gear, turning, outside, cylinders))
    return Holding(gear, speed, -cab.resistance(speed, grade), held)


def allowed_stage(cab: Cab) -> int:
    """The highest engine-brake stage the settings leave the driver.

    Returns
    -------
    stage : int
        0 to 3.
    """
    drill, retarding = cab.settings.drill, cab.settings.retarding
    if drill.hold_stage >= 0:
        return drill.hold_stage
    return retarding.selector if retarding.switch else 0


def goes_up_to(cab: Cab, limit: float) -> float:
    """The highest speed the driver lets the truck have: what he keeps to, or as far above the set speed as its engine brake is
    waited for.

    Parameters
    ----------
    limit : float
        Posted; infinite for none. [m/s]

    Returns
    -------
    speed : float
        [m/s]
    """
    cruise = cab.settings.cruise
    if not cruise.set_speed_km_h:
        return cab.settings.kept(limit)
    called = allowed_stage(cab) and cruise.with_engine_brake and wants_cruise(cruise)
    most = cruise.si("set_speed_km_h") + (over_the_set_speed(cab.settings) if called else 0.0)
    return min(limit * cab.settings.driver.speed_limit_share, most)


def holding_gear(cab: Cab, grade: float, allowed: float, elevation: float, gears: Sequence[int], stage: int) -> Holding:
    """The highest gear in which the engine brake holds the truck on a grade, and the speed to have there.

    Parameters
    ----------
    allowed : float
        Highest speed wanted. [m/s]
    elevation : float
        [m]
    gears : sequence of int
        Those to choose from, highest first.
    stage : int
        0 to 3.

    Returns
    -------
    holding : Holding
        With the gear that leaves the service brakes least to do when none holds. [-, m/s, N, N]
    """
    truck, drums = cab.truck, cab.truck.drums
    brakes = truck.steer_brakes.brakes + truck.drive_brakes.brakes + truck.trailer_brakes.brakes
    best, best_left = Holding(gears[-1], allowed, 0.0, 0.0), math.inf
    for gear in gears:
        governed = truck.engine.si("governed_rpm") * BELOW_GOVERNED
        speed = min(allowed, governed / cab.engine_speed(gear, 1.0))
        if cab.engine_speed(gear, speed) < LEAST_RPM * REVOLUTION_PER_MINUTE and gear > 1 and len(gears) > 1:
            continue
        holding = held_in_gear(cab, gear, speed, grade, elevation, stage)
        accepted = 0.0
        if stage == 0 and cab.settings.drill.service_brakes:
            shed = drums.still_w_per_k + drums.cooling_w_per_k_per_m_s * speed
            accepted = brakes * shed * BRAKE_RISE / speed
        left = (holding.push - holding.held - accepted) * speed
        if left <= 0.0:
            return holding
        if left < best_left:
            best, best_left = holding, left
    return best


def descents(cab: Cab) -> list[Descent]:
    """Every descent of the road that asks for a lower gear or a lower speed, as the driver means to drive it.

    Returns
    -------
    descents : list of Descent
        None for a careless driver.

    Notes
    -----
    The gear is chosen by the steepest pitch still to come and the speed allowed there, curves included, so that none is changed
    down on the grade: model commercial driver manual, seen second-hand.
    """
    if cab.planned is None:
        cab.planned = _planned(cab)
    return cab.planned


def _planned(cab: Cab) -> list[Descent]:
    """Works the descents out."""
    route, habits, drill = cab.route, cab.settings.driver, cab.settings.drill
    if drill.careless:
        return []
    found = []
    stage = allowed_stage(cab)
    for begin, end in falling_parts(route):
        parts = pitches(route, begin, end)
        wanted = habits.si("descent_km_h") or math.inf
        gear = cab.top_gear
        stretches: list[Stretch] = []
        for first, limit, steepest in reversed(parts):
            allowed = min(goes_up_to(cab, limit), wanted)
            gears = [drill.hold_gear] if drill.hold_gear else range(cab.top_gear, 0, -1)
            best = holding_gear(cab, steepest, allowed, route.elevation_at(first), gears, stage).gear
            length = (stretches[-1].begin if stretches else end) - first
            if length > PITCH:
                gear = min(gear, best)
            stretches.append(Stretch(first if length > PITCH else math.inf, gear, wanted))
        # a short part is driven in the gear of the part before it
        stretches = [stretch for stretch in reversed(stretches) if stretch.begin < math.inf] or stretches[-1:]
        told = habits.descent_gear or drill.hold_gear
        governed = cab.truck.engine.si("governed_rpm") * BELOW_GOVERNED
        stretches = [
            Stretch(begun, told or gear, min(speed, governed / cab.engine_speed(told or gear, 1.0)))
            for begun, gear, speed in stretches
        ]
        lowest = stretches[0].gear
        if lowest == cab.top_gear and wanted == math.inf and not told:
            continue
        taking = min(TAKING_RPM * REVOLUTION_PER_MINUTE / cab.engine_speed(lowest, 1.0), stretches[0].speed)
        if drill.hold_gear:
            taking = stretches[0].speed
        signs = [
            sign.distance for sign in route.signs if 0.0 <= begin - sign.distance <= SIGN_REACH and "%" in sign.text
        ]
        known = signs[0] if signs else max(begin - SEEN, 0.0)
        steepest = min(part[2] for part in parts)
        found.append(Descent(known, begin, end, taking, steepest, _merged(stretches)))
    return found


def _merged(stretches: list[Stretch]) -> tuple[Stretch, ...]:
    """Neighbours with the same gear as one; the part that only brings a short rest keeps the gear."""
    kept = [stretches[0]]
    for stretch in stretches[1:]:
        if stretch.gear != kept[-1].gear or stretch.speed != kept[-1].speed:
            kept.append(stretch)
    return tuple(kept)
