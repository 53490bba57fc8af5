"""Charts of two surveys: what changed, where change is shown; done against planned.

Both surfaces of a comparison side by side, on one scale and off one plane.

The plane off which the days of one surface are drawn: one level plane, else each its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colorbar import Colorbar
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.text import Annotation, Text
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.charts import map_base as plan
from flatness.charts.axes import (
    HEIGHT_IN,
    INK,
    NORMAL,
    SMALL,
    WIDTH_IN,
    FreeSpace,
    colour_bar,
    dress_map,
    frame,
    heading_in,
    new_figure,
    note,
    panel_axes,
    paper,
    put_heading,
    put_marks,
    set_length_ticks,
    text_width,
)
from flatness.charts.scales import Scale, check_unit, deviation_scale, height_step, step_note
from flatness.comparison.against_plan import OVER, SHORT, UNPLANNED, UNSEEN, UNTOLD, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.errors import MeasureError
from flatness.lengths import format_length
from flatness.measures.planes import fit_surface_plane
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Survey
from flatness.words.comparisons import agree_words, doubt, off_words, part_name
from flatness.words.printed import signed, true_minus

WAYS = {
    "benchmarks": "aligned on benchmarks",
    "offset": "aligned by an offset",
    "tilt": "aligned by an offset and a tilt",
    "none": "both on one datum",
}


def surface_of(comparison: Comparison, values: Floats) -> Surface:
    """Values [ny, nx] mm on the lattice of a comparison, as a surface."""
    return Surface(x=comparison.x, y=comparison.y, height=values, spacing=comparison.spacing)


@dataclass(frozen=True, eq=False, kw_only=True)
class BeforeAfter:
    """The artists of :func:`before_after`; two of each, before first.

    Attributes
    ----------
    axes, images, contours, stations, outlines : of either day
    colour_bar, scale : of both
    """

    axes: tuple[Axes, Axes]
    images: tuple[AxesImage, AxesImage]
    contours: tuple[LineCollection, LineCollection]
    stations: tuple[Line2D, Line2D]
    outlines: tuple[tuple[Artist, ...], tuple[Artist, ...]]
    colour_bar: Colorbar
    scale: Scale

    @property
    def ax(self) -> Axes:
        """The axes of before, whose figure holds all."""
        return self.axes[0]


def before_after(comparison: Comparison, *, unit: str = "in") -> BeforeAfter:
    """Both surfaces side by side, on one scale and off one plane: the best-fit plane of before.

    Parameters
    ----------
    comparison : what was found
    unit : ``in`` or ``mm``

    Returns
    -------
    BeforeAfter
    """
    check_unit(unit)
    heights = (comparison.before_heights, comparison.after_heights)
    plane = fit_surface_plane(surface_of(comparison, heights[0]))
    gx, gy = np.meshgrid(comparison.x, comparison.y)
    values = tuple(height - plane.at(gx, gy) for height in heights)
    scale = deviation_scale(max(float(np.nanmax(np.abs(value))) for value in values), unit)
    kind = comparison.surveys[1].surface
    heading = (
        f"The {kind} before and after, off one plane",
        f"Both off the best-fit plane of before; {WAYS[comparison.alignment.way]}. {step_note(scale)} "
        "Lines: solid proud, dashed low.",
    )
    boxes = [
        plan.bounds_of(surface_of(comparison, value), survey)
        for value, survey in zip(values, comparison.surveys, strict=True)
    ]
    bounds = tuple(float(f(side)) for f, side in zip((min, max, min, max), zip(*boxes, strict=True), strict=True))
    turns = comparison.surveys[1].turns
    extent = plan.with_margin((bounds[0], bounds[1], bounds[2], bounds[3]), turns)
    axes, cax = panel_axes(extent, heading, 2, turns=turns, stacked=1.6, tall_in=HEIGHT_IN - 1.0, bar_in=0.82)
    assert cax is not None
    images, contours, stations, outlines = [], [], [], []
    inner = scale.edges[(scale.edges != 0)]
    for ax, value, survey, name in zip(axes, values, comparison.surveys, ("Before", "After"), strict=True):
        grid = plan.fine(surface_of(comparison, value), value)
        images.append(plan.draw_image(ax, grid, scale, survey))
        # in grey a ridge and a dip are kept apart by their lines
        contours.append(plan.draw_contours(ax, plan.contour_lines(grid, inner), None))
        dress_map(ax, (bounds[0], bounds[1], bounds[2], bounds[3]), kind, unit, survey)
        stations.append(plan.draw_stations(ax, survey))
        outlines.append(plan.draw_outline(ax, survey, FreeSpace(ax)))
        named = f"{name}, {survey.date}" if survey.date else name
        ax.set_title(named, loc="left", fontsize=NORMAL + 1, fontweight="bold", color=INK, pad=6, parse_math=False)
    bar = colour_bar(cax, scale, "horizontal", ("low", "proud"), signed=True)
    return BeforeAfter(
        axes=(axes[0], axes[1]),
        images=(images[0], images[1]),
        contours=(contours[0], contours[1]),
        stations=(stations[0], stations[1]),
        outlines=(outlines[0], outlines[1]),
        colour_bar=bar,
        scale=scale,
    )


__all__ = ["BeforeAfter", "DifferenceMap", "DoneChart", "before_after", "difference_map", "done_chart"]

UNSHOWN, UNSHOWN_LINE = "#d5d7da", "#8b929a"
NO_CHANGE = "no change shown"


@dataclass(frozen=True, eq=False, kw_only=True)
class DifferenceMap(plan.BaseMap):
    """The artists of :func:`difference_map`; ``stations`` are those of the later day.

    Attributes
    ----------
    unshown : grey hatch over the places where no change is shown
    contours, contour_texts : lines of equal change where change is shown, and their labels
    before : marks of the earlier day's stations; None where both days read the same places
    """

    unshown: PathPatch
    contours: LineCollection
    contour_texts: list[Annotation]
    before: Line2D | None


def difference_map(
    comparison: Comparison, *, unit: str = "in", title: str | None = None, ax: Axes | None = None
) -> DifferenceMap:
    """A map of what changed: after minus before, taken off in blue, added in orange.

    Where the difference lies within the limit of detection no change is shown: grey and hatched, never a colour of the
    scale.

    Parameters
    ----------
    comparison : what was found
    unit : ``in`` or ``mm``
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    DifferenceMap
    """
    check_unit(unit)
    if not np.isfinite(comparison.difference).any():
        raise MeasureError("there is no difference anywhere", expected="a comparison with a common area")
    before, after = comparison.surveys
    shown, grid = _shown(comparison)
    most = float(np.nanmax(np.abs(comparison.difference)))
    scale = deviation_scale(most, unit)
    heading = (
        f"What changed on the {after.surface}: after minus before" if title is None else title,
        " ".join(_notes(comparison, scale)),
    )
    surface = surface_of(comparison, comparison.difference)
    base, space = plan.begin_map(surface, shown, scale, heading, ("taken off", "added"), after, ax, signed=True)
    ax = base.ax
    style = {"facecolor": UNSHOWN, "edgecolor": UNSHOWN_LINE, "hatch": "\\\\\\", "linewidth": 0.6, "zorder": 1.5}
    unshown = plan.draw_region(ax, plan.region(grid, 0.0), after, **style)
    lines = plan.contour_lines(shown, plan.levels_within(scale, shown[2]))
    assert base.stations is not None
    stations = np.asarray(base.stations.get_xydata(), dtype=np.float64)
    contours, texts = plan.draw_contours(ax, lines, None), plan.label_contours(ax, lines, unit, space, stations)
    _name_unshown(ax, grid, space)
    return DifferenceMap(
        **vars(base),
        unshown=unshown,
        contours=contours,
        contour_texts=texts,
        before=None if _same_places(before, after) else _crosses(ax, before),
    )


Grid = tuple[Floats, Floats, Floats]


def _shown(comparison: Comparison) -> tuple[Grid, Grid]:
    """The difference on a finer lattice, blank where no change is shown; and by how much it stays within detection."""
    surface = surface_of(comparison, comparison.difference)
    x, y, values = plan.fine(surface, comparison.difference)
    within = plan.fine(surface, comparison.detection)[2] - np.abs(values)
    return (x, y, np.where(within < 0, values, np.nan)), (x, y, within)


def _name_unshown(ax: Axes, grid: Grid, space: FreeSpace) -> None:
    """``no change shown`` in the grey, at the place that is farthest inside; nowhere where there is no room."""
    x, y, within = grid
    inside = np.where(np.isfinite(within), within, -1.0) >= 0
    text = note(ax, NO_CHANGE, (0, 0), ha="center", va="center", zorder=6, bbox=paper(edge=UNSHOWN_LINE))
    for j, i in _deep_places(inside):
        text.xy = (float(x[i]), float(y[j]))
        if space.place(text, [(0, 0, "center", "center")]):
            return
    text.remove()


def _deep_places(inside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Some nodes inside a region, those farthest from its edge first."""
    padded = np.pad(inside, 1)
    # labels are wide and low: across counts for a third
    depth = np.asarray(distance_transform_edt(padded, sampling=(3.0, 1.0)))[1:-1, 1:-1]
    order = np.argsort(-depth, axis=None)[:4000:40]
    return [(int(k) // inside.shape[1], int(k) % inside.shape[1]) for k in order if depth.ravel()[k] > 0]


def _same_places(before: Survey, after: Survey) -> bool:
    one, other = (np.column_stack(survey.stations()[:2]).round(0) for survey in (before, after))
    return len(one) == len(other) and bool((np.unique(one, axis=0) == np.unique(other, axis=0)).all())


def _crosses(ax: Axes, survey: Survey) -> Line2D:
    x, y, _, _ = survey.stations()
    size = min(5.5, 0.5 * plan.room_of_one(ax, len(x)))
    return put_marks(ax, "+", x, y, markersize=size, color=INK, markeredgewidth=0.9, zorder=4.9, markeredgecolor=None)


def _notes(comparison: Comparison, scale: Scale) -> list[str]:
    middle = float(np.nanmedian(comparison.detection))
    limit = format_length(middle, scale.unit, 64)
    notes = [
        f"Grey, hatched: no change shown, the difference is within the limit of detection, about {limit} at "
        f"{100 * comparison.confidence:g} %; {WAYS[comparison.alignment.way]}."
    ]
    notes.append(step_note(scale) + " Lines: dashed taken off, solid added.")
    if not _same_places(*comparison.surveys):
        notes.append("Crosses: stations before; dots: after.")
    if not comparison.alignment.is_level_known:
        notes.append("Changes of level are not known.")
    return notes


SAMPLES = 201  # along each side
LEAST_BLANK, LEAST_STRIP = 0.002, 0.005  # of the area, of the longer side: less is not seen


def one_datum(survey: Survey, comparison: Comparison | None) -> bool:
    """Whether the days of a survey stand on one datum whose level, or plumb, is known."""
    if comparison is None:
        return survey.is_level
    return comparison.alignment.is_level_known and all(one.is_level for one in comparison.surveys)


def drawn_off(surfaces: Sequence[Surface], kind: str, is_true: bool) -> list[Surface]:
    """The surfaces as heights [mm] off the plane that they are drawn off.

    Parameters
    ----------
    surfaces : the days of one surface in the order of time, on one lattice; the last is the finished one
    kind : floor, ceiling or wall
    is_true : whether they stand on one datum that is level or plumb: then all are drawn off one such plane, at the
        mean height of the finished one, for a wall the upright plane that lies nearest to it; otherwise, and where
        there is one day alone, each is drawn off the plane that lies nearest to itself
    """
    if not is_true or len(surfaces) == 1:
        return [replace(one, height=one.height - _nearest(one)) for one in surfaces]
    last = surfaces[-1]
    base = _upright(last) if kind == "wall" else np.full(last.height.shape, float(np.nanmean(last.height)))
    return [replace(one, height=one.height - base) for one in surfaces]


def _nearest(surface: Surface) -> Floats:
    gx, gy = np.meshgrid(surface.x, surface.y)
    return np.asarray(fit_surface_plane(surface).at(gx, gy))


def _upright(surface: Surface) -> Floats:
    """The upright plane that lies nearest to a wall: it may turn along x, and not lean along y."""
    gx = np.broadcast_to(surface.x, surface.height.shape)
    inside = np.isfinite(surface.height)
    middle = gx[inside].mean()
    off = gx[inside] - middle
    turn = float(off @ surface.height[inside] / max(off @ off, 1e-9))
    return np.asarray(float(surface.height[inside].mean()) + turn * (gx - middle))


def plane_says(kind: str, is_true: bool, last: str) -> str:
    """What the maps of two days are drawn off; ``last`` is the finished day, such as ``after the work``."""
    if not is_true:
        return (
            "Each map shows heights off a plane of its own, the one that lies nearest to its surface: how the two lie "
            "against one another is not shown."
        )
    if kind == "wall":
        return (
            f"Both maps show how far the wall stands off one upright plane, the one nearest to the wall {last}: "
            "a flat wall that leans shows as even bands."
        )
    return (
        f"Both maps show heights off one level plane, at the mean height of the {kind} {last}: "
        f"a flat {kind} that slopes shows as even bands."
    )


def is_blank(surface: Surface, survey: Survey) -> bool:
    """Whether part of what the outline and the stations span has no height, so that its map stays white there."""
    sx, sy, _, _ = survey.stations()
    area = survey.outline if survey.outline is not None else shapely.box(sx.min(), sy.min(), sx.max(), sy.max())
    for opening in survey.openings:
        area = area.difference(opening)
    x0, y0, x1, y1 = area.bounds
    x, y = np.linspace(x0, x1, SAMPLES), np.linspace(y0, y1, SAMPLES)
    gx, gy = np.meshgrid(x, y)
    # a strip along the edge that is too narrow to be seen is none
    within = shapely.contains_xy(area.buffer(-LEAST_STRIP * max(x1 - x0, y1 - y0)), gx, gy)
    height = bilinear(surface.x, surface.y, surface.height, x, y)
    return bool(within.any() and np.isnan(height[within]).mean() > LEAST_BLANK)


# distinct by shape as well as by colour, and in grey
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


def done_chart(comparison: Comparison, *, unit: str = "in") -> DoneChart:
    """What was done against what was planned, one row a patch and a member.

    Parameters
    ----------
    comparison : made with ``plan=``
    unit : ``in`` or ``mm``

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
        raise MeasureError("the plan has neither patches nor members", expected="one or more to compare it with")
    reach = float(ndtri((1 + comparison.confidence) / 2))
    # the plan as the stations show it, so that what lies between the two marks is what is left to do
    planned = np.array([row["done_mm"] - row["rest_mm"] for row in rows], dtype=np.float64)
    done = np.array([row["done_mm"] for row in rows], dtype=np.float64)
    half = reach * np.array([row["error_mm"] for row in rows], dtype=np.float64)
    names, words = [part_name(row) for row in rows], [_words(row, comparison.surveys[1].surface, unit) for row in rows]
    heading = (
        "Done against planned",
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
    wording = tuple(
        note(ax, text, (1, y), off=(GAP, 0), xycoords=("axes fraction", "data"), va="center")
        for text, y in zip(words, at, strict=True)
    )
    return DoneChart(ax=ax, planned=hollow, done=marks, errors=errors, names=tuple(ax.get_yticklabels()), words=wording)


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
