"""What a person should know although the work goes on: one line on the standard error, or wherever a host sends its log."""

import logging

from sim.messages import running

LOG = logging.getLogger("haulbench")


def notice(text: str) -> None:
    """Says something once.

    Parameters
    ----------
    text : str
        A message of `sim.messages`.
    """
    LOG.warning("%s", running.refused(problem=text))
