"""Plans made by hand, for the tests of what draws and tells them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import shapely
from scipy.ndimage import label

from chart_checks import FOOT, INCH, ROOMS, survey_of
from flatness.framing.members import member_layout
from flatness.limits.kinds import UNITLESS, describe, straightedge_limit
from flatness.limits.measuring import Subject, measure
from flatness.planning.plan import ACTIONS, OUTSIDE, Plan
from flatness.planning.quantities import quantities
from flatness.planning.set_heights import COLUMNS
from flatness.planning.volumes import node_areas
from flatness.surroundings.cautions import cautions_for

LEAST = 0.4  # smaller changes are left
RISE = 0.1  # by which the likely measure exceeds the planned one


def plan_of(survey, change, action_at, *, spacing=None, chance=0.97, verdict="pass", after=None, **attributes):
    """A Plan of a survey: ``change(x, y, height)`` [mm] and ``action_at(change, x, y)``, a name for each node."""
    surface = survey.surface_at(spacing)
    gx, gy = np.meshgrid(surface.x, surface.y)
    moved = np.asarray(change(gx, gy, surface.height), dtype=float)
    moved = np.where(np.abs(moved) < LEAST, 0.0, moved)
    moved[~surface.inside] = np.nan
    names = np.asarray(action_at(np.nan_to_num(moved), gx, gy))
    actions = np.full(moved.shape, OUTSIDE, dtype=np.int8)
    for i, name in enumerate(ACTIONS):
        actions[(names == name) & surface.inside] = i
    actions[surface.inside & (moved == 0)] = 0
    patches = patches_of(surface, moved, actions)
    limit = straightedge_limit(10 * FOOT, 3 / 16 * INCH, name="wood-glued", surfaces=(survey.surface,))
    limits = attributes.pop("limits", (limit,))
    if after is None:
        subject = Subject.of(survey, list(limits), spacing, 4)
        finished = dataclasses.replace(surface, height=surface.height + moved)
        rows, between = [], "assumed"
        for one in limits:
            was, then = (measure(one, where) for where in (subject, dataclasses.replace(subject, surface=finished)))
            value = then.measured.value
            values = (was.measured.value, value, (1 + RISE) * value, then.allowed)
            lengths = (np.nan,) * 4 if one.kind in UNITLESS else values
            rows.append(
                (one.name, describe(one), *lengths, then.used <= 1, chance, verdict, between, "", True, *values, "mm")
            )
        after = pd.DataFrame(rows, columns=list(COLUMNS))
    used = [ACTIONS[i] for i in np.unique(actions[actions > 0])]
    made = {
        "survey": survey,
        "surface": surface,
        "based_on": "likely",
        "strategy": "least-work",
        "limits": limits,
        "headings": 12,
        "change": moved,
        "actions": actions,
        "patches": patches,
        "after": after,
        "cost": float(np.nansum(np.abs(moved) * node_areas(surface.inside, surface.spacing))),
        "quantities": quantities_of(surface, moved, actions),
        "cautions": cautions_for([a if a in ("plane", "fill", "sister", "fur") else "take down" for a in used]),
    }
    made |= {"bound": 0.97 * made["cost"], "flat_cost": 3.24 * made["cost"]}
    return Plan(**(made | attributes))


def quantities_of(surface, moved, actions):
    @dataclasses.dataclass
    class Change:
        surface: object
        change: object

    masks = {name: actions == ACTIONS.index(name) for name in ("fill", "plane")}
    return quantities(Change(surface, moved), **masks)


def patches_of(surface, moved, actions):
    s = surface.spacing
    # edges of the nodes' cells, shared by neighbours to the last digit
    ex, ey = (np.concatenate([a[:1], (a[1:] + a[:-1]) / 2, a[-1:]]) for a in (surface.x, surface.y))
    area, rows = node_areas(surface.inside, s), []
    for i in range(1, len(ACTIONS)):
        joined, count = label(actions == i)
        for k in range(1, count + 1):
            at = joined == k
            j, c = np.nonzero(at)
            outline = shapely.union_all(shapely.box(ex[c], ey[j], ex[c + 1], ey[j + 1]))
            inside, (x0, y0, x1, y1) = outline.representative_point(), outline.bounds
            volume = float((moved[at] * area[at]).sum())
            deepest = np.abs(moved[at]).argmax()
            rows.append(
                (
                    f"P{len(rows) + 1}",
                    ACTIONS[i],
                    float(area[at].sum()),
                    moved[at][deepest],
                    volume / float(area[at].sum()),
                    abs(volume),
                    inside.x,
                    inside.y,
                    x0,
                    x1,
                    y0,
                    y1,
                    surface.x[c[deepest]],
                    surface.y[j[deepest]],
                    outline,
                    "",
                )
            )
    return pd.DataFrame(
        rows,
        columns=[
            "name",
            "action",
            "area_mm2",
            "greatest_mm",
            "mean_mm",
            "volume_mm3",
            "x_mm",
            "y_mm",
            "from_x_mm",
            "to_x_mm",
            "from_y_mm",
            "to_y_mm",
            "deepest_x_mm",
            "deepest_y_mm",
            "outline",
            "note",
        ],
    )


def bump(gx, gy, x, y, height, reach):
    return height * np.exp(-((gx - x) ** 2 + (gy - y) ** 2) / (2 * reach**2))


def mixed(x, y):
    return (
        bump(x, y, 3 * FOOT, 3 * FOOT, 14, 1.6 * FOOT)
        + bump(x, y, 12 * FOOT, 3 * FOOT, 6, 1.2 * FOOT)
        - bump(x, y, 8 * FOOT, 6.5 * FOOT, 5, 1.0 * FOOT)
        - bump(x, y, 15 * FOOT, 6.5 * FOOT, 3.2, 0.8 * FOOT)
        + bump(x, y, 4 * FOOT, 8.5 * FOOT, 3, 0.7 * FOOT)
    )


def cells(columns, rows, wide, high, depth=3.0):
    """A change with ``columns`` x ``rows`` separate patches, up and down in turn."""

    def change(x, y):
        waves = np.sin(np.pi * x / wide * columns) * np.sin(np.pi * y / high * rows)
        return np.sign(waves) * np.maximum(np.abs(waves) - 0.55, 0) * 2.2 * depth

    return change


def by_sign(change, gx, gy):
    return np.where(change > 0, "fill", "plane")


def sorted_out(up="sister"):
    def action_at(change, gx, gy):
        proud = np.where(gx > 13 * FOOT, "engineer", "plane")
        return np.where(change > 0, np.where((gx < 6 * FOOT) & (gy < 6.5 * FOOT), up, "fill"), proud)

    return action_at


def room(nx, ny, step, change, action_at=by_sign, *, about=None, **attributes):
    """A plan that takes a surface, short of ``change(x, y)`` [mm], to a gentle one."""

    def gentle(x, y):
        return 1.2 * np.sin(x / 3000) * np.cos(y / 2600)

    survey = survey_of(nx, ny, step, lambda x, y: gentle(x, y) - change(x, y), **(about or {}))
    return plan_of(survey, lambda gx, gy, z: gentle(gx, gy) - z, action_at, **attributes)


def mixed_floor():
    joists = member_layout(8 * INCH, 16 * INCH, "y", until=16 * FOOT, kind="sawn joist", depth=235)
    about = {"outline": ROOMS["l-shaped floor"]().outline, "openings": ROOMS["l-shaped floor"]().openings}
    return room(17, 13, FOOT, mixed, sorted_out(), about=about, members=joists)


def ceiling():
    strapping = member_layout(0, 24 * INCH, "x", until=12 * FOOT, kind="strapping")
    return room(
        17,
        13,
        FOOT,
        mixed,
        sorted_out("fur"),
        about={"surface": "ceiling"},
        members=strapping,
        verdict="undecided",
        chance=0.71,
    )


def wall():
    about = {"surface": "wall", "reference": "plumb", "unit": "mm"}
    return room(17, 10, FOOT, mixed, sorted_out("fur"), about=about)


def one_patch():
    return room(5, 5, FOOT, lambda x, y: bump(x, y, 2 * FOOT, 2 * FOOT, 5, 0.8 * FOOT))


def sixty():
    return room(41, 33, FOOT / 2, cells(10, 6, 20 * FOOT, 16 * FOOT))


def large():
    joists = member_layout(0, 16 * INCH, "y", until=60 * FOOT)
    return room(31, 21, 2 * FOOT, cells(5, 3, 60 * FOOT, 40 * FOOT, 9.0), members=joists, chance=0.999)


def corridor():
    return room(3, 31, 2 * FOOT, lambda x, y: cells(1, 5, 4 * FOOT, 60 * FOOT)(x + 1, y))


def nothing():
    return room(9, 7, 2 * FOOT, lambda x, y: 0 * x)


def failing():
    return room(
        9,
        7,
        2 * FOOT,
        lambda x, y: -30 * (x > 8 * FOOT) * (y > 4 * FOOT),
        lambda change, gx, gy: np.where(change < -20, "engineer", "plane"),
        verdict="fail",
        chance=0.004,
        bound=np.nan,
        strategy="level",
    )


PLANS = {
    "mixed floor": mixed_floor,
    "ceiling": ceiling,
    "wall": wall,
    "one patch": one_patch,
    "sixty patches": sixty,
    "60 ft x 40 ft": large,
    "corridor": corridor,
    "nothing to do": nothing,
    "failing": failing,
}
