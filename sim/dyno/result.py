"""What a dyno run leaves behind: columns, settled points, summary, and the inputs that made it."""

import csv
import io
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.inputs.specs import Settings, Truck
from sim.laws.air_path import blow_by, opacity, smoke_density
from sim.laws.dynamometer import (
    air_factor,
    coded_percent,
    engine_factor,
    load_at_speed,
    power_correction,
    specific_fuel,
    torque_code,
)
from sim.laws.engine import oil_viscosity, restriction_pressure
from sim.laws.engine_fluids import oil_pressure
from sim.march.assemble import rated_fuel
from sim.march.controller import WARM_OIL
from sim.march.records import DYNO_LOG, LIMITERS, exported
from sim.units import CELSIUS_ZERO, REVOLUTION_PER_MINUTE, unit_of_key

REFERENCE_PRESSURE, REFERENCE_TEMPERATURE = 99.0e3, 298.0  # Pa dry, K: ISO 1585 and UN Regulation 85 (second-hand)
VALID = (0.9, 1.1)  # of the power correction: common practice, no source
LEAST_FUEL, LEAST_EXPONENT = 0.040, 0.3  # kg/m3 and exponent below it, as `sim.laws.dynamometer.engine_factor`
PRESSURE_EXPONENT = 0.7
# exponent of the temperature by kind of engine or standard, with its mark
CORRECTIONS = {
    "air-to-air": (1.2, "ISO 1585, turbocharged, charge air uncooled or cooled by air; exponents from memory"),
    "liquid": (0.7, "ISO 1585, turbocharged, charge air cooled by liquid; exponents from memory"),
    "regulation-85": (1.5, "UN Regulation 85, turbocharged; published, second-hand"),
}
LEAST_POWER = 5.0  # kW: below it fuel per power says nothing
LEAST_BURNT = 1.0e-5  # kg/s: below it air per fuel says nothing
LIGHT_PATH = 0.43  # m through the smoke, of the smoke tests (from memory)
SOUND_BLOW_BY = 0.004  # of the charge, past sound rings, assumed
CAUTIONS = (
    "A teaching model, not advice for tests, repairs or driving. On a real stand the maker's service data, local codes and"
    " licensed practice decide.",
    "Before a truck turns rollers, strap it down, with the rear chains a little slack, and chock the front wheels. Its tyres are"
    " of one size, run in for 160 km (100 mi), clean, at their pressure and no recaps. Nobody stands behind the rollers.",
    "Turn the extraction on and keep the stack clear. Protect ears and eyes. Wear no loose clothing. A fan can start at any time."
    " Time at full load is limited.",
)

Columns = Mapping[str, np.ndarray]


def rounded_load(share: float) -> float:
    """A load share as it is broadcast: whole percent.

    Returns
    -------
    percent : float
        [%]

    Examples
    --------
    >>> rounded_load(0.486)
    49.0
    """
    return float(np.floor(100.0 * share + 0.5))


def correction_of(
    kind: str, ambient: float, temperature: float, fuel: float, speed: float, ratio: float, size: float
) -> float:
    """Factor of the diesel power correction at one point.

    Parameters
    ----------
    kind : str
        `none`, or a key of `CORRECTIONS`.
    ambient : float
        Barometer; the air of the model is dry. [Pa]
    temperature : float
        Intake air. [K]
    fuel : float
        [kg/s]
    speed : float
        Engine speed, above 0. [rad/s]
    ratio : float
        Boost pressure ratio, manifold over ambient.
    size : float
        Swept volume. [m³]

    Returns
    -------
    factor : float
        1 without a correction.
    """
    if kind == "none":
        return 1.0
    air = air_factor(
        ambient, temperature, REFERENCE_PRESSURE, REFERENCE_TEMPERATURE, PRESSURE_EXPONENT, CORRECTIONS[kind][0]
    )
    charge = specific_fuel(fuel, size, speed) / max(ratio, 1.0)
    return float(power_correction(air, engine_factor(charge, LEAST_FUEL, LEAST_EXPONENT)))


def dyno_columns(log: np.ndarray, tick: float, truck: Truck, settings: Settings, parameters: np.ndarray) -> Columns:
    """The log of a dyno as named columns, with what is worked out from it row by row.

    Parameters
    ----------
    log : array
        Shape (rows, 1 + columns) as the clock keeps it. [SI]
    tick : float
        [s]
    truck : Truck
        For the reference torque.
    settings : Settings
        For correction and form.
    parameters : array
        The parameter record, shape (1,). [SI]

    Returns
    -------
    columns : mapping of str to array
        Each of shape (rows,); NaN where a quantity has no meaning.
    """
    columns: dict[str, np.ndarray] = {"time_s": log[:, 0] * tick}
    raw = {}
    for place, column in enumerate(DYNO_LOG, start=1):
        raw[column.name] = log[:, place]
        columns[column.name] = exported(log[:, place], column.unit)
    dyno = settings.dyno
    speed = raw["engine_speed_rpm"]
    power = raw["engine_torque_n_m"] * speed / 1000.0
    fuel = columns["fuel_rate_g_s"]
    columns["power_kw"] = power
    with np.errstate(divide="ignore", invalid="ignore"):
        columns["bsfc_g_kwh"] = np.where(power >= LEAST_POWER, 3600.0 * fuel / power, np.nan)
    columns |= told_percent(raw, reference_torque(truck, settings))
    columns |= instruments(raw, truck, parameters)
    displacement = float(parameters["displacement"][0])
    ratio = raw["manifold_pressure_kpa"] / raw["ambient_pressure_kpa"]
    air = zip(
        raw["ambient_pressure_kpa"],
        raw["ambient_temperature_c"],
        raw["fuel_rate_g_s"],
        np.maximum(speed, 1.0),
        ratio,
        strict=True,
    )
    columns["correction_factor"] = np.array([correction_of(dyno.correction, *row, displacement) for row in air])
    columns["corrected_power_kw"] = power * columns["correction_factor"]
    columns["corrected_torque_n_m"] = columns["engine_torque_n_m"] * columns["correction_factor"]
    if dyno.form == "chassis":
        # what the tyres give the rollers, so that rollers losing speed are not taken for power of the truck
        columns["wheel_power_kw"] = (raw["tyre_force_n"] - raw["rolling_force_n"]) * raw["speed_m_s"] / 1000.0
    return columns


def instruments(raw: Columns, truck: Truck, parameters: np.ndarray) -> dict[str, np.ndarray]:
    """What instruments of the stand show that nothing in the truck measures.

    Parameters
    ----------
    raw : mapping of str to array
        The log. [SI]
    parameters : array
        The parameter record, shape (1,). [SI]

    Returns
    -------
    columns : dict
        Air over fuel, light kept back by the smoke, fuel pressure behind the filter, air among the fuel that comes back, gas past
        the pistons, oil pressure; each of shape (rows,). [unit of its name]

    Notes
    -----
    The fuel filter is taken to pass what is burnt: its loss is stated at rated power and grows with that flow squared.
    """
    p, engine, worn = parameters[0], truck.engine, truck.condition
    air, fuel, oil = raw["air_flow_kg_s"], raw["fuel_rate_g_s"], raw["oil_temperature_c"]
    burning = fuel > LEAST_BURNT
    ratio = np.where(burning, air / np.maximum(fuel, LEAST_BURNT), np.nan)
    smoke = [opacity(smoke_density(each), LIGHT_PATH) if each > 0.0 else 0.0 for each in ratio]
    loss = (engine.si("fuel_filter_kpa") + worn.si("fuel_restriction_kpa")) / rated_fuel(parameters, engine) ** 2
    viscosities = (p["oil_viscosity_40"], p["oil_viscosity_100"])
    warm = oil_viscosity(WARM_OIL, *viscosities)
    pump = (p["oil_pressure_idle"], p["oil_pressure_relief"], p["oil_delivery"])
    shown = {
        "air_fuel_ratio": ratio,
        "opacity_percent": smoke,
        "fuel_pressure_kpa": engine.si("fuel_pump_kpa") - restriction_pressure(loss, fuel),
        "bubbles_percent": np.where(burning, worn.si("air_in_fuel_percent"), 0.0),
        "blow_by_l_min": blow_by(air, SOUND_BLOW_BY + worn.si("ring_leak_percent"), oil, raw["ambient_pressure_kpa"]),
        "oil_pressure_kpa": [
            oil_pressure(speed, p["low_idle"], oil_viscosity(each, *viscosities), warm, *pump)
            for speed, each in zip(raw["engine_speed_rpm"], oil, strict=True)
        ],
    }
    return {name: exported(np.array(values), unit_of_key(name)) for name, values in shown.items()}


def told_percent(columns: Columns, reference: float) -> dict[str, np.ndarray]:
    """What the engine controller tells of its torque, in whole percent.

    Parameters
    ----------
    columns : mapping of str to array
        Of a dyno run or of a trip: torques at the crankshaft, each of shape (rows,). [N m]
    reference : float
        The torque that 100 % stands for. [N m]

    Returns
    -------
    told : dict
        `actual_torque_percent`, `friction_torque_percent` and `load_percent`, each of shape (rows,). [%]
    """
    commanded, friction = columns["commanded_torque_n_m"], columns["warm_friction_n_m"]
    drawn = columns["fan_torque_n_m"] + columns["accessory_torque_n_m"]
    most = np.maximum(columns["full_load_torque_n_m"] + friction, 1.0)
    pairs = zip(commanded, most, strict=True)
    return {
        "actual_torque_percent": np.array([coded_percent(torque_code(each, reference)) for each in commanded]),
        "friction_torque_percent": np.array([coded_percent(torque_code(each, reference)) for each in friction + drawn]),
        "load_percent": np.array([rounded_load(load_at_speed(actual, highest)) for actual, highest in pairs]),
    }


def reference_torque(truck: Truck, settings: Settings) -> float:
    """The torque that 100 % stands for.

    Returns
    -------
    torque : float
        [N m]
    """
    return settings.dyno.reference_torque_n_m or max(truck.engine.full_load_torque_n_m)


def plain(value: Any) -> Any:
    """A value as JSON takes it: seven digits as in the CSV files, no number that is none.

    Examples
    --------
    >>> plain(np.array([1.0, np.nan]))
    [1.0, None]
    """
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, np.ndarray | list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.floating | float):
        return float(f"{value:.7g}") if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value


def worded(name: str, values: Iterable[Any]) -> list[Any]:
    """A column for a file: limiters in words."""
    if name == "limiter":
        return [LIMITERS[int(code)] if np.isfinite(code) else "" for code in values]
    return list(values)


def table_csv(columns: Mapping[str, Any]) -> str:
    """Columns as the text of a CSV file.

    Parameters
    ----------
    columns : mapping of str to array
        All of one length.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    cells = [
        [
            each if isinstance(each, str) else (f"{each:.7g}" if np.isfinite(each) else "")
            for each in worded(name, values)
        ]
        for name, values in columns.items()
    ]
    writer.writerows(zip(*cells, strict=True))
    return out.getvalue()


@dataclass(frozen=True)
class DynoResult:
    """A finished dyno run.

    Parameters
    ----------
    test : str
        `full-load`, `governor`, `motoring`, `retarding` or `cylinders`.
    summary : dict
        Keys carry their unit.
    columns : mapping of str to array
        The whole run in time, names as in the trace of a trip.
    points : mapping of str to array
        The settled or read points.
    sets : mapping of str to mapping
        More columns by name: two governors on a grade, the build-up of each stage.
    truck : Truck
        As run.
    settings : Settings
        As run.
    sources : dict
        Mark and source of each number of the truck.
    readings : mapping of str to array
        What the meters of `circuits.meters` showed, in the time of the columns; without them empty.
    """

    test: str
    summary: dict[str, Any]
    columns: Columns
    points: Columns
    sets: Mapping[str, Columns]
    truck: Truck
    settings: Settings
    sources: dict[str, str]
    readings: Columns = field(default_factory=dict)

    def json(self) -> str:
        """Summary and columns as JSON text."""
        whole = {
            "summary": self.summary,
            "columns": {name: worded(name, values) for name, values in self.columns.items()},
            "points": {name: worded(name, values) for name, values in self.points.items()},
            "sets": {
                key: {name: worded(name, values) for name, values in columns.items()}
                for key, columns in self.sets.items()
            },
        }
        return json.dumps(plain(whole), allow_nan=False) + "\n"

    def summary_json(self) -> str:
        """The summary alone as JSON text."""
        return json.dumps(plain(self.summary), indent=2, allow_nan=False) + "\n"


def celsius(kelvin: float) -> float:
    """A temperature for people.

    Parameters
    ----------
    kelvin : float
        [K]

    Returns
    -------
    celsius : float
        [C]

    Examples
    --------
    >>> celsius(273.15)
    0.0
    """
    return kelvin - CELSIUS_ZERO


def in_rpm(speed: float) -> float:
    """An engine speed for people.

    Parameters
    ----------
    speed : float
        [rad/s]

    Returns
    -------
    speed : float
        [rpm]

    Examples
    --------
    >>> round(in_rpm(100.0), 1)
    954.9
    """
    return speed / REVOLUTION_PER_MINUTE
