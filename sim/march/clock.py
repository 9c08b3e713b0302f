"""The event environment whose step advances the truck to the next event.

Time is an integer count of ticks. Between two events the kernel marches the truck in one call; a watch point (a field that
crosses a level) or a place on the road ends the call early and wakes whoever waits for it.
"""

import heapq
from collections.abc import Generator
from dataclasses import dataclass
from itertools import count
from typing import Any, NamedTuple

import numpy as np
import simpy

from sim.errors import RunError
from sim.march.kernel import KEPT_FULL, LOG_FULL, NOT_A_NUMBER, REACHED_WATCH, advance, advance_on_dyno, write_log_row
from sim.march.records import (
    BELIEF,
    BY_FEED,
    BY_LAW,
    BY_OTHERS,
    CLOCKWORK_SIZE,
    COMMAND,
    CONTROLS,
    DRIVER,
    HANDS_EVERY,
    KEPT_ROWS,
    LOG_EVERY,
    LOG_PLACES,
    LOG_ROWS,
    ON_A_ROAD,
    PLACES,
    SEAT,
    STATE,
    TICK,
    WATCH_ARMED,
    WATCH_COUNT,
    WATCH_DIRECTION,
    WATCH_FIRED,
    WATCH_LEVEL,
    WATCH_PLACE,
    WATCH_RELEASE,
    WATCH_SCALE,
    WATCHES_FIRED,
    Memory,
    field_place,
    left_the_numbers,
)
from sim.march.seat import HANDS_PERIOD
from sim.messages import running
from sim.wording import Finding

LOG_CHUNK = 4096  # rows of the first part of the log; each further part is twice as long
KEPT_CHUNK = 8192  # movements of controls in one part of a recording
LONGEST_CHUNK = 32 * LOG_CHUNK  # so large that the system gets its memory back at once
MOST_WATCHES = 64
MOST_NAMED = 3  # quantities that became infinite or not a number in one tick
LONGEST_WAIT = 86400.0  # s: with nothing but watch points to wait for, the clock gives up after a day
NOWHERE = 1.0e300  # m: the distance watch point when nobody waits for a place

_STATE_PLACES = {entry.name: field_place(f"state.{entry.name}") for entry in STATE}
_BELIEF_PLACES = {entry.name: field_place(f"belief.{entry.name}") for entry in BELIEF}
_COMMAND_PLACES = {entry.name: field_place(f"command.{entry.name}") for entry in COMMAND}
_CONTROLS_PLACES = {entry.name: field_place(f"controls.{entry.name}") for entry in CONTROLS}
_DRIVER_PLACES = {entry.name: field_place(f"driver.{entry.name}") for entry in DRIVER}

Process = Generator[simpy.Event, Any, Any]


class Happening(NamedTuple):
    """One entry of the event log."""

    tick: int
    distance: float
    event: str
    cause: Finding
    value: float
    quantity: str

    def data(self, tick: float) -> dict[str, Any]:
        """As a result carries it; the length of a tick is in s."""
        place = {"time_s": self.tick * tick, "distance_m": self.distance}
        told = {"cause": self.cause.data(), "value": self.value, "quantity": self.quantity}
        return {**place, "event": self.event, **told}


def _has_happened(event: simpy.Event) -> bool:
    """Whether an event is due; a timeout counts as triggered from the start, so it must have been processed."""
    return event.processed if isinstance(event, simpy.Timeout) else event.triggered


def _order_of(waiting: tuple[int, simpy.Event]) -> int:
    """When a watch point was set, among the others."""
    return waiting[0]


@dataclass
class Rig:
    """The records and tables of one truck on one road, as the kernel reads them."""

    memory: Memory
    parameters: np.ndarray
    tables: np.ndarray
    road: np.ndarray


class Clock(simpy.Environment):
    """A simpy environment that carries a truck.

    Parameters
    ----------
    rig : Rig
        Records, tables and road. [SI]
    log_every : int
        Ticks between rows of the log.
    places : array
        What the log keeps, as places in the block, shape (columns,).
    feed : array or None
        Recorded controls to drive by, as `sim.march.seat.use_controls` reads them; None for the laws of the model driver.
    keeps : bool
        Whether the controls are recorded.
    """

    def __init__(
        self,
        rig: Rig,
        log_every: int,
        places: np.ndarray = LOG_PLACES,
        feed: np.ndarray | None = None,
        keeps: bool = False,
    ) -> None:
        super().__init__(initial_time=0)
        self.rig = rig
        self._kernel = advance if rig.parameters["dyno_form"][0] == ON_A_ROAD else advance_on_dyno
        self._kept = places
        self._block: Any = memoryview(rig.memory.block)  # type: ignore[arg-type]
        self.tick = float(rig.parameters["tick"][0])
        self.happenings: list[Happening] = []
        self._levels = np.zeros((MOST_WATCHES, 4))
        self._flags = np.zeros((MOST_WATCHES, 3), dtype=np.int64)
        self._waiting: list[tuple[int, simpy.Event] | None] = [None] * MOST_WATCHES
        self._slots: dict[simpy.Event, int] = {}
        self._vacant = list(range(1, MOST_WATCHES))
        # plain views of the same memory: an element costs a third of what it does through numpy
        self._level_cells: Any = memoryview(self._levels)  # type: ignore[arg-type]
        self._flag_cells: Any = memoryview(self._flags)  # type: ignore[arg-type]
        self._places: list[tuple[float, int, simpy.Event]] = []
        self._order = count()
        self._clockwork = np.zeros(CLOCKWORK_SIZE, dtype=np.int64)
        self._clockwork[LOG_EVERY] = log_every
        self._clockwork[WATCH_COUNT] = 1
        self._clockwork[SEAT] = BY_LAW if feed is None else BY_FEED
        self._feed = np.empty((0, 3)) if feed is None else feed
        first = rig.memory.controls.view(np.float64)
        self._kept_before = [np.array([(0.0, place, value) for place, value in enumerate(first)])] if keeps else []
        self._kept_now = np.empty((KEPT_CHUNK if keeps else 0, 3))
        self._known = first.copy()
        self._levels[0] = NOWHERE, 1.0, -NOWHERE, 1.0
        self._flags[0] = field_place("state.distance"), 1, 0
        self._full: list[np.ndarray] = []
        self._log = np.empty((LOG_CHUNK, 1 + len(self._kept)))
        self._before: Any = memoryview(rig.memory.block.copy())  # type: ignore[arg-type]
        self._work_cells: Any = memoryview(self._clockwork)  # type: ignore[arg-type]
        self._arguments = self._gather()
        self._refuse_what_left(0.0, 0.0)
        self._write_row()  # a trace begins at the start
        self._clockwork[HANDS_EVERY] = max(1, round(HANDS_PERIOD / self.tick))

    # ------------------------------------------------------------ reading

    @property
    def state(self) -> np.ndarray:
        """What is true, shape (1,). [SI]"""
        return self.rig.memory.state

    @property
    def belief(self) -> np.ndarray:
        """What the controller knows, shape (1,). [SI]"""
        return self.rig.memory.belief

    @property
    def seconds(self) -> float:
        """Time since the start. [s]"""
        return float(self._now * self.tick)

    def true(self, name: str) -> float:
        """A field of the state.

        Parameters
        ----------
        name : str
            Field.

        Returns
        -------
        value : float
            [SI]
        """
        return self._block[_STATE_PLACES[name]]

    def believed(self, name: str) -> float:
        """A field of the belief.

        Parameters
        ----------
        name : str
            Field.

        Returns
        -------
        value : float
            [SI]
        """
        return self._block[_BELIEF_PLACES[name]]

    def commanded(self, name: str) -> float:
        """A field of the command.

        Parameters
        ----------
        name : str
            Field.

        Returns
        -------
        value : float
            [SI]
        """
        return self._block[_COMMAND_PLACES[name]]

    def set(self, **fields: float) -> None:
        """Writes fields of the command.

        Parameters
        ----------
        fields : float
            Field names and values. [SI]
        """
        for name, value in fields.items():
            self._block[_COMMAND_PLACES[name]] = value

    def read(self, place: str) -> float:
        """A field of any record, named as `when` takes it.

        Returns
        -------
        value : float
            [SI]
        """
        return self._block[PLACES[place]]

    def settled(self, place: str) -> float:
        """As `read`, but a command as it was before anybody decided in this tick: whoever decides first sees the same.

        Returns
        -------
        value : float
            [SI]
        """
        return (self._before if place.startswith("command.") else self._block)[PLACES[place]]

    def handled(self, name: str) -> float:
        """A field of the controls.

        Returns
        -------
        value : float
            [-]
        """
        return self._block[_CONTROLS_PLACES[name]]

    def meant(self, name: str) -> float:
        """A field of the driver.

        Returns
        -------
        value : float
            [SI]
        """
        return self._block[_DRIVER_PLACES[name]]

    def mean(self, **fields: float) -> None:
        """Writes fields of the driver: what he means to do.

        Parameters
        ----------
        fields : float
            Field names and values. [SI]
        """
        for name, value in fields.items():
            self._block[_DRIVER_PLACES[name]] = value

    def handle(self, **fields: float) -> None:
        """Takes the seat and puts controls where they are to be.

        Parameters
        ----------
        fields : float
            Field names and values. [-]
        """
        self._clockwork[SEAT] = BY_OTHERS
        for name, value in fields.items():
            self._block[_CONTROLS_PLACES[name]] = value

    def note(self, event: str, cause: Finding, value: float = 0.0, quantity: str = "") -> None:
        """Writes an entry of the event log alone: what somebody thinks or sees, which moves nothing. Parameters as `record`."""
        self.happenings.append(Happening(int(self._now), self.true("distance"), event, cause, value, quantity))

    def record(self, event: str, cause: Finding, value: float = 0.0, quantity: str = "") -> None:
        """Writes an entry of the event log, and the truck's state at this tick into the trace.

        Parameters
        ----------
        event : str
            What happened, in the past tense; a wording of the group `event`.
        cause : Finding
            Why.
        value : float
            A number that belongs to it. [SI]
        quantity : str
            What the number is, one of `sim.units.quantity_kinds`; empty without a number.
        """
        self.note(event, cause, value, quantity)
        self._write_row()

    def _write_row(self) -> None:
        """Writes the truck's state at this tick into the trace, over what may be there of it."""
        written = int(self._clockwork[LOG_ROWS])
        if written and self._log[written - 1, 0] == self._now:
            written -= 1
        elif not written and self._full and self._full[-1][-1, 0] == self._now:
            return
        elif written >= len(self._log):
            self._new_chunk()
            written = 0
        write_log_row(self._log, written, int(self._now), self._kept, self.rig.memory.block)
        self._clockwork[LOG_ROWS] = written + 1

    # ------------------------------------------------------------ waiting

    def after(self, seconds: float) -> simpy.Event:
        """An event after a delay of at least one tick.

        Parameters
        ----------
        seconds : float
            Delay; rounded to whole ticks. [s]
        """
        return simpy.Timeout(self, max(1, round(seconds / self.tick)))

    def reach(self, distance: float) -> simpy.Event:
        """An event when the truck reaches a place; at once when it is already there.

        Parameters
        ----------
        distance : float
            Along the road. [m]
        """
        event = simpy.Event(self)
        if self.true("distance") >= distance:
            event.succeed()
            return event
        heapq.heappush(self._places, (distance, next(self._order), event))
        self._watch_next_place()
        return event

    def when(
        self, name: str, level: float, *, falling: bool = False, release: float | None = None, scale: float = 1.0
    ) -> simpy.Event:
        """An event when a field crosses a level; at once when it is already beyond, unless a release is asked for.

        Parameters
        ----------
        name : str
            Record, dot, field.
        level : float
            Compared with field times scale, exactly as given. [unit of field x scale]
        falling : bool
            True to fire at or below the level, false at or above.
        release : float or None
            With a release, a field that is beyond the level must first come back to it. [unit of field x scale]
        scale : float
            Turns the field into the unit of the level. [1/SI]

        Raises
        ------
        RunError
            More watch points than the kernel has room for.
        """
        place = PLACES[name]
        event = simpy.Event(self)
        direction = -1.0 if falling else 1.0
        value = self._block[place] * scale
        beyond = (value - level) * direction >= 0.0
        if beyond and release is None:
            event.succeed()
            return event
        if not self._vacant:
            raise RunError(running.too_many_watches(time_s=self.seconds, most=MOST_WATCHES))
        slot = heapq.heappop(self._vacant)
        levels, flags = self._level_cells, self._flag_cells
        levels[slot, WATCH_LEVEL] = level
        levels[slot, WATCH_DIRECTION] = direction
        levels[slot, WATCH_RELEASE] = level if release is None else release
        levels[slot, WATCH_SCALE] = scale
        flags[slot, WATCH_PLACE] = place
        flags[slot, WATCH_ARMED] = 0 if beyond else 1
        flags[slot, WATCH_FIRED] = 0
        self._waiting[slot] = (next(self._order), event)
        self._slots[event] = slot
        if slot >= self._clockwork[WATCH_COUNT]:
            self._clockwork[WATCH_COUNT] = slot + 1
        return event

    def first(self, *events: simpy.Event) -> Generator[simpy.Event, Any, simpy.Event]:
        """Waits for the first of several events and lets go of the others.

        Parameters
        ----------
        events : simpy.Event
            In order of preference when several happen in one tick.

        Returns
        -------
        event : simpy.Event
            The first that happened.
        """
        happened = next((event for event in events if _has_happened(event)), None)
        if happened is None:
            woken = simpy.Event(self)

            def wake(_: simpy.Event) -> None:
                if not woken.triggered:
                    woken.succeed()

            for event in events:
                event.callbacks.append(wake)
            try:
                yield woken
            finally:
                self.forget(*events)
                for event in events:
                    if event.callbacks is not None:
                        event.callbacks.remove(wake)
            happened = next(event for event in events if _has_happened(event))
        else:
            self.forget(*events)
            yield happened
        return happened

    def forget(self, *events: simpy.Event) -> None:
        """Lets go of events nobody waits for any more.

        Parameters
        ----------
        events : simpy.Event
            Made by `when`; others are left alone.
        """
        for event in events:
            slot = self._slots.pop(event, None)
            if slot is not None:
                self._vacate(slot)

    def _vacate(self, slot: int) -> None:
        """Takes a watch point out; the kernel passes over the slot until it is used again."""
        self._flag_cells[slot, WATCH_ARMED] = 0
        self._flag_cells[slot, WATCH_FIRED] = 1
        self._waiting[slot] = None
        heapq.heappush(self._vacant, slot)

    def _watch_next_place(self) -> None:
        """Points the distance watch point at the nearest place somebody waits for."""
        self._level_cells[0, WATCH_LEVEL] = self._places[0][0] if self._places else NOWHERE
        self._flag_cells[0, WATCH_ARMED] = 1
        self._flag_cells[0, WATCH_FIRED] = 0

    # ------------------------------------------------------------ marching

    def step(self) -> None:
        """Advances the truck to the next event and lets it happen.

        Raises
        ------
        simpy.core.EmptySchedule
            Nothing is left to wait for.
        RunError
            A quantity became infinite or not a number.
        """
        queue = self._queue
        if queue:
            upcoming: Any = queue[0][0]
        elif self._places or self._slots:
            upcoming = int(self._now + LONGEST_WAIT / self.tick)
        else:
            raise simpy.core.EmptySchedule
        if self._now < upcoming:
            self._march(upcoming)
        super().step()

    def _gather(self) -> tuple[Any, ...]:
        """Everything the kernel is called with but the tick to stop at."""
        rig = self.rig
        watches = (self._levels, self._flags)
        done = (self._feed, self._kept_now, self._known)
        return (
            *rig.memory,
            rig.parameters,
            rig.tables,
            rig.road,
            *watches,
            self._log,
            self._kept,
            *done,
            self._clockwork,
        )

    def load_kernel(self) -> None:
        """Loads or compiles the kernel without moving the truck, so that a trip's time is the trip's own."""
        self._march(int(self._now))

    def _march(self, until: int) -> None:
        """Marches to a tick or to the first watch point before it."""
        status = LOG_FULL
        while status in (LOG_FULL, KEPT_FULL):
            self._before[:] = self._block
            status = self._kernel(*self._arguments, until)
            if status == LOG_FULL:
                self._new_chunk()
            elif status == KEPT_FULL:
                self._new_kept()
        if status == NOT_A_NUMBER:
            self._name_what_left(until)
        self._now = self._work_cells[TICK]
        if status == REACHED_WATCH:
            self._deliver()

    def _name_what_left(self, until: int) -> None:
        """Goes through the last call of the kernel again, tick by tick, and names the first quantity that is no finite number."""
        block, work = self.rig.memory.block, self._work_cells
        block[:] = self._before
        distance = self.true("distance")
        tick = work[TICK]
        while tick < until and self._kernel(*self._arguments, tick + 1) != NOT_A_NUMBER:
            distance = self.true("distance")
            tick = work[TICK]
            work[LOG_ROWS] = 0
        self._refuse_what_left(tick * self.tick, distance)

    def _refuse_what_left(self, seconds: float, distance: float) -> None:
        """Stops the run if anything of the truck is no finite number; distance is the last that was one."""
        quantities = left_the_numbers(self.rig.memory.block, self.rig.parameters)
        if quantities:
            raise RunError(
                running.left_the_numbers(
                    time_s=seconds,
                    distance_km=distance / 1000.0,
                    quantities=quantities[:MOST_NAMED],
                    last_event=self.happenings[-1].event if self.happenings else "the start",
                )
            )

    def _deliver(self) -> None:
        """Wakes whoever waits for a watch point that fired, in the order of the watch points."""
        flags = self._flag_cells
        fired = []
        others = self._work_cells[WATCHES_FIRED] - flags[0, WATCH_FIRED]
        if others:
            for slot in range(1, self._work_cells[WATCH_COUNT]):
                waiting = self._waiting[slot]
                if waiting is not None and flags[slot, WATCH_FIRED]:
                    fired.append(waiting)
        if flags[0, WATCH_FIRED]:
            here = self.true("distance")
            while self._places and self._places[0][0] <= here:
                heapq.heappop(self._places)[2].succeed()
            self._watch_next_place()
        for _, event in sorted(fired, key=_order_of):
            self._vacate(self._slots.pop(event))
            event.succeed()

    def _new_chunk(self) -> None:
        """Puts the full part of the log away and starts another."""
        self._full.append(self._log[: int(self._clockwork[LOG_ROWS])])
        self._log = np.empty((min(2 * len(self._log), LONGEST_CHUNK), 1 + len(self._kept)))
        self._clockwork[LOG_ROWS] = 0
        self._arguments = self._gather()

    def _new_kept(self) -> None:
        """Puts the full part of the recording away and starts another."""
        self._kept_before.append(self._kept_now[: int(self._clockwork[KEPT_ROWS])])
        self._kept_now = np.empty((KEPT_CHUNK, 3))
        self._clockwork[KEPT_ROWS] = 0
        self._arguments = self._gather()

    def kept_controls(self) -> np.ndarray:
        """The recording so far.

        Returns
        -------
        rows : array
            Tick, place among the controls, value; shape (rows, 3); none where nothing is recorded.
        """
        return np.concatenate([*self._kept_before, self._kept_now[: int(self._clockwork[KEPT_ROWS])]])

    def log_parts(self) -> list[np.ndarray]:
        """The log so far, in the parts in which it was written: a whole one costs a copy.

        Returns
        -------
        parts : list of array
            Each of shape (rows, 1 + columns), as `log` puts them together. [SI]
        """
        return [*self._full, self._log[: int(self._clockwork[LOG_ROWS])]]

    def log(self) -> np.ndarray:
        """The log so far.

        Returns
        -------
        rows : array
            Shape (rows, 1 + columns): tick, then what the log keeps, `sim.march.records.LOG` on a road. [SI]
        """
        return np.concatenate(self.log_parts())

    def release(self) -> None:
        """Lets go of queue, processes and arrays, so that a finished trip leaves nothing behind."""
        self._queue.clear()
        self._waiting.clear()
        self._slots.clear()
        self._places.clear()
        self._full.clear()
        self._log = np.empty((0, 1 + len(self._kept)))
        self._arguments = ()
        self._active_proc = None


__all__ = ["Clock", "Happening", "Process", "Rig"]
