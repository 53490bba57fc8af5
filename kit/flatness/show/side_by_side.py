"""Both surfaces of a comparison side by side, on one scale and off one plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colorbar import Colorbar
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D

from flatness.comparison.comparing import Comparison
from flatness.measures.planes import fit_surface_plane
from flatness.show import plan
from flatness.show.axes import (
    BAR_IN,
    HEIGHT_IN,
    INK,
    LARGE,
    NORMAL,
    PALE,
    SMALL,
    WIDTH_IN,
    Extent,
    colour_bar,
    dress_map,
)
from flatness.show.labels import FreeSpace, wrap
from flatness.show.scales import Scale, check_limit, check_unit, deviation_scale, step_note
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

WAYS = {
    "benchmarks": "aligned on benchmarks",
    "offset": "aligned by an offset",
    "tilt": "aligned by an offset and a tilt",
    "none": "both on one datum",
}


def surface_of(comparison: Comparison, values: Floats) -> Surface:
    """Values [ny, nx] mm on the lattice of a comparison, as a surface."""
    return Surface(comparison.x, comparison.y, values, comparison.spacing)


@dataclass(frozen=True, eq=False)
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


def before_after(
    comparison: Comparison, *, limit_mm: float | None = None, unit: str = "in", title: str | None = None
) -> BeforeAfter:
    """Both surfaces side by side, on one scale and off one plane: the best-fit plane of before.

    Parameters
    ----------
    comparison : what was found
    limit_mm : a length [mm] that a colour step falls on
    unit : ``in`` or ``mm``
    title : None says what is seen

    Returns
    -------
    BeforeAfter
    """
    check_unit(unit)
    limit = check_limit(limit_mm, "limit_mm")
    heights = (comparison.before_heights, comparison.after_heights)
    plane = fit_surface_plane(surface_of(comparison, heights[0]))
    gx, gy = np.meshgrid(comparison.x, comparison.y)
    values = tuple(height - plane.at(gx, gy) for height in heights)
    scale = deviation_scale(max(float(np.nanmax(np.abs(value))) for value in values), unit, limit)
    kind = comparison.surveys[1].surface
    heading = (
        f"The {kind} before and after, proud and shy of one plane" if title is None else title,
        f"Both off the best-fit plane of before; {WAYS[comparison.alignment.way]}. {step_note(scale)} "
        "Lines: solid proud, dashed shy.",
    )
    boxes = [plan.bounds_of(surface_of(comparison, value), survey) for value, survey in zip(
        values, comparison.surveys, strict=True
    )]  # fmt: skip
    bounds = tuple(float(f(side)) for f, side in zip((min, max, min, max), zip(*boxes, strict=True), strict=True))
    extent = plan.with_margin((bounds[0], bounds[1], bounds[2], bounds[3]))
    axes, cax = _pair_of_axes(extent, heading)
    images, contours, stations, outlines = [], [], [], []
    inner = scale.edges[(scale.edges != 0)]
    for ax, value, survey, name in zip(axes, values, comparison.surveys, ("Before", "After"), strict=True):
        grid = plan.fine(surface_of(comparison, value), value)
        images.append(plan.draw_image(ax, grid, scale, survey))
        # in grey a ridge and a dip are told apart by their lines
        contours.append(plan.draw_contours(ax, plan.contour_lines(grid, inner), limit))
        dress_map(ax, (bounds[0], bounds[1], bounds[2], bounds[3]), kind, unit)
        stations.append(plan.draw_stations(ax, survey))
        outlines.append(plan.draw_outline(ax, survey, FreeSpace(ax)))
        named = f"{name}, {survey.date}" if survey.date else name
        ax.set_title(named, loc="left", fontsize=NORMAL + 1, fontweight="bold", color=INK, pad=6, parse_math=False)
    bar = colour_bar(cax, scale, "horizontal", ("shy", "proud"), signed=True)
    return BeforeAfter(
        axes, (images[0], images[1]), (contours[0], contours[1]), (stations[0], stations[1]),
        (outlines[0], outlines[1]), bar, scale,
    )  # fmt: skip


def _pair_of_axes(extent: Extent, heading: tuple[str, str]) -> tuple[tuple[Axes, Axes], Axes]:
    """Two axes in true proportion side by side, one above the other where they are wide, and a bar beneath both."""
    wide, high = extent[1] - extent[0], extent[3] - extent[2]
    stacked = wide > 1.6 * high
    left, between, right, foot, bar_foot, name = 0.85, 0.95, 0.35, 0.75, 0.62, 0.35
    most_w = WIDTH_IN - left - right if stacked else (WIDTH_IN - left - between - right) / 2
    most_h = (HEIGHT_IN - foot - name) / 2 if stacked else HEIGHT_IN - 1.0
    scale = min(most_w / wide, most_h / high)
    w, h = wide * scale, high * scale
    across = w if stacked else 2 * w + between
    width = max(left + across + right, 6.5)
    title, subtitle = wrap(heading[0], (width - left - 0.3) * 70, LARGE, "bold"), wrap(
        heading[1], (width - left - 0.3) * 70, SMALL
    )  # fmt: skip
    head = (22 + (title.count("\n") + 1) * LARGE * 1.3 + (subtitle.count("\n") + 1) * SMALL * 1.35) / 72
    below = foot + BAR_IN + bar_foot
    height = head + name + h + (name + foot + h if stacked else 0) + below
    figure = Figure(figsize=(width, height))

    def box(x: float, y: float, dx: float, dy: float) -> Axes:
        return figure.add_axes((x / width, y / height, dx / width, dy / height))

    top = below + (h + foot + name if stacked else 0)
    places = [(left, top), (left, below) if stacked else (left + w + between, below)]
    axes = [box(x, y, w, h) for x, y in places]
    for ax in axes:
        ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
    length = min(across, 6.5)
    cax = box(left, bar_foot, length, BAR_IN)
    figure.text(
        left / width, 1 - 10 / 72 / height, title, fontsize=LARGE, fontweight="bold", color=INK, va="top",
        linespacing=1.2, parse_math=False,
    )  # fmt: skip
    lower = 1 - (14 + (title.count("\n") + 1) * LARGE * 1.3) / 72 / height
    figure.text(left / width, lower, subtitle, fontsize=SMALL, color=PALE, va="top", linespacing=1.25, parse_math=False)
    return (axes[0], axes[1]), cax
