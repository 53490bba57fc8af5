"""Lengths to buy: the cutting-stock problem, solved as an integer program over cutting patterns.

What is bought, the least that any plan could buy, and the gap between the two are reported.

Cutting patterns: how many of each piece come out of one stock length.

Where there are few patterns all of them are listed; where there are many, column generation (Gilmore and Gomory,
"A linear programming approach to the cutting-stock problem", Operations Research 9, 1961) finds those that matter.
Sizes are whole numbers, of pieces and stock alike, in any one unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_above_zero
from flatness.notes import Note

MOST_PATTERNS = 5000  # up to here all patterns are listed
MOST_TRIED = 100_000  # part patterns tried before the listing is given up
QUICK_BRANCHES, MOST_BRANCHES = 1000, 30_000  # of one search for a better pattern: at first, and where that finds none
MOST_ROUNDS, DIVE_ROUNDS = 500, 3
NOISE = 1e-9

Counts = NDArray[np.int64]


def all_patterns(size: Counts, room: Counts, needed: Counts) -> tuple[Counts, Counts, None] | None:
    """Every pattern to which no further piece can be added, with its stock length; None where there are too many."""
    found: list[list[int]] = []
    of_stock: list[int] = []
    tried = 0

    def extend(stock: int, taken: list[int], left: int) -> bool:
        """False once there are too many."""
        nonlocal tried
        tried += 1
        k = len(taken)
        if k == len(size):
            wants_more = any(size[i] <= left and taken[i] < needed[i] for i in range(k))
            if any(taken) and not wants_more:
                found.append(taken)
                of_stock.append(stock)
            return len(found) <= MOST_PATTERNS and tried <= MOST_TRIED
        most = min(left // int(size[k]), int(needed[k]))
        return all(extend(stock, [*taken, count], left - count * int(size[k])) for count in range(most, -1, -1))

    for stock, space in enumerate(room):
        if not extend(stock, [], int(space)):
            return None
    return np.array(found, dtype=np.int64), np.array(of_stock, dtype=np.int64), None


def generated_patterns(size: Counts, room: Counts, price: Floats, needed: Counts) -> tuple[Counts, Counts, float]:
    """Patterns by column generation, their stock lengths, and a lower bound on the cost.

    After the relaxed program is solved its largest share is bought whole and the rest is solved anew until all is
    cut: a dive, which leaves the patterns of one good plan, if not of the best, among those generated.
    """
    pool = Pool([], [])
    for i in range(len(size)):
        stock = min((s for s in range(len(room)) if room[s] >= size[i]), key=lambda s: float(price[s]))
        pattern = np.zeros(len(size), dtype=np.int64)
        pattern[i] = min(room[stock] // size[i], needed[i])
        pool.add(pattern, stock)
    _, bound = _relaxed(pool, size, room, price, needed, MOST_ROUNDS)
    # no stock gives more length for its price than the cheapest one by length
    bound = max(bound, float(size @ needed) * float((price / room).min()))
    left = needed.copy()
    while left.any():
        shares, _ = _relaxed(pool, size, room, price, left, DIVE_ROUNDS)
        chosen = int(np.argmax(shares))
        left = np.maximum(0, left - pool.patterns[chosen] * max(1, int(shares[chosen])))
    return np.stack(pool.patterns), np.array(pool.of_stock, dtype=np.int64), bound


@dataclass
class Pool:
    """Patterns found so far, and the stock length each is cut from."""

    patterns: list[Counts]
    of_stock: list[int]

    def add(self, pattern: Counts, stock: int) -> None:
        self.patterns.append(pattern)
        self.of_stock.append(stock)


def _relaxed(
    pool: Pool, size: Counts, room: Counts, price: Floats, needed: Counts, rounds: int
) -> tuple[Floats, float]:
    """Share of each pattern where boards may be bought in parts, and a lower bound; adds patterns to the pool."""
    bound = 0.0
    for left in range(rounds, -1, -1):
        costs = price[pool.of_stock]
        found: Any = linprog(costs, A_ub=-np.stack(pool.patterns, axis=1), b_ub=-needed.astype(float), method="highs")
        worth = np.maximum(0.0, -np.asarray(found.ineqlin.marginals, dtype=np.float64))
        if not left:
            break
        for branches in (QUICK_BRANCHES, MOST_BRANCHES):
            best = [_worthiest(size, int(space), worth, needed, branches) for space in room]
            better = [s for s, (pattern, _) in enumerate(best) if worth @ pattern > price[s] * (1 + NOISE)]
            if better:
                break
        # shadow prices cut until no pattern is worth more than its stock bound any plan (Farley 1990)
        ratio = max(upper / price[stock] for stock, (_, upper) in enumerate(best))
        bound = max(bound, float(worth @ needed) / max(1.0, ratio))
        if not better:
            break
        for s in better:
            pool.add(best[s][0], s)
    return np.asarray(found.x, dtype=np.float64), bound


def _worthiest(size: Counts, space: int, worth: Floats, needed: Counts, branches: int) -> tuple[Counts, float]:
    """The pattern of the greatest worth that fits, and a worth that none exceeds: a bounded knapsack.

    By branch and bound over pieces in order of worth for their size; where it is given up after so many
    ``branches``, the second number is the worth if pieces could be divided.
    """
    order = [int(i) for i in np.argsort(-worth / size, kind="stable") if worth[i] > 0 and needed[i] > 0]
    sizes, values, most = ([array[i].item() for i in order] for array in (size, worth, needed))
    best, tried = 0.0, 0
    chosen: tuple[int, ...] = ()

    def search(k: int, left: int, value: float, taken: tuple[int, ...]) -> None:
        nonlocal best, chosen, tried
        tried += 1
        if value > best:
            best, chosen = value, taken
        if k == len(order) or tried > branches or value + left * values[k] / sizes[k] <= best * (1 + NOISE):
            return
        for count in range(min(left // sizes[k], most[k]), -1, -1):
            search(k + 1, left - count * sizes[k], value + count * values[k], (*taken, count))

    search(0, space, 0.0, ())
    pattern = np.zeros(len(size), dtype=np.int64)
    pattern[order[: len(chosen)]] = chosen
    # pieces divided at will, each no more often than it is needed
    divided, left = 0.0, float(space)
    for one, value, count in zip(sizes, values, most, strict=True):
        part = min(float(count), left / one)
        divided, left = divided + part * value, left - part * one
    return pattern, best if tried <= branches else divided


MOST_LENGTHS = 500  # different pieces in one order
UNIT_MM = 1e-6  # lengths are settled to a millionth of a millimetre
KERF_MM = 3.2  # 1/8 in: a circular-saw blade; common practice, no source


@dataclass(frozen=True, eq=False, kw_only=True)
class CutPlan:
    """What to buy and how to cut it.

    Attributes
    ----------
    cuts : DataFrame, one row a way of cutting: ``times``, ``stock_mm``, ``pieces`` (in words), ``used_mm`` (by
        pieces), ``offcut_mm`` (left over in one piece), ``kerf_mm`` (lost to the saw)
    stock : DataFrame: ``stock_mm``, ``count``, to buy, and ``price`` of one where prices were given
    cost : of the stock bought: its length [mm], or in the user's prices
    bound : no plan costs less than this
    pieces_mm : length of all pieces [mm]
    bought_mm : length of all stock bought [mm]
    """

    cuts: pd.DataFrame
    stock: pd.DataFrame
    cost: float
    bound: float
    pieces_mm: float
    bought_mm: float

    @property
    def price(self) -> float | None:
        """Of the stock bought, in the user's prices; None where none were given."""
        return self.cost if "price" in self.stock else None

    @property
    def waste_mm(self) -> float:
        """Bought less used [mm], the saw's share included."""
        return self.bought_mm - self.pieces_mm

    @property
    def waste_share(self) -> float:
        """Waste as a share of what is bought [-]."""
        return self.waste_mm / self.bought_mm

    @property
    def gap(self) -> float:
        """Share of the cost by which a better plan could at most be cheaper [-]; 0 where this one is the best."""
        return max(0.0, 1 - self.bound / self.cost) if self.cost > self.bound + NOISE * self.cost else 0.0

    @property
    def is_optimal(self) -> bool:
        """Whether it is proven that no plan costs less."""
        return self.gap == 0.0


def cut_stock(
    pieces: Mapping[float, int] | Iterable[float],
    stock: Sequence[float] | Mapping[float, float],
    *,
    kerf: float = KERF_MM,
    seconds: float = 10.0,
) -> CutPlan:
    """The stock lengths to buy for these pieces, with the least waste, and how to cut them.

    Parameters
    ----------
    pieces : lengths needed [mm], each as often as it is needed; or how many, by length
    stock : lengths on sale [mm]; or their prices, by length, where the least cost is wanted and not the least length
    kerf : lost to each saw cut [mm]
    seconds : most time for the last integer program

    Returns
    -------
    CutPlan

    Raises
    ------
    ArgumentError : lengths, counts or prices out of range, or a piece longer than every stock length
    MeasureError : the integer program found no plan in the time given

    Notes
    -----
    n pieces side by side need n - 1 cuts, or n where something is left, so they fit where the sum of
    (piece + kerf) is at most stock + kerf.

    Examples
    --------
    >>> plan = cut_stock({2400: 3, 1200: 2}, [3600, 4800], kerf=0)
    >>> plan.stock.to_dict("list"), plan.waste_mm
    ({'stock_mm': [4800.0], 'count': [2]}, 0.0)
    """
    lengths, needed = _pieces(pieces)
    sold, price = _stock(stock)
    check_above_zero(kerf=kerf, or_zero=True)
    if lengths[0] > sold.max() + UNIT_MM:
        remedy = "add a longer stock length, or splice: say where yourself"
        what, expected = "a piece is longer than every stock length", Note("at-most", mm=float(sold.max()))
        raise ArgumentError(what, column="pieces", value=Note("exact", mm=lengths[0]), expected=expected, remedy=remedy)
    # whole numbers, so that a sum that fits by a hair is not lost to binary noise
    size = np.array([round((length + kerf) / UNIT_MM) for length in lengths], dtype=np.int64)
    room = np.array([round((length + kerf) / UNIT_MM) for length in sold], dtype=np.int64)
    listed = all_patterns(size, room, needed)
    patterns, of_stock, relaxed = listed if listed is not None else generated_patterns(size, room, price, needed)
    times, bound = _best(patterns, price[of_stock], needed, seconds)
    if relaxed is not None:
        bound = relaxed
    cuts = _cut(lengths, sold, patterns, of_stock, times, needed, kerf)
    bought = cuts.groupby("stock_mm")["times"].sum()
    table = pd.DataFrame({"stock_mm": bought.index.to_numpy(float), "count": bought.to_numpy(int)})
    each = np.array([price[sold == length][0] for length in table["stock_mm"]], dtype=np.float64)
    cost = float(each @ table["count"].to_numpy())
    table = table.assign(price=each) if isinstance(stock, Mapping) else table
    bound = min(cost, _next_possible(bound, price))
    total = float((table["stock_mm"] * table["count"]).sum())
    return CutPlan(
        cuts=cuts, stock=table, cost=cost, bound=bound, pieces_mm=float(np.asarray(lengths) @ needed), bought_mm=total
    )


def _pieces(pieces: Mapping[float, int] | Iterable[float]) -> tuple[list[float], Counts]:
    pairs = pieces.items() if isinstance(pieces, Mapping) else [(piece, 1) for piece in pieces]
    needed: dict[float, int] = {}
    for length, count in pairs:
        if not (math.isfinite(length) and length > 0) or count != int(count) or count < 0:
            value, expected = Note("count-of", count=count, mm=length), "a length above zero and a whole number of them"
            raise ArgumentError("a piece out of range", column="pieces", value=value, expected=expected)
        if count:
            key = round(float(length), 6)
            needed[key] = needed.get(key, 0) + int(count)
    if not needed:
        raise ArgumentError("no pieces", column="pieces", expected="one length or more")
    if len(needed) > MOST_LENGTHS:
        what, expected = "too many different lengths", f"at most {MOST_LENGTHS}"
        remedy = "round them up to fewer lengths"
        raise ArgumentError(what, column="pieces", value=str(len(needed)), expected=expected, remedy=remedy)
    ordered = sorted(needed, reverse=True)
    return ordered, np.array([needed[length] for length in ordered], dtype=np.int64)


def _stock(stock: Sequence[float] | Mapping[float, float]) -> tuple[Floats, Floats]:
    prices = dict(stock) if isinstance(stock, Mapping) else {length: length for length in stock}
    for length, price in prices.items():
        if not (math.isfinite(length) and length > 0 and math.isfinite(price) and price > 0):
            what, expected = "a stock length or its price out of range", "both above zero"
            raise ArgumentError(what, column="stock", value=Note("at-price", mm=length, price=price), expected=expected)
    if not prices:
        raise ArgumentError("no stock lengths", column="stock", expected="one length or more")
    ordered = sorted(prices)
    return np.array(ordered, dtype=np.float64), np.array([prices[length] for length in ordered], dtype=np.float64)


def _best(patterns: Counts, price: Floats, needed: Counts, seconds: float) -> tuple[Counts, float]:
    """How often each pattern is cut, and the program's own bound on the cost."""
    found: Any = milp(
        price,
        constraints=LinearConstraint(patterns.T.astype(float), lb=needed.astype(float)),
        integrality=np.ones(len(price), dtype=np.int64),
        bounds=Bounds(0, np.inf),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    times = np.round(found.x).astype(np.int64) if found.x is not None else None
    if times is None or (patterns.T @ times < needed).any():
        what = "no cutting plan was found in the time given"
        remedy = "give it more seconds, or round the pieces to fewer lengths"
        raise MeasureError(what, value=f"{seconds:g} s", expected="a feasible plan", remedy=remedy)
    return times, float(found.mip_dual_bound) if found.mip_dual_bound is not None else 0.0


def _next_possible(bound: float, price: Floats) -> float:
    """The least cost, not under the bound, that whole stock lengths can have."""
    whole = np.array([round(p / UNIT_MM) for p in price], dtype=object)
    if any(abs(w * UNIT_MM - p) > 1e-9 * p for w, p in zip(whole, price, strict=True)):
        return bound
    step = math.gcd(*whole) * UNIT_MM
    return math.ceil(bound * (1 - NOISE) / step - 1e-6) * step


def _cut(
    lengths: list[float], sold: Floats, patterns: Counts, of_stock: Counts, times: Counts, needed: Counts, kerf: float
) -> pd.DataFrame:
    """The cuts, one row a way of cutting; what is not needed is not cut."""
    left = needed.copy()
    ways: dict[tuple[int, tuple[int, ...]], int] = {}
    for p in np.repeat(np.arange(len(times)), times):
        pattern = np.minimum(patterns[p], left)
        left -= pattern
        if pattern.any():
            key = (int(of_stock[p]), tuple(pattern.tolist()))
            ways[key] = ways.get(key, 0) + 1
    rows = []
    for (stock, pattern), count in ways.items():
        used = sum(n * length for n, length in zip(pattern, lengths, strict=True))
        sawn = (sum(pattern) - 1) * kerf
        rest = max(0.0, sold[stock] - used - sawn)
        words = " + ".join(f"{n} x {length:g}" for n, length in zip(pattern, lengths, strict=True) if n)
        # the last cut frees the offcut, or eats it where it is thinner than the blade
        lost, offcut = sawn + min(rest, kerf), max(0.0, rest - kerf)
        rows.append((count, float(sold[stock]), words, used, round(offcut, 6), round(lost, 6)))
    return pd.DataFrame(rows, columns=["times", "stock_mm", "pieces", "used_mm", "offcut_mm", "kerf_mm"])
