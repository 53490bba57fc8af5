"""The map of a plan: what to do at every spot, how deep, patch by patch.

What the map of a plan is made of: ground, patches, openings, members, tags and depths.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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

from flatness.charts.axes import (
    FOOT_IN,
    INK,
    LEFT_IN,
    RIGHT_IN,
    SMALL,
    WIDTH_IN,
    Extent,
    FreeSpace,
    Offset,
    as_seen,
    divider_of,
    dress_map,
    headed_axes,
    leader,
    note,
    paper,
    put_heading,
    put_marks,
    rings,
    root_of,
    show_extent,
    turns_of,
)
from flatness.charts.hatching import PATTERNS, Entry, Key, area_entry, key_points, line_entry, put_key
from flatness.charts.map_base import HALO, bounds_of, draw_outline, outline_path, with_margin
from flatness.charts.scales import check_unit
from flatness.errors import MeasureError
from flatness.planning.plan import ACTIONS, Plan
from flatness.words.printed import depth, least_shown, without_unit
from flatness.words.ways import afterwards

NUMBER, NAME = 8.0, 8.0  # type [points]
CROWDED = 30  # with more tags than this they are drawn tighter
CENTRE_LINE = (0, (12, 3, 2, 3))  # dash and dot, as centre lines are drawn
FIXED: dict[str, Any] = {
    "marker": "s",
    "markersize": 6.5,
    "color": "white",
    "markeredgecolor": INK,
    "markeredgewidth": 1.6,
}
Row = Mapping[Any, Any]


def deepest_spot(row: Row) -> tuple[float, float]:
    """(x, y) [mm] of the node where a patch's change is greatest."""
    return float(row["deepest_x_mm"]), float(row["deepest_y_mm"])


def draw_ground(ax: Axes, plan: Plan) -> AxesImage:
    x, y, half = plan.x, plan.y, plan.surface.spacing / 2
    limits = ax.get_xlim(), ax.get_ylim()
    image = ax.imshow(
        np.ma.masked_equal(plan.surface.inside, False),
        cmap=ListedColormap([PATTERNS["leave"].face]),
        origin="lower",
        aspect=ax.get_aspect(),
        extent=(x[0] - half, x[-1] + half, y[0] - half, y[-1] + half),
        interpolation="nearest",
        zorder=0.5,
    )
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


def draw_members(ax: Axes, plan: Plan, space: FreeSpace) -> tuple[LineCollection | None, tuple[Annotation, ...]]:
    if plan.members is None:
        return None, ()
    upright = (plan.members.direction == "y") != bool(turns_of(ax) % 2)
    reach = surface_reach(plan)
    lines, names = [], []
    for name, line in plan.members.lines(plan.x, plan.y):
        on = reach.intersection(line)
        parts = [part for part in getattr(on, "geoms", [on]) if isinstance(part, LineString) and not part.is_empty]
        if parts:
            far = max(
                (end for part in parts for end in part.coords),
                key=lambda end: float(space.pixels(np.array(end))[0, int(upright)]),
            )
            names.append((name, far))
            lines += [np.asarray(part.coords) for part in parts]
    drawn = LineCollection(lines, colors=INK, linewidths=0.7, linestyles=[CENTRE_LINE], zorder=2, alpha=0.75)
    ax.add_collection(drawn, autolim=False)
    return drawn, _name_members(ax, names, upright, space)


def _name_members(
    ax: Axes, names: Sequence[tuple[str, tuple[float, float]]], upright: bool, space: FreeSpace
) -> tuple[Annotation, ...]:
    """Names beyond the far ends of the members, every one or every so many, evenly."""
    texts = [
        note(ax, name, (float(end[0]), float(end[1])), fontsize=NUMBER, zorder=5, path_effects=HALO)
        for name, end in names
    ]
    need = max((space.size(text)[not upright] + (5 if upright else 2) for text in texts), default=1.0)
    ends = space.pixels(np.array([end for _, end in names], dtype=np.float64).reshape(-1, 2)) / root_of(ax).dpi * 72
    apart = np.diff(np.sort(ends[:, int(not upright)]))
    stride = max(1, int(np.ceil(need / apart.min()))) if len(apart) else 1
    beyond: list[Offset] = [(0.0, 3.0, "center", "bottom")]
    if not upright and texts:
        # all beyond the end where the widest has room there, else all before it
        room = ax.get_window_extent().x1 / root_of(ax).dpi * 72 - ends[:, 0].max()
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
        text = note(
            ax,
            f"{row['name']}  {without_unit(row['greatest_mm'], unit)}",
            deepest_spot(row),
            fontsize=NAME,
            fontweight="bold",
            zorder=8,
            bbox=paper(boxstyle=f"round,pad={pad},rounding_size=0.4"),
            arrowprops=leader(0.9, 1),
        )
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
    shown = (plan.actions > 0) & (np.abs(np.nan_to_num(plan.change)) >= least_shown(unit))
    widest = max((without_unit(v, unit) for v in plan.change[shown]), key=len, default="")
    if not widest:
        return ()
    probe = note(ax, widest, (0, 0), fontsize=NUMBER)
    (wide, high), step = space.size(probe), plan.surface.spacing
    probe.remove()
    pitch = space.points_between((0.0, 0.0), (step, 0.0))
    stride_x, stride_y = (max(1, int(np.ceil((size + gap) / pitch))) for size, gap in ((wide, 5), (high, 3)))
    texts = []
    for j in range(0, len(plan.y), stride_y):
        for i in range(0, len(plan.x), stride_x):
            if not shown[j, i]:
                continue
            at = (float(plan.x[i]), float(plan.y[j]))
            style: dict[str, Any] = {"fontsize": NUMBER, "zorder": 5, "path_effects": HALO}
            text = note(ax, without_unit(plan.change[j, i], unit), at, ha="center", va="center", **style)
            if space.place(text, [(0, 0, "center", "center")], gap=0.5):
                texts.append(text)
            else:
                text.remove()
    return tuple(texts)


def say_untagged(ax: Axes, count: int, space: FreeSpace) -> None:
    note(
        ax,
        f"{count} more {'patch' if count == 1 else 'patches'}: see the table",
        (1, 1),
        off=(-2, -2),
        xycoords="axes fraction",
        ha="right",
        va="top",
        fontsize=NAME,
        zorder=9,
        bbox=paper(0.2, "none"),
    )


HIGH_IN = 5.7  # of the tallest map and a key beneath it [in]: with its heading it fills a page of 10 in x 7.5 in
KEY_IN, PAD_IN = 2.3, 0.2  # width of a key beside the map, and between the two [in]
LEAST_IN = 7.0  # width of a narrow map with its key, so that its heading has room [in]
MOST_TAGS = 120  # beyond that the patches of least volume are named in the table alone


@dataclass(frozen=True, eq=False, kw_only=True)
class ActionMap:
    """The artists of :func:`action_map`.

    Attributes
    ----------
    ax : the map
    left_alone : the ground of the surface, in the colour of ``leave``
    areas : the patch drawn for each row of the plan's table, by name; filled, hatched and outlined
    tags : name and greatest depth of each patch, by name; each points at its deepest spot
    spots : marks of the deepest spots
    depths : signed depths at other nodes, thinned
    untagged : names of patches that there was no room to tag
    members, member_texts : centre lines of the members and their names; None and empty where none are given
    fixed : marks of spots whose finished height is given, or None
    outline : outline, and openings left blank and named
    key : what the patterns mean
    """

    ax: Axes
    left_alone: AxesImage
    areas: dict[str, tuple[PathPatch, ...]]
    tags: dict[str, Annotation]
    spots: Line2D
    depths: tuple[Annotation, ...]
    untagged: tuple[str, ...]
    members: LineCollection | None
    member_texts: tuple[Annotation, ...]
    fixed: Line2D | None
    outline: tuple[Artist, ...]
    key: Key


def action_map(plan: Plan, ax: Axes | None = None, *, unit: str = "in", title: str | None = None) -> ActionMap:
    """A map of what to do at every spot, with signed depths: one colour and one pattern an action.

    Parameters
    ----------
    plan : the plan
    ax : axes to draw into; None makes a figure
    unit : ``in`` (feet, inches and fractions) or ``mm`` (metres and millimetres)
    title : None says what is seen, and the verdict after

    Returns
    -------
    ActionMap

    Raises
    ------
    ArgumentError : an unknown unit
    MeasureError : a plan of a surface without heights
    """
    check_unit(unit)
    if not plan.surface.inside.any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    kind = plan.survey.surface
    patches = [row for row in plan.patches.to_dict("records") if row["action"] != "leave"]
    entries = _entries(plan, patches, unit)
    heading = (title if title is not None else _title(plan, bool(patches)), _subtitle(plan, patches, unit))
    bounds = bounds_of(plan.surface, plan.survey)
    turns = plan.survey.turns
    ax, key = _axes(with_margin(bounds, turns), heading, entries, ax, turns)
    dress_map(ax, bounds, kind, unit, plan.survey)
    ground = draw_ground(ax, plan)
    areas = {row["name"]: draw_patch(ax, row, ground) for row in patches}
    space = FreeSpace(ax)
    # hatches mean actions here, so that openings stay blank
    outline = draw_outline(ax, plan.survey, space, hatched=False)
    members, names = draw_members(ax, plan, space)
    fixed = draw_fixed(ax, plan, space)
    named = sorted(patches, key=lambda row: -row["volume_mm3"])[:MOST_TAGS]
    places = np.array([deepest_spot(row) for row in named], dtype=np.float64).reshape(-1, 2)
    spots = put_marks(
        ax, "o", *places.T, markersize=4.2, color=INK, markeredgecolor="white", markeredgewidth=0.7, zorder=6
    )
    space.take_marks(places, 2.4)
    tags = draw_tags(ax, named, unit, space)
    depths = draw_depths(ax, plan, unit, space)
    untagged = tuple(row["name"] for row in patches if row["name"] not in tags)
    if untagged:
        say_untagged(ax, len(untagged), space)
    return ActionMap(
        ax=ax,
        left_alone=ground,
        areas=areas,
        tags=tags,
        spots=spots,
        depths=depths,
        untagged=untagged,
        members=members,
        member_texts=names,
        fixed=fixed,
        outline=outline,
        key=key,
    )


def _title(plan: Plan, busy: bool) -> str:
    kind = plan.survey.surface
    what = f"What to do on the {kind}" if busy else f"Nothing to do on the {kind}"
    if plan.action("engineer").any():
        return f"{what}: ask the engineer first"
    return f"{what}; verdict {'after it' if busy else 'as it stands'}: {plan.verdict.upper()}" if plan.verdict else what


def _subtitle(plan: Plan, patches: Sequence[Row], unit: str) -> str:
    wording = [f"{text}." for text in afterwards(plan, unit)]
    more = len(wording) - 2
    notes = wording[:2] + ([f"{more} more limit{'s' if more > 1 else ''}: see the report."] if more > 0 else [])
    if patches:
        notes.append(
            f"Numbers: what to add (+) or take off (\N{MINUS SIGN}), {'inches' if unit == 'in' else 'mm'}. Tags: patch "
            "and its greatest depth, at the dot."
        )
    return "\n".join(notes)


def _entries(plan: Plan, patches: Sequence[Row], unit: str) -> list[Entry]:
    used = [name for name in ACTIONS if (plan.actions == ACTIONS.index(name)).any()]
    entries = []
    for name in used:
        own = [row["greatest_mm"] for row in patches if row["action"] == name]
        many = f"{len(own)} {'patch' if len(own) == 1 else 'patches'}"
        most = depth(max(own, key=abs), unit) if own else ""
        entries.append(area_entry(name, f" ({many}, up to {most})" if own else ""))
    if plan.members is not None:
        table = plan.members.table["name"]
        words = f"{plan.members.kind}s" if plan.members.kind != "strapping" else "strapping"
        words += f", {table.iloc[0]} to {table.iloc[-1]}" if len(table) > 1 else f", {table.iloc[0]}"
        style: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": CENTRE_LINE}
        entries.append(line_entry("members", words, **style))
    if plan.fixed:
        entries.append(line_entry("fixed", "finished height given", linestyle="none", **FIXED))
    return entries


def _axes(
    extent: Extent, heading: tuple[str, str], entries: Sequence[Entry], ax: Axes | None, turns: int
) -> tuple[Axes, Key]:
    """The map's axes and its key, beneath or beside it, whichever leaves the map the more room on the page."""
    wide, high = as_seen(extent, turns)
    across = WIDTH_IN - LEFT_IN - RIGHT_IN
    beneath_in = key_points(entries, across * 72) / 72
    high_in = HIGH_IN - max(0, heading[1].count("\n") - 1) * SMALL * 1.3 / 72
    fits = min(across / wide, (high_in - beneath_in) / high), min((across - KEY_IN) / wide, high_in / high)
    beside = fits[1] > 0.9 * fits[0] if ax is None else wide < 1.6 * high
    if ax is None:
        scale = fits[1] if beside else fits[0]
        box = (wide * scale, high * scale)
        region = (
            (max(box[0] + KEY_IN + PAD_IN, LEAST_IN), box[1]) if beside else (across, box[1] + FOOT_IN + beneath_in)
        )
        ax = headed_axes(region, RIGHT_IN - PAD_IN, FOOT_IN if beside else 0.12, heading)
        width = region[0] * 72
    else:
        width = ax.get_window_extent().width / ax.figure.dpi * 72
    show_extent(ax, extent, turns)
    divider = divider_of(ax)
    if beside:
        other, key_wide = divider.append_axes("right", size=KEY_IN, pad=PAD_IN), KEY_IN * 72
    else:
        other, key_wide = divider.append_axes("bottom", size=key_points(entries, width) / 72, pad=FOOT_IN), width
    other.set(xticks=[], yticks=[])
    other.set_axis_off()
    put_heading(ax, heading, width)
    return ax, put_key(other, entries, key_wide)
