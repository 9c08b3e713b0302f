"""What takes the place of the road on a dyno: an absorber on the flywheel, or under the rollers that a truck turns.

Everything but the load is the trip's own. On the flywheel the absorber takes the place of clutch and truck; under rollers it
stands where a trip has the hill, and clutch, gears, axle and tyres with their losses are those of a trip.
"""

from sim.compiled import compiled
from sim.laws.dynamometer import absorber_torque
from sim.laws.foot import moved_towards
from sim.march.contacts import book_engine
from sim.march.records import RATIO_ROW


@compiled
def absorbed(s, c, p, free, per_speed, inertia, step):
    """What the absorber takes at its own shaft over this step.

    Parameters
    ----------
    s : record
        State; the target and what the absorber has learnt are written. [SI]
    c : record
        Command; mode, speed, rate and load. [SI]
    free : float
        Speed of the shaft at the end of the step without the absorber. [rad/s or m/s]
    per_speed : float
        Engine speed per speed of the shaft: 1 on the flywheel. [- or rad/m]
    inertia : float
        Of everything that turns with the shaft. [kg m² or kg]

    Returns
    -------
    taken : float
        Against the motion. [N m or N]
    """
    most = p["absorber_capacity"] * per_speed
    mode = c["absorber_mode"]
    if mode < 0.5 or mode > 1.5:
        s["absorber_target"] = s["engine_speed"]
        s["absorber_learnt"] = 0.0
        return min(c["absorber_load"] * per_speed, most) if mode > 1.5 else 0.0
    s["absorber_target"] = moved_towards(
        s["absorber_target"], c["absorber_speed"], c["absorber_rate"], c["absorber_rate"], step
    )
    target = s["absorber_target"] / per_speed
    stiffness = p["absorber_stiffness"] * per_speed * per_speed
    wanted = absorber_torque(free, target, s["absorber_learnt"], stiffness, inertia, step)
    taken = min(max(wanted, -most), most)
    if taken == wanted:
        off = free - taken * step / inertia - target
        s["absorber_learnt"] += stiffness * off * step / p["absorber_settling"]
    return taken


@compiled
def turn(s, c, p, step):
    """One step of an engine on the absorber's shaft.

    Parameters
    ----------
    s : record
        State after `settle`; engine speed, absorber and ledger are written. [SI]
    """
    before = s["engine_speed"]
    inertia = p["engine_inertia"]
    free = before + step * s["engine_torque"] / inertia
    taken = absorbed(s, c, p, free, 1.0, inertia, step)
    after = free - step * taken / inertia
    mean = 0.5 * (before + after)
    book_engine(s, p, mean, after, step)
    s["absorber_torque"] = taken
    s["climb"] += taken * mean * step
    s["engine_speed"] = max(after, 0.0)


@compiled
def press_rollers(s, c, p, tables, step):
    """Puts the force of the absorber under the rollers where a trip has the hill.

    Parameters
    ----------
    s : record
        State after `settle`; absorber and grade force are written. [SI]
    p : record
        Parameters; `vehicle_body` is the inertia of the rollers. [SI]
    """
    per_metre = tables[RATIO_ROW, int(s["gear"])] * p["axle_ratio"] / p["tyre_radius"]
    turning = (p["shaft_inertia"] + p["engine_inertia"]) * per_metre * per_metre
    body = p["vehicle_body"] + p["wheel_body"] + turning
    # what drives the rollers is about what drove them a tick ago
    free = s["speed"] + step * (s["acceleration"] + s["absorber_force"] / body)
    taken = absorbed(s, c, p, free, per_metre, body, step)
    s["absorber_force"] = taken
    s["absorber_torque"] = taken / per_metre
    s["grade_force"] = taken
