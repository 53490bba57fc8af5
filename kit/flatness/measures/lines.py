"""Straight lines across a lattice: headings, rows laid out as lines, and the surface shifted along a heading.

The record that every measure gives back: a number, where it was found, and what rests where.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.surface.lattice import STEP_NOISE

_LATTICE_LINES = {0.0: (1, 0), 45.0: (1, 1), 90.0: (0, 1), 135.0: (-1, 1)}


@dataclass(frozen=True)
class Heading:
    """A direction across the lattice.

    Attributes
    ----------
    degrees : from the x axis toward the y axis, 0 to under 180
    dx, dy : one step along it, in lattice steps
    step : length of that step, in lattice steps: 1, or the square root of 2 along a diagonal
    """

    degrees: float
    dx: float
    dy: float

    @property
    def step(self) -> float:
        return math.hypot(self.dx, self.dy)

    @property
    def on_lattice(self) -> bool:
        """Whether it runs along rows, columns or diagonals, from node to node."""
        return self.dx == round(self.dx) and self.dy == round(self.dy)

    @classmethod
    def at(cls, degrees: float) -> Heading:
        """The heading at this angle [degrees]; along rows, columns and diagonals its step is node to node."""
        for angle, (dx, dy) in _LATTICE_LINES.items():
            if abs(degrees - angle) < 1e-9:
                return cls(angle, dx, dy)
        return cls(degrees, math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def all_headings(count: int) -> list[Heading]:
    """``count`` headings equally spaced over half a turn, the first along the rows."""
    if not (isinstance(count, (int, np.integer)) and 1 <= count <= 360):
        raise ArgumentError("headings out of range", value=str(count), expected="a whole number from 1 to 360")
    return [Heading.at(180 * i / count) for i in range(count)]


def lines_of(z: Floats, heading: Heading) -> Floats:
    """Surfaces [ny, nx, k] laid out as [n, lines], each line a row, column or diagonal of one of them."""
    ny, nx, count = z.shape
    if (heading.dx, heading.dy) == (1, 0):
        return np.swapaxes(z, 0, 1).reshape(nx, -1)
    if (heading.dx, heading.dy) == (0, 1):
        return z.reshape(ny, -1)
    if heading.dx < 0:
        z = z[:, ::-1]
    # row r moved right by ny - 1 - r puts a diagonal into one column; NaN fills what is left
    skewed = np.full((ny, nx + ny - 1, count), np.nan)
    for r in range(ny):
        skewed[r, ny - 1 - r : ny - 1 - r + nx] = z[r]
    return skewed.reshape(ny, -1)


def nodes_of(lines: Floats, heading: Heading, shape: tuple[int, ...]) -> Floats:
    """The inverse of :func:`lines_of`: [n, lines] back to surfaces of this shape [ny, nx, k]."""
    ny, nx, count = shape
    if (heading.dx, heading.dy) == (1, 0):
        return np.swapaxes(lines.reshape(nx, ny, count), 0, 1)
    if (heading.dx, heading.dy) == (0, 1):
        return lines.reshape(shape)
    skewed = lines.reshape(ny, nx + ny - 1, count)
    z = np.stack([skewed[r, ny - 1 - r : ny - 1 - r + nx] for r in range(ny)])
    return z[:, ::-1] if heading.dx < 0 else z


def reaching_part(shape: tuple[int, ...], dx: float, dy: float) -> tuple[slice, slice]:
    """Rows and columns of the nodes from which the place (dx, dy) steps away is on the lattice; empty where none is."""
    sides = []
    for count, steps in zip(shape[:2], (dy, dx), strict=True):
        whole, part = _whole_and_part(steps)
        first, last = max(0, -whole), min(count, count - whole - (part > 0))
        sides.append(slice(first, max(first, last)))
    return sides[0], sides[1]


def displaced(z: Floats, dx: float, dy: float) -> Floats:
    """At each node of [ny, nx, ...], the height (dx, dy) lattice steps away; NaN outside or next to a blank.

    Bilinear between nodes. A node that would carry no weight is not asked.
    """
    out = np.full_like(z, np.nan)
    part = reaching_part(z.shape, dx, dy)
    out[part] = heights_away(z, dx, dy, part)
    return out


def heights_away(z: Floats, dx: float, dy: float, part: tuple[slice, slice]) -> Floats:
    """As :func:`displaced`, at the nodes of one part alone, all of them within :func:`reaching_part`."""
    rows, columns = part
    (jx, jy, weight), *others = corners(dx, dy)

    def shifted(jx: int, jy: int) -> Floats:
        return z[rows.start + jy : rows.stop + jy, columns.start + jx : columns.stop + jx]

    out: Floats = weight * shifted(jx, jy)
    for jx, jy, weight in others:
        out += weight * shifted(jx, jy)
    return out


def corners(dx: float, dy: float) -> list[tuple[int, int, float]]:
    """The nodes (jx, jy) from which the height (dx, dy) lattice steps away is taken, and their weights above zero."""
    (ix, fx), (iy, fy) = _whole_and_part(dx), _whole_and_part(dy)
    around = ((0, 0, (1 - fx) * (1 - fy)), (1, 0, fx * (1 - fy)), (0, 1, (1 - fx) * fy), (1, 1, fx * fy))
    return [(ix + kx, iy + ky, weight) for kx, ky, weight in around if weight > 0]


def _whole_and_part(steps: float) -> tuple[int, float]:
    whole = math.floor(steps + STEP_NOISE)
    part = steps - whole
    return whole, part if part > STEP_NOISE else 0.0


Place = tuple[float, float]


@dataclass(frozen=True)
class Measured:
    """One measure of a surface.

    Attributes
    ----------
    value : the number; mm unless the measure is a ratio or an F-number
    at : (x, y) [mm] where it was found, or None where it belongs to no place
    contacts : (x, y) [mm] of the points it rests on or compares, in order along the line
    note : what the reader of the number must know
    """

    value: float
    at: Place | None = None
    contacts: tuple[Place, ...] = ()
    note: str = ""
