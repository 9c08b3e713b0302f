"""A recorded drive, for every test that imports or uploads one."""

from pathlib import Path

import numpy as np
import pytest
from made_tracks import recorded


@pytest.fixture(scope="session")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The drive of `made_tracks.recorded` as a GPX file, cut in two where it had no signal."""
    drive = recorded()
    cut = int(np.argmax(np.diff(drive.along))) + 1
    return drive.write(tmp_path_factory.mktemp("recording") / "recorded-drive.gpx", pieces=(cut,))
