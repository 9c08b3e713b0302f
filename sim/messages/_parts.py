"""Pieces that more than one message is made of."""

from collections.abc import Sequence

MOST_LETTERS = 120  # of one given text that a message repeats
LEEWAY = 20  # more letters that are let pass, so that a text that was cut already is not cut again with what stands before it


def did_you_mean(near: Sequence[str]) -> str:
    """The names most like a wrong one, as a question with a space before it; nothing when there are none."""
    return f" Did you mean {' or '.join(near)}?" if near else ""


def shortened(given: object, most: int = MOST_LETTERS) -> str:
    """What was given, as a message repeats it: every letter to be seen, on one line, both ends of a text that is too long."""
    text = str(given)
    if len(text) > most + LEEWAY:
        text = f"{text[: most * 2 // 3]}...{text[3 - most // 3 :]}"
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)
