"""``read_scan``: one pass through a scan, to the surveys of a room's floor, ceiling and walls on one datum."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, FlatnessError, check_choice, visible
from flatness.notes import Note
from flatness.scans.cells import BIN_BYTES, BINS, CLEAR_MM, FEWEST, REACH_MM, Cells, Gatherer
from flatness.scans.files import PointFile, open_points, unit_doubt
from flatness.scans.planes import SIDES, Plane, Planes, find_planes
from flatness.scans.records import Scan, ScanSurface
from flatness.survey.readings import make_survey

CELL_MM = 152.4
LEAST_CELL_MM = 20.0
MOST_BYTES = 600_000_000  # of all histograms
LEAST_ERROR_MM = 0.05  # a survey's accuracy is never stated finer
LEAST_HOLE = 2  # cells across, of an area without readings that is stated as an opening
SLIVER_MM = 0.5  # of the outlines of openings, which are whole cells but for where the outline cuts them
LEAST_CELLS, LEAST_SEEN = 9, 0.1  # of a surface, and their share of it; fewer are no survey
LEAST_TILT = 2.0  # mm/m that all surfaces lean alike, over which the scan is likely not plumb; the kit's own
Place = tuple[float, float]
Bools = NDArray[np.bool_]
Progress = Callable[[float, int], None]


def read_scan(
    path: str | os.PathLike[str],
    *,
    unit: str | None = None,
    cell: float = CELL_MM,
    title: str = "",
    show: str = "mm",
    progress: Progress | None = None,
) -> Scan:
    """The surfaces of one room in a scan, each as a survey on a lattice, all on one datum.

    The planes are found in a look at points spread through the file; then all points pass by once. See
    :mod:`flatness.scans.planes` and :mod:`flatness.scans.cells`.

    Parameters
    ----------
    path : of x y z text, PLY, LAS, LAZ or E57; z plumb. The last three need the optional extra ``scan``
    unit : of the file's numbers, where it states none: ``m``, ``cm``, ``mm``, ``ft`` or ``in``
    cell : width of a cell [mm]
    title : of the room; as the file is called where empty
    show : unit that the surveys are shown in, ``mm`` or ``in``
    progress : called with the share of the file that is read, and the points so far

    Returns
    -------
    Scan : ``.surfaces`` by name, each with its ``survey``; ``.write(folder)`` writes surveys and room file

    Raises
    ------
    ScanFileError : a file that cannot be taken as it is, with its row, what was expected and the remedy
    MeasureError : points among which there is no floor and no ceiling

    Examples
    --------
    >>> scan = read_scan("hall.xyz", unit="m")  # doctest: +SKIP
    >>> scan.surfaces["floor"].survey.accuracy  # doctest: +SKIP
    """
    if not (math.isfinite(cell) and cell >= LEAST_CELL_MM):
        expected = f"at least {LEAST_CELL_MM:g} mm"
        raise ArgumentError("cells too small", column="cell", value=f"{cell:g} mm", expected=expected)
    check_choice("show", show, ("mm", "in"))
    points = open_points(path, unit)
    look = points.look()
    doubt = unit_doubt(look, points.factor)
    try:
        planes = find_planes(look)
    except FlatnessError as error:
        raise (error.located(file=points.path.name) if doubt is None else _of_unit(points, doubt)) from error
    laid = {name: _lattice(plane, planes, cell) for name, plane in planes.found.items()}
    needed = sum(rows * columns * BINS * BIN_BYTES for _, (rows, columns) in laid.values())
    if needed > MOST_BYTES and doubt is not None:
        raise _of_unit(points, doubt)
    if needed > MOST_BYTES:
        raise ArgumentError(
            "too many cells for the memory",
            file=points.path.name,
            column="cell",
            value=f"{cell:g} mm",
            expected=f"at least {cell * math.sqrt(needed / MOST_BYTES):.0f} mm for a room of this size",
            remedy="choose larger cells, or cut the scan down to one room",
        )
    gatherers = {name: Gatherer(planes.found[name], *lattice, cell) for name, lattice in laid.items()}
    read = _gather(points, planes, gatherers, progress)
    frame = _Frame.of(planes)
    surfaces = {}
    notes = [] if doubt is None else [doubt]
    for name, one in gatherers.items():
        made = _surface(one, one.cells(), frame, title or points.path.stem, points.path.name, show)
        if made is not None:
            surfaces[name] = made
    missing = [name for name in ("floor", "ceiling", *SIDES) if name not in surfaces]
    if missing:
        notes.append(Note("scan-missing", names=tuple(missing)))
    if planes.tilt > LEAST_TILT:
        notes.append(Note("scan-leans", tilt=planes.tilt))
    if not surfaces:
        raise ArgumentError(
            "no surface has enough points",
            file=points.path.name,
            value=f"{read:,} points in all",
            expected=f"{FEWEST} points or more in a cell",
            remedy="choose larger cells, or scan more closely",
        )
    return Scan(
        title=title or points.path.stem,
        source=points.path.name,
        surfaces=surfaces,
        points=read,
        used=sum(int(one.cells["points"].sum()) for one in surfaces.values()),
        cell=cell,
        size=tuple(round(high - low, 1) for low, high in planes.extent),
        origin=frame.in_file(planes),
        angle=planes.angle,
        notes=tuple(notes),
    )


def _of_unit(points: PointFile, doubt: Note) -> FlatnessError:
    remedy = "name the unit that its numbers are in; cut the scan down to one room"
    return points.wrong(doubt, expected="one room", remedy=remedy)


def _lattice(plane: Plane, planes: Planes, cell: float) -> tuple[Place, tuple[int, int]]:
    """Cells of a width that begin where the room does: their corner of least coordinates; rows and columns."""
    start, count = [], []
    for axis in plane.others:
        others = [planes.middle[other] for other in range(3) if other != axis]
        low, high = (planes.edge(axis, sign, *others) for sign in (1, -1))
        start.append(low)
        count.append(max(1, math.ceil((high - low) / cell)))
    return (start[0], start[1]), (count[1], count[0])


def _gather(points: PointFile, planes: Planes, gatherers: dict[str, Gatherer], progress: Progress | None) -> int:
    """Let all points pass by once; their number."""
    read = 0
    for share, block in points.blocks():
        read += len(block)
        room = planes.to_room(block)
        off = {name: one.plane.into(room) for name, one in gatherers.items()}
        for name, one in gatherers.items():
            near = np.abs(off[name]) < REACH_MM
            for other, beside in gatherers.items():
                if other != name and beside.plane.axis != one.plane.axis:
                    near &= off[other] > CLEAR_MM  # beyond it is another room, beside it are both
            index = np.flatnonzero(near)
            one.add(room[index], off[name][index])
        if progress is not None:
            progress(share, read)
    return read


@dataclass(frozen=True)
class _Frame:
    """The room's plan and datum in the frame of its planes.

    Attributes
    ----------
    corners : [4, 2] on the plan [mm], clockwise from the corner of least x and y, which is the origin
    datum : height of the room's datum [mm]
    height : from there to the ceiling, or to the highest points [mm]
    """

    corners: Floats
    datum: float
    height: float

    @staticmethod
    def of(planes: Planes) -> _Frame:
        x, y, up = planes.middle
        corners = []
        for x_sign, y_sign in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
            corner = x, y
            for _ in range(20):  # goes to where the two edges meet, since they are all but square
                corner = planes.edge(0, x_sign, corner[1], up), planes.edge(1, y_sign, corner[0], up)
            corners.append(corner)
        datum, top = planes.extent[2]
        return _Frame(np.array(corners), datum, top - datum)

    @property
    def plan(self) -> Floats:
        """Corners on the plan from the origin [4, 2]."""
        plan: Floats = np.round(self.corners - self.corners[0], 1)
        return plan

    def in_file(self, planes: Planes) -> tuple[float, float, float]:
        """The room's origin in the file's frame [mm]."""
        x, y = self.corners[0]
        cos, sin = math.cos(planes.angle), math.sin(planes.angle)
        there = planes.origin + np.array([x * cos - y * sin, x * sin + y * cos, self.datum])
        return float(there[0]), float(there[1]), float(there[2])

    def wall(self, name: str) -> tuple[Place, Place]:
        """Start and end of a wall on the plan, left to right as seen from the room."""
        first = {"wall A": 1, "wall B": 2, "wall C": 3, "wall D": 0}[name]
        start, end = self.plan[first], self.plan[(first + 1) % 4]
        return (float(start[0]), float(start[1])), (float(end[0]), float(end[1]))

    def outline(self, plane: Plane) -> Polygon:
        """Of a surface, in its survey's frame."""
        if plane.axis == 2:
            return Polygon(self.plan)
        length, height = round(math.dist(*self.wall(plane.name)), 1), round(self.height, 1)
        return Polygon([(0, 0), (length, 0), (length, height), (0, height)])

    def in_survey(self, plane: Plane, first: Floats, second: Floats, off: Floats) -> tuple[Floats, Floats, Floats]:
        """x, y and height in a surface's survey [mm] of places that stand ``off`` its plane."""
        across = plane.across(first, second) + plane.sign * off
        if plane.axis == 2:
            up = self.height if plane.name == "ceiling" else 0.0
            x, y = self.corners[0]
            return first - x, second - y, plane.sign * (across - self.datum - round(up, 1))
        start, end = np.array(self.wall(plane.name))
        along = (end - start) / math.dist(start, end)
        pair = (across, first) if plane.axis == 0 else (first, across)
        x, y = (part - corner - begin for part, corner, begin in zip(pair, self.corners[0], start, strict=True))
        return x * along[0] + y * along[1], second - self.datum, x * along[1] - y * along[0]


def _surface(one: Gatherer, cells: Cells, frame: _Frame, title: str, source: str, show: str) -> ScanSurface | None:
    """A surface's cells as a survey; None where there are too few."""
    plane, outline = one.plane, frame.outline(one.plane)
    row, column = np.indices(one.shape)
    first, second = one.place(row, column, 0.5)
    x, y, _ = frame.in_survey(plane, first, second, np.zeros(one.shape))
    _, _, height = frame.in_survey(plane, first, second, cells.height)
    of_surface = shapely.contains_xy(outline, x, y)
    known = of_surface & np.isfinite(height)
    if np.count_nonzero(known) < max(LEAST_CELLS, LEAST_SEEN * np.count_nonzero(of_surface)):
        return None
    table = pd.DataFrame(
        {
            "x": np.round(x[known], 1),
            "y": np.round(y[known], 1),
            "height": np.round(height[known], 2),
            "error": cells.error[known],
            "points": cells.points[known],
        }
    )
    # a survey states one error for all its readings: their variance on the mean
    accuracy = max(LEAST_ERROR_MM, round(math.sqrt(float(np.square(table["error"]).mean())), 3))
    wall = frame.wall(plane.name) if plane.axis < 2 else None
    survey = make_survey(
        table["x"],
        table["y"],
        table["height"],
        surface=plane.name if wall is None else "wall",
        reference="level" if wall is None else "plumb",
        accuracy=accuracy,
        outline=outline,
        openings=list(_openings(of_surface & ~known, one, frame, outline)),
        unit=show,
        title=f"{title}, {plane.name}",
        source=source,
        keys={"instrument": f"scan {visible(source)}; areas that were not seen are openings"},
    )
    return ScanSurface(
        name=plane.name,
        survey=survey,
        cells=table,
        noise=cells.noise,
        emptied=cells.emptied,
        datum=round(frame.height, 1) if plane.name == "ceiling" else 0.0,
        line=wall,
    )


def _openings(empty: Bools, one: Gatherer, frame: _Frame, outline: Polygon) -> Iterator[Polygon]:
    """Areas of two cells by two or more without a reading, in the survey's frame, none of them with a hole."""
    wide = ndimage.binary_opening(empty, np.ones((LEAST_HOLE, LEAST_HOLE), dtype=bool))
    places, count = ndimage.label(wide)
    for k in range(1, count + 1):
        row, column = np.nonzero(places == k)
        corners = []
        for right, up in ((0, 0), (1, 0), (1, 1), (0, 1)):
            first, second = one.place(row + up, column + right, 0.0)
            x, y, _ = frame.in_survey(one.plane, first, second, np.zeros(len(row)))
            corners.append(np.column_stack([x, y]))
        boxes = shapely.polygons(np.round(np.stack(corners, axis=1), 1))
        yield from _without_holes(shapely.union_all(boxes).intersection(outline))


def _without_holes(area: shapely.Geometry) -> Iterator[Polygon]:
    """Polygons that together are an area; one with a hole is cut in two through it."""
    if isinstance(area, Polygon) and not area.is_empty and area.area > SLIVER_MM**2:
        if not area.interiors:
            yield shapely.set_precision(area.simplify(SLIVER_MM), 0.1)
            return
        left, low, right, high = area.bounds
        cut = float(shapely.Polygon(area.interiors[0]).bounds[0])
        cut = cut if left < cut < right else (left + right) / 2
        for sides in ((left, cut), (cut, right)):
            yield from _without_holes(area.intersection(shapely.box(sides[0], low, sides[1], high)))
    elif hasattr(area, "geoms"):
        for part in area.geoms:
            yield from _without_holes(part)
