"""How a trip ends: arrived, out of time, stalled or run away."""

from sim.actors.underway import Underway
from sim.march.clock import Process
from sim.wording import finding

SPEED_BOUND = 45.0  # m/s, assumed: beyond it a loaded truck counts as out of control
ROLLING_BACK = -4.0  # m/s, assumed: a truck that rolls back so fast is out of control
MOST_CLUTCH_HEAT = 8.0e5  # J, assumed: one launch that makes more has burnt the clutch
STALL_SHARE = 0.5  # of low idle, assumed: an engine turning slower has stopped


def arrival(trip: Underway) -> Process:
    """Ends the trip at the end of the road."""
    yield trip.clock.reach(trip.route.length)
    trip.end("arrived", finding("ended.end_of_the_road"))


def patience(trip: Underway, seconds: float, memory_seconds: float, times: float, usual: float) -> Process:
    """Ends the trip when it takes too long.

    Parameters
    ----------
    seconds : float
        Longest time allowed. [s]
    memory_seconds : float
        Time after which trace and meters have grown too large. [s]
    times : float
        How many times as long as at the usual speed a trip may take, where the settings do not say. [-]
    usual : float
        The usual speed. [m/s]
    """
    yield trip.clock.after(min(seconds, memory_seconds))
    if memory_seconds < seconds:
        trip.end("time_limit", finding("ended.too_large", time=memory_seconds))
        return
    told = {"time": seconds, "place": trip.clock.true("distance"), "length": trip.route.length}
    told["speed"] = trip.clock.true("speed")
    if trip.settings.simulation.time_limit_s:
        trip.end("time_limit", finding("ended.too_long", **told))
    else:
        trip.end("time_limit", finding("ended.too_long_usual", times=times, usual=usual, **told))


def stall(trip: Underway) -> Process:
    """Ends the trip when the engine stops."""
    low_idle = float(trip.clock.rig.parameters["low_idle"][0])
    yield trip.clock.when("state.engine_speed", STALL_SHARE * low_idle, falling=True)
    if trip.shut_down:
        trip.end("stalled", finding("ended.shut_down", why=trip.shut_down))
        return
    if trip.watched and trip.clock.believed("engine_speed") <= 0.0:
        trip.end("stalled", finding("ended.lost_crank"))
        return
    if trip.watched and trip.clock.believed("key") < 0.5:
        trip.end("stalled", finding("ended.lost_key"))
        return
    trip.end("stalled", finding("ended.pulled_down", heat=trip.clock.true("clutch")))


def burnt_clutch(trip: Underway) -> Process:
    """Ends the trip when a clutch has slipped so long that it is burnt."""
    clock = trip.clock
    while True:
        before = clock.true("clutch")
        burnt = clock.when("state.clutch", before + MOST_CLUTCH_HEAT)
        event = yield from clock.first(burnt, clock.when("state.clutch_locked", 0.5))
        if event is burnt:
            told = {
                "gear": int(clock.true("gear")),
                "grade": clock.true("grade"),
                "heat": clock.true("clutch") - before,
            }
            trip.end("stalled", finding("ended.could_not_pull_away", **told))
            return
        yield clock.when("state.clutch_locked", 0.5, falling=True)


def runaway(trip: Underway) -> Process:
    """Ends the trip when engine or truck runs beyond a bound."""
    clock = trip.clock
    bound = float(clock.rig.parameters["overspeed_bound"][0])
    fast = clock.when("state.speed", SPEED_BOUND)
    turning = clock.when("state.engine_speed", bound)
    backwards = clock.when("state.speed", ROLLING_BACK, falling=True)
    event = yield from clock.first(turning, fast, backwards)
    if event is backwards:
        trip.end("runaway", finding("ended.rolls_back", speed=-ROLLING_BACK))
    elif event is turning:
        trip.end("runaway", finding("ended.engine_speed_passed", speed=trip.truck.engine.si("overspeed_rpm")))
    else:
        trip.end("runaway", finding("ended.road_speed_passed", speed=SPEED_BOUND))
