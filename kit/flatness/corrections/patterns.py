"""Cutting patterns: how many of each piece come out of one stock length.

Where there are few patterns all of them are listed; where there are many, column generation (Gilmore and Gomory,
"A linear programming approach to the cutting-stock problem", Operations Research 9, 1961) finds those that matter.
Sizes are whole numbers, of pieces and stock alike, in any one unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from flatness.survey.readings import Floats

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
