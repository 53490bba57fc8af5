"""Universal kriging with Matern 5/2 correlation: the mathematics under the likely surface.

Heights are a linear trend plus a random surface plus reading error. The restricted likelihood (Patterson and
Thompson 1971) takes the trend out before the parameters are judged. Formulas as in Rasmussen and Williams,
Gaussian Processes for Machine Learning (2006), sections 2.2, 2.7 and 5.4.1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs

from flatness.arrays import Floats
from flatness.surface.framing import SQRT5, Joists, Patch, Ridge, matern52

AT_ONCE = 500  # places whose covariance with the stations is at hand together: it stays in the cache
MOST_PAIRS, MOST_UNITS = 1_000_000, 16  # of a place and a station, and parts of the framing, of which it is kept
JITTER = 1e-9  # share of the variance added to a covariance's diagonal before it is factored


@dataclass(frozen=True)
class Parameters:
    """Parameters of a likely surface, all in mm.

    Attributes
    ----------
    scale : standard deviation of the surface about its plane
    length_x, length_y : correlation length along x and along y
    reading_error : standard deviation of one reading
    joists : members beneath that each stand a little on their own, where their layout is known
    ridges : members, and patches, that stand out besides
    turn : after how long x comes back to where it began [mm]; infinite where it does not
    """

    scale: float
    length_x: float
    length_y: float
    reading_error: float
    joists: Joists | None = None
    ridges: tuple[Ridge | Patch, ...] = ()
    turn: float = math.inf

    def apart_along_x(self, dx: Floats) -> Floats:
        """Distances along x [mm] as they count: of a surface that closes, straight across a circle as long as it.

        So places either side of the seam are near, and the covariance stays one: it is that of places in space.
        """
        return dx if math.isinf(self.turn) else self.turn / math.pi * np.sin(math.pi / self.turn * dx)

    @property
    def framing(self) -> tuple[Ridge | Patch, ...]:
        """All that framing and patches add to the surface."""
        return self.ridges if self.joists is None else (self.joists, *self.ridges)

    def variance(self, x: Floats, y: Floats) -> Floats | float:
        """Variance [m] mm2 of the surface about its trend at places x, y [m] mm."""
        out: Floats | float = self.scale**2
        for part in self.framing:
            out = out + part.variance(x, y)
        return out


@dataclass(frozen=True, eq=False)
class Apart:
    """How far places lie from others: on a grid few distances recur, and each is worked with once.

    Attributes
    ----------
    dx, dy : [mm] along x and along y: of each pair [m, n], or the distinct ones [k, 1], [l]
    which : [m, n] number of each pair in a table [k, l]; None where each stands for itself
    """

    dx: Floats
    dy: Floats
    which: NDArray[np.intp] | None

    @classmethod
    def of(cls, x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> Apart:
        """Of places x, y [m] mm and to_x, to_y [n] mm."""
        (dx, of_x), (dy, of_y) = _distinct(x, to_x), _distinct(y, to_y)
        if 2 * len(dx) * len(dy) > of_x.size:
            return cls(x[:, None] - to_x, y[:, None] - to_y, None)
        return cls(dx[:, None], dy, of_x * len(dy) + of_y)

    def each(self, table: Floats) -> Floats:
        """[m, n], for each pair what a table has for its distance."""
        return table if self.which is None else table.ravel().take(self.which)

    def summed(self, pairs: Floats) -> Floats:
        """The pairs' numbers [m, n], those of one distance summed."""
        if self.which is None:
            return pairs
        sums = np.bincount(self.which.ravel(), pairs.ravel(), minlength=len(self.dx) * len(self.dy))
        return np.asarray(sums.reshape(len(self.dx), len(self.dy)), dtype=np.float64)


def _distinct(places: Floats, others: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """The distinct distances [k] mm of places [m] from others [n], and which of them each pair has [m, n]."""
    (a, of_a), (b, of_b) = (np.unique(np.round(at, 6), return_inverse=True) for at in (places, others))
    apart, which = np.unique(np.round(np.abs(a[:, None] - b), 6), return_inverse=True)
    return np.asarray(apart, dtype=np.float64), which.reshape(len(a), len(b))[np.ix_(of_a, of_b)]


@dataclass(frozen=True, eq=False)
class Stations:
    """Distinct stations: x, y, mean height [n] mm, how often each was read [n], and how far each may be off besides.

    The last is one standard deviation [n] mm, or None: none is doubted.
    """

    x: Floats
    y: Floats
    height: Floats
    count: NDArray[np.int64]
    doubt: Floats | None = None

    @cached_property
    def apart(self) -> Apart:
        """How far they lie from one another."""
        return Apart.of(self.x, self.y, self.x, self.y)

    def chosen(self, index: NDArray[np.intp]) -> Stations:
        doubt = None if self.doubt is None else self.doubt[index]
        return Stations(self.x[index], self.y[index], self.height[index], self.count[index], doubt)

    def error_variance(self, p: Parameters) -> Floats:
        """[n] mm2 of the heights of the stations, as read, about the surface."""
        own: Floats = p.reading_error**2 / self.count + JITTER * p.scale**2
        return own if self.doubt is None else own + self.doubt**2


def surface_covariance(dx: Floats, dy: Floats, p: Parameters) -> Floats:
    """Covariance [mm2] of the surface between places dx, dy [mm] apart, without framing."""
    out = matern52(np.sqrt((p.apart_along_x(dx) / p.length_x) ** 2 + (dy / p.length_y) ** 2))
    out *= p.scale**2
    return out


def covariance(x: Floats, y: Floats, to_x: Floats, to_y: Floats, p: Parameters) -> Floats:
    """Covariance [m, k] mm2 of the surface between places x, y [m] mm and to_x, to_y [k] mm, framing and all."""
    out = surface_covariance(x[:, None] - to_x, y[:, None] - to_y, p)
    for part in p.framing:
        out += part.covariance(x, y, to_x, to_y)
    return out


def trend(x: Floats, y: Floats, turn: float = math.inf) -> Floats:
    """[n, 3] columns of the linear trend, scaled to the size of a room so that they are well conditioned.

    [n, 4] of a surface that closes: a curve that stands off to one side takes the place of a slope along x.
    """
    around = 2 * math.pi * x / turn
    along = (x / 1000.0,) if math.isinf(turn) else (np.cos(around), np.sin(around))
    return np.column_stack([np.ones_like(x), *along, y / 1000.0])


# LAPACK itself: with the few dozen stations of a room SciPy's checks cost more than what they check


def cholesky_factor(a: Floats) -> Floats:
    """Lower factor of a symmetric matrix, which may be overwritten; LinAlgError where it is not positive definite."""
    low, failed = dpotrf(a, lower=1, clean=1, overwrite_a=1)
    if failed:
        raise LinAlgError("the matrix is not positive definite")
    out: Floats = low
    return out


def _whitened(low: Floats, columns: Floats) -> Floats:
    """low^-1 columns."""
    out: Floats = dtrtrs(low, columns, lower=1)[0]
    return out


def _solved(low: Floats, columns: Floats) -> Floats:
    """(low low')^-1 columns."""
    out: Floats = dpotrs(low, columns, lower=1)[0]
    return out


@dataclass(frozen=True, eq=False)
class Factored:
    """The readings' covariance K factored, with the trend's part in it."""

    low: Floats  # K = low low'
    white_trend: Floats  # low^-1 H
    white_height: Floats  # low^-1 z
    gram_low: Floats  # H' K^-1 H = gram_low gram_low'
    turn: float = math.inf  # of its trend

    @property
    def coefficients(self) -> Floats:
        return _solved(self.gram_low, self.white_trend.T @ self.white_height)


def factor(stations: Stations, p: Parameters) -> Factored:
    """Factor the covariance of the readings; LinAlgError where it is not positive definite."""
    apart = stations.apart
    k = apart.each(surface_covariance(apart.dx, apart.dy, p))
    for part in p.framing:
        k += _among(stations, part)
    k[np.diag_indices_from(k)] += stations.error_variance(p)
    low = cholesky_factor(k)
    h = trend(stations.x, stations.y, p.turn)
    white = _whitened(low, np.column_stack([h, stations.height]))
    gram_low = cholesky_factor(white[:, :-1].T @ white[:, :-1])
    return Factored(low, white[:, :-1], white[:, -1], gram_low, p.turn)


def fitted_trend(f: Factored, heights: Floats) -> Floats:
    """Coefficients [3] or [3, k] of the trend of heights [n] or [n, k] mm at the stations that were factored."""
    return _solved(f.gram_low, f.white_trend.T @ _whitened(f.low, heights))


def _among(stations: Stations, part: Ridge | Patch) -> Floats:
    """Covariance [n, n] mm2 that a part of the framing adds between stations."""
    if len(stations.x) > AT_ONCE:
        return part.covariance(stations.x, stations.y, stations.x, stations.y)
    return np.asarray(part.scale**2 * _unit_among(stations, part.unit))


@lru_cache(maxsize=32)  # a fit tries many parameters on few stations, and of framing only the scale changes
def _unit_among(stations: Stations, part: Ridge | Patch) -> Floats:
    return part.covariance(stations.x, stations.y, stations.x, stations.y)


def restricted_log_likelihood(stations: Stations, p: Parameters) -> float:
    """Logarithm of the restricted likelihood of the parameters; minus infinity where they cannot be."""
    try:
        f = factor(stations, p)
    except LinAlgError:
        return -math.inf
    return _log_likelihood(f)


def _log_likelihood(f: Factored) -> float:
    rest = f.white_height - f.white_trend @ f.coefficients
    n, m = f.white_trend.shape
    return float(
        -np.log(np.diag(f.low)).sum()
        - np.log(np.diag(f.gram_low)).sum()
        - 0.5 * rest @ rest
        - 0.5 * (n - m) * math.log(2 * math.pi)
    )


def projection(f: Factored) -> Floats:
    """[n, n] P = K^-1 - K^-1 H (H' K^-1 H)^-1 H' K^-1, which takes the trend out."""
    inverse = _solved(f.low, np.eye(len(f.low)))
    across = _whitened(f.gram_low, f.white_trend.T)  # gram^-1/2 H' low^-T
    spread = dtrtrs(f.low, across.T, lower=1, trans=1)[0]  # K^-1 H gram^-1/2'
    out: Floats = inverse - spread @ spread.T
    return out


def likelihood_gradient(stations: Stations, p: Parameters) -> tuple[float, Floats]:
    """Restricted log likelihood and its gradient in the logarithms of scale, length_x, length_y, reading_error.

    Before that of the reading error stands that of the joists' scale, where there are joists.
    """
    try:
        f = factor(stations, p)
    except LinAlgError:
        return -math.inf, np.zeros(4 if p.joists is None else 5)
    proj = projection(f)
    alpha = proj @ stations.height
    # d log L / d t = (alpha' dK alpha - tr(P dK)) / 2 = sum((alpha alpha' - P) * dK) / 2
    weight = np.outer(alpha, alpha) - proj
    apart = stations.apart
    dx2, dy2 = (p.apart_along_x(apart.dx) / p.length_x) ** 2, (apart.dy / p.length_y) ** 2
    scaled = SQRT5 * np.sqrt(dx2 + dy2)
    decay = apart.summed(weight) * p.scale**2 * np.exp(-scaled)
    bend = decay * (1 + scaled) * (5 / 3)
    of_joists = [] if p.joists is None else [np.sum(weight * _among(stations, p.joists))]
    gradient = np.array(
        [
            np.sum(decay * (1 + scaled + scaled * scaled / 3)) + JITTER * p.scale**2 * np.trace(weight),
            0.5 * np.sum(bend * dx2),
            0.5 * np.sum(bend * dy2),
            *of_joists,
            np.sum(np.diag(weight) * p.reading_error**2 / stations.count),
        ]
    )
    return _log_likelihood(f), gradient


def predict(
    stations: Stations, p: Parameters, x: Floats, y: Floats, factored: Factored | None = None
) -> tuple[Floats, Floats, Floats]:
    """Best estimate [m] mm at places x, y [m], and what its covariance is made of.

    Returns mean [m], V [n, m] and W [3, m]: covariance = prior - V' V + W' W, whose second part is what the
    readings take away and the third what not knowing the trend adds. ``factored`` is what :func:`factor` gives for
    these stations and parameters, where it is at hand.
    """
    f = factored or factor(stations, p)
    prior = covariance(stations.x, stations.y, x, y, p)
    v = _whitened(f.low, prior)
    h = trend(x, y, p.turn)
    w = _whitened(f.gram_low, h.T - f.white_trend.T @ v)
    beta = f.coefficients
    mean: Floats = h @ beta + v.T @ (f.white_height - f.white_trend @ beta)
    return mean, v, w


def reading_errors(stations: Stations, p: Parameters, count: int, rng: np.random.Generator) -> Floats:
    """[n, count] mm errors of reading as :func:`factor` takes them to be."""
    deviation = np.sqrt(stations.error_variance(p))
    out: Floats = deviation[:, None] * rng.standard_normal((len(deviation), count))
    return out


def conditioned(
    stations: Stations, f: Factored, x: Floats, y: Floats, to_stations: Iterable[Floats], there: Floats, read: Floats
) -> Floats:
    """Random surfaces made to agree with the readings [m, k] mm (Matheron's rule).

    ``there`` [m, k] mm are surfaces without a trend at places x, y [m], ``read`` [n, k] mm readings of the same
    surfaces at the stations. What the readings that were taken differ from those is kriged, with its own trend, and
    added. ``f`` is the stations' covariance, ``to_stations`` that of the places with them, some rows at a time.
    """
    white = _whitened(f.low, stations.height[:, None] - read)
    beta = _solved(f.gram_low, f.white_trend.T @ white)
    weight = dtrtrs(f.low, white - f.white_trend @ beta, lower=1, trans=1)[0]
    out: Floats = there + trend(x, y, f.turn) @ beta
    first = 0
    for rows in to_stations:
        out[first : first + len(rows)] += rows @ weight
        first += len(rows)
    return out


class ToStations:
    """Covariance of places x, y [m] mm with the stations under one set of parameters after another.

    What all of them share is kept, where the pairs are few enough.
    """

    def __init__(self, stations: Stations, x: Floats, y: Floats) -> None:
        self._stations, self._x, self._y = stations, x, y
        self._parts = [slice(first, first + AT_ONCE) for first in range(0, len(x), AT_ONCE)]
        self._apart: list[Apart] = []
        self._units: dict[Ridge | Patch, list[Floats]] = {}

    def rows(self, p: Parameters) -> Iterator[Floats]:
        """[some, n] mm2, some places at a time."""
        to_x, to_y = self._stations.x, self._stations.y
        if len(self._x) * len(to_x) > MOST_PAIRS:
            for part in self._parts:
                yield covariance(self._x[part], self._y[part], to_x, to_y, p)
            return
        if not self._apart:
            self._apart = [Apart.of(self._x[part], self._y[part], to_x, to_y) for part in self._parts]
        units = [(part.scale**2, self._unit(part.unit)) for part in p.framing]
        for number, apart in enumerate(self._apart):
            out = apart.each(surface_covariance(apart.dx, apart.dy, p))
            for variance, unit in units:
                out += variance * unit[number]
            yield out

    def _unit(self, of: Ridge | Patch) -> list[Floats]:
        if of not in self._units:
            if len(self._units) >= MOST_UNITS:
                self._units.clear()
            to_x, to_y = self._stations.x, self._stations.y
            self._units[of] = [of.covariance(self._x[part], self._y[part], to_x, to_y) for part in self._parts]
        return self._units[of]


def left_out(stations: Stations, p: Parameters, factored: Factored | None = None) -> Floats:
    """Each reading against its prediction from all the others, in units of that prediction's own error [n]."""
    proj = projection(factored or factor(stations, p))
    out: Floats = proj @ stations.height / np.sqrt(np.diag(proj))
    return out
