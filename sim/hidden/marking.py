"""Marks a session: part, failure, evidence, path. What the evidence is worth is worked out from the model.

The tests of the answer are made on the same truck with each other cause in turn. A candidate whose readings are judged alike is
still possible; evidence supports an answer when no other candidate is. The shortest path is found the same way, step by step:
the test that rules out most candidates for the root of its time, in the yard before on the road or on rollers.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any

from sim.errors import SettingsError
from sim.hidden.causes import CAUSES, Cause
from sim.hidden.key import Hidden
from sim.hidden.menu import Request, check_requests, every_request, minutes, perform, readings_differ
from sim.hidden.session import PLUGS, Session, hidden_in, requests_of, sound_truck
from sim.hidden.truck_under_test import Reading, TruckUnderTest
from sim.messages import hidden as say

RUBRIC = (
    (0, "not done"),
    (1, "done with prompts, wrong conclusion"),
    (2, "done under supervision: the right part, or the right answer in a later attempt"),
    (3, "correct with limited supervision"),
    (4, "correct alone, evidence complete, path short, cause explained"),
)
PATH_SLACK = 2.0  # assumed: so many times the tests of the shortest path are still sensible
LEAST_EXPLANATION = 40  # letters, assumed: below it nothing is explained
MOST_STEPS = 12
FEW = 24  # candidates
MOVE_FROM = 0.6  # assumed: a yard test that leaves a larger share is weighed against road and rollers

# tests on the part itself, where it is no sensor or switch: the name of a test, or of one and what it is about
ON_THE_PART = {
    "engine-brake circuits": ("solenoid", "drive"),
    "oil pump": ("gauge oil pressure",),
    "coolant": ("look",),
    "radiator": ("gauge coolant temperature", "drive"),
    "air filter": ("air gauge",),
    "charge-air hose": ("rollers", "gauge boost pressure"),
    "charge cooler": ("charge air",),
    "turbocharger": ("charge air",),
    "fuel filter": ("fuel pressure",),
    "injectors": ("fuel flow",),
    "injector": ("cut-out",),
    "exhaust": ("exhaust gauge",),
    "governor": ("idle",),
    "fan clutch": ("fan",),
    "brake": ("coast",),
    "tyres": ("drive",),
    "pulses per mile": ("record",),
    "thermostat": ("thermostat",),
    "road-speed limit": ("record",),
    "low idle": ("record", "idle"),
}


def on_the_part(cause: Cause, request: Request) -> bool:
    """Whether a test looks at the part of a cause itself, and not at what follows from it.

    Examples
    --------
    >>> cause = next(cause for cause in CAUSES if cause.name == "coolant temperature: offset")
    >>> on_the_part(cause, Request("gauge", "coolant temperature")), on_the_part(cause, Request("look"))
    (True, False)
    """
    if cause.part in ON_THE_PART:
        return request.name in ON_THE_PART[cause.part] or request.text in ON_THE_PART[cause.part]
    if request.name == "solenoid":
        return cause.part == f"engine brake, {request.about} pair"
    parts = {cause.part, *([PLUGS[cause.part]] if cause.failure == "swapped" else [])}
    return request.name in ("meter", "wire", "gauge") and request.about in parts


class Bay:
    """The same truck with one cause after the other.

    Parameters
    ----------
    hidden : Hidden
        Its size, cylinder and seed are those of every candidate.
    sound : TruckUnderTest
        A sound truck; the others are driven over the same roads.
    """

    def __init__(self, hidden: Hidden, sound: TruckUnderTest) -> None:
        self.hidden, self.sound = hidden, sound
        self._trucks: dict[str, TruckUnderTest] = {}
        self._shown: dict[tuple[str, Request, tuple[Request, ...]], list[Reading]] = {}

    def readings(self, cause: Cause | None, request: Request, before: Sequence[Request] = ()) -> list[Reading]:
        """What a test shows when a cause is in the truck.

        Parameters
        ----------
        cause : Cause or None
            None for a sound truck.
        before : sequence of Request
            Tests before it; only drives before reading codes matter.
        """
        drives = tuple(each for each in before if each.name == "drive") if request.name == "codes" else ()
        name = cause.name if cause else ""
        if (name, request, drives) not in self._shown:
            if name and name not in self._trucks:
                self._trucks[name] = TruckUnderTest(self.hidden_with(cause), self.sound.roads)
            truck = self._trucks[name] if name else self.sound
            self._shown[name, request, drives] = perform(truck, request, drives)
        return self._shown[name, request, drives]

    def still_like(
        self, cause: Cause, others: Sequence[Cause], request: Request, before: Sequence[Request]
    ) -> list[Cause]:
        """Candidates that a test does not tell from the cause in the truck.

        Parameters
        ----------
        cause : Cause
            What is in the truck.
        before : sequence of Request
            What was asked for before.
        """
        mine, sound = self.readings(cause, request, before), self.readings(None, request, before)
        return [each for each in others if not readings_differ(mine, self.readings(each, request, before), sound)]

    def shows(self, cause: Cause, request: Request) -> bool:
        """Whether a test looks at the part of a cause and finds something off there."""
        if not on_the_part(cause, request):
            return False
        right = self.readings(None, request)
        return readings_differ(self.readings(cause, request), right, right)

    def hidden_with(self, cause: Cause | None) -> Hidden:
        """The same draw with another cause."""
        return Hidden(cause, self.hidden.share, self.hidden.cylinder, self.hidden.seed)

    def left_by(
        self, cause: Cause, evidence: Iterable[tuple[Request, Sequence[Request]]], among: Sequence[Cause] = CAUSES
    ) -> tuple[list[Cause], list[int]]:
        """Candidates that evidence leaves beside the cause itself.

        Parameters
        ----------
        cause : Cause
            What is in the truck.
        evidence : iterable of (Request, sequence of Request)
            Tests, and what was asked for before each.

        Returns
        -------
        left : list of Cause
            Without the cause.
        numbers : list of int
            How many are left after each test.
        """
        left, numbers = [each for each in among if each != cause], []
        for request, before in evidence:
            left = self.still_like(cause, left, request, before)
            numbers.append(len(left))
        return left, numbers


def shortest_path(bay: Bay, cause: Cause) -> list[tuple[Request, int]]:
    """A sensible short path of tests that leaves one candidate and has looked at the part itself.

    Returns
    -------
    path : list of (Request, int)
        Tests, and how many other candidates are left after each.
    """
    left = [each for each in CAUSES if each != cause]
    path: list[tuple[Request, int]] = []
    while left and len(path) < MOST_STEPS:
        before = [request for request, _ in path]
        kept = {request: bay.still_like(cause, left, request, before) for request in every_request(False)}
        fewest = min(len(each) for each in kept.values())
        if fewest == len(left) or (fewest > MOVE_FROM * len(left) and len(left) <= FEW):
            kept |= {request: bay.still_like(cause, left, request, before) for request in every_request(True)}
        counts = {request: len(left) - len(each) for request, each in kept.items()}
        best = max(kept, key=lambda request: counts[request] / math.sqrt(minutes(request)))
        if not counts[best]:
            break
        left = kept[best]
        path.append((best, len(left)))
    if not any(bay.shows(cause, request) for request, _ in path):
        looks = [request for moves in (False, True) for request in every_request(moves) if bay.shows(cause, request)]
        if looks:
            path.append((min(looks, key=minutes), len(left)))
    return path


def mark(session: Session, key: bytes, file: str = "session", bay: Bay | None = None) -> dict[str, Any]:
    """The marking of a session that is over.

    Parameters
    ----------
    file : str
        For the message.
    bay : Bay or None
        With what was worked out before.

    Raises
    ------
    HaulbenchError
        It is not over, or its drives cannot be made again.
    """
    if not session["closed"]:
        raise SettingsError(say.not_closed(file=file))
    hidden = hidden_in(session, key)
    cause = hidden.cause
    assert cause is not None
    bay = bay or Bay(hidden, sound_truck())
    asked, last = requests_of(session), session["answers"][-1]
    check_requests(asked, bay.sound.roads)
    chosen = last["because"] or list(range(1, len(asked) + 1))
    left, numbers = bay.left_by(cause, [(asked[n - 1], asked[: n - 1]) for n in chosen])
    path = shortest_path(bay, cause)
    looked = any(bay.shows(cause, asked[n - 1]) for n in chosen)
    supported = looked and not left
    telling = [
        {"test": asked[n - 1].text, "number": n, "left": count} for n, count in zip(chosen, numbers, strict=True)
    ]
    points, why = _points(session, looked, len(left), len(path))
    return {
        "part": cause.part,
        "failure": cause.failure,
        "complaint": cause.complaint,
        "teaches": cause.teaches,
        "cylinder": hidden.cylinder if cause.part == "injector" else None,
        "part_right": last["part_right"],
        "failure_right": last["failure_right"],
        "attempts": len(session["answers"]),
        "evidence": telling,
        "evidence_supports": supported,
        "looked_at_the_part": looked,
        "still_possible": [each.name for each in left],
        "candidates": len(CAUSES),
        "tests_used": len(asked),
        "minutes_used": sum(minutes(request) for request in asked),
        "shortest_path": [{"test": request.text, "left": count} for request, count in path],
        "shortest_path_minutes": sum(minutes(request) for request, _ in path),
        "score": points,
        "score_words": why,
        "rubric": [list(row) for row in RUBRIC],
    }


def _points(session: Session, looked: bool, left: int, steps: int) -> tuple[int, str]:
    """Points of the rubric and why."""
    last, tests = session["answers"][-1], len(session["tests"])
    if not last["part_right"]:
        return 1, "the part is another one"
    if not last["failure_right"]:
        return 2, "the part is right, its failure is another one"
    if len(session["answers"]) > 1:
        return 2, f"right in attempt {len(session['answers'])}"
    if left:
        return 2, f"right, but the evidence would fit {left} other causes as well"
    if not looked:
        return 2, "right, but no test of the evidence looked at the part itself"
    if tests > max(PATH_SLACK * steps, steps + 2):
        return 3, f"right and proved; {tests} tests where {steps} would do"
    if len(last["explanation"].strip()) < LEAST_EXPLANATION:
        return 3, "right and proved on a short path; the fourth point is for the cause explained in words"
    return 4, "right, proved on a short path, and explained; the instructor reads whether the explanation holds"
