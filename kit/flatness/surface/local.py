"""Kriging of large surveys: each place from the readings about it, a tile of places at a time.

Readings that others stand before tell a place next to nothing, so a place is estimated from the few hundred nearest
(as in Vecchia 1988, Estimation and model identification for continuous spatial processes), in units of the correlation
lengths; cost and memory grow with the number of places. The trend is fitted to a spread of the readings.

What is left out costs a little sharpness and no honesty: the estimate is one weighted sum of the readings, and a draw
is a surface as it may be before any reading, plus the same weighted sum of what the readings differ from it. So draws
scatter about the estimate exactly as the true surface does under the model, whatever readings were left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError
from scipy.linalg.lapack import dtrtrs
from scipy.spatial import cKDTree

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.surface.kriging import (
    Factored,
    Parameters,
    Stations,
    cholesky_factor,
    covariance,
    factor,
    fitted_trend,
    trend,
)

LARGE = 2000  # stations beyond which the covariance of all of them is factored no more
LEAST, MOST = 150, 1200  # stations about a tile that its places are estimated from
REACH = 7.5  # smoothing lengths beyond a tile that its stations reach: further ones are screened off
TILE = 64  # places of a tile, or about so many
LEAST_STEPS = 0.8  # between stations, that an estimate is taken to smooth over at the least
SPREAD = 1000  # stations that the trend is fitted to
MOST_KEPT = 4_000_000  # weights that are kept for further draws
SHAPES_KEPT = 64  # tiles of one shape have the same weights: on a grid nearly all


@dataclass(frozen=True, eq=False)
class _Tile:
    """Some places, the stations that they are estimated from, their weights [k, t] and what is left unknown [t] mm2."""

    places: NDArray[np.intp]
    stations: NDArray[np.intp]
    weights: Floats
    variance: Floats


class Nearby:
    """Places x, y [m] mm estimated from the stations about each.

    Parameters
    ----------
    stations : all of them
    p : parameters of the surface
    x, y : [m] mm
    spacing : step [mm] of the lattice that most of the places stand on
    """

    def __init__(self, stations: Stations, p: Parameters, x: Floats, y: Floats, spacing: float) -> None:
        self._stations, self._p, self._x, self._y = stations, p, x, y
        self._spread = np.random.default_rng(0).permutation(len(stations.x))[:SPREAD]
        self._trend = _factored(stations.chosen(self._spread), p)
        self._tree = cKDTree(np.column_stack([stations.x / p.length_x, stations.y / p.length_y]))
        self._parts = _cells(x, y, spacing)
        self._reach = REACH * _smoothing(stations, p)
        self._kept: list[_Tile] | None = None

    def estimate(self) -> tuple[Floats, Floats]:
        """Best estimate [m] mm and its variance [m] mm2."""
        mean, variance = np.empty(len(self._x)), np.empty(len(self._x))
        slope = fitted_trend(self._trend, self._stations.height[self._spread])
        for tile in self._tiles():
            lean = self._lean(tile)
            mean[tile.places] = tile.weights.T @ self._stations.height[tile.stations] + lean @ slope
            unsure = dtrtrs(self._trend.gram_low, lean.T, lower=1)[0]
            variance[tile.places] = tile.variance + (unsure * unsure).sum(axis=0)
        return mean, variance

    def conditioned(self, there: Floats, read: Floats) -> Floats:
        """Random surfaces made to agree with the readings [m, k] mm (Matheron's rule).

        ``there`` [m, k] mm are surfaces without a trend at the places, ``read`` [n, k] mm readings of the same surfaces
        at the stations.
        """
        off = self._stations.height[:, None] - read
        slope, out = fitted_trend(self._trend, off[self._spread]), there.copy()
        for tile in self._tiles():
            out[tile.places] += tile.weights.T @ off[tile.stations] + self._lean(tile) @ slope
        return out

    def _lean(self, tile: _Tile) -> Floats:
        """[t, 3] what of the trend at the places the weights leave out."""
        here = trend(self._x[tile.places], self._y[tile.places])
        there = trend(self._stations.x[tile.stations], self._stations.y[tile.stations])
        return np.asarray(here - tile.weights.T @ there)

    def _tiles(self) -> Iterator[_Tile]:
        if self._kept is not None:
            yield from self._kept
            return
        kept, shapes, size = list[_Tile](), dict[bytes, tuple[Floats, Floats]](), 0
        for places in self._parts:
            tile = self._tile(places, shapes)
            size += 0 if any(tile.weights is weights for weights, _ in shapes.values()) else tile.weights.size
            if size <= MOST_KEPT:
                kept.append(tile)
            yield tile
        if size <= MOST_KEPT:
            self._kept = kept

    def _tile(self, places: NDArray[np.intp], shapes: dict[bytes, tuple[Floats, Floats]]) -> _Tile:
        stations, p = self._stations, self._p
        x, y = self._x[places], self._y[places]
        middle = np.array([(x.min() + x.max()) / 2 / p.length_x, (y.min() + y.max()) / 2 / p.length_y])
        radius = self._reach + float(np.hypot(np.ptp(x) / p.length_x, np.ptp(y) / p.length_y)) / 2
        near = np.asarray(self._tree.query(middle, min(MOST, len(stations.x)))[0])
        radius = min(max(radius, float(near[min(LEAST, len(near)) - 1])), float(near[-1]))
        # all that stand as far as the farthest, so that tiles of a grid have stations of one shape
        index = np.sort(np.array(self._tree.query_ball_point(middle, radius * (1 + 1e-6)), dtype=np.intp))
        some = stations.chosen(index)
        key = b"" if p.framing else _shape(some, x, y)
        if key in shapes:
            weights, variance = shapes[key]
            return _Tile(places, index, weights, variance)
        k = covariance(some.x, some.y, some.x, some.y, p)
        k[np.diag_indices_from(k)] += some.error_variance(p)
        low = _low(k)
        v = dtrtrs(low, covariance(some.x, some.y, x, y, p), lower=1)[0]
        weights = dtrtrs(low, v, lower=1, trans=1)[0]
        variance = np.asarray(p.variance(x, y) - (v * v).sum(axis=0))
        if key and len(shapes) < SHAPES_KEPT:
            shapes[key] = weights, variance
        return _Tile(places, index, weights, variance)


def nearest(stations: Stations, p: Parameters, x: Floats, y: Floats, most: int) -> Stations:
    """The stations that are nearest to any of the places x, y [m] mm, in units of the correlation lengths."""
    if len(stations.x) <= most:
        return stations
    away = cKDTree(np.column_stack([x / p.length_x, y / p.length_y])).query(
        np.column_stack([stations.x / p.length_x, stations.y / p.length_y])
    )[0]
    return stations.chosen(np.sort(np.argpartition(np.asarray(away), most)[:most]))


def _smoothing(stations: Stations, p: Parameters) -> float:
    """Over what distance, in correlation lengths, an estimate smooths: one over the wave number at which the surface's
    spectrum falls to that of the errors of reading (Matern 5/2 in the plane; Rasmussen and Williams, section 4.2.1).
    """
    x, y = stations.x / p.length_x, stations.y / p.length_y
    each = float(np.ptp(x) * np.ptp(y)) / len(x)  # the room that a station has
    noise = float(np.mean(stations.error_variance(p))) * each
    at_none = 4 * np.pi * 2.5 * 5**2.5 * p.scale**2
    number = (at_none / noise) ** (1 / 3.5) - 5
    return float(max(1 / np.sqrt(max(number, 0.5)), LEAST_STEPS * np.sqrt(each)))


def _cells(x: Floats, y: Floats, spacing: float) -> list[NDArray[np.intp]]:
    """The places in square cells of whole lattice steps, about ``TILE`` of them in each."""
    wide, high = float(np.ptp(x)) + spacing, float(np.ptp(y)) + spacing
    side = spacing * max(1, round(np.sqrt(TILE * wide * high / len(x)) / spacing))
    column, row = (np.floor((at - at.min()) / side + 1e-6).astype(np.int64) for at in (x, y))
    cell = row * (int(column.max()) + 1) + column
    order = np.argsort(cell, kind="stable")
    ends = np.flatnonzero(np.diff(cell[order])) + 1
    return [np.asarray(part, dtype=np.intp) for part in np.split(order, ends)]


def _shape(stations: Stations, x: Floats, y: Floats) -> bytes:
    """What the weights depend on, wherever it lies: equal for tiles whose stations and places stand alike."""
    x0, y0 = x.min(), y.min()
    at = np.round(np.concatenate([stations.x - x0, stations.y - y0, x - x0, y - y0]), 3)
    doubt = b"" if stations.doubt is None else stations.doubt.tobytes()
    return bytes(np.int64(len(x))) + (at + 0.0).tobytes() + stations.count.tobytes() + doubt


def _low(k: Floats) -> Floats:
    try:
        return cholesky_factor(k)
    except LinAlgError:
        what, remedy = "the readings' covariance cannot be factored", "check for stations read twice"
        raise ArgumentError(what, remedy=remedy) from None


def _factored(stations: Stations, p: Parameters) -> Factored:
    try:
        return factor(stations, p)
    except LinAlgError:
        what, remedy = "the readings' covariance cannot be factored", "check for stations read twice"
        raise ArgumentError(what, remedy=remedy) from None
