"""What is wrong with a hidden fault: its session, the key, a test asked for, an answer."""

from collections.abc import Sequence


def no_test(*, text: str, known: Sequence[str]) -> str:
    """Said when a test is asked for that there is none of."""
    return f'no test is called "{text[:60]}"; use one of {", ".join(known)}'


def takes_nothing(*, name: str, about: str) -> str:
    """Said when something follows the name of a test that is about nothing in particular."""
    return f'{name} "{about[:60]}": {name} stands alone; leave the rest out'


def about_what(*, name: str, about: str, known: Sequence[str]) -> str:
    """Said when a test does not say what it is about, or is about what it cannot be."""
    return f'{name} "{about[:60]}": {name} needs one of {", ".join(known)}'


def not_the_drivers(*, change: str, tables: Sequence[str]) -> str:
    """Said when a drive is to change what is not the driver's."""
    return (
        f'drive: "{change[:60]}" is not for the driver to change; write table.key=value with one of {", ".join(tables)}'
    )


def road_too_long(*, road: str, length_km: float, most_km: float) -> str:
    """Said when a road is too long for a drive in search of a fault."""
    return f"drive {road[:60]}: {length_km:.1f} km; allowed is at most {most_km:.0f} km"


def no_session(*, file: str) -> str:
    """Said when there is no session file."""
    return f"{file}: there is no such session; start one with haulbench fault start {file}"


def session_there(*, file: str) -> str:
    """Said when a session is started over another."""
    return f"{file}: a session is there already; name another file, or --force to begin again"


def session_too_large(*, file: str) -> str:
    """Said when a file is larger than any session."""
    return f"{file}: this is no session of a hidden fault: it is too large; use a file that haulbench fault start made"


def session_no_text(*, file: str) -> str:
    """Said when a file is no text, or no JSON."""
    return (
        f"{file}: this is no session of a hidden fault: it is no JSON text; use a file that haulbench fault start made"
    )


def session_form(*, file: str, form: int) -> str:
    """Said when a file is JSON of another kind, or of another version."""
    return f'{file}: this is no session of a hidden fault: "form" must be {form}; use a file that haulbench fault start made'


def session_keys(*, file: str, keys: Sequence[str]) -> str:
    """Said when a session has other keys than a session has."""
    return (
        f"{file}: this is no session of a hidden fault: its keys must be {', '.join(keys)}; use the file as it was made"
    )


def seal_broken(*, file: str) -> str:
    """Said when a session was changed outside the program, or another key is given than the one it was made with."""
    return (
        f"{file}: the seal does not fit: the file was changed by hand, or made with another key; start a new session, or give"
        " the key it was made with"
    )


def needs_key(*, file: str) -> str:
    """Said when a session of an instructor is opened without the key."""
    return f"{file}: this session needs the instructor's key; give --key-file"


def short_key(*, file: str, given: int, least: int) -> str:
    """Said when the key of an instructor is short enough to be guessed."""
    return f"{file}: a key of {given} bytes can be guessed; allowed is at least {least} bytes of chance"


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
    return f"{file}: the answer is given and marked; look at it with haulbench fault report, or start another session"


def no_such_part(*, part: str, known: Sequence[str]) -> str:
    """Said when an answer names a part there is none of."""
    return f'no part is called "{part[:60]}"; use one of {", ".join(known)}'


def no_such_failure(*, part: str, failure: str, known: Sequence[str]) -> str:
    """Said when an answer names a failure a part cannot have."""
    return f'{part} cannot be "{failure[:60]}"; use one of {", ".join(known)}'


def no_such_evidence(*, number: int, made: int) -> str:
    """Said when an answer rests on a test that was not made."""
    return f"--because names test {number}; the tests made are 1 to {made}; name some of them"


def not_closed(*, file: str) -> str:
    """Said when the marking is asked for before an answer."""
    return f"{file}: no answer is given yet; give one with haulbench fault answer"


def key_not_read(*, file: str, reason: str) -> str:
    """Said when the file of the instructor's key cannot be read."""
    return f"--key-file {file}: cannot be read ({reason}); name a file with at least 16 bytes of chance in it"


def session_not_read(*, file: str, reason: str) -> str:
    """Said when the file of a session cannot be read."""
    return f"{file}: cannot be read ({reason}); name a file that haulbench fault start made"


def session_not_written(*, file: str, reason: str) -> str:
    """Said when a session cannot be kept."""
    return f"{file}: the session cannot be written ({reason}); name a file in a folder that can be written"


def wrong_entry() -> str:
    """Said when name and entry code do not belong together; it does not say which of them is wrong."""
    return "this name and this entry code do not belong together; use both as your instructor has written them down"


def nobody_hosts() -> str:
    """Said when a case of a class is asked for on a server that hosts none."""
    return "this server hosts no hidden fault for a class; use a practice case, or ask the instructor"


def whose_case(*, given: str) -> str:
    """Said when a request names neither a practice session nor a student."""
    return f"{given[:60]}: whose case is meant? Give a session of a practice case, or a name and its entry code"


def practice_range(*, given: str, most: int) -> str:
    """Said when the number of a practice case is none."""
    return f"practice case {given[:40]}; allowed is a whole number from 0 to {most}"


def no_student_names() -> str:
    """Said when entry codes are asked for and nobody is named."""
    return "no student is named; give names, or --students with a file that has a name on each line"


def names_not_read(*, file: str, reason: str) -> str:
    """Said when the list of a class cannot be read."""
    return f"--students {file}: cannot be read ({reason}); name a text file with a name on each line"


def hosting_needs(*, missing: Sequence[str]) -> str:
    """Said when a hidden fault is to be hosted and something is missing."""
    return f"a hidden fault for a class needs {', '.join(missing)}; give them"


def hosting_without_key(*, given: Sequence[str]) -> str:
    """Said when a class is named and no key is given."""
    return f"{', '.join(given)} without --key-file; give the file of the instructor's key, or leave the rest out"


def no_session_folder(*, folder: str, reason: str) -> str:
    """Said when the folder for sessions cannot be used."""
    return f"--sessions {folder}: cannot be used ({reason}); name a folder that can be written"


def class_full(*, most: int) -> str:
    """Said when a server keeps as many sessions as it may."""
    return f"{most} sessions are kept, and no more fit; ask the instructor to start the server for another round"
