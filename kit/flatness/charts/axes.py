"""Figures, axes in feet or metres, titles, colour bars and scale bars; saving to a file.

Numbered places on a map, and the list of their tape positions beneath it.

Labels that keep clear of one another, of the marks they belong to, and of the edge of the axes.
"""

from __future__ import annotations

import io
import itertools
import math
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

import numpy as np
from matplotlib import rcParams
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colorbar import Colorbar
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.text import Annotation, Text
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D, ScaledTranslation, blended_transform_factory
from mpl_toolkits.axes_grid1.axes_divider import AxesDivider
from mpl_toolkits.axes_grid1.axes_size import AxesX, AxesY

from flatness.arrays import Floats
from flatness.charts.scales import Scale, height_step, place_step, printed
from flatness.errors import ArgumentError
from flatness.files import SOFTWARE, write_new
from flatness.lengths import settle
from flatness.survey.readings import Survey, place_keys
from flatness.survey.walls import Tape
from flatness.words.printed import printed_place

HARD_SPACE = "\N{NO-BREAK SPACE}"
WITH_UNIT = re.compile(r"(?<=\d) (?=(?:mm|m|%|in|ft)(?!\w))|(?<=') (?=\d)")
Box = tuple[float, float, float, float]  # x0, y0, x1, y1 [pixels]
Offset = tuple[float, float, str, str]  # dx, dy [points], horizontal and vertical alignment

NEAR: tuple[Offset, ...] = (
    (4, 3, "left", "bottom"),
    (-4, 3, "right", "bottom"),
    (4, -3, "left", "top"),
    (-4, -3, "right", "top"),
)


def settle_layout(figure: Figure) -> None:
    """Bring all axes to the places and proportions in which they will be drawn: pixels are known only after it."""
    if figure.get_layout_engine() is not None:
        figure.draw_without_rendering()
        return
    # to draw it for that takes a multiple of the time
    for ax in figure.axes:
        locator = ax.get_axes_locator()
        ax.apply_aspect(None if locator is None else locator(ax, None))  # type: ignore[arg-type]


class FreeSpace:
    """What is still free within the axes, in pixels of the figure as it now stands."""

    def __init__(self, ax: Axes) -> None:
        figure = ax.get_figure(root=True)
        assert figure is not None
        settle_layout(figure)
        self._ax = ax
        self._points = figure.dpi / 72
        self._bounds = tuple(ax.get_window_extent().extents)
        self._taken: list[Box] = []

    def pixels(self, xy: Floats) -> Floats:
        """[n, 2] data to [n, 2] pixels."""
        return np.asarray(self._ax.transData.transform(np.atleast_2d(xy)), dtype=np.float64)

    def points_between(self, a: tuple[float, float], b: tuple[float, float]) -> float:
        """Distance of two data points on paper [points]."""
        p = self.pixels(np.array([a, b]))
        return float(np.hypot(*(p[1] - p[0]))) / self._points

    def take(self, box: Box) -> None:
        self._taken.append(box)

    def take_area(self, bounds: tuple[float, float, float, float]) -> None:
        """A rectangle x0, y0, x1, y1 of data, less a hair at its edges."""
        x0, y0, x1, y1 = self._box(bounds)
        self.take((x0 + 2, y0 + 2, x1 - 2, y1 - 2))

    def extent(self, bounds: tuple[float, float, float, float]) -> tuple[float, float]:
        """Width and height on paper [points] of a rectangle x0, y0, x1, y1 of data."""
        x0, y0, x1, y1 = self._box(bounds)
        return (x1 - x0) / self._points, (y1 - y0) / self._points

    def _box(self, bounds: tuple[float, float, float, float]) -> Box:
        ends = np.sort(self.pixels(np.array([bounds[:2], bounds[2:]])), axis=0)
        return (float(ends[0, 0]), float(ends[0, 1]), float(ends[1, 0]), float(ends[1, 1]))

    def take_text(self, text: Text) -> None:
        """A text where it now stands, without its leader."""
        text.get_window_extent()  # an annotation moves to where it belongs only when it is asked
        x0, y0, x1, y1 = (float(side) for side in Text.get_window_extent(text).extents)
        pad = _padding(text) * self._points
        self.take((x0 - pad, y0 - pad, x1 + pad, y1 + pad))

    def take_marks(self, xy: Floats, radius: float) -> None:
        """Marks of this radius [points] at [n, 2] data."""
        r = radius * self._points
        if len(xy):
            self._taken.extend((x - r, y - r, x + r, y + r) for x, y in self.pixels(xy).tolist())

    def take_line(self, xy: Floats, half: float) -> None:
        """A line through [n, 2] data, ``half`` wide to each side [points]."""
        self._take_path(self.pixels(xy), half)

    def _take_path(self, path: Floats, half: float) -> None:
        r = half * self._points
        for a, b in itertools.pairwise(path):
            count = max(1, math.ceil(float(np.hypot(*(b - a))) / max(r, 2)))
            for t in np.linspace(0, 1, count + 1):
                x, y = a + t * (b - a)
                self._taken.append((x - r, y - r, x + r, y + r))

    def copy(self) -> FreeSpace:
        """The same space, to be filled on without touching this one."""
        twin = object.__new__(FreeSpace)
        twin.__dict__.update(self.__dict__, _taken=list(self._taken))
        return twin

    def emptied(self) -> FreeSpace:
        """The same axes with nothing in them."""
        twin = self.copy()
        twin._taken = []
        return twin

    def size(self, text: Text) -> tuple[float, float]:
        """Width and height of a text [points], the padding of its box included."""
        box, pad = Text.get_window_extent(text), 2 * _padding(text)
        return box.width / self._points + pad, box.height / self._points + pad

    def place(self, text: Annotation, offsets: Iterable[Offset], *, leader: bool = False, gap: float = 1.5) -> bool:
        """Move the text to the first of the offsets that is free, and take it; False where none is."""
        pad = _padding(text) * self._points
        extent = Text.get_window_extent(text)
        x, y = self.pixels(np.array([text.xy]))[0]
        for dx, dy, ha, va in offsets:
            box = _box(x + dx * self._points, y + dy * self._points, extent.width, extent.height, ha, va, pad)
            if not self._is_free(box, gap * self._points):
                continue
            text.set_position((dx, dy))
            text.set(ha=ha, va=va)
            self.take(box)
            if leader:
                middle = np.array([[(box[0] + box[2]) / 2, (box[1] + box[3]) / 2], [x, y]])
                self._take_path(middle, 1.0)
            return True
        return False

    def _is_free(self, box: Box, gap: float) -> bool:
        x0, y0, x1, y1 = box
        left, bottom, right, top = self._bounds
        if x0 < left + 1 or y0 < bottom + 1 or x1 > right - 1 or y1 > top - 1:
            return False
        x0, y0, x1, y1 = x0 - gap, y0 - gap, x1 + gap, y1 + gap
        return not any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in self._taken)


def _padding(text: Text) -> float:
    patch = text.get_bbox_patch()
    return 0.0 if patch is None else float(getattr(patch.get_boxstyle(), "pad", 0.0)) * float(text.get_fontsize())


def _box(x: float, y: float, width: float, height: float, ha: str, va: str, pad: float) -> Box:
    x0 = x - width * {"left": 0.0, "center": 0.5, "right": 1.0}[ha]
    y0 = y - height * {"bottom": 0.0, "center": 0.5, "top": 1.0}[va]
    return (x0 - pad, y0 - pad, x0 + width + pad, y0 + height + pad)


def rings(first: float = 20, last: float = 420, step: float = 14) -> Iterator[Offset]:
    """Offsets around a point, ever farther off: beside and above first, then all round."""
    for radius in np.arange(first, last, step):
        for degrees in (45, 135, 315, 225, 90, 270, 20, 160, 340, 200, 65, 115, 245, 295, 0, 180):
            dx, dy = radius * math.cos(math.radians(degrees)), radius * math.sin(math.radians(degrees))
            ha = "left" if dx > 4 else "right" if dx < -4 else "center"
            va = "bottom" if dy > 4 else "top" if dy < -4 else "center"
            yield (dx, dy, ha, va)


def text_width(line: str, size: float, weight: str = "normal") -> float:
    """Width of one line of text [points]."""
    return _width(line, size, weight, (*rcParams["font.family"], *rcParams["font.sans-serif"]))


@lru_cache(maxsize=4096)
def _width(line: str, size: float, weight: str, families: tuple[str, ...]) -> float:
    """In the font that the families, which whoever draws may change at any time, give now."""
    prop = FontProperties(size=size, weight=weight)
    return float(text_to_path.get_text_width_height_descent(line, prop, ismath=False)[0])


def wrap(text: str, width: float, size: float, weight: str = "normal") -> str:
    """The text broken into lines at most ``width`` [points] wide; a longer word is broken too.

    A number stays with its unit, and feet with their inches.
    """

    def wide(line: str) -> bool:
        return text_width(line, size, weight) > width

    lines: list[str] = []
    for paragraph in WITH_UNIT.sub(HARD_SPACE, text).split("\n"):
        line = ""
        for word in filter(None, paragraph.split(" ")):
            if line and wide(f"{line} {word}"):
                lines.append(line)
                line = ""
            while wide(word) and len(word) > 1:
                cut = next((n for n in range(len(word) - 1, 0, -1) if not wide(word[:n])), 1)
                lines.append(word[:cut])
                word = word[cut:]
            line = f"{line} {word}".strip()
        lines.append(line)
    return "\n".join(lines).replace(HARD_SPACE, " ")


INK = "#1d2126"
PALE = "#5b636c"
SMALL, NORMAL, LARGE = 9.0, 10.0, 13.5  # type [points]
WIDTH_IN, HEIGHT_IN = 10.0, 6.6  # of a figure, and of the tallest map in it [in]
LEFT_IN, RIGHT_IN, BAR_IN, PAD_IN, FOOT_IN = 0.85, 0.4, 0.2, 0.2, 0.75
NAME_IN = 0.35  # of the name above a map among others [in]
WIDE = 2.2  # a map wider than this many times its height has its colour bar beneath
FORMATS = ("png", "svg", "pdf")
AXIS_NAMES = {
    "floor": ("x on the floor", "y on the floor"),
    "ceiling": ("x on the ceiling", "y on the ceiling"),
    "wall": ("along the wall (x)", "up the wall (y)"),
}

Way = Literal["vertical", "horizontal"]
Extent = tuple[float, float, float, float]  # x0, x1, y0, y1 [mm]


def note(ax: Axes, words: str, at: tuple[float, float], off: tuple[float, float] = (0, 0), **style: Any) -> Annotation:
    """Words beside a place ``at`` [data units, or as ``xycoords`` says], ``off`` [points] from it."""
    return ax.annotate(
        words,
        at,
        off,
        **{"textcoords": "offset points", "fontsize": SMALL, "color": INK, "annotation_clip": False, **style},
    )


def put_marks(ax: Axes, marker: str, x: Any, y: Any, **style: Any) -> Line2D:
    """Marks at places x, y [n], with a dark edge, that leave the limits of the axes as they are."""
    style = {"linestyle": "none", "markeredgecolor": INK, "scalex": False, "scaley": False, **style}
    return ax.plot(x, y, marker=marker, **style)[0]


def paper(pad: float = 0.25, edge: str = INK, **style: Any) -> dict[str, Any]:
    """The look of a white box behind words."""
    return {"boxstyle": f"round,pad={pad}", "facecolor": "white", "edgecolor": edge, "linewidth": 0.8, **style}


def leader(width: float = 1.0, spot: float = 0.0) -> dict[str, Any]:
    """The look of a line from words to the place they are about, which it leaves free so far [points]."""
    return {"arrowstyle": "-", "color": INK, "linewidth": width, "shrinkA": 0, "shrinkB": spot}


def save_chart(chart: Any, path: str | os.PathLike[str], dpi: float = 150) -> Path:
    """Write a chart to a PNG, SVG or PDF file, whole or not at all.

    Parameters
    ----------
    chart : Figure, Axes, or a record of this package that has ``.ax``
    path : file to write; its suffix tells the format. An existing file is replaced once the new one is whole
    dpi : pixels per inch of a PNG

    Returns
    -------
    Path : the file written

    Raises
    ------
    ArgumentError : another suffix, something that is not a chart, or a file that cannot be written
    """
    target = Path(path)
    kind = target.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        raise ArgumentError(
            "unknown kind of picture file", value=target.name, expected="a name that ends in .png, .svg or .pdf"
        )
    if not (np.isfinite(dpi) and 10 <= dpi <= 1200):
        raise ArgumentError("dpi out of range", value=str(dpi), expected="10 to 1200 pixels per inch")
    figure = _figure_of(chart)
    stamp = {"Software" if kind == "png" else "Creator": SOFTWARE}
    picture = io.BytesIO()
    figure.savefig(picture, format=kind, dpi=dpi, facecolor="white", metadata=stamp)
    return write_new(target, picture.getvalue(), overwrite=True)


def _figure_of(chart: Any) -> Figure:
    owner = chart if isinstance(chart, Artist) else getattr(chart, "ax", None)
    figure = owner.get_figure(root=True) if isinstance(owner, Artist) else None
    if not isinstance(figure, Figure):
        raise ArgumentError("not a chart", value=type(chart).__name__, expected="a Figure, Axes or chart record")
    return figure


def root_of(ax: Axes) -> Figure:
    """The figure that holds the axes, through any subfigures."""
    figure = ax.get_figure(root=True)
    if not isinstance(figure, Figure):
        raise ArgumentError("axes without a figure", expected="axes that stand in a figure")
    return figure


def new_figure(width: float, height: float) -> Figure:
    """A figure of this size [in] that keeps one renderer.

    Without a canvas of its own a figure makes a renderer anew, as large as itself, for each text that is measured.
    """
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    return figure


def headed_axes(
    box_in: tuple[float, float], right_in: float, foot_in: float, heading: tuple[str, str], left_in: float = LEFT_IN
) -> Axes:
    """Axes of this width and height [in] in a figure of their own, with room for title, subtitle and feet."""
    width = _width_in(box_in[0], right_in, left_in)
    above = heading_in(heading, (width - left_in - 0.3) * 72)
    height = above + box_in[1] + foot_in
    figure = new_figure(width, height)
    place = (left_in / width, foot_in / height, box_in[0] / width, box_in[1] / height)
    return figure.add_axes(place)


def _width_in(box_in: float, right_in: float, left_in: float = LEFT_IN) -> float:
    return max(box_in + left_in + right_in, 6.0)


def heading_in(heading: tuple[str, str], width: float) -> float:
    """Height [in] of title and subtitle, wrapped to this width [points]."""
    title, subtitle = wrap_heading(heading, width)
    return (26 + len(title.split("\n")) * LARGE * 1.25 + _subtitle_points(subtitle)) / 72


def _subtitle_points(subtitle: str) -> float:
    return len(subtitle.split("\n")) * SMALL * 1.3 if subtitle else 0.0


def wrap_heading(heading: tuple[str, str], width: float) -> tuple[str, str]:
    width *= 0.97  # letters on a screen run a little wider than their outlines
    subtitle = wrap(heading[1], width, SMALL)
    lines = subtitle.count("\n")
    even = (wrap(heading[1], width * part, SMALL) for part in (0.5, 0.6, 0.7, 0.8, 0.9))
    subtitle = next((text for text in even if text.count("\n") == lines), subtitle)
    return wrap(heading[0], width, LARGE, "bold"), subtitle


def put_heading(ax: Axes, heading: tuple[str, str], width: float) -> tuple[Text, Text]:
    """Title and subtitle above the axes, wrapped to this width [points]."""
    title, subtitle = wrap_heading(heading, width)
    pad = 13 + _subtitle_points(subtitle)
    top = ax.set_title(title, loc="left", pad=pad, fontsize=LARGE, fontweight="bold", color=INK)
    top.set(parse_math=False, linespacing=1.2)
    below = note(ax, subtitle, (0, 1), off=(0, 7), xycoords="axes fraction", va="bottom", color=PALE, linespacing=1.25)
    below.set_parse_math(False)
    return top, below


def show_extent(ax: Axes, extent: Extent, turns: int) -> None:
    """Show an extent [mm] in true proportion, turned to the left by so many quarter turns.

    All that is drawn in data units afterwards, and all that is clicked, is turned with it; axes that have something in
    them already are not to be turned.
    """
    wide, high = extent[1] - extent[0], extent[3] - extent[2]
    # of axes lying on their side matplotlib takes the width for the height
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect=(wide / high) ** 2 if turns % 2 else "equal", anchor="NW")
    if turns:
        turned = Affine2D().translate(-0.5, -0.5).rotate_deg(90 * turns).translate(0.5, 0.5)
        ax.transData = ax.transScale + (ax.transLimits + turned + ax.transAxes)
        for part in (ax.xaxis, ax.yaxis, ax.patch, *ax.spines.values()):
            part.set_visible(False)


def turns_of(ax: Axes) -> int:
    """By how many quarter turns to the left axes show what is drawn in them."""
    (x0, y0), (x1, y1) = ax.transData.transform([(0.0, 0.0), (1.0, 0.0)])
    return round(math.atan2(y1 - y0, x1 - x0) / (math.pi / 2)) % 4


def turned(xy: Any, turns: int) -> Floats:
    """Places [n, 2] turned about (0, 0) to the left by so many quarter turns."""
    x, y = np.atleast_2d(np.asarray(xy, dtype=np.float64)).T
    return np.column_stack([(x, y), (-y, x), (-x, -y), (y, -x)][turns % 4])


def as_seen(extent: Extent, turns: int) -> tuple[float, float]:
    """Width and height [mm] of an extent that is shown turned."""
    size = extent[1] - extent[0], extent[3] - extent[2]
    return size[::-1] if turns % 2 else size


def divider_of(ax: Axes) -> AxesDivider:
    """What makes room beside axes, upright or turned, for others."""
    lying = turns_of(ax) % 2
    divider = AxesDivider(ax, *((AxesY(ax), AxesX(ax)) if lying else ()))
    ax.set_axes_locator(divider.new_locator(nx=0, ny=0))
    divider.set_anchor("NW")
    return divider


def map_axes(
    extent: Extent,
    heading: tuple[str, str],
    longest: int,
    ax: Axes | None,
    listed: PlaceList | None = None,
    turns: int = 0,
) -> tuple[Axes, Axes, Way]:
    """Axes in true proportion for a map, and those of its colour bar.

    Parameters
    ----------
    extent : what the map spans [mm]
    heading : title and subtitle
    longest : characters of the longest label at the colour bar
    ax : axes to draw into; None makes a figure
    listed : a list of places to write beneath the map; None leaves no room for one
    turns : quarter turns to the left in which the map is shown

    Returns
    -------
    ax, the axes of the colour bar, and ``vertical`` or ``horizontal``, the way that bar runs
    """
    wide, high = as_seen(extent, turns)
    beneath = wide > WIDE * high
    words_in = (_beside_labels(longest) + 16) / 72
    right = RIGHT_IN if beneath else PAD_IN + BAR_IN + words_in
    if ax is None:
        most = WIDTH_IN - LEFT_IN - right - (0 if beneath else 0.1)
        scale = min(most / wide, HEIGHT_IN / high)
        box = (wide * scale, high * scale)
        region = (box[0], box[1] + FOOT_IN + BAR_IN) if beneath else (box[0] + right, box[1])
        right_in = RIGHT_IN if beneath else 0.1
        width = (_width_in(region[0], right_in) - LEFT_IN - 0.3) * 72
        if listed is not None:
            region = (region[0], region[1] + FOOT_IN + listed.height_in(width))
        ax = headed_axes(region, right_in, FOOT_IN if listed is None else 0.12, heading)
    else:
        width = ax.get_window_extent().width / ax.figure.dpi * 72
    show_extent(ax, extent, turns)
    divider = divider_of(ax)
    if beneath:
        cax = divider.append_axes("bottom", size=BAR_IN, pad=FOOT_IN)
    else:
        cax = divider.append_axes("right", size=BAR_IN, pad=PAD_IN)
        divider.new_horizontal(words_in, pad=0)  # kept empty, for what is written beside the bar
    if listed is not None:
        listed.put(divider.append_axes("bottom", size=listed.height_in(width), pad=FOOT_IN), width)
    put_heading(ax, heading, width)
    return ax, cax, "horizontal" if beneath else "vertical"


def panel_axes(
    extent: Extent,
    heading: tuple[str, str],
    count: int,
    *,
    turns: int = 0,
    stacked: float,
    tall_in: float,
    bar_in: float = 0,
) -> tuple[tuple[Axes, ...], Axes | None]:
    """Axes in true proportion for maps of one extent, in a figure of their own, and those of one colour bar below.

    Parameters
    ----------
    extent : of each map [mm]
    heading : title and subtitle
    count : of the maps; they stand side by side, or one above the other
    turns : quarter turns to the left
    stacked : a map wider than so many times its height stands above the next
    tall_in : of all maps together, at most [in]
    bar_in : that a colour bar takes below them, with its numbers [in]; none where it is 0
    """
    wide, high = as_seen(extent, turns)
    down = count if wide > stacked * high else 1
    across = count // down
    scale = min((WIDTH_IN / across - LEFT_IN - RIGHT_IN) / wide, tall_in / down / high)
    w, h = wide * scale, high * scale
    pitch = w + LEFT_IN + RIGHT_IN
    width = max(across * pitch, 6.5)
    title, subtitle = wrap_heading(heading, (width - LEFT_IN - RIGHT_IN) * 72)
    below_title = (12 + (title.count("\n") + 1) * LARGE * 1.3) / 72
    head = below_title + (6 + (subtitle.count("\n") + 1) * SMALL * 1.4) / 72
    height = head + down * (NAME_IN + h + FOOT_IN) + bar_in
    figure = new_figure(width, height)
    large: dict[str, Any] = {"fontsize": LARGE, "fontweight": "bold", "color": INK}
    for text, y, style in ((title, 12 / 72, large), (subtitle, below_title, {"fontsize": SMALL, "color": PALE})):
        figure.text(LEFT_IN / width, 1 - y / height, text, va="top", linespacing=1.2, parse_math=False, **style)
    axes = []
    for k in range(count):
        x = LEFT_IN + k % across * pitch
        y = height - head - (k // across + 1) * (NAME_IN + h) - k // across * FOOT_IN
        axes.append(figure.add_axes((x / width, y / height, w / width, h / height)))
        show_extent(axes[-1], extent, turns)
    if not bar_in:
        return tuple(axes), None
    long = min(across * pitch - LEFT_IN - RIGHT_IN, 6.5)
    return tuple(axes), figure.add_axes((LEFT_IN / width, (bar_in - BAR_IN) / height, long / width, BAR_IN / height))


def dress_map(ax: Axes, within: Extent, kind: str, unit: str, survey: Survey | None = None) -> None:
    """Ticks at whole feet or metres ``within`` the surface, names of the axes, and a scale bar beneath.

    Where the ``survey`` knows a door, or what the walls are called, ticks count from the walls.
    """
    names = AXIS_NAMES.get(kind, ("x", "y"))
    across, up = (Tape("", 0), Tape("", 1)) if survey is None else survey.tapes
    if survey is not None and turns_of(ax):
        ax, within = _rulers(ax, within, survey)
        across, up = (replace(tape, axis=axis, at=0.0, sign=1) for axis, tape in enumerate(survey.tapes_in))
    space, longer = FreeSpace(ax), max(within[1] - within[0], within[3] - within[2])
    for axis, tape, limits in ((ax.xaxis, across, within[:2]), (ax.yaxis, up, within[2:])):
        axis.set_label_text(f"from the {tape.wall}" if tape.wall else names[tape.axis], fontsize=NORMAL, color=INK)
        for most in (10, 8, 6, 5, 4, 3, 2):  # as many as stand clear of one another
            step = place_step(longer, unit, most)
            if limits[1] - limits[0] < 1.5 * step:  # the short side of a corridor
                step = place_step(limits[1] - limits[0], unit, most=2)
            set_place_ticks(axis, limits, step, unit, tape)
            wide = max((text_width(text.get_text(), SMALL) for text in axis.get_ticklabels()), default=0.0)
            if space.points_between((0.0, 0.0), (step, 0.0)) >= (wide + 6 if axis is ax.xaxis else 2 * SMALL):
                break
    ax.xaxis.set_label_coords(0, 0, transform=_below(ax, 19))
    ax.xaxis.label.set(ha="left", va="top")
    frame(ax)
    _scale_bar(ax, unit)


def _rulers(ax: Axes, within: Extent, survey: Survey) -> tuple[Axes, Extent]:
    """Axes behind turned ones that measure from the walls, and what the surface spans on them [mm]."""
    x0, y0, wide, high = ax.get_position(original=True).bounds
    rulers = root_of(ax).add_axes((x0, y0, wide, high), zorder=ax.get_zorder() - 1)
    rulers.set_axes_locator(ax.get_axes_locator())
    spans = []
    for x0, x1, y0, y1 in ((*ax.get_xlim(), *ax.get_ylim()), within):
        far = [sorted((tape.far((x0, y0)), tape.far((x1, y1)))) for tape in survey.tapes_in]
        spans.append((far[0][0], far[0][1], far[1][0], far[1][1]))
    show_extent(rulers, spans[0], 0)
    return rulers, spans[1]


def frame(ax: Axes, *sides: str) -> None:
    """Ticks and spines in the look of all charts; spines at these sides, else left and bottom."""
    ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3, width=0.8)
    for side, spine in ax.spines.items():
        spine.set(visible=side in (sides or ("left", "bottom")), color=PALE, linewidth=0.8)


def _beside_labels(longest: int) -> float:
    """How far right of the colour bar its labels reach [points]."""
    return 10 + 6.6 * longest


def _below(ax: Axes, points: float) -> Any:
    figure = ax.figure
    return ax.transAxes + ScaledTranslation(0, -points / 72, figure.dpi_scale_trans)


def set_place_ticks(axis: Any, limits: tuple[float, float], step: float, unit: str, tape: Tape | None = None) -> None:
    """Ticks at whole steps between limits [mm], counted from a wall where a tape is given."""
    at, sign = (0.0, 1) if tape is None else (tape.at, tape.sign)
    low, high = (sign * (limit - at) for limit in limits)
    far = _ticks((low, high), step)
    axis.set_ticks(at + sign * far, labels=[printed_place(settle(one), unit) for one in far])


def set_length_ticks(axis: Any, limits: tuple[float, float], step: float, unit: str, *, signed: bool = True) -> None:
    ticks = _ticks(limits, step)
    axis.set_ticks(ticks, labels=[printed(settle(tick), unit, 64, signed=signed) for tick in ticks])


def dress_profile(ax: Axes, unit: str, name: str, *, signed: bool = True) -> None:
    """Ticks at whole lengths along the way and up, the name of what stands up, and a frame."""
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    set_place_ticks(ax.xaxis, (left, right), place_step(right - left, unit, most=14), unit)
    set_length_ticks(ax.yaxis, (low, high), height_step(abs(high - low), unit, most=9), unit, signed=signed)
    ax.set_ylabel(name, fontsize=NORMAL, color=INK)
    frame(ax)


def _ticks(limits: tuple[float, float], step: float) -> Floats:
    low, high = sorted(limits)
    return np.asarray(step * np.arange(np.ceil(low / step - 1e-6), np.floor(high / step + 1e-6) + 1))


def kept_apart(order: Iterable[int], places: Floats, need: float) -> list[int]:
    """Those of the places that stand at least ``need`` apart, the first in order first; as they lie."""
    kept: list[int] = []
    for i in order:
        if all(abs(places[i] - places[j]) >= need for j in kept):
            kept.append(i)
    return sorted(kept)


def _scale_bar(ax: Axes, unit: str) -> None:
    left, right = ax.get_xlim()
    length = place_step((right - left) / 4, unit, most=1)
    if length > (right - left) * 0.45:
        length = place_step((right - left) / 4, unit, most=2)
    settle_layout(root_of(ax))
    points = 72 / ax.figure.dpi
    free = (ax.get_window_extent().width - ax.xaxis.label.get_window_extent().width) * points
    on_paper = ax.get_window_extent().width * points * length / (right - left)
    down = 26 if free > on_paper + 70 else 41
    place = blended_transform_factory(ax.transData, _below(ax, down))
    style: dict[str, Any] = {"transform": place, "clip_on": False, "solid_capstyle": "butt"}
    bar = Line2D([right - length, right], [0, 0], color=INK, linewidth=5, **style)
    half = Line2D([right - length / 2, right - length * 0.005], [0, 0], color="white", linewidth=3, **style)
    beside: dict[str, Any] = {"xycoords": place, "ha": "right", "va": "center_baseline"}
    note(ax, printed_place(length, unit), (right - length, 0), off=(-5, 0), **beside)
    ax.add_artist(bar)
    ax.add_artist(half)


def colour_bar(cax: Axes, scale: Scale, orientation: Way, ends: tuple[str, str], signed: bool) -> Colorbar:
    """The steps with what they mean in lengths, and a word at each end."""
    mappable = ScalarMappable(norm=scale.norm, cmap=scale.colours)
    bar = Colorbar(cax, mappable, orientation=orientation, spacing="uniform", drawedges=True)
    labels = scale.labels(signed)
    keep = _shown_ticks(scale, labels, cax, orientation)
    bar.set_ticks([scale.edges[i] for i in keep], labels=[labels[i] for i in keep])
    bar.ax.minorticks_off()
    bar.ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3)
    bar.outline.set(edgecolor=PALE, linewidth=0.8)
    bar.dividers.set(color="white", linewidth=0.6)
    low, high = (f"\N{LEFTWARDS ARROW} {ends[0]}" if ends[0] else "", f"{ends[1]} \N{RIGHTWARDS ARROW}")
    style: dict[str, Any] = {"xycoords": "axes fraction", "fontsize": NORMAL}
    if orientation == "vertical":
        beside = _beside_labels(max(map(len, labels)))
        note(cax, low, (1, 0), (beside, 0), rotation=90, ha="left", va="bottom", **style)
        note(cax, high, (1, 1), (beside, 0), rotation=90, ha="left", va="top", **style)
    else:
        note(cax, low, (0, 0), (0, -20), ha="left", va="top", **style)
        note(cax, high, (1, 0), (0, -20), ha="right", va="top", **style)
    return bar


def _shown_ticks(scale: Scale, labels: list[str], cax: Axes, orientation: str) -> list[int]:
    """Every edge that there is room for, counted from the reference so that both sides match."""
    settle_layout(root_of(cax))
    box = cax.get_window_extent()
    points = 72 / cax.figure.dpi
    room = (box.height if orientation == "vertical" else box.width) * points / (len(labels) - 1)
    need = 13.0 if orientation == "vertical" else 5.5 * max(map(len, labels)) + 8
    stride = max(1, int(np.ceil(need / room)))
    zero = int(np.argmin(np.abs(scale.edges)))
    return [i for i in range(len(labels)) if (i - zero) % stride == 0]


ROW = 1.45 * SMALL  # from one row of the list to the next [points]
BETWEEN, AFTER_NUMBER = 22.0, 8.0  # columns of the list, and between a number and its place [points]
SIGNAL = "#ffd23f"
SPOT = 3.0  # radius of the mark at the place itself [points]


@dataclass(eq=False)
class PlaceList:
    """A heading and one entry a place, in as many columns as there is room for.

    Attributes
    ----------
    heading : line above the entries
    entries : (numbers, tape position) of the places that the list was made for; it has room for no more
    title, rows : heading and (numbers, tape position) as drawn; None and empty before
    """

    heading: str
    entries: Sequence[tuple[str, str]]
    title: Text | None = None
    rows: list[tuple[Text, Text]] = field(default_factory=list)

    def _columns(self, width: float) -> tuple[int, float, float]:
        """How many columns there is room for, where positions begin in them, and how wide those may be [points]."""
        begin = max(text_width(numbers, SMALL, "bold") for numbers, _ in self.entries) + AFTER_NUMBER
        widest = begin + max(text_width(words, SMALL) for _, words in self.entries)
        count = max(1, min(int((width + BETWEEN) // (widest + BETWEEN)), len(self.entries)))
        return count, begin, (width + BETWEEN) / count - BETWEEN - begin

    def _layout(self, width: float) -> Iterator[tuple[float, float]]:
        """How far right and down each entry stands, and last the foot of the list [points]."""
        columns, begin, wide = self._columns(width)
        deep = ROW * max(wrap(words, wide, SMALL).count("\n") + 1 for _, words in self.entries)
        top = ROW * (wrap(self.heading, width, SMALL, "bold").count("\n") + 1.25)
        rows = math.ceil(len(self.entries) / columns)
        for i in range(len(self.entries)):
            yield i // rows * (begin + wide + BETWEEN), top + i % rows * deep
        yield 0.0, top + rows * deep

    def height_in(self, width: float) -> float:
        """Height of the list [in] when it is this wide [points]."""
        *_, (_, down) = self._layout(width)
        return down / 72

    def put(self, ax: Axes, width: float) -> None:
        """Write the list into axes of its own, this wide [points]."""
        ax.set_axis_off()
        _, begin, wide = self._columns(width)
        self.title = _text(ax, wrap(self.heading, width, SMALL, "bold"), 0.0, 0.0, "bold")
        for (right, down), (numbers, words) in zip(list(self._layout(width))[:-1], self.entries, strict=True):
            text = wrap(words, wide, SMALL)
            self.rows.append((_text(ax, numbers, right, down, "bold"), _text(ax, text, right + begin, down, "normal")))


def _text(ax: Axes, words: str, right: float, down: float, weight: str) -> Annotation:
    style: dict[str, Any] = {"xycoords": "axes fraction", "ha": "left", "va": "baseline", "linespacing": 1.25}
    return note(ax, words, (0, 1), off=(right, -down - SMALL), fontweight=weight, **style)


@dataclass(frozen=True, eq=False)
class NumberedMarks:
    """Numbers 1, 2, ... at places of a map.

    Attributes
    ----------
    spots : marks at the places themselves
    numbers : the numbers; one that would meet another mark stands beside its place, with a leader
    """

    spots: Line2D
    numbers: list[Annotation]


def by_place(places: Floats) -> tuple[Floats, list[str]]:
    """Distinct places [m, 2] of places [n, 2] mm, in their order, and the numbers that each has.

    >>> by_place(np.array([[0, 0], [300, 0], [0, 0]]))[1]
    ['1, 3', '2']
    """
    numbers: dict[tuple[int, ...], list[int]] = {}
    for i, key in enumerate(place_keys(*places.T).tolist()):
        numbers.setdefault(tuple(key), []).append(i)
    first = [those[0] for those in numbers.values()]
    return places[first], [", ".join(str(i + 1) for i in those) for those in numbers.values()]


def draw_numbered(ax: Axes, places: Floats, space: FreeSpace) -> NumberedMarks:
    """Number the places [n, 2] mm in their order; a place that comes again has several numbers."""
    spots = put_marks(ax, "D", *places.T, markersize=5.5, color=SIGNAL, markeredgewidth=1.1, zorder=7)
    places, words = by_place(places)
    numbers = [_number(ax, text, place) for text, place in zip(words, places, strict=True)]
    for i, number in enumerate(numbers):
        others = space.copy()
        others.take_marks(np.delete(places, i, axis=0), SPOT)
        bare = others.emptied()
        for other in numbers[:i]:
            bare.take_text(other)
        offsets = list(_beside(_away(places, i)))
        if others.place(number, offsets, leader=True, gap=0.5) or bare.place(number, offsets, gap=0.5):
            space.take_text(number)
            middle = Text.get_window_extent(number)
            end = ax.transData.inverted().transform(((middle.x0 + middle.x1) / 2, (middle.y0 + middle.y1) / 2))
            space.take_line(np.array([number.xy, end], dtype=np.float64), 1.0)
        # a number on its place needs no leader
        if number.arrow_patch is not None:
            number.arrow_patch.set_visible(number.get_position() != (0.0, 0.0))
    return NumberedMarks(spots, numbers)


def _away(places: Floats, i: int) -> Floats:
    """Direction [2] from the nearest other place to place ``i``; zero where there is no other."""
    apart = places[i] - np.delete(places, i, axis=0)
    if not len(apart):
        return np.zeros(2)
    far = np.hypot(*apart.T)
    return np.asarray(apart[far.argmin()] / far.min(), dtype=np.float64)


def _beside(away: Floats) -> Iterator[Offset]:
    """Offsets ever farther off; in each ring those away from a neighbour first, so that leaders do not cross."""
    yield (0.0, 0.0, "center", "center")
    for radius, ring in groupby(rings(13, 240, 7), lambda offset: round(math.hypot(*offset[:2]), 3)):
        yield from sorted(ring, key=lambda offset: np.dot(offset[:2], away) < 0.3 * radius)


def _number(ax: Axes, words: str, place: Floats) -> Annotation:
    return note(
        ax,
        words,
        (float(place[0]), float(place[1])),
        ha="center",
        va="center",
        fontweight="bold",
        zorder=8,
        bbox={"boxstyle": "round,pad=0.25,rounding_size=0.6", "facecolor": SIGNAL, "edgecolor": INK, "linewidth": 1.2},
        arrowprops=leader(spot=2),
    )
