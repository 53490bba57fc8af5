"""Target planes: level, best, through benchmarks or held at given spots, each as high as costs least.

A target is what the finished surface shall be. Its height, and its tilt where that is free, come from a linear
program: least cost of what comes off and what is added, within the deepest allowed cut and fill and with every
fixed spot within its allowance. On a wall a level target is a plumb one: no tilt in its own frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array, diags_array, hstack

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, PlanError, check_choice
from flatness.measures.planes import Plane, fit_surface_plane
from flatness.notes import Note
from flatness.planning.constraints import Binding, Depths, FixedSpot, Rates, clash, spot_heights
from flatness.planning.program import Program
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface

SHIFTS = ("least-work", "nothing-comes-off")
TILTS = ("least-squares", "minimum-zone", "least-work")
TOUCHING_MM = 1e-6  # nearer to a term than this, the target meets it with nothing to spare


@dataclass(frozen=True, eq=False)
class Target:
    """A plane to bring the surface to, and what that takes.

    Attributes
    ----------
    plane : the target; its ``deviations`` are surface minus target [mm]
    height : [ny, nx] of the target [mm]; NaN where there is no surface
    change : [ny, nx] target minus surface [mm], adding positive
    cost : rates x area x change, in the unit of the rates
    binding : fixed spots at the end of their allowance, and nodes at the deepest cut or fill
    """

    plane: Plane
    height: Floats
    change: Floats
    cost: float
    binding: tuple[Binding, ...]


def level_target(
    surface: Surface,
    *,
    height: float | None = None,
    rates: Rates | None = None,
    depths: Depths | None = None,
    fixed: Sequence[FixedSpot] = (),
    shift: str = "least-work",
) -> Target:
    """A level plane (plumb, on a wall) at the height that costs least.

    Parameters
    ----------
    surface : off a level or plumb reference
    height : of the plane [mm]; None: the one that costs least
    rates : cost of taking off and adding; None: both 1 per mm3
    depths : deepest allowed cut and fill [mm]; None: any
    fixed : spots whose finished height is given
    shift : ``least-work``, or ``nothing-comes-off``: the plane touches the highest spot, or stands above it where
        a fixed spot asks for that

    Raises
    ------
    MeasureError : a surface off a string
    PlanError : terms that clash; the message says which and by how much

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> hump = make_surface([[0, 0, 0], [0, 4, 0], [0, 0, 0]], 100.0)
    >>> [round(level_target(hump, shift=shift).plane.c, 6) for shift in ("least-work", "nothing-comes-off")]
    [0.0, 4.0]
    """
    if not surface.is_level:
        what = "a surface read off a string has no level"
        remedy = "take the best plane instead, or read again off a level line"
        raise MeasureError(what, value=surface.reference, expected="a level or plumb reference", remedy=remedy)
    return _least_plane(surface, "level", (0.0, 0.0), height, rates, depths, fixed, shift)


def best_plane_target(
    surface: Surface,
    *,
    tilt: str = "least-squares",
    rates: Rates | None = None,
    depths: Depths | None = None,
    fixed: Sequence[FixedSpot] = (),
    shift: str = "least-work",
) -> Target:
    """A plane with the surface's own tilt, at the height that costs least.

    ``tilt`` is that of the ``least-squares`` or the ``minimum-zone`` plane, or the one with ``least-work``: then
    tilt and height together cost least. Other parameters and errors as for :func:`level_target`.
    """
    check_choice("tilt", tilt, TILTS)
    if tilt == "least-work":
        return _least_plane(surface, "best plane, least work", None, None, rates, depths, fixed, shift)
    fitted = fit_surface_plane(surface, tilt)
    slopes = (fitted.a, fitted.b)
    return _least_plane(surface, f"best plane, {tilt}", slopes, None, rates, depths, fixed, shift)


def through_benchmarks_target(
    surface: Surface, points: Sequence[FixedSpot], *, rates: Rates | None = None, depths: Depths | None = None
) -> Target:
    """A plane through benchmarks, on the surface or off it.

    Through one point it is level. Through two its tilt across them costs least. Three points not on one line give
    the plane; more must be met by it within their allowances.

    Raises
    ------
    MeasureError : a single point and a surface off a string
    PlanError : no points, a point without a height, or points that no plane meets within their allowances
    """
    if not points:
        raise PlanError("no benchmarks", expected="one point with a height or more")
    for point in points:
        if point.height is None:
            raise PlanError("a benchmark without a height", value=str(point), remedy="give the height to finish at")
    if len(points) == 1:
        return level_target(surface, rates=rates, depths=depths, fixed=points)
    return _least_plane(surface, "through benchmarks", None, None, rates, depths, points, "least-work")


def fixed_spots_target(
    surface: Surface,
    fixed: Sequence[FixedSpot],
    *,
    rates: Rates | None = None,
    depths: Depths | None = None,
    shift: str = "least-work",
) -> Target:
    """The plane, of any tilt, that meets all fixed spots within their allowances and costs least.

    For a level plane held at spots give them to :func:`level_target`. Parameters and errors as there.
    """
    if not fixed:
        raise PlanError("no fixed spots", expected="one spot or more", remedy="take the best plane where none is fixed")
    return _least_plane(surface, "fixed spots", None, None, rates, depths, fixed, shift)


def _least_plane(
    surface: Surface,
    method: str,
    slopes: tuple[float, float] | None,
    level: float | None,
    rates: Rates | None,
    depths: Depths | None,
    fixed: Sequence[FixedSpot],
    shift: str,
) -> Target:
    rates, depths = rates or Rates(), depths or Depths()
    check_choice("shift", shift, SHIFTS)
    if level is not None and not math.isfinite(level):
        raise ArgumentError("height of the target out of range", value=str(level), expected="a finite number of mm")
    x, y, z = surface.nodes()
    if not len(z):
        raise MeasureError("a surface without heights", expected="one node or more")
    if shift == "nothing-comes-off":
        depths = replace(depths, cut=0.0)
    cut, fill = depths.at(surface)
    held = _Held(surface, slopes, level, fixed)
    area = node_areas(surface.inside, surface.spacing)[surface.inside]
    free, count = held.nodes.shape[1], len(z)
    unit = np.ones(count) * (area / area.max())
    program = Program(
        np.concatenate([np.zeros(free), rates.add * unit]),
        np.concatenate([np.zeros(free), rates.off * unit]),
        np.concatenate([np.full(free, -np.inf), -cut]),
        np.concatenate([np.full(free, np.inf), fill]),
    )
    # plane - change = surface, all about the plane that is given or level
    program.add_rows(
        csr_array(hstack([csr_array(held.nodes), -diags_array(np.ones(count))])), z - held.base, z - held.base
    )
    if len(fixed) or level is not None:
        padded = np.hstack([held.spots, np.zeros((len(held.spots), count))])
        program.add_rows(csr_array(padded), held.low, held.high)
    solution = program.solve(vertex=True)
    if not solution.feasible:
        raise _clash(method, surface, held, (cut, fill))
    a, b, c = held.plane(solution.x[:free])
    change = a * x + b * y + c - z
    change[np.abs(change) < TOUCHING_MM / 1000] = 0.0
    cost = rates.cost(area, change)
    grid = np.full(surface.height.shape, np.nan)
    grid[surface.inside] = change
    plane = Plane(a=a, b=b, c=c, zone=float(np.ptp(change)), deviations=-grid, method=method)
    return Target(plane, surface.height + grid, grid, cost, _binding(x, y, change, (cut, fill), fixed, held, plane))


class _Held:
    """The plane as a vector of what is free in it, at the nodes and at the fixed spots.

    u and v run from the middle of the nodes and are at most about one, so that all numbers are millimetres.
    ``nodes`` [n, free] and ``spots`` [k, free]: weights that give the height; ``base`` [n]: what is given besides.
    ``low``, ``high`` [k]: between which the spots' weighted sums must lie.
    """

    def __init__(
        self, surface: Surface, slopes: tuple[float, float] | None, level: float | None, fixed: Sequence[FixedSpot]
    ) -> None:
        x, y, _ = surface.nodes()
        self.slopes, self.fixed = slopes, fixed
        self.x0, self.y0 = float(x.mean()), float(y.mean())
        self.size = max(float(np.ptp(x)), float(np.ptp(y)), surface.spacing)
        self.nodes = self._weights(x, y)
        self.base = self._given(x, y)
        sx, sy = (np.array([getattr(spot, name) for spot in fixed], dtype=np.float64) for name in ("x", "y"))
        wanted = spot_heights(surface, fixed) - self._given(sx, sy)
        allowance = np.array([spot.allowance for spot in fixed])
        self.spots, self.low, self.high = self._weights(sx, sy), wanted - allowance, wanted + allowance
        if level is not None:
            self.spots = np.vstack([self.spots, [[1.0]]])
            self.low, self.high = np.append(self.low, level), np.append(self.high, level)

    def _weights(self, x: Floats, y: Floats) -> Floats:
        one = np.ones((len(x), 1))
        if self.slopes is not None:
            return one
        return np.column_stack([(x - self.x0) / self.size, (y - self.y0) / self.size, one])

    def _given(self, x: Floats, y: Floats) -> Floats:
        a, b = self.slopes or (0.0, 0.0)
        return np.asarray(a * (x - self.x0) + b * (y - self.y0), dtype=np.float64)

    def plane(self, free: Floats) -> tuple[float, float, float]:
        """Slopes a, b [mm/mm] and height at the origin c [mm]."""
        a, b = self.slopes or (float(free[0]) / self.size, float(free[1]) / self.size)
        # a zero without a sign prints as zero
        return a + 0.0, b + 0.0, float(free[-1]) - a * self.x0 - b * self.y0 + 0.0


def _binding(
    x: Floats,
    y: Floats,
    change: Floats,
    depths: tuple[Floats, Floats],
    fixed: Sequence[FixedSpot],
    held: _Held,
    plane: Plane,
) -> tuple[Binding, ...]:
    found = []
    for k, spot in enumerate(fixed):
        there = float(plane.at(spot.x, spot.y) - held._given(np.array([spot.x]), np.array([spot.y]))[0])
        if min(there - held.low[k], held.high[k] - there) < TOUCHING_MM:
            found.append(Binding("fixed spot", (spot.x, spot.y), spot.name))
    for term, depth, moved in (("deepest cut", depths[0], -change), ("deepest fill", depths[1], change)):
        at = np.flatnonzero(np.isfinite(depth) & (depth - moved < TOUCHING_MM))
        found += [Binding(term, (float(x[k]), float(y[k]))) for k in at]
    return tuple(found)


def _clash(method: str, surface: Surface, held: _Held, depths: tuple[Floats, Floats]) -> PlanError:
    """Widen allowances and depths by as little as will do, and say which were too narrow and by how much."""
    x, y, z = surface.nodes()
    free, spots = held.nodes.shape[1], len(held.spots)
    columns = free + 2 + spots  # the plane; how much deeper cut and fill; how much wider each allowance
    lower = np.concatenate([np.full(free, -np.inf), np.zeros(2 + spots)])
    widening = np.concatenate([np.zeros(free), np.ones(2 + spots)])
    program = Program(widening, np.zeros(columns), lower, np.full(columns, np.inf))
    nodes = []
    for side, depth, sign in ((0, depths[0], -1.0), (1, depths[1], 1.0)):
        part = np.flatnonzero(np.isfinite(depth))
        rows = np.zeros((len(part), columns))
        rows[:, :free], rows[:, free + side] = sign * held.nodes[part], -1.0
        program.add_rows(csr_array(rows), -np.inf, depth[part] + sign * (z - held.base)[part])
        nodes.append(part)
    for sign, edge in ((1.0, held.high), (-1.0, -held.low)):
        rows = np.hstack([sign * held.spots, np.zeros((spots, 2)), -np.eye(spots)])
        program.add_rows(csr_array(rows), -np.inf, edge)
    solution = program.solve(vertex=True)
    needed, duals = solution.x[free:], np.abs(solution.dual) > 1e-7
    others, first = [], 0
    for side, name in enumerate(("cut", "fill")):
        at = nodes[side][duals[first : first + len(nodes[side])]]
        first += len(nodes[side])
        where = [Note("place", at=(x[k], y[k])) for k in at[:4]]
        deepest = Note("deepest-at", name=name, where=where) if where else f"the deepest {name}"
        others.append((deepest, float(needed[side]), len(at) > 0))
    involved = duals[first : first + spots] | duals[first + spots :]
    widened, count = needed[2:].tolist(), len(held.fixed)
    if spots > count:
        others.append(("the height asked for", widened[-1], bool(involved[-1])))
    what = f"no plane ({method}) meets all the terms"
    return clash(what, held.fixed, widened[:count], involved[:count].tolist(), others)
