"""The fan answers to coolant, dash switch and engine brake, and costs what it draws."""

from sim import load_route, load_settings, run_trip

HOT_CLIMB = "grade:6%,10km,500m"


def drive(road: str, *changes: str):
    """One trip of the loaded truck in 30 C air."""
    return run_trip("long-haul-manual", load_route(road), load_settings(None, ["weather.temperature_c=30", *changes]))


def intervals(result) -> list[float]:
    """How long the fan was on each time."""
    on, times = None, []
    for event in result.events:
        if event["event"] == "fan_engaged":
            on = event["time_s"]
        elif event["event"] == "fan_released" and on is not None:
            times.append(event["time_s"] - on)
    return times


def test_on_a_hot_climb_it_comes_and_goes_and_stays_at_least_its_shortest_time():
    result = drive(HOT_CLIMB)
    times = intervals(result)
    assert len(times) >= 2
    assert min(times) >= 30.0  # TM 9-2320-312-24-2: minimum on time 30 s
    assert result.trace["coolant_temperature_c"].max() < 104.0


def test_the_dash_switch_keeps_it_on_and_slows_the_climb():
    plain, switched = drive(HOT_CLIMB), drive(HOT_CLIMB, "fan.override=true")
    assert switched.trace["fan_on"][1:].min() == 1.0
    assert switched.summary["energy"]["fan"] > plain.summary["energy"]["fan"]
    assert switched.summary["mean_speed_m_s"] < plain.summary["mean_speed_m_s"]


def test_it_adds_to_the_engine_brake_when_set():
    hold = ("drill.hold_gear=7", "drill.hold_stage=3", "start.speed_km_h=50", "drill.service_brakes=false")
    plain, helped = (drive("grade:-6%,3km,1100m", *hold, f"fan.with_engine_brake={word}") for word in ("false", "true"))
    assert plain.trace["fan_on"].max() == 0.0
    (on,) = (event for event in helped.events if event["event"] == "fan_engaged")
    assert on["cause"]["kind"] == "cause.engine_brake_working"
    assert helped.trace["speed_m_s"][-1] < plain.trace["speed_m_s"][-1] - 0.2
