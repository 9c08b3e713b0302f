"""What a question will take in a worker, worked out before it is asked, so that the server can say no in words.

Every function that workers do for pages declares its cost beside itself with `costs`. Costs are seconds of one processor, measured
with other programs running and rounded up; what is allowed beyond them is generous, since machines differ.
"""

from collections.abc import Callable, Sequence
from typing import Any

from sim.errors import HaulbenchError, RunError
from sim.inputs.files import TruckFile, changed_settings
from sim.inputs.one_trip import Inputs
from sim.inputs.specs import Settings, Truck
from sim.messages import browser as say
from sim.roads.route import Route, known_road
from sim.studies.plan import Plan
from sim.trips.cost import expected_time, longest_time

MOST_SECONDS = 40.0  # s one question may take: 300 km at a tick of 0.005 s with failures take 8
BEGIN = 0.03  # s: of any trip, and of packing what a page is sent
SOUND_TICK, WATCHED_TICK = 0.3e-6, 2.2e-6  # s: without circuits, and with failures, meters or values dialled in
ROW = 0.5e-6  # s a row of the trace
READING, METER_READING = 5e-6, 2.5e-6  # s: of each reading, and of each meter in it
ROW_AS_TEXT = 80e-6  # s a row of trace.csv
REPORT = 1.0  # s
USUAL_SPEED = 17.0  # m/s over a road of which only the length is known, assumed

Cost = Callable[..., float]
_declared: dict[str, Cost] = {"sim.checks.run_checks": lambda: 5.0}


def costs(cost: Cost) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Declares beside a function what it will take.

    Parameters
    ----------
    cost : callable
        Takes the arguments of the function and gives seconds; quick, and drives nothing. [s]

    Returns
    -------
    declare : callable
        Decorator; the function stays as it is.
    """

    def declare(function: Callable[..., Any]) -> Callable[..., Any]:
        _declared[_name(function)] = cost
        return function

    return declare


def expected_seconds(function: Callable[..., Any], given: tuple[Any, ...]) -> float:
    """What a question will take.

    Parameters
    ----------
    given : tuple
        Its arguments.

    Returns
    -------
    seconds : float
        Of one processor. [s]

    Raises
    ------
    HaulbenchError
        The arguments cannot be used.
    LookupError
        The function has no declared cost: who wrote it shall say what it takes.
    """
    name = _name(function)
    if name not in _declared:
        raise LookupError(f"{name} has no declared cost; put @costs(...) above it")
    return _declared[name](*given)


def _name(function: Callable[..., Any]) -> str:
    """The name by which a worker imports a function."""
    return f"{function.__module__}.{function.__qualname__}"


# ---------------------------------------------------------------- of trips


def usual_time(truck: Truck, route: Route, settings: Settings) -> float:
    """How long a truck is on a road, about; never longer than it may be.

    Returns
    -------
    time : float
        [s]
    """
    return min(expected_time(truck, route, settings), longest_time(route, settings))


def march_seconds(time: float, settings: Settings) -> float:
    """What it takes to march a truck through some time.

    Parameters
    ----------
    time : float
        [s]

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    faults, circuits, simulation = settings.faults, settings.circuits, settings.simulation
    meters = len(circuits.metered())
    watched = faults.occur or faults.watch or circuits.dialled or meters
    ticks, rows = time / simulation.tick_s, time / simulation.log_s
    readings = time / circuits.meter_s if meters else 0.0
    return (
        ticks * (WATCHED_TICK if watched else SOUND_TICK) + rows * ROW + readings * (READING + meters * METER_READING)
    )


def trip_seconds(inputs: Inputs) -> float:
    """What it takes to drive a trip and to pack what a page is sent.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    return BEGIN + march_seconds(usual_time(inputs.truck.truck, inputs.route, inputs.settings), inputs.settings)


def trip_file_seconds(inputs: Inputs, name: str) -> float:
    """What it takes to drive a trip and write one of its files.

    Parameters
    ----------
    name : str
        As in `dashboard.trip.work.file_of`.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    rows = usual_time(inputs.truck.truck, inputs.route, inputs.settings) / inputs.settings.simulation.log_s
    return trip_seconds(inputs) + {"trace.csv": rows * ROW_AS_TEXT, "report.html": REPORT}.get(name, 0.0)


# ---------------------------------------------------------------- of the dynamometer

SPAN = 1700.0  # rpm a sweep goes through at most, assumed
OTHER_TESTS = 300.0  # s of the truck's time that a test without sweep marches through, rounded up
WARM_UP = 600.0  # s of it before a run, from cold
SOUND_TOO = 2.0  # a sweep is made with a sound engine, too


def dyno_seconds(inputs: Inputs) -> float:
    """What a run on the dynamometer takes.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    dyno = inputs.settings.dyno
    sweep = SPAN / dyno.step_rpm * dyno.step_s if dyno.step_rpm else SPAN / dyno.rate_rpm_per_s
    return BEGIN + march_seconds(WARM_UP + OTHER_TESTS + SOUND_TOO * sweep * (1 + dyno.both_ways), inputs.settings)


def dyno_file_seconds(inputs: Inputs, name: str) -> float:
    """What a run on the dynamometer and one of its files take.

    Parameters
    ----------
    name : str
        As in `dashboard.dyno.work.file_of`.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    return dyno_seconds(inputs) * (2.0 if name.endswith(".csv") else 1.0) + REPORT


# ---------------------------------------------------------------- of the hidden fault

TEST = 0.4  # s of most tests of the menu, and of the visit to the yard before the first
SLOW_TESTS = ("drive", "rollers", "cut-out")
SLOW_TEST = 0.8  # s
OWN_TICKS = 100.0  # a second of a drive
MARKING = 7.0  # s: every test of the menu with many causes in turn
FEWEST = 4.0  # causes that many tests leave, assumed


def own_drive_seconds(text: str) -> float:
    """What a drive over a road of the student's own takes.

    Parameters
    ----------
    text : str
        The test, as it is asked for.

    Returns
    -------
    seconds : float
        0 for any other test. [s]
    """
    from sim.hidden.menu import LONGEST_ROAD, read_request
    from sim.hidden.truck_under_test import DRIVES

    try:
        request = read_request(text)
        if request.name != "drive" or (request.about in DRIVES and not request.changes):
            return 0.0
        length = DRIVES.get(request.about, (request.about, ()))[0]
        metres = min(known_road(length).length, LONGEST_ROAD)
    except HaulbenchError:
        metres = LONGEST_ROAD  # whoever makes the test refuses it
    return BEGIN + metres / USUAL_SPEED * OWN_TICKS * WATCHED_TICK


def tried_seconds(session: Any, key: bytes, text: str) -> float:
    """What a test takes; a drive that would make the marking of the case too long is refused before it is made.

    Parameters
    ----------
    text : str
        The test.

    Returns
    -------
    seconds : float
        Of one processor. [s]

    Raises
    ------
    RunError
        All drives of the case could not be marked any more.
    """
    own = own_drive_seconds(text)
    if own:
        marking = marking_seconds({"tests": [*session["tests"], {"test": text}]})
        if marking > MOST_SECONDS:
            raise RunError(say.costly_drive(test=text, seconds=marking, most=MOST_SECONDS))
    return own + (SLOW_TEST if text.strip().startswith(SLOW_TESTS) else TEST)


def marking_seconds(session: Any) -> float:
    """What the marking of a case takes: drives of the student's own are made again with every cause that is still possible.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    from sim.hidden.causes import CAUSES

    seconds, left, made = MARKING, float(len(CAUSES)), set()
    for entry in session["tests"]:
        text = str(entry["test"])
        if text not in made:
            seconds += left * own_drive_seconds(text)
            made.add(text)
        left = max(0.5 * left, FEWEST)
    return seconds


# ---------------------------------------------------------------- of studies

COUNT = ("simulation", "faults", "circuits", "cruise")  # tables whose changes change what a trip takes


def study_seconds(plan: Plan) -> float:
    """What all trips of a study take.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    if plan.study.best:
        return plan.total * point_seconds(*plan.job(plan.point(1)))
    known: dict[tuple[str, ...], float] = {}
    total = 0.0
    for point in plan.points():
        alike = (point.road, point.settings, *_counting(point.changes))
        if alike not in known:
            known[alike] = point_seconds(*plan.job(point))
        total += known[alike]
    return total


def point_seconds(truck: TruckFile, road: Route, settings: Settings, changes: tuple[str, ...], traced: bool) -> float:
    """What one trip of a study takes.

    Parameters
    ----------
    changes : tuple of str
        `table.key=value`.
    traced : bool
        Whether its trace is kept.

    Returns
    -------
    seconds : float
        Of one processor. [s]
    """
    try:
        settings = changed_settings(settings, _counting(changes))
    except HaulbenchError:
        return BEGIN  # it will be refused
    time = usual_time(truck.truck, road, settings)
    return BEGIN + march_seconds(time, settings) + time / settings.simulation.log_s * ROW_AS_TEXT * traced


def _counting(changes: Sequence[str]) -> list[str]:
    """The changes that change what a trip takes."""
    return [change for change in changes if change.partition(".")[0] in COUNT]
