"""The truck in time: its records, its laws put together, one tick, and the clock that marches it."""
