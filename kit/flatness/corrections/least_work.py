"""The least work after which every straightedge placement passes.

Of all changes after which no gap is larger than allowed, the one of least cost: a linear program whose rows are
placements. There are far too many to write down, so only broken ones enter, the worst three a node each round,
until none is left. The dual of each round proves a lower bound on the cost of any plan; raising the few nodes that
still fail gives a plan that passes; the work is done when the two meet.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from flatness.corrections.rounds import NOISE_MM, Pool, Rounds
from flatness.corrections.target import Target, best_plane_target, level_target
from flatness.corrections.terms import Depths, FixedSpot, Rates
from flatness.errors import ArgumentError, MeasureError, PlanError
from flatness.measures.placements import Requirement
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

Progress = Callable[[int, int, float], bool]

MOST_ROUNDS = 200  # far more than any surface took
WORTH_RAISING = 0.005  # a round's change that is dearer by more than this share once raised is not yet worth it


@dataclass(frozen=True, eq=False)
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
    surface: Surface, requirements: Iterable[Requirement | tuple[float, float]], *, headings: int = 12,
    rates: Rates | None = None, depths: Depths | None = None, fixed: Sequence[FixedSpot] = (),
    level_within: float | None = None, tolerance: float = 1e-4, progress: Progress | None = None,
    pool: Pool | None = None, explain: bool = True, weights: Floats | None = None,
    share: Floats | None = None,
) -> LeastWork:  # fmt: skip
    """The cheapest change after which no gap under any straightedge is larger than allowed.

    Parameters
    ----------
    surface : as it is
    requirements : straightedges, each with its length and allowed gap [mm]; all of them hold
    headings : directions the straightedges are laid, as the verdict lays them
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
    wanted = [r if isinstance(r, Requirement) else Requirement(*r) for r in requirements]
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
        )  # fmt: skip
    if pool is not None:
        rounds.leave(pool, best)
    return _result(surface, rounds, best, cost, bound, math.nan if flat is None else flat.cost, start, finished)


def _result(
    surface: Surface, rounds: Rounds, best: Floats, cost: float, bound: float, flat_cost: float, start: float,
    finished: bool,
) -> LeastWork:  # fmt: skip
    change = np.full(surface.height.shape, np.nan)
    change[surface.inside] = best
    bound = max(0.0, min(bound, cost))
    return LeastWork(
        change, cost, bound, (cost - bound) / cost if cost > 0 else 0.0, flat_cost, rounds.count, rounds.placements,
        time.perf_counter() - start, finished,
    )  # fmt: skip


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


def _check(
    surface: Surface, requirements: Sequence[Requirement], level_within: float | None, tolerance: float
) -> None:  # fmt: skip
    if not requirements and level_within is None:
        raise ArgumentError(
            "nothing is required", expected="a straightedge limit or more, or a band for level",
            remedy="give the length and the allowed gap of a straightedge",
        )  # fmt: skip
    for requirement in requirements:
        if requirement.allowed <= NOISE_MM:
            raise ArgumentError("allowed gap out of range", value=str(requirement.allowed), expected="more than noise")
    if level_within is not None:
        if not surface.is_level:
            raise MeasureError(
                "a surface read off a string has no level", value=surface.reference,
                expected="a level or plumb reference", remedy="ask for no band, or read off a level line",
            )  # fmt: skip
        if not (math.isfinite(level_within) and level_within >= 0):
            raise ArgumentError("level_within out of range", value=str(level_within), expected="mm, 0 or more")
    if not (0 <= tolerance < 1):
        raise ArgumentError("tolerance out of range", value=str(tolerance), expected="0 to under 1")
    if not surface.inside.any():
        raise MeasureError("a surface without heights", expected="one node or more")
