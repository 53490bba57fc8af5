"""Linear programs: solved by interior point or simplex, with a lower bound that is checked apart from the solver."""

from __future__ import annotations

from dataclasses import dataclass

import highspy
import numpy as np
from scipy.sparse import csr_array, vstack

from flatness.errors import PlanError
from flatness.survey.readings import Floats

_BAD = ("kInfeasible", "kUnboundedOrInfeasible")
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
    """Least cost . x with rows: floor <= A x <= ceiling, and columns: lower <= x <= upper."""

    cost: Floats
    lower: Floats
    upper: Floats

    def __post_init__(self) -> None:
        self.matrix = csr_array((0, len(self.cost)))
        self.floor: Floats = np.empty(0)
        self.ceiling: Floats = np.empty(0)

    def add_rows(self, matrix: csr_array, floor: Floats | float, ceiling: Floats | float) -> None:
        """More rows: [m, n] weights and the least and most they may sum to."""
        count = matrix.shape[0]
        self.matrix = csr_array(vstack([self.matrix, matrix], format="csr"))
        self.floor = np.concatenate([self.floor, np.broadcast_to(np.asarray(floor, float), count)])
        self.ceiling = np.concatenate([self.ceiling, np.broadcast_to(np.asarray(ceiling, float), count)])

    def solve(self, vertex: bool = False, tolerance: float = TOLERANCE) -> Solution:
        """The least cost by interior point; ``vertex`` moves on to a corner of the feasible set.

        Without that the solution lies amid all the equally cheap ones, and takes a fraction of the time. ``tolerance``
        is the interior point's own, relative; much over 1e-5 it takes longer, as the simplex has to clean up.
        """
        solver = _Quiet()
        options = highspy.HighsOptions()
        options.output_flag = False
        options.run_crossover = "on" if vertex else "off"
        options.ipm_optimality_tolerance = tolerance
        # from 1.12 on there are two interior points and "ipm" leaves open which
        options.solver = "ipx" if (solver.versionMajor(), solver.versionMinor()) >= (1, 12) else "ipm"
        solver.passOptions(options)
        solver.passModel(self._model())
        solver.run()
        status = solver.getModelStatus().name
        if status not in ("kOptimal", *_BAD):
            # the interior point can stop short of deciding on a program that is barely feasible, or not
            options.solver = "simplex"
            solver.passOptions(options)
            solver.run()
            status = solver.getModelStatus().name
        if status in _BAD:
            return Solution(np.empty(0), np.empty(0), False)
        if status != "kOptimal":
            raise PlanError(
                "the linear program was not solved", value=status, expected="an optimum",
                remedy="check the heights, rates and depths for numbers far from the rest",
            )  # fmt: skip
        found = solver.getSolution()
        return Solution(np.array(found.col_value), np.array(found.row_dual), True)

    def _model(self) -> highspy.HighsLp:
        model = highspy.HighsLp()
        model.num_row_, model.num_col_ = self.matrix.shape
        model.col_cost_, model.col_lower_, model.col_upper_ = self.cost, self.lower, self.upper
        model.row_lower_, model.row_upper_ = self.floor, self.ceiling
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = self.matrix.indptr.astype(np.int32)
        model.a_matrix_.index_ = self.matrix.indices.astype(np.int32)
        model.a_matrix_.value_ = self.matrix.data
        return model

    def bound(self, dual: Floats, ceiling: Floats | None = None) -> float:
        """A lower bound of the least cost that any ``dual`` proves, by weak duality; minus infinity if it proves none.

        ``ceiling`` replaces the rows' ceilings, for a bound of a program with a little more room. Noise in the
        dual that would prove nothing about a column without limits is scaled away: a smaller dual is still one.
        """
        ceiling = self.ceiling if ceiling is None else ceiling
        y = np.where((dual > 0) & np.isfinite(self.floor) | (dual < 0) & np.isfinite(ceiling), dual, 0.0)
        pull = np.asarray(self.matrix.T @ y)
        open_above = np.isinf(self.upper) & (pull > self.cost)
        if open_above.any():
            if (self.cost[open_above] <= 0).any():
                return -np.inf
            y = y * float((self.cost[open_above] / pull[open_above]).min()) * (1 - 1e-15)
            pull = np.asarray(self.matrix.T @ y)
        left = self.cost - pull
        side = np.where(left >= 0, self.lower, self.upper)
        side[left == 0] = 0.0
        side[np.isinf(side) & (np.abs(left) < 1e-12)] = 0.0
        row_side = np.where(y > 0, self.floor, ceiling)
        row_side[y == 0] = 0.0
        return float(y @ row_side + left @ side)
