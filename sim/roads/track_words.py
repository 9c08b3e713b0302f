"""What is said of an imported track, at the command line and on the page alike."""

from collections.abc import Callable

from sim.roads.bends import LOOKED_OVER, WIDEST, Band
from sim.roads.track import ImportedTrack

NO_LIMIT = "none: the driver goes by bends, cruise set speed or driver.desired_speed_km_h"

Told = Callable[..., str]  # a quantity and its kind in words, and how many decimals


def _band(band: Band, told: Told) -> str:
    """A length and the ends of its band."""
    return f"{told(band.likely, 'height')}, nine times of ten {told(band.low, 'height')} to {told(band.high, 'height')}"


def climb_told(track: ImportedTrack, told: Told) -> str:
    """Climb as recorded, as driven here, and what the road has nine times of ten."""
    raw, here = (told(each, "height") for each in (track.raw_climb, track.climb))
    return f"{raw} as recorded, {here} smoothed; the road itself likely {_band(track.climbs, told)}"


def bends_told(track: ImportedTrack, told: Told) -> str:
    """How many bends were found, and the tightest of them."""
    if track.sight is None:
        return "none: a table of distance and height does not say where it turns"
    if not track.bends:
        return "none found that a truck slows for"
    tightest = min(track.bends, key=lambda bend: bend.radius.likely)
    where = f"at {told(tightest.start, 'distance', digits=2)}"
    return f"{len(track.bends)}, tightest {where}: {_band(tightest.radius, told)}"


def unseen_told(track: ImportedTrack, told: Told) -> str:
    """Which bends the recording cannot show; nothing is made up for them."""
    if track.sight is None:
        return "all bends"
    sight = track.sight
    shortest, spacing = told(sight.shortest, "height"), told(sight.spacing, "height")
    found = [f"those shorter than {shortest}, as there is a point every {spacing}"]
    if sight.radius < WIDEST:
        length, radius = told(LOOKED_OVER, "height"), told(sight.radius, "height")
        noise = told(sight.noise, "height", digits=1)
        found.append(f"of those {length} long the radii above {radius}, as points wander by {noise}")
    found += ["what lies in a gap"] * bool(track.gaps)
    return "; ".join(found)
