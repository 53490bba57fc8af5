"""Readings taken one after another: how many until the verdict stands, how often it is wrong, which slips are seen.

    python tests/benchmarks/taking.py --rooms 60 --slips 40
    python tests/benchmarks/taking.py --rooms 20 --seed 40 --slips 0 --to FOLDER   # a part of it
    python tests/benchmarks/taking.py --pool FOLDER                                # all parts so far

Rooms with known truth (``simulated_rooms.py``), readings good to 1/32 in and typed to 1/16 in. Stations every 2 ft or,
where the members are known, on every member, walked as ``flatness take`` has them walked; the verdict is looked at when
a line ends. Beside it the verdict of the full grid. Then fine floors of 14 ft x 20 ft with slips: of each the page asks
at once, once the next readings do not bear it out, or never; and what one would see who knows the true covariance.
"""

import argparse
import csv
import math
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
import flatness
import simulated_rooms as rooms
from flatness.lengths import format_length
from flatness.surface.likely import likely_surface
from flatness.survey.readings import Framing
from flatness.taking.book import new_book
from flatness.taking.questions import EARLIER
from flatness.taking.session import Taking

STEP = 2 * rooms.FT
LINE = 1050.0  # height of the laser's line over the floor's datum [mm]
SLIPS = {"1/4 in": 6.35, "1/2 in": 12.7, "1 in": 25.4}
PLAIN, FRAMED = tuple(rooms.KINDS), tuple(rooms.OWN)


def typed(mm):
    """A drop as a person types it, to 1/16 in."""
    return format_length(mm, "in", 16).removesuffix('"')


def begun(folder, name, length, width, framing=None):
    path = Path(folder) / f"{name}.csv"
    accuracy = rooms.READING_ERROR
    # where the layout is stated stations stand on every member, 4 ft apart along it, as ``flatness sheet`` has them
    step = STEP if framing is None else 2 * STEP
    new_book(path, length=length, width=width, step=step, accuracy=accuracy, framing=framing)
    return Taking.open(path, [rooms.limit()])


def walked(taking, height_at, seed):
    """The verdict and after how many readings it stood; how many readings were asked of, though none slipped."""
    rng, asked, seconds = np.random.default_rng([seed, 91]), 0, 0.0
    while taking.here is not None and not taking.enough:
        here = taking.here
        begin = time.perf_counter()
        taking.enter(typed(LINE - height_at(here.x, here.y) + rng.normal(0, rooms.READING_ERROR)))
        seconds = max(seconds, time.perf_counter() - begin)
        if taking.question is not None:
            asked += 1
            taking.keep()
        if taking.due:
            # before the last line of the coarse grid draws would change neither the verdict nor the walk
            coarse = {one.line for one in taking.walk.coarse if one.number not in taking.done}
            taking.take_look(taking.look() if len(coarse) < 2 else early_look(taking))
            while taking.question is not None:
                asked += 1
                taking.keep()
    return taking.decided or "undecided", len(taking.readings), asked, seconds


def early_look(taking):
    """A look without draws: what the surface is like, and which readings are likely slips."""
    likely, taking.due = likely_surface(taking.survey()), False
    found = SimpleNamespace(likely=likely, slips=likely.slips)
    return SimpleNamespace(assessment=found, decided="", worth={})


def full_grid(taking, height_at, seed):
    """The verdict where all stations are read before it is looked at."""
    rng = np.random.default_rng([seed, 91])
    x, y = taking.walk.xy.T
    read = [height_at(*place) + rng.normal(0, rooms.READING_ERROR) for place in zip(x, y, strict=True)]
    survey = flatness.make_survey(x, y, read, accuracy=rooms.READING_ERROR, framing=taking.header.framing)
    return flatness.assess(survey, rooms.limit()).verdict


def room_of(kind, seed):
    """Height at x, y [mm], the true gap, length and width, and the members."""
    if kind in FRAMED:
        height, gap, _ = rooms.framed_room(kind, seed)
        framing, spacing = Framing(rooms.JOISTS, "y", 0.0), rooms.FINE
    else:
        height, gap = rooms.room(rooms.KINDS[kind], seed)
        framing, spacing = None, rooms.SPACING
    ny, nx = height.shape

    def at(x, y):
        return float(height[round(y / spacing), min(round(x / spacing), nx - 1)])

    return at, gap, (nx - 1) * spacing, (ny - 1) * spacing, framing


COLUMNS = ("kind", "seed", "gap_mm", "stations", "readings", "verdict", "full", "asked", "slowest_ms")


def decisions(count, seed, kinds):
    """A row a room; one of each kind after the other, so that what is cut short has as many of each."""
    for number in range(seed, seed + count):
        for kind in kinds:
            at, gap, length, width, framing = room_of(kind, number)
            with tempfile.TemporaryDirectory() as folder:
                taking = begun(folder, "room", length, width, framing)
                verdict, readings, asked, seconds = walked(taking, at, number)
                full = full_grid(taking, at, number)
                taking.close()
            yield kind, number, gap, len(taking.walk.stations), readings, verdict, full, asked, 1000 * seconds


def print_decisions(rows):
    print(
        "| rooms | of | readings, median | of the full grid | wrong | undecided | full grid: wrong | undecided "
        "| asked falsely |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    table = pd.DataFrame(rows, columns=COLUMNS)
    for kind, some in [*table.groupby("kind", sort=False), ("all", table)]:
        truth = np.where(some["gap_mm"] <= rooms.LIMIT, "pass", "fail")
        shares = [
            part
            for verdict in (some["verdict"], some["full"])
            for part in ((verdict != truth) & (verdict != "undecided"), verdict == "undecided")
        ]
        percents = " | ".join(map(percent, shares))
        median = (some["readings"] / some["stations"]).median()
        print(
            f"| {kind} | {len(some)} | {some['readings'].median():.0f} | {100 * median:.0f} % | {percents} | "
            f"{some['asked'].sum()} of {some['readings'].sum()} |"
        )
    print(f"\nslowest reading: {table['slowest_ms'].max():.0f} ms")


def percent(hits):
    """A share with its standard error."""
    share = float(np.mean(hits))
    error = math.sqrt(share * (1 - share) / len(hits))
    return f"{100 * share:.1f} ± {100 * error:.1f} %" if error else f"{100 * share:.0f}"


SLIPPED = ("kind", "seed", "slips", "at once", "soon", "never", "named", "false", "readings")


def slips(count, seed):
    """A row a floor."""
    for kind, size in SLIPS.items():
        for number in range(seed, seed + count):
            found = walk_with_slips(number, size)
            yield kind, number, 3, *(found[name] for name in SLIPPED[3:])


def print_slips(rows):
    print("| slip | of | at once | soon after | never | named rightly | for nothing |")
    print("|---|---|---|---|---|---|---|")
    for kind, some in pd.DataFrame(rows, columns=SLIPPED).groupby("kind", sort=False):
        sums = some[list(SLIPPED[2:])].sum()
        shares = [percent(np.arange(sums["slips"]) < sums[name]) for name in ("at once", "soon", "never", "named")]
        false, read = sums["false"], sums["readings"]
        print(f"| {kind} | {sums['slips']} | {' | '.join(shares)} | {false} of {read} ({100 * false / read:.2f} %) |")


def walk_with_slips(seed, size):
    """A fine floor of which three readings, not of the first, slip; each question is answered by the truth."""
    survey, _ = rooms.fine_floor(seed)
    heights = {(round(a), round(b)): c for a, b, c in zip(*survey.xyz(), strict=True)}
    rng = np.random.default_rng([seed, 92])
    found, wrong = dict.fromkeys(SLIPPED[3:], 0), set()
    with tempfile.TemporaryDirectory() as folder:
        taking = begun(folder, "floor", 14 * rooms.FT, 20 * rooms.FT)

        def meant(station):
            return LINE - heights[round(station.x), round(station.y)]

        found["readings"] = len(taking.walk.stations)
        at = set(rng.choice(np.arange(1, found["readings"]), 3, replace=False).tolist())
        while (here := taking.here) is not None:
            off = 0.0
            if not taking.again and len(taking.done) in at:
                at.discard(len(taking.done))
                off = size * rng.choice([-1, 1])
                wrong.add(here.number)
            taking.enter(typed(meant(here) + off))
            while (question := taking.question) is not None:
                number = question.station.number
                if number in wrong:
                    found["soon" if question.about == EARLIER else "at once"] += 1
                    found["named"] += any(abs(one.mm - meant(question.station)) < 1.0 for one in question.slips)
                    wrong.discard(number)
                    taking.read_again()
                    taking.enter(typed(meant(question.station)))
                else:
                    found["false"] += 1
                    taking.keep()
            if taking.due:
                taking.take_look(early_look(taking))
        found["never"] = len(wrong)
        taking.close()
    return found


def print_oracle(count, seed):
    """How many slips who knows the true covariance would see at once, beyond so many errors."""
    taken, off, errors = None, [], []
    for number in range(seed, seed + count):
        survey, _ = rooms.fine_floor(number)
        heights = {(round(a), round(b)): c for a, b, c in zip(*survey.xyz(), strict=True)}
        if taken is None:
            with tempfile.TemporaryDirectory() as folder:
                taking = begun(folder, "floor", 14 * rooms.FT, 20 * rooms.FT)
                taken = order_of(taking.walk)
                taking.close()
        rng = np.random.default_rng([number, 79])  # as ``fine_floor`` draws its length, its phases and its scale
        rng.normal(size=(2, 200))
        length, _, scale = rng.uniform(4, 10) * rooms.FT, rng.uniform(0, 2 * np.pi, 200), rng.uniform(0.1, 0.8)
        z = np.round(np.array([heights[round(x), round(y)] for x, y in taken]) / 1.5875) * 1.5875
        apart = ((taken[:, None] - taken[None]) ** 2).sum(axis=-1)
        error = rooms.READING_ERROR**2 + 1.5875**2 / 12
        among = scale**2 * np.exp(-apart / (2 * length**2)) + 0.002**2 * (taken @ taken.T) + 1e6
        low = np.linalg.cholesky(among + error * np.eye(len(z)))
        errors.append(np.diag(low)[1:])
        off.append((np.linalg.solve(low, z) * np.diag(low))[1:])
    off, errors = np.array(off), np.array(errors)
    for beyond in (4.0, 2.81):
        seen = [
            100 * np.mean([abs(off + sign * size) > beyond * errors for sign in (-1, 1)]) for size in SLIPS.values()
        ]
        told = ", ".join(f"{kind} {share:.1f} %" for kind, share in zip(SLIPS, seen, strict=True))
        false = 100 * np.mean(abs(off) > beyond * errors)
        print(f"true covariance, beyond {beyond} errors: {told}; for nothing {false:.2f} %")


def order_of(walk):
    """[n, 2] mm, as they are walked."""
    done, here, found = set(), None, []
    while (here := walk.following(done, here)) is not None:
        done.add(here.number)
        found.append((here.x, here.y))
    return np.array(found)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=60, help="of each kind")
    parser.add_argument("--slips", type=int, default=40, help="fine floors with three slips each")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--kinds", nargs="*", default=(*PLAIN, *FRAMED), choices=(*PLAIN, *FRAMED))
    parser.add_argument("--to", type=Path, help="a folder: the rows of each room and floor are added to files there")
    parser.add_argument("--pool", type=Path, help="print what is in such a folder, and simulate nothing")
    options = parser.parse_args()
    parts = (
        ("slips.csv", SLIPPED, slips(options.slips, options.seed), print_slips),
        ("rooms.csv", COLUMNS, decisions(options.rooms, options.seed, options.kinds), print_decisions),
    )
    for name, columns, found, shown in parts:
        if options.pool is not None:
            table = pd.read_csv(options.pool / name, names=columns).drop_duplicates(["kind", "seed"])
            shown(list(table.itertuples(index=False)))
            continue
        rows = []
        for row in found:
            rows.append(row)
            if options.to is not None:
                with (options.to / name).open("a") as file:
                    csv.writer(file).writerow(row)
        if rows:
            shown(rows)
            if name == "slips.csv":
                print_oracle(options.slips, options.seed)


if __name__ == "__main__":
    main()
