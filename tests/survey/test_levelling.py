"""Levelling against brute force, simulation, and the properties that any adjustment must have."""

from __future__ import annotations

import doctest
import itertools
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError
from flatness.survey import instrument, least_squares, levelling
from flatness.survey import least_squares as network
from flatness.survey import levelling as adjustment
from flatness.survey import levelling as bookings
from flatness.survey.instrument import adjust_setups
from flatness.survey.least_squares import critical_w, groups_apart, independent_loops, solve, standardised
from flatness.survey.levelling import adjust_levels, book_levels


def random_network(rng, points=7, extra=8, error=1.0):
    """Heights of P0, P1, ... and sights over a random tree and ``extra`` random pairs."""
    height = rng.normal(0, 500, points)
    pairs = [(int(rng.integers(k)), k) for k in range(1, points)]
    pairs += [tuple(map(int, rng.choice(points, 2, replace=False))) for _ in range(extra)]
    table = pd.DataFrame([(f"P{a}", f"P{b}", height[b] - height[a]) for a, b in pairs])
    table.columns = ["from", "to", "difference"]
    table["difference"] += rng.normal(0, error, len(table))
    return height, table


def complete(rng, points, error):
    """Every pair of points sighted once, all true heights zero."""
    pairs = list(itertools.combinations([f"P{k}" for k in range(points)], 2))
    table = pd.DataFrame(pairs, columns=["from", "to"])
    return table.assign(difference=rng.normal(0, error, len(pairs)))


# ---- sights


@pytest.mark.parametrize("seed", range(5))
def test_against_numpy_lstsq(seed):
    rng = np.random.default_rng(seed)
    height, table = random_network(rng)
    table["error"] = rng.uniform(0.5, 3, len(table))
    levels = adjust_levels(table, {"P0": height[0], "P4": height[4]})
    free = ["P1", "P2", "P3", "P5", "P6"]
    # weighted rows of all points, the known ones moved to the right: numpy's own least squares
    rows = np.array(
        [[(b == p) - (a == p) for p in free] for a, b in zip(table["from"], table["to"], strict=True)], float
    )
    known = {"P0": height[0], "P4": height[4]}
    right = np.array(
        [
            d - known.get(b, 0) + known.get(a, 0)
            for a, b, d in zip(table["from"], table["to"], table["difference"], strict=True)
        ]
    )
    scale = 1 / table["error"].to_numpy()
    x, pvv, _, _ = np.linalg.lstsq(scale[:, None] * rows, scale * right, rcond=None)
    np.testing.assert_allclose(levels.heights[free], x, atol=1e-9)
    dof = len(table) - len(free)
    assert levels.redundancy == dof
    assert levels.m0 == pytest.approx(math.sqrt(pvv[0] / dof))
    covariance = np.linalg.inv((scale[:, None] * rows).T @ (scale[:, None] * rows))
    np.testing.assert_allclose(levels.errors[free], np.sqrt(np.diag(covariance)), rtol=1e-9)
    np.testing.assert_allclose(levels.residuals["residual"], rows @ x - right, atol=1e-9)
    assert levels.residuals["share"].sum() == pytest.approx(dof)
    assert (levels.heights["P4"], levels.errors["P4"]) == (height[4], 0.0)


def test_w_and_size_are_what_leaving_the_sight_out_says():
    # brute force: fit without sight i; w is its misfit to that over the misfit's own standard deviation
    _, table = random_network(np.random.default_rng(3))
    table.loc[9, "difference"] += 25
    levels = adjust_levels(table, {"P0": 0.0}, error=1.0)
    for i in range(len(table)):
        without = table.drop(index=i)
        a, b = table.loc[i, "from"], table.loc[i, "to"]
        try:
            rest = adjust_levels(without, {"P0": 0.0}, error=1.0)
            heights = rest.heights[[a, b]]
        except (ArgumentError, KeyError):
            assert np.isnan(levels.residuals.loc[i, "w"])
            continue
        off = table.loc[i, "difference"] - (heights[b] - heights[a])
        # error of the predicted difference, by holding a and adjusting anew
        spread = math.hypot(1.0, adjust_levels(without, {a: 0.0}, error=1.0).errors[b])
        assert levels.residuals.loc[i, "w"] == pytest.approx(-off / spread, abs=1e-9)
        if levels.residuals.loc[i, "blunder"]:
            assert levels.residuals.loc[i, "size"] == pytest.approx(off)
    assert levels.blunders.index.tolist() == [9]


def test_a_planted_blunder_of_six_sigma_is_named():
    rng = np.random.default_rng(11)
    named, false = 0, 0
    for _ in range(200):
        table = complete(rng, 10, 1.0)  # 45 sights, 9 free points: each has redundancy number 0.8 (closed form)
        bad = int(rng.integers(len(table)))
        table.loc[bad, "difference"] += 6 * rng.choice([-1, 1])
        found = adjust_levels(table, {"P0": 0.0}, error=1.0).blunders
        named += bad in found.index
        false += len(set(found.index) - {bad})
    # the chance is P(|N(6 sqrt(0.8), 1)| > 3.29) = 0.981 (normal distribution)
    assert named >= 0.95 * 200
    assert false <= 200 * 44 * 0.001 * 2.5


def test_the_size_of_a_blunder():
    table = complete(np.random.default_rng(2), 10, 1.0)
    table.loc[7, "difference"] += 40
    for error in (1.0, None):
        row = adjust_levels(table, {"P0": 0.0}, error=error).blunders.iloc[0]
        # standard deviation of the size: 1 / sqrt(0.8)
        assert row.name == 7
        assert row["size"] == pytest.approx(40, abs=4 / math.sqrt(0.8))
        assert row["or_else"] == ()


def test_two_blunders_are_both_named():
    table = complete(np.random.default_rng(5), 10, 1.0)
    table.loc[3, "difference"] += 30
    table.loc[30, "difference"] -= 50
    assert adjust_levels(table, {"P0": 0.0}, error=1.0).blunders.index.tolist() == [30, 3]


def test_sights_that_cannot_be_told_apart():
    # a triangle: each of the three may be the one, so all are named, with w = misclosure / (s sqrt(3)) (closed form)
    table = pd.DataFrame({"from": ["A", "P", "Q"], "to": ["P", "Q", "A"], "difference": [10.0, 5.0, -9.0]})
    levels = adjust_levels(table, {"A": 0.0}, error=1.0)
    assert levels.residuals["w"].tolist() == pytest.approx([-6 / math.sqrt(3)] * 3)
    assert levels.residuals["blunder"].all()
    assert levels.residuals["size"].tolist() == pytest.approx([6.0] * 3)
    assert levels.residuals["or_else"].tolist() == [(1, 2), (0, 2), (0, 1)]
    # one spare sight: chi-squared of one degree is a normal deviate squared, 36 / 3
    assert levels.chance == pytest.approx(math.erfc(math.sqrt(12 / 2)), rel=1e-9)
    assert math.isnan(adjust_levels(table.iloc[:2], {"A": 0.0}, error=1.0).chance)
    # the one loop says the same: 6 > 3.29 sqrt(3)
    assert levels.misclosures["allowed"].tolist() == pytest.approx([3.2905 * math.sqrt(3)], rel=1e-4)
    # nothing stated and one spare sight: m0 is all there is, and no sight can be blamed
    assert not len(adjust_levels(table, {"A": 0.0}).blunders)


def test_false_alarms_come_as_often_as_they_should():
    # 5 % of good sights beyond the 5 % value, with a stated error and with none
    rng = np.random.default_rng(8)
    pairs = list(itertools.combinations(range(5), 2))
    design = np.array([[(b == k) - (a == k) for k in range(1, 5)] for a, b in pairs], float)
    for stated in (1.0, None):
        beyond = []
        for _ in range(1000):
            solution = solve(design, rng.normal(size=len(pairs)), np.ones(len(pairs)))
            assert solution is not None
            w = standardised(solution, np.ones(len(pairs)), stated)
            beyond.append(np.abs(w) > critical_w(solution.redundancy, stated, 0.05))
        assert np.mean(beyond) == pytest.approx(0.05, abs=0.008)


def test_errors_and_chance_cover():
    rng = np.random.default_rng(4)
    inside, chances = [], []
    for _ in range(300):
        height, table = random_network(rng, error=2.0)
        levels = adjust_levels(table, {"P0": height[0]}, error=2.0)
        off = (levels.heights["P6"] - height[6]) / levels.errors["P6"]
        inside.append(abs(off) <= 1.96)
        chances.append(levels.chance)
    assert 0.91 <= np.mean(inside) <= 0.98
    assert np.mean(np.array(chances) < 0.5) == pytest.approx(0.5, abs=0.09)  # uniform: three standard errors


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.data())
def test_order_and_direction_do_not_matter(seed, data):
    rng = np.random.default_rng(seed)
    _, table = random_network(rng, points=5, extra=5)
    table["error"] = rng.uniform(0.5, 2, len(table))
    order = data.draw(st.permutations(range(len(table))))
    turned = data.draw(st.lists(st.booleans(), min_size=len(table), max_size=len(table)))
    other = table.copy()
    swap = np.array(turned)
    other.loc[swap, ["from", "to"]] = table.loc[swap, ["to", "from"]].to_numpy()
    other.loc[swap, "difference"] *= -1
    one = adjust_levels(table, {"P0": 7.0})
    two = adjust_levels(other.iloc[order], {"P0": 7.0})
    points = one.heights.index
    np.testing.assert_allclose(two.heights[points], one.heights, atol=1e-8)
    np.testing.assert_allclose(two.errors[points], one.errors, atol=1e-9)
    assert two.m0 == pytest.approx(one.m0)
    w = one.residuals["w"].to_numpy() * np.where(swap, -1, 1)
    np.testing.assert_allclose(two.residuals["w"], w[order], atol=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_loops(seed, held):
    rng = np.random.default_rng(seed)
    height, table = random_network(rng, points=6, extra=6)
    known = {f"P{k}": height[k] for k in range(held)}
    levels = adjust_levels(table, known, error=1.0)
    loops = levels.misclosures
    assert len(loops) == levels.redundancy
    for _, row in loops.iterrows():
        # walked by hand: from point to point, over the sight that the row names
        names, total = row["through"].split(" - "), 0.0
        for (a, b), i in zip(itertools.pairwise(names), row["rows"], strict=True):
            sight = table.loc[i]
            assert {sight["from"], sight["to"]} == {a, b}
            total += sight["difference"] if (sight["from"], sight["to"]) == (a, b) else -sight["difference"]
        ends = known.get(names[-1], 0) - known.get(names[0], 0)
        assert row["misclosure"] == pytest.approx(total - ends, abs=1e-9)
        assert row["kind"] == ("loop" if names[0] == names[-1] else "line")
        assert row["error"] == pytest.approx(math.sqrt(row["sights"]))
    # independent: each has a sight that the others' spanning tree has not
    used = np.zeros((len(loops), len(table)))
    for k, rows in enumerate(loops["rows"]):
        np.add.at(used[k], list(rows), 1)
    assert np.linalg.matrix_rank(used) == len(loops)


def test_without_redundancy():
    table = pd.DataFrame({"from": ["A", "P"], "to": ["P", "Q"], "difference": [10.0, 5.0]})
    levels = adjust_levels(table, {"A": 100.0})
    assert levels.heights.to_dict() == {"A": 100.0, "P": 110.0, "Q": 115.0}
    assert levels.redundancy == 0
    assert math.isnan(levels.m0)
    assert levels.errors[["P", "Q"]].isna().all()  # nothing stated, nothing shown: not known, and not zero
    assert adjust_levels(table, {"A": 100.0}, error=3.0).errors.to_dict() == pytest.approx(
        {"A": 0.0, "P": 3.0, "Q": 3 * math.sqrt(2)}
    )
    assert not len(levels.misclosures)
    held = adjust_levels(table.iloc[:1], {"A": 100.0, "P": 112.0})  # nothing to adjust: a check between benchmarks
    assert held.misclosures["misclosure"].tolist() == [-2.0]


GOOD = pd.DataFrame({"from": ["A", "P", "Q", "R"], "to": ["P", "A", "R", "Q"], "difference": [1.0, -1.2, 3.0, -3.1]})


def test_points_apart_are_named():
    with pytest.raises(ArgumentError) as caught:
        adjust_levels(GOOD, {"A": 0.0})
    (problem,) = caught.value.problems
    assert "points 'Q', 'R' hang together, but on no benchmark" in problem.what
    assert problem.remedy == "read a sight between one of 'Q', 'R' and one of 'A', 'P'"
    with pytest.raises(ArgumentError, match="no sight reaches a benchmark") as caught:
        adjust_levels(GOOD, {"Z": 0.0})
    assert "{'A': 0.0}" in (caught.value.problems[0].remedy or "")
    with pytest.raises(ArgumentError, match="no benchmarks"):
        adjust_levels(GOOD, {})
    # one benchmark in each part is enough
    assert adjust_levels(GOOD, {"A": 0.0, "R": 5.0}).heights["Q"] == pytest.approx(5 - 3.05)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"difference": [1.0, math.nan, 3.0, 4.0]}, "sight 2 has no usable difference"),
        ({"difference": [1.0, "x", 3.0, 4.0]}, "sight 2 has no usable difference"),
        ({"error": [1.0, 1.0, 0.0, 1.0]}, "sight 3 has no usable error"),
        ({"weight": [1.0, -1.0, 1.0, 1.0]}, "sight 2 has no usable weight"),
        ({"distance": [1.0, math.inf, 1.0, 1.0]}, "sight 2 has no usable distance"),
        ({"weight": [1.0] * 4, "error": [1.0] * 4}, "an error and a weight"),
        ({"to": ["A", "A", "R", "Q"]}, "sight 1 goes from a point to itself"),
        ({"from": ["A", "", "Q", "R"]}, "sight 2 has no point under `from`"),
        ({"from": ["A", None, "Q", "R"]}, "sight 2 has no point under `from`"),
    ],
)
def test_sights_that_cannot_be_used(change, says):
    with pytest.raises(ArgumentError, match=says):
        adjust_levels(GOOD.assign(**change), {"A": 0.0, "Q": 0.0})


def test_arguments_that_cannot_be_used():
    with pytest.raises(ArgumentError, match="no column to and difference"):
        adjust_levels(GOOD[["from"]], {"A": 0.0})
    with pytest.raises(ArgumentError, match="no sights"):
        adjust_levels(GOOD.iloc[:0], {"A": 0.0})
    with pytest.raises(ArgumentError, match="above zero"):
        adjust_levels(GOOD, {"A": 0.0, "Q": 0.0}, error=0.0)
    with pytest.raises(ArgumentError, match="benchmark 'A' has no known height"):
        adjust_levels(GOOD, {"A": math.nan})
    for book in (([1.0], [1.0, 2.0]), ([], []), ([1.0, math.nan], [1.0, 2.0])):
        with pytest.raises(ArgumentError, match="sight"):
            book_levels(*book)
    with pytest.raises(ArgumentError, match="2 points for 2 set-ups"):
        book_levels([1.0, 2.0], [1.0, 2.0], points=["A", "B"])


def test_what_is_said_of_sights_that_cannot_be_used():
    def problem(call):
        with pytest.raises(ArgumentError) as caught:
            call()
        return caught.value.problems[0]

    chain = pd.DataFrame({"from": ["A", "P"], "to": ["P", "R"], "difference": [1.0, 1.0], "weight": [1e-12, 1e12]})
    assert "too far apart" in problem(lambda: adjust_levels(chain, {"A": 0.0})).what
    assert problem(lambda: adjust_levels(chain, {"A": 0.0})).value == "1e-12 to 1e+12"
    for name, expected in (("difference", "a number"), ("error", "a number above zero")):
        assert problem(lambda n=name: adjust_levels(GOOD.assign(**{n: ["x"] * 4}), {"A": 0.0})).expected == expected
    for error in (-1.0, math.inf, math.nan):
        assert "above zero" in problem(lambda e=error: adjust_levels(GOOD, {"A": 0.0, "Q": 0.0}, error=e)).what
    # a difference may be of either sign, and nothing
    assert adjust_levels(GOOD.assign(difference=[0.0, 0.0, -3.0, 3.0]), {"A": 0.0, "Q": 0.0}).heights["R"] == -3.0
    many = [f"P{k}" for k in range(9)]
    line = pd.DataFrame({"from": many[:-1], "to": many[1:], "difference": [1.0] * 8})
    named = problem(lambda: adjust_levels(line, {"Z": 0.0}))
    assert named.expected.endswith("'P0', 'P1', 'P2', 'P3', 'P4', 'P5' and 3 more")
    assert named.value == "benchmarks 'Z'"
    seven = line.iloc[:5]
    assert problem(lambda: adjust_levels(seven, {})).expected.endswith("'P0', 'P1', 'P2', 'P3', 'P4', 'P5'")
    alone = pd.DataFrame({"from": ["A", "Q"], "to": ["P", "Q2"], "difference": [1.0, 1.0]})
    assert problem(lambda: adjust_levels(alone, {"A": 0.0})).what.startswith("points 'Q', 'Q2' hang together, but")
    assert problem(lambda: adjust_levels(GOOD, {"A": "high", "Q": 1.0})).value == "high"
    assert adjust_levels(GOOD, {"A": "1.5", "Q": 1.0}).heights["A"] == 1.5
    assert "back sight 2 is not a number" in problem(lambda: book_levels([1.0, math.nan], [1.0, 2.0])).what
    assert "fore sight 1 is not a number" in problem(lambda: book_levels([1.0, 2.0], [math.inf, 2.0])).what
    assert "starting height" in problem(lambda: book_levels([1.0], [1.0], start=math.nan)).what
    assert problem(lambda: book_levels([1.0], [1.0, 2.0])).value == "1 back, 2 fore"


def test_a_book_without_names_counts_its_points():
    # by hand: 100 + 1.5 - 1.0, then + 1.0 - 1.75
    table = book_levels([1.5, 1.0], [1.0, 1.75], start=100.0)
    assert table["from"].tolist() == ["1", "2"]
    assert table["to"].tolist() == ["2", "3"]
    assert table["height"].tolist() == [100.5, 99.75]
    assert table["rise"].tolist() == [0.5, 0.0]
    assert table["fall"].tolist() == [0.0, 0.75]
    assert table["instrument"].tolist() == [101.5, 101.5]


def test_a_blunder_named_first_keeps_its_size():
    # two sights of one difference, and a third that is off: the two blunders found after one another keep their own
    table = complete(np.random.default_rng(5), 10, 1.0)
    table.loc[3, "difference"] += 30
    table.loc[30, "difference"] -= 50
    residuals = adjust_levels(table, {"P0": 0.0}, error=1.0).residuals
    off = 4 / math.sqrt(0.8)  # four standard deviations of a size
    # the first is sized while the other is still among the rest, which it shares out over eight
    assert residuals.loc[30, "size"] == pytest.approx(-50, abs=off + 30 / 8)
    assert residuals.loc[3, "size"] == pytest.approx(30, abs=off)
    assert residuals["size"].notna().sum() == residuals["blunder"].sum() == 2
    # as large as the residuals show: scaled by m0 over what was stated (definition)
    twice = adjust_levels(table, {"P0": 0.0}, error=2.0)
    assert twice.errors_shown["P5"] == pytest.approx(twice.errors["P5"] * twice.m0 / 2.0)
    # the plainest first
    assert adjust_levels(table, {"P0": 0.0}, error=1.0).blunders["w"].abs().is_monotonic_decreasing


def test_a_levelled_line_is_exact_without_noise():
    rng = np.random.default_rng(1)
    height = rng.uniform(-1000, 1000, 12)
    line = rng.uniform(1000, 2000, 11)  # height of the instrument over the back point
    table = book_levels(line, line - np.diff(height), start=height[0])
    np.testing.assert_allclose(table["height"], height[1:], atol=1e-9)
    np.testing.assert_allclose(table["instrument"], height[:-1] + line, atol=1e-9)


# ---- set-ups


def two_setups(rng, noise, offset=-37.0, tilt=(0.0, 0.0), shared=8, own=6, spread=4000.0):
    """Readings of two set-ups over shared and own places; the second off by an offset and a tilt [mm/m]."""
    count = shared + 2 * own
    x, y = rng.uniform(0, spread, (2, count))
    height = rng.normal(0, 3, count)
    first, second = list(range(shared + own)), [*range(shared), *range(shared + own, count)]
    rows = [("1", f"p{k}", height[k] + 12.0, x[k], y[k]) for k in first]
    # height = offset + reading + tilt x: the reading is short of both
    rows += [("2", f"p{k}", height[k] - offset - (tilt[0] * x[k] + tilt[1] * y[k]) / 1000, x[k], y[k]) for k in second]
    rows.append(("1", "BM", 100.0 + 12.0, 500.0, 700.0))
    table = pd.DataFrame(rows, columns=["setup", "point", "height", "x", "y"])
    table["height"] += rng.normal(0, noise, len(table))
    return table, height


def test_setups_against_numpy_lstsq():
    # brute force: one row a reading, a column for each set-up's offset and tilt and for each station's height
    table, _ = two_setups(np.random.default_rng(6), 0.5, tilt=(1.5, -0.8))
    levels = adjust_setups(table, {"BM": 100.0}, error=0.5)
    assert levels.setups["tilt_x"].notna().tolist() == [False, True]
    stations = [p for p in dict.fromkeys(table["point"]) if p != "BM"]
    rows, right = [], []
    for setup, point, height, x, y in table.itertuples(index=False):
        two = float(setup == "2")
        ox, oy = levels.setups.loc["2", ["x", "y"]].astype(float)
        # h - offset - tilt = reading
        row = [-(1 - two), -two, -two * (x - ox) / 1000, -two * (y - oy) / 1000]
        rows.append(row + [float(point == p) for p in stations])
        right.append(height - (100.0 if point == "BM" else 0.0))
    A, b = np.array(rows), np.array(right)
    unknowns, pvv, rank, _ = np.linalg.lstsq(A, b, rcond=None)
    covariance = 0.25 * np.linalg.inv(A.T @ A)
    assert rank == A.shape[1]
    assert levels.redundancy == len(b) - rank
    assert levels.m0 == pytest.approx(math.sqrt(pvv[0] / (len(b) - rank)))
    np.testing.assert_allclose(levels.setups["offset"], unknowns[:2], atol=1e-9)
    np.testing.assert_allclose(levels.setups.loc["2", ["tilt_x", "tilt_y"]].astype(float), unknowns[2:4], atol=1e-9)
    np.testing.assert_allclose(levels.heights[stations], unknowns[4:], atol=1e-9)
    spread = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(levels.setups["offset_error"], spread[:2], rtol=1e-9)
    np.testing.assert_allclose(
        levels.setups.loc["2", ["tilt_x_error", "tilt_y_error"]].astype(float), spread[2:4], rtol=1e-9
    )
    np.testing.assert_allclose(levels.errors[stations], spread[4:], rtol=1e-9)
    np.testing.assert_allclose(levels.residuals["residual"], A @ unknowns - b, atol=1e-9)


def test_a_planted_offset_is_recovered_within_its_error():
    rng = np.random.default_rng(17)
    inside = []
    for _ in range(300):
        table, _ = two_setups(rng, 1.0)
        setups = adjust_setups(table, {"BM": 100.0}, error=1.0, tilt="none").setups
        # the benchmark's own reading is in both offsets: only that of set-up 1 is held by it alone
        inside.append(abs(setups.loc["2", "offset"] + 37.0) <= 1.96 * setups.loc["2", "offset_error"])
    assert 0.91 <= np.mean(inside) <= 0.98


def test_the_offset_between_two_setups_is_recovered_without_a_benchmark():
    # no benchmark: set-up 1 is held, and set-up 2 is found against it; error sqrt(2 / 8) (closed form)
    rng = np.random.default_rng(18)
    inside = []
    for _ in range(300):
        table, _ = two_setups(rng, 1.0)
        setups = adjust_setups(table[table["point"] != "BM"], {}, error=1.0, tilt="none").setups
        assert setups.loc["1", ["offset", "offset_error"]].tolist() == [0.0, 0.0]
        assert setups.loc["2", "offset_error"] == pytest.approx(0.5)
        inside.append(abs(setups.loc["2", "offset"] + 37.0 - 12.0) <= 1.96 * 0.5)
    assert 0.91 <= np.mean(inside) <= 0.98


def test_a_planted_tilt_is_recovered_within_its_error():
    rng = np.random.default_rng(19)
    inside, taken = [], 0
    for _ in range(300):
        table, _ = two_setups(rng, 0.5, tilt=(2.0, -1.0))
        setup = adjust_setups(table, {"BM": 100.0}, error=0.5, tilt="estimate").setups.loc["2"]
        for axis, true in (("x", 2.0), ("y", -1.0)):
            inside.append(abs(setup[f"tilt_{axis}"] - true) <= 1.96 * setup[f"tilt_{axis}_error"])
        auto = adjust_setups(table, {"BM": 100.0}, error=0.5).setups
        taken += np.isfinite(auto.loc["2", "tilt_x"]) and not np.isfinite(auto.loc["1", "tilt_x"])
    assert 0.91 <= np.mean(inside) <= 0.98
    assert taken >= 285  # beyond chance in nearly all: 2 mm/m is about 2.4 mm at the ends, five reading errors


@pytest.mark.parametrize("error", [1.0, None])
def test_level_setups_are_not_called_tilted(error):
    rng = np.random.default_rng(20)
    tilted = 0
    for _ in range(300):
        table, _ = two_setups(rng, 1.0)
        tilted += adjust_setups(table, {"BM": 100.0}, error=error).setups["tilt_x"].notna().any()
    assert tilted <= 4  # one in a thousand each


def test_which_of_two_setups_was_tilted_may_not_be_known():
    # over shared stations alone a tilt of one is a tilt of the other; with benchmarks spread out it is not
    rng = np.random.default_rng(21)
    table, _ = two_setups(rng, 0.3, tilt=(3.0, 0.0))
    assert adjust_setups(table, {"BM": 100.0}, error=0.3).setups["or_else"].tolist() == [(), ("1",)]
    marks = {"A": 5.0, "B": -3.0, "C": 8.0, "D": 1.0}
    places = [(0, 0), (4000, 0), (0, 4000), (4000, 4000)]
    more = [("1", m, h + 12.0, *p) for (m, h), p in zip(marks.items(), places, strict=True)]
    table = pd.concat([table, pd.DataFrame(more, columns=table.columns)], ignore_index=True)
    setups = adjust_setups(table, {"BM": 100.0, **marks}, error=0.3).setups
    assert setups["or_else"].tolist() == [(), ()]
    assert setups["tilt_x"].notna().tolist() == [False, True]


@pytest.mark.parametrize("seed", range(12))
def test_a_blunder_is_not_taken_for_a_tilt(seed):
    # 12 mm at the shared station farthest out, where it looks most like a tilt
    table, _ = two_setups(np.random.default_rng(seed), 0.5)
    shared = table[table["setup"].eq("2") & table["point"].isin([f"p{k}" for k in range(8)])]
    far = ((shared[["x", "y"]] - shared[["x", "y"]].mean()) ** 2).sum(axis=1).idxmax()
    bad = table.loc[far, "point"]
    table.loc[far, "height"] += 12.0
    levels = adjust_setups(table, {"BM": 100.0}, error=0.5)
    assert levels.setups["tilt_x"].isna().all()
    named = levels.blunders[["setup", "point"]]
    assert {("1", bad), ("2", bad)} <= set(named.itertuples(index=False, name=None))  # either of the two
    (size,) = levels.residuals.loc[[far], "size"]
    assert size == pytest.approx(12.0, abs=3.0)


def test_a_tilt_is_not_carried_over_from_ties_on_one_line():
    rng = np.random.default_rng(23)
    table, _ = two_setups(rng, 0.3, tilt=(4.0, 0.0))
    count = table.groupby("point")["setup"].transform("size")
    table.loc[count > 1, "y"] = 1000 + rng.uniform(-1, 1, int((count > 1).sum()))
    assert adjust_setups(table, {"BM": 100.0}, error=0.3).setups["tilt_x"].isna().all()


def test_setups_that_share_nothing():
    table, _ = two_setups(np.random.default_rng(1), 0.5, shared=0)
    with pytest.raises(ArgumentError, match="set-ups '2' share no benchmark and no point"):
        adjust_setups(table, {"BM": 100.0})
    with pytest.raises(ArgumentError, match="unknown way to treat tilt"):
        adjust_setups(table, {"BM": 100.0}, tilt="yes")
    with pytest.raises(ArgumentError, match="no column point"):
        adjust_setups(table.drop(columns="point"), {"BM": 100.0})


def test_groups_apart_and_loops_by_hand():
    ends = [("A", "B"), ("C", "D"), ("D", "E"), ("E", "C")]
    assert groups_apart(ends, {"A"}) == [["C", "D", "E"]]
    assert independent_loops(ends, {"A"}) == []
    (loop,) = independent_loops(ends, {"A", "C"})
    assert (loop.points, loop.sights, loop.signs) == (("C", "D", "E", "C"), (1, 2, 3), (1, 1, 1))


def test_examples_in_the_docstrings():
    for module in (adjustment, bookings, instrument, least_squares, levelling, network):
        assert doctest.testmod(module).failed == 0
