"""Pieces that more than one message is made of."""

from collections.abc import Sequence


def did_you_mean(near: Sequence[str]) -> str:
    """The names most like a wrong one, as a question with a space before it; nothing when there are none."""
    return f" Did you mean {' or '.join(near)}?" if near else ""
