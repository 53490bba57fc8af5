"""Least squares by observation equations: unknowns, their errors, residuals, and which observation is a blunder.

The formulas are the textbook ones (parametric adjustment; data snooping after Baarda 1968, with the tau
criterion of Pope 1976 where no error is stated beforehand), from memory; the tests recompute them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from flatness.survey.readings import Floats

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
