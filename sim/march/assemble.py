"""Turns a truck, settings and a road into the records and tables the kernel reads."""

import math

import numpy as np

from sim.errors import SpecError
from sim.inputs import sensors
from sim.inputs.specs import PAIRS, AxleBrakes, Engine, Settings, Truck
from sim.march.controller import FOOT_ABOVE, FOOT_BELOW, STANDING_PRESSURE
from sim.march.kernel import settle_start
from sim.march.plant import asked_air_flow, complete, friction_factors
from sim.march.records import (
    BOOST_TIME_ROW,
    FADE_ROW,
    FUEL_MAP_ROW,
    FULL_LOAD_ROW,
    GEARBOX_SHARE_ROW,
    OIL_FACTOR_ROW,
    PARAMETER_TYPE,
    RATIO_ROW,
    TABLE_WIDTH,
    Memory,
    new_memory,
)
from sim.messages import trucks
from sim.roads.route import Route
from sim.units import (
    BAR,
    CELSIUS_ZERO,
    REVOLUTION_PER_MINUTE,
    STANDARD_GRAVITY,
    to_si,
)

ACCESSORY_SPEED = to_si(2100.0, "rpm")  # rad/s: speed for which fan and compressor powers are stated
CURVE_STEP = to_si(10.0, "rpm")
TEMPERATURE_STEP = 2.5  # K
FADE_STEP = 4.0  # K
COLD_DRUM = to_si(20.0, "c")
IDLE_INTEGRAL_GAIN = 60.0  # N m/rad, assumed
IDLE_INTEGRAL_LIMIT = 400.0  # N m, assumed
MATCHING_GAIN = 60.0  # N m s/rad, assumed: engine-speed hold in a shift
HOLD_INTEGRAL_TIME = 8.0  # s, assumed
REFERENCE_LEAD = 2.0  # m/s, assumed
BRAKE_RESPONSE = 0.5  # s, assumed: how fast the foot corrects
BRAKE_HOLD_GAIN = 0.5  # 1/s, assumed
BRAKE_LIMIT = 6.2 * BAR  # Pa: full application, common practice
TANKS_AT_START = to_si(830.0, "kpa")


def resampled(
    xs: tuple[float, ...], ys: tuple[float, ...], first: float, step: float, width: int = TABLE_WIDTH
) -> np.ndarray:
    """A curve on even steps, shape-preserving between its points, flat beyond its ends.

    Parameters
    ----------
    xs : tuple of float
        Rising positions.
    ys : tuple of float
        Values there.
    first : float
        First even position.
    step : float
        Distance between even positions.
    width : int
        Number of even positions.

    Returns
    -------
    values : array
        Shape (width,).

    Notes
    -----
    Piecewise cubic Hermite (Fritsch and Carlson, 1980): no overshoot between the points.
    """
    from scipy.interpolate import PchipInterpolator

    places = np.clip(first + step * np.arange(width), xs[0], xs[-1])
    return np.asarray(PchipInterpolator(xs, ys)(places))


def tables_of(truck: Truck) -> np.ndarray:
    """The curves of a truck on even steps, one a row.

    Returns
    -------
    tables : array
        Shape (rows, 256); rows as named in `sim.march.records`. [SI]
    """
    engine, gearbox, drums = truck.engine, truck.gearbox, truck.drums
    tables = np.zeros((FUEL_MAP_ROW + max(len(engine.fuel_map_rpm), 1), TABLE_WIDTH))
    first = engine.si("full_load_rpm")[0]
    tables[FULL_LOAD_ROW] = resampled(engine.si("full_load_rpm"), engine.full_load_torque_n_m, first, CURVE_STEP)
    tables[BOOST_TIME_ROW] = np.interp(
        first + CURVE_STEP * np.arange(TABLE_WIDTH), engine.si("boost_rise_rpm"), engine.boost_rise_s
    )
    tables[OIL_FACTOR_ROW] = friction_factors(
        CELSIUS_ZERO - 40.0,
        TEMPERATURE_STEP,
        TABLE_WIDTH,
        engine.oil_viscosity_40_mm2_per_s,
        engine.oil_viscosity_100_mm2_per_s,
        engine.oil_exponent,
    )
    tables[FADE_ROW] = np.interp(
        CELSIUS_ZERO + FADE_STEP * np.arange(TABLE_WIDTH), drums.si("fade_c"), drums.fade_share
    )
    for gear, ratio in enumerate(gearbox.ratios, start=1):
        tables[RATIO_ROW, gear] = ratio
        direct = abs(ratio - 1.0) < 1e-9
        tables[GEARBOX_SHARE_ROW, gear] = gearbox.direct_loss_share if direct else gearbox.indirect_loss_share
    for row, fuel in enumerate(engine.fuel_map_g_per_s):
        tables[FUEL_MAP_ROW + row, : len(fuel)] = np.array(fuel) / 1000.0
        tables[FUEL_MAP_ROW + row, len(fuel) :] = fuel[-1] / 1000.0
    return tables


def _set_brakes(p: np.void, group: str, brakes: AxleBrakes) -> None:
    """Writes one axle group's brakes."""
    p[f"brakes_{group}"] = brakes.brakes
    p[f"brake_lag_{group}"] = brakes.lag_s
    p[f"brake_threshold_{group}"] = brakes.si("threshold_bar")
    p[f"brake_gain_{group}"] = brakes.gain_kn_per_bar * 1000.0 / BAR if brakes.brakes else 0.0
    p[f"brake_stroke_{group}"] = brakes.si("stroke_mm")


def parameters_of(truck: Truck, settings: Settings, start_elevation: float) -> np.ndarray:
    """Truck, settings and weather as the kernel's parameter record.

    Parameters
    ----------
    start_elevation : float
        Height at which the weather is stated. [m]

    Returns
    -------
    parameters : array
        Parameter record, shape (1,). [SI]

    Raises
    ------
    SpecError
        The stated retarding power does not follow from the engine brake's numbers.
    """
    record = np.zeros(1, dtype=PARAMETER_TYPE)
    p = record[0]
    vehicle, tyres, engine, brake = truck.vehicle, truck.tyres, truck.engine, truck.engine_brake
    gearbox, line, cooling, extras = truck.gearbox, truck.driveline, truck.cooling, truck.accessories
    radius_squared = tyres.rolling_radius_m**2
    free_wheels = tyres.count - tyres.drive_count
    p["tick"] = settings.simulation.tick_s
    p["mass"] = vehicle.mass_kg
    p["vehicle_body"] = vehicle.mass_kg + free_wheels * tyres.inertia_kg_m2 / radius_squared
    p["wheel_body"] = tyres.drive_count * tyres.inertia_kg_m2 / radius_squared
    p["tyre_radius"] = tyres.rolling_radius_m
    p["drag_area"] = vehicle.drag_area_m2
    p["rolling_constant"] = vehicle.rolling_coefficient
    p["rolling_speed"] = vehicle.rolling_growth_s_per_m
    p["grip"] = settings.weather.grip
    for group in ("steer", "drive", "trailer"):
        p[f"{group}_load"] = getattr(vehicle, f"{group}_load_kg") * STANDARD_GRAVITY
        _set_brakes(p, group, getattr(truck, f"{group}_brakes"))
    p["start_elevation"] = start_elevation
    p["start_temperature"], p["start_pressure"] = (
        settings.weather.si("temperature_c"),
        settings.weather.si("pressure_kpa"),
    )

    p["engine_inertia"] = engine.inertia_kg_m2
    p["shaft_inertia"] = gearbox.input_inertia_kg_m2
    p["cylinders"] = engine.cylinders
    p["displacement"] = engine.cylinders * math.pi / 4.0 * engine.si("bore_mm") ** 2 * engine.si("stroke_mm")
    p["stroke"] = engine.si("stroke_mm")
    p["compression_ratio"] = engine.compression_ratio
    p["friction_factor"] = engine.friction_factor
    p["curve_first"], p["curve_per_step"] = engine.si("full_load_rpm")[0], 1.0 / CURVE_STEP
    p["all_speed"] = 1.0 if engine.governor == "all-speed" else 0.0
    p["low_idle"] = engine.si("low_idle_rpm")
    worn = truck.condition
    p["governed_speed"] = engine.si("governed_rpm") - worn.si("governor_early_rpm")
    p["droop"] = (engine.high_idle_rpm - engine.governed_rpm) / (engine.governed_rpm - worn.governor_early_rpm)
    p["boost_leak_speed"] = worn.si("boost_leak_rpm")
    p["fuel_delivery"] = worn.si("fuel_delivery_percent")
    p["firing_share"] = 1.0 - len(worn.dead_cylinders) / engine.cylinders
    p["overspeed_bound"] = engine.si("overspeed_rpm")
    p["idle_gain"] = settings.simulation.governor_idle_gain_n_m_s_per_rad
    p["idle_integral_gain"] = IDLE_INTEGRAL_GAIN
    p["idle_integral_limit"] = IDLE_INTEGRAL_LIMIT
    p["refuel_span"] = engine.si("refuel_span_rpm")
    p["matching_gain"] = MATCHING_GAIN
    p["road_speed_limit"] = settings.road_speed.si("limit_km_h")
    p["road_speed_band"] = settings.road_speed.si("band_km_h")
    p["volumetric_efficiency"] = engine.volumetric_efficiency
    p["intake_rise"] = engine.intake_rise_k
    p["least_air_fuel"] = engine.least_air_fuel_ratio
    p["full_load_air_fuel"] = engine.full_load_air_fuel_ratio
    p["boost_fall_time"] = engine.boost_fall_s
    p["indicated_efficiency"] = engine.indicated_efficiency
    p["heating_value"] = settings.fuel.lower_heating_value_mj_per_kg * 1e6
    if engine.fuel_map_rpm:
        speeds, torques = engine.si("fuel_map_rpm"), engine.fuel_map_torque_n_m
        p["fuel_map_used"] = 1.0
        p["fuel_map_speeds"] = len(speeds)
        p["fuel_map_first_speed"], p["fuel_map_per_speed"] = speeds[0], 1.0 / (speeds[1] - speeds[0])
        p["fuel_map_first_torque"], p["fuel_map_per_torque"] = torques[0], 1.0 / (torques[1] - torques[0])

    p["braking_pressure_ratio"] = brake.rated_pressure_ratio
    p["braking_returned_share"] = brake.returned_share
    p["braking_turbine_factor"] = brake.turbine_factor
    p["braking_back_share"] = brake.back_pressure_share
    p["braking_share_exponent"] = brake.share_exponent
    p["braking_boost_time"] = brake.build_up_s
    for pair in PAIRS:
        p[f"pair_{pair}_sound"] = 0.0 if pair in settings.drill.dead_pairs else 1.0

    p["gearbox_constant_loss"] = gearbox.constant_loss_n_m
    p["gearbox_speed_loss"] = gearbox.speed_loss_n_m
    p["axle_ratio"] = line.axle_ratio
    p["axle_efficiency"] = line.axle_efficiency
    p["axle_drag"] = line.axle_drag_n_m
    p["clutch_capacity"] = line.clutch_capacity_n_m
    p["clutch_close_time"] = line.clutch_close_s
    p["clutch_open_time"] = line.clutch_open_s
    p["bite_speed"] = engine.si("low_idle_rpm") + line.si("launch_bite_rpm")
    p["bite_span"] = line.si("launch_span_rpm")

    drums = truck.drums
    p["stroke_limit"], p["stroke_end"] = drums.si("stroke_limit_mm"), drums.si("stroke_end_mm")
    p["stroke_expansion"] = drums.expansion_mm_per_k * 1e-3
    p["stroke_cold"] = COLD_DRUM
    p["drum_capacity"] = drums.capacity_kj_per_k * 1e3
    p["drum_still"], p["drum_speed"] = drums.still_w_per_k, drums.cooling_w_per_k_per_m_s
    p["brake_response"] = BRAKE_RESPONSE
    p["brake_hold_gain"] = BRAKE_HOLD_GAIN
    p["brake_hold_most"] = 3.0
    total_gain = p["brake_gain_steer"] + p["brake_gain_drive"] + p["brake_gain_trailer"]
    p["brake_pressure_guess"] = vehicle.mass_kg / total_gain
    p["brake_limit"] = BRAKE_LIMIT
    p["severity_applies"] = 1.0 if vehicle.axles == 5 else 0.0

    p["fan_coefficient"] = cooling.fan_power_kw * 1e3 / ACCESSORY_SPEED**3
    p["fan_idle_share"] = cooling.fan_idle_share
    p["fan_bearing_loss"] = cooling.fan_bearing_kw * 1e3
    p["steady_accessories"] = (
        extras.steering_idle_w
        + extras.steering_banking_w
        + extras.steering_turning_w
        + extras.electric_w / extras.alternator_efficiency
        + extras.air_conditioning_w
    )
    p["compressor_unloaded"] = extras.compressor_unloaded_kw * 1e3 / ACCESSORY_SPEED
    p["compressor_pumping"] = extras.compressor_pumping_kw * 1e3 / ACCESSORY_SPEED
    p["compressor_cut_in"], p["compressor_cut_out"] = extras.si("cut_in_kpa"), extras.si("cut_out_kpa")
    p["compressor_fill_rate"] = extras.fill_kpa_per_s * 1e3 / ACCESSORY_SPEED
    p["air_leak_rate"] = extras.leak_kpa_per_s * 1e3
    p["air_per_application"] = extras.air_per_application

    p["coolant_capacity"] = cooling.coolant_capacity_kj_per_k * 1e3
    p["oil_capacity"] = cooling.oil_capacity_kj_per_k * 1e3
    for share in ("coolant_combustion", "oil_combustion", "coolant_friction", "coolant_compression"):
        p[f"{share}_share"] = getattr(cooling, f"{share}_share")
    p["oil_coolant_exchange"] = cooling.oil_cooler_kw_per_k * 1e3
    p["oil_air_exchange"] = cooling.oil_pan_kw_per_k * 1e3
    p["thermostat_opens"], p["thermostat_full"] = cooling.si("thermostat_opens_c"), cooling.si("thermostat_full_c")
    p["radiator_closed"] = cooling.closed_kw_per_k * 1e3
    p["radiator_still"] = cooling.still_kw_per_k * 1e3
    p["radiator_road"] = cooling.road_kw_per_k_per_m_s * 1e3
    p["radiator_fan"] = cooling.fan_kw_per_k_per_1000_rpm / REVOLUTION_PER_MINUTE
    p["oil_factor_first"], p["oil_factor_per_step"] = CELSIUS_ZERO - 40.0, 1.0 / TEMPERATURE_STEP
    p["fade_first"], p["fade_per_step"] = CELSIUS_ZERO, 1.0 / FADE_STEP

    p["programmed_pulses"] = truck.speedometer.programmed_pulses_per_mile
    for sensor in ("engine_speed", "road_speed", "boost", "barometer", "coolant", "oil"):
        p[f"{sensor}_gain"] = 1.0
    p["hold_integral_time"] = HOLD_INTEGRAL_TIME
    p["reference_lead"] = REFERENCE_LEAD
    p["limit_tolerance"] = settings.simulation.si("limit_tolerance_km_h")
    _set_circuits(p, engine)
    p["circuits_watched"] = 1.0 if settings.circuits_watched else 0.0
    p["governor_lag"] = worn.governor_lag_s
    power = complete(record, brake.polytropic_exponent, float(truck.speedometer.tone_wheel_teeth))
    if worn.intake_restriction_kpa or worn.exhaust_restriction_kpa:
        rated = engine.si("rated_speed_rpm")
        flow = float(asked_air_flow(record, rated, engine.si("rated_power_kw") / rated))
        p["intake_restriction"] = worn.si("intake_restriction_kpa") / flow**2
        p["exhaust_restriction"] = worn.si("exhaust_restriction_kpa") / flow**2
    _check_retarding_power(truck, power / 1000.0)
    return record


def _set_circuits(p: np.void, engine: Engine) -> None:
    """Writes the curves of sensors and switches, all sound."""
    p["sensor_supply"], p["battery"] = sensors.SUPPLY, sensors.BATTERY
    p["thermistor_25"], p["thermistor_beta"] = sensors.THERMISTOR_25, sensors.THERMISTOR_BETA
    p["thermistor_pull_up"] = sensors.PULL_UP
    p["pressure_low"], p["pressure_high"] = sensors.PRESSURE_LOW, sensors.PRESSURE_HIGH
    p["pedal_low"], p["pedal_high"] = sensors.PEDAL_LOW, sensors.PEDAL_HIGH
    p["selector_low"], p["selector_step"] = sensors.SELECTOR_LOW, sensors.SELECTOR_STEP
    p["boost_full_scale"], p["barometer_full_scale"] = sensors.BOOST_FULL_SCALE, sensors.BAROMETER_FULL_SCALE
    p["oil_pressure_full_scale"] = sensors.OIL_FULL_SCALE
    p["crank_teeth"], p["cam_teeth"] = sensors.CRANK_TEETH, sensors.CAM_TEETH
    p["oil_viscosity_40"] = engine.oil_viscosity_40_mm2_per_s
    p["oil_viscosity_100"] = engine.oil_viscosity_100_mm2_per_s
    p["oil_pressure_idle"], p["oil_pressure_relief"] = sensors.OIL_AT_IDLE, sensors.OIL_RELIEF
    p["oil_delivery"] = p["coolant_fill"] = 1.0
    p["fuel_warming"] = sensors.FUEL_WARMING
    p["richest_air_fuel"] = sensors.RICHEST_AIR_FUEL


def _check_retarding_power(truck: Truck, power: float) -> None:
    """The stated retarding power must follow from the numbers of the engine brake."""
    stated = truck.engine_brake.rated_power_kw
    if not abs(power - stated) <= 0.02 * stated:
        raise SpecError(
            trucks.retarding_power(
                stated_kw=stated, pressure_ratio=truck.engine_brake.rated_pressure_ratio, follows_kw=power
            )
        )


def initial_records(
    settings: Settings,
    route: Route,
    parameters: np.ndarray,
    tables: np.ndarray,
    gear: int,
    speed: float,
) -> Memory:
    """State, belief and command at the start of a trip.

    Parameters
    ----------
    parameters : array
        Parameter record, shape (1,). [SI]
    tables : array
        Shape (rows, width).
    gear : int
        Engaged gear, 0 for neutral.
    speed : float
        Road speed. [m/s]

    Returns
    -------
    memory : Memory
        [SI]
    """
    p = parameters[0]
    memory = new_memory()
    s, c = memory.state[0], memory.command[0]
    s["speed"] = s["wheel_speed"] = s["reference_speed"] = s["max_speed"] = speed
    s["elevation"] = route.start_elevation
    low_idle = float(p["low_idle"])
    if gear:
        s["clutch_locked"] = 1.0
    else:
        s["engine_speed"] = low_idle
    s["max_engine_speed"] = s["engine_speed"]
    if speed == 0.0:
        for name in ("brake_demand", "brake_pressure_steer", "brake_pressure_drive", "brake_pressure_trailer"):
            s[name] = STANDING_PRESSURE
    s["gear"] = c["gear"] = gear
    s["clutch_engagement"] = c["clutch"] = 1.0 if gear else 0.0
    s["manifold_pressure"] = p["start_pressure"]
    s["ambient_pressure"], s["ambient_temperature"] = p["start_pressure"], p["start_temperature"]
    drum = settings.start.si("brake_temperature_c")
    for group in ("steer", "drive", "trailer"):
        s[f"brake_temperature_{group}"] = drum
    for name in ("brake_temperature", "severity_temperature_a", "severity_temperature_b"):
        s[name] = s["max_" + name] = drum
    s["max_hottest_brake_temperature"] = drum
    s["coolant_temperature"] = settings.start.si("coolant_temperature_c")
    s["oil_temperature"] = settings.start.si("oil_temperature_c")
    s["reservoir_pressure"] = s["least_reservoir_pressure"] = TANKS_AT_START
    c["target_speed"] = speed
    c["acceleration_limit"] = settings.driver.acceleration_m_s2
    c["deceleration_limit"] = settings.driver.slowing_m_s2
    c["hold_below"], c["hold_above"] = FOOT_BELOW, FOOT_ABOVE
    c["pedal_rate"] = settings.driver.pedal_rate_percent_per_s / 100.0
    c["speed_limit"] = route.limits[0].value
    c["hand_retarding"], c["hand_selector"] = settings.retarding.switch, settings.retarding.selector
    c["hand_cruise"], c["hand_fan"], c["hand_key"] = settings.cruise.switch, settings.fan.override, 1.0
    s["grade"], s["wind"] = route.grade_at(0.0), float(route.wind[0]) + settings.weather.wind_m_s
    settle_start(memory.state, memory.belief, memory.command, parameters, tables)
    return memory
