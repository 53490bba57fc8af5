"""Rooms whose true surface is known, to hold verdicts against: used by the tests and by the benchmarks.

Each room is 16 ft x 20 ft. Its true largest gap under a 10 ft straightedge is spread evenly, on a logarithmic scale,
from a quarter of the limit to four times the limit; readings are good to 1/32 in (one standard deviation).
"""

import math

import numpy as np

import flatness
from flatness.measures.bars import gap_map

FT = 304.8
SPACING = 152.4
BAR = 10 * FT
LIMIT = 4.7625  # 3/16 in
READING_ERROR = 25.4 / 32
GX, GY = np.meshgrid(np.arange(33) * SPACING, np.arange(41) * SPACING)


def smooth(rng):
    """A random surface without a direction, its waves some 10 to 30 ft long."""
    length = rng.uniform(4, 12) * FT
    k, phase = rng.normal(size=(2, 400)) / length, rng.uniform(0, 2 * np.pi, 400)
    waves = np.cos(GX[..., None] * k[0] + GY[..., None] * k[1] + phase)
    return np.sqrt(2 / 400) * waves.sum(axis=-1)


def long_waves(rng):
    """Waves of 8 to 20 ft along one direction, swelling slowly along the other, on a slightly uneven ground."""
    along, across = (GX, GY) if rng.random() < 0.5 else (GY, GX)
    wave, swell = rng.uniform(8, 20) * FT, 20 * FT
    height = np.sin(2 * np.pi * along / wave + rng.uniform(0, 2 * np.pi))
    return height * (1 + 0.2 * np.sin(2 * np.pi * across / swell + rng.uniform(0, 6))) + 0.3 * smooth(rng)


def ridge_or_seam(rng):
    """A ridge 2 to 6 ft wide, or a seam where one side stands higher, on a slightly uneven ground."""
    along = GX if rng.random() < 0.5 else GY
    off = (along - rng.uniform(0.2, 0.8) * along.max()) / (rng.uniform(1, 3) * FT)
    return (np.exp(-0.5 * off**2) if rng.random() < 0.5 else np.tanh(off)) + 0.3 * smooth(rng)


def short_waves(step):
    """Waves of half to just under twice the stations' step: too short for the stations."""

    def waves(rng):
        along = GX if rng.random() < 0.5 else GY
        return np.sin(2 * np.pi * along / (rng.uniform(0.5, 0.95) * 2 * step) + rng.uniform(0, 2 * np.pi))

    return waves


KINDS = {"smooth": smooth, "long waves": long_waves, "ridge or seam": ridge_or_seam}


def largest_gap(height):
    return float(np.nanmax(gap_map(height, SPACING, BAR)))


def room(shape, seed):
    """True heights [ny, nx] mm of a room and its true largest gap [mm]."""
    rng = np.random.default_rng(seed)
    height = shape(rng)
    gap = LIMIT * math.exp(rng.uniform(-math.log(4), math.log(4)))
    height = height * gap / largest_gap(height)
    return height + GX * rng.normal(0, 0.002) + GY * rng.normal(0, 0.002), gap


def survey(height, feet, seed, extra=None):
    """Readings on a grid of so many feet, and at extra nodes [(iy, ix), ...] besides."""
    rng = np.random.default_rng([seed, feet])
    k = round(feet * FT / SPACING)
    iy, ix = (index.ravel() for index in np.mgrid[0 : height.shape[0] : k, 0 : height.shape[1] : k])
    read = height[iy, ix] + rng.normal(0, READING_ERROR, len(ix))
    if extra is not None:
        jy, jx = np.array(extra).T
        more = height[jy, jx] + np.random.default_rng([seed, feet, 1]).normal(0, READING_ERROR, len(jx))
        iy, ix, read = np.concatenate([iy, jy]), np.concatenate([ix, jx]), np.concatenate([read, more])
    return flatness.make_survey(ix * SPACING, iy * SPACING, read, accuracy=READING_ERROR)


def limit():
    return flatness.straightedge_limit(BAR, LIMIT)
