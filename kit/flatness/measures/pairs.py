"""Pairs of points a distance apart along the headings, with the surface unbroken between them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

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
