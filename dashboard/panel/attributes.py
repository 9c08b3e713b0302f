"""Small pieces of pages: attributes that Python names cannot spell, parts that scripts fill, a refusal in words."""

from collections.abc import Callable
from typing import Any

from dash import html
from dash.development.base_component import Component

from sim.errors import HaulbenchError


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


def refused(problem: HaulbenchError) -> html.Div:
    """What stands in the place of results when there are none."""
    return html.Div(
        [html.P(str(problem), className="told"), html.P("Nothing was driven. Change what is named above.")],
        className="card",
        role="alert",
    )
