"""What a run is judged by: each reading beside what is specified, and the one that decides.

A specification is a limit somebody has printed, or what the same engine, sound, reads on the same stand in the same air, with an
allowance; its source says which. Readings that are a cause stand before those that are its consequences, so the first one
outside its specification decides.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.dyno.result import Columns
from sim.inputs.specs import Truck
from sim.laws.air import DRY_AIR_GAS_CONSTANT
from sim.laws.air_path import AIR_HEAT, cooled_charge, head_of, leak_flow
from sim.units import INCH_OF_WATER, POUND_PER_SQUARE_INCH, key_to_si, kind_of_unit, to_si, unit_of_key
from sim.wording import Amount, Finding, finding, said

INTAKE_LIMIT = 25.0 * INCH_OF_WATER  # Pa
EXHAUST_LIMIT = 6773.0  # Pa: 2 inHg
DENSE_AIR = 1.1  # times a sound engine: in cold air one breathes more than the printed limits were made for
AIR_TEST, AIR_TEST_LOSS, AIR_TEST_TIME = 30.0 * POUND_PER_SQUARE_INCH, 5.0 * POUND_PER_SQUARE_INCH, 15.0  # Pa, Pa, s
COOLER = (0.80, 0.90)  # share of the way to the outside air
COMPRESSOR = (0.70, 0.80)  # efficiency
MOST_SMOKE = 0.20  # of the light
LOW_SPEED = 1000.0  # rpm
BOOST, BURNT, AIR_FUEL, WARMTH = 0.10, 0.03, 0.08, 25.0  # allowed off a sound engine, of it; K
IDLE_ALLOWED = 0.02  # of high idle
BLOW_BY = 2.0  # times that of a sound engine
SPARE = 0.5  # of the pressure that fuel pump and injectors leave for the filter
BUBBLES = 0.01  # of the fuel that comes back
SOURCE_VALUES = {
    "source.boost_low": {"least": 10.0 * POUND_PER_SQUARE_INCH, "most": 18.0 * POUND_PER_SQUARE_INCH},
    "source.boost_rated": {"least": 22.0 * POUND_PER_SQUARE_INCH, "most": 33.0 * POUND_PER_SQUARE_INCH},
    "source.exhaust": {"allowed": WARMTH, "lasting": to_si(700.0, "c")},
}
VERDICTS = {
    "within": "specified.within",
    "low": "specified.low",
    "high": "specified.high",
    "not read": "specified.not_read",
}
DIGITS = {"restriction": 1, "number": 1, "share": 1}


@dataclass(frozen=True)
class Gauge:
    """One reading beside its specification.

    Parameters
    ----------
    kind : str
        Of the wording of its name.
    found : float
        NaN where it could not be read. [SI]
    quantity : str
        As `sim.units` names it.
    source : str
        Of the wording of where its specification comes from.
    least, most : float
        [SI]
    values : mapping
        Of the wording of its name. [SI]
    """

    kind: str
    found: float
    quantity: str
    source: str
    least: float = -np.inf
    most: float = np.inf
    values: Mapping[str, Any] | None = None

    @property
    def verdict(self) -> str:
        """How it stands. [-]"""
        if not np.isfinite(self.found) or np.isnan(self.least) or np.isnan(self.most):
            return "not read"
        return "low" if self.found < self.least else "high" if self.found > self.most else "within"

    @property
    def out(self) -> bool:
        """Whether it condemns. [-]"""
        return self.verdict in ("low", "high")

    def _amount(self, value: float) -> Amount:
        return Amount(float(value), self.quantity, DIGITS.get(self.quantity))

    def told(self) -> dict[str, Finding]:
        """Name, reading, specification, verdict and source, as findings."""
        least, most = (self._amount(each) for each in (self.least, self.most))
        if np.isinf(self.most):
            specified = finding("specified.at_least", least=least)
        elif np.isinf(self.least):
            specified = finding("specified.at_most", most=most)
        else:
            specified = finding("specified.between", least=least, most=most)
        return {
            "gauge": Finding(self.kind, self.values or {}),
            "found": finding("specified.reading", found=self._amount(self.found)),
            "specified": specified,
            "verdict": Finding(VERDICTS[self.verdict]),
            "source": Finding(self.source, SOURCE_VALUES.get(self.source, {})),
        }

    def data(self) -> dict[str, Any]:
        """As it stands in a summary: the findings, and `out` for one that condemns."""
        return {**{name: each.data() for name, each in self.told().items()}, "out": self.out}


def first_out(gauges: Sequence[Gauge]) -> Gauge | None:
    """The first gauge outside its specification.

    Parameters
    ----------
    gauges : sequence of Gauge
        Causes before their consequences.
    """
    return next((each for each in gauges if each.out), None)


def deciding(gauges: Sequence[Gauge]) -> dict[str, Any] | None:
    """The reading that decides beside its specification, as a finding; None where all are within."""
    out = first_out(gauges)
    return finding("specified.decides", **out.told()).data() if out else None


def gauge_rows(gauges: Sequence[Mapping[str, Any]], units: str) -> list[tuple[str, ...]]:
    """Reading, what it showed, specification, verdict and source in words.

    Parameters
    ----------
    gauges : sequence of mapping
        Of a summary.
    units : str
        metric, us or both.
    """
    return [
        tuple(said(row[name], units) for name in ("gauge", "found", "specified", "verdict", "source")) for row in gauges
    ]


def gauges_table(gauges: Sequence[Mapping[str, Any]]) -> dict[str, list[str]]:
    """The gauges as columns of a CSV file, in both systems of units."""
    metric, us = gauge_rows(gauges, "metric"), gauge_rows(gauges, "us")
    pairs = list(zip(metric, us, strict=True))
    return {
        "reading": [row[0] for row, _ in pairs],
        "found [metric]": [row[1] for row, _ in pairs],
        "specified [metric]": [row[2] for row, _ in pairs],
        "found [US]": [row[1] for _, row in pairs],
        "specified [US]": [row[2] for _, row in pairs],
        "verdict": [row[3] for row, _ in pairs],
        "source": [row[4] for row, _ in pairs],
    }


def air_lost(truck: Truck, ambient: float, temperature: float) -> float:
    """Pressure a charge-air system loses in the test with shop air.

    Parameters
    ----------
    ambient : float
        [Pa]
    temperature : float
        [K]

    Returns
    -------
    lost : float
        [Pa]
    """
    hole, step, inside = truck.condition.si("charge_leak_cm2"), 0.05, ambient + AIR_TEST
    for _ in range(round(AIR_TEST_TIME / step)):
        lost = leak_flow(hole, inside, temperature, ambient) * DRY_AIR_GAS_CONSTANT * temperature * step
        inside = max(inside - lost / truck.air_path.si("manifold_l"), ambient)
    return ambient + AIR_TEST - inside


def full_load_gauges(truck: Truck, points: Columns, sound: Columns, idles: tuple[float, float]) -> list[Gauge]:
    """The gauges of a full-load run.

    Parameters
    ----------
    points, sound : mapping of str to array
        Of the run, and of the same engine, sound, on the same stand; highest speed first.
    idles : tuple of float
        Speed at full pedal without load, NaN where no governor of the engine held it; and what it should be. [rpm]
    """
    engine, air = truck.engine, truck.air_path
    rated = int(np.argmin(np.abs(points["engine_speed_rpm"] - engine.rated_speed_rpm)))
    low = int(np.argmin(np.abs(points["engine_speed_rpm"] - LOW_SPEED)))
    strongest = int(
        np.nanargmax(np.where(np.isfinite(sound["engine_torque_n_m"]), sound["engine_torque_n_m"], -np.inf))
    )

    def at(name: str, row: int, columns: Columns = points) -> float:
        """A column at a row. [SI]"""
        return float(key_to_si(columns[name][row], name))

    def gauge(kind: str, name: str, row: int, source: str, quantity: str = "", **ends: float) -> Gauge:
        """A column at a speed."""
        speed = {"speed": at("engine_speed_rpm", row)}
        return Gauge(kind, at(name, row), quantity or kind_of_unit(unit_of_key(name)), source, values=speed, **ends)

    def beside(kind: str, name: str, row: int, source: str, share: float, quantity: str = "") -> Gauge:
        """A column at a speed, within a share of a sound engine's."""
        as_sound = at(name, row, sound)
        return gauge(kind, name, row, source, quantity, least=as_sound * (1.0 - share), most=as_sound * (1.0 + share))

    ambient, outside = at("ambient_pressure_kpa", rated, sound), at("ambient_temperature_c", rated, sound)
    hot = at("charge_temperature_c", rated)
    cooled = [float(cooled_charge(hot, outside, share)) for share in COOLER]
    drawn = ambient - at("intake_depression_kpa", rated)
    behind = (
        at("manifold_pressure_kpa", rated) + air.si("cooler_kpa") * (at("air_flow_kg_s", rated) / air.flow_kg_s) ** 2
    )
    head = float(head_of(behind / drawn, outside)) if np.isfinite(behind) else np.nan
    heated = [outside + head / (share * AIR_HEAT) for share in COMPRESSOR]
    (began, high_idle), pump = (to_si(each, "rpm") for each in idles), engine.si("fuel_pump_kpa")
    burnt = at("exhaust_temperature_c", rated, sound)
    return [
        Gauge(
            "gauge.high_idle", began, "engine speed", "source.high_idle",
            high_idle * (1.0 - IDLE_ALLOWED), high_idle * (1.0 + IDLE_ALLOWED),
        ),
        Gauge("gauge.air_test", air_lost(truck, ambient, outside), "pressure difference", "source.air_test", most=AIR_TEST_LOSS,
              values={"pressure": AIR_TEST, "time": AIR_TEST_TIME}),
        gauge("gauge.intake", "intake_depression_kpa", rated, "source.intake", "restriction",
              most=max(INTAKE_LIMIT, DENSE_AIR * at("intake_depression_kpa", rated, sound))),
        gauge("gauge.fuel_pressure", "fuel_pressure_kpa", rated, "source.fuel_pressure", "gauge pressure",
              least=pump - SPARE * (pump - engine.si("fuel_needed_kpa")), most=pump),
        gauge("gauge.bubbles", "bubbles_percent", rated, "source.bubbles", "share", most=BUBBLES),
        beside("gauge.fuel", "fuel_rate_g_s", rated, "source.fuel", BURNT, "fuel rate"),
        beside("gauge.boost", "boost_kpa", rated, "source.boost_rated", BOOST, "gauge pressure"),
        gauge("gauge.exhaust_pressure", "back_pressure_kpa", rated, "source.exhaust_pressure", "restriction",
              most=max(EXHAUST_LIMIT, DENSE_AIR * at("back_pressure_kpa", rated, sound))),
        gauge("gauge.cooler", "intake_temperature_c", rated, "source.cooler", "temperature",
              least=cooled[1], most=cooled[0]),
        gauge("gauge.compressor", "charge_temperature_c", rated, "source.compressor", "temperature",
              least=heated[1], most=heated[0]),
        gauge("gauge.blow_by", "blow_by_l_min", rated, "source.blow_by", "gas flow",
              most=BLOW_BY * at("blow_by_l_min", rated, sound)),
        beside("gauge.boost", "boost_kpa", low, "source.boost_low", BOOST, "gauge pressure"),
        gauge("gauge.exhaust", "exhaust_temperature_c", rated, "source.exhaust", "temperature",
              least=burnt - WARMTH, most=burnt + WARMTH),
        beside("gauge.air_fuel", "air_fuel_ratio", rated, "source.air_fuel_rated", AIR_FUEL, "number"),
        beside("gauge.air_fuel", "air_fuel_ratio", strongest, "source.air_fuel_strongest", AIR_FUEL, "number"),
        gauge("gauge.smoke", "opacity_percent", int(np.nanargmax(points["opacity_percent"])), "source.smoke", "share",
              most=MOST_SMOKE),
        beside("gauge.oil_pressure", "oil_pressure_kpa", rated, "source.sound_10", BOOST, "gauge pressure"),
    ]  # fmt: skip
