"""How fast surfaces are drawn and bars laid on them, and whether that gives what the plain way gives.

    python tests/benchmarks/bench_draws.py --rooms 10

The plain way to draw factors the covariance of all nodes, and lays every bar on every draw. Both are done in one run
on the same simulated rooms, on one processor; the draws' spread is held against the likely surface's own error.
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import flatness
import simulated_rooms as rooms
from flatness.limits.measuring import Subject, measure_draws
from flatness.limits.verdict import RANGE
from flatness.measures.bars import gap_map
from flatness.surface.kriging import cholesky_factor, predict, surface_covariance

DRAWS, SETS = 200, 20
LIMITS = [rooms.limit(), flatness.straightedge_limit(6 * rooms.FT, 25.4 / 8)]


def factored_draws(likely, seed):
    """Draws [DRAWS, ny, nx] by a factor of the covariance of all nodes, for each set of parameters."""
    rng, fit = np.random.default_rng(seed), likely.fit
    x, y = (axis.ravel() for axis in np.meshgrid(likely.x - fit.origin[0], likely.y - fit.origin[1]))
    steps = np.arange(max(likely.mean.shape)) * likely.spacing
    iy, ix = (index.ravel() for index in np.indices(likely.mean.shape))
    apart = np.abs(iy[:, None] - iy) * len(steps) + np.abs(ix[:, None] - ix)
    parts = []
    for p, count in fit.parameter_sets(SETS, DRAWS, rng):
        mean, v, w = predict(fit.stations, p, x, y)
        covariance = surface_covariance(steps, steps[:, None], p).ravel()[apart] - v.T @ v + w.T @ w
        covariance[np.diag_indices_from(covariance)] += 1e-7 * p.scale**2
        parts.append(mean + rng.standard_normal((count, len(x))) @ cholesky_factor(covariance.T).T)
    return np.concatenate(parts).reshape(-1, *likely.mean.shape) + fit.origin[2]


def timed(work, *arguments):
    start = time.process_time()
    result = work(*arguments)
    return time.process_time() - start, result


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=5, help="of each kind, on each grid")
    options = parser.parse_args()
    names = ("draw, factored", "draw", "every bar", "for the chance", "and for the range")
    seconds = dict.fromkeys(names, 0.0)
    spread, off, most, sides, draws = [], [], np.zeros(3), 0, 0
    tasks = [(f, kind, n) for f in (2, 4) for kind in rooms.KINDS for n in range(options.rooms)]
    for feet, kind, number in tasks:
        height, _ = rooms.room(rooms.KINDS[kind], number)
        survey = rooms.survey(height, feet, number)
        likely = flatness.likely_surface(survey, rooms.SPACING)
        seconds["draw, factored"] += (plain := timed(factored_draws, likely, number))[0]
        seconds["draw"] += (new := timed(likely.draw, DRAWS, number))[0]
        spread.append(np.log(new[1].std(axis=0) / plain[1].std(axis=0)).mean())
        off.append(((new[1].mean(axis=0) - plain[1].mean(axis=0)) / likely.error).mean())
        for limit in LIMITS:
            subject, stack = Subject.of(survey, [limit], rooms.SPACING), new[1]
            took, gaps = timed(gap_map, stack, rooms.SPACING, limit.length)
            seconds["every bar"] += took
            expected = gaps.max(axis=(1, 2)) / limit.allowed
            for name, quantiles in ((names[3], ()), (names[4], RANGE)):
                took, used = timed(measure_draws, limit, subject, lambda stack=stack: stack, None, quantiles)
                seconds[name] += took
                sides += np.count_nonzero((used <= 1 + 1e-9) != (expected <= 1 + 1e-9))
            draws += len(used)
            most = np.maximum(most, np.quantile(expected, RANGE) - np.quantile(used, RANGE))
    print(f"{len(tasks)} rooms of {rooms.GX.size} nodes, {DRAWS} draws each, two limits, 12 headings")
    for name in names:
        base = seconds[names[0] if name in names[:2] else names[2]]
        print(f"{name:18} {seconds[name] / len(tasks):6.3f} s a room, {base / seconds[name]:5.1f} times as fast")
    sampling = np.sqrt(len(spread))
    print(f"spread of the draws over that of factored ones: {np.exp(np.mean(spread)):.4f}", end=" ")
    print(f"+- {np.std(spread) / sampling:.4f}; mean {np.mean(off):+.4f} +- {np.std(off) / sampling:.4f} errors off")
    print(f"of {draws} draws {sides} on the wrong side of a limit; ends and middle of the range at most", end=" ")
    print(" / ".join(f"{100 * part:.1f} %" for part in most), "of the limit too low")


if __name__ == "__main__":
    main()
