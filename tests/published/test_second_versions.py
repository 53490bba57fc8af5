"""F-numbers and adjusted levels once more, in plain loops that share nothing with the kit, over random inputs."""

import math

import numpy as np
import pandas as pd
import pytest

from flatness.measures.fnumbers import f_numbers
from flatness.survey.levelling import adjust_levels

IN = 25.4


def f_numbers_in_loops(lines, spacing):
    """ASTM E1155 from memory, heights [in]: a row a line (n_q, mean, deviation, FF, n_z, mean, deviation, FL), overall.

    The constants are for 12 in: at another spacing a curvature makes differences by its square, a slope by itself.
    """
    rows, weights = [], {0: [0.0, 0], 1: [0.0, 0]}
    for line in lines:
        row = []
        for k, constant in ((0, 4.57 * (spacing / 304.8) ** 2), (1, 12.5 * spacing / 304.8)):
            differences = []
            if k == 0:
                for i in range(1, len(line) - 1):
                    differences.append((line[i + 1] - line[i]) - (line[i] - line[i - 1]))
            else:
                for i in range(len(line) - 10):
                    differences.append(line[i + 10] - line[i])
            total = 0.0
            for one in differences:
                total += one
            mean = total / len(differences)
            squares = 0.0
            for one in differences:
                squares += (one - mean) ** 2
            deviation = (squares / (len(differences) - 1)) ** 0.5
            number = constant / (abs(mean) + 3 * deviation)
            weights[k][0] += len(differences) * number**-2
            weights[k][1] += len(differences)
            row += [len(differences), mean, deviation, number]
        rows.append(row)
    return rows, [(count / total) ** 0.5 for total, count in weights.values()], [count for _, count in weights.values()]


@pytest.mark.parametrize("spacing", [304.8, 300.0])
@pytest.mark.parametrize("seed", range(6))
def test_f_numbers(seed, spacing):
    rng = np.random.default_rng(seed)
    lines = [
        (rng.normal(0, 0.05, n) + rng.normal(0, 0.01) * np.arange(n)).cumsum().tolist()
        for n in rng.integers(12, 40, rng.integers(1, 6))
    ]
    rows, overall, counts = f_numbers_in_loops(lines, spacing)
    found = f_numbers([[h * IN for h in line] for line in lines], spacing=spacing)
    names = ["n_q", "mean_q_mm", "sd_q_mm", "ff", "n_z", "mean_z_mm", "sd_z_mm", "fl"]
    for row, told in zip(rows, found.lines[names].to_numpy(float), strict=True):
        expected = [value * IN if k in (1, 2, 5, 6) else value for k, value in enumerate(row)]
        assert told == pytest.approx(expected, rel=1e-9, abs=1e-12)
    assert (found.ff, found.fl) == pytest.approx(tuple(overall), rel=1e-9)
    assert found.least_ff == pytest.approx(min(row[3] for row in rows))
    assert found.least_fl == pytest.approx(min(row[7] for row in rows))
    for number, count, (low, high) in zip(overall, counts, (found.ff_interval, found.fl_interval), strict=True):
        part = 1.645 / math.sqrt(2 * count - 2)
        assert (low, high) == pytest.approx((max(0.0, number - number * part), number + number * part))


def solved_in_loops(normal, right):
    """Gauss elimination, pivots sought: unknowns and the inverse."""
    n = len(normal)
    rows = [[*normal[i], right[i], *[float(i == j) for j in range(n)]] for i in range(n)]
    for k in range(n):
        best = max(range(k, n), key=lambda i: abs(rows[i][k]))
        rows[k], rows[best] = rows[best], rows[k]
        rows[k] = [value / rows[k][k] for value in rows[k]]
        for i in range(n):
            if i != k:
                rows[i] = [value - rows[i][k] * other for value, other in zip(rows[i], rows[k], strict=True)]
    return [row[n] for row in rows], [row[n + 1 :] for row in rows]


def levels_in_loops(sights, known):
    """Sights (from, to, difference, weight): heights, cofactors, residuals, redundancy numbers, m0, redundancy."""
    free = sorted({point for sight in sights for point in sight[:2]} - set(known))
    place = {point: k for k, point in enumerate(free)}
    normal = [[0.0] * len(free) for _ in free]
    right = [0.0] * len(free)
    for start, end, difference, weight in sights:
        for point, sign in ((start, -1), (end, 1)):
            if point not in place:
                continue
            for other, sign_of_other in ((start, -1), (end, 1)):
                if other in place:
                    normal[place[point]][place[other]] += weight * sign * sign_of_other
                else:
                    right[place[point]] -= weight * sign * sign_of_other * known[other]
            right[place[point]] += weight * sign * difference
    unknowns, inverse = solved_in_loops(normal, right)
    heights = {**known, **{point: unknowns[k] for point, k in place.items()}}
    residuals, shares, pvv = [], [], 0.0
    for start, end, difference, weight in sights:
        residual = heights[end] - heights[start] - difference
        pvv += weight * residual**2
        residuals.append(residual)
        a, b = place.get(start), place.get(end)
        spread = sum(inverse[k][k] for k in (a, b) if k is not None)
        if a is not None and b is not None:
            spread -= 2 * inverse[a][b]
        shares.append(1 - weight * spread)
    spare = len(sights) - len(free)
    cofactors = {point: inverse[k][k] for point, k in place.items()}
    return heights, cofactors, residuals, shares, math.sqrt(pvv / spare), spare


@pytest.mark.parametrize("how", ["error", "weight", "neither", "error beside"])
@pytest.mark.parametrize("seed", range(5))
def test_levels(seed, how):
    rng = np.random.default_rng(seed)
    truth = rng.normal(0, 400, 8)
    pairs = [(int(rng.integers(k)), k) for k in range(1, 8)]
    pairs += [tuple(map(int, rng.choice(8, 2, replace=False))) for _ in range(9)]
    table = pd.DataFrame(pairs, columns=["from", "to"])
    table["difference"] = [truth[b] - truth[a] + rng.normal(0, 1.5) for a, b in pairs]
    number = rng.uniform(0.4, 3, len(pairs))
    stated = {"error": 1.0, "error beside": 2.0}.get(how)
    if how == "weight":
        table["weight"], weights = number, number
    elif how == "neither":
        weights = np.ones(len(pairs))
    else:
        table["error"], weights = number, (stated / number) ** 2
    known = {0: float(truth[0]), 5: float(truth[5])}
    found = adjust_levels(table, known, error=stated if how == "error beside" else None)
    sights = [(a, b, d, w) for (a, b), d, w in zip(pairs, table["difference"], weights, strict=True)]
    heights, cofactors, residuals, shares, m0, spare = levels_in_loops(sights, known)
    unit = m0 if stated is None else stated
    assert found.redundancy == spare
    assert found.m0 == pytest.approx(m0, rel=1e-9)
    for point, height in heights.items():
        assert found.heights[point] == pytest.approx(height, abs=1e-8)
        assert found.errors[point] == pytest.approx(unit * math.sqrt(cofactors.get(point, 0.0)), rel=1e-8)
    assert found.residuals["residual"].tolist() == pytest.approx(residuals, abs=1e-8)
    assert found.residuals["share"].tolist() == pytest.approx(shares, abs=1e-9)
    w = [
        r * math.sqrt(p / s) / unit if s > 1e-8 else math.nan
        for r, p, s in zip(residuals, weights, shares, strict=True)
    ]
    assert found.residuals["w"].tolist() == pytest.approx(w, rel=1e-6, abs=1e-6, nan_ok=True)
    # numpy's own least squares of the weighted rows gives these heights too
    free = sorted(cofactors)
    rows = np.array([[(b == p) - (a == p) for p in free] for a, b in pairs], float)
    right = [d + known.get(a, 0.0) - known.get(b, 0.0) for (a, b), d in zip(pairs, table["difference"], strict=True)]
    root = np.sqrt(np.asarray(weights))
    again = np.linalg.lstsq(root[:, None] * rows, root * right, rcond=None)[0]
    assert found.heights[free].tolist() == pytest.approx(again.tolist(), abs=1e-8)
    # each loop closes by what is summed along its points
    for _, loop in found.misclosures.iterrows():
        way = list(map(int, loop["through"].split(" - ")))
        rows_of_it = list(loop["rows"])
        total = sum(
            table["difference"][i] * (1 if pairs[i] == (way[k], way[k + 1]) else -1) for k, i in enumerate(rows_of_it)
        )
        fixed = 0.0 if way[0] == way[-1] else known[way[-1]] - known[way[0]]
        assert loop["kind"] == ("loop" if way[0] == way[-1] else "line")
        assert loop["misclosure"] == pytest.approx(total - fixed, abs=1e-9)
        error = math.nan if stated is None else stated * math.sqrt(sum(1 / weights[i] for i in rows_of_it))
        assert loop["error"] == pytest.approx(error, nan_ok=True)
    assert len(found.misclosures) == spare
