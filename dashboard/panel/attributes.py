"""Attributes that Python names cannot spell, and parts that scripts fill."""

from collections.abc import Callable
from typing import Any

from dash import html
from dash.development.base_component import Component


def attributes(**given: Any) -> dict[str, Any]:
    """`aria_label="Pages"` as `{"aria-label": "Pages"}`, for the components that take such attributes.

    Parameters
    ----------
    **given : any
        Beginning with `aria_` or `data_`.

    Examples
    --------
    >>> attributes(aria_label="Pages", data_path="/")
    {'aria-label': 'Pages', 'data-path': '/'}
    """
    return {name.replace("_", "-"): value for name, value in given.items()}


def part(name: str, tag: Callable[..., Component] = html.Div, children: Any = None, **more: Any) -> Component:
    """A place that the page's script fills, found by its name.

    Parameters
    ----------
    name : str
        In the attribute `data-part`.
    tag : callable
        Of `dash.html`.
    children : any
        What stands there before the script fills it.
    **more : any
        Attributes of the tag; those beginning with `aria_` or `data_` as in `attributes`.
    """
    named = {key: value for key, value in more.items() if not key.startswith(("aria_", "data_"))}
    other = {key: value for key, value in more.items() if key.startswith(("aria_", "data_"))}
    return tag(children, **named, **attributes(data_part=name, **other))
