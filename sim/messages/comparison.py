"""What is wrong with trips side by side."""

from collections.abc import Sequence

from sim.messages._parts import shortened

FORM = "write --vary KEY=a,b,c, for example --vary drill.style=snub,drag"


def nothing_varied() -> str:
    """Said when neither a person nor the settings name what differs."""
    return f"nothing is varied; {FORM}"


def no_equals_sign(*, text: str) -> str:
    """Said when what is varied has no key or no equals sign."""
    return f"--vary {shortened(text)}: {FORM}"


def key_twice(*, key: str) -> str:
    """Said when a key is varied twice."""
    return f"--vary {shortened(key)} is given twice; put all its values in one: --vary {shortened(key)}=a,b,c"


def value_missing(*, key: str, values: Sequence[str]) -> str:
    """Said when a value between or behind commas is left out."""
    return f"--vary {shortened(key)}={shortened(','.join(values))}: a value is missing; {FORM}"


def value_twice(*, key: str, value: str) -> str:
    """Said when two trips would be the same."""
    return f"--vary {shortened(key)}: {shortened(value)} is given twice; the two trips would be the same. Leave one of the two out."


def asked_and_varied(*, key: str, asked: str) -> str:
    """Said when truck, road or settings are asked for and varied."""
    return f"{shortened(key)} is {shortened(asked)} and is varied as well; leave one of the two out"


def set_and_varied(*, key: str) -> str:
    """Said when a key is set for all trips and varied."""
    return f"{shortened(key)} is given by --set and by --vary; leave one of the two out"


def too_many_trips(*, keys: Sequence[str], counts: Sequence[int], trips: int, most: int) -> str:
    """Said when a comparison has more trips than fit a table."""
    product = " x ".join(str(count) for count in counts) + " = " if len(counts) > 1 else ""
    return (
        f"--vary {shortened(', '.join(keys))}: {product}{trips} trips; a comparison may have {most} at most. Vary less."
    )


def no_such_key(*, problem: str, words: Sequence[str]) -> str:
    """Said when what is varied is no key; words are what may be varied beside keys, and may be none."""
    return problem + (f" {', '.join(words)} may be varied too." if words else "")


def in_trip(*, number: int, total: int, combination: str, problem: str) -> str:
    """Said when one trip of a comparison cannot be driven."""
    return f"trip {number} of {total} ({shortened(combination)}): {problem}"
