"""What is said of an imported track, at the command line and on the page alike."""

from collections.abc import Callable

from sim.roads.bends import LOOKED_OVER, WIDEST, Band
from sim.roads.track import ImportedTrack

NO_LIMIT = "none: the driver goes by bends, cruise set speed or driver.desired_speed_km_h"

Told = Callable[[float, str], str]  # a quantity and its kind in words


def _band(band: Band, told: Told) -> str:
    """A length and the ends of its band."""
    return f"{told(band.likely, 'height')}, nine of ten between {told(band.low, 'height')} and {told(band.high, 'height')}"


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
    where = f"at {told(tightest.start, 'distance')}"
    return f"{len(track.bends)}, tightest {where}: {_band(tightest.radius, told)}"


def unseen_told(track: ImportedTrack, told: Told) -> str:
    """Which bends the recording cannot show; nothing is made up for them."""
    if track.sight is None:
        return "all bends"
    sight = track.sight
    found = [f"those shorter than {told(sight.shortest, 'height')}, for a point every {told(sight.spacing, 'height')}"]
    if sight.radius < WIDEST:
        noise = told(sight.noise, "short length")
        found.append(
            f"of {told(LOOKED_OVER, 'height')} those wider than {told(sight.radius, 'height')}, for noise of {noise} a point"
        )
    found += ["what lies in a gap"] * bool(track.gaps)
    return "; ".join(found)
