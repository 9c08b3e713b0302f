"""The controller without a truck: what an instructor shows at the knobs, by the settings it was programmed with."""

import json
import re

import numpy as np
import pytest

from sim import Settings, load_settings, load_truck
from sim.checks import run_checks
from sim.command.main import main
from sim.dyno.stand import Stand
from sim.errors import SettingsError
from sim.knobs.board import AHEAD, KNOBS, LONGEST, MOST_ACTIONS, Board, action, actions_of, pins, replay
from sim.trips.compare import Comparison  # noqa: F401  imported first: the face of the package
from sim.units import MILE_PER_HOUR, REVOLUTION_PER_MINUTE, SYSTEMS, from_si, to_si
from sim.wording import said
