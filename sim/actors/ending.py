"""How a trip ends: arrived, out of time, stalled or run away."""

from sim.actors.scene import Scene
from sim.march.clock import Process

SPEED_BOUND = 45.0  # m/s, assumed: beyond it a loaded truck counts as out of control
ROLLING_BACK = -4.0  # m/s, assumed: a truck that rolls back so fast is out of control
STALL_SHARE = 0.5  # of low idle, assumed: an engine turning slower has stopped


def arrival(scene: Scene) -> Process:
    """Ends the trip at the end of the road."""
    yield scene.clock.reach(scene.route.length)
    scene.end("arrived", "end of the road")


def patience(scene: Scene, seconds: float, memory_seconds: float) -> Process:
    """Ends the trip when it takes too long.

    Parameters
    ----------
    seconds : float
        Longest time allowed. [s]
    memory_seconds : float
        Time after which trace and meters have grown too large. [s]
    """
    yield scene.clock.after(min(seconds, memory_seconds))
    if memory_seconds < seconds:
        scene.end(
            "time_limit",
            f"trace and meters have grown too large after {memory_seconds:.0f} s; raise simulation.log_s or circuits.meter_s",
        )
    else:
        scene.end("time_limit", f"the trip took longer than {seconds:.0f} s")


def stall(scene: Scene) -> Process:
    """Ends the trip when the engine stops."""
    low_idle = float(scene.clock.rig.parameters["low_idle"][0])
    yield scene.clock.when("state.engine_speed", STALL_SHARE * low_idle, falling=True)
    if scene.shut_down:
        scene.end("stalled", f"the engine was stopped: {scene.shut_down}")
        return
    if scene.watched and scene.clock.believed("engine_speed") <= 0.0:
        scene.end("stalled", "the engine stopped: no crankshaft signal, no fuel")
        return
    if scene.watched and scene.clock.believed("key") < 0.5:
        scene.end("stalled", "the engine stopped: no voltage from the key")
        return
    clutch = scene.clock.true("clutch") / 1000.0
    scene.end("stalled", f"the engine was pulled below half its idle speed; clutch heat so far {clutch:.0f} kJ")


def runaway(scene: Scene) -> Process:
    """Ends the trip when engine or truck runs beyond a bound."""
    clock = scene.clock
    bound = float(clock.rig.parameters["overspeed_bound"][0])
    fast = clock.when("state.speed", SPEED_BOUND)
    turning = clock.when("state.engine_speed", bound)
    backwards = clock.when("state.speed", ROLLING_BACK, falling=True)
    event = yield from clock.first(turning, fast, backwards)
    if event is backwards:
        scene.end("runaway", f"the truck rolls back at {-ROLLING_BACK * 3.6:.0f} km/h")
    elif event is turning:
        scene.end("runaway", f"engine speed passed {scene.truck.engine.overspeed_rpm:g} rpm")
    else:
        scene.end("runaway", f"road speed passed {SPEED_BOUND * 3.6:g} km/h")
