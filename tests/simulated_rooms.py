"""Rooms whose true surface is known, to hold verdicts against: used by the tests and by the benchmarks.

Each plain room is 16 ft x 20 ft. Its true largest gap under a 10 ft straightedge is spread evenly, on a logarithmic
scale, from a quarter of the limit to four times the limit; readings are good to 1/32 in (one standard deviation).

Framed rooms are 14 ft x 20 ft over joists at 16 in, each of which stands off on its own, and their true gap is what
comes of it. In one of five a joist stands out besides.
"""

import math

import numpy as np

import flatness
from flatness.measures.bars import gap_map
from flatness.survey.readings import Framing

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


def largest_gap(height, spacing=SPACING):
    return float(np.nanmax(gap_map(height, spacing, BAR)))


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


FINE = 50.8
JOISTS = 16 * 25.4
FX, FY = np.meshgrid(np.arange(85) * FINE, np.arange(121) * FINE)
OWN = {"joists 1/32 in": 25.4 / 32, "joists 1/16 in": 25.4 / 16, "joists 1/8 in": 25.4 / 8}
MIDWAY = "hump midway"  # 3/8 in high, 13 in wide, 10 ft long, midway between lines of stations 2 ft apart
PROUD_ROOMS = 0.2


def framed_room(kind, seed):
    """True heights [ny, nx] mm on a lattice of 2 in, true largest gap [mm], and what stands out, in a word.

    Heights along a joist are of one of three families, and so is what lies across it.
    """
    own = OWN.get(kind, 25.4 / 64)
    rng = np.random.default_rng([seed, round(100 * own), 77])
    height = gentle(rng)
    for at in np.arange(FX.max() // JOISTS + 2) * JOISTS:
        height += own * along_a_joist(rng) * across_a_joist(np.abs(FX - at) / JOISTS, rng)
    stands_out = "none"
    if kind == MIDWAY:
        at = JOISTS * rng.choice([2, 5, 8])  # 8 in off the nearest line of a 2 ft grid
        height += 25.4 * 3 / 8 * np.maximum(1 - np.abs(FX - at) / (6.5 * 25.4), 0) * swell(rng, 10 * FT)
        stands_out = "narrow"
    elif rng.random() < PROUD_ROOMS:
        stands_out = str(rng.choice(["wide", "narrow"]))
        off = np.abs(FX - JOISTS * rng.integers(1, 10)) / (JOISTS if stands_out == "wide" else 6.5 * 25.4)
        height += 25.4 * rng.uniform(1 / 4, 1 / 2) * across_a_joist(off, rng) * swell(rng, rng.uniform(6, 20) * FT)
    gap = largest_gap(height, FINE)
    return height + FX * rng.normal(0, 0.002) + FY * rng.normal(0, 0.002), gap, stands_out


def gentle(rng):
    """Waves of 8 to 25 ft, up to two thirds of the limit."""
    k, phase = rng.normal(size=(2, 300)) / (rng.uniform(4, 10) * FT), rng.uniform(0, 2 * np.pi, 300)
    coarse = np.s_[::4, ::4]
    waves = np.cos(FX[..., None] * k[0] + FY[..., None] * k[1] + phase).sum(axis=-1)
    return waves * LIMIT * rng.uniform(0.1, 0.67) / largest_gap(waves[coarse], 4 * FINE)


def along_a_joist(rng):
    """[ny, 1] standard deviations: one height, a bow with a twist, or slow waves."""
    y = FY[:, :1] / FY.max()
    family = rng.integers(3)
    if family == 0:
        return np.full_like(y, rng.normal())
    if family == 1:
        return rng.normal() + rng.normal() * (2 * y - 1) + 1.5 * rng.normal() * ((2 * y - 1) ** 2 - 1 / 3)
    angle = FY[:, :1, None] * rng.normal(size=40) / (6 * FT) + rng.uniform(0, 2 * np.pi, 40)
    return np.sqrt(2 / 40) * np.cos(angle).sum(axis=-1)


def across_a_joist(off, rng):
    """Part of a joist's height so far off, in spacings: straight down to the next, or rounded."""
    inside = np.minimum(off, 1)
    return 1 - inside if rng.random() < 0.5 else (1 + np.cos(np.pi * inside)) / 2


def swell(rng, length):
    """[ny, 1] from 0 to 1 and back over a length, somewhere along the room."""
    middle = rng.uniform(0.3, 0.7) * FY.max()
    return np.maximum(np.cos(np.pi * np.clip((FY[:, :1] - middle) / length, -0.5, 0.5)), 0)


def framed_survey(height, feet, seed, layout=True):
    """Readings of a framed room on a grid of so many feet, with its joists in the header or without."""
    k = round(feet * FT / FINE)
    iy, ix = (index.ravel() for index in np.mgrid[0 : height.shape[0] : k, 0 : height.shape[1] : k])
    read = height[iy, ix] + np.random.default_rng([seed, feet, 78]).normal(0, READING_ERROR, len(ix))
    framing = Framing(JOISTS, "y", 0.0) if layout else None
    return flatness.make_survey(ix * FINE, iy * FINE, read, accuracy=READING_ERROR, framing=framing)


def fine_floor(seed, slips=(), joist=False, **attributes):
    """Readings every 2 ft of a floor of 14 ft x 20 ft within an eighth of an inch, and the stations that slipped.

    ``slips`` [mm] are what is wrong with as many readings; ``joist`` lays a line of stations on one that is proud by
    1/4 to 1/2 in, along all of the room or a part of it.
    """
    rng = np.random.default_rng([seed, 79])
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(8) * 2 * FT, np.arange(11) * 2 * FT))
    k, phase = rng.normal(size=(2, 200)) / (rng.uniform(4, 10) * FT), rng.uniform(0, 2 * np.pi, 200)
    height = (
        rng.uniform(0.1, 0.8) * np.sqrt(2 / 200) * np.cos(np.outer(x, k[0]) + np.outer(y, k[1]) + phase).sum(axis=1)
    )
    if joist:
        part = np.clip((y - rng.uniform(0.25, 0.75) * y.max()) / (rng.uniform(6, 20) * FT), -0.5, 0.5)
        along = np.maximum(np.cos(np.pi * part), 0) if rng.random() < 0.5 else 1
        height += np.where(x == 2 * FT * rng.integers(1, 7), 25.4 * rng.uniform(1 / 4, 1 / 2) * along, 0)
    height += x * rng.normal(0, 0.002) + y * rng.normal(0, 0.002) + rng.normal(0, READING_ERROR, len(x))
    at = rng.choice(len(x), len(slips), replace=False)
    height[at] += np.array(slips) * rng.choice([-1, 1], len(slips))
    return flatness.make_survey(x, y, height, accuracy=READING_ERROR, **attributes), at.tolist()


def limit():
    return flatness.straightedge_limit(BAR, LIMIT)
