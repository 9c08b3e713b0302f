"""What the inputs of a panel are, told by the models that also check files: label, unit, range, default, meaning.

Pure functions; the browser gets their answer once and builds its inputs from it.
"""

from functools import lru_cache
from math import isclose
from typing import Any, get_args, get_origin

from sim.inputs.files import list_settings, list_trucks, load_settings_file, load_truck
from sim.inputs.sensors import FAILURES, NAMES, SENSORS, failures_of, size_unit
from sim.inputs.specs import Part, Settings, Truck, keys_of
from sim.roads.route import list_routes, load_route
from sim.units import from_si, key_shown, spellings, to_si, unit_name, unit_of_key

# words for keys whose name alone does not say enough; all others are the key without its unit
LABELS = {
    "vehicle.mass_kg": "gross mass",
    "vehicle.drag_area_m2": "drag area",
    "driveline.axle_ratio": "axle ratio",
    "start.gear": "gear at the start",
    "start.speed_km_h": "speed at the start",
    "start.brake_temperature_c": "brakes at the start",
    "start.oil_temperature_c": "oil at the start",
    "start.coolant_temperature_c": "coolant at the start",
    "weather.temperature_c": "air temperature",
    "weather.wind_m_s": "wind from ahead",
    "weather.grip": "grip of the road",
    "weather.pressure_kpa": "air pressure",
    "cruise.switch": "cruise control",
    "cruise.with_engine_brake": "cruise calls the engine brake",
    "cruise.stage_1_over_km_h": "stage 1 comes in, over the set speed",
    "cruise.stage_2_over_km_h": "stage 2 comes in, over the set speed",
    "cruise.stage_3_over_km_h": "stage 3 comes in, over the set speed",
    "cruise.stage_drop_km_h": "a stage goes out, lower by",
    "cruise.none_above_km_h": "fuel ends, over the set speed",
    "drill.hold_gear": "hold one gear",
    "drill.hold_stage": "hold one stage",
    "drill.service_brakes": "service brakes may be used",
    "drill.style": "how the driver brakes",
    "drill.careless": "careless driver",
    "drill.neutral": "coast out of gear",
    "drill.dead_pairs": "dead pairs of cylinders",
    "drill.missed_shift": "missed shift, number",
    "driver.descent_gear": "gear before a descent",
    "driver.descent_km_h": "speed on a descent",
    "driver.desired_speed_km_h": "speed where nothing is posted",
    "driver.speed_limit_share": "share of the posted limit",
    "retarding.switch": "engine brake",
    "retarding.selector": "highest stage",
    "retarding.waits_for_brake": "wait for the service brake",
    "road_speed.limit_km_h": "road-speed limit",
    "speedometer.programmed_pulses_per_mile": "pulses told",
    "speedometer.tone_wheel_teeth": "teeth of the tone wheel",
    "tyres.rolling_radius_m": "tyre, rolling radius",
    "dyno.form": "what is held",
    "dyno.gear": "gear on the rollers",
    "dyno.rate_rpm_per_s": "rate of the sweep",
    "dyno.both_ways": "and back up again",
    "dyno.step_rpm": "settled steps",
    "dyno.step_s": "time at each step",
    "dyno.lowest_rpm": "the run ends at",
    "dyno.band_percent": "band about the reference",
    "dyno.correction": "power correction for air",
    "dyno.pedal_percent": "pedal on the rising road",
    "dyno.load_step_percent": "load put on and off",
    "dyno.accessory_step_kw": "load switched on at idle",
    "condition.intake_restriction_kpa": "air filter restricts",
    "condition.charge_leak_cm2": "hole in the charge-air hose",
    "condition.cooler_fouling_percent": "charge cooler fouled by",
    "condition.turbocharger_wear_percent": "compressor worn by",
    "condition.waste_gate": "waste gate",
    "condition.fuel_restriction_kpa": "fuel filter plugged by",
    "condition.air_in_fuel_percent": "air in the fuel",
    "condition.ring_leak_percent": "piston rings leak",
    "condition.fuel_delivery_percent": "fuel delivered",
    "condition.governor_early_rpm": "governor acts early by",
    "condition.governor_lag_s": "governor answers late by",
    "condition.exhaust_restriction_kpa": "exhaust restricts",
    "condition.dead_cylinders": "cylinders without fuel",
    "fan.override": "fan always on",
    "fan.with_engine_brake": "fan on with the engine brake",
}

# the words of a choice where the value alone does not say enough
CHOICES: dict[str, dict[Any, str]] = {
    "retarding.selector": {1: "1, low", 2: "2, medium", 3: "3, high"},
    "drill.hold_stage": {-1: "no, by the switches", 0: "0, off", 1: "1, low", 2: "2, medium", 3: "3, high"},
    "drill.style": {"snub": "snubs: on and off", "drag": "drags: lightly all the way"},
}

TABLES = {
    "start": "At the start", "weather": "Weather and road surface", "cruise": "Cruise control", "drill": "Drills",
    "driver": "Driver", "retarding": "Engine brake: programmed", "fan": "Fan", "road_speed": "Road-speed limit",
    "shifting": "Shifting", "fuel": "Fuel", "simulation": "Clock and log", "vehicle": "Vehicle and load", "tyres": "Tyres",
    "engine": "Engine", "air_path": "Air path of the engine", "engine_brake": "Engine brake: as built",
    "gearbox": "Gearbox", "driveline": "Clutch and axle",
    "steer_brakes": "Brakes, steer axle", "drive_brakes": "Brakes, drive axles", "trailer_brakes": "Brakes, trailer",
    "drums": "Brake drums", "cooling": "Cooling and fan", "accessories": "Accessories", "speedometer": "Speedometer",
    "condition": "Wear and faults of the engine", "faults": "Failures on the way", "circuits": "Dialled-in values and meters",
    "dyno": "On the dyno",
}  # fmt: skip


def label_of(name: str) -> str:
    """What a key is called on a page.

    Parameters
    ----------
    name : str
        `table.key`.

    Examples
    --------
    >>> label_of("vehicle.mass_kg"), label_of("cruise.set_speed_km_h"), label_of("cooling.fan_kw_per_k_per_1000_rpm")
    ('gross mass', 'set speed', 'fan')
    """
    if name in LABELS:
        return LABELS[name]
    key = name.partition(".")[2]
    first = key.partition("_per_")[0]
    unit = unit_of_key(first) if "_per_" not in key else unit_of_key(f"_{first}")
    piece = f"_{unit}"
    short = first.removesuffix(piece) if unit and first.endswith(piece) else first
    if "_per_" in key and short == first:
        short = next((first.removesuffix(end) for end in ("_kj", "_mj", "_kn", "_kw", "_w", "_g", "_mm2", "_n_m_s")
                      if first.endswith(end)), first)  # fmt: skip
    return short.replace("_", " ")


def field_of(model: type[Part], table: str, key: str) -> dict[str, Any]:
    """One key of a file as an input.

    Parameters
    ----------
    model : type
        `Truck` or `Settings`.

    Returns
    -------
    field : dict
        key, label, meaning, kind (number, whole, switch, choice, several, list, text), unit, us (unit, factor and offset from
        that of the file, how it is typed if it may be), spellings of units with factor and offset to that of the file, low,
        high, choices.
    """
    info = model.model_fields[table].annotation.model_fields[key]  # type: ignore[union-attr]
    name, unit = f"{table}.{key}", unit_of_key(key)
    field: dict[str, Any] = {"key": name, "label": label_of(name), "meaning": info.description or "",
                             "unit": key_shown(key, "metric")[0]}  # fmt: skip
    bounds = {type(entry).__name__: entry for entry in info.metadata}
    low, high = getattr(bounds.get("Ge"), "ge", None), getattr(bounds.get("Le"), "le", None)
    kind = "text"
    if info.annotation is bool:
        kind = "switch"
    elif name in CHOICES and info.annotation is int:
        kind, field["choices"] = "choice", [[str(value), text] for value, text in CHOICES[name].items()]
    elif low is not None and high is not None:
        kind, field["low"], field["high"] = "whole" if info.annotation is int else "number", low, high
    elif "tuple" in str(info.annotation):
        words = [get_args(each) for each in get_args(info.annotation) if "Literal" in str(each)]
        kind = "several" if words else "list"
        if words:
            field["choices"] = [[word, word] for word in words[0]]
    elif "Literal" in str(get_origin(info.annotation)) or get_args(info.annotation):
        texts = CHOICES.get(name, {})
        kind, field["choices"] = "choice", [[word, texts.get(word, word)] for word in get_args(info.annotation)]
    field["kind"] = kind
    if kind in ("number", "whole"):
        field["spellings"] = {spelling: _into(unit, other) for spelling, other in spellings(unit).items()}
    written, factor, offset = key_shown(key, "us")
    if written != field["unit"]:
        typed = (spelling for spelling, (size, start) in field.get("spellings", {}).items()
                 if isclose(size * factor, 1.0) and isclose(start * factor, -offset, abs_tol=1e-6))  # fmt: skip
        field["us"] = {"unit": written, "factor": factor, "offset": offset, "typed": next(typed, "")}
    return field


def _into(unit: str, other: str) -> tuple[float, float]:
    """Factor and offset from another unit into that of a file."""
    start = from_si(to_si(0.0, other), unit)
    return from_si(to_si(1.0, other), unit) - start, start


def _plain(value: Any) -> Any:
    """A value as JSON has it; lists stay lists."""
    return [_plain(each) for each in value] if isinstance(value, tuple) else value


def _values(part: Truck | Settings) -> dict[str, Any]:
    """All values of a truck or of settings by their keys."""
    return {f"{table}.{key}": _plain(getattr(getattr(part, table), key)) for table, key in keys_of(type(part))}


@lru_cache(maxsize=1)
def described() -> dict[str, Any]:
    """Everything a panel may offer.

    Returns
    -------
    described : dict
        fields by key; trucks, roads and settings by name, each with its title; trucks and settings with their values (of
        settings only those that differ from the defaults); names of tables; circuits.
    """
    fields = {
        f"{table}.{key}": field_of(model, table, key) for model in (Settings, Truck) for table, key in keys_of(model)
    }
    usual = _values(Settings())
    settings: dict[str, Any] = {
        "defaults": {"title": "nothing set: the defaults", "road": "", "truck": "", "values": {}}
    }
    for name in list_settings():
        file = load_settings_file(name)
        values = {key: value for key, value in _values(file.settings).items() if value != usual[key]}
        settings[name] = {"title": file.title, "road": file.road, "truck": file.truck, "values": values}
    trucks: dict[str, Any] = {}
    for name in list_trucks():
        truck = load_truck(name).truck
        trucks[name] = {"title": truck.name, "gears": len(truck.gearbox.ratios), "values": _values(truck)}
    roads: dict[str, Any] = {}
    for name in list_routes():
        route = load_route(name)
        roads[name] = {"title": route.title, "length_m": route.length}
    return {"fields": fields, "usual": usual, "trucks": trucks, "roads": roads, "settings": settings, "tables": TABLES,
            "circuits": circuits()}  # fmt: skip


def circuits() -> list[dict[str, Any]]:
    """The parts that can fail, be dialled in by hand, or have a meter put on.

    Returns
    -------
    parts : list of dict
        name; failures, each with the unit of its size ("" for none) and what it is; and of sensors and switches kind, unit
        of a value dialled in, and what it measures.
    """
    parts = []
    for key, name in NAMES.items():
        failures = []
        for failure in failures_of(key):
            unit = size_unit(key, failure)
            failures.append([failure, unit_name(unit) if unit else "", FAILURES[failure].says])
        part: dict[str, Any] = {"name": name, "failures": failures}
        if key in SENSORS:
            sensor = SENSORS[key]
            part |= {"kind": sensor.kind, "unit": unit_name(sensor.unit) if sensor.unit else "", "says": sensor.says}
        parts.append(part)
    return parts
