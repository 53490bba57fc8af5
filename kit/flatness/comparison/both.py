"""Both surveys estimated together on one lattice, so that what did not change cancels.

Each day's surface is what both have in common, less or plus half of the change. All three are random surfaces about
planes, and co-kriging (Cressie, Statistics for Spatial Data, 1993, section 3.2.3) gives the change at a place as a
weighted sum of all readings of both days. Error follows by the law of propagation (JCGM 100:2008, 5.2): readings with
their own errors and, where the two days' stations differ, waves that one day's stations saw and the other's did not.

The lattice over what two surveys of one surface have in common.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.linalg import block_diag, cholesky, solve_triangular

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.surface.fitting import Fit, fit_parameters
from flatness.surface.kriging import JITTER, Parameters, surface_covariance, trend
from flatness.surface.lattice import (
    check_fineness,
    check_spacing,
    default_spacing,
    heights_at,
    lattice_axes,
    widest_step,
)
from flatness.survey.readings import Survey

MOST_NODES = 12_000  # the weight of every reading at every node is kept
Bools = NDArray[np.bool_]


def common_lattice(before: Survey, after: Survey, spacing: float) -> tuple[Floats, Floats, Bools]:
    """x [nx], y [ny] mm and [ny, nx] True where both surveys have a surface; MeasureError where nowhere."""
    check_spacing(spacing)
    axes = []
    for column in (0, 1):
        reach = [(survey.stations()[column].min(), survey.stations()[column].max()) for survey in (before, after)]
        low, high = max(r[0] for r in reach), min(r[1] for r in reach)
        if high - low < spacing:
            raise _apart()
        axes.append(lattice_axes(np.array([low, high]), spacing))
    x, y = axes
    check_fineness(x, y, MOST_NODES)
    inside = reached(before, x, y) & reached(after, x, y)
    if not inside.any():
        raise _apart()
    return x, y, inside


def _apart() -> MeasureError:
    what, expected = "the two surveys have no area in common", "readings of one surface, from one corner"
    return MeasureError(what, expected=expected, remedy="check that x and y are measured from the same corner in both")


def reached(survey: Survey, x: Floats, y: Floats) -> Bools:
    """[ny, nx] True where a survey has a surface and its readings reach."""
    return np.isfinite(heights_at(survey, x, y))


BLOCK = 2000
# A change is taken to be as wide as the stations can show, and large against the readings' error, so that the estimate
# neither smooths it away nor draws it toward nothing. Assumptions of this kit; simulated in tests/benchmarks.
CHANGE_LENGTH = 1.5  # correlation length of the change, in steps between stations
CHANGE_SCALE = 6.0  # its standard deviation, in errors of the difference of two readings


@dataclass(frozen=True, eq=False)
class Rows:
    """The difference at some places as weights of all readings.

    Attributes
    ----------
    x, y : [m] mm
    weights : [m, n] of the readings of both days, before first
    unseen : [m] mm2, variance of what the readings, were they without error, leave open
    planes : [6, m] mm, standard deviations that the unknown planes add, whitened
    """

    x: Floats
    y: Floats
    weights: Floats
    unseen: Floats
    planes: Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class Both:
    """Two surveys on one lattice over their common area.

    Attributes
    ----------
    x, y : [nx], [ny] mm; ``spacing`` mm
    inside : [ny, nx] where both surveys have a surface
    place_x, place_y : [n] mm, stations of both days about the common origin, before first
    heights : [n] mm of the stations about the common origin
    noise : [n] mm2, variance of each station's height from the readings' own error
    half : [n] the part of the change in each: -1/2 before, 1/2 after
    common, change : parameters of what both days have in common, and of the change
    step : the wider of the two surveys' steps between stations [mm]
    origin : (x, y, height) mm
    basis : where each day's reading error comes from: ``given``, ``repeats`` or ``fitted``
    shared : [n, k] mm, what an error of one standard deviation in the tie of each set-up adds to each station
    """

    x: Floats
    y: Floats
    spacing: float
    inside: Bools
    place_x: Floats
    place_y: Floats
    heights: Floats
    noise: Floats
    half: Floats
    common: Parameters
    change: Parameters
    step: float
    origin: tuple[float, float, float]
    basis: tuple[str, str]
    low: Floats = field(repr=False)
    white_trend: Floats = field(repr=False)
    gram_low: Floats = field(repr=False)
    shared: Floats = field(default_factory=lambda: np.zeros((0, 0)), repr=False)

    def nodes(self) -> tuple[Floats, Floats]:
        """x and y [m] mm of the lattice's nodes inside."""
        gx, gy = np.meshgrid(self.x, self.y)
        return gx[self.inside], gy[self.inside]

    def on_lattice(self, values: Floats) -> Floats:
        """Values [m] of the nodes inside as [ny, nx]; NaN outside."""
        out = np.full(self.inside.shape, np.nan)
        out[self.inside] = values
        return out

    def stations(self) -> tuple[Floats, Floats]:
        """x and y [m] mm of the places that either day read, each once, in an order that the days do not set."""
        xy = np.column_stack([self.place_x + self.origin[0], self.place_y + self.origin[1]])
        places = np.unique(np.round(xy, 1), axis=0).astype(np.float64)
        return places[:, 0], places[:, 1]

    def reading_error(self, half: float) -> float:
        """One standard deviation [mm] of a station read once, before (-1/2) or after (1/2)."""
        return math.sqrt(float(self.noise[self.half == half].max()))

    def rows(self, x: Floats, y: Floats) -> Rows:
        """Weights of the readings in the difference at places x, y [m] mm."""
        weights, unseen, planes = np.empty((len(x), len(self.heights))), np.empty(len(x)), np.empty((6, len(x)))
        for part in _parts(len(x)):
            px, py = x[part] - self.origin[0], y[part] - self.origin[1]
            prior = surface_covariance(self.place_x[:, None] - px, self.place_y[:, None] - py, self.change)
            # V [n, m] and W [6, m]: covariance = prior - V'V + W'W, as in flatness.surface.kriging.predict
            v = solve_triangular(self.low, self.half[:, None] * prior, lower=True, check_finite=False)
            columns = np.column_stack([np.zeros((len(px), 3)), trend(px, py)])
            w = solve_triangular(self.gram_low, columns.T - self.white_trend.T @ v, lower=True)
            weights[part] = solve_triangular(self.low, v + self._of_planes(w), lower=True, trans="T").T
            left = self.change.scale**2 - (v * v).sum(axis=0) + (w * w).sum(axis=0)
            unseen[part], planes[:, part] = np.maximum(left - (weights[part] ** 2) @ self.noise, 0.0), w
        return Rows(x, y, weights, unseen, planes)

    def difference(self, rows: Rows) -> Floats:
        """After minus before [m] mm at the places of ``rows``."""
        return np.asarray(rows.weights @ self.heights)

    def middle(self, x: Floats, y: Floats) -> Floats:
        """Mean of both days' surfaces [m] mm at places x, y [m] mm."""
        out = np.empty(len(x))
        white = solve_triangular(self.low, self.heights, lower=True)
        planes = solve_triangular(self.gram_low, self.white_trend.T @ white, lower=True)
        by_station = solve_triangular(self.low, white - self._of_planes(planes), lower=True, trans="T")
        slopes = solve_triangular(self.gram_low, planes, lower=True, trans="T")[:3]
        for part in _parts(len(x)):
            px, py = x[part] - self.origin[0], y[part] - self.origin[1]
            prior = surface_covariance(self.place_x[:, None] - px, self.place_y[:, None] - py, self.common)
            out[part] = by_station @ prior + trend(px, py) @ slopes + self.origin[2]
        return out

    def covariance(self, weights: Floats) -> Floats:
        """Covariance [m, m] mm2 of weighted sums of the readings, were the surface the same on both days."""
        found: Floats = (weights * self.noise) @ weights.T + weights @ self._surface() @ weights.T
        if self.shared.size:
            tied = weights @ self.shared
            found = found + tied @ tied.T
        return found

    def variance(self, weights: Floats) -> Floats:
        """The diagonal [m] mm2 of :meth:`covariance`."""
        found: Floats = (weights * weights) @ self.noise + ((weights @ self._surface()) * weights).sum(axis=1)
        return found + ((weights @ self.shared) ** 2).sum(axis=1) if self.shared.size else found

    def unseen_sum(self, share: Floats, rows: Rows) -> float:
        """Variance of a weighted sum of the difference over the lattice from all but the readings' own error.

        ``share`` [ny, nx] is each node's weight, zero outside; ``rows`` are those of the nodes.
        """
        ny, nx = share.shape
        dx, dy = self.spacing * np.arange(1 - nx, nx), self.spacing * np.arange(1 - ny, ny)
        kernel = surface_covariance(dx[None, :], dy[:, None], self.change)
        wide = (next_fast_len(3 * ny - 2, real=True), next_fast_len(3 * nx - 2, real=True))
        whole = irfft2(rfft2(share, wide) * rfft2(kernel, wide), wide)
        variance = float((whole[ny - 1 : 2 * ny - 1, nx - 1 : 2 * nx - 1] * share).sum())
        at = share[self.inside]
        weights, w = at @ rows.weights, rows.planes @ at
        v = self.low.T @ weights - self._of_planes(w)  # of which rows made the weights
        variance += float(w @ w) - float(v @ v)
        return max(variance - float(weights**2 @ self.noise), 0.0)

    def _of_planes(self, w: Floats) -> Floats:
        return np.asarray(self.white_trend @ solve_triangular(self.gram_low, w, lower=True, trans="T"))

    def _surface(self) -> Floats:
        x, y = self.place_x, self.place_y
        return surface_covariance(x[:, None] - x, y[:, None] - y, self.common)


def _parts(count: int) -> Iterator[slice]:
    return (slice(first, first + BLOCK) for first in range(0, count, BLOCK))


def estimate_both(before: Survey, after: Survey, spacing: float | None = None) -> Both:
    """Both surveys on one lattice over what they have in common.

    Parameters
    ----------
    before, after : the surveys
    spacing : lattice step [mm]; None takes the finer of the two that suit the surveys

    Raises
    ------
    ArgumentError : surveys of two kinds of surface, or a lattice too fine
    MeasureError : surveys that have no area in common, or too few stations
    """
    if before.surface != after.surface:
        what, value = "the two surveys are not of one surface", f"{before.surface} and {after.surface}"
        raise ArgumentError(what, value=value, expected="twice a floor, twice a ceiling or twice a wall")
    fits = fit_parameters(before, patches=False), fit_parameters(after, patches=False)
    step = min(default_spacing(before), default_spacing(after)) if spacing is None else spacing
    x, y, inside = common_lattice(before, after, step)
    origin = tuple(float(np.mean([fit.origin[k] for fit in fits])) for k in range(3))
    px, py, heights = (
        np.concatenate([getattr(fit.stations, name) + fit.origin[k] - origin[k] for fit in fits])
        for k, name in enumerate(("x", "y", "height"))
    )
    noise = np.concatenate([fit.best.reading_error**2 / fit.stations.count for fit in fits])
    half = np.concatenate([np.full(len(fit.stations.x), sign) for fit, sign in zip(fits, (-0.5, 0.5), strict=True)])
    common = common_parameters(fits)
    wide = max(widest_step(before), widest_step(after))
    one = math.hypot(*(fit.best.reading_error for fit in fits))
    change = Parameters(CHANGE_SCALE * one, CHANGE_LENGTH * wide, CHANGE_LENGTH * wide, common.reading_error)
    k = surface_covariance(px[:, None] - px, py[:, None] - py, common)
    k += np.outer(half, half) * surface_covariance(px[:, None] - px, py[:, None] - py, change)
    k[np.diag_indices_from(k)] += noise + JITTER * common.scale**2
    low = cholesky(k, lower=True, check_finite=False)
    planes = trend(px, py)
    white = solve_triangular(low, np.column_stack([planes, half[:, None] * planes]), lower=True, check_finite=False)
    return Both(
        x=x,
        y=y,
        spacing=float(step),
        inside=inside,
        place_x=px,
        place_y=py,
        heights=heights,
        noise=noise,
        half=half,
        common=common,
        change=change,
        step=wide,
        origin=(origin[0], origin[1], origin[2]),
        basis=(fits[0].error_basis, fits[1].error_basis),
        low=low,
        white_trend=white,
        gram_low=cholesky(white.T @ white, lower=True),
        shared=block_diag(*map(setups_apart, (before, after))),
    )


def setups_apart(survey: Survey) -> Floats:
    """[stations, k] mm: what an error of one standard deviation in each set-up's tie adds to each station.

    Against the mean of the set-ups, since what they all share is the datum. The set-ups' errors are taken to be
    independent. Without columns where there is but one set-up.
    """
    x, _, _, _ = survey.stations()
    adjustment = survey.adjustment
    if adjustment is None or len(adjustment.setups) < 2:
        return np.zeros((len(x), 0))
    named, errors = survey.points["setup"], adjustment.setups["offset_error"].fillna(0.0)
    member = np.column_stack(
        [
            replace(survey, points=survey.points.assign(member=(named == name).astype(float))).station_means("member")
            for name in errors.index
        ]
    )
    return np.asarray((member - 1 / len(errors)) * errors.to_numpy())


def common_parameters(fits: Sequence[Fit]) -> Parameters:
    """One set of parameters for both days: the mean of their logarithms, weighted by how surely each is known."""
    precisions = [np.linalg.inv(fit.spread[:3, :3]) for fit in fits]
    logs = [np.log([fit.best.scale, fit.best.length_x, fit.best.length_y]) for fit in fits]
    total = np.linalg.solve(sum(precisions), sum(p @ log for p, log in zip(precisions, logs, strict=True)))
    scale, length_x, length_y = (float(value) for value in np.exp(total))
    error = float(np.exp(np.mean([np.log(fit.best.reading_error) for fit in fits])))
    return Parameters(scale, length_x, length_y, error)
