"""Every component id once. Ids that a page has for itself are made from the page's name by the functions here."""

PLACE = "place"  # the address in the browser: pathname and search
TITLE = "title"  # store: what the window of the browser is called
PAGE = "page"  # the room a page is put into
MESSAGE = "message"  # one line about what went wrong, over the page
UNITS = "units"  # store kept in the browser: "metric" or "us"
UNIT_SWITCH = "unit-switch"
STUDY_PATH = "/fuel-study"  # another page leads there


def setup(page: str) -> str:
    """The store that holds what is chosen in a page's panel: truck, road, settings and changes.

    Parameters
    ----------
    page : str
        Name of the page's file.
    """
    return f"{page}-setup"


def panel(page: str) -> str:
    """The panel of inputs of a page.

    Parameters
    ----------
    page : str
        Name of the page's file.
    """
    return f"{page}-panel"
