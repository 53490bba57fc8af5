"""How often verdicts are right: simulated rooms with known truth, on grids of 1, 2 and 4 ft.

    python tests/benchmarks/verdicts.py --rooms 100 --processes 2

prints a table for DEVELOPERS.md: wrong passes, wrong fails, undecided, how often the 95 % range covers the truth, the
plain as-read rule beside it, and what share of the undecided rooms one batch of more readings decides.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
import flatness
import simulated_rooms as rooms

SHORT = "waves too short"
BATCH = "readings in a batch"


def one(task):
    feet, kind, number, near, batches = task
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
    good = gap <= rooms.LIMIT
    return {
        "grid": f"{feet} ft", "rooms": kind, "wrong pass": row.verdict == "pass" and not good,
        "wrong fail": row.verdict == "fail" and good, "undecided": row.verdict == "undecided",
        "range covers": row.low_mm <= gap <= row.high_mm,
        "as read: wrong pass": row.as_read_mm <= rooms.LIMIT and not good,
        "as read: wrong fail": row.as_read_mm > rooms.LIMIT and good,
        BATCH: len(extra) or None,
        "decided by one batch": None if after is None else after != "undecided",
        "wrong after batch": None if after is None else after == ("fail" if good else "pass"),
    }  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=100, help="of each kind, on each grid")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--grids", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--kinds", nargs="+", default=[*rooms.KINDS, SHORT])
    parser.add_argument(
        "--near", type=float, default=9.0, help="only rooms whose true gap is within this factor of the limit"
    )
    parser.add_argument("--no-batches", action="store_true", help="ask for no more readings")
    options = parser.parse_args()
    tasks = [
        (g, kind, n, options.near, not options.no_batches)
        for g in options.grids for kind in options.kinds for n in range(options.rooms)
    ]  # fmt: skip
    started = time.time()
    with ProcessPoolExecutor(options.processes) as pool:
        table = pd.DataFrame([row for row in pool.map(one, tasks, chunksize=4) if row is not None])
    print(f"{len(table)} checks, {time.time() - started:.0f} s")
    share = table.groupby(["grid", "rooms"], sort=False).agg(lambda column: 100 * column.dropna().astype(float).mean())
    fair = table[table.rooms != SHORT].drop(columns="rooms")
    total = fair.groupby("grid").agg(lambda column: 100 * column.dropna().astype(float).mean())
    total.index = pd.MultiIndex.from_product([total.index, ["all but too short"]], names=["grid", "rooms"])
    both = pd.concat([share, total]).reset_index()
    names = [c for c in both.columns if c not in ("grid", "rooms")]
    print("| " + " | ".join(["grid", "rooms", *names]) + " |")
    print("|" + "---|" * (len(names) + 2))
    for row in both.to_dict("records"):
        numbers = [_printed(row[name], name) for name in names]
        print("| " + " | ".join([row["grid"], row["rooms"], *numbers]) + " |")


def _printed(mean, name):
    if np.isnan(mean):
        return "-"
    return f"{mean / 100:.0f}" if name == BATCH else f"{mean:.1f} %"


if __name__ == "__main__":
    main()
