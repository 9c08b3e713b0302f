"""Where the power goes at 65 mi/h on the level: the published split beside a trip of the model truck. A picture, not a check."""

import csv
from pathlib import Path

from sim.inputs.files import load_settings, load_truck
from sim.roads.route import load_route
from sim.trips.trip import run_trip
from sim.units import HORSEPOWER, MILE_PER_HOUR

PUBLISHED = Path(__file__).parent / "power_split.csv"


def published_split() -> dict[str, float]:
    """The published power split.

    Returns
    -------
    split : dict
        Aerodynamic, rolling, auxiliaries and drivetrain. [hp]

    References
    ----------
    [1] NRC (US), Review of the 21st Century Truck Partnership, 2nd report (2012), Table 5-1, p. 81: 80,000 lb, 65 mi/h, level.
    """
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        return {row["load"]: float(row["hp"]) for row in csv.DictReader(file)}


def trip_split() -> dict[str, float]:
    """The same split from a trip of the loaded truck at a steady 65 mi/h in standard sea-level air.

    Returns
    -------
    split : dict
        Same keys as `published_split`. [hp]
    """
    speed = 65.0 * MILE_PER_HOUR
    settings = load_settings(None, [f"driver.desired_speed_km_h={speed * 3.6}", "weather.temperature_c=15"])
    summary = run_trip(load_truck("long-haul-manual"), load_route("grade:0%,10km,0m"), settings).summary
    energy, seconds = summary["energy"], summary["time_s"]
    work = {
        "aerodynamic": energy["aero"],
        "rolling": energy["rolling"],
        "auxiliaries": energy["accessories"] + energy["fan"],
        "drivetrain": energy["driveline"],
    }
    return {name: joules / seconds / HORSEPOWER for name, joules in work.items()}
