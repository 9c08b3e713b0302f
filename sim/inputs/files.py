"""Reads truck and settings files, applies changes from the command line, and says clearly what is wrong with them."""

import contextlib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, time
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from sim.errors import HaulbenchError, SettingsError, SpecError
from sim.inputs.specs import Part, Settings, Truck, keys_of
from sim.messages import settings as settings_messages
from sim.messages import trucks
from sim.messages import values as value_messages
from sim.reading import is_there, read_toml
from sim.units import SYSTEMS, beside, key_shown, key_value, quantity_in, unit_name, unit_of_key, whole_number_in

NOT_STATED = "not stated"
CATALOGUE = Path(__file__).parents[1] / "catalogue"
SETTINGS_CATALOGUE = CATALOGUE / "settings"
SETTINGS_TEXTS = {
    "title": "what these settings show, in one line",
    "road": "the road they are meant for: a name, a CSV file beside this one, or grade:-6%,10km,1100m",
    "truck": "the truck they are meant for: a name, or a TOML file beside this one",
    "task": "what to look for when trips with them are compared",
}


@dataclass(frozen=True)
class TruckFile:
    """A truck with the source of each of its numbers."""

    name: str
    truck: Truck
    sources: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class SettingsFile:
    """Settings with what they are for; an empty text says nothing."""

    name: str
    title: str
    road: str
    truck: str
    task: str
    vary: tuple[str, ...]
    settings: Settings


def list_trucks() -> list[str]:
    """Names of the shipped trucks, sorted."""
    return sorted(path.stem for path in CATALOGUE.glob("*.toml"))


def load_truck(name: str, changes: Sequence[str] = ()) -> TruckFile:
    """A truck from the catalogue or from a file, with changes.

    Parameters
    ----------
    name : str
        Catalogue name or path of a TOML file.
    changes : sequence of str
        `table.key=value`, each for a key of the truck. A new mass without new axle loads is spread over the axles as the
        old one was.

    Raises
    ------
    SpecError
        Not found, or a table, key or value is wrong; the message names it.
    """
    values, sources = _read_truck(name, ())
    return _changed_truck(name, values, sources, changes)


def changed_truck(file: TruckFile, changes: Sequence[str]) -> TruckFile:
    """A truck that is loaded already, with changes.

    Parameters
    ----------
    changes : sequence of str
        As in `load_truck`.

    Returns
    -------
    file : TruckFile
        A new one; the same one without changes.

    Raises
    ------
    SpecError
        A key or value is wrong; the message names it.
    """
    if not changes:
        return file
    return _changed_truck(file.name, file.truck.model_dump(), dict(file.sources), changes)


def changed_settings(settings: Settings, changes: Sequence[str]) -> Settings:
    """Settings that are loaded already, with changes.

    Parameters
    ----------
    changes : sequence of str
        `table.key=value`, each for a key of the settings.

    Returns
    -------
    settings : Settings
        New ones; the same ones without changes.

    Raises
    ------
    SettingsError
        A key or value is wrong; the message names it.
    """
    if not changes:
        return settings
    values = settings.model_dump()
    given = _apply(Settings, values, changes, SettingsError)
    changed: Settings = _validated(Settings, values, "settings", SettingsError, given)
    return changed


def _changed_truck(name: str, values: dict[str, Any], sources: dict[str, str], changes: Sequence[str]) -> TruckFile:
    """Applies changes to the values of a truck and checks the whole."""
    vehicle = values.get("vehicle")
    before = vehicle.get("mass_kg") if isinstance(vehicle, dict) else None
    given = _apply(Truck, values, changes, SpecError)
    sources |= dict.fromkeys(given, "changed for this trip")
    loads = [f"{group}_load_kg" for group in ("steer", "drive", "trailer")]
    if "vehicle.mass_kg" in given and not any(f"vehicle.{load}" in given for load in loads):
        vehicle = values["vehicle"]
        numbers = [before, vehicle["mass_kg"], *(vehicle.get(load) for load in loads)]
        if all(type(number) in (int, float) for number in numbers) and before:
            for load in loads:
                vehicle[load] *= vehicle["mass_kg"] / before
                sources[f"vehicle.{load}"] = "spread as before, for the changed mass"
    return TruckFile(Path(name).stem, _validated(Truck, values, name, SpecError, given), sources)


def _apply(
    model: type[Part], values: dict[str, Any], changes: Sequence[str], error: type[HaulbenchError]
) -> dict[str, str]:
    """Writes changes into the values of a file; returns each change by the key it is for."""
    given = {}
    for change in changes:
        table, key, value = parse_change(change, error, model)
        if not isinstance(values.setdefault(table, {}), dict):
            raise error(value_messages.value_where_table_belongs(change=change, table=table))
        values[table][key] = value
        given[f"{table}.{key}"] = change
    return given


def _read_truck(name: str, seen: tuple[str, ...]) -> tuple[dict[str, Any], dict[str, str]]:
    """Values and sources of a truck file, on top of the truck it is based on."""
    path = _truck_path(name)
    data = read_toml(path, SpecError)
    values: dict[str, Any] = {}
    sources: dict[str, str] = {}
    base = data.pop("based_on", None)
    if base is not None:
        if not isinstance(base, str) or base in seen or len(seen) > 8:
            raise SpecError(trucks.wrong_base(where=path, given=base))
        values, sources = _read_base(path, base, (*seen, path.stem))
    for table, content in data.items():
        if not isinstance(content, dict):
            values[table] = content
            continue
        part = values.setdefault(table, {})
        if not isinstance(part, dict):
            raise SpecError(trucks.table_over_value(where=path, table=table, base=base))
        for key, entry in content.items():
            value, source = entry, NOT_STATED
            if (
                isinstance(entry, list)
                and len(entry) == 2
                and isinstance(entry[1], str)
                and not isinstance(entry[0], str)
            ):
                value, source = entry
            part[key] = value
            sources[f"{table}.{key}"] = source
    return values, sources


def _read_base(path: Path, base: str, seen: tuple[str, ...]) -> tuple[dict[str, Any], dict[str, str]]:
    """The truck a file is based on: a shipped one, or a file beside it."""
    beside = path.parent / base
    try:
        return _read_truck(str(beside) if base.lower().endswith(".toml") else base, seen)
    except SpecError as problem:
        raise SpecError(trucks.base_cannot_be_used(where=path, problem=str(problem))) from None


def _truck_path(name: str) -> Path:
    """Where a truck's file is."""
    path = Path(name)
    known = list_trucks()
    if name in known:
        return CATALOGUE / f"{name}.toml"
    if path.suffix.lower() == ".toml" or is_there(path):
        return path
    near = get_close_matches(name, known, n=3, cutoff=0.4)
    raise SpecError(trucks.no_such_truck(name=name, near=near, known=known))


def list_settings() -> list[str]:
    """Names of the shipped settings, sorted."""
    return sorted(path.stem for path in SETTINGS_CATALOGUE.glob("*.toml"))


def load_settings(name: str | None = None, changes: Sequence[str] = ()) -> Settings:
    """Settings from the catalogue, from a file, or the defaults, with changes.

    Parameters
    ----------
    name : str or None
        Catalogue name or path of a TOML file; None for the defaults.
    changes : sequence of str
        `table.key=value`, each for a key of the settings.

    Raises
    ------
    SettingsError
        Not found, or the file, a table, a key or a value is wrong; the message names it.
    """
    return load_settings_file(name, changes).settings


def load_settings_file(name: str | None = None, changes: Sequence[str] = ()) -> SettingsFile:
    """Settings with the road and the truck they are meant for.

    Parameters
    ----------
    name : str or None
        Catalogue name or path of a TOML file; None for the defaults, which are for any road and truck.
    changes : sequence of str
        `table.key=value`, each for a key of the settings.

    Raises
    ------
    SettingsError
        Not found, or the file, a text, a table, a key or a value is wrong; the message names it.

    Notes
    -----
    A road that ends in .csv and a truck that ends in .toml are files beside the settings file.
    """
    path = _settings_path(name) if name else None
    values = read_toml(path, SettingsError) if path else {}
    texts = dict.fromkeys(SETTINGS_TEXTS, "")
    for key, meaning in SETTINGS_TEXTS.items():
        if key not in values:
            continue
        text = values.pop(key)
        if not isinstance(text, str) or not text.strip():
            raise SettingsError(
                settings_messages.not_a_text(where=str(name), key=key, given=_shown(text), meaning=meaning)
            )
        texts[key] = text.strip()
    if path:
        for key, ending in (("road", ".csv"), ("truck", ".toml")):
            if texts[key].lower().endswith(ending):
                texts[key] = str(path.parent / texts[key])
    vary = _read_list_of_changes(values.pop("vary", []), name)
    given = _apply(Settings, values, changes, SettingsError)
    settings = _validated(Settings, values, name or "settings", SettingsError, given)
    return SettingsFile(Path(name).stem if name else "", **texts, vary=vary, settings=settings)


def _read_list_of_changes(found: Any, name: str | None) -> tuple[str, ...]:
    """What a comparison with these settings varies, when nothing else is asked for."""
    if not isinstance(found, list) or not all(isinstance(text, str) and "=" in text for text in found):
        raise SettingsError(settings_messages.not_a_list_of_changes(where=str(name), given=str(found)))
    return tuple(found)


def _settings_path(name: str) -> Path:
    """Where a settings file is."""
    path = Path(name)
    known = list_settings()
    if name in known:
        return SETTINGS_CATALOGUE / f"{name}.toml"
    if path.suffix.lower() == ".toml" or is_there(path):
        return path
    near = get_close_matches(name, known, n=3, cutoff=0.4)
    raise SettingsError(settings_messages.no_such_settings(name=name, near=near, known=known))


def split_changes(changes: Sequence[str]) -> tuple[list[str], list[str]]:
    """Sorts changes into those of the truck and those of the settings.

    Parameters
    ----------
    changes : sequence of str
        `table.key=value`.

    Raises
    ------
    SettingsError
        A change has no `=`, or its table or key does not exist; the message names the nearest right ones.
    """
    truck_keys = {f"{table}.{key}" for table, key in keys_of(Truck)}
    settings_keys = {f"{table}.{key}" for table, key in keys_of(Settings)}
    truck, settings = [], []
    for change in changes:
        name = change.partition("=")[0].strip()
        if "=" not in change or not name:
            raise SettingsError(value_messages.no_equals_sign(change=change))
        if name in truck_keys:
            truck.append(change)
        elif name in settings_keys:
            settings.append(change)
        else:
            raise SettingsError(_unknown_key(change, name, truck_keys | settings_keys))
    return truck, settings


def _unknown_key(where: str, name: str, known: set[str]) -> str:
    """Says which keys are most like a wrong one."""
    near = get_close_matches(name, sorted(known), n=3, cutoff=0.5)
    last = name.rpartition(".")[2]
    near += [key for key in sorted(known) if key.rpartition(".")[2].startswith(last) and key not in near][:2]
    tables = sorted({key.partition(".")[0] for key in known})
    return value_messages.no_such_key(where=where, key=name, near=near[:3], tables=tables)


def parse_change(change: str, error: type[HaulbenchError], model: type[Part]) -> tuple[str, str, Any]:
    """Reads `table.key=value`; the value may carry a unit.

    Parameters
    ----------
    change : str
        For example `start.speed_km_h=60mph`.
    error : type
        Raised when the value cannot be read.
    model : type
        `Truck` or `Settings`, for the range in the message.

    Returns
    -------
    value : float, str, bool or list
        In the unit of the key.

    Raises
    ------
    HaulbenchError
        Of the type given.
    """
    name, _, text = change.partition("=")
    table, _, key = name.strip().partition(".")
    text = text.strip()
    unit = unit_of_key(key)
    if _takes_text(model, table, key):
        return table, key, text
    if text.lower() in ("true", "false"):
        return table, key, text.lower() == "true"
    if text.startswith("["):
        try:
            return table, key, tomllib.loads(f"x = {text}")["x"]
        except tomllib.TOMLDecodeError:
            raise error(value_messages.not_a_list(change=change, text=text)) from None
        except (ValueError, RecursionError):
            raise error(value_messages.list_too_deep(change=change)) from None
    try:
        value: Any = quantity_in(text, unit)
    except ValueError as problem:
        if text and not text[0].isdigit() and text[0] not in "+-.":
            return table, key, text
        raise error(
            value_messages.change_not_read(
                change=change, problem=str(problem), allowed=_allowed(model, [table, key], "", {})
            )
        ) from None
    with contextlib.suppress(ValueError):
        return table, key, value if unit else whole_number_in(text)
    return table, key, value


def _takes_text(model: type[Part], table: str, key: str) -> bool:
    """True for a key whose value is any text, such as a name; it may begin with a digit."""
    part = model.model_fields.get(table)
    info = getattr(part.annotation, "model_fields", {}).get(key) if part else None
    return info is not None and info.annotation is str


def _validated(
    model: type[Any], values: dict[str, Any], where: str, error: type[HaulbenchError], given: dict[str, str]
) -> Any:
    """Builds a model, or says which table, key and value are wrong and what is allowed."""
    try:
        return model.model_validate(values)
    except ValidationError as problem:
        raise error(
            value_messages.several(sentences=(_sentence(model, where, item, given) for item in problem.errors()[:5]))
        ) from None


def _sentence(model: type[Part], where: str, item: Any, given: dict[str, str]) -> str:
    """One validation problem in words."""
    place = [str(part) for part in item["loc"]]
    name = ".".join(place[:2]) if place else ""
    known = {f"{table}.{key}" for table, key in keys_of(model)}
    kind, value, context = item["type"], item.get("input"), item.get("ctx", {})
    if name in given:
        where = given[name]
    if kind == "missing":
        return value_messages.missing(where=where, key=name)
    if kind == "extra_forbidden":
        if len(place) == 1:
            inside = sorted(key for key in known if key.endswith(f".{name}"))
            texts = list(SETTINGS_TEXTS) if model is Settings else []
            return value_messages.no_such_table(
                where=where, table=name, near=inside, tables=list(model.model_fields), texts=texts
            )
        return _unknown_key(where, name, known)
    if kind == "value_error":
        return value_messages.do_not_fit(where=where, part=name, problem=str(context["error"]))
    allowed = _allowed(model, place, kind, context)
    return value_messages.not_allowed(where=where, key=name, given=_shown(value), allowed=allowed)


def _shown(value: Any) -> str:
    """A value of a TOML file as people write it."""
    return "a table" if isinstance(value, dict) else str(value) if isinstance(value, date | time) else repr(value)


def _allowed(
    model: type[BaseModel], place: list[str], kind: str, context: dict[str, Any], units: str = "metric"
) -> str:
    """What a key takes, in the units of its file or of a reader."""
    part: Any = model
    for step in place[:-1]:
        annotation = getattr(part, "model_fields", {}).get(step)
        part = annotation.annotation if annotation else None
    info = getattr(part, "model_fields", {}).get(place[-1]) if place else None
    if kind == "literal_error":
        return value_messages.one_of(expected=context["expected"])
    if kind == "too_short":
        return value_messages.list_too_short(least=context["min_length"])
    if kind == "too_long":
        return value_messages.list_too_long(most=context["max_length"])
    if info is None:
        return _allowed_inside(model, place)
    meaning = info.description or "a table"
    if info.annotation is bool:
        return value_messages.true_or_false(meaning=meaning)
    bounds = {type(entry).__name__: entry for entry in info.metadata}
    low, high = getattr(bounds.get("Ge"), "ge", None), getattr(bounds.get("Le"), "le", None)
    if low is None or high is None:
        if "tuple" in str(info.annotation):
            return value_messages.a_list(meaning=meaning)
        return value_messages.a_text(meaning=meaning)
    systems = SYSTEMS if units == "both" else (units,)
    ends = [[f"{key_value(float(end), place[-1], system):g}" for end in (low, high)] for system in systems]
    within = [
        f"{' to '.join(pair)} {key_shown(place[-1], system)[0]}".strip()
        for pair, system in zip(ends, systems, strict=True)
    ]
    return value_messages.a_range(within=beside(within[0], within[-1]), whole=info.annotation is int, meaning=meaning)


def _allowed_inside(model: type[BaseModel], place: list[str]) -> str:
    """What a value of a list must be, in the unit of its key."""
    table, key = place[:2]
    field = model.model_fields[table].annotation.model_fields[key]  # type: ignore[union-attr]
    kind = get_args(field.annotation)[0]
    while get_args(kind) and get_args(kind)[0] is not float:
        kind = get_args(kind)[0]
    bounds = {type(entry).__name__: entry for info in get_args(kind)[1:] for entry in info.metadata}
    if not bounds:
        return value_messages.a_list(meaning=field.description or "")
    unit = unit_of_key(key)
    return value_messages.each_in_range(low=bounds["Ge"].ge, high=bounds["Le"].le, unit=unit_name(unit) if unit else "")


def described_keys(model: type[Part], units: str) -> list[tuple[str, str, str]]:
    """Every key of a file with its default, and what it takes and means.

    Parameters
    ----------
    model : type
        `Truck` or `Settings`.
    units : str
        metric, us, or both: values and bounds are shown in these.

    Returns
    -------
    rows : list of (str, str, str)
        `table.key`, default ("" where a value must be given), and the rest in words, with the mark of the default where it has one.
    """
    rows = []
    for table, key in keys_of(model):
        info = model.model_fields[table].annotation.model_fields[key]  # type: ignore[union-attr]
        systems = SYSTEMS if units == "both" else (units,)
        shown = ["" if info.is_required() else str(key_value(info.default, key, system)) for system in systems]
        default = beside(shown[0], shown[-1])
        default = default.lower() if info.annotation is bool else default
        if info.is_required() or "Literal" not in str(info.annotation) or "tuple" in str(info.annotation):
            words = _allowed(model, [table, key], "", {}, units)
        else:
            words = f"{', '.join(get_args(info.annotation))} ({info.description})"
        words = words.removeprefix("allowed is ").removeprefix("give ")
        if info.json_schema_extra:
            words += f" [{info.json_schema_extra['mark']}]"
        rows.append((f"{table}.{key}", default.replace("()", "[]"), words))
    return rows
