"""The root causes that can be hidden in a truck.

A cause is a change of named values of truck or settings, or a failure of the catalogue of circuits; nothing is painted onto a
reading. Sizes are assumed: large enough to be measured, small enough that the truck still drives.
"""

from dataclasses import dataclass

from sim.inputs.sensors import FAILURES, NAMES, failures_of, size_unit
from sim.units import unit_name


@dataclass(frozen=True)
class Cause:
    """One root cause.

    Parameters
    ----------
    part : str
        As the student names it.
    failure : str
        As the student names it.
    level : int
        1 the codes lead to the part, 2 the same codes come from other parts too, 3 no code.
    complaint : str
        In the driver's words.
    teaches : str
        Why it shows as it does, and how it is told from its neighbours.
    occur : str
        Failure of a circuit or a watched part: `PART FAILURE`, empty for none.
    size : float
        Of that failure, in the unit it is written in; 0 for none.
    changes : tuple of (str, float)
        Key of truck or settings, and how far it is from its value in a sound truck.
    """

    part: str
    failure: str
    level: int
    complaint: str
    teaches: str
    occur: str = ""
    size: float = 0.0
    changes: tuple[tuple[str, float], ...] = ()

    @property
    def name(self) -> str:
        """Part and failure. [-]"""
        return f"{self.part}: {self.failure}"


SHORT = (
    "A code tells which voltage is out of range, not why. Key off, plug off: resistance end to end finds the broken wire, to"
    " ground and to supply the short."
)
SAME_CODE = "One code, two causes: a gauge of your own tells whether the value is wrong or only its sensor."
BY_HAND = "A controller sees current, not movement. Each solenoid energised by hand shows what moves."
CURVE = "No sensor of the controller watches this. On the rollers the speed at which power is missing says where to put the gauge."


def _circuit(part: str, failure: str, level: int, complaint: str, teaches: str, size: float = 0.0) -> Cause:
    """A failure of the catalogue of circuits."""
    return Cause(part, failure, level, complaint, teaches, f"{part} {failure}", size)


LAME = "It has no power on hills."
NO_CRUISE = "Cruise drops out, or will not set."
HOLDS_LESS = "The engine brake does not hold as it did."
LAMP = "The lamp came on. Otherwise I notice little."
FAN = "The fan roars nearly all the time."
HOT = "It runs hot on hills."
OVERHEATS = (
    "Hot is hot to the controller, whatever makes it so. A thermometer of your own says whether it is true; the thermostat in a pot"
    " and the hottest coolant on a climb say where the heat stays."
)
SWAPPED = (
    "Two plugs of one kind fit each other. Each sensor then tells of its neighbour, within its range: both meters move with the"
    " wrong cause, and neither wire goes end to end to its own pin."
)
NO_NEEDLE = "The needle is not right, and cruise drops out."
PULSES = (
    "The code says that pulses are missing, not why. The wire end to end finds a break; a pickup too far from its wheel is sound at"
    " speed and mute when slow; a loose plug comes and goes."
)
MOVES = (
    "A switch is judged by two readings, at rest and moved. One that never changes, and a wire that conducts to where it should"
    " not, tell wire from switch."
)
SPEED = "My times do not fit the speedometer."

CAUSES = (
    # a code names the part; whether wire or sensor, and which way, takes a meter
    _circuit("coolant temperature", "open", 1, FAN, SHORT),
    _circuit("coolant temperature", "shorted high", 1, FAN, SHORT),
    _circuit("coolant temperature", "shorted low", 1, FAN, SHORT),
    _circuit("boost pressure", "open", 1, LAME, SHORT),
    _circuit("boost pressure", "shorted low", 1, LAME, SHORT),
    _circuit("intake temperature", "open", 1, "The lamp came on, and it pulls a little less.", SHORT),
    _circuit("intake temperature", "shorted high", 1, "The lamp came on, and it pulls a little less.", SHORT),
    _circuit("oil pressure", "open", 1, LAMP, SHORT),
    _circuit("oil pressure", "shorted low", 1, LAMP, SHORT),
    _circuit("accelerator", "open", 1, "It crawls, whatever I do with my foot.", SHORT),
    _circuit("accelerator", "shorted low", 1, "It crawls, whatever I do with my foot.", SHORT),
    _circuit("engine-brake selector", "open", 1, "The engine brake does nothing.", SHORT),
    _circuit("engine-brake selector", "shorted high", 1, "The engine brake does nothing.", SHORT),
    # the codes name more parts than one, or the wrong one
    _circuit("oil pump", "worn", 2, "The oil lamp came on.", SAME_CODE, 65.0),
    _circuit("oil pressure", "offset", 2, "The oil lamp came on.", SAME_CODE, -133.0),
    _circuit("coolant", "low", 1, "The coolant lamp came on.", SAME_CODE, 60.0),
    _circuit("coolant level", "offset", 1, "The coolant lamp came on.", SAME_CODE, -60.0),
    _circuit(
        "boost pressure",
        "offset",
        2,
        "It is slow to pull away.",
        "Boost and barometer disagree at rest. Which of the two lies, the code does not say: outside air, measured, does.",
        -40.0,
    ),
    _circuit(
        "barometric pressure",
        "offset",
        2,
        "It has less power than it had.",
        "Boost and barometer disagree at rest. Which of the two lies, the code does not say: outside air, measured, does.",
        -32.0,
    ),
    _circuit("coolant temperature", "offset", 2, HOT, OVERHEATS, 30.0),
    Cause(
        "radiator",
        "blocked",
        2,
        HOT,
        OVERHEATS,
        changes=(
            ("cooling.still_kw_per_k", -0.42),
            ("cooling.road_kw_per_k_per_m_s", -0.034),
            ("cooling.fan_kw_per_k_per_1000_rpm", -0.6),
        ),
    ),
    _circuit("coolant temperature", "swapped", 1, "It has less power, and the fan is never off or never on.", SWAPPED),
    _circuit("boost pressure", "swapped", 1, "It has no power, and the oil gauge moves with my foot.", SWAPPED),
    _circuit("road speed", "open", 1, NO_NEEDLE, PULSES),
    _circuit("road speed", "stuck", 1, NO_NEEDLE, PULSES),
    _circuit("road speed", "weak", 1, "The needle drops to nothing when I slow down.", PULSES, 30.0),
    _circuit("road speed", "erratic", 1, NO_NEEDLE, PULSES),
    _circuit("road speed", "intermittent", 1, NO_NEEDLE, PULSES),
    _circuit("brake switch", "open", 1, NO_CRUISE, MOVES),
    _circuit("clutch switch", "open", 1, NO_CRUISE, MOVES),
    _circuit("clutch switch", "shorted low", 1, NO_CRUISE, MOVES),
    _circuit("set button", "shorted low", 1, NO_CRUISE, MOVES),
    _circuit("cruise switch", "open", 3, NO_CRUISE, MOVES),
    _circuit("camshaft position", "open", 1, "It cranks and does not start.", SHORT),
    _circuit("crankshaft position", "open", 1, "It cranks and does not start.", SHORT),
    _circuit("engine brake, front pair", "open", 1, HOLDS_LESS, BY_HAND),
    _circuit("engine brake, middle pair", "open", 1, HOLDS_LESS, BY_HAND),
    _circuit("engine brake, rear pair", "open", 1, HOLDS_LESS, BY_HAND),
    _circuit("barometric pressure", "open", 1, LAME, SHORT),
    _circuit("coolant level", "open", 1, LAMP, SHORT),
    _circuit("oil temperature", "open", 1, "The engine brake does nothing.", SHORT),
    _circuit("intake temperature", "intermittent", 1, LAMP, SHORT),
    # no code
    _circuit("engine brake, front pair", "dead", 3, HOLDS_LESS, BY_HAND),
    _circuit("engine brake, middle pair", "dead", 3, HOLDS_LESS, BY_HAND),
    _circuit("engine brake, rear pair", "dead", 3, HOLDS_LESS, BY_HAND),
    _circuit("engine-brake circuits", "swapped", 3, "Low holds like medium, and medium like low.", BY_HAND),
    _circuit(
        "engine-brake switch",
        "open",
        3,
        "The engine brake does nothing.",
        "An open switch looks to the controller like one that is off. The meter must show a change when the switch is moved.",
    ),
    _circuit(
        "fan switch",
        "shorted low",
        3,
        FAN,
        "The controller obeys a switch that says on. The meter shows the same with the switch off: look for the short.",
    ),
    _circuit(
        "intake temperature",
        "offset",
        3,
        "A little less power, no lamp.",
        "A reading within its range sets no code. A thermometer beside the sensor shows that it lies.",
        30.0,
    ),
    _circuit(
        "accelerator",
        "offset",
        3,
        "The engine brake does not come on any more.",
        "A pedal that never reads released sets no code, but it keeps the engine brake off: read its voltage with the foot off.",
        6.0,
    ),
    Cause(
        "air filter",
        "blocked",
        3,
        "It smokes more than it did, and the pyrometer stands higher.",
        f"{CURVE} Power stands, the exhaust is hotter: the gauge behind the filter is past its limit.",
        changes=(("condition.intake_restriction_kpa", 8.0),),
    ),
    Cause(
        "charge-air hose",
        "leaks",
        3,
        "It is weak at low revs, and smokes when I step on it.",
        f"{CURVE} Low at low speed, boost low there, no gauge past its limit: charge air escapes.",
        changes=(("condition.charge_leak_cm2", 3.0),),
    ),
    Cause(
        "charge cooler",
        "fouled",
        3,
        "The pyrometer stands higher than it did.",
        f"{CURVE} Boost stands, so it is no leak: the air in the manifold is hot, the air behind the compressor is not.",
        changes=(("condition.cooler_fouling_percent", 30.0),),
    ),
    Cause(
        "turbocharger",
        "worn",
        3,
        "It is slow to pull, and the pyrometer stands higher.",
        f"{CURVE} Low boost at low speed, with air behind the compressor as hot as before: it wastes what it is given.",
        changes=(("condition.turbocharger_wear_percent", 20.0),),
    ),
    Cause(
        "fuel filter",
        "plugged",
        3,
        LAME,
        f"{CURVE} Sound up to a fuel flow, then no more: the gauge behind the fuel filter.",
        changes=(("condition.fuel_restriction_kpa", 300.0),),
    ),
    Cause(
        "injectors",
        "worn",
        3,
        LAME,
        f"{CURVE} Low everywhere by one share, every cylinder alike, fuel pressure right: less fuel than the controller means.",
        changes=(("condition.fuel_delivery_percent", -15.0),),
    ),
    Cause(
        "injector",
        "gives no fuel",
        3,
        LAME,
        f"{CURVE} Low everywhere: cut out one cylinder after the other; the one that changes nothing was dead before.",
    ),
    Cause(
        "exhaust",
        "blocked",
        3,
        LAME,
        f"{CURVE} A little low at high speed with the filter's gauge normal: the gauge in the exhaust.",
        changes=(("condition.exhaust_restriction_kpa", 30.0),),
    ),
    Cause(
        "governor",
        "acts early",
        3,
        "It will not rev out.",
        "Power is there up to a speed and then falls away: high idle, read first, costs a minute.",
        changes=(("condition.governor_early_rpm", 350.0),),
    ),
    Cause(
        "governor",
        "answers late",
        3,
        "It hunts, and overshoots when I lift.",
        "Steady readings are sound. A snap of the pedal shows the overshoot.",
        changes=(("condition.governor_lag_s", 0.06),),
    ),
    Cause(
        "fan clutch",
        "seized",
        3,
        FAN,
        "The controller has the fan off and it turns all the same; switch and sensor read right.",
        changes=(("cooling.fan_idle_share", 0.77),),
    ),
    Cause(
        "brake",
        "drags",
        3,
        "It uses more and rolls badly.",
        "Engine and controller are sound. What the road takes is more: it loses speed faster with the clutch down.",
        changes=(("driveline.axle_drag_n_m", 300.0),),
    ),
    Cause(
        "tyres",
        "another size than programmed",
        3,
        SPEED,
        "Needle and stopwatch differ by one ratio at every speed, and the programmed number is the right one for the tyres that"
        " should be fitted: so others are.",
        changes=(("tyres.rolling_radius_m", 0.028),),
    ),
    Cause(
        "pulses per mile",
        "programmed wrong",
        3,
        SPEED,
        "Needle and stopwatch differ by one ratio at every speed, and the record of programmed values is not a sound truck's.",
        changes=(("speedometer.programmed_pulses_per_mile", 1600.0),),
    ),
    Cause(
        "thermostat",
        "opens late",
        3,
        "The temperature gauge stands higher than it did.",
        "Warm, not hot: no code. Sensor and thermometer agree, so it is true; a pot of hot water shows when the thermostat opens.",
        changes=(("cooling.thermostat_opens_c", 9.0), ("cooling.thermostat_full_c", 7.0)),
    ),
    Cause(
        "road-speed limit",
        "programmed wrong",
        3,
        "It will not go faster, on the level too.",
        "Power is there on the rollers; fuel is taken away at one road speed. The record of programmed values says which.",
        changes=(("road_speed.limit_km_h", 72.0),),
    ),
    Cause(
        "low idle",
        "programmed wrong",
        3,
        "It shakes at idle.",
        "The tachometer is low and holds; the record of programmed values says so too.",
        changes=(("engine.low_idle_rpm", -80.0),),
    ),
)

# parts and failures a student may name: those of the causes, and every one of the catalogue of circuits
NAMEABLE: dict[str, tuple[str, ...]] = {
    **{name: failures_of(key) for key, name in NAMES.items()},
}
for _cause in CAUSES:
    NAMEABLE.setdefault(_cause.part, ())
    if _cause.failure not in NAMEABLE[_cause.part]:
        NAMEABLE[_cause.part] = (*NAMEABLE[_cause.part], _cause.failure)


def occurrence_text(cause: Cause, share: float) -> str:
    """The failure of a cause as an entry of `faults.occur`.

    Parameters
    ----------
    share : float
        Of the size it is written with.

    Returns
    -------
    text : str
        Empty for a cause that is none of a circuit.

    Examples
    --------
    >>> occurrence_text(next(cause for cause in CAUSES if cause.name == "oil pump: worn"), 1.0)
    'start oil pump worn 65 %'
    """
    if not cause.occur:
        return ""
    if not cause.size:
        return f"start {cause.occur}"
    part = next(key for key, name in NAMES.items() if name == cause.part)
    return f"start {cause.occur} {cause.size * share:.4g} {unit_name(size_unit(part, cause.failure))}"


def what_failures_mean() -> dict[str, str]:
    """What each kind of failure is, for a student who has to name one.

    Returns
    -------
    meanings : dict
        By failure.
    """
    return {name: kind.says for name, kind in FAILURES.items() if name != "mended"}
