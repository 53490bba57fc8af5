"""Walls against one another on the plan: the width between two that face, and the corner between two that meet.

All follow the walls' least-squares planes, exactly and whatever way the plan is turned. A corner out of square is told
as carpenters do: how far the end of a leg of so much is off, taken along the other leg. A tape tells it from two legs
and the diagonal between their ends (3-4-5).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
from numpy.typing import ArrayLike

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.room.drawn import Drawn
from flatness.room.records import FACING_COS, WallLine

CORNER_MM = 600.0  # how near to its meeting with another wall a wall must reach to make a corner with it
LEAST_RUN_MM = 300.0
EVERY_MM = 610.0  # along a run, at most


@dataclass(frozen=True, eq=False, kw_only=True)
class Facing:
    """Two walls that face one another.

    Attributes
    ----------
    first, second : their names
    run : length over which they face [mm]
    start : where it begins along the first wall's x [mm]
    at_start, at_end : [n] width at both ends of the run, along the first wall's x [mm]
    ends : places on the plan of those two, on the first wall
    """

    first: str
    second: str
    run: float
    start: float
    at_start: Floats
    at_end: Floats
    ends: tuple[tuple[float, float], tuple[float, float]]

    @property
    def taper(self) -> Floats:
        """[n] how much wider the far end is than the start [mm]."""
        return self.at_end - self.at_start


@dataclass(frozen=True, eq=False, kw_only=True)
class Corner:
    """Two walls that meet about square.

    Attributes
    ----------
    first, second : their names; the second begins where the first ends
    leg : the shorter of the two, as far as it was read [mm]
    cosine : [n] cosine of the angle between the two: positive where they close in, under 90 degrees
    at : where they meet on the plan [mm]
    stands_out : whether it stands out into the room, as in an L
    """

    first: str
    second: str
    leg: float
    cosine: Floats
    at: tuple[float, float]
    stands_out: bool


def trace(wall: WallLine, planes: Floats, z: float) -> tuple[Floats, Floats]:
    """A plane of a wall cut level at z [mm]: points on the plan at x = 0 [n, 2] mm, and what x adds [n, 2] mm/mm.

    Parameters
    ----------
    planes : [n, 3] height off the control line at x = 0, y = 0 [mm], and its slope by x and by y
    """
    off = wall.offset + planes[:, 0] + planes[:, 2] * (z - wall.base)
    point = np.asarray(wall.start) + off[:, None] * wall.into
    return point, wall.along + planes[:, 1, None] * wall.into


def facing(walls: Sequence[Drawn]) -> list[Facing]:
    """The pairs of walls that face one another over at least 300 mm, each once."""
    pairs = (_facing(one, other) for one, other in combinations(walls, 2) if one.of.room == other.of.room)
    return [pair for pair in pairs if pair is not None]


def _facing(one: Drawn, other: Drawn) -> Facing | None:
    first, second = one.of.line, other.of.line
    if first.into @ second.into > -FACING_COS:
        return None
    z = _middle(one, other)
    point, along = trace(first, one.planes, z)
    beyond, its_along = trace(second, other.planes, z)
    least, most = one.extent[:2]
    ends = beyond.mean(axis=0) + np.array(other.extent[:2])[:, None] * its_along.mean(axis=0)
    run_of = np.sort((ends - np.asarray(first.start)) @ first.along)
    start, end = max(least, float(run_of[0])), min(most, float(run_of[1]))
    if end - start < LEAST_RUN_MM:
        return None
    widths = [_width(point + x * along, first.into, beyond, its_along) for x in (start, end)]
    if min(float(width.mean()) for width in widths) <= 0:
        return None
    here = [point.mean(axis=0) + x * along.mean(axis=0) for x in (start, end)]
    (ax, ay), (bx, by) = here
    return Facing(
        first=one.name,
        second=other.name,
        run=end - start,
        start=start,
        at_start=widths[0],
        at_end=widths[1],
        ends=((float(ax), float(ay)), (float(bx), float(by))),
    )


def widths(pair: Facing, walls: Mapping[str, Drawn]) -> tuple[Floats, Floats]:
    """Distance from face to face along a run, half way up: places along the first wall's x [m] mm, draws [n, m] mm.

    Of the faces as they were read, a place every 2 ft or nearer; NaN where one of the two was not read.
    """
    one, other = walls[pair.first], walls[pair.second]
    first, second = one.of.line, other.of.line
    z = _middle(one, other)
    run = pair.start + np.linspace(0, pair.run, math.ceil(pair.run / EVERY_MM) + 1)
    found = []
    for x in run:
        height = one.surface.at(x, z - first.base, one.draws)
        point = np.column_stack([np.ravel(v) for v in first.on_plan(x, height)])
        its_x = float(np.clip(second.across(*point.mean(axis=0))[0], *other.extent[:2]))
        beyond = np.column_stack(
            [
                np.ravel(v)
                for v in second.on_plan(np.array(its_x), other.surface.at(its_x, z - second.base, other.draws))
            ]
        )
        found.append(_width(point, first.into, beyond, second.along[None, :]))
    return run, np.column_stack(found)


def _width(point: Floats, into: Floats, on_line: Floats, along: Floats) -> Floats:
    """[n] distance [mm] from points [n, 2] straight out along ``into`` to lines through [n, 2] along [n, 2]."""
    away = on_line - point
    return np.asarray(_cross(away, along) / _cross(into[None, :], along))


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def corners(walls: Sequence[Drawn]) -> list[Corner]:
    """The corners at which one wall ends and another begins, within 10 degrees of square."""
    found = (_corner(one, other) for one, other in permutations(walls, 2) if one.of.room == other.of.room)
    return [one for one in found if one is not None]


def _corner(one: Drawn, other: Drawn) -> Corner | None:
    first, second = one.of.line, other.of.line
    if abs(first.along @ second.along) > np.sqrt(1 - FACING_COS**2):
        return None
    z = _middle(one, other)
    (p, d), (q, e) = trace(first, one.planes, z), trace(second, other.planes, z)
    mean_p, mean_d, mean_q, mean_e = (v.mean(axis=0, keepdims=True) for v in (p, d, q, e))
    x = float(_cross(mean_q - mean_p, mean_e)[0] / _cross(mean_d, mean_e)[0])
    y = float(_cross(mean_p - mean_q, mean_d)[0] / _cross(mean_e, mean_d)[0])
    if abs(x - one.extent[1]) > CORNER_MM or abs(y - other.extent[0]) > CORNER_MM:
        return None
    lengths = np.linalg.norm(d, axis=1) * np.linalg.norm(e, axis=1)
    at = mean_p[0] + x * mean_d[0]
    return Corner(
        first=one.name,
        second=other.name,
        leg=min(extent[1] - extent[0] for extent in (one.extent, other.extent)),
        cosine=np.asarray(-(d * e).sum(axis=1) / lengths),
        at=(float(at[0]), float(at[1])),
        stands_out=bool(first.into @ second.along < 0),
    )


def _middle(one: Drawn, other: Drawn) -> float:
    """z in the middle of what was read of both walls [mm]."""
    low, high = [], []
    for wall in (one, other):
        low.append(wall.of.line.base + wall.extent[2])
        high.append(wall.of.line.base + wall.extent[3])
    return (max(low) + min(high)) / 2


def tape_cosine(first: ArrayLike, second: ArrayLike, diagonal: ArrayLike) -> Floats:
    """Cosine of the corner between two legs, from the diagonal between their ends; 0 where it is square.

    Raises
    ------
    ArgumentError : lengths that close no triangle

    Examples
    --------
    >>> float(tape_cosine(3.0, 4.0, 5.0))
    0.0
    """
    a, b, c = _closed(first, second, diagonal)
    return np.asarray((a**2 + b**2 - c**2) / (2 * a * b))


def diagonals_cosine(first: ArrayLike, second: ArrayLike, diagonal: ArrayLike, other: ArrayLike) -> Floats:
    """Cosine of the corner of a room where the first diagonal begins, from its two sides and both diagonals.

    Its facing walls are taken to be parallel: in a parallelogram the squares of the diagonals differ by four times the
    product of its sides and the cosine. It is positive where the corner is under 90 degrees: that diagonal is longer.

    Raises
    ------
    ArgumentError : lengths that close no triangle

    Examples
    --------
    >>> float(diagonals_cosine(3.0, 4.0, 5.0, 5.0))
    0.0
    """
    a, b, c = _closed(first, second, diagonal)
    *_, d = _closed(first, second, other)
    return np.asarray((c**2 - d**2) / (4 * a * b))


def _closed(first: ArrayLike, second: ArrayLike, diagonal: ArrayLike) -> tuple[Floats, Floats, Floats]:
    a, b, c = (np.asarray(v, dtype=np.float64) for v in (first, second, diagonal))
    if not ((a > 0).all() and (b > 0).all() and (np.abs(a - b) < c).all() and (c < a + b).all()):
        raise ArgumentError(
            "legs and a diagonal that close no triangle",
            column="diagonal",
            value=f"{np.mean(c):g}",
            expected="less than both legs together, and more than their difference",
            remedy="measure again; for legs of 3 and 4 about 5",
        )
    return a, b, c
