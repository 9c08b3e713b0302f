"""Faults that bend the full-load curve, each a change of named values of the truck; nothing is painted onto the curve."""

from dataclasses import dataclass
from difflib import get_close_matches

from sim.errors import SettingsError
from sim.messages import dyno as say


@dataclass(frozen=True)
class Fault:
    """One fault of an engine.

    Parameters
    ----------
    title : str
        For people.
    changes : tuple of str
        `table.key=value` of the truck.
    reason : str
        How it acts in the plant.
    sign : str
        What the trade looks for.
    mark : str
        Of the size, then of the sign.
    """

    title: str
    changes: tuple[str, ...]
    reason: str
    sign: str
    mark: str


FAULTS = {
    "restricted-air": Fault(
        "air filter blocked",
        ("condition.intake_restriction_kpa=25",),
        "the compressor draws from below outside pressure, more so the more air flows; the pressure ratio stays",
        "low at high engine speed, boost low there, air-fuel limit on; the gauge at the filter reads high",
        "size assumed; sign common practice, no source",
    ),
    "boost-leak": Fault(
        "charge-air hose leaks",
        ("condition.boost_leak_rpm=500",),
        "part of the charge air escapes; the less air the cylinders take, the larger the part",
        "low at low engine speed, slow after a snap of the pedal, air-fuel limit on; both restriction gauges read nothing",
        "size assumed; sign common practice, no source",
    ),
    "low-fuel": Fault(
        "low fuel supply",
        ("condition.fuel_delivery_percent=85",),
        "every injection is smaller than the controller means it to be",
        "low everywhere by about the same share, boost low with it, no limiter but the curve; the controller still tells full load",
        "size assumed; sign common practice, no source",
    ),
    "early-governor": Fault(
        "governor acts too early",
        ("condition.governor_early_rpm=350",),
        "governed speed and high idle are lower than the truck's data say",
        "on the curve up to a speed below the governed one, then falls away with the governor on; high idle low",
        "size assumed; sign common practice, no source",
    ),
    "sluggish-governor": Fault(
        "governor answers late",
        ("condition.governor_lag_s=0.06",),
        "the governor works with the engine speed of a moment ago",
        "the curve is sound; a load taken off lets the speed overshoot before it settles, and idle takes longer to find its speed",
        "size assumed; sign common practice, no source",
    ),
    "high-back-pressure": Fault(
        "exhaust blocked",
        ("condition.exhaust_restriction_kpa=60",),
        "the pistons push against the pressure behind the turbine, and the turbine has less left to expand",
        "low at high engine speed, fuel per power high, more torque to motor the engine; the gauge in the exhaust reads high",
        "size assumed; sign common practice, no source",
    ),
    "cylinder-out": Fault(
        "one cylinder gives nothing",
        ("condition.dead_cylinders=[4]",),
        "one injector of six gives no fuel; its cylinder is only turned",
        "low everywhere by a sixth of what the pistons make; cutting that cylinder out changes nothing",
        "derived: one of six; sign common practice, no source",
    ),
}


def fault_named(name: str) -> Fault:
    """A fault by its name.

    Parameters
    ----------
    name : str
        As in `FAULTS`.

    Raises
    ------
    SettingsError
        There is none of that name.
    """
    if name not in FAULTS:
        near = get_close_matches(name, FAULTS, n=1, cutoff=0.4)
        raise SettingsError(say.no_such_fault(name=name, near=near, known=list(FAULTS)))
    return FAULTS[name]
