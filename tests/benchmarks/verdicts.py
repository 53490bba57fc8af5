"""How often verdicts are right: simulated rooms with known truth, on grids of 1, 2 and 4 ft.

    python tests/benchmarks/verdicts.py --rooms 100 --processes 2

prints a table for DEVELOPERS.md: wrong passes, wrong fails, undecided, how often the 95 % range covers the truth, the
plain as-read rule beside it, and what share of the undecided rooms one batch of more readings decides.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from oracle import gaps

import flatness
import simulated_rooms as rooms
from flatness.limits.spot_checks import wanted_sweeps
from flatness.surface.lattice import make_surface

SHORT = "waves too short"
BATCH = "readings in a batch"


def one(task):
    feet, kind, number, near, batches, oracle = task
    shape = rooms.short_waves(feet * rooms.FT) if kind == SHORT else rooms.KINDS[kind]
    seed = [number, sorted([*rooms.KINDS, SHORT]).index(kind)]
    height, gap = rooms.room(shape, seed)
    if not 1 / near <= gap / rooms.LIMIT <= near:
        return None
    survey = rooms.survey(height, feet, number)
    found = flatness.assess(survey, rooms.limit(), spacing=rooms.SPACING, seed=number)
    row = found.table.iloc[0]
    after, extra = None, []
    if row.verdict == "undecided" and not found.judged[0].in_doubt(found.confidence):
        after = "undecided"  # the model does not fit: what is asked for is a look at one place, not a batch
    elif row.verdict == "undecided" and batches:
        places = flatness.more_readings(found)
        at = [(round(p.y / rooms.SPACING), round(p.x / rooms.SPACING)) for p in places.itertuples()]
        extra = at * int(places.times.iloc[0])
        again = rooms.survey(height, feet, number, extra)
        after = flatness.check(again, rooms.limit(), spacing=rooms.SPACING, seed=number).verdict.iloc[0]
    knowing = {} if not oracle or kind == SHORT else by_oracle(gaps(kind, survey, number), gap, found.confidence)
    return {
        "grid": f"{feet} ft",
        "rooms": kind,
        **rates(row, gap),
        **knowing,
        BATCH: len(extra) or None,
        "decided by one batch": None if after is None else after != "undecided",
        "wrong after batch": None if after is None else after == ("fail" if gap <= rooms.LIMIT else "pass"),
    }


def rates(row, gap):
    good = gap <= rooms.LIMIT
    return {
        "wrong pass": row.verdict == "pass" and not good,
        "wrong fail": row.verdict == "fail" and good,
        "undecided": row.verdict == "undecided",
        "range covers": row.low_mm <= gap <= row.high_mm,
        "as read: wrong pass": row.as_read_mm <= rooms.LIMIT and not good,
        "as read: wrong fail": row.as_read_mm > rooms.LIMIT and good,
    }


def by_oracle(drawn, gap, confidence):
    """The same rule on the largest gaps [n] mm that one who knows the family of rooms draws."""
    chance, (low, high) = np.mean(drawn <= rooms.LIMIT), np.quantile(drawn, (0.025, 0.975))
    return {
        "oracle: wrong": chance >= confidence if gap > rooms.LIMIT else chance <= 1 - confidence,
        "oracle: undecided": 1 - confidence < chance < confidence,
        "oracle: range covers": low <= gap <= high,
    }


def framed(task):
    feet, kind, number, layout, sweeps = task
    height, gap, stands_out = rooms.framed_room(kind, number)
    survey = rooms.framed_survey(height, feet, number, layout)
    found = flatness.assess(survey, rooms.limit(), seed=number)
    if sweeps:
        # the strips that the kit asks for, the largest gap on the true floor read to 1/32 in and written down
        true = make_surface(height, spacing=rooms.FINE)
        done = []
        for one in wanted_sweeps(survey, found.subject.surface, rooms.limit()):
            seen = round(float(one.gaps(true, height[None])[0]) * 32 / 25.4) * 25.4 / 32
            done.append(replace(one, gap=seen))
        found = flatness.assess(survey, rooms.limit(), seed=number, spot_checks=done)
    row = found.table.iloc[0]
    name = f"{kind}, layout {'known' if layout else 'not known'}{', swept' if sweeps else ''}"
    return {
        "grid": f"{feet} ft",
        "rooms": name,
        **rates(row, gap),
        "one stands out, wide": stands_out == "wide",
        "narrow": stands_out == "narrow",
        "wrong pass of these": row.verdict == "pass" and gap > rooms.LIMIT if stands_out == "narrow" else None,
    }


def printed(table, pooled):
    """Shares with their standard errors, a row for each grid and kind, and for each grid of the ``pooled`` rows."""
    groups = [*table.groupby(["grid", "rooms"], sort=False)]
    groups += [((grid, pooled[1]), rows) for grid, rows in table[pooled[0]].groupby("grid")]
    names = [c for c in table.columns if c not in ("grid", "rooms")]
    print("| " + " | ".join(["grid", "rooms", *names]) + " |")
    print("|" + "---|" * (len(names) + 2))
    for of, rows in groups:
        print("| " + " | ".join([*of, *(_share(rows[name].dropna().astype(float), name) for name in names)]) + " |")


def _share(values, name):
    if not len(values):
        return "-"
    mean = values.mean()
    if name == BATCH:
        return f"{mean:.0f}"
    return f"{100 * mean:.1f} ± {100 * np.sqrt(mean * (1 - mean) / len(values)):.1f} %"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=100, help="of each kind, on each grid")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--grids", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--kinds", nargs="+")
    parser.add_argument(
        "--near", type=float, default=9.0, help="only rooms whose true gap is within this factor of the limit"
    )
    parser.add_argument("--no-batches", action="store_true", help="ask for no more readings")
    parser.add_argument("--oracle", action="store_true", help="what one who knows the family of rooms could tell, too")
    parser.add_argument("--framed", action="store_true", help="framed rooms in place of plain ones")
    parser.add_argument("--no-layout", action="store_true", help="of framed rooms, their layout not known")
    parser.add_argument("--sweeps", action="store_true", help="of framed rooms, after the bar was slid as is asked for")
    options = parser.parse_args()
    started, work = time.time(), framed if options.framed else one
    kinds = options.kinds or ([*rooms.OWN, rooms.MIDWAY] if options.framed else [*rooms.KINDS, SHORT])
    more = (
        (not options.no_layout, options.sweeps)
        if options.framed
        else (options.near, not options.no_batches, options.oracle)
    )
    tasks = [(g, kind, n, *more) for g in options.grids for kind in kinds for n in range(options.rooms)]
    with ProcessPoolExecutor(options.processes) as pool:
        table = pd.DataFrame([row for row in pool.map(work, tasks, chunksize=4) if row is not None])
    print(f"{len(table)} checks, {time.time() - started:.0f} s")
    if options.framed:
        printed(table, (~table.rooms.str.startswith(rooms.MIDWAY), "all but the hump"))
    else:
        printed(table, (table.rooms != SHORT, "all but too short"))


if __name__ == "__main__":
    main()
