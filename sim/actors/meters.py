"""Meters on sensors and switches, read at a steady beat."""

from array import array

from sim.actors.underway import Underway
from sim.march.clock import Process
from sim.march.meter import Look, columns, in_columns


def meters(trip: Underway) -> Process:
    """Writes down what the meters show.

    Yields
    ------
    event : simpy.Event
        The next reading.
    """
    clock, circuits = trip.clock, trip.settings.circuits
    keys = circuits.metered()
    if not keys:
        return
    written = trip.readings
    for name in ("time_s", "distance_m", *(column for key in keys for column in columns(key))):
        written[name] = array("d")
    seen = Look(clock.rig.memory, clock.rig.parameters)
    put_on = [(key, [written[column] for column in columns(key)]) for key in keys]
    while True:
        seen.again()
        written["time_s"].append(clock.seconds)
        written["distance_m"].append(clock.true("distance"))
        for key, lists in put_on:
            for values, value in zip(lists, in_columns(key, seen.reading(key)), strict=True):
                values.append(value)
        yield clock.after(circuits.meter_s)
