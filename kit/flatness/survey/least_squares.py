"""Least squares by observation equations: unknowns, their errors, residuals, and which observation is a blunder.

The formulas are the textbook ones (parametric adjustment; data snooping after Baarda 1968, with the tau
criterion of Pope 1976 where no error is stated beforehand), from memory; the tests recompute them.

The network that sights make between points: what hangs together, and the loops that must close.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from flatness.arrays import Floats

SNOOPING_LEVEL = 0.001  # Baarda's usual chance of calling one good observation a blunder: 3.29 standard deviations
CRITICAL = -float(ndtri(SNOOPING_LEVEL / 2))
MOST_BLUNDERS = 10  # where more are found, the stated error is wrong rather than the observations
LEAST_SHARE = 1e-8  # an observation that nothing else controls has no residual to judge
PERFECT_MM = 1e-6  # a fit this close leaves binary noise alone
_LEAST_PIVOT = 1e-10
_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class Solution:
    """A least-squares solution of n observations for u unknowns.

    Attributes
    ----------
    unknowns : [u]
    cofactors : [u, u]; times the variance of unit weight they are the unknowns' covariances
    residuals : [n] adjusted minus observed
    shares : [n] redundancy numbers, 0 (nothing else controls it) to 1; they add up to the redundancy
    redundancy : observations less unknowns, those eliminated included
    pvv : weighted sum of squared residuals
    """

    unknowns: Floats
    cofactors: Floats
    residuals: Floats
    shares: Floats
    redundancy: int
    pvv: float

    @property
    def m0(self) -> float:
        """Standard deviation of unit weight that the residuals show; NaN without redundancy."""
        return math.sqrt(self.pvv / self.redundancy) if self.redundancy > 0 else math.nan

    def turned(self) -> Solution:
        """The same, where the observations are the negative of what the residuals are wanted for."""
        return replace(self, residuals=-self.residuals)


@dataclass(frozen=True)
class Blunder:
    """Observations of which one is a blunder: one alone, or several that the others cannot tell apart.

    ``sizes`` is what each reads too much, were it the one.
    """

    which: tuple[int, ...]
    sizes: tuple[float, ...]
    w: float


def solve(design: Floats, observed: Floats, weight: Floats, group: NDArray[np.int64] | None = None) -> Solution | None:
    """Least-squares solution of design @ unknowns = observed, or None where the unknowns are not determined.

    Parameters
    ----------
    design : [n, u]
    observed : [n]
    weight : [n], zero for an observation left out
    group : [n] or None; observations of one group (0, 1, ...; -1 for none) share one more unknown, with
        coefficient one, that is eliminated beforehand: so thousands of stations cost no large matrix

    Examples
    --------
    >>> import numpy as np
    >>> mean = solve(np.ones((4, 1)), np.array([1.0, 2.0, 3.0, 6.0]), np.ones(4))
    >>> float(mean.unknowns[0]), round(mean.m0, 4), mean.redundancy
    (3.0, 2.1602, 3)
    """
    root = np.sqrt(weight)
    lever = np.zeros(len(observed))
    eliminated = 0
    if group is not None:
        share_out, collect, lever, eliminated = _group_means(weight, group)
        design, observed = (values - share_out @ (collect @ values) for values in (design, observed))
    scaled = root[:, None] * design
    size = np.sqrt((scaled**2).sum(axis=0))
    unknowns, cofactors = np.zeros(len(size)), np.zeros((len(size), len(size)))
    if len(size):
        if not (size > 0).all():
            return None
        unit = scaled / size
        try:
            factor = np.linalg.cholesky(unit.T @ unit)
        except np.linalg.LinAlgError:
            return None
        if np.diag(factor).min() ** 2 < _LEAST_PIVOT:
            return None
        for _ in range(2):  # the second pass takes away what the normal equations have lost
            rest = root * (observed - design @ unknowns)
            unknowns = unknowns + scipy.linalg.cho_solve((factor, True), unit.T @ rest) / size
        spread = scipy.linalg.solve_triangular(factor, unit.T, lower=True)
        lever = lever + (spread**2).sum(axis=0)
        cofactors = scipy.linalg.cho_solve((factor, True), np.eye(len(size))) / np.outer(size, size)
    residuals = design @ unknowns - observed
    redundancy = int((weight > 0).sum()) - len(size) - eliminated
    shares = np.where(weight > 0, np.clip(1 - lever, 0.0, 1.0), 0.0)
    return Solution(unknowns, cofactors, residuals, shares, redundancy, float(weight @ residuals**2))


def _group_means(
    weight: Floats, group: NDArray[np.int64]
) -> tuple[scipy.sparse.csr_matrix, scipy.sparse.csr_matrix, Floats, int]:
    """Matrices that collect weighted means [groups, n] and share them out [n, groups]; levers [n]; groups in use."""
    inside = np.flatnonzero(group >= 0)
    count = int(group.max(initial=-1)) + 1
    total = np.bincount(group[inside], weights=weight[inside], minlength=count)
    used = inside[total[group[inside]] > 0]
    lever = np.zeros(len(group))
    lever[used] = weight[used] / total[group[used]]
    shape = (len(group), count)
    share_out = scipy.sparse.csr_matrix((np.ones(len(used)), (used, group[used])), shape=shape)
    collect = scipy.sparse.csr_matrix((lever[used], (group[used], used)), shape=shape[::-1])
    return share_out, collect, lever, int((total > 0).sum())


def standardised(solution: Solution, weight: Floats, stated: float | None) -> Floats:
    """Residuals over their own standard deviations, w [n]; NaN where nothing controls an observation.

    ``stated`` is the standard deviation of unit weight known beforehand; without it m0 serves.
    """
    unit = solution.m0 if stated is None else stated
    w = np.full(len(weight), np.nan)
    judged = solution.shares > LEAST_SHARE
    if judged.any() and unit > PERFECT_MM * (stated is None):
        w[judged] = solution.residuals[judged] * np.sqrt(weight[judged] / solution.shares[judged]) / unit
    return w


def critical_w(redundancy: int, stated: float | None, level: float = SNOOPING_LEVEL) -> float:
    """What \\|w\\| of a good observation exceeds with chance ``level``; infinite where it cannot be judged.

    3.29 with a stated error (Baarda); without one the residuals are judged by their own scatter, and \\|w\\| never
    exceeds the root of the redundancy: tau (Pope).

    >>> round(critical_w(3, 1.0), 2)
    3.29
    """
    if stated is not None:
        return -float(ndtri(level / 2)) if redundancy > 0 else math.inf
    if redundancy < 2:
        return math.inf
    t = -float(stdtrit(redundancy - 1, level / 2))
    return t * math.sqrt(redundancy / (redundancy - 1 + t * t))


def find_blunders(
    solve_with: Callable[[Floats], Solution | None], weight: Floats, stated: float | None
) -> list[Blunder]:
    """Blunders, the plainest first: the largest w over its critical value, left out, and all judged again.

    At most ten are named.
    """
    found: list[Blunder] = []
    solution = solve_with(weight)
    while solution is not None and len(found) < MOST_BLUNDERS:
        w = np.nan_to_num(standardised(solution, weight, stated))
        most = float(np.abs(w).max(initial=0.0))
        if most <= critical_w(solution.redundancy, stated) * (1 + _SAME):
            break
        which = np.flatnonzero(np.abs(w) >= most * (1 - _SAME))
        sizes = -solution.residuals[which] / solution.shares[which]
        found.append(Blunder(tuple(which.tolist()), tuple(sizes.tolist()), most))
        weight = weight.copy()
        weight[which[0]] = 0.0  # one alone: the others may be all that holds a point
        solution = solve_with(weight)
    return found


Point = Hashable
Ends = Sequence[tuple[Point, Point]]


@dataclass(frozen=True)
class Loop:
    """A way through the network whose height difference is known: round to its start, or between two fixed points.

    Attributes
    ----------
    points : in order, from start to end
    sights : number of each sight along it
    signs : 1 where the sight is gone along, -1 where against
    """

    points: tuple[Point, ...]
    sights: tuple[int, ...]
    signs: tuple[int, ...]

    @property
    def is_closed(self) -> bool:
        return self.points[0] == self.points[-1]


@dataclass(frozen=True)
class Tree:
    """Shortest ways from the fixed points: of each point reached, the sight that reached it and the point before."""

    before: dict[Point, tuple[int, Point] | None]

    def way(self, point: Point) -> list[tuple[int, Point]]:
        """Sights from this point back to its fixed point, each with the point that it leads to."""
        steps = []
        step = self.before[point]
        while step is not None:
            steps.append(step)
            step = self.before[step[1]]
        return steps


def neighbours(ends: Ends) -> dict[Point, list[tuple[int, Point]]]:
    """Of each point the sights there and the points at their other ends."""
    near: dict[Point, list[tuple[int, Point]]] = {}
    for i, (a, b) in enumerate(ends):
        near.setdefault(a, []).append((i, b))
        near.setdefault(b, []).append((i, a))
    return near


def spanning_tree(ends: Ends, fixed: Collection[Point]) -> Tree:
    """Shortest ways (fewest sights) from the fixed points to all that they reach."""
    near = neighbours(ends)
    before: dict[Point, tuple[int, Point] | None] = {point: None for point in near if point in fixed}
    queue = deque(before)
    while queue:
        here = queue.popleft()
        for sight, there in near[here]:
            if there not in before:
                before[there] = (sight, here)
                queue.append(there)
    return Tree(before)


def groups_apart(ends: Ends, fixed: Collection[Point]) -> list[list[Point]]:
    """Groups of points that no sight joins to a fixed point, in the order of the sights."""
    reached = set(spanning_tree(ends, fixed).before)
    groups = []
    for point in neighbours(ends):
        if point not in reached:
            group = list(spanning_tree(ends, [point]).before)
            reached |= set(group)
            groups.append(group)
    return groups


def independent_loops(ends: Ends, fixed: Collection[Point]) -> list[Loop]:
    """One loop, or line between fixed points, for each sight that the spanning tree has not used.

    They are as many as the sights are redundant, and any other loop is made of them.

    Examples
    --------
    >>> [loop.points for loop in independent_loops([("A", "B"), ("B", "C"), ("C", "A")], {"A"})]
    [('A', 'B', 'C', 'A')]
    """
    tree = spanning_tree(ends, fixed)
    used = {step[0] for step in tree.before.values() if step is not None}
    return [_loop(ends, tree, i) for i in range(len(ends)) if i not in used and ends[i][0] in tree.before]


def _loop(ends: Ends, tree: Tree, closing: int) -> Loop:
    a, b = ends[closing]
    out, back = tree.way(a), tree.way(b)
    while out and back and out[-1] == back[-1]:  # the way from the fixed point that both have in common
        out.pop()
        back.pop()
    start = out[-1][1] if out else a
    points, sights = [start], []
    for k in range(len(out) - 1, -1, -1):
        sights.append(out[k][0])
        points.append(out[k - 1][1] if k else a)
    sights.append(closing)
    points.append(b)
    for sight, there in back:
        sights.append(sight)
        points.append(there)
    signs = [1 if ends[sight] == (points[k], points[k + 1]) else -1 for k, sight in enumerate(sights)]
    return Loop(tuple(points), tuple(sights), tuple(signs))
