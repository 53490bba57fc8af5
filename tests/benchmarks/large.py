"""How long a check of a large survey takes, what memory it needs, and how often its range covers the truth.

    OMP_NUM_THREADS=1 python tests/benchmarks/large.py             # 10,000 and 100,000 readings, on a grid and anywhere
    OMP_NUM_THREADS=1 python tests/benchmarks/large.py --rooms 40  # 2,500 readings each, on surfaces of known truth

Surfaces are waves of many directions of one random surface, 1 ft from a station to the next, read to 1/32 in; the true
gap under a 10 ft bar is measured on their true heights. Each size runs in a process of its own, for its memory.
"""

import argparse
import resource
import subprocess
import sys
import time

import numpy as np

import flatness
from flatness.measures.bars import gap_map
from flatness.surface.kriging import Parameters
from flatness.surface.prior import Extent, Prior

STEP, ERROR, BAR, LIMIT = 304.8, 25.4 / 32, 3048.0, 4.7625


def make(count, on_grid, scale, length, seed):
    """A survey of so many readings, and the largest gap [mm] of its true surface on a lattice of a foot."""
    rng, side = np.random.default_rng(seed), round(count**0.5)
    lattice = [axis.ravel() for axis in np.meshgrid(*[np.arange(side) * STEP] * 2)]
    x, y = lattice if on_grid else rng.uniform(0, (side - 1) * STEP, (2, side**2))
    extent = Extent(0.0, (side - 1) * STEP, 0.0, (side - 1) * STEP, STEP)
    places = np.append(x, lattice[0]), np.append(y, lattice[1])
    heights = Prior(Parameters(scale, length, length, ERROR), extent, *places).draw(1, rng)[:, 0] + 0.001 * places[0]
    read = heights[: len(x)] + ERROR * rng.standard_normal(len(x))
    true = heights[len(x) :].reshape(side, side)
    return flatness.make_survey(x, y, read, accuracy=ERROR), float(np.nanmax(gap_map(true, STEP, BAR)))


def one(count, on_grid):
    survey, true = make(count, on_grid, 1.0, 1500.0, 0)
    before, start, wall = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time(), time.perf_counter()
    row = flatness.check(survey, flatness.straightedge_limit(BAR, LIMIT)).iloc[0]
    took, waited = time.process_time() - start, time.perf_counter() - wall
    memory = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    where = "on a grid" if on_grid else "anywhere"
    print(
        f"{len(survey.points):>7} {where:<9}  {took:6.1f} s of a processor, {waited:6.1f} s, {memory:6.0f} MB more; "
        f"true gap {true:.2f} mm, range {row['low_mm']:.2f} to {row['high_mm']:.2f}, {row['verdict']}",
        flush=True,
    )


def rooms(count):
    covers, wrong, undecided = 0, 0, 0
    for k in range(count):
        rng = np.random.default_rng(k)
        scale, length = (float(np.exp(rng.uniform(*np.log(ends)))) for ends in ((0.4, 4.0), (900.0, 4000.0)))
        survey, true = make(2500, bool(k % 2), scale, length, 1000 + k)
        row = flatness.check(survey, flatness.straightedge_limit(BAR, LIMIT)).iloc[0]
        covers += row["low_mm"] <= true <= row["high_mm"]
        wrong += row["verdict"] == ("fail" if true <= LIMIT else "pass")
        undecided += row["verdict"] == "undecided"
        print(f"{k + 1} surfaces: range covers {covers}, wrong {wrong}, undecided {undecided}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rooms", type=int)
    parser.add_argument("--one", nargs=2)
    options = parser.parse_args()
    if options.one:
        one(int(options.one[0]), options.one[1] == "grid")
    elif options.rooms:
        rooms(options.rooms)
    else:
        for size in ("10000", "100000"):
            for kind in ("grid", "anywhere"):
                subprocess.run([sys.executable, __file__, "--one", size, kind], check=True)
