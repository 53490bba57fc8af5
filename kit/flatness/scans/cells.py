"""Heights of a surface at the cells of a lattice, from points that pass by once: robust, each with its own error.

Each cell keeps a histogram of how far its points stand off the surface's plane. A point is shared between the two bins
beside it, so that the histogram's mean is the points' own however coarsely they were written down. Memory goes with
the cells, whatever the number of points. The height of a cell is a biweight M-estimate begun at the shortest half of
its points (Rousseeuw and Leroy 1988), so that points of something else, such as the foot of a box, move it little. Its
error is that of an M-estimate, from the same histogram (Huber 1981, section 3.2; sources from memory): what one cell's
points tell of their own mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.scans.planes import BIWEIGHT, Plane

BIN_MM = 0.5
REACH_MM = 75.0  # off its plane, within which a surface is sought: old floors are off by 2 in
BINS = round(2 * REACH_MM / BIN_MM) + 2  # of a cell
BIN_BYTES = 4
CLEAR_MM = 30.0  # from the next surface, within which points are as likely of that one
FEWEST = 12  # points of a cell
OFF_CENTER = 0.25  # of a cell's width, that the middle of its points may be off its own
SHORTEST_HALF_SIGMA = 1 / 1.34898  # of the shortest half's width: a normal's middle half is 1.349 wide
LEAST_SCALE_MM = 0.5
WIDE = 2.0  # times the usual spread, over which a cell's own spread is of what stands in it
LEAST_OWN = 0.8  # share of a cell's points that are of the surface; in a cell with less stands something else
STANDING_MM = 12.7  # over what lies around within a window of cells: a thing on the surface; the kit's own
WINDOW = 5
ROUNDS = 12
AT_ONCE = 4_000_000  # bins that are worked on together


@dataclass(frozen=True)
class Cells:
    """What a surface's points say at each cell of its lattice; arrays are [row = y, column = x].

    Attributes
    ----------
    height : off the surface's plane, at the middle of the cell, toward the room [mm]; NaN where nothing is known
    error : of each, one standard deviation [mm]
    points : that were counted in each cell
    noise : usual spread of the points about their cell [mm], one standard deviation
    emptied : cells that were emptied, since they stand off all around, or since part of them is of something else
    """

    height: Floats
    error: Floats
    points: NDArray[np.int64]
    noise: float
    emptied: int


class Gatherer:
    """Gathers the points of one surface into the histograms of its cells.

    Parameters
    ----------
    plane : of the surface
    start : first corner of the lattice, of the two coordinates along the plane [mm]
    shape : rows and columns of cells
    cell : width of a cell [mm]
    """

    def __init__(self, plane: Plane, start: tuple[float, float], shape: tuple[int, int], cell: float) -> None:
        self.plane, self.start, self.shape, self.cell = plane, start, shape, cell
        count = shape[0] * shape[1]
        self.histogram = np.zeros(count * BINS, dtype=np.float32)
        self.sums = np.zeros((3, count))  # points, and how far they lie off the cell's middle along both

    def add(self, points: Floats, off: Floats) -> None:
        """Add points [n, 3] of the room's frame that stand ``off`` [n] the plane, all within reach."""
        rows, columns = self.shape
        first, second = self.plane.others
        x = (points[:, first] - self.start[0]) / self.cell
        y = (points[:, second] - self.start[1]) / self.cell
        column, row = np.floor(x), np.floor(y)
        inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        if not inside.all():
            x, y, column, row, off = x[inside], y[inside], column[inside], row[inside], off[inside]
        where = row.astype(np.int64) * columns + column.astype(np.int64)
        place = (off + REACH_MM) / BIN_MM
        lower = np.floor(place).astype(np.int64)
        share = (place - lower).astype(np.float32)
        lower += where * BINS
        np.add.at(self.histogram, lower, np.float32(1) - share)
        np.add.at(self.histogram, lower + 1, share)
        for k, weight in enumerate((None, x - column - 0.5, y - row - 0.5)):
            self.sums[k] += np.bincount(where, weight, minlength=self.sums.shape[1])

    def place(self, row: NDArray[np.int64], column: NDArray[np.int64], within: float) -> tuple[Floats, Floats]:
        """Both coordinates along the plane of cells: of a corner (``within`` 0), or of the middle (0.5)."""
        first: Floats = self.start[0] + (column + np.float64(within)) * self.cell
        second: Floats = self.start[1] + (row + np.float64(within)) * self.cell
        return first, second

    def cells(self) -> Cells:
        """The heights of all cells that hold enough points."""
        counts = np.round(self.sums[0]).astype(np.int64)
        middle = self.sums[1:] / np.maximum(self.sums[0], 1)
        known = np.flatnonzero((counts >= FEWEST) & (np.abs(middle).max(axis=0) <= OFF_CENTER))
        height, error, own = (np.full(len(counts), np.nan) for _ in range(3))
        noise = math.nan
        if len(known):
            height[known], error[known], own[known], noise = self._estimates(known)
        grid = height.reshape(self.shape)
        emptied = stands_out(grid) | (own.reshape(self.shape) < LEAST_OWN)
        grid[emptied] = np.nan
        grid, spread = to_middles(grid, error.reshape(self.shape), *(part.reshape(self.shape) for part in middle))
        return Cells(grid, spread, counts.reshape(self.shape), noise, int(emptied.sum()))

    def _estimates(self, known: NDArray[np.intp]) -> tuple[Floats, Floats, Floats, float]:
        """Height and error of the known cells [mm], the share of points that are their own, the usual spread [mm]."""
        table = self.histogram.reshape(-1, BINS)
        at_once = max(1, AT_ONCE // BINS)
        parts = [known[i : i + at_once] for i in range(0, len(known), at_once)]
        halves = [shortest_half(table[part]) for part in parts]
        usual = float(np.median(np.concatenate([width for _, width in halves]))) * SHORTEST_HALF_SIGMA
        usual = max(usual, LEAST_SCALE_MM)
        found = []
        for part, (start, width) in zip(parts, halves, strict=True):
            scale = np.clip(width * SHORTEST_HALF_SIGMA, LEAST_SCALE_MM, WIDE * usual)
            found.append(biweight(table[part], start, scale))
        height, error, own = (np.concatenate(part) for part in zip(*found, strict=True))
        return height * BIN_MM - REACH_MM, error * BIN_MM, own, usual


def shortest_half(table: NDArray[np.float32]) -> tuple[Floats, Floats]:
    """Middle [bins] and width [mm] of the shortest stretch of bins that holds half of a histogram, for each row."""
    total = np.cumsum(table, axis=1, dtype=np.float64)
    middle, width = np.empty(len(table)), np.empty(len(table))
    places = np.arange(-0.5, table.shape[1])
    for k, (row, part) in enumerate(zip(total, table, strict=True)):
        edges = np.concatenate([[0.0], row])
        at = np.flatnonzero(part)
        lower = np.concatenate([at - 0.5, at + 0.5])  # a stretch that is shortest begins or ends at an edge of a bin
        filled = edges[(lower + 0.5).astype(np.int64)]
        half = row[-1] / 2
        begins = filled <= half
        ends = np.interp(filled[begins] + half, edges, places)
        widths = ends - lower[begins]
        best = int(np.argmin(widths))
        width[k], middle[k] = widths[best] * BIN_MM, lower[begins][best] + widths[best] / 2
    return middle, width


def biweight(table: NDArray[np.float32], start: Floats, scale: Floats) -> tuple[Floats, Floats, Floats]:
    """Biweight M-estimate of each row of histograms, its standard error [in bins], the share of points in its reach.

    Parameters
    ----------
    table : counts [n, bins]
    start : where to begin [n], in bins
    scale : spread of the points [n], one standard deviation [mm]
    """
    bins = np.arange(table.shape[1], dtype=np.float64)
    reach = (BIWEIGHT * scale / BIN_MM)[:, None]
    center = start.copy()
    for _ in range(ROUNDS):
        inside = np.clip(1 - np.square((bins - center[:, None]) / reach), 0, None)
        weight = table * np.square(inside)
        total = weight.sum(axis=1)
        moved = np.divide(weight @ bins, total, out=center.copy(), where=total > 0)
        if np.abs(moved - center).max() < 1e-4:
            center = moved
            break
        center = moved
    off = (bins - center[:, None]) / reach
    inside = np.clip(1 - np.square(off), 0, None)
    influence = (table * np.square(off * np.square(inside))).sum(axis=1)
    slope = (table * inside * (1 - 5 * np.square(off))).sum(axis=1)
    error = np.sqrt(influence) * reach[:, 0] / np.maximum(slope, 1e-9)
    return center, error, (table * (inside > 0)).sum(axis=1) / table.sum(axis=1)


def stands_out(height: Floats) -> NDArray[np.bool_]:
    """Cells that stand far off the median of those around, as a shoe does on a floor; [row, column]."""
    found = np.zeros(height.shape, dtype=np.bool_)
    known = np.isfinite(height)
    half = WINDOW // 2
    around = np.lib.stride_tricks.sliding_window_view(np.pad(height, half, constant_values=np.nan), (WINDOW, WINDOW))
    windows = around[known].reshape(-1, WINDOW * WINDOW)
    found[known] = np.abs(height[known] - np.nanmedian(windows, axis=1)) > STANDING_MM
    return found


def to_middles(height: Floats, error: Floats, right: Floats, up: Floats) -> tuple[Floats, Floats]:
    """Heights at the middles of cells and their errors, from means over what was seen of each.

    A mean over a cell of a surface that curves is off its middle by a 24th of the second differences (the midpoint
    rule's error), and by slope times distance where the points lie to one side; both are taken away where neighbours
    tell them.

    Parameters
    ----------
    height, error : of cells [mm]; NaN where not known
    right, up : how far the middle of a cell's points lies off the cell's own, in cells
    """
    found, own, beside = height.copy(), np.ones(height.shape), np.zeros(height.shape)
    for axis, off in ((1, right), (0, up)):
        (before, after), errors = (_neighbours(part, axis) for part in (height, error))
        left, next_ = ~np.isnan(before), ~np.isnan(after)
        both = left & next_
        # weights of the cell before, of the cell after; the cell's own is what makes their sum zero
        first = np.where(left, off / np.where(both, 2, 1), 0) - np.where(both, 1 / 24, 0)
        last = np.where(next_, -off / np.where(both, 2, 1), 0) - np.where(both, 1 / 24, 0)
        found += np.where(left, first * (np.nan_to_num(before) - height), 0)
        found += np.where(next_, last * (np.nan_to_num(after) - height), 0)
        own -= first + last
        beside += np.nan_to_num(np.square(first * errors[0])) + np.nan_to_num(np.square(last * errors[1]))
    spread = np.sqrt(np.square(own * error) + beside)
    spread[np.isnan(height)] = np.nan
    return found, spread


def _neighbours(values: Floats, axis: int) -> tuple[Floats, Floats]:
    """Of each cell, the values of those before and after it along an axis; NaN beyond the edges."""
    before, after = np.full(values.shape, np.nan), np.full(values.shape, np.nan)
    if axis == 1:
        before[:, 1:], after[:, :-1] = values[:, :-1], values[:, 1:]
    else:
        before[1:], after[:-1] = values[:-1], values[1:]
    return before, after
