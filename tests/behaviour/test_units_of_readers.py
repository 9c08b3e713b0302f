"""What is printed for readers of one system of units has no unit of the other in it; and the numbers are the same quantities."""

import re

import pytest
from strangers import strangers

import sim
from sim.command.main import main
from sim.dyno.result import CAUTIONS
from sim.inputs.files import load_settings
from sim.speedo import RULE
from sim.units import MILE, SYSTEMS
from sim.wording import said, value_said

BROKEN = (
    "cruise.set_speed_km_h=80",
    "drill.careless=true",
    'faults.occur=["2 km coolant temperature open", "3 km boost pressure offset 40 kPa"]',
    'circuits.dialled=["4 km oil temperature 95 C"]',
)


def test_a_stranger_would_be_found():
    assert strangers("at 25.0 mi/h and 3 psi gauge", "metric") and not strangers("at 25.0 mi/h and 3 psi gauge", "us")
    assert strangers("260 °C", "us") and strangers("the truck rolled back 3.0 m.", "us")
    assert not strangers("6 mi/h", "us"), "m alone is another unit"


@pytest.fixture(scope="module")
def result():
    return sim.run_trip("long-haul-manual", "ollen-pass", load_settings(None, BROKEN))


@pytest.mark.parametrize("units", SYSTEMS)
def test_everything_found_on_a_trip(result, units):
    summary = result.summary
    found = [*summary["warnings"], *summary["explanations"], *summary["foreseen"], summary["ended_because"]]
    signs = [event for event in result.events if event["event"] == "sign_passed"]
    log = [event for event in result.events if event not in signs]  # a sign says what is painted on it
    texts = [said(each, units) for each in found]
    texts += [f"{said(event['cause'], units)} {value_said(event, units)}" for event in log]
    assert summary["foreseen"] and len(log) > 50
    assert {event["quantity"] for event in log} >= {"speed", "temperature", "time", "pressure difference"}
    assert not [text for text in texts if strangers(text, units)]


@pytest.mark.parametrize("units", SYSTEMS)
@pytest.mark.parametrize(
    "command",
    [
        "run grade:-6%,3km,1100m --set start.oil_temperature_c=5 --set drill.hold_stage=0",
        "compare grade:-6%,1km,1100m --vary drill.style=snub,drag",
        "dyno --test full-load",
        "dyno --test retarding",
        "dyno --test motoring",
        "speedo --mystery 3 --entered 30900",
    ],
)
def test_commands(capsys, command, units):
    assert main([*command.split(), "--units", units]) == 0
    # the cautions have both systems beside each other
    lines = [each for each in capsys.readouterr().out.splitlines() if each not in CAUTIONS]
    assert not [line for line in lines if strangers(line.replace(RULE, ""), units)], (
        "the rule is quoted as it is printed"
    )


def test_the_numbers_are_the_same_quantities(capsys):
    shown = {}
    for units in SYSTEMS:
        main(["run", "grade:0%,2km", "--units", units])
        shown[units] = re.search(r"distance +([0-9.]+) (km|mi)", capsys.readouterr().out)
    assert (shown["metric"][2], shown["us"][2]) == ("km", "mi")
    assert float(shown["us"][1]) * MILE == pytest.approx(float(shown["metric"][1]) * 1000.0, abs=0.005 * MILE)
