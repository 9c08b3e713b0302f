"""What workers do for the Knobs page: everything that was turned, done again from the start."""

from collections.abc import Sequence
from typing import Any

from dashboard.server.costs import BEGIN, costs
from sim.inputs.one_trip import Inputs
from sim.knobs.board import AHEAD, Action, replay

A_SECOND = 1.5e-3  # s of a worker for a second at the knobs, most of it the controller's tests


@costs(lambda inputs, actions: BEGIN + A_SECOND * (AHEAD + (actions[-1].time_ms / 1000.0 if actions else 0.0)))
def film(inputs: Inputs, actions: Sequence[Action]) -> dict[str, Any]:
    """What is seen from the last action on; runs in a worker.

    Parameters
    ----------
    inputs : Inputs
        Their road is not looked at.
    """
    return replay(inputs.truck.truck, inputs.settings, actions)
