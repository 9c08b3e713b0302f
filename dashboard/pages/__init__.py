"""The pages, one a file. Each has TITLE, PATH, `layout(query)` and `register(app, workshop)`; one that is not there is not listed.

`layout` is called with the page's query, a dictionary of texts (with the whole of it under "?"), and builds components; it
works nothing out. `register` adds the page's callbacks and routes, once.
"""

from importlib import import_module
from importlib.util import find_spec
from types import ModuleType

ORDER = ("trip", "gearing", "fuel_study", "roads", "bench", "speedometer", "hidden_fault", "sources")


def pages() -> list[ModuleType]:
    """The pages that are there, in the order of the menu.

    Returns
    -------
    pages : list of module
        [-]
    """
    names = [f"{__name__}.{name}" for name in ORDER]
    return [import_module(name) for name in names if find_spec(name) is not None]
