"""`python -m sim.command` is the command `haulbench`."""

import sys

from sim.command.main import main

if __name__ == "__main__":
    sys.exit(main())
