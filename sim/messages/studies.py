"""What is said when a study cannot be asked, driven or kept: where, what was given, what is allowed, what to do."""

from collections.abc import Iterable

from sim.messages._parts import shortened

# what can be wrong with the file of finished trips
NO_FILE = "it is no ordinary file"
NO_TABLE = "nothing of a study stands in it"
NO_OWNER = "it does not say which study it belongs to"
TOO_DEEP = "brackets in it are too deep"
NO_ROW = "a finished trip is not what was put there"


def _near(names: Iterable[str]) -> str:
    """The nearest right names, as a question."""
    found = list(names)
    return f" Did you mean {' or '.join(found)}?" if found else ""


def no_study(*, name: str, near: Iterable[str], known: Iterable[str]) -> str:
    """A study is neither shipped nor a file."""
    return (
        f'no study is called "{shortened(name)}".{_near(near)} Studies: {", ".join(known)}. A path to a TOML file works too, or'
        " the folder of an earlier study."
    )


def another_form(*, where: str, given: object, allowed: int) -> str:
    """A study file is written for another version of this program."""
    return (
        f"{shortened(where)}: form is {shortened(given)}; this version reads form = {allowed}. Write the file anew"
        " in this form, or use"
        " the version that wrote it"
    )


def unknown_table(*, where: str, name: str, near: Iterable[str], known: Iterable[str]) -> str:
    """A table or key of a study file does not exist."""
    return f'{shortened(where)}: nothing is called "{shortened(name)}".{_near(near)} Allowed: {", ".join(known)}'


def no_table(*, where: str, key: str, given: object) -> str:
    """Something else stands where a table belongs."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a table [{shortened(key)}]"


def no_entries(*, where: str, given: object) -> str:
    """Something else stands where the cases belong."""
    return f"{shortened(where)}: case is {shortened(given)}; give entries [[case]] with name and set"


def no_text_there(*, where: str, key: str, given: object) -> str:
    """Something else stands where a text belongs."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a text"


def no_texts(*, where: str, key: str, given: object) -> str:
    """Something else stands where a list of texts belongs."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a list of texts"


def no_values(*, where: str, key: str, given: object) -> str:
    """Something else stands where the values of an axis belong."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a list of values, or a range with from, to and steps"


def no_value(*, where: str, key: str, given: object) -> str:
    """A value of an axis is of a kind that no key takes."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give numbers, texts, true or false"


def no_number(*, where: str, key: str, given: object) -> str:
    """Something else stands where a number belongs."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a number"


def no_whole_number(*, where: str, key: str, given: object, low: int, high: int) -> str:
    """Something else stands where a whole number belongs, or it is out of range."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a whole number from {low} to {high}"


def no_number_between(*, where: str, key: str, given: object, low: float, high: float) -> str:
    """A number is out of range."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a number from {low:g} to {high:g}"


def no_truth(*, where: str, key: str, given: object) -> str:
    """Something else stands where true or false belongs."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give true or false"


def none_of(*, where: str, key: str, given: object, allowed: Iterable[str]) -> str:
    """A text is none of those allowed."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give one of {', '.join(allowed)}"


def no_aim(*, where: str, given: Iterable[str]) -> str:
    """A search has no aim, or two."""
    return f"{shortened(where)}: best has {', '.join(given) or 'nothing'}; give either least or most, with a quantity"


def no_pair(*, where: str, key: str, given: object) -> str:
    """Something else stands where low and high belong."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give [low, high]"


def no_steps(*, where: str, key: str, given: object) -> str:
    """Something else stands where low, high and step belong, or the step does not fit."""
    return (
        f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give [low, high, step] with a step above 0"
        " that fits between low and high"
    )


def no_range(*, where: str, key: str, given: object) -> str:
    """A range is not whole."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give from, to and steps"


def no_plain_number(*, where: str, key: str, given: object) -> str:
    """A key that takes texts stands where only numbers can."""
    return f"{shortened(where)}: {shortened(key)} is {shortened(given)}; give a key that takes a number here"


def too_many_keys(*, where: str, key: str, given: int, most: int) -> str:
    """A sample or a search has more keys than a sequence can fill evenly."""
    return f"{shortened(where)}: {shortened(key)} has {given} keys; it may have {most} at most"


def no_text(*, where: str, key: str, meaning: str) -> str:
    """A text that every study needs is missing."""
    return f'{shortened(where)}: {shortened(key)} is missing; add {shortened(key)} = "..." ({meaning})'


def no_axis(*, where: str, key: str, near: Iterable[str]) -> str:
    """What is to be varied does not exist."""
    return (
        f'{shortened(where)}: nothing to vary is called "{shortened(key)}".{_near(near)} Allowed: truck, road,'
        " settings, or table.key of truck or"
        " settings (haulbench list --keys)"
    )


def bad_value(*, where: str, key: str, problem: str) -> str:
    """A value to be varied cannot be used at all."""
    return f"{shortened(where)}: {shortened(key)}: {problem}"


def empty_axis(*, where: str, key: str) -> str:
    """A list of values is empty."""
    return f"{shortened(where)}: {shortened(key)} has no values; list at least one, or leave it out"


def empty_range(*, where: str, key: str, low: object, high: object) -> str:
    """A range has no inside."""
    return (
        f"{shortened(where)}: {shortened(key)}: the range from {shortened(low)} to {shortened(high)} is empty; the"
        " second number must be above the first"
    )


def repeated_value(*, where: str, key: str, value: str) -> str:
    """A value stands twice."""
    return f"{shortened(where)}: {shortened(key)}: {shortened(value)} is given twice; the trips would be the same. Leave one out"


def varied_twice(*, where: str, key: str) -> str:
    """One key is varied in two places, or set and varied."""
    return f"{shortened(where)}: {shortened(key)} is given in two places; leave one of them out"


def repeated_case(*, where: str, name: str) -> str:
    """Two cases have one name."""
    return f'{shortened(where)}: two cases are called "{shortened(name)}"; give each a name of its own'


def nothing_varied(*, where: str) -> str:
    """A study has one trip only."""
    return (
        f"{shortened(where)}: nothing is varied; add a table [vary] with lists of values, [[case]] entries, a [sample], [best] or"
        " [fuel_test]. For one trip use haulbench run"
    )


def too_many_trips(*, where: str, trips: int, most: int) -> str:
    """A study is larger than any machine should be asked for."""
    return f"{shortened(where)}: {trips} trips; a study may have {most} at most. Vary less, or take a [sample]"


def unknown_quantity(*, where: str, key: str, name: str, near: Iterable[str]) -> str:
    """A reported quantity does not exist."""
    return (
        f'{shortened(where)}: {shortened(key)}: no quantity is called "{shortened(name)}".{_near(near)} haulbench'
        " study --quantities lists them"
    )


def same_everywhere(*, where: str, key: str) -> str:
    """A key of the truck is to be searched for several trucks or roads at once."""
    return (
        f"{shortened(where)}: [best] looks for one answer, but {shortened(key)} is varied as well; leave [vary],"
        " [[case]] and [sample] out"
    )


def all_refused(*, where: str, trips: int, first: str) -> str:
    """Not one of the trips can be driven."""
    return f"{shortened(where)}: none of the {trips} trips can be driven. The first: {first}. Change what they share"


def refused_point(*, number: int, total: int, combination: str, problem: str) -> str:
    """One trip of a study cannot be driven."""
    return f"trip {number} of {total} ({shortened(combination)}): {problem}"


def folder_in_the_way(*, folder: str) -> str:
    """The results folder holds other files."""
    return f"--out {shortened(folder)}: the folder is not empty and holds no study; name another one"


def another_study(*, folder: str, finished: int) -> str:
    """The results folder holds a study that asks something else, or was driven by another version of the model."""
    return (
        f"--out {shortened(folder)}: holds {finished} finished trips of another study, other inputs or another"
        " version of the model;"
        " name another folder, or add --force to drop them"
    )


def cannot_write(*, place: str, reason: str, kept: int) -> str:
    """Results cannot be written; what is finished is safe."""
    return (
        f"{shortened(place)}: cannot be written ({shortened(reason)}); {kept} finished trips are kept. Make room"
        " or name another folder, then start the"
        " same command again: it goes on where it stopped"
    )


def row_broken(*, number: int) -> str:
    """One finished trip of a study cannot be read."""
    return f"trip {number} is broken"


def journal_put_aside(*, place: str, reason: str, aside: str, kept: int) -> str:
    """The file of finished trips is damaged; it is kept, and the study goes on with what can be read of it."""
    return (
        f"{shortened(place)}: is damaged ({shortened(reason)}); it is kept as {shortened(aside)}. {kept} finished"
        " trips could be read and are taken over; the others"
        " are driven again, nothing needs to be done"
    )


def broken_journal(*, place: str, reason: str) -> str:
    """The file of finished trips breaks while it is in use."""
    return (
        f"{shortened(place)}: cannot be read as finished trips ({shortened(reason)}); start the same command"
        " again: what can be read is taken over,"
        " and the rest is driven again"
    )


def broken_record(*, place: str, reason: str) -> str:
    """The record of a study cannot be read."""
    return (
        f"{shortened(place)}: cannot be read as the record of a study ({shortened(reason)}); give the study file"
        " instead, or name another folder"
    )


def in_use(*, folder: str) -> str:
    """Another process is driving this study."""
    return f"--out {shortened(folder)}: another process is driving this study; wait for it, or name another folder"


def broken_catalogue(*, place: str, reason: str) -> str:
    """The list of studies cannot be used; results do not depend on it."""
    return (
        f"{shortened(place)}: the list of studies cannot be used ({shortened(reason)}); results are not touched by"
        " that. Move the file away and a new"
        " list is begun"
    )


def no_address(*, address: str) -> str:
    """What is given as the address of a cluster is none."""
    return f"--cluster {shortened(address)}: is no address; write host and port of the scheduler, for example tcp://lab-1:8786"


def no_cluster(*, address: str, reason: str) -> str:
    """The cluster does not answer."""
    return (
        f"--cluster {shortened(address)}: cannot be reached ({shortened(reason)}); start one with: dask scheduler,"
        " and on each machine:"
        f" dask worker {shortened(address)}"
    )


def no_cluster_library() -> str:
    """The optional library is not installed."""
    return '--cluster needs the cluster extra; install it with: pip install -c constraints.txt -e ".[cluster]"'


def no_workers(*, address: str) -> str:
    """The cluster has nobody to work."""
    return (
        f"--cluster {shortened(address)}: the scheduler has no workers; start one on each machine with: dask"
        f" worker {shortened(address)}"
    )


def cluster_lost(*, address: str, kept: int) -> str:
    """The cluster went away on the way."""
    return (
        f"--cluster {shortened(address)}: the cluster went away; {kept} finished trips are kept. Start it again, then the"
        " same command: it goes on where it stopped"
    )


def other_model(*, address: str, theirs: str, ours: str) -> str:
    """A cluster worker runs other sources."""
    return (
        f"--cluster {shortened(address)}: a worker there has model version {shortened(theirs)}, this machine"
        f" {shortened(ours)}; install the same"
        " version on every machine"
    )


def not_enough_runs(*, given: int) -> str:
    """A fuel test needs three runs for its band."""
    return f"fuel_test.runs is {given}; give 2 to 20, the usual number is 3"


def traces_need_a_folder(*, name: str) -> str:
    """Traces are asked for, but nowhere to keep them is named."""
    return (
        f"{shortened(name)}: traces are asked for, so a folder is needed; add --out DIR (out=... in Python), or"
        " set traces = false"
    )


def broken_results(*, place: str, reason: str) -> str:
    """The results file cannot be read."""
    return (
        f"{shortened(place)}: cannot be read as results ({shortened(reason)}); start the study again with this"
        " --out: finished trips are not driven"
        " again, and the file is made anew"
    )


def nothing_named(*, where: str, word: str) -> str:
    """A study names neither a road or truck nor settings that do."""
    return (
        f"{shortened(where)}: no {shortened(word)} is named; add {shortened(word)} with a name from haulbench"
        f" list, or vary {shortened(word)}"
    )


def no_case_name(*, where: str) -> str:
    """A case has no name."""
    return f'{shortened(where)}: case.name is missing; give each [[case]] a name = "..."'


def bad_case(*, where: str, case: str, problem: str) -> str:
    """What a case changes cannot be used."""
    return f'{shortened(where)}: case "{shortened(case)}": {problem}'
