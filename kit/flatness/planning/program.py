"""Linear programs: solved by interior point or simplex, with a lower bound that is checked apart from the solver."""

from __future__ import annotations

from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array, diags_array, hstack, vstack

from flatness.arrays import Floats
from flatness.errors import PlanError

# the solver is given the dual, which has no bounds where no x meets the rows
_BAD = ("kUnbounded", "kUnboundedOrInfeasible")
TOLERANCE = 1e-8  # of the interior point, relative


class _Quiet(highspy.Highs):
    """The solver without callbacks, whose setting up prints a banner where only our own output may stand."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()


@dataclass(frozen=True, eq=False)
class Solution:
    """What the solver found.

    Attributes
    ----------
    x : [n] the variables
    dual : [m] cost of each row, positive where its lower side binds, negative where its upper side does
    feasible : False where no x meets all rows
    """

    x: Floats
    dual: Floats
    feasible: bool


@dataclass(eq=False)
class Program:
    """Least sum of costs of x with rows: floor <= A x <= ceiling, and columns: lower <= x <= upper.

    A column costs ``rise`` for each unit above zero and ``fall`` for each below, neither of them negative, and has
    zero between its limits unless it costs nothing. The solver is given the dual, with a row a column of A: where
    one column stands for what is taken off and what is added, that is half the rows, and half the time.
    """

    rise: Floats
    fall: Floats
    lower: Floats
    upper: Floats

    def __post_init__(self) -> None:
        self.matrix = csr_array((0, len(self.rise)))
        self.floor: Floats = np.empty(0)
        self.ceiling: Floats = np.empty(0)

    def add_rows(self, matrix: csr_array, floor: Floats | float, ceiling: Floats | float) -> None:
        """More rows: [m, n] weights and the least and most they may sum to."""
        count = matrix.shape[0]
        self.matrix = csr_array(vstack([self.matrix, matrix], format="csr"))
        self.floor = np.concatenate([self.floor, np.broadcast_to(np.asarray(floor, float), count)])
        self.ceiling = np.concatenate([self.ceiling, np.broadcast_to(np.asarray(ceiling, float), count)])

    def keep_rows(self, kept: NDArray[np.bool_]) -> None:
        """Leave out the rows that are not ``kept`` [m]."""
        self.matrix, self.floor, self.ceiling = csr_array(self.matrix[kept]), self.floor[kept], self.ceiling[kept]

    def solve(self, vertex: bool = False, tolerance: float = TOLERANCE, roughly: bool = False) -> Solution:
        """The least cost by interior point; ``vertex`` moves on to a corner of the feasible set.

        Without that the solution lies amid all the equally cheap ones, and takes a fraction of the time. ``tolerance``
        is the interior point's own, relative. ``roughly`` takes what it ends with though the solver holds that for
        too far off: x may then be over its limits a little, but what ``bound`` proves from the dual still holds.
        """
        solver = _Quiet()
        options = highspy.HighsOptions()
        options.output_flag = False
        options.run_crossover = "on" if vertex else "off"
        options.ipm_optimality_tolerance = tolerance
        options.ipx_dualize_strategy = 0  # it is the dual already
        # from 1.12 on there are two interior points and "ipm" leaves open which
        options.solver = "ipx" if (solver.versionMajor(), solver.versionMinor()) >= (1, 12) else "ipm"
        solver.passOptions(options)
        model, sides = self._turned()
        solver.passModel(model)
        solver.run()
        status = solver.getModelStatus().name
        if status not in ("kOptimal", *_BAD) and not (roughly and status == "kUnknown"):
            # the interior point can stop short of deciding on a program that is barely feasible, or not
            options.solver = "simplex"
            solver.passOptions(options)
            solver.run()
            status = solver.getModelStatus().name
        if status in _BAD:
            return Solution(np.empty(0), np.empty(0), False)
        if status != "kOptimal" and not (roughly and status == "kUnknown"):
            remedy = "check the heights, rates and depths for numbers far from the rest"
            raise PlanError("the linear program was not solved", value=status, expected="an optimum", remedy=remedy)
        found = solver.getSolution()
        dual = sides @ np.array(found.col_value)[: sides.shape[1]]
        return Solution(-np.array(found.row_dual), dual, True)

    def _turned(self) -> tuple[highspy.HighsLp, csr_array]:
        """The dual as the solver takes it, and how its first columns sum to the rows' costs [m, columns].

        Least of ceiling . b - floor . a + upper . w - lower . v, with a, b, w, v of zero or more and
        -fall <= A' (a - b) - w + v <= rise; one column of any sign for a row whose floor is its ceiling.
        """
        count, size = self.matrix.shape
        same = self.floor == self.ceiling
        least, most = (np.flatnonzero(np.isfinite(side) & ~same) for side in (self.floor, self.ceiling))
        equal = np.flatnonzero(same)
        one = csc_array(diags_array(np.ones(count))) if count else csc_array((0, 0))
        sides = csr_array(hstack([one[:, equal], one[:, least], -one[:, most]]))
        high, low = (np.flatnonzero(np.isfinite(side) & (side != 0)) for side in (self.upper, self.lower))
        unit = csc_array(diags_array(np.ones(size)))
        matrix = csc_array(hstack([self.matrix.T @ sides, -unit[:, high], unit[:, low]]))
        cost = (-self.floor[equal], -self.floor[least], self.ceiling[most], self.upper[high], -self.lower[low])
        model = highspy.HighsLp()
        model.num_row_, model.num_col_ = matrix.shape
        model.col_cost_ = np.concatenate(cost)
        model.col_lower_ = np.where(np.arange(matrix.shape[1]) < len(equal), -np.inf, 0.0)
        model.col_upper_ = np.full(matrix.shape[1], np.inf)
        # a column that may not go beyond zero costs nothing to hold there
        model.row_lower_ = np.where(self.lower == 0, -np.inf, -self.fall)
        model.row_upper_ = np.where(self.upper == 0, np.inf, self.rise)
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        model.a_matrix_.start_ = matrix.indptr.astype(np.int32)
        model.a_matrix_.index_ = matrix.indices.astype(np.int32)
        model.a_matrix_.value_ = matrix.data
        return model, sides

    def bound(self, dual: Floats, ceiling: Floats | None = None) -> float:
        """A lower bound of the least cost that any ``dual`` proves, by weak duality; minus infinity if it proves none.

        ``ceiling`` replaces the rows' ceilings, for a bound of a program with a little more room. Noise in the
        dual that would prove nothing about a column without limits is scaled away: a smaller dual is still one.
        """
        ceiling = self.ceiling if ceiling is None else ceiling
        y = np.where((dual > 0) & np.isfinite(self.floor) | (dual < 0) & np.isfinite(ceiling), dual, 0.0)
        pull = np.asarray(self.matrix.T @ y)
        over = np.concatenate([pull[np.isinf(self.upper)], -pull[np.isinf(self.lower)]])
        cost = np.concatenate([self.rise[np.isinf(self.upper)], self.fall[np.isinf(self.lower)]])
        over, cost = over[over > cost], cost[over > cost]
        if len(over):
            if (cost <= 0).any():
                return -np.inf
            y = y * float((cost / over).min()) * (1 - 1e-15)
            pull = np.asarray(self.matrix.T @ y)
        # what a column costs, less what the rows pay for it, is least at a limit or at zero
        places = np.stack([self.lower, np.clip(0.0, self.lower, self.upper), self.upper])
        places[np.isinf(places)] = 0.0
        left = self.rise * np.maximum(places, 0) + self.fall * np.maximum(-places, 0) - pull * places
        row_side = np.where(y > 0, self.floor, ceiling)
        row_side[y == 0] = 0.0
        return float(y @ row_side + left.min(axis=0).sum())
