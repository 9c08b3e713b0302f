"""Pieces that more than one message is made of."""

from collections.abc import Sequence

MOST_LETTERS = 120  # of one given text that a message repeats
HEAD, TAIL = 84, 33  # letters kept of the begin and of the end of a longer one


def did_you_mean(near: Sequence[str]) -> str:
    """The names most like a wrong one, as a question with a space before it; nothing when there are none."""
    return f" Did you mean {' or '.join(near)}?" if near else ""


def shortened(given: object) -> str:
    """What was given, as a message repeats it: on one line, every letter to be seen, both ends of a text that is too long."""
    text = str(given)
    if len(text) > MOST_LETTERS:
        text = f"{text[:HEAD]}...{text[-TAIL:]}"
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


def shortened_all(given: Sequence[object], between: str = ", ") -> str:
    """Several things that were given, each shortened, the first few of them."""
    few = between.join(shortened(one) for one in given[:12])
    return f"{few}{between}..." if len(given) > 12 else few
