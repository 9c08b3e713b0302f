"""Where the power of a truck goes on the level, from the ledger of a trip."""

from typing import NamedTuple

from sim.inputs.files import load_settings, load_truck
from sim.roads.route import load_route
from sim.trips.trip import run_trip
from sim.units import HORSEPOWER, MILE_PER_HOUR


class PowerSplit(NamedTuple):
    """[hp]"""

    aerodynamic: float
    rolling: float
    auxiliaries: float
    drivetrain: float
    total: float
    engine: float


def trip_split(truck: str, speed: float) -> PowerSplit:
    """Where the power goes at a steady speed in standard sea-level air; the fan is one of the auxiliaries.

    Parameters
    ----------
    speed : float
        [mi/h]

    Notes
    -----
    10 km at the longest step of the model: the split is the same to 0.1 % at a fifth of it.
    """
    driven = speed * MILE_PER_HOUR * 3.6
    settings = load_settings(
        None,
        [
            f"start.speed_km_h={driven}",
            f"driver.desired_speed_km_h={driven}",
            "weather.temperature_c=15",
            "simulation.tick_s=0.05",
        ],
    )
    summary = run_trip(load_truck(truck), load_route("grade:0%,10km,0m"), settings).summary
    energy = summary["energy"]
    work = [
        energy["aero"],
        energy["rolling"],
        energy["accessories"] + energy["fan"],
        energy["gearbox"] + energy["axle"],
    ]
    powers = (*work, sum(work), energy["fuel"] - sum(work))
    return PowerSplit(*(joules / summary["time_s"] / HORSEPOWER for joules in powers))
