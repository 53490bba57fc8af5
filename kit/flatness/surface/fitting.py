"""Parameters of the likely surface from the readings: restricted likelihood with weak priors.

With few readings the likelihood alone may run off to lengths that no building shows, or take all that it sees for
noise and a rough floor for a flat one. So it is multiplied by priors that say no more than this: waves in framing and
slabs are of the order of feet and of an eighth of an inch, the two directions do not differ beyond reason, and a
reading of unknown accuracy is good to about 1/32 in. Their centres and spreads are assumptions of this kit (common
practice, no source); with more readings they lose their weight.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.optimize import minimize
from scipy.special import chdtri, ndtri

from flatness.errors import MeasureError
from flatness.surface.kriging import (
    Factored,
    Parameters,
    Stations,
    factor,
    likelihood_gradient,
    restricted_log_likelihood,
)
from flatness.survey.readings import Floats, Survey

LENGTH_MM, LENGTH_SPREAD = 1500.0, 1.0  # prior of the mean log length: about 2 to 13 ft within one deviation
RATIO_SPREAD = 1.0  # prior of the log ratio of the two lengths
SCALE_MM, SCALE_SPREAD = 3.0, 1.5  # prior of the log scale: an eighth of an inch or so, within a factor of 4.5
ERROR_MM, ERROR_SPREAD = 0.8, 0.5  # prior of the log reading error where it is fitted: 1/32 in, within a factor of 1.6
STARTS_MM = (600.0, 1500.0, 4000.0)
BLOCK = 400  # readings judged together; more are judged in blocks of neighbours
FEWEST_REPEATS = 5  # degrees of freedom from which repeated readings tell the reading error
# parameters are drawn by importance: candidates from a t distribution, wider than the curvature at the best says, which
# reaches as far as skewed likelihoods do
CANDIDATES, FEWEST_CANDIDATES, READINGS = 150, 30, 120  # fewer from so many readings on, which each cost more
WIDER, FREEDOM = 1.5, 5
LEAST_ERROR_MM, MOST_ERROR_MM = 0.02, 30.0


@dataclass(frozen=True, eq=False)
class Fit:
    """Fitted parameters and how surely they are known.

    Attributes
    ----------
    stations : the stations, moved so that their mean is the origin
    origin : (x, y, height) [mm] of that origin
    best : the likeliest parameters
    spread : [k, k] covariance of the logarithms of the fitted ones: scale, length_x, length_y and, where it was
        fitted, reading_error
    error_basis : ``given``, ``ties`` (between instrument set-ups), ``repeats`` or ``fitted``
    """

    stations: Stations
    origin: tuple[float, float, float]
    best: Parameters
    spread: Floats
    error_basis: str

    @cached_property
    def factored(self) -> Factored:
        """The stations' covariance under the likeliest parameters, factored once."""
        return factor(self.stations, self.best)

    @cached_property
    def candidates(self) -> tuple[Floats, Floats]:
        """Logarithms of parameters that the readings may allow [c, k], and the weight of each [c], 1 in all."""
        stations, dimensions = len(self.stations.x), len(self.spread)
        count = max(FEWEST_CANDIDATES, int(CANDIDATES * min(1.0, (READINGS / stations) ** 1.5)))
        values, vectors = np.linalg.eigh(WIDER * self.spread)
        even = _spread_evenly(count, dimensions + 1, np.random.default_rng(0))
        move = ndtri(even[:, 1:]) / np.sqrt(chdtri(FREEDOM, even[:, :1]) / FREEDOM)
        logs = _logs(self.best)[:dimensions] + move @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
        low, high = (bound[:dimensions] for bound in _bounds(self.best.reading_error))
        blocks = list(_blocks(self.stations))
        losses = np.array([
            _value(one, blocks, self.best) if ((low <= one) & (one <= high)).all() else math.inf for one in logs
        ])  # fmt: skip
        # minus the logarithm of the density that they come from
        losses -= (FREEDOM + dimensions) / 2 * np.log1p((move**2).sum(axis=1) / FREEDOM)
        if not np.isfinite(losses).any():
            return _logs(self.best)[None, :dimensions], np.ones(1)
        weight = np.exp(losses.min() - losses)
        # side by side where their lengths are alike, so that a systematic choice takes short and long ones in turn
        order = np.argsort(logs[:, 1] + logs[:, 2], kind="stable")
        return logs[order], weight[order] / weight.sum()

    def parameter_sets(self, sets: int, draws: int, rng: np.random.Generator) -> Iterator[tuple[Parameters, int]]:
        """At most ``sets`` parameters that the readings allow, with how many of the draws each takes.

        The likeliest ones alone where only one set is asked for.
        """
        if sets == 1:
            yield self.best, draws
            return
        logs, weight = self.candidates
        slots = np.searchsorted(np.cumsum(weight)[:-1], (np.arange(sets) + rng.random()) / sets)
        share = np.full(sets, draws // sets)
        share[rng.permutation(sets)[: draws % sets]] += 1
        counts = np.bincount(slots, weights=share, minlength=len(weight)).astype(int)
        for number in np.flatnonzero(counts):
            yield _parameters(logs[number], self.best), int(counts[number])


def _spread_evenly(count: int, dimensions: int, rng: np.random.Generator) -> Floats:
    """Numbers between 0 and 1 [count, dimensions], one in each slice of equal width (a Latin hypercube)."""
    slices = np.array([rng.permutation(count) for _ in range(dimensions)]).T
    return np.asarray((slices + rng.random((count, dimensions))) / count)


def fit_parameters(survey: Survey, rough: tuple[float, float] = (0.0, 1.0)) -> Fit:
    """Fit the likely surface's parameters to a survey.

    ``rough`` is the standard deviation and correlation length [mm] of short waves stated by the user.
    """
    x, y, height, count = survey.stations()
    if len(x) < 4:
        raise MeasureError("too few stations for a likely surface", value=str(len(x)), expected="four or more")
    origin = (float(x.mean()), float(y.mean()), float(height.mean()))
    stations = Stations(x - origin[0], y - origin[1], height - origin[2], count)
    if np.linalg.matrix_rank(np.column_stack([np.ones_like(x), stations.x, stations.y])) < 3:
        raise MeasureError("the stations lie on one line", remedy="read a second line beside it")
    error, basis = _reading_error(survey)
    flat = stations.height - _plane(stations)
    start = Parameters(max(float(flat.std()), error or 0.5), 1.0, 1.0, error or 0.5, *rough)
    free = 3 if error is not None else 4
    blocks = list(_blocks(stations))
    best = _search(blocks, start, free)
    return Fit(stations, origin, _parameters(best, start), _spread(blocks, best, start), basis)


def _plane(stations: Stations) -> Floats:
    columns = np.column_stack([np.ones_like(stations.x), stations.x, stations.y])
    out: Floats = columns @ np.linalg.lstsq(columns, stations.height, rcond=None)[0]
    return out


def _reading_error(survey: Survey) -> tuple[float | None, str]:
    if survey.accuracy is not None:
        tied = survey.adjustment is not None and survey.accuracy == survey.adjustment.m0
        return survey.accuracy, "ties" if tied else "given"
    freedom, squares = survey.repeats()
    if freedom >= FEWEST_REPEATS and squares > 0:
        return max(math.sqrt(squares / freedom), LEAST_ERROR_MM), "repeats"
    return None, "fitted"


def _blocks(stations: Stations) -> Iterator[Stations]:
    """Blocks of at most ``BLOCK`` neighbouring stations, halved across the longer side."""
    if len(stations.x) <= BLOCK:
        yield stations
        return
    along = stations.x if np.ptp(stations.x) >= np.ptp(stations.y) else stations.y
    order = np.argsort(along, kind="stable")
    half = len(order) // 2
    yield from _blocks(stations.chosen(order[:half]))
    yield from _blocks(stations.chosen(order[half:]))


def _search(blocks: list[Stations], start: Parameters, free: int) -> Floats:
    """Logarithms of the likeliest parameters, from the best two of a grid of starts."""
    errors = [start.reading_error] if free == 3 else [start.reading_error, start.scale / 3]
    grid = [
        _logs(replace(start, scale=start.scale * grow, length_x=a, length_y=b, reading_error=e))[:free]
        for grow in (1.0, 2.0)
        for a in STARTS_MM
        for b in STARTS_MM
        for e in errors
    ]
    grid.sort(key=lambda logs: _value(logs, blocks, start))
    low, high = _bounds(start.reading_error)
    bounds = list(zip(low[:free], high[:free], strict=True))
    found = [
        minimize(_loss, logs, (blocks, start), method="L-BFGS-B", jac=True, bounds=bounds, options={"maxiter": 60})
        for logs in grid[:2]
    ]
    best: Floats = min(found, key=lambda result: float(result.fun)).x
    return best


def _value(logs: Floats, blocks: list[Stations], start: Parameters) -> float:
    """As :func:`_loss`, without the gradient."""
    p, loss = _parameters(logs, start), 0.0
    for block in blocks:
        value = restricted_log_likelihood(block, p)
        if not math.isfinite(value):
            return 1e12
        loss -= value
    return _with_priors(logs, loss, np.zeros(4))[0]


def _loss(logs: Floats, blocks: list[Stations], start: Parameters) -> tuple[float, Floats]:
    """Minus the logarithm of restricted likelihood times prior, and its gradient."""
    p = _parameters(logs, start)
    loss, slope = 0.0, np.zeros(4)
    for block in blocks:
        value, gradient = likelihood_gradient(block, p)
        if not math.isfinite(value):
            return 1e12, np.zeros(len(logs))
        loss, slope = loss - value, slope - gradient
    return _with_priors(logs, loss, slope)


def _with_priors(logs: Floats, loss: float, slope: Floats) -> tuple[float, Floats]:
    mean = (logs[1] + logs[2]) / 2 - math.log(LENGTH_MM)
    ratio = logs[1] - logs[2]
    loss += 0.5 * (mean / LENGTH_SPREAD) ** 2 + 0.5 * (ratio / RATIO_SPREAD) ** 2
    scale = logs[0] - math.log(SCALE_MM)
    loss, slope[0] = loss + 0.5 * (scale / SCALE_SPREAD) ** 2, slope[0] + scale / SCALE_SPREAD**2
    if len(logs) > 3:
        error = logs[3] - math.log(ERROR_MM)
        loss, slope[3] = loss + 0.5 * (error / ERROR_SPREAD) ** 2, slope[3] + error / ERROR_SPREAD**2
    slope[1] += mean / 2 / LENGTH_SPREAD**2 + ratio / RATIO_SPREAD**2
    slope[2] += mean / 2 / LENGTH_SPREAD**2 - ratio / RATIO_SPREAD**2
    return loss, slope[: len(logs)]


def _spread(blocks: list[Stations], best: Floats, start: Parameters) -> Floats:
    """Covariance of the logarithms about the best, from the curvature of the loss there."""
    step = 0.05
    curvature = np.empty((len(best), len(best)))
    for i, shift in enumerate(np.eye(len(best)) * step):
        ahead, behind = _loss(best + shift, blocks, start)[1], _loss(best - shift, blocks, start)[1]
        curvature[i] = (ahead - behind) / (2 * step)
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    # a direction that the readings hardly tell of is known to a factor of e squared at the least
    return np.asarray((vectors / np.maximum(values, 0.25)) @ vectors.T)


def _logs(p: Parameters) -> Floats:
    return np.log([p.scale, p.length_x, p.length_y, p.reading_error])


def _parameters(logs: Floats, like: Parameters) -> Parameters:
    scale, length_x, length_y = (float(v) for v in np.exp(logs[:3]))
    error = float(np.exp(logs[3])) if len(logs) > 3 else like.reading_error
    return replace(like, scale=scale, length_x=length_x, length_y=length_y, reading_error=error)


def _bounds(error: float) -> tuple[Floats, Floats]:
    low = np.log([min(error, 0.5) / 20, 150.0, 150.0, LEAST_ERROR_MM])
    high = np.log([300.0, 30000.0, 30000.0, MOST_ERROR_MM])
    return low, high
