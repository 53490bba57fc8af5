"""Curved plates out of sheets: lengths that fit a sheet, nested, layers with their joints staggered, and the waste."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.curves.fitting import CurveFit
from flatness.curves.shapes import Curve
from flatness.errors import ArgumentError, MeasureError

SHEET_MM, DEPTH_MM, KERF_MM = (2438.4, 1219.2), 88.9, 6.35  # 8 ft x 4 ft; 3 1/2 in; a router's 1/4 in bit
MOST_SEGMENTS = 400
PATIENCE = 12  # numbers of pieces tried in vain: pieces half as long lie side by side
SAMPLES = 181  # places along the edge of a piece
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
    layers : laid over one another; joints of each are halfway between those of the one below
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
    sizes = {"depth": depth, "sheet length": sheet[0], "sheet width": sheet[1], "layers": layers}
    for name, value in sizes.items():
        if not (math.isfinite(value) and value > 0):
            raise ArgumentError(f"{name} out of range", value=str(value), expected="above zero")
    if not (math.isfinite(kerf) and kerf >= 0):
        raise ArgumentError("kerf out of range", value=str(kerf), expected="zero or more")
    for side in (depth / 2, -depth / 2):
        curve.check_parallel(side)
    best: PlateCuts | None = None
    first = max(1, math.ceil(curve.length / (sheet[0] * 1.5)))
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
            chord = max(math.dist(shape[0], shape[SAMPLES - 1]), math.dist(shape[SAMPLES], shape[-1]))
            rows.append((f"{layer}-{n}", layer, float(a), float(b), chord, float(extent[1])))
            shapes.append(shape)
    table = pd.DataFrame(rows, columns=["name", "layer", "from_mm", "to_mm", "chord_mm", "rise_mm"])
    places = _nested(shapes, sheet, kerf)
    laid = tuple(shape + np.array(place[1:]) for shape, place in zip(shapes, places, strict=True))
    table["sheet"] = [place[0] for place in places]
    table["x_mm"], table["y_mm"] = ([float(one[:, axis].min()) for one in laid] for axis in (0, 1))
    sheets = int(table["sheet"].max())
    # between the two edges of a plate lies its depth times the length of its middle line
    waste = 1 - layers * curve.length * depth / (sheets * sheet[0] * sheet[1])
    joint = math.nan
    if layers > 1 and len(joints[0]) and len(joints[1]):
        apart = np.abs(joints[0][:, None] - joints[1][None, :])
        if curve.closed:
            apart = np.minimum(apart % curve.length, -apart % curve.length)
        joint = float(apart.min())
    return PlateCuts(pieces=table, outlines=laid, sheets=sheets, sheet=sheet, waste=waste, joint=joint)


def _edges(curve: Curve, count: int, *, staggered: bool) -> Floats:
    step = curve.length / count
    edges = np.linspace(0, curve.length, count + 1)
    if not staggered:
        return edges
    if curve.closed:
        return edges + step / 2
    return np.concatenate([[0.0], edges[:-1] + step / 2, [curve.length]])


def _flat(curve: Curve, a: float, b: float, depth: float) -> Floats:
    """Outline [n, 2] of a piece laid with its chord along x, bulging toward y, its lowest left corner near 0, 0."""
    s = np.linspace(a, b, SAMPLES)
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
