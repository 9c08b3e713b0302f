"""What one trip is driven with, put together from names: settings, and the road and truck they may be meant for."""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sim.errors import HaulbenchError, SettingsError
from sim.inputs.files import TruckFile, load_settings_file, load_truck, split_changes
from sim.inputs.specs import Settings
from sim.messages import settings as settings_messages
from sim.roads.route import Place, Route, load_route


@dataclass(frozen=True)
class Inputs:
    """Truck, road and settings of one trip, read and checked."""

    truck: TruckFile
    route: Route
    settings: Settings


def read_inputs(
    route: str | None = None,
    truck: str | None = None,
    settings: str | None = None,
    changes: Sequence[str] = (),
    otherwise: tuple[str, str] = ("", ""),
) -> Inputs:
    """Truck, road and settings of a trip; a road or truck that is asked for wins over that of the settings file.

    Parameters
    ----------
    route : str or None
        Road asked for; None for that of the settings file.
    truck : str or None
        Truck asked for; None for that of the settings file.
    settings : str or None
        Catalogue name or path of a settings file; None for the defaults.
    changes : sequence of str
        `table.key=value`, of truck or settings.
    otherwise : tuple of str
        Road and truck when neither is asked for nor named by the settings; empty for none.

    Raises
    ------
    HaulbenchError
        Something is not found or cannot be used; the message names the settings file when the name stands there.
    """
    truck_changes, settings_changes = split_changes(changes)
    file = load_settings_file(settings, settings_changes)
    if file.truck and not truck:
        _checked(str(settings), "truck", load_truck, file.truck)
    if file.road and not route:
        _checked(str(settings), "road", load_route, file.road)
    chosen_truck = truck or file.truck or otherwise[1]
    chosen_route = route or file.road or otherwise[0]
    for name, what in ((chosen_truck, "truck"), (chosen_route, "road")):
        if not name:
            raise SettingsError(settings_messages.nothing_named(what=what))
    return Inputs(load_truck(chosen_truck, truck_changes), load_route(chosen_route), file.settings)


def key_of(inputs: Inputs) -> str:
    """The content address of a trip: equal for equal inputs and an equal model, and for nothing else.

    Returns
    -------
    key : str
        32 hexadecimal digits.
    """
    from sim.compiled import MODEL_VERSION

    truck, road = inputs.truck, inputs.route
    words: list[Any] = [
        MODEL_VERSION,
        truck.truck.model_dump(mode="json"),
        truck.sources,
        inputs.settings.model_dump(mode="json"),
    ]
    words += [road.name, road.title, road.source, road.marks, road.start_elevation]
    words += [[[place.distance, place.value, place.text] for place in kind] for kind in _places(road)]
    digest = hashlib.blake2b(json.dumps(words, sort_keys=True).encode(), digest_size=16)
    for column in (road.distance, road.grade, road.slope, road.wind):
        digest.update(column.tobytes())
    return digest.hexdigest()


def _places(road: Route) -> tuple[tuple[Place, ...], ...]:
    """Everything that stands at one point of a road."""
    return road.limits, road.stops, road.signs, road.curves


def _checked(where: str, what: str, load: Callable[[str], object], name: str) -> None:
    """Says where a name stands that cannot be loaded."""
    try:
        load(name)
    except HaulbenchError as problem:
        raise type(problem)(settings_messages.named_in_settings(where=where, what=what, problem=str(problem))) from None
