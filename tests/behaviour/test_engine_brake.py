"""The engine brake as a driver meets it: it builds up, weakens with height, lets go in words, burns nothing."""

import numpy as np
import pytest
from quasi_static import Sums

from sim import load_truck
from sim.march.records import REASONS
from sim.units import REVOLUTION_PER_MINUTE, STANDARD_GRAVITY
from sim.wording import kinds_in

T1, T2, T3, T4, T5 = (
    "long-haul-manual",
    "long-haul-automated",
    "long-haul-empty",
    "dump-three-axle",
    "older-long-haul",
)
ALL_PAIRS = {"pair_front": 1.0, "pair_middle": 1.0, "pair_rear": 1.0, "stage": 3.0}


def retarding_torque(clock):
    """What holds the engine back: compression and friction."""
    return clock.true("compression_torque") + clock.true("friction_torque")


def settled(held, truck, rpm, pairs, **more):
    """A clock with these pairs working for 15 s at a held engine speed."""
    clock = held(truck, rpm, **more)
    clock.set(**{f"pair_{pair}": 1.0 for pair in pairs})
    clock.set(stage=1.0)
    clock.run(until=1500)
    return clock


# ---------------------------------------------------------------- build-up and strength


def test_the_torque_builds_up_with_the_boost(held):
    """1800 rpm, no boost before: at once what the sums give without it, 63 % of the rest within 0.5 to 1.5 s (from memory)."""
    clock = held(T1, 1800.0)
    clock.set(**ALL_PAIRS)
    torque = []
    for tick in (1, 50, 150, 1500):
        clock.run(until=tick)
        torque.append(retarding_torque(clock))
    sums = Sums(T1, 0.0)
    unboosted = sums.braking_mean(101_325.0, 101_325.0) * float(clock.rig.parameters["displacement"][0]) / (4.0 * np.pi)
    assert torque[0] - clock.true("friction_torque") == pytest.approx(unboosted, rel=0.05)
    way = [(value - torque[0]) / (torque[-1] - torque[0]) for value in torque]
    assert way[1] < 0.63 < way[2]
    assert clock.true("engine_speed") / REVOLUTION_PER_MINUTE == pytest.approx(1800.0, rel=1e-6)


def test_a_heavier_rotor_builds_up_later(held):
    share = {}
    for inertia in (1.0e-4, 2.0e-4, 4.0e-4):
        clock = held(T1, 1800.0, spec=(f"air_path.rotor_inertia_kg_m2={inertia}",))
        clock.set(**ALL_PAIRS)
        clock.run(until=50)
        early = retarding_torque(clock)
        clock.run(until=2000)
        share[inertia] = early / retarding_torque(clock)
    assert share[1.0e-4] > share[2.0e-4] > share[4.0e-4]


def test_fewer_cylinders_make_less_boost(held):
    """The compression torque with 2, 4 and 6 cylinders is that of the sums."""
    pairs = (("middle",), ("front", "rear"), ("front", "middle", "rear"))
    clocks = [settled(held, T1, 2100.0, each) for each in pairs]
    boost = [clock.true("boost") for clock in clocks]
    assert boost[0] < boost[1] < boost[2]
    assert [clock.true("active_cylinders") for clock in clocks] == [2.0, 4.0, 6.0]
    for clock, cylinders in zip(clocks, (2, 4, 6), strict=True):
        expected = Sums(T1, 0.0).retarding_torques(2100.0, cylinders, clock.true("ambient_pressure"))[1]
        assert clock.true("compression_torque") == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("height", [0, 750, 1100, 1500, 2000])
def test_the_engine_brake_weakens_with_altitude(held, height):
    """Six cylinders at 1800 rpm, warm oil, against the sums."""
    clock = settled(held, T1, 1800.0, ("front", "middle", "rear"), altitude=height)
    torque = clock.true("compression_torque") + clock.true("warm_friction")
    sums = Sums(T1, height)
    assert torque == pytest.approx(sum(sums.retarding_torques(1800.0, 6, sums.air(height)[0])), rel=0.02)


@pytest.mark.parametrize("truck", [T1, T4, T5])
@pytest.mark.parametrize("rpm", [2100.0, 1800.0, 1500.0, 1200.0])
def test_the_power_of_each_class_falls_with_engine_speed(held, truck, rpm):
    """Six cylinders in the air there is; at 2100 rpm in air of 1 bar the sums give the power of the class."""
    clock = settled(held, truck, rpm, ("front", "middle", "rear"))
    sums = Sums(truck, 0.0)
    expected = sums.retarding_torques(rpm, 6, clock.true("ambient_pressure"))
    assert (clock.true("warm_friction"), clock.true("compression_torque")) == pytest.approx(expected, rel=0.02)
    rated = sum(sums.retarding_torques(2100.0, 6, 1.0e5)) * 2100.0 * REVOLUTION_PER_MINUTE / 1000.0
    assert rated == pytest.approx(sums.truck.engine_brake.rated_power_kw, rel=0.01)


# circuit A works cylinders 3 and 4, circuit B works 1, 2, 5 and 6; low = A, medium = B, high = A + B (common practice,
# no source)
CIRCUITS = [
    ("none", (), (2, 4, 6)),
    ("A open", ("middle",), (0, 4, 4)),
    ("B open", ("front", "rear"), (2, 0, 2)),
    ("both open", ("front", "middle", "rear"), (0, 0, 0)),
    ("one solenoid of B", ("rear",), (2, 2, 4)),
]


@pytest.mark.parametrize(("fault", "dead", "working"), CIRCUITS, ids=[row[0] for row in CIRCUITS])
@pytest.mark.parametrize("truck", [T1, T5])
def test_a_dead_circuit_shows_in_the_stages_that_use_it(held, truck, fault, dead, working):
    engine_brake = load_truck(truck).truck.engine_brake
    for stage, cylinders in zip((1, 2, 3), working, strict=True):
        clock = held(truck, 1800.0)
        for pair in dead:
            clock.rig.parameters[f"pair_{pair}_sound"][0] = 0.0
        clock.set(**{f"pair_{pair}": 1.0 for pair in engine_brake.pairs(stage)})
        clock.set(stage=float(stage))
        clock.run(until=1000)
        assert clock.true("active_cylinders") == cylinders, fault
        assert (clock.true("compression_torque") > 0.0) == (cylinders > 0)


def test_a_dead_pair_is_felt_on_the_road(alone):
    """Stage 3 in gear 7 on 6 %: with the middle pair dead the truck gains speed it would have held."""
    reached = {}
    for sound in (1.0, 0.0):
        clock = alone("grade:-6%,8km,1100m", "start.speed_km_h=52", "start.gear=7")
        clock.rig.parameters["pair_middle_sound"][0] = sound
        clock.set(**ALL_PAIRS)
        clock.run(until=6000)
        reached[sound] = clock.true("engine_speed") / REVOLUTION_PER_MINUTE
    assert reached[1.0] < 2000.0
    assert reached[0.0] > reached[1.0] + 150.0


# ---------------------------------------------------------------- interlocks


def drilled(trip, truck, road, gear, stage, start, *changes, **more):
    """A descent in one gear and one stage, service brakes not touched."""
    return trip(
        truck,
        road,
        f"drill.hold_gear={gear}",
        f"drill.hold_stage={stage}",
        "drill.service_brakes=false",
        f"start.speed_km_h={start}",
        *changes,
        **more,
    )


def test_cold_oil_keeps_it_off_and_warm_oil_lets_it_come(trip, named):
    """Needs oil above 30 C (common practice, no source)."""
    cold = ("start.oil_temperature_c=10", "start.coolant_temperature_c=10", "weather.temperature_c=10")
    result = drilled(trip, T1, "grade:-3%,1km,900m", 7, 3, 40, *cold)
    refused = named(result, "stage_refused")
    assert refused[0]["cause"]["kind"] == "cause.oil_too_cold"
    assert refused[0]["value"] == 3
    assert not named(result, "stage_changed")
    assert np.all(result.trace["active_cylinders"] == 0.0)
    assert result.summary["engine_brake_stage_time_s"]["0"] == pytest.approx(result.summary["time_s"])

    nearly = ("start.oil_temperature_c=28", "start.coolant_temperature_c=60", "weather.temperature_c=10")
    result = drilled(trip, T1, "grade:-3%,2km,900m", 7, 3, 40, *nearly)
    assert named(result, "stage_refused")[0]["cause"]["kind"] == "cause.oil_too_cold"
    came = named(result, "stage_changed")[0]
    assert came["value"] == 3
    oil = np.interp(came["time_s"], result.trace["time_s"], result.trace["oil_temperature_c"])
    assert oil == pytest.approx(30.0, abs=0.5)


def test_it_drops_out_below_900_rpm_and_needs_1000_to_come_back(trip, named, road_of, at):
    """900 rpm: common practice, no source; 1000 rpm to come on: the same, as an alternative."""
    road = road_of([(0, -2), (600, -2), (650, -6), (1300, -6)], 1100)
    result = drilled(trip, T1, road, 7, 3, 36)
    changes = named(result, "stage_changed")
    assert [change["value"] for change in changes[:3]] == [3, 0, 3]
    assert changes[1]["cause"]["kind"] == "cause.engine_too_slow"
    rpm = [
        np.interp(change["time_s"], result.trace["time_s"], result.trace["engine_speed_rpm"]) for change in changes[:3]
    ]
    assert rpm[1] == pytest.approx(900.0, abs=10.0)
    assert rpm[2] == pytest.approx(1000.0, abs=12.0)
    waiting = (result.trace["time_s"] > changes[1]["time_s"]) & (result.trace["time_s"] < changes[2]["time_s"])
    reasons = {REASONS[int(code)] for code in result.trace["stage_reason"][waiting]}
    assert "cause.engine_too_slow" in reasons
    assert np.all(result.trace["active_cylinders"][waiting] == 0.0)


def test_it_does_not_come_on_below_1000_rpm(trip, named):
    result = drilled(trip, T1, "grade:-2.5%,600m,900m", 7, 3, 27.5)
    assert named(result, "stage_refused")[0]["cause"]["kind"] == "cause.engine_too_slow"
    assert named(result, "stage_changed")[0]["time_s"] > 2.0


@pytest.mark.parametrize("stage", [1, 2, 3])
def test_a_shift_opens_the_clutch_and_drops_it(trip, named, stage):
    """Common practice, no source: it drops out during a shift. The automated gearbox shifts up to save its engine."""
    result = trip(
        T2,
        "grade:-8%,2km,1100m",
        "start.speed_km_h=60",
        "start.gear=8",
        f"drill.hold_stage={stage}",
        "drill.service_brakes=false",
        "drill.careless=true",
        "simulation.log_s=0.05",
    )
    changes, shifts = named(result, "stage_changed"), named(result, "gear_engaged")
    assert len(shifts) >= 2 or stage == 3
    for shift in shifts:
        begun, done = shift["time_s"] - shift["value"], shift["time_s"]
        off = [change for change in changes if begun <= change["time_s"] <= done + 0.5 and change["value"] == 0]
        assert off and off[0]["cause"]["kind"] in ("cause.clutch_pressed", "cause.neutral")
        back = [change for change in changes if done < change["time_s"] < done + 2.0 and change["value"] == stage]
        assert back or done > result.summary["time_s"] - 2.0
        time = result.trace["time_s"]
        assert np.all(result.trace["active_cylinders"][(time > off[0]["time_s"]) & (time <= done)] == 0.0)


def test_the_accelerator_drops_it(trip, named, road_of):
    road = road_of([(0, -6), (800, -6), (900, 0), (1500, 0)], 1100)
    result = drilled(trip, T1, road, 7, 3, 50)
    changes = named(result, "stage_changed")
    assert changes[-1]["value"] == 0
    assert changes[-1]["cause"]["kind"] == "cause.accelerator_pressed"
    working = result.trace["active_cylinders"] > 0.0
    assert working.any()
    assert result.trace["fuel_rate_g_s"][~working].max() > 1.0


def test_wheel_slip_on_ice_drops_it_and_is_logged(trip, named):
    """Empty on ice (grip 0.1, from memory) in stage 3: the tyres let go, the brake lets go and comes back."""
    result = drilled(trip, T3, "grade:-6%,1km,1100m", 8, 3, 60, "weather.grip=0.1")
    changes = named(result, "stage_changed")
    assert (changes[0]["value"], changes[1]["value"]) == (3, 0)
    assert changes[1]["cause"]["kind"] == "cause.wheels_slipping"
    assert result.summary["time_wheel_slip_s"] > 0.3
    assert result.trace["wheel_slip"].max() == 1.0
    warned = kinds_in(result.summary["warnings"])
    assert {"warning.wheels_slipped", "warning.engine_brake_on_slippery_road"} <= warned
    dry = drilled(trip, T3, "grade:-6%,1km,1100m", 8, 3, 60)
    assert dry.summary["time_wheel_slip_s"] == 0.0
    assert all(change["cause"]["kind"] != "cause.wheels_slipping" for change in named(dry, "stage_changed"))


@pytest.mark.parametrize(("truck", "gear"), [(T1, 7), (T3, 8), (T3, 7)])
def test_how_much_grip_each_stage_asks_for(alone, truck, gear):
    """Force over load on the drive axles by the sums, 0.05 to 0.34.

    An empty truck slips in stage 3 on a wet road (grip 0.3) in gear 7; a loaded one does not slip on wet at all.
    """
    spec = load_truck(truck).truck
    speed = 1800.0 * REVOLUTION_PER_MINUTE * spec.tyres.rolling_radius_m
    speed /= spec.gearbox.ratios[gear - 1] * spec.driveline.axle_ratio
    for stage in (1, 2, 3):
        clock = alone("grade:0%,5km,0m", f"start.speed_km_h={speed * 3.6:.3f}", f"start.gear={gear}", truck=truck)
        clock.rig.parameters["vehicle_body"][0] = 1.0e12
        clock.set(**{f"pair_{pair}": 1.0 for pair in spec.engine_brake.pairs(stage)})
        clock.set(stage=float(stage))
        clock.run(until=1000)
        share = Sums(truck, 0.0).held_by_engine(speed, gear, stage, 0.0) / (
            spec.vehicle.drive_load_kg * STANDARD_GRAVITY
        )
        assert clock.true("wheel_utilisation") == pytest.approx(share, abs=0.015)


def test_the_master_switch_keeps_it_off(trip, named):
    result = trip(T1, "grade:-5%,2km,900m", "start.speed_km_h=60", "retarding.switch=false")
    assert not named(result, "stage_changed")
    assert np.all(result.trace["active_cylinders"] == 0.0)
    words = {REASONS[int(code)] for code in result.trace["stage_reason"][result.trace["time_s"] > 1.0]}
    assert words == {"cause.engine_brake_switch_off"}


@pytest.mark.parametrize("selector", [1, 2, 3])
def test_the_selector_caps_the_stage(trip, selector):
    result = trip(T1, "grade:-5%,2km,900m", "start.speed_km_h=60", f"retarding.selector={selector}")
    assert result.trace["brake_stage"].max() == selector
    assert result.summary["engine_brake_stage_time_s"][str(selector)] > 5.0


def test_the_delays_are_those_of_the_settings(trip, named):
    """On 250 ms, off 150 ms (from memory)."""
    result = drilled(trip, T1, "grade:-6%,1km,1100m", 7, 3, 50, "retarding.on_delay_s=0.4")
    assert named(result, "stage_changed")[0]["time_s"] == pytest.approx(0.40, abs=0.02)
    result = drilled(trip, T1, "grade:-6%,1km,1100m", 7, 3, 50)
    assert named(result, "stage_changed")[0]["time_s"] == pytest.approx(0.25, abs=0.02)


# ---------------------------------------------------------------- fuel


@pytest.mark.parametrize("truck", [T1, T2, T3, T4, T5])
def test_foot_off_above_idle_burns_exactly_nothing(trip, road_of, truck):
    """Fuel is exactly 0 with the pedal released above idle plus the margin (common practice, no source)."""
    road = road_of([(0, -5, 60), (1500, -5, 60), (1700, 0, 60), (2500, 0, 40), (3000, 2, 40)], 800)
    for changes in (("retarding.switch=false",), ()):
        result = trip(truck, road, "start.speed_km_h=55", *changes)
        trace, engine = result.trace, result.truck.engine
        refuel = engine.low_idle_rpm + engine.refuel_span_rpm
        quiet = (trace["accelerator_percent"] == 0.0) & (trace["clutch_locked"] == 1.0) & (trace["gear"] > 0)
        quiet &= trace["engine_speed_rpm"] > refuel + 5.0
        for event in result.events:  # the automated gearbox has just matched the engine to the gear
            if event["event"] == "gear_engaged":
                quiet &= abs(trace["time_s"] - event["time_s"]) > 0.2
        assert quiet.sum() > 50
        assert np.all(trace["fuel_rate_g_s"][quiet] == 0.0)
        assert np.all(trace["engine_torque_n_m"][quiet] < 0.0)


@pytest.mark.parametrize("truck", [T1, T2, T3, T4, T5])
def test_fuel_is_exactly_zero_whenever_the_engine_brake_works(trip, road_of, truck):
    road = road_of([(0, -5, 60), (2000, -5, 60), (2200, 1, 60), (2800, -4, 60), (4000, -4, "")], 800)
    result = trip(truck, road, "start.speed_km_h=55", "simulation.log_s=0.05")
    working = result.trace["active_cylinders"] > 0.0
    assert working.sum() > 200
    assert np.all(result.trace["fuel_rate_g_s"][working] == 0.0)
    assert np.all(result.trace["engine_torque_n_m"][working] < 0.0)
    assert np.all(result.trace["engine_brake_power_kw"][working] > 0.0)
    assert np.all(result.trace["engine_brake_power_kw"][~working] == 0.0)
