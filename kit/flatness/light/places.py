"""Places that a light shows, as weighted sums of heights: rows of a linear program, and what decides.

What a light shows of a place in a band of wavelengths is linear in the heights (:mod:`flatness.light.waves`): so
nothing shows where every such sum is within the tangent of the light's angle, either way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter
from scipy.sparse import csr_array

from flatness.arrays import Floats
from flatness.light.eye import Eye
from flatness.light.lamps import Daylight, Light, Strip
from flatness.light.waves import strength_weights, strengths, wavelengths
from flatness.surface.lattice import Surface

APART = 0.2  # of a wave: places nearer to one that is worse are left to the next round
MOST = 400  # places a round
BANDS, SIDES = 256, 2

Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class LightRequirement:
    """Nothing shows in light from far away, or of lamps.

    Attributes
    ----------
    heading : of the light, from x toward y [degrees]
    allowed : tangent of its angle above the surface; of lamps 1; or a share of that
    distance : of the eye [mm]
    eye : who looks
    shortest : the shortest wave that the readings show [mm]
    lamp : the lamps; None: light from far away
    """

    heading: float
    allowed: float
    distance: float
    eye: Eye
    shortest: float
    lamp: Strip | None = None

    @property
    def light(self) -> Light:
        """Of which what shows is within ``allowed``: the lamps, or light from far away at 45 degrees."""
        return self.lamp or Daylight(angle=45, heading=self.heading)


@dataclass(frozen=True, eq=False)
class ShownPlaces:
    """Places that show too much.

    Attributes
    ----------
    requirement : [m] which light, counted from 0
    band : [m] of wavelengths, counted from the shortest
    node : [m] flat over [ny, nx]
    sign : [m] 1 where it is brighter, -1 where darker
    """

    requirement: Ints
    band: Ints
    node: Ints
    sign: Ints

    @property
    def key(self) -> Ints:
        """[m] a number below zero that no other place has, whichever light shows it."""
        number = (self.node * SIDES + (self.sign > 0)) * BANDS + self.band
        return np.asarray(-1 - (number * BANDS + self.requirement))

    def take(self, some: Ints | NDArray[np.bool_]) -> ShownPlaces:
        """Those of these numbers, or of this mask."""
        return ShownPlaces(self.requirement[some], self.band[some], self.node[some], self.sign[some])


@dataclass(frozen=True, eq=False)
class Lights:
    """Lights on the lattice of a surface.

    Attributes
    ----------
    surface : whose lattice it is
    requirements : what must not show
    """

    surface: Surface
    requirements: Sequence[LightRequirement]

    @property
    def shortest(self) -> float:
        """The shortest wave [mm] that counts in any of the lights, as their readings and the lattice show it."""
        return min(float(waves[0]) for waves in self._waves)

    @cached_property
    def _waves(self) -> list[Floats]:
        return [wavelengths(self.surface, one.shortest) for one in self.requirements]

    def _strengths(self, k: int, height: Floats) -> Floats:
        """[bands, ny, nx] in its light."""
        one = self.requirements[k]
        on = replace(self.surface, height=height)
        found = strengths(height[None], on, one.light, one.distance, one.eye, self._waves[k])
        return np.concatenate(list(found))

    def used(self, height: Floats, share: Floats | None = None) -> float:
        """The largest part of what is allowed that a surface [ny, nx] mm shows anywhere; over 1, it shows too much.

        ``share`` [ny, nx] of what is allowed, where less is wanted at a node.
        """
        inside = self.surface.inside
        part = np.ones(height.shape) if share is None else share
        most = 0.0
        for k, one in enumerate(self.requirements):
            found = np.abs(self._strengths(k, height)) / (one.allowed * part)
            most = max(most, float(found[:, inside].max(initial=0.0)))
        return most

    def shown(self, height: Floats, share: Floats | None = None) -> ShownPlaces:
        """The places of a surface [ny, nx] mm that show more than is allowed, the worst about each, in each band."""
        inside = self.surface.inside
        part = np.ones(height.shape) if share is None else share
        rows: list[Floats] = []
        for k, one in enumerate(self.requirements):
            found = self._strengths(k, height)
            used = np.where(inside, np.abs(found) / (one.allowed * part), 0.0)
            for band, wave in enumerate(self._waves[k]):
                size = max(3, 2 * round(APART * wave / self.surface.spacing) + 1)
                worst = (used[band] > 1) & (used[band] == maximum_filter(used[band], size))
                node = np.flatnonzero(worst)
                each = (np.full(len(node), k), np.full(len(node), band), node, np.sign(found[band].flat[node]))
                rows.append(np.column_stack([*each, used[band].flat[node]]))
        every = np.concatenate(rows) if rows else np.empty((0, 5))
        every = every[np.argsort(-every[:, 4], kind="stable")[:MOST]]
        return ShownPlaces(*every[:, :4].astype(np.int64).T)

    def rows_of(self, places: ShownPlaces) -> csr_array:
        """Weights [m, nodes with a height] on the heights that make what each place shows, above 0 what is too much."""
        inside = self.surface.inside
        out = np.empty((len(places.node), int(inside.sum())))
        for k, one in enumerate(self.requirements):
            own = np.flatnonzero(places.requirement == k)
            row, column = np.unravel_index(places.node[own], inside.shape)
            at = np.column_stack([places.band[own], row, column])
            weights = strength_weights(at, self.surface, one.light, one.distance, one.eye, self._waves[k])
            out[own] = places.sign[own, None] * weights[:, inside]
        return csr_array(out)
