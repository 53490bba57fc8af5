"""Lights along a surface: from a window, from a strip along an edge, from a row of lamps.

What reaches each place is one vector: the sum over all of a light's parts of the direction toward it, over the square
of its distance. A matt surface is as bright as its normal is along that vector (Lambert), so its angle above the
surface and its heading are all that counts, however many lamps make it. Lamps shine alike all round: no beams.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_above_zero, check_step
from flatness.surface.lattice import Surface

SIDES = ("left", "right", "bottom", "top")  # least x, greatest x, least y, greatest y
LEAST_DEGREES = 0.05  # a light lower than this touches the surface


@dataclass(frozen=True, eq=False)
class LightField:
    """What reaches each place of a flat surface.

    Attributes
    ----------
    toward : [3, ny, nx] along x, along y and out of the surface; its length is how much light there is, in any unit
    """

    toward: Floats

    @property
    def angle(self) -> Floats:
        """[ny, nx] degrees above the surface at which the light comes in."""
        x, y, out = self.toward
        return np.asarray(np.degrees(np.arctan2(out, np.hypot(x, y))))

    @property
    def heading(self) -> Floats:
        """[ny, nx] degrees from x toward y, the way the light travels."""
        x, y, _ = self.toward
        return np.asarray(np.degrees(np.arctan2(-y, -x)) % 360)


@dataclass(frozen=True, kw_only=True)
class Daylight:
    """Light from so far away that it is the same everywhere: the sun, or a window at the far end.

    Attributes
    ----------
    angle : above the surface [degrees], up to 90
    heading : from x toward y, the way it travels [degrees]
    """

    angle: float
    heading: float = 0.0

    def __post_init__(self) -> None:
        if not LEAST_DEGREES <= self.angle <= 90:
            expected = f"degrees above the surface, {LEAST_DEGREES:g} to 90"
            raise ArgumentError("a light at no such angle", column="angle", value=str(self.angle), expected=expected)
        if not math.isfinite(self.heading):
            raise ArgumentError("no heading", column="heading", value=str(self.heading), expected="degrees")

    def field(self, surface: Surface) -> LightField:
        """What reaches each node of a surface."""
        up, turned = math.radians(self.angle), math.radians(self.heading)
        toward = np.array([-math.cos(up) * math.cos(turned), -math.cos(up) * math.sin(turned), math.sin(up)])
        return LightField(np.broadcast_to(toward[:, None, None], (3, *surface.height.shape)))


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A line of light along a whole side of the surface: a cove, a slot, a track.

    Attributes
    ----------
    side : ``left``, ``right``, ``bottom`` or ``top``: least x, greatest x, least y, greatest y of the surface
    off : how far it stands off the surface [mm]
    """

    side: str
    off: float

    def __post_init__(self) -> None:
        _check_lamp(self.side, self.off)

    def field(self, surface: Surface) -> LightField:
        """What reaches each node: the closed form of the sum along the line.

        With t from place to line across the surface, rho^2 = t^2 + off^2, and s along it: the integral of 1 / r^3 is
        s / (rho^2 r), that of s / r^3 is -1 / r, where r^2 = rho^2 + s^2.
        """
        along, away = _about(surface, self.side)
        ends = (surface.x, surface.y)[self.side in ("left", "right")][[0, -1]]
        square = away**2 + self.off**2
        near, far = (end - along for end in ends)
        r_near, r_far = np.sqrt(square + near**2), np.sqrt(square + far**2)
        across = (far / r_far - near / r_near) / square
        return _as_field(self.side, 1 / r_near - 1 / r_far, away * across, self.off * across)


@dataclass(frozen=True, kw_only=True)
class Row:
    """A row of lamps along a side of the surface, such as downlights beside a wall.

    Attributes
    ----------
    side, off : as of a :class:`Strip`
    spacing : from one lamp to the next [mm]
    first : how far the first stands from the side's beginning [mm]; None: the row is set in the middle
    """

    side: str
    off: float
    spacing: float
    first: float | None = None

    def __post_init__(self) -> None:
        _check_lamp(self.side, self.off)
        check_above_zero(spacing=self.spacing)

    def places(self, surface: Surface) -> Floats:
        """Where the lamps stand along the side [mm]."""
        axis = (surface.x, surface.y)[self.side in ("left", "right")]
        extent = float(axis[-1] - axis[0])
        check_step("spacing", self.spacing, extent)
        first = self.first
        if first is None:
            count = max(1, math.floor(extent / self.spacing + 1e-9))
            first = (extent - (count - 1) * self.spacing) / 2
        found: Floats = float(axis[0]) + np.arange(first, extent + 1e-6, self.spacing)
        if not len(found):
            raise ArgumentError(
                "no lamp stands along this side",
                column="first",
                value=f"{first:.0f} mm",
                expected=f"within the side's {extent:.0f} mm",
            )
        return found

    def field(self, surface: Surface) -> LightField:
        """What reaches each node: the sum over the lamps."""
        along, away = _about(surface, self.side)
        parts = np.zeros((3, *surface.height.shape))
        for place in self.places(surface):
            ahead = place - along
            cubed = (ahead**2 + away**2 + self.off**2) ** 1.5
            parts += np.stack([ahead, away, np.full_like(away, self.off)]) / cubed
        return _as_field(self.side, *parts)


Light = Daylight | Strip | Row
Lamp = Callable[[float], Light]  # the same lamp at a distance off the surface [mm]


def _check_lamp(side: str, off: float) -> None:
    if side not in SIDES:
        raise ArgumentError("unknown side", column="side", value=str(side), expected=", ".join(SIDES))
    if not (math.isfinite(off) and off > 0):
        raise ArgumentError("a lamp that does not stand off", column="off", value=str(off), expected="mm above 0")


def _about(surface: Surface, side: str) -> tuple[Floats, Floats]:
    """[ny, nx] mm: position along a side, and the distance from it."""
    gx, gy = np.meshgrid(surface.x, surface.y)
    match side:
        case "left":
            return gy, gx - surface.x[0]
        case "right":
            return gy, surface.x[-1] - gx
        case "bottom":
            return gx, gy - surface.y[0]
    return gx, surface.y[-1] - gy


def _as_field(side: str, along: Floats, across: Floats, out: Floats) -> LightField:
    """Parts along a side, toward it and out of the surface, as x, y and out."""
    toward = across if side in ("right", "top") else -across
    return LightField(np.stack([toward, along, out] if side in ("left", "right") else [along, toward, out]))
