"""Trips without a decision: top gear, fixed pedal, a road of changing grade. For comparing one integration with another."""

from scipy.integrate import solve_ivp

from sim import load_route, load_settings, load_truck
from sim.march import plant
from sim.march.air_path import breathe, exhaust_share
from sim.march.clock import Clock
from sim.march.controller import sense
from sim.march.kernel import look_up_road
from sim.march.records import RATIO_ROW
from sim.trips.trip import prepare

STILL_AIR = ("weather.pressure_kpa=101.325", "weather.temperature_c=15")
NO_AIR_USED = tuple(f"accessories.{key}_kpa_per_s=0" for key in ("leak", "applied_leak", "moving_use"))
SPEC = ("engine.oil_exponent=0", *NO_AIR_USED)  # friction without oil temperature, no pumping
PEDAL = 0.45
TINY = 1.0e-4  # s: of a step that shows the rates of rotor and gate
TWICE = 2  # the filter feels the air that the same moment draws


def fixed_pedal(tick: float, seconds: float) -> Clock:
    """The clock after so many seconds at a tick."""
    settings = load_settings(None, ("start.speed_km_h=80", f"simulation.tick_s={tick}", *STILL_AIR))
    clock = prepare(load_truck("long-haul-manual", SPEC).truck, load_route("grade-profile-1037"), settings)
    clock.handle(accelerator=PEDAL)
    clock.set(speed_limit=100.0)
    clock.rig.memory.belief["driver_demand"][0] = clock.rig.memory.belief["accelerator"][0] = PEDAL
    if seconds:
        clock.run(until=round(seconds / tick))
    return clock


def halving_ratios(seconds: float) -> list[float]:
    """Error at one tick over the error at half of it, for 0.04 and 0.02 s, against a much finer march."""
    finest = fixed_pedal(0.00125, seconds).true("distance")
    errors = [abs(fixed_pedal(tick, seconds).true("distance") - finest) for tick in (0.04, 0.02, 0.01)]
    return [errors[0] / errors[1], errors[1] / errors[2]]


def general_purpose(seconds: float) -> dict[str, float]:
    """Distance, speed and fuel by scipy's solve_ivp at tight tolerance, same laws."""
    start = fixed_pedal(0.01, 0.0)
    memory, p, tables, road = start.rig.memory, start.rig.parameters[0], start.rig.tables, start.rig.road
    s, b, c, k, d = (record[0] for record in memory[1:])
    per_metre = tables[RATIO_ROW, int(s["gear"])] * p["axle_ratio"] / p["tyre_radius"]

    def rates(_time, y):
        s["distance"], s["speed"], s["manifold_pressure"], s["elevation"] = y[0], y[1], y[2], y[4]
        s["wheel_speed"], s["engine_speed"] = y[1], y[1] * per_metre
        s["air_elevation"] = -1e6
        look_up_road(s, road, 0)
        sense(s, b, c, k, d, p, 0.0)
        plant.settle(s, b, c, p, tables)
        combustion = s["fuel_rate"] * p["heating_value"] - s["indicated_torque"] * s["engine_speed"]
        for _ in range(TWICE):
            s["turbo_energy"], s["gate"] = y[5], y[6]
            breathe(s, p, exhaust_share(s, p, combustion, 0.0), s["fuel_rate"], TINY)
        rise = (s["manifold_heading"] - y[2]) * s["filling_rate"]
        turbo, gate = (s["turbo_energy"] - y[5]) / TINY, (s["gate"] - y[6]) / TINY
        return [y[1], plant.rolling_acceleration(s, p, tables), rise, s["fuel_rate"], y[1] * s["sine"], turbo, gate]

    first = [0.0, s["speed"], s["manifold_pressure"], 0.0, s["elevation"], s["turbo_energy"], s["gate"]]
    solution = solve_ivp(rates, (0.0, seconds), first, rtol=1e-8, atol=1e-8, max_step=2.0)
    assert solution.success
    return {"distance": solution.y[0, -1], "speed": solution.y[1, -1], "fuel_mass": solution.y[3, -1]}
