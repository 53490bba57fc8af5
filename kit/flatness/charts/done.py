"""The chart of done against planned: for each patch and member what was planned, what was done, and how sure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.text import Text
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NORMAL,
    SMALL,
    WIDTH_IN,
    frame,
    heading_in,
    new_figure,
    note,
    put_heading,
    put_marks,
    set_length_ticks,
    text_width,
)
from flatness.charts.scales import check_unit, height_step
from flatness.comparison.against_plan import OVER, SHORT, UNPLANNED, UNSEEN, UNTOLD, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.errors import MeasureError
from flatness.words.comparisons import doubt, part_name
from flatness.words.datum import agree_words, off_words, signed, true_minus

# told apart by shape as well as by colour, and in grey
MARKS = {
    WITHIN: ("o", "#3f8f5f"),
    SHORT: ("<", "#2f6fa8"),
    OVER: (">", "#d07a1f"),
    UNTOUCHED: ("X", "#7a1f2b"),
    UNPLANNED: ("s", "#6b4a94"),
    UNTOLD: ("p", "#8a8f98"),
}
ROW_IN = 0.34
HOLLOW, GAP = 9.0, 14.0


@dataclass(frozen=True, eq=False, kw_only=True)
class DoneChart:
    """The artists of :func:`done_chart`.

    Attributes
    ----------
    ax : the axes; rows run downward in the order of the plan's table
    planned, done : marks of each row's mean change; ``done`` one Line2D a row, None where not surveyed
    errors : the range that the error leaves for what was done
    names, words : what each row is, and what became of it
    """

    ax: Axes
    planned: Line2D
    done: tuple[Line2D | None, ...]
    errors: LineCollection
    names: tuple[Text, ...]
    words: tuple[Text, ...]


def done_chart(comparison: Comparison, *, unit: str = "in", title: str | None = None) -> DoneChart:
    """What was done against what was planned, one row a patch and a member.

    Parameters
    ----------
    comparison : made with ``plan=``
    unit : ``in`` or ``mm``
    title : None says what is seen

    Returns
    -------
    DoneChart

    Raises
    ------
    MeasureError : a comparison without a plan, or a plan without patches and members
    """
    check_unit(unit)
    if comparison.plan is None:
        raise MeasureError("this comparison was made without a plan", remedy="compare(..., plan=...)")
    rows = [row for row in comparison.plan.to_dict("records") if row["what"] != "whole"]
    if all(row["what"] == "elsewhere" for row in rows):
        raise MeasureError("the plan has neither patches nor members", expected="one or more to hold it against")
    reach = float(ndtri((1 + comparison.confidence) / 2))
    # the plan as the stations show it, so that what lies between the two marks is what is left to do
    planned = np.array([row["done_mm"] - row["rest_mm"] for row in rows], dtype=np.float64)
    done = np.array([row["done_mm"] for row in rows], dtype=np.float64)
    half = reach * np.array([row["error_mm"] for row in rows], dtype=np.float64)
    names, words = [part_name(row) for row in rows], [_words(row, comparison.surveys[1].surface, unit) for row in rows]
    heading = (
        "Done against planned" if title is None else title,
        "Mean change of each; of a member, of the stretch that misses the plan most surely. Hollow: planned; filled: "
        f"done, with its {100 * comparison.confidence:g} % range. Taken off to the left, added to the right. In "
        "words: the station that is farthest off the height to set.",
    )
    ax = _axes(len(rows), names, words, heading)
    limits = _limits(planned, done, half)
    ax.set(xlim=limits, ylim=(len(rows) - 0.5, -0.5))
    set_length_ticks(ax.xaxis, limits, height_step(limits[1] - limits[0], unit, 8), unit)
    at = np.arange(len(rows), dtype=np.float64)
    ax.set_yticks(at, labels=names)
    frame(ax, "bottom")
    ax.tick_params(axis="y", length=0, labelsize=NORMAL)
    ax.grid(axis="x", color="#e3e5e8", linewidth=0.7, zorder=0)
    ax.set_axisbelow(True)
    ax.axvline(0, color=INK, linewidth=1.0, zorder=1.5)
    errors = LineCollection(
        [[(d - h, y), (d + h, y)] for d, h, y in zip(done, half, at, strict=True)], colors=INK, linewidths=2.2, zorder=3
    )
    ax.add_collection(errors, autolim=False)
    hollow = put_marks(
        ax, "D", planned, at, markersize=HOLLOW, markerfacecolor="white", markeredgewidth=1.4, zorder=2.5
    )
    marks = tuple(_mark(ax, row, float(d), float(y)) for row, d, y in zip(rows, done, at, strict=True))
    told = tuple(
        note(ax, text, (1, y), off=(GAP, 0), xycoords=("axes fraction", "data"), va="center")
        for text, y in zip(words, at, strict=True)
    )
    return DoneChart(ax=ax, planned=hollow, done=marks, errors=errors, names=tuple(ax.get_yticklabels()), words=told)


def _words(row: dict[Any, Any], surface: str, unit: str) -> str:
    status = str(row["status"])
    if status in (UNSEEN, UNTOLD):
        return status
    uncertain = doubt(row)
    off = f", {signed(row['rest_mm'], unit)}" if status == UNPLANNED else f", {off_words(row, surface, unit)}"
    if status == WITHIN:
        off = f", {agree_words(row)} stations" if row["stations"] > 0 else ""
    return true_minus(f"{status}{f' ({uncertain})' if uncertain else ''}{off}")


def _mark(ax: Axes, row: dict[object, object], x: float, y: float) -> Line2D | None:
    status = str(row["status"])
    if status not in MARKS:
        return None
    marker, colour = MARKS[status]
    return put_marks(ax, marker, x, y, markersize=9, color=colour, markeredgewidth=0.9, zorder=4)


def _limits(planned: Floats, done: Floats, half: Floats) -> tuple[float, float]:
    ends = np.concatenate([planned, done - half, done + half, [0.0]])
    low, high = float(np.nanmin(ends)), float(np.nanmax(ends))
    margin = 0.06 * max(high - low, 0.5)
    return low - margin, high + margin


def _axes(count: int, names: list[str], words: list[str], heading: tuple[str, str]) -> Axes:
    left = max(text_width(name, NORMAL) for name in names) / 72 + 0.35
    right = max(text_width(text, SMALL) for text in words) / 72 * 1.03 + GAP / 72 + 0.2
    width = max(WIDTH_IN, left + right + 3.5)
    points = (width - left - 0.3) * 70
    high, foot = ROW_IN * count + 0.1, 0.4
    height = heading_in(heading, points) + high + foot
    figure = new_figure(width, height)
    ax = figure.add_axes((left / width, foot / height, (width - left - right) / width, high / height))
    put_heading(ax, heading, points)
    return ax
