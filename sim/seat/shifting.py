"""How a driver changes gear by clutch pedal, lever and a blip of the accelerator, or by the lever of an automated gearbox."""

import math
from typing import ClassVar

import simpy

from sim.actors.gear_choice import (
    DECLUTCH_ABOVE_IDLE,
    GAINING,
    LIGHT_PEDAL,
    LONGEST_MATCH,
    MATCHED,
    PULLING_ABOVE_IDLE,
    SETTLING,
    SKIPPING_GRADE,
    SPEED_NOTICED,
    GearChoice,
)
from sim.march.clock import Process
from sim.march.records import DOWN, DRIVE, HOLD, NEUTRAL, UP
from sim.march.seat import lever_and_splitter
from sim.roads.falls import DESCENT
from sim.seat.cab import HOLD_ENGINE_SPEED, PEDAL, Cab
from sim.seat.driver import drive_away, gap_by_hand, is_falling
from sim.seat.stalk import wants_cruise
from sim.wording import Finding, finding

ROLLING_AGAIN = 1.0  # m/s, assumed: growth of speed in neutral that calls for a gear
AFTER_A_MISS = 3.0  # s, assumed: until a driver who missed a gear tries again
LIFTED = 0.3  # of the accelerator: from here the clutch may open, and the engine does not race
FOOT_COMES_UP = 0.5  # s, assumed: by then it has
STANDS = 0.1  # m/s: slower counts as standing
GLANCE = 2.0  # s, assumed: between two looks at what is ahead
LEVER_PERIOD = 0.2  # s, assumed: between two movements of the lever of an automated gearbox


class ByHand(GearChoice):
    """A driver with a manual gearbox."""

    senses: ClassVar[dict[str, str]] = {
        "speed": "belief.judged_speed",
        "grade": "state.grade",
        "acceleration": "state.acceleration",
    }
    held_back_rpm = 1500.0  # assumed

    def __init__(self, cab: Cab) -> None:
        super().__init__(cab.trip)
        self.cab = cab

    @property
    def asked_gear(self) -> int:
        """Of the plan for the descent, 0 for any."""
        return self.cab.asked_gear

    @property
    def held_back(self) -> bool:
        """Whether the driver wants to be."""
        return bool(self.cab.retarding)

    @property
    def stopping(self) -> bool:
        """Whether the truck stands, or the driver means it to."""
        return self.cab.standing or "stop" in self.cab.brakes

    @property
    def aimed_speed(self) -> float:
        """What cruise control holds, or the foot. [m/s]"""
        return self.clock.commanded("cruise_target") or self.cab.aim

    def changed(self) -> list[simpy.Event]:
        """The driver has another mind."""
        return [self.cab.changed()]

    def resistance(self, road_speed: float, grade: float) -> float:
        """As it is felt, wind included. [N]"""
        return self.cab.resistance(road_speed, grade)

    def pull_at(self, gear: int, engine_speed: float, *, boosted: bool = True) -> float:
        """As it is known from the road. [N]"""
        return self.cab.pull_at(gear, engine_speed, boosted=boosted)

    def pays(self) -> bool:
        """Not on the last metres before a place where a gear is taken for a descent, nor before cruise control is set in a gear
        that lets it.
        """
        cab, cruise = self.cab, self.trip.settings.cruise
        turning = self.trip.engine_speed(min(int(self.clock.true("gear")) + 1, self.trip.top_gear), cab.aim)
        sets_first = wants_cruise(cruise) and cruise.least_rule == "and" and turning < cruise.si("least_rpm")
        return not cab.soon_slows() and (cab.cruising or not sets_first)

    def refused(self, cause: Finding, gear: int) -> None:
        """Notes a shift that is not made."""
        self.clock.note("shift_refused", cause, gear, "number")

    def run(self) -> Process:
        """Watches engine speed and pedal through a trip."""
        cab, clock = self.cab, self.clock
        while True:
            if cab.standing:
                yield cab.changed()
                if not cab.standing:
                    yield clock.after(SETTLING)
                continue
            gear = int(clock.true("gear"))
            if cab.settings.drill.neutral and is_falling(cab) and not self.stopping:
                yield from self._roll_out_of_gear(gear)
                continue
            if gear == 0:
                yield from self._take_up()
                continue
            wanted = self.for_the_descent(gear)
            if wanted:
                yield from self.shift(*wanted)
                continue
            waits, low, high, idling = self.wanted_now(gear)
            if cab.settings.drill.neutral:
                waits.append(clock.when("state.grade", DESCENT, falling=True, release=DESCENT))
            event = yield from clock.first(*waits)
            if cab.standing:
                continue
            if event is idling:
                yield from self._declutch()
            elif event is low:
                yield from self.shift_down(gear)
            elif event is high:
                yield from self.shift_up(gear)

    # ------------------------------------------------------------ by clutch pedal and lever

    def shift(self, gear: int, cause: Finding) -> Process:
        """Clutch down, neutral, match speeds, engage, clutch up.

        Parameters
        ----------
        gear : int
            Gear to engage.
        cause : Finding
            Why.

        Notes
        -----
        A half shift has no neutral: its button is pressed before the foot comes up, and the lever stays where it is.
        """
        clock, cab, truck = self.clock, self.cab, self.trip.truck
        before = int(clock.true("gear"))
        clock.note("gear_wanted", finding("cause.shift", before=before, gear=gear, why=cause), gear, "number")
        cab.shifting = True
        half = self.is_half(gear)
        lever, splitter = self.places(gear)
        if half:
            clock.mean(hand_splitter=splitter)
        clock.mean(foot_mode=PEDAL, pedal=0.0)
        yield from clock.first(clock.when("controls.accelerator", LIFTED, falling=True), clock.after(FOOT_COMES_UP))
        clock.mean(clutch_mode=0.0, clutch_wanted=1.0)
        yield clock.after(truck.driveline.clutch_open_s)
        if not half:
            clock.mean(hand_lever=0.0, hand_splitter=splitter)
            cab.shifts_tried += 1
        yield from self._match(gear, self.hands_take(gear, self.grade) - truck.driveline.clutch_open_s)
        if not half and cab.shifts_tried == cab.settings.drill.missed_shift:
            missed = finding("cause.shift", before=before, gear=gear, why=finding("cause.gear_did_not_go_in"))
            clock.note("shift_missed", missed, clock.true("speed"), "speed")
            yield clock.after(AFTER_A_MISS)
            gear = self.suitable_gear(self.road_speed, truck.engine.si("low_idle_rpm"), self.grade)
            yield from self._match(gear, clock.tick)
        while (
            self.trip.engine_speed(gear, self.road_speed) > truck.engine.si("governed_rpm")
            and gear < self.trip.top_gear
        ):
            # the truck ran too fast for the gear in the meantime: the next one up, matched anew
            gear += 1
            yield from self._match(gear, clock.tick)
        if cab.standing or self.trip.engine_speed(gear, self.road_speed) < truck.engine.si("low_idle_rpm"):
            clock.mean(hand_lever=0.0)
            self._hands_off()
            slow = finding("cause.shift", before=before, gear=gear, why=finding("cause.too_slow_for_the_gear"))
            clock.note("shift_given_up", slow, clock.true("speed"), "speed")
            return
        lever, splitter = self.places(gear)
        pedal = 0.0 if cab.retarding or cab.brakes or self.grade <= DESCENT else self.cold_pedal()
        clock.mean(hand_lever=lever, hand_splitter=splitter, foot_mode=PEDAL, pedal=pedal, clutch_wanted=0.0)
        yield clock.after(2.0 * clock.tick)
        yield from clock.first(clock.when("state.clutch_locked", 0.5), clock.after(3.0))
        self._hands_off()
        yield clock.after(SETTLING)

    def places(self, gear: int) -> tuple[int, int]:
        """Where lever and splitter belong in a gear."""
        return lever_and_splitter(gear, self.trip.truck.gearbox.split_from)

    def is_half(self, gear: int) -> bool:
        """Whether a gear is the other half of the one that is in: the splitter alone moves."""
        now = int(self.clock.true("gear"))
        return gear != now and self.places(gear)[0] == self.places(now)[0]

    def cold_pedal(self) -> float:
        """As far as cold oil asks for, so that a cold engine does not hold the truck back as the clutch comes up."""
        full = self.clock.true("full_load_torque") + self.clock.true("warm_friction")
        return min(self.trip.cold_drag(self.turning) / max(full, 1.0), 1.0)

    def _hands_off(self) -> None:
        """The shift is over: the right foot is free again."""
        self.cab.shifting = False
        self.cab.think_again()

    def _match(self, gear: int, least: float) -> Process:
        """Brings the engine to the speed of a gear: it falls, or is blipped up."""
        clock = self.clock
        clock.mean(foot_mode=HOLD_ENGINE_SPEED, turning=0.0, turning_ratio=self.trip.engine_speed(gear, 1.0))
        yield clock.after(max(least, 0.05))
        if not self.waits_for_the_engine(self.grade):
            return
        yield from clock.first(clock.when("driver.turning_error", MATCHED, falling=True), clock.after(LONGEST_MATCH))

    def _roll_out_of_gear(self, gear: int) -> Process:
        """Takes the gear out at a descent and puts one in again at its foot: a drill that shows why nobody should."""
        cab, clock = self.cab, self.clock
        if gear:
            clock.mean(clutch_wanted=1.0)
            yield clock.after(cab.truck.driveline.clutch_open_s)
            clock.mean(hand_lever=0.0, clutch_wanted=0.0)
            clock.note("gear_taken_out", finding("cause.rolls_out_of_gear"), clock.true("speed"), "speed")
        level = clock.when("state.grade", 0.5 * DESCENT)
        while not level.triggered and not self.stopping:
            yield from clock.first(level, cab.changed())
            if not level.triggered:
                level = clock.when("state.grade", 0.5 * DESCENT)
        clock.forget(level)
        yield from self._take_up()

    def _declutch(self) -> Process:
        """Opens the clutch before the engine is pulled below idle; not while it is gaining speed, as after a launch."""
        clock = self.clock
        if self.acceleration > GAINING:
            level = self.trip.truck.engine.si("low_idle_rpm") + DECLUTCH_ABOVE_IDLE
            yield from clock.first(
                clock.when("state.acceleration", 0.5 * GAINING, falling=True),
                clock.when("belief.engine_speed", level * SPEED_NOTICED),
            )
            return
        clock.mean(clutch_wanted=1.0)
        clock.note("clutch_opened", finding("cause.near_idle"), clock.true("engine_speed"), "engine speed")
        yield clock.after(self.trip.truck.driveline.clutch_open_s)
        clock.mean(hand_lever=0.0)
        yield clock.after(0.05)

    def _take_up(self) -> Process:
        """From neutral while rolling: waits for a free foot or a truck that gains speed, then takes the gear that suits."""
        clock, cab = self.clock, self.cab
        if cab.brakes or cab.retarding:
            faster = clock.when("belief.judged_speed", self.road_speed + ROLLING_AGAIN)
            yield from clock.first(faster, cab.changed())
        if self.stopping:
            if not cab.standing:
                yield cab.changed()
            return
        road_speed = self.road_speed
        gear = self.held or self.suitable_gear(road_speed, self.down, self.grade)
        idle = self.trip.truck.engine.si("low_idle_rpm")
        if self.trip.engine_speed(gear, road_speed) <= idle + PULLING_ABOVE_IDLE:
            if self.grade >= 0.0 and not cab.brakes:
                yield from clock.first(clock.when("state.speed", STANDS, falling=True), cab.changed())
                if self.stopping or clock.true("speed") > STANDS:
                    return
                yield from drive_away(cab, finding("cause.after_a_lost_gear"))
                yield clock.after(SETTLING)
                return
            faster = (idle + PULLING_ABOVE_IDLE) * road_speed / max(self.trip.engine_speed(gear, road_speed), 1.0)
            yield from clock.first(clock.when("belief.judged_speed", max(faster, road_speed + 0.1)), cab.changed())
            return
        yield from self.shift(gear, finding("cause.gear_for_the_speed"))

    def _pedal_changes(self, gear: int, foot_off: bool) -> list[simpy.Event]:
        """A half shift costs so little that it is thought about whenever the foot comes up somewhat."""
        changes = super()._pedal_changes(gear, foot_off)
        if not foot_off and not self.is_light and self.is_half(gear + 1):
            changes.append(self.clock.when("belief.driver_demand", LIGHT_PEDAL, falling=True, release=LIGHT_PEDAL))
        return changes

    def may_skip(self, gear: int, grade: float) -> bool:
        """Two halves are one gear."""
        lever, splitter = self.places(gear)
        whole = self.places(gear + 2) == (lever + 1, splitter)
        return super().may_skip(gear, grade) or (whole and grade < SKIPPING_GRADE)

    def hands_take(self, gear: int, grade: float) -> float:
        """Hands hurry on a climb; a splitter takes its own time."""
        truck = self.trip.truck
        if self.is_half(gear):
            return truck.driveline.clutch_open_s + truck.gearbox.splitter_s
        return gap_by_hand(self.cab, grade)


def by_the_lever(cab: Cab) -> Process:
    """With an automated gearbox: holds a lower gear on descents by the lever, as the display shows it."""
    clock, drill = cab.clock, cab.settings.drill

    def move(place: int) -> Process:
        clock.mean(hand_lever=place)
        yield clock.after(LEVER_PERIOD)

    while True:
        rolling_out = drill.neutral and is_falling(cab) and not cab.standing and "stop" not in cab.brakes
        limit = int(clock.commanded("gear_limit"))
        if rolling_out:
            yield from move(NEUTRAL)
            yield from clock.first(clock.when("state.grade", 0.5 * DESCENT), cab.changed())
        elif cab.asked_gear and limit != cab.asked_gear and not drill.hold_gear:
            yield from move(HOLD)
            if int(clock.commanded("gear_limit")) != cab.asked_gear:
                yield from move(DOWN if int(clock.commanded("gear_limit")) > cab.asked_gear else UP)
        elif not cab.asked_gear and cab.soon_slows():
            if clock.handled("lever") != HOLD:
                yield from move(HOLD)
            yield from clock.first(cab.changed(), clock.after(GLANCE))
        elif not cab.asked_gear and (limit or clock.handled("lever") != DRIVE):
            yield from move(DRIVE)
        else:
            falls = clock.when("state.grade", DESCENT, falling=True, release=DESCENT)
            glance = [clock.after(GLANCE)] if cab.crest < math.inf else []
            yield from clock.first(cab.changed(), *glance, *([falls] if drill.neutral else []))
            clock.forget(falls)


def gears(cab: Cab) -> Process:
    """The process that changes gear: by hand, or by the lever of an automated gearbox."""
    return by_the_lever(cab) if cab.truck.gearbox.kind == "automated" else ByHand(cab).run()
