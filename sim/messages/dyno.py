"""What is said when something cannot be done on the dyno."""

from collections.abc import Sequence

from sim.messages._parts import did_you_mean, shortened


def no_such_fault(*, name: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when no fault of the engine has a name."""
    return f"--fault {shortened(name)}: there is no such fault.{did_you_mean(near)} Use one of {', '.join(known)}"


def ends_below_idle(*, lowest_rpm: float, idle_rpm: float) -> str:
    """Said when a full-load run is to end below low idle."""
    return f"dyno.lowest_rpm is {lowest_rpm:g}, below the low idle of this engine, {idle_rpm:g} rpm; the run must end above it"


def ends_too_high(*, lowest_rpm: float, governed_rpm: float, most_rpm: float) -> str:
    """Said when a full-load run is to end where it begins."""
    return (
        f"dyno.lowest_rpm is {lowest_rpm:g}; a run goes down from above governed speed, {governed_rpm:g} rpm: let it end at"
        f" {most_rpm:g} rpm or below"
    )


def wheels_slip(*, grip: float) -> str:
    """Said when the drive wheels slip on the rollers."""
    return (
        "the drive wheels slip on the rollers: use a higher gear (dyno.gear; 0 for the one nearest to direct) or more grip"
        f" (weather.grip is {grip:g})"
    )


def not_held(*, reached_rpm: float, lowest_rpm: float, capacity_n_m: float) -> str:
    """Said when the absorber is too weak."""
    return (
        f"the absorber could not hold the engine: it stayed above {reached_rpm:.0f} rpm, the run was to end at"
        f" {lowest_rpm:.0f} rpm; raise dyno.capacity_n_m, {capacity_n_m:g} N m"
    )


def only_on_the_flywheel(*, test: str, form: str) -> str:
    """Said when a test of the bare engine is asked for on rollers."""
    return f'the {shortened(test)} test is made on the flywheel; dyno.form is "{shortened(form)}": leave it out'


def grade_not_reached(*, pedal_percent: float, kind: str) -> str:
    """Said when a truck does not come to the grade of the governor test."""
    return (
        f"with the pedal at {pedal_percent:g} % and a {shortened(kind)} governor the truck does not come to the grade; raise"
        " dyno.pedal_percent"
    )


def no_prediction(*, text: str, test: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when a prediction is of no form, or of nothing that the test gives."""
    return (
        f"--predict {shortened(text)}: write KEY=VALUE with a KEY of the {shortened(test)} test.{did_you_mean(near)} Use one of"
        f" {', '.join(known)}"
    )


def prediction_not_read(*, text: str, problem: str) -> str:
    """Said when the value of a prediction cannot be read; the problem is a message of its own."""
    return f"--predict {shortened(text)}: {problem}"


def brake_switched_off() -> str:
    """Said when the engine brake is to be measured and is switched off."""
    return "retarding.switch is false: the engine brake is off, there is nothing to measure; leave it out"


def stage_held(*, stage: int) -> str:
    """Said when one stage is held and all are to be measured."""
    return f"drill.hold_stage holds stage {stage}; the retarding test calls each in turn: leave it out"


def no_such_test(*, test: str, known: Sequence[str]) -> str:
    """Said when no dyno test has a name."""
    return f'there is no dyno test called "{shortened(test)}". Use one of {", ".join(known)}'


def no_such_gear(*, asked: int, gears: int) -> str:
    """Said when the gearbox has no such gear."""
    return f"dyno.gear is {asked}; the gearbox of this truck has gears 1 to {gears}"


def faults_clash(*, names: Sequence[str]) -> str:
    """Said when two faults change the same value."""
    return f"--fault {' --fault '.join(names)}: two of them change the same value; name one"


def rate_and_steps(*, rate: str) -> str:
    """Said when a sweep and settled steps are asked for at once."""
    return f"--rate and --steps exclude each other: a sweep at {shortened(rate)}, or settled steps; leave one out"


def cylinder_twice(*, given: Sequence[int]) -> str:
    """Said when a dead cylinder is named twice."""
    return f"dead_cylinders names {', '.join(map(str, given))}, one of them twice; each of 1 to 6 may stand once"


def small_step(*, step_rpm: float) -> str:
    """Said when the steps of a run are too small to settle."""
    return f"step_rpm {step_rpm:g} is too small; use 10 to 500, or 0 for a sweep"


def no_place_on_the_dyno(*, text: str) -> str:
    """Said when something is to happen at a place, on a dyno that stands still."""
    return f'"{shortened(text)}": a dyno has no road; use start or a time such as 60 s in place of the distance'


def no_governed_speed(*, high_idle_rpm: float, loaded_rpm: float) -> str:
    """Said when an engine whose governor is to be tested stands still."""
    return (
        f"the engine stands ({high_idle_rpm:.0f} rpm at full pedal, {loaded_rpm:.0f} rpm under load): there is nothing to govern;"
        " use haulbench run with the same failures to see why"
    )


def no_full_load(*, highest_rpm: float) -> str:
    """Said when an engine does not pull at all."""
    return (
        f"the engine does not pull at full pedal (it reached {highest_rpm:.0f} rpm): no curve can be read; use haulbench run with"
        " the same failures to see why"
    )
