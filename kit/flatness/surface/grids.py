"""Stations that form a grid, or most of one: its positions along x and along y, and what stands on it.

A few readings set between the stations of a grid do not make a finer grid of it: a row or column that stands closer to
its neighbours than the grid's own step, and on which stations are missing where the neighbours have them, is no part of
the grid, however many such readings there are. Its stations stand off the grid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flatness.survey.readings import Floats

SAME_MM = 0.5  # a station so near to a position stands on it
MOST_BLANK = 12  # places of a grid for each station, beyond which it is none, even without rows set between
CLOSER = 0.75  # of the grid's step: rows closer than this may be set between
CAP = 1.05  # of the grid's step: what a gap in a row counts at most
Bools = NDArray[np.bool_]


def grid_axes(x: Floats, y: Floats) -> tuple[Floats, Floats] | None:
    """Distinct x and y of the stations where they form a grid, or most of one; None where they do not.

    Most of one: at least one whole cell for every four stations, which a grid with openings or an L-shaped
    room has, and stations set in quincunx or at random have not. Rows and columns set between are left out.
    """
    ux, uy = distinct(x), distinct(y)
    if len(ux) < 2 or len(uy) < 2 or len(ux) * len(uy) > MOST_BLANK * len(x):
        return None
    taken = on_grid(ux, uy, x, y, np.ones_like(x)) == 1
    step_x, step_y = _usual_gap(taken, ux), _usual_gap(taken.T, uy)
    columns, rows = _own(taken.T, ux, uy, step_x, step_y), _own(taken, uy, ux, step_y, step_x)
    ux, uy, taken = ux[columns], uy[rows], taken[np.ix_(rows, columns)]
    if len(ux) < 2 or len(uy) < 2 or taken.size > 4 * len(x):
        return None
    whole_cells = taken[1:, 1:] & taken[1:, :-1] & taken[:-1, 1:] & taken[:-1, :-1]
    return (ux, uy) if 4 * whole_cells.sum() >= taken.sum() else None


def on_grid(ux: Floats, uy: Floats, x: Floats, y: Floats, values: Floats) -> Floats:
    """[len(uy), len(ux)] values of the stations at their places on the grid; NaN where there is none."""
    grid = np.full((len(uy), len(ux)), np.nan)
    column, row, on = places_on(ux, uy, x, y)
    grid[row[on], column[on]] = values[on]
    return grid


def places_on(ux: Floats, uy: Floats, x: Floats, y: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], Bools]:
    """Column and row of the nearest place on the grid for each station, and whether it stands there."""
    column, row = (np.abs(v[:, None] - axis).argmin(axis=1) for v, axis in ((x, ux), (y, uy)))
    on = (np.abs(x - ux[column]) <= SAME_MM) & (np.abs(y - uy[row]) <= SAME_MM)
    return column.astype(np.int64), row.astype(np.int64), np.asarray(on)


def distinct(values: Floats) -> Floats:
    """Positions [mm], rising, each standing for those within half a millimetre beyond it."""
    ordered = np.sort(values)
    first_of_each: Floats = ordered[np.concatenate([[True], np.diff(ordered) > SAME_MM])]
    return first_of_each


def _usual_gap(taken: Bools, at: Floats) -> float:
    """The gap [mm] such that half of the rows' length lies in gaps as wide as it or less.

    ``taken`` [rows, len(at)]. Of the length, not of the gaps: a cluster of readings has many gaps and little length.
    """
    gaps = np.concatenate([np.diff(at[row]) for row in taken])
    if not len(gaps):
        return 0.0
    gaps.sort()
    length = np.cumsum(gaps)
    return float(gaps[np.searchsorted(length, length[-1] / 2)])


def _own(taken: Bools, at: Floats, along: Floats, step: float, step_along: float) -> NDArray[np.intp]:
    """Rows of ``taken`` [len(at), len(along)] without those that were set between, rising.

    The rows that hold most of the grid's length come first; another belongs to the grid if it stands at about the
    grid's step from those, or has every station that its neighbours have in common.
    """
    gaps = [np.diff(along[row]) for row in taken]
    length = np.array([np.minimum(gap, CAP * step_along).sum() for gap in gaps])
    keep: list[int] = []
    for row in np.lexsort((np.arange(len(at)), -length)):
        apart = min((abs(at[row] - at[k]) for k in keep), default=np.inf)
        if apart >= CLOSER * step or _as_full(taken, at, keep, row):
            keep.append(int(row))
    return np.array(sorted(keep), dtype=np.intp)


def _as_full(taken: Bools, at: Floats, keep: list[int], row: int) -> bool:
    """Whether a row has every station that the rows of the grid on both sides of it have in common."""
    below = [k for k in keep if at[k] < at[row]]
    above = [k for k in keep if at[k] > at[row]]
    sides = [*([max(below)] if below else []), *([min(above)] if above else [])]
    common = np.logical_and.reduce(taken[sides])
    return bool(common.any() and taken[row][common].all())
