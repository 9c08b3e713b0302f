"""The quantities of a finished trip as flat columns: name with unit, words for people, what it is as `sim.units` names it."""

import json
from collections.abc import Mapping
from typing import Any

from sim.units import unit_name, unit_of_key

# name, words, kind; a clock is read as minutes and seconds
_TABLE = """
time_s                               | time                                     | clock
distance_m                           | distance                                 | short length
mean_speed_m_s                       | mean speed                               | speed
max_speed_m_s                        | highest speed                            | speed
max_engine_speed_rpm                 | highest engine speed                     | engine speed
top_gear_time_s                      | time in top gear                         | clock
top_gear_engine_speed_rpm            | engine speed in top gear                 | engine speed
gear_shifts                          | gear shifts                              | number
fuel_kg                              | fuel                                     | fuel mass
fuel_l_per_100km                     | fuel                                     | fuel use
fuel_mpg_us                          | fuel economy                             | fuel economy
fuel_credited_l_per_100km            | fuel, height credited                    | fuel use
fuel_credited_mpg_us                 | fuel economy, height credited            | fuel economy
co2_kg                               | carbon dioxide                           | fuel mass
net_height_m                         | net height                               | short length
max_brake_temperature_c              | highest mean brake temperature           | temperature
max_hottest_brake_temperature_c      | hottest axle's brakes                    | temperature
published_brake_temperature_a_c      | published model at the end, set A        | temperature
published_brake_temperature_b_c      | published model at the end, set B        | temperature
max_published_brake_temperature_a_c  | published model, set A                   | temperature
max_published_brake_temperature_b_c  | published model, set B                   | temperature
max_coolant_temperature_c            | highest coolant temperature              | temperature
max_oil_temperature_c                | highest oil temperature                  | temperature
least_tank_pressure_kpa              | lowest tank pressure                     | gauge pressure
service_brake_applications           | service-brake applications               | number
engine_brake_stage_0_time_s          | time without engine brake                | clock
engine_brake_stage_1_time_s          | time in stage 1                          | clock
engine_brake_stage_2_time_s          | time in stage 2                          | clock
engine_brake_stage_3_time_s          | time in stage 3                          | clock
stage_changes                        | stage changes                            | number
fan_engagements                      | fan engagements                          | number
time_over_governed_s                 | time over governed speed                 | time
time_racing_s                        | time above high idle on its own          | time
time_over_limit_s                    | time over the limit                      | time
time_smoking_s                       | time with smoke                          | time
time_wheel_slip_s                    | time with slipping wheels                | time
rolled_back_m                        | rolled back                              | short length
clutch_heat_kj                       | clutch heat                              | heat
retarding_share_engine               | held by the engine                       | share
retarding_share_air_and_tyres        | held by air and tyres                    | share
retarding_share_service_brakes       | held by service brakes                   | share
energy_fuel_j                        | energy of the fuel                       | energy
energy_height_given_up_j             | height given up                          | energy
energy_kinetic_at_start_j            | motion at the start                      | energy
energy_indicated_work_j              | work on the pistons                      | energy
energy_combustion_heat_j             | combustion heat                          | energy
energy_engine_friction_j             | engine friction                          | energy
energy_compression_j                 | engine brake                             | energy
energy_fan_j                         | fan                                      | energy
energy_accessories_j                 | accessories                              | energy
energy_clutch_j                      | clutch                                   | energy
energy_gear_synchronising_j          | gear synchronising                       | energy
energy_gearbox_j                     | gearbox                                  | energy
energy_axle_j                        | axle                                     | energy
energy_tyre_slip_j                   | tyre slip                                | energy
energy_aero_j                        | air resistance                           | energy
energy_rolling_j                     | rolling resistance                       | energy
energy_service_brakes_j              | service brakes                           | energy
energy_kinetic_at_end_j              | motion at the end                        | energy
energy_exhaust_heat_j                | exhaust heat                             | energy
energy_charge_heat_j                 | heat of charge air and turbocharger      | energy
energy_coolant_heat_j                | coolant heat                             | energy
energy_oil_heat_j                    | oil heat                                 | energy
energy_brake_heat_j                  | brake heat shed                          | energy
energy_heat_stored_j                 | heat stored                              | energy
energy_residual_j                    | residual of the work book                | energy
energy_heat_residual_j               | residual of the heat book                | energy
energy_residual_fraction             | energy residual over energy supplied     | number
energy_engine_efficiency             | efficiency of the engine pulling hard    | share
energy_gearbox_efficiency            | efficiency of the gearbox pulling hard   | share
energy_axle_efficiency               | efficiency of the axle pulling hard      | share
"""
QUANTITIES: dict[str, tuple[str, str]] = {
    cells[0]: (cells[1], cells[2])
    for cells in ([cell.strip() for cell in line.split("|")] for line in _TABLE.strip().splitlines())
}
CREDITED = {"fuel_l_per_100km": "fuel_credited_l_per_100km", "fuel_mpg_us": "fuel_credited_mpg_us"}
TEXTS = ("ended", "ended_because", "warnings", "codes")


def unit_called(name: str) -> str:
    """The unit a quantity is kept in, as it is written; empty for a plain number."""
    unit = unit_of_key(name)
    return unit_name(unit) if unit else ""


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
