"""Attributes that Python names cannot spell."""

from typing import Any


def attributes(**given: Any) -> dict[str, Any]:
    """`aria_label="Pages"` as `{"aria-label": "Pages"}`, for the components that take such attributes.

    Parameters
    ----------
    **given : any
        Beginning with `aria_` or `data_`. [-]

    Returns
    -------
    named : dict
        [-]

    Examples
    --------
    >>> attributes(aria_label="Pages", data_path="/")
    {'aria-label': 'Pages', 'data-path': '/'}
    """
    return {name.replace("_", "-"): value for name, value in given.items()}
