"""Every number of a truck or of settings has bounds, found by walking the models; what is beyond the numbers is refused in words.

Values come in by files, by changes and inside texts (a failure, a value dialled in, a button pressed); each way is walked.
"""

import re
from functools import partial
from typing import Any

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck
from sim.actors.underway import Underway
from sim.errors import HaulbenchError, SettingsError, SpecError
from sim.inputs.sensors import FARTHEST, LATEST, NAMES, SENSORS, failures_of, size_range, size_unit
from sim.inputs.specs import Settings, Truck, delays_of, keys_of
from sim.march.assemble import parameters_of
from sim.march.meter import pin_of, value_at
from sim.roads.route import LONGEST
from sim.trips.trip import check_together, prepare, start_actors, take_the_seat
from sim.units import to_si, unit_name, unit_of_key

BASE = "long-haul-manual"
BEYOND = ("inf", "-inf", "nan", "1e308", "-1e308")
IN_WORDS = re.compile(r"allowed is|must be a number from|must be")
LIBRARY_WORDS = re.compile(r"Input should be|validation error|Traceback|pydantic|type=", re.IGNORECASE)


def annotation_of(model: type, table: str, key: str) -> Any:
    return model.model_fields[table].annotation.model_fields[key].annotation


def kind_of(model: type, table: str, key: str) -> str:
    """What a key takes: number, list of numbers, list of lists, or something without numbers."""
    annotation = annotation_of(model, table, key)
    if annotation in (int, float):
        return "number"
    depth = str(annotation).lower().count("tuple[")
    return ("", "list", "grid")[depth] if depth and "float" in str(annotation) else ""


KEYS = [
    (model, table, key, kind)
    for model in (Truck, Settings)
    for table, key in keys_of(model)
    if (kind := kind_of(model, table, key))
]
NAMED = {"ids": lambda value: value if isinstance(value, str) else getattr(value, "__name__", "")}


def test_the_walk_finds_them_all():
    assert len(KEYS) > 190
    assert {kind for *_, kind in KEYS} == {"number", "list", "grid"}
    tables = {table for _, table, _, _ in KEYS}
    assert {"vehicle", "engine", "drums", "condition", "circuits", "dyno", "simulation"} <= tables
    numbers = {("engine", "full_load_rpm"), ("drums", "fade_c"), ("gearbox", "ratios"), ("engine", "fuel_map_g_per_s")}
    assert numbers <= {(table, key) for _, table, key, kind in KEYS if kind != "number"}


def loader(model: type):
    return (load_truck, BASE, SpecError) if model is Truck else (load_settings, None, SettingsError)


def refusal(call: Any, error: type[HaulbenchError]) -> str:
    with pytest.raises(error) as caught:
        call()
    message = str(caught.value)
    assert IN_WORDS.search(message) and not LIBRARY_WORDS.search(message), message
    assert len(message) <= 3000
    return message


def written(kind: str, value: str) -> str:
    return {"number": value, "list": f"[{value}, 1.0]", "grid": f"[[1.0, {value}], [1.0, 2.0]]"}[kind]


@pytest.mark.parametrize(("model", "table", "key", "kind"), KEYS, **NAMED)
def test_no_number_beyond_its_bounds_comes_in(model, table, key, kind, tmp_path):
    load, base, error = loader(model)
    path = tmp_path / "wrong.toml"
    head = f'based_on = "{BASE}"\n' if model is Truck else ""
    for value in BEYOND:
        given = written(kind, value)
        path.write_text(f"{head}[{table}]\n{key} = {given}\n", encoding="utf-8")
        message = refusal(partial(load, str(path)), error)
        assert f"{table}.{key}" in message and value.removeprefix("-").removesuffix("308") in message.lower()
        message = refusal(partial(load, base, [f"{table}.{key}={given}"]), error)
        assert message.startswith(f"{table}.{key}={given}: ")


@pytest.mark.parametrize(("model", "table", "key", "kind"), [row for row in KEYS if row[3] != "number"], **NAMED)
def test_what_a_value_of_a_list_may_be_is_said_in_its_unit(model, table, key, kind):
    load, base, error = loader(model)
    message = refusal(lambda: load(base, [f"{table}.{key}={written(kind, '1e9')}"]), error)
    unit = unit_of_key(key)
    assert re.search(
        r"each value of the list must be a number from \S+ to \S+" + (f" {unit_name(unit)}" if unit else ""), message
    )


# ---------------------------------------------------------------- texts

MEASURING = [sensor for sensor in SENSORS.values() if sensor.kind not in ("switch", "key")]


def dial(text: str) -> None:
    load_settings(None, [f'circuits.dialled=["{text}"]'])


@pytest.mark.parametrize("key", [sensor.key for sensor in MEASURING])
def test_a_value_dialled_in_is_one_the_circuit_can_carry(key):
    sensor = SENSORS[key]
    unit = unit_name(sensor.unit) if sensor.unit else ""
    span = sensor.most - sensor.least
    for value in (sensor.least + 1e-3 * span, sensor.most - 1e-3 * span):
        dial(f"start {sensor.name} {value:.6f} {unit}".strip())
    for value in ("1e308", "-1e308", "1e999", f"{sensor.most + 0.01 * span:.6f}", f"{sensor.least - 0.01 * span:.6f}"):
        text = f"start {sensor.name} {value} {unit}".strip()
        message = refusal(lambda text=text: dial(text), SettingsError)
        assert f"allowed is {sensor.least:.4g} to {sensor.most:.4g} {unit}".strip() + f" for {sensor.name}" in message
        assert text[:60] in message
    for value in ("inf", "nan"):
        with pytest.raises(SettingsError, match=f"{value}"):
            dial(f"start {sensor.name} {value} {unit}".strip())


@pytest.mark.parametrize("key", [sensor.key for sensor in MEASURING])
def test_the_bounds_of_a_dial_are_what_its_pin_gives_back(key):
    """At both ends the controller reads what was dialled; a little further on a voltage says no more."""
    sensor = SENSORS[key]
    parameters = parameters_of(load_truck(BASE).truck, load_settings(), 0.0)
    ends = [to_si(end, sensor.unit) for end in (sensor.least, sensor.most)]
    for end in ends:
        assert value_at(key, pin_of(key, end, parameters), parameters) == pytest.approx(end, rel=1e-3, abs=1e-6)
    if sensor.kind in ("thermistor", "pressure", "level", "pedal"):
        beyond = ends[1] + 0.05 * (ends[1] - ends[0])
        assert value_at(key, pin_of(key, beyond, parameters), parameters) < beyond


SIZED = [(part, failure) for part in NAMES for failure in failures_of(part) if size_unit(part, failure)]


@pytest.mark.parametrize(("part", "failure"), SIZED)
def test_a_failure_is_no_larger_than_its_part_can_show(part, failure):
    unit, (least, most) = unit_name(size_unit(part, failure)), size_range(part, failure)

    def ask(size: str) -> None:
        load_settings(None, [f'faults.occur=["start {NAMES[part]} {failure} {size} {unit}"]'])

    ask(f"{least:g}")
    ask(f"{most:g}")
    for size in ("9" * 308, "9" * 400, f"{most * 1.01:g}", f"{least - 0.01 * most:g}"):
        message = refusal(lambda size=size: ask(size), SettingsError)
        assert f"{failure} by {least:g} to {most:g} {unit}" in message


def test_sensors_that_read_wrong_more_and_more_stop_where_they_can_read_no_more():
    """Two offsets at once, and a drift that goes on: the sum stays within what one may be."""
    changes = [
        'faults.occur=["start coolant temperature offset -150 K", "start coolant temperature offset -150 K",'
        ' "start oil temperature drift -150 K", "start oil temperature drift -150 K"]',
    ]
    truck, road, settings = load_truck(BASE).truck, load_route("grade:0%,90km"), load_settings(None, changes)
    clock = prepare(truck, road, settings)
    trip = Underway(clock, truck, settings, road)
    take_the_seat(trip)
    start_actors(trip)
    clock.run(until=9000)
    for part in ("coolant", "oil"):
        assert clock.rig.parameters[f"{part}_offset"][0] == -150.0


@pytest.mark.parametrize("table_key", ["faults.occur", "circuits.dialled"])
@pytest.mark.parametrize(("begin", "most"), [("km", FARTHEST / 1000.0), ("s", LATEST), ("mi", FARTHEST / 1609.344)])
def test_nothing_begins_beyond_the_end_of_any_road_or_trip(table_key, begin, most):
    what = "coolant temperature open" if table_key == "faults.occur" else "coolant temperature 100 C"
    load_settings(None, [f'{table_key}=["{0.999 * most:.3f} {begin} {what}"]'])
    for far in (f"{1.001 * most:.3f}", "9" * 308, "9" * 400):
        with pytest.raises(SettingsError, match=r"begins too far away; at most (3000 km|1e\+06 s) from the start"):
            load_settings(None, [f'{table_key}=["{far} {begin} {what}"]'])


def test_no_button_is_pressed_beyond_the_end_of_any_road():
    load_settings(None, ['cruise.presses=["2999 km set"]'])
    for far in ("3001", "9" * 400):
        with pytest.raises(SettingsError, match="too far away; a place may be at most 3000 km"):
            load_settings(None, [f'cruise.presses=["{far} km set"]'])


def test_as_far_as_a_road_may_be_long():
    assert FARTHEST == LONGEST


# ---------------------------------------------------------------- times


def times_of(model: type) -> list[tuple[str, str]]:
    return [(table, key) for table, key in keys_of(model) if unit_of_key(key) == "s"]


def test_the_times_are_found():
    truck, settings = load_truck(BASE).truck, load_settings()
    assert {"condition.governor_lag_s", "gearbox.torque_gap_s", "cooling.fan_least_s"} <= {
        f"{table}.{key}" for table, key in times_of(Truck)
    }
    assert {"cruise.clutch_s", "driver.reaction_s", "circuits.meter_s"} <= {
        f"{table}.{key}" for table, key in times_of(Settings)
    }
    given = dict(delays_of(truck)) | dict(delays_of(settings))
    assert given["gearbox.torque_gap_s"] == truck.gearbox.torque_gap_s
    assert "condition.governor_lag_s" not in given, "0 is none"


@pytest.mark.parametrize(("table", "key"), [*times_of(Truck), *times_of(Settings)])
def test_a_time_shorter_than_a_tick_is_refused(table, key):
    """Just below the longest tick there may be: refused, by its range or as a time the clock cannot tell."""
    if (table, key) == ("simulation", "tick_s"):
        return
    model = Truck if (table, key) in times_of(Truck) else Settings
    short = "[0.04, 0.04, 0.04]" if "tuple" in str(annotation_of(model, table, key)) else "0.04"
    tick = "simulation.tick_s=0.05"
    with pytest.raises(HaulbenchError) as caught:
        if model is Truck:
            truck = load_truck(BASE, [f"{table}.{key}={short}"]).truck
            slack = [f"{table}.{key}=0.06" for table, key in times_of(Truck) if key == "clutch_open_s"]
            if key != "clutch_open_s":
                truck = load_truck(BASE, [f"{table}.{key}={short}", *slack]).truck
            check_together(truck, load_settings(None, [tick]))
        else:
            load_settings(None, [tick, f"{table}.{key}={short}"])
    assert f"{table}.{key}" in str(caught.value) and "0.04" in str(caught.value)


def test_a_button_is_held_for_a_tick_or_more():
    load_settings(None, ["simulation.tick_s=0.05", 'cruise.presses=["1 km accelerate 0.06 s"]'])
    with pytest.raises(SettingsError, match=r"cruise.presses is 0.04 s, shorter than simulation.tick_s 0.05 s"):
        load_settings(None, ["simulation.tick_s=0.05", 'cruise.presses=["1 km accelerate 0.04 s"]'])


def test_a_late_governor_that_the_clock_can_tell_is_taken():
    truck = load_truck(BASE, ["condition.governor_lag_s=0.02"]).truck
    check_together(truck, load_settings())
    with pytest.raises(SettingsError, match=r"longer than condition.governor_lag_s of this truck, 0.004 s"):
        check_together(load_truck(BASE, ["condition.governor_lag_s=0.004"]).truck, load_settings())


# ---------------------------------------------------------------- brakes


def test_brakes_without_force_are_refused():
    gains = [f"{axle}_brakes.gain_kn_per_bar=0" for axle in ("steer", "drive", "trailer")]
    with pytest.raises(SpecError, match=r"adds up to 0; it must be at least 0\.1"):
        load_truck(BASE, gains)


def test_brakes_of_one_axle_are_enough():
    truck = load_truck(BASE, ["steer_brakes.gain_kn_per_bar=0", "trailer_brakes.gain_kn_per_bar=0"]).truck
    clock = prepare(truck, load_route("grade:0%,1km"), load_settings())
    for field in clock.rig.parameters.dtype.names:
        assert np.isfinite(clock.rig.parameters[field]).all(), field
