"""The maps of the Compare panel: what changed, and both days beside each other on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from flatness.comparison.comparing import Comparison
from flatness.measures.planes import fit_surface_plane
from flatness.show import plan
from flatness.show.axes import INK, NORMAL, Extent, colour_bar, dress_map, put_heading
from flatness.show.differences import difference_map
from flatness.show.labels import FreeSpace
from flatness.show.panels.maps import clear_ends, roomy_ticks, say
from flatness.show.panels.unchanged import Unchanged, draw_places
from flatness.show.scales import deviation_scale, step_note
from flatness.show.side_by_side import surface_of
from flatness.survey.readings import Floats

CHANGE_IN, PAIR_IN = (4.8, 5.6), (4.8, 5.6)  # sizes of the live figures [in]
LEFT, RIGHT, HEAD, FOOT, BAR, NAME = 0.72, 0.15, 0.85, 0.8, 0.2, 0.3  # about the maps [in]
CHANGE_HEAD = 1.66


def draw_change(
    figure: Figure, found: Comparison | None, unit: str, unchanged: Sequence[Unchanged] = ()
) -> Axes | None:  # fmt: skip
    """Draw what changed into the figure, in place of what stood there; the axes, or None without a comparison."""
    figure.clear()
    if found is None:
        say(figure, "No comparison yet: choose both surveys above.")
        return None
    wide, high = figure.get_size_inches()
    box = (LEFT / wide, FOOT / high, (wide - LEFT - RIGHT) / wide, (high - FOOT - CHANGE_HEAD) / high)
    ax = figure.add_axes(box)
    chart = difference_map(found, unit=unit, title="What changed, after minus before", ax=ax)
    clear_ends(chart.colour_bar)
    roomy_ticks(ax, _bounds(found), unit)
    draw_places(ax, unchanged, found.surveys)
    return ax


def draw_pair(figure: Figure, found: Comparison | None, unit: str) -> tuple[Axes, ...]:
    """Draw before and after into the figure: one scale, both off the best-fit plane of before."""
    figure.clear()
    if found is None:
        return ()
    heights = (found.before_heights, found.after_heights)
    plane = fit_surface_plane(surface_of(found, heights[0]))
    at = plane.at(*np.meshgrid(found.x, found.y))
    values = [height - at for height in heights]
    scale = deviation_scale(max(float(np.nanmax(np.abs(value))) for value in values), unit)
    bounds = _bounds(found)
    boxes, bar_box = _boxes(figure, plan.with_margin(bounds))
    axes, kind = [], found.surveys[1].surface
    for box, value, survey, name in zip(boxes, values, found.surveys, ("Before", "After"), strict=True):
        ax = figure.add_axes(box)
        axes.append(ax)
        _draw_day(ax, found, value, survey, scale, bounds)
        named = f"{name}, {survey.date}" if survey.date else name
        ax.set_title(named, loc="left", fontsize=NORMAL, fontweight="bold", color=INK, pad=5, parse_math=False)
    cax = figure.add_axes(bar_box)
    colour_bar(cax, scale, "horizontal", ("shy", "proud"), signed=True)
    wide, high = figure.get_size_inches()
    top = figure.add_axes((LEFT / wide, 1 - HEAD / high, 0.01, 0.001))
    top.set_axis_off()
    said = f"Both off the best-fit plane of before. {step_note(scale)} Lines: solid proud, dashed shy."
    put_heading(top, (f"The {kind} before and after", said), (wide - LEFT - RIGHT) * 72)
    return tuple(axes)


def _draw_day(ax: Axes, found: Comparison, value: Floats, survey: Any, scale: Any, bounds: Extent) -> None:
    extent = plan.with_margin(bounds)
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
    grid = plan.fine(surface_of(found, value), value)
    plan.draw_image(ax, grid, scale, survey)
    # in grey a ridge and a dip are told apart by their lines
    plan.draw_contours(ax, plan.contour_lines(grid, scale.edges[scale.edges != 0]), None)
    dress_map(ax, bounds, found.surveys[1].surface, scale.unit)
    roomy_ticks(ax, bounds, scale.unit)
    plan.draw_stations(ax, survey)
    plan.draw_outline(ax, survey, FreeSpace(ax))


def _bounds(found: Comparison) -> Extent:
    boxes = [plan.bounds_of(surface_of(found, found.difference), survey) for survey in found.surveys]
    (x0, y0), (x1, y1) = np.min(boxes, axis=0)[[0, 2]], np.max(boxes, axis=0)[[1, 3]]
    return float(x0), float(x1), float(y0), float(y1)


Box = tuple[float, float, float, float]


def _boxes(figure: Figure, extent: Extent) -> tuple[list[Box], Box]:
    """Where both maps and the colour bar stand, in parts of the figure: side by side, or one above the other."""
    wide, high = figure.get_size_inches()
    across, up = extent[1] - extent[0], extent[3] - extent[2]
    room_w, room_h = wide - LEFT - RIGHT, high - HEAD - NAME - 2 * FOOT - BAR
    beside = min((room_w - LEFT) / 2 / across, room_h / up)
    stacked = min(room_w / across, (room_h - NAME - FOOT) / 2 / up)
    scale = max(beside, stacked)
    w, h = across * scale, up * scale
    top = high - HEAD - NAME - h
    if beside >= stacked:
        places, foot = [(LEFT, top), (LEFT + w + LEFT, top)], top
    else:
        foot = top - h - NAME - FOOT
        places = [(LEFT, top), (LEFT, foot)]
    boxes = [(x / wide, y / high, w / wide, h / high) for x, y in places]
    return boxes, (LEFT / wide, (foot - FOOT - BAR) / high, (wide - LEFT - 2 * RIGHT) / wide, BAR / high)
