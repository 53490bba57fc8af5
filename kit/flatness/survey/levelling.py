"""Levelling: sights between points, and benchmarks of known height, adjusted to heights with their errors.

The result of an adjustment: heights, their errors, misclosures, residuals and the blunders among them.

A level book: back sights and fore sights reduced to heights, as they are booked in the field.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from flatness.arrays import Floats
from flatness.errors import ArgumentError, Problem
from flatness.survey.least_squares import (
    CRITICAL,
    Blunder,
    Loop,
    Solution,
    find_blunders,
    groups_apart,
    independent_loops,
    solve,
    standardised,
)

# mm a root kilometre; FGCC, Standards and Specifications for Geodetic Control Networks (1984), from memory
FGCC = {"first I": 4.0, "first II": 5.0, "second I": 6.0, "second II": 8.0, "third": 12.0}
MM_PER_KM = 1e6
SETUP_COLUMNS = ("offset", "offset_error", "tilt_x", "tilt_y", "tilt_x_error", "tilt_y_error", "x", "y", "or_else")


@dataclass(frozen=True, eq=False, kw_only=True)
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
        sights that cannot be separated from it)
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
    table = what.assign(residual=solution.residuals, share=solution.shares, w=standardised(solution, weight, stated))
    others: list[tuple[int, ...]] = [()] * len(table)
    size, flag = np.full(len(table), math.nan), np.zeros(len(table), dtype=bool)
    for blunder in found:
        for i, amount in zip(blunder.which, blunder.sizes, strict=True):
            if not flag[i]:
                flag[i], size[i] = True, amount
                others[i] = tuple(j for j in blunder.which if j != i)
    return table.assign(blunder=flag, size=size, or_else=pd.Series(others, index=table.index, dtype=object))


def misclosure_table(
    loops: Sequence[Loop],
    difference: Floats,
    known: Mapping[Any, float],
    spreads: Floats,
    distance: Floats | None = None,
) -> pd.DataFrame:
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
        rows.append(
            (
                "loop" if loop.is_closed else "line",
                " - ".join(map(str, loop.points)),
                len(numbers),
                miss,
                error,
                CRITICAL * error,
                length,
                fgcc_class(miss, length),
                loop.sights,
            )
        )
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
        what = "the weights or errors of the sights are too far apart to be adjusted together"
        expected, remedy = "errors within a factor of ten thousand", "check the unit of the errors"
        raise ArgumentError(what, value=f"{weight.min():g} to {weight.max():g}", expected=expected, remedy=remedy)
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
        m0=solution.m0,
        redundancy=solution.redundancy,
        residuals=residual_table(table[["from", "to", "difference"]], solution, weight, stated, found),
        setups=pd.DataFrame(columns=list(SETUP_COLUMNS)),
        stated=stated,
        chance=chance_of(solution, stated),
    )


def _checked(sights: pd.DataFrame, error: float | None) -> pd.DataFrame:
    """The sights with a weight each, or the error that says what is wrong with them."""
    missing = [name for name in ("from", "to", "difference") if name not in sights]
    if missing:
        what = f"the sights have no column {' and '.join(missing)}"
        value, expected = ", ".join(map(str, sights)), "from, to and difference [mm]"
        raise ArgumentError(what, value=value, expected=expected, remedy="name the columns so, one row a sight")
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
            what = f"benchmark '{point}' has no known height"
            remedy = "give its height, or leave it out of the benchmarks: it is then a point like the others"
            raise ArgumentError(what, value=str(height), expected="a height [mm]", remedy=remedy)
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
        )
    if apart:
        raise ArgumentError(
            [
                Problem(
                    f"{_hang(group)} on no benchmark",
                    expected="a way of sights from every point to a benchmark",
                    remedy=f"read a sight between one of {listed(group)} and one of {listed(joined)}",
                )
                for group in apart
            ]
        )


def _hang(group: Sequence[Hashable]) -> str:
    return f"point {listed(group)} hangs" if len(group) == 1 else f"points {listed(group)} hang together, but"


def listed(names: Sequence[Any] | Mapping[Any, Any], most: int = 6) -> str:
    """The names in a row, the first few of them."""
    shown = [f"'{name}'" for name in names]
    return ", ".join(shown[:most]) + (f" and {len(shown) - most} more" if len(shown) > most else "")


def book_levels(back: ArrayLike, fore: ArrayLike, start: float = 0.0, points: Sequence[str] = ()) -> pd.DataFrame:
    """Heights along a line of levels, by rise and fall and by height of instrument alike.

    Each set-up looks back to a point of known height and fore to the next one. Both ways of booking give the
    same heights: instrument = height + back sight, next height = instrument - fore sight.

    Parameters
    ----------
    back : back sight of each set-up [mm]
    fore : fore sight of each set-up [mm]
    start : height of the first point [mm]
    points : names of the points, one more than set-ups; without them ``1``, ``2``, ...; a line that closes on
        its first mark ends with its name

    Returns
    -------
    DataFrame, one row a set-up: ``from``, ``to``, ``back``, ``fore``, ``rise``, ``fall``, ``instrument`` (its line
    of sight), ``height`` (of ``to``) and ``difference`` (``to`` minus ``from``) [mm]; as it stands it can be given to
    :func:`~flatness.survey.levelling.adjust_levels`

    Raises
    ------
    ArgumentError : unequal numbers of sights, sights that are no numbers, names that do not match

    Examples
    --------
    >>> book_levels([1200, 1500], [1700, 900], start=5000)["height"].tolist()
    [4500.0, 5100.0]
    """
    backs, fores = (np.asarray(sights, dtype=np.float64).ravel() for sights in (back, fore))
    if len(backs) != len(fores) or not len(backs):
        what, expected = "every set-up has one back sight and one fore sight", "as many back sights as fore sights"
        remedy = "look for the sight that was not booked"
        raise ArgumentError(what, value=f"{len(backs)} back, {len(fores)} fore", expected=expected, remedy=remedy)
    for name, sights in (("back", backs), ("fore", fores)):
        if not np.isfinite(sights).all():
            at = int(np.flatnonzero(~np.isfinite(sights))[0])
            what = f"{name} sight {at + 1} is not a number"
            remedy = "fill it in, or leave out its set-up and book the two parts apart"
            raise ArgumentError(what, value=str(sights[at]), expected="millimetres", remedy=remedy)
    if not math.isfinite(start):
        raise ArgumentError("the starting height is not a number", value=str(start), expected="millimetres")
    names = [str(k + 1) for k in range(len(backs) + 1)] if len(points) == 0 else list(points)
    if len(names) != len(backs) + 1:
        expected, remedy = "one more point than set-ups", "name the first point, each turning point and the last point"
        raise ArgumentError(f"{len(names)} points for {len(backs)} set-ups", expected=expected, remedy=remedy)
    difference = backs - fores
    after = start + np.cumsum(difference)
    return pd.DataFrame(
        {
            "from": names[:-1],
            "to": names[1:],
            "back": backs,
            "fore": fores,
            "rise": np.maximum(difference, 0.0),
            "fall": np.maximum(-difference, 0.0),
            "instrument": after + fores,
            "height": after,
            "difference": difference,
        }
    )
