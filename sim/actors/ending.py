"""How a trip ends: arrived, out of time, stalled or run away."""

from sim.actors.scene import Scene
from sim.march.clock import Process
from sim.wording import finding

SPEED_BOUND = 45.0  # m/s, assumed: beyond it a loaded truck counts as out of control
ROLLING_BACK = -4.0  # m/s, assumed: a truck that rolls back so fast is out of control
STALL_SHARE = 0.5  # of low idle, assumed: an engine turning slower has stopped


def arrival(scene: Scene) -> Process:
    """Ends the trip at the end of the road."""
    yield scene.clock.reach(scene.route.length)
    scene.end("arrived", finding("ended.end_of_the_road"))


def patience(scene: Scene, seconds: float, memory_seconds: float, times: float, usual: float) -> Process:
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
    yield scene.clock.after(min(seconds, memory_seconds))
    if memory_seconds < seconds:
        scene.end("time_limit", finding("ended.too_large", time=memory_seconds))
        return
    told = {"time": seconds, "place": scene.clock.true("distance"), "length": scene.route.length}
    told["speed"] = scene.clock.true("speed")
    if scene.settings.simulation.time_limit_s:
        scene.end("time_limit", finding("ended.too_long", **told))
    else:
        scene.end("time_limit", finding("ended.too_long_usual", times=times, usual=usual, **told))


def stall(scene: Scene) -> Process:
    """Ends the trip when the engine stops."""
    low_idle = float(scene.clock.rig.parameters["low_idle"][0])
    yield scene.clock.when("state.engine_speed", STALL_SHARE * low_idle, falling=True)
    if scene.shut_down:
        scene.end("stalled", finding("ended.shut_down", why=scene.shut_down))
        return
    if scene.watched and scene.clock.believed("engine_speed") <= 0.0:
        scene.end("stalled", finding("ended.lost_crank"))
        return
    if scene.watched and scene.clock.believed("key") < 0.5:
        scene.end("stalled", finding("ended.lost_key"))
        return
    scene.end("stalled", finding("ended.pulled_down", heat=scene.clock.true("clutch")))


def runaway(scene: Scene) -> Process:
    """Ends the trip when engine or truck runs beyond a bound."""
    clock = scene.clock
    bound = float(clock.rig.parameters["overspeed_bound"][0])
    fast = clock.when("state.speed", SPEED_BOUND)
    turning = clock.when("state.engine_speed", bound)
    backwards = clock.when("state.speed", ROLLING_BACK, falling=True)
    event = yield from clock.first(turning, fast, backwards)
    if event is backwards:
        scene.end("runaway", finding("ended.rolls_back", speed=-ROLLING_BACK))
    elif event is turning:
        scene.end("runaway", finding("ended.engine_speed_passed", speed=scene.truck.engine.si("overspeed_rpm")))
    else:
        scene.end("runaway", finding("ended.road_speed_passed", speed=SPEED_BOUND))
