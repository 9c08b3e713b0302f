"""A cold truck drives away: slowly, thirstily, and up a hill too.

Oil at -20 C makes an engine some four times as hard to turn, which takes a third of its torque near idle.
"""

import pytest

from sim import list_trucks, load_truck

# one is made for the published crawl speeds: its engine has no friction that oil changes
TRUCKS = [truck for truck in list_trucks() if load_truck(truck).truck.engine.oil_exponent]


def driven(trip, truck, road, air_c, oil_c):
    """From rest, within a quarter of an hour."""
    cold = (f"start.oil_temperature_c={oil_c}", f"start.coolant_temperature_c={oil_c}")
    return trip(
        truck, road, "start.speed_km_h=0", f"weather.temperature_c={air_c}", *cold, "simulation.time_limit_s=900"
    )


@pytest.mark.parametrize("air", [-20, -30])
@pytest.mark.parametrize("truck", TRUCKS)
def test_on_the_level_it_arrives_later_and_burns_more_than_a_warm_one_in_the_same_air(trip, named, truck, air):
    cold, warm = (driven(trip, truck, "grade:0%,2km,0m", air, oil) for oil in (air, 88))
    assert cold.summary["ended"] == warm.summary["ended"] == "arrived"
    assert warm.summary["time_s"] < cold.summary["time_s"] < 1.25 * warm.summary["time_s"]
    assert 1.1 * warm.summary["fuel_kg"] < cold.summary["fuel_kg"]
    assert not named(cold, "clutch_opened")  # it keeps the gears it takes


@pytest.mark.parametrize("air", [-20, -30])
@pytest.mark.parametrize("truck", TRUCKS)
def test_it_starts_on_a_hill_and_keeps_going(trip, named, truck, air):
    """In a low gear all the way, perhaps; gears were lost one after the other, or the clutch slipped until the engine stalled."""
    cold, warm = (driven(trip, truck, "grade:6%,1km,0m", air, oil) for oil in (air, 88))
    assert cold.summary["ended"] == "arrived"
    assert cold.summary["time_s"] < 3.0 * warm.summary["time_s"]
    assert len(named(cold, "clutch_opened")) <= 5
