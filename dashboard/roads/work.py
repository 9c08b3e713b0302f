"""What the Roads page has worked out in a worker process: facts of a road, and a road from a recorded track."""

from dataclasses import dataclass

from dashboard.server.costs import costs
from sim.charts.descent_speed import DescentSpeeds, descent_speeds
from sim.inputs.one_trip import Inputs
from sim.roads.facts import WINDOWS, GradeClass, Slope, Steepest, grade_histogram, longest, steepest
from sim.roads.route import Route
from sim.roads.track import ImportedTrack, import_track
from sim.units import MILE


@dataclass(frozen=True)
class RoadAnswer:
    """Facts of a road and how fast a truck may be driven down it.

    Parameters
    ----------
    climbs : tuple of Slope
        Longest first.
    falls : tuple of Slope
        Longest first.
    steepest_up : tuple of Steepest
        By length.
    steepest_down : tuple of Steepest
        By length.
    """

    classes: tuple[GradeClass, ...]
    climbs: tuple[Slope, ...]
    falls: tuple[Slope, ...]
    steepest_up: tuple[Steepest, ...]
    steepest_down: tuple[Steepest, ...]
    descents: tuple[DescentSpeeds, ...]


WINDOWS_US = tuple(miles * MILE for miles in (0.05, 0.1, 0.25, 0.5, 1.0, 3.0))  # m


@costs(lambda inputs, units: 0.05 + 50e-6 * len(inputs.route.distance))
def work_out(inputs: Inputs, units: str) -> RoadAnswer:
    """Facts of a road; runs in a worker.

    Parameters
    ----------
    units : str
        metric or us: the steepest stretches are looked for over round lengths in it.

    Raises
    ------
    HaulbenchError
        The truck's numbers do not fit each other.
    """
    route = inputs.route
    windows = WINDOWS_US if units == "us" else WINDOWS
    return RoadAnswer(
        classes=grade_histogram(route),
        climbs=longest(route, downhill=False),
        falls=longest(route, downhill=True),
        steepest_up=steepest(route, downhill=False, windows=windows),
        steepest_down=steepest(route, downhill=True, windows=windows),
        descents=descent_speeds(inputs.truck.truck, inputs.settings, route),
    )


@costs(lambda name, content, *_: 0.3 + 1.5e-6 * len(content))
def read_upload(
    name: str, content: bytes, every: float, smooth: float, limit: float | None
) -> tuple[ImportedTrack, Route]:
    """A road from what somebody has sent; runs in a worker and touches no disk.

    Parameters
    ----------
    name : str
        Of the file, its ending included.
    every : float
        Distance between rows of the road. [m]
    smooth : float
        Length over which heights are smoothed. [m]
    limit : float or None
        Posted limit of the whole road. [m/s]

    Raises
    ------
    RouteError
        It is no track.
    """
    track = import_track(name, every, smooth, limit, content)
    return track, track.route(name.rpartition(".")[0] or name)
