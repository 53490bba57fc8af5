"""The chart of members: the existing top of each, the line it is set to, and how much to raise or take down where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from flatness.corrections.schedule import Schedule
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.show.axes import INK, LARGE, SMALL, put_heading, wrap_heading
from flatness.show.done_words import depth, least_told
from flatness.show.member_panels import STYLES, MemberPanel, draw_panel, scene_of
from flatness.show.patterns import HIGH, PATTERNS, SWATCH, Entry, Key, key_points, line_entry, put_key
from flatness.show.scales import check_unit, printed_place
from flatness.show.words import in_unit

MOST = 12  # members on one chart
PAGE_IN, LEFT_IN, EDGE_IN, BETWEEN_IN = 10.0, 1.25, 0.3, 0.5  # page, and what lies left, right, between panels [in]
LARGE_IN, SMALL_IN = 3.3, 0.95  # height of a panel alone, and of one among others [in]
HEAD_IN, ROW_IN, FOOT_IN = 0.68, 0.2, 0.5  # heading of a small panel, a row of numbers, and what is below them [in]


@dataclass(frozen=True, eq=False)
class MemberChart:
    """The artists of :func:`member_chart`: ``ax`` is the first panel's, ``panels`` one a member, ``key`` the key."""

    ax: Axes
    panels: tuple[MemberPanel, ...]
    key: Key


def member_chart(
    schedule: Schedule, member: str | Sequence[str] | None = None, *, unit: str = "in", title: str | None = None
) -> MemberChart:
    """One member large, or up to 12 small: existing top, target, line to follow, string, and what to raise where.

    Parameters
    ----------
    schedule : what each member is set to
    member : its name, or several names; None takes all, and of more than 12 those that are raised or taken down most
    unit : ``in`` or ``mm``
    title : None says what is seen

    Returns
    -------
    MemberChart

    Raises
    ------
    ArgumentError : an unknown unit or member, none, or more than 12 names
    MeasureError : a member that no readings reach
    """
    check_unit(unit)
    names, left_out = _chosen(schedule, member)
    summaries = {str(row["member"]): row for row in schedule.members.to_dict("records")}
    alone = len(names) == 1
    tables = [schedule.table[schedule.table["member"] == name] for name in names]
    columns = 1 if len(names) < 4 else 2 if len(names) < 7 else 3
    wide = (PAGE_IN - LEFT_IN - EDGE_IN - (columns - 1) * BETWEEN_IN) / columns
    high = LARGE_IN if alone else SMALL_IN
    scene = scene_of(tables, unit, wide, high, alone=alone, lift="shim" if _shimmed(schedule) else "raise")
    entries = _entries(schedule, pd.concat(tables))
    notes = _alone_notes(schedule, summaries[names[0]], unit) if alone else _notes(schedule, left_out, unit)
    heading = (
        title if title is not None else _title(names, schedule, summaries, unit),
        f"{notes} Heights are drawn about {_round(scene.times)} times larger than distances, off the line to follow, "
        "which is drawn level.",
    )
    axes, key = _figure(len(names), columns, wide, high, scene.rows, heading, entries)
    panels = []
    for ax, name, table in zip(axes, names, tables, strict=True):
        said = [] if alone else [_set(summaries[name]), _deed(schedule, summaries[name], unit)]
        panels.append(draw_panel(ax, name, table, scene, said, first=_is_first(ax)))
    return MemberChart(panels[0].ax, tuple(panels), key)


def _is_first(ax: Axes) -> bool:
    """Whether it stands at the left of the figure, where the scale of heights is."""
    return bool(ax.get_position().x0 * PAGE_IN < LEFT_IN + 0.01)


def _round(times: float) -> str:
    """Two figures that count.

    >>> _round(238.6), _round(7.31)
    ('240', '7.3')
    """
    return f"{float(f'{times:.2g}'):g}"


def _chosen(schedule: Schedule, member: str | Sequence[str] | None) -> tuple[list[str], int]:
    """Names to draw, and how many members are left out."""
    table = schedule.members
    known = table[table["raise_most_mm"].notna()]
    every = [str(name) for name in table["member"]]
    if member is None:
        need = known[["raise_most_mm", "take_down_mm"]].max(axis=1).to_numpy(dtype=np.float64)
        kept = np.sort(np.argsort(-need, kind="stable")[:MOST])
        return [str(known["member"].iloc[i]) for i in kept], len(every) - len(kept)
    names = [member] if isinstance(member, str) else [str(name) for name in member]
    if not 1 <= len(names) <= MOST or len(set(names)) < len(names):
        raise ArgumentError(
            "members for one chart", column="member", value=", ".join(names) or "none",
            expected=f"1 to {MOST} names, each once", remedy="make several charts",
        )  # fmt: skip
    for name in names:
        if name not in every:
            raise ArgumentError("unknown member", column="member", value=name, expected=", ".join(every))
        if name not in set(known["member"]):
            note = str(table.loc[table["member"] == name, "note"].iloc[0])
            raise MeasureError(f"{name} cannot be drawn: {note}", remedy="choose a member on the surface that was read")
    return names, 0


def _shimmed(schedule: Schedule) -> bool:
    return len(schedule.shims) > 0


def _title(names: Sequence[str], schedule: Schedule, summaries: Mapping[str, Any], unit: str) -> str:
    if len(names) > 1:
        return "What each member is set to"
    return f"{names[0]}: {_deed(schedule, summaries[names[0]], unit)}"


def _set(row: Mapping[Any, Any]) -> str:
    return "set first" if str(row["set"]).startswith("first") else f"set {row['set']}"


def _deed(schedule: Schedule, row: Mapping[Any, Any], unit: str) -> str:
    lift = "shim" if _shimmed(schedule) else "raise"
    up, down = float(row["raise_most_mm"]), float(row["take_down_mm"])
    parts = [f"{lift} up to {depth(up, unit)[1:]}"] if settle(up - least_told(unit)) >= 0 else []
    if settle(down - least_told(unit)) >= 0:
        may = {"no": " (not allowed)", "ask": " (ask first)", "not known": " (ask first)"}
        answer = may.get(str(row["may_be_taken_down"]).split(":")[0], "")
        where = printed_place(row["take_down_at_mm"], unit)
        parts.append(f"take down {depth(down, unit)[1:]} at {where}{answer}")
    return ", ".join(parts) or "leave as it is"


def _alone_notes(schedule: Schedule, row: Mapping[Any, Any], unit: str) -> str:
    run, over = (1000.0, "a metre") if unit == "mm" else (3048.0, "10 ft")
    rise = float(row["slope_mm_per_m"]) * run / 1000
    size = depth(abs(rise), unit)[1:]
    slope = f"{'rises' if rise > 0 else 'falls'} {size} in {over}" if abs(rise) >= 0.1 else "lies level"
    notes = [f"{row['member']} is set {row['set']}; in place its line {slope}. Numbers: {in_words(unit)}."]
    if row["may_be_taken_down"] and settle(row["take_down_mm"] - least_told(unit)) >= 0:
        notes.append(f"May it be taken down? {str(row['may_be_taken_down']).capitalize()}.")
    if row["laps"]:
        notes.append(in_unit(f"Sister laps: {row['laps']}.", unit))
    if row["note"]:
        notes.append(in_unit(f"Note: {row['note']}.", unit))
    return "\n".join(notes)


def _notes(schedule: Schedule, left_out: int, unit: str) -> str:
    lift = "shim" if _shimmed(schedule) else "raise"
    notes = [f"Numbers below each: {lift} (+) or take down (\N{MINUS SIGN}) there, {in_words(unit)}."]
    if left_out:
        notes.insert(0, f"{left_out} more are not shown; these are moved most.")
    return " ".join(notes)


def in_words(unit: str) -> str:
    """What the numbers are, and what 0 stands for."""
    return 'inches; 0 is less than 1/64"' if unit == "in" else "mm; 0 is less than 0.1 mm"


def _entries(schedule: Schedule, table: pd.DataFrame) -> list[Entry]:
    entries = [
        line_entry("existing", "existing top", **STYLES["existing"]),
        line_entry("line", "line to follow", **STYLES["line"]),
        line_entry("target", "target of the plan", **STYLES["target"]),
    ]
    if table["string_mm"].notna().any():
        entries.append(line_entry("string", "string between end members", **STYLES["string"]))
    up = "fur" if _shimmed(schedule) else "sister"
    both = ((up, table["raise_mm"] > 0, "to raise"), ("plane", table["raise_mm"] < 0, "to take down"))
    for name, here, words in both:
        if here.any():
            sample = Rectangle((0, 0), SWATCH, HIGH, facecolor=PATTERNS[name].face, edgecolor=INK, linewidth=0.8)
            entries.append(Entry(name, sample, words))
    return entries


def _figure(
    count: int, columns: int, wide: float, high: float, rows: int, heading: tuple[str, str], entries: Sequence[Entry]
) -> tuple[list[Axes], Key]:
    """Axes of this many panels in columns, row by row, and the key beneath them."""
    across = (PAGE_IN - LEFT_IN - EDGE_IN) * 72
    title, subtitle = wrap_heading(heading, across)
    head = (26 + (title.count("\n") + 1) * LARGE * 1.25 + (subtitle.count("\n") + 1) * SMALL * 1.3) / 72
    above = 0.1 if count == 1 else HEAD_IN
    block = above + high + FOOT_IN + rows * ROW_IN
    key_in = key_points(entries, across) / 72 + 0.15
    tall = head + -(-count // columns) * block + key_in
    figure = Figure(figsize=(PAGE_IN, tall))
    axes = []
    for i in range(count):
        left = LEFT_IN + i % columns * (wide + BETWEEN_IN)
        down = head + i // columns * block + above
        axes.append(figure.add_axes((left / PAGE_IN, 1 - (down + high) / tall, wide / PAGE_IN, high / tall)))
    # the heading stands above, and the key below, the upper edge of axes that show nothing themselves
    bare = [
        figure.add_axes((LEFT_IN / PAGE_IN, up / tall - 0.01, across / 72 / PAGE_IN, 0.01))
        for up in (tall - head, key_in - 0.05)
    ]
    for empty in bare:
        empty.set(xticks=[], yticks=[])
        empty.set_axis_off()
    put_heading(bare[0], heading, across)
    return axes, put_key(bare[1], entries, across)
