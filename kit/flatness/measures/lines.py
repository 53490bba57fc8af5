"""Straight lines across a lattice: headings, rows laid out as lines, and the surface shifted along a heading."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flatness.errors import ArgumentError
from flatness.surface.lattice import STEP_NOISE
from flatness.survey.readings import Floats

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


def lines_of(stack: Floats, heading: Heading) -> Floats:
    """[stack, ny, nx] laid out as [lines, n], each line a row, column or diagonal of one surface."""
    if (heading.dx, heading.dy) == (1, 0):
        return stack.reshape(-1, stack.shape[-1])
    if (heading.dx, heading.dy) == (0, 1):
        return np.swapaxes(stack, 1, 2).reshape(-1, stack.shape[1])
    if heading.dx < 0:
        stack = stack[:, :, ::-1]
    count, ny, nx = stack.shape
    # row r moved right by ny - 1 - r puts a diagonal into one column; NaN fills what is left
    skewed = np.full((count, ny, nx + ny - 1), np.nan)
    for r in range(ny):
        skewed[:, r, ny - 1 - r : ny - 1 - r + nx] = stack[:, r]
    return np.swapaxes(skewed, 1, 2).reshape(-1, ny)


def nodes_of(lines: Floats, heading: Heading, shape: tuple[int, ...]) -> Floats:
    """The inverse of :func:`lines_of`: [lines, n] back to [stack, ny, nx]."""
    ny, nx = shape
    if (heading.dx, heading.dy) == (1, 0):
        return lines.reshape(-1, ny, nx)
    if (heading.dx, heading.dy) == (0, 1):
        return np.swapaxes(lines.reshape(-1, nx, ny), 1, 2)
    skewed = np.swapaxes(lines.reshape(-1, nx + ny - 1, ny), 1, 2)
    stack = np.stack([skewed[:, r, ny - 1 - r : ny - 1 - r + nx] for r in range(ny)], axis=1)
    return stack[:, :, ::-1] if heading.dx < 0 else stack


def displaced(z: Floats, dx: float, dy: float) -> Floats:
    """At each node of [..., ny, nx], the height (dx, dy) lattice steps away; NaN outside or next to a blank.

    Bilinear between nodes. A node that would carry no weight is not asked.
    """
    ny, nx = z.shape[-2:]
    (ix, fx), (iy, fy) = _whole_and_part(dx), _whole_and_part(dy)
    out = np.full_like(z, np.nan)
    # where all the nodes that carry weight are on the lattice
    x0, x1 = max(0, -ix), min(nx, nx - ix - (fx > 0))
    y0, y1 = max(0, -iy), min(ny, ny - iy - (fy > 0))
    if x0 >= x1 or y0 >= y1:
        return out

    def shifted(kx: int, ky: int) -> Floats:
        return z[..., y0 + iy + ky : y1 + iy + ky, x0 + ix + kx : x1 + ix + kx]

    inner = out[..., y0:y1, x0:x1]
    inner[...] = (1 - fx) * (1 - fy) * shifted(0, 0)
    for kx, ky, weight in ((1, 0, fx * (1 - fy)), (0, 1, (1 - fx) * fy), (1, 1, fx * fy)):
        if weight > 0:
            inner += weight * shifted(kx, ky)
    return out


def _whole_and_part(steps: float) -> tuple[int, float]:
    whole = math.floor(steps + STEP_NOISE)
    part = steps - whole
    return whole, part if part > STEP_NOISE else 0.0
