"""What takes how long: each job of the kit beside the plain way of doing it in the same run, and as the work grows.

``OMP_NUM_THREADS=1 python -m tests.benchmarks [--sizes 1 4 16] [--only WORDS ...]`` prints one table, a row a job, in
seconds of processor time: of a floor of 100 readings, and of 4 and 16 times as many. A sheet is of a room so many times
as large, a scan of 250,000 points and more; a room is that scan, read to as many readings a surface. The panel is shown
by Chromium, and takes what its kernel does until its map is there. The plain way takes so many times as long for the
same answer, at the greatest size that it does in reasonable time (in brackets); a row whose library is not installed
says so.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import importlib.util
import io
import json
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter
from tests.benchmarks import scans

import flatness

TESTS = Path(__file__).resolve().parents[1]
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
    def job(self):
        """A job file of it that needs work: the limit is tight."""
        path = self.rows.with_name("job.toml")
        limit = '{ kind = "straightedge", length = "10 ft", allowed = "3/32 in" }'
        path.write_text(f'title = "A floor"\nsurveys.before = "floor.csv"\nlimits = [{limit}]\n')
        return path

    @cached_property
    def scan(self):
        path = self.rows.with_name("scan.ply")
        scans.write(path, 250_000 * self.times)
        return path

    @cached_property
    def room(self):
        """A room file: the scan with about as many readings a surface."""
        folder = Path(tempfile.mkdtemp())
        flatness.read_scan(self.scan, cell=396.0 / self.times**0.5).write(folder)
        return folder / "room.toml"

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


def sheet(floor):
    length, width = (f"{round(side * floor.times**0.5)}ft" for side in (20, 16))
    size = ("--length", length, "--width", width, "--limit", "wood-glued", "--accuracy", "1/32in")
    return command("sheet", *size, "--out", tempfile.mkdtemp())


def papers(floor):
    command("paper", "owner", floor.job, "--out", tempfile.mkdtemp())


@cache
def in_chromium():
    """The tests' own way to a notebook in a browser, and a notebook with one empty cell."""
    sys.path.insert(0, str(TESTS))
    spec = importlib.util.spec_from_file_location("browsers", TESTS / "browser/conftest.py")
    tools = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tools)
    from playwright.sync_api import sync_playwright

    lab, driver = tools.Lab(Path(tempfile.mkdtemp())), sync_playwright().start()
    atexit.register(lab.stop)
    book = {"cells": [{"cell_type": "code", "id": "a", "metadata": {}, "outputs": [], "execution_count": None}]}
    book["cells"][0]["source"] = ""
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    (lab.folder / "blank.ipynb").write_text(json.dumps(book | {"metadata": kernel, "nbformat": 4, "nbformat_minor": 5}))
    chromium = driver.chromium.launch(executable_path=tools.shutil.which("chromium"), args=tools.FLAGS)
    return tools, tools.Notebook(chromium.new_page(viewport=tools.VIEWPORT), lab, "blank.ipynb")


def shown(floor):
    """A panel until its map stands in the browser: what the kernel took."""
    tools, book = in_chromium()
    now = "import time; print(time.process_time())"
    book.new_panel("import flatness.panels")  # what is imported once is not of the panel
    before = float(book.ask(now))
    book.new_panel(f"panel = flatness.panels.check_panel({str(floor.rows)!r}, 'wood-nailed-10ft')\npanel")
    tools.drawn(book.page, '.fk-map:not([style*="none"])')
    return Took(float(book.ask(now)) - before)


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
    ("plan", lambda f: flatness.plan_corrections(f.survey, limits=LIMIT, spacing=FINE), None, 16),
    ("ways", ways, None, 16),
    ("compare", lambda f: flatness.compare(f.survey, f.after, align="none"), ("pandas, no errors", merged, 16), 16),
    ("sheet", sheet, None, 4),
    ("room", lambda f: flatness.read_room(f.room).checks, None, 16),
    ("light", lambda f: command("light", f.rows), None, 16),
    (
        "scan",
        lambda f: flatness.read_scan(f.scan),
        ("load all, loop over cells, one surface", lambda f: scans.read_plainly(f.scan), 16),
        16,
    ),
    ("owner's page", papers, None, 4),
    ("panel in the browser", shown, None, 4),
)


MADE = {"draw 200 surfaces": "likely", "room": "room", "scan": "scan", "owner's page": "job"}


class Took(float):
    """Processor time [s] of a job that another process did."""


def spent():
    """Processor time of this process and its children [s]."""
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def timed(work, floor):
    """Processor time [s]: the better of two where it is short."""
    best = np.inf
    for _ in range(2):
        start = spent()
        done = work(floor)
        best = min(best, done if isinstance(done, Took) else spent() - start)
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
        for floor in floors.values():  # what a job is done to is made before
            _ = getattr(floor, MADE.get(name, "survey"))
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
