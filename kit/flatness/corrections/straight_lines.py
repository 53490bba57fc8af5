"""Straight lines along members, as close to a target that need not be straight as straight lines can be.

A sister, a stud or a strap is straight, while a plan of least work leaves gentle waves. ``nearest`` is the line
whose largest departure from the target is least, since flatness is judged by the largest departure; ``clear``
is that line among those that are nowhere below the existing member, so that nothing has to come off.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from flatness.errors import MeasureError
from flatness.survey.readings import Floats

LINES = ("nearest", "clear", "least-squares")
SLACK_MM = 1e-9  # by which the second program may exceed the largest departure of the first


def fit_straight(design: Floats, target: Floats, top: Floats, line: str) -> Floats:
    """Coefficients [k] of the lines ``design @ coefficients`` that follow the target.

    Parameters
    ----------
    design : [n, k], one row a point; two columns (1, s) for one line, four for all lines that strings between
        two end members give
    target : [n] mm, the height to follow
    top : [n] mm, height of the existing member
    line : ``nearest``, ``clear`` or ``least-squares``

    Returns
    -------
    [k] : where lines are equally near, the one with the least sum of departures

    Raises
    ------
    MeasureError : no such line was found
    """
    middle = float(np.mean(target))
    if line == "least-squares":
        return np.asarray(np.linalg.lstsq(design, target, rcond=None)[0], dtype=np.float64)
    # columns and heights of about one size keep the program's tolerances far below a thousandth of a millimetre
    scale = np.abs(design).max(axis=0)
    scale[scale == 0] = 1.0
    columns, aim = design / scale, target - middle
    n, k = columns.shape
    below = [-columns] if line == "clear" else []
    ends = np.concatenate([aim, -aim, *([middle - top] if line == "clear" else [])])

    def solve(departures: Any, cost: list[float], most: float | None) -> Floats:
        blank = sparse.csr_array((len(ends) - 2 * n, departures.shape[1]))
        left = sparse.csr_array(np.vstack([columns, -columns, *below]))
        return _solved(sparse.hstack([left, sparse.vstack([-departures, -departures, blank])]), ends, cost, k, most)

    largest = float(solve(sparse.csr_array(np.ones((n, 1))), [0.0] * k + [1.0], None)[k])
    # then the least sum of departures, none above the largest
    second = solve(sparse.csr_array(sparse.identity(n)), [0.0] * k + [1.0] * n, largest + SLACK_MM)
    # the program worked from the middle height, which the design gives back exactly
    level = np.linalg.lstsq(design, np.full(n, middle), rcond=None)[0]
    return np.asarray(second[:k] / scale + level, dtype=np.float64)


def _solved(rows: Any, ends: Floats, cost: list[float], k: int, most: float | None) -> Floats:
    found = linprog(
        cost, A_ub=rows, b_ub=ends, bounds=[(None, None)] * k + [(0, most)] * (len(cost) - k), method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )  # fmt: skip
    if found.x is None:
        raise MeasureError(
            "no straight line was found", value=str(found.message), expected="finite heights at two stations or more"
        )
    return np.asarray(found.x, dtype=np.float64)
