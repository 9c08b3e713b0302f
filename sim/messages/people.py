"""What is wrong with who somebody says to be: names, entry words, the password of the instructor."""

from sim.messages._parts import shortened

PASSWORD = "a file with a password in it"
CHECK_PASSWORD = "write a password into it"


def wrong_entry() -> str:
    """Said when name and entry word do not belong together; it does not say which of them is wrong."""
    return "this name and this entry word do not belong together; use both as your instructor has written them down"


def wrong_password() -> str:
    """Said when the instructor's password is another one."""
    return "this is not the password; use the one that the server printed when it started, or that of its password file"


def no_password() -> str:
    """Said when somebody signs in and the file of the instructor's password cannot be used any more."""
    return "nobody can sign in: the password file cannot be read now; the terminal of the server says why; put it right there"


def wait(*, seconds: int) -> str:
    """Said when a word is given so soon after a wrong one that it is not looked at."""
    return f"after a wrong word the next one is not looked at for a while; give it again in {seconds} s"


def only_instructor() -> str:
    """Said when somebody who has not signed in asks for what only the instructor is told."""
    return "this is told to the instructor only; give the instructor's password on the Hidden fault page"


def short_password(*, file: str, letters: int, least: int) -> str:
    """Said when the password of the instructor is short enough to be guessed."""
    return f"--password-file {shortened(file)}: a password of {letters} letters can be guessed; allowed is {least} letters or more"


def password_without_class(*, file: str) -> str:
    """Said when a password is given and nothing is hosted that it would open."""
    return f"--password-file {shortened(file)} without --key-file: no class is hosted; give its key, or leave the password out"
