"""The least work after which every straightedge placement passes, and nothing shows in a light.

Of all changes after which no gap is larger than allowed, and no place shows in light along it, the one of least cost: a
linear program whose rows are placements, and places as a light shows them in a band of wavelengths. There are far too
many to write down, so only broken ones enter, the worst three a node each round, until none is left. The dual of each
round proves a lower bound on the cost of any plan; raising the few nodes that still fail gives a plan that passes; the
work is done when the two meet.

The linear program behind the least work, grown round by round with the placements that are still broken.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.sparse import csr_array, diags_array, hstack, kron, vstack

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, PlanError
from flatness.light.places import LightRequirement, Lights
from flatness.measures.bars import Placements, Requirement, broken_placements, gap_map, rows_of
from flatness.notes import Note
from flatness.planning.constraints import Depths, FixedSpot, Rates, clash, spot_heights, spot_rows
from flatness.planning.program import TOLERANCE, Program
from flatness.planning.target import Target, best_plane_target, level_target
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface

WORST = 3  # placements a node that enter in one round
ALONG_FIRST = 4  # rounds for placements along rows, columns and diagonals alone: others weigh three times the nodes
MARGIN_MM = 1e-6  # held back from what is allowed, so that the solver's noise does not break it
LIT_MARGIN = 1e-3  # of what a light may show, since that is measured in single precision
NOISE_MM = 1e-6  # to this, depths, spots and band are held
LIFTS = 100  # times that failing nodes are raised before it is left to the next round
ELASTIC_ROUNDS = 40
DUAL_NOISE = 1e-7
SPARE = 0.1  # of what is allowed: a placement with more than this to spare stops being a row
ROUGH, NEARER = 1e-2, 1e-4  # relative tolerances of the first rounds and, once few new placements break, of those after
FEW = 0.02  # new placements, as a part of those that are rows
NEAR = 0.5  # of what is allowed: placements with no more than this to spare are worth beginning the next search with
Required = Requirement | LightRequirement
FOOT, CUT, BAND, SPOTS = 0, 1, 3, 4  # places of the variables behind the changes; fill is CUT + 1


@dataclass(eq=False)
class Pool:
    """Placements that bind, or nearly so, where an earlier search ended: what the next one begins with.

    For searches on one surface with the same bars and headings; what is allowed, depths and rates may differ.

    Attributes
    ----------
    key : [m] as :meth:`~flatness.measures.bars.Placements.key` gives it
    requirement : [m] which bar, counted from 0
    node : [m] over which each gap is, counted among those that have a height
    weights : [m, nodes] with which the heights make each gap
    """

    key: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    requirement: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    node: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    weights: csr_array | None = None


class Rounds:
    """Variables: taken off and added at each node, the foot of the level band, and how far terms are widened.

    The last of these, for the deepest cut, the deepest fill, the band and each fixed spot, are zero but in the
    search for the least relaxation of terms that clash. Costs are in units of the dearest node's cost per mm.
    """

    def __init__(
        self,
        surface: Surface,
        requirements: Sequence[Required],
        headings: int,
        rates: Rates,
        depths: Depths,
        fixed: Sequence[FixedSpot],
        band: float | None,
        pool: Pool | None = None,
        weights: Floats | None = None,
        share: Floats | None = None,
    ) -> None:
        self.surface, self.headings, self.rates = surface, headings, rates
        self.requirements = [one for one in requirements if isinstance(one, Requirement)]
        self.lights = Lights(surface, [one for one in requirements if isinstance(one, LightRequirement)])
        self.fixed, self.band = fixed, band
        self.z = surface.height[surface.inside]
        self.cut, self.fill = depths.at(surface)
        self.area = node_areas(surface.inside, surface.spacing)[surface.inside]
        if weights is not None:
            self.area = self.area * weights[surface.inside]
        self.scale = float(self.area.max()) * max(rates.off, rates.add)
        # in light the change is as smooth as the readings can tell, else single nodes stand in for what is between them
        self.basis = _smooth_basis(surface, self.lights.shortest) if self.lights.requirements else None
        self.low, self.high, self.spots = self._spots()
        self.program = self._program(elastic=False)
        self.x: Floats = np.empty(0)
        self.known: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        self.requirement: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        self.node: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        self.weights: csr_array | None = None
        bars, lit = [one.allowed for one in self.requirements], [one.allowed for one in self.lights.requirements]
        self.allowed = np.array([*bars, *lit])
        self.margin = np.array([*(MARGIN_MM for _ in bars), *(LIT_MARGIN * allowed for allowed in lit)])
        self.share = share
        self.own_share = np.ones(len(self.z)) if share is None else share[surface.inside]
        self.count, self.fresh, self.aim = 0, 0, ROUGH
        self.dropped: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        self.begun = pool is not None and pool.weights is not None
        if pool is not None and pool.weights is not None:
            self._add(pool.key, pool.requirement, pool.node, pool.weights)

    @property
    def placements(self) -> int:
        """Placements that are rows so far."""
        return len(self.known)

    @property
    def roughly(self) -> bool:
        """Whether the last round's change may be a little off what its placements ask for."""
        return self.aim > 0

    def _spots(self) -> tuple[Floats, Floats, csr_array]:
        """Least and most change of each fixed spot [mm], and the nodes' weights in it [spots, nodes]."""
        spots = spot_rows(self.surface, self.fixed)
        off = spot_heights(self.surface, self.fixed) - spots @ self.z
        allowance = np.array([spot.allowance for spot in self.fixed])
        return off - allowance, off + allowance, spots

    def _program(self, elastic: bool) -> Program:
        k, unit, cut, fill = len(self.fixed), self.area / self.scale, self.cut, self.fill
        if self.basis is not None:
            unit = np.asarray(self.basis.T @ unit)
            cut, fill = (_least_under(self.basis, depth) for depth in (cut, fill))
        n = len(unit)
        # a band that costs least has its foot no farther off than this
        reach = (self.band or 0.0) + float(np.abs(np.concatenate([self.low, self.high])).max(initial=0.0))
        foot = (-np.inf, np.inf) if elastic else (self.z.min() - reach, self.z.max() + reach)
        free, none = np.full(n, np.inf), np.zeros(n)
        widen, cost = np.full(3 + k, np.inf if elastic else 0.0), np.full(3 + k, 1.0 if elastic else 0.0)
        program = Program(
            np.concatenate([none if elastic else self.rates.add * unit, [0.0], cost]),
            np.concatenate([none if elastic else self.rates.off * unit, np.zeros(4 + k)]),
            np.concatenate([-free if elastic else -cut, [foot[0]], np.zeros(3 + k)]),
            np.concatenate([free if elastic else fill, [foot[1]], widen]),
        )
        if elastic:
            own = csr_array(diags_array(np.ones(n)))
            taken, added = (np.flatnonzero(np.isfinite(depth)) for depth in (cut, fill))
            program.add_rows(self._beside(own[taken], {CUT: 1.0}), -cut[taken], np.inf)
            program.add_rows(self._beside(own[added], {CUT + 1: -1.0}), -np.inf, fill[added])
        if self.band is not None:
            each = csr_array(diags_array(np.ones(len(self.z))))
            program.add_rows(self._rows(each, {FOOT: -1.0, BAND: 1.0}), -self.z, np.inf)
            program.add_rows(self._rows(each, {FOOT: -1.0, BAND: -1.0}), -np.inf, self.band - self.z)
        for j in range(k):
            spot = self.spots[[j]]
            program.add_rows(self._rows(spot, {SPOTS + j: 1.0}), self.low[j], np.inf)
            program.add_rows(self._rows(spot, {SPOTS + j: -1.0}), -np.inf, self.high[j])
        return program

    @property
    def free(self) -> int:
        """Variables that make the change."""
        return len(self.z) if self.basis is None else int(self.basis.shape[1])

    def _rows(self, weights: csr_array, others: dict[int, float] | None = None) -> csr_array:
        """Weights on the changes [m, n], and one weight each on some of the other variables."""
        return self._beside(weights if self.basis is None else csr_array(weights @ self.basis), others)

    def _beside(self, weights: csr_array, others: dict[int, float] | None = None) -> csr_array:
        """Weights on the variables that make the change [m, free], and one each on some of the others."""
        count = weights.shape[0]
        rest = np.zeros((count, SPOTS + len(self.fixed)))
        for place, weight in (others or {}).items():
            rest[:, place] = weight
        return csr_array(hstack([weights, csr_array(rest)]))

    def solve(self, tolerance: float, explain: bool = True) -> tuple[Floats, float]:
        """The cheapest change [n] mm that meets the rows so far, and what no plan can cost less than.

        ``tolerance`` is the relative gap that is wanted in the end; the solver goes well below it, not farther.
        ``explain`` says whether the error tells which terms clash, which takes longer than the search itself.

        Raises
        ------
        PlanError : no change meets them
        """
        self.count += 1
        if self.fresh <= FEW * self.placements:
            self.aim = NEARER if self.fresh else 0.0
        fine = float(np.clip(tolerance / 100, TOLERANCE, 1e-6))
        solution = self.program.solve(tolerance=self.aim or fine, roughly=self.roughly)
        if not solution.feasible:
            raise self._clash() if explain else PlanError("no surface within the limits meets all the terms")
        ceiling = self.program.ceiling.copy()
        ceiling[len(ceiling) - self.placements :] += self._held_back(self.requirement, self.node)
        self.x = solution.x
        change, bound = self._change(self.x), self.scale * self.program.bound(solution.dual, ceiling)
        self._drop_spare()
        return change, bound

    def _spare(self) -> Floats:
        """By how much less than is allowed each placement that is a row shows [placements]."""
        first = self.program.matrix.shape[0] - self.placements
        ceiling = self.program.ceiling[first:] + self._held_back(self.requirement, self.node)
        return np.asarray(ceiling - self.program.matrix[first:] @ self.x)

    def _drop_spare(self) -> None:
        """Leave out the placements with much to spare; one that breaks again comes back for good."""
        others = self.program.matrix.shape[0] - self.placements
        spare = (self._spare() > SPARE * self._allowed()) & ~np.isin(self.known, self.dropped)
        self.dropped = np.concatenate([self.dropped, self.known[spare]])
        self.known, self.requirement, self.node = self.known[~spare], self.requirement[~spare], self.node[~spare]
        self.weights = None if self.weights is None else csr_array(self.weights[~spare])
        self.program.keep_rows(np.concatenate([np.ones(others, dtype=bool), ~spare]))

    def _held_back(self, requirement: NDArray[np.int64], node: NDArray[np.int64]) -> Floats:
        """What is held back of what rows are allowed [m]."""
        lit = requirement >= len(self.requirements)
        return np.asarray(self.margin[requirement] * np.where(lit, self.own_share[node], 1.0))

    def _allowed(self) -> Floats:
        """What each placement that is a row is allowed [placements] mm."""
        return np.asarray(self.allowed[self.requirement] * self.own_share[self.node])

    def _change(self, x: Floats) -> Floats:
        change: Floats = x[: len(self.z)].copy() if self.basis is None else np.asarray(self.basis @ x[: self.free])
        change[np.abs(change) < MARGIN_MM / 2] = 0.0
        return change

    def _grid(self, change: Floats) -> Floats:
        grid = np.full(self.surface.height.shape, np.nan)
        grid[self.surface.inside] = self.z + change
        return grid

    def add_broken(self, change: Floats) -> int:
        """Make rows of the worst placements and places that this change leaves broken, and say how many were new."""
        self.fresh = self._add_lit(change)
        if self.count < ALONG_FIRST and not self.begun:
            # of so many headings as many as are the lattice's own
            self.fresh += self._add_worst(change, math.gcd(self.headings, 4))
            if self.fresh:
                return self.fresh
        self.fresh += self._add_worst(change, self.headings)
        return self.fresh

    def _add_lit(self, change: Floats) -> int:
        if not self.lights.requirements:
            return 0
        places = self.lights.shown(self._grid(change), self.share)
        fresh = ~np.isin(places.key, self.known)
        places = places.take(fresh)
        if len(places.node):
            node = np.cumsum(self.surface.inside.ravel())[places.node] - 1
            first = len(self.requirements)
            self._add(places.key, first + places.requirement, node, self.lights.rows_of(places))
        return len(places.node)

    def _add_worst(self, change: Floats, headings: int) -> int:
        if not self.requirements:
            return 0
        broken = broken_placements(
            self._grid(change), self.surface.spacing, self.requirements, headings, WORST, share=self.share
        )
        broken = replace(broken, heading=broken.heading * (self.headings // headings))
        key = broken.key()
        fresh = ~np.isin(key, self.known)
        broken = broken.take(fresh)
        if len(broken):
            weights = self._weights(broken)
            node = np.cumsum(self.surface.inside.ravel())[broken.node] - 1
            self._add(key[fresh], broken.requirement, node, weights)
        return len(broken)

    def _weights(self, broken: Placements) -> csr_array:
        weights = rows_of(broken, self.surface.height.shape, self.headings, self.surface.spacing)
        return csr_array(weights[:, self.surface.inside.ravel()])

    def _add(
        self, key: NDArray[np.int64], requirement: NDArray[np.int64], node: NDArray[np.int64], weights: csr_array
    ) -> None:
        self.known = np.concatenate([self.known, key])
        self.requirement = np.concatenate([self.requirement, requirement])
        self.node = np.concatenate([self.node, node])
        allowed = self.allowed[requirement] * self.own_share[node] - self._held_back(requirement, node)
        self.program.add_rows(self._rows(weights), -np.inf, allowed - weights @ self.z)
        self.weights = weights if self.weights is None else csr_array(vstack([self.weights, weights], format="csr"))

    def leave(self, pool: Pool, change: Floats) -> None:
        """Put the placements that bind after this change, or nearly so, into the pool."""
        if self.weights is None:
            return
        allowed = self._allowed()
        near = np.flatnonzero(allowed - self.weights @ (self.z + change) <= NEAR * allowed)
        pool.key, pool.requirement, pool.node = self.known[near], self.requirement[near], self.node[near]
        pool.weights = self.weights[near]

    def cost_of(self, change: Floats) -> float:
        """Rates x area x change, in the unit of the rates."""
        return self.rates.cost(self.area, change)

    def passes(self, change: Floats) -> bool:
        """Whether all that is required holds after this change."""
        return self._meets_terms(change) and bool((self._lacking(change) <= 0).all()) and not self._is_seen(change)

    def _is_seen(self, change: Floats) -> bool:
        """Whether a light shows too much after this change."""
        return bool(self.lights.requirements) and self.lights.used(self._grid(change), self.share) > 1

    def raised(self, change: Floats, dearest: float = np.inf) -> Floats | None:
        """The change with every node that fails raised until none does; None where a term forbids that.

        None too where it comes to cost more than ``dearest``: many lifts follow then, to no avail.

        A gap is over allowed where a node lies too low under a chord, so raising it mends it; that may lift a
        chord that rests there and so on, but each lift is a weighted mean of those before it.
        """
        change = change.copy()
        for _ in range(LIFTS):
            lacking = self._lacking(change)
            if (lacking <= 0).all():
                return change if self._meets_terms(change) and not self._is_seen(change) else None
            change += np.where(lacking > 0, lacking + MARGIN_MM / 2, 0.0)
            if (change > self.fill + NOISE_MM).any() or self.cost_of(change) > dearest:
                return None
        return None

    def _lacking(self, change: Floats) -> Floats:
        """[n] by how much the largest gap at each node is over what is allowed [mm]; negative where it is within."""
        grid = self._grid(change)
        lacking = np.full(len(change), -np.inf)
        for r in self.requirements:
            gap = gap_map(grid, self.surface.spacing, r.length, self.headings)[self.surface.inside]
            np.maximum(lacking, gap - r.allowed * self.own_share, out=lacking)
        return lacking

    def _meets_terms(self, change: Floats) -> bool:
        height, spots = self.z + change, self.spots @ change
        return bool(
            (change >= -self.cut - NOISE_MM).all()
            and (change <= self.fill + NOISE_MM).all()
            and (spots >= self.low - NOISE_MM).all()
            and (spots <= self.high + NOISE_MM).all()
            and (self.band is None or np.ptp(height) <= self.band + NOISE_MM)
        )

    def _clash(self) -> PlanError:
        """Widen the terms by as little as will do, placements and all, and say which were too narrow."""
        firm, self.program = self.program, self._program(elastic=True)
        rows = firm.matrix[firm.matrix.shape[0] - self.placements :]
        self.program.add_rows(rows, -np.inf, firm.ceiling[len(firm.ceiling) - self.placements :])
        for _ in range(ELASTIC_ROUNDS):
            if not self.add_broken(self._change(self.program.solve().x)):
                break
        solution = self.program.solve(vertex=True)
        needed = solution.x[self.free + 1 :]
        # a term takes part where the rows that it widens bind
        widens = self.program.matrix[:, self.free + 1 :]
        involved = (abs(widens).T @ np.abs(solution.dual)) > DUAL_NOISE
        names = ("the deepest cut", "the deepest fill", Note("level-band", band=self.band or 0.0))
        others = [(name, float(needed[i]), bool(involved[i])) for i, name in enumerate(names)]
        return clash(
            "no surface within the limits meets all the terms",
            self.fixed,
            needed[3:].tolist(),
            involved[3:].tolist(),
            others,
        )


def _smooth_basis(surface: Surface, shortest: float) -> csr_array:
    """Weights [n, free] of cubic B-splines on the nodes; their knots are half of the shortest wave [mm] apart."""
    each = []
    for axis in (surface.y, surface.x):
        parts = max(1, round(float(np.ptp(axis)) / (shortest / 2)))
        step = max(float(np.ptp(axis)), 1.0) / parts
        knots = axis[0] + step * np.arange(-3, parts + 4)
        each.append(BSpline.design_matrix(np.clip(axis, axis[0], axis[-1]), knots, 3, extrapolate=True))
    along_y, along_x = each
    basis = csr_array(kron(along_y, along_x, format="csr"))[surface.inside.ravel()]
    return csr_array(basis[:, np.flatnonzero(basis.sum(axis=0) > NOISE_MM)])


def _least_under(basis: csr_array, depth: Floats) -> Floats:
    """[free] the least depth [n] mm of the nodes that each spline reaches."""
    at = basis.tocoo()
    out = np.full(basis.shape[1], np.inf)
    reached = at.data > NOISE_MM
    np.minimum.at(out, at.coords[1][reached], depth[at.coords[0][reached]])
    return out


Progress = Callable[[int, int, float], bool]

MOST_ROUNDS = 200  # far more than any surface took
WORTH_RAISING = 0.005  # a round's change that is dearer by more than this share once raised is not yet worth it


@dataclass(frozen=True, eq=False, kw_only=True)
class LeastWork:
    """The least work to pass, and the proof that it is the least.

    Attributes
    ----------
    change : [ny, nx] mm, adding positive; NaN where there is no surface
    cost : rates x area x change, in the unit of the rates
    bound : no plan that passes costs less than this
    gap : (cost - bound) / cost; 0 where nothing need be done
    flat_cost : what the cheapest dead-flat plane would cost (a level one where ``level_within`` is given), under
        the same depths and fixed spots where a plane can meet them, without them where none can
    rounds : linear programs solved
    placements : rows they had in the end
    seconds : time it took [s]
    finished : False where ``progress`` stopped it: the change passes, but a cheaper one may be left to find
    """

    change: Floats
    cost: float
    bound: float
    gap: float
    flat_cost: float
    rounds: int
    placements: int
    seconds: float
    finished: bool = True

    @property
    def ratio(self) -> float:
        """Cost as a part of the dead-flat plane's; NaN where that costs nothing."""
        return self.cost / self.flat_cost if self.flat_cost > 0 else math.nan


def least_work(
    surface: Surface,
    requirements: Iterable[Required | tuple[float, float]],
    *,
    headings: int = 12,
    rates: Rates | None = None,
    depths: Depths | None = None,
    fixed: Sequence[FixedSpot] = (),
    level_within: float | None = None,
    tolerance: float = 1e-4,
    progress: Progress | None = None,
    pool: Pool | None = None,
    explain: bool = True,
    weights: Floats | None = None,
    share: Floats | None = None,
) -> LeastWork:
    """The cheapest change after which no gap under a straightedge is larger than allowed, and no light shows too much.

    Parameters
    ----------
    surface : as it is
    requirements : straightedges, each with its length and allowed gap [mm], and lights; all of them hold
    headings : directions the straightedges are set, as the verdict sets them
    rates : cost of taking off and adding; None: both 1 per mm3
    depths : deepest allowed cut and fill [mm]; None: any
    fixed : spots whose finished height is given
    level_within : band [mm] between two level planes that shall hold the whole finished surface; None: no band
    tolerance : relative gap between cost and bound at which the work ends
    progress : called each round with its number, the placements still broken and the cost so far; True stops
    pool : placements from an earlier search on the same surface with the same bars and headings, to begin with; this
        search leaves its own there
    explain : whether the error for terms that clash says which and by how much, which takes time
    weights : [ny, nx] by which the rates are multiplied from place to place; cost and bound are then in weighted units,
        and ``flat_cost`` is NaN
    share : [ny, nx] of what is allowed, where less is wanted over a node; None: all of it

    Returns
    -------
    LeastWork : after its change the gaps are within the limits as :func:`~flatness.measures.bars.gap_map` finds
        them, and spots, depths and band hold to a millionth of a millimetre

    Raises
    ------
    MeasureError : ``level_within`` of a surface off a string
    PlanError : terms that clash; the message says which and by how much. Also where ``progress`` stops before any
        plan that passes is known
    ArgumentError : nothing required, or an argument out of range

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0.0, -4.0, 0.0]] * 3, spacing=500)
    >>> plan = least_work(trough, [(1000, 3.0)], headings=1, rates=Rates(off=2, add=1))
    >>> round(float(plan.change[1, 1]), 3)
    1.0
    """
    start = time.perf_counter()
    wanted = [Requirement(*one) if isinstance(one, tuple) else one for one in requirements]
    _check(surface, wanted, level_within, tolerance)
    rates, depths = rates or Rates(), depths or Depths()
    # a search by weights only draws together what another found
    flat = None if weights is not None else _dead_flat(surface, rates, depths, fixed, level_within is not None)
    rounds = Rounds(surface, wanted, headings, rates, depths, fixed, level_within, pool, weights, share)
    z = surface.height[surface.inside]
    best: Floats | None = flat.change[surface.inside] if flat is not None and flat.meets_terms else None
    cost = rounds.cost_of(best) if best is not None else math.inf
    if rounds.passes(np.zeros_like(z)):
        best, cost = np.zeros_like(z), 0.0
    bound, finished, left = 0.0, True, rounds.add_broken(np.zeros_like(z))
    while (cost == math.inf or cost - bound > tolerance * cost) and rounds.count < MOST_ROUNDS:
        change, proven = rounds.solve(tolerance, explain)
        bound = max(bound, proven)
        left = rounds.add_broken(change)
        stop = progress is not None and progress(rounds.count, left, min(cost, rounds.cost_of(change)))
        raised = rounds.raised(change, math.inf if stop or left == 0 else (1 + WORTH_RAISING) * bound)
        if raised is not None and rounds.cost_of(raised) < cost:
            best, cost = raised, rounds.cost_of(raised)
        if stop:
            finished = math.isfinite(cost) and cost - bound <= tolerance * cost
            break
        if left == 0 and not rounds.roughly:
            break  # as near to the optimum as the solver's own tolerance goes
    if best is None:
        raise PlanError(
            "no plan that passes was found before the work was stopped" if not finished else "no plan passes exactly",
            value=f"{left} placements still broken after {rounds.count} rounds",
            remedy="let it run on" if not finished else "widen the allowances or depths a little",
        )
    if pool is not None:
        rounds.leave(pool, best)
    return _result(surface, rounds, best, cost, bound, math.nan if flat is None else flat.cost, start, finished)


def _result(
    surface: Surface,
    rounds: Rounds,
    best: Floats,
    cost: float,
    bound: float,
    flat_cost: float,
    start: float,
    finished: bool,
) -> LeastWork:
    change = np.full(surface.height.shape, np.nan)
    change[surface.inside] = best
    bound = max(0.0, min(bound, cost))
    return LeastWork(
        change=change,
        cost=cost,
        bound=bound,
        gap=(cost - bound) / cost if cost > 0 else 0.0,
        flat_cost=flat_cost,
        rounds=rounds.count,
        placements=rounds.placements,
        seconds=time.perf_counter() - start,
        finished=finished,
    )


@dataclass(frozen=True, eq=False)
class _Flat:
    change: Floats
    cost: float
    meets_terms: bool


def _dead_flat(surface: Surface, rates: Rates, depths: Depths, fixed: Sequence[FixedSpot], level: bool) -> _Flat:
    def plane(depths: Depths, fixed: Sequence[FixedSpot]) -> Target:
        if level:
            return level_target(surface, rates=rates, depths=depths, fixed=fixed)
        return best_plane_target(surface, tilt="least-work", rates=rates, depths=depths, fixed=fixed)

    try:
        target, meets = plane(depths, fixed), True
    except PlanError:
        target, meets = plane(Depths(), ()), False
    return _Flat(target.change, target.cost, meets)


def _check(surface: Surface, requirements: Sequence[Required], level_within: float | None, tolerance: float) -> None:
    if not requirements and level_within is None:
        raise ArgumentError(
            "nothing is required",
            expected="a straightedge limit, a light limit, or a band for level",
            remedy="give the length and the allowed gap of a straightedge",
        )
    for requirement in requirements:
        if requirement.allowed <= NOISE_MM:
            raise ArgumentError("allowed gap out of range", value=str(requirement.allowed), expected="more than noise")
    if level_within is not None:
        if not surface.is_level:
            what, remedy = "a surface read off a string has no level", "ask for no band, or read off a level line"
            raise MeasureError(what, value=surface.reference, expected="a level or plumb reference", remedy=remedy)
        if not (math.isfinite(level_within) and level_within >= 0):
            raise ArgumentError("level_within out of range", value=str(level_within), expected="mm, 0 or more")
    if not (0 <= tolerance < 1):
        raise ArgumentError("tolerance out of range", value=str(tolerance), expected="0 to under 1")
    if not surface.inside.any():
        raise MeasureError("a surface without heights", expected="one node or more")
