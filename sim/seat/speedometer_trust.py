"""A driver who sees that the speedometer cannot be right, and goes by tachometer and gear."""

from sim.march.clock import Process
from sim.seat.cab import Cab
from sim.wording import finding

GLANCE = 0.5  # s, assumed: between two looks
WRONG_SHARE = 0.25  # assumed: of the true speed
WRONG_BY = 3.0  # m/s, assumed: and at least
WRONG_FOR = 3.0  # s, assumed: before the needle is not believed any more
JUMPS, JUMPS_WITHIN = 3, 15.0  # times, s, assumed: a needle that jumps so often is not believed either
RIGHT_FOR = 10.0  # s, assumed: before it is again


def speedometer_trust(cab: Cab) -> Process:
    """Stops believing a needle that shows something else than road and engine feel like; a few percent nobody feels.

    Yields
    ------
    event : simpy.Event
        The next glance.
    """
    clock = cab.clock
    wrong, right, believed, before = 0.0, 0.0, True, clock.believed("road_speed")
    jumps: list[float] = []
    while True:
        yield clock.after(GLANCE)
        true, shown = clock.true("wheel_speed"), clock.believed("road_speed")
        off = abs(shown - true) > max(WRONG_SHARE * true, WRONG_BY)
        jumps = [when for when in jumps if clock.seconds - when < JUMPS_WITHIN]
        if abs(shown - before) > WRONG_BY:
            jumps.append(clock.seconds)
        before = shown
        wrong, right = (wrong + GLANCE, 0.0) if off else (0.0, right + GLANCE)
        if believed and (wrong >= WRONG_FOR or len(jumps) >= JUMPS):
            believed = False
            jumping = len(jumps) >= JUMPS
            why = finding("cause.needle_jumps") if jumping else finding("cause.needle_shows", speed=shown)
            clock.note("needle_distrusted", why, true, "speed")
        elif not believed and right >= RIGHT_FOR and not jumps:
            believed = True
            clock.note("needle_believed", finding("cause.needle_right"), true, "speed")
        else:
            continue
        clock.mean(needle_distrusted=0.0 if believed else 1.0)
        yield clock.after(2.0 * clock.tick)
        cab.think_again()
