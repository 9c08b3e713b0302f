"""Faults of an engine on the dyno, each a change of named values of the truck; nothing is painted onto the curve."""

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
        ("condition.intake_restriction_kpa=8",),
        "the compressor draws from below outside pressure, more so the more air flows",
        "the curve stands as long as the air suffices; the gauge at the filter is past its limit, exhaust hotter, more smoke",
        "size assumed; sign common practice, no source",
    ),
    "boost-leak": Fault(
        "charge-air hose leaks",
        ("condition.charge_leak_cm2=2",),
        "air escapes through a hole; the less the cylinders take, the larger its part, and the turbine lacks it too",
        "low at low engine speed, slow after a snap of the pedal, air-fuel limit on, exhaust hot; the cooler holds no pressure",
        "size assumed; sign common practice, no source",
    ),
    "fouled-cooler": Fault(
        "charge cooler fouled",
        ("condition.cooler_fouling_percent=30",),
        "the charge stays hot, so the same pressure holds less air",
        "boost as it was or above, manifold hot, exhaust hot",
        "size assumed; sign common practice, no source",
    ),
    "gate-open": Fault(
        "waste gate stuck open",
        ("condition.waste_gate=open",),
        "part of the exhaust passes the turbine at any boost",
        "low at low engine speed, boost low at all, the gate does not move, exhaust hot",
        "size assumed; sign common practice, no source",
    ),
    "gate-shut": Fault(
        "waste gate stuck shut",
        ("condition.waste_gate=shut",),
        "all of the exhaust goes through the turbine at any boost",
        "boost too high at high engine speed, the gate does not move, exhaust cool",
        "size assumed; sign common practice, no source",
    ),
    "worn-turbocharger": Fault(
        "compressor worn",
        ("condition.turbocharger_wear_percent=15",),
        "the compressor heats the air more for the same pressure, so the turbine carries less of it",
        "boost low at low engine speed, air behind the compressor hotter than its pressure makes it",
        "size assumed; sign common practice, no source",
    ),
    "plugged-fuel-filter": Fault(
        "fuel filter plugged",
        ("condition.fuel_restriction_kpa=300",),
        "the filter takes more pressure the more fuel flows, until the injectors do not fill",
        "low at high fuel flow, sound below, fuel pressure low there; exhaust cool, no smoke; the controller still tells full load",
        "size assumed; sign common practice, no source",
    ),
    "air-in-fuel": Fault(
        "air in the fuel",
        ("condition.air_in_fuel_percent=12",),
        "what the injectors take in is partly air",
        "low everywhere by about the same share, bubbles in a clear hose, fuel pressure as it was",
        "size assumed; sign common practice, no source",
    ),
    "worn-injectors": Fault(
        "injectors worn",
        ("condition.fuel_delivery_percent=85",),
        "every injection is smaller than the controller means it to be",
        "low everywhere by about the same share, fuel pressure as it was, no bubbles; the controller still tells full load",
        "size assumed; sign common practice, no source",
    ),
    "worn-rings": Fault(
        "piston rings worn",
        ("condition.ring_leak_percent=2",),
        "part of the charge gets past the pistons and does no work",
        "a little low everywhere at the same fuel, blow-by high",
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
        ("condition.exhaust_restriction_kpa=25",),
        "the pistons push against the pressure behind the turbine, and the turbine has less left to expand",
        "a little low at high engine speed, fuel per power high there; the gauge in the exhaust is past its limit",
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
