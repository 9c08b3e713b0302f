"""Studies against published fuel economy and sensitivities: the loaded five-axle combination.

Its drag area, rolling resistance and auxiliaries come from the power split of the first source; nothing is fitted to fuel."""

import re
from pathlib import Path

import pytest

from sim.studies.runner import run_study

LEVEL = "grade:0%,60km,0m"
AT_65 = ("driver.speed_limit_share=1.4", "cruise.set_speed_km_h=65mph")
STILL = "weather.wind_m_s=0"
MILE_PER_GALLON = 235.215  # L/100 km times mi/gal
CASES = {
    "as it is": (),
    "drag -1 %": ("vehicle.drag_area_m2=5.643",),
    "drag -20 %": ("vehicle.drag_area_m2=4.56",),
    "drag -25 %": ("vehicle.drag_area_m2=4.275",),
    "1 m2 less": ("vehicle.drag_area_m2=4.7",),
    "mass -10 %": ("vehicle.mass_kg=32658",),
    "3,000 lb less": ("vehicle.mass_kg=34926",),
}


def study(road, cases, shared):
    return run_study(
        {
            "form": 1,
            "title": "Bands",
            "truck": "long-haul-manual",
            "road": road,
            "set": [STILL, *shared],
            "report": ["fuel_l_per_100km"],
            "case": [{"name": name, "set": list(changes)} for name, changes in cases.items()],
        }
    )


def percent(result):
    return {row["case"]: row["percent"] for row in result.answers["cases"]["fuel_l_per_100km"]}


@pytest.fixture(scope="module")
def level():
    return study(LEVEL, CASES, AT_65)


@pytest.fixture(scope="module")
def masses():
    """Eight masses on plain, hills and mountains at 88 km/h (55 mi/h): fuel jumps a little where a shift more or less is
    made, so the slope over all of them counts and not one pair of trips."""
    return run_study(
        {
            "form": 1,
            "title": "Masses",
            "truck": "long-haul-manual",
            "set": [STILL, "cruise.set_speed_km_h=88"],
            "report": ["fuel_l_per_100km"],
            "vary": {
                "road": ["ulmary-plain", "wendle-hills", "kessarin-round"],
                "vehicle.mass_kg": {"from": 30000, "to": 36287, "steps": 8},
            },
        }
    )


@pytest.fixture(scope="module")
def profile():
    cases = {name: CASES[name] for name in ("as it is", "1 m2 less")}
    return {
        speed: study("grade-profile-1037", cases, ("driver.speed_limit_share=1.4", f"cruise.set_speed_km_h={speed}mph"))
        for speed in (55, 65)
    }


def test_fuel_at_65_mph_on_the_level(level):
    """NRC, Review of the 21st Century Truck Partnership, 2nd report (2012), Table 5-1: 535 hp of fuel for 214 hp at the
    flywheel, 6.13 mi/gal (arithmetic on the table); shares of the power within 10 % there, so the same here."""
    economy = MILE_PER_GALLON / level.column("fuel_l_per_100km")[0]
    assert economy == pytest.approx(6.13, rel=0.10)


def test_rolling_share_of_the_fuel(level):
    """US EPA leaflet P100AGGD: rolling resistance takes about 13 % of the fuel energy of a truck. Over mixed driving; on the
    level at a steady 65 mi/h, where no fuel goes into brakes, the share is larger: 68 hp of 535 hp by NRC Table 5-1."""
    share = level.column("energy_rolling_j")[0] / level.column("energy_fuel_j")[0]
    assert share == pytest.approx(68 / 535, rel=0.35)
    assert share > 0.125


def test_aero_share_of_the_fuel(level):
    """NRC (2012) Table 5-1: 114 hp of 535 hp."""
    share = level.column("energy_aero_j")[0] / level.column("energy_fuel_j")[0]
    assert share == pytest.approx(114 / 535, rel=0.10)


def test_drag_against_economy(level):
    """US EPA leaflets P1002K3Z and P100XM9X: drag 25 % (20 %) lower gives up to 15 % more miles a gallon."""
    fuel = dict(zip(CASES, level.column("fuel_l_per_100km"), strict=True))
    for case in ("drag -20 %", "drag -25 %"):
        gain = 100.0 * (fuel["as it is"] / fuel[case] - 1.0)
        assert 8.0 < gain <= 15.0


def test_one_per_cent_of_drag(level):
    """0.53 % of fuel by NRC's 53 % share of the power, if fuel went with power. Ours is 0.45 %: the engine's own friction
    does not shrink with drag, and with it (13 % of the indicated power) 0.53 x 0.87 = 0.46."""
    friction = level.column("energy_engine_friction_j")[0]
    indicated = level.column("energy_indicated_work_j")[0]
    assert -percent(level)["drag -1 %"] == pytest.approx(0.53 * (1.0 - friction / indicated), rel=0.10)


def per_kilogram(masses):
    return masses.answers["sensitivity"]["fuel_l_per_100km"]["keys"]["vehicle.mass_kg"]["per_unit"]


def test_mass_against_fuel(masses):
    """US EPA leaflet P1000S9C (2004): 10 % less gross weight, 5 % less fuel; later leaflets 5 to 10 %. Mean of three roads:
    on the plain alone it is less (the air does not weigh the truck), in the mountains more."""
    full = masses.column("fuel_l_per_100km")[masses.column("vehicle.mass_kg") == 36287.0].mean()
    assert 5.0 <= 100.0 * per_kilogram(masses) * 3628.7 / full <= 10.0


def test_three_thousand_pounds_in_a_year(masses):
    """US EPA leaflets, as above: 200 to 500 gal a year, later 240. At 100,000 mi a year (assumed: leaflets do not say)."""
    assert 200 <= 100_000 * per_kilogram(masses) * 1361 / MILE_PER_GALLON <= 500


def test_drag_area_by_the_official_regression(profile):
    """40 CFR 1037.515: 1 m2 of drag area is worth 6.76 % (from the coefficients of a long dry van). Its cycles are 86 % at
    65 mi/h and 9 % at 55 mi/h on the profile of Appendix D and 5 % in town (weights of 1037.510, from memory); town is left
    out here. The regression is of other trucks at lower mass: 15 % is allowed, stated before the first run."""
    saved = {speed: -percent(result)["1 m2 less"] for speed, result in profile.items()}
    weighted = (0.86 * saved[65] + 0.09 * saved[55]) / 0.95
    assert weighted == pytest.approx(6.76, rel=0.15)


def test_speed_against_economy():
    """About 0.1 mi/gal for each mi/h between 55 and 65 (common practice, no source); and aero power grows with the cube."""
    speeds = (55, 60, 65)
    result = study(LEVEL, {f"{v}": (f"cruise.set_speed_km_h={v}mph",) for v in speeds}, AT_65[:1])
    economy = MILE_PER_GALLON / result.column("fuel_l_per_100km")
    assert (economy[0] - economy[2]) / 10.0 == pytest.approx(0.1, abs=0.03)
    assert economy[0] > economy[1] > economy[2]
    power = result.column("energy_aero_j") / result.column("time_s")
    assert power[2] / power[0] == pytest.approx((65 / 55) ** 3, rel=0.01)


def test_engine_speed_at_cruise(level):
    """Closed form: rpm = speed x axle x gear / (2 pi radius)."""
    radius, axle = level.column("tyres.rolling_radius_m")[0], level.column("driveline.axle_ratio")[0]
    expected = 65 * 0.44704 * axle * 0.74 / radius * 60.0 / (2.0 * 3.141592653589793)
    assert level.column("top_gear_engine_speed_rpm")[0] == pytest.approx(expected, rel=0.002)


@pytest.mark.parametrize("road", ["wendle-hills", "kessarin-round", "grade-profile-1037"])
def test_economy_on_rolling_roads(road):
    """Fleet averages 5.1 to 6.1 mi/gal in 1990 to 2009 (FHWA Freight Facts and Figures, Table 5-9), real trips of 79 trucks
    5.5 +/- 1.7 (Transp. Res. Rec. 2019, second-hand)."""
    result = run_study(
        {
            "form": 1,
            "title": "x",
            "truck": "long-haul-manual",
            "road": road,
            "set": ["weather.wind_m_s=0", "cruise.set_speed_km_h=90"],
            "report": ["fuel_mpg_us"],
            "vary": {"vehicle.mass_kg": [33000, 36287]},
        }
    )
    lighter, full = result.column("fuel_mpg_us")
    assert 5.5 - 1.7 <= full <= 5.5 + 1.7 and lighter > full


def test_readme_says_what_these_studies_give(level, masses, profile):
    """The right column of README's table of published numbers."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| ([^|]+) \| [^|]+ \| ([^|]+) \|$", readme[readme.index("| what | published | here |") :], re.M
    )
    said = {what: [float(number) for number in re.findall(r"\d+\.?\d*", here)] for what, here in rows}
    fuel = dict(zip(CASES, level.column("fuel_l_per_100km"), strict=True))
    gains = [100.0 * (fuel["as it is"] / fuel[case] - 1.0) for case in ("drag -20 %", "drag -25 %")]
    saved = {speed: -percent(result)["1 m2 less"] for speed, result in profile.items()}
    full = masses.column("fuel_l_per_100km")[masses.column("vehicle.mass_kg") == 36287.0].mean()
    assert said["65 mi/h, level"] == [pytest.approx(MILE_PER_GALLON / fuel["as it is"], abs=0.006)]
    assert said["drag 20 to 25 % lower"][:2] == pytest.approx(gains, abs=0.06)
    assert said["1 m2 of drag area"][0] == pytest.approx((0.86 * saved[65] + 0.09 * saved[55]) / 0.95, abs=0.06)
    assert said["10 % less mass"][0] == pytest.approx(100.0 * per_kilogram(masses) * 3628.7 / full, abs=0.06)
    assert said["3,000 lb less"][0] == pytest.approx(100_000 * per_kilogram(masses) * 1361 / MILE_PER_GALLON, abs=5.0)
    assert "One per cent of drag is worth 0.47 %" in readme
    assert -percent(level)["drag -1 %"] == pytest.approx(0.47, abs=0.005)
