"""Floors whose truth is known, ten places planned on each: untouched, done to their heights, or half done."""

from functools import cache
from types import SimpleNamespace

import numpy as np
import pandas as pd
import shapely
from shapely import Polygon

import comparison_rooms as pairs
import simulated_rooms as rooms
from flatness.comparison.comparing import compare

ERROR, SETTING = 0.5, 25.4 / 32
FT = 304.8
MIDDLES = [(x * FT, y * FT) for y in (2.5, 6.5, 10.5, 14.5, 17.5) for x in (3.5, 12.0)]
FLOORS = {"untouched": 20, "done": 10, "half done": 10}


def truth(seed):
    """A smooth floor with ten hollows and humps, the floor without them, and each one's outline, way and depth."""
    rng = np.random.default_rng(seed)
    even = 3 * rooms.smooth(rng)
    floor, places = even.copy(), []
    for x, y in MIDDLES:
        away, reach, depth, sign = (
            np.hypot(pairs.GX - x, pairs.GY - y),
            2.2 * FT,
            rng.uniform(2, 12),
            rng.choice([-1, 1]),
        )
        floor = floor + sign * depth * np.maximum(0, 1 - (away / reach) ** 2)
        corners = [(x + 2.0 * FT * np.cos(t), y + 2.0 * FT * np.sin(t)) for t in np.pi / 8 + np.arange(8) * np.pi / 4]
        places.append((Polygon(corners), -sign, depth, away <= 1.9 * FT))
    return even, floor, places


def setting_errors(rng):
    """Errors of heights set 2 ft apart, straight between: along one side of the room and then along the other."""
    axes = [np.arange(0, side.max() + 2 * FT, 2 * FT) for side in (pairs.GX, pairs.GY)]
    marks = rng.normal(0, SETTING, (len(axes[1]), len(axes[0])))
    along = np.array([np.interp(pairs.GX[0], axes[0], row) for row in marks])
    return np.array([np.interp(pairs.GY[:, 0], axes[1], column) for column in along.T]).T


@cache
def told(work):
    """Each place of each floor on which this was done: its depth, by how much a station is truly off, its status."""
    rows = []
    for seed in range(FLOORS[work]):
        even, floor, places = truth(seed)
        nodes = pairs.grid(4) if seed % 2 else pairs.grid(3)
        before = pairs.read(floor, nodes, [seed, 1], ERROR)
        inside = np.any([place[3] for place in places], axis=0)
        found = before.surface_at(pairs.STEP)
        as_found = found.at(pairs.GX.ravel(), pairs.GY.ravel(), beyond="nearest").reshape(pairs.GX.shape)
        fills = np.any([place[3] for place in places if place[1] > 0], axis=0)
        # fill only adds, planing only takes off
        wanted = np.where(fills, np.maximum(even, as_found), np.minimum(even, as_found))
        plan = SimpleNamespace(
            x=pairs.GX[0],
            y=pairs.GY[:, 0],
            change=np.where(inside, wanted - as_found, 0.0),
            set_height=np.where(inside, wanted, np.nan),
            setting_error=SETTING,
            patches=pd.DataFrame(
                {
                    "name": [str(k) for k in range(len(places))],
                    "outline": [place[0] for place in places],
                    "action": ["fill" if place[1] > 0 else "plane" for place in places],
                }
            ),
        )
        set_to = wanted + setting_errors(np.random.default_rng([seed, 2]))
        after = {
            "untouched": floor,
            "done": np.where(inside, np.where(fills, np.maximum(set_to, floor), np.minimum(set_to, floor)), floor),
            "half done": np.where(inside, (floor + wanted) / 2, floor),
        }
        # the later survey stands elsewhere on every third floor, and off another datum on every second
        again, (way, datum) = pairs.grid(3, 1) if seed % 3 == 0 else nodes, [("none", 0.0), ("offset", 2.5)][seed % 2]
        later = pairs.read(after[work] + datum, again, [seed, 3], ERROR)
        table = compare(before, later, align=way, plan=plan, spacing=FT).plan
        x, y = pairs.GX[again], pairs.GY[again]
        off = np.abs(after[work] - wanted)[again]
        for (outline, _, depth, _), status in zip(places, table[table.what == "patch"].status, strict=True):
            rows.append((depth, off[shapely.contains_xy(outline, x, y)].max(), status))
    return pd.DataFrame(rows, columns=["depth", "off", "status"])


def test_what_nobody_touched_is_not_within_tolerance():
    rows = told("untouched")
    assert len(rows) == 200
    assert rows.status.eq("within tolerance").sum() <= 1
    assert rows.status.isin(["short", "over"]).mean() < 0.1


def test_what_was_set_to_its_heights_is_within_tolerance():
    rows = told("done")
    assert rows.status.isin(["within tolerance", "cannot tell"]).mean() >= 0.95
    # 4 mm is eight errors of a reading
    assert rows.query("depth > 4").status.eq("within tolerance").mean() >= 0.95


def test_what_was_done_by_half_is_short():
    rows = told("half done")
    # a station that is off by twice the setting error and five errors of its reading: 2.5 that a good one of some ten
    # may show, and 2.5 that its own error may hide
    clear = 2 * SETTING + 5 * ERROR
    assert (rows.off > clear).sum() >= 25
    assert rows[rows.off > clear].status.eq("short").mean() >= 0.95
    assert not rows[rows.off > clear].status.eq("within tolerance").any()
    assert not rows.status.eq("over").any()
