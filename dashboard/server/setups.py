"""A setup: what a student has chosen, as it comes over the network in a link or in a request, and how it is read.

Only names from the catalogue, constant grades and the addresses of uploaded roads are taken; a path never is. Every value goes
through the readers that files go through.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import parse_qsl, urlencode

from pydantic import BeforeValidator

from sim.errors import HaulbenchError, RouteError, SettingsError, SpecError
from sim.inputs import usual
from sim.inputs.files import (
    TruckFile,
    changed_truck,
    list_settings,
    list_trucks,
    load_settings_file,
    load_truck,
    split_changes,
)
from sim.inputs.one_trip import Inputs
from sim.messages import browser as say
from sim.roads.route import Route, known_road

if TYPE_CHECKING:
    from dashboard.server.runs import Workshop

PLAIN_SETTINGS = "defaults"  # settings none of which is changed
MOST_CHANGES = 250
LONGEST_VALUE = 20_000
LONGEST_ROAD = 300_000.0  # m: what the server drives for one question
SHORTEST_TICK, SHORTEST_LOG = 0.005, 0.1  # s: what one student may ask of a shared server
LONGEST_TRIP = 100_000.0  # s


@dataclass(frozen=True)
class Setup:
    """Truck, road, settings and changes, as texts.

    Parameters
    ----------
    truck : str
        Catalogue name.
    road : str
        Catalogue name, `grade:-6%,10km,1100m`, or the address of an upload.
    settings : str
        Catalogue name, or `defaults`.
    changes : dict
        Value by `table.key`, as typed; may carry a unit.
    """

    truck: str = usual.TRUCK
    road: str = usual.ROAD
    settings: str = usual.SETTINGS
    changes: dict[str, str] = field(default_factory=dict)


WORDS = ("truck", "road", "settings")


def setup_of(values: Any) -> Setup:
    """A setup from a decoded request body or a component's store.

    Parameters
    ----------
    values : any
        `{"truck": ..., "road": ..., "settings": ..., "changes": {key: text}}`; what is left out is the default.

    Returns
    -------
    setup : Setup
        Of the right shape; what it names is not looked at yet.

    Raises
    ------
    SettingsError
        Anything else.
    """
    if not isinstance(values, Mapping) or set(values) - {*WORDS, "changes"}:
        raise SettingsError(say.no_setup(allowed=(*WORDS, "changes")))
    texts = {word: values.get(word, getattr(Setup, word)) for word in WORDS}
    changes = values.get("changes", {})
    if not isinstance(changes, Mapping) or len(changes) > MOST_CHANGES:
        raise SettingsError(say.many_changes(most=MOST_CHANGES))
    for name, text in (*texts.items(), *changes.items()):
        if not isinstance(name, str) or not isinstance(text, str) or len(text) > LONGEST_VALUE or len(name) > 80:
            raise SettingsError(say.long_text(name=str(name), most=LONGEST_VALUE))
        if "\0" in name + text or "\n" in name + text:
            raise SettingsError(say.no_line(name=name))
    return Setup(**texts, changes=dict(changes))


GivenSetup = Annotated[Setup, BeforeValidator(setup_of)]  # as a part of the schema of a request


def setup_from_query(search: str) -> Setup:
    """A setup from the address of a page: `?truck=...&road=...&settings=...&table.key=value`.

    Parameters
    ----------
    search : str
        With or without its question mark.

    Returns
    -------
    setup : Setup
        Keys without a dot that a page has for itself are left alone.

    Raises
    ------
    SettingsError
        It has too much in it, or a key twice.
    """
    try:
        pairs = parse_qsl(search.lstrip("?"), max_num_fields=MOST_CHANGES + 20, keep_blank_values=True)
    except ValueError:
        raise SettingsError(say.many_values(most=MOST_CHANGES)) from None
    words: dict[str, Any] = {}
    changes: dict[str, str] = {}
    for key, value in pairs:
        into = changes if "." in key else words
        if key in into:
            raise SettingsError(say.named_twice(key=key))
        into[key] = value
    return setup_of({**{key: value for key, value in words.items() if key in WORDS}, "changes": changes})


def query_of(setup: Setup) -> str:
    """The address that reopens a setup.

    Returns
    -------
    query : str
        Without a question mark.
    """
    pairs = [(word, getattr(setup, word)) for word in WORDS]
    return urlencode([*pairs, *sorted(setup.changes.items())], safe=":,%/")


def read_setup(setup: Setup, workshop: "Workshop | None" = None) -> Inputs:
    """Truck, road and settings of a setup, checked like those of files.

    Parameters
    ----------
    workshop : Workshop or None
        Keeps uploaded roads; None when there are none.

    Raises
    ------
    HaulbenchError
        A name, key or value cannot be used; the message says what can.
    """
    from sim.trips.trip import check_together

    truck_changes, settings_changes = split_changes([f"{key}={text}" for key, text in setup.changes.items()])
    _known(setup.settings, [PLAIN_SETTINGS, *list_settings()], "settings", SettingsError)
    name = None if setup.settings == PLAIN_SETTINGS else setup.settings
    settings = load_settings_file(name, settings_changes).settings
    inputs = Inputs(_truck(setup.truck, tuple(truck_changes)), read_road(setup.road, workshop), settings)
    simulation = settings.simulation
    if simulation.tick_s < SHORTEST_TICK or simulation.log_s < SHORTEST_LOG:
        raise SettingsError(say.fine_steps(tick_s=SHORTEST_TICK, rows_s=SHORTEST_LOG))
    if simulation.time_limit_s > LONGEST_TRIP:
        raise SettingsError(say.long_trip(most_s=LONGEST_TRIP))
    check_together(inputs.truck.truck, settings)
    return inputs


def read_road(name: str, workshop: "Workshop | None" = None) -> Route:
    """A road of the catalogue, a constant grade, or an uploaded road; never a file.

    Parameters
    ----------
    workshop : Workshop or None
        Keeps uploaded roads.

    Raises
    ------
    RouteError
        There is no such road, or it is too long for a shared server.
    """
    from dashboard.server.runs import UPLOAD

    if name.startswith(UPLOAD) and workshop is not None:
        route = workshop.road(name)
    else:
        route = known_road(name)
    if route.length > LONGEST_ROAD:
        raise RouteError(say.long_road(title=route.title, most_km=LONGEST_ROAD / 1000.0))
    return route


@lru_cache(maxsize=256)
def _truck(name: str, changes: tuple[str, ...]) -> TruckFile:
    """A truck of the catalogue with its changes."""
    if changes:
        return changed_truck(_truck(name, ()), changes)
    _known(name, list_trucks(), "trucks", SpecError)
    return load_truck(name)


def _known(name: str, known: list[str], what: str, error: type[HaulbenchError]) -> None:
    """Refuses a name that is not in a list."""
    if name not in known:
        raise error(say.not_known(name=name, what=what, known=known))


def with_usual(search: str, usual: dict[str, str]) -> str:
    """The address of a page with what it does not say filled in.

    Parameters
    ----------
    search : str
        With or without its question mark.
    usual : dict of str to str
        Truck, road and settings the page starts with.
    """
    bare = search.lstrip("?")
    said = {pair.partition("=")[0] for pair in bare.split("&")}
    missing = urlencode({key: value for key, value in usual.items() if key not in said})
    return "&".join(part for part in (bare, missing) if part)


def chosen_units(units: Any) -> str:
    """The system of units a browser asks for.

    Returns
    -------
    units : str
        metric for everything that is not us.
    """
    return "us" if units == "us" else "metric"
