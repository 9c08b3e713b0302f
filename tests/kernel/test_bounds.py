"""Every index is inside its array: the compiled kernel once with the compiler's bounds checks."""

import os
import subprocess
import sys

import pytest

TRIP = """
from sim import load_route, load_settings, run_trip
for truck in ("long-haul-manual", "older-long-haul"):
    result = run_trip(truck, load_route("grade-profile-1037"), load_settings(None, ["start.speed_km_h=0"]))
    assert result.summary["ended"] == "arrived"
result = run_trip("long-haul-manual", "grade:-9%,8km,900m", load_settings(None, ["drill.service_brakes=false"]))
print(result.summary["ended"])
"""


@pytest.mark.slow
def test_no_index_leaves_its_array(tmp_path):
    environment = {**os.environ, "NUMBA_BOUNDSCHECK": "1", "NUMBA_CACHE_DIR": str(tmp_path)}
    run = subprocess.run([sys.executable, "-c", TRIP], env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr[-3000:]
    assert run.stdout.strip() == "runaway"
