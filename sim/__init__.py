"""haulbench: a discrete-event simulation of a loaded diesel truck on real roads.

The public names, which `haulbench.py` shows. Names are loaded on first use, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "run_trip": "sim.trips.trip",
    "cost_of": "sim.trips.cost",
    "Result": "sim.trips.result",
    "CAUTIONS": "sim.trips.result",
    "BRAKE_LIMIT_C": "sim.trips.result",
    "load_truck": "sim.inputs.files",
    "load_settings": "sim.inputs.files",
    "load_settings_file": "sim.inputs.files",
    "list_trucks": "sim.inputs.files",
    "list_settings": "sim.inputs.files",
    "split_changes": "sim.inputs.files",
    "TruckFile": "sim.inputs.files",
    "SettingsFile": "sim.inputs.files",
    "control_chart": "sim.charts.control_speed",
    "truck_at": "sim.charts.truck_at",
    "gearing_chart": "sim.charts.gearing",
    "gear_facts": "sim.charts.gearing",
    "start_of": "sim.charts.gearing",
    "gearbox_changes": "sim.charts.gearing",
    "grade_histogram": "sim.roads.facts",
    "descent_speeds": "sim.charts.descent_speed",
    "run_dyno": "sim.dyno.runs",
    "DynoResult": "sim.dyno.result",
    "FAULTS": "sim.dyno.faults",
    "compare_trips": "sim.trips.compare",
    "Comparison": "sim.trips.compare",
    "TripPool": "sim.trips.pool",
    "run_study": "sim.studies.runner",
    "read_study": "sim.studies.question",
    "list_studies": "sim.studies.question",
    "StudyResult": "sim.studies.result",
    "load_route": "sim.roads.route",
    "import_track": "sim.roads.track",
    "ImportedTrack": "sim.roads.track",
    "list_routes": "sim.roads.route",
    "Route": "sim.roads.route",
    "Truck": "sim.inputs.specs",
    "Settings": "sim.inputs.specs",
    "run_checks": "sim.checks",
    "safe_descent_speed": "sim.charts.safe_speed",
    "HaulbenchError": "sim.errors",
    "SpecError": "sim.errors",
    "RouteError": "sim.errors",
    "SettingsError": "sim.errors",
    "RunError": "sim.errors",
    "StudyError": "sim.errors",
}
__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    """Loads a public name from its module on first use."""
    if name not in _HOME:
        raise AttributeError(f"module 'sim' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
