"""Limits that depend on the distance between two points of measurement, as in DIN 18202, table 3.

The bar method takes the gap under a bar between the two high points it rests on; the grid method takes a
grid point against the mean of its two neighbours, over a base of two grid steps. The two can differ on one
surface: say which was used. The standard's text was not seen; both are as quoted by others.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.bars import Heading, Measured, Place, all_headings
from flatness.measures.levels import ROWS_AND_COLUMNS, beyond, node, reaching, signs_of, station_grid, too_short
from flatness.notes import Note
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

TOUCH_MM = 1e-9  # a point this little above the chord touches it

Found = tuple[float, float, Place | None, tuple[Place, ...]]  # distance, gap, at, contacts


@dataclass(frozen=True, eq=False)
class SpanResult:
    """Gaps against the allowed gap at each distance between the points of measurement.

    Attributes
    ----------
    worst : the placement with the largest ratio of gap to allowed; its value is the gap [mm]
    distance, gap, allowed : of that placement [mm]
    table : DataFrame, one row a distance: ``distance_mm``, ``gap_mm`` (the largest), ``allowed_mm``
    """

    worst: Measured
    distance: float
    gap: float
    allowed: float
    table: pd.DataFrame

    @property
    def ratio(self) -> float:
        """Gap over allowed [-]: 1 or less where the surface is within at every distance."""
        return settle(self.gap) / self.allowed


def allowed_at(distance: float, distances: Sequence[float], allowed: Sequence[float], rounded: bool = True) -> float:
    """Allowed gap [mm] at a distance [mm]: straight line between the columns of a table.

    Parameters
    ----------
    distance : between the points of measurement [mm]
    distances, allowed : columns of the table [mm], distances rising
    rounded : to whole millimetres, halves up, as DIN 18202 has it

    Returns
    -------
    float : [mm]; before the first column its value, and beyond the last the last's

    Examples
    --------
    >>> row_3 = [100, 1000, 4000, 10000, 15000], [2, 4, 10, 12, 15]
    >>> allowed_at(2000, *row_3), allowed_at(50, *row_3)
    (6.0, 2.0)
    """
    if len(distances) != len(allowed) or not len(distances) or (np.diff(distances) <= 0).any():
        what, value = "a table of allowed gaps that cannot be used", f"{list(distances)}, {list(allowed)}"
        raise ArgumentError(what, value=value, expected="as many allowed gaps as distances, distances rising")
    if min(allowed) <= 0:
        raise ArgumentError("an allowed gap out of range", value=str(min(allowed)), expected="above zero")
    mm = settle(float(np.interp(distance, distances, allowed)))
    return float(math.floor(mm + 0.5)) if rounded else mm


def din_bar(
    surface: Surface, distances: Sequence[float], allowed: Sequence[float], headings: int = 12, rounded: bool = True
) -> SpanResult:
    """The bar method: gaps between two contact points, held against what their distance allows.

    Parameters
    ----------
    surface : the surface
    distances, allowed, rounded : as in :func:`allowed_at`
    headings : directions, equally spaced over half a turn

    Returns
    -------
    SpanResult : distances are whole lattice steps along the headings, from two steps up

    Raises
    ------
    MeasureError : a surface on which no bar of two lattice steps lies

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0, -4, 0]] * 3, spacing=500)
    >>> found = din_bar(trough, [100, 1000, 4000, 10000, 15000], [2, 4, 10, 12, 15], headings=4)
    >>> found.gap, found.distance, found.allowed
    (4.0, 1000.0, 4.0)
    """
    found = span_gaps(surface, headings)
    if not found:
        raise too_short("the bar method", 2 * surface.spacing)
    note = "bar method: the gap between two contact points, bars whole lattice steps long"
    return _held(found, distances, allowed, rounded, note)


def din_grid(
    where: Surface | Survey, distances: Sequence[float], allowed: Sequence[float], rounded: bool = True
) -> SpanResult:
    """The grid method: a grid point against the mean of its two neighbours, along rows and columns.

    Parameters
    ----------
    where : a survey read on an even grid, whose stations are compared; or a surface, whose nodes are
    distances, allowed, rounded : as in :func:`allowed_at`; the distance is the base, two grid steps, and
        every whole multiple of the step is tried

    Returns
    -------
    SpanResult : humps and hollows both count; contacts are the two neighbours

    Raises
    ------
    MeasureError : stations that are not on an even grid, or no three of them in a row
    """
    x, y, z = (where.x, where.y, where.height) if isinstance(where, Surface) else station_grid(where)
    best: dict[float, Found] = {}
    for heading, along in zip(ROWS_AND_COLUMNS, (x, y), strict=True):
        if len(along) < 3:
            continue
        step = float(along[1] - along[0])
        both = (reaching(z, heading, len(along), sign) for sign in (-1, 1))
        for (k, behind), (_, ahead) in zip(*both, strict=False):
            off = np.abs(z - (behind + ahead) / 2)
            if np.isnan(off).all():
                continue
            iy, ix = np.unravel_index(int(np.nanargmax(off)), off.shape)
            at = (float(x[ix]), float(y[iy]))
            ends = (beyond(at, heading, -k * step), beyond(at, heading, k * step))
            _keep(best, (round(2 * k * step, 6), float(off[iy, ix]), at, ends))
    if not best:
        what, expected = "the grid method needs three stations in a row", "a grid of three rows or three columns"
        raise MeasureError(what, expected=expected, remedy="read more stations, or use the bar method")
    note = "grid method: a point against the mean of its two neighbours"
    return _held(list(best.values()), distances, allowed, rounded, note)


def span_gaps(surface: Surface, headings: int = 12) -> list[Found]:
    """The largest gap for each distance between two contact points on which a bar really rests.

    Bars run from a node along the headings, whole steps long, and are looked at every step. A bar rests on
    its two ends where nothing between stands above the chord.

    Returns
    -------
    list of (distance [mm], gap [mm], at, contacts), by distance; where no bar of that length rests on both
    ends the gap is 0, and at is None
    """
    best: dict[float, Found] = {}
    for heading in all_headings(headings):
        for sign in signs_of(heading, 1.0):
            for found in _resting(surface, heading, sign):
                _keep(best, found)
    return [best[distance] for distance in sorted(best)]


def _keep(best: dict[float, Found], found: Found) -> None:
    if found[0] not in best or found[1] > best[found[0]][1]:
        best[found[0]] = found


def _resting(surface: Surface, heading: Heading, sign: int) -> Iterator[Found]:
    z = surface.height
    start = z.reshape(-1)
    arm = [ahead.reshape(-1) for _, ahead in reaching(z, heading, sum(z.shape), sign)]
    if len(arm) < 2:
        return
    between = np.array(arm)
    with np.errstate(invalid="ignore"):
        steepest = between[0] - start - TOUCH_MM  # of the chords to the points between, so far
        for k in range(2, len(arm) + 1):
            slope = (between[k - 1] - start) / k
            rests = np.flatnonzero(slope >= steepest).astype(np.int64)  # NaN, beyond a break, never rests
            yield _deepest(surface, heading, sign, k, rests, start, slope, between)
            steepest = np.fmax(steepest, slope - TOUCH_MM / k)


def _deepest(
    surface: Surface,
    heading: Heading,
    sign: int,
    k: int,
    rests: NDArray[np.int64],
    start: Floats,
    slope: Floats,
    between: Floats,
) -> Found:
    distance = round(k * surface.spacing * heading.step, 6)
    if not len(rests):
        return distance, 0.0, None, ()
    gaps = start[rests] + slope[rests] * np.arange(1, k)[:, None] - between[: k - 1, rests]
    i, best = np.unravel_index(int(gaps.argmax()), gaps.shape)
    if gaps[i, best] <= TOUCH_MM:
        return distance, 0.0, None, ()
    iy, ix = divmod(int(rests[best]), surface.height.shape[1])
    first = node(surface, iy, ix)
    at, last = (beyond(first, heading, sign * n * surface.spacing) for n in (int(i) + 1, k))
    return distance, float(gaps[i, best]), at, (first, last)


def _held(
    found: list[Found], distances: Sequence[float], allowed: Sequence[float], rounded: bool, note: str
) -> SpanResult:
    found = sorted(found, key=lambda one: one[0])
    bound = [allowed_at(one[0], distances, allowed, rounded) for one in found]
    if min(bound) <= 0:
        what, expected = "an allowed gap that rounds to nothing", "half a millimetre or more"
        remedy = "ask for allowed gaps that are not rounded"
        raise ArgumentError(what, value=Note("exact", mm=min(allowed)), expected=expected, remedy=remedy)
    ratios = [settle(one[1]) / most for one, most in zip(found, bound, strict=True)]
    row = int(np.argmax(ratios))
    distance, gap, at, contacts = found[row]
    table = pd.DataFrame(
        {"distance_mm": [one[0] for one in found], "gap_mm": [one[1] for one in found], "allowed_mm": bound}
    )
    return SpanResult(Measured(gap, at, contacts, note), distance, gap, bound[row], table)
