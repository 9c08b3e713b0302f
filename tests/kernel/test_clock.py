"""Integer time, watch points, and the promise that an event which changes nothing changes nothing."""

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck
from sim.actors.underway import Underway
from sim.errors import RunError
from sim.trips.trip import prepare, start_actors, take_the_seat
from sim.units import MILE_PER_HOUR


def drive(extra_events: int) -> bytes:
    """A trip with stops, shifts and braking, and idle events strewn over it."""
    truck, settings = load_truck("long-haul-manual").truck, load_settings(None, ["start.speed_km_h=0"])
    road = load_route("grade:-4%,3km,900m")
    clock = prepare(truck, road, settings)
    trip = Underway(clock, truck, settings, road)
    take_the_seat(trip)
    start_actors(trip)

    def idle_places():
        for place in np.linspace(1.0, 2990.0, extra_events):
            yield clock.reach(float(place))

    def idle_times():
        for _ in range(extra_events):
            yield clock.after(0.37)

    def idle_levels():
        for level in range(extra_events):
            yield clock.when("belief.engine_speed", 70.0 + level % 90)

    def interrupted(victim):
        yield clock.after(7.0)
        victim.interrupt()

    def impatient():
        try:
            yield clock.after(500.0)
        except Exception as interruption:
            assert type(interruption).__name__ == "Interrupt"

    if extra_events:
        for process in (idle_places(), idle_times(), idle_levels()):
            clock.process(process)
        clock.process(interrupted(clock.process(impatient())))
    clock.run(until=trip.ended)
    return clock.rig.memory.block.tobytes() + clock.log().tobytes() + repr(clock.happenings).encode()


def test_idle_events_change_no_bit():
    assert drive(0) == drive(200)


def test_integer_ticks_do_not_drift(parked):
    clock = parked()

    def wait():
        for _ in range(36_000):
            yield clock.after(0.1)

    clock.mean(foot_mode=1.0, target_speed=25.0)
    clock.run(until=clock.process(wait()))
    assert clock.now == 360_000
    assert clock.seconds == 3600.0


def test_a_delay_is_at_least_one_tick(parked):
    clock = parked()
    clock.run(until=clock.after(1e-9))
    assert clock.now == 1


def test_a_watch_point_that_is_already_true_fires_at_once(parked):
    clock = parked("grade:0%,100km", "start.speed_km_h=50")
    event = clock.when("state.speed", 10.0)
    clock.run(until=event)
    assert clock.now == 0


def test_a_watch_point_with_a_release_waits_for_it(parked):
    clock = parked("grade:0%,100km", "start.speed_km_h=50")
    clock.mean(foot_mode=1.0, target_speed=8.0, brake_mode=1.0, brake_deceleration=1.0)
    seen = []

    def watcher():
        yield clock.when("state.speed", 10.0, release=9.0)
        seen.append(("up", clock.true("speed")))

    def foot():
        yield clock.when("state.speed", 8.5, falling=True)
        seen.append(("down", clock.true("speed")))
        clock.mean(brake_mode=0.0, target_speed=12.0)

    clock.process(foot())
    clock.run(until=clock.process(watcher()))
    assert [name for name, _ in seen] == ["down", "up"]
    assert seen[1][1] >= 10.0


def test_levels_are_compared_in_the_unit_given(parked):
    """60 mi/h + 5 mi/h is 65 mi/h, and 65 mi/h as a road speed is at the level, not a hair below it."""
    clock = parked("grade:0%,100km", "start.speed_km_h=50")
    clock.rig.memory.state["speed"][0] = 65.0 * MILE_PER_HOUR
    event = clock.when("state.speed", 60.0 + 5.0, scale=1.0 / MILE_PER_HOUR)
    assert event.triggered


def test_watch_points_fire_at_the_first_tick_beyond_the_level(parked):
    clock = parked("grade:-6%,20km,1100m", "start.speed_km_h=50")
    before = []

    def watcher():
        yield clock.when("state.speed", 15.0)
        before.append(clock.true("speed") - clock.true("acceleration") * clock.tick)

    clock.run(until=clock.process(watcher()))
    assert clock.true("speed") >= 15.0 > before[0]


def test_places_and_levels_of_one_tick_keep_their_order(parked):
    clock = parked("grade:0%,100km", "start.speed_km_h=50")
    order = []

    def note(name, event):
        yield event
        order.append((name, clock.now))

    clock.process(note("second place", clock.reach(500.0)))
    clock.process(note("first place", clock.reach(100.0)))
    clock.process(note("same place", clock.reach(500.0)))
    clock.run(until=clock.reach(600.0))
    assert [name for name, _ in order] == ["first place", "second place", "same place"]
    assert order[1][1] == order[2][1]


def test_too_many_watch_points_are_refused_in_words(parked):
    clock = parked()
    with pytest.raises(RunError, match="more than 64 watch points"):
        for level in range(100):
            clock.when("state.speed", 100.0 + level)


def test_the_clock_can_be_advanced_in_slices(parked, bytes_of):
    whole, sliced = parked("grade:-2%,50km,900m"), parked("grade:-2%,50km,900m")
    whole.run(until=5000)
    for until in range(250, 5001, 250):
        sliced.run(until=until)
    assert bytes_of(whole) == bytes_of(sliced)


def test_the_first_of_several_is_the_one_that_happened_and_the_others_are_let_go(parked):
    """A timeout counts as triggered from the moment it is made; it must not be taken for one that is over."""
    clock = parked("grade:-6%,20km,1100m", "start.speed_km_h=50")
    seen = []

    def waiter():
        for _ in range(100):
            slow, fast = clock.after(500.0), clock.when("state.speed", clock.true("speed") + 0.01)
            never = clock.when("state.speed", 1e9)
            event = yield from clock.first(slow, never, fast)
            seen.append(event is fast)

    clock.run(until=clock.process(waiter()))
    assert seen == [True] * 100
    assert clock.seconds < 20.0


def test_a_simpler_event_that_is_already_due_wins_at_once(parked):
    clock = parked("grade:0%,20km", "start.speed_km_h=50")
    seen = []

    def waiter():
        event = yield from clock.first(clock.when("state.speed", 1e9), clock.when("state.speed", 1.0))
        seen.append((clock.now, event.triggered))

    clock.run(until=clock.process(waiter()))
    assert seen == [(0, True)]
