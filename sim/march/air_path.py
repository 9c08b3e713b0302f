"""The air path of the engine as it runs: a rotor whose energy follows from what turbine and compressor give and take.

A step is taken with the temperatures, every few ticks; between two steps the manifold fills from tick to tick. Where the rotor
comes to rest the turbine pays for the compressor: that is the boost of a settled engine, `settled`.
"""

from sim.compiled import compiled
from sim.laws.air import DRY_AIR_GAS_CONSTANT
from sim.laws.air_path import (
    AIR_HEAT,
    EXHAUST_HEAT,
    HEAT_REFERENCE,
    charge_ratio,
    compressor_outlet,
    cooled_charge,
    cooled_pressure,
    exhaust_temperature,
    expansion,
    gate_share,
    leak_flow,
    turbine_outlet,
)
from sim.laws.engine import air_flow, air_per_cycle, restriction_pressure
from sim.laws.tables import table_value
from sim.march.plant import THIN_AIR, charge_limit, compression_torque, fuel_rate, warm_friction
from sim.march.records import FULL_LOAD_ROW, SETTLED_ROW, THIN_ROW
from sim.units import BAR

COLDEST = 150.0  # K: the last heat of an engine that stops, over hardly any air, is no temperature
LEAST_FLOW = 1.0e-4  # kg/s: an engine at rest passes no air, and has no exhaust
MOST_DEPRESSION = 0.8  # of the outside pressure: the air a blocked filter can hold back
GATE_TIME = 0.2  # s, assumed: the waste gate follows its diaphragm, which feels the air behind the compressor
SLOWEST_FILLING = 0.2  # 1/s: a manifold finds its pressure behind an engine at rest, too
LONGEST_STEP = 0.1  # s: from which rotor and gate would begin to hunt
SETTLED = 1.0e-5  # change of the rotor's energy in a step, over that energy, of a rotor at rest
MOST_STEPS = 2000
EVERY = 5  # columns of the tables from one settled speed to the next


@compiled
def breathe(s, p, heat, fuel, step):
    """The air path over one step.

    Parameters
    ----------
    s : record
        State; engine speed, manifold pressure and outside air are read, the air path is written. [SI]
    heat : float
        Left in the exhaust gas, mean over the step. [W]
    fuel : float
        [kg/s]
    step : float
        [s]

    Notes
    -----
    d(J w²/2)/dt = eta_m P_t - P_c. Both powers of a step are those of its begin, but for the part of P_c that is proportional
    to the rotor's energy, which is taken at its end: so any step is stable.
    """
    ambient, outside = s["ambient_pressure"], s["ambient_temperature"]
    manifold = s["manifold_pressure"]
    braking = s["active_cylinders"] > 0.0
    drawn = s["air_flow"] + s["escaping_air"]
    depression = min(restriction_pressure(p["filter_loss"], drawn), MOST_DEPRESSION * ambient)
    head = p["head_per_energy"] * s["turbo_energy"]
    pressure = (ambient - depression) * charge_ratio(head, outside)
    hot = compressor_outlet(outside, head, p["compressor_efficiency"])
    intake = cooled_charge(hot, outside, p["cooler_effectiveness"])
    speed = s["engine_speed"]
    filled = p["filling_low"] - p["filling_slope"] * (speed - p["filling_from"])
    filled = min(max(filled, p["filling_least"]), p["filling_low"])
    breathing = air_per_cycle(1.0, intake, p["displacement"], filled)
    flowing = air_flow(breathing, speed)
    air = max(flowing * manifold, LEAST_FLOW)
    escaped = 0.0
    if p["charge_leak"] > 0.0:
        escaped = leak_flow(p["charge_leak"], manifold, intake, ambient)
        flowing += escaped / manifold
    s["manifold_heading"] = cooled_pressure(pressure, p["cooler_loss"], flowing)
    s["filling_rate"] = max(flowing * DRY_AIR_GAS_CONSTANT * intake / p["manifold_volume"], SLOWEST_FILLING)
    if p["gate_stuck"] < 0.0:
        opening = p["braking_gate_opening"] if braking else p["gate_opening"]
        wanted = gate_share(pressure - ambient, opening, p["gate_span"])
        s["gate"] += (wanted - s["gate"]) * min(step / GATE_TIME, 1.0)
    else:
        s["gate"] = p["gate_stuck"]
    gas = air + fuel
    through = (1.0 - s["gate"]) * gas
    behind = ambient + restriction_pressure(p["exhaust_loss"], gas)
    burnt = max(exhaust_temperature(air, fuel, intake, heat), COLDEST)
    nozzle = p["braking_nozzle"] if braking else p["nozzle"]
    expanded = expansion(through, burnt, nozzle, behind)
    spent = turbine_outlet(burnt, expanded, p["turbine_efficiency"])
    given = through * EXHAUST_HEAT * (burnt - spent)
    taken = (air + escaped) * AIR_HEAT * (hot - outside)
    kept = p["bearing_efficiency"] * given
    energy = s["turbo_energy"]
    decay = taken / energy if energy > 0.0 else 0.0
    s["turbo_energy"] = (energy + kept * step) / (1.0 + decay * step)
    s["breathing"] = breathing
    s["air_flow"] = air
    s["escaping_air"] = escaped
    s["intake_depression"] = depression
    s["charge_temperature"] = hot
    s["intake_temperature"] = intake
    s["exhaust_temperature"] = burnt
    s["exhaust_pressure"] = behind / (expanded * expanded * expanded * expanded)
    s["stack_temperature"] = burnt - (1.0 - s["gate"]) * (burnt - spent)
    s["back_pressure"] = behind - ambient


@compiled
def exhaust_share(s, p, combustion, compression):
    """What the gas carries of the heat of combustion and of the engine brake's work; coolant and oil take the rest.

    Parameters
    ----------
    combustion, compression : float
        [J] or [W]

    Returns
    -------
    heat : float
        The same.
    """
    return (1.0 - p["oil_combustion_share"] - p["coolant_combustion_share"]) * combustion + (
        1.0 - p["coolant_compression_share"]
    ) * compression


@compiled
def settle_air(s, p, tables, speed, cylinders):
    """Runs the air path at full load, or with the engine brake, at a held speed until the rotor is at rest.

    Parameters
    ----------
    s : record
        State; outside air is read, the air path is written. [SI]
    speed : float
        Engine speed. [rad/s]
    cylinders : float
        Working as a brake; 0 for full load. [-]

    Returns
    -------
    torque : float
        Engine brake: of the working cylinders; full load: what the air would allow without smoke. [N m]
    """
    s["engine_speed"], s["active_cylinders"] = speed, cylinders
    warm = warm_friction(speed, p)
    full = table_value(tables[FULL_LOAD_ROW], p["curve_first"], p["curve_per_step"], speed) + warm
    torque = 0.0
    for _ in range(MOST_STEPS):
        before = s["turbo_energy"]
        combustion, compression, fuel = 0.0, 0.0, 0.0
        if cylinders > 0.0:
            torque = compression_torque(cylinders, s["manifold_pressure"], s["exhaust_pressure"], p)
            compression = torque * speed
        else:
            torque = charge_limit(s["manifold_pressure"], s["breathing"], p["least_air_fuel"], p)
            burning = min(full, torque)
            fuel = fuel_rate(burning, warm, speed, p, tables)
            combustion = fuel * p["heating_value"] - burning * speed
        breathe(s, p, exhaust_share(s, p, combustion, compression), fuel, LONGEST_STEP)
        s["manifold_pressure"] += (s["manifold_heading"] - s["manifold_pressure"]) * min(
            s["filling_rate"] * LONGEST_STEP, 1.0
        )
        if abs(s["turbo_energy"] - before) <= SETTLED * before:
            break
    return torque


@compiled
def still(s, p, ambient, outside):
    """The air path of an engine at rest.

    Parameters
    ----------
    ambient, outside : float
        Air. [Pa], [K]
    """
    s["ambient_pressure"], s["ambient_temperature"] = ambient, outside
    s["manifold_pressure"] = s["manifold_heading"] = s["exhaust_pressure"] = ambient
    s["charge_temperature"] = s["intake_temperature"] = s["exhaust_temperature"] = s["stack_temperature"] = outside
    s["turbo_energy"] = s["air_flow"] = s["escaping_air"] = s["gate"] = 0.0
    s["intake_depression"] = s["back_pressure"] = 0.0
    s["breathing"] = air_per_cycle(1.0, outside, p["displacement"], p["filling_low"])


@compiled
def asked_braking_power(state, parameters, tables, speed):
    """Power a settled engine brake takes with all cylinders in the air it is stated for, friction included.

    Parameters
    ----------
    state : array
        A state record of its own, shape (1,). [SI]
    speed : float
        Engine speed. [rad/s]

    Returns
    -------
    power : float
        In air of 1 bar and 25 °C. [W]
    """
    s, p = state[0], parameters[0]
    still(s, p, BAR, HEAT_REFERENCE)
    return (settle_air(s, p, tables, speed, p["cylinders"]) + warm_friction(speed, p)) * speed


@compiled
def settled_lines(state, parameters, tables, step):
    """Lines of the settled air path over engine speed, into the rows of the tables that are kept for them.

    Parameters
    ----------
    state : array
        A state record of its own, shape (1,). [SI]
    step : float
        Engine speed between columns of the tables. [rad/s]

    Notes
    -----
    Every fifth column up to the engine's highest speed is settled, from the rest of the one before; between two it is straight.
    """
    s, p = state[0], parameters[0]
    width = tables.shape[1]
    last = min(width - 1, int((p["overspeed_bound"] - p["curve_first"]) / step))
    for k in range(8):
        pairs = k % 4
        row = SETTLED_ROW + pairs if k < 4 else THIN_ROW + pairs
        still(s, p, p["start_pressure"] * (1.0 if k < 4 else THIN_AIR), p["start_temperature"])
        before, column = 0.0, 0
        while column <= last:
            torque = settle_air(s, p, tables, p["curve_first"] + column * step, pairs * p["cylinders"] / 3.0)
            if column == 0:
                before = torque
            for j in range(1, EVERY + 1):
                tables[row, max(column - EVERY + j, 0)] = before + (torque - before) * j / EVERY
            before = torque
            column += EVERY
        for j in range(column - EVERY, width):
            tables[row, j] = before
