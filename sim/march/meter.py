"""A meter on any sensor or switch at any time: what is true, what the pin carries, what the controller believes.

`read_meter` looks without touching: it works on a truck in a trip and on an engine held on a dyno alike. The curves of the
sensors are read forwards (`pin_of`) and backwards (`value_at`) by the same laws the controller uses.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from sim.inputs.sensors import (
    OPEN,
    SENSORS,
    SHORTED_HIGH,
    SHORTED_LOW,
    SWAPPED_WITH,
    Sensor,
)
from sim.laws.engine_fluids import fuel_temperature
from sim.laws.sensing import (
    contact_voltage,
    ratiometric_share,
    ratiometric_voltage,
    tone_wheel_frequency,
    tone_wheel_speed,
)
from sim.march.controller import look, thermistor_pin, thermistor_reading
from sim.march.records import BELIEF_TYPE, Memory
from sim.units import MILE, from_si

OPENS_WHEN_PRESSED = ("clutch_switch", "brake_switch")
WIRE = 0.2  # ohm, assumed: a sound wire, or one that touches another
NOTHING = float("inf")  # ohm: no way through


class Reading(NamedTuple):
    """What a meter and a scan of the controller show of one part."""

    true: float  # SI
    signal: float  # V or Hz
    signal_unit: str
    believed: float  # SI


def pin_of(key: str, value: float, parameters: np.ndarray) -> float:
    """What the pin of a sound circuit carries for a value.

    Parameters
    ----------
    key : str
        Key of a sensor or switch.
    value : float
        What is measured; 1 for on or pressed. [SI]
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    signal : float
        [V or Hz]
    """
    p, kind = parameters[0], SENSORS[key].kind
    supply = float(p["sensor_supply"])
    if kind == "thermistor":
        return float(thermistor_pin(value, *_thermistor(p), supply))
    if kind in ("pressure", "level", "pedal"):
        low, high, full = _ends(key, p)
        return float(ratiometric_voltage(value / full, low, high, supply))
    if kind == "wheel":
        if key == "road_speed":
            return abs(value) * float(p["fitted_pulses"]) / MILE
        return float(tone_wheel_frequency(value if key == "crank" else 0.5 * value, float(p[f"{key}_teeth"])))
    if kind == "ladder":
        return supply * float(p["selector_low"] + p["selector_step"] * value)
    if kind == "key":
        return float(p["battery"]) * value  # of a key that is dialled: from the battery alone
    return float(contact_voltage(1.0 - value if key in OPENS_WHEN_PRESSED else value, supply))


def value_at(key: str, signal: float, parameters: np.ndarray) -> float:
    """What the controller makes of a signal, before any test of it.

    Parameters
    ----------
    key : str
        Key of a sensor.
    signal : float
        [V or Hz]
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    value : float
        [SI]
    """
    return reader(key, parameters)(signal)


def reader(key: str, parameters: np.ndarray) -> Callable[[float], float]:
    """The programmed curve of a sensor read backwards, its numbers looked up once.

    Parameters
    ----------
    key : str
        Key of a sensor.
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    curve : callable
        From a signal in V or Hz to a value. [SI]
    """
    p, kind = parameters[0], SENSORS[key].kind
    supply = float(p["sensor_supply"])
    if kind == "thermistor":
        at_25, beta, pull_up = _thermistor(p)
        return lambda signal: float(thermistor_reading(signal, at_25, beta, pull_up, supply))
    if kind in ("pressure", "level", "pedal"):
        low, high, full = _ends(key, p)
        return lambda signal: float(ratiometric_share(signal, low, high, supply)) * full
    if key == "road_speed":
        per_pulse = MILE / float(p["programmed_pulses"])
        return lambda signal: signal * per_pulse
    if kind == "wheel":
        teeth, turns = float(p[f"{key}_teeth"]), 1.0 if key == "crank" else 2.0
        return lambda signal: turns * float(tone_wheel_speed(signal, teeth))
    if kind == "ladder":
        first, step = float(p["selector_low"]), float(p["selector_step"])
        return lambda signal: (signal / supply - first) / step
    level = 0.5 * (float(p["battery"]) if kind == "key" else supply)
    high_means = kind == "key" or key in OPENS_WHEN_PRESSED
    return lambda signal: 1.0 if (signal > level) == high_means else 0.0


def _ends(key: str, p: np.void) -> tuple[float, float, float]:
    """Shares of the supply between which a three-wire sensor works, and its full scale."""
    name = "pedal" if key == "pedal" else "pressure"
    full = float(p[f"{key}_full_scale"]) if SENSORS[key].kind == "pressure" else 1.0
    return float(p[f"{name}_low"]), float(p[f"{name}_high"]), full


def _thermistor(p: np.void) -> tuple[float, float, float]:
    """Curve of the thermistors and the resistor they are read through."""
    return float(p["thermistor_25"]), float(p["thermistor_beta"]), float(p["thermistor_pull_up"])


# what is true of each part, from state, controls, parameters and what a sound controller believes; oil pressure is worked out
_TRUE: dict[str, Callable[..., Any]] = {
    "boost": lambda s, k, p, sound: s["manifold_pressure"],
    "barometer": lambda s, k, p, sound: s["ambient_pressure"],
    "coolant": lambda s, k, p, sound: s["coolant_temperature"],
    "fuel_temperature": lambda s, k, p, sound: fuel_temperature(
        float(s["ambient_temperature"]), float(s["coolant_temperature"]), float(p["fuel_warming"])
    ),
    "intake": lambda s, k, p, sound: s["intake_temperature"],
    "oil": lambda s, k, p, sound: s["oil_temperature"],
    "coolant_level": lambda s, k, p, sound: p["coolant_fill"],
    "pedal": lambda s, k, p, sound: k["accelerator"],
    "crank": lambda s, k, p, sound: s["engine_speed"],
    "cam": lambda s, k, p, sound: s["engine_speed"],
    "road_speed": lambda s, k, p, sound: s["speed"],
    "clutch_switch": lambda s, k, p, sound: sound["clutch_pressed"],
    "brake_switch": lambda s, k, p, sound: sound["brake_pressed"],
    "retarding_switch": lambda s, k, p, sound: k["engine_brake_switch"],
    "selector": lambda s, k, p, sound: k["engine_brake_selector"],
    "cruise_switch": lambda s, k, p, sound: k["cruise_switch"],
    "set_button": lambda s, k, p, sound: k["set_coast"],
    "resume_button": lambda s, k, p, sound: k["resume_accelerate"],
    "fan_switch": lambda s, k, p, sound: k["fan_switch"],
    "key": lambda s, k, p, sound: k["ignition"],
}


class Look:
    """Every sensor and switch at one instant.

    Parameters
    ----------
    memory : Memory
        The records. [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    """

    def __init__(self, memory: Memory, parameters: np.ndarray) -> None:
        self._memory, self._parameters = memory, parameters
        self._sound = np.zeros(1, dtype=BELIEF_TYPE)
        self._seen = np.zeros(1, dtype=BELIEF_TYPE)
        self._oil_pressure = 0.0
        self.again()

    def again(self) -> None:
        """Looks once more, now."""
        memory = self._memory
        moved = (memory.command, memory.controls, memory.driver)
        seen = look(memory.state, self._sound, self._seen, *moved, self._parameters)
        self._oil_pressure = float(seen)

    def true(self, key: str) -> float:
        """What is true of a part.

        Parameters
        ----------
        key : str
            Key of a sensor or switch.

        Returns
        -------
        value : float
            [SI]
        """
        if key == "oil_pressure":
            return self._oil_pressure
        return float(_TRUE[key](self._memory.state[0], self._memory.controls[0], self._parameters[0], self._sound[0]))

    def signal(self, key: str) -> float:
        """What the pin of a part carries.

        Parameters
        ----------
        key : str
            Key of a sensor or switch.

        Returns
        -------
        signal : float
            [V or Hz]
        """
        return float(self._seen[f"{key}_signal"][0])

    def reading(self, key: str) -> Reading:
        """What meter and scan show of a part.

        Parameters
        ----------
        key : str
            Key of a sensor or switch.

        Returns
        -------
        reading : Reading
            [SI]
        """
        sensor = SENSORS[key]
        return Reading(self.true(key), self.signal(key), signal_unit(sensor), float(self._seen[sensor.believed][0]))


def signal_unit(sensor: Sensor) -> str:
    """Unit of the signal of a part.

    Returns
    -------
    unit : str
        v or hz.
    """
    return "hz" if sensor.kind == "wheel" else "v"


def read_meter(memory: Memory, parameters: np.ndarray, key: str) -> Reading:
    """Puts a meter on one part.

    Parameters
    ----------
    memory : Memory
        State, belief and command of a trip or of a dyno run. [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    key : str
        Key of a sensor or switch.

    Returns
    -------
    reading : Reading
        [SI]
    """
    return Look(memory, parameters).reading(key)


def columns(key: str) -> tuple[str, str, str]:
    """Names of the three columns of a meter: true, signal, believed.

    Parameters
    ----------
    key : str
        Key of a sensor or switch.

    Returns
    -------
    names : tuple of str
        Unit at the end.

    Examples
    --------
    >>> columns("coolant")
    ('coolant_true_c', 'coolant_signal_v', 'coolant_believed_c')
    """
    sensor = SENSORS[key]
    unit = f"_{sensor.unit}" if sensor.unit else ""
    return f"{key}_true{unit}", f"{key}_signal_{signal_unit(sensor)}", f"{key}_believed{unit}"


def in_columns(key: str, reading: Reading) -> tuple[float, float, float]:
    """A reading in the units of its columns.

    Parameters
    ----------
    key : str
        Key of a sensor or switch.
    reading : Reading
        [SI]

    Returns
    -------
    values : tuple of float
        True, signal, believed.
    """
    unit = SENSORS[key].unit
    return from_si(reading.true, unit), reading.signal, from_si(reading.believed, unit)


def wire_check(key: str, parameters: np.ndarray) -> dict[str, float]:
    """Resistances of a signal wire with key off and plug off, and of the sensor itself: what tells an open wire from a short.

    Parameters
    ----------
    key : str
        Key of a sensor or switch.
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    resistances : dict
        end_to_end, to_ground and to_supply; infinite where nothing conducts. [ohm]

    Examples
    --------
    >>> from sim.march.assemble import parameters_of
    >>> from sim import Settings, load_truck
    >>> parameters = parameters_of(load_truck("long-haul-manual").truck, Settings(), 0.0)
    >>> parameters["coolant_circuit"] = 2.0
    >>> wire_check("coolant", parameters)
    {'end_to_end': 0.2, 'to_ground': 0.2, 'to_supply': inf}
    """
    p = parameters[0]
    circuit = round(float(p[f"{key}_circuit"]))
    pair = {"boost": "boost_oil", "oil_pressure": "boost_oil", "coolant": "coolant_intake", "intake": "coolant_intake"}
    swapped = key in SWAPPED_WITH and float(p[f"{pair[key]}_swapped"]) > 0.5
    return {
        "end_to_end": NOTHING if circuit == OPEN or swapped else WIRE,
        "to_ground": WIRE if circuit == SHORTED_LOW else NOTHING,
        "to_supply": WIRE if circuit == SHORTED_HIGH else NOTHING,
    }


__all__ = ["Look", "Reading", "columns", "in_columns", "pin_of", "read_meter", "signal_unit", "value_at", "wire_check"]
