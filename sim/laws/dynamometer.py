"""An engine on the dyno: the absorber that loads it, the correction of its power for air, and the shares a controller tells.

Only the diesel form of the power correction lives here. The form for spark-ignition engines does not suit a diesel, whose
power is set by its fuel and not by its air, and is left out on purpose.
"""

import math

from sim.compiled import compiled

CODE_OFFSET = 125.0  # of a torque in percent, SAE J1939 (seen second-hand)
HIGHEST_CODE = 250.0


@compiled
def absorber_torque(free_speed, target, learnt, stiffness, inertia, step):
    """Torque of a speed-controlled absorber that acts within the step it is worked out for.

    Parameters
    ----------
    free_speed : float
        Speed the shaft would have at the end of the step without the absorber. [rad/s]
    target : float
        Speed to hold. [rad/s]
    learnt : float
        What the slow part of the absorber's control has learnt. [N m]
    stiffness : float
        Torque per speed off the target. [N m s/rad]
    inertia : float
        Of everything that turns with the shaft, above 0. [kg m²]
    step : float
        [s]

    Returns
    -------
    torque : float
        Against the rotation. [N m]

    Notes
    -----
    T = learnt + k (n' - n_target) with n' = n_free - T dt/J, solved for T: stable however stiff the absorber is. The same
    form serves a roller, with force, speed and mass in place of torque, engine speed and inertia.

    Examples
    --------
    >>> round(absorber_torque(101.0, 100.0, 500.0, 2000.0, 4.0, 0.01), 3)
    416.667
    """
    return (learnt + stiffness * (free_speed - target)) / (1.0 + stiffness * step / inertia)


@compiled
def air_factor(
    dry_pressure, temperature, reference_pressure, reference_temperature, pressure_exponent, temperature_exponent
):
    """Air factor of the diesel power correction.

    Parameters
    ----------
    dry_pressure : float
        Barometer without its water vapour, above 0. [Pa]
    temperature : float
        Intake air, above 0. [K]
    reference_pressure : float
        Dry. [Pa]
    reference_temperature : float
        [K]
    pressure_exponent : float
        0.7 for turbocharged engines, 1 without a turbocharger. [-]
    temperature_exponent : float
        By kind of engine and standard. [-]

    Returns
    -------
    factor : float
        Above 1 in thin or hot air. [-]

    Notes
    -----
    f_a = (p_ref/p_d)^a (T/T_ref)^b; the reference is 99 kPa dry and 298 K.

    References
    ----------
    [1] ISO 1585 and UN Regulation 85, structure from a worked example of an internal-combustion-engine textbook, ch. 27
        (published, second-hand). Exponents 0.7 and 1.5 from that example; 1.2 and 0.7 of ISO 1585 from memory.

    Examples
    --------
    >>> round(air_factor(95.0e3, 303.0, 99.0e3, 298.0, 0.7, 1.2), 4)
    1.05
    """
    return math.pow(reference_pressure / dry_pressure, pressure_exponent) * math.pow(
        temperature / reference_temperature, temperature_exponent
    )


@compiled
def specific_fuel(fuel_rate, displacement, speed):
    """Fuel a four-stroke engine burns in one cycle per swept volume.

    Parameters
    ----------
    fuel_rate : float
        [kg/s]
    displacement : float
        Swept volume of all cylinders, above 0. [m³]
    speed : float
        Engine speed, above 0. [rad/s]

    Returns
    -------
    fuel : float
        [kg/m³]

    Notes
    -----
    q = 120,000 m[g/s]/(V[L] n[rpm]) in mg/L; 1 mg/L is 0.001 kg/m³.

    Examples
    --------
    >>> round(1000.0 * specific_fuel(0.025, 12.9e-3, 1800.0 * math.pi / 30.0), 2)
    129.2
    """
    return fuel_rate * 4.0 * math.pi / (displacement * speed)


@compiled
def engine_factor(charge_fuel, least, floor):
    """Exponent of the air factor: how much an engine's power depends on its air.

    Parameters
    ----------
    charge_fuel : float
        Fuel per cycle and swept volume over the boost pressure ratio. [kg/m³]
    least : float
        Below it the floor holds; 0.040. [kg/m³]
    floor : float
        0.3. [-]

    Returns
    -------
    exponent : float
        `floor` to 1.2. [-]

    Notes
    -----
    f_m = 0.036 q_c - 1.14 with q_c = q/r in mg/L, from 40 to 65 mg/L; 0.3 below, 1.2 above.

    References
    ----------
    [1] ISO 1585 form, from a worked example of an internal-combustion-engine textbook, ch. 27 (published, second-hand).
        Another edition begins at 37.2 mg/L (common practice), its floor then is 0.2 (derived).

    Examples
    --------
    >>> round(engine_factor(0.050, 0.040, 0.3), 3), engine_factor(0.030, 0.040, 0.3)
    (0.66, 0.3)
    """
    if charge_fuel < least:
        return floor
    exponent = 36.0 * charge_fuel - 1.14
    return exponent if exponent < 1.2 else 1.2


@compiled
def power_correction(air, exponent):
    """What a measured power is multiplied with.

    Parameters
    ----------
    air : float
        By `air_factor`, above 0. [-]
    exponent : float
        By `engine_factor`. [-]

    Returns
    -------
    factor : float
        alpha; valid from 0.9 to 1.1 only. [-]

    Notes
    -----
    alpha = f_a^f_m, P_ref = alpha P.

    References
    ----------
    [1] As `air_factor`; the range of validity is common practice.

    Examples
    --------
    >>> round(power_correction(air_factor(95.0e3, 303.0, 99.0e3, 298.0, 0.7, 1.2), 0.66), 4)
    1.0328
    """
    return math.pow(air, exponent)


@compiled
def torque_rise(peak_torque, rated_torque):
    """How far the torque rises as a loaded engine is pulled down from rated speed.

    Parameters
    ----------
    peak_torque : float
        [N m]
    rated_torque : float
        At rated speed, above 0. [N m]

    Returns
    -------
    rise : float
        [-]

    Notes
    -----
    (T_peak - T_rated)/T_rated

    References
    ----------
    [1] Definition from memory, usual in the trade.

    Examples
    --------
    >>> torque_rise(120.0, 100.0)
    0.2
    """
    return (peak_torque - rated_torque) / rated_torque


@compiled
def speed_droop(other_speed, first_speed):
    """Speed regulation of a governor: how far a speed lies above the one before the load changed.

    Parameters
    ----------
    other_speed : float
        Settled, or highest or lowest on the way. [rad/s]
    first_speed : float
        Before the load changed, above 0. [rad/s]

    Returns
    -------
    droop : float
        Positive when the speed rose. [-]

    Notes
    -----
    Load removed: momentary (N2 - N1)/N1, steady (N3 - N1)/N1. Load applied, with N4 before, N5 lowest, N6 settled: both are
    negative here.

    References
    ----------
    [1] Three-speed method and denominators: common practice, no source.

    Examples
    --------
    >>> round(100.0 * speed_droop(2250.0, 2100.0), 2)
    7.14
    """
    return (other_speed - first_speed) / first_speed


@compiled
def torque_code(torque, reference):
    """A torque as the engine controller puts it on the vehicle's bus.

    Parameters
    ----------
    torque : float
        [N m]
    reference : float
        Reference torque of the engine, above 0. [N m]

    Returns
    -------
    code : float
        Whole number, 0 to 250. [-]

    Notes
    -----
    1 % of the reference per bit, offset -125 %.

    References
    ----------
    [1] SAE J1939, parameters 512, 513, 514 and 544 (published, second-hand).

    Examples
    --------
    >>> torque_code(850.0, 2237.0)
    163.0
    """
    code = math.floor(100.0 * torque / reference + CODE_OFFSET + 0.5)
    return float(min(max(code, 0.0), HIGHEST_CODE))


@compiled
def coded_percent(code):
    """A torque code read back.

    Parameters
    ----------
    code : float
        By `torque_code`. [-]

    Returns
    -------
    percent : float
        Of the reference torque. [%]

    References
    ----------
    [1] As `torque_code`.

    Examples
    --------
    >>> coded_percent(163.0)
    38.0
    """
    return code - CODE_OFFSET


@compiled
def load_at_speed(torque, most):
    """Load at the present engine speed.

    Parameters
    ----------
    torque : float
        What the controller gives. [N m]
    most : float
        What it could give at this speed, above 0. [N m]

    Returns
    -------
    share : float
        0 or more. [-]

    References
    ----------
    [1] SAE J1939, parameter 92: ratio of actual to maximum available torque at the present speed (from memory).

    Examples
    --------
    >>> load_at_speed(500.0, 1000.0)
    0.5
    """
    share = torque / most
    return share if share > 0.0 else 0.0
