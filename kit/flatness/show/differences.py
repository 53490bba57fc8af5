"""The map of the difference of two surveys: what changed, where change is shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colorbar import Colorbar
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Annotation
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from flatness.comparison.comparing import Comparison
from flatness.errors import MeasureError
from flatness.lengths import format_length
from flatness.show import plan
from flatness.show.axes import (
    INK,
    SMALL,
    colour_bar,
    dress_map,
    map_axes,
)
from flatness.show.done import DoneChart, done_chart
from flatness.show.labels import FreeSpace
from flatness.show.scales import Scale, check_limit, check_unit, deviation_scale, step_note
from flatness.show.side_by_side import WAYS, BeforeAfter, before_after, surface_of
from flatness.survey.readings import Floats, Survey

__all__ = ["BeforeAfter", "DifferenceMap", "DoneChart", "before_after", "difference_map", "done_chart"]

UNSHOWN, UNSHOWN_LINE = "#d5d7da", "#8b929a"
NO_CHANGE = "no change shown"


@dataclass(frozen=True, eq=False)
class DifferenceMap:
    """The artists of :func:`difference_map`; :meth:`update` changes them in place.

    Attributes
    ----------
    ax, image, colour_bar, scale : the map and its steps
    unshown : grey hatch over the places where no change is shown
    unshown_text : what it is called, in a list of one; empty where there is no room
    contours, contour_texts : lines of equal change where change is shown, and their labels
    before, after : marks of the stations of either day; before None where both days read the same places
    outline, scale_bar : as in :class:`~flatness.show.charts.SurfaceMap`
    """

    ax: Axes
    image: AxesImage
    colour_bar: Colorbar
    scale: Scale
    unshown: PathPatch
    unshown_text: list[Annotation]
    contours: LineCollection
    contour_texts: list[Annotation]
    before: Line2D | None
    after: Line2D
    outline: tuple[Artist, ...]
    scale_bar: tuple[Artist, ...]

    def update(self, comparison: Comparison) -> None:
        """Draw another comparison of the same two surveys' places in the same steps."""
        shown, grid = _shown(comparison)
        self.image.set_data(np.ma.masked_invalid(shown[2]))
        self.unshown.set_path(_unshown_path(grid))
        space = plan.space_beside(self.ax, self.outline)
        lines = plan.contour_lines(shown, _levels(self.scale, shown[2]))
        plan.set_contours(self.contours, lines, None)
        for text in [*self.contour_texts, *self.unshown_text]:
            text.remove()
        stations = np.asarray(self.after.get_xydata(), dtype=np.float64)
        self.contour_texts[:] = plan.label_contours(self.ax, lines, self.scale.unit, space, stations)
        self.unshown_text[:] = _name_unshown(self.ax, grid, space)


def difference_map(
    comparison: Comparison, *, limit_mm: float | None = None, unit: str = "in", title: str | None = None,
    ax: Axes | None = None,
) -> DifferenceMap:  # fmt: skip
    """A map of what changed: after minus before, taken off in blue, added in orange.

    Where the difference lies within the limit of detection no change is shown: grey and hatched, never a colour of the
    scale.

    Parameters
    ----------
    comparison : what was found
    limit_mm : a length [mm] that a colour step falls on
    unit : ``in`` or ``mm``
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    DifferenceMap
    """
    check_unit(unit)
    limit = check_limit(limit_mm, "limit_mm")
    if not np.isfinite(comparison.difference).any():
        raise MeasureError("there is no difference anywhere", expected="a comparison with a common area")
    before, after = comparison.surveys
    shown, grid = _shown(comparison)
    most = float(np.nanmax(np.abs(comparison.difference)))
    scale = deviation_scale(most, unit, limit)
    heading = (
        f"What changed on the {after.surface}: after minus before" if title is None else title,
        " ".join(_notes(comparison, scale)),
    )
    surface = surface_of(comparison, comparison.difference)
    bounds = plan.bounds_of(surface, after)
    ax, cax, way = map_axes(plan.with_margin(bounds), heading, max(map(len, scale.labels(True))), ax)
    image = plan.draw_image(ax, shown, scale, after)
    scale_bar = dress_map(ax, bounds, after.surface, unit)
    colours = colour_bar(cax, scale, way, ("taken off", "added"), signed=True)
    space = FreeSpace(ax)
    unshown = PathPatch(
        _unshown_path(grid), facecolor=UNSHOWN, edgecolor=UNSHOWN_LINE, hatch="\\\\\\", linewidth=0.6, zorder=1.5
    )
    ax.add_artist(unshown)
    if after.outline is not None:
        unshown.set_clip_path(plan.outline_path(after.outline), ax.transData)
    outline = plan.draw_outline(ax, after, space)
    marks = plan.draw_stations(ax, after)
    others = None if _same_places(before, after) else _crosses(ax, before)
    lines = plan.contour_lines(shown, _levels(scale, shown[2]))
    contours = plan.draw_contours(ax, lines, None)
    texts = plan.label_contours(ax, lines, unit, space, np.asarray(marks.get_xydata(), dtype=np.float64))
    return DifferenceMap(
        ax, image, colours, scale, unshown, _name_unshown(ax, grid, space), contours, texts, others, marks, outline,
        scale_bar,
    )  # fmt: skip


Grid = tuple[Floats, Floats, Floats]


def _shown(comparison: Comparison) -> tuple[Grid, Grid]:
    """The difference on a finer lattice, blank where no change is shown; and by how much it stays within detection."""
    surface = surface_of(comparison, comparison.difference)
    x, y, values = plan.fine(surface, comparison.difference)
    within = plan.fine(surface, comparison.detection)[2] - np.abs(values)
    return (x, y, np.where(within < 0, values, np.nan)), (x, y, within)


def _unshown_path(grid: Grid) -> Path:
    return plan.region(grid, 0.0)


def _levels(scale: Scale, values: Floats) -> Floats:
    most = float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 0.0
    levels: Floats = scale.edges[(scale.edges != 0) & (np.abs(scale.edges) < most + 1e-6)]
    return levels


def _name_unshown(ax: Axes, grid: Grid, space: FreeSpace) -> list[Annotation]:
    """``no change shown`` in the grey, at the place that is farthest inside; nowhere where there is no room."""
    x, y, within = grid
    inside = np.where(np.isfinite(within), within, -1.0) >= 0
    text = ax.annotate(
        NO_CHANGE, (0, 0), (0, 0), textcoords="offset points", ha="center", va="center", fontsize=SMALL, color=INK,
        zorder=6,
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": UNSHOWN_LINE, "linewidth": 0.8},
    )  # fmt: skip
    for j, i in _deep_places(inside):
        text.xy = (float(x[i]), float(y[j]))
        if space.place(text, [(0, 0, "center", "center")]):
            return [text]
    text.remove()
    return []


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
    (marks,) = ax.plot(
        x, y, linestyle="none", marker="+", markersize=size, color=INK, markeredgewidth=0.9, zorder=4.9, scalex=False,
        scaley=False,
    )  # fmt: skip
    return marks


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
