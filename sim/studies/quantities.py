"""The quantities of a finished trip as flat columns: name with unit, words for people, unit."""

import json
from collections.abc import Mapping
from typing import Any

# name, words, unit
_TABLE = """
time_s                               | time                                     | s
distance_m                           | distance                                 | m
mean_speed_m_s                       | mean speed                               | m/s
max_speed_m_s                        | highest speed                            | m/s
max_engine_speed_rpm                 | highest engine speed                     | rpm
top_gear_time_s                      | time in top gear                         | s
top_gear_engine_speed_rpm            | engine speed in top gear                 | rpm
gear_shifts                          | gear shifts                              |
fuel_kg                              | fuel                                     | kg
fuel_l_per_100km                     | fuel                                     | L/100 km
fuel_mpg_us                          | fuel economy                             | mi/gal
fuel_credited_l_per_100km            | fuel, height credited                    | L/100 km
fuel_credited_mpg_us                 | fuel economy, height credited            | mi/gal
co2_kg                               | carbon dioxide                           | kg
height_gained_m                      | height gained                            | m
max_brake_temperature_c              | highest mean brake temperature           | C
max_hottest_brake_temperature_c      | hottest axle's brakes                    | C
published_brake_temperature_a_c      | published model at the end, set A        | C
published_brake_temperature_b_c      | published model at the end, set B        | C
max_published_brake_temperature_a_c  | published model, set A                   | C
max_published_brake_temperature_b_c  | published model, set B                   | C
max_coolant_temperature_c            | highest coolant temperature              | C
max_oil_temperature_c                | highest oil temperature                  | C
least_tank_pressure_kpa              | lowest tank pressure                     | kPa
service_brake_applications           | service-brake applications               |
engine_brake_stage_0_time_s          | time without engine brake                | s
engine_brake_stage_1_time_s          | time in stage 1                          | s
engine_brake_stage_2_time_s          | time in stage 2                          | s
engine_brake_stage_3_time_s          | time in stage 3                          | s
stage_changes                        | stage changes                            |
fan_engagements                      | fan engagements                          |
time_over_governed_s                 | time over governed speed                 | s
time_racing_s                        | time above high idle on its own          | s
time_over_limit_s                    | time over the limit                      | s
time_smoking_s                       | time with smoke                          | s
time_wheel_slip_s                    | time with slipping wheels                | s
rolled_back_m                        | rolled back                              | m
clutch_heat_kj                       | clutch heat                              | kJ
retarding_share_engine               | held by the engine                       | share
retarding_share_air_and_tyres        | held by air and tyres                    | share
retarding_share_service_brakes       | held by service brakes                   | share
energy_fuel_j                        | energy of the fuel                       | J
energy_height_given_up_j             | height given up                          | J
energy_kinetic_at_start_j            | motion at the start                      | J
energy_combustion_heat_j             | combustion heat                          | J
energy_engine_friction_j             | engine friction                          | J
energy_compression_j                 | engine brake                             | J
energy_fan_j                         | fan                                      | J
energy_accessories_j                 | accessories                              | J
energy_clutch_j                      | clutch                                   | J
energy_gear_synchronising_j          | gear synchronising                       | J
energy_driveline_j                   | driveline                                | J
energy_tyre_slip_j                   | tyre slip                                | J
energy_aero_j                        | air resistance                           | J
energy_rolling_j                     | rolling resistance                       | J
energy_service_brakes_j              | service brakes                           | J
energy_kinetic_at_end_j              | motion at the end                        | J
energy_exhaust_heat_j                | exhaust heat                             | J
energy_coolant_heat_j                | coolant heat                             | J
energy_oil_heat_j                    | oil heat                                 | J
energy_brake_heat_j                  | brake heat shed                          | J
energy_heat_stored_j                 | heat stored                              | J
energy_residual_j                    | residual of the work book                | J
energy_heat_residual_j               | residual of the heat book                | J
energy_residual_fraction             | energy residual over energy supplied     |
"""
QUANTITIES: dict[str, tuple[str, str]] = {
    cells[0]: (cells[1], cells[2])
    for cells in ([cell.strip() for cell in line.split("|")] for line in _TABLE.strip().splitlines())
}
CREDITED = {"fuel_l_per_100km": "fuel_credited_l_per_100km", "fuel_mpg_us": "fuel_credited_mpg_us"}
TEXTS = ("ended", "ended_because", "warnings", "codes")


def flat(summary: Mapping[str, Any]) -> dict[str, Any]:
    """A summary as one row.

    Parameters
    ----------
    summary : mapping
        Of a finished trip.

    Returns
    -------
    row : dict
        Every quantity, None where the trip has none, and how it ended and its codes (SPN/FMI) as texts, why it
        ended and its warnings as JSON of findings. What
        differs between two equal trips (the time they took to calculate) is left out.
    """
    row: dict[str, Any] = {"ended": summary["ended"], "ended_because": json.dumps(summary["ended_because"])}
    row["warnings"] = json.dumps(summary["warnings"]) if summary["warnings"] else ""
    row["codes"] = " | ".join(f"{code['spn']}/{code['fmi']}" for code in summary["codes"])
    for name in QUANTITIES:
        if name.startswith("engine_brake_stage_"):
            row[name] = summary["engine_brake_stage_time_s"][name.split("_")[3]]
        elif name.startswith("retarding_share_"):
            row[name] = summary["retarding_share"][name.removeprefix("retarding_share_")]
        elif name.startswith("energy_"):
            row[name] = summary["energy"][name.removeprefix("energy_").removesuffix("_j")]
        else:
            row[name] = summary[name]
    return row
