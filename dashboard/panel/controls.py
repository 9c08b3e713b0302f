"""Input panels, the same on every page. A page says which inputs it shows; the models say what they are.

A panel is three things: an empty place with what it is to hold, which the browser fills with inputs of its own; a store with
what is chosen in it; and the address of the page, which the browser keeps the same as the store. A page listens to the store
(`Input(ids.setup(page), "data")`) and reads it with `dashboard.server.setups`.
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboard.panel import ids
from dashboard.panel.attributes import attributes
from dashboard.panel.pieces import said
from dashboard.server.setups import WORDS, Setup, setup_from_query
from sim.errors import HaulbenchError


def panel(
    page: str,
    groups: Mapping[str, Sequence[str]],
    search: str = "",
    start_with: Sequence[str] = ("settings", "truck", "road"),
    opened: Sequence[str] = (),
    everything: bool = True,
) -> html.Section:
    """The panel of inputs of a page with its store.

    Parameters
    ----------
    page : str
        Name of the page's file.
    groups : mapping
        Keys (`table.key` of truck or settings; `truck`, `road`, `settings` for the choices from the catalogue) by the heading
        they stand under.
    search : str
        Of the page's address: what the panel starts with.
    start_with : sequence of str
        Choices that stand above all groups.
    opened : sequence of str
        Headings whose groups are open at the start.
    everything : bool
        Whether a drawer offers all other settings and truck values.

    Returns
    -------
    section : Section
        With id `ids.panel(page)`; its store has the id `ids.setup(page)` and holds what `setups.setup_of` takes, or
        None when the address cannot be read.
    """
    setup, problem = starting_setup(search)
    asked: dict[str, Any] = {
        "page": page,
        "store": ids.setup(page),
        "groups": [{"title": title, "keys": list(keys), "open": title in opened} for title, keys in groups.items()],
        "start_with": list(start_with),
        "everything": everything,
        "setup": stored(setup),
    }
    return html.Section(
        [
            dcc.Store(id=ids.setup(page), data=stored(setup)),
            *([said(problem)] if problem else []),
            html.Div(className="panel-inputs", id=ids.panel(page), **attributes(data_panel=json.dumps(asked))),
        ],
        className="panel",
        **attributes(aria_label="Truck, road and settings"),
    )


def starting_setup(search: str) -> tuple[Setup, str]:
    """The setup of an address, or the usual one and what is wrong with the address.

    Returns
    -------
    problem : str
        Empty when all is well.
    """
    try:
        return setup_from_query(search), ""
    except HaulbenchError as problem:
        return Setup(), f"This link cannot be used: {problem}. The usual trip is shown instead."


def stored(setup: Setup) -> dict[str, Any]:
    """A setup as a store keeps it."""
    return {**{word: getattr(setup, word) for word in WORDS}, "changes": dict(setup.changes)}
