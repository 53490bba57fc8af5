"""Typical surfaces made up, and what readings of them leave open: the simulation under a plan of readings.

A random surface with Matern 5/2 correlation is a sum of cosine waves whose wave numbers have that correlation's
spectral density, a t distribution with five degrees of freedom (Rasmussen and Williams, Gaussian Processes for Machine
Learning, 2006, section 4.2.1; random waves as in Rahimi and Recht, 2007). So it can be read at any place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular
from scipy.stats import norm

from flatness.errors import ArgumentError
from flatness.surface.fitting import LENGTH_MM, LENGTH_SPREAD, RATIO_SPREAD
from flatness.surface.kriging import Parameters, Stations, factor, predict, surface_covariance
from flatness.survey.readings import Floats

WAVES = 400
FREEDOM = 5  # twice the smoothness of the correlation


@dataclass(frozen=True, eq=False)
class TypicalSurface:
    """A random surface of standard deviation 1.

    Attributes
    ----------
    length_x, length_y : correlation lengths [mm]
    waves : [2, n] wave numbers along x and y [1/mm]
    phase : [n]
    """

    length_x: float
    length_y: float
    waves: Floats
    phase: Floats

    def at(self, x: Floats, y: Floats) -> Floats:
        """Heights [m] at places x, y [m] mm."""
        angle = np.column_stack([x, y]) @ self.waves + self.phase
        out: Floats = np.sqrt(2 / len(self.phase)) * np.cos(angle).sum(axis=1)
        return out


def typical_surfaces(count: int, seed: int = 0) -> list[TypicalSurface]:
    """``count`` surfaces whose lengths are spread as the likely surface's parameters are taken to be.

    The mean log length and the log ratio of the two lengths are normal (:mod:`flatness.surface.fitting`). They are
    spread evenly over their quantiles in an order of chance, so that few surfaces stand for all of them.
    """
    rng = np.random.default_rng([seed, count])
    even = norm.ppf((np.arange(count) + 0.5) / count)
    mean = np.log(LENGTH_MM) + LENGTH_SPREAD * rng.permutation(even)
    half = RATIO_SPREAD * rng.permutation(even) / 2
    lengths = np.exp(np.column_stack([mean + half, mean - half]))
    return [_random(float(a), float(b), np.random.default_rng([seed, count, k])) for k, (a, b) in enumerate(lengths)]


def _random(length_x: float, length_y: float, rng: np.random.Generator) -> TypicalSurface:
    normal = rng.standard_normal((2, WAVES))
    waves = normal / np.sqrt(rng.chisquare(FREEDOM, WAVES) / FREEDOM)
    waves /= np.array([[length_x], [length_y]])
    return TypicalSurface(length_x, length_y, waves, rng.uniform(0, 2 * np.pi, WAVES))


def draw_allowed(
    stations: tuple[Floats, Floats], readings: Floats, candidates: Sequence[Parameters], places: tuple[Floats, Floats],
    draws: int, rng: np.random.Generator,
) -> Floats:  # fmt: skip
    """Surfaces that the readings of each of many rooms allow, all rooms read at the same stations.

    Parameters
    ----------
    stations : x, y [n] mm
    readings : [rooms, n] heights, mm
    candidates : parameters that a room may have, all as likely before it is read; the readings weigh them by their
        restricted likelihood
    places : x, y [m] mm
    draws : how many for each room

    Returns
    -------
    [rooms, draws, m] heights, mm
    """
    at = Stations(*stations, np.zeros(len(stations[0])), np.ones(len(stations[0]), dtype=np.int64))
    x, y = places
    heights = readings.T
    fits = [_fit(at, p, heights) for p in candidates]
    counts = _shared_out(np.array([fit[0] for fit in fits]), draws, rng)
    out = np.empty((len(readings), draws, len(x)))
    filled = np.zeros(len(readings), dtype=np.int64)
    apart = x[:, None] - x, y[:, None] - y
    trend = np.column_stack([np.ones_like(x), x / 1000.0, y / 1000.0])
    for p, (_, level, rest), count in zip(candidates, fits, counts, strict=True):
        if not count.any():
            continue
        _, v, w = predict(at, p, x, y)
        mean = trend @ level + v.T @ rest
        low = _root(surface_covariance(*apart, p) - v.T @ v + w.T @ w, p)
        for room in np.flatnonzero(count):
            part = slice(filled[room], filled[room] + count[room])
            out[room, part] = mean[:, room] + rng.standard_normal((count[room], len(x))) @ low.T
            filled[room] += count[room]
    return out


def _fit(at: Stations, p: Parameters, heights: Floats) -> tuple[Floats, Floats, Floats]:
    """Of each column of heights [n, rooms]: restricted log likelihood up to a constant, trend [3, rooms], what it
    leaves over [n, rooms], both on the scale on which the readings are independent."""
    f = factor(at, p)
    white = solve_triangular(f.low, heights, lower=True, check_finite=False)
    level = cho_solve((f.gram_low, True), f.white_trend.T @ white)
    rest = white - f.white_trend @ level
    size = np.log(np.diag(f.low)).sum() + np.log(np.diag(f.gram_low)).sum()
    return -size - 0.5 * (rest**2).sum(axis=0), level, rest


def _shared_out(logs: Floats, draws: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """[candidates, rooms] how many of a room's draws each candidate takes, by its likelihood."""
    weight = np.exp(logs - logs.max(axis=0))
    upto = np.cumsum(weight, axis=0) / weight.sum(axis=0)
    marks = (np.arange(draws) + rng.uniform(size=(logs.shape[1], 1))) / draws
    below = np.stack([(marks < bound[:, None]).sum(axis=1) for bound in upto[:-1]] + [np.full(logs.shape[1], draws)])
    return np.diff(below, axis=0, prepend=0)


def _root(cov: Floats, p: Parameters) -> Floats:
    for ridge in _ridges(p):
        cov[np.diag_indices_from(cov)] += ridge
        try:
            out: Floats = cholesky(cov, lower=True, check_finite=False)
        except LinAlgError:
            continue
        return out
    raise ArgumentError(
        "the covariance of the surfaces cannot be factored", expected="stations apart from each other",
        remedy="plan for wider steps",
    )  # fmt: skip


def _ridges(p: Parameters) -> Iterator[float]:
    # rounding may leave a covariance a hair short of positive definite: lift the diagonal until it is not
    return (p.scale**2 * 10.0**power for power in range(-9, -3))
