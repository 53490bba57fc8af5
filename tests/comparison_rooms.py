"""Pairs of surveys of one simulated room, to hold comparisons against: used by the tests and by the benchmarks."""

from __future__ import annotations

import numpy as np

import flatness
import simulated_rooms as rooms

GX, GY, STEP, ERROR = rooms.GX, rooms.GY, rooms.SPACING, rooms.READING_ERROR


def grid(step, start=0):
    """Indices of every ``step``-th node of the room's 6 in lattice, from node ``start``."""
    return tuple(index.ravel() for index in np.mgrid[start : GX.shape[0] : step, start : GX.shape[1] : step])


def scattered(count, seed):
    chosen = np.random.default_rng(seed).choice(GX.size, count, replace=False)
    return np.unravel_index(chosen, GX.shape)


def read(height, nodes, seed, error=ERROR, **attributes):
    iy, ix = nodes
    noise = np.random.default_rng(seed).normal(0, error, len(ix))
    return flatness.make_survey(ix * STEP, iy * STEP, height[iy, ix] + noise, accuracy=error, **attributes)


def changes(share, rng):
    """Cones of 3 to 8 mm, 2 to 5 ft all round, up and down, until they cover a share of the room by 0.3 mm or more."""
    out = np.zeros_like(GX)
    while (np.abs(out) > 0.3).mean() < share:
        x, y, reach = rng.uniform(0, GX.max()), rng.uniform(0, GY.max()), rng.uniform(600, 1500)
        bowl = np.maximum(0, 1 - np.hypot(GX - x, GY - y) ** 2 / reach**2)
        out += rng.choice([-1, 1]) * rng.uniform(3, 8) * bowl
    return out
