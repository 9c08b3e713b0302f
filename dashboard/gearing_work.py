"""What the Gearing page has worked out in a worker process: one choice, driven and charted."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sim.charts import ControlChart, control_chart, truck_at
from sim.gearing import GearFacts, GearingChart, Start, gear_facts, gearing_chart, start_of
from sim.inputs import Inputs
from sim.laws.sensing import revolutions_per_mile
from sim.specs import Truck
from sim.trip import run_trip

if TYPE_CHECKING:
    from dashboard.gearing_figures import Drawn

KEPT = (
    "ended", "ended_because", "time_s", "distance_m", "mean_speed_m_s", "fuel_kg", "fuel_l_per_100km", "fuel_mpg_us",
    "gear_shifts", "gear_time_s", "max_engine_speed_rpm", "max_brake_temperature_c", "service_brake_applications",
    "height_gained_m", "warnings", "foreseen",
)  # fmt: skip


@dataclass(frozen=True)
class ChoiceAnswer:
    """One choice, driven and charted.

    Parameters
    ----------
    truck : Truck
        [-]
    summary : dict
        Of the trip, as far as the page shows it. [as named]
    drawn : Drawn
        Rows of the trace. [as named]
    elevation : float
        For which the charts hold: the middle of the road's heights. [m]
    cruise : float
        Speed for the figures at cruise. [m/s]
    chart : GearingChart
        [-]
    control : ControlChart
        [-]
    facts : tuple of GearFacts
        By gear, at the cruise speed. [-]
    start : Start
        In the lowest gear. [-]
    tyre_revolutions : float
        On a mile. [1/mi]
    """

    truck: Truck
    summary: dict[str, Any]
    drawn: "Drawn"
    elevation: float
    cruise: float
    chart: GearingChart
    control: ControlChart
    facts: tuple[GearFacts, ...]
    start: Start
    tyre_revolutions: float


def work_out(inputs: Inputs, cruise: float, most: int) -> ChoiceAnswer:
    """Drives and charts one choice; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        [-]
    cruise : float
        Speed for the figures at cruise. [m/s]
    most : int
        Rows of the trace wanted at most. [-]

    Returns
    -------
    answer : ChoiceAnswer
        [-]

    Raises
    ------
    HaulbenchError
        The model refuses the inputs.
    """
    from dashboard.gearing_figures import drawn_of

    truck, route, settings = inputs.truck.truck, inputs.route, inputs.settings
    result = run_trip(inputs.truck, route, settings)
    middle = round(0.5 * float(route.elevation.min() + route.elevation.max()), -1)
    here = truck_at(truck, settings, middle, route.start_elevation)
    chart = gearing_chart(truck, settings, middle, route.start_elevation)
    return ChoiceAnswer(
        truck=truck,
        summary={key: result.summary[key] for key in KEPT},
        drawn=drawn_of(result, most),
        elevation=middle,
        cruise=cruise,
        chart=chart,
        control=control_chart(truck, settings, middle, route.start_elevation),
        facts=gear_facts(here, chart, cruise),
        start=start_of(here, settings),
        tyre_revolutions=float(revolutions_per_mile(truck.tyres.rolling_radius_m)),
    )
