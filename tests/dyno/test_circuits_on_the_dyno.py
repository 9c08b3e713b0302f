"""Circuits on the dyno: the same failures, dialled values, codes and meters as on the road, and the engine answers.

What a sensor stands for is a law of the model; that a controller with an open pedal holds a low speed, and that hot intake air
or a boost sensor that reads low takes torque, are common practice, no source.
"""

import numpy as np
import pytest

from sim import load_settings
from sim.dyno.runs import run_dyno
from sim.errors import HaulbenchError
from sim.wording import said

DIALLED = 'circuits.dialled=["60 s intake temperature 99 C", "100 s intake temperature let go"]'


def dyno(*changes, test="full-load"):
    return run_dyno("long-haul-manual", load_settings(None, changes), test)


@pytest.fixture(scope="module")
def sound():
    return dyno()


@pytest.mark.parametrize("test", ["full-load", "governor", "motoring", "retarding", "cylinders"])
def test_a_controller_that_looks_for_failures_finds_none_in_a_sound_engine(test):
    watched, plain = dyno("faults.watch=true", test=test), dyno(test=test)
    assert watched.summary["codes"] == [] and watched.summary["verdict"] == "pass"
    later = plain.columns["time_s"] > 5.0  # the pedal reaches the controller a moment later through its circuit
    for name in ("engine_torque_n_m", "engine_speed_rpm"):
        same = np.isclose(watched.columns[name][later], plain.columns[name][later], rtol=0.01, atol=15.0)
        assert same.mean() > 0.95, "but for a tick where a load is thrown on or off"


def test_a_value_dialled_in_on_the_fly_takes_torque_and_gives_it_back(sound):
    hot = dyno(DIALLED)
    time = hot.columns["time_s"]
    share = hot.columns["engine_torque_n_m"] / np.interp(
        time, sound.columns["time_s"], sound.columns["engine_torque_n_m"]
    )
    assert share[(time > 20.0) & (time < 59.0)] == pytest.approx(1.0, abs=0.01)
    assert (share[(time > 72.0) & (time < 99.0)] < 0.8).all()
    assert share[time > 115.0] == pytest.approx(1.0, abs=0.01)
    (code,) = hot.summary["codes"]
    assert (code["spn"], code["fmi"], code["active"]) == (105, 16, False)


def test_a_meter_shows_what_is_true_what_the_pin_carries_and_what_is_believed():
    offset = dyno('faults.occur=["start boost pressure offset -40 kPa"]', 'circuits.meters=["boost pressure"]')
    true, believed = offset.readings["boost_true_kpa"], offset.readings["boost_believed_kpa"]
    assert len(true) == len(offset.readings["time_s"]) > 300
    assert true - believed == pytest.approx(40.0, abs=1e-6)
    assert np.ptp(offset.readings["boost_signal_v"]) > 0.3
    assert dyno().readings == {}


def test_an_open_pedal_circuit_leaves_little_power(sound):
    crawling = dyno('faults.occur=["start accelerator open"]')
    assert crawling.summary["verdict"] == "fail"
    assert crawling.summary["peak_power_kw"] < 0.3 * sound.summary["peak_power_kw"]
    assert [(code["spn"], code["active"]) for code in crawling.summary["codes"]] == [(91, True)]


def test_the_sound_truck_of_a_chassis_run_has_sound_circuits():
    broken = dyno("dyno.form=chassis", 'faults.occur=["start boost pressure offset -40 kPa"]')
    assert broken.summary["worst_deviation_percent"] < -20.0


def test_what_is_dialled_in_and_what_was_set_is_said_before_the_numbers():
    first, second = dyno(DIALLED).summary["warnings"][:2]
    assert first["kind"] == "dyno.by_hand" and said(second, "us").startswith("Code SPN 105 FMI 16")


def test_a_dyno_has_no_road_and_an_engine_that_does_not_pull_no_curve():
    for change in ('circuits.dialled=["1 km intake temperature 99 C"]', 'faults.occur=["200 m oil pressure open"]'):
        with pytest.raises(HaulbenchError, match="a dyno has no road; use start or a time"):
            dyno(change)
    with pytest.raises(HaulbenchError, match="does not pull at full pedal"):
        dyno('faults.occur=["start key open"]')
