"""What a crew can chalk and set: straight outlines on the lattice's marks, and heights at their corners and inside.

Between the marks a place is straight: a bar goes from one to the next. Fill runs out to nothing where the bar meets
the floor, and planing ends there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator
from shapely import MultiPoint, Polygon

from flatness.corrections.setting import MARK_STEP_MM
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats, Survey

Mask = NDArray[np.bool_]
MOST_CORNERS = 12
NARROWEST_STEPS = 2.0  # of the lattice, about a foot: no outline is narrower
SPLIT = 1.4  # times its own ground that an outline may enclose before it is tried in two parts
IN_STEP_MM, MM_STEP_MM = 25.4 / 32, 0.5  # to which heights are set: 1/32 in, or half a millimetre
COLUMNS = ("name", "mark", "x_mm", "y_mm", "set_mm", "reading_mm", "found_mm", "change_mm")
CROSS = ndimage.generate_binary_structure(2, 1)


@dataclass(frozen=True, eq=False)
class Place:
    """One place to work on.

    Attributes
    ----------
    sign : 1 where it is filled or raised, -1 where it is planed
    outline : as it is chalked [mm], its corners on nodes of the lattice
    nodes : [ny, nx] inside the outline, or on it
    """

    sign: int
    outline: Polygon
    nodes: Mask


def places_of(change: Floats, surface: Surface, least: float) -> list[Place]:
    """The places in which a change [ny, nx] mm is at least so deep, each with an outline around it."""
    found: list[Place] = []
    for sign in (1, -1):
        deep = sign * np.nan_to_num(change) >= least
        joined = ndimage.binary_closing(np.pad(deep, 2), np.ones((3, 3), dtype=bool))[2:-2, 2:-2] & surface.inside
        labels, count = ndimage.label(joined, np.ones((3, 3)))
        places = [_place(sign, labels == k + 1, surface) for k in range(count)]
        found += _merged(places, surface)
    return found


def _place(sign: int, nodes: Mask, surface: Surface) -> Place:
    outline = _outline(nodes, surface)
    sides = np.array(outline.minimum_rotated_rectangle.exterior.coords)
    if np.hypot(*np.diff(sides, axis=0).T).min() < NARROWEST_STEPS * surface.spacing * (1 - 1e-6):
        outline = _outline(ndimage.binary_dilation(nodes, CROSS) & surface.inside, surface)
    return Place(sign, outline, _inside(outline, surface))


def _merged(places: list[Place], surface: Surface) -> list[Place]:
    """Places of one sign whose outlines overlap are one."""
    while True:
        pair = next(
            ((a, b) for i, a in enumerate(places) for b in places[i + 1 :]
             if a.outline.intersection(b.outline).area > surface.spacing**2 / 2), None,
        )  # fmt: skip
        if pair is None:
            return places
        nodes = pair[0].nodes | pair[1].nodes
        outline = _outline(nodes, surface)
        one = Place(pair[0].sign, outline, _inside(outline, surface))
        places = [place for place in places if place is not pair[0] and place is not pair[1]] + [one]


def _inside(outline: Polygon, surface: Surface) -> Mask:
    gx, gy = np.meshgrid(surface.x, surface.y)
    return np.asarray(shapely.contains_xy(outline.buffer(1e-3), gx, gy), dtype=bool) & surface.inside


def _outline(nodes: Mask, surface: Surface) -> Polygon:
    """The outline around nodes: convex, or two convex parts where that leaves much less ground inside it."""
    whole = _hull(nodes, surface)
    ground = float(nodes.sum()) * surface.spacing**2
    if whole.area <= SPLIT * ground:
        return whole
    best = whole
    for axis in (0, 1):
        lines = np.flatnonzero(nodes.any(axis=1 - axis))
        for cut in lines[2:-2:2]:
            parts = [np.zeros_like(nodes), np.zeros_like(nodes)]
            low, high = (np.s_[: cut + 1], np.s_[cut:])
            for part, rows in zip(parts, (low, high), strict=True):
                where = (rows, slice(None)) if axis == 0 else (slice(None), rows)
                part[where] = nodes[where]
            two = shapely.union_all([_hull(part, surface) for part in parts])
            fits = isinstance(two, Polygon) and not two.interiors and _corners(two) <= MOST_CORNERS
            if fits and two.area < best.area:
                best = two
    return best


def _corners(outline: Polygon) -> int:
    return len(outline.exterior.coords) - 1


def _hull(nodes: Mask, surface: Surface) -> Polygon:
    """The convex outline around nodes, of eight sides where it has over twelve."""
    rows, columns = np.nonzero(nodes)
    hull = MultiPoint(np.column_stack([columns, rows])).convex_hull
    if not isinstance(hull, Polygon):
        # in single file: the outline is a step wide either side
        return _hull(ndimage.binary_dilation(nodes, CROSS), surface)
    if not isinstance(hull, Polygon) or _corners(hull) > MOST_CORNERS:
        hull = _eight_sided(rows, columns)
    return Polygon(np.array([surface.x[0], surface.y[0]]) + surface.spacing * np.array(hull.exterior.coords[:-1]))


def _eight_sided(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Polygon:
    """Around nodes, with sides along rows, columns and diagonals; its corners are nodes, in steps of the lattice."""
    box = shapely.box(columns.min(), rows.min(), max(columns.max(), columns.min() + 1), max(rows.max(), rows.min() + 1))
    far = 4.0 * (1 + max(np.abs(rows).max(), np.abs(columns).max()))
    total, apart = columns + rows, columns - rows
    for low, high, along in ((total.min(), total.max(), 1), (apart.min(), apart.max(), -1)):
        # between two parallel diagonals
        down, up = -far * along, far * along
        box = box.intersection(Polygon([(low + far, down), (high + far, down), (high - far, up), (low - far, up)]))
    return box


def set_heights(
    place: Place, change: Floats, surface: Surface, survey: Survey, step: float, rounded: bool
) -> tuple[Floats, list[tuple[str, float, float, float]]]:
    """Heights [ny, nx] mm that a place is set to, NaN elsewhere, and its marks: what, x, y, height [mm].

    Parameters
    ----------
    place : with its outline
    change : [ny, nx] mm that is wanted
    step : between marks inside the outline [mm]
    rounded : whether heights are set as a tape reads them
    """
    wanted = surface.height + np.nan_to_num(change)
    rows, columns = _marks(place, change, surface, step)
    corners = [(round((x - surface.x[0]) / surface.spacing), round((y - surface.y[0]) / surface.spacing))
               for x, y in place.outline.exterior.coords[:-1]]  # fmt: skip
    corners = [(c, r) for c, r in corners if surface.inside[r, c]]
    kinds = ["corner"] * len(corners) + ["inside"] * len(rows)
    at = np.array([(r, c) for c, r in corners] + list(zip(rows, columns, strict=True)), dtype=np.intp).reshape(-1, 2)
    heights = wanted[at[:, 0], at[:, 1]]
    if rounded:
        heights = as_read(heights, survey)
    target = np.full(surface.height.shape, np.nan)
    if len(at) >= 3:
        gx, gy = np.meshgrid(np.arange(len(surface.x)), np.arange(len(surface.y)))
        target = LinearNDInterpolator(at[:, ::-1], heights)(gx, gy)
    else:
        target[at[:, 0], at[:, 1]] = heights
    target[~place.nodes] = np.nan
    x, y = surface.x[at[:, 1]], surface.y[at[:, 0]]
    return target, list(zip(kinds, x.tolist(), y.tolist(), heights.tolist(), strict=True))


def _marks(place: Place, change: Floats, surface: Surface, step: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Nodes inside the outline at which a height is set: every so far along x and y, and where it is deepest."""
    every = max(1, round(step / surface.spacing))
    gx, gy = np.meshgrid(surface.x, surface.y)
    within = np.asarray(shapely.contains_xy(place.outline.buffer(-surface.spacing / 4), gx, gy), dtype=bool)
    within &= surface.inside
    rows, columns = np.nonzero(within)
    kept = (rows % every == 0) & (columns % every == 0)
    if within.any():
        deepest = int(np.argmax(place.sign * np.nan_to_num(change)[rows, columns]))
        near = np.hypot(rows - rows[deepest], columns - columns[deepest]) <= every / 2
        kept &= ~near
        kept[deepest] = True
    return rows[kept], columns[kept]


def as_read(heights: Floats, survey: Survey) -> Floats:
    """Heights [mm] rounded so that what is read there is a whole number of 1/32 in, or of half millimetres."""
    step = IN_STEP_MM if survey.unit in ("in", "ft") else MM_STEP_MM
    line = survey.line_height or 0.0
    return np.asarray(line - np.round((line - heights) / step) * step, dtype=np.float64)


def marks_table(
    named: Sequence[tuple[str, Sequence[tuple[str, float, float, float]]]], surface: Surface, survey: Survey
) -> pd.DataFrame:
    """The marks of all places, as :class:`~flatness.corrections.plan.Plan` has them."""
    line = survey.line_height

    def rows() -> Iterator[tuple[object, ...]]:
        for name, marks in named:
            for kind, x, y, height in marks:
                column, row = (round((v - axis[0]) / surface.spacing) for v, axis in ((x, surface.x), (y, surface.y)))
                found = float(surface.height[row, column])
                reading = height if line is None else line - height
                yield name, kind, x, y, height, reading, found, height - found if math.isfinite(found) else math.nan

    return pd.DataFrame(list(rows()), columns=list(COLUMNS))


MARK_STEPS = (MARK_STEP_MM, MARK_STEP_MM / 2)
