"""Tables of many rows, and lists to pick from with a name.

Tables are sent as plain values and built by the page's own script: a component for each cell would take seconds.
"""

import hashlib
import json
from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.panel.attributes import attributes

Cell = tuple[str, str, str]  # what is shown, what is sorted by, and a class or nothing


def big_table(heads: Sequence[str], rows: Sequence[Sequence[Cell]], label: str) -> html.Div:
    """A table that can be sorted by each column.

    Parameters
    ----------
    rows : sequence of sequences of Cell
        Text (a line break parts a first line from a quieter second one), sort key, class.
    label : str
        What it is, for those who do not see it.
    """
    content = json.dumps({"heads": list(heads), "rows": [[list(cell) for cell in row] for row in rows]})
    return html.Div(
        className="wide tall",
        tabIndex=0,
        role="region",
        key=hashlib.blake2b(content.encode(), digest_size=8).hexdigest(),
        **attributes(aria_label=label, data_table=content),
    )


def named(name: str, picks: Any) -> html.Div:
    """A list to pick from, with a name for those who do not see it; the page's script gives the name to the list itself.

    Parameters
    ----------
    picks : component
        RadioItems or Checklist.
    """
    return html.Div(picks, **attributes(data_picks=name))
