"""Choices of the Gearing page: axle ratio, gearbox and tyre, as they stand in a link and as changes to a truck."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.server.setups import Setup
from sim.charts.gearing import gearbox_changes
from sim.errors import SettingsError
from sim.inputs.files import load_truck
from sim.inputs.specs import Settings
from sim.messages import browser as say
from sim.roads.facts import limit_spans
from sim.roads.route import Route

MOST_CHOICES = 6
LONGEST_TEXT = 600
STEPS = (0.917, 1.0, 1.101)  # assumed: axle ratios of the usual three choices over that of the truck


@dataclass(frozen=True)
class Choice:
    """One way to gear a truck; what is empty stays as the truck has it.

    Parameters
    ----------
    axle : str
        Ratio of the drive axle.
    gearbox : str
        Name of the truck whose gearbox it is.
    radius : str
        Rolling radius of the tyres; may carry a unit. [m]
    """

    axle: str = ""
    gearbox: str = ""
    radius: str = ""

    def changes(self) -> dict[str, str]:
        """The choice as changes to a truck.

        Returns
        -------
        changes : dict of str to str
            Value by `table.key`.

        Raises
        ------
        SpecError
            There is no truck of that name.
        """
        found = {}
        if self.gearbox:
            for change in gearbox_changes(self.gearbox):
                key, _, value = change.partition("=")
                found[key] = value
        if self.axle:
            found["driveline.axle_ratio"] = self.axle
        if self.radius:
            found["tyres.rolling_radius_m"] = self.radius
        return found


def choices_from(text: str, truck: str) -> list[Choice]:
    """Choices as they stand in a link: `axle,gearbox,radius` each, `|` between them.

    Parameters
    ----------
    text : str
        Empty for the usual three: the truck's own axle, one longer and one shorter.
    truck : str
        Catalogue name.

    Raises
    ------
    SettingsError
        Too many, or not of that form.

    Examples
    --------
    >>> choices_from("3.08|,long-haul-automated", "long-haul-manual")
    [Choice(axle='3.08', gearbox='', radius=''), Choice(axle='', gearbox='long-haul-automated', radius='')]
    """
    if not text:
        own = load_truck(truck).truck.driveline.axle_ratio
        return [Choice(f"{own * step:.2f}") for step in STEPS]
    if len(text) > LONGEST_TEXT:
        raise SettingsError(say.long_choices(letters=len(text), most=LONGEST_TEXT))
    found = []
    for number, each in enumerate(text.split("|"), start=1):
        parts = [part.strip() for part in each.split(",")]
        if len(parts) > 3:
            raise SettingsError(say.long_choice(number=number, text=each))
        found.append(Choice(*parts))
    if len(found) > MOST_CHOICES:
        raise SettingsError(say.many_choices(given=len(found), most=MOST_CHOICES))
    return found


def setups_of(setup: Setup, choices: Sequence[Choice]) -> list[Setup]:
    """The setup of each choice.

    Parameters
    ----------
    setup : Setup
        What all have in common.

    Raises
    ------
    SpecError
        A gearbox is of no truck that is known.
    """
    return [Setup(setup.truck, setup.road, setup.settings, {**setup.changes, **each.changes()}) for each in choices]


def cruise_speed(route: Route, settings: Settings) -> float:
    """The speed a truck would run at where nothing slows it: for the figures at cruise.

    Returns
    -------
    speed : float
        The limit posted on most of the road as the driver keeps it, his own where none is, or the set or programmed speed if
        that is lower. [m/s]
    """
    lengths: dict[float, float] = {}
    for span in limit_spans(route):
        lengths[span.value] = lengths.get(span.value, 0.0) + span.end - span.begin
    posted = settings.kept(max(lengths, key=lambda limit: (lengths[limit], limit), default=math.inf))
    others = (settings.cruise.si("set_speed_km_h"), settings.road_speed.si("limit_km_h"))
    return min([posted, *(speed for speed in others if speed > 0.0)])
