"""Every value that can be programmed into the controller, before and after a change, with its range: a record to sign."""

from typing import Any, NamedTuple

from sim.inputs.specs import Settings, Truck
from sim.units import unit_name, unit_of_key

# tables, or single keys of a table, that a service tool would let a shop change; the rest is hardware, road, driver or drill
PROGRAMMABLE: dict[str, tuple[str, ...]] = {
    "speedometer": ("programmed_pulses_per_mile",),
    "engine": ("low_idle_rpm", "governed_rpm", "high_idle_rpm"),
    "cooling": ("fan_on_c", "fan_off_c", "fan_least_s"),
    "cruise": (),
    "retarding": (),
    "fan": (),
    "road_speed": (),
    "shifting": (),
}
OF_THE_DRIVER = {
    "cruise": ("switch", "set_speed_km_h", "presses", "key_on_check"),
    "retarding": ("switch", "selector"),
    "fan": ("override",),
}


class Entry(NamedTuple):
    """One line of the sheet."""

    key: str
    old: Any
    new: Any
    unit: str
    allowed: str
    meaning: str

    @property
    def changed(self) -> bool:
        """Whether old and new differ. [-]"""
        return bool(self.old != self.new)


def settings_sheet(before: tuple[Truck, Settings], after: tuple[Truck, Settings]) -> list[Entry]:
    """The sheet.

    Returns
    -------
    entries : list of Entry
        Every programmable value, changed or not.

    Examples
    --------
    >>> from sim import load_settings, load_truck
    >>> truck = load_truck("long-haul-manual").truck
    >>> new = load_settings(None, ["road_speed.limit_km_h=105"])
    >>> [entry.key for entry in settings_sheet((truck, load_settings()), (truck, new)) if entry.changed]
    ['road_speed.limit_km_h']
    """
    found = []
    for table, keys in PROGRAMMABLE.items():
        old, new = (next(part for part in pair if table in type(part).model_fields) for pair in (before, after))
        old, new = getattr(old, table), getattr(new, table)
        fields = type(old).model_fields
        for key in keys or [key for key in fields if key not in OF_THE_DRIVER.get(table, ())]:
            info = fields[key]
            bounds = {type(entry).__name__: entry for entry in info.metadata}
            low, high = getattr(bounds.get("Ge"), "ge", None), getattr(bounds.get("Le"), "le", None)
            if info.annotation is bool:
                allowed = "true, false"
            elif low is not None:
                allowed = f"{low:g} to {high:g}"
            else:
                allowed = ", ".join(getattr(info.annotation, "__args__", ()))
            unit = unit_of_key(key)
            found.append(
                Entry(
                    f"{table}.{key}",
                    getattr(old, key),
                    getattr(new, key),
                    unit_name(unit) if unit else "",
                    allowed,
                    info.description or "",
                )
            )
    return found
