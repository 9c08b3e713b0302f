"""What the Gearing page has worked out in a worker process: one choice, driven and charted."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboard.server.costs import costs, trip_seconds
from dashboard.server.thinning import common_rows, event_rows
from sim.charts.control_speed import ControlChart, control_chart
from sim.charts.gearing import GearFacts, GearingChart, Start, gear_facts, gearing_chart, start_of
from sim.charts.truck_at import truck_at
from sim.inputs.one_trip import Inputs
from sim.inputs.specs import Truck
from sim.laws.sensing import revolutions_per_mile
from sim.trips.result import Result
from sim.trips.trip import run_trip

KEPT = (
    "ended", "ended_because", "time_s", "distance_m", "mean_speed_m_s", "fuel_kg", "fuel_l_per_100km", "fuel_mpg_us",
    "gear_shifts", "top_gear_time_s", "top_gear_engine_speed_rpm", "max_engine_speed_rpm", "max_brake_temperature_c",
    "service_brake_applications", "net_height_m", "warnings", "foreseen",
)  # fmt: skip

COLUMNS = ("time_s", "distance_m", "elevation_m", "speed_m_s", "engine_speed_rpm", "gear", "speed_limit_m_s")


@dataclass(frozen=True)
class Drawn:
    """What the overlay needs of one trip: a few rows of its trace.

    Parameters
    ----------
    columns : dict of str to array
        Of the trace, by name, shape (rows,) each.
    fuel_used : array
        Since the start, shape (rows,). [kg]
    """

    columns: dict[str, np.ndarray]
    fuel_used: np.ndarray


def drawn_of(result: Result, most: int) -> Drawn:
    """The rows of a trip worth drawing.

    Parameters
    ----------
    most : int
        Rows wanted.

    Returns
    -------
    drawn : Drawn
        Rows of the trace, not smoothed ones.
    """
    trace = result.trace
    steps = np.diff(trace["time_s"], prepend=0.0)
    used = np.cumsum(trace["fuel_rate_g_s"] * steps) / 1000.0
    used *= result.summary["fuel_kg"] / used[-1] if used[-1] > 0.0 else 0.0  # the kernel counts every tick
    lines, jumps = ("speed_m_s", "engine_speed_rpm"), ("gear", "speed_limit_m_s")
    rows = common_rows(trace, lines, jumps, event_rows(result), most)
    columns = {name: np.asarray(trace[name][rows], dtype=np.float32) for name in COLUMNS}
    return Drawn(columns, np.asarray(used[rows], dtype=np.float32))


@dataclass(frozen=True)
class ChoiceAnswer:
    """One choice, driven and charted.

    Parameters
    ----------
    summary : dict
        Of the trip, as far as the page shows it.
    drawn : Drawn
        Rows of the trace.
    elevation : float
        For which the charts hold: the middle of the road's heights. [m]
    cruise : float
        Speed for the figures at cruise. [m/s]
    facts : tuple of GearFacts
        By gear, at the cruise speed.
    start : Start
        In the lowest gear.
    tyre_revolutions : float
        On a mile. [1/mi]
    """

    truck: Truck
    summary: dict[str, Any]
    drawn: Drawn
    elevation: float
    cruise: float
    chart: GearingChart
    control: ControlChart
    facts: tuple[GearFacts, ...]
    start: Start
    tyre_revolutions: float


@costs(lambda inputs, *_: trip_seconds(inputs) + 0.1)
def work_out(inputs: Inputs, cruise: float, most: int) -> ChoiceAnswer:
    """Drives and charts one choice; runs in a worker.

    Parameters
    ----------
    cruise : float
        Speed for the figures at cruise. [m/s]
    most : int
        Rows of the trace wanted at most.

    Raises
    ------
    HaulbenchError
        The model refuses the inputs.
    """
    truck, route, settings = inputs.truck.truck, inputs.route, inputs.settings
    result = run_trip(inputs.truck, route, settings)
    middle = round(0.5 * float(route.elevation.min() + route.elevation.max()), -1)
    here = truck_at(truck, settings, middle, route.start_elevation)
    chart = gearing_chart(here)
    return ChoiceAnswer(
        truck=truck,
        summary={key: result.summary[key] for key in KEPT},
        drawn=drawn_of(result, most),
        elevation=middle,
        cruise=cruise,
        chart=chart,
        control=control_chart(here),
        facts=gear_facts(here, chart, cruise),
        start=start_of(here, settings),
        tyre_revolutions=float(revolutions_per_mile(truck.tyres.rolling_radius_m)),
    )
