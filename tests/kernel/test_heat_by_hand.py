"""One step of heat and of the air path: the first law holds to rounding, rates are what a truck's file and handbooks state.

Nothing of `sim.laws` stands in the sums: air 1004.5 and exhaust 1148 J/(kg K), gas constant 287.05 J/(kg K), from 298.15 K.
"""

from math import exp

import pytest
from one_moment import T1, TURN, ZERO, Moment
from quasi_static import Sums

from sim.march import plant
from sim.march.air_path import asked_braking_power, breathe, exhaust_share, settle_air, still
from sim.march.heat import published_rate, warm
from sim.march.records import STATE_TYPE

AIR, EXHAUST, GAS, REFERENCE = 1004.5, 1148.0, 287.05287, 298.15
STEP = 0.1  # s, of the temperatures


@pytest.fixture
def moment() -> Moment:
    """Warm and at rest, 15 °C outside."""
    moment = Moment()
    still(moment.s, moment.p, moment.s["ambient_pressure"], moment.s["ambient_temperature"])
    return moment


@pytest.fixture
def loaded(moment: Moment) -> Moment:
    """At full load, 1400 rpm, the rotor at rest."""
    settle_air(moment.s, moment.p, moment.tables, moment.turn(1400.0), 0.0)
    plant.engine(moment.s, moment.b, moment.c, moment.p, moment.tables)
    moment.run(1400.0, 1.0)
    return moment


# ---------------------------------------------------------------- drums


@pytest.mark.parametrize("group", ["steer", "drive", "trailer"])
def test_a_drum_is_heated_by_its_work_and_cooled_by_its_air(moment, group):
    """48 kJ/K a drum, 18 + 1.2 v W/K (the truck's file)."""
    s, drums = moment.s, {"steer": 2, "drive": 4, "trailer": 4}
    for name in drums:
        s[f"brake_temperature_{name}"] = 200.0 + ZERO
    s[f"pending_{group}"] = 3.0e5
    warm(s, moment.p, 15.0, STEP)
    cooled = (18.0 + 1.2 * 15.0) * (200.0 - 15.0) * STEP
    for name, number in drums.items():
        work = 3.0e5 if name == group else 0.0
        assert s[f"brake_temperature_{name}"] - ZERO == pytest.approx(200.0 + (work / number - cooled) / 48.0e3)
    assert s["brake_heat"] == pytest.approx(10.0 * cooled)
    mean = 200.0 + (3.0e5 / 10.0 - cooled) / 48.0e3
    assert s["brake_temperature"] - ZERO == pytest.approx(mean) == pytest.approx(s["max_brake_temperature"] - ZERO)
    hottest = 200.0 + (3.0e5 / drums[group] - cooled) / 48.0e3
    assert s["max_hottest_brake_temperature"] - ZERO == pytest.approx(hottest)
    assert s[f"pending_{group}"] == 0.0, "no heat is spread twice"
    warm(s, moment.p, 15.0, STEP)
    assert s["max_brake_temperature"] - ZERO == pytest.approx(mean), "it has cooled since"


def test_a_group_without_brakes_stays_as_it_is(moment):
    moment.p["brakes_trailer"] = 0.0
    moment.s["brake_temperature_trailer"] = 20.0 + ZERO
    warm(moment.s, moment.p, 15.0, STEP)
    assert moment.s["brake_temperature_trailer"] == 20.0 + ZERO
    assert moment.s["brake_temperature"] < 20.0 + ZERO


@pytest.mark.parametrize("updated", [True, False])
def test_the_published_model_warms_mean_brakes_by_its_own_sets(moment, updated):
    """Set A: report WY-1901F, 2018; set B: FHWA-RD-79-116 (constants from memory); 95 °C, 300 hp, 40 mi/h."""
    s, mph = moment.s, 40.0
    s["speed"] = mph * 0.44704
    k1 = 1.5 * (1.1852 + 0.0331 * mph) if updated else 1.23 + 0.0256 * mph  # 1/h
    k2 = 1.0 / (0.1602 + 0.0078 * mph) if updated else 1.0 / (0.100 + 0.00208 * mph)  # °F/hp
    rate = k1 * (k2 * 300.0 / 1.8 - (95.0 - 15.0)) / 3600.0  # K/s
    assert published_rate(95.0 + ZERO, 300.0 * 745.7, s, updated) == pytest.approx(rate, rel=2e-3)
    field = "severity_temperature_a" if updated else "severity_temperature_b"
    s["severity_temperature_a"] = s["severity_temperature_b"] = 95.0 + ZERO
    for group, share in (("steer", 0.2), ("drive", 0.5), ("trailer", 0.3)):
        s[f"pending_{group}"] = share * 300.0 * 745.7 * STEP
    warm(s, moment.p, 17.9, STEP)
    assert s[field] - ZERO - 95.0 == pytest.approx(rate * STEP, rel=2e-3)
    assert s[f"max_{field}"] == s[field]
    top = float(s[field])
    warm(s, moment.p, 17.9, 100.0)
    assert s[f"max_{field}"] == top > s[field]


# ---------------------------------------------------------------- oil and coolant


def heated(moment: Moment, **heats: float) -> dict[str, float]:
    """What one step of heats does, beyond what the same step does without: temperatures and heat books. [J]"""
    cooling = moment.truck.cooling
    names = ("coolant_temperature", "oil_temperature", "exhaust_heat", "charge_heat", "coolant_heat", "oil_heat")
    results = []
    for factor in (0.0, 1.0):
        other = Moment()
        still(other.s, other.p, other.s["ambient_pressure"], other.s["ambient_temperature"])
        for name, heat in heats.items():
            other.s[name] = factor * heat
        warm(other.s, other.p, 0.0, STEP)
        results.append([float(other.s[name]) for name in names])
    change = dict(zip(names, (after - before for before, after in zip(*results, strict=True)), strict=True))
    change["coolant_temperature"] *= 1000.0 * cooling.coolant_capacity_kj_per_k
    change["oil_temperature"] *= 1000.0 * cooling.oil_capacity_kj_per_k
    return change


@pytest.mark.parametrize(
    ("source", "coolant", "oil"),
    [("pending_combustion", 0.25, 0.04), ("pending_friction", 0.5, 0.5), ("pending_compression", 0.08, 0.0)],
)
def test_heat_goes_to_coolant_and_oil_in_the_shares_of_the_file(moment, source, coolant, oil):
    change = heated(moment, **{source: 4.0e4})
    assert change["coolant_temperature"] == pytest.approx(coolant * 4.0e4, abs=1e-3)
    assert change["oil_temperature"] == pytest.approx(oil * 4.0e4, abs=1e-3)


def test_what_neither_takes_is_left_in_the_gas(moment):
    assert exhaust_share(moment.s, moment.p, 1000.0, 0.0) == pytest.approx(710.0)
    assert exhaust_share(moment.s, moment.p, 0.0, 1000.0) == pytest.approx(920.0)


@pytest.mark.parametrize("coolant_c", [60.0, 85.0, 89.0, 100.0])
def test_the_radiator_sheds_by_thermostat_road_and_fan(moment, coolant_c):
    """0.05 + opening (0.50 + 0.040 v + 0.735 N/1000 rpm) kW/K, thermostat from 83 to 95 °C (the truck's file)."""
    s, oil_c, fan, road = moment.s, 110.0, 1300.0, 12.0
    s["coolant_temperature"], s["oil_temperature"], s["fan_speed"] = coolant_c + ZERO, oil_c + ZERO, fan * TURN
    warm(s, moment.p, road, STEP)
    opening = min(max((coolant_c - 83.0) / 12.0, 0.0), 1.0)
    conductance = 50.0 + opening * (500.0 + 40.0 * road + 735.0 * fan / 1000.0)
    shed, exchanged = conductance * (coolant_c - 15.0) * STEP, 2500.0 * (oil_c - coolant_c) * STEP
    assert s["coolant_heat"] == pytest.approx(shed)
    assert s["coolant_temperature"] - ZERO - coolant_c == pytest.approx((exchanged - shed) / 250.0e3, rel=1e-6)
    pan = 30.0 * (oil_c - 15.0) * STEP
    assert s["oil_heat"] == pytest.approx(pan)
    assert s["oil_temperature"] - ZERO - oil_c == pytest.approx(-(exchanged + pan) / 120.0e3, rel=1e-6)


@pytest.mark.parametrize("leak_cm2", [0.0, 2.0])
@pytest.mark.parametrize("braking", [False, True])
def test_no_heat_is_lost_between_engine_and_air(loaded, braking, leak_cm2):
    """First law over a step at rest: what is made is in coolant, oil, exhaust, charge and, for the rest, in the rotor."""
    s, p = loaded.s, loaded.p
    p["charge_leak"] = leak_cm2 * 1.0e-4
    if braking:
        s["fuel_rate"] = s["indicated_torque"] = 0.0
        settle_air(s, p, loaded.tables, loaded.turn(1800.0), 6.0)
    heats = {"pending_combustion": 0.0 if braking else 5.0e4, "pending_friction": 3.0e3}
    heats["pending_compression"] = 3.0e4 if braking else 0.0
    for name, heat in heats.items():
        s[name] = heat
    books = ("coolant_heat", "oil_heat", "exhaust_heat", "charge_heat")
    before = [float(s[name]) for name in ("coolant_temperature", "oil_temperature", "turbo_energy", *books)]
    warm(s, p, 15.0, STEP)
    after = [float(s[name]) for name in ("coolant_temperature", "oil_temperature", "turbo_energy", *books)]
    change = [end - begin for begin, end in zip(before, after, strict=True)]
    held = change[0] * 250.0e3 + change[1] * 120.0e3 + change[2] + sum(change[3:])
    assert held == pytest.approx(sum(heats.values()), rel=1e-6)


def test_a_longer_step_is_taken_in_parts_that_end_at_the_same_place(loaded):
    """The rotor is marched in steps of a tenth of a second however long the ticks are."""
    ends = []
    for parts in (1, 3):
        other = Moment()
        other.memory.state[0] = loaded.memory.state[0]
        other.s["turbo_energy"] *= 0.6
        for _ in range(parts):
            other.s["pending_combustion"] = 6.0e4 / parts
            warm(other.s, other.p, 15.0, 0.3 / parts)
        ends.append(float(other.s["turbo_energy"]))
    assert ends[0] == pytest.approx(ends[1], rel=2e-3)


# ---------------------------------------------------------------- the rotor


@pytest.mark.parametrize("share", [0.3, 1.0, 1.3])
@pytest.mark.parametrize("cylinders", [0.0, 6.0])
def test_the_rotor_gains_what_the_turbine_gives_less_what_the_compressor_takes(loaded, share, cylinders):
    """d(J w2/2) = (eta_m m cp_e (T3 - T4) - m cp_a (T2 - T1)) dt, the compressor's part at the end of the step.

    So boost rises and falls as fast as a rotor of the inertia in the file can be spun up and down, for fuel as for the brake.
    """
    s, p, air = loaded.s, loaded.p, loaded.truck.air_path
    if cylinders:
        settle_air(s, p, loaded.tables, loaded.turn(1800.0), cylinders)
    fuel = 0.0 if cylinders else float(s["fuel_rate"])
    s["turbo_energy"] *= share
    before, step = float(s["turbo_energy"]), 0.05
    breathe(s, p, 1.6e5, fuel, step)
    flow = float(s["air_flow"])
    through = (1.0 - s["gate"]) * (flow + fuel)
    # the stack is what the turbine and the gate let out together
    spent = s["exhaust_temperature"] - (s["exhaust_temperature"] - s["stack_temperature"]) / (1.0 - s["gate"])
    given = through * EXHAUST * (s["exhaust_temperature"] - spent)
    taken = flow * AIR * (s["charge_temperature"] - s["ambient_temperature"])
    assert given > 0.0 and taken > 0.0
    expected = (before + air.bearing_efficiency * given * step) / (1.0 + taken / before * step)
    assert s["turbo_energy"] == pytest.approx(expected, rel=1e-9)


def test_a_turning_rotor_gives_the_head_of_its_tip_speed(loaded):
    """Head = 0.65 u2, u = r w, energy J w2/2: 1.6e-4 kg m2 and 96 mm in the file; pressure by the ideal gas, gamma 1.4."""
    s, p, air = loaded.s, loaded.p, loaded.truck.air_path
    for _ in range(3):  # until the filter feels the flow of the same moment
        breathe(s, p, 1.6e5, float(s["fuel_rate"]), 1e-9)
    tip = (2.0 * s["turbo_energy"] / 1.6e-4) ** 0.5 * 0.048
    head = 0.65 * tip**2
    outside, ambient = float(s["ambient_temperature"]), float(s["ambient_pressure"])
    ratio = (1.0 + head / (AIR * outside)) ** 3.5
    assert s["charge_temperature"] == pytest.approx(outside + head / (AIR * air.compressor_efficiency))
    intake = s["charge_temperature"] - air.cooler_effectiveness * (s["charge_temperature"] - outside)
    assert s["intake_temperature"] == pytest.approx(intake)
    lost = 1000.0 * air.filter_kpa * (s["air_flow"] / air.flow_kg_s) ** 2
    assert s["intake_depression"] == pytest.approx(lost, rel=1e-4)
    filling = 0.93 - 0.05 * (1400.0 - 1200.0) / 900.0
    breathing = filling * loaded.litres / (GAS * intake)
    assert s["breathing"] == pytest.approx(breathing, rel=1e-6)
    flow = breathing * s["manifold_pressure"] * 1400.0 / 120.0
    assert s["air_flow"] == pytest.approx(flow, rel=1e-6)
    heading = s["manifold_heading"]
    through_cooler = breathing * heading * 1400.0 / 120.0
    cooler = 1000.0 * air.cooler_kpa * (through_cooler / air.flow_kg_s) ** 2
    assert heading + cooler == pytest.approx((ambient - lost) * ratio, rel=1e-5)
    assert s["filling_rate"] == pytest.approx(flow * GAS * intake / (s["manifold_pressure"] * 24.0e-3), rel=1e-6)


@pytest.mark.parametrize(("rpm", "filling"), [(700.0, 0.93), (1650.0, 0.905), (2100.0, 0.88), (2400.0, 0.88)])
def test_the_cylinders_fill_by_the_line_of_the_file(loaded, rpm, filling):
    loaded.turn(rpm)
    breathe(loaded.s, loaded.p, 1.0e5, 0.005, 1e-9)
    expected = filling * loaded.litres / (GAS * loaded.s["intake_temperature"])
    assert loaded.s["breathing"] == pytest.approx(expected, rel=1e-6)


def passed(s, nozzle_cm2: float) -> float:
    """Flow of a nozzle between the pressures before and behind the turbine, up to the speed of sound. [kg/s]"""
    ratio = max(((s["ambient_pressure"] + s["back_pressure"]) / s["exhaust_pressure"]) ** 0.25, 6.0 / 7.0)
    place = nozzle_cm2 * 1.0e-4 * s["exhaust_pressure"] / (GAS * s["exhaust_temperature"]) ** 0.5
    return place * (8.0 * (ratio**6 - ratio**7)) ** 0.5


def test_the_gas_has_what_was_left_in_it_and_drops_over_the_turbine(loaded):
    """Energy balance of the cylinders; nozzle flow at gamma 4/3; back pressure 6 kPa at 0.65 kg/s."""
    s, p, air, heat = loaded.s, loaded.p, loaded.truck.air_path, 1.8e5
    fuel = float(s["fuel_rate"])
    breathe(s, p, heat, fuel, 1e-9)
    flow = float(s["air_flow"])
    into = flow * AIR * (s["intake_temperature"] - REFERENCE) + heat
    assert s["exhaust_temperature"] == pytest.approx(REFERENCE + into / ((flow + fuel) * EXHAUST))
    assert s["back_pressure"] == pytest.approx(6000.0 * ((flow + fuel) / 0.65) ** 2)
    assert passed(s, air.nozzle_cm2) == pytest.approx((1.0 - s["gate"]) * (flow + fuel), rel=1e-6)
    behind = s["ambient_pressure"] + s["back_pressure"]
    drop = s["exhaust_temperature"] * air.turbine_efficiency * (1.0 - (behind / s["exhaust_pressure"]) ** 0.25)
    mixed = s["exhaust_temperature"] - (1.0 - s["gate"]) * drop
    assert s["stack_temperature"] == pytest.approx(mixed)


@pytest.mark.parametrize(("braking", "opens"), [(False, 127.0), (True, 66.0)])
def test_the_waste_gate_follows_its_diaphragm_within_a_fifth_of_a_second(loaded, braking, opens):
    """From the pressure behind the compressor in the file, all of it 300 kPa above; 1/e of the way is left after 0.2 s."""
    s, p, air = loaded.s, loaded.p, loaded.truck.air_path
    s["active_cylinders"] = 6.0 if braking else 0.0
    s["gate"], energy = 0.0, 1.1 * s["turbo_energy"]
    for _ in range(200):
        s["turbo_energy"] = energy
        breathe(s, p, 1.0e5, 0.005, 0.001)
    head = 0.65 * 2.0 * energy / 1.6e-4 * 0.048**2
    ratio = (1.0 + head / (AIR * float(s["ambient_temperature"]))) ** 3.5
    behind = (s["ambient_pressure"] - s["intake_depression"]) * ratio - s["ambient_pressure"]
    wanted = (behind / 1000.0 - opens) / air.gate_span_kpa
    assert 0.05 < wanted < 0.5
    assert s["gate"] == pytest.approx(wanted * (1.0 - exp(-1.0)), rel=5e-3)
    p["gate_stuck"] = 0.17
    breathe(s, p, 1.0e5, 0.005, 0.001)
    assert s["gate"] == 0.17


def test_while_it_brakes_the_gas_passes_the_narrow_nozzle(loaded):
    """8 cm2 in place of 12.5 (the truck's file)."""
    s, p = loaded.s, loaded.p
    torque = settle_air(s, p, loaded.tables, loaded.turn(1800.0), 6.0)
    into = s["air_flow"] * AIR * (s["intake_temperature"] - REFERENCE) + 0.92 * torque * 1800.0 * TURN
    assert s["exhaust_temperature"] == pytest.approx(REFERENCE + into / (s["air_flow"] * EXHAUST), rel=5e-4)
    breathe(s, p, 1.8e5, 0.0, 1e-9)
    assert passed(s, 8.0) == pytest.approx((1.0 - s["gate"]) * s["air_flow"], rel=1e-6)


def test_a_hole_in_the_charge_loses_what_a_nozzle_passes(loaded):
    """Choked flow of air, gamma 1.4: A p sqrt(1.4/(R T)) (2/2.4)^3; the compressor has to bring it, too."""
    s, p = loaded.s, loaded.p
    sound, heading = float(s["air_flow"]), float(s["manifold_heading"])
    p["charge_leak"] = 1.0e-4
    before = float(s["turbo_energy"])
    breathe(s, p, 1.6e5, float(s["fuel_rate"]), 0.05)
    leak = 1.0e-4 * s["manifold_pressure"] * (1.4 / (GAS * s["intake_temperature"])) ** 0.5 * (2.0 / 2.4) ** 3
    assert s["escaping_air"] == pytest.approx(leak, rel=1e-4)
    assert s["air_flow"] == pytest.approx(sound, rel=5e-3)
    assert s["manifold_heading"] < heading
    through = (1.0 - s["gate"]) * (s["air_flow"] + s["fuel_rate"])
    spent = s["exhaust_temperature"] - (s["exhaust_temperature"] - s["stack_temperature"]) / (1.0 - s["gate"])
    given = 0.97 * through * EXHAUST * (s["exhaust_temperature"] - spent)
    taken = (s["air_flow"] + leak) * AIR * (s["charge_temperature"] - s["ambient_temperature"])
    assert s["turbo_energy"] == pytest.approx((before + given * 0.05) / (1.0 + taken / before * 0.05), rel=1e-6)
    flow = s["air_flow"] + s["escaping_air"]
    assert s["filling_rate"] == pytest.approx(
        flow * GAS * s["intake_temperature"] / (s["manifold_pressure"] * 24.0e-3), rel=1e-6
    )
    breathe(s, p, 1.6e5, float(s["fuel_rate"]), 1e-9)
    assert s["intake_depression"] == pytest.approx(2990.0 * (flow / 0.65) ** 2, rel=1e-6), (
        "the filter passes it as well"
    )


def test_an_engine_at_rest_has_still_air(moment):
    s = moment.s
    for name in ("manifold_pressure", "manifold_heading", "exhaust_pressure"):
        assert s[name] == s["ambient_pressure"]
    for name in ("charge_temperature", "intake_temperature", "exhaust_temperature", "stack_temperature"):
        assert s[name] == s["ambient_temperature"]
    assert s["turbo_energy"] == s["air_flow"] == s["gate"] == 0.0
    assert s["breathing"] == pytest.approx(0.93 * moment.litres / (GAS * 288.15), rel=1e-6)
    s["active_cylinders"], s["engine_speed"] = 0.0, 0.0
    for _ in range(20):
        breathe(s, moment.p, 0.0, 0.0, STEP)
    assert s["turbo_energy"] < 1e-3 and s["manifold_heading"] == pytest.approx(s["ambient_pressure"], rel=1e-6)
    assert s["air_flow"] == 1.0e-4, "a tenth of a gram a second, so that there is an exhaust"
    assert s["filling_rate"] == 0.2, "a manifold finds its pressure behind an engine at rest, too"


def test_a_blocked_filter_holds_back_four_fifths_of_the_air_outside_at_most(loaded):
    loaded.p["filter_loss"] = 1.0e9
    breathe(loaded.s, loaded.p, 1.6e5, 0.005, 1e-9)
    assert loaded.s["intake_depression"] == pytest.approx(0.8 * loaded.s["ambient_pressure"])


@pytest.mark.parametrize("rpm", [1500.0, 2000.0])
def test_settled_it_brakes_as_by_hand(moment, rpm):
    """The turbine carries its compressor; power in air of 1 bar and 25 °C, friction included."""
    by_hand = Sums(T1, 0.0, air_c=25.0)
    friction, braking = by_hand.retarding_torques(rpm, 6, 1.0e5)
    state = moment.memory.state.copy().astype(STATE_TYPE)
    found = asked_braking_power(state, moment.parameters, moment.tables, rpm * TURN)
    assert found == pytest.approx((friction + braking) * rpm * TURN, rel=5e-3)


@pytest.mark.parametrize("rpm", [1000.0, 1400.0, 1900.0])
def test_at_full_load_the_turbine_pays_for_the_compressor(moment, rpm):
    """And burns what the curve asks: exhaust heat is that of the fuel less the work and less the shares of coolant and oil."""
    s, p = moment.s, moment.p
    friction = Sums(T1, 0.0, air_c=15.0).retarding_torques(rpm, 0, 1.0e5)[0]
    allowed = settle_air(s, p, moment.tables, moment.turn(rpm), 0.0)
    air = float(s["air_flow"])
    assert allowed == pytest.approx(air / 20.0 * 0.47 * 42.8e6 / (rpm * TURN), rel=1e-3)
    indicated = min(moment.full_load(rpm) + friction, allowed)
    fuel = indicated * rpm * TURN / (0.47 * 42.8e6)
    heat = 0.71 * (fuel * 42.8e6 - indicated * rpm * TURN)
    into = air * AIR * (s["intake_temperature"] - REFERENCE) + heat
    assert s["exhaust_temperature"] == pytest.approx(REFERENCE + into / ((air + fuel) * EXHAUST), rel=5e-4)
    through = (1.0 - s["gate"]) * (air + fuel)
    spent = s["exhaust_temperature"] - (s["exhaust_temperature"] - s["stack_temperature"]) / (1.0 - s["gate"])
    given = 0.97 * through * EXHAUST * (s["exhaust_temperature"] - spent)
    taken = air * AIR * (s["charge_temperature"] - s["ambient_temperature"])
    assert given == pytest.approx(taken, rel=2e-3)
    assert s["manifold_pressure"] == pytest.approx(s["manifold_heading"], rel=1e-3)


def test_boost_is_back_within_the_time_of_practice(moment):
    """0.5 to 2 s rising (from memory): from the boost of a light load to nine tenths of full boost, 1200 rpm."""
    s, p, speed = moment.s, moment.p, moment.turn(1200.0)
    settle_air(s, p, moment.tables, speed, 0.0)
    full = float(s["manifold_pressure"] - s["ambient_pressure"])
    s["manifold_pressure"] = s["ambient_pressure"] + 0.3 * full
    s["turbo_energy"] *= 0.3
    seconds = 0.0
    while s["manifold_pressure"] - s["ambient_pressure"] < 0.9 * full and seconds < 5.0:
        moment.b["manifold_pressure"] = s["manifold_pressure"]
        moment.run(1200.0, 1.0)
        left = s["fuel_rate"] * 42.8e6 - s["indicated_torque"] * speed
        breathe(s, p, 0.71 * left, s["fuel_rate"], 0.02)
        s["manifold_pressure"] += (s["manifold_heading"] - s["manifold_pressure"]) * min(s["filling_rate"] * 0.02, 1.0)
        seconds += 0.02
    assert 0.5 < seconds < 2.0
