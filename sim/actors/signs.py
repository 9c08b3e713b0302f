"""What stands beside the road: posted limits, curves and signs."""

from sim.actors.underway import Underway
from sim.march.clock import Process
from sim.wording import finding


def limits(trip: Underway) -> Process:
    """Puts each posted limit in force where it stands.

    Yields
    ------
    event : simpy.Event
        The next limit's place.
    """
    for place in trip.route.limits[1:]:
        yield trip.clock.reach(place.distance)
        if place.value != trip.clock.commanded("speed_limit"):
            trip.clock.set(speed_limit=place.value)
            trip.clock.record("limit_changed", finding("cause.posted_limit"), place.value, "speed")


def signs(trip: Underway) -> Process:
    """Logs each sign as it is passed.

    Yields
    ------
    event : simpy.Event
        The next sign's place.
    """
    for place in trip.route.signs:
        yield trip.clock.reach(place.distance)
        trip.clock.record("sign_passed", finding("cause.sign", text=place.text))
