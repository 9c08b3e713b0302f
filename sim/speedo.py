"""The speedometer on the dyno and on the road: what is fitted, what the controller has been told, and what follows.

A wrong number of pulses per mile moves the needle, the odometer, the shown fuel economy, cruise control and the road-speed limit by
one ratio, and nothing else. The measured-mile exercise drives a truck between two posts, has it timed by hand, and drives again
with the number the student has worked out.
"""

import dataclasses
import math
import random
import re
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from sim.errors import SettingsError, SpecError
from sim.inputs.specs import Settings, Truck
from sim.laws.sensing import (
    corrected_pulses,
    indicated_speed,
    pulses_per_mile,
    revolutions_per_mile,
    worn_revolutions,
)
from sim.messages import speedometer as say
from sim.roads.route import load_route
from sim.trips.result import Result
from sim.trips.trip import run_trip
from sim.units import KILOMETRE_PER_HOUR, MILE, MILE_PER_HOUR, number_in, to_si

BAND_AT_MILES, BAND_MILES = 50.0, 5.0  # mi/h: 49 CFR 393.82 (70 FR 48054, 2005), published
BAND_AT = BAND_AT_MILES * MILE_PER_HOUR  # m/s
RULE = "49 CFR 393.82: within 5 mi/h (8 km/h) at 50 mi/h (80 km/h); it names no other speed"
LEAST_PULSES, MOST_PULSES = 4000.0, 150000.0  # 1/mi: accepted range, common practice, no source

SHOWN = (20.0, 74.0)  # mi/h on the needle, assumed
BETWEEN_POSTS = (0.25, 10.0)  # mi, assumed
RUN_IN = 3000.0  # m, assumed: cruise settles before the first post
RUN_OUT = 200.0  # m
APPROACH = 250.0  # m before the first post from where a run is watched
ROWS = 3  # one of so many rows of a run is enough to watch it
HAND_ERROR = 0.12  # s, assumed: spread of a thumb on a stopwatch at each post
NEEDLE_ERROR = 0.25 * MILE_PER_HOUR  # m/s, assumed: spread of reading a needle
NEEDLE_STEP = 0.5 * MILE_PER_HOUR  # m/s, assumed: nobody reads it finer
AXLES = (2.64, 3.08, 3.36, 3.55, 3.70, 3.90, 4.11)  # assumed: ratios a workshop may find
MOST_MYSTERY = 9999  # number of a truck from another workshop
TYRE_SPREAD = (0.94, 1.06)  # assumed: fitted over told radius
# tread of a drive tyre: new, common practice; the least, 49 CFR 393.75(c), published
NEW_TREAD, LEAST_TREAD = to_si(26.0 / 32.0, "in"), to_si(2.0 / 32.0, "in")
TREAD = NEW_TREAD - LEAST_TREAD  # m that wears off
TRUE_SPEEDS = (20.0, 30.0, 40.0, 50.0, 60.0, 65.0, 70.0)  # mi/h of the table
GOOD, FAIR = 0.01, 0.02  # of the right number, assumed: for the rubric

CAUTIONS = (
    "Drive a measured mile only where the road allows it, within traffic law and posted limit. A passenger holds the stopwatch,"
    " never the driver.",
    "Park off the road. Wear high-visibility clothing. Set out warning devices. Chock the wheels before anybody goes under.",
    "Change a controller's calibration with the engine off. Only somebody who is allowed to may do it. Write down the numbers"
    " before and after.",
    "All figures are generic. On a real truck the maker's service information, the tyre maker's revolutions per mile and the law"
    " decide.",
)

RUBRIC = (
    (0, "not done"),
    (1, "done with prompts, wrong conclusion"),
    (2, "done under supervision"),
    (3, "correct with limited supervision"),
    (4, "correct twice alone, explains the cause"),
)


@dataclass(frozen=True)
class Calibration:
    """What turns pulses into a speed: as fitted and as told."""

    tyre_revolutions_per_mile: float
    axle_ratio: float
    teeth: int
    fitted_pulses_per_mile: float
    told_pulses_per_mile: float

    @property
    def ratio(self) -> float:
        """Shown over true, of speed and distance alike. [-]"""
        return self.fitted_pulses_per_mile / self.told_pulses_per_mile

    def shown(self, true: float) -> float:
        """Speed shown at a true one.

        Parameters
        ----------
        true : float
            [m/s]

        Returns
        -------
        speed : float
            [m/s]
        """
        return float(indicated_speed(true, self.fitted_pulses_per_mile, self.told_pulses_per_mile))

    def true(self, shown: float) -> float:
        """True speed behind a shown one.

        Parameters
        ----------
        shown : float
            [m/s]

        Returns
        -------
        speed : float
            [m/s]
        """
        return float(indicated_speed(shown, self.told_pulses_per_mile, self.fitted_pulses_per_mile))


def calibration_of(truck: Truck) -> Calibration:
    """The calibration of a truck.

    Examples
    --------
    >>> from sim import load_truck
    >>> calibration_of(load_truck("long-haul-manual").truck).ratio
    1.0
    """
    turns = float(revolutions_per_mile(truck.tyres.rolling_radius_m))
    axle, teeth = truck.driveline.axle_ratio, truck.speedometer.tone_wheel_teeth
    fitted = float(pulses_per_mile(turns, axle, float(teeth)))
    return Calibration(turns, axle, teeth, fitted, truck.speedometer.programmed_pulses_per_mile or fitted)


def band() -> tuple[float, float]:
    """What a speedometer may show at a true 50 mi/h.

    Returns
    -------
    lowest : float
        [m/s]
    highest : float
        [m/s]
    """
    return (BAND_AT_MILES - BAND_MILES) * MILE_PER_HOUR, (BAND_AT_MILES + BAND_MILES) * MILE_PER_HOUR


def verdict(calibration: Calibration) -> dict[str, Any]:
    """Whether a speedometer is within the published band.

    Returns
    -------
    verdict : dict
        Shown speed at a true 50 mi/h, the band, pass or fail, the rule.
    """
    shown, (low, high) = calibration.shown(BAND_AT), band()
    return {
        "true_speed_m_s": BAND_AT,
        "shown_speed_m_s": shown,
        "lowest_m_s": low,
        "highest_m_s": high,
        "verdict": "pass" if round(low, 9) <= round(shown, 9) <= round(high, 9) else "fail",
        "rule": RULE,
    }


def effects(calibration: Calibration, settings: Settings) -> dict[str, Any]:
    """What a wrong number does, worked out without driving.

    Parameters
    ----------
    settings : Settings
        Cruise set speed and road-speed limit are read.

    Returns
    -------
    effects : dict
        Speeds shown against true, errors of odometer and fuel economy in percent, true speeds under cruise and limit.
    """
    true = [speed * MILE_PER_HOUR for speed in TRUE_SPEEDS]
    percent = 100.0 * (calibration.ratio - 1.0)
    found: dict[str, Any] = {
        "true_speed_m_s": true,
        "shown_speed_m_s": [calibration.shown(speed) for speed in true],
        "speed_error_percent": percent,
        "odometer_error_percent": percent,
        "shown_fuel_mpg_us_error_percent": percent,
        "shown_fuel_l_per_100km_error_percent": 100.0 * (1.0 / calibration.ratio - 1.0),
    }
    for name, speed in (
        ("cruise_set", settings.cruise.si("set_speed_km_h")),
        ("road_speed_limit", settings.road_speed.si("limit_km_h")),
    ):
        if speed > 0.0:
            found[f"{name}_shown_m_s"] = speed
            found[f"{name}_true_m_s"] = calibration.true(speed)
    return found


def entered_pulses(text: str, worn: float = 0.0) -> float:
    """Pulses per mile as a person enters them.

    Parameters
    ----------
    text : str
        The number, or tyre revolutions per mile x axle ratio x teeth of the tone wheel.
    worn : float
        Tread that has worn off a tyre whose revolutions per mile are stated as new. [m]

    Returns
    -------
    pulses : float
        [1/mi]

    Raises
    ------
    SettingsError
        It is neither, or worn tread is to be allowed for and no tyre is named.

    Examples
    --------
    >>> entered_pulses("28100"), round(entered_pulses("500 x 3.36 x 16"), 6), round(entered_pulses("500x3.36x16", 0.01))
    (28100.0, 26880.0, 27415)
    """
    try:
        factors = [number_in(part) for part in re.split("[x\u00d7*]", text.strip())]
    except ValueError:
        factors = []
    if len(factors) == 1 and not worn:
        return factors[0]
    if len(factors) == 1:
        raise SettingsError(say.worn_without_tyre())
    if len(factors) != 3 or not all(0.0 < factor <= MOST_PULSES for factor in factors):
        raise SettingsError(say.entered_not_read(text=text))
    turns, axle, teeth = factors
    if turns * worn * 2.0 * math.pi >= MILE:
        raise SettingsError(say.entered_not_read(text=text))
    return float(pulses_per_mile(worn_revolutions(turns, worn), axle, teeth))


def wear(calibration: Calibration) -> dict[str, float]:
    """What the wear of the drive tyres does to a calibration, the tyres taken as new.

    Returns
    -------
    wear : dict
        Turns per mile half worn and worn out; pulses per mile half worn; by how much the needle reads high
        when they are worn out, with what is told now, and either way with the number of half-worn tyres.
    """
    new = calibration.tyre_revolutions_per_mile
    half, out = (float(worn_revolutions(new, share * TREAD)) for share in (0.5, 1.0))
    return {
        "half_worn_revolutions_per_mile": half,
        "worn_out_revolutions_per_mile": out,
        "half_worn_pulses_per_mile": float(pulses_per_mile(half, calibration.axle_ratio, float(calibration.teeth))),
        "worn_out_error_percent": 100.0 * (calibration.ratio * out / new - 1.0),
        "new_error_percent_told_half_worn": 100.0 * (new / half - 1.0),
        "worn_out_error_percent_told_half_worn": 100.0 * (out / half - 1.0),
    }


def told(truck: Truck, pulses: float) -> Truck:
    """A truck whose controller has been told a number of pulses per mile.

    Parameters
    ----------
    pulses : float
        [1/mi]

    Raises
    ------
    SpecError
        A number no controller takes.
    """
    if not (math.isfinite(pulses) and LEAST_PULSES <= pulses <= MOST_PULSES):
        raise SpecError(say.pulses(given=pulses, least=LEAST_PULSES, most=MOST_PULSES))
    speedometer = truck.speedometer.model_copy(update={"programmed_pulses_per_mile": pulses})
    return truck.model_copy(update={"speedometer": speedometer})


def mystery(truck: Truck, seed: int) -> tuple[Truck, str]:
    """A truck that came back from another workshop: other tyres or another axle, and nobody told the controller.

    Parameters
    ----------
    truck : Truck
        As the controller believes it.
    seed : int
        Which change.

    Returns
    -------
    truck : Truck
        As it is.
    cause : str
        What was changed, in words.

    Raises
    ------
    SettingsError
        The number is none of a truck.
    """
    if not 0 <= seed <= MOST_MYSTERY:
        raise SettingsError(say.mystery_number(given=str(seed), most=MOST_MYSTERY))
    draw = random.Random(f"mystery {seed}")
    before = calibration_of(truck).told_pulses_per_mile
    if draw.random() < 0.7:
        share = 1.0
        while abs(share - 1.0) < 0.012:
            share = draw.uniform(*TYRE_SPREAD)
        radius = truck.tyres.rolling_radius_m * share
        tyres = truck.tyres.model_copy(update={"rolling_radius_m": radius})
        cause = f"tyres with {float(revolutions_per_mile(radius)):.0f} revolutions per mile were fitted"
        return told(truck.model_copy(update={"tyres": tyres}), before), cause
    others = [axle for axle in AXLES if 0.02 < abs(axle / truck.driveline.axle_ratio - 1.0) < 0.13]
    axle = draw.choice(others or [truck.driveline.axle_ratio * 1.05])
    line = truck.driveline.model_copy(update={"axle_ratio": axle})
    return told(truck.model_copy(update={"driveline": line}), before), f"an axle of ratio {axle:g} was fitted"


@dataclass(frozen=True)
class Mile:
    """One run between the posts: what happened, and what needle, stopwatch and student's sum make of it."""

    distance_m: float
    true_time_s: float
    true_speed_m_s: float
    shown_speed_m_s: float
    timed_s: float
    read_speed_m_s: float
    measured_speed_m_s: float
    told_pulses_per_mile: float
    corrected_pulses_per_mile: float


def _run(truck: Truck, shown: float, distance: float, wind: float) -> Result:
    """A level run at a speed shown, long enough for the posts, the wind from ahead."""
    settings = Settings.model_validate(
        {
            "start": {"speed_km_h": min(shown / KILOMETRE_PER_HOUR, 130.0)},
            "cruise": {"set_speed_km_h": shown / KILOMETRE_PER_HOUR},
            "weather": {"wind_m_s": wind},
            "simulation": {"log_s": 0.1},
        }
    )
    road = load_route(f"grade:0%,{(RUN_IN + distance + RUN_OUT) / 1000.0:.3f}km")
    result = run_trip(truck, road, settings)
    if result.summary["ended"] != "arrived":
        raise SettingsError(say.posts_not_reached(shown_over_true=calibration_of(truck).ratio))
    return result


def check_mile(shown: float, miles: float) -> None:
    """Refuses a mile that cannot be driven.

    Parameters
    ----------
    shown : float
        Speed to hold on the needle. [m/s]
    miles : float
        Between the posts. [mi]

    Raises
    ------
    SettingsError
        The speed or the distance is outside what is allowed.
    """
    if not SHOWN[0] * MILE_PER_HOUR <= shown <= SHOWN[1] * MILE_PER_HOUR:
        raise SettingsError(say.speed(given=shown / MILE_PER_HOUR, least=SHOWN[0], most=SHOWN[1]))
    if not BETWEEN_POSTS[0] <= miles <= BETWEEN_POSTS[1]:
        raise SettingsError(say.miles(given=miles, least=BETWEEN_POSTS[0], most=BETWEEN_POSTS[1]))


def past_the_posts(truck: Truck, shown: float, miles: float, wind: float = 0.0) -> dict[str, np.ndarray]:
    """A truck on its way past two posts, as somebody beside the road and the driver see it.

    Parameters
    ----------
    shown : float
        Speed held on the needle. [m/s]
    miles : float
        Between the posts. [mi]
    wind : float
        From ahead. [m/s]

    Returns
    -------
    columns : dict of str to array
        time_s from the first row, distance_m from the first post, indicated_speed_m_s; from `APPROACH` before the first post
        to a little behind the second.

    Raises
    ------
    SettingsError
        A speed or a distance that cannot be driven.
    """
    check_mile(shown, miles)
    trace = _run(truck, shown, miles * MILE, wind).trace
    along = trace["distance_m"] - RUN_IN
    rows = np.flatnonzero((along >= -APPROACH) & (along <= miles * MILE + RUN_OUT))[::ROWS]
    time = trace["time_s"][rows]
    return {
        "time_s": time - time[0],
        "distance_m": along[rows],
        "indicated_speed_m_s": trace["indicated_speed_m_s"][rows],
    }


def measured_mile(truck: Truck, shown: float, miles: float = 1.0, seed: int = 1, wind: float = 0.0) -> Mile:
    """Drives past two posts at a speed shown, timed by hand.

    Parameters
    ----------
    shown : float
        Speed to hold on the needle. [m/s]
    miles : float
        Between the posts. [mi]
    seed : int
        Of the errors of thumb and eye.
    wind : float
        From ahead. [m/s]

    Raises
    ------
    SettingsError
        A speed or a distance that cannot be driven.
    """
    check_mile(shown, miles)
    distance = miles * MILE
    trace = _run(truck, shown, distance, wind).trace
    along, time, needle = trace["distance_m"], trace["time_s"], trace["indicated_speed_m_s"]
    posts = (RUN_IN, RUN_IN + distance)
    begin, end = (float(np.interp(post, along, time)) for post in posts)
    between = (along >= posts[0]) & (along <= posts[1])
    on_needle = float(needle[between].mean())
    draw = random.Random(f"mile {seed}")
    timed = round(end - begin + draw.gauss(0.0, HAND_ERROR) - draw.gauss(0.0, HAND_ERROR), 1)
    read = round((on_needle + draw.gauss(0.0, NEEDLE_ERROR)) / NEEDLE_STEP) * NEEDLE_STEP
    measured = distance / timed
    pulses = calibration_of(truck).told_pulses_per_mile
    return Mile(
        distance,
        end - begin,
        distance / (end - begin),
        on_needle,
        timed,
        read,
        measured,
        pulses,
        float(corrected_pulses(pulses, read, measured)),
    )


def mean_of(there: Mile, back: Mile) -> Mile:
    """What a mile driven both ways gives: means of times, of what was read and of the speeds, and the sum done with these."""
    means = {name: 0.5 * (value + asdict(back)[name]) for name, value in asdict(there).items()}
    pulses = float(corrected_pulses(there.told_pulses_per_mile, means["read_speed_m_s"], means["measured_speed_m_s"]))
    return Mile(**means | {"corrected_pulses_per_mile": pulses})


def _miles(truck: Truck, shown: float, miles: float, seed: int, wind: float, both_ways: bool) -> tuple[Mile, ...]:
    """The mile against the wind of the settings; both ways, the mean first, then there and back."""
    there = measured_mile(truck, shown, miles, seed, wind)
    if not both_ways:
        return (there,)
    back = measured_mile(truck, shown, miles, seed + 100, -wind)
    return mean_of(there, back), there, back


def posted_run(truck: Truck) -> dict[str, Any]:
    """Ten level kilometres at a posted 90 km/h, kept to by the needle.

    Returns
    -------
    numbers : dict
        What happened and what the dash shows.
    """
    result = run_trip(truck, "grade:0%,10km,90km/h", Settings())
    trace, summary = result.trace, result.summary
    needle, time = trace["indicated_speed_m_s"], trace["time_s"]
    shown = float(np.trapezoid(needle, time) + needle[0] * time[0])
    if result.summary["ended"] != "arrived":
        raise SettingsError(say.posts_not_reached(shown_over_true=calibration_of(truck).ratio))
    ratio = shown / summary["distance_m"]
    return {
        "distance_m": summary["distance_m"],
        "shown_distance_m": shown,
        "time_s": summary["time_s"],
        "mean_speed_m_s": summary["mean_speed_m_s"],
        "max_speed_m_s": summary["max_speed_m_s"],
        "time_over_limit_s": summary["time_over_limit_s"],
        "fuel_l_per_100km": summary["fuel_l_per_100km"],
        "shown_fuel_l_per_100km": summary["fuel_l_per_100km"] / ratio,
        "fuel_mpg_us": summary["fuel_mpg_us"],
        "shown_fuel_mpg_us": summary["fuel_mpg_us"] * ratio,
    }


def score(truck: Truck, entered: float | None) -> tuple[int, str]:
    """What the number a student entered is worth, on the rubric of 0 to 4.

    Parameters
    ----------
    truck : Truck
        As it is.
    entered : float or None
        Pulses per mile, None for none. [1/mi]

    Returns
    -------
    points : int
        0 to 3; the fourth point is the instructor's.
    words : str
        Why.
    """
    if entered is None:
        return 0, "no number was entered"
    after = calibration_of(told(truck, entered))
    off = abs(after.ratio - 1.0)
    if verdict(after)["verdict"] == "fail" or off > max(FAIR, abs(calibration_of(truck).ratio - 1.0)):
        return 1, f"the speedometer is {100.0 * off:.1f} % off with it: worse than before, or outside the band"
    if off > FAIR:
        return 1, f"the speedometer is still {100.0 * off:.1f} % off"
    if off > GOOD:
        return 2, f"within {100.0 * FAIR:.0f} %: {100.0 * off:.1f} % off; a longer mile or a second run makes it better"
    return 3, (
        f"within {100.0 * GOOD:.0f} %: {100.0 * off:.1f} % off; the fourth point is for a second truck, alone, and the cause"
        " in words"
    )


def exercise(
    truck: Truck,
    settings: Settings,
    shown: float = 60.0 * MILE_PER_HOUR,
    miles: float = 1.0,
    seed: int = 1,
    entered: float | None = None,
    both_ways: bool = False,
) -> dict[str, Any]:
    """The whole exercise: calibration, effects, a measured mile, the correction, and the same again with it.

    Parameters
    ----------
    settings : Settings
        Cruise set speed, road-speed limit and wind are read.
    shown : float
        Speed held on the needle. [m/s]
    miles : float
        Between the posts. [mi]
    seed : int
        Of the errors of thumb and eye.
    entered : float or None
        What the student programs after the first mile; None for nothing. [1/mi]
    both_ways : bool
        Each mile is driven there and back: `mile` is the mean, `mile_ways` are the two.

    Returns
    -------
    sheet : dict
        before, mile, and with a number entered after, mile_after; score.

    Raises
    ------
    HaulbenchError
        A number that cannot be programmed or driven.
    """
    after_truck = None if entered is None else told(truck, entered)
    before = calibration_of(truck)
    points, words = score(truck, entered)
    wind = settings.weather.wind_m_s
    mile, *ways = _miles(truck, shown, miles, seed, wind, both_ways)
    sheet: dict[str, Any] = {
        "truck": truck.name,
        "seed": seed,
        "before": state_of(truck, settings),
        "mile": asdict(mile),
        "mile_ways": [asdict(way) for way in ways],
        "predicted_true_speed_m_s": before.true(shown),
        "entered_pulses_per_mile": entered,
    }
    if after_truck is not None:
        sheet["after"] = state_of(after_truck, settings)
        sheet["mile_after"] = asdict(_miles(after_truck, shown, miles, seed + 1, wind, both_ways)[0])
    sheet |= {
        "score": points,
        "score_words": words,
        "rubric": [list(row) for row in RUBRIC],
        "cautions": list(CAUTIONS),
    }
    return sheet


def state_of(truck: Truck, settings: Settings) -> dict[str, Any]:
    """Everything about a calibration that a sheet shows.

    Parameters
    ----------
    settings : Settings
        Cruise set speed and road-speed limit are read.

    Returns
    -------
    state : dict
        calibration, verdict, effects, wear, posted_run.
    """
    calibration = calibration_of(truck)
    return {
        "calibration": dataclasses.asdict(calibration) | {"shown_over_true": calibration.ratio},
        "verdict": verdict(calibration),
        "effects": effects(calibration, settings),
        "wear": wear(calibration),
        "posted_run": posted_run(truck),
    }
