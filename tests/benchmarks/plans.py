"""Plans on rooms of known truth: build the floor, read it with errors, do what the plan says, and measure the floor.

``python tests/benchmarks/plans.py [--rooms 60] [--seed 0] [--processes 1] [--way patches] [--layout]``

Each room is 16 ft x 20 ft: gentle ground, and one to three of a ridge, a dip and a proud joist planted on it. It is
read every 2 ft, good to 1/32 in, and planned for 3/16 in under 10 ft; boards may be planed by 3/8 in. What the plan
says is done on the truth: each place is brought to its set height with an error of setting of 1/32 in, made anew about
every 2 ft; fill only adds, planing only takes off. A plan without set heights (an earlier version of the kit) is done
as the change that it gives. Nothing in the judging comes from the plan's own estimate.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

import flatness
from flatness.measures.bars import gap_map
from flatness.planning.substrate import Beneath
from flatness.survey.readings import Framing

FT, SPACING = 304.8, 152.4
BAR, LIMIT, ERROR = 10 * FT, 4.7625, 25.4 / 32
X, Y = np.meshgrid(np.arange(33) * SPACING, np.arange(41) * SPACING)
FT2 = FT**2
TOUCHED_MM = 0.4  # 1/64 in: less is no work


def ground(rng):
    """Waves of 10 to 20 ft whose largest gap under the bar is about a quarter of the limit."""
    k, phase = rng.normal(size=(2, 60)) / (rng.uniform(6, 10) * FT), rng.uniform(0, 2 * np.pi, 60)
    waves = np.cos(X[..., None] * k[0] + Y[..., None] * k[1] + phase).sum(axis=-1)
    return waves * 0.25 * LIMIT / largest(waves) + rng.normal(0, 0.001) * X + rng.normal(0, 0.001) * Y


def bump(distance):
    """1 at distance 0, 0 from 1 on."""
    return 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.abs(distance), 1))


def ridge(rng):
    along, across = (X, Y) if rng.random() < 0.5 else (Y, X)
    wide, long = rng.uniform(1.75, 3) * FT, rng.uniform(4, 7) * FT
    middle = rng.uniform(0.25, 0.75) * along.max(), rng.uniform(0.25, 0.75) * across.max()
    return rng.uniform(6, 9) * bump((across - middle[1]) / wide) * bump((along - middle[0]) / long)


def dip(rng):
    rx, ry = rng.uniform(2.5, 4.5, 2) * FT
    away = np.hypot((X - rng.uniform(0.25, 0.75) * X.max()) / rx, (Y - rng.uniform(0.25, 0.75) * Y.max()) / ry)
    return -rng.uniform(6, 11) * bump(away)


def proud_joist(rng):
    """On a line of stations: one that lies between two lines is for the check to find, not for the plan."""
    line = 2 * FT * rng.integers(1, 8)
    along = bump((Y - rng.uniform(0.3, 0.7) * Y.max()) / (rng.uniform(5, 8) * FT))
    return rng.uniform(6, 9) * np.maximum(0, 1 - np.abs(X - line) / (16 * 25.4)) * along


def largest(height):
    return float(np.nanmax(gap_map(height, SPACING, BAR, 12)))


def room(seed):
    """True heights, and the area planted on them, of a room that needs work: half over the limit, or more."""
    rng = np.random.default_rng(seed)
    while True:
        kinds = rng.permutation([ridge, dip, proud_joist])[: rng.integers(1, 4)]
        planted = sum(kind(rng) for kind in kinds)
        height = ground(rng) + planted
        if largest(height) > 1.5 * LIMIT:
            return height, float((np.abs(planted) > 1.0).sum()) * SPACING**2, [kind.__name__ for kind in kinds]


def read(height, rng, framing=None):
    part = np.s_[::4, ::4]
    survey = flatness.make_survey(
        X[part].ravel(),
        Y[part].ravel(),
        (height[part] + rng.normal(0, ERROR, height[part].shape)).ravel(),
        accuracy=ERROR,
        unit="in",
    )
    return replace(survey, framing=framing)


def setting_errors(rng):
    knots = rng.normal(0, ERROR, (11, 9))
    rows, columns = np.arange(41) / 4, np.arange(33) / 4
    wy, wx = (np.maximum(0, 1 - np.abs(at[:, None] - np.arange(n))) for at, n in ((rows, 11), (columns, 9)))
    return wy @ knots @ wx.T


def done(plan, height, rng):
    """The truth once the plan is carried out on it."""
    change = np.nan_to_num(plan.change)
    if not hasattr(plan, "set_height"):
        return height + change
    target = plan.set_height + setting_errors(rng)
    planed, filled = plan.action("plane") | plan.action("engineer"), plan.action("fill")
    after = np.where(np.isfinite(plan.set_height), target, height)
    after = np.where(planed, np.minimum(after, height), after)
    return np.where(filled, np.maximum(after, height), after)


def one(task):
    seed, way, times, framing = task
    height, planted, kinds = room(seed)
    rng = np.random.default_rng([seed, 1])
    options = {"limits": flatness.straightedge_limit(BAR, LIMIT, name="agreed"), "spacing": SPACING}
    options["beneath"] = Beneath("boards", True, most_planed=9.525)
    options |= {} if way is None else {"way": way}
    start = time.perf_counter()
    plan = flatness.plan_corrections(read(height, rng, framing), seed=seed, **options)
    seconds = time.perf_counter() - start
    gaps = [largest(done(plan, height, np.random.default_rng([seed, 2, k]))) for k in range(times)]
    row = plan.after.iloc[0]
    touched = float(plan.patches["area_mm2"].sum())
    return {
        "seed": seed,
        "kinds": "+".join(kinds),
        "before": largest(height),
        "chance": float(row["chance"]),
        "verdict": row["verdict"],
        "passes": float(np.mean(np.array(gaps) <= LIMIT * (1 + 1e-9))),
        "touched": touched / FT2,
        "planted": planted / FT2,
        "places": len(plan.patches),
        "seconds": seconds,
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--way")
    parser.add_argument("--layout", action="store_true", help="the survey states that joists stand 2 ft apart")
    parser.add_argument("--times", type=int, default=10, help="times that each plan is carried out, with other errors")
    given = parser.parse_args()
    framing = Framing(2 * FT, "y", 0.0) if given.layout else None
    tasks = [(given.seed + k, given.way, given.times, framing) for k in range(given.rooms)]
    if given.processes > 1:
        with ProcessPoolExecutor(given.processes) as pool:
            rows = list(pool.map(one, tasks))
    else:
        rows = [one(task) for task in tasks]
    for row in rows:
        print(
            f"{row['seed']:4d} {row['kinds']:28s} chance {row['chance']:.3f} {row['verdict']:9s} "
            f"truly passes {row['passes']:.2f} touched {row['touched']:6.1f} planted {row['planted']:6.1f} ft2 "
            f"places {row['places']:2d} {row['seconds']:5.1f} s"
        )
    ratio = np.array([row["touched"] / row["planted"] for row in rows])
    sure = [row for row in rows if row["chance"] >= 0.95]
    passes = np.array([row["passes"] for row in sure])
    print(f"rooms {len(rows)}; told 95 % or more {len(sure)}", end="")
    if len(sure):
        error = float(passes.std() / np.sqrt(len(passes)))
        print(f", of which truly pass {100 * passes.mean():.1f} % (s.e. {100 * error:.1f})", end="")
    print(
        f"; all truly pass {100 * np.mean([row['passes'] for row in rows]):.1f} %; area touched over planted: median "
        f"{np.median(ratio):.2f}, quartiles {np.quantile(ratio, 0.25):.2f} {np.quantile(ratio, 0.75):.2f}; places: "
        f"median {np.median([r['places'] for r in rows]):.0f}; "
        f"seconds: median {np.median([r['seconds'] for r in rows]):.1f}"
    )
    for verdict in ("pass", "undecided", "fail"):
        mine = [row for row in rows if row["verdict"] == verdict]
        if mine:
            print(f"  {verdict}: {len(mine)}, truly pass {100 * np.mean([row['passes'] for row in mine]):.1f} %")


if __name__ == "__main__":
    main()
