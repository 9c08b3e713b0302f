"""What stands beside the road: posted limits, curves and signs."""

from sim.actors.scene import Scene
from sim.march.clock import Process
from sim.wording import finding


def limits(scene: Scene) -> Process:
    """Puts each posted limit in force where it stands.

    Yields
    ------
    event : simpy.Event
        The next limit's place.
    """
    for place in scene.route.limits[1:]:
        yield scene.clock.reach(place.distance)
        if place.value != scene.clock.commanded("speed_limit"):
            scene.clock.set(speed_limit=place.value)
            scene.clock.record("limit_changed", finding("cause.posted_limit"), place.value, "speed")


def signs(scene: Scene) -> Process:
    """Logs each sign as it is passed.

    Yields
    ------
    event : simpy.Event
        The next sign's place.
    """
    for place in scene.route.signs:
        yield scene.clock.reach(place.distance)
        scene.clock.record("sign_passed", finding("cause.sign", text=place.text))
