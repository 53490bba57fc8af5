"""Random surfaces as they may be before any reading: Matern 5/2 about a level zero, drawn anywhere at once.

A periodic lattice carries the surface, since there the fast Fourier transform takes the place of factoring a
covariance (Wood and Chan 1994, Simulation of stationary Gaussian processes in [0, 1]^d). Its period goes so far
beyond the places that opposite ends know nothing of one another; its steps are so small beside the correlation
lengths that what lies between is known from the nodes about it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft2, next_fast_len
from scipy.sparse import csr_array

from flatness.arrays import Floats
from flatness.surface.framing import Patch, Ridge, matern52
from flatness.surface.kriging import JITTER, Apart, Parameters, cholesky_factor, surface_covariance

APART = 6.0  # correlation lengths at which a correlation of 1e-4 is left
# nodes a part of a correlation length h apart leave 0.65 h^2.5 of the deviation unknown halfway between four of them
WIDEST, CLOSEST = 1 / 4, 1 / 40
UNKNOWN, OF_ERROR = 0.65, 0.03  # and no more of it is to be unknown than this part of a reading's error
FINEST = 8  # parts of a lattice step; its own nodes are exact in any case
AT_ONCE = 300_000  # nodes of periodic lattices worked on together
FACTORED = 4500  # nodes of a periodic lattice cost a few draws what this many parts of n^3 cost to factor n
AROUND = 6  # nodes each way that a height between them is taken from


@dataclass(frozen=True)
class Extent:
    """Where surfaces are drawn [mm], and the step of a lattice whose first node is the lower left corner."""

    left: float
    right: float
    bottom: float
    top: float
    spacing: float

    def holds(self, x: Floats, y: Floats) -> bool:
        """Whether the places x, y [m] mm all lie in it, or no further off than a step."""
        inside = (self.left - self.spacing <= x) & (x <= self.right + self.spacing)
        return bool(np.all(inside & (self.bottom - self.spacing <= y) & (y <= self.top + self.spacing)))

    def about(self, x: Floats, y: Floats) -> Extent:
        """The part of it, in whole steps, that holds some places x, y [m] mm."""
        left, bottom = (
            first + self.spacing * math.floor((float(at.min()) - first) / self.spacing + 1e-6)
            for first, at in ((self.left, x), (self.bottom, y))
        )
        return Extent(left, float(x.max()), bottom, float(y.max()), self.spacing)

    def on_nodes(self, x: Floats, y: Floats) -> bool:
        """Whether all places x, y [m] mm are nodes of the lattice."""
        steps = np.concatenate([x - self.left, y - self.bottom]) / self.spacing
        return bool(np.all(np.abs(steps - np.round(steps)) < 1e-6))


class Prior:
    """Random surfaces with some parameters at places x, y [m] mm within an extent; what draws share is kept."""

    def __init__(self, p: Parameters, extent: Extent, x: Floats, y: Floats) -> None:
        self._places = x, y
        self._members = [part for part in p.framing if not isinstance(part, Patch)]
        self._waves = [(np.arange(len(x)), np.ones(len(x)), _waves(p, extent, x, y))]
        for part in p.framing:
            if isinstance(part, Patch) and len(here := np.flatnonzero(part.share(x, y))):
                own = Parameters(part.scale, *part.length, p.reading_error)
                waves = _waves(own, extent.about(x[here], y[here]), x[here], y[here])
                self._waves.append((here, part.share(x[here], y[here]), waves))

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """``count`` surfaces [m, count] mm."""
        out = np.zeros((len(self._places[0]), count))
        for here, share, waves in self._waves:
            out[here] += share[:, None] * waves.draw(count, rng)
        for part in self._members:
            out += _draw_members(part, *self._places, count, rng)
        return out


def _draw_members(part: Ridge, x: Floats, y: Floats, count: int, rng: np.random.Generator) -> Floats:
    across, along = part.split(x, y)
    places, which = np.unique(np.round(along, 6), return_inverse=True)
    step = WIDEST / 2 * part.length
    index, weight = _weights((places - places[0]) / step)
    nodes = int(index.max() - index.min()) + 1
    apart = np.abs(np.arange(nodes)[:, None] - np.arange(nodes)) * step
    low = cholesky_factor(matern52(apart / part.length) + JITTER * np.eye(nodes))
    between = np.zeros((len(places), nodes))
    np.put_along_axis(between, index - index.min(), weight, axis=1)
    between = part.scale * (between @ low)
    out = np.zeros((len(x), count))
    members = part.members(across)
    for share in part.shares(across, members).T:
        here = np.flatnonzero(share)
        heights = between @ rng.standard_normal((nodes, count))
        out[here] += share[here, None] * heights[which[here]]
    return out


def _waves(p: Parameters, extent: Extent, x: Floats, y: Floats) -> Waves | Smooth:
    """Surfaces without framing at places x, y [m] mm, by whichever of the two ways is less work."""
    wanted = np.clip((OF_ERROR / UNKNOWN * p.reading_error / p.scale) ** 0.4, CLOSEST, WIDEST)
    exact = extent.on_nodes(x, y)
    step_x, step_y = (_step(wanted * length, extent.spacing, exact) for length in (p.length_x, p.length_y))
    if math.isinf(p.turn):
        across = _nodes(extent.right - extent.left, p.length_x, step_x)
    else:  # the lattice closes as the surface does
        across = round(p.turn / extent.spacing) * max(1, round(extent.spacing / step_x))
        step_x = p.turn / across
    up = _nodes(extent.top - extent.bottom, p.length_y, step_y)
    wide, high = wanted * p.length_x, wanted * p.length_y
    few = ((x.max() - x.min()) / wide + AROUND) * ((y.max() - y.min()) / high + AROUND)
    if math.isinf(p.turn) and few**3 < FACTORED * across * up:
        return Smooth.of(p, (x - x.min()) / wide, wide, (y - y.min()) / high, high)
    between = _between((x - extent.left) / step_x, across, (y - extent.bottom) / step_y, up)
    return Waves(np.sqrt(_spectrum(p, across, step_x, up, step_y)), between)


@dataclass(frozen=True, eq=False)
class Smooth:
    """Surfaces so smooth that a few nodes about the places tell of them.

    Attributes
    ----------
    low : [nodes, nodes] factor of the nodes' covariance
    between : [m, nodes] weights of the nodes at the places
    """

    low: Floats
    between: csr_array

    @classmethod
    def of(cls, p: Parameters, x: Floats, step_x: float, y: Floats, step_y: float) -> Smooth:
        """At places x, y [m], in steps [mm] from the first of them."""
        low = 1 - AROUND // 2
        across, up = (math.floor(float(at.max())) + AROUND for at in (x, y))
        gx, gy = (grid.ravel() for grid in np.meshgrid(np.arange(across) * step_x, np.arange(up) * step_y))
        apart = Apart.of(gx, gy, gx, gy)
        covariance = apart.each(surface_covariance(apart.dx, apart.dy, p))
        covariance[np.diag_indices_from(covariance)] += JITTER * p.scale**2
        return cls(cholesky_factor(covariance), _between(x - low, across, y - low, up))

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """``count`` surfaces [m, count] mm."""
        return np.asarray(self.between @ (self.low @ rng.standard_normal((len(self.low), count))))


@dataclass(frozen=True, eq=False)
class Waves:
    """Surfaces on a periodic lattice, and what places take from its nodes.

    Attributes
    ----------
    root : [up, across] standard deviation of each wave
    between : [m, nodes] weights of the nodes at the places
    """

    root: Floats
    between: csr_array

    def draw(self, count: int, rng: np.random.Generator) -> Floats:
        """``count`` surfaces [m, count] mm."""
        pairs = max(1, AT_ONCE // self.root.size)
        parts = [self._drawn(min(pairs, (count - first + 1) // 2), rng) for first in range(0, count, 2 * pairs)]
        return np.concatenate([self.between @ nodes.T for nodes in parts], axis=1)[:, :count]

    def _drawn(self, pairs: int, rng: np.random.Generator) -> Floats:
        """Two times ``pairs`` surfaces [2 pairs, nodes]: one each as real and imaginary part."""
        noise = rng.standard_normal((2, pairs, *self.root.shape))
        waves = fft2(self.root * (noise[0] + 1j * noise[1]), overwrite_x=True)
        return np.concatenate([waves.real, waves.imag]).reshape(2 * pairs, -1)


def _step(wanted: float, spacing: float, exact: bool) -> float:
    """The step [mm] next under the wanted one of which the lattice's is a multiple, or that is one of it.

    Never under the lattice's own where that is ``exact``, since all places are its nodes.
    """
    if exact or wanted >= spacing:
        return spacing * max(1, math.floor(wanted / spacing))
    return spacing / min(math.ceil(spacing / wanted), FINEST)


def _nodes(extent: float, length: float, step: float) -> int:
    return int(next_fast_len(math.ceil((extent + APART * length) / step) + AROUND))


def _spectrum(p: Parameters, across: int, step_x: float, up: int, step_y: float) -> Floats:
    """[up, across] variance of each wave of the periodic lattice, [mm2] divided by the number of nodes."""
    # the second half of a period mirrors the first
    x, y = np.arange(across // 2 + 1, dtype=np.float64), np.arange(up // 2 + 1, dtype=np.float64)[:, None]
    half = np.zeros((len(y), len(x)))
    # summed over its periods it is a covariance, too: what is left out, from two periods on, is as good as nothing
    for period_x in (0.0, -across) if math.isinf(p.turn) else (0.0,):
        for period_y in (0.0, -up):
            half += surface_covariance(step_x * (x + period_x), step_y * (y + period_y), p)
    to_x, to_y = (np.minimum(np.arange(n), n - np.arange(n)) for n in (across, up))
    covariance = half[np.ix_(to_y, to_x)]
    return np.asarray(np.maximum(fft2(covariance).real, 0.0) / (across * up))


def _between(x: Floats, across: int, y: Floats, up: int) -> csr_array:
    """[m, nodes] weights of the periodic lattice's nodes at places x, y [m], in its steps."""
    (at_x, of_x), (at_y, of_y) = (np.unique(at, return_inverse=True) for at in (x, y))
    (ix, wx), (iy, wy) = _weights(at_x), _weights(at_y)
    index = ((iy % up) * across)[of_y][:, :, None] + (ix % across)[of_x][:, None, :]
    weight = wy[of_y][:, :, None] * wx[of_x][:, None, :]
    keep = weight != 0.0
    first = np.concatenate([[0], np.cumsum(keep.sum(axis=(1, 2)))])
    return csr_array((weight[keep], index[keep], first), shape=(len(x), up * across))


def _weights(at: Floats) -> tuple[NDArray[np.intp], Floats]:
    """The nodes [m, AROUND] about each place and their weights: the polynomial through them (Lagrange)."""
    at = np.where(np.abs(at - np.round(at)) < 1e-6, np.round(at), at)
    first = np.floor(at).astype(np.intp) - (AROUND // 2 - 1)
    index = first[:, None] + np.arange(AROUND)
    weight = np.ones(index.shape)
    for k in range(AROUND):
        for j in range(AROUND):
            if j != k:
                weight[:, k] *= (at - index[:, j]) / (k - j)
    return index, weight
