"""How much is cut and how much is filled, split where the change goes through zero.

Summing proud and shy corners of a cell apart overstates both: where a cell is cut at one corner and filled
at the next, the line of no change runs through it and each side counts for itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.surface.lattice import turn_of


@dataclass(frozen=True)
class CutAndFill:
    """What comes off and what is added; all four are zero or more.

    Attributes
    ----------
    cut_volume, fill_volume : [mm3]
    cut_area, fill_area : area over which the change is below, and above, zero [mm2]
    """

    cut_volume: float
    fill_volume: float
    cut_area: float
    fill_area: float


def cut_and_fill(change: ArrayLike, spacing: float) -> CutAndFill:
    """Cut and fill of a change of height over a square lattice, split at the line of no change.

    Parameters
    ----------
    change : [ny, nx] mm, adding positive; NaN where there is no surface
    spacing : lattice step [mm]

    Returns
    -------
    CutAndFill

    Raises
    ------
    ArgumentError : a change that is not [ny, nx], or a spacing that is not above zero

    Notes
    -----
    Each cell is four triangles about its middle, whose height is the mean of its four corners. That is exact
    for the triangles, treats both diagonals alike, and its net volume is the bilinear cell's. A cell of which
    one corner is missing counts as the triangle of the other three; cells of which more is missing do not count.

    Examples
    --------
    >>> cut_and_fill([[3.0, 3.0], [-1.0, -1.0]], 100.0).fill_area
    7500.0
    """
    z = np.asarray(change, dtype=np.float64)
    if z.ndim != 2:
        raise ArgumentError("the change must be two-dimensional, [ny, nx]", value=str(z.shape))
    corners, whole = _cells(z, spacing)
    ring = corners[:, whole]
    middle = ring.mean(axis=0)
    sides = [np.stack([ring[k], ring[(k + 1) % 4], middle]) for k in range(4)]
    lone = corners[:, np.isfinite(corners).sum(axis=0) == 3]
    # the three finite corners of each such cell, in any order
    left = np.sort(lone, axis=0)[:3]
    triangles = np.concatenate([*sides, left], axis=1)
    area = spacing**2 * np.concatenate([np.full(4 * ring.shape[1], 0.25), np.full(left.shape[1], 0.5)])
    fill_volume, fill_area = _above_zero(triangles, area)
    cut_volume, cut_area = _above_zero(-triangles, area)
    return CutAndFill(cut_volume, fill_volume, cut_area, fill_area)


def node_areas(inside: NDArray[np.bool_], spacing: float) -> Floats:
    """The area [ny, nx] mm2 that each node stands for: a quarter of every whole cell it is a corner of.

    A triangle left of a cell that misses one corner gives a third to each of its three. A node that is a corner
    of neither counts for a quarter of a cell, so that no change is free; nodes outside count nothing. The sum
    of area x change is the net volume of :func:`cut_and_fill`, but for such single nodes.

    Examples
    --------
    >>> node_areas(np.ones((2, 3), dtype=bool), 2.0).tolist()
    [[1.0, 2.0, 1.0], [1.0, 2.0, 1.0]]
    """
    corners, whole = _cells(np.where(inside, 0.0, np.nan), spacing)
    three = np.isfinite(corners).sum(axis=0) == 3
    share = spacing**2 * (whole / 4 + three / 6)
    ny, nx = inside.shape
    area = np.zeros((ny, share.shape[1] + 1))
    for part in (np.s_[:-1, :-1], np.s_[:-1, 1:], np.s_[1:, 1:], np.s_[1:, :-1]):
        area[part] += share
    area[:, 0] += area[:, nx:].sum(axis=1)
    area = area[:, :nx]
    area[area == 0] = spacing**2 / 4
    area[~inside] = 0
    return area


def _cells(z: Floats, spacing: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Corners of each cell in turn round it, [4, ny - 1, nx - 1], and which cells have all four.

    Where the surface closes its last column is followed by its first: nx cells a row.
    """
    if not (math.isfinite(spacing) and spacing > 0):
        raise ArgumentError("spacing out of range", value=str(spacing), expected="millimetres above zero")
    if not math.isinf(turn_of(spacing)):
        z = np.hstack([z, z[:, :1]])
    corners = np.stack([z[:-1, :-1], z[:-1, 1:], z[1:, 1:], z[1:, :-1]])
    whole: NDArray[np.bool_] = np.all(np.isfinite(corners), axis=0)
    return corners, whole


def _above_zero(triangles: Floats, area: Floats) -> tuple[float, float]:
    """Volume between zero and the parts of triangles [3, n] that stand above it, and the area of those parts."""
    low, mid, high = np.sort(triangles, axis=0)
    fraction, height = np.zeros_like(low), np.zeros_like(low)  # of the area above zero, and the mean over all of it
    full = (low >= 0) & (high > 0)
    fraction[full], height[full] = 1.0, (low + mid + high)[full] / 3
    one = (high > 0) & (mid <= 0) & ~full
    h, m, w = high[one], mid[one], low[one]
    fraction[one] = h / (h - m) * (h / (h - w))
    height[one] = fraction[one] * h / 3
    two = (mid > 0) & (low < 0)
    h, m, w = high[two], mid[two], low[two]
    below = w / (w - m) * (w / (w - h))
    fraction[two] = 1 - below
    height[two] = (h + m + w) / 3 - below * w / 3
    return float(height @ area), float(fraction @ area)
