"""Turns a truck, settings and a road into the records and tables the kernel reads."""

import math
from functools import lru_cache

import numpy as np

from sim.errors import SpecError
from sim.inputs import sensors
from sim.inputs.specs import PAIRS, Accessories, AirPath, AxleBrakes, Condition, Cooling, Engine, Settings, Truck
from sim.laws.air_path import rotor_head
from sim.laws.engine import straight_line_fuel
from sim.march.air_path import asked_braking_power, settled_lines
from sim.march.kernel import settle_start
from sim.march.plant import asked_friction, complete, friction_factors
from sim.march.records import (
    DRIVE,
    FADE_ROW,
    FUEL_MAP_ROW,
    FULL_LOAD_ROW,
    GEARBOX_SHARE_ROW,
    HANDS,
    OIL_FACTOR_ROW,
    PARAMETER_TYPE,
    RATIO_ROW,
    STATE_TYPE,
    TABLE_WIDTH,
    Memory,
    new_memory,
)
from sim.march.seat import STANDING_PRESSURE, lever_and_splitter, rounded
from sim.messages import trucks
from sim.roads.route import Route
from sim.units import BAR, CELSIUS_ZERO, REVOLUTION_PER_MINUTE, STANDARD_GRAVITY, to_si

ACCESSORY_SPEED = to_si(2100.0, "rpm")  # rad/s: for which powers of fan, compressor and air conditioning are stated
CURVE_STEP = to_si(10.0, "rpm")
COLDEST_OIL = to_si(-40.0, "c")
TEMPERATURE_STEP = 2.5  # K
FADE_STEP = 4.0  # K
GATE_STUCK = {"free": -1.0, "open": 0.3, "shut": 0.0}  # share of the exhaust, assumed where it is stuck open
TANKS_AT_START = to_si(830.0, "kpa")

# parameters that are a value of the truck or of the settings in SI, as `parameter=key` where the names differ
GIVEN = {
    "simulation": "tick=tick_s limit_tolerance=limit_tolerance_km_h",
    "weather": "grip start_temperature=temperature_c start_pressure=pressure_kpa",
    "fuel": "heating_value=lower_heating_value_mj_per_kg",
    "road_speed": "road_speed_limit=limit_km_h road_speed_band=band_km_h",
    "vehicle": "mass=mass_kg drag_area=drag_area_m2"
    " rolling_constant=rolling_coefficient rolling_speed=rolling_growth_s_per_m",
    "tyres": "tyre_radius=rolling_radius_m",
    "engine": "engine_inertia=inertia_kg_m2 cylinders stroke=stroke_mm compression_ratio friction_factor"
    " low_idle=low_idle_rpm overspeed_bound=overspeed_rpm refuel_span=refuel_span_rpm"
    " indicated_efficiency least_air_fuel=least_air_fuel_ratio",
    "air_path": "manifold_volume=manifold_l turbine_efficiency bearing_efficiency nozzle=nozzle_cm2"
    " gate_opening=gate_opens_kpa gate_span=gate_span_kpa",
    "condition": "charge_leak=charge_leak_cm2 governor_lag=governor_lag_s",
    "engine_brake": "braking_returned_share=returned_share braking_nozzle=nozzle_cm2"
    " braking_gate_opening=gate_opens_kpa",
    "gearbox": "shaft_inertia=input_inertia_kg_m2"
    " gearbox_constant_loss=constant_loss_n_m gearbox_speed_loss=speed_loss_n_m split_from splitter_time=splitter_s",
    "driveline": "axle_ratio axle_efficiency axle_drag=axle_drag_n_m clutch_capacity=clutch_capacity_n_m"
    " clutch_close_time=clutch_close_s clutch_open_time=clutch_open_s bite_span=launch_span_rpm",
    "drums": "stroke_limit=stroke_limit_mm stroke_end=stroke_end_mm stroke_expansion=expansion_mm_per_k"
    " drum_capacity=capacity_kj_per_k drum_still=still_w_per_k drum_speed=cooling_w_per_k_per_m_s",
    "cooling": "fan_idle_share fan_called_share fan_bearing_loss=fan_bearing_kw"
    " coolant_capacity=coolant_capacity_kj_per_k oil_capacity=oil_capacity_kj_per_k"
    " coolant_combustion_share oil_combustion_share coolant_friction_share coolant_compression_share"
    " oil_coolant_exchange=oil_cooler_kw_per_k oil_air_exchange=oil_pan_kw_per_k"
    " thermostat_opens=thermostat_opens_c thermostat_full=thermostat_full_c"
    " radiator_closed=closed_kw_per_k radiator_still=still_kw_per_k radiator_road=road_kw_per_k_per_m_s",
    "accessories": "compressor_cut_in=cut_in_kpa compressor_cut_out=cut_out_kpa"
    " air_leak_rate=leak_kpa_per_s applied_leak_rate=applied_leak_kpa_per_s"
    " moving_air_rate=moving_use_kpa_per_s air_per_application",
    "speedometer": "programmed_pulses=programmed_pulses_per_mile",
}

# parameters that are the same for every truck
CHOSEN = {
    "idle_integral_gain": 60.0,  # N m/rad, assumed
    "idle_integral_limit": 400.0,  # N m, assumed
    "matching_gain": 60.0,  # N m s/rad, assumed: engine-speed hold in a shift
    "hold_integral_time": 8.0,  # s, assumed
    "reference_lead": 2.0,  # m/s, assumed
    "brake_response": 0.5,  # s, assumed: how fast the foot corrects
    "brake_hold_gain": 0.5,  # 1/s, assumed
    "brake_hold_most": 3.0,  # m/s2, assumed
    "brake_limit": 6.2 * BAR,  # Pa: full application, common practice
    "stroke_cold": to_si(20.0, "c"),
    "curve_per_step": 1.0 / CURVE_STEP,
    "oil_factor_first": COLDEST_OIL,
    "oil_factor_per_step": 1.0 / TEMPERATURE_STEP,
    "fade_first": CELSIUS_ZERO,
    "fade_per_step": 1.0 / FADE_STEP,
    "sensor_supply": sensors.SUPPLY,
    "battery": sensors.BATTERY,
    "charging": sensors.CHARGING,
    "charges_from": sensors.CHARGES_FROM,
    "thermistor_25": sensors.THERMISTOR_25,
    "thermistor_beta": sensors.THERMISTOR_BETA,
    "thermistor_pull_up": sensors.PULL_UP,
    "pressure_low": sensors.PRESSURE_LOW,
    "pressure_high": sensors.PRESSURE_HIGH,
    "pedal_low": sensors.PEDAL_LOW,
    "pedal_high": sensors.PEDAL_HIGH,
    "selector_low": sensors.SELECTOR_LOW,
    "selector_step": sensors.SELECTOR_STEP,
    "boost_full_scale": sensors.BOOST_FULL_SCALE,
    "barometer_full_scale": sensors.BAROMETER_FULL_SCALE,
    "oil_pressure_full_scale": sensors.OIL_FULL_SCALE,
    "crank_teeth": sensors.CRANK_TEETH,
    "cam_teeth": sensors.CAM_TEETH,
    "oil_pressure_idle": sensors.OIL_AT_IDLE,
    "oil_pressure_relief": sensors.OIL_RELIEF,
    "fuel_warming": sensors.FUEL_WARMING,
    "richest_air_fuel": sensors.RICHEST_AIR_FUEL,
    # sound sensors, full sumps and tanks
    **{f"{part}_gain": 1.0 for part in ("engine_speed", "road_speed", "boost", "barometer", "coolant", "oil")},
    "oil_delivery": 1.0,
    "coolant_fill": 1.0,
}


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
    tables[OIL_FACTOR_ROW] = friction_factors(
        COLDEST_OIL,
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
    p[f"brakes_{group}"], p[f"brake_lag_{group}"] = brakes.brakes, brakes.lag_s
    p[f"brake_threshold_{group}"] = brakes.si("threshold_bar")
    p[f"brake_gain_{group}"] = brakes.si("gain_kn_per_bar") if brakes.brakes else 0.0
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
    """
    record = np.zeros(1, dtype=PARAMETER_TYPE)
    p = record[0]
    for name, value in CHOSEN.items():
        p[name] = value
    whole = {**dict(truck), **dict(settings)}
    for table, pairs in GIVEN.items():
        for name, _, key in (pair.partition("=") for pair in pairs.split()):
            p[name] = whole[table].si(key or name)
    cruise = settings.cruise
    p["cruise_below"], p["cruise_above"] = cruise.si("full_below_km_h"), cruise.si("none_above_km_h")
    p["cruise_acceleration"] = p["cruise_deceleration"] = cruise.acceleration_m_s2
    p["cruise_rate"] = cruise.pedal_rate_percent_per_s / 100.0
    p["automated"] = truck.gearbox.kind == "automated"
    p["idle_gain"] = settings.simulation.governor_idle_gain_n_m_s_per_rad
    p["start_elevation"] = start_elevation
    p["circuits_watched"] = settings.circuits_watched
    _set_engine(p, truck.engine, truck.condition)
    for pair in PAIRS:
        p[f"pair_{pair}_sound"] = pair not in settings.drill.dead_pairs
    p["bite_speed"] = truck.engine.si("low_idle_rpm") + truck.driveline.si("launch_bite_rpm")
    _set_axles(p, truck)
    _set_accessories(p, truck.cooling, truck.accessories)
    complete(record, truck.engine_brake.polytropic_exponent, float(truck.speedometer.tone_wheel_teeth))
    _set_air_path(p, truck.air_path, truck.condition)
    _set_fuel_supply(record, truck.engine, truck.condition)
    return record


def assembled(truck: Truck, settings: Settings, start_elevation: float) -> tuple[np.ndarray, np.ndarray]:
    """Parameters and tables of a truck where a trip starts, with what its air path settles at there.

    Parameters
    ----------
    start_elevation : float
        Height at which the weather is stated. [m]

    Returns
    -------
    parameters : array
        Parameter record, shape (1,). [SI]
    tables : array
        Shape (rows, 256); rows as named in `sim.march.records`. [SI]

    Raises
    ------
    SpecError
        The stated retarding power does not follow from the engine brake's numbers.
    """
    parameters, tables = parameters_of(truck, settings, start_elevation), tables_of(truck)
    _check_retarding_power(truck.model_copy(update={"condition": Condition()}))
    settled_lines(np.zeros(1, dtype=STATE_TYPE), parameters, tables, CURVE_STEP)
    return parameters, tables


def _set_engine(p: np.void, engine: Engine, worn: Condition) -> None:
    """What follows from several numbers of the engine, and its fuel map."""
    p["displacement"] = engine.cylinders * math.pi / 4.0 * engine.si("bore_mm") ** 2 * engine.si("stroke_mm")
    p["curve_first"] = engine.si("full_load_rpm")[0]
    p["all_speed"] = engine.governor == "all-speed"
    p["governed_speed"] = engine.si("governed_rpm") - worn.si("governor_early_rpm")
    p["droop"] = (engine.high_idle_rpm - engine.governed_rpm) / (engine.governed_rpm - worn.governor_early_rpm)
    p["firing_share"] = 1.0 - len(worn.dead_cylinders) / engine.cylinders
    p["fuel_delivery"] = worn.si("fuel_delivery_percent") * (1.0 - worn.si("air_in_fuel_percent"))
    p["tightness"] = 1.0 - worn.si("ring_leak_percent")
    p["oil_viscosity_40"] = engine.oil_viscosity_40_mm2_per_s
    p["oil_viscosity_100"] = engine.oil_viscosity_100_mm2_per_s
    if engine.fuel_map_rpm:
        speeds, torques = engine.si("fuel_map_rpm"), engine.fuel_map_torque_n_m
        p["fuel_map_used"] = 1.0
        p["fuel_map_speeds"] = len(speeds)
        p["fuel_map_first_speed"], p["fuel_map_per_speed"] = speeds[0], 1.0 / (speeds[1] - speeds[0])
        p["fuel_map_first_torque"], p["fuel_map_per_torque"] = torques[0], 1.0 / (torques[1] - torques[0])


def _set_axles(p: np.void, truck: Truck) -> None:
    """Loads, brakes and turning masses."""
    vehicle, tyres = truck.vehicle, truck.tyres
    radius_squared = tyres.rolling_radius_m**2
    free_wheels = tyres.count - tyres.drive_count
    p["vehicle_body"] = vehicle.mass_kg + free_wheels * tyres.inertia_kg_m2 / radius_squared
    p["wheel_body"] = tyres.drive_count * tyres.inertia_kg_m2 / radius_squared
    for group in ("steer", "drive", "trailer"):
        p[f"{group}_load"] = getattr(vehicle, f"{group}_load_kg") * STANDARD_GRAVITY
        _set_brakes(p, group, getattr(truck, f"{group}_brakes"))
    total_gain = p["brake_gain_steer"] + p["brake_gain_drive"] + p["brake_gain_trailer"]
    p["brake_pressure_guess"] = vehicle.mass_kg / total_gain
    p["severity_applies"] = vehicle.axles == 5


def _set_accessories(p: np.void, cooling: Cooling, extras: Accessories) -> None:
    """What turns with the engine and is stated at one speed of it."""
    p["fan_coefficient"] = cooling.si("fan_power_kw") / ACCESSORY_SPEED**3
    p["radiator_fan"] = cooling.fan_kw_per_k_per_1000_rpm / REVOLUTION_PER_MINUTE
    p["steady_accessories"] = (
        extras.steering_idle_w
        + extras.steering_banking_w
        + extras.steering_turning_w
        + extras.electric_w / extras.alternator_efficiency
    )
    p["air_conditioning"] = extras.air_conditioning_w / ACCESSORY_SPEED
    p["compressor_unloaded"] = extras.si("compressor_unloaded_kw") / ACCESSORY_SPEED
    p["compressor_pumping"] = extras.si("compressor_pumping_kw") / ACCESSORY_SPEED
    p["compressor_fill_rate"] = extras.si("fill_kpa_per_s") / ACCESSORY_SPEED


def _set_air_path(p: np.void, air: AirPath, worn: Condition) -> None:
    """Losses over flow squared, the filling as a straight line, the rotor, and what is worn of them."""
    per_square = 1.0 / air.flow_kg_s**2
    p["filter_loss"] = (air.si("filter_kpa") + worn.si("intake_restriction_kpa")) * per_square
    p["cooler_loss"] = air.si("cooler_kpa") * per_square
    p["blocked_exhaust"] = worn.si("exhaust_restriction_kpa") * per_square
    p["exhaust_loss"] = air.si("exhaust_kpa") * per_square + p["blocked_exhaust"]
    (first, last), (low, least) = air.si("filling_rpm"), air.filling_share
    p["filling_low"], p["filling_least"], p["filling_from"] = low, least, first
    p["filling_slope"] = (low - least) / (last - first)
    p["cooler_effectiveness"] = air.cooler_effectiveness * (1.0 - worn.si("cooler_fouling_percent"))
    p["compressor_efficiency"] = air.compressor_efficiency * (1.0 - worn.si("turbocharger_wear_percent"))
    p["head_per_energy"] = rotor_head(1.0, air.rotor_inertia_kg_m2, 0.5 * air.si("impeller_mm"))
    p["gate_stuck"] = GATE_STUCK[worn.waste_gate]


def _set_fuel_supply(record: np.ndarray, engine: Engine, worn: Condition) -> None:
    """The most fuel that a plugged filter lets through while the injectors still fill."""
    if worn.fuel_restriction_kpa:
        loss = engine.si("fuel_filter_kpa") + worn.si("fuel_restriction_kpa")
        spare = engine.si("fuel_pump_kpa") - engine.si("fuel_needed_kpa")
        record[0]["most_fuel"] = rated_fuel(record, engine) * math.sqrt(spare / loss)


def rated_fuel(parameters: np.ndarray, engine: Engine) -> float:
    """Fuel of rated power by the straight line, at which the losses of the fuel filter are stated. [kg/s]"""
    p, speed = parameters[0], engine.si("rated_speed_rpm")
    torque = engine.si("rated_power_kw") / speed + float(asked_friction(parameters, speed))
    return float(straight_line_fuel(torque, speed, p["indicated_efficiency"], p["heating_value"]))


@lru_cache(maxsize=64)
def _check_retarding_power(truck: Truck) -> None:
    """The stated retarding power of a sound truck must follow from the numbers of its engine brake."""
    state, stated = np.zeros(1, dtype=STATE_TYPE), truck.engine_brake.rated_power_kw
    parameters, tables = parameters_of(truck, Settings(), 0.0), tables_of(truck)
    power = float(asked_braking_power(state, parameters, tables, ACCESSORY_SPEED)) / 1000.0
    if not abs(power - stated) <= 0.02 * stated:
        raise SpecError(
            trucks.retarding_power(stated_kw=stated, opens_kpa=truck.engine_brake.gate_opens_kpa, follows_kw=power)
        )


def initial_records(
    settings: Settings,
    route: Route,
    parameters: np.ndarray,
    tables: np.ndarray,
    gear: int,
    speed: float,
) -> Memory:
    """The records at the start of a trip.

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
    s, c, k, d = memory.state[0], memory.command[0], memory.controls[0], memory.driver[0]
    s["speed"] = s["wheel_speed"] = s["max_speed"] = d["reference_speed"] = speed
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
        d["brake_mode"], d["brake_pressure"], d["foot_brake"] = 4.0, STANDING_PRESSURE, STANDING_PRESSURE
        k["brake_pedal"] = rounded(STANDING_PRESSURE / p["brake_limit"])
    closed = 1.0 if gear else 0.0
    s["gear"] = c["gear"] = gear
    s["clutch_release"] = s["clutch_engagement"] = c["clutch"] = closed
    if p["automated"] < 0.5:
        k["lever"], k["splitter"] = lever_and_splitter(gear, int(p["split_from"]))
        s["splitter"] = k["splitter"]
        k["clutch_pedal"] = d["foot_clutch"] = d["clutch_wanted"] = 1.0 - closed
    else:
        k["lever"] = DRIVE
    drum = settings.start.si("brake_temperature_c")
    for group in ("steer", "drive", "trailer"):
        s[f"brake_temperature_{group}"] = drum
    for name in ("brake_temperature", "severity_temperature_a", "severity_temperature_b"):
        s[name] = s["max_" + name] = drum
    s["max_hottest_brake_temperature"] = drum
    s["coolant_temperature"] = settings.start.si("coolant_temperature_c")
    s["oil_temperature"] = settings.start.si("oil_temperature_c")
    s["reservoir_pressure"] = s["least_reservoir_pressure"] = TANKS_AT_START
    d["target_speed"] = speed
    d["acceleration_limit"] = settings.driver.acceleration_m_s2
    d["deceleration_limit"] = settings.driver.slowing_m_s2
    d["pedal_rate"] = settings.driver.pedal_rate_percent_per_s / 100.0
    c["speed_limit"] = route.limits[0].value if route.limits else 0.0
    k["engine_brake_selector"] = settings.retarding.selector
    k["cruise_switch"], k["fan_switch"], k["ignition"] = settings.cruise.switch, settings.fan.override, 1.0
    for hand in HANDS:
        d[f"hand_{hand}"] = k[hand]
    s["grade"], s["wind"] = route.grade_at(0.0), float(route.wind[0]) + settings.weather.wind_m_s
    settle_start(*memory[1:], parameters, tables)
    return memory
