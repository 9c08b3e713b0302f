"""One visit to the yard: key on with the engine at rest, idle, every switch and pedal moved, a snap of the pedal, plugs off."""

from typing import Any

from sim.actors.diagnosis import lamp_of
from sim.actors.underway import Underway
from sim.inputs.sensors import SENSORS
from sim.inputs.specs import PAIRS
from sim.march.clock import Clock
from sim.march.meter import Look, wire_check
from sim.march.plant import working_cylinders
from sim.units import REVOLUTION_PER_MINUTE

WARMING = 45.0  # s of idle, in which a loose plug shows
SNAP = 8.0  # s at full pedal in neutral
MOVED = 2.0  # s a switch or pedal is held for the meter
SAMPLE = 0.5  # s
SETTLED = 10  # samples at idle before a signal that wanders is loose
SWITCHES = ("engine_brake_switch", "cruise_switch", "set_coast", "resume_accelerate", "fan_switch")
A_PRESS = 0.16  # of the brake pedal


class Visit:
    """A parked truck with somebody in its cab. What is found is in SI; a pair of a sensor is its signal and what is true."""

    def __init__(self, clock: Clock, trip: Underway) -> None:
        self.clock, self.trip = clock, trip
        self.parameters, self.memory = clock.rig.parameters, clock.rig.memory

    def found(self) -> dict[str, Any]:
        """Everything the visit shows, by name; it can be made once."""
        found = self._at_rest() | self._idling() | self._moved() | self._snapped() | self._unplugged()
        self.clock.release()
        return found

    def _let(self, seconds: float) -> None:
        """Lets time pass."""
        self.clock.run(until=int(self.clock.now) + max(1, round(seconds / self.clock.tick)))

    def _signals(self) -> dict[str, float]:
        """What every pin carries now."""
        seen = Look(self.memory, self.parameters)
        return {key: seen.signal(key) for key in SENSORS}

    def _pairs(self, memory: Any = None) -> dict[str, tuple[float, float]]:
        """Signal and truth of every sensor, now or of another memory."""
        seen = Look(memory or self.memory, self.parameters)
        return {key: (seen.signal(key), seen.true(key)) for key in SENSORS}

    def _rpm(self) -> float:
        """Engine speed. [rpm]"""
        return self.clock.true("engine_speed") / REVOLUTION_PER_MINUTE

    def _at_rest(self) -> dict[str, Any]:
        """Key on, engine not turning."""
        self._let(4 * self.clock.tick)
        rest = self.memory._replace(state=self.memory.state.copy())
        rest.state["engine_speed"] = 0.0
        rest.state["manifold_pressure"] = rest.state["ambient_pressure"]
        return {"rest": self._pairs(rest)}

    def _idling(self) -> dict[str, Any]:
        """Idle long enough for a loose plug to show, and what the controller says after it."""
        clock, belief = self.clock, self.memory.belief
        samples: list[dict[str, float]] = []
        for _ in range(round(WARMING / SAMPLE)):
            self._let(SAMPLE)
            samples.append(self._signals())
        settled = {key: [sample[key] for sample in samples[SETTLED:]] for key in SENSORS}
        called = clock.commanded("fan") > 0.5
        fan_share = 1.0 if called else float(self.parameters["fan_idle_share"][0])
        codes = [code.summary() for code in self.trip.codes.values()]
        return {
            "idle": self._pairs(),
            "between": {key: (min(values), max(values)) for key, values in settled.items()},
            "believed": {key: float(belief[SENSORS[key].believed][0]) for key in SENSORS},
            "idle_rpm": self._rpm(),
            "fan_rpm": clock.true("engine_speed") * fan_share / REVOLUTION_PER_MINUTE,
            "fan_called": called,
            "codes": codes,
            "lamp": lamp_of(codes),
            "starts": not self.trip.shut_down,
        }

    def _moved(self) -> dict[str, Any]:
        """Every switch and pedal pressed and let go, then the selector through its places."""
        self.clock.handle(clutch_pedal=1.0, brake_pedal=A_PRESS, **dict.fromkeys(SWITCHES, 1.0))
        self._let(MOVED)
        pressed = self._signals()
        self.clock.handle(clutch_pedal=0.0, brake_pedal=0.0, **dict.fromkeys(SWITCHES, 0.0))
        self._let(MOVED)
        released = self._signals()
        moved = {key: (released[key], pressed[key]) for key, sensor in SENSORS.items() if sensor.kind == "switch"}
        places = []
        for position in (1.0, 2.0, 3.0):
            self.clock.handle(engine_brake_selector=position)
            self._let(0.1)
            places.append(Look(self.memory, self.parameters).signal("selector"))
        return {"moved": moved, "selector": places}

    def _snapped(self) -> dict[str, Any]:
        """The pedal to the floor in neutral, and held there."""
        self.clock.handle(accelerator=1.0)
        peak = 0.0
        for _ in range(round(SNAP / 0.02)):
            self._let(0.02)
            peak = max(peak, self._rpm())
        return {"high_idle_rpm": self._rpm(), "peak_rpm": peak, "revved": self._pairs()}

    def _unplugged(self) -> dict[str, Any]:
        """Plugs off: wires measured, and one pair of the engine brake after the other energised by hand."""
        wires = {key: wire_check(key, self.parameters) for key in SENSORS}
        solenoids = {}
        for pair in PAIRS:
            self.clock.set(**{f"pair_{other}": float(other == pair) for other in PAIRS})
            works = float(working_cylinders(self.memory.command[0], self.parameters[0]))
            solenoids[pair] = ("open" if pair in self.trip.open_solenoids else "flows", works)
        return {"wires": wires, "solenoids": solenoids}
