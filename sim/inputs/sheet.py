"""Every value that can be programmed into the controller, before and after a change, with its range: a record to sign."""

from typing import Any, NamedTuple

from sim.inputs.specs import Settings, Truck
from sim.units import SYSTEMS, beside, key_shown, key_value, unit_of_key

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
    """One line of the sheet: values in the unit in which the key ends, and their bounds or choices."""

    key: str
    old: Any
    new: Any
    unit: str
    allowed: tuple[Any, ...]
    meaning: str

    @property
    def changed(self) -> bool:
        """Whether old and new differ. [-]"""
        return bool(self.old != self.new)

    def words(self, units: str) -> tuple[str, ...]:
        """Key, old, new, unit, what is allowed and meaning, for readers of a system of units, or of both.

        Examples
        --------
        >>> Entry("road_speed.limit_km_h", 0.0, 105.0, "km_h", (0.0, 140.0), "0 for none").words("us")
        ('road_speed.limit_km_h', '0', '65.244', 'mi/h', '0 to 86.992', '0 for none')
        """
        systems = SYSTEMS if units == "both" else (units, units)

        def text(value: Any) -> str:
            if isinstance(value, bool | str):
                return str(value).lower()
            return beside(*(f"{key_value(value, self.key, system):g}" for system in systems))

        allowed = (" to " if isinstance(self.allowed[0], float) else ", ").join(map(text, self.allowed))
        unit = beside(*(key_shown(self.key, system)[0] for system in systems))
        return self.key, text(self.old), text(self.new), unit, allowed, self.meaning


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
            allowed: tuple[Any, ...] = getattr(info.annotation, "__args__", ())
            if info.annotation is bool:
                allowed = (True, False)
            elif "Ge" in bounds:
                allowed = (float(bounds["Ge"].ge), float(bounds["Le"].le))
            values = (getattr(old, key), getattr(new, key))
            found.append(Entry(f"{table}.{key}", *values, unit_of_key(key), allowed, info.description or ""))
    return found
