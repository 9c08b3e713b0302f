"""A few short trips whose books must be silent and whose delays must be those of the settings.

They are quick enough to be driven in plain Python, too, where `mutants` makes the model wrong line by line.
"""

import numpy as np
import pytest
from test_wrong_trips import CHANGES, ROAD

from sim import load_route, load_settings, load_truck, run_trip
from sim.wording import kinds_in

UP, ON, STEP = 2.5, 1.0, 1.4  # s, none as it is by default


@pytest.fixture
def road(tmp_path):
    (tmp_path / "road.csv").write_text(ROAD, encoding="utf-8")
    return load_route(str(tmp_path / "road.csv"))


@pytest.mark.parametrize(
    ("truck", "more"),
    [
        ("long-haul-manual", ()),
        ("long-haul-automated", ("start.oil_temperature_c=-10", "start.coolant_temperature_c=-10", "weather.temperature_c=-10")),
    ],
    ids=["manual", "automated and cold"],
)  # fmt: skip
def test_the_books_of_a_sound_trip_are_silent(road, truck, more):
    """Every joule of fuel, height and motion is found again, and no loss gives energy back."""
    result = run_trip(load_truck(truck), road, load_settings(None, (*CHANGES, *more)))
    assert not kinds_in(result.summary["warnings"]) & {
        "warning.ledger_open", "warning.loss_below_nothing", "warning.efficiency_beyond_belief",
    }  # fmt: skip


@pytest.fixture(scope="module")
def overrun():
    """Cruise control on a steep descent with thresholds so close that only delays part the stages."""
    changes = (
        "start.speed_km_h=60", 'cruise.presses=["20 m set"]', "cruise.stage_1_over_km_h=0.5", "cruise.stage_2_over_km_h=0.6",
        "cruise.stage_3_over_km_h=0.7", f"cruise.stage_up_s={UP}", f"retarding.on_delay_s={ON}", "cruise.stage_drop_km_h=0.4",
        f"retarding.step_delay_s={STEP}", "drill.service_brakes=false", "simulation.tick_s=0.05", "simulation.log_s=0.05",
        "drill.hold_gear=8",
    )  # fmt: skip
    return run_trip(load_truck("long-haul-manual"), load_route("grade:-8%,300m,900m"), load_settings(None, changes))


def test_stages_come_in_after_the_delays_and_the_dwell_of_the_settings(overrun):
    """The first pair after its delay, the next stages after theirs, and each stage is called a dwell after the one before."""
    asked = overrun.trace["cruise_stage"]
    called = [float(overrun.trace["time_s"][np.argmax(asked >= stage)]) for stage in (1, 2, 3)]
    came = [event["time_s"] for event in overrun.events if event["event"] == "stage_changed"][:3]
    late = 2.01 * overrun.settings.simulation.tick_s  # what one decides in a tick others see in the next
    free = max(called[0], float(overrun.trace["time_s"][np.argmax(overrun.trace["stage_requested"] >= 1)]))
    assert came[0] - free == pytest.approx(ON, abs=late)
    assert called[1] - called[0] == pytest.approx(UP, abs=late) == pytest.approx(called[2] - called[1], abs=late)
    assert came[1] - called[1] == pytest.approx(STEP, abs=late) == pytest.approx(came[2] - called[2], abs=late)
