"""What takes how long: each job of the kit beside the plain way of doing it in the same run, and as the work grows.

``OMP_NUM_THREADS=1 python -m tests.benchmarks [--sizes 1 4 16] [--only WORDS ...]`` prints one table, a row a job, in
seconds of processor time: of a floor of 100 readings, and of 4 and 16 times as many. The plain way takes so many times
as long for the same answer, at the greatest size that it does in reasonable time (in brackets); a row whose library is
not installed says so.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter

import flatness

HERE = Path(__file__).resolve()
SAMPLES = HERE.parents[2] / "sample_surveys"
FT, STEP, FINE = 304.8, 609.6, 203.2
LIMIT = flatness.straightedge_limit(10 * FT, 25.4 / 4, name="agreed")
SIDE = 10  # stations a side, of the smallest floor


@dataclass
class Floor:
    """A gentle floor of so many times 100 readings, 2 ft apart, good to 1/32 in."""

    times: int

    @cached_property
    def grid(self):
        side = round(SIDE * self.times**0.5)
        rng = np.random.default_rng(self.times)
        z = gaussian_filter(rng.normal(size=(side, side)), 2, mode="reflect")
        x, y = np.meshgrid(np.arange(side) * STEP, np.arange(side) * STEP)
        return x, y, 2.0 * z / z.std() + rng.normal(0, 25.4 / 32, z.shape)

    @cached_property
    def survey(self):
        return flatness.make_survey(*self.grid, accuracy=25.4 / 32)

    @cached_property
    def after(self):
        x, y, z = self.grid
        return flatness.make_survey(
            x, y, z + np.random.default_rng(9).normal(0, 25.4 / 32, z.shape), accuracy=25.4 / 32
        )

    @cached_property
    def surface(self):
        return self.survey.surface_at(FINE)

    @cached_property
    def rows(self):
        """As a list on disk, with what the kit asks of a file."""
        x, y, z = self.grid
        text = "# surface: floor\n# unit: mm\n# reading: height\n# accuracy: 0.8 mm\nx,y,reading\n"
        path = Path(tempfile.mkdtemp()) / "floor.csv"
        path.write_text(
            text + "".join(f"{a:.1f},{b:.1f},{c:.2f}\n" for a, b, c in zip(*map(np.ravel, (x, y, z)), strict=True))
        )
        return path

    @cached_property
    def likely(self):
        return flatness.likely_surface(self.survey, FINE)


def every_pair(floor):
    """The gap under a bar by every pair of contacts, node by node, along rows and columns."""
    worst, steps = 0.0, round(10 * FT / FINE)
    for z in (floor.surface.height, floor.surface.height.T):
        for line in z:
            for a in range(len(line)):
                for b in range(a + 2, min(a + steps, len(line) - 1) + 1):
                    for k in range(a + 1, b):
                        worst = max(worst, line[a] + (line[b] - line[a]) * (k - a) / (b - a) - line[k])
    return worst


def two_headings(floor):
    from flatness.measures.bars import gap_map

    return float(np.nanmax(gap_map(floor.surface.height, FINE, 10 * FT, 2)))


def regressed(floor):
    """The likely surface by a general library's Gaussian process, its parameters fitted once."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    x, y, z = (np.ravel(part) for part in floor.grid)
    kernel = ConstantKernel(4.0) * Matern([1500.0, 1500.0], nu=2.5)
    process = GaussianProcessRegressor(kernel, alpha=(25.4 / 32) ** 2, n_restarts_optimizer=2, random_state=0)
    process.fit(np.column_stack([x, y]), z - z.mean())
    gx, gy = np.meshgrid(floor.surface.x, floor.surface.y)
    return process.predict(np.column_stack([gx.ravel(), gy.ravel()]), return_std=True)


def by_pandas(floor):
    import pandas as pd

    return pd.read_csv(floor.rows, comment="#")["reading"].mean()


def whole_program(floor):
    """The least work by one linear program with a row for every bar at once, along rows and columns."""
    import highspy  # noqa: F401  the same solver
    from scipy.optimize import linprog
    from scipy.sparse import coo_array, hstack

    z, steps = floor.surface.height, round(10 * FT / FINE)
    number = np.arange(z.size).reshape(z.shape)
    rows, columns, values, right = [], [], [], []
    for lines in (number, number.T):
        for line in lines:
            for a in range(len(line)):
                for b in range(a + 2, min(a + steps, len(line) - 1) + 1):
                    for k in range(a + 1, b):
                        t, n = (k - a) / (b - a), len(right)
                        rows += [n, n, n]
                        columns += [line[a], line[b], line[k]]
                        values += [1 - t, t, -1.0]
                        right.append(4.0 - (1 - t) * z.flat[line[a]] - t * z.flat[line[b]] + z.flat[line[k]])
    a = coo_array((values, (rows, columns)), shape=(len(right), z.size)).tocsr()
    return linprog(np.ones(2 * z.size), hstack([a, -a]), right, method="highs").fun


def least_work(floor):
    from flatness.planning.least_work import least_work

    return least_work(floor.surface, [(10 * FT, 4.0)], headings=2).cost


def merged(floor):
    before, after = (one.points[["x", "y", "height"]] for one in (floor.survey, floor.after))
    both = before.merge(after, on=["x", "y"])
    return (both["height_y"] - both["height_x"]).describe()


def command(*arguments):
    """A command of the kit, in this process, its words thrown away."""
    from flatness.__main__ import main

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        code = main([str(one) for one in arguments])
    assert code in (0, 1, 3), arguments


def imported(name):
    def run(_):
        subprocess.run([sys.executable, "-c", f"import {name}"], check=True)

    return run


def sheet(_):
    size = ("--length", "20ft", "--width", "16ft", "--limit", "wood-glued", "--accuracy", "1/32in")
    return command("sheet", *size, "--out", tempfile.mkdtemp())


def papers(_):
    folder = tempfile.mkdtemp()
    command("paper", "owner", SAMPLES / "loft_floor/job.toml", "--out", folder)


def panel(floor):
    from flatness.panels.check import check_panel

    return check_panel(floor.rows, "wood-nailed-10ft").box


def ways(floor):
    members = flatness.member_layout(0, 406.4, "y", until=float(floor.grid[0].max()))
    return flatness.plan_ways(floor.survey, LIMIT, members=members, spacing=FINE)


# a job, how it is done, the plain way, and the sizes at which that is tried
JOBS: tuple[tuple[str, Callable, tuple[str, Callable, int] | None, int], ...] = (
    ("import", imported("flatness"), ("import pandas", imported("pandas"), 1), 1),
    ("read a file", lambda f: flatness.read_survey(f.rows), ("pandas, no checks", by_pandas, 16), 16),
    ("gap under a bar", two_headings, ("every pair in a loop", every_pair, 4), 16),
    (
        "likely surface",
        lambda f: flatness.likely_surface(f.survey, FINE),
        ("scikit-learn, 2 restarts", regressed, 4),
        16,
    ),
    ("draw 200 surfaces", lambda f: f.likely.draw(200, 0), None, 16),
    ("check", lambda f: flatness.assess(f.survey, LIMIT), None, 16),
    ("least work", least_work, ("one program with every bar", whole_program, 1), 4),
    ("plan", lambda f: flatness.plan_corrections(f.survey, limits=LIMIT, spacing=FINE), None, 4),
    ("ways", ways, None, 4),
    ("compare", lambda f: flatness.compare(f.survey, f.after, align="none"), ("pandas, no errors", merged, 16), 16),
    ("sheet", sheet, None, 1),
    ("room", lambda _: flatness.read_room(SAMPLES / "gallery/room.toml").checks, None, 1),
    ("light", lambda _: command("light", SAMPLES / "gallery_walls/east.csv"), None, 1),
    ("owner's page", papers, None, 1),
    ("panel of a check", panel, None, 4),
)


def spent():
    """Processor time of this process and its children [s]."""
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def timed(work, floor):
    """Processor time [s]: the better of two where it is short."""
    best = np.inf
    for _ in range(2):
        start = spent()
        work(floor)
        best = min(best, spent() - start)
        if best > 2:
            break
    return best


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[1, 4, 16])
    parser.add_argument("--only", nargs="+", default=[], help="jobs whose names hold one of these words")
    options = parser.parse_args()
    floors = {times: Floor(times) for times in options.sizes}
    for floor in floors.values():
        _ = floor.survey, floor.after, floor.surface, floor.rows
    heads = [f"{100 * times} readings" for times in options.sizes]
    print(f"| job | {' | '.join(heads)} | the plain way | plain takes |\n|{'---|' * (len(heads) + 3)}", flush=True)
    for name, work, plain, most in JOBS:
        if options.only and not any(word in name for word in options.only):
            continue
        if name == "draw 200 surfaces":
            _ = [floor.likely for floor in floors.values()]
        took = {times: timed(work, floor) for times, floor in floors.items() if times <= most}
        beside, ratio = "-", "-"
        if plain is not None:
            beside, other, largest = plain
            at = max(times for times in took if times <= largest)
            try:
                ratio = f"{timed(other, floors[at]) / max(took[at], 1e-4):.2g} times ({100 * at})"
            except ImportError as error:
                ratio = f"{error.name} is not installed"
        cells = [f"{took[times]:.2f} s" if times in took else "-" for times in options.sizes]
        print(f"| {name} | {' | '.join(cells)} | {beside} | {ratio} |", flush=True)


if __name__ == "__main__":
    main()
