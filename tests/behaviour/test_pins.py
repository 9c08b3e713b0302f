"""The controller decides by its pins: engine-brake stage, cruise control and fan, worked out again from the trace of every tick.

Nothing here is known but the trace, the settings, the truck's cooling and the table of interlocks. What an actor commands at one
tick the others see at the next.
"""

import heapq
import math

import numpy as np
import pytest
from shipped import QUICK, SHIPPED, inputs_of

from sim import load_settings, run_trip
from sim.actors.interlocks import interlocks
from sim.march.records import CONTROLS, LOG, PLACES
from sim.march.seat import KEPT_CONTROL, KEPT_TICK
from sim.units import key_to_si

GRIPPING_FOR = 5.0  # s after a slip of the drive wheels
HELD_FOR = 0.5  # s: a button pressed for longer is held
SAME_SPEED = 0.1  # m/s
UNTOUCHED = 0.5 / 4096.0
TOWN = "long-haul-automated on ulmary-town"
COLUMN_OF = {column.place: column.name for column in LOG}


class Pins:
    """The trace of every tick in SI, by the place of its columns, and what is worked out of it again."""

    def __init__(self, result):
        self.result, self.settings, self.truck = result, result.settings, result.truck
        self.tick = result.settings.simulation.tick_s
        ticks = np.rint(result.trace["time_s"] / self.tick)
        assert np.array_equal(np.diff(ticks), np.ones(len(ticks) - 1)), "a tick is missing"
        self.number = len(ticks)

    def column(self, place):
        """What the trace says of a field, named as in the table of interlocks. [SI]"""
        name = COLUMN_OF[PLACES[place]]
        return np.asarray(key_to_si(self.result.trace[name], name))

    def is_on(self, place):
        return self.column(place) > 0.5

    def ticks(self, seconds):
        return max(1, round(seconds / self.tick))


def seen(commanded):
    """What others see of a command: that of the tick before."""
    return np.concatenate((commanded[:1] * 0, commanded[:-1]))


def changes(*bits):
    """The ticks at which one of several switches moves."""
    return (np.flatnonzero(np.any([bit[1:] != bit[:-1] for bit in bits], axis=0)) + 1).tolist()


def highest(settings):
    limits = (settings.cruise.si("most_km_h"), settings.road_speed.si("limit_km_h"))
    return min((limit for limit in limits if limit > 0.0), default=math.inf)


def cruise_set_speeds(pins):
    """The speed held after each tick, from switch, buttons, brake, clutch, gear, engine and road speed. [m/s]"""
    settings = pins.settings.cruise
    switch, brake, clutch, in_gear = (
        pins.is_on(f"belief.{name}") for name in ("cruise_switch", "brake_pressed", "clutch_pressed", "in_gear")
    )
    buttons = {name: pins.is_on(f"belief.{name}_button") for name in ("set", "resume", "cancel")}
    speed, turning = pins.column("belief.road_speed"), pins.column("belief.engine_speed")
    least, top = settings.si("least_speed_km_h"), highest(pins.settings)
    goes_on_above = settings.si("least_speed_km_h" if settings.least_rule == "and" else "resume_km_h") - 2 * SAME_SPEED
    slow = speed <= goes_on_above
    held_back = pins.ticks(HELD_FOR)
    patience = pins.ticks(settings.clutch_s) if settings.clutch_s >= pins.tick else 0
    answer = np.zeros(pins.number)
    checked = dict.fromkeys(("brake", "clutch", "switch"), settings.key_on_check)
    held = stored = 0.0
    button, since, began, turned_off, clutch_since = "", 0, False, False, None

    def allowed(at, lowest):
        if not all(checked.values()) or not switch[at] or brake[at] or clutch[at] or not in_gear[at]:
            return False
        fast, turns = speed[at] >= lowest - SAME_SPEED, turning[at] >= settings.si("least_rpm")
        return (fast or turns) if settings.least_rule == "or" else (fast and turns)

    waiting = [0, *changes(switch, brake, clutch, slow, *buttons.values())]
    while waiting:
        at = heapq.heappop(waiting)
        while waiting and waiting[0] == at:
            heapq.heappop(waiting)
        if at >= pins.number:
            break
        checked["brake"] |= bool(brake[at])
        checked["clutch"] |= bool(clutch[at])
        if switch[at]:
            checked["switch"] |= turned_off
        elif at and switch[at - 1]:
            held, stored, turned_off = 0.0, 0.0, True
        pressed = {name: bool(bit[at]) and not (at and bit[at - 1]) for name, bit in buttons.items()}
        if pressed["cancel"] or brake[at] or slow[at]:
            held = 0.0
        if not clutch[at]:
            clutch_since = None
        elif clutch_since is None:
            clutch_since = at
            heapq.heappush(waiting, at + patience)
        if clutch_since is not None and at - clutch_since >= patience:
            held = 0.0
        if button and not buttons[button][at]:
            if held and at - since > held_back:
                held = stored = min(max(speed[at], least), top)
            elif held and began:
                step = settings.si("tap_km_h") * (1.0 if button == "resume" else -1.0)
                held = stored = min(max(stored + step, least), top)
            button = ""
        for name in ("set", "resume"):
            if pressed[name] and not button:
                button, since, began = name, at, held > 0.0
                if not began and name == "set" and allowed(at, least):
                    held = stored = min(speed[at], top)
                elif not began and name == "resume" and stored and allowed(at, settings.si("resume_km_h")):
                    held = stored
        answer[at:] = held
    return answer


def cruise_stages(pins, held):
    """The stage cruise control calls for after each tick, from the speed it holds and the road speed."""
    settings = pins.settings.cruise
    answer = np.zeros(pins.number)
    if not settings.with_engine_brake:
        return answer
    over = np.round(pins.column("belief.road_speed") * 3.6 - np.round(seen(held) * 3.6, 9), 9)
    comes_in = (settings.stage_1_over_km_h, settings.stage_2_over_km_h, settings.stage_3_over_km_h)
    up, down = (pins.ticks(seconds) for seconds in (settings.stage_up_s, settings.stage_down_s))
    stage, since = 0, -1e9
    for at in np.flatnonzero(seen(held) > 0.0):
        if at and not seen(held)[at - 1]:
            stage = 0
        above = over[at]
        if above <= 0.0:
            stage = 0
        elif stage < 3 and above >= comes_in[stage]:
            if at - since >= up:
                stage, since = stage + 1, at
        elif stage and above <= comes_in[stage - 1] - settings.stage_drop_km_h and at - since >= down:
            stage, since = stage - 1, at
        answer[at] = stage
    return answer


def traction_lost(pins):
    """After each tick: the wheels slip, or have not yet gripped for a while, and the switch was not turned off since."""
    slips, switch = pins.is_on("belief.wheel_slip"), pins.is_on("belief.retarding_switch")
    lost, gripping = np.zeros(pins.number), None
    for at in range(int(np.argmax(slips)) if slips.any() else pins.number, pins.number):
        if slips[at]:
            gripping = None
        elif slips[at - 1]:
            gripping = at
        elif gripping is not None and (
            at - gripping >= pins.ticks(GRIPPING_FOR) or (switch[at - 1] and not switch[at])
        ):
            gripping = None
            continue
        lost[at] = slips[at] or gripping is not None
    return lost


def waits_for_brake(pins, held):
    """After each tick, where it is asked for: the service brake has not called the engine brake since the last demand."""
    waits = np.zeros(pins.number)
    if not pins.settings.retarding.waits_for_brake:
        return waits
    brake = pins.is_on("belief.brake_pressed")
    demand = np.maximum(pins.column("belief.accelerator"), pins.column("belief.cruise_demand")) > UNTOUCHED
    called, cruising = False, seen(held) > 0.0
    for at in range(pins.number):
        turned = at and (demand[at] and not demand[at - 1] if called else brake[at] and not brake[at - 1])
        called = called != turned
        waits[at] = not (called or cruising[at])
    return waits


def engine_brake_stages(pins, held, called):
    """The stage after each tick, from the table of interlocks, the selector and the delays."""
    retarding = pins.settings.retarding
    commands = {
        "command.held_by_cruise": (held > 0.0) & (called == 0),
        "command.waits_for_brake": waits_for_brake(pins, held),
        "command.traction_lost": traction_lost(pins),
    }
    selected = pins.column("belief.selector")
    asked = np.where(seen(held) > 0.0, np.minimum(selected, seen(called)), selected)
    goals = []
    for running in (False, True):
        forbidden = np.zeros(pins.number, dtype=bool)
        for row in interlocks(pins.settings):
            value = seen(commands[row.place]) if row.place in commands else pins.column(row.place)
            level = row.level_on if running else row.level
            forbidden |= value > level if row.above else value < level
        goals.append(np.where(forbidden, 0, asked).astype(int))
    answer, now, at = np.zeros(pins.number), 0, 0
    while True:
        goal = goals[now > 0]
        differs = goal[at:] != now
        if not differs.any():
            return answer
        at += int(np.argmax(differs))
        wanted = goal[at]
        if not wanted:
            delay = retarding.off_delay_s
        else:
            delay = retarding.step_delay_s if now else retarding.on_delay_s
        at += pins.ticks(delay)
        if at >= pins.number:
            return answer
        if goal[at] != now and (goal[at] > now) == (wanted > now):
            now = int(goal[at])
            answer[at:] = now


def fan_states(pins, stages):
    """Whether the fan is on after each tick."""
    cooling = pins.truck.cooling
    coolant = pins.column("belief.coolant_temperature")
    asks = pins.is_on("belief.fan_switch")
    if pins.settings.fan.with_engine_brake:
        asks = asks | (seen(stages) > 0)
    comes_on = asks | (coolant >= cooling.si("fan_on_c"))
    stays_on = asks | (coolant >= cooling.si("fan_off_c"))
    answer, on, at = np.zeros(pins.number), False, 0
    while at < pins.number:
        turn = ~stays_on[at:] if on else comes_on[at:]
        if not turn.any():
            return answer
        at += int(np.argmax(turn))
        on = not on
        answer[at:] = on
        at += pins.ticks(cooling.fan_least_s) if on else 0
    return answer


def check(label, *more):
    """Drives a trip with the trace of every tick and holds what the controller did against what the pins say."""
    inputs = inputs_of(label, *more)
    tick = inputs.settings.simulation.tick_s
    inputs = inputs_of(label, *more, f"simulation.log_s={tick}")
    answer = check_trace(run_trip(inputs.truck, inputs.route, inputs.settings))
    # cruise control does not move the pedal: a second after it has taken over the driver's foot is off, and it asks on its own
    pins, held = answer[:2]
    holds = np.convolve(held > 0.0, np.ones(pins.ticks(1.0)))[: pins.number] >= pins.ticks(1.0)
    holds &= pins.column("controls.clutch_pedal") == 0.0  # a blip in a shift is the foot's own
    assert not pins.column("belief.accelerator")[holds].any()
    return answer


def check_trace(result):
    pins, trace = Pins(result), result.trace
    held = cruise_set_speeds(pins)
    called = cruise_stages(pins, held)
    stages = engine_brake_stages(pins, held, called)
    fan = fan_states(pins, stages)
    told = trace["set_speed_m_s"]
    # a row is written before the tick is decided about, one that an event wrote in the midst of it
    at_event = np.isin(trace["time_s"], [event["time_s"] for event in result.events])
    agrees = np.isclose(told, seen(held), rtol=0, atol=1e-12) | (at_event & np.isclose(told, held, rtol=0, atol=1e-12))
    for what, wrong in (
        ("set speed", ~agrees),
        ("engine-brake stage", trace["brake_stage"] != stages),
        ("fan", trace["fan_on"] != fan),
        ("pedal", trace["believed_accelerator_percent"] != trace["accelerator_percent"]),
    ):
        rows = np.flatnonzero(wrong)
        assert not len(rows), f"{what}: {len(rows)} of {pins.number} rows, first at {trace['time_s'][rows[0]]:.2f} s"
    print(f"{pins.number} rows compared: {len(changes(stages))} stage changes, {len(changes(held))} of the set speed")
    return pins, held, stages, fan


@pytest.mark.parametrize("label", [*QUICK, TOWN])
def test_stage_cruise_fan_and_pedal_are_what_the_pins_say(label):
    check(label)


@pytest.mark.slow
@pytest.mark.parametrize("label", SHIPPED)
def test_on_every_shipped_trip_stage_cruise_fan_and_pedal_are_what_the_pins_say(label):
    check(label)


def played_with(label, seed, *more):
    """A shipped trip driven by its recording, in which somebody plays with switches, buttons, selector and pedals."""
    inputs = inputs_of(label, "simulation.log_s=0.01", *more)
    own = run_trip(inputs.truck, inputs.route, inputs.settings, keeps=True)
    random = np.random.default_rng(seed)
    names = [control.name for control in CONTROLS]
    last, rows = own.controls[-1, KEPT_TICK], []
    for name, pause, shortest, longest in PLAY:
        rows += [row for row in own.controls.tolist() if row[KEPT_CONTROL] == names.index(name) and row[KEPT_TICK] == 0]
        at = 100 * random.exponential(pause)
        while at < last:
            for moment, value in ((at, 1.0), (at + 100 * random.uniform(shortest, longest), 0.0)):
                if name == "engine_brake_selector":
                    value = float(random.integers(1, 4))
                elif name == "brake_pedal":
                    value *= 0.25
                rows.append([2.0 * math.floor(moment / 2.0), names.index(name), value])
            at = moment + 100 * random.exponential(pause)
    played = {names.index(name) for name, *_ in PLAY}
    rows += [row for row in own.controls.tolist() if row[KEPT_CONTROL] not in played]
    feed = np.array(sorted(rows, key=lambda row: row[KEPT_TICK]))
    return run_trip(inputs.truck, inputs.route, inputs.settings, feed=feed)


# control, mean pause between two presses, shortest and longest press [s]
PLAY = (
    ("engine_brake_switch", 4.0, 0.5, 60.0),
    ("engine_brake_selector", 20.0, 1.0, 20.0),
    ("cruise_switch", 0.5, 20.0, 200.0),
    ("set_coast", 8.0, 0.1, 1.5),
    ("resume_accelerate", 8.0, 0.1, 3.0),
    ("cruise_cancel", 30.0, 0.1, 0.6),
    ("fan_switch", 60.0, 1.0, 60.0),
    ("clutch_pedal", 20.0, 0.1, 7.0),
    ("brake_pedal", 40.0, 0.5, 4.0),
)


def check_played(truck, seed):
    pins, held, stages, _ = check_trace(played_with(f"{truck} on wendle-hills", seed))
    assert pins.number > 10_000 and len(changes(held)) > 3 and len(changes(stages)) >= 2


def test_so_they_are_whatever_somebody_plays_with():
    check_played("long-haul-manual", 1)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("truck", ["long-haul-manual", "long-haul-automated"])
def test_so_they_are_whatever_somebody_plays_with_for_long(truck, seed):
    check_played(truck, seed)


@pytest.mark.parametrize(
    ("control", "at", "until", "cancelled"),
    [
        ("cruise_cancel", 400, 430, 400),  # in the midst of a shift
        ("cruise_switch", 110, 9999, 110),  # while a finger is still on the button
        ("brake_pedal", 400, 500, 400),
        ("clutch_pedal", 300, 790, None),  # for less than the time allowed
        ("clutch_pedal", 300, 810, 800),
    ],
)
def test_whatever_ends_it_ends_it_at_once(control, at, until, cancelled):
    names = [each.name for each in CONTROLS]
    settings = load_settings(None, ["start.speed_km_h=80", "simulation.log_s=0.01"])
    road = "grade:0%,0.3km"
    first = run_trip("long-haul-manual", road, settings, keeps=True).controls[: len(CONTROLS)]
    moves = [(100, "set_coast", 1), (130, "set_coast", 0), (300, "clutch_pedal", 1), (500, "clutch_pedal", 0)]
    moves = [move for move in moves if move[1] != control]
    other = control == "cruise_switch"
    moves += [(at, control, 0.0 if other else 1.0), (until, control, 1.0 if other else 0.0)]
    rows = sorted((tick, names.index(name), value) for tick, name, value in moves)
    _, held, *_ = check_trace(run_trip("long-haul-manual", road, settings, feed=np.vstack((first, rows))))
    held = held[1:]  # what is done at a tick stands in the row of its end
    assert held[100] > 20.0
    assert (int(np.argmin(held[100:])) + 100 if not held[-1] else None) == cancelled


@pytest.mark.slow
@pytest.mark.parametrize(
    ("label", "more"),
    [
        ("lesson-gear", ("retarding.waits_for_brake=true",)),
        ("mountain-in-seventh", ("weather.grip=0.12",)),
        ("mountain-in-seventh", ("start.oil_temperature_c=20", "start.coolant_temperature_c=20")),
        (
            "long-haul-automated on wendle-hills",
            ("cruise.set_speed_km_h=80", "cruise.stage_1_over_km_h=1", "cruise.stage_2_over_km_h=2",
             "cruise.stage_3_over_km_h=3", "cruise.stage_drop_km_h=0.6", "simulation.tick_s=0.02"),
        ),
    ],
)  # fmt: skip
def test_so_they_are_with_other_settings(label, more):
    check(label, *more)
