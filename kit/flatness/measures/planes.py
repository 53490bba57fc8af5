"""Reference planes, and how far a surface departs from them.

A least-squares plane is where the surface stands on the whole; a minimum-zone plane is the one about which
it looks flattest: no other two parallel planes so close together hold all its points between them.
"""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linprog
from scipy.spatial import ConvexHull, QhullError

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_choice
from flatness.surface.lattice import Surface

METHODS = ("least-squares", "minimum-zone", "minimum-zone-normal", "level")
NO_WIDTH = 1e-9  # narrower than this, of their extent, the points lie on one line
FLAT = 1e-13  # thinner than this, of their extent, the points lie in one plane
HULL_FROM = 60  # points from which it pays to leave out those inside the convex hull
UPRIGHT = 1e-6  # a normal this close to the x-y plane has no height = a x + b y + c
EDGE_BLOCK = 1 << 22  # pairs of edges compared at a time


@dataclass(frozen=True, eq=False, kw_only=True)
class Plane:
    """A plane, height = a x + b y + c, and the surface about it.

    Attributes
    ----------
    a, b : slopes along x and y [mm/mm]
    c : height at x = 0, y = 0 [mm]
    zone : distance between the two planes parallel to it that hold all points between them [mm]: along the
        height, but along the plane's normal where ``method`` is ``minimum-zone-normal``
    deviations : surface minus plane [mm], of the shape of the heights given, measured as ``zone`` is; NaN
        where the height is
    method : how it was fitted

    Notes
    -----
    ISO 12781-1 measures along the normal and calls the peak, valley, peak-to-valley and RMS departure from
    the least-squares plane FLTp, FLTv, FLTt and FLTq. Along the height they are larger by
    sqrt(1 + a^2 + b^2): one part in 20,000 at a slope of 1 in 100.
    """

    a: float
    b: float
    c: float
    zone: float
    deviations: Floats
    method: str

    @property
    def peak(self) -> float:
        """Largest departure toward the room [mm], zero or more; FLTp about a least-squares plane."""
        return max(0.0, float(np.nanmax(self.deviations)))

    @property
    def valley(self) -> float:
        """Largest departure away from the room [mm], zero or more; FLTv about a least-squares plane."""
        return max(0.0, -float(np.nanmin(self.deviations)))

    @property
    def peak_to_valley(self) -> float:
        """Peak plus valley [mm]; FLTt about a least-squares plane."""
        return float(np.nanmax(self.deviations) - np.nanmin(self.deviations))

    @property
    def rms(self) -> float:
        """Root of the mean square departure [mm]; FLTq about a least-squares plane."""
        return float(np.sqrt(np.nanmean(np.square(self.deviations))))

    @property
    def tilt_mm_per_m(self) -> float:
        """Steepest slope of the plane [mm per m]."""
        return 1000 * math.hypot(self.a, self.b)

    @property
    def tilt_in_per_ft(self) -> float:
        """Steepest slope of the plane [in per ft]."""
        return 12 * math.hypot(self.a, self.b)

    @property
    def downhill(self) -> float:
        """Direction of the steepest fall, degrees from x toward y, 0 to under 360; NaN for a level plane."""
        if self.a == 0 and self.b == 0:
            return math.nan
        # the last digit below 0 comes out as 360 itself
        return math.degrees(math.atan2(-self.b, -self.a)) % 360 % 360

    def at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Height of the plane [mm] at positions x, y [mm], arrays that broadcast together."""
        return np.asarray(self.a * np.asarray(x, float) + self.b * np.asarray(y, float) + self.c)


def fit_plane(x: ArrayLike, y: ArrayLike, height: ArrayLike, method: str = "least-squares") -> Plane:
    """The reference plane of a set of points.

    Parameters
    ----------
    x, y, height : [mm], of equal shape; points whose height is NaN are left out
    method : ``least-squares`` (the sum of squared departures in height is least), ``minimum-zone`` (the
        largest departure in height is least), ``minimum-zone-normal`` (the same, measured along the plane's
        normal: the width of the points' convex hull) or ``level`` (a = b = 0, through the mean height)

    Returns
    -------
    Plane

    Raises
    ------
    MeasureError : fewer than three points, or all on one line in plan; for ``minimum-zone-normal`` also a
        narrowest zone that stands upright
    ArgumentError : arrays that do not match, or an unknown method

    Notes
    -----
    The minimum zone in height is a linear program in a, b, c and half the zone. The narrowest zone along a
    normal touches the convex hull with a facet and a vertex, or with two edges (Houle and Toussaint,
    "Computing the width of a set", IEEE PAMI 10, 1988; from memory), so all of both are tried.

    Examples
    --------
    >>> plane = fit_plane([0, 1000, 0, 1000], [0, 0, 1000, 1000], [0, 2, 0, 2])
    >>> round(plane.tilt_mm_per_m, 9), round(plane.downhill, 9)
    (2.0, 180.0)
    """
    check_choice("method", method, METHODS)
    px, py, pz = (np.asarray(values, dtype=np.float64) for values in (x, y, height))
    if not px.shape == py.shape == pz.shape:
        raise ArgumentError("x, y and height differ in shape", value=f"{px.shape}, {py.shape}, {pz.shape}")
    keep = ~np.isnan(pz)
    if not (np.isfinite(px[keep]).all() and np.isfinite(py[keep]).all() and np.isfinite(pz[keep]).all()):
        raise ArgumentError("a point without a finite place or height", expected="millimetres")
    u, v, w = px[keep], py[keep], pz[keep]
    if method == "level":
        if not len(w):
            raise MeasureError("no heights", expected="one reading or more")
        a, b, c = 0.0, 0.0, float(w.mean())
    else:
        a, b, c = _fitted(u, v, w, method)
    deviations = pz - (a * px + b * py + c)
    if method == "minimum-zone-normal":
        deviations /= math.sqrt(1 + a * a + b * b)
    return Plane(a=a, b=b, c=c, zone=float(np.ptp(deviations[keep])), deviations=deviations, method=method)


def fit_surface_plane(surface: Surface, method: str = "least-squares") -> Plane:
    """The reference plane of a surface's nodes; ``.deviations`` is [ny, nx]. See :func:`fit_plane`."""
    gx, gy = np.meshgrid(surface.x, surface.y)
    return fit_plane(gx, gy, surface.height, method)


def _fitted(x: Floats, y: Floats, z: Floats, method: str) -> tuple[float, float, float]:
    """a, b, c of a plane that may tilt."""
    if len(z) < 3:
        what, expected = "too few points for a plane", "three or more that span an area"
        raise MeasureError(what, value=str(len(z)), expected=expected, remedy="take more readings")
    x0, y0, z0 = x.mean(), y.mean(), z.mean()
    u, v, w = x - x0, y - y0, z - z0
    size = np.array([np.abs(u).max(), np.abs(v).max()])
    if size.min() <= NO_WIDTH * size.max() or _on_one_line(u / size[0], v / size[1]):
        what = "the points lie on one line in plan"
        raise MeasureError(what, expected="points that span an area", remedy="read a second line beside the first")
    design = np.column_stack([u / size[0], v / size[1], np.ones_like(u)])
    slopes = np.linalg.lstsq(design, w, rcond=None)[0]
    left = w - design @ slopes
    largest = float(np.abs(left).max())
    thin = largest <= FLAT * max(float(np.abs(w).max()), float(size.max()))
    if method != "least-squares" and not thin:
        # a hull and a program of numbers of one size each, whatever the units
        scaled = np.column_stack([design[:, :2], left / largest])
        if method == "minimum-zone":
            slopes[:2] += largest * _least_zone(scaled)
        else:
            slopes[:2] = _narrowest(scaled, np.column_stack([u, v, w])) * size
    a, b = (slopes[:2] / size).tolist()
    middle = float(slopes[2])
    if method != "least-squares":
        deviations = w - a * u - b * v
        middle = float(deviations.max() + deviations.min()) / 2
    return a, b, float(z0 - a * x0 - b * y0 + middle)


def _on_one_line(u: Floats, v: Floats) -> bool:
    spread = np.linalg.svd(np.column_stack([u, v]), compute_uv=False)
    return bool(spread[1] <= NO_WIDTH * spread[0])


def _least_zone(points: Floats) -> Floats:
    """Slopes (a, b) of the plane from which the largest departure in height is least, points [n, 3]."""
    if len(points) >= HULL_FROM:
        with suppress(QhullError):  # too thin for a hull: every point stays in the program
            points = points[ConvexHull(points).vertices]
    columns = np.column_stack([points[:, :2], np.ones(len(points))])
    half = np.ones((len(points), 1))
    # a u + b v + c - t <= w <= a u + b v + c + t, t least
    found = linprog(
        [0, 0, 0, 1],
        A_ub=np.block([[columns, -half], [-columns, -half]]),
        b_ub=np.concatenate([points[:, 2], -points[:, 2]]),
        bounds=[(None, None)] * 3 + [(0, None)],
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.x is None:
        what, expected = "no minimum-zone plane was found", "points that span an area"
        raise MeasureError(what, value=str(found.message), expected=expected, remedy="use the least-squares plane")
    return np.asarray(found.x[:2], dtype=np.float64)


def _narrowest(scaled: Floats, points: Floats) -> Floats:
    """Slopes (a, b) of the narrowest slab, along its normal, that holds the points [n, 3].

    The hull is taken of ``scaled``, the same points tilted and stretched: which points, edges and facets are
    on it is the same, and thin sets keep their digits.
    """
    try:
        hull = ConvexHull(scaled)
    except QhullError as error:
        what, expected = "the points are too thin for a zone along the normal", "points that span an area"
        remedy = "use the minimum zone measured in height"
        raise MeasureError(what, value=str(error).split("\n")[0], expected=expected, remedy=remedy) from error
    corners = points[hull.vertices]
    sides = points[hull.simplices]
    # neighbour k of a triangular facet lies across the edge opposite its vertex k
    rows, k = np.nonzero(hull.neighbors > np.arange(len(sides))[:, None])
    ends = sides[rows[:, None], np.stack([(k + 1) % 3, (k + 2) % 3], axis=1)]
    outward = _units(np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0]))
    outward *= np.sign(np.einsum("ij,ij->i", outward, sides[:, 0] - corners.mean(axis=0)))[:, None]
    real = np.abs(outward).sum(axis=1) > 0
    facets = outward[real]
    width = _widths(facets, corners)
    sharp = real[rows] & real[hull.neighbors[rows, k]]
    pair = np.stack([outward[rows], outward[hull.neighbors[rows, k]]], axis=1)
    normals, apart = _edge_pairs(ends[sharp], pair[sharp])
    near = apart <= width.min() * (1 + 1e-9)
    normals = np.concatenate([facets, normals[near]])
    width = np.concatenate([width, _widths(normals[len(facets) :], corners)])
    # of zones equally narrow, the one that lies flattest
    level = np.where(width <= width.min() * (1 + 1e-9), np.abs(normals[:, 2]), -1.0)
    best = normals[int(level.argmax())]
    if abs(best[2]) < UPRIGHT:
        what, expected = "the narrowest zone stands upright on the plan", "a surface wider than it is high"
        raise MeasureError(what, expected=expected, remedy="use the minimum zone measured in height")
    return np.asarray(-best[:2] / best[2])


def _edge_pairs(ends: Floats, pair: Floats) -> tuple[Floats, Floats]:
    """Common normals [m, 3] of the pairs of edges that two parallel planes can touch, and their distance [m].

    ``ends`` [n, 2, 3]: both ends of each edge. ``pair`` [n, 2, 3]: outward normals of the facets that meet
    there. A plane touches an edge while its normal is on the arc between the two; two parallel planes touch
    two edges where one arc crosses the other's opposite.
    """
    along = _units(ends[:, 1] - ends[:, 0])
    before = pair[:, 0] @ along.T  # [edge whose facet, edge whose direction]
    after = pair[:, 1] @ along.T
    crosses = before * after <= 1e-18
    i, j = np.nonzero(np.triu(crosses & crosses.T, 1))
    normals, apart = [np.empty((0, 3))], [np.empty(0)]
    for first in range(0, len(i), EDGE_BLOCK):
        p, q = i[first : first + EDGE_BLOCK], j[first : first + EDGE_BLOCK]
        normal = _units(np.cross(along[p], along[q]))
        outside = np.einsum("ij,ij->i", normal, pair[p].sum(axis=1))
        opposite = np.einsum("ij,ij->i", normal, pair[q].sum(axis=1))
        real = outside * opposite < 0
        normals.append(normal[real])
        apart.append(np.abs(np.einsum("ij,ij->i", normal[real], (ends[p, 0] - ends[q, 0])[real])))
    return np.concatenate(normals), np.concatenate(apart)


def _units(vectors: Floats) -> Floats:
    """Vectors [n, 3] at length one; those without a direction as zeros."""
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    units: Floats = np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 1e-150)
    return units


def _widths(normals: Floats, corners: Floats) -> Floats:
    """Extent [m] of the corners along each unit normal [m, 3]."""
    rows = max(1, EDGE_BLOCK // max(1, len(corners)))
    width = np.empty(len(normals))
    for k in range(0, len(normals), rows):
        width[k : k + rows] = np.ptp(normals[k : k + rows] @ corners.T, axis=1)
    return width
