"""What the controller can know: sensors as electrical circuits, and each circuit read backwards."""

import math

from sim.compiled import compiled
from sim.units import MILE

REFERENCE_TEMPERATURE = 298.15  # K: 25 °C, where thermistors are stated


@compiled
def revolutions_per_mile(rolling_radius):
    """Turns of a tyre on one mile.

    Parameters
    ----------
    rolling_radius : float
        [m]

    Returns
    -------
    revolutions : float
        [1/mi]

    Notes
    -----
    M = 1609.344/(2 pi r)

    References
    ----------
    [1] Kinematics; M is measured by SAE J1025 (seen second-hand) and shifts with load and inflation.

    Examples
    --------
    >>> round(revolutions_per_mile(0.381), 1)  # 30 in
    672.3
    """
    return MILE / (2.0 * math.pi * rolling_radius)


@compiled
def worn_revolutions(revolutions, worn):
    """Turns per mile of a tyre whose tread has worn.

    Parameters
    ----------
    revolutions : float
        Of the tyre as new. [1/mi]
    worn : float
        Depth of tread that is gone, less than the rolling radius. [m]

    Returns
    -------
    revolutions : float
        [1/mi]

    Notes
    -----
    The rolling radius shrinks by what is gone.

    Examples
    --------
    >>> round(worn_revolutions(523.0, 0.019), 1)
    544.1
    """
    return revolutions_per_mile(MILE / (2.0 * math.pi * revolutions) - worn)


@compiled
def pulses_per_mile(tyre_revolutions, axle_ratio, teeth):
    """Pulses of the tone wheel on the gearbox output shaft on one mile.

    Parameters
    ----------
    tyre_revolutions : float
        Tyre turns per mile. [1/mi]
    axle_ratio : float
        [-]
    teeth : float
        Of the tone wheel. [-]

    Returns
    -------
    pulses : float
        [1/mi]

    Examples
    --------
    >>> round(pulses_per_mile(502.0, 3.90, 16.0), 1)
    31324.8
    """
    return tyre_revolutions * axle_ratio * teeth


@compiled
def indicated_speed(wheel_speed, fitted_pulses, programmed_pulses):
    """Road speed the controller works out from the pulses it counts.

    Parameters
    ----------
    wheel_speed : float
        Speed of the drive tyres' tread. [m/s]
    fitted_pulses : float
        Pulses per mile the hardware gives. [1/mi]
    programmed_pulses : float
        Pulses per mile the controller has been told. [1/mi]

    Returns
    -------
    speed : float
        Equal to the truth when both numbers agree and no wheel slips. [m/s]

    Notes
    -----
    v_indicated = v PPM_fitted/PPM_programmed

    Examples
    --------
    >>> indicated_speed(20.0, 30000.0, 30000.0), indicated_speed(20.0, 33000.0, 30000.0)
    (20.0, 22.0)
    """
    return wheel_speed * (fitted_pulses / programmed_pulses)


@compiled
def corrected_pulses(programmed_pulses, shown, true):
    """Pulses per mile to program after a road test.

    Parameters
    ----------
    programmed_pulses : float
        What the controller had been told. [1/mi]
    shown : float
        Speed, or distance, shown. [m/s or m]
    true : float
        Speed, or distance, there was, above 0. [m/s or m]

    Returns
    -------
    pulses : float
        [1/mi]

    Notes
    -----
    PPM_new = PPM_old v_shown/v_true

    References
    ----------
    [1] Kinematics; `indicated_speed` solved for the pulses.

    Examples
    --------
    >>> round(corrected_pulses(28800.0, 61.0, 60.0), 1)
    29280.0
    """
    return programmed_pulses * (shown / true)


@compiled
def thermistor_resistance(temperature, resistance_25, beta):
    """Resistance of a thermistor that falls as it warms.

    Parameters
    ----------
    temperature : float
        Above 0. [K]
    resistance_25 : float
        At 25 °C. [ohm]
    beta : float
        Steepness. [K]

    Returns
    -------
    resistance : float
        [ohm]

    Notes
    -----
    R = R25 exp(beta (1/T - 1/298.15))

    References
    ----------
    [1] The single-beta form of a semiconductor's resistance, a textbook formula; against a table of one sensor family (common
        practice, no source) it is within 3.5 °C from -40 to 140 °C.

    Examples
    --------
    >>> round(thermistor_resistance(298.15, 2500.0, 3500.0), 6)
    2500.0
    """
    return resistance_25 * math.exp(beta * (1.0 / temperature - 1.0 / REFERENCE_TEMPERATURE))


@compiled
def thermistor_temperature(resistance, resistance_25, beta):
    """Temperature of a thermistor from its resistance: `thermistor_resistance` read backwards.

    Parameters
    ----------
    resistance : float
        Above 0. [ohm]
    resistance_25 : float
        At 25 °C. [ohm]
    beta : float
        Steepness. [K]

    Returns
    -------
    temperature : float
        [K]

    Notes
    -----
    1/T = 1/298.15 + ln(R/R25)/beta

    Examples
    --------
    >>> round(thermistor_temperature(2500.0, 2500.0, 3500.0), 2)
    298.15
    """
    return 1.0 / (1.0 / REFERENCE_TEMPERATURE + math.log(resistance / resistance_25) / beta)


@compiled
def divider_voltage(resistance, pull_up, supply):
    """Voltage between a fixed resistor to the supply and a sensor to the return.

    Parameters
    ----------
    resistance : float
        Of the sensor. [ohm]
    pull_up : float
        Of the fixed resistor, in the controller. [ohm]
    supply : float
        [V]

    Returns
    -------
    voltage : float
        At the controller's pin; the supply with the wire open, 0 with it shorted to the return. [V]

    Notes
    -----
    V = V_supply R/(R + R_pull)

    References
    ----------
    [1] Ohm's law and Kirchhoff's voltage law.

    Examples
    --------
    >>> divider_voltage(1000.0, 1000.0, 5.0)
    2.5
    """
    return supply * (resistance / (resistance + pull_up))


@compiled
def divider_resistance(voltage, pull_up, supply):
    """Resistance of a sensor from the voltage it makes: `divider_voltage` read backwards.

    Parameters
    ----------
    voltage : float
        At the pin, from 0 to below the supply. [V]
    pull_up : float
        Of the fixed resistor. [ohm]
    supply : float
        [V]

    Returns
    -------
    resistance : float
        [ohm]

    Examples
    --------
    >>> divider_resistance(2.5, 1000.0, 5.0)
    1000.0
    """
    return pull_up * voltage / (supply - voltage)


@compiled
def ratiometric_voltage(share, lowest, highest, supply):
    """Voltage of a three-wire sensor: pressure sensor or potentiometer.

    Parameters
    ----------
    share : float
        What is measured over the full scale. [-]
    lowest : float
        Share of the supply at nothing. [-]
    highest : float
        Share of the supply at full scale. [-]
    supply : float
        [V]

    Returns
    -------
    voltage : float
        Never outside 0 to the supply. [V]

    Notes
    -----
    V = V_supply (a + (b - a) x): it scales with the supply, so that the supply cancels when both sides use the same.

    Examples
    --------
    >>> round(ratiometric_voltage(0.5, 0.1, 0.9, 5.0), 6)
    2.5
    """
    return supply * min(max(lowest + (highest - lowest) * share, 0.0), 1.0)


@compiled
def ratiometric_share(voltage, lowest, highest, supply):
    """What a three-wire sensor measures over its full scale: `ratiometric_voltage` read backwards.

    Parameters
    ----------
    voltage : float
        At the pin. [V]
    lowest : float
        Share of the supply at nothing. [-]
    highest : float
        Share of the supply at full scale. [-]
    supply : float
        [V]

    Returns
    -------
    share : float
        Below 0 or above 1 where no sound sensor can be. [-]

    Examples
    --------
    >>> round(ratiometric_share(2.5, 0.1, 0.9, 5.0), 6)
    0.5
    """
    return (voltage / supply - lowest) / (highest - lowest)


@compiled
def tone_wheel_frequency(turning, teeth):
    """Pulses a second of a toothed wheel in front of a pickup.

    Parameters
    ----------
    turning : float
        Speed of the wheel; either direction gives the same. [rad/s]
    teeth : float
        [-]

    Returns
    -------
    frequency : float
        [Hz]

    Notes
    -----
    f = teeth n/(2 pi)

    Examples
    --------
    >>> round(tone_wheel_frequency(2.0 * math.pi * 10.0, 60.0), 6)
    600.0
    """
    return teeth * abs(turning) / (2.0 * math.pi)


@compiled
def tone_wheel_speed(frequency, teeth):
    """Speed of a toothed wheel from its pulses: `tone_wheel_frequency` read backwards.

    Parameters
    ----------
    frequency : float
        [Hz]
    teeth : float
        [-]

    Returns
    -------
    turning : float
        [rad/s]

    Examples
    --------
    >>> round(tone_wheel_speed(600.0, 60.0) / (2.0 * math.pi), 6)
    10.0
    """
    return 2.0 * math.pi * frequency / teeth


@compiled
def contact_voltage(closed, supply):
    """Voltage at a pin that a switch pulls to ground and the controller pulls up.

    Parameters
    ----------
    closed : float
        1 contact closed, 0 open. [-]
    supply : float
        [V]

    Returns
    -------
    voltage : float
        0 with the contact closed; the supply with it open, or with the wire broken. [V]

    Examples
    --------
    >>> contact_voltage(1.0, 5.0), contact_voltage(0.0, 5.0)
    (0.0, 5.0)
    """
    return supply * (1.0 - closed)


@compiled
def system_voltage(engine_speed, battery, charging, charges_from):
    """Voltage of the battery and of everything that hangs on it.

    Parameters
    ----------
    engine_speed : float
        [rad/s]
    battery : float
        At rest. [V]
    charging : float
        What the alternator's regulator holds. [V]
    charges_from : float
        Engine speed at which the alternator begins to charge. [rad/s]

    Returns
    -------
    voltage : float
        [V]

    Notes
    -----
    Load, temperature and a battery that has been drained are left out.

    Examples
    --------
    >>> system_voltage(0.0, 12.6, 14.0, 47.1), system_voltage(68.1, 12.6, 14.0, 47.1)
    (12.6, 14.0)
    """
    return charging if engine_speed >= charges_from else battery
