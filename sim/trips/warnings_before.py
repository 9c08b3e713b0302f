"""What will happen: contradictions between truck, road and settings, found before the trip and said in words."""

from collections.abc import Iterator

from sim.actors.cruise import wants_cruise
from sim.actors.descents import BELOW_GOVERNED, Descent, allowed_stage, descents, falling_parts, held_in_gear
from sim.actors.scene import Scene, highest_set_speed
from sim.inputs.sensors import NAMES
from sim.units import KILOMETRE_PER_HOUR, REVOLUTION_PER_MINUTE, STANDARD_GRAVITY

MUCH_OF_THE_ROAD = 0.3  # share of the road on which a limit below the set speed is worth a word
NOTED_LIMIT = 1.0 * KILOMETRE_PER_HOUR  # a set speed this little above a limit is not worth a word


def warnings_before(scene: Scene) -> list[str]:
    """Everything about these settings on this road that a reader should know before the run.

    Parameters
    ----------
    scene : Scene
        A prepared trip at its start.

    Returns
    -------
    sentences : list of str
        Each says what will happen, and what to change if that is not wanted.
    """
    planned = descents(scene)
    return [
        *_about_cruise(scene, planned),
        *_about_descents(scene, planned),
        *_about_the_start(scene),
        *_about_faults(scene),
    ]


def _speed(value: float) -> str:
    """A road speed in words."""
    return f"{value * 3.6:.1f} km/h"


def _rpm(scene: Scene, gear: int, speed: float) -> float:
    """Engine speed in a gear."""
    return scene.engine_speed(gear, speed) / REVOLUTION_PER_MINUTE


def _cruising_gear(scene: Scene, speed: float) -> int:
    """The gear a truck runs in at a steady speed on the level."""
    least = scene.settings.shifting.light_downshift_rpm
    if scene.settings.drill.hold_gear:
        return scene.settings.drill.hold_gear
    return next((gear for gear in range(scene.top_gear, 0, -1) if _rpm(scene, gear, speed) >= least), 1)


def _share_below(scene: Scene, speed: float) -> float:
    """Share of the road on which the driver keeps to less than a speed."""
    limits, length = scene.route.limits, scene.route.length
    ends = [*(place.distance for place in limits[1:]), length]
    share = scene.settings.driver.speed_limit_share
    slow = sum(end - place.distance for place, end in zip(limits, ends, strict=True) if place.value * share < speed)
    return slow / length


def _about_cruise(scene: Scene, planned: list[Descent]) -> Iterator[str]:
    """Set speed, droop and thresholds against each other, the governor and the road."""
    cruise, retarding, engine = scene.settings.cruise, scene.settings.retarding, scene.truck.engine
    if not (wants_cruise(scene) or cruise.presses):
        return
    if not cruise.key_on_check:
        yield (
            "cruise: brake and clutch have not been pressed, nor the switch turned off and on, since the key was"
            " turned: set will be"
            " refused until all three are done (cruise.key_on_check)"
        )
    stages = cruise.with_engine_brake and retarding.switch
    if cruise.with_engine_brake and not retarding.switch:
        yield "cruise: it will call for the engine brake above the set speed, but retarding.switch is off: nothing will come"
    if stages and cruise.none_above_km_h > cruise.stage_1_over_km_h:
        yield (
            f"cruise: fuel ends {cruise.none_above_km_h:g} km/h above the set speed, but stage 1 is called"
            f" {cruise.stage_1_over_km_h:g} km/h"
            " above it: the engine will still be fuelled there, and the stage kept off until the fuel is off; lower"
            " cruise.none_above_km_h or raise cruise.stage_1_over_km_h"
        )
    if not wants_cruise(scene):
        return
    wanted, highest = cruise.si("set_speed_km_h"), highest_set_speed(scene.settings)
    if wanted > highest + NOTED_LIMIT:
        yield f"cruise: {_speed(wanted)} is above the programmed limit: {_speed(highest)} will be held"
    held = min(wanted, highest)
    gear = _cruising_gear(scene, held)
    low = _rpm(scene, gear, held) < cruise.least_rpm
    if low and cruise.least_rule == "and":
        yield (
            f"cruise: at {_speed(held)} in gear {gear} the engine turns {_rpm(scene, gear, held):.0f} rpm, below"
            " cruise.least_rpm"
            f" {cruise.least_rpm:g}: set will be refused there until a lower gear is in"
        )
    slower = _share_below(scene, held - NOTED_LIMIT)
    if slower >= MUCH_OF_THE_ROAD:
        yield (
            f"cruise: {_speed(held)} is above the posted limit on {100.0 * slower:.0f} % of the road: the driver"
            " will hold the limit there"
            " (driver.speed_limit_share lets one go faster)"
        )
    if stages:
        last = retarding.selector
        over = (cruise.stage_1_over_km_h, cruise.stage_2_over_km_h, cruise.stage_3_over_km_h)[last - 1]
        for used in sorted({stretch.gear for way in planned for stretch in way.stretches} or {gear}):
            top = held + over * KILOMETRE_PER_HOUR
            if _rpm(scene, used, top) > engine.governed_rpm:
                most = engine.si("governed_rpm") / scene.engine_speed(used, 1.0) - over * KILOMETRE_PER_HOUR
                yield (
                    f"cruise: in gear {used} stage {last} comes in at {_speed(top)}, {_rpm(scene, used, top):.0f}"
                    " rpm, above governed speed"
                    f" ({engine.governed_rpm:g} rpm): the road will overspeed the engine before the last stage"
                    f" works; set {most * 3.6:.0f}"
                    " km/h at most in that gear, lower the thresholds, or take a lower gear"
                )


def _about_descents(scene: Scene, planned: list[Descent]) -> Iterator[str]:
    """Whether gear and stage hold where it is steepest, and whether the tyres can carry it."""
    drill, route = scene.settings.drill, scene.route
    stage = allowed_stage(scene)
    if drill.careless:
        for begin, end in falling_parts(route):
            yield (
                f"descent from {begin / 1000.0:.1f} to {end / 1000.0:.1f} km: the driver is careless"
                " (drill.careless) and takes no lower"
                " gear before it"
            )
    with_what = f"stage {stage}" if stage else "the engine without its brake"
    for way in planned:
        first = way.stretches[0]
        gear = first.gear
        governed = BELOW_GOVERNED * scene.truck.engine.si("governed_rpm") / scene.engine_speed(gear, 1.0)
        wanted = scene.settings.cruise.si("set_speed_km_h") or governed
        speed = min(first.speed, governed, wanted, scene.allowed_at(way.begin))
        holding = held_in_gear(scene, gear, speed, way.steepest, route.elevation_at(way.begin), stage)
        if holding.held < holding.push:
            gains = (holding.push - holding.held) / scene.truck.vehicle.mass_kg
            rest = "the service brakes must do the rest" if drill.service_brakes else "nothing else is allowed to"
            yield (
                f"descent at {way.begin / 1000.0:.1f} km: on the steepest part, {-100.0 * way.steepest:.1f} %,"
                f" {with_what} in gear {gear}"
                f" does not hold {_speed(speed)}: the truck will gain {gains:.2f} m/s2 and {rest}"
            )
        grip, load = scene.settings.weather.grip, scene.truck.vehicle.drive_load_kg * STANDARD_GRAVITY
        if stage and holding.held > grip * load:
            yield (
                f"descent at {way.begin / 1000.0:.1f} km: stage {stage} in gear {gear} needs"
                f" {holding.held / load:.2f} of the drive-axle"
                f" load, the road gives {grip:g}: the drive wheels will slip and the engine brake will drop out"
            )


def _about_the_start(scene: Scene) -> Iterator[str]:
    """Gear, speed, oil and brakes at the start."""
    start, drill, retarding, engine = (
        scene.settings.start,
        scene.settings.drill,
        scene.settings.retarding,
        scene.truck.engine,
    )
    gear, speed = int(scene.clock.true("gear")), scene.clock.true("speed")
    if gear and _rpm(scene, gear, speed) > engine.governed_rpm:
        yield (
            f"start: {_speed(speed)} in gear {gear} is {_rpm(scene, gear, speed):.0f} rpm, above governed speed"
            f" ({engine.governed_rpm:g} rpm)"
        )
    if retarding.switch and start.oil_temperature_c < retarding.least_oil_c:
        yield (
            f"start: oil at {start.oil_temperature_c:g} C is below retarding.least_oil_c"
            f" {retarding.least_oil_c:g}: the engine brake will"
            " be refused until the oil is warm"
        )
    if drill.neutral:
        yield "drill.neutral: the truck rolls out of gear wherever the road falls; the engine holds nothing back there"


def _about_faults(scene: Scene) -> Iterator[str]:
    """Failures and dialled values beyond the end of the road."""
    settings, length = scene.settings, scene.route.length
    for key, occurrences in (
        ("faults.occur", settings.faults.occurrences()),
        ("circuits.dialled", settings.circuits.values()),
    ):
        for occurrence in occurrences:
            if occurrence.trigger == "place" and occurrence.begin >= length:
                yield (
                    f"{key}: {NAMES[occurrence.part]} at {occurrence.begin / 1000.0:.1f} km lies beyond the end of the road"
                    f" ({length / 1000.0:.1f} km): it will not happen"
                )
