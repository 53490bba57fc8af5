"""Setting a curve out: centres and radii for a trammel, pins and string, offsets from a chord, studs, plates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.curves.fitting import CurveFit
from flatness.curves.shapes import Chain, Curve, Ellipse
from flatness.errors import ArgumentError, MeasureError, check_above_zero, check_step
from flatness.measures.bars import Place

EVERY_MM, STUDS_MM = 152.4, 406.4  # 6 in; 16 in
NOTHING = 1e-8  # [mm] less is binary noise
SAMPLES = 2001  # places from which Newton's steps to a mark start


@dataclass(frozen=True, eq=False, kw_only=True)
class SetOut:
    """All that is marked on the floor, or on a sheet, to make a curve.

    Attributes
    ----------
    curve : the curve
    length : along it [mm]
    centres : DataFrame, one row an arc: ``name``, ``x_mm``, ``y_mm``, ``radius_mm``, ``from_deg``, ``to_deg`` (from
        the centre, counterclockwise from x), ``angle_deg`` (that it serves, negative clockwise), ``length_mm``
    joins : DataFrame of a chain or oval: see ``Chain.kink_table``
    pins : DataFrame of an ellipse: ``x_mm``, ``y_mm`` of the two pins; empty otherwise
    pins_apart, string, loop : [mm] of an ellipse: between the pins; of a string from pin to pin by way of the pencil;
        of a loop around both pins and the pencil; NaN otherwise
    chord : its two ends (x, y) [mm]: of an open curve from its start to its end, of a closed one the long axis
    offsets : DataFrame at even marks along the chord: ``along_mm``, ``offset_mm`` (to the side where the curve lies),
        ``s_mm`` (distance along the curve), ``x_mm``, ``y_mm``; of a closed curve of one half, the other is its mirror
        image; empty where the curve stands twice over one mark
    studs : DataFrame at equal spacing along the curve: ``name``, ``s_mm``, ``x_mm``, ``y_mm``, ``along_mm``,
        ``offset_mm`` (from the chord), ``faces_deg`` (square to the curve, to its left), ``step_mm`` (straight to the
        next, to step off with dividers)
    spacing : of the studs along the curve [mm]
    parallel : DataFrame like ``studs``, of the parallel curve at the same studs, and ``radius_mm``; empty where none is
        asked for
    offset : of the parallel curve to the left [mm]; 0 where none
    """

    curve: Curve
    length: float
    centres: pd.DataFrame
    joins: pd.DataFrame
    pins: pd.DataFrame
    pins_apart: float
    string: float
    loop: float
    chord: tuple[Place, Place]
    offsets: pd.DataFrame
    studs: pd.DataFrame
    spacing: float
    parallel: pd.DataFrame
    offset: float

    @property
    def rise(self) -> float:
        """The largest offset from the chord [mm]."""
        place = Chord.of(self.curve)
        return float(np.abs(place.frame(self.curve.at(_half(self.curve)))[..., 1]).max())


def set_out(
    curve: Curve | CurveFit, every: float = EVERY_MM, *, studs: float = STUDS_MM, parallel: float = 0.0
) -> SetOut:
    """What to mark to make a curve.

    Parameters
    ----------
    curve : the curve, or a fit
    every : between offsets along the chord [mm]
    studs : at most so far apart along the curve [mm]
    parallel : offset of a second curve, such as the face of a reveal, to the left of the first [mm]: inside an arc, an
        ellipse or an oval, negative outside; 0: none

    Raises
    ------
    ArgumentError : spacings that are not above zero
    MeasureError : a parallel that would fold over itself

    Notes
    -----
    An ellipse's parallel is no ellipse, so it is given by offsets, at the studs.

    Examples
    --------
    >>> from flatness.curves.making import make_arc
    >>> found = set_out(make_arc(chord=1000.0, rise=100.0), every=250.0)
    >>> [round(v, 3) for v in found.offsets["offset_mm"]]
    [0.0, 75.735, 100.0, 75.735, 0.0]
    """
    curve = curve.curve if isinstance(curve, CurveFit) else curve
    chord = Chord.of(curve)
    pins, apart, string, loop = pd.DataFrame(columns=["x_mm", "y_mm"]), math.nan, math.nan, math.nan
    if isinstance(curve, Ellipse) and curve.axes[0] > curve.axes[1]:
        places, apart, loop = curve.pins
        pins, string = pd.DataFrame(places, columns=["x_mm", "y_mm"]), 2 * curve.axes[0]
    table = _studs(curve, chord, studs)
    return SetOut(
        curve=curve,
        length=curve.length,
        centres=centres_of(curve),
        joins=curve.kink_table if isinstance(curve, Chain) else pd.DataFrame(),
        pins=pins,
        pins_apart=apart,
        string=string,
        loop=loop,
        chord=(chord.start, chord.end),
        offsets=chord_offsets(curve, every),
        studs=table,
        spacing=curve.length / (len(table) if curve.closed else len(table) - 1),
        parallel=parallel_at(curve, table["s_mm"].to_numpy(), parallel) if parallel else table.iloc[:0],
        offset=parallel,
    )


@dataclass(frozen=True)
class Chord:
    """A straight line from which a curve is offset: from ``start`` to ``end``, the curve to the side ``side``."""

    start: Place
    end: Place
    side: float

    @classmethod
    def of(cls, curve: Curve) -> Chord:
        """The chord of an open curve; the long axis of a closed one, a diameter of a circle."""
        samples = _half(curve)
        points = curve.at(samples)
        bare = cls((float(points[0, 0]), float(points[0, 1])), (float(points[-1, 0]), float(points[-1, 1])), 1.0)
        if math.dist(bare.start, bare.end) < 1e-9:
            raise ArgumentError("a curve whose ends meet has no chord", expected="a closed curve marked as closed")
        off = bare.frame(points)[:, 1]
        return cls(bare.start, bare.end, math.copysign(1.0, off[np.abs(off).argmax()]))

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)

    def frame(self, points: Floats) -> Floats:
        """Distances along and off the chord [..., 2] mm of places [..., 2] mm."""
        ux, uy = (np.array(self.end) - np.array(self.start)) / self.length
        rel = points - np.array(self.start)
        found = [rel[..., 0] * ux + rel[..., 1] * uy, self.side * (rel[..., 1] * ux - rel[..., 0] * uy)]
        return np.stack([np.where(np.abs(one) < NOTHING, 0.0, one) for one in found], axis=-1)


def _half(curve: Curve) -> Floats:
    return np.linspace(0, curve.length / 2 if curve.closed else curve.length, SAMPLES)


def chord_offsets(curve: Curve, every: float = EVERY_MM) -> pd.DataFrame:
    """Offsets at even marks along the chord, and at its end: see :class:`SetOut`."""
    columns = ["along_mm", "offset_mm", "s_mm", "x_mm", "y_mm"]
    chord, s = Chord.of(curve), _half(curve)
    along = chord.frame(curve.at(s))[:, 0]
    if np.any(np.diff(along) < -1e-9):
        return pd.DataFrame(columns=columns)
    check_step("every", every, chord.length)
    marks = np.arange(0, chord.length + 1e-9, every)
    if chord.length - marks[-1] > 1e-6:
        marks = np.append(marks, chord.length)
    found = np.interp(marks, along, s)
    direction = math.atan2(chord.end[1] - chord.start[1], chord.end[0] - chord.start[0])
    for _ in range(30):  # at a mark, the distance along the chord grows by the cosine to it
        slope = np.cos(curve.heading(found) - direction)
        missing = marks - chord.frame(curve.at(found))[:, 0]
        step = np.where(np.abs(slope) > 1e-6, missing / np.where(slope == 0, 1, slope), 0)
        found = np.clip(found + np.clip(step, -(s[1] - s[0]), s[1] - s[0]), 0, s[-1])
    points = curve.at(found)
    off = chord.frame(points)[:, 1]
    return pd.DataFrame(np.column_stack([marks, off, found, points]), columns=columns)


def _studs(curve: Curve, chord: Chord, spacing: float) -> pd.DataFrame:
    check_step("studs", spacing, curve.length)
    s = curve.stations(spacing)
    points = curve.at(s)
    ring = np.vstack([points, points[:1]]) if curve.closed else points
    step = np.hypot(*np.diff(ring, axis=0).T)
    frame = chord.frame(points)
    faces = np.degrees(curve.heading(s) + math.pi / 2) % 360
    return pd.DataFrame(
        {
            "name": [f"S{k}" for k in range(1, len(s) + 1)],
            "s_mm": s,
            "x_mm": points[:, 0],
            "y_mm": points[:, 1],
            "along_mm": frame[:, 0],
            "offset_mm": frame[:, 1],
            "faces_deg": faces,
            "step_mm": step if curve.closed else np.append(step, math.nan),
        }
    )


def parallel_at(curve: Curve, s: Floats, offset: float) -> pd.DataFrame:
    """The parallel curve at an offset to the left [mm], abreast of distances s along the first.

    Returns
    -------
    DataFrame : ``name``, ``s_mm`` (along the first curve), ``x_mm``, ``y_mm``, ``along_mm``, ``offset_mm`` (from the
        chord of the first), ``radius_mm`` (its own; infinite on a straight)

    Raises
    ------
    MeasureError : an offset at which it would fold over itself
    """
    curve.check_parallel(offset)
    points = curve.offset_at(s, offset)
    frame = Chord.of(curve).frame(points)
    k = curve.curvature(s)
    with np.errstate(divide="ignore"):
        radius = np.abs(1 / k - offset)
    columns = {"name": [f"S{n}" for n in range(1, len(s) + 1)], "s_mm": s, "x_mm": points[:, 0], "y_mm": points[:, 1]}
    return pd.DataFrame(columns | {"along_mm": frame[:, 0], "offset_mm": frame[:, 1], "radius_mm": radius})


def centres_of(curve: Curve) -> pd.DataFrame:
    """Centres of the arcs of a chain: see :class:`SetOut`; of an ellipse none."""
    rows: list[tuple[float, float, float, float, float, float]] = []
    if isinstance(curve, Chain):
        for k, piece in enumerate(curve.pieces):
            if piece.curvature:
                x, y = curve.centre_of(k)
                first = math.degrees(curve.origin_of(k)[2]) - math.copysign(90, piece.curvature)
                rows.append((x, y, piece.radius, first, math.degrees(piece.sweep), piece.length))
        if curve.closed and len(rows) > 1 and abs(rows[0][2] - rows[-1][2]) < 1e-9 and curve.kind == "oval":
            x, y, radius, first, sweep, length = rows.pop()  # the first arc comes in two parts
            rows[0] = (x, y, radius, first, sweep + rows[0][4], length + rows[0][5])
    data = [
        (f"C{n}", x, y, radius, first % 360, (first + sweep) % 360, sweep, length)
        for n, (x, y, radius, first, sweep, length) in enumerate(rows, 1)
    ]
    columns = ["name", "x_mm", "y_mm", "radius_mm", "from_deg", "to_deg", "angle_deg", "length_mm"]
    return pd.DataFrame(data, columns=columns)


SHEET_MM, DEPTH_MM, KERF_MM = (2438.4, 1219.2), 88.9, 6.35  # 8 ft x 4 ft; 3 1/2 in; a router's 1/4 in bit
MOST_SEGMENTS = 400
PATIENCE = 12  # numbers of pieces tried in vain: pieces half as long lie side by side
EDGE_SAMPLES = 181  # places along the edge of a piece
GRID = 241  # places along a sheet at which pieces that lie over one another are held apart


@dataclass(frozen=True, eq=False, kw_only=True)
class PlateCuts:
    """Pieces of curved plates and the sheets they come from.

    Attributes
    ----------
    pieces : DataFrame, one row a piece: ``name``, ``layer``, ``from_mm``, ``to_mm`` (along the curve), ``chord_mm`` (of
        its longer edge), ``rise_mm`` (of a piece as it lies on its sheet), ``sheet``, ``x_mm``, ``y_mm`` (on the sheet,
        of its lowest left corner)
    outlines : of each piece as it lies on its sheet, [n, 2] mm, the sheet's corner at 0, 0
    sheets : how many
    sheet : length and width of one [mm]
    waste : share of their area that is not in the plates
    joint : least distance along the curve between joints of one layer and the next [mm]; NaN with one layer
    """

    pieces: pd.DataFrame
    outlines: tuple[Floats, ...]
    sheets: int
    sheet: tuple[float, float]
    waste: float
    joint: float


def cut_plates(
    curve: Curve | CurveFit,
    depth: float = DEPTH_MM,
    sheet: tuple[float, float] = SHEET_MM,
    *,
    layers: int = 2,
    kerf: float = KERF_MM,
) -> PlateCuts:
    """Cut a plate that follows a curve, centred on it, from sheets, with as few sheets and then as few joints as found.

    Parameters
    ----------
    curve : middle of the plate
    depth : of the plate, across the wall [mm]
    sheet : length and width of the stock [mm]
    layers : over one another; joints of each are halfway between those of the one below
    kerf : between pieces on a sheet [mm]

    Raises
    ------
    ArgumentError : sizes that are not above zero
    MeasureError : a depth at which an edge would fold over itself, or a sheet too small for any piece

    Notes
    -----
    Each number of pieces a layer is tried; pieces lie side by side on the sheet, chord along its length, each pushed
    up to the one before. That is not proved to be the least.
    """
    curve = curve.curve if isinstance(curve, CurveFit) else curve
    check_above_zero(depth=depth, sheet_length=sheet[0], sheet_width=sheet[1], layers=layers, expected="above zero")
    check_above_zero(kerf=kerf, or_zero=True)
    for side in (depth / 2, -depth / 2):
        curve.check_parallel(side)
    best: PlateCuts | None = None
    first = max(1, math.ceil(min(curve.length / sheet[0] / 1.5, MOST_SEGMENTS)))
    patience = 0
    for count in range(first, MOST_SEGMENTS):
        found = _with_count(curve, count, depth, sheet, layers, kerf)
        if found is None:
            continue
        if best is None or found.sheets < best.sheets:
            best, patience = found, 0
        else:
            patience += 1
            if patience == PATIENCE:
                break
    if best is None:
        raise MeasureError(
            "no piece of this plate fits the sheet", value=f"{sheet[0]:g} x {sheet[1]:g} mm", expected="a larger sheet"
        )
    return best


def _with_count(
    curve: Curve, count: int, depth: float, sheet: tuple[float, float], layers: int, kerf: float
) -> PlateCuts | None:
    rows, shapes, joints = [], [], []
    for layer in range(1, layers + 1):
        edges = _edges(curve, count, staggered=layer % 2 == 0)
        joints.append(edges if curve.closed else edges[1:-1])
        for n, (a, b) in enumerate(pairwise(edges), 1):
            shape = _flat(curve, float(a), float(b), depth)
            extent = np.ptp(shape, axis=0)
            if extent[0] > sheet[0] - 2 * kerf or extent[1] > sheet[1] - 2 * kerf:
                return None
            # its longer edge
            chord = max(math.dist(shape[0], shape[EDGE_SAMPLES - 1]), math.dist(shape[EDGE_SAMPLES], shape[-1]))
            rows.append((f"{layer}-{n}", layer, float(a), float(b), chord, float(extent[1])))
            shapes.append(shape)
    table = pd.DataFrame(rows, columns=["name", "layer", "from_mm", "to_mm", "chord_mm", "rise_mm"])
    places = _nested(shapes, sheet, kerf)
    placed = tuple(shape + np.array(place[1:]) for shape, place in zip(shapes, places, strict=True))
    table["sheet"] = [place[0] for place in places]
    table["x_mm"], table["y_mm"] = ([float(one[:, axis].min()) for one in placed] for axis in (0, 1))
    sheets = int(table["sheet"].max())
    # between the two edges of a plate lies its depth times the length of its middle line
    waste = 1 - layers * curve.length * depth / (sheets * sheet[0] * sheet[1])
    joint = math.nan
    if layers > 1 and len(joints[0]) and len(joints[1]):
        apart = np.abs(joints[0][:, None] - joints[1][None, :])
        if curve.closed:
            apart = np.minimum(apart % curve.length, -apart % curve.length)
        joint = float(apart.min())
    return PlateCuts(pieces=table, outlines=placed, sheets=sheets, sheet=sheet, waste=waste, joint=joint)


def _edges(curve: Curve, count: int, *, staggered: bool) -> Floats:
    step = curve.length / count
    edges = np.linspace(0, curve.length, count + 1)
    if not staggered:
        return edges
    if curve.closed:
        return edges + step / 2
    return np.concatenate([[0.0], edges[:-1] + step / 2, [curve.length]])


def _flat(curve: Curve, a: float, b: float, depth: float) -> Floats:
    """Outline [n, 2] of a piece with its chord along x, bulging toward y, its lowest left corner near 0, 0."""
    s = np.linspace(a, b, EDGE_SAMPLES)
    outer, inner = curve.offset_at(s, -depth / 2), curve.offset_at(s, depth / 2)
    chord = outer[-1] - outer[0]
    c, d = chord / math.hypot(*chord)
    turn = np.array([[c, -d], [d, c]])
    ring = np.vstack([outer, inner[::-1]]) @ turn
    middle = len(outer) // 2
    if ring[middle, 1] < ring[0, 1]:  # a half turn, so that all bulge the same way
        ring = -ring
    return np.asarray(ring - ring.min(axis=0))


def _nested(shapes: list[Floats], sheet: tuple[float, float], kerf: float) -> list[tuple[int, float, float]]:
    """Sheet, x and y of each piece: columns along the sheet, in each the pieces one over the other."""
    order = sorted(range(len(shapes)), key=lambda k: -float(shapes[k][:, 0].max()))
    places: dict[int, tuple[int, float, float]] = {}
    number, left, wide, roof = 1, kerf, 0.0, np.full(GRID, kerf)
    grid = np.linspace(0, sheet[0], GRID)
    for k in order:
        shape = shapes[k]
        extent = shape.max(axis=0)
        bottom, top = _profile(shape, grid)
        inside = np.isfinite(bottom)
        wide = wide or float(extent[0])
        y = max(kerf, float(np.max(roof[inside] - bottom[inside])))
        if y + extent[1] > sheet[1] - kerf + 1e-9:
            left, roof, wide, y = left + wide + kerf, np.full(GRID, kerf), float(extent[0]), kerf
            if left + wide > sheet[0] - kerf + 1e-9:
                number, left = number + 1, kerf
        places[k] = (number, left, y)
        covered = np.flatnonzero(inside)
        roof[covered] = y + top[covered] + kerf
    return [places[k] for k in range(len(shapes))]


def _profile(shape: Floats, grid: Floats) -> tuple[Floats, Floats]:
    """Least and greatest y [mm] of an outline over a grid of x, each with what lies beside it."""
    ring = np.vstack([shape, shape[:1]])
    ends = np.sort(np.stack([ring[:-1], ring[1:]]), axis=0)  # least and greatest x and y of each edge
    low = np.maximum(np.searchsorted(grid, ends[0, :, 0], "right") - 1, 0)
    high = np.minimum(np.searchsorted(grid, ends[1, :, 0], "left"), len(grid) - 1)
    bottom, top = np.full(len(grid), np.inf), np.full(len(grid), -np.inf)
    for step in range(int((high - low).max()) + 1):
        reached = low + step <= high
        np.minimum.at(bottom, low[reached] + step, ends[0, reached, 1])
        np.maximum.at(top, low[reached] + step, ends[1, reached, 1])
    covered = np.isfinite(bottom)
    return np.where(covered, bottom, np.nan), np.where(covered, top, np.nan)
