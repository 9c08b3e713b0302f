"""Every sensor and switch: what is true, what its pin carries, what the controller believes; meters and values dialled in.

Circuit laws are checked against printed values in tests/published; here the whole way from the truth through the pin to the belief
is followed in trucks that drive. What is dialled in must move the engine.
"""

import math

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.actors.faults import occur
from sim.actors.underway import Underway
from sim.errors import SettingsError
from sim.inputs.sensors import MEASURING, OWN_RANGE, SENSORS, read_dialled, read_occurrence
from sim.march.meter import Look, columns, pin_of, read_meter, value_at, wire_check
from sim.units import to_si
from sim.wording import kinds_in

T1 = "long-haul-manual"
WATCHED = "faults.watch=true"


def dialled(*texts: str) -> str:
    """The setting for values dialled in."""
    return "circuits.dialled=[" + ", ".join(f'"{text}"' for text in texts) + "]"


# ---------------------------------------------------------------- a sound truck


@pytest.mark.parametrize("road", ["grade:3%,3km,800m", "grade:-5%,3km,1500m"])
def test_a_sound_truck_believes_what_is_true(trip, road):
    """With every circuit worked out, the way to the pin and back loses nothing but rounding."""
    result = trip(T1, road, WATCHED, 'circuits.meters=["all"]', "start.speed_km_h=50")
    for key in SENSORS:
        true, _, believed = (result.meters[name] for name in columns(key))
        assert np.allclose(true, believed, rtol=1e-9, atol=1e-6), key
    assert result.summary["codes"] == []
    assert result.summary["time_smoking_s"] == 0.0


def test_looking_at_circuits_changes_nothing_that_is_measured(trip):
    """The same trip with and without every circuit worked out, and with meters on: same events, same fuel and time."""
    plain = trip(T1, "grade:2%,4km,500m", "start.speed_km_h=40")
    metered = trip(T1, "grade:2%,4km,500m", "start.speed_km_h=40", 'circuits.meters=["all"]')
    watched = trip(T1, "grade:2%,4km,500m", "start.speed_km_h=40", WATCHED)
    for key in ("fuel_kg", "time_s", "gear_shifts", "max_engine_speed_rpm"):
        assert metered.summary[key] == plain.summary[key], "a meter changes nothing, not one bit"
        assert watched.summary[key] == pytest.approx(plain.summary[key], rel=1e-3)
    assert [event["event"] for event in watched.events] == [event["event"] for event in plain.events]


@pytest.mark.parametrize("key", SENSORS)
def test_each_curve_reads_back_what_went_in(alone, key):
    clock = alone("grade:0%,1km", "start.speed_km_h=60")
    parameters = clock.rig.parameters
    sensor = SENSORS[key]
    values = {
        "thermistor": (250.0, 300.0, 380.0),
        "pressure": (1e4, 9e4, 1.2e5),
        "level": (0.1, 0.9),
        "pedal": (0.0, 0.35, 1.0),
        "wheel": (10.0, 30.0),
        "ladder": (1.0, 2.0, 3.0),
    }.get(sensor.kind, (0.0, 1.0))
    for value in values:
        signal = pin_of(key, value, parameters)
        assert value_at(key, signal, parameters) == pytest.approx(value, rel=1e-9, abs=1e-9)
        if sensor.kind in (*MEASURING, "ladder"):
            assert sensor.lowest < signal < sensor.highest, "a sound sensor stays within what is believed"


def test_the_battery_is_charged_while_the_engine_runs(alone):
    """13.6 to 14.4 V with the engine running, a rested battery's 12.6 V without (common practice; army manuals, published)."""
    clock = alone("grade:0%,1km", "start.speed_km_h=0")
    for turning, low, high in ((620.0, 13.6, 14.4), (1900.0, 13.6, 14.4), (0.0, 12.55, 12.65)):
        clock.state["engine_speed"][0] = to_si(turning, "rpm")
        seen = read_meter(clock.rig.memory, clock.rig.parameters, "key")
        assert low <= seen.signal <= high and seen.believed == 1.0


def test_numbers_of_codes_are_the_standards_or_say_that_they_are_ours():
    for sensor in SENSORS.values():
        assert (sensor.spn >= OWN_RANGE) == sensor.mark.startswith("own number")
        assert sensor.mark in ("two sources", "one source") or sensor.mark.startswith("own number")
    assert len({sensor.spn for sensor in SENSORS.values()}) == len(SENSORS)


def test_frequencies_are_teeth_times_turns(alone):
    """f = teeth x rpm / 60, physics; the camshaft of a four-stroke turns at half the speed."""
    clock = alone("grade:0%,1km", "start.speed_km_h=60")
    rpm = clock.true("engine_speed") * 30.0 / math.pi
    p = clock.rig.parameters[0]
    crank, cam, speed = (
        read_meter(clock.rig.memory, clock.rig.parameters, key) for key in ("crank", "cam", "road_speed")
    )
    assert crank.signal == pytest.approx(p["crank_teeth"] * rpm / 60.0)
    assert cam.signal == pytest.approx(p["cam_teeth"] * rpm / 120.0)
    assert speed.signal == pytest.approx(clock.true("speed") * p["fitted_pulses"] / 1609.344, rel=1e-6)


def test_a_meter_shows_the_drift_of_a_sensor_and_the_truth_beside_it(trip):
    result = trip(
        T1,
        "grade:0%,3km",
        'faults.occur=["1 km coolant temperature offset 20"]',
        'circuits.meters=["coolant temperature"]',
        "circuits.meter_s=0.25",
    )
    true, signal, believed = (result.meters[name] for name in columns("coolant"))
    late = result.meters["distance_m"] > 1100.0
    assert np.allclose((believed - true)[late], 20.0, atol=1e-6)
    early = result.meters["distance_m"] < 990.0
    assert np.allclose((believed - true)[early], 0.0, atol=1e-6)
    assert signal[late].max() < signal[early].min(), "an NTC that reads hot has less voltage"
    assert np.allclose(np.diff(result.meters["time_s"]), 0.25)
    assert result.meters_csv().startswith("time_s,distance_m,coolant_true_c,coolant_signal_v,coolant_believed_c\n")


def test_resistances_tell_an_open_wire_from_a_short(alone):
    clock = alone("grade:0%,1km", "start.speed_km_h=60")
    trip = Underway(clock, load_truck(T1).truck, load_settings(), load_route("grade:0%,1km"))
    seen = {}
    for failure in ("mended", "open", "shorted low", "shorted high"):
        occur(trip, read_occurrence(f"start boost pressure {failure}"))
        seen[failure] = (
            *wire_check("boost", clock.rig.parameters).values(),
            Look(clock.rig.memory, clock.rig.parameters).signal("boost"),
        )
    assert seen["open"][3] == seen["shorted low"][3] == 0.0, "at the pin they are the same"
    assert math.isinf(seen["open"][0]) and math.isinf(seen["open"][1])
    assert seen["shorted low"][1] < 1.0
    assert seen["shorted high"][2] < 1.0 and seen["shorted high"][3] == 5.0
    assert len(set(seen.values())) == 4


def test_a_meter_sees_a_finger_on_a_button(trip):
    result = trip(
        T1,
        "grade:0%,3km",
        "start.speed_km_h=80",
        'cruise.presses=["1 km set", "2 km tap up"]',
        'circuits.meters=["set button", "resume button"]',
        "circuits.meter_s=0.1",
    )
    for key, place in (("set_button", 1000.0), ("resume_button", 2000.0)):
        true, volts, believed = (result.meters[name] for name in columns(key))
        pressed = result.meters["distance_m"][true > 0.5]
        assert pressed.min() == pytest.approx(place, abs=5.0)
        assert pressed.max() - pressed.min() < 10.0
        assert np.array_equal(true, believed)
        assert np.all(volts[true > 0.5] == 0.0) and np.all(volts[true < 0.5] == 5.0)


# ---------------------------------------------------------------- the instructor's hand


def test_a_hot_coolant_dialled_in_calls_the_fan_then_takes_torque_then_stops_the_engine(trip, named):
    result = trip(T1, "grade:0%,8km", dialled("1 km coolant temperature 120 C"))
    codes = {(code["spn"], code["fmi"]): code for code in result.summary["codes"]}
    assert {(110, 15), (110, 16), (110, 0)} <= set(codes)
    assert codes[110, 0]["lamp"] == "red"
    assert named(result, "fan_engaged")
    started, stopped = named(result, "shutdown_timer_started")[0], named(result, "engine_shut_down")[0]
    assert stopped["time_s"] - started["time_s"] == pytest.approx(30.0, abs=0.3)
    assert result.summary["ended"] == "stalled"
    assert result.summary["ended_because"]["values"]["why"]["values"]["fmi"] == 0
    assert result.summary["max_coolant_temperature_c"] < 100.0, "the coolant itself was never hot"


def test_let_go_in_time_the_shutdown_is_called_off(trip, named):
    result = trip(T1, "grade:0%,6km", dialled("1 km coolant temperature 120 C", "1.4 km coolant temperature let go"))
    assert result.summary["ended"] == "arrived"
    assert named(result, "shutdown_called_off")
    assert named(result, "derate_ended")
    assert not any(code["active"] for code in result.summary["codes"])


def test_the_stop_can_be_programmed_out(trip, named):
    result = trip(T1, "grade:0%,5km", dialled("1 km coolant temperature 120 C"), "faults.shutdown=false")
    assert result.summary["ended"] == "arrived"
    assert not named(result, "engine_shut_down")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("intake temperature 100 C", (105, 16)),
        ("fuel temperature 95 C", (174, 16)),
        ("oil pressure 100 kPa", (100, 18)),
        ("coolant level 40 %", (111, 18)),
    ],
)
def test_a_value_dialled_in_is_judged_by_the_controller(trip, text, code):
    result = trip(T1, "grade:0%,3km", dialled(f"500 m {text}"))
    assert code in {(entry["spn"], entry["fmi"]) for entry in result.summary["codes"]}


def test_an_accelerator_dialled_in_drives_the_engine(alone):
    """The foot is off, the hand on the potentiometer is not."""
    clock = alone("grade:0%,5km", "start.speed_km_h=60", WATCHED)
    trip = Underway(clock, load_truck(T1).truck, load_settings(), load_route("grade:0%,5km"))
    clock.run(until=200)
    before = clock.true("indicated_torque")
    occur(trip, read_dialled("start accelerator 60 %"))
    clock.run(until=600)
    assert before == 0.0
    assert clock.true("indicated_torque") > 500.0
    assert clock.believed("accelerator") == pytest.approx(0.6)
    assert clock.handled("accelerator") == 0.0


def test_a_road_speed_dialled_in_ends_cruise_and_one_too_high_cuts_the_fuel(trip, named):
    low = trip(T1, "grade:0%,5km", "cruise.set_speed_km_h=80", dialled("2 km road speed 10 km/h"))
    assert "cause.road_speed_too_low" in kinds_in(named(low, "cruise_cancelled"))
    high = trip(
        T1, "grade:0%,4km", "road_speed.limit_km_h=85", "start.speed_km_h=80", dialled("2 km road speed 120 km/h")
    )
    trace = high.trace
    after = (trace["distance_m"] > 2005.0) & (trace["distance_m"] < 2085.0)
    assert np.median(trace["fuel_rate_g_s"][after]) == 0.0, "the limiter believes the dial"
    assert np.median(trace["fuel_rate_g_s"][trace["distance_m"] < 1900.0]) > 3.0


def test_a_warm_barometer_of_a_mountain_takes_torque_at_sea_level(trip):
    """Dialled to 60 kPa the controller takes the road for a high one and gives less fuel than the air would allow."""
    sound = trip(T1, "grade:4%,3km", "start.speed_km_h=60", WATCHED)
    high = trip(T1, "grade:4%,3km", "start.speed_km_h=60", dialled("start barometric pressure 60 kPa"))
    assert high.summary["time_s"] > 1.05 * sound.summary["time_s"]


# ---------------------------------------------------------------- what cannot be read


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ('faults.occur=["2 km flux capacitor open"]', "names no part"),
        ('faults.occur=["coolant temperature open"]', "says no place or time"),
        ('faults.occur=["2 km key stuck"]', "key can be open, intermittent, mended"),
        ('faults.occur=["2 km boost pressure offset"]', "needs a size"),
        ('faults.occur=["2 km boost pressure offset 20 C"]', "size"),
        ('faults.occur=["2 km coolant temperature offset 20 F"]', "a difference in K or C"),
        ('faults.occur=["2 km boost pressure open 3"]', "takes no size"),
        ('faults.occur=["2 km oil pump worn 140 %"]', "0 to 100 %"),
        ('circuits.dialled=["2 km clutch switch maybe"]', "on, pressed, off, released or let go"),
        ('circuits.dialled=["2 km oil pump 3"]', "names no part"),
        ('faults.occur=["2 km oil pump worn a lot"]', "size"),
        ('circuits.dialled=["2 km coolant temperature 3 kPa"]', "value"),
        ('circuits.dialled=["clutch switch pressed"]', "no place or time"),
        (f'faults.occur=["{"9" * 400} km coolant temperature open"]', "begins too far away"),
        ('circuits.meters=["sundial"]', "is no sensor"),
    ],
)
def test_a_text_that_cannot_be_read_says_what_can(change, says):
    with pytest.raises(SettingsError, match=says.replace("(", r"\(")) as problem:
        load_settings(None, [change])
    assert any(words in str(problem.value) for words in ("write ", "use one of", "allowed is", "at most"))


def test_a_truck_that_begins_sound_can_be_broken_on_the_fly(alone):
    """What a live drive needs: no setting asks for anything, and a wire breaks all the same."""
    clock = alone("grade:0%,5km", "start.speed_km_h=60")
    trip = Underway(clock, load_truck(T1).truck, load_settings(), load_route("grade:0%,5km"))
    clock.run(until=100)
    assert clock.believed("coolant_temperature") == pytest.approx(clock.true("coolant_temperature"), abs=0.1)
    occur(trip, read_occurrence("start coolant temperature open"))
    clock.run(until=200)
    assert clock.believed("coolant_temperature") < 240.0, "an open NTC reads as deep frost"


def test_equal_seeds_give_equal_trips_and_others_do_not():
    settings = ['faults.occur=["1 km road speed erratic"]']
    first, again, other = (
        run_trip(T1, "grade:0%,3km", load_settings(None, [*settings, f"faults.seed={seed}"])) for seed in (5, 5, 6)
    )
    assert np.array_equal(first.trace["indicated_speed_m_s"], again.trace["indicated_speed_m_s"])
    assert first.events == again.events
    assert first.events != other.events
