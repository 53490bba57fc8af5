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
    x, y : [nx], [ny] mm: the floor's lattice, which lies along the walls
    map : [ny, nx] mm, best estimate; NaN where one of the two was not read
    draws : [n, m] mm at the m places of the map that were read on both
    at : place on the plan of the least clear height by the best estimate
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
    own_x, own_y, z = below.nodes()
    x, y = floor.on_plan(own_x, own_y)
    high = ceiling.at(x, y, drawn=False) - z
    both = np.isfinite(high)
    if not both.any():
        return None
    clear = np.full(below.height.shape, np.nan)
    clear[below.inside] = high
    draws = ceiling.at(x[both], y[both]) - floor.draws[:, below.inside][:, both]
    at = floor.node(int(np.nanargmin(high)))
    return ClearHeight(floor=floor.name, ceiling=ceiling.name, x=below.x, y=below.y, map=clear, draws=draws, at=at)
