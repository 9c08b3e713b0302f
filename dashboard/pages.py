"""The pages, one a folder. The `page` of each has TITLE, PATH, `layout(query)` and `register(app, workshop)`.

`layout` is called with the page's query, a dictionary of texts (with the whole of it under "?"), and builds components; it
works nothing out. `register` adds the page's callbacks and routes, once.
"""

from importlib import import_module
from types import ModuleType

ORDER = ("trip", "gearing", "fuel_study", "roads", "dyno", "knobs", "speedometer", "hidden_fault", "sources")


def pages() -> list[ModuleType]:
    """The pages, in the order of the menu."""
    return [import_module(f"dashboard.{name}.page") for name in ORDER]
