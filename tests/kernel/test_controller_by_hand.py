"""What controller and feet do in one step, against the settings, the truck's file and closed solutions."""

from math import exp, log10, pi

import numpy as np
import pytest
from one_moment import T1, TURN, ZERO, Moment

from sim.march import controller, seat
from sim.march.records import CONTROLS

T2 = "long-haul-automated"
SUPPLY = 5.0  # V


@pytest.fixture
def moment() -> Moment:
    return Moment()


def sense(moment: Moment, step: float = 0.0) -> None:
    controller.sense(moment.s, moment.b, moment.c, moment.k, moment.d, moment.p, step)


# ---------------------------------------------------------------- sound sensors


def test_a_sensor_reads_by_its_gain_and_its_offset(moment):
    s, b, p = moment.s, moment.b, moment.p
    moment.roll(20.0, 9)
    for sensor, name in (
        ("boost", "manifold_pressure"), ("barometer", "ambient_pressure"),
        ("coolant", "coolant_temperature"), ("oil", "oil_temperature"),
    ):  # fmt: skip
        p[f"{sensor}_gain"], p[f"{sensor}_offset"] = 1.04, 7.0
        sense(moment)
        assert b[name] == pytest.approx(1.04 * s[name] + 7.0)
    p["engine_speed_gain"], p["road_speed_gain"] = 0.9, 1.1
    sense(moment)
    assert b["engine_speed"] == pytest.approx(0.9 * s["engine_speed"])
    assert b["road_speed"] == b["judged_speed"] == pytest.approx(22.0)
    p["programmed_pulses"] *= 1.1
    moment.d["needle_distrusted"] = 1.0
    sense(moment)
    assert b["road_speed"] == pytest.approx(20.0), "more pulses a mile are programmed than there are"
    assert b["judged_speed"] == 20.0
    assert (b["in_gear"], b["key"]) == (1.0, 1.0)


def test_a_sluggish_governor_has_seen_63_percent_after_its_lag(moment):
    moment.p["governor_lag"], moment.s["engine_speed"], moment.b["engine_speed"] = 0.5, 200.0, 100.0
    for _ in range(round(0.5 / moment.p["tick"])):
        sense(moment)
    assert moment.b["engine_speed"] == pytest.approx(200.0 - 100.0 * exp(-1.0), rel=5e-3)


@pytest.mark.parametrize(("pressure", "pressed"), [(1.99e4, 0.0), (2.01e4, 1.0)])
def test_the_brake_switch_closes_at_a_fifth_of_a_bar(moment, pressure, pressed):
    moment.k["brake_pedal"] = pressure / 6.2e5
    sense(moment)
    assert moment.b["brake_pressed"] == pressed


@pytest.mark.parametrize("truck", [T1, T2])
def test_the_clutch_switch_opens_within_the_last_twentieth_of_its_travel(truck):
    moment = Moment(truck)
    for up, pressed in ((0.955, 0.0), (0.945, 1.0)):
        moment.k["clutch_pedal"], moment.s["clutch_release"] = 1.0 - up, up
        sense(moment)
        assert moment.b["clutch_pressed"] == pressed


def test_the_acceleration_is_that_of_the_last_half_second_or_so(moment):
    """A road speed that begins to grow by 0.5 m/s2 is told as 63 % of that after 0.4 s."""
    tick, seen = 0.001, []
    moment.b["smooth_speed"] = 10.0
    for k in range(3001):
        moment.s["wheel_speed"] = 10.0 + 0.5 * k * tick
        sense(moment, tick)
        seen.append(float(moment.b["acceleration"]))
    assert seen[400] == pytest.approx(0.5 * (1.0 - exp(-1.0)), rel=5e-3)
    assert seen[3000] == pytest.approx(0.5, rel=2e-3)


# ---------------------------------------------------------------- circuits


@pytest.fixture
def watched(moment: Moment) -> Moment:
    moment.p["circuits_watched"] = 1.0
    moment.roll(20.0, 9)
    moment.s["manifold_pressure"] = 2.0e5
    moment.s["intake_temperature"] = 25.0 + ZERO
    moment.s["ambient_pressure"] = 1.0e5
    return moment


def test_a_pin_carries_what_its_curve_says(watched):
    """Ratiometric from 10 to 90 % of 5 V, pedal from 12 to 84 %; 2500 ohm at 25 °C over 2000 ohm; 60 and 12 teeth (assumed)."""
    s, b, k = watched.s, watched.b, watched.k
    k["accelerator"], k["engine_brake_selector"] = 0.25, 2.0
    sense(watched)
    assert b["boost_signal"] == pytest.approx(SUPPLY * (0.1 + 0.8 * 0.5)), "2 of 4 bar"
    assert b["barometer_signal"] == pytest.approx(SUPPLY * (0.1 + 0.8 * 0.8)), "1 of 1.25 bar"
    assert b["coolant_level_signal"] == pytest.approx(SUPPLY * 0.9), "full"
    assert b["intake_signal"] == pytest.approx(SUPPLY * 2500.0 / 4500.0)
    for name, celsius in (("coolant", 90.0), ("oil", 90.0), ("fuel_temperature", 15.0 + 0.35 * 75.0)):
        resistance = 2500.0 * exp(3500.0 * (1.0 / (celsius + ZERO) - 1.0 / 298.15))
        assert b[f"{name}_signal"] == pytest.approx(SUPPLY * resistance / (resistance + 2000.0))
    assert b["pedal_signal"] == pytest.approx(SUPPLY * (0.12 + 0.72 * 0.25))
    assert b["selector_signal"] == pytest.approx(SUPPLY * 0.6)
    assert b["key_signal"] == pytest.approx(14.0), "the alternator charges"
    rpm = s["engine_speed"] / TURN
    assert b["crank_signal"] == pytest.approx(60.0 * rpm / 60.0) and b["cam_signal"] == pytest.approx(
        12.0 * rpm / 120.0
    )
    assert b["road_speed_signal"] == pytest.approx(20.0 / (2.0 * pi * 0.49) * 3.36 * 16.0)


@pytest.mark.parametrize(("rpm", "volts"), [(0.0, 12.6), (446.0, 12.6), (454.0, 14.0)])
def test_the_key_carries_the_battery_until_the_alternator_charges(watched, rpm, volts):
    """12.6 V at rest, 14 V from 450 rpm on (assumed)."""
    watched.turn(rpm)
    sense(watched)
    assert watched.b["key_signal"] == pytest.approx(volts)


def test_the_controller_reads_every_pin_back(watched):
    s, b, k = watched.s, watched.b, watched.k
    k["accelerator"], k["engine_brake_selector"] = 0.25, 3.0
    sense(watched)
    for name in (
        "manifold_pressure",
        "ambient_pressure",
        "coolant_temperature",
        "oil_temperature",
        "intake_temperature",
    ):
        assert b[name] == pytest.approx(float(s[name])), name
    assert b["fuel_temperature"] == pytest.approx(288.15 + 0.35 * 75.0), "so far warmed from the air to the coolant"
    assert b["coolant_level"] == pytest.approx(1.0)
    assert (b["accelerator"], b["selector"], b["key"]) == (pytest.approx(0.25), 3.0, 1.0)
    assert b["engine_speed"] == b["cam_speed"] == pytest.approx(float(s["engine_speed"]))
    assert b["road_speed"] == b["judged_speed"] == pytest.approx(20.0)


def walther(celsius: float) -> float:
    """Viscosity of the truck's oil by the line of ASTM D341. [mm2/s]"""
    first, last = (log10(log10(viscosity + 0.7)) for viscosity in (110.0, 15.0))
    place = (log10(celsius + ZERO) - log10(313.15)) / (log10(373.15) - log10(313.15))
    return 10.0 ** (10.0 ** (first + place * (last - first))) - 0.7


@pytest.mark.parametrize(("rpm", "oil_c"), [(650.0, 100.0), (700.0, 120.0), (900.0, 80.0), (2000.0, 60.0)])
def test_oil_pressure_is_180_kpa_warm_at_idle_and_goes_with_speed_and_root_of_viscosity(watched, rpm, oil_c):
    """Up to 450 kPa, at which the relief valve opens (assumed)."""
    watched.turn(rpm)
    watched.s["oil_temperature"] = oil_c + ZERO
    sense(watched)
    free = 180.0e3 * rpm / 650.0 * (walther(oil_c) / 15.0) ** 0.5
    expected = min(free, 450.0e3)
    assert watched.b["oil_pressure"] == pytest.approx(expected)
    assert watched.b["oil_pressure_signal"] == pytest.approx(SUPPLY * (0.1 + 0.8 * expected / 800.0e3))
    seen, sound = watched.memory.belief.copy(), watched.memory.belief.copy()
    told = controller.look(
        watched.memory.state, sound, seen, watched.memory.command, watched.memory.controls, watched.memory.driver,
        watched.parameters,
    )  # fmt: skip
    assert told == pytest.approx(expected) == pytest.approx(float(seen[0]["oil_pressure"]))
    watched.p["oil_delivery"] = 0.5
    assert controller.gallery_pressure(watched.s, watched.p) == pytest.approx(min(0.5 * free, 450.0e3))


@pytest.mark.parametrize(
    ("part", "signal", "put"),
    [
        ("boost", "boost_signal", 4.0), ("oil_pressure", "oil_pressure_signal", 4.0), ("barometer", "barometer_signal", 1.0),
        ("coolant_level", "coolant_level_signal", 2.0), ("coolant", "coolant_signal", 3.0), ("intake", "intake_signal", 3.0),
        ("fuel_temperature", "fuel_temperature_signal", 3.0), ("oil", "oil_signal", 3.0), ("pedal", "pedal_signal", 2.0),
        ("crank", "crank_signal", 900.0), ("cam", "cam_signal", 90.0), ("road_speed", "road_speed_signal", 100.0),
        ("clutch_switch", "clutch_switch_signal", 5.0), ("brake_switch", "brake_switch_signal", 5.0),
        ("retarding_switch", "retarding_switch_signal", 0.0), ("cruise_switch", "cruise_switch_signal", 0.0),
        ("set_button", "set_button_signal", 0.0), ("resume_button", "resume_button_signal", 0.0),
        ("fan_switch", "fan_switch_signal", 0.0), ("selector", "selector_signal", 2.0), ("key", "key_signal", 3.0),
    ],
)  # fmt: skip
def test_what_a_broken_circuit_puts_on_a_pin_is_what_the_controller_reads(watched, part, signal, put):
    believed = {
        "boost": ("manifold_pressure", 3.5e5), "oil_pressure": ("oil_pressure", 7.0e5), "barometer": ("ambient_pressure", 15625.0),
        "coolant_level": ("coolant_level", 0.375), "pedal": ("accelerator", (2.0 / 5.0 - 0.12) / 0.72),
        "crank": ("engine_speed", 900.0 * 2.0 * pi / 60.0), "cam": ("cam_speed", 2.0 * 90.0 * 2.0 * pi / 12.0),
        "road_speed": ("road_speed", 100.0 * 2.0 * pi * 0.49 / 3.36 / 16.0), "clutch_switch": ("clutch_pressed", 1.0),
        "brake_switch": ("brake_pressed", 1.0), "retarding_switch": ("retarding_switch", 1.0),
        "cruise_switch": ("cruise_switch", 1.0), "set_button": ("set_button", 1.0), "resume_button": ("resume_button", 1.0),
        "fan_switch": ("fan_switch", 1.0), "selector": ("selector", 1.0), "key": ("key", 0.0),
    }  # fmt: skip
    watched.p[f"{part}_circuit"], watched.p[f"{part}_put"] = 1.0, put
    sense(watched)
    assert watched.b[signal] == put
    name, value = believed.get(part, ("", 0.0))
    if not name:  # a thermistor: 3 V over 2000 ohm
        name = {"coolant": "coolant_temperature", "intake": "intake_temperature", "oil": "oil_temperature"}.get(
            part, part
        )
        value = 1.0 / (1.0 / 298.15 + np.log(3000.0 / 2500.0) / 3500.0)
    assert watched.b[name] == pytest.approx(value)


SWITCHES = {
    "retarding_switch": "engine_brake_switch", "cruise_switch": "cruise_switch", "set_button": "set_coast",
    "resume_button": "resume_accelerate", "fan_switch": "fan_switch",
}  # fmt: skip


@pytest.mark.parametrize("pressed", [0.0, 1.0])
def test_a_switch_pulls_its_pin_to_ground_and_those_of_the_pedals_let_it_up(watched, pressed):
    """5 V with the contact open, 0 V with it closed; brake and clutch switch open when the pedal goes down."""
    for control in SWITCHES.values():
        watched.k[control] = pressed
    watched.k["brake_pedal"] = watched.k["clutch_pedal"] = 0.5 * pressed
    sense(watched)
    for part in SWITCHES:
        assert watched.b[f"{part}_signal"] == SUPPLY * (1.0 - pressed) and watched.b[part] == pressed, part
    for part, believed in (("brake_switch", "brake_pressed"), ("clutch_switch", "clutch_pressed")):
        assert watched.b[f"{part}_signal"] == SUPPLY * pressed and watched.b[believed] == pressed, part


@pytest.mark.parametrize(("put", "end"), [(0.0, 0.002), (5.0, 0.998)])
def test_a_thermistor_is_read_no_further_than_close_to_its_ends(watched, put, end):
    watched.p["oil_circuit"], watched.p["oil_put"] = 1.0, put
    sense(watched)
    resistance = 2000.0 * end / (1.0 - end)
    assert watched.b["oil_temperature"] == pytest.approx(1.0 / (1.0 / 298.15 + np.log(resistance / 2500.0) / 3500.0))


@pytest.mark.parametrize(("volts", "closed"), [(2.45, 1.0), (2.55, 0.0)])
def test_a_switch_counts_as_closed_below_half_of_the_supply(watched, volts, closed):
    for part in ("cruise_switch", "brake_switch", "key"):
        watched.p[f"{part}_circuit"] = 1.0
        watched.p[f"{part}_put"] = volts * (12.6 / 5.0 if part == "key" else 1.0)
    sense(watched)
    assert watched.b["cruise_switch"] == closed
    assert watched.b["brake_pressed"] == watched.b["key"] == 1.0 - closed


@pytest.mark.parametrize(
    ("volts", "stage"), [(1.4, 0.0), (1.6, 1.0), (2.49, 1.0), (2.51, 2.0), (3.51, 3.0), (4.49, 3.0), (4.51, 0.0)]
)
def test_the_ladder_of_the_selector_has_three_rungs(watched, volts, stage):
    """2, 3 and 4 V; half way between two the next begins, and beyond the last is none."""
    watched.p["selector_circuit"], watched.p["selector_put"] = 1.0, volts
    sense(watched)
    assert watched.b["selector"] == stage


def test_offsets_and_swapped_plugs_show_at_the_pins(watched):
    b, p = watched.b, watched.p
    sense(watched)
    sound = {
        name: float(b[f"{name}_signal"])
        for name in ("boost", "oil_pressure", "coolant", "intake", "coolant_level", "pedal")
    }
    p["boost_oil_swapped"] = p["coolant_intake_swapped"] = 1.0
    sense(watched)
    assert (b["boost_signal"], b["oil_pressure_signal"]) == (sound["oil_pressure"], sound["boost"])
    assert (b["coolant_signal"], b["intake_signal"]) == (sound["intake"], sound["coolant"])
    p["boost_oil_swapped"] = p["coolant_intake_swapped"] = 0.0
    p["oil_pressure_offset"], p["coolant_level_offset"], p["pedal_offset"] = 8.0e4, -0.25, 0.1
    p["intake_offset"], p["fuel_temperature_offset"] = 10.0, 12.0
    sense(watched)
    assert b["oil_pressure_signal"] - sound["oil_pressure"] == pytest.approx(SUPPLY * 0.8 * 0.1)
    assert sound["coolant_level"] - b["coolant_level_signal"] == pytest.approx(SUPPLY * 0.8 * 0.25)
    assert b["pedal_signal"] - sound["pedal"] == pytest.approx(SUPPLY * 0.72 * 0.1)
    assert b["intake_temperature"] == pytest.approx(35.0 + ZERO)
    assert b["fuel_temperature"] == pytest.approx(288.15 + 0.35 * 75.0 + 12.0)


def test_a_weak_pickup_gives_no_pulses_at_low_speed_and_counts_backwards_too(watched):
    watched.p["road_speed_weak"] = 5.0
    for speed, shown in ((4.99, 0.0), (5.01, 5.01), (-6.0, 6.0)):
        watched.s["wheel_speed"] = speed
        sense(watched)
        assert watched.b["road_speed"] == pytest.approx(shown)
    watched.d["needle_distrusted"] = 1.0
    sense(watched)
    assert watched.b["judged_speed"] == -6.0
    watched.p["governor_lag"], watched.s["engine_speed"] = 1.0, 2.0 * watched.b["engine_speed"]
    before = float(watched.b["engine_speed"])
    sense(watched)
    assert before < watched.b["engine_speed"] < 1.02 * before, "a late governor keeps what it knew"


@pytest.mark.parametrize(
    ("part", "believed"),
    [
        ("boost", "manifold_pressure"), ("barometer", "ambient_pressure"), ("oil_pressure", "oil_pressure"),
        ("coolant", "coolant_temperature"), ("intake", "intake_temperature"), ("fuel_temperature", "fuel_temperature"),
        ("oil", "oil_temperature"), ("coolant_level", "coolant_level"),
    ],
)  # fmt: skip
def test_a_distrusted_reading_is_replaced(watched, part, believed):
    watched.c[f"{part}_distrusted"], watched.c[f"{part}_substitute"] = 1.0, 123.0
    sense(watched)
    assert watched.b[believed] == 123.0


def test_the_pedal_rests_within_half_a_percent_and_limps_home_by_its_contact(watched):
    for pedal, read in ((0.0049, 0.0), (0.0051, 0.0051)):
        watched.k["accelerator"] = pedal
        sense(watched)
        assert watched.b["accelerator"] == pytest.approx(read)
    watched.c["pedal_distrusted"], watched.c["pedal_substitute"] = 1.0, 0.3
    sense(watched)
    assert watched.b["accelerator"] == watched.b["driver_demand"] == 0.3
    watched.k["brake_pedal"] = 0.2
    sense(watched)
    assert watched.b["accelerator"] == 0.0, "not against the brake"
    watched.p["pedal_circuit"], watched.p["pedal_put"] = 1.0, 4.9
    watched.c["pedal_distrusted"] = 0.0
    sense(watched)
    assert watched.b["accelerator"] == 1.0


# ---------------------------------------------------------------- cruise control


@pytest.fixture
def cruising(moment: Moment) -> Moment:
    """In gear, holding 20 m/s with a third of the pedal learnt."""
    moment.c["set_speed"] = moment.c["cruise_target"] = moment.b["cruise_reference"] = moment.b["road_speed"] = 20.0
    moment.b["in_gear"] = 1.0
    moment.b["cruise_integral"] = moment.b["cruise_pull"] = 0.3
    return moment


def cruise(moment: Moment, step: float = 0.01) -> float:
    controller.cruise(moment.b, moment.c, moment.p, step)
    return float(moment.b["cruise_demand"])


def test_cruise_pulls_with_what_it_learnt_and_all_the_way_at_its_droop(cruising):
    settings = cruising.settings.cruise
    cruising.p["cruise_rate"] = 1.0e12
    assert cruise(cruising) == pytest.approx(0.3)
    below, above = settings.full_below_km_h / 3.6, settings.none_above_km_h / 3.6
    for off, demand in (
        (-0.5 * below, 0.3 + 0.5),
        (-below, 1.0),
        (0.5 * above, 0.15),
        (above, 0.0),
        (2.0 * above, 0.0),
    ):
        cruising.b["road_speed"], cruising.b["cruise_reference"], cruising.b["cruise_integral"] = 20.0 + off, 20.0, 0.3
        assert cruise(cruising, 1e-9) == pytest.approx(demand, abs=1e-6)


def test_cruise_learns_over_eight_seconds_and_only_while_it_pulls_by_less_than_all(cruising):
    below, above = float(cruising.p["cruise_below"]), float(cruising.p["cruise_above"])
    for off, learnt in ((-0.2, 0.2 / below / 8.0), (0.1, -0.1 / below / 8.0), (-0.9 * below, 0.0), (1.01 * above, 0.0)):
        cruising.b["road_speed"], cruising.b["cruise_reference"], cruising.b["cruise_integral"] = 20.0 + off, 20.0, 0.3
        cruise(cruising, 0.01)
        assert (cruising.b["cruise_integral"] - 0.3) / 0.01 == pytest.approx(learnt, rel=1e-6)
    cruising.b["road_speed"], cruising.b["clutch_pressed"], cruising.b["cruise_integral"] = 19.8, 1.0, 0.3
    cruise(cruising)
    assert cruising.b["cruise_integral"] == 0.3
    cruising.b["clutch_pressed"], cruising.b["cruise_integral"] = 0.0, 0.99999
    cruising.b["road_speed"] = 20.0 - 1e-6
    cruise(cruising, 1.0e5)
    assert cruising.b["cruise_integral"] == 1.0


def test_cruise_moves_its_pedal_no_faster_than_is_set_and_lets_go_four_times_as_fast(cruising):
    rate = cruising.settings.cruise.pedal_rate_percent_per_s / 100.0
    cruising.b["road_speed"] = 15.0
    assert cruise(cruising, 0.1) == pytest.approx(min(0.3 + 0.1 * rate, 1.0))
    cruising.b["cruise_pull"] = 0.9
    cruising.b["in_gear"] = 0.0
    assert cruise(cruising, 0.02) == pytest.approx(0.9 - 0.08 * rate)
    assert cruise(cruising, 10.0) == 0.0


def test_cruise_goes_to_a_new_speed_no_faster_than_is_set(cruising):
    most = cruising.settings.cruise.acceleration_m_s2
    cruising.c["cruise_target"] = 25.0
    cruise(cruising, 0.5)
    assert cruising.b["cruise_reference"] == pytest.approx(20.0 + 0.5 * most)
    cruising.b["cruise_reference"] = 24.0
    cruise(cruising, 0.01)
    assert cruising.b["cruise_reference"] == pytest.approx(22.0), "it leads a truck that cannot follow by 2 m/s"
    cruising.c["cruise_target"], cruising.b["cruise_reference"] = 18.0, 20.0
    cruising.b["road_speed"] = 19.5
    cruise(cruising, 0.5)
    assert cruising.b["cruise_reference"] == pytest.approx(19.5 - 0.5 * most), "down from where the truck is"
    cruising.b["road_speed"], cruising.b["cruise_reference"] = 17.0, 20.0
    cruise(cruising, 0.5)
    assert cruising.b["cruise_reference"] == pytest.approx(18.0)


def test_cruise_that_does_not_hold_follows_the_pedal(cruising):
    cruising.c["set_speed"], cruising.b["accelerator"] = 0.0, 0.42
    assert cruise(cruising) == 0.0
    assert cruising.b["cruise_integral"] == cruising.b["cruise_pull"] == 0.42
    assert cruising.b["cruise_reference"] == 20.0
    cruising.b["accelerator"], cruising.b["clutch_pressed"] = 0.1, 1.0
    cruise(cruising)
    assert cruising.b["cruise_integral"] == 0.42, "not what the foot does in a shift"


def test_a_touch_of_a_pedal_is_none(cruising):
    cruising.p["cruise_rate"] = 1.0e12
    for learnt, demand in ((0.0099, 0.0), (0.0101, 0.0101)):
        cruising.b["cruise_integral"] = learnt
        assert cruise(cruising) == pytest.approx(demand)


# ---------------------------------------------------------------- idle, clutch, air


@pytest.mark.parametrize(("missing_rpm", "gain"), [(10.0, 1.0), (-10.0, 1.0), (74.0, 1.0), (76.0, 0.0), (-76.0, 0.0)])
def test_the_idle_governor_learns_within_half_of_its_span(moment, missing_rpm, gain):
    """60 N m for a radian that is missing; foot off; up to 400 N m."""
    moment.s["idle_integral"] = 200.0
    moment.turn(650.0 - missing_rpm)
    controller.idle_memory(moment.s, moment.b, moment.c, moment.p, 0.01)
    assert moment.s["idle_integral"] - 200.0 == pytest.approx(gain * 60.0 * missing_rpm * TURN * 0.01)


def test_the_idle_governor_keeps_what_it_learnt_within_bounds_and_while_a_foot_is_down(moment):
    moment.turn(640.0)
    for _ in range(3):
        controller.idle_memory(moment.s, moment.b, moment.c, moment.p, 10.0)
    assert moment.s["idle_integral"] == 400.0
    moment.turn(660.0)
    moment.b["driver_demand"] = 0.1
    controller.idle_memory(moment.s, moment.b, moment.c, moment.p, 10.0)
    assert moment.s["idle_integral"] == 400.0
    moment.b["driver_demand"] = 0.0
    controller.idle_memory(moment.s, moment.b, moment.c, moment.p, 10.0)
    assert moment.s["idle_integral"] == 0.0


def work_clutch(moment: Moment, step: float) -> float:
    controller.work_clutch(moment.s, moment.b, moment.c, moment.k, moment.p, step)
    return float(moment.s["clutch_release"])


def test_an_automated_clutch_takes_its_times_and_is_let_in_with_the_pull_of_the_engine():
    """Closes in 0.4 s, opens in 0.15 s or as the file says; a launch closes it from 20 rpm above idle over 250 rpm."""
    moment = Moment(T2)
    driveline, engine = moment.truck.driveline, moment.truck.engine
    moment.c["clutch"] = 1.0
    assert work_clutch(moment, 0.1) == pytest.approx(0.1 / driveline.clutch_close_s)
    moment.c["clutch"], moment.s["clutch_release"] = 0.0, 1.0
    assert work_clutch(moment, 0.05) == pytest.approx(1.0 - 0.05 / driveline.clutch_open_s)
    moment.c["clutch"] = moment.c["launching"] = 1.0
    moment.turn(engine.low_idle_rpm + driveline.launch_bite_rpm + 0.5 * driveline.launch_span_rpm)
    assert work_clutch(moment, 10.0) == pytest.approx(0.5), "half way between where it bites, 0.15, and is closed, 0.85"
    assert moment.s["clutch_engagement"] == pytest.approx(0.25), "the pull goes with the square of the speed"
    moment.turn(engine.low_idle_rpm + driveline.launch_bite_rpm + 2.0 * driveline.launch_span_rpm)
    assert work_clutch(moment, 10.0) == pytest.approx(0.85)


def test_an_automated_gearbox_is_told_how_far_the_engine_is_off():
    moment = Moment(T2)
    moment.turn(1300.0)
    moment.c["engine_mode"], moment.c["matching_ratio"], moment.b["road_speed"] = 2.0, 8.0, 15.0
    work_clutch(moment, 0.01)
    assert moment.b["matching_error"] == pytest.approx(abs(1300.0 * TURN - 120.0))
    moment.b["road_speed"] = 100.0
    work_clutch(moment, 0.01)
    assert moment.b["matching_error"] == pytest.approx((moment.truck.engine.high_idle_rpm - 1300.0) * TURN)


def test_a_manual_clutch_is_where_the_foot_has_it(moment):
    moment.k["clutch_pedal"] = 0.6
    assert work_clutch(moment, 0.01) == pytest.approx(0.4)
    assert moment.s["clutch_engagement"] == pytest.approx((0.25 / 0.7) ** 2)


def test_pedal_and_hill_hold_ask_for_the_larger_pressure_and_the_compressor_keeps_its_bounds(moment):
    s, b, c, k, p = moment.s, moment.b, moment.c, moment.k, moment.p
    k["brake_pedal"], c["hill_hold"], s["reservoir_pressure"] = 0.5, 2.0e5, 8.0e5
    controller.control(s, b, c, k, p, 0.01)
    assert s["brake_demand"] == pytest.approx(3.1e5), "6.2 bar at the end of the pedal"
    k["brake_pedal"] = 0.1
    controller.control(s, b, c, k, p, 0.01)
    assert s["brake_demand"] == 2.0e5
    for pressure, pumping in ((800.0, 0.0), (724.1, 0.0), (723.9, 1.0), (861.9, 1.0), (862.1, 0.0), (800.0, 0.0)):
        s["reservoir_pressure"] = pressure * 1000.0
        controller.control(s, b, c, k, p, 0.01)
        assert s["compressor_pumping"] == pumping, pressure
    b["accelerator"], c["set_speed"] = 0.4, 0.0
    controller.control(s, b, c, k, p, 0.01)
    assert b["driver_demand"] == 0.4


# ---------------------------------------------------------------- feet


def test_a_foot_that_holds_an_engine_speed_gives_what_it_takes_and_more_while_it_is_slow(moment):
    """What friction, fan, accessories and clutch take, and inertia times 6/s times what is missing; of full-load torque."""
    s, d, p = moment.s, moment.d, moment.p
    moment.run(1200.0, 0.0)
    s["clutch_torque"], d["turning"], moment.b["engine_speed"] = 30.0, 1300.0 * TURN, 1280.0 * TURN
    taken = s["friction_torque"] + s["fan_torque"] + s["accessory_torque"] + 30.0
    whole = s["full_load_torque"] + s["warm_friction"]
    pedal = seat.hold_engine_speed(s, moment.b, d, p)
    assert pedal == pytest.approx((taken + 6.0 * 4.0 * 20.0 * TURN) / whole)
    assert d["turning_error"] == pytest.approx(20.0 * TURN)
    s["clutch_torque"] = -500.0
    assert seat.hold_engine_speed(s, moment.b, d, p) == pytest.approx(pedal - 30.0 / whole)
    d["turning_ratio"], moment.b["judged_speed"] = 8.0, 15.0
    seat.hold_engine_speed(s, moment.b, d, p)
    assert d["turning_error"] == pytest.approx(abs(120.0 - 1280.0 * TURN)), "of the gear that is to be engaged"
    moment.b["judged_speed"] = 100.0
    seat.hold_engine_speed(s, moment.b, d, p)
    assert d["turning_error"] == pytest.approx((2250.0 - 1280.0) * TURN), "no faster than high idle"
    p["all_speed"], d["turning_ratio"] = 1.0, 0.0
    pedal = seat.hold_engine_speed(s, moment.b, d, p)
    assert pedal == pytest.approx((1300.0 - 650.0) / (2100.0 - 650.0)), "there a pedal is a speed"
    d["turning"] = 800.0 * TURN
    assert seat.hold_engine_speed(s, moment.b, d, p) == 0.0


@pytest.fixture
def seated(moment: Moment) -> Moment:
    """In gear with the clutch up, holding 20 m/s with a third of the pedal learnt."""
    s, b, d = moment.s, moment.b, moment.d
    s["clutch_locked"], s["gear"] = 1.0, 9.0
    b["judged_speed"] = d["target_speed"] = d["reference_speed"] = 20.0
    d["acceleration_limit"], d["deceleration_limit"], d["hold_integral"], d["foot_mode"] = 0.5, 0.8, 0.3, 1.0
    d["pedal_rate"] = 0.6
    s["speed"] = 20.0
    return moment


def hold(moment: Moment, step: float = 1e-9) -> float:
    return float(seat.hold_road_speed(moment.s, moment.b, moment.c, moment.k, moment.d, moment.p, step))


def test_a_foot_is_down_two_miles_an_hour_below_and_off_a_little_above(seated):
    for off, pedal in ((0.0, 0.3), (-0.45, 0.8), (-0.9, 1.3), (0.15, 0.15), (0.3, 0.0), (1.0, 0.0)):
        seated.b["judged_speed"], seated.d["reference_speed"], seated.d["hold_integral"] = 20.0 + off, 20.0, 0.3
        assert hold(seated) == pytest.approx(pedal, abs=1e-6)


def test_a_foot_learns_over_eight_seconds_while_it_pulls_by_less_than_all(seated):
    for off, learnt in ((-0.2, 0.2 / 0.9 / 8.0), (0.1, -0.1 / 0.9 / 8.0), (-0.7, 0.0), (0.31, 0.0)):
        seated.b["judged_speed"], seated.d["reference_speed"], seated.d["hold_integral"] = 20.0 + off, 20.0, 0.3
        hold(seated, 0.01)
        assert (seated.d["hold_integral"] - 0.3) / 0.01 == pytest.approx(learnt, abs=1e-9)
    seated.d["hold_integral"] = 1.4
    hold(seated)
    assert seated.d["hold_integral"] == 1.0
    seated.d["hold_integral"], seated.k["clutch_pedal"], seated.b["judged_speed"] = 0.3, 0.1, 19.9
    hold(seated, 0.01)
    assert seated.d["hold_integral"] == 0.3, "nothing is learnt in a shift"
    seated.d["hold_integral"], seated.b["judged_speed"], seated.d["reference_speed"] = 0.0095, 20.0, 20.0
    assert hold(seated) == 0.0, "nobody holds a speed with less than a hundredth of the pedal"
    seated.d["hold_integral"] = 0.0105
    assert hold(seated) == pytest.approx(0.0105)


def test_a_driver_goes_to_a_new_speed_no_faster_than_he_likes(seated):
    d = seated.d
    d["target_speed"] = 25.0
    hold(seated, 0.5)
    assert d["reference_speed"] == pytest.approx(20.25)
    d["reference_speed"] = 24.0
    hold(seated)
    assert d["reference_speed"] == pytest.approx(22.0), "2 m/s ahead of a truck that pulls"
    d["reference_speed"], seated.s["clutch_locked"] = 24.0, 0.0
    hold(seated)
    assert d["reference_speed"] == pytest.approx(20.4), "and 0.4 of one that nothing pulls"
    seated.s["clutch_locked"], d["target_speed"], d["reference_speed"] = 1.0, 18.0, 21.0
    hold(seated, 0.5)
    assert d["reference_speed"] == pytest.approx(19.6), "down from where the truck is"


def right_foot(moment: Moment, step: float = 0.02) -> tuple[float, float]:
    seat.move_right_foot(moment.s, moment.b, moment.c, moment.k, moment.d, moment.p, step)
    return float(moment.d["foot"]), float(moment.d["foot_brake"])


def test_the_right_foot_moves_at_its_rate_comes_off_four_times_as_fast_and_blips_faster(seated):
    d = seated.d
    d["foot_mode"], d["pedal"] = 0.0, 1.0
    assert right_foot(seated, 0.1)[0] == pytest.approx(0.06)
    d["foot"], d["pedal"] = 0.9, 0.2
    assert right_foot(seated, 0.1)[0] == pytest.approx(0.9 - 0.24)
    d["foot"], d["foot_mode"], d["turning"] = 0.0, 2.0, 200.0
    seated.run(800.0, 0.0)
    assert right_foot(seated, 0.1)[0] == pytest.approx(0.25), "2.5/s: all the way in 0.4 s"
    d["foot_mode"], d["brake_mode"], d["foot"] = 0.0, 4.0, 0.5
    assert right_foot(seated, 0.1)[0] == pytest.approx(0.26), "one foot: off the accelerator while it brakes"
    assert d["reference_speed"] == 20.0
    seated.c["set_speed"], seated.b["cruise_demand"] = 20.0, 0.44
    right_foot(seated)
    assert d["hold_integral"] == 0.44, "the foot takes over what cruise control pulls with"


def test_given_time_the_right_foot_is_where_the_speed_wants_it(seated):
    """With the pedal that an engine speed asks for, or the one that a road speed does."""
    d = seated.d
    seated.run(1200.0, 0.0)
    d["foot_mode"], d["turning"] = 2.0, 1210.0 * TURN
    wanted = seat.hold_engine_speed(seated.s, seated.b, d, seated.p)
    assert 0.0 < wanted < 1.0 and right_foot(seated, 10.0)[0] == pytest.approx(wanted)
    d["foot_mode"], d["reference_speed"], seated.b["judged_speed"] = 1.0, 20.0, 19.9
    assert right_foot(seated, 1e-9)[0] == pytest.approx(wanted, abs=1e-6)
    d["pedal_rate"], d["hold_integral"] = 1.0e12, 0.3
    assert right_foot(seated, 1e-9)[0] == pytest.approx(0.3 + 0.1 / 0.9, rel=1e-6)


def test_the_brake_pedal_moves_at_eight_bar_a_second(seated):
    d = seated.d
    d["brake_mode"], d["brake_pressure"] = 4.0, 3.0e5
    assert right_foot(seated, 0.1)[1] == pytest.approx(0.8e5)
    assert right_foot(seated, 1.0)[1] == 3.0e5
    d["brake_mode"] = 0.0
    assert right_foot(seated, 0.1)[1] == pytest.approx(2.2e5)


def test_a_driver_brakes_for_the_deceleration_he_wants(seated):
    """Pressure grows with what is missing: the truck's own pressure for a deceleration, over half a second."""
    s, d, p, step = seated.s, seated.d, seated.p, 0.02
    guess = float(p["brake_pressure_guess"])
    assert guess == pytest.approx(36287.0 / (4050.0 + 11500.0 + 11500.0) * 1.0e5), "mass over all gains"
    for mode, felt in ((1.0, 0.7), (3.0, 20.0**2 / 2.0 / 250.0), (2.0, 0.5 * 1.6), (2.0, 3.0), (2.0, -0.5)):
        d["brake_mode"], d["foot_brake"], s["acceleration"] = mode, 1.0e5, -0.4
        d["brake_deceleration"], d["stop_distance"], s["distance"] = 0.7, 1250.0, 1000.0
        d["target_speed"] = {0.8: 18.4, 3.0: 5.0, -0.5: 40.0}.get(felt, 20.0)
        expected = 1.0e5 + (felt - 0.4) * guess / 0.5 * step
        assert right_foot(seated, step)[1] == pytest.approx(min(max(expected, 1.0e5 - 1.6e4), 1.0e5 + 1.6e4)), (
            mode,
            felt,
        )
    d["brake_mode"], d["foot_brake"], d["brake_deceleration"] = 1.0, 6.19e5, 9.0
    assert right_foot(seated, 0.2)[1] == pytest.approx(6.2e5), "the end of the pedal"


def test_a_stopping_foot_keeps_its_pressure_until_the_truck_stands_and_then_holds_two_bar(seated):
    s, d = seated.s, seated.d
    d["brake_mode"], d["foot_brake"], d["stop_distance"], s["distance"] = 3.0, 0.9e5, 1000.0, 999.9
    s["speed"] = 0.295
    assert right_foot(seated, 0.1)[1] == 0.9e5
    s["speed"] = 0.305
    assert right_foot(seated, 0.1)[1] > 0.9e5
    s["speed"] = 0.0
    right_foot(seated, 0.1)
    assert right_foot(seated, 5.0)[1] == 2.0e5


def test_the_left_foot_takes_the_times_of_the_clutch_or_lets_it_in(moment):
    s, d, p = moment.s, moment.d, moment.p
    d["clutch_wanted"] = 1.0
    seat.move_left_foot(s, d, p, 0.03)
    assert d["foot_clutch"] == pytest.approx(0.2), "down in 0.15 s"
    d["clutch_wanted"], d["foot_clutch"] = 0.0, 1.0
    seat.move_left_foot(s, d, p, 0.1)
    assert d["foot_clutch"] == pytest.approx(0.75), "up in 0.4 s"
    d["clutch_mode"], d["bite_speed"], d["clutch_share"] = 1.0, 700.0 * TURN, 1.0
    moment.turn(700.0 + 125.0)
    seat.move_left_foot(s, d, p, 0.03)
    assert d["foot_clutch"] == pytest.approx(0.75 - 0.2), "as fast up as down"
    seat.move_left_foot(s, d, p, 10.0)
    assert d["foot_clutch"] == pytest.approx(0.5), "half way between biting and closed"


def test_controls_move_in_steps_of_a_4096th(moment):
    for value, steps in (
        (0.25, 1024.0),
        (0.2501, 1024.0),
        (0.2502, 1025.0),
        (0.49 / 4096.0, 0.0),
        (0.51 / 4096.0, 1.0),
    ):
        assert seat.rounded(value) == steps / 4096.0
    assert seat.HANDS_PERIOD == 0.02, "the grid that README states"


def test_feet_and_hands_move_the_controls_and_are_written_down(moment):
    d, k, block = moment.d, moment.k, moment.memory.block
    d["foot_mode"], d["pedal"], d["foot"], d["pedal_rate"] = 0.0, 0.5, 0.5, 1.0
    d["brake_mode"], d["brake_pressure"], d["foot_brake"] = 4.0, 3.1e5, 3.1e5
    d["foot_clutch"] = d["clutch_wanted"] = 0.25
    d["foot_mode"] = 0.0
    d["brake_mode"] = 0.0
    d["foot_brake"] = 3.1e5 + 0.16e5
    d["hand_lever"], d["hand_cruise_switch"] = 7.0, 1.0
    known, kept = np.zeros(len(CONTROLS)), np.zeros((40, 3))
    records = (moment.s, moment.b, moment.c, k, d, moment.p)
    row, written = seat.use_controls(block, *records, np.zeros((0, 3)), kept, known, 0, 0, seat.BY_LAW, 123, 0.02)
    assert (k["accelerator"], k["brake_pedal"], k["clutch_pedal"]) == (0.5, 0.5, 0.25)
    assert (k["lever"], k["cruise_switch"]) == (7.0, 1.0)
    moved = ["accelerator", "brake_pedal", "clutch_pedal", "lever", "cruise_switch"]
    assert row == 0 and [CONTROLS[int(place)].name for place in kept[:written, 1]] == moved
    assert set(kept[:written, 0]) == {123.0}
    feed = np.array([[5.0, 0.0, 0.75], [9.0, 3.0, 4.0]])
    row, _ = seat.use_controls(block, *records, feed, np.zeros((0, 3)), known, 0, 0, seat.BY_FEED, 8, 0.02)
    assert row == 1 and (k["accelerator"], k["lever"]) == (0.75, 7.0)


@pytest.mark.parametrize(("clutch", "gear", "moves"), [(1.0, 7.0, False), (0.0, 7.0, True), (1.0, 0.0, True)])
def test_a_splitter_moves_when_no_torque_holds_it_and_takes_its_time(moment, clutch, gear, moves):
    s, k, p = moment.s, moment.k, moment.p
    p["split_from"], p["splitter_time"] = 5.0, 0.4
    k["lever"], k["splitter"], s["clutch_engagement"], s["gear"] = 6.0, 1.0, clutch, gear
    seat.gear_by_hand(s, k, p, 0.1)
    assert s["splitter"] == pytest.approx(0.25 if moves else 0.0)
    s["splitter"], s["clutch_engagement"], s["gear"] = 0.25, 1.0, 7.0
    seat.gear_by_hand(s, k, p, 0.2)
    assert s["splitter"] == pytest.approx(0.75), "on its way it goes all the way"


@pytest.mark.parametrize("gear", range(14))
def test_lever_and_splitter_say_the_gear_they_were_put_for(gear):
    lever, splitter = seat.lever_and_splitter(gear, 6)
    assert seat.gear_of(lever, splitter, 6) == gear
