"""Levelling: sights between points, and benchmarks of known height, adjusted to heights with their errors."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError, Problem
from flatness.survey.adjustment import (
    SETUP_COLUMNS,
    Adjustment,
    chance_of,
    misclosure_table,
    residual_table,
    unit_spreads,
)
from flatness.survey.least_squares import find_blunders, solve
from flatness.survey.network import groups_apart, independent_loops
from flatness.survey.readings import Floats


def adjust_levels(sights: pd.DataFrame, benchmarks: Mapping[Any, float], *, error: float | None = None) -> Adjustment:
    """Least-squares heights of points from sights between them and benchmarks that are held.

    Parameters
    ----------
    sights : DataFrame with ``from``, ``to`` and ``difference`` (height of ``to`` minus that of ``from``) [mm], in any
        order; optionally ``error`` (one standard deviation of each) [mm] or ``weight``, and ``distance`` [mm]
    benchmarks : known height [mm] by point
    error : one standard deviation [mm] of a sight of weight 1, which is each sight where none has its own; given
        beside a column ``error`` weights are (error / each)^2

    Returns
    -------
    Adjustment

    Raises
    ------
    ArgumentError : sights that cannot be used, or points that no sight joins to a benchmark

    Notes
    -----
    A blunder is looked for by data snooping: a residual over its own standard deviation is beyond 3.29 once in a
    thousand good sights (Baarda); where no error is stated, tau stands in its place (Pope), and two spare sights at
    least are needed. Nothing is left out: a flagged sight is still in the heights.

    Examples
    --------
    >>> import pandas as pd
    >>> sights = pd.DataFrame({"from": ["A", "P", "Q"], "to": ["P", "Q", "A"], "difference": [10.0, 5.0, -14.4]})
    >>> levels = adjust_levels(sights, {"A": 100.0})
    >>> levels.heights.round(3).to_dict()
    {'A': 100.0, 'P': 109.8, 'Q': 114.6}
    >>> levels.misclosures["misclosure"].round(3).tolist()
    [0.6]
    """
    table = _checked(sights, error)
    known = known_heights(benchmarks)
    ends = list(zip(table["from"], table["to"], strict=True))
    refuse_apart(ends, known)
    weight = table["weight"].to_numpy(dtype=np.float64)
    points = list(dict.fromkeys(point for pair in ends for point in pair))
    free = {point: k for k, point in enumerate(point for point in points if point not in known)}
    design = np.zeros((len(ends), len(free)))
    observed = table["difference"].to_numpy(dtype=np.float64).copy()
    for i, pair in enumerate(ends):
        for sign, point in zip((-1.0, 1.0), pair, strict=True):
            if point in free:
                design[i, free[point]] = sign
            else:
                observed[i] -= sign * known[point]
    solution = solve(design, observed, weight)
    if solution is None:  # every point hangs on a benchmark: only weights worlds apart lose the numbers
        raise ArgumentError(
            "the weights or errors of the sights are too far apart to be adjusted together",
            value=f"{weight.min():g} to {weight.max():g}", expected="errors within a factor of ten thousand",
            remedy="check the unit of the errors",
        )  # fmt: skip
    stated = 1.0 if "error" in sights and error is None else error
    unit = solution.m0 if stated is None else stated
    heights = {point: known.get(point, 0.0) for point in points}
    errors = dict.fromkeys(points, 0.0)
    for point, k in free.items():
        heights[point] = float(solution.unknowns[k])
        errors[point] = unit * math.sqrt(solution.cofactors[k, k])
    found = find_blunders(lambda weights: solve(design, observed, weights), weight, stated)
    spreads = unit_spreads(weight, stated)
    loops = independent_loops(ends, known)
    return Adjustment(
        heights=pd.Series(heights, dtype=np.float64, name="height"),
        errors=pd.Series(errors, dtype=np.float64, name="error"),
        misclosures=misclosure_table(loops, table["difference"].to_numpy(), known, spreads, _distances(table)),
        m0=solution.m0, redundancy=solution.redundancy,
        residuals=residual_table(table[["from", "to", "difference"]], solution, weight, stated, found),
        setups=pd.DataFrame(columns=list(SETUP_COLUMNS)), stated=stated, chance=chance_of(solution, stated),
    )  # fmt: skip


def _checked(sights: pd.DataFrame, error: float | None) -> pd.DataFrame:
    """The sights with a weight each, or the error that says what is wrong with them."""
    missing = [name for name in ("from", "to", "difference") if name not in sights]
    if missing:
        raise ArgumentError(
            f"the sights have no column {' and '.join(missing)}", value=", ".join(map(str, sights)),
            expected="from, to and difference [mm]", remedy="name the columns so, one row a sight",
        )  # fmt: skip
    if not len(sights):
        raise ArgumentError("there are no sights", expected="one row a sight", remedy="book the readings first")
    if "error" in sights and "weight" in sights:
        raise ArgumentError(
            "sights with an error and a weight", expected="one of the two", remedy="leave out one of the columns"
        )
    if error is not None and not 0 < error < math.inf:
        raise ArgumentError("the error must be above zero", value=str(error), expected="one standard deviation [mm]")
    table = sights.reset_index(drop=True)
    for name in ("from", "to"):
        table[name] = pd.Series(table[name].tolist(), dtype=object)
        for row, point in enumerate(table[name]):
            if pd.api.types.is_scalar(point) and (pd.isna(point) or point == ""):
                raise _wrong(row, f"has no point under `{name}`", str(point), "a label", "name the point")
    for name, least in (("difference", -math.inf), ("error", 0.0), ("weight", 0.0), ("distance", 0.0)):
        if name in table:
            values = pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=np.float64)
            for i in np.flatnonzero(~(np.isfinite(values) & (values > least))).tolist():
                expected = "a number" if name == "difference" else "a number above zero"
                remedy = "correct it, or leave out the sight"
                raise _wrong(i, f"has no usable {name}", str(table[name][i]), expected, remedy)
            table[name] = values
    for i, (start, end) in enumerate(zip(table["from"], table["to"], strict=True)):
        if start == end:
            raise _wrong(i, "goes from a point to itself", str(end), "two points", "correct its labels")
    if "error" in table:
        table["weight"] = ((1.0 if error is None else error) / table["error"]) ** 2
    elif "weight" not in table:
        table["weight"] = 1.0
    return table


def _wrong(row: int, what: str, value: str, expected: str, remedy: str) -> ArgumentError:
    return ArgumentError(f"sight {row + 1} {what}", value=value, expected=expected, remedy=remedy)


def _distances(table: pd.DataFrame) -> Floats | None:
    return table["distance"].to_numpy(dtype=np.float64) if "distance" in table else None


def known_heights(benchmarks: Mapping[Any, float]) -> dict[Any, float]:
    """The benchmarks as numbers, or the error that names the one that is none."""
    known = {}
    for point, height in dict(benchmarks).items():
        try:
            known[point] = float(height)
        except (TypeError, ValueError):
            known[point] = math.nan
        if not math.isfinite(known[point]):
            raise ArgumentError(
                f"benchmark '{point}' has no known height", value=str(height), expected="a height [mm]",
                remedy="give its height, or leave it out of the benchmarks: it is then a point like the others",
            )  # fmt: skip
    return known


def refuse_apart(ends: Sequence[tuple[Hashable, Hashable]], known: Mapping[Any, float]) -> None:
    """Raise ArgumentError for points that no sight joins to a benchmark."""
    apart = groups_apart(ends, known)
    joined = list(dict.fromkeys(p for pair in ends for p in pair if not any(p in group for group in apart)))
    if apart and not joined:
        raise ArgumentError(
            "no sight reaches a benchmark, so no height is known",
            value=f"benchmarks {listed(known)}" if known else "no benchmarks",
            expected=f"the height of one of the points {listed(apart[0])}",
            remedy=f"give one of them any height, such as {{{apart[0][0]!r}: 0.0}}",
        )  # fmt: skip
    if apart:
        raise ArgumentError([
            Problem(
                f"{_hang(group)} on no benchmark",
                expected="a way of sights from every point to a benchmark",
                remedy=f"read a sight between one of {listed(group)} and one of {listed(joined)}",
            )
            for group in apart
        ])  # fmt: skip


def _hang(group: Sequence[Hashable]) -> str:
    return f"point {listed(group)} hangs" if len(group) == 1 else f"points {listed(group)} hang together, but"


def listed(names: Sequence[Any] | Mapping[Any, Any], most: int = 6) -> str:
    """The names in a row, the first few of them."""
    shown = [f"'{name}'" for name in names]
    return ", ".join(shown[:most]) + (f" and {len(shown) - most} more" if len(shown) > most else "")
