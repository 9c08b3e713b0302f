"""The way of the air: filter, compressor, charge cooler, cylinders, turbine, exhaust; and the smoke it leaves with.

Mean values over a working cycle, ideal gases: R 287.05 for both, air of cp 1004.5 J/(kg K) and gamma 1.4, exhaust of 1148 and
4/3. Those two make powers into products and roots: a pressure ratio is a temperature ratio to the power 3.5 in air, 4 in
exhaust. Leaves out radiation, pulses of the exhaust, and maps: one efficiency holds over the range of the engine.
"""

import math

from sim.compiled import compiled
from sim.laws.air import DRY_AIR_GAS_CONSTANT, PRESSURE_EXPONENT, TEMPERATURE_LAPSE
from sim.units import SEA_LEVEL_PRESSURE, SEA_LEVEL_TEMPERATURE

AIR_HEAT = 1004.5  # J/(kg K): at constant pressure
EXHAUST_HEAT = 1148.0  # J/(kg K): at constant pressure
HEAT_REFERENCE = 298.15  # K: at which heating values are stated
CHOKED_RATIO = 6.0 / 7.0  # temperature over total temperature at the speed of sound: 2/(gamma + 1)
CHOKED_FLOW = math.sqrt(8.0 * (CHOKED_RATIO**6 - CHOKED_RATIO**7))  # 0.67322
CHOKED_PLACE = CHOKED_FLOW / CHOKED_RATIO**4  # 1.2472: of the flow over pressure behind, as `expansion` is given it
HEAD_COEFFICIENT = 0.65  # isentropic head over tip speed squared, 0.6 to 0.7 (from memory)
FREE_PRESSURE = 89874.6  # Pa: standard atmosphere at 1000 m, from which the altitude counts
LEAST_PRESSURE = 41060.7  # Pa: the same at 7000 m; a barometer that reads less takes no more away
AIR_CHOKED = 0.5282817877171742  # pressure ratio at the speed of sound, gamma 1.4


@compiled
def charge_ratio(head, inlet_temperature):
    """Pressure ratio of a compressor that gives air an isentropic head.

    Parameters
    ----------
    head : float
        [J/kg]
    inlet_temperature : float
        [K]

    Returns
    -------
    ratio : float
        [-]

    Notes
    -----
    PR = (1 + h/(cp T1))^3.5

    References
    ----------
    [1] Ideal gas, any thermodynamics handbook.

    Examples
    --------
    >>> round(charge_ratio(1004.5 * 298.15 * (3.0 ** (2.0 / 7.0) - 1.0), 298.15), 9)
    3.0
    """
    rise = 1.0 + head / (AIR_HEAT * inlet_temperature)
    return rise * rise * rise * math.sqrt(rise)


@compiled
def head_of(ratio, inlet_temperature):
    """Isentropic head of a pressure ratio: `charge_ratio` read backwards.

    Parameters
    ----------
    ratio : float
        [-]
    inlet_temperature : float
        [K]

    Returns
    -------
    head : float
        [J/kg]

    Examples
    --------
    >>> round(head_of(3.0, 298.15), 1)
    110434.0
    """
    return AIR_HEAT * inlet_temperature * (math.pow(ratio, 2.0 / 7.0) - 1.0)


@compiled
def rotor_head(energy, inertia, tip_radius):
    """Isentropic head of a compressor at the energy of its turning rotor.

    Parameters
    ----------
    energy : float
        [J]
    inertia : float
        Wheels and shaft. [kg m²]
    tip_radius : float
        Of the compressor wheel. [m]

    Returns
    -------
    head : float
        [J/kg]

    Notes
    -----
    h = psi u², u² = 2 E r²/J: head grows with tip speed squared.

    References
    ----------
    [1] Euler's equation of turbomachines; psi from memory.

    Examples
    --------
    >>> round(rotor_head(0.5 * 2.0e-4 * 10000.0 ** 2, 2.0e-4, 0.04))
    104000
    """
    return HEAD_COEFFICIENT * 2.0 * energy / inertia * tip_radius * tip_radius


@compiled
def compressor_outlet(inlet_temperature, head, efficiency):
    """Air temperature behind the compressor.

    Parameters
    ----------
    inlet_temperature : float
        [K]
    head : float
        Isentropic. [J/kg]
    efficiency : float
        Isentropic, 0.7 to 0.8. [-]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T2 = T1 + h/(eta_c cp); the power is this rise times m cp.

    References
    ----------
    [1] Ideal gas, any thermodynamics handbook. Efficiency over 0.75 across an engine's range, 0.80 at its best: bulletin of
        turbocharger practice, second-hand.

    Examples
    --------
    >>> round(compressor_outlet(298.15, head_of(3.0, 298.15), 0.76), 1)
    442.8
    """
    return inlet_temperature + head / (efficiency * AIR_HEAT)


@compiled
def cooled_charge(hot, ambient, effectiveness):
    """Air temperature behind the charge cooler.

    Parameters
    ----------
    hot : float
        Before it. [K]
    ambient : float
        Of the cooling air. [K]
    effectiveness : float
        Share of the way to the cooling air, 0.80 to 0.90. [-]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T = T2 - eps (T2 - T_amb)

    References
    ----------
    [1] Definition of effectiveness. About 150 °C to 45 °C at 25 °C outside: common practice, no source.

    Examples
    --------
    >>> round(cooled_charge(442.8, 298.15, 0.85), 1)
    319.8
    """
    return hot - effectiveness * (hot - ambient)


@compiled
def cooled_pressure(pressure, coefficient, breathing):
    """Manifold pressure behind a charge cooler whose loss grows with the square of the flow that this pressure drives.

    Parameters
    ----------
    pressure : float
        Before the cooler, absolute. [Pa]
    coefficient : float
        Loss over flow squared. [Pa s²/kg²]
    breathing : float
        Flow through the cooler per manifold pressure. [kg/(s Pa)]

    Returns
    -------
    pressure : float
        Absolute. [Pa]

    Notes
    -----
    p = p2 - k (c p)², solved for p: 2 p2/(1 + sqrt(1 + 4 k c² p2)).

    Examples
    --------
    >>> p = cooled_pressure(3.0e5, 2.4e4, 2.2e-6)
    >>> abs(3.0e5 - 2.4e4 * (2.2e-6 * p) ** 2 - p) < 1.0e-6
    True
    """
    return 2.0 * pressure / (1.0 + math.sqrt(1.0 + 4.0 * coefficient * breathing * breathing * pressure))


@compiled
def exhaust_temperature(air, fuel, intake_temperature, heat):
    """Temperature of the gas that leaves the cylinders.

    Parameters
    ----------
    air : float
        Through the cylinders, above 0. [kg/s]
    fuel : float
        [kg/s]
    intake_temperature : float
        In the manifold. [K]
    heat : float
        Left in the gas: of the fuel, or of the engine brake's work. [W]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T3 = T0 + [m cp_a (T_im - T0) + Q]/[(m + m_f) cp_e], T0 298.15 K.

    References
    ----------
    [1] Energy balance.

    Examples
    --------
    >>> round(exhaust_temperature(0.400, 0.0155, 316.0, 0.375 * 0.0155 * 42.8e6), 1)
    834.7
    """
    into = air * AIR_HEAT * (intake_temperature - HEAT_REFERENCE) + heat
    return HEAT_REFERENCE + into / ((air + fuel) * EXHAUST_HEAT)


@compiled
def expansion(flow, temperature, area, pressure_behind):
    """How far exhaust gas must expand through a turbine nozzle to pass it.

    Parameters
    ----------
    flow : float
        [kg/s]
    temperature : float
        Before the turbine. [K]
    area : float
        Effective. [m²]
    pressure_behind : float
        Absolute. [Pa]

    Returns
    -------
    ratio : float
        Isentropic outlet over inlet temperature, (p4/p3)^(1/4), at most 1: the pressure before the turbine is
        p4/ratio⁴. [-]

    Notes
    -----
    m = A p3 Phi(p4/p3)/sqrt(R T3), Phi(r) = sqrt(8 (r^1.5 - r^1.75)), from 1.853 on 0.67322. With G = m sqrt(R T3)/(A p4) and
    q = r^(1/4) this is q² G² = 8 (1 - q), so q = 2/(1 + sqrt(1 + G²/2)); choked q = (0.67322/G)^(1/4).

    References
    ----------
    [1] Isentropic nozzle flow of an ideal gas with gamma 4/3, any gas-dynamics handbook.

    Examples
    --------
    >>> q = expansion(0.6479 * 1.5e5 * 1.0e-3 / math.sqrt(287.05287 * 900.0), 900.0, 1.0e-3, 1.0e5)
    >>> round(q**-4, 4)
    1.5
    """
    place = flow * math.sqrt(DRY_AIR_GAS_CONSTANT * temperature) / (area * pressure_behind)
    if place < CHOKED_PLACE:
        return 2.0 / (1.0 + math.sqrt(1.0 + 0.5 * place * place))
    return math.sqrt(math.sqrt(CHOKED_FLOW / place))


@compiled
def turbine_outlet(inlet_temperature, expanded, efficiency):
    """Gas temperature behind the turbine.

    Parameters
    ----------
    inlet_temperature : float
        [K]
    expanded : float
        By `expansion`. [-]
    efficiency : float
        Isentropic, 0.65 to 0.75. [-]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    T4 = T3 [1 - eta_t (1 - (p4/p3)^(1/4))]; the power is the drop times m cp.

    References
    ----------
    [1] Ideal gas, any thermodynamics handbook. Efficiency: article on turbines of variable geometry, second-hand.

    Examples
    --------
    >>> round(turbine_outlet(900.0, (1.08 / 2.60) ** 0.25, 0.74), 1)
    768.7
    """
    return inlet_temperature * (1.0 - efficiency * (1.0 - expanded))


@compiled
def gate_share(boost, opening, span):
    """Share of the exhaust that a waste gate leads past the turbine.

    Parameters
    ----------
    boost : float
        Behind the compressor, above outside pressure. [Pa]
    opening : float
        At which the gate leaves its seat. [Pa]
    span : float
        Above it, at which all would pass. [Pa]

    Returns
    -------
    share : float
        0 to 0.5, all the gate can pass. [-]

    References
    ----------
    [1] A diaphragm against a spring: proportional. Size of the gate assumed.

    Examples
    --------
    >>> gate_share(1.0e5, 1.4e5, 1.5e5), gate_share(1.7e5, 1.4e5, 1.5e5), gate_share(9.0e5, 1.4e5, 1.5e5)
    (0.0, 0.2, 0.5)
    """
    share = (boost - opening) / span
    if share <= 0.0:
        return 0.0
    return share if share < 0.5 else 0.5


@compiled
def leak_flow(area, pressure, temperature, ambient_pressure):
    """Air that escapes through a hole between compressor and cylinders.

    Parameters
    ----------
    area : float
        Effective. [m²]
    pressure, ambient_pressure : float
        Inside and outside, absolute. [Pa]
    temperature : float
        Inside. [K]

    Returns
    -------
    flow : float
        0 where there is no boost. [kg/s]

    Notes
    -----
    m = A p sqrt(7 (r^(2/1.4) - r^(2.4/1.4)))/sqrt(R T), r = p_amb/p, at least 0.5283.

    References
    ----------
    [1] Isentropic nozzle flow of an ideal gas with gamma 1.4, any gas-dynamics handbook.

    Examples
    --------
    >>> round(leak_flow(1.0e-4, 2.4e5, 318.0, 1.0e5), 5)
    0.05439
    >>> leak_flow(1.0e-4, 1.0e5, 318.0, 1.0e5)
    0.0
    """
    if pressure <= ambient_pressure:
        return 0.0
    ratio = ambient_pressure / pressure
    if ratio < AIR_CHOKED:
        ratio = AIR_CHOKED
    place = math.pow(ratio, 2.0 / 1.4)
    passed = math.sqrt(7.0 * (place - place * math.pow(ratio, 0.4 / 1.4)))
    return area * pressure * passed / math.sqrt(DRY_AIR_GAS_CONSTANT * temperature)


@compiled
def smoke_density(air_fuel_ratio):
    """Light absorption of the exhaust by the air there is for the fuel.

    Parameters
    ----------
    air_fuel_ratio : float
        [-]

    Returns
    -------
    density : float
        [1/m]

    Notes
    -----
    k = 0.67 exp(-0.36 (AFR - 18)): below half a percent over 0.43 m at 30, a quarter at 18, most of the light at 14.

    References
    ----------
    [1] Shape and numbers assumed: smoke begins to show near an air-fuel ratio of 18 to 22 (from memory).

    Examples
    --------
    >>> round(smoke_density(18.0), 2), round(smoke_density(30.0), 4)
    (0.67, 0.0089)
    """
    return 0.67 * math.exp(-0.36 * (air_fuel_ratio - 18.0))


@compiled
def opacity(density, path):
    """Share of light that smoke keeps back.

    Parameters
    ----------
    density : float
        Light absorption. [1/m]
    path : float
        Of the light through the smoke. [m]

    Returns
    -------
    share : float
        0 to 1. [-]

    Notes
    -----
    N = 1 - exp(-k L)

    References
    ----------
    [1] Beer and Lambert, as the smoke test of SAE J1667 and EU free acceleration use it; 0.43 m from memory.

    Examples
    --------
    >>> [round(100.0 * opacity(k, 0.43), 1) for k in (2.5, 3.0, 1.5)]
    [65.9, 72.5, 47.5]
    """
    return 1.0 - math.exp(-density * path)


@compiled
def blow_by(charge, share, temperature, pressure):
    """Volume of gas that gets past the pistons.

    Parameters
    ----------
    charge : float
        Air through the cylinders. [kg/s]
    share : float
        Of it, past the rings. [-]
    temperature : float
        In the crankcase. [K]
    pressure : float
        In the crankcase, absolute. [Pa]

    Returns
    -------
    flow : float
        [m³/s]

    References
    ----------
    [1] Ideal gas.

    Examples
    --------
    >>> round(60000.0 * blow_by(0.6, 0.004, 368.15, 101325.0), 1)
    150.2
    """
    return charge * share * DRY_AIR_GAS_CONSTANT * temperature / pressure


@compiled
def altitude_share(pressure):
    """Share of full torque that a turbocharged engine is allowed where its barometer reads a pressure.

    Parameters
    ----------
    pressure : float
        Outside air, absolute. [Pa]

    Returns
    -------
    share : float
        1 up to 1000 m of the standard atmosphere, then 1 % less for each 100 m, at least 0.4. [-]

    References
    ----------
    [1] US Mine Safety and Health Administration, diesel altitude-derating guidance: turbocharged, fuel/air 0.047 or less, at
        least 1 % per 100 m above 1000 m. Height by the International Standard Atmosphere.

    Examples
    --------
    >>> altitude_share(101325.0), round(altitude_share(79495.2), 4), round(altitude_share(70108.5), 4)
    (1.0, 0.9, 0.8)
    """
    if pressure >= FREE_PRESSURE:
        return 1.0
    if pressure <= LEAST_PRESSURE:
        return 0.4
    height = (1.0 - math.pow(pressure / SEA_LEVEL_PRESSURE, 1.0 / PRESSURE_EXPONENT)) * SEA_LEVEL_TEMPERATURE
    return 1.0 - (height / TEMPERATURE_LAPSE - 1000.0) * 1.0e-4
