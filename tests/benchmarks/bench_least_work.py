"""How long the least work takes, and how much less it is than a dead-flat floor.

Run by hand: ``python tests/benchmarks/bench_least_work.py [headings] [largest lattice, nodes a side]``. Rooms are
simulated: Gaussian noise smoothed over some nodes, 6 mm standard deviation, a slight slope; 3 mm allowed under a
3 m straightedge on a 150 mm lattice. Times are of the processor, so that other work on the machine counts little.

``python tests/benchmarks/bench_least_work.py plan [headings] [largest lattice]`` times whole plans instead: read every
600 mm with an error of 0.8 mm, 4 mm standard deviation, 5 mm allowed, planing 4 mm at most, 200 draws.
"""

import sys
import time

import numpy as np
from scipy.ndimage import gaussian_filter

import flatness
from flatness.measures.bars import gap_map
from flatness.planning.least_work import least_work
from flatness.planning.substrate import Beneath
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


def read(surface, every=4, error=0.8, seed=1):
    """Readings at every so many nodes of a room."""
    z = surface.height
    iy, ix = (index.ravel() for index in np.mgrid[0 : z.shape[0] : every, 0 : z.shape[1] : every])
    height = z[iy, ix] + np.random.default_rng(seed).normal(0, error, len(ix))
    return flatness.make_survey(ix * SPACING, iy * SPACING, height, accuracy=error)


def plans(headings=12, largest=100):
    print("headings nodes smoothed  cpu s  planned to  chance   gap     patches")
    sheathing = Beneath("sheathing", may_be_planed=True, most_planed=4.0)
    limit = flatness.straightedge_limit(LENGTH, 5.0)
    for shape in ((33, 41), (41, 61), (69, 69), (101, 101)):
        for smooth in (10.0, 5.0, 2.5):
            if max(shape) > largest:
                continue
            survey = read(simulated_room(shape, smooth, deviation=4.0))
            start = time.process_time()
            plan = flatness.plan_corrections(
                survey, limits=limit, spacing=SPACING, headings=headings, beneath=sheathing
            )
            spent = time.process_time() - start
            print(
                f"{headings:8} {plan.change.size:5} {smooth:8} {spent:6.1f} {plan.settings['planned_to']:11.2f}"
                f" {plan.after['chance'][0]:7.2f}   {plan.gap:.1e} {len(plan.patches):8}",
                flush=True,
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["plan"]:
        plans(*(int(arg) for arg in sys.argv[2:]))
    else:
        main(*(int(arg) for arg in sys.argv[1:]))
