"""The panel of inputs says what the models say, and links reopen what they were made from."""

import json

import pytest

from dashboard.panel.controls import panel
from dashboard.panel.fields import described, field_of, label_of
from dashboard.server.setups import Setup, query_of, read_setup, setup_from_query, setup_of
from dashboard.trip.page import GROUPS
from sim import list_routes, list_settings, list_trucks, load_settings_file, load_truck
from sim.errors import SettingsError
from sim.inputs.specs import Settings, Truck, keys_of
from sim.units import quantity_in, unit_of_key


@pytest.fixture(scope="module")
def told():
    return described()


def test_every_key_of_both_models_has_a_field(told):
    keys = {f"{table}.{key}" for model in (Settings, Truck) for table, key in keys_of(model)}
    assert set(told["fields"]) == keys
    for name, field in told["fields"].items():
        assert field["label"] and field["meaning"] and "_" not in field["label"], name
    assert {key.partition(".")[0] for key in keys} <= set(told["tables"])


def test_ranges_are_those_that_are_enforced(told):
    numbers = [
        (name, field)
        for name, field in told["fields"].items()
        if field["kind"] in ("number", "whole") and name in told["usual"]
    ]
    assert len(numbers) > 50
    for name, field in numbers:
        step = 1 if field["kind"] == "whole" else 1e-6 * (field["high"] - field["low"])
        for value in (field["high"] + step, field["low"] - step):
            with pytest.raises(SettingsError, match="allowed is"):
                read_setup(Setup(changes={name: f"{value:.17g}"}))
        for value in (field["high"], field["low"]):
            try:
                read_setup(Setup(changes={name: f"{value:.17g}"}))
            except SettingsError as problem:  # it may not fit beside other values, but it is in its range
                assert "allowed is" not in str(problem), problem


def test_us_units_are_the_reader_s_own(told):
    numbers = {name: field for name, field in told["fields"].items() if "us" in field and field["kind"] == "number"}
    assert sum(bool(field["us"]["typed"]) for field in numbers.values()) > 40 and len(numbers) > 60
    for name, field in numbers.items():
        us, unit = field["us"], unit_of_key(name)
        value = field["low"] + 0.4 * (field["high"] - field["low"])
        shown = value * us["factor"] + us["offset"]
        if us["typed"]:
            again = quantity_in(f"{shown:.12g}{us['typed']}", unit)
            assert again == pytest.approx(value, rel=1e-9, abs=1e-9), name


def test_what_may_be_typed_is_what_is_read(told):
    for name, field in told["fields"].items():
        for spelling, (factor, offset) in field.get("spellings", {}).items():
            unit = unit_of_key(name)
            assert quantity_in(f"7{spelling}", unit) == pytest.approx(7.0 * factor + offset, rel=1e-9, abs=1e-9), name


def test_what_a_switch_and_a_choice_offer_can_be_read(told):
    for name, field in told["fields"].items():
        if name not in told["usual"] or field["kind"] not in ("switch", "choice", "several"):
            continue
        offered = {"switch": ["true", "false"], "several": ['["rear"]', "[]"]}.get(field["kind"])
        table, _, key = name.partition(".")
        for value in offered or [choice[0] for choice in field["choices"]]:
            inputs = read_setup(Setup(settings="defaults", changes={name: value}))
            whole = inputs.settings if hasattr(inputs.settings, table) else inputs.truck.truck
            kept = getattr(getattr(whole, table), key)
            kept = json.dumps(kept) if offered else str(kept)
            assert kept == value, name


def test_the_catalogue_is_there_whole_with_its_values(told):
    assert sorted(told["trucks"]) == list_trucks() and sorted(told["roads"]) == list_routes()
    assert sorted(told["settings"]) == sorted(["defaults", *list_settings()])
    assert (
        told["trucks"]["long-haul-empty"]["values"]["vehicle.mass_kg"]
        == load_truck("long-haul-empty").truck.vehicle.mass_kg
    )
    for name in list_settings():
        file = load_settings_file(name)
        about = told["settings"][name]
        assert about["road"] == file.road
        for key, value in about["values"].items():
            table, last = key.split(".")
            kept = getattr(getattr(file.settings, table), last)
            assert value == (list(kept) if isinstance(kept, tuple) else kept)


def test_drills_and_start_conditions_are_within_reach():
    shown = {key for keys in GROUPS.values() for key in keys}
    for table in ("drill", "start"):
        assert {f"{table}.{key}" for table_, key in keys_of(Settings) if table_ == table} <= shown | {"start.pressure"}
    assert {"vehicle.mass_kg", "retarding.selector", "cruise.set_speed_km_h", "weather.grip"} <= shown
    known = set(described()["fields"])
    assert shown <= known


@pytest.mark.parametrize(
    "setup",
    [
        Setup(),
        Setup(
            truck="long-haul-empty",
            road="grade:-6%,10km,1100m",
            settings="defaults",
            changes={"vehicle.mass_kg": "40000lb"},
        ),
        Setup(changes={"cruise.presses": '["2.5 km tap up", "3 km cancel"]', "drill.dead_pairs": '["middle"]'}),
        Setup(
            road="upload:0123456789abcdef0123456789abcdef",
            changes={"weather.temperature_c": "-5 C", "start.speed_km_h": "0"},
        ),
    ],
)
def test_a_link_reopens_exactly_its_setup(setup):
    assert setup_from_query("?" + query_of(setup)) == setup
    assert (
        setup_of(
            json.loads(
                json.dumps({**{w: getattr(setup, w) for w in ("truck", "road", "settings")}, "changes": setup.changes})
            )
        )
        == setup
    )


def test_a_page_s_own_keys_in_a_link_are_left_alone():
    assert setup_from_query("?view=class&truck=long-haul-empty") == Setup(truck="long-haul-empty")


def test_a_value_with_a_unit_is_the_value_in_the_unit_of_the_file():
    inputs = read_setup(Setup(changes={"vehicle.mass_kg": "80000lb", "start.speed_km_h": "40 mph"}))
    assert inputs.truck.truck.vehicle.mass_kg == pytest.approx(36_287.4, abs=0.05)
    assert inputs.settings.start.speed_km_h == pytest.approx(64.37, abs=0.01)


def test_a_panel_is_named_and_carries_its_setup_in_its_store():
    made = panel("trip", GROUPS, "?truck=long-haul-empty&drill.style=drag").to_plotly_json()["props"]
    assert made["aria-label"]
    store = made["children"][0]
    assert store.id == "trip-setup" and store.data["truck"] == "long-haul-empty"
    assert store.data["changes"] == {"drill.style": "drag"}


def test_labels_are_words():
    assert label_of("vehicle.rolling_growth_s_per_m") == "rolling growth"
    assert field_of(Settings, "drill", "style")["choices"][0][0] == "snub"
