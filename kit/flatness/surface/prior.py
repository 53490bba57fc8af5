"""Random surfaces as they may be before any reading: Matern 5/2 about a level zero, drawn anywhere at once.

A periodic lattice carries the surface, since there the fast Fourier transform takes the place of factoring a
covariance (Wood and Chan 1994, Simulation of stationary Gaussian processes in [0, 1]^d). Its period goes so far
beyond the places that opposite ends know nothing of one another; its steps are so small beside the correlation
lengths that what lies between is known from the nodes about it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft2, next_fast_len
from scipy.sparse import csr_array

from flatness.surface.framing import Patch, Ridge
from flatness.surface.kriging import JITTER, Parameters, cholesky_factor, matern52, surface_covariance
from flatness.survey.readings import Floats

APART = 6.0  # correlation lengths at which a correlation of 1e-4 is left
# nodes a part of a correlation length h apart leave 0.65 h^2.5 of the deviation unknown halfway between four of them
WIDEST, CLOSEST = 1 / 4, 1 / 40
UNKNOWN, OF_ERROR = 0.65, 0.03  # and no more of it is to be unknown than this part of a reading's error
FINEST = 8  # parts of a lattice step; its own nodes are exact in any case
AT_ONCE = 300_000  # nodes of periodic lattices worked on together
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


def draw_prior(p: Parameters, extent: Extent, x: Floats, y: Floats, count: int, rng: np.random.Generator) -> Floats:
    """``count`` random surfaces [m, count] mm at places x, y [m] mm, within the extent."""
    out = _draw(replace(p, rough_scale=0.0), extent, x, y, count, rng)
    if p.rough_scale > 0:
        short = replace(
            p, scale=p.rough_scale, length_x=p.rough_length, length_y=p.rough_length, rough_scale=0.0
        )  # fmt: skip
        out += _draw(short, extent, x, y, count, rng)
    for part in p.framing:
        if isinstance(part, Patch):
            here = np.flatnonzero(part.share(x, y))
            own = replace(p, scale=part.scale, length_x=part.length, length_y=part.length, rough_scale=0.0)
            drawn = _draw(own, extent, x[here], y[here], count, rng) if len(here) else np.zeros((0, count))
            out[here] += part.share(x[here], y[here])[:, None] * drawn
        else:
            out += _draw_framing(part, x, y, count, rng)
    return out


def _draw_framing(part: Ridge, x: Floats, y: Floats, count: int, rng: np.random.Generator) -> Floats:
    across, along = part.split(x, y)
    step = WIDEST / 2 * part.length
    index, weight = _weights((along - along.min()) / step)
    nodes = int(index.max() - index.min()) + 1
    apart = np.abs(np.arange(nodes)[:, None] - np.arange(nodes)) * step
    low = cholesky_factor(matern52(apart / part.length) + JITTER * np.eye(nodes))
    between = np.zeros((len(x), nodes))
    np.put_along_axis(between, index - index.min(), weight, axis=1)
    out = np.zeros((len(x), count))
    members = part.members(across)
    for share in part.shares(across, members).T:
        here = np.flatnonzero(share)
        heights = part.scale * (low @ rng.standard_normal((nodes, count)))
        out[here] += share[here, None] * (between[here] @ heights)
    return out


def _draw(p: Parameters, extent: Extent, x: Floats, y: Floats, count: int, rng: np.random.Generator) -> Floats:
    wanted = np.clip((OF_ERROR / UNKNOWN * p.reading_error / p.scale) ** 0.4, CLOSEST, WIDEST)
    step_x, step_y = (_step(wanted * length, extent.spacing) for length in (p.length_x, p.length_y))
    across = _nodes(extent.right - extent.left, p.length_x, step_x)
    up = _nodes(extent.top - extent.bottom, p.length_y, step_y)
    root = np.sqrt(_spectrum(p, across, step_x, up, step_y))
    between = _between((x - extent.left) / step_x, across, (y - extent.bottom) / step_y, up)
    pairs = max(1, AT_ONCE // root.size)
    parts = [_waves(root, min(pairs, (count - first + 1) // 2), rng) for first in range(0, count, 2 * pairs)]
    return np.concatenate([between @ waves.T for waves in parts], axis=1)[:, :count]


def _waves(root: Floats, pairs: int, rng: np.random.Generator) -> Floats:
    """Two times ``pairs`` surfaces [2 pairs, nodes] on the periodic lattice: one each as real and imaginary part."""
    noise = rng.standard_normal((2, pairs, *root.shape))
    waves = fft2(root * (noise[0] + 1j * noise[1]), overwrite_x=True)
    return np.concatenate([waves.real, waves.imag]).reshape(2 * pairs, -1)


def _step(wanted: float, spacing: float) -> float:
    """The step [mm] next under the wanted one of which the lattice's is a multiple, or that is one of it."""
    if wanted >= spacing:
        return spacing * math.floor(wanted / spacing)
    return spacing / min(math.ceil(spacing / wanted), FINEST)


def _nodes(extent: float, length: float, step: float) -> int:
    return int(next_fast_len(math.ceil((extent + APART * length) / step) + AROUND))


def _spectrum(p: Parameters, across: int, step_x: float, up: int, step_y: float) -> Floats:
    """[up, across] variance of each wave of the periodic lattice, [mm2] divided by the number of nodes."""
    x, y = np.arange(across, dtype=np.float64), np.arange(up, dtype=np.float64)[:, None]
    covariance = np.zeros((up, across))
    # summed over its periods it is a covariance, too: what is left out, from two periods on, is as good as nothing
    for period_x in (0.0, -across):
        for period_y in (0.0, -up):
            covariance += surface_covariance(step_x * (x + period_x), step_y * (y + period_y), p)
    return np.maximum(fft2(covariance).real, 0.0) / (across * up)


def _between(x: Floats, across: int, y: Floats, up: int) -> csr_array:
    """[m, nodes] weights of the periodic lattice's nodes at places x, y [m], in its steps."""
    (ix, wx), (iy, wy) = _weights(x), _weights(y)
    index = (iy % up)[:, :, None] * across + (ix % across)[:, None, :]
    weight = wy[:, :, None] * wx[:, None, :]
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
