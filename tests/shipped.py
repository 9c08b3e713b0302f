"""Every trip that is shipped: the settings files with each value they vary, and every truck on every road."""

from sim import list_routes, list_settings, list_trucks, load_settings_file
from sim.inputs.one_trip import Inputs, read_inputs
from sim.trips.compare import read_vary

QUICK = ("lesson-downshift", "lesson-cruise cruise.set_speed_km_h=48")  # a few that are done at once


def _of_a_file(name: str) -> list[tuple[str, ...]]:
    """A settings file as it is and with each of its values; a value that names other settings is one of theirs."""
    vary = read_vary(load_settings_file(name).vary)
    return [(), *((f"{key}={value}",) for key, given in vary.items() if key != "settings" for value in given)]


LESSONS = {
    " ".join((name, *changes)): (None, None, name, changes) for name in list_settings() for changes in _of_a_file(name)
}
DRIVES = {f"{truck} on {road}": (road, truck, None, ()) for truck in list_trucks() for road in list_routes()}
SHIPPED = LESSONS | DRIVES


def inputs_of(label: str, *changes: str) -> Inputs:
    """Truck, road and settings of a shipped trip, and more changes."""
    road, truck, settings, own = SHIPPED[label]
    return read_inputs(road, truck, settings, (*own, *changes))
