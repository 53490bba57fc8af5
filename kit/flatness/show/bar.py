"""A straightedge laid on a map: the bar, where it touches, and its gap in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.text import Annotation, Text

from flatness.lengths import settle
from flatness.measures.straightedge import Placement
from flatness.show.axes import INK, SMALL
from flatness.show.cut import ends_of
from flatness.show.labels import FreeSpace, rings
from flatness.show.scales import Scale, printed_place
from flatness.show.words import length

_PAPER = {"boxstyle": "round,pad=0.3", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}


@dataclass(frozen=True, eq=False)
class BarMarks:
    """A straightedge drawn on a map.

    Attributes
    ----------
    line : the bar from contact to contact; ``edge`` is its white border
    contacts : the two contact marks; ``letters`` are A and B on them
    spot : mark of the largest gap
    label : gap in words, with a leader to the spot
    """

    line: Line2D
    edge: Line2D
    contacts: Line2D
    spot: Line2D
    label: Annotation
    letters: tuple[Text, Text]


def bar_words(bar: Placement | None, bar_length: float | None, scale: Scale) -> str:
    if not bridges(bar):
        return ""
    gap = length(bar.gap, scale.unit, scale.limit)
    under = "" if bar_length is None else f" under {printed_place(bar_length, scale.unit)}"
    x, y = (printed_place(value, scale.unit) for value in bar.at)
    return f"gap {gap}{under}\nat x {x}, y {y}\ncontacts {printed_place(bar.span, scale.unit)} apart"


def bridges(bar: Placement | None) -> TypeGuard[Placement]:
    """Whether there is a gap to draw; binary noise is none."""
    return bar is not None and settle(bar.gap) > 0


def lay_bar(ax: Axes, bars: list[BarMarks], bar: Placement | None, words: str, space: FreeSpace) -> None:
    if not bridges(bar):
        for marks in bars:
            for artist in (marks.line, marks.edge, marks.contacts, marks.spot, marks.label, *marks.letters):
                artist.remove()
        bars.clear()
    elif bars:
        _move_bar(bars[0], bar, words, space)
    else:
        bars.append(_draw_bar(ax, bar, words, space))


def _draw_bar(ax: Axes, bar: Placement, words: str, space: FreeSpace) -> BarMarks:
    """The straightedge from contact to contact, where it touches, and its gap in words clear of it."""
    style: dict[str, Any] = {"scalex": False, "scaley": False, "solid_capstyle": "butt"}
    ends = np.array(ends_of(bar))
    (edge,) = ax.plot(*ends.T, color="white", linewidth=7.5, zorder=6, **style)
    (line,) = ax.plot(*ends.T, color=INK, linewidth=4.5, zorder=6.1, **style)
    (contacts,) = ax.plot(
        *ends.T, linestyle="none", marker="s", markersize=11, color="white", markeredgecolor=INK,
        markeredgewidth=1.6,
        zorder=6.2, scalex=False, scaley=False,
    )  # fmt: skip
    (spot,) = ax.plot(
        *bar.at, linestyle="none", marker="D", markersize=8, color="#ffd23f", markeredgecolor=INK,
        markeredgewidth=1.5,
        zorder=6.3, scalex=False, scaley=False,
    )  # fmt: skip
    label = ax.annotate(
        words, bar.at, (20, 20), textcoords="offset points", fontsize=SMALL, fontweight="bold", color=INK,
        zorder=7,
        linespacing=1.25, multialignment="left", bbox=_PAPER, annotation_clip=False,
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 1.0, "shrinkB": 5, "shrinkA": 0},
    )  # fmt: skip
    first, last = (
        ax.text(
            float(xy[0]),
            float(xy[1]),
            letter,
            ha="center",
            va="center_baseline",
            fontsize=SMALL,
            fontweight="bold",
            color=INK,
            zorder=6.4,
        )
        for xy, letter in zip(ends, "AB", strict=True)
    )
    marks = BarMarks(line, edge, contacts, spot, label, (first, last))
    _place_label(marks, space)
    return marks


def _move_bar(marks: BarMarks, bar: Placement, words: str, space: FreeSpace) -> None:
    """Lay the drawn straightedge elsewhere."""
    ends = np.array(ends_of(bar))
    for letter, xy in zip(marks.letters, ends, strict=True):
        letter.set_position(tuple(xy))
    for artist in (marks.line, marks.edge, marks.contacts):
        artist.set_data(*ends.T)
    marks.spot.set_data([bar.at[0]], [bar.at[1]])
    marks.label.set_text(words)
    marks.label.xy = bar.at
    _place_label(marks, space)


def _place_label(marks: BarMarks, space: FreeSpace) -> None:
    """Clear of everything, or in crowded axes at least clear of the bar; the leader is taken in any case."""
    ends = np.asarray(marks.line.get_xydata(), dtype=np.float64)
    bare = space.emptied()
    for part in (space, bare):
        part.take_line(ends, 4.0)
        part.take_marks(ends, 6.0)
        part.take_marks(np.array([marks.label.xy], dtype=np.float64), 6.0)
    if not space.place(marks.label, rings(), leader=True) and bare.place(marks.label, rings()):
        space.take_text(marks.label)
