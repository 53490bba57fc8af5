"""The pictures of the Present panel: one day, two wiped into each other in true register, and days side by side."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imread, imsave
from numpy.typing import NDArray

from flatness.show import plan as maps
from flatness.show.axes import INK, PALE, SMALL, SOFTWARE, Extent, colour_bar, dress_map, set_place_ticks
from flatness.show.labels import FreeSpace
from flatness.show.panels.present_days import Day, one_frame, one_scale
from flatness.show.papers.figures import ENDS
from flatness.show.scales import Scale, place_step

AREA, WIDEST, TALLEST, LEAST = 22.0, 7.5, 5.6, 3.7  # of a map [in2, in]: a small sheet, so that its letters show large
LEFT, RIGHT, HEAD, FOOT, BAR, BAR_FOOT, CAPTION = 0.72, 0.28, 0.42, 0.68, 0.17, 0.5, 0.24  # around it [in]
DOTS = 200  # per inch
NAME = 12.0  # [points]
LEFT_MARK, RIGHT_MARK = "\N{BLACK LEFT-POINTING TRIANGLE}", "\N{BLACK RIGHT-POINTING TRIANGLE}"
LINE_PX = (3, 7)  # of the line between two days: ink, and its white border

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
    def pixels(self) -> Pixels:
        """[down, across, 4], red, green, blue and opacity."""
        return np.asarray(np.round(imread(io.BytesIO(self.png), format="png") * 255), dtype=np.uint8)

    def part(self) -> tuple[float, float, float, float]:
        """Left, right, top and bottom of the map as parts of the picture."""
        (across, down), (left, right, top, bottom) = self.size, self.map_box
        return left / across, right / across, top / down, bottom / down


def day_picture(
    days: tuple[Day, ...], day: Day, unit: str, pair: tuple[Day, Day] | None = None, caption: str = ""
) -> Picture:
    """One day, on the scale and in the frame of all.

    Parameters
    ----------
    days : all that are shown, which set the scale and the frame
    day : the one to draw
    unit : ``in`` or ``mm``
    pair : the days to the left and to the right of a wipe, both named above the map in place of the one drawn
    caption : a line beneath
    """
    scale, (bounds, extent) = one_scale(days, unit), one_frame(days)
    figure, ax, cax = _sheet(extent)
    _draw(ax, day, scale, bounds, unit)
    colour_bar(cax, scale, "horizontal", ENDS[day.survey.surface], signed=True)
    named = [(0.0, "left", day.full_name)]
    if pair is not None:
        named = [
            (0.0, "left", f"{LEFT_MARK} {pair[0].name}"), (1.0, "right", f"{pair[1].name} {RIGHT_MARK}")
        ]  # fmt: skip
    for at, side, name in named:
        ax.annotate(
            name, (at, 1), (0, 7), xycoords="axes fraction", textcoords="offset points", ha=side, va="bottom",
            fontsize=NAME, fontweight="bold", color=INK, annotation_clip=False,
        ).set_parse_math(False)  # fmt: skip
    figure.text(ax.get_position().x0, 0.012, caption, fontsize=SMALL, color=PALE, va="bottom", parse_math=False)
    return _picture(figure, ax)


def wiped(left: Picture, right: Picture, share: float) -> Picture:
    """Two pictures of one frame as one: ``left`` up to this share of the map's width, ``right`` beyond.

    Parameters
    ----------
    left, right : drawn with the same ``pair``
    share : 0 shows the right one alone, 1 the left one alone
    """
    x0, x1, top, bottom = left.map_box
    cut = round(x0 + share * (x1 - x0))
    pixels = right.pixels.copy()
    pixels[top:bottom, x0:cut] = left.pixels[top:bottom, x0:cut]
    if 0 < share < 1:
        for colour, wide in ((255, LINE_PX[1]), (29, LINE_PX[0])):
            pixels[top:bottom, cut - wide // 2 : cut + wide // 2 + 1, :3] = colour
    return Picture(_png(pixels), left.size, left.map_box)


def beside(pictures: Sequence[Picture]) -> bytes:
    """Pictures of one size side by side as one PNG."""
    return _png(np.concatenate([picture.pixels for picture in pictures], axis=1))


def _sheet(extent: Extent) -> tuple[Figure, Axes, Axes]:
    """A figure with room for one map in true proportion, and for what stands around it."""
    wide, high = extent[1] - extent[0], extent[3] - extent[2]
    size = min(math.sqrt(AREA / (wide * high)), WIDEST / wide, TALLEST / high)
    w, h = wide * size, high * size
    width = LEFT + max(w, LEAST) + RIGHT
    below = CAPTION + BAR_FOOT + BAR + FOOT
    height = HEAD + h + below
    figure = Figure(figsize=(width, height), dpi=DOTS, facecolor="white")
    FigureCanvasAgg(figure)
    ax = figure.add_axes((LEFT / width, below / height, w / width, h / height))
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
    cax = figure.add_axes(
        (LEFT / width, (CAPTION + BAR_FOOT) / height, max(w, LEAST) / width, BAR / height)
    )  # fmt: skip
    return figure, ax, cax


def _draw(ax: Axes, day: Day, scale: Scale, bounds: Extent, unit: str) -> None:
    grid = maps.fine(day.surface, day.surface.height)
    maps.draw_image(ax, grid, scale, day.survey)
    # in grey a high place and a low one are told apart by their lines
    maps.draw_contours(ax, maps.contour_lines(grid, scale.edges[scale.edges != 0]), None)
    dress_map(ax, bounds, day.survey.surface, unit)
    box, inch = ax.get_window_extent(), 1 / DOTS
    share = (bounds[1] - bounds[0]) / (ax.get_xlim()[1] - ax.get_xlim()[0])
    on_sheet = box.width * inch * share, box.height * inch
    for axis, limits, room in ((ax.xaxis, bounds[:2], on_sheet[0] / 0.55), (ax.yaxis, bounds[2:], on_sheet[1] / 0.4)):
        step = place_step(limits[1] - limits[0], unit, most=max(1, min(8, int(room))))
        set_place_ticks(axis, limits, step, unit)
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
