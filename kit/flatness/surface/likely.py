"""The likely surface: what the readings say about the surface between them, and how surely.

A plane, plus a random surface with Matern 5/2 correlation and its own length along x and along y, plus
reading error (:mod:`flatness.surface.kriging`). Besides the best estimate and its error it gives draws: other
surfaces that the readings allow, each with parameters that the readings allow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError

from flatness.errors import ArgumentError
from flatness.surface.fitting import Fit, fit_parameters
from flatness.surface.kriging import Parameters, Stations, cholesky_factor, left_out, predict, surface_covariance
from flatness.surface.lattice import MOST_DRAWN, default_spacing, interpolate, widest_step
from flatness.survey.readings import Floats, Survey

Prior = Callable[[Parameters], Floats]

MOST_PLACES = MOST_DRAWN  # the covariance of the draws is places x places
# most places, and how many sets of parameters the draws then take: more where they are cheap
SETS = ((2000, 20), (3000, 8), (4500, 3), (MOST_PLACES, 1))
WILD_ONE = 4.5  # a reading so many errors off its prediction is not the model's
WILD_ALL = 1.4
TAME = 4  # standard errors of a spread; of 75 simulated rooms on each of three grids none came so low by chance


@dataclass(frozen=True)
class Roughness:
    """Waves too short for the stations, as a random surface: standard deviation and correlation length [mm]."""

    scale: float
    length: float


@dataclass(frozen=True, eq=False)
class LikelySurface:
    """Best estimate of a surface, its error, and draws of what else it may be.

    Attributes
    ----------
    x, y : [nx], [ny] mm
    mean : [ny, nx] mm, best estimate; NaN where there is no surface or no reading reaches
    error : [ny, nx] mm, its standard error
    parameters : the likeliest parameters
    error_basis : where the reading error comes from: ``given``, ``ties``, ``repeats`` or ``fitted``
    shortest_wave : waves shorter than this [mm] are invisible to the stations
    misfit : where and how the readings do not fit the model, in words; empty where they do
    notes : what does not fit, and what was assumed, in words
    reference, spacing : as in :class:`~flatness.surface.lattice.Surface`
    """

    x: Floats
    y: Floats
    mean: Floats
    error: Floats
    parameters: Parameters
    error_basis: str
    shortest_wave: float
    misfit: tuple[str, ...]
    notes: tuple[str, ...]
    reference: str
    spacing: float
    fit: Fit = field(repr=False)

    def draw(self, n: int, seed: int = 0) -> Floats:
        """``n`` surfaces that the readings allow, [n, ny, nx] mm; the same seed gives the same surfaces."""
        keep = np.isfinite(self.mean)
        iy, ix = np.nonzero(keep)
        out = np.full((n, *self.mean.shape), np.nan)
        out[:, keep] = self._draw(self.x[ix], self.y[iy], n, seed, _LatticePrior(ix, iy, self.spacing))
        return out

    def draw_at(self, x: Floats, y: Floats, n: int, seed: int = 0) -> Floats:
        """``n`` draws of the heights [n, m] mm at places x, y [m] mm."""
        return self._draw(x, y, n, seed, lambda p: surface_covariance(x[:, None] - x, y[:, None] - y, p))

    def _draw(self, x: Floats, y: Floats, n: int, seed: int, prior: Prior) -> Floats:
        if not (isinstance(n, (int, np.integer)) and n >= 1):
            raise ArgumentError("number of draws out of range", value=str(n), expected="a whole number from 1")
        if len(x) > MOST_PLACES:
            raise ArgumentError(
                "too many places to draw together", value=str(len(x)), expected=f"at most {MOST_PLACES}",
                remedy="choose a wider spacing",
            )  # fmt: skip
        rng = np.random.default_rng(seed)
        x, y = x - self.fit.origin[0], y - self.fit.origin[1]
        sets = next(count for most, count in SETS if len(x) <= most)
        parts = []
        for p, count in self.fit.parameter_sets(min(sets, n), n, rng):
            mean, low = _posterior(self.fit.stations, p, x, y, prior)
            parts.append(mean + rng.standard_normal((count, len(x))) @ low.T)
        return np.concatenate(parts) + self.fit.origin[2]

    def predict_at(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Best estimate [m] mm and its standard error [m] mm at places x, y [m] mm."""
        return _estimate(self.fit, x, y)

    def covariance_at(self, x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> Floats:
        """Covariance [m, k] mm2 of the surface at places x, y [m] mm with places to_x, to_y [k] mm, as read."""
        (x, y), (to_x, to_y) = ((px - self.fit.origin[0], py - self.fit.origin[1]) for px, py in ((x, y), (to_x, to_y)))
        _, v, w = predict(self.fit.stations, self.fit.best, x, y, self.fit.factored)
        _, to_v, to_w = predict(self.fit.stations, self.fit.best, to_x, to_y, self.fit.factored)
        prior = surface_covariance(x[:, None] - to_x, y[:, None] - to_y, self.fit.best)
        return np.asarray(prior - v.T @ to_v + w.T @ to_w)


def likely_surface(
    survey: Survey,
    spacing: float | None = None,
    *,
    roughness: Roughness | None = None,
) -> LikelySurface:
    """The likely surface of a survey on a lattice.

    Parameters
    ----------
    survey : the readings
    spacing : lattice step [mm]; None takes about 6 in, wider where the surface is large
    roughness : of waves between the stations, which no reading shows; without it the surface is taken to be
        as smooth between stations as it is across them

    Returns
    -------
    LikelySurface

    Raises
    ------
    MeasureError : stations too few, or all on one line
    """
    plain = interpolate(survey, default_spacing(survey) if spacing is None else spacing)
    step = widest_step(survey)
    fit = fit_parameters(survey, (roughness.scale, roughness.length) if roughness else (0.0, 1.0))
    misfit = tuple(_misfit(fit))
    gx, gy, _ = plain.nodes()
    mean, error = np.full_like(plain.height, np.nan), np.full_like(plain.height, np.nan)
    mean[plain.inside], error[plain.inside] = _estimate(fit, gx, gy)
    return LikelySurface(
        plain.x, plain.y, mean, error, fit.best, fit.error_basis, 2 * step,
        misfit, tuple(_notes(fit, step, roughness, misfit)), plain.reference, plain.spacing, fit,
    )  # fmt: skip


def _estimate(fit: Fit, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    x, y = x - fit.origin[0], y - fit.origin[1]
    mean, error = np.empty(len(x)), np.empty(len(x))
    for part in _parts(len(x)):
        mean[part], v, w = predict(fit.stations, fit.best, x[part], y[part], fit.factored)
        variance = fit.best.scale**2 + fit.best.rough_scale**2 - (v * v).sum(axis=0) + (w * w).sum(axis=0)
        error[part] = np.sqrt(np.maximum(variance, 0.0))
    return mean + fit.origin[2], error


def _parts(count: int, most: int = 2000) -> Iterator[slice]:
    return (slice(first, first + most) for first in range(0, count, most))


class _LatticePrior:
    """Covariance of the surface between nodes of a lattice: it depends only on how many steps they are apart."""

    def __init__(self, ix: NDArray[np.intp], iy: NDArray[np.intp], spacing: float) -> None:
        self.steps = np.arange(max(np.ptp(ix), np.ptp(iy)) + 1, dtype=np.float64) * spacing
        self.apart = np.abs(iy[:, None] - iy) * len(self.steps) + np.abs(ix[:, None] - ix)

    def __call__(self, p: Parameters) -> Floats:
        out: Floats = surface_covariance(self.steps, self.steps[:, None], p).ravel()[self.apart]
        return out


def _posterior(stations: Stations, p: Parameters, x: Floats, y: Floats, prior: Prior) -> tuple[Floats, Floats]:
    """Mean [m] and a factor [m, m] of the covariance of the surface at places x, y, given the readings."""
    mean, v, w = predict(stations, p, x, y)
    lifts: list[float] = []
    for attempt in range(6):
        cov = prior(p)
        cov -= v.T @ v
        cov += w.T @ w
        # rounding may leave a covariance a hair short of positive definite: lift the diagonal until it is not
        lifts.append(1e-8 * (p.scale**2 + p.rough_scale**2) * 10**attempt)
        for lift in lifts:
            cov[np.diag_indices_from(cov)] += lift
        try:
            return mean, cholesky_factor(cov.T)  # symmetric, and so in the order that is factored in place
        except LinAlgError:
            continue
    raise ArgumentError("the readings' covariance cannot be factored", remedy="check for stations read twice")


def _notes(fit: Fit, step: float, roughness: Roughness | None, misfit: tuple[str, ...]) -> Iterator[str]:
    if fit.error_basis == "fitted":
        yield (
            f"the file gives no accuracy and no station was read twice: a reading error of "
            f"{fit.best.reading_error:.2f} mm was fitted, which may hide waves shorter than the stations"
        )
    if fit.error_basis == "repeats":
        yield f"reading error of {fit.best.reading_error:.2f} mm estimated from repeated readings"
    if roughness is None:
        yield (
            f"waves shorter than {2 * step:.0f} mm (two stations) are invisible to these readings; assumed: the "
            "surface is as smooth between stations as across them (a spot check between stations can replace this)"
        )
    yield from misfit


def _misfit(fit: Fit) -> Iterator[str]:
    off = left_out(fit.stations, fit.best, fit.factored)
    worst, spread = float(np.abs(off).max()), float(np.sqrt(np.mean(off**2)))
    if worst > WILD_ONE:
        place = int(np.abs(off).argmax())
        x, y = fit.stations.x[place] + fit.origin[0], fit.stations.y[place] + fit.origin[1]
        yield (
            f"the model does not fit at x = {x:.0f} mm, y = {y:.0f} mm: the reading there is {worst:.1f} errors "
            "off what the others say (a step, an edge or a mistake); check it, and read more closely around it"
        )
    if spread > WILD_ALL:
        yield (
            f"the model does not fit: readings differ from their neighbours by {spread:.1f} times what their "
            "accuracy and the surface explain; the accuracy may be worse than stated"
        )
    if fit.error_basis == "given" and spread < 1 - TAME / math.sqrt(2 * len(off)):
        times = f"{1 / spread:.1f} times" if spread > 0.1 else "over 10 times"
        yield (
            f"readings agree with one another {times} better than the accuracy that is stated, so that "
            "waves of the surface pass for errors of reading; the accuracy is one standard deviation of one reading, "
            "about half of what it is off at worst: correct it and check again"
        )
