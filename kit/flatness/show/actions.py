"""The map of a plan: what to do at every spot, how deep, patch by patch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.text import Annotation
from mpl_toolkits.axes_grid1.axes_divider import make_axes_locatable

from flatness.corrections.plan import ACTIONS, Plan
from flatness.errors import MeasureError
from flatness.show.action_parts import (
    CENTRE_LINE,
    FIXED,
    Row,
    deepest_spot,
    draw_depths,
    draw_fixed,
    draw_ground,
    draw_members,
    draw_outline,
    draw_patch,
    draw_tags,
    say_untagged,
)
from flatness.show.axes import (
    FOOT_IN,
    INK,
    LEFT_IN,
    RIGHT_IN,
    SMALL,
    WIDTH_IN,
    Extent,
    dress_map,
    headed_axes,
    put_heading,
)
from flatness.show.done_words import afterwards, depth, state_after
from flatness.show.labels import FreeSpace
from flatness.show.patterns import Entry, Key, area_entry, key_points, line_entry, put_key
from flatness.show.plan import bounds_of, with_margin
from flatness.show.scales import check_unit

HIGH_IN = 5.7  # of the tallest map and a key beneath it [in]: with its heading it fills a page of 10 in x 7.5 in
KEY_IN, PAD_IN = 2.3, 0.2  # width of a key beside the map, and between the two [in]
LEAST_IN = 7.0  # width of a narrow map with its key, so that its heading has room [in]
MOST_TAGS = 120  # beyond that the patches of least volume are named in the table alone


@dataclass(frozen=True, eq=False)
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
    scale_bar : the bar beneath the map and its length
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
    scale_bar: tuple[Artist, ...]


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
    ax, key = _axes(with_margin(bounds), heading, entries, ax)
    scale_bar = dress_map(ax, bounds, kind, unit)
    ground = draw_ground(ax, plan)
    areas = {row["name"]: draw_patch(ax, row, ground) for row in patches}
    space = FreeSpace(ax)
    outline = draw_outline(ax, plan, space)
    members, names = draw_members(ax, plan, space)
    fixed = draw_fixed(ax, plan, space)
    named = sorted(patches, key=lambda row: -row["volume_mm3"])[:MOST_TAGS]
    places = np.array([deepest_spot(row) for row in named], dtype=np.float64).reshape(-1, 2)
    (spots,) = ax.plot(
        *places.T, linestyle="none", marker="o", markersize=4.2, color=INK, markeredgecolor="white",
        markeredgewidth=0.7, zorder=6, scalex=False, scaley=False,
    )  # fmt: skip
    space.take_marks(places, 2.4)
    tags = draw_tags(ax, named, unit, space)
    depths = draw_depths(ax, plan, unit, space)
    untagged = tuple(row["name"] for row in patches if row["name"] not in tags)
    if untagged:
        say_untagged(ax, len(untagged), space)
    return ActionMap(
        ax, ground, areas, tags, spots, depths, untagged, members, names, fixed, outline, key, scale_bar
    )  # fmt: skip


def _title(plan: Plan, busy: bool) -> str:
    kind = plan.survey.surface
    what = f"What to do on the {kind}" if busy else f"Nothing to do on the {kind}"
    if plan.action("engineer").any():
        return f"{what}: ask the engineer first"
    state = state_after(plan)
    return f"{what}; verdict {'after it' if busy else 'as it stands'}: {state.upper()}" if state else what


def _subtitle(plan: Plan, patches: Sequence[Row], unit: str) -> str:
    told = [f"{text}." for text in afterwards(plan, unit)]
    more = len(told) - 2
    notes = told[:2] + ([f"{more} more limit{'s' if more > 1 else ''}: see the report."] if more > 0 else [])
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


def _axes(extent: Extent, heading: tuple[str, str], entries: Sequence[Entry], ax: Axes | None) -> tuple[Axes, Key]:
    """The map's axes and its key, beneath or beside it, whichever leaves the map the more room on the page."""
    wide, high = extent[1] - extent[0], extent[3] - extent[2]
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
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
    divider = make_axes_locatable(ax)
    divider.set_anchor("NW")
    if beside:
        other, key_wide = divider.append_axes("right", size=KEY_IN, pad=PAD_IN), KEY_IN * 72
    else:
        other, key_wide = divider.append_axes("bottom", size=key_points(entries, width) / 72, pad=FOOT_IN), width
    other.set(xticks=[], yticks=[])
    other.set_axis_off()
    put_heading(ax, heading, width)
    return ax, put_key(other, entries, key_wide)
