"""What is wrong with a hidden fault: its session, the key, a test asked for, an answer."""

from collections.abc import Sequence

from sim.messages._parts import shortened


def no_test(*, text: str, known: Sequence[str]) -> str:
    """Said when a test is asked for that there is none of."""
    return f'no test is called "{shortened(text)}"; use one of {", ".join(known)}'


def takes_nothing(*, name: str, about: str) -> str:
    """Said when something follows the name of a test that is about nothing in particular."""
    return f'{shortened(name)} "{shortened(about)}": {shortened(name)} stands alone; leave the rest out'


def about_what(*, name: str, about: str, known: Sequence[str]) -> str:
    """Said when a test does not say what it is about, or is about what it cannot be."""
    return f'{shortened(name)} "{shortened(about)}": {shortened(name)} needs one of {", ".join(known)}'


def not_the_drivers(*, change: str, tables: Sequence[str]) -> str:
    """Said when a drive is to change what is not the driver's."""
    return f'drive: "{shortened(change)}" is not for the driver to change; write table.key=value with one of {", ".join(tables)}'


def road_too_long(*, road: str, length_km: float, most_km: float) -> str:
    """Said when a road is too long for a drive in search of a fault."""
    return f"drive {shortened(road)}: {length_km:.1f} km; allowed is at most {most_km:.0f} km"


def session_there(*, file: str) -> str:
    """Said when a session is started over another."""
    return f"{shortened(file)}: a session is there already; name another file, or --force to begin again"


def session_no_text(*, file: str) -> str:
    """Said when a file is no text, or no JSON."""
    return (
        f"{shortened(file)}: this is no session of a hidden fault: it is no JSON text; use a file that haulbench"
        " fault start made"
    )


def session_form(*, file: str, form: int) -> str:
    """Said when a file is JSON of another kind, or of another version."""
    return (
        f'{shortened(file)}: this is no session of a hidden fault: "form" must be {form}; use a file that'
        " haulbench fault start made"
    )


def session_keys(*, file: str, keys: Sequence[str]) -> str:
    """Said when a session has other keys than a session has."""
    return (
        f"{shortened(file)}: this is no session of a hidden fault: its keys must be {', '.join(keys)}; use the"
        " file as it was made"
    )


def seal_broken(*, file: str) -> str:
    """Said when a session was changed outside the program, or another key is given than the one it was made with."""
    return (
        f"{shortened(file)}: the seal does not fit: the file was changed by hand, or made with another key; start"
        " a new session, or give"
        " the key it was made with"
    )


def needs_key(*, file: str) -> str:
    """Said when a session of an instructor is opened without the key."""
    return f"{shortened(file)}: this session needs the instructor's key; give --key-file"


def short_key(*, file: str, given: int, least: int) -> str:
    """Said when the key of an instructor is short enough to be guessed."""
    return f"{shortened(file)}: a key of {given} bytes can be guessed; allowed is at least {least} bytes of chance"


def needs_names(*, missing: Sequence[str]) -> str:
    """Said when a case with a key does not name its class, student and round."""
    return f"a case with a key needs {', '.join(missing)}; give them"


def level_range(*, given: int, least: int, most: int) -> str:
    """Said when there is no such level."""
    return f"level {given}; allowed is {least} to {most}"


def too_many_tests(*, most: int) -> str:
    """Said when a session holds as many tests as it may."""
    return f"{most} tests were asked for, and no more fit; allowed is one answer now: haulbench fault answer"


def closed(*, file: str) -> str:
    """Said when a session is over."""
    return f"{shortened(file)}: the answer is given and marked; look at it with haulbench fault report, or start another session"


def no_such_part(*, part: str, known: Sequence[str]) -> str:
    """Said when an answer names a part there is none of."""
    return f'no part is called "{shortened(part)}"; use one of {", ".join(known)}'


def no_such_failure(*, part: str, failure: str, known: Sequence[str]) -> str:
    """Said when an answer names a failure a part cannot have."""
    return f'{shortened(part)} cannot be "{shortened(failure)}"; use one of {", ".join(known)}'


def no_such_evidence(*, number: int, made: int) -> str:
    """Said when an answer rests on a test that was not made."""
    return f"--because names test {number}; the tests made are 1 to {made}; name some of them"


def not_closed(*, file: str) -> str:
    """Said when the marking is asked for before an answer."""
    return f"{shortened(file)}: no answer is given yet; give one with haulbench fault answer"


def session_not_written(*, file: str, reason: str) -> str:
    """Said when a session cannot be kept."""
    return f"{shortened(file)}: the session cannot be written ({shortened(reason)}); name a file in a folder that can be written"


def wrong_entry() -> str:
    """Said when name and entry code do not belong together; it does not say which of them is wrong."""
    return "this name and this entry code do not belong together; use both as your instructor has written them down"


def nobody_hosts() -> str:
    """Said when a case of a class is asked for on a server that hosts none."""
    return "this server hosts no hidden fault for a class; use a practice case, or ask the instructor"


def whose_case(*, given: str) -> str:
    """Said when a request names neither a practice session nor a student."""
    return f"{shortened(given)}: whose case is meant? Give a session of a practice case, or a name and its entry code"


def practice_range(*, given: str, most: int) -> str:
    """Said when the number of a practice case is none."""
    return f"practice case {shortened(given)}; allowed is a whole number from 0 to {most}"


def name_not_plain(*, file: str, line: int) -> str:
    """Said when a name in the list of a class has a character in it that nobody can see or type."""
    return (
        f"--students {shortened(file)} line {line}: the name has a control character in it; write it in plain letters"
    )


def no_student_names() -> str:
    """Said when entry codes are asked for and nobody is named."""
    return "no student is named; give names, or --students with a file that has a name on each line"


def hosting_needs(*, missing: Sequence[str]) -> str:
    """Said when a hidden fault is to be hosted and something is missing."""
    return f"a hidden fault for a class needs {', '.join(missing)}; give them"


def hosting_without_key(*, given: Sequence[str]) -> str:
    """Said when a class is named and no key is given."""
    return f"{', '.join(given)} without --key-file; give the file of the instructor's key, or leave the rest out"


def no_session_folder(*, folder: str, reason: str) -> str:
    """Said when the folder for sessions cannot be used."""
    return f"--sessions {shortened(folder)}: cannot be used ({shortened(reason)}); name a folder that can be written"


def class_full(*, most: int) -> str:
    """Said when a server keeps as many sessions as it may."""
    return f"{most} sessions are kept, and no more fit; ask the instructor to start the server for another round"
