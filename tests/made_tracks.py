"""Tracks made up for tests of the import: the road is known exactly, and how its recording departs from it is drawn by seed.

A road is a curve in the plane and a height along it, written as latitude and longitude with the radii of curvature of the
ellipsoid, so that nothing of the import is used to make it. What stands between a track and a road in length is a few parts
in ten thousand of that.

`recorded` is a drive of 25.4 km with everything that a recording brings along. That errors of position hang together from one
second to the next and that an Ornstein-Uhlenbeck process describes them better than white noise: Comparison of Enhanced
Noise Model Performance Based on Analysis of Civilian GPS Data, Sensors 20 (2020) 6050. The sizes of all errors are assumed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

Profile = Callable[[np.ndarray], np.ndarray]


@dataclass
class Made:
    """A made-up recording; arrays may be changed before it is written."""

    along: np.ndarray
    latitude: np.ndarray
    longitude: np.ndarray
    height: np.ndarray
    truth: np.ndarray

    @property
    def climb(self) -> float:
        return float(np.maximum(np.diff(self.truth), 0.0).sum())

    def write(self, name: str | Path = "made.gpx", pieces: tuple[int, ...] = (), more: str = "") -> Path:
        """Writes the recording as GPX, cut into pieces at the given points."""
        lines = [
            '<gpx version="1.1" creator="a recorder" xmlns="http://www.topografix.com/GPX/1/1">',
            more,
            "<trk><name>made up</name><trkseg>",
        ]
        for number, (lat, lon, height) in enumerate(zip(self.latitude, self.longitude, self.height, strict=True)):
            if number in pieces:
                lines.append("</trkseg><trkseg>")
            told = "" if np.isnan(height) else f"<ele>{height:.2f}</ele>"
            lines.append(f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}">{told}</trkpt>')
        lines.append("</trkseg></trk></gpx>")
        Path(name).write_text("\n".join(lines), encoding="utf-8")
        return Path(name)

    def without(self, which: np.ndarray) -> "Made":
        """The recording without some points."""
        keep = ~which
        return Made(self.along[keep], self.latitude[keep], self.longitude[keep], self.height[keep], self.truth[keep])


def placed(north: np.ndarray, east: np.ndarray, start: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Latitude and longitude of points so many metres north and east of the start."""
    square = 0.00669437999014  # first eccentricity squared, WGS 84
    latitude = np.full_like(north, start[0])
    for _ in range(3):
        middle = np.radians(0.5 * (latitude + start[0]))
        latitude = start[0] + np.degrees(
            north * (1.0 - square * np.sin(middle) ** 2) ** 1.5 / (6378137.0 * (1.0 - square))
        )
    phi = np.radians(latitude)
    # each step east is taken at the latitude where it is made
    inverse = np.sqrt(1.0 - square * np.sin(phi) ** 2) / (6378137.0 * np.cos(phi))
    steps = np.diff(east) * 0.5 * (inverse[1:] + inverse[:-1])
    longitude = start[1] + np.degrees(np.append(0.0, np.cumsum(steps)))
    return latitude, (longitude + 180.0) % 360.0 - 180.0


def plane_of(along: np.ndarray, truth: np.ndarray, heading: Profile) -> tuple[np.ndarray, np.ndarray]:
    """Metres north and east of points along a road that climbs and turns; each step goes by the heading at its middle."""
    level = np.sqrt(np.diff(along) ** 2 - np.diff(truth) ** 2)
    turned = heading(0.5 * (along[1:] + along[:-1]))
    return np.append(0.0, np.cumsum(level * np.cos(turned))), np.append(0.0, np.cumsum(level * np.sin(turned)))


def winding(along: np.ndarray) -> np.ndarray:
    return 0.7 * np.sin(2 * np.pi * along / 2600.0)


def made(
    profile: Profile,
    length: float,
    spacing: float = 12.0,
    height_noise: float = 0.0,
    position_noise: float = 0.0,
    step: float = 0.0,
    seed: int = 1,
    start: tuple[float, float] = (46.0, 7.0),
    heading: Profile = winding,
) -> Made:
    """A road of given length; noise is independent from point to point, its standard deviation in metres."""
    noise = np.random.default_rng(seed)
    along = np.linspace(0.0, length, round(length / spacing) + 1)
    truth = profile(along)
    north, east = plane_of(along, truth, heading)
    north = north + noise.normal(0.0, position_noise, len(along))
    east = east + noise.normal(0.0, position_noise, len(along))
    height = truth + noise.normal(0.0, height_noise, len(along))
    if step:
        height = np.round(height / step) * step
    return Made(along, *placed(north, east, start), height, truth)


# ---------------------------------------------------------------- a drive as a recorder has it

# The road: straights and bends one after the other (length, radius in m; a left bend is negative, a straight 0) ...
BENDS = (
    (1500.0, 0.0), (300.0, 150.0), (900.0, 0.0), (400.0, -250.0), (1800.0, 0.0), (240.0, 80.0), (260.0, 0.0),
    (240.0, -80.0), (2360.0, 0.0), (1000.0, 600.0), (2000.0, 0.0), (500.0, -200.0), (3000.0, 0.0), (900.0, -600.0),
    (2600.0, 0.0), (400.0, 300.0), (1600.0, 0.0), (188.0, -60.0), (212.0, 0.0), (600.0, 400.0), (4400.0, 0.0),
)  # fmt: skip
# ... and its rise per metre of road, linear between these places (m)
RISE = (
    (0.0, 0.0), (1500.0, 0.0), (1700.0, 0.05), (3700.0, 0.05), (3900.0, 0.0), (4700.0, 0.0), (4900.0, -0.06),
    (6900.0, -0.06), (7100.0, 0.0), (9000.0, 0.0), (9200.0, 0.03), (12200.0, 0.03), (12400.0, 0.0), (13500.0, 0.0),
    (13700.0, -0.04), (16700.0, -0.04), (16900.0, 0.0), (18500.0, 0.0), (18700.0, 0.08), (19900.0, 0.08), (20100.0, 0.0),
    (20300.0, -0.07), (21300.0, -0.07), (21500.0, 0.0), (25400.0, 0.0),
)  # fmt: skip
RECORDED_LENGTH = 25_400.0  # m
GAP = (8000.0, 8700.0)  # m: no signal, in the bend of 600 m radius
SPEED, BRAKING = 14.0, 0.7  # m/s, m/s2
STOP, STANDING = 15_000.0, 120  # m, s

WANDER, WANDER_TIME = 2.5, 60.0  # m, s: the part of an error of position that lasts
JITTER = 0.3  # m: the part of positions and heights that does not
DRIFT = 8.4 / 3600.0  # m/s: the weather falls by 1 hPa an hour; 8.4 m a hPa by rho g dh = dp at 15 C at sea level
STEP = 1.0  # m, of the heights
STRAY = 0.002  # deg: 220 m, the one position that is wrong altogether


def rise(where: Callable[[np.ndarray], np.ndarray] = lambda values: values) -> BSpline:
    """The rise per metre of the road; its antiderivative is the height, exactly."""
    places, values = np.array(RISE).T
    return make_interp_spline(places, where(values), k=1)


def recorded_height(along: np.ndarray) -> np.ndarray:
    return 60.0 + rise().antiderivative()(along)


def recorded_climb() -> float:
    """What the road climbs: the integral of its rise where it rises; no piece of it changes its sign. [m]"""
    return float(rise(lambda values: np.maximum(values, 0.0)).integrate(0.0, RECORDED_LENGTH))


def recorded_heading(along: np.ndarray) -> np.ndarray:
    """Where the road leads, in rad from north; a bend turns by its length over its radius."""
    lengths = np.array([length for length, _ in BENDS])
    turns = [length / radius if radius else 0.0 for length, radius in BENDS]
    return np.interp(along, np.append(0.0, np.cumsum(lengths)), np.append(0.0, np.cumsum(turns)))


def recorded(seed: int = 1) -> Made:
    """One point a second: steady speed, a stop, a gap without signal, one stray position."""
    noise = np.random.default_rng(seed)
    steady = np.arange(0.0, STOP - SPEED**2 / (2.0 * BRAKING), SPEED)
    slowing = 0.5 * BRAKING * np.arange(SPEED / BRAKING, 0.0, -1.0) ** 2
    after = np.arange(STOP + SPEED**2 / (2.0 * BRAKING) + SPEED, RECORDED_LENGTH, SPEED)
    along = np.concatenate(
        [steady, STOP - slowing, np.full(STANDING, STOP), STOP + slowing[::-1], after, [RECORDED_LENGTH]]
    )
    fine = np.linspace(0.0, RECORDED_LENGTH, 25_401)
    north, east = plane_of(fine, recorded_height(fine), recorded_heading)
    truth = recorded_height(along)
    height = np.round((truth + DRIFT * np.arange(len(along)) + noise.normal(0.0, JITTER, len(along))) / STEP) * STEP
    latitude, longitude = placed(
        np.interp(along, fine, north) + _wandering(noise, len(along)),
        np.interp(along, fine, east) + _wandering(noise, len(along)),
        (46.0, 7.0),
    )
    latitude[500] += STRAY
    lost = (along > GAP[0]) & (along < GAP[1])
    return Made(along, latitude, longitude, height, truth).without(lost)


def _wandering(noise: np.random.Generator, count: int) -> np.ndarray:
    """Errors of one coordinate, second by second: what lasts, by an Ornstein-Uhlenbeck process, and what does not."""
    kept = np.exp(-1.0 / WANDER_TIME)
    fresh = noise.normal(0.0, WANDER * np.sqrt(1.0 - kept**2), count)
    error = np.empty(count)
    last = noise.normal(0.0, WANDER)
    for second in range(count):
        last = kept * last + fresh[second]
        error[second] = last
    return error + noise.normal(0.0, JITTER, count)
