"""What a truck and a trip's settings consist of: every value with its range, unit and one line of meaning.

Units stand in the names. A truck file gives each value with its source: `mass_kg = [36287, "published: ..."]`; a plain value
is accepted and counts as "not stated". Nothing here knows a formula; `Part.si` turns units into SI.
"""

import itertools
import math
import re
from collections.abc import Callable, Iterator
from typing import Annotated, Any, Literal, NoReturn, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, model_validator

from sim.inputs.sensors import FARTHEST, LATEST, NAMES, SENSORS, Occurrence, read_dialled, read_occurrence
from sim.messages import dyno, settings, trucks, values
from sim.messages import faults as fault_messages
from sim.units import key_to_si, quantity_in, to_si, unit_of_key

Pair = Literal["front", "middle", "rear"]
PAIRS: tuple[Pair, ...] = get_args(Pair)
MOST_MAP_POINTS = 256


def _number(meaning: str, low: float, high: float, default: Any = ..., mark: str = "", **more: Any) -> Any:
    """A number with its range, meaning and default, and where the default comes from when that is said."""
    extra: Any = {"mark": mark} if mark else None
    return Field(default, ge=low, le=high, strict=True, description=meaning, json_schema_extra=extra, **more)


def _switch(meaning: str, default: bool) -> Any:
    """A yes or no with its meaning and default."""
    return Field(default, strict=True, description=meaning)


def _each(low: float, high: float) -> Any:
    """A number of a list with its range."""
    return Field(ge=low, le=high, strict=True)


LEAST_BRAKING = 0.1  # kN/bar, assumed: of all axles together
EngineRpm = Annotated[float, _each(0.0, 6000.0)]
Temperature = Annotated[float, _each(-60.0, 1500.0)]
Ratio = Annotated[float, _each(0.1, 50.0)]
Share = Annotated[float, _each(0.0, 1.0)]
FullTorque = Annotated[float, _each(1.0, 10000.0)]
MapTorque = Annotated[float, _each(-10000.0, 10000.0)]
MapFuel = Annotated[float, _each(0.0, 500.0)]
Filling = Annotated[float, _each(0.5, 1.2)]


class Part(BaseModel):
    """Base of every table of a file: unknown keys are refused, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="after")
    def _checked(self) -> Self:
        """Every table checks itself once its values are within their ranges."""
        self.check()
        return self

    def check(self) -> None:
        """Raises a ValueError if the values do not fit each other."""

    def require_above(self, key: str, below: str) -> None:
        """One value of this table is above another."""
        given, limit = getattr(self, key), getattr(self, below)
        if given <= limit:
            raise ValueError(values.must_be_above(key=key, given=given, below=below, limit=limit))

    def require_below(self, key: str, above: str) -> None:
        """One value of this table is below another."""
        given, limit = getattr(self, key), getattr(self, above)
        if given >= limit:
            raise ValueError(values.must_be_below(key=key, given=given, above=above, limit=limit))

    def refuse_order(self, *keys: str) -> NoReturn:
        """Values of this table do not rise in their order."""
        raise ValueError(values.must_rise(keys=keys, given=[getattr(self, key) for key in keys]))

    def require_curve(self, places: str, heights: str) -> None:
        """Two lists of this table are a curve: equally long, places rising."""
        xs, ys = getattr(self, places), getattr(self, heights)
        if len(xs) != len(ys):
            raise ValueError(
                values.uneven_lists(first=places, first_count=len(xs), second=heights, second_count=len(ys))
            )
        fall = next(((before, after) for before, after in itertools.pairwise(xs) if after <= before), None)
        if fall:
            raise ValueError(values.list_must_rise(key=places, before=fall[0], after=fall[1]))

    def si(self, key: str) -> Any:
        """A value of this table in SI.

        Parameters
        ----------
        key : str
            Name with its unit.

        Returns
        -------
        value : float or tuple of float
            [SI]
        """
        value = getattr(self, key)
        if isinstance(value, tuple):
            return tuple(key_to_si(item, key) for item in value)
        return key_to_si(float(value), key)


class Vehicle(Part):
    """Mass, axles and resistance of the whole combination."""

    mass_kg: float = _number("gross mass", 3000, 80000)
    axles: int = _number("number of axles", 2, 12)
    steer_load_kg: float = _number("load on the steer axle", 500, 20000)
    drive_load_kg: float = _number("load on the drive axles", 500, 60000)
    trailer_load_kg: float = _number("load on the trailer axles, 0 for a truck alone", 0, 70000)
    drag_area_m2: float = _number("drag coefficient times frontal area", 1.0, 15.0)
    rolling_coefficient: float = _number("rolling resistance at walking pace over weight", 0.001, 0.05)
    rolling_growth_s_per_m: float = _number("growth of that coefficient with speed", 0.0, 0.001)

    def check(self) -> None:
        """The axles carry the whole mass."""
        loads = self.steer_load_kg + self.drive_load_kg + self.trailer_load_kg
        if abs(loads - self.mass_kg) > 0.01 * self.mass_kg:
            raise ValueError(trucks.axle_loads(loads_kg=loads, mass_kg=self.mass_kg))


class Tyres(Part):
    """Tyres and wheels."""

    rolling_radius_m: float = _number("rolling radius under load", 0.3, 0.8)
    count: int = _number("tyres on the road", 4, 40)
    drive_count: int = _number("of them on the drive axles", 2, 16)
    inertia_kg_m2: float = _number("inertia of one wheel with tyre and drum", 1.0, 40.0)


class Engine(Part):
    """The diesel engine."""

    name: str = Field(description="short name")
    bore_mm: float = _number("cylinder bore", 80, 200)
    stroke_mm: float = _number("piston stroke", 80, 250)
    cylinders: int = _number("number of cylinders, worked in three pairs by the engine brake", 6, 6)
    compression_ratio: float = _number("geometric compression ratio", 12, 22)
    full_load_rpm: tuple[EngineRpm, ...] = Field(description="engine speeds of the full-load curve", min_length=3)
    full_load_torque_n_m: tuple[FullTorque, ...] = Field(description="torque at those speeds", min_length=3)
    rated_speed_rpm: float = _number("speed of rated power", 1000, 3000)
    rated_power_kw: float = _number("rated power; must lie on the full-load curve", 50, 700)
    low_idle_rpm: float = _number("low idle", 400, 1000)
    governed_rpm: float = _number("full-load governed speed, where droop starts", 1200, 3200)
    high_idle_rpm: float = _number("steady speed without load at full pedal", 1200, 3500)
    overspeed_rpm: float = _number("bound beyond which a trip ends as a runaway", 1500, 4500)
    governor: Literal["limiting-speed", "all-speed"] = Field(description="kind of governor")
    inertia_kg_m2: float = _number("engine, flywheel and clutch", 0.5, 10.0)
    friction_factor: float = _number("motoring torque against the published correlation", 0.5, 1.5)
    oil_viscosity_40_mm2_per_s: float = _number("oil viscosity at 40 °C (104 °F)", 20, 400)
    oil_viscosity_100_mm2_per_s: float = _number("oil viscosity at 100 °C (212 °F)", 4, 30)
    oil_exponent: float = _number("friction over viscosity, as a power", 0.0, 0.5)
    indicated_efficiency: float = _number("share of fuel energy that reaches the pistons", 0.3, 0.6)
    least_air_fuel_ratio: float = _number("air per fuel at which fuel is limited", 12, 40)
    fuel_pump_kpa: float = _number("pressure of the fuel pump, before the filter", 200, 2000)
    fuel_needed_kpa: float = _number("pressure below which the injectors do not fill", 50, 1500)
    fuel_filter_kpa: float = _number("pressure a new fuel filter takes at rated power", 1, 200)
    refuel_span_rpm: float = _number("above low idle, where fuel returns in overrun", 50, 400)
    fuel_map_rpm: tuple[EngineRpm, ...] = Field(
        (), description="speeds of a fuel map, evenly spaced; none: straight line"
    )
    fuel_map_torque_n_m: tuple[MapTorque, ...] = Field((), description="flywheel torques of the map, evenly spaced")
    fuel_map_g_per_s: tuple[tuple[MapFuel, ...], ...] = Field((), description="fuel, one row a speed")

    def check(self) -> None:
        """Curves, speeds and rated power fit each other."""
        self.require_curve("full_load_rpm", "full_load_torque_n_m")
        self.require_above("fuel_pump_kpa", "fuel_needed_kpa")
        if not self.low_idle_rpm < self.governed_rpm < self.high_idle_rpm < self.overspeed_rpm:
            raise ValueError(
                trucks.engine_speeds(
                    low_idle_rpm=self.low_idle_rpm,
                    governed_rpm=self.governed_rpm,
                    high_idle_rpm=self.high_idle_rpm,
                    overspeed_rpm=self.overspeed_rpm,
                )
            )
        if not self.full_load_rpm[0] <= self.rated_speed_rpm <= self.governed_rpm:
            raise ValueError(
                trucks.rated_speed(
                    given_rpm=self.rated_speed_rpm, lowest_rpm=self.full_load_rpm[0], governed_rpm=self.governed_rpm
                )
            )
        if self.full_load_rpm[-1] < self.governed_rpm:
            raise ValueError(trucks.curve_too_short(ends_rpm=self.full_load_rpm[-1], governed_rpm=self.governed_rpm))
        curve = _straight(self.rated_speed_rpm, self.full_load_rpm, self.full_load_torque_n_m)
        power = curve * to_si(self.rated_speed_rpm, "rpm") / 1000.0
        if abs(power - self.rated_power_kw) > 0.02 * self.rated_power_kw:
            raise ValueError(
                trucks.rated_power(given_kw=self.rated_power_kw, curve_kw=power, speed_rpm=self.rated_speed_rpm)
            )
        if self.oil_viscosity_100_mm2_per_s >= self.oil_viscosity_40_mm2_per_s:
            raise ValueError(
                trucks.oil_thickens(
                    hot_mm2_per_s=self.oil_viscosity_100_mm2_per_s, warm_mm2_per_s=self.oil_viscosity_40_mm2_per_s
                )
            )
        self._check_map()

    def _check_map(self) -> None:
        """A fuel map is a full grid on even steps."""
        rows, columns = len(self.fuel_map_rpm), len(self.fuel_map_torque_n_m)
        if not rows and not columns and not self.fuel_map_g_per_s:
            return
        for key, number in (("fuel_map_rpm", rows), ("fuel_map_torque_n_m", columns)):
            if number > MOST_MAP_POINTS:
                raise ValueError(trucks.map_too_large(key=key, number=number, most=MOST_MAP_POINTS))
        if rows < 2 or columns < 2:
            raise ValueError(trucks.map_too_small(speeds=rows, torques=columns))
        if len(self.fuel_map_g_per_s) != rows or any(len(row) != columns for row in self.fuel_map_g_per_s):
            raise ValueError(
                trucks.map_shape(rows=rows, columns=columns, given=[len(row) for row in self.fuel_map_g_per_s])
            )
        for key in ("fuel_map_rpm", "fuel_map_torque_n_m"):
            grid = getattr(self, key)
            step = grid[1] - grid[0]
            if step <= 0 or any(abs(b - a - step) > 1e-6 * step for a, b in itertools.pairwise(grid)):
                raise ValueError(trucks.map_steps(key=key, first_step=step))


def _straight(x: float, xs: tuple[float, ...], ys: tuple[float, ...]) -> float:
    """Linear interpolation for a consistency check."""
    for (x0, y0), (x1, y1) in itertools.pairwise(zip(xs, ys, strict=True)):
        if x0 <= x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return ys[-1]


class AirPath(Part):
    """Filter, turbocharger, charge cooler, manifold and exhaust; the three losses grow with the square of the flow."""

    flow_kg_s: float = _number("flow at which the three losses are stated", 0.05, 3.0)
    filter_kpa: float = _number("taken by a sound air filter", 0.1, 10.0)
    cooler_kpa: float = _number("taken by the charge cooler", 0.1, 40.0)
    exhaust_kpa: float = _number("behind the turbine, above outside air", 0.1, 40.0)
    filling_rpm: tuple[EngineRpm, EngineRpm] = Field(description="engine speeds between which the filling falls")
    filling_share: tuple[Filling, Filling] = Field(description="of the swept volume, at those speeds")
    manifold_l: float = _number("volume from compressor to cylinders", 1, 200)
    cooler_effectiveness: float = _number("charge cooler, share of the way to the outside air", 0.3, 1.0)
    compressor_efficiency: float = _number("isentropic", 0.4, 0.9)
    turbine_efficiency: float = _number("isentropic", 0.4, 0.9)
    bearing_efficiency: float = _number("of the rotor's bearings", 0.8, 1.0)
    rotor_inertia_kg_m2: float = _number("wheels and shaft", 1e-7, 0.01)
    impeller_mm: float = _number("tip diameter of the compressor wheel", 30, 200)
    nozzle_cm2: float = _number("effective area of the turbine", 2, 60)
    gate_opens_kpa: float = _number("boost behind the compressor at which the waste gate opens", 20, 500)
    gate_span_kpa: float = _number("boost above it at which all of the exhaust would pass", 20, 1000)

    def check(self) -> None:
        """The filling falls over a span of speeds."""
        self.require_curve("filling_rpm", "filling_share")


class EngineBrake(Part):
    """The compression-release engine brake as it is built."""

    rated_power_kw: float = _number(
        "retarding power at the flywheel at 2100 rpm, all cylinders, friction included", 50, 700
    )
    polytropic_exponent: float = _number("of the compression", 1.2, 1.4)
    returned_share: float = _number("of the compression work that comes back", 0.0, 0.5)
    nozzle_cm2: float = _number("effective area of the turbine, narrowed while braking", 1, 60)
    gate_opens_kpa: float = _number("boost behind the compressor at which the waste gate opens while braking", 5, 500)
    stage_1: tuple[Pair, ...] = Field(description="pairs of cylinders in stage 1")
    stage_2: tuple[Pair, ...] = Field(description="pairs of cylinders in stage 2")
    stage_3: tuple[Pair, ...] = Field(description="pairs of cylinders in stage 3")

    def check(self) -> None:
        """No stage names a pair twice."""
        for key in ("stage_1", "stage_2", "stage_3"):
            pairs = getattr(self, key)
            if len(set(pairs)) != len(pairs):
                raise ValueError(trucks.pair_twice(key=key, given=pairs))

    def pairs(self, stage: int) -> tuple[str, ...]:
        """Pairs of cylinders that work in a stage.

        Parameters
        ----------
        stage : int
            0 to 3.
        """
        return ((), self.stage_1, self.stage_2, self.stage_3)[stage]


class Gearbox(Part):
    """The gearbox and its shifts."""

    name: str = Field(description="short name")
    kind: Literal["manual", "automated"] = Field(description="who shifts")
    ratios: tuple[Ratio, ...] = Field(description="ratios, lowest gear first", min_length=1, max_length=24)
    constant_loss_n_m: float = _number("drag at rest, at the input shaft", 0.0, 100.0)
    speed_loss_n_m: float = _number("drag per 1000 rpm, at the input shaft", 0.0, 100.0)
    direct_loss_share: float = _number("share of the torque lost in the direct gear", 0.0, 0.1)
    indirect_loss_share: float = _number("share of the torque lost in other gears", 0.0, 0.1)
    input_inertia_kg_m2: float = _number("clutch plate and input shaft", 0.01, 2.0)
    torque_gap_s: float = _number("time a shift leaves the wheels without torque", 0.2, 5.0)
    split_from: int = _number("first gear that the splitter of a manual gearbox halves, 0 without one", 0, 24, 0)
    splitter_s: float = _number("time the splitter takes from end to end", 0.1, 2.0, 0.5)

    def check(self) -> None:
        """Ratios fall from gear to gear, and a splitter finds them in pairs."""
        split = len(self.ratios) - self.split_from + 1
        if self.split_from and (split < 2 or split % 2):
            raise ValueError(trucks.split_pairs(split_from=self.split_from, gears=len(self.ratios)))
        rise = next(((before, after) for before, after in itertools.pairwise(self.ratios) if after >= before), None)
        if rise:
            raise ValueError(trucks.ratios(before=rise[0], after=rise[1]))


class Driveline(Part):
    """Clutch and drive axle."""

    axle_ratio: float = _number("drive-axle ratio", 1.5, 8.0)
    axle_efficiency: float = _number("tooth efficiency of the axle", 0.8, 1.0)
    axle_drag_n_m: float = _number("axle drag at the wheels", 0.0, 500.0)
    clutch_capacity_n_m: float = _number("torque the closed clutch can carry", 200, 8000)
    clutch_close_s: float = _number("time to let the clutch in", 0.05, 3.0)
    clutch_open_s: float = _number("time to open it", 0.02, 2.0)
    launch_bite_rpm: float = _number("above low idle, where a launch begins to pull", -50, 400)
    launch_span_rpm: float = _number("above that, where the clutch is fully in", 50, 800)


class AxleBrakes(Part):
    """Service brakes of one axle group."""

    brakes: int = _number("number of drums", 0, 16)
    gain_kn_per_bar: float = _number("braking force per pressure, cold and adjusted", 0.0, 60.0)
    threshold_bar: float = _number("push-out pressure", 0.0, 2.0)
    lag_s: float = _number("mean delay of the pressure", 0.02, 2.0)
    stroke_mm: float = _number("cold push-rod stroke", 10, 80)


class Drums(Part):
    """What all drums of the truck have in common."""

    capacity_kj_per_k: float = _number("heat capacity of one drum with what it warms", 5, 200)
    still_w_per_k: float = _number("cooling of one drum at rest", 1, 200)
    cooling_w_per_k_per_m_s: float = _number("growth of the cooling with road speed", 0, 20)
    fade_c: tuple[Temperature, ...] = Field(description="drum temperatures of the fade table, rising", min_length=2)
    fade_share: tuple[Share, ...] = Field(description="share of the force left at those temperatures", min_length=2)
    stroke_limit_mm: float = _number("stroke up to which the force is whole", 20, 100)
    stroke_end_mm: float = _number("stroke at which no force is left", 25, 120)
    expansion_mm_per_k: float = _number("growth of the stroke with drum temperature", 0.0, 0.2)

    def check(self) -> None:
        """The fade table and the strokes are in order."""
        self.require_curve("fade_c", "fade_share")
        self.require_above("stroke_end_mm", "stroke_limit_mm")


class Cooling(Part):
    """Coolant, oil, radiator and fan."""

    coolant_capacity_kj_per_k: float = _number("coolant and block", 20, 2000)
    oil_capacity_kj_per_k: float = _number("oil and what it wets", 10, 1000)
    coolant_combustion_share: float = _number("of the combustion heat", 0.0, 0.8)
    oil_combustion_share: float = _number("of the combustion heat", 0.0, 0.3)
    coolant_friction_share: float = _number("of the engine friction", 0.0, 1.0)
    coolant_compression_share: float = _number("of the engine brake's work; the rest leaves with the exhaust", 0.0, 0.5)
    oil_cooler_kw_per_k: float = _number("oil to coolant", 0.0, 20.0)
    oil_pan_kw_per_k: float = _number("oil to air", 0.0, 2.0)
    thermostat_opens_c: float = _number("begins to open", 60, 100)
    thermostat_full_c: float = _number("fully open", 65, 110)
    closed_kw_per_k: float = _number("shed with a shut thermostat", 0.0, 1.0)
    still_kw_per_k: float = _number("radiator, standing, fan off", 0.0, 5.0)
    road_kw_per_k_per_m_s: float = _number("growth with road speed", 0.0, 0.5)
    fan_kw_per_k_per_1000_rpm: float = _number("growth with fan speed", 0.0, 5.0)
    fan_power_kw: float = _number("fan locked at 2100 rpm", 0.0, 100.0)
    fan_bearing_kw: float = _number("belt and bearings", 0.0, 5.0)
    fan_idle_share: float = _number("fan over engine speed, clutch open; 1 for a fan without clutch", 0.0, 1.0)
    fan_called_share: float = _number("of the time for which air conditioning and charge air have it on", 0.0, 1.0)
    fan_on_c: float = _number("coolant temperature that calls the fan", 70, 120)
    fan_off_c: float = _number("coolant temperature that lets it go", 65, 118)
    fan_least_s: float = _number("shortest time on", 0, 600)

    def check(self) -> None:
        """Limits stand in their order."""
        self.require_above("thermostat_full_c", "thermostat_opens_c")
        self.require_below("fan_off_c", "fan_on_c")
        if self.coolant_combustion_share + self.oil_combustion_share > 1.0:
            raise ValueError(trucks.heat_shares(coolant=self.coolant_combustion_share, oil=self.oil_combustion_share))


class Accessories(Part):
    """What else the engine drives."""

    steering_idle_w: float = _number("steering pump, unloaded and friction", 0, 5000)
    steering_banking_w: float = _number("steering pump, holding the lane", 0, 5000)
    steering_turning_w: float = _number("steering pump, turning", 0, 5000)
    electric_w: float = _number("electric power used", 0, 10000)
    alternator_efficiency: float = _number("electric over mechanical power", 0.3, 1.0)
    air_conditioning_w: float = _number("mean power of the air conditioning, at 2100 rpm", 0, 10000)
    compressor_unloaded_kw: float = _number("air compressor, unloaded, at 2100 rpm", 0, 5)
    compressor_pumping_kw: float = _number("air compressor, pumping, at 2100 rpm", 0, 15)
    cut_in_kpa: float = _number("tank pressure at which it starts to pump", 400, 1000)
    cut_out_kpa: float = _number("tank pressure at which it stops", 420, 1100)
    fill_kpa_per_s: float = _number("rise of tank pressure while pumping at 2100 rpm", 0.5, 50)
    leak_kpa_per_s: float = _number("fall of tank pressure by leaks", 0.0, 5.0)
    applied_leak_kpa_per_s: float = _number("more of it while the service brakes are applied", 0.0, 5.0, 0.0)
    moving_use_kpa_per_s: float = _number("fall of tank pressure by suspension and seats, truck moving", 0.0, 5.0, 0.0)
    air_per_application: float = _number("fall of tank pressure per rise of brake pressure", 0.0, 0.5)

    def check(self) -> None:
        """Limits stand in their order."""
        self.require_above("cut_out_kpa", "cut_in_kpa")


class Speedometer(Part):
    """How the controller counts road speed."""

    tone_wheel_teeth: int = _number("teeth on the output-shaft wheel", 4, 120)
    programmed_pulses_per_mile: float = _number(
        "what the controller has been told; 0 for what is fitted", 0, 150000, 0.0
    )


class Condition(Part):
    """Wear and faults of the engine; every default is a sound engine, and leaves its numbers as they are."""

    intake_restriction_kpa: float = _number(
        "pressure a dirty air filter takes more at the stated flow of the air path, grows with flow squared",
        0.0,
        60.0,
        0.0,
    )
    exhaust_restriction_kpa: float = _number(
        "pressure a blocked exhaust adds behind the turbine at that flow, grows with flow squared", 0.0, 150.0, 0.0
    )
    charge_leak_cm2: float = _number("hole between compressor and cylinders", 0.0, 20.0, 0.0)
    cooler_fouling_percent: float = _number("of the charge cooler's effectiveness that is lost", 0.0, 90.0, 0.0)
    turbocharger_wear_percent: float = _number("of the compressor's efficiency that is lost", 0.0, 60.0, 0.0)
    waste_gate: Literal["free", "open", "shut"] = Field("free", description="free, or stuck")
    fuel_restriction_kpa: float = _number(
        "pressure a plugged fuel filter takes more at rated power, grows with flow squared", 0.0, 3000.0, 0.0
    )
    air_in_fuel_percent: float = _number("of the volume the injectors take in", 0.0, 60.0, 0.0)
    ring_leak_percent: float = _number("of the charge that gets past worn piston rings, more than new", 0.0, 20.0, 0.0)
    fuel_delivery_percent: float = _number("of the commanded fuel that worn injectors give", 20.0, 100.0, 100.0)
    governor_early_rpm: float = _number("so far below the speeds of the truck file the governor acts", 0.0, 1000.0, 0.0)
    governor_lag_s: float = _number(
        "lag with which governor and gauges read the engine speed; 0 for none", 0.0, 0.5, 0.0
    )
    dead_cylinders: tuple[Literal[1, 2, 3, 4, 5, 6], ...] = Field(
        (), max_length=5, description="cylinders whose injector gives no fuel"
    )

    def check(self) -> None:
        """No cylinder is named twice."""
        if len(set(self.dead_cylinders)) != len(self.dead_cylinders):
            raise ValueError(dyno.cylinder_twice(given=self.dead_cylinders))


class Truck(Part):
    """A whole truck."""

    name: str = Field(description="one line that says what it is")
    vehicle: Vehicle
    tyres: Tyres
    engine: Engine
    air_path: AirPath
    engine_brake: EngineBrake
    gearbox: Gearbox
    driveline: Driveline
    steer_brakes: AxleBrakes
    drive_brakes: AxleBrakes
    trailer_brakes: AxleBrakes
    drums: Drums
    cooling: Cooling
    accessories: Accessories
    speedometer: Speedometer
    condition: Condition = Condition()

    def braking_cylinders(self, stage: int) -> float:
        """How many cylinders work as an engine brake in a stage.

        Parameters
        ----------
        stage : int
            0 to 3.
        """
        return len(self.engine_brake.pairs(stage)) * self.engine.cylinders / len(PAIRS)

    def check(self) -> None:
        """The parts fit each other."""
        if self.tyres.drive_count >= self.tyres.count:
            raise ValueError(trucks.drive_tyres(drive_count=self.tyres.drive_count, count=self.tyres.count))
        if self.vehicle.trailer_load_kg == 0 and self.trailer_brakes.brakes > 0:
            raise ValueError(trucks.brakes_without_trailer(brakes=self.trailer_brakes.brakes))
        if self.steer_brakes.brakes + self.drive_brakes.brakes + self.trailer_brakes.brakes == 0:
            raise ValueError(trucks.no_brakes())
        braking = sum(
            axle.gain_kn_per_bar for axle in (self.steer_brakes, self.drive_brakes, self.trailer_brakes) if axle.brakes
        )
        if braking < LEAST_BRAKING:
            raise ValueError(trucks.no_braking(gain_kn_per_bar=braking, least_kn_per_bar=LEAST_BRAKING))
        if self.engine.governed_rpm - self.condition.governor_early_rpm < self.engine.full_load_rpm[0]:
            raise ValueError(
                trucks.governor_too_early(
                    early_rpm=self.condition.governor_early_rpm, lowest_rpm=self.engine.full_load_rpm[0]
                )
            )
        if self.driveline.clutch_capacity_n_m < 1.1 * max(self.engine.full_load_torque_n_m):
            raise ValueError(
                trucks.weak_clutch(
                    capacity_n_m=self.driveline.clutch_capacity_n_m, peak_n_m=max(self.engine.full_load_torque_n_m)
                )
            )


# ---------------------------------------------------------------- settings


class Start(Part):
    """How the trip begins."""

    speed_km_h: float = _number(
        "road speed; below 0 for what the driver goes by: limit, curve, cruise set speed, his own; 0 to start from rest",
        -1,
        130,
        -1.0,
    )
    gear: int = _number("gear; 0 for the one that suits the speed", 0, 24, 0)
    brake_temperature_c: float = _number("all drums", -40, 600, 65.6)
    oil_temperature_c: float = _number("engine oil", -40, 140, 95.0)
    coolant_temperature_c: float = _number("coolant", -40, 115, 88.0)


class Weather(Part):
    """Air and road surface."""

    temperature_c: float = _number("air at the start of the road", -40, 55, 20.0)
    pressure_kpa: float = _number(
        "air pressure at the start; 0 for the standard atmosphere at that height", 0, 110, 0.0
    )
    wind_m_s: float = _number("added to the road's wind, positive from ahead", -30, 30, 0.0)
    grip: float = _number("tyre on road: 0.7 dry, 0.3 wet, 0.1 ice", 0.02, 1.2, 0.7)


class Cruise(Part):
    """Cruise control, and the engine brake it calls in when the truck runs above the set speed."""

    switch: bool = _switch("cruise on/off switch", True)
    set_speed_km_h: float = _number(
        "speed the driver sets wherever the road allows it; 0: cruise is not used", 0, 130, 0.0
    )
    presses: tuple[str, ...] = Field(
        (), max_length=200, description='buttons pressed on the way, each "PLACE BUTTON", for example "2.5 km tap up"'
    )
    least_speed_km_h: float = _number("lowest speed that can be set", 10, 80, 32.0, "assumed")
    least_rpm: float = _number("lowest engine speed at which one can be set", 600, 1800, 1100.0, "assumed")
    least_rule: Literal["and", "or"] = Field("and", description="whether both of these must hold, or one is enough")
    resume_km_h: float = _number("lowest speed at which the stored speed can be resumed", 5, 80, 16.0, "assumed")
    most_km_h: float = _number("highest speed that can be set; 0 for no bound but the road-speed limit", 0, 140, 0.0)
    tap_km_h: float = _number("step of one tap", 0.5, 10, 1.6)
    clutch_s: float = _number("the clutch cancels when it is open for longer; 0 for at once", 0, 20, 5.0)
    full_below_km_h: float = _number("so far below the set speed fuel is full", 0.5, 10, 3.2, "assumed, check CRS-01")
    none_above_km_h: float = _number(
        "so far above the set speed fuel has fallen to none", 0.1, 10, 3.2, "assumed, check CRS-01"
    )
    acceleration_m_s2: float = _number("for returning to the stored speed", 0.05, 1.5, 0.3)
    pedal_rate_percent_per_s: float = _number("fastest change of the torque it asks for", 2, 200, 20.0)
    with_engine_brake: bool = _switch("true: cruise calls in the engine brake above the set speed", True)
    stage_1_over_km_h: float = _number(
        "above the set speed, where stage 1 comes in", 0.5, 30, 4.8, "assumed, check CC-01"
    )
    stage_2_over_km_h: float = _number(
        "above the set speed, where stage 2 comes in", 0.5, 30, 8.0, "assumed, check CC-01"
    )
    stage_3_over_km_h: float = _number(
        "above the set speed, where stage 3 comes in", 0.5, 30, 11.3, "assumed, check CC-01"
    )
    stage_drop_km_h: float = _number(
        "a stage goes out so far below where it came in", 0.2, 10, 3.2, "assumed, check CC-01"
    )
    stage_up_s: float = _number("shortest time in a stage before the next", 0.05, 30, 2.0)
    stage_down_s: float = _number("shortest time in a stage before the one below", 0.05, 30, 1.0)
    key_on_check: bool = _switch(
        "true: the driver has pressed brake and clutch and turned the cruise switch off and on since the key", True
    )

    def check(self) -> None:
        """Stages come in one after the other, and every button is one."""
        if not self.stage_1_over_km_h < self.stage_2_over_km_h < self.stage_3_over_km_h:
            self.refuse_order("stage_1_over_km_h", "stage_2_over_km_h", "stage_3_over_km_h")
        if self.stage_drop_km_h > self.stage_1_over_km_h:
            raise ValueError(settings.stage_drop(drop_km_h=self.stage_drop_km_h, stage_1_km_h=self.stage_1_over_km_h))
        if 0.0 < self.set_speed_km_h < self.least_speed_km_h and self.least_rule == "and":
            raise ValueError(settings.set_speed(set_km_h=self.set_speed_km_h, least_km_h=self.least_speed_km_h))
        self.places()

    def places(self) -> list[tuple[float, str, float]]:
        """The buttons pressed on the way, in the order of the road.

        Returns
        -------
        presses : list of (float, str, float)
            Place, button, and how long it is held. [m, -, s]

        Raises
        ------
        ValueError
            One is not of that form.
        """
        return sorted(_press(text) for text in self.presses)


BUTTONS = ("on", "off", "set", "resume", "accelerate", "coast", "tap up", "tap down", "cancel")
HELD_BUTTONS = ("accelerate", "coast")
LONGEST_PRESS = 120.0  # s


def _press(text: str) -> tuple[float, str, float]:
    """Reads one button press: place, button and, for those that are held, seconds."""
    found = re.fullmatch(r"\s*([0-9.]+)\s*(km|m|mi)\s+([a-z]+(?: up| down)?)(?:\s+([0-9.]+)\s*s)?\s*", text)
    if not found or found[3] not in BUTTONS:
        raise ValueError(settings.no_button_press(text=text, buttons=BUTTONS))
    try:
        place, held = quantity_in(f"{found[1]}{found[2]}", "m"), float(found[4] or 0.0)
    except ValueError:
        raise ValueError(settings.press_number(text=text, buttons=BUTTONS)) from None
    if place > FARTHEST:
        raise ValueError(settings.press_too_far(text=text, most_km=FARTHEST / 1000.0))
    if (held > 0.0) != (found[3] in HELD_BUTTONS) or held > LONGEST_PRESS:
        raise ValueError(settings.press_held(text=text, longest_s=LONGEST_PRESS, buttons=BUTTONS))
    return place, found[3], held


class Drill(Part):
    """One thing at a time, held for practice."""

    hold_gear: int = _number("gear held all the way; 0 for none", 0, 24, 0)
    hold_stage: int = _number("engine-brake stage held while the foot is off; -1 for none", -1, 3, -1)
    service_brakes: bool = _switch("false: the driver never touches them", True)
    style: Literal["snub", "drag"] = Field("snub", description="how the driver brakes on a descent")
    careless: bool = _switch("true: the driver neither slows nor takes a lower gear before a descent", False)
    neutral: bool = _switch("true: out of gear wherever the road falls, as nobody should", False)
    dead_pairs: tuple[Pair, ...] = Field((), max_length=3, description="pairs of cylinders whose engine brake is dead")
    missed_shift: int = _number("number of the shift that does not go in at first; 0 for none", 0, 1000, 0)


class Driver(Part):
    """Habits of the driver."""

    speed_limit_share: float = _number("of the posted limit the driver aims at", 0.3, 1.5, 1.0)
    desired_speed_km_h: float = _number("where no limit is posted and no cruise speed is set", 20, 130, 90.0, "assumed")
    acceleration_m_s2: float = _number("for gaining speed, engine permitting", 0.05, 2.0, 0.6)
    slowing_m_s2: float = _number("for losing speed ahead of a lower limit", 0.05, 2.0, 0.3)
    stopping_m_s2: float = _number("for a stop", 0.2, 4.0, 0.9)
    snub_drop_km_h: float = _number("a snub ends this far below the speed at which it began", 1, 30, 8.0)
    snub_deceleration_m_s2: float = _number("of a snub", 0.2, 3.0, 0.745)
    overspeed_km_h: float = _number("above the target before the driver brakes", 0.2, 20, 0.5)
    reaction_s: float = _number("from seeing to doing", 0.1, 4.0, 1.0)
    descent_gear: int = _number("gear taken before a long descent; 0 for the driver's own choice", 0, 24, 0)
    descent_km_h: float = _number("speed aimed for on a long descent; 0 for the driver's own choice", 0, 130, 0.0)
    pedal_rate_percent_per_s: float = _number("fastest movement of the accelerator", 5, 500, 60.0)


class Retarding(Part):
    """Programmed settings of the engine brake."""

    switch: bool = _switch("engine-brake master switch", True)
    selector: int = _number("stage the selector allows: 1 low, 2 medium, 3 high", 1, 3, 3)
    on_rpm: float = _number("comes on above", 600, 2000, 1000.0)
    off_rpm: float = _number("goes off below", 500, 1900, 900.0)
    least_oil_c: float = _number("oil temperature it needs", -40, 120, 30.0, "assumed")
    on_delay_s: float = _number("from the call to the first pair", 0.01, 5.0, 0.25)
    off_delay_s: float = _number("from the end of the call to no pair", 0.01, 5.0, 0.15)
    step_delay_s: float = _number("between stages", 0.01, 5.0, 0.30)
    waits_for_brake: bool = _switch(
        "true: a free foot alone calls nothing; a press of the service brake does, until the accelerator is pressed",
        False,
    )

    def check(self) -> None:
        """Limits stand in their order."""
        self.require_below("off_rpm", "on_rpm")


class Fan(Part):
    """Programmed settings of the fan clutch, beside the temperatures of the truck."""

    override: bool = _switch("true: the dash switch keeps the fan on", False)
    with_engine_brake: bool = _switch("true: on while the engine brake works, to add load", False)


class RoadSpeed(Part):
    """Programmed road-speed limit."""

    limit_km_h: float = _number("fuel is cut at this speed; 0 for none", 0, 140, 0.0)
    band_km_h: float = _number("span below it over which fuel is taken away", 0.2, 20, 3.0)


class Shifting(Part):
    """When gears are changed."""

    upshift_rpm: float = _number("engine speed for an upshift at light load", 900, 2500, 1450.0)
    full_load_upshift_rpm: float = _number("engine speed for an upshift at full load", 1000, 2600, 1800.0)
    downshift_rpm: float = _number("engine speed for a downshift under load", 700, 2000, 1300.0)
    light_downshift_rpm: float = _number("engine speed for a downshift at light load", 600, 1800, 980.0)
    landing_rpm: float = _number("highest engine speed after a downshift", 1000, 2600, 2000.0)

    def check(self) -> None:
        """Limits stand in their order."""
        if not self.light_downshift_rpm <= self.downshift_rpm < self.upshift_rpm <= self.full_load_upshift_rpm:
            self.refuse_order("light_downshift_rpm", "downshift_rpm", "upshift_rpm", "full_load_upshift_rpm")


class Fuel(Part):
    """The fuel, chosen once for truck, tank and chimney."""

    lower_heating_value_mj_per_kg: float = _number("from memory; 42.7 in Regulation (EU) 2017/2400", 20, 50, 42.8)
    density_kg_per_l: float = _number("from memory; 0.842 common practice", 0.6, 1.0, 0.840)
    co2_kg_per_kg: float = _number("40 CFR 1036.545(n): carbon fraction 0.867", 1.0, 4.0, 3.1769)


class Faults(Part):
    """What goes wrong with sensors, switches and the parts they watch, and whether the controller tests itself."""

    occur: tuple[str, ...] = Field(
        (),
        max_length=60,
        description='failures, each "PLACE PART FAILURE", for example "2.5 km coolant temperature open"; a time or start'
        " may stand for PLACE",
    )
    seed: int = _number("of everything random in them", 0, 2**31, 1)
    told: bool = _switch("false: the event log does not say what goes wrong, only what the controller does", True)
    shutdown: bool = _switch("true: the controller stops the engine 30 s after a code that says stop", True)
    watch: bool = _switch("true: the controller's tests run although nothing is asked to go wrong", False)

    def check(self) -> None:
        """Every failure can be read."""
        self.occurrences()

    def occurrences(self) -> list[Occurrence]:
        """The failures, in the order given.

        Returns
        -------
        occurrences : list of Occurrence
            [SI]

        Raises
        ------
        ValueError
            One is not of its form.
        """
        return [_read(read_occurrence, "occur", text) for text in self.occur]


class Circuits(Part):
    """The instructor's hand on the wires: values dialled in instead of a sensor's, and meters put on."""

    dialled: tuple[str, ...] = Field(
        (),
        max_length=60,
        description='values put in by hand, each "PLACE SENSOR VALUE", for example "1 km coolant temperature 118 C";'
        " let go ends one",
    )
    meters: tuple[str, ...] = Field(
        (), max_length=len(SENSORS), description="sensors and switches a meter is put on; all for every one"
    )
    meter_s: float = _number("time between two readings", 0.05, 60.0, 0.5)

    def check(self) -> None:
        """Every value and every meter can be read."""
        self.values()
        self.metered()

    def values(self) -> list[Occurrence]:
        """The values dialled in, in the order given.

        Returns
        -------
        values : list of Occurrence
            [SI]

        Raises
        ------
        ValueError
            One is not of its form.
        """
        return [_read(read_dialled, "dialled", text) for text in self.dialled]

    def metered(self) -> tuple[str, ...]:
        """Keys of the sensors a meter is put on.

        Returns
        -------
        keys : tuple of str
            In the order given.

        Raises
        ------
        ValueError
            One is no sensor.
        """
        if self.meters == ("all",):
            return tuple(SENSORS)
        names = {name: key for key, name in NAMES.items() if key in SENSORS}
        for text in self.meters:
            if text not in names:
                raise ValueError(fault_messages.no_meter(text=text, known=list(names)))
        return tuple(names[text] for text in self.meters)


def _read(reader: Callable[[str], Occurrence], key: str, text: str) -> Occurrence:
    """One text of a list, its key in the message."""
    try:
        return reader(text)
    except ValueError as problem:
        raise ValueError(fault_messages.of_entry(key=key, problem=str(problem))) from None


class Simulation(Part):
    """Clock and log."""

    tick_s: float = _number("step of the model", 0.001, 0.05, 0.01)
    log_s: float = _number("time between rows of the trace", 0.01, 60.0, 0.5)
    time_limit_s: float = _number(
        "a trip longer than this ends as time_limit; 0 for ten times the time at 40 km/h (25 mi/h)", 0, LATEST, 0.0
    )
    limit_tolerance_km_h: float = _number("above the posted limit before it counts as over it", 0.0, 10.0, 1.0)
    governor_idle_gain_n_m_s_per_rad: float = _number("proportional part of the idle governor", 1, 500, 60.0)


class Dyno(Part):
    """How an engine or a truck is run on a dynamometer."""

    form: Literal["flywheel", "chassis"] = Field(
        "flywheel", description="flywheel: the bare engine, no fan, no accessories of the truck; chassis: on rollers"
    )
    gear: int = _number("gear on the rollers; 0 for the one nearest to direct", 0, 24, 0)
    lowest_rpm: float = _number("where a run ends", 500, 2500, 900.0)
    rate_rpm_per_s: float = _number(
        "fastest change of the speed held; published for a motoring curve: 8 +/- 1 rpm/s, Reg. (EU) 2017/2400, Annex V",
        0.5,
        2000,
        8.0,
    )
    both_ways: bool = _switch("true: a sweep goes back up to where it began", False)
    step_rpm: float = _number("between settled speeds; 0 for a sweep; published: 100 rpm, 40 CFR 1065.510", 0, 500, 0.0)
    step_s: float = _number("time at each settled speed; published: 15 s, mean of the last 5 s", 5.0, 120.0, 15.0)
    stiffness_n_m_s_per_rad: float = _number(
        "of the absorber: torque per speed off the one held, assumed", 50, 1e5, 2000
    )
    settling_s: float = _number("time in which the absorber learns the load, assumed", 0.1, 20.0, 0.8)
    capacity_n_m: float = _number("most torque of the absorber at the flywheel, assumed", 500, 20000, 6000.0)
    blower_km_h: float = _number("air blown at the radiator, assumed", 0, 150, 80.0)
    roller_mass_kg: float = _number("inertia of the rollers, seen at the tread, assumed", 200, 20000, 2500.0)
    roller_tyre_factor: float = _number(
        "rolling resistance on rollers over that on a road, assumed: a tyre is bent twice on two small rollers",
        1.0,
        5.0,
        2.0,
    )
    reference_torque_n_m: float = _number("of torque in percent; 0 for the highest of the rated curve", 0, 6000, 0.0)
    band_percent: float = _number("allowed off the rated curve; common practice: 5", 0.5, 30.0, 5.0)
    correction: Literal["none", "air-to-air", "liquid", "regulation-85"] = Field(
        "none",
        description="power corrected to 99 kPa (14.36 psi) and 25 °C (77 °F) by the diesel formula; none for engines that adapt"
        " to their air",
    )
    pedal_percent: float = _number("pedal held where two kinds of governor are compared", 10, 100, 50.0)
    load_step_percent: float = _number("of the rated torque at governed speed, applied at once", 5, 100, 50.0)
    accessory_step_kw: float = _number("load switched on at low idle", 0.5, 20.0, 6.0)
    stabilised: bool = _switch("true: coolant and oil are stable before a run", True)
    seed: int = _number("of the scatter: another number is another run", 0, 1000000, 1)
    scatter_percent: float = _number("fuel of an injection from run to run, standard deviation, assumed", 0.0, 5.0, 0.2)
    cylinder_scatter_percent: float = _number(
        "fuel from cylinder to cylinder, standard deviation, assumed", 0.0, 10.0, 1.0
    )
    abort_coolant_c: float = _number("coolant at which a run is broken off, assumed", 60, 140, 110.0)
    abort_exhaust_c: float = _number(
        "exhaust before the turbine at which a run is broken off, assumed: common practice 700 for long",
        300,
        1200,
        780.0,
    )
    abort_oil_kpa: float = _number("oil pressure below which a run is broken off, assumed", 0, 400, 70.0)
    abort_over_rpm: float = _number(
        "engine speed above high idle at which a run is broken off, assumed", 20, 1000, 250.0
    )

    def check(self) -> None:
        """A step of speed is one that can settle."""
        if 0.0 < self.step_rpm < 10.0:
            raise ValueError(dyno.small_step(step_rpm=self.step_rpm))


class Settings(Part):
    """Everything about a trip or a dyno run that is not the truck or the road."""

    start: Start = Start()
    weather: Weather = Weather()
    cruise: Cruise = Cruise()
    drill: Drill = Drill()
    driver: Driver = Driver()
    retarding: Retarding = Retarding()
    fan: Fan = Fan()
    road_speed: RoadSpeed = RoadSpeed()
    shifting: Shifting = Shifting()
    fuel: Fuel = Fuel()
    faults: Faults = Faults()
    circuits: Circuits = Circuits()
    simulation: Simulation = Simulation()
    dyno: Dyno = Dyno()

    @property
    def circuits_watched(self) -> bool:
        """Whether every circuit is worked out each tick, and the controller tests them. [-]"""
        return bool(self.faults.occur or self.circuits.dialled or self.faults.watch)

    def kept(self, limit: float) -> float:
        """Speed the driver keeps to on a straight road: his share of the posted limit, or what he has set or likes himself.

        Parameters
        ----------
        limit : float
            Infinite where none is posted. [m/s]

        Returns
        -------
        speed : float
            [m/s]
        """
        if limit < math.inf:
            return limit * self.driver.speed_limit_share
        return self.cruise.si("set_speed_km_h") or self.driver.si("desired_speed_km_h")

    def check(self) -> None:
        """No delay is shorter than a tick."""
        tick = self.simulation.tick_s
        held = (("cruise.presses", seconds) for _, _, seconds in self.cruise.places() if seconds > 0.0)
        for key, delay in (*delays_of(self), *held):
            if delay < tick:
                raise ValueError(settings.delay_below_tick(key=key, delay_s=delay, tick_s=tick))


def keys_of(model: type[Part]) -> Iterator[tuple[str, str]]:
    """Every `table.key` of a truck or settings model.

    Parameters
    ----------
    model : type
        `Truck` or `Settings`.
    """
    for table, field in model.model_fields.items():
        part = field.annotation
        if isinstance(part, type) and issubclass(part, Part):
            for key in part.model_fields:
                yield table, key


def delays_of(whole: Part) -> Iterator[tuple[str, float]]:
    """Every time among the values of a truck or of settings; one of 0 is none, and left out.

    Yields
    ------
    key : str
        `table.key`.
    delay : float
        The shortest of a list. [s]
    """
    for table, key in keys_of(type(whole)):
        if unit_of_key(key) == "s":
            given = getattr(getattr(whole, table), key)
            delay = min(given) if isinstance(given, tuple) else given
            if delay != 0.0:
                yield f"{table}.{key}", delay
