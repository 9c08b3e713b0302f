"""What breaks off a trip, and what is wrong with a command line."""

from collections.abc import Sequence

from sim.messages._parts import shortened


def too_many_watches(*, time_s: float, most: int) -> str:
    """Said when more waits for a place, speed or temperature run at once than the kernel has room for."""
    return (
        f"run stopped at {time_s:.2f} s: more than {most} watch points wait at once;"
        " let those that nobody waits for go before asking for more"
    )


def left_the_numbers(*, time_s: float, distance_km: float, quantities: Sequence[str], last_event: str) -> str:
    """Said when something of the truck is no finite number any more; more than one quantity may leave in one tick."""
    return (
        f"run stopped at {time_s:.2f} s, {distance_km:.2f} km: {' and '.join(quantities)} became infinite or not a number."
        f" Last event: {shortened(last_event)}. Check the values that were changed for this trip."
    )


def result_left_the_numbers(*, key: str, ended: str) -> str:
    """Said when a trip or a run has ended and a number of its summary is not finite."""
    return (
        f"the run ended as {shortened(ended)}, but {shortened(key)} of its summary is infinite or not a number: no result is given."
        " Check the values that were changed for this run."
    )


def too_few_workers(*, workers: int) -> str:
    """Said when a pool is asked for without any worker process."""
    return f"workers is {workers}; give 1 or more, or leave it out for one a core"


def pool_closed() -> str:
    """Said when a job is given to a pool that is closed."""
    return "the pool of worker processes is closed; make a new one"


def workers_died(*, times: int) -> str:
    """Said when the worker processes of a pool die at a job again and again."""
    return (
        f"worker processes died {times} times at this job; give it more memory or less work, and start a script of your own"
        ' below the line if __name__ == "__main__":'
    )


def over_time(*, seconds: float) -> str:
    """Said when a job takes longer in a worker process than it was allowed, and is ended."""
    return (
        f"this took more than the {seconds:.1f} s it was allowed, and was ended; give it less to do: a shorter road, a longer"
        " tick, fewer failures or meters"
    )


def command_line(*, problem: str, command: str) -> str:
    """Said when the parser of the command line does not understand it; the problem is in the parser's words."""
    return f"{shortened(problem, 400)}. {shortened(command)} --help shows what is allowed."


def no_whole_number(*, given: str) -> str:
    """Said when a flag takes a whole number and something else stands behind it."""
    return f'"{shortened(given)}" is no whole number; write it in digits 0 to 9, for example 4'


def no_number(*, given: str) -> str:
    """Said when a flag takes a number and something else stands behind it."""
    return f'"{shortened(given)}" is no number; write it in digits 0 to 9, for example 1.5'


def empty_word(*, after: str) -> str:
    """Said when a word of the command line is empty."""
    return f'an empty text stands behind "{shortened(after)}"; write what belongs there, or leave it out'


def unseen_letter(*, after: str, given: str) -> str:
    """Said when a word of the command line has a line break in it, or a character that nobody can see."""
    return f'behind "{shortened(after)}": "{shortened(given)}" has a line break or a control character in it; write it without'


def refused(*, problem: str) -> str:
    """How the command says any message."""
    return f"haulbench: {problem}"


def interrupted() -> str:
    """Said when a person stops the command before anything is written."""
    return "haulbench: interrupted; nothing was written"
