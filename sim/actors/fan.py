"""The fan clutch: on and off by coolant temperature, with a shortest time on."""

from sim.actors.scene import Scene
from sim.clock import Process


def fan_clutch(scene: Scene) -> Process:
    """Engages the fan at one temperature and lets it go at a lower one.

    Parameters
    ----------
    scene : Scene
        [-]

    Yields
    ------
    event : simpy.Event
        [-]
    """
    clock, cooling = scene.clock, scene.truck.cooling
    on, off = cooling.si("fan_on_c"), cooling.si("fan_off_c")
    while True:
        yield clock.when("belief.coolant_temperature", on)
        clock.set(fan=1.0)
        clock.record("fan_engaged", f"coolant at {cooling.fan_on_c:g} C", cooling.fan_on_c, "C")
        yield clock.after(max(cooling.fan_least_s, clock.tick))
        yield clock.when("belief.coolant_temperature", off, falling=True)
        clock.set(fan=0.0)
        clock.record("fan_released", f"coolant back at {cooling.fan_off_c:g} C", cooling.fan_off_c, "C")
