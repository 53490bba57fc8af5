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
from scipy.spatial import QhullError
from shapely import MultiPoint, Polygon

from flatness.arrays import Floats
from flatness.planning.set_heights import MARK_STEP_MM
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

Mask = NDArray[np.bool_]
MOST_CORNERS = 12
SLACK_MM = 1e-6
NARROWEST_STEPS = 2.0  # of the lattice, about a foot: no outline is narrower
SPLIT = 1.4  # times its own ground that an outline may enclose before it is tried in two parts
IN_STEP_MM, MM_STEP_MM = 25.4 / 32, 0.5  # to which heights are set: 1/32 in, or half a millimetre
COLUMNS = ("name", "mark", "x_mm", "y_mm", "set_mm", "reading_mm", "found_mm", "change_mm")
CROSS = ndimage.generate_binary_structure(2, 1)
SQUARE = np.ones((3, 3), dtype=bool)


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


def places_of(change: Floats, surface: Surface, least: float, worth: float = 0.0) -> list[Place]:
    """The places in which a change [ny, nx] mm is at least so deep, each with an outline around it.

    Two of one sign are one place where that takes no more ground between them than is ``worth`` a place [mm2].
    """
    found: list[Place] = []
    for sign in (1, -1):
        deep = sign * np.nan_to_num(change) >= least
        joined = ndimage.binary_closing(np.pad(deep, 2), SQUARE)[2:-2, 2:-2] & surface.inside
        # never across what moves the other way
        other = sign * np.nan_to_num(change) <= -least
        joined &= ~other
        labels, count = ndimage.label(joined, SQUARE)
        places = [place_around(sign, labels == k + 1, surface) for k in range(count)]
        found += merged(places, surface, other, worth)
    return found


def owned(places: Sequence[Place], change: Floats) -> list[Mask]:
    """[ny, nx] the nodes that are each place's own: where outlines overlap, of the place that moves what is there."""
    taken = np.zeros(change.shape, dtype=bool)
    moving = [place.nodes & (place.sign * np.nan_to_num(change) > 0) for place in places]
    found = []
    for k, place in enumerate(places):
        others = np.any([one for j, one in enumerate(moving) if j != k], axis=0) if len(places) > 1 else taken
        own = place.nodes & ~(others & ~moving[k]) & ~taken
        taken = taken | own
        found.append(own)
    return found


def place_around(sign: int, nodes: Mask, surface: Surface) -> Place:
    """The place around nodes [ny, nx], no narrower than can be worked."""
    outline = _outline(nodes, surface)
    # at a wall it widens to one side alone
    for _ in range(round(NARROWEST_STEPS)):
        if narrowest(outline) >= NARROWEST_STEPS * surface.spacing * (1 - 1e-6):
            break
        nodes = ndimage.binary_dilation(nodes, SQUARE) & surface.inside
        outline = _outline(nodes, surface)
    return Place(sign, outline, _inside(outline, surface))


def narrowest(outline: Polygon) -> float:
    """The shorter side of the least rectangle about an outline [mm]."""
    sides = np.array(outline.minimum_rotated_rectangle.exterior.coords)
    return float(np.hypot(*np.diff(sides, axis=0).T).min())


def merged(places: list[Place], surface: Surface, other: Mask | None = None, worth: float = -math.inf) -> list[Place]:
    """Places of one sign whose outlines overlap are one; so are those with less ground between them than is ``worth``.

    Not across nodes that move the ``other`` way [ny, nx].
    """
    joined: list[tuple[float, int, int, Place]] = []

    def weigh(i: int, j: int) -> None:
        a, b = places[i], places[j]
        overlap = a.outline.intersection(b.outline).area > surface.spacing**2 / 2
        if not overlap and a.outline.distance(b.outline) ** 2 > worth:
            return
        outline = _outline(a.nodes | b.nodes, surface)
        more = outline.area - a.outline.area - b.outline.area
        nodes = _inside(outline, surface)
        across = other is not None and (nodes & other & ~a.nodes & ~b.nodes).any()
        if overlap or (more < worth and not across):
            joined.append((-math.inf if overlap else more, i, j, Place(a.sign, outline, nodes)))

    while True:
        joined.clear()
        for i in range(len(places)):
            for j in range(i + 1, len(places)):
                weigh(i, j)
        if not joined:
            return places
        _, i, j, one = min(joined, key=lambda pair: pair[0])
        places = [place for k, place in enumerate(places) if k not in (i, j)] + [one]


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
    place: Place, change: Floats, surface: Surface, survey: Survey, within: float, deepest: Floats
) -> tuple[Floats, list[tuple[str, float, float, float]]]:
    """Heights [ny, nx] mm that a place is set to, NaN elsewhere, and its marks: what, x, y, height [mm].

    Marks stand at the corners, about every 2 ft, where it is deepest, and wherever a bar from mark to mark would else
    be farther off what is wanted than ``within``.

    Parameters
    ----------
    place : with its outline
    change : [ny, nx] mm that is wanted
    surface, survey : as found, and how it was read
    within : [mm]; heights are rounded as a tape reads them where this is no less than half of that
    deepest : [ny, nx] mm that the place may move, whichever way it does
    """
    rows, columns = np.nonzero(place.nodes)
    found = surface.height[rows, columns]
    wanted = found + np.where(place.sign * change > 0, change, 0.0)[rows, columns]
    step = tape_step(survey)
    heights, most = wanted, deepest[rows, columns] + SLACK_MM
    if within >= step / 2:
        heights = as_read(wanted, survey)
        heights = np.where(place.sign * (heights - found) > most, heights - place.sign * step, heights)
    at = {(r, c): k for k, (r, c) in enumerate(zip(rows.tolist(), columns.tolist(), strict=True))}
    corners = [
        at[r, c]
        for x, y in place.outline.exterior.coords[:-1]
        if (r := round((y - surface.y[0]) / surface.spacing), c := round((x - surface.x[0]) / surface.spacing)) in at
    ]
    every = max(1, round(MARK_STEP_MM / surface.spacing))
    middle = int(np.argmax(place.sign * (wanted - found)))
    apart = np.hypot(rows - rows[middle], columns - columns[middle]) > every / 2
    marks = list(
        dict.fromkeys([*corners, middle, *np.flatnonzero((rows % every == 0) & (columns % every == 0) & apart)])
    )
    only = np.maximum if place.sign > 0 else np.minimum
    target = heights.copy()
    while len(marks) < len(rows):
        target = _straight(rows, columns, marks, heights)
        off = np.abs(only(np.where(np.isfinite(target), target, found), found) - wanted)
        # nowhere deeper than may be
        off[place.sign * (target - found) > most] = np.inf
        off[marks] = 0.0
        if off.max() <= within:
            break
        marks.append(int(off.argmax()))
    else:
        target = heights
    grid = np.full(surface.height.shape, np.nan)
    grid[rows, columns] = target
    kinds = ["corner" if k in corners else "inside" for k in marks]
    x, y = surface.x[columns[marks]].tolist(), surface.y[rows[marks]].tolist()
    return grid, list(zip(kinds, x, y, heights[marks].tolist(), strict=True))


def _straight(rows: NDArray[np.intp], columns: NDArray[np.intp], marks: list[int], heights: Floats) -> Floats:
    """[n] heights at nodes by bars from mark to mark; NaN beyond them."""
    places = np.column_stack([rows, columns])
    try:
        return np.asarray(LinearNDInterpolator(places[marks], heights[marks])(places))
    except (QhullError, ValueError):
        found = np.full(len(rows), np.nan)  # marks in one line carry no bar across
        found[marks] = heights[marks]
        return found


def tape_step(survey: Survey) -> float:
    """To what heights are read [mm]: 1/32 in, or half a millimetre."""
    return IN_STEP_MM if survey.unit in ("in", "ft") else MM_STEP_MM


def as_read(heights: Floats, survey: Survey) -> Floats:
    """Heights [mm] rounded so that what is read there is a whole number of 1/32 in, or of half millimetres."""
    step, line = tape_step(survey), survey.line_height or 0.0
    return np.asarray(line - np.round((line - heights) / step) * step, dtype=np.float64)


def marks_table(
    named: Sequence[tuple[str, Sequence[tuple[str, float, float, float]]]], surface: Surface, survey: Survey
) -> pd.DataFrame:
    """The marks of all places, as :class:`~flatness.planning.plan.Plan` has them."""
    line = survey.line_height

    def rows() -> Iterator[tuple[object, ...]]:
        for name, marks in named:
            for kind, x, y, height in marks:
                column, row = (round((v - axis[0]) / surface.spacing) for v, axis in ((x, surface.x), (y, surface.y)))
                found = float(surface.height[row, column])
                reading = height if line is None else line - height
                yield name, kind, x, y, height, reading, found, height - found if math.isfinite(found) else math.nan

    return pd.DataFrame(list(rows()), columns=list(COLUMNS))
