"""One step of the kernel and of the dry contacts, against closed solutions, stated lags and momentum."""

from math import exp

import numpy as np
import pytest
from one_moment import T1, TURN, Moment
from quasi_static import Sums

from sim.march import contacts, kernel, plant
from sim.march.records import (
    WATCH_ARMED,
    WATCH_DIRECTION,
    WATCH_FIRED,
    WATCH_LEVEL,
    WATCH_PLACE,
    WATCH_RELEASE,
    WATCH_SCALE,
)

TICK = 0.001  # s


@pytest.fixture
def moment() -> Moment:
    return Moment()


# ---------------------------------------------------------------- road and lags


def test_the_road_is_read_between_its_points_in_both_directions(moment):
    road = np.array([[0.0, 0.01, 0.0001, 2.0], [100.0, 0.02, -0.0002, -3.0], [200.0, 0.0, 0.0, 0.0]])
    for distance, place, found, grade, wind in (
        (50.0, 0, 0, 0.015, 2.0), (150.0, 0, 1, 0.01, -3.0), (260.0, 1, 2, 0.0, 0.0), (99.0, 2, 0, 0.0199, 2.0),
    ):  # fmt: skip
        moment.s["distance"] = distance
        assert kernel.look_up_road(moment.s, road, place) == found
        assert (moment.s["grade"], moment.s["wind"]) == (pytest.approx(grade), wind)


@pytest.mark.parametrize("group", ["steer", "drive", "trailer"])
def test_a_brake_has_63_percent_of_its_pressure_after_the_lag_of_its_axles(moment, group):
    """0.4 s (model commercial driver manual, second-hand): rising and falling alike."""
    lags = {"steer": 0.3, "drive": 0.4, "trailer": 0.5}
    for name, lag in lags.items():
        moment.p[f"brake_lag_{name}"] = lag
    s = moment.s
    s["brake_demand"], s["reservoir_pressure"] = 2.0e5, 8.0e5
    moment.p["air_leak_rate"] = 0.0
    for _ in range(round(lags[group] / TICK)):
        kernel.fill(s, moment.p, TICK)
    assert s[f"brake_pressure_{group}"] == pytest.approx(2.0e5 * (1.0 - exp(-1.0)), rel=2e-3)
    top, s["brake_demand"] = float(s[f"brake_pressure_{group}"]), 0.0
    for _ in range(round(lags[group] / TICK)):
        kernel.fill(s, moment.p, TICK)
    assert s[f"brake_pressure_{group}"] == pytest.approx(top * exp(-1.0), rel=2e-3)
    for _ in range(10_000):
        kernel.fill(s, moment.p, TICK)
    assert s[f"brake_pressure_{group}"] == 0.0, "released chambers are empty"


def test_the_lag_of_the_drive_axles_is_that_of_the_file(moment):
    assert moment.p["brake_lag_drive"] == moment.truck.drive_brakes.lag_s == 0.4
    moment.s["brake_demand"] = moment.s["reservoir_pressure"] = 5.0e5
    kernel.fill(moment.s, moment.p, TICK)
    assert moment.s["brake_pressure_drive"] == pytest.approx(5.0e5 * TICK / 0.4)


def test_the_hand_valve_works_the_trailer_alone_and_no_brake_has_more_than_the_tanks(moment):
    s, p = moment.s, moment.p
    s["trailer_demand"], s["brake_demand"], s["reservoir_pressure"] = 3.0e5, 0.0, 8.0e5
    for _ in range(4000):
        kernel.fill(s, p, TICK)
    assert s["brake_pressure_trailer"] == pytest.approx(3.0e5, rel=1e-3)
    assert s["brake_pressure_steer"] == s["brake_pressure_drive"] == 0.0
    s["trailer_demand"] = 0.0
    for _ in range(400):
        kernel.fill(s, p, TICK)
    assert s["brake_pressure_trailer"] == pytest.approx(3.0e5 * exp(-1.0), rel=2e-3), "let go it falls as it rose"
    s["brake_demand"], s["reservoir_pressure"], p["air_per_application"] = 6.0e5, 2.0e5, 0.0
    p["air_leak_rate"] = p["applied_leak_rate"] = p["moving_air_rate"] = 0.0
    for _ in range(8000):
        kernel.fill(s, p, TICK)
    for group in ("steer", "drive", "trailer"):
        assert s[f"brake_pressure_{group}"] == pytest.approx(2.0e5, rel=1e-3)


def test_leaks_use_applications_and_a_compressor_move_the_pressure_of_the_tanks(moment):
    """kPa/s of the truck's file: leaks, more of them while the brakes are applied, what a moving truck uses; 8 made at 2100 rpm."""
    s, p, extras = moment.s, moment.p, moment.truck.accessories
    leak, applied, moving = (
        1000.0 * each for each in (extras.leak_kpa_per_s, extras.applied_leak_kpa_per_s, extras.moving_use_kpa_per_s)
    )
    s["reservoir_pressure"] = s["least_reservoir_pressure"] = expected = 8.0e5
    p["air_per_application"] = 0.0
    moment.turn(1050.0)
    for standing, pedal, pumping, flow in (
        (1.0, 0.0, 0.0, -leak), (0.0, 0.0, 0.0, -leak - moving), (1.0, 3.0e5, 0.0, -leak - applied), (1.0, 0.0, 1.0, 4.0e3 - leak),
    ):  # fmt: skip
        s["standstill"], s["brake_demand"], s["compressor_pumping"] = standing, pedal, pumping
        kernel.fill(s, p, 1.0)
        expected += flow
        assert s["reservoir_pressure"] == pytest.approx(expected, rel=1e-12)
    assert s["least_reservoir_pressure"] == pytest.approx(8.0e5 - 3.0 * leak - applied - moving)
    p["air_leak_rate"] = 1.0e9
    kernel.fill(s, p, 1.0)
    assert s["reservoir_pressure"] == 0.0


def test_an_application_takes_its_share_of_the_tanks(moment):
    """0.02 of the pressure of the drive axles, however the pedal goes down (the truck's file)."""
    s, p = moment.s, moment.p
    s["reservoir_pressure"], s["brake_demand"] = 8.0e5, 4.0e5
    p["air_leak_rate"] = p["applied_leak_rate"] = p["moving_air_rate"] = 0.0
    for _ in range(6000):
        kernel.fill(s, p, TICK)
    assert 8.0e5 - s["reservoir_pressure"] == pytest.approx(0.02 * 4.0e5, rel=1e-3)


def test_the_manifold_fills_at_its_rate(moment):
    s = moment.s
    s["manifold_pressure"], s["manifold_heading"], s["filling_rate"] = 1.5e5, 2.5e5, 4.0
    for _ in range(250):
        kernel.fill(s, moment.p, TICK)
    assert s["manifold_pressure"] == pytest.approx(2.5e5 - 1.0e5 * exp(-1.0), rel=1e-3)
    assert s["boost"] == s["manifold_pressure"] - s["ambient_pressure"]
    s["filling_rate"] = 1.0e9
    kernel.fill(s, moment.p, TICK)
    assert s["manifold_pressure"] == 2.5e5


# ---------------------------------------------------------------- what is counted


@pytest.mark.parametrize(
    ("name", "put"),
    [
        ("time_over_governed", {"engine_torque": -1.0, "clutch_locked": 1.0, "engine_speed": 2101.0 * TURN}),
        ("time_racing", {"engine_torque": 1.0, "engine_speed": 2251.5 * TURN}),
        ("time_over_limit", {"speed": 25.0}), ("time_wheel_slip", {"wheel_slip": 1.0}), ("time_smoking", {"smoking": 1.0}),
    ],
)  # fmt: skip
def test_time_is_counted_where_it_applies_and_nowhere_else(moment, name, put):
    s, c, p = moment.s, moment.c, moment.p
    c["speed_limit"] = 22.0
    names = ("time_over_governed", "time_racing", "time_over_limit", "time_wheel_slip", "time_smoking")
    for field, value in put.items():
        s[field] = value
    kernel.count(s, c, p, 0.01)
    assert {each: float(s[each]) for each in names} == {each: 0.01 if each == name else 0.0 for each in names}
    if name == "time_over_governed":
        c["engine_mode"] = 1.0
        kernel.count(s, c, p, 0.01)
        assert s[name] == 0.01, "with the foot lifted for a shift it may be between governed speed and high idle"
        s["engine_speed"] = 2251.0 * TURN
        kernel.count(s, c, p, 0.01)
        assert s[name] == 0.02
    if name == "time_racing":
        s["engine_speed"] = 2250.9 * TURN
        kernel.count(s, c, p, 0.01)
        assert s[name] == 0.01, "a governor holds high idle to a turn a minute"
    if name == "time_over_limit":
        s["speed"] = 22.0 + 0.999 * p["limit_tolerance"]
        kernel.count(s, c, p, 0.01)
        assert s[name] == 0.01


def test_the_time_of_each_stage_and_the_extremes_of_a_trip(moment):
    s, c, p = moment.s, moment.c, moment.p
    c["speed_limit"] = 100.0
    for stage in (0.0, 1.0, 2.0, 3.0):
        c["stage"], s["active_cylinders"] = stage, 2.0 * stage
        for _ in range(int(stage) + 1):
            kernel.count(s, c, p, 0.5)
    assert [float(s[f"stage_time_{stage}"]) for stage in range(4)] == [0.5, 1.0, 1.5, 2.0]
    for distance, speed, rpm in ((10.0, 5.0, 900.0), (8.0, 7.0, 800.0), (9.0, 6.0, 1000.0)):
        s["distance"], s["speed"] = distance, speed
        moment.turn(rpm)
        kernel.count(s, c, p, 0.5)
    assert (s["furthest"], s["rolled_back"]) == (10.0, 2.0)
    assert (s["max_speed"], s["max_speed_place"]) == (7.0, 8.0)
    assert (s["max_engine_speed"] / TURN, s["max_engine_speed_place"]) == (pytest.approx(1000.0), 9.0)


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_a_watch_point_fires_at_its_level_and_is_armed_again_at_its_release(direction):
    levels, flags, block = np.zeros((1, 4)), np.zeros((1, 3), dtype=np.int64), np.zeros(3)
    levels[0, [WATCH_LEVEL, WATCH_DIRECTION, WATCH_RELEASE, WATCH_SCALE]] = (
        36.0 * direction,
        direction,
        18.0 * direction,
        3.6,
    )
    flags[0, [WATCH_PLACE, WATCH_ARMED, WATCH_FIRED]] = 2, 1, 0
    seen = []
    for value in (9.99, 10.01, 20.0, 5.01, 11.0, 4.99, 11.0):
        block[2] = value * direction
        fired = kernel.check_watches(levels, flags, 1, block)
        assert fired == flags[0, WATCH_FIRED]
        seen.append(fired)
        flags[0, WATCH_FIRED] = 0  # whoever waited has been told
    assert seen == [0, 1, 0, 0, 0, 0, 1]


# ---------------------------------------------------------------- a rolling start


@pytest.mark.parametrize(("speed", "gear", "grade"), [(22.0, 10, 0.0), (12.0, 6, 0.03), (20.0, 9, -0.06)])
def test_a_rolling_start_is_at_the_pedal_and_the_boost_that_hold_it(speed, gear, grade):
    """Pedal for what road, air and driveline take, rotor at rest: nothing is accelerated but by gravity downhill."""
    moment = Moment()
    moment.roll(speed, gear, grade)
    moment.s["engine_speed"] = 0.0
    turning = float(moment.s["shaft_speed"])
    kernel.settle_start(*moment.memory[1:], moment.parameters, moment.tables)
    s = moment.s
    assert s["engine_speed"] == s["shaft_speed"] == s["max_engine_speed"] == pytest.approx(turning)
    assert s["boost"] == s["manifold_pressure"] - s["ambient_pressure"] >= -3000.0
    assert moment.b["altitude_share"] == 1.0 and moment.b["acceleration"] == 0.0
    assert moment.b["smooth_speed"] == moment.b["cruise_reference"] == pytest.approx(speed)
    gained = plant.rolling_acceleration(s, moment.p, moment.tables)
    if grade < 0.0:
        assert moment.k["accelerator"] == moment.d["hold_integral"] == 0.0 and gained > 0.0
    else:
        # what road and air take, back through axle and gearbox, and the friction: of full load on the pistons
        by_hand, rpm = Sums(T1, 0.0, air_c=15.0), turning / TURN
        constant, lost = by_hand.gearbox_losses(rpm, gear)
        at_axle = by_hand.resistance(speed, 0.0, grade) * 0.49 / 0.975 + 40.0
        torque = (at_axle / (3.36 * moment.truck.gearbox.ratios[gear - 1]) + constant) / (1.0 - lost)
        friction = by_hand.retarding_torques(rpm, 0, 1.0e5)[0]
        wanted = (torque + friction) / (moment.full_load(rpm) + friction)
        assert moment.d["hold_integral"] == pytest.approx(wanted, rel=3e-3)
        assert gained < 0.0, "fan and accessories are not in the first guess"
        assert moment.d["foot"] == moment.k["accelerator"] == pytest.approx(float(moment.d["hold_integral"]), abs=2e-4)
        assert s["fuel_demand"] == pytest.approx(float(moment.k["accelerator"]), abs=1e-3)
    energy = float(s["turbo_energy"])
    left = s["fuel_rate"] * 42.8e6 - s["indicated_torque"] * s["engine_speed"]
    kernel.breathe(s, moment.p, 0.71 * left, s["fuel_rate"], 0.1)
    assert s["turbo_energy"] == pytest.approx(energy, rel=1e-3), "the turbine pays for the compressor"


def test_where_the_start_is_high_the_barometer_is_heard_from_the_first_moment():
    moment = Moment()
    moment.s["elevation"] = 2000.0
    kernel.settle_start(*moment.memory[1:], moment.parameters, moment.tables)
    assert moment.b["altitude_share"] == pytest.approx(0.9, abs=1e-3)


# ---------------------------------------------------------------- dry contacts


def test_a_push_against_friction_moves_what_it_can(moment):
    """Newton: 100 kg, 50 N against 30 N gains 0.2 m/s in a second; 20 N against 30 N none; sliding stops, not turns back."""
    assert contacts.slide(0.0, 50.0, 30.0, 100.0, 1.0, 1.0) == (pytest.approx(0.2), 30.0)
    assert contacts.slide(0.0, 20.0, 30.0, 100.0, 1.0, 1.0) == (0.0, pytest.approx(20.0))
    assert contacts.slide(0.1, 0.0, 30.0, 100.0, 1.0, 1.0) == (pytest.approx(0.0, abs=1e-12), pytest.approx(10.0))
    assert contacts.slide(-1.0, 0.0, 30.0, 100.0, 0.5, 2.0) == (pytest.approx(-0.85), -30.0)


def test_a_clutch_ends_its_sliding_within_a_step_or_carries_all_it_can(moment):
    """Two inertias, 4 and 2 kg m2, 1 rad/s apart, 60 N m on the one and 10 N m against the other."""
    moment.s["engine_torque"] = 60.0
    carried, required = contacts.clutch_torque(moment.s, 1.0, 10.0 / 2.0, 1.0 / 2.0, 1.0 / 4.0, 1000.0, 10.0)
    engine, shaft = 1.0 + 0.1 * (60.0 - required) / 4.0, 0.1 * (required - 10.0) / 2.0
    assert engine == pytest.approx(shaft) and carried == required
    carried, _ = contacts.clutch_torque(moment.s, 1.0, 10.0 / 2.0, 1.0 / 2.0, 1.0 / 4.0, 25.0, 10.0)
    assert carried == 25.0


@pytest.mark.parametrize("slipping", [False, True])
def test_a_gear_is_engaged_by_an_impact_that_keeps_the_momentum(moment, slipping):
    """What turns and rolls is brought to one speed; the energy that is lost stands in the books."""
    s, gear = moment.s, 5
    turns = 3.57 * 3.36 / 0.49
    s["speed"] = s["wheel_speed"] = 8.0
    s["shaft_speed"], s["wheel_slip"] = 150.0, float(slipping)
    mass = 8.0 * 13.6 / 0.49**2 + (0.0 if slipping else 36287.0 + 10.0 * 13.6 / 0.49**2)
    momentum = mass * 8.0 + 0.15 * turns * 150.0
    energy = 0.5 * mass * 64.0 + 0.5 * 0.15 * 150.0**2
    contacts.change_gear(s, gear, moment.p, moment.tables)
    assert s["shaft_speed"] == pytest.approx(turns * s["wheel_speed"])
    assert mass * s["wheel_speed"] + 0.15 * turns * s["shaft_speed"] == pytest.approx(momentum, rel=1e-9)
    after = 0.5 * mass * s["wheel_speed"] ** 2 + 0.5 * 0.15 * s["shaft_speed"] ** 2
    assert s["gear_synchronising"] == pytest.approx(energy - after, rel=1e-6)
    assert s["speed"] == (8.0 if slipping else s["wheel_speed"]) and s["gear"] == 5.0


def stepped(moment: Moment, step: float = 0.01) -> None:
    plant.settle(moment.s, moment.b, moment.c, moment.p, moment.tables)
    contacts.move(moment.s, moment.b, moment.p, moment.tables, step)


@pytest.fixture
def pulling(moment: Moment) -> Moment:
    """In seventh gear at 1400 rpm with the clutch closed, on a climb of 2 %."""
    moment.roll(1400.0 * TURN * 0.49 / (1.90 * 3.36), 7, 0.02)
    moment.s["clutch_engagement"] = moment.s["clutch_locked"] = 1.0
    return moment


@pytest.mark.parametrize(("pedal", "brake"), [(1.0, 0.0), (0.0, 0.0), (0.0, 2.0e5), (0.5, 0.0)])
def test_a_truck_in_gear_moves_by_newton_and_books_every_force_over_its_way(pulling, pedal, brake):
    s, p, step = pulling.s, pulling.p, 0.01
    pulling.b["driver_demand"] = pedal
    for group in ("steer", "drive", "trailer"):
        s[f"brake_pressure_{group}"] = brake
    plant.settle(s, pulling.b, pulling.c, p, pulling.tables)
    expected = plant.rolling_acceleration(s, p, pulling.tables)
    before, turning = float(s["speed"]), float(s["engine_speed"])
    contacts.move(s, pulling.b, p, pulling.tables, step)
    assert s["acceleration"] == pytest.approx(expected, rel=2e-3)
    assert s["speed"] == pytest.approx(before + step * s["acceleration"]) == pytest.approx(float(s["wheel_speed"]))
    way = 0.5 * (before + s["speed"]) * step
    assert s["distance"] == pytest.approx(way) and s["elevation"] == pytest.approx(way * s["sine"])
    assert s["clutch_locked"] == 1.0 and s["clutch_changes"] == 0.0
    assert s["aero"] == pytest.approx(s["aero_force"] * way) and s["rolling"] == pytest.approx(s["rolling_force"] * way)
    assert s["climb"] == pytest.approx(s["grade_force"] * way)
    brakes = [float(s[f"brake_force_{group}"]) * way for group in ("steer", "drive", "trailer")]
    assert s["service_brakes"] == pytest.approx(sum(brakes), abs=1e-9)
    assert [float(s[f"pending_{group}"]) for group in ("steer", "drive", "trailer")] == pytest.approx(brakes, abs=1e-9)
    assert s["service_brake_power"] == pytest.approx(sum(brakes) / step, abs=1e-9)
    turned = 0.5 * (turning + s["engine_speed"]) * step
    for name in ("friction", "compression", "fan", "accessory", "indicated"):
        book = {"friction": "engine_friction", "accessory": "accessories", "indicated": "indicated_work"}.get(
            name, name
        )
        assert s[book] == pytest.approx(s[f"{name}_torque"] * turned), name
    fuel = s["fuel_rate"] * step
    assert s["fuel_mass"] == pytest.approx(fuel)
    assert s["pending_combustion"] == pytest.approx(fuel * 42.8e6 - s["indicated_work"], abs=1e-6)
    assert s["pending_friction"] == s["engine_friction"] and s["pending_compression"] == s["compression"]
    held = [float(s[f"held_by_{what}"]) for what in ("engine", "resistance", "brakes")]
    if pedal:
        assert held == [0.0, 0.0, 0.0]
    else:
        resistance = (s["aero_force"] + s["rolling_force"]) * way
        assert held == pytest.approx([-s["drive_force"] * way, resistance, sum(brakes)])
    wheels = 36287.0 + 10.0 * 13.6 / 0.49**2  # all but what turns with the driveline
    others = s["brake_force_steer"] + s["brake_force_trailer"] + s["rolling_force"] + s["aero_force"] + s["grade_force"]
    assert s["tyre_force"] == pytest.approx(wheels * s["acceleration"] + others, rel=1e-6)
    assert s["wheel_utilisation"] == pytest.approx(abs(s["tyre_force"]) / (15422.0 * 9.80665))
    # what came through the clutch went over the tyres, into what turns, and into gearbox and axle
    shaft = 0.5 * (turning + s["shaft_speed"]) * step
    spun = 0.5 * 0.15 * (s["shaft_speed"] ** 2 - turning**2)
    spun += 0.5 * (8.0 * 13.6 / 0.49**2) * (s["wheel_speed"] ** 2 - before**2)
    given = s["clutch_torque"] * shaft
    lost = s["gearbox"] + s["axle"]
    assert given - lost == pytest.approx(s["tyre_force"] * way + brakes[1] + spun, abs=2e-3 * abs(given))
    assert s["gearbox"] > 0.0 and s["axle"] > 0.0


@pytest.mark.parametrize(("share", "counts"), [(0.9, True), (0.507, True), (0.493, False), (0.1, False)])
def test_efficiencies_are_judged_where_the_engine_pulls_hard(pulling, share, counts):
    """From half of full load at the flywheel on; before fan and accessories."""
    s = pulling.s
    pulling.run(1400.0, 0.0)
    drawn = s["fan_torque"] + s["accessory_torque"]
    whole = s["full_load_torque"] + s["warm_friction"]
    pulling.b["driver_demand"] = (share * s["full_load_torque"] + s["friction_torque"] + drawn) / whole
    turning = float(s["engine_speed"])
    stepped(pulling)
    turned = 0.5 * (turning + s["engine_speed"]) * 0.01
    work = (s["engine_torque"] + s["fan_torque"] + s["accessory_torque"]) * turned if counts else 0.0
    assert s["loaded_work"] == pytest.approx(work)
    assert s["loaded_fuel"] == pytest.approx(s["fuel_mass"] * 42.8e6 if counts else 0.0)
    assert s["loaded_input"] == pytest.approx(s["clutch_torque"] * turned if counts else 0.0, rel=1e-6)
    assert (s["loaded_gearbox"], s["loaded_axle"]) == ((s["gearbox"], s["axle"]) if counts else (0.0, 0.0))


@pytest.mark.parametrize("lead", [20.0, -20.0])
def test_a_slipping_clutch_carries_its_capacity_and_warms(pulling, lead):
    s = pulling.s
    pulling.b["driver_demand"] = 0.5
    s["engine_speed"] += lead
    pulling.b["engine_speed"] = s["engine_speed"]
    s["clutch_engagement"] = 0.5
    engine, shaft = float(s["engine_speed"]), float(s["shaft_speed"])
    stepped(pulling)
    torque = 1700.0 if lead > 0.0 else -1700.0
    assert s["clutch_torque"] == pytest.approx(torque), "half of 3400 N m"
    assert (s["clutch_locked"], s["clutch_changes"]) == (0.0, 1.0)
    assert s["engine_speed"] == pytest.approx(engine + 0.01 * (s["engine_torque"] - torque) / 4.0)
    slip = 0.5 * (engine + s["engine_speed"] - shaft - s["shaft_speed"]) * 0.01
    assert s["clutch"] == pytest.approx(torque * slip)
    slope, drag = plant.asked_driveline(pulling.parameters, pulling.tables, torque, 7, shaft)
    moved = 36287.0 + 18.0 * 13.6 / 0.49**2 + 0.15 * (1.90 * 3.36 / 0.49) ** 2
    force = slope * torque - drag - s["rolling_force"] - s["aero_force"] - s["grade_force"]
    assert s["acceleration"] == pytest.approx(force / moved, rel=1e-9), "losses by the direction that the torque takes"


def test_in_neutral_the_shaft_comes_to_rest_by_its_loss_and_the_truck_rolls(moment):
    """4 N m on 0.15 kg m2: 26.7 rad/s2; the energy goes to the gearbox."""
    s = moment.s
    moment.roll(15.0, 7)
    s["gear"], s["clutch_engagement"], s["shaft_speed"] = 0.0, 0.0, 100.0
    stepped(moment)
    assert s["shaft_speed"] == pytest.approx(100.0 - 0.01 * 4.0 / 0.15)
    assert s["gearbox"] == pytest.approx(4.0 * 0.5 * (100.0 + s["shaft_speed"]) * 0.01)
    resisting = s["rolling_force"] + s["aero_force"] + 40.0 / 0.975 / 0.49  # and the axle turns with the wheels
    mass = 36287.0 + 18.0 * 13.6 / 0.49**2
    assert -s["acceleration"] * mass == pytest.approx(resisting, rel=1e-6)
    s["clutch_engagement"], s["shaft_speed"] = 1.0, float(s["engine_speed"]) - 1.0
    stepped(moment)
    assert s["clutch_locked"] == 1.0 and s["shaft_speed"] == pytest.approx(float(s["engine_speed"]))


def test_brakes_hold_a_truck_on_a_hill_with_what_it_takes_and_no_more(moment):
    s = moment.s
    s["grade"] = 0.05
    for group in ("steer", "drive", "trailer"):
        s[f"brake_pressure_{group}"] = 4.0e5
    moment.turn(650.0)
    stepped(moment)
    assert (s["speed"], s["standstill"], s["distance"], s["service_brakes"]) == (0.0, 1.0, 0.0, 0.0)
    holding = sum(float(s[f"brake_force_{group}"]) for group in ("steer", "drive", "trailer")) + s["rolling_force"]
    assert holding == pytest.approx(-s["grade_force"], rel=0.02), "against the slope"


def test_wheels_that_slip_give_the_grip_there_is_and_spin_with_the_rest(pulling):
    s, p, step = pulling.s, pulling.p, 0.01
    p["grip"] = 0.03
    pulling.b["driver_demand"] = 1.0
    before = float(s["speed"])
    stepped(pulling, step)
    grip = 0.03 * 15422.0 * 9.80665
    assert s["wheel_slip"] == 1.0 and s["tyre_force"] == pytest.approx(grip)
    vehicle = 36287.0 + 10.0 * 13.6 / 0.49**2
    resisting = s["rolling_force"] + s["aero_force"] + s["grade_force"]
    assert s["acceleration"] == pytest.approx((grip - resisting) / vehicle, rel=1e-9)
    wheels = 8.0 * 13.6 / 0.49**2 + 0.15 * (1.90 * 3.36 / 0.49) ** 2
    spun = s["wheel_speed"] - before
    assert s["clutch_locked"] == 1.0 and s["engine_speed"] == pytest.approx(float(s["shaft_speed"]))
    assert spun > 0.0 and wheels * spun / step == pytest.approx(s["drive_force"] - grip, rel=1e-6)
    slip = 0.5 * (s["wheel_speed"] - s["speed"]) * step
    assert s["tyre_slip"] == pytest.approx(grip * slip)
    for pair in ("front", "middle", "rear"):
        pulling.c[f"pair_{pair}"] = 1.0
    pulling.roll(float(s["speed"]), 7, 0.02)
    s["exhaust_pressure"], pulling.b["driver_demand"] = 6.0e5, 0.0
    stepped(pulling, step)
    assert s["wheel_slip"] == 1.0 and s["tyre_force"] == pytest.approx(-grip) and s["wheel_speed"] < s["speed"]
    assert s["clutch_locked"] == 1.0 and s["engine_speed"] == pytest.approx(float(s["shaft_speed"]))


def test_an_engine_that_is_stalled_turns_nothing_backwards(moment):
    """Friction takes what it still turned with."""
    s = moment.s
    s["engine_speed"], s["gear"] = 0.05, 0.0
    moment.b["key"] = 0.0
    moment.b["engine_speed"] = 300.0
    stepped(moment, 0.05)
    assert s["engine_speed"] == 0.0
    drawn = (s["fan"] + s["accessories"]) + s["engine_friction"] - s["indicated_work"]
    assert drawn == pytest.approx(0.5 * 4.0 * 0.05**2, rel=1e-6)


def test_the_hand_valve_and_the_barometer_are_heard_at_every_step(parked):
    """6.2 bar at the end of the valve; 1 % less torque for each 100 m above 1000 m."""
    clock = parked("grade:0%,10km,2000m", "start.speed_km_h=0")
    clock.mean(hand_trailer_brake=0.5)
    clock.belief["altitude_share"][0] = 1.0
    clock.run(until=400)
    assert clock.true("trailer_demand") == pytest.approx(3.1e5)
    assert clock.true("brake_pressure_trailer") > 3.0e5 and clock.true("brake_pressure_steer") < 2.1e5
    assert clock.believed("altitude_share") == pytest.approx(0.9, abs=2e-3)
