"""Each surface of a room with others that its readings allow, and the errors of the datum that they share."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from flatness.arrays import Floats
from flatness.errors import MeasureError
from flatness.room.records import Room, RoomSurface
from flatness.surface.lattice import Surface
from flatness.surface.likely import LikelySurface, likely_surface

PARALLEL_COS = 0.99  # walls that share a control line run along it; within 8 degrees


@dataclass(frozen=True, eq=False)
class Drawn:
    """One surface on the room's datum.

    Attributes
    ----------
    of : the surface
    likely : its likely surface
    surface : the best estimate on its lattice; its heights are z for a floor or ceiling, and into the room off the
        wall's control line for a wall
    draws : [n, ny, nx] mm, what else it may be, the error of the datum and of the control line included; kept in two
        parts, ``shape`` and the plane that the datum adds, so that what is told of one surface alone is not blurred
    datum : [n, 3] what the datum's error adds: at x = 0, y = 0 [mm], and by x and y [mm/mm]
    """

    of: RoomSurface
    likely: LikelySurface
    surface: Surface
    shape: Floats = field(repr=False)
    datum: Floats = field(repr=False)

    @property
    def name(self) -> str:
        """Of the surface."""
        return self.of.name

    @cached_property
    def draws(self) -> Floats:
        """[n, ny, nx] mm with the datum's error."""
        gx, gy = np.meshgrid(self.surface.x, self.surface.y)
        at, by_x, by_y = (self.datum[:, i, None, None] for i in range(3))
        return np.asarray(self.shape + at + by_x * gx + by_y * gy)

    def at(self, x: Floats, y: Floats) -> Floats:
        """Draws [n, m] mm at places x, y [m] mm of the surface; NaN beyond the readings."""
        return self.surface.at(x, y, self.draws)

    @cached_property
    def planes(self) -> Floats:
        """[n, 3] least-squares plane of each draw: height at x = 0, y = 0 [mm], slope by x and by y [mm/mm]."""
        x, y, _ = self.surface.nodes()
        return np.asarray(fit_planes(x, y, self.shape[:, self.surface.inside]) + self.datum)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Least and most x, least and most y that were read [mm]."""
        x, y, _ = self.surface.nodes()
        return float(x.min()), float(x.max()), float(y.min()), float(y.max())


def fit_planes(x: Floats, y: Floats, heights: Floats) -> Floats:
    """Least-squares planes [n, 3] of heights [n, m] mm at x, y [m] mm: at x = 0, y = 0, by x and by y.

    >>> fit_planes(np.array([0.0, 1, 0, 1]), np.array([0.0, 0, 1, 1]), np.array([[1.0, 3, 2, 4]])).round(9).tolist()
    [[1.0, 2.0, 1.0]]
    """
    middle = float(x.mean()), float(y.mean())
    terms = np.column_stack([np.ones_like(x), x - middle[0], y - middle[1]])
    found = np.linalg.lstsq(terms, heights.T, rcond=None)[0].T
    found[:, 0] -= found[:, 1] * middle[0] + found[:, 2] * middle[1]
    return np.asarray(found)


def draw_room(room: Room) -> dict[str, Drawn]:
    """Every surface of a room, drawn; the seed and the names decide what comes.

    Raises
    ------
    MeasureError : a surface whose readings are too few; the message names it
    """
    lines = _control_lines(room)
    return {name: _drawn(room, one, lines) for name, one in room.surfaces.items()}


def _drawn(room: Room, one: RoomSurface, lines: Mapping[str, Floats]) -> Drawn:
    try:
        likely = likely_surface(one.survey)
    except MeasureError as error:
        raise MeasureError([*error.located(file=one.survey.source or one.name).problems]) from error
    if not np.isfinite(likely.mean).any():
        raise MeasureError("no place of this surface lies between its readings", file=one.survey.source or one.name)
    shape = likely.draw(room.draws, seed_of(room.seed, one.name))
    mean, datum = likely.mean, np.zeros((room.draws, 3))
    if one.level is not None:
        mean, shape = (one.level.height + one.up * heights for heights in (mean, shape))
        rng = np.random.default_rng(seed_of(room.seed, f"{one.name} datum"))
        datum[:, 0] = rng.normal(0, one.level.error, room.draws)
    elif one.wall is not None:
        datum[:, :2] = lines[one.name]
    surface = Surface(x=likely.x, y=likely.y, height=mean, spacing=likely.spacing, reference=one.survey.reference)
    return Drawn(one, likely, surface, shape, datum)


def _control_lines(room: Room) -> dict[str, Floats]:
    """[n, 2] by wall: what its control line's error adds at x = 0 [mm] and by x [mm/mm].

    A line errs by so much at each end of the wall that it was set for. Walls read off one line have its error in
    common: what brings one nearer takes the other one away.
    """
    first: dict[str, RoomSurface] = {}
    found: dict[str, Floats] = {}
    for one in room.of_kind("wall"):
        wall = one.wall
        assert wall is not None
        leader = first.setdefault(wall.control or f"{one.name} alone", one)
        line = leader.wall
        assert line is not None
        rng = np.random.default_rng(seed_of(room.seed, f"{leader.name} control line"))
        ends = rng.normal(0, line.error, (room.draws, 2))
        slope = (ends[:, 1] - ends[:, 0]) / line.length
        toward = float(wall.into @ line.into)
        run = float(np.subtract(wall.start, line.start) @ line.along)
        at_start = ends[:, 0] + slope * run
        found[one.name] = toward * np.column_stack([at_start, slope * float(wall.along @ line.along)])
    return found


def seed_of(seed: int, name: str) -> int:
    """The seed of what is drawn under a name."""
    return int(np.random.SeedSequence([seed, zlib.crc32(name.encode())]).generate_state(1)[0])
