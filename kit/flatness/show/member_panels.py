"""One member on a chart of members: its lines, what to raise and take down, and the numbers beneath."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.text import Annotation

from flatness.lengths import settle
from flatness.show.axes import INK, NORMAL, PALE, SMALL
from flatness.show.done_words import least_told, number
from flatness.show.labels import text_width, wrap
from flatness.show.patterns import PATTERNS
from flatness.show.scales import height_step, printed, printed_place
from flatness.survey.readings import Floats

BODY = "#dad5cd"
STYLES: dict[str, dict[str, Any]] = {
    "existing": {"color": INK, "linewidth": 1.8},
    "line": {"color": "#2b7a52", "linewidth": 2.6},
    "target": {"color": INK, "linewidth": 1.2, "linestyle": (0, (3, 2))},
    "string": {"color": "#a3271f", "linewidth": 1.3, "linestyle": (0, (9, 2, 2, 2))},
}


@dataclass(frozen=True, eq=False)
class MemberPanel:
    """One member; heights are off the line it is set to, which lies level on the chart whatever its slope in place.

    Attributes
    ----------
    name, ax : the member and its axes
    existing, line, target : existing top, line to follow and target
    string : the string between the end members, or None where there is none
    raised, taken : where to raise and where to take down, hatched
    stations : [k] mm along the member that have numbers
    numbers : what to raise (+) or take down (-) there
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


@dataclass(frozen=True)
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
    return Scene(low, high, times, wide_in * 72, 2 if string else 1, unit, alone, lift)


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
    table : its rows of :attr:`flatness.corrections.schedule.Schedule.table`
    scene : what all panels share
    said : lines above it, after its name; none above a panel alone
    first : whether the heights are told beside it
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
            s, top, 0, where=np.nan_to_num(side * top) > 0, interpolate=True, facecolor=PATTERNS[action].face,
            edgecolor=PATTERNS[action].line, hatch=PATTERNS[action].hatch, linewidth=0, zorder=2,
        )
        for side, action in ((-1, up), (1, "plane"))
    )  # fmt: skip
    ax.set(xlim=(s.min() - margin, s.max() + margin), ylim=(scene.low, scene.high))
    lines = {
        label: ax.plot(s, heights, zorder=zorder, **STYLES[label], **style)[0]
        for label, heights, zorder in (
            ("line", np.where(np.isfinite(top), 0.0, np.nan), 3.0), ("existing", top, 4.0), ("target", target, 5.0),
            ("string", string, 3.5),
        )
    }  # fmt: skip
    if not np.isfinite(string).any():
        lines.pop("string").remove()
    words = [_told(value, scene.unit) for value in raised_by]
    keep = _shown(s, raised_by, words, scene)
    _dress(ax, s[keep], scene, first=first)
    numbers = _row(ax, s[keep], [words[i] for i in keep], 1, f"{scene.lift} (+)" if first else "", bold=True)
    below: tuple[Annotation, ...] = ()
    if scene.rows == 2:
        down = table["below_string_mm"].to_numpy(dtype=np.float64)[keep]
        below = _row(
            ax, s[keep], [_told(value, scene.unit).lstrip("+") for value in down], 2, "string to top", bold=False
        )
    return MemberPanel(
        name, ax, lines["existing"], lines["line"], lines["target"], lines.get("string"), raised, taken, s[keep],
        numbers, below, _head(ax, name, said, scene) if said else (),
    )  # fmt: skip


def _told(mm: float, unit: str) -> str:
    """A number beneath a station: 0 where a tape tells nothing, a dash where nothing is known."""
    if not np.isfinite(mm):
        return "\N{EN DASH}"
    return number(mm, unit) if settle(abs(mm) - least_told(unit)) >= 0 else "0"


def _shown(s: Floats, raised: Floats, words: Sequence[str], scene: Scene) -> list[int]:
    """Stations with numbers: the ends and the greatest ones first, then evenly as many as there is room for."""
    known = np.flatnonzero(np.isfinite(raised))
    labels = [printed_place(at, scene.unit) for at in s[known]]
    need = max(text_width(text, SMALL) for text in [*labels, *(words[int(i)] for i in known)]) * 1.12 + 7
    pitch = scene.points / (1.04 * float(np.ptp(s)))
    most = sorted((raised[known].argmax(), raised[known].argmin()), key=lambda k: -abs(raised[known][k]))
    first = [*(int(known[k]) for k in most), int(known[0]), int(known[-1])]
    stride = max(1, int(np.ceil(need / (pitch * float(np.median(np.diff(s)))))))
    kept: list[int] = []
    for i in [*first, *(int(k) for k in known[::stride]), *(int(k) for k in known)]:
        if all(abs(s[i] - s[j]) * pitch >= need for j in kept):
            kept.append(i)
    return sorted(kept)


def _dress(ax: Axes, stations: Floats, scene: Scene, *, first: bool) -> None:
    step = height_step(scene.high - scene.low, scene.unit, 9 if scene.alone else 4)
    ticks = step * np.arange(np.ceil(scene.low / step), np.floor(scene.high / step) + 1)
    labels = [printed(settle(tick), scene.unit, 64, signed=True) if first else "" for tick in ticks]
    ax.yaxis.set_ticks(ticks, labels=labels)
    ax.xaxis.set_ticks(stations, labels=[printed_place(settle(at), scene.unit) for at in stations])
    ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3, width=0.8)
    ax.grid(axis="x", color="#c9cdd2", linewidth=0.6, zorder=0.5)
    for side, spine in ax.spines.items():
        spine.set(visible=side in ("left", "bottom"), color=PALE, linewidth=0.8)
    if scene.alone:
        ax.set_ylabel("off the line to follow", fontsize=NORMAL, color=INK)


def _row(
    ax: Axes, stations: Floats, words: Sequence[str], row: int, name: str, *, bold: bool
) -> tuple[Annotation, ...]:
    """A row of numbers beneath the axes, each at its station, with its name at the left."""
    style: dict[str, Any] = {
        "textcoords": "offset points", "va": "top", "fontsize": SMALL, "color": INK, "annotation_clip": False,
    }  # fmt: skip
    down = -5 - 14.4 * row
    if name:
        ax.annotate(name, (0, 0), (-20, down), xycoords="axes fraction", ha="right", **style)
    weight = "bold" if bold else "normal"
    return tuple(
        ax.annotate(text, (float(at), 0), (0, down), xycoords=("data", "axes fraction"), ha="center",
                    fontweight=weight, **style)
        for at, text in zip(stations, words, strict=True)
    )  # fmt: skip


def _head(ax: Axes, name: str, said: Sequence[str], scene: Scene) -> tuple[Annotation, ...]:
    style: dict[str, Any] = {
        "xycoords": "axes fraction", "textcoords": "offset points", "va": "bottom", "color": INK,
        "annotation_clip": False, "parse_math": False,
    }  # fmt: skip
    rest = wrap(said[1], scene.points * 0.97, SMALL)
    up = 6 + (rest.count("\n") + 1) * SMALL * 1.3
    title = ax.annotate(name, (0, 1), (0, up), fontsize=NORMAL, fontweight="bold", **style)
    beside = text_width(name, NORMAL, "bold") * 1.1 + 8
    when = ax.annotate(said[0], (0, 1), (beside, up), fontsize=SMALL, **style)
    below = ax.annotate(rest, (0, 1), (0, 5), fontsize=SMALL, linespacing=1.2, **style)
    return title, when, below
