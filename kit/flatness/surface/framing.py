"""What framing adds to a random surface: members that each stand a little on their own, and ridges over one of them.

A member lifts what lies on it, less and less toward its neighbors: a hat across the members, times a random process
along it (Matern 5/2). All members together are :class:`Joists`. One that stands out far more than the rest is a
:class:`Ridge`, a supposition weighed by the readings: a larger variance of all members would not find it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from flatness.arrays import Floats
from flatness.survey.readings import Framing

FOOT = 304.8
SQRT5 = math.sqrt(5.0)
# along which a member, and a ridge, keep their height, and how high a ridge is: the kit's own
JOIST_LENGTH, RIDGE_LENGTH, RIDGE_MM = 8 * FOOT, 6 * FOOT, 8.0
WIDTHS = (1.0, 0.5)  # of half a ridge, in member spacings: the sheathing bridges to the next members, or half the way
# of a patch, and of a strip across it: how high, and how far one place tells of another, in radii; the kit's own
PATCH_MM, PATCH_LENGTH, STRIP_LENGTH = 6.0, 0.7, 0.5
# what a ridge's sides are off straight, and how far one place across it tells of another, in radii: tried on rooms of
# known truth (tests/benchmarks/plans.py), the kit's own
SHOULDERS_MM, SHOULDERS_LENGTH = 2.0, 0.35
PROUD, PATCHED = 0.04, 0.3  # chance that a member of a room stands out so, before any reading: the kit's own


def matern52(distance: Floats) -> Floats:
    """Matern correlation of smoothness 5/2 at a distance in units of its length."""
    scaled = SQRT5 * distance
    out: Floats = scaled / 3.0
    out += 1.0
    out *= scaled
    out += 1.0
    out *= np.exp(np.negative(scaled, out=scaled), out=scaled)
    return out


@dataclass(frozen=True)
class Ridge:
    """A straight ridge or hollow.

    Attributes
    ----------
    along : ``x`` or ``y``, the direction in which it runs
    at : position of its middle across that direction [mm]
    half_width : from its middle to where it ends [mm]
    scale : standard deviation of its height [mm]
    length : correlation length along it [mm]
    """

    along: str
    at: float
    half_width: float
    scale: float = RIDGE_MM
    length: float = RIDGE_LENGTH

    @cached_property
    def unit(self) -> Self:
        """The same of a scale of 1 mm."""
        return replace(self, scale=1.0)

    @property
    def line(self) -> tuple[str, float]:
        """Along what it runs, and its position across [mm]."""
        return self.along, self.at

    def split(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Positions of places x, y [m] mm across it and along it."""
        return (x, y) if self.along == "y" else (y, x)

    def members(self, across: Floats) -> Floats:
        """[k] mm, the positions of the members that bear on places [m] mm: of a ridge, its own."""
        return np.array([self.at])

    def shares(self, across: Floats, members: Floats) -> Floats:
        """[m, k] part of each member's height that places [m] mm across it have."""
        return np.maximum(1.0 - np.abs(across[:, None] - members) / self.half_width, 0.0)

    def covariance(self, x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> Floats:
        """Covariance [m, k] mm2 that it adds between places x, y [m] mm and to_x, to_y [k] mm."""
        (across, along), (to_across, to_along) = self.split(x, y), self.split(to_x, to_y)
        members = self.members(np.concatenate([across, to_across]))
        out = matern52(np.abs(along[:, None] - to_along) / self.length)
        out *= self.scale**2 * (self.shares(across, members) @ self.shares(to_across, members).T)
        return out

    def variance(self, x: Floats, y: Floats) -> Floats:
        """Variance [m] mm2 that it adds at places x, y [m] mm."""
        across, _ = self.split(x, y)
        return np.asarray(self.scale**2 * (self.shares(across, self.members(across)) ** 2).sum(axis=1))


@dataclass(frozen=True)
class Patch:
    """A place that is wavier than the rest of the surface: a dip, a hump, the end of a beam; or a strip of it.

    Attributes
    ----------
    at : x, y of its middle [mm]
    radius : from its middle to where it ends along x and y [mm]; infinite along a strip
    length : its correlation lengths along x and y [mm]
    scale : standard deviation in its middle [mm]
    """

    at: tuple[float, float]
    radius: tuple[float, float]
    length: tuple[float, float]
    scale: float = PATCH_MM

    @classmethod
    def about(cls, at: tuple[float, float], radius: float, scale: float = PATCH_MM) -> Self:
        """A round one."""
        length = PATCH_LENGTH * radius
        return cls(at, (radius, radius), (length, length), scale)

    @classmethod
    def strip(cls, along: str, at: float, radius: float, length: float = STRIP_LENGTH, scale: float = PATCH_MM) -> Self:
        """One without end along x or y, about a line at a position [mm] across; its length across in radii."""
        if along == "x":
            return cls((0.0, at), (math.inf, radius), (RIDGE_LENGTH, length * radius), scale)
        return cls((at, 0.0), (radius, math.inf), (length * radius, RIDGE_LENGTH), scale)

    @property
    def line(self) -> tuple[str, float] | None:
        """Along what a strip lies, and its position across [mm]; None of a round patch."""
        along = next((axis for axis, radius in zip("xy", self.radius, strict=True) if math.isinf(radius)), None)
        return None if along is None else (along, self.at["yx".index(along)])

    @cached_property
    def unit(self) -> Self:
        """The same of a scale of 1 mm."""
        return replace(self, scale=1.0)

    def share(self, x: Floats, y: Floats) -> Floats:
        """[m] part of its deviation that places x, y [m] mm have."""
        away = ((x - self.at[0]) / self.radius[0]) ** 2 + ((y - self.at[1]) / self.radius[1]) ** 2
        return np.asarray(np.maximum(1.0 - away, 0.0))

    def covariance(self, x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> Floats:
        """Covariance [m, k] mm2 that it adds between places x, y [m] mm and to_x, to_y [k] mm."""
        out = np.zeros((len(x), len(to_x)))
        share, to_share = self.share(x, y), self.share(to_x, to_y)
        here, there = np.flatnonzero(share), np.flatnonzero(to_share)
        apart = np.hypot((x[here, None] - to_x[there]) / self.length[0], (y[here, None] - to_y[there]) / self.length[1])
        out[np.ix_(here, there)] = self.scale**2 * np.outer(share[here], to_share[there]) * matern52(apart)
        return out

    def variance(self, x: Floats, y: Floats) -> Floats:
        """Variance [m] mm2 that it adds at places x, y [m] mm."""
        return np.asarray((self.scale * self.share(x, y)) ** 2)


@dataclass(frozen=True)
class Joists(Ridge):
    """Parallel members, each of which stands a little on its own: a ridge over each, ``at`` being one of them.

    ``half_width`` is their spacing: sheathing is taken to run straight from each to the next. ``typical`` is what their
    ``scale`` is expected to be [mm].
    """

    length: float = JOIST_LENGTH
    typical: float = 0.8

    def members(self, across: Floats) -> Floats:
        low, high = ((end - self.at) / self.half_width for end in (across.min(), across.max()))
        return self.at + self.half_width * np.arange(math.floor(low), math.ceil(high) + 1)

    def ridges(self, across: Floats) -> Iterator[Ridge]:
        """The ridges that may stand over one of the members, wide and narrow, among places [m] mm."""
        for place in self.members(across):
            if across.min() <= place <= across.max():
                for width in WIDTHS:
                    yield Ridge(self.along, float(place), width * self.half_width)


def joists(framing: Framing, origin: tuple[float, float, float]) -> Joists:
    """The members that a survey's header states, about a fit's origin, at their typical scale."""
    shift = origin[0] if framing.along == "y" else origin[1]
    return Joists(framing.along, framing.first - shift, framing.spacing, framing.typical, typical=framing.typical)
