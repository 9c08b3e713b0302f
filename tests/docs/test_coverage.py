"""Coverage of the compiled code: the same laws run as plain Python, in a process of their own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LEAST = 85

TOUR = """
import contextlib, io, pathlib, sys, tempfile
from sim.command.main import main
rows = ["distance_m,grade_percent,speed_limit_km_h,stop_s,sign", "0,0,30,,start", "60,-6,30,,", "150,-6,20,,low gear"]
rows += ["190,0,30,5,", "230,0,,,"]
TRIPS = (
    "grade:-6%,200m,900m --truck older-long-haul --set drill.style=drag --set start.speed_km_h=92",
    "grade:-6%,200m,900m --truck long-haul-empty --set weather.grip=0.1 --set drill.hold_stage=3 --set drill.hold_gear=7"
    " --set start.speed_km_h=50",
    "grade:6%,80m,900m --truck long-haul-automated --set start.speed_km_h=45",
)
with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
    path = pathlib.Path(folder) / "road.csv"
    path.write_text(chr(10).join(rows))
    out = str(pathlib.Path(folder) / "out")
    assert main(["run", str(path), "--set", "start.speed_km_h=0", "--out", out]) == 0
    short = ["compare", "grade:-6%,60m,900m", "--set", "start.speed_km_h=50", "--vary"]
    assert main([*short, "drill.style=snub,drag", "--out", str(pathlib.Path(folder) / "pair")]) == 0
    assert main([*short, "drill.hold_gear=3,4,5,6,7,8,9"]) == 0
    presses = '["100 m tap up", "150 m cancel", "170 m resume", "200 m accelerate 2 s", "260 m off", "280 m on", "300 m set"]'
    cruise = ["--set", "start.speed_km_h=44", "--set", "cruise.set_speed_km_h=44", "--set", "cruise.presses=" + presses]
    assert main(["run", "grade:-6%,700m,1500m", *cruise, "--set", "driver.descent_gear=7"]) == 0
    steep = ["--set", "start.speed_km_h=84", "--set", "drill.service_brakes=false", "--set", "drill.careless=true"]
    assert main(["run", "grade:-6%,700m,1500m", *steep, "--truck", "long-haul-automated"]) == 0
    lines = ["<gpx><wpt lat='46.01' lon='7'><name>a</name></wpt><trk><trkseg>"]
    for n in range(80):
        lat = 46 + n / 4000 + (0.004 if n > 60 else 0.0) + (0.01 if n == 40 else 0.0)
        lines.append(f"<trkpt lat='{lat}' lon='7'><ele>{400 + n - (n > 20) * 8 + (n == 30) * 60}</ele></trkpt>")
    track = pathlib.Path(folder) / "track.gpx"
    track.write_text("".join([*lines, "</trkseg></trk></gpx>"]))
    made = str(pathlib.Path(folder) / "made")
    assert main(["route", str(track), "--out", made, "--limit", "80km/h"]) == 0
    text = "distance_m,elevation_m" + chr(10) + "".join(f"{50 * n},{200 + 3 * n}" + chr(10) for n in range(20))
    track.with_suffix(".csv").write_text(text)
    assert main(["route", str(track.with_suffix(".csv")), "--out", made, "--force"]) == 0
    for trip in TRIPS:
        assert main(["run", *trip.split()]) == 0
    every = '["all"]'
    broken = '["start accelerator offset 3 %", "20 m coolant temperature open", "40 m road speed intermittent"]'
    dialled = '["60 m intake temperature 99 C", "90 m clutch switch pressed", "110 m clutch switch let go"]'
    faulty = ["--set", "faults.occur=" + broken, "--set", "bench.dialled=" + dialled, "--set", "bench.meters=" + every]
    assert main(["run", "grade:0%,200m", *faulty, "--out", str(pathlib.Path(folder) / "faulty")]) == 0
    assert main(["sheet", "--set", "road_speed.limit_km_h=105", "--out", str(pathlib.Path(folder) / "sheet")]) == 0
    assert main(["list"]) == 0
    assert main(["check"]) == 0
"""


def test_the_model_is_covered(tmp_path):
    environment = {
        **os.environ,
        "NUMBA_DISABLE_JIT": "1",
        "COVERAGE_FILE": str(tmp_path / "coverage"),
        "PYTHONPATH": str(ROOT),
    }
    tour = tmp_path / "tour.py"
    tour.write_text(TOUR, encoding="utf-8")
    command = [sys.executable, "-m", "coverage", "run", f"--source={ROOT / 'sim'}", str(tour)]
    run = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr[-3000:]
    report = [sys.executable, "-m", "coverage", "report", f"--fail-under={LEAST}"]
    shown = subprocess.run(report, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert shown.returncode == 0, shown.stdout[-4000:]
