"""Which points are floor, ceiling and walls: the planes of a room, found among a few points of it.

z is plumb. A look at the scan is thinned to one point a voxel, so that near and far surfaces weigh by their area and
not by how densely they were scanned. Floor and ceiling are the heights with the largest area, apart from tables; the
walls' directions are those along which the plan piles up most. On each side of the room's middle the plane with the
largest area where the ceiling ends is the wall, or the largest of all where no ceiling was seen: so what stands before
a wall is none, nor a wall that is seen through a door. Each plane is then fitted by iteratively reweighted least
squares with the biweight (Beaton and Tukey 1974, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import MeasureError

VOXEL_MM = 50.0
AREA_MM = 100.0  # squares by which the area of a plane is counted
SLAB_MM = 40.0  # half the thickness in which a plane is first sought
STEP_MM = 20.0  # between the places where one is sought
LEAST_HEIGHT_MM = 1500.0  # from floor to ceiling; a table top is lower
FURNITURE_MM = 200.0  # over the floor and under the ceiling, where walls are not sought
LONGEST_MM = 400_000.0  # of what is a room at all
LEAST_HALF_MM = 400.0  # from the room's middle to a wall
LEAST_SHARE = 0.2  # of the largest area of a wall
SECOND_LEVEL = 0.3  # of the larger of floor and ceiling, which the other one has
# what lies so far under the larger level, and has this share of its area, is the floor: the larger is a table
FURNITURE_HIGH_MM, UNDER = 380.0, 0.2
NEAR_MM = 200.0  # from where a ceiling ends, within which a wall stands
FIT_MM = 60.0  # within which points of a plane are, once it is known roughly
BIWEIGHT = 4.685  # times the spread: 95 % efficient for normal errors (Holland and Welsch 1977)
MAD_TO_SIGMA = 1.4826  # normal distribution (closed form)
FEWEST = 50  # points of a plane
MOST_SLOPE = 0.1
ALIKE = 0.3  # of their mean, that slopes stand off it where surfaces lean alike
SIDES = {"wall A": (1, -1), "wall B": (0, -1), "wall C": (1, 1), "wall D": (0, 1)}  # axis across, sign into the room


@dataclass(frozen=True)
class Plane:
    """A plane of the room: the coordinate across it is a linear function of the two others.

    Attributes
    ----------
    name : ``floor``, ``ceiling``, or ``wall A`` to ``wall D``: A toward +y, then clockwise as seen from above
    axis : of the coordinate across it: 0, 1 or 2
    sign : 1 where the room lies on its side of larger coordinates, else -1
    terms : a, b, c: across = a + b * first + c * second of the other coordinates, in their order [mm]
    """

    name: str
    axis: int
    sign: int
    terms: tuple[float, float, float]

    @property
    def others(self) -> tuple[int, int]:
        """Axes of the coordinates along it."""
        first, second = (axis for axis in range(3) if axis != self.axis)
        return first, second

    def into(self, points: Floats) -> Floats:
        """How far points [n, 3] stand off it, into the room [n], measured along its axis."""
        a, b, c = self.terms
        first, second = self.others
        off = points[:, self.axis] - points[:, first] * b
        off -= points[:, second] * c
        off -= a
        return off if self.sign > 0 else -off

    def at(self, first: float, second: float) -> float:
        """Its coordinate across, where the two others are these."""
        return float(self.across(np.float64(first), np.float64(second)))

    def across(self, first: Any, second: Any) -> Any:
        """As :meth:`at`, of arrays."""
        a, b, c = self.terms
        return a + b * first + c * second


@dataclass(frozen=True)
class Planes:
    """The planes of a room.

    Attributes
    ----------
    origin : point of the file's frame [3] that is the origin of the room's [mm]
    angle : by which the room's x is turned from the file's x about z, counterclockwise [radians]
    found : the planes in the room's frame, by name
    extent : of the room, (least, most) along each axis [mm]: to its planes, else as far as it was seen
    """

    origin: Floats
    angle: float
    found: dict[str, Plane]
    extent: tuple[tuple[float, float], ...]

    def to_room(self, points: Floats) -> Floats:
        """Points [n, 3] of the file's frame in the room's [mm]."""
        return _turned(points - self.origin, self.angle)

    @property
    def middle(self) -> tuple[float, ...]:
        """Of the room [3]."""
        return tuple(sum(span) / 2 for span in self.extent)

    @property
    def tilt(self) -> float:
        """By how much floor, ceiling and walls lean alike, as the scan as a whole would [mm/m]; 0 where they do not."""
        largest = 0.0
        for axis in (0, 1):  # turned about the other one, floors fall where walls lean
            floors = [-plane.terms[1 + axis] for plane in self.found.values() if plane.axis == 2]
            walls = [plane.terms[2] for plane in self.found.values() if plane.axis == axis]
            mean = sum(floors + walls) / max(1, len(floors + walls))
            apart = max(abs(one - mean) for one in floors + walls) if floors and walls else math.inf
            largest = max(largest, abs(mean)) if apart < abs(mean) * ALIKE else largest
        return 1000 * largest

    def edge(self, axis: int, sign: int, first: float, second: float) -> float:
        """Where the room ends on a side, at these others of the coordinates."""
        for plane in self.found.values():
            if (plane.axis, plane.sign) == (axis, sign):
                return plane.at(first, second)
        return self.extent[axis][0 if sign > 0 else 1]


def find_planes(look: Floats) -> Planes:
    """The planes of the room that points [n, 3] in mm, spread through a scan, show.

    Raises
    ------
    MeasureError : no floor and no ceiling among them
    """
    origin = np.round(np.median(look, axis=0))
    points = look - origin
    thin = _thinned(points)
    levels = _levels(thin)
    middle = _middle(thin, next(iter(levels.values())))
    low, high = levels.get("floor", -math.inf), levels.get("ceiling", math.inf)
    upright = thin[(thin[:, 2] > low + FURNITURE_MM) & (thin[:, 2] < high - FURNITURE_MM)]
    near = upright[(np.abs(upright[:, :2]) < LONGEST_MM).all(axis=1)]  # a stray point may be anywhere
    angle = _direction(near) if len(near) > FEWEST else 0.0
    turned = _turned(points, angle)
    guesses = {name: (2, 1 if name == "floor" else -1, at) for name, at in levels.items()}
    ceiling = thin[np.abs(thin[:, 2] - high) < 2 * SLAB_MM]
    guesses |= _walls(_turned(upright, angle), _turned(ceiling, angle), _turned(middle[None, :], angle)[0])
    found = _all_fitted(guesses, turned, levels)
    off = [(-plane.terms[1] if plane.axis == 0 else plane.terms[1]) for plane in found.values() if plane.axis < 2]
    if off:  # now that the walls are known, their mean direction is known closer
        angle += math.atan(sum(off) / len(off))
        turned = _turned(points, angle)
        found = _all_fitted({name: (one.axis, one.sign, one) for name, one in found.items()}, turned, levels)
    if "floor" not in found and "ceiling" not in found:
        raise _no_floor()
    return Planes(origin, angle, found, _extent(_turned(thin, angle), found))


def _all_fitted(
    guesses: Mapping[str, tuple[int, int, float | Plane]], points: Floats, levels: dict[str, float]
) -> dict[str, Plane]:
    fitted = {name: _fitted(name, *guess, points, levels) for name, guess in sorted(guesses.items(), key=_order)}
    return {name: plane for name, plane in fitted.items() if plane is not None}


def _order(named: tuple[str, object]) -> int:
    return ("floor", "ceiling", *SIDES).index(named[0])


def _turned(points: Floats, angle: float) -> Floats:
    if angle == 0:
        return points
    found = np.empty_like(points)
    cos, sin = math.cos(angle), math.sin(angle)
    np.multiply(points[:, 0], cos, out=found[:, 0])
    found[:, 0] += points[:, 1] * sin
    np.multiply(points[:, 1], cos, out=found[:, 1])
    found[:, 1] -= points[:, 0] * sin
    found[:, 2] = points[:, 2]
    return found


def _no_floor() -> MeasureError:
    return MeasureError(
        "no floor and no ceiling found among the points",
        expected="a level surface that spans the room, z plumb",
        remedy="check the unit, turn z upright, and cut the scan down to one room",
    )


def _keys(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    """One whole number for each row of whole numbers; equal rows have equal ones."""
    span = np.ptp(cells, axis=0) + 1
    if np.prod(span.astype(np.float64)) > 2**62:
        raise MeasureError("points spread too wide for a room", remedy="check the unit; cut the scan down to one room")
    key = np.zeros(len(cells), dtype=np.int64)
    for column, width in zip((cells - cells.min(axis=0)).T, span, strict=True):
        key = key * width + column
    return key


def _thinned(points: Floats) -> Floats:
    """One of the points in each voxel."""
    _, first = np.unique(_keys(np.floor(points / VOXEL_MM).astype(np.int64)), return_index=True)
    return points[np.sort(first)]


def _steps(across: Floats) -> Floats:
    """Places at which a plane is sought, from the first of some coordinates to the last."""
    low, high = (float(part) for part in np.percentile(across, [0.1, 99.9]))
    if high - low > LONGEST_MM:
        remedy = "check the unit; cut the scan down to one room"
        raise MeasureError("points spread too wide for a room", value=f"{(high - low) / 1000:.0f} m", remedy=remedy)
    return np.arange(low - STEP_MM, high + 2 * STEP_MM, STEP_MM)


def _areas(places: Floats, across: Floats, steps: Floats) -> Floats:
    """How many squares of a plane at each of some places across it hold a point within the slab."""
    order = np.argsort(across)
    across, keys = across[order], _keys(np.floor(places[order] / AREA_MM).astype(np.int64))
    starts, ends = np.searchsorted(across, steps - SLAB_MM), np.searchsorted(across, steps + SLAB_MM)
    return np.array([len(np.unique(keys[i:j])) for i, j in zip(starts, ends, strict=True)], dtype=np.float64)


def _levels(thin: Floats) -> dict[str, float]:
    """Heights of floor and ceiling, roughly; those that are there."""
    z = thin[:, 2]
    steps = _steps(z)
    area = _areas(thin[:, :2], z, steps)
    if steps[-1] - steps[0] > LEAST_HEIGHT_MM:
        area = np.clip(area - np.median(area), 0, None)  # walls have as much at every height
    best = int(np.argmax(area))
    if area[best] < FEWEST:
        raise _no_floor()
    apart = np.abs(steps - steps[best]) >= LEAST_HEIGHT_MM
    second = int(np.argmax(np.where(apart, area, -1)))
    if not apart[second] or area[second] < SECOND_LEVEL * area[best]:
        over = np.count_nonzero(z > steps[best] + FURNITURE_MM) >= np.count_nonzero(z < steps[best] - FURNITURE_MM)
        return {"floor" if over else "ceiling": float(steps[best])}
    low, high = sorted((best, second))
    under = (steps <= steps[low] - FURNITURE_HIGH_MM) & (area >= UNDER * area[low])
    if under.any():  # a large table hides more of the floor than is seen of it
        low = int(np.argmax(np.where(under, area, -1)))
    return {"floor": float(steps[low]), "ceiling": float(steps[high])}


def _middle(thin: Floats, level: float) -> Floats:
    """Middle of what lies on a level [3]."""
    on = thin[np.abs(thin[:, 2] - level) < SLAB_MM]
    squares = np.unique(np.floor(on[:, :2] / AREA_MM), axis=0)
    x, y = np.median(squares, axis=0) * AREA_MM
    return np.array([x, y, level])


def _direction(upright: Floats) -> float:
    """Angle, within 45 degrees of 0, of the directions in which the plan piles up most [radians]."""

    def piled(degrees: float) -> float:
        turned = _turned(upright, math.radians(degrees))
        both = [np.floor(turned[:, axis] / (SLAB_MM / 2)).astype(np.int64) for axis in (0, 1)]
        return float(sum(np.square(np.bincount(places - places.min()), dtype=np.float64).sum() for places in both))

    best, step = 0.0, 45.0
    for finer in (1.0, 0.25, 0.05):
        tried = np.arange(best - step, best + step, finer)
        best, step = float(tried[np.argmax([piled(one) for one in tried])]), finer
    return math.radians((best + 45) % 90 - 45)


def _ends(ceiling: Floats, middle: Floats) -> list[tuple[float, float]]:
    """Where a ceiling's points end along x and y: where a row of it has under half of what a row has as a rule."""
    ends = []
    for axis in (0, 1):
        squares = np.unique(np.floor(ceiling[:, :2] / AREA_MM), axis=0)
        rows, count = np.unique(squares[:, axis], return_counts=True)
        full = rows[count >= np.median(count) / 2]
        parts = np.split(full, np.flatnonzero(np.diff(full) > 3) + 1)  # rows; less is a lamp or a beam
        own = min(parts, key=lambda part: float(np.abs(part - middle[axis] / AREA_MM).min()))
        ends.append((float(own[0]) * AREA_MM, float(own[-1] + 1) * AREA_MM))
    return ends


def _walls(upright: Floats, ceiling: Floats, middle: Floats) -> dict[str, tuple[int, int, float]]:
    """Axis across, sign and rough place of each wall that is there."""
    if len(upright) < FEWEST:
        return {}
    ends = _ends(ceiling, middle) if len(ceiling) else [(math.inf, math.inf)] * 2
    sought = {}
    for axis in (0, 1):
        across = upright[:, axis]
        steps = _steps(across)
        area = _areas(upright[:, [1 - axis, 2]], across, steps)
        for name, (of, sign) in SIDES.items():
            side = (middle[axis] - steps) * sign >= LEAST_HALF_MM
            if of == axis and side.any():
                k = int(np.argmax(np.where(side, area, -1)))
                near = side & (np.abs(steps - ends[axis][0 if sign > 0 else 1]) < NEAR_MM)
                if near.any() and area[near].max() >= FEWEST:
                    k = int(np.argmax(np.where(near, area, -1)))
                sought[name] = (area[k], (axis, sign, float(steps[k])))
    least = max(LEAST_SHARE * max((area for area, _ in sought.values()), default=0), FEWEST)
    return {name: guess for name, (area, guess) in sought.items() if area >= least}


def _fitted(
    name: str, axis: int, sign: int, near: float | Plane, points: Floats, levels: dict[str, float]
) -> Plane | None:
    """The plane through the points near a rough place; None where there are too few."""
    if axis < 2:
        low, high = levels.get("floor", -math.inf), levels.get("ceiling", math.inf)
        points = points[(points[:, 2] > low + FURNITURE_MM) & (points[:, 2] < high - FURNITURE_MM)]
    plane = near if isinstance(near, Plane) else Plane(name, axis, sign, (near, 0.0, 0.0))
    some = points[np.abs(plane.into(points)) < 2 * FIT_MM]
    if len(some) < FEWEST:
        return None
    # each square of the plane weighs alike however densely it was scanned; to keep one point of each voxel would move
    # the plane, where it lies near a face of the voxels, by a part of the points' noise
    _, square, count = np.unique(
        _keys(np.floor(some[:, plane.others] / VOXEL_MM).astype(np.int64)), return_inverse=True, return_counts=True
    )
    share = 1 / count[square]
    rows = np.column_stack([np.ones(len(some)), some[:, plane.others]])
    scale = SLAB_MM
    for _ in range(20):
        off = np.abs(some[:, axis] - rows @ plane.terms)
        inside = off < FIT_MM
        if np.count_nonzero(inside) < FEWEST:
            return None
        scale = min(scale, max(MAD_TO_SIGMA * float(np.median(off[inside])), 1.0) * BIWEIGHT)
        weight = share * np.square(np.clip(1 - np.square(off / max(scale, 1.0)), 0, None))
        terms = np.linalg.lstsq(rows * np.sqrt(weight)[:, None], some[:, axis] * np.sqrt(weight), rcond=None)[0]
        if np.abs(terms[1:]).max() > MOST_SLOPE:
            return None
        plane = Plane(name, axis, sign, (float(terms[0]), float(terms[1]), float(terms[2])))
    return plane


def _extent(thin: Floats, found: dict[str, Plane]) -> tuple[tuple[float, float], ...]:
    """From where to where the room goes along each axis: to its planes, else as far as floor or ceiling were seen."""
    within = thin
    for plane in found.values():
        within = within[plane.into(within) > -FIT_MM]
    level = found.get("floor") or found["ceiling"]
    seen = within[np.abs(level.into(within)) < FIT_MM]
    spans = [[float(np.floor(part.min())), float(np.ceil(part.max()))] for part in seen.T]
    spans[2] = [float(part) for part in np.percentile(within[:, 2], [0.1, 99.9])]
    for _ in range(2):  # planes are not quite square to one another
        for plane in found.values():
            middles = [sum(spans[axis]) / 2 for axis in plane.others]
            spans[plane.axis][0 if plane.sign > 0 else 1] = plane.at(*middles)
    return tuple((low, high) for low, high in spans)
