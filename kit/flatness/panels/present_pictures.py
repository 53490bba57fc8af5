"""The pictures of the Present panel: one day, and days side by side.

A surface on each of its days - as found, as planned, after the work - in one register.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imread, imsave
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.charts import map_base as maps
from flatness.charts.axes import INK, PALE, SMALL, Extent, FreeSpace, as_seen, colour_bar, show_extent
from flatness.charts.differences import drawn_off, one_datum
from flatness.charts.map_base import bounds_of, with_margin
from flatness.charts.scales import Scale, deviation_scale
from flatness.comparison.comparing import Comparison
from flatness.files import SOFTWARE
from flatness.limits.verdict import Assessment
from flatness.papers.figures import ENDS
from flatness.planning.plan import Plan
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Survey

FOUND, PLANNED, AFTER = "found", "planned", "after"
DAY_NAMES = {FOUND: "As found", PLANNED: "As planned", AFTER: "After the work"}


@dataclass(frozen=True, eq=False)
class Day:
    """The surface on one day.

    Attributes
    ----------
    key : ``found``, ``planned`` or ``after``
    surface : heights [ny, nx] mm off the plane that it is drawn off
    survey : whose outline and openings are drawn
    measured : False of a plan
    one_plane : whether all days are drawn off one plane
    """

    key: str
    surface: Surface
    survey: Survey
    measured: bool = True
    one_plane: bool = True

    @property
    def name(self) -> str:
        return DAY_NAMES[self.key]

    @property
    def full_name(self) -> str:
        """The name with the date of the survey, or that nothing was measured."""
        if not self.measured:
            return f"{self.name}, not measured"
        return f"{self.name}, {self.survey.date}" if self.survey.date else self.name


def days_of(
    survey: Survey, assessment: Assessment | None = None, plan: Plan | None = None, comparison: Comparison | None = None
) -> tuple[Day, ...]:
    """The days that are known, in the order of time, drawn off the plane that the owner's page takes.

    See :func:`~flatness.charts.differences.drawn_off`: one level plane where all stand on one datum, else each its own.

    Parameters
    ----------
    survey : as found
    assessment : of the survey, where there is one
    plan : made from the survey
    comparison : of the survey with a later one

    Examples
    --------
    >>> from flatness.survey.readings import make_survey
    >>> tilted = make_survey([0, 900, 0, 900], [0, 0, 900, 900], [0, 9, 0, 9])
    >>> [(day.name, float(abs(day.surface.height).max().round(6))) for day in days_of(tilted)]
    [('As found', 0.0)]
    """
    if comparison is not None:
        found = Surface(x=comparison.x, y=comparison.y, height=comparison.before_heights, spacing=comparison.spacing)
    elif plan is not None:
        found = plan.surface
    else:
        found = assessment.subject.surface if assessment is not None else survey.surface_at()
    heights = {FOUND: found.height}
    if plan is not None:
        # where nothing is to be done nothing may seem to change, so the change is put on the surface that is shown
        heights[PLANNED] = found.height + change_on(plan, found.x, found.y)
    if comparison is not None:
        heights[AFTER] = comparison.after_heights
    surveys = {FOUND: survey, PLANNED: survey, AFTER: survey if comparison is None else comparison.surveys[1]}
    is_true = one_datum(survey, comparison)
    drawn = drawn_off([replace(found, height=height) for height in heights.values()], survey.surface, is_true)
    return tuple(
        Day(key, surface, surveys[key], key != PLANNED, is_true) for key, surface in zip(heights, drawn, strict=True)
    )


def change_on(plan: Plan, x: Floats, y: Floats) -> Floats:
    """What a plan adds [mm] at the nodes x [nx], y [ny] of another lattice: [ny, nx], NaN beyond the plan."""
    if np.array_equal(x, plan.x) and np.array_equal(y, plan.y):
        return plan.change
    return bilinear(plan.x, plan.y, plan.change, x, y)


def one_scale(days: tuple[Day, ...], unit: str) -> Scale:
    """One scale for all days, so that no picture seems better or worse by its colours."""
    return deviation_scale(max(float(np.nanmax(np.abs(day.surface.height))) for day in days), unit)


def one_frame(days: tuple[Day, ...]) -> Extent:
    """What each picture of the days shows [mm]: the same of all, so that they lie on each other."""
    boxes = np.array([bounds_of(day.surface, day.survey) for day in days])
    (x0, y0), (x1, y1) = boxes[:, [0, 2]].min(axis=0), boxes[:, [1, 3]].max(axis=0)
    return with_margin((float(x0), float(x1), float(y0), float(y1)), days[0].survey.turns)


AREA, WIDEST, TALLEST, LEAST = 10.5, 5.2, 2.7, 3.7  # of a map [in2, in]: a small sheet, so that its letters show large
LEFT, RIGHT, HEAD, FOOT, BAR, BAR_FOOT, CAPTION = 0.3, 0.28, 0.42, 0.16, 0.17, 0.5, 0.24  # around it [in]
DOTS = 300  # per inch
NAME = 12.0  # [points]

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture, and where the map lies in it.

    Attributes
    ----------
    png : the file
    size : pixels across and down
    map_box : left, right, top and bottom of the map in pixels, counted from the upper left corner
    """

    png: bytes
    size: tuple[int, int]
    map_box: tuple[int, int, int, int]

    @property
    def map(self) -> bytes:
        """The map alone, as a PNG file."""
        left, right, top, bottom = self.map_box
        return _png(self.pixels[top:bottom, left:right])

    @property
    def pixels(self) -> Pixels:
        """[down, across, 4], red, green, blue and opacity."""
        return np.asarray(np.round(imread(io.BytesIO(self.png), format="png") * 255), dtype=np.uint8)


def day_picture(days: tuple[Day, ...], day: Day, unit: str, caption: str = "") -> Picture:
    """One day, on the scale and in the frame of all.

    Parameters
    ----------
    days : all that are shown, which set the scale and the frame
    day : the one to draw
    unit : ``in`` or ``mm``
    caption : a line beneath
    """
    scale, extent = one_scale(days, unit), one_frame(days)
    figure, ax, cax = _sheet(extent, days[0].survey.turns)
    _draw(ax, day, scale)
    colour_bar(cax, scale, "horizontal", ENDS[day.survey.surface], signed=True)
    ax.annotate(
        day.full_name,
        (0, 1),
        (0, 7),
        xycoords="axes fraction",
        textcoords="offset points",
        va="bottom",
        fontsize=NAME,
        fontweight="bold",
        color=INK,
        annotation_clip=False,
    ).set_parse_math(False)
    figure.text(ax.get_position().x0, 0.012, caption, fontsize=SMALL, color=PALE, va="bottom", parse_math=False)
    return _picture(figure, ax)


def lit_day(figure: Figure) -> Picture:
    """A picture of the surface in its light, as a page draws it."""
    out = io.BytesIO()
    look: dict[str, Any] = {"dpi": DOTS, "facecolor": "white", "bbox_inches": "tight", "pad_inches": 0.05}
    figure.savefig(out, format="png", metadata={"Software": SOFTWARE}, **look)
    down, across = imread(io.BytesIO(out.getvalue()), format="png").shape[:2]
    return Picture(out.getvalue(), (across, down), (0, across, 0, down))


def beside(pictures: Sequence[Picture]) -> bytes:
    """Pictures of one size side by side as one PNG."""
    return _png(np.concatenate([picture.pixels for picture in pictures], axis=1))


def _sheet(extent: Extent, turns: int) -> tuple[Figure, Axes, Axes]:
    """A figure with room for one map in true proportion, turned so, and for what stands around it."""
    wide, high = as_seen(extent, turns)
    size = min(math.sqrt(AREA / (wide * high)), WIDEST / wide, TALLEST / high)
    w, h = wide * size, high * size
    width = LEFT + max(w, LEAST) + RIGHT
    below = CAPTION + BAR_FOOT + BAR + FOOT
    height = HEAD + h + below
    figure = Figure(figsize=(width, height), dpi=DOTS, facecolor="white")
    FigureCanvasAgg(figure)
    ax = figure.add_axes((LEFT / width, below / height, w / width, h / height))
    show_extent(ax, extent, turns)
    cax = figure.add_axes((LEFT / width, (CAPTION + BAR_FOOT) / height, max(w, LEAST) / width, BAR / height))
    return figure, ax, cax


def _draw(ax: Axes, day: Day, scale: Scale) -> None:
    """The room as its owner knows it: walls, doors, windows, and no scales of places."""
    grid = maps.fine(day.surface, day.surface.height)
    maps.draw_image(ax, grid, scale, day.survey)
    # in grey a high place and a low one are told apart by their lines
    maps.draw_contours(ax, maps.contour_lines(grid, scale.edges[scale.edges != 0]), None)
    ax.set_axis_off()
    maps.draw_outline(ax, day.survey, FreeSpace(ax))


def _picture(figure: Figure, ax: Axes) -> Picture:
    canvas: Any = figure.canvas
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba(), dtype=np.uint8).copy()
    down, across = pixels.shape[:2]
    box = ax.get_window_extent()
    # whole pixels within the axes, whose left spine stays
    left, right = math.ceil(box.x0) + 3, math.floor(box.x1)
    top, bottom = math.ceil(down - box.y1), math.floor(down - box.y0) - 3
    return Picture(_png(pixels), (across, down), (left, right, top, bottom))


def _png(pixels: Pixels) -> bytes:
    out = io.BytesIO()
    imsave(out, pixels, format="png", metadata={"Software": SOFTWARE})
    return out.getvalue()
