"""The energy books of a trip: what came in, where it went, and what in them cannot be right.

Work: what the pistons did, height given up and motion at the start went where the terms of `WORK_TERMS` say. Heat: the fuel's
energy that the pistons did not turn into work, which is the one remainder, and the heat of friction, engine brake and service
brakes left by the ways of `HEAT_TERMS`. Every term has a law of its own, so a wrong law leaves a book open, makes a loss less
than nothing, or puts an efficiency where no truck has it.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.units import CELSIUS_ZERO, STANDARD_GRAVITY
from sim.wording import Finding, finding, said

WORK_TERMS = (
    "engine_friction",
    "compression",
    "fan",
    "accessories",
    "clutch",
    "gear_synchronising",
    "gearbox",
    "axle",
    "tyre_slip",
    "aero",
    "rolling",
    "service_brakes",
)
SPENT_TERMS = ("combustion_heat", *WORK_TERMS)  # of fuel, height and motion
HEAT_TERMS = ("exhaust_heat", "charge_heat", "coolant_heat", "oil_heat", "brake_heat", "heat_stored")
MOST_OPEN = 1.0e-3  # of what was supplied, in both books together
LEAST_MADE = (1.0, 1.0e-5)  # J, and of what was supplied: a tick in which a contact locks may overshoot by less
LEAST_LOADED = 5.0e6  # J: an engine that pulls hard burns as much in some ten seconds

# while the engine pulls with half its torque and more
EFFICIENCIES = {
    # 214 hp of 536 at 65 mi/h and 45 % load (NRC 2012, Table 5-1) less the tenth it is held by; 185 g/kWh at best (from memory)
    "engine": (0.36, 0.455),
    # standard values, which are a worst case, at half torque; teeth of 1 % in direct (Regulation (EU) 2017/2400, Annex VI)
    "gearbox": (0.94, 0.99),
    # 0.895 with a gearbox of 0.95 in a plain power balance (a choice); 0.955 (40 CFR 1036.545); at most its teeth, 0.98
    # (Regulation (EU) 2017/2400, Annex VII)
    "axle": (0.89, 0.98),
}


def energy_words(term: str) -> str:
    """A term of the books in words."""
    return said(Finding(f"energy.{term}"), "metric")


def kinetic_energy(state: np.ndarray, parameters: np.ndarray) -> float:
    """Energy of everything that moves and turns.

    Parameters
    ----------
    state : array
        State record, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    energy : float
        [J]
    """
    s, p = state[0], parameters[0]
    return 0.5 * float(
        p["vehicle_body"] * s["speed"] * s["speed"]
        + p["wheel_body"] * s["wheel_speed"] * s["wheel_speed"]
        + p["engine_inertia"] * s["engine_speed"] * s["engine_speed"]
        + p["shaft_inertia"] * s["shaft_speed"] * s["shaft_speed"]
    )


def stored_heat(state: np.ndarray, parameters: np.ndarray) -> float:
    """Heat in coolant, oil and drums above 0 °C, what turns the turbocharger, and what was made since it was last spread.

    Parameters
    ----------
    state : array
        State record, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    heat : float
        [J]
    """
    s, p = state[0], parameters[0]
    heat = p["coolant_capacity"] * (s["coolant_temperature"] - CELSIUS_ZERO)
    heat += p["oil_capacity"] * (s["oil_temperature"] - CELSIUS_ZERO) + s["turbo_energy"]
    for group in ("steer", "drive", "trailer"):
        drums = p[f"brakes_{group}"] * p["drum_capacity"]
        heat += drums * (s[f"brake_temperature_{group}"] - CELSIUS_ZERO)
    heat += sum(s[f"pending_{made}"] for made in ("combustion", "friction", "compression", "steer", "drive", "trailer"))
    return float(heat)


def energy_ledger(before: np.ndarray, after: np.ndarray, parameters: np.ndarray, climbed: float) -> dict[str, Any]:
    """Where the energy came from and went.

    Parameters
    ----------
    before : array
        State at the start, shape (1,). [SI]
    after : array
        State at the end, shape (1,). [SI]
    parameters : array
        Parameter record, shape (1,). [SI]
    climbed : float
        Height of the end above the start, from the road's profile and not from the forces. [m]

    Returns
    -------
    ledger : dict
        Terms, what either book is open by, `residual_fraction` of (fuel + height given up + initial kinetic energy), and
        efficiencies, None where the engine never pulled hard. [J, -]
    """
    s, p = after[0], parameters[0]
    start, end = kinetic_energy(before, parameters), kinetic_energy(after, parameters)
    height = -float(p["mass"]) * STANDARD_GRAVITY * climbed
    fuel, work = float(s["fuel_mass"] * p["heating_value"]), float(s["indicated_work"])
    ledger: dict[str, Any] = {
        "fuel": fuel, "height_given_up": height, "kinetic_at_start": start,
        "indicated_work": work, "combustion_heat": fuel - work,
        **{name: float(s[name]) for name in WORK_TERMS}, "kinetic_at_end": end,
        **{name: float(s[name]) for name in HEAT_TERMS if name != "heat_stored"},
        "heat_stored": stored_heat(after, parameters) - stored_heat(before, parameters),
    }  # fmt: skip
    made = sum(ledger[name] for name in ("combustion_heat", "engine_friction", "compression", "service_brakes"))
    ledger["residual"] = work + height + start - end - sum(ledger[name] for name in WORK_TERMS)
    ledger["heat_residual"] = made - sum(ledger[name] for name in HEAT_TERMS)
    supplied = fuel + max(height, 0.0) + start
    wrong = abs(ledger["residual"]) + abs(ledger["heat_residual"])
    ledger["residual_fraction"] = wrong / supplied if supplied > 0.0 else 0.0
    loaded = float(s["loaded_fuel"]) >= LEAST_LOADED
    passed = s["loaded_input"] - s["loaded_gearbox"]
    for part, given, taken in (
        ("engine", s["loaded_work"], s["loaded_fuel"]),
        ("gearbox", passed, s["loaded_input"]),
        ("axle", passed - s["loaded_axle"], passed),
    ):
        ledger[f"{part}_efficiency"] = float(given / taken) if loaded else None
    return ledger


def wrong_in(ledger: Mapping[str, Any], tail_wind: bool = False) -> list[Finding]:
    """What in the books cannot be right.

    Parameters
    ----------
    ledger : mapping
        As `energy_ledger` gives it.
    tail_wind : bool
        Air may push the truck. [-]
    """
    supplied = ledger["fuel"] + max(ledger["height_given_up"], 0.0) + ledger["kinetic_at_start"]
    found = [] if ledger["residual_fraction"] <= MOST_OPEN else [finding("warning.ledger_open")]
    floor = LEAST_MADE[0] + LEAST_MADE[1] * supplied
    for term in WORK_TERMS:
        if ledger[term] < -floor and not (tail_wind and term == "aero"):
            found.append(finding("warning.loss_below_nothing", term=Finding(f"energy.{term}"), energy=ledger[term]))
    for part, (least, most) in EFFICIENCIES.items():
        share = ledger[f"{part}_efficiency"]
        if share is not None and not least <= share <= most:
            told = {"part": Finding(f"energy.{part}"), "share": share, "least": least, "most": most}
            found.append(finding("warning.efficiency_beyond_belief", **told))
    return found
