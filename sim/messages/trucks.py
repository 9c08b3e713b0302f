"""What is wrong with a truck: its file, and numbers that do not fit each other."""

from collections.abc import Sequence
from pathlib import Path

from sim.messages._parts import did_you_mean, shortened

# ---------------------------------------------------------------- names and files


def no_such_truck(*, name: str, near: Sequence[str], known: Sequence[str]) -> str:
    """Said when a truck is neither shipped nor a file."""
    return (
        f'no truck is called "{shortened(name)}".{did_you_mean(near)} Trucks: {", ".join(known)}.'
        " A path to a TOML file works too."
    )


def wrong_base(*, where: Path, given: object) -> str:
    """Said when based_on names no truck, or leads back to the file itself."""
    return (
        f"{shortened(where)}: based_on must name another truck, and not in a circle; {shortened(repr(given))} was given"
    )


def base_cannot_be_used(*, where: Path, problem: str) -> str:
    """Said when something is wrong with the truck that a truck is based on."""
    return f"{shortened(where)}: based_on: {problem}"


def table_over_value(*, where: Path, table: str, base: object) -> str:
    """Said when a file has a table where the truck it is based on has a plain value."""
    return (
        f"{shortened(where)}: {shortened(table)} is a table here and a value in {shortened(base)}; make it a table"
        " there, or leave it out"
    )


# ---------------------------------------------------------------- vehicle and engine


def axle_loads(*, loads_kg: float, mass_kg: float) -> str:
    """Said when the axles do not carry the gross mass."""
    return f"axle loads add up to {loads_kg:g} kg, but mass_kg is {mass_kg:g}; change one so that they agree within 1 %"


def engine_speeds(*, low_idle_rpm: float, governed_rpm: float, high_idle_rpm: float, overspeed_rpm: float) -> str:
    """Said when the speeds of an engine do not rise in their order."""
    return (
        f"speeds must rise: low idle {low_idle_rpm:g}, governed {governed_rpm:g}, high idle {high_idle_rpm:g}, "
        f"overspeed {overspeed_rpm:g} rpm"
    )


def rated_speed(*, given_rpm: float, lowest_rpm: float, governed_rpm: float) -> str:
    """Said when the rated speed lies outside the full-load curve."""
    return f"rated_speed_rpm {given_rpm:g} must lie between {lowest_rpm:g} and governed_rpm {governed_rpm:g}; change one of them"


def curve_too_short(*, ends_rpm: float, governed_rpm: float) -> str:
    """Said when the full-load curve ends below the governed speed."""
    return f"full_load_rpm ends at {ends_rpm:g}, below governed_rpm {governed_rpm:g}; add points"


def rated_power(*, given_kw: float, curve_kw: float, speed_rpm: float) -> str:
    """Said when the rated power is not that of the full-load curve."""
    return (
        f"rated_power_kw is {given_kw:g}, but the full-load curve gives {curve_kw:.1f} kW at {speed_rpm:g} rpm;"
        " change one so that they agree within 2 %"
    )


def oil_thickens(*, hot_mm2_per_s: float, warm_mm2_per_s: float) -> str:
    """Said when the oil of a truck is thicker when it is hotter."""
    return (
        f"oil_viscosity_100_mm2_per_s {hot_mm2_per_s:g} must be below oil_viscosity_40_mm2_per_s {warm_mm2_per_s:g}:"
        " oil thins as it warms. Change one of them"
    )


# ---------------------------------------------------------------- fuel map


def map_too_large(*, key: str, number: int, most: int) -> str:
    """Said when a fuel map is larger than the model can hold."""
    return f"{shortened(key)} has {number} values; a fuel map may have {most} at most"


def map_too_small(*, speeds: int, torques: int) -> str:
    """Said when a fuel map is no grid."""
    return (
        "a fuel map needs at least two speeds and two torques; leave all three keys out for none"
        f" ({speeds} and {torques} were given)"
    )


def map_shape(*, rows: int, columns: int, given: Sequence[int]) -> str:
    """Said when the fuel of a map does not fill its grid; given are the lengths of its rows."""
    shown = ", ".join(str(number) for number in given[:5]) + (", ..." if len(given) > 5 else "")
    return (
        f"fuel_map_g_per_s must have {rows} rows of {columns} values; {len(given)} rows were given ({shown or 'none'})"
    )


def map_steps(*, key: str, first_step: float) -> str:
    """Said when a grid of a fuel map is not evenly spaced."""
    return f"{shortened(key)} must rise in even steps; its first step is {first_step:g}"


# ---------------------------------------------------------------- brakes, gearbox, driveline


def pair_twice(*, key: str, given: Sequence[str]) -> str:
    """Said when a stage of the engine brake names a pair of cylinders twice."""
    return f"{shortened(key)} names a pair twice; each of front, middle, rear may stand once ({', '.join(given)} were given)"


def retarding_power(*, stated_kw: float, opens_kpa: float, follows_kw: float) -> str:
    """Said when the retarding power of an engine brake does not follow from its numbers."""
    return (
        f"engine_brake.rated_power_kw is {stated_kw:g}, but engine_brake.gate_opens_kpa {opens_kpa:g} gives {follows_kw:.0f} kW"
        " at 2100 rpm; change one so that they agree within 2 %"
    )


def ratios(*, before: float, after: float) -> str:
    """Said when the ratios of a gearbox do not fall."""
    return f"ratios must fall from gear to gear, lowest gear first; {after:g} stands after {before:g}"


def split_pairs(*, split_from: int, gears: int) -> str:
    """Said when a splitter does not find the gears above it in pairs."""
    return (
        f"split_from {split_from} leaves no pairs of {gears} gears; the gears from there to the highest must be an even number."
        " Change it, or the ratios"
    )


def heat_shares(*, coolant: float, oil: float) -> str:
    """Said when coolant and oil take more heat than there is."""
    return (
        "coolant_combustion_share and oil_combustion_share must not add up to more than 1;"
        f" {coolant:g} and {oil:g} were given. Change one of them"
    )


def brakes_without_trailer(*, brakes: int) -> str:
    """Said when a truck has trailer brakes and no trailer."""
    return f"trailer_brakes: brakes is above 0 ({brakes}), but vehicle.trailer_load_kg is 0; set brakes to 0, or load the trailer"


def no_brakes() -> str:
    """Said when a truck has no service brakes at all."""
    return "a truck needs service brakes: all three groups have brakes = 0; give one of them some"


def no_braking(*, gain_kn_per_bar: float, least_kn_per_bar: float) -> str:
    """Said when the service brakes of a truck have next to no force."""
    return (
        f"gain_kn_per_bar of the axles with brakes adds up to {gain_kn_per_bar:g}; it must be at least"
        f" {least_kn_per_bar:g}. For a driver who leaves the brakes alone set drill.service_brakes=false"
    )


def weak_clutch(*, capacity_n_m: float, peak_n_m: float) -> str:
    """Said when a clutch cannot carry the engine."""
    return (
        f"driveline: clutch_capacity_n_m {capacity_n_m:g} is below 1.1 times the engine's peak torque {peak_n_m:g} N m;"
        " the clutch would slip at full load. Raise it, or lower the torque"
    )


def drive_tyres(*, drive_count: int, count: int) -> str:
    """Said when a truck has no more tyres than driven ones."""
    return f"tyres: drive_count must be below count; {drive_count} and {count} were given. Change one of them"


def not_five_axles(*, axles: int) -> str:
    """Said when the published descent speed is asked for a truck it does not cover."""
    return (
        f"the published grade-severity model covers five-axle trucks; this one has {axles} axles."
        " Use the trip's own brake temperature."
    )


def governor_too_early(*, early_rpm: float, lowest_rpm: float) -> str:
    """Said when a governor that cuts in early would do so below the full-load curve."""
    return (
        f"condition: governor_early_rpm {early_rpm:g} puts the governor below the first speed of the full-load curve,"
        f" {lowest_rpm:g} rpm; make it smaller"
    )
