"""How a driver uses cruise control: by its switch and its buttons, and by what its lamp shows."""

from sim.actors.cruise import SAME_SPEED, highest_set_speed
from sim.inputs.specs import Cruise, Settings
from sim.march.clock import Process
from sim.seat.cab import FINGER, Cab
from sim.units import KILOMETRE_PER_HOUR

TRIES_AGAIN_S = 1.5  # s, assumed: a driver tries the button again no sooner
NEAR_BELOW = 0.5  # m/s, assumed: the driver presses set this close below the speed wanted
NEAR_ABOVE = 0.6  # m/s, assumed: or this close above
FREE_ROLLING = 1.0  # m/s, assumed: how much more than his usual patience is let run out where something else may do it
EXACT = 0.03  # m/s, assumed: he waits a while until the needle is there
WAITS_FOR_EXACT = 15.0  # s, assumed
LONGEST_HOLD = 20.0  # s, assumed: then a finger lets go of a button and begins again
GETS_NOWHERE = 1.0  # m/s, assumed: less is no use
LAMP_BY = 0.1  # s: by then the lamp would be lit
CONTROLS_OF = {
    "set": "set_coast", "coast": "set_coast", "tap down": "set_coast",
    "resume": "resume_accelerate", "accelerate": "resume_accelerate", "tap up": "resume_accelerate",
    "cancel": "cruise_cancel",
}  # fmt: skip


def stalk(cab: Cab) -> Process:
    """Presses the buttons that the settings name, at their places."""
    for place, button, held in cab.settings.cruise.places():
        yield cab.clock.reach(place)
        if button in ("on", "off"):
            cab.clock.mean(hand_cruise_switch=float(button == "on"))
        else:
            yield from cab.tap(CONTROLS_OF[button], held or FINGER)


def wants_cruise(cruise: Cruise) -> bool:
    """Whether the driver means to use cruise control wherever the road allows it."""
    return cruise.switch and cruise.set_speed_km_h > 0.0


def over_the_set_speed(settings: Settings) -> float:
    """How far above the set speed a driver lets cruise control run before he brakes: first its engine brake must all be on.

    Returns
    -------
    speed : float
        [m/s]
    """
    cruise, retarding = settings.cruise, settings.retarding
    staged = cruise.with_engine_brake and retarding.switch
    trusted = cruise.si(f"stage_{retarding.selector}_over_km_h") if staged else 0.0
    return trusted + settings.driver.overspeed_km_h * KILOMETRE_PER_HOUR + FREE_ROLLING


def watch_the_lamp(cab: Cab) -> Process:
    """Puts the foot back, or takes it off, as cruise control lets go or takes over."""
    while True:
        yield cab.lamp()
        cab.think_again()


def use_cruise(cab: Cab) -> Process:
    """Sets cruise control whenever the speed aimed for is reached, and again after it was cancelled."""
    if not wants_cruise(cab.settings.cruise):
        return
    while True:
        if cab.standing or cab.brakes or cab.retarding:
            yield cab.changed()
        elif cab.cruising:
            yield from _follow_the_aim(cab)
        else:
            yield from _set_when_near(cab)


def _set_when_near(cab: Cab) -> Process:
    """Presses set once the truck is as fast as the speed aimed for."""
    clock, cruise = cab.clock, cab.settings.cruise
    aim, here = cab.aim, clock.believed("road_speed")
    if aim < cruise.si("least_speed_km_h") - SAME_SPEED:
        yield cab.changed()
        return
    if here < aim - NEAR_BELOW:
        yield from clock.first(clock.when("belief.road_speed", aim - NEAR_BELOW), cab.changed())
        return
    if here > aim + NEAR_ABOVE:
        yield from clock.first(clock.when("belief.road_speed", aim + NEAR_ABOVE, falling=True), cab.changed())
        return
    if abs(here - aim) > EXACT:
        below = here < aim
        there = clock.when("belief.road_speed", aim - EXACT if below else aim + EXACT, falling=not below)
        patience, mind = clock.after(WAITS_FOR_EXACT), cab.changed()
        if (yield from clock.first(there, mind, patience)) is mind:
            return
    if clock.believed("clutch_pressed") > 0.5:
        yield from clock.first(clock.when("belief.clutch_pressed", 0.5, falling=True), cab.changed())
        return
    clock.process(cab.tap("set_coast"))
    lit = cab.lamp()
    if (yield from clock.first(lit, clock.after(LAMP_BY))) is not lit:
        # refused: no use trying before something is different
        faster = clock.when("belief.engine_speed", cruise.si("least_rpm"), release=cruise.si("least_rpm"))
        yield from clock.first(faster, clock.after(60.0))
        yield clock.after(TRIES_AGAIN_S)
    else:
        yield clock.after(FINGER)


def _follow_the_aim(cab: Cab) -> Process:
    """Brings the set speed to the speed aimed for when that has changed, by the button that is held."""
    clock, aim = cab.clock, cab.aim
    held = clock.commanded("set_speed")
    if aim > held + 2.0 * SAME_SPEED and held < highest_set_speed(cab.settings) - SAME_SPEED:
        button, there = "resume_accelerate", clock.when("belief.road_speed", aim - EXACT)
    elif aim < held - 2.0 * SAME_SPEED:
        button, there = "set_coast", clock.when("belief.road_speed", aim + EXACT, falling=True)
    else:
        yield from clock.first(cab.changed(), cab.lamp())
        return
    begun = clock.believed("road_speed")
    clock.mean(**{f"hand_{button}": 1.0})
    yield clock.after(2.0 * FINGER)  # a tap would be something else
    if not there.triggered:
        yield from clock.first(there, cab.changed(), cab.lamp(), clock.after(LONGEST_HOLD))
    clock.mean(**{f"hand_{button}": 0.0})
    yield clock.after(LAMP_BY)
    if cab.cruising and abs(clock.believed("road_speed") - begun) < GETS_NOWHERE:
        yield from clock.first(cab.changed(), cab.lamp())  # a limit, or the engine, gives no more
