"""The truck in time: its records, its laws put together, one tick, and the clock that marches it.

Compiled functions take the records of `sim.march.records` by one letter: `s` state, `b` belief, `c` command, `p` parameters, all
in SI. `tables` are the curves, one a row; `step` is the time step in seconds. A docstring names them again only where it says
what is read or written.
"""
