"""Each surface of a room with others that its readings allow, and the errors of the datum that they share.

A floor and a ceiling have a lattice along their room's walls, whatever way the room lies on the plan: what is found
does not depend on it.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation
from shapely import Polygon
from shapely.affinity import rotate

from flatness.arrays import Floats
from flatness.errors import MeasureError
from flatness.measures.bars import Place
from flatness.room.records import Room, RoomSurface
from flatness.surface.lattice import EDGE_MM, Surface, grid_axes
from flatness.surface.likely import LikelySurface, likely_surface
from flatness.survey.readings import Survey

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
    best : [ny, nx] mm, the same, and at the nodes about it besides that carry a place between the readings
    draws : [n, ny, nx] mm, what else it may be, the error of the datum and of the control line included; kept in two
        parts, ``shape`` and the plane that the datum adds, so that a measure of one surface alone is not blurred
    datum : [n, 3] what the datum's error adds: at x = 0, y = 0 [mm], and by x and y [mm/mm]
    turn : of a floor or ceiling, where its lattice's x runs on the plan [rad], about the plan's own x = 0, y = 0
    within : what lies between the readings, on the lattice
    """

    of: RoomSurface
    likely: LikelySurface
    surface: Surface
    best: Floats = field(repr=False)
    shape: Floats = field(repr=False)
    datum: Floats = field(repr=False)
    turn: float
    within: Polygon = field(repr=False)

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

    def at(self, x: Floats, y: Floats, *, drawn: bool = True) -> Floats:
        """Draws [n, m] mm of a floor or ceiling at places x, y [m] mm on the plan, or the best estimate [m] mm.

        NaN beyond the readings.
        """
        x, y = (
            np.where(np.abs(at - (kept := np.clip(at, axis[0], axis[-1]))) < EDGE_MM, kept, at)
            for at, axis in zip(self.own(x, y), (self.surface.x, self.surface.y), strict=True)
        )
        shapely.prepare(self.within)
        read = shapely.intersects_xy(self.within, x, y)
        return np.where(read, self.surface.at(x, y, self.draws if drawn else self.best), np.nan)

    def own(self, x: Any, y: Any) -> tuple[Floats, Floats]:
        """x and y on a floor's or ceiling's lattice [mm] of places on the plan."""
        return turned(x, y, -self.turn)

    def on_plan(self, x: Any, y: Any) -> tuple[Floats, Floats]:
        """Places on the plan [mm] of x and y on a floor's or ceiling's lattice."""
        return turned(x, y, self.turn)

    def node(self, k: int) -> Place:
        """Place on the plan [mm] of the k-th node that has a height."""
        x, y, _ = self.surface.nodes()
        px, py = self.on_plan(x[k], y[k])
        return float(px), float(py)

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


def turned(x: Any, y: Any, angle: float) -> tuple[Floats, Floats]:
    """Places x, y turned counterclockwise by an angle [rad] about 0, 0."""
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if not angle:
        return x, y
    c, s = math.cos(angle), math.sin(angle)
    return c * x - s * y, s * x + c * y


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
    turn = _turn(room, one)
    survey = one.survey if not turn else _turned(one.survey, -turn)
    try:
        likely = likely_surface(survey)
    except MeasureError as error:
        raise MeasureError([*error.located(file=one.survey.source or one.name).problems]) from error
    if not np.isfinite(likely.mean).any():
        raise MeasureError("no place of this surface lies between its readings", file=one.survey.source or one.name)
    within, about = _within(survey, likely)
    x, y = likely.x[about[1]], likely.y[about[0]]
    shape, beside = likely.draw_both(x, y, room.draws, seed_of(room.seed, one.name))
    shape[:, *about] = beside
    mean, best, datum = likely.mean, likely.mean.copy(), np.zeros((room.draws, 3))
    best[about] = likely.predict_at(x, y)[0] if len(x) else 0.0
    if one.level is not None:
        mean, best, shape = (one.level.height + one.up * heights for heights in (mean, best, shape))
        rng = np.random.default_rng(seed_of(room.seed, f"{one.name} datum"))
        datum[:, 0] = rng.normal(0, one.level.error, room.draws)
    elif one.wall is not None:
        datum[:, :2] = lines[one.name]
    surface = Surface(x=likely.x, y=likely.y, height=mean, spacing=likely.spacing, reference=one.survey.reference)
    return Drawn(one, likely, surface, best, shape, datum, turn, within)


def _within(survey: Survey, likely: LikelySurface) -> tuple[Polygon, tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """What lies between the readings and near a node, and rows and columns of blank nodes that carry a place of it."""
    known = np.isfinite(likely.mean)
    about = binary_dilation(known, np.ones((3, 3), bool)) & ~known
    x, y, *_ = survey.stations()
    hull = shapely.MultiPoint(np.column_stack([x, y])).convex_hull
    hull = hull if survey.outline is None else hull.intersection(survey.outline)
    hull = hull.difference(shapely.union_all(survey.openings)) if survey.openings else hull
    row, column = np.nonzero(known)
    half = likely.spacing / math.sqrt(2) * (1 + EDGE_MM)
    near = shapely.union_all(
        shapely.box(*(likely.x[column] - half, likely.y[row] - half, likely.x[column] + half, likely.y[row] + half))
    )
    return hull.intersection(near).buffer(EDGE_MM), (np.nonzero(about)[0], np.nonzero(about)[1])


def _turn(room: Room, one: RoomSurface) -> float:
    """How a floor or ceiling lies on the plan [rad]: along its readings where they form a grid, else its walls."""
    if one.level is None or one.members is not None or any(each.direction for each in one.beneath):
        return 0.0  # what lies beneath is named along the plan's own x and y
    x, y, *_ = one.survey.stations()
    walls = [each.wall for each in room.of_kind("wall") if each.room == one.room and each.wall is not None]
    along = [wall.along for wall in sorted(walls, key=lambda wall: -wall.length)]
    angles = [math.remainder(math.atan2(dy, dx), math.pi / 2) for dx, dy in along]
    found = (angle for angle in (0.0, *angles) if grid_axes(*turned(x, y, -angle)) is not None)
    return next(found, angles[0] if angles else 0.0)


def _turned(survey: Survey, angle: float) -> Survey:
    """A survey turned about x = 0, y = 0 [rad]."""
    x, y = turned(survey.points["x"], survey.points["y"], angle)
    outline, *openings = (
        area if area is None else rotate(area, angle, origin=(0, 0), use_radians=True)
        for area in (survey.outline, *survey.openings)
    )
    points = survey.points.assign(x=x, y=y)
    return replace(survey, points=points, outline=outline, openings=tuple(openings))


def _control_lines(room: Room) -> dict[str, Floats]:
    """[n, 2] by wall: what its control line's error adds at x = 0 [mm] and by x [mm/mm].

    A line errs by so much at each end of the wall that it was set for. Walls read off one line have its error in
    common: what brings one nearer takes the other one away.
    """
    first: dict[str, RoomSurface] = {}
    found: dict[str, Floats] = {}
    for one in room.of_kind("wall"):
        wall = one.line
        leader = first.setdefault(wall.control or f"{one.name} alone", one)
        line = leader.line
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
