"""How fast the straightedge is against the plain way of trying every pair of contacts.

python tests/benchmarks/straightedge.py
"""

import time

import numpy as np

from flatness.measures.bars import gap_map


def every_pair(z, steps):
    """Gaps along rows [lines, n]: every pair of contacts, all lines at once."""
    gap = np.zeros_like(z)
    n = z.shape[1]
    for reach in range(2, steps + 1):
        rise = (z[:, reach:] - z[:, : n - reach]) / reach
        for inside in range(1, reach):
            over = z[:, : n - reach] + rise * inside - z[:, inside : n - reach + inside]
            np.maximum(gap[:, inside : n - reach + inside], over, out=gap[:, inside : n - reach + inside])
    return gap


def timed(work, *arguments):
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        result = work(*arguments)
        best = min(best, time.perf_counter() - start)
    return best, result


def main():
    rng = np.random.default_rng(0)
    small, large = rng.normal(size=(100, 100)), rng.normal(size=(1000, 2000))
    print(f"100 x 100, 40 steps, 12 headings: {timed(gap_map, small, 1.0, 40.0, 12)[0]:.3f} s")
    ours, gaps = timed(gap_map, large, 1.0, 30.0, 1)
    plain, expected = timed(every_pair, large, 30)
    np.testing.assert_allclose(gaps, expected, atol=1e-12)
    print(f"1000 x 2000, 30 steps, one heading: {ours:.3f} s; every pair {plain:.3f} s; {plain / ours:.1f} times")


if __name__ == "__main__":
    main()
