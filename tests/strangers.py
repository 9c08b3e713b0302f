"""Units that readers of one system do not know, looked for in what they are shown."""

import re

from sim.units import SYSTEMS, quantity_kinds

# spellings that only readers of one system know; a unit of both, such as rpm, tells nothing
SPELT = {units: {kind[units][4] for kind in quantity_kinds().values()} for units in SYSTEMS}
FOREIGN = {
    "metric": SPELT["us"] - SPELT["metric"] | {"mph", "F", "1000 lb", "1000 lbf"},
    "us": SPELT["metric"] - SPELT["us"] | {"C", "t"},
}


def _spelt(units: str) -> str:
    """A unit of the other system as a whole word; `in` is a unit only where a sentence does not go on."""
    spelt = "|".join(re.escape(unit) for unit in sorted(FOREIGN[units] - {"in"}, key=len, reverse=True))
    return rf"(?:(?:{spelt})(?![\w/²])" + (r"|in(?=$|[.,;)])" if "in" in FOREIGN[units] else "") + ")"


def strangers(text: str, units: str) -> list[str]:
    """Numbers with a unit of the other system, which is a whole word after the number."""
    return re.findall(rf"[0-9][ -]?{_spelt(units)}", text)


def strangers_in_titles(text: str, units: str) -> list[str]:
    """The same in titles of axes and columns, whose unit stands after a comma or in brackets, and in what is said at the cursor."""
    return re.findall(rf"(?:[0-9}}][ -]?|, |\(){_spelt(units)}", text)
