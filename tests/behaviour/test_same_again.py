"""The same inputs give the same bytes; the energy ledger closes for every truck; time can run out."""

import json

import numpy as np
import pytest

from sim import load_route, load_settings, load_truck, run_trip
from sim.trips.books import wrong_in
from sim.wording import kinds_in, said

EVERY_TRUCK = [
    "long-haul-manual",
    "long-haul-automated",
    "long-haul-empty",
    "dump-three-axle",
    "older-long-haul",
    "reference-200-lb-per-hp",
]
STREET = [
    (0, 0, 50, 0),
    (400, 0, 50, 10),
    (600, 0, 50, 0),
    (650, 3, 50, 0),
    (800, 3, 50, 20),
    (1000, -4, 50, 0),
    (1500, -4, 50, 15),
    (1700, 0, 50, 0),
]


@pytest.mark.parametrize("truck", ["long-haul-manual", "long-haul-automated"])
def test_two_equal_runs_are_equal_to_the_byte(road_of, truck):
    road = road_of(STREET, 210)
    pair = [
        run_trip(load_truck(truck), load_route(road), load_settings(None, ["start.speed_km_h=0"])) for _ in range(2)
    ]
    one, other = pair
    assert one.trace.csv() == other.trace.csv()
    assert one.events_csv() == other.events_csv()
    texts = [json.loads(result.summary_json()) for result in pair]
    for text in texts:
        assert text.pop("timing")["wall_s"] > 0.0
    assert json.dumps(texts[0]) == json.dumps(texts[1])
    for name in one.trace:
        assert one.trace[name].tobytes() == other.trace[name].tobytes(), name


def test_the_rhythm_of_the_log_changes_nothing_but_the_log(road_of):
    road = road_of(STREET, 210)
    coarse, fine = (
        run_trip(load_truck("long-haul-manual"), load_route(road), load_settings(None, [f"simulation.log_s={log}"]))
        for log in (5.0, 0.05)
    )
    assert coarse.events == fine.events
    for key in ("time_s", "fuel_kg", "distance_m", "max_brake_temperature_c"):
        assert coarse.summary[key] == fine.summary[key]
    assert len(fine.trace["time_s"]) > 10 * len(coarse.trace["time_s"])


@pytest.mark.parametrize("truck", EVERY_TRUCK)
@pytest.mark.parametrize(
    ("road", "changes"),
    [
        ("grade-profile-1037", ()),
        ("grade:5%,3km,300m", ("start.speed_km_h=60",)),
        ("grade:-6%,3km,1100m", ("start.speed_km_h=60",)),
        ("street", ("start.speed_km_h=0",)),
    ],
    ids=["published profile", "open climb", "open descent", "stops and launches"],
)
def test_the_energy_ledger_closes(trip, road_of, truck, road, changes):
    """Each term has a law of its own; what is left open stays below 1e-3 of what was supplied, and nothing is told of it."""
    result = trip(truck, road_of(STREET, 210) if road == "street" else road, *changes)
    ledger = result.summary["energy"]
    assert result.summary["ended"] == "arrived", result.summary["ended_because"]
    assert ledger["residual_fraction"] < 1e-3
    supplied = ledger["fuel"] + max(ledger["height_given_up"], 0.0) + ledger["kinetic_at_start"]
    assert abs(ledger["residual"]) + abs(ledger["heat_residual"]) == pytest.approx(
        ledger["residual_fraction"] * supplied
    )
    assert wrong_in(ledger) == []
    weight = result.truck.vehicle.mass_kg * 9.80665
    assert ledger["height_given_up"] == pytest.approx(-weight * result.summary["net_height_m"])
    heating = result.settings.fuel.lower_heating_value_mj_per_kg * 1e6
    assert ledger["fuel"] == pytest.approx(result.summary["fuel_kg"] * heating, rel=1e-9)


def test_the_ledger_closes_for_a_launch_that_fails_on_a_hill(trip):
    """Rolling back behind the start is height given up as well."""
    result = trip("long-haul-manual", "grade:6%,300m,200m", "start.speed_km_h=0", "drill.hold_gear=5")
    assert result.summary["ended"] == "stalled"
    assert result.summary["energy"]["residual_fraction"] < 1e-3
    assert "warning.ledger_open" not in kinds_in(result.summary["warnings"])


@pytest.mark.parametrize("truck", EVERY_TRUCK)
def test_the_published_grade_profile_is_driven_without_trouble(trip, truck):
    """The profile of 40 CFR part 1037, Appendix D (published): arrived, at the limit nearly all the way, few shifts."""
    result = trip(truck, "grade-profile-1037")
    summary = result.summary
    assert summary["ended"] == "arrived"
    assert summary["distance_m"] == pytest.approx(result.route.length, abs=1.0)
    assert summary["net_height_m"] == pytest.approx(result.route.net_height, abs=0.1)
    assert summary["time_over_limit_s"] < 0.01 * summary["time_s"]
    assert 3.6 * summary["mean_speed_m_s"] > 80.0
    assert summary["gear_shifts"] <= (20 if "automated" in summary["truck"] or truck.startswith("reference") else 12)
    assert np.all(np.diff(result.trace["distance_m"]) >= 0.0)


def test_time_can_run_out(trip, named):
    result = trip("long-haul-manual", "grade:0%,10km", "simulation.time_limit_s=60")
    summary = result.summary
    assert summary["ended"] == "time_limit"
    assert summary["ended_because"]["kind"] == "ended.too_long"
    told = summary["ended_because"]["values"]
    assert told == {
        "time": 60.0,
        "place": summary["distance_m"],
        "length": 10_000.0,
        "speed": result.trace["speed_m_s"][-1],
    }
    assert "60 s" in said(summary["ended_because"], "us") and "of 6.2 mi" in said(summary["ended_because"], "us")
    assert summary["time_s"] == pytest.approx(60.0)
    assert summary["distance_m"] < 10_000.0
    assert "event.time_limit" in kinds_in(summary["warnings"][0])
    assert named(result, "time_limit")[0]["time_s"] == pytest.approx(60.0)
    assert summary["energy"]["residual_fraction"] < 1e-3


def test_a_summary_says_what_was_driven(trip):
    result = trip("dump-three-axle", "grade:2%,2km,400m")
    summary = result.summary
    litres = summary["fuel_kg"] / result.settings.fuel.density_kg_per_l
    assert summary["fuel_l_per_100km"] == pytest.approx(litres / summary["distance_m"] * 1e5)
    assert summary["fuel_mpg_us"] == pytest.approx(235.2146 / summary["fuel_l_per_100km"], rel=1e-5)
    # 0.867 kg of carbon a kg of fuel burn to 3.1769 kg of CO2: 40 CFR 1036.545(n) (published; product derived)
    assert summary["co2_kg"] == pytest.approx(3.1769 * summary["fuel_kg"], rel=1e-4)
    assert summary["mean_speed_m_s"] == pytest.approx(summary["distance_m"] / summary["time_s"])
    assert summary["max_speed_m_s"] >= result.trace["speed_m_s"].max() - 1e-9
    assert sum(summary["engine_brake_stage_time_s"].values()) == pytest.approx(summary["time_s"])
    # the summed rate of the trace is the fuel of the summary
    integral = np.trapezoid(result.trace["fuel_rate_g_s"], result.trace["time_s"]) / 1000.0
    assert integral == pytest.approx(summary["fuel_kg"], rel=0.02)
