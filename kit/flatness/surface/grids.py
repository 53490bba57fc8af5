"""Stations that form a grid, or most of one: its positions along x and along y, and what stands on it.

A few readings set between the stations of a grid do not make a finer grid of it: a row or column that stands closer to
its neighbours than the grid's own step, and on which stations are missing where the neighbours have them, is no part of
the grid. Its stations stand off the grid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flatness.survey.readings import Floats

SAME_MM = 0.5  # a station so near to a position stands on it
MOST_BLANK = 12  # places of a grid for each station, beyond which it is none, even without rows set between
CLOSER = 0.75  # of the grid's step: rows closer than this may be set between
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
    columns, rows = _own(taken.T, ux), _own(taken, uy)
    ux, uy, taken = ux[columns], uy[rows], taken[np.ix_(rows, columns)]
    if len(ux) < 2 or len(uy) < 2 or taken.size > 4 * len(x):
        return None
    whole_cells = taken[1:, 1:] & taken[1:, :-1] & taken[:-1, 1:] & taken[:-1, :-1]
    return (ux, uy) if 4 * whole_cells.sum() >= len(x) else None


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


def _own(taken: Bools, at: Floats) -> NDArray[np.intp]:
    """Rows of ``taken`` [n, m], at positions ``at`` [n] mm, without those that were set between."""
    count = taken.sum(axis=1)
    usual = at[2 * count >= count.max()]
    step = float(np.median(np.diff(usual))) if len(usual) > 1 else 0.0
    keep = np.arange(len(at))
    while True:
        share = [_share(taken, at, count, keep, i, step) for i in range(len(keep))]
        if not share or min(share) >= 1:
            return keep
        keep = np.delete(keep, int(np.argmin(share)))


def _share(taken: Bools, at: Floats, count: NDArray[np.intp], keep: NDArray[np.intp], i: int, step: float) -> float:
    """Of the stations that the fuller rows on both sides have in common, the share that this row has too.

    1 where the row stands at the grid's own step, or at the edge.
    """
    here = keep[i]
    below = [k for k in keep[:i] if count[k] > count[here]]
    above = [k for k in keep[i + 1 :] if count[k] > count[here]]
    if not below or not above or min(at[here] - at[below[-1]], at[above[0]] - at[here]) >= CLOSER * step:
        return 1.0
    both = taken[below[-1]] & taken[above[0]]
    return float(taken[here][both].mean()) if both.any() else 1.0
