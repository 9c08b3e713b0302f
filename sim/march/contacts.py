"""One step of engine, driveline, drive wheels and truck, and the ledger of their work.

Sticking and slipping of clutch, tyres and brakes are solved within the step by `friction_force`, so a contact that would chatter
sticks instead.
"""

from sim.compiled import compiled
from sim.laws.driveline import axle_loss, friction_force, gearbox_loss
from sim.laws.road_load import traction_limit
from sim.march.plant import driveline
from sim.march.records import GEARBOX_SHARE_ROW, RATIO_ROW

PULLS_HARD = 0.5  # of full-load torque: from here efficiencies are judged


@compiled
def change_gear(s, gear, p, tables):
    """Engages or leaves a gear; the input shaft is brought to the new speed and the loss is booked.

    Parameters
    ----------
    gear : int
        To be engaged, 0 for neutral. [-]

    Notes
    -----
    Engaging is an inelastic impact of the shaft with the wheels (and with the truck while the tyres roll): momentum is kept,
    the kinetic energy that is lost goes to `gear_synchronising`.
    """
    s["gear"] = gear
    s["clutch_locked"] = 0.0
    if gear == 0:
        return
    per_metre = tables[RATIO_ROW, gear] * p["axle_ratio"] / p["tyre_radius"]
    rolling = s["wheel_slip"] < 0.5
    mass = p["wheel_body"] + (p["vehicle_body"] if rolling else 0.0)
    inertia = p["shaft_inertia"]
    before = mass * s["wheel_speed"] * s["wheel_speed"] + inertia * s["shaft_speed"] * s["shaft_speed"]
    coupled = mass + inertia * per_metre * per_metre
    speed = (mass * s["wheel_speed"] + inertia * per_metre * s["shaft_speed"]) / coupled
    s["gear_synchronising"] += 0.5 * (before - coupled * speed * speed)
    s["wheel_speed"] = speed
    s["shaft_speed"] = per_metre * speed
    if rolling:
        s["speed"] = speed


@compiled
def book_engine(s, p, mean_speed, speed_after, step):
    """Books what the engine burnt and where its work went over one step.

    Parameters
    ----------
    s : record
        State; ledger and heat not yet spread are written. [SI]
    mean_speed : float
        Engine speed over the step. [rad/s]
    speed_after : float
        Engine speed at its end; negative when the engine stops within it. [rad/s]

    Returns
    -------
    burnt : float
        Chemical energy of the fuel. [J]
    """
    turned = mean_speed * step
    friction_work = s["friction_torque"] * turned
    if speed_after < 0.0:
        # the engine stops within this tick: friction takes what it still turned with, and turns nothing backwards
        friction_work += 0.5 * p["engine_inertia"] * speed_after * speed_after
    compression_work = s["compression_torque"] * turned
    s["engine_friction"] += friction_work
    s["compression"] += compression_work
    s["fan"] += s["fan_torque"] * turned
    s["accessories"] += s["accessory_torque"] * turned
    fuel_used = s["fuel_rate"] * step
    fuel_energy = fuel_used * p["heating_value"]
    indicated_work = s["indicated_torque"] * turned
    s["fuel_mass"] += fuel_used
    s["indicated_work"] += indicated_work
    s["pending_combustion"] += fuel_energy - indicated_work
    s["pending_friction"] += friction_work
    s["pending_compression"] += compression_work
    return fuel_energy


@compiled
def clutch_torque(s, lead, opposed, coupled, per_engine, capacity, rate):
    """Torque of the clutch, and the torque that would end its sliding within the step.

    Parameters
    ----------
    lead : float
        Speed of the engine above that of the input shaft. [rad/s]
    opposed : float
        What slows the input shaft but the clutch. [rad/s2]
    coupled : float
        One over the inertia that the input shaft turns. [1/(kg m²)]
    per_engine : float
        One over the inertia of the engine. [1/(kg m²)]
    capacity : float
        Of the clutch. [N m]
    rate : float
        One over the step. [1/s]
    """
    required = (lead * rate + s["engine_torque"] * per_engine + opposed) / (per_engine + coupled)
    return friction_force(required, capacity), required


@compiled
def slide(speed, push, hold, inertia, step, rate):
    """Speed of one body after a step under a push and dry friction, and the friction that acted.

    Parameters
    ----------
    speed : float
        [m/s or rad/s]
    push : float
        [N or N m]
    hold : float
        Most that the friction can hold. [N or N m]
    inertia : float
        [kg or kg m²]
    rate : float
        One over the step. [1/s]
    """
    free = speed + step * push / inertia
    held = friction_force(inertia * free * rate, hold)
    return free - step * held / inertia, held


@compiled
def spin_shaft(s, p, per_engine, capacity, step, rate):
    """In neutral: the input shaft between clutch and gears, with its loss booked.

    Returns
    -------
    clutch : float
        Torque of the clutch. [N m]
    required : float
        Torque that would end its sliding. [N m]
    after : float
        Speed of the shaft. [rad/s]
    """
    before, inertia, loss = s["shaft_speed"], p["shaft_inertia"], p["gearbox_constant_loss"]
    clutch, required = clutch_torque(
        s, s["engine_speed"] - before, loss / inertia, 1.0 / inertia, per_engine, capacity, rate
    )
    after, drag = slide(before, clutch, loss, inertia, step, rate)
    s["gearbox"] += drag * 0.5 * (before + after) * step
    return clutch, required, after


@compiled
def roll_as_one(s, p, tables, gear, clutch, required, per_engine, capacity, push, hold_vehicle, step, rate):
    """Truck and drive wheels as one body, as they are while the tyres roll.

    Parameters
    ----------
    clutch : float
        In neutral its torque; in gear it is worked out here. [N m]
    required : float
        In neutral the torque that would end its sliding. [N m]
    push : float
        Of grade and air. [N]
    hold_vehicle : float
        Most that rolling resistance and the brakes of the free wheels can hold. [N]

    Returns
    -------
    clutch : float
        [N m]
    required : float
        [N m]
    after : float
        Speed of truck and wheels. [m/s]
    acted : float
        Share of the friction that acted, against the motion. [-]
    tyre_force : float
        At the drive wheels. [N]
    line : tuple of float
        Slope, drag and turns of the driveline, as `sim.march.plant.driveline`.
    along : float
        Clutch torque for whose direction they hold. [N m]
    """
    engine_speed, wheel_speed, speed = s["engine_speed"], s["wheel_speed"], s["speed"]
    direction = -1.0 if wheel_speed < 0.0 else 1.0
    estimate = friction_force(s["engine_torque"], capacity)
    slope, drag, per_metre = driveline(estimate, gear, s["shaft_speed"], direction, p, tables)
    vehicle = p["vehicle_body"]
    wheels = p["wheel_body"] + p["shaft_inertia"] * per_metre * per_metre
    both = vehicle + wheels
    per_both = 1.0 / both
    start = speed
    if wheel_speed != speed:
        start = (vehicle * speed + wheels * wheel_speed) * per_both
    hold = hold_vehicle + (drag + s["brake_force_drive"])
    after = acted = tyre_force = 0.0
    for _ in range(2):
        if gear != 0:
            along = start if start != 0.0 else slope * estimate + push
            opposing = -push + (hold if along > 0.0 else (-hold if along < 0.0 else 0.0))
            clutch, required = clutch_torque(
                s,
                engine_speed - per_metre * start,
                per_metre * opposing * per_both,
                per_metre * slope * per_both,
                per_engine,
                capacity,
                rate,
            )
        free = start + step * (slope * clutch + push) * per_both
        total = friction_force(both * free * rate, hold)
        if abs(total) < hold:
            after = 0.0
            acted = total / hold
        else:
            after = free - step * total * per_both
            acted = 1.0 if total > 0.0 else -1.0
        tyre_force = vehicle * (after - speed) * rate - push + hold_vehicle * acted
        if gear == 0 or clutch * estimate >= 0.0:
            break
        # the torque turned out to flow the other way: take the losses of that direction
        estimate = clutch
        slope, drag, per_metre = driveline(estimate, gear, s["shaft_speed"], direction, p, tables)
        hold = hold_vehicle + (drag + s["brake_force_drive"])
    return clutch, required, after, acted, tyre_force, (slope, drag, per_metre), estimate


@compiled
def spin_wheels(s, p, gear, clutch, required, per_engine, capacity, tyre_force, line, along, step, rate):
    """Drive wheels that slip: what the tyres give is given, the wheels turn on their own.

    Returns
    -------
    clutch : float
        [N m]
    required : float
        [N m]
    after : float
        Speed of the tread. [m/s]
    acted : float
        Share of the wheels' friction that acted. [-]
    """
    slope, drag, per_metre = line
    speed = s["wheel_speed"]
    wheels = p["wheel_body"] + p["shaft_inertia"] * per_metre * per_metre
    hold = drag + s["brake_force_drive"]
    if gear != 0:
        turning = speed if speed != 0.0 else slope * along - tyre_force
        opposing = tyre_force + (hold if turning > 0.0 else -hold)
        clutch, required = clutch_torque(
            s,
            s["engine_speed"] - per_metre * speed,
            per_metre * opposing / wheels,
            per_metre * slope / wheels,
            per_engine,
            capacity,
            rate,
        )
    after, held = slide(speed, slope * clutch - tyre_force, hold, wheels, step, rate)
    return clutch, required, after, held / hold if hold > 0.0 else 0.0


@compiled
def book_driveline(s, p, tables, gear, burnt, mean_wheel, mean_engine, mean_shaft, step):
    """Books what gearbox and axle ate over one step, each by its own law, and the efficiencies while the engine pulls hard.

    Parameters
    ----------
    s : record
        State after the forces that acted are known, with the shaft's speed at the begin of the step. [SI]
    burnt : float
        Chemical energy of the fuel. [J]
    """
    gearbox = 0.0
    if gear != 0:
        gearbox = gearbox_loss(
            s["clutch_torque"],
            s["shaft_speed"],
            p["gearbox_constant_loss"],
            p["gearbox_speed_loss"],
            tables[GEARBOX_SHARE_ROW, gear],
        )
    gearbox *= abs(mean_shaft) * step
    forward = 1.0 if mean_wheel >= 0.0 else -1.0
    at_wheels = forward * s["drive_force"] * p["tyre_radius"]
    axle = axle_loss(at_wheels, p["axle_efficiency"], p["axle_drag"]) * abs(mean_wheel) * step / p["tyre_radius"]
    s["gearbox"] += gearbox
    s["axle"] += axle
    if s["engine_torque"] >= PULLS_HARD * s["full_load_torque"] and s["clutch_locked"] > 0.5 and gear != 0:
        before_fan = s["engine_torque"] + s["fan_torque"] + s["accessory_torque"]
        s["loaded_fuel"] += burnt
        s["loaded_work"] += before_fan * mean_engine * step
        s["loaded_input"] += s["clutch_torque"] * mean_shaft * step
        s["loaded_gearbox"] += gearbox
        s["loaded_axle"] += axle


@compiled
def book_work(s, b, mean_speed, mean_wheel, mean_engine, mean_shaft, step):
    """Books the work of what acted between clutch and road over one step: force times mean speed.

    Parameters
    ----------
    s : record
        State; the forces are those that acted; ledger and heat not yet spread are written. [SI]
    """
    travelled = mean_speed * step
    s["clutch"] += s["clutch_torque"] * (mean_engine - mean_shaft) * step
    s["tyre_slip"] += s["tyre_force"] * (mean_wheel - mean_speed) * step
    s["aero"] += s["aero_force"] * travelled
    s["rolling"] += s["rolling_force"] * travelled
    s["climb"] += s["grade_force"] * travelled
    steer = s["brake_force_steer"] * travelled
    trailer = s["brake_force_trailer"] * travelled
    drive = s["brake_force_drive"] * mean_wheel * step
    brakes = steer + trailer + drive
    s["service_brakes"] += brakes
    s["service_brake_power"] = brakes * (1.0 / step)
    s["pending_steer"] += steer
    s["pending_drive"] += drive
    s["pending_trailer"] += trailer
    if b["driver_demand"] <= 0.0:
        s["held_by_engine"] += max(-s["drive_force"], 0.0) * mean_wheel * step
        s["held_by_resistance"] += (s["aero_force"] + s["rolling_force"]) * travelled
        s["held_by_brakes"] += brakes


@compiled
def move(s, b, p, tables, step):
    """One step of the engine, the driveline, the drive wheels and the truck, with the ledger of their work.

    Parameters
    ----------
    s : record
        State after `settle`; motion and ledger are written, and the brake and rolling forces become what acted. [SI]

    Notes
    -----
    Three bodies (engine, drive wheels, truck) and three dry contacts (clutch, tyre, brakes with rolling resistance). Each
    contact carries what ends its sliding within the step or all it can. Work is force times mean speed over the step, so the
    kinetic energy balances to rounding.
    """
    engine_speed, wheel_speed, speed = s["engine_speed"], s["wheel_speed"], s["speed"]
    gear = int(s["gear"])
    rate = 1.0 / step
    per_engine = 1.0 / p["engine_inertia"]
    capacity = s["clutch_engagement"] * p["clutch_capacity"]
    push = -(s["grade_force"] + s["aero_force"])
    hold_vehicle = s["rolling_force"] + (s["brake_force_steer"] + s["brake_force_trailer"])

    clutch = required = 0.0
    shaft_before = shaft_after = s["shaft_speed"]
    if gear == 0:
        clutch, required, shaft_after = spin_shaft(s, p, per_engine, capacity, step, rate)
    clutch, required, wheel_after, acted_vehicle, tyre_force, line, along = roll_as_one(
        s, p, tables, gear, clutch, required, per_engine, capacity, push, hold_vehicle, step, rate
    )
    speed_after, acted_wheels, slipping = wheel_after, acted_vehicle, 0.0
    grip = traction_limit(p["grip"], p["drive_load"])
    if abs(tyre_force) > grip:
        slipping = 1.0
        tyre_force = grip if tyre_force > 0.0 else -grip
        speed_after, held = slide(speed, push + tyre_force, hold_vehicle, p["vehicle_body"], step, rate)
        acted_vehicle = held / hold_vehicle
        clutch, required, wheel_after, acted_wheels = spin_wheels(
            s, p, gear, clutch, required, per_engine, capacity, tyre_force, line, along, step, rate
        )
    slope, drag, per_metre = line
    engine_after = engine_speed + step * (s["engine_torque"] - clutch) * per_engine
    if gear != 0:
        shaft_before = per_metre * wheel_speed
        shaft_after = per_metre * wheel_after

    drag *= acted_wheels
    s["rolling_force"] *= acted_vehicle
    s["brake_force_steer"] *= acted_vehicle
    s["brake_force_trailer"] *= acted_vehicle
    s["brake_force_drive"] *= acted_wheels
    s["drive_force"] = slope * clutch - drag if gear != 0 else -drag
    s["tyre_force"] = tyre_force
    s["wheel_utilisation"] = abs(tyre_force) / p["drive_load"]
    s["clutch_torque"] = clutch
    mean_speed = 0.5 * (speed + speed_after)
    mean_wheel = 0.5 * (wheel_speed + wheel_after)
    mean_engine = 0.5 * (engine_speed + engine_after)
    mean_shaft = 0.5 * (shaft_before + shaft_after)
    book_work(s, b, mean_speed, mean_wheel, mean_engine, mean_shaft, step)
    burnt = book_engine(s, p, mean_engine, engine_after, step)
    book_driveline(s, p, tables, gear, burnt, mean_wheel, mean_engine, mean_shaft, step)

    locked = 1.0 if capacity > 0.0 and abs(required) <= capacity else 0.0
    if locked != s["clutch_locked"]:
        s["clutch_changes"] += 1.0
    s["clutch_locked"] = locked
    s["wheel_slip"] = slipping
    s["acceleration"] = (speed_after - speed) * rate
    s["standstill"] = 1.0 if speed_after == 0.0 else 0.0
    travelled = mean_speed * step
    s["elevation"] += travelled * s["sine"]
    s["distance"] += travelled
    s["speed"] = speed_after
    s["wheel_speed"] = wheel_after
    s["engine_speed"] = max(engine_after, 0.0)
    s["shaft_speed"] = shaft_after
