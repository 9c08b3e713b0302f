"""What tests of more than one folder need: trips, a recorded drive, a folder to work in."""

import functools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from made_tracks import recorded

from sim import Result, load_route, load_settings, load_truck, run_trip


@pytest.fixture(scope="session")
def trip() -> Callable[..., Result]:
    """Drives a truck over a road with changed settings; the same trip is driven once."""

    @functools.cache
    def drive(truck: str, road: str, *changes: str, spec: tuple[str, ...] = ()) -> Result:
        return run_trip(load_truck(truck, spec), load_route(road), load_settings(None, changes))

    return drive


@pytest.fixture
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The test works in a folder of its own and names its files without one."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="session")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The drive of `made_tracks.recorded` as a GPX file, cut in two where it had no signal."""
    drive = recorded()
    cut = int(np.argmax(np.diff(drive.along))) + 1
    return drive.write(tmp_path_factory.mktemp("recording") / "recorded-drive.gpx", pieces=(cut,))
