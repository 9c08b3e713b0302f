"""Air tanks: what a sound truck may lose standing, brakes released and applied, and how often its compressor pumps on the road."""

import numpy as np
import pytest

from sim import list_trucks, load_truck
from sim.units import from_si

# US model commercial driver manual, 5.3: psi in one minute, brakes released and applied, the first drop ignored
SINGLE, COMBINATION = (2.0, 3.0), (3.0, 4.0)
MADE_FOR_ONE_CHECK = "reference-200-lb-per-hp"  # its accessories take nothing
TRUCKS = [truck for truck in list_trucks() if truck != MADE_FOR_ONE_CHECK]


@pytest.mark.parametrize("truck", TRUCKS)
def test_leaks_of_a_sound_truck_that_stands(alone, truck):
    """The compressor has cut out: nothing fills the tanks."""
    clock = alone("grade:0%,1km,0m", "start.speed_km_h=0", truck=truck)
    limits = COMBINATION if load_truck(truck).truck.vehicle.trailer_load_kg else SINGLE
    fallen = []
    for pressure in (0.0, 6.2e5):  # released, and 90 psi or more applied
        clock.mean(brake_mode=4.0, brake_pressure=pressure)
        clock.run(until=clock.now + 1500)
        before = clock.true("reservoir_pressure")
        clock.run(until=clock.now + 6000)
        fallen.append(from_si(before - clock.true("reservoir_pressure"), "psi"))
    released, applied = fallen
    assert clock.true("standstill") == 1.0 and clock.true("compressor_pumping") == 0.0
    assert 0.0 < released <= limits[0]
    assert released < applied <= limits[1]


@pytest.mark.parametrize("truck", TRUCKS)
def test_compressor_pumps_10_to_30_percent_of_the_time_on_the_road(trip, truck):
    """Printed second-hand by a freight-efficiency council."""
    pressure = trip(truck, "kessarin-round").trace["reservoir_pressure_kpa"]
    assert 0.10 <= np.mean(np.diff(pressure) > 0.0) <= 0.30
