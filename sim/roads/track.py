"""Makes a road from a recorded track: cleans it, smooths its heights, and resamples it evenly.

Start reading at `import_track`. Every step says what it dropped or changed, so that a student can judge the road.
"""

import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from statistics import median

import numpy as np

from sim.errors import RouteError
from sim.messages import tracks
from sim.roads.bends import BAND, Band, Bend, Sight, bends_of, third_differences
from sim.roads.route import HIGHEST, LONGEST, Route, route_from_texts
from sim.roads.track_file import RawTrack, plain_text, read_track
from sim.units import from_si

# the ellipsoid of the World Geodetic System 1984 (NIMA TR8350.2, third edition, table 3.1)
SEMI_MAJOR_AXIS = 6378137.0  # m
FLATTENING = 1.0 / 298.257223563

STANDING_RADIUS = 10.0  # m, assumed: how far the position wanders around a standing receiver
LOOP_LENGTH = 60.0  # m, assumed: a loop shorter than this that comes back is wandering, no road
BRIDGED_GAP = 500.0  # m: a longer gap is reported
WIDEST_GAP = 5000.0  # m: a longer gap is refused
SIGN_REACH = 50.0  # m
SHORTEST = 200.0  # m
LOWEST = -450.0  # m, the lowest shore on earth is a little above
STEEPEST_IMPORTED = 0.20  # rise over run, assumed: steeper than public roads that trucks use
GRID = 5.0  # m, of the smoothing
LEAST_WAVE = 2.0  # m, assumed: a rise and fall smaller than this is taken for noise
EVERY_RANGE = (5.0, 100.0)  # m
SMOOTH_RANGE = (50.0, 1000.0)  # m
LIMIT_RANGE = (5.0 / 3.6, 130.0 / 3.6)  # m/s
DEFAULT_EVERY = 25.0  # m
DEFAULT_SMOOTH = 200.0  # m
DRAWS = 16  # of the noise, for the band of a climb
KNOWN = 1.8  # derived: over the root of the number of points, how surely medians of third differences give the noise
UNSURE = 0.25  # of what short rises add to a climb, assumed: one standard deviation
DRIFT = 0.01  # of a climb, assumed: one standard deviation of the scale of heights and of the weather on the way


@dataclass(frozen=True)
class Stretch:
    """A part of the track that is not as recorded.

    Parameters
    ----------
    start : float
        Distance along the track. [m]
    length : float
        [m]
    """

    start: float
    length: float


@dataclass(frozen=True)
class ImportedTrack:
    """A road made from a track, and an account of how.

    Parameters
    ----------
    title : str
        One line for people.
    source : str
        Where the road comes from.
    distance : array
        Rows of the road, along the road, shape (rows,). [m]
    grade : array
        Rise over run at each row, linear between, shape (rows,).
    elevation : array
        Height of the road at each row, by the integral of its grade, shape (rows,). [m]
    raw_distance : array
        Cleaned points, along the road, shape (points,). [m]
    raw_elevation : array
        Cleaned points as recorded, or interpolated where there was no height, shape (points,). [m]
    smooth : float
        Smoothing length. [m]
    limit : float or None
        Posted limit. [m/s]
    signs : tuple of (float, str)
        Distance and text. [m, -]
    pieces : int
        Into how many the recording was cut; they are joined in order.
    dropped : dict of str to int
        How many points, by the reason in words.
    heights_filled : dict of str to int
        How many heights are interpolated, by the reason in words.
    gaps : tuple of Stretch
        Gaps that are bridged straight. [m]
    jumps : tuple of Stretch
        Where the recorded height jumps: distance and, as length, the jump. [m]
    bound : tuple of Stretch
        Where the grade is held at its bound. [m]
    climbs : Band
        What the road that was driven climbs, short rises that are smoothed away included. [m]
    bends : tuple of Bend
        Radii of the bends that stand out of the noise, along the road. [m]
    sight : Sight or None
        What a bend must be to be seen; None where the track has no positions.
    waypoints_left : int
        Places of the file too far from the track.
    """

    title: str
    source: str
    distance: np.ndarray
    grade: np.ndarray
    elevation: np.ndarray
    raw_distance: np.ndarray
    raw_elevation: np.ndarray
    smooth: float
    limit: float | None
    signs: tuple[tuple[float, str], ...]
    points_read: int
    pieces: int
    dropped: dict[str, int]
    heights_filled: dict[str, int]
    gaps: tuple[Stretch, ...]
    jumps: tuple[Stretch, ...]
    bound: tuple[Stretch, ...]
    climbs: Band
    bends: tuple[Bend, ...]
    sight: Sight | None
    waypoints_left: int

    @property
    def length(self) -> float:
        """Length along the road. [m]"""
        return float(self.distance[-1])

    @property
    def climb(self) -> float:
        """Sum of all rises of the road as it is driven here. [m]"""
        return _climb(self.elevation)

    @property
    def raw_climb(self) -> float:
        """Sum of all rises of the cleaned points as recorded, noise included. [m]"""
        return _climb(self.raw_elevation)

    @property
    def departure(self) -> tuple[float, float]:
        """Largest difference between the road and the cleaned heights, and its distance. [m, m]"""
        difference = np.interp(self.raw_distance, self.distance, self.elevation) - self.raw_elevation
        worst = int(np.argmax(np.abs(difference)))
        return float(difference[worst]), float(self.raw_distance[worst])

    def csv(self) -> str:
        """The road file.

        Returns
        -------
        text : str
            Columns distance_m, grade_percent and, where there are any, speed_limit_km_h, curve_radius_m and sign.
        """
        texts: dict[int, list[str]] = {}
        for place, text in self.signs:
            texts.setdefault(int(np.argmin(np.abs(self.distance - place))), []).append(text)
        columns = ["distance_m", "grade_percent"]
        columns += ["speed_limit_km_h"] if self.limit is not None else []
        radii = self._radii()
        columns += ["curve_radius_m"] if self.bends else []
        columns += ["sign"] if texts else []
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        for row, (distance, grade) in enumerate(zip(self.distance, self.grade, strict=True)):
            cells = [f"{distance:.1f}".removesuffix(".0"), f"{100.0 * grade:.3f}".replace("-0.000", "0.000")]
            if self.limit is not None:
                cells.append(f"{from_si(self.limit, 'km_h'):.4g}" if row == 0 else "")
            if self.bends:
                cells.append(f"{radii[row]:.0f}" if row == 0 or radii[row] != radii[row - 1] else "")
            if texts:
                cells.append("; ".join(texts.get(row, [])))
            writer.writerow(cells)
        return out.getvalue()

    def _radii(self) -> np.ndarray:
        """Likeliest radius from each row to the next, 0 where no bend is; of two bends the tighter. [m]"""
        radii = np.full(len(self.distance), np.inf)
        for bend in self.bends:
            first, past = np.searchsorted(self.distance, [bend.start + 1e-6, bend.start + bend.length])
            radii[max(first - 1, 0) : past] = np.minimum(radii[max(first - 1, 0) : past], round(bend.radius.likely))
        radii[np.isinf(radii)] = 0.0
        return radii

    def toml(self) -> str:
        """The file beside the road.

        Returns
        -------
        text : str
            Title, source, height of the start and marks, as TOML.
        """
        marks = {
            "grade_percent": f"derived from the track; heights smoothed over {self.smooth:g} m",
            "start_elevation_m": "derived from the track, smoothed likewise",
        }
        if self.limit is not None:
            marks["speed_limit_km_h"] = "assumed, given at import"
        if self.bends and self.sight:
            marks["curve_radius_m"] = (
                f"derived from the track, likeliest radius; the recording wanders {self.sight.noise:.1f} m from point to point"
            )
        if self.signs:
            marks["sign"] = "from the file of the track"
        lines = [
            f"title = {_quoted(self.title)}",
            f"source = {_quoted(self.source)}",
            f"start_elevation_m = {self.elevation[0]:.2f}",
            "",
            "[marks]",
            *(f"{key} = {_quoted(text)}" for key, text in marks.items()),
        ]
        return "\n".join(lines) + "\n"

    def route(self, name: str) -> Route:
        """The road, as it is driven from its two files.

        Raises
        ------
        RouteError
            The recording leads where no road is.
        """
        return route_from_texts(name, self.csv(), self.toml())


def import_track(
    path: str | Path,
    every: float = DEFAULT_EVERY,
    smooth: float = DEFAULT_SMOOTH,
    limit: float | None = None,
    content: bytes | None = None,
) -> ImportedTrack:
    """Makes a road from a GPX track or from a table of distance and elevation.

    Parameters
    ----------
    path : str or Path
        GPX with a track or a route, or CSV with distance_m (or distance_km) and elevation_m.
    every : float
        Distance between rows of the road. [m]
    smooth : float
        Length over which heights are smoothed. [m]
    limit : float or None
        Posted limit of the whole road; None posts none. [m/s]
    content : bytes or None
        What is in the file, when it is at hand; then no disk is touched and `path` is but its name.

    Raises
    ------
    RouteError
        The file cannot be read, is no track, or a length is out of range.

    Notes
    -----
    The steps: standing clusters, loops and position spikes go; each remaining point stands for the recorded points within
    10 m of it. Legs are measured on the WGS 84 ellipsoid. Heights that are missing, impossible, 0 for missing, or spikes are
    interpolated. `smoothed_heights` makes the profile; the grade is bound to 20 %; distances become those along the slope.
    `bends_of` finds bends. Speeds, stops and limits of the recording are not used. What stays is the error of the recording
    itself: a height that drifts by 10 m over some kilometres looks like a hill, and nothing here can tell.
    """
    _check_lengths(every, smooth, limit)
    raw = read_track(Path(path), content)
    measured = raw.kind == "distance table"
    kept, dropped, stood = (raw, {}, np.empty(0)) if measured else _cleaned_positions(raw)
    place = raw.distance if measured else np.append(0.0, np.cumsum(leg_lengths(kept.latitude, kept.longitude)))
    _check_extent(path, raw, place)
    gaps = _gaps(path, place)
    signs, left = (list(raw.signs), 0) if measured else _signs(kept, place)
    height, filled = _cleaned_heights(path, place, kept.elevation)
    grid, profile = smoothed_heights(place, height, smooth)
    along, grade, bound = _grade_along(grid, profile, measured)
    distance, rows = _rows(along, grade, every)
    elevation = _integrated(distance, rows)
    bends, sight = (
        ((), None) if measured else bends_of(headings(kept.latitude, kept.longitude), place, stood, BRIDGED_GAP)
    )
    start = round(float(np.mean(np.interp(distance, along, profile) - elevation)), 2)
    name = raw.name or plain_text(Path(raw.file).stem, 60)
    return ImportedTrack(
        title=f"{name}, from a {raw.kind}",
        source=f"{raw.kind} {plain_text(raw.file, 80)}"
        + (f' "{raw.name}"' if raw.name else "")
        + f"; smoothed over {smooth:g} m",
        distance=distance,
        grade=rows,
        elevation=start + elevation,
        raw_distance=np.minimum(np.interp(place, grid, along), distance[-1]),
        raw_elevation=height,
        smooth=smooth,
        limit=limit,
        signs=tuple((float(np.interp(where, grid, along)), text) for where, text in signs),
        points_read=len(raw.elevation),
        pieces=raw.pieces,
        dropped=dropped,
        heights_filled=filled,
        gaps=tuple(gaps),
        jumps=_jumps(place, height),
        bound=bound,
        climbs=_climb_band(place, height, grid, profile, _climb(elevation)),
        bends=tuple(
            replace(bend, start=float(at), length=float(until - at))
            for bend in bends
            for at, until in [np.interp([bend.start, bend.start + bend.length], grid, along)]
        ),
        sight=sight,
        waypoints_left=left,
    )


def leg_lengths(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Length of each leg between neighbouring points, on the WGS 84 ellipsoid.

    Parameters
    ----------
    latitude : array
        Shape (points,). [deg]
    longitude : array
        Shape (points,); may pass the 180th meridian. [deg]

    Returns
    -------
    length : array
        Shape (points - 1,). [m]

    Notes
    -----
    Each point goes to earth-centred coordinates, x = N cos(lat) cos(lon), y = N cos(lat) sin(lon), z = N (1 - e2) sin(lat),
    N = a / sqrt(1 - e2 sin(lat)^2). The chord between two points becomes an arc, 2 R asin(chord / (2 R)), with R the radius of
    curvature in the direction of the leg, 1/R = cos(azimuth)^2/M + sin(azimuth)^2/N (Euler), M = a (1 - e2) /
    (1 - e2 sin(lat)^2)^1.5. Legs are at most 5 km here, where this agrees with the full geodesic to well below a
    millimetre; it takes all legs at once and no iteration. It is no method for long geodesics.

    References
    ----------
    [1] NIMA TR8350.2, Department of Defense World Geodetic System 1984, third edition, 2000, section 4: coordinates and radii.

    Examples
    --------
    >>> import numpy as np
    >>> leg_lengths(np.array([0.0, 0.0]), np.array([179.995, -179.995])).round(3).tolist()
    [1113.195]
    """
    phi, lam = np.radians(latitude), np.radians(longitude)
    square = FLATTENING * (2.0 - FLATTENING)
    root = np.sqrt(1.0 - square * np.sin(phi) ** 2)
    prime = SEMI_MAJOR_AXIS / root
    points = np.column_stack(
        [prime * np.cos(phi) * np.cos(lam), prime * np.cos(phi) * np.sin(lam), prime * (1.0 - square) * np.sin(phi)]
    )
    chord = np.sqrt(np.sum(np.diff(points, axis=0) ** 2, axis=1))
    middle = 0.5 * (phi[1:] + phi[:-1])
    inside = 1.0 - square * np.sin(middle) ** 2
    meridian = SEMI_MAJOR_AXIS * (1.0 - square) / inside**1.5
    across = SEMI_MAJOR_AXIS / np.sqrt(inside)
    north = meridian * np.diff(phi)
    share = np.clip(north / np.maximum(chord, 1e-9), -1.0, 1.0) ** 2
    radius = 1.0 / (share / meridian + (1.0 - share) / across)
    return 2.0 * radius * np.arcsin(np.minimum(chord / (2.0 * radius), 1.0))


def headings(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Heading of each leg between neighbouring points from north, east of it positive, without jumps by whole turns. [rad]

    Parameters
    ----------
    latitude : array
        Shape (points,). [deg]
    longitude : array
        Shape (points,); may pass the 180th meridian. [deg]
    """
    square = FLATTENING * (2.0 - FLATTENING)
    turned = np.diff(longitude) - 360.0 * np.round(np.diff(longitude) / 360.0)
    cosine = np.cos(np.radians(0.5 * (latitude[1:] + latitude[:-1])))
    wider = 1.0 + square / (1.0 - square) * cosine**2  # radius of the prime vertical over that of the meridian
    out: np.ndarray = np.unwrap(np.arctan2(turned * cosine * wider, np.diff(latitude)))
    return out


def smoothed_heights(
    distance: np.ndarray, height: np.ndarray, smooth: float = DEFAULT_SMOOTH
) -> tuple[np.ndarray, np.ndarray]:
    """Smooth profile through noisy heights, on an even grid.

    Parameters
    ----------
    distance : array
        Of the points, rising, shape (points,). [m]
    height : array
        Shape (points,). [m]
    smooth : float
        The profile averages noise as much as a plain mean over this length would. [m]

    Returns
    -------
    grid : array
        Shape (cells,). [m]
    profile : array
        Shape (cells,). [m]

    Notes
    -----
    Three steps. (1) Heights are put on a grid of about 5 m by linear interpolation, so that a gap is bridged straight and
    dense points weigh no more than sparse ones. (2) Whittaker's smoother: the profile z least in sum (y - z)^2 +
    lambda sum (second difference of z)^2. A steady grade passes unchanged, also at both ends, where a moving mean or a
    Gaussian with padding flattens the road. Its share of a wave falls with the fourth power of the wave number: half of a
    wave 1.7 times `smooth` long, nearly all of a hill of a kilometre. For noise the equivalent kernel
    exp(-|u|/sqrt2) cos(|u|/sqrt2 - pi/4) / 2, u = s / l, averages like a mean over l 8 sqrt2 / 3, hence
    l = smooth 3 / (8 sqrt2) and lambda = (l / grid)^4. (3) What noise is left shows as many small rises and falls, which
    would add up to a climb that is not there. Between turning points that stand out by 2 m the profile is made to rise or
    to fall only (isotonic regression; the turning points themselves stay), and the corners of that are rounded with a
    Gaussian of a fifth of `smooth`, which cannot bring a wave back; a wave 1.7 times `smooth` long keeps a third in all.

    References
    ----------
    [1] E. T. Whittaker, On a new method of graduation, Proc. Edinburgh Math. Soc. 41 (1923), 63-75.
    [2] B. W. Silverman, Spline smoothing: the equivalent variable kernel method, Annals of Statistics 12 (1984), 898-916.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.arange(0.0, 2001.0, 20.0)
    >>> grid, profile = smoothed_heights(at, 100.0 + 0.05 * at)
    >>> [round(float(value), 3) for value in (profile[0], profile[-1])]
    [100.0, 200.0]
    """
    from scipy.linalg import solveh_banded

    cells = max(math.ceil(float(distance[-1]) / GRID), 4) + 1
    grid = np.linspace(0.0, float(distance[-1]), cells)
    step = float(grid[1])
    weight = (smooth * 3.0 / (8.0 * math.sqrt(2.0)) / step) ** 4
    bands = np.zeros((3, cells))  # upper bands of 1 + weight D'D, D the second difference
    bands[2] = 1.0 + 6.0 * weight
    bands[2, [0, -1]] = 1.0 + weight
    bands[2, [1, -2]] = 1.0 + 5.0 * weight
    bands[1, 1:] = -4.0 * weight
    bands[1, [1, -1]] = -2.0 * weight
    bands[0, 2:] = weight
    raw = np.interp(grid, distance, height)
    base = float(raw.mean())
    profile = base + solveh_banded(bands, raw - base)
    return grid, _rounded(_without_small_waves(profile), smooth / 5.0 / step)


def _climb(heights: np.ndarray) -> float:
    """Sum of all rises. [m]"""
    return float(np.sum(np.maximum(np.diff(heights), 0.0)))


def _climb_band(place: np.ndarray, height: np.ndarray, grid: np.ndarray, profile: np.ndarray, climb: float) -> Band:
    """What the road that was driven climbs, by what smoothing over the least length leaves and noise alone would not.

    The same noise as the recording has is laid over the smoothed road and smoothed over the least length. What the recording
    climbs more than that are short rises of the road, which the longer smoothing has taken.
    """
    noise, legs, road = np.random.default_rng(1), np.diff(place), np.interp(place, grid, profile)
    step = min(
        (each for each in np.abs(np.diff(height)).tolist() if each > 1e-3), default=0.0
    )  # heights are rounded to it
    spread = 0.0
    if len(legs) > 3:
        even = height + step * noise.uniform(-0.5, 0.5, len(height))  # so that medians are no multiples of the step
        spread = math.sqrt(third_differences(np.diff(even) / legs, legs, 1) / 20.0)
    unsure = KNOWN / math.sqrt(len(legs))

    def left(heights: np.ndarray) -> float:
        return _climb(smoothed_heights(place, heights, SMOOTH_RANGE[0])[1])

    drawn = [
        left(road + spread * (1.0 + unsure * noise.normal()) * noise.normal(size=len(place))) for _ in range(DRAWS)
    ]
    short = left(height) - float(np.mean(drawn))
    likely = max(climb + short, 0.0)
    off = BAND * math.hypot(float(np.std(drawn)), UNSURE * short, DRIFT * likely)
    return Band(max(likely - off, 0.0), likely, likely + off)


def _turning_points(profile: np.ndarray) -> list[int]:
    """First and last cell, and between them the highs and lows that stand out by LEAST_WAVE."""
    high = low = 0
    direction, turns = 0, [0]
    steps = np.diff(profile, prepend=profile[0], append=profile[-1])
    for cell in np.flatnonzero(steps[1:] * steps[:-1] <= 0.0).tolist():  # what only rises or falls on turns nowhere
        value = profile[cell]
        if value > profile[high]:
            high = cell
        if value < profile[low]:
            low = cell
        if direction >= 0 and profile[high] - value > LEAST_WAVE:
            turns.append(high)
            direction, low = -1, cell
        elif direction <= 0 and value - profile[low] > LEAST_WAVE:
            turns.append(low)
            direction, high = 1, cell
    return sorted({*turns, len(profile) - 1})


def _without_small_waves(profile: np.ndarray) -> np.ndarray:
    """The profile, only rising or only falling between turning points."""
    from scipy.optimize import isotonic_regression

    turns = _turning_points(profile)
    out = profile.copy()
    for first, last in pairwise(turns):
        part = profile[first : last + 1]
        rising = bool(part[-1] >= part[0])
        out[first : last + 1] = isotonic_regression(part, increasing=rising).x
    return out


def _rounded(profile: np.ndarray, cells: float) -> np.ndarray:
    """A Gaussian mean; beyond the ends the profile goes on turned by half a turn, which keeps the grade there."""
    from scipy.ndimage import gaussian_filter1d

    pad = min(len(profile) - 1, math.ceil(4.0 * cells))
    before = 2.0 * profile[0] - profile[pad:0:-1]
    after = 2.0 * profile[-1] - profile[-2 : -pad - 2 : -1]
    return gaussian_filter1d(np.concatenate([before, profile, after]), cells)[pad : pad + len(profile)]


# ---------------------------------------------------------------- what is asked for


def _check_lengths(every: float, smooth: float, limit: float | None) -> None:
    """Refuses lengths and a limit out of range."""
    for name, value, (low, high) in (("every", every, EVERY_RANGE), ("smooth", smooth, SMOOTH_RANGE)):
        if not low <= value <= high:
            raise RouteError(tracks.length_out_of_range(name=name, value_m=value, low_m=low, high_m=high))
    if every > smooth / 4.0:
        raise RouteError(tracks.every_too_long(every_m=every, most_m=smooth / 4.0))
    if limit is not None and not LIMIT_RANGE[0] <= limit <= LIMIT_RANGE[1] * (1.0 + 1e-9):
        raise RouteError(
            tracks.limit_out_of_range(
                limit_km_h=limit * 3.6, low_km_h=LIMIT_RANGE[0] * 3.6, high_km_h=LIMIT_RANGE[1] * 3.6
            )
        )


def _check_extent(path: str | Path, raw: RawTrack, place: np.ndarray) -> None:
    """Refuses a track too short or too long for a road."""
    if len(place) < 2:
        raise RouteError(tracks.too_few_points(where=path, points=len(raw.elevation), used=len(place)))
    length = float(place[-1])
    if length < SHORTEST:
        raise RouteError(tracks.too_short(where=path, length_m=length, least_m=SHORTEST))
    if length > LONGEST:
        raise RouteError(tracks.too_long(where=path, length_km=length / 1000, most_km=LONGEST / 1000))


# ---------------------------------------------------------------- positions


def _plane(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Positions as metres north and east, shape (points, 2); good for telling near from far, not for lengths."""
    metres = math.pi / 180.0 * SEMI_MAJOR_AXIS
    east = np.unwrap(longitude, period=360.0)
    return np.column_stack([metres * latitude, metres * np.cos(np.radians(latitude)) * (east - east[0])])


def _spikes(plane: np.ndarray) -> np.ndarray:
    """True for up to 5 points that jump away from the track and back: both jumps long, their ends close to each other."""
    legs = np.sqrt(np.sum(np.diff(plane, axis=0) ** 2, axis=1))
    spike = np.zeros(len(plane), dtype=bool)
    moving = legs[legs > 1.0]
    if len(moving) < 4:
        return spike
    from scipy.ndimage import median_filter

    usual = median_filter(np.maximum(legs, 1.0), size=21, mode="nearest")
    long = np.maximum(5.0 * usual, 50.0)
    for before in np.flatnonzero(legs > long).tolist():
        if spike[before]:
            continue
        for after in range(before + 2, min(before + 7, len(plane))):
            if legs[after - 1] > long[after - 1]:
                direct = math.dist(plane[before], plane[after])
                if direct < (legs[before] + legs[after - 1]) / 3.0:
                    spike[before + 1 : after] = True
                    break
    return spike


def _groups(plane: np.ndarray) -> list[tuple[int, int]]:
    """First and past-last point of each run that stays within the standing radius of its own centre."""
    groups = []
    first, north, east = 0, 0.0, 0.0
    for number, (here_north, here_east) in enumerate(plane.tolist()):
        count = number - first
        if count and math.hypot(here_north - north / count, here_east - east / count) > STANDING_RADIUS:
            groups.append((first, number))
            first, north, east = number, 0.0, 0.0
        north += here_north
        east += here_east
    groups.append((first, len(plane)))
    return groups


def _without_loops(centres: np.ndarray) -> list[int]:
    """Centres to keep: of a short loop that comes back to where it began, only its end stays, and it takes the loop's place."""
    legs = np.sqrt(np.sum(np.diff(centres, axis=0) ** 2, axis=1)).tolist()
    places = centres.tolist()
    kept, number = [], 0
    while number < len(places):
        end, way = number, 0.0
        for ahead in range(number + 1, len(places)):
            way += legs[ahead - 1]
            if way > LOOP_LENGTH:
                break
            if ahead > number + 1 and math.dist(places[number], places[ahead]) <= STANDING_RADIUS:
                end = ahead
        if end == number:
            kept.append(number)
            number += 1
        else:
            number = end
    return kept


def _cleaned_positions(raw: RawTrack) -> tuple[RawTrack, dict[str, int], np.ndarray]:
    """The track without spikes, clusters and loops: one mean point for each run of points within the standing radius.

    Also what was dropped, and how many recorded points passed by each that is left.
    """
    plane = _plane(raw.latitude, raw.longitude)
    same = np.concatenate([[False], np.all(np.diff(plane, axis=0) == 0.0, axis=1)])
    repeats = same & ((raw.elevation == np.roll(raw.elevation, 1)) | np.isnan(raw.elevation))
    used = np.flatnonzero(~repeats)
    spike = _spikes(plane[used])
    used = used[~spike]
    groups = _groups(plane[used])
    starts = np.array([first for first, _ in groups])
    counts = np.diff(np.append(starts, len(used)))

    def mean(values: np.ndarray) -> np.ndarray:
        return np.add.reduceat(values, starts) / counts

    centres = np.column_stack([mean(plane[used, 0]), mean(plane[used, 1])])
    east = np.unwrap(raw.longitude, period=360.0)[used]
    height = _group_heights(raw.elevation[used], groups)
    kept = np.array(_without_loops(centres), dtype=int)
    track = RawTrack(
        file=raw.file,
        kind=raw.kind,
        name=raw.name,
        latitude=mean(raw.latitude[used])[kept],
        longitude=mean(east)[kept],
        distance=np.empty(0),
        elevation=height[kept],
        pieces=raw.pieces,
        waypoints=raw.waypoints,
    )
    dropped = {
        "repeated": int(repeats.sum()),
        "position jumped away and back": int(spike.sum()),
        "merged with close neighbours": int(len(used) - len(groups)),
        "short loops of a standing receiver": len(groups) - len(kept),
    }
    stood = np.add.reduceat(counts, kept)
    return track, {reason: count for reason, count in dropped.items() if count}, stood


def _group_heights(elevation: np.ndarray, groups: Sequence[tuple[int, int]]) -> np.ndarray:
    """Median height of each group among those that can be heights; the first of it as it is where none can."""
    heights: list[float] = elevation.tolist()
    out = []
    for first, last in groups:
        there = [height for height in heights[first:last] if LOWEST <= height <= HIGHEST]
        true = [height for height in there if height != 0.0]
        if true and abs(median(true)) > 10.0:  # the zeros among them are no heights
            there = true
        out.append(median(there) if there else heights[first])
    return np.array(out)


def _gaps(path: str | Path, place: np.ndarray) -> list[Stretch]:
    """Legs so long that the road between is unknown."""
    legs = np.diff(place)
    gaps = []
    for number in np.flatnonzero(legs > BRIDGED_GAP):
        if legs[number] > WIDEST_GAP:
            raise RouteError(
                tracks.wide_gap(
                    where=path, gap_km=legs[number] / 1000, at_km=place[number] / 1000, most_km=WIDEST_GAP / 1000
                )
            )
        gaps.append(Stretch(float(place[number]), float(legs[number])))
    return gaps


def _signs(track: RawTrack, place: np.ndarray) -> tuple[list[tuple[float, str]], int]:
    """Waypoints near the track as signs at their nearest place, and how many are too far from it."""
    signs, left = [], 0
    if len(place) < 2:
        return [], len(track.waypoints)
    for latitude, longitude, text in track.waypoints:
        around = track.longitude - longitude
        around = around - 360.0 * np.round(around / 360.0)
        metres = math.pi / 180.0 * SEMI_MAJOR_AXIS
        north = metres * (track.latitude - latitude)
        east = metres * math.cos(math.radians(latitude)) * around
        ahead_north, ahead_east = np.diff(north), np.diff(east)
        square = np.maximum(ahead_north**2 + ahead_east**2, 1e-9)
        share = np.clip(-(north[:-1] * ahead_north + east[:-1] * ahead_east) / square, 0.0, 1.0)
        away = np.hypot(north[:-1] + share * ahead_north, east[:-1] + share * ahead_east)
        best = int(np.argmin(away))
        if away[best] <= SIGN_REACH:
            signs.append((float(place[best] + share[best] * (place[best + 1] - place[best])), text))
        else:
            left += 1
    return sorted(signs), left


# ---------------------------------------------------------------- heights


def _cleaned_heights(path: str | Path, place: np.ndarray, elevation: np.ndarray) -> tuple[np.ndarray, dict[str, int]]:
    """Heights at every point: what is missing, impossible, 0 for missing or a spike is interpolated over distance."""
    filled: dict[str, int] = {}
    missing = np.isnan(elevation)
    outside = ~missing & ~((elevation >= LOWEST) & (elevation <= HIGHEST))
    good = ~missing & ~outside
    zero = _false_zeros(place, elevation, good)
    good &= ~zero
    if good.sum() < 2:
        raise RouteError(tracks.no_heights(where=path, zeros=bool(zero.any()), used=int(good.sum()), points=len(place)))
    spike = np.zeros(len(place), dtype=bool)
    spike[good] = _height_spikes(place[good], elevation[good])
    good &= ~spike
    longest = float(np.diff(np.concatenate([[0.0], place[good], [place[-1]]])).max())
    if longest > WIDEST_GAP:
        raise RouteError(tracks.heights_missing(where=path, over_km=longest / 1000, most_km=WIDEST_GAP / 1000))
    for reason, which in (("missing", missing), ("out of range", outside), ("0 for missing", zero), ("spike", spike)):
        if which.any():
            filled[reason] = int(which.sum())
    return np.interp(place, place[good], elevation[good]), filled


def _false_zeros(place: np.ndarray, elevation: np.ndarray, good: np.ndarray) -> np.ndarray:
    """True for heights of exactly 0 that no road leads to: a jump of over 10 m and over 20 % from the next true height."""
    zero = good & (elevation == 0.0)
    true = np.flatnonzero(good & ~zero)
    if not zero.any():
        return zero
    if len(true) == 0:
        return zero
    edges = np.flatnonzero(np.diff(np.concatenate([[False], zero[good], [False]]).astype(int)))
    ordered = np.flatnonzero(good)
    false = np.zeros(len(place), dtype=bool)
    for first, past in edges.reshape(-1, 2).tolist():
        run = ordered[first:past]
        beside = []
        if first > 0:
            beside.append((ordered[first - 1], run[0]))
        if past < len(ordered):
            beside.append((ordered[past], run[-1]))
        if all(
            abs(elevation[other]) > max(10.0, STEEPEST_IMPORTED * abs(place[other] - place[own]))
            for other, own in beside
        ):
            false[run] = True
    return false


def _height_spikes(place: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Hampel's test on 7 neighbouring heights: further from their median than three of their spreads, and than 10 m."""
    from scipy.ndimage import median_filter

    if len(height) < 5:
        return np.zeros(len(height), dtype=bool)
    middle = median_filter(height, size=7, mode="nearest")
    spread = 1.4826 * median_filter(np.abs(height - middle), size=7, mode="nearest")
    reach = np.gradient(place) * 2.0
    return np.abs(height - middle) > np.maximum(3.0 * spread, 10.0 + 0.05 * reach)


def _jumps(place: np.ndarray, height: np.ndarray) -> tuple[Stretch, ...]:
    """Where the height changes by 5 m more than a rise of 35 % explains, and stays changed over five points.

    Of noise, a change counts that is four times as large as the usual one.
    """
    rise, run = np.diff(height), np.diff(place)
    least = np.maximum(5.0 + 0.35 * run, 4.0 * 1.4826 * float(np.median(np.abs(rise))))
    return tuple(
        Stretch(float(place[number]), float(rise[number]))
        for number in np.flatnonzero(np.abs(rise) > least).tolist()
        if (median(height[number + 1 : number + 6]) - median(height[max(number - 4, 0) : number + 1])) / rise[number]
        > 0.5
    )


# ---------------------------------------------------------------- the road


def _grade_along(
    grid: np.ndarray, profile: np.ndarray, measured: bool
) -> tuple[np.ndarray, np.ndarray, tuple[Stretch, ...]]:
    """Distance along the slope, bound grade at each cell, and where it is bound; height taken there is given back nearby.

    A measured distance runs along the slope already; that of a track is level.
    """
    from scipy.ndimage import gaussian_filter1d

    slope = np.gradient(profile, grid)
    if measured:  # what we have is the sine
        slope = np.clip(slope, -0.9, 0.9)
        slope = slope / np.sqrt(1.0 - slope * slope)
    over = np.abs(slope) > STEEPEST_IMPORTED
    grade = slope
    for _ in range(1000):
        held = np.clip(grade, -STEEPEST_IMPORTED, STEEPEST_IMPORTED)
        excess = grade - held
        if np.abs(excess).max() < 1e-6:
            break
        grade = held + gaussian_filter1d(excess, 8.0, mode="reflect")
    grade = np.clip(grade, -STEEPEST_IMPORTED, STEEPEST_IMPORTED)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], over, [False]]).astype(int))).reshape(-1, 2)
    stretch = np.ones(len(grid)) if measured else np.sqrt(1.0 + grade * grade)
    along = np.append(0.0, np.cumsum(0.5 * (stretch[1:] + stretch[:-1]) * np.diff(grid)))
    bound = tuple(Stretch(float(along[first]), float(along[past - 1] - along[first])) for first, past in edges.tolist())
    return along, grade, bound


def _rows(along: np.ndarray, grade: np.ndarray, every: float) -> tuple[np.ndarray, np.ndarray]:
    """Distances and grades of the road's rows as its file will have them: even, the last at the end of the road."""
    length = round(float(along[-1]), 1)
    distance = np.arange(0.0, length - every / 2.0, every)
    distance = np.append(distance, length)
    return distance, np.round(np.interp(distance, along, grade), 5)


def _integrated(distance: np.ndarray, grade: np.ndarray) -> np.ndarray:
    """Height above the start at each row of a grade that is linear between rows, as `sim.roads.route` drives it (Simpson)."""

    def sine(value: np.ndarray) -> np.ndarray:
        return value / np.sqrt(1.0 + value * value)

    middle = sine(0.5 * (grade[1:] + grade[:-1]))
    rise = np.diff(distance) * (sine(grade[1:]) + 4.0 * middle + sine(grade[:-1])) / 6.0
    return np.concatenate([[0.0], np.cumsum(rise)])


def _quoted(text: str) -> str:
    """A text as TOML wants it; JSON's escapes are a part of TOML's."""
    return json.dumps(text, ensure_ascii=False)
