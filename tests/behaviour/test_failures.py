"""Cause in, symptom out: for each kind of failure what the controller does and what a student can measure.

Which code belongs to which failure is a choice of this project within the meanings of SAE J1939's failure modes (two sources);
what the trade recognises is common practice, no source, and named beside its test.
"""

from collections.abc import Callable

import numpy as np
import pytest

from sim import Result, load_route, load_settings, load_truck
from sim.actors.diagnosis import Diagnosis
from sim.actors.faults import occur
from sim.actors.underway import Underway
from sim.inputs.failures import Fault, catalogue, with_fault
from sim.inputs.sensors import SENSORS, failures_of, read_occurrence
from sim.inputs.specs import PAIRS
from sim.march.clock import Clock
from sim.march.meter import Look, pin_of, wire_check
from sim.march.plant import working_cylinders
from sim.wording import kinds_in

T1 = "long-haul-manual"
LEVEL = "grade:0%,4km"


def occurs(*texts: str) -> str:
    """The setting for failures."""
    return "faults.occur=[" + ", ".join(f'"{text}"' for text in texts) + "]"


def codes(result: Result) -> set[tuple[int, int]]:
    """Numbers and modes of every code of a trip."""
    return {(code["spn"], code["fmi"]) for code in result.summary["codes"]}


# ---------------------------------------------------------------- wires


@pytest.mark.parametrize(
    ("part", "failure", "code"),
    [
        ("coolant temperature", "open", (110, 3)),
        ("coolant temperature", "shorted low", (110, 4)),
        ("coolant temperature", "shorted high", (110, 3)),
        ("intake temperature", "open", (105, 3)),
        ("fuel temperature", "shorted low", (174, 4)),
        ("oil temperature", "open", (175, 3)),
        ("boost pressure", "open", (102, 4)),
        ("boost pressure", "shorted low", (102, 4)),
        ("boost pressure", "shorted high", (102, 3)),
        ("barometric pressure", "open", (108, 4)),
        ("oil pressure", "shorted high", (100, 3)),
        ("coolant level", "open", (111, 3)),
        ("accelerator", "shorted low", (91, 4)),
        ("engine-brake selector", "open", (973, 3)),
    ],
)
def test_a_wire_sets_the_code_of_its_voltage(trip, part, failure, code):
    """FMI 3 voltage above normal, FMI 4 below (two sources). A thermistor is pulled up, so its open wire reads high; a
    pressure sensor is pulled down, so its open wire reads low (common practice)."""
    result = trip(T1, LEVEL, occurs(f"1 km {part} {failure}"))
    entry = next(entry for entry in result.summary["codes"] if (entry["spn"], entry["fmi"]) == code)
    assert entry["active"]
    assert entry["count"] == 1
    assert entry["first_distance_m"] == pytest.approx(1040.0, abs=45.0)
    assert entry["freeze_frame"]["engine_speed_rpm"] == pytest.approx(1211.0, abs=30.0)


def test_without_its_coolant_sensor_an_engine_runs_its_fan(trip, named):
    """Default value and fan on: common practice, no source."""
    sound, broken = trip(T1, LEVEL), trip(T1, LEVEL, occurs("1 km coolant temperature open"))
    assert not named(sound, "fan_engaged")
    assert named(broken, "fan_engaged")[0]["cause"]["kind"] == "cause.coolant_lost"
    assert broken.summary["fuel_kg"] > 1.02 * sound.summary["fuel_kg"]


def test_without_boost_signal_the_engine_pulls_like_one_without_turbocharger(trip):
    sound, broken = (
        trip(T1, "grade:3%,3km", "start.speed_km_h=60", *more) for more in ((), (occurs("start boost pressure open"),))
    )
    assert broken.summary["time_s"] > 1.4 * sound.summary["time_s"]
    climbing = broken.trace["distance_m"] > 1000.0
    assert broken.trace["engine_torque_n_m"][climbing].max() < 0.7 * sound.trace["engine_torque_n_m"].max()
    assert broken.trace["boost_kpa"].max() < sound.trace["boost_kpa"].max(), "less fuel, less boost"


def test_a_boost_sensor_that_reads_high_makes_smoke_and_one_that_reads_low_a_lame_engine(trip):
    road, more = "grade:1%,1500m", ("start.speed_km_h=0",)
    sound = trip(T1, road, *more, "faults.watch=true")
    high = trip(T1, road, *more, occurs("start boost pressure offset 60 kPa"))
    low = trip(T1, road, *more, occurs("start boost pressure offset -60 kPa"))
    assert sound.summary["time_smoking_s"] == 0.0
    assert high.summary["time_smoking_s"] > 2.0
    assert low.summary["time_smoking_s"] == 0.0
    assert low.summary["time_s"] > sound.summary["time_s"]


@pytest.mark.parametrize("part", ["boost pressure", "barometric pressure"])
def test_boost_and_barometer_that_disagree_at_rest_set_a_code_before_the_start(trip, part):
    """Which of the two lies, the code does not say: that takes a gauge."""
    result = trip(T1, "grade:0%,1km", "start.speed_km_h=0", occurs(f"start {part} offset -30 kPa"))
    entry = next(entry for entry in result.summary["codes"] if (entry["spn"], entry["fmi"]) == (102, 2))
    assert entry["first_time_s"] == 0.0


def test_oil_pressure_that_is_low_and_oil_pressure_that_reads_low_have_one_code_and_two_gauges(trip):
    metered = 'circuits.meters=["oil pressure"]'
    worn = trip(T1, LEVEL, occurs("1 km oil pump worn 65 %"), metered)
    lies = trip(T1, LEVEL, occurs("1 km oil pressure offset -230 kPa"), metered)
    assert codes(worn) == codes(lies) == {(100, 18)}
    late = worn.meters["distance_m"] > 2000.0
    assert worn.meters["oil_pressure_true_kpa"][late].max() < 200.0
    assert lies.meters["oil_pressure_true_kpa"][late].min() > 250.0


def test_no_oil_pressure_stops_the_engine_after_its_timer(trip, named):
    result = trip(T1, "grade:0%,6km", occurs("1 km oil pump worn 95 %"))
    assert (100, 1) in codes(result)
    assert result.summary["ended"] == "stalled"
    waited = named(result, "engine_shut_down")[0]["time_s"] - named(result, "shutdown_timer_started")[0]["time_s"]
    assert waited == pytest.approx(30.0, abs=0.3)


# ---------------------------------------------------------------- crank, cam, key


def test_an_engine_runs_on_without_its_camshaft_signal_but_does_not_start_without_it(trip):
    """Common practice, no source."""
    running = trip(T1, LEVEL, occurs("1 km camshaft position open"))
    assert running.summary["ended"] == "arrived"
    assert codes(running) == {(723, 8)}
    standing = trip(T1, LEVEL, "start.speed_km_h=0", occurs("start camshaft position open"))
    assert standing.summary["ended"] == "stalled"
    assert standing.summary["distance_m"] == 0.0
    assert {"ended.does_not_start", "ended.no_cam"} == kinds_in(standing.summary["ended_because"])


def test_without_its_crankshaft_signal_the_engine_stops(trip):
    result = trip(T1, LEVEL, occurs("1 km crankshaft position open"))
    assert result.summary["ended"] == "stalled"
    assert (636, 8) in codes(result)
    after = result.trace["distance_m"] > 1005.0
    assert result.trace["fuel_rate_g_s"][after].max() == 0.0
    standing = trip(T1, LEVEL, "start.speed_km_h=0", occurs("start crankshaft position open"))
    assert "ended.no_crank" in kinds_in(standing.summary["ended_because"])


def test_without_the_key_the_controller_is_dead(trip):
    result = trip(T1, LEVEL, occurs("1 km key open"))
    assert result.summary["ended"] == "stalled"
    assert result.summary["ended_because"]["kind"] == "ended.lost_key"
    assert codes(result) == set(), "a dead controller sets no code"


# ---------------------------------------------------------------- pedal


def test_a_lost_pedal_leaves_limp_home(trip, named):
    result = trip(T1, LEVEL, occurs("1 km accelerator open"), "cruise.set_speed_km_h=80")
    assert result.summary["ended"] == "arrived"
    late = result.trace["distance_m"] > 1500.0
    assert np.percentile(result.trace["fuel_demand_percent"][late], 95) <= 25.0 + 1e-9
    assert "cause.accelerator_lost" in kinds_in(named(result, "cruise_locked_out"))


def test_a_pedal_that_never_comes_back_keeps_the_engine_brake_off(trip, named):
    """Fault F15 of a catalogue (common practice): no engine brake, idle high, and no code while the brake is not used."""
    road = "grade:-5%,2km,900m"
    sound = trip(T1, road, "start.speed_km_h=50")
    lies = trip(T1, road, "start.speed_km_h=50", occurs("start accelerator offset 8 %"))
    assert sum(sound.summary["engine_brake_stage_time_s"][k] for k in "123") > 20.0
    assert sum(lies.summary["engine_brake_stage_time_s"][k] for k in "123") == 0.0


def test_a_pedal_pressed_against_the_brake_is_not_believed(trip, road_of):
    """Nobody has two right feet: the pedal is ignored while the brakes slow the truck."""
    road = road_of([(0, 0, 70, ""), (1800, 0, 70, 5), (2600, 0, 70, "")])
    result = trip(T1, road, occurs("1 km accelerator offset 40 %"))
    assert (91, 2) in codes(result) or (91, 3) in codes(result)
    assert result.summary["ended"] == "arrived"


# ---------------------------------------------------------------- road speed


def test_without_road_speed_there_is_no_cruise_and_the_driver_goes_by_the_tachometer(trip, named):
    result = trip(T1, "grade:0%,6km", "cruise.set_speed_km_h=80", "start.speed_km_h=76", occurs("2 km road speed open"))
    assert (84, 10) in codes(result)
    assert (84, 2) in codes(result)
    assert named(result, "cruise_cancelled")
    assert "cause.road_speed_lost" in kinds_in(named(result, "cruise_locked_out"))
    assert named(result, "needle_distrusted")
    late = result.trace["distance_m"] > 2500.0
    assert np.all(result.trace["indicated_speed_m_s"][late] == 0.0)
    assert np.all(np.abs(3.6 * result.trace["speed_m_s"][late] - 78.0) < 12.0)


def test_a_weak_pickup_shows_nothing_below_a_speed(trip, road_of):
    """Air gap too wide: reads 0 below some speed (common practice, no source)."""
    road = road_of([(0, 0, 70, ""), (1500, 0, 70, 5), (2600, 0, 70, "")])
    result = trip(T1, road, occurs("start road speed weak 30 km/h"))
    speed, shown = 3.6 * result.trace["speed_m_s"], 3.6 * result.trace["indicated_speed_m_s"]
    assert np.all(shown[speed < 29.5] == 0.0)
    assert np.allclose(shown[speed > 31.0], speed[speed > 31.0], rtol=0.02)


def test_an_erratic_signal_is_told_from_a_broken_wire_by_its_code(trip):
    erratic = trip(T1, LEVEL, occurs("1 km road speed erratic"))
    broken = trip(T1, LEVEL, occurs("1 km road speed open"))
    assert (84, 8) in codes(erratic)
    assert (84, 8) not in codes(broken)


# ---------------------------------------------------------------- switches


@pytest.mark.parametrize(
    ("text", "event", "cause"),
    [
        ("start cruise switch open", "cruise_refused", "cause.cruise_switch_off"),
        ("start clutch switch open", "stage_refused", "cause.clutch_pressed"),
        ("start brake switch open", "cruise_refused", "cause.service_brake_pressed"),
        ("start engine-brake selector open", "engine_brake_locked_out", "cause.selector_lost"),
        ("start oil temperature open", "engine_brake_locked_out", "cause.oil_temperature_lost"),
    ],
)
def test_what_is_refused_says_why(trip, named, road_of, text, event, cause):
    road = road_of([(0, 0, 70), (1200, 0, 70), (1300, -5, 70), (2600, -5, 70), (2700, 0, 70), (3200, 0, "")], 500)
    settings = () if "stage" in event or "engine" in event else ("cruise.set_speed_km_h=60",)
    result = trip(T1, road, "start.speed_km_h=58", *settings, occurs(text))
    assert cause in kinds_in(named(result, event))


def test_a_clutch_switch_stuck_pressed_takes_cruise_and_engine_brake(trip, road_of):
    """Fault F03 of a catalogue: no cruise and no engine brake (common practice)."""
    road = road_of([(0, 0, 70), (1200, 0, 70), (1300, -5, 70), (2600, -5, 70), (2700, 0, 70), (3200, 0, "")], 500)
    sound, stuck = (
        trip(T1, road, "start.speed_km_h=58", "cruise.set_speed_km_h=60", *more)
        for more in ((), (occurs("start clutch switch open"),))
    )
    assert sound.trace["set_speed_m_s"].max() > 0.0
    assert stuck.trace["set_speed_m_s"].max() == 0.0
    assert sum(sound.summary["engine_brake_stage_time_s"][k] for k in "123") > 5.0
    assert sum(stuck.summary["engine_brake_stage_time_s"][k] for k in "123") == 0.0
    assert stuck.summary["service_brake_applications"] > sound.summary["service_brake_applications"]


def test_a_brake_switch_that_is_never_seen_does_not_cancel_cruise(trip, named, road_of):
    road = road_of([(0, 0, 70, ""), (1800, 0, 70, 5), (2600, 0, 70, "")])
    sound, blind = (
        trip(T1, road, "start.speed_km_h=58", "cruise.set_speed_km_h=60", *more)
        for more in ((), (occurs("start brake switch shorted low"),))
    )
    assert "cause.service_brake" in kinds_in(named(sound, "cruise_cancelled"))
    assert "cause.service_brake" not in kinds_in(named(blind, "cruise_cancelled"))


def test_an_engine_brake_switch_with_a_broken_wire_is_off_without_a_code(trip):
    road = "grade:-5%,2km,900m"
    result = trip(T1, road, "start.speed_km_h=50", occurs("start engine-brake switch open"))
    assert sum(result.summary["engine_brake_stage_time_s"][k] for k in "123") == 0.0
    assert codes(result) == set()


def test_a_set_button_that_sticks_is_found_and_cruise_refused(trip, named):
    result = trip(T1, "grade:0%,5km", occurs("500 m set button shorted low"))
    assert (599, 2) in codes(result)
    assert "cause.set_button_stuck" in kinds_in(named(result, "cruise_locked_out"))


def test_a_fan_switch_touching_ground_runs_the_fan_without_a_code(trip, named):
    result = trip(T1, LEVEL, occurs("500 m fan switch shorted low"))
    assert named(result, "fan_engaged")[0]["cause"]["kind"] == "cause.fan_switch"
    assert codes(result) == set()


# ---------------------------------------------------------------- engine brake


def cylinders(clock: Clock, trip: Underway) -> tuple[float, ...]:
    """Cylinders that work with stage 1, 2 and 3 switched on."""
    found = []
    for stage in (1, 2, 3):
        pairs = trip.truck.engine_brake.pairs(stage)
        clock.set(**{f"pair_{pair}": float(pair in pairs) for pair in PAIRS})
        found.append(float(working_cylinders(clock.rig.memory.command[0], clock.rig.parameters[0])))
    clock.set(**{f"pair_{pair}": 0.0 for pair in PAIRS})
    return tuple(found)


@pytest.mark.parametrize(
    ("texts", "works"),
    [
        ((), (2, 4, 6)),
        (("engine brake, middle pair open",), (0, 4, 4)),
        (("engine brake, front pair dead", "engine brake, rear pair dead"), (2, 0, 2)),
        (("engine-brake circuits swapped",), (4, 2, 6)),
    ],
)
def test_which_cylinders_are_left(alone, texts, works):
    """Circuit A open: Low / Medium / High = 0 / 4 / 4; circuit B open: 2 / 0 / 2 (derived, wiring common practice); swapped
    circuits exchange Low and Medium."""
    clock, trip = prepared(alone)
    for text in texts:
        occur(trip, read_occurrence(f"start {text}"))
    assert cylinders(clock, trip) == works


def test_an_open_solenoid_has_a_code_and_a_stuck_mechanism_has_none(trip):
    """Flagged after about 1 s of low current while driven (common practice)."""
    road = "grade:-5%,2km,900m"
    broken = trip(T1, road, "start.speed_km_h=50", occurs("start engine brake, middle pair open"))
    stuck = trip(T1, road, "start.speed_km_h=50", occurs("start engine brake, middle pair dead"))
    assert codes(broken) == {(1072, 5)}
    assert codes(stuck) == set()
    assert broken.trace["active_cylinders"].max() == stuck.trace["active_cylinders"].max() == 4.0


# ---------------------------------------------------------------- codes as a record


def test_a_mended_wire_leaves_an_earlier_code_and_a_second_break_counts(trip, named):
    result = trip(
        T1,
        "grade:0%,6km",
        occurs("1 km intake temperature open", "2 km intake temperature mended", "4 km intake temperature open"),
    )
    entry = next(entry for entry in result.summary["codes"] if entry["spn"] == 105)
    assert entry["count"] == 2
    assert entry["active"]
    assert entry["first_distance_m"] < 1100.0
    assert [event["event"] for event in result.events if event["event"].startswith("code_")] == [
        "code_set",
        "code_inactive",
        "code_set",
    ]


def test_swapped_plugs_make_each_sensor_tell_of_the_other(trip):
    result = trip(
        T1,
        LEVEL,
        occurs("1 km coolant temperature swapped"),
        'circuits.meters=["coolant temperature", "intake temperature"]',
    )
    late = result.meters["distance_m"] > 1100.0
    assert np.allclose(result.meters["coolant_believed_c"][late], result.meters["intake_true_c"][late], atol=1e-6)
    assert np.allclose(result.meters["intake_believed_c"][late], result.meters["coolant_true_c"][late], atol=1e-6)


def test_a_hidden_failure_leaves_only_what_the_controller_says(trip, named):
    told, hidden = (
        trip(T1, LEVEL, occurs("1 km coolant temperature open"), *more) for more in ((), ("faults.told=false",))
    )
    assert named(told, "fault_occurred")
    assert not named(hidden, "fault_occurred")
    assert [event["event"] for event in hidden.events] == [
        event["event"] for event in told.events if event["event"] != "fault_occurred"
    ]


def test_a_failure_beyond_the_end_of_the_road_is_foreseen(trip):
    result = trip(T1, "grade:0%,1km", occurs("4 km coolant temperature open"))
    assert kinds_in(result.summary["foreseen"]) == {"foreseen.beyond_the_road"}


def test_sizes_of_the_catalogue_are_taken_as_written():
    for fault in catalogue().values():
        occurrence = read_occurrence(fault.text("2 km"))
        assert (occurrence.part, occurrence.failure, occurrence.begin) == (fault.part, fault.failure, 2000.0)
        assert fault.failure in failures_of(fault.part)
    settings = with_fault(load_settings(), catalogue()["key open"], "90 s")
    assert settings.faults.occur == ("90 s key open",)
    assert settings.circuits_watched
    assert not load_settings().circuits_watched


# ---------------------------------------------------------------- all of them


def prepared(alone: Callable[..., Clock]) -> tuple[Clock, Underway]:
    """A truck at 35 km/h with nobody in the cab, its circuits watched."""
    clock = alone("grade:-4%,9km,800m", "start.speed_km_h=35", "faults.watch=true")
    settings = load_settings(None, ["faults.watch=true"])
    return clock, Underway(clock, load_truck(T1).truck, settings, load_route("grade:-4%,9km,800m"))


def evidence(alone: Callable[..., Clock], fault: Fault | None) -> tuple:
    """What a student can find out about a failure: codes, meters against truth at rest and with every switch moved, resistances,
    a mechanical oil gauge, the coolant tank, and the engine brake stage by stage."""
    clock, trip = prepared(alone)
    tests = Diagnosis(trip)
    parameters, memory = clock.rig.parameters, clock.rig.memory
    if fault:
        occur(trip, read_occurrence(fault.text()))
    off = {key: [np.inf, -np.inf] for key in SENSORS}
    wires: dict[str, set[tuple[float, ...]]] = {
        key: set() for key in SENSORS
    }  # measured again and again, as a wire is shaken
    hands = (
        "hand_engine_brake_switch",
        "hand_cruise_switch",
        "hand_set_coast",
        "hand_resume_accelerate",
        "hand_fan_switch",
    )
    for second in range(1, 91):
        clock.mean(clutch_wanted=1.0 - float(second % 5 != 0), foot_mode=0.0, pedal=0.5 if second % 4 < 2 else 0.0)
        clock.mean(hand_engine_brake_selector=1.0 + second % 3, **{hand: float(second % 2) for hand in hands})
        clock.mean(brake_mode=4.0 if second % 7 == 0 else 0.0, brake_pressure=1e5)
        clock.set(pair_middle=1.0, pair_front=1.0, pair_rear=1.0)
        if second == 45:
            parameters["coolant_fill"] *= 0.9  # drained a little, to see the level follow
        for tenth in range(1, 6):
            clock.run(until=100 * (second - 1) + 20 * tenth)
            tests.step()
            if tenth in (2, 5):
                look = Look(memory, parameters)
                for key in SENSORS:
                    error = look.signal(key) - pin_of(key, look.true(key), parameters)
                    low, high = off[key]
                    off[key] = [min(low, error), max(high, error)]
                    wires[key].add(tuple(wire_check(key, parameters).values()))
    look = Look(memory, parameters)
    return (
        tuple(sorted((spn, mode) for spn, mode in trip.codes)),
        tuple((key, round(low, 2), round(high, 2)) for key, (low, high) in off.items()),
        tuple(tuple(sorted(found)) for found in wires.values()),
        round(look.true("oil_pressure") / 2e4),
        round(look.true("coolant_level"), 2),
        cylinders(clock, trip),
        tuple(working_alone(clock, pair) for pair in PAIRS),
    )


def working_alone(clock: Clock, pair: str) -> float:
    """Cylinders that work with one solenoid energised by hand."""
    clock.set(**{f"pair_{other}": float(other == pair) for other in PAIRS})
    return float(working_cylinders(clock.rig.memory.command[0], clock.rig.parameters[0]))


@pytest.mark.slow
def test_every_failure_can_be_told_from_every_other_and_from_none(alone):
    found: dict[tuple, str] = {}
    for name, fault in {"nothing": None, **catalogue()}.items():
        what = evidence(alone, fault)
        # exchanged plugs are one failure with two names
        other = found.get(what)
        assert other is None or (name.endswith("swapped") and other.endswith("swapped")), f"{name} looks like {other}"
        found[what] = name


@pytest.mark.slow
@pytest.mark.parametrize("name", catalogue())
def test_every_failure_can_be_driven_to_an_end(trip, road_of, name):
    road = road_of([(0, 0, 60, ""), (500, 2, 60, ""), (900, -4, 60, ""), (1700, 0, 60, 5), (2000, 0, 60, "")], 400)
    result = trip(T1, road, "start.speed_km_h=0", "cruise.set_speed_km_h=50", occurs(catalogue()[name].text("300 m")))
    assert result.summary["ended"] in ("arrived", "stalled", "time_limit")
    assert result.summary["energy"]["residual_fraction"] < 1e-3
