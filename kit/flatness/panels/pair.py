"""The maps of the Compare panel: done against the plan, what changed, and either day on one scale."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from flatness.charts import map_base as plan
from flatness.charts.axes import INK, SMALL, Extent, FreeSpace, colour_bar, dress_map, map_axes, rings
from flatness.charts.differences import difference_map, surface_of
from flatness.charts.scales import deviation_scale, step_note
from flatness.comparison.against_plan import OVER, SHORT, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.measures.planes import fit_surface_plane
from flatness.panels.compare_state import AFTER, BEFORE, CHANGE, DONE, CompareState, draw_places, planned_rows
from flatness.panels.maps import ShownMap, clear_ends, lift_heading, map_box, roomy_ticks, say

VIEW_NAMES = {"Change": CHANGE, "Before": BEFORE, "After": AFTER, "Done against the plan": DONE}
VIEW_TOOLTIPS = (
    "After minus before, where change is shown",
    "The surface as it was, off its best-fit plane",
    "The surface as it is now, off the same plane and on the same scale",
    "Each place of the plan: accepted, to do again, or not known",
)
# fill and hatch by what became of a place: told apart in grey too
LOOKS = {WITHIN: ("#cfe6d8", ""), SHORT: ("#f6e2a0", ".."), OVER: ("#d2600a", "//"), UNTOUCHED: ("#f6e2a0", "xx")}
UNKNOWN = ("#e4daf3", "||")
FLOOR = "#e9f1ec"


def draw_view(figure: Figure, state: CompareState) -> ShownMap:
    """Draw the view that the state asks for into the figure, which is empty."""
    found = state.comparison
    if found is None:
        say(figure, "No comparison yet: choose both surveys above.")
        return ShownMap()
    if state.view == DONE and found.plan is None:
        say(figure, "No plan yet: choose the plan that was saved, above.")
        return ShownMap()
    ax = figure.add_axes(map_box(figure))
    draws: dict[str, Callable[[Axes, Comparison, CompareState], str]]
    draws = {CHANGE: _change, BEFORE: _day, AFTER: _day, DONE: _done}
    caption = draws[state.view](ax, found, state)
    roomy_ticks(ax, _bounds(found), state.unit)
    return ShownMap(ax, caption=caption)


def _change(ax: Axes, found: Comparison, state: CompareState) -> str:
    chart = difference_map(found, unit=state.unit, title="After minus before", ax=ax)
    clear_ends(chart.colour_bar)
    draw_places(ax, state.unchanged if state.by_surface else (), found.surveys)
    return lift_heading(ax)


def _day(ax: Axes, found: Comparison, state: CompareState) -> str:
    heights = (found.before_heights, found.after_heights)
    plane = fit_surface_plane(surface_of(found, heights[0]))
    at = plane.at(*np.meshgrid(found.x, found.y))
    scale = deviation_scale(max(float(np.nanmax(np.abs(height - at))) for height in heights), state.unit)
    day = (BEFORE, AFTER).index(state.view)
    survey, values, bounds = found.surveys[day], heights[day] - at, _bounds(found)
    ax, cax, way = map_axes(plan.with_margin(bounds), ("", ""), max(map(len, scale.labels(True))), ax)
    grid = plan.fine(surface_of(found, values), values)
    plan.draw_image(ax, grid, scale, survey)
    # in grey a ridge and a dip are told apart by their lines
    plan.draw_contours(ax, plan.contour_lines(grid, scale.edges[scale.edges != 0]), None)
    dress_map(ax, bounds, survey.surface, state.unit)
    clear_ends(colour_bar(cax, scale, way, ("shy", "proud"), signed=True))
    plan.draw_stations(ax, survey)
    plan.draw_outline(ax, survey, FreeSpace(ax))
    lift_heading(ax)
    named = f"{state.view.capitalize()}{f', {survey.date}' if survey.date else ''}"
    return f"{named}. Both days off the best-fit plane of before. {step_note(scale)} Lines: solid proud, dashed shy."


def _done(ax: Axes, found: Comparison, state: CompareState) -> str:
    survey, bounds = found.surveys[1], _bounds(found)
    x0, x1, y0, y1 = plan.with_margin(bounds)
    ax.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal", anchor="NW")
    inside = np.where(np.isfinite(found.difference), 1.0, 0.0)
    ax.contourf(found.x, found.y, inside, levels=[0.5, 2], colors=[FLOOR], zorder=1)
    dress_map(ax, bounds, survey.surface, state.unit)
    plan.draw_stations(ax, survey)
    space = FreeSpace(ax)
    plan.draw_outline(ax, survey, space)
    outlines: dict[str, Any] = {str(one.name): one.outline for one in found.settings["plan"].patches.itertuples()}
    for row in planned_rows(found):
        fill, hatch = LOOKS.get(row["status"], UNKNOWN)
        outline = outlines.get(str(row["name"]))
        for part in getattr(outline, "geoms", [] if outline is None else [outline]):
            path = plan.outline_path(part)
            ax.add_patch(PathPatch(path, facecolor=fill, hatch=hatch, edgecolor=INK, linewidth=1.6, zorder=2))
        if np.isfinite(row["x_mm"]):
            label = ax.annotate(
                f"{row['name']}: {row['status']}",
                (row["x_mm"], row["y_mm"]),
                (0, 0),
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=SMALL,
                fontweight="bold",
                zorder=8,
                bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": INK},
            )
            space.place(label, [(0, 0, "center", "center"), *rings()])
    return "Green: accepted. Hatched: to do again. Upright dashes: not known. The rest was not to be touched."


def _bounds(found: Comparison) -> Extent:
    boxes = [plan.bounds_of(surface_of(found, found.difference), survey) for survey in found.surveys]
    (x0, y0), (x1, y1) = np.min(boxes, axis=0)[[0, 2]], np.max(boxes, axis=0)[[1, 3]]
    return float(x0), float(x1), float(y0), float(y1)
