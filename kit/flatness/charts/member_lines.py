"""The chart of members: the existing top of each, the line it is set to, and how much to raise or take down where.

One member on a chart of members: its lines, what to raise and take down, and the numbers beneath.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NORMAL,
    SMALL,
    frame,
    heading_in,
    kept_apart,
    new_figure,
    note,
    put_heading,
    set_length_ticks,
    text_width,
    wrap,
)
from flatness.charts.hatching import HIGH, PATTERNS, SWATCH, Entry, Key, key_points, line_entry, put_key
from flatness.charts.scales import check_unit, height_step
from flatness.errors import ArgumentError, MeasureError, check_choice
from flatness.framing.schedule import Schedule
from flatness.lengths import settle
from flatness.words.phrases import say
from flatness.words.printed import depth, is_shown, printed_place, without_unit

BODY = "#dad5cd"
STYLES: dict[str, dict[str, Any]] = {
    "existing": {"color": INK, "linewidth": 1.8},
    "line": {"color": "#2b7a52", "linewidth": 2.6},
    "target": {"color": INK, "linewidth": 1.2, "linestyle": (0, (3, 2))},
    "string": {"color": "#a3271f", "linewidth": 1.3, "linestyle": (0, (9, 2, 2, 2))},
}


@dataclass(frozen=True, eq=False, kw_only=True)
class MemberPanel:
    """One member; heights are off the line it is set to, which lies level on the chart whatever its slope in place.

    Attributes
    ----------
    name, ax : the member and its axes
    existing, line, target : existing top, line to follow and target
    string : the string between the end members, or None where there is none
    raised, taken : where to raise and where to take down, hatched
    stations : [k] mm along the member that have numbers
    numbers : what to raise (+) or plane off (-) there
    below_string : from the string down to the existing top there; empty on small panels and without a string
    heading : name of the member, when it is set and what to do to it; empty on a panel alone
    """

    name: str
    ax: Axes
    existing: Line2D
    line: Line2D
    target: Line2D
    string: Line2D | None
    raised: PolyCollection
    taken: PolyCollection
    stations: Floats
    numbers: tuple[Annotation, ...]
    below_string: tuple[Annotation, ...]
    heading: tuple[Annotation, ...]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What the panels of one chart share.

    Attributes
    ----------
    low, high : heights shown, off the line to follow [mm]
    times : how many times larger heights are drawn than distances
    points : width of a panel [points]
    rows : of numbers beneath each
    unit : ``in`` or ``mm``
    alone : whether there is but one panel
    lift : ``raise`` or ``shim``
    """

    low: float
    high: float
    times: float
    points: float
    rows: int
    unit: str
    alone: bool
    lift: str


def scene_of(
    tables: Sequence[pd.DataFrame], unit: str, wide_in: float, high_in: float, *, alone: bool, lift: str
) -> Scene:
    """The scale that suits all of these members, on panels of this width and height [in]."""
    every = np.concatenate([np.concatenate(_off_line(table)) for table in tables])
    low, high = min(0.0, float(np.nanmin(every))), max(0.0, float(np.nanmax(every)))
    least = 3.0  # a member that needs next to nothing is not blown up
    spare = 0.12 * max(high - low, least) + max(0.0, least - (high - low)) / 2
    low, high = low - spare, high + spare
    reach = max(float(np.ptp(table["station_mm"])) for table in tables)
    string = alone and tables[0]["below_string_mm"].notna().any()
    times = (high_in / (high - low)) / (wide_in / (1.04 * reach))
    return Scene(
        low=low, high=high, times=times, points=wide_in * 72, rows=2 if string else 1, unit=unit, alone=alone, lift=lift
    )


def _off_line(table: pd.DataFrame) -> tuple[Floats, Floats, Floats]:
    """Existing top, target and string [n] mm off the line to follow."""
    line = table["line_mm"].to_numpy(dtype=np.float64)
    top, target, string = (table[f"{name}_mm"].to_numpy(dtype=np.float64) for name in ("existing", "target", "string"))
    return top - line, target - line, string - line


def draw_panel(
    ax: Axes, name: str, table: pd.DataFrame, scene: Scene, said: Sequence[str], *, first: bool
) -> MemberPanel:
    """Draw one member.

    Parameters
    ----------
    ax : its axes
    name : of the member
    table : its rows of :attr:`flatness.framing.schedule.Schedule.table`
    scene : what all panels share
    said : lines above it, after its name; none above a panel alone
    first : whether the heights stand beside it
    """
    s = table["station_mm"].to_numpy(dtype=np.float64)
    top, target, string = _off_line(table)
    raised_by = table["raise_mm"].to_numpy(dtype=np.float64)
    margin = 0.02 * float(np.ptp(s))
    ax.set(xlim=(s.min() - margin, s.max() + margin), ylim=(scene.low, scene.high))
    style: dict[str, Any] = {"scalex": False, "scaley": False}
    ax.fill_between(s, top, scene.low, facecolor=BODY, linewidth=0, zorder=1)
    up = "fur" if scene.lift == "shim" else "sister"
    raised, taken = (
        ax.fill_between(
            s,
            top,
            0,
            where=np.nan_to_num(side * top) > 0,
            interpolate=True,
            facecolor=PATTERNS[action].face,
            edgecolor=PATTERNS[action].line,
            hatch=PATTERNS[action].hatch,
            linewidth=0,
            zorder=2,
        )
        for side, action in ((-1, up), (1, "plane"))
    )
    ax.set(xlim=(s.min() - margin, s.max() + margin), ylim=(scene.low, scene.high))
    lines = {
        label: ax.plot(s, heights, zorder=zorder, **STYLES[label], **style)[0]
        for label, heights, zorder in (
            ("line", np.where(np.isfinite(top), 0.0, np.nan), 3.0),
            ("existing", top, 4.0),
            ("target", target, 5.0),
            ("string", string, 3.5),
        )
    }
    if not np.isfinite(string).any():
        lines.pop("string").remove()
    words = [_number(value, scene.unit) for value in raised_by]
    keep = _shown(s, raised_by, words, scene)
    _dress(ax, s[keep], scene, first=first)
    numbers = _row(ax, s[keep], [words[i] for i in keep], 1, f"{scene.lift} (+)" if first else "", bold=True)
    below: tuple[Annotation, ...] = ()
    if scene.rows == 2:
        down = table["below_string_mm"].to_numpy(dtype=np.float64)[keep]
        below = _row(
            ax, s[keep], [_number(value, scene.unit).lstrip("+") for value in down], 2, "string to top", bold=False
        )
    return MemberPanel(
        name=name,
        ax=ax,
        existing=lines["existing"],
        line=lines["line"],
        target=lines["target"],
        string=lines.get("string"),
        raised=raised,
        taken=taken,
        stations=s[keep],
        numbers=numbers,
        below_string=below,
        heading=_head(ax, name, said, scene) if said else (),
    )


def _number(mm: float, unit: str) -> str:
    """A number beneath a station: 0 where a tape tells nothing, a dash where nothing is known."""
    if not np.isfinite(mm):
        return "\N{EN DASH}"
    return without_unit(mm, unit) if is_shown(mm, unit) else "0"


def _shown(s: Floats, raised: Floats, words: Sequence[str], scene: Scene) -> list[int]:
    """Stations with numbers: the ends and the greatest ones first, then evenly as many as there is room for."""
    known = np.flatnonzero(np.isfinite(raised))
    labels = [printed_place(at, scene.unit) for at in s[known]]
    need = max(text_width(text, SMALL) for text in [*labels, *(words[int(i)] for i in known)]) * 1.12 + 7
    pitch = scene.points / (1.04 * float(np.ptp(s)))
    most = sorted((raised[known].argmax(), raised[known].argmin()), key=lambda k: -abs(raised[known][k]))
    first = [*(int(known[k]) for k in most), int(known[0]), int(known[-1])]
    stride = max(1, int(np.ceil(need / (pitch * float(np.median(np.diff(s)))))))
    return kept_apart([*first, *known[::stride].tolist(), *known.tolist()], s, need / pitch)


def _dress(ax: Axes, stations: Floats, scene: Scene, *, first: bool) -> None:
    step = height_step(scene.high - scene.low, scene.unit, 9 if scene.alone else 4)
    set_length_ticks(ax.yaxis, (scene.low, scene.high), step, scene.unit)
    ax.tick_params(axis="y", labelleft=first)
    ax.xaxis.set_ticks(stations, labels=[printed_place(settle(at), scene.unit) for at in stations])
    frame(ax)
    ax.grid(axis="x", color="#c9cdd2", linewidth=0.6, zorder=0.5)
    if scene.alone:
        ax.set_ylabel("off the line to follow", fontsize=NORMAL, color=INK)


def _row(
    ax: Axes, stations: Floats, words: Sequence[str], row: int, name: str, *, bold: bool
) -> tuple[Annotation, ...]:
    """A row of numbers beneath the axes, each at its station, with its name at the left."""
    down = -5 - 14.4 * row
    if name:
        note(ax, name, (0, 0), (-20, down), xycoords="axes fraction", ha="right", va="top")
    style = {"xycoords": ("data", "axes fraction"), "fontweight": "bold" if bold else "normal"}
    return tuple(
        note(ax, text, (float(at), 0), (0, down), ha="center", va="top", **style)
        for at, text in zip(stations, words, strict=True)
    )


def _head(ax: Axes, name: str, said: Sequence[str], scene: Scene) -> tuple[Annotation, ...]:
    style: dict[str, Any] = {"xycoords": "axes fraction", "va": "bottom", "parse_math": False}
    rest = wrap(said[1], scene.points * 0.97, SMALL)
    up = 6 + (rest.count("\n") + 1) * SMALL * 1.3
    title = note(ax, name, (0, 1), (0, up), fontsize=NORMAL, fontweight="bold", **style)
    beside = text_width(name, NORMAL, "bold") * 1.1 + 8
    when = note(ax, said[0], (0, 1), (beside, up), **style)
    below = note(ax, rest, (0, 1), (0, 5), linespacing=1.2, **style)
    return title, when, below


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


def member_chart(schedule: Schedule, member: str | Sequence[str] | None = None, *, unit: str = "in") -> MemberChart:
    """One member large, or up to 12 small: existing top, target, line to follow, string, and what to raise where.

    Parameters
    ----------
    schedule : what each member is set to
    member : its name, or several names; None takes all, and of more than 12 those that are raised or taken down most
    unit : ``in`` or ``mm``

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
    scene = scene_of(tables, unit, wide, high, alone=alone, lift=_lift(schedule))
    entries = _entries(schedule, pd.concat(tables))
    notes = _alone_notes(schedule, summaries[names[0]], unit) if alone else _notes(schedule, left_out, unit)
    heading = (
        _title(names, schedule, summaries, unit),
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
        what, expected, remedy = "members for one chart", f"1 to {MOST} names, each once", "make several charts"
        raise ArgumentError(what, column="member", value=", ".join(names) or "none", expected=expected, remedy=remedy)
    for name in names:
        check_choice("member", name, every)
        if name not in set(known["member"]):
            note = str(table.loc[table["member"] == name, "note"].iloc[0])
            raise MeasureError(f"{name} cannot be drawn: {note}", remedy="choose a member on the surface that was read")
    return names, 0


def _title(names: Sequence[str], schedule: Schedule, summaries: Mapping[str, Any], unit: str) -> str:
    if len(names) > 1:
        return "What each member is set to"
    return f"{names[0]}: {_deed(schedule, summaries[names[0]], unit)}"


def _lift(schedule: Schedule) -> str:
    """What is done to members, or to the straps over them."""
    return "shim" if len(schedule.shims) else "raise"


def _set(row: Mapping[Any, Any]) -> str:
    return "set first" if str(row["set"]).startswith("first") else f"set {row['set']}"


def _deed(schedule: Schedule, row: Mapping[Any, Any], unit: str) -> str:
    lift = _lift(schedule)
    up, down = float(row["raise_most_mm"]), float(row["take_down_mm"])
    parts = [f"{lift} up to {depth(up, unit)[1:]}"] if is_shown(up, unit) else []
    if is_shown(down, unit):
        may = {"no": " (not allowed)", "ask": " (ask first)", "not known": " (ask first)"}
        answer = may.get(str(row["may_be_taken_down"]).split(":")[0], "")
        where = printed_place(row["take_down_at_mm"], unit)
        parts.append(f"plane off {depth(down, unit)[1:]} at {where}{answer}")
    return ", ".join(parts) or "leave as it is"


def _alone_notes(schedule: Schedule, row: Mapping[Any, Any], unit: str) -> str:
    run, over = (1000.0, "a metre") if unit == "mm" else (3048.0, "10 ft")
    rise = float(row["slope_mm_per_m"]) * run / 1000
    size = depth(abs(rise), unit)[1:]
    slope = f"{'rises' if rise > 0 else 'falls'} {size} in {over}" if abs(rise) >= 0.1 else "lies level"
    notes = [f"{row['member']} is set {row['set']}; in place its line {slope}. Numbers: {in_words(unit)}."]
    if row["may_be_taken_down"] and is_shown(row["take_down_mm"], unit):
        notes.append(f"OK to plane? {str(row['may_be_taken_down']).capitalize()}.")
    if row["laps"]:
        notes.append(f"Sister laps: {say(row['laps'], unit)}.")
    if row["note"]:
        notes.append(f"Note: {say(row['note'], unit)}.")
    return "\n".join(notes)


def _notes(schedule: Schedule, left_out: int, unit: str) -> str:
    notes = [f"Numbers below each: {_lift(schedule)} (+) or plane off (\N{MINUS SIGN}) there, {in_words(unit)}."]
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
    up = "fur" if len(schedule.shims) else "sister"
    both = ((up, table["raise_mm"] > 0, "to raise"), ("plane", table["raise_mm"] < 0, "to plane off"))
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
    head = heading_in(heading, across)
    above = 0.1 if count == 1 else HEAD_IN
    block = above + high + FOOT_IN + rows * ROW_IN
    key_in = key_points(entries, across) / 72 + 0.15
    tall = head + -(-count // columns) * block + key_in
    figure = new_figure(PAGE_IN, tall)
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
