"""Typical surfaces made up: random ones such as the likely surface takes floors, walls and ceilings for.

A random surface with Matern 5/2 correlation is a sum of cosine waves whose wave numbers have that correlation's
spectral density, a t distribution with five degrees of freedom (Rasmussen and Williams, Gaussian Processes for Machine
Learning, 2006, section 4.2.1; random waves as in Rahimi and Recht, 2007). So it has a height at any place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from flatness.errors import ArgumentError
from flatness.surface.fitting import LENGTH_MM, LENGTH_SPREAD, RATIO_SPREAD
from flatness.survey.readings import Floats

WAVES = 400
FREEDOM = 5  # twice the smoothness of the correlation


@dataclass(frozen=True, eq=False)
class TypicalSurface:
    """A random surface about a plane, its standard deviation 1.

    Attributes
    ----------
    length_x, length_y : correlation lengths [mm]
    waves : [2, n] wave numbers along x and y [1/mm]
    phase : [n] radians
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


def random_surface(length_x: float, length_y: float, rng: np.random.Generator) -> TypicalSurface:
    """A surface with these correlation lengths [mm]."""
    waves = rng.standard_normal((2, WAVES)) / np.sqrt(rng.chisquare(FREEDOM, WAVES) / FREEDOM)
    waves /= np.array([[length_x], [length_y]])
    return TypicalSurface(length_x, length_y, waves, rng.uniform(0, 2 * np.pi, WAVES))


def typical_surfaces(count: int, rng: np.random.Generator) -> list[TypicalSurface]:
    """``count`` surfaces whose lengths are spread as the likely surface's parameters are taken to be.

    The mean log length and the log ratio of the two lengths are normal, as :mod:`flatness.surface.fitting` says. They
    are spread evenly over their quantiles and paired at random, so that few surfaces stand for all of them.
    """
    if not (isinstance(count, (int, np.integer)) and count >= 1):
        raise ArgumentError("number of surfaces out of range", value=str(count), expected="a whole number from 1")
    even = ndtri((np.arange(count) + 0.5) / count)
    mean = np.log(LENGTH_MM) + LENGTH_SPREAD * rng.permutation(even)
    half = RATIO_SPREAD * rng.permutation(even) / 2
    lengths = np.exp(np.column_stack([mean + half, mean - half]))
    return [random_surface(float(a), float(b), rng) for a, b in lengths]
