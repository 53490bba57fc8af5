"""The Surface: heights on a square lattice, by straight lines between the readings.

Nothing is extrapolated: a node outside the readings' reach, outside the outline or inside an opening is
NaN. On a full grid of stations each cell is bilinear between its four corners; elsewhere heights are
linear on the Delaunay triangles of the stations.

Stations that form a grid, or most of one: its positions along x and along y, and what stands on it.

A few readings set between the stations of a grid do not make a finer grid of it: a row or column that stands closer to
its neighbours than the grid's own step, and on which stations are missing where the neighbours have them, is no part of
the grid, however many such readings there are. Its stations stand off the grid.

How much of a stated outline the readings cover: what nobody read can be neither within a limit nor beyond it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, KDTree, QhullError, cKDTree

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_choice
from flatness.notes import Note
from flatness.survey.readings import Bend, Survey

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
    column, row = (_nearest(axis, v) for v, axis in ((x, ux), (y, uy)))
    on = (np.abs(x - ux[column]) <= SAME_MM) & (np.abs(y - uy[row]) <= SAME_MM)
    return column.astype(np.int64), row.astype(np.int64), np.asarray(on)


def _nearest(axis: Floats, values: Floats) -> NDArray[np.int64]:
    """Number of the nearest position on a rising axis, the lower one of two as near."""
    after = np.clip(np.searchsorted(axis, values), 1, max(len(axis) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(axis) - 1)
    return np.where(np.abs(values - axis[before]) <= np.abs(values - axis[after]), before, after).astype(np.int64)


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


FINEST_MM = 152.4  # 6 in: the default lattice is about this fine
DRAWN_NODES = 6000  # about as many nodes as other surfaces are drawn on
MOST_DRAWN = 8000  # nodes of a lattice whose step is not given: bars are set on some hundred draws of it
A_STATION = 1.1  # nodes for each of many stations
WIDER = 1.6  # times as wide as usual a step may be that puts every node on a station
MOST_NODES = 4_000_000
EDGE_MM = 1e-3  # a node this close to the outline counts as on it
STEP_NOISE = 1e-6  # slack for binary noise, in lattice steps
LENGTH_SLACK = (
    0.002  # of a bar: 610 mm stands for 2 ft, and a 10 ft bar lies on stations 3050 mm apart, not a step short
)
WEIGHT_NOISE = 1e-9
REACH = 2.0  # lattice steps from the nearest node with a value within which a place may take that value
WITHIN = 1.5  # of the grid's step: what a triangle may reach without an outline; across a missing station it is 2


class UnrolledStep(float):
    """The lattice step [mm] of a surface that was unrolled, which knows the curve: a bar on it is a template."""

    bend: Bend
    first: float
    columns: int

    def __new__(cls, step: float, bend: Bend, first: float, columns: int) -> UnrolledStep:
        """``first`` [mm] is the x of the first of so many columns."""
        made = super().__new__(cls, step)
        made.bend, made.first, made.columns = bend, first, columns
        return made

    def __getnewargs__(self) -> tuple[float, Bend, float, int]:  # type: ignore[override]
        return float(self), self.bend, self.first, self.columns

    @property
    def x(self) -> Floats:
        """[nx] mm of its columns."""
        return self.first + float(self) * np.arange(self.columns, dtype=np.float64)


@dataclass(frozen=True, eq=False, kw_only=True)
class Surface:
    """Heights on a square lattice.

    Attributes
    ----------
    x : [nx] mm, equally spaced
    y : [ny] mm, equally spaced as x
    height : [ny, nx] mm, positive toward the room; NaN where there is no surface or no reading reaches
    spacing : lattice step [mm]; of a surface that was unrolled an :class:`UnrolledStep`. One that closes has its first
        column beyond its last
    reference : as in :class:`~flatness.survey.readings.Survey`
    note : what the lattice leaves out, in words; empty where nothing
    """

    x: Floats
    y: Floats
    height: Floats
    spacing: float
    reference: str = "level"
    note: str = ""

    @property
    def is_level(self) -> bool:
        """Whether heights are off a true level or plumb reference."""
        return self.reference != "string"

    @property
    def inside(self) -> NDArray[np.bool_]:
        """[ny, nx] True where there is a height."""
        return np.isfinite(self.height)

    def nodes(self) -> tuple[Floats, Floats, Floats]:
        """x, y, height [mm] of the nodes that have a height, as three flat arrays."""
        gx, gy = np.meshgrid(self.x, self.y)
        keep = self.inside
        return gx[keep], gy[keep], self.height[keep]

    def at(self, x: ArrayLike, y: ArrayLike, values: ArrayLike | None = None, beyond: str = "nan") -> Floats:
        """The heights, or other values on the same lattice, at places: bilinear between the four nodes around each.

        Parameters
        ----------
        x, y : [n] mm, or one number
        values : [..., ny, nx]; None: the heights
        beyond : ``nan``: NaN off the lattice and wherever a blank node would carry weight; ``nearest``: the mean of the
            nodes that have a value, as :meth:`corners` weighs them, and NaN more than two lattice steps from all of
            them. There a node that is blank in one of several fields counts as blank in all

        Returns
        -------
        [..., n] in the unit of the values

        Raises
        ------
        ArgumentError : values of another shape, another word for ``beyond``

        Examples
        --------
        >>> lattice = make_surface([[0, 4], [0, math.nan]], spacing=100)
        >>> lattice.at([50, 50], [0, 50]).tolist()
        [2.0, nan]
        >>> lattice.at([50, 50, 350], [0, 50, 0], beyond="nearest").tolist()
        [2.0, 1.3333333333333333, nan]
        """
        field = self.height if values is None else np.asarray(values, dtype=np.float64)
        if field.shape[-2:] != self.height.shape:
            raise ArgumentError(
                "the values do not lie on the surface's lattice",
                column="values",
                value=str(field.shape),
                expected=f"[ny, nx] = {self.height.shape}",
            )
        check_choice("beyond", beyond, ("nan", "nearest"), "unknown rule")
        flat = field.reshape(*field.shape[:-2], self.height.size)
        known = np.asarray(np.isfinite(flat).reshape(-1, self.height.size).all(axis=0))
        nodes, weights = self.corners(x, y, known if beyond == "nearest" else None)
        found: Floats = np.where(weights == 0, 0.0, flat[..., nodes] * weights).sum(axis=-1)
        return found

    def corners(
        self, x: ArrayLike, y: ArrayLike, known: NDArray[np.bool_] | None = None
    ) -> tuple[NDArray[np.int64], Floats]:
        """The nodes that carry each place, and their weights.

        Parameters
        ----------
        x, y : [n] mm, or one number
        known : [ny, nx] or flat, which nodes have a value; None: all have, and nothing is carried off the lattice. Else
            a place up to two steps off the lattice is carried as its edge is, the weights of blank nodes go to the
            others in proportion, and where all that would carry it are blank, the nearest node with a value, up to two
            steps away, does

        Returns
        -------
        nodes [n, 4], counted row by row, and weights [n, 4], which sum to 1; NaN where nothing carries the place
        """
        x, y = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (x, y)))
        axis, turn = self.x, turn_of(self.spacing)
        if not math.isinf(turn):
            x = np.asarray(axis[0] + np.mod(x - axis[0], turn), dtype=np.float64)
            axis = np.append(axis, axis[0] + turn)
        (left, right, share_x), (low, high, share_y) = _between(axis, x), _between(self.y, y)
        right = right % len(self.x)
        nodes = np.stack([row * len(self.x) + column for row in (low, high) for column in (left, right)], axis=-1)
        across, up = (np.clip(share, 0, 1) for share in (share_x, share_y))
        weights = np.stack([v * u for v in (1 - up, up) for u in (1 - across, across)], axis=-1)
        if known is None:
            weights[(across != share_x) | (up != share_y)] = np.nan
            return nodes, weights
        weights *= known.reshape(-1)[nodes]
        total, reach = weights.sum(axis=-1), REACH * self.spacing * (1 + STEP_NOISE)
        off = np.hypot(x - np.clip(x, axis[0], axis[-1]), y - np.clip(y, self.y[0], self.y[-1]))
        lost = np.flatnonzero((total == 0) | (off > reach))
        total[lost] = np.nan
        weights /= total[:, None]
        if len(lost) and known.any():
            there = np.flatnonzero(known)
            tree = KDTree(np.column_stack([self.x[there % len(self.x)], self.y[there // len(self.x)]]))
            away, nearest = map(np.asarray, tree.query(np.column_stack([x, y])[lost], distance_upper_bound=reach))
            near = np.isfinite(away)
            nodes[lost[near], 0], weights[lost[near]] = there[nearest[near]], (1.0, 0.0, 0.0, 0.0)
        return nodes, weights


def turn_of(spacing: float) -> float:
    """After how long a lattice of this step comes back to where it began [mm]; infinite where it does not."""
    return spacing.bend.turn if isinstance(spacing, UnrolledStep) else math.inf


def make_surface(
    height: Floats, spacing: float, *, x0: float = 0.0, y0: float = 0.0, reference: str = "level"
) -> Surface:
    """A Surface from heights [ny, nx] mm on a lattice of this spacing [mm] with its first node at (x0, y0)."""
    height = np.array(height, dtype=np.float64)
    if height.ndim != 2:
        raise ArgumentError("heights must be two-dimensional, [ny, nx]", value=str(height.shape))
    check_spacing(spacing)
    ny, nx = height.shape
    x, y = x0 + spacing * np.arange(nx, dtype=np.float64), y0 + spacing * np.arange(ny, dtype=np.float64)
    return Surface(x=x, y=y, height=height, spacing=float(spacing), reference=reference)


def interpolate(survey: Survey, spacing: float | None = None) -> Surface:
    """The surface on a square lattice, by straight lines between the readings.

    Parameters
    ----------
    survey : the readings
    spacing : lattice step [mm]; None takes :func:`default_spacing`

    Returns
    -------
    Surface : its first node on the readings' least x and y; nodes beyond the readings, outside the outline
        or inside an opening are NaN

    Raises
    ------
    MeasureError : fewer than three stations, or all on one line
    """
    spacing = default_spacing(survey) if spacing is None else check_spacing(spacing)
    sx, sy, _, _ = survey.stations()
    if math.isinf(survey.turn):
        x = lattice_axes(sx, spacing)
    else:
        columns = max(3, round(survey.turn / spacing))
        spacing = survey.turn / columns
        x = spacing * np.arange(columns, dtype=np.float64)
    y = lattice_axes(sy, spacing)
    check_fineness(x, y, MOST_NODES)
    height = heights_at(survey, x, y)
    if survey.bend is not None:
        spacing = UnrolledStep(spacing, survey.bend, float(x[0]), len(x))
    return Surface(
        x=x,
        y=y,
        height=height,
        spacing=spacing,
        reference=survey.reference,
        note=_left_out(np.minimum(sx, x[-1]) if survey.turn < math.inf else sx, sy, x, y),
    )


def default_spacing(survey: Survey, lengths: tuple[float, ...] = ()) -> float:
    """A lattice step [mm] of about 6 in, wider on a large surface, that suits the stations.

    Of the steps that divide the stations' step, or the surface's length or width, the one that leaves least out:
    of strips beyond the last node, and of ``lengths`` [mm] of straightedges to be set. A step that puts nodes on
    the stations wins over one that does not, and so does one that divides half the members' spacing, where it is known.
    """
    step = station_step(survey)
    x, y, _, _ = survey.stations()
    framed = survey.framing if survey.framing is not None and survey.framing.typical > 0 else None
    closes = not math.isinf(survey.turn)
    extents = (survey.turn if closes else float(np.ptp(x)), float(np.ptp(y)))
    about = max(FINEST_MM, math.sqrt(extents[0] * extents[1] / max(DRAWN_NODES, len(x))))
    finest, widest = max(about * 2 / 3, _spacing_of(most_drawn(len(x)), extents)), about * 1.07

    def parts(whole: float, widest: float = widest) -> list[float]:
        first = max(1, math.ceil(whole / widest - STEP_NOISE))
        return [whole / n for n in range(first, math.floor(whole / finest + STEP_NOISE) + 1)]

    def lost(spacing: float) -> float:
        whole = [
            *extents,
            *extents,
            *(length * (1 + LENGTH_SLACK) for length in lengths),
        ]  # a strip left out of the surface is worse than a shorter bar
        left = [length / spacing - math.floor(length / spacing + STEP_NOISE) for length in whole]
        off_stations = abs(step / spacing - round(step / spacing)) > 1e-3
        # a ridge over one member is half a spacing wide either way, and is flat where no node stands on it
        half = framed.spacing / 2 / spacing if framed is not None else 0.0
        off_members = abs(half - round(half)) > 1e-3
        return round(sum(max(0.0, part) for part in left) + 0.75 * off_stations + 0.75 * off_members, 6)

    # of a large surface, nodes on the stations alone may be near enough
    on_stations = parts(step) or parts(step, WIDER * about)
    steps = [*on_stations, *parts(extents[0]), *parts(extents[1])] or [step / max(1, math.ceil(step / about))]
    if closes:  # the last column is a step from the first
        steps = parts(survey.turn) or [survey.turn / math.ceil(survey.turn / about)]
    return min(steps, key=lambda spacing: (lost(spacing), -spacing))


def most_drawn(stations: int) -> int:
    """Nodes that a lattice may have on which some hundred surfaces are drawn: of many stations, one a station."""
    return max(MOST_DRAWN, round(A_STATION * stations))


def _spacing_of(nodes: int, extents: tuple[float, float]) -> float:
    """The lattice step [mm] at which a rectangle has so many nodes: (a / step + 1) (b / step + 1) = nodes."""
    a, b = extents
    half = (a + b) / (2 * (nodes - 1))
    return half + math.sqrt(half * half + a * b / (nodes - 1))


def station_step(survey: Survey) -> float:
    """The step between neighbouring stations [mm]: of the grid where they form one, else the typical one."""
    x, y, _, _ = survey.stations()
    axes = grid_axes(x, y)
    if axes is not None:
        steps = np.concatenate([np.diff(axis) for axis in axes])
        common = _common_step(steps)
        if common is not None:
            return common
        return float(np.median(steps))
    area = shapely.MultiPoint(np.column_stack([x, y])).convex_hull.area
    if area <= 0:
        raise MeasureError("the stations lie on one line, or are one", remedy="read a second line beside it")
    return float(math.sqrt(area / len(x)))


def widest_step(survey: Survey) -> float:
    """The step between stations [mm] along whichever of x and y they stand wider: what lies between is not seen."""
    x, y, _, _ = survey.stations()
    axes = grid_axes(x, y)
    return station_step(survey) if axes is None else max(float(np.median(np.diff(axis))) for axis in axes)


def _common_step(steps: Floats) -> float | None:
    """The largest step [mm], not under a third of the least, of which all steps are whole multiples."""
    least = float(steps.min())
    for parts in (1, 2, 3):
        step = least / parts
        multiples = steps / step
        if np.abs(multiples - np.round(multiples)).max() < 1e-3:
            return step
    return None


def lattice_axes(positions: Floats, spacing: float) -> Floats:
    """Lattice positions [mm] from the least to the greatest of ``positions``, ``spacing`` apart."""
    first, last = float(positions.min()), float(positions.max())
    steps = (last - first) / spacing + STEP_NOISE
    if not steps < MOST_NODES:
        raise ArgumentError(
            "the lattice is too fine for this surface",
            value=f"{spacing:g} mm over {last - first:g} mm",
            expected=f"at most {MOST_NODES} nodes",
            remedy="choose a wider spacing",
        )
    count = math.floor(steps) + 1
    return first + spacing * np.arange(count, dtype=np.float64)


def surface_mask(survey: Survey, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """[ny, nx] True at nodes inside or on the outline, and not inside an opening.

    Of an edge that an opening shares with the outline nothing is left.
    """
    gx, gy = np.meshgrid(x, y)
    keep = np.ones(gx.shape, dtype=bool)
    if survey.outline is not None:
        left = survey.outline.difference(shapely.union_all(survey.openings))
        return _contains(left.buffer(EDGE_MM, join_style="mitre"), gx, gy)
    for opening in survey.openings:
        keep &= ~_contains(opening.buffer(-EDGE_MM, join_style="mitre"), gx, gy)
    return keep


def _contains(area: shapely.Geometry, gx: Floats, gy: Floats) -> NDArray[np.bool_]:
    shapely.prepare(area)
    return np.asarray(shapely.contains_xy(area, gx, gy), dtype=bool)


def heights_at(survey: Survey, x: Floats, y: Floats) -> Floats:
    """[len(y), len(x)] heights [mm] at positions x, y [mm]; NaN where there is no surface or no reading reaches."""
    sx, sy, sz, _ = survey.stations()
    if not math.isinf(survey.turn):  # what is read past the seam is read before it
        sx = np.concatenate([sx - survey.turn, sx, sx + survey.turn])
        sy, sz = np.tile(sy, 3), np.tile(sz, 3)
        near = (sx > -survey.turn / 2) & (sx < 1.5 * survey.turn)
        sx, sy, sz = sx[near], sy[near], sz[near]
    height = _reached_heights(sx, sy, sz, x, y, survey.outline is not None)
    height[~surface_mask(survey, x, y)] = np.nan
    return height


def _reached_heights(sx: Floats, sy: Floats, sz: Floats, x: Floats, y: Floats, outlined: bool) -> Floats:
    axes = grid_axes(sx, sy)
    if axes is None:
        return _on_triangles(sx, sy, sz, x, y)[0]
    grid = on_grid(*axes, sx, sy, sz)
    height = bilinear(axes[0], axes[1], grid, x, y)
    set_between = not places_on(*axes, sx, sy)[2].all()
    if set_between or (outlined and np.isnan(grid).any()):
        finer, extent = _on_triangles(sx, sy, sz, x, y)
        if set_between:
            height = np.where(np.isnan(height) | np.isnan(finer), height, finer)
        # inside a stated outline the neighbours span a missing station; without one the room may end there, and
        # only readings that stand closer than across a missing station span what lies between them
        taken = ~np.isnan(grid)
        usual = _usual_gap(taken, axes[0]), _usual_gap(taken.T, axes[1])
        most = np.array([np.inf if outlined else WITHIN * gap for gap in usual])
        height = np.where(np.isnan(height) & (extent <= most[:, None, None]).all(axis=0), finer, height)
    return height


def bilinear(grid_x: Floats, grid_y: Floats, grid: Floats, x: Floats, y: Floats) -> Floats:
    """Bilinear interpolation of ``grid`` [ny, nx] at positions x, y (all in mm) -> [len(y), len(x)].

    NaN outside the grid and wherever a blank station would carry weight.
    """
    (along_x, inside_x), (along_y, inside_y) = _weights(grid_x, x), _weights(grid_y, y)
    blank = np.isnan(grid)
    height: Floats = along_y @ np.where(blank, 0.0, grid) @ along_x.T
    if blank.any():
        height[along_y @ blank.astype(float) @ along_x.T > WEIGHT_NOISE] = np.nan
    height[~(inside_y[:, None] & inside_x)] = np.nan
    return height


def _weights(axis: Floats, positions: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Weight of each grid line at each position, [len(positions), len(axis)], and which positions are inside."""
    before, after, part = _between(axis, positions)
    weights = np.zeros((len(positions), len(axis)))
    rows = np.arange(len(positions))
    weights[rows, before] = 1 - part
    weights[rows, after] += part
    return weights, (part >= 0) & (part <= 1)


def _between(axis: Floats, positions: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """The grid lines before and after each position, and the share of the way from one to the other; off it not 0 to 1.

    On a single line both are that line, and beyond it the share is not 0 to 1 either.
    """
    before = np.clip(np.searchsorted(axis, positions, side="right") - 1, 0, max(len(axis) - 2, 0))
    after = np.minimum(before + 1, len(axis) - 1)
    part = (positions - axis[before]) / np.where(after > before, axis[after] - axis[before], STEP_NOISE)
    for whole in (0.0, 1.0):
        part[np.abs(part - whole) < STEP_NOISE] = whole
    return before, after, part


def _on_triangles(sx: Floats, sy: Floats, sz: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Heights on the Delaunay triangles, and [2, len(y), len(x)] how far the triangle there reaches along x and y."""
    try:
        triangles = Delaunay(np.column_stack([sx, sy]))
    except (QhullError, ValueError) as error:
        raise MeasureError(
            "the stations lie on one line, or there are fewer than three",
            expected="stations that span an area",
            remedy="read a second line beside the first",
        ) from error
    gx, gy = np.meshgrid(x, y)
    places = np.stack([gx, gy], axis=-1)
    # a node on the hull may fall a binary digit outside it: look a hair inside as well
    centre = np.array([sx.mean(), sy.mean()])
    triangle = triangles.find_simplex(places)
    lost = triangle < 0
    places[lost] = centre + (places[lost] - centre) * (1 - 1e-9)
    triangle[lost] = triangles.find_simplex(places[lost])
    height: Floats = LinearNDInterpolator(triangles, sz)(places)
    corners = triangles.points[triangles.simplices]
    extent = np.vstack([np.ptp(corners, axis=1), [np.inf, np.inf]])  # the last one is for nodes in no triangle
    return height, np.moveaxis(extent[triangle], -1, 0)


def _left_out(sx: Floats, sy: Floats, x: Floats, y: Floats) -> str:
    strips = [
        Note("last-along", mm=float(stations.max() - axis[-1]), axis=name)
        for name, stations, axis in (("x", sx, x), ("y", sy, y))
        if stations.max() - axis[-1] > 1
    ]
    return Note("lattice-leaves-out", strips=strips) if strips else ""


def check_fineness(x: Floats, y: Floats, most: int) -> None:
    """Refuse a lattice [ny, nx] with more nodes than ``most``."""
    if len(x) * len(y) > most:
        raise ArgumentError(
            "the lattice is too fine for this surface",
            value=f"{len(x)} x {len(y)} nodes",
            expected=f"at most {most} nodes",
            remedy="choose a wider spacing",
        )


def check_spacing(spacing: float) -> float:
    """The lattice step [mm], where it can be one."""
    if not (isinstance(spacing, (int, float)) and math.isfinite(spacing) and spacing > 0):
        raise ArgumentError("lattice spacing out of range", value=str(spacing), expected="millimetres above zero")
    return float(spacing)


SMALL_PART = 0.05  # of an outline may be without readings; common practice, no source
EDGE_STEPS = 1.05  # steps between stations that a strip along an edge, beyond the last of them, may be wide
HOLE_STEPS = 2.05  # steps from the nearest station, within the readings' reach
CELLS = 120  # along the longer side of the outline


@dataclass(frozen=True)
class Unread:
    """The part of an outline on which no reading stands.

    Attributes
    ----------
    share : of the outline less its openings [-]
    area : [mm2]
    reached : least x, greatest x, least y, greatest y [mm] of the stations
    farthest : x, y [mm] of the place in it that is farthest from any station
    """

    share: float
    area: float
    reached: tuple[float, float, float, float]
    farthest: tuple[float, float]

    @property
    def is_small(self) -> bool:
        """Whether so little is left out that the readings stand for the whole."""
        return self.share <= SMALL_PART

    @property
    def note(self) -> str:
        """What was not read, and where, in words."""
        x0, x1, y0, y1 = self.reached
        reach = Note("reach", x0=x0, x1=x1, y0=y0, y1=y1)
        return Note("outline-unread", share=f"{100 * self.share:.0f}", reach=reach, farthest=self.farthest)


def unread(survey: Survey) -> Unread | None:
    """The part of a survey's outline, less openings, that its readings do not cover; None where none is stated.

    A strip one step between stations wide along an edge is covered; so is what lies between stations, unless it is
    more than two steps from the nearest.
    """
    if survey.outline is None:
        return None
    low_x, low_y, high_x, high_y = survey.outline.bounds
    cell = max(high_x - low_x, high_y - low_y) / CELLS
    x, y = (np.arange(low + cell / 2, high, cell) for low, high in ((low_x, high_x), (low_y, high_y)))
    wanted = surface_mask(survey, x, y)
    gx, gy = np.meshgrid(x, y)
    sx, sy, _, _ = survey.stations()
    away = steps_away(survey, gx, gy)
    reached = np.isfinite(heights_at(survey, x, y))
    bare = wanted & (away > np.where(reached, HOLE_STEPS, EDGE_STEPS))
    i = int(np.where(bare, away, -1.0).argmax())
    return Unread(
        float(bare.sum() / max(wanted.sum(), 1)),
        float(bare.sum()) * cell**2,
        (float(sx.min()), float(sx.max()), float(sy.min()), float(sy.max())),
        (float(gx.flat[i]), float(gy.flat[i])),
    )


def steps_away(survey: Survey, x: Floats, y: Floats) -> Floats:
    """How far places x, y [mm] of one shape are from the nearest station, in steps between stations along each axis."""
    sx, sy, _, _ = survey.stations()
    axes = grid_axes(sx, sy)
    if axes is None:
        steps = np.full(2, widest_step(survey))
    else:
        steps = np.array([float(np.median(np.diff(axis))) for axis in axes])
    tree = cKDTree(np.column_stack([sx, sy]) / steps)
    # the greater of both ways, so that the corner of a strip one step wide is one step away
    away, _ = tree.query(np.column_stack([x.ravel(), y.ravel()]) / steps, p=np.inf)
    return np.asarray(away, dtype=np.float64).reshape(x.shape)
