"""What the map of a plan is made of: ground, patches, openings, members, tags and depths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Annotation
from shapely import LineString, MultiPolygon, Polygon

from flatness.corrections.plan import Plan
from flatness.show.axes import INK
from flatness.show.done_words import least_told, number
from flatness.show.labels import FreeSpace, Offset, rings
from flatness.show.patterns import PATTERNS
from flatness.show.plan import HALO, outline_path

NUMBER, NAME = 8.0, 8.0  # type [points]
CROWDED = 30  # with more tags than this they are drawn tighter
CENTRE_LINE = (0, (12, 3, 2, 3))  # dash and dot, as centre lines are drawn
FIXED: dict[str, Any] = {
    "marker": "s", "markersize": 6.5, "color": "white", "markeredgecolor": INK, "markeredgewidth": 1.6,
}  # fmt: skip
Row = Mapping[Any, Any]


def deepest_spot(row: Row) -> tuple[float, float]:
    """(x, y) [mm] of the node where a patch's change is greatest."""
    return float(row["deepest_x_mm"]), float(row["deepest_y_mm"])


def draw_ground(ax: Axes, plan: Plan) -> AxesImage:
    x, y, half = plan.x, plan.y, plan.surface.spacing / 2
    limits = ax.get_xlim(), ax.get_ylim()
    image = ax.imshow(
        np.ma.masked_equal(plan.surface.inside, False), cmap=ListedColormap([PATTERNS["leave"].face]), origin="lower",
        aspect="equal", extent=(x[0] - half, x[-1] + half, y[0] - half, y[-1] + half), interpolation="nearest",
        zorder=0.5,
    )  # fmt: skip
    ax.set(xlim=limits[0], ylim=limits[1])
    image.set_clip_path(outline_path(surface_reach(plan)), ax.transData)
    return image


def surface_reach(plan: Plan) -> Polygon:
    """The outline, or where none is given the rectangle of the readings."""
    outline = plan.survey.outline
    return shapely.box(plan.x[0], plan.y[0], plan.x[-1], plan.y[-1]) if outline is None else outline


def draw_patch(ax: Axes, row: Row, ground: AxesImage) -> tuple[PathPatch, ...]:
    pattern = PATTERNS[row["action"]]
    shape = row["outline"]
    parts = list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]
    path = Path.make_compound_path(*(outline_path(part) for part in parts if isinstance(part, Polygon)))
    drawn = (
        PathPatch(path, facecolor=pattern.face, edgecolor=pattern.line, hatch=pattern.hatch, linewidth=0, zorder=1),
        PathPatch(path, facecolor="none", edgecolor=INK, linewidth=1.1, zorder=2.5),
    )
    for patch in drawn:
        ax.add_artist(patch)
        patch.set_clip_path(ground.get_clip_path())
    return drawn


def draw_outline(ax: Axes, plan: Plan, space: FreeSpace) -> tuple[Artist, ...]:
    """Outline and openings; hatches mean actions here, so that openings stay blank."""
    survey = plan.survey
    edges = [] if survey.outline is None else [(survey.outline, {"facecolor": "none", "linewidth": 1.8, "zorder": 4})]
    edges += [(hole, {"facecolor": "white", "linewidth": 1.4, "zorder": 3.5}) for hole in survey.openings]
    artists = [PathPatch(outline_path(shape), edgecolor=INK, **style) for shape, style in edges]
    for artist in artists:
        ax.add_artist(artist)
    names: list[Artist] = []
    for opening in survey.openings:
        middle = opening.representative_point()
        name = ax.annotate(
            "opening", (middle.x, middle.y), (0, 0), textcoords="offset points", ha="center", va="center",
            fontsize=NAME, color=INK, zorder=6,
        )  # fmt: skip
        x0, y0, x1, _ = opening.bounds
        fits = space.size(name)[0] < space.points_between((x0, y0), (x1, y0))
        if space.place(name, [(0, 0, "center", "center")] if fits else rings(14), gap=0.5):
            names.append(name)
        else:
            name.remove()
        space.take_area(opening.bounds)
    return (*artists, *names)


def draw_members(ax: Axes, plan: Plan, space: FreeSpace) -> tuple[LineCollection | None, tuple[Annotation, ...]]:
    if plan.members is None:
        return None, ()
    upright = plan.members.direction == "y"
    along = plan.y if upright else plan.x
    reach = surface_reach(plan)
    lines, names = [], []
    for row in plan.members.table.to_dict("records"):
        start, end = (v if np.isfinite(v) else r for v, r in ((row["start_mm"], along[0]), (row["end_mm"], along[-1])))
        ends = np.array([[start, row["position_mm"]], [end, row["position_mm"]]], dtype=np.float64)
        on = reach.intersection(LineString(ends[:, ::-1] if upright else ends))
        parts = [part for part in getattr(on, "geoms", [on]) if isinstance(part, LineString) and not part.is_empty]
        if parts:
            far = max((end for part in parts for end in part.coords), key=lambda end: float(end[upright]))
            names.append((row["name"], far))
            lines += [np.asarray(part.coords) for part in parts]
    drawn = LineCollection(lines, colors=INK, linewidths=0.7, linestyles=[CENTRE_LINE], zorder=2, alpha=0.75)
    ax.add_collection(drawn, autolim=False)
    return drawn, _name_members(ax, names, upright, space)


def _name_members(
    ax: Axes, names: Sequence[tuple[str, tuple[float, float]]], upright: bool, space: FreeSpace
) -> tuple[Annotation, ...]:
    """Names beyond the far ends of the members, every one or every so many, evenly."""
    texts = [
        ax.annotate(
            name, (float(end[0]), float(end[1])), (0, 0), textcoords="offset points", fontsize=NUMBER, color=INK,
            zorder=5, annotation_clip=False, path_effects=HALO,
        )
        for name, end in names
    ]  # fmt: skip
    need = max((space.size(text)[not upright] + (5 if upright else 2) for text in texts), default=1.0)
    across = sorted(end[not upright] for _, end in names)
    apart = [space.points_between((0.0, 0.0), (b - a, 0.0)) for a, b in pairwise(across)]
    stride = max(1, int(np.ceil(need / min(apart)))) if apart else 1
    beyond: list[Offset] = [(0.0, 3.0, "center", "bottom")]
    if not upright and texts:
        # all beyond the end where the widest has room there, else all before it
        room = space.points_between((max(float(end[0]) for _, end in names), 0.0), (ax.get_xlim()[1], 0.0))
        spare = room - max(space.size(text)[0] for text in texts)
        beyond = [(min(4.0, spare - 1.0), 0.0, "left", "center") if spare > 2.0 else (-3.0, 0.0, "right", "center")]
    shown = []
    for i, text in enumerate(texts):
        if i % stride == 0 and space.place(text, beyond, gap=0.5):
            shown.append(text)
        else:
            text.remove()
    return tuple(shown)


def draw_fixed(ax: Axes, plan: Plan, space: FreeSpace) -> Line2D | None:
    if not plan.fixed:
        return None
    places = np.array([(spot.x, spot.y) for spot in plan.fixed])
    (marks,) = ax.plot(*places.T, linestyle="none", zorder=5.5, scalex=False, scaley=False, **FIXED)
    space.take_marks(places, 4.0)
    return marks


def draw_tags(ax: Axes, rows: Sequence[Row], unit: str, space: FreeSpace) -> dict[str, Annotation]:
    tags: dict[str, Annotation] = {}
    bare = space.emptied()
    pad = 0.22 if len(rows) <= CROWDED else 0.14
    for row in rows:
        text = ax.annotate(
            f"{row['name']}  {number(row['greatest_mm'], unit)}", deepest_spot(row), (0, 0),
            textcoords="offset points", fontsize=NAME, fontweight="bold", color=INK, zorder=8, annotation_clip=False,
            bbox={"boxstyle": f"round,pad={pad},rounding_size=0.4", "facecolor": "white", "edgecolor": INK,
                  "linewidth": 0.8},
            arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 1},
        )  # fmt: skip
        sides = ((6.0, "bottom"), (-6.0, "top"))
        near: list[Offset] = [(float(dx), dy, "center", va) for dy, va in sides for dx in (0, 14, -14)]
        near += [(8.0, 0.0, "left", "center"), (-8.0, 0.0, "right", "center")]
        if space.place(text, near, gap=1.0):
            _bare(text)
        elif not space.place(text, rings(14, 160, 8), leader=True, gap=1.0):
            # over the numbers, never over another tag
            if not bare.place(text, [*near, *rings(14, 160, 8)], gap=0.5):
                text.remove()
                continue
            space.take_text(text)
        bare.take_text(text)
        tags[row["name"]] = text
    return tags


def _bare(text: Annotation) -> None:
    if text.arrow_patch is not None:
        text.arrow_patch.set_visible(False)


def draw_depths(ax: Axes, plan: Plan, unit: str, space: FreeSpace) -> tuple[Annotation, ...]:
    """Depths at nodes that change, on an even grid of them that leaves each number its room."""
    shown = (plan.actions > 0) & (np.abs(np.nan_to_num(plan.change)) >= least_told(unit))
    widest = max((number(v, unit) for v in plan.change[shown]), key=len, default="")
    if not widest:
        return ()
    probe = ax.annotate(widest, (0, 0), (0, 0), textcoords="offset points", fontsize=NUMBER)
    (wide, high), step = space.size(probe), plan.surface.spacing
    probe.remove()
    pitch = space.points_between((0.0, 0.0), (step, 0.0))
    stride_x, stride_y = (max(1, int(np.ceil((size + gap) / pitch))) for size, gap in ((wide, 5), (high, 3)))
    texts = []
    for j in range(0, len(plan.y), stride_y):
        for i in range(0, len(plan.x), stride_x):
            if not shown[j, i]:
                continue
            text = ax.annotate(
                number(plan.change[j, i], unit), (float(plan.x[i]), float(plan.y[j])), (0, 0),
                textcoords="offset points", ha="center",
                va="center", fontsize=NUMBER, color=INK, zorder=5, path_effects=HALO, annotation_clip=False,
            )  # fmt: skip
            if space.place(text, [(0, 0, "center", "center")], gap=0.5):
                texts.append(text)
            else:
                text.remove()
    return tuple(texts)


def say_untagged(ax: Axes, count: int, space: FreeSpace) -> None:
    ax.annotate(
        f"{count} more {'patch' if count == 1 else 'patches'}: see the table", (1, 1), (-2, -2),
        xycoords="axes fraction", textcoords="offset points", ha="right", va="top", fontsize=NAME, color=INK, zorder=9,
        bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "none"},
    )  # fmt: skip
