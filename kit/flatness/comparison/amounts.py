"""Areas and volumes of change, cut and fill apart, and how each node's error moves them.

Every cell is four triangles about its middle, as in :mod:`flatness.planning.volumes`; each triangle is split where
the change goes through zero, or through the limit of detection, so that the sides count for themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.planning.volumes import node_areas

KINDS = ("cut", "fill")


@dataclass(frozen=True, eq=False)
class Amount:
    """An area and a volume, and how they move with the difference at each node.

    Attributes
    ----------
    area : [mm2]; ``volume`` : [mm3], zero or more
    area_share : [ny, nx] mm, change of the area per mm of change of the difference at a node
    volume_share : [ny, nx] mm2, change of the volume per mm; that of a whole node is the area it stands for
    """

    area: float
    volume: float
    area_share: Floats
    volume_share: Floats


def amount_beyond(difference: Floats, bound: Floats, error: Floats, spacing: float, kind: str) -> Amount:
    """What was cut or filled by more than a bound.

    Parameters
    ----------
    difference : [ny, nx] mm, after minus before; NaN where there is none
    bound : [ny, nx] mm, zero or more; where the change stays within it, it does not count
    error : [ny, nx] mm, of the difference: how far the line of the bound may lie astray
    spacing : lattice step [mm]
    kind : ``cut`` or ``fill``

    Returns
    -------
    Amount : over the places where the change, in the direction asked for, is beyond the bound; the whole of the
        change counts there, not only what is beyond
    """
    sign = 1.0 if kind == "fill" else -1.0
    change = sign * difference
    triangles, area, nodes = _triangles(difference.shape, np.isfinite(difference), spacing)
    g, b, e = (triangles(values) for values in (change, bound, error))
    here_area, here_volume = _beyond(g, b, area)
    # the line moves when all corners of a triangle move together: by their own error to either side
    step = np.maximum(e.mean(axis=0), 1e-9)
    up, down = _beyond(g + step, b, area), _beyond(g - step, b, area)
    shares = [
        _scatter(sign * (high - low) / (2 * step), nodes, difference.shape) for high, low in zip(up, down, strict=True)
    ]
    return Amount(float(here_area.sum()), float(here_volume.sum()), shares[0], shares[1])


def net_amount(difference: Floats, spacing: float) -> tuple[float, Floats]:
    """Net volume [mm3] of a difference [ny, nx] mm, fill less cut of every place, and each node's share [mm2]."""
    inside = np.isfinite(difference)
    area = node_areas(inside, spacing)
    return float((area * np.where(inside, difference, 0.0)).sum()), area


Lifted = Callable[[Floats], Floats]


def _triangles(
    shape: tuple[int, ...], inside: NDArray[np.bool_], spacing: float
) -> tuple[Lifted, Floats, list[tuple[Floats, Floats]]]:
    """How nodes' values become triangles' [3, n], the triangles' areas [n] mm2, and which nodes each rests on.

    Returns (values [ny, nx] -> [3, n], areas, [(index of node [n], weight [n]), ...]).
    """
    index = np.arange(int(np.prod(shape))).reshape(shape)
    ring = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]])
    known = inside.ravel()[ring]
    whole = ring[:, known.all(axis=0)]
    three = known.sum(axis=0) == 3
    lone = ring[:, three].T[known[:, three].T].reshape(-1, 3).T
    count = whole.shape[1]

    def lifted(values: Floats) -> Floats:
        flat = values.ravel()
        corners = flat[whole]
        middle = corners.mean(axis=0)
        sides = [np.stack([corners[k], corners[(k + 1) % 4], middle]) for k in range(4)]
        return np.concatenate([*sides, flat[lone]], axis=1)

    area = spacing**2 * np.concatenate([np.full(4 * count, 0.25), np.full(lone.shape[1], 0.5)])
    nodes: list[tuple[Floats, Floats]] = []
    for corner in range(4):  # the middle's third rests on all four corners
        per_side = [1 / 3 * (corner in (k, (k + 1) % 4)) + 1 / 12 for k in range(4)]
        weight = np.concatenate([*(np.full(count, w) for w in per_side), np.zeros(lone.shape[1])])
        at = np.concatenate([np.tile(whole[corner], 4), np.zeros(lone.shape[1], dtype=int)])
        nodes.append((at, weight))
    for corner in range(3):
        at = np.concatenate([np.zeros(4 * count, dtype=int), lone[corner]])
        nodes.append((at, np.concatenate([np.zeros(4 * count), np.full(lone.shape[1], 1 / 3)])))
    return lifted, area, nodes


def _scatter(values: Floats, nodes: list[tuple[Floats, Floats]], shape: tuple[int, ...]) -> Floats:
    out = np.zeros(int(np.prod(shape)))
    for at, weight in nodes:
        out += np.bincount(at, weights=weight * values, minlength=len(out))
    return out.reshape(shape)


def _beyond(g: Floats, bound: Floats, area: Floats) -> tuple[Floats, Floats]:
    """Area [n] of each triangle where g is above the bound, both linear on it, and the integral [n] of g over it."""
    f = g - bound
    order = np.argsort(f, axis=0)
    low, mid, high = np.take_along_axis(f, order, axis=0)
    g_low, g_mid, g_high = np.take_along_axis(g, order, axis=0)
    share, mean = np.zeros_like(low), np.zeros_like(low)
    full = (low >= 0) & (high > 0)
    share[full], mean[full] = 1.0, ((g_low + g_mid + g_high) / 3)[full]
    one = (high > 0) & (mid <= 0) & ~full  # a corner stands out of the bound
    part, inner = _corner(high[one], mid[one], low[one], g_high[one], g_mid[one], g_low[one])
    share[one], mean[one] = part, inner
    two = (mid > 0) & (low < 0)  # a corner lies within it
    part, inner = _corner(low[two], mid[two], high[two], g_low[two], g_mid[two], g_high[two])
    share[two] = 1 - part
    mean[two] = (g_low + g_mid + g_high)[two] / 3 - inner
    return share * area, mean * area


def _corner(f: Floats, f1: Floats, f2: Floats, g: Floats, g1: Floats, g2: Floats) -> tuple[Floats, Floats]:
    """Share of a triangle cut off at one corner by f = 0, and the integral of g over it per area of the whole."""
    t1, t2 = f / (f - f1), f / (f - f2)
    share = t1 * t2
    return share, share * (3 * g + t1 * (g1 - g) + t2 * (g2 - g)) / 3
