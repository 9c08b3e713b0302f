"""Service brakes: force from pressure, fade, slack and cooling, one call per axle group."""

from sim.compiled import compiled


@compiled
def brake_force(pressure, threshold, gain, effectiveness):
    """Braking force of an axle group for the pressure in its chambers.

    Parameters
    ----------
    pressure : float
        Application pressure. [Pa]
    threshold : float
        Pressure below which the shoes do not touch. [Pa]
    gain : float
        Force per pressure above the threshold, cold and in adjustment. [N/Pa]
    effectiveness : float
        Fade times slack, 0 to 1. [-]

    Returns
    -------
    force : float
        Capacity at the tyre, 0 or more. [N]

    Notes
    -----
    F = k (p - p_0) f. Thresholds differ between groups, so that light braking loads some axles more than others.

    References
    ----------
    [1] Linear drum brake above a push-out pressure: common practice, no source.

    Examples
    --------
    >>> brake_force(2.0e5, 0.5e5, 0.1, 0.8), brake_force(0.3e5, 0.5e5, 0.1, 1.0)
    (12000.0, 0.0)
    """
    if pressure <= threshold:
        return 0.0
    return gain * (pressure - threshold) * effectiveness


@compiled
def slack_effectiveness(stroke, readjustment_limit, full_stroke):
    """What is left of the force when the push rod travels too far.

    Parameters
    ----------
    stroke : float
        Push-rod stroke at full application, hot drum included. [m]
    readjustment_limit : float
        Stroke up to which the force is whole. [m]
    full_stroke : float
        Stroke at which the chamber is at its end and no force is left. [m]

    Returns
    -------
    effectiveness : float
        1 down to 0. [-]

    Notes
    -----
    Linear between the two strokes; shape assumed.

    Examples
    --------
    >>> slack_effectiveness(0.040, 0.051, 0.064), slack_effectiveness(0.064, 0.051, 0.064)
    (1.0, 0.0)
    """
    if stroke <= readjustment_limit:
        return 1.0
    if stroke >= full_stroke:
        return 0.0
    return (full_stroke - stroke) / (full_stroke - readjustment_limit)


@compiled
def hot_stroke(cold_stroke, expansion, temperature, cold_temperature):
    """Push-rod stroke of a brake whose drum has grown with heat.

    Parameters
    ----------
    cold_stroke : float
        At the cold temperature. [m]
    expansion : float
        Added stroke per kelvin. [m/K]
    temperature : float
        Of the drum. [K]
    cold_temperature : float
        Of the cold drum. [K]

    Returns
    -------
    stroke : float
        [m]

    Examples
    --------
    >>> round(hot_stroke(0.040, 2.0e-5, 493.15, 293.15), 4)
    0.044
    """
    return cold_stroke + expansion * (temperature - cold_temperature)


@compiled
def brake_cooling(temperature, ambient_temperature, speed, still_conductance, speed_conductance):
    """Heat one brake gives to the air.

    Parameters
    ----------
    temperature : float
        Of the drum. [K]
    ambient_temperature : float
        Of the air. [K]
    speed : float
        Road speed. [m/s]
    still_conductance : float
        Standing still. [W/K]
    speed_conductance : float
        Growth with road speed. [W s/(K m)]

    Returns
    -------
    heat : float
        [W]

    Notes
    -----
    Q = (h0 + h1 v)(T - T_amb); 18 + 1.2 v W/K assumed, between the two published sets of the grade-severity model.

    References
    ----------
    [1] Set B implies 19 W/K a brake at 20 mi/h and 29 W/K at 55 mi/h (from memory); set A implies 63 W/K at 40 mi/h.

    Examples
    --------
    >>> brake_cooling(400.0, 300.0, 10.0, 18.0, 1.2)
    3000.0
    """
    return (still_conductance + speed_conductance * abs(speed)) * (temperature - ambient_temperature)
