"""Cruise control: what its buttons do, what refuses and what cancels it, the stages it calls in, and how a driver uses it."""

from collections.abc import Callable

import simpy

from sim.actors.scene import Scene, highest_set_speed
from sim.laws.foot import overspeed_stage
from sim.march.clock import Process
from sim.units import KILOMETRE_PER_HOUR
from sim.wording import Finding, finding

PER_HOUR = 1.0 / KILOMETRE_PER_HOUR  # a speed in m/s times this is in km/h, the unit of the settings
TRIES_AGAIN_S = 1.5  # s, assumed: a driver tries the button again no sooner
NEAR_BELOW = 0.5  # m/s, assumed: the driver presses set this close below the speed wanted
NEAR_ABOVE = 0.6  # m/s, assumed: or this close above
SAME_SPEED = 0.1  # m/s: closer speeds count as the same


class Cruise:
    """The logic between the buttons and the accelerator. It believes what its sensors and switches tell it.

    Notes
    -----
    Semantics of the buttons, of what cancels and of the key-on check: common practice, no source.
    """

    def __init__(self, scene: Scene) -> None:
        self.scene, self.clock, self.settings = scene, scene.clock, scene.settings.cruise
        self.memory = 0.0  # m/s, the stored speed
        self.switch = self.settings.switch
        checked = self.settings.key_on_check
        self.braked = self.clutched = self.cycled = checked
        self.turned_off = False

    def refusal(self, least_speed: float) -> Finding | None:
        """Why a speed cannot be set or resumed now, None when it can.

        Parameters
        ----------
        least_speed : float
            Lowest road speed for what is asked. [m/s]
        """
        clock, settings = self.clock, self.settings
        if not self.switch or not self.scene.is_on("cruise_switch"):
            return finding("cause.cruise_switch_off")
        if "cruise" in self.scene.refusals:
            return self.scene.refusals["cruise"]
        missing = [
            what
            for what, seen in (
                (finding("cause.brake_not_pressed"), self.braked),
                (finding("cause.clutch_not_pressed"), self.clutched),
                (finding("cause.switch_not_cycled"), self.cycled),
            )
            if not seen
        ]
        if missing:
            return finding("cause.key_on_check", missing=missing)
        if clock.believed("brake_pressed") > 0.5:
            return finding("cause.service_brake_pressed")
        if clock.believed("clutch_pressed") > 0.5:
            return finding("cause.clutch_pressed")
        if clock.believed("in_gear") < 0.5:
            return finding("cause.neutral")
        speed, turning = clock.believed("road_speed"), clock.believed("engine_speed")
        slow, low = speed < least_speed - SAME_SPEED, turning < settings.si("least_rpm")
        if (slow and low) if settings.least_rule == "or" else (slow or low):
            told = {"speed": speed, "turning": turning}
            needs = {"least_speed": least_speed, "least_turning": settings.si("least_rpm")}
            if settings.least_rule == "or":
                return finding("cause.needs_speed_or_rpm", **told, **needs)
            return finding("cause.needs_speed_and_rpm", **told, **needs)
        return None

    def run(self) -> Process:
        """Answers buttons, brake, clutch and speed through a trip."""
        clock, scene = self.clock, self.scene
        while True:
            calls: dict[simpy.Event, Callable[[], Process | None]] = {scene.button(): self._buttons}
            if not self.braked:
                calls[clock.when("belief.brake_pressed", 0.5)] = self._saw_brake
            if not self.clutched:
                calls[clock.when("belief.clutch_pressed", 0.5)] = self._saw_clutch
            if scene.cruising:
                strict = self.settings.least_rule == "and"
                least = self.settings.si("least_speed_km_h" if strict else "resume_km_h") - 2.0 * SAME_SPEED
                calls[clock.when("belief.brake_pressed", 0.5)] = lambda: self.cancel(finding("cause.service_brake"))
                calls[clock.when("belief.road_speed", least, falling=True)] = lambda: self.cancel(
                    finding("cause.road_speed_too_low")
                )
                calls[clock.when("belief.clutch_pressed", 0.5)] = self._clutch
            event = yield from clock.first(*calls)
            process = calls[event]()
            if process is not None:
                yield from process

    def _saw_brake(self) -> None:
        """The brake switch works: one of the three things wanted since the key was turned."""
        self.braked = True

    def _saw_clutch(self) -> None:
        """The clutch switch works."""
        self.clutched = True

    def _clutch(self) -> Process:
        """Holds on through a shift, or cancels at once, as programmed."""
        clock, patience = self.clock, self.settings.clutch_s
        if patience < clock.tick:
            self.cancel(finding("cause.clutch"))
            return
        up = clock.when("belief.clutch_pressed", 0.5, falling=True)
        brake = clock.when("belief.brake_pressed", 0.5)
        late = clock.after(patience)
        event = yield from clock.first(up, brake, self.scene.button(), late)
        if event is late:
            self.cancel(finding("cause.clutch_open_for", time=patience))

    def cancel(self, cause: Finding) -> None:
        """Gives the accelerator back; the stored speed stays."""
        if self.scene.cruising:
            self.clock.record("cruise_cancelled", cause, self.memory, "speed")
            self.scene.hold_set_speed(0.0)

    def _hold(self, speed: float, event: str, cause: Finding) -> None:
        """Stores a speed and holds it."""
        self.memory = min(speed, highest_set_speed(self.scene.settings))
        if self.memory < speed - SAME_SPEED:
            cause = finding("cause.bounded", cause=cause)
        self.scene.hold_set_speed(self.memory)
        self.clock.record(event, cause, self.memory, "speed")

    def _buttons(self) -> Process | None:
        """Carries out the buttons pressed."""
        while (pressed := self.scene.next_button()) is not None:
            button, speed = pressed
            if button in ("accelerate", "coast") and self.scene.cruising:
                return self._held(button)
            self._button(button, speed)
        return None

    def _button(self, button: str, tuned: float) -> None:
        """One button that is pressed and let go."""
        scene, settings = self.scene, self.settings
        here = self.clock.believed("road_speed")
        if button == "off":
            self.cancel(finding("cause.cruise_switch_off"))
            self.switch, self.turned_off, self.memory = False, True, 0.0
        elif button == "on":
            self.switch, self.cycled = True, self.cycled or self.turned_off
        elif button == "cancel":
            self.cancel(finding("cause.button", button="cancel"))
        elif button == "controller":
            self.cancel(self.scene.refusals.get("cruise") or finding("cause.cruise_switch_off"))
        elif button == "release":
            pass
        elif scene.cruising and button in ("tap up", "tap down"):
            step = settings.si("tap_km_h") * (1.0 if button == "tap up" else -1.0)
            self._hold(
                max(self.memory + step, settings.si("least_speed_km_h")),
                "cruise_set",
                finding("cause.button", button=button),
            )
        elif button in ("set", "coast"):
            reason = self.refusal(settings.si("least_speed_km_h"))
            if reason:
                self.clock.record(
                    "cruise_refused", finding("cause.button_refused", button=button, why=reason), here, "speed"
                )
            else:
                self._hold(tuned or here, "cruise_set", finding("cause.button", button="set"))
        else:
            stored = self.memory > 0.0
            reason = self.refusal(settings.si("resume_km_h")) if stored else finding("cause.no_speed_stored")
            if reason:
                self.clock.record(
                    "cruise_refused", finding("cause.button_refused", button=button, why=reason), here, "speed"
                )
            elif not scene.cruising:
                self._hold(self.memory, "cruise_resumed", finding("cause.button", button=button))

    def _held(self, button: str) -> Process:
        """Accelerates, or lets the truck roll out, as long as the button is held; then stores the speed there is."""
        scene, clock = self.scene, self.clock
        up = button == "accelerate"
        aimed = highest_set_speed(self.scene.settings) if up else self.settings.si("least_speed_km_h")
        clock.set(target_speed=min(aimed, 200.0 * KILOMETRE_PER_HOUR))
        brake = clock.when("belief.brake_pressed", 0.5)
        event = yield from clock.first(brake, scene.button())
        if event is brake:
            self.cancel(finding("cause.service_brake"))
            return
        pressed = scene.next_button()
        if pressed and pressed[0] in ("cancel", "controller"):
            self._button(*pressed)
            return
        speed = (pressed[1] if pressed else 0.0) or clock.believed("road_speed")
        self._hold(
            max(speed, self.settings.si("least_speed_km_h")),
            "cruise_set",
            finding("cause.button_let_go", button=button),
        )


def cruise_actors(scene: Scene) -> tuple[Process, ...]:
    """Everybody who has to do with cruise control, in the order within a tick; nobody where it is never touched."""
    if not (wants_cruise(scene) or scene.settings.cruise.presses):
        return ()
    return (stalk(scene), use_cruise(scene), cruise_control(scene), overspeed_stages(scene))


def cruise_control(scene: Scene) -> Process:
    """The process of the cruise-control logic."""
    return Cruise(scene).run()


def overspeed_stages(scene: Scene) -> Process:
    """Calls the engine brake in by stages as the truck runs above the set speed, and lets it go in order.

    Notes
    -----
    Compared in km/h, the unit of the settings, so that a threshold is met exactly as entered.
    """
    clock, cruise = scene.clock, scene.settings.cruise
    thresholds = (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h)
    since = -1.0e9
    while True:
        stage = scene.cruise_stage
        if not (scene.cruising and cruise.with_engine_brake):
            scene.call_stage(0)
            yield scene.changed()
            continue
        held = round(clock.commanded("set_speed") * PER_HOUR, 9)
        goal = overspeed_stage(
            float(stage), clock.believed("road_speed") * PER_HOUR, held, *thresholds, cruise.stage_drop_km_h
        )
        comes_in = held + thresholds[min(stage, 2)]  # the next stage, and goes out: this one
        goes_out = held + thresholds[max(stage - 1, 0)] - cruise.stage_drop_km_h
        calls = [scene.changed()]
        if stage:
            calls.append(clock.when("belief.road_speed", held, falling=True, scale=PER_HOUR))
        if goal != stage:
            shortest = cruise.stage_up_s if goal > stage else cruise.stage_down_s
            left = since + shortest - clock.seconds if goal else 0.0
            if left < 0.5 * clock.tick:
                since = clock.seconds
                clock.forget(*calls)
                scene.call_stage(stage + 1 if goal > stage else (stage - 1 if goal else 0))
                continue
            calls.append(clock.after(left))
            # it may come back before the time is over
            back = goal > stage
            level = comes_in if back else goes_out
            calls.append(clock.when("belief.road_speed", level, falling=back, scale=PER_HOUR, release=level))
        else:
            if stage < 3:
                calls.append(clock.when("belief.road_speed", comes_in, scale=PER_HOUR))
            if stage:
                calls.append(clock.when("belief.road_speed", goes_out, falling=True, scale=PER_HOUR))
        yield from clock.first(*calls)


def stalk(scene: Scene) -> Process:
    """Presses the buttons that the settings name, at their places."""
    for place, button, held in scene.settings.cruise.places():
        yield scene.clock.reach(place)
        scene.press(button)
        if held:
            yield scene.clock.after(held)
            scene.press("release")


def wants_cruise(scene: Scene) -> bool:
    """Whether the driver means to use cruise control wherever the road allows it."""
    cruise = scene.settings.cruise
    return cruise.switch and cruise.set_speed_km_h > 0.0


def use_cruise(scene: Scene) -> Process:
    """The driver who sets cruise control whenever the speed aimed for is reached, and again after it was cancelled."""
    if not wants_cruise(scene):
        return
    while True:
        if scene.standing or scene.brakes or scene.retarding:
            yield scene.changed()
        elif scene.cruising:
            yield from _follow_the_aim(scene)
        else:
            yield from _set_when_near(scene)


def _set_when_near(scene: Scene) -> Process:
    """Presses set once the truck is close to the speed aimed for."""
    clock, cruise = scene.clock, scene.settings.cruise
    aim, here = scene.aim, clock.believed("road_speed")
    if aim < cruise.si("least_speed_km_h") - SAME_SPEED:
        yield scene.changed()
        return
    if here < aim - NEAR_BELOW:
        yield from clock.first(clock.when("belief.road_speed", aim - NEAR_BELOW), scene.changed())
        return
    if here > aim + NEAR_ABOVE:
        yield from clock.first(clock.when("belief.road_speed", aim + NEAR_ABOVE, falling=True), scene.changed())
        return
    if clock.believed("clutch_pressed") > 0.5:
        yield from clock.first(clock.when("belief.clutch_pressed", 0.5, falling=True), scene.changed())
        return
    scene.press("set", aim)
    yield clock.after(clock.tick)
    if not scene.cruising:
        # refused: no use trying before something is different
        faster = clock.when("belief.engine_speed", cruise.si("least_rpm"), release=cruise.si("least_rpm"))
        yield from clock.first(faster, clock.after(60.0))
        yield clock.after(TRIES_AGAIN_S)


def _follow_the_aim(scene: Scene) -> Process:
    """Brings the set speed to the speed aimed for when that has changed."""
    clock = scene.clock
    held = clock.commanded("set_speed")
    if scene.aim > held + SAME_SPEED and held < highest_set_speed(scene.settings) - SAME_SPEED:
        scene.press("accelerate")
        there = clock.when("belief.road_speed", scene.aim - SAME_SPEED)
        event = yield from clock.first(there, scene.changed())
        if event is there:
            scene.press("set", scene.aim)
            yield clock.after(clock.tick)
        else:
            scene.press("release")
            yield clock.after(clock.tick)
    elif scene.aim < held - SAME_SPEED:
        scene.press("set", scene.aim)
        yield clock.after(clock.tick)
    else:
        yield scene.changed()


def service_brake_latch(scene: Scene) -> Process:
    """Where the settings ask for it: the service brake calls the engine brake in, the accelerator lets it go."""
    clock = scene.clock
    if not scene.settings.retarding.waits_for_brake:
        return
    while True:
        yield clock.when("belief.brake_pressed", 0.5)
        scene.latch(True)
        yield clock.when("belief.accelerator", 0.001)
        scene.latch(False)
        yield clock.when("belief.brake_pressed", 0.5, falling=True)
