"""The dyno runs by name. Start reading here: a truck, settings and the name of a test give a result."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from sim.compiled import MODEL_VERSION
from sim.dyno.full_load import full_load_run
from sim.dyno.gauges import deciding
from sim.dyno.governor import governor_run
from sim.dyno.result import DynoResult
from sim.dyno.retarding import cylinder_run, motoring_run, retarding_run
from sim.dyno.stand import AbortedError, stabilised
from sim.errors import SettingsError
from sim.inputs.files import TruckFile, load_truck
from sim.inputs.specs import Settings, Truck
from sim.messages import dyno as say
from sim.trips.result import assure_numbers
from sim.wording import Finding, finding

FIRED = (
    "full-load",
    "governor",
    "cylinders",
)  # the others begin with the oil that is stated: the absorber turns the engine
NOT_STABLE = "dyno.not_stabilised"
TESTS: dict[str, tuple[str, Callable[..., DynoResult]]] = {
    "full-load": ("full pedal, from above governed speed down past the highest torque", full_load_run),
    "governor": (
        "droop by three speeds, high idle, low idle with a load switched on, two governors on a grade",
        governor_run,
    ),
    "motoring": ("torque to turn the engine without fuel", motoring_run),
    "retarding": ("engine brake by stage and speed, steady and as it builds", retarding_run),
    "cylinders": ("full load with one cylinder after the other cut out", cylinder_run),
}


def run_dyno(
    truck: TruckFile | Truck | str | Path, settings: Settings | None = None, test: str = "full-load"
) -> DynoResult:
    """Puts an engine or a truck on the dyno.

    Parameters
    ----------
    truck : TruckFile, Truck, str or Path
        A loaded truck, a catalogue name or the path of a truck file; its faults stand in its table `condition`.
    settings : Settings or None
        Their table `dyno`, the weather and the temperatures at the start; None for the defaults.
    test : str
        One of `TESTS`.

    Returns
    -------
    result : DynoResult
        Summary, columns and points.

    Raises
    ------
    HaulbenchError
        An input cannot be used, or the test cannot be made with it.

    Examples
    --------
    >>> result = run_dyno("long-haul-manual")
    >>> result.summary["verdict"], result.summary["start_rpm"] > 2000.0
    ('pass', True)
    """
    if test not in TESTS:
        raise SettingsError(say.no_such_test(test=test, known=list(TESTS)))
    if isinstance(truck, str | Path):
        truck = load_truck(str(truck))
    sources = truck.sources if isinstance(truck, TruckFile) else {}
    spec = truck.truck if isinstance(truck, TruckFile) else truck
    chosen = settings or Settings()
    check_lags(spec, chosen)
    events = []
    try:
        if chosen.dyno.stabilised and test in FIRED:
            chosen, told = stabilised(spec, chosen)
            events.append(told)
        result = TESTS[test][1](spec, chosen, sources)
    except AbortedError as stop:
        result = broken_off(stop, test, sources)
    result.summary["events"] = [each.data() for each in events]
    assure_numbers(test, {**result.summary, "meters": result.readings})
    result.summary["warnings"] = [*_by_hand(result), *result.summary["warnings"]]
    return result


def broken_off(stop: AbortedError, test: str, sources: dict[str, str]) -> DynoResult:
    """What a run leaves behind that ended at a limit of its stand: no point, but everything up to there.

    Parameters
    ----------
    test : str
        Name of the test.
    sources : dict
        Mark and source of each number of the truck.
    """
    stand = stop.stand
    summary = {
        "test": test,
        "form": stand.settings.dyno.form,
        "truck": stand.truck.name,
        "model_version": MODEL_VERSION,
        "verdict": "aborted",
        "reading": stop.told.data(),
        "run_s": stand.now,
        "gauges": [stop.gauge.data()],
        "decides": deciding([stop.gauge]),
        "warnings": [],
    }
    return stand.result(test, summary, stand.columns(), {}, {}, sources)


def _by_hand(result: DynoResult) -> list[dict[str, Any]]:
    """What must be said of values dialled in, and of codes the controller has set."""
    found = [Finding(each["kind"], each["values"]) for each in result.summary["events"] if each["kind"] == NOT_STABLE]
    if result.settings.circuits.dialled:
        found.append(finding("dyno.by_hand"))
    for code in result.summary["codes"]:
        told = {key: code[key] for key in ("spn", "fmi", "words", "lamp")}
        found.append(finding("dyno.code", time=code["first_time_s"], **told))
    return [each.data() for each in found]


def check_lags(truck: Truck, settings: Settings) -> None:
    """Refuses a tick longer than a lag, as a trip does.

    Raises
    ------
    SettingsError
        The tick is too long.
    """
    from sim.trips.trip import check_together

    check_together(truck, settings)
