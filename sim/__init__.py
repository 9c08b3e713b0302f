"""haulbench: a discrete-event simulation of a loaded diesel truck on real roads.

    from sim import load_route, load_truck, run_trip
    result = run_trip(load_truck("long-haul-manual"), load_route("grade-profile-1037"))
    print(result.summary["fuel_l_per_100km"])

Names are loaded on first use, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "run_trip": "sim.trip",
    "cost_of": "sim.cost",
    "Result": "sim.result",
    "CAUTIONS": "sim.result",
    "BRAKE_LIMIT_C": "sim.result",
    "load_truck": "sim.files",
    "load_settings": "sim.files",
    "load_settings_file": "sim.files",
    "list_trucks": "sim.files",
    "list_settings": "sim.files",
    "split_changes": "sim.files",
    "TruckFile": "sim.files",
    "SettingsFile": "sim.files",
    "control_chart": "sim.charts",
    "truck_at": "sim.charts",
    "gearing_chart": "sim.gearing",
    "gear_facts": "sim.gearing",
    "start_of": "sim.gearing",
    "gearbox_changes": "sim.gearing",
    "grade_histogram": "sim.road_facts",
    "descent_speeds": "sim.descending",
    "run_bench": "sim.bench.runs",
    "BenchResult": "sim.bench.result",
    "FAULTS": "sim.bench.faults",
    "compare_trips": "sim.compare",
    "Comparison": "sim.compare",
    "TripPool": "sim.pool",
    "run_study": "sim.studies.runner",
    "read_study": "sim.studies.question",
    "list_studies": "sim.studies.question",
    "StudyResult": "sim.studies.table",
    "load_route": "sim.route",
    "import_track": "sim.track",
    "ImportedTrack": "sim.track",
    "list_routes": "sim.route",
    "Route": "sim.route",
    "Truck": "sim.specs",
    "Settings": "sim.specs",
    "run_checks": "sim.checks",
    "safe_descent_speed": "sim.safe_speed",
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
