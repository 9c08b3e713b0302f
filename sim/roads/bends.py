"""Finds the bends of a recorded track: where each is, and its radius with a band as wide as the noise of the recording makes it.

Start reading at `bends_of`.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from sim.roads.route import SIDE_ACCELERATION
from sim.units import to_si

FASTEST = to_si(130.0, "km_h")  # the highest limit a road may post
WIDEST = FASTEST**2 / SIDE_ACCELERATION  # m, derived: no truck slows for a wider bend
TIGHTEST = 10.0  # m, assumed: no truck turns within less
BAND = 1.645  # derived: that many standard deviations to either side hold nine of ten
ROUNDING = 0.1  # m, derived: positions are written to a millionth of a degree
OWN_LINE = 0.01  # of the radius, assumed: what a driven line differs from an arc
PRICE = 20.0  # of one more piece of road, in squared deviations, assumed: about three times the logarithm of the points
LEAST_LEGS = 3  # of a piece
MOST_LEGS = 400  # of a piece; a longer straight is several
BESIDE = 60  # legs of the road on either side of a bend that are fitted with it
SURE = 4.0  # standard deviations, assumed: a curvature that is less certain is no bend
LOOKED_OVER = 100.0  # m: length of the bend for which it is told which radius would not show


@dataclass(frozen=True)
class Band:
    """A value that a recording does not give exactly; the true one is between `low` and `high` nine times of ten."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True)
class Bend:
    """A bend of a track.

    Parameters
    ----------
    start : float
        Distance along the track. [m]
    length : float
        [m]
    radius : Band
        [m]
    """

    start: float
    length: float
    radius: Band

    def shares(self, other: "Bend") -> float:
        """Length of road that belongs to both, negative for what lies between them. [m]"""
        return min(self.start + self.length, other.start + other.length) - max(self.start, other.start)


@dataclass(frozen=True)
class Sight:
    """What the recording can show of a bend.

    Parameters
    ----------
    noise : float
        Standard deviation across the road from one point to the next. [m]
    spacing : float
        Usual distance between points. [m]
    radius : float
        Of a bend of `LOOKED_OVER`, the widest that stands out of the noise. [m]
    """

    noise: float
    spacing: float
    radius: float

    @property
    def shortest(self) -> float:
        """A bend shorter than this has too few points to show. [m]"""
        return LEAST_LEGS * self.spacing


def bends_of(
    heading: np.ndarray, places: np.ndarray, stood: np.ndarray, widest_gap: float
) -> tuple[tuple[Bend, ...], Sight]:
    """The bends of a cleaned track, and what it could not show.

    Parameters
    ----------
    heading : array
        Of each leg, without jumps by whole turns, shape (points - 1,). [rad]
    places : array
        Of the points along the track, shape (points,). [m]
    stood : array
        How many recorded points each stands for, shape (points,).
    widest_gap : float
        Nothing is said of the road across a longer leg. [m]

    Returns
    -------
    bends : tuple of Bend
        In the order of the track, none wider than `WIDEST`.
    sight : Sight
        Of the whole track.

    Notes
    -----
    The heading of a leg is the mean heading of the road along it, and what it is off by is the error across the road at its end
    less that at its begin, over its length. That error is taken as a walk, whose steps grow with the points recorded on the way,
    and white noise on top; third differences of the lateral place at lags of 1, 2 and 4 legs tell them apart (a steady bend has
    none; medians pass over its ends). Noise makes each leg longer by half of its square over the leg, which is taken off.

    Pieces of steady curvature are the ones of least sum of squared deviations plus `PRICE` for each, over all ways to cut the
    track. Each curved piece is then fitted together with the road beside it: headings that bend at two places, by generalised
    least squares with the covariance of the errors. Radius and band are one over the curvature and over its confidence bounds.
    A leg is a chord: 2 sin(turn / 2) over its length is the curvature.

    References
    ----------
    [1] R. Killick, P. Fearnhead, I. A. Eckley, Optimal detection of changepoints with a linear computational cost, Journal of the
        American Statistical Association 107 (2012), 1590-1598.
    """
    legs = np.diff(places)
    walk, white = noise_of(heading, legs)
    white = max(white, ROUNDING**2)
    level = np.sqrt(np.maximum(legs**2 - 2.0 * white - walk, 0.25 * legs**2))
    passed = 0.5 * (stood[1:] + stood[:-1])
    steps = walk * passed / float(np.median(passed))
    track = _Track(heading, level, steps, white)
    bends: list[Bend] = []
    for first, past in itertools.pairwise([-1, *np.flatnonzero(legs > widest_gap).tolist(), len(legs)]):
        if past - first - 1 > 2 * LEAST_LEGS:
            bends += track.part(first + 1, past).bends(places[first + 1 : past + 1])
    spacing = float(np.median(legs))
    within = max(LOOKED_OVER / spacing, float(LEAST_LEGS))
    spread = (within**3 - within) / 12.0
    hidden = math.sqrt(2.0 * PRICE * (walk + white) / spread) / spacing**2
    return tuple(bends), Sight(math.sqrt(walk + 2.0 * white), spacing, 1.0 / hidden)


def noise_of(slope: np.ndarray, legs: np.ndarray) -> tuple[float, float]:
    """How much a recording wanders about the road.

    Parameters
    ----------
    slope : array
        Heading of each leg, shape (legs,). [rad]
    legs : array
        [m]

    Returns
    -------
    walk : float
        Variance of the step over a leg of what lasts. [m2]
    white : float
        Variance of what is fresh at each point. [m2]
    """
    from scipy.optimize import nnls

    lags = [lag for lag in (1, 2, 4) if len(legs) > 6 * lag]
    if not lags:
        return 0.0, 0.0
    found = np.array([third_differences(slope, legs, lag) for lag in lags])
    scale = np.maximum(found, 1e-6)
    share = np.array([[6.0 * lag, 20.0] for lag in lags])
    (walk, white), _ = nnls(share / scale[:, None], found / scale)
    return float(walk), float(white)


def third_differences(slope: np.ndarray, legs: np.ndarray, lag: int) -> float:
    """Variance of the third differences of what a recording says across the road or up, by their median. [m2]

    Parameters
    ----------
    slope : array
        Heading or rise over run of each leg, shape (legs,).
    legs : array
        [m]
    lag : int
        Between how many legs.
    """
    across, along = np.append(0.0, np.cumsum(slope * legs)), np.append(0.0, np.cumsum(legs))
    run = along[lag:] - along[:-lag]
    mean = (across[lag:] - across[:-lag]) / run
    third = (mean[2 * lag :] - 2.0 * mean[lag:-lag] + mean[: -2 * lag]) * float(np.median(run))
    return (1.4826 * float(np.median(np.abs(third)))) ** 2


@dataclass(frozen=True)
class _Track:
    """Headings and lengths of legs, variances of the walk's steps over them and of the white noise of the points."""

    heading: np.ndarray
    legs: np.ndarray
    steps: np.ndarray
    white: float

    def part(self, first: int, past: int) -> "_Track":
        """Some legs of it."""
        return _Track(self.heading[first:past], self.legs[first:past], self.steps[first:past], self.white)

    def bends(self, places: np.ndarray) -> list[Bend]:
        """Its bends; `places` are those of the points along the track. [m]"""
        points = np.append(0.0, np.cumsum(self.legs))
        cuts = self._cuts(0.5 * (points[1:] + points[:-1]))
        found: list[tuple[float, Bend]] = []
        for number, (first, past) in enumerate(itertools.pairwise(cuts)):
            before, after = cuts[max(number - 1, 0)], cuts[min(number + 2, len(cuts) - 1)]
            begin, end = max((before + first) // 2, first - BESIDE), min((past + after + 1) // 2, past + BESIDE)
            fit = self.part(begin, end).fitted(first - begin, past - begin)
            if fit is None:
                continue
            curvature, deviation, start, stop = fit
            leg = float(np.mean(self.legs[first:past]))
            low, likely, high = (
                0.5 * leg / math.sin(min(max(0.5 * leg * each, 0.5e-5 * leg), 1.0))
                for each in (curvature + BAND * deviation, curvature, curvature - BAND * deviation)
            )
            if likely <= WIDEST and curvature > SURE * deviation and stop - start > leg:
                at, until = np.interp([start + points[begin], stop + points[begin]], points, places)
                radius = Band(*(max(each, TIGHTEST) for each in (low, likely, high)))
                found.append((deviation / curvature, Bend(float(at), float(until - at), radius)))
        kept: list[Bend] = []  # of two fits to the same bend, the surer
        for _, bend in sorted(found, key=lambda each: each[0]):
            if not any(bend.shares(other) > 0.5 * min(bend.length, other.length) for other in kept):
                kept.append(bend)
        return sorted(kept, key=lambda each: each.start)

    def _cuts(self, along: np.ndarray) -> list[int]:
        """Where pieces of steady curvature begin, and the end of the last."""
        weight = self.legs**2 / (self.steps + self.white)
        one, x, xx, y, xy, yy = (
            np.append(0.0, np.cumsum(weight * each))
            for each in (1.0, along, along**2, self.heading, along * self.heading, self.heading**2)
        )
        count = len(along)
        best, back = np.full(count + 1, np.inf), [0] * (count + 1)
        best[0] = 0.0
        starts = np.array([0])
        for end in range(LEAST_LEGS, count + 1):
            sums = [each[end] - each[starts] for each in (one, x, xx, y, xy, yy)]
            width = sums[2] - sums[1] ** 2 / sums[0]
            slope = sums[4] - sums[1] * sums[3] / sums[0]
            rest = sums[5] - sums[3] ** 2 / sums[0] - slope**2 / np.maximum(width, 1e-9)
            price = best[starts] + np.maximum(rest, 0.0)
            least = int(np.argmin(price))
            best[end], back[end] = price[least] + PRICE, int(starts[least])
            kept = (price <= best[end] + PRICE) & (starts > end - MOST_LEGS)
            starts = np.append(starts[kept], end + 1 - LEAST_LEGS)
        cuts = [count]
        while cuts[-1] > 0:
            cuts.append(back[cuts[-1]])
        return cuts[::-1]

    def fitted(self, first: int, past: int) -> tuple[float, float, float, float] | None:
        """Curvature of the legs from `first` to `past`, its standard deviation, and where it begins and ends. [1/m, 1/m, m, m]

        None where it is far too small to matter.
        """
        from scipy.linalg import cholesky_banded, solve_banded
        from scipy.optimize import least_squares

        points = np.append(0.0, np.cumsum(self.legs))
        middle = 0.5 * (points[1:] + points[:-1])

        def slope(begin: int, end: int) -> float:
            return float(np.polyfit(middle[begin:end], self.heading[begin:end], 1)[0]) if end - begin > 1 else 0.0

        guess = slope(first, past)
        if abs(guess) < 0.25 / WIDEST:
            return None
        course = np.append(0.0, np.cumsum(self.heading * self.legs))
        # of the covariance of the errors: neighbours share the error of the point between them
        root = cholesky_banded([self.steps + 2.0 * self.white, np.full(len(middle), -self.white)], lower=True)

        def whitened(turned: np.ndarray) -> np.ndarray:
            out: np.ndarray = solve_banded((1, 0), root, np.diff(turned, axis=0))
            return out

        def shape(start: float, stop: float) -> np.ndarray:
            whole, past_start, past_stop = (0.5 * np.maximum(points - place, 0.0) ** 2 for place in (0.0, start, stop))
            return np.column_stack([points, whole - past_start, past_start - past_stop, past_stop])

        held = np.array([first == 0, past == len(middle)])  # where the recording ends the bend may go on

        def ends(values: np.ndarray) -> np.ndarray:
            return np.where(held, [0.0, points[-1]], values[4:])

        def off(values: np.ndarray) -> np.ndarray:
            return whitened(shape(*ends(values)) @ values[:4] - course)

        def change(values: np.ndarray) -> np.ndarray:
            (_, before, within, after), (start, stop) = values[:4], ends(values)
            moved = np.maximum(points[:, None] - [start, stop], 0.0) * [before - within, within - after] * ~held
            return whitened(np.column_stack([shape(start, stop), moved]))

        fits = [  # between straights, and beside other bends
            least_squares(
                off,
                [self.heading[first] - before * middle[first], before, guess, after, points[first], points[past]],
                change,
                x_scale=[0.01, 1e-4, 1e-4, 1e-4, 10.0, 10.0],
                ftol=1e-4,  # of the sum of squares: far below what a standard deviation moves it
                max_nfev=50,
            )
            for before, after in ((0.0, 0.0), (slope(0, first), slope(past, len(middle))))
        ]
        fit = min(fits, key=lambda each: each.cost)
        spread = max(2.0 * fit.cost / max(len(points) - 7, 1), 1.0)
        curvature = fit.x[2]
        variance = float(np.linalg.pinv(fit.jac.T @ fit.jac)[2, 2]) * spread + (OWN_LINE * curvature) ** 2
        start, stop = np.clip(ends(fit.x), 0.0, points[-1])
        return (abs(curvature), math.sqrt(variance), float(start), float(stop)) if stop > start else None
