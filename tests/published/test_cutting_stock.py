"""Lengths to buy, against cutting-stock problems whose optima are published."""

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import linprog

from flatness.framing import cutting as patterns
from flatness.framing.cutting import cut_stock

# A paper mill's order, widely reprinted (from memory, as is its optimum: 73 rolls of 5600 mm, waste 0.401 %,
# out of 308 patterns)
PAPER = {
    1380: 22,
    1520: 25,
    1560: 12,
    1710: 14,
    1820: 18,
    1880: 18,
    1930: 20,
    2000: 10,
    2050: 12,
    2100: 14,
    2140: 16,
    2150: 18,
    2200: 20,
}
# V. Chvatal, Linear Programming (1983), chapter 13: raws of 100 in; the relaxed optimum is 452.25, and 453 raws
# are enough (from memory; the relaxation is solved again below over patterns listed here)
RAWS = {45: 97, 36: 610, 31: 395, 14: 211}

CASES = [(PAPER, 5600, 73), (RAWS, 100, 453)]


def every_pattern(lengths, stock):
    """By brute force: every count of every length that fits."""
    most = [range(stock // length + 1) for length in lengths]
    return [p for p in itertools.product(*most) if sum(n * w for n, w in zip(p, lengths, strict=True)) <= stock]


def check_cuts(plan, needed, kerf=0.0):
    """The cuts give every piece, fit their stock, and account for all that is bought."""
    cut = dict.fromkeys(needed, 0)
    for row in plan.cuts.itertuples():
        pieces = [part.split(" x ") for part in row.pieces.split(" + ")]
        for count, length in pieces:
            cut[float(length)] += int(count) * row.times
        used = sum(int(count) * float(length) for count, length in pieces)
        saws = sum(int(count) for count, _ in pieces) - 1
        assert used == pytest.approx(row.used_mm)
        assert used + saws * kerf <= row.stock_mm + 1e-6
        assert row.used_mm + row.offcut_mm + row.kerf_mm == pytest.approx(row.stock_mm)
    assert cut == needed
    assert (plan.cuts["times"] * plan.cuts["stock_mm"]).sum() == pytest.approx(plan.bought_mm)


@pytest.mark.parametrize("generated", [False, True], ids=["all patterns", "column generation"])
@pytest.mark.parametrize(("needed", "stock", "optimum"), CASES, ids=["paper mill", "Chvatal"])
def test_published_optimum(needed, stock, optimum, generated, monkeypatch):
    if generated:
        monkeypatch.setattr(patterns, "MOST_PATTERNS", 0)
    plan = cut_stock(needed, [stock], kerf=0)
    assert plan.stock["count"].tolist() == [optimum]
    assert plan.is_optimal
    assert plan.bound == pytest.approx(optimum * stock)
    check_cuts(plan, {float(length): count for length, count in needed.items()})


def test_paper_mill_waste_and_its_bound():
    plan = cut_stock(PAPER, [5600], kerf=0)
    assert 100 * plan.waste_share == pytest.approx(0.401, abs=0.0005)  # as published
    # no plan can buy less than the pieces are long: 407,160 / 5600 = 72.7, so 73 is the least
    assert math.ceil(sum(length * count for length, count in PAPER.items()) / 5600) == 73


def test_paper_mill_patterns():
    size = np.array(sorted(PAPER, reverse=True), dtype=np.int64)
    needed = np.array([PAPER[length] for length in size], dtype=np.int64)
    found, _, _ = patterns.all_patterns(size, np.array([5600]), needed)
    fitting = [
        c for n in range(1, 5) for c in itertools.combinations_with_replacement(sorted(PAPER), n) if sum(c) <= 5600
    ]
    assert len(fitting) == 308  # as published
    # the kit lists those to which nothing can be added
    full = {c for c in fitting if sum(c) + min(PAPER) > 5600}
    listed = {tuple(sorted(np.repeat(size, pattern).tolist())) for pattern in found}
    assert listed == full
    assert len(found) == len(full)


def test_chvatal_relaxation_bounds_it():
    lengths = list(RAWS)
    listed = np.array(every_pattern(lengths, 100)).T
    relaxed = linprog(np.ones(listed.shape[1]), A_ub=-listed, b_ub=[-RAWS[length] for length in lengths])
    assert relaxed.fun == pytest.approx(452.25)
    assert math.ceil(relaxed.fun) == 453


def least_by_search(pieces, stock, kerf):
    """Least length bought, by trying every way to put the pieces into boards one after the other."""
    best = [math.inf]

    def place(i, boards, bought):
        if bought >= best[0]:
            return
        if i == len(pieces):
            best[0] = bought
            return
        for k, left in enumerate(boards):
            if pieces[i] <= left:
                place(i + 1, [*boards[:k], left - pieces[i] - kerf, *boards[k + 1 :]], bought)
        for length in stock:
            if pieces[i] <= length:
                place(i + 1, [*boards, length - pieces[i] - kerf], bought + length)

    place(0, [], 0)
    return best[0]


@pytest.mark.parametrize("generated", [False, True], ids=["all patterns", "column generation"])
@pytest.mark.parametrize("seed", range(6))
def test_several_stock_lengths_and_a_kerf_against_a_full_search(seed, generated, monkeypatch):
    if generated:
        monkeypatch.setattr(patterns, "MOST_PATTERNS", 0)
    rng = np.random.default_rng(seed)
    pieces = rng.choice([900, 1190, 1210, 1500, 2390, 2400], 6).tolist()
    stock, kerf = [2400, 3600, 4800], 3
    plan = cut_stock(pieces, stock, kerf=kerf)
    least = least_by_search(sorted(pieces, reverse=True), stock, kerf)
    assert plan.bound <= least <= plan.bought_mm + 1e-6
    if not generated:  # patterns enough for the relaxation need not be enough for whole boards
        assert plan.bought_mm == least
        assert plan.is_optimal
    check_cuts(plan, {float(length): pieces.count(length) for length in set(pieces)}, kerf)
