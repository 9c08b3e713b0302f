"""Clutch, gearbox, axle and the inertia they couple to the truck."""

import math

from sim.compiled import compiled


@compiled
def effective_mass(mass, wheel_inertia, tyre_radius, engine_inertia, ratio):
    """Mass that resists acceleration along the road, turning parts included.

    Parameters
    ----------
    mass : float
        Gross mass. [kg]
    wheel_inertia : float
        Inertia of all wheels together. [kg m²]
    tyre_radius : float
        Rolling radius. [m]
    engine_inertia : float
        Inertia of engine, flywheel, clutch and input shaft while coupled, 0 while not. [kg m²]
    ratio : float
        Gear ratio times axle ratio. [-]

    Returns
    -------
    mass : float
        [kg]

    Notes
    -----
    m_eff = m + sum(J_wheel)/r² + J_engine ratio²/r²

    References
    ----------
    [1] 40 CFR 1037.528(h)(1): 18 tyres of 56.7 kg effective mass each make 16,108 kg into 17,129 kg.

    Examples
    --------
    >>> round(effective_mass(36287.0, 18 * 13.6, 0.49, 4.0, 12.8 * 3.36) / 36287.0, 3)
    1.877
    """
    return mass + (wheel_inertia + engine_inertia * ratio * ratio) / (tyre_radius * tyre_radius)


@compiled
def gearbox_loss(torque, input_speed, constant_loss, speed_loss, torque_share):
    """Torque a gearbox eats, referred to its input shaft.

    Parameters
    ----------
    torque : float
        Torque on the input shaft; its sign does not matter. [N m]
    input_speed : float
        Input shaft speed. [rad/s]
    constant_loss : float
        Drag at rest, T_d0. [N m]
    speed_loss : float
        Drag per 1000 rpm, T_d1000. [N m]
    torque_share : float
        Share of the torque lost in the teeth, f_T. [-]

    Returns
    -------
    loss : float
        0 or more. [N m]

    Notes
    -----
    T_loss = T_d0 + T_d1000 n/1000 + f_T |T|

    References
    ----------
    [1] Regulation (EU) 2017/2400, Annex VI, Appendix 8.

    Examples
    --------
    >>> round(gearbox_loss(2237.0, 1200.0 * math.pi / 30.0, 12.5, 12.5, 0.01), 2)
    49.87
    """
    thousand_rpm = abs(input_speed) * (30.0 / (1000.0 * math.pi))
    return constant_loss + speed_loss * thousand_rpm + torque_share * abs(torque)


@compiled
def axle_output_torque(torque, ratio, efficiency, drag):
    """Torque at the wheels for a torque into the drive axle, losses taken off or added by the direction of the power.

    Parameters
    ----------
    torque : float
        Torque on the axle's input, negative while the engine holds the truck back. [N m]
    ratio : float
        Axle ratio. [-]
    efficiency : float
        Tooth efficiency, 0 to 1. [-]
    drag : float
        Drag torque at the wheels, T_d0. [N m]

    Returns
    -------
    torque : float
        At the wheels. [N m]

    Notes
    -----
    Driving: T_in = T_out/i + (T_d0 + T_out/eta - T_out)/i, solved for T_out. In overrun the power flows the other way, so
    the losses add to what the wheels must give: division by eta becomes multiplication. Both forms meet at T_out = 0.

    References
    ----------
    [1] Regulation (EU) 2017/2400, Annex VII, Appendix 3, as amended by 2022/1379. Overrun: 40 CFR 1036.545(f)(3) uses
        0.955 driving and 1/0.955 when the torque is negative.

    Examples
    --------
    >>> round(axle_output_torque(2166.7, 3.36, 0.98, 137.2), 0)
    7000.0
    """
    passed = torque * ratio - drag
    if passed >= 0.0:
        return passed * efficiency
    return passed / efficiency


@compiled
def axle_loss(torque, efficiency, drag):
    """Torque a drive axle eats, referred to its wheels.

    Parameters
    ----------
    torque : float
        At the wheels, negative while they drive the engine. [N m]
    efficiency : float
        Tooth efficiency, 0 to 1. [-]
    drag : float
        Drag torque at the wheels, T_d0. [N m]

    Returns
    -------
    loss : float
        Above 0. [N m]

    Notes
    -----
    T_loss i = T_d0 + T_out/eta - T_out; in overrun what the wheels give is multiplied by eta.

    References
    ----------
    [1] As `axle_output_torque`, which is this law solved for the torque at the wheels.

    Examples
    --------
    >>> round(axle_loss(7000.0, 0.98, 137.2) / 3.36, 2)
    83.35
    """
    if torque >= 0.0:
        return drag + torque / efficiency - torque
    return drag - torque + torque * efficiency


@compiled
def wheel_torque(
    torque, input_speed, gear_ratio, axle_ratio, constant_loss, speed_loss, torque_share, efficiency, drag
):
    """Torque at the wheels for a torque through the clutch.

    Parameters
    ----------
    torque : float
        Torque through the clutch, negative while the engine holds the truck back. [N m]
    input_speed : float
        Gearbox input shaft speed. [rad/s]
    gear_ratio : float
        Ratio of the engaged gear. [-]
    axle_ratio : float
        Axle ratio. [-]
    constant_loss : float
        Gearbox drag at rest. [N m]
    speed_loss : float
        Gearbox drag per 1000 rpm. [N m]
    torque_share : float
        Share of the torque lost in the gearbox. [-]
    efficiency : float
        Tooth efficiency of the axle. [-]
    drag : float
        Axle drag torque at the wheels. [N m]

    Returns
    -------
    torque : float
        At the wheels, for forward travel. [N m]

    Notes
    -----
    Piecewise linear in the clutch torque. For backward travel mirror both signs.

    References
    ----------
    [1] Regulation (EU) 2017/2400, Annexes VI and VII; see `gearbox_loss` and `axle_output_torque`.

    Examples
    --------
    >>> wheel_torque(1000.0, 100.0, 2.0, 3.0, 0.0, 0.0, 0.0, 1.0, 0.0)
    6000.0
    """
    loss = gearbox_loss(torque, input_speed, constant_loss, speed_loss, torque_share)
    return axle_output_torque((torque - loss) * gear_ratio, axle_ratio, efficiency, drag)


@compiled
def friction_force(required, capacity):
    """What a dry contact carries: as much as is needed to stop the sliding, but never more than it can.

    Parameters
    ----------
    required : float
        Force or torque that would end the sliding within the step. [N]
    capacity : float
        Largest it can carry, 0 or more. [N]

    Returns
    -------
    carried : float
        Same sign as `required`. [N]

    Notes
    -----
    Serves the clutch, the tyre on the road and the brakes at standstill. A contact that sticks carries exactly what keeps it
    stuck, so there is no sign function to chatter: it slips only while `required` is beyond `capacity`.

    References
    ----------
    [1] Time-stepping treatment of Coulomb friction: Stewart, SIAM Review 42(1), 2000, 3-39 (from memory).

    Examples
    --------
    >>> friction_force(-80.0, 100.0), friction_force(500.0, 100.0)
    (-80.0, 100.0)
    """
    if required > capacity:
        return capacity
    if required < -capacity:
        return -capacity
    return required


@compiled
def engine_speed_in_gear(road_speed, tyre_radius, gear_ratio, axle_ratio):
    """Engine speed that goes with a road speed in a gear, clutch locked and tyres rolling.

    Parameters
    ----------
    road_speed : float
        Road speed. [m/s]
    tyre_radius : float
        Rolling radius. [m]
    gear_ratio : float
        Ratio of the gear. [-]
    axle_ratio : float
        Axle ratio. [-]

    Returns
    -------
    speed : float
        [rad/s]

    Notes
    -----
    omega = v i_gear i_axle/r

    Examples
    --------
    >>> round(engine_speed_in_gear(20.0, 0.5, 1.0, 3.0), 1)
    120.0
    """
    return road_speed * gear_ratio * axle_ratio / tyre_radius
