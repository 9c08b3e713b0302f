"""What a driver's feet and a speed controller do between two decisions: pedal, brake pedal and clutch pedal as laws."""

from sim.compiled import compiled

CLUTCH_BITES, CLUTCH_CLOSED = 0.15, 0.85  # of the travel of a clutch, assumed


@compiled
def moved_towards(value, target, rise, fall, step):
    """A value that moves to its target no faster than allowed.

    Parameters
    ----------
    value : float
        At the start of the step. [any]
    target : float
        Where it goes. [any]
    rise : float
        Fastest increase, 0 or more. [any/s]
    fall : float
        Fastest decrease, 0 or more. [any/s]
    step : float
        Length of the step. [s]

    Returns
    -------
    value : float
        At the end of the step. [any]

    Examples
    --------
    >>> moved_towards(10.0, 20.0, 0.5, 1.0, 2.0), moved_towards(10.0, 0.0, 0.5, 1.0, 2.0)
    (11.0, 8.0)
    """
    if target > value + rise * step:
        return value + rise * step
    if target < value - fall * step:
        return value - fall * step
    return target


@compiled
def speed_hold_demand(error, integral, below, above):
    """Accelerator position that holds a speed.

    Parameters
    ----------
    error : float
        Wanted speed minus speed. [m/s]
    integral : float
        What the integral part has learnt: the pedal that holds the speed. [-]
    below : float
        Lower droop: so far below the speed the pedal is all the way down whatever was learnt. [m/s]
    above : float
        Upper droop: fuel falls in a straight line to none, so far above the speed. [m/s]

    Returns
    -------
    demand : float
        0 or more, not yet limited to 1. [-]

    Notes
    -----
    Below the speed: demand = integral + error/below. Above: demand = integral (1 + error/above).

    Examples
    --------
    >>> speed_hold_demand(0.5, 0.25, 1.0, 1.0), speed_hold_demand(-0.5, 0.25, 1.0, 1.0), speed_hold_demand(-2.0, 0.25, 1.0, 1.0)
    (0.75, 0.125, 0.0)
    """
    if error >= 0.0:
        return integral + error / below
    if error <= -above:
        return 0.0
    return integral * (1.0 + error / above)


@compiled
def overspeed_stage(stage, speed, set_speed, first, second, third, drop):
    """Engine-brake stage a cruise control calls for as the truck runs above its set speed.

    Parameters
    ----------
    stage : float
        Called for so far, 0 to 3. [-]
    speed : float
        [any unit of speed]
    set_speed : float
        [same unit]
    first : float
        Above the set speed, where stage 1 comes in. [same unit]
    second : float
        Where stage 2 comes in. [same unit]
    third : float
        Where stage 3 comes in. [same unit]
    drop : float
        A stage goes out so far below where it came in. [same unit]

    Returns
    -------
    stage : float
        Once every waiting time is over. [-]

    Notes
    -----
    A stage comes in at speed >= set + threshold and goes out at speed <= set + threshold - drop; at the set speed or below it all
    are off. Pattern: common practice, no source.

    Examples
    --------
    >>> [overspeed_stage(0.0, speed, 60.0, 3.0, 5.0, 7.0, 2.0) for speed in (62.9, 63.0, 65.0, 67.0)]
    [0.0, 1.0, 2.0, 3.0]
    >>> overspeed_stage(3.0, 65.0, 60.0, 3.0, 5.0, 7.0, 2.0), overspeed_stage(2.0, 60.0, 60.0, 3.0, 5.0, 7.0, 2.0)
    (2.0, 0.0)
    """
    if speed <= set_speed:
        return 0.0
    if speed >= set_speed + third:
        stage = max(stage, 3.0)
    elif speed >= set_speed + second:
        stage = max(stage, 2.0)
    elif speed >= set_speed + first:
        stage = max(stage, 1.0)
    if stage == 3.0 and speed <= set_speed + third - drop:
        stage = 2.0
    if stage == 2.0 and speed <= set_speed + second - drop:
        stage = 1.0
    if stage == 1.0 and speed <= set_speed + first - drop:
        stage = 0.0
    return stage


@compiled
def snubbing_demand(demand, wanted_deceleration, deceleration, pressure_per_deceleration, response_time, step):
    """Brake-pedal pressure of a driver who brakes for a deceleration felt in the seat.

    Parameters
    ----------
    demand : float
        Pressure asked for so far. [Pa]
    wanted_deceleration : float
        [m/s²]
    deceleration : float
        Felt now. [m/s²]
    pressure_per_deceleration : float
        What the driver has learnt of this truck. [Pa s²/m]
    response_time : float
        How fast the foot corrects. [s]
    step : float
        Length of the step. [s]

    Returns
    -------
    demand : float
        0 or more. [Pa]

    Notes
    -----
    dp/dt = (a_wanted - a) k/t: an integral controller, damped by the lag of the brakes being shorter than t.

    Examples
    --------
    >>> snubbing_demand(1.0e5, 1.0, 0.5, 1.0e5, 0.5, 0.1)
    110000.0
    """
    demand += (wanted_deceleration - deceleration) * pressure_per_deceleration / response_time * step
    return demand if demand > 0.0 else 0.0


@compiled
def stopping_deceleration(speed, distance):
    """Steady deceleration that brings a truck to rest at a point ahead.

    Parameters
    ----------
    speed : float
        [m/s]
    distance : float
        Left to the point; below 0.1 m counts as 0.1 m. [m]

    Returns
    -------
    deceleration : float
        [m/s²]

    Notes
    -----
    a = v²/(2 d)

    Examples
    --------
    >>> stopping_deceleration(10.0, 50.0)
    1.0
    """
    if distance < 0.1:
        distance = 0.1
    return speed * speed / (2.0 * distance)


@compiled
def slowing_distance(speed, lower, deceleration):
    """Way on which a steady deceleration brings a truck from one speed to a lower one.

    Parameters
    ----------
    speed : float
        [m/s]
    lower : float
        [m/s]
    deceleration : float
        Above 0. [m/s²]

    Returns
    -------
    distance : float
        [m]

    Notes
    -----
    d = (v² - v_lower²)/(2 a)

    Examples
    --------
    >>> slowing_distance(20.0, 10.0, 0.5)
    300.0
    """
    return (speed * speed - lower * lower) / (2.0 * deceleration)


@compiled
def snub_release(safe_speed, drop):
    """Speed at which a driver lets go of the brake pedal in snub braking.

    Parameters
    ----------
    safe_speed : float
        At which the pedal was pressed. [any unit of speed]
    drop : float
        [same unit]

    Returns
    -------
    speed : float
        [same unit]

    Notes
    -----
    Brake at the safe speed, release 5 mi/h below it: model commercial driver manual 2.16, seen second-hand.

    Examples
    --------
    >>> snub_release(40.0, 5.0)
    35.0
    """
    return safe_speed - drop


@compiled
def clutch_share(release):
    """Share of its capacity a clutch carries at a place of its travel.

    Parameters
    ----------
    release : float
        Travel, 0 pedal down to 1 up. [-]

    Returns
    -------
    share : float
        [-]

    Notes
    -----
    None up to the bite, then with the square of the way to where it is closed. Shape and both places assumed.

    Examples
    --------
    >>> clutch_share(0.15), clutch_share(0.5), clutch_share(1.0)
    (0.0, 0.25, 1.0)
    """
    way = (release - CLUTCH_BITES) / (CLUTCH_CLOSED - CLUTCH_BITES)
    way = min(max(way, 0.0), 1.0)
    return way * way


@compiled
def let_in(speed, bite_speed, span, most):
    """Travel of a clutch that is let in by the engine's pull.

    Parameters
    ----------
    speed : float
        Of the engine. [rad/s]
    bite_speed : float
        At which the clutch begins to carry. [rad/s]
    span : float
        Above it, at which the clutch is closed. [rad/s]
    most : float
        Of the way from bite to closed that is used, 0 to 1. [-]

    Returns
    -------
    release : float
        [-]

    Notes
    -----
    In a straight line between the two speeds, so that the torque grows with the square of the speed and the engine is never
    pulled below its bite speed. Assumed.

    Examples
    --------
    >>> clutch_share(let_in(100.0, 80.0, 40.0, 1.0)), let_in(70.0, 80.0, 40.0, 1.0)
    (0.25, 0.15)
    """
    way = min(max((speed - bite_speed) / span, 0.0), most)
    return CLUTCH_BITES + (CLUTCH_CLOSED - CLUTCH_BITES) * way


@compiled
def matched_speed(mode, engine_speed, ratio, road_speed, highest):
    """Engine speed that is held while the pedal is out of play: a fixed one, or the one that fits a gear.

    Parameters
    ----------
    mode : float
        1 for the fixed speed, 2 for the gear. [-]
    engine_speed : float
        The fixed speed. [rad/s]
    ratio : float
        Engine turns per way in the gear to be engaged. [rad/m]
    road_speed : float
        As the speedometer shows it. [m/s]
    highest : float
        Where the governor lets the engine turn without load. [rad/s]

    Returns
    -------
    speed : float
        [rad/s]

    Examples
    --------
    >>> matched_speed(1.0, 80.0, 15.0, 10.0, 230.0), matched_speed(2.0, 80.0, 15.0, 20.0, 230.0)
    (80.0, 230.0)
    """
    if mode > 1.5:
        return min(ratio * road_speed, highest)
    return engine_speed
