"""What is said to those who ask the server something it does not take."""

from collections.abc import Sequence

from sim.messages._parts import shortened


def of_choice(*, number: int, problem: str) -> str:
    """Said when one of the choices of the Gearing page cannot be used; the problem is a message of its own."""
    return f"Choice {number}: {problem}"


def long_choices(*, letters: int, most: int) -> str:
    """Said when the text of the choices is too long."""
    return f"choices: {letters} letters are given; {most} at most are taken"


def long_choice(*, number: int, text: str) -> str:
    """Said when a choice has more than three parts."""
    return f"choice {number}: {shortened(text)}; give an axle ratio, a gearbox and a tyre radius at most"


def many_choices(*, given: int, most: int) -> str:
    """Said when more is to be compared than can be told apart."""
    return f"{given} choices are given; {most} at most can be compared. Remove some."


def no_line(*, name: str) -> str:
    """Said when something else stands where one line of text belongs."""
    return f"{shortened(name)}: give one line of text"


def no_number(*, key: str, text: str) -> str:
    """Said when something else stands where a number belongs."""
    return f"{shortened(key)} is {shortened(repr(text))}; give a number"


def no_such_file(*, kind: str) -> str:
    """Said when a file of a road is asked for that no road has."""
    return f"no file of a road is called {shortened(repr(kind))}; give csv or toml"


def no_files_of_grade(*, road: str) -> str:
    """Said when the files of a constant grade are asked for."""
    return f"{shortened(road)}: a constant grade has no files; write it where a road is asked for"


def files_given_up(*, road: str) -> str:
    """Said when the files of an upload are no longer in memory."""
    return f"{shortened(road)}: the files of that road are no longer kept; upload the recording again"


def road_given_up(*, road: str) -> str:
    """Said when an uploaded road is no longer in memory."""
    return (
        f"{shortened(road)}: that uploaded road is no longer kept on the server (it keeps uploads in memory only, and not for"
        " ever); upload it again on the Roads page"
    )


def no_setup(*, allowed: Sequence[str]) -> str:
    """Said when a request holds something else than it may."""
    return f"this cannot be read as a request; give {', '.join(allowed)} and nothing else"


def no_json() -> str:
    """Said when a body is no JSON."""
    return "what was sent is no JSON; give one table in JSON, numbers as numbers"


def much_json(*, most: int) -> str:
    """Said when a body holds more values than any page sends, or a number beyond all bounds."""
    return f"what was sent holds too much; {most} values and numbers of 18 digits at most are taken"


def deep_json(*, most: int) -> str:
    """Said when tables stand within tables too deep."""
    return f"what was sent is too deep; {most} lists and tables within each other at most are taken"


def not_as_asked(*, where: str, given: object, wanted: str) -> str:
    """Said when a value of a request does not fit the schema of its route."""
    return f"{shortened(where)}: '{shortened(str(given))}' was given; give {shortened(wanted)}"


def no_callback() -> str:
    """Said when somebody calls a callback as no page does."""
    return "this is no request of a page of this server; use the page itself, loaded once more"


def many_changes(*, most: int) -> str:
    """Said when the changes of a setup are no table, or too many."""
    return f"changes cannot be read; give key and value, {most} at most"


def long_text(*, name: str, most: int) -> str:
    """Said when a name or value of a setup is no text, or too long."""
    return f"{shortened(name)}: give a text of {most} letters at most"


def many_values(*, most: int) -> str:
    """Said when a link carries too many values."""
    return f"the link has too many values; it may have {most} at most"


def named_twice(*, key: str) -> str:
    """Said when a link names a key twice."""
    return f"the link names {shortened(key)} twice; leave one of them out"


def fine_steps(*, tick_s: float, rows_s: float) -> str:
    """Said when a trip on the server would take finer steps than a class can share."""
    return (
        f"simulation: on the server a tick needs {tick_s:g} s at least and rows of the trace {rows_s:g} s; use the command line"
        " for finer ones"
    )


def long_trip(*, most_s: float) -> str:
    """Said when a trip on the server may take too long."""
    return f"simulation.time_limit_s: on the server a trip may take {most_s:g} s; give that at most"


def long_road(*, title: str, most_km: float) -> str:
    """Said when a road is too long for the server."""
    return f"{shortened(title)}: on the server a road may have {most_km:.0f} km at most; use the command line for longer ones"


def not_known(*, name: str, what: str, known: Sequence[str]) -> str:
    """Said when a name that came over the network is none of the shipped ones."""
    return f'"{shortened(name)}" is not known here; use one of the {shortened(what)}: {", ".join(known)}'


def no_answer(*, seconds: float) -> str:
    """Said when the server is too busy to answer."""
    return f"no answer after {seconds:.0f} s: the server has too much to do; leave it a moment and try again"


def many_jobs(*, waiting: int) -> str:
    """Said when too many jobs wait already."""
    return f"{waiting} jobs are waiting already; leave the server a moment and try again"


def many_of_yours(*, waiting: int) -> str:
    """Said when somebody asks for more while much of what he has asked for is not finished."""
    return f"{waiting} of your own questions are waiting already; leave them a moment and try again"


def too_costly(*, seconds: float, most: float) -> str:
    """Said when a question would take too long for a shared server, before it is asked."""
    return (
        f"this would take about {seconds:.0f} s of a processor; on the server one question may take {most:g} s. Choose a shorter"
        " road or a longer simulation.tick_s or circuits.meter_s, take failures and meters out, or use the command line"
    )


def costly_drive(*, test: str, seconds: float, most: float) -> str:
    """Said when a test of a hidden fault would make the marking of the case too long for a shared server."""
    return (
        f'"{shortened(test)}" would make the marking of this case take about {seconds:.0f} s of a processor, since every drive is'
        f" made again with each cause that is still possible; allowed is {most:g} s. Drive a shorter"
        " road, or make other tests first"
    )


def stopping() -> str:
    """Said when the server ends while something is being worked out."""
    return "the server is stopping; start it again and ask again"


def no_port(*, port: int) -> str:
    """Said when a port is none."""
    return f"--port is {port}; allowed is 1 to 65535, or 0 for any that is free"


def not_shared(*, host: str) -> str:
    """Said when others could reach the server and that was not asked for."""
    return f"--host {shortened(host)} can be reached from other machines; add --share if that is wanted, or leave --host out"


def half_certificate(*, missing: str) -> str:
    """Said when a certificate is given without its key, or the key without it."""
    return f"{shortened(missing)} is missing; give --certificate and --private-key together, both as PEM files"


def locked_key(*, file: str) -> str:
    """Said when a key needs a password."""
    return (
        f"--private-key {shortened(file)}: the key is locked with a password; give one without, readable by you alone"
    )


def no_certificate(*, certificate: str, key: str, reason: str) -> str:
    """Said when certificate and key cannot be used together."""
    return (
        f"--certificate {shortened(certificate)} with --private-key {shortened(key)} cannot be used"
        f" ({shortened(reason)}); give a certificate chain and the key"
        " it was made for, both as PEM files"
    )


def no_proxy(*, given: str) -> str:
    """Said when the proxy whose word is to be taken is no address."""
    return f'--proxy "{shortened(given)}" is no address; give the one in numbers from which the proxy asks, for example 127.0.0.1'


def no_host(*, host: str) -> str:
    """Said when a host is no address."""
    return f"--host {shortened(host)} is no address; give one in numbers, for example 127.0.0.1"


def port_taken(*, port: int, host: str, reason: str, other: int) -> str:
    """Said when the port cannot be listened on."""
    return (
        f"port {port} on {shortened(host)} cannot be used ({shortened(reason)}); another program has it, or it is"
        " not allowed: give another with"
        f" --port, for example --port {other}"
    )


def large_study(*, trips: int, kilometres: float, most: int, most_km: float) -> str:
    """Said when a study is too large to be shared by a class."""
    return (
        f"{trips} trips over {kilometres:.0f} km are asked for; on the server a study may have {most} trips and {most_km:.0f} km"
        " at most. Download it and use haulbench study for more"
    )


def slow_study(*, seconds: float, most: float) -> str:
    """Said when the trips of a study would take too long together for a shared server."""
    return (
        f"this study would take about {seconds:.0f} s of a processor; on the server a study may take {most:g} s. Choose fewer or"
        " shorter trips, or take failures and meters out. Download it and use haulbench study for more"
    )


def study_of_yours(*, waits: bool) -> str:
    """Said when somebody starts a study while one of his own is under way or waits."""
    state = "waits for its turn" if waits else "is under way"
    return f"a study of yours {state} already; stop it, or leave it a moment, and try again"


def many_studies(*, most: int) -> str:
    """Said when somebody starts a study while as many of others wait as may."""
    return f"{most} studies are waiting already; leave them a moment and try again"


def nothing_chosen(*, word: str) -> str:
    """Said when a study has no road or no truck."""
    return f"no {shortened(word)} is chosen; use at least one {shortened(word)}"


def key_not_here(*, key: str) -> str:
    """Said when something is to be varied that has its own place, or none on the server."""
    return (
        f"{shortened(key)} cannot be varied here; use table.key of truck or settings, but not simulation, truck,"
        " road or settings"
    )
