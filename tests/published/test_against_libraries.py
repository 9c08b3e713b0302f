"""The laws against general-purpose reference libraries, and against integration of their own definition.

fluids: U.S. Standard Atmosphere 1976 and compression work. pint: definitions of units. scipy: integrals and monotone curves.
"""

import math

import numpy as np
import pint
import pytest
from fluids import ATMOSPHERE_1976, isentropic_work_compression
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import PchipInterpolator

from sim import units
from sim.inputs.files import list_trucks, load_truck
from sim.laws.air import air_density, ambient_pressure, ambient_temperature
from sim.laws.engine import mean_pressure_torque
from sim.laws.engine_brake import compression_work_ratio
from sim.laws.grade_severity import brake_temperature_rate, descent_temperature
from sim.laws.lag import lag_rate
from sim.laws.tables import table_value
from sim.march.assemble import CURVE_STEP, tables_of
from sim.march.records import FULL_LOAD_ROW

# ---------------------------------------------------------------- air


def standard_air(altitude: float) -> tuple[float, float, float]:
    temperature = ambient_temperature(altitude, 0.0, units.SEA_LEVEL_TEMPERATURE)
    pressure = ambient_pressure(temperature, units.SEA_LEVEL_TEMPERATURE, units.SEA_LEVEL_PRESSURE)
    return temperature, pressure, air_density(pressure, temperature)


@pytest.mark.parametrize("height", [-400.0, 0.0, 760.0, 1560.0, 3000.0, 5000.0, 8000.0, 11000.0])
def test_air_is_the_standard_atmosphere_at_the_same_geopotential_height(height):
    """U.S. Standard Atmosphere 1976 as coded in fluids; its constants differ from the law's in the sixth digit."""
    standard = ATMOSPHERE_1976(height)
    temperature, pressure, density = standard_air(standard.H)
    assert temperature == pytest.approx(standard.T, rel=1e-6)
    assert pressure == pytest.approx(standard.P, rel=2e-5)
    assert density == pytest.approx(standard.rho, rel=2e-5)


@pytest.mark.parametrize("height", [500.0, 1560.0, 3000.0])
def test_taking_geometric_for_geopotential_height_costs_what_the_law_says(height):
    """The law says: the two heights differ by less than 0.05 % up to 3 km."""
    standard = ATMOSPHERE_1976(height)
    assert 0.0 < (height - standard.H) / height < 0.0005
    assert standard_air(height)[2] == pytest.approx(standard.rho, rel=0.0005)


# ---------------------------------------------------------------- units

PINT_NAMES = {
    "km_h": "kilometer / hour",
    "mi_h": "mile / hour",
    "m_s": "meter / second",
    "m_s2": "meter / second ** 2",
    "kg": "kilogram",
    "lb": "pound",
    "t": "metric_ton",
    "l_per_100km": "centiliter / kilometer",
    "g_kwh": "gram / kilowatt_hour",
    "mpg_us": "mile / gallon",
    "m": "meter",
    "km": "kilometer",
    "mi": "mile",
    "ft": "foot",
    "mm": "millimeter",
    "in": "inch",
    "c": "degree_Celsius",
    "f": "degree_Fahrenheit",
    "k": "kelvin",
    "pa": "pascal",
    "kpa": "kilopascal",
    "bar": "bar",
    "inh2o": "inch * kilogram / liter * standard_gravity",
    "psi": "pound_force_per_square_inch",
    "w": "watt",
    "kw": "kilowatt",
    "hp": "horsepower",
    "n_m": "newton * meter",
    "lb_ft": "foot * force_pound",
    "rpm": "revolutions_per_minute",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "percent": "percent",
    "l": "liter",
    "m2": "meter ** 2",
    "cm2": "centimeter ** 2",
    "kg_m2": "kilogram * meter ** 2",
    "n": "newton",
    "lbf": "force_pound",
    "l_min": "liter / minute",
    "g_s": "gram / second",
    "kg_s": "kilogram / second",
    "lb_h": "pound / hour",
    "kn": "kilonewton",
    "j": "joule",
    "kj": "kilojoule",
    "mj": "megajoule",
    "btu": "Btu_it",
    "ft_s2": "foot / second ** 2",
}
CONSTANTS = {
    "FOOT": "foot",
    "MILE": "mile",
    "POUND": "pound",
    "POUND_FORCE": "force_pound",
    "HORSEPOWER": "horsepower",
    "POUND_FOOT": "foot * force_pound",
    "POUND_PER_SQUARE_INCH": "pound_force_per_square_inch",
    "US_GALLON": "US_liquid_gallon",
    "MILE_PER_HOUR": "mile / hour",
    "KILOMETRE_PER_HOUR": "kilometer / hour",
    "REVOLUTION_PER_MINUTE": "revolutions_per_minute",
    "BAR": "bar",
    "STANDARD_GRAVITY": "standard_gravity",
    "SEA_LEVEL_PRESSURE": "standard_atmosphere",
}
REGISTRY = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_every_unit_of_the_files_has_a_partner():
    assert set(PINT_NAMES) == set(units._UNITS)


@pytest.mark.parametrize("unit", PINT_NAMES)
@pytest.mark.parametrize("value", [-40.0, 0.0, 1.0, 55.0])
def test_units_convert_as_pint_does(unit, value):
    expected = REGISTRY.Quantity(value, PINT_NAMES[unit]).to_base_units().magnitude
    assert units.to_si(value, unit) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert units.from_si(expected, unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", CONSTANTS)
def test_constants_are_those_of_pint(name):
    expected = REGISTRY.Quantity(1.0, CONSTANTS[name]).to_base_units().magnitude
    assert getattr(units, name) == pytest.approx(expected, rel=1e-12)


# ---------------------------------------------------------------- engine brake


@pytest.mark.parametrize("ratio", [14.0, 17.0, 20.0])
@pytest.mark.parametrize("exponent", [1.32, 1.35, 1.38])
def test_compression_work_is_the_integral_over_the_stroke(ratio, exponent):
    """Work of the piston is the integral of p dV with p V^n constant, here over volumes in units of the swept one."""
    largest = ratio / (ratio - 1.0)
    smallest = 1.0 / (ratio - 1.0)
    work, _ = quad(lambda volume: math.pow(largest / volume, exponent), smallest, largest, epsabs=0.0, epsrel=1e-12)
    assert compression_work_ratio(ratio, exponent) == pytest.approx(work, rel=1e-10)


@pytest.mark.parametrize("ratio", [14.0, 17.0, 20.0])
@pytest.mark.parametrize("exponent", [1.32, 1.35, 1.38])
def test_compression_work_is_the_flow_work_of_fluids_over_the_exponent(ratio, exponent):
    """A compressor that also draws in and delivers needs n times the work of closed compression."""
    temperature, pressure, gas_constant = 320.0, 1.0e5, 8.31446261815324
    flow_work = isentropic_work_compression(
        T1=temperature, k=exponent, Z=1.0, P1=pressure, P2=pressure * math.pow(ratio, exponent), eta=1.0
    )
    swept = gas_constant * temperature / pressure * (ratio - 1.0) / ratio
    assert compression_work_ratio(ratio, exponent) == pytest.approx(flow_work / exponent / (pressure * swept), rel=1e-6)


def test_torque_of_a_mean_pressure_does_its_work_over_one_cycle():
    """Torque x 4 pi is pressure x swept volume: integrate the torque over the two turns of a cycle."""
    pressure, displacement = 9.3e5, 15.0e-3
    torque = mean_pressure_torque(pressure, displacement)
    work, _ = quad(lambda _angle: torque, 0.0, 4.0 * math.pi)
    assert work == pytest.approx(pressure * displacement, rel=1e-12)


# ---------------------------------------------------------------- rates


def test_lag_follows_the_exponential():
    solved = solve_ivp(lambda _time, y: [lag_rate(y[0], 5.0, 0.4)], (0.0, 2.0), [1.0], rtol=1e-10, atol=1e-12)
    assert solved.y[0, -1] == pytest.approx(5.0 - 4.0 * math.exp(-2.0 / 0.4), rel=1e-7)


@pytest.mark.parametrize("updated", [True, False])
@pytest.mark.parametrize(("speed", "power"), [(20.0, 0.0), (30.0, 274.448), (55.0, 400.0)])
def test_brake_temperature_rate_integrates_to_the_printed_exponential(updated, speed, power):
    hours = 5.0 / speed
    solved = solve_ivp(
        lambda _time, y: [brake_temperature_rate(y[0], 90.0, power, speed, updated)],
        (0.0, hours),
        [150.0],
        rtol=1e-10,
        atol=1e-9,
    )
    assert solved.y[0, -1] == pytest.approx(descent_temperature(150.0, 90.0, power, 5.0, speed, updated), rel=1e-7)


# ---------------------------------------------------------------- curves


@pytest.mark.parametrize("truck", list_trucks())
def test_full_load_curve_stays_between_its_points(truck):
    """Shape-preserving interpolation (Fritsch and Carlson, 1980): no value outside the two points it lies between."""
    engine = load_truck(truck).truck.engine
    speeds, torques = np.array(engine.si("full_load_rpm")), np.array(engine.full_load_torque_n_m)
    row = tables_of(load_truck(truck).truck)[FULL_LOAD_ROW]
    steps = speeds[0] + CURVE_STEP * np.arange(int((speeds[-1] - speeds[0]) / CURVE_STEP))
    assert row[: len(steps)] == pytest.approx(PchipInterpolator(speeds, torques)(steps), rel=1e-12)
    for low, high, left, right in zip(speeds, speeds[1:], torques, torques[1:], strict=False):
        places = np.linspace(low, high, 57)
        values = np.array([table_value(row, speeds[0], 1.0 / CURVE_STEP, float(place)) for place in places])
        assert values.min() >= min(left, right) - 1e-9
        assert values.max() <= max(left, right) + 1e-9
        assert np.all(np.diff(values) * np.sign(right - left) >= -1e-9)


@pytest.mark.parametrize("truck", list_trucks())
def test_full_load_curve_holds_its_last_value_beyond_its_ends(truck):
    engine = load_truck(truck).truck.engine
    row = tables_of(load_truck(truck).truck)[FULL_LOAD_ROW]
    first = engine.si("full_load_rpm")[0]
    for speed, torque in (
        (0.5 * first, engine.full_load_torque_n_m[0]),
        (5.0 * first, engine.full_load_torque_n_m[-1]),
    ):
        assert table_value(row, first, 1.0 / CURVE_STEP, speed) == pytest.approx(torque)
