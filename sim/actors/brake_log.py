"""What is written down of the service brakes and the gears, whoever moves them."""

from sim.actors.underway import Underway
from sim.laws.foot import slowing_distance
from sim.march.clock import Process
from sim.march.controller import PRESSED
from sim.march.records import BRAKED_FOR
from sim.roads.route import Route
from sim.wording import Finding, finding

LET_GO = 0.5 * PRESSED  # Pa: below it an application is over
ASKED_FOR = 0.25  # m/s2, assumed: a lower speed ahead that needs more slowing than this is what the brakes are for
STANDS_BELOW = 0.5  # m/s: a gear that goes in at less is one to pull away in


def purpose(route: Route, distance: float, speed: float) -> str:
    """What the service brakes are for at a place: a stop, a limit or curve, or else a descent.

    Parameters
    ----------
    distance : float
        Along the road. [m]
    speed : float
        [m/s]

    Returns
    -------
    purpose : str
        One of `sim.march.records.BRAKED_FOR`.
    """
    asked = [(place.distance, 0.0, "stop") for place in route.stops]
    asked += [(place.distance, place.value, "limit_or_curve") for place in route.limits]
    asked += [(place.distance, route.curve_at(place.distance), "limit_or_curve") for place in route.curves]
    for place, lower, what in asked:
        way = place - distance
        if way > -10.0 and lower < speed - 0.5 and slowing_distance(speed, lower, ASKED_FOR) > max(way, 0.0):
            return what
    return "descent"


def applications(trip: Underway) -> Process:
    """Writes down every application of the service brakes: a rise of pedal pressure, and its end."""
    clock = trip.clock
    if clock.true("brake_demand") > LET_GO:  # the truck stands at the start
        yield clock.when("state.brake_demand", LET_GO, falling=True)
    while True:
        yield clock.when("state.brake_demand", PRESSED)
        cause = Finding(BRAKED_FOR[purpose(trip.route, clock.true("distance"), clock.true("speed"))])
        clock.record("brakes_applied", cause, clock.true("speed"), "speed")
        yield clock.when("state.brake_demand", LET_GO, falling=True)
        clock.record("brakes_released", cause, clock.true("speed"), "speed")


def gears(trip: Underway) -> Process:
    """Writes down every gear that goes in while the truck rolls, and how long none was in."""
    clock = trip.clock
    before, since = 0, clock.now
    while True:
        now = clock.true("gear")
        before = int(now) or before
        up, down = (clock.when("state.gear", now + way, falling=way < 0.0, release=now) for way in (0.5, -0.5))
        yield from clock.first(up, down)
        gear = int(clock.true("gear"))
        if not gear:
            since = clock.now
        elif clock.true("speed") >= STANDS_BELOW:
            took = (clock.now - since) * clock.tick if not now else 0.0
            clock.record("gear_engaged", finding("cause.gears", before=before, gear=gear), took, "time")
