"""The clear height between a floor and a ceiling that share x and y."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from flatness.arrays import Floats
from flatness.measures.bars import Place
from flatness.room.drawn import Drawn
from flatness.room.records import Room


@dataclass(frozen=True, eq=False, kw_only=True)
class ClearHeight:
    """The clear height over one floor, under one ceiling.

    Attributes
    ----------
    floor, ceiling : names of the surfaces
    x, y : [nx], [ny] mm on the plan: the floor's lattice
    map : [ny, nx] mm, best estimate; NaN where one of the two was not read
    draws : [n, m] mm at the m places of the map that were read on both
    at : place of the least clear height by the best estimate
    """

    floor: str
    ceiling: str
    x: Floats
    y: Floats
    map: Floats
    draws: Floats = field(repr=False)
    at: Place

    @property
    def least(self) -> Floats:
        """[n] least clear height of each draw [mm]."""
        return np.asarray(self.draws.min(axis=1))

    @property
    def range(self) -> tuple[float, float]:
        """Least and greatest clear height by the best estimate [mm]."""
        return float(np.nanmin(self.map)), float(np.nanmax(self.map))


def clear_heights(room: Room) -> tuple[ClearHeight, ...]:
    """The clear height of every floor and ceiling of a room that lie over one another, both off a level reference."""
    found = []
    for floor in room.of_kind("floor"):
        for ceiling in room.of_kind("ceiling"):
            if floor.room == ceiling.room and floor.survey.is_level and ceiling.survey.is_level:
                one = between(room.drawn[floor.name], room.drawn[ceiling.name])
                found += [] if one is None else [one]
    return tuple(found)


def between(floor: Drawn, ceiling: Drawn) -> ClearHeight | None:
    """The clear height between two surfaces; None where no place was read on both."""
    below = floor.surface
    x, y, z = below.nodes()
    above = ceiling.surface.at(x, y)
    both = np.isfinite(above)
    if not both.any():
        return None
    clear = np.full(below.height.shape, np.nan)
    clear[below.inside] = above - z
    draws = ceiling.at(x[both], y[both]) - floor.draws[:, below.inside][:, both]
    k = int(np.argmin((above - z)[both]))
    at = float(x[both][k]), float(y[both][k])
    return ClearHeight(floor=floor.name, ceiling=ceiling.name, x=below.x, y=below.y, map=clear, draws=draws, at=at)
