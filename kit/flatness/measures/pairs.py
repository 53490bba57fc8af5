"""Pairs of points a distance apart along the headings, with the surface unbroken between them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.lines import Heading, displaced
from flatness.measures.measured import Measured, Place
from flatness.surface.lattice import STEP_NOISE, Surface
from flatness.survey.readings import Floats

ROWS_AND_COLUMNS = (Heading.at(0), Heading.at(90))


@dataclass(frozen=True)
class Pair:
    """Two points along a heading: height of ``end`` less height of ``start`` [mm], and their places [mm]."""

    difference: float
    start: Place
    end: Place

    def measured(self, value: float, note: str = "") -> Measured:
        """A measure found at this pair, placed at the point that stands proud of the other."""
        at = self.end if self.difference > 0 else self.start
        return Measured(value, at, (self.start, self.end), note)


def require_level(is_level: bool, what: str) -> None:
    """Refuse a measure of level, plumb or slope of heights that are off a string."""
    if not is_level:
        raise MeasureError(
            f"{what} cannot be had from a string", value="reference: string",
            expected="reference: level, or plumb",
            remedy="a string is straight but not known to be level or plumb: flatness is known, this is not; "
            "read the surface off a level or plumb line or plane",
        )  # fmt: skip


def require_distance(distance: float) -> None:
    """Refuse a distance [mm] that is not above zero."""
    if not (math.isfinite(distance) and distance > 0):
        raise ArgumentError("distance out of range", value=str(distance), expected="millimetres above zero")


def signs_of(heading: Heading, steps: float) -> tuple[int, ...]:
    """Ways along a heading that give different pairs: one where both ends are nodes, else both."""
    return (1,) if heading.on_lattice and abs(steps - round(steps)) <= STEP_NOISE else (1, -1)


def reaching(z: Floats, heading: Heading, most: int, sign: int = 1) -> Iterator[tuple[int, Floats]]:
    """k and the heights [..., ny, nx] k steps from each node, k = 1 ... most; NaN beyond a break.

    Stops where nothing is reached any more.
    """
    reached = np.isfinite(z)
    for k in range(1, most + 1):
        height = displaced(z, sign * k * heading.dx, sign * k * heading.dy)
        reached = reached & np.isfinite(height)
        if not reached.any():
            return
        yield k, np.where(reached, height, np.nan)


def height_ahead(z: Floats, heading: Heading, steps: float, sign: int = 1) -> Floats:
    """Heights [..., ny, nx] a number of steps, not always whole, from each node; NaN beyond a break."""
    ahead = displaced(z, sign * steps * heading.dx, sign * steps * heading.dy)
    if np.isnan(z).any():  # else the lattice is unbroken wherever its end is on it
        whole = math.floor(steps + STEP_NOISE)
        reached = np.isfinite(z)
        for k in range(1, whole + 1):
            reached = reached & np.isfinite(displaced(z, sign * k * heading.dx, sign * k * heading.dy))
        ahead[~reached] = np.nan
    return ahead


def largest_difference(surface: Surface, distance: float, headings: Sequence[Heading]) -> Pair | None:
    """The pair exactly ``distance`` [mm] apart that differs most in height; None where there is no pair."""
    require_distance(distance)
    best: Pair | None = None
    for heading in headings:
        steps = distance / (surface.spacing * heading.step)
        for sign in signs_of(heading, steps):
            difference = height_ahead(surface.height, heading, steps, sign) - surface.height
            found = largest_pair(surface, difference, heading, sign * steps)
            if found is not None and (best is None or abs(found.difference) > abs(best.difference)):
                best = found
    return best


def largest_pair(surface: Surface, difference: Floats, heading: Heading, steps: float) -> Pair | None:
    """The pair ``steps`` apart from the node where ``difference`` [ny, nx] is largest, either way."""
    size = np.abs(difference)
    if np.isnan(size).all():
        return None
    iy, ix = np.unravel_index(int(np.nanargmax(size)), size.shape)
    start = node(surface, int(iy), int(ix))
    return Pair(float(difference[iy, ix]), start, beyond(start, heading, steps * surface.spacing))


def rise_within(surface: Surface, z: Floats, length: float, note: str) -> Measured:
    """How much more one node of ``z`` [ny, nx] mm rises than another at most ``length`` [mm] away, at the higher one.

    Raises MeasureError where the lattice is coarser than the length.
    """
    require_distance(length)
    reach = length / surface.spacing * (1 + STEP_NOISE)
    if reach < 1:
        raise MeasureError(
            "the lattice is coarser than the base", value=f"{surface.spacing:.0f} mm",
            expected=f"{length:.0f} mm or less", remedy="choose a finer spacing",
        )  # fmt: skip
    rise = highest_within(z, reach) - z
    if np.isnan(rise).all():
        raise too_short("this measure", length)
    iy, ix = np.unravel_index(int(np.nanargmax(rise)), rise.shape)
    gy, gx = np.ogrid[: rise.shape[0], : rise.shape[1]]
    near = np.where(np.hypot(gy - iy, gx - ix) <= reach, z, np.nan)
    jy, jx = np.unravel_index(int(np.nanargmax(near)), near.shape)
    low, high = node(surface, int(iy), int(ix)), node(surface, int(jy), int(jx))
    return Measured(float(rise[iy, ix]), high, (low, high), note)


def highest_within(z: Floats, reach: float) -> Floats:
    """[ny, nx] the highest of all nodes at most ``reach`` lattice steps away; NaN where there is none."""
    ny, nx = z.shape
    blank = np.isnan(z)
    if reach >= math.hypot(ny - 1, nx - 1):
        return np.where(blank, np.nan, np.nan if blank.all() else np.nanmax(z))
    known = np.where(blank, -np.inf, z)
    top = np.full_like(z, -np.inf)
    for up in range(min(math.floor(reach), ny - 1) + 1):
        # of the disc, the row so many above or below: a window along x
        half = math.floor(math.sqrt(max(0.0, reach * reach - up * up)))
        row = maximum_filter1d(known, 2 * min(half, nx - 1) + 1, axis=1, mode="constant", cval=-np.inf)
        np.maximum(top[: ny - up], row[up:], out=top[: ny - up])
        np.maximum(top[up:], row[: ny - up], out=top[up:])
    return np.where(blank, np.nan, top)


def node(surface: Surface, iy: int, ix: int) -> Place:
    """(x, y) [mm] of a node."""
    return float(surface.x[ix]), float(surface.y[iy])


def beyond(start: Place, heading: Heading, reach: float) -> Place:
    """The place ``reach`` [mm, times the heading's own step] from ``start`` along a heading."""
    return start[0] + reach * heading.dx, start[1] + reach * heading.dy


def too_short(what: str, distance: float) -> MeasureError:
    """The refusal where no two points are as far apart as a measure needs."""
    return MeasureError(
        f"the surface is too short for {what}",
        value=f"no two points {distance:.0f} mm apart, unbroken between",
        expected="readings that span the distance", remedy="use a limit over a shorter distance",
    )  # fmt: skip
