"""What the plant comes to at one instant, against the truck's file and sums by hand with nothing of `sim.laws` in them."""

from math import atan, cos, log10, pi, sin

import pytest
from one_moment import T1, TURN, ZERO, Moment
from quasi_static import G, Sums

from sim.march import plant
from sim.march.air_path import settle_air, settled_lines, still
from sim.march.assemble import CURVE_STEP
from sim.march.records import (
    AIR_FUEL_LIMIT,
    ALTITUDE,
    FULL_LOAD_CURVE,
    FULL_LOAD_ROW,
    GOVERNOR,
    IDLE_GOVERNOR,
    NO_LIMITER,
    ROAD_SPEED_LIMIT,
    STATE_TYPE,
)

TRUCKS = [T1, "long-haul-automated", "dump-three-axle", "older-long-haul"]
HEAT = 42.8e6  # J/kg


@pytest.fixture
def moment() -> Moment:
    return Moment()


def sums(truck: str = T1) -> Sums:
    return Sums(truck, 0.0, air_c=15.0)


# ---------------------------------------------------------------- the air


@pytest.mark.parametrize("height", [0.3, 30.0, 300.0, 1500.0, 2500.0])
def test_the_air_is_that_of_the_height(moment, height):
    """Standard atmosphere; a few metres count too."""
    sea = float(moment.s["air_density"])
    moment.s["elevation"] = height
    plant.surroundings(moment.s, moment.p)
    pressure, density = sums().air(height)
    assert moment.s["ambient_pressure"] == pytest.approx(pressure, rel=2e-5)
    assert moment.s["air_density"] == pytest.approx(density, rel=2e-5)
    assert moment.s["ambient_temperature"] == pytest.approx(288.15 - 0.0065 * height)
    assert (sea - moment.s["air_density"]) / sea == pytest.approx((sea - density) / sea, rel=0.05)
    assert plant.asked_air(moment.parameters, height)[1] == pytest.approx(pressure, rel=2e-5)


def test_the_air_is_looked_up_again_after_ten_centimetres_and_not_before(moment):
    sea = float(moment.s["air_density"])
    moment.s["elevation"] = 0.0995
    plant.surroundings(moment.s, moment.p)
    assert moment.s["air_density"] == sea
    moment.s["elevation"] = 0.1005
    plant.surroundings(moment.s, moment.p)
    assert moment.s["air_density"] < sea


# ---------------------------------------------------------------- torque and fuel


@pytest.mark.parametrize("truck", TRUCKS)
@pytest.mark.parametrize("rpm", [900.0, 1200.0, 1700.0])
def test_full_pedal_gives_the_curve_of_the_file_less_what_fan_and_accessories_draw(truck, rpm):
    moment = Moment(truck)
    by_hand = sums(truck)
    engine = moment.truck.engine
    torque = moment.run(rpm, 1.0)
    assert moment.full_load(rpm) - torque == pytest.approx(by_hand.accessories(rpm), rel=5e-3)
    assert moment.s["fan_torque"] + moment.s["accessory_torque"] == pytest.approx(by_hand.accessories(rpm), rel=1e-3)
    assert moment.s["fan_power"] + moment.s["accessory_power"] == pytest.approx(
        by_hand.accessories(rpm) * rpm * TURN, rel=1e-3
    )
    assert moment.s["limiter"] == FULL_LOAD_CURVE and moment.s["fuel_demand"] == pytest.approx(1.0)
    indicated = moment.full_load(rpm) + by_hand.retarding_torques(rpm, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx(indicated, rel=2e-3)
    assert moment.s["fuel_rate"] == pytest.approx(
        indicated * rpm * TURN / (engine.indicated_efficiency * HEAT), rel=2e-3
    )
    assert moment.s["engine_brake_power"] == 0.0 and moment.s["smoking"] == 0.0


def test_half_a_pedal_is_half_of_the_torque_on_the_pistons(moment):
    """Limiting-speed governor: the pedal is a share of full-load fuel (common practice, no source)."""
    friction = sums().retarding_torques(1400.0, 0, 1.0e5)[0]
    torque = moment.run(1400.0, 0.5)
    whole = 0.5 * (moment.full_load(1400.0) + friction)
    assert torque == pytest.approx(whole - friction - sums().accessories(1400.0), rel=2e-3)
    assert moment.s["fuel_demand"] == pytest.approx(0.5, abs=1e-3) and moment.s["limiter"] == NO_LIMITER


def test_half_way_to_high_idle_the_governor_leaves_half_of_full_load(moment):
    engine = moment.truck.engine
    between = 0.5 * (engine.governed_rpm + engine.high_idle_rpm)
    friction = sums().retarding_torques(between, 0, 1.0e5)[0]
    moment.run(between, 1.0)
    assert moment.s["commanded_torque"] == pytest.approx(0.5 * moment.full_load(between) + friction, rel=3e-3)
    assert moment.s["limiter"] == GOVERNOR


def walther(temperature: float, oil: tuple[float, float]) -> float:
    """Viscosity by the straight line of ASTM D341 through 40 and 100 °C. [mm2/s]"""
    first, last = (log10(log10(viscosity + 0.7)) for viscosity in oil)
    place = (log10(temperature + ZERO) - log10(313.15)) / (log10(373.15) - log10(313.15))
    return 10.0 ** (10.0 ** (first + place * (last - first))) - 0.7


@pytest.mark.parametrize("oil_c", [-35.0, 20.0, 60.0, 90.0, 120.0, 140.0, 158.0])
def test_a_dragged_engine_takes_its_friction_by_the_oil_it_has(moment, oil_c):
    """(nu/nu at 90 °C) to the power in the file, by the line of ASTM D341, also where the oil is hot."""
    engine = moment.truck.engine
    oil = engine.oil_viscosity_40_mm2_per_s, engine.oil_viscosity_100_mm2_per_s
    factor = (walther(oil_c, oil) / walther(90.0, oil)) ** engine.oil_exponent
    friction = factor * sums().retarding_torques(1500.0, 0, 1.0e5)[0]
    torque = moment.run(1500.0, 0.0, oil_temperature=oil_c + ZERO)
    assert moment.s["friction_torque"] == pytest.approx(friction, rel=3e-3)
    assert torque == pytest.approx(-friction - sums().accessories(1500.0), rel=3e-3)
    assert moment.s["fuel_rate"] == 0.0 and moment.s["fuel_cut"] == 1.0


def test_beyond_the_end_of_the_viscosity_law_the_friction_stays(moment):
    moment.run(1500.0, 0.0, oil_temperature=160.0 + ZERO)
    here = float(moment.s["friction_torque"])
    moment.run(1500.0, 0.0, oil_temperature=175.0 + ZERO)
    assert moment.s["friction_torque"] == pytest.approx(here, rel=1e-6)
    moment.run(1500.0, 0.0, oil_temperature=157.0 + ZERO)
    assert moment.s["friction_torque"] > here * 1.001


@pytest.mark.parametrize(
    ("pairs", "stage"), [(("middle",), 1), (("front", "rear"), 2), (("front", "middle", "rear"), 3)]
)
def test_the_engine_brake_takes_the_work_of_its_cylinders(moment, pairs, stage):
    """Told is what the engine takes from the shaft, friction and accessories included, so it is its torque times its speed."""
    for pair in pairs:
        moment.c[f"pair_{pair}"] = 1.0
    manifold, exhaust = 1.9e5, 3.1e5
    torque = moment.run(1800.0, 0.0, manifold_pressure=manifold, exhaust_pressure=exhaust)
    by_hand, cylinders = sums(), 2.0 * len(pairs)
    braking = by_hand.braking_mean(manifold, exhaust) * moment.litres / (4.0 * pi) * cylinders / 6.0
    friction = by_hand.retarding_torques(1800.0, 0, 1.0e5)[0]
    assert moment.s["compression_torque"] == pytest.approx(braking, rel=1e-3)
    assert torque == pytest.approx(-braking - friction - by_hand.accessories(1800.0), rel=1e-3)
    assert moment.s["engine_brake_power"] == pytest.approx(-torque * 1800.0 * TURN)
    assert moment.s["active_cylinders"] == cylinders == 2.0 * len(moment.truck.engine_brake.pairs(stage))


def test_swapped_wires_put_other_pairs_to_work(moment):
    """Plugs of the single and the double solenoid exchanged: who asks for one pair gets two."""
    moment.p["pairs_swapped"] = 1.0
    for asked, works in (({"middle": 1.0}, 4.0), ({"front": 1.0, "rear": 1.0}, 2.0)):
        for pair in ("front", "middle", "rear"):
            moment.c[f"pair_{pair}"] = asked.get(pair, 0.0)
        assert plant.working_cylinders(moment.c, moment.p) == works
    moment.p["pairs_swapped"], moment.p["pair_front_sound"] = 0.0, 0.0
    assert plant.working_cylinders(moment.c, moment.p) == 2.0


def test_the_fan_takes_its_stated_power_when_its_clutch_is_closed(moment):
    cooling = moment.truck.cooling
    moment.c["fan"] = 1.0
    moment.run(2100.0, 1.0)
    assert moment.s["fan_power"] == pytest.approx(1000.0 * (cooling.fan_power_kw + cooling.fan_bearing_kw), rel=1e-6)
    assert moment.s["fan_speed"] == 2100.0 * TURN
    moment.run(1500.0, 1.0)
    fan = 1000.0 * (cooling.fan_power_kw * (1500.0 / 2100.0) ** 3 + cooling.fan_bearing_kw)
    assert moment.s["fan_power"] == pytest.approx(fan, rel=1e-6), "cube law of fans"
    assert moment.s["fan_torque"] == pytest.approx(fan / (1500.0 * TURN))
    moment.c["fan"] = 0.0
    moment.run(1500.0, 1.0)
    assert moment.s["fan_speed"] == pytest.approx(cooling.fan_idle_share * 1500.0 * TURN)


@pytest.mark.parametrize("share", [0.15, 0.5, 0.9])
def test_a_slipping_fan_clutch_takes_the_fan_s_torque_at_the_speed_of_its_drive(moment, share):
    """First principles: the torque on both sides of a clutch is the same, and the fan's own is P_locked/N times share squared."""
    cooling = moment.truck.cooling
    moment.p["fan_idle_share"], moment.p["fan_called_share"] = share, 0.0
    speed = 2100.0 * TURN
    own_torque = 1000.0 * cooling.fan_power_kw / speed * share**2
    assert plant.open_fan_power(speed, moment.p) == pytest.approx(own_torque * speed + 1000.0 * cooling.fan_bearing_kw)


def test_a_pumping_compressor_takes_its_stated_power(moment):
    extras = moment.truck.accessories
    idle = moment.run(2100.0, 1.0)
    pumping = moment.run(2100.0, 1.0, compressor_pumping=1.0)
    more = 1000.0 * (extras.compressor_pumping_kw - extras.compressor_unloaded_kw)
    assert (idle - pumping) * 2100.0 * TURN == pytest.approx(more)


def test_an_engine_that_hardly_turns_is_not_torn_apart_by_its_accessories(moment):
    """Below 30 rad/s a power becomes a torque as if it ran at 30."""
    slow, still = (
        -moment.run(rpm, 0.0) - moment.s["friction_torque"] + moment.s["indicated_torque"] for rpm in (100.0, 1e-6)
    )
    cooling, extras = moment.truck.cooling, moment.truck.accessories
    steady = extras.steering_idle_w + extras.steering_banking_w + extras.electric_w / extras.alternator_efficiency
    assert still == pytest.approx((steady + 1000.0 * cooling.fan_bearing_kw) / 30.0, rel=1e-3)
    assert slow > still


# ---------------------------------------------------------------- what holds the torque down


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_an_engine_that_coasts_down_is_refuelled_on_a_straight_ramp(moment, share):
    """None at the end of the span in the file, all that holds idle at low idle."""
    engine = moment.truck.engine
    moment.s["idle_integral"] = 40.0
    above = engine.low_idle_rpm + share * engine.refuel_span_rpm
    moment.run(above, 0.0)
    friction = sums().retarding_torques(above, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx((1.0 - share) * (friction + 40.0), rel=2e-3)
    assert moment.s["limiter"] == IDLE_GOVERNOR
    moment.run(engine.low_idle_rpm + 1.001 * engine.refuel_span_rpm, 0.0)
    assert moment.s["commanded_torque"] == 0.0


def test_below_idle_the_governor_gives_its_gain_times_what_is_missing(moment):
    engine, gain = moment.truck.engine, moment.settings.simulation.governor_idle_gain_n_m_s_per_rad
    moment.run(engine.low_idle_rpm - 10.0, 0.0)
    friction = sums().retarding_torques(engine.low_idle_rpm - 10.0, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx(friction + gain * 10.0 * TURN, rel=2e-3)


def test_the_barometer_takes_its_share_of_full_load(moment):
    moment.b["altitude_share"] = 0.8
    moment.run(1300.0, 1.0)
    friction = sums().retarding_torques(1300.0, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx(0.8 * moment.full_load(1300.0) + friction, rel=2e-3)
    assert moment.s["limiter"] == ALTITUDE
    moment.run(1300.0, 0.5)
    assert moment.s["limiter"] == NO_LIMITER, "half a pedal is not touched"


def test_the_road_speed_limit_takes_fuel_away_in_a_straight_line(moment):
    moment.p["road_speed_limit"], moment.p["road_speed_band"] = 25.0, 1.0
    moment.b["road_speed"] = 24.6
    moment.run(1300.0, 1.0)
    friction = sums().retarding_torques(1300.0, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx(0.4 * (moment.full_load(1300.0) + friction), rel=2e-3)
    assert moment.s["limiter"] == ROAD_SPEED_LIMIT


@pytest.mark.parametrize("watched", [False, True])
def test_no_more_burns_than_the_air_allows(moment, watched):
    """Torque of the air there is: air over air-fuel ratio, times indicated efficiency and heating value, in two turns."""
    moment.p["circuits_watched"] = float(watched)
    engine, manifold = moment.truck.engine, 1.3e5
    moment.b["manifold_pressure"] = manifold
    moment.run(1300.0, 1.0, manifold_pressure=manifold)
    air = 0.9 * manifold * moment.litres / (287.053 * 320.0)
    allowed = air / engine.least_air_fuel_ratio * engine.indicated_efficiency * HEAT / (4.0 * pi)
    assert moment.s["commanded_torque"] == pytest.approx(allowed, rel=1e-4)
    assert moment.s["limiter"] == AIR_FUEL_LIMIT and moment.s["smoking"] == 0.0


def test_a_controller_that_is_told_too_much_air_smokes_and_one_told_too_little_does_not(moment):
    """What burns ends at the richest mixture; what smokes is what is injected beyond the air there is."""
    moment.p["circuits_watched"] = 1.0
    moment.b["manifold_pressure"] = 3.0e5
    rich = []
    for believed in (1.0e5, 1.31e5, 1.34e5, 3.0e5):
        moment.b["manifold_pressure"] = believed
        moment.run(1300.0, 1.0, manifold_pressure=1.3e5)
        rich.append((float(moment.s["commanded_torque"]), float(moment.s["smoking"])))
    assert [smokes for _, smokes in rich] == [0.0, 0.0, 1.0, 1.0], "it shows 2 % beyond"
    least, richest = moment.truck.engine.least_air_fuel_ratio, float(moment.p["richest_air_fuel"])
    assert rich[1][0] / 1.31e5 == pytest.approx(rich[0][0] / 101_325.0, rel=1e-3), "at least the outside air it reads"
    assert rich[3][0] / rich[1][0] == pytest.approx(1.3 / 1.31 * least / richest, rel=1e-4)
    moment.b["intake_temperature"], moment.b["manifold_pressure"] = 352.0, 1.2e5
    moment.run(1300.0, 1.0, manifold_pressure=1.3e5)
    assert moment.s["commanded_torque"] / rich[1][0] == pytest.approx(1.2 / 1.31 * 320.0 / 352.0, rel=1e-4)


def test_a_code_withholds_a_share_of_full_load_and_a_key_all_of_it(moment):
    moment.p["circuits_watched"], moment.c["derate"] = 1.0, 0.25
    friction = sums().retarding_torques(1300.0, 0, 1.0e5)[0]
    moment.run(1300.0, 1.0)
    assert moment.s["commanded_torque"] == pytest.approx(0.75 * (moment.full_load(1300.0) + friction), rel=2e-3)
    assert moment.s["fuel_demand"] == pytest.approx(0.75)
    for record, name, value in ((moment.c, "fuel_off", 1.0), (moment.b, "key", 0.0)):
        sound, record[name] = float(record[name]), value
        moment.run(1300.0, 1.0)
        assert moment.s["fuel_rate"] == moment.s["fuel_demand"] == 0.0
        record[name] = sound


def test_worn_parts_take_their_share(moment):
    """Injectors that give less, cylinders that do not fire, rings that leak, and a filter that lets so much through."""
    full = moment.run(1300.0, 1.0) + sums().accessories(1300.0)
    friction, fuel = float(moment.s["friction_torque"]), float(moment.s["fuel_rate"])
    for name in ("fuel_delivery", "firing_share"):
        moment.p[name] = 0.8
        moment.run(1300.0, 1.0)
        assert moment.s["indicated_torque"] == pytest.approx(0.8 * (full + friction), rel=2e-3)
        assert moment.s["fuel_rate"] == pytest.approx(0.8 * fuel)
        assert moment.s["commanded_torque"] == pytest.approx(full + friction, rel=2e-3)
        moment.p[name] = 1.0
    moment.p["tightness"] = 0.9
    moment.run(1300.0, 1.0)
    assert moment.s["indicated_torque"] == pytest.approx(0.9 * (full + friction), rel=2e-3)
    assert moment.s["fuel_rate"] == pytest.approx(fuel), "the fuel is burnt all the same"
    moment.p["tightness"], moment.p["most_fuel"] = 1.0, 0.7 * fuel
    moment.run(1300.0, 1.0)
    assert moment.s["fuel_rate"] == pytest.approx(0.7 * fuel)
    assert moment.s["indicated_torque"] == pytest.approx(0.7 * (full + friction), rel=2e-3)


def test_a_blocked_exhaust_is_pumped_against_in_every_cycle(moment):
    """Pressure over flow squared acts on the swept volume once in two turns."""
    sound = moment.run(1500.0, 0.0)
    moment.p["blocked_exhaust"] = 20.0e3 / 0.65**2
    blocked = moment.run(1500.0, 0.0, air_flow=0.325)
    assert sound - blocked == pytest.approx(5.0e3 * moment.litres / (4.0 * pi), rel=1e-6)


@pytest.mark.parametrize("mode", [1.0, 2.0])
def test_an_engine_that_is_to_match_a_speed_is_given_what_pulls_it_there(moment, mode):
    """60 N m a rad/s beside its friction; for a gear the speed is that of the truck times the turns per way, up to high idle."""
    moment.c["engine_mode"], moment.c["engine_speed_target"] = mode, 1300.0 * TURN
    moment.c["matching_ratio"], moment.b["road_speed"] = 1300.0 * TURN / 20.0, 20.0
    friction = sums().retarding_torques(1280.0, 0, 1.0e5)[0]
    moment.run(1280.0, 1.0)
    assert moment.s["commanded_torque"] == pytest.approx(friction + 60.0 * 20.0 * TURN, rel=2e-3)
    moment.run(1300.0, 1.0)
    assert moment.s["commanded_torque"] == pytest.approx(sums().retarding_torques(1300.0, 0, 1.0e5)[0], rel=2e-3)
    moment.b["road_speed"] = 100.0
    moment.c["engine_speed_target"] = 1000.0
    engine = moment.truck.engine
    high = sums().retarding_torques(engine.high_idle_rpm, 0, 1.0e5)[0]
    moment.run(engine.high_idle_rpm, 1.0)
    assert moment.s["commanded_torque"] == pytest.approx(high, rel=2e-3), "no more than the governor leaves"
    moment.run(0.5 * (engine.high_idle_rpm + engine.governed_rpm), 1.0)
    between = 0.5 * (engine.high_idle_rpm + engine.governed_rpm)
    left = 0.5 * moment.full_load(between) + sums().retarding_torques(between, 0, 1.0e5)[0]
    pulled = 60.0 * (engine.high_idle_rpm - between) * TURN + sums().retarding_torques(between, 0, 1.0e5)[0]
    assert moment.s["commanded_torque"] == pytest.approx(min(left, pulled) if mode == 2.0 else left, rel=3e-3)


# ---------------------------------------------------------------- a fuel map

RPM = [800.0, 1200.0, 1600.0]
TORQUE = [300.0, 900.0, 1500.0]
GRAMS = [[2.0, 4.0, 7.0], [3.0, 6.0, 10.0], [5.0, 9.0, 14.0]]


@pytest.fixture
def mapped() -> Moment:
    return Moment(
        spec=(f"engine.fuel_map_rpm={RPM}", f"engine.fuel_map_torque_n_m={TORQUE}", f"engine.fuel_map_g_per_s={GRAMS}")
    )


def grams(moment: Moment, rpm: float, torque: float, friction: float = 200.0) -> float:
    """Fuel for a flywheel torque. [g/s]"""
    return 1000.0 * plant.fuel_rate(torque + friction, friction, rpm * TURN, moment.p, moment.tables)


def test_a_map_is_read_at_its_points_and_half_way_between_them(mapped):
    for row, rpm in enumerate(RPM):
        for column, torque in enumerate(TORQUE):
            assert grams(mapped, rpm, torque) == pytest.approx(GRAMS[row][column])
    assert grams(mapped, 1000.0, 600.0) == pytest.approx((2.0 + 4.0 + 3.0 + 6.0) / 4.0)
    assert grams(mapped, 1300.0, 1200.0) == pytest.approx(0.75 * 8.0 + 0.25 * 11.5)
    assert grams(mapped, 2000.0, 900.0) == pytest.approx(9.0), "beyond its end the end holds"
    assert grams(mapped, 500.0, 900.0) == pytest.approx(4.0)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_below_its_first_torque_a_map_falls_to_nothing_with_the_work_on_the_pistons(mapped, share):
    """The least there is in the map is burnt for its torque and the friction; so much less for so much less of both."""
    least = 300.0 + 200.0
    assert grams(mapped, 1200.0, share * least - 200.0) == pytest.approx(share * 3.0)
    assert grams(mapped, 1200.0, -200.0) == 0.0


# ---------------------------------------------------------------- brakes and road


@pytest.mark.parametrize(
    ("celsius", "left"), [(20.0, 1.0), (288.0, 1.0), (320.0, 0.921), (359.0, 0.825), (428.0, 0.655)]
)
def test_the_brakes_fade_by_the_temperature_they_have(moment, celsius, left):
    """Whole up to 288 °C, 0.65 at 430 °C, in a straight line between (the truck's file, from memory)."""
    group = moment.truck.drive_brakes
    cold = 1000.0 * group.gain_kn_per_bar * (3.0 - group.threshold_bar)
    moment.p["stroke_expansion"] = 0.0
    moment.s["brake_pressure_drive"], moment.s["brake_temperature_drive"] = 3.0e5, celsius + ZERO
    moment.p["grip"] = 10.0
    plant.road(moment.s, moment.p, moment.tables)
    assert moment.s["brake_force_drive"] == pytest.approx(left * cold, rel=2e-3)


def test_each_axle_group_brakes_by_its_own_pressure_and_up_to_its_grip(moment):
    truck, p = moment.truck, moment.p
    for place, group in enumerate(("steer", "drive", "trailer")):
        moment.s[f"brake_pressure_{group}"] = (2.0 + place) * 1.0e5
    plant.road(moment.s, p, moment.tables)
    for place, group in enumerate(("steer", "drive", "trailer")):
        brakes = getattr(truck, f"{group}_brakes")
        force = 1000.0 * brakes.gain_kn_per_bar * (2.0 + place - brakes.threshold_bar)
        assert moment.s[f"brake_force_{group}"] == pytest.approx(force)
        p["grip"] = 0.05
        plant.road(moment.s, p, moment.tables)
        load = getattr(truck.vehicle, f"{group}_load_kg") * G
        assert moment.s[f"brake_force_{group}"] == pytest.approx(0.05 * load)
        p["grip"] = 0.7
        plant.road(moment.s, p, moment.tables)
        moment.s[f"brake_pressure_{group}"] = 0.99e5 * brakes.threshold_bar
        plant.road(moment.s, p, moment.tables)
        assert moment.s[f"brake_force_{group}"] == 0.0
        moment.s[f"brake_pressure_{group}"] = (2.0 + place) * 1.0e5


@pytest.mark.parametrize(("stroke_mm", "left"), [(45.0, 1.0), (51.0, 9.0 / 13.0), (57.0, 3.0 / 13.0)])
def test_a_hot_drum_takes_stroke_away(moment, stroke_mm, left):
    """0.02 mm/K over 20 °C: 4 mm at 220 °C; whole up to 51 mm, none at 64 mm (the truck's file)."""
    moment.p["brake_stroke_drive"] = stroke_mm / 1000.0
    moment.s["brake_pressure_drive"], moment.s["brake_temperature_drive"] = 3.0e5, 220.0 + ZERO
    plant.road(moment.s, moment.p, moment.tables)
    group = moment.truck.drive_brakes
    cold = 1000.0 * group.gain_kn_per_bar * (3.0 - group.threshold_bar)
    assert moment.s["brake_force_drive"] == pytest.approx(left * cold, rel=1e-6)


@pytest.mark.parametrize(("speed", "grade", "wind"), [(25.0, 0.0, 0.0), (8.0, 0.06, 3.0), (22.0, -0.05, -4.0)])
def test_road_and_air_hold_the_truck_as_by_hand(moment, speed, grade, wind):
    s, body, by_hand = moment.s, moment.truck.vehicle, sums()
    moment.roll(speed, 8, grade)
    s["wind"] = wind
    plant.road(s, moment.p, moment.tables)
    assert s["grade_force"] == pytest.approx(body.mass_kg * G * sin(atan(grade)))
    assert s["sine"] == pytest.approx(sin(atan(grade)))
    rolling = body.rolling_coefficient + body.rolling_growth_s_per_m * speed
    assert s["rolling_force"] == pytest.approx(body.mass_kg * G * cos(atan(grade)) * rolling)
    whole = s["grade_force"] + s["rolling_force"] + s["aero_force"]
    assert whole == pytest.approx(by_hand.resistance(speed, 0.0, grade, wind), rel=1e-4)
    asked = plant.asked_resistance(moment.parameters, s["air_density"], speed, wind, grade)
    assert asked == pytest.approx(whole)


@pytest.mark.parametrize("gear", [3, 6, 10])
@pytest.mark.parametrize("rpm", [1100.0, 1700.0])
def test_what_the_engine_gives_arrives_at_the_tyres_less_gearbox_and_axle(moment, gear, rpm):
    by_hand = sums()
    ratio = moment.truck.gearbox.ratios[gear - 1] * moment.truck.driveline.axle_ratio
    speed = rpm * TURN / ratio * moment.truck.tyres.rolling_radius_m
    pulls = moment.run(rpm, 1.0)
    slope, drag = plant.asked_driveline(moment.parameters, moment.tables, pulls, gear, rpm * TURN)
    assert slope * pulls - drag == pytest.approx(by_hand.pull(speed, gear), rel=2e-3)
    assert drag > 0.0
    holds = moment.run(rpm, 0.0)
    slope, drag = plant.asked_driveline(moment.parameters, moment.tables, holds, gear, rpm * TURN)
    assert slope * holds - drag == pytest.approx(-by_hand.held_by_engine(speed, gear, 0, 0.0), rel=2e-3)


@pytest.mark.parametrize("grade", [-0.07, 0.02])
def test_a_coasting_truck_speeds_up_as_by_hand(moment, grade):
    """All that turns is turned with it: wheels, input shaft and engine."""
    rpm, gear = 1500.0, 7
    moment.roll(sums().rpm(1.0, gear) ** -1 * rpm, gear, grade)
    moment.b["driver_demand"] = 0.0
    plant.settle(moment.s, moment.b, moment.c, moment.p, moment.tables)
    found = plant.rolling_acceleration(moment.s, moment.p, moment.tables)
    assert found == pytest.approx(sums().gain(rpm, gear, 0, 0.0, grade), rel=2e-3)
    moment.s["brake_pressure_drive"] = moment.s["brake_pressure_steer"] = moment.s["brake_pressure_trailer"] = 2.0e5
    plant.settle(moment.s, moment.b, moment.c, moment.p, moment.tables)
    brakes = sum(
        1000.0 * group.gain_kn_per_bar * (2.0 - group.threshold_bar)
        for group in (moment.truck.steer_brakes, moment.truck.drive_brakes, moment.truck.trailer_brakes)
    )
    slower = plant.rolling_acceleration(moment.s, moment.p, moment.tables)
    turning = moment.truck.vehicle.mass_kg + 18 * 13.6 / 0.49**2
    ratio = moment.truck.gearbox.ratios[gear - 1] * moment.truck.driveline.axle_ratio / 0.49
    assert (found - slower) * (turning + 4.15 * ratio**2) == pytest.approx(brakes, rel=2e-3)


@pytest.mark.parametrize("part", ["shaft_inertia", "vehicle_body", "wheel_body"])
def test_what_turns_or_rolls_with_the_truck_is_to_be_accelerated_too(moment, part):
    """Newton: the same force over what is moved, of which a shaft counts with the square of its turns per way."""
    gear, more = 3, {"shaft_inertia": 1.0, "vehicle_body": 2000.0, "wheel_body": 2000.0}[part]
    turns = moment.truck.gearbox.ratios[gear - 1] * 3.36 / 0.49
    moment.roll(1500.0 * TURN / turns, gear, -0.08)
    force = sums().push(float(moment.s["speed"]), gear, 0, 0.0, -0.08)
    moved = []
    for added in (0.0, more):
        moment.p[part] += added
        plant.settle(moment.s, moment.b, moment.c, moment.p, moment.tables)
        moved.append(force / plant.rolling_acceleration(moment.s, moment.p, moment.tables))
    assert moved[1] - moved[0] == pytest.approx(more * turns**2 if part == "shaft_inertia" else more, rel=5e-3)


# ---------------------------------------------------------------- what is asked from outside a tick


def test_what_the_accessories_draw_is_told_to_whoever_asks(moment):
    for rpm in (700.0, 1400.0, 2100.0):
        asked = plant.asked_drawn_power(moment.parameters, rpm * TURN)
        assert asked == pytest.approx(sums().accessories(rpm) * rpm * TURN, rel=1e-3)
        friction = sums().retarding_torques(rpm, 0, 1.0e5)[0]
        assert plant.asked_friction(moment.parameters, rpm * TURN) == pytest.approx(friction, rel=1e-3)


@pytest.fixture(scope="module")
def settled() -> Moment:
    moment = Moment()
    settled_lines(moment.memory.state.copy().astype(STATE_TYPE), moment.parameters, moment.tables, CURVE_STEP)
    return moment


@pytest.mark.parametrize(("stage", "height"), [(0, 0.0), (1, 0.0), (3, 0.0), (3, 800.0), (2, 1600.0)])
def test_a_forecast_holds_the_truck_back_as_by_hand(settled, stage, height):
    """Straight lines between every fifth column and two airs: within 1 %."""
    by_hand, gear, rpm = sums(), 7, 1800.0
    cylinders = 2.0 * len(settled.truck.engine_brake.pairs(stage))
    ratio = settled.truck.gearbox.ratios[gear - 1] * settled.truck.driveline.axle_ratio
    speed = rpm * TURN / ratio * settled.truck.tyres.rolling_radius_m
    pressure = by_hand.air(height)[0]
    found = plant.asked_retarding(settled.parameters, settled.tables, gear, rpm * TURN, pressure, cylinders)
    near = 0.01 if stage else 1e-3
    assert found == pytest.approx(by_hand.held_by_engine(speed, gear, stage, height), rel=near)


def test_a_forecast_of_full_pedal_pulls_as_by_hand(settled):
    """Boosted: the curve of the file; before the turbocharger has spun up: what the outside air burns."""
    by_hand, gear, rpm = sums(), 6, 1400.0
    ratio = settled.truck.gearbox.ratios[gear - 1] * settled.truck.driveline.axle_ratio
    radius = settled.truck.tyres.rolling_radius_m
    powers = by_hand.accessories(rpm) * rpm * TURN
    asked = (settled.parameters, settled.tables, gear, rpm * TURN)
    boosted = plant.asked_pull(*asked, 101_325.0, 288.15, powers, True)
    assert boosted == pytest.approx(by_hand.pull(rpm * TURN / ratio * radius, gear), rel=2e-3)
    high = by_hand.air(2000.0)[0]
    share = plant.asked_pull(*asked, high, 288.15, 0.0, True) / plant.asked_pull(*asked, 101_325.0, 288.15, 0.0, True)
    assert share == pytest.approx(0.9, abs=0.003), "1 % for each 100 m above 1000 m"
    engine = settled.truck.engine
    air = settled.truck.air_path.filling_share[0] * 101_325.0 * settled.litres / (287.053 * 288.15)
    torque = air / engine.least_air_fuel_ratio * engine.indicated_efficiency * HEAT / (4.0 * pi)
    torque -= by_hand.retarding_torques(rpm, 0, 1.0e5)[0] + by_hand.accessories(rpm)
    constant, lost = by_hand.gearbox_losses(rpm, gear)
    at_wheels = (torque * (1.0 - lost) - constant) * ratio - settled.truck.driveline.axle_drag_n_m
    unboosted = plant.asked_pull(*asked, 101_325.0, 288.15, powers, False)
    assert unboosted == pytest.approx(at_wheels * settled.truck.driveline.axle_efficiency / radius, rel=2e-3)


def test_where_the_air_is_less_than_the_curve_asks_the_air_decides(settled):
    """What the settled turbocharger of the same truck brings at that speed."""
    rpm, gear = 1200.0, 6
    friction = sums().retarding_torques(rpm, 0, 1.0e5)[0]
    air = Moment()
    still(air.s, air.p, air.s["ambient_pressure"], air.s["ambient_temperature"])
    allowed = settle_air(air.s, air.p, air.tables, air.turn(rpm), 0.0)
    tables = settled.tables.copy()
    tables[FULL_LOAD_ROW] *= 5.0
    pull = plant.asked_pull(settled.parameters, tables, gear, rpm * TURN, 101_325.0, 288.15, 0.0, True)
    slope, drag = plant.asked_driveline(settled.parameters, tables, allowed - friction, gear, rpm * TURN)
    assert pull == pytest.approx(slope * (allowed - friction) - drag, rel=5e-3)


@pytest.mark.parametrize(("oil_c", "more"), [(0.0, True), (90.0, False), (120.0, False)])
def test_cold_oil_is_felt_beyond_the_friction_of_a_warm_engine(moment, oil_c, more):
    asked = plant.asked_cold_drag(moment.parameters, moment.tables, 1500.0 * TURN, oil_c + ZERO)
    factor = (walther(oil_c, (110.0, 15.0)) / walther(90.0, (110.0, 15.0))) ** 0.22
    friction = sums().retarding_torques(1500.0, 0, 1.0e5)[0]
    assert asked == pytest.approx((factor - 1.0) * friction if more else 0.0, rel=5e-3, abs=0.1)


def test_an_idling_engine_is_asked_as_if_it_ran_at_thirty_radians_a_second(settled):
    """The bound that keeps a power from becoming an endless torque."""
    asked = (settled.parameters, settled.tables, 6)
    for speed in (1.0, 20.0):
        with_powers = plant.asked_pull(*asked, speed, 101_325.0, 288.15, 3000.0, False)
        without = plant.asked_pull(*asked, speed, 101_325.0, 288.15, 0.0, False)
        slope, _ = plant.asked_driveline(settled.parameters, settled.tables, 500.0, 6, speed)
        other, _ = plant.asked_driveline(settled.parameters, settled.tables, -500.0, 6, speed)
        assert 100.0 * min(slope, other) * 0.999 <= without - with_powers <= 100.0 * max(slope, other) * 1.001


def test_a_truck_completes_what_follows_from_its_file(moment):
    """Tone wheel: teeth times axle ratio times turns of the tyre on a mile of 1609.344 m."""
    pulses = 1609.344 / (2.0 * pi * 0.49) * 3.36 * 16.0
    assert moment.p["fitted_pulses"] == moment.p["programmed_pulses"] == pytest.approx(pulses)
    assert moment.p["start_pressure"] == pytest.approx(101_325.0)
    ratio, exponent = 17.0, 0.35
    assert moment.p["braking_work_ratio"] == pytest.approx(ratio / (ratio - 1.0) * (ratio**exponent - 1.0) / exponent)
