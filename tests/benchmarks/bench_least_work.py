"""How long the least work takes, and how much less it is than a dead-flat floor.

Run by hand: ``python tests/benchmarks/bench_least_work.py [headings] [largest lattice, nodes a side]``. Rooms are
simulated: Gaussian noise smoothed over some nodes, 6 mm standard deviation, a slight slope; 3 mm allowed under a
3 m straightedge on a 150 mm lattice. Times are of the processor, so that other work on the machine counts little.
"""

import sys
import time

import numpy as np
from scipy.ndimage import gaussian_filter

from flatness.corrections.least_work import least_work
from flatness.measures.bars import gap_map
from flatness.surface.lattice import make_surface

SPACING, LENGTH, ALLOWED = 150.0, 3000.0, 3.0
SHAPES = ((33, 41), (40, 60), (70, 70), (100, 100))


def simulated_room(shape, smooth, seed=0, deviation=6.0):
    rng = np.random.default_rng(seed)
    z = gaussian_filter(rng.normal(size=shape), smooth, mode="reflect")
    gy, gx = np.indices(shape)
    return make_surface(z / z.std() * deviation + 0.05 * gx + 0.08 * gy, SPACING)


def main(headings=4, largest=100):
    print("headings nodes smoothed rounds   rows  cpu s   gap      of dead flat  worst after, less allowed")
    for shape in SHAPES:
        for smooth in (10.0, 5.0, 2.5):
            if max(shape) > largest:
                continue
            surface = simulated_room(shape, smooth)
            start = time.process_time()
            found = least_work(surface, [(LENGTH, ALLOWED)], headings=headings)
            spent = time.process_time() - start
            worst = np.nanmax(gap_map(surface.height + found.change, SPACING, LENGTH, headings)) - ALLOWED
            print(
                f"{headings:8} {surface.height.size:5} {smooth:8} {found.rounds:6} {found.placements:6} {spent:6.2f}"
                f"   {found.gap:.1e}  1/{1 / found.ratio:<10.1f}  {worst:+.1e} mm"
            )


if __name__ == "__main__":
    main(*(int(arg) for arg in sys.argv[1:]))
