"""The map of the gap under a straightedge.

A straightedge laid on a map: the bar, where it touches, and its gap in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Annotation, Text

from flatness.arrays import Floats
from flatness.charts import map_base as plan
from flatness.charts.axes import INK, SMALL, FreeSpace, leader, note, paper, put_marks, rings
from flatness.charts.profile import ends_of
from flatness.charts.scales import Scale, check_limit, check_unit, gap_scale, printed_limit, step_note
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.straightedge import Placement, StraightedgeResult
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.printed import length, place, printed_place


@dataclass(frozen=True, eq=False, kw_only=True)
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


def bar_words(bar: Placement | None, bar_length: float | None, scale: Scale, survey: Survey | None = None) -> str:
    """The gap under a bar, where it is worst, and how far apart its contacts stand; empty where there is no gap."""
    if not bridges(bar):
        return ""
    gap = length(bar.gap, scale.unit, scale.limit)
    under = "" if bar_length is None else f" under {printed_place(bar_length, scale.unit)}"
    x, y = (printed_place(value, scale.unit) for value in bar.at)
    known = survey is not None and survey.walls.door is not None
    at = place(bar.at, scale.unit, survey).replace(", ", ",\n") if known else f"at x {x}, y {y}"
    return f"gap {gap}{under}\n{at}\ncontacts {printed_place(bar.span, scale.unit)} apart"


def bridges(bar: Placement | None) -> TypeGuard[Placement]:
    """Whether there is a gap to draw; binary noise is none."""
    return bar is not None and settle(bar.gap) > 0


def lay_bar(ax: Axes, bars: list[BarMarks], bar: Placement | None, words: str, space: FreeSpace) -> None:
    """Draw a straightedge in place of the one in ``bars``; none where there is no gap."""
    for marks in bars:
        for artist in (marks.line, marks.edge, marks.contacts, marks.spot, marks.label, *marks.letters):
            artist.remove()
    bars[:] = [_draw_bar(ax, bar, words, space)] if bridges(bar) else []


def _draw_bar(ax: Axes, bar: Placement, words: str, space: FreeSpace) -> BarMarks:
    """The straightedge from contact to contact, where it touches, and its gap in words clear of it."""
    style: dict[str, Any] = {"scalex": False, "scaley": False, "solid_capstyle": "butt"}
    ends = np.array(ends_of(bar))
    (edge,) = ax.plot(*ends.T, color="white", linewidth=7.5, zorder=6, **style)
    (line,) = ax.plot(*ends.T, color=INK, linewidth=4.5, zorder=6.1, **style)
    contacts = put_marks(ax, "s", *ends.T, markersize=11, color="white", markeredgewidth=1.6, zorder=6.2)
    spot = put_marks(ax, "D", *bar.at, markersize=8, color="#ffd23f", markeredgewidth=1.5, zorder=6.3)
    boxed: dict[str, Any] = {"bbox": paper(0.3), "arrowprops": leader(spot=5), "multialignment": "left"}
    label = note(ax, words, bar.at, off=(20, 20), fontweight="bold", zorder=7, linespacing=1.25, **boxed)
    bold: dict[str, Any] = {"fontsize": SMALL, "fontweight": "bold", "color": INK, "zorder": 6.4}
    first, last = (
        ax.text(float(x), float(y), letter, ha="center", va="center_baseline", **bold)
        for (x, y), letter in zip(ends, "AB", strict=True)
    )
    marks = BarMarks(line=line, edge=edge, contacts=contacts, spot=spot, label=label, letters=(first, last))
    _place_label(marks, space)
    return marks


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


@dataclass(frozen=True, eq=False, kw_only=True)
class GapMap(plan.BaseMap):
    """The artists of :func:`gap_map`.

    Attributes
    ----------
    over : hatch over the places where the gap is over the allowed one, or None where none is given
    bar : the straightedge drawn, in a list of one; empty without
    """

    over: PathPatch | None
    bar: list[BarMarks]


def gap_map(
    surface: Surface,
    result: StraightedgeResult,
    *,
    allowed_mm: float | None = None,
    survey: Survey | None = None,
    unit: str = "in",
    title: str | None = None,
    ax: Axes | None = None,
) -> GapMap:
    """A map of the largest gap under a straightedge at every place.

    Parameters
    ----------
    surface : the surface that was measured
    result : what :func:`~flatness.measures.straightedge.straightedge` gave for it
    allowed_mm : allowed gap [mm]: a colour step falls on it, and places over it are hatched
    survey : the readings: stations, outline and openings are drawn
    unit : ``in`` or ``mm``
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    GapMap

    Raises
    ------
    ArgumentError : a result of another lattice, an unknown unit, or an allowed gap that is not above zero
    """
    check_unit(unit)
    allowed = check_limit(allowed_mm, "allowed_mm")
    if result.gap.shape != surface.height.shape:
        what, expected = "the result belongs to another surface", f"{surface.height.shape}, as the surface's heights"
        remedy = "measure this surface, or pass the one that was measured"
        raise ArgumentError(what, value=f"{result.gap.shape} gaps", expected=expected, remedy=remedy)
    if not np.isfinite(result.gap).any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    scale = gap_scale(float(np.nanmax(result.gap)), unit, allowed)
    kind = survey.surface if survey is not None else "surface"
    length = printed_place(result.length, unit)
    heading = (
        f"Gap under a {length} straightedge, anywhere on the {kind}" if title is None else title,
        _gap_notes(result, scale),
    )
    grid = plan.fine(surface, result.gap)
    base, space = plan.begin_map(surface, grid, scale, heading, ("no gap", "larger gap"), survey, ax)
    style: dict[str, Any] = {"edgecolor": "#4a2f63", "hatch": "////", "linewidth": 1.4, "zorder": 2}
    over = None if allowed is None else plan.draw_region(base.ax, region_over(grid, allowed), None, **style)
    bars: list[BarMarks] = []
    lay_bar(base.ax, bars, result.worst, bar_words(result.worst, result.length, scale, survey), space)
    return GapMap(**vars(base), over=over, bar=bars)


def _gap_notes(result: StraightedgeResult, scale: Scale) -> str:
    notes = []
    if scale.limit is not None:
        over = settle(float(np.nanmax(result.gap))) > settle(scale.limit)
        allowed = f"Allowed {printed_limit(scale.limit, scale.unit)}"
        notes.append(
            f"{allowed}; hatched where the gap is over it." if over else f"{allowed}; no gap is over it, as read."
        )
    notes.append(step_note(scale))
    if not bridges(result.worst):
        notes.append("No gap between contact points anywhere.")
    if result.length_used < result.length * (1 - 1e-6):
        notes.append(f"The longest bar laid was {printed_place(result.length_used, scale.unit)}.")
    return " ".join(notes)


def region_over(grid: tuple[Floats, Floats, Floats], allowed: float) -> Path:
    """The places where the values are over ``allowed`` [mm], as one path; empty where none are."""
    values = grid[2]
    if np.isfinite(values).any() and settle(float(np.nanmax(values))) <= settle(allowed):
        return Path(np.zeros((0, 2)))
    return plan.region(grid, allowed + 1e-6)
