"""Every single failure of a sensor, a switch or a part they watch, by name: what it is, in words, and how to put it into a trip.

    from sim.inputs.failures import catalogue, with_fault
    settings = with_fault(settings, catalogue()["coolant temperature open"], begin="2 km")

Whoever drives a trip in slices can let one occur on the fly with `sim.actors.faults.occur`.
"""

from functools import cache
from typing import NamedTuple

from sim.inputs.sensors import FAILURES, NAMES, SENSORS, failures_of, size_unit
from sim.inputs.specs import Faults, Settings
from sim.units import unit_name

# a size at which each failure shows but the truck can still be driven, assumed
SIZES: dict[tuple[str, str], float] = {
    ("pressure", "offset"): -40.0,
    ("pressure", "drift"): -12.0,
    ("thermistor", "offset"): 25.0,
    ("thermistor", "drift"): 10.0,
    ("level", "offset"): -60.0,
    ("level", "drift"): -20.0,
    ("pedal", "offset"): 12.0,
    ("pedal", "drift"): 4.0,
    ("wheel", "weak"): 40.0,
    ("oil_pump", "worn"): 65.0,
    ("coolant_fill", "low"): 60.0,
}


class Fault(NamedTuple):
    """One failure: its name, part and kind, what it is, and its size in the unit of the text."""

    name: str
    part: str
    failure: str
    words: str
    size: float
    unit: str

    def text(self, begin: str = "start") -> str:
        """The failure as an entry of `faults.occur`.

        Parameters
        ----------
        begin : str
            start, a place such as 2 km, or a time such as 90 s.

        Examples
        --------
        >>> catalogue()["boost pressure offset"].text("2 km")
        '2 km boost pressure offset -40 kPa'
        """
        size = f" {self.size:g} {self.unit}" if self.unit else ""
        return f"{begin} {NAMES[self.part]} {self.failure}{size}"


@cache
def catalogue() -> dict[str, Fault]:
    """Every failure by its name.

    Returns
    -------
    faults : dict
        In the order of the parts.

    Examples
    --------
    >>> catalogue()["engine brake, middle pair dead"].words
    'engine brake, middle pair: the circuit is sound, the mechanism does not move'
    """
    found = {}
    for part, name in NAMES.items():
        for failure in failures_of(part):
            unit = size_unit(part, failure)
            kind = SENSORS[part].kind if part in SENSORS else part
            fault = Fault(
                f"{name} {failure}",
                part,
                failure,
                f"{name}: {FAILURES[failure].says}",
                SIZES[kind, failure] if unit else 0.0,
                unit_name(unit) if unit else "",
            )
            found[fault.name] = fault
    return found


def with_fault(settings: Settings, fault: Fault, begin: str = "start") -> Settings:
    """Settings in which one more thing goes wrong.

    Parameters
    ----------
    fault : Fault
        One of the catalogue, or one with another size.
    begin : str
        start, a place such as 2 km, or a time such as 90 s.
    """
    occur = (*settings.faults.occur, fault.text(begin))
    faults = Faults.model_validate({**settings.faults.model_dump(), "occur": occur})
    return settings.model_copy(update={"faults": faults})
