"""The result of an adjustment: heights, their errors, misclosures, residuals and the blunders among them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from flatness.survey.least_squares import CRITICAL, Blunder, Solution, standardised
from flatness.survey.network import Loop
from flatness.survey.readings import Floats

# mm a root kilometre; FGCC, Standards and Specifications for Geodetic Control Networks (1984), from memory
FGCC = {"first I": 4.0, "first II": 5.0, "second I": 6.0, "second II": 8.0, "third": 12.0}
MM_PER_KM = 1e6
SETUP_COLUMNS = (
    "offset", "offset_error", "tilt_x", "tilt_y", "tilt_x_error", "tilt_y_error", "x", "y", "or_else",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Adjustment:
    """Adjusted heights, and what the ties between them show.

    Attributes
    ----------
    heights : Series by point, benchmarks included [mm]
    errors : Series by point, one standard deviation [mm]; from the stated error of a sight where there is one,
        otherwise from m0; benchmarks are held and have none; NaN where there is neither
    misclosures : DataFrame, one row an independent loop or line between benchmarks: ``kind``, ``through``, ``sights``
        (how many), ``misclosure`` [mm] (measured minus known, going along), ``error`` (its standard deviation from
        the stated error), ``allowed`` (3.29 of them: one good loop in a thousand exceeds it), ``distance`` [mm] and
        ``fgcc`` (best class of the FGCC that it meets) where the sights have a distance; ``rows`` (of the sights
        along it)
    m0 : standard deviation of unit weight that the residuals show. Unit weight is a sight of weight 1: each
        sight [mm] where neither errors nor weights are given, one of weight 1 [mm] where weights are; where each sight
        has its own error weights are 1 / error^2, and m0 is a ratio that should be near 1. NaN without redundancy
    redundancy : sights beyond those that heights need
    residuals : DataFrame, one row a sight: what it is, ``residual`` [mm] (adjusted minus observed), ``share`` (its
        redundancy number), ``w`` (residual over its own standard deviation), ``blunder`` (w beyond chance at
        0.1 %), ``size`` [mm] (what it reads too much, were it the blunder) and ``or_else`` (rows of the
        sights that cannot be told from it)
    setups : DataFrame by set-up, empty for sights: ``offset``, ``offset_error`` [mm], ``tilt_x``, ``tilt_y``,
        ``tilt_x_error``, ``tilt_y_error`` [mm/m], the slope of the instrument's plane, positive where it rises along
        the axis, NaN where not estimated; ``x``, ``y`` [mm], the place that the offset holds for: height = offset +
        reading as a height + tilt times the way from there; ``or_else`` (set-ups that may be the tilted one instead)
    stated : standard deviation of unit weight known beforehand, or None
    chance : chance that good sights with the stated error scatter as much as these; NaN where nothing is stated
    """

    heights: pd.Series[float]
    errors: pd.Series[float]
    misclosures: pd.DataFrame
    m0: float
    redundancy: int
    residuals: pd.DataFrame
    setups: pd.DataFrame
    stated: float | None = None
    chance: float = math.nan

    @property
    def blunders(self) -> pd.DataFrame:
        """The rows of ``residuals`` that are flagged, the plainest first."""
        flagged = self.residuals[self.residuals["blunder"]]
        return flagged.reindex(flagged["w"].abs().sort_values(ascending=False, kind="stable").index)

    @property
    def errors_shown(self) -> pd.Series[float]:
        """As ``errors``, but scaled by m0: as large as the residuals show them, whatever was stated [mm]."""
        return self.errors if self.stated is None else self.errors * (self.m0 / self.stated)


def chance_of(solution: Solution, stated: float | None) -> float:
    """Chance that good observations with the stated error scatter as much as these; NaN where not known."""
    if stated is None or solution.redundancy < 1:
        return math.nan
    return float(chdtrc(solution.redundancy, solution.pvv / stated**2))


def unit_spreads(weight: Floats, stated: float | None) -> Floats:
    """Stated standard deviation of each observation [mm]; NaN where nothing is stated."""
    return np.asarray((math.nan if stated is None else stated) / np.sqrt(weight))


def residual_table(
    what: pd.DataFrame, solution: Solution, weight: Floats, stated: float | None, found: Sequence[Blunder]
) -> pd.DataFrame:
    """The observations with their residuals, and the blunders among them."""
    table = what.assign(
        residual=solution.residuals, share=solution.shares, w=standardised(solution, weight, stated),
        blunder=False, size=math.nan, or_else="",
    )  # fmt: skip
    others: list[tuple[int, ...]] = [()] * len(table)
    size, flag = np.full(len(table), math.nan), np.zeros(len(table), dtype=bool)
    for blunder in found:
        for i, amount in zip(blunder.which, blunder.sizes, strict=True):
            if not flag[i]:
                flag[i], size[i] = True, amount
                others[i] = tuple(j for j in blunder.which if j != i)
    return table.assign(blunder=flag, size=size, or_else=pd.Series(others, index=table.index, dtype=object))


def misclosure_table(
    loops: Sequence[Loop], difference: Floats, known: Mapping[Any, float], spreads: Floats,
    distance: Floats | None = None,
) -> pd.DataFrame:  # fmt: skip
    """One row a loop: what it misses by, and what it may."""
    rows = []
    for loop in loops:
        numbers = list(loop.sights)
        start, end = loop.points[0], loop.points[-1]
        miss = math.fsum(sign * difference[i] for i, sign in zip(numbers, loop.signs, strict=True))
        if not loop.is_closed:
            miss -= known[end] - known[start]
        error = math.sqrt(math.fsum(spreads[numbers] ** 2))
        length = math.nan if distance is None else math.fsum(distance[numbers])
        rows.append((
            "loop" if loop.is_closed else "line", " - ".join(map(str, loop.points)), len(numbers), miss, error,
            CRITICAL * error, length, fgcc_class(miss, length), loop.sights,
        ))  # fmt: skip
    names = ["kind", "through", "sights", "misclosure", "error", "allowed", "distance", "fgcc", "rows"]
    return pd.DataFrame(rows, columns=names)


def fgcc_class(misclosure: float, distance: float) -> str:
    """Best class of levelling whose allowed misclosure, c x sqrt(km) [mm], holds this one; empty without a distance.

    FGCC (1984): c = 4, 5, 6, 8, 12, from memory. Over a room the reading error governs, not the class.

    >>> fgcc_class(7.0, 1_440_000.0)
    'second I'
    """
    if not math.isfinite(distance):
        return ""
    allowed = math.sqrt(distance / MM_PER_KM)
    return next((name for name, c in FGCC.items() if abs(misclosure) <= c * allowed + 1e-6), "none")
