"""Measures on the stations themselves, without a surface between them: neighbours and abrupt steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from flatness.errors import MeasureError
from flatness.measures.measured import Measured
from flatness.surface.grids import grid_axes, on_grid, places_on
from flatness.survey.readings import SAME_PLACE_MM, Floats, Survey

EVEN_MM = 1.0  # grid steps that differ by no more are one step; the kit's own tolerance

Pairs = NDArray[np.int64]


def station_grid(survey: Survey) -> tuple[Floats, Floats, Floats]:
    """Stations on an even grid: x [nx], y [ny] and height [ny, nx] mm, NaN where a station was not taken.

    Raises
    ------
    MeasureError : stations that are not on a grid, or on one whose steps along x or along y differ
    """
    x, y, height, _ = survey.stations()
    axes = grid_axes(x, y)
    if axes is None or any(np.ptp(np.diff(axis)) > EVEN_MM for axis in axes):
        raise MeasureError(
            "the stations are not on an even grid", expected="rows and columns at equal steps",
            remedy="measure the straight-line surface instead",
        )  # fmt: skip
    grid = on_grid(*axes, x, y, height)
    return axes[0], axes[1], grid


def neighbour_faces(survey: Survey) -> Measured:
    """Largest difference in height between neighbouring stations [mm], as between the faces of members.

    Parameters
    ----------
    survey : off any reference, a string too. Neighbours are consecutive stations of a line where the readings
        name their ``line``; next stations along rows and columns where they form a grid; otherwise each
        station and the one nearest to it

    Returns
    -------
    Measured : at the station that stands proud of the other; the note says which neighbours were compared

    Raises
    ------
    MeasureError : no two neighbouring stations
    """
    names = survey.points["line"].astype(str).str.strip().to_numpy()
    if (names != "").any():
        x, y, height = survey.xyz()
        pairs, how = _line_pairs(x, y, names), "consecutive stations of each line"
    else:
        x, y, height, _ = survey.stations()
        axes = grid_axes(x, y)
        if axes is not None:
            pairs, how = _grid_pairs(x, y, *axes), "next stations along rows and columns"
        else:
            pairs, how = _nearest_pairs(x, y), "each station and the one nearest to it"
    if not len(pairs):
        raise MeasureError("no two neighbouring stations", expected="two stations or more", remedy="take more readings")
    return _largest(x, y, height, pairs, f"neighbours: {how}")


def station_step_within(survey: Survey, base: float) -> Measured:
    """Largest difference in height [mm] between any two stations at most ``base`` [mm] apart.

    Raises
    ------
    MeasureError : no two stations that close
    """
    x, y, height, _ = survey.stations()
    pairs = KDTree(np.column_stack([x, y])).query_pairs(base * (1 + 1e-9), output_type="ndarray")
    if not len(pairs):
        raise MeasureError(
            "no two stations are close enough for an abrupt step",
            expected=f"stations {base:.0f} mm apart or less", remedy="read both sides of the step",
        )  # fmt: skip
    return _largest(x, y, height, pairs.astype(np.int64), f"stations at most {base:.0f} mm apart")


def _largest(x: Floats, y: Floats, height: Floats, pairs: Pairs, note: str) -> Measured:
    difference = height[pairs[:, 1]] - height[pairs[:, 0]]
    worst = int(np.abs(difference).argmax())
    places = tuple((float(x[k]), float(y[k])) for k in pairs[worst])
    return Measured(float(abs(difference[worst])), places[int(difference[worst] > 0)], places, note)


def _line_pairs(x: Floats, y: Floats, names: NDArray[np.object_]) -> Pairs:
    pairs: list[Pairs] = []
    for name in dict.fromkeys(names[names != ""].tolist()):
        rows = np.flatnonzero(names == name)
        places = np.column_stack([x[rows], y[rows]])
        direction = np.linalg.svd(places - places.mean(axis=0), full_matrices=False)[2][0]
        along = places @ direction
        rows, along = rows[np.argsort(along, kind="stable")], np.sort(along)
        # a station read again is no neighbour of itself
        apart = np.diff(along) > SAME_PLACE_MM
        pairs.append(np.column_stack([rows[:-1], rows[1:]])[apart])
    return np.concatenate(pairs)


def _grid_pairs(x: Floats, y: Floats, grid_x: Floats, grid_y: Floats) -> Pairs:
    index = np.full((len(grid_y), len(grid_x)), -1, dtype=np.int64)
    column, row, on = places_on(grid_x, grid_y, x, y)
    index[row[on], column[on]] = np.flatnonzero(on)
    both = [
        np.column_stack([a.ravel(), b.ravel()]) for a, b in ((index[:, :-1], index[:, 1:]), (index[:-1], index[1:]))
    ]
    pairs = np.concatenate(both)
    return np.asarray(pairs[(pairs >= 0).all(axis=1)])


def _nearest_pairs(x: Floats, y: Floats) -> Pairs:
    if len(x) < 2:
        return np.empty((0, 2), dtype=np.int64)
    places = np.column_stack([x, y])
    return np.asarray(KDTree(places).query(places, k=2)[1], dtype=np.int64)
