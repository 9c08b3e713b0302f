"""The command `haulbench`: the only part of this package that prints.

An action takes the options of the command line and gives the exit code: 0 whatever the answer is, unless it says otherwise.
What cannot be read, used or written is a `HaulbenchError`, which `main` prints.
"""
