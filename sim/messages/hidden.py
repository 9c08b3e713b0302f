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


def roads_too_long(*, road: str, together_km: float, most_km: float) -> str:
    """Said when the roads of a student's own that a case has driven become too long together."""
    return (
        f"drive {shortened(road)}: with it the roads of your own in this case would be {together_km:.1f} km together; allowed is at"
        f" most {most_km:.0f} km; drive a shorter road, or one of the named drives"
    )


def long_test(*, letters: int, most: int) -> str:
    """Said when a test is asked for in more words than any test has."""
    return f"a test of {letters} letters; allowed are {most}; leave out what it does not need"


def long_name(*, name: str, letters: int, most: int) -> str:
    """Said when the name of a class, a student or a round is too long to be told from another."""
    return f'"{shortened(name)} ..." has {letters} letters; allowed in a name are {most}; use a shorter one'


def of_line(*, where: str, line: int, problem: str) -> str:
    """Said when a line of a list of students cannot be used; the problem is a message of its own."""
    return f"{shortened(where)} line {line}: {problem}"


def unreadable_name(*, name: str) -> str:
    """Said when a name has letters in it that cannot be shown."""
    return f'"{shortened(name)}" has letters that cannot be shown; use a name in plain letters'


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


def session_field(*, file: str, place: str, problem: str) -> str:
    """Said when a sealed session holds what no session holds: whoever made it was not this program."""
    return f"{shortened(file)}: {shortened(place)}: {shortened(problem)}; use the session as it was made"


def session_does_not_add_up(*, file: str, place: str) -> str:
    """Said when fields of a sealed session contradict each other."""
    return f"{shortened(file)}: {shortened(place)} does not fit the rest of the session; use the session as it was made"


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


def nobody_hosts() -> str:
    """Said when a case of a class is asked for on a server that hosts none."""
    return "this server hosts no hidden fault for a class; use a practice case, or ask the instructor"


def whose_case(*, given: str) -> str:
    """Said when a request names neither a practice session nor a student."""
    return f"{shortened(given)}: whose case is meant? Give a session of a practice case, or a name and its entry word"


def practice_range(*, given: str, most: int) -> str:
    """Said when the number of a practice case is none."""
    return f"practice case {shortened(given)}; allowed is a whole number from 0 to {most}"


def no_student_names() -> str:
    """Said when entry words are asked for and nobody is named."""
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


def folder_in_use(*, folder: str) -> str:
    """Said when another server keeps its sessions in the folder."""
    return (
        f"--sessions {shortened(folder)}: another server keeps its sessions there; end that one, or name another folder"
    )


def set_aside(*, file: str, place: str, reason: str) -> str:
    """Said when a file of sessions is no session of the class, and the class goes on without it."""
    return (
        f"{shortened(file)} is set aside as {shortened(place)}: {shortened(reason)}; the class goes on without it; use a copy of"
        " the file if there is one"
    )


def set_aside_before() -> str:
    """Said of a file that was set aside when the server was started before."""
    return "set aside when the server was started before; use a copy of the file, or remove it"


def not_set_aside(*, file: str, reason: str) -> str:
    """Said when a file of sessions is no session of the class and cannot be given another name."""
    return f"{shortened(file)}: this is no session of the class, and cannot be set aside ({shortened(reason)}); move it elsewhere"


def another_file(*, file: str, expected: str) -> str:
    """Said when a session is not in the file that its class, round and student have."""
    return f"{shortened(file)}: the session in it belongs into {shortened(expected)}; use the file as it was made"


def session_not_kept(*, reason: str) -> str:
    """Said when the server cannot keep a session: what was asked for does not count."""
    return f"the server could not keep this ({shortened(reason)}), so it does not count; let the instructor know"


def case_busy(*, most: int) -> str:
    """Said when more requests about one case come at once than wait for each other."""
    return f"{most} requests about this case are under way already; allowed is to wait for them, and to ask again"


def class_full(*, most: int) -> str:
    """Said when a server keeps as many sessions as it may."""
    return f"{most} sessions are kept, and no more fit; ask the instructor to start the server for another round"
