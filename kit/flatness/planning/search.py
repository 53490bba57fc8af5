"""The change that brings a surface to its target, and what gives way where nothing may come off but something must."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from flatness.arrays import Floats
from flatness.errors import PlanError
from flatness.notes import joined
from flatness.planning.constraints import Binding, Depths, FixedSpot, Rates, spot_heights, spot_rows
from flatness.planning.least_work import Pool, Progress, Required, least_work
from flatness.planning.set_heights import CHANGED_MM
from flatness.planning.substrate import Permitted
from flatness.planning.target import (
    TOUCHING_MM,
    Target,
    best_plane_target,
    fixed_spots_target,
    level_target,
    through_benchmarks_target,
)
from flatness.surface.lattice import Surface

STRATEGIES = ("least-work", "level", "best-plane", "through-benchmarks", "fixed-spots")
DEAR = 1000.0  # times as dear as adding, so that as little as can be comes off where it may not
NEAR, ROUGH = 1e-3, 1e-2  # relative gap at which a search ends, and one that only draws together what another found
SLACK_MM = 0.01  # more than the least that must come off, so that the second search has room


@dataclass(frozen=True, eq=False, kw_only=True)
class Terms:
    """All that a search goes by.

    Attributes
    ----------
    surface : to plan on
    strategy : one of :data:`STRATEGIES`
    headings : directions in which straightedges are set
    rates : of the work
    depths : the user's own deepest cut and fill
    permitted : how deep anything may come off for what lies beneath; None: as deep as ``depths`` says
    fixed : spots whose finished height is given
    level_within, height, tilt : as for :func:`~flatness.planning.planner.plan_corrections`
    ask_engineer : whether more than is permitted may come off where nothing else will do
    progress : called each round of the least work
    pool : placements that one search hands to the next
    explain : whether an error says which terms clash
    weights : [ny, nx] by which the rates differ from place to place, or None
    share : [ny, nx] of what is allowed, where less is wanted over a node, or None
    """

    surface: Surface
    strategy: str
    headings: int
    rates: Rates
    depths: Depths
    permitted: Permitted | None
    fixed: tuple[FixedSpot, ...]
    level_within: float | None
    height: float | None
    tilt: str
    ask_engineer: bool
    progress: Progress | None
    pool: Pool = field(default_factory=Pool)
    explain: bool = True
    weights: Floats | None = None
    share: Floats | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Found:
    """What a search found.

    Attributes
    ----------
    change : [ny, nx] mm
    bound, flat_cost : as in :class:`~flatness.planning.plan.Plan`
    binding : terms met with nothing to spare
    finished : False where ``progress`` stopped it
    clash : why the engineer must decide; empty where nobody must
    depths : that it was found with
    """

    change: Floats
    bound: float
    flat_cost: float
    binding: tuple[Binding, ...]
    finished: bool = True
    clash: str = ""
    depths: Depths = field(default_factory=Depths)


def seek(terms: Terms, requirements: Sequence[Required]) -> Found:
    """The cheapest change that the terms allow.

    What lies beneath limits the cut before the target is sought, which lifts the target around proud spots. Where
    that cannot be and ``ask_engineer`` says so, as little as can be comes off beyond it, and no more than that.

    Raises
    ------
    PlanError : terms that clash, whatever the engineer says
    """
    stopped, progress = [], terms.progress

    def watched(count: int, left: int, cost: float) -> bool:
        stop = progress is not None and bool(progress(count, left, cost))
        stopped.extend([True] * stop)
        return stop

    terms = replace(terms, progress=watched)
    shape = terms.surface.height.shape
    own = np.broadcast_to(np.asarray(terms.depths.cut, dtype=np.float64), shape)
    permitted = own if terms.permitted is None else np.minimum(own, terms.permitted.cut)
    try:
        return _solve(terms, requirements, terms.rates, replace(terms.depths, cut=permitted))
    except PlanError as error:
        if stopped or not terms.ask_engineer or not (permitted < own)[terms.surface.inside].any():
            raise
        clash = joined(problem.what for problem in error.problems)
    dear = Rates(off=DEAR * terms.rates.add, add=terms.rates.add)
    least = _solve(terms, requirements, dear, terms.depths)
    needed = np.nan_to_num(-least.change)
    loosened = np.where(needed > permitted + CHANGED_MM, np.minimum(needed + SLACK_MM, own), permitted)
    try:
        found = _solve(terms, requirements, terms.rates, replace(terms.depths, cut=loosened))
    except PlanError:
        if stopped:
            raise
        found = _solve(terms, requirements, terms.rates, terms.depths)
    return replace(found, clash=clash)


def _solve(terms: Terms, requirements: Sequence[Required], rates: Rates, depths: Depths) -> Found:
    surface = terms.surface
    if terms.strategy != "least-work":
        target = _plane(terms, rates, depths)
        change = _settled(target.change)
        return Found(
            change=change, bound=math.nan, flat_cost=_flat_cost(terms, depths), binding=target.binding, depths=depths
        )
    found = least_work(
        surface,
        requirements,
        headings=terms.headings,
        rates=rates,
        depths=depths,
        fixed=terms.fixed,
        level_within=terms.level_within,
        progress=terms.progress,
        pool=terms.pool,
        explain=terms.explain,
        weights=terms.weights,
        share=terms.share,
        tolerance=ROUGH if terms.weights is not None else NEAR,
    )
    change = _settled(found.change)
    return Found(
        change=change,
        bound=found.bound,
        flat_cost=found.flat_cost,
        binding=_binding(terms, change, depths),
        finished=found.finished,
        depths=depths,
    )


def _settled(change: Floats) -> Floats:
    """The change without binary noise."""
    return np.where(np.abs(change) < CHANGED_MM, 0.0, change)


def _plane(terms: Terms, rates: Rates, depths: Depths) -> Target:
    search: dict[str, Callable[[], Target]] = {
        "level": lambda: level_target(
            terms.surface, height=terms.height, rates=rates, depths=depths, fixed=terms.fixed
        ),
        "best-plane": lambda: best_plane_target(
            terms.surface, tilt=terms.tilt, rates=rates, depths=depths, fixed=terms.fixed
        ),
        "through-benchmarks": lambda: through_benchmarks_target(terms.surface, terms.fixed, rates=rates, depths=depths),
        "fixed-spots": lambda: fixed_spots_target(terms.surface, terms.fixed, rates=rates, depths=depths),
    }
    return search[terms.strategy]()


def _flat_cost(terms: Terms, depths: Depths) -> float:
    """What the cheapest dead-flat plane costs under the same terms, or a level one where level is wanted."""
    if terms.strategy == "level":
        return level_target(terms.surface, rates=terms.rates, depths=depths, fixed=terms.fixed).cost
    target = best_plane_target(terms.surface, tilt="least-work", rates=terms.rates, depths=depths, fixed=terms.fixed)
    return target.cost


def _binding(terms: Terms, change: Floats, depths: Depths) -> tuple[Binding, ...]:
    """Fixed spots at the end of their allowance, and nodes that move as deep as they may."""
    surface, found = terms.surface, []
    x, y, z = surface.nodes()
    moved = change[surface.inside]
    off = np.abs(spot_rows(surface, terms.fixed) @ (z + moved) - spot_heights(surface, terms.fixed))
    for spot, away in zip(terms.fixed, off, strict=True):
        if spot.allowance - away < TOUCHING_MM:
            found.append(Binding("fixed spot", (spot.x, spot.y), spot.name))
    cut, fill = depths.at(surface)
    for term, depth, way in (("deepest cut", cut, -moved), ("deepest fill", fill, moved)):
        at = np.flatnonzero((way > CHANGED_MM) & (depth - way < 10 * TOUCHING_MM))
        found += [Binding(term, (float(x[k]), float(y[k]))) for k in at]
    return tuple(found)
