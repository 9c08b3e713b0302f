"""Coverage of the compiled code: the same laws run as plain Python, in a process of their own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LEAST = 85
# wordings have tests of their own; pool, cluster and server run in processes that are not measured here
OMIT = "--omit=" + ",".join(
    str(ROOT / "sim" / name) for name in ("messages/*", "trips/pool.py", "studies/cluster.py", "command/serving.py")
)

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
    faulty = ["--set", "faults.occur=" + broken, "--set", "circuits.dialled=" + dialled, "--set", "circuits.meters=" + every]
    assert main(["run", "grade:0%,200m", *faulty, "--out", str(pathlib.Path(folder) / "faulty")]) == 0
    from sim.hidden import marking, menu, truck_under_test, yard
    # as plain Python a visit to the shop is short, and few causes and tests are weighed against each other
    yard.WARMING, yard.SNAP, yard.MOVED, truck_under_test.COAST_TIME = 6.0, 0.5, 0.1, 0.5
    marking.CAUSES, every = marking.CAUSES[:3], menu.every_request(False)
    marking.every_request = lambda moves: [] if moves else every[:3]
    case = str(pathlib.Path(folder) / "case.json")
    assert main(["fault", "start", case]) == 0
    tests = ("look", "codes", "record", "idle", "fan", "coast", "thermostat", "meter accelerator", "meter fan switch")
    for test in (*tests, "gauge boost pressure", "wire key", "solenoid front", "drive grade:0%,60m start.speed_km_h=50"):
        assert main(["fault", "do", case, *test.split()]) == 0
    for _ in range(3):
        assert main(["fault", "answer", case, "--part", "key", "--failure", "open", "--because", "1"]) == 0
    assert main(["fault", "report", case, "--out", str(pathlib.Path(folder) / "hunt")]) == 0
    assert main(["fault", "list"]) == 0
    assert main(["sheet", "--set", "road_speed.limit_km_h=105", "--out", str(pathlib.Path(folder) / "sheet")]) == 0
    from sim import descent_speeds, gear_facts, gearbox_changes, gearing_chart, grade_histogram, load_route, load_settings
    from sim import load_truck, start_of, truck_at
    from sim.roads import facts as road_facts
    truck = load_truck("long-haul-manual", gearbox_changes("older-long-haul")).truck
    settings, road = load_settings(), load_route(str(path))
    here = truck_at(truck, settings, 900.0)
    chart = gearing_chart(here, grades=(0.0, 0.06))
    assert gear_facts(here, chart, 22.0) and start_of(here, settings).binds and chart.best_climb(0.06)
    assert descent_speeds(truck, settings, load_route("grade:-6%,2km,900m"), [20000.0, 36000.0])[0].loads
    assert grade_histogram(road) and road_facts.longest(road, True) and road_facts.steepest(road, True, (50.0,))
    assert road_facts.limit_spans(road) and not road_facts.curve_spans(road)
    from sim import speedo
    from sim.inputs import failures as faults
    assert len([faults.with_fault(settings, fault) for fault in faults.catalogue().values()]) > 100
    strange, why = speedo.mystery(truck, 7)
    state, cruising = speedo.calibration_of(strange), load_settings(None, ["cruise.set_speed_km_h=90", "road_speed.limit_km_h=95"])
    assert why and speedo.verdict(state)["verdict"] and speedo.effects(state, cruising)
    assert [speedo.score(strange, pulses)[0] for pulses in (None, 20000.0, state.fitted_pulses_per_mile)] == [0, 1, 3]
    assert main(["list"]) == 0 and main(["list", "--keys"]) == 0
    told = ["--set", "faults.occur=" + broken, "--set", "circuits.dialled=" + dialled, "--bus"]
    assert main(["run", "grade:0%,120m", *told, "--out", str(pathlib.Path(folder) / "bus")]) == 0
    question = {"form": 1, "title": "t", "truck": "long-haul-manual", "road": "grade:-3%,60m,900m"}
    question |= {"vary": {"drill.hold_gear": [7, 8]}, "sample": {"trips": 2, "between": {"weather.wind_m_s": [0, 2]}}}
    from sim import run_study
    kept = pathlib.Path(folder) / "study"
    from sim.command.study_words import study_text
    done = [run_study(question, kept), run_study(kept)]
    assert done[0].answers["sensitivity"] and done[1].complete
    best = {"least": "time_s", "trips": 10, "between": {"weather.wind_m_s": [0, 30, 1]}, "at_most": {"time_s": 99}}
    shared = {key: question[key] for key in ("form", "title", "truck", "road")}
    done.append(run_study({**shared, "best": best}))
    assert done[-1].answers["best"]["found"]
    test = {"set": ["vehicle.drag_area_m2=5"], "runs": 2}
    done.append(run_study({**shared, "fuel_test": test}))
    assert done[-1].answers["fuel_test"]["runs"]
    case = [{"name": "a"}, {"name": "b", "set": ["weather.wind_m_s=3"]}]
    done.append(run_study({**shared, "case": case, "vary": {"drill.hold_gear": [8, 11]}}))
    done.append(run_study({**shared, "vary": {"drill.hold_gear": [8, 9], "weather.wind_m_s": list(range(13))}}))
    assert done[-2].refused() and all(study_text(result, units) for result in done for units in ("us", "metric"))
    file = pathlib.Path(folder) / "question.toml"
    file.write_text('form=1' + chr(10) + 'title="t"' + chr(10) + 'vary.road=["grade:-3%,60m,900m","grade:1%,60m,900m"]')
    file.write_text(file.read_text() + chr(10) + 'truck="long-haul-manual"' + chr(10))
    assert main(["study", str(file), "--out", str(pathlib.Path(folder) / "told")]) == 0
    assert main(["study"]) == 0 and main(["study", "--quantities"]) == 0
    coarse = ["--set", "simulation.tick_s=0.05", "--rate", "500"]
    dyno = ["dyno", *coarse, "--set", "dyno.lowest_rpm=1800"]
    assert main([*dyno, "--both-ways", "--correction", "liquid", "--out", str(pathlib.Path(folder) / "dyno")]) == 0
    assert main([*dyno, "--form", "chassis", "--fault", "high-back-pressure", "--fault", "boost-leak"]) == 0
    assert main(["dyno", *coarse, "--test", "motoring", "--fault", "sluggish-governor"]) == 0
    assert main(["dyno", *coarse, "--test", "cylinders", "--fault", "cylinder-out", "--predict", "torque_n_m=1800"]) == 0
    assert main(["dyno", "--list-faults"]) == 0
    trip, road = str(pathlib.Path(folder) / "trip"), ["run", "grade:-5%,120m,900m", "--set", "simulation.tick_s=0.05"]
    assert main([*road, "--out", trip]) == 0
    assert main([*road, "--controls", str(pathlib.Path(trip) / "controls.csv")]) == 0
    turned = ["engine_speed=1500rpm", "road_speed=60mph", "set=press", "road_speed=66mph", "coolant=115C"]
    assert main(["knobs", "--set", "simulation.tick_s=0.05", *turned, "--pins", "--pause", "5s"]) == 0
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
    # sim/messages is left out: the tour is sound input, and tests/docs/test_messages.py calls every function there
    command = [sys.executable, "-m", "coverage", "run", f"--source={ROOT / 'sim'}", OMIT, str(tour)]
    run = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr[-3000:]
    report = [sys.executable, "-m", "coverage", "report", f"--fail-under={LEAST}"]
    shown = subprocess.run(report, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert shown.returncode == 0, shown.stdout[-4000:]
