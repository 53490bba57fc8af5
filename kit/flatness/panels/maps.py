"""The maps of the Check and Compare panels: a view drawn into a live figure, and what is laid and named on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colorbar import Colorbar
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.text import Annotation

from flatness.charts import map_base
from flatness.charts.axes import (
    INK,
    NORMAL,
    PALE,
    SMALL,
    Extent,
    FreeSpace,
    colour_bar,
    draw_numbered,
    dress_map,
    map_axes,
    rings,
    set_length_ticks,
    set_place_ticks,
    show_extent,
    wrap,
)
from flatness.charts.chances import chance_map
from flatness.charts.differences import difference_map, surface_of
from flatness.charts.heights import BarMarks, gap_map, profile_chart, set_bar, surface_map
from flatness.charts.scales import deviation_scale, height_step, place_step, printed_limit, step_note
from flatness.comparison.against_plan import OVER, SHORT, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.errors import FlatnessError, MeasureError
from flatness.measures.bars import Place
from flatness.measures.planes import fit_surface_plane
from flatness.measures.straightedge import LaidBar
from flatness.panels.check_state import CHANCE, GAP, HEIGHTS, MORE, CheckState
from flatness.panels.compare_state import AFTER, BEFORE, CHANGE, DONE, CompareState, Unchanged, planned_rows
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Survey
from flatness.words.printed import length as printed_length
from flatness.words.printed import printed_place

CHECK_NAMES = {"Against the limit": GAP, "Heights": HEIGHTS, "How sure": CHANCE, "Where to read": MORE}
CHECK_TOOLTIPS = (
    "The largest gap under the bar at each place",
    "How far each place is proud of the best-fit plane, or low of it",
    "The chance at each place that the gap is over the limit",
    "Where further readings would do most to decide",
)
COMPARE_NAMES = {"Change": CHANGE, "Before": BEFORE, "After": AFTER, "Done against the plan": DONE}
COMPARE_TOOLTIPS = (
    "After minus before, where change is shown",
    "The surface as it was, off its best-fit plane",
    "The surface as it is now, off the same plane and on the same scale",
    "Each place of the plan: accepted, to do again, or not known",
)
# fill and hatch by what became of a place: told apart in grey too
LOOKS = {WITHIN: ("#cfe6d8", ""), SHORT: ("#f6e2a0", ".."), OVER: ("#d2600a", "//"), UNTOUCHED: ("#f6e2a0", "xx")}
UNKNOWN = ("#e4daf3", "||")
FLOOR = "#e9f1ec"
PROFILE_IN = (3.2, 2.1)  # size of the live figure [in]
LEFT_IN, RIGHT_IN, FOOT_IN, HEAD_IN = 0.68, 0.08, 0.72, 0.1  # about the axes [in]
CLEAR = 6.0  # [points]
MOST = 9  # places over the limit that are numbered
YELLOW = "#f2c230"


@dataclass(eq=False)
class ShownMap:
    """A map as it stands in the live figure.

    Attributes
    ----------
    ax : its axes, or None where there is nothing to show
    outline : openings and their names, which labels keep clear of
    body : the straightedge from end to end and its border, and the marks of ends that are not laid yet
    marks : its contacts A and B, and its gap
    bar : the straightedge that lies there
    caption : what is seen, in words
    """

    ax: Axes | None = None
    outline: Sequence[Artist] = ()
    body: Sequence[Line2D] = ()
    marks: list[BarMarks] = field(default_factory=list)
    bar: LaidBar | None = None
    caption: str = ""

    def lay(self, bar: LaidBar | None, allowed: float | None, unit: str) -> None:
        """Lay the straightedge elsewhere, or take it away."""
        self.bar = bar
        if self.ax is None or not self.body:
            return
        self.body[2].set_data((), ())
        ends = ((), ()) if bar is None else tuple(zip(bar.start, bar.end, strict=True))
        for line in self.body[:2]:
            line.set_data(*ends)
        placement = None if bar is None else bar.placement
        said = "" if placement is None else f"gap {printed_length(placement.gap, unit, allowed)}"
        set_bar(self.ax, self.marks, placement, said, map_base.space_beside(self.ax, self.outline))

    def stretch(self, start: Place, end: Place) -> None:
        """Show the straightedge while it is being dragged."""
        self.bar = None
        if self.ax is not None and self.body:
            set_bar(self.ax, self.marks, None, "", FreeSpace(self.ax))
            for line in self.body:
                line.set_data((start[0], end[0]), (start[1], end[1]))


def map_box(figure: Figure, head: float = HEAD_IN) -> tuple[float, float, float, float]:
    """Where the axes of a map stand in a figure, ``head`` [in] of room above them."""
    wide, high = figure.get_size_inches()
    return (LEFT_IN / wide, FOOT_IN / high, (wide - LEFT_IN - RIGHT_IN) / wide, (high - FOOT_IN - head) / high)


def name_place(ax: Axes, name: str, xy: Place) -> Annotation:
    """Name a place that is marked."""
    return ax.annotate(
        name,
        xy,
        (6, 5),
        textcoords="offset points",
        fontsize=SMALL,
        fontweight="bold",
        color=INK,
        zorder=9,
        bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": INK},
    )


def say(figure: Figure, text: str) -> None:
    """Nothing but a sentence in the middle of a figure."""
    wide = figure.get_size_inches()[0] * 72 * 0.7
    figure.text(
        0.5,
        0.55,
        wrap(text, wide, NORMAL),
        ha="center",
        va="center",
        fontsize=NORMAL,
        color=PALE,
        linespacing=1.4,
        parse_math=False,
    )


def lift_heading(ax: Axes) -> str:
    """Take a chart's title and notes out of its axes, which grow by as much, to be read beside it."""
    told = [ax.get_title("left")]
    ax.set_title("", loc="left")
    for text in list(ax.texts):
        if isinstance(text, Annotation) and text.xycoords == "axes fraction" and tuple(text.xy) == (0, 1):
            told.append(text.get_text())
            text.remove()
    return " ".join(f"{text.rstrip('.')}." for text in told if text).replace("\n", " ")


def clear_ends(bar: Colorbar) -> None:
    """Move the words at a standing colour bar's ends clear of its labels, which a screen draws a little wider."""
    if bar.orientation == "vertical":
        for text in bar.ax.texts:
            right, up = text.get_position()
            text.set_position((right + CLEAR, up))


def draw_map(figure: Figure, state: CheckState) -> ShownMap:
    """Draw the view that the state asks for into the figure, which is empty."""
    surface = state.surface
    if surface is None:
        say(figure, "No survey yet: choose a file above, or upload one.")
        return ShownMap()
    ax = figure.add_axes(map_box(figure))
    try:
        chart: Any = {HEIGHTS: _heights, GAP: _gaps, CHANCE: _chances, MORE: _more}[state.view](state, surface, ax)
    except FlatnessError as error:
        figure.clear()
        one = error.problems[0]
        say(figure, ". ".join(f"{text[:1].upper()}{text[1:]}" for text in (one.what, one.remedy) if text) + ".")
        return ShownMap()
    clear_ends(chart.colour_bar)
    caption = lift_heading(ax)
    if state.view == MORE:
        return ShownMap(ax, caption=caption)
    outline = [*chart.outline]
    if state.view == GAP:
        set_bar(ax, chart.bar, None, "", FreeSpace(ax))  # the panel lays its own
        others = [place for _, place in state.over()[:MOST]]
        if len(others) > 1:
            space = map_base.space_beside(ax, outline)
            outline += draw_numbered(ax, np.array(others, dtype=np.float64), space).numbers
    style: dict[str, Any] = {"solid_capstyle": "butt", "scalex": False, "scaley": False}
    (edge,) = ax.plot([], [], color=INK, linewidth=10, zorder=5.8, **style)
    (bar,) = ax.plot([], [], color=YELLOW, linewidth=7.5, zorder=5.9, **style)
    (ends,) = ax.plot([], [], color="white", marker="s", markersize=11, markeredgecolor=INK, zorder=6.2, ls="", **style)
    return ShownMap(ax, outline, (edge, bar, ends), caption=caption)


def _heights(state: CheckState, surface: Surface, ax: Axes) -> Any:
    title = "Heights off the surface's best-fit plane"
    return surface_map(surface, survey=state.survey, limit_mm=state.allowed, unit=state.unit, title=title, ax=ax)


def _gaps(state: CheckState, surface: Surface, ax: Axes) -> Any:
    title = f"Largest gap under a {printed_place(state.bar_length, state.unit)} straightedge"
    return gap_map(
        surface, state.gaps(), allowed_mm=state.allowed, survey=state.survey, unit=state.unit, title=title, ax=ax
    )


def _chances(state: CheckState, surface: Surface, ax: Axes, more: Any = None, title: str = "") -> Any:
    one = state.judged_under(state.bar_length)
    if one is None or one.limit.allowed is None or not len(one.used):
        bar = printed_place(state.bar_length, state.unit)
        raise MeasureError(
            f"there is no chance to show: nothing is judged under a {bar} straightedge",
            remedy="choose a finish with a straightedge limit, and that limit's length of straightedge",
        )
    gap, bar = printed_limit(one.limit.allowed, state.unit), printed_place(state.bar_length, state.unit)
    anywhere = float(np.mean(one.used > 1 + 1e-9))
    return chance_map(
        surface,
        state.chances(one.limit),
        limit=one.limit,
        survey=state.survey,
        more=more,
        anywhere=anywhere,
        unit=state.unit,
        title=title or f"Chance of more than {gap} under {bar}",
        ax=ax,
    )


def _more(state: CheckState, surface: Surface, ax: Axes) -> Any:
    found = state.to_read()
    if found is None and state.worker.busy:
        raise MeasureError("working out where to read: a few seconds")
    if found is None:
        raise MeasureError(
            "no more readings are needed: nothing is in doubt that they could decide"
            if state.assessment is not None
            else "nothing is judged yet",
            remedy=None if state.assessment is not None else "choose the finish to come",
        )
    one, places = found
    if one is state.judged_under(state.bar_length):
        return _chances(state, surface, ax, places, "Where to take more readings, in order")
    chart = surface_map(
        surface,
        survey=state.survey,
        unit=state.unit,
        numbers="none",
        title="Where to take more readings, in order",
        ax=ax,
    )
    draw_numbered(ax, places[["x", "y"]].to_numpy(dtype=np.float64), FreeSpace(ax))
    return chart


def finer(surface: Surface, times: int = 4) -> Surface:
    """The same bilinear surface on a lattice so many times finer, for a cut at any heading."""
    x, y = (np.linspace(a[0], a[-1], (len(a) - 1) * times + 1) for a in (surface.x, surface.y))
    height = bilinear(surface.x, surface.y, surface.height, x, y)
    return Surface(x=x, y=y, height=height, spacing=surface.spacing / times, reference=surface.reference)


def draw_profile(figure: Figure, state: CheckState) -> None:
    """Draw the profile under the straightedge laid into the figure, in place of what stood there."""
    figure.clear()
    bar, surface = state.bar, state.surface
    if bar is None or surface is None:
        say(figure, "Click two points on the map, or drag from one to the other, to lay a straightedge.")
        return
    if bar.placement is None:
        say(figure, "No gap: here the straightedge touches all along, or rides on one hump.")
        return
    wide, high = figure.get_size_inches()
    ax = figure.add_axes((0.84 / wide, 0.5 / high, (wide - 0.92) / wide, (high - 0.55) / high))
    name = printed_place(bar.length if bar.by_hand else state.bar_length, state.unit)
    kind = "surface" if state.survey is None else state.survey.surface
    chart = profile_chart(
        finer(surface),
        bar.placement,
        length=bar.length if bar.by_hand else state.bar_length,
        allowed_mm=state.allowed,
        kind=kind,
        unit=state.unit,
        title=f"Under the {name} straightedge",
        ax=ax,
    )
    lift_heading(ax)
    (left, right), (low, top) = ax.get_xlim(), ax.get_ylim()
    set_place_ticks(ax.xaxis, (left, right), place_step(right - left, state.unit, 7), state.unit)
    set_length_ticks(ax.yaxis, (low, top), height_step(top - low, state.unit, 6), state.unit)
    for text in chart.texts:  # what stands at the edge of so small a chart would be cut
        over = 72 / figure.dpi * (text.get_window_extent().x1 - figure.bbox.x1 + 4)
        text.set_position((text.get_position()[0] - max(0.0, over), text.get_position()[1]))
    if bar.by_hand:
        chart.bar.set_x(min(_along(bar, end) for end in (bar.start, bar.end)))  # not centred, but where it was laid


def _along(bar: LaidBar, xy: Place) -> float:
    """How far a place lies along the bar from its left contact [mm]."""
    assert bar.placement is not None
    turn = np.radians(bar.placement.heading)
    way = np.array([np.cos(turn), np.sin(turn)])
    return float(np.dot(xy, way) - min(np.dot(contact, way) for contact in bar.placement.contacts))


def draw_comparison(figure: Figure, state: CompareState) -> ShownMap:
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
    extent, longest = map_base.with_margin(bounds, survey.turns), max(map(len, scale.labels(True)))
    ax, cax, way = map_axes(extent, ("", ""), longest, ax, turns=survey.turns)
    grid = map_base.fine(surface_of(found, values), values)
    map_base.draw_image(ax, grid, scale, survey)
    # in grey a ridge and a dip are told apart by their lines
    map_base.draw_contours(ax, map_base.contour_lines(grid, scale.edges[scale.edges != 0]), None)
    dress_map(ax, bounds, survey.surface, state.unit, survey)
    clear_ends(colour_bar(cax, scale, way, ("low", "proud"), signed=True))
    map_base.draw_stations(ax, survey)
    map_base.draw_outline(ax, survey, FreeSpace(ax))
    lift_heading(ax)
    named = f"{state.view.capitalize()}{f', {survey.date}' if survey.date else ''}"
    return f"{named}. Both days off the best-fit plane of before. {step_note(scale)} Lines: solid proud, dashed low."


def _done(ax: Axes, found: Comparison, state: CompareState) -> str:
    survey, bounds = found.surveys[1], _bounds(found)
    show_extent(ax, map_base.with_margin(bounds, survey.turns), survey.turns)
    inside = np.where(np.isfinite(found.difference), 1.0, 0.0)
    ax.contourf(found.x, found.y, inside, levels=[0.5, 2], colors=[FLOOR], zorder=1)
    dress_map(ax, bounds, survey.surface, state.unit, survey)
    map_base.draw_stations(ax, survey)
    space = FreeSpace(ax)
    map_base.draw_outline(ax, survey, space)
    outlines: dict[str, Any] = {str(one.name): one.outline for one in found.settings["plan"].patches.itertuples()}
    for row in planned_rows(found):
        fill, hatch = LOOKS.get(row["status"], UNKNOWN)
        outline = outlines.get(str(row["name"]))
        for part in getattr(outline, "geoms", [] if outline is None else [outline]):
            path = map_base.outline_path(part)
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
    boxes = [map_base.bounds_of(surface_of(found, found.difference), survey) for survey in found.surveys]
    (x0, y0), (x1, y1) = np.min(boxes, axis=0)[[0, 2]], np.max(boxes, axis=0)[[1, 3]]
    return float(x0), float(x1), float(y0), float(y1)


def draw_places(ax: Axes, places: Sequence[Unchanged], surveys: Sequence[Survey]) -> None:
    """Mark the places on a map of what changed, numbered as they are listed."""
    for number, x, y in _placed(places, surveys):
        ax.plot(
            [x],
            [y],
            marker="s",
            markersize=9,
            markerfacecolor="white",
            markeredgecolor=INK,
            markeredgewidth=1.8,
            linestyle="none",
            zorder=8,
            scalex=False,
            scaley=False,
        )
        name_place(ax, str(number), (x, y))


def _placed(places: Sequence[Unchanged], surveys: Sequence[Survey]) -> Iterator[tuple[int, float, float]]:
    for number, one in enumerate(places, 1):
        if not isinstance(one, str):
            yield number, *one
            continue
        for survey in surveys:
            here = survey.points[survey.points["label"] == one]
            if len(here):
                yield number, float(here["x"].iloc[0]), float(here["y"].iloc[0])
                break
